"""Bent strips for tests: flats one after the other along a strip, joined by bends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.geometry.sheet import Bend, Blank, Flange
from noseroom.geometry.strip_lines import Spot


@dataclass(frozen=True)
class BentStrip:
    """A blank and its bolts, in order along the strip."""

    blank: Blank
    spots: tuple[Spot, ...]


def bent_strip(
    flats: Sequence[float],
    angles: Sequence[float] = (),
    *,
    wide: float = 30.0,
    thick: float = 3.0,
    inside: float = 3.0,
    skews: Sequence[float] = (),
    bolts: Sequence[int] = (0, -1),
    hole: float = 9.0,
    washer: float = 18.0,
) -> BentStrip:
    """Flats of these lengths along their middle, mm, bent by these angles, degrees.

    skews: by how much each bend is off square to the way that comes to it, degrees. bolts: the
    flats that have one: half a width from a free end, in the middle of all others.
    """
    skews = skews or (0.0,) * len(angles)
    at, way = (0.0, 0.0), (1.0, 0.0)
    entry = _edge(at, way, 0.0, wide)
    flanges, bends, spots = [], [], []
    bolted = {number % len(flats) for number in bolts}
    for number, long in enumerate(flats):
        end = _along(at, way, long)
        last = number == len(flats) - 1
        leave = _edge(end, way, 0.0 if last else skews[number], wide)
        near_end = wide / 2.0 / long
        shares = [near_end] if number == 0 else [0.5] if not last else []
        shares += [1.0 - near_end] if last else []
        middles = [_along(at, way, long * share) for share in shares if number in bolted]
        spots += [Spot(number, middle, hole, washer) for middle in middles]
        holes = tuple(Circle(middle, hole) for middle in middles)
        flanges.append(Flange(Path((entry[0], *leave, entry[1])), holes))
        if not last:
            bend = Bend(number, number + 1, *leave, angles[number], inside, 0.4)
            bends.append(bend)
            way = bend.across
            entry = bend.far_edge(thick)
            at = ((entry[0][0] + entry[1][0]) / 2.0, (entry[0][1] + entry[1][1]) / 2.0)
    return BentStrip(Blank(thick, tuple(flanges), tuple(bends)), tuple(spots))


def _edge(at: Point, way: Point, skew_deg: float, wide: float) -> tuple[Point, Point]:
    """A line across: its right end, as one goes, and its left one."""
    turn = math.radians(90.0 + skew_deg)
    left = (
        way[0] * math.cos(turn) - way[1] * math.sin(turn),
        way[0] * math.sin(turn) + way[1] * math.cos(turn),
    )
    return _along(at, left, -wide / 2.0), _along(at, left, wide / 2.0)


def _along(at: Point, way: Point, by: float) -> Point:
    return at[0] + by * way[0], at[1] + by * way[1]
