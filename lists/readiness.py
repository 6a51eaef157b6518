"""Is a case ready: each of its needs, and the worst of them, by the stage times of the unit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from journal.findings import Finding, Severity, stops
from lists.stages import NEXT, Stage, StageTimes, Whereabouts, clock, ready_at
from lists.states import Readiness

WORST_FIRST = (
    Readiness.SHORT,
    Readiness.LATE,
    Readiness.NOT_PLANNED,
    Readiness.COMPLETE_BY,
    Readiness.COMPLETE,
)


@dataclass(frozen=True, slots=True)
class Need:
    """One thing a case needs.

    Args:
        requirement: its number.
        wants: what it is, as a person says it.
        key: what can serve it (“template:AD”).
        chosen: code of the tray or pack that is to serve it; empty when none is.
        in_hand: code of the pack that the case has for it already.
        source: where the need comes from, in words.
        essential: the case is short without it; else what it lacks is only said.
    """

    requirement: int
    wants: str
    key: str
    chosen: str = ""
    in_hand: str = ""
    source: str = ""
    essential: bool = True


@dataclass(frozen=True, slots=True)
class CaseNeeds:
    """A case as the judgement sees it.

    Args:
        code: the case's code.
        starts_at: planned start, in the unit's time zone.
        duration_min: how long it takes [min].
        needs: what it needs.
        planned_size: label of the planned size; empty where none is planned.
        doubts: what could not be told of its needs; with any look it is not planned at best.
        chain: where the chain of its pieces stops, and what to see to on it; with any stop it is short.

    Raises:
        ValueError: no duration, or a start without a zone.
    """

    code: str
    starts_at: datetime
    duration_min: int
    needs: tuple[Need, ...]
    planned_size: str = ""
    doubts: tuple[Finding, ...] = ()
    chain: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        if self.duration_min <= 0 or self.starts_at.tzinfo is None:
            raise ValueError(f"Case {self.code} needs a duration above 0 and a start with a zone.")


@dataclass(frozen=True, slots=True)
class NeedReadiness:
    """The judgement on one need: its verdict, when it can be sterile, where its set is, and why."""

    need: Need
    verdict: Readiness
    ready_at: datetime | None = None
    where: str = ""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class CaseReadiness:
    """The judgement on a case: the worst of its needs."""

    case: str
    starts_at: datetime
    verdict: Readiness
    ready_at: datetime | None
    needs: tuple[NeedReadiness, ...]
    findings: tuple[Finding, ...]

    @property
    def words(self) -> str:
        """The verdict as a person reads it: “Complete by 07:10”; with the day where it is not the case's own."""
        if self.verdict is Readiness.COMPLETE_BY and self.ready_at is not None:
            return f"{self.verdict} {clock(self.ready_at, self.starts_at)}"
        return str(self.verdict)


def judge_requirement(
    need: Need,
    found: Whereabouts | None,
    *,
    stock: Sequence[Whereabouts],
    taken: Collection[str],
    starts_at: datetime,
    now: datetime,
    times: StageTimes,
) -> NeedReadiness:
    """Will this need be met in time, by what was chosen for it?

    Args:
        need: what is needed.
        found: where the chosen tray or pack is; None when nothing is chosen.
        stock: everything that the unit has, for the advice when nothing is chosen.
        taken: codes that some case is to get.
        starts_at: planned start of the case.
        now: the moment of asking.
        times: how long the steps take [min].

    Returns:
        Complete: the case has it, or it is sterile and in date at the start. Complete by: it can be
        sterile early enough to be moved and prepared. Late: it cannot. Short: it cannot serve at all, or
        the unit has none. Not planned: nothing is chosen.
    """
    if need.in_hand:
        return NeedReadiness(need, Readiness.COMPLETE, now, f"{need.in_hand} is with the case")
    if found is None:
        return _unchosen(need, stock, taken, now=now, times=times)
    against = found.stops or tuple(in_date(found, starts_at))
    if against:
        return NeedReadiness(need, Readiness.SHORT, None, found.where, (*against, *found.looks))
    if found.stage is Stage.STERILE:
        return NeedReadiness(need, Readiness.COMPLETE, now, found.where, found.looks)
    sterile_at = earliest(found, now, times)
    deadline = times.deadline(starts_at)
    in_time = sterile_at <= deadline
    finding = _on_its_way(found, sterile_at, deadline) if in_time else _too_late(found, sterile_at, deadline)
    verdict = Readiness.COMPLETE_BY if in_time else Readiness.LATE
    return NeedReadiness(need, verdict, sterile_at, found.where, (finding, *found.looks))


def earliest(found: Whereabouts, now: datetime, times: StageTimes) -> datetime:
    """When something can be sterile and released, if it is taken on at once."""
    return ready_at(
        found.stage,
        now=now,
        times=times,
        since=found.since,
        free_at=found.free_at,
        held=found.held,
        at_once=found.at_once,
    )


def in_date(found: Whereabouts, starts_at: datetime) -> Iterator[Finding]:
    """A stop when its shelf life ends before the case begins."""
    if found.use_by is not None and found.use_by < starts_at and found.stage is not Stage.IN_USE:
        yield Finding(
            "expired",
            Severity.STOP,
            found.code,
            f"{found.name} {found.pack or found.code} may be used until {found.use_by:%d-%b-%Y}, "
            f"must be in date on {starts_at:%d-%b-%Y}.",
            "Take another; have this one washed and packed again.",
        )


def _on_its_way(found: Whereabouts, sterile_at: datetime, deadline: datetime) -> Finding:
    return Finding(
        "on-its-way",
        Severity.NOTE,
        found.code,
        f"{found.name} {found.code} is {found.where}; it can be sterile by {clock(sterile_at, deadline)}.",
        NEXT[found.stage],
    )


def _too_late(found: Whereabouts, sterile_at: datetime, deadline: datetime) -> Finding:
    shown = clock(sterile_at, deadline)
    return Finding(
        "too-late",
        Severity.LOOK,
        found.code,
        f"{found.name} {found.code} is {found.where}; it can be sterile by {shown}, must be by {deadline:%H:%M}.",
        "Take another set, or move the case.",
        {"late_min": int((sterile_at - deadline).total_seconds() // 60)},
    )


def _unchosen(
    need: Need, stock: Sequence[Whereabouts], taken: Collection[str], *, now: datetime, times: StageTimes
) -> NeedReadiness:
    """Nothing is chosen: what could be, or that the unit has nothing that could."""
    kind = [found for found in stock if found.serves == need.key]
    usable = [found for found in kind if not found.stops]
    if not usable:
        sentence = f"{need.wants} is not in stock. {_why_none(kind)}"
        finding = Finding("not-in-stock", Severity.STOP, need.wants, sentence, "Borrow it, or call for a loan.")
        return NeedReadiness(need, Readiness.SHORT, findings=(finding,))
    free = [found for found in usable if found.code not in taken]
    if free:
        best = min(free, key=lambda found: (found.stage is not Stage.STERILE, earliest(found, now, times), found.code))
        remedy = f"{best.name} {best.code} is free: {best.where}."
    else:
        remedy = f"All {len(usable)} are to serve other cases; one can serve two if it is back in time."
    finding = Finding("not-allocated", Severity.LOOK, need.wants, f"Nothing is allocated for {need.wants}.", remedy)
    return NeedReadiness(need, Readiness.NOT_PLANNED, findings=(finding,))


def _why_none(kind: Sequence[Whereabouts]) -> str:
    """What keeps the nearest of a kind from serving: of that with the fewest stops the first, the rest counted."""
    if not kind:
        return "The unit has none."
    nearest = min(kind, key=lambda found: (len(found.stops), found.code))
    first, *others = nearest.stops
    if not others:
        return first.sentence
    more = "1 more thing stands" if len(others) == 1 else f"{len(others)} more things stand"
    return f"{first.sentence} {more} against {nearest.name}, which is the nearest to serve."


def judge_case(
    case: CaseNeeds, sets: Mapping[str, Whereabouts], *, taken: Collection[str], now: datetime, times: StageTimes
) -> CaseReadiness:
    """The worst verdict of a case's needs, and the latest moment among those that are on their way.

    Args:
        case: the case and what it needs.
        sets: everything that the unit has, by code, as it will be when the case's turn comes.
        taken: codes that some case is to get.
        now: the moment of asking.
        times: how long the steps take [min].

    Returns:
        Short before late before not planned before complete-by before complete; needs that are not essential
        weigh nothing beside others. A case that needs nothing, or of whose needs something could not be told, is
        not planned: its needs are not known.
    """
    stock = list(sets.values())
    needs = tuple(
        _weighed(
            judge_requirement(
                need, sets.get(need.chosen), stock=stock, taken=taken, starts_at=case.starts_at, now=now, times=times
            )
        )
        for need in case.needs
    )
    if not needs:
        finding = Finding("needs-unknown", Severity.LOOK, case.code, f"Case {case.code} has no needs recorded.")
        return CaseReadiness(case.code, case.starts_at, Readiness.NOT_PLANNED, None, (), (finding,))
    weighing = [row for row in needs if row.need.essential] or needs
    doubtful = [Readiness.NOT_PLANNED] if any(doubt.severity is Severity.LOOK for doubt in case.doubts) else []
    broken = [Readiness.SHORT] if stops(case.chain) else []
    verdict = min((*(row.verdict for row in weighing), *doubtful, *broken), key=WORST_FIRST.index)
    own = (*case.chain, *case.doubts) or tuple(_planned_size(case, sets))
    told = (*(finding for row in needs for finding in row.findings), *own)
    latest = max((row.ready_at for row in weighing if row.ready_at is not None), default=None)
    return CaseReadiness(case.code, case.starts_at, verdict, latest, needs, told)


def _weighed(row: NeedReadiness) -> NeedReadiness:
    """What forbids a need that is not essential forbids the case nothing."""
    if row.need.essential:
        return row
    mild = (replace(one, severity=max(one.severity, Severity.LOOK, key=list(Severity).index)) for one in row.findings)
    return replace(row, findings=tuple(mild))


def _planned_size(case: CaseNeeds, sets: Mapping[str, Whereabouts]) -> Iterator[Finding]:
    """The planned size must be among the barrels of what was chosen, where any barrels are."""
    chosen = [sets[need.chosen] for need in case.needs if need.chosen in sets]
    sizes = {size for found in chosen for size in found.sizes}
    if case.planned_size and sizes and case.planned_size not in sizes:
        yield Finding(
            "planned-size-lacks",
            Severity.LOOK,
            case.code,
            f"The planned size {case.planned_size} is not among the barrels of what serves case {case.code}: "
            f"{', '.join(sorted(sizes))}.",
            "Choose a set that holds it, or add it as a single pack.",
        )


def judge_list(
    cases: Iterable[CaseNeeds], sets: Mapping[str, Whereabouts], *, now: datetime, times: StageTimes
) -> dict[str, CaseReadiness]:
    """Every case of a day, in order of start; a set that serves one is back for the next only after it.

    Two cases that want the same set: the second gets it at the end of the first, plus the way back and
    the whole chain.

    Args:
        cases: every case of every theatre that shares the sets.
        sets: everything that the unit has, by code, as it is now.
        now: the moment of asking, aware, in the unit's time zone.
        times: how long the steps take [min].

    Returns:
        The judgement on each case, by its code.
    """
    in_turn = sorted(cases, key=lambda case: (case.starts_at, case.code))
    taken = {need.chosen for case in in_turn for need in case.needs if need.chosen}
    standing = dict(sets)
    judged = {}
    for case in in_turn:
        readiness = judge_case(case, standing, taken=taken, now=now, times=times)
        judged[case.code] = readiness
        for row in readiness.needs:
            if row.need.chosen in standing and row.verdict is not Readiness.SHORT:
                standing[row.need.chosen] = after_case(standing[row.need.chosen], case, readiness, times)
    return judged


def after_case(found: Whereabouts, case: CaseNeeds, readiness: CaseReadiness, times: StageTimes) -> Whereabouts:
    """Where a set is for whoever wants it next: in use until the case is over, which begins when it can.

    A tray comes back; a single pack is gone.
    """
    begins = case.starts_at
    if readiness.verdict is Readiness.LATE and readiness.ready_at is not None:
        begins = max(begins, times.on_table(readiness.ready_at))
    over = begins + timedelta(minutes=case.duration_min)
    sentence = f"{found.name} {found.code} is to serve case {case.code}."
    gone = Finding("serves-another-case", Severity.STOP, found.code, sentence, "Choose another.")
    return replace(
        found,
        stage=Stage.IN_USE,
        where=f"with case {case.code} until {over:%H:%M}",
        since=None,
        free_at=over,
        use_by=None,
        load="",
        held=False,
        at_once=False,
        stops=() if found.kind == "tray" else (gone,),
    )


def standing_minimum(minimum: int, hours: tuple[time, time] | None, otherwise: int, *, since: time) -> int:
    """The most of a standing set that is asked for from a moment to the end of the day.

    Args:
        minimum: so many during the hours.
        hours: from when until when; None = at all times.
        otherwise: so many at other hours.
        since: the moment, in the unit's time zone.
    """
    if hours is None:
        return minimum
    return max(minimum, otherwise) if since < hours[1] else otherwise


def judge_standing(name: str, minimum: int, sterile: int, *, reserved: int = 0) -> tuple[Finding, ...]:
    """Is a standing set covered, and does the list leave it covered?

    Args:
        name: what a person calls the set.
        minimum: so many must be sterile at all times.
        sterile: so many are sterile, in date and on the shelf.
        reserved: so many of those a case is to get.

    Returns:
        A stop below the minimum; a look at the minimum, or when the list would take it below; else empty.

    Raises:
        ValueError: more reserved than sterile, or a number below zero.
    """
    if not 0 <= reserved <= sterile or minimum < 0:
        raise ValueError(f"Cannot judge {sterile} sterile sets with {reserved} reserved and a minimum of {minimum}.")
    numbers = {"sterile": sterile, "minimum": minimum, "reserved": reserved}
    if sterile < minimum:
        sentence = f"{name}: {sterile} sterile, must be at least {minimum}."
        return (Finding("standing-below", Severity.STOP, name, sentence, "Process one at once.", numbers),)
    if sterile - reserved < minimum:
        sentence = f"{name}: the list leaves {sterile - reserved} of {sterile} sterile, must be at least {minimum}."
        return (Finding("standing-taken", Severity.LOOK, name, sentence, "Choose another set for the case.", numbers),)
    if sterile == minimum:
        sentence = f"{name}: {sterile} sterile, which is the minimum."
        return (Finding("standing-at-minimum", Severity.LOOK, name, sentence, "Keep it on the shelf.", numbers),)
    return ()
