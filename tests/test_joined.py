"""Joined parts may touch; that one runs through the other is said all the same."""

from __future__ import annotations

from pathlib import Path

import pytest

import noseroom
from noseroom.findings import Verdict

NOSE = """
format: 1
units: mm
sides: as seated
tape: 0.5
core support:
  opening: {{width: 700, height: 600}}
block:
  is: box
  depth: 60
  width: 200
  height: 300
  place:
    - front 100 aft of core support.face
    - middle 0 right of centreline
    - bottom 100 above core support.opening.bottom
    - plumb ± 0.1 deg
    - level ± 0.1 deg
    - square across ± 0.1 deg
plate:
  is: box
  depth: 20
  width: 150
  height: 200
  {joined}
  place:
    - {where}
    - middle 0 right of centreline
    - bottom 150 above core support.opening.bottom
    - plumb ± 0.1 deg
    - level ± 0.1 deg
    - square across ± 0.1 deg
"""


@pytest.mark.parametrize(
    ("joined", "where", "verdict"),
    [
        ("joined to: block", "rear 0 ahead of block.front", Verdict.FITS),
        ("joined to: block", "rear 2 aft of block.front", Verdict.FITS),
        ("joined to: block", "rear 15 aft of block.front", Verdict.FOULS),
        ("joined to: block", "front 10 aft of block.front", Verdict.FOULS),
        ("bought: yes", "rear touching block.front", Verdict.FITS),
        ("bought: yes", "rear 0 ahead of block.front", Verdict.TOO_CLOSE),
    ],
)
def test_contact_is_meant_and_depth_is_not(
    tmp_path: Path, joined: str, where: str, verdict: Verdict
) -> None:
    path = tmp_path / "nose.yaml"
    path.write_text(NOSE.format(joined=joined, where=where))
    result = noseroom.check(path)
    found = [one.verdict for one in result.findings if set(one.parts) == {"block", "plate"}]
    if verdict is Verdict.TOO_CLOSE:
        assert found == [verdict] or found == [Verdict.FOULS]
    else:
        assert (found or [Verdict.FITS]) == [verdict]


def test_one_face_that_touches_leaves_the_rest_of_the_pair_to_be_looked_at(tmp_path: Path) -> None:
    """A plate against the core's front face, its tanks 35 mm further forward: 35 mm into them."""
    path = tmp_path / "nose.yaml"
    path.write_text(
        """
format: 1
units: mm
sides: as seated
tape: 0.5
core support:
  opening: {width: 700, height: 600}
radiator:
  flow: down
  core: {width: 560, height: 400, thickness: 40}
  tanks:
    top: {height: 70, depth: 110}
    bottom: {height: 60, depth: 110}
  brackets: {form: none}
  place:
    - core.front 80 aft of core support.face
    - core.bottom at front 80 above core support.opening.bottom
    - core.left 70 mm in from core support.opening.left
    - plumb ± 0.2 deg
    - level ± 0.2 deg
    - square across ± 0.2 deg
plate:
  is: box
  depth: 20
  width: 300
  height: 500
  place:
    - rear touching radiator.core.front
    - middle 0 right of centreline
    - bottom 20 above core support.opening.bottom
    - plumb ± 0.2 deg
    - level ± 0.2 deg
    - square across ± 0.2 deg
""",
        encoding="utf-8",
    )
    result = noseroom.check(path)
    found = next(one for one in result.findings if set(one.parts) == {"radiator", "plate"})
    assert found.verdict is Verdict.FOULS
    assert found.measured_mm == pytest.approx(-(110 - 40) / 2, abs=1.0)
    assert "joined" in found.note
