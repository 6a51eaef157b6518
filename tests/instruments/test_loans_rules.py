"""The rules of a loan: papers, count and due day."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from instruments.life import Wear, fit_to_pack
from instruments.loans import (
    Direction,
    Member,
    Outcome,
    Papers,
    PrionHistory,
    against_packing,
    count_differs,
    due_back,
    open_count,
)
from instruments.states import LOAN_MOVES, OPEN_LOANS, LoanState

TODAY = date(2026, 11, 25)
FULL = Papers("A000001X", instructions=True, prion_history=PrionHistory.NO_RISK)


@pytest.mark.parametrize(
    ("papers", "slugs"),
    [
        (FULL, []),
        (Papers("A1", instructions=True, prion_history=PrionHistory.CANNOT_SAY), []),
        (Papers("A1", instructions=False, prion_history=PrionHistory.NO_RISK), ["instructions-missing"]),
        (
            Papers("A1", instructions=False, prion_history=PrionHistory.NOT_ASKED),
            ["instructions-missing", "prion-history-not-asked"],
        ),
        (Papers("A1", instructions=True, prion_history=PrionHistory.RISK), ["prion-risk"]),
    ],
)
def test_without_its_papers_nothing_borrowed_is_packed(papers: Papers, slugs: list[str]) -> None:
    assert [finding.slug for finding in against_packing("P1", papers)] == slugs
    assert [finding.slug for finding in fit_to_pack(Wear("P1", papers=papers), TODAY)] == slugs


def test_a_count_that_differs_takes_a_reason() -> None:
    (finding,) = count_differs("A1", 3, 2, "")
    assert "it is 2, must be 3 as agreed" in finding.sentence
    assert list(count_differs("A1", 3, 2, "one is on another paper")) == []
    assert list(count_differs("A1", 3, 3, "")) == []


def test_an_open_count_names_what_is_open() -> None:
    members = [Member(f"Forceps P{number}", Outcome.NOT_BACK) for number in range(8)]
    (finding,) = open_count("A1", [*members, Member("P9", Outcome.BACK), Member("P10", Outcome.USED_UP)])
    assert "2 of 10 are back or used up" in finding.sentence
    assert finding.sentence.endswith("and 2 more.")
    (finding,) = open_count("A1", [Member("P1", Outcome.MISSING)])
    assert "P1 (missing)." in finding.sentence
    assert list(open_count("A1", [Member("P9", Outcome.BACK)])) == []


@pytest.mark.parametrize(("days", "slug"), [(3, ""), (2, "loan-due-soon"), (0, "loan-due-soon"), (-1, "loan-overdue")])
@pytest.mark.parametrize("way", Direction)
def test_a_loan_is_told_before_it_is_due(way: Direction, days: int, slug: str) -> None:
    found = due_back("A1", "Pool", way, TODAY + timedelta(days=days), TODAY, soon_days=2)
    assert [finding.slug for finding in found] == ([slug] if slug else [])


def test_a_loan_ends_for_good() -> None:
    origins = {state for move in LOAN_MOVES.values() for state in move.origins}
    assert origins == OPEN_LOANS
    assert {move.target for move in LOAN_MOVES.values()} | {LoanState.AGREED} == set(LoanState)
    assert LOAN_MOVES["close_short"].right.name == "DECIDE"
