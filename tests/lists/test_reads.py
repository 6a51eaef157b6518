"""Where trays and packs stand in the database, and what that makes of a case."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial

import pytest
from django.utils import timezone

from instruments import actions as instrument_actions
from instruments.models import PartKind
from instruments.states import PieceState
from journal.roles import Role
from lists import actions
from lists.models import Case
from lists.readiness import CaseReadiness
from lists.reads import (
    DayReadiness,
    list_readiness,
)
from lists.states import Readiness
from reprocessing import actions as reprocessing_actions
from reprocessing.models import Load
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON, START, TOMORROW
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from trays import actions as tray_actions
from trays.models import Pack, Template

pytestmark = pytest.mark.django_db


def day() -> DayReadiness:
    return list_readiness(TOMORROW.date(), at=NOON)


def judged(case: Case) -> CaseReadiness:
    (row,) = [row for row in day().rows if row.case == case]
    assert row.readiness is not None
    return row.readiness


def slugs(case: Case) -> list[str]:
    return [finding.slug for finding in judged(case).findings]


# Where a packed tray stands


def test_a_sterile_tray_makes_its_case_complete() -> None:
    pack = m.sterile()
    tray_actions.store(pack.code, makers.place("Store A").code, act=act(at=NOON))
    readiness = judged(m.case_with(m.tray_of(pack)))
    assert (readiness.verdict, readiness.findings) == (Readiness.COMPLETE, ())
    assert readiness.needs[0].where == "sterile in Store A"


def test_an_implant_load_without_its_biological_result_keeps_a_case_waiting_until_the_form_is_signed() -> None:
    implant = m.implant()
    pack = makers.single(makers.piece(implant))
    load = make.complete(make.load(None, pack))
    case = m.case(implant, starts_at=TOMORROW)
    actions.allocate(m.need(case).pk, pack=pack.code, act=act())
    make.policy("biological_min", 48 * 60)
    (need,) = judged(case).needs
    assert need.verdict is Readiness.LATE
    assert need.where == f"awaiting release, load {load.code}, which waits for its biological result"
    form = dict.fromkeys(("implants", "case_reference", "authorised_by", "reason", "avoidable_by"), "stated")
    reprocessing_actions.sign_exceptional_release(load.code, **form, act=act(make.releaser(), at=DECIDED))
    assert judged(case).verdict is Readiness.COMPLETE_BY


def _left(pack: Pack) -> None:
    assert pack.state == "assembled"


def _running(pack: Pack) -> None:
    make.running(make.load(None, pack), at=AT)


@pytest.mark.parametrize(
    ("bring", "ready_at"),
    [
        (_left, NOON + timedelta(minutes=95)),  # assembled: sterilise 55, cool 30, release 10
        (lambda pack: make.load(None, pack), NOON + timedelta(minutes=95)),  # in a load that has not started
        (_running, NOON + timedelta(minutes=40)),  # started at 9:00, its 55 min are over: cool 30, release 10
        (lambda pack: make.ended(make.load(None, pack)), NOON + timedelta(minutes=10)),  # cooled since 10:00
    ],
)
def test_a_packed_tray_on_its_way_is_complete_by_its_stage_times(
    bring: Callable[[Pack], object], ready_at: datetime
) -> None:
    pack = makers.pack()
    bring(pack)
    readiness = judged(m.case_with(m.tray_of(pack)))
    assert (readiness.verdict, readiness.ready_at) == (Readiness.COMPLETE_BY, ready_at)
    assert readiness.words == f"Complete by {timezone.localtime(ready_at):%a %d-%b-%Y %H:%M}"


def test_a_tray_that_another_case_has_is_back_after_it() -> None:
    pack = m.opened()
    readiness = judged(m.case_with(m.tray_of(pack)))
    assert readiness.needs[0].where == f"opened, with case {m.case_of(pack).code}"
    assert readiness.ready_at == START + timedelta(minutes=60 + 225)


@pytest.mark.parametrize(
    ("spoil", "slug"),
    [
        (lambda pack: tray_actions.quarantine_pack(pack.code, reason="wet", act=act()), "pack-quarantined"),
        (
            lambda pack: reprocessing_actions.recall_load(
                Load.objects.get(load_packs__pack=pack).code, reason="failed indicator", act=act()
            ),
            "pack-recalled",
        ),
        (lambda pack: Pack.objects.filter(pk=pack.pk).update(use_by=NOON - timedelta(minutes=1)), "expired"),
        (lambda pack: Pack.objects.filter(pk=pack.pk).update(use_by=TOMORROW - timedelta(minutes=1)), "expired"),
    ],
)
def test_a_pack_that_cannot_serve_makes_its_case_short(spoil: Callable[[Pack], object], slug: str) -> None:
    pack = m.sterile()
    spoil(pack)
    case = m.case_with(m.tray_of(pack))
    assert (judged(case).verdict, slugs(case)) == (Readiness.SHORT, [slug])


def test_an_incomplete_pack_says_what_it_lacks() -> None:
    optional = makers.line(makers.part(name="Seal 7.5"), essential=False)
    tray = makers.tray(makers.template(makers.line(makers.part()), optional))
    makers.lay(tray, makers.piece(tray.template.versions.get().lines.get(position=1).part))
    makers.person(Role.NURSE, badge="B-2")
    done = tray_actions.finish_tray(tray.code, incomplete_reason="in repair", second="B-2", act=act())
    m.sterile(Pack.objects.get(code=done.mark))
    case = m.case_with(tray)
    assert judged(case).verdict is Readiness.COMPLETE
    assert "Seal 7.5" in judged(case).findings[0].sentence


# Trays that are not packed


def test_a_tray_waits_for_the_slowest_of_its_pieces() -> None:
    tray = m.one_line(2)
    part = m.wanted_part(tray)
    makers.piece(part)
    slow = makers.piece(part, state=PieceState.RETURNED, place=makers.place("Soiled room"))
    readiness = judged(m.case_with(tray))
    assert (readiness.verdict, readiness.ready_at) == (Readiness.COMPLETE_BY, NOON + timedelta(minutes=200))
    assert readiness.needs[0].where == f"not packed, {slow.code} is returned in Soiled room"


def test_a_piece_in_the_washer_counts_the_minutes_that_have_passed() -> None:
    tray = m.one_line()
    piece = makers.piece(m.wanted_part(tray), state=PieceState.RETURNED)
    load = make.load(make.washer(), piece)
    make.running(load, at=NOON - timedelta(minutes=30))
    readiness = judged(m.case_with(tray))
    assert readiness.ready_at == NOON + timedelta(minutes=190 - 30)
    assert readiness.needs[0].where == f"not packed, {piece.code} is in washer, load {load.code}"


def test_a_tray_in_assembly_names_what_is_to_come_and_where_it_is() -> None:
    tray = m.one_line(2)
    part = m.wanted_part(tray)
    makers.lay(tray, makers.piece(part))
    spare = makers.piece(part, place=makers.place("Store A"))
    case = m.case_with(tray)
    assert judged(case).verdict is Readiness.COMPLETE_BY
    assert judged(case).findings[-1].words == (
        f"{part.name} lacks on {tray.name}; {spare.code} is inspected in Store A. Put it on the tray."
    )


def test_pieces_that_are_not_to_be_had_leave_the_case_short_and_are_named() -> None:
    tray = m.one_line(3)
    part = m.wanted_part(tray)
    repaired, packed, elsewhere = makers.piece(part), makers.piece(part), makers.piece(part)
    instrument_actions.send_to_repair(repaired.code, reason="bent", act=act())
    pack = makers.single(packed)
    other = makers.tray(tray.template, name="Tray B")
    makers.lay(other, elsewhere)
    case = m.case_with(tray)
    assert (judged(case).verdict, slugs(case)) == (Readiness.SHORT, ["piece-lacks"])
    assert judged(case).findings[0].remedy == (
        f"{repaired.code} is in repair, its place is not recorded; "
        f"{packed.code} is packed, pack {pack.code}; {elsewhere.code} is on Tray B."
    )


def test_one_piece_does_not_fill_two_trays() -> None:
    first = m.one_line()
    second = makers.tray(first.template)
    makers.piece(m.wanted_part(first))
    cases = [m.case_with(first), m.case_with(second, starts_at=TOMORROW + timedelta(minutes=5))]
    assert [judged(case).verdict for case in cases] == [Readiness.COMPLETE_BY, Readiness.SHORT]


def test_a_closed_set_is_filled_with_its_own_pieces_only() -> None:
    template = makers.template(makers.line(makers.part()))
    shut, open_one = makers.tray(template, closed=True), makers.tray(template)
    makers.piece(m.wanted_part(shut))
    cases = [m.case_with(shut), m.case_with(open_one)]
    assert [judged(case).verdict for case in cases] == [Readiness.SHORT, Readiness.COMPLETE_BY]
    own = makers.piece(m.wanted_part(shut))
    tray_actions.join_closed_set(own.code, shut.code, reason="tissue risk", act=act())
    assert [judged(case).verdict for case in cases] == [Readiness.COMPLETE_BY, Readiness.COMPLETE_BY]


def test_what_has_come_back_and_is_not_counted_is_on_its_way() -> None:
    pack = m.returned()
    readiness = judged(m.case_with(m.tray_of(pack)))
    assert readiness.ready_at == NOON + timedelta(minutes=225)


def test_a_missing_companion_of_a_barrel_is_looked_for_by_size() -> None:
    series = makers.series("5.0", "5.5")
    five = makers.size(series, "5.0")
    barrel = makers.part(PartKind.BARREL, size=five)
    tray = makers.tray(makers.template(makers.line(barrel), rules=[makers.rule(series, wants_seal=False)]))
    makers.lay(tray, makers.piece(barrel))
    case = m.case_with(tray)
    assert slugs(case) == ["sheath-missing"]
    makers.piece(makers.part(PartKind.SHEATH, size=five))
    assert judged(case).verdict is Readiness.COMPLETE_BY


def test_a_template_without_a_published_list_makes_its_case_short() -> None:
    template = Template.objects.create(code="DRAFT", name="Draft tray")
    assert slugs(m.case_with(makers.tray(template))) == ["no-version"]


# Single packs


def test_an_implant_on_the_shelf_is_complete_and_one_that_is_not_in_stock_is_short() -> None:
    held, missing = m.implant(), m.implant()
    pack = makers.maker_pack(held)
    case = m.case(held, missing, starts_at=TOMORROW)
    actions.allocate(m.need(case).pk, pack=pack.code, act=act())
    readiness = judged(case)
    assert [row.verdict for row in readiness.needs] == [Readiness.COMPLETE, Readiness.SHORT]
    assert readiness.findings[0].sentence.endswith("is not in stock. The unit has none.")


def test_a_loose_piece_of_the_part_may_be_packed_for_it() -> None:
    part = makers.part()
    piece = makers.piece(part, place=makers.place("Store A"))
    readiness = judged(m.case(part, starts_at=TOMORROW))
    assert readiness.verdict is Readiness.NOT_PLANNED
    assert readiness.findings[0].remedy == f"{part.name} {piece.code} is free: inspected in Store A."


def test_a_pack_that_has_ended_cannot_serve() -> None:
    pack = m.sterile()
    case = m.case(m.tray_of(pack).template, starts_at=TOMORROW)
    actions.allocate(m.need(case).pk, pack=pack.code, act=act())
    assert judged(case).verdict is Readiness.COMPLETE
    urgent = m.case()
    actions.issue(pack.code, urgent.code, barrier_intact=True, reason="bleeding", act=act(at=NOON))
    actions.open_pack(pack.code, urgent.code, act=act(at=NOON))
    actions.take_back(pack.code, act=act(at=NOON))
    assert slugs(case) == ["pack-returned"]


# What a case has


def test_a_pack_that_was_handed_out_serves_its_need_to_the_end_of_the_case() -> None:
    pack = m.sterile()
    case = m.case_with(m.tray_of(pack))
    steps: tuple[Callable[[], object], ...] = (
        partial(actions.issue, pack.code, case.code, barrier_intact=True, act=act(at=NOON)),
        partial(actions.open_pack, pack.code, case.code, act=act(at=NOON)),
        partial(actions.take_back, pack.code, act=act(at=NOON)),
        partial(actions.close_count, pack.code, act=act(at=NOON)),
    )
    for step in steps:
        step()
        assert judged(case).needs[0].need.in_hand == pack.code
        assert judged(case).verdict is Readiness.COMPLETE


def test_another_pack_of_the_kind_serves_when_it_was_handed_out_instead() -> None:
    chosen = m.sterile()
    other = m.sterile(makers.tray(m.tray_of(chosen).template))
    case = m.case_with(m.tray_of(chosen))
    m.issued(other, case)
    assert judged(case).needs[0].need.in_hand == other.code


def test_a_single_pack_that_was_handed_out_serves_the_need_of_its_part() -> None:
    pack = makers.maker_pack()
    case = m.case(makers.template(), m.parts_in(pack)[0], starts_at=TOMORROW)
    m.issued(pack, case)
    assert [row.need.in_hand for row in judged(case).needs] == ["", pack.code]
