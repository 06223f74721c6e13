"""How far two components surely stay apart: the worst of all their pieces and placements."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import Bends
from noseroom.checks.sway import (
    Outline,
    adrift,
    box_corners,
    box_of,
    outline,
    stations_of,
    sway_mm,
    swelling,
    turning,
)
from noseroom.geometry.crowd import Crowd, crowd_bounds, crowd_of
from noseroom.geometry.separation import (
    GAP_ERROR_MM,
    Bend,
    MovingPiece,
    Separation,
    Uncertainty,
    box_gap,
    crossed,
    nearest,
    separation,
)
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]
Moves = tuple[MovingPiece, ...]
"""One piece, once for each placement of its part."""


@dataclass(frozen=True, eq=False)
class SureGap:
    """What is sure about two components.

    lower_mm: the gap that surely remains; -inf where it is not known. nominal_mm: the smallest gap
    of their pieces as adjusted. spread_mm: what readings and assumptions make of the deciding gap,
    either way; 0 where boxes already decide. worst: the deciding pieces, or None where boxes do.
    adrift: whether nothing fixes some part of how the two stand to each other.
    """

    lower_mm: float
    nominal_mm: float
    spread_mm: float
    worst: Separation | None
    adrift: bool = False

    def answers(self, asked_mm: float) -> bool:
        """Whether the gap can be judged against what is asked.

        Parts that are adrift from each other (nothing fixes some part of how they stand) may still
        surely keep clear along a direction that is fixed; where they do not, nothing is known.
        """
        return bool(np.isfinite(self.lower_mm)) and not (self.adrift and self.lower_mm < asked_mm)


@dataclass(frozen=True, eq=False)
class _Couple:
    """Two parts, with only those sources that move either against the car."""

    columns: NDArray[np.intp]
    sure: Uncertainty
    sway_mm: float
    adrift: bool
    slack_mm: float
    mine: _Moves
    theirs: _Moves


class Pairs:
    """Sure gaps between any two components of one layout, with what makes them quick."""

    def __init__(self, layout: Layout, bends: Bends | None = None) -> None:
        self.layout = layout
        self.bends = bends or Bends(layout.survey)
        self._couples: dict[tuple[str, str], _Couple] = {}
        self._bent: dict[tuple[str, str, str, str], Bend] = {}
        self._outlines: dict[str, Outline] = {}
        self._boxes: dict[tuple[str, str], Floats] = {}

    def sway_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How far at most two parts stray against each other; see `relative_sway_mm`."""
        return self._couple(a, b).sway_mm

    def box_gap_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """A lower bound on the gap as adjusted, from boxes alone."""
        ours, others = self._piece_boxes(a, mine), self._piece_boxes(b, theirs)
        ends = [np.array([x[:, 0].min(axis=0), x[:, 1].max(axis=0)]) for x in (ours, others)]
        return box_gap(ends[0], ends[1])

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
        """The worst over all pieces; pieces that are surely `look_mm` apart are not looked at.

        enough_mm: what the rule asks; no pains are taken to show more. look_mm: `enough_mm` where
        it is not given; beyond it the answer is a coarser bound. shift: (3,) mm, a movement of a to
        try.
        """
        couple = self._couple(a, b)
        look = max(enough_mm if look_mm is None else look_mm, 0.0)
        ours, others = couple.mine.of(mine), couple.theirs.of(theirs)
        lower, nominal, worst = np.inf, np.inf, None
        quick: Floats | None = None
        for gap, i, j in self._by_box_gap(a, mine, b, theirs, shift):
            # In order of their boxes' gaps: what follows can neither be nearer nor less sure.
            if gap - couple.sway_mm >= look or (gap - couple.sway_mm >= lower and gap >= nominal):
                lower, nominal = min(lower, gap - couple.sway_mm), min(nominal, gap)
                break
            found = nearest(ours[i][0], others[j][0], shift)
            nominal = min(nominal, found[0])
            coarse = found[0] - GAP_ERROR_MM - couple.sway_mm
            if worst is not None and coarse < min(look, lower):
                # The nearest is not the only one in question: look at all of them at once.
                if quick is None:
                    quick = self._quick(couple, a, mine, b, theirs, shift)
                coarse = max(coarse, float(quick[i, j]))
            if coarse >= min(look, lower) and found[0] > 0:
                lower = min(lower, coarse)
                continue
            tried = ours[i] if shift is None else tuple(one.moved(shift) for one in ours[i])
            one = separation(
                tried,
                others[j],
                couple.sure,
                # Only the worst pieces count: beyond those known already no pains are taken.
                enough_mm=min(enough_mm, lower) + couple.slack_mm,
                bend=self.bend(a, mine, b, theirs),
                found=found,
            )
            if worst is None or one.lower_mm - couple.slack_mm < lower:
                worst = one
            lower = min(lower, one.lower_mm - couple.slack_mm)
        spread = 0.0
        if worst is not None:
            spread = float(couple.sure.spread(worst.form)) + couple.slack_mm
            form = np.zeros(len(self.layout.survey.sources))
            form[couple.columns] = worst.form
            worst = replace(worst, form=form)
        return SureGap(float(lower), float(nominal), spread, worst, couple.adrift)

    def nominal_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats
    ) -> float:
        """The gap of the pieces as adjusted, a shifted by (3,) mm; negative where they overlap."""
        ours, others = a.moving[mine][0], b.moving[theirs][0]
        best = np.inf
        for gap, i, j in self._by_box_gap(a, mine, b, theirs, shift):
            if gap >= max(best, 0.0):
                break
            best = min(best, nearest(ours[i], others[j], shift)[0])
        return float(best)

    def _quick(
        self,
        couple: _Couple,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        shift: Floats | None,
    ) -> Floats:
        """Lower bounds on the sure gaps of all pieces of two components, mm: (p, q)."""
        ours, others = couple.mine.crowd(mine), couple.theirs.crowd(theirs)
        if shift is not None:
            ours = ours.moved(shift)
        bend = self.bend(a, mine, b, theirs)
        return crowd_bounds(ours, others, couple.sure, bend) - couple.slack_mm

    def _by_box_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats | None
    ) -> Iterator[tuple[float, int, int]]:
        """All pairs of pieces, nearest boxes first: their boxes' gap and their places."""
        ours, others = self._piece_boxes(a, mine)[:, None], self._piece_boxes(b, theirs)[None]
        if shift is not None:
            ours = ours + shift
        apart = np.maximum(ours[..., 0, :] - others[..., 1, :], others[..., 0, :] - ours[..., 1, :])
        apart = np.maximum(apart, 0.0)
        gaps = np.sqrt(np.einsum("ijk,ijk->ij", apart, apart))
        order = np.argsort(gaps, axis=None, kind="stable")
        rows, columns = np.unravel_index(order, gaps.shape)
        for i, j in zip(rows, columns, strict=True):
            yield float(gaps[i, j]), int(i), int(j)

    def _piece_boxes(self, part: PlacedPart, component: str) -> Floats:
        """(n, 2, 3) mm."""
        key = part.name, component
        if key not in self._boxes:
            self._boxes[key] = np.array([piece.box for piece in part.moving[component][0]])
        return self._boxes[key]

    def _couple(self, a: PlacedPart, b: PlacedPart) -> _Couple:
        key = a.name, b.name
        if key not in self._couples:
            other = self._couples.get((b.name, a.name))
            self._couples[key] = (
                self._coupled(a, b)
                if other is None
                else replace(other, mine=other.theirs, theirs=other.mine)
            )
        return self._couples[key]

    def _coupled(self, a: PlacedPart, b: PlacedPart) -> _Couple:
        sure = self.layout.uncertainty
        mine, theirs = self._outline(a), self._outline(b)
        columns = np.flatnonzero(mine.felt | theirs.felt)
        return _Couple(
            columns,
            sure.only(columns),
            sway_mm(a, mine, b, theirs, sure, self.bends),
            adrift(a, mine, b, theirs),
            a.slack_mm + b.slack_mm,
            _Moves(a, columns),
            _Moves(b, columns),
        )

    def _outline(self, part: PlacedPart) -> Outline:
        if part.name not in self._outlines:
            self._outlines[part.name] = outline(part, self.layout.uncertainty)
        return self._outlines[part.name]

    def bend(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Bend:
        """What to take off for the second order of two components."""
        key = a.name, mine, b.name, theirs
        if key not in self._bent:
            self._bent[key] = Bend(
                self._seen_from(stations_of(a)[0], ((a, mine), (b, theirs)), a),
                self._seen_from(stations_of(b)[0], ((b, theirs), (a, mine)), b),
            )
        return self._bent[key]

    def _seen_from(
        self, frame: str, components: tuple[tuple[PlacedPart, str], ...], holder: PlacedPart
    ) -> Floats:
        sure = self.layout.uncertainty
        total = np.zeros(3)
        for part, component in components:
            pieces = part.moving[component][0]
            swell = swelling(pieces, sure)
            corners = box_corners(box_of(pieces) + np.array([-swell, swell]))
            total += np.max(
                [self.bends.most_mm(frame, one, corners) for one in stations_of(part)], axis=0
            )
            total += self._outline(part).warp.get(component, 0.0)
            if part is not holder:
                # What a size moves is carried by the turn: to first order, and by its square.
                turn = turning(holder, part, sure)
                total += crossed(turn, swell) + 0.5 * (turn @ turn) * np.sqrt(swell @ swell)
        return total


class _Moves:
    """A part's pieces, each once for every placement, with some of the sources; made when asked."""

    def __init__(self, part: PlacedPart, columns: NDArray[np.intp]) -> None:
        self._part, self._columns = part, columns
        self._made: dict[str, tuple[Moves, ...]] = {}
        self._crowds: dict[str, Crowd] = {}

    def crowd(self, component: str) -> Crowd:
        """The same pieces in one."""
        if component not in self._crowds:
            self._crowds[component] = crowd_of(self.of(component))
        return self._crowds[component]

    def of(self, component: str) -> tuple[Moves, ...]:
        """The pieces of one component, in their order."""
        if component not in self._made:
            self._made[component] = tuple(
                tuple(one.only(self._columns) for one in piece)
                for piece in zip(*self._part.moving[component], strict=True)
            )
        return self._made[component]


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
            if mine in a.part.unseen() and theirs in b.part.unseen():
                continue
            if not layout.meant_to_touch(a, mine, b, theirs):
                yield mine, theirs
