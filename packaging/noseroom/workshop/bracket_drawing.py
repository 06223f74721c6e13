"""A folded bracket's drawing: flat pattern, two folded views, holes, bends and notes on one sheet.

Limits of size are common practice for a part that is cut and bent by hand or on a shop's brake.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from noseroom.geometry.sheet import Blank
from noseroom.report.drawing_model import DrawingError
from noseroom.report.drawing_svg import Canvas
from noseroom.report.drawing_text import Box
from noseroom.workshop import title_block
from noseroom.workshop.bracket_layout import draw_blocks, fitting
from noseroom.workshop.bracket_tables import (
    bend_rows,
    demand_names,
    draw_notes,
    draw_table,
    folded_words,
    hole_rows,
)
from noseroom.workshop.bracket_views import flat_of, flat_view, folded_views, hole_letters
from noseroom.workshop.title_block import FRAME, TITLE_MM, both, scale_words

NOTES_MM = (3.4, 3.2, 3.0)
"""Sizes of the notes' letters, the usual one first."""
CUT_TOL_MM, ANGLE_TOL_DEG = 0.5, 1.0
_COLUMN_MM, _INSET_MM = 92.0, 3.0


@dataclass(frozen=True)
class BracketSheet:
    """What is written on the drawing.

    material: as a shop knows it. hole_names: what each hole is for, in the flat's order, "" for
    nothing. notes: a sentence or two each, the weightiest first. cautions: stand before them.
    """

    title: str
    subtitle: str
    material: str
    hole_names: tuple[str, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def bracket_drawing(blank: Blank, sheet: BracketSheet) -> tuple[str, ...]:
    """The drawing as SVG text: one sheet, and more only where the notes need them.

    Raises DrawingError where the bracket does not go onto a sheet at any usual scale; GeometryError
    where it cannot be folded or a hole has no name.
    """
    demand_names(blank, sheet.hole_names)
    flat = flat_of(blank)
    letters = hole_letters(len(flat.holes))
    views = [flat_view(flat, letters)]
    if blank.bends:
        views += folded_views(blank, flat, letters)
    whole = Box(FRAME.x0, FRAME.y0 + 2.0, FRAME.x1 - _INSET_MM, FRAME.y1 - TITLE_MM - 2.0)
    column = whole._replace(x0=FRAME.x1 - _COLUMN_MM)
    left = column.x0 - _INSET_MM
    area = whole._replace(x1=left, y1=FRAME.y1 - TITLE_MM - 0.5)
    blocks = fitting(views, area)
    scale = blocks[0].scale
    canvas = _empty(sheet, scale)
    draw_blocks(canvas, blocks, area)
    canvas.group("column-line")
    canvas.line(((left, FRAME.y0), (left, FRAME.y1 - TITLE_MM)), width=0.25)
    tables = {"holes": hole_rows(flat, letters, sheet.hole_names)} if flat.holes else {}
    tables |= {"bends": bend_rows(blank, flat)} if blank.bends else {}
    y = column.y0 + 1.0
    for name, rows in tables.items():
        y = draw_table(canvas, name, rows, column._replace(y0=y)) + _INSET_MM
    notes = _notes(blank, sheet, letters)
    room = column._replace(y0=y)
    used = draw_notes(canvas, notes, 1, [room], _notes_mm(notes, room))
    done = [canvas.to_string()]
    while used < len(notes):
        canvas = _empty(sheet, scale)
        middle = (whole.x0 + whole.x1) / 2.0
        columns = [
            whole._replace(x0=whole.x0 + _INSET_MM, x1=middle - _INSET_MM),
            whole._replace(x0=middle + _INSET_MM),
        ]
        more = draw_notes(canvas, notes[used:], used + 1, columns)
        if not more:
            raise DrawingError("a note on the bracket's drawing is longer than a sheet")
        used += more
        done.append(canvas.to_string())
    return tuple(done)


def _empty(sheet: BracketSheet, scale: float) -> Canvas:
    canvas = title_block.start_sheet(
        f"{sheet.title}: drawing",
        f"Drawing at {scale_words(scale)}. {sheet.subtitle}. Sizes in mm [inches]. "
        f"{' '.join((*sheet.notes, *sheet.cautions))}",
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


def _notes(blank: Blank, sheet: BracketSheet, letters: Sequence[str]) -> tuple[str, ...]:
    """What is known from the bracket itself, then what the caller says."""
    found = [f"Material: {sheet.material}, thickness {both(blank.thickness_mm)}."]
    if blank.bends:
        found.append(
            "Bends up come towards you as the flat is drawn. Dashed lines are the middles of the "
            "bends. Bend a strip of the same sheet first: the flat is right for its K alone. No "
            "scratch across the outside of a bend."
        )
    found.append("X is from the flat's left end, Y from its lower side.")
    return (*found, *folded_words(blank, letters), *sheet.cautions, *sheet.notes)


def _notes_mm(notes: Sequence[str], room: Box) -> float:
    """The size at which the notes go onto the sheet, the smallest if they do at none."""
    nowhere = Canvas(FRAME.x1, FRAME.y1, "", "")
    fit = (one for one in NOTES_MM if draw_notes(nowhere, notes, 1, [room], one) == len(notes))
    return next(fit, NOTES_MM[-1])
