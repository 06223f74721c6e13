"""B-rep solids to closed triangle meshes, with the chord error that was really delivered.

The mesher is asked for an absolute chord, on a clean copy; `chord_errors` measures what it did.
Free-form faces between parameter lines get a regular grid, which takes it a tenth of the time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.charts import Chart
from noseroom.geometry.chord_errors import SAMPLING_FACTOR
from noseroom.geometry.face_meshes import RimErrors, is_flat, measured, read
from noseroom.geometry.grids import could_be_grid, gridded
from noseroom.geometry.kernel import clean_copy, sub_shapes
from noseroom.geometry.splits import split_all
from noseroom.tolerances import Tolerances

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# Nodes of neighbouring faces come from one edge curve, but not always bit for bit.
_WELD_MM = 1e-6
# What is surely missed may be this many times what was asked; samples would show less.
_CLOSE = 1.35
# A mesh that is this many times further off than asked is made again.
_FAR = 2.0
# A deflection, mm, and an angle, rad, that no face needs nodes inside for.
_NOTHING_INSIDE = (100.0, 3.0)


@dataclass(frozen=True)
class Tessellation:
    """Raw result: arrays as in `Mesh`, and what the kernel called them.

    solid_of: (m,) the solid of each triangle, -1 for none. solids: the kernel's own, free of
    triangulation. charts: one for each face. chart_triangle: (m,) the number of each triangle
    in its face's chart. closed: whether the mesh is.
    """

    vertices: Floats
    triangles: Ints
    face_of: Ints
    solid_of: Ints
    deflection_mm: Floats
    solids: tuple[Any, ...]
    charts: tuple[Chart, ...]
    chart_triangle: Ints
    closed: bool

    @property
    def faces(self) -> tuple[Any, ...]:
        """The kernel's faces, free of triangulation."""
        return tuple(chart.face for chart in self.charts)


def tessellate(shape: cq.Shape, tolerances: Tolerances) -> Tessellation:
    """Mesh every face of a shape, welded within each solid, normals outward.

    The result depends on the shape and the tolerances only, not on what was meshed before.

    Raises:
        GeometryError: the shape is empty, or the mesher left a face without triangles.
    """
    # The kernel's second way to part a face is quicker, and now and then leaves a gap or a face.
    try:
        quick = _tessellated(shape, tolerances, quick=True)
    except GeometryError:
        quick = None
    if quick is not None and quick.closed:
        return quick
    return _tessellated(shape, tolerances, quick=False)


def _tessellated(shape: cq.Shape, tolerances: Tolerances, *, quick: bool) -> Tessellation:
    from OCP.BRepTools import BRepTools

    copy = clean_copy(shape)
    solids = sub_shapes(copy, "SOLID")
    # A face shared by two solids counts once for each, turned the right way for each.
    groups = [(index, sub_shapes(solid, "FACE")) for index, solid in enumerate(solids)]
    groups.append((-1, _loose_faces(copy, solids)))
    groups = [(index, members) for index, members in groups if members]
    if not groups:
        raise GeometryError("the shape has no faces: there is nothing to measure")
    if quick and groups[-1][0] < 0:
        raise GeometryError("nothing tells whether a mesh of loose faces has gaps")
    faces = [face for _, members in groups for face in members]
    charts = iter(_charts(copy, faces, tolerances, quick=quick))
    pieces = [_join([next(charts) for _ in members], index) for index, members in groups]
    # The exact distance is several times slower on faces that still carry a triangulation.
    BRepTools.Clean_s(copy)
    return _together(pieces, solids)


def is_closed(triangles: Ints, count: int) -> bool:
    """Whether every edge of triangles (m, 3) of `count` vertices is run through once each way."""
    after = np.roll(triangles, -1, axis=1)
    there = (triangles.astype(np.int64) * count + after).ravel()
    back = (after.astype(np.int64) * count + triangles).ravel()
    there.sort()
    back.sort()
    return bool((np.diff(there) > 0).all()) and np.array_equal(there, back)


def signed_volume_mm3(vertices: Floats, triangles: Ints) -> float:
    """Volume (mm³) enclosed by a closed mesh; negative when its normals point inward."""
    first, second, third = (vertices - vertices.mean(axis=0))[triangles.T]
    return float(np.einsum("ij,ij->", first, np.cross(second, third)) / 6.0)


def _loose_faces(shape: Any, solids: list[Any]) -> list[Any]:
    if len(solids) == 1 and shape.IsSame(solids[0]):
        return []
    faces = sub_shapes(shape, "FACE")
    owned = [face for solid in solids for face in sub_shapes(solid, "FACE")]
    return [face for face in faces if not any(face.IsSame(own) for own in owned)]


def _charts(copy: Any, faces: list[Any], tolerances: Tolerances, *, quick: bool) -> list[Chart]:
    """The meshed faces, in order."""
    from OCP.BRepTools import BRepTools

    asked = SAMPLING_FACTOR * tolerances.tessellation_mm
    regular = [could_be_grid(face) for face in faces]
    rims = RimErrors(copy)
    if any(regular):
        # Only the edges, and the faces that get no grid, count of this first, quick mesh.
        rest = [face for face, grid in zip(faces, regular, strict=True) if not grid]
        inside = not all(is_flat(face) for face in rest)
        _mesh(copy, tolerances, refine=False, inside=inside, quick=quick)
        first = [
            gridded(mesh) if grid else mesh
            for mesh, grid in zip(read(faces, rims, asked), regular, strict=True)
        ]
        good = [mesh for mesh in first if mesh is not None]
        # On few nodes along the edges the mesher is quicker to better it than halves of sides are.
        split = split_all(good, _CLOSE * asked, _FAR * asked) if len(good) == len(faces) else None
        charts = [measured(mesh, asked) for mesh in split or ()]
        if charts and max(chart.deflection_mm for chart in charts) <= _FAR * asked:
            return charts
        BRepTools.Clean_s(copy)
        rims = RimErrors(copy)
    _mesh(copy, tolerances, refine=True, quick=quick)
    return [
        measured(mesh, asked) for mesh in split_all(read(faces, rims, asked), _CLOSE * asked) or ()
    ]


def _mesh(
    copy: Any, tolerances: Tolerances, *, refine: bool, quick: bool, inside: bool = True
) -> None:
    """Mesh a shape in place.

    refine: until the deflection inside the faces is kept, too; inside: put nodes there at all;
    quick: by the kernel's second way to part a face.
    """
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.IMeshTools import IMeshTools_MeshAlgoType, IMeshTools_Parameters

    asked = IMeshTools_Parameters()
    asked.Deflection, asked.Angle = tolerances.tessellation_mm, tolerances.tessellation_rad
    asked.Relative, asked.InParallel = False, False
    asked.ControlSurfaceDeflection = refine
    if quick:
        asked.MeshAlgo = IMeshTools_MeshAlgoType.IMeshTools_MeshAlgoType_Delabella
    if not inside:
        asked.DeflectionInterior, asked.AngleInterior = _NOTHING_INSIDE
    BRepMesh_IncrementalMesh(copy, asked)


@dataclass(frozen=True)
class _Piece:
    """The faces of one solid (-1 for none), welded; chart_triangle as in `Tessellation`."""

    solid: int
    charts: list[Chart]
    vertices: Floats
    triangles: Ints
    face_of: Ints
    chart_triangle: Ints


def _join(charts: list[Chart], solid: int) -> _Piece:
    """Weld the faces of one solid, normals outward."""
    starts = np.cumsum([0] + [len(chart.nodes) for chart in charts])
    nodes = np.concatenate([chart.nodes for chart in charts])
    triangles = np.concatenate(
        [_outward(chart) + start for chart, start in zip(charts, starts, strict=False)]
    )
    counts = [len(chart.triangles) for chart in charts]
    face_of = np.repeat(np.arange(len(charts), dtype=np.int32), counts)
    own = np.concatenate([np.arange(count, dtype=np.int32) for count in counts])
    keep, new_number = _weld(nodes)
    triangles = new_number[triangles]
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    vertices, triangles = nodes[keep], triangles[whole]
    if solid >= 0 and signed_volume_mm3(vertices, triangles) < 0:
        triangles = triangles[:, ::-1]
    return _Piece(solid, charts, vertices, triangles, face_of[whole], own[whole])


def _outward(chart: Chart) -> Ints:
    from OCP.TopAbs import TopAbs_Orientation

    turned = chart.face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    return chart.triangles[:, ::-1] if turned else chart.triangles


def _together(pieces: list[_Piece], solids: list[Any]) -> Tessellation:
    """All solids of a shape, one after the other."""
    nodes = np.cumsum([0] + [len(piece.vertices) for piece in pieces])
    faces = np.cumsum([0] + [len(piece.charts) for piece in pieces])
    charts = tuple(chart for piece in pieces for chart in piece.charts)
    vertices = np.concatenate([piece.vertices for piece in pieces])
    triangles = np.concatenate(
        [piece.triangles + start for piece, start in zip(pieces, nodes, strict=False)]
    ).astype(np.int32)
    return Tessellation(
        vertices=vertices,
        triangles=triangles,
        face_of=np.concatenate(
            [piece.face_of + start for piece, start in zip(pieces, faces, strict=False)]
        ).astype(np.int32),
        solid_of=np.repeat(
            np.array([piece.solid for piece in pieces], dtype=np.int32),
            [len(piece.triangles) for piece in pieces],
        ),
        deflection_mm=np.array([chart.deflection_mm for chart in charts]),
        solids=tuple(solids),
        charts=charts,
        chart_triangle=np.concatenate([piece.chart_triangle for piece in pieces]),
        closed=is_closed(triangles, len(vertices)),
    )


def _weld(nodes: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return which nodes to keep (k,) and each node's number among them (n,)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    first, same = _alike(nodes)
    close = cKDTree(nodes[first]).query_pairs(_WELD_MM, output_type="ndarray")
    if not len(close):
        return _by_first(first, same)
    links = coo_array((np.ones(len(close)), close.T), shape=(len(first), len(first)))
    _, cluster = connected_components(links, directed=False)
    cluster = cluster[same]
    _, keep = np.unique(cluster, return_index=True)
    return _by_first(keep, cluster)


def _by_first(
    keep: NDArray[np.intp], cluster: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The same, with the clusters numbered by their first node: in the order of the faces."""
    order = np.argsort(keep)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return keep[order], rank[cluster]


def _alike(nodes: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first of each set of nodes that are the same bit for bit, and each one's set."""
    order = np.lexsort(nodes.T)
    fresh = np.r_[True, (np.diff(nodes[order], axis=0) != 0).any(axis=1)]
    same = np.empty(len(nodes), dtype=np.intp)
    same[order] = np.cumsum(fresh) - 1
    return order[fresh], same
