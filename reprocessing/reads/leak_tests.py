"""Questions to the record of an air leakage test."""

from __future__ import annotations

from reprocessing.judgement import Judgement
from reprocessing.leakage import judge_leak
from reprocessing.models import Arrival
from reprocessing.reads import columns_of, read_trace
from reprocessing.trace import Trace


def leak_trace(arrival: Arrival) -> Trace:
    """The trace of a record that waits.

    Raises:
        ValueError: it cannot be read; the sentence says why.
    """
    if arrival.fault:
        raise ValueError(arrival.fault)
    return read_trace(arrival.content, columns_of(arrival.machine) if arrival.machine else None)


def leak_judgement(arrival: Arrival, *, hold_from_s: float | None) -> Judgement:
    """What a record shows of an air leakage test.

    Args:
        arrival: the record.
        hold_from_s: when the valves closed, in the seconds of the record; None takes its lowest pressure.

    Raises:
        ValueError: it cannot be read; the sentence says why.
    """
    return judge_leak(leak_trace(arrival), hold_from_s=hold_from_s)
