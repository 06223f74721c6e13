"""The distance of a part from a bare mesh, such as a scan: the part's near faces meshed finely.

A scan is its triangles, so that only the part's chord errors stand between the distance of the
meshes and the truth. Faces that may hold the nearest point are meshed again, so finely that this
error no longer counts; those meshes are kept as long as the part is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.blocks import near_blocks
from noseroom.geometry.exact import SurfaceDistance
from noseroom.geometry.kernel import Pose
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.geometry.trees import NUMERIC_MM, box_gaps, tree_distance, world_boxes
from noseroom.tolerances import Tolerances

_WITHIN_MM = 0.005
_ASKED = (Tolerances(tessellation_mm=0.004), Tolerances(tessellation_mm=0.001))


@dataclass(frozen=True, eq=False)
class _Fine:
    """One face's tree, its box (2, 3), and how far the face may be from it, mm."""

    tree: Any
    box: NDArray[np.float64]
    deflection_mm: float


_kept: WeakKeyDictionary[Body, dict[int, _Fine]] = WeakKeyDictionary()


def finer_distance(a: Body, pose_a: Pose, b: Body, pose_b: Pose, mesh_mm: float) -> SurfaceDistance:
    """Return the distance between two surfaces of which one has B-rep faces and one has none.

    mesh_mm: the distance between the two whole meshes, mm. The value is that of the bare mesh's
    triangles; the bound takes off what its metal may be from them.
    """
    swap = not a.faces
    part, pose, scan, place = (b, pose_b, a, pose_a) if swap else (a, pose_a, b, pose_b)
    deflections = part.mesh.deflection_mm
    # Nothing further away than this can be the nearest.
    limit = mesh_mm + part.mesh.bound_mm + NUMERIC_MM
    box = world_boxes(scan.mesh.box_mm[None], place)
    gaps = box_gaps(world_boxes(part.face_boxes_mm, pose), box)[:, 0] - deflections
    best, least = np.inf, np.inf
    points: NDArray[np.float64] | None = None
    for face in np.argsort(gaps, kind="stable"):
        if gaps[face] > limit:
            break
        coarse = _Fine(
            part.face_tree(int(face)), part.face_boxes_mm[face], float(deflections[face])
        )
        if _apart(coarse, pose, scan, place, limit)[0] - coarse.deflection_mm > limit:
            continue
        fine = _fine(part, int(face), coarse)
        apart, ends = _apart(fine, pose, scan, place, limit)
        least = min(least, apart - fine.deflection_mm)
        limit = min(limit, apart + fine.deflection_mm)
        if apart < best:
            best, points = apart, ends[::-1] if swap else ends
    bound = max(0.0, least - scan.mesh.bound_mm - NUMERIC_MM)
    return SurfaceDistance(best, bound, points if best > 0 else None, False)


def _apart(
    face: _Fine, pose: Pose, scan: Body, place: Pose, limit: float
) -> tuple[float, NDArray[np.float64]]:
    """The distance of a face's mesh from the scan, mm; of no use where no truth is below limit."""
    below = limit + 2 * face.deflection_mm + 2 * NUMERIC_MM
    if scan.blocks is None:
        return tree_distance(face.tree, pose, scan.tree, place, below)
    return near_blocks(face.tree, face.box, pose, scan.blocks, place, below)[:2]


def _fine(part: Body, face: int, coarse: _Fine) -> _Fine:
    if coarse.deflection_mm <= _WITHIN_MM:
        return coarse
    kept = _kept.setdefault(part, {})
    if face not in kept:
        kept[face] = _meshed(part, face)
    return kept[face]


def _meshed(part: Body, face: int) -> _Fine:
    import cadquery as cq

    shape = cq.Face(part.faces[face])
    for asked in _ASKED:
        made = body_from_shape(part.name, shape, asked)
        if made.mesh.bound_mm <= _WITHIN_MM:
            break
    return _Fine(made.tree, made.mesh.box_mm, made.mesh.bound_mm)
