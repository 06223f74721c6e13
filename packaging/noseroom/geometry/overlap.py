"""What two bodies have in common: containment, and the volume of the overlap.

Distances see surfaces only, so that a part deep inside another is "far" from it. Here the
inside is asked for: by winding numbers on the closed meshes, or by the exact kernel where
the meshes are too close for their chord errors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, from_kernel, moved, sub_shapes, top_loc
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM, point_distance

Floats = NDArray[np.float64]

# Winding numbers of this many point-triangle pairs at a time keep memory to tens of MB.
_PAIRS_AT_ONCE = 500_000
_MOST_SCAN_POINTS = 400


@dataclass(frozen=True)
class Common:
    """What two closed bodies share.

    volume_mm3: all of it. depth_mm: the largest volume over surface of any one piece, which
    is half the thickness of a slab and a third of the radius of a ball: in a convex piece,
    no more than the depth of its deepest point.
    """

    volume_mm3: float
    depth_mm: float


def winding_numbers(points: Floats, vertices: Floats, triangles: NDArray[np.int32]) -> Floats:
    """Return how often the mesh winds round each point (n, 3): 1 inside, 0 outside.

    Solid angles by the half-angle formula of van Oosterom and Strackee (from memory).
    """
    corners = vertices[triangles]
    step = max(1, _PAIRS_AT_ONCE // len(triangles))
    winding = np.empty(len(points))
    for start in range(0, len(points), step):
        a, b, c = (corners[None, :, k] - points[start : start + step, None] for k in range(3))
        la, lb, lc = (np.linalg.norm(side, axis=-1) for side in (a, b, c))
        triple = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
        dots = (
            la * lb * lc
            + np.einsum("ijk,ijk->ij", a, b) * lc
            + np.einsum("ijk,ijk->ij", b, c) * la
            + np.einsum("ijk,ijk->ij", c, a) * lb
        )
        winding[start : start + step] = np.arctan2(triple, dots).sum(axis=1) / (2 * np.pi)
    return winding


def inside(points: Floats, body: Body, pose: Pose, *, exact: bool = False) -> NDArray[np.bool_]:
    """Return which world points (n, 3) lie in the material of any solid of a body.

    exact: ask the kernel (slower; for points nearer to the mesh than its chord error);
    a body without B-rep solids is always asked by its mesh. A body that is not watertight
    has no inside.
    """
    local = (points - pose[:3, 3]) @ pose[:3, :3]
    if exact and body.solids and body.watertight:
        return np.array([_kernel_inside(point, body) for point in local], dtype=bool)
    within = np.zeros(len(points), dtype=bool)
    for vertices, triangles in body.closed_parts:
        boxed = ((local >= vertices.min(axis=0)) & (local <= vertices.max(axis=0))).all(axis=1)
        asked = np.flatnonzero(boxed & ~within)
        if len(asked):
            within[asked] = winding_numbers(local[asked], vertices, triangles) > 0.5
    return within


def _kernel_inside(point: Floats, body: Body) -> bool:
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    at = gp_Pnt(*(float(x) for x in point))
    return any(
        BRepClass3d_SolidClassifier(solid, at, NUMERIC_MM).State() == TopAbs_State.TopAbs_IN
        for solid in body.solids
    )


def build_manifold(parts: tuple[tuple[Floats, NDArray[np.int32]], ...]) -> Any | None:
    """Return the union of closed meshes as one manifold, None where it cannot be one."""
    import manifold3d

    solids = []
    for vertices, triangles in parts:
        mesh = manifold3d.Mesh64(vertices, triangles.astype(np.uint64))
        solid = manifold3d.Manifold(mesh)
        # An open mesh reports a volume of 0.0 and no error; only the status tells.
        if solid.status() != manifold3d.Error.NoError:
            return None
        solids.append(solid)
    if not solids:
        return None
    whole = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    return whole if whole.status() == manifold3d.Error.NoError else None


def mesh_common(a: Body, pose_a: Pose, b: Body, pose_b: Pose) -> Common | None:
    """Return what the closed meshes of two bodies share; None if either is open."""
    import manifold3d

    if a.manifold is None or b.manifold is None:
        return None
    common = a.manifold.transform(pose_a[:3]) ^ b.manifold.transform(pose_b[:3])
    if common.status() != manifold3d.Error.NoError:
        return None
    pieces = common.decompose()
    depths = [p.volume() / p.surface_area() for p in pieces if p.surface_area() > 0]
    return Common(float(common.volume()), float(max(depths, default=0.0)))


def exact_common(a: Body, pose_a: Pose, b: Body, pose_b: Pose) -> Common | None:
    """Return what the B-rep solids of two bodies share, None if the kernel cannot say."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common

    volume = depth = 0.0
    loc_a, loc_b = top_loc(pose_a), top_loc(pose_b)
    for solid_a in a.solids:
        for solid_b in b.solids:
            try:
                common = BRepAlgoAPI_Common(solid_a.Moved(loc_a), solid_b.Moved(loc_b))
                if not common.IsDone():
                    return None
                pieces = [_volume_and_area(piece) for piece in sub_shapes(common.Shape(), "SOLID")]
            except Exception as error:
                if not from_kernel(error):
                    raise
                return None
            if any(filled < 0 or skin <= 0 for filled, skin in pieces):
                return None
            volume += sum(filled for filled, _ in pieces)
            depth = max([depth, *(filled / skin for filled, skin in pieces)])
    return Common(volume, depth)


def _volume_and_area(solid: Any) -> tuple[float, float]:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    filled, skin = GProp_GProps(), GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, filled)
    BRepGProp.SurfaceProperties_s(solid, skin)
    return float(filled.Mass()), float(skin.Mass())


def deepest_mm(scan: Body, pose_scan: Pose, solid: Body, pose_solid: Pose) -> float:
    """Return how deep the deepest of some vertices of an open body lies inside a closed one.

    Looks at no more than a few hundred vertices, evenly picked: a lower bound, mm.
    """
    points = moved(scan.mesh.vertices, pose_scan)
    local = (points - pose_solid[:3, 3]) @ pose_solid[:3, :3]
    low, high = solid.mesh.box_mm
    boxed = points[((local > low) & (local < high)).all(axis=1)]
    picked = boxed[:: max(1, len(boxed) // _MOST_SCAN_POINTS)]
    if not len(picked):
        return 0.0
    held = picked[inside(picked, solid, pose_solid)]
    return max((point_distance(solid.tree, pose_solid, point) for point in held), default=0.0)
