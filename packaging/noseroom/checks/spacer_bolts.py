"""Which bolts hold a fan on its hub with a spacer of some thickness between.

From the head back: washer, the fan's own flange, the spacer, perhaps a pulley's web, and the thread
in the hub. Each has its spread, and so has the length of a bolt: what is called engaged is the
least that all of them leave, and what is called free of the hole's bottom the most.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from noseroom.physics.bolts import bolt_thread_mm, clamp_n, proof_load_n, tightening_torque_nm
from noseroom.physics.screw_threads import (
    ThreadLimits,
    equal_strength_engagement_mm,
    metric_stress_area_mm2,
    strength_ratio,
    unified_stress_area_mm2,
)
from noseroom.tables.fasteners import (
    BoltLength,
    ClearanceHole,
    Grade,
    HubMaterial,
    Nut,
    Sourced,
    ThreadSize,
    Washer,
    clearance_holes,
    nuts,
    spacer_limits,
    washers,
)

_LEAST_CUT_MM = 1.0
"""A bolt that is hardly longer than it has to get leaves a saw no room (common practice)."""

Hole = Literal["blind", "through", "stud"]
Trouble = Literal["bottoms", "binds", "shallow", "none long enough"]


@dataclass(frozen=True, slots=True)
class Span:
    """A length between two limits, mm."""

    least_mm: float
    most_mm: float

    @classmethod
    def about(cls, mm: float, off_mm: float = 0.0) -> Span:
        """A reading and how far it may be off."""
        return cls(mm - off_mm, mm + off_mm)


def limits_of(thread: ThreadSize) -> ThreadLimits:
    """A thread's limits of size, as its row has them."""
    return ThreadLimits(
        thread.pitch_mm,
        thread.least_major_mm,
        thread.least_pitch_diameter_mm,
        thread.most_minor_mm,
        thread.most_pitch_diameter_mm,
    )


@dataclass(frozen=True)
class Joint:
    """What is known of the joint of hub, spacer and fan.

    count: of bolts. flange: the fan's own. depth: of full thread from the hub's face. lengths: what
    bolts can be had, shortest first. between: what lies between hub and fan already and stays
    there, such as a pulley's web.
    """

    thread: ThreadSize
    count: int
    hole: Hole
    depth: Span
    material: HubMaterial
    flange: Span
    grade: Grade
    lengths: tuple[BoltLength, ...]
    between: Span = Span(0.0, 0.0)

    @cached_property
    def stress_area_mm2(self) -> float:
        """Of one bolt."""
        one = self.thread
        area = unified_stress_area_mm2 if one.unit == "in" else metric_stress_area_mm2
        return area(one.major_mm, one.pitch_mm)

    @cached_property
    def limits(self) -> ThreadLimits:
        """The thread's limits of size."""
        return limits_of(self.thread)

    @cached_property
    def needed_mm(self) -> float:
        """Least engagement: the standard's, and never less than the rule for the hub's material."""
        standard = equal_strength_engagement_mm(self.limits, self.stress_area_mm2)
        return max(standard, self.material.diameters * self.thread.major_mm)

    @cached_property
    def full_mm(self) -> float:
        """Engagement with which the hub's own thread carries all that the bolt does."""
        standard = equal_strength_engagement_mm(self.limits, self.stress_area_mm2)
        ratio = strength_ratio(self.limits, self.grade.tensile_mpa, self.material.tensile_mpa)
        return max(standard * max(ratio, 1.0), self.needed_mm)

    @property
    def washer(self) -> Washer:
        """Under each head or nut."""
        return washers()[self.thread.size]

    @property
    def nut(self) -> Nut:
        """On each stud."""
        return nuts()[self.thread.size]

    @property
    def drill(self) -> ClearanceHole:
        """The hole that the spacer gets for each bolt."""
        return clearance_holes()[self.thread.size]

    def grip(self, thickness_mm: float) -> Span:
        """What is clamped between head or nut and hub: washer, flange, spacer, what else is."""
        spacer = Span.about(thickness_mm, _limit("thickness"))
        parts = (self.washer, self.flange, spacer, self.between)
        return Span(sum(one.least_mm for one in parts), sum(one.most_mm for one in parts))


@dataclass(frozen=True, slots=True)
class Cut:
    """What to cut down, and to which lengths under the head.

    bolt: None where the plain shank of every longer bolt would come to the hub's thread first, or
    none is longer: then only a screw that is threaded up to its head does.
    """

    bolt: BoltLength | None
    length: Span


@dataclass(frozen=True)
class Bolting:
    """The bolts for one thickness, or why there are none.

    bolt: None where there are none; then trouble says why ("binds": the plain shank comes to the
    hub's thread first), and cut what would do if it were cut down.
    engaged: in the hub's thread, the bolt's point not counted.
    """

    joint: Joint
    grip: Span
    bolt: BoltLength | None
    engaged: Span = Span(0.0, 0.0)
    trouble: Trouble | None = None
    cut: Cut | None = None

    @property
    def share(self) -> float:
        """What the hub's thread carries of what the bolt does, at most 1."""
        return min(self.engaged.least_mm / self.joint.full_mm, 1.0)

    @property
    def clamp_n(self) -> float:
        """The clamp load of each bolt, held to what the hub's thread carries."""
        proof = proof_load_n(self.joint.stress_area_mm2, self.joint.grade.proof_mpa)
        return self.share * clamp_n(proof)

    @property
    def torque_nm(self) -> Span:
        """Tightening torque: the same clamp load with oiled threads, and with dry ones."""
        low, high = (
            tightening_torque_nm(self.clamp_n, self.joint.thread.major_mm, _limit(key))
            for key in ("torque factor oiled", "torque factor dry")
        )
        return Span(low, high)

    @property
    def sticks_out_mm(self) -> float:
        """How far a bolt may come out of the hub's last full thread, point and all."""
        if self.joint.hole != "through":
            return 0.0
        point = _limit("point") * self.joint.thread.pitch_mm
        return max(self.engaged.most_mm + point - self.joint.depth.least_mm, 0.0)

    @property
    def rows(self) -> tuple[Sourced, ...]:
        """Every row of a table that the answer rests on."""
        joint = self.joint
        found: list[Sourced] = [joint.thread, joint.material, joint.grade, joint.washer]
        if joint.hole == "stud":
            found.append(joint.nut)
        return (*found, joint.drill, *(() if self.bolt is None else (self.bolt,)))


def bolting(joint: Joint, thickness_mm: float) -> Bolting:
    """The bolts for a spacer of this thickness.

    The shortest of those that the hub's thread fully carries; where its depth does not allow that,
    the one that is deepest in it.
    """
    grip = joint.grip(thickness_mm)
    fit = []
    for one in joint.lengths:
        engaged = _engaged(joint, grip, one)
        if engaged.least_mm >= joint.needed_mm and _goes_home(joint, one, engaged):
            fit.append((one, engaged))
    if fit:
        full = [pair for pair in fit if pair[1].least_mm >= joint.full_mm]
        deepest = max(engaged.least_mm for _, engaged in fit)
        bolt, engaged = (full or [pair for pair in fit if pair[1].least_mm == deepest])[0]
        return Bolting(joint, grip, bolt, engaged)
    return Bolting(joint, grip, None, Span(0, 0), _trouble(joint, grip), _cut(joint, grip))


def _engaged(joint: Joint, grip: Span, bolt: BoltLength) -> Span:
    """How much of a bolt's full thread is in the hub's, least and most."""
    short, long = bolt.length_mm - bolt.shorter_mm, bolt.length_mm + bolt.longer_mm
    return _in_hub(joint, grip, Span(short, long))


def _in_hub(joint: Joint, grip: Span, length: Span) -> Span:
    pitch = joint.thread.pitch_mm
    point = _limit("point") * pitch
    if joint.hole == "stud":
        # Screwed in as deep as is sure to leave its nut full, and no deeper than the thread goes.
        outside = grip.most_mm + joint.nut.height_mm + _limit("stud end") * pitch
        deep = min(length.least_mm - outside, _usable_mm(joint)) - point
        return Span(deep, deep)
    least = length.least_mm - grip.most_mm - point
    if joint.hole == "through":
        least = min(least, joint.depth.least_mm)
    return Span(least, length.most_mm - grip.least_mm - point)


def _usable_mm(joint: Joint) -> float:
    """How deep a bolt's end may surely go into a blind hole."""
    return joint.depth.least_mm - _limit("blind end") * joint.thread.pitch_mm


def _bottoms(joint: Joint, engaged: Span) -> bool:
    point = _limit("point") * joint.thread.pitch_mm
    return joint.hole == "blind" and engaged.most_mm + point > _usable_mm(joint)


def _goes_home(joint: Joint, bolt: BoltLength, engaged: Span) -> bool:
    """Whether a bolt clamps before anything stops it: the hole's bottom, or its own plain shank."""
    if joint.hole == "stud":
        return True
    point = _limit("point") * joint.thread.pitch_mm
    return not _bottoms(joint, engaged) and engaged.most_mm + point <= _threaded_mm(joint, bolt)


def _threaded_mm(joint: Joint, bolt: BoltLength) -> float:
    """How much of a bolt is threaded."""
    unified = joint.thread.unit == "in"
    return bolt_thread_mm(joint.thread.major_mm, bolt.length_mm, unified=unified)


def _trouble(joint: Joint, grip: Span) -> Trouble:
    """Why no length does."""
    pitch = joint.thread.pitch_mm
    most = joint.depth.least_mm
    if joint.hole != "through":
        most = _usable_mm(joint) - _limit("point") * pitch
    if most < joint.needed_mm:
        return "shallow"
    engaged = [(one, _engaged(joint, grip, one)) for one in joint.lengths]
    enough = [pair for pair in engaged if pair[1].least_mm >= joint.needed_mm]
    if not enough:
        return "none long enough"
    if all(_bottoms(joint, inside) for _, inside in enough):
        return "bottoms"
    return "binds"


def _cut(joint: Joint, grip: Span) -> Cut | None:
    """The shortest bolt that would do if it were cut down, and the lengths to cut it to.

    Cutting takes thread off and leaves the plain shank as it is: that has to end in the grip.
    """
    if joint.hole != "blind":
        return None
    point = _limit("point") * joint.thread.pitch_mm
    low = grip.most_mm + joint.needed_mm + point
    high = grip.least_mm + _usable_mm(joint)
    if low > high:
        return None
    for bolt in joint.lengths:
        shortest, longest = bolt.length_mm - bolt.shorter_mm, bolt.length_mm + bolt.longer_mm
        plain = longest - _threaded_mm(joint, bolt)
        if shortest >= low + _LEAST_CUT_MM and plain <= grip.least_mm:
            return Cut(bolt, Span(low, min(high, shortest)))
    return Cut(None, Span(low, high))


def remembered(rows: Iterable[Sourced]) -> Iterator[Sourced]:
    """Those rows of which something is from memory, each document once."""
    seen: set[str] = set()
    for row in rows:
        if row.remembered and row.source not in seen:
            seen.add(row.source)
            yield row


def washers_meet(washer: Washer, count: int, circle_mm: float) -> bool:
    """Whether the washers of neighbouring bolts would overlap on their circle."""
    return circle_mm * math.sin(math.pi / count) < washer.most_outside_mm


def _limit(key: str) -> float:
    return spacer_limits()[key].value
