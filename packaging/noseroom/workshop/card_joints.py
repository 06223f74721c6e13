"""Panels that cross: which of the two keeps what they have in common, and the cuts that follow.

All panels are square to the axes of the part's frame, so that two that cross do so in a bar as
thick as the card each way. Every joint shares that bar out along its length: slots that meet
half way, fingers in turn, or all of it to one panel that goes through the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box, unary_union
from shapely.geometry.base import BaseGeometry

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Point
from noseroom.workshop.card_regions import Round, pieces_of
from noseroom.workshop.card_stock import Card

Floats = NDArray[np.float64]
Ends = tuple[float, float]

_LEAST_MM = 1e-6
_CRUMB_MM2 = 0.01


@dataclass
class Blank:
    """A panel that is still being cut; see `card_stock.Panel`.

    way: the axis along which it moves into its place and the sign, such as (2, -1) for downwards.
    """

    name: str
    normal: int
    low: float
    thickness: float
    region: BaseGeometry
    way: tuple[int, int]

    @property
    def ends(self) -> Ends:
        """Where its two faces are along its normal."""
        return self.low, self.low + self.thickness


@dataclass(frozen=True)
class Joint:
    """Two panels that meet. middle (3,): of what they share, in the part's frame."""

    first: str
    second: str
    middle: Floats


@dataclass
class Works:
    """A stand-in while it is being cut: its panels, in the order in which they go together.

    rounds: circles that were drawn, by the axis that they are square to.
    """

    card: Card
    panels: dict[str, Blank] = field(default_factory=dict)
    joints: list[Joint] = field(default_factory=list)
    rounds: dict[int, list[Round]] = field(default_factory=lambda: {0: [], 1: [], 2: []})
    notes: list[str] = field(default_factory=list)

    @property
    def t(self) -> float:
        """The card's thickness, mm."""
        return self.card.thickness_mm

    def add(
        self, name: str, normal: int, low: float, region: BaseGeometry, way: tuple[int, int]
    ) -> Blank:
        """One more panel, the last to go in so far."""
        if name in self.panels:
            raise GeometryError(f"two panels of a stand-in are called {name!r}")
        made = Blank(name, normal, low, self.t, region, way)
        self.panels[name] = made
        return made

    def disc(self, normal: int, middle: Floats, radius: float) -> Polygon:
        """A round region, square to an axis, about a point (3,) of the part's frame."""
        u, v = plane(normal)
        made = Round((round(float(middle[u]), 9), round(float(middle[v]), 9)), float(radius))
        if made not in self.rounds[normal]:
            self.rounds[normal].append(made)
        return made.polygon()

    def drill(
        self, middle: Floats, axis: int, diameter: float, along: Ends, flat: bool = False
    ) -> None:
        """Take a round hole out of every panel that it goes through.

        middle (3,): a point of its axis. along: from where to where it goes, mm. flat: only out of
        panels that it goes through squarely.
        """
        radius = diameter / 2.0
        for one in self.panels.values():
            if flat and one.normal != axis:
                continue
            if one.normal == axis:
                if one.ends[0] < along[1] - _LEAST_MM and one.ends[1] > along[0] + _LEAST_MM:
                    one.region = one.region.difference(self.disc(axis, middle, radius))
                continue
            near = max(one.ends[0] - middle[one.normal], middle[one.normal] - one.ends[1], 0.0)
            if near < radius:
                third = 3 - axis - one.normal
                half = math.sqrt(radius**2 - near**2)
                at = float(middle[third])
                cut = rect(one.normal, {axis: along, third: (at - half, at + half)})
                one.region = one.region.difference(cut)

    def lap(self, first: str, second: str) -> None:
        """Slots that meet half way: the first keeps the lower half of what they share."""
        for low, high in self._shared(first, second):
            middle = (low + high) / 2.0
            self._cut(second, first, (low, middle))
            self._cut(first, second, (middle, high))
            self._note(first, second, (low, high))

    def through(self, first: str, second: str) -> None:
        """The first goes through the second, which has a slot for it."""
        for ends in self._shared(first, second):
            self._cut(second, first, ends)
            self._note(first, second, ends)

    def fingers(self, first: str, second: str, finger_mm: float) -> None:
        """An odd number of fingers in turn; the first panel has those at both ends."""
        for low, high in self._shared(first, second):
            count = max(1, 2 * round(((high - low) / finger_mm - 1.0) / 2.0) + 1)
            if count < 3 <= (high - low) / (2.0 * self.t):
                count = 3
            marks = np.linspace(low, high, count + 1)
            for k in range(count):
                loser, winner = (second, first) if k % 2 == 0 else (first, second)
                self._cut(loser, winner, (float(marks[k]), float(marks[k + 1])))
            self._note(first, second, (low, high))

    def meet(self, first: str, second: str) -> None:
        """Two panels that are glued flat or edge to face, without a slot."""
        a, b = self.panels[first], self.panels[second]
        low, high = bounds(a), bounds(b)
        ends = np.array([np.maximum(low[0], high[0]), np.minimum(low[1], high[1])])
        self.joints.append(Joint(first, second, ends.mean(axis=0)))

    def spans(self, name: str, other: str) -> list[Ends]:
        """Where a panel has card between another one's faces, along the bar in which they cross."""
        return _along(self.panels[name], self.panels[other])

    def _shared(self, first: str, second: str) -> list[Ends]:
        """Where both have card in the bar in which they cross, along it."""
        a, b = self.panels[first], self.panels[second]
        if a.normal == b.normal:
            raise GeometryError(f"the panels {first!r} and {second!r} do not cross")
        found = [
            (max(p[0], q[0]), min(p[1], q[1]))
            for p in self.spans(first, second)
            for q in self.spans(second, first)
        ]
        return sorted(one for one in found if one[1] - one[0] > _LEAST_MM)

    def _cut(self, loser: str, winner: str, ends: Ends) -> None:
        """A slot in the loser for the winner, wider by the fit."""
        one, other = self.panels[loser], self.panels[winner]
        half, bar = self.card.fit_mm / 2.0, 3 - one.normal - other.normal
        ranges = {
            bar: (ends[0] - half, ends[1] + half),
            other.normal: (other.ends[0] - half, other.ends[1] + half),
        }
        one.region = one.region.difference(rect(one.normal, ranges))

    def _note(self, first: str, second: str, ends: Ends) -> None:
        a, b = self.panels[first], self.panels[second]
        middle = np.zeros(3)
        middle[a.normal], middle[b.normal] = sum(a.ends) / 2.0, sum(b.ends) / 2.0
        middle[3 - a.normal - b.normal] = sum(ends) / 2.0
        self.joints.append(Joint(first, second, middle))

    def whole(self) -> None:
        """Keep of each panel what hangs together, and say what does not."""
        for one in self.panels.values():
            found = pieces_of(one.region)
            if not found:
                raise GeometryError(f"nothing is left of the panel {one.name!r}")
            lost = sum(piece.area for piece in found[1:])
            if lost > _CRUMB_MM2:
                self.notes.append(
                    f"{lost:.0f} mm² of {one.name} would hang on nothing and are left out."
                )
            one.region = found[0]


def plane(normal: int) -> tuple[int, int]:
    """The two axes in which a panel's region is drawn, right then up."""
    return (normal + 1) % 3, (normal + 2) % 3


def rect(normal: int, ranges: Mapping[int, Ends]) -> Polygon:
    """An upright rectangle, by its ends along both axes of the plane square to `normal`."""
    (u0, u1), (v0, v1) = (sorted(ranges[axis]) for axis in plane(normal))
    return box(u0, v0, u1, v1)


def joined(regions: Iterable[BaseGeometry]) -> BaseGeometry:
    """All of them as one."""
    return unary_union(list(regions))


def bounds(blank: Blank) -> Floats:
    """Lowest and highest corner (2, 3) in the part's frame."""
    u0, v0, u1, v1 = blank.region.bounds
    made = np.zeros((2, 3))
    u, v = plane(blank.normal)
    made[:, u], made[:, v], made[:, blank.normal] = (u0, u1), (v0, v1), blank.ends
    return made


def at_point(normal: int, middle: Floats) -> Point:
    """A point of the part's frame in the plane of a panel."""
    u, v = plane(normal)
    return float(middle[u]), float(middle[v])


def _along(one: Blank, other: Blank) -> list[Ends]:
    """Where a panel has card between the other one's faces, along the bar in which they cross."""
    bar = 3 - one.normal - other.normal
    far = 1e6
    inside = (other.ends[0] + _LEAST_MM, other.ends[1] - _LEAST_MM)
    strip = rect(one.normal, {other.normal: inside, bar: (-far, far)})
    index = plane(one.normal).index(bar)
    spans = sorted(
        (piece.bounds[index], piece.bounds[index + 2])
        for piece in pieces_of(one.region.intersection(strip))
    )
    merged: list[Ends] = []
    for low, high in spans:
        if merged and low <= merged[-1][1] + _LEAST_MM:
            merged[-1] = merged[-1][0], max(high, merged[-1][1])
        else:
            merged.append((low, high))
    return merged
