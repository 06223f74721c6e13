"""The ways that air takes through a stack: which links there are, and their laws in a round. SI."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from noseroom.physics import air, moist_air
from noseroom.physics.air_network import AirFlows, Law, Link, air_flows
from noseroom.physics.fin_cores import AirSide
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_laws import core_fit, law_of_fan, law_of_opening
from noseroom.physics.stack_parts import Opening, Stack, StackFan, StackState, Zone

__all__ = [
    "BAY",
    "BEHIND",
    "CONDENSER",
    "FRONT",
    "OUTSIDE_AIR",
    "RADIATOR",
    "UNDER",
    "Air",
    "Passed",
    "Ways",
    "air_of",
]

CoreName = Literal["condenser", "radiator"]

OUTSIDE_AIR, FRONT, BAY, UNDER = "outside air", "front", "bay", "under"
BEHIND = "behind the core"
CONDENSER: CoreName = "condenser"
RADIATOR: CoreName = "radiator"
_START_KG_S = 0.3
"""Through the whole face, where the rounds begin; the end does not depend on it."""


@dataclass(frozen=True, eq=False)
class Air:
    """The outside's air. kelvin, pressure: (n,). capacity: J/(K kg) with its vapour.

    like_dry: Pa at which dry air is as light as this air with its vapour.
    """

    kelvin: Floats
    pressure: Floats
    capacity: Floats
    like_dry: Floats

    def density(self, kelvin: Floats) -> Floats:
        """kg/m³ at a temperature."""
        return air.density(kelvin, self.like_dry)


def air_of(state: StackState, draws: int) -> Air:
    """The air of a state, for n draws."""
    kelvin = np.broadcast_to(np.asarray(state.outside_k, dtype=float), (draws,))
    pressure = np.broadcast_to(np.asarray(state.outside_pa, dtype=float), (draws,))
    ratio = moist_air.humidity_ratio(kelvin, state.humidity, pressure)
    capacity = moist_air.moist_specific_heat(ratio) / (1.0 + ratio)
    volume = moist_air.specific_volume(kelvin, ratio, pressure) / (1.0 + ratio)
    lighter = 1.0 / (volume * air.density(kelvin, pressure))
    return Air(kelvin, pressure, np.asarray(capacity), np.asarray(pressure * lighter))


@dataclass(frozen=True)
class _Way:
    """From a node to another, through an opening, a fan, or a zone of a core."""

    start: str
    end: str
    opening: Opening | None = None
    fan: StackFan | None = None
    core: CoreName | None = None
    zone: Zone | None = None


@dataclass(frozen=True, eq=False)
class Passed:
    """What a core's zones pass in a round. names: of the links; the rest is (z, n).

    start_ends: the nodes before and behind each. area: m². flow: kg/s. inlet_k: of the air as it
    comes, whichever way.
    """

    names: tuple[str, ...]
    start_ends: tuple[tuple[str, str], ...]
    area: Floats
    flow: Floats
    inlet_k: Floats
    side: AirSide


class Ways:
    """All ways of a stack, for n draws of a state."""

    def __init__(self, stack: Stack, state: StackState, air_outside: Air, draws: int) -> None:
        self.stack, self.state, self.air, self.draws = stack, state, air_outside, draws
        self.ways = dict(_ways(stack))
        names = dict.fromkeys(node for one in self.ways.values() for node in (one.start, one.end))
        self.nodes = tuple(names)
        self.fixed = {OUTSIDE_AIR: state.ram_pa, UNDER: state.base_pa}
        self._areas = {
            core: np.stack([self._wide(zone.area_m2) for zone in zones])
            for core, zones in self._cores().items()
        }

    def _wide(self, value: object) -> Floats:
        return np.broadcast_to(np.asarray(value, dtype=float), (self.draws,))

    def _cores(self) -> Mapping[CoreName, tuple[Zone, ...]]:
        zones = {RADIATOR: tuple(one for one in self.stack.zones if not one.beyond)}
        covered = tuple(one for one in self.stack.zones if one.cooled)
        return {CONDENSER: covered, **zones} if covered else zones

    def begun(self) -> dict[str, Floats]:
        """Flows to begin from."""
        whole = np.sum(self._areas[RADIATOR], axis=0)
        flows = {name: np.zeros(self.draws) for name in self.ways}
        for core, zones in self._cores().items():
            for zone, area in zip(zones, self._areas[core], strict=True):
                flows[f"{core} {zone.name}"] = _START_KG_S * area / whole
        return flows

    def donor(self, name: str, flows: Mapping[str, Floats], nodes: Mapping[str, Floats]) -> Floats:
        """Temperature of the air that comes on a way.

        A fan's is that of where it draws even when air runs back through it: that air has come
        there, and a rise that jumped where the flow turns would have no end to its rounds.
        """
        one = self.ways[name]
        if one.fan is not None:
            return nodes[one.start]
        return np.where(flows[name] >= 0, nodes[one.start], nodes[one.end])

    def passed(
        self,
        flows: Mapping[str, Floats],
        nodes: Mapping[str, Floats],
        outlets: Mapping[str, Floats],
    ) -> tuple[dict[str, Law], dict[CoreName, Passed]]:
        """Laws of all ways near some flows and temperatures, and what the cores' air meets."""
        laws: dict[str, Law] = {}
        cores: dict[CoreName, Passed] = {}
        for core, zones in self._cores().items():
            names = tuple(f"{core} {zone.name}" for zone in zones)
            flow = np.stack([flows[name] for name in names])
            inlet = np.stack([self.donor(name, flows, nodes) for name in names])
            outlet = np.stack([outlets.get(name, inlet[k]) for k, name in enumerate(names)])
            part = self.stack.condenser if core == CONDENSER else self.stack.radiator
            assert part is not None
            area = self._areas[core]
            fit = core_fit(
                part.core, part.drag_factor, area, flow, inlet, outlet, self.air.like_dry
            )
            laws.update(zip(names, fit.laws, strict=True))
            ends = tuple((self.ways[name].start, self.ways[name].end) for name in names)
            cores[core] = Passed(names, ends, area, flow, inlet, fit.side)
        for name, one in self.ways.items():
            density = self.air.density(self.donor(name, flows, nodes))
            if one.opening is not None:
                laws[name] = law_of_opening(one.opening, density)
            elif one.fan is not None:
                laws[name] = law_of_fan(one.fan, self.state.speeds.get(one.fan.name, 1.0), density)
        return laws, cores

    def flows(self, laws: Mapping[str, Law], start: Mapping[str, Floats] | None) -> AirFlows:
        """Where the network settles with some laws."""
        links = {name: Link(one.start, one.end, laws[name]) for name, one in self.ways.items()}
        return air_flows(links, self.fixed, self.draws, start)


def _ways(stack: Stack) -> Iterator[tuple[str, _Way]]:
    yield "grille", _Way(OUTSIDE_AIR, FRONT, opening=stack.grille)
    yield "outlet", _Way(BAY, UNDER, opening=stack.outlet)
    if stack.beside is not None and not stack.beside.closed:
        yield "beside", _Way(FRONT, BAY, opening=stack.beside)
    for (a, b), opening in stack.along.items():
        yield f"along {a}, {b}", _Way(f"gap {a}", f"gap {b}", opening=opening)
    free = BAY
    if stack.behind is not None and not all(one.drawn_by for one in stack.zones):
        free = BEHIND
        yield "past the engine", _Way(BEHIND, BAY, opening=stack.behind)
    pushing = {one.pushed_by for one in stack.zones}
    for fan in stack.fans:
        name = f"fan {fan.name}"
        if fan.name in pushing:
            inner, outer = f"ahead of {fan.name}", FRONT
            yield name, _Way(outer, inner, fan=fan)
        else:
            inner, outer = f"behind {fan.name}", BAY
            yield name, _Way(inner, outer, fan=fan)
        if fan.leak is not None and not fan.leak.closed:
            ends = (free if fan.bare else BAY, inner) if outer == BAY else (inner, outer)
            yield f"leak {fan.name}", _Way(*ends, opening=fan.leak)
    covered = sum(np.asarray(one.area_m2) for one in stack.zones if one.covered and not one.beyond)
    for zone in stack.zones:
        start = f"ahead of {zone.pushed_by}" if zone.pushed_by else FRONT
        end = f"behind {zone.drawn_by}" if zone.drawn_by else free
        if zone.beyond:
            yield f"condenser {zone.name}", _Way(start, end, core=CONDENSER, zone=zone)
            continue
        if zone.covered:
            gap = f"gap {zone.name}"
            if zone.cooled:
                yield f"condenser {zone.name}", _Way(start, gap, core=CONDENSER, zone=zone)
            if stack.rim is not None and not stack.rim.closed:
                share = np.asarray(zone.area_m2) / covered if zone.rim is None else zone.rim
                part = Opening(np.asarray(stack.rim.area_m2) * share, stack.rim.loss)
                yield f"rim {zone.name}", _Way(FRONT, gap, opening=part)
            start = gap
        yield f"radiator {zone.name}", _Way(start, end, core=RADIATOR, zone=zone)
