"""The evidence for a decision, row by row, on plain values."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from reprocessing import checklist
from reprocessing.checklist import Check, Read
from reprocessing.judgement import EvidenceRow, Judgement
from reprocessing.states import IndicatorKind, Result

SEEN = ("Technician 1", datetime(2026, 11, 24, 10, tzinfo=UTC))
LATER = datetime(2026, 11, 25, 10, tzinfo=UTC)


def read(kind: str, result: str, who: str = "", when: datetime | None = None) -> Read:
    return Read(IndicatorKind(kind), "LOT 7", Result(result), who, when)


def stops(*checks: Check) -> list[str]:
    return [finding.slug for finding in checklist.release_stops("L1", checks)]


def record(*, met: bool | None) -> dict[str, object]:
    rows = (
        EvidenceRow("hold", "Hold", "2min", "at least 3min", met),
        EvidenceRow("f0", "F0", "9", "Information only", None, decides=False),
    )
    return Judgement("steam", rows, (), {}, "source", confirm_locally=False).as_dict()


def test_a_record_within_limits() -> None:
    check = checklist.trace_check(record(met=True), seen=SEEN)
    assert (check.row.met, check.row.value, (check.who, check.when)) == (True, "Numbers within limits", SEEN)
    assert stops(check) == []


def test_a_record_outside_limits_names_what_is() -> None:
    check = checklist.trace_check(record(met=False))
    assert check.row.value == "Not within limits (Hold 2min)"
    assert stops(check) == ["trace-failed"]


def test_a_record_that_does_not_show_something_is_not_within_limits() -> None:
    assert stops(checklist.trace_check(record(met=None))) == ["trace-failed"]


def test_no_record_is_not_a_pass() -> None:
    check = checklist.trace_check(None)
    assert check.row.value == "Not recorded"
    assert stops(check) == ["trace-missing"]


@pytest.mark.parametrize(("recorded", "found"), [(True, []), (False, ["dosing-failed"]), (None, ["dosing-missing"])])
def test_dosing(recorded: bool | None, found: list[str]) -> None:
    assert stops(checklist.dosing_check(recorded)) == found


@pytest.mark.parametrize(
    ("results", "found"),
    [
        ([], ["chemical-indicator-missing"]),
        (["waiting"], ["chemical-indicator-missing"]),
        (["passed", "waiting"], ["chemical-indicator-missing"]),
        (["passed", "failed"], ["chemical-indicator-failed"]),
        (["passed", "passed"], []),
    ],
)
def test_chemical_indicators(results: list[str], found: list[str]) -> None:
    reads = [read("chemical", result) for result in results]
    assert stops(checklist.chemical_check([*reads, read("biological", "failed")])) == found


@pytest.mark.parametrize(
    ("results", "implant", "signed", "found"),
    [
        ([], True, False, ["biological-indicator-missing"]),
        ([], True, True, ["biological-indicator-missing"]),
        (["waiting"], True, False, ["biological-indicator-missing"]),
        (["waiting"], True, True, []),
        (["failed"], True, True, ["biological-indicator-failed"]),
        (["passed"], True, False, []),
        (["waiting"], False, False, []),
        (["failed"], False, False, ["biological-indicator-failed"]),
    ],
)
def test_biological_indicators(results: list[str], implant: bool, signed: bool, found: list[str]) -> None:
    reads = [read("biological", result) for result in results]
    assert stops(checklist.biological_check(reads, holds_implant=implant, form_signed=signed)) == found


def test_the_last_reading_signs_the_row() -> None:
    reads = [read("chemical", "passed", "B", LATER), read("chemical", "passed", "A", SEEN[1])]
    check = checklist.chemical_check(reads)
    assert (check.who, check.when) == ("B", LATER)
    assert check.row.value == "passed (lot LOT 7), passed (lot LOT 7)"


@pytest.mark.parametrize(
    ("barriers", "ended", "value", "found"),
    [
        ([True, True], {}, "2 dry and whole", []),
        ([True], {"K2": "wet", "K1": "dropped"}, "1 dry and whole; ended: K1 dropped, K2 wet", []),
        ([], {}, "No wrapped pack", []),
        ([True, None], {}, "Not recorded", ["condition-missing"]),
    ],
)
def test_condition(barriers: list[bool | None], ended: dict[str, str], value: str, found: list[str]) -> None:
    check = checklist.condition_check(barriers, ended)
    assert check.row.value == value
    assert stops(check) == found


def test_who_built_it_informs_only() -> None:
    check = checklist.second_person_check(["A", "B"], wanted=True)
    assert check.row.value == "A, B"
    assert stops(check) == []
    assert checklist.second_person_check([], wanted=False).row.value == "Not recorded"


def test_an_undecided_doubt_forbids() -> None:
    assert stops(checklist.doubt_check([])) == []
    assert stops(checklist.doubt_check(["air leakage failed"])) == ["doubt-failed"]


def test_a_stop_says_what_was_found_and_what_it_must_be() -> None:
    (missing,) = checklist.release_stops("L1", [checklist.trace_check(None)])
    assert missing.words == (
        "Cannot release L1: the cycle record is not recorded, must be every number within limits. "
        "Complete the evidence."
    )


def test_a_check_as_plain_values() -> None:
    plain = checklist.dosing_check(recorded=True, seen=SEEN).as_dict()
    assert plain["when"] == "2026-11-24T10:00:00+00:00"
    assert (plain["who"], plain["verdict"], plain["slug"]) == ("Technician 1", "Within limits", "dosing")
    assert checklist.trace_check(None).as_dict()["when"] is None


def test_the_evidence_in_one_sentence() -> None:
    missing = [checklist.trace_check(None), checklist.chemical_check([])]
    told = "Numbers within limits: not recorded; missing: Cycle record, Chemical indicator."
    assert checklist.summary(missing) == told
    failed = [checklist.trace_check(record(met=False)), checklist.dosing_check(recorded=None)]
    assert checklist.summary(failed) == "Numbers within limits: no; missing: Phase and dosing record."
    passed = [checklist.second_person_check([], wanted=True), checklist.trace_check(record(met=True))]
    assert checklist.summary(passed) == "Numbers within limits: yes; missing: nothing."
