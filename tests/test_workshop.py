"""Files for the bench: what is written, read back by others, and what is said where nothing is."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from noseroom import cli
from noseroom.envelope.reader import read, read_text
from noseroom.errors import OutputError
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.parts.spacer import Spacer
from noseroom.pipeline import Session, silent
from noseroom.report.drawing_svg import text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.workshop import spacer_files
from noseroom.workshop.bench import Bench, write_bench
from noseroom.workshop.spacer_drawing import FRAME, SHEET, Sheet, scale_of, spacer_svg, within
from noseroom.workshop.spacer_files import NAMES, make_spacers, plan_spacers
from noseroom.workshop.spacer_plan import NoSpacerError, spacer_plan
from test_fan_stack_view import DEMOS, PX_MM, SMALLEST_PX, SVG, gap, said

OPEN = gap((49.2, 57.9), spacer_from_1="the compressor", spacer_to_1="the radiator")
A4_MM, LETTER_MM = (297.0, 210.0), (279.4, 215.9)


def write_spacers(layout: Layout, findings: tuple[Finding, ...], folder: Path) -> Bench:
    """The bench with nothing but spacers on it."""
    planned = plan_spacers(layout, findings)
    makers = [lambda fresh: make_spacers(planned, fresh)]
    return write_bench(folder, makers, layout.envelope.title)


def pickup_text() -> str:
    return (DEMOS / "farm_pickup.yaml").read_text(encoding="utf-8")


@cache
def pickup() -> Layout:
    return arrange(read(DEMOS / "farm_pickup.yaml", KINDS))


def changed(*changes: tuple[str, str]) -> Layout:
    """The pickup with some words of its file changed."""
    text = pickup_text()
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return arrange(read_text(text, KINDS))


# -- the plan ------------------------------------------------------------------------------------


def test_the_pickups_spacer_by_hand() -> None:
    """2 in is the stock thickness deepest inside 49.2 to 57.9 mm.

    The hub is 3 in across, its pilot 5/8 in by 9/16 in, its bolts four 5/16-24 on 1 3/4 in; the
    normal clearance hole is 11/32 in (ASME B18.2.8). The pulley's web, 1/8 ± 1/64 in, takes that
    much of the pilot; a spacer of 2 in covers the rest, so that it needs a pilot of its own. At the
    most 9/16 + 1/16 - 1/8 + 1/64 in of pilot stand out, 13.1 mm; with 1 mm free, 14.1: 14.5 mm.
    """
    plan = spacer_plan(pickup(), OPEN)
    made = plan.spacer
    assert made.thickness_mm == pytest.approx(50.8)
    assert made.form == "double pilot"
    assert made.diameter_mm == pytest.approx(76.2)
    assert made.bore_mm == made.spigot_diameter_mm == pytest.approx(15.875)
    assert (made.bolt_count, made.bolt_circle_mm) == (4, pytest.approx(44.45))
    assert made.hole_mm == pytest.approx(11 / 32 * 25.4)
    assert made.recess_mm == pytest.approx(14.5)
    assert plan.window_mm == pytest.approx((49.2, 57.9))
    assert made.faults() == ()


def test_a_long_pilot_makes_a_plain_spacer() -> None:
    """A pilot of 2 in less the web's 1/8 in leaves 22 mm beyond a spacer of 1 in."""
    plan = spacer_plan(changed(("length: 9/16", "length: 2")), gap((24.0, 27.0)))
    assert plan.spacer.form == "plain"
    assert plan.spacer.thickness_mm == pytest.approx(25.4)
    assert "centres the fan" in " ".join(plan.sheet.notes)


def test_a_hub_without_a_pilot_makes_a_plain_spacer_and_a_warning() -> None:
    layout = changed(("length: 9/16", "length: 1/16"))
    plan = spacer_plan(layout, OPEN)
    assert plan.spacer.form == "plain"
    assert "see what centres the fan today" in " ".join(plan.sheet.notes)


def test_a_pilot_too_long_for_2_in_gets_a_thicker_spacer() -> None:
    """2 in ± 1/16 less the web's 7/64 is 49.6 mm at most: a recess of 51, which asks for 54 mm."""
    plan = spacer_plan(changed(("length: 9/16", "length: 2")), OPEN)
    assert plan.spacer.thickness_mm == pytest.approx(57.15)
    assert plan.spacer.recess_mm == pytest.approx(51.0)
    assert plan.spacer.faults() == ()


def test_without_stock_inside_the_window_it_is_turned_to_length() -> None:
    plan = spacer_plan(pickup(), gap((52.0, 55.0)))
    assert 52.1 <= plan.spacer.thickness_mm <= 54.9
    assert "turned to length" in " ".join(plan.sheet.notes)


@pytest.mark.parametrize(
    ("layout", "finding", "words"),
    [
        (pickup, gap((0.0, 60.0), verdict=Verdict.FITS), "no spacer to make for the fan"),
        (pickup, gap(), "does not keep its room to compressor"),
        (pickup, gap(verdict=Verdict.NOT_KNOWN), "no spacer to make for the fan"),
        (pickup, gap((52.00, 52.15)), "too narrow for a spacer"),
        (pickup, gap((14.0, 15.5)), "too thin for two pilots"),
        (
            lambda: changed(("ahead: 2 3/4", "ahead: 1 3/4"), ("mount 1/8 ", "mount 1 1/8 ")),
            OPEN,
            "never stacked",
        ),
        (lambda: changed((", thread: 5/16-24", "")), OPEN, "bolts.thread of the water pump"),
        (lambda: changed(("circle: 1 3/4, ", "")), OPEN, "bolts.circle"),
        (lambda: changed(("thread: 5/16-24", "thread: M3")), OPEN, "M3"),
        (
            lambda: changed(("hub: {diameter: 3,", "hub: {diameter: 2 1/8,")),
            OPEN,
            "is left between",
        ),
        (lambda: changed(("count: 4", "count: 12")), OPEN, "the washers of 12 bolts"),
    ],
    ids=[
        "not needed",
        "no window",
        "not known",
        "narrow",
        "between two forms",
        "a spacer is on already",
        "thread not read",
        "circle not read",
        "thread not in the table",
        "no metal round the holes",
        "washers that overlap",
    ],
)
def test_where_there_is_nothing_to_make_it_says_why(layout: Any, finding: Any, words: str) -> None:
    with pytest.raises(NoSpacerError, match=words):
        spacer_plan(layout(), finding)


# -- the drawing ---------------------------------------------------------------------------------

SPACERS = {
    "pickup": spacer_plan(pickup(), OPEN).spacer,
    "small": Spacer(thickness_mm=6, diameter_mm=50, bore_mm=12, bolt_circle_mm=32, hole_mm=6.6),
    "large": Spacer(
        thickness_mm=100,
        diameter_mm=200,
        bore_mm=40,
        bolt_circle_mm=150,
        hole_mm=13.5,
        bolt_count=6,
        form="double pilot",
        recess_mm=30,
        spigot_diameter_mm=40,
        spigot_length_mm=10,
    ),
    "long": Spacer(thickness_mm=76.2, diameter_mm=60, bore_mm=16, bolt_circle_mm=40, hole_mm=9),
}
SHEETS = [spacer_svg(one, Sheet("Fan spacer", "A nose.", ("Never stack.",))) for one in
          SPACERS.values()]  # fmt: skip


def pickup_sheet() -> str:
    plan = spacer_plan(pickup(), OPEN)
    return spacer_svg(plan.spacer, plan.sheet)


@pytest.mark.parametrize("sheet", [*SHEETS, pickup_sheet()], ids=[*SPACERS, "with all notes"])
def test_texts_do_not_meet_and_stay_in_the_frame(sheet: str) -> None:
    boxes = [(text, Box(*box)) for text, *box in text_boxes_of(sheet)]
    for text, box in boxes:
        assert box.inside(FRAME), text
    for (one, a), (other, b) in combinations(boxes, 2):
        slim, other_slim = (Box(c.x0, c.y0 + 0.6, c.x1, c.y1 - 0.3) for c in (a, b))
        assert not slim.overlaps(other_slim), f"{one!r} meets {other!r}"


def test_the_sheet_goes_onto_a4_and_letter_at_full_size_with_readable_text() -> None:
    for wide, high in (A4_MM, LETTER_MM):
        assert SHEET.x1 <= wide - 20
        assert SHEET.y1 <= high - 20
    root = ET.fromstring(pickup_sheet())
    assert root.get("width") == f"{SHEET.x1:g}mm"
    sizes = {float(one.get("font-size", "0")) for one in root.iter(f"{SVG}text")}
    assert min(sizes) / PX_MM >= SMALLEST_PX


def test_a_range_is_never_printed_wider_than_it_is() -> None:
    """By hand: 49.2 mm is 1.93701 in, 57.9 mm is 2.27953 in; 25.4 and 50.8 mm are whole inches."""
    assert within(49.2, 57.9) == "49.20 to 57.90 [1.938 to 2.279]"
    assert within(49.201, 57.899) == "49.21 to 57.89 [1.938 to 2.279]"
    assert within(25.4, 50.8) == "25.40 to 50.80 [1.000 to 2.000]"


def test_every_size_is_on_it_in_both_units_with_its_tolerance() -> None:
    """By hand: 50.8 is 2.000 in, 76.2 is 3.000, 44.45 is 1.750, 15.875 is .625, 14.5 is .571."""
    sheet = said(pickup_sheet())
    for text in (
        "50.80 ± 0.10 [2.000 ± .004]",
        "Ø76.20 [3.000]",
        "Ø15.88 +0.05/0 [0.625 +.002/0]",
        "Ø15.88 −0.05/0 [0.625 −.002/0]",
        "14.50 [0.571] deep",
        "4 × Ø8.7 [.344] through, equally spaced",
        "on Ø44.45 ± 0.10 [1.750 ± .004]",
        "Unless stated ± 0.2 mm [± .008 in]",
        "Third angle",
        "Scale 1:1",
    ):
        assert text in sheet, text
    for word in ("parallel within", "6061-T6", "Break other edges", "Never stack", "Battery off"):
        assert word in sheet, word


@pytest.mark.parametrize("name", SPACERS)
def test_the_views_are_to_scale(name: str) -> None:
    spacer = SPACERS[name]
    root = ET.fromstring(SHEETS[list(SPACERS).index(name)])
    (face,) = (one for one in root.iter(f"{SVG}g") if one.get("class") == "face")
    rounds = [
        float(found[1])
        for path in face.iter(f"{SVG}path")
        if (found := re.search(r"A([\d.]+) ", path.get("d", "")))
    ]
    assert max(rounds) == pytest.approx(spacer.diameter_mm / 2 * scale_of(spacer), abs=0.01)
    holes = [one for one in rounds if abs(one - spacer.hole_mm / 2 * scale_of(spacer)) < 0.01]
    assert len(holes) == spacer.bolt_count


def test_hatching_fills_the_cut_and_nothing_else() -> None:
    """The area of a hatched face is the length of its lines times their distance."""
    from shapely import MultiLineString

    from noseroom.workshop.spacer_views import hatch_of, section_of

    spacer = SPACERS["pickup"]
    area = section_of(spacer)
    t, r = spacer.thickness_mm, spacer.diameter_mm / 2
    by_hand = t * r + spacer.spigot_diameter_mm / 2 * spacer.spigot_length_mm
    by_hand -= spacer.recess_mm * spacer.bore_mm / 2 + spacer.hole_mm * t
    by_hand -= 4 * spacer.chamfer_mm**2 / 2  # two rims, the spigot's end, the bore's mouth
    assert area.area == pytest.approx(by_hand)
    lines = [line for piece in area.geoms for line in hatch_of(piece, 0.05)]
    assert MultiLineString(lines).length * 0.05 == pytest.approx(by_hand, rel=2e-3)


# -- the files -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The spacer's folder, written once."""
    folder = tmp_path_factory.mktemp("bench") / "farm_pickup"
    made = write_spacers(pickup(), (OPEN,), folder)
    assert made.refused == ()
    shared = ("templates-a4.pdf", "templates-letter.pdf", "cut-list.csv")
    assert made.names == tuple(
        f"workshop/{one}" for one in (*(f"spacer/{name}" for name in NAMES), *shared)
    )
    return folder / "workshop" / "spacer"


def metal_mm3() -> float:
    """The pickup's spacer by hand: ring and spigot, less recess, holes and chamfers (Pappus)."""
    made = SPACERS["pickup"]
    c, quarter = made.chamfer_mm, np.pi / 4
    volume = quarter * (made.diameter_mm**2 * 50.8 + 15.875**2 * made.spigot_length_mm)
    volume -= quarter * (15.875**2 * 14.5 + 4 * made.hole_mm**2 * 50.8)
    outer = 2 * (made.diameter_mm / 2 - c / 3) + (15.875 / 2 - c / 3)
    return float(volume - np.pi * c**2 * (outer + 15.875 / 2 + c / 3))


def test_step_comes_back_as_one_solid_of_the_right_size(written: Path) -> None:
    import cadquery as cq

    shape = cq.importers.importStep(str(written / "spacer.step")).val()
    solids = shape.Solids()
    assert len(solids) == 1
    assert solids[0].isValid()
    assert solids[0].Volume() == pytest.approx(metal_mm3(), rel=1e-6)
    box = solids[0].BoundingBox()
    assert (box.xmin, box.xmax) == pytest.approx(
        (-50.8 - SPACERS["pickup"].spigot_length_mm, 0.0), abs=1e-4
    )


def test_stl_is_closed_for_another_reader(written: Path) -> None:
    import trimesh

    mesh = trimesh.load(written / "spacer.stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(metal_mm3(), rel=1e-3)
    program = shutil.which("admesh")
    if program is None:
        pytest.skip("admesh is not installed")
    told = subprocess.run(
        [program, str(written / "spacer.stl")], capture_output=True, text=True, check=True
    ).stdout
    assert re.search(r"Number of parts\s*:\s*1\b", told)
    assert re.search(r"Total disconnected facets\s*:\s*0\s+0", told)
    volume = float(re.search(r"Volume\s*:\s*([\d.]+)", told)[1])  # type: ignore[index]
    assert volume == pytest.approx(metal_mm3(), rel=1e-3)


def test_the_same_nose_gives_the_same_bytes(written: Path, tmp_path: Path) -> None:
    again = arrange(read(DEMOS / "farm_pickup.yaml", KINDS))
    write_spacers(again, (OPEN,), tmp_path)
    for name in NAMES:
        assert (tmp_path / "workshop" / "spacer" / name).read_bytes() == (
            written / name
        ).read_bytes()


def test_what_stood_there_stays_when_writing_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_spacers(pickup(), (OPEN,), tmp_path)
    before = {one: one.read_bytes() for one in tmp_path.rglob("*") if one.is_file()}

    def stop(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(spacer_files, "write_stl", stop)
    with pytest.raises(OutputError, match="No space left"):
        write_spacers(pickup(), (gap((24.0, 27.0)),), tmp_path)
    assert {one: one.read_bytes() for one in tmp_path.rglob("*") if one.is_file()} == before


# -- the command ---------------------------------------------------------------------------------


def test_a_nose_without_a_fan_that_the_engine_drives_gets_no_spacer(tmp_path: Path) -> None:
    session = Session(DEMOS / "small_estate.yaml")
    found = session.check()
    planned = plan_spacers(session.nose(session.read(), silent).layout, found.findings)
    assert not planned.spacers
    assert not planned.refused
    assert planned.needless
    assert not make_spacers(planned, tmp_path).names
    assert not list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_written_is_said_before_the_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("in the way")
    status = cli.main(
        ["workshop", str(DEMOS / "farm_pickup.yaml"), "--outputs", str(tmp_path / "file")]
    )
    told = capsys.readouterr()
    assert status == cli.UNREADABLE
    assert "cannot be written" in told.err
    assert "Traceback" not in told.err


def test_a_file_that_cannot_be_read_is_no_traceback(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("format: 1\nfan:\n  diameter: wide\n")
    assert cli.main(["workshop", str(bad), "--outputs", str(tmp_path)]) == cli.UNREADABLE
    assert "line 3" in capsys.readouterr().err


SMALL = """
format: 1
title: a fan and one thing behind it
units: mm
tape: 0.1
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
    - core centred in core support.opening
engine:
  mounts: solid
  tilt: 0 ± 0.1 deg nose up
  place:
    - front 300 aft of water pump.hub.face
    - axis 230 below water pump.axis
    - axis 0 right of centreline
    - level ± 0.1 deg
    - square across ± 0.1 deg
water pump:
  hub: {diameter: 70, thickness: 8}
  pilot: {diameter: 20 ± 0.1, length: 10 ± 0.1}
  bolts: {count: 4, circle: 45 ± 0.1, thread: M8}
  place:
    - hub.face 170 aft of radiator.core.rear
    - axis 210 above radiator.core.bottom
    - axis 0 right of centreline
    - parallel to engine ± 0.1 deg
fan:
  diameter: 300
  width: 55
  ahead: 38
  spider: {diameter: 100, thickness: 5}
  place:
    - mount 0 ahead of water pump.hub.face
starter relay:
  is: box
  carried by: engine
  width: 40
  height: 40
  depth: 40
  place:
    - front 22 ahead of water pump.hub.face
    - middle 120 left of water pump.axis
    - middle 0 above water pump.axis
"""


def test_the_command_writes_the_files_and_says_what_to_take_care_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "small.yaml"
    file.write_text(SMALL)
    out = tmp_path / "out"
    assert cli.main(["workshop", str(file), "--outputs", str(out)]) == 0
    told = capsys.readouterr().out
    for name in NAMES:
        assert (out / "small" / "workshop" / "spacer" / name).is_file()
    assert f"small/workshop/spacer/ ({len(NAMES)} files)" in told
    assert "Never stack spacers" in told
    assert "Battery off" in told
    first = {one: one.read_bytes() for one in out.rglob("*") if one.is_file()}
    assert cli.main(["workshop", str(file), "--outputs", str(out)]) == 0
    assert {one: one.read_bytes() for one in out.rglob("*") if one.is_file()} == first
    drawing = said((out / "small" / "workshop" / "spacer" / "spacer.svg").read_text("utf-8"))
    assert "4 × Ø9.0 [.354] through" in drawing  # M8, medium: ISO 273
    assert [one for one in out.iterdir() if one.name.startswith(".")] == []


def test_a_check_of_the_same_nose_leaves_the_bench_files_alone(tmp_path: Path) -> None:
    """One of a changed nose takes them away: they would be for another nose."""
    file, out = tmp_path / "small.yaml", tmp_path / "out"
    file.write_text(SMALL)
    cli.main(["check", str(file), "--outputs", str(out)])
    cli.main(["workshop", str(file), "--outputs", str(out)])
    made = out / "small" / "workshop" / "spacer" / "spacer.svg"
    cli.main(["check", str(file), "--outputs", str(out)])
    assert made.is_file()
    assert (out / "small" / "fan-stack.svg").is_file()
    page = (out / "small" / "page.html").read_text(encoding="utf-8")
    assert 'href="#fan-stack"' in page
    file.write_text(SMALL.replace("width: 55", "width: 54"))
    cli.main(["check", str(file), "--outputs", str(out)])
    assert not made.exists()
