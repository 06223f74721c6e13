"""Bodies that move: nothing hides between poses, or at a combination of two motions."""

import cadquery as cq
import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from noseroom.errors import GeometryError
from noseroom.geometry.all_pairs import all_pairs, close_boxes
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.motions import STILL, Motions, Shift, Turn
from noseroom.geometry.smallest import smallest_clearance
from noseroom.geometry.sweeps import sweep
from noseroom.geometry.swept_fan import swept_profile
from noseroom.geometry.trees import tree_distance
from truth_makers import at


def block(*size, at_mm=(0, 0, 0)):
    return body_from_shape("block", cq.Workplane().box(*size).translate(at_mm).val())


def ball(radius):
    return body_from_shape("ball", cq.Workplane().sphere(radius).val())


def rod(height, radius):
    return body_from_shape("rod", cq.Workplane().cylinder(height, radius).val())


def blade():
    return body_from_shape("blade", cq.Workplane().rect(40, 4).twistExtrude(100, 60).val())


def ring():
    return body_from_shape("ring", cq.Solid.makeTorus(50, 10))


# --- Motion sets ----------------------------------------------------------------------------


def test_steps_are_done_in_order_each_about_its_own_axis_of_the_world():
    """By hand: (1, 0, 0) turned 90 degrees about z is (0, 1, 0); then 5 along y."""
    moves = Motions((Turn((0, 0, 0), (0, 0, 1), 0, 90), Shift((0, 2, 0), 0, 5)))
    pose = moves.pose([np.pi / 2, 5.0], np.eye(4))
    assert (pose @ [1, 0, 0, 1])[:3] == pytest.approx([0, 6, 0])
    other = Motions(moves.steps[::-1]).pose([5.0, np.pi / 2], np.eye(4))
    assert (other @ [1, 0, 0, 1])[:3] == pytest.approx([-5, 1, 0])


def test_a_turn_agrees_with_an_independent_rotation():
    """Independent: scipy's rotation vectors."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        through, axis, angle = rng.normal(size=3), rng.normal(size=3), rng.uniform(-4, 4)
        pose = Turn(through, axis, -300, 300).pose(angle)
        turn = Rotation.from_rotvec(axis / np.linalg.norm(axis) * angle)
        point = rng.normal(size=3)
        expected = turn.apply(point - through) + through
        assert (pose @ [*point, 1])[:3] == pytest.approx(expected)


@pytest.mark.parametrize("seed", range(5))
def test_no_point_gets_further_than_the_bounds_say(seed):
    """Sampling: three turns and shifts, any box of amounts, ends of the box among the samples."""
    rng = np.random.default_rng(seed)
    steps = [
        Turn(rng.normal(size=3) * 100, rng.normal(size=3), -90, 120)
        if rng.random() < 0.6
        else Shift(rng.normal(size=3), -20, 30)
        for _ in range(3)
    ]
    moves = Motions(tuple(steps))
    centre, half = moves.box()
    half = half * rng.uniform(0.01, 1, 3)
    points, normal = rng.normal(size=(40, 3)) * 100, rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    off, shares = moves.off(points, centre, half)
    along, parts = moves.off_along(points, centre, half, normal)
    start = points @ moves.pose(centre, np.eye(4))[:3, :3].T + moves.pose(centre, np.eye(4))[:3, 3]
    assert (off <= shares.sum() + 1e-9).all()
    assert (along <= parts.sum() + 1e-9).all()
    closest = np.inf
    for _ in range(400):
        amounts = centre + half * np.clip(rng.uniform(-1.5, 1.5, 3), -1, 1)
        pose = moves.pose(amounts, np.eye(4))
        moved = points @ pose[:3, :3].T + pose[:3, 3] - start
        assert (np.linalg.norm(moved, axis=1) <= off + 1e-9).all()
        assert (np.abs(moved @ normal) <= along + 1e-9).all()
        closest = min(closest, float((off / np.linalg.norm(moved, axis=1)).min()))
    assert closest < 3, "the bound should be of some use"


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Turn((0, 0, 0), (0, 0, 0), -1, 1),
        lambda: Turn((0, 0), (0, 0, 1), -1, 1),
        lambda: Turn((0, 0, 0), (0, 0, 1), 2, 1),
        lambda: Shift((0, 0, np.nan), 0, 1),
        lambda: Shift((0, 0, 1), 0, np.inf),
        lambda: smallest_clearance(ball(1), None, STILL, ball(1), at(9), error_mm=0),
        lambda: smallest_clearance(ball(1), None, STILL, ball(1), at(9), cap_mm=-1),
    ],
)
def test_what_is_no_motion_is_refused(wrong):
    with pytest.raises(GeometryError):
        wrong()


# --- The least clearance of a set -----------------------------------------------------------


def check_smallest(answer, truth_mm, slack_mm=0.0, error_mm=0.05):
    assert answer.settled
    assert answer.bound_mm <= truth_mm + 1e-9
    assert answer.value_mm >= truth_mm - 1e-6
    assert answer.value_mm - answer.bound_mm <= error_mm + 2 * slack_mm + 1e-6
    assert answer.at_worst.relation is Relation.APART


def test_nothing_moving_is_the_clearance_itself():
    """Analytic: balls of 10 and 15, centres 30 apart."""
    a, b = ball(10), ball(15)
    answer = smallest_clearance(a, None, STILL, b, at(30))
    check_smallest(answer, 5.0, a.mesh.bound_mm + b.mesh.bound_mm)
    assert answer.amounts_a == answer.amounts_b == ()


def test_the_least_clearance_lies_between_the_ends_of_a_turn():
    """Analytic: the far corner of a bar passes a wall at its own radius, hypot(50, 2)."""
    bar, wall = block(100, 4, 10), block(10, 300, 50)
    turn = Motions((Turn((0, 0, 0), (0, 0, 1), -30, 30),))
    answer = smallest_clearance(bar, None, turn, wall, at(60), error_mm=0.01)
    check_smallest(answer, 55 - np.hypot(50, 2), error_mm=0.01)
    assert abs(answer.amounts_a[0]) == pytest.approx(np.degrees(np.arctan2(2, 50)), abs=1.0)


def test_contact_only_between_two_coarse_poses_is_found():
    """Analytic: a bar 4 wide swings over a pin of 1 at 40; at each end it is well clear."""
    bar, pin = block(100, 4, 10), rod(10, 1)
    turn = Turn((0, 0, 0), (0, 0, 1), -60, 50)
    coarse = [turn.pose(np.radians(angle)) for angle in (-60, -23, -5, 5, 32, 50)]
    there = at(40 * np.cos(0.3), 40 * np.sin(0.3))  # at 17.2 degrees
    assert min(clearance(bar, pin, pose, there).bound_mm for pose in coarse) > 5
    answer = smallest_clearance(bar, None, Motions((turn,)), pin, there)
    assert answer.bound_mm == answer.value_mm == 0
    assert answer.at_worst.relation is not Relation.APART
    assert 10 < answer.amounts_a[0] < 25


def test_contact_only_at_a_combination_of_two_motions_is_found():
    """By hand: 9 apart both ways; 10 along one leaves the other 9, 10 along both leaves none."""
    mover, post = block(20, 20, 20), block(20, 20, 20)
    place = at(29, 29)
    aft, right = Shift((1, 0, 0), -10, 10), Shift((0, 1, 0), -10, 10)
    for one in (aft, right):
        alone = smallest_clearance(mover, None, Motions((one,)), post, place)
        check_smallest(alone, 9.0)
    both = smallest_clearance(mover, None, Motions((aft, right)), post, place)
    assert both.bound_mm == both.value_mm == 0
    shared = smallest_clearance(mover, None, Motions((aft,)), post, place, Motions((right,)))
    assert shared.bound_mm == shared.value_mm == 0


def test_two_bodies_that_both_move_meet_halfway():
    """Analytic: 40 apart, each may come 15 nearer: 10 are left."""
    a, b = block(10, 50, 50), block(10, 50, 50)
    answer = smallest_clearance(
        a,
        None,
        Motions((Shift((1, 0, 0), -3, 15),)),
        b,
        at(50),
        Motions((Shift((2, 0, 0), -15, 4),)),
    )
    check_smallest(answer, 10.0)
    assert answer.amounts_a[0] == pytest.approx(15, abs=0.1)
    assert answer.amounts_b[0] == pytest.approx(-15, abs=0.1)


def test_a_slide_along_a_wall_costs_no_more_than_a_glance():
    """The nearest points part the two along the wall's normal, whatever the slide does."""
    slide = Motions((Shift((0, 1, 0), -100, 100), Shift((0, 0, 1), -100, 100)))
    answer = smallest_clearance(block(10, 50, 50), None, slide, block(10, 900, 900), at(20))
    check_smallest(answer, 10.0)
    assert answer.measured < 20


def test_curved_parts_under_three_motions_against_plain_sampling():
    """Independent: 2,000 combinations, the ends among them, measured one by one."""
    a, b, place = blade(), ring(), at(90, 30, 10)
    moves = Motions(
        (
            Turn((0, 0, -200), (1, 0, 0), -4, 4),
            Turn((0, 0, -200), (0, 1, 0), -1, 1),
            Shift((1, 0, 0), -6, 6),
        )
    )
    answer = smallest_clearance(a, None, moves, b, place)
    rng = np.random.default_rng(0)
    centre, half = moves.box()
    sampled = []
    for _ in range(2000):
        amounts = centre + half * np.clip(rng.uniform(-1.3, 1.3, 3), -1, 1)
        sampled.append(tree_distance(a.tree, moves.pose(amounts, np.eye(4)), b.tree, place)[0])
    slack = a.mesh.bound_mm + b.mesh.bound_mm
    assert answer.settled
    assert answer.bound_mm <= min(sampled)
    assert answer.value_mm <= min(sampled) + slack + 0.05
    assert answer.value_mm - answer.bound_mm <= 0.05 + 2 * slack + 1e-6
    assert min(sampled) - answer.value_mm < 1.0


@pytest.mark.parametrize("seed", range(4))
def test_a_ball_on_an_arm_past_a_ball_against_one_number_searched_for(seed):
    """Analytic: the gap is a function of one angle, minimised by scipy."""
    rng = np.random.default_rng(seed)
    through, axis = rng.normal(size=3) * 30, rng.normal(size=3)
    turn = Turn(through, axis, -25, 35)
    a, b = ball(8), ball(12)
    start, stand = rng.normal(size=3) * 60, rng.normal(size=3) * 60 + [0, 0, 120]

    def gap(angle):
        return float(np.linalg.norm((turn.pose(angle) @ [*start, 1])[:3] - stand)) - 20

    grid = np.linspace(*turn.interval, 200)
    k = int(np.argmin([gap(x) for x in grid]))
    ends = grid[max(0, k - 1)], grid[min(199, k + 1)]
    truth = min(gap(ends[0]), gap(ends[1]), float(minimize_scalar(gap, bounds=ends).fun))
    answer = smallest_clearance(a, at(*start), Motions((turn,)), b, at(*stand))
    check_smallest(answer, truth, a.mesh.bound_mm + b.mesh.bound_mm)


def test_beyond_the_cap_only_the_bound_is_given():
    turn = Motions((Turn((0, 0, 0), (0, 0, 1), -30, 30),))
    answer = smallest_clearance(block(100, 4, 10), None, turn, ball(5), at(300), cap_mm=50)
    assert np.isnan(answer.value_mm)
    assert answer.at_worst is None
    assert 50 - 1e-9 <= answer.bound_mm <= 245


def test_a_body_that_moves_about_inside_another_is_never_clear_of_it():
    shift = Motions((Shift((1, 0, 0), -5, 5),))
    answer = smallest_clearance(block(4, 4, 4), None, shift, block(200, 200, 200), None, cap_mm=20)
    assert answer.bound_mm == answer.value_mm == 0
    assert answer.at_worst.relation is Relation.INSIDE


def test_a_search_that_is_cut_short_says_so_and_its_bound_holds():
    bar, wall = block(100, 4, 10), block(10, 300, 50)
    turn = Motions((Turn((0, 0, 0), (0, 0, 1), -80, 80),))
    answer = smallest_clearance(bar, None, turn, wall, at(60), error_mm=1e-3, most_measured=3)
    assert not answer.settled
    assert answer.bound_mm <= 55 - np.hypot(50, 2)


# --- Many poses -----------------------------------------------------------------------------


def test_a_sweep_finds_what_brute_force_finds():
    """Independent: every pair measured in every pose; containment asked in every pose too."""
    moving = [blade(), ring(), block(15, 15, 15)]
    fixed = [ball(20), block(300, 300, 5, at_mm=(0, 0, -120)), block(70, 70, 70, at_mm=(0, 260, 0))]
    rng = np.random.default_rng(5)
    poses = np.empty((60, 3, 4, 4))
    for n in range(60):
        step = at(*rng.uniform(-4, 4, 3), Rotation.from_rotvec(rng.normal(size=3) * 0.05))
        for m, start in enumerate([at(90), at(-90, 60, 20), at(0, 260 * n / 59, 60 - n)]):
            poses[n, m] = step @ start
    stands = [None, None, None]
    found = sweep(moving, poses, fixed, stands, cap_mm=80)
    for i, a in enumerate(moving):
        for j, b in enumerate(fixed):
            brute = [tree_distance(a.tree, pose, b.tree, np.eye(4))[0] for pose in poses[:, i]]
            held = [
                clearance(a, b, pose, cap_mm=0).relation in (Relation.INSIDE, Relation.OVERLAPPING)
                for pose in poses[:, i]
            ]
            least = 0.0 if any(held) else min(brute)
            slack = a.mesh.bound_mm + b.mesh.bound_mm
            if least - slack >= 80:
                assert np.isnan(found.distance_mm[i, j])
                assert found.pose[i, j] == -1
                assert 80 <= found.bound_mm[i, j] <= least
            else:
                assert found.distance_mm[i, j] == pytest.approx(least, abs=1e-7)
                assert max(0, least - slack - 1e-6) <= found.bound_mm[i, j] <= least
    assert found.distance_mm[2, 2] == 0
    assert np.isnan(found.distance_mm).any()
    assert found.measured < 60 * 9 / 2


def test_a_body_that_is_within_another_in_one_pose_only_is_found():
    poses = np.stack([at(x) for x in (-300, -200, 0, 200)])
    found = sweep([block(10, 10, 10)], poses, [block(100, 100, 100)], [None], cap_mm=20)
    assert found.distance_mm[0, 0] == found.bound_mm[0, 0] == 0
    assert found.pose[0, 0] == 2


@pytest.mark.parametrize(
    "poses", [np.eye(4), np.zeros((2, 4, 4)), np.eye(4)[None] * [1, 1, -1, 1], np.zeros((0, 4, 4))]
)
def test_poses_that_are_none_are_refused(poses):
    with pytest.raises(GeometryError):
        sweep([ball(1)], poses, [ball(1)], [None], cap_mm=5)


# --- All pairs ------------------------------------------------------------------------------


@pytest.mark.parametrize("cap_mm", [0.0, 7.0, 60.0, np.inf])
def test_the_box_sweep_leaves_out_nothing_that_is_near(cap_mm):
    """Independent: all pairs of 200 boxes, one by one."""
    rng = np.random.default_rng(8)
    low = rng.uniform(-300, 300, (200, 3)) * [3, 1, 1]
    boxes = np.stack([low, low + rng.uniform(0, 60, (200, 3))], axis=1)
    plain = []
    for i in range(200):
        for j in range(i + 1, 200):
            apart = np.maximum(boxes[i, 0] - boxes[j, 1], boxes[j, 0] - boxes[i, 1]).clip(0)
            if np.linalg.norm(apart) < cap_mm or not apart.any():
                plain.append((i, j))
    assert close_boxes(boxes, cap_mm) == plain


def test_all_pairs_are_the_clearances_of_the_pairs():
    bodies = [ball(10), block(20, 20, 20), ring(), block(5, 5, 5), blade()]
    poses = [None, at(35), at(0, 90), at(35), at(900)]
    found = all_pairs(bodies, poses, 50.0)
    assert list(found.near) == [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    assert found.beyond == 4
    for (i, j), one in found.near.items():
        alone = clearance(bodies[i], bodies[j], poses[i], poses[j])
        assert one.relation is alone.relation
        assert one.distance_mm == pytest.approx(alone.distance_mm, abs=1e-9)
    assert found.near[1, 3].relation is Relation.INSIDE
    assert found.nearest() == (1, 3)
    some = all_pairs(bodies, poses, 50.0, wanted=lambda i, j: i == 0)
    assert set(some.near) == {(0, 1), (0, 2), (0, 3)}
    assert some.asked == 4


def test_no_bodies_have_no_pairs():
    assert all_pairs([], [], 50).near == {}
    with pytest.raises(GeometryError):
        all_pairs([ball(1)], [], 50)


# --- The swept fan --------------------------------------------------------------------------


def turned_samples(body, through, axis, count, seed):
    """Points of a body's triangles, edges and corners, each turned anyhow about the axis."""
    rng = np.random.default_rng(seed)
    corners = body.mesh.vertices[body.mesh.triangles]
    shares = rng.dirichlet([0.4] * 3, (len(corners), max(1, count // len(corners))))
    points = np.einsum("mks,msd->mkd", shares, corners).reshape(-1, 3)
    unit = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    angles = rng.uniform(0, 2 * np.pi, len(points))
    turns = Rotation.from_rotvec(angles[:, None] * unit)
    return turns.apply(points - through) + through


def fan():
    hub = cq.Workplane().circle(40).circle(12).extrude(20).translate((0, 0, -10))
    wing = cq.Workplane().box(160, 50, 2).rotate((0, 0, 0), (1, 0, 0), 30).translate((115, 0, 0))
    made = hub
    for k in range(5):
        made = made.union(wing.rotate((0, 0, 0), (0, 0, 1), 72 * k))
    return body_from_shape("fan", made.val())


@pytest.mark.parametrize("seed", range(3))
def test_nothing_of_a_body_is_ever_outside_its_swept_space(seed):
    rng = np.random.default_rng(seed)
    through, axis = rng.normal(size=3) * 60, rng.normal(size=3)
    for body in (blade(), block(40, 20, 10), ring(), fan()):
        profile = swept_profile(body, through, axis)
        samples = turned_samples(body, through, axis, 6000, seed)
        assert profile.holds(samples).all()


def test_the_middle_of_a_wide_flat_side_sweeps_nearer_to_the_axis_than_its_corners():
    """Analytic: a plate 100 wide, 30 from the axis, reaches in to 30; its corners to hypot(30, 50).

    A sweep of corners alone would leave this plate out of its own swept space.
    """
    plate = block(4, 100, 20, at_mm=(32, 0, 0))
    profile = swept_profile(plate, (0, 0, 0), (0, 0, 1), within_mm=0.02)
    assert profile.holds(np.array([[30.0, 0, 0], [0, -30.0, 5]])).all()
    assert not profile.holds(np.array([[29.9, 0, 0], [0, 0, 0]])).any()
    reach = np.hypot(34, 50)
    assert profile.holds(np.array([[0, reach, 10]])).all()
    assert not profile.holds(np.array([[0, reach + 0.1, 0], [0, 40, 10.1]])).any()
    assert profile.volume_mm3 == pytest.approx(np.pi * (reach**2 - 30**2) * 20, rel=5e-3)


def test_a_hub_stays_full_and_a_bore_stays_open():
    """Trap: the sides of a cylinder project to no area, and a naive sweep loses the bore.

    Analytic volumes of what the fan sweeps near its hub.
    """
    profile = swept_profile(fan(), (0, 0, 0), (0, 0, 1))
    assert not profile.holds(np.array([[0, 0, 0], [11.5, 0, 0], [0, 11.5, 9.0]])).any()
    assert profile.holds(np.array([[12.5, 0, 0], [26.0, 0, 5], [0, 39.0, -9.5]])).all()
    solid_hub = swept_profile(rod(20, 40), (0, 0, 0), (0, 0, 1), within_mm=0.01)
    assert solid_hub.holds(np.array([[0, 0, 0], [20.0, 0, 3], [0, 0, 9.9]])).all()
    assert solid_hub.volume_mm3 == pytest.approx(np.pi * 1600 * 20, rel=0.02)
    assert solid_hub.volume_mm3 >= np.pi * 1600 * 20


def test_the_room_in_a_closed_hollow_stays_open():
    hollow = cq.Workplane().cylinder(40, 30).cut(cq.Workplane().cylinder(20, 15)).val()
    profile = swept_profile(body_from_shape("hollow", hollow), (0, 0, 0), (0, 0, 1))
    assert not profile.holds(np.array([[0, 0, 0], [14.0, 0, 0]])).any()
    assert profile.holds(np.array([[0, 0, 15.0], [20.0, 0, 0]])).all()


@pytest.mark.parametrize("seed", range(2))
def test_the_swept_space_is_tight(seed):
    """Every point of the outline is near to a point that the body really sweeps.

    Independent: 120,000 samples of the surface, brought to (r, z).
    """
    rng = np.random.default_rng(seed)
    through, axis = np.zeros(3), (0, 0, 1)
    body = body_from_shape(
        "b", cq.Workplane().box(60, 30, 20).rotate((0, 0, 0), (1, 2, 0), 25 + 40 * seed).val()
    )
    pose = at(55, *rng.uniform(-10, 10, 2))
    profile = swept_profile(body, through, axis, pose, within_mm=0.1)
    corners = body.mesh.vertices[body.mesh.triangles] @ pose[:3, :3].T + pose[:3, 3]
    shares = rng.dirichlet([0.5] * 3, (len(corners), 10_000))
    points = np.einsum("mks,msd->mkd", shares, corners).reshape(-1, 3)
    flat = np.c_[np.hypot(points[:, 0], points[:, 1]), points[:, 2]]
    from scipy.spatial import cKDTree

    outline = np.concatenate(profile.rings)
    away = cKDTree(flat).query(outline)[0]
    assert away.max() < profile.beyond_mm + 0.35  # the samples are 0.2 to 0.3 mm apart


def test_the_swept_space_is_a_body_and_a_solid_that_contain_the_fan():
    """Independent: Pappus' volume against the solid's and, within its chords, the mesh's."""
    body = fan()
    profile = swept_profile(body, (0, 0, 0), (0, 0, 1))
    solid, mesh = profile.solid(), profile.body("swept fan")
    assert solid.isValid()
    assert solid.Volume() == pytest.approx(profile.volume_mm3, rel=1e-6)
    assert mesh.watertight
    assert mesh.mesh.volume_mm3 == pytest.approx(profile.volume_mm3, rel=5e-3)
    assert body.shape.cut(solid).Volume() < 1e-3
    probe = block(10, 10, 10)
    answer = clearance(mesh, probe, None, at(0, 0, 60))
    assert answer.relation is Relation.APART
    for angle in (0.0, 17.0, 40.0):
        turn = Rotation.from_euler("z", angle, degrees=True)
        assert answer.bound_mm <= clearance(body, probe, at(turn=turn), at(0, 0, 60)).distance_mm


def test_an_open_scan_sweeps_only_its_own_surface():
    corners = [[10, -5, 0], [20, -5, 0], [20, 5, 0], [10, 5, 0]]
    patch = body_from_mesh("scan", corners, [[0, 1, 2], [0, 2, 3]], deflection_mm=0.5)
    profile = swept_profile(patch, (0, 0, 0), (0, 0, 1))
    assert profile.holds(np.array([[15.0, 0, 0], [0, 0.0 + 9.9, 0.4]])).all()
    assert not profile.holds(np.array([[0, 0, 0], [15, 0, 0.7]])).any()


def test_an_axis_without_direction_is_refused():
    with pytest.raises(GeometryError):
        swept_profile(ball(3), (0, 0, 0), (0, 0, 0))
