"""What new staff practise on: trays, packs, pieces and a list on which something is wrong with each thing.

Everything here is named as for practice and never for patients, and is of parts of its own, so that nothing of it
gets into a set of the unit. Its list is a week ahead, in a room of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone

from config.demo.unit import FIXTURES, MASTER
from config.demo.work import Unit, inspect_all, sterilise, wash
from instruments.actions import (
    agree_loan,
    confirm_loan_count,
    enrol,
    file_loan_papers,
    inspect,
    quarantine_piece,
    receive_loan_piece,
)
from instruments.imports import import_catalogue, import_pieces
from instruments.loans import Direction, PrionHistory
from instruments.models import Piece
from journal.reads import policy
from lists.actions import allocate, count_piece, end_case, issue, open_pack, plan_case, take_back
from lists.imports import import_list, import_procedures
from lists.models import Procedure, Requirement, Theatre
from reprocessing.actions import recall_load
from trays.actions import (
    enter_template,
    expire_pack,
    finish_tray,
    import_draft,
    pack_single,
    put_on_tray,
    quarantine_pack,
    take_apart,
)
from trays.imports import import_templates, import_trays
from trays.models import Pack, Tray

PRACTICE = FIXTURES / "practice"
DRAFT = "PX-DRAFT"
CLAMP = "PX-G"
HOOK = "PX-I"
ROOM = "TRAIN"
OPEN_TALK = "PX-TALK"
DAYS_AHEAD = 7

ON_TRAYS: dict[str, tuple[str, ...]] = {
    "Practice tray: sizes": ("PX-B1", "PX-B2", "PX-H3", "PX-H5", "PX-S3", "PX-S5"),
    "Practice tray: load": ("PX-W", "PX-W", "PX-T", "PX-L"),
}
"""Two trays that nobody can finish, and the parts that lie on them."""


def practice(unit: Unit) -> None:
    """Half a year ago the training room was set up; its packs and trays have fared badly since."""
    shelf_life = int(policy("shelf_life_days"))
    unit.now = _at(shelf_life + 1, 6)
    _set_up(unit)
    clamps = _made_ready(unit)
    old = _singles(unit, clamps[:1])
    sterilise(unit, old)
    unit.now = _at(shelf_life - 3, 7)
    ageing = _singles(unit, clamps[1:2])
    sterilise(unit, ageing)
    unit.now = _at(95, 7)
    _lay(unit)
    unit.now = _at(5, 7)
    fresh = _singles(unit, clamps[2:6])
    whole = _incomplete(unit, clamps[6])
    sterilise(unit, [*fresh[:2], whole])
    recalled = sterilise(unit, fresh[2:3]).code
    _list(unit, [*old, *ageing, *fresh])
    _fare_badly(unit, old[0], fresh, recalled)
    _borrow(unit)


def _at(ago: int, hour: int) -> datetime:
    day = timezone.localtime() - timedelta(days=ago)
    return day.replace(hour=hour, minute=0, second=0, microsecond=0)


def _table(name: str) -> bytes:
    return (PRACTICE / f"{name}.csv").read_bytes()


def _set_up(unit: Unit) -> None:
    act = unit.act(MASTER)
    import_catalogue(_table("catalogue"), act=act)
    import_pieces(_table("pieces"), act=act)
    import_templates(_table("templates"), act=act)
    enter_template(DRAFT, name="Practice: draft, not for patients", act=act)
    import_draft(DRAFT, table=_table("draft").decode(), act=act)
    import_trays(_table("trays"), act=act)
    import_procedures(_table("procedures"), act=act)
    Procedure.objects.create(code=OPEN_TALK, name="Practice: talk, nothing planned yet, no patient")
    Theatre.objects.create(code=ROOM, name="Training room, no patients")


def _made_ready(unit: Unit) -> list[Piece]:
    """All but the newest hook are washed and inspected; the other hook fails its insulation test.

    Returns:
        The clamps.
    """
    pieces = list(Piece.objects.filter(part__code__startswith="PX-").select_related("part").order_by("pk"))
    wash(unit, pieces)
    hook = next(piece for piece in pieces if piece.part.code == HOOK)
    inspect(hook.code, clean=True, insulation=False, note="spark at the tip", act=unit.act("tech2"))
    inspect_all(unit, [piece for piece in pieces if piece != hook])
    enrol(HOOK, serial="PX-I-002", act=unit.act(MASTER))
    return [piece for piece in pieces if piece.part.code == CLAMP]


def _singles(unit: Unit, pieces: Sequence[Piece]) -> list[Pack]:
    marks = [pack_single(piece.code, act=unit.act("nurse1")).mark for piece in pieces]
    return list(Pack.objects.filter(code__in=marks).order_by("pk"))


def _lay(unit: Unit) -> None:
    for name, parts in ON_TRAYS.items():
        tray = Tray.objects.get(name=name)
        pieces = list(Piece.objects.filter(part__code__in=parts).order_by("pk"))
        for piece in pieces:
            put_on_tray(piece.code, tray.code, act=unit.act("nurse1"))


def _incomplete(unit: Unit, clamp: Piece) -> Pack:
    tray = Tray.objects.get(name="Practice tray: set")
    put_on_tray(clamp.code, tray.code, act=unit.act("nurse1"))
    reason, second = "the hook is not ready", unit.people["nurse2"].badge or ""
    done = finish_tray(tray.code, incomplete_reason=reason, second=second, act=unit.act("nurse1"))
    return Pack.objects.get(code=done.mark)


def _list(unit: Unit, clamps: Sequence[Pack]) -> None:
    """Sessions of the training room; the emergency tray is promised to two of them, one after the other."""
    day = timezone.localdate() + timedelta(days=DAYS_AHEAD)
    act = unit.act("coord1")
    import_list(_table("list"), day=day, act=act)
    for requirement, pack in zip(_asked("PX-01"), clamps, strict=True):
        allocate(requirement.pk, pack=pack.code, act=act)
    for requirement in (*_asked("PX-02"), *_asked("PX-03"), *_asked("PX-04")):
        tray = Tray.objects.filter(template=requirement.template).order_by("code")[0]
        allocate(requirement.pk, tray=tray.code, act=act)


def _asked(reference: str) -> list[Requirement]:
    rows = Requirement.objects.filter(case__reference=reference).select_related("template")
    return list(rows.order_by("pk"))


def _fare_badly(unit: Unit, old: Pack, fresh: Sequence[Pack], load: str) -> None:
    """Of the clamps one outlives its shelf life, and the others are kept apart, used, recalled and taken apart."""
    apart, used, _, open_one = fresh
    unit.later(60)
    quarantine_pack(apart.code, reason="wrapping damp, for practice", act=unit.act("nurse1"))
    talk = plan_case("PX-00", ROOM, OPEN_TALK, unit.now, 30, act=unit.act("coord1")).mark
    issue(used.code, talk, barrier_intact=True, reason="shown to visitors", act=unit.act("nurse1"))
    open_pack(used.code, talk, act=unit.act("nurse1"))
    end_case(talk, act=unit.act("nurse1"))
    take_back(used.code, act=unit.act("tech1"))
    count_piece(used.contents.get().piece.code, act=unit.act("tech1"))
    recall_load(load, reason="recall practised", act=unit.act(MASTER))
    take_apart(open_one.code, reason="wrapped without its filter", act=unit.act("nurse1"))
    unit.now = _at(0, 0)
    expire_pack(old.code, act=unit.act("tech1"))


def _borrow(unit: Unit) -> None:
    """Two loans of a clamp: nobody asked the one lender about prion risk, and the other reports one afterwards."""
    unit.now = _at(4, 9)
    _borrowed(unit, "PRACTICE-1", PrionHistory.NOT_ASKED)
    loan, piece = _borrowed(unit, "PRACTICE-2", PrionHistory.CANNOT_SAY)
    unit.later(120)
    file_loan_papers(loan, prion_history=PrionHistory.RISK, act=unit.act("tech2"))
    reason = "the lender reports a prion risk, for practice"
    quarantine_piece(piece, reason=reason, place="QBOX", act=unit.act("nurse1"))


def _borrowed(unit: Unit, reference: str, history: PrionHistory) -> tuple[str, str]:
    """A loan of one clamp, its count confirmed.

    Returns:
        Its code, and that of the piece.
    """
    act = unit.act("tech2")
    due = timezone.localdate() + timedelta(days=20)
    terms = {"reference": reference, "instructions": "training folder", "prion_history": history}
    loan = agree_loan(Direction.IN, "Training centre of the region", due, 1, **terms, act=act).mark
    receive_loan_piece(loan, CLAMP, mark=f"QP-{reference}", condition="sound", act=act)
    confirm_loan_count(loan, act=act)
    return loan, Piece.objects.get(loan__code=loan).code
