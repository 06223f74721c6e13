"""Large figures over several sheets: windows that overlap, crosses on both sheets, where to cut."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from shapely import STRtree, box

from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import GREY, INK, Canvas, number, path_data
from noseroom.report.drawing_text import BODY_MM, Box, text_box, text_width_mm
from noseroom.workshop import paper_draw as draw
from noseroom.workshop.figures import Figure, Label
from noseroom.workshop.paper_draw import Line, View, label_box, lines_of
from noseroom.workshop.paper_sheet import SMALL_MM, Sheet
from noseroom.workshop.paper_words import Word, find_spots

OVERLAP_MM = 12.0
_MARK_MM, _RING_MM = 5.0, 2.2
"""Half a cross, and the radius of the ring round it."""
_EDGE_MM = 3.0
"""White round the figure, where bends are marked and crosses stand."""
_ALONG = (0.22, 0.25, 0.19, 0.28, 0.16, 0.31, 0.13, 0.34, 0.37, 0.4, 0.43, 0.46)
"""Where along a seam a cross may stand, as a part of it; the other one as far from its end."""


@dataclass(frozen=True)
class Mark:
    """A cross that two sheets share. at: figure mm. upright: whether its seam runs up."""

    name: str
    at: Point
    upright: bool


@dataclass(frozen=True)
class Tile:
    """One sheet's part of the figure that `of` names.

    column from the left, row from below. window: figure mm, y0 is the lower side. cuts: where the
    sheet is cut off before it is laid over its neighbours, figure mm.
    """

    of: str
    column: int
    row: int
    window: Box
    marks: tuple[Mark, ...]
    cuts: tuple[tuple[Point, Point], ...]


@dataclass(frozen=True)
class Tiling:
    """A figure cut up for sheets. tiles: those with something on them, row by row from above."""

    figure: Figure
    lines: tuple[Line, ...]
    columns: int
    rows: int
    tiles: tuple[Tile, ...]


def tiled(figure: Figure, room: Box) -> Tiling:
    """The figure, upright or on its side, whichever takes fewer sheets."""
    wide, high = room.x1 - room.x0, room.y1 - room.y0
    figure = min(
        (figure, figure.on_its_side()), key=lambda one: math.prod(_counts(_frame(one), wide, high))
    )
    frame, lines = _frame(figure), lines_of(figure)
    columns, rows = _counts(frame, wide, high)
    xs = _spans(frame.x0, frame.x1, columns)
    ys = _spans(frame.y0, frame.y1, rows)
    windows = {
        (column, row): Box(x0, y0, x1, y1)
        for row, (y0, y1) in enumerate(ys)
        for column, (x0, x1) in enumerate(xs)
    }
    tree = STRtree([one.path for one in lines])
    used = {key for key, one in windows.items() if len(tree.query(box(*one), "intersects"))}
    written = [box(*_label_box(one)) for one in figure.labels]
    marks = list(_marks(windows, used, STRtree([*(one.path for one in lines), *written])))
    tiles = [
        Tile(
            figure.name,
            column,
            row,
            windows[column, row],
            tuple(mark for key, mark in marks if (column, row) in key),
            tuple(_cut_lines(windows, used, (column, row))),
        )
        for row in range(rows - 1, -1, -1)
        for column in range(columns)
        if (column, row) in used
    ]
    return Tiling(figure, lines, columns, rows, tuple(tiles))


def _frame(figure: Figure) -> Box:
    """Round all of its lines and labels, with a little white."""
    boxes = [Box(*one.path.bounds) for one in lines_of(figure)]
    boxes += [_label_box(one) for one in figure.labels]
    x0, y0 = min(one.x0 for one in boxes), min(one.y0 for one in boxes)
    x1, y1 = max(one.x1 for one in boxes), max(one.y1 for one in boxes)
    return Box(x0 - _EDGE_MM, y0 - _EDGE_MM, x1 + _EDGE_MM, y1 + _EDGE_MM)


def _label_box(label: Label) -> Box:
    """A label's box in figure mm, y up."""
    one = label_box(label, View(0.0, 0.0))
    return Box(one.x0, -one.y1, one.x1, -one.y0)


def _counts(frame: Box, wide: float, high: float) -> tuple[int, int]:
    """Columns and rows of sheets."""
    return (
        max(1, math.ceil((frame.x1 - frame.x0 - OVERLAP_MM) / (wide - OVERLAP_MM))),
        max(1, math.ceil((frame.y1 - frame.y0 - OVERLAP_MM) / (high - OVERLAP_MM))),
    )


def _spans(low: float, high: float, count: int) -> list[tuple[float, float]]:
    """A stretch in equal parts, each overlapping the next."""
    step = (high - low - OVERLAP_MM) / count
    return [(low + step * k, low + step * (k + 1) + OVERLAP_MM) for k in range(count)]


_Key = tuple[int, int]


def _seams(
    windows: dict[_Key, Box], used: set[_Key], key: _Key
) -> Iterator[tuple[_Key, bool, tuple[Point, Point]]]:
    """Towards the sheets to the left and below: the sheet, whether the seam runs up, its middle."""
    here, (column, row) = windows[key], key
    left, below = (column - 1, row), (column, row - 1)
    if left in used:
        x = here.x0 + OVERLAP_MM / 2.0
        yield left, True, ((x, here.y0), (x, here.y1))
    if below in used:
        y = here.y0 + OVERLAP_MM / 2.0
        yield below, False, ((here.x0, y), (here.x1, y))


def _marks(
    windows: dict[_Key, Box], used: set[_Key], tree: STRtree
) -> Iterator[tuple[tuple[_Key, _Key], Mark]]:
    """Two crosses on every seam, where few lines run."""
    name = 0
    for key in sorted(used, key=lambda one: (-one[1], one[0])):
        for other, upright, (start, end) in _seams(windows, used, key):
            for from_end in (False, True):
                name += 1
                at = min(
                    (_along(start, end, 1.0 - share if from_end else share) for share in _ALONG),
                    key=lambda at: len(tree.query(_mark_area(at), "intersects")),
                )
                yield (key, other), Mark(_letters(name), at, upright)


def _letters(number: int) -> str:
    """Letters a to z, then aa to az and on: not to be taken for a sheet's number."""
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def _along(start: Point, end: Point, share: float) -> Point:
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def _mark_area(at: Point) -> object:
    x, y = at
    return box(x - _MARK_MM, y - _MARK_MM, x + _MARK_MM, y + _MARK_MM)


def _cut_lines(
    windows: dict[_Key, Box], used: set[_Key], key: _Key
) -> Iterator[tuple[Point, Point]]:
    yield from (line for _, _, line in _seams(windows, used, key))


def draw_tile(tiling: Tiling, tile: Tile, sheet: Sheet, numbers: Mapping[Tile, int]) -> None:
    """One sheet of a tiled figure, and the map of them all in its foot."""
    window = tile.window
    view = View(sheet.room.x0 - window.x0, sheet.room.y0 + window.y1, window)
    corner = view.at((window.x1, window.y0))
    room = Box(sheet.room.x0, sheet.room.y0, *corner)
    draw.draw_lines(sheet, tiling.lines, view)
    _draw_cut_lines(sheet, tile, view)
    taken = list(_draw_marks(sheet, tile, view))
    lines = view.on_sheet(view.seen(tiling.lines))
    fixed, moved = [], []
    for label in tiling.figure.labels:
        where = label_box(label, view)
        if where.inside(room) and not any(where.overlaps(one) for one in taken):
            fixed.append(label)
        elif view.holds(label.at):
            moved.append(Word(label.text, view.at(label.at), 0.0, label.height_mm))
    sheet.group("labels")
    for label in fixed:
        draw.draw_label(sheet, label, view)
        taken.append(label_box(label, view))
    words = (*moved, *draw.words_of(tiling.figure, view))
    draw.draw_spots(sheet, find_spots(words, lines, taken, sheet.room))
    if len(tiling.tiles) > 1:
        draw_map(sheet, tiling, numbers, sheet.foot_map_box(), tile)


def _draw_cut_lines(sheet: Sheet, tile: Tile, view: View) -> None:
    sheet.group("cut-here")
    for start, end in tile.cuts:
        ends = (view.at(start), view.at(end))
        sheet.line(ends, stroke=GREY, width=0.18, stroke_dasharray="6 1.2 1 1.2")


def _draw_marks(sheet: Sheet, tile: Tile, view: View) -> Iterator[Box]:
    """The crosses with their names; yields the boxes that they take up."""
    for mark in tile.marks:
        x, y = view.at(mark.at)
        sheet.group("cross", number=mark.name)
        sheet.line(((x - _MARK_MM, y), (x + _MARK_MM, y)), width=0.18)
        sheet.line(((x, y - _MARK_MM), (x, y + _MARK_MM)), width=0.18)
        for start, end in ((-1.0, 1.0), (1.0, -1.0)):
            radius = number(_RING_MM)
            data = f"M{number(x + start * _RING_MM)} {number(y)} A{radius} {radius} 0 0 1 "
            sheet.path(data + f"{number(x + end * _RING_MM)} {number(y)}", width=0.18)
        yield Box(x - _MARK_MM, y - _MARK_MM, x + _MARK_MM, y + _MARK_MM)
        foot = (x + 1.2, y - 2.8) if mark.upright else (x + 2.8, y - 1.2)
        sheet.text(mark.name, *foot, size=SMALL_MM)
        yield text_box(mark.name, *foot, SMALL_MM)


def draw_map(
    canvas: Canvas,
    tiling: Tiling,
    numbers: Mapping[Tile, int],
    room: Box,
    here: Tile,
) -> None:
    """Which sheet goes where: a cell a sheet with its number, the one at hand filled."""
    wide = min((room.x1 - room.x0) / tiling.columns, 12.0)
    high = min((room.y1 - room.y0) / tiling.rows, 12.0)
    left, bottom = room.x1 - wide * tiling.columns, room.y1
    canvas.group("map", "Which sheet goes where")
    longest = max(text_width_mm(f"{one}", 1.0) for one in map(numbers.__getitem__, tiling.tiles))
    size = min(BODY_MM, 0.8 * high, 0.9 * wide / longest)
    for tile in tiling.tiles:
        x, y = left + wide * tile.column, bottom - high * (tile.row + 1)
        data = path_data([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], closed=True)
        canvas.path(data, width=0.18, fill=INK if tile == here else "none")
        canvas.text(
            f"{numbers[tile]}",
            x + wide / 2.0,
            y + high / 2.0 + 0.36 * size,
            size=size,
            anchor="middle",
            fill="#ffffff" if tile == here else INK,
        )


def joined_sheets(numbers: Sequence[int]) -> str:
    """Numbers in words: "5", "5 to 9", "5, 7 and 9"."""
    ordered = sorted(numbers)
    if len(ordered) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1:
        return f"{ordered[0]} to {ordered[-1]}"
    said = [f"{one}" for one in ordered]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
