"""The scanner of a station, as the scanner card shows it."""

from __future__ import annotations

from dataclasses import replace

from instruments.carriers import shown
from instruments.scanner_check import Reading, faults
from journal.actions import Act, Done, action
from journal.findings import Refused, Severity, stop, unknown
from journal.models import Station


@action
def check_scanner(
    station: str,
    text: str,
    *,
    ended: str = "enter",
    mean_ms: float | None = None,
    longest_ms: float | None = None,
    caps_lock: bool = False,
    act: Act,
) -> Done:
    """Record what the scanner card shows of a station's scanner: passed, or each fault of its set-up.

    `ended` is the key at the end: "enter", "tab", "line feed", or empty; the times are those from key to key.
    """
    row = Station.objects.filter(name=station).first()
    if row is None:
        raise Refused(unknown("station", station))
    try:
        reading = Reading(text, ended, mean_ms, longest_ms, caps_lock)
    except ValueError as refusal:
        raise Refused(stop("no-reading", station, str(refusal), "Scan the scanner card again.")) from refusal
    found = tuple(replace(fault, severity=Severity.LOOK) for fault in faults(reading))
    words = [finding.words for finding in found]
    row.scanner_checks.create(at=act.at, person=act.by, passed=not found, faults=words, text=shown(text))
    state = "not passed" if found else "passed"
    sentence = f"The scanner of {row} has {state} the check."
    step = "Set it up, then scan the card again." if found else ""
    return Done("check_scanner", "station", row.pk, row.name, state, sentence, step, tuple(f.as_dict() for f in found))
