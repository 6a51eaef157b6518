"""Rows on what a machine draws on, its periodic tests, residual protein and unloading that the database refuses."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

from reprocessing import actions
from reprocessing.models import LoadPack, MachineLot, PeriodicResult, PeriodicTest, ProteinCheck
from reprocessing.states import MachineKind
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make

HOUR = timedelta(hours=1)


def lot(**wrong: Any) -> None:
    """A lot on a washer, changed."""
    washer = make.washer()
    actions.put_lot_in_use(washer.code, "Mild detergent", "L-1", act=act(at=AT - HOUR))
    MachineLot.objects.filter(machine=washer).update(**wrong)


def ended_lot(until: Any) -> None:
    """A lot that a person took off at a moment."""
    lot(until=until, until_by=makers.everybody())


def second_lot() -> None:
    """Another lot of a product beside the one in use; case does not matter."""
    washer = make.washer()
    for product in ("Mild detergent", "MILD detergent"):
        MachineLot.objects.create(machine=washer, product=product, lot="L", since=AT, since_by=makers.everybody())


def periodic(**wrong: Any) -> PeriodicTest:
    """A periodic test that the unit asks for, changed."""
    source = {"every_days": 7, "source": "unit policy"}
    key = actions.ask_periodic_test(MachineKind.WASHER, "Weekly safety checks", **source, act=act()).pk  # type: ignore[arg-type]
    PeriodicTest.objects.filter(pk=key).update(**wrong)
    return PeriodicTest.objects.get(pk=key)


def result(**wrong: Any) -> None:
    """A result of a periodic test."""
    fields = {"machine": make.washer(), "test": periodic(), "passed": True, "taken_at": AT, "at": AT, **wrong}
    PeriodicResult.objects.create(by=makers.everybody(), **fields)


def check(**wrong: Any) -> None:
    """A check of residual protein."""
    fields = {"piece": makers.piece(), "method": "swab", "passed": True, "at": AT, **wrong}
    ProteinCheck.objects.create(by=makers.everybody(), **fields)


def unloaded(condition: str, intact: bool | None) -> None:
    """A pack in a load as it was found on unloading."""
    make.running()
    LoadPack.objects.update(condition=condition, barrier_intact=intact)


BREAKS: dict[str, list[Callable[[], Any]]] = {
    "load_pack_condition_agrees": [
        partial(unloaded, "intact", intact=False),
        partial(unloaded, "intact", intact=None),
        partial(unloaded, "wet", intact=True),
        partial(unloaded, "torn", intact=None),
    ],
    "machine_lot_ended_by_name": [partial(lot, until=AT)],
    "machine_lot_ends_later": [partial(ended_lot, AT - 2 * HOUR)],
    "machine_lot_named": [partial(lot, product=""), partial(lot, lot="")],
    "machine_lot_one_of_a_product": [second_lot],
    "periodic_result_less_than_a_value": [partial(result, less_than=True)],
    "periodic_result_taken_before": [partial(result, taken_at=AT + HOUR)],
    "periodic_test_about_known": [partial(periodic, about="air")],
    "periodic_test_ended_by_name": [partial(periodic, ended_at=AT)],
    "periodic_test_has_period": [partial(periodic, every_days=0)],
    "periodic_test_kind_known": [partial(periodic, kind="oven")],
    "periodic_test_limits_have_unit": [partial(periodic, most=1.0), partial(periodic, unit="pH")],
    "periodic_test_limits_in_order": [partial(periodic, unit="pH", least=2.0, most=1.0)],
    "periodic_test_named_with_source": [partial(periodic, name=""), partial(periodic, source="")],
    "protein_check_has_method": [partial(check, method="")],
    "protein_check_measured_against_limit": [
        partial(check, ug_per_side=1.0),
        partial(check, limit_ug=5.0),
        partial(check, ug_per_side=-1.0, limit_ug=5.0),
    ],
}
