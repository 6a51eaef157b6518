"""The form of a judgement: rows of evidence, findings, numbers; kept as JSON with the record it judges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from journal.findings import Finding, Severity

NOT_RECORDED = "Not recorded"
INFORMATION = "Information only"
WITHIN = "Within limits"
NOT_WITHIN = "Not within limits"


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """One thing that a cycle must show.

    Args:
        slug: stable name of the row.
        what: the thing, as a person names it.
        value: what the record shows, or "Not recorded".
        limit: what it must be, or "Information only".
        met: whether it is so; None when it is not recorded, or informs only.
        decides: False for what informs only.
    """

    slug: str
    what: str
    value: str
    limit: str
    met: bool | None
    decides: bool = True

    @property
    def verdict(self) -> str:
        """The row's verdict in words."""
        if not self.decides:
            return INFORMATION
        return NOT_RECORDED if self.met is None else WITHIN if self.met else NOT_WITHIN


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a cycle's record shows against the limits of its programme.

    Args:
        kind: "steam", "wash" or "low-temperature".
        rows: the evidence, one row each.
        findings: what a person should look at, in words.
        numbers: the figures behind the rows, keys carry their units; None where there is no figure.
        source: where the limits come from.
        confirm_locally: the limits' source is not settled; the page says so.

    Raises:
        ValueError: no row decides.
    """

    kind: str
    rows: tuple[EvidenceRow, ...]
    findings: tuple[Finding, ...]
    numbers: Mapping[str, float | None]
    source: str
    confirm_locally: bool

    def __post_init__(self) -> None:
        if not any(row.decides for row in self.rows):
            raise ValueError("A judgement needs a row that decides.")

    @property
    def within_limits(self) -> bool:
        """Whether every row that decides is met; what is not recorded is not met."""
        return all(row.met is True for row in self.rows if row.decides)

    @property
    def sentence(self) -> str:
        """The verdict of the numbers in one sentence; the decision is a person's."""
        missing = [row.what for row in self.rows if row.decides and row.met is None]
        verdict = f"Numbers within limits: {'yes' if self.within_limits else 'no'}"
        return f"{verdict}; not recorded: {', '.join(missing)}." if missing else f"{verdict}."

    def as_dict(self) -> dict[str, Any]:
        """The judgement as plain values, for JSON."""
        return {
            "kind": self.kind,
            "within_limits": self.within_limits,
            "rows": [asdict(row) for row in self.rows],
            "findings": [finding.as_dict() for finding in self.findings],
            "numbers": dict(self.numbers),
            "source": self.source,
            "confirm_locally": self.confirm_locally,
        }

    @classmethod
    def from_dict(cls, record: Mapping[str, Any]) -> Judgement:
        """The judgement that `as_dict` gave.

        Raises:
            ValueError: the record is no judgement.
        """
        try:
            return cls(
                kind=record["kind"],
                rows=tuple(EvidenceRow(**row) for row in record["rows"]),
                findings=tuple(
                    Finding(**{**finding, "severity": Severity(finding["severity"])}) for finding in record["findings"]
                ),
                numbers=dict(record["numbers"]),
                source=record["source"],
                confirm_locally=record["confirm_locally"],
            )
        except (KeyError, TypeError) as refusal:
            raise ValueError(f"This is no record of a judgement: {refusal}.") from refusal
