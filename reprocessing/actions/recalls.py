"""Recalls: drafted, issued after their scope was looked at, worked off thing by thing, closed by two persons."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from instruments.identity import Kind
from instruments.models import Piece
from instruments.states import PieceState
from instruments.writer import flag_piece, lock_pieces, move_piece, new_code
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity, stop
from journal.roles import Right
from reprocessing.actions.loads import counted
from reprocessing.models import Load, Machine, Recall, RecallItem, RecallLine, RecallLoad
from reprocessing.reads.recalls import (
    Members,
    loads_drafted,
    members_of,
    outcome_of,
    policy_of,
    scope_by_indicators,
    unsettled_items,
    washed_with,
)
from reprocessing.recall_states import BY_HAND, SEARCHED, Outcome, RecallState
from reprocessing.rules import wrong_state
from reprocessing.states import LoadState
from reprocessing.writer import lock_loads, lock_machine, lock_recall, move_load, move_recall
from trays.models import Pack, PackLine
from trays.states import PACK_MOVES
from trays.writer import lock_packs, move_pack

FIND = "Find each and keep it apart."


@action
def draft_recall(loads: tuple[str, ...], *, ground: str, act: Act) -> Done:
    """Draw up a recall of these loads; nothing is called back before it is issued."""
    need(Right.DECIDE, "draft", "a recall", act)
    ground = reason_given(ground, "draft", "a recall")
    rows = lock_loads(loads)
    if not rows:
        remedy = "Name the loads that are to be called back."
        raise Refused(stop("no-load", "recall", "Cannot draft a recall: it names no load, must name one.", remedy))
    recall = _drafted(None, ground, "", dict.fromkeys(rows, ground), act)
    went = counted(len(rows), "load")
    return Done.of("draft_recall", recall, f"Recall {recall.code} is drafted: {went}.", "Look at its scope.")


@action
def draft_by_indicators(machine: str, *, act: Act) -> Done:
    """Draw up, or draw up anew, the recall that the biological indicators of a machine ask for by policy."""
    row = lock_machine(machine)
    need(Right.DECIDE, "draft a recall of", row.code, act)
    recall = propose(row, act)
    if recall is None:
        found = f"Cannot draft a recall of {row.name}: its biological indicators call back no load, must call one."
        raise Refused(stop("nothing-called", row.code, found, "Draft a recall of the loads themselves if it is due."))
    went = counted(recall.recall_loads.count(), "load")
    sentence = f"Recall {recall.code} is drafted by the indicators of {row.name}: {went}."
    return Done.of("draft_by_indicators", recall, sentence, "Look at its scope.")


def propose(machine: Machine, act: Act) -> Recall | None:
    """The draft that a locked machine's indicators ask for; None when nothing that they call back is let out."""
    scope = scope_by_indicators(machine)
    why = {row.load: row.why for row in scope.called}
    loads = {load: why[load.code] for load in loads_drafted(machine, scope)}
    draft = Recall.objects.select_for_update().filter(machine=machine, state=RecallState.DRAFT).first()
    if draft is None and not any(load.state == LoadState.RELEASED for load in loads):
        return None  # what nobody has let out is rejected
    by = policy_of(machine)
    rule = f"{by.rule} Source: {by.source}."
    ground = f"Biological indicators of {machine.name}"
    if draft is None:
        return _drafted(machine, ground, rule, loads, act)
    if loads and {row.load_id: row.why for row in draft.recall_loads.all()} != {
        load.pk: text for load, text in loads.items()
    }:
        draft.rule = rule
        draft.save(update_fields=["rule"])
        _name_loads(draft, loads, "redraft", act)
    return draft


def _drafted(machine: Machine | None, ground: str, rule: str, loads: Mapping[Load, str], act: Act) -> Recall:
    recall = Recall.objects.create(
        code=new_code(Kind.RECALL), machine=machine, ground=ground, rule=rule, drafted_at=act.at
    )
    _name_loads(recall, loads, "draft", act)
    return recall


def _name_loads(recall: Recall, loads: Mapping[Load, str], verb: str, act: Act) -> None:
    recall.recall_loads.all().delete()
    RecallLoad.objects.bulk_create(RecallLoad(recall=recall, load=load, why=why[:300]) for load, why in loads.items())
    evidence = {"loads": sorted(load.code for load in loads), "rule": recall.rule}
    write_line(RecallLine, recall, verb, act, target=RecallState.DRAFT, reason=recall.ground, evidence=evidence)


@action
def issue_recall(recall: str, *, reason: str, act: Act) -> Done:
    """Issue a draft: its released loads are recalled, and whatever of them is not used yet is called back."""
    row = lock_recall(recall)
    reason = reason_given(reason, "issue", row.code)
    loads = lock_loads(row.recall_loads.values_list("load__code", flat=True))
    released = [load for load in loads if load.state == LoadState.RELEASED]
    facts = list(_nothing_released(row, released))
    findings = issue(row, released, reason, act, facts=facts)
    others = [load for load in loads if load not in released and load.state != LoadState.RECALLED]
    went = f"{counted(row.items.count(), 'thing')} to answer for, {unsettled_items(row)} to find"
    sentence = f"Recall {row.code} is issued: {counted(len(released), 'load')}, {went}."
    return Done.of("issue_recall", row, sentence, FIND, [*findings, *map(_not_released, others)])


def _nothing_released(recall: Recall, released: Sequence[Load]) -> Iterator[Finding]:
    if not released and recall.state == RecallState.DRAFT:
        sentence = f"Cannot issue {recall.code}: none of its loads is released, at least one must be."
        yield stop("nothing-released", recall.code, sentence, "Reject the loads that wait, or drop the draft.")


def _not_released(load: Load) -> Finding:
    sentence = f"{load.code} is {load.state} and not called back: nothing of it is let out."
    return Finding("not-released", Severity.LOOK, load.code, sentence, "Reject it.")


def recall_of_one(load: Load, reason: str, act: Act) -> tuple[Recall, list[Finding]]:
    """Draft and issue the recall of one locked load."""
    loads = {load: reason}
    recall = _drafted(None, reason, "", loads, act)
    return recall, issue(recall, [load], reason, act)


def issue(
    recall: Recall, loads: Sequence[Load], reason: str, act: Act, *, facts: Iterable[Finding] = ()
) -> list[Finding]:
    """Issue a locked recall of locked loads: they, their packs and pieces are moved, the work list is written.

    Returns:
        What is not called back by it.
    """
    members = members_of(loads)
    packs = lock_packs(Pack.objects.filter(pk__in=_keys(members, "packs")).values_list("code", flat=True))
    pieces = lock_pieces(washed_with(loads, members).values_list("code", flat=True))
    for load in loads:
        move_load(load, "recall", act, reason=reason, evidence={"recall": recall.code})
    recall.reason = reason
    recall.save(update_fields=["reason"])
    move_recall(recall, "issue", act, facts=facts, reason=reason, issued_at=act.at, issued_by=act.by)
    left: list[Finding] = []
    for load in loads:
        mine = members[load.pk]
        left += _call_packs(recall, load, [pack for pack in packs if pack.pk in mine.packs], reason, act)
        left += _call_pieces(recall, load, [piece for piece in pieces if piece.pk in mine.pieces], reason, act)
        _flag(load, pieces, reason, act)
    return left


def _keys(members: Mapping[int, Members], name: str) -> set[int]:
    return set().union(*(getattr(one, name) for one in members.values()))


def _call_packs(recall: Recall, load: Load, packs: Sequence[Pack], reason: str, act: Act) -> Iterator[Finding]:
    named = set(recall.items.filter(pack__in=packs).values_list("pack", flat=True))
    for pack in packs:
        if pack.pk in named:
            continue
        _add_item(recall, load, act, pack=pack)
        if pack.state in PACK_MOVES["recall"].origins:
            evidence = {"load": load.code, "recall": recall.code}
            move_pack(pack, "recall", act, reason=reason, evidence=evidence, follows=True)
        else:
            yield _not_called(load, pack.code, pack.state)


def _flag(load: Load, pieces: Iterable[Piece], reason: str, act: Act) -> None:
    """What was washed with it and is on a tray, or in a pack that comes apart later, is not packed again unwashed."""
    washed = set(load.load_pieces.values_list("piece_id", flat=True))
    for piece in pieces:
        if piece.pk in washed and piece.state in (PieceState.ON_TRAY, PieceState.PACKED):
            flag_piece(piece, load.code, act, reason=reason)


def _call_pieces(recall: Recall, load: Load, pieces: Iterable[Piece], reason: str, act: Act) -> Iterator[Finding]:
    for piece in pieces:
        _add_item(recall, load, act, piece=piece)
        if piece.state == PieceState.ON_TRAY:
            sentence = (
                f"{piece.code} was washed with {load.code} and is on a tray: it is not packed before it is washed."
            )
            remedy = "Take it off its tray and send it back to the washer."
            yield Finding("on-a-tray", Severity.LOOK, piece.code, sentence, remedy)
        else:
            evidence = {"load": load.code, "recall": recall.code}
            move_piece(piece, "find_soiled", act, reason=reason, evidence=evidence, follows=True)


def _add_item(recall: Recall, load: Load, act: Act, *, pack: Pack | None = None, piece: Piece | None = None) -> None:
    thing = pack or piece
    assert thing is not None  # noqa: S101 - one of the two is given
    outcome = outcome_of(thing.state)
    RecallItem.objects.create(
        recall=recall,
        pack=pack,
        piece=piece,
        load=load,
        place=thing.place,
        state_then=thing.state,
        outcome=outcome,
        settled_at=None if outcome is Outcome.OPEN else act.at,
    )


def _not_called(load: Load, code: str, state: str) -> Finding:
    return Finding(
        "not-called-back",
        Severity.LOOK,
        code,
        f"{code} was processed with {load.code} and is {state}: it is not called back by this.",
        "Decide on it: look back to its case if it was used, keep it apart if it was not.",
    )


@action
def drop_recall(recall: str, *, reason: str, act: Act) -> Done:
    """Drop a draft that is not wanted; why stays in the trail."""
    row = lock_recall(recall)
    move_recall(row, "drop", act, reason=reason_given(reason, "drop", row.code))
    return Done.of("drop_recall", row, f"The draft {row.code} is dropped.")


@action
def settle_recalled(recall: str, thing: str, *, outcome: str, note: str = "", act: Act) -> Done:
    """Say what became of a pack or a piece that is called back: found, used, or not found (with what was done)."""
    row = lock_recall(recall)
    need(Right.HOLD, "settle a thing of", row.code, act)
    item = row.items.select_related("pack", "piece").filter(pack__code=thing).first()
    item = item or row.items.select_related("pack", "piece").filter(piece__code=thing).first()
    facts = [
        *wrong_state("settle a thing of", row.code, row.state, *SEARCHED),
        *_settling_facts(row, thing, item, outcome, note),
    ]
    if facts or item is None:
        raise Refused(*facts)
    was, item.outcome, item.note = item.outcome, outcome, note.strip()
    item.settled_at, item.settled_by = act.at, act.by
    item.save(update_fields=["outcome", "note", "settled_at", "settled_by"])
    evidence = {"pack" if item.pack else "piece": thing, "outcome": outcome, "was": was}
    write_line(RecallLine, row, "settle_recalled", act, reason=item.note, evidence=evidence)
    if item.pack and outcome == Outcome.FOUND:
        write_line(PackLine, item.pack, "find_recalled", act, reason=item.note, evidence={"recall": row.code})
    left = unsettled_items(row)
    next_step = "Keep it apart and send it back to the washer." if outcome == Outcome.FOUND else ""
    sentence = f"{thing} is {outcome}. Still to find: {left}."
    return Done.of("settle_recalled", row, sentence, next_step)


def _settling_facts(recall: Recall, thing: str, item: RecallItem | None, outcome: str, note: str) -> Iterator[Finding]:
    if item is None:
        sentence = f"Cannot settle {thing}: it is not called back by {recall.code}, must be."
        yield stop("not-called", thing, sentence, "Put it back where it was.")
    elif item.outcome == outcome:
        sentence = f"Cannot settle {thing}: it is {outcome} already, must be something else."
        yield stop("settled-already", thing, sentence, "Nothing was changed.")
    if outcome not in list(BY_HAND):
        wanted = " or ".join(sorted(BY_HAND))
        yield stop("outcome-unknown", thing, f"Cannot settle {thing}: it is {outcome}, must be {wanted}.", "")
    elif outcome == Outcome.NOT_FOUND and not note.strip():
        sentence = f"Cannot settle {thing}: where it was looked for is not recorded, must be stated."
        yield stop("note-missing", thing, sentence, "Write where it was looked for and who was asked.")


@action
def propose_closure(recall: str, *, reason: str, act: Act) -> Done:
    """Sign that everything of a recall is answered for; a second person closes it."""
    row = lock_recall(recall)
    reason = reason_given(reason, "propose the closure of", row.code)
    facts = list(_still_open(row))
    move_recall(row, "propose_closure", act, facts=facts, reason=reason, proposed_by=act.by)
    return Done.of("propose_closure", row, f"The closure of {row.code} is proposed.", "A second person closes it.")


def _still_open(recall: Recall) -> Iterator[Finding]:
    left = unsettled_items(recall)
    if left:
        sentence = f"Cannot close {recall.code}: {counted(left, 'thing')} of it still to find, must be none."
        yield stop("still-to-find", recall.code, sentence, "Say of each whether it is found, used or not found.")


@action
def keep_recall_open(recall: str, *, reason: str, act: Act) -> Done:
    """The second person does not agree: the search goes on."""
    row = lock_recall(recall)
    move_recall(row, "keep_open", act, reason=reason_given(reason, "keep open", row.code), proposed_by=None)
    return Done.of("keep_recall_open", row, f"{row.code} stays open.")


@action
def close_recall(recall: str, *, reason: str = "", act: Act) -> Done:
    """Close a recall whose closure somebody else has signed."""
    row = lock_recall(recall)
    facts = list(_same_person(row, act))
    move_recall(row, "close", act, facts=facts, reason=reason.strip(), closed_at=act.at, closed_by=act.by)
    return Done.of("close_recall", row, f"{row.code} is closed.")


def _same_person(recall: Recall, act: Act) -> Iterator[Finding]:
    if recall.proposed_by_id == act.by.pk:
        sentence = (
            f"Cannot close {recall.code}: {act.by} has proposed its closure, it must be closed by somebody else."
        )
        yield stop("second-person", recall.code, sentence, "Have another person look at it and close it.")
