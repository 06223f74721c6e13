"""Rounds of laws, flows and temperatures, until nothing moves any more. See `stack`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.physics.air_heat import OUTSIDE, Stream, warmth
from noseroom.physics.air_network import AirFlows
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_air import (
    BAY,
    CONDENSER,
    FRONT,
    OUTSIDE_AIR,
    RADIATOR,
    UNDER,
    CoreName,
    Passed,
    Ways,
    air_of,
)
from noseroom.physics.stack_coil import Coil, coil_near
from noseroom.physics.stack_heat import (
    COOLANT,
    Condensing,
    Pressed,
    condenser_effect,
    coolant_k,
    radiator_effect,
    streams_of,
)
from noseroom.physics.stack_mixing import Mixing
from noseroom.physics.stack_parts import Stack, StackState

__all__ = ["HOTTEST_K", "Now", "Rounds"]

_MOST_ROUNDS = 40
_SETTLED, _STAYS = 1e-8, 1e-6
_COOLANT_BEGINS_K = 360.0
_GAP_OVER_K, _BAY_OVER_K = 15.0, 40.0
HOTTEST_K = 473.15
"""Air and coolant that come out hotter have boiled over long before. Hot air is thin and sticks, so
that less of it comes and gets hotter still: there may be no end to that, and properties stay here.
"""
_COLDEST_K = 200.0
_RETURNS_AT_MOST = 0.95
"""Of what leaves the bay."""


@dataclass(eq=False)
class Now:
    """Where the rounds stand."""

    flows: dict[str, Floats]
    nodes: dict[str, Floats]
    outlets: dict[str, Floats]
    coolant: Floats
    coolant_mean: Floats
    coil: Coil | None
    guess: Floats
    overheats: NDArray[np.bool_]
    coolant_capacity: Floats | None = None
    rounds: int = 0
    doubted: int = 0
    coil_moved: Floats | None = None
    network: AirFlows | None = None
    head: Pressed | None = None
    passed: dict[CoreName, Passed] = field(default_factory=dict)
    condenser_w: Floats | None = None
    streams: list[Stream] = field(default_factory=list)


class Rounds:
    """The rounds of a stack's state, for n draws."""

    def __init__(self, stack: Stack, state: StackState, draws: int) -> None:
        self.stack, self.state, self.draws = stack, state, draws
        self.air = air_of(state, draws)
        self.ways = Ways(stack, state, self.air, draws)
        self.running = state.compression if stack.condenser is not None else None
        self.mixing = Mixing()
        begins = np.full(draws, _COOLANT_BEGINS_K)
        coil, cold = None, np.zeros(draws, dtype=bool)
        if self.running is not None:
            least = np.broadcast_to(np.asarray(self.running.evaporating_k, dtype=float), (draws,))
            none = np.zeros(draws)
            coil = Coil(none, least, none, cold)
        nodes = {name: self.air.kelvin + _begins_over(name) for name in self.ways.nodes}
        outlets = {
            name: self.air.kelvin + _begins_over(one.end)
            for name, one in self.ways.ways.items()
            if one.core
        }
        guess = np.stack([*nodes.values(), *outlets.values(), begins])
        self.now = Now(self.ways.begun(), nodes, outlets, begins, begins, coil, guess, cold)

    def run(self) -> tuple[NDArray[np.bool_], int]:
        """Which draws came to rest, and after how many rounds the last did."""
        now, rested = self.now, np.zeros(self.draws, dtype=bool)
        moved = np.full(self.draws, np.inf)
        while now.rounds < _MOST_ROUNDS + now.doubted and not rested.all():
            now.rounds += 1
            moved = self._round()
            rested |= moved < _SETTLED
            if rested.all() and now.head is not None and now.head.away.any() and not now.doubted:
                # Steps may have led past an answer: once all is looked at afresh.
                now.doubted = now.rounds + 1
                rested[now.head.away] = False
        # What has come to rest goes on with the others, within what the network leaves.
        return rested & (moved < _STAYS), now.rounds

    def _round(self) -> Floats:
        """One more; gives by how much the worst figure of each draw moved."""
        now = self.now
        laws, cores = self.ways.passed(now.flows, *self._guessed())
        network = self.ways.flows(laws, None if now.network is None else now.network.pressures)
        moved = _moved(network.flows, now.flows)
        now.network, now.flows = network, dict(network.flows)
        now.passed = {
            core: replace(one, flow=np.stack([now.flows[name] for name in one.names]))
            for core, one in cores.items()
        }
        before = now.head
        self._warm()
        if now.head is not None:
            assert now.coil_moved is not None
            moved = np.maximum(moved, now.coil_moved)
            pressed = np.inf if before is None else np.abs(now.head.log_pa - before.log_pa)
            moved = np.maximum(moved, pressed)
        moved = np.maximum(moved, self._mixed())
        return np.asarray(np.where(network.settled & np.isfinite(moved), moved, np.inf))

    def _guessed(self) -> tuple[dict[str, Floats], dict[str, Floats]]:
        """Temperatures of nodes and behind cores that a round begins with."""
        now, k = self.now, len(self.now.nodes)
        nodes = dict(zip(now.nodes, now.guess[:k], strict=True))
        return nodes, dict(zip(now.outlets, now.guess[k:-1], strict=True))

    def _mixed(self) -> Floats:
        """Sets what the next round begins with; gives by how much a temperature moved."""
        now = self.now
        found = np.stack([*now.nodes.values(), *now.outlets.values(), now.coolant_mean])
        now.overheats = np.asarray((found > HOTTEST_K).any(axis=0))
        found = np.clip(found, _COLDEST_K, HOTTEST_K)
        moved = np.abs(found / now.guess - 1.0).max(axis=0)
        now.guess = np.clip(self.mixing.after(now.guess, found), _COLDEST_K, HOTTEST_K)
        return np.asarray(moved)

    def _warm(self) -> None:
        """Temperatures of nodes, air behind cores, and coolant, for the flows there are."""
        now = self.now
        flows, passed = now.flows, now.passed
        coolant_mean = now.guess[-1]
        radiator, condenser = self.stack.radiator, self.stack.condenser
        effect, capacity = radiator_effect(radiator, passed[RADIATOR], self.air, coolant_mean)
        effects = {RADIATOR: effect}
        every = None
        if CONDENSER in passed:
            assert condenser is not None
            every = condenser_effect(condenser, passed[CONDENSER], self.air)
            effects[CONDENSER] = every[1] if self.running is not None else np.zeros_like(every[1])
        streams = streams_of(
            self.plain(flows),
            {core: (passed[core], effects[core]) for core in passed},
            self.running is not None,
        )
        warm = warmth(
            streams, [OUTSIDE_AIR, UNDER], {BAY: self.state.bay_w}, self.air.capacity, self.draws
        )
        given: dict[str, Floats] = {OUTSIDE: self.air.kelvin}
        heat = np.zeros(self.draws)
        if self.running is not None and every is not None and now.coil is not None:
            equation = Condensing(
                self.running,
                now.coil,
                passed[CONDENSER],
                every,
                warm,
                self.air,
                self.state.coolant_w,
            )
            afresh = now.head is None
            now.head = equation.solved(now.head, afresh=now.doubted == now.rounds)
            found = now.head.head
            away = ~np.isfinite(found.effective_k)
            now.coil = coil_near(self.running, now.head.log_pa, now.coil, afresh=afresh)
            agreed = now.coil.at(now.head.log_pa, self.running)
            now.coil_moved = np.abs(agreed / found.coil_k - 1.0)
            # Without an answer the rounds go on as if nothing condensed; the end takes it off.
            idle = coolant_k(warm, self.air, self.state.coolant_w)
            given[CONDENSER] = np.where(away, self.air.kelvin, found.effective_k)
            given[COOLANT] = np.where(away, idle, found.coolant_k)
            heat = np.where(away, 0.0, found.duty * found.loop.rejected)
        else:
            given[COOLANT] = coolant_k(warm, self.air, self.state.coolant_w)
        now.condenser_w = heat
        nodes = {
            name: warm.temperature(name, **given) if name in warm.shares else self.air.kelvin
            for name in self.ways.nodes
        }
        sources = {CONDENSER: given.get(CONDENSER, self.air.kelvin), RADIATOR: given[COOLANT]}
        for core, one in passed.items():
            for k, name in enumerate(one.names):
                inlet = self.ways.donor(name, flows, nodes)
                now.outlets[name] = inlet + effects[core][k] * (sources[core] - inlet)
        now.streams = streams
        now.coolant_capacity = capacity
        now.coolant_mean = given[COOLANT] - np.asarray(self.state.coolant_w) / capacity / 2.0
        now.nodes, now.coolant = nodes, given[COOLANT]

    def plain(self, flows: Mapping[str, Floats]) -> list[Stream]:
        """Streams through openings and fans; some of the outlet's may come back to the grille."""
        into, out = np.maximum(flows["grille"], 0.0), np.maximum(flows["outlet"], 0.0)
        back = np.minimum(np.asarray(self.state.returned) * into, _RETURNS_AT_MOST * out)
        streams = [
            Stream(
                one.start, one.end, flows[name] - (back if name in ("grille", "outlet") else 0.0)
            )
            for name, one in self.ways.ways.items()
            if one.core is None
        ]
        return [*streams, Stream(BAY, FRONT, back)]


def _begins_over(node: str) -> float:
    """How much warmer than outside a node begins, K; the end does not depend on it."""
    ahead = node in (OUTSIDE_AIR, UNDER, FRONT) or node.startswith("ahead")
    return 0.0 if ahead else _GAP_OVER_K if node.startswith("gap") else _BAY_OVER_K


def _moved(flows: Mapping[str, Floats], before: Mapping[str, Floats]) -> Floats:
    """Largest change of a flow, over the largest flow."""
    most = np.max([np.abs(one) for one in flows.values()], axis=0)
    moves = np.max([np.abs(one - before[name]) for name, one in flows.items()], axis=0)
    return np.asarray(moves / np.maximum(most, 1e-9))
