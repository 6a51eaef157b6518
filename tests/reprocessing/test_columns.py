"""A machine's own names of columns, said once by a person."""

from __future__ import annotations

from datetime import datetime

import pytest

from reprocessing.columns import Columns, first_rows, named
from reprocessing.trace import Trace, parse_trace

HELD = {"Zeit": "local_time", "T Drain [°C]": "c", "T 2": "f", "Druck": "bar_gauge", "Phase": "unread"}
FILE = (
    "\ufeffMachine 4711\r\nNo header yet\r\n"
    "Zeit;T Drain [°C];T 2;Druck;Phase\r\n"
    "2026-11-24T09:00:00;20,5;68,9;0,0;start\r\n2026-11-24T09:00:05;21,5;70,7;-0,5;start\r\n"
)


def read(content: str, columns: Columns) -> Trace:
    return parse_trace(named(content, columns), ambient_mbar=columns.ambient_mbar)


def test_a_log_is_read_by_what_a_person_said() -> None:
    """68.9 °F are 20.5 °C by the scale's definition; gauge pressure counts from the room's 950 mbar."""
    trace = read(FILE, Columns(HELD, header_line=3, ambient_mbar=950))
    assert trace.temperatures_c.tolist() == [[20.5, pytest.approx(20.5)], [21.5, pytest.approx(21.5)]]
    assert trace.pressures_bar_abs[:, 0].tolist() == pytest.approx([0.95, 0.45])
    assert trace.probes == ("T_Drain_c", "T_2_f")
    assert trace.ignored == ("Phase in column 5",)
    assert trace.started_local is not None


def test_lines_keep_their_numbers_in_a_refusal() -> None:
    with pytest.raises(ValueError, match="Cannot read line 5"):
        read(FILE.replace("21,5;", "warm;"), Columns(HELD, header_line=3, ambient_mbar=950))


def test_names_that_end_alike_stay_apart() -> None:
    held = {"t": "t_s", "T-1": "c", "T 1": "c", "%%": "c", "T 1_c": "c"}
    assert named("t,T-1,T 1,%%,T 1_c,\n0,1,2,3,4,\n", Columns(held)) == (
        "t_s,T_1_c,T_1_3_c,column_4_c,T_1_5_c,\n0,1,2,3,4,\n"
    )


def test_a_name_that_says_a_unit_does_not_outweigh_a_person() -> None:
    """A column called temp_c that a person said is not read, is not; nor one called so that holds Fahrenheit."""
    trace = read("t,temp_c,b_c\n0,1,212\n5,2,212\n", Columns({"t": "t_s", "temp_c": "unread", "b_c": "f"}))
    assert trace.temperatures_c.tolist() == [[100.0], [100.0]]
    assert trace.probes == ("b_f",)


@pytest.mark.parametrize("day", ["03.11.2026 09:00:05", "3/11/2026 9:00:05", "03-11-2026T09:00:05,0"])
def test_dates_with_the_day_first_are_read_as_stated(day: str) -> None:
    """3 November, not 11 March: a file cannot say which it is, a person does."""
    held = {"When": "local_time_day_first", "T": "c", "p": "mbar_gauge"}
    content = f'When;T;p\n02.11.2026 09:00;20;0\n\n"{day}";21;-500\n'
    trace = read(content, Columns(held, ambient_mbar=950))
    assert trace.started_local == datetime(2026, 11, 2, 9, 0)  # noqa: DTZ001 - the wall clock of a machine
    assert trace.times_s.tolist() == [0.0, 86405.0]
    assert trace.pressures_bar_abs[:, 0].tolist() == pytest.approx([0.95, 0.45])


@pytest.mark.parametrize("unit", [("bar_gauge", "-0.5"), ("kpa_gauge", "-50"), ("mbar_gauge", "-500")])
def test_gauge_pressure_is_read_in_the_unit_stated(unit: tuple[str, str]) -> None:
    """0.5 bar below a room of 1.000 bar: 1 bar = 100 kPa = 1000 mbar by definition."""
    trace = read(f"t,T,p\n0,20,{unit[1]}\n", Columns({"t": "t_s", "T": "c", "p": unit[0]}, ambient_mbar=1000))
    assert trace.pressures_bar_abs.tolist() == [[pytest.approx(0.5)]]


@pytest.mark.parametrize("cell", ["2026-11-24 09:00", "24.11.26 09:00", "24.11.2026", "24.11/2026 09:00"])
def test_a_date_that_is_not_as_stated_is_refused(cell: str) -> None:
    columns = Columns({"t": "local_time_day_first", "T": "c"})
    with pytest.raises(ValueError, match=r"Cannot read line 3, column t: .* must be a date with the day first"):
        named(f"t,T\n24.11.2026 08:00,1\n{cell},2\n", columns)
    with pytest.raises(ValueError, match="must be a date and time"):
        read("t,T\n31.02.2026 08:00,1\n", columns)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("a,b\n0,1\n", "the column a: what it holds is not stated"),
        ("t,extra,T\n0,1,2\n", "the column extra: what it holds is not stated"),
        ("t\n0\n", "lacks the column T"),
        ("", "line 1 is empty"),
        ("\nt,T\n", "line 1 is empty"),
    ],
)
def test_another_file_is_refused(content: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        named(content, Columns({"t": "t_s", "T": "c", "Note": "unread"}))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"held": {"t": "t_s", "T": ""}}, "must be stated"),
        ({"held": {"t": "t_s", "u": "time", "T": "c"}}, "2 columns of time"),
        ({"held": {"T": "c"}}, "0 columns of time"),
        ({"held": {"t": "t_s", "p": "bar_abs"}}, "without a temperature"),
        ({"held": {"t": "t_s", "T": "c"}, "header_line": 0}, "on line 0"),
        ({"held": {"t": "t_s", "T": "c", "p": "bar_gauge"}}, "is not stated, must be from 500"),
        ({"held": {"t": "t_s", "T": "c", "p": "bar_gauge"}, "ambient_mbar": 1.013}, "is 1.013 mbar"),
    ],
)
def test_what_cannot_be_read_is_refused_at_once(fields: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Columns(**fields)  # type: ignore[arg-type]


def test_first_rows_are_shown_as_they_are() -> None:
    rows = first_rows(FILE, header_line=3)
    assert rows[0] == ["Zeit", "T Drain [°C]", "T 2", "Druck", "Phase"]
    assert rows[1][1] == "20,5"
    assert first_rows("", header_line=1) == []
    assert first_rows("a,b\n", header_line=0) == [["a", "b"]]
