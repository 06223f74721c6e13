"""A folder is written whole or not at all, and what killed runs left beside it goes."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from noseroom.errors import OutputError
from noseroom.workshop.whole_folder import demand_writable, whole_folder

_DAY_S = 24 * 3600


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "nose"
    made.mkdir()
    (made / "page.html").write_text("old")
    return made


def _left(folder: Path, name: str, age_s: float) -> Path:
    made = folder.parent / name
    made.mkdir()
    (made / "half.step").write_text("half")
    then = time.time() - age_s
    os.utime(made, (then, then))
    return made


def test_the_new_takes_the_place_of_the_old_in_one_move(folder: Path) -> None:
    with whole_folder(folder) as fresh:
        (fresh / "page.html").write_text("new")
        assert (folder / "page.html").read_text() == "old"
    assert (folder / "page.html").read_text() == "new"
    assert [one.name for one in folder.parent.iterdir()] == ["nose"]


def test_what_fails_leaves_the_old_and_nothing_else(folder: Path) -> None:
    def half() -> None:
        with whole_folder(folder) as fresh:
            (fresh / "page.html").write_text("half")
            raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="cannot be written"):
        half()
    assert (folder / "page.html").read_text() == "old"
    assert [one.name for one in folder.parent.iterdir()] == ["nose"]


def test_what_a_killed_run_left_goes_after_a_day_and_not_before(folder: Path) -> None:
    """Another run's folder may stand there for as long as that run takes."""
    old, running = _left(folder, ".nose-a1", 2 * _DAY_S), _left(folder, ".nose-b2", 600.0)
    other = _left(folder, ".nosegay-c3", 2 * _DAY_S)
    demand_writable(folder)
    assert not old.exists()
    assert running.exists()
    assert other.exists()
    assert (folder / "page.html").read_text() == "old"


def test_outputs_that_a_killed_run_had_put_aside_come_back(tmp_path: Path) -> None:
    aside = tmp_path / ".nose-old-x" / "nose"
    aside.mkdir(parents=True)
    (aside / "page.html").write_text("old")
    then = time.time() - 2 * _DAY_S
    os.utime(aside.parent, (then, then))
    demand_writable(tmp_path / "nose")
    assert (tmp_path / "nose" / "page.html").read_text() == "old"
    assert not aside.parent.exists()
