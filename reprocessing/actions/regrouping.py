"""Splitting a load that is being built, and merging two: what was put in changes its load, and is never in two."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.db.models import Q

from instruments.identity import Kind
from instruments.models import Piece, PieceLine, Programme
from instruments.writer import lock_pieces, new_code
from journal.actions import Act, Done, action, write_line
from journal.findings import Finding, Refused, stop, unknown
from reprocessing import rules
from reprocessing.actions.loads import counted, member_facts, programme_facts, step_facts, unvalidated
from reprocessing.models import Load, LoadLine, LoadPack, LoadPiece, Machine
from reprocessing.reads import builders, sets_in
from reprocessing.reads.low_temperature import against_low_temperature
from reprocessing.states import LoadState
from reprocessing.writer import lock_loads, lock_machine
from trays.models import Pack, PackLine
from trays.writer import lock_packs


@dataclass(frozen=True, slots=True)
class Members:
    """What changes its load: packs, or pieces with the sets they came with, locked."""

    packs: tuple[Pack, ...]
    pieces: tuple[Piece, ...]

    @property
    def words(self) -> str:
        """How much it is."""
        return counted(len(self.pieces), "piece") if self.pieces else counted(len(self.packs), "pack")


@action
def split_load(load: str, things: tuple[str, ...], *, machine: str = "", programme: str = "", act: Act) -> Done:
    """Take some of a load that is being built into a new one, of the same machine or of another of its kind.

    `things`: codes of packs; in a washer of pieces, or of packs for all that came back of them. Without a
    machine or programme the new load has those of the old one.
    """
    found = Load.objects.filter(code=load).values_list("machine__code", flat=True).first()
    if found is None:
        raise Refused(unknown("load", load))
    onto = lock_machine(machine or found)
    (row,) = lock_loads([load])
    chosen = row.programme if not programme else Programme.objects.filter(code=programme).first()
    if chosen is None:
        raise Refused(unknown("programme", programme))
    members = _members(row, things)
    facts = [*step_facts("split_load", row, act), *_split_facts(row, things, members), *_same_kind(row, onto)]
    if facts := [*facts, *programme_facts(onto, chosen)]:
        raise Refused(*facts)
    made = Load.objects.create(
        code=new_code(Kind.LOAD), machine=onto, programme=chosen, kind=row.kind, built_at=act.at
    )
    evidence = {"programme": chosen.code, "kind": row.kind, "from": row.code}
    write_line(LoadLine, made, "open_load", act, target=LoadState.BUILDING, evidence=evidence)
    _change_load(row, made, members, "split_load", act)
    sentence = f"{made.code} is open on {onto.name} with {members.words} of {row.code}."
    return Done.of("split_load", made, sentence, "Scan what else goes in, or start it.")


@action
def merge_loads(load: str, into: str, *, act: Act) -> Done:
    """Put everything of a load that is being built into another one; the first is empty then, and taken up again."""
    row, target = _both(load, into)
    members = _members(row, None)
    facts = [*step_facts("merge_loads", row, act), *step_facts("merge_loads", target, act)]
    facts += [*_same_kind(row, target.machine), *_same_purpose(row, target), *_merge_facts(row, members)]
    if facts:
        raise Refused(*facts)
    _change_load(row, target, members, "merge_loads", act)
    sentence = (
        f"{members.words.capitalize()} of {row.code} went into {target.code}, which is on {target.machine.name}."
    )
    return Done.of("merge_loads", target, sentence, "Scan what else goes in, or start it.")


def _both(load: str, into: str) -> tuple[Load, Load]:
    """Both loads, locked in key order.

    Raises:
        Refused: they are one, or a code is that of none.
    """
    if load == into:
        sentence = f"Cannot merge {load}: it is to go into itself, must go into another load."
        raise Refused(stop("same-load", load, sentence, "Choose another load."))
    rows = {row.code: row for row in lock_loads([load, into])}
    return rows[load], rows[into]


def _members(load: Load, things: Collection[str] | None) -> Members:
    """What of a load is named, or everything, locked: packs, then pieces."""
    packs, pieces = load.load_packs.filter(open=True), load.load_pieces.filter(open=True)
    if things is not None:
        packs = packs.filter(pack__code__in=things)
        pieces = pieces.filter(Q(piece__code__in=things) | Q(came_with__code__in=things))
    return Members(
        tuple(lock_packs(packs.values_list("pack__code", flat=True))),
        tuple(lock_pieces(pieces.values_list("piece__code", flat=True))),
    )


def _split_facts(load: Load, things: Collection[str], members: Members) -> Iterator[Finding]:
    known = {pack.code for pack in members.packs} | {piece.code for piece in members.pieces}
    known |= set(
        load.load_pieces.filter(open=True, came_with__code__in=things).values_list("came_with__code", flat=True)
    )
    for code in sorted(set(things) - known):
        yield from member_facts(load, code, None)
    held = load.load_packs.filter(open=True).count() + load.load_pieces.filter(open=True).count()
    moved = len(members.packs) + len(members.pieces)
    if not things or moved == held:
        found = "nothing is named" if not things else "everything of it is named"
        sentence = f"Cannot split {load.code}: {found}, must be some of it."
        yield stop("split-of-nothing", load.code, sentence, "Name what goes into the new load.")


def _merge_facts(load: Load, members: Members) -> Iterator[Finding]:
    if not members.packs and not members.pieces:
        sentence = f"Cannot merge {load.code}: it is empty, must hold something."
        yield stop("load-empty", load.code, sentence, "Nothing was changed.")
    if load.indicators.exists() or load.traces.exists():
        sentence = f"Cannot merge {load.code}: an indicator or record of it is entered, must be none."
        yield stop("evidence-entered", load.code, sentence, "Run it by itself.")


def _same_kind(load: Load, machine: Machine) -> Iterator[Finding]:
    if load.machine.kind != machine.kind:
        found = f"{machine.name} is a {machine.kind}, must be a {load.machine.kind}"
        sentence = f"Cannot move anything of {load.code}: {found}."
        yield stop("machine-of-another-kind", load.code, sentence, "Choose a machine of its kind.")


def _same_purpose(load: Load, target: Load) -> Iterator[Finding]:
    if load.kind != target.kind:
        sentence = (
            f"Cannot merge {load.code} into {target.code}: it is a {load.kind} load, must be a {target.kind} one."
        )
        yield stop("load-of-another-kind", load.code, sentence, "Choose a load of its kind.")


def _change_load(load: Load, target: Load, members: Members, verb: str, act: Act) -> None:
    """Members change their load, with a line on both loads and on each of them.

    Raises:
        Refused: the other load has no room for them, or its programme is not for them.
    """
    packs, pieces = list(members.packs), list(members.pieces)
    LoadPack.objects.filter(load=load, pack__in=packs, open=True).update(load=target)
    LoadPiece.objects.filter(load=load, piece__in=pieces, open=True).update(load=target)
    if facts := tuple(_target_facts(load, target, packs)):
        raise Refused(*facts)
    evidence = {
        "from": load.code,
        "to": target.code,
        "packs": [pack.code for pack in packs],
        "pieces": [piece.code for piece in pieces],
        "built_by": [person.username for person in builders(load)],
    }
    for row in (load, target):
        write_line(LoadLine, row, verb, act, evidence=evidence)
    moved = {"from": load.code, "to": target.code}
    for pack in packs:
        write_line(PackLine, pack, "change_load", act, evidence=moved)
    for piece in pieces:
        write_line(PieceLine, piece, "change_load", act, evidence=moved)


def _target_facts(load: Load, target: Load, packs: Collection[Pack]) -> Iterator[Finding]:
    """What stands against what the other load holds now."""
    held, room = sets_in(target), target.machine.capacity
    if held > room:
        yield from rules.has_room(load.code, target.code, held=held, capacity=room)
    immediate = {pack.code for pack in packs if (pack.kind == "immediate") != target.programme.immediate}
    for code in sorted(immediate):
        sentence = f"Cannot load {code}: pack and programme are not both for immediate use, must be of one kind."
        yield stop("immediate-use-apart", code, sentence, "Choose a load of the other kind.")
    yield from unvalidated("load", target.code, target)
    yield from against_low_temperature("load", target.code, target)
