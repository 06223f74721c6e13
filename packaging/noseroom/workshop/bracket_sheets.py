"""A designed bracket as paper: its flat at full size, its drawing's words, rows of the cut list."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noseroom.checks.bracket_bolts import Bolted
from noseroom.checks.bracket_job import HAT
from noseroom.checks.bracket_records import BracketDesign
from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.geometry.sheet import Blank
from noseroom.geometry.sheet_flat import bend_lines, flat_holes, flat_outline, middle_of
from noseroom.units import MM_PER_INCH
from noseroom.workshop.bracket_drawing import BracketSheet
from noseroom.workshop.bracket_views import sides_of
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.figures import CentreMark, Figure
from noseroom.workshop.nose_files import slug

_WHERE = {"tab": "tab", "rail": "core support", "between": "other piece"}


def piece_names(design: BracketDesign) -> tuple[str, ...]:
    """File names of its pieces, without an ending."""
    name = slug(design.name)
    if len(design.blanks) == 1:
        return (name,)
    return tuple(f"{name}-{k}" for k in range(1, len(design.blanks) + 1))


def piece_titles(design: BracketDesign) -> tuple[str, ...]:
    """What a person calls its pieces."""
    if len(design.blanks) == 1:
        return (design.title,)
    count = len(design.blanks)
    return tuple(f"{design.title}, piece {k} of {count}" for k in range(1, count + 1))


def flat_figures(design: BracketDesign) -> tuple[Figure, ...]:
    """Each piece in the flat: for DXF and for the paper templates.

    Raises GeometryError where a flat cannot be drawn.
    """
    return tuple(
        Figure(
            name,
            title,
            cuts=(*flat_holes(blank), flat_outline(blank)),
            bends=bend_lines(blank),
            centres=tuple(one for hole in flat_holes(blank) for one in _centres(hole)),
            notes=("Sizes, bends and all notes are on its drawing.",),
            hand=design.hand,
            seen_from=_seen_from(design, number),
            thickness_mm=blank.thickness_mm,
            material=_material(design),
        )
        for number, (name, title, (blank, _)) in enumerate(
            zip(piece_names(design), piece_titles(design), design.blanks, strict=True)
        )
    )


def drawing_sheets(design: BracketDesign, subject: str) -> tuple[tuple[Blank, BracketSheet], ...]:
    """What `bracket_drawing` needs for each piece. subject: the nose's title."""
    hand = f" {design.hand.capitalize()} hand." if design.hand else ""
    return tuple(
        (
            blank,
            BracketSheet(
                title,
                f"{subject}. {design.form.capitalize()}.{hand} Seen from "
                f"{_seen_from(design, number)}.",
                _material(design),
                tuple(_hole_names(design, number)),
                (*bolt_notes(design), *design.notes),
                design.cautions,
            ),
        )
        for number, (title, (blank, _)) in enumerate(
            zip(piece_titles(design), design.blanks, strict=True)
        )
    )


def cut_rows(design: BracketDesign) -> tuple[CutRow, ...]:
    """Its blanks, then its bolts, nuts and washers."""
    return tuple(_rows(design))


def bolt_notes(design: BracketDesign) -> Iterator[str]:
    """Which bolts go where."""
    said: dict[str, list[str]] = {}
    for one in design.bolts:
        washers = "head and nut" if one.into == "nut" else "the head"
        text = f"{_bolt_size(one)}, {one.into}, a washer under {washers}"
        said.setdefault(text, []).append(_WHERE.get(one.where, one.where))
    for text, where in said.items():
        yield f"Bolted at {' and '.join(where)}: {text}."


def _rows(design: BracketDesign) -> Iterator[CutRow]:
    for title, (blank, _) in zip(piece_titles(design), design.blanks, strict=True):
        wide, long, _ = sides_of(flat_outline(blank))
        bends = f"{len(blank.bends)} bend{'s' if len(blank.bends) != 1 else ''}"
        yield CutRow(
            title,
            design.form,
            1,
            design.hand,
            material=_material(design),
            thickness_mm=blank.thickness_mm,
            blank_mm=(long, wide),
            note=f"{bends}; cut it from the template or the DXF file",
        )
    for one in design.bolts:
        where = f"at the {_WHERE.get(one.where, one.where)}"
        yield CutRow(design.title, "bolt", 1, design.hand, _bolt_size(one), note=where)
        thread = one.fastener.thread.thread
        yield CutRow(design.title, one.into, 1, design.hand, thread, note=where)
        washers = 2 if one.into == "nut" else 1
        yield CutRow(
            design.title, "washer", washers, design.hand, one.fastener.washer.size, note=where
        )
    if design.packing_mm > 0.0:
        yield CutRow(
            design.title,
            "packing washers",
            1,
            design.hand,
            f"up to {design.packing_mm:.1f} mm [{design.packing_mm / MM_PER_INCH:.3f} in] in all",
            note="as needed under a foot",
        )


def _bolt_size(one: Bolted) -> str:
    thread = one.fastener.thread.thread
    if one.bolt is None:
        return f"{thread}, longer than {one.length_mm:.0f} mm: none is sold"
    return f"{thread} × {one.bolt.label}{' in' if one.bolt.unit == 'in' else ''}"


def _material(design: BracketDesign) -> str:
    return f"{design.material.name}, {design.stock}"


def _seen_from(design: BracketDesign, number: int) -> str:
    """The side of the first flat that is drawn: what its other side lies on is named."""
    if number:
        return "the side that is up in the flat"
    on = "tab" if design.form == HAT else "core support"
    return f"the side that faces away from the {on}"


def _hole_names(design: BracketDesign, number: int) -> Iterator[str]:
    """What each hole of a piece is for, with its bolt."""
    threads = {one.where: one.fastener.thread.thread for one in design.bolts}
    last = number == len(design.blanks) - 1
    blank = design.blanks[number][0]
    for k, flange in enumerate(blank.flanges):
        if last and k == design.tab_flat:
            where = "tab"
        elif number == 0 and (k == 0 or design.form == HAT):
            where = "rail"
        else:
            where = "between"
        name = ", ".join([_WHERE[where], *([threads[where]] if where in threads else [])])
        yield from (name for _ in flange.holes)


def _centres(hole: Circle | Path) -> Iterator[CentreMark]:
    """A round hole's middle, or the middles of a slot's ends."""
    if isinstance(hole, Circle):
        yield CentreMark(hole.centre, f"drill {_both(hole.diameter_mm)}", hole.diameter_mm)
        return
    wide, long, turn = sides_of(hole)
    x, y = middle_of(hole)
    reach = (long - wide) / 2.0
    ends: tuple[Point, Point] = (
        (x - reach * math.cos(turn), y - reach * math.sin(turn)),
        (x + reach * math.cos(turn), y + reach * math.sin(turn)),
    )
    # One after the other from above, so that the words are at the same end each time.
    top, other = sorted(ends, key=lambda one: (-round(one[1], 6), one[0]))
    yield CentreMark(top, f"slot: drill both ends {_both(wide)}", wide)
    yield CentreMark(other, "", wide)


def _both(mm: float) -> str:
    return f"Ø {mm:.1f} [{mm / MM_PER_INCH:.3f} in]"
