"""Few corners whose convex hull contains many points, flat ones too."""

from __future__ import annotations

import numpy as np

from noseroom.geometry.scan_types import Floats

_FLAT_MM = 1e-6
_PLATE_MM = 1.0
"""A hull less thick than this may be had as a plate with few corners."""
_SIDES = 16
_BOX_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=bool)


def hull_corners(points: Floats) -> Floats:
    """Corners (k, 3) mm whose convex hull contains points (n, 3), most of them of the points."""
    from scipy.spatial import ConvexHull, QhullError

    ways, low, high = spread(points)
    thick = high - low
    points = np.unique(points, axis=0)
    if len(points) <= 4:
        return points
    try:
        if thick[2] > _FLAT_MM:
            corners: Floats = points[np.unique(ConvexHull(points).simplices)]
            if len(corners) <= 2 * _SIDES or thick[2] > _PLATE_MM:
                return corners
            return _plate(corners @ ways.T, low[2], high[2]) @ ways
        if thick[1] > _FLAT_MM:
            plane = points @ ways.T
            rim = plane[ConvexHull(plane[:, :2]).vertices]
            # What little the points stand off the plane is kept inside on both sides.
            ends = (low[2], high[2])
            faces = [np.column_stack([rim[:, :2], np.full(len(rim), end)]) for end in ends]
            both: Floats = np.concatenate(faces if thick[2] > 0 else faces[:1]) @ ways
            return both
    except QhullError:
        pass
    return np.unique(np.where(_BOX_CORNERS, high, low), axis=0) @ ways


def _plate(corners: Floats, low: float, high: float) -> Floats:
    """A plate of few corners that contains points (n, 3), between two heights.

    Its outline is in the first two axes; each of its sides has a fixed direction and touches.
    """
    angle = 2 * np.pi * np.arange(_SIDES) / _SIDES
    ways = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    reach = (corners[:, :2] @ ways.T).max(axis=0)
    after, step = np.roll(reach, -1), 2 * np.pi / _SIDES
    # Where the lines of two neighbouring directions meet.
    along = (after - reach * np.cos(step)) / np.sin(step)
    square = np.stack([-ways[:, 1], ways[:, 0]], axis=1)
    outline = reach[:, None] * ways + along[:, None] * square
    faces = [np.column_stack([outline, np.full(_SIDES, side)]) for side in (low, high)]
    plate: Floats = np.concatenate(faces)
    return plate


def spread(points: Floats) -> tuple[Floats, Floats, Floats]:
    """Principal directions, (3, 3) with a row each, widest first, and the ends (3,) along them."""
    away = points - points.mean(axis=0)
    _, ways = np.linalg.eigh(away.T @ away)
    ways = ways.T[::-1]
    along = points @ ways.T
    return ways, along.min(axis=0), along.max(axis=0)
