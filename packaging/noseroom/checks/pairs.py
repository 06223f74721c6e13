"""How far two components surely stay apart: the worst of all their pieces and placements."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import Bends
from noseroom.checks.pair_keys import PairKeys
from noseroom.checks.piece_search import Close, PieceSearch, Question, SomeMoves, close_of, in_order
from noseroom.checks.sway import (
    Outline,
    adrift,
    bent_mm,
    box_corners,
    box_of,
    outline,
    stations_of,
    sway_mm,
    swelling,
    turning,
)
from noseroom.geometry.crowd import (
    Crowd,
    bounds_towards,
    crowd_of,
    crowd_towards,
)
from noseroom.geometry.separation import (
    Bend,
    Separation,
    Uncertainty,
    arm_bend,
    box_gap,
    crossed,
    nearest,
)
from noseroom.layout import Layout, PlacedPart
from noseroom.memo import NUMBERS, Classes, Memo

Answer = TypeVar("Answer")
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SureGap:
    """What is sure about two components.

    lower_mm: the gap that surely remains; -inf where it is not known. nominal_mm: the smallest gap
    of their pieces as adjusted. spread_mm: what readings and assumptions make of the deciding gap,
    either way; 0 where boxes already decide. worst: the deciding pieces, or None where boxes do.
    adrift: whether nothing fixes some part of how the two stand to each other. close: which pieces
    keep the least, where the two stand as they do.
    """

    lower_mm: float
    nominal_mm: float
    spread_mm: float
    worst: Separation | None
    adrift: bool = False
    close: Close | None = None

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
    """Sure gaps between any two components of one layout, with what makes them quick.

    memo: where answers are kept that hold in other layouts too; salt: what they depend on besides
    the two parts.
    """

    def __init__(
        self,
        layout: Layout,
        bends: Bends | None = None,
        memo: Memo | None = None,
        salt: bytes = b"",
    ) -> None:
        self.layout = layout
        self.bends = bends or Bends(layout.survey, memo)
        self.memo = memo
        self._keys = None if memo is None else PairKeys(layout, memo, salt)
        if memo is not None:
            for part in layout.parts.values():
                part.recall(memo)
        self._couples: dict[tuple[str, str], _Couple] = {}
        self._bent: dict[tuple[str, str, str, str], Bend] = {}
        self._outlines: dict[str, Outline] = {}
        self._boxes: dict[tuple[str, str], Floats] = {}
        self._boxes_with_sizes: dict[tuple[str, str], tuple[Floats, Floats]] = {}
        self._close: dict[tuple[str, str, str, str], Close] = {}

    def doubt_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """By how much what is told of two parts may be wrong."""
        return 0.0

    def ample_mm(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, asked_mm: float
    ) -> float:
        """How far beyond a rule it is worth showing what two components surely keep."""
        return np.inf

    def sway_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How far at most two parts stray against each other; see `relative_sway_mm`."""
        return self._kept(a, b, ("sway",), lambda: self._couple(a, b).sway_mm)

    def bent_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How much of that is of second order; see `sway.bent_mm`."""

        def made() -> float:
            return bent_mm(a, self._outline(a), b, self._outline(b), self.bends)

        return self._kept(a, b, ("bent",), made)

    def box_gap_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """A lower bound on the gap as adjusted, from boxes alone."""
        return self._kept(
            a, b, ("boxes", mine, theirs), lambda: self._box_gap_mm(a, mine, b, theirs)
        )

    def _box_gap_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
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
        it is not given; beyond it the answer is a coarser bound. shift: (3,) mm, by which a is
        tried further out on what turns it, as a fan is on a spacer.
        """
        look = max(enough_mm if look_mm is None else look_mm, 0.0)
        if self._keys is None:
            return self._sure_gap(a, mine, b, theirs, enough_mm, look, shift)
        columns = self._keys.columns(a, b)
        found = self._kept(
            a,
            b,
            ("sure", mine, theirs, enough_mm, look, _bytes(shift)),
            lambda: _with_form(
                self._sure_gap(a, mine, b, theirs, enough_mm, look, shift),
                lambda form: form[columns],
            ),
            (SureGap, Separation, Close),
        )
        if found.close is not None:
            self._close[a.name, mine, b.name, theirs] = found.close
        return _with_form(found, lambda form: self._whole(form, columns))

    def _sure_gap(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        enough_mm: float,
        look: float,
        shift: Floats | None,
    ) -> SureGap:
        couple = self._couple(a, b)
        bend, sway = self.bend(a, mine, b, theirs), couple.sway_mm
        if shift is not None:
            more = self._arm_bend(a, b, shift)
            bend = replace(bend, seen_from_b=bend.seen_from_b + more)
            sway += self.arm_mm(a, b, shift)

        def both() -> tuple[Crowd, Crowd]:
            """All pieces of either in one."""
            crowd = couple.mine.crowd(mine)
            moved = crowd if shift is None else crowd.moved(shift)
            return moved, couple.theirs.crowd(theirs)

        search = PieceSearch(
            Question(
                couple.mine.of(mine),
                couple.theirs.of(theirs),
                both,
                self._apart_mm(a, mine, b, theirs, shift),
                couple.sure,
                bend,
                sway,
                couple.slack_mm,
                enough_mm,
                look,
                shift,
                self._known_mm(a, mine, b, theirs, shift),
                self._close_before(a.name, mine, b.name, theirs),
                self._short_mm(a, mine, b, theirs),
            )
        )
        search.run()
        spread, worst = 0.0, search.worst
        if worst is not None:
            spread = float(couple.sure.spread(worst.form)) + couple.slack_mm
            worst = replace(worst, form=self._whole(worst.form, couple.columns))
        close = None if shift is not None and shift.any() else close_of(search, look)
        return SureGap(
            float(search.lower_mm), float(search.nominal_mm), spread, worst, couple.adrift, close
        )

    def close(self, a: str, mine: str, b: str, theirs: str) -> Close | None:
        """Which pieces of two components keep the least, where `sure_gap` has been asked."""
        return self._close.get((a, mine, b, theirs))

    def _short_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """What is surely too little, so that how much less stays does not count."""
        return -np.inf

    def _known_mm(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        shift: Floats | None,
    ) -> Floats | None:
        """What is known of each pair of pieces before anything is looked at: (p, q) mm."""
        return None

    def _close_before(self, a: str, mine: str, b: str, theirs: str) -> Close | None:
        """What was noted of two components in a nose that is nearly the same."""
        return None

    def sure_along(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, way: Floats, shift: Floats
    ) -> float:
        """What surely stays of the whole of two components along one way, a shifted, mm.

        way: (3,) unit, from a to b. shift: as in `sure_gap`. Each corner's form is linear in the
        shift and a spread is convex, so that over shifts on a line this is concave: what it is at
        two of them it is at least in a straight line between.
        """
        couple, bend = self._couple(a, b), self.bend(a, mine, b, theirs)
        bend = replace(bend, seen_from_b=bend.seen_from_b + self._arm_bend(a, b, shift))
        ours = couple.mine.crowd(mine).joined().moved(shift)
        others = couple.theirs.crowd(theirs).joined()
        found = bounds_towards(ours, others, np.zeros((1, 2), int), way[None], couple.sure, bend)
        return float(found[0]) - couple.slack_mm

    def sure_towards(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, way: Floats, shift: Floats
    ) -> Floats:
        """The same for each piece of a with each of b: (p, q) mm, -inf for what is not known."""
        couple, bend = self._couple(a, b), self.bend(a, mine, b, theirs)
        bend = replace(bend, seen_from_b=bend.seen_from_b + self._arm_bend(a, b, shift))
        ours, others = couple.mine.crowd(mine).moved(shift), couple.theirs.crowd(theirs)
        return crowd_towards(ours, others, way, couple.sure, bend) - couple.slack_mm

    def arm_mm(self, a: PlacedPart, b: PlacedPart, shift: Floats) -> float:
        """How much further than `sway_mm` a strays against b where it is out by shift (3,) mm."""
        first = crossed(turning(a, b, self.layout.uncertainty), np.abs(shift))
        return float(np.linalg.norm(first + self._arm_bend(a, b, shift)))

    def _arm_bend(self, a: PlacedPart, b: PlacedPart, shift: Floats) -> Floats:
        """What is of second order of that, (3,) mm, as seen from b."""
        sure, holder = self.layout.uncertainty, b.placements[0].turn_gain
        found = [arm_bend(holder, one.turn_gain, shift, sure) for one in a.placements]
        return np.asarray(np.max(found, axis=0))

    def nominal_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats
    ) -> float:
        """The gap of the pieces as adjusted, a shifted by (3,) mm; negative where they overlap."""
        return self._kept(
            a,
            b,
            ("nominal", mine, theirs, _bytes(shift)),
            lambda: self._nominal_gap(a, mine, b, theirs, shift),
        )

    def _nominal_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats
    ) -> float:
        ours, others = a.moving[mine][0], b.moving[theirs][0]
        best, known = np.inf, self._known_mm(a, mine, b, theirs, shift)
        for gap, i, j in in_order(self._apart_mm(a, mine, b, theirs, shift)):
            if gap >= max(best, 0.0):
                break
            if known is not None and known[i, j] >= best:
                continue  # what surely stays, stays as adjusted
            best = min(best, nearest(ours[i], others[j], shift)[0])
        return float(best)

    def _kept(
        self,
        a: PlacedPart,
        b: PlacedPart,
        what: tuple[Hashable, ...],
        make: Callable[[], Answer],
        classes: Classes = NUMBERS,
    ) -> Answer:
        """An answer on two parts, remembered where there is a memo."""
        return make() if self._keys is None else self._keys.get(a, b, what, make, classes)

    def _whole(self, form: Floats, columns: NDArray[np.intp]) -> Floats:
        """A form by some of the sources as one by all of them."""
        whole = np.zeros(len(self.layout.survey.sources))
        whole[columns] = form
        return whole

    def _apart_mm(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats | None
    ) -> Floats:
        """Gaps of the boxes of all pieces with one another: (p, q) mm."""
        ours, others = self._piece_boxes(a, mine)[:, None], self._piece_boxes(b, theirs)[None]
        if shift is not None:
            ours = ours + shift
        apart = np.maximum(ours[..., 0, :] - others[..., 1, :], others[..., 0, :] - ours[..., 1, :])
        apart = np.maximum(apart, 0.0)
        return np.asarray(np.sqrt(np.einsum("ijk,ijk->ij", apart, apart)))

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
            sure = self.layout.uncertainty
            self._outlines[part.name] = (
                outline(part, sure)
                if self._keys is None
                else self._keys.outline(part, lambda: outline(part, sure))
            )
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
            swell, corners = self._stretched(part, component)
            total += np.max(
                [self.bends.most_mm(frame, one, corners) for one in stations_of(part)], axis=0
            )
            total += self._outline(part).warp.get(component, 0.0)
            if part is not holder:
                # What a size moves is carried by the turn: to first order, and by its square.
                turn = turning(holder, part, sure)
                total += crossed(turn, swell) + 0.5 * (turn @ turn) * np.sqrt(swell @ swell)
        return total

    def _stretched(self, part: PlacedPart, component: str) -> tuple[Floats, Floats]:
        """How far sizes move a component, (3,) mm, and corners (8, 3) of a box that holds it."""
        key = part.name, component
        if key not in self._boxes_with_sizes:
            pieces = part.moving[component][0]
            swell = swelling(pieces, self.layout.uncertainty)
            ends = box_of(pieces) + np.array([-swell, swell])
            self._boxes_with_sizes[key] = swell, box_corners(ends)
        return self._boxes_with_sizes[key]


class _Moves:
    """A part's pieces, each once for every placement, with some of the sources; made when asked."""

    def __init__(self, part: PlacedPart, columns: NDArray[np.intp]) -> None:
        self._part, self._columns = part, columns
        self._made: dict[str, SomeMoves] = {}
        self._crowds: dict[str, Crowd] = {}

    def crowd(self, component: str) -> Crowd:
        """The same pieces in one."""
        if component not in self._crowds:
            whole = crowd_of(list(zip(*self._part.moving[component], strict=True)))
            moves = tuple(one.only(self._columns) for one in whole.moves)
            self._crowds[component] = Crowd(moves, whole.starts)
        return self._crowds[component]

    def of(self, component: str) -> SomeMoves:
        """The pieces of one component, in their order."""
        if component not in self._made:
            self._made[component] = SomeMoves(self._part.moving[component], self._columns)
        return self._made[component]


def _with_form(gap: SureGap, change: Callable[[Floats], Floats]) -> SureGap:
    if gap.worst is None:
        return gap
    return replace(gap, worst=replace(gap.worst, form=change(gap.worst.form)))


def _bytes(shift: Floats | None) -> bytes:
    # Added to nothing, a negative zero is a zero.
    return b"" if shift is None else (shift + 0.0).tobytes()


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
