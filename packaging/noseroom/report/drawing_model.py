"""What goes onto a shop drawing: outlines, dimensions, tight spots and axes in one flat view.

Points are (u, v) in mm of the real thing, u to the right and v up.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from noseroom.errors import NoseroomError

Point = tuple[float, float]
Kind = Literal["part", "clear", "swept", "ghost"]
Direction = Literal["horizontal", "vertical", "along"]
Verdict = Literal["fits", "fouls", "too close to call", "not known"]

PALETTE = (
    "#7fa7c9",
    "#d8b26e",
    "#8fb996",
    "#c58f8f",
    "#a69cc8",
    "#9fb3b5",
    "#c9a48c",
    "#b5b87a",
)
"""Calm fills that stay apart from one another; give neighbours neighbouring entries."""


class DrawingError(NoseroomError, ValueError):
    """A drawing that cannot be made from what was given."""


def _finite(what: str, numbers: Iterable[float]) -> None:
    if not all(math.isfinite(number) for number in numbers):
        raise DrawingError(f"{what}: found a coordinate that is not a finite number")


def _point(what: str, point: Point) -> None:
    if len(point) != 2:
        raise DrawingError(f"{what}: expected a point (u, v), found {len(point)} numbers")
    _finite(what, point)


def _one_of(what: str, found: str, allowed: tuple[str, ...]) -> None:
    if found not in allowed:
        raise DrawingError(f"{what}: found {found!r}; expected one of {', '.join(allowed)}")


@dataclass(frozen=True)
class Outline:
    """A part as seen in the view.

    colour: "#rrggbb". polygon: shapely Polygon or MultiPolygon, mm; it may be empty or degenerate.
    depth: larger is nearer to the viewer. kind: "clear" for a part that is seen through, because
    it hides what matters, "swept" for a space that a moving part claims, "ghost" for something that
    is not fitted.
    """

    label: str
    colour: str
    polygon: Any
    depth: float = 0.0
    kind: Kind = "part"

    def __post_init__(self) -> None:
        what = f"outline {self.label!r}"
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", self.colour):
            raise DrawingError(f"{what}: found colour {self.colour!r}; expected #rrggbb")
        if getattr(self.polygon, "geom_type", "") not in ("Polygon", "MultiPolygon"):
            raise DrawingError(f"{what}: expected a shapely Polygon or MultiPolygon")
        _one_of(what, self.kind, get_args(Kind))
        _finite(what, (self.depth,))
        for ring in self.rings():
            for point in ring:
                _finite(what, point)

    def rings(self) -> list[list[Point]]:
        """Every closed ring, outer ones and holes, as lists of (u, v)."""
        pieces = getattr(self.polygon, "geoms", [self.polygon])
        return [
            [(float(c[0]), float(c[1])) for c in ring.coords]
            for piece in pieces
            if not piece.is_empty
            for ring in (piece.exterior, *piece.interiors)
        ]


@dataclass(frozen=True)
class Dimension:
    """A measured length from `start` to `end`; `text` is already formatted, tolerance and all."""

    start: Point
    end: Point
    text: str
    direction: Direction

    def __post_init__(self) -> None:
        what = f"dimension {self.text!r}"
        _point(what, self.start)
        _point(what, self.end)
        _one_of(what, self.direction, get_args(Direction))


@dataclass(frozen=True)
class Spot:
    """A tight spot: its closest point(s), what was found there, and the verdict."""

    number: int
    at: Point
    other: Point | None
    text: str
    verdict: Verdict

    def __post_init__(self) -> None:
        what = f"spot {self.number}"
        _point(what, self.at)
        if self.other is not None:
            _point(what, self.other)
        _one_of(what, self.verdict, get_args(Verdict))


@dataclass(frozen=True)
class Centreline:
    """An axis through two points; it is drawn a little past both."""

    start: Point
    end: Point
    label: str

    def __post_init__(self) -> None:
        _point(f"axis {self.label!r}", self.start)
        _point(f"axis {self.label!r}", self.end)


@dataclass(frozen=True)
class Drawing:
    """One view and all that is said about it. `unit` is the unit that the texts speak in."""

    title: str
    subtitle: str = ""
    left_label: str = ""
    right_label: str = ""
    outlines: tuple[Outline, ...] = ()
    dimensions: tuple[Dimension, ...] = ()
    spots: tuple[Spot, ...] = ()
    axes: tuple[Centreline, ...] = ()
    unit: Literal["in", "mm"] = "in"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _one_of("unit", self.unit, ("in", "mm"))

    def extents_mm(self) -> tuple[float, float, float, float]:
        """(u0, v0, u1, v1) over everything that is drawn; all zero when nothing is."""
        points = [p for outline in self.outlines for ring in outline.rings() for p in ring]
        points += [p for d in self.dimensions for p in (d.start, d.end)]
        points += [p for a in self.axes for p in (a.start, a.end)]
        points += [p for s in self.spots for p in (s.at, s.other) if p is not None]
        if not points:
            return 0.0, 0.0, 0.0, 0.0
        us, vs = [float(p[0]) for p in points], [float(p[1]) for p in points]
        return min(us), min(vs), max(us), max(vs)
