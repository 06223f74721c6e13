"""Beams, against printed tables and textbook formulas."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.beams import (
    cantilever_deflection_mm,
    cantilever_hz,
    cantilever_stress_mpa,
    curved_growth,
    frequency_number,
    rayleigh_number,
    rectangle,
    shear_modulus_mpa,
    torsion_share,
    torsion_stress_share,
    trough,
)

STEEL_MPA = 200_000.0
STRAP = rectangle(40.0, 3.0)


def test_stress_and_deflection_of_a_strap() -> None:
    """P L / Z and P L³ / 3 E I by hand: 40 × 3 mm of steel, 100 N on 100 mm."""
    assert cantilever_stress_mpa(100.0, 100.0, STRAP) == pytest.approx(166.667, rel=1e-5)
    found = cantilever_deflection_mm(100.0, 100.0, STRAP, STEEL_MPA)
    assert found == pytest.approx(1.85185, rel=1e-5)


def test_frequency_of_a_strap_with_a_mass_on_its_tip() -> None:
    """26.0078 Hz: 40 × 3 × 100 mm of steel, 7850 kg/m³, 2 kg; 40 beam elements give the same."""
    found = cantilever_hz(100.0, STRAP, STEEL_MPA, 7850.0, 2.0)
    assert found == pytest.approx(26.0078, abs=1e-4)


@pytest.mark.parametrize(
    ("mode", "number"),
    [(1, 1.557298), (2, 16.25009), (3, 50.89584), (4, 105.1983), (5, 179.2320)],
)
def test_modes_with_a_tip_as_heavy_as_the_beam(mode: int, number: float) -> None:
    """Mathematical Problems in Engineering 2017, article 1568019, table 1, no rotary inertia."""
    assert frequency_number(1.0, mode) == pytest.approx(number, rel=4e-7)


def test_modes_without_a_tip_mass() -> None:
    """The numbers bL are 1.8751, 4.6941, 7.8548 (beam tables, clamped and free)."""
    for mode, length in ((1, 1.8751), (2, 4.6941), (3, 7.8548)):
        assert math.sqrt(frequency_number(0.0, mode)) == pytest.approx(length, abs=5e-5)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(ratio=st.floats(0.0, 50.0), mode=st.integers(1, 6))
def test_every_mode_meets_the_frequency_equation(ratio: float, mode: int) -> None:
    """1 + cos b cosh b + μ b (cos b sinh b - sin b cosh b) = 0, divided by cosh b."""
    b = math.sqrt(frequency_number(ratio, mode))
    value = 1.0 / math.cosh(b) + math.cos(b)
    value += ratio * b * (math.cos(b) * math.tanh(b) - math.sin(b))
    assert abs(value) < 1e-9 * (1.0 + ratio * b)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(ratio=st.floats(0.0, 20.0))
def test_rayleigh_is_never_below_the_exact_number(ratio: float) -> None:
    """His quotient is an upper bound; with 33/140 it is 1.5 % high at most."""
    assert 1.0 <= rayleigh_number(ratio) / frequency_number(ratio) <= 1.0148


def test_rayleigh_is_high_by_what_is_printed() -> None:
    """1.47 % without a tip mass, 0.053 % with one as heavy as the beam."""
    assert rayleigh_number(0.0) / frequency_number(0.0) - 1.0 == pytest.approx(0.0147, abs=5e-5)
    assert rayleigh_number(1.0) / frequency_number(1.0) - 1.0 == pytest.approx(0.00053, abs=5e-6)


@pytest.mark.parametrize(
    ("ratio", "beta"),
    [
        (1.0, 0.141),
        (1.5, 0.196),
        (1.8, 0.216),
        (2.0, 0.229),
        (2.5, 0.249),
        (3.0, 0.263),
        (4.0, 0.281),
        (5.0, 0.291),
        (7.5, 0.305),
        (10.0, 0.312),
    ],
)
def test_torsion_constants_of_rectangles(ratio: float, beta: float) -> None:
    """K = β b t³, table of rectangular sections in a structural reference manual."""
    assert torsion_share(ratio, 1.0) == pytest.approx(beta, abs=1.5e-3)
    assert torsion_share(1.0, ratio) == pytest.approx(torsion_share(ratio, 1.0), rel=1e-12)


@pytest.mark.parametrize(
    ("ratio", "alpha"),
    [(1.0, 0.208), (1.5, 0.231), (2.0, 0.246), (3.0, 0.267), (4.0, 0.282), (10.0, 0.312)],
)
def test_highest_shear_stress_of_rectangles_in_torsion(ratio: float, alpha: float) -> None:
    """T / (α b t²), a table of torsion formulas (h/b, k1)."""
    assert torsion_stress_share(ratio, 1.0) == pytest.approx(alpha, abs=1e-3)


@pytest.mark.parametrize(
    ("ratio", "factor"),
    [
        (1.2, 2.89),
        (1.4, 2.13),
        (1.6, 1.79),
        (1.8, 1.63),
        (2.0, 1.52),
        (3.0, 1.30),
        (4.0, 1.20),
        (6.0, 1.12),
        (8.0, 1.09),
        (10.0, 1.07),
    ],
)
def test_stress_on_the_inside_of_a_bend(ratio: float, factor: float) -> None:
    """Machinery's Handbook, 31st edition, page 275, table 4: rectangle, inside fibre, by R / c."""
    half = 1.5
    assert curved_growth((ratio - 1.0) * half, 2.0 * half) == pytest.approx(factor, rel=0.014)


def test_a_sharp_inside_corner_has_no_answer() -> None:
    with pytest.raises(ValueError, match="inside radius"):
        curved_growth(0.0, 3.0)


def test_a_channel_by_the_parallel_axis_theorem() -> None:
    """60 × 3 mm with 12 mm high edges, by hand, its three walls one by one."""
    made = trough(60.0, 3.0, 12.0)
    areas, heights, owns = (180.0, 27.0, 27.0), (1.5, 7.5, 7.5), (135.0, 182.25, 182.25)
    middle = sum(a * h for a, h in zip(areas, heights, strict=True)) / 234.0
    second = sum(
        own + a * (h - middle) ** 2 for a, h, own in zip(areas, heights, owns, strict=True)
    )
    assert made.area_mm2 == pytest.approx(234.0)
    assert made.flat_mm4 == pytest.approx(second)
    assert made.flat_mm3 == pytest.approx(second / (12.0 - middle))
    # The outer rectangle less the empty one between the walls, about the middle of its width.
    hollow = 12.0 * 60.0**3 / 12.0 - 9.0 * 54.0**3 / 12.0
    assert made.edge_mm4 == pytest.approx(hollow)


def test_a_channel_without_edges_is_the_strap() -> None:
    flat, none = rectangle(40.0, 3.0), trough(40.0, 3.0, 3.0)
    assert none.flat_mm4 == pytest.approx(flat.flat_mm4)
    assert none.edge_mm4 == pytest.approx(flat.edge_mm4)
    assert none.flat_mm3 == pytest.approx(flat.flat_mm3)


def test_shear_modulus_of_steel() -> None:
    """E 200 GPa, ν 0.3: 76.9 GPa."""
    assert shear_modulus_mpa(STEEL_MPA, 0.3) == pytest.approx(76_923.0, abs=1.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    long=st.floats(20.0, 300.0),
    thick=st.floats(1.0, 6.0),
    wide=st.floats(10.0, 80.0),
    tip=st.floats(0.05, 10.0),
    more=st.floats(1.01, 2.0),
)
def test_longer_is_softer_and_thicker_is_stiffer(
    long: float, thick: float, wide: float, tip: float, more: float
) -> None:
    """What every builder knows (common practice)."""

    def hz(long: float, wide: float, thick: float, tip: float) -> float:
        return cantilever_hz(long, rectangle(wide, thick), STEEL_MPA, 7850.0, tip)

    now = hz(long, wide, thick, tip)
    assert hz(more * long, wide, thick, tip) < now
    assert hz(long, wide, more * thick, tip) > now
    assert hz(long, more * wide, thick, tip) > now
    assert hz(long, wide, thick, more * tip) < now


@pytest.mark.parametrize(("wide", "thick"), [(0.0, 3.0), (30.0, -1.0)])
def test_no_metal_is_no_section(wide: float, thick: float) -> None:
    with pytest.raises(ValueError, match="some metal"):
        rectangle(wide, thick)


def test_impossible_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="mass ratio"):
        frequency_number(-1.0)
    with pytest.raises(ValueError, match="mode"):
        frequency_number(1.0, 0)
    with pytest.raises(ValueError, match="channel"):
        trough(30.0, 3.0, 2.0)
