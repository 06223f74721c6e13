"""The smallest clearance of two bodies over many poses, their sizes drawn for each pose.

What sizes may do to the surface is taken off every bound. Where that leaves open in which pose the
two are nearest, bodies are built at the sizes of the pose that may be nearest, until no other can
be nearer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from noseroom.geometry.draws_couple import Couple, Floats, box_bound
from noseroom.geometry.draws_inside import look_inside
from noseroom.geometry.draws_pair import USUAL, Effort, PairDraws
from noseroom.geometry.draws_sized import Sized
from noseroom.geometry.draws_sizes import own_numbers
from noseroom.geometry.trees import tree_distance


@dataclass(frozen=True)
class SizedSmallest:
    """The smallest clearance of two bodies over all poses.

    distance_mm: of the meshes at the sizes of that pose; of bodies that cannot be built, the most
        that it may be; 0 where they meet or one holds the other, nan beyond the cap. bound_mm:
        never above the true clearance in any pose. pose: which it is, -1 beyond the cap.
    measured: how many distances were measured.
    """

    distance_mm: float
    bound_mm: float
    pose: int
    measured: int


def sized_smallest(a: Sized, b: Sized, count: int, cap_mm: float) -> SizedSmallest:
    """Return the smallest clearance of two bodies in `count` poses; beyond a cap only a bound."""
    effort = Effort()
    pair = PairDraws(a, b, np.arange(count), cap_mm, effort)
    first, second = (side.body() for side in pair.sides)
    pair.least = box_bound(first, second, pair.scene(np.arange(count)))
    pair.boxes_apart = pair.least.copy()
    values = _nearest_poses(pair, cap_mm)
    look_inside(pair, np.flatnonzero((pair.boxes_apart <= 0) & (pair.least > 0)))
    held = pair.most <= 0
    values[held] = 0.0
    bound = float(pair.least.min())
    near = np.flatnonzero((values < np.inf) & (pair.least < cap_mm))
    if not len(near):
        return SizedSmallest(np.nan, bound, -1, effort.measured)
    at = int(near[values[near].argmin()])
    return SizedSmallest(float(values[at]), bound, at, effort.measured)


def _nearest_poses(pair: PairDraws, cap_mm: float) -> Floats:
    """Distances (n,) mm of the surfaces where they may be the smallest, inf elsewhere."""
    count = len(pair.samples)
    values, glanced = np.full(count, np.inf), np.zeros(count, dtype=bool)
    left = np.flatnonzero(pair.least < cap_mm)
    while len(left):
        pick = int(pair.least[left].argmin())
        one = int(left[pick])
        # The usual sizes are there already, and may do.
        numbers = own_numbers(pair, one) if glanced[one] else USUAL
        bodies = [side.body(number) for side, number in zip(pair.sides, numbers, strict=True)]
        scene, couple = pair.scene(left, numbers), Couple(bodies[0], bodies[1])
        apart, points = tree_distance(couple.a.tree, scene.pose(pick), couple.b.tree, np.eye(4))
        pair.effort.measured += 1
        least, most = couple.learn(scene, pick, apart, points)
        pair.least[left] = np.maximum(pair.least[left], least)
        pair.most[left] = np.minimum(pair.most[left], most)
        glanced[one] = True
        if numbers != USUAL or not pair.reducible[one]:
            values[one] = apart if scene.play_mm[pick] <= 0 else float(most[pick])
        nearest, surely = values.min(), pair.most.min()
        open_ = np.isinf(values[left]) & (pair.least[left] < nearest)
        left = left[open_ & (pair.least[left] <= surely)]
    return values
