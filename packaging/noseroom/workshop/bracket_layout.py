"""A bracket's views on a sheet: the largest usual scale, dimensions stacked, names of holes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from shapely import LineString

from noseroom.geometry.outlines import Point
from noseroom.report import drawing_dims as dims
from noseroom.report.drawing_dims import DimensionLine, Stack
from noseroom.report.drawing_model import Drawing, DrawingError
from noseroom.report.drawing_svg import GREY, Canvas, path_data
from noseroom.report.drawing_text import Box
from noseroom.workshop.bracket_views import View
from noseroom.workshop.paper_words import Word, find_spots
from noseroom.workshop.title_block import SHEET, draw_dimensions

SCALES = (2.0, 1.0, 0.5, 0.4, 0.2, 0.1)
_CAPTION_MM, _BETWEEN_MM = 5.0, 1.0
_TOUCH_MM = 0.05
_STYLES: dict[str, dict[str, str | float]] = {
    "hidden": {"width": 0.18, "stroke": GREY, "stroke_dasharray": "2 1"},
    "thin": {"width": 0.18},
    "edge": {"width": 0.5},
    "bend": {"width": 0.25, "stroke_dasharray": "5 1.5"},
    "chain": {"width": 0.13, "stroke_dasharray": "6 1.2 1 1.2"},
}


@dataclass(frozen=True)
class Block:
    """A view at a scale with its dimensions stacked, not yet anywhere. core: sheet mm."""

    view: View
    scale: float
    core: Point
    stack: Stack

    def band(self, direction: str, side: int) -> float:
        """Room for dimensions on one side: nothing where there are none."""
        used = [
            one
            for one in self.stack.placed
            if one.dimension.direction == direction and one.side == side
        ]
        return self.stack.band_mm(direction, side) if used else 1.0

    @property
    def high(self) -> float:
        """From the dimensions above to the caption below."""
        return self.band("horizontal", -1) + self.core[1] + self.band("horizontal", 1) + _CAPTION_MM


def fitting(views: Sequence[View], room: Box) -> list[Block]:
    """The views at the largest usual scale at which they go into a room, one under the other.

    Raises DrawingError: they do at none.
    """
    wide, high = room.x1 - room.x0, room.y1 - room.y0
    for scale in SCALES:
        blocks = [_block(one, scale) for one in views]
        across = sum(max(part) for part in zip(*(_across(one) for one in blocks), strict=True))
        deep = sum(one.high for one in blocks) + _BETWEEN_MM * (len(blocks) - 1)
        if across <= wide and deep <= high and not any(one.stack.left_over for one in blocks):
            return blocks
    raise DrawingError("the bracket does not go onto one sheet at any usual scale")


def _across(block: Block) -> tuple[float, float, float]:
    return block.band("vertical", -1), block.core[0], block.band("vertical", 1)


def _block(view: View, scale: float) -> Block:
    drawing = Drawing(view.title, dimensions=view.dimensions)
    least = dims.smallest_core_mm(drawing)
    own = view.size[0] * scale, view.size[1] * scale
    core = max(own[0], least[0]), max(own[1], least[1] if view.dimensions else 0.0)
    offset = (core[0] - own[0]) / 2.0, core[1] - (core[1] - own[1]) / 2.0
    return Block(view, scale, core, dims.stack(drawing, 1.0 / scale, core, offset))


def draw_blocks(canvas: Canvas, blocks: Sequence[Block], room: Box) -> None:
    """The views one under the other, their middles in one line, spread over the height."""
    spare = (room.y1 - room.y0 - sum(one.high for one in blocks)) / len(blocks)
    lefts, cores, rights = zip(*(_across(one) for one in blocks), strict=True)
    free = room.x1 - room.x0 - max(lefts) - max(cores) - max(rights)
    middle = room.x0 + free / 2.0 + max(lefts) + max(cores) / 2.0
    y = room.y0
    for block in blocks:
        top = y + spare / 2.0 + block.band("horizontal", -1)
        core = Box(
            middle - block.core[0] / 2.0,
            top,
            middle + block.core[0] / 2.0,
            top + block.core[1],
        )
        _draw_block(canvas, block, core, room)
        y += block.high + spare


def _draw_block(canvas: Canvas, block: Block, core: Box, room: Box) -> None:
    view, scale = block.view, block.scale
    own = view.size[0] * scale, view.size[1] * scale
    origin = (core.x0 + core.x1 - own[0]) / 2.0, (core.y0 + core.y1 + own[1]) / 2.0

    def at(point: Point) -> Point:
        return origin[0] + point[0] * scale, origin[1] - point[1] * scale

    drawn = []
    for kind, style in _STYLES.items():
        canvas.group(f"view-{kind}", view.title)
        for line in view.lines:
            if line.kind == kind:
                points = [at((float(x), float(y))) for x, y in line.points]
                canvas.path(path_data(points), **style)  # type: ignore[arg-type]
                drawn.append(LineString(points))
    words = [Word(one.text, at(one.at), one.reach_mm * scale) for one in view.tags]
    lines = [_footed(one, drawn) for one in dims.on_sheet(block.stack, core, 1.0 / scale, origin)]
    draw_dimensions(canvas, lines)
    texts = [one.box(one.middle()) for one in lines]
    drawn += [LineString(pair) for one in lines for pair in dims.extension_lines(one)]
    near = Box(core.x0 - 1.0, core.y0 - 1.0, core.x1 + 1.0, core.y1 + 1.0)
    spots = find_spots(words, drawn, texts, near)
    if len(spots) < len(words):
        spots = find_spots(words, drawn, texts, room)
    if len(spots) < len(words):
        raise DrawingError("there is no room for the names of all holes on the drawing")
    canvas.group("tags")
    for spot in spots:
        if spot.leader:
            canvas.line(spot.leader, width=0.13)
        canvas.text(spot.word.text, spot.x, spot.y, halo=True)
    canvas.group("caption")
    below = core.y1 + block.band("horizontal", 1) + _CAPTION_MM - 1.4
    canvas.text(view.title, (core.x0 + core.x1) / 2.0, below, anchor="middle", fill=GREY)


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
