"""Large bare meshes (scans) cut into blocks, so that only what is near a part gets a tree.

Building the tree of a whole scan takes longer than all questions about the few square inches of
it that a part is near.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose
from noseroom.geometry.trees import (
    NUMERIC_MM,
    box_gaps,
    build_tree,
    nearest_triangles,
    world_boxes,
)

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

_TRIANGLES = 4096


@dataclass(frozen=True, eq=False)
class Blocks:
    """Triangles (m, 3) over vertices (n, 3), mm, in blocks.

    members: the triangles of each. boxes: (blocks, 2, 3) in the mesh's frame.
    """

    vertices: Floats
    triangles: NDArray[np.int32]
    members: tuple[Numbers, ...]
    boxes: Floats
    _trees: dict[int, Any] = field(repr=False, default_factory=dict)

    def tree(self, block: int) -> Any:
        """Return the tree of one block, built when it is first asked for."""
        if block not in self._trees:
            used, numbers = np.unique(self.triangles[self.members[block]], return_inverse=True)
            corners = numbers.reshape(-1, 3).astype(np.int32)
            self._trees[block] = build_tree(self.vertices[used], corners)
        return self._trees[block]


def blocks_of(vertices: Floats, triangles: NDArray[np.int32]) -> Blocks | None:
    """Cut a mesh in halves across the longest way until a block is small; None if it is at once."""
    if len(triangles) <= 2 * _TRIANGLES:
        return None
    middles = vertices[triangles].mean(axis=1)
    left, members = [np.arange(len(triangles))], []
    while left:
        some = left.pop()
        if len(some) <= _TRIANGLES:
            members.append(some)
            continue
        places = middles[some]
        axis = int(np.ptp(places, axis=0).argmax())
        half = len(some) // 2
        order = some[np.argpartition(places[:, axis], half)]
        left += [order[:half], order[half:]]
    corners = [vertices[triangles[some]].reshape(-1, 3) for some in members]
    boxes = np.array([[one.min(axis=0), one.max(axis=0)] for one in corners])
    return Blocks(vertices, triangles, tuple(members), boxes)


def nearest_surfaces(
    a: Any, pose_a: Pose, b: Any, pose_b: Pose, below_mm: float = np.inf
) -> tuple[float, Floats, tuple[int, int]]:
    """Return what `trees.nearest_triangles` does of the whole meshes of two bodies (`mesh.Body`).

    Of a large bare mesh only the blocks that can hold the nearest triangle are looked at.
    """
    if b.blocks is not None:
        return near_blocks(a.tree, a.mesh.box_mm, pose_a, b.blocks, pose_b, below_mm)
    if a.blocks is not None:
        apart, points, (s, t) = near_blocks(
            b.tree, b.mesh.box_mm, pose_b, a.blocks, pose_a, below_mm
        )
        return apart, points[::-1], (t, s)
    return nearest_triangles(a.tree, pose_a, b.tree, pose_b, below_mm)


def near_blocks(
    tree: Any, box: Floats, pose: Pose, blocks: Blocks, place: Pose, below_mm: float = np.inf
) -> tuple[float, Floats, tuple[int, int]]:
    """The same for a tree with its box (2, 3) and a mesh in blocks."""
    gaps = box_gaps(world_boxes(blocks.boxes, place), world_boxes(box[None], pose))[:, 0]
    best, points, numbers = below_mm, np.zeros((2, 3)), (-1, -1)
    for block in np.argsort(gaps, kind="stable"):
        if gaps[block] - NUMERIC_MM >= best or best <= 0.0:
            break
        apart, ends, (t, s) = nearest_triangles(tree, pose, blocks.tree(int(block)), place, best)
        if apart < best:
            best, points, numbers = apart, ends, (t, int(blocks.members[block][s]))
    return best, points, numbers
