"""Plane outlines of lines and arcs: what is cut from sheet, and what a template shows.

Points are (x, y) in mm, x right and y up. A bulge belongs to the side that begins at its point, as
DXF's polylines have it: the tangent of a quarter of the arc's angle, positive where the arc turns
to the left, 0 for a straight side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError

Floats = NDArray[np.float64]
Point = tuple[float, float]

_FULL_TURN = math.tau


@dataclass(frozen=True)
class Circle:
    """A round hole or disc: centre (x, y) and diameter, mm."""

    centre: Point
    diameter_mm: float

    @property
    def area_mm2(self) -> float:
        """Its area."""
        return math.pi * self.diameter_mm**2 / 4.0

    def as_path(self) -> Path:
        """The same as two half arcs, anticlockwise."""
        x, y = self.centre
        radius = self.diameter_mm / 2.0
        return Path(((x + radius, y), (x - radius, y)), (1.0, 1.0))

    def placed(self, turn_rad: float, shift: Point = (0.0, 0.0)) -> Circle:
        """Turned about the origin, then shifted."""
        return replace(self, centre=_placed(self.centre, turn_rad, shift))


@dataclass(frozen=True)
class Path:
    """Sides from point to point, straight or arcs; a closed one ends where it began.

    points: corners. bulges: one a point ("()" for straight sides only); the last is of the closing
    side, and not used by an open path.
    """

    points: tuple[Point, ...]
    bulges: tuple[float, ...] = ()
    closed: bool = True

    def __post_init__(self) -> None:
        if self.bulges and len(self.bulges) != len(self.points):
            raise GeometryError("an outline needs one bulge a point, or none at all")
        if len(self.points) < 2:
            raise GeometryError("an outline needs two points at least")

    def sides(self) -> Iterator[tuple[Point, Point, float]]:
        """Each side as start, end and bulge."""
        ends = (*self.points, self.points[0]) if self.closed else self.points
        bulges = self.bulges or (0.0,) * len(self.points)
        for (start, end), bulge in zip(pairwise(ends), bulges, strict=False):
            yield start, end, bulge

    @property
    def area_mm2(self) -> float:
        """What it encloses, arcs exact: positive anticlockwise."""
        total = 0.0
        for (x0, y0), (x1, y1), bulge in self.sides():
            total += (x0 * y1 - x1 * y0) / 2.0
            if bulge:
                angle = 4.0 * math.atan(bulge)
                radius = math.hypot(x1 - x0, y1 - y0) / 2.0 / math.sin(abs(angle) / 2.0)
                total += radius**2 * (angle - math.sin(angle)) / 2.0
        return total

    @property
    def length_mm(self) -> float:
        """Along all its sides."""
        total = 0.0
        for (x0, y0), (x1, y1), bulge in self.sides():
            chord = math.hypot(x1 - x0, y1 - y0)
            half = 2.0 * math.atan(abs(bulge))
            total += chord * half / math.sin(half) if bulge else chord
        return total

    def sampled(self, chord_mm: float = 0.01) -> Floats:
        """Points (n, 2) along it, arcs cut so finely that no chord is further off than chord_mm.

        A closed path does not repeat its first point.
        """
        found: list[Point] = []
        for start, end, bulge in self.sides():
            found += _along(start, end, bulge, chord_mm)
        if not self.closed:
            found.append(self.points[-1])
        return np.array(found)

    def placed(self, turn_rad: float, shift: Point = (0.0, 0.0)) -> Path:
        """Turned about the origin, then shifted."""
        return replace(self, points=tuple(_placed(one, turn_rad, shift) for one in self.points))

    def mirrored(self) -> Path:
        """Left for right (x for -x), running the same way round as before."""
        points = tuple((-x, y) for x, y in self.points)
        if not self.bulges:
            return replace(self, points=points[::-1])
        bulges = self.bulges[::-1]
        # Reversed, a side's bulge stands at its other end, and turns the other way twice.
        turned = (*bulges[1:], bulges[0])
        return replace(self, points=points[::-1], bulges=turned)

    def reversed(self) -> Path:
        """The same sides, the other way round."""
        if not self.bulges:
            return replace(self, points=self.points[::-1])
        back = tuple(-one for one in self.bulges[::-1])
        return replace(self, points=self.points[::-1], bulges=(*back[1:], back[0]))


@dataclass(frozen=True)
class BendLine:
    """The middle of a bend. text: angle and direction, such as "90° up, R 3.0"."""

    start: Point
    end: Point
    text: str


def tidied(path: Path, same_mm: float = 1e-9) -> Path:
    """A closed path without sides of no length, and with one side where two go straight on."""
    corners = [(p, b) for p, q, b in path.sides() if math.dist(p, q) > same_mm]
    kept: list[tuple[Point, float]] = []
    for k, (here, bulge) in enumerate(corners):
        before, came = corners[k - 1]
        after = corners[(k + 1) % len(corners)][0]
        straight = (
            not bulge
            and not came
            and abs(_turn(before, here, after))
            * min(math.dist(before, here), math.dist(here, after))
            < same_mm
        )
        if not straight:
            kept.append((here, bulge))
    return Path(tuple(p for p, _ in kept), tuple(b for _, b in kept))


def rectangle(low: Point, high: Point) -> Path:
    """An upright rectangle by two opposite corners, anticlockwise."""
    (x0, y0), (x1, y1) = low, high
    return Path(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def slot(centre: Point, travel_mm: float, width_mm: float, turn_rad: float = 0.0) -> Path:
    """A slot with round ends, anticlockwise. travel_mm: between the middles of its ends."""
    half, radius = travel_mm / 2.0, width_mm / 2.0
    path = Path(
        ((-half, -radius), (half, -radius), (half, radius), (-half, radius)), (0.0, 1.0, 0.0, 1.0)
    )
    return path.placed(turn_rad, centre)


def rounded(corners: Sequence[Point], radii_mm: Sequence[float]) -> Path:
    """A polygon, anticlockwise, with arcs in its corners. radii_mm: one a corner, 0 keeps it sharp.

    Raises GeometryError where two arcs need more of a side than there is.
    """
    count = len(corners)
    cuts: list[float] = []
    for k, radius in enumerate(radii_mm):
        before, here, after = corners[k - 1], corners[k], corners[(k + 1) % count]
        turn = _turn(before, here, after)
        cuts.append(radius * abs(math.tan(turn / 2.0)))
    points: list[Point] = []
    bulges: list[float] = []
    for k, radius in enumerate(radii_mm):
        before, here, after = corners[k - 1], corners[k], corners[(k + 1) % count]
        if cuts[k] + cuts[(k + 1) % count] > math.dist(here, after) + 1e-9:
            raise GeometryError("the corners of an outline are rounder than its sides allow")
        if radius <= 0.0 or cuts[k] < 1e-9:
            points.append(here)
            bulges.append(0.0)
            continue
        points += [_towards(here, before, cuts[k]), _towards(here, after, cuts[k])]
        bulges += [math.tan(_turn(before, here, after) / 4.0), 0.0]
    return Path(tuple(points), tuple(bulges))


def _turn(before: Point, here: Point, after: Point) -> float:
    """By how much a path turns at a corner, rad, positive to the left."""
    first = math.atan2(here[1] - before[1], here[0] - before[0])
    second = math.atan2(after[1] - here[1], after[0] - here[0])
    return math.remainder(second - first, _FULL_TURN)


def _towards(here: Point, there: Point, by_mm: float) -> Point:
    share = by_mm / math.dist(here, there)
    return here[0] + share * (there[0] - here[0]), here[1] + share * (there[1] - here[1])


def _along(start: Point, end: Point, bulge: float, chord_mm: float) -> list[Point]:
    """The side's start and the points between, without its end."""
    if not bulge:
        return [start]
    angle = 4.0 * math.atan(bulge)
    chord = math.dist(start, end)
    radius = chord / 2.0 / math.sin(abs(angle) / 2.0)
    step = 2.0 * math.acos(max(-1.0, 1.0 - min(chord_mm, radius) / radius))
    count = max(1, math.ceil(abs(angle) / max(step, 1e-6)))
    # From the chord's middle towards the arc's centre, along the chord's left.
    reach = chord / 2.0 / math.tan(angle / 2.0)
    ux, uy = (end[0] - start[0]) / chord, (end[1] - start[1]) / chord
    cx = (start[0] + end[0]) / 2.0 - uy * reach
    cy = (start[1] + end[1]) / 2.0 + ux * reach
    first = math.atan2(start[1] - cy, start[0] - cx)
    return [start] + [
        (
            cx + radius * math.cos(first + angle * k / count),
            cy + radius * math.sin(first + angle * k / count),
        )
        for k in range(1, count)
    ]


def _placed(point: Point, turn_rad: float, shift: Point) -> Point:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return c * point[0] - s * point[1] + shift[0], s * point[0] + c * point[1] + shift[1]
