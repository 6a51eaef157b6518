"""Records that come by themselves: left in a folder, taken in once, matched to a load by a person or set aside."""

from __future__ import annotations

import os
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from journal.models import Notice
from journal.roles import Role
from reprocessing import actions
from reprocessing.folder import LONGEST_NAME, MOST_BYTES
from reprocessing.models import Arrival, ArrivalState, Load, Machine, MachineColumns, Trace
from reprocessing.reads import loads_of_record
from reprocessing.tasks import take_in_records
from tests import makers
from tests.makers import AT, act, at_once
from tests.reprocessing import makers as make
from tests.reprocessing.makers import ENDED, refused
from tests.reprocessing.pages import Browser, page

pytestmark = [pytest.mark.django_db, pytest.mark.storage, pytest.mark.jobs]
COLUMNS = ("t_s=t_s", "cycle=unread", "p1_c=c", "p2_c=c", "chamber_bar_abs=bar_abs")


@pytest.fixture
def drop(tmp_path: Path, settings: Any) -> Path:
    settings.DROP_DIR = tmp_path / "drop"
    settings.DROP_DIR.mkdir()
    return Path(settings.DROP_DIR)


def leave(folder: Path, name: str, content: bytes | str, *, ago_s: float = 60) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    then = timezone.now().timestamp() - ago_s
    os.utime(path, (then, then))
    return path


def arrival(content: str = "", machine: str = "") -> Arrival:
    assert actions.take_in("cycle.csv", content or make.steam_trace(), machine, at=AT)
    row: Arrival = Arrival.objects.waiting().latest("pk")
    return row


def names(folder: Path) -> list[str]:
    return sorted(path.name.split("-", 1)[-1] for path in folder.rglob("*") if path.is_file())


def began(load: Load, *, offset: timedelta = timedelta()) -> str:
    """A record whose times say when it began."""
    start = (load.started_at or AT) + offset
    rows = [f"{(start + timedelta(seconds=at * 5)).isoformat()},{20 + at}" for at in range(5)]
    return "\n".join(["time,p1_c", *rows])


# The folder


def test_a_file_is_kept_as_received_and_waits(drop: Path) -> None:
    machine = make.machine()
    content = make.steam_trace().replace("\n", "\r\n")
    leave(drop / machine.code, "cycle 7.csv", "\ufeff" + content)
    take_in_records()
    row = Arrival.objects.get()
    assert (row.machine, row.file_name, row.content) == (machine, "cycle 7.csv", "\ufeff" + content)
    assert names(drop / "kept" / machine.code) == ["cycle 7.csv"]
    assert not list((drop / machine.code).iterdir())
    notice = Notice.objects.get(topic="records")
    assert (notice.role, notice.link) == (Role.TECHNICIAN, "/records/")
    assert machine.name in notice.sentence
    actions.set_record_aside(row.pk, reason="a trial", act=act())
    take_in_records()
    assert Notice.objects.get(topic="records").closed_at is not None


def test_the_same_file_twice_is_one_record(drop: Path) -> None:
    content = make.steam_trace()
    for name in ("one.csv", "two.csv"):
        leave(drop, name, content)
        take_in_records()
    load = make.ended()
    actions.match_record(Arrival.objects.get().pk, load.code, act=act(at=ENDED))
    leave(drop, "three.csv", content)
    take_in_records()
    assert Arrival.objects.count() == Trace.objects.count() == 1
    assert names(drop / "kept") == ["one.csv", "three.csv", "two.csv"]


def test_a_file_that_is_known_as_a_trace_is_not_asked_for_again(drop: Path) -> None:
    load, content = make.ended(), make.steam_trace()
    actions.attach_trace(load.code, "cycle.csv", content, act=act(at=ENDED))
    leave(drop, "cycle.csv", content)
    take_in_records()
    assert not Arrival.objects.exists()


def test_what_somebody_still_writes_is_left(drop: Path) -> None:
    leave(drop, "half.csv", "t_s,p1", ago_s=0)
    for name in (".hidden.csv", "copy.part"):
        leave(drop, name, "t_s,p1_c\n0,1\n")
    (drop / "link.csv").symlink_to(drop / "half.csv")
    take_in_records()
    assert not Arrival.objects.exists()
    assert names(drop) == [".hidden.csv", "copy.part", "half.csv", "link.csv"]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("binary.csv", b"\xff\xfe\x00", "it is no text"),
        ("zero.csv", b"t_s\0", "it is no text"),
        ("empty.csv", b" \n", "it is empty"),
        ("long.csv", b"1" * (MOST_BYTES + 1), "must have at most 2097152"),
        ("n" * LONGEST_NAME + ".csv", b"t_s", "its name has 124 characters"),
    ],
)
def test_a_file_that_is_no_record_is_refused_with_its_reason(
    drop: Path, name: str, content: bytes, words: str
) -> None:
    leave(drop, name, content)
    take_in_records()
    row = Arrival.objects.get()
    assert words in row.fault
    assert row.content == ""
    assert "cannot be read" in Notice.objects.get(topic="records").sentence
    (reason,) = (drop / "refused").glob("*.reason.txt")
    assert words in reason.read_text(encoding="utf-8")
    (file,) = (path for path in (drop / "refused").iterdir() if path != reason)
    assert file.read_bytes() == content
    assert row.fault.endswith(f"It lies in {file.relative_to(drop)}.")
    leave(drop, name, content)
    take_in_records()
    assert Arrival.objects.count() == 1
    technician = Browser(make.technician())
    assert words in technician.read("/records/")
    match = partial(actions.match_record, row.pk, make.ended().code, act=act(at=ENDED))
    assert refused(match) == ["record-faulty"]
    assert "is set aside and kept" in technician.send(f"/records/{row.pk}/set-aside/", reason="not of a cycle")


def test_what_was_taken_in_and_not_moved_is_moved_by_the_next_round(drop: Path) -> None:
    content = make.steam_trace()
    actions.take_in("cycle.csv", content, "")
    leave(drop, "cycle.csv", content)
    take_in_records()
    take_in_records()
    assert Arrival.objects.count() == 1
    assert names(drop / "kept") == ["cycle.csv"]


def test_without_a_folder_there_is_nothing_to_do(settings: Any, tmp_path: Path) -> None:
    settings.DROP_DIR = tmp_path / "none"
    take_in_records()
    assert not (tmp_path / "none").exists()


# Matching


def test_a_record_is_matched_judged_and_gone_from_the_list() -> None:
    load = make.ended()
    row = arrival(machine=load.machine.code)
    done = actions.match_record(row.pk, load.code, act=act(at=ENDED))
    assert done.sentence.startswith("Numbers within limits: yes")
    row.refresh_from_db()
    assert (row.state, row.load) == (ArrivalState.MATCHED, load)
    assert Trace.objects.get(load=load).content == row.content
    assert refused(lambda: actions.match_record(row.pk, load.code, act=act())) == ["record-decided"]
    assert refused(lambda: actions.set_record_aside(row.pk, reason="late", act=act())) == ["record-decided"]


def test_a_record_of_another_machine_is_refused() -> None:
    load, other = make.ended(), make.machine()
    row = arrival(machine=other.code)
    assert refused(lambda: actions.match_record(row.pk, load.code, act=act())) == ["record-of-other-machine"]
    assert refused(lambda: actions.match_record(row.pk + 1, load.code, act=act())) == ["unknown-code"]
    assert not Trace.objects.exists()


def test_a_record_that_cannot_be_read_waits_on() -> None:
    load = make.ended()
    row = arrival("t_s,Drum\n0,20\n")
    assert refused(lambda: actions.match_record(row.pk, load.code, act=act())) == ["trace-unreadable"]
    row.refresh_from_db()
    assert row.state == ArrivalState.WAITING
    assert loads_of_record(row) == ([load], None)


def test_setting_aside_takes_the_right_and_a_reason() -> None:
    row = arrival()
    assert refused(lambda: actions.set_record_aside(row.pk, reason=" ", act=act())) == ["reason-missing"]
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.set_record_aside(row.pk, reason="none", act=nurse)) == ["right-missing"]
    with pytest.raises(IntegrityError), transaction.atomic():
        Arrival.objects.filter(pk=row.pk).update(state=ArrivalState.SET_ASIDE)


def test_the_load_that_ran_then_is_named() -> None:
    load = make.running()
    assert loads_of_record(arrival(began(load), load.machine.code)) == ([load], load)
    early = began(load, offset=timedelta(minutes=-11))
    assert loads_of_record(arrival(early, load.machine.code))[1] is None
    load = make.ended(load)
    late = began(load, offset=timedelta(hours=2))
    assert loads_of_record(arrival(late, load.machine.code))[1] is None
    built = make.load(load.machine)
    assert built not in loads_of_record(arrival(began(load, offset=timedelta(seconds=1))))[0]


@make.race
def test_one_record_goes_to_one_load() -> None:
    loads = [make.ended() for _ in range(make.WRITERS)]
    row = arrival()
    results = at_once(
        *(partial(actions.match_record, row.pk, load.code, act=act(at=ENDED)) for load in loads),
    )
    make.one_of(results)
    assert Trace.objects.count() == 1


# Columns


def of_own_names() -> tuple[Load, str]:
    load = make.ended()
    return load, make.steam_trace().replace("p1_c", "Drain").replace("p2_c", "Drum").replace("chamber_bar_abs", "Room")


def state(machine: Machine) -> None:
    columns = ("t_s=t_s", "cycle=unread", "Drain=c", "Drum=c", "Room=bar_abs")
    actions.set_columns(machine.code, columns, act=act())


def test_a_log_of_other_names_is_read_as_stated_and_drawn_so_for_ever() -> None:
    load, content = of_own_names()
    attach = partial(actions.attach_trace, load.code, "c.csv", content, act=act(at=ENDED))
    assert refused(attach) == ["trace-unreadable"]
    state(load.machine)
    assert attach().sentence.startswith("Numbers within limits: yes")
    actions.set_columns(load.machine.code, COLUMNS, act=act())
    assert "trace-temperature" in Browser(make.technician()).source(page(load))
    assert load.machine.lines.filter(verb="set_columns").count() == 2


def test_columns_that_say_too_little_are_refused() -> None:
    machine = make.machine()
    assert refused(lambda: actions.set_columns(machine.code, ("t_s=t_s", "x"), act=act())) == ["columns-unclear"]
    nurse = act(makers.person(Role.NURSE))
    assert refused(lambda: actions.set_columns(machine.code, COLUMNS, act=nurse)) == ["right-missing"]
    assert not MachineColumns.objects.exists()


# Pages and API


def test_the_page_of_records_names_the_load_and_matches() -> None:
    load = make.running()
    row = arrival(began(load), load.machine.code)
    technician = Browser(make.technician())
    assert "Records without a load 1" in technician.read("/loads/")
    text = technician.read("/records/")
    assert f"Load that ran then {load.code}" in text
    refusal = technician.send(f"/records/{row.pk}/match/", load="", back="/records/")
    assert "Cannot take “Its load”: it is not recorded" in refusal
    assert "Numbers within limits: no" in technician.send(f"/records/{row.pk}/match/", load=load.code)
    assert f"cycle.csv matched to {load.code}" in technician.read("/records/")


def test_a_record_is_set_aside_from_its_page() -> None:
    machine, technician = make.machine(), make.technician()
    row = arrival(machine=machine.code)
    text = Browser(technician).send(f"/records/{row.pk}/set-aside/", reason="an empty trial")
    line = machine.lines.get(verb="set_record_aside")
    assert (line.person, line.reason) == (technician, "an empty trial")
    assert line.evidence == {"record": "cycle.csv", "sha256": row.sha256}
    assert "cycle.csv is set aside and kept." in text
    assert "set aside: an empty trial" in text
    assert "Not found by its time" not in text


def test_columns_are_stated_beside_the_first_rows() -> None:
    load, content = of_own_names()
    technician, address = Browser(make.technician()), f"/machines/{load.machine.code}/columns/"
    assert "No record of this machine is here yet" in technician.read(address)
    row = arrival("Log of a cycle\n" + content, load.machine.code)
    assert "Log of a cycle" in technician.read(address)
    assert "Drain" in technician.read(address + "?header_line=2")
    fields = {"header_line": "2", "column_0": "t_s", "column_1": "unread", "column_2": "c", "column_3": "c"}
    assert "Cannot take “Room”: it is not recorded" in technician.send(address, **fields)
    assert "are read by their columns as stated" in technician.send(address, **fields, column_4="bar_abs")
    assert "Stated" in technician.read(address)
    assert "within limits: yes" in technician.send(f"/records/{row.pk}/match/", load=load.code)
    assert "How its records are read" in technician.read(address)


def test_a_load_without_a_record_says_so_and_is_not_released() -> None:
    load = make.ended(by=make.technician())
    make.indicator(load, passed=True)
    assert "trace-missing" in refused(lambda: actions.release(load.code, act=act(make.releaser())))
    client = Client()
    client.force_login(make.releaser())
    checks = client.get(f"/api/loads/{load.code}/").json()["checks"]
    assert next(check["value"] for check in checks if check["slug"] == "trace") == "Not recorded"
    assert "Not recorded. Without the machine’s record" in Browser(make.releaser()).read(page(load))


def test_the_same_record_for_two_loads_is_refused_through_the_api() -> None:
    first, second, content = make.ended(), make.ended(), make.steam_trace()
    actions.attach_trace(first.code, "cycle.csv", content, act=act(at=ENDED))
    client = Client()
    client.force_login(make.technician())
    body = {"load": second.code, "file_name": "again.csv", "content": content}
    key = {"Idempotency-Key": "again"}
    answer = client.post("/api/reprocessing/attach-trace/", body, content_type="application/json", headers=key)
    assert answer.status_code == 409
    assert answer.json()["findings"][0]["slug"] == "trace-of-other-load"
