"""The trail of a piece, a pack or a case in words: what was done, and what is known of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from journal.models import Line, SealedLeaf
from journal.reads import seals_of

DONE: dict[str, str] = {
    "add_mark": "Mark added",
    "add_requirement": "Asked for more",
    "remove_requirement": "Took a need off",
    "renew_needs": "Needs renewed",
    "allocate": "Set chosen",
    "apply_fix": "Fix applied",
    "assemble": "Assembled",
    "begin": "Begun",
    "cancel": "Cancelled",
    "clear": "Cleared from quarantine",
    "close_count": "Count of the return closed",
    "condemn": "Quarantine ended",
    "confirm_label": "Label read back",
    "correct": "Corrected",
    "count_cycle": "Cycle counted",
    "destroy": "Destroyed",
    "discard": "Discarded",
    "end": "Ended",
    "drop": "Dropped or failed in the case",
    "enrol": "Entered",
    "expire": "Set aside as expired",
    "fail_wash": "Wash failed",
    "find": "Found",
    "find_recalled": "Found by a recall",
    "change_load": "Moved to another load",
    "check_protein": "Residual protein checked",
    "find_soiled": "Found soiled",
    "free": "Choice taken back",
    "give_back": "Given back to its lender",
    "give_back_sealed": "Given back unopened",
    "implant": "Implanted",
    "inspect": "Inspected",
    "issue": "Issued",
    "join_closed_set": "Joined to the closed set",
    "lend": "Lent",
    "load": "Put in the steriliser",
    "miss": "Reported missing",
    "move": "Moved",
    "not_come_back": "Did not come back",
    "open": "Opened",
    "pack": "Packed",
    "pass_wash": "Wash passed",
    "plan": "Planned",
    "print_count_sheet": "Count sheet printed",
    "print_label": "Label printed",
    "put_back": "Put back unopened",
    "put_in_box": "Put in the quarantine box",
    "put_in_washer": "Put in the washer",
    "put_on_tray": "Put on the tray",
    "quarantine": "Quarantined",
    "receive_again": "Received again",
    "recall": "Recalled",
    "recall_wash": "Wash recalled: not to be packed",
    "receive": "Received",
    "reject": "Rejected",
    "release": "Released",
    "replace": "Another took its place",
    "scrap": "Sent back to the washer",
    "send_back": "Sent back to the washer",
    "send_to_repair": "Sent to repair",
    "service": "Serviced",
    "store": "Put in store",
    "take_apart": "Taken apart",
    "take_back": "Taken back",
    "take_from_loan": "Back from loan",
    "take_from_repair": "Back from repair",
    "take_off_load": "Taken off the load",
    "take_off_tray": "Taken off the tray",
    "take_out_of_washer": "Taken out of the washer",
    "undo_fix": "Fix undone",
    "unload": "Unloaded",
    "unpack": "Unpacked",
    "use": "Used",
    "waste_implant": "Implant wasted",
    "withdraw": "Withdrawn",
}
"""The verbs of the three trails as what has happened."""

FINGERPRINT = 8
"""So many hexadecimal digits tell one printed document of a pack from another."""


@dataclass(frozen=True, slots=True)
class Fact:
    """What a line knows: words, and the thing they end with; `page` names the address that takes its code."""

    words: str
    page: str = ""
    code: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """A line of the trail as a person reads it."""

    line: Line
    done: str
    facts: tuple[Fact, ...]
    seal: SealedLeaf | None

    @property
    def now(self) -> str:
        """The state it led to, where what was done does not say it already."""
        target: str = self.line.target
        return "" if target.casefold() in self.done.casefold().replace(" the ", " ") else target


def told(lines: Sequence[Line]) -> list[Told]:
    """Lines of one table in words with their seals, the newest first."""
    seals = seals_of(lines)
    return [
        Told(line, _done(line.verb), tuple(facts_of(line.evidence)), seals.get(line.pk)) for line in reversed(lines)
    ]


def facts_of(evidence: Mapping[str, Any]) -> Iterator[Fact]:
    """What a line knows, in its order; a reference to a patient is said to be recorded and never shown.

    Keys that say nothing to a reader are left out, as is what is empty.
    """
    for name, value in evidence.items():
        if name in PAGES and value:
            for code in value if isinstance(value, list) else [value]:
                words, page = PAGES[name]
                yield Fact(words, page, str(code))
        elif words := WORDS.get(name, _plainly(name))(value):
            yield Fact(words)


def _done(verb: str) -> str:
    return DONE.get(verb, verb.replace("_", " ").capitalize())


PAGES: dict[str, tuple[str, str]] = {
    "pack": ("pack", "pack"),
    "case": ("case", "case"),
    "load": ("load", "load"),
    "piece": ("piece", "piece"),
    "tray": ("tray", "tray-bench"),
    "part": ("part", "part"),
    "recall": ("recall", "recall"),
    "loan": ("loan", "loan"),
    "box": ("quarantine box", "box"),
}
"""Keys that name a thing with a page of its own."""


def _plainly(name: str) -> Callable[[Any], str]:
    said = name.replace("_", " ")
    return lambda value: f"{said} {_value(value)}" if value not in (None, "", []) else ""


def _named(said: str) -> Callable[[Any], str]:
    return lambda value: f"{said} {_value(value)}" if value else ""


def _either(yes: str, no: str = "") -> Callable[[Any], str]:
    return lambda value: yes if value else no


def _hidden(value: Any) -> str:
    return "patient reference recorded" if value else ""


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_value(item) for item in value)
    return str(value)


def _changed(said: str) -> Callable[[Any], str]:
    """A change from one value to another; a value alone is that of a new case."""

    def words(value: Any) -> str:
        if not isinstance(value, list):
            return f"{said} {value}" if value else ""
        before, after = (_moment(str(item)) or "none" for item in value)
        return f"{said} {after}, before {before}"

    return words


def _moment(text: str) -> str:
    """A stored moment in the unit's time zone; any other text as it is."""
    try:
        return f"{timezone.localtime(datetime.fromisoformat(text)):%a %d-%b-%Y %H:%M}"
    except ValueError:
        return text


def _dated(said: str) -> Callable[[Any], str]:
    """A stored day as the trail writes days."""
    return lambda value: f"{said} {date.fromisoformat(str(value)):%a %d-%b-%Y}" if value else ""


WORDS: dict[str, Callable[[Any], str]] = {
    "requirement": lambda _: "",
    "undo": lambda _: "",
    "undone": lambda _: "",
    "fix_key": lambda _: "",
    "fix": str,
    "asked": _named("asked for:"),
    "way": lambda _: "",
    "who": lambda _: "",
    "fault": str,
    "template": _named("tray of list"),
    "chosen": str,
    "instead_of": _named("instead of"),
    "freed": _named("freed"),
    "reference": _changed("list number"),
    "patient_ref": _hidden,
    "starts_at": _changed("start"),
    "list": _changed("list"),
    "procedure": _changed("procedure"),
    "duration_min": _changed("minutes"),
    "planned_size": _changed("planned size"),
    "planned_implant": _changed("planned implant"),
    "operator": _changed("operator"),
    "needs_of": _named("needs by"),
    "wants": str,
    "source": _named("from"),
    "barrier_intact": _either("barrier intact", "barrier not intact"),
    "missing": lambda value: f"missing {_value(value)}" if value else "nothing missing",
    "unused": _either("unused"),
    "unopened": _either("unopened"),
    "counts_as_used": _either("counts as used"),
    "cycles": _named("cycle"),
    "version": _named("list version"),
    "second": _named("second person"),
    "place": _named("in"),
    "text": _named("mark"),
    "replaces": _named("in place of"),
    "service_due": _dated("due again"),
    "expected": _dated("expected back"),
    "serviced": _either("serviced", "not serviced"),
    "read": lambda _: "",
    "copy": _either("a copy"),
    "sha256": lambda value: f"fingerprint {str(value)[:FINGERPRINT]}",
    "line": _named("line"),
}
"""The other keys."""
