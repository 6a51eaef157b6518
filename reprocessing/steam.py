"""Saturated steam: the pressure that belongs to a temperature, and the temperature that belongs to a pressure.

IAPWS Industrial Formulation 1997 (revised release, August 2007), region 4: the saturation line of pure water
as one quadratic equation in both variables, solved in closed form in either direction. The pressure is the
absolute pressure of steam alone; air in the chamber adds to the pressure without adding to the temperature.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Coefficients n1 to n10 of the saturation line: IAPWS-IF97, Table 34.
N1, N2, N3, N4, N5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.82470247, -3232555.0322333
N6, N7, N8, N9, N10 = 14.91510861353, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798

ZERO_CELSIUS_K = 273.15
BAR_PER_MPA = 10.0

# Where the equations hold (IAPWS-IF97, section 8): 273.15 K to the critical point; pressures rounded outward.
TEMPERATURE_RANGE_C = (0.0, 647.096 - ZERO_CELSIUS_K)
PRESSURE_RANGE_BAR_ABS = (0.00611212677, 220.6400001)


def saturation_pressure_bar_abs(temperature_c: ArrayLike) -> FloatArray:
    """Pressure at which steam of this temperature is saturated.

    Args:
        temperature_c: any shape, from 0 °C to the critical 373.946 °C [°C].

    Returns:
        The saturation pressure, of the same shape [bar absolute].

    Raises:
        ValueError: a temperature is not a number or outside the saturation line.

    Source: IAPWS-IF97, equation 30.
    """
    temperature = _checked(temperature_c, TEMPERATURE_RANGE_C, "temperature", "°C") + ZERO_CELSIUS_K
    theta = temperature + N9 / (temperature - N10)
    a = theta**2 + N1 * theta + N2
    b = N3 * theta**2 + N4 * theta + N5
    c = N6 * theta**2 + N7 * theta + N8
    pressure_mpa = (2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4
    return np.asarray(pressure_mpa * BAR_PER_MPA)


def saturation_temperature_c(pressure_bar_abs: ArrayLike) -> FloatArray:
    """Temperature at which steam of this absolute pressure is saturated.

    Args:
        pressure_bar_abs: any shape, from 0.00611 to the critical 220.64 bar [bar absolute].

    Returns:
        The saturation temperature, of the same shape [°C].

    Raises:
        ValueError: a pressure is not a number or outside the saturation line.

    Source: IAPWS-IF97, equation 31.
    """
    pressure_bar = _checked(pressure_bar_abs, PRESSURE_RANGE_BAR_ABS, "pressure", "bar absolute")
    beta = (pressure_bar / BAR_PER_MPA) ** 0.25
    e = beta**2 + N3 * beta + N6
    f = N1 * beta**2 + N4 * beta + N7
    g = N2 * beta**2 + N5 * beta + N8
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    temperature_k = (N10 + d - np.sqrt((N10 + d) ** 2 - 4 * (N9 + N10 * d))) / 2
    return np.asarray(temperature_k - ZERO_CELSIUS_K)


def _checked(values: ArrayLike, limits: tuple[float, float], name: str, unit: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    low, high = limits
    outside = array[~((array >= low) & (array <= high))]
    if outside.size:
        raise ValueError(
            f"Cannot find saturated steam at a {name} of {outside[0]:g} {unit}: "
            f"it must be from {low:g} to {high:g} {unit}."
        )
    return array
