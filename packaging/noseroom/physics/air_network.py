"""Air through a network of resistances and fans, for many draws of its figures at once.

Nodes have a pressure, links a mass flow that the pressure between their ends drives. Every law here
lets more air through for more drop. So what the nodes lose is the slope of a strictly convex
function of their pressures (its "content"), and no air is lost where that is least: there is one
answer, and Newton's method with a search along each step finds it from anywhere.

Literature: Cherry, E. C. (1951), "Some general theorems for non-linear systems possessing
reactance", Phil. Mag. 42, 1161-1177 (content and co-content), doi 10.1080/14786445108561362, from
memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MOST_STEPS = 100
_MOST_TRIES = 40
_CLOSE = 1e-9
"""Of the largest flow in the network: how much air a node may lose or gain at the end."""
_LEAST_FLOW = 1e-12
_LEAST_SLOPE = 1e-9
_SLACK = 0.3
"""Of the slope at a step's start: what may be left of it, either way, at its end."""


class Law(Protocol):
    """How much air a link lets through."""

    def flow(self, drop_pa: Floats) -> tuple[Floats, Floats]:
        """Mass flow kg/s for a drop of pressure Pa, with its slope kg/(s Pa), (n,) each."""
        ...


@dataclass(frozen=True)
class Resistance:
    """A drop of linear × m + square × m|m|. linear: Pa·s/kg, above zero; square: Pa·s²/kg²."""

    linear: ArrayLike
    square: ArrayLike

    def flow(self, drop_pa: Floats) -> tuple[Floats, Floats]:
        """As `Law.flow`, in closed form."""
        a = np.asarray(self.linear, dtype=float)
        b = np.asarray(self.square, dtype=float)
        size = np.abs(drop_pa)
        # The root of b m² + a m = size, in the form that keeps its digits for small b.
        root = np.sqrt(a * a + 4.0 * b * size)
        m = 2.0 * size / (a + root)
        return np.sign(drop_pa) * m, 1.0 / root


@dataclass(frozen=True)
class Link:
    """Air from a node to another (or back, where its flow is below zero)."""

    start: str
    end: str
    law: Law


@dataclass(frozen=True)
class AirFlows:
    """Where the network settles. pressures: (n,) Pa by node; flows: (n,) kg/s by link.

    settled: (n,), whether it did; loss: (n,) kg/s, what the worst node loses or gains.
    """

    pressures: Mapping[str, Floats]
    flows: Mapping[str, Floats]
    settled: NDArray[np.bool_]
    loss: Floats


def air_flows(
    links: Mapping[str, Link],
    fixed: Mapping[str, ArrayLike],
    draws: int,
    start: Mapping[str, Floats] | None = None,
) -> AirFlows:
    """The flows of a network. fixed: pressures, Pa, of the nodes that the weather holds.

    draws: n, how many draws the laws' arrays hold. start: pressures to begin from.

    Raises ValueError where a node that is not fixed is on no link to one that is.
    """
    net = _Net(links, fixed, draws)
    at = net.begun(start)
    open_rows = np.arange(draws)
    settled, worst = np.zeros(draws, dtype=bool), np.full(draws, np.inf)
    seen: _Look | None = None
    for _ in range(_MOST_STEPS):
        look = net.look(at[open_rows], open_rows) if seen is None else seen
        worst[open_rows] = np.abs(look.loss).max(axis=1, initial=0.0)
        done = worst[open_rows] <= _CLOSE * look.most + _LEAST_FLOW
        settled[open_rows[done]] = True
        if done.all():
            break
        open_rows, look = open_rows[~done], look.of(~done)
        at[open_rows], seen = net.downhill(at[open_rows], open_rows, look)
    every = np.arange(draws)
    flows = {name: net.taken(one, at, every)[0] for name, one in links.items()}
    pressures = {**net.given, **{name: at[:, k] for name, k in net.column.items()}}
    return AirFlows(pressures, flows, settled, worst)


@dataclass(frozen=True)
class _Look:
    """The network at some pressures, a row a draw (r of them), with k free nodes.

    loss: (r, k) kg/s, of each node; slope: (r, k, k), its change with the pressures; most: (r,)
    kg/s, the largest flow.
    """

    loss: Floats
    slope: Floats
    most: Floats

    def of(self, rows: NDArray[np.bool_]) -> _Look:
        """Some of the rows."""
        return _Look(self.loss[rows], self.slope[rows], self.most[rows])


class _Net:
    """Links between nodes whose pressures are given, and free ones, in columns."""

    def __init__(
        self, links: Mapping[str, Link], fixed: Mapping[str, ArrayLike], draws: int
    ) -> None:
        self.links, self.draws = links, draws
        self.given: dict[str, Floats] = {
            name: np.broadcast_to(np.asarray(one, dtype=float), (draws,))
            for name, one in fixed.items()
        }
        names = dict.fromkeys(name for one in links.values() for name in (one.start, one.end))
        free = [name for name in names if name not in self.given]
        _demand_held(links, set(self.given), free)
        self.column = {name: k for k, name in enumerate(free)}

    def begun(self, start: Mapping[str, Floats] | None) -> Floats:
        """Pressures to begin from, (n, k)."""
        mean = np.mean(list(self.given.values()), axis=0)
        at = np.zeros((self.draws, len(self.column)))
        for name, k in self.column.items():
            at[:, k] = mean if start is None else start[name]
        return at

    def taken(self, one: Link, at: Floats, rows: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """What a link's law says, for the draws that the rows of `at` are of."""
        ends = [
            at[:, self.column[name]] if name in self.column else self.given[name][rows]
            for name in (one.start, one.end)
        ]
        drop = ends[0] - ends[1]
        if len(rows) == self.draws:
            return one.law.flow(drop)
        whole = np.zeros(self.draws)
        whole[rows] = drop
        flow, rate = one.law.flow(whole)
        return flow[rows], rate[rows]

    def look(self, at: Floats, rows: NDArray[np.intp]) -> _Look:
        """Everything at some pressures."""
        nodes = len(self.column)
        most = np.zeros(len(at))
        loss, slope = np.zeros_like(at), np.zeros((len(at), nodes, nodes))
        for one in self.links.values():
            flow, rate = self.taken(one, at, rows)
            most = np.maximum(most, np.abs(flow))
            rate = np.maximum(rate, _LEAST_SLOPE)
            first, second = self.column.get(one.start), self.column.get(one.end)
            for k, sign in ((first, 1.0), (second, -1.0)):
                if k is not None:
                    loss[:, k] += sign * flow
                    slope[:, k, k] += rate
            if first is not None and second is not None:
                slope[:, first, second] -= rate
                slope[:, second, first] -= rate
        return _Look(loss, slope, most)

    def downhill(
        self, at: Floats, rows: NDArray[np.intp], look: _Look
    ) -> tuple[Floats, _Look | None]:
        """Along Newton's step, to about where each row's content is least.

        With the network there, where the whole step did for every row, so that it has been seen.

        A flow that goes with the root of its drop makes whole steps swing from side to side. Along
        a line the content's slope only grows, so that its least value is easily enclosed.
        """
        step = -np.linalg.solve(look.slope, look.loss[..., None])[..., 0]
        falls = np.einsum("rk,rk->r", look.loss, step)
        low, high = np.zeros(len(at)), np.full(len(at), np.inf)
        share = np.ones(len(at))
        still = np.arange(len(at))
        for tried in range(_MOST_TRIES):
            there = at[still] + share[still, None] * step[still]
            seen = self.look(there, rows[still])
            slope = np.einsum("rk,rk->r", seen.loss, step[still])
            short, far = slope < _SLACK * falls[still], slope > -_SLACK * falls[still]
            low[still[short]] = share[still[short]]
            high[still[far]] = share[still[far]]
            still = still[short | far]
            if not len(still):
                if tried == 0:
                    return there, seen
                break
            doubled = np.isinf(high[still])
            share[still] = np.where(doubled, 2.0 * low[still], (low[still] + high[still]) / 2.0)
        moved: Floats = at + share[:, None] * step
        return moved, None


def _demand_held(links: Mapping[str, Link], held: set[str], free: Sequence[str]) -> None:
    """Every free node has to hang on a fixed one, or its pressure could be anything."""
    known = set(held)
    while True:
        more = {
            name
            for one in links.values()
            for name in (one.start, one.end)
            if known & {one.start, one.end}
        } - known
        if not more:
            break
        known |= more
    loose = [name for name in free if name not in known]
    if loose:
        raise ValueError(f"no link leads from {loose[0]} to a pressure that is known")
