"""Bounding-volume trees (coal): the distance between two meshes, and boxes in the world."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose

Floats = NDArray[np.float64]

NUMERIC_MM = 1e-7
"""What a mesh distance may be out by rounding on bodies of car size, mm."""


def build_tree(vertices: Floats, triangles: NDArray[np.int32]) -> Any:
    """Return a coal tree of the triangles (m, 3) over vertices (n, 3), mm."""
    import coal

    tree = coal.BVHModelOBBRSS()
    tree.beginModel(len(triangles), len(vertices))
    tree.addVertices(np.ascontiguousarray(vertices, dtype=np.float64))
    tree.addTriangles(np.ascontiguousarray(triangles, dtype=np.int64))
    tree.endModel()
    return tree


def tree_distance(
    tree_a: Any, pose_a: Pose, tree_b: Any, pose_b: Pose, below_mm: float = np.inf
) -> tuple[float, NDArray[np.float64]]:
    """Return the distance between two meshes, mm, and the points (2, 3) in the world.

    Surfaces only: crossing meshes are 0.0 apart, and one inside the other is as far apart
    as their surfaces. The points mean nothing at 0.0.
    below_mm: only smaller distances are wanted; where there is none the answer is `below_mm`,
    sooner the smaller it is, and the points mean nothing.
    """
    distance, points, _ = nearest_triangles(tree_a, pose_a, tree_b, pose_b, below_mm)
    return distance, points


def nearest_triangles(
    tree_a: Any, pose_a: Pose, tree_b: Any, pose_b: Pose, below_mm: float = np.inf
) -> tuple[float, NDArray[np.float64], tuple[int, int]]:
    """Return the same as `tree_distance`, and the numbers of the two nearest triangles."""
    import coal

    request = coal.DistanceRequest()
    # A result that is used twice can hand back the last pair's answer.
    result = coal.DistanceResult()
    if below_mm < np.inf:
        # The search starts from what the result already holds, and looks for less.
        result.min_distance = below_mm
    place_a = coal.Transform3s(pose_a[:3, :3], pose_a[:3, 3])
    place_b = coal.Transform3s(pose_b[:3, :3], pose_b[:3, 3])
    distance = coal.distance(tree_a, place_a, tree_b, place_b, request, result)
    points = np.array([result.getNearestPoint1(), result.getNearestPoint2()], dtype=np.float64)
    return max(0.0, float(distance)), points, (int(result.b1), int(result.b2))


def close_triangles(
    tree_a: Any, pose_a: Pose, tree_b: Any, pose_b: Pose, below_mm: float, most: int
) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats] | None:
    """Return every pair of triangles less than a distance apart; None if there are `most` or more.

    Their numbers (k,) in the first mesh and the second, and their distances (k,), mm; crossing
    triangles are 0 apart.
    """
    import coal

    request = coal.CollisionRequest(coal.CollisionRequestFlag.CONTACT, most)
    request.security_margin = below_mm + NUMERIC_MM
    result = coal.CollisionResult()
    place_a = coal.Transform3s(pose_a[:3, :3], pose_a[:3, 3])
    place_b = coal.Transform3s(pose_b[:3, :3], pose_b[:3, 3])
    coal.collide(tree_a, place_a, tree_b, place_b, request, result)
    if result.numContacts() >= most:
        return None
    found = [result.getContact(k) for k in range(result.numContacts())]
    apart = np.array([one.penetration_depth for one in found], dtype=np.float64)
    return (
        np.array([one.b1 for one in found], dtype=np.intp),
        np.array([one.b2 for one in found], dtype=np.intp),
        np.maximum(apart, 0.0),
    )


def world_boxes(boxes: Floats, pose: Pose) -> Floats:
    """Return boxes (k, 2, 3) that hold the given boxes (k, 2, 3) after the pose."""
    centre = boxes.mean(axis=1) @ pose[:3, :3].T + pose[:3, 3]
    half = (boxes[:, 1] - boxes[:, 0]) / 2 @ np.abs(pose[:3, :3]).T
    return np.stack([centre - half, centre + half], axis=1)


def box_gaps(boxes_a: Floats, boxes_b: Floats) -> Floats:
    """Return the distances (p, q) between boxes (p, 2, 3) and (q, 2, 3); 0 where they meet."""
    a, b = boxes_a[:, None], boxes_b[None]
    apart = np.maximum(np.maximum(a[..., 0, :] - b[..., 1, :], b[..., 0, :] - a[..., 1, :]), 0.0)
    gaps: Floats = np.linalg.norm(apart, axis=-1)
    return gaps


def crossing_point(
    tree_a: Any, pose_a: Pose, tree_b: Any, pose_b: Pose
) -> NDArray[np.float64] | None:
    """Return a point (3,) in the world where two meshes cross, None where they do not."""
    import coal

    request = coal.CollisionRequest(coal.CollisionRequestFlag.CONTACT, 1)
    result = coal.CollisionResult()
    place_a = coal.Transform3s(pose_a[:3, :3], pose_a[:3, 3])
    place_b = coal.Transform3s(pose_b[:3, :3], pose_b[:3, 3])
    if not coal.collide(tree_a, place_a, tree_b, place_b, request, result):
        return None
    return np.array(result.getContact(0).pos, dtype=np.float64).reshape(3)


def crossing_triangles(
    tree_a: Any, pose_a: Pose, tree_b: Any, pose_b: Pose, most: int
) -> NDArray[np.intp]:
    """Return the numbers (k,) of up to `most` triangles of the first mesh that cross the second."""
    import coal

    request = coal.CollisionRequest(coal.CollisionRequestFlag.CONTACT, most)
    result = coal.CollisionResult()
    place_a = coal.Transform3s(pose_a[:3, :3], pose_a[:3, 3])
    place_b = coal.Transform3s(pose_b[:3, :3], pose_b[:3, 3])
    coal.collide(tree_a, place_a, tree_b, place_b, request, result)
    found = [int(result.getContact(k).b1) for k in range(result.numContacts())]
    return np.unique(np.array(found, dtype=np.intp))


def point_distance(tree: Any, pose: Pose, point: Floats) -> float:
    """Return how far a world point (3,) is from the surface of a mesh, mm."""
    import coal

    speck = coal.Sphere(0.0)
    place = coal.Transform3s(pose[:3, :3], pose[:3, 3])
    at = coal.Transform3s(np.eye(3), point)
    request, result = coal.DistanceRequest(), coal.DistanceResult()
    return max(0.0, float(coal.distance(tree, place, speck, at, request, result)))
