"""12 moving parts in 500 poses past 24 fixed ones, and the same over the whole set of motions.

Run: python tests/benchmarks/core_sweeps.py [share of the poses to time by brute force, 0..1]

Brute force measures every pair in every pose that its boxes bring under the cap, with the same
trees. With a share below 1 every k-th pose is timed and the sum scaled up; the minima are compared
on the poses that were timed. Then sizes of some are drawn for every pose, too: brute force builds
one pair in each. Seconds are of the processor, so that what else runs on the machine does not
count.
"""

from __future__ import annotations

import dataclasses
import sys
import time
from typing import Any

import numpy as np
from core_draws import at_sample, case
from machine import machine
from stack import stack

from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.geometry.motions import Motions, Shift, Turn
from noseroom.geometry.smallest import smallest_clearance
from noseroom.geometry.sweeps import sweep
from noseroom.geometry.trees import box_gaps, tree_distance, world_boxes

CAP_MM = 50.0
POSES = 500


def engine() -> Motions:
    """Roll both ways, pitch and surge, as of an engine on soft mounts."""
    return Motions(
        (
            Turn((0, 0, -300), (1, 0, 0), -3, 3),
            Turn((1500, 0, -300), (0, 1, 0), -0.5, 0.5),
            Shift((1, 0, 0), -8, 8),
        )
    )


def brute(
    moving: list[Body], poses: Any, fixed: list[Body], stands: list[Any]
) -> tuple[Any, Any, int]:
    """Least distances, who was measured, and how many were."""
    least = np.full((len(moving), len(fixed)), np.inf)
    boxes = np.concatenate(
        [world_boxes(b.mesh.box_mm[None], s) for b, s in zip(fixed, stands, strict=True)]
    )
    count = 0
    for pose in poses:
        for i, body in enumerate(moving):
            gaps = box_gaps(world_boxes(body.mesh.box_mm[None], pose[i]), boxes)[0]
            for j in np.flatnonzero(gaps < CAP_MM):
                apart, _ = tree_distance(body.tree, pose[i], fixed[j].tree, stands[j])
                least[i, j] = min(least[i, j], apart)
                count += 1
    return least, np.isfinite(least), count


PAIR = "alternator.pulley 34", "crank pulley.web 33"
"""Whose sizes are both drawn, and which are near each other."""


def sized() -> None:
    """The same with sizes drawn: times, how many were built, and one pair by brute force."""
    asked = case(POSES)
    bodies = asked.bodies[:-1]
    goes = sorted({i for i, _ in asked.pairs})
    stays = [k for k in range(len(bodies)) if k not in goes]
    at_home = [
        dataclasses.replace(one, poses=np.eye(4)) if one.build else one.body for one in bodies
    ]
    ways = np.stack([np.asarray(bodies[k].poses) for k in goes], axis=1)
    stands = [np.asarray(bodies[k].poses) for k in stays]
    for one in bodies:
        _ = one.body.tree
    start = time.process_time()
    found = sweep(
        [at_home[k] for k in goes], ways, [at_home[k] for k in stays], stands, cap_mm=CAP_MM
    )
    spent = time.process_time() - start
    print(f"{spent:8.3f} s with sizes of 8 drawn: {found.measured} measured, {found.built} built")
    start = time.process_time()
    a, b = (next(one for one in bodies if one.body.name == name) for name in PAIR)
    least = np.inf
    for k in range(POSES):
        (body_a, pose_a), (body_b, pose_b) = (at_sample(one, k, {}) for one in (a, b))
        least = min(least, tree_distance(body_a.tree, pose_a, body_b.tree, pose_b)[0])
    spent = time.process_time() - start
    names = [[bodies[k].body.name for k in some] for some in (goes, stays)]
    ours = found.distance_mm[names[0].index(PAIR[0]), names[1].index(PAIR[1])]
    print(
        f"{spent:8.3f} s one pair built in every pose: same minimum to {abs(least - ours):.1e} mm"
    )


def main(share: float = 0.04) -> None:
    """Print times, ratios, differences and the machine."""
    print(machine())
    things = stack(36)
    bodies = [body_from_shape(one.name, one.shape) for one in things]
    for body in bodies:
        _ = body.tree
    # Every third moves: between parts that stand, as an engine's do.
    goes = list(range(1, 36, 3))
    stays = [k for k in range(36) if k not in goes]
    moving, fixed = [bodies[k] for k in goes], [bodies[k] for k in stays]
    rests, stands = [things[k].pose for k in goes], [things[k].pose for k in stays]
    motions = engine()
    middle, half = motions.box()
    rng = np.random.default_rng(0)
    amounts = middle + half * rng.uniform(-1, 1, (POSES, 3))
    poses = np.array([[motions.pose(one, rest) for rest in rests] for one in amounts])

    start = time.process_time()
    found = sweep(moving, poses, fixed, stands, cap_mm=CAP_MM)
    ours = time.process_time() - start
    near = int(np.isfinite(found.distance_mm).sum())
    print(f"{ours:8.3f} s, {POSES / ours:.0f} poses a second: {found.measured} distances measured")
    print(f"         {found.distance_mm.size} pairs, {near} within the cap of {CAP_MM:g} mm")

    some = poses[:: max(1, round(1 / share))]
    start = time.process_time()
    least, seen, count = brute(moving, some, fixed, stands)
    plain = (time.process_time() - start) * POSES / len(some)
    print(f"{plain:8.3f} s by brute force, {count} distances in {len(some)} poses timed")
    print(f"RATIO {plain / ours:.0f} of brute force to this program")
    again = sweep(moving, some, fixed, stands, cap_mm=CAP_MM).distance_mm
    under = np.isfinite(again)
    off = np.abs(least[under] - again[under])
    print(f"         same minima to {off.max():.1e} mm in {under.sum()} pairs")
    assert (least[~under] >= CAP_MM - 0.5).all()
    assert (seen | ~under).all()

    sized()
    start = time.process_time()
    poses_looked, width, pairs = 0, 0.0, 0
    for i, j in zip(*np.nonzero(found.bound_mm < CAP_MM), strict=True):
        one = smallest_clearance(
            moving[i], rests[i], motions, fixed[j], stands[j], cap_mm=CAP_MM, error_mm=0.5
        )
        if not np.isnan(one.value_mm):
            assert one.bound_mm <= found.distance_mm[i, j] + 1e-9
            width = max(width, one.value_mm - one.bound_mm)
        poses_looked += one.measured
        pairs += 1
    spent = time.process_time() - start
    print(f"{spent:8.3f} s the whole set of motions, {pairs} pairs, {poses_looked} poses measured")
    print(f"         value less guaranteed bound at most {width:.3f} mm")


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:]))
