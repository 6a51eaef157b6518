"""The page of the sealed trail, the head to keep outside, and the proof beside a line of a pack's history."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.db import connection
from django.urls import reverse

from journal import append_only
from journal.models import Head, SealedLeaf
from journal.roles import Role
from journal.sealing import seal, signer
from journal.tasks import watch_trail
from tests import makers
from tests.journal import auditor
from tests.lists.desk import signed_in
from trays.models import Pack, PackLine

pytestmark = pytest.mark.django_db

TRAIL = "/trail/"


def test_before_the_first_seal_the_page_says_so() -> None:
    makers.piece()
    page = signed_in(Role.NURSE).read(TRAIL)
    assert "Not checked yet" in page
    assert "Nothing is sealed yet" in page
    assert "Check the trail" not in page


def test_the_quality_lead_asks_for_a_check_and_reads_its_answer() -> None:
    line = makers.piece().lines.order_by("pk")[0]
    seal()
    quality = signed_in(Role.QUALITY)
    assert "The trail is being checked" in quality.send(reverse("trail-verify"))
    assert "Being checked" in quality.read(TRAIL)
    watch_trail()
    page = quality.read(TRAIL)
    assert "As it was sealed" in page
    assert signer().public in page
    connection.check_constraints()
    with append_only.lifted(connection):
        type(line)._default_manager.filter(pk=line.pk).update(verb="nothing")
    quality.send(reverse("trail-verify"))
    watch_trail()
    assert f"Row {line.pk} of instruments_pieceline is altered" in quality.read(TRAIL)


def test_a_nurse_does_not_ask_for_one() -> None:
    assert "Cannot verify the trail" in signed_in(Role.NURSE).send(reverse("trail-verify"))


def test_a_head_is_downloaded_to_be_kept_outside(tmp_path: Path) -> None:
    makers.piece()
    seal()
    answer = signed_in(Role.QUALITY).client.get(reverse("trail-head", args=[Head.objects.get().size]))
    assert "attachment" in answer.headers["Content-Disposition"]
    kept = tmp_path / "head.json"
    kept.write_bytes(answer.content)
    assert auditor.trail("verify", "--head", str(kept))[0] == 0


def test_each_line_of_a_packs_history_has_its_seal_and_its_proof(tmp_path: Path) -> None:
    pack: Pack = makers.single()
    quality, address = signed_in(Role.QUALITY), reverse("pack", args=[pack.code])
    assert "not sealed yet" in quality.read(address)
    seal()
    kept = auditor.keep_head(tmp_path)
    makers.piece()
    seal()
    assert f", head {Head.objects.all()[0].pk}, proof" in quality.read(address)
    assert "proof" not in signed_in(Role.NURSE).read(address)
    leaf = SealedLeaf.objects.get(table="trays_packline", row=PackLine.objects.filter(pack=pack)[0].pk)
    proof = tmp_path / "proof.json"
    link = reverse("trail-proof", args=[leaf.position])
    assert link in quality.source(address)
    proof.write_bytes(quality.client.get(link).content)
    assert signed_in(Role.NURSE).client.get(link).status_code == 403
    status, said = auditor.run(auditor.PROVE, tmp_path, signer().public, proof, kept)
    assert (status, "In the trail, unaltered" in said) == (0, True), said
    found = json.loads(proof.read_text())
    for name, value in (("record", found["record"].replace("assemble", "nothing")), ("position", 0), ("growth", {})):
        proof.write_text(json.dumps({**found, name: value}))
        assert auditor.run(auditor.PROVE, tmp_path, signer().public, proof, kept)[0] != 0


def test_a_proof_goes_back_to_a_head_that_was_kept() -> None:
    makers.piece()
    seal()
    answer = signed_in(Role.QUALITY).client.get(reverse("trail-proof", args=[0]) + "?from=1&from=nothing&from=999999")
    assert set(answer.json()["growth"]) == {"1", str(Head.objects.get().size)}


def test_the_notices_lead_the_quality_lead_there() -> None:
    assert "The sealed trail" in signed_in(Role.QUALITY).read("/notices/")
