"""Documents from outside: strict JSON, read against a table of the keys that may stand in it.

A table names every key with its reader; a key that is not in the table is refused by name. A reader
takes a value and the name it goes by ("shafts_mm[1]") and gives the typed value back. Whatever does not
fit raises ValueError with one sentence that can be shown as it stands.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from math import isfinite
from typing import Any, NoReturn

Reader = Callable[[object, str], Any]

LONGEST_QUOTE = 60  # characters of a refused value that a sentence repeats


def from_json(content: bytes) -> object:
    """Decode one JSON text (RFC 8259, UTF-8 with or without byte-order mark), more strictly than Python does.

    Args:
        content: the bytes of the text.

    Returns:
        The decoded value. NaN, Infinity and a key given twice in one object are refused.

    Raises:
        ValueError: the bytes are not such a text; the message is one sentence.
    """
    try:
        text = content.decode("utf-8-sig")
        return json.loads(text, parse_int=_whole, parse_constant=_no_constant, object_pairs_hook=_unique)
    except UnicodeDecodeError as refusal:
        raise ValueError(f"Cannot read the input: byte {refusal.start} is not UTF-8 text.") from None
    except json.JSONDecodeError as refusal:
        where = f"line {refusal.lineno}, column {refusal.colno}"
        raise ValueError(f"Cannot read the input: it is not JSON ({refusal.msg} at {where}).") from None
    except RecursionError:
        raise ValueError("Cannot read the input: its lists are nested too deeply.") from None


def _whole(digits: str) -> int:
    try:
        return int(digits)
    except ValueError:  # Python's own guard against very long integers
        raise ValueError(f"Cannot read the input: it holds a number of {len(digits)} digits.") from None


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"Cannot read the input: it holds {name}, must hold only finite numbers.")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f'Cannot read the input: it gives the key "{twice}" twice, must give it once.')
    return fields


def read(
    document: object, required: Mapping[str, Reader], optional: Mapping[str, Reader] | None = None
) -> dict[str, Any]:
    """Read one document against its table of keys.

    Args:
        document: the decoded document.
        required: reader of each key that must be there.
        optional: reader of each key that may be there.

    Returns:
        The values that are there, typed; an optional key that is absent stays absent.

    Raises:
        ValueError: not an object, an unknown or absent key, or a value that its reader refuses.
    """
    values: dict[str, Any] = record(required, optional)(document, "")
    return values


def record(required: Mapping[str, Reader], optional: Mapping[str, Reader] | None = None) -> Reader:
    """Reader of an object with these keys and no others."""
    table = {**required, **(optional or {})}

    def reader(value: object, name: str) -> dict[str, Any]:
        subject = name or "the document"
        if not isinstance(value, dict):
            raise _refusal(subject, value, "an object")
        for key in value:
            if key not in table:
                allowed = ", ".join(table)
                raise ValueError(f"Cannot read {subject}: it has the unknown key {quoted(key)}; known are {allowed}.")
        for key in required:
            if key not in value:
                raise ValueError(f'Cannot read {subject}: it has no key "{key}", must have it.')
        prefix = f"{name}." if name else ""
        return {key: table[key](inner, prefix + key) for key, inner in value.items()}

    return reader


def listed(item: Reader, *, least: int = 0, most: int | None = None) -> Reader:
    """Reader of a list of `least` to `most` items, each read by `item`."""
    count = f"at least {least}" if most is None else str(least) if least == most else f"{least} to {most}"

    def reader(value: object, name: str) -> list[Any]:
        if not isinstance(value, list):
            raise _refusal(name, value, f"a list of {count}")
        if len(value) < least or (most is not None and len(value) > most):
            raise ValueError(f"Cannot read {name}: it is a list of {len(value)}, must be a list of {count}.")
        return [item(inner, f"{name}[{index}]") for index, inner in enumerate(value)]

    return reader


def number(*, above: float | None = None, low: float | None = None, high: float | None = None) -> Reader:
    """Reader of a finite number, greater than `above`, at least `low`, at most `high`, as float."""
    limits = [(above, "above"), (low, "from"), (high, "up to")]
    words = " ".join(["a finite number", *(f"{word} {limit:g}" for limit, word in limits if limit is not None)])

    def reader(value: object, name: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _refusal(name, value, words)
        try:
            figure = float(value)
        except OverflowError:
            raise _refusal(name, value, words) from None
        too_small = (above is not None and figure <= above) or (low is not None and figure < low)
        if not isfinite(figure) or too_small or (high is not None and figure > high):
            raise _refusal(name, value, words)
        return figure

    return reader


def whole(most: int, *, least: int = 0) -> Reader:
    """Reader of a whole number from `least` up to `most`."""

    def reader(value: object, name: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise _refusal(name, value, f"a whole number from {least} up to {most}")
        return value

    return reader


def mapped(item: Reader) -> Reader:
    """Reader of an object with any keys, each value read by `item`."""

    def reader(value: object, name: str) -> dict[str, Any]:
        keys = value if isinstance(value, dict) else ()
        values: dict[str, Any] = record({}, dict.fromkeys(keys, item))(value, name)
        return values

    return reader


def nullable(item: Reader) -> Reader:
    """Reader of null, or of what `item` reads."""

    def reader(value: object, name: str) -> Any:
        return None if value is None else item(value, name)

    return reader


def one_of(words: Iterable[str]) -> Reader:
    """Reader of one of these texts."""
    known = tuple(words)

    def reader(value: object, name: str) -> str:
        if not isinstance(value, str) or value not in known:
            raise _refusal(name, value, f"one of {', '.join(known)}")
        return value

    return reader


def truth(value: object, name: str) -> bool:
    """Reader of true or false."""
    if not isinstance(value, bool):
        raise _refusal(name, value, "true or false")
    return value


def text(value: object, name: str) -> str:
    """Reader of a text that is not empty."""
    if not isinstance(value, str) or not value:
        raise _refusal(name, value, "a text that is not empty")
    return value


def quoted(value: object) -> str:
    """A refused value as it stood in the document, cut when long."""
    try:
        words = json.dumps(value, ensure_ascii=False)
    except RecursionError:  # what the decoder could just take may be too deep for the encoder
        return "nested too deeply to be repeated"
    return words if len(words) <= LONGEST_QUOTE else f"{words[:LONGEST_QUOTE]}…"


def _refusal(name: str, value: object, expected: str) -> ValueError:
    return ValueError(f"Cannot read {name}: it is {quoted(value)}, must be {expected}.")
