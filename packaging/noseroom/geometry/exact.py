"""The exact kernel's distance, asked only of the face pairs that can hold the answer.

The true distance of faces f and g lies within e_f + e_g (their chord errors) of the
distance of their triangles. So face pairs are taken in the order of the least they can be
apart, and the search ends when the next pair cannot be nearer than what has been found.
The kernel is not taken at its word: its answer must lie in that interval, and walking from
the meshes' nearest points, surface to surface, must not find anything nearer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, from_kernel, top_loc
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import (
    NUMERIC_MM,
    box_gaps,
    crossing_point,
    tree_distance,
    world_boxes,
)

Floats = NDArray[np.float64]

_WALK_STEPS = 8
# The kernel's vertices and edges are good to 1e-7 mm; a walk that ends nearer than its
# distance by more than this has shown it wrong.
_REFUTED_MM = 1e-6


@dataclass(frozen=True)
class SurfaceDistance:
    """Distance between two surfaces, mm, with a guaranteed lower bound.

    points: (2, 3) in the world, first on a; None where they mean nothing.
    exact: the kernel gave the distance and it stood up to the checks.
    """

    distance_mm: float
    bound_mm: float
    points: Floats | None
    exact: bool


def exact_distance(a: Body, pose_a: Pose, b: Body, pose_b: Pose, mesh_mm: float) -> SurfaceDistance:
    """Return the distance between the surfaces of two bodies that both have B-rep faces.

    mesh_mm: the distance between the two whole meshes, mm, as a start.
    """
    search = _Search(a, pose_a, b, pose_b)
    found: list[SurfaceDistance] = []
    nearest = np.inf
    for least, f, g, apart, points in search.candidates(mesh_mm):
        if least >= nearest:
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

    def __init__(self, a: Body, pose_a: Pose, b: Body, pose_b: Pose) -> None:
        self._a, self._b = a, b
        self._pose_a, self._pose_b = pose_a, pose_b
        self._loc_a, self._loc_b = top_loc(pose_a), top_loc(pose_b)

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
        face_a = self._a.faces[f].Moved(self._loc_a)
        face_b = self._b.faces[g].Moved(self._loc_b)
        try:
            extrema = BRepExtrema_DistShapeShape(face_a, face_b)
            if not extrema.IsDone() or extrema.NbSolution() < 1:
                return mesh_only
            value = float(extrema.Value())
        except Exception as error:
            if not from_kernel(error):
                raise
            return mesh_only
        if not apart_mm - slack <= value <= apart_mm + slack:
            return mesh_only
        start = points[0] if apart_mm > 0 else self._crossing(f, g)
        if start is not None and _walk(start, face_a, face_b) < value - _REFUTED_MM:
            return mesh_only
        ends = extrema.PointOnShape1(1).Coord(), extrema.PointOnShape2(1).Coord()
        return SurfaceDistance(value, max(0.0, value - NUMERIC_MM), np.array(ends), True)

    def _crossing(self, f: int, g: int) -> Floats | None:
        return crossing_point(
            self._a.face_tree(f), self._pose_a, self._b.face_tree(g), self._pose_b
        )


def _walk(start: Floats, face_a: Any, face_b: Any) -> float:
    """Return the distance (mm) reached by stepping from face to face, nearest point each time.

    Never less than the true distance, because it is always between two points of the faces.
    """
    point, distance = start, np.inf
    for step in range(_WALK_STEPS):
        projected = _nearest_on(face_b if step % 2 else face_a, point)
        if projected is None:
            break
        reached, away = projected
        if step:
            distance = min(distance, away)
        point = reached
    return distance


def _nearest_on(face: Any, point: Floats) -> tuple[Floats, float] | None:
    """Return the point (3,) of a face nearest to a point, and how far it is, mm."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*(float(x) for x in point))).Vertex()
    extrema = BRepExtrema_DistShapeShape(vertex, face)
    if not extrema.IsDone() or extrema.NbSolution() < 1:
        return None
    return np.array(extrema.PointOnShape2(1).Coord()), float(extrema.Value())
