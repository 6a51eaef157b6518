"""A day as the plan sees it: its cases, the trays in service where readiness sees them, machines and times."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from math import ceil

from django.db.models import Q
from django.utils import timezone

from journal.reads import policies
from lists.models import Allocation, Case
from lists.plans.day_facts import CaseFact, DayFacts, DemandFact, MachineFact, TrayFact
from lists.readiness import in_date
from lists.reads.readiness import asked_by, cases_of, needs_of, stage_times
from lists.reads.stage_learning import learned_stages
from lists.reads.stock import stock
from lists.stages import Stage, StageTimes, Whereabouts
from lists.states import OPEN_CASES
from reprocessing.models import Load, Machine, MachineClosure
from reprocessing.states import LoadState, MachineKind, MachineState
from trays.models import TemplateLine
from trays.reads.templates import sterilising_programmes
from trays.states import VersionState

CAREFUL = 0.8
"""Of the times that are aimed at, eight of ten are kept."""
TEMPLATE, TRAY = "template:", "tray"


def day_facts(day: date, *, at: datetime, careful: bool = False) -> DayFacts:
    """What the plan of a day goes by, in a number of queries that does not grow.

    Left out: packs of a single piece, which readiness judges; and what a case has in hand already.

    Args:
        day: the day of the lists.
        at: the moment of asking.
        careful: go by the stage times that eight of ten keep, as learned, instead of the policies.
    """
    now = timezone.localtime(at)
    values = policies()
    cases = [case for case in cases_of(day) if case.state in OPEN_CASES]
    facts = tuple(
        _case(case, int(values["weight_implant" if case.planned_implant else "weight_case"])) for case in cases
    )
    times = stage_times()
    sets = stock(asked_by(cases), now=now, times=times)
    wanted = {demand.template for case in facts for demand in case.demands}
    chosen = {demand.chosen for case in facts for demand in case.demands}
    programmes = _programmes(wanted)
    return DayFacts(
        day,
        facts,
        tuple(_trays(sets.values(), wanted, chosen, day, max((case.starts_at for case in facts), default=now))),
        tuple(_machines(programmes.values(), now)),
        programmes,
        _careful_times(times, at) if careful else times,
        int(values["preclean_benches"]),
        int(values["assembly_benches"]),
        max(1, int(values["uses_per_tray"])),
        careful,
        (int(values["opens_hour"]), int(values["closes_hour"])),
    )


def _weight(case: Case) -> str:
    """The policy that says what a case counts; urgency is not recorded, a planned implant is."""
    return "weight_implant" if case.planned_implant else "weight_case"


def _case(case: Case, weight: int) -> CaseFact:
    needs = needs_of(case).needs
    trays = [need for need in needs if need.key.startswith(TEMPLATE)]
    demands = tuple(
        DemandFact(need.requirement, need.wants, need.key.removeprefix(TEMPLATE), need.chosen, need.essential)
        for need in trays
        if not need.in_hand
    )
    return CaseFact(
        case.code,
        case.procedure.name,
        case.list.theatre.name,
        timezone.localtime(case.starts_at),
        case.duration_min,
        weight,
        demands,
        len(trays) - len(demands),
    )


def _trays(
    sets: Iterable[Whereabouts], wanted: Collection[str], chosen: Collection[str], day: date, last: datetime
) -> Iterable[TrayFact]:
    """Trays of the templates that are wanted.

    One that a case of an earlier day is to get first is in use until that is over; one that is promised to a later day
    serves this day only if it was chosen for it.
    """
    earlier, later = _promised(day)
    for found in sets:
        template = found.serves.removeprefix(TEMPLATE)
        if found.kind != TRAY or template not in wanted or (found.code in later and found.code not in chosen):
            continue
        stops = found.stops or tuple(in_date(found, last))
        fact = TrayFact(
            found.code,
            found.name,
            template,
            found.stage,
            found.where,
            found.since,
            found.free_at,
            stops[0].sentence if stops else "",
            found.held,
        )
        if found.code in earlier:
            case = earlier[found.code]
            where = f"to serve case {case.code} first"
            fact = replace(
                fact, stage=Stage.IN_USE, where=where, since=None, free_at=timezone.localtime(case.ends_at), stopped=""
            )
        yield fact


def _promised(day: date) -> tuple[dict[str, Case], set[str]]:
    """By code of the tray the last open case of an earlier day that is to get it; and trays that a later day has."""
    rows = Allocation.objects.filter(requirement__case__state__in=OPEN_CASES).exclude(requirement__case__list__day=day)
    earlier: dict[str, Case] = {}
    later: set[str] = set()
    chosen = rows.select_related("tray", "pack__tray", "requirement__case__list")
    for row in chosen.order_by("requirement__case__starts_at", "pk"):
        case = row.requirement.case
        tray = row.tray or (row.pack.tray if row.pack else None)
        if tray is None:
            continue
        if case.list.day < day:
            earlier[tray.code] = case
        else:
            later.add(tray.code)
    return earlier, later


def _machines(programmes: Collection[str], now: datetime) -> Iterable[MachineFact]:
    """Washers, and the sterilisers that run a programme of the day; all of them where none is known."""
    running = dict(Load.objects.filter(state=LoadState.RUNNING).values_list("machine", "started_at"))
    held = Q(load_packs__open=True) | Q(load_pieces__open=True)
    building = set(Load.objects.filter(held, state=LoadState.BUILDING).values_list("machine", flat=True))
    closed: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    for closure in MachineClosure.objects.in_force(now):
        closed[closure.machine_id].append((closure.starts_at, closure.ends_at))
    machines = Machine.objects.filter(state=MachineState.IN_SERVICE)
    if programmes:
        machines = machines.filter(Q(kind=MachineKind.WASHER) | Q(programmes__code__in=programmes)).distinct()
    for machine in machines.order_by("name", "code"):
        since = running.get(machine.pk)
        yield MachineFact(
            machine.code,
            machine.name,
            machine.washes,
            machine.capacity,
            timezone.localtime(since) if since else None,
            machine.pk in building,
            tuple(closed[machine.pk]),
        )


def _programmes(templates: Collection[str]) -> dict[str, str]:
    """The first programme that suits every part of a template's list; of a template without one nothing is said."""
    lines = TemplateLine.objects.filter(version__state=VersionState.PUBLISHED, version__template__code__in=templates)
    parts: dict[str, set[int]] = defaultdict(set)
    for template, part in lines.values_list("version__template__code", "part"):
        parts[template].add(part)
    allowed = sterilising_programmes({part for of in parts.values() for part in of})
    common = {template: set.intersection(*(allowed.get(part, set()) for part in of)) for template, of in parts.items()}
    return {template: min(suiting) for template, suiting in sorted(common.items()) if suiting}


def _careful_times(times: StageTimes, at: datetime) -> StageTimes:
    """Each stage that is measured by the time that eight of ten keep; cooling and release are measured as one."""
    measured: Sequence[int] = [ceil(row.known.within_min(CAREFUL)) for row in learned_stages(at=at)]
    back, cleaning, washing, assembling, sterilising, releasing = measured
    return replace(
        times,
        return_min=back,
        preclean_min=cleaning,
        wash_min=washing,
        assemble_min=assembling,
        sterilise_min=sterilising,
        cooling_min=releasing,
        release_min=0,
    )
