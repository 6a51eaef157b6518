"""The life of a piece: what forbids packing it, and what is due soon."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from instruments.life import Wear, beyond_inspection, due_soon, fit_to_pack, single_use
from journal.findings import Finding, Severity

TODAY = date(2026, 11, 24)
DAY = timedelta(days=1)


def slugs(*findings: Finding) -> list[str]:
    return [finding.slug for finding in findings]


def test_a_piece_without_limits_may_always_be_packed() -> None:
    assert fit_to_pack(Wear("P1", cycles=100_000), TODAY) == ()
    assert due_soon(Wear("P1", cycles=100_000), TODAY, service_days=30, cycles_left=5) == ()


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"cycles": 49, "life_limit": 50}, []),
        ({"cycles": 50, "life_limit": 50}, ["life-limit-reached"]),
        ({"cycles": 51, "life_limit": 50}, ["life-limit-reached"]),
        ({"cycles": 0, "life_limit": 0}, ["life-limit-reached"]),
        ({"service_due": TODAY}, []),
        ({"service_due": TODAY - DAY}, ["service-overdue"]),
        ({"expires": TODAY}, []),
        ({"expires": TODAY - DAY}, ["expired"]),
        ({"function_ok": True, "needs_function_test": True}, []),
        ({"function_ok": False}, ["function-test-failed"]),
        ({"function_ok": False, "needs_function_test": True}, ["function-test-failed"]),
        ({"needs_function_test": True}, ["function-test-missing"]),
        ({"called_back": "L000007"}, ["wash-recalled"]),
        ({"insulation_ok": True, "needs_insulation_test": True}, []),
        ({"insulation_ok": False}, ["insulation-test-failed"]),
        ({"needs_insulation_test": True}, ["insulation-test-missing"]),
        (
            {
                "cycles": 9,
                "life_limit": 9,
                "service_due": TODAY - DAY,
                "expires": TODAY - DAY,
                "function_ok": False,
                "needs_insulation_test": True,
            },
            ["life-limit-reached", "service-overdue", "expired", "function-test-failed", "insulation-test-missing"],
        ),
    ],
)
def test_what_forbids_packing(fields: dict[str, Any], expected: list[str]) -> None:
    found = fit_to_pack(Wear("P1 (Forceps)", **fields), TODAY)
    assert slugs(*found) == expected
    assert {finding.severity for finding in found} <= {Severity.STOP}
    assert all(finding.sentence.startswith("Cannot pack P1 (Forceps): ") and finding.remedy for finding in found)


def test_an_inspection_may_still_bring_a_test_but_no_life() -> None:
    waiting: dict[str, Any] = {"needs_function_test": True, "needs_insulation_test": True}
    assert beyond_inspection(Wear("P1", **waiting), TODAY) == ()
    found = beyond_inspection(Wear("P1", cycles=50, life_limit=50, function_ok=False, **waiting), TODAY)
    assert [finding.slug for finding in found] == ["life-limit-reached", "function-test-failed"]


def test_the_figures_stand_in_the_sentence() -> None:
    (finding,) = fit_to_pack(Wear("P1", cycles=50, life_limit=50), TODAY)
    assert finding.sentence == "Cannot pack P1: it has seen 50 cycles, must be under 50."
    assert finding.numbers == {"cycles": 50, "life_limit": 50}


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"cycles": 44, "life_limit": 50}, []),
        ({"cycles": 45, "life_limit": 50}, ["life-ends-soon"]),
        ({"cycles": 60, "life_limit": 50}, ["life-ends-soon"]),
        ({"service_due": TODAY + 31 * DAY}, []),
        ({"service_due": TODAY + 30 * DAY}, ["service-due-soon"]),
        ({"service_due": TODAY - DAY}, ["service-due-soon"]),
    ],
)
def test_what_is_announced(fields: dict[str, Any], expected: list[str]) -> None:
    found = due_soon(Wear("P1", **fields), TODAY, service_days=30, cycles_left=5)
    assert slugs(*found) == expected
    assert {finding.severity for finding in found} <= {Severity.LOOK}


def test_cycles_left_never_go_below_nothing() -> None:
    (finding,) = due_soon(Wear("P1", cycles=60, life_limit=50), TODAY, service_days=0, cycles_left=0)
    assert finding.sentence == "P1 has 0 of 50 cycles left."


@pytest.mark.parametrize("fields", [{"cycles": -1}, {"life_limit": -1}])
def test_counts_below_nothing_are_refused(fields: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        Wear("P1", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("opened", "touched", "permission", "expected"),
    [
        (False, False, "", []),
        (True, False, "", ["single-use-opened"]),
        (True, False, "sheet 4", []),
        (True, True, "sheet 4", ["single-use-used"]),
        (True, True, "", ["single-use-used"]),
    ],
)
def test_never_9_in_words(*, opened: bool, touched: bool, permission: str, expected: list[str]) -> None:
    found = single_use("load", "K1", "Stent P1", opened=opened, touched_patient=touched, permission=permission)
    assert slugs(*found) == expected


def test_the_verb_and_what_holds_the_item_stand_in_the_sentence() -> None:
    (finding,) = single_use("load", "K1", "Stent P1", opened=True, touched_patient=True, permission="")
    assert finding.sentence == "Cannot load K1: Stent P1 is for single use and was used, must be new."
