"""A condenser's three zones: gas that cools, vapour that condenses, liquid that cools further.

In the tubes of a condenser refrigerant flows as one, while the air that crosses it stays in its own
strip. So the refrigerant falls towards the air's inlet temperature exponentially, and the face that
each zone takes is a closed form. Arrays in, arrays out; SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats

__all__ = ["Zones", "zones_of_condenser"]


@dataclass(frozen=True, eq=False)
class Zones:
    """What each zone takes of the face, and gives off.

    gas_m2, condensing_m2, liquid_m2: face, m²; inf where the air is too warm for it. gas_w,
    condensing_w, liquid_w: heat, W.
    """

    gas_m2: Floats
    condensing_m2: Floats
    liquid_m2: Floats
    gas_w: Floats
    condensing_w: Floats
    liquid_w: Floats

    @property
    def face_m2(self) -> Floats:
        """The face that all three need together, m²."""
        return np.asarray(self.gas_m2 + self.condensing_m2 + self.liquid_m2)

    @property
    def heat_w(self) -> Floats:
        """What all three give off, W."""
        return np.asarray(self.gas_w + self.condensing_w + self.liquid_w)


def zones_of_condenser(
    *,
    flow: ArrayLike,
    air_k: ArrayLike,
    air_capacity: ArrayLike,
    conductance: tuple[ArrayLike, ArrayLike, ArrayLike],
    temperatures_k: tuple[ArrayLike, ArrayLike, ArrayLike],
    enthalpies: tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike],
) -> Zones:
    """The face that a flow of refrigerant needs to come out as liquid.

    flow: kg/s of refrigerant. air_k: air ahead of the condenser. air_capacity: W/(m² K) of face,
    mass flux × specific heat. conductance: W/(m² K) of face, for gas, condensing, liquid.
    temperatures_k: inlet, condensing, outlet. enthalpies: J/kg at inlet, of saturated vapour, of
    saturated liquid, at outlet.

    The zone of gas is reckoned as if nothing condensed on its walls, which takes rather more face
    than it would.
    """
    m, cold = np.asarray(flow, dtype=float), np.asarray(air_k, dtype=float)
    capacity = np.asarray(air_capacity, dtype=float)
    taken = [capacity * -np.expm1(-np.asarray(one, dtype=float) / capacity) for one in conductance]
    hot, saturated, out = (np.asarray(one, dtype=float) - cold for one in temperatures_k)
    heats = [
        m * (np.asarray(first, dtype=float) - np.asarray(second, dtype=float))
        for first, second in pairwise(enthalpies)
    ]
    with np.errstate(all="ignore"):
        gas = _sensible(heats[0], hot, saturated) / taken[0]
        condensing = heats[1] / saturated / taken[1]
        liquid = _sensible(heats[2], saturated, out) / taken[2]
        faces = [
            np.where(ahead > 0, one, np.inf)
            for one, ahead in ((gas, saturated), (condensing, saturated), (liquid, out))
        ]
    return Zones(*faces, *(np.asarray(one) for one in heats))


def _sensible(heat: Floats, first: Floats, last: Floats) -> Floats:
    """Heat over the mean difference from the air, W/K: the logarithmic mean, by its limit too."""
    drop = first - last
    small = np.abs(drop) < 1e-9 * np.abs(first)
    mean = np.where(small, first, drop / np.log(np.where(small, 2.0, first / last)))
    return np.asarray(heat / mean)
