"""A lower bound of the distance of two bodies from ever finer meshes of where they are near.

Pairs of triangles that are further apart than a distance known to be there, and both their chord
errors, cannot hold the least one. What is left is cut finer (`patches`), until nothing that is
left could be nearer by more than `WITHIN_MM`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose
from noseroom.geometry.patches import Patches, cells_of, errors_of, finer, first_patches
from noseroom.geometry.trees import NUMERIC_MM, close_triangles

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]
Ints = NDArray[np.int32]
Pairs: TypeAlias = tuple[Numbers, Numbers, Floats]
"""Numbers (k,) of triangles of two bodies, and their distances (k,), mm."""

WITHIN_MM = 1e-3
"""How far below a distance that is really there the bound may stay, where no more is asked."""
_ROUNDS = 5
_MOST_PAIRS = 6000
# Of round faces that run parallel (a pin in its hole) much stays open round after round, and the
# kernel measures such faces in a hundredth of the time.
_MOST_SIMPLE = 600
_MOST_FACES = 100
_MANY = 120
_FEW = 20
_TO_AND_FRO = 2
_TINY = 1e-12


@dataclass(frozen=True, eq=False)
class Refined:
    """A bound of a distance, mm.

    points: (2, 3) in the world, and faces: of a place that is nearer than the distance asked
    about; None where there is none, and the bound is within what was asked of it. pairs: the
    triangles of the two bodies that were near, for the next question about the same two.
    """

    bound_mm: float
    points: Floats | None
    faces: tuple[int, int]
    pairs: Pairs


def refined_bound(
    a: Any,
    pose_a: Pose,
    b: Any,
    pose_b: Pose,
    value_mm: float,
    ends: Floats,
    parted: Callable[[int, int], float],
    *,
    within_mm: float = WITHIN_MM,
    pairs: Pairs | None = None,
) -> Refined | None:
    """Return a bound of the distance of two bodies (`mesh.Body`) with B-rep faces.

    value_mm: a distance that is really there, ends: (2, 3) where. parted: how far, mm, two faces
    are apart for sure by what else is known of them, by their numbers. within_mm: how far below
    that distance the bound may stay. pairs: of an answer about the same two bodies in the same
    places, and a distance no smaller. None where there is too much to look at (parallel
    surfaces), or a rim cannot be followed.
    """
    least_mm = value_mm - within_mm
    way = (ends[1] - ends[0]) / value_mm
    margin = value_mm + a.chart_bound_mm + b.chart_bound_mm
    looked_before = pairs is not None
    if pairs is None:
        pairs = close_triangles(a.tree, pose_a, b.tree, pose_b, margin, _MOST_PAIRS)
    if pairs is None:
        return None
    first, second, apart = pairs
    lowest = apart - errors_of(a, first) - errors_of(b, second) - NUMERIC_MM
    face_a, face_b = a.mesh.face_of[first], b.mesh.face_of[second]
    lowest = _by_faces(face_a, face_b, lowest, least_mm, parted)
    most_pairs = _most_pairs(a, face_a, b, face_b, lowest < least_mm)
    some_a = some_b = None
    looked = _Look(first, second, lowest, value_mm, np.inf, ends, (-1, -1))
    bound = value_mm
    for _ in range(_ROUNDS):
        lowest = looked.lowest_mm
        is_open = lowest < least_mm
        beyond = float(lowest[~is_open].min(initial=np.inf))
        bound = min(bound, looked.beyond_mm, beyond)
        if not is_open.any():
            return Refined(bound, None, (-1, -1), pairs)
        if some_a is not None and some_b is not None and looked.most_mm < least_mm:
            f, g = looked.nearest
            faces = int(some_a.face[f]), int(some_b.face[g])
            return Refined(0.0, looked.points, faces, pairs)
        if is_open.sum() > most_pairs:
            return None
        if some_a is None and not looked_before and is_open.sum() > _MANY:
            # Where much is open, a nearer place is worth finding before it is all cut finer.
            few = np.argsort(lowest, kind="stable")[:_FEW]
            glance = _glance(a, pose_a, b, pose_b, first[few], second[few], way, least_mm)
            if glance is not None:
                return Refined(0.0, *glance, pairs)
        numbers_a, first = np.unique(looked.first[is_open], return_inverse=True)
        numbers_b, second = np.unique(looked.second[is_open], return_inverse=True)
        if some_a is None or some_b is None:
            some_a, some_b = (
                first_patches(a, pose_a, numbers_a),
                first_patches(b, pose_b, numbers_b),
            )
        else:
            some_a, some_b = some_a.chosen(numbers_a), some_b.chosen(numbers_b)
        some_a, some_b = finer(a, pose_a, some_a), finer(b, pose_b, some_b)
        if some_a is None or some_b is None:
            return None
        looked = _look(some_a, cells_of(first), some_b, cells_of(second), way, least_mm)
    return None


def _glance(
    a: Any,
    pose_a: Pose,
    b: Any,
    pose_b: Pose,
    first: Numbers,
    second: Numbers,
    way: Floats,
    least_mm: float,
) -> tuple[Floats, tuple[int, int]] | None:
    """Points and faces of a place nearer than a distance in a few pairs of triangles, if seen."""
    some_a, some_b = first_patches(a, pose_a, first), first_patches(b, pose_b, second)
    finer_a, finer_b = finer(a, pose_a, some_a), finer(b, pose_b, some_b)
    if finer_a is None or finer_b is None:
        return None
    each = cells_of(np.arange(len(first)))
    looked = _look(finer_a, each, finer_b, each, way, least_mm)
    if looked.most_mm >= least_mm:
        return None
    f, g = looked.nearest
    return looked.points, (int(finer_a.face[f]), int(finer_b.face[g]))


def _most_pairs(a: Any, face_a: Ints, b: Any, face_b: Ints, is_open: NDArray[np.bool_]) -> int:
    """How many open pairs are worth cutting finer before the kernel is."""
    faces = ((body, f) for body, of in ((a, face_a), (b, face_b)) for f in np.unique(of[is_open]))
    return _MOST_SIMPLE if all(body.charts[f].simple for body, f in faces) else _MOST_PAIRS


def _by_faces(
    face_a: Ints, face_b: Ints, lowest: Floats, least_mm: float, parted: Callable[[int, int], float]
) -> Floats:
    """Bounds (k,) of pairs, mm, with what is known of their faces, where these are not too many."""
    low = np.flatnonzero(lowest < least_mm)
    faces = np.stack([face_a[low], face_b[low]], axis=1)
    unique, which = np.unique(faces, axis=0, return_inverse=True)
    if len(unique) > _MOST_FACES:
        return lowest
    sure = np.array([parted(int(f), int(g)) for f, g in unique])
    better = lowest.copy()
    better[low] = np.maximum(lowest[low], sure[which.reshape(-1)])
    return better


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
