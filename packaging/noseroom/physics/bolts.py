"""What a bolt holds, what it takes to tighten it, and what hangs on a shaft ahead of it.

Sizing aids: the torque that the part's or the bolt's maker gives stands above any of these.
"""

from __future__ import annotations

import math

__all__ = [
    "bolt_thread_mm",
    "clamp_n",
    "cylinder_kg",
    "moment_growth",
    "moment_nm",
    "off_centre_mm",
    "proof_load_n",
    "tightening_torque_nm",
]

STANDARD_GRAVITY = 9.80665
"""m/s², ISO 80000-3."""
PROOF_SHARE = 0.75
"""Share of the proof load that a joint which comes apart again is clamped with (the load tables of
SAE J429 bolts take the same: clamp = 0.75 × proof stress × stress area)."""
_MM_PER_M = 1000.0
_INCH_MM = 25.4


def proof_load_n(stress_area_mm2: float, proof_mpa: float) -> float:
    """What a bolt bears without taking a set: stress area × proof stress, N (ISO 898-1)."""
    return stress_area_mm2 * proof_mpa


def clamp_n(proof_n: float, share: float = PROOF_SHARE) -> float:
    """The clamp load to tighten to, N, as a share of the proof load. Raises ValueError."""
    if not 0.0 < share <= 1.0:
        raise ValueError(f"found a share of {share:g}; expected more than 0 and at most 1")
    return share * proof_n


def tightening_torque_nm(clamp: float, major_mm: float, factor: float) -> float:
    """T = K d F, N·m. clamp: N. factor: K, the torque coefficient of thread and head."""
    return factor * major_mm / _MM_PER_M * clamp


def bolt_thread_mm(major_mm: float, length_mm: float, *, unified: bool) -> float:
    """How much of a hexagon bolt is threaded, mm, at most its length.

    ASME B18.2.1: 2 D + 1/4 in up to 6 in, 2 D + 1/2 in beyond. ISO 4014: 2 d + 6 mm up to 125 mm,
    2 d + 12 mm up to 200 mm. (Both from memory.)
    """
    if unified:
        more = (0.25 if length_mm <= 6 * _INCH_MM else 0.5) * _INCH_MM
    else:
        more = 6.0 if length_mm <= 125.0 else 12.0
    return min(2.0 * major_mm + more, length_mm)


def moment_nm(mass_kg: float, lever_mm: float) -> float:
    """What a mass on a shaft bends it with, m g e, N·m."""
    return mass_kg * STANDARD_GRAVITY * lever_mm / _MM_PER_M


def moment_growth(
    lever_mm: float, spacer_mm: float, share: float = 0.0, middle_mm: float = 0.0
) -> float:
    """How many times today's the moment on a bearing is with a spacer, (e + t + s b) / e.

    lever_mm: e, from the bearing that is nearest to the fan, to the fan's middle of mass. share: s,
    the spacer's mass as a share of the fan's. middle_mm: b, from the bearing to the spacer's own
    middle. Raises ValueError where the fan's middle of mass is not ahead of the bearing.
    """
    if lever_mm <= 0:
        raise ValueError(f"found a lever of {lever_mm:g} mm; expected more than nothing")
    return (lever_mm + spacer_mm + share * middle_mm) / lever_mm


def off_centre_mm(grade_mm_per_s: float, speed_rpm: float) -> float:
    """How far off its axis a rotor's middle of mass may be, mm: grade / ω (ISO 21940-11).

    It is the rotor's balance, and no run-out. grade_mm_per_s: of balance, such as 6.3 for fans.
    """
    return grade_mm_per_s / (speed_rpm * math.tau / 60.0)


def cylinder_kg(diameter_mm: float, length_mm: float, density_kg_per_m3: float) -> float:
    """Mass of a solid cylinder, kg."""
    volume_mm3 = math.pi / 4 * diameter_mm**2 * length_mm
    return volume_mm3 / _MM_PER_M**3 * density_kg_per_m3
