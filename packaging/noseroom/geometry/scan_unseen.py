"""What a scan does not show, as convex cells: it may be full of metal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.geometry.scan_between import cells_between
from noseroom.geometry.scan_cells import scan_cells
from noseroom.geometry.scan_edges import pieces_of
from noseroom.geometry.scan_filled import enclosed_cells
from noseroom.geometry.scan_holes import cap_of, ends_of
from noseroom.geometry.scan_hull import hull_corners
from noseroom.geometry.scan_samples import Seen
from noseroom.geometry.scan_types import Floats, Hole, Scan

_ONE_CELL_MM = 40.0
_CELLS_A_HOLE = 40
_CELLS_A_BORDER = 100
_MOST_HOLE_CELLS = 300
_MANY = 500
"""More holes than this are not each given a hull of their own first."""
_CUBE = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)

_Reach = tuple[Hole, float]
"""A line, and how far from its cap what spans it is taken to stay, mm."""


def unseen_cells(scan: Scan, *, border_open: bool) -> tuple[Floats, ...]:
    """Convex cells, their corners (k, 3) each in mm, that together contain the unknown space.

    A hole is taken to be spanned by a surface no steeper than 45 degrees: half the hole's width to
    either side of its cap contains every such surface; a slot's length counts too, see
    `Hole.reach_mm`. What encloses a volume (holes spanned) is full. Where the scan ends, nothing is
    there with `border_open`; without it, each border is spanned too (see `Hole.edge_reach_mm`;
    no further than the cap is from what was seen),
    what the surface and the caps enclose is full, and so is what lies between separate open
    pieces or in a notch of one, half its width to either side. Where triangles were lost, nothing
    is known.

    The scan's own triangles are in it only where they bound what is full: see `scan_cells`.
    `Scan.deflection_mm` is not allowed for here either.
    """
    cells = _hole_cells([(one, one.reach_mm) for one in scan.holes], _CELLS_A_HOLE)
    cells += scan.lost
    if scan.border and not border_open:
        ends = [(one, one.edge_reach_mm) for one in scan.border]
        # Over what was seen (a flat panel's border spans just that) a cap need not be spread.
        seen = Seen(scan.vertices, scan.triangles)
        cells += _hole_cells(ends, _CELLS_A_BORDER, seen)
        cells += cells_between(scan.border, seen)
    return tuple(cells) + enclosed_cells(_closed_up(scan, border_open))


def _hole_cells(holes: Sequence[_Reach], most: int, seen: Seen | None = None) -> list[Floats]:
    """Each hole's cap, spread to both sides; the least of very many are put together."""
    made: list[Floats] = []
    small: list[_Reach] = []
    for number, hole in enumerate(holes):
        if len(made) + most > _MOST_HOLE_CELLS:
            small = list(holes[number:])
            break
        made += _spread_cap(*hole, most, seen)
    size = _ONE_CELL_MM
    middles = np.array([hole.loop.mean(axis=0) for hole, _ in small])
    while small:
        keys = np.floor(middles / size).astype(np.int64)
        found, owner = np.unique(keys, axis=0, return_inverse=True)
        if len(found) > _MOST_HOLE_CELLS:
            size *= 1.5
            continue
        groups: list[list[_Reach]] = [[] for _ in found]
        for hole, group in zip(small, owner.reshape(-1).tolist(), strict=True):
            groups[group].append(hole)
        return made + [_one_cell(group, most, len(small) > _MANY, seen) for group in groups]
    return made


def _one_cell(holes: Sequence[_Reach], most: int, many: bool, seen: Seen | None) -> Floats:
    """A cell that contains the spread caps of all these holes; a larger one where time is short."""
    if not many:
        parts = [part for hole in holes for part in _spread_cap(*hole, most, seen)]
        return hull_corners(np.concatenate(parts))
    corners = hull_corners(np.concatenate([hole.cap[0] for hole, _ in holes]))
    reach = max(one for _, one in holes)
    return hull_corners((corners[:, None] + reach * _CUBE).reshape(-1, 3))


def _spread_cap(hole: Hole, most_reach: float, most: int, seen: Seen | None) -> list[Floats]:
    vertices, triangles = hole.cap
    parts = [vertices]
    if hole.length_mm > _ONE_CELL_MM:
        parts = list(scan_cells(vertices, triangles, size_mm=_ONE_CELL_MM, most=most))
    corners = vertices[triangles]
    square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    whole = square.sum(axis=0)
    made = []
    for part in parts:
        reach = most_reach if seen is None else min(most_reach, seen.farthest_mm(part))
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
    open_pieces = {end.piece for end in ends if end.outer and border_open}
    kept = ~np.isin(piece, list(open_pieces))
    parts = [scan.vertices[scan.triangles[kept]]]
    for number, end in enumerate(ends):
        if end.piece in open_pieces:
            continue
        line = scan.vertices[end.corners]
        if number < _MANY:
            vertices, triangles = cap_of(line)
            parts.append(vertices[triangles])
        else:  # any surface that spans it will do
            middle = np.broadcast_to(line.mean(axis=0), line.shape)
            parts.append(np.stack([line, np.roll(line, -1, axis=0), middle], axis=1))
    return np.concatenate(parts)
