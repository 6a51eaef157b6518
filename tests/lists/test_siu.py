"""Reading SIU: fields of HL7 v2.3 to v2.5, character sets, escape sequences, batches, and what is said of a fault."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lists.intake.scheduling import Reading, Unreadable, Verb
from lists.intake.segments import Segments, messages_in, moment_of, only_message
from lists.intake.siu import read_siu, rejects
from tests.lists.sending import GIVEN, NAME, NUMBER, PID, siu

BERLIN = ZoneInfo("Europe/Berlin")
START = datetime(2014, 11, 20, 12, 31, tzinfo=BERLIN)


def read(message: bytes) -> Reading:
    return read_siu(only_message(message), zone=BERLIN)


def changed(segment: str, number: int, value: str, message: bytes = b"", charset: str = "utf-8") -> bytes:
    """The message with one field set."""
    lines = (message or siu()).decode(charset).rstrip("\r").split("\r")
    shift = -1 if segment == "MSH" else 0
    for at, line in enumerate(lines):
        cells = line.split("|")
        if cells[0] == segment:
            cells += [""] * (number + shift + 1 - len(cells))
            cells[number + shift] = value
            lines[at] = "|".join(cells)
    return "".join(f"{line}\r" for line in lines).encode(charset)


def without(segment: str, message: bytes = b"") -> bytes:
    return b"".join(
        line + b"\r" for line in (message or siu()).split(b"\r") if line and not line.startswith(segment.encode())
    )


def fault(message: bytes) -> str:
    """The only fault of a message."""
    (one,) = read(message).faults
    return one.sentence


# What is read


def test_a_new_case_is_read_in_full() -> None:
    booking = read(siu(start=START, minutes=45, size="8.0", sent=START)).booking
    assert booking is not None
    assert (booking.sender, booking.control, booking.reference) == ("PLAN", "1", "L-1")
    assert (booking.theatre, booking.procedure, booking.planned_size) == ("TH-A", "BRO", "8.0")
    assert (booking.starts_at, booking.duration_min, booking.sent_at) == (START, 45, START)


def test_start_and_end_in_the_timing_of_the_appointment() -> None:
    """Start 201411201231 and end 201411201232 in SCH-11.4 and .5: sample of a public interface documentation, v2.4."""
    message = changed("SCH", 9, "", changed("SCH", 11, "^^^201411201231^201411201232"))
    booking = read(message).booking
    assert booking is not None
    assert (booking.starts_at, booking.duration_min) == (START, 1)


def test_times_of_version_2_5_stand_in_a_segment_of_their_own() -> None:
    bare = changed("MSH", 12, "2.5", changed("SCH", 9, "", changed("SCH", 11, "")))
    message = bare.replace(b"PID|", b"TQ1|1||||||201411201231|201411201301\rPID|")
    booking = read(message).booking
    assert booking is not None
    assert (booking.starts_at, booking.duration_min) == (START, 30)


def test_times_of_the_service_serve_where_the_appointment_states_none() -> None:
    bare = changed("SCH", 9, "", changed("SCH", 11, ""))
    service = changed("AIS", 4, "201411201231", changed("AIS", 7, "0.75", changed("AIS", 8, "hr", bare)))
    booking = read(service).booking
    assert booking is not None
    assert (booking.starts_at, booking.duration_min) == (START, 45)


@pytest.mark.parametrize(
    ("event", "verb"),
    [
        ("S12", Verb.NEW),
        ("S13", Verb.RESCHEDULE),
        ("S14", Verb.MODIFY),
        ("S15", Verb.CANCEL),
        ("S17", Verb.CANCEL),
        ("S26", Verb.NO_SHOW),
    ],
)
def test_events(event: str, verb: Verb) -> None:
    """HL7 v2.3 to v2.5, chapter 10: new, reschedule, modify, cancel, delete, no-show."""
    booking = read(siu(event)).booking
    assert booking is not None
    assert booking.verb is verb


def test_what_a_later_message_does_not_say_stays_open() -> None:
    booking = read(siu("S14", theatre="", procedure="", start=None, minutes=0)).booking
    assert booking is not None
    values = (booking.theatre, booking.procedure, booking.starts_at, booking.duration_min, booking.planned_size)
    assert values == (None, None, None, None, None)
    assert (booking.planned_implant, booking.operator) == (None, None)
    sized = read(siu("S14", size='""') + b'AIG|2||""|IMPLANT\rAIG|3||OP-2|OPERATOR\r').booking
    assert sized is not None
    assert (sized.planned_size, sized.planned_implant, sized.operator) == ("", "", "OP-2")


def test_the_room_of_a_location_the_placer_s_number_and_the_facility_are_read() -> None:
    message = changed("AIL", 3, "SURG^OR-7^^MAIN", changed("SCH", 1, "P-9^SYS", changed("SCH", 2, "")))
    booking = read(changed("MSH", 4, "EAST", changed("MSH", 13, "12", message))).booking
    assert booking is not None
    assert (booking.theatre, booking.reference, booking.sender, booking.sequence) == ("OR-7", "P-9", "PLAN/EAST", 12)


def test_a_resource_that_is_taken_away_and_one_of_another_type_are_passed_over() -> None:
    message = siu().replace(b"AIS|1||BRO", b"AIS|1|D|OLD\rAIS|2|A|BRO\rAIG|1||Laser|EQUIPMENT")
    booking = read(message).booking
    assert booking is not None
    assert (booking.procedure, booking.planned_size) == ("BRO", None)


# Bytes


@pytest.mark.parametrize("end", [b"\r", b"\r\n", b"\n"])
def test_ends_of_segments(end: bytes) -> None:
    message = b"\xef\xbb\xbf" + siu(size="8.0").replace(b"\r", end) + end
    assert read(message).booking == read(siu(size="8.0")).booking


@pytest.mark.parametrize(
    ("named", "codec"),
    [
        ("8859/1", "latin-1"),
        ("8859/15", "iso8859-15"),
        ("UNICODE UTF-8", "utf-8"),
        ("", "utf-8"),
        ("8859/2", "iso8859-2"),
    ],
)
def test_character_sets(named: str, codec: str) -> None:
    """HL7 table 0211, by its names of ISO 8859 and of UTF-8 (from memory)."""
    message = changed("MSH", 18, named, changed("AIS", 3, "ÄÖ-1")).decode().encode(codec)
    booking = read(message).booking
    assert booking is not None
    assert booking.procedure == "ÄÖ-1"


def test_escape_sequences_are_resolved() -> None:
    r"""HL7 v2.5, 2.7: \F\ \S\ \T\ \R\ \E\ stand for the encoding characters; \Xdd\ for a byte, \H\ \N\ for print."""
    booking = read(changed("AIS", 3, r"a\F\b\S\c\T\d\R\e\E\f\X41\\H\g\N\^text")).booking
    assert booking is not None
    assert booking.procedure == r"a|b^c&d~e\fAg"
    other = siu().decode().replace("|", "#").replace("^", "@").replace(r"@~\&", r"@~\&").encode()
    assert read(other).booking == read(siu()).booking


def test_a_batch_is_taken_apart() -> None:
    """HL7 v2.5, 2.10.3: FHS, BHS, messages, BTS with their number, FTS with the number of batches."""
    first, second = siu() + siu(control="2"), siu()
    batch = b"FHS|^~\\&|A\rBHS|^~\\&|A\r" + first + b"BTS|2\rBHS|^~\\&\r" + second + b"BTS|1\rFTS|2\r"
    assert messages_in(batch) == [siu(), siu(control="2"), siu()]
    assert messages_in(b"BHS|^~\\&\r" + siu() + b"BTS\r") == [siu()]
    with pytest.raises(Unreadable, match="BTS-1: it is “3”, must be 2, as many"):
        messages_in(batch.replace(b"BTS|2", b"BTS|3"))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "MSH: it is nothing"),
        (b"PID|1\r" + siu(), "no header at the beginning"),
        (siu() + siu(), "it is “2 messages”, must be one message"),
        (siu().replace(b"^~\\&", b"^^\\&"), "MSH-2"),
        (siu().replace(b"^~\\&", b"^"), "MSH-2"),
        (b"MSH\r", "MSH-2"),
        (changed("MSH", 18, "EBCDIC"), "MSH-18: it is “EBCDIC”"),
        (siu().replace(b"BRO", b"\xe4"), "byte E4 with no character set named"),
        (changed("MSH", 18, "ASCII").replace(b"BRO", b"\xe4"), "byte E4 with ASCII"),
        (siu().replace(b"BRO", b"B\x00"), "a NUL character"),
        (changed("MSH", 3, r"a\Q\b"), "an escape sequence that is not known"),
    ],
)
def test_what_is_no_message(data: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=r"^Cannot read ") as wrong:
        read(data)
    assert words in str(wrong.value)


# Faults


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (changed("MSH", 7, "20261124"), "MSH-7: it is “20261124”, must be a moment written YYYYMMDDHHMM"),
        (changed("MSH", 7, "202613010000"), "MSH-7: it is “202613010000”"),
        (changed("MSH", 13, "x"), "MSH-13: it is “x”, must be a running number"),
        (changed("MSH", 10, ""), "MSH-10: it is nothing"),
        (changed("MSH", 3, ""), "MSH-3: it is nothing"),
        (changed("SCH", 2, ""), "SCH-2: it is nothing"),
        (changed("SCH", 2, "1" * 41), "SCH-2: it is “11111"),
        (changed("SCH", 11, "^^^2026-11-24"), "SCH-11.4: it is “2026-11-24”"),
        (changed("SCH", 11, "^^^202603290230"), "the clock is put forward or back then"),
        (changed("SCH", 11, "^^^202610250230"), "the clock is put forward or back then"),
        (changed("SCH", 11, ""), "SCH-11.4: it is nothing, must be stated in an appointment that is new"),
        (changed("SCH", 9, "soon"), "SCH-9: it is “soon”, must be a duration"),
        (changed("SCH", 9, "inf"), "SCH-9: it is “inf”"),
        (changed("SCH", 9, "0"), "SCH-9: it is “0”"),
        (changed("SCH", 10, ""), "SCH-10: it is nothing, must be MIN, HR or SEC"),
        (changed("SCH", 10, "DAYS"), "SCH-10: it is “DAYS”"),
        (changed("SCH", 25, "Lost"), "SCH-25: it is “Lost”, must be a status of table 0278"),
        (changed("SCH", 25, "Cancelled"), "must be Booked in SIU^S12; S15 cancels"),
        (changed("AIS", 3, '""'), 'AIS-3: it is “""”, must be a code'),
        (changed("AIS", 3, r"a\b"), "AIS-3: it is “an escape character alone”"),
        (without("AIS"), "AIS-3: it is nothing"),
        (without("AIL"), "AIL-3: it is nothing"),
        (siu("S13", start=None), "SCH-11.4: it is nothing, must be stated in an appointment that is reschedule"),
        (changed("PID", 3, r"a\b"), "PID-3: it is “an escape character alone”"),
    ],
)
def test_each_fault_names_its_field_what_was_found_and_what_was_expected(message: bytes, words: str) -> None:
    assert words in fault(message)
    assert not rejects(read(message).faults)


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (changed("MSH", 9, "ADT^A01"), "MSH-9.1: it is “ADT”, must be SIU"),
        (siu("S16"), "MSH-9.2: it is “S16”, must be one of S12, S13"),
        (changed("MSH", 12, "2.8"), "MSH-12: it is “2.8”"),
        (changed("MSH", 11, "T"), "MSH-11: it is “T”, must be P"),
    ],
)
def test_what_is_not_taken_at_all(message: bytes, words: str) -> None:
    assert words in fault(message)
    assert rejects(read(message).faults)


# Moments


@given(st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)), st.integers(-840, 840))  # noqa: DTZ001
def test_a_moment_with_its_zone_is_read_as_written(moment: datetime, offset: int) -> None:
    sign, minutes = "-" if offset < 0 else "+", abs(offset)
    local = (moment.replace(microsecond=0, tzinfo=None) + timedelta(minutes=offset)).strftime("%Y%m%d%H%M%S")
    text = f"{local}{sign}{minutes // 60:02}{minutes % 60:02}"
    assert moment_of(text, "MSH-7", BERLIN) == moment.replace(microsecond=0)


def test_parts_of_a_second_and_an_offset_that_is_none() -> None:
    assert moment_of("20141120123100.1234", "MSH-7", BERLIN) == START
    with pytest.raises(Unreadable):
        moment_of("201411201231+9900", "MSH-7", BERLIN)


# The patient


def test_the_patient_is_read_once_and_kept_nowhere_in_the_text() -> None:
    message = changed("AIS", 3, f"BRO^for {NAME.upper()} or {GIVEN}", siu()) + f"NTE|1||{NAME}\r".encode()
    found = read(message)
    assert found.patient == f"urn:oid:2.999.1.1|{NUMBER}"
    assert repr(found).count(NUMBER) == 0
    for word in (NAME, GIVEN, NUMBER, "19450714", "5550199", "Nowhere"):
        assert word.casefold() not in found.kept.casefold()
    assert "AIS|1||BRO^for [not kept] or [not kept]" in found.kept
    assert found.kept.splitlines()[2].startswith("PID|[not kept]||[not kept]")


def test_senders_of_version_2_3_number_the_patient_elsewhere() -> None:
    assert read(changed("PID", 3, "", changed("PID", 2, "55^^^EAST"))).patient == "EAST|55"
    assert read(without("PID")).patient == ""


@pytest.mark.parametrize(("segment", "field"), [("SCH", 2), ("AIS", 3), ("AIL", 3), ("SCH", 6), ("MSH", 10)])
def test_a_number_of_the_patient_where_a_code_belongs_is_a_fault_that_does_not_quote_it(
    segment: str, field: int
) -> None:
    found = read(changed(segment, field, NUMBER))
    assert "a name or number of the patient" in found.faults[0].sentence
    assert NUMBER not in repr(found)


def test_a_fault_does_not_quote_the_patient() -> None:
    found = read(changed("SCH", 9, NAME))
    assert "it is “[not kept]”" in found.faults[0].sentence
    assert NAME not in repr(found)


def test_an_escaped_name_is_blanked_in_both_its_forms() -> None:
    pid = PID.replace(NAME, r"O\T\Quorrel")
    found = read(changed("AIS", 3, r"BRO^O\T\Quorrel", siu(pid=pid)))
    assert "Quorrel" not in found.kept
    assert "Quorrel" not in read(changed("AIS", 3, r"BRO^x", siu(pid=PID.replace(NAME, r"Quor\rel")))).kept


def test_segments_answer_for_what_is_not_there() -> None:
    segments = Segments.of(siu())
    assert (
        segments.at("ZZZ", 3)
        == segments.at("SCH", 99)
        == segments.at("SCH", 2, 7)
        == segments.at("AIL", 3, 1, 2)
        == ""
    )
