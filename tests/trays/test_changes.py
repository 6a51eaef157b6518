"""What changed between two versions of a list, in words."""

from __future__ import annotations

import pytest

from tests.trays.counting import line
from trays.changes import changed_lines
from trays.matching import WantedLine

FORCEPS = line(1, "F")


@pytest.mark.parametrize(
    ("after", "said"),
    [
        ([FORCEPS], ()),
        ([line(7, "F")], ()),  # another place on the list
        ([line(1, "F", 2)], ("2 × Part F instead of 1",)),
        ([line(1, "F", essential=False)], ("Part F is optional now",)),
        ([line(1, "F", 1, "G")], ("other substitutes for Part F",)),
        ([FORCEPS, line(2, "L", 3)], ("new: 3 × Part L",)),
        ([line(1, "L")], ("new: 1 × Part L", "no longer 1 × Part F")),
        ([], ("no longer 1 × Part F",)),
    ],
)
def test_each_change_is_said_once(after: list[WantedLine], said: tuple[str, ...]) -> None:
    assert changed_lines([FORCEPS], after) == said


def test_what_was_optional_is_essential_now() -> None:
    assert changed_lines([line(1, "F", essential=False)], [FORCEPS]) == ("Part F is essential now",)
