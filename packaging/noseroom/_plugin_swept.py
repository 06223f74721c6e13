"""The space that something passes through while it moves, as a solid that surely holds all of it.

The amounts of the motions are cut into small boxes. In each, every point runs near to the hull of
where it is at the box's corners: a shift runs along it, a turn leaves it by the height of an arc
over its chord. Hulls of bits of the surface, grown by that, hold all that the surface passes
through; what is inside and is never met by the surface is inside in the middle pose too.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom._plugin_bits import bits_of
from noseroom._plugin_bodies import nodes_of
from noseroom._plugin_faceted import SLIVER_MM, faceted
from noseroom._plugin_movers import checked_steps, motions_of, moving_bodies
from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.mesh import Body
from noseroom.geometry.motions import Motions, Step, Turn

Floats = NDArray[np.float64]

_MOST_BOXES = 2_000
_MOST_BITS = 32
# What rounding off, simplifying and chance may each take of the length that was asked.
_SHARE = 0.1
_ROUNDING_MM = 10 * SLIVER_MM


def swept_space(
    self: Any,
    name: str,
    moving: Mapping[str, Step | Sequence[Step]],
    within_mm: float = 2.0,
    *,
    axes: str = "own",
) -> Any:
    """A solid that holds all that an object, or a group, passes through; to look at, and to cut.

    Nothing of it is ever outside, in any combination of all amounts. The solid is larger than
    what is passed through: by up to `within_mm`, and where the surface is hollow also by what
    its convex bits bridge.

    :param name: the full name of an object or of a group
    :param moving: as in `clearancesWhileMoving`
    :param within_mm: by how much convex bits of the surface may be too large; the smaller, the
        longer it takes, and the more faces
    :param axes: as in `clearancesWhileMoving`
    :return: a `cadquery.Shape` of flat faces in the world
    :raises GeometryError: as `clearancesWhileMoving` does; a name that is not there or holds no
        object; a length that is none, or one that would take too many steps
    """
    if not (isinstance(within_mm, int | float) and 0 < within_mm < np.inf):
        raise GeometryError(f"within_mm is {within_mm!r}; expected a length above 0 mm")
    nodes = nodes_of(self)
    steps = checked_steps(nodes, moving, axes)
    below = [node for node in nodes if any(one.name == name for one in node.line)]
    held = [node for node in below if node.thing is not None]
    if not held:
        there = ", ".join(node.name for node in nodes if node.name)
        what = "holds no object" if below else "is not here"
        raise GeometryError(f"{name!r} {what}; there are {there}")
    spaces = [
        _space(one.body, one.pose, motions_of(one.line, steps), within_mm / _STICKS_OUT)
        for one in moving_bodies(held, steps, fine=False)
    ]
    return faceted(_union(spaces))


def _space(body: Body, rest: Pose, motions: Motions, within_mm: float) -> Any:
    """The space of one body as a manifold."""
    import manifold3d

    hulls, random = [], np.random.default_rng(0)
    for bit in bits_of(body, _MOST_BITS):
        few, missed_mm = _fewer(bit.corners, _SHARE * within_mm)
        pad = missed_mm + body.mesh.bound_mm + _SHARE * within_mm + _ROUNDING_MM
        for amounts, off in _boxes(motions, moved(few, rest), within_mm * (1 - 3 * _SHARE)):
            corners = [moved(moved(few, rest), motions.pose(one, np.eye(4))) for one in amounts]
            # Planes that all but coincide make triangles without a height: none do by chance.
            apart = random.uniform(0.0, _SHARE * within_mm, (len(corners), len(off), 1, 1))
            ball = _BALL * ((off + pad)[:, None, None] + apart)
            points = (np.array(corners)[:, :, None] + ball).reshape(-1, 3)
            hulls.append(manifold3d.Manifold.hull_points(points))
    middle = motions.pose(motions.box()[0], rest)
    held = [body.manifold.transform(middle[:3])] if body.manifold is not None else []
    return _union([*held, *hulls]).simplify(_SHARE * within_mm)


def _union(some: Sequence[Any]) -> Any:
    import manifold3d

    return manifold3d.Manifold.batch_boolean(list(some), manifold3d.OpType.Add)


# -- boxes of amounts ----------------------------------------------------------------------------


@dataclass(order=True)
class _Box:
    """A box of amounts: the largest growth first."""

    priority: float
    number: int
    centre: Floats = field(compare=False)
    half: Floats = field(compare=False)
    off: Floats = field(compare=False)
    cut: int = field(compare=False)


def _boxes(
    motions: Motions, points: Floats, within_mm: float
) -> Iterator[tuple[list[Floats], Floats]]:
    """The corners of each box of amounts, and how far points (n, 3) leave their hull: (n,) mm.

    points: at rest in the world. Raises GeometryError for more boxes than anyone would wait for.
    """
    queue = [_box(motions, points, *motions.box(), 0)]
    while -queue[0].priority > within_mm:
        if len(queue) >= _MOST_BOXES:
            raise GeometryError(
                f"within_mm is {within_mm:g}: that needs more than {_MOST_BOXES} steps of the "
                f"motion; after so many it can be {-queue[0].priority:.2g} mm"
            )
        box = heapq.heappop(queue)
        for side in (-0.5, 0.5):
            centre, half = box.centre.copy(), box.half.copy()
            centre[box.cut] += side * box.half[box.cut]
            half[box.cut] /= 2
            number = 2 * box.number + (side > 0) + 1
            heapq.heappush(queue, _box(motions, points, centre, half, number))
    for box in sorted(queue, key=lambda one: one.number):
        ends = [
            (c,) if not h else (c - h, c + h) for c, h in zip(box.centre, box.half, strict=True)
        ]
        yield [np.array(one) for one in product(*ends)], box.off


def _box(motions: Motions, points: Floats, centre: Floats, half: Floats, number: int) -> _Box:
    """A box with its growth.

    One step after the other: where the earlier ones bring a point, a turn takes it round an arc,
    whose height over the chord counts; what comes later is rigid and keeps that height.
    """
    off, shares, here = np.zeros(len(points)), np.zeros(len(motions.steps)), points
    strayed = np.zeros(len(points))
    for k, step in enumerate(motions.steps):
        wide = float(half[k])
        here = moved(here, step.pose(float(centre[k])))
        if isinstance(step, Turn):
            # A half turn takes a point twice its arm away.
            arm = step.off(here, np.pi) / 2 + strayed
            by_this = (
                arm * (1.0 - np.cos(wide)) if wide <= np.pi / 2 else np.full(len(here), np.inf)
            )
            off, shares[k] = off + by_this, by_this.max()
        strayed = strayed + step.off(here, wide)
    cut = int(shares.argmax()) if len(shares) else 0
    return _Box(-float(off.max()), number, centre, half, off, cut)


_STICKS_OUT = np.sqrt(3.0)
_BALL = _STICKS_OUT * np.concatenate([np.eye(3), -np.eye(3)])
"""Corners of an octahedron that holds the unit ball."""


def _fewer(corners: Floats, within_mm: float) -> tuple[Floats, float]:
    """Some of the corners (k, 3) of a hull, and how far the others are from the hull of those."""
    from scipy.optimize import nnls

    chosen = list(dict.fromkeys(map(int, (*corners.argmin(axis=0), *corners.argmax(axis=0)))))
    others = np.setdiff1d(np.arange(len(corners)), chosen)
    weight = 1e3 * float(np.ptp(corners, axis=0).max())
    missed = 0.0
    # In any order but along the surface, where each would be too near to the one before it.
    for k in np.random.default_rng(0).permutation(others).tolist():
        # The nearest point of a hull is a mean of its corners; the last row makes shares of it.
        few = corners[chosen]
        system = np.vstack([few.T, np.full(len(few), weight)])
        shares = nnls(system, np.append(corners[k], weight))[0]
        away = float(np.linalg.norm(shares / shares.sum() @ few - corners[k]))
        if away > within_mm:
            chosen.append(k)
        else:
            missed = max(missed, away)
    return corners[sorted(chosen)], missed
