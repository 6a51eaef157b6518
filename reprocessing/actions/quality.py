"""Non-conformities: raised by anybody who may hold a thing, worked off, closed by two persons."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import Model
from django.utils import timezone

from instruments.identity import Kind
from instruments.models import Piece
from instruments.writer import new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, stop, unknown
from journal.reads import policy
from journal.roles import Right, Role
from reprocessing.models import CorrectiveAction, Load, Machine, Nonconformity, NonconformityLine, Recall
from reprocessing.quality_states import QUALITY_STEPS, Cause, QualityState, against_closing, against_proposal
from reprocessing.rules import wrong_state
from reprocessing.writer import lock_nonconformity, move_nonconformity
from trays.models import Pack

THINGS: dict[str, type[Model]] = {"load": Load, "pack": Pack, "piece": Piece, "machine": Machine, "recall": Recall}


@action
def raise_nonconformity(thing: str, *, cause: str, description: str, act: Act) -> Done:
    """Say that a load, pack, piece, machine or recall was not as it must be, and why."""
    need(Right.HOLD, "raise a non-conformity on", thing, act)
    description = reason_given(description, "raise a non-conformity on", thing)
    _known(cause, Cause, "raise a non-conformity on", thing, "cause")
    kind, row = _found(thing)
    made = Nonconformity.objects.create(
        code=new_code(Kind.NONCONFORMITY),
        cause=cause,
        description=description,
        raised_at=act.at,
        raised_by=act.by,
        due_on=timezone.localdate(act.at) + timedelta(days=int(policy("nonconformity_due_days"))),
        **{kind: row},
    )
    evidence = {kind: thing, "cause": cause, "due": str(made.due_on)}
    write_line(NonconformityLine, made, "raise", act, target=QualityState.OPEN, reason=description, evidence=evidence)
    sentence = f"Non-conformity {made.code} is raised on {thing}."
    return Done.of("raise_nonconformity", made, sentence, "Say what is done about it.")


def _found(thing: str) -> tuple[str, Model]:
    for kind, model in THINGS.items():
        row = model._default_manager.filter(code=thing).first()
        if row is not None:
            return kind, row
    raise Refused(unknown("thing", thing))


def _known(word: str, words: type[Cause] | type[Role], verb: str, subject: str, what: str) -> None:
    if word not in list(words):
        sentence = f"Cannot {verb} {subject}: the {what} is {word}, must be one of {', '.join(words)}."
        raise Refused(stop(f"{what}-unknown", subject, sentence, "Choose one of them."))


@action
def add_corrective_action(nonconformity: str, what: str, *, role: str, due: date, act: Act) -> Done:
    """Say what is to be done about a non-conformity, by whom in the unit, until when."""
    row = lock_nonconformity(nonconformity)
    step = QUALITY_STEPS["add_corrective_action"]
    need(step.right, step.says, row.code, act)
    what = reason_given(what, step.says, row.code)
    _known(role, Role, step.says, row.code, "role")
    facts = [*_not_open(step.says, row), *_past(row, due, act)]
    if facts:
        raise Refused(*facts)
    number = row.corrective_actions.count() + 1
    CorrectiveAction.objects.create(nonconformity=row, number=number, what=what, role=role, due_on=due)
    evidence = {"number": number, "role": role, "due": str(due)}
    write_line(NonconformityLine, row, "add_corrective_action", act, reason=what, evidence=evidence)
    return Done.of("add_corrective_action", row, f"{row.code} has corrective action {number}.")


def _not_open(verb: str, row: Nonconformity) -> list[Finding]:
    return list(wrong_state(verb, row.code, row.state, QualityState.OPEN))


def _past(row: Nonconformity, due: date, act: Act) -> list[Finding]:
    today = timezone.localdate(act.at)
    if due >= today:
        return []
    sentence = f"Cannot add a corrective action to {row.code}: it is due on {due}, must be {today} or later."
    return [stop("due-in-the-past", row.code, sentence, "Give the day by which it is to be done.")]


@action
def finish_corrective_action(nonconformity: str, number: int, *, note: str, act: Act) -> Done:
    """Say that a corrective action is done, and what came of it."""
    row = lock_nonconformity(nonconformity)
    need(Right.HOLD, "finish a corrective action of", row.code, act)
    note = reason_given(note, "finish a corrective action of", row.code)
    found = row.corrective_actions.filter(number=number).first()
    if found is None:
        raise Refused(unknown("corrective action", f"{row.code} {number}"))
    facts = _not_open("finish a corrective action of", row)
    if found.done_at is not None:
        sentence = f"Cannot finish corrective action {number} of {row.code}: it is done already, must be still to do."
        facts.append(stop("done-already", row.code, sentence, "Nothing was changed."))
    if facts:
        raise Refused(*facts)
    found.done_at, found.done_by, found.note = act.at, act.by, note
    found.save(update_fields=["done_at", "done_by", "note"])
    write_line(NonconformityLine, row, "finish_corrective_action", act, reason=note, evidence={"number": number})
    return Done.of("finish_corrective_action", row, f"Corrective action {number} of {row.code} is done.")


@action
def propose_quality_closure(nonconformity: str, *, reason: str, act: Act) -> Done:
    """Sign that everything about a non-conformity is done and has worked; a second person closes it."""
    row = lock_nonconformity(nonconformity)
    reason = reason_given(reason, "propose the closure of", row.code)
    rows = row.corrective_actions
    facts = against_proposal(row.code, rows.count(), rows.filter(done_at=None).count())
    move_nonconformity(row, "propose_closure", act, facts=facts, reason=reason, proposed_by=act.by)
    sentence = f"The closure of {row.code} is proposed."
    return Done.of("propose_quality_closure", row, sentence, "Somebody who has not raised it closes it.")


@action
def keep_nonconformity_open(nonconformity: str, *, reason: str, act: Act) -> Done:
    """The second person does not agree: more is to be done."""
    row = lock_nonconformity(nonconformity)
    reason = reason_given(reason, "keep open", row.code)
    move_nonconformity(row, "keep_open", act, reason=reason, proposed_by=None)
    return Done.of("keep_nonconformity_open", row, f"{row.code} stays open.")


@action
def close_nonconformity(nonconformity: str, *, reason: str = "", act: Act) -> Done:
    """Close what somebody else has raised and somebody else has proposed to close."""
    row = lock_nonconformity(nonconformity)
    raised, proposed = row.raised_by_id == act.by.pk, row.proposed_by_id == act.by.pk
    facts = against_closing(row.code, act.by, raised=raised, proposed=proposed)
    move_nonconformity(row, "close", act, facts=facts, reason=reason.strip(), closed_at=act.at, closed_by=act.by)
    return Done.of("close_nonconformity", row, f"{row.code} is closed.")
