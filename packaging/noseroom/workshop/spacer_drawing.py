"""The spacer's turning drawing: every size with its tolerance, in mm and inches, on one sheet.

The sheet is 259 mm by 190 mm, which both A4 and US Letter hold at 100 % with a margin all round.
Limits of size and form that are not measured from the nose are common practice for such a part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from noseroom.parts.spacer import Spacer
from noseroom.report.drawing_dims import (
    FIRST_MM,
    PITCH_MM,
    DimensionLine,
    Placed,
)
from noseroom.report.drawing_model import Dimension, DrawingError
from noseroom.report.drawing_svg import GREY, Canvas
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.tables.fasteners import spacer_limits
from noseroom.units import MM_PER_INCH
from noseroom.workshop import title_block
from noseroom.workshop.spacer_views import Views, draw_views, holes_of
from noseroom.workshop.title_block import both, draw_dimensions, scale_words, start_sheet

NOTES_MM = 45.0
SCALES = (2.0, 1.0, 0.5, 0.4, 0.2)

FRAME, SHEET, TITLE_MM = title_block.FRAME, title_block.SHEET, title_block.TITLE_MM
FIT_MM = 0.05
"""Both pilots: the bore may be this much over its size, the spigot this much under."""
CIRCLE_TOL_MM = 0.1
GENERAL_TOL_MM = 0.2
FORM_MM = 0.05
"""Faces parallel, and spigot true to the bore, within this."""

_ABOVE_MM, _BELOW_MM = 18.0, 22.0
_BETWEEN_MM, _BESIDE_MM = 26.0, 24.0
_INSET_MM = 6.0
_TAIL_MM = 5.8
_USUAL_WIDTH = 0.88  # a text is rarely as wide as its bound
_UPRIGHT_MM = 64.0
_COLUMNS = 3
_NOISE = 1e-6  # of a step: what a figure that is on the step may be off


@dataclass(frozen=True)
class Sheet:
    """What is written round the views. notes: a sentence or two each, the weightiest first."""

    title: str
    subtitle: str
    notes: tuple[str, ...]


def thickness_tolerance_mm() -> float:
    """How far its thickness may be off, as the choice of it has it."""
    return spacer_limits()["thickness"].value


def within(low_mm: float, high_mm: float) -> str:
    """A range in both units, never wider than it is: "49.20 to 57.89 [1.938 to 2.279]"."""
    in_mm, inches = (
        f"{math.ceil(low_mm / unit * steps - _NOISE) / steps:.{digits}f} to "
        f"{math.floor(high_mm / unit * steps + _NOISE) / steps:.{digits}f}"
        for unit, steps, digits in ((1.0, 100, 2), (MM_PER_INCH, 1000, 3))
    )
    return f"{in_mm} [{inches}]"


def plus_minus(mm: float, tolerance_mm: float) -> str:
    """A size with the same tolerance both ways, in both units."""
    inches = f"{tolerance_mm / MM_PER_INCH:.3f}".removeprefix("0")
    return both(mm, f" ± {tolerance_mm:.2f}", f" ± {inches}")


def over(mm: float, tolerance_mm: float, sign: str) -> str:
    """A size that may only be larger ("+") or only smaller ("−"), in both units."""
    inches = f"{tolerance_mm / MM_PER_INCH:.3f}".removeprefix("0")
    return both(mm, f" {sign}{tolerance_mm:.2f}/0", f" {sign}{inches}/0")


def scale_of(spacer: Spacer) -> float:
    """The largest usual scale at which both views go onto the sheet."""
    long = spacer.thickness_mm + (spacer.spigot_length_mm if spacer.is_double else 0.0)
    room = _view_box()
    for scale in SCALES:
        wide = (spacer.diameter_mm + long) * scale + _BETWEEN_MM + _BESIDE_MM + 2 * _INSET_MM
        high = spacer.diameter_mm * scale + _ABOVE_MM + _BELOW_MM
        if wide <= room.x1 - room.x0 and high <= room.y1 - room.y0:
            return scale
    raise DrawingError("the spacer does not go onto one sheet at any usual scale")


def spacer_svg(spacer: Spacer, sheet: Sheet) -> str:
    """The drawing as SVG text; the same spacer and words give the same bytes.

    Raises DrawingError if the views do not go onto one sheet.
    """
    views = _views(spacer)
    dimensions = list(_dimensions(views))
    said = "; ".join([*(one.text for one in dimensions), *_hole_lines(spacer)])
    canvas = start_sheet(
        f"{sheet.title}: turning drawing",
        f"Turning drawing at {scale_words(views.scale)}. {sheet.subtitle}. Sizes in mm [inches]: "
        f"{said}. {' '.join(sheet.notes)}",
        views.scale,
    )
    draw_views(canvas, views)
    # Texts stand apart from the metal: what they cover is a bit of an extension line.
    draw_dimensions(canvas, [_line(views, one) for one in dimensions])
    _draw_hole_note(canvas, views)
    _draw_ends(canvas, views)
    _draw_notes(canvas, sheet.notes)
    _draw_title(canvas, sheet, views)
    return canvas.to_string()


def _view_box() -> Box:
    return FRAME._replace(y1=FRAME.y1 - TITLE_MM - NOTES_MM)


def _views(spacer: Spacer) -> Views:
    scale, room = scale_of(spacer), _view_box()
    long = spacer.thickness_mm + (spacer.spigot_length_mm if spacer.is_double else 0.0)
    spare = room.x1 - room.x0 - (spacer.diameter_mm + long) * scale - _BETWEEN_MM - _BESIDE_MM
    left = room.x0 + spare / 2
    across = spacer.diameter_mm * scale
    middle = (room.y0 + _ABOVE_MM + room.y1 - _BELOW_MM) / 2
    spigot = (long - spacer.thickness_mm) * scale
    return Views(spacer, scale, (left + across / 2, middle), left + across + _BETWEEN_MM + spigot)


@dataclass(frozen=True)
class _Size:
    """A size on the section. ends: along the line, sheet mm; foot: where both ends are touched.

    side, row: as `drawing_dims.Placed`. about: on which side of the ends a text goes that has no
    room between them: -1 left, 1 right.
    """

    text: str
    flat: bool
    ends: tuple[float, float]
    foot: tuple[float, float]
    side: int
    row: int
    about: int = 1


def _dimensions(views: Views) -> Iterator[_Size]:
    one = views.spacer
    front, rear, rim = views.front, views.rear, views.radius
    low, high = views.axis_y - rim, views.axis_y + rim

    def across(diameter_mm: float) -> tuple[float, float]:
        half = diameter_mm / 2 * views.scale
        return views.axis_y - half, views.axis_y + half

    thickness = plus_minus(one.thickness_mm, thickness_tolerance_mm())
    yield _Size(thickness, True, (front, rear), (high, high), 1, 0)
    yield _Size(f"Ø{both(one.diameter_mm)}", False, (low, high), (rear, rear), 1, 1)
    bore = f"Ø{over(one.bore_mm, FIT_MM, '+')}"
    yield _Size(bore, False, across(one.bore_mm), (rear, rear), 1, 0)
    if not one.is_double:
        return
    depth = views.x(one.thickness_mm - one.recess_mm)
    inner = across(one.bore_mm)[0]
    yield _Size(f"{both(one.recess_mm)} deep", True, (depth, rear), (inner, low), -1, 0)
    spigot = f"Ø{over(one.spigot_diameter_mm, FIT_MM, '−')}"
    yield _Size(spigot, False, across(one.spigot_diameter_mm), (views.tip, views.tip), -1, 0)
    yield _Size(
        both(one.spigot_length_mm), True, (views.tip, front), (views.axis_y, high), 1, 1, -1
    )


def _line(views: Views, size: _Size) -> DimensionLine:
    low, high = size.ends
    edges = {
        (True, -1): views.axis_y - views.radius,
        (True, 1): views.axis_y + views.radius,
        (False, -1): views.tip,
        (False, 1): views.rear,
    }
    line = edges[size.flat, size.side] + size.side * (FIRST_MM + PITCH_MM * size.row)
    if size.flat:
        # Texts that run down the sheet reach beyond a small rim.
        line += size.side * max(0.0, _UPRIGHT_MM / 2 - views.radius)
    if not size.flat and size.side > 0:
        line += 2.0
    wide = text_width_mm(size.text)
    start = (low + high - wide) / 2
    if size.flat and size.side > 0 and _USUAL_WIDTH * wide > high - low:
        # Beside its extension lines, which would strike through it.
        beside = low - _TAIL_MM - wide if size.about < 0 else high + _TAIL_MM
        start = beside if beside + wide < FRAME.x1 - _INSET_MM else start
    feet = tuple(zip(size.ends, size.foot, strict=True))
    points = tuple((a, b) if size.flat else (b, a) for a, b in feet)
    direction = "horizontal" if size.flat else "vertical"
    dimension = Dimension((low, 0.0), (high, 0.0), size.text, direction)  # type: ignore[arg-type]
    placed = Placed(dimension, size.side, size.row, low, high, start, start + wide)
    return DimensionLine(placed, line, low, high, start, start + wide, (points[0], points[1]))


def _hole_lines(spacer: Spacer) -> tuple[str, str]:
    inches = f"{spacer.hole_mm / MM_PER_INCH:.3f}".removeprefix("0")
    return (
        f"{spacer.bolt_count} × Ø{spacer.hole_mm:.1f} [{inches}] through, equally spaced",
        f"on Ø{plus_minus(spacer.bolt_circle_mm, CIRCLE_TOL_MM)}",
    )


def _draw_hole_note(canvas: Canvas, views: Views) -> None:
    """The bolt holes' sizes, with a leader to the hole at 12 o'clock."""
    x, y = holes_of(views)[0]
    reach = views.spacer.hole_mm / 2 * views.scale
    lines = _hole_lines(views.spacer)
    wide = max(text_width_mm(line) for line in lines)
    left = max(FRAME.x0 + 3.0, min(x - wide / 2, views.tip - 22.0 - wide))
    under = _view_box().y0 + 2.0 + len(lines) * LINE_PITCH_MM + 1.4
    canvas.group("holes", " ".join(lines))
    tip = (x + 0.707 * reach, y - 0.707 * reach)
    knee = (x + 0.707 * reach + 3.0, under)
    canvas.line(((left, under), (left + wide, under)), width=0.18)
    canvas.line((knee, tip), width=0.18)
    canvas.arrow_head(tip, (tip[0] - knee[0], tip[1] - knee[1]))
    for row, line in enumerate(lines):
        canvas.text(line, left, under - 1.4 - LINE_PITCH_MM * (len(lines) - 1 - row))


def _draw_ends(canvas: Canvas, views: Views) -> None:
    """What each face of the section lies on, and what the face is."""
    canvas.group("ends")
    y = _view_box().y1 - 2.2
    x, _ = views.face
    canvas.text("Fan side, seen from the front", x, y, anchor="middle", fill=GREY)
    middle = (views.tip + views.rear) / 2
    canvas.text("fan ←  half section  → hub", middle, y, anchor="middle", fill=GREY)


def _draw_notes(canvas: Canvas, notes: Sequence[str]) -> None:
    """The notes in columns; raises DrawingError where they are too many for the sheet."""
    top = FRAME.y1 - TITLE_MM - NOTES_MM
    canvas.group("notes-line")
    canvas.line(((FRAME.x0, top), (FRAME.x1, top)), width=0.25)
    pitch = (FRAME.x1 - FRAME.x0 - 4.0) / _COLUMNS
    column, row, most = 0, 0, int((NOTES_MM - 3.0) / LINE_PITCH_MM)
    for number, note in enumerate(notes, start=1):
        lines = wrap(f"{number}. {note}", pitch - 4.0)
        if row + len(lines) > most:
            column, row = column + 1, 0
        if column == _COLUMNS or len(lines) > most:
            raise DrawingError("the notes on the spacer's drawing are longer than its sheet")
        x = FRAME.x0 + 4.0 + column * pitch
        canvas.group("note", note)
        for line in lines:
            canvas.text(line, x, top + 1.5 + LINE_PITCH_MM * row + BODY_MM)
            row += 1


def _draw_title(canvas: Canvas, sheet: Sheet, views: Views) -> None:
    said = (
        "Sizes in mm [inches]",
        title_block.unless_stated(GENERAL_TOL_MM),
        f"Chamfers {views.spacer.chamfer_mm:.1f} × 45° on rims and bores",
        title_block.PRINTED,
    )
    title_block.draw_title(canvas, sheet.title, sheet.subtitle, views.scale, said)
