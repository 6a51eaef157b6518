"""Tables that people hand in as CSV: read whatever a spreadsheet writes, name every fault, guess nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

DELIMITERS = (",", ";", "\t")
LONGEST_CELL = 500


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a table: where, what was found, what was expected.

    Args:
        line: line of the file, the header being 1; 0 = the file as a whole.
        column: name of the column; empty = the line as a whole.
        found: the value as it stands in the file.
        expected: what should stand there.
    """

    line: int
    column: str
    found: str
    expected: str

    @property
    def sentence(self) -> str:
        """The fault as one sentence."""
        where = f"line {self.line}" if self.line else "the file"
        if self.column:
            where += f", column {self.column}"
        found = f"“{self.found}”" if self.found else "nothing"
        return f"Cannot take {where}: it is {found}, must be {self.expected}."


class FaultyTable(Exception):
    """A table that is not taken; carries every fault found.

    Args:
        faults: at least one.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.sentence for fault in faults))


@dataclass(frozen=True, slots=True)
class Column:
    """A column that a table may have.

    Args:
        name: header, lower case.
        read: makes the value from the cell's text; raises ValueError with what was expected.
        required: the header must be there and every cell filled.
        default: value of an empty cell or an absent column.
        longest: characters that a cell may hold.
    """

    name: str
    read: Callable[[str], Any]
    required: bool = False
    default: Any = None
    longest: int = LONGEST_CELL


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table, by column name."""

    line: int
    values: Mapping[str, Any]


def text(longest: int = 120) -> Callable[[str], str]:
    """A reader of text of at most so many characters."""

    def read(cell: str) -> str:
        if len(cell) > longest:
            raise ValueError(f"at most {longest} characters")
        if any(ord(character) < 32 for character in cell):
            raise ValueError("text without control characters")
        return cell

    return read


def number(least: float | None = None, *, over: float | None = None) -> Callable[[str], Decimal]:
    """A reader of a decimal number with point or comma, of at least `least`, or over `over`."""
    wanted = "a number"
    if least is not None:
        wanted += f" of at least {least:g}"
    if over is not None:
        wanted += f" over {over:g}"

    def read(cell: str) -> Decimal:
        try:
            value = Decimal(cell.replace(",", "."))
        except InvalidOperation:
            raise ValueError(wanted) from None
        if not value.is_finite() or (least is not None and value < Decimal(str(least))):
            raise ValueError(wanted)
        if over is not None and value <= Decimal(str(over)):
            raise ValueError(wanted)
        return value

    return read


def whole(least: int = 0, most: int = 1_000_000) -> Callable[[str], int]:
    """A reader of a whole number within bounds."""

    def read(cell: str) -> int:
        if not cell.isascii() or not cell.isdigit() or not least <= int(cell) <= most:
            raise ValueError(f"a whole number from {least} to {most}")
        return int(cell)

    return read


def yes_no(cell: str) -> bool:
    """Read yes or no."""
    answers = {"yes": True, "no": False, "y": True, "n": False, "1": True, "0": False}
    try:
        return answers[cell.lower()]
    except KeyError:
        raise ValueError("yes or no") from None


def day(cell: str) -> date:
    """Read a calendar day written YYYY-MM-DD."""
    try:
        return date.fromisoformat(cell)
    except ValueError:
        raise ValueError("a day written YYYY-MM-DD") from None


def clock(cell: str) -> datetime:
    """Read a start: `HH:MM` (on the day named elsewhere, year 1) or `YYYY-MM-DD HH:MM`; no zone."""
    for form in ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%H:%M"):
        try:
            moment = datetime.strptime(cell, form)  # noqa: DTZ007 - the unit's zone is added by the caller
        except ValueError:
            continue
        return moment.replace(year=1) if form == "%H:%M" else moment
    raise ValueError("a time written HH:MM or YYYY-MM-DD HH:MM")


def choice(*options: str) -> Callable[[str], str]:
    """A reader of one of several words."""

    def read(cell: str) -> str:
        if cell.lower() not in options:
            raise ValueError(f"one of {', '.join(options)}")
        return cell.lower()

    return read


def several(cell: str) -> tuple[str, ...]:
    """Read several texts parted by a bar."""
    return tuple(part.strip() for part in cell.split("|") if part.strip())


def read_table(data: bytes, columns: Sequence[Column]) -> tuple[list[Row], list[Fault]]:
    """Rows and faults of a CSV table.

    UTF-8 with or without byte order mark; lines end in LF or CRLF; cells are parted by comma, semicolon
    or tab, whichever the header uses most; the header may be in any order and case. Empty lines are
    passed over.

    Args:
        data: the file.
        columns: what the table may hold.

    Returns:
        The good rows, and a fault for everything that is not good: a row with a fault is not among the rows.
    """
    try:
        content = data.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = data[: wrong.start].count(b"\n") + 1
        return [], [Fault(line, "", data[wrong.start : wrong.end].hex(" "), "text in UTF-8")]
    if "\x00" in content:
        return [], [Fault(content[: content.index("\x00")].count("\n") + 1, "", "a NUL character", "text")]
    try:
        lines = list(_cells(content))
    except csv.Error:
        return [], [Fault(0, "", "a quotation mark that is not closed", "cells with quotation marks in pairs")]
    if not lines:
        return [], [Fault(0, "", "", "a table with a header line")]
    header, faults = _header(lines[0][1], columns)
    if faults:
        return [], faults
    rows: list[Row] = []
    for number_of_line, cells in lines[1:]:
        row = _row(number_of_line, cells, header, columns)
        if isinstance(row, Row):
            rows.append(row)
        else:
            faults.extend(row)
    if not rows and not faults:
        faults.append(Fault(0, "", "a header without rows", "a table with at least one row"))
    return rows, faults


def _cells(content: str) -> Iterator[tuple[int, list[str]]]:
    """Non-empty lines, each with its number and its trimmed cells."""
    first_line = content.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first_line.count)
    reader = csv.reader(io.StringIO(content, newline=""), delimiter=delimiter, strict=True)
    while True:
        before = reader.line_num + 1
        try:
            cells = [cell.strip() for cell in next(reader)]
        except StopIteration:
            return
        if any(cells):
            yield before, cells


def _header(cells: list[str], columns: Sequence[Column]) -> tuple[list[str], list[Fault]]:
    names = [cell.lower() for cell in cells]
    known = [column.name for column in columns]
    faults = [
        Fault(1, name or f"number {index + 1}", cells[index], f"one of the columns {', '.join(known)}")
        for index, name in enumerate(names)
        if name not in known
    ]
    faults += [
        Fault(1, name, "the same column twice", "each column once")
        for name in sorted({n for n in names if names.count(n) > 1})
    ]
    faults += [
        Fault(1, column.name, "", "a column of that name")
        for column in columns
        if column.required and column.name not in names
    ]
    return names, faults


def _row(line: int, cells: list[str], header: list[str], columns: Sequence[Column]) -> Row | list[Fault]:
    if len(cells) > len(header) and any(cells[len(header) :]):
        return [Fault(line, "", f"{len(cells)} cells", f"{len(header)} cells, as in the header")]
    by_name = dict(zip(header, [*cells, *[""] * (len(header) - len(cells))], strict=False))
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for column in columns:
        cell = by_name.get(column.name, "")
        if len(cell) > column.longest:
            faults.append(Fault(line, column.name, cell[:40] + " and so on", f"at most {column.longest} characters"))
        elif cell:
            try:
                values[column.name] = column.read(cell)
            except ValueError as wrong:
                faults.append(Fault(line, column.name, cell, str(wrong)))
        elif column.required:
            faults.append(Fault(line, column.name, "", "filled in"))
        else:
            values[column.name] = column.default
    return faults or Row(line, values)


def write_table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as `read_table` takes it: UTF-8, commas, lines that end in CRLF."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerows([header, *rows])
    return out.getvalue()


FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet would take for the beginning of a formula."""


def plain_cell(words: str) -> str:
    """Text of a table for others that no spreadsheet takes for a formula."""
    return f"'{words}" if words.startswith(FORMULA) else words
