"""Cutting triangles along the planes of a grid, so that each lies in one cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_types import Floats

_MOST_PIECES = 4_000_000
_FAR = 1 << 40


class TooManyPiecesError(Exception):
    """The grid is so fine that the pieces would fill the memory."""


def cut_to_grid(pieces: Floats, size_mm: float, origin: Floats) -> tuple[Floats, Numbers]:
    """Cut pieces (m, 3, 3) along the planes origin + k size_mm of each axis.

    Returns the pieces (k, 3, 3), which together are the same surface, and the cell (k, 3) of each:
    cell c reaches from origin + c size_mm to origin + (c + 1) size_mm.

    Raises:
        TooManyPiecesError: take larger cells.
    """
    cells = np.zeros((len(pieces), 3), np.int64)
    if not len(pieces):
        return pieces, cells
    for axis in range(3):
        done: list[tuple[Floats, Numbers]] = []
        first = np.full(len(pieces), -_FAR)
        last = np.full(len(pieces), _FAR)
        while len(pieces):
            # Which side of a plane a piece was cut to is known; rounding must not move it back.
            along = (pieces[:, :, axis] - origin[axis]) / size_mm
            low = np.clip(np.floor(along.min(axis=1)).astype(np.int64), first, last)
            high = np.clip(np.ceil(along.max(axis=1)).astype(np.int64) - 1, low, last)
            whole = low == high
            cells[whole, axis] = low[whole]
            done.append((pieces[whole], cells[whole]))
            rest = ~whole
            if 3 * int(rest.sum()) > _MOST_PIECES:
                raise TooManyPiecesError
            low, high, cells = low[rest], high[rest], cells[rest]
            at = (low + high + 1) // 2
            pieces, source, above = _cut(pieces[rest], axis, origin[axis] + at * size_mm)
            cells, at = cells[source], at[source]
            first = np.where(above, at, low[source])
            last = np.where(above, high[source], at - 1)
        pieces = np.concatenate([one for one, _ in done])
        cells = np.concatenate([one for _, one in done])
    return pieces, cells


def _cut(pieces: Floats, axis: int, plane: Floats) -> tuple[Floats, Numbers, NDArray[np.bool_]]:
    """Cut each piece at its plane: pieces, what each is of, and whether it is above the plane."""
    height = pieces[:, :, axis] - plane[:, None]
    above = height > 0
    # By rounding, a piece may only seem to reach to both sides.
    count = above.sum(axis=1)
    whole = (count == 0) | (count == 3)
    left, left_above = pieces[whole], count[whole] == 3
    rows = np.flatnonzero(~whole)
    pieces, height, above, plane = pieces[rows], height[rows], above[rows], plane[rows]
    one = above.sum(axis=1) == 1
    # Turn each piece so that its first corner is alone on its side of the plane.
    alone = np.where(one, above.argmax(axis=1), (~above).argmax(axis=1))
    each = np.arange(len(pieces))
    order = (alone[:, None] + np.arange(3)) % 3
    p, h = pieces[each[:, None], order], height[each[:, None], order]
    drop = h[:, :1] - h[:, 1:]
    share = np.clip(h[:, :1] / np.where(drop == 0, 1.0, drop), 0.0, 1.0)
    q, r = (p[:, 0] + share[:, k, None] * (p[:, k + 1] - p[:, 0]) for k in range(2))
    # On the plane to the last bit, so that a piece never reaches past it by rounding.
    q[:, axis] = r[:, axis] = plane
    made = np.concatenate(
        [
            np.stack([p[:, 0], q, r], axis=1),
            np.stack([q, p[:, 1], p[:, 2]], axis=1),
            np.stack([q, p[:, 2], r], axis=1),
        ]
    )
    source = np.concatenate([rows, rows, rows])
    upper = np.concatenate([one, ~one, ~one])
    same = (made == np.roll(made, 1, axis=1)).all(axis=2).any(axis=1)
    return (
        np.concatenate([left, made[~same]]),
        np.concatenate([np.flatnonzero(whole), source[~same]]),
        np.concatenate([left_above, upper[~same]]),
    )
