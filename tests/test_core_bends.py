"""Bounds by second derivatives hold: faces and edges against dense samples of the kernel's."""

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_CurveType

from noseroom.geometry.bends import simple_bounds
from noseroom.geometry.chords import chord_errors, chords_of
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.near_triangles import near_triangles
from noseroom.geometry.span_groups import bounds_of, places_of
from noseroom.geometry.trees import close_triangles

SIMPLE = {
    "cylinder": cq.Solid.makeCylinder(20, 50),
    "cone": cq.Solid.makeCone(50, 20, 40),
    "cone to its tip": cq.Solid.makeCone(50, 0, 40),
    "sphere": cq.Workplane().sphere(30).val(),
    "torus": cq.Solid.makeTorus(50, 12),
}


def samples_of(surface, uv, corners, steps=12):
    """Largest distance of kernel's points from those of a triangle with the same parameters."""
    furthest = 0.0
    for i in range(steps + 1):
        for j in range(steps + 1 - i):
            shares = np.array([i, j, steps - i - j]) / steps
            on = np.array(surface.Value(*(float(t) for t in shares @ uv)).Coord())
            furthest = max(furthest, float(np.linalg.norm(on - shares @ corners)))
    return furthest


def corners_of(surface, uv):
    return np.array([surface.Value(float(u), float(v)).Coord() for u, v in uv])


@pytest.mark.parametrize("share", [0.8, 0.2, 0.04])
@pytest.mark.parametrize("name", SIMPLE)
def test_bounds_of_simple_faces_hold_and_are_close_where_triangles_are_small(name, share):
    rng = np.random.default_rng(len(name))
    for face in sub_shapes(SIMPLE[name].wrapped, "FACE"):
        surface = BRepAdaptor_Surface(face)
        low = np.array([surface.FirstUParameter(), surface.FirstVParameter()])
        wide = np.array([surface.LastUParameter(), surface.LastVParameter()]) - low
        place = rng.random((20, 1, 2)) * (1 - share)
        uv = low + (place + rng.random((20, 3, 2)) * share) * wide
        found = simple_bounds(surface, uv)
        if found is None:  # the flat ends
            continue
        for triangle, bound in zip(uv, found[0], strict=True):
            truth = samples_of(surface, triangle, corners_of(surface, triangle))
            assert bound >= truth - 1e-9
            assert bound <= 2 * truth + 1e-9 or share > 0.1


def fan():
    blade = cq.Workplane().rect(60, 3).twistExtrude(150, 40).translate((0, 0, 30))
    hub = cq.Workplane().cylinder(60, 40).rotate((0, 0, 0), (0, 1, 0), 90)
    for k in range(3):
        hub = hub.union(blade.rotate((0, 0, 0), (1, 0, 0), 120 * k))
    return hub.val()


def test_blades_worked_out_together_are_as_each_by_itself_and_as_the_kernel_has_them():
    charts = [one for one in body_from_shape("fan", fan()).charts if one.spans is not None]
    assert len(charts) > 6
    spans, uv = [one.spans for one in charts], [one.uv[one.triangles[:8]] for one in charts]
    together = bounds_of(spans, uv)
    places = places_of(spans, [each.reshape(-1, 2) for each in uv])
    for chart, each, bounds, placed in zip(charts, uv, together, places, strict=True):
        assert bounds == pytest.approx(chart.spans.bounds(each), abs=1e-12)
        surface = BRepAdaptor_Surface(chart.face)
        for triangle, bound, corners in zip(each, bounds, placed.reshape(-1, 3, 3), strict=True):
            assert corners == pytest.approx(corners_of(surface, triangle), abs=1e-9)
            truth = samples_of(surface, triangle, corners)
            assert truth - 1e-9 <= bound <= 3 * truth + 1e-6


def test_no_spline_edge_is_further_from_its_chords_than_stated():
    seen = 0
    for edge in sub_shapes(fan().wrapped, "EDGE"):
        curve = BRepAdaptor_Curve(edge)
        first, last = curve.FirstParameter(), curve.LastParameter()
        for count in (2, 3, 8):
            at = np.linspace(first, last, count)
            ends = np.array([curve.Value(t).Coord() for t in at.tolist()])
            if curve.GetType() != GeomAbs_CurveType.GeomAbs_BSplineCurve:
                break
            chords = chords_of(curve, at, ends)
            if chords is None:
                continue
            seen += 1
            share = np.linspace(0, 1, 40)
            truth = 0.0
            for k in range(count - 1):
                times = at[k] + share * (at[k + 1] - at[k])
                points = np.array([curve.Value(t).Coord() for t in times.tolist()])
                straight = ends[k] + share[:, None] * (ends[k + 1] - ends[k])
                truth = max(truth, float(np.linalg.norm(points - straight, axis=1).max()))
            assert chord_errors([chords])[0] >= truth - 1e-9
            moved = chords_of(curve, at[::-1], ends[::-1] + np.array([0, 0, 0.5]))
            assert chord_errors([moved, chords])[0] >= 0.5
    assert seen > 20


@pytest.mark.parametrize("seed", range(8))
def test_every_pair_of_triangles_that_is_near_is_looked_at(seed):
    """Flat bodies, whose triangles are their faces: an independent search finds the same pairs."""
    rng = np.random.default_rng(seed)
    comb = cq.Workplane().box(80, 60, 40)
    for k in range(4):
        comb = comb.cut(cq.Workplane().box(6, 80, 30).translate((-30 + 20 * k, 0, 15)))
    body = body_from_shape("comb", comb.val())
    there = np.eye(4)
    there[:3, :3] = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    there[:3, :3] *= np.sign(np.linalg.det(there[:3, :3]))
    there[:3, 3] = rng.normal(size=3) * 60 + [0, 0, 120]
    least = float(rng.uniform(60, 110))
    for direction in (there[:3, 3], rng.normal(size=3)):
        ends = np.stack([np.zeros(3), direction])
        found = near_triangles(body, np.eye(4), body, there, ends, least, least)
        sure = close_triangles(body.tree, np.eye(4), body.tree, there, least - 1e-6, 10**6)
        assert found is not None
        assert {*zip(*(each.tolist() for each in sure[:2]), strict=True)} <= {
            *zip(*(each.tolist() for each in found), strict=True)
        }
