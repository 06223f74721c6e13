"""Bolts, washers and nuts that hold a bracket: by the hole that is there, and what they clamp."""

from __future__ import annotations

import math
from dataclasses import dataclass

from noseroom.checks.spacer_bolts import Span
from noseroom.tables.fasteners import (
    BoltLength,
    ClearanceHole,
    Nut,
    Sourced,
    ThreadSize,
    Washer,
    bolt_lengths,
    clearance_holes,
    nuts,
    threads,
    washers,
)
from noseroom.tables.service import BoltHead, bolt_heads

_PROUD = 2.0
"""Threads that stand out of a nut at least: common practice."""
_POINT = 1.0
"""Threads at a bolt's end that count for nothing: common practice."""
_READ_MM = 0.15
"""A hole that is read this much too small still lets its bolt through."""
_INSERT_MM = 12.0
"""How far a bolt goes into a rivet nut, common practice: small ones are 13 to 16 mm long."""
INSERT_HOLE_MM = {"10": 7.54, "1/4": 9.92, "5/16": 13.49, "M5": 7.0, "M6": 9.0, "M8": 11.0}
"""Drills for rivet nuts, mm, from memory: 19/64, 25/64 and 17/32 in; 7, 9 and 11 mm."""
_COARSE = {"in": ("10-24", "1/4-20", "5/16-18", "3/8-16", "7/16-14", "1/2-13")}


@dataclass(frozen=True)
class Fastener:
    """One size of bolt with what belongs to it."""

    thread: ThreadSize
    head: BoltHead
    washer: Washer
    nut: Nut
    hole: ClearanceHole

    @property
    def play_mm(self) -> float:
        """How far it may shift in its clearance hole, either way."""
        return (self.hole.normal_mm - self.thread.major_mm) / 2.0

    @property
    def washer_radius_mm(self) -> float:
        """Of the washer at its largest."""
        return self.washer.most_outside_mm / 2.0

    @property
    def corners_mm(self) -> float:
        """Across the corners of head or nut."""
        return self.head.across_flats_mm * 2.0 / math.sqrt(3.0)

    @property
    def metal_mm(self) -> float:
        """From a hole's middle to the edge of the sheet: for the hole's rule and the washer."""
        return max(1.5 * self.hole.normal_mm, self.washer_radius_mm + 0.5)


@dataclass(frozen=True)
class Bolted:
    """One joint as it is put together.

    where: "tab" or "rail". bolt: None where none that is sold is long enough. grip: what it clamps,
    washers counted. into: "nut" or "rivet nut". packing_mm: of washers that may be wanted between.
    hole_mm, drill: of the bracket, or of the rail where it is drilled.
    """

    where: str
    fastener: Fastener
    bolt: BoltLength | None
    grip: Span
    into: str
    packing_mm: float

    @property
    def length_mm(self) -> float:
        """Under the head; of what it takes, where no bolt is long enough."""
        return self.grip.most_mm if self.bolt is None else self.bolt.length_mm

    @property
    def rows(self) -> tuple[Sourced, ...]:
        """Every row of a table that it rests on."""
        one = self.fastener
        found: list[Sourced] = [one.thread, one.washer, one.hole]
        found += [one.nut] if self.into == "nut" else []
        return (*found, *(() if self.bolt is None else (self.bolt,)))


def fastener_for(hole_mm: float, unit: str) -> Fastener | None:
    """The largest usual bolt that passes a hole with the room that is usual; None: none does.

    unit: of the file, "in" or "mm", which decides whose threads are taken.
    """
    inches = unit in ("in", "ft")
    best: Fastener | None = None
    for one in fasteners("in" if inches else "mm"):
        if one.hole.close_mm <= hole_mm + _READ_MM:
            best = one
    return best


def fasteners(system: str) -> tuple[Fastener, ...]:
    """Usual bolts with coarse threads, smallest first. system: "in" or "mm"."""
    found: dict[str, Fastener] = {}
    for thread in threads():
        if thread.unit != system or thread.size in found:
            continue
        if system == "in" and thread.thread not in _COARSE["in"]:
            continue
        head = bolt_heads().get(thread.size)
        hole = clearance_holes().get(thread.size)
        if head is None or hole is None:
            continue
        found[thread.size] = Fastener(
            thread, head, washers()[thread.size], nuts()[thread.size], hole
        )
    return tuple(sorted(found.values(), key=lambda one: one.thread.major_mm))


def bolted(
    where: str,
    fastener: Fastener,
    clamped: tuple[Span, ...],
    packing_mm: float = 0.0,
    *,
    blind: bool = False,
) -> Bolted:
    """The bolt for what it clamps. blind: into a rivet nut, as nobody reaches behind.

    clamped: thicknesses of metal. packing_mm: the most of washers that may be put between.
    """
    count = 1 if blind else 2
    plates = (*clamped, *([Span(fastener.washer.least_mm, fastener.washer.most_mm)] * count))
    grip = Span(
        sum(one.least_mm for one in plates), sum(one.most_mm for one in plates) + packing_mm
    )
    pitch = fastener.thread.pitch_mm
    if blind:
        needed = grip.most_mm + _INSERT_MM
    else:
        needed = grip.most_mm + fastener.nut.height_mm + (_PROUD + _POINT) * pitch
    choice = next(
        (
            one
            for one in bolt_lengths(fastener.thread.unit)
            if one.length_mm - one.shorter_mm >= needed
        ),
        None,
    )
    return Bolted(where, fastener, choice, grip, "rivet nut" if blind else "nut", packing_mm)
