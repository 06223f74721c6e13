"""What may lie between the separate open pieces of one scan, or in a notch, as convex cells.

A panel that was scanned in two goes may be one panel: what is between its pieces was not seen.
Delaunay's tetrahedra over the points of all borders fill the hull of them; those with corners on
more than one border lie between pieces. Those of one border lie in a notch of it, or within it,
where they are far from what was seen.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_hull import hull_corners, spread
from noseroom.geometry.scan_samples import Seen
from noseroom.geometry.scan_types import Floats, Hole

_STEP_MM = 10.0
_MOST_POINTS = 3_000
_CELL_MM = 60.0
_MOST_CELLS = 150
_GROWTH = 1.3
_FLAT_MM = 1e-3
_MOST_CORNERS = 4
_CUBE = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)


def cells_between(borders: Sequence[Hole], seen: Seen) -> tuple[Floats, ...]:
    """Convex cells, corners (k, 3) each in mm, that contain what is between open pieces.

    borders: the outer edge of each separate piece; seen: the surface. A gap is taken to be spanned
    by a surface no steeper than 45 degrees, as a hole is: half the gap's width to either side of
    it. A notch in one border is spanned likewise, 25 mm to either side at the most; notches less
    than about 20 mm wide are not looked at.
    """
    if not borders:
        return ()
    points, owner, step = _along([one.loop for one in borders])
    found = _simplices(points)
    apart = (owner[found] != owner[found][:, :1]).any(axis=1)
    middle = points[found].mean(axis=1)
    away = seen.distances_mm(middle)
    within = 2 * np.minimum(away, max(one.edge_reach_mm for one in borders))
    kept = apart | (away > step)
    if not kept.any():
        return ()
    width = np.where(apart, _widths(points, owner, found), within)[kept]
    mixed, middle = found[kept], middle[kept]
    size = _CELL_MM
    while True:
        keys = np.floor(middle / size).astype(np.int64)
        cells, group = np.unique(keys, axis=0, return_inverse=True)
        if len(cells) <= _MOST_CELLS:
            break
        size *= _GROWTH
    made = []
    for rows in _rows_of(group.reshape(-1), len(cells)):
        corners = hull_corners(points[np.unique(mixed[rows])])
        reach = float(width[rows].max()) / 2
        way = spread(corners)[0][2]
        # The points stand a step apart at most: what bulges between two of them is inside as well.
        aside = [corners + side * reach * way for side in (-1.0, 1.0)]
        grown = np.concatenate(aside)[:, None] + min(step, reach) / 2 * _CUBE
        made.append(hull_corners(grown.reshape(-1, 3)))
    return tuple(made)


def _along(loops: Sequence[Floats]) -> tuple[Floats, Numbers, float]:
    """Points (n, 3) along closed lines, the line of each (n,), and how far apart at most, mm."""
    sides = [np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1) for loop in loops]
    whole = sum(float(one.sum()) for one in sides)
    step = max(_STEP_MM, whole / _MOST_POINTS)
    points, owner = [], []
    for number, (loop, side) in enumerate(zip(loops, sides, strict=True)):
        at = np.concatenate([[0.0], np.cumsum(side)])
        # Three points at least: a bit of a few millimetres is a piece too.
        count = max(3, int(np.ceil(at[-1] / step)))
        where = np.linspace(0.0, at[-1], count, endpoint=False)
        round_again = np.concatenate([loop, loop[:1]])
        made = np.stack([np.interp(where, at, round_again[:, k]) for k in range(3)], axis=1)
        if len(loop) <= count:
            made = np.unique(np.concatenate([made, loop]), axis=0)
        points.append(made)
        owner.append(np.full(len(made), number, dtype=np.int64))
    return np.concatenate(points), np.concatenate(owner), step


def _simplices(points: Floats) -> Numbers:
    """Delaunay's tetrahedra (m, 4) of points, or his triangles (m, 3) where they are flat."""
    from scipy.spatial import Delaunay, QhullError

    ways, low, high = spread(points)
    thick = high - low
    try:
        if thick[2] > _FLAT_MM:
            return np.asarray(Delaunay(points).simplices, dtype=np.int64)
        if thick[1] > _FLAT_MM:
            return np.asarray(Delaunay((points @ ways.T)[:, :2]).simplices, dtype=np.int64)
    except QhullError:
        pass
    return np.arange(len(points), dtype=np.int64)[None]  # in one heap


def _widths(points: Floats, owner: Numbers, simplices: Numbers) -> Floats:
    """How far (m,) each simplex's corners on different pieces are apart, the nearest two, mm."""
    if simplices.shape[1] > _MOST_CORNERS:
        low, high = points.min(axis=0), points.max(axis=0)
        return np.array([float(np.linalg.norm(high - low))])
    count = simplices.shape[1]
    width = np.full(len(simplices), np.inf)
    for i in range(count):
        for j in range(i):
            a, b = simplices[:, i], simplices[:, j]
            length = np.linalg.norm(points[a] - points[b], axis=1)
            width = np.where(owner[a] != owner[b], np.minimum(width, length), width)
    return width


def _rows_of(group: NDArray[np.integer], count: int) -> list[Numbers]:
    order = np.argsort(group, kind="stable")
    ends = np.searchsorted(group[order], np.arange(1, count))
    return [rows.astype(np.int64) for rows in np.split(order, ends)]
