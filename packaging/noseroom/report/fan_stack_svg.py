"""The picture of a fan stack as a sheet: the side view above, the window on a rule below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.checks import words
from noseroom.checks.fan_window_words import turned
from noseroom.report.drawing import draw_leader, draw_outline, draw_tag
from noseroom.report.drawing_labels import PlacedTag, Tag, outline_tags, place_column, share_out
from noseroom.report.drawing_model import DrawingError, Point
from noseroom.report.drawing_svg import CAP_HALF, GREY, INK, Canvas, path_data
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.report.fan_stack import ON_MM, WINDOW_COLOUR, End, FanStack
from noseroom.report.fan_stack_breaks import draw_breaks
from noseroom.units import MM_PER_INCH, format_length

SHEET = Box(0.0, 0.0, 259.0, 190.0)
FRAME = Box(3.0, 3.0, 256.0, 187.0)
SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 20.0)
_HEAD_MM, _RULE_MM = 13.0, 66.0
_LABELS_MM = 74.0
_SWATCH_MM, _KNEE_MM = 4.4, 4.0
_TITLE_SIZE_MM = 5.0
_INK_ON_WINDOW = "#ffffff"
_CAUTION = (
    "Never stack spacers. Battery off and engine cold before hands go near the fan. "
    "Guaranteed for the model as measured."
)
_SAME_MM = 0.01
_LETTERS = 26
_WAYS = "← FRONT", "REAR →"


def fan_stack_svg(stack: FanStack) -> str:
    """The sheet as SVG text, mm; the same stack gives the same bytes.

    Raises DrawingError if the stack does not go onto one sheet.
    """
    canvas = Canvas(
        SHEET.x1, SHEET.y1, f"{stack.title}: {stack.fan} from the side", " ".join(_said(stack))
    )
    canvas.group("frame")
    canvas.rectangle(FRAME, fill="none", width=0.5)
    _draw_head(canvas, stack)
    _draw_view(canvas, stack)
    _draw_rule(canvas, stack)
    return canvas.to_string()


def _said(stack: FanStack) -> list[str]:
    """All that the picture says, in words."""
    found = [f"Side view of the fan stack along the {stack.fan}'s axis, front to the left."]
    found.append(stack.note)
    found += [_end_words(one, stack) for one in stack.ends]
    inside = [one.said for one in _marks(stack) if stack.keeps(one.thickness_mm)]
    found.append(f"Inside the window: {words.listed(inside)}.")
    return [*found, _CAUTION]


def _draw_head(canvas: Canvas, stack: FanStack) -> None:
    canvas.group("head")
    room = FRAME.x1 - FRAME.x0 - 70.0
    title = wrap(f"{stack.title}: {stack.fan} stack", room, _TITLE_SIZE_MM, max_lines=1, bold=True)
    middle = (FRAME.x0 + FRAME.x1) / 2
    y = FRAME.y0 + 7.5
    canvas.text(title[0], middle, y, size=_TITLE_SIZE_MM, anchor="middle", bold=True)
    canvas.text(_WAYS[0], FRAME.x0 + 4.0, y, bold=True)
    canvas.text(_WAYS[1], FRAME.x1 - 4.0, y, anchor="end", bold=True)


def _draw_view(canvas: Canvas, stack: FanStack) -> None:
    room = Box(
        FRAME.x0 + _LABELS_MM, FRAME.y0 + _HEAD_MM, FRAME.x1 - _LABELS_MM, FRAME.y1 - _RULE_MM
    )
    u0, v0, u1, v1 = _extents(stack)
    wide, high = room.x1 - room.x0, room.y1 - room.y0
    scale = next((s for s in SCALES if (u1 - u0) / s <= wide and (v1 - v0) / s <= high), None)
    if scale is None:
        raise DrawingError("the fan stack does not go onto one sheet at any usual scale")
    x = (room.x0 + room.x1) / 2 - (u0 + u1) / 2 / scale
    y = (room.y0 + room.y1) / 2 + (v0 + v1) / 2 / scale

    def to_sheet(point: Point) -> Point:
        return x + point[0] / scale, y - point[1] / scale

    canvas.root.set("data-scale", f"{scale:g}")
    for outline in sorted(stack.outlines, key=lambda one: one.depth):
        draw_outline(canvas, outline, to_sheet)
    draw_breaks(canvas, stack.cuts, to_sheet)
    canvas.group("axis", "the fan's axis")
    ends = to_sheet((u0 - 8 * scale, 0.0)), to_sheet((u1 + 8 * scale, 0.0))
    canvas.line(ends, width=0.18, stroke_dasharray="6 1.2 1 1.2")
    tags = outline_tags(stack.outlines, (scale, x, y))
    for text, tip in zip(("blades' front edge", "blades' rear edge"), stack.tips, strict=True):
        tags.append(Tag(text, to_sheet(tip), weight=1e6))
    left, right = to_sheet((u0, 0.0))[0], to_sheet((u1, 0.0))[0]
    _draw_labels(canvas, tags, (left - 2.0, right + 2.0), (room.y0, room.y1))
    canvas.group("scale")
    canvas.text(f"1:{scale:g}", FRAME.x1 - 4.0, room.y1 + 2.6, anchor="end", fill=GREY)


def _draw_labels(
    canvas: Canvas, tags: Sequence[Tag], sides: tuple[float, float], heights: tuple[float, float]
) -> None:
    used: list[Point] = []
    columns: list[tuple[tuple[PlacedTag, ...], int, float, float]] = []
    for side, column, end in zip((-1, 1), share_out(tags), sides, strict=True):
        knee = end + side * _KNEE_MM
        edge = FRAME.x0 + _LABELS_MM - 12.0 if side < 0 else FRAME.x1 - _LABELS_MM + 12.0
        knee = max(knee, edge + 1.0) if side < 0 else min(knee, edge - 1.0)
        width = _LABELS_MM - 12.0 - _SWATCH_MM - 2.0
        placed, _ = place_column(column, side, width, heights, knee, (), used)
        columns.append((placed, side, edge, knee))
    canvas.group("leaders")
    for placed, _, edge, knee in columns:
        for tag in placed:
            draw_leader(canvas, tag, edge, knee)
    for placed, side, edge, _ in columns:
        for tag in placed:
            draw_tag(canvas, tag, side, edge)


def _extents(stack: FanStack) -> tuple[float, float, float, float]:
    bounds = [one.polygon.bounds for one in stack.outlines if not one.polygon.is_empty]
    lows, highs = [one[:2] for one in bounds], [one[2:] for one in bounds]
    return (
        min(low[0] for low in lows),
        min(low[1] for low in lows),
        max(high[0] for high in highs),
        max(high[1] for high in highs),
    )


def _draw_rule(canvas: Canvas, stack: FanStack) -> None:
    """Thickness from nothing to the thickest, the window as a band, and each stock spacer."""
    top = FRAME.y1 - _RULE_MM + 4.0
    canvas.group("rule-line")
    canvas.line(((FRAME.x0, top), (FRAME.x1, top)), width=0.25)
    thickest = max(
        *(one.thickness_mm for one in _marks(stack)),
        *(high for _, high in stack.windows),
        stack.on_mm,
        50.0,
    )
    x0, x1 = FRAME.x0 + 10.0, FRAME.x1 - 14.0
    pitch = (x1 - x0) / thickest
    base = top + 25.0

    def at(thickness: float) -> float:
        return x0 + thickness * pitch

    canvas.group("heading")
    which = "one spacer in the place of what is on" if stack.on_mm else "the spacer"
    heading = f"Thickness of {which}, and where the fan keeps its room"
    canvas.text(heading, FRAME.x0 + 4.0, top + 5.4, bold=True)
    canvas.group("window")
    for low, high in stack.windows:
        band = Box(at(low), base - 5.0, max(at(high), at(low) + 0.6), base)
        canvas.rectangle(band, fill="#cfe6d6", stroke=WINDOW_COLOUR, width=0.35)
    canvas.line(((x0, base), (at(thickest), base)), width=0.4)
    _draw_stems(canvas, stack, x0, pitch, base)
    _draw_ticks(canvas, stack, thickest, x0, pitch, base)
    _draw_stock(canvas, stack, x0, pitch, base)
    _draw_words(canvas, stack, base + 17.0)


def _draw_ticks(
    canvas: Canvas, stack: FanStack, thickest: float, x0: float, pitch: float, base: float
) -> None:
    inches = stack.unit in ("in", "ft")
    step, every = (MM_PER_INCH / 4, 4) if inches else (5.0, 2)
    for number in range(int(thickest / step + 1e-6) + 1):
        x = x0 + number * step * pitch
        canvas.group("ticks")
        named = number % every == 0
        canvas.line(((x, base), (x, base + (2.6 if named else 1.4))), width=0.25)
        if named:
            text = f"{number // every}" if inches else f"{number * step:g}"
            canvas.text(text, x, base + 6.2, anchor="middle", halo=True)
    canvas.group("ticks")
    canvas.text("in" if inches else "mm", x0 + thickest * pitch + 5.0, base + 6.2)


def _draw_stock(canvas: Canvas, stack: FanStack, x0: float, pitch: float, base: float) -> None:
    """A mark for each stock spacer: filled inside the window, hollow outside; labels in rows.

    The best choice is named as such; one that has to be turned stands there too, as a diamond.
    """
    reached = [-1e9, -1e9, -1e9]
    for one in _marks(stack):
        x, inside = x0 + one.thickness_mm * pitch, stack.keeps(one.thickness_mm)
        half = text_width_mm(one.text, bold=inside) / 2
        row = next((k for k, end in enumerate(reached) if x - half > end + 1.0), None)
        canvas.group("stock" if one.stock else "turned", f"{one.said}: {_keeps(inside=inside)}")
        shape = [(x, base), (x - 1.7, base - 3.4), (x + 1.7, base - 3.4)]
        if not one.stock:
            shape[1:] = [(x - 1.7, base - 1.7), (x, base - 3.4), (x + 1.7, base - 1.7)]
        fill = WINDOW_COLOUR if inside else "#ffffff"
        canvas.path(path_data(shape, closed=True), fill=fill, width=0.3)
        if row is None:
            continue
        reached[row] = x + half
        canvas.text(
            one.text,
            x,
            base - 6.2 - row * LINE_PITCH_MM,
            anchor="middle",
            bold=inside,
            fill=INK if inside else GREY,
        )


@dataclass(frozen=True)
class _Mark:
    """A spacer on the rule. text: at the mark; said: in full."""

    thickness_mm: float
    text: str
    said: str
    stock: bool


def _marks(stack: FanStack) -> list[_Mark]:
    axis = "in" if stack.unit in ("in", "ft") else "mm"
    best, found = stack.chosen_mm, []
    bought = False
    for one in stack.stock:
        text = one.label if one.label.endswith(one.unit) else f"{one.label} {one.unit}"
        said = f"stock spacer, {text}"
        text = text.removesuffix(f" {axis}")
        if best is not None and abs(one.thickness_mm - best) < _SAME_MM:
            text, said, bought = f"best: {text}", f"{said}, the best choice", True
        found.append(_Mark(one.thickness_mm, text, said, stock=True))
    if best is not None and not bought:
        size = format_length(best, axis, denominator=64)
        found.append(_Mark(best, f"turn: {size}", f"to be turned, {size}", stock=False))
    # Of one thinner than what is on nobody knows what the fan does.
    found = [one for one in found if one.thickness_mm >= stack.on_mm - ON_MM]
    return sorted(found, key=lambda one: one.thickness_mm)


def _keeps(*, inside: bool) -> str:
    return "the fan keeps its room" if inside else "the fan does not keep its room"


def _draw_stems(canvas: Canvas, stack: FanStack, x0: float, pitch: float, base: float) -> None:
    """A letter at each end of the windows."""
    for number, end in enumerate(stack.ends):
        x = x0 + end.thickness_mm * pitch
        canvas.group("end", _end_words(end, stack))
        canvas.line(((x, base - 5.0), (x, base + 8.4)), stroke=WINDOW_COLOUR, width=0.5)
        shift = -2.6 if end.least else 2.6
        canvas.dot(x + shift, base + 10.0, 2.3, fill=WINDOW_COLOUR)
        canvas.text(
            _letter(number),
            x + shift,
            base + 10.0 + CAP_HALF * BODY_MM,
            anchor="middle",
            bold=True,
            fill=_INK_ON_WINDOW,
        )


def _letter(number: int) -> str:
    return chr(ord("A") + number) if number < _LETTERS else "+"


def _draw_words(canvas: Canvas, stack: FanStack, top: float) -> None:
    """What limits each end, two ends a row; the key and the cautions, always, at the bottom."""
    left, room = FRAME.x0 + 4.0, FRAME.x1 - FRAME.x0 - 8.0
    key = wrap(f"Marks: spacers, filled where the fan keeps its room. {_CAUTION}", room)
    bottom = FRAME.y1 - 2.6 - (len(key) - 1) * LINE_PITCH_MM
    canvas.group("key")
    for row, line in enumerate(key):
        canvas.text(line, left, bottom + row * LINE_PITCH_MM, fill=GREY)
    rows = int((bottom - top) / LINE_PITCH_MM + _SAME_MM)
    canvas.group("words")
    if not stack.ends:
        for row, line in enumerate(wrap(stack.note, room, max_lines=rows)):
            canvas.text(line, left, top + row * LINE_PITCH_MM)
        return
    pairs = [stack.ends[k : k + 2] for k in range(0, len(stack.ends), 2)]
    each = max(rows // len(pairs), 1)
    shown = len(pairs) if len(pairs) <= rows else rows - 1
    if shown < len(pairs):
        rest = f"and {len(pairs) - shown} more windows: see findings.json"
        canvas.text(rest, left, top + shown * LINE_PITCH_MM)
    for row, pair in enumerate(pairs[:shown]):
        for side, end in enumerate(pair):
            said = f"{_letter(2 * row + side)}  {_end_words(end, stack)}"
            x = left + side * room / 2
            for k, line in enumerate(wrap(said, room / 2 - 4.0, max_lines=each)):
                canvas.text(line, x, top + (row * each + k) * LINE_PITCH_MM)


def _end_words(end: End, stack: FanStack) -> str:
    """One end of a window in words."""
    if end.least and end.thickness_mm == stack.on_mm:
        if not stack.on_mm:
            return "No spacer is needed."
        return f"The {turned(stack.on_mm, stack.unit)} spacer that is on will do."
    said = f"At {'least' if end.least else 'most'} {end.said}"
    return f"{said}: {end.why}." if end.why else f"{said}."
