"""Packs out to a case, opened, and back unopened; the case over."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

import pytest

from instruments.models import PieceLine
from instruments.states import PieceState
from journal.findings import Severity
from journal.roles import Role
from lists import actions
from lists.models import CaseLine, Issue
from lists.states import CaseState
from reprocessing import actions as reprocessing_actions
from reprocessing.states import IndicatorKind
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON, START
from tests.makers import act, refused
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from trays import actions as tray_actions
from trays.models import Pack, PackLine
from trays.states import PackState

pytestmark = pytest.mark.django_db


def issue(pack: Pack, case_code: str, *, reason: str = "", intact: bool = True) -> list[str]:
    """Issue it; slugs of what is to be looked at."""
    done = actions.issue(pack.code, case_code, barrier_intact=intact, reason=reason, act=act(at=NOON))
    return [finding["slug"] for finding in done.findings]


# Issue


def test_a_pack_is_issued_to_the_case_that_needs_it() -> None:
    pack = m.sterile()
    case = m.case(m.tray_of(pack).template)
    done = actions.issue(pack.code, case.code, barrier_intact=True, act=act(at=NOON))
    assert (done.state, done.findings) == (PackState.ISSUED, ())
    row = Issue.objects.get()
    assert (row.case, row.pack, row.issued_at, row.ended) == (case, pack, NOON, False)
    assert PackLine.objects.filter(verb="issue").get().evidence == {"case": case.code, "barrier_intact": True}
    assert CaseLine.objects.filter(verb="issue").get().evidence == {"pack": pack.code}


def test_an_issued_pack_is_on_no_shelf() -> None:
    pack = m.sterile()
    Pack.objects.filter(pk=pack.pk).update(place=makers.place())
    assert m.issued(pack).place is None


def test_what_was_not_asked_for_goes_out_with_a_look() -> None:
    assert issue(m.sterile(), m.case().code) == ["not-asked-for"]
    assert issue(makers.maker_pack(), m.case().code) == ["not-asked-for"]


def test_issuing_needs_its_right() -> None:
    pack, case = m.sterile(), m.case()
    technician = act(makers.person(Role.TECHNICIAN), at=NOON)
    assert refused(lambda: actions.issue(pack.code, case.code, barrier_intact=True, act=technician)) == [
        "right-missing"
    ]


@pytest.mark.parametrize("end", ["cancelled", "ended"])
def test_a_case_that_is_over_gets_nothing(end: str) -> None:
    case = m.case() if end == "cancelled" else m.case_of(m.opened())
    if end == "cancelled":
        actions.cancel_case(case.code, reason="fever", act=act())
    else:
        actions.end_case(case.code, act=act(at=NOON))
    pack = m.sterile()
    assert refused(lambda: issue(pack, case.code)) == ["case-not-open"]


def test_a_case_under_way_may_get_more() -> None:
    case = m.case_of(m.opened())
    assert issue(m.sterile(), case.code) == ["not-asked-for"]


def test_a_pack_that_another_case_is_to_get_needs_a_reason() -> None:
    pack = makers.maker_pack()
    part = m.parts_in(pack)[0]
    theirs, ours = m.case(part), m.case(part)
    actions.allocate(m.need(theirs).pk, pack=pack.code, act=act())
    assert refused(lambda: issue(pack, ours.code)) == ["serves-another-case"]
    assert issue(pack, ours.code, reason="bleeding, theirs can wait") == ["taken-from-case"]
    assert PackLine.objects.filter(verb="issue").get().reason == "bleeding, theirs can wait"


def test_a_tray_that_serves_two_cases_goes_to_the_earlier_one_freely() -> None:
    pack = m.sterile()
    tray = m.tray_of(pack)
    early, late = m.case(tray.template), m.case(tray.template, starts_at=START + timedelta(hours=6))
    for case in (early, late):
        actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    assert refused(lambda: issue(pack, late.code)) == ["serves-another-case"]
    assert issue(pack, early.code) == []


def test_a_case_of_yesterday_that_never_began_claims_nothing() -> None:
    pack = makers.maker_pack()
    part = m.parts_in(pack)[0]
    forgotten, ours = m.case(part, starts_at=START - timedelta(days=1)), m.case(part)
    actions.allocate(m.need(forgotten).pk, pack=pack.code, act=act())
    assert issue(pack, ours.code) == []


# Immediate use


def immediate() -> Pack:
    """An unwrapped item whose load was released at 10:10; it may be used until 11:00."""
    make.policy("immediate_use", value=True)
    flash = makers.programme("FLASH", immediate=True)
    part = makers.part(programmes=[makers.programme("W90", kind="wash"), flash])
    piece = makers.piece(part)
    wrapped = tray_actions.pack_single(
        piece.code, immediate=True, reason="dropped, no second one", patient_ref="PSEUDO-1", act=act()
    )
    pack = Pack.objects.get(code=wrapped.mark)
    machine = make.machine(programmes=[flash])
    make.released(make.load(machine, pack, programme=flash.code))
    pack.refresh_from_db()
    return pack


def test_an_immediate_use_item_goes_to_the_patient_it_was_made_for() -> None:
    pack = immediate()
    part = m.parts_in(pack)[0]
    nameless, other, own = (m.case(part, patient_ref=patient) for patient in ("", "PSEUDO-2", "PSEUDO-1"))
    now = act(at=DECIDED + timedelta(minutes=10))
    for case in (nameless, other):
        hand = partial(actions.issue, pack.code, case.code, barrier_intact=True, act=now)
        assert refused(hand) == ["other-patient"]
    assert actions.issue(pack.code, own.code, barrier_intact=True, act=now).state == PackState.ISSUED


def test_an_immediate_use_item_is_not_stored_and_serves_no_second_case() -> None:
    pack = immediate()
    case = m.case(m.parts_in(pack)[0], patient_ref="PSEUDO-1")
    now = act(at=DECIDED + timedelta(minutes=10))
    actions.issue(pack.code, case.code, barrier_intact=True, act=now)
    done = actions.put_back(pack.code, barrier_intact=True, act=now)
    assert done.state == PackState.RETURNED
    assert "not stored" in done.sentence


def test_an_immediate_use_item_is_over_in_an_hour() -> None:
    pack = immediate()
    case = m.case(m.parts_in(pack)[0], patient_ref="PSEUDO-1")
    late = act(at=make.ENDED + timedelta(minutes=61))
    assert set(refused(lambda: actions.issue(pack.code, case.code, barrier_intact=True, act=late))) == {
        "expired",
        "immediate-use-over",
    }


# Opening


def test_opening_puts_the_pieces_in_use_and_begins_the_case() -> None:
    pack = m.issued()
    case = m.case_of(pack)
    done = actions.open_pack(pack.code, case.code, act=act(at=NOON))
    assert done.state == PackState.OPENED
    assert {piece.state for piece in m.pieces_of(pack)} == {PieceState.IN_USE}
    case.refresh_from_db()
    assert case.state == CaseState.UNDER_WAY
    assert Issue.objects.get().opened_at == NOON
    assert [line.verb for line in CaseLine.objects.filter(case=case)] == ["plan", "issue", "begin", "open"]


def test_the_second_pack_of_a_case_finds_it_under_way() -> None:
    case = m.case_of(m.opened())
    assert m.opened(m.sterile(), case).state == PackState.OPENED
    assert CaseLine.objects.filter(case=case, verb="begin").count() == 1


def test_a_pack_is_opened_for_its_own_case() -> None:
    pack, other = m.issued(), m.case()
    assert refused(lambda: actions.open_pack(pack.code, other.code, act=act(at=NOON))) == ["other-case"]


def test_a_pack_that_was_not_issued_is_not_opened() -> None:
    pack, case = m.sterile(), m.case()
    assert refused(lambda: actions.open_pack(pack.code, case.code, act=act(at=NOON))) == ["not-with-a-case"]


def test_a_pack_that_has_expired_since_its_issue_is_not_opened() -> None:
    pack = m.issued()
    late = act(at=pack.use_by + timedelta(minutes=1))
    assert refused(lambda: actions.open_pack(pack.code, m.case_of(pack).code, act=late)) == ["expired"]


def test_a_pack_is_not_opened_for_a_case_that_was_cancelled() -> None:
    pack = m.issued()
    case = m.case_of(pack)
    actions.cancel_case(case.code, reason="fever", act=act())
    assert refused(lambda: actions.open_pack(pack.code, case.code, act=act(at=NOON))) == ["case-not-open"]


# Back unopened


def test_an_intact_pack_in_date_goes_back_to_the_shelf_and_may_go_out_again() -> None:
    pack = m.issued()
    done = actions.put_back(pack.code, barrier_intact=True, act=act(at=NOON))
    assert done.state == PackState.STERILE
    row = Issue.objects.get()
    assert (row.returned_at, row.ended, row.opened_at) == (NOON, True, None)
    assert {piece.state for piece in m.pieces_of(pack)} == {PieceState.PACKED}
    assert m.issued(pack).state == PackState.ISSUED


@pytest.mark.parametrize("why", ["barrier not intact", "past its use-by date"])
def test_any_other_pack_counts_as_used_and_its_pieces_are_counted(why: str) -> None:
    pack = m.issued()
    late = pack.use_by + timedelta(minutes=1) if "date" in why else NOON
    done = actions.put_back(pack.code, barrier_intact="date" in why, act=act(at=late))
    assert (done.state, done.sentence) == (PackState.RETURNED, f"{pack.name} {pack.code} counts as used: {why}.")
    assert [finding["slug"] for finding in done.findings] == ["to-count"]
    (piece,) = m.pieces_of(pack)
    assert piece.state == PieceState.IN_USE
    actions.count_piece(piece.code, act=act(at=late))
    piece.refresh_from_db()
    assert piece.state == PieceState.RETURNED
    row = Issue.objects.get()
    assert (row.opened_at, row.ended) == (None, True)
    assert m.case_of(pack).state == CaseState.PLANNED
    assert PieceLine.objects.get(piece=piece, verb="take_back").evidence["unused"] is True


@pytest.mark.parametrize("intact", [True, False])
def test_an_opened_pack_is_not_put_back(*, intact: bool) -> None:
    pack = m.opened()
    assert refused(lambda: actions.put_back(pack.code, barrier_intact=intact, act=act(at=NOON))) == ["wrong-state"]


def test_a_pack_on_the_shelf_is_not_put_back() -> None:
    pack = m.sterile()
    assert refused(lambda: actions.put_back(pack.code, barrier_intact=True, act=act(at=NOON))) == ["not-with-a-case"]


# The end of a case


def test_a_case_is_over_and_what_is_out_is_named() -> None:
    pack = m.opened()
    case = m.case_of(pack)
    unopened, back = m.issued(m.sterile(), case), m.returned(m.sterile(), case)
    done = actions.end_case(case.code, act=act(at=NOON))
    assert done.state == CaseState.ENDED
    assert sorted(finding["subject"] for finding in done.findings) == sorted([pack.code, unopened.code])
    assert back.code not in {finding["subject"] for finding in done.findings}


def test_a_pack_that_a_decision_has_ended_is_not_out() -> None:
    case = m.case_of(m.returned())
    held = m.issued(m.sterile(), case)
    tray_actions.quarantine_pack(held.code, reason="wet", act=act(at=NOON))
    tray_actions.condemn_pack(held.code, reason="wet", act=act(at=NOON))
    assert actions.end_case(case.code, act=act(at=NOON)).findings == ()


def test_a_case_that_has_not_begun_does_not_end() -> None:
    case = m.case()
    assert refused(lambda: actions.end_case(case.code, act=act())) == ["wrong-state"]


def test_a_biological_result_that_is_still_due_is_said_at_issue() -> None:
    implant = m.implant(single_use=True)
    pack = makers.single(makers.piece(implant, lot="LOT-3"))
    load = make.complete(make.load(None, pack))
    make.indicator(load, IndicatorKind.BIOLOGICAL)
    form = {
        "implants": "stent",
        "case_reference": "R-1",
        "authorised_by": "Operator 1",
        "reason": "airway closing",
        "avoidable_by": "a second stent in stock",
    }
    reprocessing_actions.sign_exceptional_release(load.code, **form, act=act(make.releaser(), at=DECIDED))
    reprocessing_actions.release(load.code, act=act(make.releaser(), at=DECIDED))
    done = actions.issue(pack.code, m.case(implant).code, barrier_intact=True, act=act(at=NOON))
    assert [(row["slug"], row["severity"]) for row in done.findings] == [("biological-result-due", Severity.LOOK)]
