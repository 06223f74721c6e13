"""Warmth that air carries through a network of flows: where it mixes, and what warms it.

Air that leaves a node has the node's temperature, which is the mean of what comes in, weighted by
flow. A link may hold an exchanger, whose effectiveness says how far the air on it comes towards the
temperature of a source (the condensing refrigerant, the coolant). So every temperature is linear in
those of the outside and of the sources, and one set of linear equations a draw gives them all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

OUTSIDE = "outside"
HEAT = "heat"
_NO_FLOW = 1e-12


@dataclass(frozen=True)
class Stream:
    """Air on a link, from a node to another, kg/s (n,); below zero it runs the other way.

    source: what warms it there, "" for nothing; effect: (n,), the exchanger's effectiveness.
    """

    start: str
    end: str
    flow: Floats
    source: str = ""
    effect: ArrayLike = 0.0


@dataclass(frozen=True)
class Warmth:
    """Temperatures of nodes and heat given off, as they follow the sources.

    shares: by node, (n, c): the change of its temperature with each column; columns: the sources,
    then "outside", then "heat" (the watts put in at nodes, as given, so that its share is kelvins).
    heat: by source, (n, c): watts that it gives off for each kelvin of a column.
    """

    columns: tuple[str, ...]
    shares: Mapping[str, Floats]
    heat: Mapping[str, Floats]

    def temperature(self, node: str, **celsius: ArrayLike) -> Floats:
        """A node's temperature, (n,) °C, for the temperatures of sources and outside."""
        return self._sum(self.shares[node], celsius)

    def watts(self, source: str, **celsius: ArrayLike) -> Floats:
        """What a source gives off, (n,) W."""
        return self._sum(self.heat[source], celsius)

    def slope(self, source: str, column: str) -> Floats:
        """How what a source gives off changes with a column, (n,) W/K."""
        found: Floats = self.heat[source][:, self.columns.index(column)]
        return found

    def _sum(self, shares: Floats, celsius: Mapping[str, ArrayLike]) -> Floats:
        total: Floats = np.zeros(len(shares))
        for k, name in enumerate(self.columns):
            total = total + shares[:, k] * np.asarray(1.0 if name == HEAT else celsius[name])
        return total


def warmth(
    streams: Sequence[Stream],
    outside: Sequence[str],
    heat_w: Mapping[str, ArrayLike],
    cp: ArrayLike,
    draws: int,
) -> Warmth:
    """How all temperatures follow those of the sources.

    outside: nodes that are at the outside's temperature. heat_w: watts put in at nodes. cp: of the
    air, J/(kg K). A node that no air reaches is at the outside's temperature.
    """
    sources = tuple(dict.fromkeys(one.source for one in streams if one.source))
    columns = (*sources, OUTSIDE, HEAT)
    names = dict.fromkeys(name for one in streams for name in (one.start, one.end))
    free = [name for name in names if name not in outside]
    at = {name: k for k, name in enumerate(free)}
    n, k, c = draws, len(free), len(columns)
    matrix, given = np.zeros((n, k, k)), np.zeros((n, k, c))
    legs = [leg for one in streams for leg in _legs(one)]
    for leg in legs:
        if leg.end not in at:
            continue
        row = at[leg.end]
        matrix[:, row, row] += leg.flow
        kept = leg.flow * (1.0 - leg.effect)
        if leg.start in at:
            matrix[:, row, at[leg.start]] -= kept
        else:
            given[:, row, columns.index(OUTSIDE)] += kept
        if leg.source:
            given[:, row, columns.index(leg.source)] += leg.flow * leg.effect
    for name, watts in heat_w.items():
        given[:, at[name], columns.index(HEAT)] += np.asarray(watts, dtype=float) / np.asarray(cp)
    still = np.einsum("nkk->nk", matrix) <= _NO_FLOW
    dead, nodes = np.nonzero(still)
    matrix[dead, nodes, :] = 0.0
    matrix[dead, nodes, nodes] = 1.0
    given[dead, nodes, :] = 0.0
    given[dead, nodes, columns.index(OUTSIDE)] = 1.0
    solved = np.linalg.solve(matrix, given)
    open_air = np.zeros((n, c))
    open_air[:, columns.index(OUTSIDE)] = 1.0
    shares: dict[str, Floats] = dict.fromkeys(outside, open_air)
    shares |= {name: np.asarray(solved[:, j]) for name, j in at.items()}
    heat: dict[str, Floats] = {source: np.zeros((n, c)) for source in sources}
    for leg in legs:
        if leg.source:
            rate = (leg.flow * leg.effect * np.asarray(cp, dtype=float))[:, None]
            heat[leg.source] -= rate * shares[leg.start]
            heat[leg.source][:, columns.index(leg.source)] += rate[:, 0]
    return Warmth(columns, shares, heat)


@dataclass(frozen=True)
class _Leg:
    """A stream one way: its flow is zero in the draws in which it runs the other way."""

    start: str
    end: str
    flow: Floats
    source: str
    effect: Floats


def _legs(one: Stream) -> tuple[_Leg, _Leg]:
    effect = np.asarray(one.effect, dtype=float)
    forth, back = np.maximum(one.flow, 0.0), np.maximum(-one.flow, 0.0)
    return (
        _Leg(one.start, one.end, forth, one.source, effect),
        _Leg(one.end, one.start, back, one.source, effect),
    )
