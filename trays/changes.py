"""What changed between two versions of a tray's list, in words for the person who works from the older one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from trays.matching import WantedLine


def changed_lines(before: Iterable[WantedLine], after: Iterable[WantedLine]) -> tuple[str, ...]:
    """Each line that is new, gone, or wants something else.

    Lines are the same when they want the same part; another place on the list is no change. It ignores the
    rules of companions and the weight.

    Args:
        before: the lines that were worked from.
        after: the lines in force.

    Returns:
        One clause for each change, in the order of the list in force, what is gone last.
    """
    old = {line.part_code: line for line in before}
    new = {line.part_code: line for line in after}
    clauses = [clause for code, line in new.items() for clause in _changes(old.get(code), line)]
    gone = [f"no longer {line.quantity} × {line.part_name}" for code, line in old.items() if code not in new]
    return (*clauses, *gone)


def _changes(old: WantedLine | None, line: WantedLine) -> Iterator[str]:
    if old is None:
        yield f"new: {line.quantity} × {line.part_name}"
        return
    if line.quantity != old.quantity:
        yield f"{line.quantity} × {line.part_name} instead of {old.quantity}"
    if line.essential != old.essential:
        yield f"{line.part_name} is {'essential' if line.essential else 'optional'} now"
    if line.substitutes != old.substitutes:
        yield f"other substitutes for {line.part_name}"
