"""Reports of a period: what is counted and what is not, the page, the tables, and a fixed number of questions."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from config.reports.figures import (
    REPORTS,
    Cell,
    Period,
    Report,
    conditions,
    first_pass_loads,
    first_pass_sets,
    indicators,
    losses,
    machine_use,
    overdue,
    periodic_tests,
    turn_round,
)
from instruments import actions as instrument_actions
from journal.roles import Role
from lists import actions as list_actions
from reprocessing import actions
from reprocessing.models import Load
from tests import makers
from tests.lists.makers import case as a_case
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import Browser

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate(AT)
DAY = Period(TODAY, TODAY)
BEFORE = Period(TODAY - timedelta(days=9), TODAY - timedelta(days=1))


def rejected() -> Load:
    load = make.ended()
    actions.reject(load.code, reason="door opened", act=act(at=make.DECIDED))
    return load


def told(report: Report) -> dict[Cell, Cell]:
    """The second cell of each row by its first."""
    return {row[0]: row[1] for row in report.rows}


def test_a_period_does_not_end_before_it_begins() -> None:
    with pytest.raises(ValueError, match="must be 2026-11-24 or later"):
        Period(date(2026, 11, 24), date(2026, 11, 23))


def test_an_empty_period_has_nothing() -> None:
    rejected()
    assert [report(BEFORE).n for report in REPORTS] == [0] * len(REPORTS)
    assert first_pass_loads(BEFORE).chart is None


def test_first_pass_of_loads_and_sets() -> None:
    """One released, one rejected, one released and called back; a wet set in a good load."""
    wet, dry = makers.pack(), makers.pack()
    good = make.running(make.load(None, wet, dry))
    actions.unload(good.code, wet=(wet.code,), act=act(at=make.ENDED))
    make.released(good)
    rejected()
    back = make.released()
    actions.recall_load(back.code, reason="wrong programme", act=act(at=make.DECIDED))
    loads, sets = first_pass_loads(DAY), first_pass_sets(DAY)
    assert (loads.n, sum(int(row[2]) for row in loads.rows)) == (3, 1)
    assert (sets.n, sum(int(row[2]) for row in sets.rows)) == (4, 1)
    assert loads.chart is not None
    (point,) = loads.chart.points
    assert (point.sample.count, point.sample.of, point.sample.label) == (2, 3, "W48")


def test_turn_round_by_stage() -> None:
    """Assembled and started at 09:00, unloaded at 10:00, decided at 10:10; washed after its return."""
    pack = makers.pack()
    make.released(make.load(None, pack))
    on = a_case()
    list_actions.issue(pack.code, on.code, barrier_intact=True, act=act(at=make.DECIDED))
    list_actions.open_pack(pack.code, on.code, act=act(at=make.DECIDED))
    list_actions.take_back(pack.code, act=act(at=make.DECIDED))
    stages = {row[0]: row[1:] for row in turn_round(DAY).rows}
    assert stages["Steriliser started to unloaded"] == (1, "1hr", "1hr")
    assert stages["Steriliser unloaded to decision"] == (1, "10min", "10min")
    assert stages["Set assembled to steriliser started"][0] == 1


def test_losses_machine_use_and_indicators() -> None:
    piece = makers.piece()
    instrument_actions.send_to_repair(piece.code, reason="bent", act=act())
    actions.raise_nonconformity(piece.code, cause="piece damaged", description="bent", act=act())
    found = told(losses(DAY))
    assert (found["Sent to repair"], found["Reported missing"], found["Non-conformity: piece damaged"]) == (1, 0, 1)
    load = make.complete()
    used = {row[0]: row[1:] for row in machine_use(DAY).rows}
    assert used[load.machine.name][:2] == (1, "1.0")
    assert used[load.machine.name][3] == 0
    report = indicators(DAY)
    assert report.n == load.indicators.count()
    assert all(row[0].startswith(load.machine.name) for row in report.rows if isinstance(row[0], str))


def test_overdue() -> None:
    code = actions.raise_nonconformity(makers.piece().code, cause="other", description="a", act=act()).mark
    actions.add_corrective_action(code, "look", role=Role.NURSE, due=TODAY, act=act())
    make.ended()
    assert told(overdue(DAY))["Loads that wait for their decision"] == 1
    later = told(overdue(Period(TODAY, TODAY + timedelta(days=30))))
    assert (later["Non-conformities"], later["Corrective actions"]) == (1, 1)


def test_the_page_and_the_tables() -> None:
    make.released()
    lead = Browser(makers.person(Role.QUALITY))
    query = f"?first={TODAY}&last={TODAY}"
    page = lead.source(f"/reports/{query}")
    assert page.count('class="control-chart"') == 2
    assert "too few for limits" in page
    assert "must be 2026-11-24 or later" in lead.read("/reports/?first=2026-11-24&last=2026-11-01")
    assert "Enter a valid date" in lead.read("/reports/?first=soon")
    for report in REPORTS:
        slug = report.__name__.replace("_", "-")
        rows = list(csv.reader(io.StringIO(lead.source(f"/reports/{slug}.csv{query}"))))
        assert rows[0][0] == report(DAY).title
        assert tuple(rows[2]) == report(DAY).columns
    assert rows[0][1] == f"{TODAY} to {TODAY}"
    assert lead.client.get("/reports/scores.csv").status_code == 404
    assert lead.client.get("/reports/losses.csv?first=soon").status_code == 404


def test_the_page_asks_the_same_however_much_happened() -> None:
    lead = Browser(makers.person(Role.QUALITY))

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            lead.read(f"/reports/?first={TODAY}&last={TODAY}")
        return len(queries)

    make.released()
    once = asked()
    rejected()
    make.released()
    assert asked() == once


def test_periodic_tests_and_protein_are_counted_for_their_machine() -> None:
    load = make.released(make.washing())
    washer, piece = load.machine, load.load_pieces.get().piece
    kind = str(washer.kind)
    test = actions.ask_periodic_test(kind, "Rinse", every_days=7, source="policy", unit="mg/L", most=2.0, act=act()).pk
    for value in (1.0, 3.0):
        actions.record_periodic_test(washer.code, test, value=value, act=act())
    actions.check_protein(piece.code, "swab", passed=True, act=act(at=make.DECIDED))
    assert periodic_tests(DAY).rows == (
        (f"{washer.name}, Rinse", 2, 1, 1),
        (f"{washer.name}, residual protein", 1, 1, 0),
    )


def test_packs_are_counted_by_the_condition_in_which_they_were_found() -> None:
    packs = [makers.pack() for _ in range(4)]
    load = make.running(make.load(None, *packs))
    codes = [pack.code for pack in packs]
    actions.unload(load.code, wet=(codes[0],), torn=(codes[1],), dropped=(codes[2],), act=act(at=make.ENDED))
    assert conditions(DAY).rows == ((load.machine.name, 4, 1, 1, 1, 1, 0),)
