"""Two bodies of which one distance, measured in one sample, says much of all the others.

Three bounds hold for every sample at once: no distance changes by more than the first body's box
moves; two points that are really on the bodies are carried along and stay on them; and a plane
across the line of the nearest points keeps the two apart by what is linear in the pose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_bounds import Floats, Indices, Scene, box_corners
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM

_NUMBERS_AT_ONCE = 2_000_000


def outline(body: Body) -> Floats:
    """Corners (k, 3) of the hull of a body's mesh; of a flat one, all its vertices."""
    from scipy.spatial import ConvexHull, QhullError

    points: Floats = body.mesh.vertices[np.unique(body.mesh.triangles)]
    try:
        corners: Floats = points[ConvexHull(points).vertices]
    except QhullError:
        return points
    return corners


@dataclass(eq=False)
class Couple:
    """Two bodies with the corners of their hulls, between which distances are measured."""

    a: Body
    b: Body

    def __post_init__(self) -> None:
        self.slack_mm = self.a.mesh.bound_mm + self.b.mesh.bound_mm + NUMERIC_MM
        self._hulls = outline(self.a), outline(self.b)
        self._box = box_corners(self.a.mesh.box_mm)

    def learn(
        self, scene: Scene, sample: int, apart_mm: float, points: Floats
    ) -> tuple[Floats, Floats]:
        """Bounds (n,) from below and above on the true distance in every sample, from one.

        apart_mm, points (2, 3): the distance of the meshes in that sample and where it is.
        """
        travel, play = scene.travel(self._box, sample), scene.play_mm
        least = apart_mm - travel - play - self.slack_mm
        if apart_mm <= 0.0:
            return np.maximum(least, 0.0), travel + play + self.slack_mm
        own = scene.turns[sample].T @ (points[0] - scene.places[sample])
        most = reach(scene, scene.carried(own[None])[:, 0], points[1], self.slack_mm)
        normal = (points[1] - points[0]) / apart_mm
        least = np.maximum(least, self._parted(scene, normal))
        return np.maximum(least, 0.0), most

    def learn_each(
        self, scene: Scene, apart_mm: Floats, points: Floats, known: NDArray[np.bool_]
    ) -> tuple[Floats, Floats]:
        """The same where every sample was measured: apart_mm (n,), points (n, 2, 3).

        known: (n,) where apart_mm is the distance; elsewhere it is no less.
        """
        play = scene.play_mm
        least = apart_mm - play - self.slack_mm
        most = reach(scene, points[:, 0], points[:, 1], self.slack_mm)
        most = np.where(apart_mm > 0, most, play + self.slack_mm)
        most[~known] = np.inf
        loose = np.flatnonzero((apart_mm > 0) & (play > 0) & known)
        if len(loose):
            some = scene.take(loose)
            normals = (points[loose, 1] - points[loose, 0]) / apart_mm[loose, None]
            least[loose] = np.maximum(least[loose], self._parted_each(some, normals))
        return np.maximum(least, 0.0), most

    def learn_by_corners(self, scene: Scene, normals: Floats) -> tuple[Floats, Floats]:
        """Bounds (n,) from the furthest corner of either along directions (n, 3) from a to b.

        A corner is really there, so that its distance from the other body bounds theirs from
        above, and the line to its nearest point is a better direction for the plane. Much less
        work than the distance of the two meshes.
        """
        on_a = scene.carried_each(self._hulls[0][_furthest(scene.from_a(normals), self._hulls[0])])
        on_b = self._hulls[1][_furthest(-normals, self._hulls[1])]
        near_a = _nearest_on(self.a, scene.taken_back_each(on_b))
        ends = (
            np.stack([on_a, scene.carried_each(near_a)]),
            np.stack([_nearest_on(self.b, on_a), on_b]),
        )
        lengths = np.linalg.norm(ends[1] - ends[0], axis=2)
        which, each = lengths.argmin(axis=0), np.arange(len(normals))
        a, b, apart = (one[which, each] for one in (*ends, lengths))
        least = np.zeros(len(normals))
        clear = np.flatnonzero(apart > 0)
        ways = (b[clear] - a[clear]) / apart[clear, None]
        least[clear] = self._parted_each(scene.take(clear), ways)
        return np.maximum(least, 0.0), reach(scene, a, b, self.slack_mm)

    def _parted(self, scene: Scene, normal: Floats) -> Floats:
        """What a plane across a direction (3,) keeps between the two in every sample, (n,) mm."""
        ways = scene.from_a(normal)
        hull, here = self._hulls[0], ways[0]
        # In no sample can a corner be the furthest that falls back by more than the direction
        # swings times how far it is from the furthest one here.
        swing = float(np.linalg.norm(ways - here, axis=1).max())
        heights = hull @ here
        top = int(heights.argmax())
        off = np.linalg.norm(hull - hull[top], axis=1)
        kept = hull[heights[top] - heights <= swing * off + NUMERIC_MM]
        a = _highest(ways, kept) + scene.places @ normal
        b = float((self._hulls[1] @ normal).min())
        parted: Floats = b - a - self.slack_mm - scene.nearer(normal)
        return parted

    def _parted_each(self, scene: Scene, normals: Floats) -> Floats:
        ways = scene.from_a(normals)
        a = _highest(ways, self._hulls[0]) + np.einsum("ni,ni->n", scene.places, normals)
        b = -_highest(-normals, self._hulls[1])
        parted: Floats = b - a - self.slack_mm - scene.nearer(normals)
        return parted


def reach(scene: Scene, on_a: Floats, on_b: Floats, slack_mm: float) -> Floats:
    """The most (n,) that two points near the bodies, (n, 3) each, allow them to be apart."""
    line, (less, more) = on_b - on_a, scene.shifts()
    plain = np.linalg.norm(line, axis=1) + scene.play_mm
    boxed = np.linalg.norm(np.maximum(np.abs(line + less), np.abs(line + more)), axis=1)
    most: Floats = np.minimum(plain, boxed) + slack_mm
    return most


def _highest(ways: Floats, corners: Floats) -> Floats:
    """The most that a corner of (k, 3) reaches along each direction of (n, 3): (n,)."""
    best = corners[_furthest(ways, corners)]
    highest: Floats = np.einsum("ni,ni->n", ways, best)
    return highest


def _furthest(ways: Floats, corners: Floats) -> Indices:
    """The corner of (k, 3) that is furthest along each direction of (n, 3): (n,)."""
    step = max(1, _NUMBERS_AT_ONCE // len(corners))
    parts = [
        (ways[start : start + step] @ corners.T).argmax(axis=1)
        for start in range(0, len(ways), step)
    ]
    return np.concatenate([np.zeros(0, np.intp), *parts])


def _nearest_on(body: Body, points: Floats) -> Floats:
    """A point (n, 3) of the mesh near each of points (n, 3), all in the body's frame.

    The tree picks the triangle, a closed form the point of it.
    """
    from trimesh.triangles import closest_point

    picked = np.array([_nearest_triangle(body.tree, one) for one in points], dtype=np.intp)
    corners = body.mesh.vertices[body.mesh.triangles[picked]]
    nearest: Floats = closest_point(corners, points)
    return nearest


def _nearest_triangle(tree: Any, point: Floats) -> int:
    import coal

    request, result = coal.DistanceRequest(), coal.DistanceResult()
    at = coal.Transform3s(np.eye(3), point)
    coal.distance(tree, coal.Transform3s(), coal.Sphere(0.0), at, request, result)
    return int(result.b1)
