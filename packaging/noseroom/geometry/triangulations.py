"""The triangulations that the faces of a shape carry, read all at once.

Each node and each triangle asked of the kernel costs a call. The kernel's own binary form of a
shape, its documented open format, holds them as arrays: so the bare triangulations, without any
surface or curve, are written to memory in that form, and read from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_SECTION = b"\nTriangulations "
_HEAD = np.dtype(
    [("nodes", "<i4"), ("triangles", "<i4"), ("uv", "u1"), ("normals", "u1"), ("off", "<f8")]
)


@dataclass(frozen=True, eq=False)
class Triangulation:
    """Nodes (n, 3) mm, triangles (m, 3) from 0, and parameters (n, 2) if it has any.

    kernels: the kernel's own, and where: its place. claimed_mm: its deflection as it says itself.
    """

    kernels: Any
    where: Any
    nodes: Floats
    uv: Floats | None
    triangles: Ints
    claimed_mm: float


def triangulations(faces: list[Any]) -> list[Triangulation]:
    """Return what each face carries, in order; nodes in the frame of the shape.

    Raises:
        GeometryError: a face carries no triangles.
    """
    from OCP.BRep import BRep_Tool
    from OCP.TopLoc import TopLoc_Location

    carried = []
    for face in faces:
        where = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(face, where)
        if mesh is None or mesh.NbTriangles() == 0:
            raise GeometryError("the mesher left a face without triangles; is the solid valid?")
        carried.append((mesh, where))
    # One face in two places carries one triangulation, and the kernel hands out one object for it.
    once = {id(mesh): mesh for mesh, _ in carried}
    read = dict(zip(once, _arrays(list(once.values())), strict=True))
    found = []
    for mesh, where in carried:
        nodes, uv, triangles, claimed = read[id(mesh)]
        found.append(Triangulation(mesh, where, _placed(nodes, where), uv, triangles, claimed))
    return found


def _arrays(meshes: list[Any]) -> list[tuple[Floats, Floats | None, Ints, float]]:
    """Nodes, parameters, triangles and deflection of each."""
    text = _written(meshes)
    start = text.index(_SECTION) + len(_SECTION)
    at = text.index(b"\n", start) + 1
    if int(text[start:at]) != len(meshes):
        raise GeometryError("the kernel wrote a mesh in a form that is not known here")
    found = []
    for mesh in meshes:
        head = np.frombuffer(text, _HEAD, 1, at)[0]
        count, many = int(head["nodes"]), int(head["triangles"])
        if (count, many) != (mesh.NbNodes(), mesh.NbTriangles()) or head["normals"]:
            raise GeometryError("the kernel wrote a mesh in a form that is not known here")
        at += _HEAD.itemsize
        nodes = np.frombuffer(text, "<f8", 3 * count, at).reshape(-1, 3)
        at += nodes.nbytes
        uv = None
        if head["uv"]:
            uv = np.frombuffer(text, "<f8", 2 * count, at).reshape(-1, 2)
            at += uv.nbytes
        triangles = np.frombuffer(text, "<i4", 3 * many, at).reshape(-1, 3)
        at += triangles.nbytes
        found.append((nodes, uv, triangles - np.int32(1), float(head["off"])))
    return found


def _written(meshes: list[Any]) -> bytes:
    """Triangulations alone, as the kernel writes them."""
    from OCP.BinTools import BinTools, BinTools_FormatVersion
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound, TopoDS_Face

    builder, together = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(together)
    for mesh in meshes:
        bare = TopoDS_Face()
        builder.MakeFace(bare, mesh)
        builder.Add(together, bare)
    form = BinTools_FormatVersion.BinTools_FormatVersion_VERSION_4
    stream = BytesIO()
    BinTools.Write_s(together, stream, True, False, form)
    return stream.getvalue()


def _placed(nodes: Floats, where: Any) -> Floats:
    if where.IsIdentity():
        return nodes
    trsf = where.Transformation()
    matrix = np.array([[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    placed: Floats = nodes @ matrix[:, :3].T + matrix[:, 3]
    return placed
