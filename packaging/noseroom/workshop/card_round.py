"""Round bodies of card: two ribs that cross on the axis, and plates across it.

What stands about one axis is a row of cylinders. Both ribs have its silhouette; the plates give
its ends, and its steps, their round. A plate that nothing wider stands before slides on along the
axis, over a narrower part of the ribs; any other is cut in two halves that come in from the sides.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from noseroom.tables.card import card_mm
from noseroom.workshop.card_joints import Ends, Works, joined, plane, rect

Floats = NDArray[np.float64]

_NECK = 0.5  # of a plate's reach: how far the ribs go through it
_LEAST_END = 2.0  # thicknesses of card in the radius of the smallest plate
_LEAST_RING = 4.0  # and in that of the smallest plate that is halved
_LEAST_CROSS = 1.0  # and in half the width of ribs that cross
_SLIDES = 0.8  # of a plate's radius: what stands before it may be as wide
_FAR = 1e5
_SAME_MM = 1e-6


@dataclass(frozen=True)
class Span:
    """One cylinder: from where to where along the axis, and its radius, mm."""

    low: float
    high: float
    radius: float


@dataclass(frozen=True)
class Level:
    """A plate across the axis: where its lower face is, its radius, how it gets there.

    how: 1 from the high end, -1 from the low one, 0 in two halves from the sides.
    """

    low: float
    radius: float
    how: int


def silhouette(normal: int, axis: int, middle: Floats, spans: Sequence[Span]) -> list[Polygon]:
    """Rectangles, one a cylinder, in the plane through the axis that is square to `normal`."""
    across = 3 - axis - normal
    at = float(middle[across])
    return [
        rect(normal, {axis: (one.low, one.high), across: (at - one.radius, at + one.radius)})
        for one in spans
    ]


def levels(spans: Sequence[Span], t: float) -> tuple[list[Level], list[str]]:
    """The plates of a row of cylinders, from the low end, and what is said where one is missing."""
    wanted: list[Level] = []
    for one in spans:
        if one.radius < _LEAST_END * t:
            continue
        for end, inner in ((one.low, one.low), (one.high, one.high - t)):
            side = -1 if end == one.low else 1
            if one.high - one.low < t and side > 0 and wanted and wanted[-1].low == one.low:
                continue  # thinner than the card: one plate shows both faces
            if _widest_at(spans, end, side) >= one.radius - 1e-9:
                continue
            beyond = _widest_beyond(spans, end, side)
            how = side if beyond <= _SLIDES * one.radius else 0
            wanted.append(Level(inner, one.radius, how))
    kept: list[Level] = []
    said: list[str] = []
    for level in sorted(wanted, key=lambda one: (one.how == 0, -one.radius, one.low)):
        if any(abs(level.low - other.low) < t - _SAME_MM for other in kept):
            if not any(level.low == other.low and level.radius <= other.radius for other in kept):
                said.append(
                    f"a face {2 * level.radius:.0f} mm across is shown by its ribs alone: another "
                    f"plate stands less than the card's {t:g} mm from it"
                )
        elif level.how or level.radius >= _LEAST_RING * t:
            kept.append(level)
    return sorted([*kept, *_rings(spans, kept, t)], key=lambda one: one.low), said


def _widest_at(spans: Sequence[Span], end: float, side: int) -> float:
    """The largest radius just beyond an end."""
    at = end + side * 1e-6
    return max((one.radius for one in spans if one.low < at < one.high), default=0.0)


def _widest_beyond(spans: Sequence[Span], end: float, side: int) -> float:
    """The largest radius anywhere beyond an end."""
    return max(
        (one.radius for one in spans if (one.high > end if side > 0 else one.low < end)),
        default=0.0,
    )


def _rings(spans: Sequence[Span], kept: Sequence[Level], t: float) -> Iterator[Level]:
    """Plates in between, where a body is long."""
    for one in spans:
        inside = sorted(level.low for level in kept if one.low - 1e-6 <= level.low <= one.high)
        if one.radius < _LEAST_RING * t or len(inside) < 2:
            continue
        for low, high in pairwise(inside):
            count = math.ceil((high - low) / card_mm("ring")) - 1
            for k in range(1, count + 1):
                at = low + (high - low) * k / (count + 1)
                if _widest_at(spans, at, 1) == one.radius:
                    yield Level(round(at, 3), one.radius, 0)


@dataclass(frozen=True)
class Ribs:
    """Two ribs that cross on an axis, and how the names of their plates begin.

    butt: the rib that halves of plates end at. lapped: the one that they are slotted into.
    """

    name: str
    axis: int
    middle: Floats
    butt: str
    lapped: str


def coaxial(
    works: Works, ribs: Ribs, row: Sequence[Level], also: Mapping[float, BaseGeometry] | None = None
) -> None:
    """The plates of a row of cylinders whose ribs stand already.

    What slides on along the axis goes in from the middle outwards, and before any half that would
    stand in its way. also: by a plate's lower face, what is to be joined to its round.
    """
    order = [
        *sorted((one for one in row if one.how < 0), key=lambda one: -one.low),
        *(one for one in row if one.how > 0),
        *(one for one in row if one.how == 0),
    ]
    for level in order:
        region: BaseGeometry = works.disc(ribs.axis, ribs.middle, level.radius)
        if also and level.low in also:
            region = joined([region, also[level.low]])
        name = f"{ribs.name} plate {1 + row.index(level)}"
        if level.how:
            end_plate(works, ribs, name, level.low, region, level.how)
        else:
            half_plates(works, ribs, name, level.low, region)


def end_plate(
    works: Works, ribs: Ribs, name: str, low: float, region: BaseGeometry, side: int
) -> None:
    """A plate that slides on along the axis, from the high end (side 1) or from the low one."""
    t, axis = works.t, ribs.axis
    for rib in (ribs.butt, ribs.lapped):
        _shoulder(works, rib, axis, (low, low + t), region, side, ribs.middle)
    works.add(name, axis, low, region, (axis, -side))
    for rib in (ribs.butt, ribs.lapped):
        works.through(rib, name)


def _shoulder(
    works: Works,
    rib: str,
    axis: int,
    ends: Ends,
    region: BaseGeometry,
    side: int,
    middle: Floats,
) -> None:
    """Take off a rib what would be in a plate's way, but for the neck that goes through it."""
    one = works.panels[rib]
    across = 3 - axis - one.normal
    at = float(middle[across])
    index = plane(axis).index(across)
    strip = rect(axis, {one.normal: one.ends, across: (-_FAR, _FAR)})
    cover = region.intersection(strip)
    if cover.is_empty:
        return
    low, high = cover.bounds[index], cover.bounds[index + 2]
    beyond = (ends[1], _FAR) if side > 0 else (-_FAR, ends[0])
    neck = max(_NECK * min(at - low, high - at), works.t)
    passing = [rect(one.normal, {axis: ends, across: (at - neck, at + neck)})]
    rest = one.region.intersection(rect(one.normal, {axis: beyond, across: (low, high)}))
    at_uv = plane(one.normal).index(across)
    for piece in getattr(rest, "geoms", [rest]):
        if piece.area > 0.0:
            span = (piece.bounds[at_uv], piece.bounds[at_uv + 2])
            passing.append(rect(one.normal, {axis: ends, across: span}))
    cut: BaseGeometry = rect(one.normal, {axis: ends, across: (low, high)})
    for piece in passing:
        cut = cut.difference(piece)
    one.region = one.region.difference(cut)


def half_plates(
    works: Works,
    ribs: Ribs,
    name: str,
    low: float,
    region: BaseGeometry,
    sides: Sequence[int] = (-1, 1),
) -> None:
    """A plate in two halves (or one of them), which come in square to the rib that they end at."""
    axis = ribs.axis
    way = works.panels[ribs.butt].normal
    other = 3 - axis - way
    at, off = float(ribs.middle[way]), works.t / 2.0 + works.card.fit_mm / 2.0
    for side in sides:
        span = (at + off, _FAR) if side > 0 else (-_FAR, at - off)
        half = region.intersection(rect(axis, {way: span, other: (-_FAR, _FAR)}))
        own = f"{name}, {_SIDES[way][side > 0]} half"
        works.add(own, axis, low, half, (way, -side))
        if side > 0:
            works.lap(ribs.lapped, own)
        else:
            works.lap(own, ribs.lapped)
        _open(works, ribs.lapped, own, way, side)
        works.meet(ribs.butt, own)


def _open(works: Works, rib: str, half: str, way: int, side: int) -> None:
    """Take off a rib what stands outside a half plate, where the half has to come in."""
    one, plate = works.panels[rib], works.panels[half]
    spans = works.spans(half, rib)
    if not spans:
        return
    edge, gap = (spans[-1][1] if side > 0 else spans[0][0]), works.card.fit_mm / 2.0
    path = {
        plate.normal: (plate.ends[0] - gap, plate.ends[1] + gap),
        way: (edge - gap, _FAR) if side > 0 else (-_FAR, edge + gap),
    }
    one.region = one.region.difference(rect(one.normal, path))


_SIDES = (("front", "rear"), ("left", "right"), ("lower", "upper"))


def stub(
    works: Works,
    host: str,
    name: str,
    start: Floats,
    axis: int,
    ends: Ends,
    radius: float,
    side: int,
) -> None:
    """A hose port that stands out of a body, where a rib of the body has its silhouette already.

    host: that rib. start (3,): a point of its axis. ends: where what crosses the rib begins and
    where it ends, along the axis. side: 1 where it points to the high end, else -1.
    """
    t = works.t
    rib = works.panels[host]
    normal = 3 - axis - rib.normal
    what = f"{name} {2 * radius:.1f} mm across"
    if radius < _LEAST_CROSS * t:
        works.notes.append(f"the {what} is one layer of card, {t:g} mm thick the other way.")
        return
    blade = f"{name} rib"
    works.add(
        blade,
        normal,
        float(start[normal]) - t / 2.0,
        silhouette(normal, axis, start, [Span(*ends, radius)])[0],
        (axis, -side),
    )
    if side > 0:
        works.lap(host, blade)
    else:
        works.lap(blade, host)
    if radius < _LEAST_END * t or ends[1] - ends[0] < 2.0 * t:
        works.notes.append(f"the {what} has no end plate: card of {t:g} mm is too thick for one.")
        return
    low = ends[1] - t if side > 0 else ends[0]
    ribs = Ribs(name, axis, start, host, blade)
    end_plate(works, ribs, f"{name} end", low, works.disc(axis, start, radius), side)
