"""Correlations of the judge, none of which the program uses for its answers. SI.

Constants are from memory unless a line says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stack_truth_cars import Fins, TrueFan

Floats = NDArray[np.float64]
GAS, CP, PRANDTL = 287.05, 1006.0, 0.71

__all__ = ["CP", "GAS", "CoreTable", "churchill", "core_table", "density", "fan_law", "plate_loss"]


def density(kelvin: Any, pascal: float) -> Any:
    """Of dry air."""
    return pascal / (GAS * kelvin)


def _viscosity(kelvin: Any) -> Any:
    """Power law about 300 K."""
    return 1.846e-5 * (kelvin / 300.0) ** 0.76


def churchill(re: Any, pr: Any, over: float) -> Any:
    """Nusselt number in tubes over all regimes. over: length over diameter.

    S. W. Churchill, Comprehensive correlating equations for heat, mass and momentum transfer in
    fully developed flow in smooth tubes, Ind. Eng. Chem. Fundam. 16 (1977) 109-116; the laminar end
    with Hausen's entrance.
    """
    re = np.maximum(np.asarray(re, dtype=float), 1.0)
    x = re * pr / over
    laminar = 3.66 + 0.0668 * x / (1.0 + 0.04 * x ** (2.0 / 3.0))
    f8 = 1.0 / (2.21 * np.log(np.maximum(re, 50.0) / 7.0)) ** 2
    turbulent = 4.8 + 0.079 * np.sqrt(f8) * re * pr / (1.0 + pr**0.8) ** (5.0 / 6.0)
    between = np.exp(np.clip((2200.0 - re) / 365.0, -60, 60)) / laminar**2 + 1.0 / turbulent**2
    return (laminar**10 + between**-5.0) ** 0.1


def _davenport(core: Fins, re: Any) -> tuple[Any, Any]:
    """J and f of louvered fins of older, deeper cores.

    C. J. Davenport, Correlations for heat transfer and flow friction characteristics of louvred
    fin, AIChE Symp. Ser. 79 (225) (1983) 19-27; sizes in mm, Re on the louvers' pitch.
    """
    assert core.louver_pitch is not None
    assert core.louver_length is not None
    assert core.louver_angle is not None
    high = core.fin_length * 1e3
    up = core.louver_pitch * 1e3 * math.sin(math.radians(core.louver_angle))
    share = core.louver_length / core.fin_length
    j = 0.249 * re**-0.42 * up**0.33 * share**1.1 * high**0.26
    pitch = core.louver_pitch * 1e3
    slow = 5.47 * re**-0.72 * up**0.37 * share**0.89 * pitch**0.2 * high**0.23
    fast = 0.494 * re**-0.39 * (up / high) ** 0.33 * share**1.1 * high**0.46
    return j, np.maximum(slow, fast)


def _kim_bullard(core: Fins, re: Any) -> tuple[Any, Any]:
    """J and f of shallow brazed cores of fine pitch.

    M.-H. Kim, C. W. Bullard, Air-side thermal hydraulic performance of multi-louvered fin aluminum
    heat exchangers, Int. J. Refrigeration 25 (2002) 390-400.
    """
    assert core.louver_pitch is not None
    assert core.louver_length is not None
    assert core.louver_angle is not None
    p, angle = core.louver_pitch, core.louver_angle / 90.0
    tubes = core.fin_length + core.tube
    j = (
        re**-0.487
        * angle**0.257
        * (core.fin_pitch / p) ** -0.13
        * (core.fin_length / p) ** -0.29
        * (core.depth / p) ** -0.235
        * (core.louver_length / p) ** 0.68
        * (tubes / p) ** -0.279
        * (core.fin_thickness / p) ** -0.05
    )
    f = (
        re**-0.781
        * angle**0.444
        * (core.fin_pitch / p) ** -1.682
        * (core.fin_length / p) ** -1.22
        * (core.depth / p) ** 0.818
        * (core.louver_length / p) ** 1.97
    )
    return j, f


def _flat(core: Fins, speed: Any, viscosity: Any, rho: Any, dh: float) -> tuple[Any, Any]:
    """J and f of flat fins whose boundary layers start anew at each dimple.

    Pohlhausen's and Blasius's plates, with developed flow between walls, by their cubes.
    """
    re_plate = rho * speed * core.restart / viscosity
    re = rho * speed * dh / viscosity
    j = ((0.664 * re_plate**-0.5) ** 3 + (7.54 / re / PRANDTL ** (1 / 3)) ** 3) ** (1 / 3)
    f = ((1.328 * re_plate**-0.5) ** 3 + (24.0 / re) ** 3) ** (1 / 3)
    return j, f * core.form


class CoreTable:
    """A core by mass flux on its face: drop, Pa, and conductance of the air, W/(K m² of face)."""

    def __init__(self, flux: Floats, drop: Floats, conductance: Floats) -> None:
        self.flux, self.drop, self.conductance = flux, drop, conductance

    def flow(self, drop: Floats) -> tuple[Floats, Floats]:
        """kg/(s m²) at a drop, and its slope; a straight line near nothing."""
        size = np.abs(drop)
        k = np.clip(np.searchsorted(self.drop, size) - 1, 0, len(self.drop) - 2)
        slope = (self.flux[k + 1] - self.flux[k]) / (self.drop[k + 1] - self.drop[k])
        return np.sign(drop) * (self.flux[k] + slope * (size - self.drop[k])), slope

    def heat(self, flux: Floats) -> Floats:
        """W/(K m²)."""
        return np.asarray(np.interp(np.abs(flux), self.flux, self.conductance))


def core_table(core: Fins, inlet: float, outlet: float, pascal: float) -> CoreTable:
    """A core between two temperatures of its air.

    Entrance and exit by I. E. Idelchik's sudden change of area, 0.5 (1 - s) and (1 - s)², on the
    velocity inside; acceleration by heating beside it.
    """
    middle = (inlet + outlet) / 2.0
    rho, viscosity = density(middle, pascal), _viscosity(middle)
    a, b = core.fin_length - core.fin_thickness, core.fin_pitch - core.fin_thickness
    tubes = core.fin_length + core.tube
    sigma = a * b / (tubes * core.fin_pitch)
    dh = 2 * a * b / (a + b)
    flux = np.concatenate([[0.0], np.geomspace(0.02, 25.0, 90)])
    speed = np.maximum(flux, 1e-3) / sigma / rho
    if core.louver_pitch is None:
        j, f = _flat(core, speed, viscosity, rho, dh)
    else:
        re = np.maximum(rho * speed * core.louver_pitch / viscosity, 30.0)
        law = _kim_bullard if core.kind == "parallel flow" else _davenport
        j, f = law(core, re)
        slow = rho * speed * core.louver_pitch / viscosity / re
        j, f = j / np.maximum(slow, 1e-6) ** 0.5, f / np.maximum(slow, 1e-6)
    h = core.bond * j * rho * speed * CP * PRANDTL ** (-2.0 / 3.0)
    m = np.sqrt(2.0 * h / (core.conductivity * core.fin_thickness)) * core.fin_length / 2.0
    efficiency = np.tanh(np.maximum(m, 1e-9)) / np.maximum(m, 1e-9)
    fins = 2.0 * core.depth * a / (tubes * core.fin_pitch)
    bare = 2.0 * core.depth * b / (tubes * core.fin_pitch)
    friction = core.dirt * f * 4.0 * core.depth / dh
    ends = 0.5 * (1.0 - sigma) + (1.0 - sigma) ** 2
    faster = 2.0 * (outlet / inlet - 1.0) * rho / density(inlet, pascal)
    drop = rho * speed**2 / 2.0 * (friction + ends + max(faster, 0.0))
    drop[0], conductance = 0.0, h * (efficiency * fins + bare)
    conductance[0] = 0.0
    assert np.all(np.diff(drop) > 0)
    return CoreTable(flux, drop, np.asarray(conductance))


def plate_loss(open_share: float) -> float:
    """Loss of bars and mesh on the velocity ahead.

    K. E. G. Wieghardt, On the resistance of screens, Aeronautical Quarterly 4 (1953) 186-192:
    6.5 (1 - s) / s² (V d / (s ν))^(-1/3), with the wires' Reynolds number at 600.
    """
    return 6.5 * (1.0 - open_share) / open_share**2 * 600.0 ** (-1.0 / 3.0)


def fan_law(
    fan: TrueFan, radius: Floats, rpm: float, rho: float
) -> tuple[Callable[[Floats], tuple[Floats, Floats]], Floats, Floats]:
    """Axial velocity at radii by pressure rise, with its slope; free velocity; shut-off pressure.

    A driven fan: velocity triangles of a cascade with Constant's deviation, and a stall that low
    solidity brings on sooner. An electric one: its own sheet's two ends, spread over the radius.
    """
    if fan.kind == "puller":
        at = radius / (0.36 * fan.diameter)
        free = fan.free_speed * fan.voltage * at**0.6
        shut = fan.shut_pa * fan.voltage**2 * at**0.8 * rho / 1.2
    else:
        turn = rpm * 2.0 * math.pi / 60.0 * radius
        chord = fan.width / math.sin(math.radians(fan.pitch))
        solid = fan.blades * chord / (2.0 * math.pi * radius)
        behind = 90.0 - fan.pitch - fan.camber / 2.0
        angle = behind + 0.26 * fan.camber / np.sqrt(solid) + 2.0
        free = fan.kept * turn / np.tan(np.radians(np.minimum(angle, 85.0)))
        stalled = fan.stall * (0.55 + 0.45 * np.minimum(1.0, solid))
        shut = stalled * rho / 2.0 * turn**2 * _tips(fan)
    little = 0.02 * shut
    power = 1.0 / fan.fall

    def law(rise: Floats) -> tuple[Floats, Floats]:
        x = shut - rise
        root = x**2 + little**2
        scale = free * shut**-power
        value = scale * x * root ** ((power - 1.0) / 2.0)
        slope = scale * root ** ((power - 1.0) / 2.0) * (1.0 + (power - 1.0) * x**2 / root)
        return value, -slope

    return law, free, shut


def _tips(fan: TrueFan) -> float:
    """What a tip gap, and blades outside the ring, leave of the pressure.

    2 % less for each hundredth of the blade's length, down to that of a bare fan.
    """
    if fan.kind == "open":
        return 0.62
    span = (fan.diameter - fan.hub) / 2.0
    short = max(0.0, 0.4 - fan.immersed) * 0.5
    return max(0.62, 1.0 - 2.0 * fan.tip_gap / span) * (1.0 - short)
