"""What a bracket is made for: one tab against one face, with what is cut for its bolts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_shape import Flat, Opening, Plane, Sheet, crossed
from noseroom.checks.bracket_sites import FreeHole, RailFace, TabSite
from noseroom.checks.bracket_slots import TakeUp
from noseroom.geometry.sheet import Blank
from noseroom.tables.fasteners import Grommet

Floats = NDArray[np.float64]

STRAP, ANGLE, OFFSET, JOGGLE, HAT = "flat strap", "L bracket", "Z bracket", "joggled strap", "hat"
TWO_PIECE = "two-piece bracket"
U_FOOT = " with a U-foot"
"""A foot whose slot is open at its end, so that it slips under a bolt that is only loosened."""
ON_RUBBER = " on rubber"

FORMS = (STRAP, ANGLE, OFFSET, JOGGLE, HAT, TWO_PIECE)
"""In the order in which they are spoken of."""

_CLEAR_MM = 0.5


class Cut(NamedTuple):
    """A round hole, and the metal from its middle to the edge of the sheet; mm."""

    diameter_mm: float
    metal_mm: float


@dataclass(frozen=True, eq=False)
class Job:
    """One tab against one face: what every form is made from.

    side: of the tab, 1 or -1. upside: 1 where the sheet's underside lies on the tab, -1 where its
    upper side does. rubber: the grommet in its hole on the tab. wider_mm: by which the strip is
    wider than bolts ask for. fork: whether it slips under a bolt that is there.
    """

    site: TabSite
    face: RailFace
    side: int
    upside: int
    sheet: Sheet
    bolt: Fastener
    rail_bolt: Fastener
    take: TakeUp
    rubber: Grommet | None = None
    wider_mm: float = 0.0
    fork: bool = False

    @property
    def standoff_mm(self) -> float:
        """Of rubber between tab and bracket."""
        return 0.0 if self.rubber is None else self.rubber.flange_mm

    @cached_property
    def rail_hole(self) -> Cut:
        """What is cut for the bolt in the core support."""
        return Cut(self.rail_bolt.hole.normal_mm, self.rail_bolt.metal_mm)

    @cached_property
    def joint_hole(self) -> Cut:
        """What is cut for the bolt between two pieces."""
        return Cut(self.bolt.hole.normal_mm, self.bolt.metal_mm)

    @cached_property
    def tab_hole(self) -> Cut:
        """What is cut for the tab's bolt, or for the grommet round it."""
        if self.rubber is None:
            return Cut(self.bolt.hole.normal_mm, self.bolt.metal_mm)
        return Cut(self.rubber.hole_mm, self.rubber.metal_mm)

    @cached_property
    def tab_plane(self) -> Plane:
        """Where the underside of the flat on the tab lies."""
        seat = self.site.face(self.side).lifted(self.standoff_mm)
        if self.upside > 0:
            return seat
        return Plane(seat.point + self.sheet.thickness_mm * seat.up, -seat.up)

    @property
    def tab_at(self) -> Floats:
        """The tab's hole on that plane, (3,)."""
        return self.tab_plane.point

    def tab_opening(self) -> Opening:
        """The hole or slot over the tab's hole."""
        return _opening(self.tab_at, self.tab_hole.diameter_mm, self.take, "tab slot")

    def rail_opening(self, at: Floats) -> Opening:
        """The hole or slot over the face's hole."""
        if self.fork:
            return Opening(at, self.rail_hole.diameter_mm, is_open=True)
        return _opening(at, self.rail_hole.diameter_mm, self.take, "rail slot")

    def between(self, at: Floats, along: Floats) -> Opening:
        """The slot along a way (3,) in a leg of a two-piece bracket, round a point."""
        diameter = self.bolt.hole.normal_mm
        for one in self.take.takes:
            if one.kind == "leg slot" and abs(float(one.along @ along)) > 0.9 and one.travel_mm > 0:
                return Opening(at, diameter, one.travel_mm, along)
        return Opening(at, diameter)

    def keep_mm(self, hole: Cut, opening: Opening, way: Floats) -> Any:
        """From an opening's middle to where a bend may begin, along unit ways (..., 3)."""
        run: Any = np.zeros(way.shape[:-1])
        if opening.along is not None:
            run = np.abs(way @ opening.along) * opening.travel_mm / 2.0
        from_edge = hole.diameter_mm / 2.0 + 3.0 * self.sheet.thickness_mm
        if opening.is_open:
            # Where the slot opens, the leg that a brake holds ends at its bottom.
            leg = 4.0 * self.sheet.thickness_mm + self.sheet.inside_mm
            from_edge = max(from_edge, hole.diameter_mm / 2.0 + leg)
        return run + max(from_edge, hole.metal_mm) + _CLEAR_MM

    @property
    def width_mm(self) -> float:
        """Of the strip between the feet."""
        return 2.0 * min(self.tab_hole.metal_mm, self.rail_hole.metal_mm) + self.wider_mm

    def rail_flat(self, at: Floats, way: Floats, parent: int = -1) -> Flat:
        """The flat on the face with its hole at a point (3,). way: (3,) unit, to its bend."""
        aside = self.wider_mm / 2.0 * crossed(self.face.plane.up, way)
        return Flat(
            self.face.plane,
            parent,
            (self.rail_opening(at),),
            self.rail_hole.metal_mm,
            aside=aside if self.wider_mm > 0 else None,
        )

    def tab_flat(self, way: Floats, parent: int = -1, turn_at: Floats | None = None) -> Flat:
        """The flat on the tab. way: (3,), to its bend, or away from it; turn_at: as in `Flat`."""
        plane = self.tab_plane
        along = unit_way(way - (way @ plane.up) * plane.up)
        aside = self.wider_mm / 2.0 * crossed(plane.up, along)
        wide = self.width_mm if turn_at is not None else 0.0
        return Flat(
            plane,
            parent,
            (self.tab_opening(),),
            self.tab_hole.metal_mm,
            turn_at,
            wide,
            aside if self.wider_mm > 0 else None,
        )


def _opening(at: Floats, diameter_mm: float, take: TakeUp, kind: str) -> Opening:
    slot = take.slot(kind)
    if slot is None:
        return Opening(at, diameter_mm)
    return Opening(at, diameter_mm, slot.travel_mm, slot.along)


@dataclass(frozen=True, eq=False)
class Candidate:
    """A bracket that can be bent, and what was chosen for it.

    home: (4, 4), its first flat's frame to the car's. rail_at: (3,), the middle of the hole in the
    face, or of each foot. more: a second piece, with where it stands; joint: (3,), where the two
    are bolted together.
    """

    form: str
    job: Job
    blank: Blank
    home: Floats
    rail_at: tuple[Floats, ...]
    web_deg: float = 0.0
    hole: FreeHole | None = None
    more: tuple[tuple[Blank, Floats], ...] = ()
    joint: Floats | None = None

    @property
    def blanks(self) -> tuple[tuple[Blank, Floats], ...]:
        """Every piece with where it stands."""
        return ((self.blank, self.home), *self.more)

    @property
    def tab_flat(self) -> int:
        """The number of the flat that lies on the tab, in the last piece."""
        if self.form == HAT or self.more:
            return 0
        return len(self.blanks[-1][0].flanges) - 1

    @property
    def leg_up(self) -> Floats:
        """Out of the joint of two pieces, (3,) unit, away from the tab."""
        up = self.job.face.plane.up
        run = self.rail_at[0] - self.job.tab_at
        return unit_way(run - (run @ up) * up)

    @property
    def bend_count(self) -> int:
        """Over all pieces."""
        return sum(len(blank.bends) for blank, _ in self.blanks)


@dataclass(frozen=True)
class Fell:
    """Why a form falls: the rule, by how much (mm), and what would do.

    got: how far it came, of those here.
    """

    form: str
    rule: str
    text: str
    short_mm: float = 0.0
    would_do: str = ""
    got: int = 0


PLACED, BENT, ROOM = 1, 2, 3
"""How far a form came: it has a place on the face; it was bent; only something stands in its
way."""


def unit_way(way: Floats) -> Floats:
    """A way (3,) with a length of 1."""
    return np.asarray(way / np.sqrt(way @ way))
