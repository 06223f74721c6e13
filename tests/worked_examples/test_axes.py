"""The builder's words on the vehicle's axes, from the file to the placed part.

Sources, as the project's list of check values words them:
- ISO 4130:1978: zero Y is the vertical longitudinal centre plane, zero X a vertical transverse
  plane, zero Z a horizontal plane.
- SAE J182 (2020-11) 3.1.2: the zero X plane is normal to the Y plane, typically in front of the
  vehicle so that X is never negative: X grows rearward. (A nose has its own origin, on the core
  support, so that what stands ahead of it is below zero here.)
- ISO 8855: X forward, Y left, Z up, right-handed.
- SAE J1100/J182, ISO 4130, from memory: +Y to the right seen by the driver, +Z up.
- Design axes to ISO 8855: (x, y, z) to (-x, -y, z), a matrix of determinant +1 (geometry).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from noseroom.envelope.reader import read_text
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS

TO_ISO_8855 = np.diag([-1.0, -1.0, 1.0])
FORWARD, TO_THE_LEFT, UP = np.eye(3)  # the axes of ISO 8855

_WHERE_ELSE = {
    0: "middle 0 mm ± 1 mm aft of core support.face",
    1: "middle 0 mm ± 1 mm right of centreline",
    2: "middle 0 mm ± 1 mm above core support.opening.bottom",
}
_HOW_ELSE = {
    "pitch": "plumb ± 0.1 deg",
    "yaw": "square across ± 0.1 deg",
    "roll": "level ± 0.1 deg",
}


def box_nose(*sentences: str, sides: str) -> Layout:
    """A nose with one box, placed by these sentences."""
    lines = [
        "format: 1",
        "units: mm",
        f"sides: as {sides}",
        "core support: {opening: {width: 700, height: 480}}",
        "box:",
        "  depth: 200",
        "  width: 100",
        "  height: 60",
        "  place:",
        *(f'    - "{one}"' for one in sentences),
    ]
    return arrange(read_text("\n".join(lines) + "\n", KINDS))


def pose_of(*sentences: str, sides: str) -> NDArray[np.float64]:
    part = box_nose(*sentences, sides=sides).parts["box"]
    assert part.known
    return part.pose


def test_design_axes_turn_into_iso_8855_without_a_reflection() -> None:
    assert np.linalg.det(TO_ISO_8855) == 1.0
    # Both systems are right-handed, so that the same right-hand rule gives both senses of turning.
    np.testing.assert_array_equal(np.cross(FORWARD, TO_THE_LEFT), UP)
    aft, right = TO_ISO_8855 @ [1, 0, 0], TO_ISO_8855 @ [0, 1, 0]
    np.testing.assert_array_equal(aft, -FORWARD)
    np.testing.assert_array_equal(right, -TO_THE_LEFT)


@pytest.mark.parametrize("sides", ["seated", "facing the grille"])
@pytest.mark.parametrize(
    ("words", "target", "axis", "iso"),
    [
        ("aft of", "core support.face", 0, -FORWARD),
        ("behind", "core support.face", 0, -FORWARD),
        ("ahead of", "core support.face", 0, FORWARD),
        ("in front of", "core support.face", 0, FORWARD),
        ("right of", "centreline", 1, -TO_THE_LEFT),
        ("left of", "centreline", 1, TO_THE_LEFT),
        ("above", "core support.opening.bottom", 2, UP),
        ("below", "core support.opening.bottom", 2, -UP),
    ],
)
def test_a_direction_of_the_file_lands_on_its_axis(
    sides: str, words: str, target: str, axis: int, iso: NDArray[np.float64]
) -> None:
    others = [text for number, text in _WHERE_ELSE.items() if number != axis]
    pose = pose_of(
        f"middle 150 mm ± 1 mm {words} {target}", *others, *_HOW_ELSE.values(), sides=sides
    )
    seen = TO_ISO_8855 @ pose[:3, 3]
    # Who faces the grille has the car's left on the right hand.
    mirrored = sides != "seated" and axis == 1
    np.testing.assert_allclose(seen, (-150.0 if mirrored else 150.0) * iso, atol=1e-6)
    np.testing.assert_allclose(pose[:3, :3], np.eye(3), atol=1e-9)


def about(axis: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    """The rotation by the right-hand rule about an axis (Rodrigues)."""
    x, y, z = axis
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    angle = math.radians(degrees)
    return np.eye(3) + math.sin(angle) * skew + (1 - math.cos(angle)) * skew @ skew


@pytest.mark.parametrize("sides", ["seated", "facing the grille"])
@pytest.mark.parametrize(
    ("words", "turn", "axis", "sense"),
    [
        # About ISO 8855's axes, right-hand rule: pitch lowers the nose, yaw turns it to the left,
        # roll lowers the right side.
        ("nose down", "pitch", TO_THE_LEFT, 1),
        ("nose up", "pitch", TO_THE_LEFT, -1),
        ("leaning back", "pitch", TO_THE_LEFT, -1),
        ("leaning forward", "pitch", TO_THE_LEFT, 1),
        ("turned left", "yaw", UP, 1),
        ("turned right", "yaw", UP, -1),
        ("left side up", "roll", FORWARD, 1),
        ("right side up", "roll", FORWARD, -1),
    ],
)
def test_a_turn_of_the_file_has_the_sense_that_its_words_say(
    sides: str,
    words: str,
    turn: str,
    axis: NDArray[np.float64],
    sense: int,
) -> None:
    others = [text for name, text in _HOW_ELSE.items() if name != turn]
    pose = pose_of(f"6 deg {words} ± 0.1 deg", *others, *_WHERE_ELSE.values(), sides=sides)
    mirrored = sides != "seated" and turn in ("yaw", "roll")
    wanted = about(axis, -6.0 * sense if mirrored else 6.0 * sense)
    found = TO_ISO_8855 @ pose[:3, :3] @ TO_ISO_8855.T
    np.testing.assert_allclose(found, wanted, atol=1e-9)


def test_a_nose_that_points_up_is_higher_in_front_and_one_turned_right_points_right() -> None:
    still = [*_WHERE_ELSE.values()]
    up = box_nose(*still, "6 deg nose up ± 0.1 deg", sides="seated").parts["box"]
    assert up.touch_point("front")[0][2] > 0 > up.touch_point("rear")[0][2]
    assert up.touch_point("top")[0][0] > 0 > up.touch_point("bottom")[0][0]  # its top leans aft
    right = box_nose(*still, "6 deg turned right ± 0.1 deg", sides="seated").parts["box"]
    assert right.touch_point("front")[0][1] > 0 > right.touch_point("rear")[0][1]
    over = box_nose(*still, "6 deg left side up ± 0.1 deg", sides="seated").parts["box"]
    assert over.touch_point("left")[0][2] > 0 > over.touch_point("right")[0][2]


@pytest.mark.parametrize("sides", ["seated", "facing the grille"])
def test_clock_positions_are_those_of_somebody_before_the_car(sides: str) -> None:
    """Common practice for fans and radiators: seen from the front, 3 o'clock on the car's left."""
    lines = [
        "format: 1",
        "units: mm",
        f"sides: as {sides}",
        "core support: {opening: {width: 700, height: 480}}",
        "fan:",
        "  carried by: car",
        "  diameter: 400",
        "  ahead: 30 ± 1",
        "  place:",
        "    - blade.front at 12 o'clock 100 ± 1 aft of core support.face",
        "    - blade.front at 6 o'clock 140 ± 1 aft of core support.face",
        "    - blade.front at 3 o'clock 110 ± 1 aft of core support.face",
        "    - blade.front at 9 o'clock 130 ± 1 aft of core support.face",
        "    - axis 0 right of centreline",
        "    - axis 240 above core support.opening.bottom",
        "    - level",
    ]
    fan = arrange(read_text("\n".join(lines) + "\n", KINDS)).parts["fan"]
    assert fan.known
    middle = fan.touch_point("blade.front")[0]
    ways = {12: UP, 3: TO_THE_LEFT, 6: -UP, 9: -TO_THE_LEFT}
    for hour, way in ways.items():
        point = fan.touch_point("blade.front", f"{hour} o'clock")[0]
        assert TO_ISO_8855 @ (point - middle) @ way > 0.99 * 200
        assert point[0] == pytest.approx({12: 100, 3: 110, 6: 140, 9: 130}[hour], abs=1e-6)
    # Nearer to the support at the top, it faces down in front; nearer on the car's left, it faces
    # to the car's right.
    facing = TO_ISO_8855 @ -fan.pose[:3, 0]
    assert facing @ UP < 0
    assert facing @ TO_THE_LEFT < 0
