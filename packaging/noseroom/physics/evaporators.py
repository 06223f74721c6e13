"""What an evaporator takes out of warm and damp air. SI, arrays in and out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics import moist_air
from noseroom.physics.air import STANDARD_PRESSURE
from noseroom.physics.ranges import Floats

__all__ = ["coil_load"]


def coil_load(
    air_flow: ArrayLike,
    inlet_k: ArrayLike,
    inlet_ratio: ArrayLike,
    coil_k: ArrayLike,
    effectiveness: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE,
) -> Floats:
    """W of heat, felt and latent, that air gives to a coil; nothing where the coil is warmer.

    air_flow: kg of dry air a second. inlet_ratio: humidity ratio. coil_k: the coil's temperature,
    as the refrigerant boils. effectiveness: how near the air comes to the coil's own state.

    A wet coil takes what enthalpy says, a dry one what temperature says; a coil that is wet in part
    takes about the greater of the two. J. E. Braun, S. A. Klein, J. W. Mitchell, Effectiveness
    models for cooling towers and cooling coils, ASHRAE Transactions 95 (2) (1989) 164-174; from
    memory.
    """
    flow, share = np.asarray(air_flow, dtype=float), np.asarray(effectiveness, dtype=float)
    coil = np.asarray(coil_k, dtype=float)
    saturated = moist_air.enthalpy(coil, moist_air.saturated_humidity_ratio(coil, pressure_pa))
    wet = moist_air.enthalpy(inlet_k, inlet_ratio) - saturated
    dry = moist_air.moist_specific_heat(inlet_ratio) * (np.asarray(inlet_k, dtype=float) - coil)
    # Below the dew point both differences are above nothing; above it only dry air's counts.
    below = coil < moist_air.dew_point(np.maximum(inlet_ratio, 1e-6), pressure_pa)
    return np.asarray(flow * share * np.maximum(np.where(below, np.maximum(wet, dry), dry), 0.0))
