"""Everything for the bench from one small nose: all there, read by others, whole or not at all."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from pathlib import Path

import ezdxf
import pytest
from ezdxf.audit import Auditor

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
    assert {row["hand"] for row in rows} >= {"left", "right"}
    blanks = [row for row in rows if row["length_mm"]]
    assert {float(row["thickness_mm"]) for row in blanks if "steel" in row["material"]} <= {2.5, 3}


def test_the_page_lists_it_and_stands_for_the_check(made: tuple[Bench, Path], file: Path) -> None:
    _, folder = made
    text = (folder / "page.html").read_text(encoding="utf-8")
    (section,) = re.findall(r'<section id="make".*?</section>', text, re.DOTALL)
    assert "To buy, in all" in section
    assert "Could not be made" not in section
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
    assert status == 0
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
