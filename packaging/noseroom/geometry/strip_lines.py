"""The line along the middle of a folded bracket, from bolt to bolt, and how much metal it has.

For sums by hand's methods: each flange is a straight leg, each bend the corner of the tangents to
its own middle line. That way round is never shorter than the bend itself, so that what is computed
from it is softer and further out than the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Point
from noseroom.geometry.sheet import Bend, Blank, fold_of, folded_places
from noseroom.geometry.sheet_flat import as_path

Floats = NDArray[np.float64]
Step = tuple[Bend, bool]
"""A bend on the way, and whether it is taken from parent to child."""

_ONE_PLACE = "two bolts of a bracket, or a bolt and a bend, are at one place"
_TINY = 1e-6
_CHORD_MM = 0.02
_STATIONS = 17
_WASHERS_WIDE = 2.0
"""Of a wide strip only so many washers' width carries at a bolt: the load gathers below it. With
it the sums stay above the peaks that finite elements show at the washer's rim."""
_MOST_CORNER_DEG = 90.0
"""A bend by more than this is taken as two corners or more: one would run far out."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a bolt goes through: flange, point in the flat, hole and washer across, mm.

    A slot's bolt can be anywhere in it: give the end of the slot that is worse.
    """

    flange: int
    at: Point
    hole_mm: float
    washer_mm: float


@dataclass(frozen=True, eq=False, slots=True)
class Leg:
    """A straight piece from node to node. normal: (3,), unit, the sheet's upper side.

    wide_mm: the least metal across it. ends_mm: the least at either end, less the bolt's hole.
    inside_mm: the inside radius of the bend that it has part in at either end, 0 for none.
    flange: its number; -1 within a bend.
    """

    start: int
    end: int
    normal: Floats
    wide_mm: float
    ends_mm: tuple[float, float]
    inside_mm: tuple[float, float]
    flange: int


@dataclass(frozen=True, eq=False)
class StripLines:
    """Nodes (n, 3) mm of the folded part, in its root's frame; the legs between them.

    carried: the node of the bolt that holds what is carried. fixed: those of the bolts to the car
    that count. counted: these bolts themselves, one a flange.
    """

    nodes: Floats
    legs: tuple[Leg, ...]
    carried: int
    fixed: tuple[int, ...]
    counted: tuple[Spot, ...]


def strip_lines(blank: Blank, carried: Spot, fixed: Sequence[Spot]) -> StripLines:
    """The middle line from the bolt that carries to each one that holds.

    Of several in one flange the furthest counts: the others only make it stiffer.
    Raises GeometryError where a spot is on no metal, or two of them are the same.
    """
    if not fixed:
        raise GeometryError("a bracket that no bolt holds carries nothing")
    kept = _furthest(blank, carried, fixed)
    maker = _Maker(blank, carried)
    ends = tuple(maker.run(spot) for spot in kept)
    return StripLines(np.array(maker.nodes), tuple(maker.legs), 0, ends, tuple(kept))


def way_between(blank: Blank, start: int, end: int) -> list[Step]:
    """The bends from one flange to another, in the order in which they are met."""
    above = {bend.child: bend for bend in blank.bends}

    def up(flange: int) -> list[Bend]:
        found = []
        while flange in above:
            found.append(above[flange])
            flange = above[flange].parent
        return found

    first, last = up(start), up(end)
    while first and last and first[-1] is last[-1]:
        first.pop()
        last.pop()
    return [*((bend, False) for bend in first), *((bend, True) for bend in reversed(last))]


def edge_middle(bend: Bend, thickness_mm: float, *, child: bool) -> Point:
    """The middle of a zone's edge, in the flat."""
    start, end = bend.far_edge(thickness_mm) if child else (bend.start, bend.end)
    return (start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0


class Metal:
    """The blank in the flat, to be measured across."""

    def __init__(self, blank: Blank) -> None:
        import shapely
        from shapely.geometry import LineString, Polygon
        from shapely.ops import unary_union

        self._line, self._shapely = LineString, shapely
        zones = [
            Polygon([bend.start, bend.end, *bend.far_edge(blank.thickness_mm)[::-1]])
            for bend in blank.bends
        ]
        flanges = [Polygon(one.outline.sampled(_CHORD_MM)) for one in blank.flanges]
        # Neighbours share an edge to the last bit or nearly: a hair wider, and they join.
        self.whole: Any = unary_union([one.buffer(1e-6, join_style=2) for one in zones + flanges])
        holes = [
            Polygon(as_path(hole).sampled(_CHORD_MM)).buffer(_CHORD_MM)
            for one in blank.flanges
            for hole in one.holes
        ]
        self.solid: Any = self.whole.difference(unary_union(holes)) if holes else self.whole

    def chord(self, at: Point, way: Point) -> tuple[Point, Point] | None:
        """Ends of the line through a point along a unit way, to the edge; None outside.

        Holes do not end it.
        """
        pieces = self._across(self.whole, at, way)
        low = high = None
        for first, last in pieces:
            if first <= 1e-6 and last >= -1e-6:
                low = first if low is None else min(low, first)
                high = last if high is None else max(high, last)
        if low is None or high is None or high - low < 1e-6:
            return None
        return (at[0] + low * way[0], at[1] + low * way[1]), (
            at[0] + high * way[0],
            at[1] + high * way[1],
        )

    def metal_mm(self, at: Point, way: Point) -> float:
        """How much metal is on that line, holes taken off."""
        ends = self.chord(at, way)
        if ends is None:
            return 0.0
        return float(self._line(ends).intersection(self.solid).length)

    def _across(self, polygon: Any, at: Point, way: Point) -> Iterator[tuple[float, float]]:
        x0, y0, x1, y1 = polygon.bounds
        far = math.hypot(x1 - x0, y1 - y0) + math.dist(at, (x0, y0))
        ray = self._line(
            [
                (at[0] - far * way[0], at[1] - far * way[1]),
                (at[0] + far * way[0], at[1] + far * way[1]),
            ]
        )
        for piece in self._shapely.get_parts(ray.intersection(polygon)):
            along = [(x - at[0]) * way[0] + (y - at[1]) * way[1] for x, y in piece.coords]
            if along:
                yield min(along), max(along)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a leg begins or ends in the flat: at a bolt or at the edge of a bend."""

    at: Point
    spot: Spot | None = None
    bend: Bend | None = None

    @property
    def washer_mm(self) -> float:
        return 0.0 if self.spot is None else self.spot.washer_mm

    @property
    def most_mm(self) -> float:
        """No leg is wider than the bend that it runs into."""
        return math.inf if self.bend is None else self.bend.length_mm

    @property
    def carries_mm(self) -> float:
        """Width that carries there, at most."""
        if self.spot is None:
            return self.most_mm
        return _WASHERS_WIDE * self.spot.washer_mm - self.spot.hole_mm

    @property
    def inside_mm(self) -> float:
        return 0.0 if self.bend is None else self.bend.inside_mm


class _Maker:
    """Nodes and legs as the ways from the carried bolt are walked; what two share is one."""

    def __init__(self, blank: Blank, carried: Spot) -> None:
        self.blank, self.carried = blank, carried
        self.metal = Metal(blank)
        self.places = folded_places(blank)
        self.nodes: list[Floats] = [self._on(carried)]
        self.legs: list[Leg] = []
        self._corners: dict[tuple[int, bool], list[int]] = {}
        self._joined: set[tuple[int, int]] = set()

    def run(self, spot: Spot) -> int:
        """Walk to a fixed bolt; its node."""
        here, flange = 0, self.carried.flange
        begin = _Place(self.carried.at, spot=self.carried)
        for bend, down in way_between(self.blank, flange, spot.flange):
            corners = self._corner_nodes(bend, down)
            self._leg((here, corners[0]), flange, begin, self._edge(bend, child=not down))
            self._round(corners, bend)
            here, flange = corners[-1], bend.child if down else bend.parent
            begin = self._edge(bend, child=down)
        self.nodes.append(self._on(spot))
        last = len(self.nodes) - 1
        self._leg((here, last), flange, begin, _Place(spot.at, spot=spot))
        return last

    def _edge(self, bend: Bend, *, child: bool) -> _Place:
        return _Place(edge_middle(bend, self.blank.thickness_mm, child=child), bend=bend)

    def _on(self, spot: Spot) -> Floats:
        half = self.blank.thickness_mm / 2.0
        return np.asarray((self.places[spot.flange] @ [*spot.at, half, 1.0])[:3])

    def _corner_nodes(self, bend: Bend, down: bool) -> list[int]:
        """Nodes of a bend's corners in the order of the way."""
        number = self.blank.bends.index(bend)
        if (number, down) not in self._corners:
            count = math.ceil(abs(bend.angle_deg) / _MOST_CORNER_DEG - 1e-9)
            middle = bend.inside_mm + self.blank.thickness_mm / 2.0
            reach = middle * math.tan(math.radians(abs(bend.angle_deg)) / (2.0 * count))
            found = []
            for k in range(count):
                at, out = self._zone(bend, k / count)
                self.nodes.append(at + reach * out)
                found.append(len(self.nodes) - 1)
            self._corners[number, down] = found if down else found[::-1]
        return self._corners[number, down]

    def _zone(self, bend: Bend, share: float) -> tuple[Floats, Floats]:
        """The middle line at a share of a bend: point, and the way on to the child."""
        t = self.blank.thickness_mm
        start, end = bend.far_edge(t, share)
        middle = [(start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0, t / 2.0, 1.0]
        carry = self.places[bend.parent] @ fold_of(bend, t, share)
        return (carry @ middle)[:3], carry[:3, :2] @ np.array(bend.across)

    def _round(self, corners: Sequence[int], bend: Bend) -> None:
        """The legs between the corners of one bend."""
        for start, end in pairwise(corners):
            along = self.nodes[end] - self.nodes[start]
            way = np.subtract(bend.end, bend.start) / bend.length_mm
            line = self.places[bend.parent][:3, :2] @ way
            normal = np.cross(along, line)
            wide = bend.length_mm
            inside = (bend.inside_mm, bend.inside_mm)
            self._add(Leg(start, end, normal / _size(normal), wide, (wide, wide), inside, -1))

    def _leg(self, nodes: tuple[int, int], flange: int, begin: _Place, stop: _Place) -> None:
        least, ends = self._widths(begin, stop)
        normal = self.places[flange][:3, 2]
        inside = (begin.inside_mm, stop.inside_mm)
        self._add(Leg(*nodes, normal, least, ends, inside, flange))

    def _add(self, leg: Leg) -> None:
        if _size(self.nodes[leg.end] - self.nodes[leg.start]) < _TINY:
            raise GeometryError(_ONE_PLACE)
        if (leg.start, leg.end) not in self._joined:
            self._joined.add((leg.start, leg.end))
            self.legs.append(leg)

    def _widths(self, begin: _Place, stop: _Place) -> tuple[float, tuple[float, float]]:
        """Least metal across a leg clear of its washers, and what carries at its two ends."""
        (x0, y0), (x1, y1) = begin.at, stop.at
        long = math.dist(begin.at, stop.at)
        if long < _TINY:
            raise GeometryError(_ONE_PLACE)
        way = (-(y1 - y0) / long, (x1 - x0) / long)
        shares = np.linspace(0.0, 1.0, _STATIONS)
        found = [
            self.metal.metal_mm((x0 + share * (x1 - x0), y0 + share * (y1 - y0)), way)
            for share in shares
        ]
        clear = [
            wide
            for share, wide in zip(shares, found, strict=True)
            if share * long >= begin.washer_mm / 2.0
            and (1.0 - share) * long >= stop.washer_mm / 2.0
        ]
        # A leg that is all below washers is judged by what it has in its middle.
        least = min([*(clear or found[_STATIONS // 2 :][:1]), begin.most_mm, stop.most_mm])
        ends = min(found[0], begin.carries_mm, least), min(found[-1], stop.carries_mm, least)
        if min(least, *ends) <= 0.0:
            raise GeometryError("there is no metal along the line between two bolts of a bracket")
        return least, ends


def _furthest(blank: Blank, carried: Spot, fixed: Sequence[Spot]) -> list[Spot]:
    """One fixed bolt a flange, the one with the longest lever; in the order of the flanges."""
    best: dict[int, tuple[float, Spot]] = {}
    for spot in fixed:
        way = way_between(blank, carried.flange, spot.flange)
        start = carried.at
        if way:
            bend, down = way[-1]
            start = edge_middle(bend, blank.thickness_mm, child=down)
        lever = math.dist(start, spot.at)
        if spot.flange not in best or lever > best[spot.flange][0]:
            best[spot.flange] = lever, spot
    return [spot for _, (_, spot) in sorted(best.items())]


def _size(vector: Floats) -> float:
    return float(np.sqrt(vector @ vector))
