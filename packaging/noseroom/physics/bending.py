"""How long a blank has to be for what is bent from it.

The neutral line of a bend keeps its length. K says where it lies, as a share of the thickness from
the inside; DIN 6935 counts the same in halves of the thickness, k = 2 K. Angles are of the bend, in
degrees, how far one leg is turned out of the line of the other; DIN 6935 names a bend by the angle
between the legs, β = 180° - angle. Lengths in mm, or any one unit throughout where no unit is said.

All of it is for air bending of sheet on one machine or another: a test piece of the shop's own
sheet stands above any formula (`k_from_test_piece`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "MeasuredK",
    "bend_allowance",
    "bend_deduction",
    "din_compensation",
    "din_k",
    "din_neutral_factor",
    "empirical_allowance",
    "flat_length",
    "k_from_test_piece",
    "outside_set_back",
]

_LARGE_RATIO = 5.0
_MIDDLE = 0.5
_SMALL_OPENING_DEG = 90.0
_NEARLY_STRAIGHT_DEG = 165.0
_T_FACTOR, _R_FACTOR = 0.0078, 0.01743


def din_neutral_factor(ratio: float) -> float:
    """The factor k = 0.65 + 0.5 log10(r/s) up to r/s = 5, and 1 beyond (DIN 6935).

    ratio: inside radius by thickness, r/s. The formula is at its limit where it would give less
    than nothing, at r/s = 0.05. Raises ValueError there: bends as sharp as that need a test piece.
    """
    if ratio > _LARGE_RATIO:
        return 1.0
    factor = 0.65 + 0.5 * math.log10(ratio) if ratio > 0.0 else -1.0
    if factor < 0.0:
        raise ValueError(
            f"found r/s = {ratio:g}; expected 0.0501 or more: DIN 6935 knows no sharper bend"
        )
    return factor


def din_k(inside: float, thickness: float) -> float:
    """K of DIN 6935, k / 2: 0.325 for a radius of one thickness, 0.5 from five thicknesses on.

    Raises ValueError as `din_neutral_factor` does.
    """
    return din_neutral_factor(inside / thickness) / 2.0


def bend_allowance(angle_deg: float, inside: float, thickness: float, k: float) -> float:
    """Length of the neutral line in the bend, θ (R + K T)."""
    return math.radians(angle_deg) * (inside + k * thickness)


def empirical_allowance(angle_deg: float, inside: float, thickness: float) -> float:
    """(0.0078 T + 0.01743 R) a degree, the sheet-metal workbooks' figure; the same as K = 0.447."""
    return (_T_FACTOR * thickness + _R_FACTOR * inside) * angle_deg


def outside_set_back(angle_deg: float, inside: float, thickness: float) -> float:
    """From where the bend begins to the mould line, where the outsides of both legs meet.

    (R + T) tan(θ/2). Without bound towards 180°.
    """
    return math.tan(math.radians(angle_deg) / 2.0) * (inside + thickness)


def bend_deduction(angle_deg: float, inside: float, thickness: float, k: float) -> float:
    """What a bend takes off the legs as they are measured to the mould line, 2 OSSB - BA."""
    set_back = outside_set_back(angle_deg, inside, thickness)
    return 2.0 * set_back - bend_allowance(angle_deg, inside, thickness, k)


def din_compensation(angle_deg: float, inside: float, thickness: float) -> float:
    """v, what is added to both legs for the blank: l = a + b + v (DIN 6935); mostly negative.

    Legs are measured as DIN 6935 has it. β from 0° to 90° (bends of 90° and more): to the outside
    of the other leg's bend, a line square to the leg, so that each loses r + s. β from there to
    165°: to the mould line. From 165° to 180° v counts as nothing.
    """
    opening = 180.0 - angle_deg
    if not 0.0 <= opening <= 180.0:
        raise ValueError(f"found a bend of {angle_deg:g}°; expected 0° to 180°")
    if opening > _NEARLY_STRAIGHT_DEG:
        return 0.0
    k = din_k(inside, thickness)
    arc = bend_allowance(angle_deg, inside, thickness, k)
    if opening <= _SMALL_OPENING_DEG:
        return arc - 2.0 * (inside + thickness)
    return arc - 2.0 * outside_set_back(angle_deg, inside, thickness)


def flat_length(legs: tuple[float, ...], deductions: tuple[float, ...]) -> float:
    """Length of a blank: legs measured to mould lines, less what each bend between them deducts.

    Raises ValueError unless there is one leg more than there are bends.
    """
    if len(legs) != len(deductions) + 1:
        raise ValueError(
            f"found {len(legs)} legs and {len(deductions)} bends; expected one leg more than bends"
        )
    return math.fsum(legs) - math.fsum(deductions)


@dataclass(frozen=True, slots=True)
class MeasuredK:
    """K of a shop's own bending. deviation: its standard deviation by the readings'."""

    k: float
    deviation: float


def k_from_test_piece(
    blank: float,
    legs: tuple[float, float],
    inside: float,
    thickness: float,
    *,
    angle_deg: float = 90.0,
    reading: float = 0.1,
    radius_reading: float = 0.1,
) -> MeasuredK:
    """K from one strip: its length before, and both legs after bending, to the mould line.

    BA = blank - legs + 2 OSSB, K = (BA / θ - R) / T. reading: standard deviation of each of the
    three lengths; radius_reading: of the inside radius. Both in the lengths' own unit. First-order
    propagation (JCGM 100); the thickness counts as known.

    Raises ValueError where K comes out below 0 or above 1 by more than two deviations: then a
    length was misread, or the angle or the radius is not what was said.
    """
    turn = math.radians(angle_deg)
    set_back = outside_set_back(angle_deg, inside, thickness)
    allowance = blank - math.fsum(legs) + 2.0 * set_back
    k = (allowance / turn - inside) / thickness
    by_length = 1.0 / (turn * thickness)
    by_radius = (2.0 * math.tan(turn / 2.0) / turn - 1.0) / thickness
    deviation = math.hypot(math.sqrt(3.0) * by_length * reading, by_radius * radius_reading)
    if not -2.0 * deviation <= k <= 1.0 + 2.0 * deviation:
        raise ValueError(
            f"found K = {k:.3f} ± {deviation:.3f} from the test piece; expected 0 to 1: measure "
            "its length, legs, angle and inside radius again"
        )
    return MeasuredK(min(1.0, max(0.0, k)), deviation)
