"""Reliefs: slots at the ends of a bend, where a flange is wider than the bend on it.

Without them the metal beside the bend is dragged along and tears at its end.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Path, Point, tidied
from noseroom.geometry.sheet import Bend, Blank
from noseroom.geometry.sheet_flat import CHORD_MM, SAME_MM, place_text, side_under
from noseroom.tables.sheet import sheet_limits

_STRIP_MM, _FAR_MM = 0.02, 1e4


def relief_size_mm(bend: Bend, thickness_mm: float) -> tuple[float, float]:
    """How wide a bend's reliefs are at least, and how far past its tangent line they reach, mm."""
    limits = sheet_limits()
    wide = limits["relief width"].value * thickness_mm
    return wide, limits["relief past"].value * bend.inside_mm


def edges_of(bend: Bend, flange: int, thickness_mm: float) -> tuple[Point, Point] | None:
    """The bend's edge on a flange, run as the flange's outline is; None: it has none there."""
    if flange == bend.parent:
        return bend.start, bend.end
    if flange == bend.child:
        start, end = bend.far_edge(thickness_mm)
        return end, start
    return None


def with_reliefs(blank: Blank, width_mm: float = 0.0) -> Blank:
    """The blank with a relief wherever a flange goes on beside a bend's end.

    width_mm: how wide the cutter makes them; never less than the table's least. They have round
    ends, and reach one thickness further past the tangent line than they have to.

    Raises GeometryError where what would be left beside a relief is narrower than the relief.
    """
    flanges = list(blank.flanges)
    for bend in blank.bends:
        least, past = relief_size_mm(bend, blank.thickness_mm)
        wide = max(width_mm, least)
        deep = max(past + blank.thickness_mm, wide)
        for number in (bend.parent, bend.child):
            edge = edges_of(bend, number, blank.thickness_mm)
            if edge is not None:
                outline = _relieved(flanges[number].outline, edge, wide, deep)
                flanges[number] = replace(flanges[number], outline=outline)
    return replace(blank, flanges=tuple(flanges))


def _relieved(outline: Path, edge: tuple[Point, Point], wide: float, deep: float) -> Path:
    side = side_under(outline, *edge)
    points, bulges = list(outline.points), list(outline.bulges or (0.0,) * len(outline.points))
    first, last = points[side], points[(side + 1) % len(points)]
    length = math.dist(first, last)
    ux, uy = (last[0] - first[0]) / length, (last[1] - first[1]) / length

    def at(from_: Point, along: float, inward: float) -> Point:
        return from_[0] + along * ux - inward * uy, from_[1] + along * uy + inward * ux

    new: list[tuple[Point, float]] = [(first, 0.0)]
    for place, sign, beside in (
        (edge[0], -1.0, math.dist(first, edge[0])),
        (edge[1], 1.0, math.dist(edge[1], last)),
    ):
        if beside < SAME_MM:
            continue
        if beside < 2.0 * wide:
            raise GeometryError(
                f"{beside:.1f} mm of flange stand beside the end of a bend at {place_text(place)}: "
                f"make it none, or {2.0 * wide:.1f} mm or more, so that a relief leaves something"
            )
        near, far = sorted((0.0, sign * wide))
        straight = deep - wide / 2.0
        new += [
            (at(place, near, 0.0), 0.0),
            (at(place, near, straight), -1.0),
            (at(place, far, straight), 0.0),
            (at(place, far, 0.0), 0.0),
        ]
    corners = list(zip(points, bulges, strict=True))
    corners[side : side + 1] = new
    return tidied(Path(tuple(p for p, _ in corners), tuple(b for _, b in corners)))


def metal_in_relief_mm(
    whole: Any, end: Point, other: Point, sign: float, wide: float, deep: float
) -> float:
    """How far metal stands in the place of a relief beside a bend's end; 0: it is free.

    An edge that runs off from the end needs none unless it lies flatter than 45° to the bend.
    """
    from shapely.geometry import LineString, Polygon

    length = math.dist(end, other)
    ux, uy = (end[0] - other[0]) / length, (end[1] - other[1]) / length
    vx, vy = (-uy * sign, ux * sign)

    def at(x: float, y: float) -> Point:
        return end[0] + x * ux + y * vx, end[1] + x * uy + y * vy

    flat = min(wide, deep) / 2.0
    near, high = 2.5 * _STRIP_MM, _STRIP_MM
    level = Polygon([at(near, 0), at(_FAR_MM, 0), at(_FAR_MM, high), at(near, high)])
    beside = Polygon([at(0, 0), at(wide, 0), at(wide, wide)])
    goes_on = whole.intersection(level).area > _STRIP_MM**2
    if not goes_on and whole.intersection(beside).area < flat * _STRIP_MM:
        return 0.0
    # A slot with a round end, as a cutter leaves it, pared by what chords may do.
    round_end = LineString([at(wide / 2.0, 0), at(wide / 2.0, max(0.0, deep - wide / 2.0))])
    free = round_end.buffer(wide / 2.0 - 2.0 * CHORD_MM).intersection(
        Polygon([at(0, 0), at(wide, 0), at(wide, deep), at(0, deep)])
    )
    metal = whole.intersection(free)
    if metal.area < flat * _STRIP_MM:
        return 0.0
    return wide - min((x - end[0]) * ux + (y - end[1]) * uy for x, y in _points(metal))


def _points(shape: Any) -> Iterator[Point]:
    for one in getattr(shape, "geoms", [shape]):
        yield from getattr(one, "exterior", one).coords
