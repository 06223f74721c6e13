"""Screw threads: their diameters, what they carry, and how much of one has to be in the other.

60° threads of either kind, unified and metric: H = (√3 / 2) P. Lengths are in mm throughout; the
standard's formulas for threads in inches hold in any unit once 1 / n is written as the pitch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "ThreadLimits",
    "equal_strength_engagement_mm",
    "external_shear_area_mm2",
    "internal_minor_mm",
    "internal_shear_area_mm2",
    "metric_stress_area_mm2",
    "pitch_diameter_mm",
    "root_diameter_mm",
    "strength_ratio",
    "unified_stress_area_mm2",
]

_TAN_30 = 0.57735


@dataclass(frozen=True, slots=True)
class ThreadLimits:
    """A bolt's thread in a tapped hole, each as unfavourable as its class of fit allows; mm.

    least_major_mm, least_pitch_diameter_mm: of the bolt (Ds min, Es min). most_minor_mm,
    most_pitch_diameter_mm: of the hole (Kn max, En max).
    """

    pitch_mm: float
    least_major_mm: float
    least_pitch_diameter_mm: float
    most_minor_mm: float
    most_pitch_diameter_mm: float


def pitch_diameter_mm(major_mm: float, pitch_mm: float) -> float:
    """Basic pitch diameter, d2 = d - (3/4) H = d - 0.649519 P (ISO 724, ASME B1.1)."""
    return major_mm - 0.75 * math.sqrt(3.0) / 2 * pitch_mm


def internal_minor_mm(major_mm: float, pitch_mm: float) -> float:
    """Basic minor diameter of a tapped hole, D1 = D - (5/4) H = D - 1.082532 P (ISO 724)."""
    return major_mm - 1.25 * math.sqrt(3.0) / 2 * pitch_mm


def root_diameter_mm(major_mm: float, pitch_mm: float) -> float:
    """Root of a metric bolt's thread, d3 = D1 - H / 6 = d - 1.226869 P (ISO 898-1)."""
    return internal_minor_mm(major_mm, pitch_mm) - math.sqrt(3.0) / 12 * pitch_mm


def metric_stress_area_mm2(major_mm: float, pitch_mm: float) -> float:
    """Nominal stress area of a metric bolt, As = (π/4) ((d2 + d3) / 2)², mm² (ISO 898-1)."""
    mean = (pitch_diameter_mm(major_mm, pitch_mm) + root_diameter_mm(major_mm, pitch_mm)) / 2
    return math.pi / 4 * mean**2


def unified_stress_area_mm2(major_mm: float, pitch_mm: float) -> float:
    """Stress area of a bolt in inches, At = (π/4) (D - 0.9743 / n)², in mm² (ASME B1.1)."""
    return math.pi / 4 * (major_mm - 0.9743 * pitch_mm) ** 2


def external_shear_area_mm2(limits: ThreadLimits, engaged_mm: float) -> float:
    """What the bolt's own thread would shear along, As, mm² (FED-STD-H28).

    As = π n L Kn [1/(2n) + 0.57735 (Es - Kn)], least Es and most Kn.
    """
    kn = limits.most_minor_mm
    deep = limits.pitch_mm / 2 + _TAN_30 * (limits.least_pitch_diameter_mm - kn)
    return math.pi * engaged_mm / limits.pitch_mm * kn * deep


def internal_shear_area_mm2(limits: ThreadLimits, engaged_mm: float) -> float:
    """What the hole's thread would shear along, An, mm² (FED-STD-H28).

    An = π n L Ds [1/(2n) + 0.57735 (Ds - En)], least Ds and most En.
    """
    ds = limits.least_major_mm
    deep = limits.pitch_mm / 2 + _TAN_30 * (ds - limits.most_pitch_diameter_mm)
    return math.pi * engaged_mm / limits.pitch_mm * ds * deep


def equal_strength_engagement_mm(limits: ThreadLimits, stress_area_mm2: float) -> float:
    """Engagement with which a bolt breaks before its own thread strips, mm (FED-STD-H28).

    Le = 2 At / (π Kn [1/2 + 0.57735 n (Es - Kn)]), least Es and most Kn: the area in shear is
    twice the area in tension, for a hole of the bolt's own strength or more.
    """
    return 2.0 * stress_area_mm2 / external_shear_area_mm2(limits, 1.0)


def strength_ratio(limits: ThreadLimits, bolt_mpa: float, hole_mpa: float) -> float:
    """J: how much stronger in shear the bolt's thread is than the hole's (FED-STD-H28).

    J = As Rm(bolt) / (An Rm(hole)), tensile strengths in MPa. Above 1 the hole's thread strips
    first, and an engagement of J Le is asked for.
    """
    external = external_shear_area_mm2(limits, 1.0)
    return external * bolt_mpa / (internal_shear_area_mm2(limits, 1.0) * hole_mpa)
