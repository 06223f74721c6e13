"""A figure's lines and words on a sheet, at full size, whole or as much as a window shows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, affinity, box
from shapely.geometry.base import BaseGeometry

from noseroom.geometry.outlines import Circle
from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import GREY, INK, Canvas, path_data
from noseroom.report.drawing_text import Box, text_box
from noseroom.workshop.figures import Figure, Label, is_closed, sampled
from noseroom.workshop.paper_sheet import Sheet
from noseroom.workshop.paper_words import Spot, Word

Floats = NDArray[np.float64]

STYLES: dict[str, dict[str, str | float]] = {
    "cut": {"width": 0.35},
    "bend": {"width": 0.35, "stroke_dasharray": "5 2.5"},
    "bend-ends": {"width": 0.25},
    "guide": {"width": 0.18, "stroke": GREY, "stroke_dasharray": "8 1.5 1.5 1.5"},
    "centre": {"width": 0.18},
    "drilled": {"width": 0.25},
    "arrow": {"width": 0.5},
}
"""How each kind of line is drawn; the names are the groups' on the sheet."""
_ARM_MM = 3.0
"""By how much a centre's cross reaches over its hole."""
_END_MM = (1.5, 6.0)
"""From where to where a bend's mark runs outside the piece."""


@dataclass(frozen=True)
class Line:
    """A line of a figure. path: shapely line, figure mm, y up."""

    kind: str
    path: LineString


def lines_of(figure: Figure) -> tuple[Line, ...]:
    """All lines of a figure, cuts first."""
    return tuple(Line(kind, LineString(points)) for kind, points in _lines(figure))


def _lines(figure: Figure) -> Iterator[tuple[str, Floats | list[Point]]]:
    for kind, shapes in (("cut", figure.cuts), ("guide", figure.guides)):
        for shape in shapes:
            points = sampled(shape)
            yield kind, np.vstack([points, points[:1]]) if is_closed(shape) else points
    for bend in figure.bends:
        yield "bend", [bend.start, bend.end]
        for here, there in ((bend.start, bend.end), (bend.end, bend.start)):
            yield "bend-ends", [_beyond(here, there, by) for by in _END_MM]
    round_cuts = {(one.centre, one.diameter_mm) for one in figure.cuts if isinstance(one, Circle)}
    for centre in figure.centres:
        (x, y), reach = centre.at, centre.diameter_mm / 2.0 + _ARM_MM
        yield "centre", [(x - reach, y), (x + reach, y)]
        yield "centre", [(x, y - reach), (x, y + reach)]
        if centre.diameter_mm and (centre.at, centre.diameter_mm) not in round_cuts:
            points = sampled(Circle(centre.at, centre.diameter_mm))
            yield "drilled", np.vstack([points, points[:1]])
    for arrow in figure.arrows:
        yield from (("arrow", list(ends)) for ends in arrow.lines())


def _beyond(here: Point, there: Point, by_mm: float) -> Point:
    share = by_mm / math.dist(here, there)
    return here[0] + share * (here[0] - there[0]), here[1] + share * (here[1] - there[1])


@dataclass(frozen=True)
class View:
    """How a figure lies on a sheet: sheet mm = (x + left, top - y). window: figure mm, or all."""

    left: float
    top: float
    window: Box | None = None

    def at(self, point: Point) -> Point:
        """Where a point of the figure is on the sheet."""
        return point[0] + self.left, self.top - point[1]

    def holds(self, point: Point) -> bool:
        """Whether the window shows it."""
        if self.window is None:
            return True
        x0, y0, x1, y1 = self.window
        return x0 <= point[0] <= x1 and y0 <= point[1] <= y1

    def seen(self, lines: Sequence[Line]) -> list[Line]:
        """What of the lines the window shows, in figure mm."""
        if self.window is None:
            return list(lines)
        window = box(*self.window)
        cut = ((one.kind, one.path.intersection(window)) for one in lines)
        return [Line(kind, piece) for kind, path in cut for piece in _pieces(path)]

    def on_sheet(self, lines: Sequence[Line]) -> list[Any]:
        """Lines in sheet mm, for what has to keep clear of them."""
        return [
            affinity.affine_transform(one.path, [1, 0, 0, -1, self.left, self.top]) for one in lines
        ]


def _pieces(path: BaseGeometry) -> Iterator[LineString]:
    for piece in getattr(path, "geoms", [path]):
        if isinstance(piece, LineString) and piece.length > 0.0:
            yield piece


def draw_lines(canvas: Canvas, lines: Sequence[Line], view: View) -> None:
    """The lines that the window shows, each kind in its own group."""
    seen = view.seen(lines)
    for kind, style in STYLES.items():
        of_kind = [one for one in seen if one.kind == kind]
        if of_kind:
            canvas.group(kind)
        for line in of_kind:
            points = [view.at((x, y)) for x, y in line.path.coords]
            closed = points[0] == points[-1] and len(points) > 2
            data = path_data(points[:-1] if closed else points, closed=closed)
            canvas.path(data, **style)  # type: ignore[arg-type]


def words_of(figure: Figure, view: View) -> tuple[Word, ...]:
    """What is said about holes and bends that the window shows, in sheet mm."""
    found = []
    for centre in figure.centres:
        if view.holds(centre.at) and centre.text:
            found.append(Word(centre.said, view.at(centre.at), centre.diameter_mm / 2.0))
    for bend in figure.bends:
        first, last = sorted((bend.start, bend.end), reverse=True)
        marks = [_beyond(*ends, _END_MM[1]) for ends in ((first, last), (last, first))]
        shown = [view.at(one) for one in (*marks, first, last) if view.holds(one)]
        if shown and bend.text:
            other = shown[1] if view.holds(marks[0]) and view.holds(marks[1]) else None
            found.append(Word(f"bend {bend.text}", shown[0], or_at=other))
    return tuple(found)


def label_box(label: Label, view: View) -> Box:
    """An upright box on the sheet that holds a label, turned as it is."""
    x, y = view.at(label.at)
    flat = text_box(label.text, 0.0, 0.0, label.height_mm, anchor="middle")
    corners = [(a, -b) for a in (flat.x0, flat.x1) for b in (flat.y0, flat.y1)]
    turn = math.radians(label.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    xs = [x + a * c - b * s for a, b in corners]
    ys = [y - (a * s + b * c) for a, b in corners]
    return Box(min(xs), min(ys), max(xs), max(ys))


def draw_label(sheet: Sheet, label: Label, view: View) -> None:
    """A label where its figure has it."""
    x, y = view.at(label.at)
    sheet.turned_text(label.text, x, y, label.height_mm, label.turn_deg)


def draw_spots(canvas: Canvas, spots: Sequence[Spot]) -> None:
    """Words with the thin lines to what they are about."""
    canvas.group("words")
    for spot in spots:
        if spot.leader:
            canvas.line(spot.leader, stroke=GREY, width=0.13)
            (x0, y0), (x1, y1) = spot.leader
            canvas.arrow_head((x0, y0), (x0 - x1, y0 - y1), 1.6)
    for spot in spots:
        canvas.text(spot.word.text, spot.x, spot.y, size=spot.word.size_mm, fill=INK)
