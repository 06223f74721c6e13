"""Scans in a nose: placed by landmarks, never a "fits" through a hole, only from their folder."""

from __future__ import annotations

import os
import random
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import noseroom
from noseroom.attached import attached_files, digest, read_shapes
from noseroom.envelope.reader import read, read_text
from noseroom.findings import Finding, Verdict
from noseroom.geometry.scans import Scan
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.parts.scan import ScannedPart, ScanShape

Floats = np.ndarray


def sheet(
    width: float = 400.0, height: float = 300.0, step: float = 10.0, hole: float = 0.0
) -> tuple[Floats, Floats]:
    """A flat sheet square to x at x = 0, with a square hole of this size in its middle."""
    across = np.arange(-width / 2, width / 2 + 0.5 * step, step)
    up = np.arange(-height / 2, height / 2 + 0.5 * step, step)
    grid = np.array([[0.0, y, z] for y in across for z in up])
    rows = len(up)
    faces = []
    for i in range(len(across) - 1):
        for j in range(rows - 1):
            middle = np.array([across[i] + step / 2, up[j] + step / 2])
            if hole and np.abs(middle).max() < hole / 2:
                continue
            a, b, c, d = i * rows + j, (i + 1) * rows + j, (i + 1) * rows + j + 1, i * rows + j + 1
            faces += [[a, b, c], [a, c, d]]
    used, numbers = np.unique(np.array(faces), return_inverse=True)
    return grid[used], numbers.reshape(-1, 3)


def write_stl(path: Path, vertices: Floats, faces: Floats) -> None:
    """Binary STL by hand, so that the program's own writer is no part of the test."""
    record = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = vertices[faces]
    path.write_bytes(b"\0" * 80 + np.uint32(len(faces)).tobytes() + record.tobytes())


HEAD = """
format: 1
units: mm
sides: as seated
tape: 0.5
core support:
  opening: {width: 700, height: 480}
"""

PANEL = """
panel:
  is: scan
  file: panel.stl
  unit: mm
  edge: open
  accuracy: 0.5 ± 0.1
  thickness: 1 ± 0.1
  landmarks:
    low left: [0, -200, -150]
    low right: [0, 200, -150]
    high left: [0, -200, 150]
  place:
    - low left 300 aft of core support.face
    - low right 300 aft of core support.face
    - high left 300 aft of core support.face
    - low left 200 left of centreline
    - low left 100 above core support.opening.bottom
    - low right 100 above core support.opening.bottom
"""

BOX = """
horn:
  is: box
  depth: 40
  width: 60
  height: 60
  place:
    - rear {gap} of panel.low left
    - middle centred in core support.opening
    - middle 250 above core support.opening.bottom
    - plumb ± 0.1 deg
    - level ± 0.1 deg
    - square across ± 0.1 deg
"""


def box(gap: float) -> str:
    return BOX.format(gap=f"{abs(gap)} {'ahead' if gap > 0 else 'aft'}")


def nose(folder: Path, *, gap: float, hole: float = 0.0, panel: str = PANEL) -> Path:
    write_stl(folder / "panel.stl", *sheet(hole=hole))
    path = folder / "nose.yaml"
    path.write_text(HEAD + panel + box(gap), encoding="utf-8")
    return path


def verdict(path: Path) -> Verdict:
    """Of panel and horn; pairs that surely fit and are far apart are counted, not listed."""
    result = noseroom.check(path)
    listed = [one.verdict for one in result.findings if set(one.parts) == {"panel", "horn"}]
    assert listed or result.far_pairs
    return listed[0] if listed else Verdict.FITS


def between(result: noseroom.Result, *names: str) -> Finding:
    return next(one for one in result.findings if set(one.parts) == set(names))


def test_what_keeps_clear_of_a_scan_fits_and_its_gap_is_never_over_stated(tmp_path: Path) -> None:
    """A flat sheet 20 mm behind a box: the true gap is 20 less what scan and sheet may add."""
    found = between(noseroom.check(nose(tmp_path, gap=20.0)), "panel", "horn")
    assert found.verdict is Verdict.FITS
    assert found.measured_mm == pytest.approx(20.0, abs=0.01)
    assert found.sure_mm is not None
    assert 20.0 - 10.0 < found.sure_mm < 20.0 - 0.5 - 1.0


def test_a_scan_that_is_too_near_fouls(tmp_path: Path) -> None:
    assert verdict(nose(tmp_path, gap=-10.0)) is Verdict.FOULS


def test_what_a_scan_is_bolted_to_may_touch_it(tmp_path: Path) -> None:
    joined = PANEL.replace("  unit: mm", "  unit: mm\n  joined to: horn")
    result = noseroom.check(nose(tmp_path, gap=-1.0, panel=joined))
    assert result.verdict is Verdict.FITS


def test_nothing_fits_through_a_hole(tmp_path: Path) -> None:
    """The same box at the same place: with a hole before it, nobody knows."""
    assert verdict(nose(tmp_path, gap=20.0)) is Verdict.FITS
    found = between(noseroom.check(nose(tmp_path, gap=20.0, hole=100.0)), "panel", "horn")
    assert found.verdict is Verdict.NOT_KNOWN
    assert "did not see" in found.note
    assert found.remedies
    assert verdict(nose(tmp_path, gap=-10.0, hole=140.0)) is Verdict.NOT_KNOWN
    # A surface that spans 100 mm no steeper than 45 degrees stays within 50 mm.
    assert verdict(nose(tmp_path, gap=100.0, hole=100.0)) is Verdict.FITS


def test_a_hole_elsewhere_in_the_scan_does_not_matter(tmp_path: Path) -> None:
    path = nose(tmp_path, gap=20.0, hole=40.0)
    moved = path.read_text().replace(
        "middle centred in core support.opening", "middle 140 right of centreline"
    )
    path.write_text(moved)
    assert verdict(path) is Verdict.FITS


def test_what_lies_inside_an_edge_that_nobody_calls_open_is_not_known(tmp_path: Path) -> None:
    """A tub of five sides, scanned from its open side: a box in it is air or not, as one says."""
    vertices, faces = tub(300.0)
    write_stl(tmp_path / "panel.stl", vertices, faces)
    panel = PANEL.replace("low left: [0, -200, -150]", "low left: [0, -150, -150]").replace(
        "low right: [0, 200, -150]", "low right: [0, 150, -150]"
    )
    panel = panel.replace("high left: [0, -200, 150]", "high left: [0, -150, 150]").replace(
        "low left 200 left", "low left 150 left"
    )
    verdicts = {}
    for edge in ("open", "unseen"):
        text = HEAD + panel.replace("edge: open", f"edge: {edge}") + box(100.0)
        path = tmp_path / "nose.yaml"
        path.write_text(text)
        verdicts[edge] = verdict(path)
    assert verdicts == {"open": Verdict.FITS, "unseen": Verdict.NOT_KNOWN}


def tub(size: float) -> tuple[Floats, Floats]:
    """A box of this size without its front (x = -size), its back at x = 0, in fine triangles."""
    back, faces = sheet(size, size, 10.0)
    parts = [(back, faces)]
    for axis in (1, 2):
        for sign in (-1.0, 1.0):
            wall = back.copy()
            wall[:, 0] = back[:, axis] - size / 2
            wall[:, axis] = sign * size / 2
            parts.append((wall, faces if sign < 0 else faces[:, ::-1]))
    count, vertices, triangles = 0, [], []
    for points, numbers in parts:
        vertices.append(points)
        triangles.append(numbers + count)
        count += len(points)
    return np.concatenate(vertices), np.concatenate(triangles)


def test_landmarks_place_a_scan_that_stands_at_any_angle(tmp_path: Path) -> None:
    """Ten random placements, each read at four landmarks along all three axes, come back."""
    rng = random.Random(4)
    vertices, faces = tub(300.0)
    write_stl(tmp_path / "panel.stl", vertices, faces)
    marks = {"first": vertices[0], "second": vertices[777], "third": vertices[-1],
             "fourth": vertices[2000]}  # fmt: skip
    for number in range(10):
        turn = Rotation.from_euler("xyz", [rng.uniform(-25, 25) for _ in range(3)], degrees=True)
        shift = np.array([rng.uniform(200, 600), rng.uniform(-300, 300), rng.uniform(50, 400)])
        lines = ["panel:", "  is: scan", "  file: panel.stl", "  unit: mm", "  edge: open"]
        lines += ["  landmarks:"]
        lines += [f"    {name}: [{', '.join(f'{x:.9g}' for x in p)}]" for name, p in marks.items()]
        lines += ["  place:"]
        for name, point in marks.items():
            x, y, z = turn.apply(point) + shift
            lines += [
                f"    - {name} {x:.9f} aft of core support.face, along the car",
                f"    - {name} {abs(y):.9f} {'right' if y > 0 else 'left'} of centreline",
                f"    - {name} {abs(z):.9f} {'above' if z > 0 else 'below'} "
                "core support.opening.bottom",
            ]
        path = tmp_path / f"nose{number}.yaml"
        path.write_text(HEAD + "\n".join(lines) + "\n")
        envelope = read(path, KINDS)
        shapes = read_shapes(path, envelope, attached_files(path, envelope), lambda *_: None)
        placed = arrange(envelope, shapes).parts["panel"]
        assert placed.known
        shape = shapes["panel"]
        for point in vertices[::500]:
            here = placed.pose[:3, :3] @ shape.local(point[None])[0] + placed.pose[:3, 3]
            assert here == pytest.approx(turn.apply(point) + shift, abs=1e-5)


@pytest.mark.parametrize(
    ("x", "y", "expected"),
    [
        ("aft", "right", [[1, 0, 0], [0, 1, 0], [0, 0, 1]]),
        ("right", "ahead", [[0, -1, 0], [1, 0, 0], [0, 0, 1]]),
        ("up", "right", [[0, 0, -1], [0, 1, 0], [1, 0, 0]]),
    ],
)
def test_a_scan_lies_as_its_axes_run(x: str, y: str, expected: list[list[int]]) -> None:
    axes = ScannedPart.axes_of(x, y)
    assert axes is not None
    assert np.array_equal(axes, expected)
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_axes_that_run_the_same_way_are_refused(tmp_path: Path) -> None:
    path = nose(tmp_path, gap=20, panel=PANEL.replace("  unit: mm", "  unit: mm\n  y runs: ahead"))
    with pytest.raises(noseroom.EnvelopeError, match="x aft and y ahead"):
        noseroom.check(path)


def test_a_scan_that_says_no_unit_is_asked_for_one(tmp_path: Path) -> None:
    path = nose(tmp_path, gap=20.0, panel=PANEL.replace("  unit: mm\n", ""))
    with pytest.raises(noseroom.EnvelopeError, match=r"line 11, panel.file: .*unit"):
        noseroom.check(path)


@pytest.mark.parametrize(
    ("wrong", "right", "said"),
    [
        ("low left: [0, -200, -150]", "low left: [0, -200, -9150]", "away from the scan"),
        ("unit: mm", "unit: m", "unit right"),
    ],
)
def test_a_slip_that_puts_a_scan_far_away_is_refused(
    tmp_path: Path, wrong: str, right: str, said: str
) -> None:
    path = nose(tmp_path, gap=20.0, panel=PANEL.replace(wrong, right))
    with pytest.raises(noseroom.EnvelopeError, match=said):
        noseroom.check(path)


def test_landmarks_are_in_the_unit_of_the_scan(tmp_path: Path) -> None:
    vertices, faces = sheet()
    write_stl(tmp_path / "panel.stl", vertices / 25.4, faces)
    panel = PANEL.replace("unit: mm", "unit: in")
    for mm in (200, 150):
        panel = panel.replace(f"{mm},", f"{mm / 25.4},").replace(f" {mm}]", f" {mm / 25.4}]")
        panel = panel.replace(f"-{mm}]", f"-{mm / 25.4}]")
    path = tmp_path / "nose.yaml"
    path.write_text(HEAD + panel + box(20.0))
    found = between(noseroom.check(path), "panel", "horn")
    assert found.measured_mm == pytest.approx(20.0, abs=0.01)


# -- where it may come from ------------------------------------------------------------------


def test_a_scan_stays_in_the_folder_of_its_file(tmp_path: Path) -> None:
    home, other = tmp_path / "home", tmp_path / "other"
    home.mkdir(), other.mkdir()
    path = nose(home, gap=20.0)
    (home / "panel.stl").rename(other / "panel.stl")
    (home / "link.stl").symlink_to(other / "panel.stl")
    for said in ("../other/panel.stl", str(other / "panel.stl"), "link.stl"):
        path.write_text(HEAD + PANEL.replace("panel.stl", said) + box(20.0))
        envelope = read(path, KINDS)
        with pytest.raises(noseroom.EnvelopeError, match=r"line 11, panel.file: .*outside"):
            attached_files(path, envelope)
        assert len(attached_files(path, envelope, [other])) == 1


@pytest.mark.parametrize("kind", ["missing", "folder", "pipe", "device"])
def test_what_is_no_file_is_refused_and_earlier_outputs_stay(tmp_path: Path, kind: str) -> None:
    path = nose(tmp_path, gap=20.0)
    scan = tmp_path / "panel.stl"
    outputs = tmp_path / "outputs" / "nose"
    outputs.mkdir(parents=True)
    (outputs / "findings.json").write_text("what stood here")
    scan.unlink()
    if kind == "folder":
        scan.mkdir()
    elif kind == "pipe":
        os.mkfifo(scan)
    elif kind == "device":
        scan.symlink_to("/dev/zero")
    with pytest.raises(noseroom.EnvelopeError, match=r"line 11, panel.file: found"):
        noseroom.check(path, outputs=tmp_path / "outputs", files_from=["/dev"])
    assert (outputs / "findings.json").read_text() == "what stood here"


def test_another_scan_under_the_same_name_is_another_input(tmp_path: Path) -> None:
    path = nose(tmp_path, gap=20.0)
    envelope = read(path, KINDS)
    before = digest(envelope, attached_files(path, envelope))
    write_stl(tmp_path / "panel.stl", *sheet(hole=40.0))
    assert digest(envelope, attached_files(path, envelope)) != before
    bare = read_text(HEAD, KINDS)
    assert digest(bare, ()) == bare.digest


def test_a_scan_that_is_not_fitted_is_not_even_opened(tmp_path: Path) -> None:
    path = tmp_path / "nose.yaml"
    path.write_text(HEAD + PANEL.replace("is: scan", "is: scan\n  fitted: no"))
    assert attached_files(path, read(path, KINDS)) == ()


def test_a_part_of_a_scan_is_drawn_and_exported(tmp_path: Path) -> None:
    """GLB has the surface, STL leaves an open surface out, the answer says what was wrong."""
    import trimesh

    path = nose(tmp_path, gap=20.0, hole=40.0)
    result = noseroom.check(path, outputs=tmp_path / "outputs")
    folder = tmp_path / "outputs" / "nose"
    scene = trimesh.load(folder / "nose.glb")
    names = {str(name) for name in scene.graph.nodes_geometry}
    assert any("surface" in name for name in names)
    assert not any("unseen" in name for name in names)
    assert not (folder / "parts" / "panel.stl").exists()
    assert result.scans[0].name == "panel"
    said = " ".join(result.scans[0].remarks)
    assert "hole" in said
    assert "not known" in said
    assert "edge: open says" not in said


def test_the_slack_of_a_scan_is_all_that_may_displace_it() -> None:
    corners = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
    scan = Scan(corners, np.array([[0, 1, 2]], np.int32), False, 0.25, 1.0, (), (), (), "")
    shape = ScanShape(scan, np.eye(3), {}, True)
    part = ScannedPart(accuracy_mm=1.0, thickness_mm=2.0, shape=shape)
    assert part.slack_mm == pytest.approx(0.25 + 1.0 + 2.0)
