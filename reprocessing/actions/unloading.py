"""Taking a load out of its machine: packs are looked at, and what a started cycle leaves behind is written down."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from instruments.models import Piece, PieceLine
from journal.actions import Act, Done, action, write_line
from journal.findings import Finding, Refused, stop
from reprocessing.actions.loads import counted, member_facts, step_facts
from reprocessing.models import Load, LoadLine
from reprocessing.states import WASHED_AGAIN, Condition
from reprocessing.writer import lock_load, move_load
from trays.models import Pack
from trays.states import PackKind
from trays.writer import carried_pieces, give_up, lock_packs, move_pack


@action
def unload(
    load: str,
    *,
    wet: tuple[str, ...] = (),
    torn: tuple[str, ...] = (),
    dropped: tuple[str, ...] = (),
    dosing_recorded: bool | None = None,
    act: Act,
) -> Done:
    """Take a load out of its machine, each pack looked at.

    A wet, torn (or open) or dropped pack ends at once, whatever becomes of the load. The pieces of a wet or
    dropped one go back before the washer; those of a torn one are checked and wrapped anew. `dosing_recorded`
    speaks of a washer's own record of phases and doses: as programmed or not.
    """
    row = lock_load(load)
    packs = lock_packs(row.load_packs.filter(open=True).values_list("pack__code", flat=True))
    named = {Condition.WET: set(wet), Condition.TORN: set(torn), Condition.DROPPED: set(dropped)}
    faults = {code: condition for condition, codes in named.items() for code in sorted(codes)}
    facts = [*_named_facts(row, named, packs), *end_facts("unload", row, act)]
    move_load(
        row,
        "unload",
        act,
        facts=facts,
        evidence={"damaged": faults, "dosing_recorded": dosing_recorded},
        ended_at=act.at,
        dosing_recorded=dosing_recorded,
    )
    for pack in packs:
        _look_at(row, pack, faults.get(pack.code, Condition.INTACT), act)
    ended = f" {_told(named)}." if faults else ""
    return Done.of("unload", row, f"{row.code} has ended and waits for its decision.{ended}", "Complete its evidence.")


def _look_at(load: Load, pack: Pack, condition: Condition, act: Act) -> None:
    """A pack as it was found: it goes on, or it ends."""
    if condition is Condition.INTACT:
        intact = None if pack.kind == PackKind.IMMEDIATE else True
        move_pack(pack, "unload", act, evidence={"load": load.code}, follows=True, barrier_intact=intact)
        load.load_packs.filter(pack=pack).update(barrier_intact=intact, condition=condition if intact else "")
        return
    soiled = None if condition in WASHED_AGAIN else ()
    end_pack(load, pack, act, reason=f"{condition} on unloading", barrier_intact=False, soiled=soiled)
    load.load_packs.filter(pack=pack).update(condition=condition)


def _told(named: Mapping[Condition, Collection[str]]) -> str:
    """What ended, and what becomes of it."""
    next_step = {True: "wash and pack anew", False: "check and wrap anew"}
    return "; ".join(
        f"{condition.capitalize()} and ended: {counted(len(codes), 'pack')}, {next_step[condition in WASHED_AGAIN]}"
        for condition, codes in named.items()
        if codes
    )


def _named_facts(load: Load, named: Mapping[Condition, set[str]], packs: Iterable[Pack]) -> Iterator[Finding]:
    inside = {pack.code for pack in packs}
    for code in sorted(set().union(*named.values()) - inside):
        yield from member_facts(load, code, None)
    for code in sorted(inside):
        said = [condition for condition, codes in named.items() if code in codes]
        if len(said) > 1:
            sentence = f"Cannot unload {load.code}: {code} is said to be {' and '.join(said)}, must be one of them."
            yield stop("said-twice", code, sentence, "Say the worst: dropped or wet before torn.")


def end_facts(verb: str, load: Load, act: Act) -> Iterator[Finding]:
    """A cycle does not end before it started."""
    if load.started_at is not None and act.at < load.started_at:
        yield stop(
            "ends-before-start",
            load.code,
            f"Cannot {verb} {load.code}: the time given is before its start, must be after it.",
            "Check the clock of the station.",
        )


def end_pack(
    load: Load,
    pack: Pack,
    act: Act,
    *,
    reason: str,
    barrier_intact: bool | None,
    soiled: Collection[str] | None = None,
) -> None:
    """End a pack of a started load: its pieces have seen a cycle, and go back.

    `soiled`: codes of the pieces that go before the washer, the rest being inspected; all when None.
    """
    pieces = carried_pieces(pack)
    count_cycle(load, pieces, act)
    move_pack(
        pack, "reject", act, reason=reason, evidence={"load": load.code}, follows=True, barrier_intact=barrier_intact
    )
    dirty = [piece for piece in pieces if soiled is None or piece.code in soiled]
    give_up(dirty, "send_back", act, reason=reason)
    give_up([piece for piece in pieces if piece not in dirty], "unpack", act, reason=reason)
    load.load_packs.filter(pack=pack).update(open=False, barrier_intact=barrier_intact)


def count_cycle(load: Load, pieces: Iterable[Piece], act: Act) -> None:
    """A started cycle has worn what was in it, whatever is decided of the load."""
    for piece in pieces:
        piece.cycles += 1
        piece.save(update_fields=["cycles"])
        write_line(PieceLine, piece, "count_cycle", act, evidence={"load": load.code, "cycles": piece.cycles})


@action
def record_dosing(load: str, *, recorded: bool, act: Act) -> Done:
    """Say later what the washer's own record of phases and doses shows: as programmed, or a fault."""
    row = lock_load(load)
    facts = [*step_facts("record_dosing", row, act), *_washer_facts(row)]
    if facts:
        raise Refused(*facts)
    row.dosing_recorded = recorded
    row.save(update_fields=["dosing_recorded"])
    write_line(LoadLine, row, "record_dosing", act, evidence={"dosing_recorded": recorded})
    words = "as programmed" if recorded else "a fault"
    return Done.of("record_dosing", row, f"Phases and doses of {row.code}: {words}.")


def _washer_facts(load: Load) -> Iterator[Finding]:
    if not load.machine.washes:
        yield stop(
            "no-washer",
            load.code,
            f"Cannot record the doses of {load.code}: its machine is a {load.machine.kind}, must be a washer.",
            "Attach the machine's record instead.",
        )
