"""A fan against one other thing, along the fan's own axis: how much room is left, and where.

A gap changes by no more than the fan moves, so stepping by the margin that is left skips nothing.
Where one direction keeps the two apart at two thicknesses of a spacer, it does at all between them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.fan_window_search import END_MM, Interval, blocked_intervals
from noseroom.checks.pairs import Pairs, SureGap
from noseroom.findings import Rule
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import PlacedPart

Floats = NDArray[np.float64]
MOST_SPACER_MM = 100.0
"""Thicker than this no single spacer is made (common practice); spacers are never stacked."""
WHOLE = ((0.0, MOST_SPACER_MM),)
"""All thicknesses."""
AT_REST = "at rest"
AMPLE_MM = 2.0
"""How far beyond its rule pains are taken to show what a gap surely keeps."""
_WIDE_MM = 5.0
FINE_MM = 0.1
"""By how much more a finer circle may leave before it is worth its time."""


@dataclass(frozen=True, eq=False)
class View:
    """Pairs of a layout, with a fan and another part as they stand in it."""

    pairs: Pairs
    fan: PlacedPart
    other: PlacedPart

    @cached_property
    def arm(self) -> float:
        """How much further the two stray for each mm of a spacer: it is linear in that."""
        return self.pairs.arm_mm(self.fan, self.other, np.asarray(-self.fan.pose[:3, 0]))

    def stray_mm(self, thickness: float) -> float:
        """How far the two may stray from where they are drawn."""
        return self.pairs.sway_mm(self.fan, self.other) + abs(thickness) * self.arm + GAP_ERROR_MM


@dataclass(frozen=True, eq=False)
class Scan:
    """One component of the fan against one of another part, along the axis.

    views: other bounds on what the same two keep, each of them sure. fine: a view of the two in
    which the fan's circle is finer.
    """

    first: View
    mine: str
    theirs: str
    rule: Rule
    state: str = AT_REST
    views: tuple[View, ...] = ()
    fine: Callable[[PlacedPart, PlacedPart], View] | None = None
    _ways: dict[float, tuple[View, Floats]] = field(default_factory=dict)
    _known: dict[float, float] = field(default_factory=dict)
    _sure: dict[tuple[float, View], SureGap] = field(default_factory=dict)

    @property
    def room_mm(self) -> float:
        """What the rule asks."""
        return self.rule.value_mm

    @property
    def pairs(self) -> Pairs:
        """In which the two stand."""
        return self.first.pairs

    @property
    def fan(self) -> PlacedPart:
        """The fan, without a spacer."""
        return self.first.fan

    @property
    def other(self) -> PlacedPart:
        """What it has to keep clear of."""
        return self.first.other

    @cached_property
    def ahead(self) -> Floats:
        """(3,): the way along which a spacer takes the fan."""
        return np.asarray(-self.fan.pose[:3, 0])

    def stands_off_mm(self) -> float:
        """What surely stays between the two today, from boxes alone."""
        loose = self.pairs.sway_mm(self.fan, self.other)
        return self.pairs.box_gap_mm(self.fan, self.mine, self.other, self.theirs) - loose

    @cached_property
    def never_near(self) -> bool:
        """Whether no spacer brings the two near one another."""
        return self.passes_mm() >= self.room_mm

    def leaves_mm(self) -> float:
        """Roughly how many thicknesses are left on its own side of what is in the way.

        By the ends of the two along the axis alone; a guess that only sets an order.
        """
        (rear, front), (near, far) = self._along()
        if near > rear:
            return near - front - self.room_mm
        return MOST_SPACER_MM - (far - rear + self.room_mm)

    def _along(self) -> list[tuple[float, float]]:
        """Both components' ends along the axis, as adjusted: the least and the most, mm."""
        ends = []
        for part, component in ((self.fan, self.mine), (self.other, self.theirs)):
            along = [piece.corners @ self.ahead for piece in part.moving[component][0]]
            ends.append((float(min(map(np.min, along))), float(max(map(np.max, along)))))
        return ends

    def passes_mm(self) -> float:
        """What surely stays whatever the spacer, from boxes of what it takes the fan through."""
        far = MOST_SPACER_MM * self.ahead
        ours, others = (
            np.array([piece.box for piece in part.moving[component][0]])
            for part, component in ((self.fan, self.mine), (self.other, self.theirs))
        )
        low = (ours[:, 0] + np.minimum(far, 0.0))[:, None]
        high = (ours[:, 1] + np.maximum(far, 0.0))[:, None]
        apart = np.maximum(np.maximum(low - others[:, 1], others[:, 0] - high), 0.0)
        nearest = float(np.linalg.norm(apart, axis=-1).min())
        return nearest - self.first.stray_mm(MOST_SPACER_MM)

    def sure(self, thickness: float, view: View | None = None) -> SureGap:
        """The sure gap with a spacer of this thickness."""
        seen = view or self.first
        if (thickness, seen) not in self._sure:
            self._sure[thickness, seen] = self._sure_in(seen, thickness)
        return self._sure[thickness, seen]

    def _sure_in(self, seen: View, thickness: float) -> SureGap:
        pair = seen.fan, self.mine, seen.other, self.theirs
        ample = seen.pairs.ample_mm(*pair, self.room_mm)
        found = seen.pairs.sure_gap(
            *pair,
            # More than the rule asks: where it is just kept, no pains are to be spared.
            enough_mm=self.room_mm + min(AMPLE_MM, ample),
            look_mm=self.room_mm + min(_WIDE_MM, ample),
            shift=thickness * self.ahead,
        )
        if found.worst is not None:
            self._ways[thickness] = seen, found.worst.direction
        return found

    def known_at(self, thickness: float) -> bool:
        """Whether the sure gap can be judged there."""
        return self.quickly_free(thickness) or self.sure(thickness).answers(self.room_mm)

    def fouls_by(self, today: SureGap) -> float:
        """How far the fan breaks the rule where it stands, whatever the readings hide, mm.

        The cells round a scan's triangles are larger than what was seen; what fouls is told by the
        triangles themselves, in the fit check.
        """
        if self.other.part.meshes():
            return -np.inf
        return self.room_mm - today.nominal_mm - today.spread_mm

    def tip_gap(self) -> float:
        """What is free of the other part outside the circle that this component sweeps, mm.

        As adjusted, and wherever along the axis either is; below nothing where the part reaches
        into the circle.
        """
        outside = min(_off_axis(corners) for corners in self._across(self.other, self.theirs))
        inside = max(
            float(np.linalg.norm(corners, axis=1).max())
            for corners in self._across(self.fan, self.mine)
        )
        return outside - inside

    def abreast(self) -> bool:
        """Whether the two components are level with one another along the axis, as adjusted."""
        (low, high), (its_low, its_high) = self._along()
        return bool(low < its_high and its_low < high)

    def _across(self, part: PlacedPart, component: str) -> list[Floats]:
        """Corners (n, 2) of a component's pieces as seen along the axis, from the axis."""
        across = np.linalg.svd(self.ahead[None])[2][1:]
        hub = self.fan.pose[:3, 3]
        return [(piece.corners - hub) @ across.T for piece in part.moving[component][0]]

    def blocked(self, within: Sequence[Interval] = WHOLE) -> tuple[Interval, ...]:
        """Where, of some thicknesses, the rule is not surely kept."""
        # The fan goes a mm for each mm, and what turns it swings it by that much more.
        slope = 1.0 + max(one.arm for one in (self.first, *self.views))
        return tuple(
            interval
            for low, high in within
            for interval in blocked_intervals(self.margin, low, high, self.clear_until, slope)
        )

    def gap_mm(self, thickness: float) -> float:
        """The gap as adjusted; below nothing where the two overlap."""
        return self._nominal(self.first, thickness)

    def surely_mm(self, thickness: float, enough_mm: float = np.inf) -> float:
        """What surely stays, -inf where that is not known; no pains beyond what is enough."""
        shift = thickness * self.ahead
        found = (
            one.pairs.sure_gap(
                one.fan, self.mine, one.other, self.theirs, enough_mm=enough_mm, shift=shift
            )
            for one in (self.first, *self.views)
        )
        return max(one.lower_mm for one in found)

    def quickly_free(self, thickness: float) -> bool:
        """Whether the gap as adjusted keeps the rule whatever the parts may stray."""
        gap = self._nominal(self.first, thickness)
        return gap - self.first.stray_mm(thickness) >= self.room_mm + AMPLE_MM

    def margin(self, thickness: float) -> float:
        """What is surely left beyond the rule, or a bound that says as much and is quicker."""
        if thickness not in self._known:
            best = -np.inf
            for view in (self.first, *self.views):
                best = max(best, self._margin_in(view, thickness))
                if best >= END_MM:
                    break
            self._known[thickness] = best
        return self._known[thickness]

    def _margin_in(self, view: View, thickness: float) -> float:
        """As `margin`, in one view.

        Where the gap as adjusted breaks the rule already, the sure gap does; where it keeps the
        rule whatever the parts may stray, so does the sure gap.
        """
        gap, stray = self._nominal(view, thickness), view.stray_mm(thickness)
        if gap < self.room_mm or gap - stray >= self.room_mm + AMPLE_MM:
            return gap - self.room_mm - (stray if gap >= self.room_mm else 0.0)
        return self.sure(thickness, view).lower_mm - self.room_mm

    def _nominal(self, view: View, thickness: float) -> float:
        return view.pairs.nominal_gap(
            view.fan, self.mine, view.other, self.theirs, thickness * self.ahead
        )

    def refined(self, blocked: Sequence[Interval], within: Sequence[Interval]) -> Scan | None:
        """The same with a finer circle, where an end of what is blocked calls for that.

        It does where with the finer circle more than a little is left there.
        """
        if self.fine is None or self.mine != "sweep":
            return None
        bounds = {at for interval in within for at in interval}
        ends = [at for interval in blocked for at in interval if at not in bounds]
        slanted = [at for at in ends if not self._straight(at)]
        if not slanted:
            return None
        finer = replace(
            self, first=self.fine(self.fan, self.other), views=(), fine=None,
            _ways={}, _known={}, _sure={},
        )  # fmt: skip
        return finer if any(finer.margin(at) > FINE_MM for at in slanted) else None

    def _straight(self, thickness: float) -> bool:
        """Whether it hardly counts there how far wedges stand out of the circle.

        They do across the axis alone; what decides has a share of that as it has of its direction.
        """
        view, worst = self.first, self.sure(thickness).worst
        if worst is None:
            return False
        pieces = view.fan.moving[self.mine][0]
        radius = max(
            float(np.linalg.norm(corners, axis=1).max())
            for corners in self._across(view.fan, self.mine)
        )
        out = radius * (1.0 - np.cos(np.pi / len(pieces)))
        across = worst.direction - (worst.direction @ self.ahead) * self.ahead
        return bool(out * np.linalg.norm(across) < FINE_MM / 2)

    def clear_until(self, here: float, there: float) -> float:
        """Up to which thickness the two are surely clear in one go from one that is clear."""
        view, way = self._ways.get(here, (self.first, None))
        best = here
        for one in (self.ahead, -self.ahead) if way is None else (way,):
            start = self._left_along(view, one, here)
            if start < 0:
                continue
            end = self._left_along(view, one, there)
            if end >= 0:
                return there
            # What is left is concave: never below the line between the two.
            best = max(best, here + (there - here) * start / (start - end))
        return best

    def _left_along(self, view: View, way: Floats, thickness: float) -> float:
        sure = view.pairs.sure_along(
            view.fan, self.mine, view.other, self.theirs, way, thickness * self.ahead
        )
        return sure - self.room_mm - END_MM


def _off_axis(corners: Floats) -> float:
    """How far the hull of corners (n, 2) is from the origin, which may be inside it."""
    angles = np.sort(np.arctan2(corners[:, 1], corners[:, 0]))
    if np.max(np.diff(angles, append=angles[0] + 2 * np.pi)) < np.pi:
        return 0.0
    # The edges of the hull are among the lines from corner to corner.
    start, line = corners[:, None], corners[None] - corners[:, None]
    long = np.maximum((line**2).sum(axis=-1), np.finfo(float).tiny)
    along = np.clip(-(start * line).sum(axis=-1) / long, 0.0, 1.0)
    return float(np.linalg.norm(start + along[..., None] * line, axis=-1).min())
