"""DXF files of flat patterns: what is in them, for the library that wrote them and for another."""

from __future__ import annotations

import hashlib
import io
import math
import os
import random
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path as FilePath

import ezdxf
import ezdxf.bbox
import ezdxf.path
import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box

from figure_samples import LONG, WIDE, panel, strap, strap_area_mm2
from noseroom.errors import GeometryError, OutputError
from noseroom.geometry.outlines import Circle, rounded
from noseroom.workshop.arrows import with_up_arrow
from noseroom.workshop.dxf_files import check_dxf, dxf_bytes, write_dxf
from noseroom.workshop.figures import BendLine, CentreMark, Figure, Label
from programs import MM_PX, pixels, program


@pytest.fixture
def strap_file(tmp_path: FilePath) -> FilePath:
    path = tmp_path / "strap.dxf"
    write_dxf(strap(), path)
    return path


def area_mm2(entity: object) -> float:
    """What an entity encloses, as the library's own flattening has it."""
    points = [(one.x, one.y) for one in ezdxf.path.make_path(entity).flattening(1e-4)]  # type: ignore[arg-type]
    return float(Polygon(points).area)


def test_it_is_r2010_in_millimetres_and_the_library_finds_no_fault(strap_file: FilePath) -> None:
    """AC1024 is R2010; $INSUNITS 4 is millimetres, $MEASUREMENT 1 metric (DXF reference)."""
    document = ezdxf.readfile(strap_file)
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    audit = document.audit()
    assert audit.errors == []
    assert audit.fixes == []


def test_cut_lines_alone_are_on_the_cut_layer_and_enclose_what_they_should(
    strap_file: FilePath,
) -> None:
    """By hand: a circle is π d²/4, a slot that and travel × width, the strap less its corners."""
    space = ezdxf.readfile(strap_file).modelspace()
    cut = list(space.query('*[layer=="cut"]'))
    assert [one.dxftype() for one in cut] == ["CIRCLE", "LWPOLYLINE", "LWPOLYLINE"]
    round_mm2 = math.pi * 81 / 4
    expected = (round_mm2, round_mm2 + 54, strap_area_mm2())
    for entity, area in zip(cut, expected, strict=True):
        assert area_mm2(entity) == pytest.approx(area, rel=5e-4)  # it draws cubics


def test_bends_say_angle_and_direction_and_holes_have_middles(strap_file: FilePath) -> None:
    space = ezdxf.readfile(strap_file).modelspace()
    lines = [(tuple(one.dxf.start)[:2], tuple(one.dxf.end)[:2]) for one in space.query("LINE")]
    assert lines == [((0, 30), (30, 30)), ((0, 62), (30, 62))]
    texts = {one.dxf.text: one.dxf.layer for one in space.query("TEXT")}
    assert texts["90° up, R 3.0"] == texts["90° down, R 3.0"] == "bend"
    middles = [tuple(one.dxf.location)[:2] for one in space.query('POINT[layer=="centres"]')]
    assert middles == [(15, 12), (15, 77), (15, 83)]
    said = [text for text, layer in texts.items() if layer == "notes"]
    for word in ("2.50 mm [0.098 in] mild steel", "All sizes in mm", "left", "bolts' heads"):
        assert any(word in one for one in said), word


@pytest.mark.parametrize("turn", [0.0, 0.7, math.pi / 2, 2.4, -1.2])
def test_words_stand_beside_the_metal_and_never_across_it(tmp_path: FilePath, turn: float) -> None:
    """Boxes as another part of the library has them; letters of holes alone are on the piece."""
    figure = with_up_arrow(replace(strap(), centres=LETTERED).placed(turn), "UP (in the car)", "L")
    write_dxf(figure, tmp_path / "one.dxf")
    space = ezdxf.readfile(tmp_path / "one.dxf").modelspace()
    outline = Polygon(figure.cuts[-1].sampled(0.05))  # type: ignore[union-attr]
    texts = list(space.query("TEXT"))
    assert {one.dxf.layer for one in texts} == {"bend", "notes", "marks"}
    on_it = []
    for one in texts:
        reach = ezdxf.bbox.extents([one])
        where = box(reach.extmin.x, reach.extmin.y, reach.extmax.x, reach.extmax.y)
        if one.dxf.layer == "bend":
            # Its own box lies along the bend; its foot's middle is well outside.
            assert outline.distance(Point(one.dxf.align_point.x, one.dxf.align_point.y)) > 3.0
        elif where.intersects(outline):
            on_it.append(one.dxf.text)
    assert sorted(on_it) == ["A", "B"]
    notes = [one.dxf for one in texts if one.dxf.layer == "notes"]
    assert min(one.insert.x for one in notes) > figure.box()[2]
    heights = [one.insert.y for one in notes]
    assert len(heights) == len(set(heights)) >= 6
    said = " ".join(one.text for one in notes)
    assert "A: drill Ø 9.0" in said
    assert "L: for the car's left" in said


LETTERED = (
    CentreMark((15, 12), "drill Ø 9.0", 9.0, "A"),
    CentreMark((15, 77), "drill both ends Ø 9.0", 9.0, "B"),
    CentreMark((15, 83), "", 9.0),
)


@pytest.mark.parametrize("turn", [0.0, 0.7, math.pi / 2, -2.0])
def test_the_arrow_says_up_beside_the_metal(tmp_path: FilePath, turn: float) -> None:
    figure = with_up_arrow(strap().placed(turn), "UP (in the car)", "R")
    write_dxf(figure, tmp_path / "one.dxf")
    space = ezdxf.readfile(tmp_path / "one.dxf").modelspace()
    found = space.query('LINE[layer=="marks"]')
    lines = [LineString([tuple(end)[:2] for end in (one.dxf.start, one.dxf.end)]) for one in found]
    stem = max(lines, key=lambda one: one.length)
    (x0, y0), (x1, y1) = stem.coords
    assert x0 == x1
    # Its head is at the upper end.
    assert all(max(y0, y1) == pytest.approx(max(y for _, y in one.coords)) for one in lines)
    outline = Polygon(figure.cuts[-1].sampled(0.05))  # type: ignore[union-attr]
    assert all(one.distance(outline) > 2.0 for one in lines)
    texts = {one.dxf.text for one in space.query('TEXT[layer=="marks"]')}
    assert texts == {"UP (in the car)", "R"}


def test_random_outlines_keep_their_area() -> None:
    chance = random.Random(7)
    for _ in range(25):
        wide, high = chance.uniform(20, 200), chance.uniform(20, 200)
        skew = chance.uniform(-15, 15)
        radii = [chance.uniform(0, 6) for _ in range(4)]
        corners = [(0.0, 0.0), (wide, 0.0), (wide + skew, high), (skew, high)]
        outline = rounded(corners, radii).placed(chance.uniform(0, 6), (chance.uniform(-9, 9), 3))
        document = ezdxf.read(_stream(dxf_bytes(Figure("one", "One", cuts=(outline,)))))
        (entity,) = document.modelspace().query("LWPOLYLINE")
        assert area_mm2(entity) == pytest.approx(outline.area_mm2, rel=1e-4)


def _stream(data: bytes) -> io.StringIO:
    return io.StringIO(data.decode("utf-8"))


def test_the_same_figure_gives_the_same_bytes_in_another_process() -> None:
    """Nothing of the day, of chance or of the order of sets is in them."""
    made = dxf_bytes(strap())
    assert made == dxf_bytes(strap())
    code = (
        "import hashlib; from figure_samples import strap; "
        "from noseroom.workshop.dxf_files import dxf_bytes; "
        "print(hashlib.sha256(dxf_bytes(strap())).hexdigest())"
    )
    environment = os.environ | {
        "PYTHONHASHSEED": "77",
        "PYTHONPATH": str(FilePath(__file__).parent),
    }
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )
    assert found.stdout.strip() == hashlib.sha256(made).hexdigest()


DAMAGE: dict[str, Callable[[str], str]] = {
    "a bulge": lambda text: text.replace("0.414213562373095", "0.424213562373095", 1),
    "a layer": lambda text: text.replace("\n  8\ncut\n", "\n  8\nbend\n", 1),
    "inches": lambda text: text.replace("$INSUNITS\n 70\n4", "$INSUNITS\n 70\n1"),
    "a radius": lambda text: text.replace("\n 40\n4.5\n", "\n 40\n4.6\n", 1),
    "a word": lambda text: text.replace("90° up", "80° up"),
    "the end": lambda text: text[: len(text) // 2],
}


@pytest.mark.parametrize("what", DAMAGE)
def test_a_file_that_differs_is_found_on_reading_back(strap_file: FilePath, what: str) -> None:
    text = strap_file.read_text(encoding="utf-8")
    damaged = DAMAGE[what](text)
    assert damaged != text
    strap_file.write_text(damaged, encoding="utf-8", newline="\n")
    with pytest.raises(GeometryError, match=r"strap\.dxf"):
        check_dxf(strap_file, strap())


def test_a_missing_entity_is_found(strap_file: FilePath) -> None:
    more = replace(strap(), cuts=(*strap().cuts, Circle((15, 45), 3.0)))
    with pytest.raises(GeometryError, match="entities; expected"):
        check_dxf(strap_file, more)


def test_a_number_that_is_none_is_refused() -> None:
    with pytest.raises(GeometryError, match="not finite"):
        dxf_bytes(replace(strap(), cuts=(Circle((math.nan, 0), 5), *strap().cuts)))


def test_a_folder_that_is_not_there_is_said(tmp_path: FilePath) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_dxf(strap(), tmp_path / "none" / "strap.dxf")


def test_signs_that_mean_something_to_dxf_come_through_as_text(tmp_path: FilePath) -> None:
    """In DXF's texts "%%c" is a code for Ø, and a text has one line."""
    odd = replace(
        strap(), title="50 %%c\nof “it” — ½", labels=(Label("Ø 9 ± 1°", (15, 45), 3, 30),)
    )
    write_dxf(odd, tmp_path / "odd.dxf")
    texts = [
        one.dxf.text for one in ezdxf.readfile(tmp_path / "odd.dxf").modelspace().query("TEXT")
    ]
    assert "Ø 9 ± 1°" in texts
    assert not any("%%" in one or "\n" in one for one in texts)


def test_bend_words_are_never_upside_down() -> None:
    ends = ((0.0, 0.0), (20 * math.cos(2.8), 20 * math.sin(2.8)))
    for start, end in (ends, ends[::-1]):
        figure = replace(strap(), bends=(BendLine(start, end, "90° up"),))
        space = ezdxf.read(_stream(dxf_bytes(figure))).modelspace()
        (text,) = space.query('TEXT[layer=="bend"]')
        assert -90 < text.dxf.rotation <= 90


def plate() -> Figure:
    """A larger one, with arcs of other radii."""
    return panel(130.0, 170.0)


@pytest.mark.parametrize("make", [strap, plate], ids=["strap", "plate"])
def test_another_program_draws_it_at_full_size(
    make: Callable[[], Figure], tmp_path: FilePath
) -> None:
    """LibreCAD prints it and poppler rasters that: size and area of what the black line holds."""
    from scipy import ndimage

    whole = make()
    # Turned a little: LibreCAD draws some arcs that begin or end at a quarter of a turn amiss.
    figure = Figure(
        whole.name, whole.title, cuts=tuple(one.placed(0.1, (60, 60)) for one in whole.cuts)
    )
    path = tmp_path / "one.dxf"
    write_dxf(figure, path)
    text = path.read_text(encoding="utf-8")
    x0, y0, x1, y1 = figure.box()
    # The paper that it is printed on is taken from the file.
    text, paper = path.read_text(encoding="utf-8"), "$PLIMMAX\n 10\n{:.1f}\n 20\n{:.1f}\n"
    assert paper.format(420, 297) in text
    text = text.replace(paper.format(420, 297), paper.format(x1 + 40, y1 + 40))
    path.write_text(text, encoding="utf-8", newline="\n")
    subprocess.run(
        [program("librecad"), "dxf2pdf", path.name],
        cwd=tmp_path,
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path)},
        capture_output=True,
        check=True,
        timeout=120,
    )
    dark = (pixels(tmp_path / "one.pdf", 1) < 90).all(axis=2)
    filled = ndimage.binary_fill_holes(dark)
    spots, count = ndimage.label(filled)
    sizes = ndimage.sum_labels(filled, spots, range(1, count + 1))
    piece = spots == 1 + int(np.argmax(sizes))
    rows, columns = np.flatnonzero(piece.any(axis=1)), np.flatnonzero(piece.any(axis=0))
    drawn = (
        (columns[-1] - columns[0] + 1) * MM_PX,
        (rows[-1] - rows[0] + 1) * MM_PX,
    )
    assert drawn == pytest.approx((x1 - x0, y1 - y0), abs=0.3)
    outer = max(one.area_mm2 for one in figure.cuts)
    around = 2 * (x1 - x0 + y1 - y0)
    assert piece.sum() * MM_PX**2 == pytest.approx(outer, abs=0.15 * around)  # half a line's width
    if make is strap:
        assert outer == pytest.approx(strap_area_mm2())
        assert pytest.approx(np.subtract(strap().box()[2:], strap().box()[:2])) == (WIDE, LONG)
