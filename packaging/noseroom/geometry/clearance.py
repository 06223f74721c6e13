"""The clearance between two bodies, never over-stated.

Boxes rule out what is beyond the cap; the meshes give a distance and, less their chord
errors, a bound; the exact kernel decides what is near (`exact_below_mm`). Touching,
overlapping, one inside the other and apart are four answers, and "undecided" is a fifth.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.blocks import nearest_surfaces
from noseroom.geometry.exact import SurfaceDistance, exact_distance
from noseroom.geometry.finer import finer_distance
from noseroom.geometry.kernel import Pose, moved, rigid, volume_mm3
from noseroom.geometry.mesh import Body
from noseroom.geometry.overlap import Common, deepest_mm, exact_common, inside, mesh_common
from noseroom.geometry.piercing import deepest_crossing_mm
from noseroom.geometry.pull_apart import PullApart, pull_apart
from noseroom.geometry.refine import WITHIN_MM
from noseroom.geometry.trees import NUMERIC_MM, box_gaps, world_boxes
from noseroom.tolerances import DEFAULT, Tolerances

_BOUND_WITHIN_MM = 0.2
"""A bound further below the true gap than this is worth the kernel's time, up to the next."""
_COARSE_BELOW_MM = 50.0


class Relation(StrEnum):
    """How two bodies stand to each other.

    APART: a gap wider than the contact tolerance. TOUCHING: surfaces within it, nothing
    deeper. OVERLAPPING: they share volume. INSIDE: all of one lies in the material of the
    other. UNDECIDED: closer than what the meshes can tell, and the exact kernel could not.
    """

    APART = "apart"
    TOUCHING = "touching"
    OVERLAPPING = "overlapping"
    INSIDE = "inside"
    UNDECIDED = "undecided"


@dataclass(frozen=True, eq=False)
class Clearance:
    """The answer to one pair.

    distance_mm: best estimate of the gap; 0 when touching, overlapping or inside; nan when
        the pair is beyond the cap and was not measured.
    bound_mm: the true gap is never below this.
    points: (2, 3) in the world, the nearest points, first on a; None where there are none.
    overlap_mm3: volume the two have in common, from the meshes (chord errors count: a few per
        cent of a small overlap of round parts); nan when an open body makes it unknowable.
    pull_apart: how to free b from a, for overlapping and inside.
    """

    relation: Relation
    distance_mm: float
    bound_mm: float
    points: NDArray[np.float64] | None = None
    overlap_mm3: float = 0.0
    pull_apart: PullApart | None = None


def clearance(
    a: Body,
    b: Body,
    pose_a: Pose | None = None,
    pose_b: Pose | None = None,
    *,
    cap_mm: float = np.inf,
    tolerances: Tolerances = DEFAULT,
) -> Clearance:
    """Return how two bodies stand to each other.

    cap_mm: a pair whose boxes are at least this far apart is not measured; its distance is
    nan and its bound what the boxes guarantee. `tolerances.exact_below_mm = 0` keeps the
    exact kernel out except where it must tell touching from overlapping; else it also refines
    what is within the cap and 50 mm if the meshes leave more than 0.2 mm open, until the bound is
    no more than 0.1 mm below the distance.

    Raises:
        GeometryError: a pose is not rigid, or the cap is negative or nan.
    """
    if not cap_mm >= 0:
        raise GeometryError("a cap is a length of 0 mm or more")
    return placed_clearance(a, b, rigid(pose_a), rigid(pose_b), cap_mm, tolerances)


def placed_clearance(
    a: Body, b: Body, pose_a: Pose, pose_b: Pose, cap_mm: float, tolerances: Tolerances
) -> Clearance:
    """Return the same as `clearance` for poses and a cap that have been checked."""
    pair = _Pair(a, b, pose_a, pose_b, tolerances, cap_mm)
    boxes_mm = pair.boxes_apart_mm
    if boxes_mm > 0 and boxes_mm >= cap_mm:
        return Clearance(Relation.APART, np.nan, boxes_mm)
    return pair.measure()


def _box(body: Body, pose: Pose | None) -> NDArray[np.float64]:
    return _placed_box(body, rigid(pose))


def _placed_box(body: Body, pose: Pose) -> NDArray[np.float64]:
    """Box (1, 2, 3) in the world that holds the true surface, not only the mesh."""
    grown = body.mesh.box_mm + np.array([[-1.0], [1.0]]) * body.mesh.bound_mm
    return world_boxes(grown[None], pose)


@dataclass(frozen=True, eq=False)
class _Pair:
    a: Body
    b: Body
    pose_a: Pose
    pose_b: Pose
    tolerances: Tolerances
    cap_mm: float = np.inf

    @property
    def slack_mm(self) -> float:
        """What the distance of the meshes may be out by."""
        return self.a.mesh.bound_mm + self.b.mesh.bound_mm + NUMERIC_MM

    @property
    def placed(self) -> tuple[Body, Pose, Body, Pose]:
        return self.a, self.pose_a, self.b, self.pose_b

    @property
    def swapped(self) -> tuple[Body, Pose, Body, Pose]:
        return self.b, self.pose_b, self.a, self.pose_a

    @property
    def _exact_below_mm(self) -> float:
        """Coarse meshes are refined further out, where a bound of theirs would be too low."""
        asked = self.tolerances.exact_below_mm
        coarse = 2 * self.slack_mm > _BOUND_WITHIN_MM
        return max(asked, min(self.cap_mm, _COARSE_BELOW_MM)) if asked > 0 and coarse else asked

    @cached_property
    def boxes_apart_mm(self) -> float:
        """How far the boxes are apart for sure, mm."""
        gap = box_gaps(_placed_box(self.a, self.pose_a), _placed_box(self.b, self.pose_b))[0, 0]
        return max(0.0, float(gap) - NUMERIC_MM)

    def measure(self) -> Clearance:
        mesh_mm, points, triangles = nearest_surfaces(*self.placed)
        meshes_clear = mesh_mm - self.slack_mm > self.tolerances.contact_mm
        if meshes_clear:
            # Before the kernel is asked: it would measure the wall of what holds the part.
            contained = self._containment(exact=False)
            if contained is not None:
                return contained
        bound_mm = max(0.0, mesh_mm - self.slack_mm)
        surfaces = SurfaceDistance(mesh_mm, bound_mm, points, False)
        near = not meshes_clear or bound_mm < self._exact_below_mm
        if meshes_clear and self.slack_mm <= NUMERIC_MM:
            # The meshes are the surfaces themselves.
            surfaces = SurfaceDistance(mesh_mm, bound_mm, points, True)
        elif near and self.a.faces and self.b.faces:
            fine = not meshes_clear or bound_mm < self.tolerances.exact_below_mm
            within_mm = WITHIN_MM if fine else _BOUND_WITHIN_MM / 2
            surfaces = exact_distance(*self.placed, mesh_mm, (points, triangles), within_mm)
        elif near and (self.a.faces or self.b.faces):
            surfaces = finer_distance(*self.placed, mesh_mm)
        if surfaces.bound_mm > self.tolerances.contact_mm:
            contained = None if meshes_clear else self._containment(exact=True)
            if contained is not None:
                return contained
            return Clearance(
                Relation.APART, surfaces.distance_mm, surfaces.bound_mm, surfaces.points
            )
        return self._close(surfaces)

    def _containment(self, *, exact: bool) -> Clearance | None:
        """Surfaces that do not meet: is either body, or a solid of it, within the other?"""
        if self.boxes_apart_mm > 0:
            return None
        b_in_a = inside(moved(self.b.probes, self.pose_b), self.a, self.pose_a, exact=exact)
        a_in_b = inside(moved(self.a.probes, self.pose_a), self.b, self.pose_b, exact=exact)
        if not (a_in_b.any() or b_in_a.any()):
            return None
        whole = bool(a_in_b.all() or b_in_a.all())
        return self._sharing(mesh_common(*self.placed), whole)

    def _sharing(self, common: Common | None, whole: bool) -> Clearance:
        relation = Relation.INSIDE if whole else Relation.OVERLAPPING
        volume = common.volume_mm3 if common else np.nan
        return Clearance(relation, 0.0, 0.0, None, volume, self._freeing_move())

    def _freeing_move(self) -> PullApart:
        return pull_apart(*self.placed, exact=self.tolerances.exact_below_mm > 0)

    def _close(self, surfaces: SurfaceDistance) -> Clearance:
        """Surfaces that meet, or may: touching, overlapping, or not to be told."""
        contact_mm = self.tolerances.contact_mm
        common = mesh_common(*self.placed)
        if common is None:
            deep = max(deepest_mm(*self.placed), deepest_mm(*self.swapped))
            if deep <= self.slack_mm + contact_mm:
                deep = max(deepest_crossing_mm(*self.placed), deepest_crossing_mm(*self.swapped))
        else:
            deep = common.depth_mm
        # A point deeper in both meshes than their chord errors is in both true solids.
        if deep > self.slack_mm + contact_mm:
            return self._sharing(common, self._swallowed(common, self._mesh_volumes()))
        if self.a.solids and self.b.solids:
            exact = exact_common(*self.placed)
            if exact is None:
                return self._undecided(surfaces, common)
            if 2 * exact.depth_mm > contact_mm:  # the thickness of what they share
                return self._sharing(exact, self._swallowed(exact, self._exact_volumes()))
            touching, apart = surfaces.exact, surfaces.distance_mm > contact_mm
        else:
            # Without the kernel, only meshes that are the true surface can touch for certain.
            touching = self.slack_mm <= contact_mm and common is not None
            apart = False
        if touching and apart:
            return Clearance(
                Relation.APART, surfaces.distance_mm, surfaces.bound_mm, surfaces.points
            )
        if touching:
            return Clearance(Relation.TOUCHING, 0.0, 0.0, surfaces.points)
        return self._undecided(surfaces, common)

    def _undecided(self, surfaces: SurfaceDistance, common: Common | None) -> Clearance:
        volume = common.volume_mm3 if common else np.nan
        return Clearance(Relation.UNDECIDED, surfaces.distance_mm, 0.0, surfaces.points, volume)

    def _mesh_volumes(self) -> list[float]:
        return [float(body.manifold.volume()) for body in (self.a, self.b) if body.manifold]

    def _exact_volumes(self) -> list[float]:
        shapes = [body.shape for body in (self.a, self.b) if body.shape is not None]
        return [volume_mm3(shape) for shape in shapes]

    def _swallowed(self, common: Common | None, volumes: list[float]) -> bool:
        """Whether what they share is all there is of one of them."""
        if common is None:
            return False
        least = 1 - self.tolerances.volume
        return any(common.volume_mm3 >= volume * least for volume in volumes)
