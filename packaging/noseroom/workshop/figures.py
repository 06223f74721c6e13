"""Plane figures at full size: what DXF files, paper templates and card panels are made from."""

from __future__ import annotations

from dataclasses import dataclass

from noseroom.geometry.outlines import Circle, Path, Point


@dataclass(frozen=True)
class BendLine:
    """The middle of a bend. text: angle and direction, such as "90° up, R 3.0"."""

    start: Point
    end: Point
    text: str


@dataclass(frozen=True)
class CentreMark:
    """Where a hole's middle is punched. text: what goes through, such as "drill Ø 9.0"."""

    at: Point
    text: str
    diameter_mm: float = 0.0


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
    there to lay it by, such as the edge of a rail. labels: words on the piece itself. notes: what
    is said beside it.
    """

    name: str
    title: str
    cuts: tuple[Path | Circle, ...] = ()
    bends: tuple[BendLine, ...] = ()
    centres: tuple[CentreMark, ...] = ()
    guides: tuple[Path, ...] = ()
    labels: tuple[Label, ...] = ()
    notes: tuple[str, ...] = ()
