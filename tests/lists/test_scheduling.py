"""The neutral booking: its order, what stands against it, and the patient who is nowhere in it."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lists.intake.mllp import END, START, Frames, framed
from lists.intake.pseudonyms import Pseudonyms
from lists.intake.scheduling import Booking, Fault, Form, Reading, Secrets, Verb, against
from lists.states import CaseState
from tests.makers import AT

KEY = "5a" * 32


def booking(**fields: Any) -> Booking:
    plain: dict[str, Any] = {"sender": "PLAN", "control": "1", "verb": Verb.NEW, "reference": "L-1", "sent_at": AT}
    return Booking(**plain | fields)


def slug(asked: Booking, **facts: Any) -> str:
    found = against(asked, **{"newest": None, "owner": "", "case_state": None, **facts})
    return found.slug if found else ""


def test_a_booking_is_stored_and_comes_back() -> None:
    one = booking(starts_at=AT, duration_min=5, planned_size="", sequence=3)
    assert Booking.from_dict(json.loads(json.dumps(one.as_dict()))) == one
    assert Booking.from_dict(booking().as_dict()) == booking()


def test_a_booking_that_cannot_be_is_none() -> None:
    for wrong in ({"reference": ""}, {"reference": "1" * 41}):
        with pytest.raises(ValueError, match="1 to 40"):
            booking(**wrong)
    for wrong_time in ({"sent_at": datetime(2027, 1, 1)}, {"starts_at": datetime(2027, 1, 1)}):  # noqa: DTZ001
        with pytest.raises(ValueError, match="with a zone"):
            booking(**wrong_time)
    for both in ({"booking": booking(), "faults": (Fault("a", "b", "c"),)}, {"booking": None}):
        with pytest.raises(ValueError, match="either"):
            Reading(Form.HL7, "A", "1", "", **both)


@pytest.mark.parametrize(
    ("later_s", "own", "other", "older"),
    [
        (-1, None, None, True),
        (-1, 9, 1, True),
        (0, None, None, False),
        (0, 1, 2, True),
        (0, 2, 2, False),
        (0, 2, None, False),
        (1, 1, 9, False),
    ],
)
def test_the_order_is_that_of_sending_then_of_the_running_number(
    later_s: int, own: int | None, other: int | None, older: bool
) -> None:
    asked = booking(sent_at=AT + timedelta(seconds=later_s), sequence=own)
    assert asked.is_older_than(AT, other) is older


def test_what_stands_against_a_message() -> None:
    later = (AT + timedelta(seconds=1), None)
    assert slug(booking()) == slug(booking(), owner="PLAN", newest=(AT, None), case_state=CaseState.PLANNED) == ""
    assert slug(booking(), newest=later, owner="PLAN") == "message-overtaken"
    assert slug(booking(), newest=later, owner="OTHER") == "reference-of-other-system"
    for verb in (Verb.NEW, Verb.RESCHEDULE, Verb.MODIFY):
        assert slug(booking(verb=verb), case_state=CaseState.CANCELLED) == "case-cancelled"
    for verb in (Verb.CANCEL, Verb.NO_SHOW):
        assert slug(booking(verb=verb), case_state=CaseState.CANCELLED) == ""


def test_a_long_value_is_cut_where_it_is_quoted() -> None:
    assert "and so on" in Fault("SCH-2", "1" * 99, "short").sentence
    assert Fault("SCH-2", "", "x").finding.slug == "message-unreadable"


def test_names_are_blanked_as_whole_words_in_any_case() -> None:
    secrets = Secrets(["May", "X", "", "A.B*C"])
    assert secrets.blank("May, MAY, Mayday, X, a.b*c") == "[not kept], [not kept], Mayday, X, [not kept]"
    assert not Secrets([]).are_in("anything")
    assert Secrets([]).blank("anything") == "anything"


# The keyed hash


def test_a_reference_is_the_keyed_hash_that_rfc_2104_defines() -> None:
    """HMAC written out as RFC 2104 has it: H(key xor opad, H(key xor ipad, text))."""

    def by_hand(key: bytes, text: bytes) -> bytes:
        padded = key.ljust(64, b"\0")
        inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in padded) + text).digest()
        return hashlib.sha256(bytes(byte ^ 0x5C for byte in padded) + inner).digest()

    derived = by_hand(bytes.fromhex(KEY), b"lumenkeep patient reference 1")
    wanted = "PX-" + base64.b32encode(by_hand(derived, b"EAST|55")[:10]).decode()
    assert Pseudonyms(f" {KEY}\n").of("east|55 ") == wanted
    # RFC 4231, test case 2: the hash function and its key are what the library takes them to be.
    case_2 = hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest()
    assert case_2 == by_hand(b"Jefe", b"what do ya want for nothing?").hex()
    assert case_2 == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


def test_references_differ_by_patient_and_by_key_and_say_nothing_of_fingerprints() -> None:
    one, other = Pseudonyms(KEY), Pseudonyms("5b" * 32)
    assert one.of("A|1") == one.of("a|1") != one.of("A|2")
    assert one.of("A|1") != other.of("A|1")
    assert one.of(" ") == ""
    assert one.fingerprint(b"A|1") != other.fingerprint(b"A|1")
    assert len(one.fingerprint(b"A|1")) == 64


@pytest.mark.parametrize("secret", ["", "5a", "zz" * 32, "5a" * 33])
def test_what_is_no_key(secret: str) -> None:
    with pytest.raises(ValueError, match=r"must have 32|fromhex"):
        Pseudonyms(secret)


# Frames


WITHOUT_MARKS = st.binary(max_size=40).filter(lambda message: START not in message and END not in message)


@given(st.lists(WITHOUT_MARKS, max_size=5), st.lists(st.integers(1, 9), min_size=1))
def test_messages_come_out_however_they_are_cut(messages: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(b"noise" + framed(message) for message in messages)
    found: list[bytes | None] = []
    frames, at = Frames(100), 0
    while at < len(stream):
        size = cuts[len(found) % len(cuts)]
        found += list(frames.feed(stream[at : at + size]))
        at += size
    assert found == messages


def test_a_frame_that_is_too_long_is_cut_off_and_the_next_is_taken() -> None:
    frames = Frames(4)
    assert list(frames.feed(START + b"12345")) == [None]
    assert list(frames.feed(b"678" + END + framed(b"next"))) == [b"next"]
    assert list(frames.feed(framed(b"12345") + framed(b"ok"))) == [None, b"ok"]


def test_a_frame_that_begins_anew_is_taken_from_its_last_beginning() -> None:
    assert list(Frames(99).feed(START + b"half" + framed(b"whole"))) == [b"whole"]
