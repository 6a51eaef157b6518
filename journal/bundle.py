"""The export that an auditor checks without us: rows, seals, heads and proofs in one .zip of JSON lines."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from journal.audit import Row
from journal.seals import SignedHead

README = """\
Export of the sealed trail
==========================

start.jsonl   the signed head before the first row here; null when the export begins with the trail
heads.jsonl   each signed head, in order of size
leaves.jsonl  each sealed row in the order of sealing: position, table, row, record (the exact text that was
              hashed, null if the row is gone), leaf (its hash), signature
tail.jsonl    rows that no head covers yet

Leaf: SHA-256 of the byte 00 and the record. Node: SHA-256 of the byte 01, the left and the right hash.
Signature: Ed25519. What is signed, and a program of one page that checks this file, stand in docs/verify.md.

Compare the public key with the one that was handed out, and check against heads that were kept outside.
The rows hold pseudonymous patient references: treat this file as such.

Public key: {key}
"""


def write(
    path: Path,
    *,
    start: SignedHead | None,
    heads: Iterable[SignedHead],
    rows: Iterable[Row],
    tail: Iterable[Row],
    key: str,
) -> None:
    """Write the bundle; nothing stands at `path` until all of it does.

    Args:
        path: the .zip to write.
        start: the head before the first row; None from the beginning.
        heads: the heads over the rows, in order.
        rows: sealed rows with their leaves, in order.
        tail: rows that are not sealed.
        key: the unit's public key.
    """
    part = path.with_name(path.name + ".part")
    with ZipFile(part, "w", ZIP_DEFLATED) as bundle:
        bundle.writestr("README.txt", README.format(key=key))
        _lines(bundle, "start.jsonl", [start.as_dict() if start else None])
        _lines(bundle, "heads.jsonl", (head.as_dict() for head in heads))
        _lines(bundle, "leaves.jsonl", map(as_dict, rows))
        _lines(bundle, "tail.jsonl", map(as_dict, tail))
    part.replace(path)


def as_dict(row: Row) -> dict[str, Any]:
    """A row or leaf as plain values for JSON."""
    named = ("position", "table", "row", "leaf", "signature")
    record = None if row.record is None else row.record.decode()
    return {name: getattr(row, name) for name in named if hasattr(row, name)} | {"record": record}


def _lines(bundle: ZipFile, name: str, values: Iterable[dict[str, Any] | None]) -> None:
    with bundle.open(name, "w") as raw, io.TextIOWrapper(raw, encoding="utf-8") as lines:
        for value in values:
            lines.write(json.dumps(value, ensure_ascii=False) + "\n")
