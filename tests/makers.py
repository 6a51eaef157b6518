"""Makers of what tests need: plain keyword functions that walk the real actions.

Everybody and everything gets a running number, so that two of a kind never clash. Times stand still at AT
unless an `act` says otherwise.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from threading import Barrier
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connections, transaction

from instruments import actions as instrument_actions
from instruments import models as instruments
from instruments.identity import Kind
from instruments.loans import Direction, PrionHistory
from instruments.models import Loan, Part, PartKind, Piece, Programme, ProgrammeKind, Series, Size, Validation
from instruments.states import PieceState
from instruments.writer import lock_piece, move_piece, new_code
from journal.actions import Act
from journal.findings import Refused
from journal.models import Duty, Person, Place
from journal.roles import Role
from trays import actions as tray_actions
from trays.models import Pack, Placement, SeriesRule, Substitute, Template, TemplateLine, TemplateVersion, Tray
from trays.writer import put_in_force

AT = datetime(2026, 11, 24, 9, 0, tzinfo=ZoneInfo("Europe/Berlin"))
_numbers = itertools.count(1)


# People and places


def person(*roles: Role, name: str = "", badge: str | None = None) -> Person:
    """Somebody with these duties; with none, somebody who may do nothing."""
    number = next(_numbers)
    made = Person.objects.create_user(
        username=f"person-{number}",
        display_name=name or f"Person {number}",
        badge=badge or f"BADGE-{number}",
    )
    Duty.objects.bulk_create(Duty(person=made, role=role) for role in roles)
    return made


def act(by: Person | None = None, *, at: datetime = AT, **more: Any) -> Act:
    """Acting as this person; as one who holds every role when none is named."""
    return Act(by=by or everybody(), at=at, **more)


def everybody() -> Person:
    """The one person who holds every role."""
    return Person.objects.filter(display_name="Everybody").first() or person(*Role, name="Everybody")


def place(name: str = "Store A") -> Place:
    """A place of this name."""
    return Place.objects.get_or_create(name=name, defaults={"code": f"PLACE-{next(_numbers)}"})[0]


# Catalogue


def programme(code: str = "S134", **fields: Any) -> Programme:
    """A programme of this code: steam at 134 °C unless `kind` says otherwise."""
    kind = fields.pop("kind", ProgrammeKind.STEAM)
    limits: dict[str, dict[str, Any]] = {
        ProgrammeKind.WASH: {"a0_s": 600},
        ProgrammeKind.STEAM: {
            "set_c": 134.0,
            "band_k": 3.0,
            "hold_s": 180,
            "equilibration_s": 30,
            "spread_k": 2.0,
            "saturation_k": 2.0,
        },
    }
    values = {
        "name": f"Programme {code}",
        "kind": kind,
        "duration_min": 60,
        "source": "test",
        **limits.get(kind, {}),
        **fields,
    }
    return Programme.objects.get_or_create(code=code, defaults=values)[0]


def series(*labels: str, name: str = "Adult") -> Series:
    """A series with sizes of these labels, in this order."""
    number = next(_numbers)
    made = Series.objects.create(code=f"SER-{number}", name=name)
    for order, label in enumerate(labels or ("5.0", "5.5", "6.0"), start=1):
        Size.objects.create(series=made, label=label, order=order)
    return made


def size(of: Series, label: str) -> Size:
    """The step of a series with this label."""
    return Size.objects.get(series=of, label=label)


def part(
    kind: PartKind = PartKind.OTHER,
    *,
    programmes: Iterable[Programme] | None = None,
    dimensions: dict[str, Any] | None = None,
    **fields: Any,
) -> Part:
    """A part of this kind, validated for the usual wash and steam programmes, with dimensions if given."""
    number = next(_numbers)
    values = {"code": f"PART-{number}", "name": f"{str(kind).capitalize()} {number}", "mass_g": 100, **fields}
    if kind == PartKind.IMPLANT:
        values.setdefault("single_use", True)
    made = Part.objects.create(kind=kind, **values)
    usual = [programme("W90", kind=ProgrammeKind.WASH), programme("S134")]
    for valid in usual if programmes is None else programmes:
        Validation.objects.create(part=made, programme=valid, source="test")
    if dimensions is not None:
        getattr(instruments, str(kind).capitalize()).objects.create(part=made, **dimensions)
    return made


# Pieces


def piece(
    of: Part | None = None, *, state: PieceState = PieceState.INSPECTED, at: datetime = AT, **fields: Any
) -> Piece:
    """A piece, entered and brought to returned, in washer, cleaned or inspected.

    Fields that no action sets (cycles, place, service_due) are written beside them.
    """
    enrolled = {name: fields.pop(name) for name in ("serial", "lot", "expires", "marks") if name in fields}
    done = instrument_actions.enrol((of or part()).code, **enrolled, act=act(at=at))
    if fields:
        Piece.objects.filter(code=done.mark).update(**fields)
    return process(Piece.objects.get(code=done.mark), state=state, at=at)


def process(returned: Piece, *, state: PieceState = PieceState.INSPECTED, at: datetime = AT) -> Piece:
    """Wash and inspect a returned piece as far as asked."""
    way = [PieceState.RETURNED, PieceState.IN_WASHER, PieceState.CLEANED, PieceState.INSPECTED]
    steps = way.index(state)
    if steps >= 1:
        move(returned, "put_in_washer", at=at)
    if steps >= 2:
        move(returned, "pass_wash", at=at, cleaned_at=at)
    if steps >= 3:
        instrument_actions.inspect(returned.code, clean=True, **tests_of(returned.part), act=act(at=at))
    returned.refresh_from_db()
    return returned


def loan(direction: Direction = Direction.IN, *, agreed: int = 1, at: datetime = AT, **fields: Any) -> Loan:
    """A loan with every paper on file, whose count is still to be taken."""
    values = {"instructions": "IFU-1", "prion_history": PrionHistory.NO_RISK, "certificate": "DC-1", **fields}
    certificate = values.pop("certificate")
    due = values.pop("due", at.date() + timedelta(days=7))
    code = instrument_actions.agree_loan(direction, "Other unit", due, agreed, **values, act=act(at=at)).mark
    if certificate:
        instrument_actions.file_loan_papers(code, certificate=certificate, act=act(at=at))
    return Loan.objects.get(code=code)


def borrowed(on: Loan, of: Part | None = None, *, at: datetime = AT, **fields: Any) -> Piece:
    """A borrowed piece that has arrived."""
    done = instrument_actions.receive_loan_piece(
        on.code, (of or part()).code, condition="sound", **fields, act=act(at=at)
    )
    return Piece.objects.get(code=done.mark)


def move(of: Piece, verb: str, *, at: datetime = AT, **fields: Any) -> None:
    """Move a piece along its state table, where the action that does it belongs to an upper app."""
    with transaction.atomic():
        move_piece(lock_piece(of.code), verb, act(at=at), **fields)


def tests_of(of: Part) -> dict[str, Any]:
    """Passed results of the tests that a part needs."""
    needed = {"function": of.function_test, "insulation": of.insulated}
    return {name: True for name, wanted in needed.items() if wanted}


# Templates, trays and packs


def line(of: Part, quantity: int = 1, *, essential: bool = True, substitutes: Sequence[Part] = ()) -> dict[str, Any]:
    """A line for `template`."""
    return {"part": of, "quantity": quantity, "essential": essential, "substitutes": substitutes}


def rule(of: Series, first: str = "", last: str = "", **fields: Any) -> dict[str, Any]:
    """A companion rule for `template`, with a range of sizes if given."""
    orders = {f"{end}_order": size(of, label).order for end, label in (("first", first), ("last", last)) if label}
    return {"series": of, **orders, **fields}


def template(*lines: dict[str, Any] | Part, rules: Iterable[dict[str, Any]] = (), name: str = "") -> Template:
    """A template with one version in force, put there without its proof: few tests have a catalogue behind it."""
    number = next(_numbers)
    made = Template.objects.create(code=f"LIST-{number}", name=name or f"List {number}")
    put_in_force(made, version(made, *(lines or (part(),)), rules=rules), note="first", proof=(), act=act())
    return made


def version(of: Template, *lines: dict[str, Any] | Part, rules: Iterable[dict[str, Any]] = ()) -> TemplateVersion:
    """A further draft of a template."""
    made = TemplateVersion.objects.create(template=of, number=of.versions.count() + 1)
    for position, given in enumerate(lines, start=1):
        values = dict(line(given) if isinstance(given, Part) else given)
        substitutes = values.pop("substitutes")
        row = TemplateLine.objects.create(version=made, position=position, **values)
        for rank, other in enumerate(substitutes, start=1):
            Substitute.objects.create(line=row, part=other, rank=rank, reason="serves as well")
    for values in rules:
        SeriesRule.objects.create(version=made, **values)
    return made


def tray(of: Template | None = None, **fields: Any) -> Tray:
    """An empty tray."""
    with transaction.atomic():
        code = new_code(Kind.TRAY)
    values = {"name": f"Tray {code}", **fields}
    return Tray.objects.create(code=code, template=of or template(), **values)


def lay(on: Tray, *pieces: Piece, at: datetime = AT) -> Tray:
    """Lay pieces on a tray; an inspected piece for each line when none is named."""
    chosen = pieces or tuple(
        piece(row.part, at=at)
        for row in TemplateLine.objects.filter(version__template=on.template, version__state="published")
        for _ in range(row.quantity)
    )
    for laid in chosen:
        tray_actions.put_on_tray(laid.code, on.code, act=act(at=at))
    return on


def pack(of: Tray | None = None, *, at: datetime = AT, by: Person | None = None) -> Pack:
    """An assembled pack of a tray; what lies on it, or all that its list wants."""
    of = of or tray()
    if not Placement.objects.filter(tray=of).exists():
        lay(of, at=at)
    return Pack.objects.get(code=tray_actions.finish_tray(of.code, act=act(by, at=at)).mark)


def single(of: Piece | None = None, *, at: datetime = AT) -> Pack:
    """One piece wrapped by itself."""
    return Pack.objects.get(code=tray_actions.pack_single((of or piece(at=at)).code, act=act(at=at)).mark)


def maker_pack(of: Part | None = None, *, expires: date = date(2028, 1, 31), at: datetime = AT) -> Pack:
    """A maker-sterile item on the shelf."""
    of = of or part(single_use=True)
    done = tray_actions.receive_maker_pack(of.code, expires=expires, lot="LOT-1", barrier_intact=True, act=act(at=at))
    return Pack.objects.get(code=done.mark)


# Refusals and races


def refused(call: Callable[[], object]) -> list[str]:
    """Slugs of the refusal that a call must end in."""
    with pytest.raises(Refused) as caught:
        call()
    return [finding.slug for finding in caught.value.findings]


def apart(call: Callable[[], Any]) -> Callable[[], Any]:
    """The call as a thread runs it, on a connection of its own; a refusal becomes its answer."""

    def run() -> Any:
        try:
            return call()
        except Refused as refused:
            return refused
        finally:
            connections.close_all()

    return run


def at_once(*calls: Callable[[], Any]) -> list[Any]:
    """Run calls at the same moment, each in a thread of its own.

    Returns:
        What each call returned, or its refusal.
    """
    start = Barrier(len(calls))

    def run(call: Callable[[], Any]) -> Any:
        start.wait(timeout=30)
        return apart(call)()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))
