"""The judge's radiator: coolant marched along its tubes, cell by cell. SI."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stack_truth_cars import TrueCar
from stack_truth_grid import Grid
from stack_truth_laws import CP, churchill

Floats = NDArray[np.float64]

__all__ = ["Water", "march_water"]


@lru_cache(maxsize=4096)
def _properties(glycol: float, kelvin: float) -> tuple[float, float, float, float]:
    """Density, specific heat, viscosity, conductivity of antifreeze, straight from CoolProp."""
    from CoolProp.CoolProp import PropsSI

    fluid = f"INCOMP::AEG[{glycol:.3f}]"
    found = [PropsSI(key, "T", kelvin, "P", 2e5, fluid) for key in "DCVL"]
    return found[0], found[1], found[2], found[3]


class Water:
    """Coolant through a car's radiator. flow: m³/s."""

    def __init__(self, car: TrueCar, flow: float, mean_k: float) -> None:
        fins = car.radiator
        # By mass of glycol, not by volume: 1.11 of water's density.
        mass = min(0.6, 1.11 * car.glycol / (1.11 * car.glycol + 1.0 - car.glycol))
        # Within a kelvin: properties change slowly and are remembered.
        rho, self.cp, viscosity, conductivity = _properties(mass, float(round(min(mean_k, 372.0))))
        across = car.height if car.cross else car.width
        along = car.width if car.cross else car.height
        inside = fins.tube - 2 * fins.wall
        # A tube's two ends along the air are round, and solder lies between rows.
        wide = fins.depth / fins.rows - 2.5e-3 - 2 * fins.wall
        count = across / (fins.fin_length + fins.tube) * fins.rows
        passage, dh = count * inside * wide, 2 * inside * wide / (inside + wide)
        self.capacity = flow * rho * self.cp
        re = flow * rho / passage * dh / viscosity
        nusselt = churchill(re, self.cp * viscosity / conductivity, along / dh)
        h = float(nusselt) * conductivity / dh
        wetted = count * 2 * (inside + wide) * along / (along * across)
        self.conductance = 1.0 / (1.0 / (h * wetted) + car.scale / wetted)


def march_water(
    car: TrueCar,
    grid: Grid,
    water: Water,
    outside: Floats,
    air_flow: Floats,
    air_k: Floats,
    top_k: Any,
) -> Floats:
    """W that each cell gives to its air.

    outside: conductance of the air's side by cell, W/K. air_flow: kg/s through each cell, either
    way; air_k: as it comes. top_k: of the coolant as it comes in.
    """
    shape = (grid.rows, grid.columns)
    over = 1.0 / (1.0 / np.maximum(outside, 1e-9) + 1.0 / (water.conductance * grid.area))
    stream = np.abs(air_flow) * CP + 1e-9
    taken = (stream * -np.expm1(-over / stream)).reshape(shape)
    share = (grid.dz if car.cross else grid.dy).reshape(shape)
    came = air_k.reshape(shape)
    if not car.cross:
        # Down from the top, a column of cells on its own.
        taken, share, came = taken[::-1], share[::-1], came[::-1]
    else:
        taken, share, came = taken.T, share.T, came.T
    stream_w = water.capacity * share[0] / share[0].sum()
    heat = np.zeros_like(taken)
    here = np.full(len(stream_w), float(top_k))
    for k in range(len(taken)):
        # The tube's mean temperature over the cell, by the cell's own balance.
        heat[k] = taken[k] * (here - came[k]) / (1.0 + taken[k] / (2.0 * stream_w))
        here = here - heat[k] / stream_w
    heat = heat.T if car.cross else heat[::-1]
    return heat.ravel()
