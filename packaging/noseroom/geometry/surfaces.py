"""Many points of one of the kernel's surfaces or curves at once.

The kernel answers point by point, and each question costs a call. Planes, cylinders, cones,
spheres and tori are closed forms; splines are evaluated from the kernel's poles, weights and
knots, by the recurrence for the functions that are not zero (Piegl and Tiller, The NURBS Book,
2nd ed., 1997, algorithm A2.2), for many parameters at once. Whatever has neither is still asked
of the kernel, point by point.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.threads import one_thread

Floats = NDArray[np.float64]
Places: TypeAlias = Callable[[Floats], Floats]
"""Parameters (n, 2) of a surface or (n,) of a curve to places (n, 3), mm."""
Net: TypeAlias = tuple[Floats, tuple[Floats, Floats], tuple[int, int], tuple[float, float]]
"""Weighted poles with weights (rows, columns, 4), knots, degrees, periods of a spline surface."""

_AT_ONCE = 16384
# Of more than so many parameters on few lines of u and v, all crossings of those are worked out,
# if there are no more than so many for each.
_FEW = 500
_CROSSINGS = 4
# Of fewer shares a plain sum is quicker than a sparse table.
_FEW_SHARES = 20_000
# Parameters that differ by less than this share of their range are one.
_SAME = 2.0**-40


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
        return net_places(spline_net(surface.BSpline()))
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


def curve_ends(curve: Any) -> Floats:
    """Return the parameters (k + 1,) at which the spans of a `BRepAdaptor_Curve` end."""
    from OCP.GeomAbs import GeomAbs_Shape

    smooth = GeomAbs_Shape.GeomAbs_CN
    return span_ends(curve.NbIntervals, curve.Intervals, smooth)


def span_ends(count: Callable[[Any], int], intervals: Any, smooth: Any) -> Floats:
    """Return the ends (k + 1,) of an adaptor's intervals that are as smooth as asked."""
    from OCP.TColStd import TColStd_Array1OfReal

    many = count(smooth)
    ends = TColStd_Array1OfReal(1, many + 1)
    intervals(ends, smooth)
    return np.array([ends.Value(i) for i in range(1, many + 2)])


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


def spline_net(spline: Any) -> Net:
    """Return weighted poles with their weights (rows, columns, 4) of a `Geom_BSplineSurface`.

    Also its knots in u and v, each as often as it counts, its degrees, and its periods, 0 for none.
    """
    from OCP.Geom import Geom_BSplineSurface

    turns = (
        _period(spline.IsUPeriodic(), *spline.Bounds()[:2]),
        _period(spline.IsVPeriodic(), *spline.Bounds()[2:]),
    )
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
    net = np.c_[poles * weights[:, None], weights].reshape(rows, columns, 4)
    return net, (knots_u, knots_v), (spline.UDegree(), spline.VDegree()), turns


def net_places(surface: Net) -> Places:
    """Return what evaluates a spline surface."""
    net = surface[0].reshape(-1, 4)

    def places(uv: Floats) -> Floats:
        if len(uv) > _FEW:
            (u, of_u), (v, of_v) = _distinct(uv[:, 0]), _distinct(uv[:, 1])
            if len(u) * len(v) <= _CROSSINGS * len(uv):
                return places_at_crossings(surface, u, v)[of_u, of_v]
        found = _one_by_one(net, surface, uv)
        placed: Floats = found[:, :3] / found[:, 3:]
        return placed

    return places


def places_at_crossings(surface: Net, u: Floats, v: Floats) -> Floats:
    """Return the places (m, n, 3) where every line of u (m,) meets every one of v (n,)."""
    table, knots, degrees, turns = surface
    along, across = (
        _spread(*_basis(t, knots[way], degrees[way], turns[way]), table.shape[way])
        for way, t in enumerate((u, v))
    )
    with one_thread():
        lines = (along @ table.reshape(len(table), -1)).reshape(len(u), -1, 4)
        found: Floats = np.matmul(across, lines)
    placed: Floats = found[..., :3] / found[..., 3:]
    return placed


def places_on(nets: Floats, like: Net, uv: Floats, which: NDArray[np.intp]) -> Floats:
    """Return the places (n, 3) of parameters (n, 2), each on one (n,) of some spline surfaces.

    nets: (f, rows, columns, 4) as of `spline_net`, all else `like` one of them.
    """
    found = _one_by_one(nets.reshape(-1, 4), like, uv, which * (nets.shape[1] * nets.shape[2]))
    placed: Floats = found[:, :3] / found[:, 3:]
    return placed


def _one_by_one(
    net: Floats, like: Net, uv: Floats, shift: NDArray[np.intp] | None = None
) -> Floats:
    """Weighted places (n, 4) by a table of poles (k, 4), of each those from a shift (n,) on."""
    table, knots, degrees, turns = like
    columns = table.shape[1]
    steps = np.arange(degrees[0] + 1)[:, None] * columns + np.arange(degrees[1] + 1)
    found = np.empty((len(uv), 4))
    for start in range(0, len(uv), _AT_ONCE):
        here = slice(start, start + _AT_ONCE)
        row, along = _basis(uv[here, 0], knots[0], degrees[0], turns[0])
        column, across = _basis(uv[here, 1], knots[1], degrees[1], turns[1])
        shares = (along[:, None] * across).reshape(-1, len(row)).T
        first = row * columns + column
        if shift is not None:
            first += shift[here]
        found[here] = _weighted(shares, first[:, None] + steps.ravel(), net)
    return found


def curve_net(spline: Any) -> tuple[Floats, Floats, int, float]:
    """Return weighted poles with weights (n, 3 or 4) of a spline curve, flat ones 3.

    Also its knots, each as often as it counts, its degree, and its period, 0 for none.
    """
    turn = _period(spline.IsPeriodic(), spline.FirstParameter(), spline.LastParameter())
    if turn:
        spline = spline.Copy()
        spline.SetNotPeriodic()
    poles = poles_of(spline)
    weights = np.ones(len(poles))
    if spline.IsRational():
        weights = np.array([spline.Weight(i) for i in range(1, len(poles) + 1)])
    knots = _knots(spline.NbKnots(), spline.Knot, spline.Multiplicity)
    return np.c_[poles * weights[:, None], weights], knots, spline.Degree(), turn


def _spline_curve(spline: Any) -> Places:
    net, knots, degree, turn = curve_net(spline)

    def places(t: Floats) -> Floats:
        first, shares = _basis(t, knots, degree, turn)
        numbers = first[:, None] + np.arange(degree + 1)
        weighted = _weighted(shares.T, numbers, net)
        found: Floats = weighted[:, :-1] / weighted[:, -1:]
        return found

    return places


def _weighted(shares: Floats, numbers: NDArray[np.intp], net: Floats) -> Floats:
    """Sums (n, d) of the rows of a net (poles, d) with these numbers (n, k), by shares (n, k)."""
    from scipy.sparse import csr_array

    if shares.size <= _FEW_SHARES:
        few: Floats = np.einsum("nk,nkd->nd", shares, net[numbers])
        return few
    ends = np.arange(0, shares.size + 1, shares.shape[1])
    table = csr_array((shares.ravel(), numbers.ravel(), ends), shape=(len(shares), len(net)))
    found: Floats = table @ net
    return found


def _spread(first: NDArray[np.intp], shares: Floats, count: int) -> Floats:
    """Basis functions as a whole table (n, count)."""
    table, rows = np.zeros((len(first), count)), np.arange(len(first))
    for i, share in enumerate(shares):
        table[rows, first + i] = share
    return table


def _distinct(t: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """The distinct parameters (k,) among some (n,), and which of them each is."""
    low, high = float(t.min()), float(t.max())
    steps = np.rint((t - low) / max(_SAME * (high - low), np.finfo(float).tiny))
    _, first, which = np.unique(steps, return_index=True, return_inverse=True)
    return t[first], which.reshape(-1)


def _period(periodic: bool, first: float, last: float) -> float:
    return float(last - first) if periodic else 0.0


def _knots(count: int, knot: Callable[[int], float], repeats: Callable[[int], int]) -> Floats:
    """Knots, each as often as it counts."""
    numbers = range(1, count + 1)
    return np.repeat([knot(i) for i in numbers], [repeats(i) for i in numbers])


def _basis(t: Floats, knots: Floats, degree: int, turn: float) -> tuple[NDArray[np.intp], Floats]:
    """The basis functions that are not zero at parameters (n,), kept to the knots' range.

    The number (n,) of the first of them, and the values (k, n) of it and of those that follow.
    """
    low, high = knots[degree], knots[-degree - 1]
    if turn:
        outside = (t < low) | (t > high)
        t = np.where(outside, low + np.mod(t - low, turn), t)
    t = np.clip(t, low, high)
    span = np.searchsorted(knots, t, side="right") - 1
    # The last parameter belongs to the last span that has a length.
    last = int(np.searchsorted(knots, high, side="left")) - 1
    span = np.clip(span, degree, last)
    each = np.arange(degree)[:, None]
    before, beyond = t - knots[span - each], knots[span + each + 1] - t
    values = np.ones((1, len(t)))
    for order in range(degree):
        back, ahead = before[order::-1], beyond[: order + 1]
        shares = values / (ahead + back)
        values = np.zeros((order + 2, len(t)))
        values[:-1] = ahead * shares
        values[1:] += back * shares
    return span - degree, values
