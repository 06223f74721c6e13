"""Which way up a piece is printed, and how much of it would then hang over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.split_solids import Solid, arrays, box_of

Floats = NDArray[np.float64]

UPS: tuple[tuple[int, int], ...] = ((0, 1), (0, -1), (1, 1), (1, -1), (2, 1), (2, -1))
"""Ways up: the axis of the part that points up on the bed, and its sense."""
_FLAT = 0.02
"""Slack on the cosine of an overhang's angle: a cone's facets are flatter than it by a hair."""
_ON_BED_MM = 0.02
_LEAST_FOOT = 0.02
"""A piece that stands on less of its footprint than this topples: from memory."""


@dataclass(frozen=True)
class Way:
    """One way up. size_mm: across, along and up on the bed. overhang_mm2: what needs support."""

    up: tuple[int, int]
    size_mm: tuple[float, float, float]
    overhang_mm2: float
    foot_mm2: float

    def fits(self, bed_mm: tuple[float, float, float]) -> bool:
        """Whether it goes onto a bed (width, depth, height), one way round or the other."""
        slack = 1e-6
        low, high = sorted(self.size_mm[:2])
        least, most = sorted(bed_mm[:2])
        return low <= least + slack and high <= most + slack and self.size_mm[2] <= bed_mm[2]


@dataclass(frozen=True, eq=False)
class Bore:
    """A bolt hole, so narrow that its roof prints without support. point, along: (3,)."""

    point: Floats
    along: Floats
    radius_mm: float

    def carried(self, place: Floats) -> Bore:
        """The same, carried by a placement (4, 4)."""
        turn = place[:3, :3]
        return Bore(turn @ self.point + place[:3, 3], turn @ self.along, self.radius_mm)

    def holds(self, points: Floats) -> NDArray[np.bool_]:
        """Which points (n, 3) lie on its wall or inside it."""
        off = points - self.point
        across = off - np.outer(off @ self.along, self.along)
        held: NDArray[np.bool_] = np.linalg.norm(across, axis=1) < self.radius_mm + _ON_BED_MM
        return held


def ways(solid: Solid, steepest_deg: float, bores: Sequence[Bore] = ()) -> list[Way]:
    """All six, with the area of undersides that are flatter than steepest_deg from upright.

    The roofs of bores are not counted.
    """
    vertices, triangles = arrays(solid)
    bored = np.zeros(len(triangles), dtype=bool)
    for bore in bores:
        bored |= bore.holds(vertices)[triangles].all(axis=1)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    double = np.cross(b - a, c - a)
    limit = math.cos(math.radians(steepest_deg)) + _FLAT
    box = box_of(solid)
    size = box[1] - box[0]
    found = []
    for axis, sense in UPS:
        across, along = size[(axis + 1) % 3], size[(axis + 2) % 3]
        down = -sense * double[:, axis]
        under = (down > limit * np.linalg.norm(double, axis=1)) & ~bored
        bed = box[0, axis] if sense > 0 else box[1, axis]
        heights = np.abs(vertices[:, axis] - bed)[triangles].max(axis=1)
        flat = under & (heights < _ON_BED_MM)
        area = np.linalg.norm(double, axis=1) / 2
        foot = float(down[flat].sum() / 2)
        hanging = float(area[under & ~flat].sum())
        if foot < _LEAST_FOOT * across * along:
            hanging += float(across * along)
        found.append(
            Way((axis, sense), (float(across), float(along), float(size[axis])), hanging, foot)
        )
    return found


def best_way(
    found: list[Way], let_off_mm2: float, bed_mm: tuple[float, float, float] | None = None
) -> Way | None:
    """The one with least overhang, then the lowest; None where none goes onto the bed."""
    fitting = [one for one in found if bed_mm is None or one.fits(bed_mm)]
    return min(fitting, key=lambda one: _rank(one, let_off_mm2), default=None)


def excess_mm2(way: Way, let_off_mm2: float) -> float:
    """Overhang beyond what is let off."""
    return max(0.0, way.overhang_mm2 - let_off_mm2)


def _rank(way: Way, let_off_mm2: float) -> tuple[float, float, float, int]:
    excess = round(excess_mm2(way, let_off_mm2))
    return excess, round(way.size_mm[2], 1), -round(way.foot_mm2), UPS.index(way.up)


def onto_bed(solid: Solid, up: tuple[int, int], bed_mm: tuple[float, float, float]) -> Floats:
    """Placement (4, 4) from the solid's frame onto the bed, its lowest corner at the origin."""
    axis, sense = up
    turn = np.zeros((3, 3))
    first, second = (axis + 1) % 3, (axis + 2) % 3
    # Upside down, the other two change places, so that left stays left.
    if sense < 0:
        first, second = second, first
    turn[0, first], turn[1, second], turn[2, axis] = 1.0, 1.0, float(sense)
    box = box_of(solid)
    size = (box[1] - box[0])[[first, second]]
    swap = (size[0] > bed_mm[0] or size[1] > bed_mm[1]) and size[0] <= bed_mm[1]
    if swap:
        turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]) @ turn
    corners = np.stack([turn @ box[0], turn @ box[1]])
    place = np.eye(4)
    place[:3, :3], place[:3, 3] = turn, -corners.min(axis=0)
    return place
