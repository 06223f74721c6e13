"""A bracket's flat as all papers show it: one turn, one blank to cut first, one set of names."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from noseroom.geometry.outlines import BendLine, Circle, Path, Point
from noseroom.geometry.sheet import Blank
from noseroom.geometry.sheet_flat import bend_lines, flat_holes, flat_outline, middle_of

_SQUARE_RAD = 1e-3
_SAME_MM = 1e-6
_ALIKE_MM = 0.05
_LEVEL_DEG = 1.0


@dataclass(frozen=True)
class Flat:
    """The flat as it is drawn: turned, its lower left corner at (0, 0), mm.

    size: of the rectangle round it, the blank that is cut first; holes and bends are measured from
    its left and lower sides.
    """

    outline: Path
    holes: tuple[Circle | Path, ...]
    bends: tuple[BendLine, ...]
    turn_rad: float
    shift: Point
    size: Point

    def middles(self) -> tuple[Point, ...]:
        """Of its holes."""
        return tuple(middle_of(one) for one in self.holes)

    def at(self, point: Point) -> Point:
        """Where a point of the blank's own plane is on it."""
        return Circle(point, 0.0).placed(self.turn_rad, self.shift).centre


def flat_of(blank: Blank, turn_rad: float | None = None) -> Flat:
    """The flat, turned for paper. turn_rad: None sets its first bend upright.

    Raises GeometryError where it cannot be drawn.
    """
    outline, holes, bends = flat_outline(blank), flat_holes(blank), bend_lines(blank)
    turn = _turn(outline, bends) if turn_rad is None else turn_rad
    points = outline.placed(turn).sampled()
    low, high = points.min(axis=0), points.max(axis=0)
    shift = (-float(low[0]), -float(low[1]))

    def at(point: Point) -> Point:
        return Circle(point, 0.0).placed(turn, shift).centre

    return Flat(
        outline.placed(turn, shift),
        tuple(one.placed(turn, shift) for one in holes),
        tuple(BendLine(at(one.start), at(one.end), one.text) for one in bends),
        turn,
        shift,
        (float(high[0] - low[0]), float(high[1] - low[1])),
    )


def _turn(outline: Path, bends: Sequence[BendLine]) -> float:
    """By how much the flat is turned: the first bend upright; without one, long side level."""
    if bends:
        (x0, y0), (x1, y1) = bends[0].start, bends[0].end
        return math.pi / 2.0 - math.atan2(y1 - y0, x1 - x0)
    _, _, turn = sides_of(outline)
    return -turn


def sides_of(shape: Path) -> tuple[float, float, float]:
    """Width and length of the narrowest box round a shape, mm, and how its length runs, rad."""
    from shapely import MultiPoint

    corners = list(MultiPoint(shape.sampled(1e-3)).minimum_rotated_rectangle.exterior.coords)
    sides = [np.subtract(b, a) for a, b in pairwise(corners[:3])]
    narrow, wide = sorted(sides, key=lambda one: float(np.hypot(*one)))
    x, y = (float(one) for one in wide)
    turn = math.atan(y / x) if abs(x) > _SAME_MM else math.pi / 2.0
    return float(np.hypot(*narrow)), float(np.hypot(*wide)), turn


def slot_way(hole: Path) -> str:
    """Which way a slot runs on the sheet: "level", "upright", or its angle from level."""
    degrees = math.degrees(sides_of(hole)[2])
    if abs(degrees) < _LEVEL_DEG:
        return "level"
    return "upright" if abs(degrees) > 90.0 - _LEVEL_DEG else f"at {degrees:.0f}°"


def hole_letters(count: int) -> tuple[str, ...]:
    """A, B, ... for a drawing's holes, in their order."""
    return tuple(chr(ord("A") + k) if k < 26 else f"A{k - 25}" for k in range(count))


def is_upright(bend: BendLine) -> bool:
    """Whether a bend runs straight up the drawing."""
    (x0, y0), (x1, y1) = bend.start, bend.end
    return abs(x1 - x0) <= _SQUARE_RAD * abs(y1 - y0)


def is_level(bend: BendLine) -> bool:
    """Whether a bend runs straight across the drawing."""
    (x0, y0), (x1, y1) = bend.start, bend.end
    return abs(y1 - y0) <= _SQUARE_RAD * abs(x1 - x0)


def middle_of_bend(bend: BendLine) -> Point:
    """Halfway along its line."""
    return (bend.start[0] + bend.end[0]) / 2.0, (bend.start[1] + bend.end[1]) / 2.0


def radii_of(outline: Path) -> Iterator[tuple[float, int, Point]]:
    """Each radius of an outline's arcs, mm, how many arcs have it, and the middle of one."""
    found: list[tuple[float, list[Point]]] = []
    for (x0, y0), (x1, y1), bulge in outline.sides():
        if abs(bulge) < _SAME_MM:
            continue
        # Bulge b: the arc rises by b times half its chord, on the chord's right for b > 0.
        chord = math.dist((x0, y0), (x1, y1))
        radius = chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
        middle = (
            (x0 + x1) / 2.0 + bulge * (y1 - y0) / 2.0,
            (y0 + y1) / 2.0 - bulge * (x1 - x0) / 2.0,
        )
        alike = next((spots for one, spots in found if abs(one - radius) < _ALIKE_MM), None)
        if alike is None:
            found.append((radius, [middle]))
        else:
            alike.append(middle)
    for radius, spots in found:
        yield radius, len(spots), spots[0]
