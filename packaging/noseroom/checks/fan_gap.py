"""Does the fan need a spacer? The thicknesses, along the hub's own axis, that keep every rule."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.fan_limits import (
    MOST_SPACER_MM,
    Interval,
    Limit,
    blocked_intervals,
    limits_past,
    note_today,
)
from noseroom.checks.fan_room import no_spacer_helps
from noseroom.checks.margins import FAN_GAP, Margins
from noseroom.checks.moves import Moves
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, PlacedPart

__all__ = ["CLOCK", "MOST_SPACER_MM", "blocked_intervals", "check_fan_gaps"]

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

CLOCK = (12, 3, 6, 9)


def check_fan_gaps(
    pairs: Pairs, rules: Rules, progress: Progress, margins: Margins | None = None
) -> tuple[Finding, ...]:
    """One finding for every engine-driven fan.

    margins: where it is noted what each other part does to it today, and how much that may change.
    """
    layout, moves = pairs.layout, Moves(pairs, rules)
    noted = Margins() if margins is None else margins
    return tuple(_check_fan(layout, moves, fan, progress, noted) for fan in _fans(layout))


def look_at_fan_gaps(pairs: Pairs, rules: Rules, margins: Margins) -> None:
    """Note what each part does to each fan today; what stands is not looked at."""
    for fan in _fans(pairs.layout):
        for other in _others(pairs.layout, fan):
            if not margins.stands(FAN_GAP, fan, other):
                note_today(pairs, rules, fan, other, _ahead(fan), margins)


def _fans(layout: Layout) -> list[PlacedPart]:
    return [part for part in layout.parts.values() if part.kind == "fan"]


def _ahead(fan: PlacedPart) -> Floats:
    return np.asarray(-fan.pose[:3, 0])


def _others(layout: Layout, fan: PlacedPart) -> list[PlacedPart]:
    return [
        part
        for part in layout.parts.values()
        if part is not fan and part.components and not part.unplaced
    ]


def _check_fan(
    layout: Layout, moves: Moves, fan: PlacedPart, progress: Progress, margins: Margins
) -> Finding:
    pairs, rules = moves.pairs, moves.rules
    ahead = _ahead(fan)
    limits: list[Limit] = []
    waiting = [part.name for part in layout.parts.values() if part.unplaced]
    others = _others(layout, fan)
    for done, other in enumerate(others):
        progress(done, len(others), f"{fan.name} along its axis, past {other.name}")
        limits += limits_past(pairs, rules, fan, other, ahead, margins)
    blocked = _union(interval for limit in limits for interval in limit.blocked)
    free = _complement(blocked, 0.0, MOST_SPACER_MM)
    gaps = _gaps_today(layout, fan, ahead)
    spreads = {hour: float(layout.uncertainty.spread(form)) for hour, (_, form) in gaps.items()}
    tightest = min(gaps.values(), key=lambda gap: gap[0], default=None)
    lost = sorted({limit.part for limit in limits if not limit.known})
    verdict, note, remedies = _answer(moves, fan, limits, free, lost)
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
    moves: Moves,
    fan: PlacedPart,
    limits: list[Limit],
    free: list[Interval],
    lost: list[str],
) -> tuple[Verdict, str, tuple[str, ...]]:
    unit = moves.pairs.layout.envelope.unit
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
    return verdict, *no_spacer_helps(moves, fan, limits, how)
