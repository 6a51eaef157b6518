"""A notice that nobody takes on climbs, once and one rung at a time; an acknowledged one rests, a closed one stays."""

from __future__ import annotations

from datetime import timedelta

import pytest

from journal.actions import Concern, acknowledge, tell
from journal.ladder import Patience, rung_due
from journal.models import Notice, PolicySetting
from journal.roles import Role
from journal.telling import climb
from tests import makers
from tests.makers import AT, at_once

MINUTE = timedelta(minutes=1)
PATIENCE = Patience({1: 30 * MINUTE, 2: 60 * MINUTE}, 120 * MINUTE)
WAITING = Concern("decision:L1", Role.TECHNICIAN, "Load L1 waits.")


@pytest.mark.parametrize(
    ("role", "rung", "minutes", "acknowledged", "due"),
    [
        (Role.TECHNICIAN, 0, 29, None, 0),
        (Role.TECHNICIAN, 0, 30, None, 1),
        (Role.TECHNICIAN, 0, 900, None, 1),
        (Role.TECHNICIAN, 1, 59, None, 1),
        (Role.TECHNICIAN, 1, 60, None, 2),
        (Role.TECHNICIAN, 2, 900, None, 2),
        (Role.COORDINATOR, 0, 59, None, 0),
        (Role.COORDINATOR, 0, 60, None, 2),
        (Role.QUALITY, 0, 900, None, 0),
        (Role.TECHNICIAN, 0, 139, 20, 0),
        (Role.TECHNICIAN, 0, 140, 20, 1),
    ],
)
def test_it_climbs_by_the_times_of_the_unit(
    role: Role, rung: int, minutes: int, acknowledged: int | None, due: int
) -> None:
    seen = None if acknowledged is None else AT + acknowledged * MINUTE
    at = AT + minutes * MINUTE
    assert rung_due(role, rung, since=AT, acknowledged_at=seen, at=at, patience=PATIENCE) == due


@pytest.mark.parametrize(("waits", "quiet"), [({1: MINUTE}, MINUTE), ({1: MINUTE, 2: -MINUTE}, MINUTE)])
def test_each_rung_needs_a_time(waits: dict[int, timedelta], quiet: timedelta) -> None:
    with pytest.raises(ValueError, match="each rung needs a time"):
        Patience(waits, quiet)


@pytest.mark.django_db
def test_a_notice_climbs_to_the_coordinator_then_to_the_lead_and_closes_with_its_cause() -> None:
    coordinator, lead = makers.person(Role.COORDINATOR), makers.person(Role.QUALITY)
    tell("decisions", [WAITING], at=AT)
    seen = []
    for minutes in (29, 30, 31, 89, 90, 900):
        climb(AT + minutes * MINUTE)
        seen.append([Notice.objects.shown_to(person).count() for person in (coordinator, lead)])
    assert seen == [[0, 0], [1, 0], [1, 0], [1, 0], [1, 1], [1, 1]]
    assert tell("decisions", [WAITING], at=AT + 901 * MINUTE) == (0, 0)
    assert tell("decisions", [], at=AT + 902 * MINUTE) == (0, 1)
    assert climb(AT + 903 * MINUTE) == 0
    assert Notice.objects.count() == 1


@pytest.mark.django_db
def test_an_acknowledged_notice_rests_for_the_time_of_the_policy() -> None:
    technician = makers.person(Role.TECHNICIAN)
    tell("decisions", [WAITING], at=AT)
    acknowledge(Notice.objects.get().pk, act=makers.act(technician, at=AT + 10 * MINUTE))
    assert climb(AT + 129 * MINUTE) == 0
    PolicySetting.objects.create(name="acknowledged_min", value=60, reason="test")
    assert climb(AT + 70 * MINUTE) == 1


@pytest.mark.django_db
def test_what_can_wait_for_a_working_day_does_not_climb() -> None:
    tell("stock", [WAITING], at=AT)
    assert climb(AT + 9000 * MINUTE) == 0


@pytest.mark.jobs
@pytest.mark.locking
@pytest.mark.django_db(transaction=True)
def test_eight_runs_at_once_let_it_climb_once() -> None:
    tell("decisions", [WAITING], at=AT)
    assert sum(at_once(*[lambda: climb(AT + 30 * MINUTE)] * 8)) == 1
    assert (Notice.objects.get().rung, Notice.objects.count()) == (1, 1)
