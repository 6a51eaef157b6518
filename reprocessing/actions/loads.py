"""Building a load and starting it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from instruments.identity import Kind
from instruments.models import Part, Piece, Programme
from instruments.reads import single_use_facts
from instruments.states import PieceState
from instruments.writer import lock_piece, lock_pieces, move_piece, new_code
from journal.actions import Act, Done, action, need, write_line
from journal.findings import Finding, Refused, Severity, stop, unknown
from reprocessing import rules
from reprocessing.models import Load, LoadLine, LoadPack, LoadPiece, Machine
from reprocessing.reads import against_start, not_validated, parts_in, sets_in
from reprocessing.reads.low_temperature import against_low_temperature, against_unconfirmed
from reprocessing.reads.soil import soil_of
from reprocessing.reads.supplies import lots_of_load
from reprocessing.rules import wrong_state
from reprocessing.soil import waited_too_long
from reprocessing.states import LOAD_STEPS, OPENS, LoadKind, LoadState, MachineKind
from reprocessing.writer import lock_load, lock_load_and_machine, lock_machine, move_load
from trays.models import Content, Pack
from trays.reads import unread_label
from trays.states import ENDED, PackKind
from trays.writer import lock_pack, move_pack


def step_facts(verb: str, load: Load, act: Act) -> Iterable[Finding]:
    """What stands against a verb that leaves the load in its state.

    Raises:
        Refused: the person lacks its right; nothing else is said to them.
    """
    step = LOAD_STEPS[verb]
    need(step.right, step.says, load.code, act)
    return wrong_state(step.says, load.code, load.state, *step.states)


def counted(number: int, thing: str) -> str:
    """A number of things, in words: “1 pack”, “2 packs”."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


@action
def open_load(machine: str, programme: str, *, kind: str = LoadKind.ROUTINE, act: Act) -> Done:
    """Open a load of a machine; its empty one of the same kind is taken up again rather than left behind."""
    row = lock_machine(machine)
    purpose = LoadKind(kind)
    need(OPENS[MachineKind(row.kind)], "open a load of", row.name, act)
    chosen = Programme.objects.filter(code=programme).first()
    if chosen is None:
        raise Refused(unknown("programme", programme))
    facts = tuple(programme_facts(row, chosen))
    if facts:
        raise Refused(*facts)
    load = _empty_load(row, purpose)
    if load is None:
        load = Load.objects.create(
            code=new_code(Kind.LOAD), machine=row, programme=chosen, kind=purpose, built_at=act.at
        )
    else:
        load.programme = chosen
        load.save(update_fields=["programme"])
    evidence = {"programme": chosen.code, "kind": purpose}
    write_line(LoadLine, load, "open_load", act, target=LoadState.BUILDING, evidence=evidence)
    return Done.of("open_load", load, f"{load.code} is open on {row.name}, {chosen.name}.", "Scan what goes in.")


def programme_facts(machine: Machine, programme: Programme) -> Iterator[Finding]:
    """A load runs one of its machine's own programmes."""
    if not machine.programmes.filter(pk=programme.pk).exists():
        yield stop(
            "programme-not-on-machine",
            machine.code,
            f"Cannot open a load of {machine.name}: {programme.name} is not one of its programmes, must be one.",
            "Choose one of the machine's own programmes.",
        )


def _empty_load(machine: Machine, kind: LoadKind) -> Load | None:
    """The machine's load that nothing has gone into, locked; looked at again once it is."""
    empty = Load.objects.filter(machine=machine, kind=kind).empty()
    code = empty.values_list("code", flat=True).first()
    if code is None:
        return None
    load = lock_load(code)
    return load if empty.filter(pk=load.pk).exists() else None


@action
def add_pack(load: str, pack: str, *, act: Act) -> Done:
    """Put an assembled pack into a steriliser load."""
    row = lock_load(load)
    item = lock_pack(pack)
    facts = [*_adding_facts(row, item.code), *_pack_facts(row, item)]
    move_pack(item, "load", act, facts=facts, evidence={"load": row.code})
    LoadPack.objects.create(load=row, pack=item)
    write_line(LoadLine, row, "add_pack", act, evidence={"pack": item.code})
    return Done.of("add_pack", row, f"{item.name} {item.code} is in {row.code}.", findings=unread_label(item))


def _adding_facts(load: Load, subject: str) -> Iterator[Finding]:
    yield from _adding_state(load)
    yield from rules.has_room(subject, load.code, held=sets_in(load), capacity=load.machine.capacity)


def _adding_state(load: Load) -> Iterator[Finding]:
    step = LOAD_STEPS["add_piece" if load.machine.washes else "add_pack"]
    return wrong_state(step.says, load.code, load.state, *step.states)


def _pack_facts(load: Load, pack: Pack) -> Iterator[Finding]:
    yield from rules.pack_suits_load(
        pack.code,
        washes=load.machine.washes,
        routine=load.kind == LoadKind.ROUTINE,
        immediate_pack=pack.kind == PackKind.IMMEDIATE,
        immediate_programme=load.programme.immediate,
        holds_implant=pack.holds_implant,
    )
    parts = Part.objects.filter(pieces__carried__pack=pack)
    yield from _validated("load", pack.code, load.programme, parts)
    pieces = Piece.objects.filter(carried__pack=pack).select_related("part")
    yield from single_use_facts(pieces, "load", pack.code)
    yield from against_low_temperature("load", pack.code, load, [pack])


def unvalidated(verb: str, subject: str, load: Load) -> Iterator[Finding]:
    """Never 6 for everything that is in a load."""
    yield from _validated(verb, subject, load.programme, parts_in(load))


def _validated(verb: str, subject: str, programme: Programme, parts: Any) -> Iterator[Finding]:
    yield from rules.validated(verb, subject, programme.name, not_validated(parts, programme))


@action
def add_piece(load: str, piece: str, *, act: Act) -> Done:
    """Put a returned piece into a washer load."""
    row = lock_load(load)
    item = lock_piece(piece)
    facts = _adding_facts(row, item.code) if _basket_is_new(row) else _adding_state(row)
    _put_in(row, item, None, facts, act)
    write_line(LoadLine, row, "add_piece", act, evidence={"piece": item.code})
    return Done.of("add_piece", row, f"{item.part.name} {item.code} is in {row.code}.", item.part.take_apart)


def _basket_is_new(load: Load) -> bool:
    """Loose pieces share one basket: only the first one takes room."""
    return not load.load_pieces.filter(open=True, came_with=None).exists()


def _put_in(load: Load, piece: Piece, came_with: Pack | None, facts: Iterable[Finding], act: Act) -> None:
    move_piece(piece, "put_in_washer", act, facts=[*facts, *_piece_facts(load, piece)], evidence={"load": load.code})
    LoadPiece.objects.create(load=load, piece=piece, came_with=came_with)


def _piece_facts(load: Load, piece: Piece) -> Iterator[Finding]:
    if not load.machine.washes:
        yield stop(
            "steriliser-takes-packs",
            piece.code,
            f"Cannot put {piece.code} into {load.code}: its machine is a {load.machine.kind}, must be a washer.",
            "Pack it first, or choose a washer load.",
        )
    yield from rules.holds_nothing(piece.code, routine=load.kind == LoadKind.ROUTINE)
    yield from _validated("wash", piece.code, load.programme, Part.objects.filter(pk=piece.part_id))
    yield from single_use_facts([piece], "wash", piece.code)


@action
def add_returned_set(load: str, pack: str, *, act: Act) -> Done:
    """Put everything that came back of an ended pack into a washer load at once.

    `pack` is the code of the pack, or of its tray: then its latest ended pack is meant. Pieces that are no
    longer returned, or have been in another pack since, are left alone.
    """
    row = lock_load(load)
    ended = _ended_pack(pack)
    pieces = _came_back(ended)
    facts = list(_adding_facts(row, ended.code))
    if not pieces:
        facts.append(
            stop(
                "nothing-returned",
                ended.code,
                f"Cannot wash {ended.code}: none of its pieces is returned, at least one must be.",
                "Scan the pieces one by one.",
            )
        )
    for piece in pieces:
        facts += _piece_facts(row, piece)
    if facts:
        raise Refused(*facts)
    for piece in pieces:
        _put_in(row, piece, ended, (), act)
    evidence = {"pack": ended.code, "pieces": [piece.code for piece in pieces]}
    write_line(LoadLine, row, "add_returned_set", act, evidence=evidence)
    apart = "; ".join(sorted({piece.part.take_apart for piece in pieces if piece.part.take_apart}))
    return Done.of(
        "add_returned_set", row, f"{row.code} holds {counted(len(pieces), 'piece')} of {ended.name}.", apart
    )


def _ended_pack(code: str) -> Pack:
    """The pack of this code, or the latest ended pack of the tray of this code."""
    pack: Pack | None = Pack.objects.filter(code=code).first()
    if pack is None:
        pack = Pack.objects.filter(tray__code=code, state__in=sorted(ENDED)).order_by("-pk").first()
    if pack is None:
        raise Refused(unknown("ended pack or tray", code))
    return pack


def _came_back(pack: Pack) -> list[Piece]:
    """Returned pieces whose latest pack is this one, locked."""
    codes = pack.contents.filter(piece__state=PieceState.RETURNED).values_list("piece__code", flat=True)
    later = Content.objects.filter(piece__code__in=codes, pack__pk__gt=pack.pk).values_list("piece__code", flat=True)
    return lock_pieces(set(codes) - set(later))


@action
def take_off_load(load: str, pack: str, *, act: Act) -> Done:
    """Take a pack off a load that has not started; it is assembled again."""
    row = lock_load(load)
    item = lock_pack(pack)
    member = LoadPack.objects.filter(load=row, pack=item, open=True).first()
    facts = _taking_facts("take_off_load", row, item.code, member)
    move_pack(item, "take_off_load", act, facts=facts, evidence={"load": row.code})
    LoadPack.objects.filter(load=row, pack=item).delete()
    write_line(LoadLine, row, "take_off_load", act, evidence={"pack": item.code})
    return Done.of("take_off_load", row, f"{item.name} {item.code} is off {row.code}.")


@action
def take_out_of_load(load: str, piece: str, *, act: Act) -> Done:
    """Take a piece out of a washer load that has not started; it is returned again."""
    row = lock_load(load)
    item = lock_piece(piece)
    member = LoadPiece.objects.filter(load=row, piece=item, open=True).first()
    facts = _taking_facts("take_out_of_load", row, item.code, member)
    move_piece(item, "take_out_of_washer", act, facts=facts, evidence={"load": row.code})
    LoadPiece.objects.filter(load=row, piece=item).delete()
    write_line(LoadLine, row, "take_out_of_load", act, evidence={"piece": item.code})
    return Done.of("take_out_of_load", row, f"{item.part.name} {item.code} is out of {row.code}.")


def _taking_facts(verb: str, load: Load, code: str, member: object | None) -> Iterator[Finding]:
    step = LOAD_STEPS[verb]
    yield from wrong_state(step.says, load.code, load.state, *step.states)
    yield from member_facts(load, code, member)


def member_facts(load: Load, code: str, member: object | None) -> Iterator[Finding]:
    """What is to be taken from a load must be in it."""
    if member is None:
        yield stop(
            "not-in-load",
            code,
            f"Cannot take {code} out of {load.code}: it is not in this load, must be in it.",
            "Look up the load that it is in.",
        )


@action
def start_load(
    load: str,
    *,
    cycle_number: str = "",
    caps_open: bool,
    dry: bool = False,
    no_cellulose: bool = False,
    act: Act,
) -> Done:
    """Start a load: nevers 5 and 6 are asked, and that caps are off, ports and taps open.

    A low-temperature programme may ask besides that everything is `dry`, and that no wrap holds cellulose.
    """
    row, machine = lock_load_and_machine(load)
    against = tuple(against_start(row, machine, act.at))
    facts = [*against, *_caps_facts(row, caps_open=caps_open)]
    if row.kind == LoadKind.ROUTINE:
        facts += against_unconfirmed(row, dry=dry, no_cellulose=no_cellulose)
    lots = [str(lot) for lot in lots_of_load(row, act.at)]
    number = cycle_number.strip()
    soil = soil_of(row, act.at) if machine.washes else None
    move_load(
        row,
        "start",
        act,
        facts=facts,
        evidence={
            "cycle_number": number,
            "caps_open": caps_open,
            **({"dry": dry} if row.programme.dry_only else {}),
            **({"no_cellulose": no_cellulose} if row.programme.no_cellulose else {}),
            "soil": soil.words if soil else "",
            "lots": lots,
        },
        started_at=act.at,
        cycle_number=number,
        caps_open=caps_open,
    )
    sentence = f"{row.code} runs on {machine.name}."
    findings = [*(found for found in against if found.severity is Severity.LOOK), *waited_too_long(row.code, soil)]
    return Done.of("start_load", row, sentence, "Unload it when the cycle has ended.", findings)


def _caps_facts(load: Load, *, caps_open: bool) -> Iterator[Finding]:
    if load.kind == LoadKind.ROUTINE and not caps_open:
        yield stop(
            "caps-not-open",
            load.code,
            f"Cannot start {load.code}: caps, ports and taps are not confirmed open, must be.",
            "Take caps off, open ports and taps, and confirm it.",
        )
