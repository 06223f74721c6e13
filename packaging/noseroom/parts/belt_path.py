"""The path of a belt round its pulleys: arcs and free spans in the belt's plane.

A belt that runs over every pulley with its inside lies on the outline of the convex hull of their
circles, in whatever order they are named. One that also runs over some with its back goes from
pulley to pulley in the order named, by oriented tangents (`noseroom.physics.belts`). Pulleys that
it does not touch are missed, and said to be missed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.physics.belts import BeltRun, belt_run

Run = tuple[tuple[float, float, float], ...]
"""(y, z, r) mm of each pulley in the belt's plane."""

LEAST_WRAP_RAD = 1e-4
"""A pulley wrapped by less is taken as missed: the path then passes it by less than r * 2e-9."""


@dataclass(frozen=True)
class Arc:
    """Where the belt lies on a pulley.

    pulley: its number in the run. centre: (2,) mm, (y, z). start: rad, the direction from the
    centre in which the belt meets it. wrap: rad. turn: 1 where the belt goes from y towards z round
    it, with its inside, and -1 where it goes the other way, with its back.
    """

    pulley: int
    centre: NDArray[np.float64]
    radius: float
    start: float
    wrap: float
    turn: float = 1.0

    def on(self, share: float, outward: Any = 0.0) -> NDArray[Any]:
        """(2,): the point at a share of the arc, so far out of the loop from the path."""
        angle = self.start + self.turn * share * self.wrap
        return on_circle(self.centre, self.radius + self.turn * outward, angle)


@dataclass(frozen=True)
class Span:
    """The free belt from one pulley to the next.

    pulleys: their numbers in the run. start, end: (2,) mm, (y, z). outward: rad, the direction
    square to the span and away from the inside of the belt.
    """

    pulleys: tuple[int, int]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    outward: float

    @property
    def length_mm(self) -> float:
        """From where it leaves one pulley to where it meets the next."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True)
class BeltPath:
    """A closed path round pulleys: span k runs from arc k to arc k + 1, from y towards z.

    missed: numbers of the pulleys in the run that the belt does not touch. Without arcs there is no
    path at all: two pulleys leave no room for a span between them.
    """

    arcs: tuple[Arc, ...]
    spans: tuple[Span, ...]
    missed: tuple[int, ...]

    @property
    def length_mm(self) -> float:
        """Length along the pulleys' radii: for outside radii, the effective length."""
        bends = sum(arc.radius * arc.wrap for arc in self.arcs)
        return bends + sum(span.length_mm for span in self.spans)


def belt_path(run: ArrayLike, back: Sequence[bool] = ()) -> BeltPath:
    """The belt over the pulleys of a run.

    run: (n, 3) mm, a row (y, z, r) a pulley. back: (n,), whether the belt runs on it with its back;
    empty: on none. With none the order does not matter, and a pulley that contains all others gives
    a path of one full turn without spans. Else the rows go round the belt, either way.

    Raises:
        GeometryError: no pulley, or rows that are not three finite numbers with r > 0.
    """
    circles = np.asarray(run, dtype=float)
    if circles.ndim != 2 or circles.shape[1] != 3 or not len(circles):
        raise GeometryError("a belt's run is one row (y, z, r) a pulley")
    if not np.isfinite(circles).all() or not (circles[:, 2] > 0).all():
        raise GeometryError("a belt's pulleys have finite places and radii above nothing")
    if any(back):
        return _serpentine(circles, np.asarray(back, dtype=bool))
    turns = _without_grazes(circles, _winners(circles))
    arcs = tuple(
        Arc(k, circles[k, :2], float(circles[k, 2]), start, wrap)
        for (k, start), wrap in zip(turns, _wraps(turns), strict=True)
    )
    spans = tuple(
        Span(
            (near.pulley, far.pulley),
            on_circle(near.centre, near.radius, far.start),
            on_circle(far.centre, far.radius, far.start),
            far.start,
        )
        for near, far in zip(arcs, (*arcs[1:], arcs[0]), strict=True)
        if len(arcs) > 1
    )
    touched = {arc.pulley for arc in arcs}
    return BeltPath(arcs, spans, tuple(k for k in range(len(circles)) if k not in touched))


def _serpentine(circles: NDArray[np.float64], back: NDArray[np.bool_]) -> BeltPath:
    """The path in the order of the run, without the pulleys that the belt passes."""
    order = in_order(circles, back)
    while True:
        run = belt_run(circles[order], back[order])
        if np.isnan(run.spans).any():
            return BeltPath((), (), tuple(range(len(circles))))
        least = int(run.wraps.argmin())
        if run.wraps[least] >= LEAST_WRAP_RAD or len(order) <= 2:
            break
        order = np.delete(order, least)
    return _drawn(run, order, len(circles))


def in_order(circles: ArrayLike, back: ArrayLike) -> NDArray[np.intp]:
    """(n,) numbers of the pulleys as the belt goes round against the clock.

    The run may be written either way round; the one in which the belt can go, or misses fewer
    pulleys, is meant.
    """
    placed, behind = np.asarray(circles, dtype=float), np.asarray(back, dtype=bool)
    found = []
    for order in (np.arange(len(placed)), np.arange(len(placed))[::-1]):
        run = belt_run(placed[order], behind[order])
        found.append((not run.ok, int(run.turning) != 1, int(run.missed.sum())))
    ways = (np.arange(len(placed)), np.arange(len(placed))[::-1])
    return ways[int(found[1] < found[0])]


def _drawn(run: BeltRun, order: NDArray[np.intp], count: int) -> BeltPath:
    start, end = run.ends
    arcs, spans = [], []
    for k, pulley in enumerate(order):
        # Out of the loop is to the right of the way that the belt goes.
        turn, outward = float(run.sense[k]), float(run.headings[k]) - math.pi / 2
        meets = float(run.headings[k - 1]) - turn * math.pi / 2
        y, z, radius = run.xyr[k]
        wrap = max(float(run.wraps[k]), 0.0)
        arcs.append(Arc(int(pulley), np.array([y, z]), float(radius), meets, wrap, turn))
        following = int(order[(k + 1) % len(order)])
        spans.append(Span((int(pulley), following), start[k], end[k], outward % math.tau))
    missed = sorted(set(range(count)) - {int(one) for one in order})
    return BeltPath(tuple(arcs), tuple(spans), tuple(missed))


def on_circle(centre: NDArray[Any], radius: Any, angle: float) -> NDArray[Any]:
    """The point of a circle in a direction, (2,)."""
    return np.array([centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)])


def _levels(one: NDArray[np.float64], other: NDArray[np.float64]) -> tuple[float, ...]:
    """In which directions two circles reach equally far, rad: two, or none if one holds the other.

    A circle reaches c·u + r in a direction u, so that (c - c')·u, which is a sine, equals r' - r.
    """
    y, z, r = one - other
    apart = math.hypot(y, z)
    if apart <= abs(r):
        return ()
    lean, middle = math.asin(-r / apart), math.atan2(y, z)
    return (lean - middle) % math.tau, (math.pi - lean - middle) % math.tau


def _winners(circles: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Which circle reaches furthest, and the direction from which on it does, rad, all round.

    Between two neighbouring directions in which any two circles are level the furthest one stays
    the same, so that one look in the middle decides.
    """
    levels = {
        angle
        for k, one in enumerate(circles)
        for other in circles[:k]
        for angle in _levels(one, other)
    }
    starts = sorted(levels) or [0.0]
    found: list[tuple[int, float]] = []
    for start, end in zip(starts, [*starts[1:], starts[0] + math.tau], strict=True):
        angle = (start + end) / 2.0
        reach = circles[:, :2] @ [math.cos(angle), math.sin(angle)] + circles[:, 2]
        # Ties, such as one pulley named twice, go to the first, however the sums are rounded.
        best = int(np.flatnonzero(reach >= reach.max() - 1e-9)[0])
        if not found or found[-1][0] != best:
            found.append((best, start))
    if len(found) > 1 and found[0][0] == found[-1][0]:
        del found[0]
    return found


def _wraps(turns: list[tuple[int, float]]) -> list[float]:
    """Angle from each start to the next, rad; a lone one goes all the way round."""
    starts = [start for _, start in turns]
    if len(starts) == 1:
        return [math.tau]
    return [(b - a) % math.tau for a, b in zip(starts, [*starts[1:], starts[0]], strict=True)]


def _without_grazes(
    circles: NDArray[np.float64], turns: list[tuple[int, float]]
) -> list[tuple[int, float]]:
    """The same without arcs too short to be real: their neighbours are joined by a tangent.

    Only the arc goes, not the pulley, which may be grazed by one span and well wrapped elsewhere.
    """
    turns = list(turns)
    while len(turns) > 1 and min(wraps := _wraps(turns)) < LEAST_WRAP_RAD:
        k = int(np.argmin(wraps))
        grazed = turns[k][1]
        before, after = turns[k - 1][0], (k + 1) % len(turns)
        joint = turns[after][0]
        if before == joint and len(turns) > 2:
            turns = [turn for n, turn in enumerate(turns) if n not in (k, after)]
            continue
        if before != joint:
            # The tangent of the neighbours is the one of their two that lies where the arc lay.
            near = max(
                _levels(circles[before], circles[joint]),
                key=lambda at: math.cos(at - grazed),
                default=turns[after][1],
            )
            turns[after] = (joint, near)
        del turns[k]
    return turns
