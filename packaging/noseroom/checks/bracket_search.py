"""Every bracket that could hold a tab, the plainest first: fewest bends, least metal.

What could be made is listed by plain sums first, and bent only in the order of what it costs, until
one will do: of hundreds of ways a few are ever worked out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bench import Strip
from noseroom.checks.bracket_bolts import Fastener, fastener_for
from noseroom.checks.bracket_forms import (
    HAT_DEG,
    JOGGLE_DEG,
    WEB_DEG,
    angle,
    angle_place,
    demand_facing,
    hat,
    offset,
    offset_room,
    straps,
    two_piece,
)
from noseroom.checks.bracket_free import Around, Block, joins, pad
from noseroom.checks.bracket_job import (
    ANGLE,
    HAT,
    JOGGLE,
    OFFSET,
    PLACED,
    ROOM,
    STRAP,
    TWO_PIECE,
    Candidate,
    Fell,
    Job,
)
from noseroom.checks.bracket_shape import Opening, ShapeError, Sheet
from noseroom.checks.bracket_sites import FreeHole, RailFace, TabSite
from noseroom.checks.bracket_slots import Take, guesses, take_up_by_legs, take_ups
from noseroom.errors import GeometryError
from noseroom.geometry.separation import MovingPiece, Uncertainty
from noseroom.parts.base import Port
from noseroom.survey.solution import Source
from noseroom.tables.fasteners import Grommet, grommets

Floats = NDArray[np.float64]

ADJUSTMENT = "any"
REACH_MM = 200.0
"""A bracket from further away is no bracket but a frame."""
_APART = 3.0
"""Diameters between the middles of two holes in a rail: common practice."""
_PITCH_MM = 12.0
_SPOTS = 5
_EXTRA_MM = (0.0, 8.0, 16.0, 30.0, 50.0)
_BEND, _BLIND, _HOLE, _TURN, _SHALLOW = 12.0, 20.0, -8.0, 0.01, 3.0
_SHALLOW_DEG = 12.0
_TWO, _NEARLY_PARALLEL = 30.0, 0.9


@dataclass
class Tried:
    """Why forms fall, by form: the nearest miss of each. blocks: what then stood in its way."""

    fell: dict[str, Fell] = field(default_factory=dict)
    blocks: dict[str, Block] = field(default_factory=dict)

    def note(self, form: str, error: ShapeError, got: int = 0) -> None:
        """Note a miss, where it is nearer than the one before."""
        self.add(Fell(form, error.rule, str(error), float(error.short_mm), got=got))

    def add(self, fell: Fell, block: Block | None = None) -> None:
        """The same of one that could be bent. block: what stands in its way."""
        known = self.fell.get(fell.form)
        if known is None or _missed_by(fell) < _missed_by(known):
            self.fell[fell.form] = fell
            if block is not None:
                self.blocks[fell.form] = block


def _missed_by(fell: Fell) -> tuple[int, float]:
    # What has no figure says less than what has one.
    by = fell.short_mm if np.isfinite(fell.short_mm) else 0.0
    return -fell.got, by or np.inf


@dataclass(frozen=True, eq=False)
class Plan:
    """A bracket that is thought of and not bent yet. cost: bends first, then metal.

    at: (3,) mm, the middle of its foot on the face; None where it has several.
    """

    cost: float
    form: str
    make: Callable[[], Candidate]
    job: Job
    at: Floats | None = None


@dataclass(frozen=True, eq=False)
class Search:
    """One tab, and what it may be bolted to. around: all that stands near."""

    site: TabSite
    faces: tuple[RailFace, ...]
    holes: tuple[FreeHole, ...]
    taken: tuple[Port, ...]
    sure: Uncertainty
    unit: str
    around: Around
    sources: tuple[Source, ...] = ()
    tried: Tried = field(default_factory=Tried)
    _pads: dict[tuple[object, ...], Block | None] = field(default_factory=dict)
    _known: dict[tuple[float, float], list[Plan]] = field(default_factory=dict)

    def rubber(self, bolt: Fastener) -> Grommet | None:
        """The grommet round a bolt, where rubber is asked for and the table has one."""
        return grommets().get(bolt.thread.size) if self.site.rubber else None

    def candidates(self, bolt: Fastener, strip: Strip, form: str = "") -> Iterator[Candidate]:
        """What can be bent, cheapest first; form: only of that one."""
        for plan in self.plans(bolt, strip):
            if form not in ("", plan.form) or self._foot_blocked(plan):
                continue
            try:
                made = plan.make()
                _demand_on_face(made)
                yield made
            except ShapeError as error:
                self.tried.note(plan.form, error, PLACED)
            except GeometryError:
                continue

    def _foot_blocked(self, plan: Plan) -> bool:
        """Whether something stands where a foot would lie, so that nothing need be bent."""
        job, t = plan.job, plan.job.sheet.thickness_mm
        seat = job.site.face(job.side).lifted(job.standoff_mm)
        where: list[tuple[tuple[object, ...], Callable[[], MovingPiece]]] = []
        opening = Opening(job.tab_at, 0.0) if plan.form == TWO_PIECE else job.tab_opening()
        travel = tuple(np.round(np.concatenate(opening.ends), 3))
        where.append(
            (
                ("tab", job.side, t, travel),
                lambda: pad([end + seat.point - job.tab_at for end in opening.ends], seat.up,
                            job.tab_hole.metal_mm, t),
            )
        )  # fmt: skip
        if plan.at is not None:
            at, up = plan.at, job.face.plane.up
            metal = job.rail_hole.metal_mm
            where.append(
                (
                    (job.face.name, t, metal, *np.round(at, 3)),
                    lambda: pad([at], up, metal, t),
                )
            )
        for key, piece in where:
            if key not in self._pads:
                self._pads[key] = self.around.block([piece()], *joins(job))
            block = self._pads[key]
            if block is not None:
                self.tried.add(blocked(plan.form, block, self.site), block)
                return True
        return False

    def plans(self, bolt: Fastener, strip: Strip) -> list[Plan]:
        """All that is thought of, cheapest first."""
        key = strip.sheet.thickness_mm, strip.wider_mm
        if key not in self._known:
            self._known[key] = self._thought_of(bolt, strip)
        return self._known[key]

    def _thought_of(self, bolt: Fastener, strip: Strip) -> list[Plan]:
        found: list[Plan] = []
        for face in self.faces:
            if self._far(face):
                continue
            free = [one for one in self.holes if one.face is face]
            for hole in (*free, None):
                rail_bolt = bolt if hole is None else fastener_for(hole.diameter_mm, self.unit)
                if rail_bolt is None:
                    continue
                for job, legs in self._jobs(face, hole, bolt, rail_bolt, strip.sheet):
                    wide = replace(job, wider_mm=strip.wider_mm)
                    found += self._pairs(wide, hole) if legs else self._plans(wide, hole)
        found.sort(key=lambda one: one.cost)
        return found

    def _far(self, face: RailFace) -> bool:
        nearest = face.at(np.clip(face.spot(self.site.middle), face.low, face.high))
        return _size(nearest - self.site.middle) > REACH_MM

    def _jobs(
        self,
        face: RailFace,
        hole: FreeHole | None,
        bolt: Fastener,
        rail_bolt: Fastener,
        sheet: Sheet,
    ) -> Iterator[tuple[Job, bool]]:
        """Jobs, and whether each is for two pieces."""
        site = self.site
        spot = face.inside(face.spot(site.middle), rail_bolt.metal_mm)
        if spot is None:
            return
        rubber = self.rubber(bolt)
        at = face.at(spot) if hole is None else hole.point
        moves = face.moves(at) if hole is None else hole.moves()
        apart = site.host.touch_point(site.feature)[2] - moves
        play = rail_bolt.play_mm, bolt.play_mm if rubber is None else 0.0
        for side in (1, -1):
            takes = take_ups(
                apart,
                self.sure,
                face.plane.up,
                side * site.normal,
                site.middle - at,
                play,
                drilled=hole is None,
                round_tab=rubber is not None,
            )
            if not takes:
                continue
            good = [one for one in takes if one.fault() is None]
            legs = take_up_by_legs(apart, self.sure, face.plane.up, site.middle - at, play)
            fork = hole is not None and hole.bolt_stays
            for upside in (1, -1):
                job = Job(
                    site, face, side, upside, sheet, bolt, rail_bolt, takes[0], rubber, fork=fork
                )
                for take in good:
                    yield replace(job, take=take), False
                if legs.fault() is None and not fork:
                    yield replace(job, take=legs), True
            over = takes[0].fault()
            if not good and over is not None:
                self._note_loose(face, takes[0].one_way, *over)

    def _note_loose(self, face: RailFace, one_way: bool, take: Take, most_mm: float) -> None:
        text = (
            f"on the {face.name} hole may be {take.spread_mm:.1f} mm from hole either way, more "
            f"than {take.words} takes up"
        )
        if one_way and take.kind == "packing":
            text = (
                f"on the {face.name} hole may be {take.spread_mm:.1f} mm from hole either way, and "
                "as the two stand to each other washers take up one way only"
            )
        cure = "; ".join(guesses(take, self.sources, self.unit))
        short = take.travel_mm - most_mm
        self.tried.add(Fell(ADJUSTMENT, "adjustment", text, float(short), cure))

    def _plans(self, job: Job, hole: FreeHole | None) -> Iterator[Plan]:
        spots = self._spots(job, hole)
        for at in spots[:1]:
            cost = self._cost(job, hole, 0, _size(job.tab_at - at))
            yield Plan(cost, STRAP, partial(straps, job, at, hole), job, at)
        yield from self._angles(job, hole)
        yield from self._offsets(job, hole, spots)
        if hole is None:
            yield from self._hats(job)

    def _pairs(self, job: Job, hole: FreeHole | None) -> Iterator[Plan]:
        """Two angles with their legs bolted to each other, where one piece does not do."""
        if abs(float(job.tab_plane.up @ job.face.plane.up)) < _NEARLY_PARALLEL:
            return
        for at in self._spots(job, hole)[:_SPOTS]:
            for lift in (1, -1):
                cost = _TWO + self._cost(job, hole, 2, 3.0 * _size(job.tab_at - at))
                yield Plan(cost, TWO_PIECE, partial(two_piece, job, at, lift, hole), job, at)

    def _cost(
        self, job: Job, hole: FreeHole | None, bends: int, way_mm: float, web_deg: float = 90.0
    ) -> float:
        """Fewest bends, then least metal; a nut that can be held, a hole that is there."""
        slots = sum(one.travel_mm for one in job.take.takes if one.kind != "packing")
        metal = job.width_mm * (way_mm + slots) / 100.0
        blind = _BLIND if job.face.sheet_mm <= 0 else 0.0
        there = _HOLE if hole is not None else 0.0
        turn = _TURN * abs(90.0 - web_deg) + (_SHALLOW if web_deg < _SHALLOW_DEG else 0.0)
        return _BEND * bends + metal + blind + there + turn

    def _angles(self, job: Job, hole: FreeHole | None) -> Iterator[Plan]:
        try:
            places = list(angle_place(job))
        except ShapeError as error:
            self.tried.note(ANGLE, error)
            return
        for foot, way, least in places:
            for at in self._angle_spots(job, hole, foot, way, least):
                reach = _size(at - foot) + _size(job.tab_at - foot)
                make = partial(angle, job, at, foot, hole)
                yield Plan(self._cost(job, hole, 1, reach), ANGLE, make, job, at)

    def _angle_spots(
        self, job: Job, hole: FreeHole | None, foot: Floats, way: Floats, least: float
    ) -> Iterator[Floats]:
        if hole is not None:
            yield hole.point
            return
        face, margin = job.face, job.rail_bolt.metal_mm
        found = False
        for extra in _EXTRA_MM:
            spot = face.inside(face.spot(foot + (least + extra) * way), margin)
            if spot is None:
                return
            at = face.at(spot)
            if (at - foot) @ way >= least - 1e-9 and self._drillable(at[None], job)[0]:
                found = True
                yield at
        if not found:
            corners = np.array(np.meshgrid(*zip(face.low, face.high, strict=True))).reshape(2, -1)
            furthest = max(float((face.at(corner) - foot) @ way) for corner in corners.T)
            short = least + margin - furthest
            if short > 0:
                text = f"the {face.name} ends {short:.1f} mm before its hole would be"
                self.tried.note(ANGLE, ShapeError("room on the rail", text, short))

    def _offsets(self, job: Job, hole: FreeHole | None, spots: list[Floats]) -> Iterator[Plan]:
        try:
            demand_facing(job)
        except ShapeError as error:
            self.tried.note(OFFSET, error)
            return
        up = job.face.plane.up
        high = job.face.plane.height_mm(job.tab_at)
        below = job.tab_at - high * up
        ways, gaps = self._out(job, hole)
        runs = below - np.array(spots).reshape(-1, 3)
        lengths = np.sqrt((runs**2).sum(axis=1))
        away = lengths > 1e-6
        points, lengths = np.array(spots).reshape(-1, 3)[away], lengths[away]
        towards = np.concatenate([runs[away] / lengths[:, None], -ways])
        if not len(towards):
            return
        for web in WEB_DEG:
            form = OFFSET if web >= JOGGLE_DEG else JOGGLE
            room = offset_room(job, web, towards)
            long_enough = room.short_mm <= 1e-9
            if not long_enough.any():
                self.tried.note(form, room.fault(web))
                continue
            here = slice(len(lengths))
            spare = np.where(long_enough[here], lengths - room.least_mm[here], -np.inf)
            out = np.maximum(room.least_mm[len(lengths) :], gaps)
            aligned = [
                below + reach * way
                for way, reach, good in zip(ways, out, long_enough[len(lengths) :], strict=True)
                if good and self._free(below + reach * way, job)
            ]
            near = list(points[spare >= -1e-9][:_SPOTS])
            if not (near or aligned) and np.isfinite(spare).any():
                short = -float(spare.max())
                text = f"the holes are {short:.1f} mm too near to each other for a web of {web:g}°"
                self.tried.note(form, ShapeError("room for the bend", text, short))
            for at in (*aligned, *near):
                cost = self._cost(job, hole, 2, _size(below - at) + abs(high), web)
                yield Plan(cost, form, partial(offset, job, at, web, 0.0, hole), job, at)

    def _out(self, job: Job, hole: FreeHole | None) -> tuple[Floats, Floats]:
        """Ways straight out from below the tab, (n, 3), and how far it is to the face, (n,) mm."""
        face = job.face
        below = face.spot(job.tab_at)
        nearest = face.inside(below, job.rail_bolt.metal_mm)
        if hole is not None or nearest is None:
            return np.zeros((0, 3)), np.zeros(0)
        ways = [(sign * one, 0.0) for one in face.ways for sign in (1.0, -1.0)]
        gap = _size(nearest - below)
        if gap > 1e-6:
            ways.insert(0, ((nearest - below) / gap @ face.ways, gap))
        return np.array([way for way, _ in ways]), np.array([out for _, out in ways])

    def _free(self, at: Floats, job: Job) -> bool:
        """Whether a hole may be drilled at a point of the face."""
        inside = job.face.to_edge_mm(job.face.spot(at)) >= job.rail_bolt.metal_mm - 1e-9
        return inside and bool(self._drillable(at[None], job)[0])

    def _hats(self, job: Job) -> Iterator[Plan]:
        face, plane = job.face, job.face.plane
        if job.tab_plane.up @ plane.up < 0.5:
            return
        high = plane.height_mm(job.tab_at)
        at = job.tab_at - high * plane.up
        for way in face.ways:
            for web in HAT_DEG:
                # Two webs and two feet, each about as long as a Z's.
                room = offset_room(job, web, np.array([way, -way]))
                if room.short_mm.max() > 1e-9:
                    self.tried.note(HAT, room.fault(web))
                    continue
                way_mm = float(room.least_mm.sum()) + 2.0 * abs(high)
                cost = self._cost(job, None, 4, way_mm, web)
                yield Plan(cost, HAT, partial(self._hat, job, at, way, web), job)

    def _hat(self, job: Job, at: Floats, way: Floats, web: float) -> Candidate:
        made, face = hat(job, at, way, web), job.face
        if not self._drillable(np.array(made.rail_at), job).all():
            raise ShapeError("room on the rail", f"a foot lies over a hole in the {face.name}")
        return made

    def _spots(self, job: Job, hole: FreeHole | None) -> list[Floats]:
        """Where the face's hole may be, nearest to the tab's first."""
        if hole is not None:
            return [hole.point]
        face, margin = job.face, job.rail_bolt.metal_mm
        below = face.spot(job.tab_at)
        nearest = face.inside(below, margin)
        if nearest is None:
            return []
        low, high = face.low + margin, face.high - margin
        # No bracket reaches further; what is out of its reach need not be looked at.
        near, far = np.maximum(low, below - REACH_MM), np.minimum(high, below + REACH_MM)
        # Counted from the nearest spot, so that left and right come out alike.
        steps = [
            _PITCH_MM * np.arange(-np.floor((at - a) / _PITCH_MM), (b - at) / _PITCH_MM + 1e-9)
            for at, a, b in zip(nearest, near, far, strict=True)
        ]
        spots = nearest + np.array(np.meshgrid(*steps)).reshape(2, -1).T
        points = face.plane.point + spots @ face.ways
        spots, points = (one[self._drillable(points, job)] for one in (spots, points))
        order = np.argsort(((spots - below) ** 2).sum(axis=1), kind="stable")
        return list(points[order])

    def _drillable(self, points: Floats, job: Job) -> NDArray[np.bool_]:
        """Which of some points (n, 3) keep clear of the holes that are there."""
        others = [(port.point, port.bore_mm) for port in self.taken]
        others += [(one.point, one.diameter_mm) for one in self.holes]
        clear = np.ones(len(points), dtype=bool)
        for point, bore in others:
            away = np.sqrt(((points - point) ** 2).sum(axis=1))
            clear &= away >= _APART * max(job.rail_bolt.hole.normal_mm, bore)
        return clear


def _demand_on_face(made: Candidate) -> None:
    """Raises ShapeError where a hole of a foot is too near to the face's edge."""
    face, margin = made.job.face, made.job.rail_hole.metal_mm
    if made.hole is None:
        short = max(margin - face.to_edge_mm(face.spot(one)) for one in made.rail_at)
        if short > 1e-6:
            text = f"a foot needs {short:.1f} mm more of the {face.name}"
            raise ShapeError("room on the rail", text, short)


def blocked(form: str, block: Block, site: TabSite) -> Fell:
    """What is said of a form that something stands in the way of."""
    what = f"the {block.part}"
    if block.part == site.host.name:
        what = f"the {block.part}'s own {block.component}"
    elif block.component not in block.part:
        what = f"the {block.part}'s {block.component}"
    short = math.ceil(block.short_mm * 10.0) / 10.0
    text = f"it comes {short:.1f} mm too near to {what}"
    if block.asked_mm > 0:
        text += f", which it has to keep {block.asked_mm:.1f} mm away from"
    return Fell(form, "room", text, block.short_mm, got=ROOM)


def _size(vector: Floats) -> float:
    return float(np.sqrt(vector @ vector))
