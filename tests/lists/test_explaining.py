"""Why a case is late: each cause once by hand, and by trial that without it the plan is no worse."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.lists.days import SMALL_DAY, Document, invented_day
from tests.lists.test_plan import planned

DIRTY = {"id": 0, "template": 0, "site": 0, "state": "dirty", "free_at_min": 0}
CASE = {"id": 0, "site": 0, "start_min": 300, "duration_min": 60, "weight": 1, "accepts": [0]}


def day(*trays: Document, cases: list[Document] | None = None, **changes: Any) -> Document:
    """One case at 300 (deadline 275); a dirty tray alone takes 10 + 75 (washer free at 40) + 15 + 50 + 30 = 210 min
    from the washer on."""
    numbered = [{**tray, "id": number} for number, tray in enumerate(trays)]
    return {**copy.deepcopy(SMALL_DAY), "trays": numbered, "cases": cases or [CASE], **changes}


def cause(document: Document, case: int = 0) -> tuple[str | None, str]:
    entry = planned(document)["cases"][case]
    return entry["why"], entry["detail"] or ""


IMPLANT = {"id": 3, "template": 3, "site": 0, "state": "in_steriliser", "free_at_min": 100}
QUEUED = [{**CASE, "id": number, "start_min": 245, "weight": 2 - number} for number in range(2)]


@pytest.mark.parametrize(
    ("document", "why", "said"),
    [
        (day(), "no_tray_of_template", "There is no tray of a template"),
        (day({**DIRTY, "state": "quarantined", "free_at_min": None}), "all_quarantined", "All 1 trays"),
        (day({**DIRTY, "state": "quarantined", "free_at_min": 300}), "all_quarantined", "is free 25 min too late."),
        (
            day(IMPLANT, cases=[{**CASE, "accepts": [3]}]),
            "bi_hold",
            "tray 0, alone, is sterile at minute 280, 5 min too late; without the hold for implants (150 min)",
        ),
        (day({**DIRTY, "state": "on_loan", "free_at_min": 120}), "loan_return", "comes back from loan at minute 120"),
        (day({**DIRTY, "state": "on_loan", "free_at_min": None}), "loan_return", "nobody knows when it comes back."),
        (
            day(DIRTY, cases=[{**CASE, "start_min": 200}]),
            "chain_too_long",
            "the best, tray 0, alone, is sterile at minute 210, 35 min too late.",
        ),
        (
            day(DIRTY, sites=[{**SMALL_DAY["sites"][0], "washers_free_at_min": []}]),
            "chain_too_long",
            "No tray of an accepted template has a bench and a machine",
        ),
    ],
)
def test_what_stands_in_the_way_of_the_case_alone(document: Document, why: str, said: str) -> None:
    found, detail = cause(document)
    assert found == why
    assert said in detail


def test_the_cases_that_hold_the_trays_are_named() -> None:
    document = day(DIRTY, cases=[{**CASE, "id": 7, "weight": 5}, CASE])
    assert cause(document, 1) == (
        "trays_taken", "Trays that alone would be in time: 0. They serve the cases 7.",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("change", "why", "said"),
    [
        (
            {"steriliser_capacity": 1},
            "queue_steriliser",
            "queues for 80 min, 35 of them at the stage steriliser, and is 40 min",
        ),
        ({"washer_capacity": 1}, "queue_washer", "of them at the stage washer, and is"),
    ],
)
def test_the_stage_with_the_longest_wait_is_named(change: Document, why: str, said: str) -> None:
    """Two trays, each of which alone would be sterile at 210 with a deadline of 220; one machine takes one at once."""
    found, detail = cause(day(DIRTY, DIRTY, cases=QUEUED, sites=[{**SMALL_DAY["sites"][0], **change}]), 1)
    assert found == why
    assert said in detail


def test_a_case_that_counts_nothing_may_be_late_beside_a_free_tray() -> None:
    """The tray stands on the shelf; to use it would cost the slack of nobody, so nothing stands in the way."""
    document = day({**DIRTY, "state": "sterile"}, cases=[{**CASE, "weight": 0}])
    assert planned(document)["on_time_weight"] == 0


def without(document: Document, entry: Document) -> Document:
    """The day without what is named as the cause."""
    day = copy.deepcopy(document)
    case = next(case for case in day["cases"] if case["id"] == entry["case"])
    trays = [tray for tray in day["trays"] if tray["template"] in case["accepts"]]
    spare = {"id": len(day["trays"]), "template": case["accepts"][0], "site": case["site"], "state": "sterile"}
    if entry["why"] in {"no_tray_of_template", "trays_taken"}:
        day["trays"].append(spare)
    elif entry["why"] == "bi_hold":
        day["implant_hold_min"] = 0
    elif entry["why"].startswith("queue_"):
        for site in day["sites"]:
            name = PLACES[entry["why"].removeprefix("queue_")]
            site[name] *= 2  # twice the benches, or each machine twice
    else:
        now = {"all_quarantined": {"state": "sterile"}, "chain_too_long": {"state": "cleaned"}}.get(entry["why"], {})
        for tray in trays:
            tray.update(now, free_at_min=0)
    if entry["why"] == "chain_too_long":
        day["programme_min"] = dict.fromkeys(day["programme_min"], 0)
    return day


PLACES = {
    "preclean": "preclean_benches", "washer": "washers_free_at_min",
    "assembly": "assembly_benches", "steriliser": "sterilisers_free_at_min",
}  # fmt: skip
ALONE = {"no_tray_of_template", "all_quarantined", "bi_hold", "loan_return", "chain_too_long"}


@pytest.mark.parametrize("seed", range(1, 10))
def test_without_the_cause_the_plan_is_no_worse_and_the_case_alone_is_on_time(seed: int) -> None:
    document = invented_day(12, seed, share=0.6)
    for case in document["cases"][::3]:
        case["start_min"] -= 240  # so early that not every tray can be ready
    plan = planned(document, seconds=3.0)
    late = [entry for entry in plan["cases"] if not entry["on_time"]]
    assert late
    for entry in late:
        changed = without(document, entry)
        assert planned(changed, seconds=3.0)["on_time_weight"] >= plan["on_time_weight"]
        if entry["why"] in ALONE:
            alone = [case for case in changed["cases"] if case["id"] == entry["case"]]
            assert planned({**changed, "cases": alone})["cases"][0]["on_time"]


@pytest.mark.parametrize("until_min", [700, 100_000])
def test_what_is_late_because_it_is_closed_is_on_time_when_it_is_open(until_min: int) -> None:
    case = {**SMALL_DAY["cases"][0], "start_min": 600, "accepts": [0]}
    site = SMALL_DAY["sites"][0]
    closed = [[{"start_min": 100, "end_min": until_min}]]
    day = {
        **SMALL_DAY,
        "cases": [case],
        "trays": SMALL_DAY["trays"][:1],
        "sites": [{**site, "washers_closed": closed}],
    }
    assert planned(day)["cases"][0]["why"] == "closed_time"
    assert planned({**day, "sites": [site]})["cases"][0]["on_time"]
