"""What must never happen at packing: nevers 2, 4, 7 and 9, on either database and under racing writers."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from instruments import actions as instrument_actions
from instruments.loans import Direction
from instruments.models import PartKind, Piece, PieceLine
from instruments.states import PieceState
from journal.actions import Act, Done
from journal.findings import Refused
from journal.roles import Role
from tests import makers
from tests.makers import AT, act, refused
from trays.actions import (
    finish_tray,
    join_closed_set,
    pack_single,
    put_on_tray,
    take_off_tray,
)
from trays.models import Carried, ClosedMember, Content, Pack, Placement
from trays.states import PackKind, PackState

pytestmark = pytest.mark.django_db


# Never 2: one place at a time, and nothing packed that was not cleaned and inspected since its last use


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_2_a_piece_goes_on_one_of_eight_trays() -> None:
    piece, trays, who = makers.piece(), [makers.tray() for _ in range(8)], act()
    answers = makers.at_once(*(partial(put_on_tray, piece.code, tray.code, act=who) for tray in trays))
    assert sorted(type(answer).__name__ for answer in answers) == ["Done"] + ["Refused"] * 7
    assert {answer.code for answer in answers if isinstance(answer, Refused)} == {"wrong-state"}
    assert Placement.objects.count() == 1
    assert PieceLine.objects.filter(verb="put_on_tray").count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_2_a_piece_is_wrapped_or_laid_once() -> None:
    piece, tray, who = makers.piece(), makers.tray(), act()
    answers = makers.at_once(
        *[lambda: pack_single(piece.code, act=who)] * 4,
        *[lambda: put_on_tray(piece.code, tray.code, act=who)] * 4,
    )
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    assert Carried.objects.count() + Placement.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_2_eight_who_finish_one_tray_make_one_pack() -> None:
    tray, who = makers.lay(makers.tray()), act()
    answers = makers.at_once(*[lambda: finish_tray(tray.code, act=who)] * 8)
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    refusals = [answer for answer in answers if isinstance(answer, Refused)]
    assert {refusal.code for refusal in refusals} == {"tray-packed"}
    assert Pack.objects.count() == 1
    assert Content.objects.count() == Carried.objects.count() == 1


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_2_what_is_taken_off_while_the_tray_is_finished_is_not_packed() -> None:
    """The finish has read what lies on the tray and waits for a piece that is being carried to another."""
    part = makers.part()
    tray, other = makers.tray(makers.template(part)), makers.tray(makers.template(part))
    stays, leaves = makers.piece(part), makers.piece(part)
    makers.lay(tray, stays, leaves)
    who = act()
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            take_off_tray(leaves.code, act=who)
            finishing = pool.submit(makers.apart(partial(finish_tray, tray.code, act=who)))
            time.sleep(0.5)
            put_on_tray(leaves.code, other.code, act=who)
        done = finishing.result()
    assert isinstance(done, Done), done
    assert list(Content.objects.values_list("piece_id", flat=True)) == [stays.pk]
    assert list(Carried.objects.values_list("piece_id", flat=True)) == [stays.pk]
    leaves.refresh_from_db()
    assert (leaves.state, leaves.placement.tray) == (PieceState.ON_TRAY, other)


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_2_taking_off_laying_and_finishing_at_once_lose_no_piece() -> None:
    part = makers.part()
    tray, other = makers.tray(makers.template(part)), makers.tray(makers.template(part))
    pieces = [makers.piece(part) for _ in range(7)]
    makers.lay(tray, *pieces)
    who = act()

    def carry_over(code: str) -> Done:
        take_off_tray(code, act=who)
        return put_on_tray(code, other.code, act=who)

    makers.at_once(
        *(partial(carry_over, piece.code) for piece in pieces[1:]), partial(finish_tray, tray.code, act=who)
    )
    pack = Pack.objects.get()
    carried = set(Carried.objects.filter(pack=pack).values_list("piece_id", flat=True))
    laid = set(Placement.objects.filter(tray=other).values_list("piece_id", flat=True))
    assert carried | laid == {piece.pk for piece in pieces}
    assert not carried & laid
    assert set(pack.contents.values_list("piece_id", flat=True)) == carried
    assert set(Piece.objects.filter(state=PieceState.PACKED).values_list("pk", flat=True)) == carried


@pytest.mark.parametrize("state", [PieceState.RETURNED, PieceState.IN_WASHER, PieceState.CLEANED])
def test_never_2_nothing_is_packed_before_it_is_cleaned_and_inspected(state: PieceState) -> None:
    piece, tray = makers.piece(state=state), makers.tray()
    assert refused(lambda: put_on_tray(piece.code, tray.code, act=act())) == ["wrong-state"]
    assert refused(lambda: pack_single(piece.code, act=act())) == ["wrong-state"]


@pytest.mark.storage
def test_never_2_the_database_knows_one_pack_and_one_tray_for_a_piece() -> None:
    pack, other = makers.single(), makers.single()
    piece = Piece.objects.get(carried__pack=pack)
    with pytest.raises(IntegrityError), transaction.atomic():
        Carried.objects.create(piece=piece, pack=other)
    laid = makers.piece()
    makers.lay(makers.tray(), laid)
    with pytest.raises(IntegrityError), transaction.atomic():
        Placement.objects.create(piece=laid, tray=makers.tray(), by=makers.everybody())
    tray = makers.tray()
    makers.pack(tray)
    with pytest.raises(IntegrityError), transaction.atomic():
        Pack.objects.filter(pk=pack.pk).update(kind=PackKind.TRAY, tray=tray, version=tray.template.versions.get())


@pytest.mark.storage
@pytest.mark.parametrize("state", [PieceState.INSPECTED, PieceState.ON_TRAY, PieceState.PACKED])
def test_never_2_the_database_wants_every_packed_piece_cleaned_and_then_inspected(state: PieceState) -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    for fields in (
        {},
        {"cleaned_at": AT},
        {"inspected_at": AT},
        {"cleaned_at": AT, "inspected_at": AT - timedelta(minutes=1)},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Piece.objects.filter(pk=piece.pk).update(state=state, **fields)


def test_never_2_a_used_piece_starts_anew() -> None:
    piece = Piece.objects.get(carried__pack=makers.single())
    makers.move(piece, "use")
    makers.move(piece, "take_back")
    Carried.objects.all().delete()
    piece.refresh_from_db()
    assert (piece.state, piece.cleaned_at, piece.inspected_at) == (PieceState.RETURNED, None, None)


# Never 4: life limit, service date, failed test, withdrawn, on repair, missing


def worn_out() -> Piece:
    return makers.piece(makers.part(life_limit=10), cycles=10)


def overdue() -> Piece:
    return makers.piece(service_due=AT.date() - timedelta(days=1))


def past_its_expiry() -> Piece:
    return makers.piece(expires=AT.date() - timedelta(days=1))


def failed_function() -> Piece:
    return makers.piece(function_ok=False)


def failed_insulation() -> Piece:
    return makers.piece(insulation_ok=False)


def untested() -> Piece:
    """Its part came to need a test after the piece had been inspected."""
    piece = makers.piece()
    piece.part.function_test = True
    piece.part.save()
    return piece


@pytest.mark.parametrize(
    ("make", "slug"),
    [
        (worn_out, "life-limit-reached"),
        (overdue, "service-overdue"),
        (past_its_expiry, "expired"),
        (failed_function, "function-test-failed"),
        (failed_insulation, "insulation-test-failed"),
        (untested, "function-test-missing"),
    ],
)
def test_never_4_what_may_not_be_packed_is_neither_laid_nor_wrapped(make: Any, slug: str) -> None:
    piece = make()
    if slug in ("function-test-failed", "insulation-test-failed"):
        Piece.objects.filter(pk=piece.pk).update(**{slug.replace("-test-failed", "_ok"): False})
    assert refused(lambda: put_on_tray(piece.code, makers.tray().code, act=act())) == [slug]
    assert refused(lambda: pack_single(piece.code, act=act())) == [slug]


def test_never_4_a_piece_inspected_again_with_its_test_may_be_packed() -> None:
    piece = untested()
    instrument_actions.inspect(piece.code, clean=True, function=True, act=act())
    assert pack_single(piece.code, act=act()).state == PackState.ASSEMBLED


def test_never_4_a_date_that_passes_on_the_tray_stops_the_finish() -> None:
    piece = makers.piece(service_due=AT.date())
    tray = makers.lay(makers.tray(makers.template(piece.part)), piece)
    late = act(at=AT + timedelta(days=1))
    assert refused(lambda: finish_tray(tray.code, act=late)) == ["service-overdue"]
    assert finish_tray(tray.code, act=act()).state == PackState.ASSEMBLED


def lend(piece: str, *, reason: str, act: Act) -> Done:
    """On a loan of its own."""
    return instrument_actions.lend(piece, makers.loan(Direction.OUT).code, condition=reason, act=act)


@pytest.mark.parametrize(
    "leave",
    [
        instrument_actions.withdraw,
        instrument_actions.send_to_repair,
        instrument_actions.miss,
        lend,
        instrument_actions.quarantine_piece,
    ],
)
def test_never_4_what_is_out_of_the_loop_is_not_packed(leave: Any) -> None:
    piece = makers.piece()
    leave(piece.code, reason="bent", act=act())
    assert refused(lambda: put_on_tray(piece.code, makers.tray().code, act=act())) == ["wrong-state"]
    assert refused(lambda: pack_single(piece.code, act=act())) == ["wrong-state"]


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_4_a_piece_is_packed_or_withdrawn_not_both() -> None:
    piece, who = makers.piece(), act()
    answers = makers.at_once(
        *[lambda: pack_single(piece.code, act=who)] * 4,
        *[lambda: instrument_actions.withdraw(piece.code, reason="bent", act=who)] * 4,
    )
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    piece.refresh_from_db()
    assert Carried.objects.filter(piece=piece).exists() == (piece.state == PieceState.PACKED)


@pytest.mark.storage
@pytest.mark.parametrize("test", ["function_ok", "insulation_ok"])
def test_never_4_the_database_packs_nothing_with_a_failed_test(test: str) -> None:
    piece = makers.piece()
    with pytest.raises(IntegrityError), transaction.atomic():
        Piece.objects.filter(pk=piece.pk).update(state=PieceState.PACKED, **{test: False})


# Never 7: closed sets


def closed_tray(*pieces: Piece) -> Any:
    tray = makers.tray(makers.template(*{piece.part for piece in pieces}), closed=True)
    for piece in pieces:
        join_closed_set(piece.code, tray.code, reason="tissue-risk set", act=act())
    return tray


def test_never_7_a_closed_set_takes_its_own_pieces_only() -> None:
    own, foreign = makers.piece(), makers.piece()
    tray = closed_tray(own)
    assert refused(lambda: put_on_tray(foreign.code, tray.code, act=act())) == ["closed-set"]
    assert refused(lambda: put_on_tray(own.code, makers.tray().code, act=act())) == ["closed-set"]
    assert refused(lambda: pack_single(own.code, act=act())) == ["closed-set"]
    assert put_on_tray(own.code, tray.code, act=act()).state == PieceState.ON_TRAY


def test_never_7_a_repaired_piece_returns_to_its_own_set() -> None:
    piece = makers.piece()
    tray = closed_tray(piece)
    instrument_actions.send_to_repair(piece.code, reason="bent", act=act())
    instrument_actions.take_from_repair(piece.code, act=act())
    piece.refresh_from_db()
    makers.process(piece)
    assert refused(lambda: put_on_tray(piece.code, makers.tray().code, act=act())) == ["closed-set"]
    assert put_on_tray(piece.code, tray.code, act=act()).state == PieceState.ON_TRAY


def test_never_7_a_set_closed_while_it_is_assembled_lets_no_stranger_through() -> None:
    tray = makers.lay(makers.tray())
    tray.closed = True
    tray.save()
    assert refused(lambda: finish_tray(tray.code, act=act())) == ["closed-set"]


def test_never_7_joining_is_a_named_decision_with_a_reason() -> None:
    piece, tray = makers.piece(), makers.tray(closed=True)
    technician = act(makers.person(Role.TECHNICIAN))
    assert refused(lambda: join_closed_set(piece.code, tray.code, reason="new", act=technician)) == ["right-missing"]
    assert refused(lambda: join_closed_set(piece.code, tray.code, reason=" ", act=act())) == ["reason-missing"]
    lead = act(makers.person(Role.QUALITY))
    join_closed_set(piece.code, tray.code, reason="replacement", act=lead)
    line = PieceLine.objects.get(verb="join_closed_set")
    assert (line.person, line.reason, line.evidence) == (lead.by, "replacement", {"tray": tray.code})


def test_never_7_a_piece_joins_one_set_and_not_while_it_is_engaged() -> None:
    tray = makers.tray(closed=True)
    member, gone = makers.piece(), makers.piece()
    closed_tray(member)
    laid, packed = makers.piece(), Piece.objects.get(carried__pack=makers.single())
    makers.lay(makers.tray(), laid)
    instrument_actions.withdraw(gone.code, reason="bent", act=act())
    for piece, slug in (
        (member, "closed-set"),
        (laid, "piece-engaged"),
        (packed, "piece-engaged"),
        (gone, "wrong-state"),
    ):
        call = partial(join_closed_set, piece.code, tray.code, reason="new", act=act())
        assert refused(call) == [slug]
    open_tray = makers.tray()
    assert refused(lambda: join_closed_set(makers.piece().code, open_tray.code, reason="new", act=act())) == [
        "set-not-closed"
    ]


@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_never_7_a_piece_joins_one_of_eight_sets() -> None:
    piece, trays, who = makers.piece(), [makers.tray(closed=True) for _ in range(8)], act()
    answers = makers.at_once(
        *(partial(join_closed_set, piece.code, tray.code, reason="new", act=who) for tray in trays)
    )
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    assert ClosedMember.objects.count() == 1


# Never 9: single use


def opened(*, unused: bool, permission: str = "", kind: PartKind = PartKind.OTHER) -> Piece:
    """A single-use item whose pack was opened, washed and inspected once more."""
    part = makers.part(kind, single_use=True, reprocess_unused=permission)
    piece = Piece.objects.get(carried__pack=makers.single(makers.piece(part)))
    Carried.objects.filter(piece=piece).delete()
    makers.move(piece, "use")
    makers.move(piece, "take_back", evidence={"unused": unused})
    piece.refresh_from_db()
    return makers.process(piece)


@pytest.mark.parametrize("kind", [PartKind.OTHER, PartKind.IMPLANT])
@pytest.mark.parametrize(
    ("unused", "permission", "slug"),
    [
        (False, "", "single-use-used"),
        (False, "maker's sheet 4, section 2", "single-use-used"),
        (True, "", "single-use-opened"),
    ],
)
def test_never_9_an_opened_single_use_item_is_not_packed(
    kind: PartKind, unused: bool, permission: str, slug: str
) -> None:
    piece = opened(unused=unused, permission=permission, kind=kind)
    tray = makers.tray(makers.template(piece.part))
    assert refused(lambda: put_on_tray(piece.code, tray.code, act=act())) == [slug]
    assert refused(lambda: pack_single(piece.code, act=act())) == [slug]


def test_never_9_an_unused_one_is_packed_where_its_maker_permits() -> None:
    piece = opened(unused=True, permission="maker's sheet 4, section 2")
    assert pack_single(piece.code, act=act()).state == PackState.ASSEMBLED


def test_never_9_an_item_that_was_never_opened_is_packed() -> None:
    piece = makers.piece(makers.part(single_use=True))
    assert pack_single(piece.code, act=act()).state == PackState.ASSEMBLED
