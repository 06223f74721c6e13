"""Meshes of the kernel's faces as they are read, and how far the faces are from them.

Errors are bounds where these are close, of simple faces and of splines without weights; else they
are sampled, with a margin.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.bends import simple_bounds
from noseroom.geometry.charts import Chart, Rim, evaluator, flat_curve, is_plane
from noseroom.geometry.chord_errors import SAMPLING_FACTOR, inner_errors, rim_error
from noseroom.geometry.chords import Chords, chord_errors, chords_of
from noseroom.geometry.kernel import sub_shapes
from noseroom.geometry.spans import Spans, spans_of
from noseroom.geometry.surfaces import Places, axes_of
from noseroom.geometry.triangulations import Triangulation, triangulations

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# Below this an error is the rounding of the surface evaluation, not a chord.
_EXACT_MM = 1e-9
# Areas of parameters that differ by less than this share are the same.
_ALIKE = 1e-9
# A bound that is so many times what was asked is no better than samples.
_LOOSE = 2.0


@dataclass(frozen=True, eq=False)
class Grid:
    """Lines of parameters (rows,) and (columns,) whose crossings are the nodes, row by row.

    other: (rows - 1, columns - 1) whether a cell is parted from its second row to its second
    column. Its two triangles follow one another.
    """

    lines: tuple[Floats, Floats]
    other: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Reading:
    """A mesh of one face, its errors yet to be measured: arrays as in `Chart`.

    surface: the face's `BRepAdaptor_Surface`. rim_mm: error of the chords of the rims.
    claimed_mm: what the mesher says of its deflection. spans: of a free-form surface.
    errors: (m,) as `Spans.errors` gives them, where these are close. hidden: else numbers (k,) of
    the triangles with room for more than their own samples show, and their errors (k,); None where
    there are none. off_mm: how far a node is from the surface at most, if it is known. grid: of a
    mesh that is one.
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
    errors: tuple[Floats, Floats] | None = None
    off_mm: float | None = None
    grid: Grid | None = None

    @cached_property
    def places(self) -> Places:
        """What evaluates the surface."""
        return evaluator(self.surface, self.spans)


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

    def learn(self, rims: list[tuple[Rim, Floats]], enough_mm: float) -> None:
        """Work out many rims, on nodes (n, 3), at once: those whose bound is enough."""
        from OCP.BRepAdaptor import BRepAdaptor_Curve
        from OCP.GeomAbs import GeomAbs_CurveType

        found: dict[int, Chords] = {}
        for rim, nodes in rims:
            number = int(self._numbers.FindIndex(rim.edge))
            if number in self._known or number in found:
                continue
            curve = BRepAdaptor_Curve(rim.edge)
            if curve.GetType() == GeomAbs_CurveType.GeomAbs_BSplineCurve:
                chords = chords_of(curve, rim.at, nodes[rim.nodes])
                if chords is not None:
                    found[number] = chords
        for number, error in zip(found, chord_errors(list(found.values())), strict=True):
            if error <= enough_mm:
                self._known[number] = float(error)


def read(faces: list[Any], rim_errors: RimErrors, asked_mm: float = 0.0) -> list[Reading]:
    """Read the triangulations that faces carry, in order; asked_mm: what their errors should be.

    Raises:
        GeometryError: a face carries no triangles, or no parameters to check them by.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    meshes = triangulations(faces)
    rims = [
        tuple(_rims(face, mesh.kernels, mesh.where))
        for face, mesh in zip(faces, meshes, strict=True)
    ]
    pairs = zip(rims, meshes, strict=True)
    rim_errors.learn([(rim, mesh.nodes) for own, mesh in pairs for rim in own], asked_mm)
    found = []
    for face, mesh, own in zip(faces, meshes, rims, strict=True):
        surface, nodes = BRepAdaptor_Surface(face), mesh.nodes
        rim_mm = max((rim_errors.of(rim, nodes) for rim in own), default=0.0)
        uv = _parameters(surface, mesh)
        arrays = nodes, uv, mesh.triangles
        spans = spans_of(surface)
        found.append(Reading(face, surface, *arrays, own, rim_mm, mesh.claimed_mm, spans))
    return found


def measured(mesh: Reading, asked_mm: float = 0.0) -> Chart:
    """Return the chart of a mesh of a face, with its errors; asked_mm: what they should be."""
    error, deflection, each = _inner(mesh, asked_mm)
    if max(error, mesh.rim_mm) <= _EXACT_MM:
        error = deflection = 0.0
    else:
        error, deflection = max(error, mesh.rim_mm), max(deflection, mesh.rim_mm)
    # Where the rim is no line of parameters, the face reaches past its triangles.
    each = np.where(_at_rims(mesh), error, np.minimum(each, error))
    arrays = mesh.nodes, mesh.uv, mesh.triangles
    return Chart(mesh.face, *arrays, mesh.rims, error, deflection, each, mesh.spans)


def _at_rims(mesh: Reading) -> NDArray[np.bool_]:
    """Which triangles (m,) may have a side on a rim."""
    if not mesh.rims:
        return np.zeros(len(mesh.triangles), dtype=bool)
    on = np.zeros(len(mesh.nodes), dtype=bool)
    on[np.concatenate([rim.nodes for rim in mesh.rims])] = True
    found: NDArray[np.bool_] = on[mesh.triangles].sum(axis=1) > 1
    return found


def _inner(mesh: Reading, asked_mm: float) -> tuple[float, float, Floats]:
    """Errors, mm, of a face's own triangles, of the nearest, and of each: all but the rims'."""
    if is_plane(mesh.surface):
        most = mesh.claimed_mm if max(mesh.rim_mm, mesh.claimed_mm) > _EXACT_MM else 0.0
        return most, most, np.zeros(len(mesh.triangles))
    bounds = _bounds(mesh, asked_mm)
    if bounds is not None:
        return float(bounds[0].max()), float(bounds[1].max()), bounds[0]
    own, near, each = inner_errors(
        mesh.places, mesh.nodes, mesh.uv, mesh.triangles, mesh.claimed_mm
    )
    own, near = (max(SAMPLING_FACTOR * one, mesh.claimed_mm) for one in (own, near))
    each *= SAMPLING_FACTOR
    if mesh.hidden is not None:
        hidden, same, nearest = mesh.hidden
        each[hidden] = np.maximum(each[hidden], same)
        most = float(nearest.max())
        own, near = max(own, most), max(near, most)
    return own, near, each


def _bounds(mesh: Reading, asked_mm: float) -> tuple[Floats, Floats] | None:
    """What each triangle (m,) surely leaves, and what the nearest does; None if it is not close."""
    simple = mesh.errors is None
    bounds = simple_bounds(mesh.surface, mesh.uv[mesh.triangles]) if simple else mesh.errors
    if bounds is None:
        return None
    off = mesh.off_mm
    if off is None:
        off = float(np.linalg.norm(mesh.places(mesh.uv) - mesh.nodes, axis=1).max())
    same, near = (one + off for one in bounds)
    if mesh.rims:
        # Between the chords of a rim that is no line and the rim no corners are to go by.
        factor = np.where(_at_rims(mesh), SAMPLING_FACTOR, 1.0)
        same, near = factor * same, factor * near
    if simple and bounds[0] is not bounds[1] and not _square(mesh):
        near = same
    if simple and not is_cylinder(mesh.surface) and near.max() > _LOOSE * asked_mm:
        return None
    return same, near


def is_flat(face: Any) -> bool:
    """Whether a face is flat."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    return is_plane(BRepAdaptor_Surface(face))


def _square(mesh: Reading) -> bool:
    """Whether the triangles fill a rectangle of parameters, so that its border is all lines."""
    if mesh.rims:
        return False
    first, second, third = mesh.uv[mesh.triangles.T]
    (a, b), (c, d) = (second - first).T, (third - first).T
    filled, whole = float(np.abs(a * d - b * c).sum() / 2), float(np.ptp(mesh.uv, axis=0).prod())
    return abs(filled - whole) <= _ALIKE * whole


def is_cylinder(surface: Any) -> bool:
    """Whether a `BRepAdaptor_Surface` is a cylinder."""
    from OCP.GeomAbs import GeomAbs_SurfaceType

    return bool(surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Cylinder)


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
        if isinstance(flat_curve(face, edge), Geom2d_Line):
            continue
        if not polygon.HasParameters():
            raise GeometryError("the mesher gave no edge parameters to check its mesh by")
        count = range(1, polygon.NbNodes() + 1)
        nodes = np.array([polygon.Node(i) - 1 for i in count], dtype=np.intp)
        found.append(Rim(edge, nodes, np.array([polygon.Parameter(i) for i in count])))
    return found
