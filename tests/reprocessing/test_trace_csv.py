from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from journal.findings import Severity
from reprocessing.lethality import of_trace
from reprocessing.trace import STANDARD_AMBIENT_MBAR, Trace, parse_trace


def csv(header: str, *rows: str) -> str:
    return "\n".join([header, *rows]) + "\n"


def readings(trace: Trace) -> tuple[list[float], list[float]]:
    """Times and temperatures of the only probe."""
    ((times, temperatures),) = trace.probe_readings()
    return times.tolist(), temperatures.tolist()


# --- shapes of the text -----------------------------------------------------------------------------

PLAIN = "t_s,temp_c\n0,20.5\n1,21.5\n2,22.5\n"
SHAPES: dict[str, str | bytes] = {
    "plain": PLAIN,
    "bytes": PLAIN.encode(),
    "byte-order mark": PLAIN.encode("utf-8-sig"),
    "byte-order mark in the text": "\ufeff" + PLAIN,
    "Windows lines": PLAIN.replace("\n", "\r\n").encode(),
    "old lines": PLAIN.replace("\n", "\r"),
    "semicolons": PLAIN.replace(",", ";"),
    "tabs": PLAIN.replace(",", "\t"),
    "spaces": PLAIN.replace(",", " , "),
    "no last line end": PLAIN.rstrip(),
    "blank lines": "\n" + PLAIN.replace("\n", "\n\n,\n"),
    "other order": "temp_c,t_s\n20.5,0\n21.5,1\n22.5,2\n",
    "capitals": PLAIN.replace("t_s,temp_c", "T_S,Temp_C"),
    "quotes": PLAIN.replace("0,20.5", '"0","20.5"'),
    "a delimiter at the end": PLAIN.replace("\n", ",\n"),
    "exponents and signs": PLAIN.replace("20.5", "+2.05e1").replace("1,", "10E-1,"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_shapes_of_the_text_that_mean_the_same(shape: str) -> None:
    trace = parse_trace(SHAPES[shape])
    assert readings(trace) == ([0, 1, 2], [20.5, 21.5, 22.5])
    assert trace.flags == ()
    assert trace.ignored == ()


DECIMAL_COMMAS = {
    "semicolons": "t_s;temp_c\n0;20,5\n1,0;21,5\n",
    "tabs": "t_s\ttemp_c\n0\t20,5\n1\t21,5\n",
    "quotes": 't_s,temp_c\n0,"20,5"\n1,"21,5"\n',
    "commas of one column beside points of another": "t_s;temp_c\n0.0;20,5\n1.0;21,5\n",
    "no whole part": "t_s;temp_c\n0;20,5\n,1e1;21,50\n",
}


@pytest.mark.parametrize("shape", DECIMAL_COMMAS)
def test_decimal_commas_are_read_and_flagged(shape: str) -> None:
    trace = parse_trace(DECIMAL_COMMAS[shape])
    assert readings(trace) == ([0, 1], [20.5, 21.5])
    assert trace.flags == ("decimal_comma",)


REFUSED = {
    "": "must be a header and at least one line of readings",
    "t_s,temp_c\n": "must be a header and at least one line of readings",
    "t_s,temp_c\n,\n": "must be a header and at least one line of readings",
    "seconds,temp_c\n0,20\n": "its columns are seconds, temp_c, must be a time column",
    "t_s,phase\n0,20\n": "its columns are t_s, phase, must be a time column",
    "t_s temp_c\n0 20\n": "its columns are t_s temp_c, must be a time column",
    "t_s,temp\n0,20\n": "the column temp: its name must say the unit",
    "t_s,temp_c,pressure\n0,20,1\n": "the column pressure: its name must say the unit",
    "t_s,temp_c,chamber_bar\n0,20,1\n": "the column chamber_bar: its name must say the unit",
    "t_s,temp_c,TEMP_C\n0,20,20\n": "the column temp_c stands there twice",
    "t_s,,temp_c\n0,1,20\n": "column 2 has no name",
    "t_s,temp_c\n0,20,3\n": "line 2: it has 3 cells, must have 2",
    "t_s,temp_c\n0,20\n1,warm\n": 'line 3, column temp_c: it is "warm", must be a number, or empty',
    "t_s,temp_c\n0,20 °C\n": 'line 2, column temp_c: it is "20 °C"',
    "t_s;temp_c\n0;1.020,5\n": 'line 2, column temp_c: it is "1.020,5"',
    "t_s;temp_c\n0;20,5\n1;20.5\n": 'line 3, column temp_c: it is "20.5", must be written with a decimal ","',
    't_s,temp_c\n"1,000",80.5\n': 'line 2, column t_s: it is "1,000", must be written without a comma',
    "t_s,temp_c\n,20\n": 'line 2, column t_s: it is "", must be a finite number of seconds',
    "t_s,temp_c\ninf,20\n": 'line 2, column t_s: it is "inf", must be a finite number of seconds',
    "t_s,temp_c\n0x1,20\n": 'line 2, column t_s: it is "0x1"',
    "time,temp_c\n2026-11-24T15:42:05,20\n": "line 2, column time: .* must be a date and time with its offset",
    "time,temp_c\n2026-11-24T15:42:05Z,20\n15:42,20\n": 'line 3, column time: it is "15:42"',
    "time,temp_c\n2026-11-24,20\n": 'line 2, column time: it is "2026-11-24"',
    "time,temp_c\n2026-11-24 25:00:00Z,20\n": 'line 2, column time: it is "2026-11-24 25:00:00Z"',
    "local_time,temp_c\n2026-11-24T15:42:05,20\n2026-11-24T15:42:06Z,20\n": (
        "line 3, column local_time: .* with an offset in each row or in none"
    ),
    'local_time,temp_c\n"2026-11-24T15:42:05,20\n': "its quotes do not match",
    "t_s,temp_c\n0,2\x000\n": "zero bytes",
    b"t_s,temp_c\n0,20\n1,\xb0\n": "line 3: it is not UTF-8 text",
    "t_s,temp_c\n0,20\n".encode("utf-16"): "line 1: it is not UTF-8 text",
    "t_s,temp_c,chamber_bar_gauge\n0,20,1\n": "the air pressure of the room must be given",
}


@pytest.mark.parametrize("content", REFUSED)
def test_text_that_is_no_trace_is_refused_with_its_place(content: bytes | str) -> None:
    with pytest.raises(ValueError, match=REFUSED[content]):
        parse_trace(content)


# --- columns and units ------------------------------------------------------------------------------


def test_units_are_what_the_names_say() -> None:
    header = "t_s,drain_f,p2_c,temp_c_3,a_bar_abs,b_kpa_abs,c_mbar_abs,d_bar_gauge,phase,door"
    trace = parse_trace(
        csv(header, "0,273.2,134,135,3.042,304.2,3042,2.042,hold,shut", "1,212,100,100,1,100,1000,0,,"),
        ambient_mbar=1000,
    )
    assert trace.probes == ("drain_f", "p2_c", "temp_c_3")
    assert trace.temperatures_c.tolist() == [[134, 134, 135], [100, 100, 100]]
    assert trace.gauges == ("a_bar_abs", "b_kpa_abs", "c_mbar_abs", "d_bar_gauge")
    assert trace.pressures_bar_abs == pytest.approx(np.array([[3.042] * 4, [1] * 4]))
    assert trace.ignored == ("phase", "door")
    assert trace.ambient_mbar == 1000
    assert trace.flags == ("truncated", "unit_converted")[::-1]


@pytest.mark.parametrize("ambient_mbar", [1.013, 101.3, 101_325])
def test_air_pressure_in_another_unit_is_refused(ambient_mbar: float) -> None:
    with pytest.raises(ValueError, match="must be from 500 to 1100 mbar"):
        parse_trace("t_s,temp_c,p_bar_gauge\n0,20,0\n", ambient_mbar=ambient_mbar)


def test_without_gauge_pressure_the_air_pressure_is_not_used() -> None:
    assert parse_trace("t_s,temp_c\n0,20\n", ambient_mbar=1000).ambient_mbar is None


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("t_s,temp_c,p_bar_gauge,door\n0,20,0,shut\n", ["1013.25 mbar, the standard atmosphere", "not read: door"]),
        ("t_s,temp_c\n0,90\n", ["ends above 65 °C"]),
    ],
)
def test_what_was_assumed_is_said(content: bytes | str, words: Any) -> None:
    findings = parse_trace(content, ambient_mbar=STANDARD_AMBIENT_MBAR).findings()
    assert len(findings) == len(words)
    for finding, expected in zip(findings, words, strict=True):
        assert expected in finding.sentence


def test_the_rooms_own_air_pressure_is_only_noted() -> None:
    (finding,) = parse_trace("t_s,temp_c,p_bar_gauge\n0,20,0\n", ambient_mbar=950).findings()
    assert finding.severity is Severity.NOTE
    assert "950 mbar, the room's air pressure" in finding.sentence


# --- times ------------------------------------------------------------------------------------------


def test_offsets_win_over_the_wall_clock() -> None:
    """Across the autumn change the offset tells the two hours apart; nothing is folded."""
    rows = ["2026-10-25T02:59:50+02:00,90", "2026-10-25T02:00:00+01:00,90", "2026-10-25T01:00:10Z,90"]
    trace = parse_trace(csv("time,temp_c", *rows))
    assert trace.times_s.tolist() == [0, 10, 20]
    assert trace.started_at == datetime(2026, 10, 25, 0, 59, 50, tzinfo=UTC)
    assert trace.started_local is None
    assert trace.flags == ("truncated",)


def test_local_times_that_carry_offsets_are_moments() -> None:
    trace = parse_trace(csv("local_time,temp_c", "2026-10-25T02:59:55+02:00,20", "2026-10-25t02:00:00+01:00,20"))
    assert trace.times_s.tolist() == [0, 5]
    assert trace.started_at is not None
    assert trace.flags == ()


def test_the_autumn_fold_keeps_the_order_of_the_file() -> None:
    rows = [f"2026-10-25 02:{minute:02}:{second:02},90" for minute in range(60) for second in range(0, 60, 10)]
    trace = parse_trace(csv("local_time,temp_c", *rows, *rows))
    assert trace.flags == ("dst_fold", "truncated")
    assert trace.times_s.tolist() == list(range(0, 7200, 10))
    assert trace.started_local == datetime(2026, 10, 25, 2)  # noqa: DTZ001 - a wall clock has no zone
    assert of_trace(trace).a0_s == pytest.approx(71_900)


def test_a_fold_with_rows_out_of_order_and_doubled() -> None:
    rows = ["02:59:50,90", "02:59:40,90", "02:00:00,90", "02:00:00,90", "02:00:10,80"]
    trace = parse_trace(csv("local_time,temp_c", *(f"2026-10-25T{row}" for row in rows)))
    assert trace.times_s.tolist() == [0, 10, 20, 30]
    assert trace.flags == ("duplicate_rows", "unsorted", "dst_fold", "truncated")


def test_a_log_written_newest_first_is_turned_round_before_it_is_unfolded() -> None:
    rows = ["02:00:20,20", "02:00:10,21", "02:00:00,22", "02:59:50,23", "02:59:40,24"]
    trace = parse_trace(csv("local_time,temp_c", *(f"2026-10-25T{row}" for row in rows)))
    assert readings(trace) == ([0, 10, 20, 30, 40], [24, 23, 22, 21, 20])
    assert trace.flags == ("unsorted", "dst_fold")


@pytest.mark.parametrize("step", ["02:00:05", "00:10:00"])
def test_a_small_or_a_great_step_back_is_disorder_and_no_fold(step: str) -> None:
    trace = parse_trace(
        csv("local_time,temp_c", "2026-10-25T02:00:10,20", f"2026-10-25T{step},21", "2026-10-25T02:00:12,20")
    )
    assert "dst_fold" not in trace.flags
    assert "unsorted" in trace.flags


def test_an_hour_lost_in_spring_is_a_gap_that_earns_nothing() -> None:
    trace = parse_trace(
        csv("local_time,temp_c", "2027-03-28T01:59:50,90", "2027-03-28T03:00:00,90", "2027-03-28T03:00:10,90")
    )
    assert trace.flags == ("gap", "coarse", "truncated")
    assert of_trace(trace).a0_s == pytest.approx(100)


def test_of_several_time_columns_offsets_come_first() -> None:
    trace = parse_trace(
        csv("local_time,t_s,time,temp_c", "x,0,2026-11-24T15:00:00Z,20", "y,99,2026-11-24T15:00:01Z,20")
    )
    assert trace.times_s.tolist() == [0, 1]
    assert trace.ignored == ()


def test_parts_of_a_second_stay_exact() -> None:
    trace = parse_trace(csv("time,temp_c", "2026-11-24T15:00:00.100Z,20", "2026-11-24T15:00:00.350Z,20"))
    assert trace.times_s.tolist() == [0, 0.25]


@settings(deadline=None, max_examples=60)
@given(st.text(max_size=60) | st.binary(max_size=60))
def test_no_text_breaks_the_reader(content: bytes | str) -> None:
    with pytest.raises(ValueError, match=r"^Cannot read"):
        parse_trace(content)
