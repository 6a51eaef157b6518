"""A whole day, its standing sets, and how many queries it takes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from instruments.models import PartKind
from lists import actions
from lists.models import Case, StandingSet
from lists.reads import (
    DayReadiness,
    list_readiness,
    standing_sets,
    suggestions,
)
from lists.states import Readiness
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON, TOMORROW
from tests.makers import act
from trays.models import Pack

pytestmark = pytest.mark.django_db


def day() -> DayReadiness:
    return list_readiness(TOMORROW.date(), at=NOON)


def test_the_day_says_in_one_line_how_it_stands() -> None:
    assert day().words == "No cases"
    ready = m.sterile()
    m.case_with(m.tray_of(ready))
    assert day().words == "1 case: 1 complete"
    m.case_with(m.tray_of(makers.pack()))
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
    m.case_with(m.tray_of(pack), in_theatre="Theatre 1")
    second = m.case_with(m.tray_of(pack), in_theatre="Theatre 2", starts_at=TOMORROW + timedelta(minutes=5))
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
        for size in ("7.5", "8.0"):
            m.case_with(tray, planned_size=size)
    found = {(row.case.requirements.get().allocation.tray, row.case.planned_size): row.readiness for row in day().rows}
    for (_, size), readiness in found.items():
        assert readiness is not None
        lacks = "planned-size-lacks" in [finding.slug for finding in readiness.findings]
        assert lacks is (size == "7.5")
    assert len(found) == 4


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
    m.case_with(trays[0])
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
            m.case_with(m.tray_of(makers.pack()), starts_at=at)
        elif kind == 1:
            tray = m.one_line(2)
            makers.piece(m.wanted_part(tray))
            m.case_with(tray, starts_at=at)
        elif kind == 2:
            case = m.case(part, starts_at=at)
            actions.allocate(m.need(case).pk, pack=makers.maker_pack(part).code, act=act())
        elif kind == 3:
            m.issued(makers.maker_pack(part), m.case(part, starts_at=at))
        else:
            m.case(makers.template(), starts_at=at)


@pytest.mark.parametrize("ask", [list_readiness, suggestions])
def test_ten_cases_and_a_hundred_take_the_same_number_of_queries(ask: Callable[..., object]) -> None:
    series = makers.series()
    StandingSet.objects.create(template=makers.template(rules=[makers.rule(series)]))
    counts = []
    for more in (10, 90):
        full_day(more)
        with CaptureQueriesContext(connection) as queries:
            ask(TOMORROW.date(), at=NOON)
        counts.append(len(queries))
    assert Case.objects.count() == 100
    assert counts[0] == counts[1] <= 28


def test_the_chains_of_ten_cases_and_of_a_hundred_take_the_same_number_of_queries() -> None:
    series = makers.series("7.0", "8.0")
    sizes = {"inner_mm": "7.0", "outer_mm": "8.0", "length_mm": "430", "coupling": "C1"}
    barrels = [makers.part(PartKind.BARREL, size=size, dimensions=sizes) for size in series.sizes.all()]
    tray = makers.tray(makers.template(makers.line(barrels[0])))
    m.sterile(makers.pack(tray))
    spare = makers.piece(barrels[1])
    kind = m.procedure()
    actions.state_needs((f"template:{tray.template.code}", f"sizes:{series.code}:0:1"), procedure=kind.code, act=act())
    counts = []
    for numbers in (range(10), range(10, 100)):
        for number in numbers:
            at = TOMORROW + timedelta(minutes=number)
            done = actions.plan_case(f"R-{number}", m.theatre().code, kind.code, at, 5, planned_size="7.0", act=act())
            actions.allocate(m.need(Case.objects.get(code=done.mark)).pk, tray=tray.code, act=act())
        with CaptureQueriesContext(connection) as queries:
            found = list_readiness(TOMORROW.date(), at=NOON)
        counts.append(len(queries))
    assert counts[0] == counts[1]
    for row in found.rows:
        assert row.readiness is not None
        assert row.readiness.verdict == Readiness.SHORT
        assert spare.code in next(one.remedy for one in row.readiness.findings if one.slug == "chain-barrel")
