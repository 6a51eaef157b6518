from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reprocessing.lethality import of_samples, of_trace
from reprocessing.trace import FLAG_WORDS, NO_TRACE, Trace, is_coarse, is_gap, parse_trace


def csv(header: str, *rows: str) -> str:
    return "\n".join([header, *rows]) + "\n"


def all_readings(trace: Trace) -> list[tuple[list[float], list[float]]]:
    """Times and temperatures of every probe that has readings."""
    return [(times.tolist(), temperatures.tolist()) for times, temperatures in trace.probe_readings()]


def readings(trace: Trace) -> tuple[list[float], list[float]]:
    """Times and temperatures of the only probe."""
    ((times, temperatures),) = trace.probe_readings()
    return times.tolist(), temperatures.tolist()


# --- cleaning ---------------------------------------------------------------------------------------


def test_rows_are_put_in_order() -> None:
    trace = parse_trace(csv("t_s,temp_c", "2,22", "0,20", "1,21"))
    assert readings(trace) == ([0, 1, 2], [20, 21, 22])
    assert trace.flags == ("unsorted",)


REPEATED = {  # rows of one second, the reading kept of each probe, and the flags
    "identical": (["20,20", "20.0,20"], [20, 20], {"duplicate_rows"}),
    "conflicting": (["20,21", "19,22"], [19, 21], {"conflicting_duplicates"}),
    "one probe conflicting": (["20,21", "20,20"], [20, 20], {"conflicting_duplicates"}),
    "identical and conflicting": (["20,21", "20,21", "20,20"], [20, 20], {"duplicate_rows", "conflicting_duplicates"}),
    "completing each other": (["20,", ",21"], [20, 21], {"missing_values"}),
    "one a part of the other": (["20,21", "20,"], [20, 21], {"missing_values", "duplicate_rows"}),
    "one of them impossible": (["20,21", "20,200"], [20, 21], {"out_of_range", "duplicate_rows"}),
    "both without a reading": (["20,", "20,nan"], [20, None], {"missing_values", "duplicate_rows"}),
}


@pytest.mark.parametrize("case", REPEATED)
@pytest.mark.parametrize("apart", [False, True])
def test_rows_of_one_time(case: str, apart: bool) -> None:
    rows, kept, flags = REPEATED[case]
    lines = [f"1,{row}" for row in rows]
    lines = [*lines[:1], "0,20,20", *lines[1:]] if apart else ["0,20,20", *lines]
    trace = parse_trace(csv("t_s,p1_c,p2_c", *lines))
    assert [None if np.isnan(value) else value for value in trace.temperatures_c[1]] == kept
    assert set(trace.flags) == flags | ({"unsorted"} if apart else set())


def test_of_contradicting_pressures_none_is_kept() -> None:
    trace = parse_trace(csv("t_s,temp_c,p_bar_abs", "0,20,1", "0,20,1.5", "1,20,1", "1,20,1"))
    ((times, pressures),) = trace.pressure_readings()
    assert (times.tolist(), pressures.tolist()) == ([1], [1])
    assert trace.flags == ("duplicate_rows", "conflicting_duplicates")


@pytest.mark.parametrize("word", ["", " ", "NaN", "n/a", "NULL", "none", "-", "---"])
def test_a_missing_value_takes_itself_away_and_nothing_else(word: str) -> None:
    trace = parse_trace(csv("t_s,p1_c,p2_c,x_bar_abs", "0,20,20,1", f"1,{word},21,1", "2,22,22,1"))
    assert [times.tolist() for times, _ in trace.probe_readings()] == [[0, 2], [0, 1, 2]]
    assert trace.flags == ("missing_values",)


def test_a_short_line_lacks_its_last_values() -> None:
    trace = parse_trace(csv("t_s,p1_c,p2_c", "0,20,20", "1,21"))
    assert [times.tolist() for times, _ in trace.probe_readings()] == [[0, 1], [0]]
    assert trace.flags == ("missing_values",)


@pytest.mark.parametrize(
    ("reading", "kept"),
    [
        ("-20", True),
        ("-20.1", False),
        ("160", True),
        ("160.1", False),
        ("inf", False),
        ("-Infinity", False),
        ("1e999", False),
    ],
)
def test_readings_beyond_the_sensor_are_taken_away(reading: str, kept: bool) -> None:
    trace = parse_trace(csv("t_s,temp_c", "0,20", f"1,{reading}", "2,20"))
    assert (1 in readings(trace)[0]) is kept
    assert trace.flags == (() if kept else ("out_of_range",))


@pytest.mark.parametrize(("reading", "kept"), [("320", True), ("320.5", False), ("-4", True), ("-5", False)])
def test_the_range_is_one_of_celsius_whatever_the_column(reading: str, kept: bool) -> None:
    assert ("out_of_range" in parse_trace(csv("t_s,temp_f", "0,70", f"1,{reading}", "2,70")).flags) is not kept


def test_a_negative_absolute_pressure_is_taken_away() -> None:
    trace = parse_trace(csv("t_s,temp_c,p_mbar_abs", "0,20,-5", "1,20,5"))
    assert trace.flags == ("out_of_range",)


def test_thirty_seconds_are_no_gap_and_ten_are_not_coarse() -> None:
    """Nor are they made so by binary fractions: 10.1 - 0.1 is a hair off 10."""
    times = [0.1 + 10 * step for step in range(8)] + [100.1]
    trace = parse_trace(csv("t_s,temp_c", *(f"{time:.1f},20" for time in times)))
    assert trace.flags == ()
    assert not is_gap(np.array([30.0])).any()
    assert is_gap(np.array([30.1])).all()
    assert is_coarse(10.1)


def test_a_gap_of_one_probe_is_a_gap() -> None:
    rows = [f"{second},20,{'' if 10 < second < 45 else 21}" for second in range(60)]
    assert parse_trace(csv("t_s,p1_c,p2_c", *rows)).flags == ("missing_values", "gap")


def test_a_log_that_ends_hot_was_cut_off() -> None:
    assert parse_trace(csv("t_s,temp_c", "0,20", "1,65.1")).flags == ("truncated",)
    assert parse_trace(csv("t_s,temp_c", "0,90", "1,65")).flags == ()
    assert parse_trace(csv("t_s,temp_c", "0,90", "1,90", "2,")).flags == ("missing_values", "truncated")
    assert parse_trace(csv("t_s,p1_c,p2_c", "0,90,90", "1,,90", "2,,60")).flags == ("missing_values",)


def stuck_rows(still: int, *, moves_k: float, start: float = 50.0) -> list[str]:
    return [f"{at},{start},{20 + moves_k * at / (still - 1):.4f}" for at in range(still)]


@pytest.mark.parametrize(
    ("still", "moves_k", "found"), [(30, 2, True), (29, 40, False), (30, 1.99, False), (300, 2, True)]
)
def test_a_probe_that_stood_still_while_another_moved(still: int, moves_k: float, found: bool) -> None:
    rows = stuck_rows(still, moves_k=moves_k)
    trace = parse_trace(csv("t_s,Drain_C,p2_c", *rows, f"{still},51,20"))
    assert trace.flags == (("stuck_sensor:Drain_C",) if found else ())
    assert trace.probes == (("p2_c",) if found else ("Drain_C", "p2_c"))


def test_a_stuck_probe_is_dropped_for_the_whole_trace() -> None:
    """Its cold plateau would have hidden the disinfection; its gap and its heat are forgotten with it."""
    rows = [f"{at},{min(at, 90)},{min(at, 40) if at < 200 else ''}" for at in range(300)]
    trace = parse_trace(csv("t_s,p1_c,p2_c", *rows, "300,50,90"))
    assert trace.flags == ("missing_values", "stuck_sensor:p2_c")
    assert of_trace(trace).a0_s == of_samples([*range(301)], [*(min(at, 90) for at in range(300)), 50]).a0_s


def test_missing_values_do_not_hide_that_a_probe_is_stuck() -> None:
    rows = [f"{at},{'' if at % 7 == 3 else 50},{20 + at / 5}" for at in range(40)]
    assert "stuck_sensor:p1_c" in parse_trace(csv("t_s,p1_c,p2_c", *rows)).flags


def test_two_probes_that_both_stand_still_show_nothing_of_each_other() -> None:
    rows = [f"{at},50,60,20" for at in range(100)]
    assert parse_trace(csv("t_s,p1_c,p2_c,p3_c", *rows)).flags == ()


def test_when_every_probe_was_stuck_once_nothing_is_left() -> None:
    rows = [f"{at},{min(at, 40)},{max(at, 40)}" for at in range(81)]
    trace = parse_trace(csv("t_s,p1_c,p2_c", *rows))
    assert trace.flags == ("stuck_sensor:p1_c", "stuck_sensor:p2_c")
    assert not trace.has_readings
    assert of_trace(trace).a0_s == 0


def test_a_probe_whose_other_has_no_reading_meanwhile_is_not_stuck() -> None:
    rows = [f"{at},50," for at in range(40)]
    assert (
        parse_trace(csv("t_s,p1_c,p2_c", *rows, "41,51,20", "42,50,90", "43,20,20")).flags
        == ("missing_values", "gap")[:1]
    )


def test_a_probe_or_gauge_without_a_reading_does_not_count_and_is_named() -> None:
    rows = [f"{at},90,{'' if at % 2 else 999},1," for at in range(11)]
    trace = parse_trace(csv("t_s,p1_c,p2_c,a_bar_abs,b_bar_abs", *rows))
    assert (trace.probes, trace.gauges, trace.silent) == (("p1_c",), ("a_bar_abs",), ("p2_c", "b_bar_abs"))
    assert of_trace(trace).a0_s == pytest.approx(100)
    assert trace.flags == ("missing_values", "out_of_range", "truncated")
    assert trace.findings()[-1].sentence == "Without a single reading, and left out: p2_c, b_bar_abs."


def test_every_flag_has_words() -> None:
    content = csv(
        "t_s;p1_f;p2_c",
        *(f"{at};120,2;{20 + at}" for at in range(40)),
        "20;120,2;40",
        "19;120,2;2",
        "90;;150",
        "99;999;150",
    )
    trace = parse_trace(content)
    assert trace.flags == (
        "duplicate_rows", "conflicting_duplicates", "missing_values", "out_of_range", "gap", "unsorted",
        "unit_converted", "decimal_comma", "truncated", "stuck_sensor:p1_f",
    )  # fmt: skip
    findings = trace.findings()
    assert [finding.slug for finding in findings] == [flag.split(":")[0].replace("_", "-") for flag in trace.flags]
    assert "p1_f" in findings[-1].sentence
    assert len({finding.sentence for finding in findings}) == len(findings)
    assert {flag for flag in trace.flags if ":" not in flag} <= set(FLAG_WORDS)


# --- the value itself -------------------------------------------------------------------------------


def test_a_trace_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        parse_trace("t_s,temp_c\n0,20\n").temperatures_c[0, 0] = 134


@pytest.mark.parametrize(
    ("times", "temperatures", "pressures", "words"),
    [
        ([0, 0], np.zeros((2, 1)), np.zeros((2, 0)), "times that increase"),
        ([[0, 1]], np.zeros((2, 1)), np.zeros((2, 0)), "times that increase"),
        ([0, 1], np.zeros((2, 2)), np.zeros((2, 0)), "one temperature"),
        ([0, 1], np.zeros((2, 1)), np.zeros((2, 1)), "one pressure"),
    ],
)
def test_a_trace_that_cannot_be(times: Any, temperatures: Any, pressures: Any, words: Any) -> None:
    with pytest.raises(ValueError, match=words):
        Trace(np.array(times, dtype=float), temperatures, ("p1_c",), pressures, ())


def test_no_trace_has_no_readings() -> None:
    assert not NO_TRACE.has_readings
    assert NO_TRACE.findings() == ()


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 300), st.integers(-30, 170)), min_size=2, max_size=40), st.randoms())
def test_the_order_of_the_file_does_not_matter(rows: list[tuple[int, int]], random: Random) -> None:
    shuffled = random.sample(rows, len(rows))
    one, other = (
        parse_trace(csv("t_s,temp_c", *(f"{at},{reading}" for at, reading in order))) for order in (rows, shuffled)
    )
    assert all_readings(one) == all_readings(other)
    assert set(one.flags) - {"unsorted"} == set(other.flags) - {"unsorted"}
