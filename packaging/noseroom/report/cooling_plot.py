"""What the pictures of air and heat share: the sheet, an axis, labels in a margin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.report.cooling_text import CAUTION
from noseroom.report.drawing import draw_leader, draw_tag
from noseroom.report.drawing_labels import GAP_MM, Tag, place_column
from noseroom.report.drawing_svg import FAINT, GREY, Canvas
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap

WIDTH_MM, EDGE_MM, PAD_MM = 259.0, 3.0, 4.0
HEAD_MM = 13.0
KNEE_MM = 4.0
_TITLE_SIZE_MM = 5.0
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
LEFT, RIGHT = EDGE_MM + PAD_MM, WIDTH_MM - EDGE_MM - PAD_MM

Point = tuple[float, float]


@dataclass(frozen=True)
class Axis:
    """A scale on the sheet: low and high stand at the sheet's at0 and at1, mm."""

    low: float
    high: float
    at0: float
    at1: float
    log: bool = False

    def at(self, value: float) -> float:
        """Where a value stands; what lies beyond an end stands at it."""
        value = min(max(value, self.low), self.high)
        a, b, c = (math.log(one) if self.log else one for one in (self.low, value, self.high))
        return self.at0 + (self.at1 - self.at0) * (b - a) / (c - a)

    def ticks(self, most: int = 6) -> list[float]:
        """Round values within it, at most so many of them; of a linear axis."""
        return steps(self.low, self.high, most)


def steps(low: float, high: float, most: int) -> list[float]:
    """Round values from low to high, both taken in."""
    step = _step(high - low, most)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _step(reach: float, most: int) -> float:
    power = 10.0 ** math.floor(math.log10(reach / most))
    return next(power * one for one in _STEPS if reach / (power * one) <= most - 1 or one == 10.0)


def rounded_ends(values: Sequence[float], most: int = 6) -> tuple[float, float]:
    """Round ends of an axis that holds all values; from 0 to 1 for none."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    reach = max(high - low, 0.05 * abs(high), 1e-6)
    step = _step(reach, most)
    below, above = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return below * step, max(above, below + 1) * step


def named(ticks: Sequence[float]) -> list[tuple[float, str]]:
    """Ticks with what is written beside them."""
    return [(one, tick_text(one)) for one in ticks]


def tick_text(value: float) -> str:
    """A tick's value as it is written."""
    return f"{value:g}" if value else "0"


def begin(title: str, what: str, said: str, height_mm: float) -> Canvas:
    """A sheet with its frame, its title and the caution at the bottom."""
    canvas = Canvas(WIDTH_MM, height_mm, f"{title}: {what}", f"{said} {CAUTION}")
    frame = Box(EDGE_MM, EDGE_MM, WIDTH_MM - EDGE_MM, height_mm - EDGE_MM)
    canvas.group("frame")
    canvas.rectangle(frame, fill="none", width=0.5)
    canvas.group("head")
    line = wrap(f"{title}: {what}", RIGHT - LEFT, _TITLE_SIZE_MM, max_lines=1, bold=True)[0]
    middle = (frame.x0 + frame.x1) / 2
    canvas.text(line, middle, EDGE_MM + 7.5, size=_TITLE_SIZE_MM, anchor="middle", bold=True)
    canvas.group("caution")
    lines = wrap(CAUTION, RIGHT - LEFT)
    draw_lines(canvas, lines, LEFT, height_mm - EDGE_MM - 2.6 - (len(lines) - 1) * LINE_PITCH_MM)
    return canvas


def caution_mm() -> float:
    """How much room the caution takes at the bottom, the frame's edge taken in."""
    return len(wrap(CAUTION, RIGHT - LEFT)) * LINE_PITCH_MM + EDGE_MM + 3.0


def draw_lines(
    canvas: Canvas, lines: Sequence[str], x: float, y: float, *, fill: str = GREY
) -> None:
    """Lines of text below each other, the first one's baseline at y."""
    for row, line in enumerate(lines):
        canvas.text(line, x, y + row * LINE_PITCH_MM, fill=fill)


def draw_left_axis(
    canvas: Canvas, axis: Axis, x: float, x1: float, ticks: Sequence[tuple[float, str]]
) -> None:
    """Lines across from x to x1, and the values to the left of them."""
    canvas.group("ticks")
    for value, text in ticks:
        y = axis.at(value)
        canvas.line(((x, y), (x1, y)), stroke=FAINT, width=0.15)
        canvas.text(text, x - 1.2, y + 1.2, anchor="end", fill=GREY)


def draw_bottom_axis(
    canvas: Canvas, axis: Axis, y0: float, y: float, ticks: Sequence[tuple[float, str]]
) -> None:
    """Lines up from y to y0, and the values below them."""
    canvas.group("ticks")
    for value, text in ticks:
        x = axis.at(value)
        canvas.line(((x, y0), (x, y)), stroke=FAINT, width=0.15)
        canvas.text(text, x, y + 4.4, anchor="middle", fill=GREY)


def column_mm(texts: Sequence[str], width_mm: float) -> float:
    """How high a column of labels is in which none of them is cut or left out."""
    rows = sum(len(wrap(one, width_mm)) for one in texts)
    return rows * LINE_PITCH_MM + len(texts) * (GAP_MM + 1.0)


def draw_column(
    canvas: Canvas,
    tags: Sequence[Tag],
    side: int,
    edge: float,
    knee: float,
    width_mm: float,
    room: tuple[float, float],
) -> None:
    """Labels in a margin with their leaders. side: -1 left of `edge`, 1 right of it."""
    placed, _ = place_column(tags, side, width_mm, room, knee, (), [])
    canvas.group("leaders")
    for tag in placed:
        draw_leader(canvas, tag, edge, knee)
    for tag in placed:
        draw_tag(canvas, tag, side, edge)
