"""Many points of one of the kernel's surfaces or curves at once.

The kernel answers point by point, and each question costs a call. Planes, cylinders, cones,
spheres and tori are closed forms; splines are evaluated by scipy from the kernel's poles, weights
and knots. Whatever has neither is still asked of the kernel, point by point.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Floats = NDArray[np.float64]
Places: TypeAlias = Callable[[Floats], Floats]
"""Parameters (n, 2) of a surface or (n,) of a curve to places (n, 3), mm."""

_AT_ONCE = 4096


def surface_places(surface: Any) -> Places:
    """Return what evaluates a `BRepAdaptor_Surface` in the frame of its face."""
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    kind = surface.GetType()
    if kind == Kind.GeomAbs_Plane:
        place, x, y, _ = axes_of(surface.Plane().Position())
        return lambda uv: place + uv[:, :1] * x + uv[:, 1:] * y
    if kind == Kind.GeomAbs_Cylinder:
        cylinder = surface.Cylinder()
        return _cone(axes_of(cylinder.Position()), cylinder.Radius(), 0.0)
    if kind == Kind.GeomAbs_Cone:
        cone = surface.Cone()
        return _cone(axes_of(cone.Position()), cone.RefRadius(), cone.SemiAngle())
    if kind == Kind.GeomAbs_Sphere:
        ball = surface.Sphere()
        return _torus(axes_of(ball.Position()), 0.0, ball.Radius())
    if kind == Kind.GeomAbs_Torus:
        ring = surface.Torus()
        return _torus(axes_of(ring.Position()), ring.MajorRadius(), ring.MinorRadius())
    if kind == Kind.GeomAbs_BSplineSurface:
        return _spline_surface(surface.BSpline())
    value = surface.Value
    return lambda uv: np.array([value(u, v).Coord() for u, v in uv.tolist()]).reshape(-1, 3)


def curve_places(curve: Any) -> Places:
    """Return what evaluates a `BRepAdaptor_Curve` in the frame of its edge."""
    from OCP.GeomAbs import GeomAbs_CurveType as Kind

    kind = curve.GetType()
    if kind == Kind.GeomAbs_Circle:
        circle = curve.Circle()
        place, x, y, _ = axes_of(circle.Position())
        radius = circle.Radius()
        return lambda t: place + radius * (np.cos(t)[:, None] * x + np.sin(t)[:, None] * y)
    if kind == Kind.GeomAbs_BSplineCurve:
        return _spline_curve(curve.BSpline())
    value = curve.Value
    return lambda t: np.array([value(one).Coord() for one in t.tolist()]).reshape(-1, 3)


def flat_curve_places(curve: Any) -> Places:
    """Return what evaluates a `Geom2d_Curve`: (n,) to surface parameters (n, 2)."""
    from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Circle

    if isinstance(curve, Geom2d_BSplineCurve):
        return _spline_curve(curve)
    if isinstance(curve, Geom2d_Circle):
        position, radius = curve.Position(), curve.Radius()
        place, x, y = (
            np.array(part.Coord())
            for part in (position.Location(), position.XDirection(), position.YDirection())
        )
        return lambda t: place + radius * (np.cos(t)[:, None] * x + np.sin(t)[:, None] * y)
    value = curve.Value
    return lambda t: np.array([value(one).Coord() for one in t.tolist()]).reshape(-1, 2)


def axes_of(position: Any) -> Floats:
    """Place and x, y and z direction of a position of the kernel's: (4, 3)."""
    parts = position.Location(), position.XDirection(), position.YDirection(), position.Direction()
    return np.array([part.Coord() for part in parts])


def poles_of(spline: Any) -> Floats:
    """Poles of a free-form surface (rows * columns, 3), row by row, or of a curve (n, 3 or 2)."""
    if hasattr(spline, "NbUPoles"):
        rows, columns = range(1, spline.NbUPoles() + 1), range(1, spline.NbVPoles() + 1)
        return np.array([spline.Pole(i, j).Coord() for i in rows for j in columns])
    return np.array([spline.Pole(i).Coord() for i in range(1, spline.NbPoles() + 1)])


def _cone(axes: Floats, radius: float, half_angle: float) -> Places:
    place, x, y, z = axes

    def places(uv: Floats) -> Floats:
        u, v = uv[:, :1], uv[:, 1:]
        round_about = radius + v * np.sin(half_angle)
        ring = round_about * (np.cos(u) * x + np.sin(u) * y)
        found: Floats = place + ring + v * np.cos(half_angle) * z
        return found

    return places


def _torus(axes: Floats, large: float, small: float) -> Places:
    place, x, y, z = axes

    def places(uv: Floats) -> Floats:
        u, v = uv[:, :1], uv[:, 1:]
        ring = (large + small * np.cos(v)) * (np.cos(u) * x + np.sin(u) * y)
        found: Floats = place + ring + small * np.sin(v) * z
        return found

    return places


def _spline_surface(spline: Any) -> Places:
    from OCP.Geom import Geom_BSplineSurface

    turns = [
        _period(spline.IsUPeriodic(), *spline.Bounds()[:2]),
        _period(spline.IsVPeriodic(), *spline.Bounds()[2:]),
    ]
    if any(turns):
        spline = spline.Copy()
        assert isinstance(spline, Geom_BSplineSurface)
        spline.SetUNotPeriodic()
        spline.SetVNotPeriodic()
    rows, columns = spline.NbUPoles(), spline.NbVPoles()
    poles = poles_of(spline)
    weights = np.ones(len(poles))
    if spline.IsURational() or spline.IsVRational():
        numbers = [(i, j) for i in range(1, rows + 1) for j in range(1, columns + 1)]
        weights = np.array([spline.Weight(i, j) for i, j in numbers])
    knots_u = _knots(spline.NbUKnots(), spline.UKnot, spline.UMultiplicity)
    knots_v = _knots(spline.NbVKnots(), spline.VKnot, spline.VMultiplicity)
    degrees = spline.UDegree(), spline.VDegree()
    net = np.c_[poles * weights[:, None], weights].reshape(rows, columns, 4)
    # The longer side first: it leaves less to carry.
    first, second = (0, 1) if rows >= columns else (1, 0)
    if first:
        net = net.transpose(1, 0, 2)
    lines, knots = net.reshape(len(net), -1), (knots_u, knots_v)

    def places(uv: Floats) -> Floats:
        found = np.empty((len(uv), 4))
        for start in range(0, len(uv), _AT_ONCE):
            some = uv[start : start + _AT_ONCE]
            along = _basis(some[:, first], knots[first], degrees[first], turns[first]) @ lines
            across = _basis(some[:, second], knots[second], degrees[second], turns[second])
            along = along.reshape(len(some), -1, 4)
            found[start : start + len(some)] = np.einsum("nv,nvk->nk", across.toarray(), along)
        return found[:, :3] / found[:, 3:]

    return places


def _spline_curve(spline: Any) -> Places:
    ends = spline.FirstParameter(), spline.LastParameter()
    turn = _period(spline.IsPeriodic(), *ends)
    if turn:
        spline = spline.Copy()
        spline.SetNotPeriodic()
    poles = poles_of(spline)
    weights = np.array([spline.Weight(i) for i in range(1, len(poles) + 1)])
    knots = _knots(spline.NbKnots(), spline.Knot, spline.Multiplicity)
    degree = spline.Degree()
    net = np.c_[poles * weights[:, None], weights]

    def places(t: Floats) -> Floats:
        weighted = _basis(t, knots, degree, turn) @ net
        found: Floats = weighted[:, :-1] / weighted[:, -1:]
        return found

    return places


def _period(periodic: bool, first: float, last: float) -> float:
    return float(last - first) if periodic else 0.0


def _knots(count: int, knot: Callable[[int], float], repeats: Callable[[int], int]) -> Floats:
    """Knots, each as often as it counts."""
    numbers = range(1, count + 1)
    return np.repeat([knot(i) for i in numbers], [repeats(i) for i in numbers])


def _basis(t: Floats, knots: Floats, degree: int, turn: float) -> csr_array:
    """The basis functions (n, poles) at parameters (n,), which are kept to the knots' range.

    Sparse: it is quicker than a dense product shared among threads.
    """
    from scipy.interpolate import BSpline

    low, high = knots[degree], knots[-degree - 1]
    if turn:
        outside = (t < low) | (t > high)
        t = np.where(outside, low + np.mod(t - low, turn), t)
    return BSpline.design_matrix(np.clip(t, low, high), knots, degree)
