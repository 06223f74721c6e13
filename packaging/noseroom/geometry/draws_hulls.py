"""Distances of the convex hulls of two bodies in many samples: quick, and mostly the bodies' own.

Where two bodies are nearest they mostly bulge towards each other, so that their hulls are as far
apart as they are. Two flat faces that stay nearly parallel are what a search through triangles
finds hard, and a hull easy. Nothing here is guaranteed: it says where to look, and planes and
points of the bodies themselves bound the distance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_UNEVEN_MM = 1e-6
_SEEDS = (0, 1)


def hull_of(points: Floats) -> Any | None:
    """Return the hull of points (n, 3) for `hull_points`; None where there is none of use."""
    import coal
    from scipy.spatial import ConvexHull, QhullError

    for seed in _SEEDS:
        # Of a flat face with many corners all would be joined to one, which is more than the
        # library can hold. If it is not quite even, each has a few neighbours.
        uneven = np.random.default_rng(seed).uniform(-_UNEVEN_MM, _UNEVEN_MM, points.shape)
        try:
            hull = ConvexHull(points + uneven)
            numbers = np.zeros(len(points), dtype=np.intp)
            numbers[hull.vertices] = np.arange(len(hull.vertices))
            corners, facets = coal.StdVec_Vec3s(), coal.StdVec_Triangle()
            corners.extend(list(hull.points[hull.vertices]))
            # One by one: thousands of small things at a time set the garbage collector going.
            for one in zip(*numbers[hull.simplices.T].tolist(), strict=True):
                facets.append(coal.Triangle(*one))
            return coal.Convex(corners, facets)
        except (QhullError, RuntimeError):
            continue
    return None


def hull_points(a: Any, b: Any, turns: Floats, places: Floats) -> Floats:
    """Return the nearest points (n, 2, 3) of two hulls, a's seen from b by (n, 3, 3) and (n, 3).

    nan where they meet.
    """
    import coal

    request, stand = coal.DistanceRequest(), coal.Transform3s()
    request.enable_signed_distance = False
    found = np.full((len(turns), 2, 3), np.nan)
    for k, (turn, place) in enumerate(zip(turns, places, strict=True)):
        result = coal.DistanceResult()
        if coal.distance(a, coal.Transform3s(turn, place), b, stand, request, result) > 0.0:
            found[k] = result.getNearestPoint1(), result.getNearestPoint2()
    return found
