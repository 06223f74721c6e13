"""Moist air: what it holds, what it weighs, what it takes to cool it, when it drips.

The formulas of ASHRAE's handbook, for arrays. Humidity ratios are kg of water per kg of dry air,
enthalpies J per kg of dry air and from 0 °C on, pressures Pa, temperatures K.

The tests compare with psychrolib, which has the same formulas for one number at a time; where
numba is installed it compiles them at each start, which took 2 s, so that it is no part of this.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.air import STANDARD_PRESSURE, ZERO_CELSIUS
from noseroom.physics.ranges import Correlation, Floats, Range
from noseroom.physics.solving import roots_between

__all__ = [
    "WATER_VAPOUR",
    "dew_point",
    "enthalpy",
    "humidity_ratio",
    "moist_specific_heat",
    "relative_humidity",
    "saturated_humidity_ratio",
    "saturation_pressure",
    "saturation_temperature",
    "specific_volume",
    "temperature_of",
    "wet_bulb",
]

WATER_VAPOUR = Correlation(
    name="water's saturation pressure by Hyland and Wexler",
    source="ASHRAE Handbook Fundamentals (2017), ch. 1, eq. 6, after R. W. Hyland and A. Wexler, "
    "ASHRAE Transactions 89 (2A) (1983) 500-519",
    ranges=(Range("temperature", 273.15, 473.15, "K"),),
    spread="within 0.1 % of the IAPWS equation of state",
)

# ASHRAE Handbook Fundamentals (2017), ch. 1, eq. 6: C8 to C13.
_C8, _C9, _C10 = -5.8002206e3, 1.3914993, -4.8640239e-2
_C11, _C12, _C13 = 4.1764768e-5, -1.4452093e-8, 6.5459673
# The same, eq. 20, 26, 30 and 33.
_MASS_RATIO = 0.621945
_GAS_CONSTANT = 287.042
_VOLUME_OF_VAPOUR = 1.607858
_CP_AIR, _CP_VAPOUR, _CP_WATER = 1006.0, 1860.0, 4186.0
_LATENT, _LATENT_FALL = 2.501e6, 2326.0


def _log_saturation(t: Floats) -> Floats:
    return np.asarray(
        _C8 / t + _C9 + _C10 * t + _C11 * t**2 + _C12 * t**3 + _C13 * np.log(t), dtype=float
    )


def saturation_pressure(temperature_k: ArrayLike) -> Floats:
    """Pa of vapour over water (not ice), eq. 6."""
    return np.asarray(np.exp(_log_saturation(np.asarray(temperature_k, dtype=float))))


def saturation_temperature(pressure_pa: ArrayLike) -> Floats:
    """K at which water's vapour has a pressure: the inverse of `saturation_pressure`."""
    wanted = np.log(np.asarray(pressure_pa, dtype=float))
    # A straight line in 1/T through the triple point and the normal boiling point is within 3 K;
    # Newton's steps in 1/T then double the right digits each time.
    low, high = np.log(611.2), np.log(STANDARD_PRESSURE)
    share = (wanted - low) / (high - low)
    inverse = 1 / 273.16 + share * (1 / 373.15 - 1 / 273.16)
    for _ in range(6):
        t = 1.0 / inverse
        slope = -_C8 / t**2 + _C10 + 2 * _C11 * t + 3 * _C12 * t**2 + _C13 / t
        inverse = inverse + (_log_saturation(t) - wanted) / (slope * t**2)
    return np.asarray(1.0 / inverse)


def _from_vapour(vapour_pa: Floats, pressure_pa: ArrayLike) -> Floats:
    return np.asarray(_MASS_RATIO * vapour_pa / (np.asarray(pressure_pa, dtype=float) - vapour_pa))


def saturated_humidity_ratio(
    temperature_k: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """W of air that can hold no more, eq. 21."""
    return _from_vapour(saturation_pressure(temperature_k), pressure_pa)


def humidity_ratio(
    temperature_k: ArrayLike, relative: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """W of air at a relative humidity of 0 to 1, eq. 20 and 22."""
    vapour = np.asarray(relative, dtype=float) * saturation_pressure(temperature_k)
    return _from_vapour(np.asarray(vapour), pressure_pa)


def _vapour_pressure(ratio: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    w = np.asarray(ratio, dtype=float)
    return np.asarray(np.asarray(pressure_pa, dtype=float) * w / (_MASS_RATIO + w))


def relative_humidity(
    temperature_k: ArrayLike, ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """Relative humidity of air with a humidity ratio; more than 1 for air that would drip."""
    return np.asarray(_vapour_pressure(ratio, pressure_pa) / saturation_pressure(temperature_k))


def dew_point(ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE) -> Floats:
    """K at which air begins to drip; the ratio has to be more than nothing."""
    return saturation_temperature(_vapour_pressure(ratio, pressure_pa))


def specific_volume(
    temperature_k: ArrayLike, ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """m³ per kg of dry air, eq. 26."""
    t, w = np.asarray(temperature_k, dtype=float), np.asarray(ratio, dtype=float)
    return np.asarray(_GAS_CONSTANT * t * (1 + _VOLUME_OF_VAPOUR * w) / np.asarray(pressure_pa))


def enthalpy(temperature_k: ArrayLike, ratio: ArrayLike) -> Floats:
    """J per kg of dry air, from dry air and water at 0 °C on, eq. 30."""
    t = np.asarray(temperature_k, dtype=float) - ZERO_CELSIUS
    w = np.asarray(ratio, dtype=float)
    return np.asarray(_CP_AIR * t + w * (_LATENT + _CP_VAPOUR * t))


def temperature_of(enthalpy_j_per_kg: ArrayLike, ratio: ArrayLike) -> Floats:
    """K of air with an enthalpy and a humidity ratio: the inverse of `enthalpy`."""
    w = np.asarray(ratio, dtype=float)
    h = np.asarray(enthalpy_j_per_kg, dtype=float)
    return np.asarray((h - w * _LATENT) / (_CP_AIR + w * _CP_VAPOUR) + ZERO_CELSIUS)


def moist_specific_heat(ratio: ArrayLike) -> Floats:
    """J/(K kg of dry air): what it takes to warm air with its vapour, eq. 30."""
    return np.asarray(_CP_AIR + _CP_VAPOUR * np.asarray(ratio, dtype=float))


def wet_bulb(
    temperature_k: ArrayLike, ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """K of the thermodynamic wet bulb, eq. 33; nan for air that holds more than it can.

    Above freezing only: where the wet bulb would be below 0 °C the answer is nan.
    """
    t, w, p = np.broadcast_arrays(
        *(np.asarray(one, dtype=float) for one in (temperature_k, ratio, pressure_pa))
    )
    dry = t - ZERO_CELSIUS

    def excess(wet_k: Floats) -> Floats:
        wet = wet_k - ZERO_CELSIUS
        held = (_LATENT - _LATENT_FALL * wet) * saturated_humidity_ratio(wet_k, p)
        held = held - _CP_AIR * (dry - wet)
        return np.asarray(held / (_LATENT + _CP_VAPOUR * dry - _CP_WATER * wet) - w)

    return roots_between(excess, np.full(t.shape, ZERO_CELSIUS), t).x
