"""The drawing toolkit: true to scale, legible, complete, and the same bytes every time."""

from __future__ import annotations

import itertools
import math
import random
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from noseroom.errors import NoseroomError
from noseroom.report.drawing import (
    PALETTE,
    Centreline,
    Dimension,
    Drawing,
    DrawingError,
    Outline,
    Spot,
    svg,
    text_boxes,
)
from noseroom.report.drawing_labels import _heights
from noseroom.report.drawing_panel import bar_lengths, worst_first
from noseroom.report.drawing_text import BODY_MM, Box, clean, text_width_mm, wrap

NS = "{http://www.w3.org/2000/svg}"
SCALES = {1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0}
WORDS = [
    *("fan", "condenser", "radiator", "upper", "hose", "core", "compressor", "pulley", "½", "in"),
    *("hood-latch", "Kühler", "Öldruck", "≥3⁄8", "&", "<hot>", "x", "空調"),
    "Wärmetauscherhalterung",
    "receiver-drier-and-its-two-clamps-with-a-very-long-hyphenated-name",
]
VERDICTS = ("fits", "fouls", "too close to call", "not known")


def words(rng: random.Random, most: int) -> str:
    return " ".join(rng.choice(WORDS) for _ in range(rng.randint(1, most)))


def random_drawing(seed: int) -> Drawing:
    """Anything a caller may come up with, from nothing at all to a crowded sheet."""
    rng = random.Random(seed)
    wide, high = rng.choice([(30, 30), (300, 500), (800, 650), (1600, 700), (90, 900)])

    def at() -> tuple[float, float]:
        return rng.uniform(-wide / 2, wide / 2), rng.uniform(0, high)

    outlines = []
    for index in range(rng.choice([0, 1, 5, 18, 40])):
        u, v = at()
        shape = box(u, v, u + rng.uniform(0, wide / 3), v + rng.uniform(0, high / 3))
        shape = rotate(shape, rng.choice([0, 0, 8, 33]))
        if index % 7 == 3:
            shape = MultiPolygon([Point(u, v).buffer(wide / 40), Point(v, u).buffer(2)])
        elif index % 11 == 5:
            shape = Polygon([(u, v), (u + 20, v + 20), (u + 20, v), (u, v + 20)])  # a bow-tie
        elif index % 13 == 6:
            shape = rng.choice([Polygon(), Polygon([(u, v), (u + 9, v), (u, v)])])
        kind = rng.choice(["part", "part", "part", "clear", "swept", "ghost"])
        colour = PALETTE[index % len(PALETTE)]
        outlines.append(Outline(words(rng, 9), colour, shape, rng.uniform(0, 5), kind))
    dimensions = [
        Dimension(at(), at(), f"{rng.randint(1, 40)} {words(rng, 2)} ± 1/8", direction)
        for _ in range(rng.choice([0, 2, 9, 25]))
        for direction in [rng.choice(["horizontal", "vertical", "along"])]
    ]
    spots = []
    for number in range(1, rng.choice([0, 3, 12, 30]) + 1):
        u, v = at()
        other = rng.choice([None, (u + rng.uniform(-20, 20), v + 5)])
        spots.append(Spot(number, (u, v), other, words(rng, 14), rng.choice(VERDICTS)))
    axes = [Centreline(at(), at(), words(rng, 3)) for _ in range(rng.choice([0, 2, 4]))]
    notes = [words(rng, 25) for _ in range(rng.choice([0, 1, 4]))]
    return Drawing(
        words(rng, 20),
        words(rng, 30),
        rng.choice(["", "FRONT", words(rng, 12)]),
        rng.choice(["", "REAR"]),
        tuple(outlines),
        tuple(dimensions),
        tuple(spots),
        tuple(axes),
        rng.choice(["in", "mm"]),
        tuple(notes),
    )


def nose_stack() -> Drawing:
    """A side view as a builder would get it; no particular car."""

    def lean(shape: Polygon) -> Polygon:
        return rotate(shape, -8, origin=(300, 80))

    latch = Polygon([(40, 560), (70, 560), (75, 640), (120, 650), (120, 670), (60, 670)])
    shroud = Polygon([(314, 120), (330, 120), (395, 190), (395, 460), (330, 530), (314, 530)])
    compressor = Polygon([(540, 440), (720, 440), (740, 470), (740, 560), (540, 570)])
    hose = LineString([(640, 560), (600, 620), (420, 625), (240, 600), (215, 545)]).buffer(10)
    core_support = box(120, 60, 150, 640).difference(box(128, 100, 142, 600))
    parts = [
        ("Core support", core_support, 0, "part"),
        ("Hood latch", latch, 5, "part"),
        ("Condenser", lean(box(205, 130, 225, 540)), 6, "part"),
        ("Radiator core", lean(box(262, 110, 312, 540)), 5, "part"),
        ("Radiator top tank", lean(box(250, 540, 325, 600)), 5.5, "part"),
        ("Radiator bottom tank", lean(box(250, 60, 325, 110)), 5.5, "part"),
        ("Fan shroud", lean(shroud), 6, "part"),
        ("Fan, swept", box(405, 150, 460, 550), 7, "swept"),
        ("Fan hub", box(440, 320, 520, 380), 8, "part"),
        ("Water pump pulley", box(500, 270, 540, 430), 9, "part"),
        ("Compressor", compressor, 10, "part"),
        ("Alternator (old place)", Point(620, 330).buffer(70), 4, "ghost"),
        ("Discharge hose", hose, 12, "part"),
    ]
    dimensions = (
        Dimension((225, 540), (262, 540), "1 1/2 in ± 1/8", "horizontal"),
        Dimension((120, 60), (740, 470), "24 3/8 in ± 1/4", "horizontal"),
        Dimension((150, 60), (150, 640), "22 13/16 in ± 1/16", "vertical"),
        Dimension((325, 300), (372, 293), "1 7/8 in ± 1/8", "along"),
    )
    spots = (
        Spot(1, (495, 500), (460, 500), "clutch to fan: 1.38 in, needs 1 in", "fits"),
        Spot(2, (404, 300), (398, 299), "fan to shroud: 0.24 in, needs 0.75 in", "fouls"),
        Spot(3, (420, 606), None, "discharge hose: not measured", "not known"),
    )
    outlines = tuple(
        Outline(label, PALETTE[i % len(PALETTE)], shape, depth, kind)
        for i, (label, shape, depth, kind) in enumerate(parts)
    )
    return Drawing(
        "Nose stack, side view",
        "from the left",
        "FRONT",
        "REAR",
        outlines,
        dimensions,
        spots,
        (Centreline((380, 350), (560, 350), "Fan axis"),),
        "in",
        ("The core support is the datum.",),
    )


def path_points(data: str) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", data)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def outline_points(sheet: str, label: str) -> list[tuple[float, float]]:
    for group in ET.fromstring(sheet).iter(f"{NS}g"):
        title = group.find(f"{NS}title")
        if group.get("class", "").startswith("outline") and title is not None:
            path = group.find(f"{NS}path")
            if title.text == label and path is not None:
                return path_points(path.get("d", ""))
    raise AssertionError(f"no outline {label!r}")


def group_texts(sheet: str, name: str) -> list[tuple[str, str]]:
    """(full text, visible text without white space) of every group of a class."""
    found = []
    for group in ET.fromstring(sheet).iter(f"{NS}g"):
        if group.get("class") == name:
            title = group.find(f"{NS}title")
            seen = "".join(t.text or "" for t in group.findall(f"{NS}text")).replace(" ", "")
            found.append((title.text or "" if title is not None else "", seen))
    return found


def balloon_boxes(sheet: str) -> list[tuple[str, Box]]:
    found = []
    for group in ET.fromstring(sheet).iter(f"{NS}g"):
        if group.get("class") == "balloon":
            corners = [float(n) for n in group.get("data-box", "").split()]
            text = group.find(f"{NS}text")
            assert text is not None
            found.append((text.text or "", Box(*corners)))
    return found


# --- true to scale ------------------------------------------------------------------------


def test_a_sheet_is_a3_landscape_with_one_user_unit_to_the_millimetre() -> None:
    """A3 is 297 mm x 420 mm (ISO 216, from memory)."""
    root = ET.fromstring(svg(nose_stack()))
    assert (root.get("width"), root.get("height")) == ("420mm", "297mm")
    assert root.get("viewBox") == "0 0 420 297"


@pytest.mark.parametrize("length", [20.0, 100.0, 210.0, 400.0, 640.0, 1000.0, 1500.0])
def test_a_square_measures_its_size_over_the_stated_scale(length: float) -> None:
    shape = box(-17.0, 33.0, -17.0 + length, 33.0 + length)
    sheet = svg(Drawing("square", outlines=(Outline("square", PALETTE[0], shape),)))
    stated = next(t for t, *_ in text_boxes(sheet) if t.startswith("Scale 1:"))
    divisor = float(stated.removeprefix("Scale 1:"))
    assert divisor in SCALES
    xs, ys = zip(*outline_points(sheet, "square"), strict=True)
    assert max(xs) - min(xs) == pytest.approx(length / divisor, abs=0.0011)
    assert max(ys) - min(ys) == pytest.approx(length / divisor, abs=0.0011)


def test_u_runs_to_the_right_and_v_runs_up() -> None:
    outlines = (
        Outline("low left", PALETTE[0], box(0, 0, 10, 10)),
        Outline("high right", PALETTE[1], box(200, 300, 210, 310)),
    )
    sheet = svg(Drawing("axes", outlines=outlines))
    low, high = outline_points(sheet, "low left")[0], outline_points(sheet, "high right")[0]
    assert high[0] > low[0]
    assert high[1] < low[1]


def test_two_outlines_stand_to_each_other_as_in_the_view() -> None:
    outlines = (
        Outline("a", PALETTE[0], box(0, 0, 100, 50)),
        Outline("b", PALETTE[1], box(312.5, 420.25, 412.5, 500)),
    )
    sheet = svg(Drawing("pair", outlines=outlines))
    divisor = float(ET.fromstring(sheet).get("data-scale", ""))
    a, b = outline_points(sheet, "a"), outline_points(sheet, "b")
    assert min(x for x, _ in b) - min(x for x, _ in a) == pytest.approx(312.5 / divisor, abs=2e-3)
    assert max(y for _, y in a) - max(y for _, y in b) == pytest.approx(420.25 / divisor, abs=2e-3)


def test_the_arrow_tips_of_a_dimension_are_as_far_apart_as_what_it_measures() -> None:
    outline = Outline("part", PALETTE[0], box(0, 0, 300, 200))
    dimension = Dimension((40, 10), (260, 190), "8.66 in", "horizontal")
    sheet = svg(Drawing("tips", outlines=(outline,), dimensions=(dimension,)))
    root = ET.fromstring(sheet)
    group = next(g for g in root.iter(f"{NS}g") if g.get("class") == "dimension-lines")
    heads = [p for p in group.findall(f"{NS}path") if p.get("stroke") == "none"]
    tips = [path_points(p.get("d", ""))[0] for p in heads]
    assert len(tips) == 2
    divisor = float(root.get("data-scale", ""))
    assert abs(tips[1][0] - tips[0][0]) == pytest.approx(220 / divisor, abs=2e-3)
    assert tips[0][1] == tips[1][1]


@pytest.mark.parametrize("divisor", sorted(SCALES))
def test_the_scale_bars_measure_what_they_say(divisor: float) -> None:
    """1 in = 25.4 mm exactly."""
    length = {1: 150, 2: 300, 2.5: 400, 4: 600, 5: 790, 8: 1150, 10: 1600}[divisor]
    shape = box(0, 0, length, length / 2)
    sheet = svg(Drawing("bars", outlines=(Outline("x", PALETTE[0], shape),)))
    drawn = float(ET.fromstring(sheet).get("data-scale", ""))
    inches, mm = bar_lengths(drawn)
    root = ET.fromstring(sheet)
    block = next(g for g in root.iter(f"{NS}g") if g.get("class") == "title-block")
    pieces = [p for p in block.findall(f"{NS}path") if p.get("stroke-width") == "0.2"]
    spans = [path_points(p.get("d", "")) for p in pieces]
    upper, lower = spans[:4], spans[4:]
    texts = [t for t, *_ in text_boxes(sheet)]
    for bar, real, text in ((upper, inches * 25.4, f"{inches:g} in"), (lower, mm, f"{mm:g} mm")):
        xs = [x for piece in bar for x, _ in piece]
        assert max(xs) - min(xs) == pytest.approx(real / drawn, abs=2e-3)
        assert text in texts


# --- legible ------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(150))
def test_no_text_meets_another_text_or_a_balloon_or_leaves_the_sheet(seed: int) -> None:
    sheet = svg(random_drawing(seed))
    boxes = [(text, Box(*corners)) for text, *corners in text_boxes(sheet)]
    for text, b in boxes:
        assert b.inside(Box(8, 8, 412, 289)), text
    for (text, a), (other, b) in itertools.combinations(boxes, 2):
        assert not a.overlaps(b, -1e-6), (text, other)
    balloons = balloon_boxes(sheet)
    for (_, a), (_, b) in itertools.combinations(balloons, 2):
        assert not a.overlaps(b, -1e-6)
    for (number, a), (text, b) in itertools.product(balloons, boxes):
        own = text == number and b.inside(a)
        assert own or not a.overlaps(b, -1e-6), (number, text)


def test_no_text_has_capitals_lower_than_2_4_millimetres() -> None:
    """Capitals of Helvetica are 0.718 of its size (its published metrics, from memory)."""
    for element in ET.fromstring(svg(nose_stack())).iter(f"{NS}text"):
        assert float(element.get("font-size", "0")) * 0.718 >= 2.4


def test_leaders_of_a_column_do_not_cross() -> None:
    from noseroom.report.drawing_layout import lay_out

    layout = lay_out(nose_stack())
    for tags, knee in ((layout.left, layout.knees[0]), (layout.right, layout.knees[1])):
        leaders = [LineString([(knee, t.middle), t.anchor]) for t in tags if t.anchor is not None]
        assert len(leaders) > 3
        assert not any(a.crosses(b) for a, b in itertools.combinations(leaders, 2))


def test_a_leader_ends_on_its_part_and_where_nothing_nearer_hides_it() -> None:
    from noseroom.report.drawing_layout import lay_out

    behind = Outline("behind", PALETTE[0], box(0, 0, 300, 200), 0)
    before = Outline("before", PALETTE[1], box(20, 20, 290, 190), 1)
    layout = lay_out(Drawing("two", outlines=(before, behind)))
    anchors = {t.tag.text: t.anchor for t in (*layout.left, *layout.right)}
    for outline, hidden_by in ((behind, before.polygon), (before, Polygon())):
        x, y = anchors[outline.label] or (math.nan, math.nan)
        u = (x - layout.origin[0]) * layout.scale
        v = (layout.origin[1] - y) * layout.scale
        assert outline.polygon.contains(Point(u, v))
        assert not hidden_by.contains(Point(u, v))


def test_verdicts_differ_in_shape_and_in_words_and_not_only_in_colour() -> None:
    spots = tuple(Spot(i, (i * 40.0, 0), None, "gap", v) for i, v in enumerate(VERDICTS, 1))
    sheet = svg(Drawing("verdicts", spots=spots))
    shapes = set()
    for group in ET.fromstring(sheet).iter(f"{NS}g"):
        if group.get("class") == "balloon":
            data = group.findall(f"{NS}path")[0].get("d", "")
            relative = list(re.sub(r"[-\d. ]", "", data))
            points = path_points(data) if "A" not in data else []
            level = len({round(y, 2) for _, y in points})
            shapes.add(("".join(relative), level))
    assert len(shapes) == 4
    shown = "".join(seen for _, seen in group_texts(sheet, "spot"))
    for verdict in VERDICTS:
        assert verdict.upper().replace(" ", "") in shown


def test_a_label_column_is_as_near_to_its_anchors_as_exhaustive_search_gets() -> None:
    """The dynamic programme against brute force on the same half-millimetre grid."""
    rng = random.Random(5)
    for _ in range(20):
        sizes = [rng.choice([2.0, 3.0, 4.5]) for _ in range(3)]
        wanted = sorted(rng.uniform(0, 14) for _ in range(3))
        found = _heights(wanted, sizes, (0.0, 14.0), ())
        assert found is not None

        def cost(tops, sizes=sizes, wanted=wanted) -> float:
            parts = zip(tops, sizes, wanted, strict=True)
            return sum(abs(top + (size - 1.4) / 2 - want) for top, size, want in parts)

        grid = [0.5 * i for i in range(29)]
        best = min(
            cost(tops)
            for tops in itertools.product(grid, repeat=3)
            if tops[1] >= tops[0] + sizes[0]
            and tops[2] >= tops[1] + sizes[1]
            and tops[2] + sizes[2] - 1.4 <= 14.0
        )
        assert cost(found) == pytest.approx(best)
        assert found[1] >= found[0] + sizes[0]
        assert found[2] >= found[1] + sizes[1]


def test_estimated_widths_are_never_less_than_those_of_real_fonts() -> None:
    """Against the fonts that this machine has; DejaVu Sans is about the widest in common use."""
    image_font = pytest.importorskip("PIL.ImageFont", reason="Pillow is not installed")
    folders = [Path("/usr/share/fonts/truetype/dejavu")]
    try:
        import matplotlib

        folders.append(Path(matplotlib.get_data_path()) / "fonts" / "ttf")
    except ImportError:
        pass
    folder = next((f for f in folders if (f / "DejaVuSans.ttf").is_file()), None)
    if folder is None:
        pytest.skip("DejaVuSans.ttf is not on this machine")
    pixels = 1000
    texts = ["Ill fit: 5 3/4 in ± 1/8", "WWW @ MMM", "fan to condenser hose: 0.31 in", "IIIIIiii"]
    texts += [chr(c) for c in range(33, 127)] + list("äöüßÉ½¼¾×′″–—“”≥≤°ØΔμЖЩ")
    texts += [t for seed in range(20) for t, *_ in text_boxes(random_drawing(seed))]
    for name, bold in (("DejaVuSans.ttf", False), ("DejaVuSans-Bold.ttf", True)):
        font = image_font.truetype(str(folder / name), pixels)
        for text in texts:
            left, top, right, bottom = font.getbbox(text, anchor="ls")
            width = text_width_mm(text, 1.0, bold=bold) * pixels
            assert max(right, font.getlength(text)) <= width, text
            assert left >= -0.1 * pixels, text
            assert -top <= 0.95 * pixels, text
            assert bottom <= 0.25 * pixels, text


def test_a_renderer_reads_the_sheet_at_its_true_size() -> None:
    """Rendered at 25.4 dots to the inch, one dot is one millimetre."""
    cairosvg = pytest.importorskip("cairosvg", reason="cairosvg is not installed")
    png = cairosvg.svg2png(bytestring=svg(nose_stack()).encode(), dpi=25.4)
    width, height = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    assert (width, height) == (420, 297)


# --- complete -----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(30))
def test_every_label_dimension_and_listed_spot_is_on_the_sheet(seed: int) -> None:
    drawing = random_drawing(seed)
    sheet = svg(drawing)
    labels = [title for title, _ in group_texts(sheet, "label")]
    stacked = [title for title, _ in group_texts(sheet, "dimension")]
    seen_whole = {s for name in ("label", "dimension") for _, s in group_texts(sheet, name)}
    for outline in drawing.outlines:
        suffix = " (not in this view)" if outline.polygon.is_empty else ""
        assert clean(outline.label + suffix) in labels
    for axis in drawing.axes:
        assert clean(axis.label) in labels
    for dimension in drawing.dimensions:
        assert clean(dimension.text) in stacked + labels
        assert clean(dimension.text).replace(" ", "") in seen_whole  # a size is never cut short
    rows = group_texts(sheet, "spot")
    listed = [s for s in drawing.spots if any(t.startswith(f"{s.number}. ") for t, _ in rows)]
    for spot in listed:
        assert f"{spot.number}. {spot.verdict.upper()}: {clean(spot.text)}" in [t for t, _ in rows]
    rest = len(drawing.spots) - len(listed)
    more = "".join(seen for _, seen in group_texts(sheet, "more-spots"))
    assert more == (f"and {rest} more: see findings.json".replace(" ", "") if rest else "")
    for name in ("label", "dimension", "spot"):
        for full, seen in group_texts(sheet, name):
            assert seen
            if not seen.endswith("…"):
                assert full.replace(" ", "").endswith(seen)
    numbers = {n for n, _ in balloon_boxes(sheet)}
    assert {str(s.number) for s in listed} <= numbers


def test_texts_of_ordinary_length_are_shown_uncut() -> None:
    drawing = nose_stack()
    sheet = svg(drawing)
    seen = {s for name in ("label", "dimension") for _, s in group_texts(sheet, name)}
    for text in [o.label for o in drawing.outlines] + [d.text for d in drawing.dimensions]:
        assert text.replace(" ", "") in seen
    spots = "".join(s for _, s in group_texts(sheet, "spot"))
    for spot in drawing.spots:
        assert spot.text.replace(" ", "") in spots


def test_when_spots_are_too_many_the_worst_are_listed_and_the_rest_counted() -> None:
    text = "a long account of what is in the way of what, and of what could be done about it " * 2
    spots = tuple(Spot(i, (i, i), None, text, VERDICTS[i % 4]) for i in range(1, 61))
    sheet = svg(Drawing("crowd", spots=spots))
    listed = [int(t.split(".")[0]) for t, _ in group_texts(sheet, "spot")]
    assert 5 <= len(listed) < 60
    assert listed == [s.number for s in worst_first(spots)][: len(listed)]
    assert f"and {60 - len(listed)} more: see findings.json" in [t for t, *_ in text_boxes(sheet)]
    assert {s.verdict for s in spots[:4]} == set(VERDICTS)
    assert worst_first(spots)[0].verdict == "fouls"


def test_labels_beyond_all_room_are_counted_and_never_dropped_in_silence() -> None:
    outlines = tuple(
        Outline(f"part {i}", PALETTE[i % 8], box(i, i, i + 5 + i, i + 4)) for i in range(150)
    )
    sheet = svg(Drawing("many", outlines=outlines))
    shown = len(group_texts(sheet, "label"))
    assert shown < 150
    assert f"+ {150 - shown} not labelled" in [t for t, *_ in text_boxes(sheet)]


def test_points_may_be_arrays() -> None:
    numpy = pytest.importorskip("numpy")
    a, b = numpy.array([0.0, 0.0]), numpy.array([120.0, 40.0])

    def sheet(a, b) -> str:
        spots = (Spot(1, a, b, "gap", "fits"),)
        sizes = tuple(Dimension(a, b, d, d) for d in ("horizontal", "vertical", "along"))
        return svg(Drawing("x", dimensions=sizes, spots=spots, axes=(Centreline(a, b, "axis"),)))

    assert sheet(a, b) == sheet((0.0, 0.0), (120.0, 40.0))


def test_a_number_stays_on_one_line_with_its_fraction_its_unit_and_its_tolerance() -> None:
    for width in range(20, 60):
        for line in wrap("fan to hose 1 3/4 in ± 1/8 needs 0.75 in and 19 mm", float(width)):
            assert not re.match(r"(in|mm|3/4|1/8)\b", line), line
            assert not line.endswith("±"), line


def test_nothing_at_all_still_makes_a_sheet() -> None:
    sheet = svg(Drawing(""))
    assert "Untitled" in [t for t, *_ in text_boxes(sheet)]


# --- well-formed, the same every time, and clear about bad input ----------------------------


@pytest.mark.parametrize("seed", [3, 17, 42])
def test_the_same_drawing_gives_the_same_bytes(seed: int) -> None:
    assert svg(random_drawing(seed)) == svg(random_drawing(seed))


def test_markup_and_control_characters_in_texts_do_no_harm() -> None:
    nasty = 'a<b & "c" > \x00\x07 </text><script>\u202e\ud800\ufffe'
    drawing = Drawing(
        nasty,
        nasty,
        nasty,
        nasty,
        (Outline(nasty, PALETTE[0], box(0, 0, 50, 50)),),
        (Dimension((0, 0), (50, 0), nasty, "horizontal"),),
        (Spot(1, (0, 0), None, nasty, "fits"),),
        (Centreline((0, 0), (5, 5), nasty),),
        "mm",
        (nasty,),
    )
    sheet = svg(drawing)
    root = ET.fromstring(sheet.encode())
    assert root.find(f"{NS}script") is None
    assert "<script" not in sheet
    assert any('a<b & "c" >' in (t.text or "") for t in root.iter(f"{NS}text"))


def test_a_sheet_has_a_title_and_a_description_for_those_who_cannot_see_it() -> None:
    drawing = nose_stack()
    root = ET.fromstring(svg(drawing))
    title, desc = root.find(f"{NS}title"), root.find(f"{NS}desc")
    assert root.get("role") == "img"
    assert title is not None
    assert title.text == drawing.title
    assert desc is not None
    for spot in drawing.spots:
        assert spot.text in (desc.text or "")


@pytest.mark.parametrize(
    "make",
    [
        lambda: Outline("x", "red", box(0, 0, 1, 1)),
        lambda: Outline("x", "#123456", box(0, 0, 1, 1), kind="solid"),
        lambda: Outline("x", "#123456", LineString([(0, 0), (1, 1)])),
        lambda: Outline("x", "#123456", Polygon([(0, 0), (math.inf, 0), (1, 1)])),
        lambda: Dimension((0, math.nan), (1, 1), "x", "along"),
        lambda: Dimension((0, 0), (1, 1), "x", "sideways"),
        lambda: Spot(1, (0, 0), (0, math.inf), "x", "fits"),
        lambda: Spot(1, (0, 0), None, "x", "perhaps"),
        lambda: Centreline((0, 0, 0), (1, 1), "x"),
        lambda: Drawing("x", unit="cubit"),
        lambda: svg(Drawing("x", outlines=(Outline("x", "#123456", box(0, 0, 1e6, 1)),))),
        lambda: text_boxes("<svg"),
    ],
)
def test_bad_input_gets_an_error_of_our_own(make) -> None:
    with pytest.raises(DrawingError) as caught:
        make()
    assert isinstance(caught.value, NoseroomError)
    assert len(str(caught.value)) > 10


def test_wrapping_keeps_every_character_and_every_line_within_its_width() -> None:
    rng = random.Random(11)
    for _ in range(60):
        text = words(rng, 30)
        lines = wrap(text, 40.0)
        assert "".join(lines).replace(" ", "") == clean(text).replace(" ", "")
        assert all(text_width_mm(line) <= 40.0 for line in lines)
        cut = wrap(text, 40.0, max_lines=2)
        assert len(cut) <= 2
        assert (len(lines) > 2) == cut[-1].endswith("…")
        assert all(text_width_mm(line, BODY_MM) <= 40.0 for line in cut)
