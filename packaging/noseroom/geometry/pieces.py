"""Pieces: convex polyhedra that cover a part, whose corners follow the part's sizes.

A solid says what a part looks like; its pieces say how far any of it can move. Each piece is the
convex hull of a few corners that are computed from sizes (floats, complex, or batches of either),
so that every corner has an exact derivative by every size. The pieces of a component together
contain its solid: round things are circumscribed, never inscribed. Bounds that hold for the
corners therefore hold for the metal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Scalar = Any
Vectors = NDArray[Any]

ROUND_SIDES = 48
"""Corners round a circle: circumscribed, they stand out by r (1/cos(pi/n) - 1) = 0.21 % of r."""


@dataclass(frozen=True)
class Piece:
    """A convex piece of one component of a part.

    component: the part's component it belongs to, such as "core". corners: (..., n, 3) mm in the
    part's local frame; the piece is their convex hull.
    """

    component: str
    corners: Vectors


def _stack(rows: Sequence[Vectors]) -> Vectors:
    return np.stack(np.broadcast_arrays(*rows), axis=-2)


def _vector(x: Scalar, y: Scalar, z: Scalar) -> Vectors:
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def hull(component: str, points: Sequence[Vectors]) -> Piece:
    """The hull of points, (..., 3) each, mm."""
    return Piece(component, _stack(points))


def box(
    component: str, low: tuple[Scalar, Scalar, Scalar], high: tuple[Scalar, Scalar, Scalar]
) -> Piece:
    """A box along the local axes, by two opposite corners, mm."""
    return Piece(
        component,
        _stack(
            [
                _vector(x, y, z)
                for x in (low[0], high[0])
                for y in (low[1], high[1])
                for z in (low[2], high[2])
            ]
        ),
    )


def frame_of(direction: tuple[float, float, float]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Two unit vectors, (3,), that span the plane square to a direction, (3,)."""
    along = np.asarray(direction, dtype=float)
    along = along / math.sqrt(float(along @ along))
    helper = np.eye(3)[int(np.argmin(np.abs(along)))]
    first = np.cross(along, helper)
    first = first / math.sqrt(float(first @ first))
    return first, np.cross(along, first)


def _round(direction: tuple[float, float, float], sides: int) -> NDArray[np.float64]:
    """Unit vectors (sides, 3) square to a direction, evenly all round."""
    first, second = frame_of(direction)
    angles = 2.0 * math.pi * np.arange(sides) / sides
    ways: NDArray[np.float64] = np.outer(np.cos(angles), first) + np.outer(np.sin(angles), second)
    return ways


def cylinder(
    component: str,
    start: Vectors,
    direction: tuple[float, float, float],
    length: Scalar,
    radius: Scalar,
    *,
    end_radius: Scalar | None = None,
    sides: int = ROUND_SIDES,
) -> Piece:
    """A cylinder or cone, circumscribed by a prism.

    start: (..., 3) mm, centre of the first end. direction: fixed unit direction, (3,). length,
    radius, end_radius: mm.
    """
    along = np.asarray(direction, dtype=float)
    ways = _round(direction, sides) / math.cos(math.pi / sides)
    last = radius if end_radius is None else end_radius
    far = start + np.asarray(length)[..., None] * along
    ends = [
        np.asarray(centre)[..., None, :] + np.asarray(r)[..., None, None] * ways
        for centre, r in ((start, radius), (far, last))
    ]
    return Piece(component, np.concatenate(np.broadcast_arrays(*ends), axis=-2))


def ring(
    component: str,
    start: Vectors,
    direction: tuple[float, float, float],
    length: Scalar,
    inner: Scalar,
    outer: Scalar,
    *,
    sides: int = 72,
) -> tuple[Piece, ...]:
    """A tube with a true hole, as `sides` wedges round it.

    A wedge reaches into the hole as far as the chord between its inner corners, which lie on the
    bore: the hole is never larger than it is, and smaller by inner (1 - cos(pi / sides)) at most
    (0.1 % of the radius at 72). The outer corners are circumscribed.
    """
    along = np.asarray(direction, dtype=float)
    ways = _round(direction, sides)
    offset = (np.asarray(length)[..., None] * along)[..., None, :]
    radii = np.asarray(inner), np.asarray(outer) / math.cos(math.pi / sides)
    near = [np.asarray(start)[..., None, :] + r[..., None, None] * ways for r in radii]
    rims = np.broadcast_arrays(near[0], near[0] + offset, near[1], near[1] + offset)
    # (..., sides, 4, 3): the four corners at each angle; a wedge has those of two angles.
    corners = np.stack(rims, axis=-2)
    wedges = np.concatenate([corners, np.roll(corners, -1, axis=-3)], axis=-2)
    return tuple(Piece(component, wedges[..., k, :, :]) for k in range(sides))


def ball(component: str, centre: Vectors, radius: Scalar) -> Piece:
    """A sphere, circumscribed by a polyhedron of 42 corners (7 % of the radius at the corners)."""
    return Piece(component, centre[..., None, :] + np.asarray(radius)[..., None, None] * _ball())


@cache
def _ball() -> NDArray[np.float64]:
    """Corners of a polyhedron that contains the unit sphere: a twice-split icosahedron, (42, 3)."""
    golden = (1.0 + math.sqrt(5.0)) / 2.0
    corners = np.array(
        [p for s in (-1, 1) for t in (-golden, golden) for p in ((0, s, t), (s, t, 0), (t, 0, s))],
        dtype=float,
    )
    corners /= np.linalg.norm(corners[0])
    edge = float(np.sort(np.linalg.norm(corners - corners[0], axis=1))[1])
    pairs = [
        (i, j)
        for i in range(12)
        for j in range(i)
        if abs(float(np.linalg.norm(corners[i] - corners[j])) - edge) < 1e-9
    ]
    middles = np.array([corners[i] + corners[j] for i, j in pairs])
    middles /= np.linalg.norm(middles, axis=1)[:, None]
    # The flattest faces are the four that split an old one; the outer three have the smaller
    # distance from the centre, which is what has to reach 1.
    i, j = pairs[0]
    k = next(c for c in range(12) if {(max(c, i), min(c, i)), (max(c, j), min(c, j))} <= set(pairs))
    mid = [corners[i] + corners[j], corners[i] + corners[k], corners[j] + corners[k]]
    mid = [m / np.linalg.norm(m) for m in mid]
    inner = np.cross(mid[1] - mid[0], mid[2] - mid[0])
    outer = np.cross(mid[0] - corners[i], mid[1] - corners[i])
    apothem = min(
        abs(float(inner @ mid[0])) / float(np.linalg.norm(inner)),
        abs(float(outer @ mid[0])) / float(np.linalg.norm(outer)),
    )
    whole: NDArray[np.float64] = np.concatenate([corners, middles]) / apothem
    return whole


def tube(
    component: str, path: Sequence[Vectors], radius: Scalar, *, sides: int = 16
) -> tuple[Piece, ...]:
    """A round hose along a polyline of points, (..., 3) each: a prism a leg, a ball a bend."""
    made: list[Piece] = []
    grow = 1.0 / math.cos(math.pi / sides)
    r = np.asarray(radius)[..., None]
    for near, far in pairwise(path):
        leg = np.real(np.asarray(far) - np.asarray(near)).reshape(-1, 3)[0]
        first, second = frame_of((float(leg[0]), float(leg[1]), float(leg[2])))
        rows: list[Vectors] = []
        for k in range(sides):
            angle = 2.0 * math.pi * k / sides
            way = grow * (math.cos(angle) * first + math.sin(angle) * second)
            rows += [near + r * way, far + r * way]
        made.append(Piece(component, _stack(rows)))
    made += [ball(component, bend, radius) for bend in path[1:-1]]
    return tuple(made)


def sweep_bound(piece: Piece) -> NDArray[np.float64]:
    """How far any point of a piece moves when its batch of states moves by one complex step each.

    corners: complex, (k, n, 3), state k stepped by an infinitesimal i·h in size k. Returns (k,) the
    largest |d corner / d size|: since every point of a hull is a mean of its corners, an upper
    bound on the movement of the whole surface, mm per unit of the size.
    """
    step = np.linalg.norm(np.imag(piece.corners), axis=-1)
    bound: NDArray[np.float64] = step.max(axis=-1)
    return bound
