"""Paths of poses, and what is refused: the plugin in motion."""

from __future__ import annotations

import math
from typing import Any

import cadquery as cq
import numpy as np
import pytest

from moving_blocks import TURN_Z, WITHIN_MM, block, check, located, only, random_case, two
from noseroom.errors import GeometryError
from noseroom.plugin import Shift, Turn, register

register()


# -- a path --------------------------------------------------------------------------------------


def test_a_path_answers_for_its_poses_and_says_which() -> None:
    """By hand: 20 apart at rest; the third pose brings them to 4."""
    made = two(block(10, 10, 10), block(10, 10, 10), (30, 0, 0))
    path = {"two/a": [cq.Location(x, 0, 0) for x in (0, 10, 16, 2)]}
    answer = only(made.clearancesAlong(path))
    assert (answer.step, answer.relation) == (2, "apart")
    assert answer.distance_mm == pytest.approx(4.0, abs=1e-9)
    assert 4.0 - WITHIN_MM <= answer.bound_mm <= 4.0
    np.testing.assert_allclose(answer.points[:, 0], [21, 25], atol=1e-9)
    assert str(answer) == "two/a / two/b: apart, 4.000 mm, never below 3.999 mm, at step 2"


def test_a_shape_keeps_the_location_that_it_has_of_its_own() -> None:
    """By hand: a block whose shape is put at x = 7 by its own workplane is 30 - 7 - 10 - 4 away."""
    off = cq.Workplane(origin=(7, 0, 0)).box(10, 10, 10)
    made = two(off, block(10, 10, 10), (30, 0, 0))
    found = made.clearancesAlong({"two/a": [cq.Location(x, 0, 0) for x in (0, 4)]})
    assert only(found).distance_mm == pytest.approx(9.0, abs=1e-9)
    check(only(made.clearancesWhileMoving({"two/a": Shift((1, 0, 0), 0, 4)})), 9.0)


def test_jaws_that_close_together_are_as_near_as_the_path_says() -> None:
    """By hand: both go in step; 40 - 2 k apart at pose k; and each carries its pad along."""
    made = cq.Assembly(name="vice")
    for name, x in (("left", -25.0), ("right", 25.0)):
        jaw = cq.Assembly(name=name, loc=cq.Location(x, 0, 0)).add(block(10, 30, 30), name="jaw")
        inward = math.copysign(6.0, -x)
        made.add(jaw.add(block(2, 20, 20), name="pad", loc=cq.Location(inward, 0, 0)))
    path = {
        f"vice/{name}": [cq.Location(x - math.copysign(k, x), 0, 0) for k in range(16)]
        for name, x in (("left", -25.0), ("right", 25.0))
    }
    found = made.clearancesAlong(path)
    assert (len(found), found.still) == (4, 2)
    pads = found.between("vice/left/pad", "vice/right/pad")
    assert (pads.step, pads.distance_mm) == (15, pytest.approx(40 - 4 - 30))
    jaws = found.between("vice/left/jaw", "vice/right/jaw")
    assert jaws.distance_mm == pytest.approx(10.0)


def test_a_path_agrees_with_moving_the_assembly_pose_by_pose() -> None:
    """Independent: CadQuery's own locations and the plain query in every pose."""
    root, moving = random_case(3)
    name = next(iter(moving))
    node = next(one for one in root.children if one.name == name.split("/")[1])
    rest = node.loc
    path = [rest * located(moving[name][0], amount) for amount in np.linspace(-40, 40, 15)]
    found = root.clearancesAlong({name: path}, cap_mm=math.inf)
    plain = []
    for where in path:
        node.loc = where
        plain.append(root.clearances(math.inf))
    node.loc = rest
    for one in found:
        least = min(each.between(one.a, one.b).distance_mm for each in plain)
        assert one.bound_mm <= least + 1e-9
        assert one.distance_mm <= least + WITHIN_MM
        assert one.distance_mm == pytest.approx(
            plain[one.step].between(one.a, one.b).distance_mm, abs=1e-6
        )


# -- refusals ------------------------------------------------------------------------------------

FINE = Shift((1, 0, 0), 0, 1)


@pytest.mark.parametrize(
    ("moving", "told"),
    [
        ({"two/c": FINE}, "no 'two/c' here"),
        ({"two/c": FINE}, "there are two/a, two/b"),
        ({"a": FINE}, "there are two/a, two/b"),
        ({"two/aa": FINE}, 'did you mean "two/a"?'),
        ({"two": FINE}, "is the root"),
        ({}, "expected a mapping from names"),
        (FINE, "expected a mapping from names"),
        ({"two/a": 5}, "moving['two/a'] is 5; expected a Turn, a Shift or a list of them"),
        ({"two/a": []}, "is empty"),
        ({"two/a": [FINE, "up"]}, "holds 'up'; expected a Turn or a Shift"),
    ],
)
def test_what_is_no_motion_of_anything_is_refused(moving: Any, told: str) -> None:
    made = two(block(1, 1, 1), block(1, 1, 1), (5, 0, 0))
    with pytest.raises(GeometryError) as raised:
        made.clearancesWhileMoving(moving)
    assert told in str(raised.value)


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ({"two/a": 5}, "path['two/a'] is 5; expected cadquery Locations"),
        ({"two/a": []}, "expected cadquery Locations, one or more"),
        ({"two/a": [cq.Location(), (1, 2, 3)]}, "path['two/a'][1] is a tuple"),
        (
            {"two/a": [cq.Location()], "two/b": [cq.Location()] * 2},
            "'two/a' has 1, 'two/b' has 2 locations; expected equally many",
        ),
        ({"two/c": [cq.Location()]}, "there are two/a, two/b"),
    ],
)
def test_what_is_no_path_of_anything_is_refused(path: Any, told: str) -> None:
    made = two(block(1, 1, 1), block(1, 1, 1), (5, 0, 0))
    with pytest.raises(GeometryError) as raised:
        made.clearancesAlong(path)
    assert told in str(raised.value)


def test_axes_that_are_neither_are_refused() -> None:
    made = two(block(1, 1, 1), block(1, 1, 1), (5, 0, 0))
    with pytest.raises(GeometryError, match="axes is 'car'; expected 'own' or 'world'"):
        made.clearancesWhileMoving({"two/a": FINE}, axes="car")


def test_an_answer_says_when_it_is_so_and_a_notebook_shows_it() -> None:
    made = two(block(10, 10, 10), block(10, 10, 10), (40, 0, 0))
    moving = {"two/a": [Turn(**TURN_Z, low_deg=0, high_deg=0), Shift((1, 0, 0), 5, 5)]}
    found = made.clearancesWhileMoving(moving)
    assert str(found) == "two/a / two/b: apart, 25.000 mm, never below 24.999 mm, at two/a 0° 5 mm"
    assert "two/a 0° 5 mm" in found._repr_html_()
    assert found[0].amounts == {"two/a": (0.0, 5.0)}
    assert found[0].motions["two/a"][1].high_mm == 5
    with pytest.raises(TypeError):
        found[0].amounts["two/a"] = (1.0,)
