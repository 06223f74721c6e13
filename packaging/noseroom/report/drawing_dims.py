"""Dimension lines stacked in rows above and below the outlines and in columns beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.report.drawing_model import Dimension, Drawing, Point
from noseroom.report.drawing_svg import CAP_HALF, INK, Canvas
from noseroom.report.drawing_text import BODY_MM, Box, clean, text_box, text_width_mm

FIRST_MM, PITCH_MM = 7.5, 6.6
"""From the outlines to the first dimension line, and from line to line."""
_BEYOND_MM = {-1: 5.6, 1: 2.5}  # the text lies above and left of its line
_BARE_MM = 5.0
_LONGEST_TEXT_MM = 80.0
_ROOM_FOR_ARROWS_MM, _TAIL_MM = 7.0, 5.0
_TEXT_ABOVE_LINE_MM = 1.6
_MAX_ROWS, _MAX_COLUMNS = 7, 4


@dataclass(frozen=True)
class Placed:
    """A stacked dimension. Lengths in mm on the sheet, from the core's upper left corner.

    side: -1 above or left of the core, +1 below or right of it. row: 0 is next to the core.
    low, high: the measured stretch along the line. text0, text1: the room that its text may use.
    """

    dimension: Dimension
    side: int
    row: int
    low: float
    high: float
    text0: float
    text1: float


@dataclass(frozen=True)
class Stack:
    """All stacked dimensions about a core, and those that had no room and become callouts."""

    placed: tuple[Placed, ...]
    left_over: tuple[Dimension, ...]

    def band_mm(self, direction: str, side: int) -> float:
        """Room that the lines of one side take beyond the core."""
        rows = [p.row for p in self.placed if p.dimension.direction == direction and p.side == side]
        return FIRST_MM + PITCH_MM * max(rows) + _BEYOND_MM[side] if rows else _BARE_MM


def smallest_core_mm(drawing: Drawing) -> tuple[float, float]:
    """Width and height that the core needs for the longest dimension texts along its sides."""

    def longest(direction: str) -> float:
        widths = [
            text_width_mm(clean(d.text)) + 2.0
            for d in drawing.dimensions
            if d.direction == direction
        ]
        return max((w for w in widths if w <= _LONGEST_TEXT_MM + 2.0), default=0.0)

    return max(30.0, longest("horizontal")), max(30.0, longest("vertical"))


def stack(drawing: Drawing, scale: float, core_mm: tuple[float, float], offset_mm: Point) -> Stack:
    """Give each dimension a row or column, short ones inside.

    core_mm: size of the core on the sheet. offset_mm: sheet position of (u, v) = (0, 0) from the
    core's upper left corner.
    """
    spans: dict[tuple[str, int, int], list[tuple[float, float]]] = {}
    placed, left_over = [], []
    queue = []
    for index, dimension in enumerate(drawing.dimensions):
        flat = dimension.direction == "horizontal"
        if dimension.direction == "along":
            left_over.append((index, dimension))
            continue
        sheet = [
            (offset_mm[0] + p[0] / scale, offset_mm[1] - p[1] / scale)
            for p in (dimension.start, dimension.end)
        ]
        low, high = sorted(p[0 if flat else 1] for p in sheet)
        across = sum(p[1 if flat else 0] for p in sheet) / 2
        queue.append((high - low, index, dimension, low, high, across))
    for length, index, dimension, low, high, across in sorted(queue, key=lambda item: item[:2]):
        flat = dimension.direction == "horizontal"
        room, depth = core_mm if flat else core_mm[::-1]
        width = text_width_mm(clean(dimension.text))
        if width > _LONGEST_TEXT_MM or width > room:
            left_over.append((index, dimension))
            continue
        tail = 0.0 if length >= _ROOM_FOR_ARROWS_MM else _TAIL_MM
        choices = []
        for side in (-1, 1):
            text0 = _text_start(low, high, width, room, tail, side)
            span = (min(low - tail, text0) - 1.5, max(high + tail, text0 + width) + 1.5)
            for row in range(_MAX_ROWS if flat else _MAX_COLUMNS):
                taken = spans.get((dimension.direction, side, row), [])
                if all(span[1] <= a or b <= span[0] for a, b in taken):
                    away = across if side < 0 else depth - across
                    choices.append((row * PITCH_MM + 0.3 * away, side, row, text0, span))
                    break
        if not choices:
            left_over.append((index, dimension))
            continue
        _, side, row, text0, span = min(choices)
        spans.setdefault((dimension.direction, side, row), []).append(span)
        # A text half-way may slide along its line; one beside its line stays where it is.
        slides = high - low > width
        text_room = (max(low, 0.0), min(high, room)) if slides else (text0, text0 + width)
        text_room = (min(text_room[0], text0), max(text_room[1], text0 + width))
        placed.append(Placed(dimension, side, row, low, high, *text_room))
    left_over.sort(key=lambda item: item[0])
    return Stack(tuple(placed), tuple(dimension for _, dimension in left_over))


def _text_start(
    low: float, high: float, width: float, room: float, tail: float, side: int
) -> float:
    """Where the text of a dimension starts along its line, inside 0 to `room`.

    Half-way as a rule. On the far sides (below, right) the text lies between the outlines and its
    line, where the dimension's own extension lines would strike through one that is wider than
    they are apart: there it goes beside them.
    """
    middle = min(max((low + high - width) / 2, 0.0), room - width)
    if side < 0 or high - low > width:
        return middle
    after, before = high + tail + 0.6, low - tail - 0.6 - width
    if after + width <= room:
        return after
    return before if before >= 0.0 else middle


@dataclass(frozen=True)
class DimensionLine:
    """A stacked dimension in sheet coordinates, its text not yet put anywhere along the line.

    line_mm: the fixed coordinate (y of a horizontal line, x of a vertical one).
    """

    placed: Placed
    line_mm: float
    low: float
    high: float
    text0: float
    text1: float
    feet: tuple[Point, Point]

    @property
    def flat(self) -> bool:
        """Whether the line is horizontal."""
        return self.placed.dimension.direction == "horizontal"

    def box(self, centre: float) -> Box:
        """Box of the text when its middle is at `centre` along the line."""
        text = clean(self.placed.dimension.text)
        base = self.line_mm - _TEXT_ABOVE_LINE_MM
        x, y = (centre, base) if self.flat else (base, centre)
        return text_box(text, x, y, anchor="middle", upright=not self.flat)

    def middle(self) -> float:
        """The plain place for the text: half-way, but inside its room."""
        half = text_width_mm(clean(self.placed.dimension.text)) / 2
        centre = (self.low + self.high) / 2
        return min(max(centre, self.text0 + half), self.text1 - half)

    def best_centre(self, segments: Sequence[tuple[Point, Point]]) -> float:
        """Place for the text along its line that the fewest `segments` run through."""
        half = text_width_mm(clean(self.placed.dimension.text)) / 2
        across = self.line_mm - _TEXT_ABOVE_LINE_MM - CAP_HALF * BODY_MM
        hits = [hit for s in segments if (hit := _hit(s, across, flat=self.flat)) is not None]
        plain = self.middle()
        steps = range(1, int((self.text1 - self.text0 - 2 * half) * 2) + 1)
        tries = [plain, *(plain + 0.5 * sign * step for step in steps for sign in (1, -1))]
        inside = [t for t in tries if self.text0 <= t - half and t + half <= self.text1]
        return min(
            inside or [plain],
            key=lambda t: (sum(abs(hit - t) < half + 0.4 for hit in hits), abs(t - plain), t),
        )


def _hit(segment: tuple[Point, Point], across: float, *, flat: bool) -> float | None:
    """Where along a line at `across` a segment crosses it; None if it does not."""
    (a0, b0), (a1, b1) = segment if flat else (segment[0][::-1], segment[1][::-1])
    if b0 == b1 or not min(b0, b1) <= across <= max(b0, b1):
        return None
    return a0 + (across - b0) / (b1 - b0) * (a1 - a0)


def on_sheet(stacked: Stack, core: Box, scale: float, origin: Point) -> tuple[DimensionLine, ...]:
    """The stacked dimensions in sheet coordinates; `origin` is where (u, v) = (0, 0) lies."""
    lines = []
    for placed in stacked.placed:
        flat = placed.dimension.direction == "horizontal"
        reach = FIRST_MM + PITCH_MM * placed.row
        edges = (core.y0, core.y1) if flat else (core.x0, core.x1)
        fixed = edges[0] - reach if placed.side < 0 else edges[1] + reach
        shift = core.x0 if flat else core.y0
        feet = tuple(
            (origin[0] + p[0] / scale, origin[1] - p[1] / scale)
            for p in (placed.dimension.start, placed.dimension.end)
        )
        lines.append(
            DimensionLine(
                placed,
                fixed,
                placed.low + shift,
                placed.high + shift,
                placed.text0 + shift,
                placed.text1 + shift,
                (feet[0], feet[1]),
            )
        )
    return tuple(lines)


def extension_lines(line: DimensionLine) -> list[tuple[Point, Point]]:
    """From a little off each measured point to a little past the dimension line."""
    pairs = []
    for x, y in line.feet:
        foot = y if line.flat else x
        sign = 1.0 if line.line_mm >= foot else -1.0
        start, stop = foot + sign * 1.0, line.line_mm + sign * 1.3
        pairs.append(((x, start), (x, stop)) if line.flat else ((start, y), (stop, y)))
    return pairs


def draw_line(canvas: Canvas, line: DimensionLine, centre: float) -> None:
    """Extension lines, dimension line and arrow heads; the text is drawn apart, above all lines."""
    for pair in extension_lines(line):
        canvas.line(pair, width=0.13)
    half = text_width_mm(clean(line.placed.dimension.text)) / 2
    inside = line.high - line.low >= _ROOM_FOR_ARROWS_MM
    tail = 0.0 if inside else _TAIL_MM
    low = min(line.low - tail, centre - half) if centre - half < line.low else line.low - tail
    high = max(line.high + tail, centre + half) if centre + half > line.high else line.high + tail

    def at(along: float) -> Point:
        return (along, line.line_mm) if line.flat else (line.line_mm, along)

    canvas.line((at(low), at(high)), stroke=INK, width=0.18)
    sign = 1.0 if inside else -1.0
    unit = (1.0, 0.0) if line.flat else (0.0, 1.0)
    canvas.arrow_head(at(line.low), (-sign * unit[0], -sign * unit[1]))
    canvas.arrow_head(at(line.high), (sign * unit[0], sign * unit[1]))


def draw_text(canvas: Canvas, line: DimensionLine, centre: float) -> None:
    """The text of a dimension on its halo."""
    base = line.line_mm - _TEXT_ABOVE_LINE_MM
    x, y = (centre, base) if line.flat else (base, centre)
    canvas.text(line.placed.dimension.text, x, y, anchor="middle", upright=not line.flat, halo=True)
