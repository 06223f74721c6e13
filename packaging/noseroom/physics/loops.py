"""The loop in balance: what evaporator, compressor and condenser agree on.

The compressor's flow sets what the evaporator takes up, the condenser's face what pressure it needs
to give all of it off. Each is one equation a draw, with one answer; where there is none within the
refrigerant's tables the answer says so, and is no number. SI.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.physics.compressors import displaced_flow, volumetric_efficiency_of_clearance
from noseroom.physics.condensers import Zones, zones_of_condenser
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Pressure, Refrigerant, Saturation
from noseroom.physics.solving import roots_between
from noseroom.physics.vapour_cycle import Cycle, cycle

__all__ = [
    "Balance",
    "Loop",
    "LoopState",
    "balance",
    "evaporating_pressure",
    "need_of_condenser",
    "zones_of_state",
]

_COIL_WITHIN = 1e-9
"""Of the range of the coil's temperature, 3e-8 K: the outer equation has to see it smooth."""
_LOG_WITHIN = 1e-8
"""Of the range of the logarithm of the condensing pressure: 0.02 Pa."""

Load = Callable[[Floats], Floats]
Need = Callable[["LoopState"], Floats]


@dataclass(frozen=True, eq=False)
class LoopState:
    """A loop between two pressures. flow: kg/s. cooling, work, rejected: W; work is the gas's."""

    cycle: Cycle
    flow: Floats

    @property
    def cooling(self) -> Floats:
        """W taken up in the evaporator."""
        return np.asarray(self.flow * self.cycle.cooling)

    @property
    def work(self) -> Floats:
        """W put into the gas."""
        return np.asarray(self.flow * self.cycle.work)

    @property
    def rejected(self) -> Floats:
        """W given off in the condenser."""
        return np.asarray(self.flow * self.cycle.rejected)


@dataclass(frozen=True, eq=False, kw_only=True)
class Loop:
    """A compressor with what is set round it; numbers or draws.

    displacement_m3: a turn. speed_rpm: the compressor's own. clearance, filling,
    isentropic_efficiency, superheat_k, subcooling_k: bands of `noseroom.tables.heat`.
    """

    fluid: Refrigerant
    displacement_m3: ArrayLike
    speed_rpm: ArrayLike
    clearance: ArrayLike
    filling: ArrayLike
    isentropic_efficiency: ArrayLike
    superheat_k: ArrayLike
    subcooling_k: ArrayLike

    def between(self, evaporating: Pressure, condensing: Pressure) -> LoopState:
        """The loop between two pressures, Pa."""
        low, high = self.fluid.saturation(evaporating), self.fluid.saturation(condensing)
        found = cycle(
            self.fluid,
            evaporating=low,
            condensing=high,
            superheat_k=self.superheat_k,
            subcooling_k=self.subcooling_k,
            isentropic_efficiency=self.isentropic_efficiency,
        )
        ratio = np.maximum(high.pressure / low.pressure, 1.0)
        filled = volumetric_efficiency_of_clearance(ratio, self.clearance)
        filled = filled * np.asarray(self.filling, dtype=float)
        drawn = self.fluid.superheated_density(low, found.enthalpies[0])
        flow = displaced_flow(self.displacement_m3, self.speed_rpm, filled, drawn)
        return LoopState(found, flow)


@dataclass(frozen=True, eq=False)
class Balance:
    """Where a loop settles.

    evaporating, condensing: Pa, nan where it does not. state: the loop there. duty: 1 for a
    compressor that runs all the time; less where a switch that keeps the evaporator from freezing
    takes it off in between. settled: (...). above: (...), the condenser could not give the heat off
    even at the highest pressure that there are tables for, so the cut-out would act. warm: (...),
    the compressor takes less than the coil could take up, and the car stays warm. spare: (...), the
    condenser has face to spare even at the least pressure that was asked for, where it then stands.
    """

    evaporating: Floats
    condensing: Floats
    state: LoopState
    duty: Floats
    settled: NDArray[np.bool_]
    above: NDArray[np.bool_]
    warm: NDArray[np.bool_]
    spare: NDArray[np.bool_]


def evaporating_pressure(
    loop: Loop, high: Pressure, load: Load, *, least_k: ArrayLike, most_k: ArrayLike
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Pa at which the compressor takes what the coil takes up, the duty, and whether it is warm.

    high: Pa. load: of the coil's temperature, K to W, never rising. least_k: where a switch takes
    the compressor off so that the coil does not freeze; there the pressure stands and the duty is
    less than 1. most_k: of the coil, at most, where the expansion valve gives no more; the
    compressor then takes less than the coil could take up, which is called warm.
    """
    fluid, above = loop.fluid, loop.fluid.saturation(high)

    def spare(coil_k: Floats) -> Floats:
        low = fluid.saturation_pressure(coil_k)
        return np.asarray(loop.between(low, above).cooling - load(coil_k))

    found = roots_between(spare, least_k, most_k, within=_COIL_WITHIN)
    cold, warm = found.at_low >= 0, found.at_high < 0
    coil = np.where(cold, least_k, np.where(warm, most_k, found.x))
    pressure = fluid.saturation_pressure(coil)
    with np.errstate(all="ignore"):
        full = loop.between(pressure, above).cooling
        duty = np.where(cold, load(coil) / full, np.where(found.found | warm, 1.0, np.nan))
    return pressure, np.asarray(duty), np.asarray(warm)


def balance(
    loop: Loop,
    load: Load,
    need: Need,
    *,
    least_condensing_k: ArrayLike,
    least_k: ArrayLike = 273.15,
    most_k: ArrayLike = 303.15,
) -> Balance:
    """Where a loop with a coil and a condenser settles.

    load: as `evaporating_pressure`. need: share of the condenser's face that a state needs (1: just
    all of it), never rising with the condensing pressure; inf is an answer. least_condensing_k: a
    temperature that the refrigerant condenses above in any case, such as that of the air.
    """
    fluid = loop.fluid
    top = float(fluid.range[1])
    least = np.asarray(least_condensing_k, dtype=float)
    subcooled = np.asarray(loop.subcooling_k, dtype=float)
    bottom = fluid.saturation_pressure(least + subcooled + 0.05)

    def state_at(high: Floats) -> tuple[Floats, Floats, LoopState, NDArray[np.bool_]]:
        at = fluid.saturation(high)
        low, duty, warm = evaporating_pressure(loop, at, load, least_k=least_k, most_k=most_k)
        return low, duty, loop.between(low, at), warm

    def lacking(log_high: Floats) -> Floats:
        wanted = need(state_at(np.exp(log_high))[2])
        # On a scale that is finite also where no face is enough; nan stays nan.
        return np.asarray(np.where(np.isnan(wanted), np.nan, 1.0 - 2.0 / (1.0 + wanted)))

    found = roots_between(lacking, np.log(bottom), np.log(top), within=_LOG_WITHIN)
    spare = np.asarray(found.at_low <= 0)
    high = np.where(spare, bottom, np.exp(found.x))
    low, duty, state, warm = state_at(high)
    settled = (found.found | spare) & np.isfinite(low) & np.isfinite(duty)
    return Balance(low, high, state, duty, settled, np.asarray(found.at_high > 0), warm, spare)


def zones_of_state(
    fluid: Refrigerant,
    state: LoopState,
    *,
    air_k: ArrayLike,
    air_capacity: ArrayLike,
    conductance: tuple[ArrayLike, ArrayLike, ArrayLike],
    saturated: Saturation | None = None,
) -> Zones:
    """The zones of a condenser in a state; the others as `condensers.zones_of_condenser` has them.

    One stream of air passes it, or the mean of several. saturated: at the state's high pressure,
    where that has been looked up already.
    """
    loop = state.cycle
    at = fluid.saturation(loop.pressures[1]) if saturated is None else saturated
    _, hot, out = loop.temperatures_k
    _, discharge, liquid = loop.enthalpies
    return zones_of_condenser(
        flow=state.flow,
        air_k=air_k,
        air_capacity=air_capacity,
        conductance=conductance,
        temperatures_k=(hot, at.temperature, out),
        enthalpies=(discharge, at.vapour_enthalpy, at.liquid_enthalpy, liquid),
    )


def need_of_condenser(
    fluid: Refrigerant,
    face_m2: ArrayLike,
    *,
    air_k: ArrayLike,
    air_capacity: ArrayLike,
    conductance: tuple[ArrayLike, ArrayLike, ArrayLike],
) -> Need:
    """What `balance` asks of a condenser with a face, m²; the others as `zones_of_state`."""

    def need(state: LoopState) -> Floats:
        zones = zones_of_state(
            fluid, state, air_k=air_k, air_capacity=air_capacity, conductance=conductance
        )
        return np.asarray(zones.face_m2 / np.asarray(face_m2, dtype=float))

    return need
