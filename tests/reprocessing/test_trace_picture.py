import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from reprocessing import trace_picture
from reprocessing.judging import MINUS
from reprocessing.limits import SteamLimits, WashLimits
from reprocessing.trace import NO_TRACE, Trace, parse_trace
from reprocessing.trace_picture import BOTTOM, LEFT, RIGHT, SLIVERS, TOP, Limits, trace_svg

STEAM = SteamLimits(134, 3, 180, 15, 2, 2, "EN 285")
WASH = WashLimits(3000, "ISO 15883-1", hold_c=90, hold_s=60)
NAMESPACE = "{http://www.w3.org/2000/svg}"


def draw(trace: Trace, limits: Limits | None = None) -> ET.Element:
    return ET.fromstring(trace_svg(trace, limits, title="Load S2-1", describe="held 134.5 °C"))


def texts(svg: ET.Element) -> list[str]:
    return [element.text or "" for element in svg.iter(f"{NAMESPACE}text")]


def paths(svg: ET.Element, name: str) -> list[str]:
    return [element.get("d", "") for element in svg.iter(f"{NAMESPACE}path") if element.get("class") == name]


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](\S+?) ([\d.]+)", path)]


def steam(seconds: int = 400, *, gap: tuple[int, int] = (0, 0)) -> Trace:
    """A plateau from second 100 to 300, the second probe 4 s late; readings tremble, so that none stands still."""
    rows = []
    for at in (at for at in range(seconds) if not gap[0] <= at < gap[1]):
        tremble = 0.1 * (at % 2)
        first = tremble + (134.5 if 100 <= at <= 300 else 60)
        second = tremble + (134.2 if 104 <= at <= 302 else 60)
        rows.append(f"{at},{first},{second},{3.05 if 100 <= at <= 300 else 1}")
    return parse_trace("\n".join(["t_s,p1_c,p2_c,chamber_bar_abs", *rows]))


def test_a_million_readings_are_thinned_and_no_peak_is_lost() -> None:
    count = 1_000_000
    times = np.arange(count, dtype=np.float64)
    celsius = 90.0 + np.sin(times / 5e4)
    celsius[[123_456, 876_543]] = 140.0, 20.0
    trace = Trace(times, celsius[:, None], ("p1_c",), np.empty((count, 0)), ())
    drawn = points(paths(draw(trace), "trace-temperature")[0])
    assert len(drawn) <= 2 * SLIVERS + 2
    highest, lowest = min(drawn, key=lambda point: point[1]), max(drawn, key=lambda point: point[1])
    for at, (x, y), value in ((123_456, highest, 140.0), (876_543, lowest, 20.0)):
        assert x == pytest.approx(LEFT + at / (count - 1) * (RIGHT - LEFT), abs=0.1)
        axis = trace_picture._temperature_axis(trace, None)
        assert y == pytest.approx(axis.at(value), abs=0.1)


def test_it_says_in_words_what_it_shows() -> None:
    svg = ET.fromstring(trace_svg(steam(), STEAM, title="A & B", describe="held < 3 min"))
    assert svg.get("role") == "img"
    assert [(child.tag, child.text) for child in svg[:2]] == [
        (f"{NAMESPACE}title", "A & B"),
        (f"{NAMESPACE}desc", "held < 3 min"),
    ]


def test_it_brings_no_style_and_no_identifiers() -> None:
    """A page that allows style sheets of its own origin only would drop the style, and ids would meet each other."""
    for limits in (None, STEAM, WASH):
        for element in draw(steam(gap=(150, 190)), limits).iter():
            assert not {"style", "id", "href"} & set(element.attrib)
            assert element.tag not in {f"{NAMESPACE}style", f"{NAMESPACE}script"}


def test_pressure_is_solid_and_temperatures_are_dashed_each_its_own_way() -> None:
    svg = draw(steam(), STEAM)
    strokes: dict[str, list[str | None]] = {"trace-pressure": [], "trace-temperature": []}
    for element in svg.iter(f"{NAMESPACE}path"):
        if (name := element.get("class", "")) in strokes:
            strokes[name].append(element.get("stroke-dasharray"))
    assert strokes["trace-pressure"] == [None]
    assert len(set(strokes["trace-temperature"])) == 2
    assert None not in strokes["trace-temperature"]
    assert {"p1_c", "p2_c", "chamber_bar_abs", "°C", "bar abs", "Time from the first reading (min)"} <= set(texts(svg))


def test_the_band_and_the_hold_are_drawn_where_they_are() -> None:
    svg = draw(steam(), STEAM)
    assert {"band 134 to 137 °C", "hold 3min\xa016s"} <= set(texts(svg))
    (bracket,) = paths(svg, "trace-hold")
    start, end = (float(part) for part in re.match(r"M(\S+) \S+?v-6H(\S+?)v6", bracket).groups())  # type: ignore[union-attr]
    minute = (RIGHT - LEFT) / (399 / 60)
    assert start == pytest.approx(LEFT + 104 / 60 * minute, abs=0.1)
    assert end == pytest.approx(LEFT + 300 / 60 * minute, abs=0.1)
    hatch, edges = paths(svg, "trace-band")
    top, bottom = (float(y) for y in re.findall(r"M\S+ ([\d.]+)H", edges))
    assert all(LEFT - 0.1 <= x <= RIGHT + 0.1 and top - 0.1 <= y <= bottom + 0.1 for x, y in points(hatch))


def test_without_limits_there_is_neither_band_nor_hold() -> None:
    svg = draw(steam())
    assert paths(svg, "trace-band") == paths(svg, "trace-hold") == []


def test_a_wash_shows_from_where_a0_counts_and_the_least_temperature() -> None:
    trace = parse_trace("t_s,temp_c\n0,20\n10,92\n20,92\n30,30\n")
    assert {"65 °C, A0 counts from here", "90 °C", "hold 10s"} <= set(texts(draw(trace, WASH)))
    plain = draw(trace, WashLimits(3000, "ISO 15883-1"))
    assert "90 °C" not in texts(plain)
    hot = parse_trace("t_s,temp_c\n0,80\n10,85\n")
    assert paths(draw(hot, WASH), "trace-threshold") != []
    assert "65 °C, A0 counts from here" not in texts(draw(hot, WASH))


def test_no_hold_no_bracket() -> None:
    assert paths(draw(parse_trace("t_s,temp_c\n0,20\n10,30\n"), STEAM), "trace-hold") == []


def test_lines_stay_inside_the_plot() -> None:
    svg = draw(steam(), STEAM)
    for path in (*paths(svg, "trace-temperature"), *paths(svg, "trace-pressure")):
        assert all(LEFT <= x <= RIGHT and TOP <= y <= BOTTOM for x, y in points(path))


@pytest.mark.parametrize(("gap", "anchor"), [((150, 190), "start"), ((350, 395), "end")])
def test_a_gap_breaks_the_lines_and_is_named(gap: tuple[int, int], anchor: str) -> None:
    svg = draw(steam(gap=gap), STEAM)
    assert [path.count("M") for path in paths(svg, "trace-temperature")] == [2, 2]
    assert [path.count("M") for path in paths(svg, "trace-pressure")] == [2]
    (words,) = [element for element in svg.iter(f"{NAMESPACE}text") if element.text == "no record"]
    assert words.get("text-anchor") == anchor


def test_no_peak_is_lost_in_a_long_record() -> None:
    seconds = np.arange(20_000.0)
    readings = 60 + np.sin(seconds / 900)
    readings[7_777], readings[12_345] = 150, -10
    trace = Trace(seconds, readings[:, None], ("p1_c",), np.empty((20_000, 0)), ())
    (path,) = paths(draw(trace), "trace-temperature")
    drawn = points(path)
    assert len(drawn) <= 2 * SLIVERS + 2
    axis = trace_picture._temperature_axis(trace, None)
    assert min(y for _, y in drawn) == pytest.approx(axis.at(150), abs=0.06)
    assert max(y for _, y in drawn) == pytest.approx(axis.at(-10), abs=0.06)
    assert [x for x, _ in drawn] == sorted(x for x, _ in drawn)
    assert (drawn[0][0], drawn[-1][0]) == (LEFT, RIGHT)


def test_a_long_record_with_a_pause_in_a_run_of_it() -> None:
    """Slivers of time without a reading are left out."""
    seconds = np.concatenate([np.arange(0, 100, 0.1), [129.0]])
    trace = Trace(seconds, np.full((1_001, 1), 60.0), ("p1_c",), np.empty((1_001, 0)), ())
    assert len(points(paths(draw(trace), "trace-temperature")[0])) <= 2 * SLIVERS + 2


@pytest.mark.parametrize("limits", [None, STEAM, WASH])
@pytest.mark.parametrize(
    "trace",
    [
        NO_TRACE,
        parse_trace("t_s,temp_c\n5,20\n"),
        parse_trace("t_s,temp_c\n5,\n6,\n"),
        parse_trace("t_s,temp_c,p_bar_abs\n5,20,\n6,20,\n"),
    ],
)
def test_little_or_nothing_recorded_still_makes_a_picture(trace: Trace, limits: Limits | None) -> None:
    svg = draw(trace, limits)
    assert "°C" in texts(svg)
    assert "bar abs" not in texts(svg)


def test_figures_below_zero_carry_a_minus() -> None:
    trace = parse_trace("t_s,temp_c\n0,-15\n10,-5\n")
    assert f"{MINUS}10" in texts(draw(trace))
