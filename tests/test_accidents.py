"""Accidents while the command runs: earlier outputs stay, and the reason is said."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

import noseroom
from demo_noses import SMALL, command, hashes
from noseroom import cli
from noseroom.workshop import nose_files


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
