"""Which form a spacer has for a hub, and whether one can be made: for the choice and the bench.

Plain, its bore goes over the hub's pilot, which still centres the fan. Where too little of the
pilot comes through, the spacer has a recess for it and a spigot of its own ahead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from noseroom.checks.spacer_bolts import Span, washers_meet
from noseroom.parts.spacer import LEAST_WEB_MM, Spacer
from noseroom.parts.water_pump import WaterPump
from noseroom.tables.fasteners import ThreadSize, clearance_holes, spacer_limits, washers

Kind = Literal["plain", "double pilot", "no pilot"]

_FREE_MM = 1.0
"""Between the end of the hub's pilot and the floor of a recess: common practice."""
_SPIGOT_MM = 10.0
"""A spigot need not be longer to centre a fan: common practice."""
_STEP_MM = 0.5
_ANY_MM = 25.0  # a thickness to stand for all, where it has no part in the answer


@dataclass(frozen=True)
class Form:
    """One spacer's form. kind: "no pilot" is plain too, on a hub that has none to speak of.

    pilot_left_mm: of the hub's pilot, ahead of the spacer, for sure. spacer: None where the thread
    of the hub's bolts is not known. faults: why it cannot be made, a phrase each; nothing where it
    can.
    """

    kind: Kind
    pilot_left_mm: float
    spacer: Spacer | None
    faults: tuple[str, ...]


def ring_of(pump: WaterPump, thread: ThreadSize, across_mm: float) -> Spacer:
    """A plain spacer of this diameter, bored for a hub, whose thickness is still to be chosen."""
    return Spacer(
        thickness_mm=_ANY_MM,
        diameter_mm=across_mm,
        bore_mm=float(pump.pilot_diameter_mm),
        bolt_count=pump.bolt_count,
        bolt_circle_mm=float(pump.bolt_circle_mm),
        hole_mm=clearance_holes()[thread.size].normal_mm,
    )


def unfit(ring: Spacer, thread: ThreadSize) -> Iterator[str]:
    """Why no spacer can have its holes where the hub has its bolts, nor each bolt its washer."""
    yield from ring.faults()
    washer, count, circle = washers()[thread.size], ring.bolt_count, ring.bolt_circle_mm
    if washers_meet(washer, count, circle):
        yield (
            f"the washers of {count} bolts, up to {washer.most_outside_mm:.1f} mm across, do not "
            f"lie side by side on a circle of {circle:.1f} mm"
        )


def form_of(ring: Spacer | None, pilot: Span, thickness_mm: float) -> Form:
    """The form of a spacer of some thickness.

    ring: the plain one for the hub, as `ring_of` has it. pilot: what stands out of the hub and of
    what is bolted to it, such as a pulley's web.
    """
    least = spacer_limits()["pilot"].value
    left = max(pilot.least_mm - thickness_mm, 0.0)
    plain = None if ring is None else replace(ring, thickness_mm=thickness_mm)
    if left >= least or pilot.most_mm < least:
        faults = () if plain is None else plain.faults()
        return Form("plain" if left >= least else "no pilot", left, plain, faults)
    recess = math.ceil((pilot.most_mm + _FREE_MM) / _STEP_MM) * _STEP_MM
    if thickness_mm - recess < LEAST_WEB_MM:
        thin = (
            f"it is too thin for two pilots, for which it would take "
            f"{recess + LEAST_WEB_MM:.1f} mm, and too thick for the hub's own, of which "
            f"{max(pilot.least_mm, 0.0):.1f} mm stands out for sure"
        )
        return Form("double pilot", left, None, (thin,))
    if plain is None:
        return Form("double pilot", left, None, ())
    double = replace(
        plain,
        form="double pilot",
        recess_mm=recess,
        spigot_diameter_mm=plain.bore_mm,
        spigot_length_mm=min(
            math.floor(max(pilot.least_mm, least) / _STEP_MM) * _STEP_MM, _SPIGOT_MM
        ),
    )
    return Form("double pilot", left, double, double.faults())
