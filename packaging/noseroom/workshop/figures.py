"""Plane figures at full size: what DXF files, paper templates and card panels are made from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.outlines import BendLine, Circle, Path, Point

__all__ = [
    "Arrow",
    "BendLine",
    "CentreMark",
    "Circle",
    "Figure",
    "Label",
    "Path",
    "is_closed",
    "sampled",
]

Floats = NDArray[np.float64]
CHORD_MM = 0.002
"""How far a chord may lie off its arc where a figure is drawn: far below a printer's dot."""
_HEAD_MM = 4.0


@dataclass(frozen=True)
class CentreMark:
    """Where a hole's middle is punched. text: what goes through, such as "drill Ø 9.0".

    letter: the hole's name on the drawing, "A", where it has one.
    """

    at: Point
    text: str
    diameter_mm: float = 0.0
    letter: str = ""

    @property
    def said(self) -> str:
        """Letter and text."""
        return ": ".join(one for one in (self.letter, self.text) if one)


@dataclass(frozen=True)
class Arrow:
    """An arrow that is drawn beside the piece, from its foot to its tip."""

    foot: Point
    tip: Point

    def lines(self, head_mm: float = _HEAD_MM) -> tuple[tuple[Point, Point], ...]:
        """Its stem and the two sides of its head, which is so long."""
        (x0, y0), (x1, y1) = self.foot, self.tip
        long = math.dist(self.foot, self.tip)
        ux, uy = (x1 - x0) / long, (y1 - y0) / long
        a, b = head_mm, head_mm / 2.5
        sides = ((x1 - a * ux - s * b * uy, y1 - a * uy + s * b * ux) for s in (1.0, -1.0))
        return ((self.foot, self.tip), *((self.tip, side) for side in sides))


@dataclass(frozen=True)
class Label:
    """Words on the piece. at: the middle of the line's foot. turn_deg: anticlockwise."""

    text: str
    at: Point
    height_mm: float = 3.0
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Figure:
    """One piece, mm, x right and y up, seen from the side that its title names.

    name: unlike all others of one nose; files are called after it. title: what a person calls it,
    with its hand ("left", "right") where it has one. cuts: outlines and holes, in the order they
    are cut. bends: lines to bend on. centres: holes to punch and drill. guides: lines that are only
    there to lay it by, such as the edge of a rail. labels: words on the piece itself, or by an
    arrow. notes: what is said beside it. hand: "left" or "right", the car's. seen_from: the side
    that is drawn, such as "the side that the bolt's head is on". thickness_mm: 0 where it is no
    sheet. material: as a shop knows it. arrows: beside the piece, such as what is up.
    """

    name: str
    title: str
    cuts: tuple[Path | Circle, ...] = ()
    bends: tuple[BendLine, ...] = ()
    centres: tuple[CentreMark, ...] = ()
    guides: tuple[Path, ...] = ()
    labels: tuple[Label, ...] = ()
    notes: tuple[str, ...] = ()
    hand: str = ""
    seen_from: str = ""
    thickness_mm: float = 0.0
    material: str = ""
    arrows: tuple[Arrow, ...] = ()

    def box(self) -> tuple[float, float, float, float]:
        """(x0, y0, x1, y1) round all that is cut, bent, punched or laid by, without words; mm."""
        points = np.concatenate(list(self._reach()))
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    def _reach(self) -> Iterator[Floats]:
        yield from (sampled(one) for one in (*self.cuts, *self.guides))
        yield from (np.array([one.start, one.end]) for one in self.bends)
        for centre in self.centres:
            half = centre.diameter_mm / 2.0
            yield np.array(centre.at) + np.array([[-half, -half], [half, half]])

    def placed(self, turn_rad: float, shift: Point = (0.0, 0.0)) -> Figure:
        """The same figure turned about the origin, then shifted; its words turn with it."""

        def at(point: Point) -> Point:
            return Circle(point, 0.0).placed(turn_rad, shift).centre

        turn_deg = math.degrees(turn_rad)
        return replace(
            self,
            cuts=tuple(one.placed(turn_rad, shift) for one in self.cuts),
            guides=tuple(one.placed(turn_rad, shift) for one in self.guides),
            bends=tuple(replace(one, start=at(one.start), end=at(one.end)) for one in self.bends),
            centres=tuple(replace(one, at=at(one.at)) for one in self.centres),
            arrows=tuple(Arrow(at(one.foot), at(one.tip)) for one in self.arrows),
            labels=tuple(
                replace(one, at=at(one.at), turn_deg=one.turn_deg + turn_deg) for one in self.labels
            ),
        )

    def on_its_side(self) -> Figure:
        """Turned by a quarter; with an arrow clockwise, as its words then run level."""
        return self.placed(-math.pi / 2.0 if self.arrows else math.pi / 2.0)


def sampled(shape: Path | Circle) -> Floats:
    """Points (n, 2) along a shape's sides; a closed one does not repeat its first point."""
    path = shape.as_path() if isinstance(shape, Circle) else shape
    return path.sampled(CHORD_MM)


def is_closed(shape: Path | Circle) -> bool:
    """Whether the shape ends where it began."""
    return isinstance(shape, Circle) or shape.closed
