"""The worker is killed while it plans: the best plan so far is kept, and the worker started after makes the plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from lists import actions
from lists.models import DayPlanRow
from lists.states import PlanState
from tests.dying import Life, until, worker
from tests.lists import makers as m
from tests.lists.desk import fresh_pack, soon
from tests.test_jobs import now_act

pytestmark = [pytest.mark.jobs, pytest.mark.django_db(transaction=True)]


def test_a_plan_whose_worker_is_killed_is_kept_as_far_as_it_was_and_made_by_the_next(tmp_path: Path) -> None:
    m.case(m.tray_of(fresh_pack()).template, starts_at=soon())
    asked = DayPlanRow.objects.filter(pk=actions.ask_for_plan(timezone.localdate(soon()), act=now_act()).pk)
    life = Life(connection.settings_dict["NAME"], tmp_path, ["plans"])
    # Its row is changed as it is taken up, as the first plan is kept, and then as the search goes on.
    with worker(replace(life, dies_before=("make_plan: UPDATE lists_dayplanrow", 2))) as process:
        until(lambda: False, process)
    row = asked.get()
    assert row.state == PlanState.RUNNING
    assert row.result is not None
    assert row.result["plan"]["on_time_weight"] == 2
    # A worker that gives no sign for a minute is taken for dead: the minute is taken off.
    asked.update(alive_at=timezone.now() - timedelta(minutes=2))
    with worker(life) as process:
        until(lambda: asked.get().state == PlanState.DONE, process)
    assert (asked.get().fault, DayPlanRow.objects.count()) == ("", 1)
