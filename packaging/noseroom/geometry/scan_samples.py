"""How far points are from what a scan saw, never told as too little."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_types import Floats

_STEP_MM = 10.0
_MOST_POINTS = 200_000
_MOST_STEPS = 200
_INSIDE = 40


class Seen:
    """Points all over a surface, vertices (n, 3) mm and triangles (m, 3)."""

    def __init__(self, vertices: Floats, triangles: NDArray[np.integer]) -> None:
        from scipy.spatial import cKDTree

        corners = vertices[triangles]
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
        square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = float(np.linalg.norm(square, axis=1).sum()) / 2
        step = max(_STEP_MM, (area / _MOST_POINTS) ** 0.5)
        steps = np.clip(np.ceil(sides / step).astype(np.int64), 1, _MOST_STEPS)
        points = [vertices[np.unique(triangles)]]
        for count in np.unique(steps[steps > 1]).tolist():
            shares = _lattice(count)
            made = np.einsum("kc,ncd->nkd", shares, corners[steps == count])
            points.append(made.reshape(-1, 3))
        self._tree = cKDTree(np.concatenate(points))

    def farthest_mm(self, corners: Floats) -> float:
        """How far the convex hull of corners (k, 3) mm gets from the surface, by samples of it."""
        shares = np.random.default_rng(0).dirichlet(np.full(len(corners), 0.5), _INSIDE)
        points = np.concatenate([corners, corners.mean(axis=0)[None], shares @ corners])
        return float(self.distances_mm(points).max())

    def distances_mm(self, points: Floats) -> Floats:
        """How far points (n, 3) mm are from the surface, (n,)."""
        found: Floats = self._tree.query(points)[0]
        return found


def _lattice(count: int) -> Floats:
    """Shares (k, 3) of a triangle's corners, evenly all over it, `count` steps a side."""
    i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
    inside = i + j <= count
    a, b = i[inside] / count, j[inside] / count
    shares: Floats = np.stack([a, b, 1.0 - a - b], axis=1)
    return shares
