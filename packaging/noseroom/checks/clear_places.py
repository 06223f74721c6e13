"""Where a part keeps clear of all others, when it is set elsewhere in one plane.

A part that is moved by d comes nearer to another by no more than d, whatever the readings do: what
surely stays at one place says something of all places round it. So a window is looked at in blocks,
from its middle, and a block is cut in four only where that does not settle all that is in it. Along
the way to what is nearest a bound falls off as a straight line, which settles most of the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import PlacedPart

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEP_MM = 2.0
"""How far apart places are looked at."""
_BLOCK = 64
_PAINS_MM = 20.0
"""How far beyond its rule pains are taken with a gap: little is told of places further off."""
_STILL = np.zeros(3)


@dataclass(frozen=True, eq=False)
class Window:
    """Places in one plane, on a grid through where the part stands.

    right, up: (3,) unit, the plane's own ways, vehicle frame. across, along: mm by which a place
    lies to the right, and up: (c,) and (r,).
    """

    right: Floats
    up: Floats
    across: Floats
    along: Floats

    @classmethod
    def round_about(cls, right: Floats, up: Floats, reach_mm: Sequence[float]) -> Window:
        """reach_mm: how far to the left, right, down and up of where the part stands."""
        left, far, down, high = (int(one / STEP_MM + 1e-9) for one in reach_mm)
        across, along = (np.arange(-low, top + 1.0) for low, top in ((left, far), (down, high)))
        return cls(right, up, np.asarray(STEP_MM * across), np.asarray(STEP_MM * along))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows, from below; places in a row, from the left."""
        return len(self.along), len(self.across)

    @cached_property
    def shifts(self) -> Floats:
        """(r, c, 3) mm, by which the part is moved to each place."""
        return np.asarray(
            self.along[:, None, None] * self.up + self.across[None, :, None] * self.right
        )

    @cached_property
    def far_mm(self) -> Floats:
        """(r, c): how far each place is from where the part stands."""
        return np.hypot(self.along[:, None], self.across[None, :])


@dataclass(frozen=True)
class Neighbour:
    """Two components that must keep apart, and what is asked of them, mm."""

    part: PlacedPart
    mine: str
    theirs: str
    asked_mm: float


def neighbours(
    pairs: Pairs, rules: Rules, part: PlacedPart, others: Sequence[PlacedPart]
) -> Iterator[Neighbour]:
    """All that a part has to keep clear of."""
    for other in others:
        for mine, theirs in component_pairs(pairs.layout, part, other):
            asked = rules.between(part, mine, other, theirs).value_mm
            yield Neighbour(other, mine, theirs, asked)


class ClearPlaces:
    """Which places of a window surely keep a part clear of its neighbours."""

    def __init__(self, pairs: Pairs, part: PlacedPart, window: Window) -> None:
        self.pairs, self.part, self.window = pairs, part, window
        self.looked_at = 0

    def keep(self, alive: Flags, near: Sequence[Neighbour]) -> dict[str, int]:
        """Strike out of `alive`, (r, c), what does not surely keep clear.

        Returns how many places each other part has struck out that no one before it had.
        """
        reach = float(self.window.far_mm.max())
        furthest = np.abs(self.window.shifts).max(axis=(0, 1))
        left = []
        for one in near:
            there = self._ends(one)
            slack = self.pairs.arm_mm(self.part, one.part, furthest) + reach
            if self.pairs.box_gap_mm(*there) - self.pairs.sway_mm(self.part, one.part) - slack < (
                one.asked_mm
            ):
                left.append((self.pairs.nominal_gap(*there, _STILL) - one.asked_mm, one))
        # What stands nearest strikes out the most, and what is struck out is not looked at again.
        left.sort(key=lambda each: each[0])
        struck: dict[str, int] = {}
        for _, one in left:
            before = int(alive.sum())
            self._strike(alive, one)
            gone = before - int(alive.sum())
            struck[one.part.name] = struck.get(one.part.name, 0) + gone
        return struck

    def _ends(self, one: Neighbour) -> tuple[PlacedPart, str, PlacedPart, str]:
        return self.part, one.mine, one.part, one.theirs

    def _strike(self, alive: Flags, one: Neighbour) -> None:
        rows, columns = alive.shape
        open_ = alive.copy()
        blocks = [
            (i, min(i + _BLOCK, rows), j, min(j + _BLOCK, columns))
            for i in range(0, rows, _BLOCK)
            for j in range(0, columns, _BLOCK)
        ]
        while blocks:
            i, k, j, m = blocks.pop()
            places = np.argwhere(open_[i:k, j:m]) + np.array([i, j])
            if not len(places):
                continue
            self._look(alive, open_, one, places)
            if not open_[i:k, j:m].any():
                continue
            half, middle = (i + k + 1) // 2, (j + m + 1) // 2
            blocks += [
                (low, high, first, last)
                for low, high in ((i, half), (half, k))
                for first, last in ((j, middle), (middle, m))
                if low < high and first < last
            ]

    def _look(self, alive: Flags, open_: Flags, one: Neighbour, places: NDArray[np.intp]) -> None:
        """Settle what the place in the middle says of those (n, 2) round it; itself at least."""
        ends, shifts = self._ends(one), self.window.shifts[places[:, 0], places[:, 1]]
        middle = (shifts.min(axis=0) + shifts.max(axis=0)) / 2
        from_middle = np.linalg.norm(shifts - middle, axis=1)
        here = shifts[int(from_middle.argmin())]
        away = shifts - here
        far = np.linalg.norm(away, axis=1)
        most, asked = float(far.max()), one.asked_mm
        self.looked_at += 1
        nominal = self.pairs.nominal_gap(*ends, here) + GAP_ERROR_MM
        short = asked - nominal
        lower, way = -np.inf, None
        if short <= most:
            # Where pieces overlap nothing more than that is asked: it is surely too near.
            enough = asked + min(most, _PAINS_MM)
            gap = self.pairs.sure_gap(*ends, enough_mm=enough, shift=here)
            lower = gap.lower_mm
            short = max(short, asked - lower)
            way = None if gap.worst is None else gap.worst.direction
        kept = lower - far >= asked
        if way is not None and not kept.all():
            bound = self.pairs.sure_towards(*ends, way, here)
            arm = self.pairs.arm_mm(self.part, one.part, np.abs(away).max(axis=0))
            kept |= bound.min() - away @ way - arm >= asked
        gone = ~kept & ((far < short) | (far == 0.0))
        at = places[kept | gone].T
        open_[at[0], at[1]] = False
        at = places[gone].T
        alive[at[0], at[1]] = False
