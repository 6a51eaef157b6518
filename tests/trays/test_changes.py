"""What differs between two versions of a list, in words."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trays.counting import FIVE, FIVE_HALF, RULE, SIX, line
from trays.changes import changes, fingerprint, rule_words
from trays.companions import CompanionRule
from trays.matching import Alternative, Wanted, WantedLine

FORCEPS = line(1, "F")
ONE_BY_ONE = "each barrel of Adult on the tray: its sheath and its seal."
RANGE = CompanionRule("A", "Adult", (FIVE, FIVE_HALF, SIX))


def listed(*lines: WantedLine, rules: tuple[CompanionRule, ...] = ()) -> Wanted:
    return Wanted(lines, rules, 10_000)


def liked(*reasons: tuple[str, str]) -> WantedLine:
    """A line with substitutes, each with its reason."""
    return replace(FORCEPS, substitutes=tuple(Alternative(code, f"Part {code}", reason) for code, reason in reasons))


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ([FORCEPS], [FORCEPS], ()),
        ([FORCEPS], [line(7, "F")], ()),  # another number, the same order
        ([FORCEPS], [line(1, "F", 2)], ("Part F: 2 instead of 1.",)),
        ([FORCEPS], [line(1, "F", essential=False)], ("Part F is optional now.",)),
        ([line(1, "F", essential=False)], [FORCEPS], ("Part F is essential now.",)),
        ([FORCEPS], [FORCEPS, line(2, "L", 3)], ("New: 3 × Part L.",)),
        ([], [line(2, "L", essential=False)], ("New: 1 × Part L, optional.",)),
        ([FORCEPS], [line(1, "L")], ("New: 1 × Part L.", "No longer on the list: 1 × Part F.")),
        ([FORCEPS], [], ("No longer on the list: 1 × Part F.",)),
        ([], [liked(("G", "as good"))], ("New: 1 × Part F.", "Part G may stand in for Part F: as good.")),
        ([FORCEPS], [liked(("G", "as good"))], ("Part G may stand in for Part F: as good.",)),
        ([liked(("G", "as good"))], [FORCEPS], ("Part G may no longer stand in for Part F.",)),
        (
            [liked(("G", "as good"))],
            [liked(("G", "smaller"))],
            ("Part G stands in for Part F for another reason: smaller.",),
        ),
        (
            [liked(("G", "a"), ("H", "b"))],
            [liked(("H", "b"), ("G", "a"))],
            ("Instead of Part F take first Part H, then Part G.",),
        ),
    ],
)
def test_each_difference_of_the_lines_is_one_sentence(
    before: list[WantedLine], after: list[WantedLine], said: tuple[str, ...]
) -> None:
    assert changes(listed(*before), listed(*after)) == said


def test_the_fewest_lines_are_said_to_have_moved() -> None:
    before = listed(line(1, "A"), line(2, "B"), line(3, "C"), line(4, "D"))
    assert changes(before, listed(line(1, "D"), line(2, "A"), line(3, "B"), line(4, "C"))) == (
        "Part D is packed first now.",
    )
    assert changes(before, listed(line(1, "B"), line(2, "C"), line(3, "A"), line(4, "D"))) == (
        "Part A is packed after Part C now.",
    )


@given(st.permutations("ABCDEF"))
def test_every_other_order_is_told_in_as_few_moves_as_can_be(order: list[str]) -> None:
    """By brute force: what stays is a longest selection of lines that keeps its order."""
    before = listed(*(line(place, code) for place, code in enumerate("ABCDEF", start=1)))
    said = changes(before, listed(*(line(place, code) for place, code in enumerate(order, start=1))))
    longest = next(
        length
        for length in range(6, 0, -1)
        if any("".join(sorted(some)) == "".join(some) for some in _selections(order, length))
    )
    assert len(said) == 6 - longest


def _selections(order: list[str], length: int) -> set[tuple[str, ...]]:
    return {
        some
        for some in permutations(order, length)
        if [order.index(code) for code in some] == sorted(map(order.index, some))
    }


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((), (RULE,), "New rule: each barrel of Adult on the tray: its sheath and its seal."),
        ((RULE,), (), "No longer a rule: each barrel of Adult on the tray: its sheath and its seal."),
        (
            (RULE,),
            (replace(RULE, sizes=(FIVE,), wants_seal=False),),
            "Rule of Adult: size 5.0 of Adult: its sheath; before, " + ONE_BY_ONE,
        ),
    ],
)
def test_each_difference_of_the_rules_is_one_sentence(
    before: tuple[CompanionRule, ...], after: tuple[CompanionRule, ...], said: str
) -> None:
    assert changes(listed(rules=before), listed(rules=after)) == (said,)
    assert changes(listed(rules=after), listed(rules=after)) == ()


def test_a_rule_in_words() -> None:
    assert rule_words(RANGE) == "each size of Adult from 5.0 to 6.0: its sheath and its seal"


def test_a_fingerprint_is_another_when_the_list_is() -> None:
    one = listed(FORCEPS, rules=(RULE,))
    assert fingerprint(one) == fingerprint(replace(one, mass_limit_g=5))
    others = [listed(FORCEPS), listed(FORCEPS, rules=(RANGE,)), listed(liked(("G", "as good")), rules=(RULE,))]
    assert len({fingerprint(wanted) for wanted in (one, *others)}) == 4
