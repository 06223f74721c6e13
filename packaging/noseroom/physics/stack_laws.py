"""How openings, fans and cores of a stack let air through, as laws of `air_network`. SI."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.physics.air_network import Resistance
from noseroom.physics.fans import FanCurve
from noseroom.physics.fin_cores import AirSide, Core, air_side
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_parts import Opening, StackFan

__all__ = ["CoreFit", "TurningFan", "core_fit", "law_of_fan", "law_of_opening"]

_LEAST_AREA_M2 = 1e-9
_CREEP_M_S = 0.01
"""An opening's drop goes with v (v + this), so that air that hardly moves has a slope too: no
physics, 1 % at 1 m/s, on the side of less air."""
_LEAST_FLUX = 0.01
"""kg/(m² s); below, a core's drop goes on as the line and parabola that fit here."""
_STEP = 1.02
_LEAST_POWER, _MOST_POWER = 1.001, 1.999
_POINTS = 33
_APART = 1e-9


def law_of_opening(opening: Opening, density: Floats) -> Resistance:
    """Its loss × ρ v²/2, with the density of the air that comes."""
    area = np.maximum(np.asarray(opening.area_m2, dtype=float), _LEAST_AREA_M2)
    square = np.asarray(opening.loss) / (2.0 * density * area**2)
    return Resistance(square * density * area * _CREEP_M_S, square)


@dataclass(frozen=True, eq=False)
class TurningFan:
    """A fan on its curve; beyond the curve's ends it loses as its standing blades do.

    flows (k,) m³/s, rising, and rises (k,) Pa, falling: the curve. flow_scale, rise_scale: (n,), to
    the speed and density there are. density: (n,). standing: its law when it does not turn. Beyond
    an end (m*, p*) the rise is p* less the standing law's drop from m* on, which is where faster
    blades never let less air through, and blades that stop come to the standing law.
    """

    flows: Floats
    rises: Floats
    flow_scale: Floats
    rise_scale: Floats
    density: Floats
    standing: Resistance

    def flow(self, drop_pa: Floats) -> tuple[Floats, Floats]:
        """As `air_network.Law.flow`."""
        mass, drops = self.flow_scale * self.density, -self.rises
        scale = np.maximum(self.rise_scale, 1e-12)
        x = np.clip(drop_pa / scale, drops[0], drops[-1])
        k = np.clip(np.searchsorted(drops, x, side="right") - 1, 0, len(drops) - 2)
        slopes = np.diff(self.flows) / np.diff(drops)
        on = mass * (self.flows[k] + slopes[k] * (x - drops[k]))
        before, after = drop_pa < drops[0] * self.rise_scale, drop_pa > drops[-1] * self.rise_scale
        end = np.where(after, self.flows[-1], self.flows[0]) * mass
        edge = np.where(after, drops[-1], drops[0]) * self.rise_scale
        a, b = np.asarray(self.standing.linear), np.asarray(self.standing.square)
        past, rate = self.standing.flow(drop_pa - edge + (a + b * end) * end)
        out = before | after
        slope = np.where(out, rate, mass / scale * slopes[k])
        return np.where(out, past, on), slope

    def beyond(self, flow_kg_s: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Whether a flow is less than the first point's, and more than the last one's."""
        at = flow_kg_s / self.density
        low, high = self.flows[0] * self.flow_scale, self.flows[-1] * self.flow_scale
        return np.asarray(at < low - 1e-12), np.asarray(at > high + 1e-12)


def law_of_fan(fan: StackFan, speed: ArrayLike, density: Floats) -> TurningFan:
    """A fan at a speed over its curve's, in air of a density, by the fan laws."""
    n = np.broadcast_to(np.asarray(speed, dtype=float), density.shape)
    flows, rises = _dense(fan.curve)
    return TurningFan(
        flows,
        rises,
        np.asarray(n * fan.flow_scale),
        np.asarray(n**2 * fan.rise_scale * density / fan.curve.density),
        density,
        law_of_opening(Opening(fan.swept_m2, fan.stopped_loss), density),
    )


@lru_cache(maxsize=64)
def _dense(curve: FanCurve) -> tuple[Floats, Floats]:
    """Points enough that straight lines between them are the curve within a thousandth."""
    low, high = (float(one) for one in curve.ends())
    flows = np.union1d(np.linspace(low, high, _POINTS), curve.flows)
    # Two that only rounding tells apart have no slope between them.
    flows = flows[np.diff(flows, prepend=-np.inf) > _APART * (high - low)]
    return flows, curve.pressure(flows)


@dataclass(frozen=True, eq=False)
class CoreFit:
    """Cores' laws near flows. laws: one a zone; side: what air meets there, (z, n)."""

    laws: tuple[Resistance, ...]
    side: AirSide


def core_fit(
    core: Core,
    drag: ArrayLike,
    area: Floats,
    flow: Floats,
    inlet_k: Floats,
    outlet_k: Floats,
    pressure_pa: ArrayLike,
) -> CoreFit:
    """A core's drop near flows, as a line and a parabola that have its value and its slope there.

    area (m²), flow (kg/s), inlet_k, outlet_k: (z, n), z zones. The drop at the flow itself is the
    correlation's whatever the slope, so that where rounds settle nothing of the fit is left.
    """
    flux = np.maximum(np.abs(flow) / area, _LEAST_FLUX)
    side = air_side(core, np.stack([flux, flux * _STEP]), inlet_k, outlet_k, pressure_pa)
    drop = np.asarray(drag) * side.drop_pa[0]
    power = np.log(side.drop_pa[1] / side.drop_pa[0]) / np.log(_STEP)
    power = np.clip(power, _LEAST_POWER, _MOST_POWER)
    linear = (2.0 - power) * drop / flux / area
    square = (power - 1.0) * drop / (flux * area) ** 2
    here = AirSide(side.coefficient[0], side.conductance[0], drop, side.reynolds[0], side.remarks)
    return CoreFit(tuple(map(Resistance, linear, square)), here)
