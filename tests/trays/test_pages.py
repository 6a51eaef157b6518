"""Pages of trays: the list of all, and the bench with its verbs."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from instruments.actions import add_mark
from instruments.models import PartKind, PieceLine
from instruments.states import PieceState
from journal.roles import Role
from tests import makers
from tests.makers import act
from tests.trays.pages import SWAP, bench, post, signed_in, swap, two_lines
from trays.actions import put_on_tray, take_off_tray
from trays.models import ClosedMember, Pack, Placement

pytestmark = pytest.mark.django_db


# All trays


def test_every_tray_says_where_it_stands() -> None:
    begun, _, _ = two_lines()
    packed, empty = makers.tray(), makers.tray(home=makers.place("Store B"))
    pack = makers.pack(packed)
    out = makers.tray(in_service=False)
    unlisted = makers.lay(makers.tray(), makers.piece())
    unlisted.template.versions.update(state="superseded")
    text = " ".join(signed_in().get(reverse("trays")).content.decode().split())
    rows = {tray: text.split(f">{tray.name}<")[1].split("</tr>")[0] for tray in (begun, packed, empty, out, unlisted)}
    assert "On the bench</b> 1 of 2 lines" in rows[begun]
    assert f"Assembled</b> {pack.code}" in rows[packed]
    assert "Empty" in rows[empty]
    assert "Store B" in rows[empty]
    assert "Out of service" in rows[out]
    assert "without a published list" in rows[unlisted]
    assert text.index(begun.name) < text.index(empty.name) < text.index(packed.name)


def test_all_trays_take_as_many_queries_whether_few_or_many(django_assert_num_queries: Any) -> None:
    client = signed_in()
    for number in (2, 6):
        for _ in range(number):
            two_lines()
            makers.pack()
        client.get(reverse("trays"))
        with django_assert_num_queries(11):
            client.get(reverse("trays"))


def test_a_trays_mark_leads_to_its_bench_or_to_its_live_pack() -> None:
    tray = makers.tray()
    client = signed_in()
    assert client.get(reverse("tray", args=[tray.code])).headers["Location"] == bench(tray)
    pack = makers.pack(tray)
    assert client.get(reverse("tray", args=[tray.code])).headers["Location"] == reverse("pack", args=[pack.code])
    assert client.get(reverse("tray", args=["T999999X"])).status_code == 404


@pytest.mark.parametrize(
    "name", ["trays", "tray", "tray-bench", "tray-count-sheet", "pack-label", "pack-count-sheet"]
)  # fmt: skip
def test_who_is_not_signed_in_sees_nothing(name: str) -> None:
    args = [] if name == "trays" else ["X"]
    assert urlsplit(Client().get(reverse(name, args=args)).headers["Location"]).path == reverse("sign-in")


@pytest.mark.parametrize("verb", ["put", "take-off", "set-aside", "pack-single", "join", "finish"])
def test_verbs_of_the_bench_are_posted_only(verb: str) -> None:
    tray = makers.tray()
    assert signed_in().get(f"/trays/{tray.code}/{verb}/").status_code == 405


# The bench as it stands


def test_bench_shows_lines_pieces_and_what_is_still_open() -> None:
    tray, laid, loose = two_lines()
    answer = signed_in().get(bench(tray))
    text = " ".join(answer.content.decode().split())
    shown = answer.context["bench"]
    assert [row.line.part_name for row in shown.still_open] == ["Suction tube"]
    assert [row.line.part_name for row in shown.filled] == ["Forceps"]
    assert "version 1: 1 of 2 lines filled" in text
    assert f"?piece={laid.code}" in text
    assert f"{loose.code} is inspected, place not recorded." in text
    assert "Finish tray" in text
    assert "Not yet: 1 to lay." in text


def test_bench_takes_as_many_queries_for_twenty_lines_as_for_forty(django_assert_num_queries: Any) -> None:
    client = signed_in()
    for lines in (20, 40):
        parts = [makers.part() for _ in range(lines)]
        tray = makers.lay(makers.tray(makers.template(*parts)), *(makers.piece(part) for part in parts[1:]))
        client.get(bench(tray))
        with django_assert_num_queries(16):
            client.get(bench(tray))


def test_a_scan_takes_as_many_queries_for_ten_lines_as_for_forty(django_assert_num_queries: Any) -> None:
    client = signed_in()
    for lines in (10, 40):
        parts = [makers.part() for _ in range(lines)]
        laid = [makers.piece(part) for part in parts[1:]]
        tray = makers.lay(makers.tray(makers.template(*parts)), *laid[1:])
        with django_assert_num_queries(30):
            assert swap(client, "tray-put", tray, code=laid[0].code, key=tray.code).status_code == 200


def test_what_lies_beside_the_list_is_named_and_stops_are_said() -> None:
    sizes = makers.series("5.0", "5.5")
    barrel = makers.part(PartKind.BARREL, size=makers.size(sizes, "5.0"))
    wrong = makers.part(PartKind.SHEATH, size=makers.size(sizes, "5.5"))
    tray = makers.tray(makers.template(barrel, rules=[makers.rule(sizes)]))
    makers.lay(tray, makers.piece(barrel), other := makers.piece(wrong))
    answer = signed_in().get(bench(tray))
    assert [placement.piece for placement in answer.context["bench"].beside] == [other]
    assert [finding.slug for finding in answer.context["findings"]] == ["sheath-other-size"]
    assert [one.size for one in answer.context["bench"].waiting.companions] == ["Adult 5.0"]
    assert answer.context["tally"] == "1 to put right, 1 to lay"
    assert f"Take {other.code} off and scan a sheath of size 5.0." in answer.content.decode()


def test_a_packed_tray_shows_its_pack_and_takes_no_piece() -> None:
    tray = makers.tray()
    pack = makers.pack(tray)
    text = signed_in().get(bench(tray)).content.decode()
    assert reverse("pack", args=[pack.code]) in text
    assert reverse("tray-put", args=[tray.code]) not in text
    assert reverse("pack-label", args=[pack.code]) in text


def test_a_tray_without_a_published_list_says_so() -> None:
    tray = makers.tray()
    tray.template.versions.update(state="superseded")
    assert "Have its list published first." in signed_in().get(bench(tray)).content.decode()


def test_who_may_not_assemble_looks_only() -> None:
    tray, laid, _ = two_lines()
    client = signed_in(None, Role.COORDINATOR)
    text = client.get(bench(tray), {"piece": laid.code}).content.decode()
    assert text.count("Your sign-in does not hold the right “assemble”.") >= 3  # the page, taking off, finishing
    for name, fields in (("tray-put", {"code": makers.piece().code}), ("tray-take-off", {"piece": laid.code})):
        assert "does not hold the right “assemble”" in post(client, name, tray.code, **fields)[0]
    assert Placement.objects.get().piece == laid


def test_two_people_at_one_tray_are_told() -> None:
    tray, _, loose = two_lines()
    Placement.objects.update(at=timezone.now() - timedelta(minutes=20))
    me, colleague = makers.person(Role.NURSE), makers.person(Role.NURSE, name="Endoscopy nurse 2")
    client = signed_in(me)
    assert client.get(bench(tray)).context["other"] is None
    put_on_tray(loose.code, tray.code, act=act(colleague, at=timezone.now()))
    text = " ".join(client.get(bench(tray)).content.decode().split())
    assert "Two people at this tray" in text
    assert "Endoscopy nurse 2 laid Suction tube" in text
    assert signed_in(colleague).get(bench(tray)).context["other"] is None


# Laying


def test_a_scanned_piece_lies_on_the_tray_without_javascript() -> None:
    tray, _, loose = two_lines()
    assert post(signed_in(), "tray-put", tray.code, code=f" {loose.code.lower()} ") == [
        f"Suction tube {loose.code} on Adult tray 7."
    ]
    assert loose.placement.tray == tray


def test_a_scan_is_answered_by_the_bench_as_it_is_then() -> None:
    tray, _, loose = two_lines()
    answer = swap(signed_in(), "tray-put", tray, code=loose.code)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert 'data-result="taken"' in text
    assert "Every line is filled. Finish the tray." in text
    assert not answer.context["hindrances"]


def test_a_makers_mark_is_a_piece_too_and_a_replaced_one_is_said() -> None:
    tray, _, loose = two_lines()
    add_mark(loose.code, "QM-1/77", act=act())
    add_mark(loose.code, "QM-1/78", replaces=True, act=act())
    answer = swap(signed_in(), "tray-put", tray, code="QM-1/77")
    assert answer.context["said"].result == "look"
    assert "The mark QM-1/77 of" in answer.content.decode()
    assert loose.placement.tray == tray


def test_a_piece_that_lies_there_is_asked_about() -> None:
    tray, laid, _ = two_lines()
    answer = swap(signed_in(), "tray-put", tray, code=laid.code)
    assert (answer.status_code, answer.context["said"].result) == (409, "look")
    assert answer.context["hand"] == laid
    assert [offer.verb.name for offer in answer.context["offers"]] == ["take_off", "set_aside"]


def test_a_scan_that_was_sent_twice_is_taken_once() -> None:
    tray, _, loose = two_lines()
    for _ in range(2):
        answer = swap(signed_in(), "tray-put", tray, code=loose.code, key="once")
        assert (answer.status_code, answer.context["said"].result) == (200, "taken")
    assert PieceLine.objects.filter(piece=loose, verb="put_on_tray").count() == 1


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ("QM-9", "Cannot find QM-9: nothing of the unit carries this mark."),
        ("P999999", "Cannot find P999999: nothing of the unit carries this mark."),
        ("", "Cannot read the mark: it is empty"),
        ("K000001S", "Cannot take K000001S here: it is a pack, must be a piece."),
    ],
)
def test_what_is_no_piece_is_refused_in_words(mark: str, said: str) -> None:
    tray, _, _ = two_lines()
    answer = swap(signed_in(), "tray-put", tray, code=mark)
    assert (answer.status_code, answer.context["said"].result) == (409, "stop")
    assert answer.context["said"].what.startswith(said)


def test_a_piece_that_is_not_inspected_stays_off() -> None:
    tray, laid, _ = two_lines()
    piece = makers.piece(laid.part, state=PieceState.CLEANED)
    answer = swap(signed_in(), "tray-put", tray, code=piece.code)
    assert answer.context["said"].what == f"Cannot put on tray {piece.code}: it is cleaned, must be inspected."
    assert not Placement.objects.filter(piece=piece).exists()


def test_another_trays_mark_opens_its_bench() -> None:
    tray, other = makers.tray(), makers.tray()
    assert swap(signed_in(), "tray-put", tray, code=other.code).headers["HX-Redirect"] == bench(other)
    assert post(signed_in(), "tray-put", tray.code, code=other.code) == [f"{other.name} is on the bench."]


# A piece in hand


def test_a_tapped_piece_is_taken_in_hand() -> None:
    tray, laid, _ = two_lines()
    answer = signed_in().get(bench(tray), {"piece": laid.code}, headers=SWAP)
    assert b"<html" not in answer.content
    assert f"Forceps {laid.code} is on tray." in answer.content.decode()
    assert signed_in().get(bench(tray), {"piece": "P999999X"}).context["hand"] is None


def test_a_piece_is_taken_off_and_may_be_packed_by_itself() -> None:
    tray, laid, _ = two_lines()
    client = signed_in()
    answer = swap(client, "tray-take-off", tray, piece=laid.code)
    assert [offer.verb.name for offer in answer.context["offers"]] == ["set_aside", "pack_single"]
    answer = swap(client, "tray-pack-single", tray, piece=laid.code)
    pack = Pack.objects.get()
    assert answer.headers["HX-Redirect"] == reverse("pack", args=[pack.code])
    assert f"Forceps packed as {pack.code}." in client.get(answer.headers["HX-Redirect"]).content.decode()


def test_a_piece_that_moved_to_another_tray_is_not_taken_off_unseen() -> None:
    tray, laid, _ = two_lines()
    elsewhere = makers.tray(name="Adult tray 8")
    take_off_tray(laid.code, act=act())
    put_on_tray(laid.code, elsewhere.code, act=act())
    for name in ("tray-take-off", "tray-set-aside"):
        assert (
            "it lies on Adult tray 8, must lie on this one."
            in post(signed_in(), name, tray.code, piece=laid.code, reason="dull")[0]
        )
    assert Placement.objects.get().tray == elsewhere


def test_a_faulty_piece_is_set_aside_for_a_reason() -> None:
    tray, laid, _ = two_lines()
    client = signed_in(None, Role.NURSE)
    assert "the reason is not recorded" in post(client, "tray-set-aside", tray.code, piece=laid.code, reason=" ")[0]
    answer = swap(client, "tray-set-aside", tray, piece=laid.code, reason="jaw loose")
    assert answer.context["said"].next_step == f"Lacks now: 1 × Forceps. None is free: {laid.code} is in repair."
    assert PieceLine.objects.get(piece=laid, verb="send_to_repair").reason == "jaw loose"


def test_a_piece_joins_a_closed_set_by_decision_only() -> None:
    tray = makers.tray(closed=True)
    piece = makers.piece()
    answer = swap(signed_in(None, Role.NURSE), "tray-put", tray, code=piece.code)
    offers = {offer.verb.name: offer.why_not for offer in answer.context["offers"]}
    assert offers["join"] == "Your sign-in does not hold the right “decide”."
    client = signed_in()
    assert "the reason is not recorded" in post(client, "tray-join", tray.code, piece=piece.code)[0]
    answer = swap(client, "tray-join", tray, piece=piece.code, reason="replaces a lost one")
    assert ClosedMember.objects.get(tray=tray).piece == piece
    assert "join" not in {offer.verb.name for offer in answer.context["offers"]}
