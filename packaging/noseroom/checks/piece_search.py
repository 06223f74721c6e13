"""The worst of all pieces of two components: which of them decide what surely stays between."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.crowd import (
    Crowd,
    bounds_together,
    bounds_towards,
    crowd_bounds,
    crowd_towards,
)
from noseroom.geometry.separation import (
    GAP_ERROR_MM,
    Bend,
    MovingPiece,
    Separation,
    Uncertainty,
    nearest,
    separation,
)

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Moves = tuple[MovingPiece, ...]
"""One piece, once for each placement of its part."""
Crowds = Callable[[], tuple[Crowd, Crowd]]

_AT_ONCE, _FEW_AT_ONCE = 48, 12
_MANY = 24
_MOST_NOTED = 2000
_NO_WAY = np.zeros(3)
_MOST_AGAIN = 200


@dataclass(frozen=True, eq=False)
class Close:
    """Which pieces of two components keep the least, so that nearly the same ones need fewer looks.

    count: (2,), how many pieces the two have. pieces: (k, 2), numbers of those that are worth a
    look; least_mm: (k,), what each pair of them surely keeps, -inf for what is not known. rest_mm:
    what all others do. ways: (k, 3), unit, along which that was told; 0 where it was not along one.
    nominal_mm: the least gap as adjusted, or less.
    """

    count: Places
    pieces: Places
    least_mm: Floats
    rest_mm: float
    ways: Floats
    nominal_mm: float

    def less(self, mm: float) -> Floats:
        """What every pair of pieces keeps where it may have lost as much as that: (p, q) mm."""
        known = np.full(tuple(int(one) for one in self.count), self.rest_mm)
        known[self.pieces[:, 0], self.pieces[:, 1]] = self.least_mm
        return np.asarray(known - mm)


def close_of(search: PieceSearch, look_mm: float) -> Close:
    """What is worth noting of a search: the pieces of which it does not know `look_mm`."""
    bounds = search.bounds
    flat = bounds.ravel()
    few = np.flatnonzero(flat < look_mm)
    if len(few) > _MOST_NOTED:
        few = few[np.argsort(flat[few], kind="stable")[:_MOST_NOTED]]
    others = np.delete(flat, few)
    rest = float(others.min()) if len(others) else np.inf
    pieces = np.stack(np.unravel_index(few, bounds.shape), axis=-1)
    ways = np.array([search.ways.get((int(i), int(j)), _NO_WAY) for i, j in pieces])
    return Close(
        np.array(bounds.shape),
        pieces,
        flat[few],
        rest,
        ways.reshape(-1, 3),
        float(search.nominal_mm),
    )


@dataclass(frozen=True, eq=False)
class _Candidate:
    """Pieces i and j of two components: their gap as adjusted and the way from one to the other."""

    i: int
    j: int
    gap: float
    way: Floats


@dataclass(frozen=True, eq=False)
class Question:
    """Two components, and what is asked of them.

    ours, others: their pieces. crowds: all pieces of either in one, the first displaced by `shift`.
    apart: (p, q) mm, gaps of the pieces' boxes. sway_mm, slack_mm: how far either may stray at
    most, and what is taken off each gap. enough_mm: no pains are taken to show more. look_mm:
    pieces that surely keep that are not looked at. shift: (3,) mm, by which the first is tried.
    known: (p, q) mm, what is known already of what pieces surely keep. close: from which that is.
    short_mm: once less than that surely stays, nothing more is asked of it than whether pieces run
    into each other; -inf asks for all. Where it is given, gaps as adjusted beyond `look_mm` are not
    told.
    """

    ours: Sequence[Moves]
    others: Sequence[Moves]
    crowds: Crowds
    apart: Floats
    sure: Uncertainty
    bend: Bend
    sway_mm: float
    slack_mm: float
    enough_mm: float
    look_mm: float
    shift: Floats | None = None
    known: Floats | None = None
    close: Close | None = None
    short_mm: float = -np.inf


class SomeMoves(Sequence[Moves]):
    """Pieces, each for all its placements, with their movement by some of the sources.

    Of hundreds a few are asked for; only those are made.
    """

    def __init__(self, placed: Sequence[Sequence[MovingPiece]], columns: Places) -> None:
        self._placed, self._columns = placed, columns
        self._made: dict[int, Moves] = {}

    def __len__(self) -> int:
        return len(self._placed[0])

    def __getitem__(self, index: Any) -> Any:
        if index not in self._made:
            self._made[index] = tuple(one[index].only(self._columns) for one in self._placed)
        return self._made[index]


class PieceSearch:
    """One search. After `run`: lower_mm and nominal_mm of all pieces; worst, which decide, if any.

    bounds: (p, q) mm, what each pair of pieces surely keeps, as far as was looked. ways: (3,) unit,
    along which that was told, of some of them.
    """

    def __init__(self, asked: Question) -> None:
        self._asked = asked
        self.lower_mm, self.nominal_mm = np.inf, np.inf
        self.worst: Separation | None = None
        self.bounds = asked.apart - asked.sway_mm
        if asked.known is not None:
            self.bounds = np.maximum(self.bounds, asked.known)
        self.ways: dict[tuple[int, int], Floats] = {}
        self._quick = asked.known
        self._asked_all = self._asked_again = False
        # Where it is enough to know that too little stays, that shows soon.
        self._at_once = _AT_ONCE if asked.short_mm == -np.inf else _FEW_AT_ONCE
        self._waiting: list[_Candidate] = []

    @cached_property
    def _crowds(self) -> tuple[Crowd, Crowd]:
        return self._asked.crowds()

    def run(self) -> None:
        """Look at pieces, those first whose boxes are nearest, until the rest cannot count."""
        asked = self._asked
        look, sway = asked.look_mm, asked.sway_mm
        told_to = look if asked.short_mm > -np.inf else np.inf
        self._begin()
        for gap, i, j in in_order(asked.apart):
            # In order of their boxes' gaps: what follows can neither be nearer nor less sure.
            told = min(self.nominal_mm, told_to)
            if gap - sway >= look or (gap - sway >= self.lower_mm and gap >= told):
                self.lower_mm = min(self.lower_mm, gap - sway)
                self.nominal_mm = min(self.nominal_mm, gap)
                break
            # Boxes that overlap do not tell how deep their pieces do.
            if gap > 0 and gap >= told and self._short:
                break
            self._glance()
            quick = self._quick
            if quick is not None and quick[i, j] >= max(min(look, self.lower_mm), told):
                # Nor is it nearer as adjusted than what it surely keeps.
                if told_to < np.inf:
                    self.lower_mm = min(self.lower_mm, float(quick[i, j]))
                    self.nominal_mm = min(self.nominal_mm, max(gap, told_to))
                continue
            self._look(i, j)
        if self._waiting and not (self._short and self.nominal_mm >= look):
            self._settle()

    def _begin(self) -> None:
        """Look first at what kept too little before: where it still does, that is all."""
        close = self._asked.close
        if close is not None and len(close.pieces):
            worst = int(np.argmin(close.least_mm))
            if close.least_mm[worst] < self._asked.short_mm:
                self._look(int(close.pieces[worst, 0]), int(close.pieces[worst, 1]))

    @property
    def _short(self) -> bool:
        """Whether it is known that too little stays, and nothing else could be said of any pieces.

        Where parts may stray without end, some pieces may be such that nothing is known.
        """
        return self.lower_mm < self._asked.short_mm and bool(np.isfinite(self._asked.sway_mm))

    def _glance(self) -> None:
        """Look at all at once, where the nearest boxes do not settle it and there are many."""
        asked = self._asked
        if self._short:
            return
        if self._quick is not None and not self._asked_again:
            self._asked_again = True
            self._as_before(self._quick)
        if self._asked_all or self.nominal_mm == np.inf:
            return
        self._asked_all = True
        count = self.bounds.size
        if self._quick is not None:
            # Much of it is known: only what is left open counts.
            count = int((self._quick < max(min(asked.look_mm, self.lower_mm), 0.0)).sum())
        if count > _MANY:
            found = crowd_bounds(*self._crowds, asked.sure, asked.bend) - asked.slack_mm
            if asked.short_mm > -np.inf:
                found = np.maximum(found, self._squarely())
            self._quick = found if self._quick is None else np.maximum(found, self._quick)
            self.bounds = np.maximum(self.bounds, found)

    def _as_before(self, quick: Floats) -> None:
        """Look along the ways that told what pieces kept before: they nearly always do again."""
        asked, close = self._asked, self._asked.close
        if close is None or not len(close.pieces):
            return
        told = quick[close.pieces[:, 0], close.pieces[:, 1]] < asked.look_mm
        told &= close.ways.any(axis=1)
        if not told.any() or told.sum() > _MOST_AGAIN:
            return
        pieces, ways = close.pieces[told], close.ways[told]
        enough = asked.look_mm + asked.slack_mm
        found = bounds_together(*self._crowds, pieces, ways, asked.sure, asked.bend, enough)
        at = pieces[:, 0], pieces[:, 1]
        quick[at] = np.maximum(quick[at], found - asked.slack_mm)
        self.bounds = np.maximum(self.bounds, quick)

    def _squarely(self) -> Floats:
        """What all pieces keep along the axes of the car: (p, q) mm."""
        ours, others = self._crowds
        between = others.moves[0].corners.mean(axis=0) - ours.moves[0].corners.mean(axis=0)
        found = [
            crowd_towards(ours, others, way, self._asked.sure, self._asked.bend)
            for way in np.diag(np.where(between < 0, -1.0, 1.0))
        ]
        return np.asarray(np.max(found, axis=0) - self._asked.slack_mm)

    def _look(self, i: int, j: int) -> None:
        asked = self._asked
        one = _Candidate(i, j, *nearest(asked.ours[i][0], asked.others[j][0], asked.shift))
        self.nominal_mm = min(self.nominal_mm, one.gap)
        coarse = one.gap - GAP_ERROR_MM - asked.sway_mm
        self._note(i, j, coarse)
        if self._quick is not None:
            coarse = max(coarse, float(self._quick[i, j]))
        if coarse >= min(asked.look_mm, self.lower_mm) and one.gap > 0:
            self.lower_mm = min(self.lower_mm, coarse)
        elif self.worst is None:
            self._measure(one)
        else:
            self._waiting.append(one)
            if len(self._waiting) >= self._at_once and not self._short:
                self._settle()

    def _note(self, i: int, j: int, bound: float, way: Floats | None = None) -> None:
        if way is not None and bound >= self.bounds[i, j]:
            self.ways[i, j] = way
        self.bounds[i, j] = max(self.bounds[i, j], bound)

    def _measure(self, one: _Candidate) -> None:
        asked = self._asked
        tried = asked.ours[one.i]
        if asked.shift is not None:
            tried = tuple(piece.moved(asked.shift) for piece in tried)
        found = separation(
            tried,
            asked.others[one.j],
            asked.sure,
            # Only the worst pieces count: beyond those known already no pains are taken.
            enough_mm=min(asked.enough_mm, self.lower_mm) + asked.slack_mm,
            bend=asked.bend,
            found=(one.gap, one.way),
        )
        left = found.lower_mm - asked.slack_mm
        if self.worst is None or left < self.lower_mm:
            self.worst = found
        self.lower_mm = min(self.lower_mm, left)
        self._note(one.i, one.j, left, found.direction)

    def _settle(self) -> None:
        """Measure the pieces that wait, but for those that are no worse than the worst."""
        asked = self._asked
        pieces = np.array([(one.i, one.j) for one in self._waiting])
        ways = np.array([one.way for one in self._waiting])
        bounds = bounds_towards(*self._crowds, pieces, ways, asked.sure, asked.bend)
        bounds = bounds - asked.slack_mm
        for index in np.argsort(bounds, kind="stable"):
            if bounds[index] < min(asked.look_mm, self.lower_mm):
                self._measure(self._waiting[index])
            else:
                self.lower_mm = min(self.lower_mm, float(bounds[index]))
                one = self._waiting[index]
                self._note(one.i, one.j, float(bounds[index]), one.way)
        self._waiting.clear()


def in_order(apart: Floats) -> Iterator[tuple[float, int, int]]:
    """Pairs of pieces, by the gaps (p, q) of their boxes, nearest first: that and their places."""
    order = np.argsort(apart, axis=None, kind="stable")
    rows, columns = np.unravel_index(order, apart.shape)
    for i, j in zip(rows, columns, strict=True):
        yield float(apart[i, j]), int(i), int(j)
