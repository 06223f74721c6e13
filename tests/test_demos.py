"""The command on the demo noses, from the outside: statuses, files, second runs, accidents."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import trimesh

import noseroom
from demo_noses import command, hashes, nose
from inner_panel import SCAN, landmarks, triangles
from noseroom.envelope.reader import read
from noseroom.geometry.kernel import is_valid, volume_mm3
from noseroom.geometry.step_files import read_step_parts
from noseroom.layout import Layout
from noseroom.parts.belt import Belt
from noseroom.parts.registry import KINDS
from noseroom.report.result import Result, result_schema

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
STATUS = {
    "farm_pickup": 1,
    "small_estate": 0,
    "half_measured_coupe": 3,
    "light_van": 0,
    "long_six_roadster": 1,
}
SENTENCE = {0: "everything fits", 1: "does not fit", 3: "not known"}
HEAVY = ("cadquery", "OCP", "coal", "manifold3d", "trimesh")


@dataclass(frozen=True)
class Run:
    """One finished run of the command."""

    name: str
    folder: Path
    status: int
    stdout: str
    stderr: str

    @property
    def file(self) -> Path:
        return DEMOS / f"{self.name}.yaml"

    @property
    def result(self) -> Result:
        return Result.from_json((self.folder / "findings.json").read_bytes())


def shared_run(name: str, base: Path) -> Run:
    """The first run of a demo, made once for all test processes: whoever comes first makes it."""
    said = base / f"{name}.json"
    try:
        (base / f"{name}.begun").touch(exist_ok=False)
    except FileExistsError:
        while not said.exists():
            time.sleep(0.2)
    else:
        made: dict[str, Any] = {"status": -1, "stdout": "", "stderr": "the run itself failed"}
        try:
            done = command("check", DEMOS / f"{name}.yaml", "--outputs", base)
            made = {"status": done.returncode, "stdout": done.stdout, "stderr": done.stderr}
        finally:
            fresh = base / f"{name}.fresh"
            fresh.write_text(json.dumps(made), encoding="utf-8")
            fresh.rename(said)
    return Run(name, base / name, **json.loads(said.read_text(encoding="utf-8")))


@pytest.fixture(scope="session", params=STATUS)
def demo(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Run:
    base = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        base = base.parent
    base = base / "demo-noses"
    base.mkdir(exist_ok=True)
    return shared_run(request.param, base)


@pytest.fixture(scope="session")
def layout(demo: Run) -> Layout:
    return nose(demo.file)


# -- the answer ----------------------------------------------------------------------------


def test_the_check_ends_with_the_right_status_and_no_traceback(demo: Run) -> None:
    assert demo.status == STATUS[demo.name], demo.stderr
    assert "Traceback" not in demo.stdout + demo.stderr
    assert SENTENCE[demo.status] in " ".join(demo.stdout.split())[:200]


def test_the_answer_ends_with_where_the_files_are(demo: Run) -> None:
    assert demo.stdout.rstrip().endswith(f"Files: {demo.folder.as_posix()}/")


def test_findings_say_what_the_command_says(demo: Run) -> None:
    text = (demo.folder / "findings.json").read_text(encoding="utf-8")
    jsonschema.validate(json.loads(text), result_schema())
    assert demo.result.exit_status == demo.status
    assert demo.result.to_json() == text


def test_findings_know_neither_paths_nor_times(demo: Run) -> None:
    text = (demo.folder / "findings.json").read_text(encoding="utf-8")
    assert str(demo.folder.parent) not in text
    assert str(DEMOS.parent) not in text
    assert not re.search(r"\b20\d\d-\d\d-\d\d", text)


def test_everything_promised_is_written_and_nothing_else(demo: Run) -> None:
    found = set(hashes(demo.folder))
    assert {"findings.json", "nose.step", "nose.glb", "side.svg", "front.svg"} <= found
    assert any(name.startswith("parts/") for name in found)
    assert found == {one.name for one in demo.result.files} | {"findings.json"}
    # Another worker may be writing another nose beside it.
    begun = f".{demo.name}-"
    left = [one.name for one in demo.folder.parent.iterdir() if one.name.startswith(begun)]
    assert not left


def test_every_file_is_the_one_that_the_findings_name(demo: Run) -> None:
    found = hashes(demo.folder)
    assert all(found[one.name] == one.sha256 for one in demo.result.files)


def test_the_vans_scan_is_the_one_that_its_maker_makes() -> None:
    """Points to a thousandth of a millimetre: the last bit of a float is the processor's."""
    vertices, faces = triangles()
    head, body = SCAN.read_bytes().split(b"end_header\n", 1)
    assert f"element vertex {len(vertices)}\n".encode() in head
    seen = np.frombuffer(body, "<f4", 3 * len(vertices)).reshape(-1, 3)
    assert seen == pytest.approx(vertices, abs=1e-3)
    rest = np.frombuffer(body[12 * len(vertices) :], [("count", "u1"), ("corners", "<i4", 3)])
    assert np.array_equal(rest["corners"], faces)
    said = read(DEMOS / "light_van.yaml", KINDS).parts["inner panel"].points
    for name, (_, scan) in landmarks().items():
        assert said[name] == pytest.approx(tuple(scan), abs=0.006)


@pytest.mark.parametrize("demo", ["light_van"], indirect=True)
def test_the_vans_scan_is_read_and_said_to_have_its_faults(demo: Run) -> None:
    scan = demo.result.scans[0]
    assert (scan.name, scan.file) == ("inner panel", "light_van_inner_panel.ply")
    said = " ".join(scan.remarks)
    assert all(word in said for word in ("72 triangles", "25 triangles", "40 slivers", "1 hole"))


@pytest.mark.parametrize("demo", ["farm_pickup"], indirect=True)
def test_the_pickups_compressor_stands_in_the_fans_sweep(demo: Run) -> None:
    fouls = [one for one in demo.result.of(noseroom.Verdict.FOULS) if "fan" in one.parts]
    pair = next(one for one in fouls if "compressor" in one.parts)
    assert pair.details["components"] in ("sweep / nose", "nose / sweep", "sweep / body")
    assert pair.measured_mm is not None
    assert pair.rule is not None
    assert pair.measured_mm < pair.rule.value_mm


@pytest.mark.parametrize("demo", ["half_measured_coupe"], indirect=True)
def test_the_coupe_says_what_nobody_has_placed(demo: Run) -> None:
    lost = {
        part
        for one in demo.result.of(noseroom.Verdict.NOT_KNOWN)
        for part in one.parts
        if one.id.startswith("place: ")
    }
    assert {"compressor", "drier"} <= lost
    assert not demo.result.of(noseroom.Verdict.FOULS)
    assert any("compressor" in remedy for one in demo.result.findings for remedy in one.remedies)


@pytest.mark.parametrize("demo", ["small_estate"], indirect=True)
def test_the_estates_radiator_leans_back_and_left_is_the_viewers(layout: Layout, demo: Run) -> None:
    """The sine is (87 - 34) / 340 from the two gaps in the file; the level says 9 degrees."""
    up = layout.parts["radiator"].pose[:3, 2]
    assert np.degrees(np.arcsin(up[0])) == pytest.approx(9.0, abs=0.2)
    # The file has the drier on the right and the compressor on the left of who faces the grille.
    assert layout.parts["drier"].pose[1, 3] < 0 < layout.parts["compressor"].pose[1, 3]


@pytest.mark.parametrize("demo", ["light_van"], indirect=True)
def test_the_vans_narrow_gaps_are_those_of_its_readings(demo: Run) -> None:
    """22, 24, 26 and 24 mm by steel rule at 12, 3, 6 and 9 o'clock, 9 mm at the drier, each ± 1."""
    fan = next(one for one in demo.result.findings if one.id == "fan gap: fan")
    for hour, mm in ((12, 22.0), (3, 24.0), (6, 26.0), (9, 24.0)):
        assert fan.details[f"gap_{hour}_mm"] == pytest.approx(mm, abs=1.0)
    drier = next(one for one in demo.result.findings if set(one.parts) == {"inner panel", "drier"})
    assert drier.measured_mm is not None
    # From the canister to the crown of the swage.
    assert drier.measured_mm == pytest.approx(9.0, abs=1.0)


@pytest.mark.parametrize("demo", ["light_van"], indirect=True)
def test_the_vans_belt_lies_on_four_pulleys_and_with_its_back_on_two(
    layout: Layout, demo: Run
) -> None:
    belt = layout.parts["drive belt"].part
    assert isinstance(belt, Belt)
    assert len(belt.run) == 6
    assert sum(belt.back) == 2
    assert belt.missed == ()
    found = {one.id: one for one in demo.result.findings}
    for key in ("length: drive belt", "slip: drive belt", "speed: compressor"):
        assert found[key].verdict is noseroom.Verdict.FITS


@pytest.mark.parametrize("demo", ["long_six_roadster"], indirect=True)
def test_nothing_in_the_roadsters_first_idea_fits(demo: Run) -> None:
    fouls = {frozenset(one.parts): one for one in demo.result.of(noseroom.Verdict.FOULS)}
    for pair in (
        ("fan", "radiator"),
        ("fan", "compressor"),
        ("condenser", "grille"),
        ("compressor", "lower radiator hose"),
        ("generator", "steering box"),
    ):
        assert frozenset(pair) in fouls, pair
    # Across the car: 16 3/4 - 7 1/2 / 2 to the bucket, 12 1/2 + 2 1/2 / 2 to the drier's far side.
    drier = fouls[frozenset(("drier", "left headlamp bucket"))]
    assert drier.measured_mm == pytest.approx(25.4 * ((16.75 - 3.75) - (12.5 + 1.25)), abs=25.4 / 8)


# -- a second run --------------------------------------------------------------------------


def test_a_second_run_says_the_same_without_the_kernel(demo: Run) -> None:
    before = hashes(demo.folder)
    code = (
        "import sys\n"
        "from noseroom.cli import main\n"
        f"status = main(['check', {str(demo.file)!r}, '--outputs', {str(demo.folder.parent)!r}])\n"
        "print(*{name.split('.')[0] for name in sys.modules}, file=sys.stderr)\n"
        "sys.exit(status)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert (done.returncode, done.stdout) == (demo.status, demo.stdout)
    assert "noseroom" in done.stderr.split()
    assert not set(done.stderr.split()) & set(HEAVY)
    assert hashes(demo.folder) == before


def test_python_gets_the_same_answer(demo: Run) -> None:
    result = noseroom.check(demo.file, outputs=demo.folder.parent)
    assert result == demo.result
    assert result.exit_status == demo.status


@pytest.mark.parametrize("harm", ["changed", "missing", "findings"])
def test_a_damaged_folder_does_not_count_as_an_answer(demo: Run, tmp_path: Path, harm: str) -> None:
    from noseroom.pipeline import earlier

    copy = tmp_path / demo.name
    shutil.copytree(demo.folder, copy)
    digest = demo.result.input_sha256
    assert earlier(copy, digest) == demo.result
    _damage(copy, harm)
    assert earlier(copy, digest) is None


def _damage(folder: Path, harm: str) -> None:
    if harm == "changed":
        data = (folder / "nose.step").read_bytes()
        (folder / "nose.step").write_bytes(data[:-20])
    elif harm == "missing":
        (folder / "front.svg").unlink()
    else:
        (folder / "findings.json").write_text('{"schema": 1}', encoding="utf-8")


@pytest.mark.parametrize("demo", ["half_measured_coupe"], indirect=True)
def test_a_damaged_folder_is_made_anew_to_the_byte(demo: Run, tmp_path: Path) -> None:
    """By another process with another order of its sets and dictionaries' hashes."""
    copy = tmp_path / demo.name
    shutil.copytree(demo.folder, copy)
    _damage(copy, "changed")
    done = command("check", demo.file, "--outputs", tmp_path, PYTHONHASHSEED="4711")
    assert done.returncode == demo.status, done.stderr
    assert hashes(copy) == hashes(demo.folder)


# -- what is in the files ------------------------------------------------------------------


def test_step_comes_back_part_by_part(demo: Run, layout: Layout) -> None:
    """Against solids built again from the envelope, moved by nothing but their poses."""
    found = read_step_parts(demo.folder / "nose.step")
    expected = {
        f"{part.shelf}/{part.name}/{part.name}: {component}": volume_mm3(solid)
        for part in layout.parts.values()
        for component, solid in part.part.solids().items()
        if component not in part.part.sweeps()
    }
    assert found.keys() == expected.keys()
    for name, volume in expected.items():
        assert is_valid(found[name]), name
        assert volume_mm3(found[name]) == pytest.approx(volume, rel=1e-6), name


def test_glb_is_in_metres(demo: Run, layout: Layout) -> None:
    """Each node's volume in m³ against the solid's in mm³; both within the mesh's chord error."""
    scene = trimesh.load(demo.folder / "nose.glb", force="scene")
    seen = set()
    for node in scene.graph.nodes_geometry:
        matrix, geometry = scene.graph[node]
        _, _, part, component = node.split("/")
        mesh = scene.geometry[geometry].copy()
        mesh.apply_transform(matrix)
        seen.add(part)
        if layout.parts[part].part.meshes():
            scan = layout.parts[part].part.meshes()[component]
            turned = scan.vertices @ layout.parts[part].pose[:3, :3].T
            assert sorted(mesh.extents) == pytest.approx(sorted(np.ptp(turned, axis=0) / 1000))
            continue
        solid = layout.parts[part].part.solids()[component]
        assert float(mesh.volume) == pytest.approx(volume_mm3(solid) * 1e-9, rel=0.03), node
        box, moved = solid.BoundingBox(), mesh.extents
        reach_m = np.sqrt(box.xlen**2 + box.ylen**2 + box.zlen**2) / 1000
        assert (moved <= reach_m + 1e-6).all()
    assert seen == {
        name
        for name, part in layout.parts.items()
        if {*part.part.solids(), *part.part.meshes()} - set(part.ghosts)
    }


@pytest.mark.parametrize("demo", ["small_estate"], indirect=True)
def test_glb_of_the_estate_has_the_sizes_that_the_file_gives(demo: Run) -> None:
    """Core support: 600 mm clear and 55 mm of flange each side; the rails 45 and 60 mm high."""
    scene = trimesh.load(demo.folder / "nose.glb", force="scene")
    matrix, geometry = scene.graph["nose/body/core support/rails"]
    rails = scene.geometry[geometry].copy()
    rails.apply_transform(matrix)
    across, up, _ = sorted(rails.extents, reverse=True)
    assert across == pytest.approx(0.600 + 2 * 0.055, abs=1e-6)
    assert up == pytest.approx(0.045 + 0.400 + 0.060, abs=1e-6)


def test_stl_is_closed_for_another_reader(demo: Run) -> None:
    for path in sorted((demo.folder / "parts").glob("*.stl")):
        mesh = trimesh.load(path, force="mesh")
        assert mesh.is_watertight, path.name
        assert mesh.is_winding_consistent, path.name
        assert mesh.volume > 0, path.name


def test_stl_needs_no_repair_by_a_slicers_tool(demo: Run) -> None:
    """Admesh joins facets by their edges, finds what is open or turned, and measures."""
    admesh = shutil.which("admesh")
    if admesh is None:
        pytest.skip("admesh is not on this machine")
    for path in sorted((demo.folder / "parts").glob("*.stl")):
        said = subprocess.run(
            [admesh, str(path)], capture_output=True, text=True, errors="replace", check=True
        ).stdout
        assert re.search(r"Total disconnected facets\s*:\s*0\s+0\b", said), path.name
        for fault in ("Degenerate facets", "Edges fixed", "Facets removed", "Facets reversed"):
            assert re.search(rf"{fault}\s*:\s*0\b", said), f"{path.name}: {fault}"
        volume = re.search(r"Volume\s*:\s*([\d.]+)", said)
        assert volume
        mesh = trimesh.load(path, force="mesh")
        assert float(volume[1]) == pytest.approx(float(mesh.volume), rel=1e-4), path.name
