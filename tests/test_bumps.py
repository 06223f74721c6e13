"""A bump that is narrow against its face is seen: in the mesh, its error, and every clearance.

The truth is the tip of the bump, which the maker knows: a ball above the tip, on its normal, is as
far from the solid as from the tip.
"""

from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.Geom import Geom_BSplineSurface
from OCP.gp import gp_Pnt
from OCP.TColgp import TColgp_Array2OfPnt
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal

from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from noseroom.geometry.scan_step import read_step
from noseroom.geometry.scan_types import Limits
from noseroom.geometry.spans import spans_of
from noseroom.geometry.surfaces import surface_places
from noseroom.geometry.trees import build_tree, point_distance

SIDE_MM, THICK_MM, BALL_MM, SPANS = 200.0, 20.0, 2.0, 40
SEEDS = range(4)


def _net(rng, high):
    """A flat net of poles with one raised pole: a bump three to four spans wide."""
    count, degree = SPANS + 3, 3
    knots = np.r_[[0.0] * degree, np.linspace(0, SIDE_MM, SPANS + 1), [SIDE_MM] * degree]
    # At these averages of knots the poles of a plane with u and v for x and y are.
    at = np.array([knots[i + 1 : i + 1 + degree].mean() for i in range(count)])
    heights = np.full((count, count), THICK_MM)
    i, j = rng.integers(8, count - 8, 2)
    heights[i, j] += high
    return at, heights, (at[i], at[j])


def _lid(seed, high):
    """A plate whose top is one spline with a bump, and the bump's tip.

    A cubic's middle function is 2/3 at its own knot (The NURBS Book, 2nd ed., section 2.4: 1/6,
    2/3, 1/6), so that the tip is 4/9 of what the pole is raised by.
    """
    at, heights, (x, y) = _net(np.random.default_rng(seed), high * 9 / 4)
    count = len(at)
    poles = TColgp_Array2OfPnt(1, count, 1, count)
    for i, j in np.ndindex(count, count):
        poles.SetValue(i + 1, j + 1, gp_Pnt(at[i], at[j], heights[i, j]))
    knots = TColStd_Array1OfReal(1, SPANS + 1)
    repeats = TColStd_Array1OfInteger(1, SPANS + 1)
    for k in range(SPANS + 1):
        knots.SetValue(k + 1, SIDE_MM * k / SPANS)
        repeats.SetValue(k + 1, 4 if k in (0, SPANS) else 1)
    surface = Geom_BSplineSurface(poles, knots, knots, repeats, repeats, 3, 3)
    top = cq.Face(BRepBuilderAPI_MakeFace(surface, 1e-6).Face())
    ring = [(0, 0), (SIDE_MM, 0), (SIDE_MM, SIDE_MM), (0, SIDE_MM)]
    faces = [top, _flat([(*p, 0) for p in ring])]
    for (a, b), (c, d) in zip(ring, ring[1:] + ring[:1], strict=True):
        faces.append(_flat([(a, b, 0), (c, d, 0), (c, d, THICK_MM), (a, b, THICK_MM)]))
    solid = cq.Solid.makeSolid(cq.Shell.makeShell(faces))
    if solid.Volume() < 0:
        solid = cq.Solid(solid.wrapped.Reversed())
    return SimpleNamespace(solid=solid, tip=np.array([x, y, THICK_MM + high]))


def _flat(corners):
    wire = cq.Wire.makePolygon([cq.Vector(*corner) for corner in corners], close=True)
    return cq.Face.makeFromWires(wire)


def _holed(lid):
    """The same with a hole in it, which leaves the mesher no grid to make."""
    far = cq.Vector(*(np.where(lid.tip[:2] > SIDE_MM / 2, 25.0, 175.0)), -1)
    return lid.solid.cut(cq.Solid.makeCylinder(8, 60, far))


def _ball(gap, tip):
    pose = np.eye(4)
    pose[:3, 3] = tip
    pose[2, 3] += BALL_MM + gap
    return body_from_shape("ball", cq.Workplane().sphere(BALL_MM).val()), pose


KINDS = {"whole": lambda lid: lid.solid, "with a hole": _holed}


@pytest.fixture(scope="module", params=[(seed, kind) for seed in SEEDS for kind in KINDS], ids=str)
def bumped(request):
    seed, kind = request.param
    lid = _lid(seed, 3.0 if seed % 2 else 6.0)
    body = body_from_shape("lid", KINDS[kind](lid))
    return SimpleNamespace(body=body, tip=lid.tip)


def test_the_gap_to_a_bump_is_never_over_stated(bumped):
    ball, pose = _ball(3.0, bumped.tip)
    found = clearance(bumped.body, ball, np.eye(4), pose, cap_mm=150.0)
    assert found.relation is Relation.APART
    assert found.bound_mm <= 3.0 + 1e-6
    assert found.bound_mm >= 2.9
    assert abs(found.distance_mm - 3.0) <= 0.05


def test_a_ball_in_the_bump_overlaps_it(bumped):
    ball, pose = _ball(-1.5, bumped.tip)
    found = clearance(bumped.body, ball, np.eye(4), pose, cap_mm=150.0)
    assert found.relation is Relation.OVERLAPPING
    assert found.bound_mm <= 0


def test_no_point_of_the_bump_is_further_from_the_mesh_than_stated(bumped):
    """A fine grid about the tip; x and y are the parameters of the lid."""
    mesh = bumped.body.mesh
    face = int(np.argmax([len(c.triangles) for c in bumped.body.charts]))
    places = surface_places(BRepAdaptor_Surface(bumped.body.faces[face]))
    about = np.linspace(-15, 15, 41)
    grid = np.stack(np.meshgrid(about, about), axis=-1).reshape(-1, 2) + bumped.tip[:2]
    points = places(grid)
    assert points[:, 2].max() == pytest.approx(bumped.tip[2], abs=1e-6)
    tree = build_tree(mesh.vertices, mesh.triangles)
    off = max(point_distance(tree, np.eye(4), point) for point in points)
    assert off <= mesh.deflection_mm[face] + 1e-9
    assert mesh.deflection_mm[face] <= 0.2


@pytest.mark.parametrize("kind", KINDS)
def test_a_bump_in_a_step_file_is_in_its_scan(kind, tmp_path, monkeypatch):
    lid = _lid(7, 4.0)
    path = tmp_path / "lid.step"
    cq.exporters.export(cq.Workplane(KINDS[kind](lid)), str(path))
    monkeypatch.chdir(tmp_path)
    raw = read_step(path.read_bytes(), Limits())
    scan = body_from_mesh("lid", raw.vertices, raw.triangles, deflection_mm=raw.deflection_mm)
    for gap, relation in ((3.0, Relation.APART), (-1.5, Relation.OVERLAPPING)):
        ball, pose = _ball(gap, lid.tip)
        found = clearance(scan, ball, np.eye(4), pose, cap_mm=150.0)
        assert found.relation is relation
        assert found.bound_mm <= max(gap, 0.0) + 1e-6
        assert found.bound_mm >= max(gap, 0.0) - 0.3


@pytest.mark.parametrize("share", [0.6, 0.1, 0.01])
def test_the_bound_by_second_derivatives_holds_in_a_dense_sample(share):
    """Of free-form surfaces with and without weights, on random triangles of parameters."""
    path = cq.Workplane("XZ").spline([(0, 0), (50, 100), (0, 200)])
    rng = np.random.default_rng(3)
    shares = rng.dirichlet(np.ones(3), 300)
    solids = [
        _lid(1, 5.0).solid,
        cq.Workplane().circle(10).sweep(path).val(),
        cq.Workplane().rect(40, 4).twistExtrude(100, 60).val(),
    ]
    for solid in solids:
        for face in solid.Faces():
            surface = BRepAdaptor_Surface(face.wrapped)
            spans = spans_of(surface)
            if spans is None:
                continue
            low = np.array([surface.FirstUParameter(), surface.FirstVParameter()])
            range_ = np.array([surface.LastUParameter(), surface.LastVParameter()]) - low
            start = rng.uniform(0, 1 - share, (60, 1, 2))
            uv = low + range_ * (start + share * rng.uniform(0, 1, (60, 3, 2)))
            places = surface_places(surface)
            corners = places(uv.reshape(-1, 2)).reshape(-1, 3, 3)
            on = places(np.einsum("sk,mkd->msd", shares, uv).reshape(-1, 2)).reshape(60, -1, 3)
            off = np.linalg.norm(on - np.einsum("sk,mkd->msd", shares, corners), axis=2)
            assert (off.max(axis=1) <= spans.bounds(uv) * (1 + 1e-9) + 1e-9).all()


def test_a_solid_that_is_not_closed_is_refused():
    faces = cq.Workplane().box(10, 10, 10).val().Faces()
    solid = cq.Solid.makeSolid(cq.Shell.makeShell(faces[:5]))
    with pytest.raises(GeometryError, match="box: the mesh of a solid has gaps"):
        body_from_shape("box", solid)
