"""What closed surfaces enclose, as convex cells: flooded from outside, on two grids.

A fine grid tells what the flood reaches. In a cell of the coarse grid that a surface runs through,
every outermost point of what is enclosed is either on the surface or a corner of the cell, so the
hull of both contains it; cells without a surface are full or empty as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_clip import TooManyPiecesError, cut_to_grid
from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_hull import hull_corners
from noseroom.geometry.scan_types import Floats

_MOST_SURFACE_CELLS = 300
_MOST_FINE_CELLS = 6_000_000
_FINER = 4
_GROWTH = 1.2
_FIRST_SHARE = 1 / 24
_SMALLEST_MM = 8.0
# The grid begins this share of a cell outside, so that no plane runs along a face of the scan.
_OFFSET = np.array([0.4142, 0.4358, 0.3819])
_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])


def enclosed_cells(pieces: Floats) -> tuple[Floats, ...]:
    """Convex cells, corners (k, 3) each in mm, that contain all that surfaces enclose.

    pieces: (m, 3, 3) triangles of closed surfaces, however they are turned. What cannot be told
    is taken to be enclosed.
    """
    if not len(pieces):
        return ()
    low = pieces.reshape(-1, 3).min(axis=0)
    span = pieces.reshape(-1, 3).max(axis=0) - low
    size = max(float(span.max()) * _FIRST_SHARE, _SMALLEST_MM)
    while True:
        # One empty cell all round, for the flood to run in.
        origin = low - (1 + _OFFSET) * size
        shape = np.ceil(span / size).astype(np.int64) + 4
        growth = _GROWTH
        if int(shape.prod()) * _FINER**3 <= _MOST_FINE_CELLS:
            try:
                cut, cells = cut_to_grid(pieces, size, origin)
                found, owner = np.unique(cells, axis=0, return_inverse=True)
                if len(found) <= _MOST_SURFACE_CELLS:
                    _, fine_cells = cut_to_grid(cut, size / _FINER, origin)
                    break
                growth = max(growth, 0.9 * float(len(found) / _MOST_SURFACE_CELLS) ** 0.5)
            except TooManyPiecesError:
                pass
        size *= growth
    free, reached = _flooded(fine_cells, shape * _FINER)
    order = np.argsort(owner.reshape(-1), kind="stable")
    ends = np.flatnonzero(np.diff(owner.reshape(-1)[order])) + 1
    made = [
        hull_corners(np.concatenate([part.reshape(-1, 3), full]))
        for part, full in zip(
            np.split(cut[order], ends),
            _full_corners(found, free, reached, pieces, origin, size),
            strict=True,
        )
    ]
    return (*made, *_boxes(found, reached, origin, size))


def _flooded(cells: Numbers, shape: Numbers) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which fine cells no surface is in, and which of them the flood reaches from outside.

    It runs through cells' sides: from middle to middle no way crosses a surface that is in neither.
    """
    from scipy.ndimage import label

    free = np.ones(tuple(shape.tolist()), bool)
    free[tuple(np.clip(cells, 0, shape - 1).T)] = False
    names, _ = label(free)
    return free, names == names[0, 0, 0]


def _full_corners(
    cells: Numbers,
    free: NDArray[np.bool_],
    reached: NDArray[np.bool_],
    pieces: Floats,
    origin: Floats,
    size: float,
) -> Iterator[Floats]:
    """For each coarse cell, those of its corners (k, 3) mm that may be enclosed."""
    spots, number = np.unique(
        (cells[:, None] + _CORNERS).reshape(-1, 3), axis=0, return_inverse=True
    )
    points = origin + spots * size
    wet, dry = np.zeros(len(spots), bool), np.zeros(len(spots), bool)
    for step in _CORNERS - 1:
        around = tuple((spots * _FINER + step).T)
        wet |= reached[around]
        dry |= free[around] & ~reached[around]
    # Where a surface is in all eight fine cells round a corner, the grid cannot tell.
    full = dry & ~wet
    near = np.flatnonzero(~dry & ~wet)
    full[near] = [_may_be_inside(point, pieces) for point in points[near]]
    for corners in number.reshape(-1, 8):
        yield points[corners[full[corners]]]


def _may_be_inside(point: Floats, pieces: Floats) -> bool:
    """Whether a ray from the point along any axis leaves an odd number of times."""
    for axis in range(3):
        flat = np.delete(pieces, axis, axis=2) - np.delete(point, axis)
        hit = (flat.min(axis=1) <= 0).all(axis=1) & (flat.max(axis=1) >= 0).all(axis=1)
        a, b, c = (flat[hit, k] for k in range(3))
        # Twice the areas between the point and each side; a ray goes through where all agree.
        sides = ((b, c), (c, a), (a, b))
        areas = np.stack([p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] for p, q in sides])
        whole = areas.sum(axis=0)
        through = ((areas > 0).all(axis=0) | (areas < 0).all(axis=0)) & (whole != 0)
        share = areas[:, through] / whole[through]
        depth = (share.T * pieces[hit][through][:, :, axis]).sum(axis=1) - point[axis]
        if int((depth > 0).sum()) % 2:
            return True
    return False


def _boxes(
    surface: Numbers, reached: NDArray[np.bool_], origin: Floats, size: float
) -> list[Floats]:
    """Full cells without a surface, put together into boxes, corners (8, 3) each."""
    coarse = np.array(reached.shape) // _FINER
    split = reached.reshape(coarse[0], _FINER, coarse[1], _FINER, coarse[2], _FINER)
    full: NDArray[np.bool_] = np.logical_not(split.any(axis=(1, 3, 5)))
    full[tuple(surface.T)] = False
    made: list[Floats] = []
    while full.any():
        low = np.argwhere(full)[0]
        high = low + 1
        for axis in (2, 1, 0):
            while high[axis] < full.shape[axis]:
                layer = [slice(int(a), int(b)) for a, b in zip(low, high, strict=True)]
                layer[axis] = slice(int(high[axis]), int(high[axis]) + 1)
                if not full[tuple(layer)].all():
                    break
                high[axis] += 1
        full[tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))] = False
        made.append(origin + size * np.where(_CORNERS.astype(bool), high, low))
    return made
