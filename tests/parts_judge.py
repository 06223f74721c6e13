"""Who is right about two parts: finer meshes by another library, and the exact kernel.

A gap is judged by two methods that have to agree. The distance of finer meshes, by FCL, is within
their own chord errors of the truth. The kernel's distance, of the faces that those meshes leave in
question, is one of two points that are there, so that it can only lower the upper end. Whether one
part is within the other is told by winding numbers: the solid angle of a closed surface, seen from
within, is 4 pi (A. Van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30, 1983: of a triangle).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from core_parts import Made, made_components
from noseroom.geometry.clearance import Clearance, Relation, clearance
from noseroom.geometry.kernel import from_kernel, moved, top_loc
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import box_gaps, tree_distance, world_boxes
from truth_makers import VALUE_BELOW_MM, at, faults, random_pose

Floats = Any
CAP_MM = 50.0
_MOST_PAIRS = 40
_AGREE_MM = 1e-6
_NUMERIC_MM = 1e-7
_SAMPLES = 100
_AT_ONCE = 2_000_000


@dataclass(frozen=True)
class Truth:
    """What is known of a gap, mm.

    low, high: the gap that is sure (from a scan, less what its metal may be off it); high is at
    most 0 where one is within the other. value: what the distance has to be between. notes: where
    the judges differ. kernel: what the kernel alone says; nan where it was not asked.
    """

    low: float
    high: float
    value: tuple[float, float]
    notes: tuple[str, ...] = ()
    kernel: float = np.nan


@dataclass
class Run:
    """Counts over placements, the faults in words, and the worst seen, mm."""

    seen: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    worst_bound_mm: float = 0.0
    worst_value_mm: float = 0.0

    def add(self, other: Run) -> None:
        """Take another one's in."""
        self.seen += other.seen
        self.failures += other.failures
        self.worst_bound_mm = max(self.worst_bound_mm, other.worst_bound_mm)
        self.worst_value_mm = max(self.worst_value_mm, other.worst_value_mm)


def block(
    seed: int, number: int, kinds: Sequence[str], placements: int, most: int = 2, only: int = -1
) -> Run:
    """Judge placements of parts that are made anew for this block; the same for the same numbers.

    only: this one placement alone.
    """
    rng = np.random.default_rng([seed, number])
    made, left_out = made_components(kinds, rng, most)
    run = Run()
    run.seen.update(f"left out: {why}" for why in left_out)
    run.seen.update(f"component {one.name.split('.')[0]}" for one in made)
    for n in range(placements):
        i, j = (int(k) for k in rng.choice(len(made), 2))
        a, b = made[i], made[j]
        pose_a, pose_b = placement(rng, a, b)
        if only in (-1, n):
            _judge_one(run, f"block {number} placement {n}", a, pose_a, b, pose_b)
    return run


def _judge_one(run: Run, where: str, a: Made, pose_a: Floats, b: Made, pose_b: Floats) -> None:
    answer = clearance(a.body, b.body, pose_a, pose_b, cap_mm=CAP_MM)
    truth = judged(a, pose_a, b, pose_b)
    run.seen["placements"] += 1
    run.seen[f"answer {answer.relation}"] += 1
    run.seen.update(f"NOTE {one}" for one in truth.notes)
    if answer.relation is Relation.APART and truth.low > 0:
        if truth.high < CAP_MM:
            run.seen["apart and below the cap"] += 1
            run.worst_bound_mm = max(run.worst_bound_mm, truth.low - answer.bound_mm)
        if truth.value[1] < VALUE_BELOW_MM:
            run.seen["apart and below 25 mm"] += 1
            off = max(truth.value[0] - answer.distance_mm, answer.distance_mm - truth.value[1])
            run.worst_value_mm = max(run.worst_value_mm, off)
            if np.isfinite(truth.kernel):
                _compare(run, where, a, b, truth, answer)
    scanned = a.shape is None or b.shape is None
    value = truth.value if scanned else None
    for fault in (*faults(answer, truth.low, truth.high, CAP_MM, value), *truth.notes):
        kind = "NOTE" if fault in truth.notes else "FAULT"
        if kind == "FAULT":
            run.seen[f"FAULT {fault}{', with a scan' if scanned else ''}"] += 1
        run.failures.append(f"{kind} {where}: {fault}: {a.name} {b.name} {truth} {_said(answer)}")


def _compare(run: Run, where: str, a: Made, b: Made, truth: Truth, answer: Clearance) -> None:
    """The value and the kernel's: which of the two meshes would let be is told by a third look."""
    off = answer.distance_mm - truth.kernel
    if abs(off) <= _AGREE_MM:
        run.seen["value is the kernel's to 1e-6 mm"] += 1
        return
    run.seen[f"NOTE value {'below' if off < 0 else 'above'} the kernel's"] += 1
    run.failures.append(
        f"NOTE {where}: value {off:+.2e} mm off the kernel's: {a.name} {b.name} {truth} "
        f"{_said(answer)}"
    )


def _said(answer: Clearance) -> str:
    return f"answer {answer.relation} {answer.distance_mm!r} bound {answer.bound_mm!r}"


def placement(rng: np.random.Generator, a: Made, b: Made) -> tuple[Floats, Floats]:
    """Two poses: anyhow, or brought within a drawn gap of 0.001 to 50 mm of each other."""
    pose_a = random_pose(rng, 1000.0) @ at(*-a.middle)
    there = random_pose(rng, a.reach + b.reach + 20) @ at(*-b.middle)
    pose_b = pose_a @ at(*a.middle) @ there
    gap_mm = 10 ** rng.uniform(-3, 1.7)
    # From the metal that a scan may stand for, not from its triangles.
    gap_mm += sum(one.body.mesh.bound_mm for one in (a, b) if one.shape is None)
    if rng.random() < 0.4:
        return pose_a, pose_b
    apart, points = tree_distance(a.fine.tree, pose_a, b.fine.tree, pose_b)
    if apart <= 0:
        middle = pose_a @ np.append(a.middle, 1)
        way = pose_b[:3] @ np.append(b.middle, 1) - middle[:3]
        length = float(np.linalg.norm(way))
        way = way / length if length > 1e-9 else np.array([1.0, 0, 0])
        pose_b[:3, 3] += way * (a.reach + b.reach + 1 - length)
    for _ in range(4):
        apart, points = tree_distance(a.fine.tree, pose_a, b.fine.tree, pose_b)
        if apart <= gap_mm:
            break
        pose_b[:3, 3] += (points[0] - points[1]) / apart * (apart - gap_mm)
    return pose_a, pose_b


def judged(a: Made, pose_a: Floats, b: Made, pose_b: Floats) -> Truth:
    """What the gap of two parts in their places can be."""
    notes: list[str] = []
    apart = _by_fcl(a.fine, pose_a, b.fine, pose_b)
    other, _ = tree_distance(a.fine.tree, pose_a, b.fine.tree, pose_b)
    if abs(apart - other) > _AGREE_MM:
        notes.append(f"mesh libraries differ: {apart!r} and {other!r}")
    slack = a.fine.mesh.bound_mm + b.fine.mesh.bound_mm + _NUMERIC_MM
    if apart > slack and (_within(a, pose_a, b, pose_b) or _within(b, pose_b, a, pose_a)):
        return Truth(-np.inf, 0.0, (0.0, 0.0), tuple(notes))
    low, high = max(0.0, apart - slack), apart + slack
    if a.shape is None or b.shape is None:
        return _off_the_metal(a, pose_a, b, pose_b, low, high, tuple(notes))
    kernel = np.nan
    if apart < CAP_MM + slack:
        kernel = _by_kernel(a.fine, pose_a, b.fine, pose_b, high)
        if kernel < low - _NUMERIC_MM:
            notes.append("the kernel is below what the meshes allow")
        elif kernel > high + _AGREE_MM:
            notes.append("the kernel is above what the meshes allow")
        high = min(high, max(kernel, low))
    return Truth(low, high, (low, high), tuple(notes), kernel)


def _off_the_metal(
    a: Made,
    pose_a: Floats,
    b: Made,
    pose_b: Floats,
    low: float,
    high: float,
    notes: tuple[str, ...],
) -> Truth:
    """Of scans: what was in the file may be off the metal; what was thinned out is off that."""
    said = [one.body if one.shape is None else one.fine for one in (a, b)]
    apart = _by_fcl(said[0], pose_a, said[1], pose_b)
    reach = sum(one.body.mesh.bound_mm for one in (a, b) if one.shape is None)
    chord = sum(one.fine.mesh.bound_mm for one in (a, b) if one.shape is not None)
    chord += _NUMERIC_MM
    least = min(low, max(0.0, apart - chord - reach))
    value = max(0.0, apart - chord), apart + chord
    return Truth(least, high - a.off_mm - b.off_mm, value, notes)


@lru_cache(maxsize=64)
def _fcl_model(body: Body) -> Any:
    import fcl

    model = fcl.BVHModel()
    model.beginModel(len(body.mesh.vertices), len(body.mesh.triangles))
    model.addSubModel(body.mesh.vertices, body.mesh.triangles)
    model.endModel()
    return model


def _by_fcl(a: Body, pose_a: Floats, b: Body, pose_b: Floats) -> float:
    import fcl

    # An object keeps its place: a new one a query.
    one, two = (
        fcl.CollisionObject(_fcl_model(body), fcl.Transform(pose[:3, :3], pose[:3, 3]))
        for body, pose in ((a, pose_a), (b, pose_b))
    )
    if fcl.collide(one, two, fcl.CollisionRequest(), fcl.CollisionResult()):
        return 0.0
    return max(0.0, float(fcl.distance(one, two, fcl.DistanceRequest(), fcl.DistanceResult())))


def _by_kernel(a: Body, pose_a: Floats, b: Body, pose_b: Floats, beyond_mm: float) -> float:
    """The kernel's least distance of the faces that may be nearer than that; inf for none."""
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    gaps = box_gaps(
        world_boxes(a.face_boxes_mm, pose_a) + _grown(a),
        world_boxes(b.face_boxes_mm, pose_b) + _grown(b),
    )
    near: list[tuple[float, int, int]] = []
    for f, g in np.argwhere(gaps <= beyond_mm):
        apart, _ = tree_distance(a.face_tree(int(f)), pose_a, b.face_tree(int(g)), pose_b)
        slack = float(a.mesh.deflection_mm[f] + b.mesh.deflection_mm[g])
        if apart - slack <= beyond_mm:
            near.append((apart, int(f), int(g)))
    least = np.inf
    for _, f, g in sorted(near)[:_MOST_PAIRS]:
        try:
            extrema = BRepExtrema_DistShapeShape(
                a.faces[f].Moved(top_loc(pose_a)), b.faces[g].Moved(top_loc(pose_b))
            )
            if extrema.IsDone() and extrema.NbSolution():
                least = min(least, float(extrema.Value()))
        except Exception as error:
            if not from_kernel(error):
                raise
    return least


def _grown(body: Body) -> Floats:
    return np.array([[[-1.0], [1.0]]]) * body.mesh.bound_mm


def _within(a: Made, pose_a: Floats, b: Made, pose_b: Floats) -> bool:
    """Whether any of a, whose surface does not meet b's, is within b."""
    if not b.body.watertight:
        return False
    points = a.fine.mesh.vertices if a.shape is None else a.fine.probes
    points = points[:: max(1, len(points) // _SAMPLES)]
    local = moved(moved(points, pose_a), np.linalg.inv(pose_b))
    low, high = b.fine.mesh.box_mm
    local = local[((local >= low) & (local <= high)).all(axis=1)]
    return bool((np.abs(winding(local, b.fine)) > 0.5).any())


def winding(points: Floats, body: Body) -> Floats:
    """How often (n,) a closed surface goes round each point (n, 3), both in the body's frame."""
    corners = body.mesh.vertices[body.mesh.triangles]
    found = np.zeros(len(points))
    step = max(1, _AT_ONCE // max(len(corners), 1))
    for first in range(0, len(points), step):
        a, b, c = (corners[None, :, k] - points[first : first + step, None] for k in range(3))
        la, lb, lc = (np.linalg.norm(one, axis=2) for one in (a, b, c))
        triple = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
        under = (
            la * lb * lc
            + np.einsum("ijk,ijk->ij", a, b) * lc
            + np.einsum("ijk,ijk->ij", b, c) * la
            + np.einsum("ijk,ijk->ij", c, a) * lb
        )
        found[first : first + step] = 2 * np.arctan2(triple, under).sum(axis=1) / (4 * np.pi)
    return found
