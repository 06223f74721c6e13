"""The vapour-compression cycle: four states, and what they come to.

SI. A high-pressure side may stand under 20 to 30 bar and above 80 °C: see `noseroom.tables.heat`
for where relief and cut-out lie. Only certified people open it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.compressors import compress
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Pressure, Refrigerant

__all__ = ["Cycle", "cycle", "isentropic_efficiency_of"]


@dataclass(frozen=True, eq=False)
class Cycle:
    """A loop round: suction, discharge, condenser's outlet, evaporator's inlet.

    pressures: Pa, of evaporator and condenser. temperatures_k, enthalpies (J/kg): of suction, of
    discharge and at the condenser's outlet, whose enthalpy the expansion keeps. quality_in: share
    of vapour as the evaporator gets it.
    """

    pressures: tuple[Floats, Floats]
    temperatures_k: tuple[Floats, Floats, Floats]
    enthalpies: tuple[Floats, Floats, Floats]
    quality_in: Floats

    @property
    def cooling(self) -> Floats:
        """Taken up in the evaporator, J/kg."""
        return np.asarray(self.enthalpies[0] - self.enthalpies[2])

    @property
    def work(self) -> Floats:
        """What the compressor puts in, J/kg."""
        return np.asarray(self.enthalpies[1] - self.enthalpies[0])

    @property
    def rejected(self) -> Floats:
        """Given off in the condenser, J/kg: the two others' sum."""
        return np.asarray(self.enthalpies[1] - self.enthalpies[2])

    @property
    def performance(self) -> Floats:
        """Cooling over work."""
        return np.asarray(self.cooling / self.work)


def cycle(
    fluid: Refrigerant,
    *,
    evaporating: Pressure,
    condensing: Pressure,
    superheat_k: ArrayLike = 0.0,
    subcooling_k: ArrayLike = 0.0,
    isentropic_efficiency: ArrayLike = 1.0,
) -> Cycle:
    """The loop between two pressures, Pa, without losses of pressure in lines and exchangers.

    superheat_k: of the gas that is drawn in. subcooling_k: of the liquid ahead of the expansion.
    """
    low, high = fluid.saturation(evaporating), fluid.saturation(condensing)
    suction_k = np.asarray(low.temperature + np.asarray(superheat_k))
    suction = fluid.superheated_enthalpy(low, suction_k)
    discharge = compress(fluid, low, suction, high, isentropic_efficiency)
    liquid_k = np.asarray(high.temperature - np.asarray(subcooling_k))
    liquid = fluid.subcooled_enthalpy(high, liquid_k)
    quality = (liquid - low.liquid_enthalpy) / fluid.latent_heat(low)
    return Cycle(
        (low.pressure, high.pressure),
        (suction_k, discharge.temperature_k, liquid_k),
        (suction, discharge.enthalpy, liquid),
        np.asarray(quality),
    )


def isentropic_efficiency_of(
    fluid: Refrigerant,
    suction: tuple[ArrayLike, ArrayLike],
    discharge: tuple[ArrayLike, ArrayLike],
) -> Floats:
    """Isentropic over actual work, of two measured states. Each: pressure Pa, temperature K."""
    before = fluid.superheated_enthalpy(*suction)
    ideal = compress(fluid, suction[0], before, discharge[0], 1.0)
    return np.asarray(ideal.work / (fluid.superheated_enthalpy(*discharge) - before))
