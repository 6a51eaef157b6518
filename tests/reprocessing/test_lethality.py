from itertools import pairwise
from typing import Any

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reprocessing.lethality import A0_LAW, F0_LAW, RateLaw, equivalent_s, of_samples, of_trace
from reprocessing.trace import NO_TRACE, parse_trace
from reprocessing.trace_csv import FloatArray

SOURCE_A0 = "ISO 15883-1, definition of A0, z = 10 K, from 65 °C up; minutes computed from the definition"
PER_MILLE = 1e-3  # the tables give four figures


def constant(temperature_c: float, minutes: float) -> tuple[list[float], list[float]]:
    return [0.0, minutes * 60.0], [temperature_c, temperature_c]


def ramp(from_c: float, to_c: float, kelvin_per_minute: float) -> tuple[list[float], list[float]]:
    return [0.0, (to_c - from_c) / kelvin_per_minute * 60.0], [from_c, to_c]


# --- published values ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("a0_s", "minutes"),
    [
        (60, {65: 31.62, 70: 10.00, 75: 3.162, 80: 1.000, 85: 0.3162, 90: 0.1000, 93: 0.0501, 95: 0.0316}),
        (600, {65: 316.2, 70: 100.0, 75: 31.62, 80: 10.00, 85: 3.162, 90: 1.000, 93: 0.5012, 95: 0.3162}),
        (3000, {65: 1581, 70: 500.0, 75: 158.1, 80: 50.00, 85: 15.81, 90: 5.000, 93: 2.506, 95: 1.581}),
    ],
)
def test_hold_at_constant_temperature_gives_the_tabled_a0(a0_s: float, minutes: Any) -> None:
    """Source: SOURCE_A0. 600 as 90 °C 1 min and 3000 as 90 °C 5 min: German hospital-hygiene society, 2012."""
    for temperature_c, hold_min in minutes.items():
        rounding = 0.5 * 10 ** -(len(str(hold_min).partition(".")[2])) / hold_min  # of the tabled minutes
        found = of_samples(*constant(temperature_c, hold_min)).a0_s
        assert found == pytest.approx(a0_s, rel=max(PER_MILLE, rounding))


@pytest.mark.parametrize(
    ("temperature_c", "per_second"),
    [(65, 0.03162), (70, 0.1), (75, 0.3162), (80, 1), (85, 3.1623), (90, 10), (93, 19.953), (95, 31.623)],
)
def test_a0_rate(temperature_c: float, per_second: float) -> None:
    """Source: SOURCE_A0."""
    assert of_samples([0, 1], [temperature_c] * 2).a0_s == pytest.approx(per_second, rel=PER_MILLE)


def test_below_65_degrees_nothing_counts_for_a0_and_at_65_it_does() -> None:
    """Source: ISO 15883-1, annex on A0: only from 65 °C up."""
    assert of_samples([0, 1e6], [64.9, 64.9]).a0_s == 0
    assert of_samples([0, 1], [65.0, 65.0]).a0_s == pytest.approx(0.0316, rel=2e-3)


def test_a0_of_a_slow_ramp_alone_exceeds_600() -> None:
    """Source: closed form of a linear ramp, z/(r ln 10) [10^((T1-ref)/z) - 10^((T0-ref)/z)]."""
    assert of_samples(*ramp(65, 90, 2)).a0_s == pytest.approx(1298.8, abs=0.05)
    assert of_samples(*ramp(20, 90, 2)).a0_s == pytest.approx(1298.8, abs=0.05)
    assert of_samples(*constant(93, 10)).a0_s == pytest.approx(11_972, abs=0.5)


RATES = {  # lethal rate per minute at reference 121.0, 121.1 and 121.11 °C, z = 10 K, from the definition
    100: (0.0079, 0.0078, 0.0077),
    105: (0.0251, 0.0245, 0.0245),
    110: (0.0794, 0.0776, 0.0774),
    115: (0.2512, 0.2455, 0.2449),
    118: (0.5012, 0.4898, 0.4887),
    120: (0.7943, 0.7762, 0.7745),
    121: (1.0000, 0.9772, 0.9750),
    122: (1.2589, 1.2303, 1.2274),
    124: (1.9953, 1.9498, 1.9454),
    126: (3.1623, 3.0903, 3.0832),
    129: (6.3096, 6.1660, 6.1518),
    130: (7.9433, 7.7625, 7.7446),
    132: (12.589, 12.303, 12.274),
    134: (19.953, 19.498, 19.454),
    135: (25.119, 24.547, 24.491),
    137: (39.811, 38.905, 38.815),
}


@pytest.mark.parametrize("temperature_c", RATES)
def test_lethal_rates_of_steam(temperature_c: int) -> None:
    """Source: definition of F0, US proposed rule of 1 June 1976 (21 CFR 212.3), z = 10 K."""
    for reference_c, rate in zip((121.0, 121.1, 121.11), RATES[temperature_c], strict=True):
        law = RateLaw(reference_c=reference_c, z_k=10)
        exact_s, floor_s = equivalent_s(np.array([0.0, 60.0]), np.array([temperature_c] * 2, dtype=float), law)
        assert exact_s / 60 == pytest.approx(rate, abs=0.6 * 10 ** -(4 if rate < 10 else 3))
        assert floor_s == exact_s


@pytest.mark.parametrize(
    ("temperature_c", "minutes", "f0_min"),
    [
        (121, 15, 14.66),
        (126, 10, 30.90),
        (134, 3, 58.50),
        (132, 4, 49.21),
        (135, 3, 73.64),
        (134, 3.5, 68.24),
        (134, 18, 350.97),
    ],
)
def test_f0_of_nominal_holds(temperature_c: float, minutes: Any, f0_min: float) -> None:
    """Source: definition of F0 with base 121.1 °C, z = 10 K."""
    assert of_samples(*constant(temperature_c, minutes)).f0_min == pytest.approx(f0_min, abs=0.006)


@pytest.mark.parametrize(("temperature_c", "f0_min"), [(121, 15), (111, 1.5), (124, 29.93)])
def test_f0_of_a_published_worked_example(temperature_c: float, f0_min: float) -> None:
    """Source: public note on F0 with base 121 °C, 15 minutes."""
    times, temperatures = constant(temperature_c, 15)
    exact_s, _ = equivalent_s(np.array(times), np.array(temperatures, dtype=float), RateLaw(121, 10))
    assert exact_s / 60 == pytest.approx(f0_min, abs=0.006)


def test_f0_of_linear_ramps() -> None:
    """Source: closed form of a linear ramp at 1 K/min to 121.1 °C."""
    assert of_samples(*ramp(100, 121.1, 1)).f0_min == pytest.approx(4.309, abs=5e-4)
    assert of_samples(*ramp(110, 121.1, 1)).f0_min == pytest.approx(4.006, abs=5e-4)


@pytest.mark.parametrize("step_s", [1, 7, 10])
def test_sampled_ramp_agrees_with_its_closed_form(step_s: int) -> None:
    """A piecewise-linear course is integrated without a sampling error as long as its corners are sampled."""
    times = np.append(np.arange(0, 750, step_s), 750.0)
    assert of_samples(times, 65 + times / 30).a0_s == pytest.approx(1298.8, rel=PER_MILLE)


# --- an independent integral, 30 digits -------------------------------------------------------------

NASTY = {
    "washer up and down": ([0, 100, 350, 351, 700, 1200], [20, 64.999, 92.3, 90.0, 90.1, 40]),
    "crosses 65 within one step": ([0, 60, 120, 121, 400], [-5, 140, -20, 65, 65.0001]),
    "steps of a microkelvin": ([0, 1, 2, 3, 4], [134, 134 + 1e-6, 134, 134 - 1e-9, 134 + 1e-12]),
    "uneven times": ([1e6, 1e6 + 1e-3, 1e6 + 0.25, 1e6 + 29, 1e6 + 500], [80, 80, 121.1, 134, 60]),
    "a jump of 180 K": ([0, 1e-3, 10, 10.001], [-20, 160, 160, -20]),
}


def quadrature(times: Any, temperatures: Any, law: RateLaw) -> Any:
    """mpmath's tanh-sinh quadrature of the rate over the piecewise-linear temperature, split where it bends."""
    total = mpmath.mpf(0)
    for (t1, c1), (t2, c2) in pairwise(zip(map(mpmath.mpf, times), map(mpmath.mpf, temperatures), strict=True)):

        def course(t: Any, t1: Any = t1, c1: Any = c1, t2: Any = t2, c2: Any = c2) -> Any:
            return c1 + (c2 - c1) * (t - t1) / (t2 - t1)

        low = mpmath.mpf(law.counts_from_c)
        points = [t1, t2]
        if min(c1, c2) < low < max(c1, c2):
            points.insert(1, t1 + (low - c1) * (t2 - t1) / (c2 - c1))
        for start, end in pairwise(points):
            if course((start + end) / 2) >= low:
                total += mpmath.quad(lambda t: mpmath.power(10, (course(t) - law.reference_c) / law.z_k), [start, end])
    return total


@pytest.mark.parametrize("name", NASTY)
@pytest.mark.parametrize("law", [A0_LAW, F0_LAW])
def test_integral_agrees_with_quadrature_to_nine_digits(name: str, law: RateLaw) -> None:
    times, temperatures = (np.array(column, dtype=float) for column in NASTY[name])
    with mpmath.workdps(30):
        expected = float(quadrature(times, temperatures, law))
    assert equivalent_s(times, temperatures, law)[0] == pytest.approx(expected, rel=1e-9)


# --- properties -------------------------------------------------------------------------------------

Course = tuple[FloatArray, FloatArray]

temperature = st.floats(-20, 160)
courses = st.lists(st.tuples(st.floats(0.01, 30), temperature), min_size=2, max_size=30).map(
    lambda rows: (np.cumsum([step for step, _ in rows]), np.array([course for _, course in rows]))
)
thorough = settings(deadline=None, max_examples=60)


@thorough
@given(courses)
def test_floor_is_at_most_the_integral_and_the_integral_at_most_the_trapezoid(course: Course) -> None:
    """The logarithmic mean lies between the lesser and the arithmetic mean."""
    times, temperatures = course
    exact_s, floor_s = equivalent_s(times, temperatures, F0_LAW)
    trapezoid_s = float(np.trapezoid(10 ** ((temperatures - 121.1) / 10), times))
    assert floor_s <= exact_s * (1 + 1e-12)
    assert exact_s <= trapezoid_s * (1 + 1e-12)
    a0_s, floor_a0_s = equivalent_s(times, temperatures, A0_LAW)
    assert floor_a0_s <= a0_s * (1 + 1e-12)


@thorough
@given(courses, st.floats(0.05, 0.95), st.data())
def test_splitting_a_step_changes_nothing(course: Course, share: float, data: st.DataObject) -> None:
    times, temperatures = course
    at = data.draw(st.integers(0, times.size - 2))
    middle_s = times[at] + share * (times[at + 1] - times[at])
    middle_c = float(np.interp(middle_s, times, temperatures))
    for law in (A0_LAW, F0_LAW):
        whole, _ = equivalent_s(times, temperatures, law)
        split, _ = equivalent_s(np.insert(times, at + 1, middle_s), np.insert(temperatures, at + 1, middle_c), law)
        assert split == pytest.approx(whole, rel=1e-8, abs=1e-9)


@thorough
@given(courses, st.floats(-1e4, 1e4))
def test_the_hour_of_the_day_does_not_matter(course: Course, shift_s: float) -> None:
    times, temperatures = course
    for law in (A0_LAW, F0_LAW):
        assert equivalent_s(times + shift_s, temperatures, law)[0] == pytest.approx(
            equivalent_s(times, temperatures, law)[0], rel=1e-6, abs=1e-9
        )


@thorough
@given(courses)
def test_ten_kelvin_more_are_tenfold(course: Course) -> None:
    times, temperatures = course
    once, floor_once = equivalent_s(times, temperatures, F0_LAW)
    ten, floor_ten = equivalent_s(times, temperatures + 10, F0_LAW)
    assert ten == pytest.approx(10 * once, rel=1e-9)
    assert floor_ten == pytest.approx(10 * floor_once, rel=1e-9)


@thorough
@given(courses)
def test_backwards_the_integral_is_the_same(course: Course) -> None:
    times, temperatures = course
    for law in (A0_LAW, F0_LAW):
        forward, backward = (
            equivalent_s(times, temperatures, law),
            equivalent_s(times[-1] - times[::-1], temperatures[::-1], law),
        )
        assert backward == pytest.approx(forward, rel=1e-6, abs=1e-9)


# --- samples and traces -----------------------------------------------------------------------------


def test_samples_tell_their_sampling() -> None:
    found = of_samples([0, 1, 2, 42], [20, 20, 20, 20])
    assert (found.coarsest_step_s, found.median_step_s) == (40, 1)


@pytest.mark.parametrize(
    ("times", "temperatures", "words"),
    [
        ([0, 1], [20], "each must be one time and one temperature"),
        ([[0, 1]], [[20, 20]], "each must be one time and one temperature"),
        ([0], [20], "there are 1, must be at least 2"),
        ([0, 1, 1], [20, 20, 20], "sample 2: its time is 1 s, must be after the 1 s"),
        ([0, 5, 4], [20, 20, 20], "sample 2: its time is 4 s, must be after the 5 s"),
        ([0, float("nan")], [20, 20], "sample 1: its time must be a finite number"),
        ([0, 1], [20, float("inf")], "sample 1: its temperature must be a finite number"),
        ([0, 1], [20, 1e6], "beyond any number"),
    ],
)
def test_samples_that_cannot_be_integrated(times: Any, temperatures: Any, words: Any) -> None:
    with pytest.raises(ValueError, match=words):
        of_samples(times, temperatures)


def test_the_least_probe_counts_for_each_figure() -> None:
    """One probe is cooler in the washer's range, the other in the steriliser's."""
    trace = parse_trace("t_s,p1_c,p2_c\n0,80,75\n10,80,75\n20,120,130\n30,120,130\n")
    one, other = (of_samples(*probe) for probe in trace.probe_readings())
    found = of_trace(trace)
    assert found.a0_s == one.a0_s < other.a0_s
    assert found.floor_f0_min == min(one.floor_f0_min, other.floor_f0_min)


def test_a_gap_earns_nothing_and_is_no_step() -> None:
    trace = parse_trace("t_s,temp_c\n0,90\n30,90\n60.5,90\n70,90\n")
    found = of_trace(trace)
    assert found.a0_s == pytest.approx(10 * (30 + 9.5))
    assert found.coarsest_step_s == 30


def test_a_missing_reading_is_bridged_by_its_neighbours() -> None:
    trace = parse_trace("t_s,temp_c\n0,90\n10,\n20,90\n")
    assert of_trace(trace).a0_s == pytest.approx(200)
    assert of_trace(trace).coarsest_step_s == 20


def test_no_reading_earns_nothing() -> None:
    assert of_trace(NO_TRACE).a0_s == 0
    single = of_trace(parse_trace("t_s,temp_c\n0,90\n"))
    assert (single.a0_s, single.f0_min, single.coarsest_step_s, single.median_step_s) == (0, 0, None, None)


def test_a_law_needs_a_positive_z() -> None:
    with pytest.raises(ValueError, match="above 0 K"):
        RateLaw(80, 0)
