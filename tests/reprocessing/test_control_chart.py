"""The p-chart against a worked example of the textbook, and by its definition; its picture."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reprocessing.control_chart import Sample, chart_svg, p_chart, percentile

# Montgomery, Introduction to Statistical Quality Control, frozen orange juice cans: 30 samples of 50 cans, 347
# nonconforming in all; centre line 0.2313, limits 0.0524 and 0.4102; samples 15 and 23 lie outside. From memory.
CANS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]
SVG = "{http://www.w3.org/2000/svg}"


def cans() -> list[Sample]:
    return [Sample(str(number), count, 50) for number, count in enumerate(CANS, start=1)]


def test_the_textbook_example() -> None:
    chart = p_chart(cans())
    assert chart is not None
    assert sum(CANS) == 347
    assert chart.mean == pytest.approx(0.2313, abs=5e-5)
    assert chart.points[0].low == pytest.approx(0.0524, abs=1e-4)
    assert chart.points[0].high == pytest.approx(0.4102, abs=1e-4)
    assert [point.sample.label for point in chart.outside] == ["15", "23"]
    assert not chart.few


@given(st.lists(st.integers(1, 300).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))), min_size=1))
def test_limits_of_varying_size_by_numpy(rows: list[tuple[int, int]]) -> None:
    """The same from the definition, on arrays."""
    chart = p_chart([Sample(str(at), count, of) for at, (count, of) in enumerate(rows)])
    counts, sizes = np.array(rows, dtype=float).T
    mean = counts.sum() / sizes.sum()
    reach = 3 * np.sqrt(mean * (1 - mean) / sizes)
    assert chart is not None
    assert chart.mean == pytest.approx(mean)
    assert [point.low for point in chart.points] == pytest.approx(np.clip(mean - reach, 0, 1))
    assert [point.high for point in chart.points] == pytest.approx(np.clip(mean + reach, 0, 1))


def test_no_sample_no_chart_and_few_samples_say_so() -> None:
    assert p_chart([]) is None
    few = p_chart(cans()[:3])
    assert few is not None
    assert few.few


@pytest.mark.parametrize(("count", "of"), [(0, 0), (2, 1), (-1, 3)])
def test_a_sample_that_cannot_be(count: int, of: int) -> None:
    with pytest.raises(ValueError, match="cannot hold"):
        Sample("week 1", count, of)


@given(st.lists(st.floats(0, 1e6), min_size=1), st.floats(0.01, 1))
def test_a_percentile_by_its_definition(values: list[float], share: float) -> None:
    found = percentile(values, share)
    assert sum(value <= found for value in values) >= share * len(values) - 1e-6
    assert sum(value < found for value in values) < share * len(values) + 1e-6
    assert found == np.percentile(values, 100 * share, method="inverted_cdf") or len(values) > 100


@pytest.mark.parametrize(("values", "share"), [([], 0.5), ([1.0], 0.0), ([1.0], 1.1)])
def test_what_has_no_percentile(values: list[float], share: float) -> None:
    with pytest.raises(ValueError, match="There is no value"):
        percentile(values, share)


def test_the_picture_says_each_point_and_marks_those_outside() -> None:
    chart = p_chart(cans())
    assert chart is not None
    root = ET.fromstring(chart_svg(chart, title="Cans <30>", describe="two outside"))
    assert root.find(f"{SVG}title").text == "Cans <30>"  # type: ignore[union-attr]
    assert len(root.findall(f"{SVG}circle")) == 28
    assert len(root.findall(f"{SVG}rect")) == 2
    words = [text.text for text in root.findall(f"{SVG}text")]
    assert words.count("outside") == 2
    assert "23%" in words
    assert "1" in words
    assert "2" not in words
