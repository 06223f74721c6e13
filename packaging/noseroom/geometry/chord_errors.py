"""How far the faces and edges of the kernel are from the triangles and chords on them.

What the mesher stores with a face as deflection is measured inside the face only: a flat disc
claims 1e-15 mm while its rim is chords. So the rims and the inside are sampled here as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.surfaces import Places, curve_ends, curve_places

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

SAMPLING_FACTOR = 1.25
"""Between a chord's ends the gap to a smooth surface is close to a quadratic, whose largest value
in a triangle is at most 1.03 times the largest of the samples; the rest is for surfaces that are
less tame."""
_INSIDE_TRIANGLE = np.array(
    [
        [0.5, 0.5, 0.0],
        [0.0, 0.5, 0.5],
        [0.5, 0.0, 0.5],
        [1 / 3, 1 / 3, 1 / 3],
        [2 / 3, 1 / 6, 1 / 6],
        [1 / 6, 2 / 3, 1 / 6],
        [1 / 6, 1 / 6, 2 / 3],
    ]
)
_ALONG_CHORD = np.array([0.25, 0.5, 0.75])
_NEIGHBOURS = 16
# A sample that much further off than the mesher says is not over its own triangle.
_FOLDED = 2.0
# So many of the furthest samples are measured first, and four times as many each time after.
_AT_FIRST = 32


def in_triangles(corners: Floats) -> Floats:
    """Return samples (7, m, d) in triangles (m, 3, d)."""
    first, second, third = _INSIDE_TRIANGLE.T[:, :, None, None]
    samples: Floats = first * corners[:, 0] + second * corners[:, 1] + third * corners[:, 2]
    return samples


def inner_errors(
    places: Places, nodes: Floats, uv: Floats, triangles: Ints, claimed_mm: float
) -> tuple[float, float, Floats]:
    """Return the largest sampled distance of a surface from its own triangles, and the nearest.

    Also for each triangle (m,) what none of its samples is beyond. All mm. nodes (n, 3) with
    parameters uv (n, 2), triangles (m, 3); claimed_mm: what the mesher says of its deflection.
    """
    corners = nodes[triangles]
    on_surface = places(in_triangles(uv[triangles]).reshape(-1, 2))
    on_chord = in_triangles(corners).reshape(-1, 3)
    own = np.tile(np.arange(len(triangles)), len(_INSIDE_TRIANGLE))
    # No sample is further from its triangle than from the point of the same parameters on it: so
    # they are measured from the furthest down, until no other can be further.
    most = np.linalg.norm(on_surface - on_chord, axis=1)
    each: Floats = most.reshape(len(_INSIDE_TRIANGLE), -1).max(axis=0)
    furthest = 0.0
    for some in _furthest_first(most):
        if most[some].max() <= furthest:
            break
        gap = to_triangles(on_surface[some], corners[own[some]])
        furthest = max(furthest, float(gap.max()))
    # At a pole the parameters run together and a sample can land off its own triangle; any
    # neighbour that is nearer will do, and looking at some of them only errs upward.
    if furthest <= _FOLDED * claimed_mm or claimed_mm == 0:
        return furthest, furthest, each
    return furthest, _to_neighbours(on_surface, most, corners, own), each


def _furthest_first(most: Floats) -> Iterator[NDArray[np.intp]]:
    """Numbers of the largest values (n,), then of the next largest, and so on."""
    count, rest = _AT_FIRST, np.arange(len(most))
    while len(rest) > count:
        order = np.argpartition(most[rest], -count)
        yield rest[order[-count:]]
        rest, count = rest[order[:-count]], 4 * count
    yield rest


def _to_neighbours(
    on_surface: Floats, most: Floats, corners: Floats, own: NDArray[np.intp]
) -> float:
    """Largest distance of the samples (n, 3) from the nearest of some triangles about, mm."""
    from scipy.spatial import cKDTree

    centres = cKDTree(corners.mean(axis=1))
    furthest = 0.0
    for some in _furthest_first(most):
        if most[some].max() <= furthest:
            break
        near = centres.query(on_surface[some], k=min(_NEIGHBOURS, len(corners)))[1]
        near = np.c_[own[some], near.reshape(len(some), -1)]
        gaps = [to_triangles(on_surface[some], corners[column]) for column in near.T]
        furthest = max(furthest, float(np.min(gaps, axis=0).max()))
    return furthest


def to_triangles(points: Floats, corners: Floats) -> Floats:
    """Return the distance (n,) of each point (n, 3) from its own triangle (n, 3, 3)."""
    from trimesh.triangles import closest_point

    if not len(points):
        return np.zeros(0)
    distance: Floats = np.linalg.norm(closest_point(corners, points) - points, axis=1)
    return distance


def rim_error(edge: Any, at: Floats, ends: Floats) -> float:
    """Return how far an edge is at most from its chords, mm: sampled, closed for a circle.

    at: (n,) parameters of the ends (n, 3) of its chords on its curve.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType

    curve = BRepAdaptor_Curve(edge)
    if curve.GetType() == GeomAbs_CurveType.GeomAbs_Circle:
        widest = min(float(np.abs(np.diff(at)).max()), 2 * np.pi)
        # A hair more than the sagitta, radius * (1 - cos(w / 2)).
        return float(curve.Circle().Radius() * widest**2 / 8)
    samples, chord = _along_chords(curve, at)
    points = curve_places(curve)(samples)
    run = np.diff(ends, axis=0)[chord]
    from_start = points - ends[:-1][chord]
    length2 = np.maximum(np.einsum("ij,ij->i", run, run), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", from_start, run) / length2, 0.0, 1.0)
    sampled = float(np.linalg.norm(from_start - share[:, None] * run, axis=1).max())
    return SAMPLING_FACTOR * sampled


def _along_chords(curve: Any, at: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Parameters (k,) on a curve between the ends (n,) of its chords, and which chord each is on.

    The same share of every chord; of a spline, of every piece of a chord between knots.
    """
    ends = np.unique(np.r_[at, curve_ends(curve)])
    ends = ends[(ends >= at.min()) & (ends <= at.max())]
    samples = (ends[:-1] + _ALONG_CHORD[:, None] * np.diff(ends)).ravel()
    backward = at[0] > at[-1]
    rising = at[::-1] if backward else at
    chord = np.clip(np.searchsorted(rising, samples) - 1, 0, len(at) - 2)
    return samples, len(at) - 2 - chord if backward else chord
