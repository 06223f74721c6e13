"""A bracket's views on a sheet: the largest usual scale, dimensions stacked, names of holes.

Flat and edge view stand one under the other, or side by side where the flat is tall; the isometric
takes what room is left, below them, beside them, or by one of them alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from shapely import LineString

from noseroom.geometry.outlines import Point
from noseroom.report import drawing_dims as dims
from noseroom.report.drawing_dims import DimensionLine, Stack
from noseroom.report.drawing_model import Drawing, DrawingError
from noseroom.report.drawing_svg import GREY, Canvas, path_data
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.workshop.bracket_views import View
from noseroom.workshop.paper_words import Word, find_spots
from noseroom.workshop.title_block import SHEET, draw_dimensions

SCALES = (2.0, 1.0, 0.5, 0.4, 0.2, 0.1)
_CAPTION_MM, _CAPTION_LEAST_MM, _CAPTION_BESIDE_MM = 5.0, 86.0, 50.0
_LEAST_ISO_MM, _ISO_ROUND_MM = 28.0, 6.0
"""The isometric's larger side at least, and the room round it for its words."""
_TOUCH_MM = 0.05
_STYLES: dict[str, dict[str, str | float]] = {
    "blank": {"width": 0.18, "stroke": GREY, "stroke_dasharray": "8 1.5 1.5 1.5"},
    "hidden": {"width": 0.18, "stroke": GREY, "stroke_dasharray": "2 1"},
    "thin": {"width": 0.18},
    "edge": {"width": 0.5},
    "bend": {"width": 0.25, "stroke_dasharray": "5 1.5"},
    "chain": {"width": 0.13, "stroke_dasharray": "6 1.2 1 1.2"},
    "arrow": {"width": 0.5},
}
_NO_METAL = ("blank", "chain", "arrow")


@dataclass(frozen=True)
class Block:
    """A view at a scale with its dimensions stacked, not yet anywhere. core: sheet mm.

    caption_mm: how wide the caption may be.
    """

    view: View
    scale: float
    core: Point
    stack: Stack
    caption_mm: float

    def band(self, direction: str, side: int) -> float:
        """Room for dimensions on one side: nothing where there are none."""
        used = [
            one
            for one in self.stack.placed
            if one.dimension.direction == direction and one.side == side
        ]
        return self.stack.band_mm(direction, side) if used else 1.0

    @property
    def caption(self) -> tuple[str, ...]:
        """Its title in lines."""
        return wrap(self.view.title, self.caption_mm)

    @property
    def high(self) -> float:
        """From the dimensions above to the caption below."""
        caption = _CAPTION_MM + LINE_PITCH_MM * (len(self.caption) - 1)
        return self.band("horizontal", -1) + self.core[1] + self.band("horizontal", 1) + caption

    @property
    def sides(self) -> Point:
        """How far it reaches to the left and to the right of its anchor, captions counted."""
        own, anchor = self.view.size[0] * self.scale, self.view.anchor
        at = self.core[0] / 2.0 if anchor is None else anchor * self.scale
        at += (self.core[0] - own) / 2.0 if anchor is not None else 0.0
        half = max(text_width_mm(one) for one in self.caption) / 2.0
        left = max(at + self.band("vertical", -1), half - self.core[0] / 2.0 + at)
        right = self.core[0] - at
        return left, max(right + self.band("vertical", 1), half - self.core[0] / 2.0 + right)

    def core_left(self, anchor_x: float) -> float:
        """Where its core begins when its anchor is put somewhere."""
        own, anchor = self.view.size[0] * self.scale, self.view.anchor
        if anchor is None:
            return anchor_x - self.core[0] / 2.0
        return anchor_x - anchor * self.scale - (self.core[0] - own) / 2.0


@dataclass(frozen=True)
class Setting:
    """Where each view goes. rooms: what its words keep inside of."""

    blocks: tuple[Block, ...]
    cores: tuple[Box, ...]
    rooms: tuple[Box, ...]

    @property
    def scale(self) -> float:
        """Of the flat, and of the edge view."""
        return self.blocks[0].scale


def setting(flat: View, folded: Sequence[View], room: Box) -> Setting:
    """The views at the largest usual scale at which they go into a room.

    folded: edge view and isometric, or nothing. Raises DrawingError: they go at none.
    """
    for scale in SCALES:
        column = [_block(one, scale) for one in (flat, *folded[:1])]
        if any(one.stack.left_over for one in column):
            continue
        found = list(_settings(column, folded[1:], room))
        if found:
            return max(found, key=lambda one: one.blocks[-1].scale)
    raise DrawingError("the bracket does not go onto one sheet at any usual scale")


def _settings(pair: list[Block], isometric: Sequence[View], room: Box) -> Iterator[Setting]:
    """Every way in which flat, edge view and isometric go into the room at a scale."""
    for place, rest in (*_columns(pair, room), *_rows(pair, room)):
        made = place()
        if not isometric:
            yield made
            continue
        (view,) = isometric
        most = max(made.scale, _LEAST_ISO_MM / max(view.size))
        scale = _iso_scale(view, rest, most)
        if scale * max(view.size) < _LEAST_ISO_MM - _TOUCH_MM:
            continue
        own, wide = (view.size[0] * scale, view.size[1] * scale), rest.x1 - rest.x0
        block = Block(view, scale, own, Stack((), ()), min(wide - 2.0, 2 * _CAPTION_LEAST_MM))
        middle = (rest.x0 + rest.x1) / 2.0
        top = (rest.y0 + rest.y1 - block.high) / 2.0 + 1.0
        core = Box(middle - own[0] / 2.0, top, middle + own[0] / 2.0, top + own[1])
        yield Setting((*made.blocks, block), (*made.cores, core), (*made.rooms, rest))


_Way = tuple[Callable[[], Setting], Box]
"""What sets flat and edge view, and the room that is left for the isometric."""


def _columns(pair: list[Block], room: Box) -> Iterator[_Way]:
    """Edge view under the flat; room left below, beside both, or beside the flat alone."""
    lefts, rights = zip(*(one.sides for one in pair), strict=True)
    across, deep = max(lefts) + max(rights), sum(one.high for one in pair)
    if across > room.x1 - room.x0 or deep > room.y1 - room.y0:
        return
    x, y = room.x0 + across, room.y0 + deep
    right = room.x0 + max(lefts) + pair[0].sides[1]
    yield partial(_placed, pair, room._replace(y1=y)), room._replace(y0=y)
    yield partial(_placed, pair, room._replace(x1=x)), room._replace(x0=x)
    corner = Box(right, room.y0, room.x1, room.y0 + pair[0].high)
    yield partial(_placed, pair, room._replace(x1=x, y1=y)), corner


def _rows(pair: list[Block], room: Box) -> Iterator[_Way]:
    """Edge view beside the flat; room left below both, or below the edge view alone."""
    if len(pair) < 2:
        return
    pair = [replace(one, caption_mm=max(one.core[0], _CAPTION_BESIDE_MM)) for one in pair]
    flat, edge = pair
    wide, deep = (sum(one.sides) for one in pair), max(one.high for one in pair)
    first, second = wide
    if first + second > room.x1 - room.x0 or deep > room.y1 - room.y0:
        return
    x, y = room.x0 + first, room.y0 + deep

    def beside(low: float, edge_low: float) -> Setting:
        left = _placed([flat], room._replace(x1=x, y1=low))
        right = _placed([edge], Box(x, room.y0, room.x1, edge_low))
        return Setting((flat, edge), (*left.cores, *right.cores), (*left.rooms, *right.rooms))

    yield partial(beside, y, y), room._replace(y0=y)
    under = room.y0 + edge.high
    yield partial(beside, room.y1, under), Box(x, under, room.x1, room.y1)


def _iso_scale(view: View, rest: Box, most: float) -> float:
    """How large the isometric may be in what is left."""
    wide, high = rest.x1 - rest.x0 - 2 * _ISO_ROUND_MM, rest.y1 - rest.y0 - 2 * _ISO_ROUND_MM
    high -= _CAPTION_MM + LINE_PITCH_MM
    if wide < _LEAST_ISO_MM or high <= 0.0:
        return 0.0
    return min(wide / view.size[0], high / view.size[1], most)


def _placed(column: Sequence[Block], room: Box) -> Setting:
    """Blocks one under the other with their anchors in one line, spread over the height."""
    spare = (room.y1 - room.y0 - sum(one.high for one in column)) / len(column)
    lefts, rights = zip(*(one.sides for one in column), strict=True)
    anchor = room.x0 + max(lefts) + (room.x1 - room.x0 - max(lefts) - max(rights)) / 2.0
    y, cores = room.y0, []
    for block in column:
        top, left = y + spare / 2.0 + block.band("horizontal", -1), block.core_left(anchor)
        cores.append(Box(left, top, left + block.core[0], top + block.core[1]))
        y += block.high + spare
    return Setting(tuple(column), tuple(cores), tuple(room for _ in column))


def _block(view: View, scale: float) -> Block:
    drawing = Drawing(view.title, dimensions=view.dimensions)
    least = [
        max((text_width_mm(d.text) + 2.0 for d in view.dimensions if d.direction == way), default=0)
        for way in ("horizontal", "vertical")
    ]
    own = view.size[0] * scale, view.size[1] * scale
    core = max(own[0], least[0]), max(own[1], least[1])
    offset = (core[0] - own[0]) / 2.0, core[1] - (core[1] - own[1]) / 2.0
    stack = dims.stack(drawing, 1.0 / scale, core, offset)
    return Block(view, scale, core, stack, max(core[0], _CAPTION_LEAST_MM))


def draw_setting(canvas: Canvas, made: Setting) -> None:
    """All views with their dimensions, words and captions."""
    taken: list[Box] = []
    for block, core, room in zip(made.blocks, made.cores, made.rooms, strict=True):
        _draw_block(canvas, block, core, room, taken)


def _draw_block(canvas: Canvas, block: Block, core: Box, room: Box, taken: list[Box]) -> None:
    """taken: boxes of words so far, of all views; those of this one are added."""
    view, scale = block.view, block.scale
    own = view.size[0] * scale, view.size[1] * scale
    origin = (core.x0 + core.x1 - own[0]) / 2.0, (core.y0 + core.y1 + own[1]) / 2.0

    def at(point: Point) -> Point:
        return origin[0] + point[0] * scale, origin[1] - point[1] * scale

    metal: list[Any] = []
    other: list[Any] = []
    for kind, style in _STYLES.items():
        canvas.group(f"view-{kind}", view.title)
        for line in view.lines:
            if line.kind == kind:
                points = [at((float(x), float(y))) for x, y in line.points]
                canvas.path(path_data(points), **style)  # type: ignore[arg-type]
                (other if kind in _NO_METAL else metal).append(LineString(points))
    words = [Word(one.text, at(one.at), one.reach_mm * scale) for one in view.tags]
    lines = [_footed(one, metal) for one in dims.on_sheet(block.stack, core, 1.0 / scale, origin)]
    draw_dimensions(canvas, lines)
    drawn = metal + other
    drawn += [LineString(pair) for one in lines for pair in dims.extension_lines(one)]
    below = core.y1 + block.band("horizontal", 1) + _CAPTION_MM - 1.4
    middle = (core.x0 + core.x1) / 2.0
    half = max(text_width_mm(one) for one in block.caption) / 2.0
    foot = below + LINE_PITCH_MM * (len(block.caption) - 1)
    taken += [one.box(one.middle()) for one in lines]
    taken.append(Box(middle - half, below - 4.0, middle + half, foot + 1.0))
    near = Box(core.x0 - 1.0, core.y0 - 1.0, core.x1 + 1.0, core.y1 + 1.0)
    spots = find_spots(words, drawn, taken, near, on_lines=False)
    if len(spots) < len(words):
        spots = find_spots(words, drawn, taken, room)
    if len(spots) < len(words):
        raise DrawingError("there is no room for the names of all holes on the drawing")
    canvas.group("tags")
    for spot in spots:
        if spot.leader:
            canvas.line(spot.leader, width=0.13)
        canvas.text(spot.word.text, spot.x, spot.y, halo=True)
    taken += [spot.box for spot in spots]
    canvas.group("caption")
    for row, text in enumerate(block.caption):
        y = below + LINE_PITCH_MM * row
        canvas.text(text, middle, y, anchor="middle", fill=GREY)


def _footed(line: DimensionLine, drawn: Sequence[Any]) -> DimensionLine:
    """The dimension with its feet on the metal's near side, so that nothing runs across it."""
    feet = []
    for x, y in line.feet:
        ends = ((x, SHEET.y0), (x, SHEET.y1)) if line.flat else ((SHEET.x0, y), (SHEET.x1, y))
        met = [one for one in drawn if one.intersects(LineString(ends).buffer(_TOUCH_MM))]
        spans = [one.intersection(LineString(ends).buffer(_TOUCH_MM)).bounds for one in met]
        if not spans:
            feet.append((x, y))
            continue
        low, high = (1, 3) if line.flat else (0, 2)
        foot = (
            min(one[low] for one in spans)
            if line.placed.side < 0
            else max(one[high] for one in spans)
        )
        feet.append((x, foot) if line.flat else (foot, y))
    return replace(line, feet=(feet[0], feet[1]))
