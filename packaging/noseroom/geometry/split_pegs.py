"""Loose square pegs that hold two pieces in line: where their sockets go, and what is round them.

A peg lies with its corners along the axes, so that a socket in an upright face has its roof at 45
degrees, whichever of the other two axes points up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.split_solids import (
    SAW_MM,
    Solid,
    arrays,
    box_of,
    hull_solid,
    section,
    union,
)

Floats = NDArray[np.float64]

_MEET_MM = 2.0 * SAW_MM
_JUST_MM = 1e-3  # how far inside a piece its end face is looked at
_TOUCH_MM2 = 4.0
_TRIED = 48
_EDGE_MM = 1.0  # least wall round a socket: common practice, two lines of a nozzle and a half
_BEVEL_MM = 0.6
_WHOLE = 0.999


@dataclass(frozen=True)
class PegRules:
    """sides_mm: pegs to try, thickest first. depth_mm: in either piece. floor_mm: room for glue."""

    sides_mm: tuple[float, ...]
    depth_mm: float
    clearance_mm: float
    floor_mm: float
    wall_mm: float


@dataclass(frozen=True, eq=False)
class Socketed:
    """What pegs do to one piece: sockets to cut, and what has to stay solid round them."""

    sockets: list[Solid] = field(default_factory=list)
    bosses: list[Solid] = field(default_factory=list)


@dataclass(frozen=True)
class Joint:
    """Two pieces, by their numbers, that are glued in a plane; pegs: (side mm, point (3,)) each."""

    pieces: tuple[int, int]
    axis: int
    at_mm: float
    area_mm2: float
    pegs: tuple[tuple[float, tuple[float, float, float]], ...]


def joints(
    solids: Sequence[Solid], ups: Sequence[tuple[int, int]], rules: PegRules
) -> tuple[list[Joint], list[Socketed]]:
    """Where pieces of one whole meet, with the pegs that find room there."""
    boxes = [box_of(one) for one in solids]
    made = [Socketed() for _ in solids]
    found: list[Joint] = []
    for axis in range(3):
        for below, above in _pairs(boxes, axis):
            at = float(boxes[above][0, axis])
            faces = [
                section(solids[below], axis, at - _JUST_MM),
                section(solids[above], axis, at + _JUST_MM),
            ]
            contact = faces[0].intersection(faces[1])
            if contact.area < _TOUCH_MM2:
                continue
            pegs = []
            sides = [(solids[k], made[k], ups[k]) for k in (below, above)]
            for side, point in _places(contact, axis, at, sides, rules):
                pegs.append((side, point))
                for sense, (_, one, up) in zip((-1, 1), sides, strict=True):
                    one.sockets.append(_socket(point, axis, sense, side, rules))
                    one.bosses.append(_boss(point, axis, sense, up, side, rules))
            found.append(Joint((below, above), axis, at, float(contact.area), tuple(pegs)))
    return found, made


def peg(side_mm: float, rules: PegRules) -> Solid:
    """A peg as it lies on the bed, its ends bevelled."""
    long = 2.0 * rules.depth_mm
    rings = (
        (0.0, side_mm / 2 - _BEVEL_MM),
        (_BEVEL_MM, side_mm / 2),
        (long - _BEVEL_MM, side_mm / 2),
        (long, side_mm / 2 - _BEVEL_MM),
    )
    middle = side_mm / 2
    return hull_solid(
        np.array(
            [
                (x, middle + u * half, middle + v * half)
                for x, half in rings
                for u in (-1, 1)
                for v in (-1, 1)
            ]
        )
    )


def _pairs(boxes: Sequence[Floats], axis: int) -> list[tuple[int, int]]:
    """Pieces of which one ends where the other begins, and that overlap otherwise."""
    others = [one for one in range(3) if one != axis]
    return [
        (i, j)
        for i, a in enumerate(boxes)
        for j, b in enumerate(boxes)
        if i != j
        and abs(a[1, axis] - b[0, axis]) < _MEET_MM
        and all(a[0, k] < b[1, k] and b[0, k] < a[1, k] for k in others)
    ]


def _places(
    contact: Any,
    axis: int,
    at: float,
    sides: Sequence[tuple[Solid, Socketed, tuple[int, int]]],
    rules: PegRules,
) -> list[tuple[float, tuple[float, float, float]]]:
    """Up to two places, as far apart as may be, of the thickest peg that finds two; else one."""
    one_only: list[tuple[float, tuple[float, float, float]]] = []
    for side in rules.sides_mm:
        half = (side + rules.clearance_mm) / math.sqrt(2.0)
        room = half + math.sqrt(2.0) * _EDGE_MM + _JUST_MM
        spots = [
            point
            for point in _spots(contact.buffer(-room), axis, at)
            if _has_room(point, axis, side, sides, rules)
        ]
        apart = 4.0 * half
        pairs = [
            (math.dist(a, b), a, b)
            for k, a in enumerate(spots)
            for b in spots[k + 1 :]
            if math.dist(a, b) > apart
        ]
        if pairs:
            _, a, b = max(pairs)
            return [(side, a), (side, b)]
        if spots and not one_only:
            one_only = [(side, spots[0])]
    return one_only


def _spots(room: Any, axis: int, at: float) -> list[tuple[float, float, float]]:
    """Points all round the room that is left for a peg's middle, and one inside."""
    if room.is_empty:
        return []
    found: list[tuple[float, float]] = []
    for polygon in getattr(room, "geoms", [room]):
        inside = polygon.representative_point()
        found.append((inside.x, inside.y))
        ring = polygon.exterior
        found += [
            (point.x, point.y)
            for k in range(_TRIED)
            for point in [ring.interpolate(k / _TRIED, normalized=True)]
        ]
    made = []
    for u, v in found:
        point = [0.0, 0.0, 0.0]
        point[axis], point[(axis + 1) % 3], point[(axis + 2) % 3] = at, round(u, 3), round(v, 3)
        made.append((point[0], point[1], point[2]))
    return made


def _has_room(
    point: tuple[float, float, float],
    axis: int,
    side: float,
    sides: Sequence[tuple[Solid, Socketed, tuple[int, int]]],
    rules: PegRules,
) -> bool:
    """Whether there is material all round on both sides, free of other sockets."""
    for sense, (solid, taken, _) in zip((-1, 1), sides, strict=True):
        need = _prism(point, axis, sense, side + rules.clearance_mm, rules, _EDGE_MM)
        if (need ^ solid).volume() < _WHOLE * need.volume():
            return False
        if taken.sockets and (need ^ union(taken.sockets)).volume() > 1e-6:
            return False
    return True


def _diamond(
    point: tuple[float, float, float], axis: int, along: float, half: float
) -> list[list[float]]:
    """Corners of a square, its corners half a diagonal from the point along the other axes."""
    corners = []
    for k in (1, 2):
        for sense in (-1.0, 1.0):
            corner = list(point)
            corner[axis] += along
            corner[(axis + k) % 3] += sense * half
            corners.append(corner)
    return corners


def _prism(
    point: tuple[float, float, float],
    axis: int,
    sense: int,
    side: float,
    rules: PegRules,
    more_mm: float,
) -> Solid:
    """A socket from the joint inward, with a pointed end, and so much more all round."""
    half = side / math.sqrt(2.0)
    wide = half + more_mm * math.sqrt(2.0)
    deep = rules.depth_mm + rules.floor_mm
    # A socket begins a little outside, so that no film is left over its mouth.
    corners = _diamond(point, axis, 0.0 if more_mm else -sense * _EDGE_MM, wide)
    corners += _diamond(point, axis, sense * deep, wide)
    tip = list(point)
    tip[axis] += sense * (deep + side / 2 + more_mm)
    return hull_solid(np.array([*corners, tip]))


def _socket(
    point: tuple[float, float, float], axis: int, sense: int, side: float, rules: PegRules
) -> Solid:
    return _prism(point, axis, sense, side + rules.clearance_mm, rules, 0.0)


def _boss(
    point: tuple[float, float, float],
    axis: int,
    sense: int,
    up: tuple[int, int],
    side: float,
    rules: PegRules,
) -> Solid:
    """What stays solid round a socket, carried from below at 45 degrees."""
    block = _prism(point, axis, sense, side + rules.clearance_mm, rules, rules.wall_mm)
    if up[0] == axis:
        return block  # it stands on the joint, or hangs from it by its pointed end
    # It juts out of an upright wall: a foot under it, as long as it juts out.
    corners = arrays(block)[0]
    onto_wall = corners.copy()
    onto_wall[:, axis] = point[axis]
    onto_wall[:, up[0]] -= up[1] * np.abs(corners[:, axis] - point[axis])
    return hull_solid(np.vstack([corners, onto_wall]))
