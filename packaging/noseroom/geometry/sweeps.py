"""Clearances of bodies that move: over a list of poses, and over all of a motion set.

`sweep` answers for many poses at once. From one distance that was measured, every other pose's
distance is bounded by how far the body's corners move between the two (distances of rigid bodies
change by no more), so that few poses have to be measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, moved, rigid, rigid_all
from noseroom.geometry.mesh import Body
from noseroom.geometry.overlap import inside
from noseroom.geometry.trees import NUMERIC_MM, tree_distance

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
_PAIRS_AT_ONCE = 200_000
# A plane is worth trying for so many poses, and where it keeps such a share of the distance.
_FEW_LEFT = 8
_PLANE_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Sweep:
    """The smallest clearance of each moving body (m) to each fixed one (f) over all poses.

    distance_mm: (m, f) of the meshes; 0 where they meet or one holds the other, nan where no pose
        comes within the cap.
    bound_mm: (m, f), never above the true clearance at any of the poses.
    pose: (m, f) the number of the pose where it is smallest, -1 beyond the cap.
    measured: how many distances were measured.
    """

    distance_mm: Floats
    bound_mm: Floats
    pose: Indices
    measured: int


def sweep(
    moving: Sequence[Body],
    poses: Floats,
    fixed: Sequence[Body],
    fixed_poses: Sequence[Pose | None],
    *,
    cap_mm: float,
) -> Sweep:
    """Return the smallest clearances over a list of poses, to the pose; nothing in between.

    poses: (n, m, 4, 4), the place of every moving body in every pose; (n, 4, 4) moves them all
    alike. cap_mm: beyond it a pair is not measured. For what lies between poses ask
    `smallest_clearance`.

    Raises:
        GeometryError: poses that are not rigid or do not fit the bodies, or a cap that is no
            length.
    """
    if not cap_mm >= 0:
        raise GeometryError("a cap is a length of 0 mm or more")
    places = _checked_poses(poses, len(moving))
    standing = [rigid(pose) for pose in fixed_poses]
    if len(standing) != len(fixed):
        raise GeometryError(f"{len(fixed)} fixed bodies but {len(standing)} poses")
    shape = (len(moving), len(fixed))
    distance, bound = np.full(shape, np.nan), np.empty(shape)
    where, measured = np.full(shape, -1, dtype=np.intp), 0
    fixed_boxes = np.array(
        [_world_box(body, pose[None])[0] for body, pose in zip(fixed, standing, strict=True)]
    ).reshape(-1, 2, 3)
    for i, body in enumerate(moving):
        way = np.ascontiguousarray(places[:, i])
        corners = _corners(body, way)
        boxes = np.stack([corners.min(axis=1), corners.max(axis=1)], axis=1)
        for j, gaps in enumerate(_gaps(boxes, fixed_boxes)):
            slack = body.mesh.bound_mm + fixed[j].mesh.bound_mm + NUMERIC_MM
            boxes_mm = float(gaps.min()) - NUMERIC_MM
            if boxes_mm - slack >= cap_mm:
                bound[i, j] = boxes_mm - slack
                continue
            pair = _PairSweep(body, way, corners, fixed[j], standing[j])
            best, at = pair.smallest(gaps, cap_mm + slack)
            measured += pair.measured
            if at >= 0 and best - slack < cap_mm:
                distance[i, j], where[i, j] = best, at
            bound[i, j] = max(0.0, best - slack)
    return Sweep(distance, bound, where, measured)


def _checked_poses(poses: Floats, count: int) -> Floats:
    places = np.asarray(poses, dtype=np.float64)
    if places.ndim == 3 and places.shape[1:] == (4, 4):
        places = np.broadcast_to(places[:, None], (len(places), count, 4, 4))
    if places.shape[1:] != (count, 4, 4) or not len(places):
        raise GeometryError("poses are (n, moving bodies, 4, 4) or (n, 4, 4), with n of 1 or more")
    return rigid_all(places)


def _corners(body: Body, poses: Floats) -> Floats:
    """The corners of the mesh's box in every pose: (n, 8, 3)."""
    low, high = body.mesh.box_mm
    corners = low + _CORNERS * (high - low)
    carried: Floats = corners @ np.swapaxes(poses[:, :3, :3], 1, 2) + poses[:, None, :3, 3]
    return carried


def _world_box(body: Body, poses: Floats) -> Floats:
    corners = _corners(body, poses)
    return np.stack([corners.min(axis=1), corners.max(axis=1)], axis=1)


def _gaps(boxes: Floats, fixed: Floats) -> Floats:
    """Distances between boxes (n, 2, 3) and fixed ones (f, 2, 3): (f, n)."""
    gaps = np.empty((len(fixed), len(boxes)))
    step = max(1, _PAIRS_AT_ONCE // max(1, len(boxes)))
    for start in range(0, len(fixed), step):
        some = fixed[start : start + step, None]
        apart = np.maximum(some[..., 0, :] - boxes[None, :, 1], boxes[None, :, 0] - some[..., 1, :])
        gaps[start : start + step] = np.linalg.norm(np.maximum(apart, 0.0), axis=-1)
    return gaps


@dataclass(eq=False)
class _PairSweep:
    """One moving body on its way past one fixed one."""

    body: Body
    way: Floats
    corners: Floats
    other: Body
    stand: Pose
    measured: int = 0

    def smallest(self, lower: Floats, cap_mm: float) -> tuple[float, int]:
        """The smallest mesh distance and its pose, (least bound, -1) if none is below the cap.

        lower: (n,) what the boxes guarantee.
        """
        best, at = self._surfaces(np.maximum(lower - NUMERIC_MM, 0.0), cap_mm)
        # What holds a point of the other has a box that meets the other's.
        if best <= 0.0 or lower.min() > 0.0:
            return best, at
        held = self._held()
        return (0.0, held) if held >= 0 else (best, at)

    def _surfaces(self, low: Floats, cap_mm: float) -> tuple[float, int]:
        """The same for the surfaces alone, which do not know inside from outside."""
        best, at = cap_mm, -1
        likely, left = int(low.argmin()), np.flatnonzero(low < best)
        if not len(left):
            return float(low.min()), -1
        while True:
            apart_by = self.corners[left] - self.corners[likely]
            travel = np.sqrt(np.einsum("nij,nij->ni", apart_by, apart_by).max(axis=1))
            # Beyond this no other pose learns anything from the distance.
            enough = best + float(travel.max()) + NUMERIC_MM
            apart, points = tree_distance(
                self.body.tree, self.way[likely], self.other.tree, self.stand, enough
            )
            self.measured += 1
            if apart < best:
                best, at = apart, likely
            if best <= 0.0:
                return 0.0, at
            low[left] = np.maximum(low[left], apart - travel - NUMERIC_MM)
            left = left[(left != likely) & (low[left] < best)]
            if 0.0 < apart < enough and len(left) > _FEW_LEFT:
                low[left] = np.maximum(low[left], self._by_plane(points, apart, likely, left))
                left = left[low[left] < best]
            if not len(left):
                return best, at
            likely = int(left[self._promise(points, likely, left, apart < enough, low)])

    def _by_plane(self, points: Floats, apart: float, here: int, left: Indices) -> Floats:
        """What a plane across the nearest points of one pose keeps free in others, (k,) mm.

        A rotation about an axis that this plane is square to moves much and brings nothing nearer.
        """
        way = (points[1] - points[0]) / apart
        behind = float((self.other.mesh.vertices @ (way @ self.stand[:3, :3])).min())
        behind += float(way @ self.stand[:3, 3])
        own = way @ self.way[here, :3, :3]
        before = float((self.body.mesh.vertices @ own).max() + way @ self.way[here, :3, 3])
        if behind - before < _PLANE_SHARE * apart:
            return np.zeros(len(left))
        turned = np.einsum("i,nij->nj", way, self.way[left, :3, :3])
        reach = (turned @ self.body.hull_corners.T).max(axis=1) + self.way[left, :3, 3] @ way
        gaps: Floats = behind - reach - NUMERIC_MM
        return gaps

    def _promise(self, points: Floats, here: int, left: Indices, known: bool, low: Floats) -> int:
        """Which of the poses left is the most likely to be nearer: by the nearest points if known.

        They move with their bodies, so that their distance in another pose is one that the
        bodies surely do not exceed there.
        """
        if not known:
            return int(low[left].argmin())
        turn, place = self.way[here, :3, :3], self.way[here, :3, 3]
        own = turn.T @ (points[0] - place)
        carried = self.way[left, :3, :3] @ own + self.way[left, :3, 3]
        reach = np.linalg.norm(carried - points[1], axis=1)
        nearest = int(reach.argmin())
        better = reach[nearest] < np.linalg.norm(points[0] - points[1])
        return nearest if better else int(low[left].argmin())

    def _held(self) -> int:
        """A pose in which a surface of one lies within the other, -1 for none.

        Asked only where surfaces never meet: then what is inside stays inside as long as the
        body moves by less than the distance of the surfaces.
        """
        candidates = self._probes_boxed()
        while candidates.any():
            here = int(candidates.argmax())
            apart, _ = tree_distance(self.body.tree, self.way[here], self.other.tree, self.stand)
            self.measured += 1
            world = moved(self.body.probes, self.way[here])
            if inside(world, self.other, self.stand).any():
                return here
            standing = moved(self.other.probes, self.stand)
            if inside(standing, self.body, self.way[here]).any():
                return here
            travel = np.linalg.norm(self.corners - self.corners[here], axis=2).max(axis=1)
            candidates &= travel >= apart - NUMERIC_MM
            candidates[here] = False
        return -1

    def _probes_boxed(self) -> NDArray[np.bool_]:
        """Poses (n,) in which a probe of one is in the box of the other: only there, if at all."""
        turns, places = self.way[:, :3, :3], self.way[:, :3, 3]
        found = np.zeros(len(self.way), dtype=bool)
        if self.other.watertight:
            mine = np.einsum("nij,pj->npi", turns, self.body.probes) + places[:, None]
            local = (mine - self.stand[:3, 3]) @ self.stand[:3, :3]
            low, high = self.other.mesh.box_mm
            found |= ((local >= low) & (local <= high)).all(axis=2).any(axis=1)
        if self.body.watertight:
            world = moved(self.other.probes, self.stand)
            theirs = np.einsum("nji,npj->npi", turns, world[None] - places[:, None])
            low, high = self.body.mesh.box_mm
            found |= ((theirs >= low) & (theirs <= high)).all(axis=2).any(axis=1)
        return found
