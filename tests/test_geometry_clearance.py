"""Clearances against analytic distances, an independent solver, and the hard cases."""

import cadquery as cq
import numpy as np
import pytest
import trimesh
from scipy.optimize import lsq_linear
from scipy.spatial.transform import Rotation

from noseroom.errors import GeometryError
from noseroom.geometry.all_pairs import all_pairs
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.kernel import transformed, volume_mm3
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.tolerances import Tolerances

REFINED_MM = 1e-6


def at(x=0.0, y=0.0, z=0.0, turn=None):
    pose = np.eye(4)
    pose[:3, 3] = x, y, z
    if turn is not None:
        pose[:3, :3] = turn.as_matrix()
    return pose


def box(*size):
    return body_from_shape("box", cq.Workplane().box(*size).val())


def ball(radius):
    return body_from_shape("ball", cq.Workplane().sphere(radius).val())


def rod(height, radius):
    return body_from_shape("rod", cq.Workplane().cylinder(height, radius).val())


def tube(outer, inner, height):
    ring = cq.Workplane().circle(outer).circle(inner).extrude(height)
    return body_from_shape("tube", ring.translate((0, 0, -height / 2)).val())


def assert_apart(answer, truth_mm, tolerance_mm=REFINED_MM):
    assert answer.relation is Relation.APART
    assert answer.distance_mm == pytest.approx(truth_mm, abs=tolerance_mm)
    assert 0 < answer.bound_mm <= truth_mm + 1e-12


def separated(a, b, answer, pose_a=None, pose_b=None):
    """The relation after b has been moved as the answer says."""
    pose = np.eye(4) if pose_b is None else pose_b.copy()
    pose[:3, 3] += answer.pull_apart.direction * answer.pull_apart.distance_mm
    return clearance(a, b, pose_a, pose).relation


# --- Analytic distances ---------------------------------------------------------------------


@pytest.mark.parametrize("centres_mm", [25.02, 25.5, 30, 45])
@pytest.mark.parametrize("seed", [0, 1])
def test_sphere_sphere(centres_mm, seed):
    """Analytic: centres less radii, whichever way the meshes are turned."""
    turns = Rotation.random(2, random_state=seed)
    away = at(*(Rotation.random(random_state=seed + 9).apply([centres_mm, 0, 0])), turns[1])
    answer = clearance(ball(10), ball(15), at(turn=turns[0]), away)
    assert_apart(answer, centres_mm - 25)


def test_sphere_sphere_at_the_edge_of_refinement():
    """Analytic: r 10 and 15, centres 50 apart: 25."""
    assert_apart(clearance(ball(10), ball(15), None, at(50)), 25.0, 0.01)


def test_box_sphere():
    """Analytic: box 10x20x30 at 0, r 5 at (20, 25, 30): sqrt(675) - 5."""
    answer = clearance(box(10, 20, 30), ball(5), None, at(20, 25, 30))
    assert_apart(answer, 20.9807621135)
    assert answer.points[0] == pytest.approx([5, 10, 15], abs=1e-6)
    assert np.linalg.norm(answer.points[1] - [20, 25, 30]) == pytest.approx(5, abs=1e-6)


def test_cylinder_cylinder_parallel():
    """Analytic: r 20 and 10, axes 50 apart: 20."""
    assert_apart(clearance(rod(50, 20), rod(50, 10), None, at(50)), 20.0)


def test_cylinder_cylinder_crossed():
    """Analytic: axes square to each other and 50 apart: 50 - 20 - 10."""
    turned = at(50, turn=Rotation.from_euler("x", 90, degrees=True))
    assert_apart(clearance(rod(50, 20), rod(50, 10), None, turned), 20.0)


def test_concentric_cylinders():
    """Analytic: bore less rod, all round."""
    assert_apart(clearance(tube(20, 15, 200), rod(50, 14.9)), 0.1)
    assert_apart(clearance(tube(20, 15, 200), rod(50, 14.99)), 0.01)


def test_box_box_turned_45_degrees():
    """Analytic: unit boxes 3 apart: 3 - 1/2 - sqrt(2)/2 = 1.7928932."""
    turned = at(3, turn=Rotation.from_euler("z", 45, degrees=True))
    assert_apart(clearance(box(1, 1, 1), box(1, 1, 1), None, turned), 3 - 0.5 - 2**0.5 / 2)


def test_box_box_axis_aligned():
    """Public issue flexible-collision-library/fcl #508 (open): 3.16228 there, 3.0 in truth."""
    assert_apart(clearance(box(1, 1, 1), box(1, 1, 1), None, at(y=4)), 3.0)


@pytest.mark.parametrize(
    ("height_mm", "truth_mm"), [(20.5, 0.5), (30, 10), (44, 24)], ids=["close", "mid", "far"]
)
def test_torus_on_torus(height_mm, truth_mm):
    """Analytic: same axis, tubes of radius 10 facing each other."""
    ring = body_from_shape("ring", cq.Solid.makeTorus(50, 10))
    assert_apart(clearance(ring, ring, None, at(z=height_mm)), truth_mm)


def test_torus_round_a_ball():
    """Analytic: 50 - 10 - 15; a ball in the hole of a ring is not inside the ring."""
    ring = body_from_shape("ring", cq.Solid.makeTorus(50, 10))
    assert_apart(clearance(ring, ball(16)), 24.0)


def test_60_random_box_pairs_against_bounded_least_squares():
    """Independent: scipy lsq_linear bvls."""
    rng = np.random.default_rng(60)
    apart = 0
    for _ in range(60):
        sizes, places = rng.uniform(5, 40, (2, 3)), rng.uniform(-30, 30, (2, 3))
        turns = Rotation.random(2, random_state=rng.integers(2**31)).as_matrix()
        poses = [np.eye(4), np.eye(4)]
        for pose, turn, place in zip(poses, turns, places, strict=True):
            pose[:3, :3], pose[:3, 3] = turn, place
        half = (sizes / 2).ravel()
        solved = lsq_linear(
            np.hstack([turns[0], -turns[1]]),
            places[1] - places[0],
            (-half, half),
            method="bvls",
            tol=1e-14,
            max_iter=500,
        )
        truth = float(np.linalg.norm(solved.fun))
        answer = clearance(box(*sizes[0]), box(*sizes[1]), *poses)
        if truth > 1e-4:
            apart += 1
            assert answer.distance_mm == pytest.approx(truth, abs=1e-6)
            assert answer.bound_mm <= truth + 1e-9
            assert answer.relation is Relation.APART
        else:
            assert answer.relation in (Relation.OVERLAPPING, Relation.INSIDE)
    assert 15 < apart < 50


def test_curved_parts_in_random_poses_against_the_kernel_asked_for_whole_solids():
    """Independent of our choice of face pairs: BRepExtrema and the common volume of all."""
    rng = np.random.default_rng(11)
    shapes = [
        cq.Solid.makeTorus(50, 10),
        cq.Solid.makeCone(30, 5, 80),
        cq.Workplane().rect(40, 4).twistExtrude(100, 60).val(),
        cq.Workplane().box(80, 40, 5).cut(cq.Workplane().cylinder(10, 12)).val(),
        cq.Workplane().polygon(6, 40).extrude(30).union(cq.Workplane().cylinder(90, 10)).val(),
    ]
    bodies = [body_from_shape("part", shape) for shape in shapes]
    seen = dict.fromkeys(Relation, 0)
    for _ in range(30):
        i, j = rng.choice(len(shapes), 2)
        turn = Rotation.random(random_state=rng.integers(2**31))
        pose = at(*rng.uniform(-60, 60, 3), turn)
        answer = clearance(bodies[i], bodies[j], None, pose)
        seen[answer.relation] += 1
        other = transformed(shapes[j], pose)
        shared = volume_mm3(shapes[i].intersect(other))
        if answer.relation is Relation.APART:
            truth = shapes[i].distance(other)
            assert shared < 1e-6
            assert answer.bound_mm <= truth
            tolerance_mm = 1e-6 if truth < 25 else 0.3
            assert answer.distance_mm == pytest.approx(truth, abs=tolerance_mm)
        else:
            assert answer.relation is Relation.OVERLAPPING
            assert shared > 0
            assert separated(bodies[i], bodies[j], answer, None, pose) is Relation.APART
    assert seen[Relation.APART] > 5
    assert seen[Relation.OVERLAPPING] > 5


def test_the_blurred_face_is_not_taken_for_the_nearest():
    """Analytic: a ball 5.03 above a plate may be the nearer by its mesh; a box at 5.00 is."""
    ball_high = cq.Workplane().sphere(20).translate((0, 0, 25.03)).val()
    box_low = cq.Workplane().box(10, 10, 10).translate((60, 0, 10)).val()
    pair = body_from_shape("pair", cq.Compound.makeCompound([ball_high, box_low]))
    plate = body_from_shape("plate", cq.Workplane().box(300, 300, 10).translate((0, 0, -5)).val())
    turn = Rotation.from_euler("xyz", [0, 0, 7], degrees=True)
    assert_apart(clearance(plate, pair, at(turn=turn), at(turn=turn)), 5.0)


# --- The bound ------------------------------------------------------------------------------


@pytest.mark.parametrize("subdivisions", [2, 3, 4])
def test_an_inscribed_mesh_overstates_and_its_bound_does_not(subdivisions):
    """Analytic 25; icospheres r 10 and 15 lie inside their spheres."""
    bodies = []
    for radius in (10, 15):
        ico = trimesh.creation.icosphere(subdivisions, radius)
        chord = radius - np.linalg.norm(ico.triangles.mean(axis=1), axis=1).min()
        bodies.append(body_from_mesh("ico", ico.vertices, ico.faces, deflection_mm=chord))
    turn = Rotation.random(random_state=4)
    answer = clearance(*bodies, at(turn=turn), at(50, turn=turn))
    assert answer.distance_mm > 25
    assert 24 < answer.bound_mm <= 25


@pytest.mark.parametrize("chord_mm", [0.02, 0.1, 1.0])
def test_without_the_kernel_the_bound_still_holds(chord_mm):
    """Analytic: a ball in the middle of a ring is 50 - 10 - 10 from it, however turned."""
    coarse = Tolerances(tessellation_mm=chord_mm, tessellation_rad=1.0, exact_below_mm=0)
    a = body_from_shape("a", cq.Workplane().sphere(10).val(), coarse)
    b = body_from_shape("b", cq.Solid.makeTorus(50, 10), coarse)
    for seed in range(20):
        turn = Rotation.random(random_state=seed)
        answer = clearance(a, b, at(turn=turn), at(turn=turn.inv()), tolerances=coarse)
        assert answer.bound_mm <= 30 + 1e-9
        assert answer.relation is Relation.APART


def test_beyond_the_cap_nothing_is_measured_but_the_bound_stands():
    answer = clearance(ball(10), ball(15), None, at(200), cap_mm=50)
    assert answer.relation is Relation.APART
    assert np.isnan(answer.distance_mm)
    assert 50 <= answer.bound_mm <= 175
    assert answer.points is None


def test_within_the_cap_the_answer_is_the_same():
    assert_apart(clearance(ball(10), ball(15), None, at(30), cap_mm=50), 5.0)


@pytest.mark.parametrize("cap", [-1, np.nan])
def test_a_cap_that_is_no_length_is_refused(cap):
    with pytest.raises(GeometryError):
        clearance(ball(1), ball(1), cap_mm=cap)


def test_near_pairs_leaves_out_only_what_is_far():
    bodies = [ball(10)] * 4
    poses = [None, at(30), at(200), at(200, 0, 25)]
    assert list(all_pairs(bodies, poses, 50).near) == [(0, 1), (2, 3)]
    assert list(all_pairs(bodies, poses, 4).near) == []
    assert list(all_pairs([], [], 5).near) == []
    with pytest.raises(GeometryError):
        all_pairs(bodies, poses[:2], 5)


def test_the_order_of_the_two_changes_only_the_order_of_the_points():
    a, b = box(10, 20, 30), ball(5)
    one, other = clearance(a, b, None, at(20, 25, 30)), clearance(b, a, at(20, 25, 30), None)
    assert one.distance_mm == pytest.approx(other.distance_mm, abs=1e-9)
    assert one.points == pytest.approx(other.points[::-1], abs=1e-6)


# --- Touching, overlapping, inside ----------------------------------------------------------


@pytest.mark.parametrize("gap_mm", [0.0, 1e-7, -1e-7])
def test_within_the_kernels_own_tolerance_boxes_touch(gap_mm):
    answer = clearance(box(10, 10, 10), box(10, 10, 10), None, at(10 + gap_mm))
    assert answer.relation is Relation.TOUCHING
    assert answer.distance_mm == answer.bound_mm == 0


@pytest.mark.parametrize("place", [(10, 10, 0), (10, 10, 10), (10, 3, 4)])
def test_an_edge_a_corner_or_part_of_a_face_touches(place):
    answer = clearance(box(10, 10, 10), box(10, 10, 10), None, at(*place))
    assert answer.relation is Relation.TOUCHING


def test_a_hair_of_gap_or_of_overlap_is_told():
    a = box(10, 10, 10)
    assert_apart(clearance(a, a, None, at(10.001)), 0.001)
    answer = clearance(a, a, None, at(9.999))
    assert answer.relation is Relation.OVERLAPPING
    assert answer.overlap_mm3 == pytest.approx(0.1, rel=1e-6)


@pytest.mark.parametrize(
    ("centres_mm", "relation"),
    [(25, Relation.TOUCHING), (24.99, Relation.OVERLAPPING), (25.01, Relation.APART)],
)
def test_spheres_are_told_apart_far_below_their_chord_error(centres_mm, relation):
    turn = Rotation.random(random_state=3)
    answer = clearance(ball(10), ball(15), at(turn=turn), at(centres_mm, turn=turn))
    assert answer.relation is relation


def test_a_rod_that_fits_its_bore_touches_and_a_press_fit_overlaps():
    sleeve = tube(20, 15, 200)
    assert clearance(sleeve, rod(50, 15)).relation is Relation.TOUCHING
    pressed = clearance(sleeve, rod(50, 15.01))
    assert pressed.relation is Relation.OVERLAPPING
    assert pressed.overlap_mm3 == pytest.approx(np.pi * (15.01**2 - 15**2) * 50, rel=1e-3)


def test_meshes_too_coarse_to_tell_say_so():
    """Two scans 0.05 mm apart, each good to 0.1 mm."""
    cube = trimesh.creation.box((10, 10, 10))
    scan = body_from_mesh("scan", cube.vertices, cube.faces, deflection_mm=0.1)
    answer = clearance(scan, scan, None, at(10.05))
    assert answer.relation is Relation.UNDECIDED
    assert answer.bound_mm == 0


def test_exact_meshes_alone_can_tell_touching():
    cube = trimesh.creation.box((10, 10, 10))
    block = body_from_mesh("block", cube.vertices, cube.faces, deflection_mm=0)
    assert clearance(block, block, None, at(10)).relation is Relation.TOUCHING


def test_a_box_flush_in_a_corner_is_inside():
    answer = clearance(box(100, 100, 100), box(20, 20, 20), None, at(40, 40, 40))
    assert answer.relation is Relation.INSIDE
    assert answer.overlap_mm3 == pytest.approx(8000)


def test_a_scan_patch_that_dips_into_a_solid_overlaps_by_an_unknown_volume():
    grid = np.stack(np.meshgrid(np.arange(11.0), np.arange(11.0)), -1).reshape(-1, 2)
    heights = -2 * np.exp(-((grid - 5) ** 2).sum(axis=1) / 4) + 1
    low = (np.arange(10)[:, None] * 11 + np.arange(10)).ravel()
    halves = [low, low + 1, low + 11], [low + 1, low + 12, low + 11]
    triangles = np.concatenate([np.stack(corners, axis=1) for corners in halves])
    patch = body_from_mesh("scan", np.c_[grid, heights], triangles, deflection_mm=0.05)
    assert not patch.watertight
    block = box(40, 40, 10)
    dipping = clearance(block, patch, at(5, 5, -5), None)
    assert dipping.relation is Relation.OVERLAPPING
    assert np.isnan(dipping.overlap_mm3)
    clear = clearance(block, patch, at(5, 5, -8), None)
    assert clear.relation is Relation.APART
    assert clear.distance_mm == pytest.approx(2.0, abs=0.01)
    buried = clearance(box(60, 60, 60), patch, at(5, 5, 0), None)
    assert buried.relation is Relation.INSIDE


# --- Pulling apart --------------------------------------------------------------------------


def test_the_pull_out_of_boxes_that_bite_3_mm():
    """The library's own signed distance says -0.74 here."""
    a, b = box(20, 20, 20), box(10, 10, 10)
    answer = clearance(a, b, None, at(12))
    assert answer.relation is Relation.OVERLAPPING
    assert answer.pull_apart.direction.tolist() == [1, 0, 0]
    assert 3.0 <= answer.pull_apart.distance_mm <= 3.01
    assert separated(a, b, answer, None, at(12)) is Relation.APART


def test_a_turned_body_is_pulled_along_its_own_axes():
    turn = Rotation.from_euler("z", 30, degrees=True)
    slab, peg = box(200, 10, 200), box(10, 20, 10)
    place = at(*turn.apply([0, 12, 0]), turn)
    answer = clearance(slab, peg, at(turn=turn), place)
    assert answer.pull_apart.direction == pytest.approx(turn.apply([0, 1, 0]))
    assert 3.0 <= answer.pull_apart.distance_mm <= 3.01


def test_the_pull_out_of_spheres_is_not_blurred_by_their_meshes():
    answer = clearance(ball(10), ball(15), None, at(24.5))
    assert 0.5 <= answer.pull_apart.distance_mm <= 0.51


@pytest.mark.parametrize("seed", range(6))
def test_any_pull_out_frees_the_bodies(seed):
    rng = np.random.default_rng(seed)
    ring = body_from_shape("ring", cq.Solid.makeTorus(50, 10))
    blade = body_from_shape("blade", cq.Workplane().rect(40, 4).twistExtrude(100, 60).val())
    turn = Rotation.random(random_state=seed)
    pose = at(*turn.apply(np.array([50, 0, 0]) + rng.uniform(-5, 5, 3)), turn)
    answer = clearance(ring, blade, at(turn=turn), pose)
    if answer.relation is Relation.APART:
        pytest.fail("the case was meant to overlap")
    assert separated(ring, blade, answer, at(turn=turn), pose) is Relation.APART
