"""The sheet that drawings for the bench share: its size, its frame, and the title block below."""

from __future__ import annotations

from collections.abc import Sequence

from noseroom.report.drawing_dims import DimensionLine, draw_line, draw_text
from noseroom.report.drawing_svg import CAP_HALF, GREY, INK, Canvas
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, wrap
from noseroom.units import MM_PER_INCH
from noseroom.workshop.spacer_views import draw_third_angle

SHEET = Box(0.0, 0.0, 259.0, 190.0)
"""A4 and US Letter both hold it at 100 % with a margin all round."""
FRAME = Box(3.0, 3.0, 256.0, 187.0)
TITLE_MM = 22.0
_LARGE, _SMALL = (5.0, 7.0, 11.9, 3), (4.0, 5.6, 15.4, 2)
"""Of a title that goes onto one line, and of one that needs two: size, first foot, the subtitle's
first foot, and how many lines that has."""
_TITLE_PITCH_MM = 5.0
PRINTED = "Print at 100 % on A4 or US Letter"


def both(mm: float, more: str = "", inches: str = "") -> str:
    """A size in both units: "50.80 ± 0.10 [2.000 ± .004]". more, inches: what follows each."""
    return f"{mm:.2f}{more} [{mm / MM_PER_INCH:.3f}{inches}]"


def scale_words(scale: float) -> str:
    """A scale as it is written: "2:1", "1:2.5"."""
    return f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:g}"


def unless_stated(tolerance_mm: float) -> str:
    """What holds for sizes that have no tolerance of their own."""
    inches = f"{tolerance_mm / MM_PER_INCH:.3f}".removeprefix("0")
    return f"Unless stated ± {tolerance_mm:.1f} mm [± {inches} in]"


def start_sheet(title: str, description: str, scale: float) -> Canvas:
    """An empty sheet with its frame. title, description: what readers are told of it."""
    canvas = Canvas(SHEET.x1, SHEET.y1, title, description)
    canvas.root.set("data-scale", f"{scale:g}")
    canvas.group("frame")
    canvas.rectangle(FRAME, fill="none", width=0.5)
    return canvas


def draw_dimensions(canvas: Canvas, lines: Sequence[DimensionLine]) -> None:
    """Dimensions with their texts half-way; other dimensions' lines give way to a text."""
    canvas.group("dimension-lines")
    for line in lines:
        draw_line(canvas, line, line.middle())
    for line in lines:
        canvas.group("dimension", line.placed.dimension.text)
        canvas.rectangle(line.box(line.middle()), fill="#ffffff", stroke="none")
        draw_text(canvas, line, line.middle())


def draw_title(
    canvas: Canvas, title: str, subtitle: str, scale: float, said: Sequence[str]
) -> None:
    """The block along the frame's foot: names, projection and scale, and up to four lines."""
    canvas.group("title-block")
    box = FRAME._replace(y0=FRAME.y1 - TITLE_MM)
    first, second = box.x0 + 120.0, box.x0 + 172.0
    canvas.rectangle(box, fill="#ffffff", width=0.5)
    for x in (first, second):
        canvas.line(((x, box.y0), (x, box.y1)), width=0.25)
    room = first - box.x0 - 8.0
    size, top, under, rows = _LARGE if len(wrap(title, room, 5.0, bold=True)) == 1 else _SMALL
    for row, line in enumerate(wrap(title, room, size, max_lines=4 - rows, bold=True)):
        y = box.y0 + top + row * _TITLE_PITCH_MM
        canvas.text(line, box.x0 + 4.0, y, size=size, bold=True)
    for row, line in enumerate(wrap(subtitle, room, max_lines=rows)):
        canvas.text(line, box.x0 + 4.0, box.y0 + under + row * LINE_PITCH_MM, fill=GREY)
    draw_third_angle(canvas, first + 7.0, box.y0 + 7.6, 8.0)
    canvas.group("projection")
    canvas.text("Third angle", first + 30.0, box.y0 + 6.0)
    canvas.text(f"Scale {scale_words(scale)}", first + 30.0, box.y0 + 11.2, bold=True)
    _draw_bar(canvas, first + 5.0, box.y0 + 17.6)
    for row, line in enumerate(said):
        canvas.text(line, second + 4.0, box.y0 + 5.4 + row * LINE_PITCH_MM)


def _draw_bar(canvas: Canvas, x: float, y: float) -> None:
    """A bar of 20 mm of paper, to see whether the sheet was printed at 100 %."""
    canvas.group("bar", "20 mm on paper")
    for left in (x, x + 20.0):
        canvas.line(((left, y), (left, y + 2.6)), stroke=INK, width=0.25)
    canvas.line(((x, y + 1.3), (x + 20.0, y + 1.3)), width=0.25)
    canvas.text("20 mm", x + 25.0, y + 1.3 + CAP_HALF * BODY_MM)
