"""The picture of a fan: its curve, and what every way to have the nose asks of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.checks.cooling_records import Cooling, FanView
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
    column_mm,
    draw_bottom_axis,
    draw_column,
    draw_left_axis,
    draw_lines,
    named,
    rounded_ends,
)
from noseroom.report.cooling_text import SELDOM, Way, band, ways
from noseroom.report.drawing_labels import Tag
from noseroom.report.drawing_svg import GREY, INK, Canvas
from noseroom.report.drawing_text import LINE_PITCH_MM, wrap

COLOURS = (
    *("#1f5c99", "#b3541e", "#1f7a4d", "#8a3f8f", "#9a7400", "#0f7f86"),
    *("#a8231b", "#5a6b2d", "#5b4bb0", "#c04a7c", "#4f6d7a", "#7a4b2f"),
)
"""Of changes, by rank; the nose as it is has INK and GREY."""
_LABELS_MM, _AXIS_MM, _TITLES_MM, _FOOT_MM = 47.0, 14.0, 12.0, 12.0
_LEAST_MM, _POINT_MM = 70.0, 0.9
_PAST = 1.15
_KEY = (
    "Thick: what the fan gives, by its usual figures. Thin: what the rest of the nose asks of it. "
    "Crosses: from the 5 % to the 95 % point of where it works in the cars that could be this one; "
    "a hollow one also works outside its curve. Below 0 the car's own motion drives the air."
)


@dataclass(frozen=True)
class _Seen:
    """A fan in one way of the nose."""

    way: Way
    fan: FanView
    colour: str


def colour_of(way: Way) -> str:
    """The colour of a way to have the nose, the same in every picture."""
    if way.number:
        return COLOURS[(int(way.number) - 1) % len(COLOURS)]
    return INK if way.view.states[0].head_bar is not None else GREY


def fan_names(found: Cooling) -> tuple[str, ...]:
    """All fans of all ways, in the order in which they turn up."""
    names = [fan.name for way in ways(found) for one in way.view.states for fan in one.fans]
    return tuple(dict.fromkeys(names))


def fan_svg(found: Cooling, title: str, name: str) -> str:
    """The sheet of one fan as SVG text, mm; the same record gives the same bytes."""
    states = [one.state for one in found.base.states]
    panels = [(state, _seen(found, name, state)) for state in states]
    wide = (RIGHT - LEFT) / min(len(panels), 2)
    texts = [[_label(one) for one in seen] for _, seen in panels]
    tall = max(_LEAST_MM, *(column_mm(one, _LABELS_MM - KNEE_MM - 4.0) for one in texts))
    deep = _TITLES_MM + tall + _FOOT_MM
    rows = math.ceil(len(panels) / 2)
    known = list(dict.fromkeys(one.fan.known for _, seen in panels for one in seen))
    key = wrap(f"{_KEY} Its curve: {'; '.join(known)}.", RIGHT - LEFT)
    height = EDGE_MM + HEAD_MM + rows * deep + len(key) * LINE_PITCH_MM + 4.0 + caution_mm()
    said = [_said(one, state) for state, seen in panels for one in seen]
    canvas = begin(title, f"the {name} at work", " ".join(said), height)
    for k, (state, seen) in enumerate(panels):
        row, column = divmod(k, 2)
        x, y = LEFT + column * wide, EDGE_MM + HEAD_MM + row * deep
        _draw_panel(canvas, state, seen, (x, y + _TITLES_MM), (wide, tall))
    canvas.group("key")
    draw_lines(canvas, key, LEFT, EDGE_MM + HEAD_MM + rows * deep + 4.0)
    return canvas.to_string()


def _seen(found: Cooling, name: str, state: str) -> list[_Seen]:
    return [
        _Seen(way, fan, colour_of(way))
        for way in ways(found)
        for fan in way.view.state(state).fans
        if fan.name == name
    ]


def _label(one: _Seen) -> str:
    """Such as "1 an electric puller, beyond its curve in 40 %"."""
    beyond = one.fan.beyond
    if math.isnan(beyond):
        return f"{one.way.label}: not known"
    return one.way.label if beyond <= SELDOM else f"{one.way.label}, off it in {100 * beyond:.0f} %"


def _said(one: _Seen, state: str) -> str:
    flow, rise = band(one.fan.flow, "m³/s", 2), band(one.fan.rise, "Pa")
    text = f"{one.way.label}, {state}: {flow} at {rise}"
    beyond = one.fan.beyond
    if math.isfinite(beyond) and beyond > 0:
        text += f", outside its curve in {100 * beyond:.0f} % of the cars"
    return f"{text}."


def _axes(seen: Sequence[_Seen], corner: Point, size: Point) -> tuple[Axis, Axis]:
    """Both scales: all of the curve and of the bands, and of the other curves what lies there."""
    flows, rises = [0.0], [0.0]
    for one in seen:
        flows += [q for q, _ in one.fan.curve]
        rises += [p for _, p in one.fan.curve]
        flows += [end for end in (one.fan.flow.low, one.fan.flow.high) if math.isfinite(end)]
        rises += [end for end in (one.fan.rise.low, one.fan.rise.high) if math.isfinite(end)]
    q0, q1 = rounded_ends([_PAST * one for one in flows])
    p0, p1 = rounded_ends([_PAST * one for one in rises])
    x0, x1 = corner[0] + _AXIS_MM, corner[0] + size[0] - _LABELS_MM
    return Axis(q0, q1, x0, x1), Axis(p0, p1, corner[1] + size[1], corner[1])


def _draw_panel(
    canvas: Canvas, state: str, seen: Sequence[_Seen], corner: Point, size: Point
) -> None:
    across, up = _axes(seen, corner, size)
    canvas.group("panel", state)
    heading = wrap(f"{state} (Pa over m³/s)", size[0] - 4.0, max_lines=1, bold=True)[0]
    canvas.text(heading, corner[0], corner[1] - 5.4, bold=True)
    draw_left_axis(canvas, up, across.at0, across.at1, named(up.ticks()))
    ticks = [one for one in across.ticks() if one < across.high]
    draw_bottom_axis(canvas, across, up.at1, up.at0, named(ticks))
    canvas.text("m³/s", across.at1, up.at0 + 4.4, anchor="end", fill=GREY)
    canvas.group("axis")
    canvas.line(((across.at0, up.at(0.0)), (across.at1, up.at(0.0))), stroke=GREY, width=0.3)
    for one in seen:
        canvas.group("system", f"{one.way.label}: what is asked of the {one.fan.name}")
        _draw_curve(canvas, one.fan.system, across, up, one.colour, 0.22)
    for one in seen:
        canvas.group("curve", f"{one.way.label}: what the {one.fan.name} gives")
        _draw_curve(canvas, one.fan.curve, across, up, one.colour, 0.55)
    tags = [
        Tag(_label(one), _place(one, across, up), colour=one.colour, uncut=True) for one in seen
    ]
    knee = across.at1 + KNEE_MM - 1.0
    width = _LABELS_MM - KNEE_MM - 4.0
    draw_column(canvas, tags, 1, knee + 1.0, knee, width, (corner[1], corner[1] + size[1]))
    for one in seen:
        _draw_point(canvas, one, state, across, up)


def _draw_curve(
    canvas: Canvas, points: Sequence[Point], across: Axis, up: Axis, colour: str, width: float
) -> None:
    """What of a curve lies within the panel."""
    import shapely

    if len(points) < 2:
        return
    field = shapely.box(across.low, up.low, across.high, up.high)
    inside = shapely.intersection(shapely.LineString(points), field)
    for piece in getattr(inside, "geoms", [inside]):
        if piece.geom_type == "LineString" and not piece.is_empty:
            line = [(across.at(q), up.at(p)) for q, p in piece.coords]
            canvas.line(line, stroke=colour, width=width)


def _place(one: _Seen, across: Axis, up: Axis) -> Point | None:
    flow, rise = one.fan.flow.middle, one.fan.rise.middle
    if not (math.isfinite(flow) and math.isfinite(rise)):
        return None
    return across.at(flow), up.at(rise)


def _draw_point(canvas: Canvas, one: _Seen, state: str, across: Axis, up: Axis) -> None:
    """Where it works: a dot in a cross of both bands; nothing where that is not known."""
    place = _place(one, across, up)
    if place is None:
        return
    (x, y), flow, rise = place, one.fan.flow, one.fan.rise
    canvas.group("point", _said(one, state))
    wide, high = (across.at(flow.low), across.at(flow.high)), (up.at(rise.low), up.at(rise.high))
    for ends in (((wide[0], y), (wide[1], y)), ((x, high[0]), (x, high[1]))):
        canvas.line(ends, stroke=one.colour, width=0.3)
    canvas.dot(x, y, _POINT_MM + 0.3, fill="#ffffff")
    canvas.dot(x, y, _POINT_MM, fill=one.colour)
    if one.fan.beyond > SELDOM:
        canvas.dot(x, y, _POINT_MM - 0.35, fill="#ffffff")
