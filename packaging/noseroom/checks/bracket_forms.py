"""Forms that a bracket may have between a tab and a face: which flats, in which planes.

Every form is tried in every way that the planes allow: on either side of the tab, on each face of
the core support, with the web at one of a few angles. What cannot be bent is said, and by how much.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_shape import (
    Flat,
    Opening,
    Plane,
    ShapeError,
    Sheet,
    crossed,
    fold_line,
    made_blank,
)
from noseroom.checks.bracket_sites import FreeHole, RailFace, TabSite
from noseroom.checks.bracket_slots import TakeUp
from noseroom.geometry.sheet import Blank

Floats = NDArray[np.float64]

STRAP, ANGLE, OFFSET, JOGGLE, HAT = "flat strap", "L bracket", "Z bracket", "joggled strap", "hat"
TWO_PIECE = "two-piece bracket"
OPEN_SLOT = " with an open slot"

FORMS = (STRAP, ANGLE, OFFSET, JOGGLE, HAT, TWO_PIECE)
"""In the order in which they are spoken of."""

WEB_DEG = (90.0, 75.0, 60.0, 50.0, 45.0, 35.0, 30.0, 25.0, 20.0, 15.0, 10.0, 7.0, 5.0)
"""Angles of a web out of its feet: common practice, and shallow ones for what is nearly flush."""
JOGGLE_DEG = 45.0
"""Below it an offset strap is called joggled."""
_STRAIGHT_DEG = 0.05
_FLUSH_MM = 0.05
_LEAST_ANGLE_DEG = 25.0
_CLEAR_MM = 0.5
HAT_DEG = (90.0, 60.0, 45.0)


@dataclass(frozen=True, eq=False)
class Job:
    """One tab against one face: what every form is made from.

    side: of the tab, 1 or -1. upside: 1 where the sheet's underside lies on the tab, -1 where its
    upper side does. rail_at: (3,) mm, the hole in the face. standoff_mm: of a rubber mount on the
    tab. wider_mm: by which the strip is wider than bolts ask for. fork: whether
    it slips under a bolt that is there.
    """

    site: TabSite
    face: RailFace
    side: int
    upside: int
    sheet: Sheet
    bolt: Fastener
    rail_bolt: Fastener
    take: TakeUp
    standoff_mm: float = 0.0
    wider_mm: float = 0.0
    fork: bool = False

    @property
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
        return _opening(self.tab_at, self.bolt.hole.normal_mm, self.take, "tab slot")

    def rail_opening(self, at: Floats) -> Opening:
        """The hole or slot over the face's hole."""
        if self.fork:
            return Opening(at, self.rail_bolt.hole.normal_mm, is_open=True)
        return _opening(at, self.rail_bolt.hole.normal_mm, self.take, "rail slot")

    def between(self, at: Floats, along: Floats) -> Opening:
        """The slot along a way (3,) in a leg of a two-piece bracket, round a point."""
        diameter = self.bolt.hole.normal_mm
        for one in self.take.takes:
            if one.kind == "leg slot" and abs(float(one.along @ along)) > 0.9 and one.travel_mm > 0:
                return Opening(at, diameter, one.travel_mm, along)
        return Opening(at, diameter)

    def keep_mm(self, bolt: Fastener, opening: Opening, way: Floats) -> Any:
        """From an opening's middle to where a bend may begin, along unit ways (..., 3)."""
        run: Any = np.zeros(way.shape[:-1])
        if opening.along is not None:
            run = np.abs(way @ opening.along) * opening.travel_mm / 2.0
        from_edge = bolt.hole.normal_mm / 2.0 + 3.0 * self.sheet.thickness_mm
        if opening.is_open:
            # Where the slot opens, the leg that a brake holds ends at its bottom.
            leg = 4.0 * self.sheet.thickness_mm + self.sheet.inside_mm
            from_edge = max(from_edge, bolt.hole.normal_mm / 2.0 + leg)
        return run + max(from_edge, bolt.metal_mm) + _CLEAR_MM

    @property
    def width_mm(self) -> float:
        """Of the strip between the feet."""
        return 2.0 * min(self.bolt.metal_mm, self.rail_bolt.metal_mm) + self.wider_mm

    def rail_flat(self, at: Floats, way: Floats, parent: int = -1) -> Flat:
        """The flat on the face with its hole at a point (3,). way: (3,) unit, to its bend."""
        aside = self.wider_mm / 2.0 * crossed(self.face.plane.up, way)
        return Flat(
            self.face.plane,
            parent,
            (self.rail_opening(at),),
            self.rail_bolt.metal_mm,
            aside=aside if self.wider_mm > 0 else None,
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
        return _unit(run - (run @ up) * up)

    @property
    def bend_count(self) -> int:
        """Over all pieces."""
        return sum(len(blank.bends) for blank, _ in self.blanks)


@dataclass(frozen=True)
class Fell:
    """Why a form falls: the rule, by how much (mm), and what would do."""

    form: str
    rule: str
    text: str
    short_mm: float = 0.0
    would_do: str = ""


def straps(job: Job, at: Floats, hole: FreeHole | None) -> Candidate:
    """A flat strap, where tab and face lie in one plane, or one that washers make up.

    Raises ShapeError.
    """
    plane, tab = job.face.plane, job.tab_plane
    tilt = math.degrees(math.acos(min(1.0, float(plane.up @ tab.up))))
    high = plane.height_mm(tab.point)
    if tilt > _STRAIGHT_DEG:
        raise ShapeError(
            "flat", f"the tab is tilted by {tilt:.1f}° against the {job.face.name}", tilt
        )
    if abs(high) > _FLUSH_MM:
        raise ShapeError(
            "flat",
            f"the tab stands {abs(high):.1f} mm off the plane of the {job.face.name}",
            abs(high),
        )
    opening = job.tab_opening()
    way = _unit(job.tab_at - at)
    aside = job.wider_mm / 2.0 * crossed(plane.up, way) if job.wider_mm > 0 else None
    flat = Flat(plane, -1, (job.rail_opening(at), opening), _metal(job), aside=aside)
    blank, home = made_blank([flat], job.sheet)
    return Candidate(STRAP, job, blank, home, (at,), hole=hole)


def _unit(way: Floats) -> Floats:
    return np.asarray(way / np.sqrt(way @ way))


def _metal(job: Job) -> float:
    return max(job.bolt.metal_mm, job.rail_bolt.metal_mm)


def angle_place(job: Job) -> Iterator[tuple[Floats, Floats, float]]:
    """Where an angle's hole may be: from where (3,), which way (3,) unit, how far at least, mm.

    Raises ShapeError where the two planes are too nearly parallel.
    """
    plane, tab = job.face.plane, job.tab_plane
    turn = math.degrees(math.acos(min(1.0, max(-1.0, float(plane.up @ tab.up)))))
    if not _LEAST_ANGLE_DEG < turn < 180.0 - _LEAST_ANGLE_DEG:
        short = _LEAST_ANGLE_DEG - min(turn, 180.0 - turn)
        raise ShapeError(
            "one bend", f"tab and face are {turn:.1f}° to each other, too near to parallel", short
        )
    point, along = fold_line(plane, tab)
    foot = point + ((job.tab_at - point) @ along) * along
    for sign in (1.0, -1.0):
        way = sign * crossed(plane.up, along)
        # Which way the tab's leg goes off the fold is given by the planes alone.
        lift = math.atan2(float(tab.up @ way), float(tab.up @ plane.up))
        back = _back(job.sheet, lift)
        leg = -math.cos(lift) * way + math.sin(lift) * plane.up
        if (job.tab_at - foot) @ leg <= 0:
            continue
        yield foot, way, back + job.keep_mm(job.rail_bolt, job.rail_opening(foot), way)


def angle(job: Job, at: Floats, foot: Floats, hole: FreeHole | None) -> Candidate:
    """One bend where the two planes meet. at, foot: (3,), the face's hole and where it folds.

    Raises ShapeError.
    """
    middle = (foot + _on_line(job, at)) / 2.0
    rail = job.rail_flat(at, _unit(_on_line(job, at) - at))
    tab = Flat(job.tab_plane, 0, (job.tab_opening(),), job.bolt.metal_mm, middle, job.width_mm)
    blank, home = made_blank([rail, tab], job.sheet)
    return Candidate(ANGLE, job, blank, home, (at,), abs(blank.bends[0].angle_deg), hole)


def _on_line(job: Job, at: Floats) -> Floats:
    point, along = fold_line(job.face.plane, job.tab_plane)
    return np.asarray(point + ((at - point) @ along) * along)


def _back(sheet: Sheet, lift: float) -> float:
    """From where two undersides would meet to where the bend begins; lift: rad, up positive."""
    radius = sheet.inside_mm + (sheet.thickness_mm if lift > 0 else 0.0)
    return radius * math.tan(abs(lift) / 2.0)


def ends_mm(job: Job, ways: Floats) -> Floats:
    """What both ends of a Z take along unit ways (n, 3) in the face, up to its bends: (n,) mm."""
    rail = job.keep_mm(job.rail_bolt, job.rail_opening(job.face.plane.point), ways)
    return np.asarray(rail + job.keep_mm(job.bolt, job.tab_opening(), ways))


def offset_more_mm(job: Job, web_deg: float) -> float:
    """What two bends and the web between them take along the face.

    Raises ShapeError where the offset takes more than two bends can leave flat.
    """
    high = job.face.plane.height_mm(job.tab_at)
    turn = math.radians(web_deg)
    sheet = job.sheet
    backs = (2.0 * sheet.inside_mm + sheet.thickness_mm) * math.tan(turn / 2.0)
    flat = abs(high) / math.sin(turn) - backs
    least = 4.0 * sheet.thickness_mm
    if flat < least - 1e-9:
        raise ShapeError(
            "flat between bends",
            f"an offset of {abs(high):.1f} mm leaves {max(flat, 0.0):.1f} mm flat between two "
            f"bends of {web_deg:g}°, {least:.1f} mm is asked",
            least - flat,
        )
    return backs + abs(high) / math.tan(turn)


def offset(job: Job, at: Floats, web_deg: float, share: float, hole: FreeHole | None) -> Candidate:
    """Two bends: a Z, or a joggle where they are shallow.

    share: 0 puts the web as near to the face's hole as it may be, 1 to the tab's.
    Raises ShapeError.
    """
    plane = job.face.plane
    run = job.tab_at - at
    high = float(run @ plane.up)
    way = run - high * plane.up
    length = float(np.sqrt(way @ way))
    if length < 1e-6:
        raise ShapeError("room for the bend", "the tab's hole stands straight over the face's")
    way = way / length
    spare = length - float(ends_mm(job, way[None])[0]) - offset_more_mm(job, web_deg)
    if spare < -1e-9:
        raise ShapeError(
            "room for the bend",
            f"the holes are {-spare:.1f} mm too near to each other for a web of {web_deg:g}°",
            -spare,
        )
    turn, sign = math.radians(web_deg), math.copysign(1.0, high)
    up = math.cos(turn) * plane.up - sign * math.sin(turn) * way
    keep = job.keep_mm(job.rail_bolt, job.rail_opening(at), way)
    first = keep + _back(job.sheet, sign * turn) + share * max(spare, 0.0)
    return _two_bends(job, at, Plane(at + first * way, up), web_deg, hole)


def _two_bends(
    job: Job, at: Floats, web: Plane, web_deg: float, hole: FreeHole | None
) -> Candidate:
    plane, tab = job.face.plane, job.tab_plane
    ends = [_meets(one, web, at, job.tab_at) for one in (plane, tab)]
    flats = [
        job.rail_flat(at, _unit(ends[0] - at)),
        Flat(web, 0, (), 0.0, ends[0], job.width_mm),
        Flat(tab, 1, (job.tab_opening(),), job.bolt.metal_mm, ends[1], job.width_mm),
    ]
    blank, home = made_blank(flats, job.sheet)
    form = OFFSET if web_deg >= JOGGLE_DEG else JOGGLE
    return Candidate(form, job, blank, home, (at,), web_deg, hole)


def _meets(plane: Plane, web: Plane, start: Floats, end: Floats) -> Floats:
    """Of the line where two planes meet, what is nearest to the straight way between two holes."""
    point, along = fold_line(plane, web)
    way = (end - start) / np.sqrt((end - start) @ (end - start))
    normal = crossed(along, crossed(way, along))
    size = float(normal @ normal)
    if size < 1e-12:
        return np.asarray(point + ((start - point) @ along) * along)
    # Where both lines come nearest: the foot on the fold line.
    across = crossed(along, way)
    basis = np.array([along, -way, across]).T
    step = np.linalg.solve(basis, start - point)
    return np.asarray(point + step[0] * along)


def hat(job: Job, at: Floats, way: Floats, web_deg: float) -> Candidate:
    """Two feet on the face, one on either side of the tab's hole along a way (3,) in the face.

    at: (3,), the spot on the face straight below the tab's hole. Raises ShapeError.
    """
    plane, tab = job.face.plane, job.tab_plane
    high = plane.height_mm(job.tab_at)
    turn = math.radians(web_deg)
    backs = (2.0 * job.sheet.inside_mm + job.sheet.thickness_mm) * math.tan(turn / 2.0)
    flat = abs(high) / math.sin(turn) - backs
    if flat < 4.0 * job.sheet.thickness_mm:
        raise ShapeError(
            "flat between bends",
            f"an offset of {abs(high):.1f} mm leaves {max(flat, 0.0):.1f} mm flat in a web of "
            f"{web_deg:g}°",
            4.0 * job.sheet.thickness_mm - flat,
        )
    top = Flat(tab, -1, (job.tab_opening(),), job.bolt.metal_mm)
    sign = math.copysign(1.0, high)
    flats, holes = [top], []
    reach = job.keep_mm(job.bolt, job.tab_opening(), way) + _back(job.sheet, -sign * turn)
    foot_keep = job.keep_mm(job.rail_bolt, Opening(at, 1.0), way) + _back(job.sheet, sign * turn)
    for side in (1.0, -1.0):
        out = side * way
        up = math.cos(turn) * plane.up + sign * math.sin(turn) * out
        web = Plane(job.tab_at + reach * out, up)
        first = _meets(tab, web, job.tab_at, job.tab_at + out)
        base = _meets(plane, web, at, at + out)
        hole = base + foot_keep * out
        number = len(flats)
        flats.append(Flat(web, 0, (), 0.0, first, job.width_mm))
        foot = replace(job.rail_flat(hole, -out, number), turn_at=base, width_mm=job.width_mm)
        flats.append(replace(foot, openings=(Opening(hole, job.rail_bolt.hole.normal_mm),)))
        holes.append(hole)
    blank, home = made_blank(flats, job.sheet)
    return Candidate(HAT, job, blank, home, tuple(holes), web_deg)


def two_piece(job: Job, at: Floats, lift: int, hole: FreeHole | None) -> Candidate:
    """Two angles whose free legs are bolted to each other: both legs are slotted.

    lift: 1 where the legs stand up from the face, -1 where they hang below it. The slot of the
    first runs square to the face, that of the second along it: with the slot in the face's foot all
    three ways are taken up. Raises ShapeError.
    """
    plane, tab, t = job.face.plane, job.tab_plane, job.sheet.thickness_mm
    run = job.tab_at - at
    way = run - (run @ plane.up) * plane.up
    if float(way @ way) < 1.0:
        raise ShapeError("room for the bend", "the tab's hole stands straight over the face's")
    way = _unit(way)
    across = crossed(plane.up, way)
    turn = math.pi / 2.0
    # Both legs stand where the first one folds up: face to face, the tab's on the tab's side.
    keep = float(job.keep_mm(job.rail_bolt, job.rail_opening(at), way))
    fold = at + (keep + _back(job.sheet, lift * turn)) * way
    meet = fold if lift > 0 else fold + t * way
    same = 1 if tab.up @ plane.up > 0 else -1
    first_leg = Plane(fold, -lift * way)
    second_leg = Plane(meet if lift * same > 0 else meet + t * way, lift * same * way)
    over = [
        _back(job.sheet, by * turn) + float(job.keep_mm(job.bolt, job.between(at, along), plane.up))
        for by, along in ((lift, plane.up), (lift * same, across))
    ]
    # How high the tab's plane stands over the face where the legs meet.
    high = -tab.height_mm(meet) / float(tab.up @ plane.up)
    side = float((job.tab_at - at) @ across) / 2.0
    # Where the tab leans, its fold line does: what is further out along it is nearer to it.
    lean = crossed(plane.up, tab.up)
    far = abs(side) + job.between(at, across).travel_mm / 2.0 + job.bolt.metal_mm
    over[1] += float(np.sqrt(lean @ lean)) * far
    rise = max(over[0], lift * high + over[1])
    joint = meet + lift * rise * plane.up + side * across
    metal, wide = job.bolt.metal_mm, job.width_mm
    rail = job.rail_flat(at, way)
    leg = Flat(first_leg, 0, (job.between(joint, plane.up),), metal, fold, wide)
    foot = Flat(tab, -1, (Opening(job.tab_at, job.bolt.hole.normal_mm),), job.bolt.metal_mm)
    other = Flat(second_leg, 0, (job.between(joint, across),), metal, meet + side * across, wide)
    blank, home = made_blank([rail, leg], job.sheet)
    more = made_blank([foot, other], job.sheet)
    return Candidate(TWO_PIECE, job, blank, home, (at,), 90.0, hole, more=(more,), joint=joint)
