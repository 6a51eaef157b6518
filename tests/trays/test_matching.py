"""A tray against its list."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instruments.life import Wear
from journal.findings import Finding, Severity
from tests.trays.counting import FIVE, FIVE_HALF, RULE, SIX, item, judge, line, slugs
from trays import companions
from trays.matching import (
    CompanionRule,
    Item,
    Lack,
    TrayCount,
    Wanted,
    WantedLine,
)

# Lines


def test_a_complete_tray_has_nothing_against_it() -> None:
    count = judge(item("1", "A"), item("2", "B"), item("3", "B"), lines=(line(1, "A"), line(2, "B", 2)))
    assert count.complete
    assert count.findings == ()
    assert count.lacks == ()
    assert count.positions == {"1": 1, "2": 2, "3": 2}
    assert [(row.done, row.lacking, len(row.present)) for row in count.rows] == [(True, 0, 1), (True, 0, 2)]


def test_a_missing_line_is_a_look_with_figures_and_substitutes() -> None:
    count = judge(item("1", "A"), lines=(line(3, "A", 2, "B", essential=False),))
    (finding,) = count.findings
    assert finding.severity is Severity.LOOK
    assert finding.sentence == "Line 3 lacks 1 × Part A: 1 of 2 on the tray."
    assert finding.remedy == "Scan it in, or a substitute: Part B (serves as well)."
    assert finding.numbers == {"line": 3, "needed": 2, "present": 1, "part": "A"}
    assert count.lacks == (Lack("A", "Part A", 1, essential=False),)
    assert count.stops == ()
    assert not count.complete


def test_without_substitutes_the_remedy_names_none() -> None:
    (finding,) = judge(lines=(line(1, "A"),)).findings
    assert finding.remedy == "Scan it in."


def test_the_own_part_serves_before_its_substitute() -> None:
    count = judge(item("1", "B"), item("2", "A"), lines=(line(1, "A", 1, "B"),))
    assert count.positions == {"2": 1}
    assert slugs(count) == ["duplicate"]
    assert count.findings[0].sentence == "Part B 1 is too many: line 1 has all it wants."


def test_substitutes_serve_in_order_of_preference() -> None:
    assert judge(item("1", "C"), item("2", "B"), lines=(line(1, "A", 1, "B", "C"),)).positions == {"2": 1}


def test_a_piece_that_could_serve_two_lines_goes_where_both_are_served() -> None:
    """Line 1 would like B best, but then nothing is left for line 2."""
    count = judge(item("1", "B"), item("2", "C"), lines=(line(1, "A", 1, "B", "C"), line(2, "D", 1, "B")))
    assert count.positions == {"1": 2, "2": 1}
    assert count.complete


def test_a_chain_of_exchanges_is_followed_to_its_end() -> None:
    lines = (line(1, "A", 1, "B"), line(2, "B", 1, "C"), line(3, "C", 1, "D"), line(4, "X", 1, "A"))
    count = judge(item("1", "A"), item("2", "B"), item("3", "C"), item("4", "D"), lines=lines)
    assert count.positions == {"1": 4, "2": 1, "3": 2, "4": 3}


def test_essential_lines_are_served_first() -> None:
    lines = (line(1, "A", essential=False), line(2, "B", 1, "A"))
    count = judge(item("1", "A"), lines=lines)
    assert count.positions == {"1": 2}
    assert count.lacks == (Lack("A", "Part A", 1, essential=False),)


def test_a_piece_that_no_line_wants_is_surplus() -> None:
    count = judge(item("1", "Z"))
    (finding,) = count.findings
    assert (finding.slug, finding.severity, finding.subject) == ("surplus", Severity.LOOK, "1")
    assert finding.words == "Part Z 1 is too many: no line wants it. Take 1 off."


def test_of_equal_pieces_the_later_code_is_the_duplicate() -> None:
    count = judge(item("2", "A"), item("1", "A"), lines=(line(1, "A"),))
    assert count.positions == {"1": 1}
    assert [(finding.slug, finding.subject) for finding in count.findings] == [("duplicate", "2")]


def test_a_duplicate_names_the_line_of_its_own_part_before_those_it_could_stand_in_for() -> None:
    lines = (line(1, "B", 1, "A"), line(2, "A"))
    for turned in (lines, lines[::-1]):
        (finding,) = judge(item("1", "A"), item("2", "A"), item("3", "A"), lines=turned).findings
        assert finding.sentence == "Part A 3 is too many: line 2 has all it wants."


def test_rows_stand_in_order_of_their_positions() -> None:
    count = judge(lines=(line(2, "B"), line(1, "A")))
    assert [row.line.position for row in count.rows] == [1, 2]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: line(1, "A", 0), "wants 0 pieces"),
        (lambda: Wanted((line(1, "A"), line(1, "B")), (), 1), "share a position"),
        (lambda: Wanted((), (), 0), "above 0"),
        (lambda: judge(item("1"), item("1")), "twice"),
        (lambda: CompanionRule("B", "Other", (FIVE,)), "not of series B"),
    ],
)
def test_malformed_arguments_are_refused(make: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()  # type: ignore[operator]


# One programme, weight, life


def test_one_programme_must_suit_every_part() -> None:
    steam, plasma = frozenset({"S134"}), frozenset({"LT"})
    count = judge(
        item("1", "A", programmes=steam),
        item("2", "B", programmes=steam | plasma),
        item("3", "C", programmes=plasma),
        item("4", "D", programmes=steam),
    )
    (finding,) = count.stops
    assert finding.slug == "no-programme"
    assert finding.sentence == (
        "Cannot sterilise the tray in one programme: S134 is validated for 3 of 4 parts, must be for all. "
        "Not for: Part C."
    )
    assert finding.numbers == {"parts": 4, "suited": 3}


def test_a_part_without_any_programme_stands_alone() -> None:
    (finding,) = judge(item("1", "A", programmes=frozenset())).stops
    assert "none is validated, must be for all. Not for: Part A." in finding.sentence


def test_a_shared_programme_is_enough() -> None:
    both = frozenset({"S134", "S121"})
    assert judge(item("1", "A", programmes=both), item("2", "B", programmes=frozenset({"S121"}))).stops == ()


def test_an_empty_tray_wants_no_programme() -> None:
    assert judge().complete


def test_too_heavy_names_the_figures() -> None:
    """11.3 kg is the usual American ceiling, 10 kg a common European one: common practice, no source."""
    items = [item("1", "A", mass_g=6000.0), item("2", "B", mass_g=4000.1)]
    (finding,) = judge(*items).stops
    assert finding.slug == "too-heavy"
    assert "it weighs 10000.1\u00a0g, must be at most 10000\u00a0g" in finding.sentence
    assert finding.numbers == {"mass_g": 10000.1, "limit_g": 10_000}
    assert judge(*items[:1], item("2", "B", mass_g=4000.0)).stops == ()


def test_masses_not_measured_are_noted_and_never_guessed() -> None:
    lines = (line(1, "A"), line(2, "B"))
    (finding,) = judge(item("1", "A", mass_g=None), item("2", "B", mass_g=50.5), lines=lines).findings
    assert (finding.slug, finding.severity) == ("mass-not-measured", Severity.NOTE)
    assert finding.sentence == ("The mass of 1 of 2 pieces is not recorded: the tray weighs 50.5\u00a0g without them.")


def test_a_piece_at_the_end_of_its_life_stops() -> None:
    worn = item("1", "A", wear=Wear("1", cycles=50, life_limit=50))
    count = judge(worn, lines=(line(1, "A"),))
    assert [finding.slug for finding in count.stops] == ["life-limit-reached"]
    assert count.positions == {"1": 1}


# Properties

_PARTS = "ABCD"
_SIZES = (FIVE, FIVE_HALF, SIX)
_BARRELS: dict[str, dict[str, Any]] = {
    f"barrel {size.label}": {"kind": companions.BARREL, "size": size} for size in _SIZES
}
_LINES = st.lists(
    st.tuples(
        st.sampled_from([*_PARTS, *_BARRELS]),
        st.integers(1, 2),
        st.lists(st.sampled_from(_PARTS), max_size=2),
        st.booleans(),
    ),
    max_size=4,
    unique_by=lambda drawn: drawn[0],
)
_PIECES = st.lists(
    st.one_of(
        st.sampled_from(_PARTS).map(lambda part: {"part": part}),
        st.sampled_from(_PARTS).map(lambda part: {"part": part, "worn": True}),
        st.sampled_from(_PARTS).map(lambda part: {"part": part, "mass_g": 6000.0}),
        st.tuples(st.sampled_from(["barrel", "sheath", "seal"]), st.sampled_from(_SIZES)).map(
            lambda pair: {"part": f"{pair[0]} {pair[1].label}", "kind": pair[0], "size": pair[1]}
        ),
    ),
    max_size=8,
)
_RULES = st.sampled_from([(), (RULE,), (CompanionRule("A", "Adult", (FIVE, FIVE_HALF)),)])


def _tray(
    lines: list[tuple[str, int, list[str], bool]], pieces: list[dict[str, object]]
) -> tuple[tuple[WantedLine, ...], list[Item]]:
    wanted = tuple(
        replace(line(position, part, quantity, *substitutes, essential=essential), **_BARRELS.get(part, {}))
        for position, (part, quantity, substitutes, essential) in enumerate(lines, start=1)
    )
    return wanted, [_item(f"{number}", **fields) for number, fields in enumerate(pieces)]  # type: ignore[arg-type]


def _item(code: str, *, worn: bool = False, **fields: Any) -> Item:
    return item(code, wear=Wear(code, function_ok=not worn), **fields)


@settings(max_examples=100, deadline=None)
@given(_LINES, _PIECES, _RULES, st.randoms(use_true_random=False))
def test_the_order_of_scans_changes_nothing(
    lines: list[tuple[str, int, list[str], bool]],
    pieces: list[dict[str, object]],
    rules: tuple[CompanionRule, ...],
    shuffling: random.Random,
) -> None:
    wanted, items = _tray(lines, pieces)
    before = judge(*items, lines=wanted, rules=rules)
    shuffled = list(wanted)
    shuffling.shuffle(shuffled)
    shuffling.shuffle(items)
    assert judge(*items, lines=tuple(shuffled), rules=rules) == before


@settings(max_examples=100, deadline=None)
@given(_LINES, _PIECES, _RULES)
def test_removing_a_piece_removes_no_missing_line(
    lines: list[tuple[str, int, list[str], bool]],
    pieces: list[dict[str, object]],
    rules: tuple[CompanionRule, ...],
) -> None:
    wanted, items = _tray(lines, pieces)
    before = {row.line.position: row.lacking for row in judge(*items, lines=wanted, rules=rules).rows}
    for gone in items:
        fewer = judge(*(one for one in items if one is not gone), lines=wanted, rules=rules)
        after = {row.line.position: row.lacking for row in fewer.rows}
        assert all(after[position] >= lacking for position, lacking in before.items())


@settings(max_examples=200, deadline=None)
@given(_LINES, _PIECES, _RULES)
def test_removing_a_piece_makes_no_tray_finishable_unless_the_finding_was_about_it(
    lines: list[tuple[str, int, list[str], bool]], pieces: list[dict[str, object]], rules: tuple[CompanionRule, ...]
) -> None:
    """Finishable with a signature: nothing forbids and nothing essential lacks."""
    wanted, items = _tray(lines, pieces)
    before = judge(*items, lines=wanted, rules=rules)
    for gone in items:
        after = judge(*(one for one in items if one is not gone), lines=wanted, rules=rules)
        if _finishable(after) and not _finishable(before):
            assert all(_about(finding, gone) for finding in before.stops)


def _about(finding: Finding, gone: Item) -> bool:
    """The piece is the finding's subject, or of the barrels, sheaths and seals whose match it is about.

    Weight and programme are about everything that lies there.
    """
    if finding.slug in ("too-heavy", "no-programme") or finding.subject == gone.code:
        return True
    matched = gone.kind in (companions.BARREL, companions.SHEATH, companions.SEAL)
    return matched and gone.size is not None and gone.size.series == finding.numbers.get("series")


def _finishable(count: TrayCount) -> bool:
    return not count.stops and not any(lack.essential for lack in count.lacks)
