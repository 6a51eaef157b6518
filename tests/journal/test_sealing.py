"""Sealing: every row once, in a stored order, by however many runs; and the commands and jobs around it."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
from django.core.management import CommandError
from django.db import connection, transaction
from django.utils import timezone

from instruments.models import PieceLine
from journal import append_only, sealing
from journal.actions import verify_trail
from journal.findings import Refused
from journal.models import Head, Notice, SealedLeaf, Verification
from journal.reads import sealed_models, seals_of, tail
from journal.roles import Role
from journal.sealing import seal, verify
from journal.tasks import seal_trail, watch_trail
from tests import makers
from tests.journal import auditor
from tests.makers import act, at_once
from trays.models import Content

pytestmark = [pytest.mark.django_db, pytest.mark.jobs]


def test_everything_that_only_grows_is_sealed_save_the_seals() -> None:
    makers.single()
    assert seal() == SealedLeaf.objects.count() > 0
    tables = set(SealedLeaf.objects.values_list("table", flat=True))
    assert {PieceLine._meta.db_table, Content._meta.db_table} <= tables
    assert set(sealed_models()) == set(append_only.growing()) - {"journal_head", "journal_sealedleaf"}
    assert list(SealedLeaf.objects.values_list("position", flat=True)) == list(range(Head.objects.get().size))
    assert verify().findings == ()


def test_a_second_run_finds_nothing_to_seal() -> None:
    makers.piece()
    assert seal() > 0
    assert seal() == 0
    assert Head.objects.count() == 1


def test_an_empty_trail_has_no_head() -> None:
    assert (seal(), Head.objects.count(), verify().findings) == (0, 0, ())


def test_a_long_trail_is_read_in_batches_and_sealed_under_one_head(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealing, "BATCH", 2)
    for _ in range(5):
        makers.piece()
    assert seal() == Head.objects.get().size > 5
    assert verify().findings == ()


def test_a_trail_from_before_the_first_seal_is_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """So is one that was not sealed for a day."""
    now = timezone.now()
    for days in (3, 2, 1):
        with monkeypatch.context() as clock:
            clock.setattr(timezone, "now", lambda days=days: now - timedelta(days=days))
            makers.piece()
        if days != 3:
            seal()
    assert verify().findings == ()


def test_a_head_is_never_older_than_the_one_before(monkeypatch: pytest.MonkeyPatch) -> None:
    makers.piece()
    seal()
    back = timezone.now() - timedelta(hours=1)
    monkeypatch.setattr(timezone, "now", lambda: back)
    makers.piece()
    seal()
    first, second = Head.objects.all()
    assert second.at == first.at


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_runs_at_once_seal_every_row_once() -> None:
    for _ in range(6):
        makers.piece()
    at_once(*[seal_trail] * 8)
    number = sum(model._default_manager.count() for model in sealed_models().values())
    assert list(SealedLeaf.objects.values_list("position", flat=True)) == list(range(number))
    assert (tail().rows, verify().findings) == (0, ())


@pytest.mark.servers  # SQLite lets one writer in at a time
@pytest.mark.django_db(transaction=True)
def test_a_lower_key_that_commits_late_is_not_passed_over() -> None:
    began, sealed = Event(), Event()
    piece = makers.piece()

    def late() -> None:
        try:
            with transaction.atomic():
                PieceLine.objects.create(piece=piece, occurred_at=makers.AT, method="password", verb="late")
                began.set()
                sealed.wait(30)
        finally:
            connection.close()

    writer = Thread(target=late)
    writer.start()
    began.wait(30)
    PieceLine.objects.create(piece=piece, occurred_at=makers.AT, method="password", verb="early")
    seal()
    sealed.set()
    writer.join(30)
    late_line, early = PieceLine.objects.get(verb="late"), PieceLine.objects.get(verb="early")
    assert late_line.pk < early.pk
    assert (tail().rows, seal()) == (1, 1)
    assert seals_of([late_line])[late_line.pk].position > seals_of([early])[early.pk].position
    assert verify().findings == ()


def test_the_tail_tells_how_long_its_oldest_line_waits() -> None:
    assert (tail().rows, tail().age(timezone.now())) == (0, timedelta(0))
    line = makers.piece().lines.order_by("pk")[0]
    assert tail().since == line.received_at
    assert tail().age(line.received_at + timedelta(seconds=90)) == timedelta(seconds=90)


@pytest.mark.parametrize("words", [None, "no key"])
def test_without_its_key_nothing_is_sealed(words: str | None, tmp_path: Path, settings: Any) -> None:
    settings.TRAIL_KEY_FILE = tmp_path / "key"
    if words:
        settings.TRAIL_KEY_FILE.write_text(words)
    makers.piece()
    with pytest.raises(CommandError, match="is not readable as 64 hexadecimal digits"):
        auditor.trail("seal")
    assert (tail().rows > 0, Head.objects.count()) == (True, 0)


def test_a_former_key_stays_good_when_it_is_named(tmp_path: Path, settings: Any) -> None:
    makers.piece()
    seal()
    former = sealing.signer().public
    settings.TRAIL_KEY_FILE = tmp_path / "key"
    settings.TRAIL_KEY_FILE.write_text("5a" * 32)
    makers.piece()
    seal()
    assert {finding.slug for finding in verify().findings} >= {"head-altered"}
    settings.TRAIL_FORMER_KEYS = [former]
    assert verify().findings == ()


# Commands


def test_a_part_of_the_trail_is_checked_and_exported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = timezone.now()
    for days in (3, 2, 1):
        with monkeypatch.context() as clock:
            clock.setattr(timezone, "now", lambda days=days: now - timedelta(days=days))
            makers.piece()
            seal()
            if days == 3:
                old = auditor.keep_head(tmp_path)
    day = timezone.localdate(now - timedelta(days=2)).isoformat()
    status, said = auditor.trail("verify", "--from", day, "--to", day)
    assert (status, "under 1 heads read" in said) == (0, True), said
    out = tmp_path / "part.zip"
    auditor.trail("export", str(out), "--from", day, "--to", day)
    key = auditor.trail("key")[1].strip()
    assert auditor.run(auditor.VERIFY, tmp_path, key, out)[0] == 0
    auditor.trail("export", str(out), "--from", day, "--head", str(old))
    status, said = auditor.run(auditor.VERIFY, tmp_path, key, out, old)
    assert (status, "1 heads kept outside" in said) == (0, True), said


def test_an_export_that_begins_after_the_head_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = timezone.now()
    with monkeypatch.context() as clock:
        clock.setattr(timezone, "now", lambda: now - timedelta(days=3))
        makers.piece()
        seal()
        old = auditor.keep_head(tmp_path)
        makers.piece()
        seal()
    makers.piece()
    seal()
    out = tmp_path / "part.zip"
    auditor.trail("export", str(out), "--from", timezone.localdate(now).isoformat())
    status, said = auditor.run(auditor.VERIFY, tmp_path, auditor.trail("key")[1].strip(), out, old)
    assert (status, "begins after the head" in said) == (1, True)


def test_another_public_key_fits_nothing(tmp_path: Path) -> None:
    makers.piece()
    seal()
    assert auditor.audit(tmp_path, key="ab" * 32)[0] == 1


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["export", "/nowhere/at/all.zip"], "Cannot write"),
        (["export", "x.zip", "--to", "2001-01-01"], "nothing was sealed"),
        (["verify", "--head", "/nowhere"], "Cannot read /nowhere"),
    ],
)
def test_what_cannot_be_done_is_said(words: list[str], sentence: str) -> None:
    makers.piece()
    seal()
    with pytest.raises(CommandError, match=sentence):
        auditor.trail(*words)


def test_heads_are_listed_as_json() -> None:
    for _ in range(2):
        makers.piece()
        seal()
    listed = [json.loads(line) for line in auditor.trail("heads")[1].splitlines()]
    assert [head["size"] for head in listed] == [head.size for head in Head.objects.all()]
    assert auditor.trail("heads", "--from", "2001-01-01", "--to", "2002-01-01")[1] == ""


# Jobs


def told() -> list[tuple[str, str]]:
    return sorted(Notice.objects.still_open().values_list("cause", "role"))


def test_the_trail_is_checked_once_a_night_and_when_asked() -> None:
    makers.piece()
    seal_trail()
    for _ in range(2):
        watch_trail()
    (nightly,) = Verification.objects.all()
    assert (nightly.rows, nightly.faults, nightly.asked_by) == (SealedLeaf.objects.count(), 0, None)
    for _ in range(2):
        verify_trail(act=act())
    watch_trail()
    assert Verification.objects.exclude(finished_at=None).count() == 2


def test_only_who_decides_asks_for_a_check() -> None:
    with pytest.raises(Refused, match="Cannot verify the trail"):
        verify_trail(act=act(makers.person(Role.NURSE)))


def test_a_check_whose_worker_died_is_done_by_another() -> None:
    asked = Verification.objects.create(asked_by=makers.person(), started_at=timezone.now() - timedelta(hours=2))
    watch_trail()
    asked.refresh_from_db()
    assert asked.finished_at is not None


def test_a_fault_is_told_to_the_quality_lead_until_a_check_finds_none() -> None:
    line = makers.piece().lines.order_by("pk")[0]
    seal()
    connection.check_constraints()
    with append_only.lifted(connection):
        PieceLine.objects.filter(pk=line.pk).update(verb="nothing")
    watch_trail()
    assert told() == [("trail:faults", Role.QUALITY)]
    assert f"Row {line.pk} of instruments_pieceline is altered" in Notice.objects.get().sentence
    with append_only.lifted(connection):
        PieceLine.objects.filter(pk=line.pk).update(verb=line.verb)
    verify_trail(act=act())
    watch_trail()
    assert told() == []


def test_a_tail_that_is_not_sealed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    makers.piece()
    watch_trail()
    assert told() == []
    later = timezone.now() + timedelta(minutes=6)
    monkeypatch.setattr(timezone, "now", lambda: later)
    watch_trail()
    assert told() == [("trail:tail", Role.QUALITY)]
    seal_trail()
    watch_trail()
    assert told() == []


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_watchers_at_once_check_once() -> None:
    makers.piece()
    at_once(*[watch_trail] * 8)
    assert Verification.objects.count() == 1
    assert Verification.objects.get().finished_at is not None
