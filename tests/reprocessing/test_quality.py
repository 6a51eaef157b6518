"""Non-conformities: raised, worked off, closed by two persons of whom the second has not raised it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from instruments import actions as instrument_actions
from journal.findings import Refused
from journal.models import Person
from journal.roles import Role
from reprocessing import actions
from reprocessing.models import CorrectiveAction, Nonconformity, NonconformityLine
from reprocessing.quality_states import Cause, QualityState, against_closing, against_proposal
from reprocessing.reads.quality import unraised
from tests import makers
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import one_of, race, refused
from trays.models import Pack

TODAY = timezone.localdate(AT)
WEEK = TODAY + timedelta(days=7)


def raised(thing: str = "", by: Person | None = None) -> Nonconformity:
    code = thing or makers.piece().code
    done = actions.raise_nonconformity(code, cause=Cause.DAMAGED, description="jaw bent", act=act(by))
    return Nonconformity.objects.get(code=done.mark)


def worked_off(by: Person | None = None) -> Nonconformity:
    row = raised(by=by)
    actions.add_corrective_action(row.code, "send to repair", role=Role.TECHNICIAN, due=WEEK, act=act())
    actions.finish_corrective_action(row.code, 1, note="sent", act=act())
    return row


@pytest.mark.django_db
def test_from_raised_to_closed() -> None:
    nurse, lead, second = makers.person(Role.NURSE), makers.person(Role.QUALITY), makers.person(Role.RELEASER)
    row = raised(by=nurse)
    assert (row.state, row.kind, row.due_on) == (QualityState.OPEN, "piece", TODAY + timedelta(days=28))
    assert row.thing == row.piece
    done = actions.add_corrective_action(row.code, "repair", role=Role.TECHNICIAN, due=WEEK, act=act(lead))
    assert done.sentence.endswith("corrective action 1.")
    actions.finish_corrective_action(row.code, 1, note="straightened", act=act(nurse))
    actions.propose_quality_closure(row.code, reason="it works", act=act(lead))
    actions.keep_nonconformity_open(row.code, reason="ask the maker", act=act(second))
    assert Nonconformity.objects.get().proposed_by is None
    actions.propose_quality_closure(row.code, reason="maker asked", act=act(lead))
    actions.close_nonconformity(row.code, reason=" agreed ", act=act(second))
    row.refresh_from_db()
    assert (row.state, row.closed_by, row.proposed_by) == (QualityState.CLOSED, second, lead)
    assert [line.verb for line in NonconformityLine.objects.all()] == [
        "raise",
        "add_corrective_action",
        "finish_corrective_action",
        "propose_closure",
        "keep_open",
        "propose_closure",
        "close",
    ]
    assert str(CorrectiveAction.objects.get()) == "1. repair"


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["load", "pack", "piece", "machine", "recall"])
def test_it_is_about_one_thing_of_five_kinds(kind: str) -> None:
    load = make.released(make.load(None, makers.pack()))
    recall = actions.draft_recall((load.code,), ground="a trial", act=act()).mark
    codes = {
        "load": load.code,
        "pack": Pack.objects.get().code,
        "piece": makers.piece().code,
        "machine": load.machine.code,
        "recall": recall,
    }
    row = raised(codes[kind])
    assert (row.kind, row.thing.code) == (kind, codes[kind])
    assert NonconformityLine.objects.get().evidence[kind] == codes[kind]


@pytest.mark.django_db
def test_what_is_refused_when_one_is_raised() -> None:
    code = makers.piece().code
    nobody = act(makers.person())
    assert refused(lambda: actions.raise_nonconformity("P0", cause=Cause.OTHER, description="a", act=act())) == [
        "unknown-code"
    ]
    assert refused(lambda: actions.raise_nonconformity(code, cause="fate", description="a", act=act())) == [
        "cause-unknown"
    ]
    assert refused(lambda: actions.raise_nonconformity(code, cause=Cause.OTHER, description=" ", act=act())) == [
        "reason-missing"
    ]
    assert refused(lambda: actions.raise_nonconformity(code, cause=Cause.OTHER, description="a", act=nobody)) == [
        "right-missing"
    ]
    assert not Nonconformity.objects.exists()


@pytest.mark.django_db
def test_what_is_refused_of_corrective_actions() -> None:
    row = raised()
    nurse = act(makers.person(Role.NURSE))

    def add(**other: object) -> list[str]:
        given = {"role": Role.NURSE, "due": WEEK, "act": act(), **other}
        return refused(lambda: actions.add_corrective_action(row.code, "look", **given))  # type: ignore[arg-type]

    assert add(act=nurse) == ["right-missing"]
    assert add(role="the boss") == ["role-unknown"]
    assert add(due=TODAY - timedelta(days=1)) == ["due-in-the-past"]
    assert refused(lambda: actions.finish_corrective_action(row.code, 1, note="done", act=nurse)) == ["unknown-code"]
    actions.add_corrective_action(row.code, "look", role=Role.NURSE, due=TODAY, act=act())
    assert refused(lambda: actions.finish_corrective_action(row.code, 1, note="", act=nurse)) == ["reason-missing"]
    actions.finish_corrective_action(row.code, 1, note="done", act=nurse)
    assert refused(lambda: actions.finish_corrective_action(row.code, 1, note="again", act=nurse)) == ["done-already"]
    actions.propose_quality_closure(row.code, reason="done", act=act())
    assert add() == ["wrong-state"]
    assert refused(lambda: actions.finish_corrective_action(row.code, 1, note="x", act=nurse)) == [
        "wrong-state",
        "done-already",
    ]
    assert refused(lambda: actions.add_corrective_action("Q0", "x", role=Role.NURSE, due=WEEK, act=act())) == [
        "unknown-code"
    ]


@pytest.mark.django_db
def test_nothing_is_closed_before_something_was_done() -> None:
    row = raised()
    assert refused(lambda: actions.propose_quality_closure(row.code, reason="x", act=act())) == [
        "no-corrective-action"
    ]
    actions.add_corrective_action(row.code, "look", role=Role.NURSE, due=TODAY, act=act())
    assert refused(lambda: actions.propose_quality_closure(row.code, reason="x", act=act())) == ["still-to-do"]
    assert refused(lambda: actions.close_nonconformity(row.code, act=act(makers.person(Role.RELEASER)))) == [
        "wrong-state"
    ]


@pytest.mark.django_db
def test_neither_who_raised_it_nor_who_proposed_it_closes_it() -> None:
    raiser, proposer, third = (makers.person(Role.QUALITY) for _ in range(3))
    row = worked_off(raiser)
    actions.propose_quality_closure(row.code, reason="done", act=act(proposer))
    for person in (raiser, proposer):
        assert refused(lambda person=person: actions.close_nonconformity(row.code, act=act(person))) == [  # type: ignore[misc]
            "second-person"
        ]
    actions.close_nonconformity(row.code, act=act(third))


@pytest.mark.django_db
def test_who_raised_it_may_propose_and_then_one_other_closes() -> None:
    raiser, other = makers.person(Role.QUALITY), makers.person(Role.RELEASER)
    row = worked_off(raiser)
    actions.propose_quality_closure(row.code, reason="done", act=act(raiser))
    with pytest.raises(Refused, match="has raised it and proposed its closure, it must be closed by somebody else"):
        actions.close_nonconformity(row.code, act=act(raiser))
    actions.close_nonconformity(row.code, act=act(other))


def test_the_rules_as_values() -> None:
    assert not list(against_proposal("Q1", 2, 0))
    assert not list(against_closing("Q1", "Lead 2", raised=False, proposed=False))


@race
def test_two_who_close_at_once_close_it_once() -> None:
    row = worked_off(makers.person(Role.NURSE))
    actions.propose_quality_closure(row.code, reason="done", act=act(makers.person(Role.QUALITY)))
    persons = [makers.person(Role.RELEASER) for _ in range(2)]
    results = at_once(
        *(lambda person=person: actions.close_nonconformity(row.code, act=act(person)) for person in persons)
    )
    one_of(results)
    assert NonconformityLine.objects.filter(verb="close").count() == 1


@pytest.mark.django_db
def test_overdue_by_its_own_date_or_by_a_corrective_action() -> None:
    row, late = raised(), raised()
    actions.add_corrective_action(late.code, "look", role=Role.NURSE, due=TODAY, act=act())
    overdue = Nonconformity.objects.overdue
    assert list(overdue(TODAY)) == []
    assert list(overdue(TODAY + timedelta(days=1))) == [late]
    assert set(overdue(row.due_on + timedelta(days=1))) == {row, late}
    actions.finish_corrective_action(late.code, 1, note="looked", act=act())
    assert list(overdue(TODAY + timedelta(days=1))) == []


@pytest.mark.django_db
def test_what_is_offered_until_it_is_raised() -> None:
    load = make.ended()
    actions.reject(load.code, reason="door opened", act=act(at=make.DECIDED))
    on = make.machine(tested=False)
    actions.record_test(on.code, "warm-up", passed=False, note="too cold", act=act())
    piece = makers.piece()
    instrument_actions.send_to_repair(piece.code, reason="a trial", act=act())
    instrument_actions.take_from_repair(piece.code, act=act())
    instrument_actions.miss(piece.code, reason="not on the trolley", act=act())
    soon, day_after = AT + timedelta(hours=2), AT + timedelta(hours=25)
    assert {event.thing for event in unraised(soon)} == {load.code, on.code}
    events = unraised(day_after)
    told = {event.thing: (event.cause, event.description) for event in events}
    assert told == {
        load.code: (Cause.REJECTED_LOAD, "Load rejected: door opened"),
        on.code: (Cause.FAILED_TEST, "Warm-up test failed. too cold"),
        piece.code: (Cause.MISSING, "Missing. not on the trolley"),
    }
    for event in events:
        actions.raise_nonconformity(
            event.thing, cause=event.cause, description=event.description, act=act(at=day_after)
        )
    assert unraised(day_after) == []
    assert unraised(AT + timedelta(days=60)) == []


@pytest.mark.django_db
def test_a_wet_pack_is_offered() -> None:
    wet, dry = makers.pack(), makers.pack()
    load = make.running(make.load(None, wet, dry))
    actions.unload(load.code, wet=(wet.code,), act=act(at=make.ENDED))
    assert [(event.thing, event.cause) for event in unraised(make.DECIDED)] == [(wet.code, Cause.WET_PACK)]
