"""What a plan says otherwise than the one before it, and what has happened in between."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from lists.plans.day_plan import DayPlan, PlannedCaseRow


def changed(before: DayPlan | None, after: DayPlan) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What a plan says otherwise than the one before it, and what has happened in between, each in sentences."""
    if before is None:
        return (), ()
    return tuple(_outcomes(before.cases, after.cases)), tuple(_happened(before.result["facts"], after.result["facts"]))


def _outcomes(before: Sequence[PlannedCaseRow], after: Sequence[PlannedCaseRow]) -> Iterable[str]:
    was = {case.code: case for case in before}
    for case in after:
        old = was.pop(case.code, None)
        word = "on time" if case.on_time else "late"
        if old is None:
            yield f"Case {case.code} is new in the plan: {word}."
            continue
        if old.on_time != case.on_time:
            yield f"Case {case.code} is {word}; it was {'on time' if old.on_time else 'late'}."
        gets, had = (sorted(tray.code for tray in one.trays if tray.code) for one in (case, old))
        if gets != had:
            yield f"Case {case.code} gets {', '.join(gets) or 'no tray'}; it was to get {', '.join(had) or 'none'}."
    for code in was:
        yield f"Case {code} is no longer in the plan."


def _happened(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterable[str]:
    for kind, word in (("cases", "Case"), ("trays", "Tray"), ("machines", "Machine")):
        old, new = before[kind], after[kind]
        for code in sorted({*old, *new}):
            if code not in new:
                yield f"{word} {code} is not there any more."
            elif code not in old:
                yield f"{word} {code} has come."
            elif old[code] != new[code]:
                differ = [
                    _difference(name, old[code].get(name), value)
                    for name, value in new[code].items()
                    if name != "stage" and value != old[code].get(name)  # where it is says that too
                ]
                yield f"{word} {code}: {', '.join(differ)}."
    for name, value in after["numbers"].items():
        if before["numbers"].get(name) != value:
            yield f"{_spoken(name).capitalize()} is {value}, was {before['numbers'].get(name)}."


def _difference(name: str, old: Any, new: Any) -> str:
    if isinstance(new, str) and name in ("where", "procedure", "theatre") and old:
        return f"{new}, was {old}"
    if isinstance(new, int) and not isinstance(new, bool):
        return f"{_spoken(name)} {new}, was {old}"
    return f"{_spoken(name)} changed"


def _spoken(name: str) -> str:
    return name.removesuffix("_min").replace("_", " ")
