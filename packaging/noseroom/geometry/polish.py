"""From a pair of points near a least distance of two faces to the least distance itself.

The kernel's own searches stop up to 1e-4 mm short on tori and free-form faces. Newton's method on
the kernel's surfaces and edges, started from what it found (or from the nearest points of the
meshes), ends at rounding. It moves points within their face or edge only, so that what it returns
is the distance of two points that are really there: never less than the true distance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import from_kernel

Floats = NDArray[np.float64]
Jet: TypeAlias = tuple[Floats, Floats, Floats]
"""Place (3,), first derivatives (k, 3) and second ones (k, k, 3) by k parameters."""

_MOST_STEPS = 15
_DONE = 1e-11
_HALVINGS = 8
_ON_FACE = 1e-7


@dataclass(frozen=True, eq=False)
class Foot:
    """Where a nearest point stands: within a face, on an edge of it or on a vertex.

    at: (k,) its parameters, 2, 1 or 0. jet: what is there. holds: whether parameters are still
    on the face or the edge.
    """

    at: Floats
    jet: Callable[[Floats], Jet]
    holds: Callable[[Floats], bool]


def feet(extrema: Any, number: int = 1) -> tuple[Foot, Foot]:
    """Return where the points of one of the solutions of a `BRepExtrema_DistShapeShape` stand."""
    return _foot(extrema, number, 1), _foot(extrema, number, 2)


def fixed_foot(point: Floats) -> Foot:
    """Return a foot that stays at a point (3,)."""
    jet = point, np.zeros((0, 3)), np.zeros((0, 0, 3))
    return Foot(np.zeros(0), lambda _: jet, lambda _: True)


def polished(a: Foot, b: Foot) -> tuple[float, Floats]:
    """Return the least distance (mm) that descent from two feet reaches, and its points (2, 3)."""
    split = len(a.at)
    x = np.concatenate([a.at, b.at])
    jet_a, jet_b = a.jet(a.at), b.jet(b.at)
    value = float(np.linalg.norm(jet_a[0] - jet_b[0]))
    for _ in range(_MOST_STEPS if len(x) else 0):
        step, slope = _newton(jet_a, jet_b)
        for halving in range(_HALVINGS):
            tried = x + step / 2**halving
            if not (a.holds(tried[:split]) and b.holds(tried[split:])):
                continue
            new_a, new_b = a.jet(tried[:split]), b.jet(tried[split:])
            length = float(np.linalg.norm(new_a[0] - new_b[0]))
            if length < value:
                break
        else:
            break
        gained, value, x, jet_a, jet_b = value - length, length, tried, new_a, new_b
        if gained < _DONE * (1 + value) and slope < _DONE:
            break
    return value, np.stack([jet_a[0], jet_b[0]])


def _newton(jet_a: Jet, jet_b: Jet) -> tuple[Floats, float]:
    """The step (k,) towards the least of half the squared distance, and what it promises."""
    (p, dp, ddp), (q, dq, ddq) = jet_a, jet_b
    apart, m, n = p - q, len(dp), len(dq)
    slope = np.concatenate([dp @ apart, -dq @ apart])
    bend = np.zeros((m + n, m + n))
    bend[:m, :m] = dp @ dp.T + ddp @ apart
    bend[m:, m:] = dq @ dq.T - ddq @ apart
    bend[:m, m:] = -dp @ dq.T
    bend[m:, :m] = bend[:m, m:].T
    # Angles and lengths side by side: scaled, so that each moves its point by about the same.
    scale = np.maximum(np.linalg.norm(np.concatenate([dp, dq]), axis=1), 1e-12)
    values, ways = np.linalg.eigh(bend / np.outer(scale, scale))
    along = ways.T @ (slope / scale)
    size = np.abs(values)
    # Along a valley (two parallel cylinders) there is nothing to gain and no way to go.
    use = size > 1e-10 * max(size.max(), 1e-300)
    step = np.where(use, -along / np.where(use, size, 1.0), 0.0)
    return ways @ step / scale, float(np.abs(along @ step))


def _foot(extrema: Any, number: int, side: int) -> Foot:
    from OCP.BRepExtrema import BRepExtrema_SupportType as Support

    kind = getattr(extrema, f"SupportTypeShape{side}")(number)
    shape = getattr(extrema, f"SupportOnShape{side}")(number)
    if kind == Support.BRepExtrema_IsInFace:
        u, v = getattr(extrema, f"ParOnFaceS{side}")(number)
        return _on_face(shape, float(u), float(v))
    if kind == Support.BRepExtrema_IsOnEdge:
        (t,) = np.ravel(getattr(extrema, f"ParOnEdgeS{side}")(number))
        return _on_edge(shape, float(t))
    return fixed_foot(np.array(getattr(extrema, f"PointOnShape{side}")(number).Coord()))


def _on_face(face: Any, u: float, v: float) -> Foot:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
    from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec
    from OCP.TopAbs import TopAbs_State
    from OCP.TopoDS import TopoDS

    narrow = TopoDS.Face_s(face)
    surface = BRepAdaptor_Surface(narrow)
    classes = BRepTopAdaptor_FClass2d(narrow, _ON_FACE)

    def jet(at: Floats) -> Jet:
        place, du, dv, duu, dvv, duv = gp_Pnt(), *(gp_Vec() for _ in range(5))
        surface.D2(float(at[0]), float(at[1]), place, du, dv, duu, dvv, duv)
        cross = duv.Coord()
        second = np.array([[duu.Coord(), cross], [cross, dvv.Coord()]])
        return np.array(place.Coord()), np.array([du.Coord(), dv.Coord()]), second

    def holds(at: Floats) -> bool:
        state = classes.Perform(gp_Pnt2d(float(at[0]), float(at[1])), True)
        return bool(state in (TopAbs_State.TopAbs_IN, TopAbs_State.TopAbs_ON))

    return Foot(np.array([u, v]), jet, holds)


def _on_edge(edge: Any, t: float) -> Foot:
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopoDS import TopoDS

    curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
    first, last = float(curve.FirstParameter()), float(curve.LastParameter())

    def jet(at: Floats) -> Jet:
        place, d1, d2 = gp_Pnt(), gp_Vec(), gp_Vec()
        curve.D2(float(at[0]), place, d1, d2)
        return np.array(place.Coord()), np.array([d1.Coord()]), np.array([[d2.Coord()]])

    return Foot(np.array([t]), jet, lambda at: bool(first <= at[0] <= last))


def polished_from(extrema: Any) -> tuple[float, Floats] | None:
    """Return what `polished` makes of the first few solutions, None where the kernel fails."""
    best: tuple[float, Floats] | None = None
    try:
        for number in range(1, min(3, extrema.NbSolution()) + 1):
            found = polished(*feet(extrema, number))
            if best is None or found[0] < best[0]:
                best = found
    except Exception as error:
        if not from_kernel(error):
            raise
    return best
