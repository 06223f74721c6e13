"""Every pair of many bodies under a cap: boxes first, then meshes, then the kernel where near.

The boxes are swept along the axis they are most spread on, so that the work grows with the pairs
that are near, not with all there are. A pair that is left out is at least the cap apart for sure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Clearance, placed_clearance
from noseroom.geometry.kernel import Pose, rigid
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM, world_boxes
from noseroom.tolerances import DEFAULT, Tolerances

Floats = NDArray[np.float64]
Asked = Callable[[int, int], bool]

_PAIRS_AT_ONCE = 1_000_000


@dataclass(frozen=True, eq=False)
class AllPairs:
    """The answers for many bodies.

    near: by pair of body numbers (i < j), in order, every pair that may be less than `cap_mm`
        apart. count: how many bodies there are. asked: how many pairs were asked for.
    """

    near: dict[tuple[int, int], Clearance]
    cap_mm: float
    count: int
    asked: int

    @property
    def beyond(self) -> int:
        """How many of the pairs asked for are surely at least the cap apart."""
        return self.asked - len(self.near)

    def nearest(self) -> tuple[int, int] | None:
        """The pair of the smallest bound; None where all are beyond the cap."""
        return min(self.near, key=lambda pair: self.near[pair].bound_mm, default=None)


def all_pairs(
    bodies: Sequence[Body],
    poses: Sequence[Pose | None],
    cap_mm: float,
    tolerances: Tolerances = DEFAULT,
    *,
    wanted: Asked | None = None,
) -> AllPairs:
    """Return how all pairs of bodies stand to each other, up to a cap.

    poses: one for each body, None where it is at home. Gaps below `tolerances.exact_below_mm` are
    refined by the exact kernel; 0 keeps it out. wanted: which pairs (i < j) to ask for; all
    without it. Two bodies that overlap or hold each other are near whatever the cap.

    Raises:
        GeometryError: not one pose for each body, a pose that is not rigid, or a cap that is no
            length.
    """
    if not cap_mm >= 0:
        raise GeometryError("a cap is a length of 0 mm or more")
    if len(bodies) != len(poses):
        raise GeometryError(f"{len(bodies)} bodies but {len(poses)} poses")
    places = [rigid(pose) for pose in poses]
    asked = len(bodies) * (len(bodies) - 1) // 2
    if wanted is not None:
        asked = sum(wanted(i, j) for j in range(len(bodies)) for i in range(j))
    near = {}
    for i, j in close_boxes(placed_boxes(bodies, places), cap_mm):
        if wanted is not None and not wanted(i, j):
            continue
        found = placed_clearance(bodies[i], bodies[j], places[i], places[j], cap_mm, tolerances)
        if found.bound_mm < cap_mm or found.bound_mm == 0:
            near[i, j] = found
    return AllPairs(near, float(cap_mm), len(bodies), asked)


def placed_boxes(bodies: Sequence[Body], poses: Sequence[Pose]) -> Floats:
    """Return boxes (n, 2, 3) in the world that hold the true bodies, not only their meshes."""
    out = np.array([[-1.0], [1.0]])
    boxes = [
        world_boxes((body.mesh.box_mm + out * body.mesh.bound_mm)[None], pose)
        for body, pose in zip(bodies, poses, strict=True)
    ]
    return np.concatenate([np.zeros((0, 2, 3)), *boxes])


def close_boxes(boxes: Floats, cap_mm: float) -> list[tuple[int, int]]:
    """Return the pairs (i < j) of boxes (n, 2, 3) that are less than `cap_mm` apart, in order."""
    if len(boxes) < 2:
        return []
    # Boxes that touch are asked for even under a cap of nothing: they may overlap.
    reach = cap_mm + NUMERIC_MM
    axis = int(np.ptp(boxes.mean(axis=1), axis=0).argmax())
    order = np.argsort(boxes[:, 0, axis], kind="stable")
    swept = boxes[order]
    # Of those that begin later along the axis, all that begin before this one's end, and the cap.
    last = np.searchsorted(swept[:, 0, axis], swept[:, 1, axis] + reach, side="right")
    found = []
    for first, other in _runs(last):
        a, b = swept[first], swept[other]
        gap = np.maximum(np.maximum(a[:, 0] - b[:, 1], b[:, 0] - a[:, 1]), 0.0)
        close = np.linalg.norm(gap, axis=1) < reach
        found.append(np.stack([order[first[close]], order[other[close]]], axis=1))
    pairs = np.sort(np.concatenate([np.zeros((0, 2), dtype=np.intp), *found]), axis=1)
    return [(int(i), int(j)) for i, j in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]]


def _runs(last: NDArray[np.intp]) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Each number with all that follow it up to its last one, some at a time."""
    counts = np.maximum(last - np.arange(len(last)) - 1, 0)
    start = 0
    while start < len(last):
        total = np.cumsum(counts[start:])
        stop = start + max(1, int(np.searchsorted(total, _PAIRS_AT_ONCE, side="right")))
        some = counts[start:stop]
        first = np.repeat(np.arange(start, start + len(some)), some)
        steps = np.arange(len(first)) - np.repeat(np.cumsum(some) - some, some)
        yield first, first + steps + 1
        start = stop
