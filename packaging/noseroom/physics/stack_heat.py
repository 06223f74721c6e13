"""Where a stack's temperatures settle for given flows: coolant, head pressure, all of the air.

For given flows everything but the condensing pressure is linear. So for a trial pressure the loop
says what the condenser has to give off, two linear equations what temperatures that takes, and the
condenser's three zones how much face; the pressure is the one that takes the face there is. SI.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.physics.air_heat import HEAT, OUTSIDE, Stream, Warmth
from noseroom.physics.condensers import Zones
from noseroom.physics.exchangers import condensing, crossflow_unmixed
from noseroom.physics.loops import LoopState, zones_of_state
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Saturation
from noseroom.physics.solving import roots_between
from noseroom.physics.stack_air import CONDENSER, RADIATOR, Air, CoreName, Passed
from noseroom.physics.stack_coil import Coil
from noseroom.physics.stack_parts import Compression, CondenserInStack, RadiatorInStack
from noseroom.physics.tube_side import overall

__all__ = [
    "COOLANT",
    "Condensing",
    "Head",
    "Pressed",
    "condenser_effect",
    "coolant_k",
    "radiator_effect",
]

COOLANT = "coolant"
_LEAST_CAPACITY = 1e-6
_LEAST_W_PER_K = 1e-3
_MOST_NTU = 40.0
_LOOKS = 9
_ROUGHLY, _CLOSELY = 1e-5, 1e-10
"""Of the range between two looks: the first round, which the others mend, and later ones."""
_BESIDE = 1e-4
_FLATTEST = -0.02
_LEAST_STEP, _LONGEST_STEP = 1e-8, 0.1
_LEAST_LIFT_K = 0.5


def condenser_effect(part: CondenserInStack, passed: Passed, air: Air) -> Floats:
    """(3, z, n): 1 - exp(-NTU) of the air in each zone, where gas cools, condenses, is liquid."""
    capacity = np.maximum(np.abs(passed.flow) * air.capacity, _LEAST_CAPACITY)
    outside = passed.side.conductance * part.heat_factor
    each = [overall(outside, one) * passed.area / capacity for one in part.inside]
    return condensing(np.stack(each))


def radiator_effect(
    part: RadiatorInStack, passed: Passed, air: Air, coolant_mean_k: Floats
) -> tuple[Floats, Floats]:
    """(z, n): how near each zone's air comes to the top tank's temperature.

    Crossflow, both unmixed; the coolant is split among the zones by their areas. With it (n,), the
    coolant's heat capacity flow, W/K.
    """
    flow, inside = part.coolant.at(coolant_mean_k)
    water = flow * passed.area / passed.area.sum(axis=0)
    capacity = np.maximum(np.abs(passed.flow) * air.capacity, _LEAST_CAPACITY)
    least, most = np.minimum(water, capacity), np.maximum(water, capacity)
    conductance = overall(passed.side.conductance * part.heat_factor, inside) * passed.area
    ntu = np.minimum(conductance / least, _MOST_NTU)
    return np.asarray(crossflow_unmixed(ntu, least / most) * least / capacity), flow


def coolant_k(warm: Warmth, air: Air, coolant_w: ArrayLike) -> Floats:
    """Temperature of the top tank that brings its heat to the air, with nothing condensing."""
    # With the A/C off there is no such source; with it on this is where no answer was found.
    still: dict[str, ArrayLike] = {OUTSIDE: air.kelvin, COOLANT: 0.0, CONDENSER: air.kelvin}
    rest = warm.watts(COOLANT, **still)
    return np.asarray((np.asarray(coolant_w) - rest) / _own(warm, COOLANT))


def _own(warm: Warmth, source: str) -> Floats:
    """W that a source gives off for each kelvin of its own.

    A little even where no air comes, so that heat takes no endless temperature there.
    """
    return np.maximum(warm.slope(source, source), _LEAST_W_PER_K)


@dataclass(frozen=True, eq=False)
class Head:
    """The condenser at a pressure.

    loop: while the compressor runs, which it does for `duty` of the time. coil_k: of the
    evaporator. effective_k: of the condenser as the air sees it, mean over time; running_k: while
    the compressor runs. coolant_k: top tank. zones: of the condenser's face. air_k: of the air that
    comes to the running condenser.
    """

    loop: LoopState
    coil_k: Floats
    duty: Floats
    effective_k: Floats
    running_k: Floats
    coolant_k: Floats
    zones: Zones
    air_k: Floats


@dataclass(frozen=True, eq=False)
class Pressed:
    """A condensing pressure in a round.

    slope: of `Condensing.lacking`. away: where it is none. runs_away: where that is so because the
    face is too small up to the highest pressure that there are tables for, which log_pa then is, so
    that the rounds go on.
    """

    log_pa: Floats
    head: Head
    slope: Floats
    away: NDArray[np.bool_]
    runs_away: NDArray[np.bool_]


class Condensing:
    """The condenser's equation in a round, for n draws.

    coil: the evaporator's temperature. effect: as `condenser_effect`. passed: what its zones pass.
    warm: temperatures by flows.
    """

    def __init__(
        self,
        compression: Compression,
        coil: Coil,
        passed: Passed,
        effect: Floats,
        warm: Warmth,
        air: Air,
        coolant_w: ArrayLike,
    ) -> None:
        self._asked = compression
        self._coil, fluid = coil, compression.loop.fluid
        self._top = float(np.log(fluid.range[1]))
        self._air, self._warm = air, warm
        self._coolant_w = np.asarray(coolant_w, dtype=float)
        both = CONDENSER, COOLANT
        self._slopes = [
            [_own(warm, one) if one == other else warm.slope(one, other) for other in both]
            for one in both
        ]
        still: dict[str, ArrayLike] = {OUTSIDE: air.kelvin, COOLANT: 0.0, CONDENSER: 0.0}
        self._still = [warm.watts(one, **still) for one in both]
        self._face = passed.area.sum(axis=0)
        capacity = np.abs(passed.flow) * air.capacity
        self._taken = (capacity * effect).sum(axis=1) / self._face
        self._capacity = np.maximum(capacity.sum(axis=0) / self._face, _LEAST_CAPACITY)
        share = np.minimum(self._taken / self._capacity, 1.0 - 1e-12)
        self._conductance = -self._capacity * np.log1p(-share)
        self._weights = (
            capacity * effect[1] / np.maximum((capacity * effect[1]).sum(axis=0), _LEAST_CAPACITY)
        )
        self._inlets = _inlet_shares(warm, passed, self._weights)

    def at(self, high: Saturation) -> Head:
        """All that follows from a condensing pressure."""
        fluid = self._asked.loop.fluid
        coil_k = self._coil.at(high.log_pressure, self._asked)
        loop = self._asked.loop.between(fluid.saturation_pressure(coil_k), high)
        with np.errstate(all="ignore"):
            duty = np.minimum(1.0, self._asked.load_at(coil_k) / loop.cooling)
            mean, coolant = self._two(duty * loop.rejected)
            running = self._running(loop.rejected, coolant)
        given = {OUTSIDE: self._air.kelvin, COOLANT: coolant, CONDENSER: running}
        columns = self._warm.columns
        air_k = sum(
            self._inlets[:, k] * (1.0 if name == HEAT else given[name])
            for k, name in enumerate(columns)
        )
        found = zones_of_state(
            fluid,
            loop,
            air_k=air_k,
            air_capacity=self._capacity,
            conductance=(self._conductance[0], self._conductance[1], self._conductance[2]),
            saturated=high,
        )
        return Head(loop, coil_k, duty, mean, running, coolant, found, np.asarray(air_k))

    def _lack(self, head: Head) -> Floats:
        with np.errstate(all="ignore"):
            wanted = head.zones.face_m2 / self._face
        return np.asarray(np.where(np.isnan(wanted), np.nan, 1.0 - 2.0 / (1.0 + wanted)))

    def lacking(self, log_high: Floats) -> Floats:
        """Above nothing where the face is too small for a pressure, from -1 to 1; nan for none."""
        return self._lack(self.at(self._asked.loop.fluid.saturation(np.exp(log_high))))

    def solved(self, last: Pressed | None, *, afresh: bool) -> Pressed:
        """The pressure that takes the face there is.

        last: of the round before. From there one step does; the rounds' end sees to it that steps
        have come to nothing. afresh: whether to look over the whole range where there is none yet.
        """
        stepped = None if last is None else self._stepped(last)
        if stepped is not None and not afresh:
            return stepped
        if afresh:
            self._coil = replace(self._coil, exact=True)
        low, high, runs_away = self._enclosed()
        within = _ROUGHLY if last is None else _CLOSELY
        found = roots_between(self.lacking, low, high, within=within)
        log_pa = np.where(runs_away, self._top, found.x)
        slope = (self.lacking(log_pa - _BESIDE) - self.lacking(log_pa)) / -_BESIDE
        slope = np.asarray(np.minimum(slope, _FLATTEST))
        away = runs_away | ~found.found
        if stepped is not None:
            kept = ~stepped.away
            log_pa, slope = (
                np.where(kept, stepped.log_pa, log_pa),
                np.where(kept, stepped.slope, slope),
            )
            away, runs_away = away & ~kept, runs_away & ~kept
        return Pressed(log_pa, self._head(log_pa), slope, away, runs_away)

    def _stepped(self, last: Pressed) -> Pressed | None:
        """One step along the last slope; None where there is no number."""
        there = self.lacking(last.log_pa)
        step = np.clip(-there / last.slope, -_LONGEST_STEP, _LONGEST_STEP)
        log_pa = np.minimum(last.log_pa + step, self._top)
        head = self._head(log_pa)
        lack = self._lack(head)
        if not np.isfinite(there + lack).all():
            return None
        runs_away = (log_pa >= self._top) & (lack > 0)
        step = log_pa - last.log_pa
        with np.errstate(all="ignore"):
            slope = (lack - there) / step
        fair = (np.abs(step) > _LEAST_STEP) & (slope < 0)
        slope = np.where(fair, np.minimum(slope, _FLATTEST), last.slope)
        return Pressed(log_pa, head, slope, runs_away, runs_away)

    def _head(self, log_pa: Floats) -> Head:
        return self.at(self._asked.loop.fluid.saturation(np.exp(log_pa)))

    def _enclosed(self) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Bounds of log Pa round the first pressure that is enough, from looks on the way up.

        With where the face is too small up to the highest pressure. Discharge hotter than the
        refrigerant's tables hold gives no number, and so no bound.
        """
        fluid = self._asked.loop.fluid
        least = np.maximum(
            self._air.kelvin + np.asarray(self._asked.loop.subcooling_k, dtype=float) + 0.05,
            np.asarray(self._asked.warmest_k, dtype=float) + _LEAST_LIFT_K,
        )
        bottom = np.log(fluid.saturation_pressure(np.broadcast_to(least, self._face.shape)))
        looks = bottom + np.linspace(0.0, 1.0, _LOOKS)[:, None] * (self._top - bottom)
        lack = self.lacking(looks)
        enough = (lack <= 0).argmax(axis=0)
        k = np.arange(looks.shape[1])
        met = lack[enough, k] <= 0
        known = np.isfinite(lack)
        last = lack[_LOOKS - 1 - known[::-1].argmax(axis=0), k]
        low = looks[np.maximum(enough - 1, 0), k]
        return low, np.where(met, looks[enough, k], low), ~met & (last > 0)

    def _two(self, rejected: Floats) -> tuple[Floats, Floats]:
        """Temperatures of condenser and top tank that give both their heats off."""
        (cc, ck), (kc, kk) = self._slopes
        q, w = rejected - self._still[0], self._coolant_w - self._still[1]
        whole = cc * kk - ck * kc
        return (kk * q - ck * w) / whole, (cc * w - kc * q) / whole

    def _running(self, rejected: Floats, coolant: Floats) -> Floats:
        cc, ck = self._slopes[0]
        return np.asarray((rejected - self._still[0] - ck * coolant) / cc)


def _inlet_shares(warm: Warmth, passed: Passed, weights: Floats) -> Floats:
    """(n, c): how the temperature that the zones' air comes with follows the sources."""
    total: Floats = np.zeros_like(warm.shares[passed.start_ends[0][0]])
    for (start, end), flow, weight in zip(passed.start_ends, passed.flow, weights, strict=True):
        forth = (flow >= 0)[:, None]
        total = total + weight[:, None] * np.where(forth, warm.shares[start], warm.shares[end])
    return total


def streams_of(
    plain: Sequence[Stream], cores: dict[CoreName, tuple[Passed, Floats]], running: bool
) -> list[Stream]:
    """Streams on the cores' links, with those on the others. running: whether the A/C is on."""
    sources = {CONDENSER: CONDENSER if running else "", RADIATOR: COOLANT}
    streams = list(plain)
    for core, (passed, effect) in cores.items():
        for ends, flow, one in zip(passed.start_ends, passed.flow, effect, strict=True):
            streams.append(Stream(*ends, flow, sources[core], one))
    return streams
