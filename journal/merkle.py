"""Merkle tree hashing: one short value that stands for a list of records in their order, and proofs about it.

Leaves are given as their hashes (`leaf_hash`), so that a caller need not hold the records themselves.

Source: RFC 9162 (Certificate Transparency 2.0), section 2.1, with SHA-256; the hashes and proofs are those of
RFC 6962. What this module ignores: signatures, which stand in `seals.py`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce

HASH_BYTES = 32
LEAF, NODE = b"\x00", b"\x01"
"""What stands before the input, so that no leaf can pass for a node. Source: RFC 9162, 2.1.1."""


def leaf_hash(record: bytes) -> bytes:
    """Hash of one record: SHA-256 of 0x00 and the record."""
    return hashlib.sha256(LEAF + record).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of two subtrees side by side: SHA-256 of 0x01 and both."""
    return hashlib.sha256(NODE + left + right).digest()


@dataclass(frozen=True, slots=True)
class Frontier:
    """A tree to which leaves can still be added: the hashes of the perfect subtrees that it consists of.

    Args:
        size: number of leaves.
        peaks: one hash per bit that is set in `size`, of the largest subtree first.

    Raises:
        ValueError: the number of peaks does not belong to the size.
    """

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if self.size < 0 or len(self.peaks) != self.size.bit_count():
            raise ValueError(f"A tree of {self.size} leaves does not consist of {len(self.peaks)} perfect trees.")

    @property
    def root(self) -> bytes:
        """Hash of the whole tree; that of no leaves is the hash of nothing."""
        if not self.peaks:
            return hashlib.sha256(b"").digest()
        return reduce(lambda right, left: node_hash(left, right), reversed(self.peaks))

    def grown(self, leaves: Iterable[bytes]) -> Frontier:
        """The tree with these leaf hashes after its own."""
        size, peaks = self.size, list(self.peaks)
        for leaf in leaves:
            joined, bits = leaf, size
            while bits & 1:
                joined, bits = node_hash(peaks.pop(), joined), bits >> 1
            peaks.append(joined)
            size += 1
        return Frontier(size, tuple(peaks))


def root_of(leaves: Iterable[bytes]) -> bytes:
    """Tree head of these leaf hashes. Source: RFC 9162, 2.1.1."""
    return Frontier().grown(leaves).root


def inclusion_proof(leaves: Sequence[bytes], position: int) -> list[bytes]:
    """The hashes that lead from one leaf to the root.

    Args:
        leaves: every leaf hash of the tree.
        position: which leaf, from 0.

    Returns:
        The hashes beside the way up, the lowest first.

    Raises:
        ValueError: there is no leaf at this position.

    Source: RFC 9162, 2.1.3.1.
    """
    if not 0 <= position < len(leaves):
        raise ValueError(f"Cannot prove leaf {position}: the tree has {len(leaves)} leaves.")
    if len(leaves) == 1:
        return []
    half = _half(len(leaves))
    if position < half:
        return [*inclusion_proof(leaves[:half], position), root_of(leaves[half:])]
    return [*inclusion_proof(leaves[half:], position - half), root_of(leaves[:half])]


def includes(root: bytes, size: int, position: int, leaf: bytes, proof: Sequence[bytes]) -> bool:
    """Whether the proof shows this leaf hash at this position of the tree with this root.

    Source: RFC 9162, 2.1.3.2.
    """
    if not 0 <= position < size:
        return False
    _, up = _climbed(position, size - 1, leaf, proof)
    return up == root


def _climbed(here: int, last: int, first: bytes, proof: Iterable[bytes]) -> tuple[bytes, bytes]:
    """Climb from a node to the root, along the edge that the older tree had and along that of the newer.

    Returns:
        Root of the older and of the newer tree; empty hashes when the proof is too long or too short.
    """
    before = after = first
    for beside in proof:
        if last == 0:
            return b"", b""
        if here & 1 or here == last:
            before, after = node_hash(beside, before), node_hash(beside, after)
            while not here & 1 and here:
                here, last = here >> 1, last >> 1
        else:
            after = node_hash(after, beside)
        here, last = here >> 1, last >> 1
    return (before, after) if last == 0 else (b"", b"")


def consistency_proof(leaves: Sequence[bytes], older: int) -> list[bytes]:
    """The hashes which show that the tree only grew since it had `older` leaves.

    Args:
        leaves: every leaf hash of the tree as it is now.
        older: number of leaves of the older tree, at least 1.

    Raises:
        ValueError: the older tree is empty or larger than this one.

    Source: RFC 9162, 2.1.4.1.
    """
    if not 0 < older <= len(leaves):
        raise ValueError(f"Cannot prove growth from {older} leaves to {len(leaves)}.")
    return _subproof(leaves, older, whole=True)


def _subproof(leaves: Sequence[bytes], older: int, *, whole: bool) -> list[bytes]:
    if older == len(leaves):
        return [] if whole else [root_of(leaves)]
    half = _half(len(leaves))
    if older <= half:
        return [*_subproof(leaves[:half], older, whole=whole), root_of(leaves[half:])]
    return [*_subproof(leaves[half:], older - half, whole=False), root_of(leaves[:half])]


def only_grew(older: int, older_root: bytes, newer: int, newer_root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether the proof shows that the newer tree begins with all of the older one, unchanged.

    Source: RFC 9162, 2.1.4.2.
    """
    if not 0 < older <= newer:
        return False
    if older == newer:
        return not proof and older_root == newer_root
    path = [older_root, *proof] if older.bit_count() == 1 else list(proof)
    if not path:
        return False
    here, last = older - 1, newer - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    return _climbed(here, last, path[0], path[1:]) == (older_root, newer_root)


def _half(size: int) -> int:
    """The largest power of two below the size: how many leaves stand in the left subtree."""
    return 1 << (size - 1).bit_length() - 1
