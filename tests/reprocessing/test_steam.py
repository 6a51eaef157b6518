import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws.iapws97 import _PSat_T, _TSat_P

from reprocessing.steam import saturation_pressure_bar_abs, saturation_temperature_c

KELVIN = 273.15


@pytest.mark.parametrize(("pressure_mpa", "temperature_k"), [(0.1, 372.755919), (1, 453.035632), (10, 584.149488)])
def test_published_saturation_temperatures(pressure_mpa: float, temperature_k: float) -> None:
    """Source: IAPWS-IF97, Table 36 (values from memory, confirmed by the iapws package)."""
    found = saturation_temperature_c(pressure_mpa * 10) + KELVIN
    assert f"{found:.9g}" == f"{temperature_k:.9g}"


@pytest.mark.parametrize(
    ("temperature_k", "pressure_mpa"), [(300, "0.00353658941"), (500, "2.63889776"), (600, "12.3443146")]
)
def test_published_saturation_pressures(temperature_k: float, pressure_mpa: str) -> None:
    """Source: IAPWS-IF97, Table 35 (values from memory, confirmed by the iapws package)."""
    assert f"{saturation_pressure_bar_abs(temperature_k - KELVIN) / 10:.9g}" == pressure_mpa


def test_the_iapws_package_agrees_over_the_whole_line() -> None:
    """Source: the package iapws, an independent implementation of IAPWS-IF97."""
    temperatures_c = np.linspace(0, 373.9, 400)
    pressures = saturation_pressure_bar_abs(temperatures_c)
    expected = [_PSat_T(temperature + KELVIN) * 10 for temperature in temperatures_c]
    assert pressures == pytest.approx(expected, rel=1e-12)
    back = [_TSat_P(pressure / 10) - KELVIN for pressure in pressures[1:]]
    assert saturation_temperature_c(pressures[1:]) == pytest.approx(back, abs=1e-9)


CYCLE_POINTS = {  # psat in kPa abs and dT/dp in K per kPa, computed from IAPWS-IF97
    121: (205.04, 0.155),
    124: (225.17, 0.143),
    126: (239.46, 0.136),
    129: (262.27, 0.127),
    132: (286.82, 0.118),
    134: (304.20, 0.112),
    135: (313.20, 0.110),
    137: (331.85, 0.105),
}


@pytest.mark.parametrize("temperature_c", CYCLE_POINTS)
def test_steriliser_temperatures(temperature_c: int) -> None:
    kpa, kelvin_per_kpa = CYCLE_POINTS[temperature_c]
    bar = saturation_pressure_bar_abs(temperature_c)
    assert bar * 100 == pytest.approx(kpa, abs=0.006)
    slope = saturation_temperature_c(bar + 0.005) - saturation_temperature_c(bar - 0.005)
    assert slope == pytest.approx(kelvin_per_kpa, abs=6e-4)


@pytest.mark.parametrize(
    ("temperature_c", "differs_k"), [(100, 0.117), (121, 0.137), (126, 0.136), (134, 0.128), (137, 0.124)]
)
def test_the_short_formula_differs_as_is_known(temperature_c: float, differs_k: float) -> None:
    """Source: T = 42.6776 - 3892.70 / (ln(p/MPa) - 9.48654), in several open engineering codes."""
    pressure_mpa = saturation_pressure_bar_abs(temperature_c) / 10
    short_c = 42.6776 - 3892.70 / (np.log(pressure_mpa) - 9.48654) - KELVIN
    assert short_c - temperature_c == pytest.approx(differs_k, abs=6e-4)


@pytest.mark.parametrize(
    ("air_share", "temperature_c"), [(0.01, 133.66), (0.035, 132.79), (0.05, 132.26), (0.10, 130.43)]
)
def test_air_in_the_steam_lowers_its_temperature(air_share: float, temperature_c: float) -> None:
    """Dalton's law: at 304.20 kPa in all, the steam's own pressure is that less the air's share."""
    assert saturation_temperature_c(3.0420 * (1 - air_share)) == pytest.approx(temperature_c, abs=0.006)


@settings(deadline=None)
@given(st.lists(st.floats(0, 373), max_size=5))
def test_there_and_back_again(temperatures_c: list[float]) -> None:
    back = saturation_temperature_c(saturation_pressure_bar_abs(temperatures_c))
    assert back == pytest.approx(np.array(temperatures_c), abs=1e-9)


def test_both_ends_of_the_line_are_on_it() -> None:
    for temperature_c in (0.0, 647.096 - KELVIN):
        pressure = saturation_pressure_bar_abs(temperature_c)
        assert saturation_temperature_c(pressure) == pytest.approx(temperature_c, abs=1e-6)


@pytest.mark.parametrize("temperature_c", [-0.1, 374, float("nan")])
def test_no_saturated_steam_at_that_temperature(temperature_c: float) -> None:
    with pytest.raises(ValueError, match=r"at a temperature of .* °C: it must be from 0 to 373.946 °C"):
        saturation_pressure_bar_abs([100, temperature_c])


@pytest.mark.parametrize("pressure_bar_abs", [0, -1, 221, float("inf")])
def test_no_saturated_steam_at_that_pressure(pressure_bar_abs: float) -> None:
    with pytest.raises(ValueError, match=r"at a pressure of .* bar absolute"):
        saturation_temperature_c(pressure_bar_abs)
