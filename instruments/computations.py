"""What `manage.py compute` offers of the instruments: documents in, documents out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from instruments.identity import decode
from journal.documents import quoted, read


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
    "decode": _decode,
}
