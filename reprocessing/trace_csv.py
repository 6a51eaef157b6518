"""The text of a machine's log, read cell by cell: numbers in °C and bar absolute, nothing repaired yet.

What a column holds, and in which unit, is what its name says and is never guessed; the names are listed in
docs/algorithms/lethality.md. Text that does not fit is refused with its line, column and value.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import nan

import numpy as np
from numpy.typing import NDArray

from journal.documents import quoted

FloatArray = NDArray[np.float64]

ELAPSED, WITH_OFFSET, WALL_CLOCK = "t_s", "time", "local_time"
TIME_COLUMNS = (WITH_OFFSET, ELAPSED, WALL_CLOCK)  # where there are several, the first of these counts
DELIMITERS = (",", ";", "\t")
MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--", "---"})
INFINITE = frozenset({"inf", "+inf", "-inf", "infinity", "+infinity", "-infinity"})

# What to add to a reading and then to divide it by to have °C or bar; Fahrenheit by the scale's definition.
TEMPERATURE_UNITS = {"c": (0.0, 1.0), "f": (-32.0, 1.8)}
PRESSURE_UNITS = {"bar_abs": (0.0, 1.0), "kpa_abs": (0.0, 100.0), "mbar_abs": (0.0, 1000.0)}
GAUGE_UNITS = {"bar_gauge": 1.0, "kpa_gauge": 100.0, "mbar_gauge": 1000.0}  # of each so many in a bar
MBAR_PER_BAR = 1000.0

# Air pressure where people live (common practice, no source); 1.013 or 101.3 is a slip of the unit.
AMBIENT_RANGE_MBAR = (500.0, 1100.0)

# In autumn the wall clock steps back by an hour, less the step of the log. A pause of the log at that moment
# makes the step back smaller, rows out of order make it larger (window: common practice, no source).
FOLD_S = 3600.0
FOLD_WINDOW_S = (2700.0, 3900.0)

EXPECTED = {
    ELAPSED: "a finite number of seconds",
    WITH_OFFSET: "a date and time with its offset, such as 2026-11-24T15:42:05+01:00",
    WALL_CLOCK: "a date and time, such as 2026-11-24T15:42:05, with an offset in each row or in none",
}
EXPECTED_COLUMNS = "a time column (t_s, time or local_time) and temperature columns ending in _c or _f"

_UNITS = "|".join((*TEMPERATURE_UNITS, *PRESSURE_UNITS, *GAUGE_UNITS))
_MEASUREMENT = re.compile(rf".+_(?P<unit>{_UNITS})(_\d+)?")
_UNIT_NOT_SAID = re.compile(r"(.+_)?(temp|temperature|press|pressure|k?pa|m?bar|psi)(_.+)?")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3},\d{3}")


@dataclass(frozen=True, slots=True, eq=False)
class Log:
    """A machine's log in the order of its file.

    Args:
        seconds: (n,) time of each row [s].
        started_at: the moment of second 0; None unless the file's times carry an offset.
        started_local: wall clock of second 0; None unless the file gives a wall clock without offset.
        temperatures_c: (n, probes) readings [°C]; NaN where there is none.
        probes: names of the temperature columns, as the file writes them.
        pressures_bar_abs: (n, gauges) readings [bar absolute]; NaN where there is none.
        gauges: names of the pressure columns, as the file writes them.
        ambient_mbar: what was added to gauge pressure; None where there is no gauge pressure.
        ignored: names of the columns that were not read.
        flags: what the reading has found: dst_fold, unit_converted, decimal_comma.
    """

    seconds: FloatArray
    started_at: datetime | None
    started_local: datetime | None
    temperatures_c: FloatArray
    probes: tuple[str, ...]
    pressures_bar_abs: FloatArray
    gauges: tuple[str, ...]
    ambient_mbar: float | None
    ignored: tuple[str, ...]
    flags: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: its name, its cells, and the line on which each stands."""

    name: str
    cells: tuple[str, ...]
    lines: tuple[int, ...]

    @property
    def key(self) -> str:
        return self.name.lower()

    @property
    def unit(self) -> str:
        """What the name ends in; empty for a column without a unit."""
        match = _MEASUREMENT.fullmatch(self.key)
        return match["unit"] if match else ""

    def refusal(self, at: int, expected: str) -> ValueError:
        return ValueError(
            f"Cannot read line {self.lines[at]}, column {self.name}: "
            f"it is {quoted(self.cells[at])}, must be {expected}."
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Figures:
    """The numbers of a column, their decimal mark, and the refusal if that mark may group thousands."""

    values: FloatArray
    mark: str
    doubt: ValueError | None


@dataclass(frozen=True, slots=True, eq=False)
class _Clock:
    """The times of a log in seconds, and what second 0 was."""

    seconds: FloatArray
    started_at: datetime | None = None
    started_local: datetime | None = None
    folded: bool = False


def read_log(content: bytes | str, *, ambient_mbar: float | None) -> Log:
    """Read a log: UTF-8 with or without byte-order mark; comma, semicolon or tab; decimal point or comma.

    Args:
        content: the file as received, or its text.
        ambient_mbar: air pressure of the room; needed where a column holds gauge pressure [mbar].

    Returns:
        The log.

    Raises:
        ValueError: it is no such log; the sentence names line, column, value and what was expected.
    """
    columns = _columns(_text(content))
    probes = [column for column in columns if column.unit in TEMPERATURE_UNITS]
    gauges = [column for column in columns if column.unit in (*PRESSURE_UNITS, *GAUGE_UNITS)]
    timed = [column for key in TIME_COLUMNS for column in columns if column.key == key]
    if not timed or not probes:
        names = ", ".join(column.name for column in columns)
        raise ValueError(f"Cannot read the header: its columns are {names}, must be {EXPECTED_COLUMNS}.")
    units = TEMPERATURE_UNITS | PRESSURE_UNITS
    has_gauge = any(column.unit in GAUGE_UNITS for column in gauges)
    if has_gauge:
        room_bar = _ambient_bar(ambient_mbar)
        units = units | {unit: (room_bar * per, per) for unit, per in GAUGE_UNITS.items()}
    time = timed[0]
    numeric = [*probes, *gauges, *([time] if time.key == ELAPSED else [])]
    figures = {column.key: _figures(column) for column in numeric}
    clock = _elapsed(time, figures[time.key].values) if time.key == ELAPSED else _clock(time)
    flags = {
        "decimal_comma": _has_decimal_comma(figures.values()),
        "unit_converted": any(column.unit == "f" for column in probes),
        "dst_fold": clock.folded,
    }
    return Log(
        seconds=clock.seconds,
        started_at=clock.started_at,
        started_local=clock.started_local,
        temperatures_c=_matrix(probes, figures, units),
        probes=tuple(column.name for column in probes),
        pressures_bar_abs=_matrix(gauges, figures, units),
        gauges=tuple(column.name for column in gauges),
        ambient_mbar=ambient_mbar if has_gauge else None,
        ignored=tuple(column.name for column in columns if not column.unit and column not in timed),
        flags=frozenset(flag for flag, found in flags.items() if found),
    )


def _text(content: bytes | str) -> str:
    try:
        text = content.decode("utf-8-sig") if isinstance(content, bytes) else content.removeprefix("\ufeff")
    except UnicodeDecodeError as refusal:
        line = refusal.object.count(b"\n", 0, refusal.start) + 1
        raise ValueError(f"Cannot read line {line}: it is not UTF-8 text. Save the file as UTF-8.") from None
    if "\0" in text:
        raise ValueError("Cannot read the trace: it holds zero bytes, must be UTF-8 text.")
    return text


def _columns(text: str) -> list[_Column]:
    """The columns of the table under its header; blank lines are skipped, short lines are filled."""
    lines = _lines(text)
    if len(lines) < 2:
        raise ValueError("Cannot read the trace: it must be a header and at least one line of readings.")
    (_, header), *rows = lines
    while not header[-1]:  # a delimiter that ends the line
        header.pop()
    _check_header(header)
    for line, cells in rows:
        if any(cells[len(header) :]):
            raise ValueError(
                f"Cannot read line {line}: it has {len(cells)} cells, must have {len(header)} as the header."
            )
    filled = [(*cells, *[""] * len(header)) for _, cells in rows]
    numbers = tuple(line for line, _ in rows)
    return [_Column(name, tuple(cells[at] for cells in filled), numbers) for at, name in enumerate(header)]


def _lines(text: str) -> list[tuple[int, list[str]]]:
    """Cells of each line that is not blank, with the line's number."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=header.count)
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=delimiter, strict=True)
    try:
        rows = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader]
    except csv.Error as refusal:
        raise ValueError(f"Cannot read line {reader.line_num}: its quotes do not match ({refusal}).") from None
    return [(line, cells) for line, cells in rows if any(cells)]


def _check_header(header: Sequence[str]) -> None:
    keys = [name.lower() for name in header]
    for at, key in enumerate(keys):
        if not key:
            raise ValueError(f"Cannot read the header: column {at + 1} has no name, must have one.")
        if keys.count(key) > 1:
            raise ValueError(f"Cannot read the header: the column {key} stands there twice, must stand once.")
        if _UNIT_NOT_SAID.fullmatch(key) and not _MEASUREMENT.fullmatch(key):
            units = ", ".join(f"_{unit}" for unit in (*PRESSURE_UNITS, *GAUGE_UNITS))
            raise ValueError(
                f"Cannot read the column {key}: its name must say the unit: _c or _f at its end, or {units}."
            )


def _ambient_bar(ambient_mbar: float | None) -> float:
    low, high = AMBIENT_RANGE_MBAR
    if ambient_mbar is None:
        raise ValueError("Cannot read gauge pressure: the air pressure of the room must be given.")
    if not low <= ambient_mbar <= high:
        raise ValueError(
            f"Cannot add an air pressure of {ambient_mbar:g} mbar: it must be from {low:g} to {high:g} mbar."
        )
    return ambient_mbar / MBAR_PER_BAR


def _figures(column: _Column) -> _Figures:
    """The numbers of a column in the unit of the file; NaN where a reading is missing."""
    values, mark, doubt = [], "", None
    for at, cell in enumerate(column.cells):
        if cell.lower() in MISSING:
            values.append(nan)
            continue
        if cell.lower() not in INFINITE and not _NUMBER.fullmatch(cell):
            raise column.refusal(at, "a number, or empty")
        found = next((sign for sign in ".," if sign in cell), "")
        if found and mark and found != mark:
            raise column.refusal(at, f"written with a decimal {quoted(mark)}, as the numbers above it")
        mark = mark or found
        if doubt is None and _THOUSANDS.fullmatch(cell):
            doubt = column.refusal(at, "written without a comma, which beside decimal points may mean thousands")
        values.append(float(cell.replace(",", ".")))
    return _Figures(np.array(values), mark, doubt)


def _has_decimal_comma(figures: Iterable[_Figures]) -> bool:
    """Whether numbers are written with a comma; refuses commas of doubtful meaning."""
    marks = {column.mark for column in figures}
    if {".", ","} <= marks:
        for doubt in (column.doubt for column in figures if column.doubt):
            raise doubt
    return "," in marks


def _matrix(
    columns: Sequence[_Column], figures: Mapping[str, _Figures], units: Mapping[str, tuple[float, float]]
) -> FloatArray:
    """(n, columns) readings in °C or bar absolute."""
    rows = next(iter(figures.values())).values.size
    matrix = np.empty((rows, len(columns)))
    for at, column in enumerate(columns):
        add, per = units[column.unit]
        matrix[:, at] = (figures[column.key].values + add) / per
    return matrix


def _elapsed(column: _Column, seconds: FloatArray) -> _Clock:
    wrong = np.flatnonzero(~np.isfinite(seconds))
    if wrong.size:
        raise column.refusal(int(wrong[0]), EXPECTED[ELAPSED])
    return _Clock(seconds)


def _clock(column: _Column) -> _Clock:
    """Times of day as seconds since the earliest; a wall clock without offset is unfolded first."""
    moments = [_moment(column, at) for at in range(len(column.cells))]
    with_offset = column.key == WITH_OFFSET or moments[0].utcoffset() is not None
    for at, moment in enumerate(moments):
        if (moment.utcoffset() is not None) != with_offset:
            raise column.refusal(at, EXPECTED[column.key])
    first = moments[0]
    seconds = np.array([(moment - first).total_seconds() for moment in moments])
    folded = False
    if not with_offset:
        seconds, folded = _unfolded(seconds)
    earliest = int(np.argmin(seconds))
    start = moments[earliest]
    seconds = seconds - seconds[earliest]
    if with_offset:
        return _Clock(seconds, started_at=start.astimezone(UTC))
    return _Clock(seconds, started_local=start, folded=folded)


def _moment(column: _Column, at: int) -> datetime:
    cell = column.cells[at].upper()
    try:
        if "T" in cell or " " in cell:  # a date alone is no moment
            return datetime.fromisoformat(cell)
    except ValueError:
        pass
    raise column.refusal(at, EXPECTED[column.key])


def _unfolded(seconds: FloatArray) -> tuple[FloatArray, bool]:
    """Wall-clock seconds with the hour that autumn repeats put after itself, and whether there was one.

    The order of the file decides which of the two hours a row belongs to; a file that runs backwards in most
    of its steps is taken as written newest first.
    """
    low, high = FOLD_WINDOW_S
    steps = np.diff(seconds)
    ordinary = np.sign(steps[np.abs(steps) < low])
    if ordinary.sum() < 0:
        forward, folded = _unfolded(seconds[::-1])
        return forward[::-1], folded
    backs = np.flatnonzero((-steps >= low) & (-steps <= high))
    unfolded = seconds.copy()
    if backs.size:
        unfolded[backs[0] + 1 :] += FOLD_S
    return unfolded, bool(backs.size)
