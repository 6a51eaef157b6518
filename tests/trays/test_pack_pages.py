"""From the bench to the pack: finishing a tray, and what is done with and printed for packs."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from journal.roles import Role
from tests import makers
from tests.makers import act
from tests.trays.pages import bench, post, signed_in, swap, two_lines
from tests.trays.printing import said
from trays.actions import confirm_label, print_paper, publish_version
from trays.models import Pack, PackLine, Printed
from trays.states import PackState, Paper

pytestmark = pytest.mark.django_db


# Finishing


def test_a_complete_tray_goes_on_to_its_pack() -> None:
    tray, _, loose = two_lines()
    makers.lay(tray, loose)
    client = signed_in()
    answer = swap(client, "tray-finish", tray, version="1")
    pack = Pack.objects.get()
    assert answer.headers["HX-Redirect"] == reverse("pack", args=[pack.code])
    text = client.get(answer.headers["HX-Redirect"]).content.decode()
    assert f"Adult tray 7 packed as {pack.code}. Print the label and scan it back." in text
    assert reverse("pack-label", args=[pack.code]) in text


def test_a_tray_is_finished_without_javascript() -> None:
    tray, _, loose = two_lines()
    makers.lay(tray, loose)
    assert "packed as" in post(signed_in(), "tray-finish", tray.code, version="1")[0]
    assert Pack.objects.get().tray == tray


def test_an_essential_lack_disables_finishing_and_refuses_it() -> None:
    tray, _, _ = two_lines()
    client = signed_in()
    assert "Badge of the second person" not in client.get(bench(tray)).content.decode()
    said = post(client, "tray-finish", tray.code, version="1", incomplete_reason="in repair", second="X")
    assert said[0].startswith("Cannot finish Adult tray 7: 1 × Suction tube lacks, which is essential.")
    assert not Pack.objects.exists()


def test_an_optional_lack_needs_a_reason_and_a_second_badge_and_what_was_typed_stays() -> None:
    tray, _, _ = two_lines(essential=False)
    client, second = signed_in(), makers.person(Role.TECHNICIAN, name="Technician 2")
    assert "Badge of the second person" in client.get(bench(tray)).content.decode()
    answer = swap(client, "tray-finish", tray, version="1", incomplete_reason="in repair")
    assert "no second person has signed" in answer.context["said"].what
    assert 'value="in repair"' in answer.content.decode()
    answer = swap(client, "tray-put", tray, code=str(second.badge), version="1", incomplete_reason="in repair")
    assert answer.context["said"].what == "Second person: Technician 2."
    assert f'value="{second.badge}"' in answer.content.decode()
    assert 'value="in repair"' in answer.content.decode()
    swap(client, "tray-finish", tray, version="1", incomplete_reason="in repair", second=str(second.badge))
    assert Pack.objects.get().incomplete_second == second


def test_a_list_that_changed_stops_until_it_was_looked_at() -> None:
    tray, laid, loose = two_lines()
    makers.lay(tray, loose)
    lead = makers.part(name="Lead")
    makers.version(tray.template, makers.line(laid.part, 2), makers.line(lead, essential=False))
    publish_version(tray.template.code, note="second", act=act())
    client = signed_in()
    seen = swap(client, "tray-take-off", tray, piece=loose.code, version="1")
    changes = "Forceps: 2 instead of 1. New: 1 × Lead, optional. No longer on the list: 1 × Suction tube."
    assert changes in seen.content.decode()
    assert seen.context["version"] == 1
    answer = swap(client, "tray-finish", tray, version="1")
    assert "it was assembled to version 1, must be version 2." in answer.context["said"].what
    assert changes in answer.context["said"].next_step
    assert [
        (row.before and row.before.quantity, row.after and row.after.quantity) for row in answer.context["changes"]
    ] == [
        (1, 2),
        (None, 1),
        (1, None),
    ]
    text = " ".join(answer.content.decode().split())
    assert "<td>1 × Forceps </td> <td>2 × Forceps </td>" in text
    assert "Go on with version 2" in text
    assert client.get(reverse("tray-bench", args=[tray.code]), headers={"HX-Request": "true"}).context["version"] == 2


# Packs


def test_the_verbs_of_a_pack() -> None:
    pack = makers.pack()
    client = signed_in(None, Role.NURSE)
    address = reverse("pack-verb", args=[pack.code, "take-apart"])
    answer = client.post(address, {"reason": ""}, follow=True)
    assert "the reason is not recorded" in str(*answer.context["messages"])
    assert "does not hold the right" in str(
        *signed_in(None, Role.COORDINATOR).post(address, {"reason": "wet"}, follow=True).context["messages"]
    )
    client.post(address, {"reason": "wet"})
    pack.refresh_from_db()
    assert pack.state == PackState.VOID
    assert client.post(reverse("pack-verb", args=[pack.code, "bless"])).status_code == 404
    assert client.get(address).status_code == 405


def printed(client: Client, name: str, pack: Pack, **fields: str) -> tuple[str, Any]:
    """Press a button that prints; the address that it leads to, and what stands there."""
    answer = client.post(reverse(name, args=[pack.code]), fields)
    assert answer.status_code == 303
    return answer.headers["Location"], client.get(answer.headers["Location"], follow=True)


@pytest.mark.storage
def test_the_first_print_is_the_label_and_the_others_are_copies() -> None:
    pack = makers.pack()
    client = signed_in(None, Role.NURSE)
    _, first = printed(client, "pack-label", pack)
    _, second = printed(client, "pack-label", pack, size="50x25")
    assert (first.status_code, first["Content-Type"]) == (200, "application/pdf")
    assert first["Content-Disposition"].startswith(f'inline; filename="{pack.code} ')
    assert "no-store" in first["Cache-Control"]
    lines = PackLine.objects.filter(pack=pack, verb="print_label").order_by("id")
    assert [line.evidence for line in lines] == [
        {"sha256": hashlib.sha256(first.content).hexdigest(), "copy": False},
        {"sha256": hashlib.sha256(second.content).hexdigest(), "copy": True},
    ]


@pytest.mark.storage
def test_looking_again_shows_the_same_bytes_and_prints_nothing() -> None:
    pack = makers.pack()
    client = signed_in(None, Role.NURSE)
    address, first = printed(client, "pack-label", pack)
    Pack.objects.update(state=PackState.VOID)
    again = client.get(address)
    assert again.content == first.content
    assert hashlib.sha256(again.content).hexdigest() in address
    assert PackLine.objects.filter(verb="print_label").count() == 1
    assert client.get(reverse("pack-printed", args=[pack.code, "0" * 64])).status_code == 404
    assert client.get(reverse("pack-label", args=[pack.code])).status_code == 405


@pytest.mark.storage
def test_a_double_press_prints_once() -> None:
    pack = makers.pack()
    client = signed_in()
    addresses = {printed(client, "pack-label", pack, key="one-press")[0] for _ in range(2)}
    assert len(addresses) == 1
    assert PackLine.objects.filter(verb="print_label").count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("what", [Paper.LABEL, Paper.COUNT_SHEET])
def test_of_prints_at_once_one_is_the_first_and_the_others_are_copies(what: Paper) -> None:
    pack, who = makers.pack(), act()
    answers = makers.at_once(*[lambda: print_paper(pack.code, what, act=who)] * 3)
    assert sum(answer.sentence.startswith("A copy of") for answer in answers) == 2
    lines = PackLine.objects.filter(verb=what.verb)
    assert sorted(line.evidence["copy"] for line in lines) == [False, True, True]
    documents = {row.sha256: said(bytes(row.document)) for row in Printed.objects.all()}
    assert all(("Copy, printed" in documents[line.evidence["sha256"]]) == line.evidence["copy"] for line in lines)


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_a_sheet_is_drawn_before_its_transaction_so_that_nobody_waits_for_it() -> None:
    pack, who = makers.pack(), act()
    with CaptureQueriesContext(connection) as seen:
        print_paper(pack.code, Paper.COUNT_SHEET, act=who)
    told = [query["sql"] for query in seen]
    began = next(place for place, sql in enumerate(told) if sql.startswith("BEGIN"))
    drawn = [place for place, sql in enumerate(told) if "trays_content" in sql]
    assert drawn
    assert max(drawn) < began


@pytest.mark.storage
def test_what_was_printed_is_not_changed() -> None:
    pack = makers.pack()
    printed(signed_in(), "pack-label", pack)
    with pytest.raises(IntegrityError), transaction.atomic():
        Printed.objects.update(document=b"another")


def test_the_trail_leads_to_what_was_printed() -> None:
    pack = makers.pack()
    client = signed_in()
    address, _ = printed(client, "pack-label", pack)
    assert address in client.get(reverse("pack", args=[pack.code])).content.decode()


def test_count_sheets_are_recorded_apart_from_labels() -> None:
    pack = makers.pack()
    client = signed_in()
    for name in ("pack-label", "pack-count-sheet"):
        assert printed(client, name, pack)[1].content.startswith(b"%PDF")
    assert list(PackLine.objects.filter(verb__startswith="print_").values_list("verb", "evidence__copy")) == [
        ("print_label", False),
        ("print_count_sheet", False),
    ]


def test_a_label_of_another_size_is_not_known() -> None:
    pack = makers.pack()
    _, answer = printed(signed_in(), "pack-label", pack, size="9x9")
    assert "9x9" in str(*answer.context["messages"])
    assert makers.refused(lambda: print_paper(pack.code, "poster", act=act())) == ["unknown-code"]


@pytest.mark.parametrize("state", [PackState.VOID, PackState.RETURNED, PackState.QUARANTINED, PackState.EXPIRED])
def test_a_pack_on_no_way_to_a_case_gets_no_label(state: PackState) -> None:
    pack = makers.pack()
    Pack.objects.update(state=state)
    _, answer = printed(signed_in(), "pack-label", pack)
    assert f"it is {state}, must be on its way to a case." in str(*answer.context["messages"])
    assert not PackLine.objects.filter(verb="print_label").exists()


def test_who_may_not_assemble_prints_nothing() -> None:
    pack = makers.pack()
    _, answer = printed(signed_in(None, Role.COORDINATOR), "pack-label", pack)
    assert "does not hold the right “assemble”" in str(*answer.context["messages"])


def test_a_check_list_needs_a_published_list() -> None:
    tray = makers.tray()
    address = reverse("tray-count-sheet", args=[tray.code])
    assert signed_in().get(address).content.startswith(b"%PDF")
    tray.template.versions.update(state="superseded")
    assert "no version of its list is published" in str(*signed_in().get(address, follow=True).context["messages"])


def test_a_label_that_is_read_back_is_recorded_and_another_packs_is_not() -> None:
    pack, other = makers.pack(), makers.pack()
    client = signed_in(None, Role.NURSE)
    said = post(client, "pack-label-read", pack.code, code=other.code)[0]
    assert f"Cannot read back the label of {pack.code}: the label says {other.code}, must say {pack.code}." in said
    assert (
        "can be read: its assembly is closed. Bring it to the steriliser."
        in post(client, "pack-label-read", pack.code, code=pack.code)[0]
    )
    assert PackLine.objects.get(verb="confirm_label").evidence == {"read": pack.code}
    Pack.objects.update(state=PackState.VOID)
    assert makers.refused(lambda: confirm_label(pack.code, pack.code, act=act())) == ["wrong-state"]
