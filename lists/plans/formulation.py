"""The plan as a constraint programme: which tray serves which case, and when each is where.

Of each tray, its first use, its second … : which case it serves, when it is at each stage, and in which load. Loads
of a machine are slots that may stay empty, in the order of their starts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from lists.plans.calendars import blocked, interchangeable
from lists.plans.candidates import SLACK_CAP_MIN, Candidate
from lists.plans.jobs import BENCHES, Assignment, Day, Route
from lists.plans.schedule import ANY, Run, starts
from lists.plans.sites import Stage

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT, CpModel, IntVar

Key = tuple[int, int]  # tray, which of its uses (0 = first)


@dataclass(frozen=True, slots=True)
class Use:
    """One use of a tray, if it comes to that.

    Args:
        tray: position of the tray.
        nth: which of its uses, counted from 0.
        route: what is to be done for it.
        release_min: the earliest that it can be taken on.
        cases: whom it can serve, alone and in time.
    """

    tray: int
    nth: int
    route: Route
    release_min: int
    cases: tuple[int, ...]


@dataclass(slots=True)
class Load:
    """One load that a machine may have, named after one of its members."""

    site: int
    stage: Stage
    minutes: int
    start: Any
    used: Any
    members: dict[Key, Any] = field(default_factory=dict)
    places: list[Any] = field(default_factory=list)


def uses(day: Day, cases: Sequence[int], trays: Iterable[int]) -> list[Use]:
    """All uses of these trays for these cases that are possible without queues."""
    found = []
    for tray in trays:
        wanted = [case for case in cases if tray in day.deadline_min[case]]
        route, before = day.first[tray], [case for case in wanted if day.can_serve(tray, case)]
        if route is None or not before:
            continue
        found.append(Use(tray, 0, route, day.scenario.trays[tray].free_at_min or 0, tuple(before)))
        again = day.again[tray]
        for nth in range(1, min(day.scenario.uses_per_tray, len(wanted))):
            former, before = before, [case for case in wanted if any(day.can_serve(tray, case, one) for one in before)]
            if again is None or not before:
                break
            found.append(Use(tray, nth, again, min(day.dirty_min[case] for case in former), tuple(before)))
    return found


class Model:
    """The programme for some cases and trays; what else there is stays as it is and does not meet them.

    Args:
        day: the day.
        cases: positions of the cases.
        trays: positions of the trays, all that these cases may use and nobody else does.
        choice: where given, each case has the tray of this choice or is late.
    """

    def __init__(self, day: Day, cases: Sequence[int], trays: Sequence[int], choice: Assignment | None = None) -> None:
        from ortools.sat.python.cp_model import CpModel  # noqa: PLC0415 - takes half a second

        self.day, self.cases = day, cases
        self.programme: CpModel = CpModel()
        self.uses = {(use.tray, use.nth): use for use in self._uses(trays, choice)}
        self.serves: dict[tuple[int, Key], BoolVarT] = {}
        self.late: dict[int, BoolVarT] = {}
        self.used: dict[Key, BoolVarT] = {}
        self.start: dict[tuple[Key, Stage], IntVar] = {}
        self.span: dict[tuple[Key, Stage], tuple[int, int]] = {}  # earliest and latest start
        self.places: dict[tuple[Key, Stage], list[Any]] = {}  # at which place of the bench, where that matters
        self.loads: list[Load] = []
        self.least_slack: IntVar = self.programme.new_int_var(0, SLACK_CAP_MIN, "")
        self._choices()
        for key, use in self.uses.items():
            self._way(key, use)
        for site in sorted({day.site_of[use.tray] for use in self.uses.values()}):
            for stage in Stage:
                if stage in BENCHES:
                    self._benches(site, stage)
                else:
                    self._machines(site, stage)

    def _uses(self, trays: Sequence[int], choice: Assignment | None) -> Iterable[Use]:
        found = uses(self.day, self.cases, trays)
        if choice is None:
            return found
        served = self.day.served(choice)
        return [
            replace(use, cases=cases)
            for use in found
            if (cases := tuple(case for case in served.get(use.tray, ()) if case in use.cases))
        ]

    @property
    def weight(self) -> Any:
        """Weight on time."""
        return self._total({place: self.day.weight[place[0]] for place in self.serves})

    @property
    def moves(self) -> Any:
        """Moves of the cases on time."""
        return self._total({(case, key): self.day.moves[case][key[0]] for case, key in self.serves})

    def _total(self, worth: Mapping[tuple[int, Key], int]) -> Any:
        from ortools.sat.python.cp_model import LinearExpr  # noqa: PLC0415 - as above

        return LinearExpr.weighted_sum([self.serves[place] for place in worth], list(worth.values()))

    def _choices(self) -> None:
        new = self.programme
        by_case: Mapping[int, list[BoolVarT]] = defaultdict(list)
        by_use: Mapping[Key, list[BoolVarT]] = defaultdict(list)
        for key, use in self.uses.items():
            self.used[key] = new.new_bool_var("")
            for case in use.cases:
                served = self.serves[case, key] = new.new_bool_var("")
                by_case[case].append(served)
                by_use[key].append(served)
        for case in self.cases:
            self.late[case] = new.new_bool_var("")
            new.add_exactly_one([*by_case[case], self.late[case]])
        for one, other in ((one, other) for case in self.cases for one, other in pairwise(self.day.mates[case])):
            if one in self.late and other in self.late:
                new.add(self.late[one] == self.late[other])
        for key, choices in by_use.items():
            new.add_exactly_one([*choices, ~self.used[key]])
        for tray, nth in self.uses:
            if nth > 0:
                self._follows((tray, nth), (tray, nth - 1))
        self._alike()

    def _follows(self, key: Key, former: Key) -> None:
        """A later use comes after one that lets the tray be back in time."""
        self.programme.add_implication(self.used[key], self.used[former])
        for case in self.uses[key].cases:
            fitting = [
                self.serves[one, former] for one in self.uses[former].cases if self.day.can_serve(key[0], case, one)
            ]
            self.programme.add_bool_or([*fitting, ~self.serves[case, key]])

    def _alike(self) -> None:
        """Of trays that are alike the earlier in the list are used first."""
        for trays in self.day.alike:
            here = [tray for tray in trays if (tray, 0) in self.used]
            for one, other in pairwise(here):
                self.programme.add_implication(self.used[other, 0], self.used[one, 0])

    def _way(self, key: Key, use: Use) -> None:
        """Starts of the stages, one after the other, from the release to the deadline."""
        new, day = self.programme, self.day
        latest = use.route.latest_min(max(day.deadline_min[case][use.tray] for case in use.cases))
        minute, before, length = use.release_min, None, 0
        site = day.scenario.sites[day.site_of[use.tray]]
        for stage, minutes in use.route.stages:
            minute = site.first_start(stage, minute, minutes)
            span = self.span[key, stage] = (minute, max(minute, latest[stage]))
            start = self.start[key, stage] = new.new_int_var(*span, "")
            if before is not None:
                new.add(start >= before + length).only_enforce_if(self.used[key])
            elif use.nth > 0:
                self._release(key, start)
            before, length, minute = start, minutes, minute + minutes
        ready = minute + use.route.wait_min if before is None else before + length + use.route.wait_min
        for case in use.cases:
            deadline = day.deadline_min[case][use.tray]
            new.add(ready + self.least_slack <= deadline).only_enforce_if(self.serves[case, key])

    def _release(self, key: Key, start: Any) -> None:
        former = (key[0], key[1] - 1)
        back = [(self.day.dirty_min[case], self.serves[case, former]) for case in self.uses[former].cases]
        self.programme.add(start >= sum(minute * served for minute, served in back)).only_enforce_if(self.used[key])

    def _at(self, site: int, stage: Stage) -> list[tuple[Key, Use, int]]:
        """Uses that pass a stage of a site, and how long they take there."""
        return [
            (key, use, dict(use.route.stages)[stage])
            for key, use in self.uses.items()
            if self.day.site_of[use.tray] == site and (key, stage) in self.start
        ]

    def _benches(self, site: int, stage: Stage) -> None:
        runs = {key: (self.start[key, stage], minutes, self.used[key]) for key, _, minutes in self._at(site, stage)}
        for key, places in self._in_places(site, stage, runs).items():
            self.places[key, stage] = places

    def _machines(self, site: int, stage: Stage) -> None:
        families: Mapping[str, list[tuple[Key, Use, int]]] = defaultdict(list)
        for key, use, minutes in self._at(site, stage):
            families["" if stage is Stage.WASHER else use.route.programme].append((key, use, minutes))
        loads = [load for family in families.values() for load in self._family(site, stage, family)]
        runs = {position: (load.start, load.minutes, load.used) for position, load in enumerate(loads)}
        for position, places in self._in_places(site, stage, runs).items():
            loads[position].places = places
        self.loads.extend(loads)

    def _in_places(self, site: int, stage: Stage, runs: Mapping[Any, tuple[Any, int, Any]]) -> dict[Any, list[Any]]:
        """Runs (start, minutes, whether at all) share benches or machines; at which, where counting does not do."""
        new, place = self.programme, self.day.scenario.sites[site]
        spans = [
            blocked(closed, at) for closed, at in zip(place.closed(stage), place.free_from_min(stage), strict=True)
        ]
        runs = {name: run for name, run in runs.items() if run[1]}
        if interchangeable(spans):
            busy = [self._closed(span) for of in spans for span in of]
            busy += [new.new_optional_fixed_size_interval_var(*run, "") for run in runs.values()]
            new.add_cumulative(busy, [1] * len(busy), len(spans))
            return {}
        chosen: dict[Any, list[Any]] = {name: [] for name in runs}
        for of in spans:
            busy = [self._closed(span) for span in of]
            for name, (start, minutes, _) in runs.items():
                chosen[name].append(new.new_bool_var(""))
                busy.append(new.new_optional_fixed_size_interval_var(start, minutes, chosen[name][-1], ""))
            new.add_no_overlap(busy)
        for name, (_, _, used) in runs.items():
            new.add_exactly_one([*chosen[name], ~used])
        return chosen

    def _closed(self, span: tuple[int, int]) -> Any:
        start, end = span
        return self.programme.new_fixed_size_interval_var(start, end - start, "")

    def _family(self, site: int, stage: Stage, family: Sequence[tuple[Key, Use, int]]) -> list[Load]:
        """The loads of one programme: each named after its first member in the list, whose start is its own."""
        new, capacity = self.programme, self.day.scenario.sites[site].capacity(stage)
        loads, rides = [], defaultdict(list)
        for position, (key, use, minutes) in enumerate(family):
            load = Load(site, stage, minutes, self.start[key, stage], new.new_bool_var(""))
            load.members[key] = load.used
            rides[key].append(load.used)
            room = capacity - use.route.units
            low, high = self.span[key, stage]
            for other, beside, _ in family[position + 1 :]:
                if other[0] == key[0] or beside.route.units > room:
                    continue
                if self.span[other, stage][0] <= high and low <= self.span[other, stage][1]:
                    member = load.members[other] = new.new_bool_var("")
                    rides[other].append(member)
                    new.add_implication(member, load.used)
                    new.add(self.start[other, stage] == load.start).only_enforce_if(member)
            units = {one: one_use.route.units for one, one_use, _ in family}
            others = [units[one] * member for one, member in load.members.items() if one != key]
            if others:
                new.add(sum(others) <= room * load.used)
            loads.append(load)
        for key, _, _ in family:
            new.add_exactly_one([*rides[key], ~self.used[key]])
        return loads

    def hold_together(self, assignment: Assignment) -> None:
        """Cases that stand or fall with others which are not the model's do as those do."""
        for case, late in self.late.items():
            others = [mate for mate in self.day.mates[case] if mate not in self.late]
            if others:
                self.programme.add(late == int(assignment[others[0]] is None))

    def hint(self, candidate: Candidate) -> None:
        """Begin the search at a plan that is known."""
        for variable, value in self._values(candidate).items():
            self.programme.add_hint(variable, value)

    def _values(self, candidate: Candidate) -> dict[Any, int]:
        key_of = {
            case: (tray, nth)
            for tray, cases in self.day.served(self.day.tidied(candidate.assignment)).items()
            for nth, case in enumerate(cases)
        }
        mine = {case: key_of[case] for case in self.cases if key_of.get(case) in self.uses}
        values = {served: int(mine.get(case) == key) for (case, key), served in self.serves.items()}
        values |= {late: int(case not in mine) for case, late in self.late.items()}
        values |= {used: int(key in mine.values()) for key, used in self.used.items()}
        runs = [run for table in candidate.tables for run in table.runs]
        placed = {(mine[case], stage): run for (case, stage), run in starts(runs).items() if case in mine}
        for place, start in self.start.items():
            values[start] = placed[place].start_min if place in placed else self.span[place][0]
        for load in self.loads:
            run, leader = None, next(iter(load.members))
            if (leader, load.stage) in placed:
                run = placed[leader, load.stage]
            together = {key for key in load.members if run is not None and placed.get((key, load.stage)) is run}
            leads = run is not None and bool(together) and leader == self._leader(run, mine)
            values |= {member: int(leads and key in together) for key, member in load.members.items()}
            at = run.place if leads and run is not None else ANY
            values |= {place: int(number == at) for number, place in enumerate(load.places)}
        for found, places in self.places.items():
            at = placed[found].place if found in placed else ANY
            values |= {place: int(number == at) for number, place in enumerate(places)}
        values[self.least_slack] = candidate.worth[1]
        return values

    def _leader(self, run: Run, mine: Mapping[int, Key]) -> Key | None:
        """The first in the list of uses of those in a load."""
        inside = {mine[case] for case in run.cases if case in mine}
        return next(key for key in self.uses if key in inside)

    def assignment(self, value: Any) -> dict[int, int]:
        """Tray of each case on time, from the values of a solution."""
        return {case: key[0] for (case, key), served in self.serves.items() if value(served)}

    def runs(self, value: Any) -> dict[int, list[Run]]:
        """The runs of each site, from the values of a solution."""
        case_of = {key: case for (case, key), served in self.serves.items() if value(served)}
        found: dict[int, list[Run]] = defaultdict(list)
        for (key, stage), start in self.start.items():
            if key in case_of and stage in BENCHES:
                begin = value(start)
                place = _place(self.places.get((key, stage), ()), value)
                found[self.day.site_of[key[0]]].append(Run(stage, place, begin, begin, (case_of[key],)))
        for load in self.loads:
            cases = tuple(sorted(case_of[key] for key, member in load.members.items() if value(member)))
            if cases:
                begin = value(load.start)
                place = _place(load.places, value)
                found[load.site].append(Run(load.stage, place, begin, begin + load.minutes, cases))
        return found


def _place(places: Sequence[Any], value: Any) -> int:
    return next((number for number, place in enumerate(places) if value(place)), ANY)


def merged(assignment: Assignment, chosen: Mapping[int, int], cases: Iterable[int]) -> Assignment:
    """A choice of trays in which these cases have what was chosen for them."""
    trays = list(assignment)
    for case in cases:
        trays[case] = chosen.get(case)
    return tuple(trays)
