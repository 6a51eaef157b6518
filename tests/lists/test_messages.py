"""Messages taken in: once each, in their order, by the verbs of planning; and the patient who is kept nowhere."""

from __future__ import annotations

import json
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from journal.models import Duty
from journal.roles import Role
from lists import actions
from lists.intake.reception import received_in
from lists.models import Case, Message, MessageState, Procedure, Theatre, TheirCode
from lists.states import CaseState
from tests import makers
from tests.lists import makers as m
from tests.lists.sending import GIVEN, NAME, NUMBER, ZONE, appointment, siu, take
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused

pytestmark = [pytest.mark.django_db, pytest.mark.storage]
APPLIED, WAITING, REFUSED, OVERTAKEN = (
    MessageState.APPLIED,
    MessageState.WAITING,
    MessageState.REFUSED,
    MessageState.OVERTAKEN,
)


@pytest.fixture(autouse=True)
def _unit(db: None) -> None:
    Theatre.objects.create(code="TH-A", name="Theatre A")
    Theatre.objects.create(code="TH-B", name="Theatre B")
    Procedure.objects.create(code="BRO", name="Bronchoscopy")


def send(event: str = "S12", minutes_later: int = 0, **fields: Any) -> Message:
    """A message sent so many minutes after the first."""
    sent = AT + timedelta(minutes=minutes_later)
    return take(siu(event, sent=sent, control=f"{event}-{minutes_later}", **fields))


def only_case() -> Case:
    case: Case = Case.objects.get()
    return case


def why() -> str:
    """The reason of the last line of the only case."""
    return str(only_case().lines.order_by("-pk")[0].reason)


# Applied by the verbs of planning


def test_a_new_case_is_planned_and_says_where_it_came_from() -> None:
    message = send(size="8.0")
    case = only_case()
    assert (message.state, message.case) == (APPLIED, case)
    assert (case.reference, case.list.theatre.code, case.procedure.code) == ("L-1", "TH-A", "BRO")
    assert (case.starts_at, case.duration_min, case.planned_size) == (m.TOMORROW, 60, "8.0")
    line = case.lines.get()
    assert (line.verb, line.method, str(line.person)) == ("plan", "message", "List system")


def test_it_is_rescheduled_modified_and_cancelled() -> None:
    send(size="8.0")
    later = m.TOMORROW + timedelta(hours=2)
    assert send("S13", 1, start=later, theatre="", procedure="", minutes=0).state == APPLIED
    assert (only_case().starts_at, only_case().list.theatre.code, only_case().planned_size) == (later, "TH-A", "8.0")
    send("S14", 2, start=None, theatre="TH-B", size='""')
    assert (only_case().list.theatre.code, only_case().planned_size) == ("TH-B", "")
    message = send("S15", 3)
    assert only_case().state == CaseState.CANCELLED
    assert why() == "cancelled, says PLAN in S15-3, reason ROUTINE"
    assert message.case == only_case()


def test_a_patient_who_did_not_come_takes_the_case_off_the_list() -> None:
    send()
    send("S26", 1)
    assert why().startswith("did not attend, says PLAN")


def test_a_reason_is_only_given_where_the_sender_gave_one() -> None:
    first = appointment()
    take(json.dumps(first).encode())
    later = {"meta": {"lastUpdated": (AT + timedelta(hours=1)).isoformat()}, "status": "cancelled"}
    take(json.dumps(first | later).encode())
    assert why() == "cancelled, says urn:oid:2.999.7 in a1"


def test_a_message_for_a_case_that_was_planned_by_hand_changes_it() -> None:
    actions.plan_case("L-1", "TH-B", "BRO", m.TOMORROW, 30, act=act())
    assert send().state == APPLIED
    assert (only_case().list.theatre.code, only_case().duration_min) == ("TH-A", 60)


# Once, and in order


def test_the_same_message_twice_is_one() -> None:
    assert take(siu()) == take(siu().replace(b"\r", b"\r\n"))
    assert Message.objects.count() == 1
    assert only_case().lines.count() == 1


@pytest.mark.locking
@make.race
def test_the_same_message_from_two_threads_is_one() -> None:
    _race_unit()
    found = at_once(*(partial(take, siu()) for _ in range(make.WRITERS)))
    assert len({row.pk for row in found}) == 1
    assert Message.objects.count() == Case.objects.count() == 1


@pytest.mark.locking
@make.race
def test_two_messages_of_one_case_at_once_leave_the_later_one_standing() -> None:
    _race_unit()
    later = m.TOMORROW + timedelta(hours=3)
    first, second = siu(), siu("S13", control="2", sent=AT + timedelta(minutes=1), start=later)
    at_once(partial(take, first), partial(take, second))
    assert only_case().starts_at == later


def _race_unit() -> None:
    """The flush of a transaction test has taken the fixture's rows or not: they are there once."""
    actions.list_system()
    Theatre.objects.get_or_create(code="TH-A", defaults={"name": "Theatre A"})
    Procedure.objects.get_or_create(code="BRO", defaults={"name": "Bronchoscopy"})


def test_a_late_message_is_kept_and_not_applied() -> None:
    send()
    moved = send("S13", 10, start=m.TOMORROW + timedelta(hours=1))
    late = send("S13", 5, start=m.TOMORROW + timedelta(hours=5))
    assert (moved.state, late.state) == (APPLIED, OVERTAKEN)
    assert only_case().starts_at == m.TOMORROW + timedelta(hours=1)
    assert "which was applied" in late.sentence


def test_a_cancellation_that_comes_before_its_case_holds() -> None:
    early = send("S15", 5)
    assert early.state == APPLIED
    assert "There is no case L-1" in early.sentence
    assert send("S12", 0).state == OVERTAKEN
    assert not Case.objects.exists()


def test_a_change_that_comes_before_its_case_waits_for_it() -> None:
    later = m.TOMORROW + timedelta(hours=2)
    early = send("S13", 5, start=later, theatre="", procedure="")
    assert early.state == WAITING
    assert "no case has this number, and the message does not say its theatre, procedure" in early.sentence
    send("S12", 0)
    early.refresh_from_db()
    assert early.state == APPLIED
    assert only_case().starts_at == later


def test_one_that_waits_is_overtaken_by_a_later_one() -> None:
    waits = send(theatre="OR-7")
    send("S12", 1)
    waits.refresh_from_db()
    assert (waits.state, only_case().list.theatre.code) == (OVERTAKEN, "TH-A")


# What is refused


def test_a_cancelled_case_is_not_brought_back() -> None:
    send()
    send("S15", 1)
    for number, event in enumerate(("S12", "S13", "S14"), 2):
        message = send(event, number)
        assert (message.state, message.findings[0]["slug"]) == (REFUSED, "case-cancelled")
    assert send("S15", 9).sentence == f"Case {only_case().code} is cancelled already."
    assert only_case().state == CaseState.CANCELLED
    assert send("S12", 10, reference="L-2").state == APPLIED


def test_a_case_that_has_begun_is_not_moved() -> None:
    send()
    Case.objects.update(state=CaseState.UNDER_WAY)
    for number, event in enumerate(("S13", "S15"), 1):
        message = send(event, number, start=m.TOMORROW + timedelta(hours=1))
        assert (message.state, message.findings[0]["slug"]) == (REFUSED, "wrong-state")
        assert message.case == only_case()
    assert only_case().starts_at == m.TOMORROW
    assert send("S14", 3).state == APPLIED, "one that changes nothing harms nothing"


def test_a_number_of_another_system_is_not_touched() -> None:
    send()
    message = send("S15", 1, sender="OTHER")
    assert (message.state, message.findings[0]["slug"]) == (REFUSED, "reference-of-other-system")
    assert only_case().state == CaseState.PLANNED


def test_what_cannot_be_read_is_kept_and_refused() -> None:
    message = take(siu().replace(b"|MIN|", b"|DAYS|"))
    assert (message.state, message.booking, message.reference) == (REFUSED, None, "")
    assert "SCH-10: it is “DAYS”" in message.sentence
    assert take(siu().replace(b"|MIN|", b"|DAYS|")) == message
    slugs = refused(lambda: actions.try_message_again(message.pk, act=act()))
    assert slugs == ["message-unreadable"]


# Codes of others


def test_a_code_that_means_nothing_here_waits_until_somebody_says_what_it_is() -> None:
    message = send(theatre="OR-7", procedure="31622")
    assert [finding["slug"] for finding in message.findings] == ["theatre-not-known", "procedure-not-known"]
    assert not Case.objects.exists()
    done = actions.name_code("PLAN", "OR-7", theatre="TH-B", act=act())
    assert (done.sentence, done.next_step) == ("“OR-7” of PLAN is Theatre B.", "")
    done = actions.name_code("PLAN", "31622", procedure="BRO", act=act(key="once"))
    assert done.next_step == "Messages applied: 1."
    message.refresh_from_db()
    assert (message.state, only_case().list.theatre.code) == (APPLIED, "TH-B")
    actions.name_code("PLAN", "OR-7", theatre="TH-A", act=act())
    assert TheirCode.objects.count() == 2
    assert send("S14", 1, theatre="OR-7", procedure="").state == APPLIED
    assert only_case().list.theatre.code == "TH-A"


def test_what_waits_for_more_than_one_thing_is_tried_in_its_order() -> None:
    send(theatre="OR-7")
    send("S13", 1, theatre="OR-7", start=m.TOMORROW + timedelta(hours=1))
    done = actions.name_code("PLAN", "OR-7", theatre="TH-B", act=act())
    assert done.next_step.startswith("Messages applied")
    assert only_case().starts_at == m.TOMORROW + timedelta(hours=1)
    assert set(Message.objects.values_list("state", flat=True)) == {APPLIED}


def test_naming_a_code_takes_the_right_and_one_meaning() -> None:
    name = partial(actions.name_code, "PLAN", "7")
    assert refused(lambda: name(act=act())) == ["theatre-or-procedure"]
    assert refused(lambda: name(theatre="TH-A", procedure="BRO", act=act())) == ["theatre-or-procedure"]
    assert refused(lambda: name(theatre="none", act=act())) == ["unknown-code"]
    assert refused(lambda: actions.name_code(" ", "7", theatre="TH-A", act=act())) == ["code-missing"]
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: name(theatre="TH-A", act=nurse)) == ["right-missing"]


def test_a_message_is_tried_again_by_a_person() -> None:
    message = send(theatre="OR-7")
    done = actions.try_message_again(message.pk, act=act(key="first"))
    assert (done.state, done.sentence) == (WAITING, f"Message {message} is waiting.")
    assert done.findings[0]["slug"] == "theatre-not-known"
    Theatre.objects.create(code="OR-7", name="Theatre 7")
    done = actions.try_message_again(message.pk, act=act(key="second"))
    assert done.state == APPLIED
    assert done.sentence == f"Case {only_case().code} planned: Bronchoscopy, Theatre 7, Wed 25-Nov-2026 13:00."
    assert refused(lambda: actions.try_message_again(message.pk, act=act())) == ["message-decided"]
    assert refused(lambda: actions.try_message_again(0, act=act())) == ["unknown-code"]
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.try_message_again(message.pk, act=nurse)) == ["right-missing"]


def test_a_message_is_set_aside_with_a_reason_and_kept() -> None:
    message = send(theatre="OR-7")
    assert refused(lambda: actions.set_message_aside(message.pk, reason=" ", act=act())) == ["reason-missing"]
    done = actions.set_message_aside(message.pk, reason="another site", act=act())
    assert done.sentence == f"Message {message} is set aside and kept."
    message.refresh_from_db()
    assert (message.state, message.reason, message.decided_at) == (MessageState.SET_ASIDE, "another site", AT)
    actions.name_code("PLAN", "OR-7", theatre="TH-A", act=act())
    assert not Case.objects.exists()
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.set_message_aside(message.pk, reason="x", act=nurse)) == ["right-missing"]


# In whose name


def test_the_account_of_the_lists_is_made_once_and_ended_by_the_site() -> None:
    system = actions.list_system()
    assert system.roles == {Role.COORDINATOR}
    assert not system.has_usable_password()
    Duty.objects.all().delete()
    assert refused(lambda: take(siu())) == ["right-missing"]
    Duty.objects.create(person=system, role=Role.COORDINATOR)
    system.is_active = False
    system.save()
    assert refused(lambda: take(siu())) == ["account-ended"]
    assert not Message.objects.exists()


# The patient


def test_without_a_key_nothing_is_kept(settings: Any, tmp_path: Path) -> None:
    settings.LIST_KEY_FILE = tmp_path / "none"
    with pytest.raises(ValueError, match=r"Cannot hash patients: .*none holds no key, must hold 64"):
        take(siu())
    settings.LIST_KEY_FILE.write_text("5a")
    with pytest.raises(ValueError, match="Cannot hash patients"):
        take(siu())
    assert not Message.objects.exists()


def test_the_same_patient_has_one_reference_in_both_forms() -> None:
    send()
    take(json.dumps(appointment(identifier=[{"value": "L-2"}])).encode())
    first, second = Case.objects.order_by("reference")
    assert first.patient_ref == second.patient_ref
    assert first.patient_ref.startswith("PX-")
    assert len(first.patient_ref) == 19
    send("S14", 1, pid="PID|1")
    first.refresh_from_db()
    assert first.patient_ref == second.patient_ref, "what a message does not say stays"


def test_nothing_of_the_patient_is_in_the_database(caplog: pytest.LogCaptureFixture, capfd: Any) -> None:
    """Every table is searched, whatever it holds, for the words in clear."""
    notes = f"NTE|1||{NAME}, {GIVEN}, {NUMBER}\r".encode()
    take(siu(theatre="OR-7") + notes)
    take(siu(control="2", reference=NUMBER))
    take(siu(control="3").replace(b"|MIN|", NAME.encode().join((b"|", b"|"))))
    take(siu(control="4", procedure=f"BRO^{GIVEN.upper()}", reference="L-4") + notes)
    take(json.dumps(appointment(description=NAME, identifier=[{"value": "L-5"}])).encode())
    take(json.dumps(appointment(description=NAME, identifier=[{"value": NUMBER}])).encode())
    assert Message.objects.count() == 6
    assert Case.objects.count() == 2
    everything = _everything()
    assert "L-4" in everything
    said = everything + caplog.text + "".join(capfd.readouterr())
    for word in (NAME, GIVEN, NUMBER):
        assert word.casefold() not in said.casefold()


def _everything() -> str:
    """All rows of all tables as text."""
    rows: list[str] = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            rows += [" ".join(map(str, row)) for row in cursor.fetchall()]
    return "\n".join(rows)


def test_a_reading_says_nothing_of_the_patient_when_it_is_shown() -> None:
    ((reading, _),) = received_in(siu(), sender="", at=AT, zone=ZONE)
    assert NUMBER not in f"{reading} {reading!r}"
