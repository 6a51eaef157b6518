"""The chain of a case on plain values: where it stops, what would fit, and what is only said."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from instruments.fit import Dimension, Fit, Judgement, Measure, judged, pass_together
from journal.findings import Severity
from lists.chain import Break, Chained, Delivered, Held, Judge, Question, judge_chain

KINDS = ("barrel", "base", "seal", "telescope", "forceps", "suction", "sheath", "loader", "pusher")
PARTS = {kind: Held("", kind.upper(), kind.capitalize(), kind, "A 8.0" if kind in KINDS[:1] else "") for kind in KINDS}
CATALOGUE = list(PARTS.values())
STENT = Delivered("IM", "Stent 14 × 40 mm")


def held(*kinds: str) -> tuple[Held, ...]:
    return tuple(
        Held(f"P-{kind}", PARTS[kind].part, PARTS[kind].name, kind, PARTS[kind].size) for kind in kinds or KINDS
    )


def case(*pieces: Held, implants: tuple[Delivered, ...] = (), sizes: tuple[str, ...] = ("A 8.0",)) -> Chained:
    return Chained("K7QF", sizes, sizes[0] if sizes else "", implants, pieces or held())


def verdict(fit: Fit, what: str) -> Judgement:
    return judged(
        fit,
        slug="rule",
        subject=what,
        claim=f"{what} goes",
        refusal=f"Cannot use {what}",
        condition="it is 8.4 mm, must be 8.0 mm",
        remedy="Choose another.",
        numbers={"spare_mm": -0.4},
    )


def but(fits: Callable[[Question], Fit]) -> Judge:
    return lambda asked: verdict(fits(asked), asked.pusher or asked.loader or asked.sheath or asked.part or "pair")


def all_fits(_: Question) -> Fit:
    return Fit.FITS


def not_(*parts: str) -> Callable[[Question], Fit]:
    return lambda asked: (
        Fit.DOES_NOT_FIT
        if {asked.part, asked.sheath, asked.loader, asked.pusher, *asked.shafts} & set(parts)
        else Fit.FITS
    )


def kinds(breaks: tuple[Break, ...]) -> list[tuple[str, Severity]]:
    return [(one.kind, one.severity) for one in breaks]


def test_a_chain_that_fits_everywhere_has_nothing_to_say() -> None:
    assert judge_chain(case(implants=(STENT,)), CATALOGUE, but(all_fits)) == ((), ())


@pytest.mark.parametrize("kind", ["barrel", "base", "seal", "sheath", "loader", "pusher"])
def test_each_kind_that_lacks_stops_the_chain_and_says_what_would_fit(kind: str) -> None:
    there = held(*[one for one in KINDS if one != kind])
    breaks, _ = judge_chain(case(*there, implants=(STENT,)), CATALOGUE, but(all_fits))
    assert kinds(breaks) == [(kind, Severity.STOP)]
    assert breaks[0].fits == (kind.upper(),)
    assert breaks[0].sentence.endswith("is in what serves case K7QF: 0 pieces, must be 1 or more.")


@pytest.mark.parametrize("kind", ["base", "seal", "telescope", "sheath", "loader", "pusher"])
def test_each_piece_that_does_not_go_is_named_with_its_numbers(kind: str) -> None:
    breaks, _ = judge_chain(case(implants=(STENT,)), CATALOGUE, but(not_(kind.upper())))
    assert kinds(breaks) == [(kind, Severity.STOP)]
    assert f"P-{kind}" in breaks[0].sentence
    assert "it is 8.4 mm, must be 8.0 mm" in breaks[0].sentence
    assert (breaks[0].numbers, breaks[0].fits) == ({"spare_mm": -0.4}, ())


def test_what_the_catalogue_does_not_have_is_not_asked_for() -> None:
    for known in (1, 2):
        there = held("barrel", "base")[:known]
        assert judge_chain(case(*there, implants=(STENT,)), CATALOGUE[:known], but(all_fits)) == ((), ())


def test_a_companion_must_be_of_the_barrels_size_where_the_series_has_one() -> None:
    sizes = [*CATALOGUE[:2], Held("", "SE-8", "Seal 8", "seal", "A 8.0"), Held("", "SE-9", "Seal 9", "seal", "A 9.0")]
    wrong = Held("P1", "SE-9", "Seal 9", "seal", "A 9.0")
    breaks, _ = judge_chain(case(*held("barrel", "base"), wrong), sizes, but(all_fits))
    assert [(one.kind, one.fits) for one in breaks] == [("seal", ("SE-8",))]


def test_every_size_of_the_window_is_walked() -> None:
    breaks, _ = judge_chain(case(sizes=("A 8.0", "A 8.5")), CATALOGUE, but(all_fits))
    assert [(one.kind, one.subject, one.fits) for one in breaks] == [("barrel", "A 8.5", ())]


def test_a_neighbour_of_the_implant_that_cannot_be_delivered_is_only_said() -> None:
    spare = Delivered("IM-16", "Stent 16 × 40 mm", essential=False)
    breaks, _ = judge_chain(
        case(implants=(STENT, spare)),
        CATALOGUE,
        but(lambda asked: Fit.DOES_NOT_FIT if asked.loader and asked.implant == "IM-16" else Fit.FITS),
    )
    assert kinds(breaks) == [("loader", Severity.LOOK)]


def test_without_a_planned_size_the_barrel_that_delivers_best_counts() -> None:
    other = Held("P9", "WIDE", "Wide barrel", "barrel", "A 9.0")
    only_wide = but(lambda asked: Fit.FITS if asked.barrel == "WIDE" else Fit.DOES_NOT_FIT)
    of = case(*held(), other, sizes=(), implants=(STENT,))
    assert judge_chain(of, CATALOGUE, only_wide) == ((), ())
    assert judge_chain(case(*held("base"), sizes=(), implants=(STENT,)), CATALOGUE, only_wide) == ((), ())


def test_tight_and_not_measured_are_said_once() -> None:
    breaks, looks = judge_chain(
        case(sizes=("A 8.0",)), CATALOGUE, but(lambda asked: Fit.TIGHT if asked.part == "SEAL" else Fit.FITS)
    )
    assert (breaks, [look.severity for look in looks]) == ((), [Severity.LOOK])


def test_nothing_beside_the_telescope_is_said_with_the_nearest_bore() -> None:
    # docs/algorithms/co-passage.md: a telescope of 2.7 and a tube of 2.0 with gaps of 0.1 want a bore of 5.0.
    bore = Measure("Barrel", Dimension(4.5))
    widths = {"TELESCOPE": 2.7, "FORCEPS": 2.5, "SUCTION": 2.0}

    def rules(asked: Question) -> Judgement:
        if asked.shafts:
            return pass_together(bore, [Measure(part, Dimension(widths[part])) for part in asked.shafts], 0.1)
        return verdict(Fit.FITS, "it")

    breaks, (look,) = judge_chain(case(), CATALOGUE, rules)
    assert breaks == ()
    assert look.slug == "chain-beside"
    assert look.numbers["required_bore_mm"] == pytest.approx(5.0)
    assert judge_chain(case(*held("barrel", "base", "seal", "telescope")), CATALOGUE, rules) == ((), ())


def test_the_remedy_names_the_nearest_piece_or_that_there_is_none() -> None:
    one = Break("loader", "Stent", "No loader.", fits=("LO-1", "LO-2"))
    near = {"LO-2": "Loader P2, inspected in Store A", "LO-1": "Loader P1, in repair"}
    assert one.finding(near).remedy == "Nearest that fits: Loader P2, inspected in Store A."
    assert one.finding({}).remedy == "The unit has no piece of what fits (LO-1, LO-2): borrow one."
    none = Break("loader", "Stent", "No loader.").finding(near)
    assert none.remedy == "No loader of the catalogue fits: plan another size, or enter one that does."
    assert (none.slug, none.severity) == ("chain-loader", Severity.STOP)
