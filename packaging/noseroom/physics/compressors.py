"""A reciprocating or wobble-plate compressor: how much it draws in, and what it makes of it. SI."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Pressure, Refrigerant

__all__ = ["Discharge", "compress", "displaced_flow", "volumetric_efficiency_of_clearance"]


def volumetric_efficiency_of_clearance(
    pressure_ratio: ArrayLike, clearance: ArrayLike, exponent: ArrayLike = 1.1
) -> Floats:
    """Share of its displacement that a cylinder draws in: 1 + c - c r^(1/n), never below nothing.

    clearance: c, the volume that is left over at the top, as a share of the displacement. exponent:
    n, of the gas that expands again from there.

    W. F. Stoecker, J. W. Jones, Refrigeration and Air Conditioning (2nd ed., 1982), eq. 11-4; from
    memory. What leaks and warms the gas on its way in comes off as well.
    """
    c, r = np.asarray(clearance, dtype=float), np.asarray(pressure_ratio, dtype=float)
    filled = 1.0 + c - c * r ** (1.0 / np.asarray(exponent, dtype=float))
    return np.asarray(np.clip(filled, 0.0, 1.0))


def displaced_flow(
    displacement_m3: ArrayLike, speed_rpm: ArrayLike, efficiency: ArrayLike, density: ArrayLike
) -> Floats:
    """kg/s: what is swept each turn, times turns, filling and the density of the gas drawn in."""
    swept = np.asarray(displacement_m3, dtype=float) * np.asarray(speed_rpm) / 60.0
    return np.asarray(swept * np.asarray(efficiency) * np.asarray(density))


@dataclass(frozen=True, eq=False)
class Discharge:
    """Gas as it leaves. enthalpy: J/kg. temperature_k: K. work: J/kg that the gas took."""

    enthalpy: Floats
    temperature_k: Floats
    work: Floats


def compress(
    fluid: Refrigerant,
    suction_pressure: Pressure,
    suction_enthalpy: ArrayLike,
    discharge_pressure: Pressure,
    isentropic_efficiency: ArrayLike,
) -> Discharge:
    """Compression without heat lost: isentropic work over its efficiency.

    Pressures Pa, enthalpy J/kg of superheated or saturated vapour; nan for wet vapour.
    """
    before = np.asarray(suction_enthalpy, dtype=float)
    entropy = fluid.superheated_entropy(suction_pressure, before)
    beyond = fluid.saturation(discharge_pressure)
    ideal = fluid.isentropic_enthalpy(beyond, entropy)
    work = np.asarray((ideal - before) / np.asarray(isentropic_efficiency))
    after = np.asarray(before + work)
    return Discharge(after, fluid.vapour_temperature(beyond, after), work)
