"""Refrigerant that a volume holds: an estimate for the shopping list, and nothing to charge by.

A system is charged by weight to its component makers' figure, by certified people, after it has
been emptied with recovery equipment. Too much raises the head pressure, too little starves the oil.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Refrigerant

__all__ = ["mass_in_volume"]


def mass_in_volume(
    fluid: Refrigerant, volume_m3: ArrayLike, liquid_share: ArrayLike, temperature_k: ArrayLike
) -> Floats:
    """Mass, kg, of saturated refrigerant in a volume. liquid_share: of the volume, 0 to 1."""
    pressure = fluid.saturation_pressure(temperature_k)
    share = np.asarray(liquid_share, dtype=float)
    liquid, vapour = fluid.liquid_density(pressure), fluid.vapour_density(pressure)
    return np.asarray(np.asarray(volume_m3) * (share * liquid + (1.0 - share) * vapour))
