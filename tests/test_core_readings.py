"""How the kernel's meshes and surfaces are read, and scans in blocks: against the kernel itself."""

import cadquery as cq
import numpy as np
import pytest

from noseroom.errors import GeometryError
from noseroom.geometry.blocks import blocks_of, nearest_surfaces
from noseroom.geometry.clearance import clearance
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.surfaces import curve_places, surface_places
from noseroom.geometry.trees import nearest_triangles
from noseroom.geometry.triangulations import triangulations


def hose():
    path = cq.Workplane("XZ").spline([(0, 0), (25, 60), (60, 130), (85, 200)])
    return cq.Workplane("XY").circle(19).circle(16).sweep(path).val()


def blade():
    return cq.Workplane().rect(60, 3).twistExtrude(150, 40).val()


def test_meshes_are_read_at_once_as_the_kernel_gives_them_one_by_one():
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    shape = cq.Workplane().box(30, 20, 10).edges("|Z").fillet(3).faces(">Z").hole(8).val().wrapped
    BRepMesh_IncrementalMesh(shape, 0.1, False, 0.2, False)
    for one in triangulations(sub_shapes(shape, "FACE")):
        mesh = one.kernels
        count, many = range(1, mesh.NbNodes() + 1), range(1, mesh.NbTriangles() + 1)
        assert np.array_equal(one.nodes, [mesh.Node(i).Coord() for i in count])
        assert np.array_equal(one.uv, [mesh.UVNode(i).Coord() for i in count])
        assert np.array_equal(one.triangles + 1, [mesh.Triangle(i).Get() for i in many])
        assert one.claimed_mm == mesh.Deflection()


def test_one_mesh_in_two_places_is_read_in_both():
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    ball = cq.Workplane().sphere(10).val()
    both = cq.Compound.makeCompound([ball, ball.moved(cq.Location((50, 0, 0)))]).wrapped
    BRepMesh_IncrementalMesh(both, 0.1, False, 0.2, False)
    first, second = triangulations(sub_shapes(both, "FACE"))
    assert first.kernels is second.kernels
    assert np.allclose(second.nodes - first.nodes, [50, 0, 0], atol=1e-12)


def test_a_face_without_triangles_is_refused():
    with pytest.raises(GeometryError, match="without triangles"):
        triangulations(sub_shapes(cq.Workplane().box(1, 1, 1).val().wrapped, "FACE"))


@pytest.mark.parametrize("make", [hose, blade])
@pytest.mark.parametrize("lattice", [False, True])
def test_splines_are_where_the_kernel_evaluates_them(make, lattice):
    """Many points on few lines of parameters go another way than points anywhere."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    rng, seen = np.random.default_rng(0), 0
    for face in make().Faces():
        surface = BRepAdaptor_Surface(face.wrapped)
        if surface.GetType() != Kind.GeomAbs_BSplineSurface:
            continue
        low = surface.FirstUParameter(), surface.FirstVParameter()
        high = surface.LastUParameter(), surface.LastVParameter()
        lines = [np.r_[a, rng.uniform(a, b, 30), b] for a, b in zip(low, high, strict=True)]
        uv = np.stack(np.meshgrid(*lines), axis=-1).reshape(-1, 2)
        if not lattice:
            uv = np.r_[uv[:3], uv[-3:], rng.uniform(low, high, (1000, 2))]
        truth = [surface.Value(*at).Coord() for at in uv.tolist()]
        assert np.abs(surface_places(surface)(uv) - truth).max() < 1e-9
        seen += 1
    assert seen


def test_spline_curves_are_where_the_kernel_evaluates_them():
    from OCP.BRepAdaptor import BRepAdaptor_Curve

    edge = cq.Edge.makeSpline(
        [cq.Vector(0, 0), cq.Vector(5, 9, 2), cq.Vector(20, 1)], periodic=True
    )
    curve = BRepAdaptor_Curve(edge.wrapped)
    at = np.linspace(curve.FirstParameter(), curve.LastParameter(), 101)
    truth = [curve.Value(t).Coord() for t in at.tolist()]
    assert np.abs(curve_places(curve)(at) - truth).max() < 1e-9


def test_no_point_of_a_cylinder_is_beyond_what_its_triangle_owns_up_to():
    """The sagitta of a chord, radius * (1 - cos(w / 2)), is a hair below radius * w² / 8."""
    body = body_from_shape("pipe", cq.Workplane().cylinder(80, 30).val())
    rng = np.random.default_rng(0)
    chart = next(chart for chart in body.charts if not chart.plane)
    shares = rng.dirichlet((0.5, 0.5, 0.5), (200, 1))
    uv = (shares[..., None] * chart.uv[chart.triangles]).sum(axis=2)
    flat = (shares[..., None] * chart.nodes[chart.triangles]).sum(axis=2)
    off = np.linalg.norm(chart.places(uv.reshape(-1, 2)).reshape(flat.shape) - flat, axis=2)
    own = chart.errors_mm(np.arange(len(chart.triangles)))
    assert (off <= own + 1e-12).all()
    assert off.max() > 0.95 * own.max()


@pytest.fixture(scope="module")
def wall():
    """An open, bumpy wall of 40,000 triangles."""
    n = 142
    x, z = np.meshgrid(np.linspace(0, 900, n), np.linspace(-300, 300, n), indexing="ij")
    y = 100 + 15 * np.sin(x / 60) * np.cos(z / 45)
    k = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    faces = np.concatenate([np.c_[k, k + 1, k + n], np.c_[k + 1, k + n + 1, k + n]])
    points = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    return body_from_mesh("wall", points, faces, deflection_mm=0.3)


def test_blocks_of_a_scan_share_out_its_triangles(wall):
    blocks = blocks_of(wall.mesh.vertices, wall.mesh.triangles)
    members = np.concatenate(blocks.members)
    assert np.array_equal(np.sort(members), np.arange(len(wall.mesh.triangles)))
    for some, (low, high) in zip(blocks.members, blocks.boxes, strict=True):
        corners = wall.mesh.vertices[wall.mesh.triangles[some]]
        assert (corners >= low).all()
        assert (corners <= high).all()


def _turned(found):
    apart, points, (t, s) = found
    return apart, points[::-1], (s, t)


@pytest.mark.parametrize("seed", range(8))
def test_the_nearest_of_a_scan_in_blocks_is_the_nearest_of_all_of_it(wall, seed):
    rng = np.random.default_rng(seed)
    part = body_from_shape("part", cq.Workplane().box(120, 30, 40).edges().fillet(4).val())
    pose = np.eye(4)
    pose[:3, 3] = rng.uniform([0, -40, -200], [900, 110, 200])
    here = np.eye(4)
    whole = nearest_triangles(part.tree, pose, wall.tree, here)
    for found in (
        nearest_surfaces(part, pose, wall, here),
        _turned(nearest_surfaces(wall, here, part, pose)),
    ):
        assert found[0] == pytest.approx(whole[0], abs=1e-9)
        if whole[0] > 0:
            assert np.linalg.norm(found[1][1] - found[1][0]) == pytest.approx(whole[0], abs=1e-9)
    below = nearest_surfaces(part, pose, wall, here, whole[0] / 2)
    assert below[0] == pytest.approx(whole[0] / 2)


@pytest.mark.parametrize(("pin_mm", "hole_mm", "shift_mm"), [(4, 4.05, 0), (20, 20.2, 0.02)])
def test_a_pin_in_its_hole_has_the_difference_of_the_radii(pin_mm, hole_mm, shift_mm):
    pin = body_from_shape("pin", cq.Workplane().circle(pin_mm / 2).extrude(30).val())
    plate = cq.Workplane().rect(3 * pin_mm, 3 * pin_mm).circle(hole_mm / 2).extrude(10).val()
    pose = np.eye(4)
    pose[:3, 3] = shift_mm, 0, -5
    found = clearance(pin, body_from_shape("plate", plate), pose)
    apart = (hole_mm - pin_mm) / 2 - shift_mm
    assert found.bound_mm <= apart + 1e-12
    assert found.bound_mm == pytest.approx(apart, abs=0.001)
    assert found.distance_mm == pytest.approx(apart, abs=0.001)
