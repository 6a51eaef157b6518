"""What is sealed and how: a record as bytes, the signature of its leaf, and the signed head of the tree.

Source: Ed25519 as in RFC 8032, by the library `cryptography`. The form of the texts that are hashed and signed is
ours and stands in docs/verify.md.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Self

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from journal.documents import listed, number, read, text
from journal.merkle import Frontier

KEY_BYTES = 32
EMPTY: tuple[object, ...] = (None, "", {}, [])


def record_bytes(table: str, row: int, fields: Mapping[str, Any]) -> bytes:
    """One row as the bytes that its leaf is the hash of.

    JSON in UTF-8 with sorted keys and no white space; moments in UTC to the microsecond; a stored document by its
    SHA-256. A field that holds
    nothing (null, empty text, list or object) is left out, so that a column which is added later and is empty
    in the rows of old does not alter them.

    Args:
        table: name of the database table.
        row: primary key.
        fields: every column with its value.

    Raises:
        TypeError: a value of a kind that has no form here.
    """
    kept = {name: value for name, value in fields.items() if not any(value is e or value == e for e in EMPTY)}
    document = {"id": row, "row": kept, "table": table}
    return json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, default=_plain
    ).encode()


def _plain(value: object) -> str:
    if isinstance(value, datetime):
        return stamp(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return hashlib.sha256(value).hexdigest()
    raise TypeError(f"Cannot seal a value of the kind {type(value).__name__}.")


def stamp(moment: datetime) -> str:
    """A moment as the trail writes it: UTC, to the microsecond."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class Signer:
    """Holder of the private key.

    Args:
        secret: the private key as 64 hexadecimal digits, white space around them allowed.

    Raises:
        ValueError: it is not that.
    """

    def __init__(self, secret: str) -> None:
        seed = bytes.fromhex(secret.strip())
        if len(seed) != KEY_BYTES:
            raise ValueError(f"The trail's key has {len(seed)} bytes, must have {KEY_BYTES}.")
        self._key = Ed25519PrivateKey.from_private_bytes(seed)

    @property
    def public(self) -> str:
        """The public key, 64 hexadecimal digits."""
        return self._key.public_key().public_bytes_raw().hex()

    def sign(self, message: bytes) -> str:
        """Signature, 128 hexadecimal digits."""
        return self._key.sign(message).hex()


def signed_by(key: str, signature: str, message: bytes) -> bool:
    """Whether the public key's holder signed the message; a key or signature that is none did not."""
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def leaf_text(position: int, leaf: str) -> bytes:
    """What is signed of one leaf: an altered one is found by name although every tree above it differs."""
    return f"trail leaf\nposition {position}\nleaf {leaf}\n".encode()


@dataclass(frozen=True, slots=True)
class SignedHead:
    """The state of the whole trail at a moment, signed.

    Args:
        size: number of sealed rows.
        root: root of their tree, hexadecimal.
        at: when it was signed, aware.
        key: public key of the signer, hexadecimal.
        signature: over `text`, hexadecimal.
        peaks: the perfect trees that it consists of, hexadecimal, the largest first. Not signed: they must
            give the root.
    """

    size: int
    root: str
    at: datetime
    key: str
    signature: str
    peaks: tuple[str, ...]

    @classmethod
    def of(cls, tree: Frontier, at: datetime, signer: Signer) -> Self:
        """Sign a tree."""
        root, peaks = tree.root.hex(), tuple(peak.hex() for peak in tree.peaks)
        return cls(
            tree.size, root, at, signer.public, signer.sign(head_text(tree.size, root, at, signer.public)), peaks
        )

    @property
    def text(self) -> bytes:
        """What is signed."""
        return head_text(self.size, self.root, self.at, self.key)

    @property
    def tree(self) -> Frontier:
        """The tree, to be grown.

        Raises:
            ValueError: the peaks are not those of a tree of this size.
        """
        return Frontier(self.size, tuple(bytes.fromhex(peak) for peak in self.peaks))

    def why_unsound(self, keys: Collection[str]) -> str:
        """What speaks against this head, as the end of a sentence; empty when nothing does.

        Args:
            keys: the public keys of this unit.
        """
        if self.key not in keys:
            return f"it is signed with the key {self.key}, which is not the unit's"
        if not signed_by(self.key, self.signature, self.text):
            return "its signature does not belong to what it says"
        try:
            return "" if self.tree.root.hex() == self.root else "its partial trees do not give its root"
        except ValueError:
            return "its partial trees are not those of its size"

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON, as it is kept outside."""
        return {
            "size": self.size,
            "root": self.root,
            "at": stamp(self.at),
            "key": self.key,
            "signature": self.signature,
            "peaks": list(self.peaks),
        }

    @classmethod
    def from_document(cls, document: object) -> Self:
        """A head that was kept outside.

        Raises:
            ValueError: the document is not a head; the message is one sentence.
        """
        words = dict.fromkeys(("root", "at", "key", "signature"), text)
        found = read(document, {"size": number(low=1), **words, "peaks": listed(text)})
        try:
            at = datetime.strptime(found["at"], "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
        except ValueError:
            raise ValueError(
                f'Cannot read the head: "at" is {found["at"]}, must be like 2026-11-26T06:30:00.000000Z.'
            ) from None
        return cls(**{**found, "size": int(found["size"]), "at": at, "peaks": tuple(found["peaks"])})


def head_text(size: int, root: str, at: datetime, key: str) -> bytes:
    """What is signed of a head."""
    return f"trail head\nsize {size}\nroot {root}\nat {stamp(at)}\nkey {key}\n".encode()
