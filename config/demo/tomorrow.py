"""Today's work so far, and tomorrow's list: ten cases that among them show every kind of verdict."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from config.demo.loans import lend_out
from config.demo.unit import FIXTURES
from config.demo.work import Unit, assemble, inspect_all, lay_out, pass_due_tests, sterilise, use, wash
from instruments.actions import check_scanner, inspect, quarantine_piece
from instruments.models import Piece
from instruments.scanner_check import SENT
from instruments.states import PieceState
from journal.models import Station
from lists.actions import (
    allocate,
    close_count,
    count_piece,
    end_case,
    issue,
    open_pack,
    plan_case,
    take_back,
)
from lists.imports import import_list
from lists.models import Requirement
from trays.actions import put_on_tray, receive_maker_pack, store
from trays.models import Carried, Pack, Tray

HOURS_OF_TODAY = 6
FAULTS = (("FO-O65", "jaw does not close"), ("SE-A80", "torn at the rim"))

IMPLANTS = (
    ("IM-12-40", "LT-2231", 2),
    ("IM-12-60", "LT-2240", 1),
    ("IM-14-40", "LT-2256", 2),
    ("IM-14-60", "LT-2261", 1),
)

ALLOCATIONS: tuple[tuple[str, str, str], ...] = (
    ("L-0401", "AD-BRO", "Adult tray A"),
    ("L-0402", "AD-BRO", "Adult tray B"),
    ("L-0403", "STENT", "Stent tray A"),
    ("L-0404", "AD-BRO", "Adult tray C"),
    ("L-0405", "AD-BRO", "Adult tray D"),
    ("L-0405", "OPT-FO", "Optical forceps tray"),
    ("L-0406", "CH-BRO", "Child tray A"),
    ("L-0407", "CH-BRO", "Child tray B"),
    ("L-0408", "CH-BRO", "Child tray C"),
    ("L-0409", "STENT", "Stent tray B"),
    ("L-0410", "AD-BRO", "Adult tray A"),
)
"""Case, template and tray; the last wants the set of the first."""


def tomorrow(unit: Unit) -> None:
    """Everything that happened today, then the list."""
    end = timezone.now()
    unit.now = end - timedelta(hours=HOURS_OF_TODAY)
    _scanners(unit)
    _implants(unit)
    pieces = _cases_of_today(unit)
    wash(unit, pieces)
    _inspect(unit, pieces)
    _benches(unit)
    unit.now = end
    pass_due_tests(unit)
    _list(unit)


def _scanners(unit: Unit) -> None:
    """Each station's scanner reads the card at the start of the day."""
    for station in Station.objects.all():
        check_scanner(station.name, SENT, mean_ms=4, longest_ms=9, act=unit.act("tech1"))


def _implants(unit: Unit) -> None:
    expires = timezone.localdate(unit.now) + timedelta(days=540)
    for part, lot, number in IMPLANTS:
        for serial in range(1, number + 1):
            pack = receive_maker_pack(
                part,
                lot=lot,
                serial=f"{lot}-{serial:02d}",
                expires=expires,
                barrier_intact=True,
                act=unit.act("tech1"),
            ).mark
            store(pack, "STORE-B", act=unit.act("tech1"))


def _cases_of_today(unit: Unit) -> list[Piece]:
    """Five sets were used this morning; of one a suction tube did not come back."""
    pieces: list[Piece] = []
    for number, name in enumerate(("Adult tray B", "Adult tray C", "Stent tray A", "Optical forceps tray")):
        pack = Pack.objects.live().get(tray__name=name)
        pieces += use(unit, pack, _case(unit, f"T-{number}"))
        unit.later(-60)
    return pieces + _one_comes_back_short(unit, "Child tray A", "SU-20")


def _case(unit: Unit, reference: str) -> str:
    starts_at = unit.now + timedelta(minutes=5)
    return plan_case(reference, "TH1", "BRO-A", starts_at, 45, act=unit.act("coord1")).mark


def _one_comes_back_short(unit: Unit, name: str, part: str) -> list[Piece]:
    pack, case = Pack.objects.live().get(tray__name=name), _case(unit, "T-9")
    issue(pack.code, case, barrier_intact=True, act=unit.act("nurse1"))
    open_pack(pack.code, case, act=unit.act("nurse1"))
    unit.later(45)
    end_case(case, act=unit.act("nurse1"))
    take_back(pack.code, act=unit.act("tech1"))
    inside = list(Carried.objects.filter(pack=pack).values_list("piece__code", "piece__part__code"))
    lost = next(code for code, of_part in inside if of_part == part)
    for code, _ in inside:
        if code != lost:
            count_piece(code, act=unit.act("tech1"))
    close_count(pack.code, act=unit.act("tech1"))
    return list(Piece.objects.filter(code__in=[code for code, _ in inside if code != lost]).select_related("part"))


def _inspect(unit: Unit, pieces: list[Piece]) -> None:
    """A forceps and a seal fail their tests and have no spare; a scissors is kept apart; the rest is sound."""
    worn = [next(piece for piece in pieces if piece.part.code == part) for part, _ in FAULTS]
    for piece, (_, note) in zip(worn, FAULTS, strict=True):
        inspect(piece.code, clean=True, function=False, note=note, act=unit.act("tech2"))
    inspect_all(unit, [piece for piece in pieces if piece not in worn])
    apart = Piece.objects.filter(part__code="FO-S25", state=PieceState.INSPECTED).order_by("code").last()
    if apart is not None:
        reason = "possible tissue risk, diagnosis awaited"
        quarantine_piece(apart.code, reason=reason, place="QBOX", act=unit.act("nurse1"))


def _benches(unit: Unit) -> None:
    """One tray waits for the steriliser, one for its release, three lie unfinished."""
    by_name = {tray.name: tray for tray in Tray.objects.select_related("template")}
    stent = assemble(unit, by_name["Stent tray A"])
    sterilise(unit, [stent], until="unload")
    assemble(unit, by_name["Adult tray B"])
    lay_out(unit, by_name["Adult tray C"], leave_out=("SE-A80",))
    lay_out(unit, by_name["Optical forceps tray"], leave_out=("FO-O65",))
    lay_out(unit, by_name["Child tray A"], leave_out=("SH-C50", "LL-25"))
    _leads_lent(unit)
    other_size = Piece.objects.filter(part__code="SH-C55", state=PieceState.INSPECTED).order_by("code").first()
    if other_size is not None:
        put_on_tray(other_size.code, by_name["Child tray A"].code, act=unit.act("nurse2"))


def _leads_lent(unit: Unit) -> None:
    """No light lead is left on the shelf: a tray that cannot be completed has the one that another lacks."""
    spare = Piece.objects.filter(part__code="LL-25", state=PieceState.INSPECTED, closed_member=None)
    lend_out(unit, [piece.code for piece in spare], "DSU-9", due=timezone.localdate(unit.now) + timedelta(days=5))


def _list(unit: Unit) -> None:
    day = timezone.localdate(unit.now) + timedelta(days=1)
    import_list((FIXTURES / "list.csv").read_bytes(), day=day, act=unit.act("coord1"))
    for reference, template, tray in ALLOCATIONS:
        requirement = Requirement.objects.get(case__reference=reference, template__code=template)
        allocate(requirement.pk, tray=Tray.objects.get(name=tray).code, act=unit.act("coord1"))
    stent = Requirement.objects.get(case__reference="L-0403", part__code="IM-14-40")
    pack = Pack.objects.filter(contents__part_code="IM-14-40", state="sterile").order_by("code").first()
    if pack is not None:
        allocate(stent.pk, pack=pack.code, act=unit.act("coord1"))
