"""Published values as rows, and when an answer agrees with one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from config.validation.formulas import FORMULAS
from config.validation.report import VALUES
from config.validation.values import Outcome, Value, Verdict, Verified, check, differing, plain, read_values

HEAD = "formula,input,expected,tolerance,unit,source,verified\n"
TWICE: dict[str, Callable[..., float | str]] = {"twice": lambda of: of * 2}


def value(expected: float | str = 4.0, tolerance: str = "", of: object = 2.0) -> Value:
    return Value("twice", {"of": of}, expected, tolerance, "", "Multiplication table", Verified.COMPUTED)


def verdict(row: Value) -> Verdict:
    return check(row, TWICE["twice"]).verdict


@pytest.mark.parametrize("name", sorted(FORMULAS))
def test_each_formula_has_a_published_value(name: str) -> None:
    rows = read_values(VALUES.read_text(encoding="utf-8"), FORMULAS)
    assert [row for row in rows if row.formula == name]


@pytest.mark.parametrize("row", read_values(VALUES.read_text(encoding="utf-8"), FORMULAS), ids=lambda row: row.formula)
def test_each_published_value_is_met(row: Value) -> None:
    """The sources stand in the rows."""
    assert check(row, FORMULAS[row.formula].run).verdict is Verdict.AGREES


def test_a_wrong_number_in_any_row_is_found() -> None:
    """A row whose expectation is moved by 2 % of itself, or a text by one character, differs."""
    for row in read_values(VALUES.read_text(encoding="utf-8"), FORMULAS):
        wrong = row.expected * 1.02 + 1e-12 if isinstance(row.expected, float) else row.expected + "0"
        assert check(replace(row, expected=wrong), FORMULAS[row.formula].run).verdict is Verdict.DIFFERS


@pytest.mark.parametrize(
    ("expected", "tolerance", "agrees"),
    [
        (4.0, "", True),
        (4.001, "", False),
        (4.25, "0.25", True),
        (4.25, "0.2", False),
        (4.04, "1.1 %", True),
        (4.04, "0.9%", False),
        (-4.0, "1 %", False),
        ("4", "", False),
    ],
)
def test_tolerances(expected: float | str, tolerance: str, *, agrees: bool) -> None:
    assert (verdict(value(expected, tolerance)) is Verdict.AGREES) is agrees


def test_texts_are_compared_to_the_letter() -> None:
    assert verdict(value("abab", of="ab")) is Verdict.AGREES
    assert verdict(value("abaB", of="ab")) is Verdict.DIFFERS
    assert verdict(value(4.0, "1", of="ab")) is Verdict.DIFFERS


def test_a_formula_that_refuses_differs_and_says_why() -> None:
    outcome = check(replace(value(), formula="french", given={"french": -1}), FORMULAS["french"].run)
    assert outcome.verdict is Verdict.DIFFERS
    assert outcome.answer.startswith("refused: ")
    assert list(differing([outcome, check(value(), TWICE["twice"])])) == [outcome]
    unknown_input = check(replace(value(), given={"nothing": 1}), TWICE["twice"])
    assert "unexpected keyword" in unknown_input.answer


def test_an_outcome_as_plain_values() -> None:
    row = value("yes")
    assert Outcome(row, 4.0, Verdict.DIFFERS).as_dict() == {
        "formula": "twice",
        "input": {"of": 2.0},
        "expected": "yes",
        "got": 4.0,
        "tolerance": "",
        "unit": "",
        "verdict": "differs",
        "source": "Multiplication table",
        "verified": "computed from the definition",
    }


def test_how_values_are_read() -> None:
    rows = read_values(
        HEAD + 'twice,"{""of"": 2}",4,,,Table,from memory\ntwice,"{""of"": ""2""}","""22""",,,Table,published\n'
        'twice,"{""of"": ""a""}",aa,,,Table,published\n',
        TWICE,
    )
    assert [row.expected for row in rows] == [4.0, "22", "aa"]
    assert [row.from_memory for row in rows] == [True, False, False]
    assert rows[0].words == "of 2"
    assert rows[0].wanted == "4"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ('thrice,"{""of"": 2}",4,,,Table,published', "line 2 of the values: there is no formula thrice."),
        ("twice,[2],4,,,Table,published", "the input is no JSON object"),
        ("twice,{,4,,,Table,published", "line 2"),
        ('twice,"{""of"": 2}",4,,,,published', "needs the source"),
        ('twice,"{""of"": 2}",4,,,Table,certain', "'certain' is not a valid Verified"),
        ('twice,"{""of"": 2}",4,about,,Table,published', 'the tolerance "about" is no number'),
        ('twice,"{""of"": 2}",4,-1,,Table,published', 'the tolerance "-1" is no number'),
        ('twice,"{""of"": 2}",4,inf,,Table,published', 'the tolerance "inf" is no number'),
        ('twice,"{""of"": 2}",four,1,,Table,published', '"four" is a text and can have no tolerance'),
    ],
)
def test_what_cannot_be_read_is_named(row: str, says: str) -> None:
    with pytest.raises(ValueError, match="Cannot read line 2 of the values") as refusal:
        read_values(f"{HEAD}{row}\n", TWICE)
    assert says in str(refusal.value)


def test_a_table_without_a_column() -> None:
    with pytest.raises(ValueError, match="the column tolerance is not there"):
        read_values("formula,input,expected,unit,source,verified\n", TWICE)


def test_values_as_they_are_read_by_a_person() -> None:
    assert [plain(one) for one in (0.1 + 0.2, 3, [1, 2.5], [], "", "a")] == [
        "0.3",
        "3",
        "1 2.5",
        "none",
        "(empty)",
        "a",
    ]
