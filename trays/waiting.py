"""What a tray that is being filled still waits for, apart from what is wrong on it."""

from __future__ import annotations

from dataclasses import dataclass

from journal.findings import Finding
from trays.companions import BARREL, SEAL, SHEATH
from trays.matching import LineCount, TrayCount

_LACKS = frozenset({f"{SHEATH}-missing", f"{SEAL}-missing"})
_EARLY = frozenset({f"{SHEATH}-orphan", f"{SEAL}-orphan"})


@dataclass(frozen=True, slots=True)
class Companion:
    """A companion that a rule calls for and no open line stands for.

    Args:
        kind: "sheath" or "seal".
        size: series and size as a person says them.
        quantity: how many pieces lack.
        where: where pieces of it are now, where that is known.
    """

    kind: str
    size: str
    quantity: int
    where: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """A count, sorted out for the person who fills the tray.

    Args:
        needed: numbers of the open lines without which the tray may not go out: essential ones, and those
            that a rule calls for.
        companions: what rules call for beyond the open lines.
        wrong: what no further piece puts right by being laid: other sizes, worn pieces, weight and the like.
    """

    needed: frozenset[int]
    companions: tuple[Companion, ...]
    wrong: tuple[Finding, ...]

    @property
    def to_lay(self) -> int:
        """How many things are still to be laid before the tray may be closed."""
        return len(self.needed) + len(self.companions)


def sort_out(count: TrayCount) -> Waiting:
    """What of a count only waits, and what is wrong.

    A tray that is empty or half filled waits for its lines. A missing sheath or seal, and a companion that
    was laid before its barrel, wait as well; an open line of the same kind and size stands for them, so that
    nothing is named twice. Nothing is taken back: whatever forbids closing the tray is in one of the three.

    Args:
        count: the judgement on the tray.
    """
    rows: dict[tuple[object, ...], LineCount] = {}
    for row in count.rows:
        size = row.line.size
        if not row.done and size is not None and row.line.kind in (BARREL, SHEATH, SEAL):
            rows[row.line.kind, size.series, size.label] = row
    needed = {row.line.position for row in count.rows if not row.done and row.line.essential}
    companions: list[Companion] = []
    wrong: list[Finding] = []
    for finding in count.stops:
        told = finding.numbers
        line = rows.get((told.get("kind"), told.get("series"), told.get("size")))
        if finding.slug in _LACKS:
            beyond = int(told["wanted"]) - int(told["found"]) - (line.lacking if line else 0)
            if beyond > 0:
                companions.append(Companion(str(told["kind"]), finding.subject, beyond, str(told.get("where", ""))))
        elif finding.slug not in _EARLY or line is None:
            wrong.append(finding)
        if line is not None:
            needed.add(line.line.position)
    return Waiting(frozenset(needed), tuple(companions), tuple(wrong))
