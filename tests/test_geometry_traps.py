"""What the libraries underneath get wrong when they are asked naively: one test each."""

import cadquery as cq
import coal
import manifold3d
import numpy as np
import pytest
import trimesh

from noseroom.geometry import overlap
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.trees import tree_distance


def at(x=0.0, y=0.0, z=0.0):
    pose = np.eye(4)
    pose[:3, 3] = x, y, z
    return pose


def block(size, name="block"):
    return body_from_shape(name, cq.Workplane().box(size, size, size).val())


def hollow(outer, inner):
    cut = cq.Workplane().box(outer, outer, outer).cut(cq.Workplane().box(inner, inner, inner))
    return body_from_shape("hollow", cut.val())


def test_both_solids_of_a_union_are_seen_to_be_inside():
    """`union` gives a Compound; measured as one surface, it is 35 mm from the wall."""
    bits = (
        cq.Workplane().box(10, 10, 10).union(cq.Workplane().box(10, 10, 10).translate((20, 0, 0)))
    )
    answer = clearance(block(100), body_from_shape("bits", bits.val()), None, at(-10))
    assert answer.relation is Relation.INSIDE
    assert answer.distance_mm == answer.bound_mm == 0
    assert answer.overlap_mm3 == pytest.approx(2000)


def test_one_solid_of_a_union_inside_is_an_overlap():
    bits = (
        cq.Workplane().box(10, 10, 10).union(cq.Workplane().box(10, 10, 10).translate((90, 0, 0)))
    )
    answer = clearance(block(100), body_from_shape("bits", bits.val()))
    assert answer.relation is Relation.OVERLAPPING
    assert answer.overlap_mm3 == pytest.approx(1000)


def test_a_body_made_by_cut_that_lies_inside_is_inside():
    """A cut body, too, comes as a Compound: 35.0 from the wall when its surface is asked."""
    cut = cq.Workplane().box(30, 30, 30).cut(cq.Workplane().box(10, 10, 50)).val()
    small = body_from_shape("cut", cut)
    assert tree_distance(block(100).tree, np.eye(4), small.tree, np.eye(4))[0] == pytest.approx(35)
    assert clearance(block(100), small).relation is Relation.INSIDE


@pytest.mark.parametrize("swap", [False, True])
def test_a_box_centred_in_a_box_is_inside_not_40_mm_away(swap):
    pair = [block(100), block(20)]
    assert tree_distance(pair[0].tree, np.eye(4), pair[1].tree, np.eye(4))[0] == pytest.approx(40)
    answer = clearance(*(pair[::-1] if swap else pair))
    assert answer.relation is Relation.INSIDE
    assert answer.bound_mm == 0
    assert answer.overlap_mm3 == pytest.approx(8000)
    assert 60 <= answer.pull_apart.distance_mm <= 60.01


@pytest.mark.parametrize("swap", [False, True])
def test_a_part_in_a_real_cavity_is_apart(swap):
    pair = [hollow(100, 50), block(20)]
    answer = clearance(*(pair[::-1] if swap else pair))
    assert answer.relation is Relation.APART
    assert answer.distance_mm == pytest.approx(15, abs=1e-6)
    assert answer.bound_mm <= 15


def test_a_hollow_box_within_the_wall_of_another_is_told_from_one_round_its_cavity():
    assert clearance(hollow(100, 20), hollow(60, 40)).relation is Relation.INSIDE
    assert clearance(hollow(100, 70), hollow(60, 40)).relation is Relation.APART


def test_a_ball_centred_in_a_box_is_inside_by_all_its_volume():
    """A general library's signed distance gives -42.8 here."""
    ball = body_from_shape("ball", cq.Workplane().sphere(10).val())
    answer = clearance(block(100), ball)
    assert answer.relation is Relation.INSIDE
    assert answer.overlap_mm3 == pytest.approx(4 / 3 * np.pi * 1000, rel=0.01)
    assert 60 <= answer.pull_apart.distance_mm <= 60.01


def test_a_query_does_not_remember_the_last_one():
    """A coal result that is used twice returns the last pair's answer."""
    near, far, cube = at(12), at(30), block(10)
    first = clearance(cube, cube, None, near).distance_mm
    assert clearance(cube, cube, None, far).distance_mm == pytest.approx(20)
    assert clearance(cube, cube, None, near).distance_mm == first == pytest.approx(2)

    result = coal.DistanceResult()
    still = coal.Transform3s()
    for pose in (near, far):
        moved = coal.Transform3s(pose[:3, :3], pose[:3, 3])
        coal.distance(cube.tree, still, cube.tree, moved, coal.DistanceRequest(), result)
    assert result.min_distance == pytest.approx(2)  # the trap is there: the truth is 20


def test_a_body_does_not_remember_where_it_was():
    cube, other = block(10), block(10)
    clearance(cube, other, at(500), at(700))
    assert clearance(cube, other, None, at(12)).distance_mm == pytest.approx(2)
    assert clearance(other, cube, None, at(0, 13)).distance_mm == pytest.approx(3)


def test_an_open_mesh_has_no_volume_rather_than_none_in_common():
    """manifold3d reports 0.0 for an open mesh; only its status tells."""
    cube = trimesh.creation.box((10, 10, 10))
    raw = manifold3d.Manifold(
        manifold3d.Mesh64(cube.vertices.astype(np.float64), cube.faces[:-1].astype(np.uint64))
    )
    assert raw.volume() == 0.0
    parts = ((np.asarray(cube.vertices, dtype=np.float64), cube.faces[:-1].astype(np.int32)),)
    assert overlap.build_manifold(parts) is None

    opened = body_from_mesh("open", cube.vertices, cube.faces[:-1], deflection_mm=0)
    assert np.isnan(clearance(block(10), opened, None, at(5, 1, 1)).overlap_mm3)


def test_an_open_box_holds_nothing():
    cube = trimesh.creation.box((100, 100, 100))
    opened = body_from_mesh("open", cube.vertices, cube.faces[:-1], deflection_mm=0)
    answer = clearance(opened, block(20))
    assert answer.relation is Relation.APART
    assert answer.distance_mm == pytest.approx(40)


@pytest.mark.parametrize("degrees", [0, 45, 90])
def test_boxes_in_the_poses_that_break_primitive_boxes(degrees):
    """Public issue flexible-collision-library/fcl #508 (open): wrong at 0, 45 and 90 degrees."""
    turn = np.radians(degrees)
    cube = block(1)
    for offset in (2.0, 3.0, 4.0):
        pose = at(0, offset)
        pose[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
        reach = (abs(np.cos(turn)) + abs(np.sin(turn))) / 2
        answer = clearance(cube, cube, None, pose)
        assert answer.distance_mm == pytest.approx(offset - 0.5 - reach, abs=1e-6)


def test_winding_numbers_know_inside_from_outside_near_every_face():
    cube = trimesh.creation.box((2, 2, 2))
    rng = np.random.default_rng(3)
    points = rng.uniform(-1.5, 1.5, (500, 3))
    found = overlap.winding_numbers(points, np.asarray(cube.vertices), cube.faces.astype(np.int32))
    within = (np.abs(points) < 1).all(axis=1)
    assert 100 < within.sum() < 400
    assert found == pytest.approx(within.astype(float), abs=1e-9)
