"""A lower bound of the distance of two bodies from ever finer meshes of where they are near.

Pairs of triangles that are further apart than a distance known to be there, and both their chord
errors, cannot hold the least one. What is left is cut finer (`patches`), until nothing that is
left could be nearer by more than `WITHIN_MM`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose
from noseroom.geometry.near_triangles import near_triangles
from noseroom.geometry.patches import Patches, cells_of, finer, first_patches
from noseroom.geometry.trees import NUMERIC_MM

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]
Ints = NDArray[np.int32]

WITHIN_MM = 1e-3
"""How far below a distance that is really there the bound may stay, where no more is asked."""
_ROUNDS = 5
_MOST_PAIRS = 6000
# Of round faces that run parallel (a pin in its hole) much stays open round after round, and the
# kernel measures such faces in a hundredth of the time.
_MOST_SIMPLE = 600
_MANY = 120
_FEW = 20
_TO_AND_FRO = 1
_CLOSER = 0.25
_TINY = 1e-12


@dataclass(frozen=True, eq=False)
class Refined:
    """A bound of a distance, mm.

    points: (2, 3) in the world, and faces: of a place that is nearer than the distance asked
    about; None where there is none, and the bound is within what was asked of it.
    """

    bound_mm: float
    points: Floats | None
    faces: tuple[int, int]


def refined_bound(
    a: Any,
    pose_a: Pose,
    b: Any,
    pose_b: Pose,
    value_mm: float,
    ends: Floats,
    *,
    within_mm: float = WITHIN_MM,
    again: bool = False,
) -> Refined | None:
    """Return a bound of the distance of two bodies (`mesh.Body`) with B-rep faces.

    value_mm: a distance that is really there, ends: (2, 3) where. within_mm: how far below that
    distance the bound may stay. again: the same two in the same places were asked about before,
    at a larger distance. None where there is too much to look at (parallel surfaces), or a rim
    cannot be followed.
    """
    least_mm = value_mm - within_mm
    way = (ends[1] - ends[0]) / value_mm
    margin = value_mm + a.chart_bound_mm + b.chart_bound_mm
    pairs = near_triangles(a, pose_a, b, pose_b, ends, least_mm, margin)
    if pairs is None:
        return None
    if not len(pairs[0]):
        return Refined(least_mm, None, (-1, -1))
    numbers_a, first = np.unique(pairs[0], return_inverse=True)
    numbers_b, second = np.unique(pairs[1], return_inverse=True)
    some_a, some_b = first_patches(a, pose_a, numbers_a), first_patches(b, pose_b, numbers_b)
    looked = _look(some_a, first[:, None], some_b, second[:, None], way, least_mm)
    most_pairs = _most_pairs(a, some_a.face[looked.first], b, some_b.face[looked.second])
    bound = least_mm
    for number in range(_ROUNDS):
        bound = min(bound, looked.beyond_mm)
        if not len(looked.first):
            return Refined(bound, None, (-1, -1))
        if looked.most_mm < least_mm:
            return Refined(0.0, looked.points, looked.faces_of(some_a, some_b))
        if len(looked.first) > most_pairs:
            return None
        if not number and not again and len(looked.first) > _MANY:
            # Where much is open, a nearer place is worth finding before it is all cut finer.
            glance = _glance(a, pose_a, some_a, b, pose_b, some_b, looked, way, least_mm)
            if glance is not None:
                return glance
        cut = _cut(a, pose_a, some_a, looked.first, b, pose_b, some_b, looked.second)
        if cut is None:
            return None
        some_a, first, some_b, second = cut
        looked = _look(some_a, first, some_b, second, way, least_mm)
    return None


def _cut(
    a: Any,
    pose_a: Pose,
    some_a: Patches,
    first: Numbers,
    b: Any,
    pose_b: Pose,
    some_b: Patches,
    second: Numbers,
) -> tuple[Patches, Numbers, Patches, Numbers] | None:
    """Cut the patches of some pairs (k,) finer; None where a rim cannot be followed.

    With the numbers (k, n) of what those of each pair were cut into. What is a good deal closer to
    its surface than the other side stays as it is.
    """
    sides = []
    for some, numbers in ((some_a, first), (some_b, second)):
        once, which = np.unique(numbers, return_inverse=True)
        sides.append((some.chosen(once), which))
    errors = [float(some.error_mm.max()) for some, _ in sides]
    found = []
    for body, pose, (some, which), own, other in zip(
        (a, b), (pose_a, pose_b), sides, errors, errors[::-1], strict=True
    ):
        if own < _CLOSER * other:
            found.append((some, which[:, None]))
            continue
        cut = finer(body, pose, some)
        if cut is None:
            return None
        found.append((cut, cells_of(which)))
    return *found[0], *found[1]


def _glance(
    a: Any,
    pose_a: Pose,
    some_a: Patches,
    b: Any,
    pose_b: Pose,
    some_b: Patches,
    looked: _Look,
    way: Floats,
    least_mm: float,
) -> Refined | None:
    """A place nearer than a distance in a few of the pairs that may be, if it is seen."""
    few = np.argsort(looked.lowest_mm, kind="stable")[:_FEW]
    cut = _cut(a, pose_a, some_a, looked.first[few], b, pose_b, some_b, looked.second[few])
    if cut is None:
        return None
    finer_a, first, finer_b, second = cut
    seen = _look(finer_a, first, finer_b, second, way, least_mm)
    if seen.most_mm >= least_mm:
        return None
    return Refined(0.0, seen.points, seen.faces_of(finer_a, finer_b))


def _most_pairs(a: Any, faces_a: Numbers, b: Any, faces_b: Numbers) -> int:
    """How many open pairs of patches of some faces are worth cutting finer before the kernel is."""
    faces = ((body, f) for body, of in ((a, faces_a), (b, faces_b)) for f in np.unique(of))
    return _MOST_SIMPLE if all(body.charts[f].simple for body, f in faces) else _MOST_PAIRS


@dataclass(frozen=True, eq=False)
class _Look:
    """Pairs (k) that may be nearer than was asked, and the least distance, mm, of the others.

    most_mm: what the nearest surely is not beyond, with its points and the numbers of its patches.
    """

    first: Numbers
    second: Numbers
    lowest_mm: Floats
    beyond_mm: float
    most_mm: float
    points: Floats
    nearest: tuple[int, int]

    def faces_of(self, a: Patches, b: Patches) -> tuple[int, int]:
        """The faces of the nearest."""
        return int(a.face[self.nearest[0]]), int(b.face[self.nearest[1]])


def _look(
    a: Patches, first: Numbers, b: Patches, second: Numbers, way: Floats, least_mm: float
) -> _Look:
    """Bound the distances of every patch of each row of first (n, k) from each of second (n, l).

    From below: by the balls round them, by planes across one direction and the line of their
    middles, and by their nearest points.
    """
    lowest = _rough(a, first, b, second, way)
    is_open = lowest < least_mm
    beyond = float(lowest[~is_open].min(initial=np.inf))
    row, i, j = np.nonzero(is_open)
    one, other, lowest = first[row, i], second[row, j], lowest[is_open]
    for bound_of in (_by_middles, _by_nearest):
        lowest = np.maximum(lowest, bound_of(a, one, b, other))
        is_open = lowest < least_mm
        beyond = min(beyond, float(lowest[~is_open].min(initial=np.inf)))
        one, other, lowest = one[is_open], other[is_open], lowest[is_open]
    if not len(one):
        return _Look(one, other, lowest, beyond, np.inf, np.zeros((2, 3)), (-1, -1))
    on_a, on_b = _nearest_points(a.corners[one], b.corners[other])
    most = np.linalg.norm(on_b - on_a, axis=1) + a.error_mm[one] + b.error_mm[other]
    k = int(np.argmin(most))
    points, nearest = np.stack([on_a[k], on_b[k]]), (int(one[k]), int(other[k]))
    return _Look(one, other, lowest, beyond, float(most[k]), points, nearest)


def _rough(a: Patches, first: Numbers, b: Patches, second: Numbers, way: Floats) -> Floats:
    """Bounds (n, k, l) by balls and by planes across one direction, mm."""
    run = b.middle[second][:, None] - a.middle[first][:, :, None]
    apart = np.sqrt(np.einsum("nklx,nklx->nkl", run, run))
    by_balls = apart - (a.radius + a.error_mm)[first][:, :, None]
    by_balls -= (b.radius + b.error_mm)[second][:, None]
    reach_a = (a.corners @ way).max(axis=1) + a.error_mm
    reach_b = (b.corners @ way).min(axis=1) - b.error_mm
    by_planes = reach_b[second][:, None] - reach_a[first][:, :, None]
    bounds: Floats = np.maximum(by_balls, by_planes) - NUMERIC_MM
    return bounds


def _by_middles(a: Patches, first: Numbers, b: Patches, second: Numbers) -> Floats:
    """Bounds by planes across the lines of the middles, mm."""
    ways = b.middle[second] - a.middle[first]
    ways /= np.maximum(np.linalg.norm(ways, axis=1), _TINY)[:, None]
    return _gaps(a, first, b, second, ways)


def _by_nearest(a: Patches, first: Numbers, b: Patches, second: Numbers) -> Floats:
    """Bounds by planes across the lines of points near the nearest ones, mm."""
    on_a, on_b = _nearest_points(a.corners[first], b.corners[second])
    ways = on_b - on_a
    ways /= np.maximum(np.linalg.norm(ways, axis=1), _TINY)[:, None]
    return _gaps(a, first, b, second, ways)


def _gaps(a: Patches, first: Numbers, b: Patches, second: Numbers, ways: Floats) -> Floats:
    """Gaps (n,) that planes across directions (n, 3) keep between patches, mm."""
    reach_a = np.einsum("nij,nj->ni", a.corners[first], ways).max(axis=1) + a.error_mm[first]
    reach_b = np.einsum("nij,nj->ni", b.corners[second], ways).min(axis=1) - b.error_mm[second]
    gaps: Floats = reach_b - reach_a - NUMERIC_MM
    return gaps


def _nearest_points(corners_a: Floats, corners_b: Floats) -> tuple[Floats, Floats]:
    """Points (n, 3) on triangles (n, 3, 3) near where they are nearest, by going to and fro."""
    from trimesh.triangles import closest_point

    on_b = corners_b.mean(axis=1)
    on_a = closest_point(corners_a, on_b)
    for _ in range(_TO_AND_FRO):
        on_b = closest_point(corners_b, on_a)
        on_a = closest_point(corners_a, on_b)
    return on_a, on_b
