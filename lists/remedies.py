"""Why a case is not ready, and what would help: every fix judged by judging the whole day with it made, and ranked."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from journal.findings import Severity
from lists.changes import READY, Candidate, Day, Who, candidates
from lists.readiness import WORST_FIRST, CaseReadiness, NeedReadiness, judge_case
from lists.states import Readiness

MARK = 8
"""So many hexadecimal digits tell what a fix promised from what it would do now."""


@dataclass(frozen=True, slots=True)
class Cause:
    """What keeps a case from being ready.

    Args:
        sentence: in words.
        requirement: number of the need that binds; 0 when none is known.
        others: codes of the cases that have the set first; without them it would be in time.
    """

    sentence: str
    requirement: int = 0
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cost:
    """What a fix costs another case.

    Args:
        case: its code.
        words: in words.
        worse: more would stand against it.
        breaks: it was ready and would not be.
    """

    case: str
    words: str
    worse: bool = True
    breaks: bool = False


@dataclass(frozen=True, slots=True)
class Remedy:
    """A fix, judged.

    Args:
        candidate: the change.
        key: names it, with a mark of what it was judged to do.
        after: the judgement on the case with the change made.
        gained_min: by so much less it would be late [min]; 0 when it was not late.
        costs: what it costs others.
        promised: the verdict on every case of the day with the change made.
        helps_day: fewer cases of the day are left that are not ready, or as many with less against them.
    """

    candidate: Candidate
    key: str
    after: CaseReadiness
    gained_min: int
    costs: tuple[Cost, ...]
    promised: Mapping[str, Readiness]
    helps_day: bool

    @property
    def ready(self) -> bool:
        """Whether the case would be ready."""
        return self.after.verdict in READY

    @property
    def harms(self) -> tuple[Cost, ...]:
        """The others that would be worse off."""
        return tuple(cost for cost in self.costs if cost.worse)

    @property
    def by_click(self) -> bool:
        """Whether pressing a button makes it, or asks for it."""
        return self.candidate.who is not Who.PERSON


def remedies(day: Day, code: str, judged: Mapping[str, CaseReadiness] | None = None) -> tuple[Remedy, ...]:
    """The fixes of a case that is not ready, the best first; those that help it nothing are left out.

    Ranked by: takes no other case's readiness; makes this one ready; leaves less against the day; by the unit
    itself before what a person decides or others are called for; leaves no more against any other; the plan alone
    before work that is asked for; fewer steps; more minutes gained; its key.

    Args:
        day: the day as it is.
        code: the case's code.
        judged: the judgement on the day, where it is known already.
    """
    before = judged or day.judged()
    if before[code].verdict in READY:
        return ()
    made = (_judged(day, code, row, before) for row in candidates(day, day.case(code), before[code]))
    return tuple(sorted((row for row in made if row is not None), key=_rank))


def _rank(row: Remedy) -> tuple[object, ...]:
    who = list(Who).index(row.candidate.who)
    breaks = sum(cost.breaks for cost in row.costs)
    within = row.candidate.who in (Who.PLAN, Who.HANDS)
    harms, steps = len(row.harms), row.candidate.steps
    return breaks, not row.ready, not row.helps_day, not within, harms, who, steps, -row.gained_min, row.key


def _judged(day: Day, code: str, row: Candidate, before: Mapping[str, CaseReadiness]) -> Remedy | None:
    changed = row.change.of(day)
    after = changed.judged()
    if not _against(day, after[code]) < _against(day, before[code]):
        return None
    costs = tuple(
        cost
        for case in changed.cases
        if case.code != code and (cost := _cost(day, before[case.code], after[case.code]))
    )
    promised = {case: readiness.verdict for case, readiness in after.items()}
    gained = max(0, late_min(day, before[code]) - late_min(day, after[code])) if late_min(day, before[code]) else 0
    helps = measure(day, after) < measure(day, before)
    key = f"{row.way}.{'.'.join(row.ids)}.{_mark(row, promised)}"
    return Remedy(row, key, after[code], gained, costs, promised, helps)


def _mark(row: Candidate, promised: Mapping[str, Readiness]) -> str:
    said = repr((row.sentence, sorted((case, str(verdict)) for case, verdict in promised.items())))
    return hashlib.sha256(said.encode()).hexdigest()[:MARK]


def _unmet(judged: CaseReadiness) -> list[NeedReadiness]:
    return [row for row in judged.needs if row.need.essential and row.verdict not in READY]


def late_min(day: Day, judged: CaseReadiness) -> int:
    """By how much the latest of a case's sets is late [min]; 0 when none is."""
    deadline = day.times.deadline(judged.starts_at)
    late = [row.ready_at - deadline for row in judged.needs if row.verdict is Readiness.LATE and row.ready_at]
    return max((int(gap.total_seconds() // 60) for gap in late), default=0)


def _against(day: Day, judged: CaseReadiness) -> tuple[int, int, int, int]:
    """How much stands against a case, to be compared: less is better."""
    worst = len(WORST_FIRST) - WORST_FIRST.index(judged.verdict)
    return judged.verdict not in READY, len(_unmet(judged)), worst, late_min(day, judged)


def measure(day: Day, judged: Mapping[str, CaseReadiness]) -> tuple[int, ...]:
    """What stands against a day: cases not ready, needs unmet, how bad, minutes late; less is better.

    A fix is offered on the list only where this falls, so that pressing one after the other comes to an end.
    """
    return tuple(sum(column) for column in zip(*(_against(day, row) for row in judged.values()), strict=True))


def _cost(day: Day, before: CaseReadiness, after: CaseReadiness) -> Cost | None:
    """What a change does to another case, if anything that is worse."""
    code = before.case
    if after.verdict not in READY and before.verdict in READY:
        return Cost(code, f"case {code} is then {str(after.verdict).lower()}", breaks=True)
    if _against(day, before)[:2] < _against(day, after)[:2]:
        return Cost(code, f"more stands against case {code}, which is {str(after.verdict).lower()}")
    later = late_min(day, after) - late_min(day, before)
    if later > 0:
        return Cost(code, f"case {code} is {later} min later")
    if after.ready_at and before.ready_at and after.ready_at > before.ready_at:
        sooner = int((after.ready_at - before.ready_at).total_seconds() // 60)
        return Cost(code, f"case {code} is ready {sooner} min later, still in time", worse=False)
    return None


def cause(day: Day, code: str, judged: Mapping[str, CaseReadiness] | None = None) -> Cause | None:
    """What binds a case that is not ready, by taking it away and judging again; None when it is ready.

    The need that binds is the one without which the case would be ready; where there are several, the worst is
    named and the others counted. A set that would be in time if no earlier case had it is held by those cases;
    else what stands against the set itself is the cause.

    Args:
        day: the day as it is.
        code: the case's code.
        judged: the judgement on the day, where it is known already.
    """
    here = (judged or day.judged())[code]
    if here.verdict in READY:
        return None
    unmet = sorted(_unmet(here), key=lambda row: WORST_FIRST.index(row.verdict))
    if not unmet:
        return Cause(min(here.findings, key=lambda one: list(Severity).index(one.severity)).sentence)
    first, *more = unmet
    be = "is" if len(more) == 1 else "are"
    also = f" {len(more)} more of its needs {be} not met either." if more else ""
    held = tuple(_holders(day, code, first))
    if held:
        found = day.sets[first.need.chosen]
        sentence = f"{found.name} {found.code} serves case {' and '.join(held)} first; it would be in time without."
        return Cause(sentence + also, first.need.requirement, held)
    told = first.findings[0].sentence
    return Cause(told + also, first.need.requirement)


def _holders(day: Day, code: str, row: NeedReadiness) -> Iterator[str]:
    """The earlier cases that have the set, if it would be in time without them."""
    case = day.case(code)
    alone = replace(case, needs=(row.need,), doubts=())
    judged = judge_case(alone, day.sets, taken=(), now=day.now, times=day.times)
    if not row.need.chosen or judged.verdict not in READY:
        return
    for other in sorted(day.cases, key=lambda one: (one.starts_at, one.code)):
        earlier = (other.starts_at, other.code) < (case.starts_at, case.code)
        if earlier and any(need.chosen == row.need.chosen for need in other.needs):
            yield other.code
