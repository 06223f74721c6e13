"""Mending that cannot make room: welding corners, dropping what is there twice, closing slivers.

Nothing is taken away here unless what stays covers it, to within the movement that is returned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Edges, Numbers, compacted, edges_of
from noseroom.geometry.scan_types import Floats

WELD_MM = 0.01
"""Corners closer than this are one; far below what any scanner tells apart (common practice)."""
SLIVER_MM = 0.01
"""A triangle less high than this, over its longest side, is a sliver."""
_PASSES = 6


@dataclass(eq=False)
class Welded:
    """A mesh whose neighbours share corners.

    moved_mm: the most that any point of the surface was moved. twice, slivers: triangles of each
    sort that were found; left: slivers that had to stay.
    """

    vertices: Floats
    triangles: Numbers
    moved_mm: float
    twice: int
    slivers: int
    left: int


def welded(vertices: Floats, triangles: Numbers) -> Welded:
    """Weld corners, drop triangles that are there twice, and close slivers.

    vertices: (n, 3) mm, finite where a triangle uses them. triangles: (m, 3).
    """
    points, given = _same(vertices, triangles)
    twin, moved = _close(points)
    tri = twin[given]
    flat = _flat(tri)
    slivers = int(flat.sum())
    # What was a needle is a line now, and a speck a point; where no triangle has it, it stays.
    alone = flat & ~_flat(given)
    if flat.all():
        alone &= (tri != tri[:, :1]).any(axis=1)
    alone[alone] = ~_covered(tri[alone], tri[~flat])
    needles = given[alone]
    slivers -= len(needles)
    own = len(points) + np.arange(needles.size).reshape(-1, 3)
    points = np.concatenate([points, points[needles.ravel()]])
    tri, twice = _once(np.concatenate([tri[~flat], own]))
    moved_more = 0.0
    counted = False
    left = 0
    for _ in range(_PASSES):
        height = heights(points, tri)
        thin = height < SLIVER_MM
        left = int(thin.sum())
        if not counted:
            slivers, counted = slivers + left, True
        if not left:
            break
        before = len(tri)
        tri, worst = _close_slivers(points, tri, thin, height)
        moved_more += worst
        tri = tri[~_flat(tri)]
        tri, _ = _once(tri)
        if worst == 0.0 and len(tri) == before:
            break
    used, numbers = compacted(tri)
    return Welded(points[used], numbers, moved + moved_more, twice, slivers, left)


def heights(vertices: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Height (m,) of each triangle over its longest side, mm."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    double = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    longest = np.sqrt(
        np.maximum.reduce([((q - p) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))])
    )
    height: Floats = np.divide(double, longest, out=np.zeros_like(double), where=longest > 0)
    return height


def _held(
    row: int, side: int, edges: Edges, order: Numbers, starts: Numbers, thin: NDArray[np.bool_]
) -> bool:
    """Whether a triangle's two other sides belong to triangles that are no slivers."""
    for edge in (int(edges.of_side[row, (side + k) % 3]) for k in (1, 2)):
        if edges.uses[edge] != 2:
            return False
        mates = order[starts[edge] : starts[edge] + 2] // 3
        if thin[mates[mates != row]].any():
            return False
    return True


def _same(vertices: Floats, triangles: Numbers) -> tuple[Floats, Numbers]:
    """Make corners with exactly the same coordinates one."""
    used, tri = compacted(triangles)
    points = vertices[used] + 0.0  # -0.0 becomes 0.0
    order = np.lexsort(points.T)
    ranked = points[order]
    new = np.concatenate([[True], (ranked[1:] != ranked[:-1]).any(axis=1)])
    number = np.empty(len(points), np.int64)
    number[order] = np.cumsum(new) - 1
    return ranked[new], number[tri]


def _close(points: Floats) -> tuple[Numbers, float]:
    """The corner that each corner becomes, and the most that one moves.

    A corner moves once, to a corner that stays: a chain of near corners is not pulled into one.
    """
    from scipy.spatial import cKDTree

    number = np.arange(len(points))
    pairs = cKDTree(points).query_pairs(WELD_MM, output_type="ndarray")
    if not len(pairs):
        return number, 0.0
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    twin = number.copy()
    np.minimum.at(twin, high, low)
    stays = twin == number
    # Of the corners that have a lower neighbour, those go whose neighbour stays.
    goes = ~stays & stays[twin]
    twin = np.where(goes, twin, number)
    return twin, float(np.linalg.norm(points[twin] - points, axis=1).max())


def _flat(triangles: Numbers) -> NDArray[np.bool_]:
    """Which triangles have two corners in one; their sides are then one line there and back."""
    flat: NDArray[np.bool_] = (triangles == np.roll(triangles, 1, axis=1)).any(axis=1)
    return flat


def _covered(lines: Numbers, triangles: Numbers) -> NDArray[np.bool_]:
    """Whether triangles have, as a side or a corner, what is left of flat ones (k, 3)."""
    start, end = lines.min(axis=1, initial=1 << 40), lines.max(axis=1, initial=0)
    # Only triangles that have a corner in common can.
    common = np.zeros(max(int(one.max(initial=0)) for one in (lines, triangles)) + 1, bool)
    common[lines] = True
    ends = edges_of(triangles[common[triangles].any(axis=1)]).ends
    corner = ends[:, 0] << 32 | ends[:, 0], ends[:, 1] << 32 | ends[:, 1]
    keys = np.concatenate([ends[:, 0] << 32 | ends[:, 1], *corner])
    covered: NDArray[np.bool_] = np.isin(start << 32 | end, keys)
    return covered


def _once(triangles: Numbers) -> tuple[Numbers, int]:
    """Keep one of triangles with the same corners, and tell how many went."""
    ranked = np.sort(triangles, axis=1)
    order = np.lexsort(ranked.T)
    same = (ranked[order][1:] == ranked[order][:-1]).all(axis=1)
    keep = np.ones(len(triangles), bool)
    keep[order[1:][same]] = False
    return triangles[keep], int(same.sum())


def _close_slivers(
    points: Floats, tri: Numbers, thin: NDArray[np.bool_], height: Floats
) -> tuple[Numbers, float]:
    """Close slivers over their longest side: the neighbour there takes the third corner in.

    The neighbour (a, b, d) becomes (a, c, d) and (c, b, d), which moves the surface by the
    sliver's height. At a free edge the sliver just goes, if its other sides stay without it.
    Returns the triangles and the movement.
    """
    edges = edges_of(tri)
    corner = points[tri]
    lengths = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
    rows = np.flatnonzero(thin)
    side = lengths[rows].argmax(axis=1)
    edge = edges.of_side[rows, side]
    order = np.argsort(edges.of_side.ravel(), kind="stable")
    starts = np.concatenate([[0], np.cumsum(edges.uses)])[:-1]
    first, uses = starts[edge], edges.uses[edge]
    one = order[first] // 3
    two = order[np.minimum(first + 1, len(order) - 1)] // 3
    other = np.where(one == rows, two, one)
    third = tri[rows, (side + 2) % 3]
    known = edges.ends[:, 0] << 32 | edges.ends[:, 1]  # rising, as the edges are
    made: set[int] = set()
    out = np.zeros(len(tri), bool)
    busy: set[int] = set()
    added: list[tuple[int, int, int]] = []
    worst = 0.0
    for k in np.argsort(height[rows], kind="stable").tolist():
        row = int(rows[k])
        if row in busy:
            continue
        if uses[k] == 1:
            if not _held(row, int(side[k]), edges, order, starts, thin):
                continue
            out[row] = True
            busy.add(row)
            worst = max(worst, float(height[row]))
            continue
        mate = int(other[k])
        if uses[k] != 2 or mate in busy:
            continue
        a, b, c = int(tri[row, side[k]]), int(tri[row, (side[k] + 1) % 3]), int(third[k])
        d = int(tri[mate].sum()) - a - b
        across = min(c, d) << 32 | max(c, d)
        place = int(np.searchsorted(known, across))
        if d == c or across in made or (place < len(known) and known[place] == across):
            continue
        ahead = tri[mate].tolist()
        # Keep the neighbour's own sense of rotation, which may not be the sliver's.
        turned = ahead[(ahead.index(a) + 1) % 3] == b
        added += [(a, c, d), (c, b, d)] if turned else [(c, a, d), (b, c, d)]
        made.add(across)
        out[[row, mate]] = True
        busy |= {row, mate}
        worst = max(worst, float(height[row]))
    more = np.array(added, dtype=np.int64).reshape(-1, 3)
    return np.concatenate([tri[~out], more]), worst
