"""What a station says to a scan or a button."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from django.http import QueryDict

from config.station.resolve import Thing
from instruments.identity import Kind
from journal.actions import Act, Done
from journal.findings import Finding, Refused, Severity

Held = Mapping[str, str]
"""What a kind of work carries from scan to scan: "load", "pack", "case" … with its code."""

LOOK_TAKES = timedelta(seconds=2)
"""A second read of the same mark within this time is the scanner's, not a person's."""


class Result(StrEnum):
    """How an answer looks and sounds."""

    TAKEN = "taken"
    LOOK = "look"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a scan or a button.

    Args:
        result: taken, look or stop.
        what: what happened, one sentence.
        next_step: what to do; empty when there is nothing to do.
        mark: the thing it is about.
        also: further things to look at, one sentence each.
        held: what the work carries from now on; None = as before.
        go: address of the page where the work goes on; empty = here.
        asks: it only asks, so nothing is done yet.
        leaves: the person leaves the station; the next one signs in.
    """

    result: Result
    what: str
    next_step: str = ""
    mark: str = ""
    also: tuple[str, ...] = ()
    held: Held | None = None
    go: str = ""
    asks: bool = False
    leaves: bool = False


@dataclass(frozen=True, slots=True)
class Scan:
    """A mark scanned for a kind of work.

    Args:
        thing: what the mark stands for.
        held: what the work carries.
        act: who scans, when and where.
    """

    thing: Thing
    held: Held
    act: Act

    def without(self, *names: str) -> dict[str, str]:
        """What the work carries, save these."""
        return {name: code for name, code in self.held.items() if name not in names}


@dataclass(frozen=True, slots=True)
class Press:
    """A button of a kind of work.

    Args:
        fields: what its form sent.
        held: what the work carries.
        act: who pressed it, when and where.
    """

    fields: QueryDict
    held: Held
    act: Act

    def carried(self, name: str) -> str:
        """Code of what the work carries.

        Raises:
            Refused: it carries none any more, as when the button stands on an old page.
        """
        if name not in self.held:
            sentence = "Cannot answer: the station no longer holds what was asked about."
            raise stop("nothing-held", name, sentence, "Scan it again.")
        return self.held[name]


def did(done: Done, *, held: Held | None = None, what: str = "", next_step: str | None = None) -> Answer:
    """The answer of an action as a station says it: a look when it has something to look at."""
    looks = tuple(
        f"{found['sentence']} {found['remedy']}".strip()
        for found in done.findings
        if found["severity"] == Severity.LOOK
    )
    result = Result.LOOK if looks else Result.TAKEN
    step = done.next_step if next_step is None else next_step
    return Answer(result, what or done.sentence, step, done.mark, looks, held)


def refused(refusal: Refused, mark: str = "") -> Answer:
    """A refusal as a station says it: the first finding large, the others below."""
    first, *others = refusal.findings
    also = tuple(finding.words for finding in others)
    return Answer(Result.STOP, first.sentence, first.remedy, mark or first.subject, also)


def question(what: str, next_step: str, mark: str, held: Held, *, also: tuple[str, ...] = ()) -> Answer:
    """The station asks: nothing is done before the person answers."""
    return Answer(Result.LOOK, what, next_step, mark, also, held, asks=True)


def with_looks(answer: Answer, findings: tuple[Finding, ...]) -> Answer:
    """The answer, with what the mark itself asks to look at."""
    if not findings:
        return answer
    result = Result.LOOK if answer.result is Result.TAKEN else answer.result
    return replace(answer, result=result, also=(*(finding.words for finding in findings), *answer.also))


def stop(slug: str, subject: str, sentence: str, remedy: str) -> Refused:
    """A refusal by the station itself: it does not know yet what to do with the scan."""
    return Refused(Finding(slug, Severity.STOP, subject, sentence, remedy))


def scanned_again(scan: Scan, name: str) -> bool:
    """Whether the thing that the station showed last is scanned once more, which says yes to what it asked.

    Args:
        scan: the scan.
        name: what the thing is carried as; its moment is carried as "shown_at".

    Raises:
        Refused: the two scans follow so fast that nobody can have looked in between.
    """
    if scan.held.get(name) != scan.thing.code:
        return False
    if scan.act.at - datetime.fromisoformat(scan.held["shown_at"]) < LOOK_TAKES:
        code = scan.thing.code
        sentence = f"Cannot take {code} as looked at: it was scanned twice within {LOOK_TAKES.seconds} seconds."
        raise stop("too-soon", code, sentence, "Look at it first, then scan it again.")
    return True


def shown(scan: Scan, name: str, *others: str) -> dict[str, str]:
    """What the work carries once it has shown a thing and waits for it to be scanned again; `others` are let go."""
    return {**scan.without(*others), name: scan.thing.code, "shown_at": scan.act.at.isoformat()}


def either(words: list[str]) -> str:
    """Words as a choice: "a pack, a tray or a piece"."""
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last


def need_kind(thing: Thing, kinds: tuple[Kind, ...]) -> None:
    """Refuse a thing that this work does not take.

    Raises:
        Refused: it is of another kind.
    """
    if thing.kind not in kinds:
        wanted = either([f"a {kind.word}" for kind in kinds])
        sentence = f"Cannot take {thing.code} here: it is a {thing.kind.word}, must be {wanted}."
        raise stop("wrong-kind", thing.code, sentence, f"Scan {wanted}.")
