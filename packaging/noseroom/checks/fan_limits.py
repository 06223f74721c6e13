"""Where along its own axis a fan is blocked, and by what.

The fan is moved ahead, from where it stands now, along its (tilted) axis; at each thickness the
sure gap of everything it sweeps, and of its spider and clutch, is held against its rule. A gap
changes by no more than the fan moves, so stepping by the margin that is left skips nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.margins import FAN_GAP, Margins
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import PlacedPart

Floats = NDArray[np.float64]
Interval = tuple[float, float]

MOST_SPACER_MM = 100.0
"""Thicker than this no single spacer is made (common practice); spacers are never stacked."""
_END_MM = 0.05
_COARSE_MM = 0.5
_WIDE_MM = 5.0
_AMPLE_MM = 2.0


@dataclass(frozen=True, eq=False)
class Limit:
    """One thing to keep clear of, and where along the axis that is not sure.

    fouls: whether the fan breaks its rule where it stands, whatever the readings hide. scan: the
    pair of components that it is about.
    """

    part: str
    blocked: tuple[Interval, ...]
    known: bool
    fouls: bool
    scan: Scan

    @property
    def blocks_today(self) -> bool:
        """Whether its rule is not surely kept with no spacer."""
        return self.blocked[0][0] == 0.0


def limits_past(
    pairs: Pairs,
    rules: Rules,
    fan: PlacedPart,
    other: PlacedPart,
    ahead: Floats,
    margins: Margins,
) -> list[Limit]:
    """What one other part blocks, component by component. What it does today is noted."""
    found = []
    note_today(pairs, rules, fan, other, ahead, margins)
    for scan in _scans(pairs, rules, fan, other, ahead):
        today = scan.sure(0.0)
        if not today.answers(scan.room_mm):
            found.append(Limit(other.name, ((0.0, MOST_SPACER_MM),), False, False, scan))
            continue
        blocked = scan.blocked()
        if blocked:
            found.append(Limit(other.name, blocked, True, scan.fouls_by(today) > 0, scan))
    return found


def _scans(
    pairs: Pairs, rules: Rules, fan: PlacedPart, other: PlacedPart, ahead: Floats
) -> Iterator[Scan]:
    """The components that any spacer could bring near one another."""
    for mine, theirs in component_pairs(pairs.layout, fan, other):
        rule = rules.between(fan, mine, other, theirs)
        loose = pairs.sway_mm(fan, other)
        if pairs.box_gap_mm(fan, mine, other, theirs) - loose < rule.value_mm + MOST_SPACER_MM:
            yield Scan(pairs, fan, mine, other, theirs, ahead, rule.value_mm)


def note_today(
    pairs: Pairs,
    rules: Rules,
    fan: PlacedPart,
    other: PlacedPart,
    ahead: Floats,
    margins: Margins,
) -> None:
    """Note whether a part keeps a fan from doing without a spacer, and how much that may change."""
    bent = pairs.bent_mm(fan, other)
    margins.note(FAN_GAP, fan, other, Verdict.FITS, MOST_SPACER_MM, bent)
    for scan in _scans(pairs, rules, fan, other, ahead):
        today = scan.sure(0.0)
        if not today.answers(scan.room_mm):
            short = scan.room_mm - today.lower_mm
            room = short if np.isfinite(short) else np.inf
            margins.note(FAN_GAP, fan, other, Verdict.NOT_KNOWN, room, bent)
            continue
        left, fouls = scan.margin(0.0) - _END_MM, scan.fouls_by(today)
        if fouls > 0:
            margins.note(FAN_GAP, fan, other, Verdict.FOULS, fouls, bent)
        elif left < 0:
            margins.note(FAN_GAP, fan, other, Verdict.TOO_CLOSE, min(-left, -fouls), bent)
        else:
            margins.note(FAN_GAP, fan, other, Verdict.FITS, left, bent)


@dataclass(frozen=True, eq=False)
class Scan:
    """One component of the fan against one of another part, along the axis."""

    pairs: Pairs
    fan: PlacedPart
    mine: str
    other: PlacedPart
    theirs: str
    ahead: Floats
    room_mm: float

    def sure(self, thickness: float) -> SureGap:
        """The sure gap with a spacer of this thickness."""
        return self.pairs.sure_gap(
            self.fan,
            self.mine,
            self.other,
            self.theirs,
            # More than the rule asks: where it is just kept, no pains are to be spared.
            enough_mm=self.room_mm + _AMPLE_MM,
            look_mm=self.room_mm + _WIDE_MM,
            shift=thickness * self.ahead,
        )

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
        ends = []
        for part, component in ((self.fan, self.mine), (self.other, self.theirs)):
            along = [piece.corners @ self.ahead for piece in part.moving[component][0]]
            ends.append((min(map(np.min, along)), max(map(np.max, along))))
        (low, high), (its_low, its_high) = ends
        return bool(low < its_high and its_low < high)

    def _across(self, part: PlacedPart, component: str) -> list[Floats]:
        """Corners (n, 2) of a component's pieces as seen along the axis, from the axis."""
        across = np.linalg.svd(self.ahead[None])[2][1:]
        hub = self.fan.pose[:3, 3]
        return [(piece.corners - hub) @ across.T for piece in part.moving[component][0]]

    def blocked(self) -> tuple[Interval, ...]:
        """Where the rule is not surely kept."""
        return blocked_intervals(self.margin, 0.0, MOST_SPACER_MM)

    def margin(self, thickness: float) -> float:
        """What is surely left beyond the rule, or a bound that says as much and is quicker.

        Where the gap as adjusted breaks the rule already, the sure gap does; where it keeps the
        rule whatever the parts may stray, so does the sure gap.
        """
        gap = self.pairs.nominal_gap(
            self.fan, self.mine, self.other, self.theirs, thickness * self.ahead
        )
        stray = self.pairs.sway_mm(self.fan, self.other) + GAP_ERROR_MM
        if gap < self.room_mm or gap - stray >= self.room_mm + _AMPLE_MM:
            return gap - self.room_mm - (stray if gap >= self.room_mm else 0.0)
        return self.sure(thickness).lower_mm - self.room_mm


def blocked_intervals(
    margin: Callable[[float], float], low: float, high: float
) -> tuple[Interval, ...]:
    """Where a margin that changes by no more than its argument is below zero, on [low, high].

    What is left out is surely free: its ends are points that were looked at, and between points the
    margin cannot fall below zero unseen. An interval may be too long by a tenth of a millimetre at
    each end, and may hold free islands narrower than 0.5 mm.
    """

    def spare(at: float) -> float:
        return margin(at) - _END_MM  # so that a step of this much is safe where none is left

    found: list[Interval] = []
    here, value = low, spare(low)
    start: float | None = low if value < 0 else None
    while here < high:
        there = min(here + max(abs(value), _END_MM if start is None else _COARSE_MM), high)
        reached = spare(there)
        if start is None and reached < 0:
            start = last_free(spare, here, there)
        elif start is not None and reached >= 0:
            found.append((start, last_free(spare, there, here)))
            start = None
        here, value = there, reached
    if start is not None:
        found.append((start, high))
    return tuple(found)


def last_free(spare: Callable[[float], float], free: float, blocked: float) -> float:
    """The last free point on the way to a blocked one, to 0.05 mm.

    Between the two the spare runs nearly straight, so that where the line between them crosses
    nothing is a good guess; every other guess halves what is left, whatever it does.
    """
    ends = {free: spare(free), blocked: spare(blocked)}
    halve = False
    while abs(free - blocked) > _END_MM:
        middle = (blocked + free) / 2
        if not halve and ends[free] > ends[blocked]:
            crossing = free + (blocked - free) * ends[free] / (ends[free] - ends[blocked])
            # A little to the free side, so that a straight line ends at once.
            guess = crossing + (free - blocked) / abs(free - blocked) * _END_MM / 4
            low, high = sorted((free, blocked))
            inset = _END_MM / 4
            middle = min(max(guess, low + inset), high - inset)
        halve = not halve
        ends[middle] = spare(middle)
        if ends[middle] >= 0:
            free = middle
        else:
            blocked = middle
    return free


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
