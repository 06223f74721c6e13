"""Does the fan need a spacer? The thicknesses, along the hub's own axis, that keep every rule."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.checks import fan_window_words as said
from noseroom.checks import words
from noseroom.checks.fan_limits import note_today
from noseroom.checks.fan_room import no_spacer_helps
from noseroom.checks.fan_window import (
    STATES,
    Progress,
    Window,
    ahead_of,
    others_of,
    window_of,
)
from noseroom.checks.fan_window_scan import AT_REST, MOST_SPACER_MM, Floats
from noseroom.checks.fan_window_search import Interval
from noseroom.checks.margins import AT_SPEED, FAN_GAP, MOVING, Margins
from noseroom.checks.moves import Moves
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict, overall
from noseroom.layout import Layout, PlacedPart

__all__ = ["CLOCK", "MOST_SPACER_MM", "check_fan_gaps", "look_at_fan_gaps"]

CLOCK = (12, 3, 6, 9)
_WORTH_MM = 3.0
"""Thinner than this it is a shim (common practice): no word is said of a thinner spacer."""


def check_fan_gaps(
    pairs: Pairs,
    rules: Rules,
    progress: Progress,
    margins: Margins | None = None,
    windows: dict[str, Window] | None = None,
) -> tuple[Finding, ...]:
    """One finding for every engine-driven fan.

    margins: where it is noted what each other part does to it today, and how much that may change.
    What is noted there already of the nose in motion and at speed decides what the fan does in
    those states without a spacer. windows: where each fan's window is kept, by its name.
    """
    moves = Moves(pairs, rules)
    noted = Margins() if margins is None else margins
    kept = {} if windows is None else windows
    return tuple(_check_fan(moves, fan, progress, noted, kept) for fan in _fans(pairs.layout))


def look_at_fan_gaps(ways: Sequence[Pairs], rules: Rules, margins: Margins) -> None:
    """Note what each part does to each fan today; what stands is not looked at.

    ways: see `Margins.look`.
    """
    layout = ways[-1].layout
    for fan in _fans(layout):
        for other in others_of(layout, fan):

            def note(
                pairs: Pairs, found: Margins, fan: PlacedPart = fan, other: PlacedPart = other
            ) -> None:
                note_today(pairs, rules, fan, other, found)

            margins.look(FAN_GAP, fan, other, ways, note)


def _fans(layout: Layout) -> list[PlacedPart]:
    return [part for part in layout.parts.values() if part.kind == "fan"]


def _check_fan(
    moves: Moves,
    fan: PlacedPart,
    progress: Progress,
    margins: Margins,
    windows: dict[str, Window],
) -> Finding:
    pairs, rules, layout = moves.pairs, moves.rules, moves.pairs.layout
    window = windows[fan.name] = window_of(pairs, rules, fan, progress, margins)
    waiting = [part.name for part in layout.parts.values() if part.unplaced]
    gaps = _gaps_today(layout, fan, ahead_of(fan))
    spreads = {hour: float(layout.uncertainty.spread(form)) for hour, (_, form) in gaps.items()}
    tightest = min(gaps.values(), key=lambda gap: gap[0], default=None)
    verdict, note, remedies = _answer(moves, window, margins)
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
            "spacer_mm": _rounded(window.intervals),
            **_on(layout, fan),
            **_by_state(window),
            **_ends(window),
            **_shroud(window),
            **{f"gap_{hour}_mm": round(gap, 3) for hour, (gap, _) in gaps.items()},
            **{f"gap_{hour}_spread_mm": round(spread, 3) for hour, spread in spreads.items()},
        },
    )


def _rounded(intervals: tuple[Interval, ...]) -> list[list[float]]:
    return [list(one) for one in said.inward(intervals)]


def _on(layout: Layout, fan: PlacedPart) -> dict[str, float]:
    """What stands between hub and fan already, where that is a spacer."""
    on = said.on_already_mm(layout, fan)
    return {"spacer_on_mm": round(on, 2)} if on else {}


def _shroud(window: Window) -> dict[str, float | str]:
    """How the fan stands in its shroud today, and with a spacer at either end of the window."""
    found: dict[str, float | str] = {}
    ends = [
        (f"spacer_{k}_{side}", one.at_mm)
        for k, pair in enumerate(window.ends, start=1)
        for side, one in zip(("from", "to"), pair, strict=True)
    ]
    for where, thickness in [("today", 0.0), *ends]:
        stands = window.in_shroud(thickness)
        if stands is None:
            return {}
        found[f"in_shroud_{where}"] = round(stands.share, 3)
        if stands.gap_mm is not None:
            found[f"tip_gap_{where}_mm"] = round(stands.gap_mm, 2)
            found[f"tip_gap_{where}_at"] = stands.clock
    return found


def _by_state(window: Window) -> dict[str, list[list[float]]]:
    """The windows of the earlier states, where they are wider than the last."""
    return {
        f"spacer_{state.replace(' ', '_')}_mm": _rounded(window.by_state[state])
        for state in STATES[:-1]
        if window.by_state[state] != window.intervals
    }


def _ends(window: Window) -> dict[str, str]:
    """What is in the way beyond either end of each interval."""
    return {
        f"spacer_{side}_{number}": end.said
        for number, ends in enumerate(window.ends, start=1)
        for side, end in zip(("from", "to"), ends, strict=True)
        if end.said
    }


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


def _answer(moves: Moves, window: Window, margins: Margins) -> tuple[Verdict, str, tuple[str, ...]]:
    fan, lost = window.fan, window.lost
    if lost:
        return (
            Verdict.NOT_KNOWN,
            f"Whether the {fan.name} needs a spacer is not known: nothing fixes where "
            f"{words.listed(lost)} stand{'s' if len(lost) == 1 else ''} from it.",
            tuple(f"give {name} a place" for name in lost),
        )
    today = _today(window, margins)
    on = said.on_already_mm(window.layout, fan)
    if today is Verdict.FITS:
        return Verdict.FITS, _fits(window, on), ()
    how = _how(window, today)
    windows = _said(window, STATES[-1], on)
    if not windows:
        return today, *no_spacer_helps(moves, window, how, on)
    close = sorted({limit.part for limit in window.limits if limit.today})
    instead = " in the place of the one that is on" if on else ""
    note = (
        f"The {fan.name} {how} to {words.listed(close)} where it stands; a spacer of {windows}"
        f"{instead} would{_limited(window)}{_narrower(window, on)}."
    )
    if on:
        remedy = (
            f"put one spacer of {windows} in the place of the one that is on, a pulley's web or "
            f"whatever else stays between hub and {fan.name} counted; {said.NEVER}"
        )
    else:
        remedy = f"put one spacer of {windows} between hub and {fan.name}; {said.NEVER}"
    return today, note, (remedy,)


def _fits(window: Window, on: float) -> str:
    """The note on a fan that keeps its room as it is."""
    unit, fan, free = window.layout.envelope.unit, window.fan.name, window.intervals
    if on:
        # Of what would go on top of it no word is said: it reads as if spacers could be stacked.
        return f"The {fan} keeps its room with the {said.turned(on, unit)} spacer that is on."
    most = free[0][1] if free and free[0][0] == 0.0 else 0.0
    if most < _WORTH_MM:
        return f"The {fan} needs no spacer."
    also = words.length(most, unit)
    return f"The {fan} needs no spacer; up to {also} would also do{_narrower(window, on)}."


def _today(window: Window, margins: Margins) -> Verdict:
    """What the fan does without a spacer, at the worst of all states."""
    close = [limit for limit in window.limits if limit.today]
    if any(limit.fouls for limit in close):
        return Verdict.FOULS
    found = [Verdict.TOO_CLOSE for limit in close if limit.state == AT_REST]
    noted = {
        (state, part): one.verdict
        for state in (MOVING, AT_SPEED)
        for pair, one in margins.of(state)
        if window.fan.name in pair
        for part in pair
        if part != window.fan.name
    }
    found += noted.values()
    for limit in close:
        if limit.state != AT_REST and (limit.state, limit.part) not in noted:
            found.append(Verdict.TOO_CLOSE)
    return overall([*found, Verdict.FITS])


def _how(window: Window, today: Verdict) -> str:
    """What a fan does to its room where it stands."""
    may = "does" if today is Verdict.FOULS else "may"
    states = {limit.state for limit in window.limits if limit.today}
    if AT_REST in states or not states:
        return "does not keep its room" if may == "does" else "may not keep its room"
    when = "at speed" if states == {AT_SPEED} else "when the engine moves"
    return f"keeps its room at rest, but {when} it {may} not keep it"


def _said(window: Window, state: str, on: float) -> str:
    """The thicknesses that a state leaves, to the same step in all."""
    kept, last = (
        said.in_place(said.inward(one), on) for one in (window.by_state[state], window.intervals)
    )
    return said.said(kept, window.layout.envelope.unit, last)


def _limited(window: Window) -> str:
    """What is in the way on either side of the only interval there is."""
    if len(window.ends) != 1:
        return ""
    thin, thick = (end.said for end in window.ends[0])
    found = [f"a thinner one leaves too little to {thin}"] if thin else []
    found += [f"a thicker one too little to {thick}"] if thin and thick else []
    found += [f"a thicker one leaves too little to {thick}"] if thick and not thin else []
    return f"; {', '.join(found)}" if found else ""


def _narrower(window: Window, on: float) -> str:
    """What the earlier states leave, where that is more."""
    rest = window.by_state[AT_REST]
    if rest == window.intervals or not rest:
        return ""
    moving = window.by_state[MOVING]
    if moving in (rest, window.intervals):
        return f"; at rest alone, {_said(window, AT_REST, on)}"
    also = f"with the engine moving {_said(window, MOVING, on)}"
    return f"; at rest alone, {_said(window, AT_REST, on)}, and {also}"
