"""Work at the store: sterile packs go on a shelf."""

from __future__ import annotations

from config.station.answers import Answer, Result, Scan, did, need_kind, question, stop
from config.station.queues import packs_to_store
from config.station.resolve import Thing, page_of
from config.station.screen import Item, Shown, View, cut
from instruments.identity import Kind
from journal.models import Place
from trays.actions import store
from trays.models import Pack
from trays.reads import live_pack


def take(scan: Scan) -> Answer:
    """The place, then packs for it; or a pack, then its place."""
    need_kind(scan.thing, (Kind.PLACE, Kind.PACK, Kind.TRAY))
    if scan.thing.kind is Kind.PLACE:
        return _place(scan)
    pack = pack_of(scan.thing, "store")
    if "place" in scan.held:
        return did(store(pack.code, scan.held["place"], act=scan.act))
    what = f"{pack.name} {pack.code} is in hand."
    return question(what, "Scan the place where it goes.", pack.code, {"pack": pack.code})


def pack_of(thing: Thing, verb: str) -> Pack:
    """The pack itself, or the one that a tray is packed as.

    Raises:
        Refused: the tray is not packed.
    """
    pack: Pack | None = thing.row
    if thing.kind is Kind.TRAY:
        pack = live_pack(thing.row)
    if pack is None:
        sentence = f"Cannot {verb} {thing.words}: it is not packed, must be."
        raise stop("not-packed", thing.code, sentence, "Look up the tray.")
    return pack


def _place(scan: Scan) -> Answer:
    """A pack in hand goes there, and the next pack names its own place; else the place stays for all that follow."""
    if "pack" in scan.held:
        return did(store(scan.held["pack"], scan.thing.code, act=scan.act), held={})
    what = f"{scan.thing.name}: packs go here from now on."
    return Answer(Result.TAKEN, what, "Scan each pack.", scan.thing.code, held={"place": scan.thing.code})


def show(view: View) -> Shown:
    """Sterile packs without a place."""
    items, more = cut(
        Item(pack.state, f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code)) for pack in packs_to_store()
    )
    carried: tuple[Item, ...] = ()
    if "place" in view.held:
        carried = (Item("Goes to", Place.objects.get(code=view.held["place"]).name),)
    elif "pack" in view.held:
        pack = Pack.objects.get(code=view.held["pack"])
        carried = (Item("In hand", f"{pack.name} {pack.code}", page_of(Kind.PACK, pack.code)),)
    return Shown("Sterile, and in no place yet", items, more, none="Every sterile pack has a place.", carried=carried)
