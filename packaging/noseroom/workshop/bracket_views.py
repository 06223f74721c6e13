"""What a folded bracket's drawing shows: the flat pattern, and the folded part in two views.

All views share an axis to the right. The flat lies so that its first bend is upright and its root
is to the left; the folded part is seen from the side that is up in the flat (front view), and, in
third angle, from above that (top view, over the front view).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.outlines import BendLine, Circle, Path, Point
from noseroom.geometry.projections import Projection, projected
from noseroom.geometry.sheet import Blank, fold_of, folded_places
from noseroom.geometry.sheet_flat import bend_lines, flat_holes, flat_outline, middle_of
from noseroom.geometry.sheet_solids import folded_solid
from noseroom.report.drawing_model import Dimension
from noseroom.workshop.figures import sampled
from noseroom.workshop.title_block import both

Floats = NDArray[np.float64]
_SQUARE_RAD = 1e-3
_SAME_MM = 1e-6
_SEEN_MM = 0.005
"""What differs by less is written with the same figures."""


@dataclass(frozen=True)
class ViewLine:
    """A line of a view, (n, 2) mm. kind: "edge", "hidden", "thin", "bend", "chain"."""

    kind: str
    points: Floats


@dataclass(frozen=True)
class Tag:
    """A short name by a place in a view. reach_mm: what round the place stays clear."""

    text: str
    at: Point
    reach_mm: float


@dataclass(frozen=True)
class View:
    """One view with its lower left corner at (0, 0), mm of the real thing, y up."""

    title: str
    size: Point
    lines: tuple[ViewLine, ...]
    dimensions: tuple[Dimension, ...]
    tags: tuple[Tag, ...]


@dataclass(frozen=True)
class Flat:
    """The flat as it is drawn: turned, its lower left corner at (0, 0), mm."""

    outline: Path
    holes: tuple[Circle | Path, ...]
    bends: tuple[BendLine, ...]
    turn_rad: float
    size: Point

    def middles(self) -> tuple[Point, ...]:
        """Of its holes."""
        return tuple(middle_of(one) for one in self.holes)


def flat_of(blank: Blank) -> Flat:
    """The flat, turned for the drawing."""
    outline, holes, bends = flat_outline(blank), flat_holes(blank), bend_lines(blank)
    turn = _turn(outline, bends)
    points = outline.placed(turn).sampled()
    low, high = points.min(axis=0), points.max(axis=0)
    shift = (-float(low[0]), -float(low[1]))
    size = float(high[0] - low[0]), float(high[1] - low[1])

    def at(point: Point) -> Point:
        return Circle(point, 0.0).placed(turn, shift).centre

    return Flat(
        outline.placed(turn, shift),
        tuple(one.placed(turn, shift) for one in holes),
        tuple(BendLine(at(one.start), at(one.end), one.text) for one in bends),
        turn,
        size,
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


def hole_letters(count: int) -> tuple[str, ...]:
    """A, B, ... for a drawing's holes, in their order."""
    return tuple(chr(ord("A") + k) if k < 26 else f"A{k - 25}" for k in range(count))


def flat_view(flat: Flat, letters: Sequence[str]) -> View:
    """The flat with its length and width, and how far each upright bend is from the left."""
    points = flat.outline.sampled()
    wide, high = flat.size
    left, right = points[points[:, 0].argmin()], points[points[:, 0].argmax()]
    low, top = points[points[:, 1].argmin()], points[points[:, 1].argmax()]
    dimensions = [
        _dimension((0.0, left[1]), (wide, right[1]), wide, "horizontal"),
        _dimension((low[0], 0.0), (top[0], high), high, "vertical"),
    ]
    for bend in flat.bends:
        if is_upright(bend):
            foot = min(bend.start, bend.end, key=lambda one: one[1])
            dimensions.append(_dimension((0.0, left[1]), foot, foot[0], "horizontal"))
    tags = [*_hole_tags(flat.holes, flat.middles(), letters)]
    tags += [Tag(f"{k}", _middle(one), 0.0) for k, one in enumerate(flat.bends, start=1)]
    shapes = [flat.outline, *flat.holes]
    lines = [ViewLine("edge", _round_trip(sampled(one))) for one in shapes]
    lines += [ViewLine("bend", np.array([one.start, one.end])) for one in flat.bends]
    lines += _crosses(flat.holes, flat.middles())
    return View("Flat pattern", flat.size, tuple(lines), tuple(dimensions), tuple(tags))


def folded_views(blank: Blank, flat: Flat, letters: Sequence[str]) -> tuple[View, View]:
    """Top view and front view of the folded part, with its outer sizes."""
    solid = folded_solid(blank)
    c, s = math.cos(-flat.turn_rad), math.sin(-flat.turn_rad)
    right, up, out = np.array([c, s, 0.0]), np.array([-s, c, 0.0]), np.array([0.0, 0.0, 1.0])
    front, top = projected(solid, out, right), projected(solid, up, right)
    middles = folded_middles(blank)
    tags = [
        Tag(letter, (float(one @ right), float(one @ up)), _reach(hole))
        for letter, one, hole in zip(letters, middles, flat.holes, strict=True)
    ]
    numbers = [
        Tag(f"{k}", (float(one @ right), float(one @ -out)), 0.0)
        for k, one in enumerate(_bend_middles(blank), start=1)
    ]
    alike = abs(front.box()[3] - front.box()[1] - flat.size[1]) < _SEEN_MM
    return (
        _folded("", top, numbers, ("horizontal", "vertical")),
        _folded(
            "Folded: front view, from the side that is up in the flat, and top view",
            front,
            tags,
            () if alike else ("vertical",),
        ),
    )


def folded_middles(blank: Blank) -> tuple[Floats, ...]:
    """Middles (3,) of the holes once folded, on the side that is up in the flat."""
    places = folded_places(blank)
    return tuple(
        (place @ np.array([*middle_of(hole), blank.thickness_mm, 1.0]))[:3]
        for flange, place in zip(blank.flanges, places, strict=True)
        for hole in flange.holes
    )


def is_upright(bend: BendLine) -> bool:
    """Whether a bend runs straight up the drawing."""
    (x0, y0), (x1, y1) = bend.start, bend.end
    return abs(x1 - x0) <= _SQUARE_RAD * abs(y1 - y0)


def _bend_middles(blank: Blank) -> Iterator[Floats]:
    """The middle of each bend, halfway through its metal, once folded."""
    places = folded_places(blank)
    for bend in blank.bends:
        x, y = _middle(BendLine(bend.start, bend.end, ""))
        ux, uy = bend.across
        spent = bend.allowance_mm(blank.thickness_mm) / 2.0
        point = np.array([x + ux * spent, y + uy * spent, blank.thickness_mm / 2.0, 1.0])
        yield (places[bend.parent] @ fold_of(bend, blank.thickness_mm, 0.5) @ point)[:3]


def _folded(title: str, seen: Projection, tags: Sequence[Tag], sizes: Sequence[str]) -> View:
    x0, y0, x1, y1 = seen.box()
    shift = np.array([-x0, -y0])
    lines = [
        ViewLine(kind, points + shift)
        for kind, group in (
            ("hidden", _uncovered(seen)),
            ("thin", seen.smooth),
            ("edge", seen.sharp),
        )
        for points in group
    ]
    wide, high = x1 - x0, y1 - y0
    dimensions = []
    if "horizontal" in sizes:
        dimensions.append(_dimension((0.0, high), (wide, high), wide, "horizontal"))
    if "vertical" in sizes:
        dimensions.append(_dimension((wide, 0.0), (wide, high), high, "vertical"))
    moved = tuple(Tag(one.text, (one.at[0] - x0, one.at[1] - y0), one.reach_mm) for one in tags)
    return View(title, (wide, high), tuple(lines), tuple(dimensions), moved)


def _uncovered(seen: Projection) -> Iterator[Floats]:
    """Hidden edges without what lies right behind seen ones."""
    from shapely import LineString, union_all

    cover = union_all([LineString(one) for one in (*seen.sharp, *seen.smooth)]).buffer(0.02)
    for line in seen.hidden:
        left = LineString(line).difference(cover)
        for piece in getattr(left, "geoms", [left]):
            if piece.length > 0.1:
                yield np.array(piece.coords)


def _dimension(start: Point, end: Point, mm: float, direction: str) -> Dimension:
    ends = [(float(x), float(y)) for x, y in (start, end)]
    return Dimension(ends[0], ends[1], both(mm), direction)  # type: ignore[arg-type]


def _middle(bend: BendLine) -> Point:
    return (bend.start[0] + bend.end[0]) / 2.0, (bend.start[1] + bend.end[1]) / 2.0


def _reach(hole: Circle | Path) -> float:
    """From its middle to its furthest rim."""
    if isinstance(hole, Circle):
        return hole.diameter_mm / 2.0
    return float(np.hypot(*(sampled(hole) - middle_of(hole)).T).max())


def _hole_tags(
    holes: Sequence[Circle | Path], middles: Sequence[Point], letters: Sequence[str]
) -> Iterator[Tag]:
    for letter, hole, middle in zip(letters, holes, middles, strict=True):
        yield Tag(letter, middle, _reach(hole))


def _crosses(holes: Sequence[Circle | Path], middles: Sequence[Point]) -> Iterator[ViewLine]:
    """Centre lines of the holes, a little past them."""
    for hole, (x, y) in zip(holes, middles, strict=True):
        points = sampled(hole)
        (x0, y0), (x1, y1) = points.min(axis=0) - 2.0, points.max(axis=0) + 2.0
        yield ViewLine("chain", np.array([(x0, y), (x1, y)]))
        yield ViewLine("chain", np.array([(x, y0), (x, y1)]))


def _round_trip(points: Floats) -> Floats:
    return np.vstack([points, points[:1]])
