"""The order of the shelves."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from lists.shelves import shelf_order


def test_numbers_count_by_value_and_letters_whatever_their_case() -> None:
    names = ["Store B, shelf 10", "store b, shelf 2", "Store A", "Store B, shelf 1", "2", "Store A, shelf 1"]
    assert sorted(names, key=shelf_order) == [
        "2",
        "Store A",
        "Store A, shelf 1",
        "Store B, shelf 1",
        "store b, shelf 2",
        "Store B, shelf 10",
    ]


@given(st.text(), st.text(), st.text())
def test_the_order_goes_one_way(first: str, second: str, third: str) -> None:
    low, middle, high = sorted((shelf_order(first), shelf_order(second), shelf_order(third)))
    assert low <= middle <= high
    assert low <= high
