"""One rule for every state table: may this move happen now, and if not, why not."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum

from journal.findings import Finding, Severity, stops
from journal.roles import Right


@dataclass(frozen=True, slots=True)
class Move:
    """A row of a state table.

    Args:
        name: the verb, as code, API and trail write it ("take_back").
        origins: states it may start from.
        target: state it ends in.
        right: what the acting person must hold.
        says: the verb in a sentence ("take back"); the name with spaces when empty.

    Raises:
        ValueError: no origin.
    """

    name: str
    origins: frozenset[StrEnum]
    target: StrEnum
    right: Right
    says: str = ""

    def __post_init__(self) -> None:
        if not self.origins:
            raise ValueError(f"Move {self.name} needs an origin.")

    @property
    def words(self) -> str:
        """The verb as it stands in a sentence."""
        return self.says or self.name.replace("_", " ")


def why_not(
    move: Move,
    *,
    subject: str,
    state: str,
    rights: Collection[Right],
    facts: Iterable[Finding] = (),
) -> tuple[Finding, ...]:
    """Everything that stands against a move; empty when it may happen.

    Args:
        move: the row asked for.
        subject: the thing to move, as a person would name it.
        state: its state now.
        rights: what the acting person holds.
        facts: what the subject's own rules found; only stops forbid.

    Returns:
        Findings of severity stop.
    """
    found: list[Finding] = []
    if move.right not in rights:
        found.append(right_missing(move.right, move.words, subject))
    if state not in move.origins:
        wanted = " or ".join(sorted(str(origin) for origin in move.origins))
        found.append(
            Finding(
                "wrong-state",
                Severity.STOP,
                subject,
                f"Cannot {move.words} {subject}: it is {state}, must be {wanted}.",
                "Nothing was changed.",
            )
        )
    return (*found, *stops(facts))


def right_missing(right: Right, words: str, subject: str) -> Finding:
    """What is said to a person who lacks the right to a verb.

    Args:
        right: what the verb asks for.
        words: the verb as it stands in a sentence.
        subject: the thing, as a person would name it.
    """
    return Finding(
        "right-missing",
        Severity.STOP,
        subject,
        f"Cannot {words} {subject}: your sign-in does not hold the right “{right}”.",
        "Ask somebody who holds it, or ask the quality lead to grant it.",
    )


def as_mermaid(title: str, moves: Iterable[Move]) -> str:
    """A state table as a Mermaid state diagram, one arrow per origin."""
    rows = [f"    {_slug(origin)} --> {_slug(move.target)}: {move.words}"
            for move in moves for origin in sorted(move.origins)]  # fmt: skip
    names = sorted({str(s) for move in moves for s in (*move.origins, move.target)})
    labels = [f'    state "{name}" as {_slug(name)}' for name in names]
    return "\n".join([f"## {title}", "", "```mermaid", "stateDiagram-v2", *labels, *rows, "```", ""])


def _slug(state: str) -> str:
    return str(state).replace(" ", "_")
