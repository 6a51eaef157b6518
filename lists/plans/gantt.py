"""The steps of a plan as a picture: a row for each machine and bench place, a bar for each step, the clock above."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from lists.plans.day_plan import Step
from lists.plans.sites import Stage

LEFT, RIGHT, TOP, ROW_HEIGHT, BAR_HEIGHT = 170, 20, 34, 34, 26  # of the picture [px]
HOUR_WIDTH = 110  # an hour must hold its clock time, and a cycle its word [px]
LETTER_WIDTH = 8  # at the size of the labels, the widest letters [px]
PADDING = 5  # beside a label in its bar [px]


@dataclass(frozen=True, slots=True)
class Bar:
    """One step: its place in the picture [px], the label that fits into it, and the whole in words."""

    stage: Stage
    x: int
    y: int
    width: int
    label: str
    words: str

    @property
    def text_x(self) -> int:
        """Where the label begins [px]."""
        return self.x + PADDING


@dataclass(frozen=True, slots=True)
class Row:
    """A machine or a place of a bench."""

    name: str
    y: int


@dataclass(frozen=True, slots=True)
class ClosedBar:
    """A time in which a machine or a place of a bench cannot be used [px], and the same in words."""

    x: int
    y: int
    width: int
    words: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A full hour of the clock."""

    x: int
    label: str


@dataclass(frozen=True, slots=True)
class Gantt:
    """The picture [px]."""

    width: int
    height: int
    rows: tuple[Row, ...]
    bars: tuple[Bar, ...]
    ticks: tuple[Tick, ...]
    closed: tuple[ClosedBar, ...] = ()


def gantt(steps: Sequence[Step], closed: Iterable[tuple[str, datetime, datetime]] = ()) -> Gantt | None:
    """The picture of these steps; None when there are none.

    Work at a bench stands in as many rows as overlap. The clock is the unit's: the hours are those of its own
    time, also where it is put on or back.

    Args:
        steps: what is done, by begin.
        closed: of a machine or a place of a bench, from when to when it cannot be used.
    """
    if not steps:
        return None
    first = min(step.starts_at for step in steps).replace(minute=0)
    last = max(step.ends_at for step in steps)
    lanes = _lanes(steps)
    names = sorted(lanes, key=lambda name: (list(Stage).index(lanes[name][0].stage), name))
    rows = tuple(Row(name, TOP + place * ROW_HEIGHT) for place, name in enumerate(names))
    bars = tuple(_bar(step, first, row) for row in rows for step in lanes[row.name])
    hours = int((last.timestamp() - first.timestamp()) // 3600) + 1
    zone = first.tzinfo
    ticks = []
    for hour in range(hours + 1):
        moment = datetime.fromtimestamp(first.timestamp() + hour * 3600, zone)
        label = f"{moment:%H:%M}" if hour and moment.hour else f"{moment:%a %H:%M}"
        ticks.append(Tick(LEFT + hour * HOUR_WIDTH, label))
    width, height = LEFT + hours * HOUR_WIDTH + RIGHT, TOP + len(rows) * ROW_HEIGHT
    return Gantt(width, height, rows, bars, tuple(ticks), tuple(_closed(closed, rows, first, hours)))


def _closed(
    closed: Iterable[tuple[str, datetime, datetime]], rows: Iterable[Row], first: datetime, hours: int
) -> Iterable[ClosedBar]:
    """What of the closed times lies in the picture."""
    row_of = {row.name: row for row in rows}
    for name, start, end in closed:
        low, high = (
            min(max(0, _px(moment.timestamp() - first.timestamp())), hours * HOUR_WIDTH) for moment in (start, end)
        )
        if name in row_of and low < high:
            words = f"{name}: closed or nobody there from {start:%a %H:%M} to {end:%a %H:%M}"
            yield ClosedBar(LEFT + low, row_of[name].y, high - low, words)


def _lanes(steps: Iterable[Step]) -> dict[str, list[Step]]:
    """Steps by machine, and by places of a bench: the first that is free by then."""
    lanes: dict[str, list[Step]] = defaultdict(list)
    for step in steps:
        name = step.place
        if not step.is_load:
            number = step.number or 1
            while not step.number and (row := lanes.get(f"{name} {number}")) and row[-1].ends_at > step.starts_at:
                number += 1
            name = f"{name} {number}"
        lanes[name].append(step)
    return lanes


def _bar(step: Step, first: datetime, row: Row) -> Bar:
    x = LEFT + _px(step.starts_at.timestamp() - first.timestamp())
    width = max(3, _px(step.ends_at.timestamp() - step.starts_at.timestamp()))
    codes = [code for code, _ in step.trays]
    room = (width - 2 * PADDING) // LETTER_WIDTH
    count = "1 tray" if len(codes) == 1 else f"{len(codes)} trays"
    label = next((text for text in (", ".join(codes), count, str(len(codes))) if len(text) <= room), "")
    words = f"{row.name}, {step.starts_at:%H:%M} to {step.ends_at:%H:%M}: {', '.join(codes)}"
    return Bar(step.stage, x, row.y + (ROW_HEIGHT - BAR_HEIGHT) // 2, width, label, words)


def _px(seconds: float) -> int:
    return round(seconds * HOUR_WIDTH / timedelta(hours=1).total_seconds())
