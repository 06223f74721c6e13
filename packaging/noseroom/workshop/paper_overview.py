"""The sheet before a tiled figure's: which sheet goes where, how they are joined, what is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from noseroom.geometry.outlines import Point
from noseroom.report.drawing_svg import GREY, INK, path_data
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap
from noseroom.units import MM_PER_INCH
from noseroom.workshop.paper_pieces import about
from noseroom.workshop.paper_sheet import Sheet
from noseroom.workshop.paper_tiles import OVERLAP_MM, Tile, Tiling

_LARGEST_MM, _SMALLEST_MM = 150.0, 90.0
"""Height of the picture."""
_PITCH_MM, _UNDER_MM = LINE_PITCH_MM + 0.4, 5.0
_NUMBER_MM = 5.0
SMALL = "This picture is small; the sheets are at full size."
JOINING = (
    "Cut each sheet along the chain lines at its left and lower side.",
    "Lay it over its neighbours so that the halves of each cross meet; the crosses have letters, "
    "and both sheets have the same. Against a window uncut sheets can be laid cross on cross.",
    "Tape the sheets flat, and measure the whole against the sizes here before you cut.",
)


def overview_pages(tiling: Tiling, room: Box) -> list[tuple[tuple[str, ...], bool]]:
    """Lines of text a page, and whether the picture is on it: on the first one only."""
    x0, y0, x1, y1 = tiling.figure.box()
    alone = len(tiling.tiles) == 1
    said = (
        *(() if alone else (SMALL,)),
        f"Size: {_both(x1 - x0)} × {_both(y1 - y0)}.",
        *(() if alone else JOINING),
        *about(tiling.figure),
    )
    lines = [line for text in said for line in wrap(text, room.x1 - room.x0)]
    high = room.y1 - room.y0
    first = int((high - (0.0 if alone else _SMALLEST_MM + _UNDER_MM)) / _PITCH_MM)
    each = int(high / _PITCH_MM)
    rest = range(first, len(lines), each)
    return [(tuple(lines[:first]), not alone), *((tuple(lines[k : k + each]), False) for k in rest)]


def draw_overview(
    tiling: Tiling,
    said: Sequence[str],
    with_picture: bool,
    sheet: Sheet,
    numbers: Mapping[Tile, int],
) -> None:
    """One of those pages. numbers: of the sheets that the tiles are on."""
    y = sheet.room.y0
    if with_picture:
        text_mm = len(said) * _PITCH_MM + _UNDER_MM
        high = min(_LARGEST_MM, sheet.room.y1 - sheet.room.y0 - text_mm)
        y = _draw_picture(sheet, tiling, numbers, high) + _UNDER_MM - _PITCH_MM
    sheet.group("text")
    for line in said:
        y += _PITCH_MM
        sheet.text(line, sheet.room.x0, y, fill=INK)


def _draw_picture(
    sheet: Sheet, tiling: Tiling, numbers: Mapping[Tile, int], high_mm: float
) -> float:
    """The figure made small with the sheets over it; returns where it ends."""
    windows = [one.window for one in tiling.tiles]
    x0, y0 = min(one.x0 for one in windows), min(one.y0 for one in windows)
    x1, y1 = max(one.x1 for one in windows), max(one.y1 for one in windows)
    room = sheet.room
    scale = min((room.x1 - room.x0) / (x1 - x0), high_mm / (y1 - y0))

    def at(x: float, y: float) -> Point:
        return room.x0 + (x - x0) * scale, room.y0 + (y1 - y) * scale

    sheet.group("overview", "Not at full size")
    for line in tiling.lines:
        if line.kind == "cut":
            sheet.line([at(x, y) for x, y in line.path.coords], stroke=GREY, width=0.18)
    sheet.group("overview-sheets")
    half = OVERLAP_MM / 2.0
    for tile in tiling.tiles:
        one = tile.window
        low = at(one.x0 + half * (tile.column > 0), one.y0 + half * (tile.row > 0))
        right, top = tile.column < tiling.columns - 1, tile.row < tiling.rows - 1
        far = at(one.x1 - half * right, one.y1 - half * top)
        corners = [low, (far[0], low[1]), far, (low[0], far[1])]
        sheet.path(path_data(corners, closed=True), width=0.25)
        x, y = (low[0] + far[0]) / 2.0, (low[1] + far[1]) / 2.0
        sheet.text(f"{numbers[tile]}", x, y, size=_NUMBER_MM, anchor="middle", halo=True)
    return at(x0, y0)[1]


def _both(mm: float) -> str:
    return f"{mm:.1f} mm [{mm / MM_PER_INCH:.3f} in]"
