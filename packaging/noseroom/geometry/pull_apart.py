"""How far, and which way, one body has to be moved to come free of another.

Penetration depths from contact queries are meaningless for hollow or bent parts. Instead
the body is set down far enough out to be free for certain, and brought back along a
straight line in steps that can never be longer than the distance that is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.exact import exact_distance
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM, tree_distance

Floats = NDArray[np.float64]

_FREE_MM = 1e-3
_MOST_STEPS = 500
# The exact kernel takes out the chord errors; what is then left is not worth its time.
_MOST_EXACT_STEPS = 8
_EXACT_STEP_MM = 4e-3


@dataclass(frozen=True, eq=False)
class PullApart:
    """A straight move of the second body that frees it of the first for certain.

    direction: (3,), a unit vector in the world. distance_mm: after this much, no surface of
    one crosses or encloses the other.
    """

    direction: Floats
    distance_mm: float


def pull_apart(a: Body, pose_a: Pose, b: Body, pose_b: Pose, *, exact: bool = True) -> PullApart:
    """Return the shortest straight move found that frees b from a.

    Tried: both ways along the world's axes and along the axes of either pose (the direction
    of least overlap of the boxes is among them). The true shortest move can be shorter; this
    one is certain. exact: let the exact kernel take out the meshes' chord errors at the end.
    """
    points_a, points_b = moved(a.mesh.vertices, pose_a), moved(b.mesh.vertices, pose_b)
    slack = a.mesh.bound_mm + b.mesh.bound_mm + NUMERIC_MM
    ways = _directions(pose_a, pose_b)
    outside = np.array(
        [(points_a @ way).max() - (points_b @ way).min() + slack + _FREE_MM for way in ways]
    )
    best: PullApart | None = None
    for index in np.argsort(outside, kind="stable"):
        way = ways[index]
        distance = _bring_back(a, pose_a, b, pose_b, way, float(outside[index]), slack)
        if best is None or distance < best.distance_mm:
            best = PullApart(way, distance)
    assert best is not None  # there are always six directions
    if exact and slack > _FREE_MM and a.faces and b.faces:
        way, start = best.direction, best.distance_mm
        return PullApart(way, _bring_back(a, pose_a, b, pose_b, way, start, slack, exact=True))
    return best


def _bring_back(
    a: Body,
    pose_a: Pose,
    b: Body,
    pose_b: Pose,
    way: Floats,
    start_mm: float,
    slack_mm: float,
    *,
    exact: bool = False,
) -> float:
    """Return the shortest distance (mm) along one way that conservative advancement reaches."""
    distance = max(0.0, start_mm)
    for _ in range(_MOST_EXACT_STEPS if exact else _MOST_STEPS):
        pose = pose_b.copy()
        pose[:3, 3] += distance * way
        apart, _ = tree_distance(a.tree, pose_a, b.tree, pose)
        least = apart - slack_mm
        if exact:
            least = exact_distance(a, pose_a, b, pose, apart).bound_mm
        step = min(least - _FREE_MM, distance)
        if step <= (_EXACT_STEP_MM if exact else _FREE_MM):
            break
        distance -= step
    return distance


def _directions(pose_a: Pose, pose_b: Pose) -> list[Floats]:
    ways: list[Floats] = []
    for axes in (np.eye(3), pose_a[:3, :3].T, pose_b[:3, :3].T):
        for axis in axes:
            for way in (axis, -axis):
                if not any(np.dot(way, known) > 1 - 1e-9 for known in ways):
                    ways.append(way / np.linalg.norm(way) + 0.0)  # no -0.0 in a report
    return ways
