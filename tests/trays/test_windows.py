"""The planned size with its neighbours."""

from __future__ import annotations

import pytest

from journal.findings import Severity
from tests.trays.counting import FIVE, FIVE_HALF, SIX
from trays.companions import SizeOf
from trays.windows import window

SERIES = (SIX, FIVE, FIVE_HALF)


@pytest.mark.parametrize(
    ("planned", "below", "above", "sizes", "ends"),
    [
        ("5.5", 1, 1, (FIVE, FIVE_HALF, SIX), []),
        ("5.0", 1, 1, (FIVE, FIVE_HALF), ["has 0 of the 1 sizes wanted below 5.0"]),
        ("6.0", 1, 1, (FIVE_HALF, SIX), ["has 0 of the 1 sizes wanted above 6.0"]),
        ("5.5", 0, 0, (FIVE_HALF,), []),
        (
            "5.5",
            2,
            3,
            (FIVE, FIVE_HALF, SIX),
            ["has 1 of the 2 sizes wanted below", "has 1 of the 3 sizes wanted above"],
        ),
    ],
)
def test_a_window_reaches_as_far_as_the_series(
    planned: str, below: int, above: int, sizes: tuple[SizeOf, ...], ends: list[str]
) -> None:
    found = window(SERIES, planned, below=below, above=above)
    assert found.sizes == sizes
    assert len(found.findings) == len(ends)
    for finding, words in zip(found.findings, ends, strict=True):
        assert (finding.slug, finding.severity, finding.subject) == ("window-clipped", Severity.LOOK, f"A {planned}")
        assert words in finding.sentence


def test_the_neighbour_is_the_next_size_there_is() -> None:
    far = SizeOf("A", 9, "8.0")
    assert window((FIVE, far), "5.0").sizes == (FIVE, far)


@pytest.mark.parametrize(("planned", "below", "above"), [("7.0", 1, 1), ("5.0", -1, 1), ("5.0", 1, -1)])
def test_malformed_windows_are_refused(planned: str, below: int, above: int) -> None:
    with pytest.raises(ValueError, match=r"size 7\.0|must be 0 or more"):
        window(SERIES, planned, below=below, above=above)
