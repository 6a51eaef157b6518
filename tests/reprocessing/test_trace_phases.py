"""Phases of a cycle, and what stands below its picture; the worked example of docs/algorithms/phases.md."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from iapws import IAPWS97

from reprocessing.limits import SteamLimits, WashLimits
from reprocessing.trace import NO_TRACE, Trace, parse_trace
from reprocessing.trace_panels import NAMES_TOP, STRIP_TOP, cycle_svg, difference_k
from reprocessing.trace_phases import Phases, steam_phases, wash_phases

ROOT = Path(__file__).parents[2]
TRACES = ROOT / "fixtures" / "traces"
STEAM = SteamLimits(134, 3, 180, 15, 2, 2, "EN 285")
WASH = WashLimits(3000, "ISO 15883-1", hold_c=90, hold_s=60)
NAMESPACE = "{http://www.w3.org/2000/svg}"

# Minutes, mbar absolute and °C at the corners of a steam cycle, as in the worked example.
CORNERS = (
    (0, 1000, 50),
    (2, 100, 60),
    (4, 1700, 115),
    (6, 100, 80),
    (9, 3042, 134),
    (13, 3042, 134),
    (14, 1000, 110),
    (15, 60, 100),
    (25, 60, 75),
    (26, 1000, 70),
)


def cycle(*, gauge: bool = True, end_min: float = 26, step_s: float = 5) -> Trace:
    minutes, mbar, celsius = zip(*CORNERS, strict=True)
    times = np.arange(0, end_min * 60 + 0.5, step_s)
    bar = np.interp(times / 60, minutes, mbar)[:, None] / 1000 if gauge else np.empty((times.size, 0))
    names = ("chamber_bar_abs",) if gauge else ()
    return Trace(times, np.interp(times / 60, minutes, celsius)[:, None], ("p1_c",), bar, names)


def told(found: Phases) -> list[tuple[str, float, float]]:
    return [(row.name, row.during.start_s / 60, row.during.end_s / 60) for row in found.phases]


def draw(trace: Trace, limits: SteamLimits | WashLimits = STEAM) -> ET.Element:
    return ET.fromstring(cycle_svg(trace, limits, title="Load", describe="Held."))


def texts(svg: ET.Element) -> list[str]:
    return [element.text or "" for element in svg.iter(f"{NAMESPACE}text")]


def classes(svg: ET.Element) -> list[str]:
    return [element.get("class", "") for element in svg.iter()]


def test_the_worked_example_is_parted_as_the_document_says() -> None:
    found = steam_phases(cycle(), set_c=134)
    assert [minute * 60 for minute in (2, 6)] == list(found.pulses_s)
    rows = told(found)
    document = (ROOT / "docs" / "algorithms" / "phases.md").read_text(encoding="utf-8")
    written = re.findall(
        r"^\| (Air removal|Heat-up|Exposure|Exhaust|Drying) \| ([\d.]+) \| ([\d.]+) \|$", document, re.M
    )
    assert [name for name, _, _ in written] == [name for name, _, _ in rows]
    for (_, start, end), row in zip(written, rows, strict=True):
        assert row[1:] == pytest.approx((float(start), float(end)), abs=0.001)
    assert len(rows) == 5


def test_what_the_trace_does_not_show_has_no_phase() -> None:
    assert steam_phases(NO_TRACE, set_c=134) == Phases()
    assert steam_phases(cycle(), set_c=150) == Phases()
    assert [row[0] for row in told(steam_phases(cycle(gauge=False), set_c=134))] == ["Heat-up", "Exposure"]
    assert [row[0] for row in told(steam_phases(cycle(end_min=13), set_c=134))][-1] == "Exposure"
    assert told(steam_phases(cycle(end_min=13.5), set_c=134))[-1] == ("Exhaust", 13.0, 13.5)
    assert told(steam_phases(cycle(end_min=14), set_c=134))[-1][0] == "Exhaust"


def test_a_gravity_cycle_has_no_air_removal() -> None:
    trace = cycle()
    without = Trace(
        trace.times_s, trace.temperatures_c, trace.probes, np.maximum(trace.pressures_bar_abs, 0.9), trace.gauges
    )
    found = steam_phases(without, set_c=134)
    assert found.pulses_s == ()
    assert [row[0] for row in told(found)] == ["Heat-up", "Exposure", "Exhaust"]


def test_ripple_of_a_pump_is_no_pulse() -> None:
    trace = cycle()
    ripple = trace.pressures_bar_abs + 0.03 * np.sin(trace.times_s)[:, None]
    rippled = Trace(trace.times_s, trace.temperatures_c, trace.probes, ripple, trace.gauges)
    assert len(steam_phases(rippled, set_c=134).pulses_s) == 2


def test_a_wash_is_parted_by_its_temperature() -> None:
    trace = parse_trace((TRACES / "washer_good.csv").read_bytes())
    names = [row[0] for row in told(wash_phases(trace, hold_c=90))]
    assert names == ["Warm water", "Heat-up", "Thermal disinfection", "Cooling and drying"]
    assert wash_phases(trace, hold_c=99) == Phases()
    times = np.arange(0.0, 601.0, 5)
    hot = Trace(times, np.full((times.size, 1), 85.0), ("p1_c",), np.empty((times.size, 0)), ())
    assert told(wash_phases(hot, hold_c=None)) == [("Thermal disinfection", 0.0, 10.0)]


def test_the_difference_is_that_of_another_implementation_of_the_standard() -> None:
    """iapws 1.5.5, IAPWS-IF97 region 4 on its own: 3.042 bar is 134.0 °C within 0.01 K."""
    trace = cycle()
    found = difference_k(trace)
    for at in np.flatnonzero(trace.times_s % 300 == 0):
        saturated = float(IAPWS97(P=trace.pressures_bar_abs[at, 0] / 10, x=0).T) - 273.15
        assert found[at] == pytest.approx(trace.temperatures_c[at, 0] - saturated, abs=1e-6)
    empty = Trace(np.array([0.0, 5.0]), np.array([[np.nan], [100.0]]), ("p",), np.array([[1.0], [0.001]]), ("g",))
    assert np.all(np.isnan(difference_k(empty)))


def test_the_picture_names_phases_and_draws_the_difference() -> None:
    svg = draw(cycle())
    said = texts(svg)
    assert "1 Air removal 6min" in said
    assert "3 Exposure 4min" in said
    assert classes(svg).count("trace-phase") == 5
    assert classes(svg).count("trace-pulse") == 2
    assert "trace-difference" in classes(svg)
    assert "trace-suspected" not in classes(svg)
    described = svg.find(f"{NAMESPACE}desc")
    assert described is not None
    assert str(described.text).endswith("Drying 10min. Evacuations: 2.")
    for element in svg.iter():
        assert not {"style", "id", "href"} & set(element.attrib)


@pytest.mark.parametrize(("name", "words"), [("superheated", "superheat suspected"), ("air", "air suspected")])
def test_what_is_judged_is_marked(name: str, words: str) -> None:
    """The verdicts of these traces: fixtures/traces/README.md."""
    svg = draw(parse_trace((TRACES / f"steam_134_{name}.csv").read_bytes()))
    assert words in texts(svg)
    assert classes(svg).count("trace-suspected") == 1
    good = draw(parse_trace((TRACES / "steam_134_good.csv").read_bytes()))
    assert not [text for text in texts(good) if "suspected" in text]


def test_a_difference_late_in_the_picture_is_named_on_its_left() -> None:
    trace = cycle(end_min=13)
    hot = np.where(trace.times_s >= 12.5 * 60, 4.0, 0.0)[:, None]
    svg = draw(Trace(trace.times_s, trace.temperatures_c + hot, trace.probes, trace.pressures_bar_abs, trace.gauges))
    (mark,) = (element for element in svg.iter(f"{NAMESPACE}text") if element.text == "superheat suspected")
    assert mark.get("text-anchor") == "end"


def test_without_phases_or_pressure_the_rest_stands() -> None:
    assert "trace-phase" not in classes(draw(NO_TRACE))
    assert "trace-difference" not in classes(draw(cycle(gauge=False)))
    wash = draw(parse_trace((TRACES / "washer_good.csv").read_bytes()), WASH)
    assert "3 Thermal disinfection 5min\N{NO-BREAK SPACE}20s" in texts(wash)
    assert "trace-difference" not in classes(wash)


def test_a_phase_too_narrow_for_its_number_is_named_below() -> None:
    svg = draw(cycle(end_min=13.1))
    strip = [text.text for text in svg.iter(f"{NAMESPACE}text") if STRIP_TOP < float(text.get("y", 0)) < NAMES_TOP]
    assert "4 Exhaust 5s" in texts(svg)
    assert strip == ["1", "2", "3"]
