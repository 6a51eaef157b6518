"""Questions to machines and loads."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from instruments.models import Part, Programme
from journal.findings import Finding
from journal.models import Person
from journal.reads import policies, policy
from reprocessing import checklist, rules
from reprocessing.checklist import NOBODY, Check, Read, Seen
from reprocessing.columns import Columns, named
from reprocessing.device_message import is_message, read_message
from reprocessing.limits import PhaseLimit, SteamLimits, VacuumLimits, WashLimits
from reprocessing.models import (
    Arrival,
    ExceptionalRelease,
    Load,
    LoadLine,
    Machine,
    MachineColumns,
    MachineTest,
    Nonconformity,
    Recall,
)
from reprocessing.reads.devices import began, message_checks
from reprocessing.reads.low_temperature import against_low_temperature
from reprocessing.reads.periodic import against_periodic
from reprocessing.reads.supplies import against_lots
from reprocessing.reads.upkeep import against_closed, proof_of_machine
from reprocessing.recall_states import IN_FORCE
from reprocessing.rules import Standing, Tested
from reprocessing.states import (
    BUILDING_VERBS,
    DAY_TESTS,
    TEST_VALIDITY,
    IndicatorKind,
    LoadKind,
    LoadState,
    MachineKind,
    MachineState,
    Result,
    TestKind,
)
from reprocessing.trace import Trace, parse_trace
from reprocessing.upkeep import proven
from trays.models import Pack
from trays.states import PackKind

CLOCKS_DIFFER = timedelta(minutes=10)
"""A machine's clock and the unit's may differ by this much: common practice, no source."""


def standings_of(machine: Machine, at: datetime) -> tuple[Standing, ...]:
    """How a machine stands with each test that it must pass before a routine load."""
    return standings_of_each([machine], at)[machine.pk]


def standings_of_each(machines: Iterable[Machine], at: datetime) -> dict[int, tuple[Standing, ...]]:
    """The same for several machines, by their keys, in two queries."""
    machines = list(machines)
    latest: dict[int, list[Tested]] = {machine.pk: [] for machine in machines}
    for test in MachineTest.objects.filter(machine__in=machines).latest_of_each_kind(at):
        tested = Tested(TestKind(test.kind), test.result == Result.PASSED, timezone.localtime(test.at))
        latest[test.machine_id].append(tested)
    unit = policies()
    day_hour = int(unit["machine_day_hour"])
    hours = {kind: int(unit[name]) for kind, name in TEST_VALIDITY.items()}
    return {
        machine.pk: rules.standings(
            latest[machine.pk],
            wanted={kind: hours[kind] for kind in DAY_TESTS[MachineKind(machine.kind)]},
            at=timezone.localtime(at),
            day_hour=day_hour,
        )
        for machine in machines
    }


def tests_due(machine: Machine, at: datetime) -> tuple[Standing, ...]:
    """Those tests that a routine load would wait for."""
    return tuple(standing for standing in standings_of(machine, at) if not standing.valid)


def against_return(machine: Machine, at: datetime) -> Iterator[Finding]:
    """What stands against returning a machine to service, beside its state."""
    yield from rules.failed_last(machine.code, machine.name, standings_of(machine, at))
    if machine.state == MachineState.OUT_OF_SERVICE:
        yield from proven(machine.code, machine.name, proof_of_machine(machine))


def against_start(load: Load, machine: Machine, at: datetime) -> Iterator[Finding]:
    """Nevers 5 and 6 for a load that is to start on its machine. A test load needs no tests and may be empty."""
    others = Load.objects.filter(machine=machine, state=LoadState.RUNNING).exclude(pk=load.pk)
    running = others.values_list("code", flat=True).first()
    if load.kind == LoadKind.ROUTINE:
        yield from rules.machine_ready(
            load.code,
            machine.name,
            in_service=machine.state == MachineState.IN_SERVICE,
            running=running,
            tests=standings_of(machine, at),
        )
        yield from against_closed(load, machine, at)
        yield from against_lots(load, machine, at)
        yield from against_periodic(load, machine, at)
        yield from rules.holds_something(load.code, held=sets_in(load))
    else:
        yield from rules.machine_free(load.code, machine.name, running=running)
    yield from against_low_temperature("start", load.code, load)
    unfit = not_validated(parts_in(load), load.programme)
    yield from rules.validated("start", load.code, load.programme.name, unfit)


def against_release(load: Load, checks: Iterable[Check]) -> Iterator[Finding]:
    """What of its evidence forbids to release a load. A test load lets nothing out: there it does not forbid."""
    if load.kind == LoadKind.ROUTINE:
        yield from checklist.release_stops(load.code, checks)
    yield from rules.not_called_back(load.code, named_in(load))


def named_in(load: Load) -> list[str]:
    """Codes of the recalls in force that name a load."""
    rows = Recall.objects.filter(recall_loads__load=load, state__in=IN_FORCE).order_by("pk")
    return list(rows.values_list("code", flat=True))


def alone_needed(load: Load, person: Person) -> bool:
    """Whether this person may release the load only by the single-staffing exception."""
    return second_person_wanted(load) and rules.built_alone([row.pk for row in builders(load)], person.pk)


def waits_too_long_since(at: datetime) -> datetime:
    """A load that ended by this moment, and is not decided, waits longer than the unit allows."""
    return at - timedelta(minutes=int(policy("waiting_decision_min")))


def programmes_offered() -> QuerySet[Programme]:
    """What a routine load may run; immediate-use programmes only where the unit allows them."""
    rows = Programme.objects.order_by("code")
    return rows if policy("immediate_use") else rows.filter(immediate=False)


def builders(load: Load) -> tuple[Person, ...]:
    """Who added to a load, started it or unloaded it, in order of their first line; then who built what came into it.

    Who took something off it, to another load, has not built it by that.
    """
    lines = list(load.lines.filter(verb__in=BUILDING_VERBS).select_related("person"))
    built = [line for line in lines if line.evidence.get("to", load.code) == load.code]
    found = {line.person.pk: line.person for line in built if line.person is not None}
    before = {name for line in built for name in line.evidence.get("built_by", ())}
    more = Person.objects.filter(username__in=before).exclude(pk__in=found).order_by("pk") if before else ()
    return (*found.values(), *more)


def second_person_wanted(load: Load) -> bool:
    """Whether the unit wants a load of this machine released by somebody who did not build it alone."""
    return bool(policy("second_person_washer" if load.machine.washes else "second_person_steriliser"))


def trail_of(thing: Load | Machine | Recall | Nonconformity) -> QuerySet[Any]:
    """The trail of one of these, newest first, each line with what it corrects and what corrects it."""
    lines = thing.lines.select_related("person", "station", "corrects").prefetch_related("corrected_by")
    trail: QuerySet[Any] = lines.order_by("-id")
    return trail


def loads_of_pack(pack: Pack) -> QuerySet[Load]:
    """Every load that a pack is in or went through."""
    loads: QuerySet[Load] = Load.objects.filter(load_packs__pack=pack)
    return loads


def holds_implant(load: Load) -> bool:
    """Whether some pack of the load holds an implant; one that was ended on unloading counts no more."""
    return bool(load.load_packs.filter(pack__holds_implant=True).exclude(barrier_intact=False).exists())


def parts_in(load: Load) -> QuerySet[Part]:
    """The parts of everything that is in a load now."""
    washed = Q(pieces__load_pieces__load=load, pieces__load_pieces__open=True)
    packed = Q(pieces__carried__pack__load_packs__load=load, pieces__carried__pack__load_packs__open=True)
    return Part.objects.filter(washed | packed).distinct()


def not_validated(parts: QuerySet[Part], programme: Programme) -> list[str]:
    """Names of those parts that a programme is not validated for."""
    fit = Part.objects.filter(validations__programme=programme)
    return list(parts.exclude(pk__in=fit.values("pk")).order_by("code").values_list("name", flat=True))


def sets_in(load: Load) -> int:
    """How much of its machine's room a load takes: packs; in a washer sets, loose pieces sharing one basket."""
    if not load.machine.washes:
        return int(load.load_packs.filter(open=True).count())
    came_with = set(load.load_pieces.filter(open=True).values_list("came_with", flat=True))
    return len(came_with)


def steam_limits(programme: Programme) -> SteamLimits:
    """What a steam programme demands.

    Raises:
        ValueError: it is no steam programme.
    """
    numbers = (
        programme.set_c,
        programme.band_k,
        programme.hold_s,
        programme.equilibration_s,
        programme.spread_k,
        programme.saturation_k,
    )
    if None in numbers:
        raise ValueError(f"{programme.name} has no limits of a steam cycle.")
    set_c, band_k, hold_s, equilibration_s, spread_k, saturation_k = (float(number or 0) for number in numbers)
    return SteamLimits(
        set_c=set_c,
        band_k=band_k,
        hold_s=hold_s,
        equilibration_max_s=equilibration_s,
        probe_spread_k=spread_k,
        saturation_k=saturation_k,
        source=programme.source,
        confirm_locally=programme.confirm_locally,
        vacuum=VacuumLimits(programme.pulses, programme.pulse_mbar, programme.drying_s, programme.drying_mbar),
    )


def wash_limits(programme: Programme) -> WashLimits:
    """What a wash programme demands of the trace; the phase and dosing record is a check of its own.

    Raises:
        ValueError: it is no wash programme.
    """
    if programme.a0_s is None:
        raise ValueError(f"{programme.name} has no limits of a wash cycle.")
    return WashLimits(
        a0_required_s=programme.a0_s,
        source=programme.source,
        record_required=False,
        confirm_locally=programme.confirm_locally,
    )


def phase_limits(programme: Programme) -> tuple[PhaseLimit, ...]:
    """What a low-temperature programme demands of its machine's phases."""
    return tuple(PhaseLimit(row.phase, row.quantity, row.unit, row.least, row.most) for row in programme.phases.all())


def columns_of(machine: Machine) -> dict[str, Any] | None:
    """What the columns of a machine's log hold, as plain values; None when their names say it."""
    row = MachineColumns.objects.filter(machine=machine).values("held", "header_line", "ambient_mbar").first()
    return dict(row) if row else None


def read_trace(content: str, columns: dict[str, Any] | None) -> Trace:
    """Read a record by its columns as they were stated, or as their names say.

    Raises:
        ValueError: it cannot be read; the sentence says why.
    """
    ambient_mbar = float(policy("ambient_pressure_mbar"))
    if columns is None:
        return parse_trace(content, ambient_mbar=ambient_mbar)
    stated = Columns(**columns)
    return parse_trace(named(content, stated), ambient_mbar=stated.ambient_mbar or ambient_mbar)


def loads_of_record(arrival: Arrival) -> tuple[list[Load], Load | None]:
    """The loads that a record may belong to, and the one that ran when it begins."""
    rows = Load.objects.filter(state__in=[LoadState.RUNNING, LoadState.AWAITING_RELEASE]).select_related("machine")
    loads = list(rows.filter(machine=arrival.machine) if arrival.machine else rows)
    try:
        begins = _begins(arrival)
    except ValueError:
        return loads, None
    fitting = [load for load in loads if begins and _ran_at(load, begins)]
    return loads, fitting[0] if len(fitting) == 1 else None


def _begins(arrival: Arrival) -> datetime | None:
    """When the cycle of a record began, as far as it says.

    Raises:
        ValueError: the record cannot be read.
    """
    if is_message(arrival.content):
        return began(read_message(arrival.content))
    trace = read_trace(arrival.content, columns_of(arrival.machine) if arrival.machine else None)
    local = trace.started_local
    return trace.started_at or (timezone.make_aware(local) if local else None)


def _ran_at(load: Load, moment: datetime) -> bool:
    """Whether a load ran then, a clock's difference allowed."""
    if load.started_at is None or moment < load.started_at - CLOCKS_DIFFER:
        return False
    return load.ended_at is None or moment <= load.ended_at


def load_evidence(load: Load) -> tuple[Check, ...]:
    """The evidence for the decision on a load, one check for each thing looked at."""
    lines = list(load.lines.select_related("person"))
    checks = [_trace_check(load), *message_checks(load)]
    if load.machine.washes:
        checks.append(checklist.dosing_check(load.dosing_recorded, seen=_latest(lines, "dosing_recorded")))
    else:
        checks += [*_indicator_checks(load), _condition_check(load, lines)]
    return (
        *checks,
        checklist.second_person_check([str(person) for person in builders(load)], wanted=second_person_wanted(load)),
        _doubt_check(load),
    )


def _latest(lines: Iterable[LoadLine], name: str) -> Seen:
    """Who wrote the last line whose evidence has a value of that name, and when."""
    for line in reversed(list(lines)):
        if line.evidence.get(name) is not None:
            return str(line.person), line.occurred_at
    return NOBODY


def _trace_check(load: Load) -> Check:
    trace = load.traces.defer("content").select_related("received_by").first()
    if trace is None:
        return checklist.trace_check(None)
    return checklist.trace_check(trace.judgement, seen=(str(trace.received_by), trace.received_at))


def indicator_reads(load: Load) -> list[Read]:
    """Every indicator of a load with its result."""
    return [
        Read(
            IndicatorKind(row.kind),
            row.lot,
            Result(row.result),
            str(row.read_by) if row.read_by else "",
            row.read_at,
        )
        for row in load.indicators.select_related("read_by")
    ]


def _indicator_checks(load: Load) -> Iterator[Check]:
    reads = indicator_reads(load)
    yield checklist.chemical_check(reads)
    implant = holds_implant(load)
    if implant or any(read.kind == IndicatorKind.BIOLOGICAL for read in reads):
        signed = ExceptionalRelease.objects.filter(load=load).exists()
        yield checklist.biological_check(reads, holds_implant=implant, form_signed=signed)


def _condition_check(load: Load, lines: Iterable[LoadLine]) -> Check:
    rows = list(load.load_packs.select_related("pack").order_by("pack__code"))
    wrapped = [row for row in rows if row.pack.kind != PackKind.IMMEDIATE]
    ended = {row.pack.code: row.fault for row in rows if row.fault}
    looked_at = [row.barrier_intact for row in wrapped if row.barrier_intact is not False]
    return checklist.condition_check(looked_at, ended, seen=_latest(lines, "damaged"))


def _doubt_check(load: Load) -> Check:
    rows = load.doubts.filter(decided_at=None).select_related("test__machine").order_by("pk")
    return checklist.doubt_check(
        [f"{row.test.kind} failed on {timezone.localtime(row.test.at):{rules.MOMENT}}" for row in rows]
    )
