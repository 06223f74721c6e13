"""How far the true surface of a body reaches along a direction, never under-stated.

A plane that parts two bodies proves their distance: if one reaches no further along the line of
two points than the first point, and the other no nearer than the second, nothing is closer than
the two. For planes, cylinders, cones, spheres and tori the reach is a closed form over the
rectangle of parameters that holds the face; a free-form face lies in the hull of its poles. What
has neither is as far as its triangles and their chord error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import from_kernel, sub_shapes
from noseroom.geometry.surfaces import axes_of, poles_of

Floats = NDArray[np.float64]
Reach: TypeAlias = Callable[[Floats], float]

_WHOLE_TURN = 2 * np.pi


class Reaches:
    """The reach of one body (`mesh.Body`), face by face, with what was worked out kept."""

    def __init__(self, body: Any) -> None:
        self._body = body
        # Triangles of a face follow one another.
        self._own, self._starts = np.unique(body.mesh.face_of, return_index=True)
        self._ends = np.append(self._starts[1:], len(body.mesh.face_of))
        self._deflections = body.mesh.deflection_mm[self._own]
        self._exact: dict[int, Reach | None] = {}

    def along(self, way: Floats) -> float:
        """The most that way · x can be on the true surface, mm; way: (3,) unit, body's frame."""
        heights = self._body.mesh.vertices @ way
        mesh = np.maximum.reduceat(heights[self._body.mesh.triangles].max(axis=1), self._starts)
        most = mesh + self._deflections
        reach = -np.inf
        for k in np.argsort(-most, kind="stable"):
            if most[k] <= reach:
                break
            flat = most[k] <= mesh[k]
            closed = np.inf if flat else self.closed(int(self._own[k]), way)
            reach = max(reach, min(float(most[k]), closed))
        return float(reach)

    def of_face(self, face: int, way: Floats) -> float:
        """The same for one face alone."""
        mesh = self._body.mesh
        k = int(np.searchsorted(self._own, face))
        corners = mesh.vertices[mesh.triangles[self._starts[k] : self._ends[k]]]
        most = float((corners @ way).max() + mesh.deflection_mm[face])
        return min(most, self.closed(face, way))

    def closed(self, face: int, way: Floats) -> float:
        """The same by closed forms and poles alone; infinite where there are none."""
        sure = self._of_face(face)
        return np.inf if sure is None else sure(way)

    def _of_face(self, face: int) -> Reach | None:
        if face not in self._exact:
            try:
                self._exact[face] = _reach_of(self._body.faces[face])
            except Exception as error:
                if not from_kernel(error):
                    raise
                self._exact[face] = None
        return self._exact[face]


def highest_wave(cosine: float, sine: float, low: float, high: float) -> float:
    """The most that cosine · cos t + sine · sin t is for t from low to high."""
    peak = np.arctan2(sine, cosine)
    peak += np.ceil((low - peak) / _WHOLE_TURN) * _WHOLE_TURN
    if peak <= high:
        return float(np.hypot(cosine, sine))
    return float(max(cosine * np.cos(t) + sine * np.sin(t) for t in (low, high)))


def _reach_of(face: Any) -> Reach | None:
    """The reach of one of the kernel's faces; None where there is no closed form."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    surface = BRepAdaptor_Surface(face)
    kind = surface.GetType()
    if kind == Kind.GeomAbs_Plane:
        return _of_edges(face)
    u = surface.FirstUParameter(), surface.LastUParameter()
    v = surface.FirstVParameter(), surface.LastVParameter()
    if not np.isfinite([*u, *v]).all():
        return None
    if kind == Kind.GeomAbs_Cylinder:
        cylinder = surface.Cylinder()
        return _of_cone(axes_of(cylinder.Position()), cylinder.Radius(), 0.0, u, v)
    if kind == Kind.GeomAbs_Cone:
        cone = surface.Cone()
        return _of_cone(axes_of(cone.Position()), cone.RefRadius(), cone.SemiAngle(), u, v)
    if kind == Kind.GeomAbs_Sphere:
        ball = surface.Sphere()
        return _of_torus(axes_of(ball.Position()), 0.0, ball.Radius(), u, v)
    if kind == Kind.GeomAbs_Torus:
        ring = surface.Torus()
        return _of_torus(axes_of(ring.Position()), ring.MajorRadius(), ring.MinorRadius(), u, v)
    if kind == Kind.GeomAbs_BSplineSurface:
        return _of_poles(poles_of(surface.BSpline()))
    if kind == Kind.GeomAbs_BezierSurface:
        return _of_poles(poles_of(surface.Bezier()))
    return None


def _of_cone(
    axes: Floats, radius: float, half_angle: float, u: tuple[float, float], v: tuple[float, float]
) -> Reach:
    """Of a cone (a cylinder for no angle): along each line it is linear, so an end counts."""
    ends = [(radius + at * np.sin(half_angle), at * np.cos(half_angle)) for at in v]

    def reach(way: Floats) -> float:
        place, x, y, z = axes @ way
        return float(place + max(highest_wave(r * x, r * y, *u) + h * z for r, h in ends))

    return reach


def _of_torus(
    axes: Floats, large: float, small: float, u: tuple[float, float], v: tuple[float, float]
) -> Reach:
    """Of a torus (a sphere for no large radius): at a level point inside, or on its rim."""

    def reach(way: Floats) -> float:
        place, x, y, z = axes @ way
        crest = float(np.arctan2(y, x))
        found = []
        # Where it is level, u points along the direction or straight away from it; else the
        # most is on the rim of the rectangle of parameters.
        for angle in (*u, *_within(crest, u), *_within(crest + np.pi, u)):
            level = x * np.cos(angle) + y * np.sin(angle)
            found.append(large * level + highest_wave(small * level, small * z, *v))
        for angle in v:
            round_about = large + small * np.cos(angle)
            wave = highest_wave(round_about * x, round_about * y, *u)
            found.append(wave + small * np.sin(angle) * z)
        return float(place + max(found))

    return reach


def _within(angle: float, ends: tuple[float, float]) -> list[float]:
    turned = angle + np.ceil((ends[0] - angle) / _WHOLE_TURN) * _WHOLE_TURN
    return [turned] if turned <= ends[1] else []


def _of_poles(poles: Floats) -> Reach:
    return lambda way: float((poles @ way).max())


def _of_edges(face: Any) -> Reach | None:
    """Of a flat face: as far as its edges. None where one of them has no closed form."""
    reaches = [_of_edge(edge) for edge in sub_shapes(face, "EDGE")]
    known = [one for one in reaches if one is not None]
    if not known or len(known) < len(reaches):
        return None
    return lambda way: max(one(way) for one in known)


def _of_edge(edge: Any) -> Reach | None:
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType as Kind

    curve = BRepAdaptor_Curve(edge)
    kind, ends = curve.GetType(), (curve.FirstParameter(), curve.LastParameter())
    if kind == Kind.GeomAbs_Line:
        return _of_poles(np.array([curve.Value(t).Coord() for t in ends]))
    if kind == Kind.GeomAbs_Circle:
        circle = curve.Circle()
        return _of_cone(axes_of(circle.Position()), circle.Radius(), 0.0, ends, (0.0, 0.0))
    if kind == Kind.GeomAbs_BSplineCurve:
        return _of_poles(poles_of(curve.BSpline()))
    if kind == Kind.GeomAbs_BezierCurve:
        return _of_poles(poles_of(curve.Bezier()))
    return None
