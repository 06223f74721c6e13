"""One state of a stack of condenser, radiator and fans: flows, temperatures, head pressure.

Rounds of three steps, for all draws at once: laws of all ways near the last flows and temperatures
(`stack_air`), the network's flows (`air_network`), temperatures and head pressure for those flows
(`stack_heat`). They end where nothing moves any more (`stack_rounds`).

Hot coolant scalds and a high-pressure side stands under 20 to 30 bar: these are figures to choose
parts by. Never open a hot cap; only certified people open a charged system.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.physics import air
from noseroom.physics.air_heat import Stream, warmth
from noseroom.physics.coolant import COOLANT as COOLANT_TABLES
from noseroom.physics.ranges import Floats, OutsideRange, without_repeats
from noseroom.physics.stack_air import BAY, FRONT, OUTSIDE_AIR, RADIATOR, UNDER
from noseroom.physics.stack_answer import FanPoint, HeadAnswer, StackAnswer
from noseroom.physics.stack_heat import streams_of
from noseroom.physics.stack_laws import law_of_fan
from noseroom.physics.stack_parts import Stack, StackState
from noseroom.physics.stack_rounds import Rounds

__all__ = ["Stack", "StackAnswer", "StackState", "solve_stack"]


def solve_stack(stack: Stack, state: StackState, draws: int = 1) -> StackAnswer:
    """A state of a stack.

    draws: n, how many the figures' arrays hold. Raises ValueError for a speed of a fan that the
    stack has not, and for an A/C that is on without a condenser.
    """
    for name in state.speeds:
        if name not in {one.name for one in stack.fans}:
            raise ValueError(f"found a speed of fan {name!r}; expected one of the stack's fans")
    if state.compression is not None and stack.condenser is None:
        raise ValueError("found an A/C that is on and no condenser; expected one with the other")
    return _Reading(stack, state, draws).answer()


class _Reading:
    """What the rounds came to, as an answer."""

    def __init__(self, stack: Stack, state: StackState, draws: int) -> None:
        self.stack, self.state, self.draws = stack, state, draws
        self.run = Rounds(stack, state, draws)
        self.rounds = self.run.run()
        self.air, self.ways, self.now = self.run.air, self.run.ways, self.run.now
        self.running = self.run.running

    def answer(self) -> StackAnswer:
        """All of it."""
        now = self.now
        moved_little, rounds = self.rounds
        assert now.network is not None
        assert now.condenser_w is not None
        assert now.coolant_capacity is not None
        settled = moved_little & np.isfinite(now.coolant) & ~now.overheats
        if now.head is not None:
            settled &= ~now.head.away
        radiator = now.passed[RADIATOR]
        inlets = {
            name: self.ways.donor(name, now.flows, now.nodes)
            for one in now.passed.values()
            for name in one.names
        }
        forth = np.maximum(radiator.flow, 0.0)
        came = np.stack([inlets[name] for name in radiator.names])
        through = forth.sum(axis=0)
        with np.errstate(all="ignore"):
            ahead = (forth * came).sum(axis=0) / through
        largest = np.max([np.abs(one) for one in now.flows.values()], axis=0)
        velocities = {
            name: one.flow[k] / one.area[k] / self.air.density(inlets[name])
            for one in now.passed.values()
            for k, name in enumerate(one.names)
        }
        fans = {one.name: self._fan(one.name) for one in self.stack.fans}

        def only(value: Floats) -> Floats:
            return np.where(settled, value, np.nan)

        def each(values: Mapping[str, Floats]) -> dict[str, Floats]:
            return {name: only(one) for name, one in values.items()}

        return StackAnswer(
            settled=settled,
            overheats=moved_little & now.overheats,
            flows=each(now.flows),
            pressures=each(now.network.pressures),
            nodes=each(now.nodes),
            velocities=each(velocities),
            radiator_kg_s=only(through),
            radiator_m3_s=only((forth / self.air.density(came)).sum(axis=0)),
            into_radiator_k=only(ahead),
            recirculated=only(self._recirculated()),
            coolant_k=only(now.coolant),
            coolant_out_k=only(
                now.coolant - np.asarray(self.state.coolant_w) / now.coolant_capacity
            ),
            condenser_w=only(now.condenser_w),
            fans={
                name: replace(one, flow=only(one.flow), rise=only(one.rise))
                for name, one in fans.items()
            },
            head=self._head_answer(moved_little, settled),
            mass_gap=only(now.network.loss / np.maximum(largest, 1e-9)),
            energy_gap=only(self._energy_gap()),
            remarks=self._remarks(settled),
            rounds=rounds,
        )

    def _recirculated(self) -> Floats:
        """Of the front's air, what was in the bay before: as if the bay's air were dyed."""
        still = {core: (one, np.zeros_like(one.flow)) for core, one in self.now.passed.items()}
        dyed = []
        for one in streams_of(self.run.plain(self.now.flows), still, running=False):
            for start, end, flow in ((one.start, one.end, 1.0), (one.end, one.start, -1.0)):
                part = np.maximum(flow * one.flow, 0.0)
                mark = "bay" if start == BAY else ""
                dyed.append(Stream(start, end, part, mark, 1.0 if mark else 0.0))
        marks = warmth(dyed, [OUTSIDE_AIR, UNDER], {}, 1.0, self.draws)
        return marks.shares[FRONT][:, marks.columns.index("bay")]

    def _fan(self, name: str) -> FanPoint:
        now = self.now
        assert now.network is not None
        way = self.ways.ways[f"fan {name}"]
        assert way.fan is not None
        density = self.air.density(self.ways.donor(f"fan {name}", now.flows, now.nodes))
        law = law_of_fan(way.fan, self.state.speeds.get(name, 1.0), density)
        mass = now.flows[f"fan {name}"]
        stalled, beyond = law.beyond(mass)
        rise = now.network.pressures[way.end] - now.network.pressures[way.start]
        return FanPoint(mass / density, rise, stalled, beyond)

    def _head_answer(
        self, moved_little: NDArray[np.bool_], settled: NDArray[np.bool_]
    ) -> HeadAnswer | None:
        now = self.now
        if now.head is None or self.running is None:
            return None
        pressure = np.where(settled, np.exp(now.head.log_pa), np.nan)
        low = self.running.loop.fluid.saturation_pressure(now.head.head.coil_k)
        assert now.coil is not None
        head, zones = now.head.head, now.head.head.zones
        faces = (zones.gas_m2, zones.condensing_m2, zones.liquid_m2)
        return HeadAnswer(
            condensing_k=self.running.loop.fluid.saturation_temperature(pressure),
            pressure=pressure,
            loop=self.running.loop.between(low, pressure),
            duty=np.where(settled, head.duty, np.nan),
            evaporating_k=np.where(settled, head.coil_k, np.nan),
            warm=now.coil.warm,
            faces_m2=(
                np.where(settled, faces[0], np.nan),
                np.where(settled, faces[1], np.nan),
                np.where(settled, faces[2], np.nan),
            ),
            air_k=np.where(settled, head.air_k, np.nan),
            runs_away=now.head.runs_away & moved_little,
        )

    def _remarks(self, settled: NDArray[np.bool_]) -> tuple[OutsideRange, ...]:
        """What lies outside its range, over the draws that settled."""
        now = self.now
        if not settled.any():
            return ()
        remarks: list[OutsideRange] = []
        for one in now.passed.values():
            remarks.extend(one.side.remarks)
        temperatures = np.concatenate([one[settled] for one in now.nodes.values()])
        remarks.extend(air.AIR.outside(temperature=temperatures))
        glycol = np.broadcast_to(
            np.asarray(self.stack.radiator.coolant.glycol, dtype=float), (self.draws,)
        )
        remarks.extend(
            COOLANT_TABLES.outside(glycol=glycol[settled], temperature=now.coolant_mean[settled])
        )
        for fan in self.stack.fans:
            point = self._fan(fan.name)
            speed = np.asarray(self.state.speeds.get(fan.name, 1.0), dtype=float)
            scale = np.broadcast_to(speed * fan.flow_scale, (self.draws,))
            turning = settled & (scale > 0)
            if turning.any():
                remarks.extend(
                    fan.curve.correlation.outside(flow=point.flow[turning] / scale[turning])
                )
        return without_repeats(remarks)

    def _energy_gap(self) -> Floats:
        """Heat put in less what the air takes with it, over all heat."""
        now, taken = self.now, np.zeros(self.draws)
        assert now.condenser_w is not None
        for one in now.streams:
            for end, other, sign in ((one.start, one.end, -1.0), (one.end, one.start, 1.0)):
                if end in (OUTSIDE_AIR, UNDER):
                    leaves = sign * one.flow > 0
                    rise = np.where(leaves, now.nodes[other] - self.air.kelvin, 0.0)
                    taken += np.abs(one.flow) * self.air.capacity * rise
        put = np.asarray(self.state.coolant_w) + np.asarray(self.state.bay_w) + now.condenser_w
        return np.asarray(np.abs(put - taken) / np.maximum(put, 1.0))
