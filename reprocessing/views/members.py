"""What a scanned mark stands for at the door of a load."""

from __future__ import annotations

from instruments.carriers import Scheme, shown
from instruments.identity import Kind, decode
from instruments.models import Mark
from journal.actions import Act, Done
from journal.findings import Refused, stop, stops, unknown
from reprocessing.actions import add_pack, add_piece, add_returned_set
from reprocessing.models import Load
from reprocessing.states import MachineKind
from trays.models import Pack


def put_in(load: str, mark: str, *, act: Act) -> Done:
    """Put what a mark stands for into a load.

    A piece by any of its marks; a pack by its code or its tray's. In a washer a pack, or its tray, means
    everything that came back of it.

    Raises:
        Refused: nothing has this mark, or it goes into no load.
    """
    decoded = decode(mark)
    if unreadable := stops(decoded.findings):
        raise Refused(*unreadable)
    if decoded.scheme is not Scheme.OWN:
        return add_piece(load, _marked(decoded.key, mark), act=act)
    code, kind = decoded.key, Kind[decoded.identifiers["kind"].upper()]
    if kind is Kind.PIECE:
        return add_piece(load, code, act=act)
    if kind not in (Kind.PACK, Kind.TRAY):
        sentence = f"Cannot put {code} into {load}: it is a {kind.word}, must be a piece, a pack or a tray."
        raise Refused(stop("wrong-kind", code, sentence, "Scan what goes in."))
    if Load.objects.filter(code=load, machine__kind=MachineKind.WASHER).exists():
        return add_returned_set(load, code, act=act)
    return add_pack(load, _packed(code) if kind is Kind.TRAY else code, act=act)


def _marked(key: str, mark: str) -> str:
    code = Mark.objects.filter(key=key).values_list("piece__code", flat=True).first()
    if code is None:
        raise Refused(unknown("piece", shown(mark.strip())))
    return code


def _packed(tray: str) -> str:
    code: str | None = Pack.objects.live().filter(tray__code=tray).values_list("code", flat=True).first()
    if code is None:
        sentence = f"Cannot load {tray}: it is not packed, must be assembled."
        raise Refused(stop("not-packed", tray, sentence, "Assemble it first."))
    return code
