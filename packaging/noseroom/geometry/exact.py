"""The distance of the true surfaces of two bodies, to the rounding of their kernel's faces.

Descent from the meshes' nearest points ends at a distance that is really there. That none is less
is proven by a plane between the two bodies; else by finer meshes of where they are near
(`refine`), which also find what is nearer elsewhere. Where both fail (parallel round surfaces, a
hair's breadth), face pairs are taken in the order of the least they can be apart: the true
distance of faces f and g lies within e_f + e_g (their chord errors) of the distance of their
triangles, so the search ends when the next pair cannot be nearer than what has been found. The
kernel is asked for the distance of two faces last, and is not taken at its word: its answer must
lie in that interval, and where descent from its points or from the meshes' ends nearer, that
counts. Faces whose triangles are the face itself (flat, with straight edges) need no kernel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, from_kernel, top_loc
from noseroom.geometry.mesh import Body
from noseroom.geometry.polish import Foot, feet, polished, polished_from
from noseroom.geometry.refine import WITHIN_MM, refined_bound
from noseroom.geometry.trees import (
    NUMERIC_MM,
    box_gaps,
    crossing_point,
    nearest_triangles,
    tree_distance,
    world_boxes,
)

Floats = NDArray[np.float64]
Near: TypeAlias = tuple[Floats, tuple[int, int]]

_WALK_STEPS = 4
# A plane that leaves no more than this between the two has proven their distance.
_PROVEN_MM = 1e-6
# Nearer than this the kernel is asked: it must tell a hair's breadth from touching.
_PATCHES_ABOVE_MM = 0.02


@dataclass(frozen=True)
class SurfaceDistance:
    """Distance between two surfaces, mm, with a guaranteed lower bound.

    points: (2, 3) in the world, first on a; None where they mean nothing.
    exact: the distance is proven: it is no more above the true one than was asked for
    (`refine.WITHIN_MM` without it), or the kernel gave it and it stood up to the checks. Where a
    limit was asked about: also if the distance is below it, or the bound is not.
    """

    distance_mm: float
    bound_mm: float
    points: Floats | None
    exact: bool


def exact_distance(
    a: Body,
    pose_a: Pose,
    b: Body,
    pose_b: Pose,
    mesh_mm: float,
    near: Near | None = None,
    within_mm: float = WITHIN_MM,
    limit_mm: float | None = None,
) -> SurfaceDistance:
    """Return the distance between the surfaces of two bodies that both have B-rep faces.

    mesh_mm: the distance between the two whole meshes, mm, as a start. near: their nearest points
    and triangles, if they are known, as of `nearest_triangles`. within_mm: a bound that far below
    the distance will do. limit_mm: no more matters than whether the true distance is below it.
    """
    search = _Search(a, pose_a, b, pose_b, within_mm, limit_mm)
    parted = search.by_plane(mesh_mm, near) if mesh_mm > 0 else None
    if parted is not None:
        parted = parted if parted.exact else search.by_patches(parted)
        if parted.exact:
            return parted
    found: list[SurfaceDistance] = []
    # What descent has reached already is not a bound, but no pair beyond it is worth asking.
    nearest = np.inf if parted is None else parted.distance_mm
    for least, f, g, apart, points in search.candidates(mesh_mm):
        if found and least >= nearest:
            break
        answer = search.ask_kernel(f, g, apart, points)
        found.append(answer)
        nearest = min(nearest, answer.bound_mm if answer.exact else answer.distance_mm)
    best = min(found, key=lambda answer: answer.distance_mm)
    bound = min(answer.bound_mm for answer in found)
    # An unsettled pair that might be nearer unsettles the whole.
    settled = best.exact and bound >= best.bound_mm
    return SurfaceDistance(best.distance_mm, max(0.0, bound), best.points, settled)


class _Search:
    """One query: the two bodies in their places."""

    def __init__(
        self,
        a: Body,
        pose_a: Pose,
        b: Body,
        pose_b: Pose,
        within_mm: float = WITHIN_MM,
        limit_mm: float | None = None,
    ) -> None:
        self._within_mm, self._limit_mm = within_mm, limit_mm
        # A plane proves more than the finer meshes can, except where little is asked.
        self._proven_mm = _PROVEN_MM if within_mm <= WITHIN_MM else within_mm
        self._a, self._b = a, b
        self._pose_a, self._pose_b = pose_a, pose_b
        self._loc_a, self._loc_b = top_loc(pose_a), top_loc(pose_b)

    def by_plane(self, mesh_mm: float, near: Near | None) -> SurfaceDistance | None:
        """Descend from the meshes' nearest points, and prove it by a plane that parts the bodies.

        `exact` says whether the plane did; if not, the distance is only one that is really there.
        """
        a, b = self._a, self._b
        points, (t, s) = (
            near
            or nearest_triangles(a.tree, self._pose_a, b.tree, self._pose_b, mesh_mm + NUMERIC_MM)[
                1:
            ]
        )
        f, g = int(a.mesh.face_of[t]), int(b.mesh.face_of[s])
        parted, found = None, None
        # Most that a plane can prove, it proves at the first foot; the rest is worth more steps.
        for steps in (0, _WALK_STEPS):
            found = self._walked(points, f, g, steps, found)
            if found is None or found[0] <= NUMERIC_MM:
                return None
            value, ends = found
            least = self._parted(value, ends)
            proven = value - least <= self._proven_mm or self._settled(value, least)
            parted = SurfaceDistance(value, max(0.0, least), ends, proven)
            if parted.exact:
                break
        return parted

    def _settled(self, value: float, least: float) -> bool:
        """Whether it is known which side of the limit the distance is, if there is one."""
        return self._limit_mm is not None and not least < self._limit_mm <= value

    def by_patches(self, parted: SurfaceDistance) -> SurfaceDistance:
        """Prove a distance that is really there, or a smaller one, by finer meshes where it is."""
        best, again = parted, False
        while best.distance_mm > _PATCHES_ABOVE_MM and best.points is not None:
            value, ends = best.distance_mm, best.points
            within = self._within_mm
            if self._limit_mm is not None:
                within = value - self._limit_mm
            refined = refined_bound(
                self._a,
                self._pose_a,
                self._b,
                self._pose_b,
                value,
                ends,
                within_mm=within,
                again=again,
            )
            if refined is None:
                break
            again = True
            if refined.points is None:
                bound = max(best.bound_mm, refined.bound_mm)
                return replace(best, bound_mm=bound, exact=True)
            f, g = refined.faces
            found = self._walked(refined.points, f, g)
            if found is None or found[0] >= best.distance_mm:
                break
            settled = self._settled(found[0], best.bound_mm)
            best = SurfaceDistance(found[0], best.bound_mm, found[1], settled)
            if settled:
                break
        return best

    def _walked(
        self,
        points: Floats,
        f: int,
        g: int,
        steps: int = _WALK_STEPS,
        reached: tuple[float, Floats] | None = None,
    ) -> tuple[float, Floats] | None:
        """What descent from a point near two faces reaches; None where the kernel fails.

        reached: what it has reached so far, to go on from there.
        """
        face_a, face_b = self._a.faces[f].Moved(self._loc_a), self._b.faces[g].Moved(self._loc_b)
        try:
            if reached is not None:
                return _further(*reached, face_a, face_b, steps)
            return _walk(points[0], face_a, face_b, steps)
        except Exception as error:
            if not from_kernel(error):
                raise
            return None

    def _parted(self, value: float, ends: Floats, f: int = -1, g: int = -1) -> float:
        """The gap (mm) along the line of two points that a plane keeps between two bodies.

        f, g: only these faces of them; a gap below 0 says nothing.
        """
        normal = (ends[1] - ends[0]) / value
        total = 0.0
        for body, pose, way, face in (
            (self._a, self._pose_a, normal, f),
            (self._b, self._pose_b, -normal, g),
        ):
            reaches, local = body.reaches, way @ pose[:3, :3]
            reach = reaches.along(local) if face < 0 else reaches.of_face(face, local)
            total += reach + float(way @ pose[:3, 3])
        return -total - NUMERIC_MM

    def candidates(self, mesh_mm: float) -> list[tuple[float, int, int, float, Floats]]:
        """Return face pairs that may hold the minimum, least possible distance first.

        Each is (least, face of a, face of b, distance of the triangles, points (2, 3)).
        """
        a, b = self._a.mesh, self._b.mesh
        slack = a.deflection_mm[:, None] + b.deflection_mm[None] + NUMERIC_MM
        boxes_a = world_boxes(self._a.face_boxes_mm, self._pose_a)
        boxes_b = world_boxes(self._b.face_boxes_mm, self._pose_b)
        least = box_gaps(boxes_a, boxes_b) - slack
        limit = mesh_mm + a.bound_mm + b.bound_mm + NUMERIC_MM
        pairs = []
        for flat in np.argsort(least, axis=None, kind="stable"):
            f, g = (int(index) for index in np.unravel_index(flat, least.shape))
            if least[f, g] > limit:
                break
            apart, points = tree_distance(
                self._a.face_tree(f), self._pose_a, self._b.face_tree(g), self._pose_b
            )
            limit = min(limit, apart + slack[f, g])
            pairs.append((apart - float(slack[f, g]), f, g, apart, points))
        return sorted((pair for pair in pairs if pair[0] <= limit), key=lambda pair: pair[:3])

    def ask_kernel(self, f: int, g: int, apart_mm: float, points: Floats) -> SurfaceDistance:
        """Return the kernel's distance of two faces if it holds, else what the mesh says."""
        from OCP.BRepExtrema import BRepExtrema_DistShapeShape

        slack = float(self._a.mesh.deflection_mm[f] + self._b.mesh.deflection_mm[g]) + NUMERIC_MM
        mesh_only = SurfaceDistance(
            apart_mm, max(0.0, apart_mm - slack), points if apart_mm > 0 else None, False
        )
        if slack <= NUMERIC_MM:
            return replace(mesh_only, exact=True)
        face_a = self._a.faces[f].Moved(self._loc_a)
        face_b = self._b.faces[g].Moved(self._loc_b)
        try:
            start = points[0] if apart_mm > 0 else self._crossing(f, g)
            near = None if start is None else _walk(start, face_a, face_b)
            if near is not None and near[0] > NUMERIC_MM:
                least = self._parted(*near, f, g)
                if near[0] - least <= _PROVEN_MM:
                    return SurfaceDistance(near[0], max(0.0, least), near[1], True)
            extrema = BRepExtrema_DistShapeShape(face_a, face_b)
            if not extrema.IsDone() or extrema.NbSolution() < 1:
                return mesh_only
            value = float(extrema.Value())
        except Exception as error:
            if not from_kernel(error):
                raise
            return mesh_only
        ends = np.array([extrema.PointOnShape1(1).Coord(), extrema.PointOnShape2(1).Coord()])
        # The kernel may stop short, or at a minimum that is not the least: descent from its
        # points, and from the meshes' own, ends on the faces too, and may be nearer.
        for found in (polished_from(extrema), near):
            if found is not None and found[0] < value:
                value, ends = found
        if not apart_mm - slack <= value <= apart_mm + slack:
            return mesh_only
        return SurfaceDistance(value, max(0.0, value - NUMERIC_MM), ends, True)

    def _crossing(self, f: int, g: int) -> Floats | None:
        return crossing_point(
            self._a.face_tree(f), self._pose_a, self._b.face_tree(g), self._pose_b
        )


def _walk(
    start: Floats, face_a: Any, face_b: Any, steps: int = _WALK_STEPS
) -> tuple[float, Floats] | None:
    """Return a near minimum (mm) and its points (2, 3), by projecting a point to and fro."""
    on_a = _nearest_on(face_a, start)
    on_b = _nearest_on(face_b, on_a.jet(on_a.at)[0]) if on_a else None
    if on_a is None or on_b is None:
        return None
    return _further(*polished(on_a, on_b), face_a, face_b, steps)


def _further(
    value: float, points: Floats, face_a: Any, face_b: Any, steps: int
) -> tuple[float, Floats]:
    """What `steps` more projections to and fro reach from a distance and its points (2, 3)."""
    # The feet keep to the face, edge or vertex they stand on; projecting once more may step over.
    for _ in range(steps):
        again = _nearest_on(face_a, points[1])
        beyond = _nearest_on(face_b, again.jet(again.at)[0]) if again else None
        if again is None or beyond is None:
            break
        further, ends = polished(again, beyond)
        if further >= value - NUMERIC_MM / 10:
            break
        value, points = further, ends
    return value, points


def _nearest_on(face: Any, point: Floats) -> Foot | None:
    """Return the foot of a point (3,) on a face."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*(float(x) for x in point))).Vertex()
    extrema = BRepExtrema_DistShapeShape(vertex, face)
    if not extrema.IsDone() or extrema.NbSolution() < 1:
        return None
    return feet(extrema)[1]
