"""An engine on its mounts: no pose of it is nearer than is said, alone or in any combination."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import coal
import numpy as np
import pytest
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

import noseroom
from demo_noses import DEMOS
from demo_noses import nose as demo
from noseroom.checks import moving
from noseroom.checks.bodies import bodies_of
from noseroom.checks.motion import Motion, MovingPairs, motions_of
from noseroom.checks.moving import check_moving
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

NOSE = """
format: 1
units: mm
sides: as seated
tape: 0.05
core support:
  opening: {{width: 700, height: 500}}
engine:
  tilt: {tilt} ± 0.02 deg nose up
  moves: {moves}
  place:
    - front 300 aft of core support.face
    - axis 120 above core support.opening.bottom
    - axis 0 right of centreline
    - level ± 0.02 deg
    - square across ± 0.02 deg
pump:
  is: box
  carried by: engine
  depth: 60
  width: 80
  height: 80
  place:
    - rear {ahead} ahead of engine.front
    - middle {up} above engine.axis
    - middle {side} right of engine.axis
    - parallel to engine ± 0.02 deg
post:
  is: box
  depth: 40
  width: 60
  height: 60
  place:
    - rear {gap} ahead of pump.front, along the car
    - middle 0 above pump.middle
    - middle 0 right of pump.middle
    - plumb ± 0.02 deg
    - level ± 0.02 deg
    - square across ± 0.02 deg
"""
STILL = {"roll": 0.0, "pitch": 0.0, "forward": 0.0, "sideways": 0.0, "up": 0.0}


def nose(gap: float, *, tilt: float = 0.0, ahead: float = 100.0, up: float = 150.0,
         side: float = 120.0, **moves: float) -> Layout:  # fmt: skip
    said = {**STILL, **moves}
    figures = ", ".join(
        f"{key}: {value} {'deg' if key in ('roll', 'pitch') else 'mm'}"
        for key, value in said.items()
    )
    text = NOSE.format(gap=gap, tilt=tilt, ahead=ahead, up=up, side=side, moves="{" + figures + "}")
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def motion_of(layout: Layout) -> Motion:
    (motion,) = motions_of(layout)
    return motion


def answers(layout: Layout) -> tuple[Finding, ...]:
    rules = Rules(layout.envelope)
    settled = {frozenset((a, b)) for a in layout.parts for b in layout.parts if a != b}
    say = lambda *_: None  # noqa: E731
    return check_moving(Pairs(layout), bodies_of(layout, say), rules, settled, say)


def hull(corners: np.ndarray) -> coal.Convex:
    points, triangles = coal.StdVec_Vec3s(), coal.StdVec_Triangle()
    for corner in corners:
        points.append(corner)
    for simplex in ConvexHull(corners).simplices:
        triangles.append(coal.Triangle(*(int(one) for one in simplex)))
    return coal.Convex(points, triangles)


def gap_at(layout: Layout, motion: Motion, amounts: np.ndarray) -> float:
    """The distance of the two boxes with the engine moved, by hulls of their corners."""
    a, b = (layout.parts[name].moving["body"][0][0].corners for name in ("pump", "post"))
    pose = motion.pose(amounts)
    moved = a @ pose[:3, :3].T + pose[:3, 3]
    here = coal.Transform3s(np.eye(3), np.zeros(3))
    result = coal.DistanceResult()
    return float(coal.distance(hull(moved), here, hull(b), here, coal.DistanceRequest(), result))


def test_a_point_rolls_along_the_chord_of_its_circle() -> None:
    """Radius 300 mm at 5 degrees: chord 26.172 mm, drop 1.1416 mm; 2 r sin(t/2), r(1-cos t)."""
    motion = motion_of(nose(100.0, roll=5.0))
    point = motion.point + np.array([0.0, 0.0, 300.0])
    there = motion.pose(np.array([5.0, 0, 0, 0, 0])) @ np.append(point, 1.0)
    assert math.dist(there[:3], point) == pytest.approx(26.172, abs=1e-3)
    assert 300.0 - (there[2] - motion.point[2]) == pytest.approx(1.1416, abs=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_no_pose_comes_nearer_than_the_bound_and_one_comes_near_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    layout = nose(
        round(rng.uniform(30, 60), 2),
        tilt=round(rng.uniform(0, 5), 2),
        ahead=round(rng.uniform(60, 140), 2),
        up=round(rng.uniform(60, 250), 2),
        side=round(rng.uniform(20, 250), 2),
        roll=round(rng.uniform(1, 6), 2),
        pitch=round(rng.uniform(0.3, 2), 2),
        forward=round(rng.uniform(1, 8), 2),
        sideways=round(rng.uniform(1, 5), 2),
    )
    motion = motion_of(layout)
    rocking = MovingPairs(Pairs(layout), motion)
    a, b = rocking.layout.parts["pump"], rocking.layout.parts["post"]
    sure = rocking.sure_gap(a, "body", b, "body", enough_mm=1e3)
    amounts = rng.uniform(-1, 1, (1500, 5)) * motion.reaches
    corners = np.array(np.meshgrid(*[[-1.0, 1.0]] * 5)).reshape(5, -1).T * motion.reaches
    least = min(gap_at(layout, motion, one) for one in np.concatenate([amounts, corners]))
    assert sure.lower_mm <= least
    # Readings of 0.05 mm and 0.02 deg over half a metre, and the second order of the turns.
    assert sure.lower_mm > least - 4.0


def test_what_only_two_movements_together_bring_to_touch_is_found() -> None:
    """12 mm: surge 8 leaves 4, pitch 2 deg at 150 mm up takes 5.2 and leaves 6.8; both, nothing."""
    one = answers(nose(12.0, forward=8.0))
    other = answers(nose(12.0, pitch=2.0))
    both = answers(nose(12.0, forward=8.0, pitch=2.0))
    assert [found.verdict for found in (*one, *other)] == [Verdict.FITS, Verdict.FITS]
    (found,) = both
    assert found.verdict is Verdict.FOULS
    assert found.state == "moving"
    assert set(found.parts) == {"pump", "post"}
    assert found.measured_mm is not None
    assert found.measured_mm < 3.0
    assert found.details["moves.forward"] == pytest.approx(-8.0)
    assert "surges 8 mm forward" in found.note


def test_a_movement_that_is_only_assumed_never_fouls() -> None:
    text = NOSE.replace("  moves: {moves}\n", "").format(
        gap=12.0, tilt=0, ahead=100, up=150, side=9
    )
    (found,) = answers(arrange(read_text(text, KINDS, rule_keys=clearance_rules())))
    assert found.verdict is Verdict.TOO_CLOSE
    assert any("pry it" in remedy for remedy in found.remedies)
    assert any(one.assumed for one in found.rests_on)


def test_an_engine_that_stands_still_changes_nothing() -> None:
    layout = nose(12.0)
    pairs = Pairs(layout)
    rocking = MovingPairs(pairs, motion_of(layout))
    sure = rocking.sure_gap(
        rocking.layout.parts["pump"], "body", rocking.layout.parts["post"], "body", enough_mm=50.0
    )
    still = pairs.sure_gap(layout.parts["pump"], "body", layout.parts["post"], "body", enough_mm=50)
    assert sure.lower_mm == pytest.approx(still.lower_mm, abs=1e-6)


def test_what_moves_together_is_not_moved_against_itself() -> None:
    layout = nose(30.0, roll=5.0)
    motion = motion_of(layout)
    assert motion.moved == {"engine", "pump"}
    rocking = MovingPairs(Pairs(layout), motion)
    assert not rocking.parts_move(layout.parts["pump"], layout.parts["engine"])


def test_every_demo_with_an_engine_has_a_motion() -> None:
    assert {path.stem for path in DEMOS if motions_of(demo(path))} >= {"farm_pickup", "light_van"}


@pytest.mark.parametrize("said", [True, False])
def test_the_answer_tells_of_the_movement_and_who_said_it(tmp_path: Path, said: bool) -> None:
    moves = "{roll: 2 deg, pitch: 1 deg, forward: 5 mm, sideways: 2 mm, up: 2 mm}"
    text = NOSE.format(gap=60.0, tilt=0, ahead=100, up=150, side=9, moves=moves)
    if not said:
        text = text.replace(f"  moves: {moves}\n", "")
    path = tmp_path / "nose.yaml"
    path.write_text(text)
    result = noseroom.check(path)
    (found,) = (one for one in result.findings if one.state == "moving")
    assert found.verdict is Verdict.FITS
    assert ("rocks 2 deg" if said else "is assumed") in found.note
    assumed = [one for one in result.assumptions if "rocks" in one.text]
    assert bool(assumed) is not said


FRONT = "    - front 300 aft of core support.face\n"
SQUARE = "    - square across ± 0.02 deg\npump:"


@pytest.mark.parametrize(("roll", "up", "side"), [(10, 500, 1), (8, 300, 150), (6, 400, -200)])
def test_what_is_open_of_the_cranks_own_line_turns_the_movement_too(
    roll: float, up: float, side: float
) -> None:
    """The engine's yaw is only assumed, ± 1 degree: it rolls about a line that is out as far."""
    text = (
        NOSE.replace(SQUARE, "pump:")
        .format(
            gap=60.0,
            tilt=0,
            ahead=60,
            up=up,
            side=abs(side),
            moves="{" + f"roll: {roll} ± 0.001 deg, "
            "pitch: 0 ± 0.001 deg, forward: 0 mm, sideways: 0 mm, up: 0 mm}",
        )
        .replace("depth: 40\n  width: 60\n  height: 60", "depth: 40\n  width: 700\n  height: 500")
    )
    if side < 0:
        text = text.replace("right of engine.axis", "left of engine.axis")
    layout = arrange(read_text(text, KINDS, rule_keys=clearance_rules()))
    motion = motion_of(layout)
    rocking = MovingPairs(Pairs(layout), motion)
    a, b = rocking.layout.parts["pump"], rocking.layout.parts["post"]
    sure = rocking.sure_gap(a, "body", b, "body", enough_mm=1e3)
    engine = layout.parts["engine"].pose
    pump, post = (layout.parts[name].moving["body"][0][0].corners for name in ("pump", "post"))
    least = np.inf
    for yaw in np.radians([-1.0, 1.0]):
        # The post is read from the pump, along the car: it follows the pump's front.
        turned = Rotation.from_rotvec([0.0, 0.0, yaw]).as_matrix()
        out = (pump - engine[:3, 3]) @ turned.T
        front, was = out[:, 0].min(), (pump - engine[:3, 3])[:, 0].min()
        for degrees in (-roll, roll):
            rock = Rotation.from_rotvec(math.radians(degrees) * (turned @ engine[:3, 0]))
            moved = rock.apply(out) + engine[:3, 3]
            least = min(least, float((moved[:, 0] - (post[:, 0].max() + (front - was))).min()))
    assert sure.lower_mm <= least + 1e-6


def test_an_engine_that_nobody_has_placed_leaves_its_movement_unknown() -> None:
    text = NOSE.replace(FRONT, "").replace("post:\n", "post:\n  carried by: car\n")
    text = text.replace("rear {ahead} ahead of engine.front", "rear 200 aft of core support.face")
    layout = arrange(
        read_text(
            text.format(gap=30, tilt=0, ahead=0, up=150, side=9, moves="{roll: 5 deg}"),
            KINDS,
            rule_keys=clearance_rules(),
        )
    )
    assert not motions_of(layout)
    (found,) = answers(layout)
    assert found.verdict is Verdict.NOT_KNOWN
    assert found.remedies


def test_the_side_that_comes_up_is_the_one_that_is_named() -> None:
    """A post above the pump's outer half, on the car's right: that side has to come up."""
    text = NOSE.replace(
        "    - rear {gap} ahead of pump.front, along the car\n    - middle 0 above pump.middle",
        "    - middle 0 aft of pump.middle, along the car\n    - bottom {gap} above pump.top",
    )
    figures = "{roll: 4 deg, pitch: 0 deg, forward: 0 mm, sideways: 0 mm, up: 0 mm}"
    text = text.format(gap=6.0, tilt=0, ahead=100, up=20, side=300, moves=figures)
    (found,) = answers(arrange(read_text(text, KINDS, rule_keys=clearance_rules())))
    assert "its right side up" in found.note


@pytest.mark.parametrize(("ends", "gives"), [((), False), (("box",), False), (("pump",), False)])
def test_only_a_hose_between_the_two_gives_way(ends: tuple[str, ...], gives: bool) -> None:
    layout = nose(30.0)
    motion = motion_of(layout)
    one = dataclasses.replace(layout.parts["post"], kind="hose", ties=ends)
    assert moving.gives(motion, one) is gives
    between = dataclasses.replace(one, ties=("post", "pump"))
    assert moving.gives(motion, between)
