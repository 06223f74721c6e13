"""A nose that is changed again and again gives what a fresh check gives, and computes little."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from demo_noses import WITH_CONDENSER, command
from noseroom.errors import EnvelopeError
from noseroom.findings import Finding, Verdict
from noseroom.fingerprints import fingerprint
from noseroom.memo import Memo
from noseroom.pipeline import Session
from noseroom.report.changes import changes
from noseroom.report.result import Result

NOSE = (
    WITH_CONDENSER
    + """\
drier:
  diameter: 60
  height: 200
  place:
    - axis 90 ahead of core support.face
    - axis 280 left of centreline
    - bottom 60 above core support.opening.bottom
box:
  width: 60
  height: 60
  depth: 40
  place:
    - rear 30 ahead of core support.face
    - middle 260 right of centreline
    - bottom 200 above core support.opening.bottom
"""
)

DEMO = Path(__file__).parents[1] / "vehicle_envelopes"

CHANGES = {
    "a place": ("axis 90 ahead", "axis 40 ahead"),
    "a place of what others rest on": ("core.front 60 aft", "core.front 48 aft"),
    "a size": ("diameter: 60", "diameter: 75"),
    "a size of what others rest on": ("thickness: 40", "thickness: 55"),
    "how well it was read": ("axis 280 left", "axis 280 ± 9 left"),
    "a reading more": (
        "    - axis 280 left of centreline\n",
        "    - axis 280 left of centreline\n    - axis 281 left of centreline\n",
    ),
    "a reading less": ("    - axis 280 left of centreline\n", ""),
    "a line in between": ("condenser:\n", "# read again on Monday\n\ncondenser:\n"),
    "a rule": ("units: mm\n", "units: mm\nrules: {body to body: 40 mm}\n"),
    "a part less": (NOSE[NOSE.index("box:") :], ""),
    "not fitted": ("drier:\n", "drier:\n  fitted: no\n"),
    "another title": ("format: 1\n", "format: 1\ntitle: Another\n"),
}


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("session") / "nose.yaml"
    made.write_text(NOSE)
    return made


@pytest.fixture(scope="module")
def session(path: Path) -> Session:
    made = Session(path)
    made.check()
    return made


NUMBER = re.compile(r"-?\d+\.\d+")


def assert_same(one: Result, other: Result) -> None:
    """The same words, and figures that differ by no more than the last of four decimals."""
    mine, theirs = one.to_json(), other.to_json()
    assert NUMBER.sub("#", mine) == NUMBER.sub("#", theirs)
    numbers = [[float(each) for each in NUMBER.findall(text)] for text in (mine, theirs)]
    assert numbers[0] == pytest.approx(numbers[1], abs=1.01e-4)


@pytest.mark.parametrize("what", CHANGES)
def test_a_changed_nose_gives_what_a_fresh_check_of_it_gives(
    session: Session, path: Path, what: str
) -> None:
    old, new = CHANGES[what]
    assert NOSE.count(old) == 1
    text = NOSE.replace(old, new)
    assert_same(session.check(text), Session(path).check(text))


POST = """\
format: 1
units: mm
core support:
  opening: {width: 900, height: 500}
post:
  is: cylinder
  axis: up
  diameter: 20
  length: 100
  place:
    - axis 150 ahead of core support.face
    - axis 0 ± 1 right of centreline
    - bottom 100 above core support.opening.bottom
drum:
  is: cylinder
  axis: up
  diameter: 20
  length: 100
  place:
    - axis 0 ± 0.5 right of centreline
    - flank edge to post.flank 130 ± 0.5
    - axis ahead of post.axis
    - bottom 100 above core support.opening.bottom
wall:
  is: box
  width: 200
  height: 200
  depth: 10
  place:
    - rear 325 ahead of core support.face
    - middle 0 right of centreline
    - bottom 50 above core support.opening.bottom
"""


def test_a_reading_that_acts_by_the_cosine_alone_is_not_forgotten(tmp_path: Path) -> None:
    # Square to the line between post and drum the post's place does not move the drum at all, to
    # the first order; read sixty times worse it does, and the wall may then be in the way.
    path = tmp_path / "post.yaml"
    path.write_text(POST)
    session = Session(path)
    about = {"drum", "wall"}

    def pair(result: Result) -> Finding:
        (found,) = [one for one in result.findings if set(one.parts) == about]
        return found

    assert pair(session.check()).verdict is Verdict.FITS
    worse = POST.replace("axis 0 ± 1 right", "axis 0 ± 60 right")
    now = session.check(worse)
    assert pair(now).verdict is Verdict.TOO_CLOSE
    assert_same(now, Session(path).check(worse))


def test_what_is_joined_no_longer_is_looked_at_again_at_speed(tmp_path: Path) -> None:
    text = (DEMO / "farm_pickup.yaml").read_text(encoding="utf-8")
    guide = """
guide:
  is: box
  carried by: car
  joined to: fan belt
  width: 40
  height: 40
  depth: 10
  place:
    - rear 107 mm ahead of water pump.hub.face
    - middle 0 right of centreline
    - bottom 0 above radiator.core.bottom
"""
    path = tmp_path / "farm_pickup.yaml"
    path.write_text(text + guide)
    session = Session(path)
    session.check()
    apart = text + guide.replace("  joined to: fan belt\n", "")
    assert_same(session.check(apart), Session(path).check(apart))


def test_a_change_that_is_taken_back_computes_nothing_again(path: Path) -> None:
    session = Session(path)
    first = session.check()
    session.check(NOSE.replace("axis 90 ahead", "axis 40 ahead"))
    before = session.made
    assert_same(session.check(), first)
    assert session.made == before


def test_only_what_a_change_reaches_is_computed_again(path: Path) -> None:
    session = Session(path)
    session.check()
    all_of_it = session.made
    session.check(NOSE.replace("axis 90 ahead", "axis 88 ahead"))
    with_the_drier = session.made - all_of_it
    # Three of the ten pairs have the drier in them (four less the two of one pair that touches).
    assert 0 < with_the_drier < 0.6 * all_of_it


def test_a_line_that_is_put_in_between_computes_nothing_again(path: Path) -> None:
    session = Session(path)
    session.check()
    before = session.made
    moved = session.check("# a note\n" + NOSE)
    assert session.made == before
    assert [one.line for one in moved.assumptions] != []


def test_a_wrong_text_is_refused_and_the_next_is_right_again(session: Session) -> None:
    first = session.check()
    with pytest.raises(EnvelopeError, match="drier"):
        session.check(NOSE.replace("axis 90 ahead", "axs 90 ahead"))
    assert_same(session.check(), first)


def test_values_have_one_fingerprint_and_others_another() -> None:
    same = [(1, "a", 2.0), (1, "a", 2.0)]
    assert fingerprint(same[0]) == fingerprint(same[1])
    different = [
        (1, "a", 2.0), (1.0, "a", 2.0), ("1", "a", 2.0), (1, "a2", 0.0), (1, ("a", 2.0)), (-0.0,),
        (0.0,), (None,), (False,), (0,), ({"a": 1},), ({"b": 1},), (np.zeros(3),),
        (np.zeros((3, 1)),),
        (np.zeros(3, dtype=np.float32),), (frozenset("ab"),), (("a", "b"),), (b"ab",), ("ab",),
    ]  # fmt: skip
    assert len({fingerprint(*one) for one in different}) == len(different)
    assert fingerprint(frozenset("ab")) == fingerprint(frozenset("ba"))
    with pytest.raises(TypeError, match="function"):
        fingerprint(fingerprint)


def test_what_was_asked_for_lately_is_kept_and_the_rest_forgotten() -> None:
    memo = Memo()
    assert memo.get("a", lambda: 1) == 1
    assert memo.get("a", lambda: 2) == 1
    for _ in range(20):
        memo.turn()
        memo.get("b", lambda: 3)
    assert memo.get("a", lambda: 4) == 4
    assert memo.get("b", lambda: 5) == 3
    assert memo.get("nothing", lambda: None) is None
    assert memo.get("nothing", lambda: 6) is None


def test_changes_are_said_by_what_they_were_before(session: Session) -> None:
    first = session.check()
    second = session.check(NOSE.replace("core.rear 15 ahead", "core.rear 1 ahead"))
    assert changes(first, first)[1:] == ["  no finding has changed"]
    said = "\n".join(changes(first, second))
    assert "(before: fits)" in said or "as before" in said
    assert "radiator" in said
    assert changes(None, second)[0].startswith(second.title)


@pytest.fixture
def watcher(path: Path) -> Iterator[tuple[subprocess.Popen[str], Path]]:
    mine = path.with_name("watched.yaml")
    mine.write_text(NOSE)
    running = subprocess.Popen(
        [sys.executable, "-m", "noseroom.cli", "watch", str(mine)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    # Whatever it does not say ends the reading of its lines, not the patience of who waits.
    deadline = threading.Timer(240, running.kill)
    deadline.start()
    try:
        yield running, mine
    finally:
        deadline.cancel()
        running.kill()
        running.wait()


def _figures_of_the_drier(line: str) -> bool:
    """Not what is known at once: the file is read once more for the figures, so it has to stay."""
    return "drier" in line and "before" in line and not line.startswith("  now ")


def test_a_watched_file_is_checked_again_when_it_is_saved(
    watcher: tuple[subprocess.Popen[str], Path],
) -> None:
    running, mine = watcher
    assert running.stdout is not None
    assert running.stderr is not None
    first = running.stdout.readline()
    assert "fits" in first or "too close" in first
    mine.write_text(NOSE.replace("axis 90 ahead", "axs 90 ahead"))
    lines = iter(running.stdout.readline, "")
    assert any("1 fault" in line for line in lines)
    # An editor may put a new file in place of the old one.
    other = mine.with_suffix(".new")
    other.write_text(NOSE.replace("axis 90 ahead", "axis 40 ahead"))
    os.replace(other, mine)
    assert any(_figures_of_the_drier(line) for line in lines)
    mine.unlink()
    assert any("is gone; waiting for it" in line for line in lines)
    mine.write_text(NOSE)
    assert any(_figures_of_the_drier(line) for line in lines)
    running.send_signal(signal.SIGINT)
    deadline = time.monotonic() + 60
    while running.poll() is None and time.monotonic() < deadline:
        time.sleep(0.05)
    assert running.returncode == 130
    assert "Traceback" not in running.stderr.read()


def test_a_file_that_is_not_there_is_said_without_a_traceback(tmp_path: Path) -> None:
    made = command("check", tmp_path / "none.yaml")
    assert made.returncode == 2
    assert "Traceback" not in made.stderr
