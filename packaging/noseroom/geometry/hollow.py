"""Hollows inside a solid that print without support: convex cells less a wall, under steep roofs.

A flat ceiling would have to be printed on air. Each hollow is therefore parted by thin upright ribs
into bays, and a bay closes towards its middle at 45 degrees: from each of its points the line that
climbs at 45 degrees to the bay's middle plane stays inside the cell. For a convex cell that is
again convex: every face of it that the line would leave through is tilted until it is steep enough.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.split_solids import Solid, box_of, box_solid, hull_solid

Floats = NDArray[np.float64]
Faces = tuple[Floats, Floats]
"""Outward unit normals (m, 3) and offsets (m,): inside is normal @ x <= offset."""

_TRIES = 4  # how often a cell is made smaller until its walls are thick enough
_SLACK_MM = 0.02
_MARGIN_MM = 5.0
_WHOLE = 0.9999


@dataclass(frozen=True)
class HollowRules:
    """wall_mm: round each hollow; rib_mm: between bays; least_mm: below it nothing is hollowed."""

    wall_mm: float
    rib_mm: float
    least_mm: float
    widest_mm: float


def faces_of(corners: Floats) -> Faces | None:
    """The faces of the hull of corners (n, 3); None where they lie in a plane."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        planes = np.unique(ConvexHull(corners).equations.round(9), axis=0)
    except QhullError:
        return None
    return planes[:, :3], -planes[:, 3]


def corners_of(faces: Faces, least_mm: float = 0.0) -> Floats | None:
    """Corners (n, 3) of what is inside all faces; None where no ball of least_mm finds room."""
    from scipy.optimize import linprog
    from scipy.spatial import HalfspaceIntersection

    normals, offsets = faces
    lengths = np.linalg.norm(normals, axis=1)
    found = linprog(
        (0.0, 0.0, 0.0, -1.0),
        A_ub=np.column_stack([normals, lengths]),
        b_ub=offsets,
        bounds=[(None, None)] * 3 + [(0.0, None)],
        method="highs",
    )
    if not found.success or found.x[3] <= max(least_mm / 2, 1e-6):
        return None
    made = HalfspaceIntersection(np.column_stack([normals, -offsets]), found.x[:3])
    corners: Floats = np.unique(made.intersections.round(7), axis=0)
    return corners


def hollows(
    solid: Solid, cells: Sequence[Floats], up: tuple[int, int], rules: HollowRules
) -> list[Solid]:
    """Hollows in a solid that is printed with an axis up; none is nearer its outside than a wall.

    cells: corners (n, 3) of convex pieces, roughly inside it; what juts out is made smaller.
    """
    box = box_of(solid)
    outside = box_solid(box[0] - _MARGIN_MM, box[1] + _MARGIN_MM) - solid
    walls: Faces = (
        np.vstack([np.eye(3), -np.eye(3)]),
        np.concatenate([box[1], -box[0]]),
    )
    found: list[Solid] = []
    for corners in cells:
        if (corners.min(axis=0) >= box[1]).any() or (corners.max(axis=0) <= box[0]).any():
            continue
        faces = faces_of(corners)
        if faces is None:
            continue
        within = np.vstack([faces[0], walls[0]]), np.concatenate([faces[1], walls[1]])
        room = _room(within, solid, outside, rules)
        if room is not None:
            found += [hull_solid(one) for one in _bays(room, up, rules)]
    return found


def _room(faces: Faces, solid: Solid, outside: Solid, rules: HollowRules) -> Faces | None:
    """The cell less a wall where it is near the solid's outside, less half a rib elsewhere."""
    normals, offsets = faces
    near = _near_outside(faces, solid, rules)
    if near is None:
        return None
    taken = np.where(near, rules.wall_mm, rules.rib_mm / 2)
    for _ in range(_TRIES):
        inner = normals, offsets - taken
        corners = corners_of(inner, rules.least_mm)
        if corners is None:
            return None
        gap = hull_solid(corners).min_gap(outside, rules.wall_mm + 1.0)
        if gap >= rules.wall_mm - _SLACK_MM:
            return inner
        taken = taken + (rules.wall_mm - gap)
    return None


def _near_outside(faces: Faces, solid: Solid, rules: HollowRules) -> NDArray[np.bool_] | None:
    """Which faces of a cell have less than a wall of the solid beyond them."""
    corners = corners_of(faces)
    if corners is None:
        return None
    normals, offsets = faces
    near = np.ones(len(offsets), dtype=bool)
    for k, (normal, offset) in enumerate(zip(normals, offsets, strict=True)):
        patch = corners[np.abs(corners @ normal - offset) < 1e-5]
        slab = hull_solid(np.vstack([patch, patch + (rules.wall_mm + _SLACK_MM) * normal]))
        volume = slab.volume()
        near[k] = volume <= 0.0 or (slab ^ solid).volume() < _WHOLE * volume
    return near


def _bays(room: Faces, up: tuple[int, int], rules: HollowRules) -> Iterator[Floats]:
    """Corners of each bay of a room, under its roof."""
    corners = corners_of(room)
    if corners is None:
        return
    size = np.ptp(corners, axis=0)
    axis = up[0]
    saved, across, count, width = _plan(size, axis, rules)
    if saved <= 0.0:
        return
    start = float(corners[:, across].min()) + width / 2
    for k in range(count):
        middle = start + k * (width + rules.rib_mm)
        bay = corners_of(_roofed(room, up, across, middle, width), rules.least_mm / 2)
        if bay is not None:
            yield bay


def hollow_mm3(
    box: Floats, cells: Sequence[Floats], up: tuple[int, int], rules: HollowRules
) -> float:
    """About how much of a piece, by its box (2, 3), would be hollow, the cells taken for boxes."""
    total = 0.0
    for corners in cells:
        low, high = np.maximum(corners.min(axis=0), box[0]), np.minimum(corners.max(axis=0), box[1])
        size = high - low - 2.0 * rules.wall_mm
        if (size >= rules.least_mm).all():
            total += float(size.prod()) * _plan(size, up[0], rules)[0]
    return total


def _plan(size: Floats, axis: int, rules: HollowRules) -> tuple[float, int, int, float]:
    """The share that stays hollow of a room (3,), across which axis, how many bays, how wide."""
    height = float(size[axis])
    plans = [
        (_saving(count * width / float(size[across]), width, height, rules), across, count, width)
        for across in ((axis + 1) % 3, (axis + 2) % 3)
        for count, width in [_shared(float(size[across]), height, rules)]
    ]
    return max(plans, key=lambda plan: (round(plan[0], 6), -plan[1]))


def _shared(size_mm: float, height_mm: float, rules: HollowRules) -> tuple[int, float]:
    """How many bays, and how wide: ribs and roofs together take the least when w = 2 √(rib h)."""
    wanted = min(max(2.0 * math.sqrt(rules.rib_mm * height_mm), rules.least_mm), rules.widest_mm)
    count = max(1, math.ceil((size_mm + rules.rib_mm) / (wanted + rules.rib_mm) - 1e-9))
    return count, (size_mm + rules.rib_mm) / count - rules.rib_mm


def _saving(between: float, width_mm: float, height_mm: float, rules: HollowRules) -> float:
    """The share of a room that stays hollow. between: the share that is no rib."""
    if width_mm < rules.least_mm or height_mm < rules.least_mm:
        return 0.0
    return between * (1.0 - width_mm / (4.0 * height_mm))


def _roofed(
    room: Faces, up: tuple[int, int], across: int, middle_mm: float, width_mm: float
) -> Faces:
    """One bay of a room with the roof over it."""
    normals, offsets = room
    side = np.zeros(3)
    side[across] = 1.0
    climb = np.zeros(3)
    climb[up[0]] = float(up[1])
    rows, ends = [normals], [offsets]
    for sense in (1.0, -1.0):
        # On this side the line climbs back towards the middle by as much as it is away from it.
        way = climb - sense * side
        leaves = normals @ way
        chosen = leaves > 1e-9
        rows.append(normals[chosen] + sense * leaves[chosen, None] * side)
        ends.append(offsets[chosen] + sense * leaves[chosen] * middle_mm)
        rows.append(sense * side[None])
        ends.append(np.array([sense * middle_mm + width_mm / 2]))
    return np.vstack(rows), np.concatenate(ends)
