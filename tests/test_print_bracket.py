"""Printed brackets: bolted where the sheet is, thicker, closed, on their side, with warnings."""

from __future__ import annotations

import math
from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from noseroom.geometry.outlines import Circle, rectangle, slot
from noseroom.geometry.sheet import Bend, Blank, Flange, folded_places
from noseroom.report.drawing_svg import text_boxes_of
from noseroom.tables.printing import figure, print_materials
from noseroom.workshop.mock_up_outline import MockUpError
from noseroom.workshop.print_bracket import printed_bracket
from noseroom.workshop.print_files import much_plastic, write_printed
from noseroom.workshop.print_picture import assembly_svg
from noseroom.workshop.print_pieces import PrintedPart
from print_makers import assert_nothing_to_mend, assert_slices, in_place, manifold_of

THICK, INSIDE, K, WIDE, HOLE = 2.0, 3.0, 0.42, 40.0, 9.0


def bracket(angles: tuple[float, ...], legs: tuple[float, ...], wide: float = WIDE) -> Blank:
    """Flats one after another along y, a hole in the first, a slot in the last."""
    flanges = [Flange(rectangle((0, 0), (wide, legs[0])), (Circle((wide / 2, 12.0), HOLE),))]
    bends, y = [], legs[0]
    for k, (angle, leg) in enumerate(zip(angles, legs[1:], strict=True)):
        bends.append(Bend(k, k + 1, (wide, y), (0.0, y), angle, INSIDE, K))
        y += math.radians(abs(angle)) * (INSIDE + K * THICK)
        last = k == len(angles) - 1
        holes = (slot((wide / 2, y + leg - 14.0), 8.0, HOLE),) if last else ()
        flanges.append(Flange(rectangle((0, y), (wide, y + leg)), holes))
        y += leg
    return Blank(THICK, tuple(flanges), tuple(bends))


CASES = {
    "strap": (bracket((), (60.0,)), (-1,)),
    "L, holes outside": (bracket((90.0,), (30.0, 40.0)), (-1, -1)),
    "L, holes inside": (bracket((90.0,), (30.0, 40.0)), (1, 1)),
    "Z": (bracket((90.0, -90.0), (30.0, 35.0, 30.0)), (-1, 0, 1)),
    "joggle": (bracket((30.0, -30.0), (30.0, 20.0, 30.0)), (-1, 0, 1)),
    "hat": (bracket((60.0, -60.0, -60.0, 60.0), (30.0, 25.0, 30.0, 25.0, 30.0)), (-1, 0, 1, 0, -1)),
}


WALL = max(figure("bracket wall") * THICK, figure("least bracket wall"))


def made(name: str) -> PrintedPart:
    """One case as it is printed."""
    return printed_bracket(name, *CASES[name])


def flats(name: str) -> list[tuple[Flange, np.ndarray, int]]:
    """Each flat of a case, where it stands, and which of its sides bears."""
    blank, bearing = CASES[name]
    return list(zip(blank.flanges, folded_places(blank), bearing, strict=True))


@pytest.mark.parametrize("name", CASES)
def test_a_reader_of_stl_mends_nothing_and_a_slicer_makes_g_code(name, tmp_path) -> None:
    piece = made(name).pieces[0]
    assert_nothing_to_mend(piece.mesh, tmp_path / "bracket.stl")
    assert_slices(piece.mesh, tmp_path / "bracket.stl")


@pytest.mark.parametrize("name", CASES)
def test_it_bears_where_the_sheet_bears_and_has_all_of_its_wall_there(name) -> None:
    """A plate as thick as the wall, just under each bearing face, is full; just outside, empty."""
    solid = in_place(made(name).pieces[0])
    for flange, place, side in flats(name):
        if not side:
            continue
        x, y = np.mean(flange.outline.points, axis=0)
        face = 0.0 if side < 0 else THICK
        inward = -side
        # Beside the hole, where neither gusset nor bend is.
        spot = np.array([x + 9.0, y, 0.0])
        for low, high, full in ((0.01, WALL - 0.01, True), (-3.0, -0.01, False)):
            ends = sorted(face + inward * one for one in (low, high))
            plate = manifold3d.Manifold.cube((1.0, 1.0, ends[1] - ends[0])).translate(
                (spot[0], spot[1], ends[0])
            )
            part = (plate.transform(place[:3]) ^ solid).volume() / plate.volume()
            assert part == pytest.approx(1.0 if full else 0.0, abs=1e-3)


@pytest.mark.parametrize("name", CASES)
def test_bolts_washers_and_sockets_go_in(name) -> None:
    """Holes are as wide as the sheet's; a socket 2.5 times as wide finds room above the wall."""
    solid = in_place(made(name).pieces[0])
    for flange, place, side in flats(name):
        for hole in flange.holes:
            round_one = isinstance(hole, Circle)
            x, y = hole.centre if round_one else np.mean(hole.points, axis=0)
            bolt = manifold3d.Manifold.cylinder(40.0, HOLE / 2 - 0.03, HOLE / 2 - 0.03, 48)
            bolt = bolt.translate((x, y, -20.0)).transform(place[:3])
            assert (bolt ^ solid).volume() < 1e-6
            if side:
                top = WALL + 0.01 if side < 0 else THICK - WALL - 25.01
                socket = manifold3d.Manifold.cylinder(25.0, 1.25 * HOLE, 1.25 * HOLE, 48)
                socket = socket.translate((x, y, top)).transform(place[:3])
                assert (socket ^ solid).volume() < 1e-6


@pytest.mark.parametrize("name", [one for one in CASES if one != "strap"])
def test_no_layer_lies_across_a_bend(name) -> None:
    """On the bed the bends stand upright: each layer runs through all flats."""
    blank, _ = CASES[name]
    piece = made(name).pieces[0]
    up = piece.place[:3, 2]
    for bend, place in zip(blank.bends, folded_places(blank), strict=False):
        along = place[:3, :3] @ np.array([*np.subtract(bend.end, bend.start), 0.0])
        assert abs(abs(along @ up) / np.linalg.norm(along) - 1.0) < 1e-9
    cut = manifold_of(piece.mesh).slice(piece.size_mm[2] * 0.2)
    assert len(cut.decompose()) == 1
    assert not piece.needs_support


@pytest.mark.parametrize("name", ["L, holes outside", "Z"])
def test_gussets_stiffen_the_bend(name) -> None:
    """More plastic than walls alone, and said."""
    part = made(name)
    blank, _ = CASES[name]
    assert any("Gussets" in one for one in part.notes)
    corner = part.pieces[0].volume_mm3
    flat = sum(one.outline.area_mm2 for one in blank.flanges)
    assert corner > flat * figure("bracket wall") * THICK * 0.8


def test_bends_that_are_askew_are_said() -> None:
    first = Flange(rectangle((0, 0), (60.0, 60.0)), (Circle((30.0, 30.0), HOLE),))
    wide = math.radians(90.0) * (INSIDE + K * THICK)
    up = Flange(rectangle((0, 60.0 + wide), (60.0, 95.0)))
    aside = Flange(rectangle((60.0 + wide, 0), (95.0, 60.0)))
    bends = (
        Bend(0, 1, (60.0, 60.0), (0.0, 60.0), 90.0, INSIDE, K),
        Bend(0, 2, (60.0, 0.0), (60.0, 60.0), 90.0, INSIDE, K),
    )
    part = printed_bracket("corner", Blank(THICK, (first, up, aside), bends), (-1, 0, 0))
    assert any("not parallel" in one for one in part.notes)


def test_the_warning_stands_beside_it(tmp_path) -> None:
    part = made("Z")
    names = write_printed([part], tmp_path)
    notes = (tmp_path / "z/notes.txt").read_text("utf-8")
    assert "z/z.stl" in names
    for words in (
        "trial fit piece, not a part to drive with",
        "creeps",
        "may not be of PLA (softens near 59 °C) and PETG (softens near 77 °C)",
        "None of them for good",
        "Battery off",
        "is not checked",
    ):
        assert words in notes
    assert all(one.softens_c is None or one.softens_c > 0 for one in print_materials().values())


def test_its_picture_says_what_is_up_whose_side_it_is_and_which_hole_is_which() -> None:
    """By hand: seen from ahead, the car's left and above, ahead is to the left, up is up."""
    part = made("L, holes outside")
    ends = [np.array([[x, y, z] for z in (0.0, 6.0)]) for x, y in ((10.0, 12.0), (30.0, 12.0))]
    # The blank's x runs ahead, its z up in the car.
    turn = np.array([[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
    shown = replace(part, turn=turn, letter="L", marks=(("A", ends[0]), ("B", ends[1])))
    sheet = assembly_svg(shown)
    spots = {text: ((x0 + x1) / 2, (y0 + y1) / 2) for text, x0, y0, x1, y1 in text_boxes_of(sheet)}
    assert {"A", "B", "L", "UP (in the car)"} <= set(spots)
    assert spots["B"][0] < spots["A"][0]
    assert "L: the car's left" in sheet
    assert "UP (in the car)" not in assembly_svg(part)


def test_a_lot_of_plastic_is_said_and_card_named_as_saner() -> None:
    """A spool holds 1 kg; PLA is 1.24 g/cm³ (data sheet): 806 cm³ of it."""
    part = made("strap")
    assert list(much_plastic(part)) == []
    piece = replace(part.pieces[0], volume_mm3=820e3)
    (said,) = much_plastic(replace(part, pieces=(piece,)))
    assert "1.0 kg" in said
    assert "card is saner" in said


def test_what_is_too_long_for_the_bed_says_by_how_much() -> None:
    long = bracket((90.0,), (30.0, 260.0))
    with pytest.raises(MockUpError, match=r"its longer side by \d+ mm; .* would do"):
        printed_bracket("long", long, (-1, -1))
    tall = bracket((90.0,), (30.0, 40.0), wide=270.0)
    with pytest.raises(MockUpError, match=r"its height by 20 mm; .* would do"):
        printed_bracket("tall", tall, (-1, -1))
