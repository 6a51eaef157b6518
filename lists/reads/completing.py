"""Which of a day's trays can be completed, for which cases, with which moves; and which cannot, and why."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Q
from django.utils import timezone

from lists.models import Allocation, Case, Requirement, StandingSet
from lists.reads.readiness import list_readiness, minimum_on, stage_times
from lists.reads.stock import PACK_STAGES
from lists.stages import Stage, ready_at
from lists.states import OPEN_CASES, Readiness
from trays.filling import Filling, Lying, PieceMove, Short
from trays.models import Pack, Placement
from trays.reads import Elsewhere, elsewhere, filling

IN_TIME = (Readiness.COMPLETE, Readiness.COMPLETE_BY)
TO_COME = [str(state) for state, stage in PACK_STAGES.items() if stage is not Stage.IN_USE]
PLACES_NAMED = 3


@dataclass(frozen=True, slots=True)
class Wish:
    """A tray that is still needed: for a case, or so that the minimum of a standing set is kept.

    Args:
        template: code of the template.
        name: what a person calls it.
        case: whom it serves; None = the standing set.
        tray: code of the tray that was chosen for the case; else empty.
        why: why what was chosen does not serve the case; else empty.
    """

    template: str
    name: str
    case: Case | None = None
    tray: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class CanComplete:
    """A tray that can be completed, or lies complete, and what it is for."""

    lying: Lying
    wish: Wish
    moves: tuple[PieceMove, ...]

    @property
    def other_chosen(self) -> bool:
        """Whether another tray is chosen for the case, or none."""
        return self.wish.case is not None and self.wish.tray != self.lying.tray.code


@dataclass(frozen=True, slots=True)
class CannotComplete:
    """A wish that no tray can meet: the nearest, and why; no tray where none is to be had."""

    wish: Wish
    lying: Lying | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Halt:
    """Where to go on the walk: a place, or a tray on the bench; both empty when it is not recorded."""

    place: str
    donor: str
    donor_code: str
    moves: tuple[PieceMove, ...]


@dataclass(frozen=True, slots=True)
class Completing:
    """A day's trays that are not packed, against what the day still needs.

    Args:
        day: whose cases.
        at: the moment all this was true.
        can: trays that can be completed or lie complete, in the order of the cases.
        cannot: what no tray can meet.
        late: needs that a tray completed now would reach too late.
        covered: needs that packs meet, sterile or on their way.
        laid: pieces that were laid on the trays of `can` on the day of asking, the latest first.
        proven: whether no better choice exists.
    """

    day: date
    at: datetime
    can: tuple[CanComplete, ...]
    cannot: tuple[CannotComplete, ...]
    late: tuple[Wish, ...]
    covered: int
    laid: tuple[Placement, ...]
    proven: bool

    @property
    def moves(self) -> tuple[PieceMove, ...]:
        """Every piece to move."""
        return tuple(move for row in self.can for move in row.moves)

    @property
    def to_fill(self) -> int:
        """How many trays become complete by moves."""
        return sum(bool(row.moves) for row in self.can)

    @property
    def words(self) -> str:
        """The day in one line."""
        wishes = len(self.can) + len(self.cannot)
        if not wishes:
            return "No tray has to be completed."
        of = f"{len(self.can)} of {wishes} trays that are still needed can be completed"
        return f"{of} with {_counted(len(self.moves), 'move')}." if self.moves else f"{of}."

    @property
    def walk(self) -> tuple[Halt, ...]:
        """The moves place by place: recorded places first, then trays, then what has no place."""
        stops: dict[tuple[bool, bool, str, str, str], list[PieceMove]] = defaultdict(list)
        for move in self.moves:
            name, code = (move.donor.name, move.donor.code) if move.donor else ("", "")
            stops[not (move.place or name), bool(name), move.place, name, code].append(move)
        return tuple(Halt(*where[2:], tuple(moves)) for where, moves in sorted(stops.items(), key=lambda row: row[0]))


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def completing(day: date, *, at: datetime) -> Completing:
    """What can be completed for a day, in a number of queries that does not grow with cases, trays or pieces.

    A need is met by a pack when the one chosen for it will be ready in time, or when packs that nobody
    was promised are left beyond the minimum of the standing set. Every other need weighs the same: that of
    a case and that of a standing set; the earlier case gets the tray. Two cases that share a tray need it once.
    """
    unmet, late, covered = _unmet(day, at)
    spare = _unpromised_packs(at)
    wishes: list[Wish] = []
    for row in StandingSet.objects.select_related("template"):
        code = row.template.code
        minimum = minimum_on(row, day, at)
        wishes += [Wish(code, row.template.name)] * max(0, minimum - spare[code])
        spare[code] -= minimum
    for wish in unmet:
        if spare[wish.template] > 0:
            spare[wish.template] -= 1
            covered += 1
        else:
            wishes.append(wish)
    wishes.sort(key=lambda wish: (wish.case is None, wish.case.starts_at if wish.case else at, wish.template))
    found = filling(
        Counter(wish.template for wish in wishes), first=[wish.tray for wish in wishes if wish.tray], at=at
    )
    can, left = _can(wishes, found)
    return Completing(
        day=day,
        at=timezone.localtime(at),
        can=tuple(can),
        cannot=tuple(_cannot(left, found, at)),
        late=tuple(late),
        covered=covered,
        laid=_laid([row.lying.tray.code for row in can], at),
        proven=found.proven,
    )


def _unmet(day: date, at: datetime) -> tuple[list[Wish], list[Wish], int]:
    """Needs for trays that no chosen pack meets, in order of start; those that are too late; and how many are met."""
    unmet: list[Wish] = []
    late: list[Wish] = []
    met = 0
    packed = set(Pack.objects.live().filter(tray__isnull=False).values_list("tray__code", flat=True))
    times = stage_times()
    ready = ready_at(Stage.INSPECTED, now=timezone.localtime(at), times=times)
    shared: set[str] = set()
    for row in list_readiness(day, at=at).rows:
        requirements = {one.pk: one for one in row.case.requirements.all()}
        for need in row.readiness.needs if row.readiness else ():
            requirement = requirements[need.need.requirement]
            if requirement.template is None:
                continue
            tray = _chosen_tray(requirement)
            is_packed = need.need.in_hand or (need.need.chosen and (tray in packed or not tray))
            if (is_packed or tray in shared) and need.verdict in IN_TIME:
                met += 1
                continue
            if tray and tray in shared and need.verdict is not Readiness.LATE:
                continue
            if tray:
                shared.add(tray)
            why = need.findings[0].sentence if need.findings else ""
            bench = "" if tray in packed else tray
            wish = Wish(requirement.template.code, requirement.template.name, row.case, bench, why)
            in_time = ready <= times.deadline(timezone.localtime(row.case.starts_at))
            (unmet if in_time else late).append(wish)
    return unmet, late, met


def _chosen_tray(requirement: Requirement) -> str:
    """Code of the tray that was chosen for a need, by itself or with its pack; else empty."""
    allocation = getattr(requirement, "allocation", None)
    tray = allocation and (allocation.tray or allocation.pack.tray)
    return tray.code if tray else ""


def _unpromised_packs(at: datetime) -> Counter[str]:
    """Packs of trays that are sterile or on their way, in date, and that no open case is to get, by template."""
    promised = Allocation.objects.filter(requirement__case__state__in=OPEN_CASES)
    packs = Pack.objects.filter(state__in=TO_COME, use_by__gte=at, tray__isnull=False).exclude(
        Q(pk__in=promised.filter(pack__isnull=False).values("pack"))
        | Q(tray__in=promised.filter(tray__isnull=False).values("tray"))
    )
    return Counter(packs.values_list("tray__template__code", flat=True))


def _can(wishes: Sequence[Wish], found: Filling) -> tuple[list[CanComplete], list[Wish]]:
    """Each tray with the wish that it meets: the one it was chosen for, else the first; and the wishes left."""
    trays = [(row, ()) for row in found.ready] + [(row.lying, row.moves) for row in found.filled]
    left = list(wishes)
    met: list[tuple[int, CanComplete]] = []
    for by_choice in (True, False):
        for lying, moves in list(trays):
            suits = [wish for wish in left if wish.template == lying.tray.template]
            wish = next((wish for wish in suits if not by_choice or wish.tray == lying.tray.code), None)
            if wish is not None:
                left.remove(wish)
                trays.remove((lying, moves))
                met.append((wishes.index(wish), CanComplete(lying, wish, moves)))
    return [row for _, row in sorted(met, key=lambda pair: pair[0])], left


def _cannot(wishes: Iterable[Wish], found: Filling, at: datetime) -> Iterator[CannotComplete]:
    """Each wish that is left, with the nearest tray of its template and what stands against it."""
    short = list(found.short)
    parts = {code for row in short for empty in row.empty for code in empty.accepts}
    where = elsewhere(parts, timezone.localdate(at))
    going = {move.item.code: move.tray.name for move in found.moves}
    for wish in wishes:
        of_template = [row for row in short if row.lying.tray.template == wish.template]
        row = next((row for row in of_template if row.lying.tray.code == wish.tray), next(iter(of_template), None))
        if row is None:
            none = f"No tray of {wish.name} waits to be completed: each is packed, or out of service."
            yield CannotComplete(wish, None, tuple(filter(None, (wish.why, none))))
            continue
        short.remove(row)
        yield CannotComplete(wish, row.lying, tuple(_reasons(row, where, going)))


def _reasons(row: Short, where: Mapping[str, Sequence[Elsewhere]], going: Mapping[str, str]) -> Iterator[str]:
    for empty, number in Counter(row.empty).items():
        known = [one for code in empty.accepts for one in where.get(code, ())]
        told = [_told(one, going) for one in known if not _serves(one, row, going)]
        more = f", and {len(told) - PLACES_NAMED} more not to be had" if len(told) > PLACES_NAMED else ""
        places = f"{'; '.join(told[:PLACES_NAMED])}{more}." if told else "The unit has no other."
        yield f"{number} × {empty.part_name} lacks. {places}"
    for finding in row.stops:
        yield finding.words


def _serves(one: Elsewhere, row: Short, going: Mapping[str, str]) -> bool:
    """Whether a piece is to be had for this tray: then it fills another place of the kind already."""
    own_set = row.lying.tray.code if row.lying.tray.closed else ""
    return one.free and one.set_of == own_set and one.code not in going


def _told(one: Elsewhere, going: Mapping[str, str]) -> str:
    return f"{one.words}, goes to {going[one.code]}" if one.code in going else one.words


def _laid(trays: Collection[str], at: datetime) -> tuple[Placement, ...]:
    midnight = timezone.make_aware(datetime.combine(timezone.localdate(at), time()))
    rows = Placement.objects.filter(tray__code__in=trays, at__gte=midnight)
    return tuple(rows.select_related("piece__part", "tray", "by"))
