"""Which piece serves which line."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from trays.assignment import assign

# Assignment against a reference solver


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.dictionaries(st.sampled_from("ABCDE"), st.integers(0, 3), max_size=3), max_size=6),
    st.lists(st.sampled_from("ABCDE"), max_size=7),
)
def test_assignment_is_optimal(slots: list[dict[str, int]], parts: list[str]) -> None:
    """The same total as scipy's linear_sum_assignment, where an earlier slot outweighs all later ones."""
    serves = assign(slots, parts)
    assert all(parts[piece] in slots[slot] for piece, slot in serves.items())
    assert len(set(serves.values())) == len(serves)
    empty = [100 * 2 ** (len(slots) - slot) for slot in range(len(slots))]
    unfit = 10**6
    costs = np.full((len(slots), len(parts) + len(slots)), unfit)
    for slot, ranks in enumerate(slots):
        costs[slot, len(parts) + slot] = empty[slot]
        for piece, part in enumerate(parts):
            costs[slot, piece] = ranks.get(part, unfit)
    rows, columns = linear_sum_assignment(costs)
    served = sum(slots[slot][parts[piece]] for piece, slot in serves.items())
    ours = served + sum(cost for slot, cost in enumerate(empty) if slot not in serves.values())
    assert ours == costs[rows, columns].sum()
