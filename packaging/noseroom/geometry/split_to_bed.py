"""Parting a solid into pieces that go onto a printer's bed and print without support."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.split_solids import Solid, box_of, connected, cut, section
from noseroom.geometry.split_ways import Bore, Way, best_way, excess_mm2, ways

Floats = NDArray[np.float64]
Bed = tuple[float, float, float]

_NEAR_MM = 0.5  # planes this close to a piece's end cut nothing off
_PIECE_COST_MM2 = 15.0
"""A cut that saves less support than this for each piece more is not made: from memory."""
_GLUE_COST = 1e-3
"""What a mm² of a cut costs, in mm² of support: of two cuts the smaller is better."""
_BESIDE_MM = 1e-3  # a flat face lies in the plane itself
_GLUE_MM = 4.0  # the least width of a glued face
_SCRAP_MM, _SCRAP_COST_MM2 = 5.0, 60.0
"""A piece thinner than this, or glued by less, is one that nobody wants to glue on."""
_WORTH = 0.5  # and it has to save this share of it
_WINDOW = 0.15  # how far a cut may leave the even share of the length
_MOST_PLANES = 60


@dataclass(frozen=True, eq=False)
class Part:
    """One piece as it is cut, in the whole's frame, with the way up it is printed."""

    solid: Solid
    way: Way


@dataclass(frozen=True)
class Rules:
    """bed_mm: what may be used of it. steepest_deg, let_off_mm2, bores: see `split_ways`."""

    bed_mm: Bed
    steepest_deg: float
    let_off_mm2: float
    most_pieces: int
    bores: tuple[Bore, ...] = ()


def parted(whole: Solid, planes: Sequence[tuple[int, float]], rules: Rules) -> list[Part]:
    """The pieces of a solid.

    planes: axis and place of its flat faces, the most telling first: where a cut may save support.
    Raises GeometryError where there would be more than `most_pieces`.
    """
    # A fan's hub is best taken off before its disc is quartered; a condenser's headers are not.
    tried = [
        made
        for relief_first in (False, True)
        if (made := _parted(whole, planes, rules, relief_first)) is not None
    ]
    if not tried:
        raise GeometryError(
            f"it would come apart into more than {rules.most_pieces} pieces on a bed of "
            f"{' x '.join(f'{one:.0f}' for one in rules.bed_mm)} mm; a larger bed would do"
        )

    def rank(parts: list[Part]) -> float:
        support = sum(excess_mm2(one.way, rules.let_off_mm2) for one in parts)
        return round(support) + _PIECE_COST_MM2 * len(parts)

    return min(tried, key=rank)


def _parted(
    whole: Solid, planes: Sequence[tuple[int, float]], rules: Rules, relief_first: bool
) -> list[Part] | None:
    """The pieces, cut in one order or the other; None where they are too many."""
    waiting, done = connected(whole), list[Part]()
    while waiting:
        if len(waiting) + len(done) > rules.most_pieces:
            return None
        solid = waiting.pop(0)
        found = ways(solid, rules.steepest_deg, rules.bores)
        free = best_way(found, rules.let_off_mm2)
        assert free is not None  # without a bed one way is always the best
        fitting = best_way(found, rules.let_off_mm2, rules.bed_mm)
        pieces = None
        if relief_first or fitting is not None:
            now = free if fitting is None else fitting
            pieces = _relieved(solid, now, planes, rules)
        if pieces is None and fitting is None:
            pieces = _shortened(solid, planes, rules)
        if pieces is not None:
            waiting = [*pieces, *waiting]
        elif fitting is not None:
            done.append(Part(solid, fitting))
    return done


def _cost(pieces: Sequence[Solid], rules: Rules) -> float:
    """The support that pieces need in all, however large they are."""
    total = 0.0
    for one in pieces:
        way = best_way(ways(one, rules.steepest_deg, rules.bores), rules.let_off_mm2)
        total += 0.0 if way is None else excess_mm2(way, rules.let_off_mm2)
    return total


def _relieved(
    solid: Solid, way: Way, planes: Sequence[tuple[int, float]], rules: Rules
) -> list[Solid] | None:
    """The pieces of the cut that saves most support; None where no cut is worth it."""
    now = excess_mm2(way, rules.let_off_mm2)
    if now <= 0.0:
        return None
    box, best = box_of(solid), (math.inf, list[Solid]())
    for axis, at in [one for one in planes if _crosses(box, one)][:_MOST_PLANES]:
        sides = [section(solid, axis, at + beside) for beside in (-_BESIDE_MM, _BESIDE_MM)]
        glued = sides[0].intersection(sides[1])
        core = glued.buffer(-_GLUE_MM / 2)
        pieces = cut(solid, axis, at)
        if core.is_empty or len(pieces) < 2:
            continue
        # Of pieces and glued faces there are as many, but for one, unless some are too narrow.
        scraps = max(0, len(pieces) - 1 - len(getattr(core, "geoms", [core])))
        scraps += sum(map(_is_scrap, pieces))
        cost = _cost(pieces, rules) + _PIECE_COST_MM2 * (len(pieces) - 1)
        cost += _GLUE_COST * glued.area + _SCRAP_COST_MM2 * scraps
        if cost < best[0] - 1e-6:
            best = cost, pieces
    return best[1] if best[0] < _WORTH * now else None


def _is_scrap(piece: Solid) -> bool:
    return bool(np.ptp(box_of(piece), axis=0).min() < _SCRAP_MM)


def _crosses(box: Floats, plane: tuple[int, float]) -> bool:
    axis, at = plane
    return bool(box[0, axis] + _NEAR_MM < at < box[1, axis] - _NEAR_MM)


def _shortened(solid: Solid, planes: Sequence[tuple[int, float]], rules: Rules) -> list[Solid]:
    """The pieces of a cut across its longest side, near an even share of what the bed takes."""
    box = box_of(solid)
    size, takes = box[1] - box[0], min(rules.bed_mm[:2])
    axis = int(np.argmax(size))
    count = max(2, math.ceil(float(size[axis]) / takes - 1e-9))
    share = float(size[axis]) / count
    even = float(box[0, axis]) + share
    slack = min(_WINDOW * share, max(0.0, takes - share))
    places = [even]
    places += [at for own, at in planes if own == axis and 1e-6 < abs(at - even) <= slack]
    places += [even + side * slack * part for part in (0.5, 1.0) for side in (-1, 1) if slack > 1]

    def rank(at: float) -> tuple[float, float]:
        pieces = cut(solid, axis, at)
        return _cost(pieces, rules) + _PIECE_COST_MM2 * (len(pieces) - 2), abs(at - even)

    return cut(solid, axis, min(places, key=rank))
