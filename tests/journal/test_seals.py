"""What is hashed and signed: records as bytes, heads, and heads that come back from outside."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest

from journal.merkle import Frontier, leaf_hash
from journal.seals import SignedHead, Signer, head_text, record_bytes, signed_by

# Source: RFC 8032, 7.1, TEST 1 (written down from memory; the library agrees): secret key, public key, signature
# of the empty message.
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
SIGNED = (
    "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24"
    "655141438e7a100b"
)
AT = datetime(2026, 11, 26, 7, 30, tzinfo=timezone(timedelta(hours=1)))
HOLDER = Signer(SECRET)


def test_signatures_are_those_of_the_standard() -> None:
    assert (HOLDER.public, HOLDER.sign(b"")) == (PUBLIC, SIGNED)
    assert signed_by(PUBLIC, SIGNED, b"")
    assert not signed_by(PUBLIC, SIGNED, b"x")


@pytest.mark.parametrize(("key", "signature"), [("", SIGNED), (PUBLIC, "zz"), ("00", SIGNED)])
def test_what_is_no_key_or_signature_signs_nothing(key: str, signature: str) -> None:
    assert not signed_by(key, signature, b"")


@pytest.mark.parametrize("secret", ["", "zz", "9d"])
def test_a_key_is_32_bytes(secret: str) -> None:
    with pytest.raises(ValueError, match=r"fromhex|must have 32"):
        Signer(secret)


def test_a_record_is_json_with_sorted_keys_in_utc() -> None:
    fields = {
        "verb": "inspect",
        "at": AT,
        "day": date(2026, 11, 26),
        "evidence": {"b": 1.5, "a": ["µ"]},
        "done": False,
    }
    said = record_bytes("table", 7, fields).decode()
    assert said == (
        '{"id":7,"row":{"at":"2026-11-26T06:30:00.000000Z","day":"2026-11-26","done":false,'
        '"evidence":{"a":["µ"],"b":1.5},"verb":"inspect"},"table":"table"}'
    )


@pytest.mark.parametrize("empty", [None, "", {}, []])
def test_a_column_that_came_later_and_is_empty_alters_no_old_record(empty: object) -> None:
    assert record_bytes("t", 1, {"a": 0, "later": empty}) == record_bytes("t", 1, {"a": 0})


def test_zero_and_no_are_something() -> None:
    assert record_bytes("t", 1, {"a": 0, "b": False}) != record_bytes("t", 1, {})


def test_a_stored_document_is_sealed_by_its_sha256() -> None:
    # FIPS 180-4, example "abc", as either database gives it back
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    for document in (b"abc", memoryview(b"abc")):
        assert f'"document":"{digest}"' in record_bytes("t", 1, {"document": document}).decode()


@pytest.mark.parametrize("value", [1j, {1, 2}])
def test_a_value_without_a_form_is_not_sealed(value: object) -> None:
    with pytest.raises(TypeError, match="Cannot seal a value of the kind"):
        record_bytes("t", 1, {"a": value})


def head(**changes: Any) -> SignedHead:
    made = SignedHead.of(Frontier().grown([leaf_hash(b"a"), leaf_hash(b"b"), leaf_hash(b"c")]), AT, HOLDER)
    return SignedHead(**{name: changes.get(name, getattr(made, name)) for name in SignedHead.__slots__})


def test_a_head_that_was_signed_is_sound() -> None:
    assert head().why_unsound({PUBLIC}) == ""
    assert head().tree.size == 3


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"size": 2}, "its signature does not belong"),
        ({"root": "00"}, "its signature does not belong"),
        ({"at": AT + timedelta(microseconds=1)}, "its signature does not belong"),
        ({"signature": "00"}, "its signature does not belong"),
        ({"key": "00"}, "which is not the unit's"),
        ({"peaks": ()}, "partial trees are not those of its size"),
        ({"peaks": ("zz", "00")}, "partial trees are not those of its size"),
        ({"peaks": ("00", "00")}, "partial trees do not give its root"),
    ],
)
def test_an_altered_head_says_what_is_altered(changes: dict[str, Any], why: str) -> None:
    assert why in head(**changes).why_unsound({PUBLIC})


def test_a_head_comes_back_from_outside_as_it_went() -> None:
    assert SignedHead.from_document(json.loads(json.dumps(head().as_dict()))) == head()
    assert head().text == head_text(3, head().root, AT.astimezone(UTC), PUBLIC)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"at": "yesterday"}, '"at" is yesterday, must be like'),
        ({"size": 0}, "from 1"),
        ({"root": 5}, "Cannot read root"),
        ({"more": 1}, "unknown key"),
    ],
)
def test_what_is_no_head_is_refused_in_a_sentence(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SignedHead.from_document({**head().as_dict(), **changes})
