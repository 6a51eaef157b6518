"""FHIR Appointment, R4B and R5: read as a booking, written, and held against the models of `fhir.resources`."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fhir.resources.appointment import Appointment as AppointmentR5
from fhir.resources.bundle import Bundle as BundleR5
from fhir.resources.R4B.appointment import Appointment as AppointmentR4B
from hypothesis import given
from hypothesis import strategies as st

from lists.intake.appointments import DEEPEST, R4B, R5, appointments_in, original_of, read_appointment
from lists.intake.emitting import Planned, bundle, write_appointment
from lists.intake.scheduling import Reading, Unreadable, Verb
from tests.lists.sending import GIVEN, NAME, NUMBER, appointment
from tests.makers import AT

PLANNED = Planned("L-0401", "TH1", "Theatre 1", "BRO-A", "Bronchoscopy", AT, 50, "8.0")
EXAMPLE: dict[str, Any] = {
    "resourceType": "Appointment",
    "id": "example",
    "status": "booked",
    "serviceType": [{"coding": [{"code": "52", "display": "General Discussion"}]}],
    "specialty": [
        {"coding": [{"system": "http://snomed.info/sct", "code": "394814009", "display": "General practice"}]}
    ],
    "appointmentType": {
        "coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0276", "code": "FOLLOWUP"}],
    },
    "priority": 5,
    "description": "Discussion on the results of your recent MRI",
    "start": "2013-12-10T09:00:00Z",
    "end": "2013-12-10T11:00:00Z",
    "created": "2013-10-10",
    "participant": [
        {"actor": {"reference": "Patient/example", "display": "Peter James Chalmers"}, "status": "accepted"},
        {"actor": {"reference": "Practitioner/example", "display": "Dr Adam Careful"}, "status": "accepted"},
        {"actor": {"reference": "Location/1", "display": "South Wing, second floor"}, "status": "accepted"},
    ],
}
"""Values of the example named "example" on the published pages of Appointment, FHIR R4B, shortened."""


def read(resource: dict[str, Any]) -> Reading:
    return read_appointment(resource, sender="SITE", at=AT)


def fault(**fields: Any) -> str:
    (one,) = read(appointment(**fields)).faults
    return one.sentence


# The published example


def test_the_published_example_is_read() -> None:
    assert AppointmentR4B(**EXAMPLE).status == "booked"
    found = read(EXAMPLE)
    booking = found.booking
    assert booking is not None
    assert booking.starts_at == datetime(2013, 12, 10, 9, tzinfo=UTC)
    assert (booking.duration_min, booking.theatre, booking.procedure) == (120, "1", "52")
    assert (booking.reference, booking.sender, booking.sent_at, booking.verb) == ("example", "SITE", AT, Verb.NEW)
    assert found.patient == "Patient/example"
    assert all(name not in found.kept for name in ("Chalmers", "Careful", "MRI"))


def test_the_published_example_of_two_doctors_keeps_its_times() -> None:
    """The example "2docs" of the same pages: 2013-12-09, 09:00 to 11:00."""
    both = {"start": "2013-12-09T09:00:00Z", "end": "2013-12-09T11:00:00Z"}
    booking = read(EXAMPLE | {"id": "2docs", **both}).booking
    assert booking is not None
    assert (booking.starts_at, booking.duration_min) == (datetime(2013, 12, 9, 9, tzinfo=UTC), 120)


# Reading


def test_everything_is_read_of_both_versions() -> None:
    stated = {"planned-size": "8.0", "planned-implant": "14 x 40", "operator": "OP-1"}
    r5 = appointment(
        extension=[{"url": f"urn:lumenkeep:{name}", "valueString": value} for name, value in stated.items()]
    )
    r4b = {name: value for name, value in r5.items() if name != "subject"}
    r4b["serviceType"] = [{"coding": [{"code": "BRO"}]}]
    r4b["participant"] = [{"actor": r5["subject"], "status": "accepted"}, *r5["participant"]]
    assert AppointmentR5(**r5).status == AppointmentR4B(**r4b).status == "booked"
    one, other = read(r5), read(r4b)
    assert one.booking == other.booking
    assert one.patient == other.patient == f"urn:oid:2.999.1.1|{NUMBER}"
    booking = one.booking
    assert booking is not None
    assert (booking.sender, booking.reference, booking.planned_size) == ("urn:oid:2.999.7", "L-1", "8.0")
    assert (booking.planned_implant, booking.operator) == ("14 x 40", "OP-1")


@pytest.mark.parametrize(
    ("status", "verb"),
    [
        ("booked", Verb.NEW),
        ("arrived", Verb.MODIFY),
        ("cancelled", Verb.CANCEL),
        ("entered-in-error", Verb.CANCEL),
        ("noshow", Verb.NO_SHOW),
    ],
)
def test_statuses(status: str, verb: Verb) -> None:
    booking = read(appointment(status=status)).booking
    assert booking is not None
    assert booking.verb is verb


def test_one_that_is_off_need_say_no_more() -> None:
    bare = {"resourceType": "Appointment", "status": "cancelled", "id": "a", "meta": {"versionId": "7"}}
    for name in ("cancellationReason", "cancelationReason"):
        booking = read(bare | {name: {"coding": [{"code": "pat"}]}}).booking
        assert booking is not None
        assert (booking.theatre, booking.starts_at, booking.duration_min, booking.procedure) == (None,) * 4
        assert (booking.reason, booking.sequence, booking.control) == ("pat", 7, "a/7")


def test_a_place_is_named_by_its_number_else_by_its_reference() -> None:
    by_number = {"type": "Location", "identifier": {"value": "OR-7"}}
    rows = [{"actor": {"reference": "Practitioner/4"}}, {"actor": {"type": "Location"}}, {"actor": by_number}]
    booking = read(appointment(participant=rows)).booking
    assert booking is not None
    assert booking.theatre == "OR-7"


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"status": "proposed"}, "Appointment.status: it is “proposed”, must be one of booked"),
        ({"status": 7}, "Appointment.status: it is nothing"),
        ({"start": None}, "Appointment.start: it is nothing, must be the start of a booked"),
        ({"start": "2027-01-12T08:00:00"}, "Appointment.start: it is “2027-01-12T08:00:00”, must be an instant"),
        ({"start": "soon"}, "it is “soon”"),
        ({"minutesDuration": 0}, "Appointment.minutesDuration: it is “0”"),
        ({"minutesDuration": True}, "it is “True”"),
        ({"minutesDuration": "60"}, "it is “60”, must be a duration of 1 to 1440 min"),
        ({"minutesDuration": None}, "Appointment.end: it is nothing"),
        ({"minutesDuration": None, "end": appointment()["start"]}, "Appointment.end: it is “0”"),
        ({"serviceType": []}, "Appointment.serviceType: it is nothing"),
        ({"serviceType": "BRO"}, "Appointment.serviceType: it is nothing"),
        ({"participant": [7]}, "Appointment.participant.actor: it is nothing"),
        ({"identifier": [], "id": ""}, "Appointment.identifier.value: it is nothing"),
        ({"meta": {"lastUpdated": "yesterday"}}, "Appointment.meta.lastUpdated: it is “yesterday”"),
        ({"id": "9" * 61}, "Appointment.id: it is “999"),
    ],
)
def test_each_fault_names_its_element(fields: dict[str, Any], words: str) -> None:
    assert words in fault(**fields)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"{", "no JSON"),
        (b"\xff", "no JSON"),
        (b"[" * 100_000, "no JSON"),
        (b"[]", "resourceType: it is nothing"),
        (b"{}", "resourceType: it is nothing"),
        (b'{"resourceType": "Patient"}', "resourceType: it is “Patient”, must be Appointment"),
        (b'{"resourceType": "Bundle"}', "resourceType: it is “Bundle”"),
        (b'{"resourceType": "Bundle", "entry": [7]}', "resourceType: it is “Bundle”"),
        (b'{"resourceType": "Bundle", "entry": [{"resource": {"resourceType": "Slot"}}]}', "it is “Slot”"),
    ],
)
def test_what_is_no_appointment(data: bytes, words: str) -> None:
    with pytest.raises(Unreadable) as wrong:
        appointments_in(data)
    assert words in str(wrong.value)


def test_one_that_does_not_say_when_it_was_changed_is_known_again_by_when_it_came() -> None:
    """Else one that is changed and changed back would be taken for the first."""
    dated, bare = appointment(), appointment(meta={})
    later = AT + timedelta(minutes=1)
    assert original_of(dated, at=AT) == original_of(dict(reversed(dated.items())), at=later)
    assert original_of(bare, at=AT) != original_of(bare, at=later)


# The patient


def test_nothing_of_the_patient_is_kept() -> None:
    other = {"url": "http://example.org/name", "valueString": NAME}
    deep: Any = NAME
    for _ in range(DEEPEST + 1):
        deep = [deep]
    resource = appointment(
        extension=[other],
        contained=[{"resourceType": "Patient", "name": [{"family": NAME}]}],
        text={"div": NAME},
        serviceType=[{"concept": {"coding": [{"code": "BRO"}], "text": f"for {NAME}"}}],
        created=deep,
    )
    found = read(resource)
    assert found.booking is not None
    assert all(word not in found.kept + repr(found) for word in (NAME, GIVEN, NUMBER))
    assert json.loads(found.kept)["identifier"] == appointment()["identifier"]


def test_the_patient_s_number_as_the_case_s_is_a_fault_that_does_not_quote_it() -> None:
    found = read(appointment(identifier=[{"value": NUMBER}]))
    assert "a name or number of the patient" in found.faults[0].sentence
    assert NUMBER not in repr(found)


# Writing


@pytest.mark.parametrize("cancelled", [False, True])
def test_what_is_written_is_fhir_and_reads_the_same(cancelled: bool) -> None:
    case = replace(PLANNED, cancelled=cancelled)
    readings = []
    for version, model in ((R5, AppointmentR5), (R4B, AppointmentR4B)):
        written = write_appointment(case, at=AT, version=version)
        parsed = model(**written)
        assert (parsed.status, parsed.minutesDuration) == ("cancelled" if cancelled else "booked", 50)
        readings.append(read(written).booking)
    assert readings[0] == readings[1]
    assert readings[0] is not None
    assert (readings[0].starts_at, readings[0].theatre, readings[0].planned_size) == (AT, "TH1", "8.0")


def test_a_bundle_is_fhir_and_reads_the_same() -> None:
    text = bundle([PLANNED, replace(PLANNED, reference="L-0402", planned_size="")], at=AT)
    assert BundleR5(**json.loads(text)).total == 2
    readings = [read(one).booking for one in appointments_in(text.encode())]
    assert [(one.reference, one.planned_size) for one in readings if one] == [("L-0401", "8.0"), ("L-0402", "")]


def test_a_case_that_others_are_told_of_is_whole() -> None:
    for wrong in ({"duration_min": 0}, {"starts_at": datetime(2027, 1, 12)}):  # noqa: DTZ001
        with pytest.raises(ValueError, match="a start with its zone"):
            replace(PLANNED, **wrong)


NAMES = ["actor", "reference", "coding", "code", "meta", "identifier", "value", "status", "start", "url"]
PLAIN = st.none() | st.integers() | st.text(max_size=4)


@given(
    st.recursive(
        PLAIN,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(NAMES), inner),
        max_leaves=12,
    )
)
def test_whatever_stands_there_is_read_or_a_fault(node: Any) -> None:
    for name in appointment():
        found = read(appointment() | {name: node})
        assert (found.booking is None) == bool(found.faults)
