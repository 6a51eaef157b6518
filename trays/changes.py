"""What differs between two versions of a tray's list, in words: one short sentence for each difference."""

from __future__ import annotations

import hashlib
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from trays.companions import CompanionRule
from trays.matching import Alternative, Wanted, WantedLine

FINGERPRINT = 12
"""So many hexadecimal digits tell what a person saw of a list from what it is now."""


def fingerprint(wanted: Wanted) -> str:
    """A short text that is another one when lines, substitutes or rules are others; the weight is left out."""
    return hashlib.sha256(repr((wanted.lines, wanted.rules)).encode()).hexdigest()[:FINGERPRINT]


def changes(before: Wanted, after: Wanted) -> tuple[str, ...]:
    """Each thing of a list that is new, gone, or different.

    Lines are the same when they want the same part. Of lines that stand in another order the fewest are
    named that, put in their place, give the new order (those outside a longest increasing subsequence). The
    limit of weight is a policy of the unit, no part of a list, and is ignored.

    Args:
        before: the version that was worked from.
        after: the version to compare it with.

    Returns:
        A sentence for each difference: new and changed lines in the order of the newer list, lines that
        are gone, lines that moved, rules. Empty when the two want the same.
    """
    return (
        *_lines(before.lines, after.lines),
        *_moves(before.lines, after.lines),
        *_rules(before.rules, after.rules),
    )


def rule_words(rule: CompanionRule) -> str:
    """A series rule as a person says it: “each size of Adult from 7.5 to 8.5: its sheath and its seal”."""
    return f"{_which(rule)}: {_companions(rule)}"


def _which(rule: CompanionRule) -> str:
    if not rule.sizes:
        return f"each barrel of {rule.series_name} on the tray"
    first, last = rule.sizes[0].label, rule.sizes[-1].label
    if first == last:
        return f"size {first} of {rule.series_name}"
    return f"each size of {rule.series_name} from {first} to {last}"


def _companions(rule: CompanionRule) -> str:
    return " and ".join(f"its {kind}" for kind in rule.kinds)


def _lines(before: Iterable[WantedLine], after: Iterable[WantedLine]) -> Iterator[str]:
    old = {line.part_code: line for line in before}
    new = {line.part_code: line for line in after}
    for code, line in new.items():
        yield from _line(old[code], line) if code in old else _new(line)
    for code, line in old.items():
        if code not in new:
            yield f"No longer on the list: {line.quantity} × {line.part_name}."


def _new(line: WantedLine) -> Iterator[str]:
    yield f"New: {line.quantity} × {line.part_name}{'' if line.essential else ', optional'}."
    for other in line.substitutes:
        yield f"{other.part_name} may stand in for {line.part_name}: {other.reason}."


def _line(old: WantedLine, line: WantedLine) -> Iterator[str]:
    if line.quantity != old.quantity:
        yield f"{line.part_name}: {line.quantity} instead of {old.quantity}."
    if line.essential != old.essential:
        yield f"{line.part_name} is {'essential' if line.essential else 'optional'} now."
    yield from _substitutes(line.part_name, old.substitutes, line.substitutes)


def _substitutes(name: str, before: Sequence[Alternative], after: Sequence[Alternative]) -> Iterator[str]:
    old = {other.part_code: other for other in before}
    new = {other.part_code: other for other in after}
    for code, other in new.items():
        if code not in old:
            yield f"{other.part_name} may stand in for {name}: {other.reason}."
        elif other.reason != old[code].reason:
            yield f"{other.part_name} stands in for {name} for another reason: {other.reason}."
    for code, other in old.items():
        if code not in new:
            yield f"{other.part_name} may no longer stand in for {name}."
    if [code for code in old if code in new] != [code for code in new if code in old]:
        liked = ", then ".join(other.part_name for other in after)
        yield f"Instead of {name} take first {liked}."


def _moves(before: Sequence[WantedLine], after: Sequence[WantedLine]) -> Iterator[str]:
    was = {line.part_code: place for place, line in enumerate(before)}
    kept = [line.part_code for line in after if line.part_code in was]
    stay = {kept[place] for place in _longest_increasing([was[code] for code in kept])}
    for place, line in enumerate(after):
        if line.part_code in was and line.part_code not in stay:
            where = f"after {after[place - 1].part_name}" if place else "first"
            yield f"{line.part_name} is packed {where} now."


def _longest_increasing(values: Sequence[int]) -> list[int]:
    """Places of a longest increasing subsequence of different whole numbers."""
    ends: list[int] = []
    places: list[int] = []
    before: list[int | None] = []
    for place, value in enumerate(values):
        length = bisect_left(ends, value)
        before.append(places[length - 1] if length else None)
        ends[length : length + 1] = [value]
        places[length : length + 1] = [place]
    found: list[int] = []
    at = places[-1] if places else None
    while at is not None:
        found.append(at)
        at = before[at]
    return found


def _rules(before: Iterable[CompanionRule], after: Iterable[CompanionRule]) -> Iterator[str]:
    old = {rule.series: rule for rule in before}
    new = {rule.series: rule for rule in after}
    for series, rule in new.items():
        if series not in old:
            yield f"New rule: {rule_words(rule)}."
        elif rule != old[series]:
            yield f"Rule of {rule.series_name}: {rule_words(rule)}; before, {rule_words(old[series])}."
    for series, rule in old.items():
        if series not in new:
            yield f"No longer a rule: {rule_words(rule)}."
