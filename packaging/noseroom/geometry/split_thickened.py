"""A bent-sheet part made thicker for printing: walls, bends, gussets and holes as one solid.

The faces that it is bolted by stay where they are; walls grow away from them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.outlines import Circle
from noseroom.geometry.sheet import Bend, Blank, Flange, fold_of, folded_places
from noseroom.geometry.sheet_flat import as_path, middle_of, polygon_of
from noseroom.geometry.split_solids import (
    Solid,
    arrays,
    hull_solid,
    solid_of_mesh,
    turned,
    union,
)

Floats = NDArray[np.float64]
Span = tuple[float, float]
"""Least and greatest height over the flat's underside, mm."""

_STEPS = 8  # of a bend
_BITE_MM = 0.2  # how far a gusset goes into a wall
_APART_MM = 0.005
"""Faces of two solids that are joined lie this far apart, not in one plane all but for rounding."""
_PIN_MM = 0.4
_SAME_WAY, _SIDES = 3, 8  # decimals of a normal; how many sides are tried
_MORE_MM = 1.0  # how far a cutter stands out of a wall
_ROOF = 1.25  # radii from a hole's middle to the flat top of its roof
_LEAST_LEG_MM = 3.0
_TRIED = 40
_CHORD_MM = 0.05


@dataclass(frozen=True)
class Thickening:
    """How thick a printed variant is made.

    wall_mm, gusset_mm: thicknesses. clear_radii: kept free round each hole for washer and socket,
    in its radii. fillet_mm: leg of the fillet inside each bend.
    """

    wall_mm: float
    gusset_mm: float
    clear_radii: float
    fillet_mm: float


@dataclass(frozen=True, eq=False)
class Thickened:
    """A printed variant.

    solid: in the folded part's frame. up: (3,) the way that is best up on the bed: along the bends,
    so that no layer lies across one. along: (3,) each bend's own way. gussets: leg of each that
    found room, mm.
    """

    solid: Solid
    up: Floats
    along: tuple[Floats, ...]
    gussets: tuple[float, ...]


def thickened(blank: Blank, bearing: Sequence[int], rules: Thickening) -> Thickened:
    """The printed variant of a blank.

    bearing: one a flange: -1 where its underside lies on something, 1 where its upper side does, 0
    where neither does.
    """
    places = folded_places(blank)
    spans = [_span(side, blank.thickness_mm, rules.wall_mm) for side in bearing]
    along = _along(blank, places)
    up = _up(along)
    walls = [
        _wall(flange, span, place)
        for flange, span, place in zip(blank.flanges, spans, places, strict=True)
    ]
    legs: list[float] = []
    for bend in blank.bends:
        home = places[bend.parent]
        walls += [turned(one, home) for one in _zone(bend, blank, spans)]
        flat = np.array([*np.subtract(bend.end, bend.start), 0.0])
        rises = bool(up @ home[:3, :3] @ flat > 0)
        braces = list(_braces(bend, blank, spans, rules, rises))
        walls += [turned(one, home) for one, _ in braces]
        legs += [leg for _, leg in braces[1:]]
    cutters = [
        turned(one, place)
        for flange, span, place in zip(blank.flanges, spans, places, strict=True)
        for one in _cutters(flange, span, place[:3, :3].T @ up)
    ]
    return Thickened(union(walls) - union(cutters), up, along, tuple(legs))


def _span(side: int, thickness_mm: float, wall_mm: float) -> Span:
    if side < 0:
        return 0.0, wall_mm
    if side > 0:
        return thickness_mm - wall_mm, thickness_mm
    return (thickness_mm - wall_mm) / 2, (thickness_mm + wall_mm) / 2


def _along(blank: Blank, places: Sequence[Floats]) -> tuple[Floats, ...]:
    """Along each bend, (3,), all more or less one way."""
    ways: list[Floats] = []
    for bend in blank.bends:
        flat = np.array([*np.subtract(bend.end, bend.start), 0.0]) / bend.length_mm
        way = places[bend.parent][:3, :3] @ flat
        ways.append(way if not ways or way @ ways[0] >= 0 else -way)
    return tuple(ways)


def _up(along: Sequence[Floats]) -> Floats:
    """Along the bends, as well as one way can be; straight up for a part without any."""
    if not along:
        return np.array([0.0, 0.0, 1.0])
    mean: Floats = np.mean(along, axis=0)
    return mean / float(np.linalg.norm(mean))


def askew_deg(up: Floats, along: Sequence[Floats]) -> float:
    """How far the way up is from the bends, at most; 0 for a part without any."""
    return max(
        (math.degrees(math.acos(min(1.0, abs(float(way @ up))))) for way in along), default=0.0
    )


def resting_ways(solid: Solid, up: Floats, within_deg: float) -> list[Floats]:
    """Ways up (3,), near one or its opposite, with which a solid rests on a side of its hull.

    The largest side first; with none, the way itself.
    """
    vertices, triangles = arrays(solid.hull())
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    areas = np.linalg.norm(normals, axis=1)
    normals = normals / np.maximum(areas, 1e-12)[:, None]
    near = np.abs(normals @ up) >= math.cos(math.radians(within_deg))
    sides: dict[tuple[float, ...], float] = {}
    for normal, area in zip(normals[near], areas[near], strict=True):
        key = tuple(float(one) for one in normal.round(_SAME_WAY))
        sides[key] = sides.get(key, 0.0) + float(area)
    best = sorted(sides, key=lambda key: (-round(sides[key], 6), key))[:_SIDES]
    found = [-np.array(key) / float(np.linalg.norm(key)) for key in best]
    return found or [up]


def _extruded(polygon: Any, low: float, high: float) -> Solid:
    import manifold3d

    loops = [np.asarray(polygon.exterior.coords)[:-1]]
    loops += [np.asarray(one.coords)[:-1] for one in polygon.interiors]
    section = manifold3d.CrossSection(loops, manifold3d.FillRule.EvenOdd)
    return manifold3d.Manifold.extrude(section, high - low).translate((0.0, 0.0, low))


def _wall(flange: Flange, span: Span, place: Floats) -> Solid:
    polygon = polygon_of(flange.outline).simplify(_CHORD_MM)
    return turned(_extruded(polygon, *span), place)


def _zone(bend: Bend, blank: Blank, spans: Sequence[Span]) -> Iterator[Solid]:
    """The bend as slices, in its parent's frame: its walls go over from one span to the other."""
    t = blank.thickness_mm
    out = _out(bend) * bend.allowance_mm(t)
    first, last = np.array(spans[bend.parent]), np.array(spans[bend.child])
    up = bend.angle_deg > 0
    centre = t + bend.inside_mm if up else -bend.inside_mm
    limits = (-np.inf, centre - _PIN_MM / 8) if up else (centre + _PIN_MM / 8, np.inf)
    nudge = np.subtract(bend.end, bend.start) / bend.length_mm * _APART_MM
    ends = np.array([bend.start + nudge, bend.end - nudge])

    def ring(share: float, beyond: float = 0.0) -> Floats:
        """A section of the bend, a hair thinner than its walls; beyond: so far into one."""
        heights = (1.0 - share) * first + share * last + np.array([_APART_MM, -_APART_MM])
        heights = np.clip(heights, *limits)
        corners = [
            [*(end + share * out + beyond * _out(bend)), z, 1.0] for end in ends for z in heights
        ]
        return (np.array(corners) @ fold_of(bend, t, share).T)[:, :3]

    rings = [ring(0.0, -_BITE_MM)]
    rings += [ring(k / _STEPS) for k in range(_STEPS + 1)]
    rings += [ring(1.0, _BITE_MM)]
    yield _tube(rings)
    inner = (first, last)
    if any(one[1] > centre - _PIN_MM if up else one[0] < centre + _PIN_MM for one in inner):
        # Walls that reach the bend's centre would meet there in a line: a pin makes them one.
        corners = [
            [*(end + u * _out(bend)), centre + v]
            for end in ends
            for u in (-_PIN_MM, _PIN_MM)
            for v in (-_PIN_MM, _PIN_MM)
        ]
        yield hull_solid(np.array(corners))


def _tube(rings: Sequence[Floats]) -> Solid:
    """What rings of four corners enclose, one after the other.

    Slices that share a ring, each a solid of its own, would be parted by films where it is not
    flat to the last bit.
    """
    order = [0, 1, 3, 2]  # round a ring
    vertices = np.concatenate([ring[order] for ring in rings])
    ends = len(vertices) - 4
    triangles = [[0, 2, 1], [0, 3, 2], [ends, ends + 1, ends + 2], [ends, ends + 2, ends + 3]]
    for k in range(0, ends, 4):
        for i in range(4):
            j = (i + 1) % 4
            triangles += [[k + i, k + j, k + 4 + j], [k + i, k + 4 + j, k + 4 + i]]
    return solid_of_mesh(vertices, np.array(triangles))


def _out(bend: Bend) -> Floats:
    """From the parent to the child, in the flat, (2,)."""
    along = np.subtract(bend.end, bend.start) / bend.length_mm
    return np.array([along[1], -along[0]])


def _braces(
    bend: Bend, blank: Blank, spans: Sequence[Span], rules: Thickening, rises: bool
) -> Iterator[tuple[Solid, float]]:
    """The fillet along a bend and a gusset at either end of it, with their legs, in its parent.

    rises: whether its end is above its start on the bed. The gusset that is higher there slopes
    back into the corner, so that it is printed on no air.
    """
    long = bend.length_mm

    def room(strip: Span, clear_radii: float) -> float:
        return min(_leg(bend, blank, own, strip, clear_radii) for own in (False, True))

    fillet = min(rules.fillet_mm, max(room((0.0, long), 0.0), _BITE_MM))
    yield _wedge(bend, blank, spans, [(0.0, fillet), (long, fillet)]), fillet
    if long < 2.0 * rules.gusset_mm + _LEAST_LEG_MM:
        return
    low, high = (0.0, rules.gusset_mm), (long - rules.gusset_mm, long)
    if not rises:
        low, high = high, low
    leg = room(low, rules.clear_radii)
    if leg >= fillet + _LEAST_LEG_MM:
        yield _wedge(bend, blank, spans, [(one, leg) for one in low]), leg
    most = room(high, rules.clear_radii)
    for k in range(_TRIED, 0, -1):
        leg = most * k / _TRIED
        # Its foot is this far below it; half way it reaches half as far.
        foot = high[0] - leg if rises else high[1] + leg
        half = (high[0] + foot) / 2 if rises else (high[1] + foot) / 2
        strips = [(min(half, *high), max(half, *high)), (min(foot, *high), max(foot, *high))]
        if leg < fillet + _LEAST_LEG_MM or not 0.0 <= foot <= long:
            continue
        if room(strips[0], rules.clear_radii) >= leg and room(strips[1], 0.0) >= leg / 2:
            ends = [(one, leg) for one in high]
            yield _wedge(bend, blank, spans, [*ends, (foot, _BITE_MM)]), leg
            return


def _leg(bend: Bend, blank: Blank, child: bool, strip: Span, clear_radii: float) -> float:
    """How far a gusset may reach along one flange: inside its outline, clear of its holes."""
    from shapely import Polygon

    t = blank.thickness_mm
    flange = blank.flanges[bend.child if child else bend.parent]
    out = _out(bend)
    along = np.array([-out[1], out[0]])
    foot = np.asarray(bend.start) + (out * bend.allowance_mm(t) if child else 0.0)
    way = out if child else -out
    room = polygon_of(flange.outline).buffer(1e-6)
    for hole in flange.holes if clear_radii > 0 else ():
        polygon = polygon_of(hole)
        radius = math.sqrt(polygon.area / math.pi)
        room = room.difference(polygon.buffer((clear_radii - 1.0) * radius))
    deep = float(np.ptp(np.asarray(room.envelope.exterior.coords), axis=0).max())
    leg = 0.0
    for k in range(1, _TRIED + 1):
        tried = deep * k / _TRIED
        ends = [foot + along * strip[0], foot + along * strip[1]]
        corners = [*ends, *[one + way * tried for one in ends[::-1]]]
        if not room.contains(Polygon(corners).buffer(-1e-3)):
            break
        leg = tried
    return leg


def _wedge(
    bend: Bend, blank: Blank, spans: Sequence[Span], legs: Sequence[tuple[float, float]]
) -> Solid:
    """A brace in the inside of a bend, from wall to wall, in the parent's frame.

    legs: places along the bend, from its start, and how far along either wall it reaches there.
    """
    t = blank.thickness_mm
    inside = 1 if bend.angle_deg > 0 else 0
    bite = -_BITE_MM if inside else _BITE_MM
    out = _out(bend)
    along = np.array([-out[1], out[0]])
    spare = (2.0 if len(legs) == 2 and legs[0][0] == 0.0 else 3.0) * _APART_MM
    heights = np.array([spans[own][inside] + bite for own in (bend.parent, bend.child)])
    corners = []
    for place, leg in legs:
        foot = np.asarray(bend.start) + along * min(max(place, spare), bend.length_mm - spare)
        corners.append([*(foot - out * leg), heights[0]])
        # Along the inside of the bend, so that nothing stays open behind it.
        for share in np.linspace(0.0, 1.0, _STEPS // 2 + 1):
            within = foot + share * bend.allowance_mm(t) * out
            height = heights @ np.array([1.0 - share, share])
            corners.append(list((fold_of(bend, t, share) @ [*within, height, 1.0])[:3]))
        beyond = foot + out * (bend.allowance_mm(t) + leg)
        corners.append(list((fold_of(bend, t) @ [*beyond, heights[1], 1.0])[:3]))
    return hull_solid(np.array(corners))


def _cutters(flange: Flange, span: Span, up: Floats) -> Iterator[Solid]:
    """What its holes take away; a round hole that is printed lying gets a roof."""
    from shapely import MultiPoint

    lying = np.asarray(up[:2])
    size = float(np.linalg.norm(lying))
    for hole in flange.holes:
        polygon = polygon_of(hole).simplify(_CHORD_MM / 5)
        if isinstance(hole, Circle) and size > 0.5:
            # Two tangents at 45 degrees, cut off flat a little above the hole.
            way = lying / size
            side = np.array([-way[1], way[0]])
            radius = hole.diameter_mm / 2
            half = (math.sqrt(2.0) - _ROOF) * radius
            middle = np.asarray(middle_of(hole))
            tops = [middle + way * _ROOF * radius + side * sense * half for sense in (-1, 1)]
            points = np.vstack([as_path(hole).sampled(_CHORD_MM / 5), tops])
            polygon = MultiPoint(points).convex_hull
        yield _extruded(polygon, span[0] - _MORE_MM, span[1] + _MORE_MM)
