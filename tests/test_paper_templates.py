"""Paper templates: full size on every sheet, whole when put together, readable."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely import LineString, MultiLineString, Point, affinity, box, hausdorff_distance, union_all

from figure_samples import crowded, panel, strap, strap_area_mm2
from noseroom.geometry.outlines import rectangle
from noseroom.report.drawing_svg import SVG_NAMESPACE, text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.workshop.figures import Figure, sampled
from noseroom.workshop.paper import template_sheets, templates_pdf, write_templates
from noseroom.workshop.paper_front import CAUTIONS
from noseroom.workshop.paper_pieces import packed, piece_of
from noseroom.workshop.paper_sheet import A4, LETTER, PAPERS, Paper
from noseroom.workshop.paper_tiles import OVERLAP_MM
from noseroom.workshop.paper_words import Word, find_spots
from programs import MM_PX, page_count, pixels, runs, told

SVG = f"{{{SVG_NAMESPACE}}}"
TITLE = "Half-ton farm pickup, inline six"
BAR_MM = (100.0, 101.6)
SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
LEAST_MARGIN_MM = 10.0


def figures() -> list[Figure]:
    return [strap(), strap("strap right", "right"), panel(), crowded()]


@cache
def sheets(paper: Paper) -> tuple[str, ...]:
    return template_sheets(figures(), paper, TITLE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("templates")
    names = write_templates(made, figures(), TITLE)
    assert names == ("templates-a4.pdf", "templates-letter.pdf")
    return made


def pdf_of(folder: Path, paper: Paper) -> Path:
    return folder / f"templates-{paper.name.lower()}.pdf"


def groups(sheet: str, name: str) -> Iterator[ET.Element]:
    root = ET.fromstring(sheet)
    yield from (one for one in root.iter(f"{SVG}g") if one.get("class") == name)


def straight(group: ET.Element) -> list[LineString]:
    """The lines of a group, sheet mm; rings are left out."""
    found = []
    for path in group.iter(f"{SVG}path"):
        data = path.get("d", "")
        if "A" in data:
            continue
        points = [tuple(map(float, one)) for one in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", data)]
        found.append(LineString([*points, points[0]] if data.endswith("Z") else points))
    return found


def all_lines(sheet: str) -> list[LineString]:
    kinds = ("cut", "bend", "bend-ends", "guide", "centre", "drilled", "cross")
    return [line for kind in kinds for one in groups(sheet, kind) for line in straight(one)]


def slim(where: Box) -> Box:
    """Letters without the room for accents and descenders."""
    return Box(where.x0, where.y0 + 0.6, where.x1, where.y1 - 0.3)


# -- on the printed page -------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_the_check_bars_of_every_page_measure_what_they_say(folder: Path, paper: Paper) -> None:
    """Rastered at 300 dpi by poppler: the two longest solid bars at the foot, edge to edge."""
    pdf = pdf_of(folder, paper)
    count = page_count(pdf)
    assert count == len(sheets(paper)) > 4
    wide, high = SIZES_MM[paper.name]
    for page in range(1, count + 1):
        image = pixels(pdf, page)
        assert image.shape[1] * MM_PX == pytest.approx(wide, abs=MM_PX)
        assert image.shape[0] * MM_PX == pytest.approx(high, abs=MM_PX)
        foot = (image[round((high - 32) / MM_PX) :] < 128).all(axis=2)
        long = [b - a for row in foot for a, b in runs(row) if 90 < (b - a) * MM_PX < 110]
        found = sorted({round(one * MM_PX, 2) for one in long})
        for wanted in BAR_MM:
            nearest = min(found, key=lambda one: abs(one - wanted))
            assert nearest == pytest.approx(wanted, abs=0.2), f"page {page}"
        assert all(min(abs(one - bar) for bar in BAR_MM) <= 0.2 for one in found), found


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_no_ink_where_printers_do_not_print(folder: Path, paper: Paper) -> None:
    pdf, dpi = pdf_of(folder, paper), 100
    edge = round(LEAST_MARGIN_MM / 25.4 * dpi)
    for page in range(1, page_count(pdf) + 1):
        white = (pixels(pdf, page, dpi) > 250).all(axis=2)
        inner = white[edge:-edge, edge:-edge]
        assert white.sum() - inner.sum() == white.size - inner.size, f"page {page}"
        assert not inner.all()


def test_an_outline_measured_on_the_page_is_the_figures(tmp_path: Path) -> None:
    """Of what the thick line holds: 30 by 95.4 mm, and its area by hand."""
    bare = Figure("strap", "Strap", cuts=strap().cuts)
    pdf = tmp_path / "one.pdf"
    for paper in PAPERS:
        pdf.write_bytes(templates_pdf([bare], paper, TITLE))
        dark = (pixels(pdf, 2) < 128).all(axis=2)
        filled = ndimage.binary_fill_holes(dark)
        spots, count = ndimage.label(filled)
        sizes = ndimage.sum_labels(filled, spots, range(1, count + 1))
        piece = spots == 1 + int(np.argmax(sizes))
        rows, columns = np.flatnonzero(piece.any(axis=1)), np.flatnonzero(piece.any(axis=0))
        line = 0.35
        assert (np.ptp(columns) + 1) * MM_PX - line == pytest.approx(30.0, abs=0.15)
        assert (np.ptp(rows) + 1) * MM_PX - line == pytest.approx(95.4, abs=0.15)
        half = line / 2 * 2 * (30 + 95.4)
        assert piece.sum() * MM_PX**2 == pytest.approx(strap_area_mm2() + half, rel=0.005)


def test_tiles_laid_cross_on_cross_give_the_whole_on_paper(folder: Path) -> None:
    """Each page's pixels, moved by where its crosses are: there is ink all along every cut."""
    figure = panel()
    for paper in PAPERS:
        places = joined(paper)
        assert len(places) >= 4
        ink = []
        for number, (dx, dy) in places.items():
            thick = (pixels(pdf_of(folder, paper), number + 1) < 100).all(axis=2)
            room = paper.room()
            rows = slice(round(room.y0 / MM_PX), round(room.y1 / MM_PX))
            ys, xs = np.nonzero(thick[rows])
            found = np.column_stack([(xs + 0.5) * MM_PX, (ys + rows.start + 0.5) * MM_PX])
            ink.append(found + np.array([dx, dy]))
        tree = cKDTree(np.concatenate(ink))
        for cut in figure.cuts:
            points = sampled(cut)
            line = LineString([*points, points[0]])
            along = [line.interpolate(k / 400, normalized=True).coords[0] for k in range(400)]
            away, _ = tree.query(np.array(along) * (1.0, -1.0))
            assert away.max() < 0.25, f"{paper.name}: no ink on a part of the outline"


def joined(paper: Paper) -> dict[int, tuple[float, float]]:
    """By how much each sheet is moved so that its crosses lie on its neighbours'.

    From the first sheet on, which is moved so that its figure lies as it was drawn (y down).
    """
    crosses = {
        number: {
            one.get("data-number"): middle(straight(one)[:2]) for one in groups(sheet, "cross")
        }
        for number, sheet in enumerate(sheets(paper))
    }
    crosses = {number: one for number, one in crosses.items() if one}
    first = min(crosses)
    placed = {first: (0.0, 0.0)}
    while len(placed) < len(crosses):
        before = len(placed)
        for number, own in crosses.items():
            for other in [one for one in placed if number not in placed]:
                shared = set(own) & set(crosses[other])
                for name in sorted(shared):
                    dx, dy = np.subtract(crosses[other][name], own[name]) + placed[other]
                    placed.setdefault(number, (float(dx), float(dy)))
        assert len(placed) > before, "a sheet shares no cross with another"
    for a, b in combinations(crosses, 2):
        for name in set(crosses[a]) & set(crosses[b]):
            ends = [np.add(crosses[one][name], placed[one]) for one in (a, b)]
            assert np.hypot(*(ends[0] - ends[1])) < 0.01, f"cross {name} of sheets {a} and {b}"
    low = np.min(
        [
            np.add(line.bounds[:2], placed[number])
            for number in crosses
            for one in groups(sheets(paper)[number], "cut")
            for line in straight(one)
        ],
        axis=0,
    )
    x0, _, _, y1 = panel().box() if upright(paper) else panel().placed(np.pi / 2).box()
    shift = np.array([x0, -y1]) - low
    return {number: (float(x + shift[0]), float(y + shift[1])) for number, (x, y) in placed.items()}


def upright(paper: Paper) -> bool:
    """Whether the panel is tiled as it was drawn, and not on its side."""
    spans = [
        np.array([line.bounds for line in straight(one)])
        for sheet in sheets(paper)
        for one in groups(sheet, "overview")
    ]
    bounds = np.concatenate(spans)
    wide, high = np.ptp(bounds[:, [0, 2]]), np.ptp(bounds[:, [1, 3]])
    x0, y0, x1, y1 = panel().box()
    return bool((wide < high) == (x1 - x0 < y1 - y0))


def middle(cross: list[LineString]) -> tuple[float, float]:
    met = cross[0].intersection(cross[1])
    return met.x, met.y


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_tiles_laid_cross_on_cross_give_every_line_once_whole(paper: Paper) -> None:
    """The pieces of the cuts, moved together, are the figure's cuts to a fiftieth of a mm."""
    figure = panel() if upright(paper) else panel().placed(np.pi / 2)
    pieces = [
        affinity.translate(line, dx, dy)
        for number, (dx, dy) in joined(paper).items()
        for one in groups(sheets(paper)[number], "cut")
        for line in straight(one)
    ]
    wanted = MultiLineString(
        [LineString(np.vstack([sampled(one), sampled(one)[:1]]) * (1, -1)) for one in figure.cuts]
    )
    together = union_all(pieces)
    assert hausdorff_distance(together, wanted, densify=0.1) < 0.02
    assert together.buffer(0.02).contains(wanted)


def test_neighbours_overlap_and_share_two_crosses_each() -> None:
    for paper in PAPERS:
        numbers = [
            [one.get("data-number") for one in groups(sheet, "cross")] for sheet in sheets(paper)
        ]
        every = [one for sheet in numbers for one in sheet]
        assert every
        assert {every.count(one) for one in every} == {2}
        for own, other in combinations([set(one) for one in numbers if one], 2):
            assert len(own & other) in (0, 2)
    assert OVERLAP_MM >= 10.0


# -- what is said on it --------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_no_word_lies_on_another_on_a_line_or_off_the_sheet(paper: Paper) -> None:
    page = Box(LEAST_MARGIN_MM, LEAST_MARGIN_MM, paper.width_mm - 10.0, paper.height_mm - 10.0)
    for sheet in sheets(paper):
        boxes = [(text, Box(*where)) for text, *where in text_boxes_of(sheet)]
        for text, where in boxes:
            assert where.inside(page), text
        for (one, a), (other, b) in combinations(boxes, 2):
            assert not slim(a).overlaps(slim(b)), f"{one!r} meets {other!r}"
        lines = union_all(all_lines(sheet))
        for word in words_beside(sheet):
            assert not box(*word).intersects(lines)
        crosses = union_all([line for one in groups(sheet, "cross") for line in straight(one)])
        for label in boxes_in(sheet, "labels"):
            assert not box(*label).intersects(crosses)


def words_beside(sheet: str) -> Iterator[Box]:
    """Boxes of the words about holes and bends, and of captions."""
    yield from boxes_in(sheet, "words")
    yield from boxes_in(sheet, "caption")


def boxes_in(sheet: str, name: str) -> Iterator[Box]:
    kept = {text.text for one in groups(sheet, name) for text in one.iter(f"{SVG}text")}
    for text, *where in text_boxes_of(sheet):
        if text in kept:
            yield slim(Box(*where))


def test_what_belongs_to_a_figure_is_on_its_sheet_as_text(folder: Path) -> None:
    """As another program reads the PDF: every sign is one of the font, none is "?"."""
    for paper in PAPERS:
        pdf = pdf_of(folder, paper)
        contents = told("pdftotext", "-layout", "-f", "1", "-l", "1", pdf, "-")
        for text in CAUTIONS:
            assert " ".join(text.split()[:5]) in contents
        for figure in figures():
            line = next(one for one in contents.splitlines() if figure.title in one)
            first = int(re.search(r"sheets? (\d+)", line)[1])  # type: ignore[index]
            said = " ".join(told("pdftotext", "-f", f"{first}", "-l", f"{first}", pdf, "-").split())
            assert figure.title in said
            for word in figure.notes:
                assert word in said
            if figure.hand:
                assert f"{figure.hand.upper()} hand: goes on the car's {figure.hand}." in said
                assert "Seen from the side that the bolts' heads are on." in said
                assert "bend 90° up, R 3.0" in said
                assert "bend 90° down, R 3.0" in said
                assert "drill Ø 9.0 (0.354 in)" in said
        everything = told("pdftotext", pdf, "-")
        assert "?" not in everything
        assert "Ø 9 is no ½ in" in everything
        assert everything.count("Print at 100 %, do not scale to fit") == page_count(pdf)


def test_fonts_are_in_the_file_and_viewers_are_told_not_to_scale(folder: Path) -> None:
    for paper in PAPERS:
        pdf = pdf_of(folder, paper)
        fonts = told("pdffonts", pdf).splitlines()[2:]
        assert fonts
        assert all(re.search(r" yes +yes +(yes|no) +\d+ +\d+$", one) for one in fonts), fonts
        assert b"/PrintScaling /None" in pdf.read_bytes()


def test_the_map_names_the_sheets_as_they_are_numbered() -> None:
    for paper in PAPERS:
        maps = [
            (number, [one.text for one in group.iter(f"{SVG}text")])
            for number, sheet in enumerate(sheets(paper), start=1)
            for group in groups(sheet, "map")
        ]
        numbers = [number for number, _ in maps]
        assert len(numbers) >= 4
        assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
        for _, said in maps:
            assert sorted(map(int, said)) == numbers
        for number, sheet in enumerate(sheets(paper), start=1):
            for group in groups(sheet, "map"):
                (here,) = (one for one in group.iter(f"{SVG}text") if one.get("fill") == "#ffffff")
                assert here.text == f"{number}"


def test_the_same_figures_give_the_same_bytes(folder: Path) -> None:
    for paper in PAPERS:
        assert templates_pdf(figures(), paper, TITLE) == pdf_of(folder, paper).read_bytes()


# -- packing -------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_packed_pieces_lie_apart_inside_the_room(paper: Paper) -> None:
    chance, room = random.Random(4), paper.room()
    pieces = [
        piece_of(
            Figure(
                f"{k}",
                f"Piece {k}",
                cuts=(rectangle((0, 0), (chance.uniform(5, 150), chance.uniform(5, 180))),),
            ),
            room,
        )
        for k in range(40)
    ]
    done = packed(pieces, room)
    names = [one.piece.figure.name for places in done for one in places]
    assert sorted(names) == sorted(f"{k}" for k in range(40))
    assert len(done) < 30
    for places in done:
        boxes = [
            Box(one.x, one.y, one.x + one.piece.size[0], one.y + one.piece.size[1])
            for one in places
        ]
        for where in boxes:
            assert where.x1 <= room.x1 - room.x0 + 1e-9
            assert where.y1 <= room.y1 - room.y0 + 1e-9
        for a, b in combinations(boxes, 2):
            assert not a.overlaps(b, 5.0)


def test_many_figures_need_more_than_one_first_sheet_and_numbers_still_hold() -> None:
    """Two first sheets of contents: every figure is where they say."""
    many = [strap(f"s{k}", "left" if k % 2 else "right") for k in range(60)]
    for paper in (A4, LETTER):
        made = template_sheets(many, paper, TITLE)
        fronts = [
            one
            for one in made
            if "Paper templates, full size" in "".join(ET.fromstring(one).itertext())
        ]
        assert len(fronts) > 1
        for number, sheet in enumerate(made, start=1):
            assert f"Sheet {number} of {len(made)}" in "".join(ET.fromstring(sheet).itertext())
        listed = re.findall(r"sheet (\d+)</text>", "".join(fronts))
        assert len(listed) == 60
        captions = [len(list(groups(one, "caption"))) for one in made]
        for number, count in enumerate(captions, start=1):
            assert listed.count(f"{number}") == count


def test_words_go_to_the_nearest_free_spot_by_either_place() -> None:
    """Walled in at one place they stand by the other; with no room at all they are left out."""
    wall = [
        box(-60, -60, 60, 60).exterior,
        *(LineString([(-60, y), (60, y)]) for y in range(-60, 60, 2)),
    ]
    word = Word("bend 90° up", (0.0, 0.0), or_at=(200.0, 0.0))
    (spot,) = find_spots([word], wall)
    assert abs(spot.box.x0 - 200.0) < 3.0
    assert spot.leader is None
    (alone,) = find_spots([Word("bend 90° up", (0.0, 0.0))], wall)
    assert alone.leader is not None
    assert not box(*alone.box).intersects(union_all(wall))
    assert find_spots([word], wall, room=Box(-20, -20, 20, 20), on_lines=False) == ()
    assert len(find_spots([word], wall, room=Box(-20, -20, 60, 20))) == 1


def test_words_without_a_leader_cannot_be_about_another_place() -> None:
    """Two marks 9 mm apart: each word is nearer to its own, or a line leads there."""
    marks = [LineString([(x, 0), (x, 30)]) for x in (0.0, 9.0)]
    words = [Word("bend 20° up", (0.0, 0.0)), Word("bend 15° down", (9.0, 0.0))]
    spots = find_spots(words, marks)
    assert len(spots) == 2
    for spot, other in zip(spots, spots[::-1], strict=True):
        own, wrong = (box(*spot.box).distance(Point(one.word.at)) for one in (spot, other))
        assert spot.leader is not None or own + 2.0 < wrong


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.name)
def test_a_figure_that_fills_a_sheet_has_its_words_on_another(paper: Paper) -> None:
    """One tile needs no crosses, no map and no word on joining; all that is said is there."""
    room = paper.room()
    notes = tuple(f"Note {k} of many, long enough to take up most of a line." for k in range(90))
    full = Figure(
        "full",
        "Fills the sheet",
        cuts=(rectangle((0, 0), (room.x1 - room.x0 - 8.0, room.y1 - room.y0 - 8.0)),),
        notes=notes,
    )
    made = template_sheets([full], paper, TITLE)
    said = " ".join("".join(ET.fromstring(one).itertext()) for one in made)
    for note in notes:
        assert said.count(note) == 1
    assert "chain lines at its left" not in said
    assert not any(list(groups(one, name)) for one in made for name in ("cross", "map", "overview"))
    (cut,) = (line for one in made for group in groups(one, "cut") for line in straight(group))
    x0, y0, x1, y1 = cut.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx(full.box()[2:], abs=0.002)
    assert len(made) > 3
