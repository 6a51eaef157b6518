"""A machine's own message, read: against hl7apy's tables of the standard, and what is no such message."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hl7apy import load_library

from reprocessing.device_evidence import differences, message_check, reason_wanted, said_rows
from reprocessing.device_message import NOTICES, TEMPERATURES, TIMES, DeviceMessage, is_message, read_message
from reprocessing.judgement import INFORMATION
from tests.reprocessing.device_messages import device_message

VERSIONS = ("2.6", "2.7", "2.8.2")


def fields_of(version: str, segment: str) -> dict[int, tuple[str, str]]:
    """Type and name of each field of a segment, as hl7apy has them."""
    rows = load_library(version).SEGMENTS[segment][1]
    return {at: (row[1][2], row[1][3]) for at, row in enumerate(rows, start=1)}


@pytest.mark.parametrize("version", VERSIONS)
def test_the_fields_that_are_read_are_those_of_the_standard(version: str) -> None:
    cycle, load = fields_of(version, "SCD"), fields_of(version, "SDD")
    assert [cycle[at] for at, _ in TIMES.values()] == [
        ("CQ", name)
        for name in (
            "CONDITION_TIME",
            "STERILIZE_TIME",
            "EXHAUST_TIME",
            "DRY_TIME",
            "THERMAL_RINSE_TIME",
            "WASH_TIME",
            "TOTAL_CYCLE_TIME",
        )
    ]
    assert [cycle[at] for at, _ in TEMPERATURES.values()] == [
        ("CQ", name) for name in ("TEMP_MAX", "TEMP_MIN", "UNDER_TEMPERATURE", "OVER_TEMPERATURE")
    ]
    assert [cycle[at] for at, _ in NOTICES.values()] == [
        ("CNE", name)
        for name in (
            "ABORT_CYCLE",
            "ALARM",
            "LONG_IN_CHARGE_PHASE",
            "LONG_IN_EXHAUST_PHASE",
            "LONG_IN_FAST_EXHAUST_PHASE",
            "READING_FAILURE",
        )
    ]
    assert [cycle[at][1] for at in (2, 5, 10, 11, 16, 28)] == [
        "CYCLE_COUNT",
        "LOAD_NUMBER",
        "DEVICE_STATUS",
        "CYCLE_START_DATE_TIME",
        "CYCLE_COMPLETE_TIME",
        "CYCLE_TYPE",
    ]
    assert [cycle[at][1] for at in (32, 33, 34)] == ["PROCEDURE_CODE", "PATIENT_IDENTIFIER_LIST", "ATTENDING_DOCTOR"]
    assert [load[at][1] for at in (1, 2, 3, 5)] == ["LOT_NUMBER", "DEVICE_NUMBER", "DEVICE_NAME", "LOAD_STATUS"]


@pytest.mark.parametrize("version", VERSIONS)
def test_only_these_two_messages_carry_a_cycle(version: str) -> None:
    """STC^S33 carries the configuration of devices (SCP), SLR^S28 lots (SLT): neither holds the data of a cycle."""
    library = load_library(version)
    for event in ("S31", "S32"):
        group = library.MESSAGES[f"SDR_{event}"][1][-1][0]
        assert [(row[0], row[2]) for row in library.GROUPS[group][1]] == [("SDD", (1, 1)), ("SCD", (0, -1))]
    assert library.MESSAGES["STC_S33"][1][-1][0] == "SCP"
    assert library.MESSAGES["SLR_S28"][1][-1][0] == "SLT"


FIELDS = {
    "control_id": "4711",
    "sdd_1": "LOT9",
    "sdd_2": "AC-1^STERI",
    "sdd_3": "Steam 1",
    "sdd_5": "X1",
    "scd_2": "412",
    "scd_3": "274.46^[degF]",
    "scd_4": "20^Cel",
    "scd_5": "7",
    "scd_6": "4.5^min",
    "scd_10": "R^ready",
    "scd_11": "20261125101500+0100",
    "scd_12": "0.25^h",
    "scd_16": "1058",
    "scd_19": "N",
    "scd_20": "Y",
    "scd_27": "UNK",
    "scd_28": "P134",
}
EVERYTHING = DeviceMessage(
    control_id="4711",
    device="AC-1",
    device_name="Steam 1",
    lot="LOT9",
    load_status="X1",
    device_status="R",
    cycle_type="P134",
    cycle_count="412",
    load_number="7",
    started=datetime(2026, 11, 25, 9, 15, tzinfo=UTC),
    completed="10:58",
    quantities={
        "condition_s": 270.0,
        "sterilize_s": 200.0,
        "dry_s": 900.0,
        "highest_c": 134.7,  # 274.46 °F by the scale's definition
        "lowest_c": 20.0,
    },
    notices={"aborted": False, "alarm": True},
)


@pytest.mark.parametrize("event", ["S31", "S32"])
@pytest.mark.parametrize("version", VERSIONS)
def test_a_message_is_read_in_full(version: str, event: str) -> None:
    message = read_message(device_message(event=event, version=version, **FIELDS))
    assert message == EVERYTHING
    assert DeviceMessage.from_dict(message.as_dict()) == message


def test_the_frame_and_the_ends_of_lines_do_not_matter() -> None:
    plain = device_message(control_id="1")
    for content in (f"\x0b{plain}\x1c\r", plain.replace("\r", "\n"), "\ufeff" + plain.replace("\r", "\r\n")):
        assert is_message(content)
        assert read_message(content) == read_message(plain)
    assert not is_message("t_s,p1_c\n0,20\n")


def test_what_is_escaped_or_empty_is_read_as_meant() -> None:
    message = read_message(device_message(sdd_3="A\\T\\B", scd_10='""', scd_11="202611251015"))
    assert (message.device_name, message.device_status) == ("A&B", "")
    assert message.started == datetime(2026, 11, 25, 10, 15)  # noqa: DTZ001 - the machine gives no zone
    assert DeviceMessage.from_dict(message.as_dict()) == message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("MSH|^~\\&|", "MSH", "Cannot read"),
        ("MSH|^~\\&|", "FHS|^~\\&|", 'begins with "FHS", must begin with MSH'),
        ("SDR^S32", "STC^S33", r'MSH-9: it is "STC\^S33", must be SDR\^S31 or SDR\^S32'),
        ("|2.6", "|2.5.1", 'MSH-12: it is "2.5.1", must be 2.6 or later'),
        ("|2.6", "|", 'MSH-12: it is "", must be 2.6 or later'),
        ("SCD|", "ZCD|", "it lacks the segment SCD"),
        ("SCD|", "SCD|\rSCD|", "it has 2 segments SCD, must have one"),
        ("AC-1", "", "SDD-2, its device, is empty"),
        ("AC-1", "A" * 81, "at most 80 characters long"),
        ("|4711|", "||", "MSH-10, its control number, is empty"),
        ("200^s", "200^sec", 'SCD-7: its unit is "sec", must be s or min or h'),
        ("200^s", "200", "SCD-7: its unit is not stated"),
        ("200^s", "long^s", 'SCD-7: it is "long", must be a number'),
        ("200^s", "200^s~210^s", "SCD-7: it is .*, must be stated once"),
        ("134.7^Cel", "134.7^C", 'SCD-3: its unit is "C", must be Cel'),
        ("|N", "|no", 'SCD-19: it is "no", must be Y, N, or empty'),
    ],
)
def test_what_is_no_such_message_is_refused(old: str, new: str, words: str) -> None:
    content = device_message(control_id="4711")
    assert old in content
    with pytest.raises(ValueError, match=words):
        read_message(content.replace(old, new))


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ({"scd_11": "20261325101500"}, "SCD-11: .* must be a date and time"),
        ({"scd_11": "2026"}, "SCD-11: .* must be a date and time"),
        ({"scd_2": "1.5"}, "SCD-2: .* must be a whole number"),
        ({"scd_33": "P1"}, "SCD-33 names a patient, must be empty"),
        ({"scd_34": "D1"}, "SCD-34 names a physician, must be empty"),
    ],
)
def test_valid_messages_that_are_not_taken(cell: dict[str, str], words: str) -> None:
    try:
        content = device_message(**cell)
    except Exception:  # noqa: BLE001 - hl7apy refuses it as well: then it is put in by hand
        name, value = next(iter(cell.items()))
        content = device_message(**{name: "202611251015"}).replace("|202611251015|", f"|{value}|")
    with pytest.raises(ValueError, match=words):
        read_message(content)


def test_two_letters_alone_are_no_message() -> None:
    for content in ("MSH", "MSH|", "MSHAAAA"):
        with pytest.raises(ValueError, match="Cannot read"):
            read_message(content)


# What it is worth


def message(**said: object) -> DeviceMessage:
    return DeviceMessage(control_id="1", device="AC-1", **said)  # type: ignore[arg-type]


def test_only_a_failed_cycle_decides() -> None:
    for name in ("aborted", "alarm"):
        check = message_check(message(notices={name: True}))
        assert (check.row.met, check.row.decides) == (False, True)
    late = message_check(message(notices={"long_charge": True, "aborted": False}))
    assert late.row.value == "the charge phase took longer than allowed"
    fine = message_check(message(notices={"aborted": False}))
    for check in (late, fine):
        assert (check.row.met, check.row.decides, check.row.verdict) == (None, False, INFORMATION)


@pytest.mark.parametrize(
    ("said", "cycle", "slugs"),
    [
        ({"cycle_count": "0017"}, "17", []),
        ({"cycle_count": "412", "load_number": "17"}, "17", []),
        ({"cycle_count": "412", "load_number": "3"}, "17", ["cycle-number-differs"]),
        ({"cycle_count": "412"}, "", []),
        ({"quantities": {"sterilize_s": 230.0, "highest_c": 136.5}}, "17", []),
        ({"quantities": {"sterilize_s": 231.0}}, "17", ["hold-differs"]),
        ({"quantities": {"highest_c": 136.6}}, "17", ["highest-differs"]),
    ],
)
def test_differences_are_told(said: dict[str, object], cycle: str, slugs: list[str]) -> None:
    numbers = {"hold_s": 200.0, "highest_c": 134.5}
    found = differences("LOAD", message(**said), numbers, cycle_number=cycle)
    assert [finding.slug for finding in found] == slugs
    assert bool(list(reason_wanted("LOAD", found, " "))) == bool(slugs)
    assert not list(reason_wanted("LOAD", found, "the probe drifts"))


def test_without_a_trace_only_the_number_is_compared() -> None:
    said = message(cycle_count="9", quantities={"sterilize_s": 1.0, "highest_c": 1.0})
    assert [row.slug for row in differences("LOAD", said, {}, cycle_number="17")] == ["cycle-number-differs"]


def test_everything_said_is_shown_and_nothing_else() -> None:
    assert said_rows(message()) == (("Message", "1"), ("Device", "AC-1"))
    said = message(
        started=datetime(2026, 11, 25, 10, 15),  # noqa: DTZ001 - the machine gives no zone
        quantities={"sterilize_s": 212.0, "highest_c": 134.7},
        notices={"aborted": False, "alarm": True},
    )
    assert said_rows(said)[2:] == (
        ("Started", "25-Nov-2026 10:15, by the machine’s clock"),
        ("Sterilizing time", "3min\N{NO-BREAK SPACE}32s"),
        ("Highest temperature", "134.7\N{NO-BREAK SPACE}°C"),
        ("The cycle was aborted", "No"),
        ("Time, temperature or pressure was invalid for a phase", "Yes"),
    )
    zoned = said_rows(message(started=datetime(2026, 11, 25, 10, 15, tzinfo=UTC)))
    assert zoned[2] == ("Started", "25-Nov-2026 10:15")
