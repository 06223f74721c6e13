"""Surfaces at many points at once, regular grids, and the bound from ever finer meshes."""

import cadquery as cq
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from noseroom.geometry.exact import exact_distance
from noseroom.geometry.face_meshes import RimErrors, measured, read
from noseroom.geometry.grids import could_be_grid
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.refine import WITHIN_MM, refined_bound
from noseroom.geometry.surfaces import curve_places, surface_places
from noseroom.geometry.trees import tree_distance
from truth_makers import at


def hose(outer=19.0, inner=16.0):
    path = cq.Workplane("XZ").spline([(0, 0), (25, 60), (60, 130), (85, 200)], [(0, 1)] * 2)
    return cq.Workplane().circle(outer).circle(inner).sweep(path).val()


def shapes():
    half = cq.Workplane().box(200, 200, 200).translate((100, 30, 20))
    cone = cq.Workplane(obj=cq.Solid.makeCone(40, 10, 60))
    moved = cq.Location((5, 6, 7), (1, 2, 3), 40)
    return [
        cq.Workplane().sphere(40).intersect(half).val(),
        cq.Workplane(obj=cq.Solid.makeTorus(50, 10)).intersect(half).val(),
        cone.val(),
        cone.cut(cq.Workplane("YZ").cylinder(120, 6).translate((0, 0, 20))).val().moved(moved),
        cq.Workplane().rect(40, 4).twistExtrude(100, 60).val(),
        cq.Workplane().ellipse(40, 20).extrude(10).val(),
        hose().moved(moved),
    ]


# --- Surfaces and curves --------------------------------------------------------------------


def test_many_points_at_once_are_where_the_kernel_has_each():
    """Independent: the kernel, asked point by point, also at the ends of the parameters."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface

    rng = np.random.default_rng(0)
    kinds = set()
    for shape in shapes():
        for face in sub_shapes(shape.wrapped, "FACE"):
            one = BRepAdaptor_Surface(face)
            low = one.FirstUParameter(), one.FirstVParameter()
            high = one.LastUParameter(), one.LastVParameter()
            uv = np.concatenate([rng.uniform(low, high, (20, 2)), [low, high]])
            there = np.array([one.Value(*pair).Coord() for pair in uv.tolist()])
            assert np.abs(surface_places(one)(uv) - there).max() < 1e-9
            kinds.add(one.GetType())
        for edge in sub_shapes(shape.wrapped, "EDGE"):
            curve = BRepAdaptor_Curve(edge)
            t = np.linspace(curve.FirstParameter(), curve.LastParameter(), 15)
            there = np.array([curve.Value(k).Coord() for k in t.tolist()])
            assert np.abs(curve_places(curve)(t) - there).max() < 1e-9
    assert len(kinds) >= 6


# --- Grids ----------------------------------------------------------------------------------


def test_a_swept_hose_gets_a_grid_that_closes_and_keeps_its_error():
    """Independent: the kernel's volume and its distance from points to the faces."""
    shape = hose()
    body = body_from_shape("hose", shape)
    assert [could_be_grid(face) for face in body.faces].count(True) == 2
    assert body.watertight
    assert body.mesh.volume_mm3 == pytest.approx(shape.Volume(), rel=0.005)
    assert body.mesh.bound_mm < 0.25
    rng = np.random.default_rng(1)
    for number, face in enumerate(body.faces):
        vertices, triangles = body.face_parts[number]
        some = triangles[rng.choice(len(triangles), 12)]
        inside = np.einsum("k,nkd->nd", [0.5, 0.3, 0.2], vertices[some])
        for point in inside:
            away = cq.Vertex.makeVertex(*point).distance(cq.Face(face))
            assert away <= body.mesh.deflection_mm[number] + 1e-9


def test_what_is_trimmed_across_its_parameters_gets_no_grid():
    """By hand: a hole in the side of a hose is no line of its parameters."""
    cut = cq.Workplane(obj=hose()).cut(cq.Workplane("YZ").cylinder(300, 5).translate((0, 0, 100)))
    body = body_from_shape("hose with a hole", cut.val())
    assert not any(could_be_grid(face) for face in body.faces)
    assert body.watertight
    assert body.mesh.volume_mm3 == pytest.approx(cut.val().Volume(), rel=0.01)


# --- The bound ------------------------------------------------------------------------------


def bound_of(a, pose_a, b, pose_b, value, ends):
    return refined_bound(a, pose_a, b, pose_b, value, ends)


@pytest.mark.parametrize("gap", [0.5, 8.0, 40.0])
@pytest.mark.parametrize("seed", range(3))
def test_a_ball_before_a_plate_is_bounded_from_below_and_closely(gap, seed):
    """By hand: middle to plate, less the radius; nothing but the meshes is known here."""
    plate = body_from_shape("plate", cq.Workplane().box(200, 160, 10).translate((0, 0, -5)).val())
    ball = body_from_shape("ball", cq.Workplane().sphere(30).val())
    rng = np.random.default_rng(seed)
    pose = at(turn=Rotation.random(random_state=seed))
    place = np.array([*rng.uniform(-40, 40, 2), 30 + gap])
    there = pose @ at(*place, turn=Rotation.random(random_state=seed + 9))
    foot = np.array([place - [0, 0, 30 + gap], place - [0, 0, 30]])
    ends = foot @ pose[:3, :3].T + pose[:3, 3]
    found = bound_of(plate, pose, ball, there, gap, ends)
    assert found is not None
    assert found.points is None
    assert gap - WITHIN_MM - 1e-6 <= found.bound_mm <= gap


def test_a_nearer_place_is_found_from_a_worse_one():
    """By hand: two rods crossed 12 apart, started from an end that is further."""
    rod = body_from_shape("rod", cq.Workplane().cylinder(200, 20).val())
    pose, there = at(), at(52, turn=Rotation.from_euler("x", 90, degrees=True))
    ends = np.array([[20.0, 0, 0], [32.0, 0, 0]])
    true = bound_of(rod, pose, rod, there, 12.0, ends)
    assert true is not None
    assert true.points is None
    assert 12.0 - WITHIN_MM - 1e-6 <= true.bound_mm <= 12.0
    worse = bound_of(rod, pose, rod, there, 12.2, ends)
    assert worse is not None
    assert worse.points is not None
    assert np.linalg.norm(worse.points[1] - worse.points[0]) < 12.2 - WITHIN_MM


def test_the_rim_of_a_disc_is_followed_on_its_own_circle():
    """By hand: two discs of radius 50 edge to edge in different planes, from 3-4-5 triangles."""
    disc = body_from_shape("disc", cq.Workplane().cylinder(10, 50).val())
    for turn in range(4):
        spin = Rotation.from_euler("z", 0.3 * turn).as_matrix()
        pose, there = np.eye(4), at(130, 0, 50)
        pose[:3, :3] = spin
        apart, _ = tree_distance(disc.tree, pose, disc.tree, there)
        found = exact_distance(disc, pose, disc, there, apart)
        assert found.distance_mm == pytest.approx(50.0, abs=1e-6)  # 30 across, 40 along
        assert 50.0 - 0.01 <= found.bound_mm <= 50.0


def test_no_bound_is_above_the_distance_of_free_forms_in_many_places():
    """Independent: the kernel asked for the whole solids."""
    blade = cq.Workplane().rect(60, 3).twistExtrude(150, 40).val()
    tube = hose()
    bodies = body_from_shape("blade", blade), body_from_shape("hose", tube)
    for seed in range(6):
        turn = Rotation.random(random_state=seed)
        there = at(*(np.array([1.0, 0.2, 0.1 * seed]) * (110 + 10 * seed)), turn=turn)
        placed = tube.moved(
            cq.Location(cq.Plane(tuple(there[:3, 3]), tuple(there[:3, 0]), tuple(there[:3, 2])))
        )
        truth = blade.distance(placed)
        apart, _ = tree_distance(bodies[0].tree, np.eye(4), bodies[1].tree, there)
        if truth < 0.05:
            continue
        found = exact_distance(bodies[0], np.eye(4), bodies[1], there, apart)
        assert found.bound_mm <= truth + 1e-6
        assert truth - 0.01 <= found.distance_mm <= truth + 0.01


def test_the_error_of_a_circles_chords_is_its_sagitta():
    """Sagitta of a circular arc: r (1 - cos(t/2)); a flat disc has no other error."""
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    disc = cq.Workplane().cylinder(10, 50).val()
    BRepMesh_IncrementalMesh(disc.wrapped, 0.1, False, 0.2, False)
    errors = RimErrors(disc.wrapped)
    for face in sub_shapes(disc.wrapped, "FACE"):
        chart = measured(read([face], errors)[0])
        level = chart.nodes[chart.nodes[:, 2] == chart.nodes[0, 2]]
        rim = level[np.argsort(np.arctan2(level[:, 1], level[:, 0]))]
        chord = np.linalg.norm(np.diff(rim, axis=0), axis=1).max()
        sagitta = 50 - np.sqrt(2500 - (chord / 2) ** 2)
        assert chart.error_mm >= sagitta
        assert chart.error_mm <= 2 * sagitta + 1e-9
