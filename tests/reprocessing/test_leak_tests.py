"""The air leakage test recorded from its pressure: what the record shows, who signs, what a failed one does."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from journal.roles import Role
from reprocessing import actions
from reprocessing.models import Arrival, ArrivalState, Machine, MachineTest
from reprocessing.states import MachineState
from tests import makers
from tests.makers import AT, act
from tests.reprocessing import makers as make
from tests.reprocessing.makers import refused
from tests.reprocessing.pages import PASSWORD, Browser

pytestmark = [pytest.mark.django_db, pytest.mark.storage]


def leak_log(rate_mbar_min: float, *, hold_s: int = 1000, start_mbar: float = 60.0) -> str:
    """Pumped down for 200 s, then shut off: a row every 5 s."""
    rows = ["t_s,p1_c,chamber_mbar_abs"]
    for at in range(0, 201 + hold_s, 5):
        falling = 1000.0 - (1000.0 - start_mbar) * min(at, 200) / 200
        rows.append(f"{at},40.0,{falling + max(at - 200, 0) * rate_mbar_min / 60:.4f}")
    return "\n".join(rows)


def left(machine: Machine, content: str) -> Arrival:
    done = actions.leave_record(machine.code, "leak.csv", content, act=act())
    return Arrival.objects.get(pk=done.pk)


def record(row: Arrival, **said: Any) -> Any:
    return actions.record_leak_test(row.pk, **said, act=act())


def test_a_leak_within_its_limit_passes_with_its_figures() -> None:
    """1.3 mbar/min over 600 s after 300 s: EN 285 and HTM 2010, read second-hand."""
    machine = make.machine()
    row = left(machine, leak_log(1.3))
    done = record(row, note="after the seal was changed")
    assert done.sentence.endswith("has passed. Air leakage 1.30 mbar/min over 600 s.")
    test = MachineTest.objects.get(record=row)
    assert (test.kind, test.result, test.note) == ("air leakage", "passed", "after the seal was changed")
    assert test.judgement is not None
    assert test.judgement["numbers"]["leak_rate_mbar_min"] == pytest.approx(1.3)
    assert test.judgement["confirm_locally"]
    row.refresh_from_db()
    assert (row.state, row.load) == (ArrivalState.TESTED, None)
    assert refused(lambda: record(row)) == ["record-decided"]


def test_a_greater_leak_takes_the_machine_out_of_service_and_doubts_its_loads() -> None:
    load = make.ended()
    done = record(left(load.machine, leak_log(1.4)))
    load.machine.refresh_from_db()
    assert load.machine.state == MachineState.OUT_OF_SERVICE
    assert "it is out of service. Air leakage 1.40 mbar/min" in done.sentence
    assert [finding["slug"] for finding in done.findings] == ["load-in-doubt"]


def test_a_record_that_shows_no_whole_test_is_refused() -> None:
    machine = make.machine()
    row = left(machine, leak_log(0.5, hold_s=400))
    assert refused(lambda: record(row)) == ["leak-not-covered"]
    assert refused(lambda: record(left(machine, make.wash_trace()))) == ["leak-not-recorded"]
    assert refused(lambda: record(left(machine, "t_s,Drum\n0,1\n"))) == ["trace-unreadable"]
    assert not MachineTest.objects.exclude(record=None).exists()
    machine.refresh_from_db()
    assert machine.state == MachineState.IN_SERVICE


def test_the_moment_of_shutting_off_may_be_stated() -> None:
    row = left(make.machine(), leak_log(1.0, hold_s=1000))
    assert refused(lambda: record(row, hold_from_s=500.0)) == ["leak-not-covered"]
    assert record(row, hold_from_s=250.0).state == MachineState.IN_SERVICE


def test_who_may_not_and_what_has_no_such_test() -> None:
    machine, nurse = make.machine(), act(makers.person(Role.NURSE))
    row = left(machine, leak_log(1.0))
    assert refused(lambda: actions.record_leak_test(row.pk, act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.leave_record(machine.code, "a.csv", "t_s", act=nurse)) == ["right-missing"]
    assert refused(lambda: actions.record_leak_test(row.pk + 9, act=act())) == ["unknown-code"]
    assert refused(lambda: record(left(make.washer(), leak_log(0.9)))) == ["no-such-test"]
    assert actions.take_in("stray.csv", leak_log(0.7), "", at=AT)
    assert refused(lambda: record(Arrival.objects.get(file_name="stray.csv"))) == ["record-of-no-machine"]
    actions.note_refused("bad.csv", "0" * 64, "it is no text", machine.code)
    assert refused(lambda: record(Arrival.objects.get(file_name="bad.csv"))) == ["trace-unreadable"]


def test_a_record_that_is_known_is_not_left_again() -> None:
    machine = make.machine()
    row = left(machine, leak_log(1.0))
    assert left(machine, leak_log(1.0)) == row
    assert machine.lines.filter(verb="leave_record").count() == 1
    record(row)
    assert refused(lambda: left(machine, leak_log(1.0))) == ["record-known"]
    load = make.complete()
    assert refused(lambda: left(load.machine, load.traces.get().content)) == ["record-known"]


def test_the_test_is_looked_at_and_signed_on_its_page() -> None:
    machine, person = make.machine(), make.technician()
    browser = Browser(person)
    file = SimpleUploadedFile("leak.csv", leak_log(1.25).encode())
    text = browser.send(f"/machines/{machine.code}/leak-record/", content=file)
    row = Arrival.objects.get()
    for words in ("1.25 mbar/min over 600 s", "At most 1.3 mbar/min", "Within limits", "Confirm locally"):
        assert words in text
    address = f"/records/{row.pk}/leak-test/"
    assert "Not recorded" in browser.read(address + "?hold_from_s=600")
    assert "the password does not match" in browser.send(address + "sign/", password="no", back=address)
    assert not MachineTest.objects.exclude(record=None).exists()
    assert f"Look at it as a leak test of {machine}" in browser.read("/records/")
    text = browser.send(address + "sign/", password=PASSWORD)
    assert "has passed. Air leakage 1.25 mbar/min" in text
    assert "leak.csv" in browser.read(f"/machines/{machine.code}/")
    assert f"taken as a leak test of {machine}" in browser.read("/records/")
    test = MachineTest.objects.get(record=row)
    assert test.by == person
    assert machine.lines.filter(verb="record_test").latest("pk").method == "signature"
    assert timezone.now() >= test.at


def test_what_cannot_be_read_says_so_on_the_page() -> None:
    row = left(make.machine(), "t_s,Drum\n0,1\n")
    text = Browser(make.technician()).read(f"/records/{row.pk}/leak-test/")
    assert "Cannot read the header" in text
    assert "Record leak test" not in text
    failing = left(make.machine(), leak_log(2.0))
    assert "takes the machine out of service" in Browser(make.technician()).read(f"/records/{failing.pk}/leak-test/")
