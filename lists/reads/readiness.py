"""The readiness of a day's cases and of the standing sets, and what could serve what has nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time

from django.db.models import Exists, OuterRef, Prefetch, Q
from django.utils import timezone

from instruments.models import PartKind
from journal.findings import Finding, Severity
from journal.reads import policies
from lists.chain import Chained, Delivered
from lists.models import Allocation, Case, Issue, Requirement, SizeWanted, StandingSet
from lists.readiness import CaseNeeds, CaseReadiness, Need, judge_list, judge_standing, standing_minimum
from lists.reads.chain import chains_of
from lists.reads.stock import Asked, stock
from lists.stages import StageTimes, Whereabouts
from lists.states import OPEN_CASES, CaseState, Readiness
from lists.suggesting import Suggestion, suggest
from trays.models import Content, Pack
from trays.states import ENDED, PackState


@dataclass(frozen=True, slots=True)
class CaseRow:
    """A case of the day; no readiness once it has ended."""

    case: Case
    readiness: CaseReadiness | None


@dataclass(frozen=True, slots=True)
class StandingRow:
    """A standing set: how many are sterile and in date, and how many of those a case of the day is to get."""

    template: str
    name: str
    minimum: int
    sterile: int
    reserved: int
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class DayReadiness:
    """A day's cases in order of start, the standing sets, and the moment all this was true."""

    day: date
    at: datetime
    rows: tuple[CaseRow, ...]
    standing: tuple[StandingRow, ...]

    @property
    def words(self) -> str:
        """The day in one line: “10 cases: 4 complete, 2 complete by start, 3 short, 1 not planned”."""
        verdicts = Counter(row.readiness.verdict for row in self.rows if row.readiness)
        names = {
            Readiness.COMPLETE: "complete",
            Readiness.COMPLETE_BY: "complete by start",
            Readiness.LATE: "late",
            Readiness.SHORT: "short",
            Readiness.NOT_PLANNED: "not planned",
        }
        judged = [f"{verdicts[verdict]} {name}" for verdict, name in names.items() if verdicts[verdict]]
        ended = sum(row.readiness is None for row in self.rows)
        counted = [*judged, *([f"{ended} over"] if ended else [])]
        cases = "1 case" if len(self.rows) == 1 else f"{len(self.rows)} cases"
        return f"{cases}: {', '.join(counted)}" if counted else "No cases"


def stage_times() -> StageTimes:
    """How long each step takes, by the policies in force."""
    values = policies()
    return StageTimes(**{field.name: int(values[field.name]) for field in fields(StageTimes)})


@dataclass(frozen=True, slots=True)
class DayNeeds:
    """What a day is judged by, as it was read at a moment: every theatre, for they share the sets.

    Args:
        day: the day of the lists.
        at: that moment.
        cases: its cases that were not cancelled, in order of start.
        needs: what each of them needs, in the same order.
        sets: everything that could serve, by code.
        times: how long the steps take [min].
    """

    day: date
    at: datetime
    cases: tuple[Case, ...]
    needs: tuple[CaseNeeds, ...]
    sets: Mapping[str, Whereabouts]
    times: StageTimes


def day_needs(day: date, *, at: datetime, instead: bool = True) -> DayNeeds:
    """Read a day, in a number of queries that does not grow with its cases.

    Args:
        day: the day of the lists.
        at: the moment of asking.
        instead: also what could serve instead of what is chosen; no verdict depends on it.
    """
    cases, times = cases_of(day), stage_times()
    sets = stock(asked_by(cases, instead=instead), now=timezone.localtime(at), times=times)
    needs = [needs_of(case) for case in cases]
    chains = chains_of([found for case, one in zip(cases, needs, strict=True) for found in _chained(case, one, sets)])
    chained = tuple(replace(one, chain=chains.get(one.code, ())) for one in needs)
    return DayNeeds(day, at, tuple(cases), chained, sets, times)


def list_readiness(day: date, *, at: datetime, theatre: str = "") -> DayReadiness:
    """Every case of a day with its readiness; arguments as of `readiness_of`."""
    return readiness_of(day_needs(day, at=at, instead=False), theatre=theatre)


def readiness_of(read: DayNeeds, *, theatre: str = "") -> DayReadiness:
    """Every case of a day as it was read, with its readiness.

    Args:
        read: the day.
        theatre: code of a theatre, to show its cases only.
    """
    now = timezone.localtime(read.at)
    readiness = judge_list(read.needs, read.sets, now=now, times=read.times)
    rows = tuple(
        CaseRow(case, readiness[case.code] if case.state in OPEN_CASES else None)
        for case in read.cases
        if theatre in ("", case.list.theatre.code)
    )
    return DayReadiness(read.day, now, rows, standing_sets(read.day, at=read.at))


def promised_elsewhere(day: date) -> set[str]:
    """Codes of packs, and of their trays, that an open case of another day is to get."""
    rows = Allocation.objects.filter(pack__isnull=False, requirement__case__state__in=OPEN_CASES)
    pairs = rows.exclude(requirement__case__list__day=day).values_list("pack__code", "pack__tray__code")
    return {code for pair in pairs for code in pair if code}


def suggestions(day: date, *, at: datetime, theatre: str = "") -> tuple[Suggestion, ...]:
    """Free sets for the day's requirements that have none, first come by start."""
    read = day_needs(day, at=at)
    asked = {case.code for case in read.cases if theatre in ("", case.list.theatre.code)}
    promised = promised_elsewhere(day)
    free = {code: found for code, found in read.sets.items() if code not in promised}
    made = suggest(read.needs, free, now=timezone.localtime(at), times=read.times)
    return tuple(row for row in made if row.case in asked)


def cases_of(day: date) -> list[Case]:
    """The cases of a day that were not cancelled, with what they need and have."""
    requirements = Requirement.objects.select_related("template", "part", "allocation__tray", "allocation__pack__tray")
    single = Prefetch("pack__contents", Content.objects.filter(pack__tray=None).select_related("piece"))
    served = Q(opened_at__isnull=False) | Q(ended=False, pack__state=PackState.ISSUED)
    return list(
        Case.objects.filter(list__day=day)
        .exclude(state=CaseState.CANCELLED)
        .select_related("list__theatre", "procedure")
        .prefetch_related(
            Prefetch("requirements", requirements),
            Prefetch("sizes_wanted", SizeWanted.objects.select_related("size__series")),
            Prefetch("issues", Issue.objects.filter(served).select_related("pack__tray").prefetch_related(single)),
        )
    )


def _chained(case: Case, needs: CaseNeeds, sets: Mapping[str, Whereabouts]) -> Iterator[Chained]:
    """The chain of a case to come, once everything that it must have is chosen and can serve."""
    sizes = tuple(str(row.size) for row in case.sizes_wanted.all())
    implants = tuple(
        Delivered(row.part.code, row.part.name, row.essential)
        for row in case.requirements.all()
        if row.part is not None and row.part.kind == PartKind.IMPLANT
    )
    serving = [(need, sets.get(need.chosen)) for need in needs.needs]
    settled = [found for _, found in serving if found is not None and not found.stops]
    waits = any(need.essential and (found is None or found.stops) for need, found in serving)
    begun = case.state != CaseState.PLANNED or any(need.in_hand for need in needs.needs)
    if waits or begun or not (sizes or implants):
        return
    planned = next((str(row.size) for row in case.sizes_wanted.all() if row.size.label == case.planned_size), "")
    held = tuple(piece for found in settled for piece in found.holds)
    yield Chained(case.code, sizes, planned, implants, held)


def asked_by(cases: Iterable[Case], *, instead: bool = True) -> Asked:
    """What these cases ask of the stock; `instead`: also what could serve instead of what is chosen."""
    requirements = [row for case in cases for row in case.requirements.all()]
    open_still = [row for row in requirements if not _chosen(row)]
    chosen = [row.allocation for row in requirements if _chosen(row)]
    trays = [row.tray_id or (row.pack.tray_id if row.pack else None) for row in chosen]
    looked_at = requirements if instead else open_still
    return Asked(
        templates={row.template_id for row in looked_at if row.template_id},
        parts={row.part_id for row in looked_at if row.part_id},
        trays=[tray for tray in trays if tray],
        packs={row.pack_id for row in chosen if row.pack_id},
        unserved={row.template_id for row in open_still if row.template_id},
    )


def _chosen(requirement: Requirement) -> str:
    """Code under which the stock knows what was allocated: a tray, a single pack, or a pack that has ended."""
    allocation = getattr(requirement, "allocation", None)
    if allocation is None:
        return ""
    pack: Pack | None = allocation.pack
    if pack is not None and pack.tray is not None and pack.state not in ENDED:
        return pack.tray.code
    return str(allocation.chosen.code)


def needs_of(case: Case) -> CaseNeeds:
    """A case as the judgement sees it: a pack that it has serves what asked for it, else what it is one of."""
    left = list(case.issues.all())
    rows = []
    in_hand: dict[int, str] = {}
    for suits in (_is_allocated, _is_of_kind):
        for row in case.requirements.all():
            issue = next((issue for issue in left if row.pk not in in_hand and suits(row, issue.pack)), None)
            if issue is not None:
                left.remove(issue)
                in_hand[row.pk] = issue.pack.code
    for row in case.requirements.all():
        key = f"{'template' if row.template else 'part'}:{row.wanted.code}"
        of = row.source if not row.reason else f"{row.source}: {row.reason}"
        rows.append(Need(row.pk, row.wanted.name, key, _chosen(row), in_hand.get(row.pk, ""), of, row.essential))
    return CaseNeeds(
        case.code,
        timezone.localtime(case.starts_at),
        case.duration_min,
        tuple(rows),
        case.planned_size,
        doubts=tuple(Finding(**{**doubt, "severity": Severity(doubt["severity"])}) for doubt in case.doubts),
    )


def _is_allocated(requirement: Requirement, pack: Pack) -> bool:
    allocation = getattr(requirement, "allocation", None)
    if allocation is None:
        return False
    return allocation.pack_id == pack.pk or (pack.tray_id is not None and allocation.tray_id == pack.tray_id)


def _is_of_kind(requirement: Requirement, pack: Pack) -> bool:
    if pack.tray is not None:
        return requirement.template_id == pack.tray.template_id
    return requirement.part_id in {content.piece.part_id for content in pack.contents.all()}


def standing_sets(day: date, *, at: datetime) -> tuple[StandingRow, ...]:
    """How each standing set is covered: sterile, in date and on the shelf, and whether the day leaves enough."""
    planned = {"requirement__case__list__day": day, "requirement__case__state": CaseState.PLANNED}
    reserved = Allocation.objects.filter(Q(tray=OuterRef("tray")) | Q(pack=OuterRef("pk")), **planned)
    packs = Pack.objects.filter(
        state=PackState.STERILE, use_by__gte=at, tray__template__standing_set__isnull=False
    ).annotate(reserved=Exists(reserved))
    on_shelf: Counter[int] = Counter()
    spoken_for: Counter[int] = Counter()
    for template, is_reserved in packs.values_list("tray__template", "reserved"):
        on_shelf[template] += 1
        spoken_for[template] += bool(is_reserved)
    return tuple(
        StandingRow(
            row.template.code,
            row.template.name,
            minimum_on(row, day, at),
            on_shelf[row.template_id],
            spoken_for[row.template_id],
            judge_standing(
                row.template.name,
                minimum_on(row, day, at),
                on_shelf[row.template_id],
                reserved=spoken_for[row.template_id],
            ),
        )
        for row in StandingSet.objects.select_related("template").order_by("template__code")
    )


def minimum_on(row: StandingSet, day: date, at: datetime) -> int:
    """So many of a standing set must be sterile on a day; today only the hours still to come count."""
    now = timezone.localtime(at)
    hours = (row.from_time, row.until_time) if row.from_time and row.until_time else None
    since = now.time() if day == now.date() else time.min
    return standing_minimum(row.minimum, hours, row.otherwise, since=since)
