"""Triangulated faces of the kernel's, with their parameters and their measured chord errors.

A chart is what a bound needs to know of a face: where its triangles' corners are on it, which of
their sides lie on its edges, and how far it may be from them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.chord_errors import SAMPLING_FACTOR, cylinder_errors, inner_errors, rim_error
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.spans import Spans, spans_of
from noseroom.geometry.surfaces import (
    Places,
    axes_of,
    flat_curve_places,
    surface_places,
)
from noseroom.geometry.triangulations import Triangulation, triangulations

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# Below this an error is the rounding of the surface evaluation, not a chord.
_EXACT_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Rim:
    """An edge of a face: the chart's nodes (k,) along it and their parameters (k,) on its curve."""

    edge: Any
    nodes: NDArray[np.intp]
    at: Floats


@dataclass(frozen=True, eq=False)
class Chart:
    """One meshed face: nodes (n, 3) mm, their parameters (n, 2), triangles (m, 3).

    rims: its edges, but for straight ones and those that are lines of parameters. error_mm: no
    point of the surface between the parameters of a triangle is further than this from that
    triangle. deflection_mm: none is further than this from the nearest of them. own_mm: (m,) what
    each triangle alone leaves, between the straight lines of parameters of its corners. spans: of
    a free-form face.
    """

    face: Any
    nodes: Floats
    uv: Floats
    triangles: Ints
    rims: tuple[Rim, ...]
    error_mm: float
    deflection_mm: float
    own_mm: Floats
    spans: Spans | None = None

    @cached_property
    def _surface(self) -> Any:
        from OCP.BRepAdaptor import BRepAdaptor_Surface

        return BRepAdaptor_Surface(self.face)

    @cached_property
    def plane(self) -> bool:
        """Whether the face is flat."""
        return is_plane(self._surface)

    @cached_property
    def simple(self) -> bool:
        """Whether the face is of a kind that the kernel is quick to measure to its like."""
        from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

        quick = Kind.GeomAbs_Cylinder, Kind.GeomAbs_Cone, Kind.GeomAbs_Sphere
        return self.plane or self._surface.GetType() in quick

    @cached_property
    def places(self) -> Places:
        """What evaluates the face's surface."""
        return surface_places(self._surface)

    @cached_property
    def _segments(self) -> tuple[Floats, NDArray[np.intp], Floats]:
        """Numbers (s,) of the chords of the rims, in order, their rim, and parameters (s, 2)."""
        parts = [(np.zeros(0), np.zeros(0, dtype=np.intp), np.zeros((0, 2)))]
        for number, rim in enumerate(self.rims):
            if _flat_curve(self.face, rim.edge) is None:
                continue
            ends = np.stack([rim.nodes[:-1], rim.nodes[1:]], axis=1)
            at = np.stack([rim.at[:-1], rim.at[1:]], axis=1)
            back = ends[:, 0] > ends[:, 1]
            at[back] = at[back, ::-1]
            parts.append((self._side_number(ends), np.full(len(at), number), at))
        sides, numbers, at = (np.concatenate(part) for part in zip(*parts, strict=True))
        order = np.argsort(sides, kind="stable")
        return sides[order], numbers[order], at[order]

    def _side_number(self, ends: NDArray[np.integer[Any]]) -> Floats:
        """One number for the two nodes (..., 2) of a side, whichever comes first."""
        number: Floats = ends.min(axis=-1) * float(len(self.nodes)) + ends.max(axis=-1)
        return number

    def on_rims(self, triangles: Ints) -> tuple[NDArray[np.intp], Floats]:
        """Return on which rim the sides (k, 3) of triangles (k, 3) lie, and their parameters.

        -1 for none, and for rims that are lines of parameters; (k, 3, 2) from each corner to the
        next.
        """
        sides, numbers, at = self._segments
        rim, ends = np.full(triangles.shape, -1), np.zeros((*triangles.shape, 2))
        if not len(sides):
            return rim, ends
        pairs = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1)
        wanted = self._side_number(pairs)
        place = np.minimum(np.searchsorted(sides, wanted), len(sides) - 1)
        found = sides[place] == wanted
        rim[found] = numbers[place[found]]
        back = pairs[..., 0] > pairs[..., 1]
        ends = np.where(back[..., None], at[place][..., ::-1], at[place])
        return rim, ends

    def errors_mm(self, some: NDArray[np.integer[Any]]) -> Floats:
        """How far some triangles (k,) may be from the patch of surface they stand for."""
        # Where the rim is no line of parameters, the face reaches past its triangles.
        inside = (self.on_rims(self.triangles[some])[0] < 0).all(axis=1)
        own = np.minimum(self.own_mm[some], self.error_mm)
        errors: Floats = np.where(inside, own, self.error_mm)
        return errors

    @cached_property
    def _rim_curves(self) -> dict[int, Places | None]:
        return {}

    def rim_curve(self, number: int) -> Places | None:
        """Return what gives a rim's surface parameters (n, 2) by its own (n,).

        None where the kernel has no such curve.
        """
        if number not in self._rim_curves:
            curve = _flat_curve(self.face, self.rims[number].edge)
            self._rim_curves[number] = None if curve is None else flat_curve_places(curve)
        return self._rim_curves[number]


@dataclass(frozen=True, eq=False)
class Reading:
    """A mesh of one face, its errors yet to be measured: arrays as in `Chart`.

    surface: the face's `BRepAdaptor_Surface`. rim_mm: error of the chords of the rims.
    claimed_mm: what the mesher says of its deflection. spans: of a free-form surface.
    hidden: numbers (k,) of the triangles with room for more than their own samples show, and
    their errors (k,) as `Spans.errors` gives them; None where there are none.
    """

    face: Any
    surface: Any
    nodes: Floats
    uv: Floats
    triangles: Ints
    rims: tuple[Rim, ...]
    rim_mm: float
    claimed_mm: float
    spans: Spans | None
    hidden: tuple[NDArray[np.intp], Floats, Floats] | None = None


class RimErrors:
    """The chord errors of the edges of a meshed shape, each worked out once for all its faces."""

    def __init__(self, shape: Any) -> None:
        from OCP.TopAbs import TopAbs_ShapeEnum
        from OCP.TopExp import TopExp
        from OCP.TopTools import TopTools_IndexedMapOfShape

        self._numbers = TopTools_IndexedMapOfShape()
        TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_EDGE, self._numbers)
        self._known: dict[int, float] = {}

    def of(self, rim: Rim, nodes: Floats) -> float:
        """How far an edge is at most from its chords, mm."""
        number = int(self._numbers.FindIndex(rim.edge))
        if number not in self._known:
            self._known[number] = rim_error(rim.edge, rim.at, nodes[rim.nodes])
        return self._known[number]


def read(faces: list[Any], rim_errors: RimErrors) -> list[Reading]:
    """Read the triangulations that faces carry, in order.

    Raises:
        GeometryError: a face carries no triangles, or no parameters to check them by.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    found = []
    for face, mesh in zip(faces, triangulations(faces), strict=True):
        surface, nodes = BRepAdaptor_Surface(face), mesh.nodes
        rims = tuple(_rims(face, mesh.kernels, mesh.where))
        rim_mm = max((rim_errors.of(rim, nodes) for rim in rims), default=0.0)
        uv = _parameters(surface, mesh)
        arrays = nodes, uv, mesh.triangles
        spans = spans_of(surface)
        found.append(Reading(face, surface, *arrays, rims, rim_mm, mesh.claimed_mm, spans))
    return found


def measured(mesh: Reading) -> Chart:
    """Return the chart of a mesh of a face, with its errors."""
    error, deflection, each = _inner(mesh)
    if max(error, mesh.rim_mm) <= _EXACT_MM:
        error = deflection = 0.0
    else:
        error, deflection = max(error, mesh.rim_mm), max(deflection, mesh.rim_mm)
    arrays = mesh.nodes, mesh.uv, mesh.triangles
    return Chart(mesh.face, *arrays, mesh.rims, error, deflection, each, mesh.spans)


def _inner(mesh: Reading) -> tuple[float, float, Floats]:
    """Errors, mm, of a face's own triangles, of the nearest, and of each: all but the rims'."""
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    if is_plane(mesh.surface):
        most = mesh.claimed_mm if max(mesh.rim_mm, mesh.claimed_mm) > _EXACT_MM else 0.0
        return most, most, np.zeros(len(mesh.triangles))
    arrays = surface_places(mesh.surface), mesh.nodes, mesh.uv, mesh.triangles
    if mesh.surface.GetType() == Kind.GeomAbs_Cylinder:
        each = cylinder_errors(mesh.surface.Cylinder().Radius(), *arrays)
        if mesh.rims:
            # Between the chords of a rim that is no line and the rim no corners are to go by.
            each = SAMPLING_FACTOR * each
        most = float(each.max())
        return most, most, each
    own, near, each = inner_errors(*arrays, mesh.claimed_mm)
    own, near = (max(SAMPLING_FACTOR * one, mesh.claimed_mm) for one in (own, near))
    each *= SAMPLING_FACTOR
    if mesh.hidden is not None:
        hidden, same, nearest = mesh.hidden
        each[hidden] = np.maximum(each[hidden], same)
        most = float(nearest.max())
        own, near = max(own, most), max(near, most)
    return own, near, each


def _flat_curve(face: Any, edge: Any) -> Any | None:
    """An edge's curve in the parameters of a face; None where the kernel has none."""
    from OCP.BRep import BRep_Tool

    return BRep_Tool.CurveOnSurface_s(edge, face, *BRep_Tool.Range_s(edge))


def is_flat(face: Any) -> bool:
    """Whether a face is flat."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    return is_plane(BRepAdaptor_Surface(face))


def is_plane(surface: Any) -> bool:
    """Whether a `BRepAdaptor_Surface` is flat."""
    from OCP.GeomAbs import GeomAbs_SurfaceType

    return bool(surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane)


def _parameters(surface: Any, mesh: Triangulation) -> Floats:
    if is_plane(surface):
        place, x, y, _ = axes_of(surface.Plane().Position())
        flat: Floats = (mesh.nodes - place) @ np.stack([x, y], axis=1)
        return flat
    if mesh.uv is None:
        raise GeometryError("the mesher gave no surface parameters to check its mesh by")
    return mesh.uv


def _rims(face: Any, mesh: Any, where: Any) -> list[Rim]:
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.Geom2d import Geom2d_Line
    from OCP.GeomAbs import GeomAbs_CurveType

    found = []
    for edge in sub_shapes(face, "EDGE"):
        polygon = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, where)
        if polygon is None or BRep_Tool.Degenerated_s(edge):
            continue
        if BRepAdaptor_Curve(edge).GetType() == GeomAbs_CurveType.GeomAbs_Line:
            continue
        if isinstance(_flat_curve(face, edge), Geom2d_Line):
            continue
        if not polygon.HasParameters():
            raise GeometryError("the mesher gave no edge parameters to check its mesh by")
        count = range(1, polygon.NbNodes() + 1)
        nodes = np.array([polygon.Node(i) - 1 for i in count], dtype=np.intp)
        found.append(Rim(edge, nodes, np.array([polygon.Parameter(i) for i in count])))
    return found
