"""The five verdicts, the set that serves two cases, standing sets."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from journal.findings import Finding, Severity
from lists.readiness import (
    CaseNeeds,
    CaseReadiness,
    Need,
    judge_case,
    judge_list,
    judge_standing,
)
from lists.stages import Stage, Whereabouts
from lists.states import Readiness
from tests.lists.test_stages import LEFT, NOW, TIMES, minutes

START = NOW + minutes(300)
AD = "template:AD"


def tray(code: str = "T1", stage: Stage = Stage.STERILE, **fields: Any) -> Whereabouts:
    return Whereabouts(code, f"Tray {code}", "tray", AD, stage, f"{stage} in Store A", **fields)


def pack(code: str = "K1", stage: Stage = Stage.STERILE, **fields: Any) -> Whereabouts:
    return Whereabouts(code, f"Stent {code}", "pack", "part:ST", stage, f"{stage} in Store A", **fields)


def need(chosen: str = "", key: str = AD, **fields: Any) -> Need:
    return Need(1, "Adult tray" if key == AD else "Stent 14 × 40", key, chosen, **fields)


def case(*needs: Need, code: str = "K7QF", starts_at: Any = START, **fields: Any) -> CaseNeeds:
    return CaseNeeds(code, starts_at, 60, needs, **fields)


def judge(of: CaseNeeds, *sets: Whereabouts) -> CaseReadiness:
    return judge_list([of], {found.code: found for found in sets}, now=NOW, times=TIMES)[of.code]


def slugs(readiness: CaseReadiness) -> list[str]:
    return [finding.slug for finding in readiness.findings]


# One need


def test_a_sterile_set_is_complete() -> None:
    readiness = judge(case(need("T1")), tray(use_by=START))
    assert (readiness.verdict, readiness.words, slugs(readiness)) == (Readiness.COMPLETE, "Complete", [])
    assert readiness.needs[0].where == "sterile in Store A"


def test_a_pack_that_the_case_has_is_complete_whatever_becomes_of_its_tray() -> None:
    readiness = judge(case(need("T1", in_hand="K9")), tray(stage=Stage.RETURNED))
    assert readiness.verdict is Readiness.COMPLETE
    assert readiness.needs[0].where == "K9 is with the case"


@pytest.mark.parametrize("stage", [stage for stage in Stage if stage is not Stage.STERILE])
def test_a_set_on_its_way_is_complete_by_the_moment_it_can_be_sterile(stage: Stage) -> None:
    readiness = judge(case(need("T1")), tray(stage=stage))
    assert readiness.verdict is Readiness.COMPLETE_BY
    assert readiness.ready_at == NOW + minutes(LEFT[stage])
    assert readiness.words == f"Complete by {NOW + minutes(LEFT[stage]):%H:%M}"
    assert slugs(readiness) == ["on-its-way"]


def test_ready_at_the_deadline_is_in_time_and_a_minute_after_it_is_late() -> None:
    chain = minutes(LEFT[Stage.RETURNED] + 25)
    in_time = judge(case(need("T1"), starts_at=NOW + chain), tray(stage=Stage.RETURNED))
    late = judge(case(need("T1"), starts_at=NOW + chain - minutes(1)), tray(stage=Stage.RETURNED))
    assert (in_time.verdict, late.verdict) == (Readiness.COMPLETE_BY, Readiness.LATE)
    assert late.words == "Late"
    assert late.findings[0].numbers == {"late_min": 1}
    assert late.findings[0].sentence == (
        "Tray T1 T1 is returned in Store A; it can be sterile by 12:20, must be by 12:19."
    )


def test_ready_on_another_day_says_so() -> None:
    tomorrow = case(need("T1"), starts_at=START + timedelta(days=1))
    assert judge(tomorrow, tray(stage=Stage.ASSEMBLED)).words == "Complete by Tue 24-Nov-2026 10:35"


@pytest.mark.parametrize("stage", [Stage.STERILE, Stage.AWAITING_RELEASE])
def test_a_set_whose_shelf_life_ends_before_the_start_is_short(stage: Stage) -> None:
    readiness = judge(case(need("T1")), tray(stage=stage, use_by=START - minutes(1), pack="K5"))
    assert readiness.verdict is Readiness.SHORT
    assert slugs(readiness) == ["expired"]
    assert "K5" in readiness.findings[0].sentence


def test_what_cannot_serve_is_short_with_its_reason_and_what_else_to_see_to() -> None:
    why = Finding("piece-lacks", Severity.STOP, "Seal 7.5", "Seal 7.5 lacks on Tray T1.", "P1 is in repair.")
    also = Finding("piece-to-come", Severity.LOOK, "P2", "Sheath lacks on Tray T1; P2 is inspected.")
    readiness = judge(case(need("T1")), tray(stage=Stage.INSPECTED, stops=(why,), looks=(also,)))
    assert readiness.verdict is Readiness.SHORT
    assert readiness.findings == (why, also)


def test_looks_of_a_sterile_set_are_passed_on() -> None:
    lack = Finding("incomplete", Severity.LOOK, "K5", "Tray T1 K5 lacks 1 × Seal.")
    readiness = judge(case(need("T1")), tray(looks=(lack,)))
    assert (readiness.verdict, readiness.findings) == (Readiness.COMPLETE, (lack,))


# Nothing chosen


def test_nothing_chosen_is_not_planned_and_names_what_is_free() -> None:
    readiness = judge(case(need()), tray("T1", Stage.RETURNED), tray("T2"), tray("T3", Stage.ASSEMBLED))
    assert readiness.verdict is Readiness.NOT_PLANNED
    assert readiness.findings[0].remedy == "Tray T2 T2 is free: sterile in Store A."


def test_what_others_are_to_get_is_not_offered() -> None:
    first, second = case(need("T1"), code="AAAA"), case(need(), code="BBBB")
    judged = judge_list([first, second], {"T1": tray("T1")}, now=NOW, times=TIMES)
    assert judged["BBBB"].verdict is Readiness.NOT_PLANNED
    assert judged["BBBB"].findings[0].remedy.startswith("All 1 are to serve other cases")


def test_what_the_unit_does_not_have_is_short() -> None:
    readiness = judge(case(need(key="part:ST")), tray("T1"))
    assert readiness.verdict is Readiness.SHORT
    assert readiness.findings[0].sentence == "Stent 14 × 40 is not in stock. The unit has none."


def test_what_the_unit_has_only_in_quarantine_is_short_and_says_why() -> None:
    why = Finding("pack-quarantined", Severity.STOP, "K1", "Stent: pack K1 is quarantined.")
    readiness = judge(case(need(key="part:ST")), pack(stops=(why,)))
    assert readiness.verdict is Readiness.SHORT
    assert readiness.findings[0].sentence == "Stent 14 × 40 is not in stock. Stent: pack K1 is quarantined."


def test_of_many_that_cannot_serve_the_nearest_is_named_and_its_further_stops_are_counted() -> None:
    lacks = [Finding("missing", Severity.STOP, "T", f"Part {number} lacks.") for number in range(5)]
    readiness = judge(case(need()), tray("T1", stops=tuple(lacks)), tray("T2", stops=tuple(lacks[:3])))
    sentence = "Part 0 lacks. 2 more things stand against Tray T2, which is the nearest to serve."
    assert readiness.findings[0].sentence == f"Adult tray is not in stock. {sentence}"


def test_a_case_without_needs_is_not_planned() -> None:
    readiness = judge(case())
    assert (readiness.verdict, slugs(readiness)) == (Readiness.NOT_PLANNED, ["needs-unknown"])


# The whole case


@pytest.mark.parametrize(
    ("stages", "verdict"),
    [
        ((Stage.STERILE, Stage.STERILE), Readiness.COMPLETE),
        ((Stage.STERILE, Stage.ASSEMBLED), Readiness.COMPLETE_BY),
        ((Stage.ASSEMBLED, Stage.IN_USE), Readiness.COMPLETE_BY),
    ],
)
def test_the_worst_need_decides_and_the_latest_moment_stands(stages: tuple[Stage, Stage], verdict: Readiness) -> None:
    sets = [tray(f"T{number}", stage) for number, stage in enumerate(stages)]
    readiness = judge(case(need("T0"), need("T1")), *sets)
    assert readiness.verdict is verdict
    assert readiness.ready_at == NOW + minutes(max(LEFT[stage] for stage in stages))


def test_short_outweighs_late_and_late_outweighs_what_is_not_planned() -> None:
    soon = NOW + minutes(30)
    why = Finding("pack-recalled", Severity.STOP, "T2", "Tray T2 is recalled.")
    sets = (tray("T1", Stage.RETURNED), tray("T2", stops=(why,)), tray("T3"))
    late = case(need("T1"), need(), starts_at=soon)
    assert judge(late, *sets).verdict is Readiness.LATE
    assert judge(replace(late, needs=(need("T1"), need("T2"), need())), *sets).verdict is Readiness.SHORT


@pytest.mark.parametrize(
    ("planned", "sizes", "found"),
    [
        ("7.5", {"7.5", "8.0"}, []),
        ("7.0", {"7.5", "8.0"}, ["planned-size-lacks"]),
        ("7.0", set(), []),
        ("", {"7.5"}, []),
    ],
)
def test_the_planned_size_must_be_among_the_barrels(planned: str, sizes: set[str], found: list[str]) -> None:
    readiness = judge(case(need("T1"), planned_size=planned), tray(sizes=frozenset(sizes)))
    assert slugs(readiness) == found
    assert readiness.verdict is Readiness.COMPLETE


# Two cases, one set


def test_the_second_case_gets_the_set_after_the_first_and_the_whole_chain() -> None:
    first = case(need("T1"), code="AAAA", starts_at=NOW + minutes(60))
    second = case(need("T1"), code="BBBB", starts_at=NOW + minutes(600))
    judged = judge_list([second, first], {"T1": tray()}, now=NOW, times=TIMES)
    assert judged["AAAA"].verdict is Readiness.COMPLETE
    over = NOW + minutes(60 + 60)
    assert judged["BBBB"].verdict is Readiness.COMPLETE_BY
    assert judged["BBBB"].ready_at == over + minutes(LEFT[Stage.IN_USE])
    assert judged["BBBB"].needs[0].where == "with case AAAA until 11:00"


def test_the_second_case_is_late_when_the_turn_round_is_too_short() -> None:
    first = case(need("T1"), code="AAAA", starts_at=NOW + minutes(60))
    second = case(need("T1"), code="BBBB", starts_at=NOW + minutes(120 + LEFT[Stage.IN_USE] + 24))
    judged = judge_list([first, second], {"T1": tray()}, now=NOW, times=TIMES)
    assert judged["BBBB"].verdict is Readiness.LATE
    assert judged["BBBB"].findings[0].numbers == {"late_min": 1}


def test_the_worked_example_of_the_page_on_readiness() -> None:
    """docs/algorithms/readiness.md."""
    first = case(need("T1"), code="AAAA", starts_at=NOW.replace(hour=10))
    for start, words in ((NOW.replace(hour=19), "Complete by 14:45"), (NOW.replace(hour=15, minute=9), "Late")):
        second = case(need("T1"), code="BBBB", starts_at=start)
        judged = judge_list([first, second], {"T1": tray()}, now=NOW, times=TIMES)
        assert [judged[code].words for code in ("AAAA", "BBBB")] == ["Complete", words]
    assert judged["BBBB"].findings[0].numbers == {"late_min": 1}


def test_a_late_first_case_makes_the_second_wait_longer() -> None:
    first = case(need("T1"), code="AAAA", starts_at=NOW + minutes(10))
    second = case(need("T1"), code="BBBB", starts_at=NOW + minutes(900))
    judged = judge_list([first, second], {"T1": tray(stage=Stage.RETURNED)}, now=NOW, times=TIMES)
    assert judged["AAAA"].verdict is Readiness.LATE
    over = NOW + minutes(LEFT[Stage.RETURNED] + 25 + 60)
    assert judged["BBBB"].ready_at == over + minutes(LEFT[Stage.IN_USE])


def test_a_set_that_cannot_serve_the_first_is_not_kept_by_it() -> None:
    first = case(need("T1"), code="AAAA")
    second = case(need("T1"), code="BBBB", starts_at=START + minutes(600))
    judged = judge_list([first, second], {"T1": tray(use_by=START - minutes(1))}, now=NOW, times=TIMES)
    assert [judged[code].verdict for code in ("AAAA", "BBBB")] == [Readiness.SHORT, Readiness.SHORT]


def test_a_single_pack_serves_one_case_only() -> None:
    first = case(need("K1", "part:ST"), code="AAAA")
    second = case(need("K1", "part:ST"), code="BBBB", starts_at=START + minutes(600))
    judged = judge_list([first, second], {"K1": pack()}, now=NOW, times=TIMES)
    assert judged["AAAA"].verdict is Readiness.COMPLETE
    assert judged["BBBB"].verdict is Readiness.SHORT
    assert slugs(judged["BBBB"]) == ["serves-another-case"]


def test_judging_by_itself_looks_at_the_sets_as_they_are_given() -> None:
    readiness = judge_case(case(need("T1")), {"T1": tray()}, taken=set(), now=NOW, times=TIMES)
    assert readiness == judge(case(need("T1")), tray())


@pytest.mark.parametrize("fields", [{"duration_min": 0}, {"starts_at": START.replace(tzinfo=None)}])
def test_a_case_has_a_duration_and_a_start_with_a_zone(fields: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="K7QF"):
        CaseNeeds(**{"code": "K7QF", "starts_at": START, "duration_min": 60, "needs": (), **fields})


# Standing sets


@pytest.mark.parametrize(
    ("minimum", "sterile", "reserved", "found"),
    [
        (2, 1, 0, [("standing-below", Severity.STOP)]),
        (2, 2, 0, [("standing-at-minimum", Severity.LOOK)]),
        (2, 3, 2, [("standing-taken", Severity.LOOK)]),
        (2, 3, 1, []),
        (0, 1, 1, []),
    ],
)
def test_a_standing_set_is_covered_or_not(
    minimum: int, sterile: int, reserved: int, found: list[tuple[str, Severity]]
) -> None:
    findings = judge_standing("Emergency tray", minimum, sterile, reserved=reserved)
    assert [(finding.slug, finding.severity) for finding in findings] == found


@pytest.mark.parametrize(("minimum", "sterile", "reserved"), [(-1, 1, 0), (1, 1, 2), (1, 1, -1)])
def test_numbers_of_a_standing_set_must_make_sense(minimum: int, sterile: int, reserved: int) -> None:
    with pytest.raises(ValueError, match="sterile sets"):
        judge_standing("Emergency tray", minimum, sterile, reserved=reserved)
