"""Dry air from a cold morning to a hot engine bay: density, viscosity, conductivity, ram pressure.

Temperatures in K, pressures in Pa, arrays in and out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = [
    "AIR",
    "GAS_CONSTANT",
    "STANDARD_PRESSURE",
    "ZERO_CELSIUS",
    "conductivity",
    "density",
    "prandtl",
    "ram_pressure",
    "specific_heat",
    "standard_pressure",
    "standard_temperature",
    "viscosity",
]

ZERO_CELSIUS = 273.15
"""K, exactly (the degree Celsius by the SI)."""
STANDARD_PRESSURE = 101_325.0
"""Pa at sea level, U.S. Standard Atmosphere 1976."""
GAS_CONSTANT = 287.0529
"""J/(kg K) of dry air: R* 8314.32 J/(kmol K) over M 28.9644 kg/kmol, U.S. Standard Atmosphere
1976, table 2 and table 3."""

AIR = Correlation(
    name="dry air by the U.S. Standard Atmosphere 1976",
    source="U.S. Standard Atmosphere 1976, NOAA-S/T 76-1562, eq. 51 (viscosity), 53 (conductivity)",
    ranges=(Range("temperature", 223.15, 423.15, "K"), Range("altitude", -500.0, 5000.0, "m")),
    spread="density and specific heat within 0.2 %, viscosity within 1.1 %, conductivity within "
    "2 % of newer reference equations over the range",
)

_EARTH_RADIUS_M = 6_356_766.0
_LAPSE_K_PER_M = 0.0065
_STANDARD_TEMPERATURE_K = 288.15
_GRAVITY = 9.80665


def standard_temperature(altitude_m: ArrayLike) -> Floats:
    """K of the standard day at an altitude above the sea (U.S. Standard Atmosphere 1976, eq. 23).

    altitude_m: geometric, below 11 km.
    """
    z = np.asarray(altitude_m, dtype=float)
    geopotential = _EARTH_RADIUS_M * z / (_EARTH_RADIUS_M + z)
    return np.asarray(_STANDARD_TEMPERATURE_K - _LAPSE_K_PER_M * geopotential)


def standard_pressure(altitude_m: ArrayLike) -> Floats:
    """Pa of the standard day at an altitude above the sea (U.S. Standard Atmosphere 1976, eq. 33a).

    altitude_m: geometric, below 11 km. A hot day's pressure is nearly the standard day's: use it
    with that day's own temperature.
    """
    ratio = standard_temperature(altitude_m) / _STANDARD_TEMPERATURE_K
    return np.asarray(
        STANDARD_PRESSURE * ratio ** (_GRAVITY / (GAS_CONSTANT * _LAPSE_K_PER_M)), dtype=float
    )


def density(temperature_k: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE) -> Floats:
    """kg/m³ of dry air as an ideal gas, p / (R T)."""
    return np.asarray(
        np.asarray(pressure_pa, dtype=float) / (GAS_CONSTANT * np.asarray(temperature_k))
    )


def viscosity(temperature_k: ArrayLike) -> Floats:
    """Pa s, Sutherland's law (U.S. Standard Atmosphere 1976, eq. 51)."""
    t = np.asarray(temperature_k, dtype=float)
    return np.asarray(1.458e-6 * t**1.5 / (t + 110.4))


def conductivity(temperature_k: ArrayLike) -> Floats:
    """W/(m K) (U.S. Standard Atmosphere 1976, eq. 53)."""
    t = np.asarray(temperature_k, dtype=float)
    return np.asarray(2.64638e-3 * t**1.5 / (t + 245.4 * 10.0 ** (-12.0 / t)))


def specific_heat(temperature_k: ArrayLike) -> Floats:
    """J/(kg K) at constant pressure and near one atmosphere.

    A parabola laid by us within 0.2 % of the equation of state of Lemmon et al., J. Phys. Chem.
    Ref. Data 29 (2000) 331-385, doi:10.1063/1.1285884, from 223 to 423 K.
    """
    t = np.asarray(temperature_k, dtype=float)
    return np.asarray(1006.0 + 5.24e-4 * (t - 275.0) ** 2)


def prandtl(temperature_k: ArrayLike) -> Floats:
    """η c_p / λ."""
    return np.asarray(
        viscosity(temperature_k) * specific_heat(temperature_k) / conductivity(temperature_k)
    )


def ram_pressure(speed_m_per_s: ArrayLike, density_kg_per_m3: ArrayLike) -> Floats:
    """Pa of air that is brought to rest ahead of a moving car, ρ v² / 2."""
    v = np.asarray(speed_m_per_s, dtype=float)
    return np.asarray(0.5 * np.asarray(density_kg_per_m3, dtype=float) * v * np.abs(v))
