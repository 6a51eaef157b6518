"""The unit's policies: defaults with their origin, own values with their reason."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from journal.models import PolicySetting
from journal.policies import POLICIES, Origin, checked
from journal.reads import policies, policy


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("running_gap_mm", 0.25, 0.25),
        ("running_gap_mm", 1, 1.0),
        ("shelf_life_days", 0, 0),
        ("immediate_use", True, True),
    ],
)
def test_a_value_of_the_right_kind_is_taken(name: str, value: Any, expected: Any) -> None:
    taken = checked(name, value)
    assert taken == expected
    assert type(taken) is type(POLICIES[name].default)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("shelf_life_days", 180.5, "must be of the kind int"),
        ("shelf_life_days", True, "must be of the kind int"),
        ("shelf_life_days", "180", "must be of the kind int"),
        ("shelf_life_days", None, "must be of the kind int"),
        ("running_gap_mm", True, "must be of the kind float"),
        ("immediate_use", 1, "must be of the kind bool"),
        ("shelf_life_days", -1, "must be 0 or more"),
        ("running_gap_mm", -0.1, "must be 0 or more"),
        ("favourite_colour", "blue", "it is not known"),
    ],
)
def test_any_other_value_is_refused_with_what_it_must_be(name: str, value: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        checked(name, value)


def test_every_default_would_itself_be_taken() -> None:
    assert all(checked(name, row.default) == row.default for name, row in POLICIES.items())


def test_what_is_published_names_its_source() -> None:
    assert all(row.source for row in POLICIES.values() if row.origin is Origin.PUBLISHED)


@pytest.mark.django_db
def test_the_units_own_value_wins_over_the_default() -> None:
    assert policy("shelf_life_days") == POLICIES["shelf_life_days"].default
    PolicySetting.objects.create(name="shelf_life_days", value=90, reason="unit's decision of spring")
    PolicySetting.objects.create(name="second_person_steriliser", value=False, reason="single staffing")
    assert policy("shelf_life_days") == 90
    assert policy("second_person_steriliser") is False
    assert policies() == {
        **{name: row.default for name, row in POLICIES.items()},
        "shelf_life_days": 90,
        "second_person_steriliser": False,
    }


@pytest.mark.django_db
def test_an_unknown_policy_is_a_fault_of_the_caller() -> None:
    with pytest.raises(KeyError):
        policy("favourite_colour")


def test_a_setting_is_checked_when_it_is_entered() -> None:
    setting = PolicySetting(name="running_gap_mm", value=1, reason="measured")
    setting.clean()
    assert type(setting.value) is float
    with pytest.raises(ValidationError, match="must be of the kind float"):
        PolicySetting(name="running_gap_mm", value="wide", reason="measured").clean()
