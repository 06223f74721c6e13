"""Drawings as PDF, and the drawing of a folded bracket: its sizes by hand, its words, its look."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage
from shapely import LineString, box, union_all

from figure_samples import angle_blank, step_blank
from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, rectangle
from noseroom.geometry.sheet import Blank, Flange
from noseroom.report.drawing_model import DrawingError
from noseroom.report.drawing_svg import SVG_NAMESPACE, Canvas, text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.workshop.bracket_drawing import BracketSheet, bracket_drawing
from noseroom.workshop.bracket_flat import flat_of, hole_letters
from noseroom.workshop.bracket_views import folded_views
from noseroom.workshop.drawing_pdf import svg_to_pdf
from noseroom.workshop.title_block import FRAME
from programs import MM_PX, page_count, pixels, told

SVG = f"{{{SVG_NAMESPACE}}}"
NOTES = ("Bolts M8 × 25, property class 8.8.", "Goes in before the radiator.")
CAUTIONS = ("Sheet edges are sharp: gloves and eye protection.", "Battery off near wiring.")


def page(draw: str, **more: str) -> Canvas:
    canvas = Canvas(150.0, 120.0, "A page", "Of shapes")
    canvas.path(draw, width=0.3, **more)
    return canvas


def raster(canvas: Canvas, folder: Path) -> np.ndarray:
    path = folder / "page.pdf"
    path.write_bytes(svg_to_pdf([canvas.to_string()]))
    return (pixels(path, 1) < 128).all(axis=2)


def sheet_of(blank: Blank, notes: tuple[str, ...] = NOTES) -> BracketSheet:
    holes = sum(len(one.holes) for one in blank.flanges)
    names = tuple(f"hole for M{6 + 2 * (k % 2)}" for k in range(holes))
    return BracketSheet(
        "Condenser bracket, upper left",
        "Half-ton farm pickup. Left hand.",
        "mild steel, cold rolled",
        names,
        notes,
        CAUTIONS,
    )


BLANKS = {
    "an angle": angle_blank(),
    "a step": step_blank(),
    "a shallow step": step_blank(35.0, 4.0),
    "a steep step, turned in the flat": step_blank(120.0, 2.0, 123.0),
    "a strap": Blank(3.0, (Flange(rectangle((0, 0), (90, 25)), (Circle((12, 12.5), 9.0),)),)),
    "a bare strap": Blank(3.0, (Flange(rectangle((0, 0), (90, 25))),)),
}


# -- sheets to PDF -------------------------------------------------------------------------------


@pytest.mark.parametrize(("large", "sweep"), [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_arcs_bend_the_way_that_svg_says(large: int, sweep: int, tmp_path: Path) -> None:
    """SVG 1.1, 8.3.8: of four arcs between two points, the flags choose; areas by hand.

    Radius 30, ends 40 apart: the half angle is asin(2/3), the small segment r²(θ - sin θ)/2.
    """
    dark = raster(page(f"M40 60 A30 30 0 {large} {sweep} 80 60 Z"), tmp_path)
    angle = 2 * math.asin(20 / 30)
    small = 30**2 * (angle - math.sin(angle)) / 2
    wanted = math.pi * 30**2 - small if large else small
    filled = ndimage.binary_fill_holes(dark)
    around = 40 + 30 * (math.tau - angle if large else angle)
    assert filled.sum() * MM_PX**2 == pytest.approx(wanted + around * 0.3 / 2, rel=0.01)
    rows = np.flatnonzero(filled.any(axis=1)) * MM_PX
    # A positive sweep runs clockwise on a page whose y is down: from left to right over the top.
    above, below = 60 - rows.min(), rows.max() - 60
    assert (above > below) == bool(sweep)


def test_whole_circles_and_dots_have_their_size(tmp_path: Path) -> None:
    canvas = page("M20 60 A30 30 0 1 1 80 60 A30 30 0 1 1 20 60 Z", fill="#000000")
    canvas.dot(120.0, 40.0, 10.0, fill="#000000")
    dark = raster(canvas, tmp_path)
    spots, count = ndimage.label(dark)
    areas = sorted(ndimage.sum_labels(dark, spots, range(1, count + 1)) * MM_PX**2)
    assert areas == pytest.approx([math.pi * 10**2, math.pi * 30.15**2], rel=0.004)


def test_words_lie_where_the_sheet_reckons_with_them(tmp_path: Path) -> None:
    """Ink of each text is inside its box, plain, bold, upright, anchored left, middle and right."""
    for look in (
        {},
        {"bold": True},
        {"italic": True},
        {"anchor": "middle"},
        {"anchor": "end"},
        {"upright": True},
        {"upright": True, "anchor": "middle"},
    ):
        canvas = Canvas(150.0, 120.0, "Words", "")
        canvas.text("Ø9.00 ± 0.1 → gÅ½", 70.0, 70.0, size=5.0, **look)  # type: ignore[arg-type]
        dark = raster(canvas, tmp_path)
        (_, *where) = text_boxes_of(canvas.to_string())[0]
        rows, columns = np.nonzero(dark)
        assert len(rows) > 200
        ink = Box(
            *(float(one) * MM_PX for one in (columns.min(), rows.min(), columns.max(), rows.max()))
        )
        assert ink.inside(Box(where[0] - 0.3, where[1] - 0.3, where[2] + 0.3, where[3] + 0.3)), look
        long, room = (
            max(ink.x1 - ink.x0, ink.y1 - ink.y0),
            max(where[2] - where[0], where[3] - where[1]),
        )
        assert long > 0.6 * room


def test_signs_that_the_font_lacks_are_spelt_and_arrows_are_drawn(tmp_path: Path) -> None:
    canvas = Canvas(150.0, 120.0, "Words", "")
    canvas.text("5⅛″ and Ł and ő", 20.0, 40.0)
    path = tmp_path / "page.pdf"
    path.write_bytes(svg_to_pdf([canvas.to_string()]))
    assert told("pdftotext", path, "-").split() == ["5", '1/8"', "and", "Ł", "and", "o"]
    canvas = Canvas(150.0, 120.0, "Words", "")
    canvas.text("→", 20.0, 40.0, size=20.0)
    rows, columns = np.nonzero(raster(canvas, tmp_path))
    assert np.ptp(columns) > 3 * np.ptp(rows) / 2 > 0
    tip = columns.max()
    assert np.ptp(rows[columns > tip - 3]) < np.ptp(rows)


def test_a_page_has_its_sheets_size_and_order(tmp_path: Path) -> None:
    small = Canvas(100.0, 50.0, "Small", "")
    path = tmp_path / "two.pdf"
    path.write_bytes(svg_to_pdf([page("M1 1 L2 2").to_string(), small.to_string()], "Two"))
    assert page_count(path) == 2
    said = told("pdfinfo", "-f", "1", "-l", "2", path)
    sizes = [tuple(map(float, one)) for one in re.findall(r"size:\s+([\d.]+) x ([\d.]+) pts", said)]
    points = 72 / 25.4
    assert sizes == [
        pytest.approx((150 * points, 120 * points), abs=0.01),
        pytest.approx((100 * points, 50 * points), abs=0.01),
    ]


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("<svg", "not a drawing"),
        ('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>', "size is in mm"),
        (page("M1 1 Q2 2 3 3").to_string(), "cannot be read"),
        (page("M1 1 A3 4 0 0 1 5 5").to_string(), "part of a circle"),
        (page("M1 1 L5 5", transform="scale(2)").to_string(), "has no transform"),
        (page("M1 1 L5 5").to_string().replace("</svg>", "<rect/></svg>"), "holds no 'rect'"),
        (page("M1 1").to_string().replace('viewBox="0 0 150', 'viewBox="0 0 75'), "not the milli"),
    ],
    ids=["no XML", "pixels", "a curve", "an ellipse", "a scale", "another element", "a view box"],
)
def test_what_a_canvas_does_not_draw_is_refused_and_not_passed_over(sheet: str, words: str) -> None:
    with pytest.raises(DrawingError, match=words):
        svg_to_pdf([sheet])


# -- the bracket's drawing -----------------------------------------------------------------------


@pytest.mark.parametrize("name", BLANKS)
def test_no_words_meet_or_lie_on_the_metals_edges(name: str) -> None:
    (sheet,) = bracket_drawing(BLANKS[name], sheet_of(BLANKS[name]))
    boxes = [(text, Box(*where)) for text, *where in text_boxes_of(sheet)]
    for text, where in boxes:
        assert where.inside(FRAME), text
    slim = [(text, Box(a.x0, a.y0 + 0.6, a.x1, a.y1 - 0.3)) for text, a in boxes]
    for (one, a), (other, b) in combinations(slim, 2):
        assert not a.overlaps(b), f"{one!r} meets {other!r}"
    edges = union_all([line for kind in ("edge", "thin", "bend") for line in lines(sheet, kind)])
    for text, where in slim:
        assert not box(*where).intersects(edges), text


def lines(sheet: str, kind: str, view: str = "") -> list[LineString]:
    root = ET.fromstring(sheet)
    return [
        LineString([tuple(map(float, p)) for p in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", d)])
        for group in root.iter(f"{SVG}g")
        if group.get("class") == f"view-{kind}"
        and (group.findtext(f"{SVG}title") or "").startswith(view)
        for path in group.iter(f"{SVG}path")
        if (d := path.get("d", ""))
    ]


def test_an_angles_sizes_by_hand_are_on_its_drawing() -> None:
    """Legs outside: 60 + R + t = 67, 35 + 7 = 42 mm. Allowance π/2 (4 + 0.4 × 3) = 8.17.

    Flat 60 + 8.17 + 35 = 103.17; bend's middle at 64.08; the slot is 9 wide and 19 long. Folded,
    hole A is at (18, 12, 3), the slot's middle at (64, 20, 27): 52.50 apart.
    """
    said = text_of(bracket_drawing(angle_blank(), sheet_of(angle_blank()))[0])
    for words in (
        "103.17 [4.062]",
        "40.00 [1.575]",
        "64.08 [2.523]",
        "67.00 [2.638]",
        "42.00 [1.654]",
        "90.0° up",
        "8.17",
        "0.400",
        "4.00",
        "9.00 × 19.00 slot",
        "Ø6.60",
        "Ø11.00",
        "A to D on the drawn side: 52.50 [2.067] straight (46.0 right, 8.0 up, 24.0 towards)",
        "mild steel, cold rolled, thickness 3.00 [0.118]",
        "Unless stated ± 0.5 mm [± .020 in]",
        "Angles ± 1°",
        "Third angle",
        "hole for M6",
        *NOTES,
        *CAUTIONS,
    ):
        assert words in said, words


def text_of(sheet: str) -> str:
    """All that is written, broken lines joined."""
    root = ET.fromstring(sheet)
    return " ".join(" ".join((one.text or "") for one in root.iter(f"{SVG}text")).split())


def test_the_views_are_the_part_at_the_sheets_scale() -> None:
    """The flat's outline is drawn 103.17 by 40 mm times the scale, the edge 67 by 42.

    Isometric, by hand: right on paper is (x + y)/√2. Furthest right is the leg's outside, 67 and
    40 mm; furthest left the foot's corner, rounded by 8: 8 - 8/√2 in along both.
    """
    (sheet,) = bracket_drawing(angle_blank(), sheet_of(angle_blank()))
    scale = float(ET.fromstring(sheet).get("data-scale", "0"))
    clusters = union_all([one.buffer(0.3) for one in lines(sheet, "edge")])
    found = [
        ((x1 - x0 - 0.6) / scale, (y1 - y0 - 0.6) / scale)
        for x0, y0, x1, y1 in (one.bounds for one in clusters.geoms)
    ]
    for wanted in ((103.168, 40.0), (67.0, 42.0)):
        near = [one for one in found if one == pytest.approx(wanted, abs=0.05)]
        assert len(near) == 1, (wanted, found)
    iso = (67.0 + 40.0 - 2 * (8.0 - 8.0 / math.sqrt(2.0))) / math.sqrt(2.0)
    flat = flat_of(angle_blank())
    view = folded_views(angle_blank(), flat, hole_letters(4))[1]
    assert view.size[0] == pytest.approx(iso, abs=0.01)
    assert not any(one.kind == "hidden" for one in view.lines)


@pytest.mark.parametrize("turn", [0.0, 0.6, math.pi / 2, 2.5, math.pi, -1.9])
@pytest.mark.parametrize("angle", [90.0, -90.0, 25.0, -25.0])
def test_a_bend_up_is_drawn_going_up(angle: float, turn: float) -> None:
    """However the flat lies: the end beyond the bend is higher on paper than the foot, or lower.

    By hand: a leg of 35 mm beyond a bend of angle a ends 35 sin a and what the bend's own arc
    rises by above the foot's plane.
    """
    blank = angle_blank(angle)
    (sheet,) = bracket_drawing(blank, replace(sheet_of(blank), turn_rad=turn))
    scale = float(ET.fromstring(sheet).get("data-scale", "0"))
    seen = union_all([one for kind in ("edge", "thin") for one in lines(sheet, kind, "Edge")])
    _, y0, _, y1 = seen.bounds
    rad, r, t = math.radians(abs(angle)), 4.0, 3.0
    wanted = (1 - math.cos(rad)) * (r + t) + 35.0 * math.sin(rad) + t * math.cos(rad)
    assert (y1 - y0) / scale == pytest.approx(wanted, abs=0.05)
    # The foot's faces are the longest lines that run level: at the bottom for a bend up.
    level = [one for one in lines(sheet, "edge", "Edge") if one.bounds[3] - one.bounds[1] < 0.01]
    foot = max(level, key=lambda one: one.length).bounds[1]
    assert foot == pytest.approx(y1 if angle > 0 else y0, abs=t * scale + 0.02)


def test_a_turned_flat_gives_the_same_drawing_but_for_rounding() -> None:
    plain, turned = (
        bracket_drawing(one, sheet_of(one))[0] for one in (step_blank(), step_blank(turn_deg=57.0))
    )
    assert text_of(plain) == text_of(turned)


def test_the_same_bracket_gives_the_same_bytes() -> None:
    made = [bracket_drawing(step_blank(), sheet_of(step_blank())) for _ in range(2)]
    assert made[0] == made[1]
    assert svg_to_pdf(made[0]) == svg_to_pdf(made[1])


def test_many_notes_go_on_on_another_sheet_and_none_is_lost() -> None:
    many = tuple(
        f"Note of the shop, the {k}th, with words enough to fill a line." for k in range(60)
    )
    made = bracket_drawing(step_blank(), sheet_of(step_blank(), many))
    assert len(made) > 1
    said = " ".join(text_of(one) for one in made)
    for note in (*many, *CAUTIONS):
        assert said.count(note) == 1, note


def test_holes_without_a_name_and_brackets_without_a_sheet_are_refused() -> None:
    with pytest.raises(GeometryError, match="names for 4 holes"):
        bracket_drawing(angle_blank(), sheet_of(step_blank()))
    long = Blank(3.0, (Flange(rectangle((0, 0), (4000, 25))),))
    with pytest.raises(DrawingError, match="does not go onto one sheet"):
        bracket_drawing(long, sheet_of(long))
