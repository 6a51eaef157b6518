"""How messages come in and are looked at: the folder, the FHIR address, the page."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone
from fhir.resources.bundle import Bundle
from rest_framework.authtoken.models import Token

from instruments.imports import import_catalogue, import_pieces
from journal.models import Notice
from journal.roles import Role
from lists import actions
from lists.imports import import_list, import_operators, import_procedures
from lists.intake.reception import received_in
from lists.intake.segments import MOST_BYTES, messages_in
from lists.models import Case, Message, MessageState, Procedure, Theatre
from lists.reads import CaseRow, list_readiness
from lists.tasks import take_in_lists
from tests import makers
from tests.lists import makers as m
from tests.lists.desk import coordinator, signed_in
from tests.lists.sending import NAME, NUMBER, ZONE, appointment, siu, take
from tests.lists.test_emitting import shortcomings
from tests.makers import AT, act
from trays.imports import import_templates, import_trays

pytestmark = [pytest.mark.django_db]
FIXTURES = Path(settings.BASE_DIR) / "fixtures"
CURRENT = "application/fhir+json; fhirVersion=5.0"


@pytest.fixture
def unit() -> None:
    Theatre.objects.create(code="TH-A", name="Theatre A")
    Procedure.objects.create(code="BRO", name="Bronchoscopy")


@pytest.fixture
def drop(tmp_path: Path, settings: Any, unit: None) -> Path:
    settings.LISTS_DROP_DIR = tmp_path / "lists"
    settings.LISTS_DROP_DIR.mkdir()
    return Path(settings.LISTS_DROP_DIR)


def leave(folder: Path, name: str, content: bytes) -> Path:
    """A file that nobody has written to for a minute."""
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(content)
    then = timezone.now().timestamp() - 60
    os.utime(path, (then, then))
    return path


def files(folder: Path) -> list[str]:
    return sorted(path.name.split("-", 1)[-1] for path in folder.rglob("*") if path.is_file())


# The folder


@pytest.mark.jobs
@pytest.mark.storage
def test_a_file_of_messages_is_taken_and_removed_for_it_names_patients(drop: Path) -> None:
    leave(drop, "batch.hl7", siu() + siu("S13", control="2", start=m.TOMORROW))
    leave(drop / "EAST", "one.json", json.dumps(appointment(identifier=[{"value": "L-2"}])).encode())
    take_in_lists()
    take_in_lists()
    assert files(drop) == []
    assert sorted(Message.objects.values_list("sender", "reference")) == [
        ("EAST", "L-2"),
        ("PLAN", "L-1"),
        ("PLAN", "L-1"),
    ]
    assert Case.objects.count() == 2


@pytest.mark.jobs
def test_what_was_taken_in_and_not_removed_is_the_same_message(drop: Path) -> None:
    take(siu())
    leave(drop, "again.hl7", siu())
    take_in_lists()
    assert Message.objects.count() == 1
    assert files(drop) == []


@pytest.mark.jobs
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"reference;start\n", "MSH: it is “no header at the beginning”"),
        (siu() + b"BTS|7\r", "BTS-1: it is “7”"),
        (b"{", "no JSON"),
        (b"1" * (MOST_BYTES + 1), "at most 2097152 bytes"),
    ],
)
def test_what_is_no_message_is_put_away_and_told_without_its_name(drop: Path, content: bytes, words: str) -> None:
    leave(drop, f"{NAME}.hl7", content)
    take_in_lists()
    assert files(drop / "refused") == [f"{NAME}.hl7", f"{NAME}.hl7.reason.txt"]
    (reason,) = (drop / "refused").glob("*.reason.txt")
    assert words in reason.read_text()
    notice = Notice.objects.get(topic="messages")
    assert (notice.role, notice.link) == (Role.COORDINATOR, "/lists/messages/")
    assert NAME not in notice.sentence
    for path in (drop / "refused").iterdir():
        path.unlink()
    take_in_lists()
    assert Notice.objects.get(topic="messages").closed_at is not None


@pytest.mark.jobs
def test_a_message_that_waits_is_told_to_the_coordinators(drop: Path) -> None:
    leave(drop, "one.hl7", siu(theatre="OR-7"))
    take_in_lists()
    notice = Notice.objects.get(topic="messages")
    assert notice.sentence == "A message of PLAN about case L-1 is waiting."
    actions.name_code("PLAN", "OR-7", theatre="TH-A", act=act())
    take_in_lists()
    assert not Notice.objects.still_open().exists()


@pytest.mark.jobs
def test_a_file_that_somebody_writes_to_meanwhile_is_left(drop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    leave(drop, "one.hl7", siu())
    still = iter((False, False))
    monkeypatch.setattr("reprocessing.folder.Left.is_unchanged", property(lambda _: next(still)))
    take_in_lists()
    assert files(drop) == ["one.hl7"]
    assert not Message.objects.exists()


@pytest.mark.jobs
def test_a_file_that_another_run_has_taken_is_passed_over(drop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = leave(drop, "one.hl7", siu())

    def faster(_: object) -> bytes:
        path.unlink()
        return path.read_bytes()

    monkeypatch.setattr("lists.tasks._content", faster)
    take_in_lists()
    assert not Message.objects.exists()


# FHIR


def send(resource: Any, *, method: str = "post", number: str = "", kind: str = CURRENT, person: Any = None) -> Any:
    by = person or makers.person(Role.COORDINATOR)
    token, _ = Token.objects.get_or_create(user=by)
    data = resource if isinstance(resource, bytes) else json.dumps(resource)
    address = "/api/fhir/Appointment" + (f"/{number}" if number else "")
    ask = getattr(Client(), method)
    return ask(address, data, content_type=kind, headers={"Authorization": f"Token {token.key}"})


def said(answer: Any) -> str:
    outcome = answer.json()
    assert outcome["resourceType"] == "OperationOutcome"
    return str(outcome["issue"][0]["diagnostics"])


def test_an_appointment_is_taken_in_by_its_sender_s_token(unit: None) -> None:
    answer = send(appointment())
    assert answer.status_code == 200
    assert said(answer).startswith("Applied: Case ")
    assert answer["Content-Type"] == "application/fhir+json"
    case = Case.objects.get()
    assert str(case.lines.get().person).startswith("Person")
    later = {"meta": {"lastUpdated": timezone.now().isoformat()}, "status": "cancelled"}
    assert send(appointment(**later), method="put", number="a1").status_code == 200
    case.refresh_from_db()
    assert case.state == "cancelled"


def test_each_answer_of_the_address(unit: None) -> None:
    waiting = send(appointment(serviceType=[{"concept": {"coding": [{"code": "other"}]}}]))
    assert (waiting.status_code, said(waiting)[:8]) == (202, "Waiting:")
    assert send(appointment(start="soon")).status_code == 422
    answer = send(b"{")
    assert (answer.status_code, answer.json()["issue"][0]["severity"]) == (400, "error")
    assert send(b"").status_code == 400
    assert "must be that of the address" in said(send(appointment(), method="put", number="b2"))
    assert send(appointment(), kind="application/fhir+json; fhirVersion=3.0").status_code == 415
    assert send(appointment(), kind="text/plain").status_code == 415
    assert send(appointment(), person=makers.person(Role.NURSE)).status_code == 403
    assert Client().post("/api/fhir/Appointment", "{}", content_type=CURRENT).status_code == 401
    assert NUMBER not in send(appointment(start=NUMBER)).content.decode()


def test_a_bundle_is_answered_by_what_is_worst(unit: None) -> None:
    good, bad = appointment(), appointment(status="proposed", id="a2")
    answer = send(
        {"resourceType": "Bundle", "entry": [{"resource": good}, {"resource": bad}]}, kind="application/json"
    )
    assert answer.status_code == 422
    assert [issue["severity"] for issue in answer.json()["issue"]] == ["information", "error"]
    assert Case.objects.count() == 1


def test_a_day_is_told_as_a_bundle_of_the_version_asked_for(unit: None) -> None:
    take(siu())
    client = Client()
    client.force_login(makers.person(Role.NURSE))
    day = timezone.localdate(m.TOMORROW).isoformat()
    current = client.get(f"/api/fhir/Appointment?date={day}").json()
    assert Bundle(**current).total == 1
    assert "concept" in current["entry"][0]["resource"]["serviceType"][0]
    older = client.get(
        f"/api/fhir/Appointment?date={day}", headers={"Accept": "application/fhir+json; fhirVersion=4.3"}
    )
    assert "coding" in older.json()["entry"][0]["resource"]["serviceType"][0]
    assert client.get("/api/fhir/Appointment?date=soon").status_code == 400


# The page


def test_the_page_says_what_a_message_lacks_and_takes_it(unit: None) -> None:
    message = take(siu(theatre="OR-7", size="8.0"))
    desk = coordinator()
    assert "Messages of list systems 1" in desk.read("/lists/")
    text = desk.read("/lists/messages/")
    assert "Waiting: case L-1, new" in text
    assert "“OR-7” of PLAN is no theatre of the unit" in text
    assert NAME not in desk.source("/lists/messages/")
    assert "is waiting." in desk.send(f"/lists/messages/{message.pk}/try-again/")
    refusal = desk.send("/lists/messages/code/theatre/", sender="PLAN", code="OR-7", theatre="")
    assert "Our theatre: This field is required." in refusal
    text = desk.send("/lists/messages/code/theatre/", sender="PLAN", code="OR-7", theatre="TH-A")
    assert "“OR-7” of PLAN is Theatre A. Messages applied: 1." in text
    assert f"PLAN 1: applied, case {Case.objects.get().code}" in text
    assert desk.client.post("/lists/messages/code/size/", {}).status_code == 404


def test_a_message_is_set_aside_from_its_page(unit: None) -> None:
    message = take(siu().replace(b"|MIN|", b"|DAYS|"))
    desk = coordinator()
    text = desk.read("/lists/messages/")
    assert "Refused: cannot be read" in text
    assert "Try again" not in text
    assert "Why it is not to be applied: This field is required." in desk.send(
        f"/lists/messages/{message.pk}/set-aside/", reason=""
    )
    text = desk.send(f"/lists/messages/{message.pk}/set-aside/", reason="sent again")
    assert f"Message {message} is set aside and kept." in text
    assert "set aside. sent again" in text
    assert "Try again" not in signed_in(Role.NURSE).read("/lists/messages/")


def test_who_may_not_plan_sees_no_forms(unit: None) -> None:
    take(siu(theatre="OR-7"))
    text = signed_in(Role.NURSE).read("/lists/messages/")
    assert "Waiting: case L-1" in text
    assert "Set message aside" not in text


# One list in three forms


DAY = date(2027, 1, 12)
UNIT = {
    "catalogue": import_catalogue,
    "pieces": import_pieces,
    "templates": import_templates,
    "trays": import_trays,
    "procedures": import_procedures,
    "operators": import_operators,
}


def test_the_same_list_in_three_forms_gives_the_same_cases_needs_and_readiness(drop: Path) -> None:
    call_command("loaddata", FIXTURES / "unit.json", verbosity=0)
    for name, take_table in UNIT.items():
        take_table((FIXTURES / f"{name}.csv").read_bytes(), act=act())
    by_table, _ = _listed_by(lambda: import_list((FIXTURES / "list.csv").read_bytes(), day=DAY, act=act()))
    by_hl7, patients = _listed_by(lambda: _left(drop, "list.hl7"))
    by_fhir, same_patients = _listed_by(lambda: _left(drop, "list.fhir.json"))
    assert len(by_table) == 10
    assert by_table == by_hl7 == by_fhir
    assert patients == same_patients
    assert len(set(patients)) == 10


def _left(drop: Path, name: str) -> None:
    leave(drop, name, (FIXTURES / name).read_bytes())
    take_in_lists()
    assert set(Message.objects.values_list("state", flat=True)) == {MessageState.APPLIED}


def _listed_by(take_list: Callable[[], object]) -> tuple[list[Any], list[str]]:
    """What is listed after this, without what is random or a pseudonym; and the pseudonyms. Nothing of it stays."""
    with transaction.atomic():
        take_list()
        rows = list_readiness(DAY, at=timezone.now()).rows
        patients = list(Case.objects.order_by("reference").values_list("patient_ref", flat=True))
        transaction.set_rollback(True)
        return sorted(map(_facts, rows)), patients


def _facts(row: CaseRow) -> tuple[Any, ...]:
    case, readiness = row.case, row.readiness
    assert readiness is not None
    return (
        (case.reference, case.list.theatre.code, case.procedure.code, case.starts_at, case.duration_min),
        (case.planned_size, case.planned_implant, case.operator),
        sorted(str(need) for need in case.requirements.all()),
        str(readiness.verdict),
        sorted(finding.slug for finding in readiness.findings),
    )


def test_the_list_as_hl7_is_valid_by_the_standard_s_structures(tmp_path: Path) -> None:
    for message in messages_in((FIXTURES / "list.hl7").read_bytes()):
        assert shortcomings(message.decode(), tmp_path / "report") == []


def test_the_list_as_fhir_is_valid_by_the_standard_s_model() -> None:
    assert len(Bundle(**json.loads((FIXTURES / "list.fhir.json").read_text())).entry or ()) == 10


@pytest.mark.parametrize("form", ["hl7", "fhir", "fhir-r4b"])
def test_a_day_is_exported_and_reads_the_same(unit: None, form: str, capsys: pytest.CaptureFixture[str]) -> None:
    take(siu(size="8.0"))
    call_command("export_list", timezone.localdate(m.TOMORROW), form=form)
    data = capsys.readouterr().out.encode()
    ((reading, _),) = received_in(data, sender="X", at=AT, zone=ZONE)
    booking = reading.booking
    assert booking is not None
    assert (booking.reference, booking.theatre, booking.planned_size) == ("L-1", "TH-A", "8.0")
    assert booking.starts_at == m.TOMORROW
