"""A day as it stands in the database, judged; and what led to a case."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from instruments import actions as instrument_actions
from instruments.models import Part, PartKind, Piece
from instruments.states import PieceState
from journal.roles import Role
from lists import actions
from lists.models import Case, StandingSet
from lists.readiness import CaseReadiness
from lists.reads import (
    DayReadiness,
    case_history,
    list_readiness,
    pack_history,
    piece_history,
    standing_sets,
    suggestions,
)
from lists.states import Readiness
from reprocessing import actions as reprocessing_actions
from reprocessing.models import Load
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON, START
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from trays import actions as tray_actions
from trays.models import Pack, Template, Tray

pytestmark = pytest.mark.django_db

TOMORROW = START + timedelta(days=1)


def case_with(tray: Tray, **fields: Any) -> Case:
    """A case of tomorrow that the tray is to serve."""
    case = m.case(tray.template, **{"starts_at": TOMORROW, **fields})
    actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    return case


def day() -> DayReadiness:
    return list_readiness(TOMORROW.date(), at=NOON)


def judged(case: Case) -> CaseReadiness:
    (row,) = [row for row in day().rows if row.case == case]
    assert row.readiness is not None
    return row.readiness


def slugs(case: Case) -> list[str]:
    return [finding.slug for finding in judged(case).findings]


def one_line(quantity: int = 1) -> Tray:
    """A tray that wants so many pieces of one part."""
    return makers.tray(makers.template(makers.line(makers.part(), quantity)))


def wanted_part(tray: Tray) -> Part:
    return tray.template.versions.get().lines.get().part


# Where a packed tray stands


def test_a_sterile_tray_makes_its_case_complete() -> None:
    pack = m.sterile()
    tray_actions.store(pack.code, makers.place("Store A").code, act=act(at=NOON))
    readiness = judged(case_with(m.tray_of(pack)))
    assert (readiness.verdict, readiness.findings) == (Readiness.COMPLETE, ())
    assert readiness.needs[0].where == "sterile in Store A"


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
    readiness = judged(case_with(m.tray_of(pack)))
    assert (readiness.verdict, readiness.ready_at) == (Readiness.COMPLETE_BY, ready_at)
    assert readiness.words == f"Complete by {timezone.localtime(ready_at):%a %d-%b-%Y %H:%M}"


def test_a_tray_that_another_case_has_is_back_after_it() -> None:
    pack = m.opened()
    readiness = judged(case_with(m.tray_of(pack)))
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
    case = case_with(m.tray_of(pack))
    assert (judged(case).verdict, slugs(case)) == (Readiness.SHORT, [slug])


def test_an_incomplete_pack_says_what_it_lacks() -> None:
    optional = makers.line(makers.part(name="Seal 7.5"), essential=False)
    tray = makers.tray(makers.template(makers.line(makers.part()), optional))
    makers.lay(tray, makers.piece(tray.template.versions.get().lines.get(position=1).part))
    makers.person(Role.NURSE, badge="B-2")
    done = tray_actions.finish_tray(tray.code, incomplete_reason="in repair", second="B-2", act=act())
    m.sterile(Pack.objects.get(code=done.mark))
    case = case_with(tray)
    assert judged(case).verdict is Readiness.COMPLETE
    assert "Seal 7.5" in judged(case).findings[0].sentence


# Trays that are not packed


def test_a_tray_waits_for_the_slowest_of_its_pieces() -> None:
    tray = one_line(2)
    part = wanted_part(tray)
    makers.piece(part)
    slow = makers.piece(part, state=PieceState.RETURNED, place=makers.place("Soiled room"))
    readiness = judged(case_with(tray))
    assert (readiness.verdict, readiness.ready_at) == (Readiness.COMPLETE_BY, NOON + timedelta(minutes=200))
    assert readiness.needs[0].where == f"not packed, {slow.code} is returned in Soiled room"


def test_a_piece_in_the_washer_counts_the_minutes_that_have_passed() -> None:
    tray = one_line()
    piece = makers.piece(wanted_part(tray), state=PieceState.RETURNED)
    load = make.load(make.washer(), piece)
    make.running(load, at=NOON - timedelta(minutes=30))
    readiness = judged(case_with(tray))
    assert readiness.ready_at == NOON + timedelta(minutes=190 - 30)
    assert readiness.needs[0].where == f"not packed, {piece.code} is in washer, load {load.code}"


def test_a_tray_in_assembly_names_what_is_to_come_and_where_it_is() -> None:
    tray = one_line(2)
    part = wanted_part(tray)
    makers.lay(tray, makers.piece(part))
    spare = makers.piece(part, place=makers.place("Store A"))
    case = case_with(tray)
    assert judged(case).verdict is Readiness.COMPLETE_BY
    assert judged(case).findings[-1].words == (
        f"{part.name} lacks on {tray.name}; {spare.code} is inspected in Store A. Put it on the tray."
    )


def test_pieces_that_are_not_to_be_had_leave_the_case_short_and_are_named() -> None:
    tray = one_line(3)
    part = wanted_part(tray)
    repaired, packed, elsewhere = makers.piece(part), makers.piece(part), makers.piece(part)
    instrument_actions.send_to_repair(repaired.code, reason="bent", act=act())
    pack = makers.single(packed)
    other = makers.tray(tray.template, name="Tray B")
    makers.lay(other, elsewhere)
    case = case_with(tray)
    assert (judged(case).verdict, slugs(case)) == (Readiness.SHORT, ["piece-lacks"])
    assert judged(case).findings[0].remedy == (
        f"{repaired.code} is in repair, its place is not recorded; "
        f"{packed.code} is packed, pack {pack.code}; {elsewhere.code} is on Tray B."
    )


def test_one_piece_does_not_fill_two_trays() -> None:
    first = one_line()
    second = makers.tray(first.template)
    makers.piece(wanted_part(first))
    cases = [case_with(first), case_with(second, starts_at=TOMORROW + timedelta(minutes=5))]
    assert [judged(case).verdict for case in cases] == [Readiness.COMPLETE_BY, Readiness.SHORT]


def test_a_closed_set_is_filled_with_its_own_pieces_only() -> None:
    template = makers.template(makers.line(makers.part()))
    shut, open_one = makers.tray(template, closed=True), makers.tray(template)
    makers.piece(wanted_part(shut))
    cases = [case_with(shut), case_with(open_one)]
    assert [judged(case).verdict for case in cases] == [Readiness.SHORT, Readiness.COMPLETE_BY]
    own = makers.piece(wanted_part(shut))
    tray_actions.join_closed_set(own.code, shut.code, reason="tissue risk", act=act())
    assert [judged(case).verdict for case in cases] == [Readiness.COMPLETE_BY, Readiness.COMPLETE_BY]


def test_what_has_come_back_and_is_not_counted_is_on_its_way() -> None:
    pack = m.returned()
    readiness = judged(case_with(m.tray_of(pack)))
    assert readiness.ready_at == NOON + timedelta(minutes=225)


def test_a_missing_companion_of_a_barrel_is_looked_for_by_size() -> None:
    series = makers.series("5.0", "5.5")
    five = makers.size(series, "5.0")
    barrel = makers.part(PartKind.BARREL, size=five)
    tray = makers.tray(makers.template(makers.line(barrel), rules=[makers.rule(series, wants_seal=False)]))
    makers.lay(tray, makers.piece(barrel))
    case = case_with(tray)
    assert slugs(case) == ["sheath-missing"]
    makers.piece(makers.part(PartKind.SHEATH, size=five))
    assert judged(case).verdict is Readiness.COMPLETE_BY


def test_a_template_without_a_published_list_makes_its_case_short() -> None:
    template = Template.objects.create(code="DRAFT", name="Draft tray")
    assert slugs(case_with(makers.tray(template))) == ["no-version"]


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
    case = case_with(m.tray_of(pack))
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
    case = case_with(m.tray_of(chosen))
    m.issued(other, case)
    assert judged(case).needs[0].need.in_hand == other.code


def test_a_single_pack_that_was_handed_out_serves_the_need_of_its_part() -> None:
    pack = makers.maker_pack()
    case = m.case(makers.template(), m.parts_in(pack)[0], starts_at=TOMORROW)
    m.issued(pack, case)
    assert [row.need.in_hand for row in judged(case).needs] == ["", pack.code]


# The day


def test_the_day_says_in_one_line_how_it_stands() -> None:
    assert day().words == "No cases"
    ready = m.sterile()
    case_with(m.tray_of(ready))
    assert day().words == "1 case: 1 complete"
    case_with(m.tray_of(makers.pack()))
    m.case(m.implant(), starts_at=TOMORROW)
    gone = m.case(starts_at=TOMORROW)
    actions.cancel_case(gone.code, reason="fever", act=act())
    over = m.case_of(m.opened(None, m.case(starts_at=TOMORROW)))
    actions.end_case(over.code, act=act(at=NOON))
    found = day()
    assert found.words == "4 cases: 1 complete, 1 complete by start, 1 short, 1 over"
    assert [row.readiness is None for row in found.rows if row.case == over] == [True]
    assert gone not in [row.case for row in found.rows]


def test_a_theatre_is_shown_alone_but_judged_with_the_others() -> None:
    pack = m.sterile()
    case_with(m.tray_of(pack), in_theatre="Theatre 1")
    second = case_with(m.tray_of(pack), in_theatre="Theatre 2", starts_at=TOMORROW + timedelta(minutes=5))
    shown = list_readiness(TOMORROW.date(), at=NOON, theatre=second.list.theatre.code)
    assert [row.case for row in shown.rows] == [second]
    assert [row.readiness.verdict for row in shown.rows if row.readiness] == [Readiness.LATE]


def test_the_planned_size_is_asked_of_packed_and_of_unpacked_trays() -> None:
    series = makers.series("7.5", "8.0")
    barrel = makers.part(PartKind.BARREL, size=makers.size(series, "8.0"))
    packed, bare = (makers.tray(makers.template(makers.line(barrel))) for _ in range(2))
    m.sterile(packed)
    makers.piece(barrel)
    for tray in (packed, bare):
        assert "planned-size-lacks" in slugs(case_with(tray, planned_size="7.5"))
        assert "planned-size-lacks" not in slugs(case_with(tray, planned_size="8.0"))


# Standing sets


def test_a_standing_set_counts_what_is_sterile_and_what_the_day_takes() -> None:
    template = makers.template()
    StandingSet.objects.create(template=template, minimum=2)
    trays = [makers.tray(template) for _ in range(3)]
    for tray in trays:
        m.sterile(tray)
    assert [(row.sterile, row.reserved, row.findings) for row in standing_sets(TOMORROW.date(), at=NOON)] == [
        (3, 0, ())
    ]
    case_with(trays[0])
    case = m.case(template, starts_at=TOMORROW)
    actions.allocate(m.need(case).pk, pack=Pack.objects.get(tray=trays[1]).code, act=act())
    (row,) = day().standing
    assert (row.sterile, row.reserved, [finding.slug for finding in row.findings]) == (3, 2, ["standing-taken"])
    Pack.objects.update(use_by=NOON - timedelta(minutes=1))
    (row,) = day().standing
    assert (row.sterile, row.reserved, [finding.slug for finding in row.findings]) == (0, 0, ["standing-below"])


# A constant number of queries


def full_day(cases: int) -> None:
    """So many cases of every kind: packed trays in every stage, bare ones, implants, nothing chosen."""
    part = m.implant()
    for number in range(cases):
        at = TOMORROW + timedelta(minutes=5 * number)
        kind = number % 5
        if kind == 0:
            case_with(m.tray_of(makers.pack()), starts_at=at)
        elif kind == 1:
            tray = one_line(2)
            makers.piece(wanted_part(tray))
            case_with(tray, starts_at=at)
        elif kind == 2:
            case = m.case(part, starts_at=at)
            actions.allocate(m.need(case).pk, pack=makers.maker_pack(part).code, act=act())
        elif kind == 3:
            m.issued(makers.maker_pack(part), m.case(part, starts_at=at))
        else:
            m.case(makers.template(), starts_at=at)


@pytest.mark.parametrize("ask", [list_readiness, suggestions])
def test_ten_cases_and_forty_take_the_same_number_of_queries(ask: Callable[..., object]) -> None:
    series = makers.series()
    StandingSet.objects.create(template=makers.template(rules=[makers.rule(series)]))
    counts = []
    for more in (10, 30):
        full_day(more)
        with CaptureQueriesContext(connection) as queries:
            ask(TOMORROW.date(), at=NOON)
        counts.append(len(queries))
    assert Case.objects.count() == 40
    assert counts[0] == counts[1] <= 26


# Histories


def used_day() -> tuple[Case, Pack, Piece, Load, Load]:
    """A piece washed, packed, sterilised and used in a case."""
    piece = makers.piece(state=PieceState.RETURNED)
    wash = make.released(make.load(make.washer(), piece))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=DECIDED))
    tray = makers.tray(makers.template(makers.line(piece.part)))
    tray_actions.put_on_tray(piece.code, tray.code, act=act(at=DECIDED))
    pack = m.sterile(Pack.objects.get(code=tray_actions.finish_tray(tray.code, act=act(at=DECIDED)).mark))
    m.returned(pack)
    actions.count_piece(piece.code, act=act(at=NOON))
    return m.case_of(pack), pack, piece, wash, Load.objects.get(load_packs__pack=pack)


def test_from_the_case_to_each_load_and_piece() -> None:
    case, pack, piece, wash, sterilised = used_day()
    history = case_history(case)
    (path,) = history.packs
    assert path.pack == pack
    assert [(row.content.piece, row.wash) for row in path.pieces] == [(piece, wash)]
    assert (path.loads, path.washes) == ((sterilised,), (wash,))
    assert [line.verb for line in history.lines] == ["plan", "issue", "begin", "open", "take_back", "close_count"]
    assert history.implants == ()


def test_from_the_piece_and_from_the_pack_to_the_case() -> None:
    case, pack, piece, wash, sterilised = used_day()
    of_piece, of_pack = piece_history(piece), pack_history(pack)
    assert of_piece.cases == of_pack.cases == (case,)
    assert of_piece.washes == (wash,)
    assert [path.loads for path in of_piece.packs] == [(sterilised,)]
    assert [line.verb for line in of_piece.lines][-2:] == ["use", "take_back"]
    assert of_pack.lines[0].verb == "assemble"
    assert of_pack.path.pieces[0].content.piece == piece


def test_a_wash_after_the_pack_is_not_the_wash_before_it() -> None:
    case, _, piece, wash, _ = used_day()
    later = make.load(make.washer(), piece)
    make.running(later, at=NOON)
    reprocessing_actions.unload(later.code, dosing_recorded=True, act=act(at=NOON + timedelta(hours=1)))
    Load.objects.filter(pk=later.pk).update(state="released")
    assert case_history(case).packs[0].washes == (wash,)


def test_the_history_of_a_piece_leaves_out_its_neighbours() -> None:
    pack = m.returned(m.sterile(one_line(2)))
    first, second = m.pieces_of(pack)
    (path,) = piece_history(first).packs
    assert [row.content.piece for row in path.pieces] == [first]
    assert second in [row.content.piece for row in pack_history(pack).path.pieces]


def test_the_history_of_a_case_names_its_implants() -> None:
    implant = m.implant()
    pack = m.opened(makers.maker_pack(implant), m.case(implant))
    (piece,) = m.pieces_of(pack)
    case = m.case_of(pack)
    actions.implant_piece(piece.code, case.code, act=act(at=NOON))
    (line,) = case_history(case).implants
    assert (line.evidence["lot"], line.evidence["piece"]) == ("LOT-1", piece.code)
    assert case_history(case).packs[0].pieces[0].wash is None


def test_histories_take_the_same_number_of_queries_however_long_they_are() -> None:
    case = m.case()
    counts = []
    for _ in range(2):
        for _ in range(2):
            m.issued(m.sterile(), case)
        with CaptureQueriesContext(connection) as queries:
            case_history(case)
        counts.append(len(queries))
    assert counts[0] == counts[1]
