"""Clearances of bodies that move: over a list of poses, and over all of a motion set.

`sweep` answers for many poses at once. From one distance that was measured, every other pose's
distance is bounded by how far the body's corners move between the two (distances of rigid bodies
change by no more), so that few poses have to be measured. Bodies whose sizes differ from pose to
pose are the work of `sweeps_sized`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.draws_sized import Drawn, Sized
from noseroom.geometry.kernel import Pose, moved, rigid, rigid_all
from noseroom.geometry.mesh import Body
from noseroom.geometry.overlap import inside
from noseroom.geometry.sweeps_sized import sized_smallest
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
    measured: how many distances were measured. built: how many bodies were, at drawn sizes.

    Of a body whose sizes are drawn: its meshes at the sizes of the pose, and if it cannot be built,
    the most that the smallest clearance may be.
    """

    distance_mm: Floats
    bound_mm: Floats
    pose: Indices
    measured: int
    built: int = 0


def sweep(
    moving: Sequence[Body | Drawn],
    poses: Floats,
    fixed: Sequence[Body | Drawn],
    fixed_poses: Sequence[Pose | None],
    *,
    cap_mm: float,
) -> Sweep:
    """Return the smallest clearances over a list of poses, to the pose; nothing in between.

    poses: (n, m, 4, 4), the place of every moving body in every pose; (n, 4, 4) moves them all
    alike. cap_mm: beyond it a pair is not measured. For what lies between poses ask
    `smallest_clearance`. A `Drawn` has its sizes (n, k) in every pose; its own pose (4, 4) comes
    before those given here.

    Raises:
        GeometryError: poses that are not rigid or do not fit the bodies, a cap that is no
            length, or a `Drawn` of more than one pose or with sizes for other poses.
    """
    if not cap_mm >= 0:
        raise GeometryError("a cap is a length of 0 mm or more")
    places = _checked_poses(poses, len(moving))
    standing = [rigid(pose) for pose in fixed_poses]
    if len(standing) != len(fixed):
        raise GeometryError(f"{len(fixed)} fixed bodies but {len(standing)} poses")
    movers = [_Mover.of(one, places[:, i]) for i, one in enumerate(moving)]
    stands = [_Mover.of(one, pose[None]) for one, pose in zip(fixed, standing, strict=True)]
    counts = {one.count for one in (*movers, *stands)} - {1, len(places)}
    if counts:
        raise GeometryError(f"{len(places)} poses but sizes for {sorted(counts)}")
    shape = (len(moving), len(fixed))
    distance, bound = np.full(shape, np.nan), np.empty(shape)
    where, measured = np.full(shape, -1, dtype=np.intp), 0
    fixed_boxes = np.array([_box(_corners(one.body, one.way))[0] for one in stands])
    fixed_boxes = fixed_boxes.reshape(-1, 2, 3)
    for i, mover in enumerate(movers):
        corners = _corners(mover.body, mover.way)
        for j, gaps in enumerate(_gaps(_box(corners), fixed_boxes)):
            other = stands[j]
            if mover.grows or other.grows:
                found = sized_smallest(mover.sized, other.sized, len(places), cap_mm)
                distance[i, j], bound[i, j] = found.distance_mm, found.bound_mm
                where[i, j], measured = found.pose, measured + found.measured
                continue
            slack = mover.body.mesh.bound_mm + other.body.mesh.bound_mm + NUMERIC_MM
            boxes_mm = float(gaps.min()) - NUMERIC_MM
            if boxes_mm - slack >= cap_mm:
                bound[i, j] = boxes_mm - slack
                continue
            pair = _PairSweep(mover.body, mover.way, corners, other.body, other.way[0])
            best, at = pair.smallest(gaps, cap_mm + slack)
            measured += pair.measured
            if at >= 0 and best - slack < cap_mm:
                distance[i, j], where[i, j] = best, at
            bound[i, j] = max(0.0, best - slack)
    built = sum(one.sized.built for one in (*movers, *stands) if one.grows)
    return Sweep(distance, bound, where, measured, built)


@dataclass(frozen=True, eq=False)
class _Mover:
    """A body in its places (n, 4, 4), or (1, 4, 4), and how its sizes are drawn."""

    body: Body
    way: Floats
    drawn: Drawn

    @classmethod
    def of(cls, given: Body | Drawn, way: Floats) -> _Mover:
        if isinstance(given, Body):
            return cls(given, np.ascontiguousarray(way), Drawn(given, way))
        own = np.asarray(given.poses, dtype=np.float64)
        if own.shape != (4, 4):
            raise GeometryError(f"{given.body.name}: a sweep takes one pose (4, 4) of its own")
        way = np.ascontiguousarray(way @ rigid(own))
        return cls(given.body, way, replace(given, poses=way))

    @property
    def grows(self) -> bool:
        return self.drawn.sizes is not None

    @cached_property
    def sized(self) -> Sized:
        return Sized(self.drawn)

    @property
    def count(self) -> int:
        """For how many poses there are sizes."""
        return len(np.asarray(self.drawn.sizes)) if self.grows else 1


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


def _box(corners: Floats) -> Floats:
    """Boxes (n, 2, 3) round corners (n, 8, 3)."""
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
