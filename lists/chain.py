"""The chain of a case on the pieces that serve it: barrel, base, seal, shafts; implant, sheath, loader, pusher.

Which piece goes with which is asked of the rules of fit; here stands what must be asked, and in which order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from instruments.fit import WORST_FIRST, Fit, Judgement
from journal.findings import Finding, Severity

GOES = (Fit.FITS, Fit.TIGHT)
DELIVERY = ("sheath", "loader", "pusher")
BESIDE = ("forceps", "suction")


@dataclass(frozen=True, slots=True)
class Held:
    """A piece in what serves a case, or a part of the catalogue where its code is empty.

    Args:
        code: the piece's own code.
        part: code of its part.
        name: what a person calls the part.
        kind: kind of part.
        size: its size in a series (“ADULT 8.0”); empty where it has none.
    """

    code: str
    part: str
    name: str
    kind: str
    size: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """Parts to be put together, by code: one part on a barrel with a base, shafts side by side, or a delivery."""

    barrel: str
    base: str = ""
    part: str = ""
    shafts: tuple[str, ...] = ()
    sheath: str = ""
    loader: str = ""
    pusher: str = ""
    implant: str = ""


Judge = Callable[[Question], Judgement]


@dataclass(frozen=True, slots=True)
class Delivered:
    """An implant that a case is to get; where it is not essential a broken chain is only said."""

    part: str
    name: str
    essential: bool = True


@dataclass(frozen=True, slots=True)
class Chained:
    """What of a case is to be judged.

    Args:
        case: its code.
        sizes: every size that must be there (“ADULT 8.0”).
        planned: the one of these that is planned; empty where none is.
        implants: what is to be delivered.
        held: the pieces in what serves it.
    """

    case: str
    sizes: tuple[str, ...]
    planned: str
    implants: tuple[Delivered, ...]
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True)
class Break:
    """Where the chain stops.

    Args:
        kind: kind of the part that lacks or does not go.
        subject: the size or implant that it is for.
        sentence: what was found and must be.
        severity: stop or look.
        fits: codes of the parts of the catalogue that would go.
        numbers: the figures behind it.
    """

    kind: str
    subject: str
    sentence: str
    severity: Severity = Severity.STOP
    fits: tuple[str, ...] = ()
    numbers: Mapping[str, float | int | str] = field(default_factory=dict)

    def finding(self, nearest: Mapping[str, str]) -> Finding:
        """The break with its remedy.

        Args:
            nearest: by code of a part its nearest piece with where it is, in words; the nearest of all first.
        """
        there = [words for part, words in nearest.items() if part in self.fits]
        if there:
            remedy = f"Nearest that fits: {there[0]}."
        elif self.fits:
            remedy = f"The unit has no piece of what fits ({', '.join(self.fits)}): borrow one."
        else:
            remedy = f"No {self.kind} of the catalogue fits: plan another size, or enter one that does."
        return Finding(f"chain-{self.kind}", self.severity, self.subject, self.sentence, remedy, self.numbers)


@dataclass(slots=True)
class _Walk:
    """One walk along a case's chain: what is at hand, and what was found so far."""

    of: Chained
    catalogue: Sequence[Held]
    judge: Judge
    breaks: list[Break] = field(default_factory=list)
    looks: list[Finding] = field(default_factory=list)

    def take(
        self,
        kind: str,
        subject: str,
        ask: Callable[[str], Question] | None,
        *,
        size: str = "",
        severity: Severity = Severity.STOP,
    ) -> Held | None:
        """The piece of a kind that goes best; None, with a break, where none does."""
        known = [part for part in self.catalogue if part.kind == kind and (not size or part.size == size)]
        there = [piece for piece in self.of.held if piece.kind == kind and (not size or piece.size == size)]
        judged = [(self.judge(ask(piece.part)) if ask else Judgement(Fit.FITS, ()), piece) for piece in there]
        best = max(judged, key=lambda pair: WORST_FIRST.index(pair[0].fit), default=None)
        if best is not None and best[0].fit is not Fit.DOES_NOT_FIT:
            self.looks += [finding for finding in best[0].findings if finding.severity is Severity.LOOK]
            return best[1]
        fits = tuple(part.part for part in known if ask is None or self.judge(ask(part.part)).fit in GOES)
        self.breaks.append(_broken(self.of.case, kind, subject, best, severity, fits))
        return None

    def sized(self, kind: str, size: str) -> str:
        """The size that a companion must have: the barrel's, where its series has companions of this kind."""
        return size if any(part.kind == kind and part.size == size for part in self.catalogue) else ""


def _broken(
    case: str, kind: str, subject: str, best: tuple[Judgement, Held] | None, severity: Severity, fits: tuple[str, ...]
) -> Break:
    if best is None:
        sentence = f"No {kind} for {subject} is in what serves case {case}: 0 pieces, must be 1 or more."
        return Break(kind, subject, sentence, severity, fits)
    judgement, piece = best
    why = next(finding for finding in judgement.findings if finding.severity is Severity.STOP)
    sentence = f"{piece.name} {piece.code} does not serve {subject} of case {case}. {why.sentence}"
    return Break(kind, subject, sentence, severity, fits, why.numbers)


def judge_chain(of: Chained, catalogue: Sequence[Held], judge: Judge) -> tuple[tuple[Break, ...], tuple[Finding, ...]]:
    """Walk along the chain of each size and each implant; a chain is left where it stops.

    Of each size: a barrel is there, a base couples to it, a seal of its size closes a port, a telescope passes and
    comes out at the tip. Of the planned size also: something passes beside the telescope. Of each implant: a
    sheath carries it, a loader hands it over, a pusher pushes it out. A kind that the catalogue does not have is
    not asked for; nor is a telescope where no set holds one.

    Args:
        of: the case.
        catalogue: every part that could be in the chain, without codes of pieces.
        judge: the rules of fit.

    Returns:
        Where chains stop, and what else to see to: what is tight, and what was never measured.
    """
    walk = _Walk(of, catalogue, judge)
    mounted = {size: pair for size in of.sizes if (pair := _mount(walk, size)) is not None}
    ways = [mounted[of.planned]] if of.planned in mounted else []
    if not of.sizes:
        ways = [(barrel, "") for barrel in of.held if barrel.kind == "barrel"]
    for implant in of.implants if ways else ():
        tries = [_deliver(_Walk(of, catalogue, judge), implant, *way) for way in ways]
        best = min(tries, key=lambda one: len(one.breaks))
        walk.breaks += best.breaks
        walk.looks += best.looks
    return tuple(walk.breaks), tuple(_once(walk.looks))


def _once(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Each sentence once."""
    yield from {finding.sentence: finding for finding in findings}.values()


def _has(walk: _Walk, kind: str) -> bool:
    return any(part.kind == kind for part in walk.catalogue)


def _mount(walk: _Walk, size: str) -> tuple[Held, str] | None:
    """Barrel, base, seal and telescope of one size; the barrel and the base's part, where these two go."""
    barrel = walk.take("barrel", size, None, size=size)
    if barrel is None:
        return None
    base = ""
    if _has(walk, "base"):
        coupled = walk.take("base", size, lambda part: Question(barrel.part, part=part))
        if coupled is None:
            return None
        base = coupled.part
        if _has(walk, "seal"):
            walk.take("seal", size, lambda part: Question(barrel.part, base, part), size=walk.sized("seal", size))
    if any(piece.kind == "telescope" for piece in walk.of.held):
        telescope = walk.take("telescope", size, lambda part: Question(barrel.part, base, part))
        if telescope is not None and size == walk.of.planned:
            _beside(walk, barrel, telescope)
    return barrel, base


def _beside(walk: _Walk, barrel: Held, telescope: Held) -> None:
    """Whether anything passes beside the telescope; where nothing does, the narrowest is named."""
    others = [piece for piece in walk.of.held if piece.kind in BESIDE]
    judged = [(walk.judge(Question(barrel.part, shafts=(telescope.part, piece.part))), piece) for piece in others]
    if judged and all(judgement.fit is Fit.DOES_NOT_FIT for judgement, _ in judged):
        whys = [finding for judgement, _ in judged for finding in judgement.findings]
        why = max(
            (finding for finding in whys if finding.severity is Severity.STOP),
            key=lambda finding: float(finding.numbers.get("spare_mm", 0)),
        )
        sentence = f"Nothing passes beside {telescope.name} in {barrel.name} of case {walk.of.case}. {why.sentence}"
        remedy = "Take a thinner telescope or a wider barrel, or work without the telescope beside it."
        walk.looks.append(Finding("chain-beside", Severity.LOOK, barrel.name, sentence, remedy, why.numbers))


def _deliver(walk: _Walk, implant: Delivered, barrel: Held, base: str) -> _Walk:
    """Sheath, loader and pusher of one implant, each with those before it."""
    severity = Severity.STOP if implant.essential else Severity.LOOK
    taken: dict[str, Any] = {}
    for kind in (kind for kind in DELIVERY if _has(walk, kind)):
        size = walk.sized(kind, barrel.size) if kind == "sheath" and barrel.size else ""

        def ask(part: str, kind: str = kind) -> Question:
            return Question(barrel.part, base, implant=implant.part, **{**taken, kind: part})

        piece = walk.take(kind, implant.name, ask, size=size, severity=severity)
        if piece is None:
            break
        taken[kind] = piece.part
    return walk
