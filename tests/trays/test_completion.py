"""Which trays to complete, and with what."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from tests.trays.completing import Question, best, check, measures, unit
from trays import completion
from trays.completion import Completion, CountedTray, Demand, Gap, Placement, complete_trays

ONE = {"T": Demand(1)}


def lacks(*parts: str, template: str = "T", gives: str = "") -> CountedTray:
    """A tray that lacks these parts, each gap with what it accepts ("AB": an A, or else a B), and may give those."""
    gaps = tuple(Gap(slot, tuple(accepts)) for slot, accepts in enumerate(parts))
    return CountedTray(template, gaps, {part: gives.count(part) for part in gives})


def solved(trays: list[CountedTray], spare: str = "", demands: dict[str, Demand] = ONE) -> Completion:
    question = Question(trays, {part: spare.count(part) for part in spare}, demands)
    found = complete_trays(*question, longest_s=60)
    check(question, found)
    assert found.proven
    return found


# Against enumeration

small = st.sampled_from("ABCD")
gaps_of = st.lists(st.lists(small, max_size=3).map("".join), max_size=2)
tiny_tray = st.builds(
    lambda gaps, template, gives: lacks(*gaps, template=template, gives=gives),
    gaps_of,
    st.sampled_from("TU"),
    st.text("ABCD", max_size=3),
)
tiny = st.builds(
    Question,
    st.lists(tiny_tray, max_size=6),
    st.dictionaries(small, st.integers(0, 2)),
    st.dictionaries(
        st.sampled_from("TU"),
        st.builds(Demand, st.integers(0, 4), st.one_of(st.integers(0, 3), st.sampled_from([0.001, 1.5, 2.375, 1000]))),
    ),
)


@settings(max_examples=100, deadline=None)
@given(tiny)
def test_nothing_is_better_than_the_answer(question: Question) -> None:
    """Every choice of trays, filled by an assignment of scipy's: the same on all four measures."""
    found = complete_trays(*question, longest_s=60)
    check(question, found)
    assert found.proven
    assert measures(question, found) == best(question)


@pytest.mark.parametrize("seed", range(40))
def test_nothing_is_better_for_a_small_unit(seed: int) -> None:
    """The like for trays that hold what their templates list."""
    question = unit(seed, trays=8, slots=5, parts=8, templates=3, missing=0.3, shelf=0.3, wanted=0.7)
    found = complete_trays(*question, longest_s=60)
    check(question, found)
    assert measures(question, found) == best(question)


@pytest.mark.parametrize("seed", range(3))
def test_a_hundred_trays_get_an_answer_that_can_be_carried_out(seed: int) -> None:
    question = unit(seed, trays=100, slots=20, parts=80, templates=6, missing=0.05, shelf=0.2, wanted=0.8)
    found = complete_trays(*question, longest_s=60)
    check(question, found)
    assert found.proven
    assert found.moves > 0
    assert found == complete_trays(*question, longest_s=60)


# In what order


def test_weight_comes_before_moves() -> None:
    found = solved([lacks("A"), lacks("A", "A", template="U")], "AA", {"T": Demand(1, 2), "U": Demand(1, 2.5)})
    assert (found.weight, found.complete, found.moves) == (2.5, (1,), 2)


def test_of_equal_weight_the_fewer_moves() -> None:
    assert solved([lacks("A", "B"), lacks("C")], "ABC").complete == (1,)


def test_the_shelf_comes_before_trays_even_with_a_substitute() -> None:
    trays = [lacks("AB"), lacks("Z", template="U", gives="A")]
    assert solved(trays, "B").placements == (Placement(0, 0, "B", None),)
    assert solved(trays).placements == (Placement(0, 0, "A", 1),)


def test_the_own_part_comes_before_a_substitute() -> None:
    assert solved([lacks("AB")], "AB").placements == (Placement(0, 0, "A", None),)


def test_a_part_goes_where_nothing_else_would_do() -> None:
    found = solved([lacks("AB", "A")], "AB")
    assert found.placements == (Placement(0, 0, "B", None), Placement(0, 1, "A", None))


def test_of_trays_that_are_alike_the_earlier_is_completed() -> None:
    assert solved([lacks("A"), lacks("A"), lacks("A")], "AA", {"T": Demand(2)}).complete == (0, 1)


def test_the_own_part_and_the_shelf_serve_the_earlier_tray() -> None:
    trays = [lacks("AB"), lacks("AB"), lacks("AB"), lacks("Z", template="U", gives="B")]
    assert solved(trays, "AB", {"T": Demand(3)}).placements == (
        Placement(0, 0, "A", None),
        Placement(1, 0, "B", None),
        Placement(2, 0, "B", 3),
    )


def test_slots_are_filled_in_order_however_they_are_given() -> None:
    tray = CountedTray("T", (Gap(7, ("A", "B")), Gap(2, ("A", "B"))))
    assert solved([tray], "AB").placements == (Placement(0, 2, "A", None), Placement(0, 7, "B", None))


def test_the_tray_that_lacks_most_gives_first_then_the_earlier() -> None:
    one, two = lacks("Z", template="U", gives="A"), lacks("Z", "Z", template="U", gives="A")
    trays = [lacks("A", "A", "A", "A"), one, two, two, one]
    assert [move.donor for move in solved(trays).placements] == [2, 3, 1, 4]


# Who gives


def test_a_complete_tray_counts_as_needed_and_gives_nothing() -> None:
    ready = lacks(gives="A")
    assert solved([ready, lacks("A")]).complete == ()
    assert solved([ready, lacks("A")], "", {"T": Demand(2)}).complete == ()
    assert solved([ready, lacks("A")], "A", {"T": Demand(2)}).complete == (1,)


def test_a_tray_that_is_completed_gives_nothing() -> None:
    trays = [lacks("A", gives="B"), lacks("B", gives="A")]
    assert solved(trays, "", {"T": Demand(2)}).moves == 1


def test_a_needed_tray_gives_when_it_is_not_completed() -> None:
    found = solved(
        [lacks("A", gives="B"), lacks("B", template="U", gives="A")], "", {"T": Demand(1), "U": Demand(1, 5)}
    )
    assert (found.weight, found.placements) == (5, (Placement(1, 0, "B", 0),))


def test_nothing_fills_a_gap_that_accepts_nothing() -> None:
    """So it is with a piece of a closed set."""
    assert solved([lacks("A", "")], "AB").complete == ()
    assert solved([lacks("")], "AB").complete == ()


def test_a_part_that_is_named_twice_counts_once() -> None:
    found = solved([lacks("ABA", "BB")], "AB")
    assert [move.part for move in found.placements] == ["A", "B"]
    assert Gap(1, ("A", "B", "A")) == Gap(1, ("A", "B"))


# What is worth completing


@pytest.mark.parametrize("demands", [{}, {"U": Demand(1)}, {"T": Demand(0)}, {"T": Demand(1, 0)}])
def test_what_nobody_needs_is_not_completed(demands: dict[str, Demand]) -> None:
    assert solved([lacks("A")], "A", demands) == Completion(0, (), (), proven=True)


def test_no_more_than_is_needed() -> None:
    assert (
        solved([lacks("A"), lacks("B"), lacks("A", template="U")], "AAB", {"T": Demand(1), "U": Demand(9)}).weight == 2
    )


def test_weights_are_told_apart_to_the_last_decimal() -> None:
    demands = {"T": Demand(1, 999.999), "U": Demand(1, 1000)}
    assert solved([lacks("A"), lacks("A", "B", template="U")], "AB", demands).weight == 1000


# When time does not suffice


def test_without_time_the_answer_is_marked_and_can_still_be_carried_out() -> None:
    question = unit(1, trays=300, slots=20, parts=100, templates=10, missing=0.1, shelf=0, wanted=1)
    found = complete_trays(*question, longest_s=0)
    check(question, found)
    assert not found.proven


def test_counts_that_are_not_whole_or_break_a_row_are_refused() -> None:
    row = csr_array(np.array([[1.0, 2.0]]))
    assert completion._whole(np.array([1 + 1e-7, 2.0]), row, (0,), (5,)) == [1, 2]
    for counts in ([0.5, 1.0], [1.0, 3.0], [-1.0, 0.0]):
        with pytest.raises(ArithmeticError, match="not whole numbers"):
            completion._whole(np.array(counts), row, (0,), (5,))


# What is refused


def test_figures_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="share a slot"):
        CountedTray("T", (Gap(1, ("A",)), Gap(1, ("B",))))
    with pytest.raises(ValueError, match="A tray gives -1 of A, must be 0 or more"):
        CountedTray("T", (), {"A": -1})
    with pytest.raises(ValueError, match="The shelf holds -2 of B, must be 0 or more"):
        complete_trays([], {"A": 1, "B": -2}, {}, longest_s=1)
    with pytest.raises(ValueError, match="-1 are needed"):
        Demand(-1)


@pytest.mark.parametrize("weight", [-0.001, 1000.001, 0.0001, math.nan, math.inf])
def test_a_weight_out_of_range_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="A weight is"):
        Demand(1, weight)
