"""Does the fan need a spacer? The thicknesses, along the hub's own axis, that keep every rule.

The fan is moved ahead, from where it stands now, along its (tilted) axis; at each thickness the
sure gap of everything it sweeps, and of its spider and clutch, is held against its rule. A gap
changes by no more than the fan moves, so stepping by the margin that is left skips nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]
Interval = tuple[float, float]

MOST_SPACER_MM = 100.0
"""Thicker than this no single spacer is made (common practice); spacers are never stacked."""
CLOCK = (12, 3, 6, 9)
_END_MM = 0.05
_COARSE_MM = 0.5
_WIDE_MM = 5.0
_AMPLE_MM = 2.0


@dataclass(frozen=True, eq=False)
class _Limit:
    """One thing to keep clear of, and where along the axis that is not sure.

    fouls: whether the fan breaks its rule where it stands, whatever the readings hide.
    """

    part: str
    blocked: tuple[Interval, ...]
    known: bool
    fouls: bool

    @property
    def blocks_today(self) -> bool:
        """Whether its rule is not surely kept with no spacer."""
        return self.blocked[0][0] == 0.0


def check_fan_gaps(pairs: Pairs, rules: Rules, progress: Progress) -> tuple[Finding, ...]:
    """One finding for every engine-driven fan."""
    layout = pairs.layout
    fans = [part for part in layout.parts.values() if part.kind == "fan"]
    return tuple(_check_fan(layout, pairs, rules, fan, progress) for fan in fans)


def _check_fan(
    layout: Layout, pairs: Pairs, rules: Rules, fan: PlacedPart, progress: Progress
) -> Finding:
    ahead = -fan.pose[:3, 0]
    limits: list[_Limit] = []
    waiting = [part.name for part in layout.parts.values() if part.unplaced]
    others = [
        part
        for part in layout.parts.values()
        if part is not fan and part.components and part.name not in waiting
    ]
    for done, other in enumerate(others):
        progress(done, len(others), f"{fan.name} along its axis, past {other.name}")
        limits += _limits(layout, pairs, rules, fan, other, ahead)
    blocked = _union(interval for limit in limits for interval in limit.blocked)
    free = _complement(blocked, 0.0, MOST_SPACER_MM)
    gaps = _gaps_today(layout, fan, ahead)
    spreads = {hour: float(layout.uncertainty.spread(form)) for hour, (_, form) in gaps.items()}
    tightest = min(gaps.values(), key=lambda gap: gap[0], default=None)
    lost = sorted({limit.part for limit in limits if not limit.known})
    verdict, note, remedies = _answer(layout, fan, limits, free, lost)
    if waiting:
        note += f" {words.listed(waiting)} still to be placed: keep clear of the fan."
    return Finding(
        id=f"fan gap: {fan.name}",
        question="does the fan need a spacer",
        parts=(fan.name,),
        verdict=verdict,
        note=note,
        rule=rules.named("fan front"),
        remedies=remedies,
        rests_on=() if tightest is None else words.supports(tightest[1], layout.survey.sources),
        details={
            "spacer_mm": [[round(low, 2), round(high, 2)] for low, high in free],
            **{f"gap_{hour}_mm": round(gap, 3) for hour, (gap, _) in gaps.items()},
            **{f"gap_{hour}_spread_mm": round(spread, 3) for hour, spread in spreads.items()},
        },
    )


def _limits(
    layout: Layout,
    pairs: Pairs,
    rules: Rules,
    fan: PlacedPart,
    other: PlacedPart,
    ahead: Floats,
) -> list[_Limit]:
    """What one other part blocks, component by component."""
    found = []
    for mine, theirs in component_pairs(layout, fan, other):
        rule = rules.between(fan, mine, other, theirs)
        loose = pairs.sway_mm(fan, other)
        if pairs.box_gap_mm(fan, mine, other, theirs) - loose >= rule.value_mm + MOST_SPACER_MM:
            continue

        scan = _Scan(pairs, fan, mine, other, theirs, ahead, rule.value_mm)
        today = scan.sure(0.0)
        if not today.answers(rule.value_mm):
            found.append(_Limit(other.name, ((0.0, MOST_SPACER_MM),), False, False))
            continue
        blocked = scan.blocked()
        if blocked:
            # The cells round a scan's triangles are larger than what was seen; what fouls is told
            # by the triangles themselves, in the fit check.
            whole = not other.part.meshes()
            fouls = whole and today.nominal_mm + today.spread_mm < rule.value_mm
            found.append(_Limit(other.name, blocked, True, fouls))
    return found


@dataclass(frozen=True, eq=False)
class _Scan:
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

    def blocked(self) -> tuple[Interval, ...]:
        """Where the rule is not surely kept."""
        return blocked_intervals(self._margin, 0.0, MOST_SPACER_MM)

    def _margin(self, thickness: float) -> float:
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
            start = _last_free(spare, here, there)
        elif start is not None and reached >= 0:
            found.append((start, _last_free(spare, there, here)))
            start = None
        here, value = there, reached
    if start is not None:
        found.append((start, high))
    return tuple(found)


def _last_free(spare: Callable[[float], float], free: float, blocked: float) -> float:
    """The last free point on the way to a blocked one, to 0.05 mm."""
    while abs(free - blocked) > _END_MM:
        middle = (blocked + free) / 2
        if spare(middle) >= 0:
            free = middle
        else:
            blocked = middle
    return free


def _union(intervals: Iterable[Interval]) -> list[Interval]:
    merged: list[Interval] = []
    for low, high in sorted(intervals):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def _complement(blocked: list[Interval], low: float, high: float) -> list[Interval]:
    free: list[Interval] = []
    here = low
    for start, end in blocked:
        if start > here:
            free.append((here, start))
        here = max(here, end)
    if here < high:
        free.append((here, high))
    return free


def _gaps_today(layout: Layout, fan: PlacedPart, ahead: Floats) -> dict[int, tuple[float, Floats]]:
    """By hour, the gap (mm) from the blades' front edge along the axis to the core ahead.

    Each comes with its derivatives (s,) by the sources.
    """
    cores = [part for part in layout.parts.values() if part.kind == "radiator"]
    found: dict[int, tuple[float, Floats]] = {}
    for core in cores[:1]:
        plane, normal, plane_moves = core.touch_point("core.rear")
        slope = float(ahead @ normal)
        if slope > -0.5:
            continue  # the axis does not point at this core
        for hour in CLOCK:
            point, _, moves = fan.touch_point("blade.front", f"{hour} o'clock")
            gap = float((plane - point) @ normal) / slope
            # The core's own turn is felt where the axis meets it, not at the core's middle.
            lever = point + gap * ahead - plane
            turned = np.cross(core.placements[0].turn_gain, lever[:, None], axis=0)
            found[hour] = gap, normal @ (plane_moves + turned - moves) / slope
    return found


def _answer(
    layout: Layout,
    fan: PlacedPart,
    limits: list[_Limit],
    free: list[Interval],
    lost: list[str],
) -> tuple[Verdict, str, tuple[str, ...]]:
    unit = layout.envelope.unit
    if lost:
        return (
            Verdict.NOT_KNOWN,
            f"Whether the {fan.name} needs a spacer is not known: nothing fixes where "
            f"{words.listed(lost)} stand{'s' if len(lost) == 1 else ''} from it.",
            tuple(f"give {name} a place" for name in lost),
        )
    if free and free[0][0] == 0.0:
        most = words.length(free[0][1], unit)
        return Verdict.FITS, f"The {fan.name} needs no spacer; up to {most} would also do.", ()
    close = [limit for limit in limits if limit.blocks_today]
    behind = words.listed(sorted({limit.part for limit in close}))
    fouls = any(limit.fouls for limit in close)
    verdict = Verdict.FOULS if fouls else Verdict.TOO_CLOSE
    how = "does not keep its room" if fouls else "may not keep its room"
    if free:
        windows = " or ".join(
            f"{words.at_least(low, unit)} to {words.length(high, unit)}" for low, high in free
        )
        return (
            verdict,
            f"The {fan.name} {how} to {behind} where it stands; a spacer of {windows} would.",
            (f"put one spacer of {windows} between hub and {fan.name}; never stack spacers",),
        )
    need = _shortfall(limits)
    front = words.listed(sorted({limit.part for limit in limits if not limit.blocks_today}))
    missing = words.at_least(need, unit)
    return (
        verdict,
        f"The {fan.name} {how} to {behind} where it stands, and no spacer helps: {front} ahead "
        f"leaves {missing} too little.",
        (
            f"move {behind} {missing} away from the {fan.name}",
            f"move what stands ahead of it {missing} forward",
            f"fit a fan that is {missing} narrower front to rear",
        ),
    )


def _shortfall(limits: list[_Limit]) -> float:
    """What is missing between what blocks from behind and what blocks from ahead, mm."""
    behind = max((x.blocked[0][1] for x in limits if x.blocks_today), default=0.0)
    ahead = min((x.blocked[0][0] for x in limits if not x.blocks_today), default=MOST_SPACER_MM)
    return max(behind - ahead, 0.0)
