"""The tables and notes on a bracket's drawing: holes, bends, and how far apart once folded."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path
from noseroom.geometry.sheet import Blank
from noseroom.report.drawing_model import DrawingError
from noseroom.report.drawing_svg import Canvas
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_width_mm, wrap
from noseroom.units import MM_PER_INCH
from noseroom.workshop.bracket_flat import Flat, is_level, is_upright, sides_of, slot_way
from noseroom.workshop.bracket_views import Axes, folded_middles
from noseroom.workshop.title_block import both

CELL_MM, _CELL_PITCH_MM = 3.0, 3.7
_USE_MM = 27.0
_BESIDE_MM, _OVER_MM = 0.8, 1.4
Floats = NDArray[np.float64]
Cell = tuple[str, ...]
"""Lines of a cell, one under the other."""


def hole_rows(flat: Flat, letters: Sequence[str], names: Sequence[str]) -> list[list[Cell]]:
    """Each hole's letter and use, size and way, and its middle from the blank's sides."""
    rows: list[list[Cell]] = [[("Hole",), ("Size",), ("Middle", "X"), ("Middle", "Y")]]
    for letter, name, hole, (x, y) in zip(letters, names, flat.holes, flat.middles(), strict=True):
        use = wrap(f"{letter}: {name}", _USE_MM, CELL_MM) if name else (letter,)
        rows.append([use, hole_size(hole), _two(x), _two(y)])
    return rows


def hole_size(hole: Circle | Path) -> Cell:
    """Its size, such as "Ø9.00" or "9.00 × 17.00 slot", in inches too, and which way it runs."""
    if isinstance(hole, Circle):
        return f"Ø{hole.diameter_mm:.2f}", f"[{hole.diameter_mm / MM_PER_INCH:.3f}]"
    wide, long, _ = sides_of(hole)
    inches = f"[{wide / MM_PER_INCH:.3f} × {long / MM_PER_INCH:.3f}]"
    return f"{wide:.2f} × {long:.2f} slot", f"{inches} {slot_way(hole)}"


def bend_rows(blank: Blank, flat: Flat) -> list[list[Cell]]:
    """Each bend's angle and way, radius, K, allowance, length, and where its middle line is."""
    rows: list[list[Cell]] = [
        [
            ("Bend",),
            ("Angle", "and K"),
            ("Inside", "R"),
            ("Allow-", "ance"),
            ("Length",),
            ("Line at", "X, or X, Y"),
        ]
    ]
    for k, (bend, line) in enumerate(zip(blank.bends, flat.bends, strict=True), start=1):
        way = "up" if bend.angle_deg > 0 else "down"
        if is_upright(line):
            where = _two((line.start[0] + line.end[0]) / 2.0)
        elif is_level(line):
            y, inches = _two((line.start[1] + line.end[1]) / 2.0)
            where = f"Y {y}", inches
        else:
            where = tuple(f"{x:.1f}, {y:.1f}" for x, y in (line.start, line.end))
        rows.append(
            [
                (f"{k}",),
                (f"{abs(bend.angle_deg):.1f}° {way}", f"K {bend.k:.3f}"),
                _two(bend.inside_mm),
                _two(bend.allowance_mm(blank.thickness_mm)),
                _two(bend.length_mm),
                where,
            ]
        )
    return rows


def folded_words(blank: Blank, flat: Flat, letters: Sequence[str]) -> tuple[str, ...]:
    """How far holes of different flanges are apart once folded: what a caliper finds."""
    middles, axes = folded_middles(blank), Axes.of(flat)
    owners = [k for k, flange in enumerate(blank.flanges) for _ in flange.holes]
    firsts = [owners.index(k) for k in sorted(set(owners))]
    return tuple(
        f"Folded, {letters[a]} to {letters[b]} on the drawn side: "
        f"{_apart(middles[b] - middles[a], axes)}."
        for a, b in pairwise(firsts)
    )


def _apart(off: Floats, axes: Axes) -> str:
    """A way straight, and along the paper and off it."""
    along = ((axes.right, "right", "left"), (axes.up, "up", "down"), (axes.out, "towards", "away"))
    parts = [
        f"{abs(float(off @ way)):.1f} {words[int(float(off @ way) < 0)]}" for way, *words in along
    ]
    return f"{both(float(np.linalg.norm(off)))} straight ({', '.join(parts)})"


def _two(mm: float) -> Cell:
    return f"{mm:.2f}", f"[{mm / MM_PER_INCH:.3f}]"


def draw_table(canvas: Canvas, name: str, rows: Sequence[Sequence[Cell]], room: Box) -> float:
    """A table from the room's top, as wide as the room; returns where it ends.

    Raises DrawingError where it is larger than the room.
    """
    widths = [
        max(
            text_width_mm(line, CELL_MM, bold=k == 0)
            for k, row in enumerate(rows)
            for line in row[n]
        )
        for n in range(len(rows[0]))
    ]
    spare = (room.x1 - room.x0 - sum(widths)) / len(widths)
    if spare < _BESIDE_MM:
        raise DrawingError(f"the table of {name} is wider than its sheet")
    canvas.group(f"table-{name}")
    y = room.y0
    canvas.line(((room.x0, y), (room.x1, y)), width=0.25)
    for k, row in enumerate(rows):
        high = _CELL_PITCH_MM * max(len(cell) for cell in row) + _OVER_MM
        x = room.x0 + spare / 2.0
        for width, cell in zip(widths, row, strict=True):
            for n, line in enumerate(cell):
                foot = y + _OVER_MM / 2.0 + _CELL_PITCH_MM * n + 0.86 * CELL_MM
                canvas.text(line, x, foot, size=CELL_MM)
            x += width + spare
        y += high
        canvas.line(((room.x0, y), (room.x1, y)), width=0.25 if k == 0 else 0.13)
    if y > room.y1:
        raise DrawingError(f"the table of {name} is longer than its sheet")
    return y


def draw_notes(
    canvas: Canvas,
    notes: Sequence[str],
    first: int,
    columns: Sequence[Box],
    size: float = BODY_MM,
    bold: int = 0,
) -> int:
    """Numbered notes down the columns; returns how many had room. bold: so many of them all are."""
    pitch = size * LINE_PITCH_MM / BODY_MM
    column, y = 0, columns[0].y0
    for count, note in enumerate(notes):
        room, heavy = columns[column], first + count <= bold
        lines = wrap(f"{first + count}. {note}", room.x1 - room.x0, size, bold=heavy)
        if y + len(lines) * pitch > room.y1:
            column += 1
            if column == len(columns):
                return count
            room = columns[column]
            y = room.y0
            lines = wrap(f"{first + count}. {note}", room.x1 - room.x0, size, bold=heavy)
            if y + len(lines) * pitch > room.y1:
                return count
        canvas.group("note", note)
        for line in lines:
            canvas.text(line, room.x0, y + size, size=size, bold=heavy)
            y += pitch
    return len(notes)


def demand_names(blank: Blank, names: Sequence[str]) -> None:
    """Raises GeometryError where there is not one name a hole."""
    holes = sum(len(one.holes) for one in blank.flanges)
    if len(names) != holes:
        raise GeometryError(f"found {len(names)} names for {holes} holes")
