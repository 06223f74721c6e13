"""The judge's refrigerant: R-134a from CoolProp, a compressor, a coil, a condenser by segments. SI.

Correlations and constants are from memory unless a line says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from stack_truth_cars import TrueCar
from stack_truth_grid import Grid
from stack_truth_laws import CP, churchill

Floats = NDArray[np.float64]

__all__ = ["CondenserMarch", "Running", "coil_load", "running", "saturated", "saturation_k"]

_MOST_PA = 3.9e6


@cache
def _state() -> Any:
    from CoolProp import AbstractState

    return AbstractState("HEOS", "R134a")


@dataclass(frozen=True)
class Saturated:
    """R-134a at a pressure: liquid (l) and gas (g); hot: enthalpies of gas at `hot_k`."""

    kelvin: float
    hl: float
    hg: float
    cpl: float
    vis_l: float
    vis_g: float
    k_l: float
    k_g: float
    rho_l: float
    rho_g: float
    cpg: float
    hot_k: Floats
    hot: Floats


@lru_cache(maxsize=256)
def saturated(pascal: float) -> Saturated:
    """At a pressure, Pa."""
    import CoolProp

    gas = _state()
    gas.update(CoolProp.PQ_INPUTS, pascal, 0.0)
    kelvin = gas.T()
    liquid = (gas.hmass(), gas.cpmass(), gas.viscosity(), gas.conductivity(), gas.rhomass())
    gas.update(CoolProp.PQ_INPUTS, pascal, 1.0)
    vapour = (gas.hmass(), gas.cpmass(), gas.viscosity(), gas.conductivity(), gas.rhomass())
    hot_k = kelvin + np.array([0.0, 4.0, 10.0, 20.0, 35.0, 60.0, 90.0])
    hot = [vapour[0]]
    for one in hot_k[1:]:
        gas.update(CoolProp.PT_INPUTS, pascal, one)
        hot.append(gas.hmass())
    return Saturated(
        kelvin,
        liquid[0],
        vapour[0],
        liquid[1],
        liquid[2],
        vapour[2],
        liquid[3],
        vapour[3],
        liquid[4],
        vapour[4],
        vapour[1],
        hot_k,
        np.array(hot),
    )


def saturation_k(pascal: float) -> float:
    """K at which it boils."""
    return saturated(pascal).kelvin


# -- coil and compressor --------------------------------------------------------------------


def _damp(kelvin: float) -> float:
    """Pa of saturated water vapour: A. L. Buck, J. Appl. Meteorol. 20 (1981) 1527-1532."""
    c = kelvin - 273.15
    return float(611.21 * np.exp((18.678 - c / 234.5) * (c / (257.14 + c))))


def _enthalpy(kelvin: float, ratio: float) -> float:
    c = kelvin - 273.15
    return 1006.0 * c + ratio * (2.501e6 + 1860.0 * c)


def coil_load(car: TrueCar, boiling_k: float, outside_k: float, humidity: float) -> float:
    """W from the cabin's air by a bypass factor and a coil that is warmer than what boils in it."""
    inlet = outside_k + car.cabin
    vapour = humidity * _damp(outside_k)
    ratio = 0.622 * vapour / (101325.0 - vapour)
    most = _damp(inlet)
    ratio = min(ratio, 0.9 * 0.622 * most / (101325.0 - most))
    flow = car.blower * 101325.0 / (287.05 * inlet)

    def taken(surface: float) -> float:
        film = _damp(surface)
        there = min(ratio, 0.622 * film / (101325.0 - film))
        return flow * (1.0 - car.bypass) * (_enthalpy(inlet, ratio) - _enthalpy(surface, there))

    if boiling_k >= inlet:
        return 0.0
    surface = brentq(
        lambda t: t - boiling_k - car.coil_resistance * taken(t), boiling_k, inlet, xtol=1e-4
    )
    return max(0.0, taken(float(surface)))


@dataclass(frozen=True)
class Running:
    """Coil and compressor at a head pressure.

    flow: kg/s; hot: J/kg that reaches the condenser; work: W from the crank while it runs; duty:
    share of the time.
    """

    boiling_k: float
    flow: float
    hot: float
    work: float
    duty: float


def running(
    car: TrueCar, rpm: float, head_pa: float, outside_k: float, humidity: float, liquid_h: float
) -> Running:
    """Where coil and compressor agree. liquid_h: J/kg as it leaves the condenser.

    A switch takes the clutch off when the fins are near freezing; what boils in the coil gets
    colder than that while the compressor runs.
    """

    def at(boiling: float) -> tuple[Running, float]:
        return _pumped(car, rpm, head_pa, boiling, liquid_h)

    def spare(boiling: float) -> float:
        return at(boiling)[1] - coil_load(car, boiling, outside_k, humidity)

    if spare(car.coldest) >= 0:
        found, cooling = at(car.coldest)
        duty = coil_load(car, car.coldest, outside_k, humidity) / cooling
    elif spare(car.warmest) <= 0:
        found, duty = at(car.warmest)[0], 1.0
    else:
        found, duty = at(float(brentq(spare, car.coldest, car.warmest, xtol=1e-3)))[0], 1.0
    return Running(found.boiling_k, found.flow, found.hot, found.work, duty)


def _pumped(
    car: TrueCar, rpm: float, head_pa: float, boiling: float, liquid_h: float
) -> tuple[Running, float]:
    """A compressor with efficiencies that fall with the ratio of pressures, and warmed suction."""
    low, coil_h, gas_h, gas_s, gas_rho = _suction(boiling, car.superheat, car.suction_warming)
    ratio = head_pa / low
    filled = max(0.2, car.filled - car.filled_fall * (ratio - 1.0))
    flow = car.swept * rpm / 60.0 * filled * gas_rho
    ideal = _isentropic(round(head_pa, 0), gas_s) - gas_h
    work = ideal / max(0.35, car.isentropic - 0.01 * abs(ratio - 4.0))
    hot = gas_h + work * (1.0 - car.shell_loss)
    return Running(boiling, flow, hot, flow * work / car.drive, 1.0), flow * (coil_h - liquid_h)


@lru_cache(maxsize=4096)
def _suction(boiling: float, superheat: float, warming: float) -> tuple[float, ...]:
    import CoolProp

    gas = _state()
    gas.update(CoolProp.QT_INPUTS, 1.0, boiling)
    low = gas.p()
    gas.update(CoolProp.PT_INPUTS, low, boiling + superheat)
    coil_h = gas.hmass()
    gas.update(CoolProp.PT_INPUTS, low, boiling + superheat + warming)
    return low, coil_h, gas.hmass(), gas.smass(), gas.rhomass()


@lru_cache(maxsize=4096)
def _isentropic(pascal: float, entropy: float) -> float:
    import CoolProp

    gas = _state()
    gas.update(CoolProp.PSmass_INPUTS, pascal, entropy)
    return float(gas.hmass())


# -- condenser ------------------------------------------------------------------------------


class CondenserMarch:
    """Refrigerant through a parallel-flow condenser's passes, tube by tube and cell by cell."""

    def __init__(self, car: TrueCar, grid: Grid, core: NDArray[np.int_]) -> None:
        assert car.condenser is not None
        fins = car.condenser
        self.car, self.core = car, core
        rows = np.unique(np.round(grid.z[core], 9))
        self.cells = core.reshape(len(rows), -1)[::-1]
        self.area = grid.area[self.cells]
        self.high = grid.dz[self.cells][:, 0]
        self.deep = fins.depth
        self.tubes = self.high / (fins.fin_length + fins.tube)
        # Ports of one bore side by side.
        self.free = car.port_share * fins.depth * fins.tube
        self.bore = car.port
        self.inside = 4.0 * self.free / self.bore / (fins.fin_length + fins.tube)
        share = np.cumsum(car.passes)[:-1] * self.high.sum()
        middle = np.cumsum(self.high) - self.high / 2
        self.passes = [
            one
            for one in np.split(np.arange(len(rows)), np.searchsorted(middle, share))
            if len(one)
        ]

    def run(
        self,
        flow: float,
        hot: float,
        head_pa: float,
        outside: Floats,
        air_flow: Floats,
        air_k: Floats,
    ) -> tuple[Floats, float, float]:
        """W of each core cell, J/kg that leaves, Pa lost. Arrays by core cell, as `core`."""
        pick = lambda values: values.reshape(self.cells.shape)[::-1]  # noqa: E731
        stream = np.abs(pick(air_flow)) * CP + 1e-9
        ua, came = pick(outside), pick(air_k)
        heat, lost, h = np.zeros(stream.shape), 0.0, hot
        for k, rows in enumerate(self.passes):
            fluid = saturated(round(max(head_pa - lost, 2e5), 0))
            tubes = self.tubes[rows]
            flux = flow / (tubes.sum() * self.free)
            rate = flow * tubes / tubes.sum()
            here = np.full(len(rows), h)
            order = range(stream.shape[1]) if k % 2 == 0 else range(stream.shape[1] - 1, -1, -1)
            for j in order:
                h_in, kelvin, drop = self._inside(fluid, flux, here)
                area = self.inside * self.area[rows, j]
                over = 1.0 / (1.0 / np.maximum(ua[rows, j], 1e-9) + 1.0 / (h_in * area))
                taken = stream[rows, j] * -np.expm1(-over / stream[rows, j])
                heat[rows, j] = taken * (kelvin - came[rows, j])
                here = here - heat[rows, j] / rate
                width = self.area[rows, j] / self.high[rows]
                lost += float(np.mean(drop * width))
            h = float(rate @ here / flow)
        return heat[::-1].ravel(), h, lost

    def _inside(self, fluid: Saturated, flux: float, h: Floats) -> tuple[Floats, Floats, Floats]:
        """W/(m² K), K and Pa/m where enthalpies are h."""
        quality = (h - fluid.hl) / (fluid.hg - fluid.hl)
        x = np.clip(quality, 0.0, 0.999)
        over = 0.5 / self.bore
        gas_pr = fluid.vis_g * fluid.cpg / fluid.k_g
        liquid_pr = fluid.vis_l * fluid.cpl / fluid.k_l
        re_g, re_l = flux * self.bore / fluid.vis_g, flux * self.bore / fluid.vis_l
        gas = float(churchill(re_g, gas_pr, over)) * fluid.k_g / self.bore
        liquid = float(churchill(re_l, liquid_pr, over)) * fluid.k_l / self.bore
        # M. K. Dobson, J. C. Chato, Condensation in smooth horizontal tubes, J. Heat Transfer 120
        # (1998) 193-213, annular flow.
        xtt = (
            ((1 - x) / np.maximum(x, 1e-4)) ** 0.9
            * (fluid.rho_g / fluid.rho_l) ** 0.5
            * (fluid.vis_l / fluid.vis_g) ** 0.1
        )
        film = 0.023 * (re_l * (1 - x)) ** 0.8 * liquid_pr**0.4 * (1 + 2.22 / xtt**0.889)
        film = np.maximum(film * fluid.k_l / self.bore, liquid)
        coefficient = np.where(quality > 1, gas, np.where(quality < 0, liquid, film))
        # No warmer than the gas came, but for what the fluid itself lost.
        kelvin = np.where(quality > 1, np.interp(h, fluid.hot, fluid.hot_k), fluid.kelvin)
        kelvin = np.where(quality < 0, fluid.kelvin - (fluid.hl - h) / fluid.cpl, kelvin)
        # H. Müller-Steinhagen, K. Heck, Chem. Eng. Process. 20 (1986) 297-308.
        a = _darcy(re_l) * flux**2 / (2 * fluid.rho_l * self.bore)
        b = _darcy(re_g) * flux**2 / (2 * fluid.rho_g * self.bore)
        whole = np.clip(quality, 0.0, 1.0)
        drop = (a + 2 * (b - a) * whole) * (1 - whole) ** (1 / 3) + b * whole**3
        return coefficient, kelvin, drop


def _darcy(re: float) -> float:
    return max(64.0 / re, 0.3164 * re**-0.25)
