"""Meshes: closed, outward, repeatable, and never further from the surface than they say."""

import cadquery as cq
import numpy as np
import pytest
import trimesh
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepTools import BRepTools
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.gp import gp_Pnt, gp_Pnt2d
from OCP.TopAbs import TopAbs_State
from OCP.TopLoc import TopLoc_Location

from noseroom.errors import GeometryError
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.trees import build_tree, point_distance
from noseroom.tolerances import Tolerances


def _hose():
    path = cq.Workplane("XZ").spline([(0, 0), (50, 100), (0, 200)])
    return cq.Workplane().circle(10).circle(7).sweep(path).val()


SHAPES = {
    "box": lambda: cq.Workplane().box(10, 20, 30).val(),
    "sphere": lambda: cq.Workplane().sphere(10).val(),
    "cylinder": lambda: cq.Workplane().cylinder(20, 10).val(),
    "cone to a point": lambda: cq.Solid.makeCone(10, 0, 20),
    "torus": lambda: cq.Solid.makeTorus(50, 10),
    "tube": lambda: cq.Workplane().circle(10).circle(8).extrude(100).val(),
    "twisted blade": lambda: cq.Workplane().rect(40, 4).twistExtrude(100, 60).val(),
    "hose": _hose,
    "plate with hole": lambda: (
        cq.Workplane().box(80, 40, 5).edges("|Z").fillet(8).cut(cq.Workplane().cylinder(9, 12))
    ).val(),
}


@pytest.fixture(scope="module", params=SHAPES)
def body(request):
    return body_from_shape(request.param, SHAPES[request.param]())


def test_an_independent_reader_finds_the_mesh_closed_and_outward(body):
    mesh = trimesh.Trimesh(body.mesh.vertices, body.mesh.triangles, process=False)
    assert body.watertight
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    true_mm3 = body.shape.Volume()
    assert mesh.volume > 0
    assert abs(mesh.volume - true_mm3) <= mesh.area * body.mesh.bound_mm + 1e-9 * true_mm3


def test_no_sampled_point_of_the_surface_is_further_from_the_mesh_than_stated(body):
    """Random parameters in every face, kept when inside its trimming."""
    rng = np.random.default_rng(1)
    checked = 0
    for number, face in enumerate(body.faces):
        tree = build_tree(*body.face_parts[number])
        surface, trim = BRepAdaptor_Surface(face), BRepTopAdaptor_FClass2d(face, 1e-9)
        u0, u1, v0, v1 = BRepTools.UVBounds_s(face)
        for u, v in rng.uniform([u0, v0], [u1, v1], (300, 2)).tolist():
            if trim.Perform(gp_Pnt2d(u, v)) != TopAbs_State.TopAbs_IN:
                continue
            point = np.array(surface.Value(u, v).Coord())
            away = point_distance(tree, np.eye(4), point)
            assert away <= body.mesh.deflection_mm[number] + 1e-9
            checked += 1
    assert checked >= 300


def test_no_sampled_point_of_the_mesh_is_further_from_its_face_than_stated(body):
    rng = np.random.default_rng(2)
    for number, face in enumerate(body.faces):
        vertices, triangles = body.face_parts[number]
        picked = triangles[rng.integers(0, len(triangles), 12)]
        weights = rng.dirichlet([1, 1, 1], len(picked))
        for point in np.einsum("ik,ikd->id", weights, vertices[picked]).tolist():
            vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex()
            away = BRepExtrema_DistShapeShape(vertex, face).Value()
            assert away <= body.mesh.deflection_mm[number] + 1e-9


def test_a_flat_disc_owns_up_to_the_chords_of_its_rim():
    """The kernel stores a deflection of 1e-15 mm with a disc whose rim is chords."""
    body = body_from_shape("disc", cq.Workplane().cylinder(20, 10).val())
    points, corners = body.mesh.vertices, body.mesh.triangles
    rims = []
    for number in range(3):
        edges = np.sort(corners[body.mesh.face_of == number][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2))
        edges, uses = np.unique(edges, axis=0, return_counts=True)
        middles = points[edges[uses == 1]].mean(axis=1)
        on_rim = np.abs(np.hypot(middles[:, 0], middles[:, 1]) - 10) > 1e-6
        rims.append((number, 10 - np.hypot(*middles[on_rim, :2].T)))
    for number, sagitta in rims:
        assert sagitta.max() > 1e-3
        assert body.mesh.deflection_mm[number] >= sagitta.max()


def test_flat_faces_with_straight_edges_are_exact():
    assert body_from_shape("box", SHAPES["box"]()).mesh.bound_mm == 0


def test_the_mesh_does_not_depend_on_what_was_meshed_before():
    """A fine mesh left on the shape is what a later coarse `tessellate` would return."""
    fresh = body_from_shape("fresh", SHAPES["torus"](), Tolerances(tessellation_mm=1.0))
    used = SHAPES["torus"]()
    used.tessellate(0.01)
    again = body_from_shape("used", used, Tolerances(tessellation_mm=1.0))
    assert np.array_equal(fresh.mesh.vertices, again.mesh.vertices)
    assert np.array_equal(fresh.mesh.triangles, again.mesh.triangles)


def test_no_triangulation_stays_behind_to_slow_the_exact_distance():
    shape = SHAPES["torus"]()
    shape.tessellate(5)
    body = body_from_shape("torus", shape)
    assert all(BRep_Tool.Triangulation_s(face, TopLoc_Location()) is None for face in body.faces)


def test_meshing_leaves_the_callers_shape_without_a_mesh():
    shape = SHAPES["torus"]()
    body_from_shape("torus", shape)
    faces = [face.wrapped for face in shape.Faces()]
    assert all(BRep_Tool.Triangulation_s(face, TopLoc_Location()) is None for face in faces)


def test_the_chord_is_absolute_not_relative_to_the_size():
    """A relative 0.1 would leave 10 mm and more on the largest of these."""
    for radius in (5, 50, 500):
        body = body_from_shape("ball", cq.Workplane().sphere(radius).val())
        assert body.mesh.bound_mm <= 3 * Tolerances().tessellation_mm


def test_touching_solids_of_a_compound_stay_separate_and_closed():
    left, right = (cq.Workplane().box(10, 10, 10).translate((x, 0, 0)).val() for x in (0, 10))
    body = body_from_shape("pair", cq.Compound.makeCompound([left, right]))
    assert body.watertight
    assert len(body.closed_parts) == len(body.solids) == 2
    assert body.mesh.volume_mm3 == pytest.approx(2000)


def test_a_bare_face_is_a_body_without_an_inside():
    body = body_from_shape("sheet", cq.Face.makePlane(20, 30))
    assert not body.watertight
    assert body.closed_parts == ()


def test_a_broken_solid_is_refused_by_name():
    broken = cq.Workplane().box(100, 60, 20).edges().fillet(5).faces(">Z").shell(-2).val()
    with pytest.raises(GeometryError, match="tray"):
        body_from_shape("tray", broken)


def test_an_inside_out_mesh_is_turned_round():
    cube = trimesh.creation.box((2, 2, 2))
    body = body_from_mesh("cube", cube.vertices, cube.faces[:, ::-1], deflection_mm=0)
    assert body.watertight
    assert body.mesh.volume_mm3 == pytest.approx(8)


@pytest.mark.parametrize(
    ("vertices", "triangles", "deflection"),
    [
        ([[0, 0, 0], [1, 0, 0]], [[0, 1, 2]], 0.1),
        ([[0, 0], [1, 0]], [[0, 1, 1]], 0.1),
        ([[0, 0, 0]], np.zeros((0, 3)), 0.1),
        ([[0, 0, 0], [1, 0, 0], [0, np.nan, 0]], [[0, 1, 2]], 0.1),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], -1),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], np.nan),
    ],
    ids=["out of range", "flat", "empty", "nan", "negative error", "nan error"],
)
def test_a_malformed_scan_is_refused_by_name(vertices, triangles, deflection):
    with pytest.raises(GeometryError, match="scan"):
        body_from_mesh("scan", vertices, triangles, deflection_mm=deflection)
