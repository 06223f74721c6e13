"""Closed meshes as solids that can be cut: what printed pieces are made from.

Solids are manifold3d's; it is exact about what is inside, so that pieces of a cut stay closed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.mesh import Mesh, body_from_shape
from noseroom.geometry.tessellate import signed_volume_mm3
from noseroom.tolerances import Tolerances

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
Solid = Any
"""A `manifold3d.Manifold`, mm."""

PRINT_MESH = Tolerances(tessellation_mm=0.05, tessellation_rad=0.25)
"""A tenth of what a print may be off."""
_SIMPLER_MM = ((1e-3, 0.0), (1e-3, 1e-4), (1e-3, 1e-3), (5e-3, 0.0), (5e-3, 5e-3), (2e-2, 1e-2))
"""How far surfaces may move, and the grid that corners go onto, until a file of 32 bits closes."""
SAW_MM = 2e-4
_FILM_MM = 0.05
_CRUMB_MM3 = 1e-3  # what a cut along a face leaves of it


def solid_of_shape(name: str, shape: cq.Shape) -> Solid:
    """The solid inside a shape's mesh. Raises GeometryError where it does not close."""
    solid = body_from_shape(name, shape, PRINT_MESH).manifold
    if solid is None:
        raise GeometryError(f"{name}: its mesh does not close, so that nothing can be printed")
    return solid


def box_of(solid: Solid) -> Floats:
    """Lowest and highest corner, (2, 3), mm."""
    return np.array(solid.bounding_box()).reshape(2, 3)


def box_solid(low: Floats, high: Floats) -> Solid:
    """A box by two opposite corners."""
    import manifold3d

    size = np.asarray(high, dtype=float) - np.asarray(low, dtype=float)
    return manifold3d.Manifold.cube(tuple(size)).translate(tuple(np.asarray(low, dtype=float)))


def solid_of_mesh(vertices: Floats, triangles: NDArray[Any]) -> Solid:
    """What a closed mesh encloses, its triangles one way round or the other.

    Raises GeometryError where it is not closed.
    """
    import manifold3d

    if signed_volume_mm3(vertices, triangles) < 0:
        triangles = triangles[:, ::-1]
    mesh = manifold3d.Mesh64(np.ascontiguousarray(vertices), triangles.astype(np.uint64))
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError:
        raise GeometryError("a mesh does not close, so that it encloses nothing")
    return solid


def hull_solid(corners: Floats) -> Solid:
    """The convex hull of points (n, 3)."""
    import manifold3d

    return manifold3d.Manifold.hull_points(np.asarray(corners, dtype=float))


def union(solids: Sequence[Solid]) -> Solid:
    """All of them as one; an empty solid for none."""
    import manifold3d

    if not solids:
        return manifold3d.Manifold()
    return manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def cut(solid: Solid, axis: int, at_mm: float) -> list[Solid]:
    """What is left when a plane square to an axis parts it: connected pieces, largest first.

    The saw is as thick as `SAW_MM`, far less than a printer tells apart: a flat face that lies in
    the plane all but for rounding leaves no film.
    """
    normal = [0.0, 0.0, 0.0]
    normal[axis] = 1.0
    above = solid.trim_by_plane(normal, at_mm + SAW_MM / 2)
    normal[axis] = -1.0
    below = solid.trim_by_plane(normal, -at_mm + SAW_MM / 2)
    return [piece for side in (above, below) for piece in connected(side)]


def flat_at(solid: Solid, planes: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """The planes, moved onto the corners of the solid that are all but in them.

    A cut a hair beside a flat face would leave a film of it.
    """
    vertices, _ = arrays(solid)
    found: dict[tuple[int, float], None] = {}
    for axis, at in planes:
        near = vertices[np.abs(vertices[:, axis] - at) < _FILM_MM, axis]
        found[axis, float(near[np.argmin(np.abs(near - at))]) if len(near) else at] = None
    return list(found)


def connected(solid: Solid) -> list[Solid]:
    """Its connected pieces, largest first; crumbs of no size are dropped."""
    found = [one for one in solid.decompose() if one.volume() > _CRUMB_MM3]
    return sorted(found, key=lambda one: (-round(one.volume(), 3), *np.round(box_of(one)[0], 3)))


def turned(solid: Solid, place: Floats) -> Solid:
    """The solid carried by a placement (4, 4)."""
    return solid.transform(np.asarray(place, dtype=float)[:3])


def inverse(place: Floats) -> Floats:
    """The placement (4, 4) that undoes another."""
    back = np.eye(4)
    back[:3, :3] = place[:3, :3].T
    back[:3, 3] = -place[:3, :3].T @ place[:3, 3]
    return back


def section(solid: Solid, axis: int, at_mm: float) -> Any:
    """Its cut with a plane square to an axis, as a shapely (multi)polygon.

    Its x and y are the next two axes after this one, in turn (y and z for x).
    """
    from shapely import Polygon, unary_union

    turn = np.zeros((3, 4))
    for row, own in enumerate(((axis + 1) % 3, (axis + 2) % 3, axis)):
        turn[row, own] = 1.0
    loops = solid.transform(turn).slice(at_mm).to_polygons()
    shapes = [Polygon(loop) for loop in loops if len(loop) > 2]
    # Outlines run anticlockwise, holes clockwise.
    outer = [one for one in shapes if one.exterior.is_ccw]
    inner = [one for one in shapes if not one.exterior.is_ccw]
    whole = unary_union([one.buffer(0.0) for one in outer])
    return whole.difference(unary_union([one.buffer(0.0) for one in inner]))


def arrays(solid: Solid) -> tuple[Floats, NDArray[np.int32]]:
    """Vertices (n, 3) and triangles (m, 3)."""
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts, np.int32)


def _without_crumbs(
    vertices: Floats, triangles: NDArray[np.int32]
) -> tuple[Floats, NDArray[np.int32]]:
    """The mesh less the shells that enclose nothing, films that rounding left."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ends = triangles[:, [0, 1]].ravel(), triangles[:, [1, 2]].ravel()
    links = coo_array((np.ones(len(ends[0])), ends), (len(vertices), len(vertices)))
    shell = connected_components(links, directed=False)[1][triangles[:, 0]]
    a, b, c = vertices[triangles.T]
    volumes = np.bincount(shell, np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0)
    return vertices, triangles[np.abs(volumes)[shell] > _CRUMB_MM3]


def mesh_to_write(name: str, solid: Solid) -> Mesh:
    """The solid as a mesh that is still closed in an STL file. Raises GeometryError."""
    from noseroom.geometry.mesh_files import stl_stays_closed

    for off_mm, grid_mm in _SIMPLER_MM:
        vertices, triangles = _without_crumbs(*arrays(solid.simplify(off_mm)))
        if grid_mm:
            vertices = np.round(vertices / grid_mm) * grid_mm
        # Corners that an STL file's 32 bits cannot tell apart become one: an edge without length
        # takes the two triangles beside it along.
        kept, number = np.unique(vertices.astype(np.float32), axis=0, return_inverse=True)
        triangles = number.reshape(-1)[triangles].astype(np.int32)
        whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
        triangles = triangles[whole]
        zeros = np.zeros(len(triangles), np.int32)
        mesh = Mesh(kept.astype(np.float64), triangles, zeros, np.array([off_mm + grid_mm]))
        if len(triangles) and mesh.closed and stl_stays_closed(mesh):
            return mesh
    raise GeometryError(f"{name}: its mesh does not stay closed in a file")
