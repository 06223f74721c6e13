"""Rankings as pictures: coolant, head pressure and air of every way to have the nose, as bands."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from noseroom.checks.cooling_records import Cooling, Span
from noseroom.report.cooling_plot import (
    EDGE_MM,
    HEAD_MM,
    LEFT,
    PAD_MM,
    RIGHT,
    Axis,
    begin,
    caution_mm,
    draw_lines,
    rounded_ends,
    tick_text,
)
from noseroom.report.cooling_rows import BarRow, BarState, Heads
from noseroom.report.cooling_text import OFTEN, SELDOM, Way, band, figure, ways
from noseroom.report.drawing_svg import CAP_HALF, FAINT, GREY, INK, Canvas
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, wrap

_NAME_MM, _STATE_MM, _CELL_MM, _BAR_MM = 40.0, 21.0, 46.0, 22.0
_ROW_MM, _BAND_MM = 5.0, 2.6
_HEADS_MM = 16.0
_SOUND, _OPEN, _BAD, _PLAIN = "#1f7a4d", "#c98600", "#b3261e", "#4d6f96"
_LIMIT = "#e9c4bf"
_KEY = (
    "Each bar is a band from the 5 % to the 95 % point of the cars that could be this one, with "
    "its middle; pink is the band of the limit. Green: nearly all of them stay below the limit; "
    "amber: some pass it; red: nearly all do."
)


@dataclass(frozen=True)
class _Column:
    """One figure of a state. span, limit: None for none; over: share that passes the limit."""

    heading: str
    against: str
    unit: str
    x: float
    scale: float
    span: Callable[[BarState], Span | None]
    limit: Callable[[BarState], Span | None]
    over: Callable[[BarState], float]
    beyond: str


def _columns(heads: Heads) -> tuple[_Column, ...]:
    first = LEFT + _NAME_MM + _STATE_MM
    return (
        _Column(
            "Coolant",
            "pink: where it boils",
            "°C",
            first,
            1.0,
            lambda one: one.coolant_c,
            lambda one: one.boils_c,
            lambda one: one.boils,
            "boils over",
        ),
        _Column(
            "Head pressure",
            "pink: the cut-out",
            "bar, gauge",
            first + _CELL_MM,
            1.0,
            lambda one: one.head_bar,
            lambda one: one.cut_out_bar if one.head_bar is not None else None,
            lambda one: one.cut_out,
            "runs away",
        ),
        _Column(
            "Radiator's air",
            f"100: {heads.air}",
            heads.share,
            first + 2 * _CELL_MM,
            100.0,
            lambda one: one.air,
            lambda one: None,
            lambda one: math.nan,
            "beyond",
        ),
    )


def ranking_svg(found: Cooling, title: str) -> str:
    """The sheet as SVG text, mm; the same record gives the same bytes."""
    rows = [
        BarRow(one.label, sound_text(one.view.sound), costs(one), one.view.states)
        for one in ways(found)
    ]
    return bars_svg(rows, title, Heads("what helps, ranked"), found.words)


def bars_svg(
    each: Sequence[BarRow], title: str, heads: Heads, said: str, below: Sequence[str] = ()
) -> str:
    """A sheet of rows as SVG text, mm. said: in words, for who cannot see; below: more lines."""
    rows = [_Row(one) for one in each]
    key = [line for text in (*below, _KEY) for line in wrap(text, RIGHT - LEFT)]
    top = EDGE_MM + HEAD_MM + _HEADS_MM
    bottom = top + sum(one.height_mm for one in rows)
    height = bottom + len(key) * LINE_PITCH_MM + 4.0 + caution_mm()
    canvas = begin(title, heads.what, said, height)
    columns = _columns(heads)
    axes = {one.heading: _axis(one, rows) for one in columns}
    _draw_heads(canvas, columns, axes, heads, (top, bottom))
    y = top
    for row in rows:
        _draw_row(canvas, row, columns, axes, y)
        y += row.height_mm
    canvas.group("key")
    draw_lines(canvas, key, LEFT, y + 5.0)
    return canvas.to_string()


class _Row:
    """A row with the lines of its texts."""

    def __init__(self, row: BarRow) -> None:
        self.label, self.states = row.label, row.states
        self.name = wrap(row.label, _NAME_MM - 2.0, bold=True)
        self.sound = wrap(row.sound, _NAME_MM - 2.0)
        self.costs = [line for text in row.costs for line in wrap(text, RIGHT - _costs_x())]
        lines = max(len(self.name) + len(self.sound), len(self.costs)) * LINE_PITCH_MM
        self.height_mm = max(lines, len(row.states) * _ROW_MM) + 3.0


def _costs_x() -> float:
    return LEFT + _NAME_MM + _STATE_MM + 3 * _CELL_MM + 2.0


def sound_text(sound: float) -> str:
    """In how many of the cars all stays within bounds."""
    return "not known" if math.isnan(sound) else f"well in {100 * sound:.0f} % of cars"


def costs(way: Way) -> list[str]:
    """What a change costs in room and in amps; nothing for the nose as it is."""
    if not way.number:
        return [way.view.text]
    room = way.view.room
    return [f"{_ROOM[room.enough]}takes {room.text}", amps_text(way.view.amps)]


_ROOM = {True: "", False: "No room: ", None: "Room not known: "}


def amps_text(more: Span) -> str:
    """The current that a change takes, over what the nose takes without it."""
    if not (math.isfinite(more.low) and math.isfinite(more.high)):
        return "amps not known"
    if more.low == 0.0 == more.high:
        return "no more amps"
    if more.low >= 0.0:
        return f"{band(more, 'A')} more"
    if more.high <= 0.0:
        return f"{band(Span(-more.high, -more.middle, -more.low), 'A')} less"
    return f"{figure(-more.low)} A less to {figure(more.high)} A more"


def _axis(column: _Column, rows: Sequence[_Row]) -> Axis:
    spans = [
        one
        for row in rows
        for state in row.states
        for one in (column.span(state), column.limit(state))
        if one is not None
    ]
    ends = [column.scale * end for one in spans for end in (one.low, one.high)]
    low, high = rounded_ends([one for one in ends if math.isfinite(one)], 8)
    if column.unit.startswith("%"):
        low = 0.0
    return Axis(low, high, column.x, column.x + _BAR_MM)


def _draw_heads(
    canvas: Canvas,
    columns: Sequence[_Column],
    axes: dict[str, Axis],
    heads: Heads,
    between: tuple[float, float],
) -> None:
    top, bottom = between
    canvas.group("headings")
    canvas.text(heads.rows, LEFT, top - 11.0, bold=True)
    canvas.text(heads.costs, _costs_x(), top - 11.0, bold=True)
    for column in columns:
        canvas.text(column.heading, column.x, top - 11.0, bold=True)
        canvas.text(column.against, column.x, top - 11.0 + LINE_PITCH_MM, fill=GREY)
        axis = axes[column.heading]
        # Two figures are all that goes over so narrow a scale.
        for value, anchor in ((axis.low, "start"), (axis.high, "end")):
            canvas.text(tick_text(value), axis.at(value), top - 1.6, anchor=anchor, fill=GREY)
        canvas.text(column.unit, axis.at1 + 2.0, top - 1.6, fill=GREY)
        for value in axis.ticks(6):
            x = axis.at(value)
            canvas.line(((x, top), (x, bottom)), stroke=FAINT, width=0.12)


def _draw_row(
    canvas: Canvas, row: _Row, columns: Sequence[_Column], axes: dict[str, Axis], y: float
) -> None:
    canvas.group("way", row.label)
    canvas.line(((EDGE_MM, y), (RIGHT + PAD_MM, y)), stroke=GREY, width=0.18)
    for k, line in enumerate(row.name):
        canvas.text(line, LEFT, y + 4.4 + k * LINE_PITCH_MM, bold=True)
    draw_lines(canvas, row.sound, LEFT, y + 4.4 + len(row.name) * LINE_PITCH_MM)
    draw_lines(canvas, row.costs, _costs_x(), y + 4.4, fill=INK)
    for k, state in enumerate(row.states):
        middle = y + 3.2 + k * _ROW_MM
        base = middle + CAP_HALF * BODY_MM
        name = wrap(state.state, _STATE_MM - 1.0, max_lines=1)[0]
        canvas.group("state")
        canvas.text(name, LEFT + _NAME_MM, base)
        for column in columns:
            _draw_cell(canvas, column, axes[column.heading], state, middle, base)


def _draw_cell(
    canvas: Canvas, column: _Column, axis: Axis, state: BarState, middle: float, base: float
) -> None:
    span, limit = column.span(state), column.limit(state)
    text = "A/C off" if span is None else band(span, "", 0, column.scale, column.beyond)
    canvas.group("band", f"{column.heading}, {state.state}: {text}")
    if limit is not None and math.isfinite(limit.low) and math.isfinite(limit.high):
        ends = axis.at(limit.low), axis.at(limit.high)
        half = _ROW_MM / 2
        box = Box(ends[0], middle - half, max(ends[1], ends[0] + 0.4), middle + half)
        canvas.rectangle(box, fill=_LIMIT, stroke="none")
    if span is not None and not math.isnan(span.low):
        _draw_bar(canvas, column, axis, span, column.over(state), middle)
    canvas.text(text, axis.at1 + 2.0, base, fill=INK if span is not None else GREY)


def _draw_bar(
    canvas: Canvas, column: _Column, axis: Axis, span: Span, over: float, middle: float
) -> None:
    low, high = (axis.at(column.scale * end) for end in (span.low, span.high))
    box = Box(low, middle - _BAND_MM / 2, max(high, low + 0.5), middle + _BAND_MM / 2)
    canvas.rectangle(box, fill=colour_of(over), stroke="none")
    if math.isinf(span.high):
        canvas.arrow_head((axis.at1 + 1.6, middle), (1.0, 0.0), 2.0)
    if math.isfinite(span.middle):
        x = axis.at(column.scale * span.middle)
        ends = (x, middle - _BAND_MM / 2), (x, middle + _BAND_MM / 2)
        canvas.line(ends, stroke="#ffffff", width=0.5)


def colour_of(over: float) -> str:
    """The colour of a band by the share of the cars that pass the limit; plain without one."""
    if math.isnan(over):
        return _PLAIN
    if over <= SELDOM:
        return _SOUND
    return _BAD if over >= OFTEN else _OPEN
