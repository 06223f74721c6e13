"""What a scan does not show, as convex cells: it may be full of metal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.geometry.scan_cells import scan_cells
from noseroom.geometry.scan_edges import pieces_of
from noseroom.geometry.scan_filled import enclosed_cells
from noseroom.geometry.scan_holes import cap_of, ends_of
from noseroom.geometry.scan_hull import hull_corners
from noseroom.geometry.scan_types import Floats, Hole, Scan

_ONE_CELL_MM = 40.0
_CELLS_A_HOLE = 40
_CELLS_A_BORDER = 100
_MOST_HOLE_CELLS = 300


def unseen_cells(scan: Scan, *, border_open: bool) -> tuple[Floats, ...]:
    """Convex cells, their corners (k, 3) each in mm, that together contain the unknown space.

    A hole is taken to be spanned by a surface no steeper than 45 degrees: half the hole's width to
    either side of its cap contains every such surface. What encloses a volume (holes spanned) is
    full. Where the scan ends, nothing is there with `border_open`; without it, the border is
    spanned too, and what the surface and the caps enclose is full.

    The scan's own triangles are in it only where they bound what is full: see `scan_cells`.
    `Scan.deflection_mm` is not allowed for here either.
    """
    cells = _hole_cells(scan.holes)
    if not border_open:
        for edge in scan.border:
            cells += scan_cells(*edge.cap, most=_CELLS_A_BORDER)
    return tuple(cells) + enclosed_cells(_closed_up(scan, border_open))


def _hole_cells(holes: Sequence[Hole]) -> list[Floats]:
    """Each hole's cap, spread to both sides; the least of very many are put together."""
    made: list[Floats] = []
    small: list[Hole] = []
    for number, hole in enumerate(holes):
        if len(made) + _CELLS_A_HOLE > _MOST_HOLE_CELLS:
            small = list(holes[number:])
            break
        made += _spread_cap(hole)
    size = _ONE_CELL_MM
    while small:
        keys = np.floor([hole.loop.mean(axis=0) / size for hole in small]).astype(np.int64)
        found, owner = np.unique(keys, axis=0, return_inverse=True)
        if len(found) > _MOST_HOLE_CELLS:
            size *= 1.5
            continue
        groups: list[list[Floats]] = [[] for _ in found]
        for hole, group in zip(small, owner.reshape(-1).tolist(), strict=True):
            groups[group] += _spread_cap(hole)
        return made + [hull_corners(np.concatenate(group)) for group in groups]
    return made


def _spread_cap(hole: Hole) -> list[Floats]:
    vertices, triangles = hole.cap
    parts = [vertices]
    if hole.length_mm > _ONE_CELL_MM:
        parts = list(scan_cells(vertices, triangles, size_mm=_ONE_CELL_MM, most=_CELLS_A_HOLE))
    corners = vertices[triangles]
    square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    whole = square.sum(axis=0)
    reach = hole.width_mm / 2
    made = []
    for part in parts:
        ways = [one for one in (_unit(whole), _unit(_normal_of(part))) if one is not None]
        moved = [part + side * reach * way for way in ways for side in (-1.0, 1.0)]
        made.append(hull_corners(np.concatenate(moved or [part])))
    return made


def _normal_of(points: Floats) -> Floats:
    """The direction in which points (k, 3) spread least."""
    away = points - points.mean(axis=0)
    way: Floats = np.linalg.eigh(away.T @ away)[1][:, 0]
    return way


def _unit(vector: Floats) -> Floats | None:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 0 else None


def _closed_up(scan: Scan, border_open: bool) -> Floats:
    """Triangles (m, 3, 3) of all pieces that enclose something once their ends are spanned."""
    ends = ends_of(scan.vertices, scan.triangles)
    _, piece = pieces_of(scan.triangles)
    open_pieces = [end.piece for end in ends if end.outer and border_open]
    kept = ~np.isin(piece, open_pieces)
    parts = [scan.vertices[scan.triangles[kept]]]
    for end in ends:
        if end.piece not in open_pieces:
            vertices, triangles = cap_of(scan.vertices[end.corners])
            parts.append(vertices[triangles])
    return np.concatenate(parts)
