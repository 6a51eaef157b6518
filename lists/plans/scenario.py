"""A day to be planned, and the plan made for it.

All times are whole minutes, counted from the midnight before the day that is planned.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum

from lists.plans.sites import LATEST_MIN, MOST, Site, Stage, check_whole, refusal

GREATEST_WEIGHT = 1_000


class TrayState(StrEnum):
    """Where a tray is when the day begins."""

    DIRTY = "dirty"
    IN_WASHER = "in_washer"
    CLEANED = "cleaned"
    PACKED = "packed"
    IN_STERILISER = "in_steriliser"
    STERILE = "sterile"
    QUARANTINED = "quarantined"
    ON_LOAN = "on_loan"


ALL_STAGES = tuple(Stage)
STAGES_LEFT: Mapping[TrayState, tuple[Stage, ...]] = {
    TrayState.DIRTY: ALL_STAGES,
    TrayState.ON_LOAN: ALL_STAGES,
    TrayState.IN_WASHER: ALL_STAGES[2:],
    TrayState.CLEANED: ALL_STAGES[2:],
    TrayState.PACKED: ALL_STAGES[3:],
    TrayState.IN_STERILISER: (),
    TrayState.STERILE: (),
    TrayState.QUARANTINED: (),
}
"""What is still to be done to a tray; one in the steriliser has yet to cool."""

UNUSABLE_UNLESS_FREE = frozenset({TrayState.QUARANTINED, TrayState.ON_LOAN})


@dataclass(frozen=True, slots=True)
class Template:
    """What all trays of a kind have in common.

    Args:
        id: its number.
        preclean_min: at the pre-clean bench [min].
        assemble_min: at the assembly bench [min].
        programme: of the steriliser; a load has one.
        implant: whether it is held after the cycle.
        load_units: room it takes in a machine.

    Raises:
        ValueError: a figure is out of range.
    """

    id: int
    preclean_min: int
    assemble_min: int
    programme: str
    implant: bool = False
    load_units: int = 1

    def __post_init__(self) -> None:
        check_whole(f"template {self.id}", self, ("preclean_min", "assemble_min"), LATEST_MIN)
        check_whole(f"template {self.id}", self, ("load_units",), MOST, least=1)


@dataclass(frozen=True, slots=True)
class Tray:
    """A tray when the day begins.

    Args:
        id: its number.
        template: number of its template.
        site: position of the site that processes it.
        state: where it is.
        free_at_min: when it can first be taken on from there; None = a loan or a quarantined tray cannot be used
            at all, any other is there from the first minute.

    Raises:
        ValueError: the minute is out of range.
    """

    id: int
    template: int
    site: int
    state: TrayState
    free_at_min: int | None = None

    def __post_init__(self) -> None:
        if self.free_at_min is not None:
            check_whole(f"tray {self.id}", self, ("free_at_min",), LATEST_MIN)

    @property
    def usable(self) -> bool:
        """Whether it can be had that day at all."""
        return self.free_at_min is not None or self.state not in UNUSABLE_UNLESS_FREE


@dataclass(frozen=True, slots=True)
class CaseDemand:
    """A case that needs one tray.

    Args:
        id: its number.
        site: position of the site where it takes place.
        start_min: planned start [min].
        duration_min: how long it takes [min].
        weight: what it counts when its tray is there in time.
        accepts: numbers of the templates that will do, the preferred one first.
        together: cases with the same number here stand or fall together: all of them have a tray in time, or none.

    Raises:
        ValueError: a figure is out of range.
    """

    id: int
    site: int
    start_min: int
    duration_min: int
    weight: int
    accepts: tuple[int, ...]
    together: int | None = None

    def __post_init__(self) -> None:
        check_whole(f"case {self.id}", self, ("start_min", "duration_min"), LATEST_MIN)
        check_whole(f"case {self.id}", self, ("weight",), GREATEST_WEIGHT)


@dataclass(frozen=True, slots=True)
class Scenario:
    """A day to be planned.

    Args:
        templates: all templates.
        trays: all trays.
        cases: all cases.
        sites: all sites; trays and cases name them by position, counted from 0.
        washer_min: length of a washer cycle [min].
        programme_min: length of each steriliser programme [min].
        cooling_min: from the end of the steriliser cycle to the shelf [min].
        implant_hold_min: the same for implants, where it is longer [min].
        move_same_site_min: from the shelf to a case of the same site [min].
        move_other_site_min: from the shelf to a case of another site [min].
        prepare_min: in the theatre before the case starts [min].
        return_min: from the end of a case until the tray is dirty at its own site [min].
        uses_per_tray: how many cases a tray may serve.
        late_cases: whether the plan says when the trays of late cases could be ready.

    Raises:
        ValueError: a figure is out of range, a number stands for two, or names what is not there.
    """

    templates: tuple[Template, ...]
    trays: tuple[Tray, ...]
    cases: tuple[CaseDemand, ...]
    sites: tuple[Site, ...]
    washer_min: int
    programme_min: Mapping[str, int]
    cooling_min: int
    implant_hold_min: int
    move_same_site_min: int
    move_other_site_min: int
    prepare_min: int
    return_min: int
    uses_per_tray: int
    late_cases: bool = False
    _templates: dict[int, Template] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        times = [item.name for item in fields(self) if item.name.endswith("_min") and item.name != "programme_min"]
        check_whole("the day", self, times, LATEST_MIN)
        check_whole("the day", self, ("uses_per_tray",), MOST, least=1)
        for programme, minutes in self.programme_min.items():
            if not 0 <= minutes <= LATEST_MIN:
                raise refusal("the day", f"programme {programme}", minutes, f"0 to {LATEST_MIN}")
        object.__setattr__(self, "_templates", {template.id: template for template in self.templates})
        self._check_references()

    def _check_references(self) -> None:
        _check_once("template", [template.id for template in self.templates])
        _check_once("tray", [tray.id for tray in self.trays])
        _check_once("case", [case.id for case in self.cases])
        for template in self.templates:
            if template.programme not in self.programme_min:
                raise refusal(f"template {template.id}", "programme", template.programme, "one whose length is given")
        for tray in self.trays:
            self._check_place(f"tray {tray.id}", tray.site, (tray.template,))
        for case in self.cases:
            self._check_place(f"case {case.id}", case.site, case.accepts)

    def _check_place(self, subject: str, site: int, templates: Iterable[int]) -> None:
        if site not in range(len(self.sites)):
            raise refusal(subject, "site", site, "a position in the list of sites, counted from 0")
        for template in templates:
            if template not in self._templates:
                raise refusal(subject, "template", template, "a template of the day")

    def template_of(self, tray: Tray) -> Template:
        """The template of a tray."""
        return self._templates[tray.template]

    def move_min(self, case: CaseDemand, tray: Tray) -> int:
        """From the shelf of the tray's site to the case [min]."""
        return self.move_same_site_min if case.site == tray.site else self.move_other_site_min

    def deadline_min(self, case: CaseDemand, tray: Tray | None = None) -> int:
        """When a tray must be on its shelf to serve a case; no tray = one of the case's own site."""
        move = self.move_same_site_min if tray is None else self.move_min(case, tray)
        return case.start_min - self.prepare_min - move

    def dirty_again_min(self, case: CaseDemand) -> int:
        """When a tray that served this case is dirty at its own site."""
        return case.start_min + case.duration_min + self.return_min

    def moves(self, case: CaseDemand, tray: Tray) -> int:
        """One for another site, one for another template than the first that the case accepts."""
        return (case.site != tray.site) + (case.accepts[0] != tray.template)

    def stage_min(self, tray: Tray, stage: Stage) -> int:
        """How long a tray takes at a stage, queues left out [min]."""
        template = self.template_of(tray)
        minutes = {
            Stage.PRECLEAN: template.preclean_min,
            Stage.WASHER: self.washer_min,
            Stage.ASSEMBLY: template.assemble_min,
            Stage.STERILISER: self.programme_min[template.programme],
        }
        return minutes[stage]

    def wait_min(self, tray: Tray) -> int:
        """From the end of the steriliser cycle until the tray is on the shelf [min]."""
        return max(self.cooling_min, self.implant_hold_min) if self.template_of(tray).implant else self.cooling_min


@dataclass(frozen=True, slots=True)
class PlannedCase:
    """What the plan says of a case.

    Args:
        case: its number.
        tray: number of the tray that serves it; None when it is late.
        ready_min: when that tray is on its shelf.
        deadline_min: when it must be; for a late case, when a tray of its own site would have to be.
        on_time: whether a tray is there in time.
        why: why not, as a slug; None when it is on time.
        detail: the same as a sentence; None when it is on time.
    """

    case: int
    tray: int | None
    ready_min: int | None
    deadline_min: int
    on_time: bool
    why: str | None = None
    detail: str | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """One load of a machine: which machine of the trays' site, counted from 0, when, and what is in it."""

    machine: int
    stage: Stage
    start_min: int
    end_min: int
    trays: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Work:
    """One tray at a bench; at which place of it, counted from 0, only where there are shifts."""

    tray: int
    stage: Stage
    start_min: int
    end_min: int
    place: int | None = None


@dataclass(frozen=True, slots=True)
class LateCase:
    """When the tray of a late case could be ready: which tray, when it is on its shelf, by how much that is late."""

    case: int
    tray: int
    ready_min: int
    late_min: int


@dataclass(frozen=True, slots=True)
class Late:
    """Late cases after the others: what is done for them besides. A batch at the time of one of the plan joins it."""

    cases: tuple[LateCase, ...]
    batches: tuple[Batch, ...]
    work: tuple[Work, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Who gets which tray, and when every tray is where.

    Args:
        on_time_weight: weight of the cases on time.
        bound: no plan has more weight on time than this.
        least_slack_min: least of what lies between ready and deadline over the cases on time, each counted up to
            120; None when no case is on time.
        moves: trays from another site, and trays of another template than the preferred one.
        proven: whether no plan is better in weight, then least slack, then moves.
        cases: one entry for each case, in the order of the day.
        batches: loads of the machines, by start.
        work: what the benches do, by start.
        late: the late cases after the others, where the day asks for it.
    """

    on_time_weight: int
    bound: int
    least_slack_min: int | None
    moves: int
    proven: bool
    cases: tuple[PlannedCase, ...]
    batches: tuple[Batch, ...]
    work: tuple[Work, ...]
    late: Late | None = None


def _check_once(kind: str, numbers: Collection[int]) -> None:
    seen: set[int] = set()
    for number in numbers:
        if number in seen:
            raise ValueError(f"Cannot plan the day: {kind} {number} is there twice, must be there once.")
        seen.add(number)
