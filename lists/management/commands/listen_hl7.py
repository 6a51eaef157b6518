"""`manage.py listen_hl7`: take SIU messages of list systems over MLLP and answer each once it is kept."""

from __future__ import annotations

import logging
import secrets
import signal
import socketserver
import threading
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, close_old_connections, connection
from django.utils import timezone

from journal.actions import Act
from journal.findings import Refused
from lists import actions
from lists.intake.emitting import answer_code, write_ack
from lists.intake.mllp import Frames, framed
from lists.intake.scheduling import Fault, Unreadable
from lists.intake.segments import MOST_BYTES, only_message
from lists.intake.siu import read_siu, rejects

log = logging.getLogger(__name__)

PACKET_BYTES = 65_536
LOOK_UP_S = 0.5  # how often a quiet connection looks whether it is to end
MOST_CONNECTIONS = 32


class Conversation(socketserver.BaseRequestHandler):
    """One connection: message by message, each answered when it is committed."""

    server: Listener

    def handle(self) -> None:
        """Answer until the sender or we hang up; a message under way is answered first."""
        frames = Frames(MOST_BYTES)
        try:
            while not self.server.ends.is_set():
                data = self._heard()
                if data == b"":
                    return
                for message in frames.feed(data or b""):
                    self.request.settimeout(None)
                    self.request.sendall(framed(answer(message)))
        except ConnectionError:
            return  # the sender asks again
        finally:
            connection.close()

    def _heard(self) -> bytes | None:
        """What came; None = nothing yet, empty = the sender has hung up."""
        self.request.settimeout(LOOK_UP_S)
        try:
            return bytes(self.request.recv(PACKET_BYTES))
        except TimeoutError:
            return None


class Listener(socketserver.ThreadingTCPServer):
    """The door for list systems."""

    allow_reuse_address = True
    daemon_threads = False
    block_on_close = True

    def __init__(self, address: tuple[str, int]) -> None:
        self.ends = threading.Event()
        self.room = threading.BoundedSemaphore(MOST_CONNECTIONS)
        super().__init__(address, Conversation)

    def verify_request(self, request: Any, client_address: Any) -> bool:
        """Whether there is room for one more connection."""
        return self.room.acquire(blocking=False)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Let the next one in when this one has ended."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self.room.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say that a conversation broke off, and nothing of what was said in it."""
        log.error("A conversation with %s broke off.", client_address[0], exc_info=False)

    def stop(self) -> None:
        """Take no more connections, and let those that are open end."""
        self.ends.set()
        self.shutdown()


def answer(message: bytes | None) -> bytes:
    """Keep and apply one message, and acknowledge it; nothing of the patient stands in the answer.

    Args:
        message: as it was framed; None = it was too long and is cut off.
    """
    at = timezone.now()
    if message is None:
        long = Fault("the message", f"more than {MOST_BYTES} bytes", f"at most {MOST_BYTES} bytes long")
        return _acknowledged(b"", "AR", long.sentence, (), at)
    close_old_connections()
    try:
        one = only_message(message)
        reading = read_siu(one, zone=timezone.get_default_timezone())
        if rejects(reading.faults):
            return _acknowledged(one, "AR", reading.faults[0].sentence, reading.faults, at)
        act = Act(by=actions.list_system(), at=at, method="message")
        kept = actions.take_in_message(reading, one, act=act)
    except Unreadable as wrong:
        return _acknowledged(message, "AR", str(wrong), wrong.faults, at)
    except Refused as refused:
        return _acknowledged(message, "AE", str(refused), (), at)
    except (DatabaseError, ValueError) as wrong:
        log.error("A message was not kept: %s.", type(wrong).__name__)  # noqa: TRY400 - its values may be a patient's
        return _acknowledged(message, "AE", "It could not be kept. Send it again.", (), at)
    return _acknowledged(one, answer_code(kept.state, reading.faults), kept.sentence, reading.faults, at)


def _acknowledged(message: bytes, code: str, text: str, faults: tuple[Fault, ...], at: datetime) -> bytes:
    control = secrets.token_hex(10)
    return write_ack(message, code, text, faults=faults, at=timezone.localtime(at), control=control).encode("ascii")


class Command(BaseCommand):
    """Listen until Ctrl-C or SIGTERM."""

    help = "Take HL7 SIU messages of list systems over MLLP. The protocol has no sign-in and no encryption."
    requires_migrations_checks = True

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: %(default)s)")
        parser.add_argument("--port", type=int, default=2575, help="port to listen on (default: %(default)s)")

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        """Look whether patients can be hashed, take the port, answer."""
        try:
            actions.pseudonyms()
        except ValueError as refusal:
            raise CommandError(str(refusal)) from refusal
        try:
            listener = Listener((host, port))
        except OSError as refusal:
            raise CommandError(
                f"Cannot listen on {host}:{port}: {refusal.strerror}. Choose another port."
            ) from refusal
        told = threading.Event()
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda _number, _frame: told.set())
        with listener:
            answering = threading.Thread(target=listener.serve_forever, kwargs={"poll_interval": LOOK_UP_S})
            answering.start()
            self.stdout.write(f"Listening for HL7 on {host}:{listener.server_address[1]} (Ctrl-C ends it)")
            self.stdout.flush()
            told.wait()
            listener.stop()
        self.stdout.write("Stopped.")
