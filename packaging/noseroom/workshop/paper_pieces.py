"""Small figures with their captions, several to a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.report.drawing_svg import INK
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.workshop.dxf_files import thickness_words
from noseroom.workshop.figures import Figure
from noseroom.workshop.paper_draw import (
    Line,
    View,
    draw_label,
    draw_lines,
    draw_spots,
    label_box,
    lines_of,
    words_of,
)
from noseroom.workshop.paper_sheet import Sheet
from noseroom.workshop.paper_words import Spot, find_spots

_TITLE_MM, _TITLE_PITCH_MM = 4.0, 5.4
_NARROWEST_MM = 76.0
"""Of a caption."""
_UNDER_MM = 3.0
_OVER_MM = 25.0
"""How far above and below a figure its words may stand."""
_APART_MM = 6.0
"""Between pieces on a sheet."""
_INK_MM = 0.5
"""Half a line's width, and a little."""


@dataclass(frozen=True)
class Piece:
    """A figure with its words and caption, ready to be put somewhere.

    Lengths in sheet mm, y down, from the figure's own (0, 0). box: round all of it. spots: the
    words about holes and bends. caption: lines under the figure, from foot and left at `under`; the
    first `bold` of them are its title.
    """

    figure: Figure
    lines: tuple[Line, ...]
    spots: tuple[Spot, ...]
    caption: tuple[str, ...]
    bold: int
    under: tuple[float, float]
    box: Box

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.box.x1 - self.box.x0, self.box.y1 - self.box.y0


@dataclass(frozen=True)
class Place:
    """Where a piece lies on a sheet: its upper left corner, mm in the sheet's room."""

    piece: Piece
    x: float
    y: float


def piece_of(figure: Figure, room: Box) -> Piece:
    """A figure with its words found a place and its caption broken into lines.

    room: of a sheet. It may turn out larger than that.
    """
    lines, view = lines_of(figure), View(0.0, 0.0)
    labels = [label_box(one, view) for one in figure.labels]
    reach = around([*(Box(*one.bounds) for one in view.on_sheet(lines)), *labels], _INK_MM)
    spots = _spots(figure, lines, labels, reach, room.x1 - room.x0)
    whole = around([reach, *(one.box for one in spots)], 0.0)
    across, half = room.x1 - room.x0, (room.x1 - room.x0 - _APART_MM) / 2.0
    # Beside what is wider than half a sheet there is seldom anything: its words may run on.
    wide = max(whole.x1 - whole.x0, _NARROWEST_MM)
    wide = min(wide, half) if wide <= half else across
    title = wrap(figure.title, wide, _TITLE_MM, bold=True)
    caption = (*title, *wrap(" ".join(about(figure)), wide))
    top = whole.y1 + _UNDER_MM
    high = len(title) * _TITLE_PITCH_MM + (len(caption) - len(title)) * LINE_PITCH_MM
    under = Box(whole.x0, top, whole.x0 + _widest(caption, len(title)), top + high)
    return Piece(
        figure, lines, spots, caption, len(title), (under.x0, under.y0), around([whole, under], 0.0)
    )


def _spots(
    figure: Figure, lines: Sequence[Line], labels: Sequence[Box], reach: Box, room_mm: float
) -> tuple[Spot, ...]:
    """Its words, so near that two pieces go side by side, or as near as can be."""
    view = View(0.0, 0.0)
    words = words_of(figure, view)
    for wide in ((room_mm - _APART_MM) / 2.0, room_mm, None):
        limit = None
        if wide is not None:
            beside = max(0.0, (wide - (reach.x1 - reach.x0)) / 2.0)
            limit = around([reach], 0.0)._replace(
                x0=reach.x0 - beside,
                x1=reach.x1 + beside,
                y0=reach.y0 - _OVER_MM,
                y1=reach.y1 + _OVER_MM,
            )
        spots = find_spots(words, view.on_sheet(lines), labels, limit, on_lines=limit is None)
        if len(spots) == len(words):
            return spots
    return spots


def about(figure: Figure) -> tuple[str, ...]:
    """What is said of a figure under its title: hand, side, sheet and notes."""
    said = []
    if figure.hand:
        said.append(f"{figure.hand.upper()} hand: goes on the car's {figure.hand}.")
    if figure.seen_from:
        said.append(f"Seen from {figure.seen_from}.")
    if sheet := thickness_words(figure):
        said.append(f"Cut from {sheet}.")
    return (*said, *figure.notes)


def packed(pieces: Sequence[Piece], room: Box) -> tuple[tuple[Place, ...], ...]:
    """Pieces on shelves, sheet by sheet: high ones first, each on the first shelf that has room.

    Every piece has to go into the room; the same pieces give the same sheets.
    """
    wide, high = room.x1 - room.x0, room.y1 - room.y0
    order = sorted(range(len(pieces)), key=lambda k: (-pieces[k].size[1], k))
    shelves: list[_Shelf] = []
    used: list[float] = []  # height taken on each sheet
    for piece in (pieces[k] for k in order):
        across, deep = piece.size
        shelf = next((one for one in shelves if one.holds(across, deep, wide)), None)
        if shelf is None:
            sheet = next((k for k, low in enumerate(used) if low + deep <= high), len(used))
            used += [0.0] if sheet == len(used) else []
            shelf = _Shelf(sheet, used[sheet], deep)
            used[sheet] += deep + _APART_MM
            shelves.append(shelf)
        shelf.places.append(Place(piece, shelf.used, shelf.y))
        shelf.used += across + _APART_MM
    return tuple(
        tuple(place for shelf in shelves if shelf.sheet == k for place in shelf.places)
        for k in range(len(used))
    )


@dataclass
class _Shelf:
    """A row of pieces on a sheet. used: width taken."""

    sheet: int
    y: float
    high: float
    used: float = 0.0

    def __post_init__(self) -> None:
        self.places: list[Place] = []

    def holds(self, wide: float, high: float, room: float) -> bool:
        """Whether a piece still goes onto it."""
        return high <= self.high + 1e-9 and self.used + wide <= room


def draw_piece(sheet: Sheet, place: Place) -> None:
    """A piece in its place, whole."""
    piece = place.piece
    dx = sheet.room.x0 + place.x - piece.box.x0
    dy = sheet.room.y0 + place.y - piece.box.y0
    view = View(dx, dy)
    draw_lines(sheet, piece.lines, view)
    sheet.group("labels")
    for label in piece.figure.labels:
        draw_label(sheet, label, view)
    draw_spots(sheet, [one.shifted(dx, dy) for one in piece.spots])
    sheet.group("caption", piece.figure.title)
    y = piece.under[1] + dy
    for row, line in enumerate(piece.caption):
        bold = row < piece.bold
        size = _TITLE_MM if bold else BODY_MM
        sheet.text(line, piece.under[0] + dx, y + size, size=size, bold=bold, fill=INK)
        y += _TITLE_PITCH_MM if bold else LINE_PITCH_MM


def around(boxes: Sequence[Box], more_mm: float) -> Box:
    """One box round several, and so much more on each side."""
    x0, y0 = min(one.x0 for one in boxes), min(one.y0 for one in boxes)
    x1, y1 = max(one.x1 for one in boxes), max(one.y1 for one in boxes)
    return Box(x0 - more_mm, y0 - more_mm, x1 + more_mm, y1 + more_mm)


def _widest(caption: Sequence[str], bold: int) -> float:
    return max(
        text_width_mm(line, _TITLE_MM if row < bold else BODY_MM, bold=row < bold)
        for row, line in enumerate(caption)
    )
