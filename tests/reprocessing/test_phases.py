"""The record of a low-temperature cycle, read row by row."""

import pytest

from reprocessing.limits import PhaseReading
from reprocessing.phases import read_phases

HEAD = "phase,quantity,unit,value\n"


def test_rows_in_the_order_of_the_record() -> None:
    content = HEAD + "exposure, duration, min, 47.5\nexposure,chamber pressure,mbar,9\n"
    assert read_phases(content) == (
        PhaseReading("exposure", "duration", "min", 47.5),
        PhaseReading("exposure", "chamber pressure", "mbar", 9.0),
    )


def test_columns_in_any_order_and_others_beside_them() -> None:
    assert read_phases("note,value,unit,quantity,phase\nx,1,min,duration,vacuum\n") == (
        PhaseReading("vacuum", "duration", "min", 1.0),
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "lacks the columns phase, quantity, unit, value"),
        ("phase,unit,value\n", "lacks the columns quantity"),
        (HEAD, "has no row"),
        (HEAD + "exposure,duration,,1\n", "line 2: it must name a phase"),
        (HEAD + "exposure\n", "line 2: it must name a phase"),
        (HEAD + "exposure,duration,min,long\n", 'line 2: its value is "long", must be a finite number'),
        (HEAD + "exposure,duration,min,inf\n", 'line 2: its value is "inf"'),
        (HEAD + "exposure,duration,min\n", 'line 2: its value is ""'),
    ],
)
def test_what_cannot_be_read_is_named(content: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read_phases(content)


def test_a_byte_order_mark_is_no_part_of_a_name() -> None:
    (reading,) = read_phases("\ufeffphase,quantity,unit,value\nexposure,duration,min,30\n")
    assert reading.phase == "exposure"
