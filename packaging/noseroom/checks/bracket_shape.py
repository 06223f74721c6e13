"""A bracket's blank from the planes that it lies in: exact at both ends, however they are tilted.

Each flat of a bracket lies in a plane of its own: on the rail, on the tab, and between them. Two
planes meet in a line, and there the sheet folds, so that nothing is left to be bent to fit. Fold
lines of one bracket need not be parallel in the flat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path, Point, slot
from noseroom.geometry.sheet import Bend, Blank, Flange, Hole, fold_of

Floats = NDArray[np.float64]
Disc = tuple[Point, float]

_FLAT_RAD = math.radians(0.02)
"""Planes that differ by less are one plane: over a tab's width that is a hundredth of a mm."""
_TINY = 1e-9


class ShapeError(GeometryError):
    """Planes and holes between which no sheet folds. short_mm: by how much, where it is that."""

    def __init__(self, rule: str, text: str, short_mm: float = 0.0) -> None:
        super().__init__(text)
        self.rule, self.short_mm = rule, short_mm


@dataclass(frozen=True, eq=False)
class Plane:
    """Where a flat's underside lies: a point (3,) mm of it and the unit way up (3,), car's frame.

    The sheet lies between the plane and its thickness above it.
    """

    point: Floats
    up: Floats

    def lifted(self, by_mm: float) -> Plane:
        """The plane so far up."""
        return Plane(self.point + by_mm * self.up, self.up)

    def height_mm(self, at: Floats) -> float:
        """How far a point (3,) is above it."""
        return float((at - self.point) @ self.up)


@dataclass(frozen=True, eq=False)
class Opening:
    """A hole through a flat: its middle (3,) mm, or a slot's. along: (3,) unit, of its travel.

    is_open: cut to the edge, away from the bend, to slip under a bolt; only alone in a first flat.
    """

    middle: Floats
    diameter_mm: float
    travel_mm: float = 0.0
    along: Floats | None = None
    is_open: bool = False

    @property
    def ends(self) -> tuple[Floats, ...]:
        """The middles of its round ends."""
        if self.along is None or self.travel_mm <= 0.0:
            return (self.middle,)
        half = self.travel_mm / 2.0 * self.along
        return self.middle - half, self.middle + half


@dataclass(frozen=True, eq=False)
class Flat:
    """One flat: its plane, its openings, and the metal round each of them.

    parent: the number of the flat that it folds from, -1 for the first. metal_mm: from an opening's
    middle, or a slot's end, to the edge of the sheet; aside: (3,) mm, by which that is wider to
    either side. turn_at: (3,) mm, near which it folds off its
    parent; its bend is middled on what is nearest of the fold line. width_mm: of that bend.
    """

    plane: Plane
    parent: int = -1
    openings: tuple[Opening, ...] = ()
    metal_mm: float = 0.0
    turn_at: Floats | None = None
    width_mm: float = 0.0
    aside: Floats | None = None

    @property
    def middle(self) -> Floats | None:
        """The middle of its openings, (3,) mm; None where it has none."""
        ends = [end for one in self.openings for end in one.ends]
        return np.asarray(np.mean(ends, axis=0)) if ends else None


@dataclass(frozen=True, eq=False)
class Sheet:
    """What it is bent from, mm. k: the neutral line's place in the thickness."""

    thickness_mm: float
    inside_mm: float
    k: float


def crossed(a: Floats, b: Floats) -> Floats:
    """The cross product of two vectors (3,)."""
    (x, y, z), (u, v, w) = a.tolist(), b.tolist()
    return np.array([y * w - z * v, z * u - x * w, x * v - y * u])


def fold_line(first: Plane, second: Plane) -> tuple[Floats, Floats]:
    """Where two planes meet: the point (3,) that is nearest to the car's origin, and a unit way.

    Raises ShapeError where they do not, or are one.
    """
    along = crossed(first.up, second.up)
    size = float(np.sqrt(along @ along))
    if size < math.sin(_FLAT_RAD):
        raise ShapeError("parallel", "two flats that are parallel meet in no fold line")
    rows = np.array([first.up, second.up, along / size])
    right = np.array([first.up @ first.point, second.up @ second.point, 0.0])
    return np.linalg.solve(rows, right), along / size


def made_blank(flats: Sequence[Flat], sheet: Sheet) -> tuple[Blank, Floats]:
    """The blank of a bracket and where its first flat's frame stands: (4, 4), to the car's, mm.

    flats: the first with an opening, every other after its parent.
    Raises ShapeError where the sheet does not reach, or would have to run back on itself.
    """
    home = _home(flats)
    places: list[Floats] = [home]
    edges: list[list[tuple[Point, Point]]] = [[] for _ in flats]
    bends: list[Bend] = []
    for number, flat in enumerate(flats):
        if number == 0:
            continue
        bend = _bend(flats, number, places, edges, sheet)
        place = places[flat.parent] @ fold_of(bend, sheet.thickness_mm)
        edges[flat.parent].append((bend.start, bend.end))
        out = _out(bend)
        wide = bend.allowance_mm(sheet.thickness_mm)
        far = [_moved(one, out, wide) for one in (bend.start, bend.end)]
        edges[number].append((far[1], far[0]))
        bends.append(bend)
        places.append(place)
    flanges = [
        _flange(flat, place, some) for flat, place, some in zip(flats, places, edges, strict=True)
    ]
    return Blank(sheet.thickness_mm, tuple(flanges), tuple(bends)), home


def _home(flats: Sequence[Flat]) -> Floats:
    """The first flat's frame: its origin in the middle of its openings, x towards where it goes."""
    first = flats[0]
    middle = first.middle
    if middle is None:
        raise GeometryError("the first flat of a bracket needs an opening")
    origin = middle - first.plane.height_mm(middle) * first.plane.up
    goal = next((one.turn_at for one in flats[1:] if one.turn_at is not None), None)
    if goal is None:
        goal = first.openings[-1].ends[-1]
    x = goal - origin
    x = x - (x @ first.plane.up) * first.plane.up
    size = float(np.sqrt(x @ x))
    if size < _TINY:
        helper = np.eye(3)[int(np.argmin(np.abs(first.plane.up)))]
        x = crossed(first.plane.up, helper)
        size = float(np.sqrt(x @ x))
    x = x / size
    made = np.eye(4)
    made[:3, 0], made[:3, 1], made[:3, 2] = x, crossed(first.plane.up, x), first.plane.up
    made[:3, 3] = origin
    return made


def _bend(
    flats: Sequence[Flat],
    number: int,
    places: Sequence[Floats],
    edges: Sequence[Sequence[tuple[Point, Point]]],
    sheet: Sheet,
) -> Bend:
    flat = flats[number]
    parent = flats[flat.parent]
    assert flat.turn_at is not None
    point, along = fold_line(parent.plane, flat.plane)
    centre = point + ((flat.turn_at - point) @ along) * along
    inverse = np.linalg.inv(places[flat.parent])
    here = (inverse @ [*centre, 1.0])[:2]
    way = (inverse[:3, :3] @ along)[:2]
    anchor = _anchor(parent, places[flat.parent], edges[flat.parent])
    out = np.array([way[1], -way[0]])
    if out @ (anchor - here) > 0:
        way, out = -way, -out
    up = inverse[:3, :3] @ flat.plane.up
    angle = math.atan2(-float(up[:2] @ out), float(up[2]))
    if abs(angle) > math.radians(170.0):
        raise ShapeError("bend", "the sheet would have to fold flat on itself")
    radius = sheet.inside_mm + (sheet.thickness_mm if angle > 0 else 0.0)
    back = radius * math.tan(abs(angle) / 2.0)
    room = float((here - anchor) @ out)
    if room < back:
        raise ShapeError(
            "room for the bend",
            f"the bend begins {back - room:.1f} mm behind what it has to leave flat",
            back - room,
        )
    middle, half = here - back * out, flat.width_mm / 2.0
    ends = [middle - half * way, middle + half * way]
    start, end = ((float(x), float(y)) for x, y in ends)
    return Bend(flat.parent, number, start, end, math.degrees(angle), sheet.inside_mm, sheet.k)


def _anchor(flat: Flat, place: Floats, edges: Sequence[tuple[Point, Point]]) -> Floats:
    """What of a flat its next bend has to stay clear of, (2,): its openings, or its own bend."""
    middle = flat.middle
    if middle is not None:
        return np.asarray((np.linalg.inv(place) @ [*middle, 1.0])[:2])
    return np.asarray(np.mean([point for edge in edges[:1] for point in edge], axis=0))


def _out(bend: Bend) -> Point:
    x, y = bend.end[0] - bend.start[0], bend.end[1] - bend.start[1]
    return y / bend.length_mm, -x / bend.length_mm


def _moved(point: Point, way: Point, by_mm: float) -> Point:
    return point[0] + by_mm * way[0], point[1] + by_mm * way[1]


def _flange(flat: Flat, place: Floats, edges: Sequence[tuple[Point, Point]]) -> Flange:
    """The metal round a flat's openings, drawn out to its bends."""
    inverse = np.linalg.inv(place)

    def down(point: Floats) -> Point:
        x, y = (inverse @ [*point, 1.0])[:2]
        return float(x), float(y)

    aside = (0.0,) if flat.aside is None else (flat.aside, -flat.aside)
    discs: list[Disc] = [
        (down(end + by), flat.metal_mm) for one in flat.openings for end in one.ends for by in aside
    ]
    for edge in edges:
        _demand_clear(edge, discs, [one for other in edges if other is not edge for one in other])
        discs += [(point, 0.0) for point in edge]
    if any(one.is_open for one in flat.openings):
        return Flange(_forked(flat, edges))
    holes: list[Hole] = []
    for one in flat.openings:
        if len(one.ends) == 1:
            holes.append(Circle(down(one.middle), one.diameter_mm))
            continue
        (x0, y0), (x1, y1) = (down(end) for end in one.ends)
        turn = math.atan2(y1 - y0, x1 - x0)
        middle = (x0 + x1) / 2.0, (y0 + y1) / 2.0
        holes.append(slot(middle, one.travel_mm, one.diameter_mm, turn))
    return Flange(hull_of_discs(discs), tuple(holes))


def _forked(flat: Flat, edges: Sequence[tuple[Point, Point]]) -> Path:
    """A foot with square corners and a slot that is open away from its bend.

    The flat's own frame has its origin in the opening's middle, and x towards the bend.
    """
    (opening,) = flat.openings
    aside = 0.0 if flat.aside is None else float(np.sqrt(flat.aside @ flat.aside))
    end, side, half = -flat.metal_mm, flat.metal_mm + aside, opening.diameter_mm / 2.0
    corners: list[Disc] = [((end, side), 0.0), ((end, -side), 0.0)]
    corners += [(point, 0.0) for edge in edges for point in edge]
    around = hull_of_discs(corners)
    at = next(k for k, point in enumerate(around.points) if math.dist(point, (end, side)) < _TINY)
    points = [*around.points[at + 1 :], *around.points[: at + 1]]
    notch = [(end, half), (0.0, half), (0.0, -half), (end, -half)]
    bulges = [*[0.0] * len(points), 0.0, -1.0, 0.0, 0.0]
    return Path((*points, *notch), tuple(bulges))


def _demand_clear(
    edge: tuple[Point, Point], discs: Sequence[Disc], points: Sequence[Point]
) -> None:
    """A bend's edge has to be a side of its flange: all else lies on its left."""
    (x0, y0), (x1, y1) = edge
    size = math.dist(*edge)
    for (x, y), radius in (*discs, *((point, 0.0) for point in points)):
        inside = ((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / size
        if inside < radius + (_TINY if radius else 1e-6):
            short = radius - inside
            what = "a bend runs into the metal round a hole" if radius else "two bends cross"
            raise ShapeError("room for the bend", f"{what}, by {short:.1f} mm", short)


def hull_of_discs(discs: Sequence[Disc]) -> Path:
    """The outline of a rubber band round discs (middle, radius), anticlockwise, arcs exact.

    Discs of no radius are corners. Raises GeometryError where fewer than two points are left.
    """
    some = list(dict.fromkeys(discs))
    some = [one for one in some if not any(_holds(other, one) for other in some if other != one)]
    if len(some) == 1:
        (x, y), radius = some[0]
        if radius <= 0:
            raise GeometryError("an outline needs more than a point")
        return Circle((x, y), 2.0 * radius).as_path()
    sides: dict[int, tuple[int, tuple[Point, Point]]] = {}
    for number, first in enumerate(some):
        for other, second in enumerate(some):
            tangent = None if number == other else _tangent(first, second)
            if tangent is not None and all(_inside(tangent, one) for one in some):
                known = sides.get(number)
                if known is None or math.dist(*tangent) > math.dist(*known[1]):
                    sides[number] = (other, tangent)
    start = min(sides)
    for _ in some:  # of discs on one straight side only the ends are met again
        start = sides[start][0]
    points: list[Point] = []
    bulges: list[float] = []
    here = start
    while True:
        after, (leaves, arrives) = sides[here]
        points.append(leaves)
        bulges.append(0.0)
        leaving = sides[after][1][0]
        radius = some[after][1]
        if radius > 0 and math.dist(arrives, leaving) > _TINY:
            points.append(arrives)
            bulges.append(_bulge(some[after][0], arrives, leaving))
        here = after
        if here == start:
            return Path(tuple(points), tuple(bulges) if any(bulges) else ())
        if len(points) > 4 * len(some):
            raise GeometryError("no outline goes round these discs")


def _holds(outer: Disc, inner: Disc) -> bool:
    return math.dist(outer[0], inner[0]) + inner[1] <= outer[1] + _TINY


def _tangent(first: Disc, second: Disc) -> tuple[Point, Point] | None:
    """The straight side with both discs on its left, from the first to the second."""
    (x0, y0), r0 = first
    (x1, y1), r1 = second
    apart = math.dist(first[0], second[0])
    if apart <= abs(r1 - r0) + _TINY:
        return None
    ux, uy = (x1 - x0) / apart, (y1 - y0) / apart
    # The side's outward normal makes this angle with the way from one to the other.
    c = (r0 - r1) / apart
    s = math.sqrt(max(1.0 - c * c, 0.0))
    nx, ny = c * ux + s * uy, c * uy - s * ux
    return (x0 + r0 * nx, y0 + r0 * ny), (x1 + r1 * nx, y1 + r1 * ny)


def _inside(side: tuple[Point, Point], disc: Disc) -> bool:
    (x0, y0), (x1, y1) = side
    size = math.dist(*side)
    if size < _TINY:
        return False
    (x, y), radius = disc
    return ((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / size >= radius - 1e-7


def _bulge(centre: Point, start: Point, end: Point) -> float:
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    return math.tan(((last - first) % math.tau) / 4.0)
