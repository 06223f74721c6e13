"""Convex cells that together contain the triangles of a scan."""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_clip import TooManyPiecesError, cut_to_grid
from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_hull import hull_corners, spread
from noseroom.geometry.scan_types import Floats
from noseroom.geometry.scan_weld import heights

MOST_CELLS = 400
_THIN_MM = 2.0
_SMALL_MM = 10.0
_GROWTH = 1.25
_TINY_MM = 1e-9
"""What is cut off a triangle and lower than this is an edge of what is left of it."""


def scan_cells(
    vertices: Floats,
    triangles: NDArray[np.integer],
    *,
    size_mm: float = 40.0,
    most: int = MOST_CELLS,
) -> tuple[Floats, ...]:
    """Cover triangles with convex cells.

    vertices: (n, 3) mm; triangles: (m, 3). size_mm: of the cells to begin with; larger where there
    would be more than `most`. The thickest are then divided, until all are under 2 mm thick or
    10 mm large, or there are `most`.

    Returns the corners (k, 3) of each cell. The convex hulls together contain every triangle; a
    flat cell's hull may be flat, and that of a triangle without width a line.
    The surface as it stood in the file may be `Scan.deflection_mm` outside.
    """
    if not len(triangles):
        return ()
    pieces = vertices[triangles]
    thin = heights(vertices, triangles) < _TINY_MM
    origin = pieces.reshape(-1, 3).min(axis=0)
    a, b, c = (pieces[:, k] for k in range(3))
    area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2
    # Cells that a surface so large cannot do with need not be tried.
    size = max(float(size_mm), 0.5 * (area / most) ** 0.5)
    while True:
        try:
            cut, cells = _cut(pieces[~thin], size, origin)
            more, more_cells = cut_to_grid(pieces[thin], size, origin)
        except TooManyPiecesError:
            size *= 2 * _GROWTH
            continue
        parts, lows = _by_cell(cut, cells)
        wires, _ = _by_cell(more, more_cells)
        count = len(parts) + len(wires)
        if count <= most:
            break
        size *= max(_GROWTH, 0.9 * (count / most) ** 0.5)
    groups = [_Group(part, size, origin + at * size) for part, at in zip(parts, lows, strict=True)]
    kept = [group.points for group in _refined(groups, most - len(wires))]
    kept += [wire.reshape(-1, 3) for wire in wires]
    return tuple(hull_corners(points) for points in kept)


class _Group:
    """The pieces in one cell of a grid, (k, 3, 3), and the cell's low corner."""

    def __init__(self, pieces: Floats, size: float, low: Floats) -> None:
        self.pieces, self.size, self.low = pieces, size, low
        self.points = pieces.reshape(-1, 3)
        _, least, most = spread(self.points)
        self.thick = float((most - least)[2])

    def halves(self) -> list[_Group]:
        """The same pieces in cells of half the size."""
        half = self.size / 2
        cut, cells = _cut(self.pieces, half, self.low)
        parts, lows = _by_cell(cut, cells)
        return [_Group(p, half, self.low + at * half) for p, at in zip(parts, lows, strict=True)]


def _cut(pieces: Floats, size: float, origin: Floats) -> tuple[Floats, Numbers]:
    """`cut_to_grid`, without what is left of triangles that only touch a plane."""
    cut, cells = cut_to_grid(pieces, size, origin)
    numbers = np.arange(3 * len(cut)).reshape(-1, 3)
    kept = heights(cut.reshape(-1, 3), numbers) >= _TINY_MM
    return (cut[kept], cells[kept]) if kept.any() else (cut, cells)


def _by_cell(pieces: Floats, cells: Numbers) -> tuple[list[Floats], Numbers]:
    """The pieces in each cell, and the cells (k, 3)."""
    found, owner = np.unique(cells, axis=0, return_inverse=True)
    owner = owner.reshape(-1)
    order = np.argsort(owner, kind="stable")
    ends = np.flatnonzero(np.diff(owner[order])) + 1
    return (np.split(pieces[order], ends) if len(pieces) else []), found


def _refined(groups: list[_Group], most: int) -> list[_Group]:
    """Divide the thickest cells as long as that is allowed and worth it."""
    number = 0
    heap: list[tuple[float, int, _Group]] = []
    done: list[tuple[int, _Group]] = []

    def put(group: _Group) -> None:
        nonlocal number
        number += 1
        if group.thick < _THIN_MM or group.size < _SMALL_MM:
            done.append((number, group))
        else:
            heapq.heappush(heap, (-group.thick, number, group))

    for group in groups:
        put(group)
    while heap and len(heap) + len(done) + 7 <= most:
        for half in heapq.heappop(heap)[2].halves():
            put(half)
    done += [(order, group) for _, order, group in heap]
    return [group for _, group in sorted(done, key=lambda one: one[0])]
