"""Samples in which one of two bodies is within the other: clear by their surfaces, yet not at all.

Surfaces do not know inside from outside, and so bounds of their distance do not either.
"""

from __future__ import annotations

import numpy as np

from noseroom.geometry.draws_couple import Indices
from noseroom.geometry.draws_pair import USUAL, Numbers, PairDraws
from noseroom.geometry.draws_sized import box_corners
from noseroom.geometry.draws_sizes import own_numbers
from noseroom.geometry.kernel import moved
from noseroom.geometry.overlap import inside
from noseroom.geometry.trees import NUMERIC_MM, tree_distance


def look_inside(pair: PairDraws, left: Indices) -> None:
    """Correct those of some samples that look clear because one body is within the other.

    What is inside stays inside as long as the surfaces move by less than their distance.
    """
    a, b = (side.body() for side in pair.sides)
    if not (a.watertight or b.watertight):
        return
    corners, slack = box_corners(a.mesh.box_mm), a.mesh.bound_mm + b.mesh.bound_mm + NUMERIC_MM
    while len(left):
        one = int(left[0])
        apart, held = _held(pair, one)
        scene = pair.scene(left)
        alike = scene.travel(corners, 0) + scene.play_mm + slack < apart
        if not alike[0]:
            alike[0] = True
            numbers = own_numbers(pair, one)
            apart, held = _held(pair, one, numbers)
            rest = float(pair.scene(left[:1], numbers).play_mm[0])
            if rest > 0 and rest + slack >= apart:
                pair.least[one], pair.most[one], held = 0.0, np.inf, False
        if held:
            pair.least[left[alike]] = pair.most[left[alike]] = 0.0
        left = left[~alike]


def _held(pair: PairDraws, one: int, numbers: Numbers = USUAL) -> tuple[float, bool]:
    """How far the surfaces are apart in a sample, and whether one is within the other."""
    a, b = (side.body(number) for side, number in zip(pair.sides, numbers, strict=True))
    pose, stand = pair.scene(np.array([one])).pose(0), np.eye(4)
    apart, _ = tree_distance(a.tree, pose, b.tree, stand)
    pair.effort.measured += 1
    exact = apart <= a.mesh.bound_mm + b.mesh.bound_mm
    held = inside(moved(a.probes, pose), b, stand, exact=exact).any()
    held = held or inside(b.probes, a, pose, exact=exact).any()
    return apart, bool(held)
