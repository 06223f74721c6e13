"""A bracket's blank as a frame that can be summed up: its middle line with sections and bends."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.sheet import Blank
from noseroom.geometry.strip_lines import Leg, Spot, StripLines, strip_lines
from noseroom.physics.beams import (
    Section,
    curved_growth,
    rectangle,
    shear_modulus_mpa,
    trough,
)
from noseroom.physics.frames import End, Frame, Member, Peak
from noseroom.tables.sheet import SheetMaterial

Floats = NDArray[np.float64]

_SOFT_METAL_MPA = 70_000.0
"""Young's modulus of aluminium, the softest that tabs are made of (data sheets: 68.9 to 70.3 GPa).
"""
_RIGID = 1e9
"""N·mm/rad; a strip of sheet has 1e5."""


@dataclass(frozen=True)
class Change:
    """What is changed of a bracket, to see what it would do.

    thickness_mm: 0 for its own. wider_mm: on top of its width, between bolts and in bends.
    shorter: the way from bolt to bolt, as a share of its own. rim_mm: height of edges turned up
    along its longest flat, 0 for none. washers: how many times as wide.
    """

    thickness_mm: float = 0.0
    wider_mm: float = 0.0
    shorter: float = 1.0
    rim_mm: float = 0.0
    washers: float = 1.0


NO_CHANGE = Change()


@dataclass(frozen=True)
class Tab:
    """The tab, in mm, of a part that other brackets keep from turning: it holds a bracket's end.

    long_mm: from the middle of its hole to where it grows out of the part.
    """

    wide_mm: float
    thick_mm: float
    long_mm: float

    @property
    def spring(self) -> float:
        """Resistance of its root against turning its hole, E I / L, N·mm/rad.

        As of aluminium, whatever it is made of. Torsion, which is stiffer, counts no more.
        """
        return _SOFT_METAL_MPA * rectangle(self.wide_mm, self.thick_mm).flat_mm4 / self.long_mm


@dataclass(frozen=True)
class Strip:
    """A bracket between its bolts. fixed: those to the car. tab: what holds its other end."""

    blank: Blank
    carried: Spot
    fixed: tuple[Spot, ...]
    metal: SheetMaterial
    tab: Tab | None = None
    lines: StripLines = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "lines", strip_lines(self.blank, self.carried, self.fixed))

    def changed(self, change: Change, *, square: bool = False) -> tuple[StripLines, Frame]:
        """Its middle line and its frame, in its root's coordinates, with a change made.

        square: its end is held fully square, as by a tab without any give.
        """
        lines = self.lines
        if change.washers != 1.0:
            carried, *fixed = (
                _washered(one, change.washers) for one in (self.carried, *self.fixed)
            )
            lines = strip_lines(self.blank, carried, fixed)
        thick = change.thickness_mm or self.blank.thickness_mm
        rimmed = longest(lines) if change.rim_mm else None
        members = tuple(_member(leg, thick, change, leg is rimmed) for leg in lines.legs)
        shear = shear_modulus_mpa(self.metal.e_mpa, self.metal.poisson)
        frame = Frame(
            lines.nodes,
            members,
            lines.fixed,
            self.metal.e_mpa,
            shear,
            self.metal.density_kg_m3,
            ((lines.carried, self.spring(square=square)),),
        )
        return lines, frame if change.shorter == 1.0 else frame.scaled(change.shorter)

    def spring(self, *, square: bool = False) -> Floats:
        """What resists the turning of the bracket's end, (3, 3) N·mm/rad, in its root's frame.

        About the bolt's own axis nothing does: one bolt slips round.
        """
        if square:
            return _RIGID * np.eye(3)
        if self.tab is None:
            return np.zeros((3, 3))
        normal = next(leg.normal for leg in self.lines.legs if leg.start == self.lines.carried)
        return self.tab.spring * (np.eye(3) - np.outer(normal, normal))

    @property
    def way_mm(self) -> float:
        """Along its middle line, all its legs."""
        nodes = self.lines.nodes
        return sum(_long(nodes, leg) for leg in self.lines.legs)


def longest(lines: StripLines) -> Leg:
    """The longest of its flats."""
    flats = [leg for leg in lines.legs if leg.flange >= 0]
    return max(flats, key=lambda leg: _long(lines.nodes, leg))


def place_of(lines: StripLines, peak: Peak) -> str:
    """Where a bracket is stressed most, in words."""
    leg = lines.legs[peak.member]
    node = (leg.start, leg.end)[peak.end]
    if node == lines.carried:
        return "at the hole that carries"
    if node in lines.fixed:
        return "at the hole to the car"
    return "in a bend"


def point_of(lines: StripLines, peak: Peak) -> tuple[float, float, float]:
    """The same as a point of its middle line, mm, folded, in its root's coordinates."""
    leg = lines.legs[peak.member]
    x, y, z = (float(one) for one in lines.nodes[(leg.start, leg.end)[peak.end]])
    return x, y, z


def _long(nodes: Floats, leg: Leg) -> float:
    return float(np.linalg.norm(nodes[leg.end] - nodes[leg.start]))


def _washered(spot: Spot, times: float) -> Spot:
    return Spot(spot.flange, spot.at, spot.hole_mm, times * spot.washer_mm)


def _member(leg: Leg, thick: float, change: Change, rimmed: bool) -> Member:
    wide = leg.wide_mm + change.wider_mm
    ends = []
    for width, inside in zip(leg.ends_mm, leg.inside_mm, strict=True):
        # What a bolt's washer limits does not grow with the strip.
        full = width + (change.wider_mm if inside > 0.0 else 0.0)
        if inside > 0.0:
            # No rim runs round a bend: there the strip is what it was.
            ends.append(End(rectangle(full, thick), curved_growth(inside, thick)))
        else:
            ends.append(End(_section(full, thick, change, rimmed)))
    section = _section(wide, thick, change, rimmed)
    return Member(leg.start, leg.end, leg.normal, section, (ends[0], ends[1]))


def _section(wide: float, thick: float, change: Change, rimmed: bool) -> Section:
    if not rimmed or change.rim_mm <= thick or wide < 2.0 * thick:
        return rectangle(wide, thick)
    return trough(wide, thick, change.rim_mm)
