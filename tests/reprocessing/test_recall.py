"""Which loads a positive indicator calls back: the worked example of both published rules, and what always holds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reprocessing.recall import (
    NON_STEAM,
    STEAM_REPEAT,
    STRICT,
    Biology,
    Cycle,
    Policy,
    policy_for,
    scope_of,
    unsettled,
)

SIGNS = {"-": Biology.NEGATIVE, "+": Biology.POSITIVE, ".": Biology.NONE}


def cycles(signs: str, *implants: int) -> list[Cycle]:
    """Cycles from 1, one per sign."""
    return [Cycle(n, f"c{n}", SIGNS[sign], n in implants) for n, sign in enumerate(signs, start=1)]


def called(signs: str, policy: Policy, *implants: int) -> list[int]:
    return [int(row.load[1:]) for row in scope_of(cycles(signs, *implants), policy).called]


# The example is built from the two rules: ANSI/AAMI ST79 as quoted in training text (every positive), and
# CDC Guideline 2008, table 12 (steam: implants at once, the rest when a further indicator is positive).


@pytest.mark.parametrize("policy", [STRICT, NON_STEAM])
def test_every_positive_calls_back_from_the_last_negative_to_the_next_satisfactory(policy: Policy) -> None:
    assert called("-..+.+-", policy) == [2, 3, 4, 5, 6]


def test_a_first_positive_of_steam_calls_back_nothing_but_implants() -> None:
    assert called("-..+", STEAM_REPEAT) == []
    assert called("-..+", STEAM_REPEAT, 1, 3) == [3]
    assert called("-..+", STEAM_REPEAT, 4) == [4]


def test_a_further_positive_of_steam_calls_back_everything_since_the_last_negative() -> None:
    assert called("-..+.+-", STEAM_REPEAT) == [2, 3, 4, 5, 6]
    assert called("-..+.+", STEAM_REPEAT) == [2, 3, 4, 5, 6]


def test_a_positive_among_the_three_repeats_counts_although_one_was_negative() -> None:
    assert called("-.+-.+-", STEAM_REPEAT) == [2, 3, 5, 6]
    assert called("-.+---+-", STEAM_REPEAT) == []


def test_what_is_done_next() -> None:
    assert scope_of(cycles("-.+"), STRICT).repeats_due == 3
    assert "3 consecutive cycles" in scope_of(cycles("-.+"), STRICT).next_steps[1]
    assert "1 cycle;" in scope_of(cycles("+--"), STRICT).next_steps[1]
    assert scope_of(cycles("-.+---"), STRICT).next_steps == ()
    assert scope_of(cycles("-.-"), STRICT).next_steps == ()
    assert scope_of(cycles("-.+."), STRICT).open_end
    assert not scope_of(cycles("-.+-"), STRICT).open_end


def test_each_load_says_why() -> None:
    why = {row.load: row.why for row in scope_of(cycles("-.+.-"), STRICT).called}
    assert why == {
        "c2": "no negative indicator between it and c3, before which it ran",
        "c3": "its biological indicator is positive",
        "c4": "no negative indicator between it and c3, after which it ran",
    }
    (implant,) = scope_of(cycles("-.+", 2), STEAM_REPEAT).called
    assert implant.why == "it holds an implant, and the indicator of c3 is positive"


def test_the_policy_of_a_machine() -> None:
    assert policy_for(steam=True, every_positive=True) is STRICT
    assert policy_for(steam=True, every_positive=False) is STEAM_REPEAT
    assert policy_for(steam=False, every_positive=False) is NON_STEAM


def test_malformed_cycles_are_refused() -> None:
    with pytest.raises(ValueError, match="code of its load"):
        Cycle(1, "", Biology.NONE)
    with pytest.raises(ValueError, match="same number"):
        scope_of([Cycle(1, "a", Biology.NONE), Cycle(1, "b", Biology.NONE)], STRICT)


SOME = st.text("-+.", max_size=12)
IMPLANTS = st.sets(st.integers(1, 12))


@given(SOME)
def test_every_positive_agrees_with_its_definition(signs: str) -> None:
    """Written anew: a cycle is called back when a walk to a positive one, either way, meets no negative one."""
    wanted = [
        n
        for n, sign in enumerate(signs, start=1)
        if sign != "-" and ("+" in signs[n - 1 :].split("-", maxsplit=1)[0] or "+" in signs[:n].rpartition("-")[2])
    ]
    assert called(signs, STRICT) == wanted


@given(SOME, IMPLANTS)
def test_waiting_for_the_repeat_never_calls_back_more(signs: str, implants: set[int]) -> None:
    strict, repeat = called(signs, STRICT, *implants), called(signs, STEAM_REPEAT, *implants)
    assert set(repeat) <= set(strict)
    assert {n for n in strict if n in implants} <= set(repeat)


@given(SOME, st.randoms())
def test_the_order_in_which_cycles_are_given_is_of_no_account(signs: str, random: object) -> None:
    rows = cycles(signs)
    random.shuffle(rows)  # type: ignore[attr-defined]
    assert scope_of(rows, STRICT) == scope_of(cycles(signs), STRICT)


@pytest.mark.parametrize(
    ("signs", "kept"),
    [
        ("", []),
        ("-.-", []),
        ("..+", [1, 2, 3]),
        ("+---.+.", [4, 5, 6, 7]),
        ("+--+", [1, 2, 3, 4]),
        ("+-.--.+", [5, 6, 7]),
    ],
)
def test_three_consecutive_negatives_settle_what_ran_before_them(signs: str, kept: list[int]) -> None:
    assert [cycle.number for cycle in unsettled(cycles(signs))] == kept


@given(SOME)
def test_what_is_settled_changes_nothing_of_the_last_stretch(signs: str) -> None:
    """The last positive calls back the same loads with and without the history before it."""
    whole, rest = (scope_of(rows, STRICT).called for rows in (cycles(signs), unsettled(cycles(signs))))
    assert whole[len(whole) - len(rest) :] == rest
