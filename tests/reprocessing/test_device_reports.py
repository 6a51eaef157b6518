"""A machine's own message as evidence: kept once, of its machine, beside the record; it never passes a cycle."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from journal.findings import Refused
from reprocessing import actions
from reprocessing.models import Arrival, DeviceReport, Load, Trace
from reprocessing.reads import loads_of_record
from reprocessing.tasks import take_in_records
from tests import makers
from tests.makers import act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.device_messages import device_message
from tests.reprocessing.makers import DECIDED, ENDED, refused
from tests.reprocessing.pages import Browser, page
from tests.reprocessing.test_intake import leave, names

pytestmark = [pytest.mark.django_db, pytest.mark.storage, pytest.mark.jobs]


@pytest.fixture
def drop(tmp_path: Path, settings: Any) -> Path:
    settings.DROP_DIR = tmp_path / "drop"
    return Path(settings.DROP_DIR)


def attach(load: Load, content: str, name: str = "cycle.hl7") -> Any:
    return actions.attach_trace(load.code, name, content, act=act(at=ENDED))


def of(load: Load, **fields: str) -> str:
    """A message of the machine of a load, known by its code."""
    return device_message(sdd_2=load.machine.code, **fields)


def numbered(load: Load, number: str = "AC-1") -> Load:
    actions.set_device_number(load.machine.code, number, act=act())
    return load


def stamp(load: Load, offset: timedelta = timedelta()) -> str:
    assert load.started_at is not None
    return f"{load.started_at + offset:%Y%m%d%H%M%S%z}"


# Attached to a load


def test_a_message_is_kept_as_received_and_shown() -> None:
    load = numbered(make.complete())
    content = device_message(control_id="4711", scd_2="17")
    done = attach(load, content)
    assert done.sentence.endswith("no abort or invalid phase reported.")
    report = DeviceReport.objects.get()
    assert (report.load, report.content, report.control_id) == (load, content, "4711")
    assert load.lines.filter(verb="attach_message").count() == 1
    text = Browser(make.releaser()).read(page(load))
    for words in ("Message 4711", "Device AC-1", "Sterilizing time 3min 20s", "Highest temperature 134.7 °C"):
        assert words in text
    assert "Nothing it says differs from the record." in text
    actions.release(load.code, act=act(make.releaser(), at=DECIDED))


def test_a_message_alone_never_passes_a_cycle() -> None:
    load = make.ended(by=make.technician())
    make.indicator(load, passed=True)
    attach(load, of(load))
    release = partial(actions.release, load.code, act=act(make.releaser(), at=DECIDED))
    assert refused(release) == ["trace-missing"]


@pytest.mark.parametrize("notice", ["scd_19", "scd_20"])
def test_an_aborted_cycle_is_not_released_whatever_the_record_shows(notice: str) -> None:
    load = make.complete()
    attach(load, of(load, **{notice: "Y"}))
    release = partial(actions.release, load.code, reason="all the same", act=act(make.releaser(), at=DECIDED))
    assert refused(release) == ["machine-message-failed"]
    attach(load, of(load))  # a later message takes nothing back
    assert refused(release) == ["machine-message-failed"]
    actions.reject(load.code, reason="aborted", act=act(make.releaser(), at=DECIDED))


def test_message_and_record_that_differ_are_a_finding_that_needs_a_reason() -> None:
    load = make.complete()
    done = attach(load, of(load, scd_7="60^s", scd_2="99"))
    assert [finding["slug"] for finding in done.findings] == ["cycle-number-differs", "hold-differs"]
    text = Browser(make.releaser()).read(page(load))
    assert "The message says 1min of sterilizing; the trace shows a hold of 3min 20s." in text
    assert "Why it may go out although message and record differ" in text
    release = partial(actions.release, load.code, act=act(make.releaser(), at=DECIDED))
    assert refused(release) == ["difference-unexplained"]
    assert release(reason="the message is of the warm-up").state == "released"


def test_the_same_message_twice_is_one() -> None:
    load, other = numbered(make.ended()), make.ended()
    content = device_message(control_id="4711")
    attach(load, content)
    again = content.replace("20261125101500+0100", "20261125102000+0100")
    for twice in (content, again):
        assert "attached to" in attach(load, twice).sentence
    assert refused(lambda: attach(load, content.replace("200^s", "100^s"))) == ["message-number-reused"]
    moved = make.ended(make.running(make.load(load.machine, makers.pack())))
    assert refused(lambda: attach(moved, again)) == ["message-of-other-load"]
    assert refused(lambda: attach(other, device_message())) == ["message-of-other-machine"]
    assert refused(lambda: attach(make.ended(), device_message(sdd_2="XX"))) == ["message-of-other-machine"]
    assert refused(lambda: attach(load, content.replace("SCD", "ZCD"))) == ["message-unreadable"]
    assert DeviceReport.objects.count() == 1


def test_a_load_that_is_decided_takes_no_message() -> None:
    load = make.released()
    assert refused(lambda: attach(load, of(load))) == ["wrong-state"]


def test_a_message_is_uploaded_like_a_log_and_read_through_the_api() -> None:
    load = make.ended()
    file = SimpleUploadedFile("cycle.hl7", of(load, control_id="4712").encode())
    technician = make.technician()
    assert "is kept with" in Browser(technician).send(page(load) + "attach/", content=file)
    client = Client()
    client.force_login(technician)
    body = {"load": load.code, "file_name": "again.hl7", "content": DeviceReport.objects.get().content}
    key = {"Idempotency-Key": "again"}
    answer = client.post("/api/reprocessing/attach-trace/", body, content_type="application/json", headers=key)
    assert "4712 is attached to" in answer.json()["sentence"]
    checks = client.get(f"/api/loads/{load.code}/").json()["checks"]
    assert {"machine-message", "message-agrees"} <= {check["slug"] for check in checks}


# Left in the folder


def test_a_message_waits_until_a_person_matches_it(drop: Path) -> None:
    load = numbered(make.running())
    leave(drop, "one.hl7", device_message(control_id="1", scd_11=stamp(load)))
    leave(drop, "none.hl7", device_message(control_id="2", scd_11=stamp(load, timedelta(days=-3))))
    take_in_records()
    rows = {row.control_id: row for row in Arrival.objects.all()}
    assert {row.machine for row in rows.values()} == {load.machine}
    assert loads_of_record(rows["1"]) == ([load], load)
    assert loads_of_record(rows["2"]) == ([load], None)
    actions.match_record(rows["1"].pk, load.code, act=act(at=ENDED))
    assert DeviceReport.objects.get().load == load
    assert not Trace.objects.exists()
    assert "Records without a load 1" in Browser(make.technician()).read("/records/")


def test_the_same_file_or_number_twice_is_one_record(drop: Path) -> None:
    load = numbered(make.running())
    content = device_message(control_id="1")
    resent = content.replace("20261125101500+0100", "20261125102000+0100")
    for name, text in (("a.hl7", content), ("b.hl7", content), ("c.hl7", resent)):
        leave(drop, name, text)
        take_in_records()
    row = Arrival.objects.get()
    actions.match_record(row.pk, load.code, act=act(at=ENDED))
    for name, text in (("d.hl7", content), ("e.hl7", resent)):
        leave(drop, name, text)
        take_in_records()
    assert Arrival.objects.count() == 1
    other = content.replace("200^s", "100^s")
    leave(drop, "f.hl7", other)
    take_in_records()
    assert "is that of another message of AC-1" in Browser(make.technician()).read("/records/")
    assert len(names(drop / "kept")) == 6


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        (lambda text: text.encode().replace(b"STERILISER", b"STERILISER\xff"), "it is no text, must be UTF-8 text"),
        (lambda text: text.replace("SCD|", "ZCD|").encode(), "it lacks the segment SCD, must have one of it"),
        (lambda text: text.replace("AC-1", "AC-9").encode(), "must be the device number or code of a machine here"),
        (lambda text: text.replace("134.7^Cel", "134.7^C").encode(), "its unit is “C”|its unit is &quot;C&quot;"),
    ],
)
def test_what_is_spoilt_is_kept_and_shown_with_what_was_expected(drop: Path, spoilt: Any, words: str) -> None:
    numbered(make.running())
    leave(drop, "bad.hl7", spoilt(device_message()))
    take_in_records()
    row = Arrival.objects.get()
    text = Browser(make.technician()).source("/records/")
    assert any(part in text for part in words.split("|"))
    assert "Match record" not in text
    match = partial(actions.match_record, row.pk, make.ended().code, act=act(at=ENDED))
    assert refused(match)[0] == "record-faulty"
    assert actions.set_record_aside(row.pk, reason="sent again", act=act()).state == "set aside"


def test_a_message_in_the_folder_of_another_machine_is_not_taken_for_it(drop: Path) -> None:
    load, other = numbered(make.running()), make.machine()
    leave(drop / other.code, "a.hl7", device_message())
    take_in_records()
    text = Browser(make.technician()).read("/records/")
    assert f"it is of {load.machine}, must be of {other}" in text


def test_a_machine_that_is_named_later_makes_its_message_whole(drop: Path) -> None:
    load = make.running()
    leave(drop, "a.hl7", device_message())
    take_in_records()
    technician = Browser(make.technician())
    assert "must be the device number" in technician.read("/records/")
    address = f"/machines/{load.machine.code}/device-number/"
    assert "names itself AC-1 in its messages" in technician.send(address, number=" AC-1 ")
    assert "Match record" in technician.read("/records/")
    assert "is kept with" in technician.send(f"/records/{Arrival.objects.get().pk}/match/", load=load.code)


# Device numbers


def test_a_device_number_is_of_one_machine() -> None:
    first, second = make.machine(), make.machine()
    actions.set_device_number(first.code, "AC-1", act=act())
    for taken in ("AC-1", first.code):
        give = partial(actions.set_device_number, second.code, taken, act=act())
        assert refused(give) == ["device-number-taken"]
    actions.set_device_number(first.code, "", act=act())
    actions.set_device_number(second.code, "AC-1", act=act())
    assert first.lines.filter(verb="set_device_number").count() == 2
    nurse = act(makers.person())
    assert refused(lambda: actions.set_device_number(first.code, "X", act=nurse)) == ["right-missing"]


@make.race
def test_one_message_goes_to_one_load() -> None:
    first = numbered(make.ended())
    loads = [first, *(make.ended(make.running(make.load(first.machine, makers.pack()))) for _ in range(3))]
    content = device_message()
    make.one_of(at_once(*(partial(attach, load, content) for load in loads)))
    assert DeviceReport.objects.count() == 1


@make.race
def test_two_machines_given_one_device_number_at_once() -> None:
    machines = [make.machine() for _ in range(4)]
    gives = [partial(actions.set_device_number, one.code, "AC-1", act=act()) for one in machines]
    results = at_once(*gives)
    make.one_of(results)
    codes = [finding.slug for one in results if isinstance(one, Refused) for finding in one.findings]
    assert codes == ["device-number-taken"] * 3
