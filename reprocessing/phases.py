"""The record of a low-temperature cycle: one row for each quantity of each phase, as its machine printed it."""

from __future__ import annotations

import csv
import io

from journal.documents import quoted
from reprocessing.limits import PhaseReading

COLUMNS = ("phase", "quantity", "unit", "value")


def read_phases(content: str) -> tuple[PhaseReading, ...]:
    """Read a record of phases.

    Args:
        content: CSV with the columns phase, quantity, unit and value, comma between them and decimal point.

    Returns:
        The readings in the order of the record.

    Raises:
        ValueError: columns are missing, a row is too short, a value is no finite number, or there is no row;
            the sentence names line and value.
    """
    rows = csv.DictReader(io.StringIO(content.removeprefix("\ufeff")), skipinitialspace=True)
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise ValueError(f"Cannot read the record of phases: it lacks the columns {', '.join(missing)}.")
    readings = tuple(_reading(rows.line_num, row) for row in rows)
    if not readings:
        raise ValueError("Cannot read the record of phases: it has no row, must have one for each phase.")
    return readings


def _reading(line: int, row: dict[str, str | None]) -> PhaseReading:
    phase, quantity, unit, value = ((row[name] or "").strip() for name in COLUMNS)
    if not (phase and quantity and unit):
        raise ValueError(f"Cannot read line {line}: it must name a phase, a quantity and a unit.")
    try:
        return PhaseReading(phase, quantity, unit, float(value))
    except ValueError:
        raise ValueError(f"Cannot read line {line}: its value is {quoted(value)}, must be a finite number.") from None
