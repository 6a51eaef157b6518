"""The signed decisions on a load: released, rejected, recalled, and what becomes of a load in doubt."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from datetime import timedelta
from typing import Any

from instruments.models import Piece
from instruments.states import PieceState
from instruments.writer import lock_pieces, move_piece
from journal.actions import Act, Done, action, need, reason_given, write_line
from journal.findings import Finding, Refused, Severity, stop
from journal.reads import policy
from reprocessing import rules
from reprocessing.actions.loads import counted
from reprocessing.actions.recalls import FIND, recall_of_one
from reprocessing.actions.unloading import count_cycle, end_facts, end_pack
from reprocessing.checklist import Check
from reprocessing.device_evidence import reason_wanted
from reprocessing.models import Doubt, Load, LoadLine, Release
from reprocessing.reads import against_release, alone_needed, builders, load_evidence, second_person_wanted
from reprocessing.reads.devices import differences_of
from reprocessing.reads.recalls import called_back
from reprocessing.states import LOAD_STEPS, LoadState
from reprocessing.writer import lock_load, move_load
from trays.models import Carried, Pack
from trays.states import PackKind, PackState
from trays.writer import carried_pieces, lock_packs, move_pack

COOL = "Let the packs cool, then store them."
SET_APART = (PackState.QUARANTINED, PackState.RECALLED)


@action
def release(load: str, *, reason: str = "", alone: str = "", act: Act) -> Done:
    """Release a load: nevers 3 and 8 are asked, its evidence complete, its packs sterile or its pieces cleaned.

    `alone` states the single-staffing exception, kept for the review of the next day; it is kept only where
    it was needed. A quarantined pack of the load stays in quarantine.
    """
    row = lock_load(load)
    packs, pieces = _lock_members(row)
    checks = load_evidence(row)
    signed_alone = alone.strip() if alone_needed(row, act.by) else ""
    evidence = {"checks": [check.as_dict() for check in checks]}
    facts = [
        *_second_person_facts(row, act, alone),
        *against_release(row, checks),
        *reason_wanted(row.code, differences_of(row), reason),
    ]
    move_load(row, "release", act, facts=facts, reason=reason, evidence={"alone": signed_alone})
    Release.objects.create(
        load=row,
        decision=LoadState.RELEASED,
        by=act.by,
        at=act.at,
        reason=reason.strip(),
        alone=signed_alone,
        evidence=evidence,
    )
    called = called_back(packs)
    for piece in pieces:
        move_piece(piece, "pass_wash", act, evidence={"load": row.code}, follows=True, cleaned_at=act.at)
    for pack in packs:
        _make_sterile(row, pack, act, called=pack.pk in called)
    _close(row)
    sterile = sum(pack.state == PackState.STERILE for pack in packs)
    went = counted(len(pieces), "piece") if row.machine.washes else counted(sterile, "pack")
    became, next_step = ("cleaned", "Inspect the pieces.") if row.machine.washes else ("sterile", COOL)
    return Done.of("release", row, f"{row.code} is released; {became}: {went}.", next_step, _still_due(row, checks))


def _lock_members(load: Load) -> tuple[list[Pack], list[Piece]]:
    """What is in a load still: packs, then pieces, locked in this order."""
    packs = lock_packs(load.load_packs.filter(open=True).values_list("pack__code", flat=True))
    return packs, lock_pieces(load.load_pieces.filter(open=True).values_list("piece__code", flat=True))


def _second_person_facts(load: Load, act: Act, alone: str) -> Iterable[Finding]:
    return rules.second_person(
        load.code,
        wanted=second_person_wanted(load),
        builders=[person.pk for person in builders(load)],
        releaser=act.by.pk,
        name=str(act.by),
        alone=alone,
    )


def _make_sterile(load: Load, pack: Pack, act: Act, *, called: bool) -> None:
    """A pack that was set apart meanwhile stays so; one that a recall looks for is called back, not let out."""
    count_cycle(load, carried_pieces(pack), act)
    if pack.state in SET_APART:
        return
    if called:
        move_pack(pack, "recall", act, reason="called back meanwhile", evidence={"load": load.code}, follows=True)
        return
    fields: dict[str, Any] = {}
    if pack.kind == PackKind.IMMEDIATE and load.ended_at is not None:
        fields["use_by"] = load.ended_at + timedelta(minutes=int(policy("immediate_use_min")))
    move_pack(pack, "release", act, evidence={"load": load.code}, follows=True, **fields)


def _close(load: Load) -> None:
    load.load_packs.filter(open=True).update(open=False)
    load.load_pieces.filter(open=True).update(open=False)


def _still_due(load: Load, checks: Iterable[Check]) -> Iterator[Finding]:
    """A biological result that is awaited although the load went out."""
    for check in checks:
        if check.row.slug == "biological-indicator" and check.row.met is None:
            yield Finding(
                "biological-result-due",
                Severity.LOOK,
                load.code,
                f"The biological result of {load.code} is not known yet.",
                "Read it when it is due; if it fails, the recall is to be decided.",
            )


@action
def reject(load: str, *, reason: str, soiled: tuple[str, ...] = (), act: Act) -> Done:
    """Reject a load that was aborted or does not convince.

    Its packs end and their pieces are inspected anew; those that are `soiled` (codes of pieces, or of packs
    for all in them: wet, dropped, touched) go before the washer. What was in a washer is returned. A
    quarantined pack of the load stays in quarantine.
    """
    row = lock_load(load)
    reason = reason_given(reason, "reject", row.code)
    packs, pieces = _lock_members(row)
    inside = _inside(packs)
    evidence = {"checks": [check.as_dict() for check in load_evidence(row)]}
    fields, facts = {}, [*_soiled_facts(row, soiled, inside)]
    if row.state == LoadState.RUNNING:
        fields = {"ended_at": act.at}
        facts += end_facts("reject", row, act)
    move_load(row, "reject", act, facts=facts, reason=reason, evidence={"soiled": sorted(soiled)}, **fields)
    Release.objects.create(
        load=row, decision=LoadState.REJECTED, by=act.by, at=act.at, reason=reason, evidence=evidence
    )
    for piece in pieces:
        move_piece(piece, "fail_wash", act, reason=reason, evidence={"load": row.code}, follows=True)
    for pack in packs:
        if pack.state not in SET_APART:
            dirty = inside[pack.code] if pack.code in soiled else inside[pack.code] & set(soiled)
            end_pack(row, pack, act, reason=reason, barrier_intact=pack.barrier_intact, soiled=dirty)
    _close(row)
    next_step = "Wash the pieces again." if row.machine.washes else "Check, assemble and wrap the pieces anew."
    return Done.of("reject", row, f"{row.code} is rejected.", next_step)


def _inside(packs: Iterable[Pack]) -> dict[str, set[str]]:
    """Codes of the pieces that each pack carries."""
    inside: dict[str, set[str]] = {pack.code: set() for pack in packs}
    rows = Carried.objects.filter(pack__code__in=inside)
    for pack, piece in rows.values_list("pack__code", "piece__code"):
        inside[pack].add(piece)
    return inside


def _soiled_facts(load: Load, soiled: Collection[str], inside: dict[str, set[str]]) -> Iterator[Finding]:
    known = set(inside).union(*inside.values())
    for code in sorted(set(soiled) - known):
        yield stop(
            "not-in-load",
            code,
            f"Cannot name {code} as soiled: it is not in a pack of {load.code}, must be in one.",
            "Scan the pack or the piece itself.",
        )


@action
def recall_load(load: str, *, reason: str, act: Act) -> Done:
    """Recall a released load: whatever of it is not used yet is called back."""
    row = lock_load(load)
    return _recall(row, "recall_load", reason_given(reason, "recall", row.code), act)


def _recall(load: Load, verb: str, reason: str, act: Act) -> Done:
    """A recall whose scope is one load: a steriliser calls its packs back; a wash its pieces, and their packs."""
    recall, findings = recall_of_one(load, reason, act)
    packs = recall.items.filter(pack__state=PackState.RECALLED).count()
    pieces = recall.items.filter(piece__state=PieceState.RETURNED).count()
    went = f"{counted(packs, 'pack')} called back, {counted(pieces, 'piece')} sent to the washer"
    sentence = f"{load.code} is recalled: {went}."
    return Done.of(verb, load, sentence, f"{FIND} The work list is recall {recall.code}.", findings)


@action
def decide_doubt(load: str, test_id: int, *, decision: str, recall: bool, act: Act) -> Done:
    """The quality decision on a load that a failed machine test put in doubt; with `recall` it is recalled."""
    row = lock_load(load)
    step = LOAD_STEPS["decide_doubt"]
    need(step.right, step.says, row.code, act)
    decision = reason_given(decision, "decide on", row.code)
    doubt = Doubt.objects.select_for_update().filter(load=row, test_id=test_id).first()
    facts = tuple(_doubt_facts(row, doubt))
    if facts or doubt is None:
        raise Refused(*facts)
    doubt.decision, doubt.decided_by, doubt.decided_at = decision, act.by, act.at
    doubt.save(update_fields=["decision", "decided_by", "decided_at"])
    evidence = {"test": test_id, "recall": recall}
    write_line(LoadLine, row, "decide_doubt", act, reason=decision, evidence=evidence)
    if recall:
        return _recall(row, "decide_doubt", decision, act)
    return Done.of("decide_doubt", row, f"The decision on {row.code} is recorded.")


def _doubt_facts(load: Load, doubt: Doubt | None) -> Iterator[Finding]:
    if doubt is None or doubt.decided_at is not None:
        found = "not in doubt by this test" if doubt is None else "decided already"
        yield stop(
            "no-open-doubt",
            load.code,
            f"Cannot decide on {load.code}: it is {found}, must be in doubt.",
            "Nothing was changed.",
        )
