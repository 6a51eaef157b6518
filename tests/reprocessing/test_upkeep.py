"""The upkeep of machines: test cycles in a row."""

from __future__ import annotations

import pytest

from reprocessing.states import LoadState, Result
from reprocessing.upkeep import EmptyCycle, Proof, proof_of, proven

P, F, W = Result.PASSED, Result.FAILED, Result.WAITING


def cycle(said: str) -> EmptyCycle:
    """Released, with one biological indicator: negative (-), positive (+), or still to be read (?)."""
    return EmptyCycle(said, LoadState.RELEASED, ({"-": P, "+": F, "?": W}[said],), indicator_needed=True)


@pytest.mark.parametrize(
    ("state", "indicators", "needed", "result"),
    [
        (LoadState.RELEASED, (P,), True, P),
        (LoadState.RELEASED, (P, P), True, P),
        (LoadState.RELEASED, (P, W), True, W),
        (LoadState.RELEASED, (P, F), True, F),
        (LoadState.RELEASED, (), True, W),
        (LoadState.RELEASED, (), False, P),
        (LoadState.AWAITING_RELEASE, (P,), True, W),
        (LoadState.AWAITING_RELEASE, (F,), True, F),
        (LoadState.RUNNING, (), False, W),
        (LoadState.REJECTED, (P,), True, F),
        (LoadState.RECALLED, (P,), True, F),
    ],
)
def test_what_a_test_cycle_says(
    state: LoadState, indicators: tuple[Result, ...], *, needed: bool, result: Result
) -> None:
    assert EmptyCycle("L1", state, indicators, indicator_needed=needed).result is result


@pytest.mark.parametrize(
    ("said", "passed", "enough"),
    [
        # CDC Guideline 2008, recommendation on monitoring of sterilisers: three consecutive cycles, all negative.
        ("", 0, False),
        ("--", 2, False),
        ("---", 3, True),
        ("----", 4, True),
        ("--+", 0, False),
        ("--+--", 2, False),
        ("+---", 3, True),
        ("--?-", 3, True),
        ("-?-", 2, False),
    ],
)
def test_cycles_count_in_a_row(said: str, passed: int, *, enough: bool) -> None:
    proof = proof_of(map(cycle, said), wanted=3)
    assert (proof.passed, proof.enough, len(proof.waiting)) == (passed, enough, said.count("?"))


def test_the_count_is_told_and_forbids_while_it_is_too_low() -> None:
    proof = Proof(2, 3, ("L000009",))
    assert proof.words == "2 of 3 passed; waiting for their result: L000009"
    (finding,) = proven("M000001", "Steamer 1", proof)
    assert "Cannot return Steamer 1 to service" in finding.words
    assert not list(proven("M000001", "Steamer 1", Proof(3, 3)))


@pytest.mark.parametrize("numbers", [(-1, 3), (0, -1)])
def test_numbers_are_not_below_zero(numbers: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        Proof(*numbers)
