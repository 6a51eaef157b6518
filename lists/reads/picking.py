"""What is to be fetched from the shelves for a day's cases, theatre by theatre in the order of the shelves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from lists.models import Case, Requirement, Theatre
from lists.readiness import NeedReadiness
from lists.reads.readiness import DayReadiness, list_readiness
from lists.shelves import shelf_order
from trays.models import Pack
from trays.states import PackState


@dataclass(frozen=True, slots=True)
class Pick:
    """One thing that a case needs.

    Args:
        case: the case.
        wants: what it is, as a person says it.
        pack: the sterile pack to fetch; None while there is none.
        why: why nothing is to be fetched now; empty where there is.
    """

    case: Case
    wants: str
    pack: Pack | None
    why: str = ""

    @property
    def place(self) -> str:
        """Name of the shelf; empty where it is not recorded."""
        return str(self.pack.place) if self.pack and self.pack.place else ""


@dataclass(frozen=True, slots=True)
class TheatrePicks:
    """A theatre's walk along the shelves, and what cannot be fetched yet."""

    theatre: Theatre
    fetch: tuple[Pick, ...]
    wait: tuple[Pick, ...]


@dataclass(frozen=True, slots=True)
class DayPicks:
    """The walks of a day, and what all were judged by."""

    found: DayReadiness
    theatres: tuple[TheatrePicks, ...]


def picking(day: date, *, at: datetime, theatre: str = "") -> DayPicks:
    """What to fetch for a day's cases to come; what a case has already is left out.

    Args:
        day: the day of the lists.
        at: the moment of asking.
        theatre: code of a theatre, for its walk only.
    """
    found = list_readiness(day, at=at)
    picks = list(_picks(found))
    rooms = {pick.case.list.theatre.code: pick.case.list.theatre for pick in picks}
    walks = tuple(
        _walk(room, [pick for pick in picks if pick.case.list.theatre == room])
        for code, room in sorted(rooms.items())
        if theatre in ("", code)
    )
    return DayPicks(found, walks)


def _walk(room: Theatre, picks: list[Pick]) -> TheatrePicks:
    fetch = [pick for pick in picks if pick.pack]
    fetch.sort(key=lambda pick: (not pick.place, shelf_order(pick.place), pick.case.starts_at, pick.wants))
    return TheatrePicks(room, tuple(fetch), tuple(pick for pick in picks if not pick.pack))


def _picks(found: DayReadiness) -> Iterator[Pick]:
    needs = [
        (row.case, requirement, need)
        for row in found.rows
        if row.readiness is not None
        for requirement, need in zip(row.case.requirements.all(), row.readiness.needs, strict=True)
        if not need.need.in_hand
    ]
    sterile = _sterile([requirement for _, requirement, _ in needs])
    given: dict[int, Case] = {}
    for case, requirement, need in needs:
        pack = sterile.get(requirement.pk)
        first = given.setdefault(pack.pk, case) if pack else case
        if pack and first == case and not _forbidden(need):
            yield Pick(case, need.need.wants, pack)
        else:
            yield Pick(case, need.need.wants, None, _why(need, first, case))


def _forbidden(need: NeedReadiness) -> bool:
    return need.ready_at is None


def _why(need: NeedReadiness, first: Case, case: Case) -> str:
    if first != case:
        return f"It serves case {first.code} first."
    return next((finding.sentence for finding in need.findings), need.where or str(need.verdict))


def _sterile(requirements: list[Requirement]) -> dict[int, Pack]:
    """The sterile pack of what was allocated to each requirement, by its key."""
    chosen = {row.pk: row.allocation for row in requirements if getattr(row, "allocation", None)}
    trays = {row.tray_id or (row.pack and row.pack.tray_id) for row in chosen.values()} - {None}
    packs = {row.pack_id for row in chosen.values()} - {None}
    rows = Pack.objects.filter(Q(tray__in=trays) | Q(pk__in=packs), state=PackState.STERILE)
    found = list(rows.select_related("place"))
    by_tray: dict[int | None, Pack] = {pack.tray_id: pack for pack in found if pack.tray_id}
    by_key: dict[int | None, Pack] = {pack.pk: pack for pack in found}
    served = {
        key: by_key.get(row.pack_id) or by_tray.get(row.pack.tray_id if row.pack else row.tray_id)
        for key, row in chosen.items()
    }
    return {key: pack for key, pack in served.items() if pack is not None}
