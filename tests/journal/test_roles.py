"""Who may do what."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from journal.models import Duty, Person
from journal.roles import RIGHTS, Right, Role
from tests import makers


def test_every_role_has_its_rights_and_every_right_its_role() -> None:
    assert set(RIGHTS) == set(Role)
    assert frozenset().union(*RIGHTS.values()) == set(Right)


def test_decisions_and_master_data_lie_with_the_quality_lead_alone() -> None:
    for right in (Right.DECIDE, Right.MASTER):
        assert [role for role in Role if right in RIGHTS[role]] == [Role.QUALITY]


def test_never_3_whoever_only_builds_loads_does_not_release_them() -> None:
    assert {role for role in Role if Right.RELEASE in RIGHTS[role]} == {Role.RELEASER, Role.QUALITY}


@pytest.mark.django_db
def test_a_person_holds_the_rights_of_all_duties() -> None:
    both = makers.person(Role.NURSE, Role.COORDINATOR)
    assert both.roles == {Role.NURSE, Role.COORDINATOR}
    assert both.rights == RIGHTS[Role.NURSE] | RIGHTS[Role.COORDINATOR]


@pytest.mark.django_db
def test_without_a_duty_there_is_no_right_save_for_whoever_sets_the_unit_up() -> None:
    assert makers.person().rights == frozenset()
    assert Person.objects.create_superuser(username="root").rights == frozenset(Right)


@pytest.mark.django_db
def test_a_person_is_called_by_name_or_else_by_sign_in() -> None:
    assert str(makers.person(name="Technician 2")) == "Technician 2"
    assert str(Person(username="tech2")) == "tech2"


@pytest.mark.storage
@pytest.mark.django_db
@pytest.mark.parametrize("role", ["surgeon", str(Role.NURSE)])
def test_the_database_keeps_each_duty_once_and_knows_no_other_role(role: str) -> None:
    nurse = makers.person(Role.NURSE)
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty.objects.create(person=nurse, role=role)
