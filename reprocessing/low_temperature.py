"""What a low-temperature programme allows into its chamber: lumens, weight, dryness, wraps.

The agent reaches the inside of a lumen only up to some length of some width; water and cellulose take it up.
The limits are the maker's of the steriliser, entered by the unit; what is not measured is never taken as allowed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from journal.findings import Finding, stop

ANY = "any"
"""A limit for lumens of every material."""


@dataclass(frozen=True, slots=True)
class LumenLimit:
    """Lumens that a programme reaches.

    Args:
        material: of the lumen's wall; ANY where it does not matter.
        least_inner_mm: least inner diameter [mm].
        most_length_mm: greatest length [mm].
        most_count: so many lumens in a load at most; None where there is no such limit.

    Raises:
        ValueError: no material, or a limit that is not above zero.
    """

    material: str
    least_inner_mm: float
    most_length_mm: float
    most_count: int | None = None

    def __post_init__(self) -> None:
        given = [self.least_inner_mm, self.most_length_mm, *([] if self.most_count is None else [self.most_count])]
        if not self.material or not all(number > 0 for number in given):
            raise ValueError("A limit of lumens needs a material, and numbers above 0.")

    @property
    def words(self) -> str:
        """As it follows “must be …”."""
        count = "" if self.most_count is None else f", {self.most_count} in a load"
        return f"{self.material}, from {self.least_inner_mm:g} mm wide, to {self.most_length_mm:g} mm long{count}"

    def reaches(self, lumen: Lumen) -> bool:
        """Whether it reaches the whole of a measured lumen."""
        return (
            lumen.inner_mm is not None
            and lumen.length_mm is not None
            and self.material in (ANY, lumen.material)
            and lumen.inner_mm >= self.least_inner_mm
            and lumen.length_mm <= self.most_length_mm
        )


@dataclass(frozen=True, slots=True)
class Lumen:
    """A lumen of a part in a load.

    Args:
        part: its name.
        material: of its wall; empty = not recorded.
        inner_mm: inner diameter [mm]; None = not measured.
        length_mm: length [mm]; None = not measured.
        count: how many of it are in the load.

    Raises:
        ValueError: a number that is not above zero.
    """

    part: str
    material: str = ""
    inner_mm: float | None = None
    length_mm: float | None = None
    count: int = 1

    def __post_init__(self) -> None:
        given = [number for number in (self.inner_mm, self.length_mm, self.count) if number is not None]
        if not all(number > 0 for number in given):
            raise ValueError("A lumen is wider, longer and more than 0.")

    @property
    def words(self) -> str:
        """As it follows “a lumen of …”."""
        if self.inner_mm is None or self.length_mm is None:
            return "not measured"
        return f"{self.material or 'material not recorded'}, {self.inner_mm:g} mm wide, {self.length_mm:g} mm long"


def lumens_reached(
    verb: str, subject: str, programme: str, lumens: Iterable[Lumen], limits: Collection[LumenLimit]
) -> Iterator[Finding]:
    """Every lumen lies within a limit, and there are not more of them than the limits that they need allow.

    A lumen that several limits reach counts by the most generous of them; every lumen of the load counts towards
    each limit that is used, for they share the agent.

    Args:
        verb: as it stands in a sentence ("load").
        subject: what holds them.
        programme: its name.
        lumens: of everything that would be in the load.
        limits: of the programme; with none it restricts no lumen.

    Yields:
        A stop for each part with a lumen out of reach, and for each limit of number that is passed.
    """
    if not limits:
        return
    allowed = "; or ".join(limit.words for limit in limits)
    used: set[LumenLimit] = set()
    total, said = 0, set()
    for lumen in lumens:
        reaching = [limit for limit in limits if limit.reaches(lumen)]
        total += lumen.count
        if reaching:
            used.add(max(reaching, key=_generous))
        elif (lumen.part, lumen.words) not in said:
            said.add((lumen.part, lumen.words))
            found = f"a lumen of {lumen.part} is {lumen.words}"
            sentence = f"Cannot {verb} {subject}: {found}; in {programme} it must be {allowed}."
            yield stop("lumen-out-of-reach", subject, sentence, "Choose a programme that is validated for it.")
    for limit in sorted(used, key=_generous):
        if limit.most_count is not None and total > limit.most_count:
            found = f"the load would hold {total} lumens, must hold at most {limit.most_count} ({limit.words})"
            sentence = f"Cannot {verb} {subject}: {found}."
            yield stop("too-many-lumens", subject, sentence, "Leave some for the next load.", lumens=total)


def _generous(limit: LumenLimit) -> tuple[float, float, float, str]:
    """Order of generosity: the number in a load first, then length and width."""
    number = float("inf") if limit.most_count is None else limit.most_count
    return number, limit.most_length_mm, -limit.least_inner_mm, limit.material


def light_enough(
    verb: str, subject: str, programme: str, masses_g: Iterable[tuple[str, float | None]], most_g: float | None
) -> Iterator[Finding]:
    """The load weighs no more than the programme allows.

    Args:
        verb: as it stands in a sentence.
        subject: what holds the parts.
        programme: its name.
        masses_g: name and mass of every piece that would be in the load [g]; None = not measured.
        most_g: greatest mass of a load [g]; None where there is no limit.

    Yields:
        A stop for each part of unknown mass, or one when they weigh too much.
    """
    if most_g is None:
        return
    rows = list(masses_g)
    for name in sorted({name for name, mass in rows if mass is None}):
        sentence = f"Cannot {verb} {subject}: the mass of {name} is not measured; in {programme} it must be."
        yield stop("mass-not-measured", subject, sentence, "Weigh it, and have it entered in the catalogue.")
    total = sum(mass for _, mass in rows if mass is not None)
    if total > most_g:
        found = f"the load would weigh {total:g} g, must weigh at most {most_g:g} g in {programme}"
        sentence = f"Cannot {verb} {subject}: {found}."
        yield stop("load-too-heavy", subject, sentence, "Leave something for the next load.", mass_g=total)


def confirmed(subject: str, programme: str, asked: Iterable[tuple[bool, str, str, str]]) -> Iterator[Finding]:
    """What a programme wants a person to have looked at before the start.

    Args:
        subject: the load.
        programme: its name.
        asked: whether it was confirmed, its slug, what it is, and what to do, for each thing asked for.

    Yields:
        A stop for each that was not.
    """
    for said, slug, what, remedy in asked:
        if not said:
            sentence = f"Cannot start {subject}: {what} is not confirmed, in {programme} it must be."
            yield stop(slug, subject, sentence, remedy)
