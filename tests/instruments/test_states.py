"""The state table of a piece: what may follow what, and what must never be reached."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from instruments.models import Piece, PieceLine
from instruments.states import CLEAN, PIECE_MOVES, PieceState
from instruments.writer import lock_piece, move_piece
from journal.findings import Refused
from journal.moves import Move
from journal.roles import RIGHTS
from tests import makers
from tests.makers import AT, act

S = PieceState
ALL = list(PIECE_MOVES.values())
SOILED = [S.IN_USE, S.RETURNED, S.IN_WASHER]


def test_a_move_is_known_by_its_name() -> None:
    assert all(move.name == name for name, move in PIECE_MOVES.items())


def test_every_right_of_a_move_is_held_by_some_role() -> None:
    held = frozenset().union(*RIGHTS.values())
    assert {move.right for move in ALL} <= held


def test_withdrawn_is_the_only_end_of_what_is_the_unit_s_own() -> None:
    """A borrowed piece goes back to its lender, and may come again."""
    borrowed = {"give_back", "receive_again"}
    ends = {state for state in S if not any(state in move.origins for move in ALL if move.name not in borrowed)}
    assert ends == {S.WITHDRAWN}


def test_every_state_but_the_first_is_reached() -> None:
    """A piece is entered at returned; every other state is the target of a move."""
    assert {move.target for move in ALL} | {S.RETURNED} == set(S)


def walks(origin: S, allowed: list[Move]) -> Iterator[S]:
    """Every state that can be reached from one."""
    seen, open_states = {origin}, [origin]
    while open_states:
        state = open_states.pop()
        for move in allowed:
            if state in move.origins and move.target not in seen:
                seen.add(S(move.target))
                open_states.append(S(move.target))
                yield S(move.target)


@pytest.mark.parametrize("dirty", [S.IN_USE, S.RETURNED])
def test_never_2_nothing_gets_packed_past_the_washer_or_past_the_eye(dirty: S) -> None:
    """Without the passed wash no clean state is reached; without the inspection none either."""
    for step in ("pass_wash", "inspect"):
        without = [move for move in ALL if move.name != step]
        assert not CLEAN & set(walks(dirty, without))
    assert set(CLEAN) <= set(walks(dirty, ALL))


@pytest.mark.parametrize("aside", [S.IN_REPAIR, S.ON_LOAN, S.MISSING, S.QUARANTINED])
def test_whatever_was_aside_re_enters_at_returned(aside: S) -> None:
    onward = {move.target for move in ALL if aside in move.origins}
    assert onward <= {S.RETURNED, S.WITHDRAWN, S.MISSING}


def test_never_7_nothing_leaves_quarantine_without_the_named_decision() -> None:
    assert {move.right.name for move in ALL if S.QUARANTINED in move.origins} == {"DECIDE"}


# The state is the fold of the trail

_VERBS = st.lists(st.sampled_from(sorted(PIECE_MOVES)), max_size=30)


@pytest.mark.django_db
@example(["pack", "use"])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(_VERBS)
def test_the_state_is_what_the_trail_adds_up_to(verbs: list[str]) -> None:
    """Random verbs, allowed or not: each one done has its line, each one refused has none."""
    piece = makers.piece(state=S.RETURNED)
    dates: dict[str, dict[str, Any]] = {"pass_wash": {"cleaned_at": AT}, "inspect": {"inspected_at": AT}}
    for verb in [*verbs, "put_in_washer", "pass_wash", "inspect", *verbs]:
        before = PieceLine.objects.filter(piece=piece).count()
        try:
            with transaction.atomic():
                move_piece(lock_piece(piece.code), verb, act(), **dates.get(verb, {}))
        except Refused:
            assert PieceLine.objects.filter(piece=piece).count() == before
    state = ""
    for line in PieceLine.objects.filter(piece=piece):
        assert line.origin == state
        state = line.target
    piece.refresh_from_db()
    assert piece.state == state
    if state in SOILED:
        assert (piece.cleaned_at, piece.inspected_at) == (None, None)


@pytest.mark.storage
@pytest.mark.django_db
def test_the_database_knows_no_other_state() -> None:
    piece = makers.piece()
    with pytest.raises(IntegrityError), transaction.atomic():
        Piece.objects.filter(pk=piece.pk).update(state="lost")
