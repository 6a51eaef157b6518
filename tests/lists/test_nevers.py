"""What must never happen at issue and at return, asked of the real actions, and raced by eight writers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial

import pytest
from django.db import IntegrityError, transaction

from instruments import actions as instrument_actions
from instruments.models import Piece, PieceLine
from instruments.states import PieceState
from journal.findings import Refused
from lists import actions
from lists.models import Case, CaseLine, Issue
from reprocessing import actions as reprocessing_actions
from reprocessing.models import Load
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import NOON
from tests.makers import act, at_once, refused
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED
from trays import actions as tray_actions
from trays.models import Pack
from trays.states import PackState

pytestmark = pytest.mark.storage
db = pytest.mark.django_db
WRITERS = 8


def race(test):  # type: ignore[no-untyped-def]
    """Mark a test that needs committed rows and several connections."""
    return pytest.mark.locking(pytest.mark.django_db(transaction=True)(test))


def answers(results: list[object]) -> list[object]:
    """What was not refused."""
    return [result for result in results if not isinstance(result, Refused)]


# 1. No pack is issued unless every load it went through was released, it is inside its shelf life, its
#    barrier was reported intact, and it is neither quarantined nor recalled.


def issue(pack: Pack, *, intact: bool = True, at: datetime = NOON) -> list[str]:
    """Try to issue it to a case that is open; slugs of what stands against it."""
    case = m.case()
    slugs = refused(lambda: actions.issue(pack.code, case.code, barrier_intact=intact, act=act(at=at)))
    assert not Issue.objects.filter(case=case).exists()
    return slugs


def at_stage(stage: PackState) -> Pack:
    """A pack brought to a state by what happens in the unit."""
    pack = makers.pack()
    if stage == PackState.ASSEMBLED:
        return pack
    if stage == PackState.IN_STERILISER:
        make.running(make.load(None, pack))
    elif stage == PackState.AWAITING_RELEASE:
        make.complete(make.load(None, pack))
    elif stage == PackState.VOID:
        load = make.complete(make.load(None, pack))
        reprocessing_actions.reject(load.code, reason="short hold", act=act(make.releaser(), at=DECIDED))
    else:
        _after_release(m.sterile(pack), stage)
    pack.refresh_from_db()
    return pack


def _after_release(pack: Pack, stage: PackState) -> None:
    if stage == PackState.QUARANTINED:
        tray_actions.quarantine_pack(pack.code, reason="wet", act=act(at=DECIDED))
    elif stage == PackState.RECALLED:
        load = Load.objects.get(load_packs__pack=pack)
        reprocessing_actions.recall_load(load.code, reason="failed indicator", act=act(at=DECIDED))
    elif stage == PackState.EXPIRED:
        tray_actions.expire_pack(pack.code, act=act(at=pack.use_by + timedelta(minutes=1)))
    else:
        m.returned(pack) if stage == PackState.RETURNED else m.opened(pack)


@db
@pytest.mark.parametrize("stage", [stage for stage in PackState if stage not in (PackState.STERILE, PackState.ISSUED)])
def test_1_no_pack_is_issued_in_any_other_state_than_sterile(stage: PackState) -> None:
    pack = at_stage(stage)
    assert pack.state == stage
    assert "wrong-state" in issue(pack)


@db
def test_1_no_pack_is_issued_whose_load_is_not_released_whatever_its_own_state_says() -> None:
    """As if a mistake elsewhere had left the pack sterile: the load itself is asked."""
    pack = m.sterile()
    Load.objects.filter(load_packs__pack=pack).update(state="recalled")
    assert issue(pack) == ["load-not-released"]


@db
def test_1_no_pack_is_issued_that_went_through_no_load() -> None:
    pack = makers.pack()
    Pack.objects.filter(pk=pack.pk).update(state=PackState.STERILE, barrier_intact=True)
    assert issue(pack) == ["never-sterilised"]


@db
def test_1_no_pack_is_issued_past_its_shelf_life() -> None:
    pack = m.sterile()
    assert issue(pack, at=pack.use_by + timedelta(minutes=1)) == ["expired"]


@db
def test_1_no_pack_is_issued_with_a_damaged_barrier() -> None:
    assert issue(m.sterile(), intact=False) == ["barrier-damaged"]


@db
def test_1_no_maker_pack_is_issued_past_its_expiry_or_damaged() -> None:
    pack = makers.maker_pack()
    assert set(issue(pack, at=pack.use_by + timedelta(days=1))) == {"expired"}
    assert issue(pack, intact=False) == ["barrier-damaged"]


@db
def test_1_no_pack_is_issued_whose_pieces_were_washed_in_a_recalled_load() -> None:
    washer = make.washer()
    piece = makers.piece(state=PieceState.RETURNED)
    wash = make.released(make.load(washer, piece))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=DECIDED))
    pack = m.sterile(makers.single(Piece.objects.get(pk=piece.pk), at=DECIDED))
    Load.objects.filter(pk=wash.pk).update(state="recalled")
    assert issue(pack) == ["wash-recalled"]


@db
def test_1_the_database_knows_no_sterile_or_issued_pack_with_a_damaged_barrier() -> None:
    pack = m.sterile()
    for state in (PackState.STERILE, PackState.ISSUED):
        for intact in (False, None):
            with pytest.raises(IntegrityError), transaction.atomic():
                Pack.objects.filter(pk=pack.pk).update(state=state, barrier_intact=intact)


@db
def test_1_a_pack_put_back_is_issued_only_when_it_was_looked_at() -> None:
    pack = m.issued()
    actions.put_back(pack.code, barrier_intact=False, act=act(at=NOON))
    pack.refresh_from_db()
    assert "wrong-state" in issue(pack)


@race
def test_1_one_pack_issued_to_eight_cases_at_once_goes_to_one() -> None:
    pack, by = m.sterile(), makers.everybody()
    cases = [m.case() for _ in range(WRITERS)]
    results = at_once(
        *[partial(actions.issue, pack.code, case.code, barrier_intact=True, act=act(by, at=NOON)) for case in cases]
    )
    assert len(answers(results)) == 1
    row = Issue.objects.get()
    assert CaseLine.objects.filter(verb="issue").values_list("case", flat=True).get() == row.case_id


@race
def test_1_a_pack_is_issued_or_recalled_never_issued_after_its_recall() -> None:
    packs, by = [m.sterile() for _ in range(4)], makers.everybody()
    cases = [m.case() for _ in packs]
    calls: list[Callable[[], object]] = []
    for pack, case in zip(packs, cases, strict=True):
        load = Load.objects.get(load_packs__pack=pack)
        calls.append(partial(actions.issue, pack.code, case.code, barrier_intact=True, act=act(by, at=NOON)))
        calls.append(
            partial(reprocessing_actions.recall_load, load.code, reason="failed indicator", act=act(by, at=NOON))
        )
    at_once(*calls)
    assert {pack.state for pack in Pack.objects.all()} == {PackState.RECALLED}
    for pack in Pack.objects.all():
        verbs = list(pack.lines.order_by("pk").values_list("verb", flat=True))
        assert "issue" not in verbs[verbs.index("recall") :]


@race
def test_1_a_pack_quarantined_by_seven_while_it_is_issued_ends_in_quarantine() -> None:
    pack, case, by = m.sterile(), m.case(), makers.everybody()
    hold = partial(tray_actions.quarantine_pack, pack.code, reason="wet", act=act(by, at=NOON))
    give = partial(actions.issue, pack.code, case.code, barrier_intact=True, act=act(by, at=NOON))
    at_once(give, *[hold] * (WRITERS - 1))
    pack.refresh_from_db()
    assert pack.state == PackState.QUARANTINED


@race
def test_1_a_pack_put_back_by_eight_at_once_is_put_back_once() -> None:
    pack, by = m.issued(), makers.everybody()
    put_back = partial(actions.put_back, pack.code, barrier_intact=True, act=act(by, at=NOON))
    assert len(answers(at_once(*[put_back] * WRITERS))) == 1
    assert pack.lines.filter(verb="put_back").count() == 1


@race
def test_1_a_case_opened_with_eight_packs_at_once_begins_once() -> None:
    case, by = m.case(), makers.everybody()
    packs = [m.issued(m.sterile(), case) for _ in range(WRITERS)]
    at_once(*[partial(actions.open_pack, pack.code, case.code, act=act(by, at=NOON)) for pack in packs])
    assert {pack.state for pack in Pack.objects.all()} == {PackState.OPENED}
    assert CaseLine.objects.filter(case=case, verb="begin").count() == 1


# 2, at the return: what is counted is in no pack, and counted once.


@race
def test_2_a_piece_counted_by_eight_at_once_is_counted_once_and_closes_the_count_once() -> None:
    pack, by = m.returned(), makers.everybody()
    (piece,) = m.pieces_of(pack)
    count = partial(actions.count_piece, piece.code, act=act(by, at=NOON))
    assert len(answers(at_once(*[count] * WRITERS))) == 1
    assert PieceLine.objects.filter(piece=piece, verb="take_back").count() == 1
    assert pack.lines.filter(verb="close_count").count() == 1


@race
def test_2_eight_pieces_counted_at_once_close_the_count_once_and_none_is_missing() -> None:
    pack = m.returned(m.sterile(makers.tray(makers.template(makers.line(makers.part(), WRITERS)))))
    by = makers.everybody()
    pieces = m.pieces_of(pack)
    at_once(*[partial(actions.count_piece, piece.code, act=act(by, at=NOON)) for piece in pieces])
    assert {piece.state for piece in Piece.objects.all()} == {PieceState.RETURNED}
    assert pack.lines.filter(verb="close_count").count() == 1


@race
def test_2_a_piece_counted_while_the_count_is_closed_is_returned_or_missing_not_both() -> None:
    pack = m.returned(m.sterile(makers.tray(makers.template(makers.line(makers.part(), 4)))))
    by = makers.everybody()
    pieces = m.pieces_of(pack)
    count = [partial(actions.count_piece, piece.code, act=act(by, at=NOON)) for piece in pieces]
    close = partial(actions.close_count, pack.code, act=act(by, at=NOON))
    at_once(*count, *[close] * 4)
    assert pack.lines.filter(verb="close_count").count() == 1
    for piece in Piece.objects.all():
        ends = PieceLine.objects.filter(piece=piece, verb__in=["take_back", "not_come_back"])
        assert [line.target for line in ends] == [piece.state]
    assert not pack.carried.exists()


# 9. No single-use item or implant is packed or loaded again after it was opened, save an unused one whose
#    part cites the maker's permission; none enters a load after it touched a patient.


def single_use(permission: str = "") -> Piece:
    """A single-use item of the maker's, opened at a case."""
    return m.pieces_of(m.opened(makers.maker_pack(makers.part(single_use=True, reprocess_unused=permission))))[0]


@db
@pytest.mark.parametrize("unused", [False, True])
def test_9_a_single_use_item_that_was_opened_does_not_come_back(*, unused: bool) -> None:
    piece = single_use()
    assert refused(lambda: actions.count_piece(piece.code, unused=unused, act=act(at=NOON))) == ["single-use"]


@db
def test_9_an_opened_implant_does_not_come_back() -> None:
    implant = m.implant()
    (piece,) = m.pieces_of(m.opened(makers.maker_pack(implant), m.case(implant)))
    assert refused(lambda: actions.count_piece(piece.code, unused=True, act=act(at=NOON))) == ["single-use"]


@db
def test_9_permission_is_for_the_unused_only() -> None:
    piece = single_use("maker's letter of 3 May")
    assert refused(lambda: actions.count_piece(piece.code, act=act(at=NOON))) == ["single-use"]
    assert actions.count_piece(piece.code, unused=True, act=act(at=NOON)).state == PieceState.RETURNED


@db
def test_9_an_unused_one_with_permission_may_be_washed_and_packed() -> None:
    piece = single_use("maker's letter of 3 May")
    actions.count_piece(piece.code, unused=True, act=act(at=NOON))
    make.released(make.load(make.washer(), Piece.objects.get(pk=piece.pk)))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=NOON))
    assert tray_actions.pack_single(piece.code, act=act(at=NOON)).state == PackState.ASSEMBLED


@db
@pytest.mark.parametrize("permission", ["", "maker's letter of 3 May"])
def test_9_one_that_was_lost_in_use_and_found_enters_no_load(permission: str) -> None:
    piece = single_use(permission)
    pack = Pack.objects.get(carried__piece=piece)
    actions.take_back(pack.code, act=act(at=NOON))
    actions.close_count(pack.code, act=act(at=NOON))
    instrument_actions.find(piece.code, act=act(at=NOON))
    washer = make.load(make.washer())
    slugs = refused(lambda: reprocessing_actions.add_piece(washer.code, piece.code, act=act(at=NOON)))
    assert [slug for slug in slugs if "single" in slug or "use" in slug]


@db
def test_9_a_discarded_item_and_an_implanted_one_have_left_for_good() -> None:
    implant = m.implant()
    pack = m.opened(makers.maker_pack(implant), m.case(implant))
    (stent,) = m.pieces_of(pack)
    actions.implant_piece(stent.code, m.case_of(pack).code, act=act(at=NOON))
    other = single_use()
    actions.discard_piece(other.code, reason="used", act=act(at=NOON))
    for piece in (stent, other):
        piece.refresh_from_db()
        assert piece.state == PieceState.WITHDRAWN
        washer = make.load(make.washer())
        assert "wrong-state" in refused(
            partial(reprocessing_actions.add_piece, washer.code, piece.code, act=act(at=NOON))
        )


@race
def test_9_an_implant_implanted_counted_and_discarded_at_once_has_one_end() -> None:
    implant, by = m.implant(), makers.everybody()
    pack = m.opened(makers.maker_pack(implant), m.case(implant))
    (piece,) = m.pieces_of(pack)
    case: Case = m.case_of(pack)
    now = act(by, at=NOON)
    calls = [
        partial(actions.implant_piece, piece.code, case.code, act=now),
        partial(actions.discard_piece, piece.code, reason="wasted", act=now),
        partial(actions.count_piece, piece.code, act=now),
        partial(actions.take_back, pack.code, act=now),
    ]
    at_once(*calls * 2)
    piece.refresh_from_db()
    assert piece.state == PieceState.WITHDRAWN
    assert CaseLine.objects.filter(case=case, verb__in=["implant", "waste_implant"]).count() == 1
