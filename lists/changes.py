"""What could be changed so that a case which is not ready becomes it: every candidate, before any is judged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum

from lists.readiness import CaseNeeds, CaseReadiness, Need, NeedReadiness, earliest, in_date, judge_list
from lists.stages import Stage, StageTimes, Whereabouts, clock, next_load, ready_at
from lists.states import Readiness

READY = (Readiness.COMPLETE, Readiness.COMPLETE_BY)
PIECE_LACKS = "piece-lacks"
LACKS = (PIECE_LACKS, "-missing", "-other-size", "-orphan")
"""How the slugs end of what moving pieces can put right on a tray."""
ON_LOAN = "loan:"
"""How the code begins of a set that is not there yet."""


class Way(StrEnum):
    """What kind of change it is."""

    USE = "use"
    SWAP_SETS = "swap-sets"
    SWAP_TIMES = "swap-times"
    BORROW = "borrow"
    WASH = "wash"
    RELEASE = "release"
    START = "start"
    EXCEPTION = "exception"
    NEIGHBOUR = "neighbour"
    LOAN = "loan"


class Who(StrEnum):
    """Who makes it, the readiest first: the plan alone, hands that are asked, a person who decides, others outside."""

    PLAN = "plan"
    HANDS = "hands"
    PERSON = "person"
    OUTSIDE = "outside"


ASKED = (Who.HANDS, Who.OUTSIDE)
"""A press asks for it; the verdict changes when it is done."""


@dataclass(frozen=True, slots=True)
class Moves:
    """What makes a tray complete: pieces that come off it, and pieces that go on it.

    Args:
        off: codes of the pieces that come off.
        on: code of each piece that goes on, with the code of the tray that it comes off; empty for the shelf.
    """

    off: tuple[str, ...] = ()
    on: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Day:
    """A day as the judgement sees it, and what may be changed of it.

    Args:
        cases: every case of every theatre that shares the sets.
        sets: everything that the unit has, by code.
        now: the moment of asking, aware.
        times: how long the steps take [min].
        rooms: theatre of each case that has not begun, by its code: only those may be moved.
        promised: codes of what an open case of another day is to get.
        moves: what makes a tray complete, by the tray's code. Never with a piece of another closed set.
    """

    cases: tuple[CaseNeeds, ...]
    sets: Mapping[str, Whereabouts]
    now: datetime
    times: StageTimes
    rooms: Mapping[str, str] = field(default_factory=dict)
    promised: frozenset[str] = frozenset()
    moves: Mapping[str, Moves] = field(default_factory=dict)

    def judged(self) -> dict[str, CaseReadiness]:
        """The judgement on every case, by its code."""
        return judge_list(self.cases, self.sets, now=self.now, times=self.times)

    def case(self, code: str) -> CaseNeeds:
        """The case of this code."""
        return next(case for case in self.cases if case.code == code)


@dataclass(frozen=True, slots=True)
class Change:
    """What would be otherwise: what serves a requirement, when a case starts, where a set stands."""

    chosen: tuple[tuple[int, str], ...] = ()
    starts: tuple[tuple[str, datetime], ...] = ()
    sets: tuple[Whereabouts, ...] = ()

    def of(self, day: Day) -> Day:
        """The day with the change made; the one given stays as it is.

        What was found along the chain of other sets is forgotten: the new ones are looked at when it is applied.
        """
        chosen, starts = dict(self.chosen), dict(self.starts)
        cases = tuple(
            replace(
                case,
                starts_at=starts.get(case.code, case.starts_at),
                needs=tuple(replace(need, chosen=chosen.get(need.requirement, need.chosen)) for need in case.needs),
                chain=() if any(need.requirement in chosen for need in case.needs) else case.chain,
            )
            for case in day.cases
        )
        return replace(day, cases=cases, sets={**day.sets, **{row.code: row for row in self.sets}})


@dataclass(frozen=True, slots=True)
class Candidate:
    """A change that could help.

    Args:
        way: its kind.
        ids: what it is about, which with the kind names it on this day.
        sentence: what is to be done.
        change: what would be otherwise.
        who: who makes it.
        steps: how many things have to be done.
        price: what it costs the unit, in words, whatever it does to other cases.
    """

    way: Way
    ids: tuple[str, ...]
    sentence: str
    change: Change
    who: Who = Who.PLAN
    steps: int = 1
    price: str = ""

    @property
    def needs(self) -> frozenset[int]:
        """Numbers of the needs that it serves; none where it moves cases only."""
        return frozenset(number for number, _ in self.change.chosen)


def candidates(day: Day, case: CaseNeeds, judged: CaseReadiness) -> Iterator[Candidate]:
    """Every change that could help a case which is not ready, none of them judged.

    Args:
        day: the day as it is.
        case: the case.
        judged: the judgement on it.
    """
    for row in judged.needs:
        if row.verdict not in READY and row.need.essential:
            yield from _use(day, case, row.need)
            yield from _swap_sets(day, case, row.need)
            yield from _by_hands(day, case, row.need)
            yield from _by_decision(day, case, row)
    yield from _swap_times(day, case)


def _of_kind(day: Day, need: Need) -> Iterator[Whereabouts]:
    for found in day.sets.values():
        if found.serves == need.key and found.kind != "piece" and not day.promised & {found.code, found.pack}:
            yield found


def _use(day: Day, case: CaseNeeds, need: Need) -> Iterator[Candidate]:
    """Another set that can serve; one that serves a case already serves both. A pack serves one."""
    own = {other.chosen for other in case.needs}
    taken = {other.chosen for one in day.cases for other in one.needs}
    for found in _of_kind(day, need):
        stopped = found.stops or tuple(in_date(found, case.starts_at))
        if found.code in own or stopped or (found.kind == "pack" and found.code in taken):
            continue
        change = Change(chosen=((need.requirement, found.code),))
        yield Candidate(Way.USE, (str(need.requirement), found.code), f"Use {found.name} {found.code}.", change)


def _swap_sets(day: Day, case: CaseNeeds, need: Need) -> Iterator[Candidate]:
    """Two cases exchange their trays."""
    mine = day.sets.get(need.chosen)
    for other in day.cases:
        for theirs in other.needs:
            found = day.sets.get(theirs.chosen)
            if mine is None or found is None or other is case or theirs.key != need.key or theirs.in_hand:
                continue
            if found.code == mine.code or {found.kind, mine.kind} != {"tray"}:
                continue
            change = Change(chosen=((need.requirement, found.code), (theirs.requirement, mine.code)))
            sentence = f"Exchange sets with case {other.code}: {found.name} {found.code} for {mine.name} {mine.code}."
            yield Candidate(Way.SWAP_SETS, (str(need.requirement), str(theirs.requirement)), sentence, change, steps=2)


def _swap_times(day: Day, case: CaseNeeds) -> Iterator[Candidate]:
    """Two cases of a theatre exchange their times, where neither would then run into another."""
    for other in day.cases:
        if other is case or case.code not in day.rooms or day.rooms.get(other.code) != day.rooms[case.code]:
            continue
        change = Change(starts=((case.code, other.starts_at), (other.code, case.starts_at)))
        after = change.of(day)
        if min(case.starts_at, other.starts_at) > day.now and not _overlap(after, (case.code, other.code)):
            sentence = (
                f"Exchange times with case {other.code}: this one at {other.starts_at:%H:%M}, "
                f"that one at {case.starts_at:%H:%M}."
            )
            yield Candidate(Way.SWAP_TIMES, (case.code, other.code), sentence, change, steps=3)


def _overlap(day: Day, moved: tuple[str, str]) -> bool:
    def ends(case: CaseNeeds) -> datetime:
        return case.starts_at + timedelta(minutes=case.duration_min)

    return any(
        one.code != other.code
        and day.rooms.get(one.code) == day.rooms.get(other.code)
        and one.starts_at < ends(other)
        and other.starts_at < ends(one)
        for one in map(day.case, moved)
        for other in day.cases
    )


def _by_hands(day: Day, case: CaseNeeds, need: Need) -> Iterator[Candidate]:
    """What the chosen set, or one that nobody is to get, could be after a piece of work on it."""
    taken = {other.chosen for one in day.cases for other in one.needs} - {need.chosen}
    for found in _of_kind(day, need):
        if found.code not in taken:
            if found.kind == "tray":
                yield from _washed(case, need, found)
                yield from _completed(day, need, found)
            yield from _released(day, case, need, found)
            yield from _started(day, case, need, found)
            yield from _excepted(case, need, found)


def _asked(way: Way, need: Need, found: Whereabouts, sentence: str, *others: Whereabouts, steps: int = 1) -> Candidate:
    change = Change(((need.requirement, found.code),), (), (found, *others))
    return Candidate(way, (str(need.requirement), found.code), sentence, change, Who.HANDS, steps)


def _washed(case: CaseNeeds, need: Need, found: Whereabouts) -> Iterator[Candidate]:
    """A pack past its shelf life goes back through the whole loop."""
    stops = found.stops or tuple(in_date(found, case.starts_at))
    if stops and all(stop.slug in ("expired", "pack-expired") for stop in stops):
        back = replace(found, stage=Stage.RETURNED, where="sent back to the washer", since=None, use_by=None, stops=())
        sentence = f"Have {found.name} {found.code} washed and packed again: its shelf life is over."
        yield _asked(Way.WASH, need, back, sentence, steps=2)


def _completed(day: Day, need: Need, found: Whereabouts) -> Iterator[Candidate]:
    """Pieces that lie elsewhere make a tray complete; an open tray that gives one cannot be finished itself."""
    moves = day.moves.get(found.code)
    if moves and found.stops and all(stop.slug.endswith(LACKS) for stop in found.stops):
        full = replace(found, stage=Stage.INSPECTED, where="to be completed", since=None, stops=(), looks=())
        donors = {donor for _, donor in moves.on if donor in day.sets and donor != found.code}
        short = [
            replace(day.sets[donor], stops=(*day.sets[donor].stops, *found.stops[:1])) for donor in sorted(donors)
        ]
        sentence = f"Have {found.name} {found.code} completed: {_told(day, moves)}."
        yield _asked(Way.BORROW, need, full, sentence, *short, steps=len(moves.off) + len(moves.on))


def _told(day: Day, moves: Moves) -> str:
    """What comes off and what goes on, in words."""

    def named(piece: str, donor: str) -> str:
        return f"{piece} from {day.sets[donor].name if donor in day.sets else donor}" if donor else piece

    off = f"take {', '.join(moves.off)} off it" if moves.off else ""
    on = f"put {', '.join(named(*move) for move in moves.on)} on it" if moves.on else ""
    return ", ".join(filter(None, (off, on)))


def _released(day: Day, case: CaseNeeds, need: Need, found: Whereabouts) -> Iterator[Candidate]:
    """A load that is decided on as soon as it has cooled; its indicators are read first, whatever the hour."""
    if found.stops or found.held or found.stage is not Stage.AWAITING_RELEASE:
        return
    release = timedelta(minutes=day.times.release_min)
    cooled = ready_at(found.stage, now=day.now, times=day.times, since=found.since) - release
    deadline = day.times.deadline(case.starts_at)
    if cooled <= deadline < cooled + release:
        there = replace(found, stage=Stage.STERILE, where=f"released by {deadline:%H:%M}", since=None)
        sentence = (
            f"Have the load of {found.name} {found.code} decided on by {clock(deadline, day.now)}: it has cooled "
            f"at {cooled:%H:%M}. Never before its indicators are read."
        )
        yield _asked(Way.RELEASE, need, there, sentence)


def _started(day: Day, case: CaseNeeds, need: Need, found: Whereabouts) -> Iterator[Candidate]:
    """A load that starts before it is full."""
    load = next_load(found.stage, now=max(day.now, found.free_at or day.now), times=day.times)
    if found.stops or found.since or found.at_once or not day.times.fill_min or load is None:
        return
    there = replace(found, at_once=True)
    machine, first = load
    spare = day.times.deadline(case.starts_at) - earliest(there, day.now, day.times)
    starts_at = clock(first + max(spare, timedelta()), day.now)
    sentence = f"Have the next {machine} load with {found.name} {found.code} started by {starts_at}, full or not."
    price = "A cycle that could have held more; what comes later waits for the next."
    yield replace(_asked(Way.START, need, there, sentence), price=price)


def _excepted(case: CaseNeeds, need: Need, found: Whereabouts) -> Iterator[Candidate]:
    """An implant load goes out before its biological result only by the form, which a person fills and signs."""
    if found.stops or not found.held or found.stage is not Stage.AWAITING_RELEASE:
        return
    sentence = (
        f"Exceptional release of load {found.load} before its biological result: only by the form on its page, which "
        f"names the implants, case {case.code}, who authorises it, the reason, and how it could have been avoided; "
        "released by a second person where the unit asks for one."
    )
    price = f"The result stays due: case {case.code} is flagged until it is read, and a positive one opens a recall."
    change = Change(((need.requirement, found.code),), (), (replace(found, held=False),))
    ids = (str(need.requirement), found.load)
    yield Candidate(Way.EXCEPTION, ids, sentence, change, Who.PERSON, 3, price)


def _by_decision(day: Day, case: CaseNeeds, row: NeedReadiness) -> Iterator[Candidate]:
    """What a person decides: another implant that the procedure names beside the planned one. And a loan."""
    need = row.need
    named = {other.key for other in case.needs if not other.essential and other.key.startswith("part:")}
    taken = {other.chosen for one in day.cases for other in one.needs}
    for found in day.sets.values() if need.key.startswith("part:") else ():
        beside = found.kind == "pack" and found.serves in named and found.code not in taken - _own(case, named)
        if beside and not found.stops and not tuple(in_date(found, case.starts_at)):
            sentence = f"{found.name} {found.code} is in stock beside the planned one: the operator decides."
            change = Change(chosen=((need.requirement, found.code),))
            yield Candidate(Way.NEIGHBOUR, (str(need.requirement), found.code), sentence, change, Who.PERSON)
    if row.verdict is Readiness.SHORT:
        yield _loan(day, case, need)


def _own(case: CaseNeeds, keys: set[str]) -> set[str]:
    return {need.chosen for need in case.needs if need.key in keys}


def _loan(day: Day, case: CaseNeeds, need: Need) -> Candidate:
    """From elsewhere: an implant comes sterile; what lacks on the chosen tray, or a set, passes the whole loop."""
    kind, _, _ = need.key.partition(":")
    deadline = day.times.deadline(case.starts_at)
    stage = Stage.STERILE if kind == "part" else Stage.RETURNED
    lasts = ready_at(stage, now=day.now, times=day.times) - day.now
    found = day.sets.get(need.chosen)
    lacks = _pieces_lacking(found) if found else ""
    if found and lacks:
        lent = replace(found, stage=stage, where="on loan", since=None, stops=(), looks=())
    else:
        name = f"{ON_LOAN}{need.requirement}"
        lent = Whereabouts(name, need.wants, "pack" if kind == "part" else "tray", need.key, stage, "on loan")
    sentence = (
        f"Call for a loan or a delivery: {lacks or f'1 × {need.wants}'}, here by {clock(deadline - lasts, day.now)}."
    )
    change = Change(((need.requirement, lent.code),), (), (lent,))
    return Candidate(Way.LOAN, (str(need.requirement),), sentence, change, Who.OUTSIDE, 4)


def _pieces_lacking(found: Whereabouts) -> str:
    """The pieces that keep a tray from being complete, where pieces are all that does: “1 × Seal cap, adult 8.0”.

    A closed set takes no borrowed piece.
    """
    if not found.stops or found.closed or any(stop.slug != PIECE_LACKS for stop in found.stops):
        return ""
    return ", ".join(f"{stop.numbers['lacking']} × {stop.subject}" for stop in found.stops)
