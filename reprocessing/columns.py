"""What the columns of one machine's log hold, said once by a person, and the log under names that say it.

No quantity and no unit is ever guessed from a name: a column that nobody has spoken of is refused.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from journal.documents import quoted
from reprocessing.trace_csv import (
    AMBIENT_RANGE_MBAR,
    DELIMITERS,
    ELAPSED,
    GAUGE_UNITS,
    PRESSURE_UNITS,
    TEMPERATURE_UNITS,
    TIME_COLUMNS,
    WALL_CLOCK,
    WITH_OFFSET,
)

NOT_READ = "unread"
DAY_FIRST = "local_time_day_first"
TIMES = (*TIME_COLUMNS, DAY_FIRST)
_DAY_FIRST = re.compile(
    r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})[ T]+(\d{1,2})(:\d{2}(?::\d{2}(?:[.,]\d{1,6})?)?)", re.ASCII
)
QUANTITIES: dict[str, str] = {
    ELAPSED: "Time in seconds",
    WITH_OFFSET: "Date and time with its offset",
    WALL_CLOCK: "Date and time of the wall clock, the year first",
    DAY_FIRST: "Date and time of the wall clock, the day first",
    "c": "Temperature in °C",
    "f": "Temperature in °F",
    "bar_abs": "Absolute pressure in bar",
    "kpa_abs": "Absolute pressure in kPa",
    "mbar_abs": "Absolute pressure in mbar",
    "bar_gauge": "Pressure above the room’s in bar",
    "kpa_gauge": "Pressure above the room’s in kPa",
    "mbar_gauge": "Pressure above the room’s in mbar",
    NOT_READ: "Not read",
}
"""What a column may hold, by the ending that its name is given."""

SHOWN_ROWS = 6


@dataclass(frozen=True, slots=True)
class Columns:
    """What each column of a machine's log holds.

    Args:
        held: a key of `QUANTITIES` for the name of each column, as the file writes it.
        header_line: line of the file on which the names stand; what is above it is not read.
        ambient_mbar: air pressure of the machine's room, where a column is gauge pressure [mbar].

    Raises:
        ValueError: a quantity is not known, there is not exactly one time, no temperature, or the air pressure is
            missing or beyond what a room has; the sentence says which.
    """

    held: Mapping[str, str]
    header_line: int = 1
    ambient_mbar: float | None = None

    def __post_init__(self) -> None:
        for name, quantity in self.held.items():
            if quantity not in QUANTITIES:
                raise ValueError(
                    f"Cannot read the column {name}: what it holds is {quoted(quantity)}, must be stated."
                )
        times = [name for name, quantity in self.held.items() if quantity in TIMES]
        if len(times) != 1:
            raise ValueError(f"Cannot read a log with {len(times)} columns of time: there must be one.")
        if not any(quantity in TEMPERATURE_UNITS for quantity in self.held.values()):
            raise ValueError("Cannot read a log without a temperature: there must be at least one.")
        if self.header_line < 1:
            raise ValueError(f"Cannot look for names on line {self.header_line}: it must be 1 or more.")
        if set(GAUGE_UNITS) & set(self.held.values()):
            low, high = AMBIENT_RANGE_MBAR
            if self.ambient_mbar is None or not low <= self.ambient_mbar <= high:
                found = "not stated" if self.ambient_mbar is None else f"{self.ambient_mbar:g} mbar"
                raise ValueError(
                    f"Cannot read gauge pressure: the air pressure of the room is {found}, "
                    f"must be from {low:g} to {high:g} mbar."
                )


def first_rows(content: str, *, header_line: int) -> list[list[str]]:
    """The names of a log's columns and its first readings, as cells, for a person to look at."""
    lines = _lines(content)[max(header_line, 1) - 1 :]
    filled = [line for line in lines if line.strip()][: SHOWN_ROWS + 1]
    delimiter = _delimiter(filled[0]) if filled else ","
    return [[cell.strip() for cell in cells] for cells in csv.reader(filled, delimiter=delimiter)]


def named(content: str, columns: Columns) -> str:
    """The log with names of columns that say what they hold; its lines keep their numbers.

    Raises:
        ValueError: the file has no such line, lacks a column that is read, or has one that nobody has spoken of.
    """
    lines = _lines(content)
    if columns.header_line > len(lines) or not lines[columns.header_line - 1].strip():
        raise ValueError(f"Cannot read the header: line {columns.header_line} is empty, must name the columns.")
    header = lines[columns.header_line - 1]
    delimiter = _delimiter(header)
    names = [cell.strip() for cell in next(csv.reader([header], delimiter=delimiter))]
    _check_names(names, columns)
    fresh: list[str] = []
    for at, name in enumerate(names, start=1):
        fresh.append(_name(name, columns.held.get(name, ""), at, fresh))
    rows = lines[columns.header_line :]
    dated = [at for at, name in enumerate(names) if columns.held.get(name) == DAY_FIRST]
    for at in dated:
        rows = _year_first(rows, at, names[at], delimiter, columns.header_line + 1)
    return "\n".join([*[""] * (columns.header_line - 1), delimiter.join(fresh), *rows])


def _year_first(rows: Sequence[str], at: int, name: str, delimiter: str, first_line: int) -> list[str]:
    """Rows with the dates of one column turned round, as a person has said that they stand with the day first."""
    turned = []
    for line, row in enumerate(rows, start=first_line):
        cells = next(csv.reader([row], delimiter=delimiter), [])
        if len(cells) > at and cells[at].strip():
            match = _DAY_FIRST.fullmatch(cells[at].strip())
            if match is None:
                raise ValueError(
                    f"Cannot read line {line}, column {name}: it is {quoted(cells[at])}, must be a date with the day "
                    "first and a time, such as 24.11.2026 15:42:05."
                )
            day, _, month, year, hour, rest = match.groups()
            cells[at] = f"{year}-{month:0>2}-{day:0>2}T{hour:0>2}{rest.replace(',', '.')}"
        out = io.StringIO()
        csv.writer(out, delimiter=delimiter, lineterminator="").writerow(cells)
        turned.append(out.getvalue())
    return turned


def _lines(content: str) -> list[str]:
    return io.StringIO(content.removeprefix("\ufeff"), newline=None).read().split("\n")


def _delimiter(header: str) -> str:
    return max(DELIMITERS, key=header.count)


def _check_names(names: Sequence[str], columns: Columns) -> None:
    for name in names:
        if name and name not in columns.held:
            raise ValueError(f"Cannot read the column {name}: what it holds is not stated, must be.")
    for name, quantity in columns.held.items():
        if quantity != NOT_READ and name not in names:
            raise ValueError(f"Cannot read the header: it lacks the column {name}, must have it.")


def _name(name: str, quantity: str, at: int, taken: Sequence[str]) -> str:
    """A name that says what its column holds, and that no other column has."""
    if not name or quantity in TIMES:
        return WALL_CLOCK if quantity == DAY_FIRST else quantity
    stem = re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_") or f"column_{at}"
    if quantity == NOT_READ:
        return f"{stem.replace('_', ' ')} in column {at}"
    units = (*TEMPERATURE_UNITS, *PRESSURE_UNITS, *GAUGE_UNITS)
    stem = next((stem[: -len(unit) - 1] for unit in units if stem.lower().endswith(f"_{unit}")), stem) or "column"
    fresh = f"{stem}_{quantity}"
    return fresh if fresh.lower() not in (other.lower() for other in taken) else f"{stem}_{at}_{quantity}"
