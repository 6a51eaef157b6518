"""Recalls: drafted by the indicators, issued, worked off, closed by two persons."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

import pytest
from django.db import IntegrityError, transaction

from instruments import actions as instrument_actions
from instruments.models import Piece
from instruments.states import PieceState
from journal.findings import Refused
from journal.models import Person
from journal.roles import Role
from lists import actions as list_actions
from reprocessing import actions
from reprocessing.models import Load, Machine, Recall, RecallItem, RecallLine
from reprocessing.reads.recalls import called_back, items_of, preview, scope_by_indicators, tallies
from reprocessing.recall_states import Outcome, RecallState
from reprocessing.states import IndicatorKind, LoadState, MachineKind
from tests import makers
from tests.lists.makers import case as a_case
from tests.makers import act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import DECIDED, race, refused
from trays import actions as tray_actions
from trays.models import Pack
from trays.states import PackState

LATER = DECIDED + timedelta(hours=4)
BIOLOGICAL = IndicatorKind.BIOLOGICAL


def run(on: Machine, *things: Pack | Piece, biology: bool | None = None) -> Load:
    """A released load of a machine, its biological indicator read if `biology` says how."""
    done = make.complete(make.load(on, *(things or (makers.pack(),))))
    key = make.indicator(done, BIOLOGICAL) if biology is not None else None
    done = make.released(done)
    if key is not None:
        actions.read_indicator(done.code, key, passed=bool(biology), act=act(at=DECIDED))
    return Load.objects.get(pk=done.pk)


def codes(of: Recall) -> list[str]:
    return list(of.recall_loads.values_list("load__code", flat=True))


def drafted(*loads: Load) -> Recall:
    names = tuple(load.code for load in loads)
    return Recall.objects.get(code=actions.draft_recall(names, ground="wrong programme", act=act(at=DECIDED)).mark)


def issued(*loads: Load) -> Recall:
    row = drafted(*loads)
    actions.issue_recall(row.code, reason="wrong programme", act=act(at=DECIDED))
    return Recall.objects.get(pk=row.pk)


@pytest.mark.django_db
def test_a_positive_indicator_drafts_the_recall_of_the_policy_and_calls_nothing_back() -> None:
    on = make.machine(MachineKind.STEAM)
    good, unread, bad = run(on, biology=True), run(on), run(on, biology=False)
    draft = Recall.objects.get()
    assert (draft.state, draft.machine, codes(draft)) == (RecallState.DRAFT, on, [unread.code, bad.code])
    assert "ST79" in draft.rule
    assert set(Pack.objects.values_list("state", flat=True)) == {PackState.STERILE}
    assert good.code not in codes(draft)
    after = run(on)
    actions.draft_by_indicators(on.code, act=act())
    assert codes(draft) == [unread.code, bad.code, after.code]
    run(on, biology=True)
    assert codes(draft) == [unread.code, bad.code, after.code]
    assert [line.verb for line in RecallLine.objects.all()] == ["draft", "redraft"]


@pytest.mark.django_db
def test_the_other_policy_of_steam_waits_for_the_repeat() -> None:
    make.policy("recall_every_positive", value=False)
    on = make.machine(MachineKind.STEAM)
    run(on, biology=False)
    assert not Recall.objects.exists()
    assert refused(lambda: actions.draft_by_indicators(on.code, act=act())) == ["nothing-called"]
    run(on, biology=False)
    assert len(codes(Recall.objects.get())) == 2
    assert "table 12" in Recall.objects.get().rule


@pytest.mark.django_db
def test_what_three_negative_indicators_have_settled_is_not_called_back_again() -> None:
    on = make.machine(MachineKind.STEAM)
    for biology in (False, True, True, True, False):
        last = run(on, biology=biology)
    assert [row.load for row in scope_by_indicators(on).called] == [last.code]


@pytest.mark.django_db
def test_issue_moves_what_is_not_used_and_lists_everything() -> None:
    shelf, away, used = makers.pack(), makers.pack(), makers.pack()
    load = run(make.machine(), shelf, away, used)
    on = a_case()
    for pack in (away, used):
        list_actions.issue(pack.code, on.code, barrier_intact=True, act=act(at=DECIDED))
    list_actions.open_pack(used.code, on.code, act=act(at=DECIDED))
    row = drafted(load)
    seen = preview(row)
    assert (seen.loads, seen.packs) == (1, {"issued": 1, "opened": 1, "sterile": 1})
    assert sum(seen.places.values()) == 3
    done = actions.issue_recall(row.code, reason="indicator failed", act=act(at=DECIDED))
    assert "1 load, 3 things to answer for, 2 to find" in done.sentence
    states = dict(Pack.objects.values_list("code", "state"))
    assert states == {shelf.code: "recalled", away.code: "recalled", used.code: "opened"}
    assert {item.thing.code: item.outcome for item in row.items.all()} == {
        shelf.code: Outcome.OPEN,
        away.code: Outcome.OPEN,
        used.code: Outcome.USED,
    }
    assert Load.objects.get(pk=load.pk).state == LoadState.RECALLED


@pytest.mark.django_db
def test_a_wash_answers_for_every_pack_that_was_packed_from_it() -> None:
    bench, packed = (makers.piece(state=PieceState.RETURNED) for _ in range(2))
    load = run(make.washer(), bench, packed)
    actions_at = DECIDED + timedelta(minutes=5)
    for piece in (bench, packed):
        instrument_actions.inspect(piece.code, clean=True, act=act(at=actions_at))
    pack = makers.single(Piece.objects.get(pk=packed.pk), at=actions_at)
    row = issued(load)
    assert {item.thing.code for item in row.items.all()} == {bench.code, pack.code}
    assert Pack.objects.get(pk=pack.pk).state == PackState.RECALLED
    assert Piece.objects.get(pk=bench.pk).state == PieceState.RETURNED


@pytest.mark.storage
@pytest.mark.django_db
def test_2_a_piece_on_a_tray_whose_wash_is_recalled_is_not_packed_before_it_is_washed_again() -> None:
    part = makers.part()
    piece = makers.piece(part, state=PieceState.RETURNED)
    wash = run(make.washer(), piece)
    instrument_actions.inspect(piece.code, clean=True, act=act(at=DECIDED))
    tray = makers.lay(makers.tray(makers.template(part)), piece, at=DECIDED)
    done = actions.issue_recall(drafted(wash).code, reason="dose too low", act=act(at=DECIDED))
    assert [(finding["slug"], finding["subject"]) for finding in done.findings] == [("on-a-tray", piece.code)]
    assert piece.lines.filter(verb="recall_wash", evidence__load=wash.code).exists()
    assert refused(lambda: tray_actions.finish_tray(tray.code, act=act(at=LATER))) == ["wash-recalled"]
    tray_actions.take_off_tray(piece.code, act=act(at=LATER))
    assert refused(lambda: tray_actions.put_on_tray(piece.code, tray.code, act=act(at=LATER))) == ["wash-recalled"]
    assert refused(lambda: tray_actions.pack_single(piece.code, act=act(at=LATER))) == ["wash-recalled"]
    instrument_actions.inspect(piece.code, clean=False, act=act(at=LATER))
    run(make.washer(), Piece.objects.get(pk=piece.pk))
    instrument_actions.inspect(piece.code, clean=True, act=act(at=LATER))
    tray_actions.put_on_tray(piece.code, tray.code, act=act(at=LATER))
    assert tray_actions.finish_tray(tray.code, act=act(at=LATER)).state == PackState.ASSEMBLED


@pytest.mark.django_db
def test_2_a_pack_in_a_cycle_that_comes_apart_gives_no_piece_of_a_recalled_wash_to_the_bench() -> None:
    piece, other = (makers.piece(state=PieceState.RETURNED) for _ in range(2))
    wash = run(make.washer(), piece)
    run(make.washer(), other)
    template = makers.template(piece.part, other.part)
    for one in (piece, other):
        instrument_actions.inspect(one.code, clean=True, act=act(at=DECIDED))
    pack = makers.pack(makers.lay(makers.tray(template), piece, other, at=DECIDED), at=DECIDED)
    cycle = make.running(make.load(make.machine(), pack), at=DECIDED)
    issued(wash)
    actions.reject(cycle.code, reason="aborted", act=act(make.releaser(), at=LATER))
    assert {row.state for row in Piece.objects.all()} == {PieceState.INSPECTED}
    assert refused(lambda: tray_actions.pack_single(piece.code, act=act(at=LATER))) == ["wash-recalled"]
    assert tray_actions.pack_single(other.code, act=act(at=LATER)).state == PackState.ASSEMBLED


@pytest.mark.django_db
def test_a_pack_in_a_cycle_while_its_wash_is_recalled_never_becomes_sterile() -> None:
    piece = makers.piece(state=PieceState.RETURNED)
    wash = run(make.washer(), piece)
    instrument_actions.inspect(piece.code, clean=True, act=act(at=DECIDED))
    pack = makers.single(Piece.objects.get(pk=piece.pk), at=DECIDED)
    cycle = make.running(make.load(make.machine(), pack), at=DECIDED)
    row = issued(wash)
    assert row.items.get().state_then == PackState.IN_STERILISER
    actions.unload(cycle.code, act=act(at=LATER))
    actions.attach_trace(cycle.code, "cycle.csv", make.steam_trace(), act=act(at=LATER))
    make.indicator(cycle, passed=True)
    actions.release(cycle.code, act=act(make.releaser(), at=LATER))
    assert Pack.objects.get(pk=pack.pk).state == PackState.RECALLED
    assert called_back([pack]) == {pack.pk}


@pytest.mark.django_db
def test_loads_that_are_not_released_are_named_and_cannot_be_released_after() -> None:
    out, waiting = run(make.machine()), make.complete()
    done = actions.issue_recall(drafted(out, waiting).code, reason="wrong programme", act=act(at=DECIDED))
    assert [(finding["slug"], finding["subject"]) for finding in done.findings] == [("not-released", waiting.code)]
    assert refused(lambda: actions.release(waiting.code, act=act(make.releaser(), at=LATER))) == ["called-back"]


@pytest.mark.django_db
def test_the_work_list_is_settled_and_adds_up_before_two_persons_close_it() -> None:
    packs = [makers.pack() for _ in range(3)]
    row = issued(run(make.machine(), *packs))
    lead, second = makers.person(Role.QUALITY), makers.person(Role.RELEASER)
    first, *others = (pack.code for pack in packs)
    settle = partial(actions.settle_recalled, row.code, act=act(at=LATER))
    assert refused(lambda: actions.propose_closure(row.code, reason="done", act=act(lead))) == ["still-to-find"]
    settle(first, outcome="found")
    assert refused(lambda: settle(first, outcome="found")) == ["settled-already"]
    assert refused(lambda: settle(others[0], outcome="not found")) == ["note-missing"]
    assert refused(lambda: settle(others[0], outcome="lost")) == ["outcome-unknown"]
    assert refused(lambda: settle("K000000", outcome="found")) == ["not-called"]
    settle(others[0], outcome="not found", note="store and theatre searched")
    settle(others[1], outcome="used")
    (tally,) = tallies(items_of(row))
    assert dict(tally.counts) == {"to find": 0, "found": 1, "used": 1, "not found": 1, "ended before": 0}
    assert tally.time_to_find == LATER - DECIDED
    actions.propose_closure(row.code, reason="all answered for", act=act(lead))
    assert refused(lambda: settle(others[0], outcome="found")) == ["wrong-state"]
    both = makers.person(Role.QUALITY)
    actions.keep_recall_open(row.code, reason="look in theatre 2", act=act(second))
    settle(others[0], outcome="found", note="in theatre 2")
    actions.propose_closure(row.code, reason="all answered for", act=act(lead))
    assert refused(lambda: actions.close_recall(row.code, act=act(lead))) == ["second-person"]
    assert refused(lambda: actions.close_recall(row.code, act=act(makers.person(Role.NURSE)))) == ["right-missing"]
    actions.close_recall(row.code, act=act(both))
    assert Recall.objects.get().state == RecallState.CLOSED
    assert tray_actions.scrap_pack(first, act=act()).state == PackState.VOID


@pytest.mark.django_db
def test_a_draft_is_dropped_with_a_reason_and_never_issued() -> None:
    row = drafted(run(make.machine()))
    assert refused(lambda: actions.drop_recall(row.code, reason=" ", act=act())) == ["reason-missing"]
    actions.drop_recall(row.code, reason="vial was mixed up", act=act())
    assert "wrong-state" in refused(lambda: actions.issue_recall(row.code, reason="late", act=act()))


@pytest.mark.django_db
@pytest.mark.parametrize("loads", [(), ("L000000",)])
def test_a_draft_needs_loads_that_are_there(loads: tuple[str, ...]) -> None:
    slugs = refused(lambda: actions.draft_recall(loads, ground="why", act=act()))
    assert slugs in (["no-load"], ["unknown-code"])


@pytest.mark.django_db
def test_nothing_is_issued_when_no_load_is_released_and_nobody_without_the_right_issues() -> None:
    row = drafted(make.complete())
    assert refused(lambda: actions.issue_recall(row.code, reason="wet", act=act())) == ["nothing-released"]
    other = drafted(run(make.machine()))
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.issue_recall(other.code, reason="wet", act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.issue_recall("R000000", reason="wet", act=act())) == ["unknown-code"]


@pytest.mark.django_db
@pytest.mark.storage
def test_the_database_wants_two_persons_under_a_closure() -> None:
    row = issued(run(make.machine()))
    lead = makers.person(Role.QUALITY)
    signed = {"state": RecallState.CLOSED, "proposed_by": lead, "closed_by": lead, "closed_at": LATER}
    with pytest.raises(IntegrityError), transaction.atomic():
        Recall.objects.filter(pk=row.pk).update(**signed)
    with pytest.raises(IntegrityError), transaction.atomic():
        RecallItem.objects.filter(recall=row).update(outcome=Outcome.NOT_FOUND, settled_at=LATER)


# Races


@race
def test_eight_people_issue_the_same_recall() -> None:
    row = drafted(run(make.machine(), makers.pack(), makers.pack()))
    people = [makers.person(Role.QUALITY) for _ in range(make.WRITERS)]
    call = partial(actions.issue_recall, row.code, reason="indicator failed")
    make.one_of(at_once(*(partial(call, act=act(by, at=DECIDED)) for by in people)))
    assert RecallItem.objects.count() == 2
    assert RecallLine.objects.filter(verb="issue").count() == 1


@race
def test_eight_people_close_the_same_recall() -> None:
    row = issued(run(make.machine()))
    item = row.items.get().thing.code
    actions.settle_recalled(row.code, item, outcome="found", act=act(at=LATER))
    people: list[Person] = [makers.person(Role.QUALITY) for _ in range(make.WRITERS)]
    actions.propose_closure(row.code, reason="done", act=act(people[0]))
    results = at_once(*(partial(actions.close_recall, row.code, act=act(by, at=LATER)) for by in people))
    make.one_of(results)
    assert Recall.objects.get().closed_by != people[0]


@race
def test_a_pack_is_recalled_while_it_is_issued_and_is_never_issued_after() -> None:
    pack, on = makers.pack(), a_case()
    row = drafted(run(make.machine(), pack))
    hand = partial(list_actions.issue, pack.code, on.code, barrier_intact=True)
    at_once(
        partial(actions.issue_recall, row.code, reason="indicator failed", act=act(at=DECIDED)),
        partial(hand, act=act(at=DECIDED)),
    )
    assert Pack.objects.get(pk=pack.pk).state == PackState.RECALLED
    with pytest.raises(Refused):
        hand(act=act(at=LATER))
    assert row.items.get().outcome == Outcome.OPEN
