"""The command on the demo noses, from the outside: statuses, files, second runs, accidents."""

from __future__ import annotations

import hashlib
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
from demo_noses import nose
from inner_panel import SCAN, landmarks, triangles
from noseroom import cli
from noseroom.envelope.reader import read
from noseroom.geometry.kernel import is_valid, volume_mm3
from noseroom.geometry.step_files import read_step_parts
from noseroom.layout import Layout
from noseroom.parts.belt import Belt
from noseroom.parts.registry import KINDS
from noseroom.report.result import Result, result_schema
from noseroom.workshop import nose_files

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

SMALL = """\
format: 1
units: mm
core support:
  opening: {width: 600, height: 400}
radiator:
  flow: down
  core: {width: 450, height: 300, thickness: 40}
  place:
    - core.front 60 aft of core support.face
"""


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


def command(*words: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "noseroom.cli", *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=os.environ | environment,
    )


def hashes(folder: Path) -> dict[str, str]:
    """Every file below a folder, hidden ones too, with its SHA-256."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


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
    left = [one.name for one in demo.folder.parent.iterdir() if one.name.startswith(".")]
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
def test_the_vans_belt_lies_on_all_four_pulleys(layout: Layout, demo: Run) -> None:
    belt = layout.parts["drive belt"].part
    assert isinstance(belt, Belt)
    assert len(belt.run) == 4
    assert belt.missed == ()


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


# -- accidents -----------------------------------------------------------------------------


@pytest.fixture
def small(tmp_path: Path) -> Path:
    path = tmp_path / "small.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def check_here(path: Path, outputs: Path) -> int:
    return cli.main(["check", str(path), "--outputs", str(outputs)])


def test_a_file_with_a_fault_leaves_earlier_outputs_alone(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outputs = tmp_path / "outputs"
    assert check_here(small, outputs) in (0, 1, 3)
    before = hashes(outputs)
    assert "small/nose.step" in before
    small.write_text(SMALL.replace("flow: down", "flow: sideways"), encoding="utf-8")
    capsys.readouterr()
    assert check_here(small, outputs) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "line 6, radiator.flow" in said.err
    assert hashes(outputs) == before


@pytest.mark.parametrize(
    ("accident", "status"), [(KeyboardInterrupt(), 130), (OSError(28, "No space left"), 2)]
)
def test_an_interrupted_run_leaves_earlier_outputs_alone(
    small: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    accident: BaseException,
    status: int,
) -> None:
    outputs = tmp_path / "outputs"
    check_here(small, outputs)
    before = hashes(outputs)
    small.write_text(SMALL.replace("width: 450", "width: 440"), encoding="utf-8")

    def stop(*_: object) -> None:
        raise accident

    # After the drawings and the STEP file, before the rest.
    monkeypatch.setattr(nose_files, "write_glb", stop)
    capsys.readouterr()
    assert check_here(small, outputs) == status
    said = capsys.readouterr()
    assert said.out == ""
    assert "noseroom: " in said.err
    assert hashes(outputs) == before
    monkeypatch.undo()
    assert check_here(small, outputs) in (0, 1, 3)
    assert hashes(outputs) != before


def test_outputs_that_cannot_be_written_are_said_to_be(small: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "outputs"
    blocked.write_text("a file where a folder should be", encoding="utf-8")
    done = command("check", small, "--outputs", blocked)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "cannot be written" in done.stderr
    assert "outputs" in done.stderr
    assert "Traceback" not in done.stderr
    assert blocked.read_text(encoding="utf-8") == "a file where a folder should be"


def test_a_file_where_the_folder_should_be_stays(small: Path, tmp_path: Path) -> None:
    outputs = tmp_path / "outputs"
    outputs.mkdir()
    (outputs / "small").write_text("mine", encoding="utf-8")
    assert check_here(small, outputs) == 2
    assert hashes(outputs) == {"small": hashlib.sha256(b"mine").hexdigest()}


def test_no_file_at_all_is_said_to_be(tmp_path: Path) -> None:
    done = command("check", tmp_path / "nowhere.yaml", "--outputs", tmp_path / "outputs")
    assert done.returncode == 2
    assert "nowhere.yaml" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "outputs").exists()


@pytest.mark.parametrize("library", ["libGL.so.1", "libX11.so.6"])
def test_a_missing_system_library_is_named_with_its_package(
    small: Path, tmp_path: Path, library: str
) -> None:
    """The loader's own words, raised where the kernel would be loaded."""
    code = (
        "import sys\n"
        "class Missing:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.split('.')[0] in ('OCP', 'cadquery'):\n"
        f"            raise ImportError('{library}: cannot open shared object file: '\n"
        "                              'No such file or directory')\n"
        "sys.meta_path.insert(0, Missing())\n"
        "from noseroom.cli import main\n"
        f"sys.exit(main(['check', {str(small)!r}, '--outputs', {str(tmp_path / 'outputs')!r}]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == 2, done.stderr
    assert library in done.stderr
    assert "libgl1" in done.stderr
    assert "libx11-6" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "outputs" / "small").exists()


def test_without_outputs_nothing_is_written(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = noseroom.check(small)
    assert result.files == ()
    assert set(hashes(tmp_path)) == {"small.yaml"}
