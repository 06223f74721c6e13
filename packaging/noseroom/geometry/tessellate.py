"""B-rep solids to closed triangle meshes, with the chord error that was really delivered.

The mesher is asked for an absolute chord, on a clean copy. What it stores with a face as
deflection is measured inside the face only: a flat disc claims 1e-15 mm while its rim is
chords. So the rims and the inside are sampled here as well, and the larger value is kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import clean_copy, sub_shapes
from noseroom.tolerances import Tolerances

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# Between a chord's ends the gap to a smooth surface is close to a quadratic, whose largest
# value in a triangle is at most 1.03 times the largest of the samples below; the rest of the
# factor is for surfaces that are less tame.
_SAMPLING_FACTOR = 1.25
_INSIDE_TRIANGLE = np.array(
    [
        [0.5, 0.5, 0.0],
        [0.0, 0.5, 0.5],
        [0.5, 0.0, 0.5],
        [1 / 3, 1 / 3, 1 / 3],
        [2 / 3, 1 / 6, 1 / 6],
        [1 / 6, 2 / 3, 1 / 6],
        [1 / 6, 1 / 6, 2 / 3],
    ]
)
_ALONG_CHORD = (0.25, 0.5, 0.75)
_NEIGHBOURS = 16
# Below this an error is the rounding of the surface evaluation, not a chord.
_EXACT_MM = 1e-9
# Nodes of neighbouring faces come from one edge curve, but not always bit for bit.
_WELD_MM = 1e-6


@dataclass(frozen=True)
class Tessellation:
    """Raw result: arrays as in `Mesh`, and what the kernel called them.

    solid_of: (m,) the solid of each triangle, -1 for none. faces, solids: the kernel's own,
    free of triangulation.
    """

    vertices: Floats
    triangles: Ints
    face_of: Ints
    solid_of: Ints
    deflection_mm: Floats
    faces: tuple[Any, ...]
    solids: tuple[Any, ...]


def tessellate(shape: cq.Shape, tolerances: Tolerances) -> Tessellation:
    """Mesh every face of a shape, welded within each solid, normals outward.

    The result depends on the shape and the tolerances only, not on what was meshed before.

    Raises:
        GeometryError: the shape is empty, or the mesher left a face without triangles.
    """
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.BRepTools import BRepTools

    copy = clean_copy(shape)
    BRepMesh_IncrementalMesh(
        copy, tolerances.tessellation_mm, False, tolerances.tessellation_rad, False
    )
    solids = sub_shapes(copy, "SOLID")
    # A face shared by two solids counts once for each, turned the right way for each.
    groups = [(index, sub_shapes(solid, "FACE")) for index, solid in enumerate(solids)]
    groups.append((-1, _loose_faces(copy, solids)))

    pieces: list[tuple[int, Floats, Ints, Ints]] = []
    faces: list[Any] = []
    deflections: list[float] = []
    for solid_index, members in groups:
        if not members:
            continue
        meshed = [_mesh_of_face(face) for face in members]
        deflections += [deflection for _, _, deflection in meshed]
        vertices, triangles, face_of = _join(meshed, first_face=len(faces))
        faces += members
        if solid_index >= 0 and signed_volume_mm3(vertices, triangles) < 0:
            triangles = triangles[:, ::-1]
        pieces.append((solid_index, vertices, triangles, face_of))
    if not pieces:
        raise GeometryError("the shape has no faces: there is nothing to measure")
    # The exact distance is several times slower on faces that still carry a triangulation.
    BRepTools.Clean_s(copy)

    starts = np.cumsum([0] + [len(vertices) for _, vertices, _, _ in pieces])
    return Tessellation(
        vertices=np.concatenate([vertices for _, vertices, _, _ in pieces]),
        triangles=np.concatenate(
            [tri + start for (_, _, tri, _), start in zip(pieces, starts, strict=False)]
        ).astype(np.int32),
        face_of=np.concatenate([face_of for _, _, _, face_of in pieces]).astype(np.int32),
        solid_of=np.concatenate([np.full(len(tri), index) for index, _, tri, _ in pieces]).astype(
            np.int32
        ),
        deflection_mm=np.array(deflections),
        faces=tuple(faces),
        solids=tuple(solids),
    )


def signed_volume_mm3(vertices: Floats, triangles: Ints) -> float:
    """Volume (mm³) enclosed by a closed mesh; negative when its normals point inward."""
    corners = vertices[triangles] - vertices.mean(axis=0)
    return float(np.linalg.det(corners).sum() / 6.0)


def _loose_faces(shape: Any, solids: list[Any]) -> list[Any]:
    if not solids:
        return sub_shapes(shape, "FACE")
    owned = [face for solid in solids for face in sub_shapes(solid, "FACE")]
    return [
        face for face in sub_shapes(shape, "FACE") if not any(face.IsSame(own) for own in owned)
    ]


def _mesh_of_face(face: Any) -> tuple[Floats, Ints, float]:
    """Return nodes (n, 3), triangles (m, 3), and the chord bound of one meshed face, mm."""
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location

    where = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, where)
    if mesh is None or mesh.NbTriangles() == 0:
        raise GeometryError("the mesher left a face without triangles; is the solid valid?")
    trsf = where.Transformation()
    placed = (mesh.Node(i).Transformed(trsf) for i in range(1, mesh.NbNodes() + 1))
    nodes = np.array([(p.X(), p.Y(), p.Z()) for p in placed])
    triangles = np.array(
        [mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int32
    )
    triangles -= 1
    rim = _rim_error(face, mesh, where, nodes)
    delivered = max(rim, _inner_error(face, mesh, nodes, triangles))
    if max(delivered, mesh.Deflection()) <= _EXACT_MM:
        deflection = 0.0
    else:
        deflection = max(_SAMPLING_FACTOR * delivered, float(mesh.Deflection()))
    if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
        triangles = triangles[:, ::-1]
    return nodes, triangles, deflection


def _inner_error(face: Any, mesh: Any, nodes: Floats, triangles: Ints) -> float:
    """Largest sampled distance from the face's surface to its triangles, mm."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from scipy.spatial import cKDTree

    surface = BRepAdaptor_Surface(face)
    if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
        return 0.0
    if not mesh.HasUVNodes():
        raise GeometryError("the mesher gave no surface parameters to check its mesh by")
    uv_nodes = (mesh.UVNode(i) for i in range(1, mesh.NbNodes() + 1))
    uv = np.array([(point.X(), point.Y()) for point in uv_nodes])
    samples = np.einsum("sk,mkd->msd", _INSIDE_TRIANGLE, uv[triangles]).reshape(-1, 2)
    value = surface.Value
    on_surface = np.array([value(u, v).Coord() for u, v in samples.tolist()])
    own = np.repeat(np.arange(len(triangles)), len(_INSIDE_TRIANGLE))
    gap = _to_triangles(on_surface, nodes[triangles[own]])
    # At a pole the parameters run together and a sample can land off its own triangle; any
    # neighbour that is nearer will do, and looking at some of them only errs upward.
    far = np.flatnonzero(gap * _SAMPLING_FACTOR > mesh.Deflection())
    if len(far):
        centres = cKDTree(nodes[triangles].mean(axis=1))
        near = centres.query(on_surface[far], k=min(_NEIGHBOURS, len(triangles)))[1]
        near = near.reshape(len(far), -1)
        for column in near.T:
            gap[far] = np.minimum(
                gap[far], _to_triangles(on_surface[far], nodes[triangles[column]])
            )
    return float(gap.max())


def _to_triangles(points: Floats, corners: Floats) -> Floats:
    """Distance (n,) of each point from its own triangle (n, 3, 3)."""
    from trimesh.triangles import closest_point

    distance: Floats = np.linalg.norm(closest_point(corners, points) - points, axis=1)
    return distance


def _rim_error(face: Any, mesh: Any, where: Any, nodes: Floats) -> float:
    """Largest sampled distance from the face's edges to their chords, mm."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType

    worst = 0.0
    for edge in sub_shapes(face, "EDGE"):
        polygon = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, where)
        if polygon is None or BRep_Tool.Degenerated_s(edge):
            continue
        curve = BRepAdaptor_Curve(edge)
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            continue
        if not polygon.HasParameters():
            raise GeometryError("the mesher gave no edge parameters to check its mesh by")
        count = range(1, polygon.NbNodes() + 1)
        ends = nodes[[polygon.Node(i) - 1 for i in count]]
        at = np.array([polygon.Parameter(i) for i in count])
        for share in _ALONG_CHORD:
            parameters = (at[:-1] + share * np.diff(at)).tolist()
            points = np.array([curve.Value(t).Coord() for t in parameters])
            worst = max(worst, float(_to_chords(points, ends[:-1], ends[1:]).max()))
    return worst


def _to_chords(points: Floats, starts: Floats, ends: Floats) -> Floats:
    """Distance (n,) of each point from its own segment."""
    run = ends - starts
    length2 = np.maximum(np.einsum("ij,ij->i", run, run), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", points - starts, run) / length2, 0.0, 1.0)
    distance: Floats = np.linalg.norm(points - starts - share[:, None] * run, axis=1)
    return distance


def _join(meshed: list[tuple[Floats, Ints, float]], first_face: int) -> tuple[Floats, Ints, Ints]:
    """Weld the faces of one solid into vertices, triangles and face numbers."""
    starts = np.cumsum([0] + [len(nodes) for nodes, _, _ in meshed])
    nodes = np.concatenate([nodes for nodes, _, _ in meshed])
    triangles = np.concatenate(
        [tri + start for (_, tri, _), start in zip(meshed, starts, strict=False)]
    )
    face_of = np.repeat(
        np.arange(first_face, first_face + len(meshed)), [len(tri) for _, tri, _ in meshed]
    )
    keep, new_number = _weld(nodes)
    triangles = new_number[triangles]
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return nodes[keep], triangles[whole], face_of[whole]


def _weld(nodes: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return which nodes to keep (k,) and each node's number among them (n,)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    _, first, same = np.unique(nodes, axis=0, return_index=True, return_inverse=True)
    same = same.reshape(-1)
    close = cKDTree(nodes[first]).query_pairs(_WELD_MM, output_type="ndarray")
    links = coo_array((np.ones(len(close)), close.T), shape=(len(first), len(first)))
    _, cluster = connected_components(links, directed=False)
    cluster = cluster[same]
    # Number the clusters by their first node, so that the order is that of the faces.
    _, keep = np.unique(cluster, return_index=True)
    order = np.argsort(keep)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return keep[order], rank[cluster]
