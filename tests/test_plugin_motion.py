"""Clearances of an assembly that moves: closed forms, what hangs on what, names, refusals, display.

What is expected is worked by hand, or comes from the kernel's distance in many poses.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepExtrema import BRepExtrema_DistShapeShape

from moving_blocks import TURN_Z, WITHIN_MM, block, check, located, only, random_case, two
from noseroom.plugin import PairWhileMoving, Shift, Turn, register

register()


# -- closed forms --------------------------------------------------------------------------------


def test_a_block_that_slides_comes_as_near_as_its_stop() -> None:
    """By hand: 30 apart, 12.5 nearer at the most."""
    made = two(block(10, 10, 10), block(10, 10, 10), (40, 0, 0))
    answer = only(made.clearancesWhileMoving({"two/a": Shift((1, 0, 0), -5, 12.5)}))
    check(answer, 17.5)
    assert answer.amounts["two/a"][0] == pytest.approx(12.5, abs=0.2)


def test_a_ball_that_rises_past_a_ball_is_nearest_beside_it() -> None:
    """By hand: the centres pass at 50; radii 8 and 12. Neither end of the way is the nearest."""
    made = two(cq.Workplane().sphere(8), cq.Workplane().sphere(12), (50, 0, 30))
    answer = only(made.clearancesWhileMoving({"two/a": Shift((0, 0, 2), -10, 70)}))
    check(answer, 30.0)
    assert answer.amounts["two/a"][0] == pytest.approx(30, abs=4)


def test_a_bar_that_turns_reaches_furthest_with_its_corner() -> None:
    """By hand: the corner's radius is hypot(50, 2); a wall's face stands at 55."""
    made = two(block(100, 4, 10), block(10, 300, 50), (60, 0, 0))
    answer = only(made.clearancesWhileMoving({"two/a": Turn(**TURN_Z, low_deg=-30, high_deg=30)}))
    check(answer, 55 - math.hypot(50, 2))
    assert abs(answer.amounts["two/a"][0]) == pytest.approx(2.29, abs=1.5)


def test_a_rod_that_swings_past_a_post() -> None:
    """By hand: a rod of 3 at 40 from the axis swings past a post of 5 whose middle is at 60."""
    rod = cq.Workplane(origin=(40, 0, 0)).cylinder(80, 3)
    post = cq.Workplane().cylinder(50, 5)
    made = two(rod, post, (60 * math.cos(0.3), 60 * math.sin(0.3), 0))
    answer = only(made.clearancesWhileMoving({"two/a": Turn(**TURN_Z, low_deg=-45, high_deg=50)}))
    check(answer, 12.0)
    assert answer.amounts["two/a"][0] == pytest.approx(math.degrees(0.3), abs=3)


def test_contact_only_between_coarse_poses_is_found() -> None:
    """By hand: a bar 4 wide sweeps over a pin of 1 at 40; ten degrees off it is 4 mm clear."""
    pin = cq.Workplane().cylinder(10, 1)
    made = two(block(100, 4, 10), pin, (40 * math.cos(0.26), 40 * math.sin(0.26), 0))
    poses = [cq.Location((0, 0, 0), (0, 0, 1), angle) for angle in range(-60, 61, 10)]
    coarse = only(made.clearancesAlong({"two/a": poses}))
    assert coarse.relation == "apart"
    assert coarse.distance_mm == pytest.approx(40 * math.sin(math.radians(14.897 - 10)) - 3, abs=1)
    answer = only(made.clearancesWhileMoving({"two/a": Turn(**TURN_Z, low_deg=-60, high_deg=60)}))
    assert (answer.distance_mm, answer.bound_mm) == (0.0, 0.0)
    assert answer.relation == "inside"
    assert 10 < answer.amounts["two/a"][0] < 20


def test_contact_only_at_a_combination_of_two_motions_is_found() -> None:
    """By hand: 9 apart both ways; each motion of 10 alone leaves 9, both together meet."""
    made = two(block(20, 20, 20), block(20, 20, 20), (29, 29, 0))
    aft, right = Shift((1, 0, 0), -10, 10), Shift((0, 1, 0), -10, 10)
    for moving in ({"two/a": aft}, {"two/a": [right]}, {"two/b": aft}):
        check(only(made.clearancesWhileMoving(moving)), 9.0)
    for moving in ({"two/a": [aft, right]}, {"two/a": aft, "two/b": right}):
        answer = only(made.clearancesWhileMoving(moving))
        assert answer.relation == "overlapping"
        assert answer.bound_mm == 0.0


def test_two_that_both_move_meet_halfway() -> None:
    """By hand: 40 apart, each up to 15 nearer."""
    made = two(block(10, 50, 50), block(10, 50, 50), (50, 0, 0))
    moving = {"two/a": Shift((1, 0, 0), -3, 15), "two/b": Shift((1, 0, 0), -15, 4)}
    answer = only(made.clearancesWhileMoving(moving))
    check(answer, 10.0)
    assert list(answer.amounts) == ["two/a", "two/b"]


def test_a_part_that_stays_within_another_is_never_clear_of_it() -> None:
    made = two(block(4, 4, 4), block(100, 100, 100), (0, 0, 0))
    answer = only(made.clearancesWhileMoving({"two/a": Shift((1, 0, 0), -5, 5)}, cap_mm=5))
    assert answer.relation == "inside"
    assert answer.bound_mm == 0.0


def test_a_part_in_a_hollow_is_as_near_as_it_may_come_to_the_wall() -> None:
    """By hand: 20 of room each way in a hollow of 60, a block of 20, 7 of travel."""
    hollow = block(80, 80, 80).cut(block(60, 60, 60))
    made = two(block(20, 20, 20), hollow, (0, 0, 0))
    check(only(made.clearancesWhileMoving({"two/a": Shift((0, 1, 0), -7, 7)})), 13.0)


def test_touching_at_rest_is_not_the_answer_where_a_motion_goes_deeper() -> None:
    made = two(block(10, 10, 10), block(10, 10, 10), (10, 0, 0))
    slide = only(made.clearancesWhileMoving({"two/a": Shift((0, 1, 0), -2, 2)}))
    assert slide.relation == "touching"
    press = only(made.clearancesWhileMoving({"two/a": Shift((1, 0, 0), -3, 3)}))
    assert press.relation == "overlapping"
    assert press.overlap_mm3 == pytest.approx(300.0)
    assert press.amounts["two/a"] == (3.0,)


@pytest.mark.parametrize("inner", ["pin", "arm"])
def test_a_pin_that_turns_in_its_hole_keeps_its_play(inner: str) -> None:
    """By hand: radii 4 and 4.05, whichever of the two moves, however long the arm."""
    arm = block(400, 20, 8).cut(cq.Workplane(origin=(-190, 0, 0)).cylinder(20, 4.05))
    made = cq.Assembly(name="hinge").add(arm, name="arm", loc=cq.Location(190, 0, 0))
    made.add(cq.Workplane().cylinder(12, 4), name="pin")
    turn = Turn(**TURN_Z, low_deg=-180, high_deg=180)
    answer = only(made.clearancesWhileMoving({f"hinge/{inner}": turn}, axes="world"))
    assert answer.settled
    assert answer.relation == "apart"
    assert answer.distance_mm == pytest.approx(0.05, abs=1e-6)
    assert answer.bound_mm <= 0.05


def test_a_pin_that_is_not_round_is_searched_for() -> None:
    """By hand: the corners of a square of 6 are 4.243 from the axis: they bite into a hole of 4.1.

    At rest they do not: the hole is a square of 6.4 with corners of its own.
    """
    plate = block(40, 40, 8).cut(block(6.4, 6.4, 8))
    made = two(plate, block(6, 6, 12), (0, 0, 0))
    turn = Turn(**TURN_Z, low_deg=-45, high_deg=45)
    assert only(made.clearances()).distance_mm == pytest.approx(0.2)
    answer = only(made.clearancesWhileMoving({"two/b": turn}))
    assert answer.relation == "overlapping"
    flat = cq.Workplane().cylinder(12, 4).cut(cq.Workplane(origin=(6, 0, 0)).box(6, 20, 20))
    key = two(flat, block(2, 2, 2), (4.5, 0, 0))
    assert only(key.clearances()).distance_mm == pytest.approx(0.5)
    worst = only(key.clearancesWhileMoving({"two/a": Turn(**TURN_Z, low_deg=0, high_deg=90)}))
    assert worst.relation == "overlapping"


# -- what hangs on what --------------------------------------------------------------------------


def crane() -> cq.Assembly:
    """An arm of 100 about the root's z, at its end a forearm of 60 about its own z; both level."""
    forearm = cq.Assembly(name="forearm", loc=cq.Location(100, 0, 0))
    forearm.add(cq.Workplane(origin=(30, 0, 0)).box(40, 4, 4), name="bar")
    arm = cq.Assembly(name="arm").add(cq.Workplane(origin=(45, 0, 0)).box(70, 4, 4), name="bar")
    arm.add(forearm)
    return cq.Assembly(name="crane").add(arm)


def test_what_hangs_on_a_mover_goes_along_and_stays_still_to_it() -> None:
    made = crane()
    made.add(block(4, 4, 4), name="post", loc=cq.Location(0, 160, 0))
    turn = Turn(**TURN_Z, low_deg=0, high_deg=90)
    found = made.clearancesWhileMoving({"crane/arm": turn}, cap_mm=200)
    assert found.still == 1  # the two bars
    assert found.between("crane/arm/bar", "crane/arm/forearm/bar") is None
    # By hand: the forearm's far corner gets as high as its radius, the post begins at y = 158.
    check(found.between("crane/arm/forearm/bar", "crane/post"), 158 - math.hypot(150, 2))


def test_what_carries_both_does_not_bring_them_nearer() -> None:
    """By hand: the elbow alone counts between the bars, whatever the shoulder does."""
    made = crane()
    elbow = Turn(**TURN_Z, low_deg=0, high_deg=120)
    alone = only(made.clearancesWhileMoving({"crane/arm/forearm": elbow}))
    shoulder = Turn(**TURN_Z, low_deg=20, high_deg=80)
    both = only(made.clearancesWhileMoving({"crane/arm": shoulder, "crane/arm/forearm": elbow}))
    assert both.bound_mm == pytest.approx(alone.bound_mm, abs=1e-6)
    assert list(both.amounts) == ["crane/arm/forearm"]
    # The points are shown where the shoulder is as near to its rest as its stops let it: at 20.
    turn = math.radians(20)
    back = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    np.testing.assert_allclose(both.points[:, :2] @ back.T, alone.points[:, :2], atol=1e-6)


def test_joints_one_after_the_other_reach_what_the_plane_geometry_says() -> None:
    """By hand: with the elbow square the far corner is at hypot(102, 50); a wall stands at 120."""
    made = crane()
    made.add(block(2, 600, 40), name="wall", loc=cq.Location(-121, 0, 0))
    moving = {
        "crane/arm": Turn(**TURN_Z, low_deg=90, high_deg=170),
        "crane/arm/forearm": Turn(**TURN_Z, low_deg=90, high_deg=90),
    }
    answer = made.clearancesWhileMoving(moving).between("crane/arm/forearm/bar", "crane/wall")
    check(answer, 120 - math.hypot(102, 50))


def test_axes_may_be_the_movers_own_or_the_worlds() -> None:
    """By hand: the same bar, once about its own middle, once about a point of the world."""
    made = cq.Assembly(name="root", loc=cq.Location(0, 0, 500))
    made.add(block(20, 4, 4), name="bar", loc=cq.Location((100, 0, 0), (1, 0, 0), 90))
    made.add(block(4, 4, 40), name="post", loc=cq.Location(100, 30, 0))
    # Its own y is the world's z there.
    own = Turn((0, 0, 0), (0, 1, 0), -90, 90)
    world = Turn((100, 0, 500), (0, 0, 1), -90, 90)
    answers = [
        only(made.clearancesWhileMoving({"root/bar": own})),
        only(made.clearancesWhileMoving({"root/bar": world}, axes="world")),
    ]
    for answer in answers:
        check(answer, 28 - math.hypot(10, 2))
    slide = Shift((0, 0, -1), 0, 10)
    check(only(made.clearancesWhileMoving({"root/bar": slide})), 28 - 2 - 10)


def test_a_rest_outside_the_stops_does_not_count() -> None:
    """By hand: they touch at rest, but the motion begins 5 away."""
    made = two(block(10, 10, 10), block(10, 10, 10), (10, 0, 0))
    check(only(made.clearancesWhileMoving({"two/a": Shift((-1, 0, 0), 5, 9)})), 5.0)


def test_pairs_beyond_the_cap_in_every_pose_are_counted() -> None:
    made = two(block(10, 10, 10), block(10, 10, 10), (100, 0, 0))
    move = {"two/a": Shift((1, 0, 0), 0, 20)}
    near = made.clearancesWhileMoving(move, cap_mm=69)
    assert (len(near), near.beyond, near.still) == (0, 1, 0)
    check(only(made.clearancesWhileMoving(move, cap_mm=71)), 70.0)
    check(only(made.clearancesWhileMoving(move, cap_mm=math.inf)), 70.0)


def test_a_search_that_is_cut_short_says_so_and_its_bound_holds() -> None:
    made = two(block(100, 4, 10), block(10, 300, 50), (60, 0, 0))
    moving = {"two/a": Turn(**TURN_Z, low_deg=-80, high_deg=80)}
    answer = only(made.clearancesWhileMoving(moving, most_measured=3))
    assert not answer.settled
    assert answer.bound_mm <= 55 - math.hypot(50, 2)
    assert "not searched to the end" in str(answer)


# -- against plain sampling by the kernel --------------------------------------------------------


PER_STEP = 7


def sampled(
    root: cq.Assembly, moving: dict[str, list[Turn | Shift]]
) -> dict[frozenset[str], float]:
    """The least distance of every pair over a grid of poses, by the kernel on whole shapes."""
    least: dict[frozenset[str], float] = {}
    ends = [
        (one.low_deg, one.high_deg) if isinstance(one, Turn) else (one.low_mm, one.high_mm)
        for (one,) in moving.values()
    ]
    for amounts in product(*(np.linspace(*both, PER_STEP) for both in ends)):
        moved_by = {
            name: located(step, float(amount))
            for (name, (step,)), amount in zip(moving.items(), amounts, strict=True)
        }
        placed: dict[str, cq.Shape] = {}

        def walk(node: cq.Assembly, above: str, where: cq.Location) -> None:
            name = f"{above}/{node.name}".lstrip("/")
            here = where * node.loc * moved_by.get(name, cq.Location())  # noqa: B023
            if node.obj is not None:
                placed[name] = node.obj.moved(here)  # noqa: B023
            for child in node.children:
                walk(child, name, here)

        walk(root, "", cq.Location())
        names = list(placed)
        for i, a in enumerate(names):
            for b in names[:i]:
                gap = BRepExtrema_DistShapeShape(placed[a].wrapped, placed[b].wrapped).Value()
                pair = frozenset((a, b))
                least[pair] = min(gap, least.get(pair, math.inf))
    return least


@pytest.mark.parametrize("seed", range(6))
def test_no_sampled_pose_is_nearer_than_the_bound_on_random_assemblies(seed: int) -> None:
    """Independent: 49 combinations, the ends among them, each pair by BRepExtrema.

    The other way round, the worst pose found is a pose of the set: CadQuery's own locations put
    the shapes there, and the kernel measures what was said.
    """
    root, moving = random_case(seed)
    found = root.clearancesWhileMoving(moving, cap_mm=math.inf)
    assert len(found) == 3
    least = sampled(root, moving)
    for one in found:
        gap = least[frozenset((one.a, one.b))]
        assert one.bound_mm <= gap + 1e-6
        assert one.settled
        if one.relation == "apart":
            assert one.distance_mm <= gap + WITHIN_MM
            assert one.distance_mm - one.bound_mm <= WITHIN_MM
            there = {n: [_fixed(moving[n][0], one.amounts.get(n))] for n in moving}
            again = _measured(root, there, one)
            assert again == pytest.approx(one.distance_mm, abs=1e-5)
        else:
            assert one.bound_mm == 0.0


def _fixed(step: Turn | Shift, amount: tuple[float, ...] | None) -> Turn | Shift:
    """The step at one amount alone; any, where it does not matter."""
    low, high = (
        (step.low_deg, step.high_deg) if isinstance(step, Turn) else (step.low_mm, step.high_mm)
    )
    at = low if amount is None else min(max(amount[0], low), high)
    if isinstance(step, Turn):
        return Turn(step.through, step.axis, at, at)
    return Shift(step.direction, at, at)


def _measured(root: cq.Assembly, moving: dict[str, Any], pair: PairWhileMoving) -> float:
    return sampled(root, moving)[frozenset((pair.a, pair.b))]
