"""From a closed mesh to a solid of CadQuery's with one flat face a triangle."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import load_cadquery, sub_shapes
from noseroom.geometry.overlap import winding_numbers
from noseroom.geometry.tessellate import signed_volume_mm3

Floats = NDArray[np.float64]
Mesh: TypeAlias = tuple[Floats, NDArray[np.int32]]

SLIVER_MM = 1e-5
"""A triangle lower than this has no plane that the kernel could tell."""
_MOST_FLIPS = 4


def faceted(space: Any) -> Any:
    """A manifold as a `cq.Shape` of flat triangles: a solid, or a compound of several.

    No point of its surface is further than `SLIVER_MM` from the manifold's.
    """
    cq = load_cadquery()
    meshes = [_arrays(piece) for piece in space.decompose()]
    outer = [one for one in meshes if signed_volume_mm3(*one) > 0]
    shells: list[list[Mesh]] = [[one] for one in outer]
    for vertices, triangles in meshes:
        if signed_volume_mm3(vertices, triangles) > 0:
            continue
        # Room that nothing passes through, closed in on all sides.
        around = [k for k, one in enumerate(outer) if winding_numbers(vertices[:1], *one)[0] > 0.5]
        inmost = min(around, key=lambda k: signed_volume_mm3(*outer[k]))
        shells[inmost].append((vertices, triangles))
    solids = [_solid(some) for some in shells]
    return solids[0] if len(solids) == 1 else cq.Compound.makeCompound(solids)


def _arrays(piece: Any) -> Mesh:
    mesh = piece.simplify(SLIVER_MM).to_mesh64()
    vertices = np.array(mesh.vert_properties[:, :3])
    return vertices, _without_slivers(vertices, mesh.tri_verts.tolist())


def _without_slivers(vertices: Floats, triangles: list[list[int]]) -> NDArray[np.int32]:
    """The same surface to `SLIVER_MM`, no triangle so low that it has no plane of its own.

    A low one gives its long edge up for the one to the far corner of its neighbour.
    """
    across = {(a, b): k for k, t in enumerate(triangles) for a, b in _edges(t)}
    left = deque(range(len(triangles)))
    for _ in range(_MOST_FLIPS * len(triangles)):
        if not left:
            break
        low = left.popleft()
        (a, b), height = _longest(vertices, triangles[low])
        if height > SLIVER_MM:
            continue
        c = next(one for one in triangles[low] if one not in (a, b))
        other = across[b, a]
        d = next(one for one in triangles[other] if one not in (a, b))
        if (c, d) in across or (d, c) in across or c == d:
            continue
        del across[a, b], across[b, a]
        for k, made in ((low, [c, a, d]), (other, [d, b, c])):
            triangles[k] = made
            across.update(dict.fromkeys(_edges(made), k))
            left.append(k)
    return np.array(triangles, dtype=np.int32)


def _edges(triangle: Sequence[int]) -> list[tuple[int, int]]:
    a, b, c = triangle
    return [(a, b), (b, c), (c, a)]


def _longest(vertices: Floats, triangle: Sequence[int]) -> tuple[tuple[int, int], float]:
    """The longest edge of a triangle and how high it stands over it, mm."""
    sides = [(math.dist(vertices[a], vertices[b]), (a, b)) for a, b in _edges(triangle)]
    length, edge = max(sides)
    a, b, c = (vertices[k] for k in triangle)
    height = float(np.linalg.norm(np.cross(b - a, c - a))) / length if length else 0.0
    return edge, height


def _solid(meshes: Sequence[Mesh]) -> Any:
    """A `cq.Solid` of an outer mesh and of those of its hollows."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeShapeOnMesh
    from OCP.gp import gp_Pnt
    from OCP.Poly import Poly_Triangle, Poly_Triangulation
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    builder, solid = BRep_Builder(), TopoDS_Solid()
    builder.MakeSolid(solid)
    for vertices, triangles in meshes:
        made = Poly_Triangulation(len(vertices), len(triangles), False)
        for k, point in enumerate(vertices.tolist(), start=1):
            made.SetNode(k, gp_Pnt(*point))
        for k, corners in enumerate(triangles.tolist(), start=1):
            made.SetTriangle(k, Poly_Triangle(*(corner + 1 for corner in corners)))
        maker = BRepBuilderAPI_MakeShapeOnMesh(made)
        maker.Build()
        shell = TopoDS_Shell()
        builder.MakeShell(shell)
        for face in sub_shapes(maker.Shape(), "FACE"):
            builder.Add(shell, face)
        shell.Closed(True)
        builder.Add(solid, shell)
    return load_cadquery().Solid(solid)
