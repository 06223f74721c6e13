"""Convex pieces that together contain a folded part, for what works on pieces.

Round edges are circumscribed, holes are filled, shallow notches too: nothing of the metal stands
out of the pieces.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import moved
from noseroom.geometry.outlines import Path, Point
from noseroom.geometry.sheet import Bend, Blank, folded_places

Floats = NDArray[np.float64]

_STEP_RAD = math.radians(22.5)
_ZONE_STEP_RAD = math.radians(30.0)
_NOTHING_MM2 = 1e-9
SHALLOW_MM = 0.5
"""Notches no deeper than this are filled rather than cut round."""


def folded_hulls(blank: Blank) -> list[Floats]:
    """Corners (n, 3), mm, of convex pieces that together contain the folded part.

    First those of its flanges, in their order, one or more each; then those of its bends.
    """
    return [part for parts in hulls_by_piece(blank) for part in parts]


def hulls_by_piece(blank: Blank) -> list[list[Floats]]:
    """The same as `folded_hulls`, a list for each flange, then one for each bend."""
    t, places = blank.thickness_mm, folded_places(blank)
    found: list[list[Floats]] = []
    for flange, place in zip(blank.flanges, places, strict=True):
        found.append([])
        for part in convex_parts(flange.outline):
            low = np.column_stack([part, np.zeros(len(part))])
            found[-1].append(moved(np.concatenate([low, low + np.array([0.0, 0.0, t])]), place))
    for bend in blank.bends:
        found.append([moved(part, places[bend.parent]) for part in _zone_parts(bend, t)])
    return found


def convex_parts(outline: Path, shallow_mm: float = SHALLOW_MM) -> list[Floats]:
    """Corners (n, 2) of convex polygons that together contain what an outline encloses.

    shallow_mm: notches that are no deeper are filled.
    """
    from shapely.geometry import Polygon

    return _convex(Polygon(_around(outline)), shallow_mm)


def _around(outline: Path) -> list[Point]:
    """A polygon outside of the outline: arcs that bulge out by tangents, others by chords."""
    corners: list[Point] = []
    for start, end, bulge in outline.sides():
        corners.append(start)
        if not bulge:
            continue
        angle = 4.0 * math.atan(bulge)
        chord = math.dist(start, end)
        radius = chord / 2.0 / math.sin(abs(angle) / 2.0)
        reach = chord / 2.0 / math.tan(angle / 2.0)
        cx = (start[0] + end[0]) / 2.0 - (end[1] - start[1]) / chord * reach
        cy = (start[1] + end[1]) / 2.0 + (end[0] - start[0]) / chord * reach
        first = math.atan2(start[1] - cy, start[0] - cx)
        count = max(1, math.ceil(abs(angle) / _STEP_RAD))
        step = angle / count
        if bulge > 0:
            out, shares = radius / math.cos(step / 2.0), [k + 0.5 for k in range(count)]
        else:
            out, shares = radius, [float(k) for k in range(1, count)]
        corners += [
            (cx + out * math.cos(first + step * k), cy + out * math.sin(first + step * k))
            for k in shares
        ]
    return corners


def _convex(polygon: Any, shallow_mm: float) -> list[Floats]:
    """Cut at the deepest corner that points in, along one of its sides, until none is left."""
    from shapely.geometry.polygon import orient

    corners = np.array(orient(polygon).exterior.coords)[:-1]
    before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
    (ux, uy), (vx, vy) = (corners - before).T, (after - corners).T
    turn = ux * vy - uy * vx
    hull = polygon.convex_hull
    inward = [(_depth(hull, corners[k]), k) for k in range(len(corners)) if turn[k] < 0]
    depth, k = max(inward, default=(0.0, 0))
    if depth <= shallow_mm:
        return [np.array(orient(hull).exterior.coords)[:-1]]
    cuts = [
        _cut(polygon, corners[k], way) for way in (corners[k] - before[k], after[k] - corners[k])
    ]
    parts = min(cuts, key=lambda some: (len(some), sum(one.convex_hull.area for one in some)))
    return [found for part in parts for found in _convex(part, shallow_mm)]


def _depth(hull: Any, corner: Floats) -> float:
    from shapely.geometry import Point as ShapelyPoint

    return float(hull.exterior.distance(ShapelyPoint(corner)))


def _cut(polygon: Any, at: Floats, way: Floats) -> list[Any]:
    """Both sides of a straight cut through a point, as polygons."""
    from shapely.geometry import Polygon

    low_x, low_y, high_x, high_y = polygon.bounds
    far = 4.0 * math.hypot(high_x - low_x, high_y - low_y)
    along = way / np.linalg.norm(way) * far
    left = np.array([-along[1], along[0]])
    found = []
    for side in (left, -left):
        half = Polygon([at - along, at + along, at + along + side, at - along + side])
        parts = polygon.intersection(half)
        pieces = getattr(parts, "geoms", [parts])
        found += [one for one in pieces if one.geom_type == "Polygon" and one.area > _NOTHING_MM2]
    return found


def _zone_parts(bend: Bend, thickness_mm: float) -> list[Floats]:
    """Pieces of a bend (n, 3), in the parent's flat coordinates."""
    angle = math.radians(abs(bend.angle_deg))
    count = max(1, math.ceil(angle / _ZONE_STEP_RAD))
    step = angle / count
    inner, outer = bend.inside_mm, bend.inside_mm + thickness_mm
    # Angles run from the parent's edge; down from the centre there, where the bend lifts.
    sign = 1.0 if bend.angle_deg > 0 else -1.0
    height = outer if bend.angle_deg > 0 else -inner
    ux, uy = bend.across
    found = []
    for k in range(count):
        low, middle, high = step * k, step * (k + 0.5), step * (k + 1)
        section = [(inner, low), (inner, high), (outer, low), (outer, high)]
        section.append((outer / math.cos(step / 2.0), middle))
        found.append(
            np.array(
                [
                    (
                        x + ux * r * math.sin(a),
                        y + uy * r * math.sin(a),
                        height - sign * r * math.cos(a),
                    )
                    for r, a in section
                    for x, y in (bend.start, bend.end)
                ]
            )
        )
    return found
