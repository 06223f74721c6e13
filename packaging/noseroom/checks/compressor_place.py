"""Where may a compressor stand? In the plane of its belt, clear of everything, on its belt.

Asked where it fouls something where it stands, or where the file says how far its bracket may go.
Places are looked at on a grid (`clear_places`, `belt_places`); each that is offered is judged again
as the whole nose would be with the compressor there (`moved_nose`), at the figures that are said.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.belt_places import BeltPlaces, belt_blocked, belt_places, in_line
from noseroom.checks.clear_places import ClearPlaces, Flags, Window, neighbours
from noseroom.checks.drive import Drive
from noseroom.checks.moved_nose import Kept, Line, MovedNose
from noseroom.checks.moves import Moves
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.layout import PlacedPart
from noseroom.tables.limits import limits
from noseroom.units import MM_PER_INCH

Floats = NDArray[np.float64]

Struck = dict[tuple[str, str], int]

REACH_MM = 100.0
"""How far to each side, up and down is looked where the file does not say."""
_SIDES = ("left", "right", "down", "up")
_MOST = 5
_APART_MM = 20.0
_TRIES = 40
_LEAST_DROP_MM = 1.0
_BELT_DROP_MM = 10.0


@dataclass(frozen=True, eq=False)
class Place:
    """A place that was judged: mm to the right and up of where the part stands now, in the plane.

    shift: (3,) mm, vehicle frame. pulley, wrap_deg: where its belts have the least, and the least
    that surely lies on it; "" without a belt. nearest: what has the least room beyond its rule.
    """

    right_mm: float
    up_mm: float
    shift: Floats
    pulley: str
    wrap_deg: float
    nearest: Kept | None

    @property
    def far_mm(self) -> float:
        """From where it stands."""
        return math.hypot(self.right_mm, self.up_mm)


@dataclass(frozen=True, eq=False)
class Places:
    """Where one part may stand.

    allowed: (r, c), places of the window's grid. best: judged one by one, the shortest move first,
    then the most wrap, then the most room. struck: of (what moves or its belt, what that meets; ""
    for the belt's own pulleys), how many places it rules out that nothing before it does. untold:
    what nobody knows the place of, and is not looked at. hoses: what has to be led anew. belts: the
    drives over it.
    """

    part: PlacedPart
    window: Window
    allowed: Flags
    best: tuple[Place, ...]
    struck: Struck
    untold: tuple[str, ...]
    hoses: tuple[str, ...]
    belts: tuple[Drive, ...]


def reach_of(part: PlacedPart) -> tuple[float, ...] | None:
    """How far the file says that its bracket may go: left, right, down, up, mm; None: nothing."""
    said = tuple(part.entry.sizes[f"places.{side}"].value for side in _SIDES)
    return said if any(said) else None


def find_places(
    pairs: Pairs, rules: Rules, part: PlacedPart, reach_mm: Sequence[float] | None = None
) -> Places | None:
    """Where a part that hangs in a bracket may stand; None where nothing fixes where it does.

    reach_mm: how far to the left, right, down and up of where it stands; None: `REACH_MM`.
    """
    return _Search(pairs, rules, part, reach_mm or (REACH_MM,) * 4).found() if part.known else None


class _Search:
    def __init__(
        self, pairs: Pairs, rules: Rules, part: PlacedPart, reach_mm: Sequence[float]
    ) -> None:
        self.pairs, self.rules, self.part = pairs, rules, part
        parts = pairs.layout.parts
        self.names = Moves(pairs, rules).with_it(part)
        tied = [one for one in parts.values() if not set(one.ties).isdisjoint(self.names)]
        self.belts = tuple(
            Drive(pairs.layout, pairs.bends, one)
            for one in tied
            if one.kind == "belt" and not set(one.ties) <= self.names
        )
        self.hoses = tuple(one.name for one in tied if one.kind == "hose")
        rest = [
            one
            for one in parts.values()
            if one.name not in self.names and one not in tied and one.components
        ]
        self.others = [one for one in rest if one.known and not one.unplaced]
        self.untold = tuple(one.name for one in rest if one not in self.others)
        frame = self.belts[0].frame if self.belts else part.pose[:3, :3]
        self.window = Window.round_about(frame[:, 1], frame[:, 2], reach_mm)

    def found(self) -> Places:
        allowed = np.ones(self.window.shape, dtype=bool)
        struck: Struck = {}
        wraps = np.full(allowed.shape, math.tau)
        limit = math.radians(limits()["belt wrap"].limit_deg)
        runs = [(drive, *run) for drive in self.belts for run in self._runs(drive)]
        for drive, run, name in runs:
            wraps = np.minimum(wraps, run.least.reshape(allowed.shape))
            good = (run.least >= limit) & in_line(drive, name, run)
            _strike(allowed, ~good, (drive.belt.name, ""), struck)
        # What rides on it goes where it goes; what it is itself is the most in the way.
        for name in sorted(self.names, key=lambda one: (one != self.part.name, one)):
            part = self.pairs.layout.parts[name]
            clear = ClearPlaces(self.pairs, part, self.window)
            near = list(neighbours(self.pairs, self.rules, part, self.others))
            for other, count in clear.keep(allowed, near).items():
                struck[name, other] = struck.get((name, other), 0) + count
        for drive, run, _ in runs:
            # A copy: what one part strikes out must not change what is asked of the next.
            at = allowed.flatten()
            some = run.only(at)
            blocked = np.zeros(at.shape, dtype=bool)
            tied = [one.part for one in drive.circles if one.part.name not in self.names]
            others = [*self.others, *tied]
            for other, there in belt_blocked(self.pairs, self.rules, drive, others, some):
                blocked[at] = there
                _strike(allowed, blocked, (drive.belt.name, other), struck)
        best = tuple(self._best(allowed, wraps))
        return Places(
            self.part, self.window, allowed, best, struck, self.untold, self.hoses, self.belts
        )

    def _runs(self, drive: Drive) -> Iterator[tuple[BeltPlaces, str]]:
        on = [one.part.name for one in drive.circles if one.part.name in self.names]
        if len(on) == 1:
            run = belt_places(drive, on[0], self.window.shifts.reshape(-1, 3))
            if run is not None:
                yield run, on[0]

    def _best(self, allowed: Flags, wraps: Floats) -> list[Place]:
        """The best places, each well apart from those before it, at figures that can be said."""
        left, window = allowed.copy(), self.window
        # To the degree and the step: what is told apart by less is as good.
        order = np.lexsort(
            (-np.round(np.degrees(wraps)).ravel(), np.round(window.far_mm, 3).ravel())
        )
        columns = window.shape[1]
        found: list[Place] = []
        tries = 0
        for row, column in (divmod(int(one), columns) for one in order):
            if not left[row, column]:
                continue
            if len(found) == _MOST or tries >= _TRIES:
                break
            tries += 1
            here = np.array([window.across[column], window.along[row]])
            place, short = self._judged(here)
            if place is not None:
                found.append(place)
                self._drop(left, np.array([place.right_mm, place.up_mm]), _APART_MM)
            self._drop(left, here, max(short, _LEAST_DROP_MM))
        return sorted(found, key=_rank)

    def _drop(self, left: Flags, here: Floats, far_mm: float) -> None:
        across, along = self.window.across - here[0], self.window.along - here[1]
        left &= np.hypot(along[:, None], across[None, :]) >= far_mm

    def _judged(self, here: Floats) -> tuple[Place | None, float]:
        """A place at the figures nearest to it that can be said; None, and what it is short of."""
        short = math.inf
        for tried in _said_as(here, self.pairs.layout.envelope.unit):
            shift = tried[0] * self.window.right + tried[1] * self.window.up
            place, lacks = self._at(float(tried[0]), float(tried[1]), shift)
            if place is not None:
                return place, 0.0
            short = min(short, lacks)
        return None, short

    def _at(self, right: float, up: float, shift: Floats) -> tuple[Place | None, float]:
        others = [one.name for one in self.others]
        others += [
            one.part.name
            for drive in self.belts
            for one in drive.circles
            if one.part.name not in {*self.names, *others}
        ]
        nose = MovedNose(self.pairs, self.rules, self.names, shift, others)
        nearest = min(nose.kept(), key=lambda one: one.spare_mm, default=None)
        if nearest is not None and not nearest.spare_mm >= 0:
            lacks = -nearest.spare_mm
            return None, lacks if math.isfinite(lacks) else 0.0
        wraps = nose.wraps_deg()
        pulley = min(wraps, key=lambda one: wraps[one], default="")
        least = wraps.get(pulley, math.inf)
        held = least >= limits()["belt wrap"].limit_deg and nose.line().no_worse_than(self._line)
        if not held:
            return None, _BELT_DROP_MM
        return Place(right, up, shift, pulley, least, nearest), 0.0

    @cached_property
    def _line(self) -> Line:
        """As the belts run today."""
        return MovedNose(self.pairs, self.rules, self.names, np.zeros(3), ()).line()


def _rank(place: Place) -> tuple[float, float, float]:
    spare = 0.0 if place.nearest is None else place.nearest.spare_mm
    return round(place.far_mm), -round(place.wrap_deg), -spare


def _strike(allowed: Flags, bad: Flags, why: tuple[str, str], struck: Struck) -> None:
    before = int(allowed.sum())
    allowed &= ~bad.reshape(allowed.shape)
    struck[why] = struck.get(why, 0) + before - int(allowed.sum())


def _said_as(here: Floats, unit: str) -> Iterator[Floats]:
    """Figures that can be said for a place, (2,) mm: further out, then the nearest."""
    step = MM_PER_INCH / 16 if unit in ("in", "ft") else 1.0
    out = np.sign(here) * np.ceil(np.abs(here) / step - 1e-9) * step
    yield out
    near = np.round(here / step) * step
    if not np.array_equal(near, out):
        yield near
