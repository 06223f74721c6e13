"""A designed bracket as paper: its flat at full size, its drawing's words, rows of the cut list."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noseroom.checks.bracket_job import HAT
from noseroom.checks.bracket_records import BracketDesign
from noseroom.checks.bracket_words import trade_thread
from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.geometry.sheet import Blank
from noseroom.geometry.sheet_flat import middle_of
from noseroom.units import MM_PER_INCH
from noseroom.workshop.arrows import with_up_arrow
from noseroom.workshop.bolt_words import (
    NUT,
    bolt_rows,
    grade_words,
    packing_row,
    size_of,
    torque_notes,
)
from noseroom.workshop.bracket_drawing import BracketSheet
from noseroom.workshop.bracket_flat import flat_of, hole_letters, sides_of
from noseroom.workshop.bracket_place import (
    Upright,
    car_sides,
    hand_letter,
    hand_words,
    host_noun,
    nut_words,
    rail_words,
    seen_from,
    tab_words,
    upright_of,
)
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.figures import CentreMark, Figure
from noseroom.workshop.nose_files import slug

_LEVEL = "This foot lies level in the car: the arrow points ahead, not up."


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
    """Each piece in the flat: for DXF and for the paper templates, as its drawing has it.

    Raises GeometryError where a flat cannot be drawn.
    """
    return tuple(
        _flat_figure(design, number, name, title)
        for number, (name, title) in enumerate(
            zip(piece_names(design), piece_titles(design), strict=True)
        )
    )


def _flat_figure(design: BracketDesign, number: int, name: str, title: str) -> Figure:
    blank, upright = design.blanks[number][0], upright_of(design, number)
    flat = flat_of(blank, upright.turn_rad)
    letters = hole_letters(len(flat.holes))
    wide, high = flat.size
    notes = [
        f"Blank {wide:.1f} × {high:.1f} mm "
        f"[{wide / MM_PER_INCH:.3f} × {high / MM_PER_INCH:.3f} in].",
        stamp_note(design, upright),
        "All else is on its drawing.",
    ]
    if upright.level:
        notes.insert(1, _LEVEL)
    figure = Figure(
        name,
        title,
        cuts=(*flat.holes, flat.outline),
        bends=flat.bends,
        centres=tuple(
            one
            for letter, hole in zip(letters, flat.holes, strict=True)
            for one in _centres(hole, letter)
        ),
        notes=tuple(notes),
        hand=design.hand,
        seen_from=seen_from(design, number),
        thickness_mm=blank.thickness_mm,
        material=_material(design),
    )
    return with_up_arrow(figure, upright.words, hand_letter(design.hand))


def drawing_sheets(
    design: BracketDesign, subject: str, warnings: tuple[str, ...] = ()
) -> tuple[tuple[Blank, BracketSheet], ...]:
    """What `bracket_drawing` needs for each piece. subject: the nose's title.

    warnings: what stands against cutting any metal for this nose.
    """
    return tuple(
        (blank, _drawing_sheet(design, number, title, subject, warnings))
        for number, (title, (blank, _)) in enumerate(
            zip(piece_titles(design), design.blanks, strict=True)
        )
    )


def _drawing_sheet(
    design: BracketDesign, number: int, title: str, subject: str, warnings: tuple[str, ...]
) -> BracketSheet:
    upright = upright_of(design, number)
    hand = f" {hand_words(design.hand)}." if design.hand else ""
    return BracketSheet(
        title,
        f"{subject}. {design.form.capitalize()}.{hand}",
        _material(design),
        tuple(_hole_names(design, number)),
        (
            *_joint_notes(design, number),
            *torque_notes(design.bolts),
            stamp_note(design, upright),
            *([_LEVEL] if upright.level else []),
            *(car_sides(one) for one in design.notes),
        ),
        design.cautions,
        upright.turn_rad,
        seen_from(design, number),
        upright.words,
        hand_letter(design.hand),
        (*warnings, *_not_bought(design)),
    )


def _not_bought(design: BracketDesign) -> Iterator[str]:
    host = design.site.host
    if not host.entry.bought:
        yield (
            f"The {host.name} is not bought yet: measure it once it is here, and print this anew, "
            "before metal is cut."
        )


def stamp_note(design: BracketDesign, upright: Upright) -> str:
    """What is stamped into the metal, so that nobody fits it the wrong way round."""
    letter = f"{hand_letter(design.hand)} and " if design.hand else ""
    word = upright.words.split(" (")[0]
    return f"Stamp {letter}{word} with its arrow into this side before it is bent."


def cut_rows(design: BracketDesign) -> tuple[CutRow, ...]:
    """Its blanks, then its bolts, nuts and washers."""
    return tuple(_rows(design))


def _joint_notes(design: BracketDesign, number: int) -> Iterator[str]:
    """Each joint of a piece: what it lies on, its bolt, and on which sides head and nut are."""
    last = number == len(design.blanks) - 1
    for one in design.bolts:
        thing = _where(design, one.where)
        if one.where == "rail" and number == 0:
            lies = f"lies {rail_words(design)}"
        elif one.where == "tab" and last:
            lies = f"lies {tab_words(design)}"
        elif one.where == "between":
            lies = "its two pieces are bolted to each other"
        else:
            continue
        ends = f"{one.into}, a washer under the head"
        if one.into == "nut":
            far = "" if one.where == "between" else f" {nut_words(design, one.where)} the {thing}"
            ends = f"{NUT}{far}, a washer under each"
        yield (
            f"{thing.capitalize()}: {lies}. {size_of(one)}, {grade_words(one.fastener.thread)}, "
            f"head on the bracket, {ends}."
        )


def _rows(design: BracketDesign) -> Iterator[CutRow]:
    for number, (title, (blank, _)) in enumerate(
        zip(piece_titles(design), design.blanks, strict=True)
    ):
        size = flat_of(blank, upright_of(design, number).turn_rad).size
        bends = f"{len(blank.bends)} bend{'s' if len(blank.bends) != 1 else ''}"
        yield CutRow(
            title,
            design.form,
            1,
            design.hand,
            material=_material(design),
            thickness_mm=blank.thickness_mm,
            blank_mm=(max(size), min(size)),
            note=f"{bends}; cut it from the template or the DXF file",
        )
    for one in design.bolts:
        where = f"at the {_where(design, one.where)}"
        yield from bolt_rows(one, design.title, design.hand, where)
    if design.packing_mm > 0.0:
        yield packing_row(design.bolts[0], design.packing_mm, design.title, design.hand)
    if design.rubber is not None:
        rubber = design.rubber
        across = f"hole {_both(rubber.hole_mm)}, flanges {_both(rubber.outside_mm)} across"
        note = "with a collar for the bolt, and washers as wide as its flanges"
        yield CutRow(design.title, "rubber grommet", 1, design.hand, across, note=note)


def _where(design: BracketDesign, where: str) -> str:
    return {"tab": host_noun(design), "rail": "core support", "between": "other piece"}[where]


def _material(design: BracketDesign) -> str:
    return f"{design.material.name}, {design.stock}"


def _hole_names(design: BracketDesign, number: int) -> Iterator[str]:
    """What each hole of a piece is for, with its bolt."""
    threads = {one.where: trade_thread(one.fastener.thread) for one in design.bolts}
    last = number == len(design.blanks) - 1
    blank = design.blanks[number][0]
    for k, flange in enumerate(blank.flanges):
        if last and k == design.tab_flat:
            where = "tab"
        elif number == 0 and (k == 0 or design.form == HAT):
            where = "rail"
        else:
            where = "between"
        bolt = [threads[where]] if where in threads else []
        name = ", ".join([_where(design, where), *bolt])
        yield from (name for _ in flange.holes)


def _centres(hole: Circle | Path, letter: str) -> Iterator[CentreMark]:
    """A round hole's middle, or the middles of a slot's ends."""
    if isinstance(hole, Circle):
        yield CentreMark(hole.centre, f"drill {_both(hole.diameter_mm)}", hole.diameter_mm, letter)
        return
    wide, long, turn = sides_of(hole)
    x, y = middle_of(hole)
    reach = (long - wide) / 2.0
    ends: tuple[Point, Point] = (
        (x - reach * math.cos(turn), y - reach * math.sin(turn)),
        (x + reach * math.cos(turn), y + reach * math.sin(turn)),
    )
    # The upper or right end first: words to the right of it are clear of the slot.
    top, other = sorted(ends, key=lambda one: (-round(one[1], 6), -one[0]))
    yield CentreMark(top, f"drill both ends {_both(wide)}", wide, letter)
    yield CentreMark(other, "", wide)


def _both(mm: float) -> str:
    return f"Ø {mm:.1f} [{mm / MM_PER_INCH:.3f} in]"
