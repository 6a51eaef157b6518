"""Free sets for the needs that have none."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from journal.findings import Finding, Severity
from lists.readiness import CaseNeeds, judge_list
from lists.stages import Stage, Whereabouts
from lists.states import Readiness
from lists.suggesting import Suggestion, suggest
from tests.lists.test_readiness import START, case, need, pack, tray
from tests.lists.test_stages import LEFT, NOW, TIMES, minutes


def suggested(*cases: CaseNeeds, sets: tuple[Whereabouts, ...]) -> list[tuple[str, str, str]]:
    made = suggest(cases, {found.code: found for found in sets}, now=NOW, times=TIMES)
    return [(row.case, row.tray, row.pack) for row in made]


def test_the_sterile_set_that_expires_first_goes_first() -> None:
    sets = (
        tray("T1", use_by=START + timedelta(days=9)),
        tray("T2", use_by=START + timedelta(days=2)),
        tray("T3", Stage.AWAITING_RELEASE),
    )
    cases = (case(need(), code="AAAA"), case(need(), code="BBBB"), case(need(), code="CCCC"))
    assert suggested(*cases, sets=sets) == [("AAAA", "T2", ""), ("BBBB", "T1", ""), ("CCCC", "T3", "")]


def test_the_earlier_case_comes_first_however_they_are_given() -> None:
    late, early = case(need(), code="AAAA", starts_at=START + minutes(5)), case(need(), code="BBBB")
    assert suggested(late, early, sets=(tray(),)) == [("BBBB", "T1", ""), ("AAAA", "", "")]


def test_what_has_something_is_left_alone() -> None:
    cases = (case(need("T1"), code="AAAA"), case(need(in_hand="K9"), code="BBBB"))
    assert suggested(*cases, sets=(tray("T1"), tray("T2"))) == []


def test_a_set_that_a_later_case_is_to_get_is_left_to_it() -> None:
    later = case(need("T1"), code="BBBB", starts_at=START + minutes(60))
    assert suggested(case(need(), code="AAAA"), later, sets=(tray("T1"),)) == [("AAAA", "", "")]


def test_a_set_may_serve_again_when_it_is_back_in_time() -> None:
    turn = minutes(60 + LEFT[Stage.IN_USE] + 25)
    first = case(need("T1"), code="AAAA")
    in_time = case(need(), code="BBBB", starts_at=START + turn)
    too_early = case(need(), code="CCCC", starts_at=START + turn - minutes(1))
    assert suggested(first, in_time, sets=(tray(),)) == [("BBBB", "T1", "")]
    assert suggested(first, too_early, sets=(tray(),)) == [("CCCC", "", "")]


def test_one_case_does_not_get_the_same_set_twice() -> None:
    assert suggested(case(need(), need()), sets=(tray(),)) == [("K7QF", "T1", ""), ("K7QF", "", "")]


def test_a_single_pack_is_given_once() -> None:
    first = case(need(key="part:ST"), code="AAAA")
    second = case(need(key="part:ST"), code="BBBB", starts_at=START + timedelta(days=1))
    assert suggested(first, second, sets=(pack(),)) == [("AAAA", "", "K1"), ("BBBB", "", "")]


def test_what_cannot_serve_expires_first_or_is_a_loose_piece_is_not_suggested() -> None:
    why = Finding("pack-recalled", Severity.STOP, "T1", "Tray T1 is recalled.")
    sets = (
        tray("T1", stops=(why,)),
        tray("T2", use_by=START - minutes(1)),
        replace(tray("P1", Stage.INSPECTED), kind="piece"),
        pack(),
    )
    made = suggest([case(need())], {found.code: found for found in sets}, now=NOW, times=TIMES)
    assert made == (Suggestion(1, "K7QF", "Adult tray"),)


@given(st.lists(st.sampled_from(list(Stage)), max_size=5), st.lists(st.integers(0, 900), max_size=6))
def test_following_every_suggestion_leaves_no_case_late(stages: list[Stage], starts: list[int]) -> None:
    sets = {f"T{number}": tray(f"T{number}", stage) for number, stage in enumerate(stages)}
    cases = [case(need(), code=f"C{number}", starts_at=NOW + minutes(start)) for number, start in enumerate(starts)]
    given_to: dict[str, Any] = {row.case: row.tray for row in suggest(cases, sets, now=NOW, times=TIMES)}
    planned = [replace(row, needs=(need(given_to[row.code]),)) for row in cases]
    verdicts = {row.verdict for row in judge_list(planned, sets, now=NOW, times=TIMES).values()}
    assert Readiness.LATE not in verdicts
