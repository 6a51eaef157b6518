"""Fixes applied and undone: through the page, never against what was shown, and told on every trail they touch."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from instruments.models import PartKind
from journal.findings import Refused
from journal.models import Notice
from journal.roles import Role
from lists import actions, tasks
from lists.actions import fixing
from lists.changes import Way
from lists.models import Case, CaseLine, Requirement
from lists.reads import CaseFixes, day_needs, fixes_of
from lists.remedies import Remedy
from lists.states import Readiness
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, day_address, fresh_pack, queries_of, send, signed_in, soon
from tests.makers import act
from tests.reprocessing import makers as make
from tests.reprocessing.pages import Browser
from trays.models import Pack, Template, Tray

pytestmark = pytest.mark.django_db


def planner(**fields: Any) -> Any:
    return act(at=timezone.now(), **fields)


def fixes(case: Case, at: datetime | None = None) -> CaseFixes:
    return fixes_of(day_needs(timezone.localdate(case.starts_at), at=at or timezone.now()))[case.code]


def fix(case: Case, way: Way | None = None, at: datetime | None = None) -> Remedy:
    return next(row for row in fixes(case, at).ranked if way in (None, row.candidate.way))


def eight() -> datetime:
    """Eight this morning, so that the hours after it are of the same day."""
    return timezone.make_aware(datetime.combine(timezone.localdate(), time(8)))


def chosen(case: Case) -> str:
    allocation = getattr(m.need(case), "allocation", None)
    return str(allocation) if allocation else ""


def two_of_a_kind() -> tuple[Tray, Tray, Template]:
    template = makers.template(makers.part())
    first = m.tray_of(fresh_pack(makers.tray(template)))
    return first, makers.tray(template), template


def lacking() -> tuple[Case, Tray, Tray]:
    """A case whose tray cannot be filled, and a sterile one that nobody is to get."""
    sterile, empty, template = two_of_a_kind()
    case = m.case(template, starts_at=soon())
    actions.allocate(m.need(case).pk, tray=empty.code, act=act())
    return case, sterile, empty


def exchanged() -> tuple[Case, Case]:
    """At eight: the earlier case has a set that is late for it, the later one a sterile set."""
    sterile, _, template = two_of_a_kind()
    other = makers.pack(makers.tray(template))
    Pack.objects.filter(pk=other.pk).update(use_by=soon() + timedelta(days=30))
    start = eight() + timedelta(minutes=60)
    early = m.case_with(m.tray_of(other), starts_at=start)
    return early, m.case_with(sterile, starts_at=start + timedelta(minutes=90))


def raw(client: Browser, address: str) -> str:
    return str(client.client.get(address).content.decode())


def refused(run: Any) -> str:
    with pytest.raises(Refused) as found:
        run()
    return " ".join(finding.words for finding in found.value.findings)


def test_a_press_on_the_list_applies_the_first_fix_and_another_undoes_it() -> None:
    case, sterile, empty = lacking()
    client, day = coordinator(), day_address(soon())
    page = client.read(day)
    assert "Why:" in page
    assert f"Use {sterile.name} {sterile.code}." in page
    assert "Costs no other case its set or its time." in page
    (key,) = re.findall(r'name="fix" value="([^"]+)"', raw(client, day))
    address, fields = reverse("apply-fix", args=[case.code]), {"fix": key, "back": day}
    page = client.client.post(address, fields, follow=True).content.decode()
    assert f"Case {case.code} was short and is complete." in page
    assert page.count(f'action="{reverse("undo-fix", args=[case.code])}"') == 2  # in the message, and on the row
    assert chosen(case) == sterile.code
    page = client.read(reverse("case", args=[case.code]))
    assert "Fix applied" in page
    page = client.send(reverse("undo-fix", args=[case.code]), back="//elsewhere")
    assert f"Undone for case {case.code}" in page
    assert "Fix undone" in page
    assert chosen(case) == empty.code


def test_a_program_reads_why_and_what_next_and_applies_it() -> None:
    case, sterile, _ = lacking()
    client = coordinator().client
    address = reverse("api-list-fixes", args=[timezone.localdate(soon())])
    (row,) = client.get(address).json()
    assert (row["case"], row["applied"]) == (case.code, [])
    assert row["why"]
    assert row["fixes"][0]["sentence"] == f"Use {sterile.name} {sterile.code}."
    assert (row["fixes"][0]["by_press"], row["fixes"][0]["ready"], row["fixes"][0]["costs"]) == (True, True, [])
    body = {"case": case.code, "fix_key": row["first"]}
    headers = {"Idempotency-Key": "fix-1"}
    assert client.post("/api/lists/apply-fix/", body, "application/json", headers=headers).status_code == 200
    (row,) = client.get(address).json()
    assert (row["why"], row["first"], row["fixes"]) == (None, None, [])
    assert row["applied"] == [f"Use {sterile.name} {sterile.code}."]


def test_a_need_that_had_nothing_has_nothing_again() -> None:
    first, _, template = two_of_a_kind()
    case = m.case(template, starts_at=soon())
    actions.apply_fix(case.code, fix(case).key, act=planner())
    assert chosen(case) == first.code
    actions.undo_fix(case.code, act=planner())
    assert chosen(case) == ""
    assert "none is applied" in refused(lambda: actions.undo_fix(case.code, act=planner()))


def test_two_cases_exchange_sets_and_both_trails_tell_it() -> None:
    early, later = exchanged()
    before = chosen(early), chosen(later)
    actions.apply_fix(early.code, fix(early, Way.SWAP_SETS, eight()).key, act=act(at=eight()))
    assert (chosen(early), chosen(later)) == before[::-1]
    assert fixes(early, eight()).cause is None  # ready, and still there with its undo
    for case in (early, later):
        assert CaseLine.objects.filter(case=case, verb="apply_fix").count() == 1
    actions.undo_fix(early.code, act=act(at=eight()))
    assert (chosen(early), chosen(later)) == before
    assert CaseLine.objects.filter(verb="undo_fix").count() == 2


def test_two_cases_exchange_times_and_back() -> None:
    early, later = exchanged()
    starts = early.starts_at, later.starts_at

    def now() -> tuple[Any, ...]:
        return tuple(Case.objects.get(pk=case.pk).starts_at for case in (early, later))

    actions.apply_fix(early.code, fix(early, Way.SWAP_TIMES, eight()).key, act=act(at=eight()))
    assert now() == starts[::-1]
    actions.move_case(later.code, starts[0] - timedelta(minutes=5), act=act(at=eight()))
    assert "must still be" in refused(lambda: actions.undo_fix(early.code, act=act(at=eight())))
    actions.move_case(later.code, starts[0], act=act(at=eight()))
    actions.undo_fix(early.code, act=act(at=eight()))
    assert now() == starts


def test_a_fix_that_would_now_do_something_else_is_refused() -> None:
    case, sterile, empty = lacking()
    key = fix(case).key
    other = m.case_with(sterile, starts_at=soon() + timedelta(minutes=90))
    words = refused(lambda: actions.apply_fix(case.code, key, act=planner()))
    assert "it would now do something else than was shown" in words
    assert f"case {other.code} is then late" in words.lower().replace(other.code.lower(), other.code)
    actions.free(m.need(other).pk, act=act())
    actions.apply_fix(case.code, fix(case).key, act=planner())
    assert "it is no longer a fix" in refused(lambda: actions.apply_fix(case.code, key, act=planner()))
    actions.free(m.need(case).pk, act=act())
    assert "must still be" in refused(lambda: actions.undo_fix(case.code, act=planner()))
    actions.cancel_case(case.code, reason="patient unwell", act=planner())
    assert "must be on the list" in refused(lambda: actions.apply_fix(case.code, key, act=planner()))
    assert chosen(case) != empty.code


def test_what_hands_have_to_do_is_asked_until_it_is_done_or_taken_back() -> None:
    pack = fresh_pack()
    case = m.case_with(m.tray_of(pack), starts_at=soon())
    Pack.objects.filter(pk=pack.pk).update(use_by=timezone.now() - timedelta(days=1))
    found = fixes(case).first
    assert found is not None
    assert found.candidate.way is Way.WASH
    done = actions.apply_fix(case.code, found.key, act=planner())
    assert "Asked of sterile services" in done.sentence
    (notice,) = Notice.objects.filter(topic="fixes").still_open()
    assert "washed and packed again" in notice.sentence
    assert notice.role == Role.TECHNICIAN
    assert fixes(case).first is None  # it is not asked for twice
    assert "Asked of sterile services:" in coordinator().read(day_address(soon()))
    actions.undo_fix(case.code, act=planner())
    assert not Notice.objects.filter(topic="fixes").still_open()
    actions.apply_fix(case.code, fix(case).key, act=planner())
    Pack.objects.filter(pk=pack.pk).update(use_by=soon() + timedelta(days=30))
    tasks.watch_cases()
    assert not Notice.objects.filter(topic="fixes").still_open()


def test_a_loan_is_called_for_by_one_press_and_that_is_undone_by_one() -> None:
    case = m.case(makers.part(), starts_at=soon())
    client, day = coordinator(), day_address(soon())
    (key,) = re.findall(r'name="fix" value="([^"]+)"', raw(client, day))
    assert "Asked of the coordinators" in client.send(reverse("apply-fix", args=[case.code]), fix=key, back=day)
    (notice,) = Notice.objects.filter(topic="fixes").still_open()
    assert (notice.role, notice.link) == (Role.COORDINATOR, f"/cases/{case.code}/")
    assert "Call for a loan or a delivery: 1 × " in notice.sentence
    page = client.read(day)
    assert "It waits for what was asked." in page
    assert 'name="fix"' not in raw(client, day)
    assert chosen(case) == ""
    client.send(reverse("undo-fix", args=[case.code]))
    assert not Notice.objects.filter(topic="fixes").still_open()
    assert fixes(case).first is not None


def test_of_a_closed_set_a_whole_set_is_called_for_and_of_an_open_one_the_piece_that_lacks() -> None:
    template = makers.template(makers.part(name="Cap"))
    for closed, what in ((True, template.name), (False, "Cap")):
        case = m.case(template, starts_at=soon())
        actions.allocate(m.need(case).pk, tray=makers.tray(template, closed=closed).code, act=act())
        assert f": 1 × {what}, here by" in fix(case, Way.LOAN).candidate.sentence


def test_what_a_person_decides_is_not_done_by_a_press() -> None:
    beside = makers.part(PartKind.IMPLANT)
    makers.maker_pack(beside, expires=soon().date() + timedelta(days=30))
    case = m.case(makers.part(PartKind.IMPLANT), beside, starts_at=soon())
    Requirement.objects.filter(case=case, part=beside).update(essential=False)
    neighbour = fix(case, Way.NEIGHBOUR)
    words = refused(lambda: actions.apply_fix(case.code, neighbour.key, act=planner()))
    assert "it is for a person to decide" in words
    assert neighbour.key not in raw(coordinator(), reverse("case", args=[case.code]))


def test_work_on_another_set_gives_it_to_the_case_and_undoing_takes_it_back() -> None:
    old, _, template = two_of_a_kind()
    Pack.objects.filter(tray=old).update(use_by=timezone.now() - timedelta(days=1))
    case = m.case(template, starts_at=soon())
    found = fix(case, Way.WASH)
    assert found.candidate.ids == (str(m.need(case).pk), old.code)
    actions.apply_fix(case.code, found.key, act=planner())
    assert chosen(case) == old.code
    assert [row.candidate.way for row in fixes(case).waits_for] == [Way.WASH]
    actions.undo_fix(case.code, act=planner())
    assert chosen(case) == ""


def test_a_half_load_is_asked_for_and_the_notice_leads_to_the_set() -> None:
    make.policy("fill_min", 30)
    tray = m.tray_of(makers.pack(makers.tray(makers.template(makers.part()))))
    Pack.objects.filter(tray=tray).update(use_by=soon() + timedelta(days=30))
    case = m.case_with(tray, starts_at=eight() + timedelta(minutes=130))  # 95 min to pass, 30 until full, 25 to bring
    found = fix(case, Way.START, eight())
    assert (found.ready, found.gained_min) == (True, 20)
    done = actions.apply_fix(case.code, found.key, act=act(at=eight()))
    assert "full or not" in done.sentence
    (notice,) = Notice.objects.filter(topic="fixes").still_open()
    assert (notice.role, notice.link) == (Role.TECHNICIAN, f"/find/?q={tray.code}")
    actions.undo_fix(case.code, act=act(at=eight()))
    assert not Notice.objects.filter(topic="fixes").still_open()


def test_an_exceptional_release_is_named_with_its_form_and_no_button() -> None:
    implant = m.implant()
    pack = makers.single(makers.piece(implant))
    load = make.complete(make.load(None, pack))
    Pack.objects.filter(pk=pack.pk).update(use_by=soon() + timedelta(days=30))
    case = m.case(implant, starts_at=soon())
    actions.allocate(m.need(case).pk, pack=pack.code, act=act())
    make.policy("biological_min", 1_000_000)
    page = raw(coordinator(), reverse("case", args=[case.code]))
    assert f"Exceptional release of load {load.code}" in page
    assert f'href="{reverse("load", args=[load.code])}"' in page
    assert 'name="fix" value="exception' not in page
    key = fix(case, Way.EXCEPTION).key
    assert "it is for a person to decide" in refused(lambda: actions.apply_fix(case.code, key, act=planner()))


def test_each_need_of_a_case_gets_its_fix_and_they_are_undone_one_by_one() -> None:
    sterile, _, template = two_of_a_kind()
    case = m.case(template, makers.part(), starts_at=soon())
    ways = []
    for _ in range(3):
        if found := fixes(case).first:
            ways.append(found.candidate.way)
            actions.apply_fix(case.code, found.key, act=planner())
    assert ways == [Way.USE, Way.LOAN]
    assert len(fixes(case).applied) == 2
    assert "loan or a delivery" in actions.undo_fix(case.code, act=planner()).sentence
    assert chosen(case) == sterile.code
    assert f"Use {sterile.name}" in actions.undo_fix(case.code, act=planner()).sentence
    assert "none is applied" in refused(lambda: actions.undo_fix(case.code, act=planner()))


def test_a_day_that_does_not_become_what_was_said_stops_the_fix() -> None:
    case, *_ = lacking()
    row = replace(fix(case), promised={case.code: Readiness.COMPLETE, "GONE": Readiness.LATE})
    words = refused(lambda: fixing._keep_promise(case, row, planner()))
    assert f"with it case {case.code} is short, must be complete." in words
    gone = replace(row, promised={"GONE": Readiness.LATE})
    assert "case GONE is not on the list" in refused(lambda: fixing._keep_promise(case, gone, planner()))


def test_who_may_not_plan_sees_why_and_presses_nothing() -> None:
    case, *_ = lacking()
    nurse = signed_in(Role.NURSE)
    page = raw(nurse, day_address(soon()))
    assert "Why:" in page
    assert 'name="fix"' not in page
    assert "does not hold the right" in send(nurse, "apply-fix", case.code, fix=fix(case).key)
    assert "does not hold the right" in send(nurse, "undo-fix", case.code)


def test_a_day_takes_the_same_number_of_queries_with_more_cases_that_are_not_ready() -> None:
    client, day = coordinator(), day_address(soon())
    _, _, template = two_of_a_kind()
    empty = makers.tray(template)
    counts = []
    for number in (1, 6):
        for _ in range(number):
            case = m.case(template, starts_at=soon())
            actions.allocate(m.need(case).pk, tray=empty.code, act=act())
        client.read(day)
        counts.append(queries_of(client, day))
    assert counts[0] == counts[1]
