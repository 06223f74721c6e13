"""How a belt is tightened: the way that its adjuster moves a pulley, and the lengths it leaves.

A slide moves it straight, a pivot and a sprung arm round an axis. Every place along the way is
solved in one call; where pulleys would meet or the belt would leave one, the way ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.layout import PlacedPart
from noseroom.parts.belt_path import belt_path
from noseroom.physics.belts import belt_run

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_STEPS = 80
_ROUNDING_MM = 1e-9
_LEAST_ARM_MM = 5.0
"""Nearer to what it turns about than this a part only spins in its place."""
_TOWARD = {
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
    "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0),
}
_PIVOTS = {"alternator": "pivot", "compressor": "lower front ear"}
"""The ears that an accessory turns about when nothing else is named."""


@dataclass(frozen=True, eq=False)
class End:
    """One end of the way: how far the pulley has gone, mm, the belt's length there and its ±, mm.

    stopped: whether it ends before the adjuster does.
    """

    by_mm: float
    length_mm: float
    spread_mm: float
    stopped: bool


class TakeUp:
    """The adjuster of one belt. here: its run as it stands."""

    def __init__(self, drive: Drive, here: RunForms, name: str) -> None:
        self.drive, self.here, self.entry = drive, here, drive.belt.entry
        self.number = next(k for k, one in enumerate(drive.circles) if one.part.name == name)
        self.part = drive.circles[self.number].part

    @property
    def by(self) -> str:
        """How it moves: "slide", "pivot" or "spring"."""
        return self.entry.choices.get("adjuster.by", "slide")

    @cached_property
    def _pull(self) -> Floats:
        """(2,): which way the belt's length grows most, and how much by mm."""
        run = self.here.run
        assert run is not None
        return np.asarray(run.length_by_place()[self.here.order == self.number, :2].sum(axis=0))

    @cached_property
    def pivot(self) -> Floats | None:
        """(2,) mm in the belt's plane: what it turns about; None for a slide, or where unknown."""
        parts = self.drive.layout.parts
        (about,) = self.entry.references.get("adjuster.about", ("",))[:1]
        if self.by == "slide":
            return None
        if about in parts:
            point, _, _ = parts[about].touch_point("axis")
        else:
            port = self.part.port(_PIVOTS.get(self.part.kind, ""))
            if port is None:
                return None
            point = port.point
        first = self.drive.circles[0].part.pose[:3, 3]
        return np.asarray(self.drive.frame.T @ (point - first))[1:]

    @property
    def open(self) -> str:
        """What is not known of it; "" for nothing."""
        if not self.entry.sizes["adjuster.out"].value and not self.entry.sizes["adjuster.in"].value:
            return f"nothing says how far the {self.part.name} can be moved"
        if self.by != "slide" and self.pivot is None:
            return f"nothing says what the {self.part.name} turns about"
        if self.pivot is not None and self._arm_mm <= max(_LEAST_ARM_MM, self.here.loose_mm()):
            return f"the {self.part.name} stands on the axis that it turns about"
        if self._slope <= 0:
            return f"the {self.part.name} does not tighten it by going {self._toward}"
        if not len(self._along[0]):
            return f"nothing says where the way of the {self.part.name} ends"
        return ""

    @property
    def _arm_mm(self) -> float:
        """How far its axis stands from the one that it turns about."""
        assert self.pivot is not None
        return math.hypot(*(self.here.placed[self.number, :2] - self.pivot))

    @property
    def _toward(self) -> str:
        return self.entry.choices.get("adjuster.toward", "out")

    @cached_property
    def _way(self) -> Floats:
        """(2,) unit, from where it stands."""
        if self.pivot is not None:
            arm = self.here.placed[self.number, :2] - self.pivot
            round_ = np.array([-arm[1], arm[0]])
            return np.asarray(round_ / math.hypot(*round_) * np.sign(self._pull @ round_))
        if self._toward in _TOWARD:
            way = np.asarray(self.drive.frame.T @ np.array(_TOWARD[self._toward]))[1:]
        else:
            way = self._pull
        return np.asarray(way / max(math.hypot(*way), 1e-12))

    @property
    def _slope(self) -> float:
        """How much longer the belt gets by mm, where it stands."""
        return float(self._pull @ self._way)

    def shifts(self, by_mm: Floats) -> Floats:
        """(m, 2) mm in the belt's plane: how its pulley has gone by so many mm (m,)."""
        if self.pivot is None:
            return np.asarray(by_mm[:, None] * self._way)
        arm = self.here.placed[self.number, :2] - self.pivot
        sign = np.sign(arm[0] * self._way[1] - arm[1] * self._way[0])
        turn = sign * by_mm / math.hypot(*arm)
        cos, sin = np.cos(turn), np.sin(turn)
        gone = np.stack([arm[0] * cos - arm[1] * sin, arm[0] * sin + arm[1] * cos], axis=-1)
        return np.asarray(gone - arm)

    @cached_property
    def _along(self) -> tuple[Floats, Floats]:
        """Places along the way, mm, and the belt's length at each; only where it can be.

        None at all where it cannot be where it stands.
        """
        ease, out = (self.entry.sizes[key].value for key in ("adjuster.in", "adjuster.out"))
        by = np.unique(
            np.concatenate([np.linspace(-ease, 0, _STEPS + 1), np.linspace(0, out, _STEPS + 1)])
        )
        rest = int(np.searchsorted(by, 0.0))
        placed = np.repeat(self.here.placed[None], len(by), axis=0)
        placed[:, self.number, :2] += self.shifts(by)
        lengths, can = self._runs(placed)
        bad = np.flatnonzero(~(can & (np.gradient(lengths, by) > 0)))
        if rest in bad:
            return by[:0], lengths[:0]
        low = int(bad[bad < rest].max(initial=-1)) + 1
        high = int(bad[bad > rest].min(initial=len(by))) - 1
        return by[low : high + 1], lengths[low : high + 1]

    def _runs(self, placed: Floats) -> tuple[Floats, Flags]:
        """Lengths of the belt, mm, and whether it can run so: (m,). placed: (m, n, 3) mm."""
        if not self.here.twice:
            run = belt_run(placed[:, self.here.order], self.here.back)
            return run.length, run.ok
        # Where it lies on a pulley twice, the order changes on the way: each place has its own.
        paths = [belt_path(one) for one in placed]
        apart = (belt_run(placed).overlap_mm <= _ROUNDING_MM).all(axis=(-2, -1))
        reached = np.array([not one.missed for one in paths])
        return np.array([one.length_mm for one in paths]), apart & reached

    def ends(self) -> tuple[End, End]:
        """The slack and the tight end of the way."""
        by, _ = self._along
        wanted = (
            (-self.entry.sizes["adjuster.in"].value, by[0]),
            (self.entry.sizes["adjuster.out"].value, by[-1]),
        )
        slack, tight = (self._end(float(at), abs(at - asked) > 1e-6) for asked, at in wanted)
        return slack, tight

    def _end(self, by: float, stopped: bool) -> End:
        gone = self.shifts(np.array([by]))[0]
        there = self.drive.frame @ np.array([0.0, *gone])
        length, spread, _ = RunForms(self.drive, {self.part.name: there}).length()
        key = "adjuster.in" if by < 0 else "adjuster.out"
        pull = math.hypot(*self._pull)
        spread += pull * self.entry.sizes[key].half_width
        if self.pivot is not None:
            # An axis that stands elsewhere turns the way by as much as its arm does.
            spread += pull * abs(by) * min(self.here.loose_mm() / self._arm_mm, 1.0)
        return End(by, length, spread, stopped)

    def at(self, length_mm: float) -> float:
        """How far its pulley goes for a belt of this length, mm."""
        by, lengths = self._along
        return float(np.interp(length_mm, lengths, by))

    def further(self, missing_mm: float) -> float:
        """How much further the adjuster has to reach for so much more length, mm."""
        return missing_mm / max(self._slope, 0.1)


def take_up_of(drive: Drive, here: RunForms) -> TakeUp | None:
    """The adjuster of a belt; None where the file names none, or it is not in the car."""
    (name,) = drive.belt.entry.references.get("adjuster.moves", ("",))[:1]
    parts: tuple[PlacedPart, ...] = tuple(one.part for one in drive.circles)
    return TakeUp(drive, here, name) if name in [one.name for one in parts] else None
