"""The evidence for a decision on a load, one row for each thing looked at, and what of it forbids a release."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from journal.findings import Finding, stop
from reprocessing.judgement import NOT_RECORDED, EvidenceRow
from reprocessing.states import IndicatorKind, Result

Seen = tuple[str, datetime | None]
"""Who recorded something, and when."""

NOBODY: Seen = ("", None)
TRACE = "trace"
"""Slug of the row about the cycle's record."""


@dataclass(frozen=True, slots=True)
class Check:
    """A row of evidence, with who recorded it and when.

    Args:
        row: what was looked at, what was found, what it must be, and whether it is so; a row that decides
            and is not met forbids a routine release.
        who: the person who recorded it; empty while nobody has.
        when: the moment of the record.
    """

    row: EvidenceRow
    who: str = ""
    when: datetime | None = None

    def as_dict(self) -> dict[str, Any]:
        """The check as plain values, for JSON."""
        moment = self.when.isoformat() if self.when else None
        return {**asdict(self.row), "verdict": self.row.verdict, "who": self.who, "when": moment}


@dataclass(frozen=True, slots=True)
class Read:
    """An indicator and its result.

    Args:
        kind: chemical or biological.
        lot: its lot.
        result: what it says; waiting while nobody has read it.
        who: the person who read it.
        when: the moment of the reading.
    """

    kind: IndicatorKind
    lot: str
    result: Result
    who: str = ""
    when: datetime | None = None


def trace_check(record: Mapping[str, Any] | None, *, seen: Seen = NOBODY) -> Check:
    """The numbers of the cycle's record.

    Args:
        record: the judgement as `Judgement.as_dict` gave it; None without a record.
        seen: who attached it, and when.

    Returns:
        The check; its value names what is outside its limits.
    """
    slug, what, limit = TRACE, "Cycle record", "every number within limits"
    if record is None:
        return Check(EvidenceRow(slug, what, NOT_RECORDED, limit, None))
    short = [row for row in record["rows"] if row["decides"] and row["met"] is not True]
    words = "; ".join(f"{row['what']} {row['value']}" for row in short)
    words = f"Not within limits ({words})" if short else "Numbers within limits"
    return Check(EvidenceRow(slug, what, words, limit, bool(record["within_limits"])), *seen)


def dosing_check(recorded: bool | None, *, seen: Seen = NOBODY) -> Check:  # noqa: FBT001
    """The machine's own record of its phases and doses, as a person looked at it.

    Args:
        recorded: complete and as programmed; False when it shows a fault; None when nobody looked.
        seen: who looked, and when.
    """
    value = {True: "As programmed", False: "A fault", None: NOT_RECORDED}[recorded]
    return Check(EvidenceRow("dosing", "Phase and dosing record", value, "as programmed", recorded), *seen)


def chemical_check(reads: Iterable[Read]) -> Check:
    """At least one chemical indicator was read, and none failed."""
    reads = [read for read in reads if read.kind == IndicatorKind.CHEMICAL]
    return _indicator_check(reads, "chemical", "Chemical indicator", decides=True)


def biological_check(reads: Iterable[Read], *, holds_implant: bool, form_signed: bool) -> Check:
    """Never 8: an implant waits for its biological result unless the exceptional-release form is signed.

    The form replaces the result, not the indicator: one must have been placed. Without an implant a result
    that is still to come informs only; a failed one decides always.

    Args:
        reads: every indicator of the load.
        holds_implant: some pack of the load holds an implant.
        form_signed: the exceptional-release form is complete and signed.
    """
    reads = [read for read in reads if read.kind == IndicatorKind.BIOLOGICAL]
    decides = holds_implant and not (form_signed and reads)
    return _indicator_check(reads, "biological", "Biological indicator", decides=decides)


def _indicator_check(reads: Collection[Read], slug: str, what: str, *, decides: bool) -> Check:
    """Failed when one failed; passed when all that were placed have passed; else not known yet."""
    results = {read.result for read in reads}
    met = False if Result.FAILED in results else True if results == {Result.PASSED} else None
    value = ", ".join(f"{read.result} (lot {read.lot})" for read in reads) or NOT_RECORDED
    decides = decides or met is False
    row = EvidenceRow(f"{slug}-indicator", what, value, "passed", met, decides=decides)
    seen = [(read.when, read.who) for read in reads if read.when]
    when, who = max(seen, default=(None, ""))
    return Check(row, who, when)


def condition_check(looked_at: Iterable[bool | None], ended: Mapping[str, str], *, seen: Seen = NOBODY) -> Check:
    """The packs were looked at on unloading: dry and whole.

    Damaged packs were ended at once and are not in the load any more: they are named, and do not forbid.

    Args:
        looked_at: for each wrapped pack still in the load, whether its barrier is intact; None if not seen.
        ended: what was wrong with each pack that was ended on unloading, by its code.
        seen: who unloaded, and when.
    """
    barriers = list(looked_at)
    met = all(barriers) if None not in barriers else None
    value = NOT_RECORDED if not met else f"{len(barriers)} dry and whole" if barriers else "No wrapped pack"
    if ended:
        value += "; ended: " + ", ".join(f"{code} {fault}" for code, fault in sorted(ended.items()))
    return Check(EvidenceRow("condition", "Pack condition", value, "dry and whole", met), *seen)


def second_person_check(builders: Collection[str], *, wanted: bool) -> Check:
    """Who built the load: never 3 is asked of whoever signs, so this row informs only."""
    value = ", ".join(builders) or NOT_RECORDED
    limit = "released by somebody who did not build it alone" if wanted else "no second person asked for"
    return Check(EvidenceRow("second-person", "Built by", value, limit, None, decides=False))


def doubt_check(undecided: Collection[str]) -> Check:
    """No failed machine test puts the load in doubt without a quality decision.

    Args:
        undecided: the failed tests, as a person would name them.
    """
    value = "; ".join(undecided) or "None"
    return Check(EvidenceRow("doubt", "Failed tests since the last passed one", value, "decided", not undecided))


def summary(checks: Collection[Check]) -> str:
    """The evidence in one sentence: whether the numbers are within limits, and what is missing.

    Args:
        checks: the evidence of a load, its cycle record among it.

    Returns:
        A statement and no verdict: the decision is a person's.
    """
    record = next(check.row.met for check in checks if check.row.slug == TRACE)
    words = {True: "yes", False: "no", None: "not recorded"}[record]
    missing = [check.row.what for check in checks if check.row.decides and check.row.met is None]
    return f"Numbers within limits: {words}; missing: {', '.join(missing) or 'nothing'}."


def release_stops(subject: str, checks: Iterable[Check]) -> Iterator[Finding]:
    """What of the evidence forbids a release: whatever decides and is not met.

    Args:
        subject: the load.
        checks: its evidence.

    Yields:
        One stop for each, with the slug “<row>-missing” or “<row>-failed”.
    """
    for check in checks:
        row = check.row
        if not row.decides or row.met:
            continue
        name = row.what[0].lower() + row.what[1:]
        ending = "missing" if row.met is None else "failed"
        yield stop(
            f"{row.slug}-{ending}",
            subject,
            f"Cannot release {subject}: the {name} is {row.value[0].lower()}{row.value[1:]}, must be {row.limit}.",
            "Complete the evidence." if row.met is None else "Reject the load, or decide what the row asks for.",
        )
