"""What we send as HL7, held against the structures and tables of `hl7apy` for version 2.5."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hl7apy.parser import parse_message
from hypothesis import given
from hypothesis import strategies as st

from lists.intake.emitting import answer_code, write_ack, write_siu
from lists.intake.scheduling import Fault, Verb
from lists.intake.segments import only_message
from lists.intake.siu import read_siu
from tests.lists.sending import ZONE, siu
from tests.lists.test_appointments import PLANNED
from tests.makers import AT

NOT_KNOWN = "not in table HL70396"
"""hl7apy does not count the standard's own tables, written HL7nnnn, among the coding systems of table 0396."""


def shortcomings(message: str, report: Path) -> list[str]:
    """What hl7apy has against a message, besides what it does not know."""
    assert parse_message(message).validate(report_file=str(report))
    return [line for line in report.read_text().splitlines() if line and NOT_KNOWN not in line]


@pytest.mark.parametrize("cancelled", [False, True])
def test_a_case_is_a_message_of_version_2_5_and_reads_the_same(tmp_path: Path, cancelled: bool) -> None:
    case = replace(PLANNED, planned_implant="14 x 40", operator="OP-1", cancelled=cancelled)
    message = write_siu(case, at=AT, control="M1")
    assert shortcomings(message, tmp_path / "report") == []
    booking = read_siu(only_message(message.encode()), zone=ZONE).booking
    assert booking is not None
    assert booking.verb is (Verb.CANCEL if cancelled else Verb.NEW)
    assert (booking.reference, booking.theatre, booking.procedure) == ("L-0401", "TH1", "BRO-A")
    assert (booking.starts_at, booking.duration_min, booking.planned_size) == (AT, 50, "8.0")
    assert (booking.planned_implant, booking.operator) == ("14 x 40", "OP-1")


def test_what_is_not_planned_is_not_asked_for(tmp_path: Path) -> None:
    message = write_siu(replace(PLANNED, planned_size="", planned_implant="", operator=""), at=AT, control="M1")
    assert shortcomings(message, tmp_path / "report") == []
    assert "AIG" not in message


PRINTED = st.characters(codec="utf-8", exclude_categories=["Cc", "Zs", "Zl", "Zp"])


@given(st.text(PRINTED, min_size=1, max_size=20).filter(lambda text: text != '""'))
def test_any_text_comes_back(text: str) -> None:
    message = write_siu(replace(PLANNED, procedure=text, theatre=text, reference=text), at=AT, control="M1")
    booking = read_siu(only_message(message.encode()), zone=ZONE).booking
    assert booking is not None
    assert {booking.procedure, booking.theatre, booking.reference} == {text}


@pytest.mark.parametrize("code", ["AA", "AE", "AR"])
def test_an_acknowledgement_is_a_message_of_version_2_5(tmp_path: Path, code: str) -> None:
    faults = [Fault("SCH-11.4", "“x” × 2", "y"), Fault("AIS-3", "", "a code"), Fault("the frame", "two", "one")]
    asked = siu(control="C-7").replace(b"|2.4", b"|2.5")
    message = write_ack(asked, code, "What’s “said” | here", faults=faults, at=AT, control="A1")
    assert shortcomings(message, tmp_path / "report") == []
    header, answer, first, second, third, _ = message.split("\r")
    assert header.split("|")[4:6] == ["PLAN", ""]
    assert header.split("|")[8] == "ACK^S12^ACK"
    assert answer == f'MSA|{code}|C-7|What\'s "said" \\F\\ here'
    assert first.startswith("ERR||SCH^1^11^1^4|102^^HL70357|E||||Cannot read SCH-11.4")
    assert second.startswith("ERR||AIS^1^3|")
    assert third.startswith("ERR||the^1|")


def test_an_older_sender_is_answered_in_its_own_version() -> None:
    message = write_ack(siu(), "AE", "x" * 200, faults=[Fault("SCH-2", "", "y")], at=AT, control="A1")
    header, answer, _ = message.split("\r")
    assert header.endswith("|ACK^S12|A1|P|2.4")
    assert answer == f"MSA|AE|1|{'x' * 80}"


def test_what_cannot_be_read_is_answered_all_the_same(tmp_path: Path) -> None:
    message = write_ack(b"\xff", "AR", "no", at=AT, control="A1")
    assert shortcomings(message, tmp_path / "report") == []
    assert "MSA|AR|unknown|no" in message
    beyond = write_ack(siu(sender="Ä").replace(b"BRO", b"\xff"), "AR", "no", at=AT, control="A1")
    assert beyond.isascii()
    assert "MSA|AR|1|no" in beyond
    assert write_ack(siu().replace(b"|2.4", b"|9"), "AR", "no", at=AT, control="A1").split("\r")[0].endswith("|2.5")


def test_which_code_answers_what() -> None:
    """HL7 table 0008: AA accepted, AE refused for what it says, AR rejected for what it is."""
    assert [answer_code(state, ()) for state in ("applied", "waiting", "overtaken")] == ["AA"] * 3
    assert answer_code("refused", ()) == answer_code("refused", [Fault("SCH-2", "", "y")]) == "AE"
    assert answer_code("refused", [Fault("MSH-9.1", "ADT", "SIU", 200)]) == "AR"
