"""The picture of the loop: pressure over enthalpy, and the head pressure of every way beside it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from noseroom.checks.cooling_records import Cooling, CycleView, Span, StateView
from noseroom.report.cooling_bars import colour_of as colour_of_share
from noseroom.report.cooling_plot import (
    EDGE_MM,
    HEAD_MM,
    KNEE_MM,
    LEFT,
    RIGHT,
    Axis,
    Point,
    begin,
    caution_mm,
    draw_bottom_axis,
    draw_column,
    draw_left_axis,
    draw_lines,
    named,
    rounded_ends,
)
from noseroom.report.cooling_text import Way, band, ways
from noseroom.report.drawing_labels import Tag
from noseroom.report.drawing_svg import FAINT, GREY, INK, Canvas, path_data
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap
from noseroom.tables.heat import refrigerants

if TYPE_CHECKING:
    from noseroom.physics.ranges import Floats

_BAR, _KILO = 1e5, 1e3
_AXIS_MM, _LOOP_MM, _LABELS_MM, _TALL_MM = 13.0, 92.0, 50.0, 104.0
_TITLES_MM, _FOOT_MM = 12.0, 13.0
_GAUGE = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 40.0)
_LEAST_BAR = 1.2
_DOME_POINTS = 80
_DOME, _CUT, _CUT_FILL = "#6b7178", "#b3261e", "#e9c4bf"
_STATES = ("#b3541e", "#1f5c99", "#1f7a4d", "#8a3f8f", "#9a7400", "#0f7f86")
_DASHES = ("", "3 1.4", "1.2 1.2", "5 1.2 1.2 1.2", "6 2", "0.8 0.8")
_KEY = (
    "Left: the loop of the nose as the file has it, by the usual figures; losses in lines and "
    "coils are not drawn; the upright with bars at its ends is the band of its head pressure. "
    "Right: that band for every way, from the 5 % to the 95 % point of the cars that could be this "
    "one, in the order of the states; an arrow runs on beyond the tables. Pink: where the pressure "
    "switch takes the compressor off. Enthalpy counts from the refrigerant's own zero: only "
    "differences mean anything."
)


def loop_svg(found: Cooling, title: str) -> str | None:
    """The sheet as SVG text, mm; None for a nose without A/C, or with no loop to draw."""
    cooled = [one for one in ways(found) if any(s.head_bar is not None for s in one.view.states)]
    cycle = next((s.cycle for one in cooled for s in one.view.states if s.cycle), None)
    if found.with_ac is None or cycle is None:
        return None
    half = (RIGHT - LEFT) / 2
    listed = [wrap(_listed(one), half - 4.0) for one in cooled]
    split = (len(listed) + 1) // 2
    columns = listed[:split], listed[split:]
    lines = max(sum(map(len, one)) for one in columns)
    key = wrap(_KEY, RIGHT - LEFT)
    top = EDGE_MM + HEAD_MM + _TITLES_MM
    low = top + _TALL_MM + _FOOT_MM
    height = low + (lines + len(key)) * LINE_PITCH_MM + 6.0 + caution_mm()
    said = " ".join(f"{_listed(one)}." for one in cooled)
    canvas = begin(title, f"the loop of {cycle.refrigerant}", said, height)
    up = _pressures(found, cycle, top)
    _draw_loops(canvas, found, cycle, up)
    _draw_heads(canvas, found, cooled, up)
    canvas.group("list")
    for k, column in enumerate(columns):
        y = low + 2.0
        for one in column:
            draw_lines(canvas, one, LEFT + k * half, y, fill=INK)
            y += len(one) * LINE_PITCH_MM
    canvas.group("key")
    draw_lines(canvas, key, LEFT, low + lines * LINE_PITCH_MM + 4.0)
    return canvas.to_string()


def _listed(way: Way) -> str:
    heads = [
        f"{one.state} {band(one.head_bar, 'bar', beyond='runs away')}"
        for one in way.view.states
        if one.head_bar is not None
    ]
    return f"{way.label}: {', '.join(heads)}"


def _absolute(gauge_bar: float, state: StateView) -> float:
    return gauge_bar * _BAR + state.outside_pa


def _pressures(found: Cooling, cycle: CycleView, top: float) -> Axis:
    """Absolute pressure, logarithmic, from below every coil to above every band."""
    state = found.base.states[0]
    cycles = [s.cycle for s in found.base.states if s.cycle]
    lows = [one.low_pa for one in (cycle, *cycles)]
    highs = [
        _absolute(end, one)
        for way in ways(found)
        for one in way.view.states
        for span in (one.head_bar, one.cut_out_bar)
        if span is not None
        for end in (span.low, span.high)
        if math.isfinite(end)
    ]
    least = max(min([0.7 * one for one in lows]), _LEAST_BAR * _BAR)
    most = 1.15 * max([*highs, *(one.high_pa for one in (cycle, *cycles)), state.outside_pa])
    return Axis(least, most, top + _TALL_MM, top, log=True)


def _draw_loops(canvas: Canvas, found: Cooling, cycle: CycleView, up: Axis) -> None:
    liquid, gas = _dome(cycle, up)
    cycles = [one.cycle for one in found.base.states if one.cycle]
    enthalpies = [h / _KILO for one in cycles for h in one.enthalpies]
    enthalpies += [h / _KILO for h, _ in (*liquid, *gas)]
    x0 = LEFT + _AXIS_MM
    across = Axis(*rounded_ends(enthalpies), x0, x0 + _LOOP_MM)
    canvas.group("heading")
    canvas.text("Pressure (bar, gauge) over enthalpy", LEFT, up.at1 - 6.0, bold=True)
    draw_left_axis(canvas, up, x0, across.at1, _gauge(found, up))
    ticks = [one for one in across.ticks() if one < across.high]
    draw_bottom_axis(canvas, across, up.at1, up.at0, named(ticks))
    canvas.text("kJ/kg", across.at1, up.at0 + 4.4, anchor="end", fill=GREY)
    _draw_cut_out(canvas, found, up, x0, across.at1)

    def at(enthalpy: float, pressure: float) -> Point:
        return across.at(enthalpy / _KILO), up.at(pressure)

    canvas.group("dome", "boiling liquid on the left, dry gas on the right")
    for side in (liquid, gas):
        canvas.line([at(*one) for one in side], stroke=_DOME, width=0.45)
    tags = [_cut_out_tag(found, up, across.at1)]
    tags.append(Tag("dome: between liquid and gas", at(*gas[0]), colour=_DOME, uncut=True))
    for k, one in enumerate(found.base.states):
        if one.cycle is None:
            tags.append(Tag(f"{one.state}: no balance by the usual figures", None, uncut=True))
            continue
        tags += _draw_loop(canvas, one.state, one.cycle, at, k)
        if one.head_bar is not None:
            middle = (one.cycle.enthalpies[1] + one.cycle.enthalpies[2]) / 2
            _draw_reach(canvas, one, one.head_bar, up, across.at(middle / _KILO), k)
    knee = across.at1 + KNEE_MM - 1.0
    room = up.at1, up.at0
    draw_column(canvas, tags, 1, knee + 1.0, knee, _LABELS_MM - KNEE_MM - 4.0, room)


def _draw_loop(
    canvas: Canvas, state: str, cycle: CycleView, at: Callable[[float, float], Point], k: int
) -> list[Tag]:
    """The loop of a state, and what its corners are called."""
    gas, hot, liquid = cycle.enthalpies
    corners = [
        at(gas, cycle.low_pa),
        at(hot, cycle.high_pa),
        at(liquid, cycle.high_pa),
        at(liquid, cycle.low_pa),
    ]
    colour = _STATES[k % len(_STATES)]
    canvas.group("loop", f"{state}: gas drawn in, hot gas, liquid, what enters the coil")
    dashes = _DASHES[k % len(_DASHES)]
    more = {"stroke_dasharray": dashes} if dashes else {}
    data = path_data(corners, closed=True)
    canvas.path(data, stroke=colour, width=0.6, fill=colour, fill_opacity="0.06", **more)
    return [
        Tag(f"{state}: hot gas into the condenser", corners[1], colour=colour, uncut=True),
        Tag(f"{state}: cool gas to the compressor", corners[0], colour=colour, uncut=True),
    ]


def _draw_reach(canvas: Canvas, state: StateView, head: Span, up: Axis, x: float, k: int) -> None:
    """The band of the head pressure, across the line on which the loop condenses."""
    if math.isnan(head.low) or math.isinf(head.low):
        return
    low, high = (up.at(_absolute(min(end, 1e3), state)) for end in (head.low, head.high))
    canvas.group("reach", f"{state.state}: head pressure {band(head, 'bar')}")
    colour = _STATES[k % len(_STATES)]
    canvas.line(((x, low), (x, high)), stroke=colour, width=0.5)
    for y in (low,) if math.isinf(head.high) else (low, high):
        canvas.line(((x - 1.6, y), (x + 1.6, y)), stroke=colour, width=0.5)
    if math.isinf(head.high):
        canvas.arrow_head((x, high - 1.6), (0.0, -1.0), 2.0)


def _gauge(found: Cooling, up: Axis) -> list[tuple[float, str]]:
    """Round gauge pressures, above the outside's own in the first state, with their names."""
    state = found.base.states[0]
    ticks = [(_absolute(one, state), f"{one:g}") for one in _GAUGE]
    return [one for one in ticks if up.low < one[0] < up.high]


def _dome(cycle: CycleView, up: Axis) -> tuple[list[Point], list[Point]]:
    """(J/kg, Pa) of boiling liquid and of dry gas, as far up as there are tables."""
    import numpy as np

    from noseroom.physics.refrigerant import refrigerant

    fluid = refrigerant(refrigerants()[cycle.refrigerant].model)
    low, high = max(fluid.range[0], up.low), min(fluid.range[1], up.high)
    pressures = np.geomspace(low * (1 + 1e-9), high * (1 - 1e-9), _DOME_POINTS)
    states = fluid.saturation(pressures)
    return _side(states.liquid_enthalpy, pressures), _side(states.vapour_enthalpy, pressures)


def _side(enthalpies: Floats, pressures: Floats) -> list[Point]:
    return [(float(h), float(p)) for h, p in zip(enthalpies, pressures, strict=True)]


def _cut_out(found: Cooling, up: Axis) -> tuple[float, float] | None:
    """Where the switch's band stands on the sheet, high and low end."""
    state = found.base.states[0]
    ends = found.base.states[0].cut_out_bar
    if not (math.isfinite(ends.low) and math.isfinite(ends.high)):
        return None
    return up.at(_absolute(ends.high, state)), up.at(_absolute(ends.low, state))


def _draw_cut_out(canvas: Canvas, found: Cooling, up: Axis, x0: float, x1: float) -> None:
    ends = _cut_out(found, up)
    if ends is None:
        return
    canvas.group("cut-out", "where the pressure switch takes the compressor off")
    canvas.rectangle(Box(x0, ends[0], x1, ends[1]), fill=_CUT_FILL, stroke="none")
    middle = up.at(_absolute(found.base.states[0].cut_out_bar.middle, found.base.states[0]))
    canvas.line(((x0, middle), (x1, middle)), stroke=_CUT, width=0.35)


def _cut_out_tag(found: Cooling, up: Axis, x: float) -> Tag:
    ends = _cut_out(found, up)
    text = f"cut-out: {band(found.base.states[0].cut_out_bar, 'bar')}"
    place = None if ends is None else (x - 2.0, (ends[0] + ends[1]) / 2)
    return Tag(text, place, colour=_CUT, uncut=True)


def _draw_heads(canvas: Canvas, found: Cooling, cooled: Sequence[Way], up: Axis) -> None:
    """A column for each way, in it a bar for each state."""
    x0 = LEFT + _AXIS_MM + _LOOP_MM + _LABELS_MM + _AXIS_MM
    canvas.group("heading")
    heading = "Head pressure (bar, gauge)"
    canvas.text(heading, x0 - _AXIS_MM + 2.0, up.at1 - 6.0, bold=True)
    draw_left_axis(canvas, up, x0, RIGHT, _gauge(found, up))
    _draw_cut_out(canvas, found, up, x0, RIGHT)
    pitch = (RIGHT - x0) / len(cooled)
    for k, way in enumerate(cooled):
        states = [one for one in way.view.states if one.head_bar is not None]
        middle = x0 + (k + 0.5) * pitch
        canvas.group("heads", _listed(way))
        if k:
            x = x0 + k * pitch
            canvas.line(((x, up.at1), (x, up.at0)), stroke=FAINT, width=0.12)
        each = 0.8 * pitch / len(states)
        for number, one in enumerate(states):
            assert one.head_bar is not None
            x = middle + (number - (len(states) - 1) / 2) * each
            _draw_head(canvas, one, one.head_bar, up, x, min(0.7 * each, 1.8))
        canvas.text(way.number or "–", middle, up.at0 + 4.4, anchor="middle")
    canvas.group("foot")
    text = "by rank; – with A/C, as the file has it"
    canvas.text(wrap(text, RIGHT - x0, max_lines=1)[0], x0, up.at0 + 9.0, fill=GREY)


def _draw_head(
    canvas: Canvas, state: StateView, head: Span, up: Axis, x: float, width: float
) -> None:
    if math.isnan(head.low):
        return
    low, high = (
        up.at1 if math.isinf(end) else up.at(_absolute(end, state)) for end in (head.low, head.high)
    )
    box = Box(x - width / 2, min(high, low - 0.5), x + width / 2, low)
    canvas.rectangle(box, fill=colour_of_share(state.cut_out), stroke="none")
    if math.isinf(head.high):
        canvas.arrow_head((x, up.at1 - 2.0), (0.0, -1.0), 2.0)
    if math.isfinite(head.middle):
        y = up.at(_absolute(head.middle, state))
        canvas.line(((x - width / 2, y), (x + width / 2, y)), stroke="#ffffff", width=0.5)
