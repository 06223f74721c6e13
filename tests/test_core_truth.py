"""The bound and the value against closed forms and against two methods that agree.

A script for the long run of each stands in tests/benchmarks.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import lsq_linear
from scipy.spatial.transform import Rotation

from core_parts import KINDS, made_components
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.exact import exact_distance
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.support import Reaches, highest_wave
from noseroom.geometry.trees import point_distance, tree_distance
from parts_judge import block, judged, winding
from truth_makers import SURE_MM, Truth, at, faults, random_pose, random_truth, true_gap

CAP_MM = 50.0


# --- The judges themselves ------------------------------------------------------------------


def test_the_closed_forms_give_textbook_distances():
    """By hand: ball and box; crossed and parallel rods; a capsule past a ring's hole."""
    box, ball, rod = Truth("box", (10, 20, 30)), Truth("ball", (5,)), Truth("rod", (50, 20))
    assert true_gap(box, at(), ball, at(20, 25, 30))[1] == pytest.approx(np.sqrt(675) - 5)
    low, high = true_gap(rod, at(), Truth("rod", (50, 10)), at(50))
    assert low == pytest.approx(20, abs=1e-8)
    assert high == pytest.approx(20, abs=1e-8)
    crossed = at(50, turn=Rotation.from_euler("x", 90, degrees=True))
    assert true_gap(rod, at(), Truth("rod", (50, 10)), crossed)[1] == pytest.approx(20, abs=1e-8)
    ring = Truth("ring", (50, 10))
    assert true_gap(ring, at(), Truth("capsule", (200, 15)), at())[1] == pytest.approx(25)
    assert true_gap(ring, at(), ring, at(z=30))[1] == pytest.approx(10)


def test_the_judge_of_boxes_agrees_with_bounded_least_squares():
    """Independent: scipy lsq_linear bvls."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        sizes = rng.uniform(5, 80, (2, 3))
        poses = [random_pose(rng, 120), random_pose(rng, 120)]
        half = (sizes / 2).ravel()
        solved = lsq_linear(
            np.hstack([poses[0][:3, :3], -poses[1][:3, :3]]),
            poses[1][:3, 3] - poses[0][:3, 3],
            (-half, half),
            method="bvls",
            tol=1e-14,
            max_iter=500,
        )
        truths = [Truth("box", tuple(size)) for size in sizes]
        low, high = true_gap(truths[0], poses[0], truths[1], poses[1])
        expected = float(np.linalg.norm(solved.fun))
        assert high == pytest.approx(expected, abs=1e-6)
        assert low <= expected + 1e-8


@pytest.mark.parametrize("kind", ["box", "ball", "rod", "capsule", "ring"])
def test_the_solids_are_what_the_formulas_say(kind):
    """Every corner of the mesh is on the surface that the formula has."""
    rng = np.random.default_rng(1)
    truth = next(one for one in iter(lambda: random_truth(rng), None) if one.kind == kind)
    body = truth.body()
    assert np.abs(truth.away(body.mesh.vertices)).max() < 1e-6
    assert body.watertight


# --- Analytic bodies ------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_random_placements_of_analytic_bodies(seed):
    """Analytic: the bound never above, within 0.2 mm up to the cap; the value within 0.01 mm."""
    rng = np.random.default_rng(seed)
    truths = [random_truth(rng) for _ in range(8)]
    bodies = [one.body() for one in truths]
    near = 0
    for _ in range(30):
        i, j = (int(k) for k in rng.choice(8, 2))
        pose_a = random_pose(rng, 1000.0)
        pose_b = pose_a @ random_pose(rng, truths[i].reach + truths[j].reach + 40)
        low, high = true_gap(truths[i], pose_a, truths[j], pose_b)
        if high > 1e-5 and high - low > SURE_MM:
            continue
        answer = clearance(bodies[i], bodies[j], pose_a, pose_b, cap_mm=CAP_MM)
        assert faults(answer, low, high, CAP_MM) == [], (truths[i], truths[j], low, high, answer)
        near += 0 < low < CAP_MM
    assert near > 1


@pytest.mark.parametrize("gap_mm", [1e-3, 0.02, 3.0, 24.0])
@pytest.mark.parametrize("turned", [0, 1, 2])
def test_a_ball_by_a_fat_ring_where_the_kernel_alone_stops_short(gap_mm, turned):
    """Analytic. The kernel's own distance of these two is up to 2e-4 mm too large."""
    ring, ball = Truth("ring", (116.28956581, 59.0483283)), Truth("ball", (42.5370224,))
    rng = np.random.default_rng(turned)
    angle = rng.uniform(0, 2 * np.pi)
    outward = np.array([np.cos(angle), 0, np.sin(angle)])
    place = np.array([ring.sizes[0], 0, 0]) + outward * (sum(ring.sizes[1:]) + 42.5370224 + gap_mm)
    pose = at(turn=Rotation.random(random_state=turned))
    there = pose @ at(*place)
    low, high = true_gap(ring, pose, ball, there)
    answer = clearance(ring.body(), ball.body(), pose, there)
    assert faults(answer, low, high, CAP_MM) == []
    assert answer.distance_mm == pytest.approx(high, abs=1e-6)


def test_coarse_meshes_are_refined_up_to_the_cap():
    """Analytic: balls of 60 and 70, 40 apart; the meshes alone would leave 0.3 mm open."""
    a, b = Truth("ball", (60,)), Truth("ball", (70,))
    turn = Rotation.random(random_state=3)
    answer = clearance(a.body(), b.body(), at(turn=turn), at(170), cap_mm=CAP_MM)
    assert 40 - 0.2 <= answer.bound_mm <= 40


# --- The plane that proves a distance -------------------------------------------------------


@pytest.mark.parametrize("kind", ["box", "ball", "rod", "capsule", "ring"])
def test_no_point_of_a_surface_reaches_further_than_its_reach(kind):
    """Analytic supports: of boxes, balls, rods, capsules and rings, by hand."""
    rng = np.random.default_rng(5)
    for _ in range(4):
        truth = next(one for one in iter(lambda: random_truth(rng), None) if one.kind == kind)
        reaches = Reaches(truth.body())
        for _ in range(40):
            way = rng.normal(size=3) * rng.integers(0, 2, 3)
            if not way.any():
                continue
            way /= np.linalg.norm(way)
            exact = {
                "box": lambda t, w: t.support(w),
                "rod": lambda t, w: t.support(w),
                "ball": lambda t, w: t.sizes[0],
                "capsule": lambda t, w: abs(w[2]) * t.sizes[0] / 2 + t.sizes[1],
                "ring": lambda t, w: np.hypot(w[0], w[1]) * t.sizes[0] + t.sizes[1],
            }[kind](truth, way)
            assert exact - 1e-9 <= reaches.along(way) <= exact + 1e-7


def test_parts_of_round_faces_reach_no_further_than_they_do():
    """Independent: the finest mesh's corners, which are on the surface."""
    import cadquery as cq

    from noseroom.tolerances import Tolerances

    fine = Tolerances(tessellation_mm=0.02, tessellation_rad=0.1)
    half = cq.Workplane().box(200, 200, 200).translate((100, 30, 20))
    shapes = [
        cq.Workplane().sphere(40).intersect(half).val(),
        cq.Workplane().cylinder(60, 40).intersect(half).val(),
        cq.Workplane(obj=cq.Solid.makeTorus(50, 10)).intersect(half).val(),
        cq.Workplane(obj=cq.Solid.makeCone(40, 10, 60)).intersect(half).val(),
        cq.Workplane().rect(40, 4).twistExtrude(100, 60).val(),
        cq.Workplane().ellipse(40, 20).extrude(10).val(),
    ]
    rng = np.random.default_rng(2)
    for shape in shapes:
        body = body_from_shape("part", shape)
        corners = body_from_shape("fine", shape, fine).mesh.vertices
        tight = []
        for _ in range(60):
            way = rng.normal(size=3)
            way /= np.linalg.norm(way)
            reach, there = body.reaches.along(way), float((corners @ way).max())
            assert reach >= there - 1e-7
            tight.append(reach - there)
        assert np.median(tight) < 0.13


@pytest.mark.parametrize("seed", range(3))
def test_the_most_of_a_wave_in_an_interval(seed):
    """Independent: a fine grid."""
    rng = np.random.default_rng(seed)
    for _ in range(50):
        c, s, low = rng.normal(size=2)[0], rng.normal(), rng.uniform(-9, 9)
        high = low + rng.uniform(0, 7)
        t = np.linspace(low, high, 20_001)
        most = float((c * np.cos(t) + s * np.sin(t)).max())
        assert most - 1e-9 <= highest_wave(c, s, low, high) <= most + 1e-6


# --- Parts ----------------------------------------------------------------------------------


def test_winding_numbers_tell_inside_from_outside():
    """Analytic: a box with a cavity; 1 in its walls, 0 in the cavity and outside."""
    import cadquery as cq

    hollow = cq.Workplane().box(100, 100, 100).cut(cq.Workplane().box(60, 60, 60))
    body = body_from_shape("hollow", hollow.val())
    points = np.array([[40.0, 1, 2], [0, 0, 0], [29, 3, 4], [51, 0, 0], [-45, 45, 45]])
    assert winding(points, body) == pytest.approx([1, 0, 0, 0, 1], abs=1e-9)


@pytest.mark.parametrize("number", [1, 2])
def test_random_placements_of_parts_of_every_kind(number):
    """Two independent methods: meshes 12 times finer by FCL, and the kernel on what is near."""
    run = block(1, number, KINDS, 25, most=1)
    assert [line for line in run.failures if line.startswith("FAULT")] == []
    kinds = {name.split(" ", 1)[1] for name in run.seen if name.startswith("component")}
    # An engine may be a bare datum without a block, and neither a mark nor a hole has a body.
    assert kinds >= set(KINDS) - {"engine", "mark", "bolt hole"}
    assert run.seen["apart and below 25 mm"] > 5


def test_a_judge_that_is_shown_wrong_answers_says_so():
    """The judge itself: bounds and values a little off, and an overlap called a gap."""
    rng = np.random.default_rng(4)
    a, b = made_components(["radiator", "pulley"], rng, most=1)[0]
    pose_a, pose_b = at(), at(a.reach + b.reach + 3)
    apart, points = tree_distance(a.fine.tree, pose_a, b.fine.tree, pose_b)
    pose_b[:3, 3] += (points[0] - points[1]) / apart * (apart - 3)
    truth = judged(a, pose_a, b, pose_b)
    right = clearance(a.body, b.body, pose_a, pose_b, cap_mm=CAP_MM)
    assert faults(right, truth.low, truth.high, CAP_MM) == []
    for wrong, words in (
        (replace(right, bound_mm=truth.high + 1e-3), "bound over-stated"),
        (replace(right, bound_mm=truth.low - 0.3), "bound more than 0.2 mm below"),
        (replace(right, relation=Relation.UNDECIDED), "apart, said to be undecided"),
    ):
        assert words in faults(wrong, truth.low, truth.high, CAP_MM)
    inside = judged(a, pose_a, a, pose_a @ at(0.001))
    assert faults(right, inside.low, inside.high, CAP_MM)


@pytest.mark.parametrize("gap_mm", [0.004, 0.5, 12.0])
@pytest.mark.parametrize("swapped", [False, True])
def test_a_round_part_by_a_scan_has_the_distance_of_its_surface_not_of_its_chords(gap_mm, swapped):
    """Analytic: a flat scan beside a cylinder, turned so that a chord's middle is the nearest."""
    import cadquery as cq

    rod = body_from_shape("rod", cq.Workplane().cylinder(80, 60).val())
    assert rod.mesh.bound_mm > 0.04
    around = np.unique(np.arctan2(rod.mesh.vertices[:, 1], rod.mesh.vertices[:, 0]).round(9))
    turn = at(turn=Rotation.from_euler("z", -around[:2].mean()))
    corners = [[60 + gap_mm, y, z] for y in (-200, 200) for z in (-200, 200)]
    scan = body_from_mesh("scan", corners, [[0, 1, 2], [1, 3, 2]], deflection_mm=0.0)
    pair = [(rod, turn), (scan, at())]
    (a, pose_a), (b, pose_b) = pair[::-1] if swapped else pair
    answer = clearance(a, b, pose_a, pose_b)
    assert answer.distance_mm == pytest.approx(gap_mm, abs=0.01)
    assert gap_mm - 0.02 <= answer.bound_mm <= gap_mm
    assert answer.relation is Relation.APART
    ends = answer.points if not swapped else answer.points[::-1]
    assert ends[1][0] == pytest.approx(60 + gap_mm, abs=1e-6)


@pytest.mark.parametrize("kind", ["fan", "pulley", "hose", "radiator", "shroud", "alternator"])
def test_the_nodes_of_a_finer_mesh_are_within_what_the_coarse_one_states(kind):
    """Independent: nodes are on the surface, and lie where the coarse mesh has none."""
    rng = np.random.default_rng(8)
    worst = 0.0
    for made in made_components([kind], rng, most=3)[0]:
        nodes = made.fine.mesh.vertices
        nodes = nodes[:: max(1, len(nodes) // 400)]
        away = [point_distance(made.body.tree, at(), node) for node in nodes]
        assert max(away) <= made.body.mesh.bound_mm + 1e-7, made.name
        worst = max(worst, max(away))
    assert worst > 1e-3


def test_many_near_faces_do_not_hide_the_nearest():
    """Analytic: 24 pins before a wall, one of them a hair longer."""
    import cadquery as cq

    comb = cq.Workplane().box(200, 20, 10)
    for k in range(24):
        length = 30.0 if k != 17 else 30.001
        pin = cq.Workplane().circle(2).extrude(length).translate((-92 + 8 * k, 0, 0))
        comb = comb.union(pin)
    body = body_from_shape("comb", comb.val())
    wall = body_from_shape("wall", cq.Workplane().box(300, 300, 10).translate((0, 0, 40)).val())
    turn = Rotation.random(random_state=1)
    pose = at(turn=turn)
    apart, _ = tree_distance(body.tree, pose, wall.tree, pose)
    found = exact_distance(body, pose, wall, pose, apart)
    assert found.distance_mm == pytest.approx(35 - 30.001, abs=1e-6)
    assert found.bound_mm <= 35 - 30.001
