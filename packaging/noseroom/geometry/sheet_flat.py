"""A blank in the flat as it is cut: one outline round flanges and zones, holes, bend lines, areas.

The outline follows the flanges' own, arcs kept, and crosses from flange to flange along the ends of
the bends' zones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import BendLine, Path, Point, tidied
from noseroom.geometry.sheet import Bend, Blank, Hole

SAME_MM = 1e-6
"""What lies nearer together than this is at the same place."""

_Corner = tuple[Point, float]
CHORD_MM = 1e-3
"""How far chords may be off arcs in `polygon_of`."""


def flat_outline(blank: Blank) -> Path:
    """One outline round all of a blank, closed, anticlockwise, without its holes.

    Raises GeometryError where a bend does not lie on a straight side of a flange that it joins.
    """
    corners = list(_round(blank, 0, None))
    return tidied(Path(tuple(one for one, _ in corners), tuple(bulge for _, bulge in corners)))


def flat_holes(blank: Blank) -> tuple[Hole, ...]:
    """Its holes, flange by flange.

    Raises GeometryError where an outline meets itself, or a hole another or the outline of its
    flange: no hole runs into a bend.
    """
    for number, flange in enumerate(blank.flanges):
        left = polygon_of(flange.outline)
        if not left.is_valid:
            raise GeometryError(f"the outline of flange {number} meets itself")
        for hole in flange.holes:
            cut = polygon_of(hole)
            if not left.contains_properly(cut):
                raise GeometryError(
                    f"the hole at {place_text(middle_of(hole))} meets another, or the edge of "
                    f"flange {number}; holes lie on flanges, clear of bends and edges"
                )
            left = left.difference(cut)
    return tuple(hole for flange in blank.flanges for hole in flange.holes)


def polygon_of(outline: Hole) -> Any:
    """What an outline encloses as shapely's polygon, arcs by chords no further off than 1 µm."""
    from shapely.geometry import Polygon

    return Polygon(as_path(outline).sampled(CHORD_MM))


def as_path(hole: Hole) -> Path:
    """A hole's outline, anticlockwise."""
    path = hole if isinstance(hole, Path) else hole.as_path()
    return path if path.area_mm2 > 0 else path.reversed()


def middle_of(hole: Hole) -> Point:
    """A circle's centre; of any other hole, the middle of its corners."""
    if not isinstance(hole, Path):
        return hole.centre
    count = len(hole.points)
    return sum(x for x, _ in hole.points) / count, sum(y for _, y in hole.points) / count


def place_text(point: Point) -> str:
    """Where in the flat, for a message: "(12.0, 8.5) mm"."""
    return f"({point[0]:.1f}, {point[1]:.1f}) mm"


def bend_lines(blank: Blank) -> tuple[BendLine, ...]:
    """The middle of each bend, in the flat, with what is done there: "90° up, R 3.0".

    "Up" is towards who looks at the upper side, the one that is drawn.
    """
    return tuple(
        BendLine(*bend.far_edge(blank.thickness_mm, 0.5), _bend_text(bend)) for bend in blank.bends
    )


def _bend_text(bend: Bend) -> str:
    way = "up" if bend.angle_deg > 0 else "down"
    return f"{abs(round(bend.angle_deg, 1)):g}° {way}, R {bend.inside_mm:.1f}"


def blank_area_mm2(blank: Blank) -> float:
    """What the blank covers in the flat, zones included, holes not, mm², arcs exact."""
    zones = sum(bend.length_mm * bend.allowance_mm(blank.thickness_mm) for bend in blank.bends)
    return _flange_area_mm2(blank) + zones


def folded_volume_mm3(blank: Blank) -> float:
    """Metal in the folded part, mm³: Σ A t over its flanges, Σ θ w t (R + t/2) over its bends.

    More than flat area × thickness by Σ θ t² w (1/2 - K), as a bend keeps no volume: K says how
    long its neutral line is, and nothing of how thin the metal gets there.
    """
    t = blank.thickness_mm
    bends = sum(
        math.radians(abs(bend.angle_deg)) * bend.length_mm * t * (bend.inside_mm + t / 2.0)
        for bend in blank.bends
    )
    return _flange_area_mm2(blank) * t + bends


def _flange_area_mm2(blank: Blank) -> float:
    return sum(
        flange.outline.area_mm2 - sum(abs(hole.area_mm2) for hole in flange.holes)
        for flange in blank.flanges
    )


def side_under(outline: Path, start: Point, end: Point) -> int:
    """The number of the straight side that holds a line, run the same way.

    Raises GeometryError: there is none.
    """
    for number, (first, last, bulge) in enumerate(outline.sides()):
        length = math.dist(first, last)
        if bulge or length < SAME_MM:
            continue
        ux, uy = (last[0] - first[0]) / length, (last[1] - first[1]) / length
        places = [
            ((x - first[0]) * ux + (y - first[1]) * uy, (y - first[1]) * ux - (x - first[0]) * uy)
            for x, y in (start, end)
        ]
        (at, off), (to, away) = places
        on_it = max(abs(off), abs(away)) < SAME_MM
        if on_it and at > -SAME_MM and to > at and to < length + SAME_MM:
            return number
    raise GeometryError(
        f"the bend from {place_text(start)} to {place_text(end)} does not lie on a straight side "
        "of a flange that it joins"
    )


def _round(blank: Blank, number: int, entry: Bend | None) -> Iterator[_Corner]:
    """Corners round a flange and all beyond it, each with the bulge of the side that it begins.

    entry: the bend that leads to it; then from the zone's start there round to its end.
    """
    outline = blank.flanges[number].outline
    sides = list(outline.sides())
    beyond: dict[int, list[Bend]] = {}
    for bend in blank.bends:
        if bend.parent == number:
            beyond.setdefault(side_under(outline, bend.start, bend.end), []).append(bend)
    begin, first, last = 0, None, None
    if entry is not None:
        first, last = entry.far_edge(blank.thickness_mm)
        begin = side_under(outline, last, first)
    for step in range(len(sides) + 1):
        side = (begin + step) % len(sides)
        start, end, bulge = sides[side]
        if step == 0 and first is not None:
            start = first
        elif step == len(sides):
            if last is None:
                return
            end = last
        yield start, bulge
        for bend in _between(beyond.get(side, []), start, end):
            yield bend.start, 0.0
            yield from _round(blank, bend.child, bend)
            yield bend.end, 0.0
    if last is not None:
        yield last, 0.0


def _between(bends: list[Bend], start: Point, end: Point) -> list[Bend]:
    """The bends on a side that lie between two of its points, in the order that one meets them."""
    ux, uy = end[0] - start[0], end[1] - start[1]

    def along(point: Point) -> float:
        return (point[0] - start[0]) * ux + (point[1] - start[1]) * uy

    slack = SAME_MM * math.hypot(ux, uy)
    found = [
        one for one in bends if along(one.start) >= -slack and along(one.end) <= along(end) + slack
    ]
    found.sort(key=lambda one: along(one.start))
    for one, other in pairwise(found):
        if along(one.end) > along(other.start) + slack:
            raise GeometryError("two bends of a blank lie over each other on the same side")
    return found
