"""A list proves itself: pieces enough, one programme, weight, companions, fit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from instruments.fit import Fit, Judgement
from journal.findings import Severity, look, stop
from tests.trays.counting import FIVE, FIVE_HALF, RULE, SIX, line
from trays.companions import CompanionRule, SizeOf
from trays.matching import Wanted, WantedLine
from trays.proving import KnownPart, nearest, prove

MADE = frozenset((kind, size) for kind in ("barrel", "sheath", "seal") for size in (FIVE, FIVE_HALF, SIX))


def known(code: str, *, owned: int = 9, kind: str = "other", size: SizeOf | None = None, **more: object) -> KnownPart:
    values: dict[str, object] = {"mass_g": 100.0, "programmes": frozenset({"S134"}), **more}
    return KnownPart(code, f"Part {code}", kind, size, owned=owned, **values)  # type: ignore[arg-type]


def slugs(
    *lines: WantedLine,
    parts: tuple[KnownPart, ...],
    rules: tuple[CompanionRule, ...] = (),
    made: frozenset[tuple[str, SizeOf]] = MADE,
    trays: int = 1,
) -> list[str]:
    found = prove(Wanted(lines, rules, 1_000), {part.code: part for part in parts}, made, trays)
    return [finding.slug for finding in found]


def test_a_list_that_works_finds_nothing() -> None:
    assert slugs(line(1, "F", 2), parts=(known("F"),)) == []


def test_a_part_that_was_not_read_is_a_fault_of_the_caller() -> None:
    with pytest.raises(ValueError, match="F, G"):
        slugs(line(1, "F", 1, "G"), parts=())


@pytest.mark.parametrize(
    ("lines", "owned", "trays", "short"),
    [
        ([line(1, "F", 2)], {"F": 3}, 1, []),
        ([line(1, "F", 2)], {"F": 3}, 2, [1]),
        ([line(1, "F", 2)], {"F": 3}, 0, []),  # none yet is proved as one
        ([line(1, "F", 2, "G")], {"F": 1, "G": 1}, 1, []),
        ([line(1, "F", 1, "H"), line(2, "G", 1, "H")], {"F": 0, "G": 0, "H": 1}, 1, [2]),
        # A may use Q, so that its own P is free for B, whose own R the unit has not.
        ([line(1, "P", 1, "Q"), line(2, "R", 1, "P")], {"P": 1, "Q": 1, "R": 0}, 1, []),
        ([line(1, "F", essential=False), line(2, "G", 1, "F")], {"F": 1, "G": 0}, 1, [1]),  # essential first
    ],
)
def test_the_unit_owns_pieces_enough(
    lines: list[WantedLine], owned: dict[str, int], trays: int, short: list[int]
) -> None:
    parts = {code: known(code, owned=count) for code, count in owned.items()}
    found = prove(Wanted(tuple(lines), (), 10_000), parts, (), trays)
    assert [finding.numbers["line"] for finding in found] == short
    assert all(finding.severity is Severity.LOOK for finding in found)


@given(
    st.lists(st.tuples(st.integers(1, 3), st.sets(st.integers(0, 3))), min_size=1, max_size=4),
    st.lists(st.integers(0, 3), min_size=4, max_size=4),
)
def test_no_sharing_out_serves_more(wants: list[tuple[int, set[int]]], counts: list[int]) -> None:
    """By the theorem of the maximum flow and the minimum cut (Ford and Fulkerson, 1956), over all sets of lines."""
    letters = "ABCD"
    lines = [
        line(place, letters[place - 1], quantity, *(letters[other] for other in sorted(others - {place - 1})))
        for place, (quantity, others) in enumerate(wants, start=1)
    ]
    owned = dict(zip(letters, counts, strict=True))
    parts = {code: known(code, owned=count, mass_g=0.001) for code, count in owned.items()}
    found = prove(Wanted(tuple(lines), (), 10_000), parts, (), 1)
    lacking = sum(int(finding.numbers["wanted"]) - int(finding.numbers["found"]) for finding in found)
    most = 0
    for chosen in range(1 << len(lines)):
        some = [one for place, one in enumerate(lines) if chosen >> place & 1]
        reach = {code for one in some for code in one.ranks}
        most = max(most, sum(one.quantity for one in some) - sum(owned[code] for code in reach))
    assert lacking == most


def test_one_programme_suits_all_parts() -> None:
    cold = known("G", programmes=frozenset({"LT50"}))
    assert slugs(line(1, "F"), line(2, "G"), parts=(known("F"), cold)) == ["no-programme"]
    assert slugs(line(1, "F", 1, "G"), line(2, "H"), parts=(known("F"), cold, known("H"))) == [
        "substitute-no-programme"
    ]
    assert slugs(line(1, "F", 1, "G"), parts=(known("F"), cold)) == ["substitute-no-programme"]


def test_the_weight_stays_below_the_limit_and_what_is_not_weighed_is_a_look() -> None:
    assert slugs(line(1, "F", 2), parts=(known("F", mass_g=600.0),)) == ["too-heavy"]
    (found,) = prove(Wanted((line(1, "F"),), (), 1_000), {"F": known("F", mass_g=None)}, (), 1)
    assert (found.slug, found.severity) == ("mass-not-measured", Severity.LOOK)
    assert "Part F" in found.remedy


def sized(kind: str, size: SizeOf) -> KnownPart:
    return known(f"{kind}-{size.label}", kind=kind, size=size)


def test_each_size_of_a_rule_has_its_companions_on_the_list() -> None:
    parts = [sized(kind, FIVE) for kind in ("barrel", "sheath", "seal")]
    lines = [line(place, part.code) for place, part in enumerate(parts, start=1)]
    assert slugs(*lines, parts=tuple(parts), rules=(RULE,)) == []
    assert slugs(*lines[:2], parts=tuple(parts), rules=(RULE,)) == ["seal-not-listed"]
    assert slugs(*lines[:2], parts=tuple(parts), rules=(replace(RULE, wants_seal=False),)) == []
    both = replace(RULE, sizes=(FIVE, FIVE_HALF))
    assert slugs(*lines, parts=tuple(parts), rules=(both,)) == [
        f"{kind}-not-listed" for kind in ("barrel", "sheath", "seal")
    ]
    without = MADE - {("sheath", FIVE)}
    assert slugs(*lines, parts=tuple(parts), rules=(RULE,), made=without) == ["sheath-not-made"]


def test_two_barrels_want_two_sheaths() -> None:
    parts = tuple(sized(kind, FIVE) for kind in ("barrel", "sheath", "seal"))
    lines = (line(1, parts[0].code, 2), line(2, parts[1].code, 1), line(3, parts[2].code, 2))
    assert slugs(*lines, parts=parts, rules=(RULE,)) == ["sheath-not-listed"]


def test_a_companion_without_its_barrel_could_never_be_packed() -> None:
    sheath = sized("sheath", SIX)
    assert slugs(line(1, sheath.code), parts=(sheath,), rules=(RULE,)) == ["sheath-without-barrel"]


def test_what_the_rules_of_fit_find_counts_and_stops_come_first() -> None:
    fit = (look("fit-tight", "F", "Look."), stop("fit-does-not-fit", "F", "Stop."))
    found = prove(Wanted((line(1, "F"),), (), 1_000), {"F": known("F")}, (), 1, fit)
    assert [finding.slug for finding in found] == ["fit-does-not-fit", "fit-tight"]


@pytest.mark.parametrize(
    ("fits", "slug", "severity"),
    [
        ([Fit.DOES_NOT_FIT, Fit.FITS], None, None),
        ([], None, None),
        ([Fit.DOES_NOT_FIT, Fit.TIGHT, Fit.NOT_MEASURED], "fit-tight", Severity.LOOK),
        ([Fit.NOT_MEASURED, Fit.DOES_NOT_FIT], "fit-not-measured", Severity.LOOK),
        ([Fit.DOES_NOT_FIT], "fit-does-not-fit", Severity.STOP),
    ],
)
def test_a_part_is_judged_by_what_suits_it_best(fits: list[Fit], slug: str | None, severity: Severity | None) -> None:
    found = nearest("Telescope", [(f"Barrel {place}", Judgement(fit, ())) for place, fit in enumerate(fits)])
    assert (found and found.slug, found and found.severity) == (slug, severity)


def test_the_reason_is_that_of_the_rule_that_decides() -> None:
    tight = Judgement(Fit.TIGHT, (stop("a", "x", "Not this."), look("b", "x", "It is tight.", "Try it.")))
    found = nearest("Telescope", [("Barrel 7.5", tight)])
    assert found is not None
    assert found.sentence == (
        "Nothing on the list suits Telescope for certain; the nearest is Barrel 7.5. It is tight."
    )
    assert found.remedy == "Try it."
