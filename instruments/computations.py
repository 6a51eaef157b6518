"""What `manage.py compute` offers of the instruments: documents in, documents out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from instruments.fit import MOST_SHAFTS, co_passage
from instruments.identity import decode
from journal.documents import listed, number, quoted, read

LENGTH_MM = number(low=0.001, high=1000)
CO_PASSAGE = {
    "bore_mm": LENGTH_MM,
    "shafts_mm": listed(LENGTH_MM, least=1, most=MOST_SHAFTS),
    "gap_mm": number(low=0, high=1000),
}


def _co_passage(document: object) -> dict[str, Any]:
    return asdict(co_passage(**read(document, CO_PASSAGE)))


def _decode(document: object) -> dict[str, Any]:
    decoded = decode(read(document, {"code": _code})["code"])
    return {
        "scheme": str(decoded.scheme),
        "identifiers": dict(decoded.identifiers),
        "findings": [finding.as_dict() for finding in decoded.findings],
    }


def _code(value: object, name: str) -> str:
    if isinstance(value, str):
        return value
    raise ValueError(f"Cannot read {name}: it is {quoted(value)}, must be a text.")


COMPUTATIONS: dict[str, Callable[[object], dict[str, Any]]] = {
    "co-passage": _co_passage,
    "decode": _decode,
}
