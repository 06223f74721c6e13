"""Parts that move in use: solids by hand over their whole ranges, and which way they go."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import part_checks as checks
from noseroom.parts.anti_roll_bar import AntiRollBar
from noseroom.parts.base import Part
from noseroom.parts.engine import Engine
from noseroom.parts.hood import Hood
from noseroom.parts.registry import PARTS
from noseroom.parts.steering import PitmanArm, SteeringLink
from part_checks import Expected, of_boxes, of_cylinder


def of_hood(p: Hood) -> dict[str, Expected]:
    half = p.width_mm / 2
    return {"slab": of_boxes([((0, -half, 0), (p.length_mm, half, p.thickness_mm))])}


def of_bar(p: AntiRollBar) -> dict[str, Expected]:
    half, arm = p.width_mm / 2, p.arm_diameter_mm / 2
    start = 0.0 if p.arms == "aft" else -p.arm_length_mm
    y = half - arm
    return {
        "bar": of_cylinder((0, -half, 0), 1, p.width_mm, p.diameter_mm / 2),
        "left arm": of_cylinder((start, -y, 0), 0, p.arm_length_mm, arm),
        "right arm": of_cylinder((start, y, 0), 0, p.arm_length_mm, arm),
    }


def of_link(p: SteeringLink) -> dict[str, Expected]:
    along = {"along": 0, "across": 1}[p.runs]
    start = [0.0, 0.0, 0.0]
    start[along] = -p.length_mm / 2
    return {"rod": of_cylinder(start, along, p.length_mm, p.diameter_mm / 2)}


def of_pitman(p: PitmanArm) -> dict[str, Expected]:
    """A stadium: a strip with half a circle at each end, whose area is 2 r l + pi r²."""
    r, up = p.boss_mm / 2, p.height_mm / 2
    far = p.length_mm if p.points_to == "aft" else -p.length_mm
    volume = (2 * r * p.length_mm + math.pi * r**2) * p.height_mm
    return {"arm": Expected(volume, (min(0, far) - r, -r, -up), (max(0, far) + r, r, up))}


BY_HAND: dict[type[Part], Callable[[Any], dict[str, Expected]]] = {
    Hood: of_hood,
    AntiRollBar: of_bar,
    SteeringLink: of_link,
    PitmanArm: of_pitman,
}
each = pytest.mark.parametrize("part", BY_HAND, ids=lambda part: part.about.name)


@each
def test_declarations_hang_together(part: type[Part]) -> None:
    checks.check_kind(part)


@each
def test_solids_are_as_worked_by_hand_and_pieces_contain_them(part: type[Part]) -> None:
    for number, made in enumerate(checks.draws(part, seed=41, count=10)):
        solids = checks.check_solids(made, BY_HAND[part](made))
        if number % 3 == 0:
            meshed = checks.bodies(made, checks.COARSE, solids)
            checks.check_pieces_cover(made, meshed)
            checks.check_pieces_tight(made, meshed)


@each
def test_features_and_pieces_follow_sizes_with_exact_derivatives(part: type[Part]) -> None:
    for made in checks.draws(part, seed=43, count=3):
        checks.check_follows_sizes(made)


@each
def test_no_surface_moves_further_than_its_bound_says(part: type[Part]) -> None:
    for made in list(checks.draws(part, seed=44, count=3))[:2]:
        checks.check_movement_bounds(made, most=100)


# -- which way they go ---------------------------------------------------------------------------


def gone(part: Part, number: int, amount: float, point: Any) -> Any:
    """Where a point of a part is after one of its freedoms has gone so far; local frame."""
    freedom = part.moves()[number]
    along = np.asarray(freedom.along, dtype=float)
    if not freedom.turns:
        return np.asarray(point, dtype=float) + amount * along
    turn = Rotation.from_rotvec(math.radians(amount) * along)
    return turn.apply(np.asarray(point, dtype=float) - freedom.through) + freedom.through


@pytest.mark.parametrize("end", ["rear", "front"])
def test_a_hood_opens_at_its_free_edge_and_dips_there_by_what_a_slam_is_said_to_take(
    end: str,
) -> None:
    hood = Hood(hinged=end, length_mm=1200, width_mm=1300, pin_in_mm=20, pin_below_mm=30)
    free = (0.0 if end == "rear" else 1200.0, 0.0, 0.0)
    assert gone(hood, 0, 30.0, free)[2] == pytest.approx(1180 * math.sin(math.radians(30)), abs=10)
    (freedom,) = hood.moves()
    slammed = gone(hood, 0, -hood.slam_mm * freedom.back_scale, free)
    assert slammed[2] == pytest.approx(-hood.slam_mm, rel=0.01)
    assert slammed[2] <= -hood.slam_mm * (1 - 1e-4)
    # The pins stay where they are.
    assert gone(hood, 0, 50.0, freedom.through) == pytest.approx(freedom.through)


@pytest.mark.parametrize(("arms", "x"), [("aft", 250.0), ("ahead", -250.0)])
def test_an_arm_swings_up_where_it_is_said_to(arms: str, x: float) -> None:
    bar = AntiRollBar(arms=arms, width_mm=900, arm_length_mm=250)
    assert "up" in bar.moves()[0].said[1]
    assert gone(bar, 0, 17.0, (x, 0, 0))[2] == pytest.approx(250 * math.sin(math.radians(17)))
    # asin(75 / 250) is 17.46 degrees: what the usual figure stands for.
    assert bar.turn_deg == pytest.approx(math.degrees(math.asin(75 / 250)), abs=1.0)
    assert bar.turn_deg >= math.degrees(math.asin(75 / 250))


@pytest.mark.parametrize(("points", "x"), [("aft", 150.0), ("ahead", -150.0)])
def test_a_pitman_arm_swings_to_the_side_that_is_said(points: str, x: float) -> None:
    arm = PitmanArm(points_to=points, length_mm=150)
    assert "right" in arm.moves()[0].said[1]
    assert gone(arm, 0, 30.0, (x, 0, 0))[1] == pytest.approx(75.0)


def test_a_link_on_an_axle_goes_up_and_down_with_it_and_one_on_the_frame_does_not() -> None:
    keys = [
        [one.forth for one in SteeringLink(length_mm=500, hangs=hangs).moves()]
        for hangs in ("frame", "axle")
    ]
    assert keys == [["moves.slide", "moves.swing"], ["moves.slide", "moves.swing", "moves.up"]]


def test_only_what_is_said_to_moves() -> None:
    movers = {name for name, part in PARTS.items() if part.moves is not Part.moves}
    assert movers == {Engine.about.name, *(part.about.name for part in BY_HAND)}


@pytest.mark.parametrize("key", ["roll", "pitch", "forward", "sideways", "up"])
def test_softer_mounts_are_assumed_to_move_no_less(key: str) -> None:
    sizes = {one.key: one for one in Engine.sizes().values()}
    size = sizes[f"moves.{key}"]
    reaches = [
        size.usual_with({"mounts": word}) or 0.0 for word in ("solid", "firm", "rubber", "soft")
    ]
    assert reaches == sorted(reaches)
    assert reaches[0] > 0
