"""The plan of a day as people read it: cases with their trays, what is done in order, moments for minutes."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

from lists.chances.forecast import CaseChance
from lists.plans.day_facts import DayFacts, PlannedDay
from lists.plans.documents import read_plan, written_plan
from lists.plans.scenario import Plan
from lists.plans.sites import LATEST_MIN, Stage

CAUSES: Mapping[str, str] = {
    "no_tray_of_template": "No tray",
    "all_quarantined": "None can be used",
    "bi_hold": "Held for its indicator",
    "loan_return": "Loan is back too late",
    "closed_time": "Closed, or nobody at the bench",
    "chain_too_long": "Too little time",
    "together": "Another of its trays is late",
    "trays_taken": "Trays serve other cases",
    "queue_preclean": "Queue at the pre-clean bench",
    "queue_washer": "Queue at the washers",
    "queue_assembly": "Queue at assembly",
    "queue_steriliser": "Queue at the sterilisers",
}
"""Why a case is late, in words."""
BENCHES: Mapping[Stage, str] = {Stage.PRECLEAN: "Pre-clean bench", Stage.ASSEMBLY: "Assembly bench"}


@dataclass(frozen=True, slots=True)
class PlannedTray:
    """One tray of a case in the plan; moments and chance are None where it has no tray.

    Where it is late, `could_be_at` says when one could be ready all the same, `late_min` by how much too late, and
    `instead` is the code of that tray.
    """

    wants: str
    essential: bool
    code: str
    name: str
    on_time: bool
    ready_at: datetime | None
    deadline_at: datetime
    slack_min: int | None
    chance: float | None
    nine_of_ten_at: datetime | None
    why: str
    detail: str
    could_be_at: datetime | None = None
    late_min: int = 0
    instead: str = ""

    @property
    def slack(self) -> timedelta | None:
        """How long before its time it is ready."""
        return None if self.slack_min is None else timedelta(minutes=self.slack_min)

    @property
    def lateness(self) -> timedelta:
        """How long after its time it could be ready."""
        return timedelta(minutes=self.late_min)


@dataclass(frozen=True, slots=True)
class PlannedCaseRow:
    """A case in the plan: on time when every tray that it cannot do without is.

    `chance` is the least of those of its trays: that all of them are in time is at most as likely.
    """

    code: str
    procedure: str
    theatre: str
    starts_at: datetime
    trays: tuple[PlannedTray, ...]
    in_hand: int

    @property
    def weighing(self) -> tuple[PlannedTray, ...]:
        """The trays that decide."""
        return tuple(tray for tray in self.trays if tray.essential) or self.trays

    @property
    def on_time(self) -> bool:
        """Whether all of them are there in time."""
        return all(tray.on_time for tray in self.weighing)

    @property
    def chance(self) -> float | None:
        """Of its least sure tray; None when the case needs none."""
        return min((tray.chance or 0.0 for tray in self.weighing), default=None)

    @property
    def slack_min(self) -> int | None:
        """Of its tightest tray; None when it is late or needs none."""
        slacks = [tray.slack_min for tray in self.weighing if tray.slack_min is not None]
        return min(slacks) if slacks and self.on_time else None


@dataclass(frozen=True, slots=True)
class Step:
    """What sterile services do: one load of a machine, or one tray at a bench.

    Args:
        stage: which stage.
        place: machine or bench, in words.
        starts_at: when it begins.
        ends_at: when it is done.
        trays: codes and names.
        cases: codes of the cases that the trays serve.
        number: which place of the bench, counted from 1; None where it makes no difference.
    """

    stage: Stage
    place: str
    starts_at: datetime
    ends_at: datetime
    trays: tuple[tuple[str, str], ...]
    cases: tuple[str, ...]
    number: int | None = None

    @property
    def is_load(self) -> bool:
        """Whether a machine does it."""
        return self.stage not in BENCHES


def stored(facts: DayFacts, planned: PlannedDay, plan: Plan, chances: Iterable[CaseChance]) -> dict[str, Any]:
    """A plan with all that is needed to read it later, as plain values."""
    return {
        "origin": planned.origin.isoformat(),
        "plan": written_plan(plan),
        "chances": [asdict(chance) for chance in chances],
        "cases": [
            {
                "code": case.code,
                "procedure": case.procedure,
                "theatre": case.theatre,
                "starts_at": case.starts_at.isoformat(),
                "in_hand": case.in_hand,
            }
            for case in facts.cases
        ],
        "demands": [[case.code, demand.wants, demand.essential, demand.template] for case, demand in planned.cases],
        "trays": [[tray.code, tray.name] for tray in planned.trays],
        "machines": {Stage.WASHER: list(planned.washers), Stage.STERILISER: list(planned.sterilisers)},
        "closed": _closed(planned),
        "facts": facts.document(),
    }


def _closed(planned: PlannedDay) -> dict[str, list[tuple[int, int]]]:
    """When each machine, and each place at a bench, cannot be used, by its name [min]."""
    (site,) = planned.scenario.sites
    names = {
        Stage.WASHER: planned.washers,
        Stage.STERILISER: planned.sterilisers,
        **{
            stage: [f"{bench} {place + 1}" for place in range(site.benches(stage))] for stage, bench in BENCHES.items()
        },
    }
    spans = {name: closed for stage, of in names.items() for name, closed in zip(of, site.closed(stage), strict=True)}
    return {name: list(closed) for name, closed in spans.items() if closed}


class DayPlan:
    """A stored plan, to be read in the unit's time zone.

    Args:
        result: as `stored` wrote it.
        zone: of the moments.

    Raises:
        ValueError: the plan in it cannot be read.
    """

    def __init__(self, result: Mapping[str, Any], zone: tzinfo) -> None:
        self.result, self.zone = result, zone
        self.origin = datetime.fromisoformat(result["origin"])
        self.plan = read_plan(result["plan"])
        self.tray = dict(enumerate((code, name) for code, name in result["trays"]))
        self.demand = dict(enumerate(result["demands"]))

    def at(self, minute: float) -> datetime:
        """The moment of a minute."""
        return (self.origin + timedelta(minutes=minute)).astimezone(self.zone)

    @property
    def cases(self) -> tuple[PlannedCaseRow, ...]:
        """Every open case of the day, by start."""
        trays: dict[str, list[PlannedTray]] = defaultdict(list)
        for number, (code, *_) in self.demand.items():
            trays[code].append(self._tray(number))
        return tuple(
            PlannedCaseRow(
                case["code"],
                case["procedure"],
                case["theatre"],
                datetime.fromisoformat(case["starts_at"]).astimezone(self.zone),
                tuple(trays[case["code"]]),
                case["in_hand"],
            )
            for case in self.result["cases"]
        )

    @property
    def steps(self) -> tuple[Step, ...]:
        """Loads and bench work, by begin; of one minute, what comes first on the way."""
        machines, late = self.result["machines"], self.plan.late
        batches = [*self.plan.batches, *(late.batches if late else ())]
        loads: dict[tuple[Stage, str, int, int, int | None], tuple[int, ...]] = {}
        for batch in batches:  # a late tray goes along in a load of the plan
            where = (batch.stage, machines[batch.stage][batch.machine], batch.start_min, batch.end_min, None)
            loads[where] = (*loads.get(where, ()), *batch.trays)
        raw = list(loads.items())
        raw += [
            ((work.stage, BENCHES[work.stage], work.start_min, work.end_min, work.place), (work.tray,))
            for work in [*self.plan.work, *(late.work if late else ())]
        ]
        order = list(Stage)
        raw.sort(key=lambda row: (row[0][2], order.index(row[0][0]), row[0][1], row[1]))
        return tuple(
            Step(
                stage,
                place,
                self.at(start),
                self.at(end),
                tuple(self.tray[tray] for tray in trays),
                tuple(dict.fromkeys(case for tray in trays for case in self._next_served(tray, end))),
                None if at is None else at + 1,
            )
            for (stage, place, start, end, at), trays in raw
        )

    @property
    def closed(self) -> tuple[tuple[str, datetime, datetime], ...]:
        """Of each machine and place at a bench, when it cannot be used; a plan of old says nothing of that."""
        spans = self.result.get("closed", {}).items()
        return tuple((name, self.at(start), self.at(min(end, LATEST_MIN))) for name, of in spans for start, end in of)

    def next_load(self, now: datetime) -> Step | None:
        """The first load that is not over yet."""
        return next((step for step in self.steps if step.is_load and step.ends_at > now), None)

    def _next_served(self, tray: int, minute: int) -> list[str]:
        """The first case that a tray serves after a minute; the late one, after the last that it serves in time."""
        starts = {case["code"]: datetime.fromisoformat(case["starts_at"]) for case in self.result["cases"]}
        served = [self.demand[entry.case][0] for entry in self.plan.cases if entry.tray == tray]
        late = (
            [self.demand[entry.case][0] for entry in self.plan.late.cases if entry.tray == tray]
            if self.plan.late
            else []
        )
        after = sorted((code for code in served if starts[code] >= self.at(minute)), key=lambda code: starts[code])
        return (after or late)[:1]

    def _tray(self, number: int) -> PlannedTray:
        entry = self.plan.cases[number]
        chance = self.result["chances"][number] if self.result["chances"] else None
        code, name = self.tray[entry.tray] if entry.tray is not None else ("", "")
        ready = entry.ready_min
        ninth = chance["p90_ready_min"] if chance else None
        _, wants, essential, template = self.demand[number]
        late = {one.case: one for one in self.plan.late.cases} if self.plan.late else {}
        after = late.get(number)
        return PlannedTray(
            wants,
            essential,
            code,
            name,
            entry.on_time,
            None if ready is None else self.at(ready),
            self.at(entry.deadline_min),
            None if ready is None else entry.deadline_min - ready,
            chance["chance"] if chance else None,
            None if ninth is None else self.at(ninth),
            CAUSES[entry.why] if entry.why else "",
            self._unusable(template) if entry.why == "all_quarantined" else self._said(entry.detail or ""),
            self.at(after.ready_min) if after else None,
            after.late_min if after else 0,
            self.tray[after.tray][0] if after else "",
        )

    def _unusable(self, template: str) -> str:
        """Why each tray of a template cannot serve."""
        trays = self.result["facts"]["trays"].values()
        return " ".join(tray["stopped"] for tray in trays if tray["template"] == template and tray["stopped"])

    def _said(self, detail: str) -> str:
        """A cause with names and clock times in place of the scenario's numbers."""
        said = re.sub(r"\b([Tt]ray) (\d+)", lambda found: f"{found[1]} {self._code(found[2])}", detail)
        said = re.sub(r"\bwith case (\d+)", lambda found: f"with {self.demand[int(found[1])][1]}", said)
        said = re.sub(r"\bat minute (\d+)", lambda found: f"at {self._clock(int(found[1]))}", said)
        said = re.sub(r"(in time: )([\d, ]+)", lambda found: found[1] + self._codes(found[2], self._code), said)
        return re.sub(
            r"(serve the cases )([\d, ]+)", lambda found: found[1] + self._codes(found[2], self._case_code), said
        )

    def _clock(self, minute: int) -> str:
        return f"{self.at(minute):%H:%M on %a}"

    def _code(self, number: str) -> str:
        return str(self.tray[int(number)][0])

    def _case_code(self, number: str) -> str:
        return str(self.demand[int(number)][0])

    @staticmethod
    def _codes(numbers: str, code: Any) -> str:
        return ", ".join(dict.fromkeys(code(number) for number in numbers.split(", ")))
