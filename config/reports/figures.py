"""The figures of the reports: each with its definition in words, its rows, and how many things it rests on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone

from config.templatetags.words import duration
from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from lists.models import Issue
from reprocessing.control_chart import Chart, Sample, p_chart, percentile
from reprocessing.models import (
    CorrectiveAction,
    Indicator,
    Load,
    LoadPack,
    Machine,
    MachineTest,
    Nonconformity,
    PeriodicResult,
    ProteinCheck,
)
from reprocessing.states import Condition, LoadKind, LoadState, Result

Cell = str | int
MEDIAN, NINETIETH = 0.5, 0.9
LOSSES = {
    "miss": "Reported missing",
    "not_come_back": "Did not come back from a case",
    "send_to_repair": "Sent to repair",
    "withdraw": "Withdrawn",
    "discard": "Discarded",
}
LIMITS = (
    "Dashed: the mean share; dotted: three standard errors of each week's own number from it (p-chart, "
    "D. C. Montgomery, Introduction to Statistical Quality Control). "
    "A week outside asks for its cause and proves none."
)


@dataclass(frozen=True, slots=True)
class Period:
    """Days from the first to the last, both counted.

    Raises:
        ValueError: it ends before it begins.
    """

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"Cannot report: the last day is {self.last}, must be {self.first} or later.")

    @property
    def moments(self) -> tuple[datetime, datetime]:
        """From when, and until before when."""
        ends = (self.first, self.last + timedelta(days=1))
        first, after = (timezone.make_aware(datetime.combine(day, time.min)) for day in ends)
        return first, after

    def within(self, field: str) -> Q:
        """Rows whose moment of this name lies in it."""
        first, after = self.moments
        return Q(**{f"{field}__gte": first, f"{field}__lt": after})


@dataclass(frozen=True, slots=True)
class Report:
    """A report.

    Args:
        slug: its name in an address.
        title: what it is called.
        definition: what is counted, from when to when, and what is left out.
        columns: headings.
        rows: a tuple for each; the first cell names it.
        n: how many things it rests on.
        chart: shares over time, where it has one.
    """

    slug: str
    title: str
    definition: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    n: int
    chart: Chart | None = None


def turn_round(period: Period) -> Report:
    """How long each stage took."""
    stages: dict[str, list[float]] = defaultdict(list)
    for name, start, end in _stages(period):
        if start is not None and end is not None and end >= start:
            stages[name].append((end - start).total_seconds())
    rows = [
        (name, len(took), duration(percentile(took, MEDIAN)), duration(percentile(took, NINETIETH)))
        for name, took in stages.items()
    ]
    return Report(
        "turn-round",
        "Turn-round by stage",
        "Stages of routine loads that were decided in the period, and of the sets in them. "
        "Median: half took no longer; 90th: nine of ten took no longer. "
        "A stage whose start or end is not recorded is left out.",
        ("Stage", "n", "Median", "90th percentile"),
        tuple(rows),
        sum(len(took) for took in stages.values()),
    )


def _stages(period: Period) -> Iterator[tuple[str, datetime | None, datetime | None]]:
    decided = _decided(period)
    washed = decided.filter(load_pieces__came_with__isnull=False)
    sets = set(washed.values_list("load_pieces__came_with", "started_at"))
    backs = Issue.objects.filter(pack__in=[pack for pack, _ in sets]).values_list("pack", "returned_at")
    returned = {pack: at for pack, at in backs if at is not None}
    for pack, started in sorted(sets):
        yield "Set returned to wash started", returned.get(pack), started
    for row in decided.select_related("machine", "decision"):
        machine = "Washer" if row.machine.washes else "Steriliser"
        yield f"{machine} started to unloaded", row.started_at, row.ended_at
        yield f"{machine} unloaded to decision", row.ended_at, row.decision.at
    packs = LoadPack.objects.filter(load__in=decided)
    for assembled, started in packs.values_list("pack__assembled_at", "load__started_at"):
        yield "Set assembled to steriliser started", assembled, started


def _decided(period: Period) -> Any:
    return Load.objects.filter(period.within("decision__at"), kind=LoadKind.ROUTINE).order_by("decision__at", "pk")


def first_pass_loads(period: Period) -> Report:
    """Loads that were right at first."""
    rows = _decided(period).values_list("decision__at", "machine__name", "state")
    return _first_pass(
        "first-pass-loads",
        "First pass of loads",
        "Routine loads decided in the period. Right at first: released, and not called back since. " + LIMITS,
        "Machine",
        [(at, name, state == LoadState.RELEASED) for at, name, state in rows],
    )


def first_pass_sets(period: Period) -> Report:
    """Sets that came sterile out of their first load."""
    packs = LoadPack.objects.filter(load__in=_decided(period)).order_by("load__decision__at", "pk")
    rows = packs.values_list("load__decision__at", "pack__name", "load__state", "barrier_intact")
    return _first_pass(
        "first-pass-sets",
        "First pass of sets",
        "Sets in steriliser loads decided in the period. Right at first: the load was released and not called back, "
        "and the set was dry and intact on unloading. " + LIMITS,
        "Set",
        [(at, name, state == LoadState.RELEASED and intact is not False) for at, name, state, intact in rows],
    )


def conditions(period: Period) -> Report:
    """How packs were found on unloading, by machine."""
    counted: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    rows = LoadPack.objects.filter(period.within("load__ended_at")).exclude(barrier_intact=None)
    for machine, condition in rows.values_list("load__machine__name", "condition"):
        counted[machine][condition] += 1
    order = (*Condition, "")
    table: list[tuple[Cell, ...]] = [
        (machine, sum(of.values()), *(of[condition] for condition in order)) for machine, of in sorted(counted.items())
    ]
    return Report(
        "conditions",
        "Packs on unloading",
        "Wrapped packs of loads that were unloaded in the period, as they were found. A wet or dropped pack is washed "
        "again, a torn or open one wrapped anew. Not told apart: found before the three were told apart.",
        ("Machine", "n", *(str(condition).capitalize() for condition in Condition), "Not told apart"),
        tuple(table),
        sum(sum(of.values()) for of in counted.values()),
    )


def _first_pass(slug: str, title: str, definition: str, what: str, rows: list[tuple[datetime, str, bool]]) -> Report:
    weeks: dict[str, list[bool]] = defaultdict(list)
    names: dict[str, list[bool]] = defaultdict(list)
    for at, name, right in rows:
        weeks[f"{timezone.localdate(at):%G-W%V}"].append(right)
        names[name].append(right)
    table = [(name, len(all_of), sum(all_of), f"{sum(all_of) / len(all_of):.1%}") for name, all_of in names.items()]
    samples = [Sample(week[5:], len(all_of) - sum(all_of), len(all_of)) for week, all_of in weeks.items()]
    columns = (what, "n", "Right at first", "Share")
    return Report(slug, title, definition, columns, tuple(sorted(table)), len(rows), p_chart(samples))


def losses(period: Period) -> Report:
    """Missing and damaged pieces, and non-conformities by cause."""
    lines = PieceLine.objects.filter(period.within("occurred_at"), verb__in=LOSSES)
    counted = dict(lines.order_by().values_list("verb").annotate(Count("pk")))
    raised = Nonconformity.objects.filter(period.within("raised_at")).order_by().values_list("cause")
    causes = sorted(raised.annotate(Count("pk")))
    rows = [(words, counted.get(verb, 0)) for verb, words in LOSSES.items()]
    rows += [(f"Non-conformity: {cause}", number) for cause, number in causes]
    return Report(
        "losses",
        "Missing and damaged pieces, non-conformities",
        "Events in the period, by what happened; one piece can have several. Non-conformities by their cause.",
        ("What", "n"),
        tuple(rows),
        sum(number for _, number in rows),
    )


def machine_use(period: Period) -> Report:
    """Loads and hours of each machine, and its tests."""
    loads: dict[int, list[float]] = defaultdict(list)
    runs = Load.objects.filter(period.within("started_at"), ended_at__isnull=False)
    for machine, start, end in runs.values_list("machine", "started_at", "ended_at"):
        loads[machine].append((end - start).total_seconds())  # type: ignore[operator] # both recorded
    tested: dict[tuple[int, str], int] = defaultdict(int)
    for machine, result in MachineTest.objects.filter(period.within("at")).values_list("machine", "result"):
        tested[machine, result] += 1
    rows = [
        (row.name, len(loads[row.pk]), f"{sum(loads[row.pk]) / 3600:.1f}", *_tests(tested, row.pk))
        for row in Machine.objects.order_by("name")
    ]
    return Report(
        "machine-use",
        "Machine use",
        "Loads started in the period and unloaded, tests of every kind with them; hours from start to unloading.",
        ("Machine", "Loads", "Hours", "Tests passed", "Tests failed"),
        tuple(rows),
        sum(len(took) for took in loads.values()),
    )


def _tests(tested: dict[tuple[int, str], int], machine: int) -> tuple[int, int]:
    return tested[machine, Result.PASSED], tested[machine, Result.FAILED]


def periodic_tests(period: Period) -> Report:
    """Results of periodic tests, of water and of residual protein."""
    counted: dict[str, list[bool]] = defaultdict(list)
    results = PeriodicResult.objects.filter(period.within("taken_at"))
    for machine, test, passed in results.order_by("taken_at").values_list("machine__name", "test__name", "passed"):
        counted[f"{machine}, {test}"].append(passed)
    checks = ProteinCheck.objects.filter(period.within("at")).order_by("at")
    for machine, passed in checks.values_list("load__machine__name", "passed"):
        counted[f"{machine or 'Washer not recorded'}, residual protein"].append(passed)
    rows = [(name, len(all_of), sum(all_of), len(all_of) - sum(all_of)) for name, all_of in sorted(counted.items())]
    return Report(
        "periodic-tests",
        "Periodic tests, water and residual protein",
        "Results of tests done and of water and pieces sampled in the period, by machine; a measured one passes "
        "within its limits. Residual protein counts for the washer that cleaned the piece.",
        ("Machine and test", "n", "Passed", "Failed"),
        tuple(rows),
        sum(len(all_of) for all_of in counted.values()),
    )


def indicators(period: Period) -> Report:
    """What the indicators of each machine said."""
    seen: dict[tuple[str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    rows = Indicator.objects.filter(period.within("load__ended_at"))
    for machine, kind, result in rows.values_list("load__machine__name", "kind", "result"):
        seen[machine, kind][result] += 1
    order = (Result.PASSED, Result.FAILED, Result.WAITING)
    table: list[tuple[Cell, ...]] = [
        (f"{machine}, {kind}", *(of[result] for result in order)) for (machine, kind), of in sorted(seen.items())
    ]
    return Report(
        "indicators",
        "Indicator results",
        "Indicators of loads that were unloaded in the period. A biological one passes when it is negative.",
        ("Machine and indicator", "Passed", "Failed", "Not read yet"),
        tuple(table),
        sum(sum(of.values()) for of in seen.values()),
    )


def overdue(period: Period) -> Report:
    """What is past its date on the last day of the period, as far as it still is."""
    last = period.last
    gone = Q(state=PieceState.WITHDRAWN)
    rows = (
        ("Non-conformities", Nonconformity.objects.still_open().filter(due_on__lt=last).count()),
        ("Corrective actions", CorrectiveAction.objects.filter(done_at=None, due_on__lt=last).count()),
        ("Pieces past their service date", Piece.objects.filter(service_due__lt=last).exclude(gone).count()),
        ("Loads that wait for their decision", Load.objects.filter(_waiting(period)).count()),
    )
    return Report(
        "overdue",
        "Overdue",
        "What is open now and was due before the last day of the period; "
        "loads unloaded before its end and not decided.",
        ("What", "n"),
        rows,
        sum(number for _, number in rows),
    )


def _waiting(period: Period) -> Q:
    return Q(state=LoadState.AWAITING_RELEASE, ended_at__lt=period.moments[1])


REPORTS: tuple[Callable[[Period], Report], ...] = (
    turn_round,
    first_pass_loads,
    first_pass_sets,
    conditions,
    losses,
    machine_use,
    periodic_tests,
    indicators,
    overdue,
)


def reports(period: Period) -> Iterable[Report]:
    """All of them, in their order."""
    return [report(period) for report in REPORTS]
