"""Everything for the bench from one small nose: all there, read by others, whole or not at all."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from pathlib import Path

import ezdxf
import ezdxf.path
import pytest
from ezdxf.audit import Auditor
from shapely import Polygon, affinity, union_all

from noseroom import cli
from noseroom.errors import GeometryError, OutputError
from noseroom.making import make
from noseroom.pipeline import check
from noseroom.report.page_html import Html
from noseroom.report.result import Result
from noseroom.workshop import bracket_files, page_update
from noseroom.workshop.bench import Bench
from programs import page_count, told

NOSE = """
format: 1
title: A small nose & its <bench>
units: mm
sides: as seated
tape: 1
shop: {sheet: [2.5, 3], bed: [200, 200, 180], card: 4, card size: [900, 600]}
core support:
  opening: {width: 640, height: 440}
  rails: {upper: {height: 50, depth: 40}, lower: {height: 50, depth: 40}}
  sides: {width: 60 ± 1}
  thickness: 1.5 ± 0.2
radiator:
  core: {width: 500, height: 380, thickness: 40}
  tanks: {top: {height: 30, depth: 60}, bottom: {height: 30, depth: 60}}
  brackets: {form: none}
  place:
    - core.front 40 aft of core support.face
    - core.bottom 32 above core support.opening.bottom
    - core centred in core support.opening
    - plumb ± 1/4 deg
    - level ± 1/4 deg
    - square across ± 1/4 deg
condenser:
  core: {width: 480, height: 330, thickness: 18}
  headers: {form: round, diameter: 22}
  ports: {side: right, way: ahead}
  tabs: {width: 38, height: 30, thickness: 3 ± 0.2, from end: 15, hole: 8.4 ± 0.2}
  mass: 2.8
  place:
    - core.rear 45 ahead of radiator.core.front
    - core.bottom 50 above core support.opening.bottom
    - core centred in core support.opening
    - plumb ± 1/4 deg
    - level ± 1/4 deg
    - square across ± 1/4 deg
"""


def tree(folder: Path) -> dict[str, bytes]:
    return {
        one.relative_to(folder).as_posix(): one.read_bytes()
        for one in sorted(folder.rglob("*"))
        if one.is_file()
    }


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("nose") / "small.yaml"
    path.write_text(NOSE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(file: Path) -> tuple[Bench, Path]:
    """The bench, and the nose's folder."""
    outputs = file.parent / "outputs"
    return make(file, outputs=outputs), outputs / "small"


def test_all_that_is_named_is_there_and_nothing_else(made: tuple[Bench, Path]) -> None:
    bench, folder = made
    assert set(bench.names) == {f"workshop/{one}" for one in tree(folder / "workshop")}
    endings = {Path(one).suffix for one in bench.names if "/brackets/" in one}
    assert endings == {".step", ".stl", ".dxf", ".pdf"}
    assert "workshop/nose-with-brackets.step" in bench.names
    assert len([one for one in bench.names if one.startswith("workshop/brackets/")]) >= 16
    for name in ("templates-a4.pdf", "templates-letter.pdf", "cut-list.csv"):
        assert f"workshop/{name}" in bench.names


def test_what_is_not_wanted_is_no_refusal(made: tuple[Bench, Path]) -> None:
    """A nose without a fan wants no spacer."""
    bench, _ = made
    assert bench.refused == ()


def test_what_is_not_known_of_a_bracket_is_said(made: tuple[Bench, Path]) -> None:
    """Without an engine in the file nobody knows what shakes the brackets."""
    bench, _ = made
    assert len(bench.doubts) == 4
    assert all("(not known)" in one for one in bench.doubts)


def test_every_flat_passes_the_librarys_audit(made: tuple[Bench, Path]) -> None:
    _, folder = made
    files = sorted((folder / "workshop").rglob("*.dxf"))
    assert len(files) >= 5
    for one in files:
        document = ezdxf.readfile(one)
        auditor: Auditor = document.audit()
        assert not auditor.errors, one.name
        assert (document.dxfversion, document.header["$INSUNITS"]) == ("AC1024", 4)


def test_every_print_fits_the_shops_own_bed_and_is_sliced(
    made: tuple[Bench, Path], tmp_path: Path
) -> None:
    """One piece of each stand-in and trial bracket gives G-code on the bed that the file states."""
    _, folder = made
    homes = sorted({one.parent for one in (folder / "workshop" / "mockups").rglob("*.stl")})
    files = [min(home.glob("*.stl")) for home in homes]
    assert len(files) >= 5
    for number, one in enumerate(files):
        path = tmp_path / f"{number}.gcode"
        told(
            "prusa-slicer",
            "--export-gcode",
            "--bed-shape",
            "0x0,200x0,200x200,0x200",
            "--center",
            "100,100",
            "--max-print-height",
            "180",
            "--output",
            path,
            one,
        )
        assert re.search(r"^G1 .*E", path.read_text(errors="replace"), re.MULTILINE), one.name


def test_every_pdf_opens(made: tuple[Bench, Path]) -> None:
    _, folder = made
    for one in sorted((folder / "workshop").rglob("*.pdf")):
        assert page_count(one) >= 1


def test_the_cut_list_counts_what_is_bought(made: tuple[Bench, Path]) -> None:
    _, folder = made
    text = (folder / "workshop" / "cut-list.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    bolts = [row for row in rows if row["what"] == "bolt"]
    single = sum(int(row["count"]) for row in bolts if row["item"] != "in all")
    assert single == sum(int(row["count"]) for row in bolts if row["item"] == "in all") >= 8
    assert {row["hand"] for row in rows} >= {"car's left", "car's right"}
    blanks = [row for row in rows if row["length_mm"]]
    assert {float(row["thickness_mm"]) for row in blanks if "steel" in row["material"]} <= {2.5, 3}


def test_every_flat_says_what_is_up_and_whose_side_it_is_for(made: tuple[Bench, Path]) -> None:
    """In each DXF an arrow that runs straight up, and a letter as in the file's name."""
    _, folder = made
    files = sorted((folder / "workshop" / "brackets").glob("*.dxf"))
    assert len(files) >= 4
    for one in files:
        space = ezdxf.readfile(one).modelspace()
        marks = {text.dxf.text for text in space.query('TEXT[layer=="marks"]')}
        assert marks & {"UP (in the car)", "AHEAD (in the car)"}, one.name
        assert ("L" if "-left-" in one.name else "R") in marks, one.name
        lines = space.query('LINE[layer=="marks"]')
        stem = max(lines, key=lambda line: line.dxf.start.distance(line.dxf.end)).dxf
        assert stem.start.x == pytest.approx(stem.end.x, abs=1e-9)
        assert stem.start.y < stem.end.y


def test_left_and_right_of_an_even_nose_are_mirror_images_on_paper(
    made: tuple[Bench, Path],
) -> None:
    """The nose is the same on both sides: so are outlines and holes, left for right."""
    _, folder = made
    pairs = [
        (one, one.with_name(one.name.replace("-left-", "-right-")))
        for one in sorted((folder / "workshop" / "brackets").glob("*-left-*.dxf"))
    ]
    assert len(pairs) >= 2
    for left, right in pairs:
        first, second = (metal(one) for one in (left, right))
        x0, _, x1, _ = first.bounds
        mirrored = affinity.scale(first, -1.0, 1.0, origin=((x0 + x1) / 2.0, 0.0))
        assert mirrored.symmetric_difference(second).area < 0.01 * first.area, left.name


def metal(path: Path) -> Polygon:
    """What is left of a flat once its cuts are cut."""
    cuts = [
        Polygon([(one.x, one.y) for one in ezdxf.path.make_path(cut).flattening(0.01)]).buffer(0.0)
        for cut in ezdxf.readfile(path).modelspace().query('*[layer=="cut"]')
    ]
    whole = max(cuts, key=lambda one: one.area)
    return whole.difference(union_all([one for one in cuts if one is not whole]))


def test_each_drawing_is_one_page_and_says_what_must_be_known(made: tuple[Bench, Path]) -> None:
    _, folder = made
    files = sorted((folder / "workshop" / "brackets").glob("*.pdf"))
    cut = list(
        csv.DictReader((folder / "workshop" / "cut-list.csv").read_text("utf-8").splitlines())
    )
    blanks = {row["item"]: (row["length_mm"], row["width_mm"]) for row in cut if row["length_mm"]}
    for one in files:
        assert page_count(one) == 1, one.name
        said = " ".join(told("pdftotext", one, "-").split())
        side = "left" if "-left-" in one.name else "right"
        for words in (
            "(in the car)",
            f"{side[0].upper()}: the car's {side}",
            "head on the bracket",
            "locking nut",
            f"Stamp {side[0].upper()} and",
            "N·m dry at most",
            "A sizing aid",
            "the condenser's tab",
            "isometric",
        ):
            assert words in said, (one.name, words)
        # One blank everywhere.
        item = next(key for key in blanks if one.stem.replace("-", " ").startswith(key[16:]))
        for size in blanks[item]:
            assert size in said, (one.name, size)


def test_bolts_of_the_trial_are_of_lengths_that_are_sold(made: tuple[Bench, Path]) -> None:
    """ISO 888: preferred lengths of metric bolts (from memory)."""
    _, folder = made
    notes = sorted((folder / "workshop" / "mockups" / "trial-brackets").rglob("notes.txt"))
    assert len(notes) >= 4
    preferred = {12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80}
    for one in notes:
        text = one.read_text(encoding="utf-8")
        (line,) = (row for row in text.splitlines() if row.startswith("Bolts for the trial"))
        lengths = [int(mm) for mm in re.findall(r"M\d+ × (\d+)", line)]
        assert lengths
        assert set(lengths) <= preferred
        assert "engine warm" not in text


def test_the_page_lists_it_and_stands_for_the_check(made: tuple[Bench, Path], file: Path) -> None:
    _, folder = made
    text = (folder / "page.html").read_text(encoding="utf-8")
    (section,) = re.findall(r'<section id="make".*?</section>', text, re.DOTALL)
    assert "To buy, in all" in section
    assert "not surely right" in section
    assert "<bench>" not in section
    files = {
        one["name"]: one["sha256"]
        for one in json.loads((folder / "findings.json").read_text(encoding="utf-8"))["files"]
    }
    assert files["page.html"] == hashlib.sha256(text.encode()).hexdigest()
    before = tree(folder)
    check(file, outputs=folder.parent)
    assert tree(folder) == before


def test_the_command_says_what_it_wrote_and_writes_the_same_bytes(
    made: tuple[Bench, Path], file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, folder = made
    before = tree(folder)
    status = cli.main(["workshop", str(file), "--outputs", str(folder.parent)])
    said = capsys.readouterr().out
    assert status == cli.SOME_REFUSED
    assert "workshop/brackets/ (16 files)" in said
    assert "templates-a4.pdf" in said
    assert "Cut sheet is sharp" in said
    assert tree(folder) == before


def test_a_changed_nose_takes_it_all_away(file: Path, tmp_path: Path) -> None:
    other = tmp_path / "small.yaml"
    other.write_text(NOSE, encoding="utf-8")
    outputs = tmp_path / "outputs"
    check(other, outputs=outputs)
    (outputs / "small" / "workshop").mkdir()
    other.write_text(NOSE.replace("tape: 1\n", "tape: 1.1\n"), encoding="utf-8")
    check(other, outputs=outputs)
    assert not (outputs / "small" / "workshop").exists()
    page = (outputs / "small" / "page.html").read_text(encoding="utf-8")
    assert "Nothing has been made for the bench" in page


def test_a_run_that_fails_leaves_what_stood_there(
    made: tuple[Bench, Path], file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, folder = made
    before = tree(folder)

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bracket_files, "write_dxf", full)
    with pytest.raises(OutputError, match="No space left"):
        make(file, outputs=folder.parent)
    assert tree(folder) == before


def test_a_page_that_does_not_come_back_stays_as_it_was(
    made: tuple[Bench, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench, folder = made
    before = tree(folder)
    result = Result.from_json((folder / "findings.json").read_bytes())
    monkeypatch.setattr(page_update, "with_section", lambda *_: Html("no page"))
    with pytest.raises(GeometryError, match=r"page\.html"):
        page_update.list_on_page(result, bench, folder)
    assert tree(folder) == before
