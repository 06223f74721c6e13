"""Forms that a bracket may have between a tab and a face: which flats, in which planes.

Every form is tried in every way that the planes allow: on either side of the tab, on each face of
the core support, with the web at one of a few angles. What cannot be bent is said, and by how much.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_job import (
    ANGLE,
    HAT,
    JOGGLE,
    OFFSET,
    STRAP,
    TWO_PIECE,
    Candidate,
    Job,
    unit_way,
)
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
from noseroom.checks.bracket_sites import FreeHole

Floats = NDArray[np.float64]

WEB_DEG = (90.0, 75.0, 60.0, 50.0, 45.0, 35.0, 30.0, 25.0, 20.0, 15.0, 10.0, 7.0, 5.0)
"""Angles of a web out of its feet: common practice, and shallow ones for what is nearly flush."""
JOGGLE_DEG = 45.0
"""Below it an offset strap is called joggled."""
_STRAIGHT_DEG = 0.05
_FLUSH_MM = 0.05
_LEAST_ANGLE_DEG = 25.0
_FACING = 0.8
_STEEPEST = math.radians(160.0)
HAT_DEG = (90.0, 60.0, 45.0)


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
    way = unit_way(job.tab_at - at)
    aside = job.wider_mm / 2.0 * crossed(plane.up, way) if job.wider_mm > 0 else None
    flat = Flat(plane, -1, (job.rail_opening(at), opening), _metal(job), aside=aside)
    blank, home = made_blank([flat], job.sheet)
    return Candidate(STRAP, job, blank, home, (at,), hole=hole)


def _metal(job: Job) -> float:
    return max(job.tab_hole.metal_mm, job.rail_hole.metal_mm)


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
        leg_mm = float((job.tab_at - foot) @ leg)
        wanted = back + float(job.keep_mm(job.tab_hole, job.tab_opening(), leg))
        if leg_mm < wanted:
            short = wanted - leg_mm
            raise ShapeError(
                "room for the bend",
                f"the tab's hole is {leg_mm:.1f} mm from the {job.face.name}, and its leg takes "
                f"{wanted:.1f} mm up to the hole",
                short,
            )
        yield foot, way, back + job.keep_mm(job.rail_hole, job.rail_opening(foot), way)


def angle(job: Job, at: Floats, foot: Floats, hole: FreeHole | None) -> Candidate:
    """One bend where the two planes meet. at, foot: (3,), the face's hole and where it folds.

    Raises ShapeError.
    """
    middle = (foot + _on_line(job, at)) / 2.0
    rail = job.rail_flat(at, unit_way(_on_line(job, at) - at))
    tab = job.tab_flat(crossed(job.tab_plane.up, _fold_way(job)), 0, middle)
    blank, home = made_blank([rail, tab], job.sheet)
    return Candidate(ANGLE, job, blank, home, (at,), abs(blank.bends[0].angle_deg), hole)


def _fold_way(job: Job) -> Floats:
    return fold_line(job.face.plane, job.tab_plane)[1]


def _on_line(job: Job, at: Floats) -> Floats:
    point, along = fold_line(job.face.plane, job.tab_plane)
    return np.asarray(point + ((at - point) @ along) * along)


def _back(sheet: Sheet, lift: float) -> float:
    """From where two undersides would meet to where the bend begins; lift: rad, up positive."""
    radius = sheet.inside_mm + (sheet.thickness_mm if lift > 0 else 0.0)
    return radius * math.tan(abs(lift) / 2.0)


@dataclass(frozen=True, eq=False)
class Room:
    """What a Z takes along some unit ways (n, 3) in the face, from the face's hole to the tab's.

    least_mm: (n,), from hole to hole. short_mm: (n,), what its web lacks between its bends, 0 where
    it has enough. flat_mm: (n,), what is left flat there. high_mm: (n,), of the tab over the face
    where it folds.
    """

    least_mm: Floats
    short_mm: Floats
    flat_mm: Floats
    high_mm: Floats
    least_flat_mm: float

    def fault(self, web_deg: float) -> ShapeError:
        """What is said where the web is too short whichever way it goes."""
        k = int(np.argmin(self.short_mm))
        return ShapeError(
            "flat between bends",
            f"an offset of {self.high_mm[k]:.1f} mm leaves {max(self.flat_mm[k], 0.0):.1f} mm flat "
            f"between two bends of {web_deg:g}°, {self.least_flat_mm:.1f} mm is asked",
            float(self.short_mm[k]),
        )


def demand_facing(job: Job) -> None:
    """Raises ShapeError where two bends that undo each other do not lead from face to tab."""
    facing = float(job.tab_plane.up @ job.face.plane.up)
    if facing < _FACING:
        apart = math.degrees(math.acos(max(-1.0, facing)))
        raise ShapeError(
            "parallel", f"the tab is turned by {apart:.0f}° against the {job.face.name}", apart
        )


def offset_room(job: Job, web_deg: float, ways: Floats) -> Room:
    """The room that a Z needs along unit ways (n, 3), however the tab leans.

    A tab that leans along the way is higher or lower where it folds; one that leans across it has
    its fold line askew, so that at one edge of the strip there is less flat, and less to the hole.
    """
    plane, tab, sheet = job.face.plane, job.tab_plane, job.sheet
    turn, least = math.radians(web_deg), 4.0 * sheet.thickness_mm
    facing = float(tab.up @ plane.up)
    slope = -(ways @ tab.up) / facing
    askew = np.abs(np.cross(plane.up, ways) @ tab.up) / facing * job.width_mm / 2.0
    bend = np.minimum(turn + np.arctan(np.hypot(slope, 2.0 * askew / job.width_mm)), _STEEPEST)
    more = np.tan(bend / 2.0) - math.tan(turn / 2.0)
    outer = sheet.inside_mm + sheet.thickness_mm
    backs = (sheet.inside_mm + outer) * math.tan(turn / 2.0) + outer * more
    rail = job.keep_mm(job.rail_hole, job.rail_opening(plane.point), ways)
    tab_keep = job.keep_mm(job.tab_hole, job.tab_opening(), ways)
    high = plane.height_mm(job.tab_at)
    folds = tab_keep + outer * np.tan(bend / 2.0)
    fold_high = np.maximum((high - slope * folds) * math.copysign(1.0, high), 0.0)
    flat = fold_high / math.sin(turn) - backs - askew / math.sin(turn)
    return Room(
        rail + tab_keep + backs + (fold_high + askew) / math.tan(turn),
        np.maximum(least - flat, 0.0),
        flat,
        fold_high,
        least,
    )


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
    demand_facing(job)
    room = offset_room(job, web_deg, way[None])
    if room.short_mm[0] > 1e-9:
        raise room.fault(web_deg)
    spare = length - float(room.least_mm[0])
    if spare < -1e-9:
        raise ShapeError(
            "room for the bend",
            f"the holes are {-spare:.1f} mm too near to each other for a web of {web_deg:g}°",
            -spare,
        )
    turn, sign = math.radians(web_deg), math.copysign(1.0, high)
    up = math.cos(turn) * plane.up - sign * math.sin(turn) * way
    keep = job.keep_mm(job.rail_hole, job.rail_opening(at), way)
    first = keep + _back(job.sheet, sign * turn) + share * max(spare, 0.0)
    return _two_bends(job, at, Plane(at + first * way, up), web_deg, hole)


def _two_bends(
    job: Job, at: Floats, web: Plane, web_deg: float, hole: FreeHole | None
) -> Candidate:
    plane, tab = job.face.plane, job.tab_plane
    ends = [_meets(one, web, at, job.tab_at) for one in (plane, tab)]
    flats = [
        job.rail_flat(at, unit_way(ends[0] - at)),
        Flat(web, 0, (), 0.0, ends[0], job.width_mm),
        job.tab_flat(ends[1] - job.tab_at, 1, ends[1]),
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
    # Each of its halves is a Z, one of them downhill where the tab leans.
    room = offset_room(job, web_deg, np.array([way, -way]))
    if room.short_mm.max() > 1e-9:
        raise room.fault(web_deg)
    top = job.tab_flat(way)
    sign = math.copysign(1.0, high)
    flats, holes = [top], []
    lean = math.acos(min(1.0, float(tab.up @ plane.up)))
    askew = math.tan(lean) * job.width_mm / 2.0 / math.tan(turn)
    reach = job.keep_mm(job.tab_hole, job.tab_opening(), way) + askew
    reach += _back(job.sheet, -sign * min(turn + lean, _STEEPEST))
    foot_keep = job.keep_mm(job.rail_hole, Opening(at, 1.0), way) + _back(job.sheet, sign * turn)
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
        flats.append(replace(foot, openings=(Opening(hole, job.rail_hole.diameter_mm),)))
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
    way = unit_way(way)
    across = crossed(plane.up, way)
    turn = math.pi / 2.0
    # Both legs stand where the first one folds up: face to face, the tab's on the tab's side.
    keep = float(job.keep_mm(job.rail_hole, job.rail_opening(at), way))
    fold = at + (keep + _back(job.sheet, lift * turn)) * way
    meet = fold if lift > 0 else fold + t * way
    same = 1 if tab.up @ plane.up > 0 else -1
    first_leg = Plane(fold, -lift * way)
    second_leg = Plane(meet if lift * same > 0 else meet + t * way, lift * same * way)
    over = [
        _back(job.sheet, by * turn)
        + float(job.keep_mm(job.joint_hole, job.between(at, along), plane.up))
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
    metal, wide = job.joint_hole.metal_mm, job.width_mm
    rail = job.rail_flat(at, way)
    leg = Flat(first_leg, 0, (job.between(joint, plane.up),), metal, fold, wide)
    foot = Flat(tab, -1, (Opening(job.tab_at, job.tab_hole.diameter_mm),), job.tab_hole.metal_mm)
    other = Flat(second_leg, 0, (job.between(joint, across),), metal, meet + side * across, wide)
    blank, home = made_blank([rail, leg], job.sheet)
    more = made_blank([foot, other], job.sheet)
    return Candidate(TWO_PIECE, job, blank, home, (at,), 90.0, hole, more=(more,), joint=joint)
