"""Where a blank runs over itself in the flat, and where the folded part runs into itself."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import moved, solids_of, volume_mm3
from noseroom.geometry.outlines import Path
from noseroom.geometry.sheet import Bend, Blank, folded_places
from noseroom.geometry.sheet_flat import CHORD_MM, polygon_of
from noseroom.geometry.sheet_hulls import hulls_by_piece
from noseroom.geometry.sheet_reliefs import edges_of
from noseroom.geometry.sheet_solids import folded_pieces

Floats = NDArray[np.float64]

_TOUCH_MM = 1e-6
_NOTHING = 1e-3  # mm² or mm³: what chords and rounding may make of pieces that only meet
_MESHED_MM = 0.05


@dataclass(frozen=True)
class Clash:
    """Two pieces that meet, or come too near; flanges by their numbers, bends by theirs after.

    gap_mm: between them, 0 where they meet. shorten_mm: how far the second, a flange, has to be cut
    back, square to the bend that leads to it, to be clear; NaN: cutting it back does not do.
    overlaps: whether they are in each other, and do not only touch.
    """

    first: int
    second: int
    gap_mm: float
    shorten_mm: float = math.nan
    overlaps: bool = False


def flat_clashes(blank: Blank, least_gap_mm: float) -> list[Clash]:
    """Pieces that overlap in the flat, or have less than a gap between them, mm."""
    shapes = [polygon_of(one.outline) for one in blank.flanges]
    shapes += [polygon_of(zone_of(one, blank.thickness_mm)) for one in blank.bends]
    found = []
    for i, j in _pairs(blank):
        both = shapes[i].intersection(shapes[j])
        # Neighbours have their common edge, and need no gap beside it.
        gap = math.inf if _kin(blank, i, j) else float(shapes[i].distance(shapes[j]))
        if both.area > _NOTHING:
            corners = [(x, y) for one in _parts(both) for x, y in one.exterior.coords]
            found.append(Clash(i, j, 0.0, _shorten_mm(blank, j, np.array(corners)), True))
        elif gap < least_gap_mm:
            found.append(Clash(i, j, max(0.0, gap - 2.0 * CHORD_MM)))
    return found


def zone_of(bend: Bend, thickness_mm: float) -> Path:
    """A bend's zone in the flat."""
    start, end = bend.far_edge(thickness_mm)
    return Path((bend.end, bend.start, start, end))


def folded_clashes(blank: Blank) -> list[Clash]:
    """Pieces of the folded part that run into each other, or touch."""
    corners, places = _corners(blank), folded_places(blank)
    solids: list[Any] = []
    found = []
    for i, j in _pairs(blank):
        kin = _kin(blank, i, j)
        if kin and all(_keeps_back(blank, one) for one in _ends(blank, i) | _ends(blank, j)):
            # Each on its own side of the bend, by less than half a turn: they cannot meet.
            continue
        ways = [one for k in _ends(blank, i) | _ends(blank, j) for one in places[k][:3, :3].T]
        if not kin and _apart(corners[i], corners[j], np.array(ways)):
            continue
        solids = solids or folded_pieces(blank)
        if not kin and solids[i].distance(solids[j]) > _TOUCH_MM:
            continue
        both = solids_of(solids[i].intersect(solids[j]))
        if sum(map(volume_mm3, both)) > _NOTHING:
            points = [p.toTuple() for one in both for p in one.tessellate(_MESHED_MM)[0]]
            place = places[j] if j < len(places) else np.eye(4)
            inverse = np.asarray(np.linalg.inv(place), dtype=np.float64)
            flat = moved(np.array(points), inverse)[:, :2]
            found.append(Clash(i, j, 0.0, _shorten_mm(blank, j, flat), True))
        elif not kin and not _share_a_flange(blank, i, j):
            found.append(Clash(i, j, 0.0, 0.0))
    return found


def _corners(blank: Blank) -> list[Floats]:
    return [np.concatenate(parts) for parts in hulls_by_piece(blank)]


def _apart(one: Floats, other: Floats, ways: Floats) -> bool:
    """Whether a plane square to one of the ways (n, 3), or to two of them, lies between."""
    crossed = np.cross(ways[:, None], ways[None]).reshape(-1, 3)
    for axes in (ways, crossed[np.linalg.norm(crossed, axis=1) > _TOUCH_MM]):
        first, second = one @ axes.T, other @ axes.T
        gaps = np.maximum(second.min(0) - first.max(0), first.min(0) - second.max(0))
        if (gaps / np.linalg.norm(axes, axis=1)).max(initial=-math.inf) > _TOUCH_MM:
            return True
    return False


def _keeps_back(blank: Blank, flange: int) -> bool:
    """Whether a flange stays on its own side of each of its bends."""
    points = blank.flanges[flange].outline.sampled()
    for bend in blank.bends:
        edge = edges_of(bend, flange, blank.thickness_mm)
        if edge is not None:
            along = np.subtract(edge[1], edge[0]) / bend.length_mm
            off = points - edge[0]
            if (along[0] * off[:, 1] - along[1] * off[:, 0]).min() < -_TOUCH_MM:
                return False
    return True


def _parts(shape: Any) -> list[Any]:
    return [one for one in getattr(shape, "geoms", [shape]) if one.geom_type == "Polygon"]


def _pairs(blank: Blank) -> Iterator[tuple[int, int]]:
    """All pairs of pieces, the second a flange if one is, and not the root."""
    flanges = len(blank.flanges)
    for i, j in combinations(range(flanges + len(blank.bends)), 2):
        yield (j, i) if j >= flanges > i > 0 else (i, j)


def _ends(blank: Blank, piece: int) -> set[int]:
    """The flanges that a bend joins; a flange itself."""
    if piece < len(blank.flanges):
        return {piece}
    bend = blank.bends[piece - len(blank.flanges)]
    return {bend.parent, bend.child}


def _kin(blank: Blank, first: int, second: int) -> bool:
    """Whether one is a bend of the other, or both are flanges of one bend."""
    flanges = len(blank.flanges)
    if first < flanges and second < flanges:
        return any({one.parent, one.child} == {first, second} for one in blank.bends)
    bends = sum(piece >= flanges for piece in (first, second))
    return bends == 1 and _share_a_flange(blank, first, second)


def _share_a_flange(blank: Blank, first: int, second: int) -> bool:
    return bool(_ends(blank, first) & _ends(blank, second))


def _shorten_mm(blank: Blank, flange: int, corners: Floats) -> float:
    """How far a flange has to end earlier so that corners (n, 2), in the flat, are off it."""
    for bend in blank.bends:
        if bend.child == flange:
            out = np.array(bend.across)
            whole = blank.flanges[flange].outline.sampled()
            return float((whole @ out).max() - (corners @ out).min())
    return math.nan
