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
from noseroom.geometry.chord_errors import SAMPLING_FACTOR, inner_errors, rim_error
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.surfaces import (
    Places,
    axes_of,
    flat_curve_places,
    surface_places,
)

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
    triangle. deflection_mm: none is further than this from the nearest of them.
    """

    face: Any
    nodes: Floats
    uv: Floats
    triangles: Ints
    rims: tuple[Rim, ...]
    error_mm: float
    deflection_mm: float

    @cached_property
    def _surface(self) -> Any:
        from OCP.BRepAdaptor import BRepAdaptor_Surface

        return BRepAdaptor_Surface(self.face)

    @cached_property
    def plane(self) -> bool:
        """Whether the face is flat."""
        return is_plane(self._surface)

    @cached_property
    def places(self) -> Places:
        """What evaluates the face's surface."""
        return surface_places(self._surface)

    @cached_property
    def _segments(self) -> tuple[Floats, NDArray[np.intp], Floats]:
        """Numbers (s,) of the chords of the rims, in order, their rim, and parameters (s, 2)."""
        parts = [(np.zeros(0), np.zeros(0, dtype=np.intp), np.zeros((0, 2)))]
        for number, rim in enumerate(self.rims):
            if self.rim_curve(number) is None:
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

    @cached_property
    def errors_mm(self) -> Floats:
        """How far each triangle (m,) may be from the patch of surface it stands for."""
        errors = np.full(len(self.triangles), self.error_mm)
        if self.plane:
            # Away from the rim the triangles of a plane are the plane.
            errors[(self.on_rims(self.triangles)[0] < 0).all(axis=1)] = 0.0
        return errors

    @cached_property
    def _rim_curves(self) -> dict[int, Places | None]:
        return {}

    def rim_curve(self, number: int) -> Places | None:
        """Return what gives a rim's surface parameters (n, 2) by its own (n,).

        None where the rim is a straight line of parameters.
        """
        if number not in self._rim_curves:
            self._rim_curves[number] = _in_parameters(self.face, self.rims[number].edge)
        return self._rim_curves[number]


@dataclass(frozen=True, eq=False)
class Reading:
    """A mesh of one face, its errors yet to be measured: arrays as in `Chart`.

    surface: the face's `BRepAdaptor_Surface`. rim_mm: sampled error of the chords of the rims.
    claimed_mm: what the mesher says of its deflection.
    """

    face: Any
    surface: Any
    nodes: Floats
    uv: Floats
    triangles: Ints
    rims: tuple[Rim, ...]
    rim_mm: float
    claimed_mm: float


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
        """Largest sampled distance from an edge to its chords, mm."""
        number = int(self._numbers.FindIndex(rim.edge))
        if number not in self._known:
            self._known[number] = rim_error(rim.edge, rim.at, nodes[rim.nodes])
        return self._known[number]


def read(face: Any, rim_errors: RimErrors) -> Reading:
    """Read the triangulation that a face carries.

    Raises:
        GeometryError: the face carries no triangles, or no parameters to check them by.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.TopLoc import TopLoc_Location

    where = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, where)
    if mesh is None or mesh.NbTriangles() == 0:
        raise GeometryError("the mesher left a face without triangles; is the solid valid?")
    node = mesh.Node
    nodes = _placed(np.array([node(i).Coord() for i in range(1, mesh.NbNodes() + 1)]), where)
    triangle = mesh.Triangle
    triangles = np.array(
        [triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int32
    )
    triangles -= 1
    surface = BRepAdaptor_Surface(face)
    uv = _parameters(surface, mesh, nodes)
    rims = tuple(_rims(face, mesh, where))
    rim_mm = max((rim_errors.of(rim, nodes) for rim in rims), default=0.0)
    return Reading(face, surface, nodes, uv, triangles, rims, rim_mm, float(mesh.Deflection()))


def measured(mesh: Reading) -> Chart:
    """Return the chart of a mesh of a face, with its errors."""
    own = near = mesh.rim_mm
    if not is_plane(mesh.surface):
        places = surface_places(mesh.surface)
        inner = inner_errors(places, mesh.nodes, mesh.uv, mesh.triangles, mesh.claimed_mm)
        own, near = max(own, inner[0]), max(near, inner[1])
    if max(own, mesh.claimed_mm) <= _EXACT_MM:
        error = deflection = 0.0
    else:
        error = max(SAMPLING_FACTOR * own, mesh.claimed_mm)
        deflection = max(SAMPLING_FACTOR * near, mesh.claimed_mm)
    return Chart(mesh.face, mesh.nodes, mesh.uv, mesh.triangles, mesh.rims, error, deflection)


def _in_parameters(face: Any, edge: Any) -> Places | None:
    from OCP.BRep import BRep_Tool
    from OCP.Geom2d import Geom2d_Line

    curve = BRep_Tool.CurveOnSurface_s(edge, face, *BRep_Tool.Range_s(edge))
    if curve is None or isinstance(curve, Geom2d_Line):
        return None
    return flat_curve_places(curve)


def is_flat(face: Any) -> bool:
    """Whether a face is flat."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    return is_plane(BRepAdaptor_Surface(face))


def is_plane(surface: Any) -> bool:
    """Whether a `BRepAdaptor_Surface` is flat."""
    from OCP.GeomAbs import GeomAbs_SurfaceType

    return bool(surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane)


def _placed(nodes: Floats, where: Any) -> Floats:
    if where.IsIdentity():
        return nodes
    trsf = where.Transformation()
    matrix = np.array([[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    placed: Floats = nodes @ matrix[:, :3].T + matrix[:, 3]
    return placed


def _parameters(surface: Any, mesh: Any, nodes: Floats) -> Floats:
    if is_plane(surface):
        place, x, y, _ = axes_of(surface.Plane().Position())
        flat: Floats = (nodes - place) @ np.stack([x, y], axis=1)
        return flat
    if not mesh.HasUVNodes():
        raise GeometryError("the mesher gave no surface parameters to check its mesh by")
    node = mesh.UVNode
    return np.array([node(i).Coord() for i in range(1, mesh.NbNodes() + 1)])


def _rims(face: Any, mesh: Any, where: Any) -> list[Rim]:
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType

    found = []
    for edge in sub_shapes(face, "EDGE"):
        polygon = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, where)
        if polygon is None or BRep_Tool.Degenerated_s(edge):
            continue
        if BRepAdaptor_Curve(edge).GetType() == GeomAbs_CurveType.GeomAbs_Line:
            continue
        if not polygon.HasParameters():
            raise GeometryError("the mesher gave no edge parameters to check its mesh by")
        count = range(1, polygon.NbNodes() + 1)
        nodes = np.array([polygon.Node(i) - 1 for i in count], dtype=np.intp)
        found.append(Rim(edge, nodes, np.array([polygon.Parameter(i) for i in count])))
    return found
