"""Published values as rows of a table, and whether a formula's answer agrees with one. Pure.

Each row of the table is one check: which formula, its input, what a source outside the product says, and how far the
answer may lie from it. A further check is a further row; only a further formula needs code.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

COLUMNS = ("formula", "input", "expected", "tolerance", "unit", "source", "verified")
PERCENT = "%"


class Verified(StrEnum):
    """How the published value is known."""

    PUBLISHED = "published"
    SECOND_HAND = "second-hand"
    COMPUTED = "computed from the definition"
    MEMORY = "from memory"


class Verdict(StrEnum):
    """What came of a check."""

    AGREES = "agrees"
    DIFFERS = "differs"


def plain(value: object) -> str:
    """A value as it is read: a number to nine figures, a list in a row."""
    if isinstance(value, list):
        return " ".join(plain(one) for one in value) or "none"
    if isinstance(value, float):
        return f"{value:.9g}"
    return str(value) or "(empty)"


@dataclass(frozen=True, slots=True)
class Value:
    """A published value.

    Args:
        formula: name of the formula that is to give it.
        given: the formula's input by name.
        expected: what the source says: a number, or a text.
        tolerance: how far from it the answer may lie: "0.005", "0.1 %", or empty for exactly this.
        unit: of the answer; empty for a text or a ratio.
        source: where the value stands, in words.
        verified: how it is known.

    Raises:
        ValueError: no source, an input without names, a tolerance that is none, or one for a text.
    """

    formula: str
    given: dict[str, Any]
    expected: float | str
    tolerance: str
    unit: str
    source: str
    verified: Verified

    def __post_init__(self) -> None:
        if not self.source:
            raise ValueError("a value needs the source that it was taken from")
        if not isinstance(self.given, dict):
            raise ValueError("the input is no JSON object")  # noqa: TRY004 - of a table, not of a caller
        if self.tolerance and isinstance(self.expected, str):
            raise ValueError(f'"{self.expected}" is a text and can have no tolerance')
        if not self.margin >= 0 or math.isinf(self.margin):
            raise ValueError(f'the tolerance "{self.tolerance}" is no number of 0 or more')

    @property
    def wanted(self) -> str:
        """The published value, as a line of the report."""
        return plain(self.expected)

    @property
    def margin(self) -> float:
        """The tolerance in the unit of the value."""
        if not self.tolerance:
            return 0.0
        figure = self.tolerance.removesuffix(PERCENT).strip()
        try:
            number = float(figure)
        except ValueError:
            return math.nan
        is_share = self.tolerance.endswith(PERCENT)
        return number / 100 * abs(float(self.expected)) if is_share else number

    @property
    def words(self) -> str:
        """The input as a line of the report."""
        return ", ".join(f"{name.replace('_', ' ')} {plain(given)}" for name, given in self.given.items())

    @property
    def from_memory(self) -> bool:
        """Whether nobody could look the value up."""
        return self.verified is Verified.MEMORY


@dataclass(frozen=True, slots=True)
class Outcome:
    """A value with what the formula gave, and whether that agrees.

    Args:
        value: the published value.
        got: the answer, or the sentence with which the formula refused.
        verdict: whether it agrees.
    """

    value: Value
    got: float | str
    verdict: Verdict

    @property
    def answer(self) -> str:
        """What the formula gave, as a line of the report."""
        return plain(self.got)

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        value = self.value
        return {
            "formula": value.formula,
            "input": value.given,
            "expected": value.expected,
            "got": self.got,
            "tolerance": value.tolerance,
            "unit": value.unit,
            "verdict": str(self.verdict),
            "source": value.source,
            "verified": str(value.verified),
        }


def read_values(text: str, formulas: Collection[str]) -> tuple[Value, ...]:
    """The rows of a table of published values.

    Args:
        text: CSV with the columns of COLUMNS; `input` is a JSON object. A text is expected where the expected value
            is no number.
        formulas: the names that are known.

    Returns:
        A value per row, in their order.

    Raises:
        ValueError: a column lacks, or a row cannot be read; the message names the row.
    """
    rows = csv.DictReader(io.StringIO(text))
    lacking = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if lacking:
        raise ValueError(f"Cannot read the values: the column {lacking[0]} is not there, must be.")
    return tuple(_read(number, row, formulas) for number, row in enumerate(rows, start=2))


def _read(number: int, row: dict[str, str | None], formulas: Collection[str]) -> Value:
    formula, given, expected, tolerance, unit, source, verified = (str(row[name] or "").strip() for name in COLUMNS)
    try:
        value = Value(formula, json.loads(given), _number(expected), tolerance, unit, source, Verified(verified))
    except ValueError as fault:
        raise ValueError(f"Cannot read line {number} of the values: {fault}.") from fault
    if formula not in formulas:
        raise ValueError(f"Cannot read line {number} of the values: there is no formula {formula}.")
    return value


def _number(text: str) -> float | str:
    """A text stays one that is written in quotation marks, or that is no number."""
    if text.startswith('"'):
        return text.strip('"')
    try:
        return float(text)
    except ValueError:
        return text


def check(value: Value, run: Callable[..., float | str]) -> Outcome:
    """Compute a value anew and compare.

    Args:
        value: what is expected.
        run: the formula; called with the input by name.

    Returns:
        The outcome; a formula that refuses its input differs, with its sentence as the answer.
    """
    try:
        got = run(**value.given)
    except (ValueError, TypeError) as refusal:
        return Outcome(value, f"refused: {refusal}", Verdict.DIFFERS)
    return Outcome(value, got, Verdict.AGREES if _agrees(value, got) else Verdict.DIFFERS)


def _agrees(value: Value, got: float | str) -> bool:
    if isinstance(got, str) or isinstance(value.expected, str):
        return got == value.expected
    return abs(got - value.expected) <= value.margin


def differing(outcomes: Collection[Outcome]) -> Iterator[Outcome]:
    """Those that do not agree."""
    return (outcome for outcome in outcomes if outcome.verdict is Verdict.DIFFERS)
