"""A long history of a unit, drawn at random day by day: as plain rows, and the same rows in the database.

Nothing here asks the product what follows from what: the rows are what a test walks over by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

import numpy as np
from django.db import transaction

from instruments.models import Piece
from journal.models import Person
from lists.models import Case, Issue, Theatre, TheatreList
from lists.models.needs import Procedure
from reprocessing.models import Indicator, Load, LoadPack, LoadPiece, Machine
from tests import makers
from tests.benchmarks.database import put
from tests.makers import AT
from trays.models import Carried, Content, Pack

DAY = 24 * 60
WASHERS, STEAM, LOW = (1, 2, 3), (4, 5), (6,)
KINDS = {
    **dict.fromkeys(WASHERS, "washer-disinfector"),
    **dict.fromkeys(STEAM, "steam steriliser"),
    **dict.fromkeys(LOW, "low-temperature steriliser"),
}
IN_A_WASH, IN_A_LOAD = 20, 8
PASSED, FAILED = "passed", "failed"


@dataclass(slots=True)
class ALoad:
    """A load as it was drawn; times in minutes."""

    machine: int
    state: str
    started: int
    ended: int
    biology: tuple[str, ...] = ()


@dataclass(slots=True)
class APack:
    """A pack as it was drawn."""

    assembled: int
    pieces: tuple[int, ...]
    implant: bool
    state: str = "assembled"


@dataclass(slots=True)
class History:
    """Everything that happened; pieces, packs, loads and cases are numbered from 1."""

    pieces: int
    loads: list[ALoad] = field(default_factory=list)
    packs: list[APack] = field(default_factory=list)
    washed: list[tuple[int, int]] = field(default_factory=list)  # piece, load
    sterilised: list[tuple[int, int]] = field(default_factory=list)  # pack, load
    issued: list[tuple[int, int, int]] = field(default_factory=list)  # pack, case, minute
    cases: int = 0
    bench: set[int] = field(default_factory=set)  # pieces that are clean and in no pack


def drawn(seed: int, packs: int) -> History:
    """A history of at least so many packs."""
    random = Random(seed)
    past = History(pieces=max(60, packs // 100))
    dirty, shelf = set(range(1, past.pieces + 1)), list[int]()
    day = 0
    while len(past.packs) < packs:
        _wash(past, random, dirty, day * DAY)
        new = _pack(past, random, day * DAY + 400)
        shelf += _sterilise(past, random, new, day * DAY + 600)
        used, shelf = _issue(past, random, shelf, day * DAY + 900)
        spoiled = [pack for pack in new if past.packs[pack - 1].state == "void"]
        dirty = {piece for pack in (*used, *spoiled) for piece in past.packs[pack - 1].pieces}
        day += 1
    return past


def _groups(random: Random, things: set[int] | Sequence[int], size: int) -> Iterator[list[int]]:
    mixed = sorted(things)
    random.shuffle(mixed)
    for start in range(0, len(mixed), size):
        yield mixed[start : start + size]


def _wash(past: History, random: Random, dirty: set[int], minute: int) -> None:
    """Every dirty piece, and again what was in a rejected load; some clean ones are washed once more."""
    todo, turn = dirty | set(random.sample(sorted(past.bench), len(past.bench) // 5)), 0
    past.bench -= todo
    while todo:
        again = set()
        for number, group in enumerate(_groups(random, todo, IN_A_WASH)):
            state = random.choices(("released", "rejected", "recalled"), (90, 8, 2))[0]
            start = minute + turn * 40 + number % 30
            past.loads.append(ALoad(WASHERS[number % 3], state, start, start + 30))
            past.washed += [(piece, len(past.loads)) for piece in group]
            again |= set(group) if state == "rejected" else set()
        past.bench |= todo - again
        todo, turn = (again if turn < 6 else set()), turn + 1


def _pack(past: History, random: Random, minute: int) -> list[int]:
    """Most of what lies at the bench, by one to four."""
    ready = sorted(past.bench)
    random.shuffle(ready)
    ready = ready[: len(ready) * 9 // 10]
    new = []
    while ready:
        inside = tuple(ready.pop() for _ in range(min(len(ready), random.randint(1, 4))))
        past.packs.append(APack(minute + random.randrange(150), inside, random.random() < 0.05))
        past.bench -= set(inside)
        new.append(len(past.packs))
    return new


def _sterilise(past: History, random: Random, packs: list[int], minute: int) -> list[int]:
    """By eights, machine after machine; a rejected load spoils its packs."""
    sterile = []
    machines = (*STEAM, *LOW)
    for number, group in enumerate(_groups(random, packs, IN_A_LOAD)):
        biology = random.choices(((), (PASSED,), (FAILED,), (PASSED, FAILED)), (60, 34, 4, 2))[0]
        state = "released" if random.random() < 0.95 else "rejected"
        start = minute + number // 3 * 3
        past.loads.append(ALoad(machines[number % 3], state, start, start + 2, biology))
        past.sterilised += [(pack, len(past.loads)) for pack in group]
        for pack in group:
            past.packs[pack - 1].state = "sterile" if state == "released" else "void"
        sterile += group if state == "released" else []
    return sterile


def _issue(past: History, random: Random, shelf: list[int], minute: int) -> tuple[list[int], list[int]]:
    """Most of the shelf to cases of one to five packs; a few come back unopened and serve another case."""
    random.shuffle(shelf)
    out, kept = shelf[: len(shelf) * 8 // 10], shelf[len(shelf) * 8 // 10 :]
    used, unopened = list[int](), list[int]()
    while out:
        past.cases += 1
        for pack in [out.pop() for _ in range(min(len(out), random.randint(1, 5)))]:
            back = random.random() < 0.03
            past.issued.append((pack, past.cases, minute + random.randrange(200)))
            (unopened if back else used).append(pack)
    for pack in used:
        past.packs[pack - 1].state = "returned"
    return used, kept + unopened


# In the database


def at(minute: int) -> datetime:
    """The moment of a minute."""
    return AT + timedelta(minutes=minute)


@transaction.atomic
def stored(past: History) -> None:
    """Write the rows in bulk, each with its number as key."""
    person = makers.person()
    for key, kind in KINDS.items():
        Machine.objects.create(pk=key, code=f"M{key}", name=f"M{key}", kind=kind)
    carried = {
        piece: pack for pack, row in enumerate(past.packs, start=1) if row.state == "sterile" for piece in row.pieces
    }
    put(_pieces(past, carried))
    put(_packs(past, person))
    put(_loads(past))
    put(_cases(past))
    put(
        Indicator(load_id=key, kind="biological", lot="7", result=result, read_at=at(row.ended), read_by=person)
        for key, row in enumerate(past.loads, start=1)
        for result in row.biology
    )
    put(
        Content(pack_id=key, piece_id=piece, position=0, part_code="X", part_name="X")
        for key, row in enumerate(past.packs, start=1)
        for piece in row.pieces
    )
    put(LoadPiece(piece_id=piece, load_id=load, open=False) for piece, load in past.washed)
    put(LoadPack(pack_id=pack, load_id=load, open=False, barrier_intact=True) for pack, load in past.sterilised)
    put(
        Issue(pack_id=pack, case_id=case, issued_at=at(minute), issued_by=person, ended=True)
        for pack, case, minute in past.issued
    )
    put(Carried(piece_id=piece, pack_id=pack) for piece, pack in carried.items())


def _pieces(past: History, carried: dict[int, int]) -> Iterator[Piece]:
    part = makers.part()
    for key in range(1, past.pieces + 1):
        state = "packed" if key in carried else "inspected" if key in past.bench else "returned"
        yield Piece(pk=key, code=f"I{key}", part=part, state=state, cleaned_at=AT, inspected_at=AT)


def _packs(past: History, person: Person) -> Iterator[Pack]:
    for key, row in enumerate(past.packs, start=1):
        yield Pack(
            pk=key,
            code=f"K{key}",
            kind="single",
            name="Pack",
            state=row.state,
            assembled_at=at(row.assembled),
            assembled_by=person,
            use_by=at(row.assembled + 180 * DAY),
            barrier_intact=True,
            holds_implant=row.implant,
        )


def _loads(past: History) -> Iterator[Load]:
    programme = makers.programme()
    for key, row in enumerate(past.loads, start=1):
        begun = at(row.started)
        of = {"machine_id": row.machine, "programme": programme, "state": row.state}
        yield Load(pk=key, code=f"L{key}", built_at=begun, started_at=begun, ended_at=at(row.ended), **of)


def _cases(past: History) -> Iterator[Case]:
    procedure = Procedure.objects.create(code="P", name="P")
    on = TheatreList.objects.create(theatre=Theatre.objects.create(code="T", name="T"), day=AT.date())
    for key in range(1, past.cases + 1):
        of = {"list": on, "procedure": procedure, "starts_at": AT, "duration_min": 60}
        yield Case(pk=key, code=np.base_repr(key, 36), reference=f"R{key}", **of)
