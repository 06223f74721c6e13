"""A file that no nose can satisfy: the slip itself is named, and what it spoils is not."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import noseroom
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError, Fault
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS

NOSE = """\
format: 1
units: mm
tape: 1 mm
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front at top left 47 aft of core support.face
    - core.front at top right 47 aft of core support.face
    - core.front at bottom left 47 aft of core support.face
    - core.front at bottom right 47 aft of core support.face
    - core.left 70 mm in from core support.opening.left
    - core.right 70 mm in from core support.opening.right
    - core.bottom 25 above core support.opening.bottom
    - core.top 35 below core support.opening.top
    - level ± 0.1 deg
tray:
  is: box
  depth: 60
  width: 100
  height: 80
  place:
    - front 100 aft of radiator.core.rear
    - front 197 aft of core support.face
    - middle 0 right of centreline
    - bottom 50 above radiator.core.bottom
    - plumb ± 0.1 deg
    - level ± 0.1 deg
    - square across ± 0.1 deg
"""


def faults(tmp_path: Path, text: str) -> tuple[Fault, ...]:
    path = tmp_path / "nose.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(EnvelopeError) as caught:
        noseroom.check(path)
    return caught.value.faults


def slipped(old: str, new: str) -> tuple[str, int]:
    """The nose with one reading changed, and the line of that reading."""
    assert NOSE.count(old) == 1
    text = NOSE.replace(old, new)
    return text, next(n for n, one in enumerate(text.splitlines(), 1) if new in one)


@pytest.mark.parametrize(
    ("old", "new", "off"),
    [
        ("front at top left 47", "front at top left 74", "27 mm"),
        ("bottom right 47", "bottom right 74", "27 mm"),
        ("front 197 aft", "front 179 aft", "18 mm"),
        ("    - plumb ± 0.1 deg", "    - 9 deg ± 0.1 deg nose up", ""),
    ],
)
def test_one_slip_is_one_fault_on_its_own_line(
    tmp_path: Path, old: str, new: str, off: str
) -> None:
    text, line = slipped(old, new)
    if not off:  # nothing else but one more reading says how the tray leans
        text = text.replace("aft of radiator.core.rear", "aft of radiator.core.rear\n    - plumb")
        line += 1
    (fault,) = faults(tmp_path, text)
    named = {fault.line, *(int(n) for n in re.findall(r"line (\d+)", fault.suggestion))}
    assert line in named
    if off:
        assert f"{off} off" in fault.found
        assert fault.line == line or fault.suggestion.startswith("read it again; if it is right")
    else:
        assert re.search(r"\b9 deg off", fault.found)
    assert "(or degrees)" not in str(fault)


def test_what_may_as_well_be_wrong_is_named_and_a_gap_is_doubted_before_a_size(
    tmp_path: Path,
) -> None:
    """Left gap, core, right gap and opening close one sum: any of the four may be the slip."""
    text, line = slipped("core.left 70", "core.left 43")
    (fault,) = faults(tmp_path, text)
    width, right = (
        next(n for n, one in enumerate(text.splitlines(), 1) if words in one)
        for words in ("core: {width", "core.right 70")
    )
    assert fault.line in (line, right)
    others = {int(n) for n in re.findall(r"line (\d+)", fault.suggestion)}
    assert {line, right, width} <= {fault.line, *others}


def test_two_slips_are_two_faults_and_each_says_where_to_begin(tmp_path: Path) -> None:
    text, first = slipped("front at top left 47", "front at top left 74")
    text = text.replace("front 197 aft", "front 297 aft")
    second = next(n for n, one in enumerate(text.splitlines(), 1) if "front 297" in one)
    found = faults(tmp_path, text)
    assert len(found) == 2
    named = {int(n) for one in found for n in re.findall(r"line (\d+)", str(one))}
    assert {first, second} <= named
    assert all("begin there" in one.suggestion for one in found)


# -- sizes at their limits -------------------------------------------------------------------

PLATE = """\
format: 1
units: mm
tape: 1 mm
core support: {opening: {width: 700, height: 480}}
radiator:
  core: {width: 560, height: 420, thickness: THICK}
  place:
    - core.front 40 aft of core support.face
    - core.rear REAR aft of core support.face
"""


def plate(thick: str, rear: str) -> str:
    return PLATE.replace("THICK", thick).replace("REAR", rear)


def test_a_size_at_its_limit_may_come_out_within_its_own_half_width() -> None:
    """A core of 12 mm is the thinnest; two gaps that make it 11 and 12 mm agree on 11.7."""
    layout = arrange(read_text(plate("12", "51"), KINDS))
    value = layout.parts["radiator"].placements[0].sizes["core.thickness"]
    # Gaps and size have the same deviation: a third of the misclosure of 1 mm goes to each.
    assert value == pytest.approx(12 - 1 / 3, abs=0.02)


def test_a_size_at_its_limit_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "nose.yaml"
    path.write_text(plate("12", "51"), encoding="utf-8")
    assert noseroom.check(path).verdict


def test_a_measured_size_that_readings_make_impossible_says_what_was_read(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, plate("13 ± 8 mm", "43 ± 0.5 mm"))
    assert fault.key == "radiator.core.thickness"
    assert "'13 ± 8 mm', which other readings make" in fault.found
    assert fault.expected == "between 12 and 150 mm"


def test_an_assumed_size_that_readings_make_impossible_says_that_nobody_measured_it(
    tmp_path: Path,
) -> None:
    rest = "    - top tank.top 10 above core support.opening.top\n    - core.top 8 above "
    text = plate("50", "90") + rest + "core support.opening.top\n"
    (fault,) = faults(tmp_path, text)
    assert fault.key == "radiator.tanks.top.height"
    assert "nothing of it in the file" in fault.found
    assert fault.suggestion.startswith("measure it")


# -- assumptions that the file says itself ---------------------------------------------------


def assumed_of(text: str, part: str) -> set[str]:
    return {one.text for one in read_text(text, KINDS).parts[part].assumed}


def test_what_the_file_says_itself_is_not_assumed_as_well() -> None:
    every = {"plumb ± 3 deg", "level ± 2 deg", "square across ± 2 deg"}
    bare = re.sub(r"    - (plumb|level|square across).*\n", "", NOSE)
    assert assumed_of(bare, "tray") == every
    assert assumed_of(NOSE, "tray") == set()
    tilted = bare.replace("  height: 80\n", "  height: 80\n  tilt: 2 deg nose up\n")
    assert assumed_of(tilted, "tray") == every - {"plumb ± 3 deg"}


@pytest.mark.parametrize(
    "sentence",
    [
        "parallel to radiator",  # against another part: the car may stay unknown without
        "at least 2 deg nose up",  # a bound fixes nothing
        "front behind radiator",
    ],
)
def test_what_says_less_than_an_assumption_leaves_it_standing(sentence: str) -> None:
    bare = re.sub(r"    - (plumb|level|square across).*\n", "", NOSE)
    text = bare.replace("    - middle 0 right", f"    - {sentence}\n    - middle 0 right")
    assert len(assumed_of(text, "tray")) == 3


def test_centring_in_the_same_opening_takes_the_place_of_the_assumption() -> None:
    text = NOSE.replace("    - core.left 70 mm in from core support.opening.left\n", "")
    assert any("centred" in one for one in assumed_of(text, "radiator"))
    centred = text.replace(
        "    - core.right 70", "    - core centred in core support.opening\n    - core.right 70"
    )
    assert not any("centred" in one for one in assumed_of(centred, "radiator"))


@pytest.mark.parametrize("keep", ["plumb", "level", "square across"])
def test_nothing_becomes_unknown_when_an_assumption_makes_way(keep: str) -> None:
    """A part whose every place rests on turns: the one that is said holds as the assumed one did.

    Its deviation is that of the reading, so that it is better known than by the assumption.
    """
    bare = re.sub(r"    - (plumb|level|square across).*\n", "", NOSE)
    said = bare.replace("    - middle 0 right", f"    - {keep} ± 0.2 deg\n    - middle 0 right")
    before, after = (arrange(read_text(text, KINDS)) for text in (bare, said))
    assert before.parts["tray"].known
    assert after.parts["tray"].known
    assert after.survey.adjustment.rank == before.survey.adjustment.rank
    np.testing.assert_allclose(
        before.parts["tray"].pose[:3, 3], after.parts["tray"].pose[:3, 3], atol=1.0
    )
    assumed = [one for one in after.survey.sources if one.assumed and one.station == "tray"]
    assert len(assumed) == 2
    assert not any(keep in one.text for one in assumed)
