"""How deep the surface of an open body runs through a closed one, between its corners too.

A wall scanned with few, large triangles can pass through a part without a single corner in it. So
the triangles that cross are cut to the box of the closed body, and points of what is left asked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.mesh import Body
from noseroom.geometry.overlap import inside
from noseroom.geometry.trees import crossing_triangles, point_distance

Floats = NDArray[np.float64]

_MOST_TRIANGLES = 60
_MOST_DEPTHS = 100
_STEPS = 4


def deepest_crossing_mm(scan: Body, pose_scan: Pose, solid: Body, pose_solid: Pose) -> float:
    """Return how deep the deepest of some points of the crossing triangles lies: a lower bound."""
    crossing = crossing_triangles(scan.tree, pose_scan, solid.tree, pose_solid, _MOST_TRIANGLES)
    if not len(crossing) or not solid.watertight:
        return 0.0
    world = moved(scan.mesh.vertices, pose_scan)[scan.mesh.triangles[crossing]]
    local = (world - pose_solid[:3, 3]) @ pose_solid[:3, :3]
    low, high = solid.mesh.box_mm
    samples = [_spread(_cut(triangle, low, high)) for triangle in local]
    points = moved(np.concatenate([np.zeros((0, 3)), *samples]), pose_solid)
    held = points[inside(points, solid, pose_solid)]
    picked = held[:: max(1, len(held) // _MOST_DEPTHS)]
    return max((point_distance(solid.tree, pose_solid, point) for point in picked), default=0.0)


def _cut(corners: Floats, low: Floats, high: Floats) -> Floats:
    """What of a polygon (n, 3) lies in a box: (k, 3), k = 0 for nothing."""
    for axis in range(3):
        for sign, limit in ((1.0, high[axis]), (-1.0, -low[axis])):
            over = sign * corners[:, axis] - limit
            kept = []
            for here, there, a, b in zip(
                corners, np.roll(corners, -1, axis=0), over, np.roll(over, -1), strict=True
            ):
                if a <= 0:
                    kept.append(here)
                if (a < 0 < b) or (b < 0 < a):
                    kept.append(here + a / (a - b) * (there - here))
            if not kept:
                return np.zeros((0, 3))
            corners = np.array(kept)
    return corners


def _spread(corners: Floats) -> Floats:
    """Points (k, 3) spread over a convex polygon (n, 3)."""
    if len(corners) < 3:
        return corners
    middle = corners.mean(axis=0)
    rings = [middle + k / _STEPS * (corners - middle) for k in range(1, _STEPS)]
    halves = (corners + np.roll(corners, -1, axis=0)) / 2
    rings += [middle + k / _STEPS * (halves - middle) for k in range(1, _STEPS)]
    return np.concatenate([middle[None], *rings])
