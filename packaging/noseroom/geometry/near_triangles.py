"""Which triangles of two bodies may be nearer than a distance, by planes across one direction.

A plane that all but parts two bodies leaves few triangles of either on the wrong side of it, and
how far the faces themselves reach along the direction (`support`) leaves fewer still.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.trees import NUMERIC_MM, close_triangles

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

_MOST_PAIRS = 6000
_MOST_FACES = 100
# Neighbours in the mesh are compared in blocks, if there are no more pairs than this. Of more
# than a few that are near by their boxes, the trees find those that are.
_BLOCK = 16
_MOST_AT_ONCE = 500_000
_FEW = 2000


@dataclass(frozen=True, eq=False)
class _Side:
    """The triangles (k,) of a body that are left, and how far each reaches (k,) towards the other.

    way: the direction, in the body's frame; start: what the place of the body adds.
    """

    body: Any
    way: Floats
    start: float
    numbers: Numbers
    reach: Floats

    @classmethod
    def of(cls, body: Any, pose: Pose, way: Floats) -> _Side:
        """All triangles of a body in its place."""
        local, start = way @ pose[:3, :3], float(way @ pose[:3, 3])
        heights = body.mesh.vertices @ local
        reach = heights[body.mesh.triangles].max(axis=1) + body.triangle_error_mm + start
        return cls(body, local, start, np.arange(len(reach)), reach)

    def beyond(self, least: float) -> _Side:
        """Those that reach beyond a height."""
        kept = np.flatnonzero(self.reach > least)
        return _Side(self.body, self.way, self.start, self.numbers[kept], self.reach[kept])

    @property
    def faces(self) -> NDArray[np.int32]:
        """Of each triangle."""
        faces: NDArray[np.int32] = self.body.mesh.face_of[self.numbers]
        return faces

    def as_faces_reach(self) -> _Side:
        """The same with no triangle reaching further than its face does."""
        once, which = np.unique(self.faces, return_inverse=True)
        reaches = self.body.reaches
        sure = np.array([reaches.closed(int(face), self.way) for face in once]) + self.start
        reach = np.minimum(self.reach, sure[which.reshape(-1)])
        return _Side(self.body, self.way, self.start, self.numbers, reach)


def near_triangles(
    a: Any, pose_a: Pose, b: Any, pose_b: Pose, ends: Floats, least_mm: float, most_mm: float
) -> tuple[Numbers, Numbers] | None:
    """Return pairs of triangles (k,) of two bodies (`mesh.Body`) that may be near each other.

    Nearer than least_mm, that is. ends: (2, 3) points on the two, not the same, whose line is the
    direction. most_mm: triangles further apart do not matter. None where there are too many.
    """
    way = ends[1] - ends[0]
    way = way / np.linalg.norm(way)
    # A plane keeps two apart by no less than minus the sum of how far they reach to each other.
    wrong = -least_mm - NUMERIC_MM
    one, other = _Side.of(a, pose_a, way), _Side.of(b, pose_b, -way)
    for look in range(2):
        one = one.beyond(wrong - other.reach.max(initial=-np.inf))
        other = other.beyond(wrong - one.reach.max(initial=-np.inf))
        if not len(one.numbers) or not len(other.numbers):
            return np.zeros(0, np.intp), np.zeros(0, np.intp)
        if look or len(np.unique(one.faces)) + len(np.unique(other.faces)) > _MOST_FACES:
            break
        one, other = one.as_faces_reach(), other.as_faces_reach()
    frames = np.concatenate([way[None], np.linalg.svd(way[None])[2][1:]]), pose_a[:3, :3].T
    boxes = [(_boxes(one, pose_a, axes), _boxes(other, pose_b, axes)) for axes in frames]
    # Along the line the ends towards each other are known better.
    boxes[0][0][:, 1, 0], boxes[0][1][:, 0, 0] = one.reach, -other.reach
    near = _by_boxes(boxes, least_mm + NUMERIC_MM)
    if near is not None and len(near[0]) <= _FEW:
        return one.numbers[near[0]], other.numbers[near[1]]
    pairs = close_triangles(a.tree, pose_a, b.tree, pose_b, most_mm, _MOST_PAIRS)
    if pairs is None:
        return None
    first, second, apart = pairs
    reach_a, reach_b = (
        np.full(len(a.mesh.triangles), -np.inf),
        np.full(len(b.mesh.triangles), -np.inf),
    )
    reach_a[one.numbers], reach_b[other.numbers] = one.reach, other.reach
    lowest = apart - a.triangle_error_mm[first] - b.triangle_error_mm[second] - NUMERIC_MM
    kept = (lowest < least_mm) & (reach_a[first] + reach_b[second] > wrong)
    return first[kept], second[kept]


def _boxes(side: _Side, pose: Pose, axes: Floats) -> Floats:
    """Boxes (k, 2, 3) along some axes (3, 3) round what the triangles stand for."""
    mesh = side.body.mesh
    heights = moved(mesh.vertices, pose) @ axes.T
    corners = heights[mesh.triangles[side.numbers]]
    error = side.body.triangle_error_mm[side.numbers][:, None]
    return np.stack([corners.min(axis=1) - error, corners.max(axis=1) + error], axis=1)


def _by_boxes(
    frames: list[tuple[Floats, Floats]], least_mm: float
) -> tuple[Numbers, Numbers] | None:
    """Pairs of the boxes of two sides nearer than a distance in all frames; None for too many.

    Blocks of neighbours first, then what is in those that are near.
    """
    blocks = [(_blocks(a), _blocks(b)) for a, b in frames]
    if len(blocks[0][0][1]) * len(blocks[0][1][1]) > _MOST_AT_ONCE:
        return None
    close = [_apart2(a[:, None], b[None]) < least_mm**2 for (_, a), (_, b) in blocks]
    i, j = np.nonzero(np.logical_and.reduce(close))
    if len(i) * _BLOCK**2 > _MOST_AT_ONCE:
        return None
    (a, _), (b, _) = blocks[0]
    near = _apart2(a[i][:, :, None], b[j][:, None]) < least_mm**2
    pair, first, second = np.nonzero(near)
    first, second = i[pair] * _BLOCK + first, j[pair] * _BLOCK + second
    for a, b in frames[1:]:
        kept = _apart2(a[first], b[second]) < least_mm**2
        first, second = first[kept], second[kept]
    return first, second


def _blocks(boxes: Floats) -> tuple[Floats, Floats]:
    """Boxes (k, block, 2, 3) of neighbours in blocks, and (k, 2, 3) round each block."""
    nothing = np.tile(np.array([[np.inf], [-np.inf]]), (-len(boxes) % _BLOCK, 1, 3))
    blocks = np.concatenate([boxes, nothing]).reshape(-1, _BLOCK, 2, 3)
    return blocks, np.stack([blocks[:, :, 0].min(axis=1), blocks[:, :, 1].max(axis=1)], axis=1)


def _apart2(a: Floats, b: Floats) -> Floats:
    """Squared gaps between boxes (..., 2, 3)."""
    found: Floats = np.zeros(np.broadcast_shapes(a.shape, b.shape)[:-2])
    for axis in range(3):
        gap = np.maximum(a[..., 0, axis] - b[..., 1, axis], b[..., 0, axis] - a[..., 1, axis])
        np.maximum(gap, 0.0, out=gap)
        gap *= gap
        found += gap
    return found
