"""Stray bits: many little pieces put together in boxes that contain them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers, compacted, pieces_of
from noseroom.geometry.scan_types import Floats, UnreadableError

KEPT_AS_SEEN = 200
"""So many pieces, the largest, always stay as they are."""
STRAY_MM = 25.0
"""A piece of the others is a stray bit where its box is no longer than this across corners."""
_MOST_BOXES = 300
_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=bool)
# Corner 4x + 2y + z; counter-clockwise from outside.
_SIDES = np.array(
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
)  # fmt: skip


@dataclass(eq=False)
class Gathered:
    """A mesh in which stray bits are boxes.

    pieces: how many separate pieces there were. strays: how many of them went into how many
    boxes. smallest_mm: the smallest piece, across the corners of its box.
    """

    vertices: Floats
    triangles: Numbers
    pieces: int
    strays: int
    boxes: int
    smallest_mm: float


def gathered(vertices: Floats, triangles: Numbers, most_pieces: int) -> Gathered:
    """Put stray bits into boxes that contain them; to leave them out would make room.

    Raises:
        UnreadableError: more than `most_pieces` pieces are too large for that.
    """
    count, piece = pieces_of(triangles)
    low, high = boxes_of(vertices[triangles], piece, count)
    size = np.linalg.norm(high - low, axis=1)
    smallest = float(size.min())
    stray = size <= STRAY_MM
    stray[np.argsort(-size, kind="stable")[:KEPT_AS_SEEN]] = False
    if count - int(stray.sum()) > most_pieces:
        raise UnreadableError(
            f"{count} separate pieces, {count - int(stray.sum())} of them large",
            f"at most {most_pieces}",
            "take the loose bits away in the scanning program",
        )
    if not stray.any():
        return Gathered(vertices, triangles, count, 0, 0, smallest)
    owner = _clustered((low[stray] + high[stray]) / 2)
    boxes = int(owner.max()) + 1
    box_low, box_high = boxes_of(np.stack([low[stray], high[stray]], axis=1), owner, boxes)
    # A flat bit would make a box without a volume.
    box_low, box_high = box_low - 0.05, box_high + 0.05
    corners = np.where(_CORNERS[None], box_high[:, None], box_low[:, None]).reshape(-1, 3)
    sides = (_SIDES[None] + 8 * np.arange(boxes)[:, None, None]).reshape(-1, 3)
    kept = triangles[~stray[piece]]
    used, numbers = compacted(kept)
    return Gathered(
        np.concatenate([vertices[used], corners]),
        np.concatenate([numbers, sides + len(used)]),
        count,
        int(stray.sum()),
        boxes,
        smallest,
    )


def boxes_of(points: Floats, owner: Numbers, count: int) -> tuple[Floats, Floats]:
    """Lowest and highest corner (count, 3) of the points (n, k, 3) of each owner (n,)."""
    order = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[order], np.arange(count))
    return (
        np.minimum.reduceat(points.min(axis=1)[order], starts),
        np.maximum.reduceat(points.max(axis=1)[order], starts),
    )


def _clustered(centres: Floats) -> NDArray[np.int64]:
    """The cluster of each centre (k,), those in one cell of a grid together."""
    cell = STRAY_MM
    while True:
        keys = np.floor(centres / cell).astype(np.int64)
        found, owner = np.unique(keys, axis=0, return_inverse=True)
        if len(found) <= _MOST_BOXES:
            return owner.reshape(-1).astype(np.int64)
        cell *= 1.5
