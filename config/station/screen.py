"""What a station shows beside its answers: what it carries, what is still open, and its buttons."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from config.station.answers import Answer, Held, Press, Scan
from journal.findings import Finding
from journal.models import Person
from journal.moves import Move, why_not
from journal.roles import Right

MOST_ITEMS = 30
"""Lines of what is still open; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Item:
    """A line: a state or short word, what it is about, and where that leads."""

    word: str
    fact: str
    address: str = ""


@dataclass(frozen=True, slots=True)
class Field:
    """A field of a button's form.

    Args:
        name: as it is sent.
        label: what the person reads.
        kind: text, check, choice (one of several), several (any of several) or hidden.
        options: value and words of each choice.
        value: what stands in it.
        required: the browser asks for it.
    """

    name: str
    label: str = ""
    kind: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    value: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class Button:
    """A verb that a hand may press, with what it needs to know.

    Args:
        press: its name in the table of the work.
        label: verb and object.
        icon: of the sprite.
        fields: what is sent along.
        main: the one to press in the normal path.
        why_not: why it cannot be pressed now; empty when it can.
    """

    press: str
    label: str
    icon: str
    fields: tuple[Field, ...] = ()
    main: bool = False
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """What a kind of work shows for what it carries.

    Args:
        title: heading of what is still open, in words.
        items: what is still open.
        more: how many lines were left off.
        none: what to say when nothing is open.
        carried: what the work carries.
        asks: question above the buttons; empty when nothing is asked.
        points: what to look at before answering.
        buttons: what may be pressed.
        links: pages where the work goes on.
    """

    title: str
    items: tuple[Item, ...] = ()
    more: int = 0
    none: str = "Nothing."
    carried: tuple[Item, ...] = ()
    asks: str = ""
    points: tuple[str, ...] = ()
    buttons: tuple[Button, ...] = ()
    links: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class View:
    """For whom and when a station shows itself."""

    held: Held
    by: Person
    at: datetime


@dataclass(frozen=True, slots=True)
class Mode:
    """A kind of work at a station.

    Args:
        slug: as its address says it.
        label: as a person says it.
        icon: of the sprite.
        right: what the person must hold.
        waits_for: what to scan when nothing is carried.
        guide: how the work goes, one sentence each.
        take: what a scan does.
        show: what is carried and still open.
        presses: what a button does, by its name.
    """

    slug: str
    label: str
    icon: str
    right: Right
    waits_for: str
    guide: tuple[str, ...]
    take: Callable[[Scan], Answer]
    show: Callable[[View], Shown]
    presses: Mapping[str, Callable[[Press], Answer]] = field(default_factory=dict)


def cut(items: Iterable[Item]) -> tuple[tuple[Item, ...], int]:
    """The first lines, and how many were left off."""
    every = tuple(items)
    return every[:MOST_ITEMS], max(0, len(every) - MOST_ITEMS)


def why_not_now(move: Move, subject: str, state: str, by: Person, facts: Iterable[Finding] = ()) -> str:
    """Why a move cannot be made now, as a button says it; empty when it can."""
    findings = why_not(move, subject=subject, state=state, rights=by.rights, facts=facts)
    return findings[0].sentence if findings else ""


def no_right(right: Right, by: Person) -> str:
    """That a person lacks a right, as a button says it; empty when they hold it."""
    return "" if right in by.rights else f"Your sign-in does not hold the right “{right}”."
