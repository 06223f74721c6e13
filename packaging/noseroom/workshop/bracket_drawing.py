"""A folded bracket's drawing: flat, edge view, isometric, holes, bends and notes on one sheet.

Limits of size are common practice for a part that is cut and bent by hand or on a shop's brake.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from noseroom.geometry.sheet import Blank
from noseroom.report.drawing_model import DrawingError
from noseroom.report.drawing_svg import INK, Canvas
from noseroom.report.drawing_text import Box, text_width_mm
from noseroom.workshop import title_block
from noseroom.workshop.bracket_flat import Flat, flat_of, hole_letters, radii_of
from noseroom.workshop.bracket_layout import Setting, draw_setting, setting
from noseroom.workshop.bracket_tables import (
    Cell,
    bend_rows,
    demand_names,
    draw_notes,
    draw_table,
    folded_words,
    hole_rows,
)
from noseroom.workshop.bracket_views import View, flat_view, folded_views
from noseroom.workshop.title_block import FRAME, TITLE_MM, both, scale_words

NOTES_MM = (3.4, 3.2, 3.0, 2.8)
"""Sizes of the notes' letters, the usual one first."""
CUT_TOL_MM, ANGLE_TOL_DEG = 0.5, 1.0
_COLUMNS_MM, _INSET_MM = (92.0, 104.0, 112.0, 120.0), 3.0
_STRIPS_MM = (0.0, 10.0, 18.0, 26.0)
"""What the views may leave along the frame's foot for the notes that the column cannot hold."""
_COMPASS_MM, _ARROW_MM, _LETTER_MM = 13.0, 30.0, 9.0


@dataclass(frozen=True)
class BracketSheet:
    """What is written on the drawing.

    material: as a shop knows it. hole_names: what each hole is for, in the flat's order, "" for
    nothing. notes: a sentence or two each, the weightiest first. cautions: stand before them.
    turn_rad: by how much the flat is turned; None sets its first bend upright. seen_from: the side
    that is drawn, of which the words before a comma are under the flat. arrow: what up the paper is
    in the car, such as "UP (in the car)", "" where that is not known. letter: what is stamped, "L",
    "R" or "". warnings: stand first, and bold.
    """

    title: str
    subtitle: str
    material: str
    hole_names: tuple[str, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    turn_rad: float | None = None
    seen_from: str = ""
    arrow: str = ""
    letter: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Plan:
    """A first sheet as it may be. lost: how many notes it has no room for."""

    setting: Setting
    column: Box
    rooms: tuple[Box, ...]
    notes_mm: float
    lost: int

    @property
    def rank(self) -> tuple[float, ...]:
        """The best has all notes, then the largest scale, isometric and letters."""
        sizes = [one.scale for one in self.setting.blocks]
        return self.lost, -sizes[0], len(self.rooms), -self.notes_mm, -sizes[-1]


def bracket_drawing(blank: Blank, sheet: BracketSheet) -> tuple[str, ...]:
    """The drawing as SVG text: one sheet, and more only where the notes need them.

    Raises DrawingError where the bracket does not go onto a sheet at any usual scale; GeometryError
    where it cannot be folded or a hole has no name.
    """
    demand_names(blank, sheet.hole_names)
    flat = flat_of(blank, sheet.turn_rad)
    letters = hole_letters(len(flat.holes))
    seen = f", seen from {sheet.seen_from.split(',')[0]}" if sheet.seen_from else ""
    main = flat_view(blank, flat, letters, f"Flat pattern{seen}")
    folded: tuple[View, ...] = ()
    if blank.bends:
        folded = folded_views(blank, flat, letters, sheet.arrow.split(" (")[0])
    tables = {"holes": hole_rows(flat, letters, sheet.hole_names)} if flat.holes else {}
    tables |= {"bends": bend_rows(blank, flat)} if blank.bends else {}
    notes = tuple(_notes(blank, flat, sheet, letters))
    bold = len(sheet.warnings)
    plan = min(_plans(main, folded, tables, notes, bold, sheet), key=lambda one: one.rank)
    canvas = _empty(sheet, plan.setting.scale)
    draw_setting(canvas, plan.setting)
    _draw_compass(canvas, sheet, plan.setting.cores[0])
    canvas.group("column-line")
    left = plan.column.x0 - _INSET_MM
    canvas.line(((left, FRAME.y0), (left, FRAME.y1 - TITLE_MM)), width=0.25)
    _draw_tables(canvas, tables, plan.column)
    used = draw_notes(canvas, notes, 1, plan.rooms, plan.notes_mm, bold)
    done = [canvas.to_string()]
    while used < len(notes):
        canvas = _empty(sheet, plan.setting.scale)
        more = draw_notes(canvas, notes[used:], used + 1, _two_columns())
        if not more:
            raise DrawingError("a note on the bracket's drawing is longer than a sheet")
        used += more
        done.append(canvas.to_string())
    return tuple(done)


def _plans(
    main: View,
    folded: Sequence[View],
    tables: dict[str, list[list[Cell]]],
    notes: Sequence[str],
    bold: int,
    sheet: BracketSheet,
) -> Iterator[_Plan]:
    """Ways to part the sheet between views and words. Raises DrawingError where there is none."""
    found, failed = False, DrawingError("no sheet")
    nowhere = Canvas(FRAME.x1, FRAME.y1, "", "")
    foot = FRAME.y1 - TITLE_MM - 0.5
    compass = _COMPASS_MM if sheet.arrow else 0.0
    for wide, strip in product(_COLUMNS_MM, _STRIPS_MM):
        column = _whole()._replace(x0=FRAME.x1 - wide)
        right = column.x0 - _INSET_MM
        try:
            y = _draw_tables(nowhere, tables, column)
            area = Box(FRAME.x0 + compass, FRAME.y0 + 2.0, right, foot - strip)
            made = setting(main, folded, area)
        except DrawingError as error:
            failed = error
            continue
        found = True
        rooms = [column._replace(y0=y)]
        if strip:
            rooms.append(Box(FRAME.x0 + _INSET_MM, area.y1 + 1.0, right - _INSET_MM, column.y1))
        for size in NOTES_MM:
            lost = len(notes) - draw_notes(nowhere, notes, 1, rooms, size, bold)
            yield _Plan(made, column, tuple(rooms), size, lost)
    if not found:
        raise failed


def _whole() -> Box:
    return Box(FRAME.x0, FRAME.y0 + 2.0, FRAME.x1 - _INSET_MM, FRAME.y1 - TITLE_MM - 1.0)


def _two_columns() -> list[Box]:
    """Where notes go on a further sheet."""
    whole = _whole()
    middle = (whole.x0 + whole.x1) / 2.0
    return [
        whole._replace(x0=whole.x0 + _INSET_MM, x1=middle - _INSET_MM),
        whole._replace(x0=middle + _INSET_MM),
    ]


def _draw_tables(canvas: Canvas, tables: dict[str, list[list[Cell]]], column: Box) -> float:
    """The tables from the column's top; returns where the notes begin."""
    y = column.y0 + 1.0
    for name, rows in tables.items():
        y = draw_table(canvas, name, rows, column._replace(y0=y)) + _INSET_MM
    return y


def _draw_compass(canvas: Canvas, sheet: BracketSheet, flat: Box) -> None:
    """What is up in the car, and the hand's letter, at the left of the flat."""
    if not sheet.arrow:
        return
    long = max(_ARROW_MM, text_width_mm(sheet.arrow) + 2.0)
    middle = max((flat.y0 + flat.y1) / 2.0, FRAME.y0 + long / 2.0 + _LETTER_MM + 5.0)
    x, top = FRAME.x0 + 6.0, middle - long / 2.0
    canvas.group("compass", sheet.arrow)
    canvas.line(((x, top + long), (x, top)), width=0.5)
    canvas.arrow_head((x, top), (0.0, -1.0), 4.0)
    canvas.text(sheet.arrow, x + 4.6, middle, anchor="middle", upright=True)
    if sheet.letter:
        foot = top - 3.0
        canvas.text(sheet.letter, x, foot, size=_LETTER_MM, bold=True, anchor="middle", fill=INK)


def _empty(sheet: BracketSheet, scale: float) -> Canvas:
    canvas = title_block.start_sheet(
        f"{sheet.title}: drawing",
        f"Drawing at {scale_words(scale)}. {sheet.subtitle}. Sizes in mm [inches]. "
        f"{' '.join((*sheet.warnings, *sheet.notes, *sheet.cautions))}",
        scale,
    )
    said = (
        "Sizes in mm [inches]",
        title_block.unless_stated(CUT_TOL_MM),
        f"Angles ± {ANGLE_TOL_DEG:.0f}°",
        title_block.PRINTED,
    )
    title_block.draw_title(canvas, sheet.title, sheet.subtitle, scale, said)
    return canvas


def _radii(flat: Flat) -> str:
    """The outline's radii in both units; on the flat they are in mm alone."""
    found = [both(radius) for radius, _, _ in radii_of(flat.outline)]
    return f" Radii: {', '.join(found)}." if found else ""


def _notes(blank: Blank, flat: Flat, sheet: BracketSheet, letters: Sequence[str]) -> Iterator[str]:
    """What the caller warns of, what is known from the bracket itself, what the caller says."""
    yield from sheet.warnings
    wide, high = flat.size
    yield (
        f"Material: {sheet.material}, thickness {both(blank.thickness_mm)}. Cut the blank first, "
        f"{both(wide)} wide, {both(high)} high (grey chain line): X is from its left side, Y from "
        f"its lower one, a slot's to its middle.{_radii(flat)}"
    )
    if blank.bends:
        yield (
            "Bends up come towards you; dashed lines are their middles; no scratch across their "
            "outside. Bend a strip of this sheet first: if its K is another, write it into the "
            "file (bend k) and print anew."
        )
    yield from (*folded_words(blank, flat, letters), *sheet.cautions, *sheet.notes)
