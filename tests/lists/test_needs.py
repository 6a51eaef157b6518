"""Needs by version, the case that is expanded by them, what it asks for beside it, and standing sets by the hour."""

from __future__ import annotations

from datetime import time
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from instruments.models import Size
from journal.roles import Role
from lists import actions
from lists.models import Case, CaseLine, NeedsVersion, Procedure, Requirement, SizeWanted, StandingSet, StatedNeed
from lists.reads import newer_needs
from tests import makers
from tests.lists import makers as m
from tests.lists.makers import START
from tests.makers import act, refused

pytestmark = pytest.mark.django_db


def procedure(code: str = "BRO") -> Procedure:
    return Procedure.objects.get_or_create(code=code, defaults={"name": "Bronchoscopy"})[0]


def state(*needs: str, **of: Any) -> NeedsVersion:
    done = actions.state_needs(needs, **{"procedure": procedure().code, **of}, act=act())
    return NeedsVersion.objects.get(pk=done.pk)


def plan(reference: str = "R-1", **fields: Any) -> Case:
    done = actions.plan_case(reference, m.theatre().code, procedure().code, START, 60, **fields, act=act())
    return Case.objects.get(code=done.mark)


def sources(case: Case) -> list[tuple[str, str, bool]]:
    return [(row.wanted.code, row.source, row.essential) for row in case.requirements.all()]


def a_size() -> Size:
    return makers.series("7.0").sizes.get()


# Stating


def test_a_change_of_needs_is_a_new_version_and_the_old_one_stays() -> None:
    template, part = makers.template(), makers.part()
    first = state(f"template:{template.code}")
    assert state(f"template:{template.code}") == first
    second = state(f"template:{template.code}", f"backup:{part.code}:2")
    assert (first.number, second.number) == (1, 2)
    assert [str(need) for need in second.needs.all()] == [f"1 × {template}", f"2 × {part}, backup"]
    assert [str(need) for need in first.needs.all()] == [f"1 × {template}"]
    assert str(second) == "procedure, version 2"


def test_versions_are_never_changed() -> None:
    version = state(f"part:{makers.part().code}")
    for rows in (NeedsVersion.objects.all(), StatedNeed.objects.all()):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.delete()
    assert version.needs.count() == 1


def test_sizes_and_implants_are_stated_in_words() -> None:
    series = makers.series()
    version = state(f"sizes:{series.code}:1:2", "implant:1:0")
    assert [str(need) for need in version.needs.all()] == [
        f"planned size of {series}, 1 below and 2 above",
        "planned implant, 1 below and 0 above",
    ]


def test_what_an_operator_asks_for_has_versions_of_its_own_and_can_be_withdrawn() -> None:
    part = makers.part()
    everywhere = state(f"part:{part.code}", procedure="", operator="OP-2")
    here = state(f"part:{part.code}", operator="OP-2")
    gone = state(procedure="", operator="OP-2")
    assert [version.number for version in (everywhere, here, gone)] == [1, 1, 2]
    assert str(gone) == "operator OP-2, version 2"


@pytest.mark.parametrize(
    ("needs", "of", "slug"),
    [
        (("part:X",), {"procedure": ""}, "of-nobody"),
        ((), {}, "no-need"),
        (("spoon:X",), {}, "need-unreadable"),
        (("part:X",), {}, "unknown-code"),
        (("part:X",), {"procedure": "NOWHERE"}, "unknown-code"),
    ],
)
def test_what_cannot_be_stated_is_refused(needs: tuple[str, ...], of: dict[str, str], slug: str) -> None:
    assert refused(lambda: state(*needs, **of)) == [slug]
    assert not NeedsVersion.objects.exists()


# Expanding


def test_a_case_needs_what_procedure_operator_and_plan_ask_for() -> None:
    template, extra, spare = makers.template(), makers.part(), makers.part()
    implants = [
        m.implant(dimensions={"diameter_mm": wide, "length_mm": 40, "compressed_mm": 7}) for wide in (12, 14, 16)
    ]
    series = makers.series("7.0", "7.5", "8.0", "8.5")
    sizes = list(series.sizes.all())
    standard = state(f"template:{template.code}", f"sizes:{series.code}:1:1", "implant:1:1")
    own = state(f"part:{extra.code}", f"backup:{spare.code}", procedure="", operator="OP-2")
    state(f"part:{spare.code}", procedure="", operator="OP-3")
    case = plan(planned_size="7.5", planned_implant="14 × 40", operator="OP-2")
    assert sources(case) == [
        (template.code, "procedure", True),
        (implants[1].code, "procedure, planned implant", True),
        (implants[0].code, "procedure, narrower than the planned implant", False),
        (implants[2].code, "procedure, wider than the planned implant", False),
        (extra.code, "operator OP-2", True),
        (spare.code, "operator OP-2, backup", False),
    ]
    assert [row.size for row in case.sizes_wanted.all()] == sizes[:3]
    assert set(case.expanded_by.all()) == {standard, own}
    assert [doubt["slug"] for doubt in case.doubts] == ["implant-clipped", "implant-clipped"]
    assert str(SizeWanted.objects.first()) == str(sizes[0])
    line = CaseLine.objects.get(case=case)
    assert line.evidence["needs_of"] == ["procedure, version 1", "operator OP-2, version 1"]


def test_a_planned_size_outside_the_series_is_told_at_once_and_kept() -> None:
    state(f"sizes:{makers.series('7.0').code}:1:1")
    done = actions.plan_case("R-1", m.theatre().code, "BRO", START, 60, planned_size="99", act=act())
    assert [finding["slug"] for finding in done.findings] == ["planned-size-unknown"]
    case = plan(planned_size="7.0")
    assert (case.sizes_wanted.count(), [doubt["slug"] for doubt in case.doubts]) == (1, ["window-clipped"] * 2)


def test_a_newer_version_is_taken_when_needs_are_renewed_and_not_before() -> None:
    kept, added, series = makers.template(), makers.part(), makers.series("7.0")
    old = state(f"template:{kept.code}", f"sizes:{series.code}:0:0")
    case = plan(planned_size="7.0")
    tray = makers.tray(kept)
    actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    actions.add_requirement(case.code, part=added.code, reason="wide airway", act=act())
    new = state(f"template:{kept.code}:2", f"backup:{added.code}")
    plan(planned_size="")  # a change of the plan is expanded by the version that the case has
    assert list(case.expanded_by.all()) == [old]
    assert newer_needs(case) == [new]
    done = actions.renew_needs(case.code, act=act())
    assert "procedure, version 2" in done.sentence
    assert newer_needs(case) == []
    assert m.need(case).allocation.tray == tray
    assert sources(case) == [
        (kept.code, "procedure", True),
        (added.code, "added by hand", True),
        (kept.code, "procedure", True),
        (added.code, "procedure, backup", False),
    ]
    assert [line.verb for line in CaseLine.objects.filter(case=case)][-1] == "renew_needs"


def test_a_need_that_becomes_a_backup_stays_the_same_row() -> None:
    part = makers.part()
    state(f"part:{part.code}")
    case = plan()
    row = m.need(case)
    state(f"backup:{part.code}")
    actions.renew_needs(case.code, act=act())
    assert m.need(case) == row
    assert not m.need(case).essential


def test_a_procedure_that_asks_for_nothing_leaves_nothing() -> None:
    case = plan()
    assert "nothing that is stated" in actions.renew_needs(case.code, act=act()).sentence


# What one case asks for


def test_a_need_is_taken_off_with_its_reason_and_its_set_is_free() -> None:
    tray = makers.tray()
    case = m.case(tray.template, makers.part())
    actions.allocate(m.need(case).pk, tray=tray.code, act=act())
    actions.remove_requirement(m.need(case).pk, reason="another way in", act=act())
    actions.remove_requirement(m.need(case).pk, reason="not wanted", act=act())
    assert not case.requirements.exists()
    lines = CaseLine.objects.filter(case=case, verb="remove_requirement")
    assert [(line.reason, line.evidence["freed"]) for line in lines] == [
        ("another way in", tray.code),
        ("not wanted", ""),
    ]


def test_taking_off_needs_a_reason_and_a_need_that_there_is() -> None:
    case = m.case(makers.part())
    assert refused(lambda: actions.remove_requirement(m.need(case).pk, reason=" ", act=act())) == ["reason-missing"]
    assert refused(lambda: actions.remove_requirement(0, reason="x", act=act())) == ["unknown-code"]
    assert Requirement.objects.count() == 1


def test_needs_of_a_case_that_is_over_stay_as_they_are() -> None:
    case = m.case(makers.part())
    actions.cancel_case(case.code, reason="fever", act=act())
    assert refused(lambda: actions.renew_needs(case.code, act=act())) == ["wrong-state"]
    assert refused(lambda: actions.remove_requirement(m.need(case).pk, reason="x", act=act())) == ["wrong-state"]


def test_each_verb_needs_its_right() -> None:
    case = m.case(makers.part())
    nobody = act(makers.person(Role.NURSE))
    calls = (
        lambda: actions.renew_needs(case.code, act=nobody),
        lambda: actions.remove_requirement(m.need(case).pk, reason="x", act=nobody),
        lambda: actions.state_needs(("part:X",), procedure="BRO", act=nobody),
        lambda: actions.keep_standing("X", 1, act=nobody),
    )
    assert [refused(call) for call in calls] == [["right-missing"]] * len(calls)


# Standing sets


def test_a_set_is_kept_standing_at_all_times_or_by_the_hour() -> None:
    template = makers.template()
    actions.keep_standing(template.code, 2, act=act())
    assert str(StandingSet.objects.get()) == f"at least 2 × {template}"
    actions.keep_standing(template.code, 2, from_time="07:00", until_time="17:00", otherwise=1, act=act())
    standing = StandingSet.objects.get()
    assert (standing.from_time, standing.until_time, standing.otherwise) == (time(7), time(17), 1)
    assert str(standing) == f"at least 2 × {template} from 07:00 to 17:00"


@pytest.mark.parametrize(
    ("fields", "slug"),
    [
        ({"minimum": 100}, "minimum-out-of-range"),
        ({"otherwise": -1}, "minimum-out-of-range"),
        ({"from_time": "07:00"}, "hours-unreadable"),
        ({"from_time": "17:00", "until_time": "07:00"}, "hours-unreadable"),
        ({"from_time": "early", "until_time": "late"}, "hours-unreadable"),
    ],
)
def test_a_standing_set_that_makes_no_sense_is_refused(fields: dict[str, Any], slug: str) -> None:
    template = makers.template()
    assert refused(lambda: actions.keep_standing(template.code, **{"minimum": 1, **fields}, act=act())) == [slug]


# Constraints


@pytest.mark.storage
@pytest.mark.parametrize(
    ("name", "row"),
    [
        (
            "needs_version_once|needsversion.procedure_id, ",
            lambda: NeedsVersion(procedure=state("implant").procedure, number=1),
        ),
        (
            "needs_version_of_every_once|needsversion.operator, ",
            lambda: [NeedsVersion(operator="OP", number=1) for _ in range(2)],
        ),
        ("needs_version_of_somebody", lambda: NeedsVersion(number=1)),
        ("need_names_its_thing", lambda: StatedNeed(version=state("implant"), kind="part")),
        ("need_numbers_in_range", lambda: StatedNeed(version=state("implant"), kind="implant", quantity=0)),
        ("standing_hours_in_order", lambda: StandingSet(template=makers.template(), from_time=time(7))),
        (
            "size_wanted_once|sizewanted.case_id, ",
            lambda: [SizeWanted(case=case, size=size) for case, size in [(plan(), a_size())] * 2],
        ),
    ],
)
def test_the_database_refuses(name: str, row: Any) -> None:
    made = row()
    *before, last = made if isinstance(made, list) else [made]
    for one in before:
        one.save()
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        last.save()
