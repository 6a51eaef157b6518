"""Work at the loading side of a machine: a load is opened, filled and started."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from config.station.answers import Answer, Press, Result, Scan, did, either, need_kind, question, stop, with_looks
from config.station.queues import packs_in, returned_sets
from config.station.resolve import Thing, page_of
from config.station.screen import Button, Field, Item, Shown, View, cut, why_not_now
from instruments.identity import Kind
from instruments.models import Programme
from journal.actions import Act
from journal.reads import policy
from reprocessing.actions import add_pack, add_piece, add_returned_set, open_load, start_load
from reprocessing.models import Load, Machine
from reprocessing.reads import against_start, sets_in
from reprocessing.states import LOAD_MOVES, LoadKind, LoadState, MachineKind
from trays.reads import live_pack
from trays.states import PackState


@dataclass(frozen=True, slots=True)
class Loading:
    """Filling machines of some kinds.

    Args:
        machines: the kinds.
        takes: what goes in, beside scans of the machine and of its load.
        put_in: puts a thing into the load of a code.
        waiting: what waits to go in.
    """

    machines: tuple[MachineKind, ...]
    takes: tuple[Kind, ...]
    put_in: Callable[[str, Thing, Act], Answer]
    waiting: Callable[[View], Shown]

    def take(self, scan: Scan) -> Answer:
        """A machine or its load opens; whatever is scanned then goes into it."""
        need_kind(scan.thing, (Kind.MACHINE, Kind.LOAD, *self.takes))
        if scan.thing.kind is Kind.MACHINE:
            return self._machine(scan.thing.row, scan.act)
        if scan.thing.kind is Kind.LOAD:
            return self._load(scan.thing.row)
        if "load" not in scan.held:
            sentence = f"Cannot put {scan.thing.words} into a load: none is open here, one must be."
            raise stop("no-load", scan.thing.code, sentence, f"Scan the {either(list(self.machines))} first.")
        return self.put_in(scan.held["load"], scan.thing, scan.act)

    def _machine(self, machine: Machine, act: Act) -> Answer:
        """Go on with the machine's open load, or open one; ask for the programme where there are several."""
        self._suits(machine, machine.code)
        load = Load.objects.filter(machine=machine, state=LoadState.BUILDING, kind=LoadKind.ROUTINE).first()
        if load is not None and sets_in(load):
            return _going_on(load)
        programmes = _programmes(machine)
        if len(programmes) == 1:
            return _opened(machine, programmes[0].code, act)
        what = f"{machine.name} runs {len(programmes)} programmes."
        return question(what, "Choose the programme below.", machine.code, {"machine": machine.code})

    def _suits(self, machine: Machine, code: str) -> None:
        if machine.kind not in self.machines:
            wanted = either([f"a {kind}" for kind in self.machines])
            sentence = f"Cannot load {machine.name} here: it is a {machine.kind}, must be {wanted}."
            raise stop("wrong-machine", code, sentence, f"Scan {wanted}.")

    def _load(self, load: Load) -> Answer:
        self._suits(load.machine, load.code)
        if load.state != LoadState.BUILDING:
            sentence = f"Cannot add to {load.code}: it is {load.state}, must be building."
            raise stop("wrong-state", load.code, sentence, "Scan the machine to open a new load.")
        return _going_on(load)

    def show(self, view: View) -> Shown:
        """The load and its start; and what still waits to go in."""
        waiting = self.waiting(view)
        if "machine" in view.held:
            return replace(waiting, **_ask_programme(view.held["machine"]))
        if "load" not in view.held:
            return waiting
        load = Load.objects.select_related("machine", "programme").get(code=view.held["load"])
        room = f"{sets_in(load)} of {load.machine.capacity} {'sets' if load.machine.washes else 'packs'}"
        fact = f"{load.code} on {load.machine}, {load.programme}: {room}"
        carried = (Item(load.state, fact, page_of(Kind.LOAD, load.code)),)
        return replace(waiting, carried=carried, buttons=(_start_button(load, view),))


def _programmes(machine: Machine) -> list[Programme]:
    """What a routine load may run; immediate-use programmes only where the unit allows them."""
    rows = machine.programmes.order_by("code")
    return list(rows if policy("immediate_use") else rows.filter(immediate=False))


def _going_on(load: Load) -> Answer:
    what = f"{load.code} on {load.machine} is open."
    return Answer(Result.TAKEN, what, "Scan what goes in.", load.code, held={"load": load.code})


def _opened(machine: Machine, programme: str, act: Act) -> Answer:
    """The opened load, with whatever would forbid its start as it stands now, save that it is empty yet."""
    done = open_load(machine.code, programme, act=act)
    load = Load.objects.select_related("machine", "programme").get(code=done.mark)
    against = [finding for finding in against_start(load, machine, act.at) if finding.slug != "load-empty"]
    return with_looks(did(done, held={"load": done.mark}), tuple(against))


def _choose_programme(press: Press) -> Answer:
    machine = Machine.objects.get(code=press.carried("machine"))
    return _opened(machine, press.fields.get("programme", ""), press.act)


def _start(press: Press) -> Answer:
    fields = press.fields
    done = start_load(
        press.carried("load"),
        cycle_number=fields.get("cycle_number", ""),
        caps_open=fields.get("caps_open") == "yes",
        dry=fields.get("dry") == "yes",
        no_cellulose=fields.get("no_cellulose") == "yes",
        act=press.act,
    )
    return did(done, held={})


PRESSES = {"programme": _choose_programme, "start": _start}


def _ask_programme(code: str) -> dict[str, Any]:
    machine = Machine.objects.get(code=code)
    return {
        "carried": (Item("Machine", machine.name, page_of(Kind.MACHINE, machine.code)),),
        "asks": f"Which programme does {machine.name} run?",
        "buttons": tuple(
            Button(
                "programme", programme.name, "thermometer", (Field("programme", kind="hidden", value=programme.code),)
            )
            for programme in _programmes(machine)
        ),
    }


def _start_button(load: Load, view: View) -> Button:
    programme = load.programme
    fields = (
        Field("caps_open", "Caps are off, ports and taps are open", "check"),
        *([Field("dry", "Everything is dry, inside each lumen too", "check")] if programme.dry_only else []),
        *([Field("no_cellulose", "No wrap or pouch holds cellulose", "check")] if programme.no_cellulose else []),
        Field("cycle_number", "Cycle number on the machine"),
    )
    facts = against_start(load, load.machine, view.at)
    why = why_not_now(LOAD_MOVES["start"], load.code, load.state, view.by, facts)
    return Button("start", "Start the load", "check", fields, main=True, why_not=why)


# What goes into a washer, and what into a steriliser


def into_washer(load: str, thing: Thing, act: Act) -> Answer:
    """A returned set by its pack or tray, or a loose piece."""
    if thing.kind is Kind.PIECE:
        return did(add_piece(load, thing.code, act=act))
    done = add_returned_set(load, thing.code, act=act)
    return replace(did(done, next_step=""), next_step=f"Take apart: {done.next_step}" if done.next_step else "")


def waiting_for_washer(view: View) -> Shown:
    """Returned sets, the longest waiting first."""
    sets, loose = returned_sets(view.at)
    items, more = cut(
        Item(
            "Overdue" if row.overdue else "Returned",
            f"{row.pack.name} {row.pack.code}: {_pieces(row.pieces)}",
            page_of(Kind.PACK, row.pack.code),
        )
        for row in sets
    )
    if loose:
        items = (*items, Item("Returned", f"{_pieces(loose)} that came with no set"))
    return Shown("Waiting for the washer", items, more, none="Nothing waits for the washer.")


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"


def into_steriliser(load: str, thing: Thing, act: Act) -> Answer:
    """An assembled pack, by its own mark or by its tray's."""
    pack = thing.row if thing.kind is Kind.PACK else live_pack(thing.row)
    if pack is None:
        sentence = f"Cannot load {thing.words}: it is not packed, must be assembled."
        raise stop("not-packed", thing.code, sentence, "Assemble it first.")
    return did(add_pack(load, pack.code, act=act))


def waiting_for_steriliser(_: View) -> Shown:
    """Assembled packs."""
    items, more = cut(
        Item(pack.state, f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code))
        for pack in packs_in(PackState.ASSEMBLED)
    )
    return Shown("Waiting for the steriliser", items, more, none="No pack waits for the steriliser.")


WASHING = Loading((MachineKind.WASHER,), (Kind.PACK, Kind.TRAY, Kind.PIECE), into_washer, waiting_for_washer)
STERILISING = Loading(
    (MachineKind.STEAM, MachineKind.LOW_TEMPERATURE), (Kind.PACK, Kind.TRAY), into_steriliser, waiting_for_steriliser
)
