"""Sealing the trail, and checking it against its seals: where `audit`, `seals` and `merkle` meet the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Max
from django.utils import timezone

from journal import bundle
from journal.audit import Leaf, Row, faults
from journal.findings import Finding
from journal.merkle import Frontier, consistency_proof, inclusion_proof, leaf_hash
from journal.models import Head, SealedLeaf
from journal.reads import sealed_models, unsealed
from journal.seals import SignedHead, Signer, leaf_text, record_bytes

BATCH = 2000
"""Rows read at once: a long trail does not fill the memory."""


def signer() -> Signer:
    """The holder of the unit's key.

    Raises:
        ValueError: the key file is not there or holds no key; the message is one sentence.
    """
    path = Path(settings.TRAIL_KEY_FILE)
    try:
        return Signer(path.read_text())
    except (OSError, ValueError) as refusal:
        raise ValueError(
            f"Cannot sign the trail: the key file {path} is not readable as 64 hexadecimal digits. "
            "Put the key back, or make a first one: openssl rand -hex 32"
        ) from refusal


def keys() -> set[str]:
    """Public keys that a head of this unit may be signed with."""
    return {signer().public, *settings.TRAIL_FORMER_KEYS}


def seal() -> int:
    """Seal every row that no head covers yet, under one head; safe to run twice and beside itself.

    One head, however many rows: a row that stands after a head and says it is older was put in.

    Returns:
        How many rows were sealed.
    """
    holder = signer()
    if not any(unsealed(table).exists() for table in sealed_models()):
        return 0  # without a lock: the usual case holds nobody up
    with transaction.atomic():
        _lock()
        last = Head.objects.last()
        tree = last.signed.tree if last else Frontier()
        rows = [(row.table, row.row, leaf_hash(row.record)) for row in stored_tail() if row.record is not None]
        if rows:
            at = max(timezone.now(), last.at) if last else timezone.now()
            signed = SignedHead.of(tree.grown(leaf for _, _, leaf in rows), at, holder)
            head = Head.objects.create(**{**signed.as_dict(), "at": at})
            leaves = (
                SealedLeaf(
                    position=position,
                    head=head,
                    table=table,
                    row=row,
                    leaf=leaf.hex(),
                    signature=holder.sign(leaf_text(position, leaf.hex())),
                )
                for position, (table, row, leaf) in enumerate(rows, start=tree.size)
            )
            SealedLeaf.objects.bulk_create(leaves, batch_size=BATCH)
        return len(rows)


def _lock() -> None:
    """One run at a time writes seals; on SQLite its transaction has the database for itself."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext('journal.seal'))")


def _records(table: str, rows: Iterable[int]) -> dict[int, bytes]:
    """Rows of a table as they stand now, in order of their keys; those that are gone are left out."""
    model = sealed_models()[table]
    asked = model._default_manager.order_by("pk")
    columns = [field.attname for field in model._meta.concrete_fields]
    return {
        found["id"]: record_bytes(table, found["id"], found) for found in asked.filter(pk__in=rows).values(*columns)
    }


def stored_leaves(first: int, end: int) -> Iterator[Leaf]:
    """The leaves from one position up to another, each with its row as it stands now."""
    while leaves := list(SealedLeaf.objects.filter(position__gte=first, position__lt=end)[:BATCH]):
        rows: dict[str, list[int]] = defaultdict(list)
        for leaf in leaves:
            rows[leaf.table].append(leaf.row)
        known = sealed_models()
        records = {table: _records(table, keys_of) for table, keys_of in rows.items() if table in known}
        for leaf in leaves:
            record = records.get(leaf.table, {}).get(leaf.row)
            yield Leaf(leaf.table, leaf.row, record, leaf.position, leaf.leaf, leaf.signature)
        first = leaves[-1].position + 1


def stored_tail() -> Iterator[Row]:
    """The rows that no head covers yet."""
    for table in sealed_models():
        rows = list(unsealed(table).values_list("pk", flat=True))
        for start in range(0, len(rows), BATCH):
            for row, record in _records(table, rows[start : start + BATCH]).items():
                yield Row(table, row, record)


def proof_of(leaf: SealedLeaf, older: Iterable[int] = ()) -> dict[str, Any]:
    """What shows, with a head kept outside, that one row stands in the trail as it was sealed.

    Args:
        leaf: the row's place.
        older: sizes of heads from which the proof of growth is added; those that the trail never had are left out.
    """
    head = Head.objects.order_by("-size")[0]
    hashes = [
        bytes.fromhex(one) for one in SealedLeaf.objects.filter(position__lt=head.size).values_list("leaf", flat=True)
    ]
    (row,) = stored_leaves(leaf.position, leaf.position + 1)
    return {
        **bundle.as_dict(row),
        "head": head.signed.as_dict(),
        "inclusion": [step.hex() for step in inclusion_proof(hashes, leaf.position)],
        "growth": {
            str(size): [step.hex() for step in consistency_proof(hashes, size)]
            for size in older
            if 0 < size <= len(hashes)
        },
    }


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the trail: after the head `start`, under `heads`; to its open end if `is_open`."""

    start: SignedHead | None
    heads: tuple[SignedHead, ...]
    end: int
    is_open: bool

    @property
    def first(self) -> int:
        """Position of its first row."""
        return self.start.size if self.start else 0

    @property
    def leaves(self) -> Iterator[Leaf]:
        """Its leaves, read as they are drawn."""
        return stored_leaves(self.first, self.end)

    @property
    def tail(self) -> Iterator[Row]:
        """What is not sealed, if it belongs to the stretch."""
        return stored_tail() if self.is_open else iter(())


def stretch(since: datetime | None = None, until: datetime | None = None, *, least: int | None = None) -> Stretch:
    """The part of the trail that was sealed between two moments; all of it without any.

    Args:
        since: begin after the last sound head before this moment.
        until: end with the last head up to this moment.
        least: begin no later than at this position.
    """
    # Before the heads, so that every leaf below this end has its head among them.
    last = SealedLeaf.objects.aggregate(last=Max("position"))["last"]
    known = 0 if last is None else last + 1
    heads = [row.signed for row in Head.objects.all()]
    start = None
    if since is not None:
        accepted = keys()
        earlier = [head for head in heads if head.at < since and (least is None or head.size <= least)]
        start = next((head for head in reversed(earlier) if not head.why_unsound(accepted)), None)
    inside = tuple(
        head for head in heads if (start is None or head.size > start.size) and (until is None or head.at <= until)
    )
    sealed = inside[-1].size if inside else start.size if start else 0
    return Stretch(start, inside, sealed if until else max(known, sealed), is_open=until is None)


@dataclass(frozen=True, slots=True)
class Report:
    """What a verification read, and what it found."""

    rows: int
    heads: int
    findings: tuple[Finding, ...]


def verify(part: Stretch | None = None, outside: Sequence[SignedHead] = ()) -> Report:
    """Check a part of the trail, or all of it, against its seals and against heads kept outside."""
    part = part or stretch()
    found = faults(part.heads, part.leaves, part.tail, keys=keys(), start=part.start, outside=outside)
    return Report(part.end - part.first, len(part.heads), tuple(found))
