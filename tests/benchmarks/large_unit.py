"""A large unit on a day of sixty cases, drawn at random and written in bulk: trays and pieces in every state.

Two thousand trays of 45 lines and some nine thousand loose pieces, a hundred thousand in all; a small one for the
suite.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from django.db import transaction

from instruments.models import Part, PartKind, Piece
from instruments.states import PieceState
from lists.models import Allocation, Case, Issue, Requirement, Theatre, TheatreList
from lists.models.needs import Procedure
from reprocessing.models import Load, LoadPack, LoadPiece, Machine
from reprocessing.states import LoadState
from tests import makers
from tests.benchmarks.database import put
from tests.makers import AT
from trays.models import Carried, Content, Pack, Placement, Template, TemplateLine, TemplateVersion, Tray
from trays.states import PackState, VersionState

NOW = AT + timedelta(hours=3)
FIRST = AT + timedelta(hours=5)
DAY = FIRST.date()
TRAYS, TEMPLATES, LINES, CASES, IMPLANTS, PARTS_FOR_A_LINE = 2000, 60, 45, 60, 20, 7
SPARE_SHARE = 0.1  # of the pieces; loose beside the trays
PACKED: Mapping[str, int] = {
    PackState.STERILE: 55, "past its date": 2, PackState.AWAITING_RELEASE: 8, PackState.IN_STERILISER: 8,
    PackState.ASSEMBLED: 6, PackState.OPENED: 3, PackState.QUARANTINED: 2, PackState.RECALLED: 1,
}  # fmt: skip
"""How often a tray's pack stands there [%]."""
BARE: Mapping[str, int] = {
    PieceState.ON_TRAY: 4, "one lacks": 2, PieceState.INSPECTED: 2, PieceState.CLEANED: 2, PieceState.IN_WASHER: 3,
    PieceState.RETURNED: 2,
}  # fmt: skip
"""How often a tray that is not packed has its pieces there [%]."""
LOOSE = (*[PieceState.INSPECTED] * 4, PieceState.CLEANED, PieceState.RETURNED, PieceState.IN_REPAIR)
LOADS: Mapping[str, tuple[LoadState, int]] = {
    PackState.IN_STERILISER: (LoadState.RUNNING, 20),
    PackState.AWAITING_RELEASE: (LoadState.AWAITING_RELEASE, 5),
    PieceState.IN_WASHER: (LoadState.RUNNING, 30),
}
"""The load of what stands there, and how many minutes ago it began (ended)."""


@dataclass(slots=True)
class Rows:
    """What is to be written, table by table; keys are given out here."""

    pieces: list[Piece] = field(default_factory=list)
    packs: list[Pack] = field(default_factory=list)
    contents: list[Content] = field(default_factory=list)
    carried: list[Carried] = field(default_factory=list)
    placements: list[Placement] = field(default_factory=list)
    load_packs: list[LoadPack] = field(default_factory=list)
    load_pieces: list[LoadPiece] = field(default_factory=list)
    issues: list[Issue] = field(default_factory=list)


class Unit:
    """Draws and writes it."""

    def __init__(self, seed: int, *, trays: int = TRAYS, lines: int = LINES, cases: int = CASES) -> None:
        self.random, self.rows, self.person = Random(seed), Rows(), makers.person()
        self.trays, self.lines, self.cases = trays, lines, cases

    @transaction.atomic
    def write(self) -> None:
        """Everything, in bulk, within every constraint."""
        self.catalogue()
        self.loads = {stands: self.load(stands, *of) for stands, of in LOADS.items()}
        self.over = self.case(DAY - timedelta(days=1), NOW - timedelta(hours=1), 90, "C000")
        trays = [self.tray(number) for number in range(1, self.trays + 1)]
        for number in range(int(self.trays * self.lines * SPARE_SHARE)):
            state = self.random.choice(LOOSE)
            self.piece(self.parts[number % len(self.parts)], state)
        for part in self.implants:
            for _ in range(1 + self.random.randint(2, 4)):
                self.implant(part)
        for table in (getattr(self.rows, name) for name in Rows.__slots__):
            put(iter(table))
        self.day(trays)

    def catalogue(self) -> None:
        """Parts, templates with their lists, one washer and sterilisers."""
        self.parts = [makers.part(mass_g=50) for _ in range(self.lines * PARTS_FOR_A_LINE)]
        self.implants = [makers.part(PartKind.IMPLANT) for _ in range(IMPLANTS)]
        self.lists: list[tuple[Template, TemplateVersion, list[Part]]] = []
        for number in range(self.trays * TEMPLATES // TRAYS):
            template = Template.objects.create(code=f"LIST{number}", name=f"List {number}")
            version = TemplateVersion.objects.create(template=template, number=1)
            chosen = self.random.sample(self.parts, self.lines)
            lines = (TemplateLine(version=version, position=at, part=part) for at, part in enumerate(chosen, start=1))
            TemplateLine.objects.bulk_create(lines)
            TemplateVersion.objects.filter(pk=version.pk).update(state=VersionState.PUBLISHED, published_at=AT)
            self.lists.append((template, version, chosen))

    def load(self, stands: str, state: LoadState, minutes: int) -> Load:
        """A load of its own machine; the pieces of a washer are in one, too."""
        washes = stands == PieceState.IN_WASHER
        kind = "washer-disinfector" if washes else "steam steriliser"
        machine = Machine.objects.create(code=f"M {stands}", name=stands, kind=kind)
        at = NOW - timedelta(minutes=minutes)
        ended = {"ended_at": at} if state == LoadState.AWAITING_RELEASE else {}
        programme = makers.programme()
        of: dict[str, Any] = {"machine": machine, "programme": programme, "state": state, **ended}
        return Load.objects.create(code=f"L {stands}"[:20], started_at=at - timedelta(hours=bool(ended)), **of)

    def tray(self, number: int) -> Tray:
        """A tray with its pieces, packed or bare."""
        template, version, parts = self.lists[number % len(self.lists)]
        tray = Tray.objects.create(code=f"T{number:05}", name=f"Tray {number}", template=template)
        shares = {**PACKED, **BARE}
        (stands,) = self.random.choices(list(shares), list(shares.values()))
        former = self.pack(PackState.RETURNED, tray=tray, version=version)
        packed = self.pack(stands, tray=tray, version=version) if stands in PACKED else None
        for place, part in enumerate(parts, start=1):
            if stands == "one lacks" and place == 1:
                continue
            piece = self.piece(part, self.state_of(stands))
            self.put_in(former, piece, place, carried=False)
            if packed is not None:
                self.put_in(packed, piece, place, carried=True)
            elif stands in (PieceState.ON_TRAY, "one lacks"):
                self.rows.placements.append(Placement(piece=piece, tray=tray, at=AT, by=self.person))
            elif stands == PieceState.IN_WASHER:
                self.rows.load_pieces.append(LoadPiece(load=self.loads[stands], piece=piece))
        return tray

    @staticmethod
    def state_of(stands: str) -> str:
        """Of a piece whose tray stands there."""
        if stands in PACKED:
            return PieceState.IN_USE if stands == PackState.OPENED else PieceState.PACKED
        return PieceState.ON_TRAY if stands == "one lacks" else stands

    def piece(self, part: Part, state: str, **fields: Any) -> Piece:
        """A piece that was cleaned and inspected."""
        key = len(self.rows.pieces) + 1
        done = {"cleaned_at": AT, "inspected_at": AT, **fields}
        self.rows.pieces.append(Piece(pk=key, code=f"I{key:06}", part=part, state=state, **done))
        return self.rows.pieces[-1]

    def pack(self, stands: str, **fields: Any) -> Pack:
        """A pack, with what goes with its state."""
        key = len(self.rows.packs) + 1
        past = stands == "past its date"
        values = {"kind": "tray", "name": "Pack", "barrier_intact": True, "assembled_by": self.person, **fields}
        row = Pack(
            pk=key,
            code=f"K{key:06}",
            state=PackState.STERILE if past else stands,
            assembled_at=AT,
            use_by=NOW + timedelta(days=-1 if past else self.random.choice((0.3, 90, 180))),
            **values,
        )
        self.rows.packs.append(row)
        if stands in LOADS:
            self.rows.load_packs.append(LoadPack(load=self.loads[stands], pack=row))
        if stands == PackState.OPENED:
            opened = {"issued_at": AT, "opened_at": AT, "issued_by": self.person}
            self.rows.issues.append(Issue(case=self.over, pack=row, **opened))
        return row

    def put_in(self, pack: Pack, piece: Piece, place: int, *, carried: bool) -> None:
        """Contents of a pack; carried while it lives."""
        of = {"part_code": piece.part.code, "part_name": piece.part.name}
        self.rows.contents.append(Content(pack=pack, piece=piece, position=place, **of))
        if carried:
            self.rows.carried.append(Carried(pack=pack, piece=piece))

    def implant(self, part: Part) -> None:
        """A maker-sterile implant in its pack."""
        piece = self.piece(part, PieceState.PACKED, maker_sterile=True, lot="7")
        self.put_in(self.pack(PackState.STERILE, kind="maker"), piece, 0, carried=True)

    @staticmethod
    def case(day: date, starts_at: datetime, minutes: int, code: str) -> Case:
        """A planned case on the one list of a day."""
        theatre, _ = Theatre.objects.get_or_create(code="T", name="Theatre")
        procedure, _ = Procedure.objects.get_or_create(code="P", name="Procedure")
        on, _ = TheatreList.objects.get_or_create(theatre=theatre, day=day)
        of = {"list": on, "procedure": procedure, "starts_at": starts_at, "duration_min": minutes}
        return Case.objects.create(code=code, reference=code, **of)

    def day(self, trays: list[Tray]) -> None:
        """The cases: each asks for a tray and an implant; to most they are allocated, to some what another has too."""
        singles = [(row.pack, row.piece.part) for row in self.rows.contents if row.piece.maker_sterile]
        given: list[Tray] = []
        for number, own in enumerate(self.random.sample(trays, self.cases)):
            case = self.case(DAY, FIRST + timedelta(minutes=7 * number), 60, f"C{number + 1:03}")
            tray = given[number // 2] if number % 10 == 7 else own
            wanted = Requirement.objects.create(case=case, template=tray.template)
            if number % 10 != 3:
                Allocation.objects.create(requirement=wanted, tray=tray)
                given.append(tray)
            pack, part = singles.pop()
            implant = Requirement.objects.create(case=case, part=part)
            if number % 10 != 4:
                Allocation.objects.create(requirement=implant, pack=pack)
