"""The two views of a turned spacer on a sheet: the face that the fan sees, and a half section.

Third-angle projection: the face is seen from the front and stands to the left of the section, whose
front is to the left as well. Above the axis the section is cut through the bolt hole at 12 o'clock;
below it is the outside.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from shapely import LineString, MultiLineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from noseroom.parts.spacer import Spacer
from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import INK, Canvas, number, path_data

_HATCH_MM = 2.2
_THICK, _THIN = 0.5, 0.18
_CHAIN = "6 1.2 1 1.2"
_PAST_MM = 4.0


@dataclass(frozen=True)
class Views:
    """Where both views stand. Sheet mm, y downwards.

    scale: sheet mm for a mm of metal. face: the face's middle. front: x of the section's front
    face. axis_y: of the axis, in both.
    """

    spacer: Spacer
    scale: float
    face: Point
    front: float

    @property
    def axis_y(self) -> float:
        """Height of the axis on the sheet."""
        return self.face[1]

    @property
    def radius(self) -> float:
        """Of the rim, on the sheet."""
        return self.spacer.diameter_mm / 2 * self.scale

    def x(self, depth_mm: float) -> float:
        """Where a depth behind the front face is in the section."""
        return self.front + depth_mm * self.scale

    def y(self, radius_mm: float) -> float:
        """Where a radius above the axis is."""
        return self.axis_y - radius_mm * self.scale

    @property
    def tip(self) -> float:
        """Left end of the section: the spigot's end, or the front face."""
        return self.x(-self.spacer.spigot_length_mm if self.spacer.is_double else 0.0)

    @property
    def rear(self) -> float:
        """Right end of the section: the face on the hub."""
        return self.x(self.spacer.thickness_mm)


def section_of(spacer: Spacer) -> BaseGeometry:
    """What is cut above the axis, (depth behind the front face, radius), mm: hole taken out."""
    half = Polygon([(x + spacer.thickness_mm, radius) for x, radius in spacer.profile()])
    middle, reach = spacer.bolt_circle_mm / 2, spacer.hole_mm / 2
    hole = box(-1.0, middle - reach, spacer.thickness_mm + 1.0, middle + reach)
    return half.difference(hole)


def hatch_of(area: BaseGeometry, pitch: float) -> list[tuple[Point, Point]]:
    """Lines at 45 degrees inside an area, `pitch` apart, in the area's own units."""
    x0, y0, x1, y1 = area.bounds
    step = pitch * math.sqrt(2.0)
    first = math.floor((y0 - x1) / step)
    last = math.ceil((y1 - x0) / step)
    found = []
    for index in range(first, last + 1):
        shift = index * step
        line = LineString([(x0 - 1.0, x0 - 1.0 + shift), (x1 + 1.0, x1 + 1.0 + shift)])
        cut = area.intersection(line)
        for piece in cut.geoms if isinstance(cut, MultiLineString) else [cut]:
            if isinstance(piece, LineString) and piece.length > 0:
                a, b = piece.coords[0], piece.coords[-1]
                found.append(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))
    return found


def draw_views(canvas: Canvas, views: Views) -> None:
    """Both views with their centre lines; no dimensions."""
    canvas.group("section", "Half section along the axis")
    _draw_cut(canvas, views)
    _draw_outside(canvas, views)
    canvas.group("face", "The face that the fan sits on")
    _draw_face(canvas, views)
    canvas.group("centre-lines")
    for line in _centre_lines(views):
        canvas.line(line, width=_THIN, stroke_dasharray=_CHAIN)


def _draw_cut(canvas: Canvas, views: Views) -> None:
    spacer = views.spacer
    area = section_of(spacer)
    for piece in getattr(area, "geoms", [area]):
        for a, b in hatch_of(piece, _HATCH_MM / views.scale):
            ends = [(views.x(x), views.y(radius)) for x, radius in (a, b)]
            canvas.line(ends, width=_THIN)
        ring = [(views.x(x), views.y(radius)) for x, radius in piece.exterior.coords[:-1]]
        canvas.path(path_data(ring, closed=True), width=_THICK)
    # Behind the cut the bore's and the chamfers' edges run down to the axis.
    depths = [spacer.thickness_mm, spacer.thickness_mm - spacer.chamfer_mm]
    if not spacer.is_double:
        depths += [0.0, spacer.chamfer_mm]
    for depth in depths:
        wide = spacer.bore_mm / 2
        if depth in (0.0, spacer.thickness_mm):
            wide += spacer.chamfer_mm
        x = views.x(depth)
        canvas.line(((x, views.y(wide)), (x, views.axis_y)), width=_THICK)
    middle, reach = spacer.bolt_circle_mm / 2, spacer.hole_mm / 2
    for x in (views.front, views.rear):
        canvas.line(((x, views.y(middle - reach)), (x, views.y(middle + reach))), width=_THICK)


def _draw_outside(canvas: Canvas, views: Views) -> None:
    spacer = views.spacer
    t, c, r = spacer.thickness_mm, spacer.chamfer_mm, spacer.diameter_mm / 2
    outline = [(0.0, 0.0), (0.0, c - r), (c, -r), (t - c, -r), (t, c - r), (t, 0.0)]
    edges = [[(c, 0.0), (c, -r)], [(t - c, 0.0), (t - c, -r)]]
    if spacer.is_double:
        s, long = spacer.spigot_diameter_mm / 2, spacer.spigot_length_mm
        edges.append([(0.0, -s), (c - long, -s), (-long, c - s), (-long, 0.0)])
        edges.append([(c - long, 0.0), (c - long, -s)])
    for line in (outline, *edges):
        canvas.line([(views.x(x), views.y(v)) for x, v in line], width=_THICK)


def _draw_face(canvas: Canvas, views: Views) -> None:
    spacer, (x, y) = views.spacer, views.face
    radii = [spacer.diameter_mm / 2, spacer.diameter_mm / 2 - spacer.chamfer_mm]
    if spacer.is_double:
        radii += [spacer.spigot_diameter_mm / 2, spacer.spigot_diameter_mm / 2 - spacer.chamfer_mm]
    else:
        radii += [spacer.bore_mm / 2, spacer.bore_mm / 2 + spacer.chamfer_mm]
    for radius in radii:
        canvas.path(_round(x, y, radius * views.scale), width=_THICK)
    circle = spacer.bolt_circle_mm / 2 * views.scale
    canvas.path(_round(x, y, circle), width=_THIN, stroke_dasharray=_CHAIN)
    for hole in holes_of(views):
        canvas.path(_round(*hole, spacer.hole_mm / 2 * views.scale), width=_THICK)


def holes_of(views: Views) -> list[Point]:
    """Middles of the bolt holes on the face, from 12 o'clock clockwise."""
    x, y = views.face
    reach = views.spacer.bolt_circle_mm / 2 * views.scale
    turns = (2.0 * math.pi * k / views.spacer.bolt_count for k in range(views.spacer.bolt_count))
    return [(x + reach * math.sin(turn), y - reach * math.cos(turn)) for turn in turns]


def _centre_lines(views: Views) -> Iterator[tuple[Point, Point]]:
    x, y = views.face
    past = views.radius + _PAST_MM
    yield (x - past, y), (x + past, y)
    yield (x, y - past), (x, y + past)
    yield (views.tip - _PAST_MM, y), (views.rear + _PAST_MM, y)
    bolt = views.y(views.spacer.bolt_circle_mm / 2)
    yield (views.front - _PAST_MM, bolt), (views.rear + _PAST_MM, bolt)
    for at_x, at_y in holes_of(views)[1:]:
        away = math.dist((x, y), (at_x, at_y))
        ux, uy = (at_x - x) / away, (at_y - y) / away
        reach = views.spacer.hole_mm / 2 * views.scale + 1.5
        yield (at_x - reach * ux, at_y - reach * uy), (at_x + reach * ux, at_y + reach * uy)


def _round(x: float, y: float, radius: float) -> str:
    left, right = (f"{number(at)} {number(y)}" for at in (x - radius, x + radius))
    half = f"A{number(radius)} {number(radius)} 0 1 1"
    return f"M{left} {half} {right} {half} {left} Z"


def draw_third_angle(canvas: Canvas, x: float, y: float, size: float) -> None:
    """The sign of third-angle projection, `size` high, its left end and middle at (x, y).

    A truncated cone and its view from the left: ISO 5456-2 (from memory).
    """
    canvas.group("third-angle", "Third-angle projection")
    big, small, long = size / 2, size / 4, size
    for radius in (big, small):
        canvas.path(_round(x + big, y, radius), stroke=INK, width=0.35)
    start = x + size + 3.0
    cone = [
        (start, y - small),
        (start + long, y - big),
        (start + long, y + big),
        (start, y + small),
    ]
    canvas.path(path_data(cone, closed=True), stroke=INK, width=0.35)
    for line in (
        ((x - 1.5, y), (x + size + 1.5, y)),
        ((x + big, y - big - 1.5), (x + big, y + big + 1.5)),
        ((start - 1.5, y), (start + long + 1.5, y)),
    ):
        canvas.line(line, width=_THIN, stroke_dasharray="3 0.8 0.6 0.8")
