"""Plane regions of card panels: cut and joined as polygons, handed on as lines and arcs.

A circle is a polygon whose corners lie on it and whose sides are nowhere further off than
`CHORD_MM`. Which circles were drawn is kept, so that what is left of them comes back as arcs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from noseroom.geometry.outlines import Circle, Path, Point, tidied

Floats = NDArray[np.float64]

CHORD_MM = 0.001
_ON_MM = 2.0 * CHORD_MM
_STEPS = 8  # a circle's corners are a multiple of this, so that its extremes are corners
_MOST_ARC = math.pi / 2.0 * 1.001
_SAME_MM = 1e-6


@dataclass(frozen=True)
class Round:
    """A circle that was drawn: its centre and radius, mm."""

    centre: Point
    radius: float

    def polygon(self) -> Polygon:
        """Inside it, by chords."""
        angles = np.arange(self.steps) * (math.tau / self.steps)
        x, y = self.centre
        points = np.stack([x + self.radius * np.cos(angles), y + self.radius * np.sin(angles)], -1)
        # What ought to lie on an axis does so, to the last digit.
        return Polygon(np.round(points, 9))

    @property
    def steps(self) -> int:
        """How many chords it takes."""
        half = math.acos(max(0.0, 1.0 - CHORD_MM / self.radius))
        return max(_STEPS, _STEPS * math.ceil(math.pi / half / _STEPS))

    def holds(self, start: Floats, end: Floats) -> bool:
        """Whether a side is one of its chords, or a part of one."""
        step = 2.0 * self.radius * math.sin(math.pi / self.steps)
        if float(np.linalg.norm(end - start)) > step * 1.01 + _SAME_MM:
            return False
        off = np.array([start, end, (start + end) / 2.0]) - np.array(self.centre)
        return bool((np.abs(np.linalg.norm(off, axis=1) - self.radius) <= _ON_MM).all())


def grown(region: Polygon, by_mm: float) -> Polygon:
    """The region with its outline moved out, and its holes in; corners stay sharp."""
    made = region.buffer(by_mm, join_style="mitre", mitre_limit=10.0) if by_mm else region
    return largest(made)


def pieces_of(region: BaseGeometry) -> list[Polygon]:
    """Its polygons, largest first."""
    # Regions that touch along a line share that line too: lines and points are not card.
    parts = getattr(region, "geoms", [region])
    found = [
        piece
        for one in parts
        for piece in (one.geoms if isinstance(one, MultiPolygon) else [one])
        if isinstance(piece, Polygon) and not piece.is_empty
    ]
    return sorted(found, key=lambda one: (-one.area, one.bounds))


def largest(region: BaseGeometry) -> Polygon:
    """Its largest polygon; an empty one where it has none."""
    found = pieces_of(region)
    return found[0] if found else Polygon()


def cuts_of(region: Polygon, rounds: Sequence[Round]) -> tuple[Path | Circle, ...]:
    """Holes and then the outline of a region, as lines, arcs and circles.

    rounds: circles whose arcs may be in it.
    """
    region = orient(region)
    holes = sorted(region.interiors, key=lambda ring: ring.bounds)
    return tuple(_shape(ring.coords, rounds) for ring in (*holes, region.exterior))


def _shape(coords: Iterable[Sequence[float]], rounds: Sequence[Round]) -> Path | Circle:
    points = np.array([one[:2] for one in coords])[:-1]
    points = points[np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > _SAME_MM]
    on = [_round_of(points[k - 1], points[k], rounds) for k in range(len(points))]
    whole = on[0]
    if whole is not None and all(one == whole for one in on):
        return Circle(whole.centre, 2.0 * whole.radius)
    # Side k runs from point k - 1 to point k: begin where one sort of side ends.
    begin = next((k for k in range(len(points)) if on[k - 1] != on[k] or on[k] is None), 0)
    order = [(begin + k) % len(points) for k in range(len(points))]
    corners: list[Point] = []
    bulges: list[float] = []
    k = 0
    while k < len(order):
        one, start = on[order[k]], points[order[k] - 1]
        last = k
        while (
            one is not None
            and last + 1 < len(order)
            and on[order[last + 1]] == one
            and abs(_turned(one, start, points[order[last + 1]])) <= _MOST_ARC
        ):
            last += 1
        corners.append((float(start[0]), float(start[1])))
        turn = 0.0 if one is None else _turned(one, start, points[order[last]])
        bulges.append(math.tan(turn / 4.0))
        k = last + 1
    return tidied(Path(tuple(corners), tuple(bulges)), _SAME_MM)


def _round_of(start: Floats, end: Floats, rounds: Sequence[Round]) -> Round | None:
    return next((one for one in rounds if one.holds(start, end)), None)


def _turned(one: Round, start: Floats, end: Floats) -> float:
    """How far round the circle from point to point, rad, the shorter way; anticlockwise counts."""
    a, b = start - np.array(one.centre), end - np.array(one.centre)
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))
