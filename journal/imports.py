"""Importing a table: one transaction, every fault named, a report of what changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from journal.findings import Refused
from journal.tables import Column, Fault, FaultyTable, Row, read_table


@dataclass(slots=True)
class Report:
    """What an import did, or in a dry run would have done.

    Args:
        what: the thing imported, in the plural ("parts").
    """

    what: str
    created: int = 0
    changed: int = 0
    same: int = 0
    faults: list[Fault] = field(default_factory=list)

    def count(self, outcome: str) -> None:
        """Add one row's outcome: created, changed or same."""
        setattr(self, outcome, getattr(self, outcome) + 1)

    @property
    def sentence(self) -> str:
        """The report in one sentence."""
        left = f", {len(self.faults)} not taken" if self.faults else ""
        return f"{self.what}: {self.created} new, {self.changed} changed, {self.same} as before{left}."


def import_table(
    what: str,
    data: bytes,
    columns: Sequence[Column],
    take: Callable[[list[Row]], str],
    *,
    together: str = "",
    dry_run: bool = False,
    keep_good: bool = False,
) -> Report:
    """Read a table and take its rows one by one, or group by group.

    Args:
        what: the thing imported, in the plural.
        data: the file.
        columns: what it may hold.
        take: writes one group and says "created", "changed" or "same"; raises RowFault, FaultyTable or
            Refused for a group that cannot be taken.
        together: rows with the same value in this column are one group; empty = each row is its own.
        dry_run: write nothing.
        keep_good: take the good rows although others have faults; else all or nothing.

    Raises:
        FaultyTable: there are faults and `keep_good` is off; nothing was written.
    """
    rows, faults = read_table(data, columns)
    report = Report(what, faults=list(faults))
    with transaction.atomic():
        for group in _groups(rows, together, faults):
            _take(group, take, report)
        report.faults.sort(key=lambda fault: (fault.line, fault.column))
        if report.faults and not keep_good:
            raise FaultyTable(report.faults)
        if dry_run:
            transaction.set_rollback(True)
    return report


def _groups(rows: Sequence[Row], together: str, faults: Sequence[Fault]) -> Iterable[list[Row]]:
    """Rows in groups, in the order of their first lines.

    With faults in the file no group of several rows is whole for certain, so none is taken.
    """
    if not together:
        return [[row] for row in rows]
    if faults:
        return []
    groups: dict[Any, list[Row]] = {}
    for row in rows:
        groups.setdefault(row.values[together], []).append(row)
    return groups.values()


def _take(group: list[Row], take: Callable[[list[Row]], str], report: Report) -> None:
    try:
        with transaction.atomic():
            report.count(take(group))
    except RowFault as wrong:
        line = wrong.line or group[0].line
        report.faults.append(Fault(line, wrong.column, wrong.found, wrong.expected))
    except FaultyTable as faulty:
        report.faults += faulty.faults
    except Refused as refused:
        report.faults.append(Fault(group[0].line, "", refused.findings[0].sentence, "a row that may be taken"))


class RowFault(Exception):
    """A cell that reads well but does not fit what is in the database or beside it in the row.

    Args:
        column: the cell's column.
        found: its value.
        expected: what should stand there.
        line: its line, where the group has several.
    """

    def __init__(self, column: str, found: object, expected: str, *, line: int = 0) -> None:
        self.column, self.found, self.expected, self.line = column, str(found), expected, line
        super().__init__(f"{column}: {found}; {expected}")
