"""Makers of theatres, cases and sterile packs, on top of the common ones.

A load is decided at 10:10; the theatre issues at noon, and a case starts at 13:00 unless told otherwise.
"""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta
from typing import Any

from instruments.models import Part, PartKind, Piece
from lists import actions
from lists.models import Case, Procedure, Requirement, Theatre
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from trays.models import Carried, Pack, Template, Tray

NOON = AT + timedelta(hours=3)
START = AT + timedelta(hours=4)
TOMORROW = START + timedelta(days=1)
_numbers = itertools.count(1)


def theatre(name: str = "Theatre 1") -> Theatre:
    """A theatre of this name."""
    return Theatre.objects.get_or_create(name=name, defaults={"code": f"TH-{next(_numbers)}"})[0]


def procedure(*needs: Template | Part) -> Procedure:
    """A procedure with these standard needs."""
    number = next(_numbers)
    made = Procedure.objects.create(code=f"PROC-{number}", name=f"Procedure {number}")
    asked = [f"{'template' if isinstance(need, Template) else 'part'}:{need.code}" for need in needs]
    if asked:
        actions.state_needs(tuple(asked), procedure=made.code, act=act())
    return made


def case(
    *needs: Template | Part, starts_at: datetime = START, duration_min: int = 60, in_theatre: str = "", **fields: Any
) -> Case:
    """A planned case that needs these."""
    done = actions.plan_case(
        f"REF-{next(_numbers)}",
        theatre(in_theatre or "Theatre 1").code,
        procedure(*needs).code,
        starts_at,
        duration_min,
        act=act(),
        **fields,
    )
    return Case.objects.get(code=done.mark)


def need(of: Case, place: int = 0) -> Requirement:
    """A requirement of a case."""
    return of.requirements.all()[place]


def sterile(of: Pack | Tray | None = None) -> Pack:
    """A released pack; of a tray with one piece when nothing is named."""
    pack = of if isinstance(of, Pack) else makers.pack(of)
    make.released(make.load(None, pack))
    pack.refresh_from_db()
    return pack


def issued(of: Pack | None = None, to: Case | None = None, *, at: datetime = NOON) -> Pack:
    """A pack handed to a case; to one that needs it when none is named."""
    pack = of or sterile()
    to = to or case(*([pack.tray.template] if pack.tray else [parts_in(pack)[0]]))
    actions.issue(pack.code, to.code, barrier_intact=True, act=act(at=at))
    pack.refresh_from_db()
    return pack


def opened(of: Pack | None = None, to: Case | None = None, *, at: datetime = NOON) -> Pack:
    """A pack opened at its case."""
    pack = issued(of, to, at=at)
    actions.open_pack(pack.code, case_of(pack).code, act=act(at=at))
    pack.refresh_from_db()
    return pack


def returned(of: Pack | None = None, to: Case | None = None, *, at: datetime = NOON) -> Pack:
    """A pack that is back and of which nothing is counted."""
    pack = opened(of, to, at=at)
    actions.take_back(pack.code, act=act(at=at))
    pack.refresh_from_db()
    return pack


def case_of(pack: Pack) -> Case:
    """The case that a pack was handed to last."""
    return pack.issues.order_by("-pk")[0].case


def pieces_of(pack: Pack) -> list[Piece]:
    """What a pack carries now, by code."""
    return [
        row.piece for row in Carried.objects.filter(pack=pack).select_related("piece__part").order_by("piece__code")
    ]


def tray_of(pack: Pack) -> Tray:
    """The tray that a pack is of."""
    assert pack.tray is not None
    return pack.tray


def parts_in(pack: Pack) -> list[Part]:
    """The parts of a pack's contents."""
    return [content.piece.part for content in pack.contents.select_related("piece__part")]


def implant(**fields: Any) -> Part:
    """An implant part."""
    return makers.part(PartKind.IMPLANT, **fields)


def case_with(tray: Tray, **fields: Any) -> Case:
    """A case of tomorrow that the tray is to serve."""
    made = case(tray.template, **{"starts_at": TOMORROW, **fields})
    actions.allocate(need(made).pk, tray=tray.code, act=act())
    return made


def one_line(quantity: int = 1) -> Tray:
    """A tray that wants so many pieces of one part."""
    return makers.tray(makers.template(makers.line(makers.part(), quantity)))


def wanted_part(tray: Tray) -> Part:
    """The part of a tray's one line."""
    return tray.template.versions.get().lines.get().part
