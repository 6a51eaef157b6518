"""Work at the unloading side of a machine: a load is taken out, each pack looked at."""

from __future__ import annotations

from dataclasses import dataclass, replace

from config.station.answers import Answer, Press, Result, Scan, did, need_kind, question, stop
from config.station.queues import loads
from config.station.resolve import Thing, page_of
from config.station.screen import Button, Field, Item, Shown, View, cut, why_not_now
from instruments.identity import Kind
from reprocessing.actions import unload
from reprocessing.models import Load
from reprocessing.states import LOAD_MOVES, LoadState

DOSING = {"yes": True, "no": False, "": None}
FAULTS = (("wet", "Wet packs"), ("torn", "Torn or open packs"), ("dropped", "Dropped packs"))
DOSING_CHOICES = (("yes", "As programmed"), ("no", "A fault"), ("", "Not looked at yet"))


@dataclass(frozen=True, slots=True)
class Unloading:
    """Emptying washers, or sterilisers.

    Args:
        washes: which of the two.
    """

    washes: bool

    def take(self, scan: Scan) -> Answer:
        """A machine, its load, or a pack that is in it: the load that is to be taken out."""
        kinds = (Kind.MACHINE, Kind.LOAD) if self.washes else (Kind.MACHINE, Kind.LOAD, Kind.PACK)
        need_kind(scan.thing, kinds)
        load = self._meant(scan)
        if load.state == LoadState.AWAITING_RELEASE:
            what = f"{load.code} is out already and waits for its decision."
            return Answer(Result.LOOK, what, "Complete its evidence.", load.code, held={"load": load.code})
        if load.state != LoadState.RUNNING:
            sentence = f"Cannot unload {load.code}: it is {load.state}, must be running."
            raise stop("wrong-state", load.code, sentence, "Nothing was changed.")
        what = f"{load.code} comes out of {load.machine}."
        step = "Look at the washer’s record." if self.washes else "Look at each pack: dry, whole and sealed."
        return question(what, f"{step} Then press below.", load.code, {"load": load.code})

    def _meant(self, scan: Scan) -> Load:
        """The load that a scan means.

        Raises:
            Refused: the machine runs none, or it is a load of another kind of machine.
        """
        thing = scan.thing
        load = _load_of(thing)
        if load is None:
            sentence = f"Cannot unload {thing.words}: no load of it is running, one must be."
            raise stop("no-load", thing.code, sentence, "Scan the machine that has ended.")
        if load.machine.washes != self.washes:
            wanted = "a washer" if self.washes else "a steriliser"
            sentence = f"Cannot unload {load.machine.name} here: it is a {load.machine.kind}, must be {wanted}."
            raise stop("wrong-machine", thing.code, sentence, f"Scan {wanted}.")
        return load

    def show(self, view: View) -> Shown:
        """The load to be taken out; and the others that run or wait."""
        rows = loads(LoadState.RUNNING, LoadState.AWAITING_RELEASE, washes=self.washes)
        items, more = cut(
            Item(load.state, f"{load.code} on {load.machine}, {load.programme}", page_of(Kind.LOAD, load.code))
            for load in rows
        )
        none = "No washer runs." if self.washes else "No steriliser runs."
        shown = Shown("Running, or waiting for a decision", items, more, none=none)
        load = rows.filter(code=view.held.get("load", "")).first()
        if load is None:
            return shown
        fact = f"{load.code} on {load.machine}, {load.programme}"
        carried = (Item(load.state, fact, page_of(Kind.LOAD, load.code)),)
        if load.state == LoadState.RUNNING:
            return replace(shown, carried=carried, buttons=(_unload_button(load, view),))
        link = (f"Go to load {load.code}", page_of(Kind.LOAD, load.code))
        return replace(shown, carried=carried, links=(link,))


def _load_of(thing: Thing) -> Load | None:
    """The load itself, the one that a pack is in, or what a machine runs or ran last without a decision."""
    rows = Load.objects.select_related("machine", "programme").order_by("-id")
    if thing.kind is Kind.LOAD:
        return rows.filter(pk=thing.row.pk).first()
    if thing.kind is Kind.PACK:
        return rows.filter(load_packs__pack=thing.row, load_packs__open=True).first()
    of_machine = rows.filter(machine=thing.row)
    return of_machine.filter(state=LoadState.RUNNING).first() or of_machine.undecided().first()


def _unload_button(load: Load, view: View) -> Button:
    if load.machine.washes:
        fields: tuple[Field, ...] = (
            Field("dosing", "The washer’s record of phases and doses", "choice", DOSING_CHOICES),
        )
    else:
        packs = load.load_packs.filter(open=True).select_related("pack").order_by("pack__code")
        choices = tuple((row.pack.code, f"{row.pack.name} {row.pack.code}") for row in packs)
        fields = tuple(Field(name, words, "several", choices) for name, words in FAULTS)
    why = why_not_now(LOAD_MOVES["unload"], load.code, load.state, view.by)
    return Button("unload", f"Unload {load.code}", "package-open", fields, main=True, why_not=why)


def _unload(press: Press) -> Answer:
    fields = press.fields
    done = unload(
        press.carried("load"),
        **{name: tuple(fields.getlist(name)) for name, _ in FAULTS},
        dosing_recorded=DOSING.get(fields.get("dosing", "")),
        act=press.act,
    )
    return did(done)


PRESSES = {"unload": _unload}
WASHERS = Unloading(washes=True)
STERILISERS = Unloading(washes=False)
