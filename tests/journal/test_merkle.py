"""The tree of the sealed trail against published vectors, a naive recursion, and every altered bit."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.merkle import (
    HASH_BYTES,
    Frontier,
    consistency_proof,
    includes,
    inclusion_proof,
    leaf_hash,
    only_grew,
    root_of,
)

# The eight records, the roots of their first 0 to 8, and the proofs with which the reference implementation of
# RFC 6962 tests its tree. Written down from memory, then compared with published copies of those tests; the
# recursion below computes them once more.
RECORDS = [
    bytes.fromhex(record)
    for record in (
        "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
    )
]  # fmt: skip
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
ONE = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"
PAIR = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e"
RIGHT = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"
SEVENTH = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"
FIFTH = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
THIRD_PAIR = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a"
# Position, size, proof.
INCLUSION: list[tuple[int, int, list[str]]] = [
    (0, 1, []),
    (0, 8, [ONE, PAIR, RIGHT]),
    (5, 8, [FIFTH, SEVENTH, ROOTS[4]]),
    (2, 3, [ROOTS[2]]),
    (1, 5, [ROOTS[1], PAIR, FIFTH]),
]
# Older size, newer size, proof.
CONSISTENCY: list[tuple[int, int, list[str]]] = [
    (1, 1, []),
    (1, 8, [ONE, PAIR, RIGHT]),
    (6, 8, [THIRD_PAIR, SEVENTH, ROOTS[4]]),
    (2, 5, [PAIR, FIFTH]),
]

LEAVES = [leaf_hash(record) for record in RECORDS]


def naive(records: list[bytes]) -> bytes:
    """The definition of RFC 9162, 2.1.1, word for word."""
    if not records:
        return hashlib.sha256(b"").digest()
    if len(records) == 1:
        return hashlib.sha256(b"\x00" + records[0]).digest()
    k = 1
    while k * 2 < len(records):
        k *= 2
    return hashlib.sha256(b"\x01" + naive(records[:k]) + naive(records[k:])).digest()


def hexed(proof: list[bytes]) -> list[str]:
    return [step.hex() for step in proof]


@pytest.mark.parametrize("size", range(9))
def test_roots_are_the_published_ones(size: int) -> None:
    assert root_of(LEAVES[:size]).hex() == ROOTS[size]
    assert naive(RECORDS[:size]).hex() == ROOTS[size]


@pytest.mark.parametrize(("position", "size", "proof"), INCLUSION)
def test_inclusion_proofs_are_the_published_ones(position: int, size: int, proof: list[str]) -> None:
    assert hexed(inclusion_proof(LEAVES[:size], position)) == proof
    steps = [bytes.fromhex(step) for step in proof]
    assert includes(bytes.fromhex(ROOTS[size]), size, position, LEAVES[position], steps)


@pytest.mark.parametrize(("older", "newer", "proof"), CONSISTENCY)
def test_consistency_proofs_are_the_published_ones(older: int, newer: int, proof: list[str]) -> None:
    assert hexed(consistency_proof(LEAVES[:newer], older)) == proof
    steps = [bytes.fromhex(step) for step in proof]
    assert only_grew(older, bytes.fromhex(ROOTS[older]), newer, bytes.fromhex(ROOTS[newer]), steps)


# Any tree

records = st.lists(st.binary(max_size=4), max_size=70)
some_records = st.lists(st.binary(max_size=4), min_size=1, max_size=40, unique=True)


@given(records, st.integers(0, 70))
def test_a_tree_grown_in_two_steps_is_the_tree_of_the_definition(entries: list[bytes], first: int) -> None:
    leaves = [leaf_hash(entry) for entry in entries]
    grown = Frontier().grown(leaves[:first]).grown(leaves[first:])
    assert (grown.size, grown.root) == (len(entries), naive(entries))


def flipped(hashed: bytes, bit: int) -> bytes:
    return (int.from_bytes(hashed, "big") ^ 1 << bit).to_bytes(HASH_BYTES, "big")


bits = st.integers(0, 8 * HASH_BYTES - 1)


@given(some_records, st.data(), bits)
def test_a_leaf_is_proved_where_it_stands_and_nowhere_else(
    entries: list[bytes], data: st.DataObject, bit: int
) -> None:
    leaves, size = [leaf_hash(entry) for entry in entries], len(entries)
    position = data.draw(st.integers(0, size - 1))
    root, leaf, proof = naive(entries), leaves[position], inclusion_proof(leaves, position)
    assert includes(root, size, position, leaf, proof)
    assert not includes(flipped(root, bit), size, position, leaf, proof)
    assert not includes(root, size, position, flipped(leaf, bit), proof)
    for step in range(len(proof)):
        assert not includes(root, size, position, leaf, [*proof[:step], flipped(proof[step], bit), *proof[step + 1 :]])
    assert not includes(root, size, position, leaf, [*proof, root])
    assert not includes(root, size, position, leaf, proof[:-1]) or not proof
    for other in set(range(size)) - {position}:
        assert not includes(root, size, other, leaf, proof)
    assert not includes(root, size, size, leaf, proof)
    assert not includes(root, size, -1, leaf, proof)


@given(some_records, st.data(), bits)
def test_growth_is_proved_and_no_altered_proof_of_it(entries: list[bytes], data: st.DataObject, bit: int) -> None:
    leaves, newer = [leaf_hash(entry) for entry in entries], len(entries)
    older = data.draw(st.integers(1, newer))
    old, new, proof = naive(entries[:older]), naive(entries), consistency_proof(leaves, older)
    assert only_grew(older, old, newer, new, proof)
    assert not only_grew(older, flipped(old, bit), newer, new, proof)
    assert not only_grew(older, old, newer, flipped(new, bit), proof)
    for step in range(len(proof)):
        assert not only_grew(older, old, newer, new, [*proof[:step], flipped(proof[step], bit), *proof[step + 1 :]])
    assert not only_grew(older, old, newer, new, [*proof, new])
    assert not only_grew(older, old, newer, new, proof[:-1]) or not proof
    assert not only_grew(0, old, newer, new, proof)
    assert not only_grew(newer + 1, old, newer, new, proof)


@given(some_records, st.data())
def test_a_tree_that_was_rewritten_did_not_only_grow(entries: list[bytes], data: st.DataObject) -> None:
    older = data.draw(st.integers(1, len(entries)))
    changed = data.draw(st.integers(0, older - 1))
    rewritten = [leaf_hash(entry + b"x" if at == changed else entry) for at, entry in enumerate(entries)]
    proof = consistency_proof(rewritten, older)
    assert not only_grew(older, naive(entries[:older]), len(entries), root_of(rewritten), proof)


def test_an_empty_proof_of_growth_proves_nothing() -> None:
    assert not only_grew(3, root_of(LEAVES[:3]), 5, root_of(LEAVES[:5]), [])


@pytest.mark.parametrize("position", [-1, 3])
def test_no_proof_of_a_leaf_that_is_not_there(position: int) -> None:
    with pytest.raises(ValueError, match="the tree has 3 leaves"):
        inclusion_proof(LEAVES[:3], position)


@pytest.mark.parametrize("older", [0, 4])
def test_no_proof_of_growth_from_nothing_or_from_more(older: int) -> None:
    with pytest.raises(ValueError, match=f"from {older} leaves to 3"):
        consistency_proof(LEAVES[:3], older)


@pytest.mark.parametrize(("size", "peaks"), [(1, ()), (3, (b"",)), (-1, (b"",))])
def test_peaks_belong_to_their_size(size: int, peaks: tuple[bytes, ...]) -> None:
    with pytest.raises(ValueError, match="perfect trees"):
        Frontier(size, peaks)
