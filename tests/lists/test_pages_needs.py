"""The page of what is asked for, and what a case's page says and does of its own needs."""

from __future__ import annotations

import pytest
from django.urls import reverse

from journal.roles import Role
from lists import actions
from lists.models import Case, NeedsVersion, StandingSet
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, send, signed_in, soon
from tests.makers import act

pytestmark = pytest.mark.django_db


def test_needs_and_standing_sets_are_stated_on_the_page() -> None:
    quality = signed_in(Role.QUALITY)
    template, kind = makers.template(), m.procedure()
    page = quality.read(reverse("needs"))
    assert f"{kind} needs nothing yet." in page
    page = send(quality, "state-needs", procedure=kind.code, needs=f"template:{template.code}\r\n\r\nimplant:1:1")
    assert "planned implant, 1 below and 1 above" in page
    page = send(quality, "state-needs", operator="OP-2", needs=f"template:{template.code}:2")
    page = send(quality, "state-needs", operator="OP-2", needs="")
    assert "every procedure" in page
    assert "1 older version" in page
    assert NeedsVersion.objects.count() == 3
    page = send(
        quality,
        "keep-standing",
        template=template.code,
        minimum="2",
        from_time="07:00",
        until_time="17:00",
        otherwise="1",
    )
    assert f"At least 2 × {template} from 07:00 to 17:00, else 1" in page
    assert "Needs" in send(quality, "state-needs", needs="x" * 3, procedure="NOWHERE")
    assert "Set" in send(quality, "keep-standing", minimum="2")
    assert StandingSet.objects.count() == 1


def test_who_plans_reads_what_is_asked_for_and_does_not_state_it() -> None:
    page = coordinator().read(reverse("needs"))
    assert "Stating needs takes the right to master data." in page
    assert "No operator asks for more." in page


def test_a_case_says_where_each_need_comes_from_and_renews_or_drops_it() -> None:
    template, more = makers.template(), makers.part()
    size = makers.series("7.0").sizes.get()
    kind = m.procedure()
    actions.state_needs((f"template:{template.code}", f"sizes:{size.series.code}:0:0"), procedure=kind.code, act=act())
    code = actions.plan_case(
        "R-1", m.theatre().code, kind.code, soon(), 60, planned_size="7.0", operator="OP-9", act=act()
    ).mark
    actions.state_needs((f"template:{template.code}", f"backup:{more.code}"), procedure=kind.code, act=act())
    desk = coordinator()
    page = desk.read(reverse("case", args=[code]))
    assert "From procedure" in page
    assert f"{size.series.name} 7.0" in page
    assert "In force: procedure, version 2." in page
    page = send(desk, "renew-needs", code)
    assert "the case can begin without it" in page
    assert "In force" not in page
    page = send(desk, "add-requirement", code, part=more.code, reason="narrow airway")
    assert "added by hand: narrow airway" in page
    row = m.need(Case.objects.get(code=code))
    assert "Why" in send(desk, "remove-requirement", row.pk)
    assert "Took a need off" in send(desk, "remove-requirement", row.pk, reason="not needed")
