"""Why a case is not ready and what would help: each kind of fix, its cost, the order, and that pressing ends."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from itertools import permutations
from typing import Any

import pytest

from journal.findings import Finding, Severity
from lists.changes import READY, Day, Moves, Way, Who
from lists.readiness import CaseNeeds, Need
from lists.remedies import Remedy, cause, measure, remedies
from lists.stages import Stage, Whereabouts, ready_at
from lists.states import Readiness
from tests.lists.test_readiness import AD, START, case, pack, tray
from tests.lists.test_stages import NOW, TIMES, minutes

ROOMS = {"A": "1", "B": "1", "C": "2"}


def stopped(slug: str, code: str = "T1") -> Finding:
    return Finding(slug, Severity.STOP, code, f"{code} has {slug}.", numbers={"lacking": 1})


def wants(number: int, chosen: str = "", key: str = AD, **fields: Any) -> Need:
    return Need(number, "Adult tray" if key == AD else "Stent", key, chosen, **fields)


def day(cases: list[CaseNeeds], *sets: Whereabouts, **fields: Any) -> Day:
    return Day(tuple(cases), {row.code: row for row in sets}, NOW, TIMES, **fields)


def ways(found: tuple[Remedy, ...]) -> list[Way]:
    return [row.candidate.way for row in found]


def first(of: Day, code: str = "A", way: Way | None = None) -> Remedy:
    return next(row for row in remedies(of, code) if way in (None, row.candidate.way))


# Why


def test_a_case_that_is_ready_has_no_cause_and_no_fix() -> None:
    of = day([case(wants(1, "T1"), code="A")], tray("T1"))
    assert (cause(of, "A"), remedies(of, "A")) == (None, ())


def test_the_case_that_has_the_set_first_is_the_cause_if_without_it_all_were_well() -> None:
    of = day(
        [case(wants(1, "T1"), code="A"), case(wants(2, "T1"), code="B", starts_at=START + minutes(90))], tray("T1")
    )
    found = cause(of, "B")
    assert found is not None
    assert (found.requirement, found.others) == (2, ("A",))
    assert found.sentence == "Tray T1 T1 serves case A first; it would be in time without."
    without = day([of.cases[1]], tray("T1"))
    assert without.judged()["B"].verdict in READY  # the counterfactual itself


def test_what_stands_against_the_set_is_the_cause_where_nobody_holds_it() -> None:
    of = day([case(wants(1, "T1"), wants(2, key="part:ST"), code="A")], tray("T1", stops=(stopped("expired"),)))
    found = cause(of, "A")
    assert found is not None
    assert found.sentence == "T1 has expired. 1 more of its needs is not met either."
    three = day([case(wants(1, "T1"), wants(2), wants(3), code="A")], tray("T1", stops=(stopped("expired"),)))
    assert "2 more of its needs are not met" in str(cause(three, "A"))


def test_needs_that_are_not_known_are_the_cause() -> None:
    found = cause(day([case(code="A")]), "A")
    assert found is not None
    assert found.sentence == "Case A has no needs recorded."


# What next


def test_a_free_set_in_time_comes_before_all_else_and_costs_nothing() -> None:
    of = day([case(wants(1), code="A")], tray("T1"), tray("T2", Stage.RETURNED))
    best = first(of)
    assert (best.candidate.way, best.candidate.change.chosen) == (Way.USE, ((1, "T1"),))
    assert (best.ready, best.costs, best.after.verdict, best.by_click) == (True, (), Readiness.COMPLETE, True)
    assert first(of).key == best.key  # the same day, the same key


def test_a_set_that_serves_another_is_taken_only_at_a_price_that_is_told() -> None:
    of = day([case(wants(1), code="A"), case(wants(2, "T1"), code="B", starts_at=START + minutes(90))], tray("T1"))
    (found,) = remedies(of, "A")
    assert [cost.words for cost in found.harms] == ["case B is then late"]
    assert (found.ready, found.helps_day, found.costs[0].breaks) == (True, False, True)


def test_a_fix_that_takes_no_other_readiness_is_ranked_first() -> None:
    others = [case(wants(2, "T1"), code="B", starts_at=START + minutes(90))]
    of = day([case(wants(1, "T2"), code="A"), *others], tray("T1"), tray("T2", stops=(stopped("expired", "T2"),)))
    far = replace(of, cases=tuple(replace(one, starts_at=one.starts_at + timedelta(days=1)) for one in of.cases))
    found = remedies(far, "A")
    assert ways(found)[0] is Way.WASH
    assert [bool(row.harms) for row in found] == sorted(bool(row.harms) for row in found)


def test_two_cases_exchange_sets() -> None:
    late = tray("T2", Stage.RETURNED)
    of = day(
        [case(wants(1, "T2"), code="A", starts_at=NOW + minutes(60)), case(wants(2, "T1"), code="B", starts_at=START)],
        tray("T1"),
        late,
    )
    found = first(of, way=Way.SWAP_SETS)
    assert found.candidate.change.chosen == ((1, "T1"), (2, "T2"))
    assert found.ready
    assert found.gained_min > 0
    assert [cost.worse for cost in found.costs] == [False]  # B is ready later, still in time
    assert "min later, still in time" in found.costs[0].words


def test_two_cases_of_a_theatre_exchange_times_where_neither_runs_into_another() -> None:
    early, later = NOW + minutes(60), START
    cases = [case(wants(1, "T2"), code="A", starts_at=early), case(wants(2, "T1"), code="B", starts_at=later)]
    of = day(cases, tray("T1"), tray("T2", Stage.RETURNED), rooms=ROOMS)
    found = first(of, way=Way.SWAP_TIMES)
    assert found.ready
    assert dict(found.candidate.change.starts) == {"A": later, "B": early}
    between = case(wants(3, "T3"), code="C", starts_at=early + minutes(70))
    crowded = replace(of, cases=(*of.cases, replace(between, duration_min=100)), rooms={**ROOMS, "C": "1"})
    assert ("A", "B") in [row.candidate.ids for row in remedies(crowded, "A")]
    long = replace(crowded, cases=(cases[0], replace(cases[1], duration_min=90), between))
    assert ("A", "B") not in [row.candidate.ids for row in remedies(long, "A")]
    begun = replace(of, rooms={"A": "1"})
    assert Way.SWAP_TIMES not in ways(remedies(begun, "A"))


def test_a_pack_past_its_shelf_life_is_washed_where_that_is_in_time() -> None:
    of = day([case(wants(1, "T1"), code="A")], tray("T1", stops=(stopped("expired"),)))
    found = first(of)
    assert (found.candidate.way, found.candidate.who, found.ready) == (Way.WASH, Who.HANDS, True)
    soon = day([case(wants(1, "T1"), code="A", starts_at=NOW + minutes(60))], *of.sets.values())
    assert not first(soon).ready  # it is late then, which is less than short


def test_pieces_that_lie_elsewhere_complete_a_tray_and_the_one_that_gives_is_short() -> None:
    lacks = stopped("piece-lacks")
    cases = [case(wants(1, "T1"), code="A"), case(wants(2, "T2"), code="B", starts_at=START + minutes(90))]
    sets = (tray("T1", Stage.INSPECTED, stops=(lacks,)), tray("T2", Stage.INSPECTED))
    of = day(cases, *sets, moves={"T1": Moves(("P9",), (("P1", "T2"), ("P2", "")))})
    found = first(of, way=Way.BORROW)
    assert found.candidate.sentence == "Have Tray T1 T1 completed: take P9 off it, put P1 from Tray T2, P2 on it."
    assert (found.ready, [cost.words for cost in found.harms]) == (True, ["case B is then short"])
    other = day(cases, tray("T1", Stage.INSPECTED, stops=(stopped("no-version"),)), sets[1], moves=of.moves)
    assert Way.BORROW not in ways(remedies(other, "A"))


def test_a_load_that_has_cooled_is_decided_on_by_a_moment() -> None:
    since = NOW - minutes(TIMES.cooling_min)
    starts_at = TIMES.on_table(NOW + minutes(TIMES.release_min)) - minutes(1)
    of = day([case(wants(1, "T1"), code="A", starts_at=starts_at)], tray("T1", Stage.AWAITING_RELEASE, since=since))
    found = first(of)
    assert (found.candidate.way, found.candidate.who, found.ready) == (Way.RELEASE, Who.HANDS, True)
    assert "Never before its indicators are read." in found.candidate.sentence
    warm = day(list(of.cases), tray("T1", Stage.AWAITING_RELEASE, since=NOW))
    assert Way.RELEASE not in ways(remedies(warm, "A"))


def test_a_load_that_starts_before_it_is_full_gains_the_wait_and_costs_a_cycle() -> None:
    filling = replace(TIMES, fill_min=30)
    starts_at = TIMES.on_table(NOW + minutes(95 + 10))  # assembled: 95 min are left, and 30 until the load is full
    of = replace(
        day([case(wants(1, "T1"), code="A", starts_at=starts_at)], tray("T1", Stage.ASSEMBLED)), times=filling
    )
    found = first(of, way=Way.START)
    assert (found.candidate.who, found.ready, found.gained_min) == (Who.HANDS, True, 20)
    assert found.candidate.sentence == (
        f"Have the next steriliser load with Tray T1 T1 started by {NOW + minutes(10):%H:%M}, full or not."
    )
    assert "A cycle that could have held more" in found.candidate.price
    runs = replace(of, sets={"T1": tray("T1", Stage.IN_STERILISER, since=NOW)})
    assert Way.START not in ways(remedies(runs, "A"))
    at_once = replace(of, times=TIMES)
    assert remedies(at_once, "A") == ()  # where loads wait for nothing, it is in time


def test_an_implant_load_goes_out_early_only_by_the_form_which_is_no_press() -> None:
    slow = replace(TIMES, biological_min=1440)
    held = tray("T1", Stage.AWAITING_RELEASE, since=NOW - minutes(20), held=True, load="L1")
    of = replace(day([case(wants(1, "T1"), code="A")], held), times=slow)
    found = first(of, way=Way.EXCEPTION)
    assert (found.candidate.who, found.by_click, found.ready) == (Who.PERSON, False, True)
    assert found.gained_min > 0
    assert "only by the form" in found.candidate.sentence
    assert "second person" in found.candidate.sentence
    assert "flagged until it is read" in found.candidate.price
    assert Way.RELEASE not in ways(remedies(of, "A"))
    known = replace(of, sets={"T1": replace(held, held=False)})
    assert remedies(known, "A") == ()


def test_an_implant_is_replaced_by_a_named_neighbour_only_as_a_person_decides_and_a_loan_is_called_for() -> None:
    planned = wants(1, key="part:ST-9")
    named = wants(2, "K2", key="part:ST", essential=False)
    of = day([case(planned, named, code="A")], pack("K2"))
    found = remedies(of, "A")
    assert ways(found) == [Way.NEIGHBOUR, Way.LOAN]
    assert [row.candidate.who for row in found] == [Who.PERSON, Who.OUTSIDE]
    assert [row.by_click for row in found] == [False, True]
    unnamed = day([case(planned, code="A")], pack("K2"))
    assert ways(remedies(unnamed, "A")) == [Way.LOAN]
    gone = day([case(planned, named, code="A")], pack("K2", stops=(stopped("expired", "K2"),)))
    assert ways(remedies(gone, "A")) == [Way.LOAN]


def test_a_tray_on_loan_passes_the_whole_loop_here() -> None:
    far = [case(wants(1), code="A", starts_at=START + timedelta(days=2))]
    assert first(day(far)).ready
    assert not remedies(day([case(wants(1), code="A", starts_at=NOW + minutes(30))]), "A")[0].ready


def test_only_the_pieces_that_lack_are_called_for_where_they_are_all_that_does() -> None:
    lacking = [replace(stopped("piece-lacks", name), numbers={"lacking": n}) for name, n in (("Cap", 2), ("Lead", 1))]
    of = day([case(wants(1, "T1"), code="A")], tray("T1", Stage.INSPECTED, stops=tuple(lacking)))
    found = first(of, way=Way.LOAN)
    assert found.candidate.sentence.startswith("Call for a loan or a delivery: 2 × Cap, 1 × Lead, here by ")
    assert found.after.needs[0].ready_at == ready_at(Stage.RETURNED, now=NOW, times=TIMES)
    closed = replace(of, sets={"T1": replace(of.sets["T1"], closed=True)})
    assert ": 1 × Adult tray, here by " in first(closed, way=Way.LOAN).candidate.sentence
    worn = day(list(of.cases), tray("T1", Stage.INSPECTED, stops=(*lacking, stopped("no-version"))))
    assert ": 1 × Adult tray, here by " in first(worn, way=Way.LOAN).candidate.sentence


def test_what_others_are_called_for_comes_after_what_the_unit_can_do_itself() -> None:
    later = case(wants(2, "T1"), wants(3, key="part:ST"), code="B", starts_at=START + timedelta(days=1, minutes=90))
    of = day([case(wants(1, "T2"), code="A", starts_at=START + timedelta(days=1)), later], tray("T1"),
             tray("T2", Stage.INSPECTED, stops=(stopped("piece-lacks", "Cap"),)))  # fmt: skip
    assert ways(remedies(of, "A"))[:2] == [Way.USE, Way.SWAP_SETS]  # each leaves more against B, which is short anyway
    assert Way.LOAN in ways(remedies(of, "A"))


def test_what_another_day_was_promised_and_packs_that_are_taken_are_left() -> None:
    assert Way.USE not in ways(remedies(day([case(wants(1), code="A")], tray("T1"), promised=frozenset({"T1"})), "A"))
    cases = [case(wants(1, key="part:ST"), code="A"), case(wants(2, "K1", key="part:ST"), code="B")]
    assert Way.USE not in ways(remedies(day(cases, pack("K1")), "A"))


def test_more_against_a_case_that_was_not_ready_anyway_is_told() -> None:
    later = START + minutes(90)
    lacking = case(wants(2, "T1"), wants(3, key="part:ST"), code="B", starts_at=later)
    of = day([case(wants(1), code="A"), lacking], tray("T1"))
    (found,) = remedies(of, "A")
    assert found.costs[0].words == "more stands against case B, which is short"
    assert (found.costs[0].breaks, found.helps_day) == (False, True)


def test_a_late_case_that_gets_later_is_told() -> None:
    at = START + minutes(90)
    three = [
        case(wants(n, "T1" if n > 1 else ""), code=code, starts_at=at + minutes(30 * n))
        for n, code in ((1, "A"), (2, "B"), (3, "C"))
    ]
    of = day(three, tray("T1", Stage.IN_USE, free_at=NOW))
    told = [cost.words for row in remedies(of, "A") for cost in row.costs]
    assert any(words.endswith("min later") for words in told), told


# Guarantees


def random_day(seed: int) -> Day:
    dice = random.Random(seed)
    stages = [Stage.STERILE, Stage.AWAITING_RELEASE, Stage.ASSEMBLED, Stage.RETURNED]
    sets = [
        tray(f"T{n}", dice.choice(stages), stops=(stopped("expired"),) if dice.random() < 0.2 else ())
        for n in range(3)
    ]
    cases = [
        case(
            wants(n, dice.choice(["", "T0", "T1", "T2"])),
            code=code,
            starts_at=NOW + minutes(dice.randrange(60, 600, 15)),
        )
        for n, code in enumerate("ABC")
    ]
    return day(cases, *sets)


@pytest.mark.parametrize("seed", range(40))
def test_pressing_one_fix_after_the_other_ends_with_less_against_the_day_each_time(seed: int) -> None:
    of = random_day(seed)
    for _ in range(30):
        offers = [row for code in "ABC" for row in remedies(of, code) if row.by_click and row.helps_day]
        if not offers:
            break
        changed = offers[0].candidate.change.of(of)
        assert {code: row.verdict for code, row in changed.judged().items()} == offers[0].promised
        assert measure(changed, changed.judged()) < measure(of, of.judged())
        of = changed
    assert not offers


@pytest.mark.parametrize("seed", range(40))
def test_if_one_choice_of_a_set_makes_a_case_ready_at_no_cost_the_first_fix_makes_it_ready(seed: int) -> None:
    """Against trying every set by hand."""
    of = random_day(seed)
    before = of.judged()
    for one, code in enumerate("ABC"):
        found = remedies(of, code)
        for chosen, *_ in permutations(of.sets, 1):
            cases = list(of.cases)
            cases[one] = replace(cases[one], needs=(replace(cases[one].needs[0], chosen=chosen),))
            after = replace(of, cases=tuple(cases)).judged()
            kept = all(after[other].verdict in READY or before[other].verdict not in READY for other in "ABC")
            if before[code].verdict not in READY and after[code].verdict in READY and kept:
                assert found[0].ready
                assert not any(cost.breaks for cost in found[0].costs)
