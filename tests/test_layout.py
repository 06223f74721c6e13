"""The layout: what moves with what, what is joined, what is left out, and how points move."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from drive_nose import DRIVE
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError
from noseroom.geometry.exports import check_step, read_step_parts, write_step
from noseroom.layout import UNPLACED, Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

NOSE = (
    """
format: 1
title: test nose
"""
    + DRIVE
    + """\
upper hose:
  is: hose
  from: radiator.upper neck
drier:
  diameter: 64
  height: 200
spare fan:
  fitted: no
"""
)


def layout_of(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


@pytest.fixture(scope="module")
def nose() -> Layout:
    return layout_of(NOSE)


def test_groups_follow_what_carries_a_part(nose: Layout) -> None:
    group = {name: part.group for name, part in nose.parts.items()}
    assert group["radiator"] == "body"
    assert group["upper hose"] == "body"
    assert group["fan"] == "fan and hub"
    for name in ("engine", "water pump", "alternator", "crank pulley", "fan belt"):
        assert group[name] == "engine", name


def test_a_part_that_nobody_placed_is_known_as_such_and_stands_apart(nose: Layout) -> None:
    assert not nose.parts["drier"].known
    assert nose.parts["drier"].shelf == UNPLACED
    assert nose.parts["radiator"].shelf == "body"


def test_what_is_not_fitted_is_left_out_by_name(nose: Layout) -> None:
    assert nose.left_out == ("spare fan",)
    assert "spare fan" not in nose.parts


def test_a_belt_whose_pulleys_are_not_fitted_is_left_out_too() -> None:
    text = NOSE.replace("crank pulley:\n", "crank pulley:\n  fitted: no\n").replace(
        "alternator:\n", "alternator:\n  fitted: no\n"
    )
    assert set(layout_of(text).left_out) == {"crank pulley", "alternator", "fan belt", "spare fan"}


def test_a_hose_from_a_port_that_is_not_there_is_refused_with_its_line() -> None:
    text = NOSE.replace("radiator.upper neck", "radiator.side neck")
    with pytest.raises(EnvelopeError, match="upper neck, lower neck") as caught:
        layout_of(text)
    line = text.splitlines().index("  from: radiator.side neck") + 1
    assert [fault.line for fault in caught.value.faults] == [line]


@pytest.mark.parametrize(
    ("a", "mine", "b", "theirs", "joined"),
    [
        ("fan", "spider", "water pump", "hub", True),
        ("fan", "spider", "water pump pulley", "web", True),
        ("fan", "sweep", "water pump", "hub", False),
        ("fan", "sweep", "water pump pulley", "rim", False),
        ("fan belt", "belt", "crank pulley", "rim", True),
        ("fan belt", "belt", "alternator", "body", False),
        ("radiator", "brackets", "core support", "rails", True),
        ("radiator", "core", "core support", "rails", False),
        ("upper hose", "hose", "radiator", "necks", True),
        ("upper hose", "hose", "radiator", "core", False),
    ],
)
def test_only_what_is_bolted_or_runs_on_each_other_is_meant_to_touch(
    nose: Layout, a: str, mine: str, b: str, theirs: str, joined: bool
) -> None:
    one, other = nose.parts[a], nose.parts[b]
    assert nose.meant_to_touch(one, mine, other, theirs) is joined
    assert nose.meant_to_touch(other, theirs, one, mine) is joined


def test_a_fan_turns_on_its_hub_axis_and_slides_along_it(nose: Layout) -> None:
    fan, pump = nose.parts["fan"], nose.parts["water pump"]
    assert np.allclose(fan.pose[:3, :3], pump.pose[:3, :3], atol=1e-12)
    along = fan.pose[:3, 3] - pump.pose[:3, 3]
    assert np.allclose(np.cross(along, pump.pose[:3, 0]), 0.0, atol=1e-7)


def test_a_belt_moves_as_any_of_its_pulleys_may(nose: Layout) -> None:
    belt = nose.parts["fan belt"]
    assert len(belt.placements) == 3
    assert belt.slack_mm > 0
    first = belt.placements[0]
    for placement in belt.placements:
        assert np.array_equal(placement.pose.matrix, first.pose.matrix)


@pytest.mark.parametrize(
    ("part", "feature", "spot"),
    [
        ("radiator", "core.rear", "top left"),
        ("fan", "blade.front", "3 o'clock"),
        ("alternator", "pulley.edge", ""),
    ],
)
def test_a_touched_point_moves_as_a_changed_reading_moves_it(
    nose: Layout, part: str, feature: str, spot: str
) -> None:
    """The gains against a second adjustment with one reading moved by 0.01 mm."""
    before, _, moves = nose.parts[part].touch_point(feature, spot)
    lines = NOSE.splitlines()
    checked = 0
    for index, source in enumerate(nose.survey.sources):
        if source.assumed or not source.line or not np.abs(moves[:, index]).max() > 1e-3:
            continue
        line = lines[source.line - 1]
        if " 160 aft" not in line and " 100 aft" not in line and " 30 aft" not in line:
            continue
        words = line.split()
        number = next(word for word in words if word.isdigit() and int(word) > 12)
        changed = list(lines)
        changed[source.line - 1] = line.replace(f" {number} ", f" {number}.01 ")
        after, _, _ = layout_of("\n".join(changed)).parts[part].touch_point(feature, spot)
        assert np.allclose((after - before) / 0.01, moves[:, index], atol=2e-3), source.text
        checked += 1
    assert checked >= 1


def test_the_datum_part_does_not_move(nose: Layout) -> None:
    still = nose.parts["core support"].placements[0]
    assert not still.shift_gain.any()
    assert not still.turn_gain.any()
    assert np.array_equal(still.pose.matrix, np.eye(4))


def test_sizes_read_in_the_file_reach_the_parts(nose: Layout) -> None:
    radiator = nose.parts["radiator"].part
    assert dataclasses.asdict(radiator)["core_width_mm"] == pytest.approx(560.0, abs=1e-9)


# -- names in files -------------------------------------------------------------------------------

BOX = """
{name}:
  is: box
  depth: 40
  width: 60
  height: 50
  place:
    - front 900 aft of core support.face
    - left {at} right of centreline
    - bottom 700 above core support.opening.bottom
    - plumb
    - level
    - square across
"""


def test_parts_may_be_called_like_groups_and_keep_their_names_in_a_file(tmp_path: Path) -> None:
    """An engine that is shown has solids, and its group is called engine too."""
    names = ("body", "nose", "fan and hub", "place not known")
    text = NOSE.replace("engine:\n", "engine:\n  block: {shown: yes}\n") + "".join(
        BOX.format(name=name, at=100 * number) for number, name in enumerate(names)
    )
    assembly = layout_of(text).assembly()
    every = [node.name for _, node in assembly.traverse()]
    assert len(set(every)) == len(every)
    for name in (*names, "engine"):
        (found,) = (node for _, node in assembly.traverse() if node.name == name)
        assert [child.name.startswith(f"{name}: ") for child in found.children]
    write_step(assembly, tmp_path / "nose.step")
    check_step(tmp_path / "nose.step", assembly)
    parts = read_step_parts(tmp_path / "nose.step")
    for name in (*names, "engine"):
        assert any(f"/{name}/" in path for path in parts), name
