"""Triangles with corners that are not numbers: where they may have been is not known space."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_hull import hull_corners
from noseroom.geometry.scan_types import Floats, Hole, UnreadableError
from noseroom.geometry.scan_weld import WELD_MM

_MOST_CELLS = 150
_CELL_MM = 40.0
_GROWTH = 1.5
_SIDES_SEEN = 50_000
_CUBE = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)


@dataclass(frozen=True, eq=False)
class Lost:
    """Triangles that had to be left out.

    count: how many. whole: how many of them have no corner left at all. corners: (m, 3, 3) mm of
    the others, NaN where a corner is lost.
    """

    count: int
    whole: int
    corners: Floats


def lost_of(vertices: Floats, triangles: Numbers, good: NDArray[np.bool_]) -> Lost:
    """Sort out the triangles that are not `good`, (m,), by what is left of them."""
    corners = vertices[triangles[~good]]
    finite = np.asarray(np.isfinite(corners).all(axis=2))
    corners[~finite] = np.nan
    known = finite.any(axis=1)
    return Lost(len(corners), int((~known).sum()), corners[known])


def lost_cells(lost: Lost, kept: Floats, holes: Sequence[Hole]) -> tuple[Floats, ...]:
    """Convex cells, corners (k, 3) each in mm, in which the lost triangles are taken to have been.

    kept: (m, 3, 3) mm, the triangles that stay. A lost triangle is taken to be no larger than the
    longest side left of those that it hangs together with, or than half of the kept ones' are:
    so far beyond its known corners nothing is known. Those whose known corners are all on the edge
    of one of the holes (and are three or more) left that hole, which is not known anyway.

    Raises:
        UnreadableError: more triangles without any corner than the holes can have held; where
            they were, nobody can tell.
    """
    # A line of k sides encloses k*k/6 triangles at the most, where they lie in a honeycomb.
    room = sum(max(len(one.loop) - 2, len(one.loop) ** 2 // 6) for one in holes)
    if lost.whole > room:
        raise UnreadableError(
            f"{lost.whole:,} triangles without any corner that is a number, and holes for {room:,}",
            "to know where everything was",
            "save it again, or scan it again",
        )
    if not len(lost.corners):
        return ()
    points, owner, longest = _clusters(lost.corners)
    few = kept[:: max(1, len(kept) // _SIDES_SEEN)]
    usual = float(np.median(np.linalg.norm(few - np.roll(few, 1, axis=1), axis=2)))
    reach = np.maximum(longest, usual)
    left = _not_in_a_hole(points, owner, len(longest), holes)
    inside = left[owner]
    points, owner = points[inside], owner[inside]
    if not len(points):
        return ()
    keys = owner[:, None]
    found, group = np.unique(keys, axis=0, return_inverse=True)
    size = _CELL_MM
    while len(found) > _MOST_CELLS:
        keys = np.floor(points / size).astype(np.int64)
        found, group = np.unique(keys, axis=0, return_inverse=True)
        size *= _GROWTH
    group = group.reshape(-1)
    order = np.argsort(group, kind="stable")
    ends = np.searchsorted(group[order], np.arange(1, len(found)))
    made = []
    for rows in np.split(order, ends):
        corners = hull_corners(points[rows])
        grown = corners[:, None] + float(reach[owner[rows]].max()) * _CUBE
        made.append(hull_corners(grown.reshape(-1, 3)))
    return tuple(made)


def _clusters(corners: Floats) -> tuple[Floats, Numbers, Floats]:
    """Known corners (n, 3), the cluster of each (n,), and the longest known side of each cluster.

    Triangles that have a known corner in common hang together.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    known = np.isfinite(corners).all(axis=2)
    row = np.nonzero(known)[0]
    points, number = np.unique(corners[known] + 0.0, axis=0, return_inverse=True)
    number = number.reshape(-1)
    count = len(points)
    links = coo_array(
        (np.ones(len(row), np.int8), (row + count, number)),
        shape=(count + len(corners), count + len(corners)),
    )
    _, label = connected_components(links, directed=False)
    _, names = np.unique(label, return_inverse=True)
    names = names.reshape(-1).astype(np.int64)
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    longest = np.zeros(int(names.max()) + 1)
    np.maximum.at(longest, names[count:], np.nan_to_num(sides, nan=0.0).max(axis=1))
    return points, names[:count], longest


def _not_in_a_hole(
    points: Floats, owner: Numbers, count: int, holes: Sequence[Hole]
) -> NDArray[np.bool_]:
    """Which clusters (count,) have a corner off every hole's edge, or less than three of them."""
    from scipy.spatial import cKDTree

    few: NDArray[np.bool_] = np.bincount(owner, minlength=count) < 3
    if not holes:
        return np.ones(count, bool)
    edge = cKDTree(np.concatenate([one.loop for one in holes]))
    away = edge.query(points, distance_upper_bound=2 * WELD_MM)[0] > 2 * WELD_MM
    off = np.zeros(count, bool)
    np.logical_or.at(off, owner, away)
    return off | few
