"""Sets of movements: every pose that an engine, a hood or a lever may take, not a list of some.

A motion set is a product of intervals, one for each step: a turn about an axis or a shift along a
direction. What a set may do to a point is bounded from one pose of it alone, so that a bound on a
clearance holds for every pose of the set, with nothing hidden between poses that were looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, moved

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Turn:
    """A turn about a fixed axis of the world, by any angle from `low_deg` to `high_deg`.

    through: (3,) mm, a point of the axis. axis: (3,), of any length but 0; the turn is by the
    right-hand rule.

    Raises:
        GeometryError: no direction, no interval, or something not finite.
    """

    through: ArrayLike
    axis: ArrayLike
    low_deg: float
    high_deg: float

    def __post_init__(self) -> None:
        _check(self.through, self.axis, self.low_deg, self.high_deg)

    @cached_property
    def _unit(self) -> Floats:
        axis = np.asarray(self.axis, dtype=np.float64)
        unit: Floats = axis / np.linalg.norm(axis)
        return unit

    @property
    def interval(self) -> tuple[float, float]:
        """Least and most, in radians."""
        return float(np.radians(self.low_deg)), float(np.radians(self.high_deg))

    @property
    def scale(self) -> float:
        """What turns the interval's unit into the one of the report: degrees for a radian."""
        return float(np.degrees(1.0))

    def pose(self, amount: float) -> Pose:
        """The turn by `amount` rad as (4, 4)."""
        x, y, z = self._unit
        cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
        turn = np.eye(3) + np.sin(amount) * cross + (1 - np.cos(amount)) * cross @ cross
        through = np.asarray(self.through, dtype=np.float64)
        made = np.eye(4)
        made[:3, :3], made[:3, 3] = turn, through - turn @ through
        return made

    def swing(self, half: float) -> float:
        """Largest change (chord) of a unit vector when the angle is off by up to `half` rad."""
        return float(2 * np.sin(min(half, np.pi) / 2))

    def off(self, points: Floats, half: float) -> Floats:
        """How far points (n, 3) may get from here, mm: (n,), the angle off by up to `half`."""
        away: Floats = self.swing(half) * np.linalg.norm(self._arm(points), axis=1)
        return away

    def off_along(self, points: Floats, half: float, normal: Floats) -> Floats:
        """The same along a direction (3,) alone, either way: (n,) mm."""
        arm = self._arm(points)
        # (R(t) - 1) arm = sin t (axis x arm) - (1 - cos t) arm, for an arm square to the axis.
        sine = np.sin(min(half, np.pi / 2))
        across = np.abs(np.cross(self._unit, arm) @ normal)
        inward = np.abs(arm @ normal)
        along: Floats = sine * across + (1 - np.cos(min(half, np.pi))) * inward
        return along

    def _arm(self, points: Floats) -> Floats:
        from_axis = points - np.asarray(self.through, dtype=np.float64)
        arm: Floats = from_axis - np.outer(from_axis @ self._unit, self._unit)
        return arm


@dataclass(frozen=True, eq=False)
class Shift:
    """A shift along a fixed direction of the world, by anything from `low_mm` to `high_mm`.

    direction: (3,), of any length but 0; the shift is in mm whatever that length.

    Raises:
        GeometryError: no direction, no interval, or something not finite.
    """

    direction: ArrayLike
    low_mm: float
    high_mm: float

    def __post_init__(self) -> None:
        _check(np.zeros(3), self.direction, self.low_mm, self.high_mm)

    @cached_property
    def _unit(self) -> Floats:
        way = np.asarray(self.direction, dtype=np.float64)
        unit: Floats = way / np.linalg.norm(way)
        return unit

    @property
    def interval(self) -> tuple[float, float]:
        """Least and most, mm."""
        return float(self.low_mm), float(self.high_mm)

    @property
    def scale(self) -> float:
        """1: the report is in mm too."""
        return 1.0

    def pose(self, amount: float) -> Pose:
        """The shift by `amount` mm as (4, 4)."""
        made = np.eye(4)
        made[:3, 3] = amount * self._unit
        return made

    def swing(self, half: float) -> float:
        """0: a shift turns nothing."""
        return 0.0

    def off(self, points: Floats, half: float) -> Floats:
        """How far points (n, 3) may get from here, mm: (n,)."""
        return np.full(len(points), half)

    def off_along(self, points: Floats, half: float, normal: Floats) -> Floats:
        """The same along a direction (3,) alone, either way: (n,) mm."""
        return np.full(len(points), half * abs(float(self._unit @ normal)))


Step: TypeAlias = Turn | Shift


def _check(point: ArrayLike, way: ArrayLike, low: float, high: float) -> None:
    where, whither = np.asarray(point, dtype=np.float64), np.asarray(way, dtype=np.float64)
    if where.shape != (3,) or whither.shape != (3,):
        raise GeometryError("a motion's point and direction have three numbers each")
    if not (np.isfinite(where).all() and np.isfinite(whither).all() and whither.any()):
        raise GeometryError("a motion's point and direction are finite, the direction not zero")
    if not (np.isfinite(low) and np.isfinite(high) and low <= high):
        raise GeometryError(f"a motion runs from its least to its most, not {low!r} to {high!r}")


@dataclass(frozen=True, eq=False)
class Motions:
    """All poses that a body may take: its steps one after the other, each anywhere in its interval.

    steps: the first is done first, to the body as it rests in the world; each later one to what
    the earlier ones have made of it, about its own axis as given, which does not move along.
    No steps: the body stays where it is.
    """

    steps: tuple[Step, ...] = ()

    def box(self) -> tuple[Floats, Floats]:
        """Middle and half-width (k,) of the intervals, in rad and mm."""
        ends = np.array([step.interval for step in self.steps], dtype=np.float64).reshape(-1, 2)
        return ends.mean(axis=1), (ends[:, 1] - ends[:, 0]) / 2

    def pose(self, amounts: Sequence[float] | Floats, rest: Pose) -> Pose:
        """Where the body is (4, 4) after each step by its amount (k,), in rad and mm."""
        made = rest
        for step, amount in zip(self.steps, amounts, strict=True):
            made = step.pose(float(amount)) @ made
        return made

    def reported(self, amounts: Floats) -> tuple[float, ...]:
        """Amounts (k,) in degrees and mm."""
        pairs = zip(self.steps, amounts, strict=True)
        return tuple(float(amount) * step.scale for step, amount in pairs)

    def off(self, points: Floats, centre: Floats, half: Floats) -> tuple[Floats, Floats]:
        """How far points may get from where they are at the centre of a box of amounts.

        points: (n, 3) mm at rest. centre, half: (k,). Returns the bound for each point (n,), and
        each step's share of the largest (k,): the box is best cut where that is largest.

        Changing one amount after the other, a step moves a point by what it does where the
        centre has brought it; what comes later is rigid and keeps that length.
        """
        total, shares, here = np.zeros(len(points)), np.zeros(len(self.steps)), points
        for k, step in enumerate(self.steps):
            here = moved(here, step.pose(float(centre[k])))
            by_this = step.off(here, float(half[k]))
            total += by_this
            shares[k] = by_this.max()
        return total, shares

    def off_along(
        self, points: Floats, centre: Floats, half: Floats, normal: Floats
    ) -> tuple[Floats, Floats]:
        """How far points (n, 3) may get along a unit direction (3,), either way, as `off` does.

        Later turns carry a step's movement out of the direction it has at the centre, by no more
        than they swing a unit vector.
        """
        # What each step moves along `normal` is asked for in the frame before the later steps.
        turns = [step.pose(float(c))[:3, :3] for step, c in zip(self.steps, centre, strict=True)]
        seen, swing = [normal], [0.0]
        for k in range(len(self.steps) - 1, 0, -1):
            seen.append(turns[k].T @ seen[-1])
            swing.append(swing[-1] + self.steps[k].swing(float(half[k])))
        seen.reverse()
        swing.reverse()
        total, shares, here = np.zeros(len(points)), np.zeros(len(self.steps)), points
        for k, step in enumerate(self.steps):
            here = moved(here, step.pose(float(centre[k])))
            wide = float(half[k])
            full = step.off(here, wide)
            along = step.off_along(here, wide, seen[k]) + swing[k] * full
            by_this = np.minimum(along, full)
            total += by_this
            shares[k] = by_this.max()
        return total, shares


STILL = Motions()
"""No movement."""
