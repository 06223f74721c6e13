"""The nearest that two parts come over all that moves either, with nothing hidden in between.

An engine on its mounts moves little: one bound holds over all of it. A hood swings far: its range
is cut into parts, each with a bound of its own over the whole of that part, and those whose bound
is too low are halved until they keep what is asked or are so small that they show where they do
not. Whatever else moves or is uncertain is in every one of these bounds.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count, product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.motion import MovingPairs
from noseroom.checks.movement import Motion
from noseroom.checks.pair_keys import PairKeys
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.sway import Outline, box_corners, sway_mm
from noseroom.fingerprints import fingerprint
from noseroom.layout import PlacedPart
from noseroom.memo import Memo

Answer = TypeVar("Answer")
Floats = NDArray[np.float64]

_LARGE_DEG = 1.0
_FIRST_DEG = 8.0
_LEAST_DEG = 0.06
_MOST_LOOKED_AT = 120


def _below(asked_mm: float) -> float:
    """The next number below: what is not surely kept is not kept."""
    return float(np.nextafter(asked_mm, -np.inf))


Cell = Mapping[str, tuple[float, float]]
"""Centre and reach of the one amount of each motion that swings far, by the motion's root."""


@dataclass(frozen=True, eq=False)
class Nearest:
    """Two components where they come nearest, as far as can be told.

    a, b: as at rest. amounts: by the root of each motion that moves one of them. lower_mm: what
    surely stays between the two components over all movements; gap: the bound that decides, with
    its form by the sources of `pairs`. unseen: one is space that a scan did not see.
    """

    a: PlacedPart
    mine: str
    b: PlacedPart
    theirs: str
    gap: SureGap
    pairs: MovingPairs
    amounts: Mapping[str, Floats]
    unseen: bool

    def pose(self, part: PlacedPart) -> Floats:
        """(4, 4): where a part stands there."""
        motion = self.pairs.motion_of(part)
        if motion is None:
            return part.pose
        return np.asarray(motion.pose(self.amounts[motion.root]) @ part.pose)


class MovingSearch:
    """All motions of a layout, and how near they bring any two parts."""

    def __init__(self, at_rest: Pairs, motions: tuple[Motion, ...]) -> None:
        self.at_rest, self.motions = at_rest, motions
        self._far = {one.root: one for one in motions if _swings_far(one)}
        near = [one for one in motions if one.root not in self._far]
        self.whole = MovingPairs(at_rest, motions)
        self._views = [
            MovingPairs(at_rest, [view if one is whole else one for one in motions])
            for whole in near
            for view in whole.views
        ]
        self._cells: dict[tuple[tuple[str, float, float], ...], MovingPairs] = {}
        self._swept = {root: _Swept(self._rest_boxes, one) for root, one in self._far.items()}
        self._sways: dict[tuple[str, str], float] = {}
        self._boxes: dict[str, Floats] = {}
        memo = at_rest.memo
        self._keys = (
            None
            if memo is None
            else PairKeys(self.whole.layout, memo, _salt(at_rest, motions, memo))
        )

    @property
    def bounds(self) -> tuple[MovingPairs, ...]:
        """Pairs over all that moves about rest, and over each other view of it: each is sure."""
        return (self.whole, *self._views)

    def kept(
        self, a: PlacedPart, b: PlacedPart, what: tuple[Hashable, ...], make: Callable[[], Answer]
    ) -> Answer:
        """An answer on two parts in motion, remembered where there is a memo."""
        if self._keys is None:
            return make()
        one, other = (self.whole.layout.parts[part.name] for part in (a, b))
        sides = tuple(component_pairs(self.at_rest.layout, a, b))
        return self._keys.get(one, other, ("moving", *what, sides), make)

    def far(self, a: PlacedPart, b: PlacedPart) -> bool:
        """Whether one of two parts swings far."""
        return any(self._root(one) in self._far for one in (a, b))

    def quick_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """What surely stays between two parts, from their boxes alone; parts as at rest."""
        if self.far(a, b):
            return min(self._quick_cell_mm(a, b, cell) for cell in self._first_cells(a, b))
        loose = self.whole.loose_mm(a, b)
        gaps = (
            self.at_rest.box_gap_mm(a, mine, b, theirs)
            for mine, theirs in component_pairs(self.at_rest.layout, a, b)
        )
        return min(gaps, default=np.inf) - loose

    def surely_mm(
        self, a: PlacedPart, b: PlacedPart, asked_mm: float, *, ample_mm: float = 0.0
    ) -> float:
        """What surely stays between two parts; below what is asked where `nearest` finds something.

        ample_mm: how far beyond what is asked pains are taken.
        """
        quick, ample = self.quick_mm(a, b), asked_mm + ample_mm
        if quick >= ample:
            return quick
        if self.far(a, b):
            found = self.nearest(a, b, asked_mm, below_mm=ample) if ample_mm else None
            if ample_mm and (found is None or found.gap.lower_mm >= asked_mm):
                return ample if found is None else found.gap.lower_mm
            found = self.nearest(a, b, asked_mm)
            return asked_mm if found is None else min(found.gap.lower_mm, _below(asked_mm))
        lower = np.inf
        one, other = self.whole.layout.parts[a.name], self.whole.layout.parts[b.name]
        loose = self.whole.sway_mm(one, other)
        for mine, theirs in component_pairs(self.whole.layout, one, other):
            boxes = self.whole.box_gap_mm(one, mine, other, theirs) - loose
            if boxes < ample:
                gap = self._surest(self.whole, one, mine, other, theirs, ample)[1]
                boxes = gap.lower_mm if gap.answers(asked_mm) else -np.inf
            lower = min(lower, boxes)
        return float(lower)

    def nearest(
        self,
        a: PlacedPart,
        b: PlacedPart,
        asked_mm: float,
        *,
        below_mm: float | None = None,
        error_mm: float = 0.5,
    ) -> Nearest | None:
        """Where two parts may come nearer than what is asked; None where they surely do not.

        below_mm: say where they come nearest, with all pains, if that is nearer than this.
        error_mm: at how much below what is reached a bound on a far swing is good enough.
        """
        below = asked_mm if below_mm is None else below_mm
        if self.quick_mm(a, b) >= below:
            return None
        if not self.far(a, b):
            return self._at(self.whole, a, b, asked_mm, below)
        number, queue = count(), list[tuple[float, int, Cell, Nearest | None]]()
        for cell in self._first_cells(a, b):
            self._push(queue, number, a, b, cell)
        for looked_at in count():
            lower, _, cell, found = heapq.heappop(queue)
            if lower >= below:
                return None
            if found is not None:
                least = all(reach <= _LEAST_DEG for _, reach in cell.values())
                if least or looked_at > _MOST_LOOKED_AT or not found.gap.answers(asked_mm):
                    return found
                # What stays at the very pose: no part of the range can show more than that.
                there = self._pinned_mm(found, cell, below)
                if there < below and there - lower < error_mm:
                    return found
                for part in _halves(cell):
                    self._push(queue, number, a, b, part)
            else:
                known = self._at(self._pairs_in(cell), a, b, asked_mm, below)
                if known is not None:
                    heapq.heappush(queue, (known.gap.lower_mm, next(number), cell, known))
            if not queue:
                return None
        raise AssertionError("a count does not end")

    def _push(
        self,
        queue: list[tuple[float, int, Cell, Nearest | None]],
        number: Iterator[int],
        a: PlacedPart,
        b: PlacedPart,
        cell: Cell,
    ) -> None:
        """Queue a part of a range that is still to be looked at, by a quick bound."""
        heapq.heappush(queue, (self._quick_cell_mm(a, b, cell), next(number), cell, None))

    # -- one bound -------------------------------------------------------------------------

    def _at(
        self, pairs: MovingPairs, a: PlacedPart, b: PlacedPart, asked_mm: float, below_mm: float
    ) -> Nearest | None:
        """The components that may come nearest over the ranges of some pairs' motions."""
        worst: Nearest | None = None
        one, other = pairs.layout.parts[a.name], pairs.layout.parts[b.name]
        loose = None
        for mine, theirs in component_pairs(pairs.layout, one, other):
            if loose is None:
                loose = pairs.sway_mm(one, other)
            if pairs.box_gap_mm(one, mine, other, theirs) - loose >= below_mm:
                continue
            used, gap = self._surest(pairs, one, mine, other, theirs, below_mm)
            if gap.answers(asked_mm) and gap.lower_mm >= below_mm:
                continue
            # What can be told comes before what cannot: it may be a sure foul.
            told = gap.answers(asked_mm), -gap.lower_mm
            if worst is None or told > (worst.gap.answers(asked_mm), -worst.gap.lower_mm):
                unseen = mine in a.part.unseen() or theirs in b.part.unseen()
                amounts = self._amounts(used, (a, b), gap)
                worst = Nearest(a, mine, b, theirs, gap, used, amounts, unseen)
        return worst

    def _surest(
        self,
        pairs: MovingPairs,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        asked_mm: float,
    ) -> tuple[MovingPairs, SureGap]:
        """The best of the bounds that the views of the motions give; each is sure."""
        best = pairs, pairs.sure_gap(a, mine, b, theirs, enough_mm=asked_mm)
        for view in self._views if pairs is self.whole else ():
            if best[1].lower_mm >= asked_mm or not view.parts_move(a, b):
                break
            one, other = view.layout.parts[a.name], view.layout.parts[b.name]
            gap = view.sure_gap(one, mine, other, theirs, enough_mm=asked_mm)
            if gap.lower_mm > best[1].lower_mm:
                best = view, gap
        return best

    def _amounts(
        self, pairs: MovingPairs, parts: tuple[PlacedPart, ...], gap: SureGap
    ) -> dict[str, Floats]:
        """How far each motion has gone where two parts come nearest, by its root."""
        found: dict[str, Floats] = {}
        first = len(self.at_rest.layout.survey.sources)
        roots = {self._root(part) for part in parts}
        for used, whole in zip(pairs.motions, self.motions, strict=True):
            here = slice(first, first + len(used.reaches))
            first += len(used.reaches)
            if used.root not in roots:
                continue
            form = np.zeros(len(used.reaches)) if gap.worst is None else gap.worst.form[here]
            if used.mix is not None:
                found[used.root] = whole.nearest(used.mix.T @ form)
            else:
                found[used.root] = used.nearest(np.where(np.abs(form) > 1e-12, form, 0.0))
        return found

    def _pinned_mm(self, found: Nearest, cell: Cell, below_mm: float) -> float:
        """What surely stays of a gap with the far swings where the bound points to, mm."""
        pinned = {root: (float(found.amounts[root][0]), 0.0) for root in cell}
        pairs = self._pairs_in(pinned)
        a, b = (pairs.layout.parts[one.name] for one in (found.a, found.b))
        gap = self._surest(pairs, a, found.mine, b, found.theirs, below_mm)[1]
        return gap.lower_mm

    # -- parts of a range ------------------------------------------------------------------

    def _root(self, part: PlacedPart) -> str:
        motion = self.whole.motion_of(part)
        return "" if motion is None else motion.root

    def _first_cells(self, a: PlacedPart, b: PlacedPart) -> list[Cell]:
        roots = [root for root in dict.fromkeys(map(self._root, (a, b))) if root in self._far]
        cut = [self._swept[root].cells for root in roots]
        return [dict(zip(roots, cells, strict=True)) for cells in product(*cut)]

    def _quick_cell_mm(self, a: PlacedPart, b: PlacedPart, cell: Cell) -> float:
        """What surely stays over a part of a range, from boxes alone."""
        boxes: list[Floats] = []
        loose = 0.0
        for part in (a, b):
            root = self._root(part)
            if root in cell:
                boxes.append(self._swept[root].boxes(part, *cell[root]))
                loose += 2 * self._far[root].pivot_mm
                continue
            boxes.append(self._rest_boxes(part))
            motion = self.whole.motion_of(part)
            if motion is not None:
                swing = self.whole._swing(part, motion)
                loose += self.whole.travel_mm(part) + float(np.linalg.norm(swing))
        return _boxes_apart(boxes[0], boxes[1]) - loose - self._sway_mm(a, b)

    def _rest_boxes(self, part: PlacedPart) -> Floats:
        """Boxes (n, 2, 3) of a part's pieces at rest, its sizes at their worst."""
        if part.name not in self._boxes:
            found = [self.at_rest._piece_boxes(part, one) for one in part.components]
            swell = self.at_rest._outline(part).swell
            self._boxes[part.name] = np.concatenate(found) + np.array([-swell, swell])
        return self._boxes[part.name]

    def _sway_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How far readings stray two parts wherever a far swing takes either."""
        key = a.name, b.name
        if key not in self._sways:
            total, seen = 0.0, []
            for part in (a, b):
                outline, shown = self.at_rest._outline(part), part
                root = self._root(part)
                if root in self._far:
                    shown = self.at_rest.layout.parts[root]
                    ends = self._swept[root].whole(part)
                    size = float(np.linalg.norm(outline.swell))
                    outline = Outline(
                        np.full(3, size), box_corners(ends), outline.felt, outline.warp
                    )
                    if part.name != root:
                        total += 2 * self.at_rest.sway_mm(shown, part)
                seen.append((shown, outline))
            (one, mine), (other, theirs) = seen
            sure, bends = self.at_rest.layout.uncertainty, self.at_rest.bends
            self._sways[key] = total + sway_mm(one, mine, other, theirs, sure, bends)
        return self._sways[key]

    def _pairs_in(self, cell: Cell) -> MovingPairs:
        key = tuple((root, *ends) for root, ends in cell.items())
        if key not in self._cells:
            motions = [
                one.narrowed(*(np.array([end]) for end in cell[one.root]))
                if one.root in cell
                else one
                for one in self.motions
            ]
            self._cells[key] = MovingPairs(self.at_rest, motions, self.whole)
        return self._cells[key]


@dataclass(eq=False)
class _Swept:
    """Boxes of what follows one far swing, over parts of its range."""

    rest_boxes: Callable[[PlacedPart], Floats]
    motion: Motion
    _wholes: dict[str, Floats] = field(default_factory=dict)

    @cached_property
    def cells(self) -> list[tuple[float, float]]:
        """Centres and reaches of the parts that the range is cut into at first."""
        centre, reach = float(self.motion.centre[0]), float(self.motion.reaches[0])
        parts = max(1, int(np.ceil(reach / (_FIRST_DEG / 2))))
        small = reach / parts
        return [(centre - reach + small * (2 * k + 1), small) for k in range(parts)]

    def boxes(self, part: PlacedPart, centre: float, reach: float) -> Floats:
        """(n, 2, 3) mm: what holds a part's pieces, sizes and all, over a part of the range."""
        pose = self.motion.pose(np.array([centre]))
        corners = np.array([box_corners(one) for one in self.rest_boxes(part)])
        axis = self.motion.turns[0] / np.linalg.norm(self.motion.turns[0])
        arms = np.linalg.norm(np.cross(corners - self.motion.point, axis), axis=-1).max(axis=1)
        chord = 2 * np.sin(min(np.radians(reach), np.pi) / 2) * arms[:, None]
        placed = corners @ pose[:3, :3].T + pose[:3, 3]
        return np.stack([placed.min(axis=1) - chord, placed.max(axis=1) + chord], axis=1)

    def whole(self, part: PlacedPart) -> Floats:
        """(2, 3) mm: what holds all of a part over all of the range."""
        if part.name not in self._wholes:
            boxes = np.concatenate([self.boxes(part, *cell) for cell in self.cells])
            self._wholes[part.name] = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
        return self._wholes[part.name]


def _salt(at_rest: Pairs, motions: tuple[Motion, ...], memo: Memo) -> bytes:
    """What stands for all motions: their ranges, what was pried, and where what moves stands."""
    keys, parts = PairKeys(at_rest.layout, memo, b""), at_rest.layout.parts
    return fingerprint(
        [
            (
                (one.root, one.point, one.turns, one.shifts, one.centre, one.reaches, one.pivot_mm),
                [(limit.form, limit.low, limit.high) for limit in one.limits],
                [(view.turns, view.shifts, view.centre, view.reaches) for view in one.views],
                keys.of_pair(parts[one.root], parts[one.root]),
            )
            for one in motions
        ]
    )


def _boxes_apart(a: Floats, b: Floats) -> float:
    """The least gap of boxes (n, 2, 3) and (m, 2, 3), mm."""
    apart = np.maximum(a[:, None, 0] - b[None, :, 1], b[None, :, 0] - a[:, None, 1])
    return float(np.linalg.norm(np.maximum(apart, 0.0), axis=-1).min())


def _swings_far(motion: Motion) -> bool:
    """Whether its one turn goes so far that its range has to be cut into parts."""
    one = len(motion.freedoms) == 1 and motion.freedoms[0].turns
    return one and (bool(motion.centre.any()) or float(motion.reaches[0]) > _LARGE_DEG)


def _halves(cell: Cell) -> list[Cell]:
    root = max(cell, key=lambda one: cell[one][1])
    centre, reach = cell[root]
    return [{**cell, root: (centre + side * reach / 2, reach / 2)} for side in (-1, 1)]
