"""What the rules say back: findings for questions about the world, and the refusal of a verb."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding weighs: a stop forbids, a look asks for eyes, a note informs."""

    STOP = "stop"
    LOOK = "look"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a rule has found, in words that a person can act on.

    Args:
        slug: stable name of the rule, lower case with dashes ("seal-missing").
        severity: stop, look or note.
        subject: the thing it is about, as a person would name it ("Tray AD-1", "T000012A").
        sentence: what was found and what was expected, one full sentence.
        remedy: what to do about it; empty when there is nothing to do.
        numbers: the figures behind the sentence, keys carry their units ("bore_mm").

    Raises:
        ValueError: slug or sentence is empty.
    """

    slug: str
    severity: Severity
    subject: str
    sentence: str
    remedy: str = ""
    numbers: Mapping[str, float | int | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.slug or not self.sentence:
            raise ValueError("A finding needs a slug and a sentence.")

    @property
    def words(self) -> str:
        """Sentence and remedy as one text."""
        return f"{self.sentence} {self.remedy}".strip()

    def as_dict(self) -> dict[str, object]:
        """The finding as plain values, for JSON."""
        return {
            "slug": self.slug,
            "severity": str(self.severity),
            "subject": self.subject,
            "sentence": self.sentence,
            "remedy": self.remedy,
            "numbers": dict(self.numbers),
        }


def stop(
    slug: str, subject: str, sentence: str, remedy: str = "Put it right and try again.", **numbers: float
) -> Finding:
    """A finding that forbids."""
    return Finding(slug, Severity.STOP, subject, sentence, remedy, numbers)


def look(slug: str, subject: str, sentence: str, remedy: str = "") -> Finding:
    """A finding that asks for eyes."""
    return Finding(slug, Severity.LOOK, subject, sentence, remedy)


def unknown(kind: str, code: str) -> Finding:
    """The finding for a code that nothing of that kind has."""
    return Finding(
        "unknown-code",
        Severity.STOP,
        code,
        f"Cannot find {kind} {code}: no {kind} of the unit has this code.",
        "Scan it again; if it is new, have it entered first.",
    )


def stops(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Only the findings that forbid."""
    return tuple(finding for finding in findings if finding.severity is Severity.STOP)


class Refused(Exception):
    """A verb that may not happen now; carries every finding that stands against it.

    Args:
        findings: at least one finding.

    Raises:
        ValueError: there is no finding.
    """

    def __init__(self, *findings: Finding) -> None:
        if not findings:
            raise ValueError("A refusal needs at least one finding.")
        self.findings = findings
        super().__init__(" ".join(finding.words for finding in findings))

    @property
    def code(self) -> str:
        """Slug of the first finding: the stable reason code."""
        return self.findings[0].slug
