"""Straight and bent beams of thin stock: sections, stress, deflection, natural frequencies.

N, mm and MPa throughout; mass in tonnes where a formula takes forces and mm alone (1 N = 1 t·mm/s²)
and in kg where a name says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

__all__ = [
    "Section",
    "cantilever_deflection_mm",
    "cantilever_hz",
    "cantilever_stress_mpa",
    "curved_growth",
    "frequency_number",
    "rayleigh_number",
    "rectangle",
    "shear_modulus_mpa",
    "torsion_share",
    "torsion_stress_share",
    "trough",
]

KG_PER_TONNE = 1000.0
RAYLEIGH_SHARE = 33.0 / 140.0
"""Share of a uniform cantilever's mass that counts at its tip (Rayleigh, static curve)."""
_SHEAR_SHARE = 5.0 / 6.0
"""Of a rectangle's area that carries shear (Timoshenko's coefficient for rectangles)."""
_PEAK_SHEAR = 1.5
"""Highest shear stress over the mean one, rectangle (Zhuravskii's formula)."""


@dataclass(frozen=True, slots=True)
class Section:
    """A section of a strip, mm.

    flat: bending through the thickness, the soft way. edge: bending in the sheet's own plane.
    flat_mm4, edge_mm4: second moments. flat_mm3, edge_mm3: section moduli. twist_mm4, twist_mm3:
    torsion constant, and torque over highest shear stress. shear_mm2: area that gives way in shear.
    peak_mm2: shear force over its highest stress.
    """

    area_mm2: float
    flat_mm4: float
    edge_mm4: float
    flat_mm3: float
    edge_mm3: float
    twist_mm4: float
    twist_mm3: float
    shear_mm2: float
    peak_mm2: float


def torsion_share(wide_mm: float, thick_mm: float) -> float:
    """β in J = β w t³ of a rectangle, w ≥ t: 0.141 of a square, 1/3 of a thin one.

    Saint-Venant's series, 1/3 - (64/π⁵)(t/w) Σ tanh(nπw/2t)/n⁵ over odd n (Timoshenko and Goodier,
    Theory of Elasticity, torsion of rectangular bars).
    """
    wide, thick = max(wide_mm, thick_mm), min(wide_mm, thick_mm)
    angle = math.pi * wide / (2.0 * thick)
    total = sum(math.tanh(n * angle) / n**5 for n in range(1, 200, 2))
    return 1.0 / 3.0 - 64.0 / math.pi**5 * thick / wide * total


def torsion_stress_share(wide_mm: float, thick_mm: float) -> float:
    """α in τ = T / (α w t²), highest shear stress of a rectangle: 0.208 of a square.

    The same theory: α = β / (1 - (8/π²) Σ 1/(n² cosh(nπw/2t))) over odd n.
    """
    wide, thick = max(wide_mm, thick_mm), min(wide_mm, thick_mm)
    angle = math.pi * wide / (2.0 * thick)
    # Past 300 the hyperbolic cosine is beyond what a float can hold, and the term nothing.
    total = sum(1.0 / (n**2 * math.cosh(n * angle)) for n in range(1, 60, 2) if n * angle < 300.0)
    return torsion_share(wide, thick) / (1.0 - 8.0 / math.pi**2 * total)


def rectangle(wide_mm: float, thick_mm: float) -> Section:
    """A strip's section: width in the sheet's plane, and thickness. Raises ValueError."""
    if wide_mm <= 0.0 or thick_mm <= 0.0:
        raise ValueError(f"found a section of {wide_mm:g} × {thick_mm:g} mm; expected some metal")
    w, t = wide_mm, thick_mm
    long, short = max(w, t), min(w, t)
    return Section(
        area_mm2=w * t,
        flat_mm4=w * t**3 / 12.0,
        edge_mm4=t * w**3 / 12.0,
        flat_mm3=w * t**2 / 6.0,
        edge_mm3=t * w**2 / 6.0,
        twist_mm4=torsion_share(w, t) * long * short**3,
        twist_mm3=torsion_stress_share(w, t) * long * short**2,
        shear_mm2=_SHEAR_SHARE * w * t,
        peak_mm2=w * t / _PEAK_SHEAR,
    )


def trough(wide_mm: float, thick_mm: float, high_mm: float) -> Section:
    """A strip with both its edges turned up: a channel, high_mm from its underside to its rim.

    Open sections twist easily: J is Σ b t³ / 3 of its three walls (thin walls; the same source as
    for rectangles), and what shear it carries the strip's alone. Raises ValueError.
    """
    flat = rectangle(wide_mm, thick_mm)
    rise = high_mm - thick_mm
    if rise < 0.0 or wide_mm < 2.0 * thick_mm:
        raise ValueError(f"found a channel {high_mm:g} mm high; expected more than its thickness")
    web, wall = wide_mm * thick_mm, thick_mm * rise
    area = web + 2.0 * wall
    middle = (web * thick_mm / 2.0 + 2.0 * wall * (thick_mm + rise / 2.0)) / area
    across = wide_mm / 2.0 - thick_mm / 2.0
    second = (
        flat.flat_mm4
        + web * (middle - thick_mm / 2.0) ** 2
        + 2.0 * (thick_mm * rise**3 / 12.0 + wall * (thick_mm + rise / 2.0 - middle) ** 2)
    )
    edge = flat.edge_mm4 + 2.0 * (rise * thick_mm**3 / 12.0 + wall * across**2)
    twist = flat.twist_mm4 + 2.0 * rise * thick_mm**3 / 3.0
    return replace(
        flat,
        area_mm2=area,
        flat_mm4=second,
        edge_mm4=edge,
        flat_mm3=second / max(middle, high_mm - middle),
        edge_mm3=edge / (wide_mm / 2.0),
        twist_mm4=twist,
        twist_mm3=twist / thick_mm,
    )


def shear_modulus_mpa(e_mpa: float, poisson: float) -> float:
    """G = E / 2(1 + ν) of an isotropic material, MPa."""
    return e_mpa / (2.0 * (1.0 + poisson))


def curved_growth(inside_mm: float, thick_mm: float) -> float:
    """How much higher the stress is on the inside of a bend than in a straight strip.

    Winkler's curved beam of rectangular section: neutral line at t / ln(ro / ri); the figure by
    which M / Z is multiplied, 1.52 at an inside radius of half the thickness, 1.30 at the
    thickness (Machinery's Handbook, curved beams, factor K of the inside fibre).
    Raises ValueError for a sharp inside corner, where the theory has no answer.
    """
    if inside_mm <= 0.0:
        raise ValueError("found an inside radius of nothing; expected a bend that has one")
    outer = inside_mm + thick_mm
    neutral = thick_mm / math.log(outer / inside_mm)
    off = inside_mm + thick_mm / 2.0 - neutral
    return (neutral - inside_mm) * thick_mm / (6.0 * off * inside_mm)


def cantilever_stress_mpa(force_n: float, long_mm: float, section: Section) -> float:
    """Bending stress at the root of a strip that is loaded square to its face, P L / Z, MPa."""
    return force_n * long_mm / section.flat_mm3


def cantilever_deflection_mm(
    force_n: float, long_mm: float, section: Section, e_mpa: float
) -> float:
    """Deflection of its tip, P L³ / 3 E I, mm; shear, which is next to nothing, left out."""
    return force_n * long_mm**3 / (3.0 * e_mpa * section.flat_mm4)


def frequency_number(mass_ratio: float, mode: int = 1) -> float:
    """(bL)² of a uniform cantilever with a point mass at its tip, exact; 3.516 without one.

    mass_ratio: tip mass over the beam's own, at least 0. mode: from 1. The roots of
    1 + cos b cosh b + μ b (cos b sinh b - sin b cosh b) = 0 (Euler-Bernoulli, no rotary inertia).
    ω = (bL)² √(E I / m L⁴), m the beam's mass a length. Raises ValueError.
    """
    if mass_ratio < 0.0 or mode < 1:
        raise ValueError(
            f"found mass ratio {mass_ratio:g}, mode {mode}; expected 0 or more, from 1"
        )
    # Between two neighbours of these, the mode without a mass and the one with the tip held still.
    low = max((mode - 0.75) * math.pi, 1e-9) if mode > 1 else 1e-9
    high = (mode - 0.5) * math.pi + (0.4 if mode == 1 else 0.1)
    for _ in range(200):
        middle = (low + high) / 2.0
        # Divided by cosh the terms stay of one size.
        tanh, cosh = math.tanh(middle), math.cosh(middle)
        value = 1.0 / cosh + math.cos(middle)
        value += mass_ratio * middle * (math.cos(middle) * tanh - math.sin(middle))
        if (value > 0.0) == (mode % 2 == 1):
            low = middle
        else:
            high = middle
    return low**2


def rayleigh_number(mass_ratio: float) -> float:
    """(bL)² by Rayleigh's quotient on the static curve: 33/140 of the beam counts at its tip.

    Always on the high side: 1.5 % without a tip mass, 0.05 % with one as heavy as the beam.
    """
    return math.sqrt(3.0 / (mass_ratio + RAYLEIGH_SHARE))


def cantilever_hz(
    long_mm: float,
    section: Section,
    e_mpa: float,
    density_kg_m3: float,
    tip_kg: float,
) -> float:
    """First natural frequency of a uniform cantilever with a tip mass, exact, Hz."""
    along = section.area_mm2 * density_kg_m3 * 1e-9 / KG_PER_TONNE  # t a mm
    number = frequency_number(tip_kg / KG_PER_TONNE / (along * long_mm))
    return number * math.sqrt(e_mpa * section.flat_mm4 / along) / long_mm**2 / math.tau
