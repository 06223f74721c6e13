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
    separation,
)
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SureGap:
    """What is sure about two components.

    lower_mm: the gap that surely remains; -inf where it is not known. nominal_mm: the smallest gap
    of their pieces as adjusted. worst: the deciding pieces; None where boxes already decide.
    """

    lower_mm: float
    nominal_mm: float
    worst: Separation | None

    @property
    def known(self) -> bool:
        """Whether anything is sure."""
        return bool(np.isfinite(self.lower_mm))


def sway_mm(part: PlacedPart, uncertainty: Uncertainty) -> float:
    """How far at most any corner of a part may be from where it is drawn; inf if not known."""
    if not part.known:
        return float("inf")
    largest = 0.0
    for piece in _all_pieces(part):
        arms = piece.corners - piece.origin
        moves = piece.shift[None] + np.cross(
            piece.turn.T[None], arms[:, None, :], axis=-1
        ).transpose(0, 2, 1)
        if piece.swell is not None:
            moves = moves + piece.swell
        turn = uncertainty.spread(piece.turn)
        curve = 0.5 * float(turn @ turn) * np.sqrt((arms**2).sum(axis=1))
        size = np.sqrt((uncertainty.spread(moves) ** 2).sum(axis=1)) + curve
        largest = max(largest, float(size.max()))
    return largest + part.slack_mm


def _all_pieces(part: PlacedPart) -> Iterator[MovingPiece]:
    for alternatives in part.moving.values():
        for pieces in alternatives:
            yield from pieces


class Pairs:
    """Sure gaps between any two components of one layout, with what makes them quick."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self._sway = {
            name: sway_mm(part, layout.uncertainty) for name, part in layout.parts.items()
        }

    def sway_mm(self, name: str) -> float:
        """`sway_mm` of a part by name."""
        return self._sway[name]

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
        it is not given; beyond it the answer is a bound from boxes. shift: (3,) mm, a movement of a to try.
        """
        loose = self._sway[a.name] + self._sway[b.name]
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
        return SureGap(float(lower), float(nominal), worst)

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
