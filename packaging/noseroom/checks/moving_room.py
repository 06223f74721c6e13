"""The room that movement takes: solids that hold all that a part may sweep, to look at.

For each component of a part the convex hull of where its pieces may come, over every combination
of amounts, readings left out. A far swing is cut into parts, with a hull for each. The hulls hold
the metal for certain, and hold air too where a component is hollow: they are for looking, and no
answer rests on them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.motion import swing_mm
from noseroom.checks.movement import Motion, motions_of
from noseroom.checks.moving import STATE
from noseroom.findings import Finding
from noseroom.geometry.mesh import Body, body_from_mesh
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]

_STEP_DEG = 6.0
_WITHIN_MM = 1e-6
_SWINGS = ("hood", "anti-roll bar", "steering link", "pitman arm")


def moving_rooms(layout: Layout, findings: Sequence[Finding]) -> Mapping[str, tuple[Body, ...]]:
    """The room that the movement of some parts takes, by part, in the vehicle frame, mm.

    Of all that moves with an engine only those that an answer names: what comes nearest, or too
    near. Of what swings by itself all.
    """
    named = {name for one in findings if one.state == STATE for name in _named(one)}
    made: dict[str, tuple[Body, ...]] = {}
    for motion in motions_of(layout):
        if motion.still:
            continue
        for name in sorted(motion.moved):
            part = layout.parts[name]
            if part.known and part.components and (name in named or motion.kind in _SWINGS):
                made[name] = tuple(_rooms(part, motion))
    return made


def _named(finding: Finding) -> tuple[str, ...]:
    nearest = finding.details.get("nearest")
    more = nearest.split(" / ") if isinstance(nearest, str) else ()
    return (*(finding.parts if len(finding.parts) > 1 else ()), *more)


def _rooms(part: PlacedPart, motion: Motion) -> list[Body]:
    """One body for each component and each part of the motion's range."""
    found: list[Body] = []
    for component, placements in part.moving.items():
        if component in part.part.unseen():
            continue
        corners = np.concatenate([piece.corners for piece in placements[0]])
        corners = corners[np.sort(_hull(corners)[0])]
        for number, (centre, reach) in enumerate(_ranges(motion)):
            points = swept(corners, motion.narrowed(centre, reach))
            kept, triangles = _hull(points)
            name = f"{part.name}: {component} moving {number + 1}"
            found.append(body_from_mesh(name, points[kept], triangles, deflection_mm=0.0))
    return found


def swept(corners: Floats, motion: Motion) -> Floats:
    """Points (m, 3) whose hull holds corners (n, 3) in every pose of a motion, mm.

    To the first order corners go along with the amounts, and so are in the hull of where the ends
    of all ranges take them; what a turn does beyond that is added all round.
    """
    pose = motion.pose(motion.centre)
    middle = corners @ pose[:3, :3].T + pose[:3, 3]
    arms = middle - motion.pivot()
    felt = np.flatnonzero(motion.reaches)
    ends = np.array(list(product((-1.0, 1.0), repeat=len(felt)))) * motion.reaches[felt]
    ways = np.cross(motion.turns[felt][None], arms[:, None]) + motion.shifts[felt][None]
    points = (middle[:, None] + np.einsum("ek,nki->nei", ends, ways)).reshape(-1, 3)
    points = points[_hull(points)[0]]
    more = swing_mm(motion, np.abs(arms).max(axis=0)) + _WITHIN_MM
    box = np.array(list(product((-1.0, 1.0), repeat=3))) * more
    return np.asarray((points[:, None] + box[None]).reshape(-1, 3))


def _ranges(motion: Motion) -> list[tuple[Floats, Floats]]:
    """Centres and reaches of the parts of a motion's range: one, unless it swings far."""
    alone = len(motion.freedoms) == 1 and motion.freedoms[0].turns
    parts = max(1, int(np.ceil(2 * motion.reaches[0] / _STEP_DEG))) if alone else 1
    small = motion.reaches / parts
    first = motion.centre - motion.reaches + small
    if parts == 1:
        return [(motion.centre, motion.reaches)]
    return [(first + 2 * k * small, small) for k in range(parts)]


def _hull(points: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which points (n, 3) are corners of their hull, and its triangles by those, facing out."""
    from scipy.spatial import ConvexHull

    hull = ConvexHull(points)
    kept, places = np.unique(hull.simplices, return_inverse=True)
    triangles = places.reshape(hull.simplices.shape)
    corners = points[kept][triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = np.einsum("ij,ij->i", normals, hull.equations[:, :3]) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return kept.astype(np.intp), triangles.astype(np.intp)
