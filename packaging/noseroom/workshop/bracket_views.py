"""What a folded bracket's drawing shows: the flat pattern, the folded part's edge, an isometric.

The flat lies as its papers do. The edge view looks along the first bend with what is towards you in
the flat drawn up: a bend up goes up. Where that bend is upright in the flat, the view stands below
it as third angle has it. The isometric has the flat's plane below and no hidden lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.outlines import BendLine, Circle, Path, Point
from noseroom.geometry.projections import Projection, projected
from noseroom.geometry.sheet import Blank, fold_of, folded_places
from noseroom.geometry.sheet_flat import middle_of
from noseroom.geometry.sheet_solids import folded_solid
from noseroom.report.drawing_model import Dimension
from noseroom.workshop.bracket_flat import Flat, is_level, is_upright, middle_of_bend, radii_of
from noseroom.workshop.figures import Arrow, sampled
from noseroom.workshop.title_block import both

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
_ALONG = 0.05
_BELOW = math.cos(math.radians(1.0))
_ISO_TOWARDS = np.array([1.0, -1.0, 1.0]) / math.sqrt(3.0)
_ISO_RIGHT = np.array([1.0, 1.0, 0.0]) / math.sqrt(2.0)
_ARROW = 0.2  # of the isometric's larger side
_ARROW_CLEAR = 0.04


@dataclass(frozen=True)
class ViewLine:
    """A line of a view, (n, 2) mm. kind: "edge", "hidden", "thin", "bend", "chain", ...."""

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
    """One view with its lower left corner at (0, 0), mm of the real thing, y up.

    anchor: what is drawn over the same of another view's, along x; None: its middle.
    """

    title: str
    size: Point
    lines: tuple[ViewLine, ...]
    dimensions: tuple[Dimension, ...]
    tags: tuple[Tag, ...]
    anchor: float | None = None


@dataclass(frozen=True)
class Axes:
    """The drawing's right, up and towards the viewer, each (3,) unit in the blank's own frame."""

    right: Floats
    up: Floats
    out: Floats

    @classmethod
    def of(cls, flat: Flat) -> Axes:
        """Those of a flat as it is turned."""
        c, s = math.cos(-flat.turn_rad), math.sin(-flat.turn_rad)
        return cls(np.array([c, s, 0.0]), np.array([-s, c, 0.0]), np.array([0.0, 0.0, 1.0]))

    def way(self, along: Floats) -> Floats:
        """A direction (3,) given along the three, in the blank's frame."""
        return np.asarray(along[0] * self.right + along[1] * self.up + along[2] * self.out)


def flat_view(blank: Blank, flat: Flat, letters: Sequence[str], title: str) -> View:
    """The flat in the rectangle that is cut first, with its sizes, radii and straight bends."""
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
        elif is_level(bend):
            foot = min(bend.start, bend.end, key=lambda one: one[0])
            dimensions.append(_dimension((low[0], 0.0), foot, foot[1], "vertical"))
    tags = [
        Tag(letter, middle, _reach(hole))
        for letter, hole, middle in zip(letters, flat.holes, flat.middles(), strict=True)
    ]
    tags += [Tag(f"{k}", middle_of_bend(one), 0.0) for k, one in enumerate(flat.bends, start=1)]
    tags += [
        Tag(f"{f'{count} × ' if count > 1 else ''}R{radius:.2f}", spot, 0.0)
        for radius, count, spot in radii_of(flat.outline)
    ]
    shapes = [flat.outline, *flat.holes]
    corners = np.array([(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)])
    lines = [ViewLine("blank", _round_trip(corners))]
    lines += [ViewLine("edge", _round_trip(sampled(one))) for one in shapes]
    lines += [ViewLine("bend", np.array([one.start, one.end])) for one in flat.bends]
    lines += _crosses(flat.holes, flat.middles())
    anchor = flat.at(blank.bends[0].start)[0] if blank.bends else None
    return View(title, flat.size, tuple(lines), tuple(dimensions), tuple(tags), anchor)


def edge_look(blank: Blank, axes: Axes) -> tuple[Floats, str]:
    """Which way the edge view looks (3,), along the first bend, and from where, in words."""
    (x0, y0), (x1, y1) = blank.bends[0].start, blank.bends[0].end
    along = np.array([x1 - x0, y1 - y0, 0.0]) / math.dist((x0, y0), (x1, y1))
    rise = float(along @ axes.up)
    if abs(rise) < _ALONG:
        return -axes.right, "from the right of the flat"
    where = "from below the flat" if abs(rise) > _BELOW else "along bend 1, from below"
    return (along if rise > 0 else -along), where


def folded_views(
    blank: Blank, flat: Flat, letters: Sequence[str], arrow: str = ""
) -> tuple[View, View]:
    """The folded part's edge with its outer sizes, and an isometric.

    arrow: what up the paper is in the car, such as "UP"; "" draws no arrow.
    """
    solid, axes = folded_solid(blank), Axes.of(flat)
    look, where = edge_look(blank, axes)
    right = np.cross(look, axes.out)
    edge = projected(solid, -look, right)
    middles = folded_middles(blank)
    tags = [
        Tag(name, (float(one @ right), float(one @ axes.out)), 0.0)
        for name, one in (
            *zip(letters, middles, strict=True),
            *((f"{k}", spot) for k, spot in enumerate(_bend_middles(blank), start=1)),
        )
    ]
    anchor = None
    if where == "from below the flat":
        anchor = float(np.array([*blank.bends[0].start, 0.0]) @ right)
    title = f"Edge, {where}: bends up go up"
    sides = ("horizontal", "vertical")
    return (
        _seen(title, edge, tags, (_uncovered(edge), edge.smooth, edge.sharp), sides, anchor),
        _isometric(solid, axes, zip(letters, middles, strict=True), arrow),
    )


def _isometric(
    solid: cq.Shape, axes: Axes, holes: Iterable[tuple[str, Floats]], arrow: str
) -> View:
    towards, right = axes.way(_ISO_TOWARDS), axes.way(_ISO_RIGHT)
    up = np.cross(towards, right)
    seen = projected(solid, towards, right)
    tags = [Tag(name, (float(one @ right), float(one @ up)), 0.0) for name, one in holes]
    said = f" Arrow: {arrow.lower()} in the car." if arrow else ""
    title = f"Folded, isometric, not to scale.{said}"
    view = _seen(title, seen, tags, ((), seen.smooth, seen.sharp), (), None)
    if not arrow:
        return view
    way = np.array([float(axes.up @ right), float(axes.up @ up)])
    return _with_arrow(view, way, arrow)


def _with_arrow(view: View, way: Floats, word: str) -> View:
    """An isometric with an arrow in a corner that is free, or else at its left."""
    from shapely import LineString, MultiLineString

    wide, high = view.size
    long, clear = _ARROW * max(view.size), _ARROW_CLEAR * max(view.size)
    reach = way * long
    part = MultiLineString([LineString(one.points) for one in view.lines]).convex_hull
    xs, ys = (clear, wide - clear - reach[0]), (clear, high - clear - abs(reach[1]))
    feet = [np.array([x, y]) for x in xs for y in ys]
    free = (one for one in feet if LineString([one, one + reach]).distance(part) > 2.0 * clear)
    shift = np.zeros(2)
    foot = next(free, None)
    if foot is None:
        shift = np.array([reach[0] + 2.0 * clear, 0.0])
        foot = np.array([0.0, clear])
    tip = foot + reach
    drawn = Arrow((float(foot[0]), float(foot[1])), (float(tip[0]), float(tip[1])))
    lines = [ViewLine(one.kind, one.points + shift) for one in view.lines]
    lines += [ViewLine("arrow", np.array(one)) for one in drawn.lines(0.2 * long)]
    tags = [Tag(one.text, (one.at[0] + shift[0], one.at[1] + shift[1]), 0.0) for one in view.tags]
    tags.append(Tag(word, drawn.tip, 0.0))
    size = wide + float(shift[0]), high
    return View(view.title, size, tuple(lines), (), tuple(tags))


def folded_middles(blank: Blank) -> tuple[Floats, ...]:
    """Middles (3,) of the holes once folded, on the side that is up in the flat."""
    places = folded_places(blank)
    return tuple(
        (place @ np.array([*middle_of(hole), blank.thickness_mm, 1.0]))[:3]
        for flange, place in zip(blank.flanges, places, strict=True)
        for hole in flange.holes
    )


def _bend_middles(blank: Blank) -> Iterator[Floats]:
    """The middle of each bend, halfway through its metal, once folded."""
    places = folded_places(blank)
    for bend in blank.bends:
        x, y = middle_of_bend(BendLine(bend.start, bend.end, ""))
        ux, uy = bend.across
        spent = bend.allowance_mm(blank.thickness_mm) / 2.0
        point = np.array([x + ux * spent, y + uy * spent, blank.thickness_mm / 2.0, 1.0])
        yield (places[bend.parent] @ fold_of(bend, blank.thickness_mm, 0.5) @ point)[:3]


def _seen(
    title: str,
    seen: Projection,
    tags: Sequence[Tag],
    groups: tuple[Iterable[Floats], Iterable[Floats], Iterable[Floats]],
    sizes: Sequence[str],
    anchor: float | None,
) -> View:
    """A projection as a view. groups: hidden, thin and sharp lines. anchor: projection mm."""
    x0, y0, x1, y1 = seen.box()
    shift = np.array([-x0, -y0])
    lines = [
        ViewLine(kind, points + shift)
        for kind, group in zip(("hidden", "thin", "edge"), groups, strict=True)
        for points in group
    ]
    wide, high = x1 - x0, y1 - y0
    dimensions = []
    if "horizontal" in sizes:
        dimensions.append(_dimension((0.0, high), (wide, high), wide, "horizontal"))
    if "vertical" in sizes:
        dimensions.append(_dimension((wide, 0.0), (wide, high), high, "vertical"))
    moved = tuple(Tag(one.text, (one.at[0] - x0, one.at[1] - y0), one.reach_mm) for one in tags)
    at = None if anchor is None else anchor - x0
    return View(title, (wide, high), tuple(lines), tuple(dimensions), moved, at)


def _uncovered(seen: Projection) -> list[Floats]:
    """Hidden edges without what lies right behind seen ones."""
    from shapely import LineString, union_all

    cover = union_all([LineString(one) for one in (*seen.sharp, *seen.smooth)]).buffer(0.02)
    left = [LineString(line).difference(cover) for line in seen.hidden]
    pieces = [piece for one in left for piece in getattr(one, "geoms", [one])]
    return [np.array(one.coords) for one in pieces if one.length > 0.1]


def _dimension(start: Point, end: Point, mm: float, direction: str) -> Dimension:
    ends = [(float(x), float(y)) for x, y in (start, end)]
    return Dimension(ends[0], ends[1], both(mm), direction)  # type: ignore[arg-type]


def _reach(hole: Circle | Path) -> float:
    """From its middle to its furthest rim."""
    if isinstance(hole, Circle):
        return hole.diameter_mm / 2.0
    return float(np.hypot(*(sampled(hole) - middle_of(hole)).T).max())


def _crosses(holes: Sequence[Circle | Path], middles: Sequence[Point]) -> Iterator[ViewLine]:
    """Centre lines of the holes, a little past them."""
    for hole, (x, y) in zip(holes, middles, strict=True):
        points = sampled(hole)
        (x0, y0), (x1, y1) = points.min(axis=0) - 2.0, points.max(axis=0) + 2.0
        yield ViewLine("chain", np.array([(x0, y), (x1, y)]))
        yield ViewLine("chain", np.array([(x, y0), (x, y1)]))


def _round_trip(points: Floats) -> Floats:
    return np.vstack([points, points[:1]])
