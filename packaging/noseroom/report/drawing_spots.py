"""Marks and balloons of tight spots: where a balloon goes so that it hides nothing that counts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from noseroom.report.drawing_model import Point, Spot
from noseroom.report.drawing_svg import VERDICT_COLOURS, Canvas, balloon_reach_mm
from noseroom.report.drawing_text import Box

_CLOSE_MM = 0.8
_FAR_MM = 30.0


@dataclass(frozen=True)
class Balloon:
    """A spot with its closest points on the sheet and the middle of its balloon."""

    spot: Spot
    at: Point
    other: Point
    centre: Point

    @property
    def mark(self) -> Point:
        """Half-way between the closest points: where the balloon's own line ends."""
        return (self.at[0] + self.other[0]) / 2, (self.at[1] + self.other[1]) / 2


def _around(centre: Point) -> Iterator[Point]:
    for radius in (8.0, 11.0, 14.0, 18.0, 23.0, 29.0, 36.0, 45.0, 60.0, 80.0):
        for step in range(24):
            # Straight up, down and sideways run along most of a car's linework: start askew.
            angle = math.pi / 12 * step + math.pi / 24
            yield centre[0] + radius * math.cos(angle), centre[1] - radius * math.sin(angle)


def _everywhere(field: Box) -> Iterator[Point]:
    for x in np.arange(field.x0 + 4.0, field.x1, 4.0):
        for y in np.arange(field.y0 + 4.0, field.y1, 4.0):
            yield float(x), float(y)


def _box(centre: Point, reach: float) -> Box:
    return Box(centre[0] - reach, centre[1] - reach, centre[0] + reach, centre[1] + reach)


def place_balloons(
    spots: Sequence[tuple[Spot, Point, Point]],
    field: Box,
    taken: Sequence[Box],
    linework: Any,
) -> tuple[list[Balloon], list[Spot]]:
    """Balloons for (spot, at, other on the sheet), and the spots that found no room at all.

    taken: boxes of texts. linework: shapely lines that a balloon should rather not cover.
    """
    marks = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for _, a, b in spots]
    boxes = list(taken)
    balloons: list[Balloon] = []
    homeless: list[Spot] = []
    for (spot, at, other), mark in zip(spots, marks, strict=True):
        reach = balloon_reach_mm(str(spot.number), spot.verdict)
        near_marks = [_box(m, 1.2) for m in marks if math.dist(m, mark) < 100.0]
        free: list[tuple[float, Point]] = []
        for point in itertools.chain(_around(mark), _everywhere(field)):
            if free and math.dist(point, mark) > _FAR_MM:
                break
            box = _box(point, reach)
            if not box.inside(field) or any(box.overlaps(b, 0.6) for b in boxes):
                continue
            hidden = sum(box.overlaps(b) for b in near_marks)
            crossed = sum(_crosses(mark, point, b) for b in balloons)
            free.append((math.dist(point, mark) + 20.0 * hidden + 15.0 * crossed, point))
        if not free:
            homeless.append(spot)
            continue
        centre = _calmest(free, linework)
        boxes.append(_box(centre, reach))
        balloons.append(Balloon(spot, at, other, centre))
    return balloons, homeless


def _crosses(mark: Point, centre: Point, other: Balloon) -> bool:
    new = shapely.LineString([mark, centre])
    old = shapely.LineString([other.mark, other.centre])
    reach = balloon_reach_mm(str(other.spot.number), other.spot.verdict)
    return bool(new.crosses(old)) or float(new.distance(shapely.Point(other.centre))) < reach


def _calmest(options: Sequence[tuple[float, Point]], linework: Any) -> Point:
    """The option with the least price, dearer by up to 6 mm where it lies on linework."""
    prices = np.array([price for price, _ in options])
    if not linework.is_empty:
        away = shapely.distance(linework, shapely.points([point for _, point in options]))
        prices = prices + 1.5 * np.maximum(0.0, 4.0 - away)
    return options[int(np.argmin(prices))][1]


def draw_mark(canvas: Canvas, balloon: Balloon) -> None:
    """The short thick line between the closest points, or a ring where they (nearly) touch."""
    colour = VERDICT_COLOURS[balloon.spot.verdict][1]
    canvas.line((balloon.centre, balloon.mark), stroke=colour, width=0.3)
    if math.dist(balloon.at, balloon.other) < _CLOSE_MM:
        x, y = balloon.mark
        canvas.dot(x, y, 1.1, fill="#ffffff")
        canvas.dot(x, y, 0.8, fill=colour)
        return
    pair = (balloon.at, balloon.other)
    canvas.line(pair, stroke="#ffffff", width=1.5, stroke_linecap="round")
    canvas.line(pair, stroke=colour, width=0.8, stroke_linecap="round")


def draw_balloon(canvas: Canvas, balloon: Balloon) -> None:
    """The numbered balloon, over its own line."""
    x, y = balloon.centre
    reach = balloon_reach_mm(str(balloon.spot.number), balloon.spot.verdict)
    box = _box(balloon.centre, reach)
    canvas.group("balloon", box=" ".join(f"{c:.3f}" for c in box))
    canvas.balloon(str(balloon.spot.number), balloon.spot.verdict, x, y)
