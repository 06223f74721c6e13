"""One closed mesh of several that touch or overlap, for printing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.errors import GeometryError
from noseroom.geometry.mesh import Mesh


def united(meshes: Sequence[Mesh]) -> Mesh:
    """The union of closed meshes in one frame, by manifold3d.

    Face numbers are lost: the result counts as one face with the largest chord error of all.

    Raises GeometryError when a mesh is not closed or the union fails.
    """
    if len(meshes) == 1:
        return meshes[0]
    import manifold3d

    solids = []
    for mesh in meshes:
        given = manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(mesh.vertices, dtype=np.float64),
            tri_verts=np.ascontiguousarray(mesh.triangles, dtype=np.uint64),
        )
        # Welded vertices may leave two shells sharing an edge; merging tells the library.
        given.merge()
        solid = manifold3d.Manifold(given)
        if solid.status() != manifold3d.Error.NoError or solid.is_empty():
            raise GeometryError(f"a mesh to unite is not closed ({solid.status()})")
        solids.append(solid)
    whole = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    if whole.status() != manifold3d.Error.NoError:
        raise GeometryError(f"the union failed ({whole.status()})")
    made = whole.to_mesh64()
    vertices = np.array(made.vert_properties[:, :3], dtype=np.float64)
    triangles = np.array(made.tri_verts, dtype=np.int32)
    chord = max(float(mesh.deflection_mm.max(initial=0.0)) for mesh in meshes)
    return Mesh(vertices, triangles, np.zeros(len(triangles), np.int32), np.array([chord]))
