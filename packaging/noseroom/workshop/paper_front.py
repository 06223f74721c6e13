"""The first sheets of the paper templates: how to print and use them, cautions, what is in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from noseroom.report.drawing_svg import INK
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.workshop.figures import Figure
from noseroom.workshop.paper_sheet import Sheet

_HEADLINE_MM = 4.4
_PITCH = LINE_PITCH_MM / BODY_MM + 0.12
_AFTER_MM = 1.0
_INDENT_MM = 6.0

_COUNT = (
    "{count} sheets of paper in all. Print only those that you want: the list below has their "
    "numbers."
)
PRINTING = (
    "Print at 100 %, also called actual size. Switch off what fits or shrinks to the page.",
    "Measure both bars at the foot of every sheet with a steel rule, edge to edge: 100 mm and "
    "4 in. If one is off by more than half a millimetre, print again; do not use the sheet.",
    "Use dry paper and keep it flat: paper grows when it is damp.",
)
USING = (
    "Thick lines are cut. Dashed lines are bent: they lie in the middle of the bend, the short "
    "marks outside line it up. Crosses are middles of holes. Chain lines on a figure are edges to "
    "lay it by.",
    "Bends up come towards you as you look at the paper, bends down go away from you.",
    "L and R, left and right are the car's, as seen from the driver's seat, whatever side the nose "
    "was described from. The arrow beside a figure says what is up in the car: stamp it and the "
    "letter into the metal.",
    "Tape or glue the paper to the metal, punch the middles of the holes through it, drill a small "
    "hole first, about 3 mm (1/8 in), then the size that is written.",
    "Hold the paper up in the car before you cut or drill: it stands for the model as measured.",
)
CAUTIONS = (
    "Sheet edges and chips are sharp: gloves while cutting and filing, but no gloves at a drill "
    "press or lathe. Eye protection always. Clamp the piece.",
    "Before drilling into the car, look behind the panel: hoses, wiring, brake and fuel lines.",
    "Battery off where wiring is near.",
    "Never drill or weld a tank, a header or a core. Never open a charged refrigerant circuit: "
    "that is work for a licensed shop.",
    "Engine cold and switched off, key out, before hands go near fan and belts.",
)


@dataclass(frozen=True)
class Row:
    """A line on the first sheets. y: of its foot, mm below the room's top; x: from its left."""

    text: str
    x: float
    y: float
    bold: bool = False
    size: float = BODY_MM
    right: str = ""


def front_pages(
    contents: Sequence[tuple[Figure, str]], room: Box, count: int
) -> tuple[tuple[Row, ...], ...]:
    """Rows of each of the first sheets.

    contents: figures with the numbers of their sheets. count: of all sheets.
    """
    wide, high = room.x1 - room.x0, room.y1 - room.y0
    pages: list[list[Row]] = [[]]
    y = 0.0
    for block in _blocks(contents, wide, count):
        deep = sum(_pitch(one) for one in block) + _AFTER_MM
        if y + deep > high:
            pages.append([])
            y = 0.0
        for row in block:
            y += _pitch(row)
            pages[-1].append(Row(row.text, row.x, y, row.bold, row.size, row.right))
        y += _AFTER_MM
    return tuple(tuple(one) for one in pages)


def draw_front(sheet: Sheet, rows: Sequence[Row]) -> None:
    """One of the first sheets."""
    sheet.group("text")
    x, y = sheet.room.x0, sheet.room.y0
    for row in rows:
        sheet.text(row.text, x + row.x, y + row.y, size=row.size, bold=row.bold, fill=INK)
        sheet.text(row.right, sheet.room.x1, y + row.y, size=row.size, anchor="end", fill=INK)


def _pitch(row: Row) -> float:
    return row.size * _PITCH + (2.0 if row.size > BODY_MM else 0.0)


def _blocks(contents: Sequence[tuple[Figure, str]], wide: float, count: int) -> Iterator[list[Row]]:
    """What stays together on a sheet."""
    for headline, texts in (
        ("How to print", (_COUNT.format(count=count), *PRINTING)),
        ("How to use them", USING),
        ("Take care", CAUTIONS),
    ):
        for number, text in enumerate(texts, start=1):
            lines = wrap(text, wide - _INDENT_MM)
            block = [Row(headline, 0.0, 0.0, True, _HEADLINE_MM)] if number == 1 else []
            block += [Row(line, _INDENT_MM, 0.0) for line in lines]
            yield block
    head: list[Row] = [Row("What is in here", 0.0, 0.0, True, _HEADLINE_MM)]
    for figure, sheets in contents:
        said = f"sheet {sheets}" if sheets.isdigit() else f"sheets {sheets}"
        room = wide - _INDENT_MM - text_width_mm(said) - 6.0
        lines = wrap(_entry(figure), room)
        block = [
            Row(line, _INDENT_MM, 0.0, right=said if k == 0 else "") for k, line in enumerate(lines)
        ]
        yield [*head, *block]
        head = []


def _entry(figure: Figure) -> str:
    return f"{figure.title} ({figure.hand} hand)" if figure.hand else figure.title
