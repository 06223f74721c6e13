"""A body's surface in a few bits, each little more than its own convex hull."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.mesh import Body

Floats = NDArray[np.float64]

# A hull that is fuller than its body by more than this share is worth splitting.
_FULLER = 0.05
_SMALL = 0.0125
"""Of the whole hull: bits with less room in theirs are left as they are."""


@dataclass(frozen=True, eq=False)
class Bit:
    """Some triangles of a body.

    chosen: (m,) their numbers. corners: (k, 3) mm in the body's frame, of their convex hull.
    volume_mm3: the hull's.
    """

    chosen: NDArray[np.intp]
    corners: Floats
    volume_mm3: float

    @classmethod
    def of(cls, body: Body, chosen: NDArray[np.intp]) -> Bit:
        """The bit of the triangles chosen."""
        from scipy.spatial import ConvexHull, QhullError

        points = body.mesh.vertices[np.unique(body.mesh.triangles[chosen])]
        try:
            hull = ConvexHull(points)
        except QhullError:
            return cls(chosen, points, 0.0)  # flat: all its points, and no room between them
        return cls(chosen, points[hull.vertices], float(hull.volume))

    def halves(self, body: Body) -> list[Bit]:
        """Two bits, cut where most is gained of three cuts; none for a single triangle."""
        middles = body.mesh.vertices[body.mesh.triangles[self.chosen]].mean(axis=1)
        cuts = [middles[:, k] <= np.median(middles[:, k]) for k in range(3)]
        pairs = [
            [Bit.of(body, self.chosen[low]), Bit.of(body, self.chosen[~low])]
            for low in cuts
            if low.any() and not low.all()
        ]
        return min(pairs, key=lambda two: two[0].volume_mm3 + two[1].volume_mm3, default=[])


def bits_of(body: Body, most: int) -> list[Bit]:
    """Bits that hold all triangles of a body between them, no more than `most`.

    A convex body is one; any other is split, the fullest hull first, until the hulls are little
    more than the surface.
    """
    whole = Bit.of(body, np.arange(len(body.mesh.triangles)))
    solid = body.mesh.volume_mm3 if body.watertight else 0.0
    if whole.volume_mm3 <= (1.0 + _FULLER) * solid:
        return [whole]
    made = [whole]
    while len(made) < most:
        fullest = max(made, key=lambda one: one.volume_mm3)
        halves = fullest.halves(body)
        if fullest.volume_mm3 <= _SMALL * whole.volume_mm3 or not halves:
            break
        made = [one for one in made if one is not fullest] + halves
    return made
