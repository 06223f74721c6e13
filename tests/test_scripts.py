"""The scripts for CQ-editor and the plugin's documentation: all of it runs, and says what it says.

Scripts run through CQGI, and in this process as plain Python; one in a Python of its own.
"""

from __future__ import annotations

import ast
import contextlib
import inspect
import io
import math
import re
import runpy
import subprocess
import sys
from pathlib import Path
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from cadquery import cqgi

from noseroom import plugin
from noseroom.geometry.kernel import is_valid

PROJECT = Path(__file__).parents[1]
SCRIPTS = PROJECT / "packaging" / "scripts"
EVERY = sorted(SCRIPTS.glob("*.py"))
README = (SCRIPTS / "README.md").read_text(encoding="utf-8")
SURE = re.compile(r"never below ([\d.]+) mm")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def snake(name: str) -> str:
    return re.sub(r"([A-Z])", r"_\1", name).lower()


PARTS = {SCRIPTS / f"{snake(name)}.py": name for name in plugin.CREATORS}


def build(path: Path, parameters: dict[str, Any] | None = None) -> Any:
    """What CQGI makes of a script. Its printing is dropped."""
    with contextlib.redirect_stdout(io.StringIO()):
        built = cqgi.parse(path.read_text(encoding="utf-8")).build(parameters or {})
    assert built.success, built.exception
    return built


def shapes(shown: Any) -> list[cq.Shape]:
    if isinstance(shown, cq.Assembly):
        return [shape for shape, *_ in shown]
    return shown.vals() if isinstance(shown, cq.Workplane) else [shown]


def parameters(path: Path) -> dict[str, Any]:
    """What CQGI lets one change, by name."""
    found = cqgi.parse(path.read_text(encoding="utf-8")).metadata.parameters
    return {name: one.default_value for name, one in found.items()}


def test_every_part_with_a_solid_has_its_script() -> None:
    assert set(PARTS) <= set(EVERY)


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.stem)
def test_it_runs_through_cqgi_and_shows_valid_solids(path: Path) -> None:
    built = build(path)
    assert built.results
    for one in built.results:
        assert one.options["name"]
        found = shapes(one.shape)
        assert found
        for shape in found:
            assert is_valid(shape)
            assert shape.Solids()


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.stem)
def test_it_runs_as_plain_python_says_a_line_and_leaves_no_trace(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(SCRIPTS.rglob("*.*"))
    monkeypatch.chdir(tmp_path)
    runpy.run_path(str(path), run_name="__main__")
    assert capsys.readouterr().out.strip()
    assert Path.cwd() == tmp_path
    assert list(tmp_path.iterdir()) == []
    assert sorted(SCRIPTS.rglob("*.*")) == before


def test_one_runs_in_a_python_of_its_own_from_another_folder(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-B", "-W", "error::DeprecationWarning:__main__", SCRIPTS / "bracket.py"],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=tmp_path,
        check=True,
    )
    assert done.stdout == "bracket: 3 x 30 x 110 mm\n"


def kind_of_line(line: ast.stmt) -> str:
    if isinstance(line, ast.Import | ast.ImportFrom):
        return "import"
    value = line.value if isinstance(line, ast.Assign) else None
    values = value.elts if isinstance(value, ast.Tuple) else [value]
    return "parameter" if all(isinstance(one, ast.Constant) for one in values) else "model"


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.stem)
def test_its_parameters_stand_before_everything_that_is_made(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    kinds = [kind_of_line(one) for one in tree.body[1:]]
    assert ast.get_docstring(tree)
    assert kinds == sorted(kinds, key=["import", "parameter", "model"].index)
    assert "parameter" in kinds


@pytest.mark.parametrize(("path", "name"), PARTS.items(), ids=lambda one: getattr(one, "stem", ""))
def test_a_parts_script_has_the_parts_own_sizes_as_parameters(path: Path, name: str) -> None:
    """CQGI does not see a negative number: no size here may start from one."""
    wanted = dict(inspect.signature(plugin.CREATORS[name]).parameters)
    for left in ("self", "swept", "combine", "clean", "run"):
        wanted.pop(left, None)
    shown = parameters(path)
    runs = {"belt": 3, "hose": 3}.get(name, 0)
    assert len(shown) == len(wanted) + runs
    for key, size in wanted.items():
        assert key in shown
        if size.default is not inspect.Parameter.empty:
            assert shown[key] == size.default


def test_a_parameter_given_through_cqgi_changes_the_model() -> None:
    wide = build(SCRIPTS / "radiator.py", {"core_width_mm": 700.0, "brackets": "none"})
    box = wide.first_result.shape.val().BoundingBox()
    assert box.ylen == pytest.approx(700.0, abs=1e-3)


def test_a_size_that_cannot_be_is_said_through_cqgi() -> None:
    source = (SCRIPTS / "fan.py").read_text(encoding="utf-8")
    built = cqgi.parse(source).build({"diameter_mm": 5.0})
    assert not built.success
    assert "expected a number from 250 to 700 mm" in str(built.exception)


@pytest.mark.parametrize("demo", ["small_estate.yaml"])
def test_the_whole_nose_shows_any_envelope_file(demo: str) -> None:
    path = str(PROJECT / "vehicle_envelopes" / demo)
    nose = build(SCRIPTS / "whole_nose.py", {"envelope": path}).first_result.shape
    assert {child.name for child in nose.children} >= {"body", "engine"}
    assert {"condenser", "radiator"} <= {one.name for one in nose.children[0].children}


def test_the_straps_touch_the_tabs_that_they_are_bolted_to_and_nothing_else() -> None:
    found = build(SCRIPTS / "condenser_with_brackets.py").env["clearances"]
    assert len(found.of("touching")) == 4
    assert all(one.a == "condenser and straps/condenser" for one in found.of("touching"))
    assert not found.of("overlapping", "inside", "undecided")


def test_the_swept_space_holds_the_fan() -> None:
    env = build(SCRIPTS / "fan_and_sweep.py").env
    metal, space = env["fan"].val(), env["sweep"].val()
    within = metal.intersect(space).Volume()
    assert 0 < within < metal.Volume()
    blades = metal.BoundingBox()
    assert max(blades.ylen, blades.zlen) <= env["diameter_mm"] + 1e-6
    assert env["swept_gap"].relation == "apart"


def test_the_gripper_is_what_the_picture_says() -> None:
    """By hand: the palm hangs 4 above the cap; a camera of 9 at 22 bites 3 into a cap of 16."""
    found = build(SCRIPTS / "gripper.py").env["clearances"]
    palm = found.between("cell/gripper/palm", "cell/bottle")
    assert palm.distance_mm == pytest.approx(4.0)
    assert [(one.a, one.b) for one in found.of("overlapping")] == [
        ("cell/gripper/camera", "cell/bottle")
    ]
    assert 3.0 <= found[0].pull_apart.distance_mm < 3.01


def test_the_lamp_is_what_the_picture_says() -> None:
    """By hand, in the lamp's plane: the shade's rim is 60 from its axis and 109 below its joint."""
    env = build(SCRIPTS / "lamp.py").env
    found, room, joints = env["clearances"], env["room"], env["joints"]
    shade = "room/lamp/lower/upper/head/shade"
    lower, upper, best = math.radians(35), math.radians(35 + 90 + 15), math.inf
    for tilt in np.radians(np.linspace(-30, 30, 2001)):
        down = upper - math.radians(90) + tilt
        joint = 90 + 300 * math.cos(lower) + 260 * math.cos(upper)
        best = min(best, joint - 109 * math.cos(down) - 60 * abs(math.sin(down)))
    over_desk = found.between(shade, "room/desk")
    assert over_desk.bound_mm <= best + 1e-3
    assert over_desk.distance_mm == pytest.approx(best, abs=0.2)
    assert found.between("room/lamp/pin", "room/lamp/lower/bar").distance_mm == pytest.approx(0.3)
    assert found[0].b == "room/shelf"
    assert found[0].relation == "overlapping"
    assert all(one.settled for one in found)
    for name, joint in joints.items():
        alone = room.clearancesWhileMoving({name: joint}, 60.0).between(shade, "room/shelf")
        assert alone is None or alone.bound_mm > 15


# -- the documentation ---------------------------------------------------------------------------


def test_every_example_runs_and_prints_what_stands_below_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bounds depend on meshes, in their last figures; everything else is as it is shown."""
    monkeypatch.chdir(PROJECT)
    space: dict[str, Any] = {"__name__": "__readme__"}
    waiting = ""
    for language, text in BLOCKS:
        assert language in ("python", "text")
        if language == "python":
            assert not waiting, f"printed, and not shown: {waiting}"
            exec(compile(text, "README.md", "exec"), space)
            waiting = capsys.readouterr().out
        else:
            assert SURE.sub("", waiting) == SURE.sub("", text)
            for found, shown in zip(SURE.findall(waiting), SURE.findall(text), strict=True):
                assert float(found) == pytest.approx(float(shown), abs=0.05)
            waiting = ""
    assert not waiting
    assert len(BLOCKS) >= 12


def test_every_creator_and_every_script_is_named() -> None:
    for name in plugin.CREATORS:
        assert f"`{name}`" in README
    assert set(re.findall(r"\]\((\w+\.py)\)", README)) == {path.name for path in EVERY}


@pytest.mark.parametrize("name", ["gripper", "lamp"])
def test_the_picture_is_there_and_small(name: str) -> None:
    picture = SCRIPTS / f"{name}.png"
    assert f"]({name}.png)" in README
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert picture.stat().st_size < 300_000


def test_the_pictures_can_be_made_again(tmp_path: Path) -> None:
    draw = runpy.run_path(str(SCRIPTS / "pictures" / "draw.py"))
    with contextlib.redirect_stdout(io.StringIO()):
        draw["draw_gripper"](tmp_path / "made.png")
    assert (tmp_path / "made.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert (tmp_path / "made.png").stat().st_size > 50_000
