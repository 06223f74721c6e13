"""Refrigerant lines: how fast it runs in a hose, and what pressure that takes.

SI. Lines stand under pressure also with the engine off, and liquid that escapes freezes skin: only
certified people open one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.errors import MissingLibraryError
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Refrigerant

__all__ = ["SMOOTH_HOSE_M", "LineDrop", "drop_in_line", "saturation_loss", "velocity"]

SMOOTH_HOSE_M = 2e-6
"""Roughness of a hose's lining: as drawn tube or smooth plastic, 1.5 to 2 µm; from memory."""


def velocity(flow: ArrayLike, density: ArrayLike, bore_m: ArrayLike) -> Floats:
    """m/s of a flow in kg/s through a round bore."""
    area = math.pi / 4.0 * np.asarray(bore_m, dtype=float) ** 2
    return np.asarray(np.asarray(flow, dtype=float) / (np.asarray(density) * area))


@dataclass(frozen=True, slots=True)
class LineDrop:
    """What a line takes. straight_pa, bends_pa: Pa. reynolds, friction: Darcy's."""

    straight_pa: float
    bends_pa: float
    reynolds: float
    friction: float

    @property
    def total_pa(self) -> float:
        """Pa in all."""
        return self.straight_pa + self.bends_pa


def drop_in_line(
    flow: float,
    density: float,
    viscosity: float,
    *,
    bore_m: float,
    length_m: float,
    bends: int = 0,
    bend_diameters: float = 4.0,
    roughness_m: float = SMOOTH_HOSE_M,
) -> LineDrop:
    """Pressure that a line takes, without what its height does.

    flow: kg/s. bends: right angles, each of a radius of bend_diameters bores. By the library
    fluids: friction by Clamond's solution of Colebrook's equation, bends by Rennels's.

    The drop is small against the pressure, or the gas would have to be followed along the line.
    Raises MissingLibraryError where fluids is not there.
    """
    try:
        from fluids import Reynolds, bend_rounded, friction_factor
    except ImportError as error:
        raise MissingLibraryError("refrigerant lines need fluids: pip install fluids") from error

    speed = float(velocity(flow, density, bore_m))
    re = Reynolds(V=speed, D=bore_m, rho=density, mu=viscosity)
    friction = friction_factor(Re=re, eD=roughness_m / bore_m)
    head = 0.5 * density * speed**2
    each = 0.0
    if bends:
        each = bend_rounded(
            Di=bore_m, angle=90.0, fd=friction, bend_diameters=bend_diameters, method="Rennels"
        )
    return LineDrop(
        friction * length_m / bore_m * head, bends * each * head, float(re), float(friction)
    )


def saturation_loss(fluid: Refrigerant, pressure_pa: ArrayLike, drop_pa: ArrayLike) -> Floats:
    """K by which a drop lowers the boiling point: what a suction line is judged by."""
    p = np.asarray(pressure_pa, dtype=float)
    lower = fluid.saturation_temperature(p - np.asarray(drop_pa, dtype=float))
    return np.asarray(fluid.saturation_temperature(p) - lower)
