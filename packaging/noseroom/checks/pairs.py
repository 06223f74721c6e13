"""How far two components surely stay apart: the worst of all their pieces and placements."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.separation import (
    MovingPiece,
    Separation,
    Uncertainty,
    box_gap,
    nearest,
    separation,
)
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SureGap:
    """What is sure about two components.

    lower_mm: the gap that surely remains; -inf where it is not known. nominal_mm: the smallest gap
    of their pieces as adjusted. worst: the deciding pieces; None where boxes already decide.
    adrift: whether nothing fixes some part of how the two stand to each other.
    """

    lower_mm: float
    nominal_mm: float
    worst: Separation | None
    adrift: bool = False

    def answers(self, asked_mm: float) -> bool:
        """Whether the gap can be judged against what is asked.

        Parts that are adrift from each other (nothing fixes some part of how they stand) may still
        surely keep clear along a direction that is fixed; where they do not, nothing is known.
        """
        return bool(np.isfinite(self.lower_mm)) and not (self.adrift and self.lower_mm < asked_mm)


def relative_sway_mm(a: PlacedPart, b: PlacedPart, uncertainty: Uncertainty) -> float:
    """How far at most two parts may be from where they are drawn *to each other*; inf: not known.

    A rigid movement is linear in the point that it moves, so that over a box the largest is at a
    corner. What both share (the engine that carries them) drops out.
    """
    box = _join(_box_of(a), _box_of(b))
    corners = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i, j, k in np.ndindex(2, 2, 2)])
    largest = 0.0
    for one in a.placements:
        for other in b.placements:
            moves = _rigid(other.shift_gain, other.turn_gain, corners - other.pose.shift)
            moves = moves - _rigid(one.shift_gain, one.turn_gain, corners - one.pose.shift)
            null = _rigid(other.shift_null, other.turn_null, corners - other.pose.shift)
            null = null - _rigid(one.shift_null, one.turn_null, corners - one.pose.shift)
            if null.size and float(np.abs(null).max()) > 1e-6:
                return float("inf")
            turn = uncertainty.spread(other.turn_gain - one.turn_gain)
            arm = float(np.sqrt(((box[1] - box[0]) ** 2).sum()))
            size = np.sqrt((uncertainty.spread(moves) ** 2).sum(axis=1)).max()
            largest = max(largest, float(size) + 0.5 * float(turn @ turn) * arm)
    return largest + sum(_swelling_mm(part, uncertainty) + part.slack_mm for part in (a, b))


def _rigid(shift: Floats, turn: Floats, arms: Floats) -> Floats:
    """Movement (k, 3, s) of points at arms (k, 3) from the origin."""
    return np.asarray(
        shift[None] + np.cross(turn.T[None], arms[:, None, :], axis=-1).transpose(0, 2, 1)
    )


def _swelling_mm(part: PlacedPart, uncertainty: Uncertainty) -> float:
    """How far a part's own sizes may move its surface, mm."""
    largest = 0.0
    for alternatives in part.moving.values():
        for piece in alternatives[0]:
            if piece.swell is not None:
                size = np.sqrt((uncertainty.spread(piece.swell) ** 2).sum(axis=1))
                largest = max(largest, float(size.max()))
    return largest


def _join(a: Floats, b: Floats) -> Floats:
    return np.array([np.minimum(a[0], b[0]), np.maximum(a[1], b[1])])


def _box_of(part: PlacedPart) -> Floats:
    boxes = [_box(alternatives) for alternatives in part.moving.values()]
    return np.array([np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)])


class Pairs:
    """Sure gaps between any two components of one layout, with what makes them quick."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self._sway: dict[tuple[str, str], float] = {}

    def sway_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """`relative_sway_mm` of two parts, kept."""
        key = (a.name, b.name) if a.name < b.name else (b.name, a.name)
        if key not in self._sway:
            self._sway[key] = relative_sway_mm(a, b, self.layout.uncertainty)
        return self._sway[key]

    def box_gap_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """A lower bound on the gap as adjusted, from boxes alone."""
        return box_gap(_box(a.moving[mine]), _box(b.moving[theirs]))

    def sure_gap(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        *,
        enough_mm: float,
        look_mm: float | None = None,
        shift: Floats | None = None,
    ) -> SureGap:
        """The worst over all pieces; pieces that boxes keep `look_mm` apart are not looked at.

        enough_mm: what the rule asks; no pains are taken to show more. look_mm: `enough_mm` where
        it is not given; beyond it the answer is a bound from boxes. shift: (3,) mm, a movement of
        a to try.
        """
        loose = self.sway_mm(a, b)
        slack = a.slack_mm + b.slack_mm
        look = max(enough_mm if look_mm is None else look_mm, 0.0)
        lower, nominal, worst = np.inf, np.inf, None
        for gap, piece, other in self._by_box_gap(a.moving[mine], b.moving[theirs], shift):
            # In order of their boxes' gaps: what follows can neither be nearer nor less sure.
            if gap - loose >= look or (gap - loose >= lower and gap >= nominal):
                lower, nominal = min(lower, gap - loose), min(nominal, gap)
                break
            one = separation(piece, other, self.layout.uncertainty, enough_mm=enough_mm + slack)
            nominal = min(nominal, one.nominal_mm)
            if worst is None or one.lower_mm - slack < lower:
                worst = one
            lower = min(lower, one.lower_mm - slack)
        return SureGap(float(lower), float(nominal), worst, adrift=bool(np.isinf(loose)))

    def nominal_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats
    ) -> float:
        """The gap of the pieces as adjusted, a shifted by (3,) mm; negative where they overlap."""
        best = np.inf
        for gap, piece, other in self._by_box_gap(a.moving[mine], b.moving[theirs], shift):
            if gap >= max(best, 0.0):
                break
            best = min(best, nearest(piece, other)[0])
        return float(best)

    @staticmethod
    def _by_box_gap(
        ours: tuple[tuple[MovingPiece, ...], ...],
        theirs: tuple[tuple[MovingPiece, ...], ...],
        shift: Floats | None,
    ) -> list[tuple[float, MovingPiece, MovingPiece]]:
        """All pairs of pieces over all placements, nearest boxes first."""
        mine = [piece for pieces in ours for piece in pieces]
        if shift is not None:
            mine = [piece.moved(shift) for piece in mine]
        others = [piece for pieces in theirs for piece in pieces]
        a = np.array([piece.box for piece in mine])[:, None]
        b = np.array([piece.box for piece in others])[None]
        apart = np.maximum(np.maximum(a[..., 0, :] - b[..., 1, :], b[..., 0, :] - a[..., 1, :]), 0)
        gaps = np.sqrt((apart**2).sum(axis=-1))
        order = np.argsort(gaps, axis=None, kind="stable")
        rows, columns = np.unravel_index(order, gaps.shape)
        return [(float(gaps[i, j]), mine[i], others[j]) for i, j in zip(rows, columns, strict=True)]


def _box(alternatives: tuple[tuple[MovingPiece, ...], ...]) -> Floats:
    boxes = np.array([piece.box for pieces in alternatives for piece in pieces])
    return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def component_pairs(layout: Layout, a: PlacedPart, b: PlacedPart) -> Iterator[tuple[str, str]]:
    """Components of two parts that have to keep apart.

    A fan's blades are drawn but not checked: its sweep contains them in every position.
    """
    for mine in a.components:
        for theirs in b.components:
            if "blades" in (mine, theirs) and "fan" in (a.kind, b.kind):
                continue
            if mine in a.part.sweeps() and theirs in b.part.sweeps():
                continue
            if not layout.meant_to_touch(a, mine, b, theirs):
                yield mine, theirs
