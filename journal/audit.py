"""Does the trail still say what was sealed: every row against its leaf, every leaf against the signed heads.

Knows no database: it walks over what it is given, so that an export is judged by the same rules.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from journal.findings import Finding, stop
from journal.merkle import Frontier, leaf_hash
from journal.seals import SignedHead, leaf_text, signed_by, stamp

GRACE = timedelta(minutes=5)
"""So long may a transaction take, and two clocks differ: a row that comes in later was put among the old ones."""

REMEDY = "Keep the database as it is now, and compare with the last backup and the last export from before."


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the trail as it stands now.

    Args:
        table: name of the database table.
        row: primary key.
        record: its bytes by `record_bytes`; None when it is gone.
    """

    table: str
    row: int
    record: bytes | None

    @property
    def name(self) -> str:
        """What a sentence calls it."""
        return f"row {self.row} of {self.table}"


@dataclass(frozen=True, slots=True)
class Leaf(Row):
    """A sealed row: its place, the hash it had when it was sealed, and the signature of both (hexadecimal)."""

    position: int
    leaf: str
    signature: str


@dataclass(slots=True)
class _Latecomers:
    """Finds rows that came in among older ones: by their own time, and by a number that was passed long ago."""

    settled: dict[str, int] = field(default_factory=dict)
    recent: list[tuple[datetime, dict[str, int]]] = field(default_factory=list)

    def sealed(self, at: datetime, leaves: Iterable[Leaf]) -> None:
        """Take note of what a head sealed."""
        highest: dict[str, int] = {}
        for leaf in leaves:
            highest[leaf.table] = max(leaf.row, highest.get(leaf.table, 0))
        self.recent.append((at, highest))

    def among(self, rows: Iterable[Row], before: datetime) -> Iterator[Finding]:
        """Those of the rows that cannot have been there only after the head of `before`."""
        long_ago = before - GRACE
        while self.recent and self.recent[0][0] <= long_ago:
            for table, highest in self.recent.pop(0)[1].items():
                self.settled[table] = max(highest, self.settled.get(table, 0))
        for row in rows:
            dated = _received(row.record)
            if (dated and dated < stamp(long_ago)) or row.row <= self.settled.get(row.table, 0):
                yield stop(
                    "row-inserted",
                    row.name,
                    f"{_capital(row.name)} was put in among older ones: it came in after the head of {stamp(before)}"
                    + (f", and says it was received at {dated}." if dated else "."),
                    REMEDY,
                )


def _received(record: bytes | None) -> str:
    """When a line says it was received; other records have no time of their own."""
    fields = json.loads(record)["row"] if record else {}
    return str(fields["received_at"]) if "verb" in fields and "received_at" in fields else ""


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def faults(
    heads: Sequence[SignedHead],
    leaves: Iterable[Leaf],
    tail: Iterable[Row] = (),
    *,
    keys: Collection[str],
    start: SignedHead | None = None,
    outside: Sequence[SignedHead] = (),
) -> Iterator[Finding]:
    """Everything that is not as it was sealed; nothing when all is.

    Args:
        heads: the stored heads after `start`, in order of size.
        leaves: the stored leaves after `start`, in order of position, each with its row as it stands now.
        tail: the rows that no head covers yet.
        keys: the public keys of this unit.
        start: begin after this head instead of at the first row.
        outside: heads that were kept elsewhere, none of them smaller than `start`.

    Returns:
        Findings, each with the row, head or positions named.
    """
    sound: list[SignedHead] = []
    for head in heads:
        why = head.why_unsound(keys)
        if why:
            yield stop("head-altered", _head(head), f"{_capital(_head(head))} is altered: {why}.", REMEDY)
        else:
            sound.append(head)
    kept = []
    for head in outside:
        why = head.why_unsound(keys)
        if why:
            yield stop("outside-head-unsound", _head(head), f"The head kept outside does not fit: {why}.", REMEDY)
        kept.append(head)
    yield from _walk(sound, iter(leaves), tail, start, sorted(kept, key=lambda head: head.size))


def _walk(
    heads: Sequence[SignedHead],
    leaves: Iterator[Leaf],
    tail: Iterable[Row],
    start: SignedHead | None,
    outside: Sequence[SignedHead],
) -> Iterator[Finding]:
    """Batch by batch, each judged from the head before it, so that one altered row does not hide the next."""
    tree: Frontier = start.tree if start else Frontier()
    before, latecomers, ahead = start, _Latecomers(), next(leaves, None)
    for head in heads:
        batch = []
        while ahead is not None and ahead.position < head.size:
            batch.append(ahead)
            ahead = next(leaves, None)
        for leaf in batch:
            yield from _row_faults(leaf)
        yield from _batch_faults(tree, head, batch, [kept for kept in outside if tree.size < kept.size <= head.size])
        if before is not None:
            yield from latecomers.among(batch, before.at)
        latecomers.sealed(head.at, batch)
        tree, before = head.tree, head
    beyond = [ahead, *leaves] if ahead is not None else []
    for leaf in beyond:
        yield from _row_faults(leaf)
    if beyond:
        first, last = beyond[0], beyond[-1]
        sentence = f"Positions {first.position} to {last.position} ({first.name} to {last.name}) have no sound head."
        yield stop("head-missing", first.name, sentence, REMEDY)
    if before is not None:
        yield from latecomers.among(tail, before.at)
    yield from _cut(tree.size, outside)


def _row_faults(leaf: Leaf) -> Iterator[Finding]:
    if leaf.record is None:
        sentence = f"{_capital(leaf.name)} is gone: it was sealed at position {leaf.position}."
        yield stop("row-gone", leaf.name, sentence, REMEDY)
    elif leaf_hash(leaf.record).hex() != leaf.leaf:
        sentence = f"{_capital(leaf.name)} is altered: it is not what was sealed at position {leaf.position}."
        yield stop("row-altered", leaf.name, sentence, REMEDY)


def _batch_faults(
    tree: Frontier, head: SignedHead, batch: Sequence[Leaf], outside: Iterable[SignedHead]
) -> Iterator[Finding]:
    """The leaves between two sound heads against the later one, and against those kept outside."""
    if [leaf.position for leaf in batch] != list(range(tree.size, head.size)):
        yield from _gaps(tree.size, head, batch)
        return
    hashes = [_bytes(leaf.leaf) for leaf in batch]
    for kept in outside:
        if tree.grown(hashes[: kept.size - tree.size]).root.hex() != kept.root:
            sentence = f"The first {kept.size} rows are not those of a head kept outside, signed {stamp(kept.at)}."
            yield stop("not-as-outside", _head(kept), sentence, REMEDY)
    if tree.grown(hashes).root.hex() != head.root:
        forged = [
            leaf for leaf in batch if not signed_by(head.key, leaf.signature, leaf_text(leaf.position, leaf.leaf))
        ]
        for leaf in forged:
            sentence = f"The seal of {leaf.name} at position {leaf.position} is altered: its signature does not fit."
            yield stop("seal-altered", leaf.name, sentence, REMEDY)
        if not forged:
            sentence = f"Positions {tree.size} to {head.size - 1} are not those that {_head(head)} sealed."
            yield stop("seal-altered", _head(head), sentence, REMEDY)


def _gaps(first: int, head: SignedHead, batch: Sequence[Leaf]) -> Iterator[Finding]:
    there = {leaf.position: leaf for leaf in batch}
    for position in range(first, head.size):
        if position not in there:
            beside = there.get(position - 1) or there.get(position + 1)
            near = f" beside {beside.name}" if beside else ""
            sentence = f"The seal at position {position}{near} is gone: {_head(head)} covers it."
            yield stop("seal-gone", f"position {position}", sentence, REMEDY)


def _cut(size: int, outside: Iterable[SignedHead]) -> Iterator[Finding]:
    for kept in outside:
        if kept.size > size:
            sentence = (
                f"The rows from position {size} to {kept.size - 1} are gone: the trail ends at {size} sealed rows, "
                f"and had {kept.size} when the head kept outside was signed, {stamp(kept.at)}."
            )
            yield stop("trail-cut", _head(kept), sentence, REMEDY)


def _head(head: SignedHead) -> str:
    return f"the head of {head.size} rows, signed {stamp(head.at)}"


def _bytes(leaf: str) -> bytes:
    """A stored hash; what is no hash is a leaf that nobody sealed."""
    try:
        return bytes.fromhex(leaf)
    except ValueError:
        return leaf.encode()
