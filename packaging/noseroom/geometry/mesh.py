"""Bodies: what a clearance is taken between.

A `Body` is a shape with its mesh, or a mesh alone (a scan). Whatever a query needs again
and again (the bounding-volume trees, the closed solids) is built once and kept with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.tessellate import is_closed, signed_volume_mm3, tessellate
from noseroom.tolerances import DEFAULT, Tolerances

if TYPE_CHECKING:
    import cadquery as cq

    from noseroom.geometry.blocks import Blocks
    from noseroom.geometry.charts import Chart
    from noseroom.geometry.support import Reaches


@dataclass(frozen=True, eq=False)
class Mesh:
    """A triangle mesh that knows how far it may be from the true surface.

    vertices: (n, 3) float64, mm.
    triangles: (m, 3) int32, counter-clockwise seen from outside.
    face_of: (m,) int32, the B-rep face (for a scan: always 0) each triangle belongs to.
    deflection_mm: (faces,) float64; no point of a face is further than this from its
        triangles, nor the other way round.
    """

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]
    face_of: NDArray[np.int32]
    deflection_mm: NDArray[np.float64]

    @cached_property
    def bound_mm(self) -> float:
        """The largest deflection of any face, mm."""
        return float(self.deflection_mm.max())

    @cached_property
    def box_mm(self) -> NDArray[np.float64]:
        """Lowest and highest corner, (2, 3), of the vertices."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @cached_property
    def area_mm2(self) -> float:
        """Surface of all triangles together, mm²."""
        a, b, c = (self.vertices[self.triangles[:, k]] for k in range(3))
        return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)

    @cached_property
    def volume_mm3(self) -> float:
        """Enclosed volume, mm³; only a closed mesh has one."""
        return signed_volume_mm3(self.vertices, self.triangles)

    @cached_property
    def closed(self) -> bool:
        """Whether every edge is run through once each way, which a closed surface does."""
        return is_closed(self.triangles, len(self.vertices))

    def part(self, chosen: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """Return vertices and triangles of the chosen triangles (m,) alone."""
        used, numbers = np.unique(self.triangles[chosen], return_inverse=True)
        return self.vertices[used], numbers.reshape(-1, 3).astype(np.int32)


@dataclass(frozen=True, eq=False)
class Body:
    """Something that has a place and a surface.

    name: for messages. shape: the shape as it was handed in, None for a scan.
    mesh: in the body's own frame, mm. watertight: whether it encloses a volume; where it
    does not, there is no inside to ask about.
    faces, solids: the kernel's faces (one for each number in `mesh.face_of`) and solids,
    free of triangulation; empty without a shape. solid_of: (m,) the closed piece each
    triangle belongs to. charts: the mesh of each face in its own parameters, and chart_triangle:
    (m,) the number of each triangle in it; empty without a shape.
    """

    name: str
    shape: cq.Shape | None
    mesh: Mesh
    watertight: bool
    faces: tuple[Any, ...] = field(repr=False, default=())
    solids: tuple[Any, ...] = field(repr=False, default=())
    solid_of: NDArray[np.int32] = field(repr=False, default_factory=lambda: np.zeros(0, np.int32))
    charts: tuple[Chart, ...] = field(repr=False, default=())
    chart_triangle: NDArray[np.int32] = field(
        repr=False, default_factory=lambda: np.zeros(0, np.int32)
    )

    @cached_property
    def tree(self) -> Any:
        """The whole mesh as a bounding-volume tree."""
        from noseroom.geometry.trees import build_tree

        return build_tree(self.mesh.vertices, self.mesh.triangles)

    @cached_property
    def blocks(self) -> Blocks | None:
        """The mesh of a large scan in blocks; None where one tree of all does as well."""
        from noseroom.geometry.blocks import blocks_of

        return None if self.faces else blocks_of(self.mesh.vertices, self.mesh.triangles)

    @cached_property
    def chart_bound_mm(self) -> float:
        """How far any triangle may be from the patch of surface it stands for."""
        return max(chart.error_mm for chart in self.charts)

    @cached_property
    def triangle_error_mm(self) -> NDArray[np.float64]:
        """How far each triangle (m,) may be from the patch of surface it stands for."""
        starts = np.cumsum([0] + [len(chart.own_mm) for chart in self.charts])[:-1]
        own = np.concatenate([chart.own_mm for chart in self.charts])
        errors: NDArray[np.float64] = own[starts[self.mesh.face_of] + self.chart_triangle]
        return errors

    @cached_property
    def hull_corners(self) -> NDArray[np.float64]:
        """Corners (k, 3) of the mesh's convex hull, in the body's frame.

        Whatever is convex in a point, or linear, is largest at one of them. Of a flat mesh: the
        corners of its box.
        """
        from scipy.spatial import ConvexHull, QhullError

        try:
            corners: NDArray[np.float64] = self.mesh.vertices[
                ConvexHull(self.mesh.vertices).vertices
            ]
        except QhullError:
            ends = np.array(list(product((0.0, 1.0), repeat=3)))
            low, high = self.mesh.box_mm
            corners = low + ends * (high - low)
        return corners

    @cached_property
    def face_parts(self) -> tuple[tuple[NDArray[np.float64], NDArray[np.int32]], ...]:
        """Vertices and triangles of each face alone."""
        count = len(self.mesh.deflection_mm)
        return tuple(self.mesh.part(self.mesh.face_of == face) for face in range(count))

    @cached_property
    def reaches(self) -> Reaches:
        """How far the true surface reaches along a direction; only with B-rep faces."""
        from noseroom.geometry.support import Reaches

        return Reaches(self)

    @cached_property
    def face_boxes_mm(self) -> NDArray[np.float64]:
        """Box of each face's triangles, (faces, 2, 3), in the body's frame."""
        return np.array([[v.min(axis=0), v.max(axis=0)] for v, _ in self.face_parts])

    @cached_property
    def _face_trees(self) -> dict[int, Any]:
        return {}

    def face_tree(self, face: int) -> Any:
        """Return the tree of one face, built when it is first asked for."""
        from noseroom.geometry.trees import build_tree

        if face not in self._face_trees:
            self._face_trees[face] = build_tree(*self.face_parts[face])
        return self._face_trees[face]

    @cached_property
    def closed_parts(self) -> tuple[tuple[NDArray[np.float64], NDArray[np.int32]], ...]:
        """Vertices and triangles of each solid; empty when the body is not watertight."""
        if not self.watertight:
            return ()
        return tuple(self.mesh.part(self.solid_of == solid) for solid in np.unique(self.solid_of))

    @cached_property
    def manifold(self) -> Any | None:
        """All solids as one manifold for volumes; None where the body is not closed."""
        from noseroom.geometry.overlap import build_manifold

        return build_manifold(self.closed_parts)

    @cached_property
    def probes(self) -> NDArray[np.float64]:
        """One point (k, 3) of every connected surface, in the body's frame."""
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        tri = self.mesh.triangles
        count = len(self.mesh.vertices)
        ones = np.ones(2 * len(tri))
        ends = np.concatenate([tri[:, 1], tri[:, 2]]), np.concatenate([tri[:, 0], tri[:, 1]])
        _, label = connected_components(coo_array((ones, ends), (count, count)), directed=False)
        used = np.unique(tri)
        _, first = np.unique(label[used], return_index=True)
        points: NDArray[np.float64] = self.mesh.vertices[used[first]]
        return points


def body_from_shape(name: str, shape: cq.Shape, tolerances: Tolerances = DEFAULT) -> Body:
    """Mesh a shape (mm) and make a body of it; a Compound is split into its solids.

    Raises:
        GeometryError: the shape is empty or cannot be meshed.
    """
    try:
        raw = tessellate(shape, tolerances)
    except GeometryError as error:
        raise GeometryError(f"{name}: {error}") from error
    mesh = Mesh(raw.vertices, raw.triangles, raw.face_of, raw.deflection_mm)
    watertight = raw.closed and bool((raw.solid_of >= 0).all())
    if not watertight and not (raw.solid_of < 0).any():
        raise GeometryError(
            f"{name}: the mesh of a solid has gaps or folds, so that nothing can be said of its "
            "inside: a face may cross itself, or not reach its edges; mend the solid, or take it "
            "as bare faces"
        )
    return Body(
        name,
        shape,
        mesh,
        watertight,
        raw.faces,
        raw.solids,
        raw.solid_of,
        raw.charts,
        raw.chart_triangle,
    )


def body_from_mesh(
    name: str, vertices: ArrayLike, triangles: ArrayLike, *, deflection_mm: float
) -> Body:
    """Make a body of a bare mesh such as a scan.

    vertices: (n, 3) mm; triangles: (m, 3) vertex numbers; deflection_mm: how far the true
    surface may be from the triangles. A closed mesh counts as one solid.

    Raises:
        GeometryError: arrays of the wrong form, numbers out of range, or not finite.
    """
    points = np.array(vertices, dtype=np.float64)
    corners = np.array(triangles, dtype=np.int32)
    if points.ndim != 2 or points.shape[1] != 3 or corners.ndim != 2 or corners.shape[1] != 3:
        raise GeometryError(f"{name}: a mesh is (n, 3) vertices and (m, 3) triangles")
    if not len(corners) or not np.isfinite(points).all():
        raise GeometryError(f"{name}: the mesh is empty or has vertices that are not finite")
    if corners.min() < 0 or corners.max() >= len(points):
        raise GeometryError(f"{name}: a triangle names a vertex that is not there")
    if not (np.isfinite(deflection_mm) and deflection_mm >= 0):
        raise GeometryError(f"{name}: the deflection is a length of 0 mm or more")
    zeros = np.zeros(len(corners), np.int32)
    mesh = Mesh(points, corners, zeros, np.array([float(deflection_mm)]))
    if mesh.closed and mesh.volume_mm3 < 0:
        mesh = Mesh(points, np.ascontiguousarray(corners[:, ::-1]), zeros, mesh.deflection_mm)
    return Body(name, None, mesh, mesh.closed, solid_of=zeros)
