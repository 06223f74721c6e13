"""Sheet metal, flat first: flanges and bends as they are cut, and how they stand once folded.

A blank lies in the plane of x and y, its underside at z = 0, its upper side at z = thickness.
Flanges are joined by bends; a bend's zone is a rectangle between two flanges, as long as the bend
and as wide as its allowance, angle × (inside radius + K × thickness). Nothing has to be unfolded:
the folded part follows from the flat one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path, Point

Floats = NDArray[np.float64]
Hole = Circle | Path
"""A round hole, or any other as a closed path, such as a slot."""


@dataclass(frozen=True)
class Flange:
    """A flat part of a blank, in the blank's own plane, mm.

    outline: closed, anticlockwise. One of its straight sides lies on each bend that it has part in.
    """

    outline: Path
    holes: tuple[Hole, ...] = ()


@dataclass(frozen=True)
class Bend:
    """A bend between two flanges.

    parent, child: their numbers; the parent stays where it is when the child is folded. start, end:
    the zone's edge on the parent, mm, so run that the zone and the child lie to the right of it
    (the parent's outline runs from start to end there). angle_deg: positive lifts the child towards
    +z, negative lets it down. inside_mm: radius on the inside of the bend. k: the neutral line's
    place in the thickness, 0 inside, 1 outside.
    """

    parent: int
    child: int
    start: Point
    end: Point
    angle_deg: float
    inside_mm: float
    k: float

    def __post_init__(self) -> None:
        if not 0.0 < abs(self.angle_deg) < 180.0:
            raise GeometryError(
                f"found a bend of {self.angle_deg:g}°; expected more than 0° and less than 180°"
            )
        if not self.inside_mm > 0.0:
            raise GeometryError(
                f"found an inside radius of {self.inside_mm:g} mm; expected more than nothing"
            )
        if not 0.0 <= self.k <= 1.0:
            raise GeometryError(f"found K = {self.k:g}; expected 0 to 1")
        if not self.length_mm > 0.0:
            raise GeometryError("a bend of no length")

    @property
    def length_mm(self) -> float:
        """Along the bend line."""
        return math.dist(self.start, self.end)

    @property
    def across(self) -> Point:
        """Unit vector in the flat, square to the bend, from the parent to the child."""
        length = self.length_mm
        return (self.end[1] - self.start[1]) / length, (self.start[0] - self.end[0]) / length

    def far_edge(self, thickness_mm: float, share: float = 1.0) -> tuple[Point, Point]:
        """Start and end of the zone's edge on the child; share 0.5: of the zone's middle line."""
        (ux, uy), by = self.across, share * self.allowance_mm(thickness_mm)
        start, end = self.start, self.end
        return (start[0] + by * ux, start[1] + by * uy), (end[0] + by * ux, end[1] + by * uy)

    def allowance_mm(self, thickness_mm: float) -> float:
        """How wide its zone is in the flat."""
        radius = self.inside_mm + self.k * thickness_mm
        return math.radians(abs(self.angle_deg)) * radius


@dataclass(frozen=True)
class Blank:
    """A whole part in the flat; bends make a tree of its flanges, the first of which is its root.

    Raises GeometryError where bends and flanges do not make one.
    """

    thickness_mm: float
    flanges: tuple[Flange, ...]
    bends: tuple[Bend, ...] = ()

    def __post_init__(self) -> None:
        if not self.thickness_mm > 0.0:
            raise GeometryError(f"found a sheet of {self.thickness_mm:g} mm")
        joined = {0}
        for bend in self.bends:
            if bend.parent not in joined or bend.child in joined:
                raise GeometryError("the bends of a blank do not lead from flange to flange")
            joined.add(bend.child)
        if joined != set(range(len(self.flanges))):
            raise GeometryError("a flange of a blank is joined to nothing")


def folded_places(blank: Blank) -> tuple[Floats, ...]:
    """Where each flange stands once folded: (4, 4) each, from the flat to the folded part, mm.

    The root stays. A point on a flange's underside is (x, y, 0), on its upper side (x, y, t).
    """
    places: dict[int, Floats] = {0: np.eye(4)}
    for bend in blank.bends:
        places[bend.child] = places[bend.parent] @ fold_of(bend, blank.thickness_mm)
    return tuple(places[k] for k in range(len(blank.flanges)))


def fold_of(bend: Bend, thickness_mm: float, share: float = 1.0) -> Floats:
    """What a bend does to its child: (4, 4), in the parent's flat coordinates, mm.

    share: 0 leaves it flat, 1 folds it; what is between is the bend's zone: a point that lies the
    share of the allowance into the zone is where this carries it.
    """
    along = np.array([*np.subtract(bend.end, bend.start), 0.0]) / bend.length_mm
    out = np.array([along[1], -along[0], 0.0])  # across the bend, to the child
    up = np.array([0.0, 0.0, 1.0])
    angle = math.radians(bend.angle_deg) * share
    height = thickness_mm + bend.inside_mm if bend.angle_deg > 0 else -bend.inside_mm
    centre = np.array([*bend.start, height])
    # About the line through the centre, along `along`: from `out` towards `up` by the angle.
    c, s = math.cos(angle), math.sin(angle)
    turn = np.outer(along, along) + np.outer(out * c + up * s, out) + np.outer(up * c - out * s, up)
    spent = bend.allowance_mm(thickness_mm) * share
    made = np.eye(4)
    made[:3, :3] = turn
    # First back to the zone's edge by what the bend takes up, then round its centre.
    made[:3, 3] = centre + turn @ (-centre - out * spent)
    return made
