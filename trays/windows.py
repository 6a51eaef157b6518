"""Windows of a series: the planned size with its neighbours."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from journal.findings import Finding, look
from trays.companions import SizeOf


@dataclass(frozen=True, slots=True)
class Window:
    """Sizes round a planned one.

    Args:
        sizes: in the order of their series; the planned size is among them.
        findings: a look for each end at which the series has fewer sizes than were asked for.
    """

    sizes: tuple[SizeOf, ...]
    findings: tuple[Finding, ...]


def window(sizes: Iterable[SizeOf], planned: str, *, below: int = 1, above: int = 1) -> Window:
    """The planned size with so many below and above it, as far as the series reaches.

    Which steps a series has is its own: the neighbour of a size is the next one there is, however far.

    Args:
        sizes: every size of one series, in any order.
        planned: label of the planned size.
        below: how many sizes below it, 0 or more.
        above: how many above it, 0 or more.

    Returns:
        The window; clipped where the series ends, with a finding that says so.

    Raises:
        ValueError: the series has no such size, or a count is below 0.
    """
    if below < 0 or above < 0:
        raise ValueError(f"A window reaches {below} below and {above} above, must be 0 or more.")
    steps = sorted(sizes, key=lambda size: size.order)
    at = next((place for place, size in enumerate(steps) if size.label == planned), None)
    if at is None:
        raise ValueError(f"The series has no size {planned}.")
    found = (("below", below, at), ("above", above, len(steps) - 1 - at))
    clipped = tuple(
        look(
            "window-clipped",
            f"{steps[at].series} {planned}",
            f"The series has {there} of the {wanted} sizes wanted {side} {planned}.",
            "Go on with the sizes that there are.",
        )
        for side, wanted, there in found
        if there < wanted
    )
    return Window(tuple(steps[max(0, at - below) : at + above + 1]), clipped)
