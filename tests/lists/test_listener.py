"""The listener on a real socket: frames however they come, answers after the commit, an end that loses nothing."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError

from lists import actions
from lists.intake.mllp import END, START, framed
from lists.intake.segments import MOST_BYTES
from lists.management.commands.listen_hl7 import Listener, answer
from lists.models import Case, Message, MessageState, Procedure, Theatre
from tests.lists.sending import GIVEN, NAME, NUMBER, siu
from tests.test_serve import ROOT, START_S, free_port, shape

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.locking]
WAIT_S = 30


@pytest.fixture(autouse=True)
def _unit(db: None) -> None:
    Theatre.objects.get_or_create(code="TH-A", defaults={"name": "Theatre A"})
    Procedure.objects.get_or_create(code="BRO", defaults={"name": "Bronchoscopy"})


@pytest.fixture
def listener() -> Iterator[Listener]:
    with Listener(("127.0.0.1", 0)) as made:
        running = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.05})
        running.start()
        yield made
        made.stop()
        running.join(WAIT_S)


@contextmanager
def calling(port: int) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port), timeout=WAIT_S) as line:
        yield line


def heard(line: socket.socket, messages: int = 1) -> list[str]:
    """So many answers."""
    data = b""
    while data.count(END) < messages:
        got = line.recv(65_536)
        assert got, data
        data += got
    return [part.rpartition(START)[2].decode() for part in data.split(END)[:-1]]


def code(said: str) -> str:
    """The acknowledgement code of an answer."""
    return next(line.split("|")[1] for line in said.split("\r") if line.startswith("MSA"))


def test_a_message_in_many_packets_is_answered_once_it_is_kept(listener: Listener) -> None:
    with calling(listener.server_address[1]) as line:
        stream = b"garbage\r\n" + framed(siu())
        for at in range(0, len(stream), 50):
            line.sendall(stream[at : at + 50])
            time.sleep(0.01)
        (said,) = heard(line)
        assert code(said) == "AA"
        assert Message.objects.get().state == MessageState.APPLIED
        assert "Case" in said


def test_several_messages_in_one_packet_are_answered_in_their_order(listener: Listener) -> None:
    with calling(listener.server_address[1]) as line:
        messages = [siu(), siu(control="2").replace(b"SIU^S12", b"ADT^A01"), siu(control="3", theatre="OR-7")]
        line.sendall(b"".join(map(framed, [*messages, siu(control="4").replace(b"|MIN|", b"|DAYS|")])))
        said = heard(line, 4)
    assert [code(one) for one in said] == ["AA", "AR", "AA", "AE"]
    assert [f"|{one.split('MSA|')[1].split('|')[1]}|" for one in said] == ["|1|", "|2|", "|3|", "|4|"]
    assert sorted(Message.objects.values_list("state", flat=True)) == ["applied", "refused", "waiting"]


def test_a_frame_that_is_too_long_is_cut_off_and_the_line_stays_open(listener: Listener) -> None:
    with calling(listener.server_address[1]) as line:
        line.sendall(START + b"1" * (MOST_BYTES + 1))
        assert code(heard(line)[0]) == "AR"
        line.sendall(END + framed(siu()))
        assert code(heard(line)[0]) == "AA"


def test_a_sender_that_hangs_up_before_its_answer_asks_again(listener: Listener) -> None:
    with calling(listener.server_address[1]) as line:
        line.sendall(framed(siu()))
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
    until = time.monotonic() + WAIT_S
    while not Message.objects.exists():
        assert time.monotonic() < until
        time.sleep(0.05)
    with calling(listener.server_address[1]) as line:
        line.sendall(framed(siu()))
        assert code(heard(line)[0]) == "AA"
    assert Message.objects.count() == Case.objects.count() == 1


def test_two_lines_with_the_same_message_keep_it_once(listener: Listener) -> None:
    actions.list_system()
    port = listener.server_address[1]
    with calling(port) as one, calling(port) as other:
        for line in (one, other):
            line.sendall(framed(siu()))
        assert [code(heard(line)[0]) for line in (one, other)] == ["AA", "AA"]
    assert Message.objects.count() == Case.objects.count() == 1


def test_one_line_more_than_there_is_room_for_is_closed(listener: Listener, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listener, "room", threading.BoundedSemaphore(1))
    port = listener.server_address[1]
    with calling(port) as one:
        one.sendall(framed(siu()))
        heard(one)
        with calling(port) as other:
            assert other.recv(1) == b""


def test_each_answer_of_its_kind_and_none_names_the_patient(
    settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    assert b"MSA|AR|unknown|" in answer(b"\xff\xfe")
    assert b"MSA|AR|1|Cannot read the frame" in answer(siu() + siu())
    assert b"MSA|AR|1|Cannot read MSH-18" in answer(siu().replace(b"BRO", b"\xe4"))
    settings.LIST_KEY_FILE = tmp_path / "none"
    assert b"MSA|AE|1|It could not be kept. Send it again." in answer(siu())
    person = actions.list_system()
    person.duties.all().delete()
    assert b"MSA|AE|1|Cannot take in messages" in answer(siu())

    def lost(*_: Any, **__: Any) -> None:
        raise DatabaseError(f"value {NAME}")

    monkeypatch.setattr(actions, "list_system", lost)
    said = answer(siu(control="9", reference=NUMBER)) + answer(siu())
    assert b"It could not be kept" in said
    for word in (NAME, GIVEN, NUMBER):
        assert word not in said.decode() + caplog.text


def test_it_says_why_it_cannot_listen(settings: Any, tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(CommandError, match=r"Cannot listen on 127\.0\.0\.1:"):
            call_command("listen_hl7", port=taken.getsockname()[1])
    settings.LIST_KEY_FILE = tmp_path / "none"
    with pytest.raises(CommandError, match="Cannot hash patients"):
        call_command("listen_hl7", port=0)


# As a process of its own


def started(data: Path, port: int) -> subprocess.Popen[str]:
    command = [sys.executable, "manage.py", "listen_hl7", "--port", str(port)]
    process = subprocess.Popen(command, cwd=ROOT, env=shape(data), stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert f"Listening for HL7 on 127.0.0.1:{port}" in process.stdout.readline()
    return process


def test_killed_after_the_commit_it_takes_the_message_that_is_sent_again_once(tmp_path: Path) -> None:
    """The sender reads no answer, the process is killed; sent again, the message is the one that is kept."""
    migrate = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
    subprocess.run(migrate, cwd=ROOT, env=shape(tmp_path), check=True, timeout=START_S * 4)
    port = free_port()
    with started(tmp_path, port) as process, calling(port) as line:
        assert (tmp_path / "list_key").stat().st_mode & 0o777 == 0o600
        line.sendall(framed(siu()))
        until = time.monotonic() + WAIT_S
        while kept_in(tmp_path) == 0:
            assert time.monotonic() < until
            time.sleep(0.1)
        process.send_signal(signal.SIGKILL)
    with started(tmp_path, port) as process, calling(port) as line:
        line.sendall(framed(siu()))
        assert code(heard(line)[0]) == "AA"
        process.send_signal(signal.SIGTERM)
        assert process.wait(WAIT_S) == os.EX_OK, "an open line does not hold it"
    assert kept_in(tmp_path) == 1
    files = b"".join(path.read_bytes() for path in tmp_path.iterdir() if path.is_file())
    assert b"L-1" in files
    for word in (NAME, GIVEN, NUMBER):
        assert word.encode() not in files


def kept_in(data: Path) -> int:
    """Messages in the database of that folder."""
    with sqlite3.connect(data / "lumenkeep.sqlite3", timeout=WAIT_S) as database:
        return int(database.execute("SELECT count(*) FROM lists_message").fetchone()[0])
