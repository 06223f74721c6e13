"""Fins against published correlations' own figures, exact solutions and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import louvers, plain_fins
from noseroom.physics.fin_cores import (
    LouveredCore,
    PlainCore,
    air_side,
    contraction_kays,
    expansion_kays,
    fin_efficiency,
    heat_transfer_coefficient,
    pressure_drop_kays_london,
)
from noseroom.physics.ranges import without_repeats
from noseroom.physics.stock_cores import core_like
from noseroom.tables.heat import bands, usual_cores

MM = 1e-3
# Sizes of a published worked case, m.
HEAT = {
    "angle_deg": 28.0,
    "fin_pitch": 1.8 * MM,
    "louver_pitch": 1.534 * MM,
    "fin_length": 19 * MM,
    "depth": 26 * MM,
    "louver_length": 16.07 * MM,
    "tube_pitch": 19.7 * MM,
    "fin_thickness": 0.1 * MM,
}
DRAG = {**HEAT, "tube_thickness": 5 * MM, "hydraulic_diameter": 3.11942 * MM}
CORE = LouveredCore(
    fin_pitch=1.8 * MM,
    fin_length=19 * MM,
    fin_thickness=0.1 * MM,
    depth=26 * MM,
    tube_thickness=5 * MM,
    fin_conductivity=200.0,
    louver_pitch=1.534 * MM,
    louver_length=16.07 * MM,
    louver_angle_deg=28.0,
)


def test_heat_of_louvered_fins() -> None:
    """Chang and Wang, Int. J. Heat Mass Transfer 40 (1997), eq. 9, at five Reynolds numbers."""
    found = louvers.j_chang_wang_1997([100, 300, 500, 1000, 3000], **HEAT)
    known = [0.052037, 0.030375, 0.023649, 0.016839, 0.009829]
    np.testing.assert_allclose(found, known, atol=1e-6)


def test_friction_of_louvered_fins() -> None:
    """Chang and others, Int. J. Heat Mass Transfer 43 (2000) 2237; the angle counts in degrees."""
    found = louvers.f_chang_2000([200, 300, 500, 1000], **DRAG)
    np.testing.assert_allclose(found, [0.27081, 0.20957, 0.15696, 0.11130], atol=1e-5)


def test_the_amendment_joins_the_two_branches() -> None:
    """Chang and others, Int. J. Heat Mass Transfer 49 (2006) 4250: the same outside 130 to 230."""
    for re in (60.0, 100.0, 130.0, 230.0, 300.0, 2000.0):
        old = louvers.f_chang_2000(re, **DRAG)
        assert louvers.f_chang_2006(re, **DRAG) == pytest.approx(float(old), rel=1e-12)
    near = np.linspace(149, 151, 3)
    assert np.abs(np.diff(louvers.f_chang_2000(near, **DRAG))).max() > 0.04
    assert np.abs(np.diff(louvers.f_chang_2006(near, **DRAG))).max() < 0.01


def test_a_size_that_is_missing_is_named() -> None:
    with pytest.raises(TypeError, match="found no depth, no tube_pitch"):
        louvers.j_chang_wang_1997(
            300.0, **{k: v for k, v in HEAT.items() if k not in ("depth", "tube_pitch")}
        )


def test_pressure_never_falls_where_the_branches_meet() -> None:
    """The published join lets it, for louvers an eighth wider than usual."""
    core = core_like(usual_cores()["radiator copper serpentine"], louver_pitch=1.575 * MM)
    assert isinstance(core, LouveredCore)
    sizes = {name: getattr(core, name) for name in DRAG if name != "angle_deg"}
    sizes["angle_deg"] = core.louver_angle_deg
    re = np.linspace(60.0, 400.0, 200)
    published = louvers.f_chang_2006(re, **sizes)
    assert np.diff(published * re**2).min() < 0
    straight = louvers.f_chang_straight(re, **sizes)
    assert np.diff(straight * re**2).min() > 0
    outside = (re <= 130) | (re >= 230)
    np.testing.assert_allclose(straight[outside], published[outside], rtol=1e-12)
    np.testing.assert_allclose(straight, published, rtol=0.15)


def test_a_worked_case_of_heat_and_pressure() -> None:
    """Heat 136.46 W/(m² K) at 2.233 m/s; friction 21.49, 37.42, 77.85, 220.8 Pa; σ 0.74375.

    Worked out from eq. 9 and from the 2000 paper with η 18.24e-6, λ 0.02569, c_p 1007, ρ 1.188,
    h = j Re Pr^(1/3) λ / L and Δp = 4 f L / D_h ρ v² / 2.
    """
    sigma = CORE.free_share
    assert sigma == pytest.approx(0.74375, abs=1e-5)
    assert CORE.hydraulic_diameter == pytest.approx(3.11942 * MM, rel=1e-5)
    prandtl = 18.24e-6 * 1007 / 0.02569
    j = louvers.j_chang_wang_1997(300, **HEAT)
    h = heat_transfer_coefficient(j, 300, prandtl, 0.02569, 1.534 * MM)
    assert h == pytest.approx(136.46, abs=0.01)
    face = np.array([1.489, 2.233, 3.722, 7.444])
    velocity = face / sigma
    re = 1.188 * velocity * 1.534 * MM / 18.24e-6
    f = louvers.f_chang_2000(re, **DRAG)
    drop = 4 * f * 26 * MM / CORE.hydraulic_diameter * 1.188 / 2 * velocity**2
    np.testing.assert_allclose(drop, [21.49, 37.42, 77.85, 220.8], rtol=1.5e-3)


def test_other_authors_come_to_the_same_within_what_both_say() -> None:
    """Kim and Bullard (2002), coefficients from memory, on a core inside both ranges."""
    sizes = {**HEAT, "angle_deg": 27.0, "fin_pitch": 1.2 * MM, "louver_pitch": 1.7 * MM}
    sizes |= {"fin_length": 8 * MM, "depth": 20 * MM, "louver_length": 6.8 * MM}
    sizes |= {"tube_pitch": 10.2 * MM}
    re = np.array([100.0, 200.0, 400.0, 600.0])
    ours = louvers.j_chang_wang_1997(re, **sizes)
    np.testing.assert_allclose(louvers.j_kim_bullard_2002(re, **sizes), ours, rtol=0.15)
    wide = {**sizes, "tube_thickness": 2.2 * MM, "hydraulic_diameter": 1.93 * MM}
    without = {k: v for k, v in sizes.items() if k not in ("tube_pitch", "fin_thickness")}
    theirs = louvers.f_kim_bullard_2002(re, **without)
    more = theirs / louvers.f_chang_2006(re, **wide)
    # They find a third to a half more drag; the band that the program draws from holds both.
    band = bands()["louver friction"]
    assert band.low <= more.min() <= more.max() <= band.high
    assert more.max() > 1.4


def test_slow_air_is_outside_the_range_and_said_to_be() -> None:
    """A condenser at idle: 0.6 m/s on louvers of 1.1 mm is below Re 100."""
    core = core_like(usual_cores()["condenser parallel flow"])
    found = air_side(core, np.array([0.6, 3.0]) * 1.13, 311.0, 320.0)
    names = [one.correlation for one in without_repeats(found.remarks)]
    assert names == ["Chang and Wang's j", "Chang and others' f"]
    assert found.remarks[0].share == 0.5
    assert "Reynolds number" in str(found.remarks[0])
    assert "tested from 100 to 3000" in str(found.remarks[0])
    assert air_side(core, 3.0 * 1.13, 311.0).remarks == ()


def test_a_core_of_odd_sizes_is_said_to_be_outside() -> None:
    core = core_like(usual_cores()["radiator aluminium"], depth=0.080, fin_pitch=np.array([4e-3]))
    said = {one.tested.quantity for one in air_side(core, 4.0, 300.0).remarks}
    assert said == {"depth", "fin pitch"}


def test_every_usual_core_is_inside_its_range_while_driving() -> None:
    for row in usual_cores().values():
        found = air_side(core_like(row), 4.0 * 1.15, 310.0, 340.0)
        assert found.remarks == (), row.key
        assert "common practice" in row.source


# -- plain fins -----------------------------------------------------------------------------------

# R. K. Shah, A. L. London, Laminar Flow Forced Convection in Ducts (1978), tables of rectangular
# ducts: aspect, f Re, Nu of walls of one temperature (from memory).
DUCTS = [
    (1.0, 14.227, 2.976),
    (0.5, 15.548, 3.391),
    (0.25, 18.233, 4.439),
    (0.125, 20.585, 5.597),
]


@pytest.mark.parametrize(("aspect", "friction", "nusselt"), DUCTS)
def test_long_ducts(aspect: float, friction: float, nusselt: float) -> None:
    sizes = {"width_m": aspect, "height_m": 1.0, "length_m": 1e7}
    found = plain_fins.apparent_friction_muzychka_yovanovich(10.0, **sizes) * 10.0
    assert found == pytest.approx(friction, rel=0.007)
    found = plain_fins.nusselt_muzychka_yovanovich(10.0, 0.7, **sizes)
    assert found == pytest.approx(nusselt, rel=0.002)


@pytest.mark.parametrize("re", [150, 400, 900, 1800])
def test_short_wide_ducts_are_as_between_plates(re: float) -> None:
    """K. Stephan (1959), as the VDI Heat Atlas (2013) has it, within the 15 % of the former."""
    known = plain_fins.nusselt_stephan_1959(re, 0.7, 2.0 / 20.0)
    found = plain_fins.nusselt_muzychka_yovanovich(
        re, 0.7, width_m=1.0, height_m=200.0, length_m=20.0
    )
    assert found == pytest.approx(float(known), rel=0.10)


def test_short_ducts_take_more_pressure_by_starting_the_flow() -> None:
    """Flow along a flat plate: c_f = 1.328 / √Re of its length (H. Blasius, 1908).

    A very short duct is four such plates; 3.44 / √z+ stands for its boundary layers with the core
    that they squeeze, which takes about twice as much, never less.
    """
    length = 0.001
    found = plain_fins.apparent_friction_muzychka_yovanovich(
        500.0, width_m=1.0, height_m=1.0, length_m=length
    )
    plate = 1.328 / np.sqrt(500.0 * length)
    assert 2.0 * plate < found < 3.0 * plate


# -- what they share ------------------------------------------------------------------------------


def test_fin_efficiency_is_that_of_a_fin_cut_into_pieces() -> None:
    """Fourier's law on 400 pieces of a fin, from the tube to its middle, where nothing passes."""
    h, k, t, half = 90.0, 200.0, 0.1 * MM, 4.5 * MM
    n = 400
    step = half / n
    matrix = np.zeros((n, n))
    right = np.zeros(n)
    for i in range(n):
        lost = 2 * h * step
        matrix[i, i] += lost
        if i == 0:
            matrix[i, i] += k * t / (step / 2)
            right[i] = k * t / (step / 2)
        if i + 1 < n:
            pass_ = k * t / step
            matrix[i, i] += pass_
            matrix[i + 1, i + 1] += pass_
            matrix[i, i + 1] = matrix[i + 1, i] = -pass_
    mean = np.linalg.solve(matrix, right).mean()
    found = fin_efficiency(h, conductivity=k, thickness=t, half_length=half)
    assert found == pytest.approx(mean, rel=1e-5)
    deep = fin_efficiency(h, conductivity=k, thickness=t, half_length=half, depth=1e9)
    assert deep == pytest.approx(float(found), rel=1e-9)


def test_losses_at_entrance_and_exit() -> None:
    """W. M. Kays (1950): about 0.4 and 1 for a core that is all metal, nothing for none.

    Between them as the library fluids has a sharp contraction (0.5 (1 - σ), handbooks' usual).
    """
    assert contraction_kays(0.0) == pytest.approx(0.4, abs=0.03)
    assert expansion_kays(0.0) == 1.0
    assert contraction_kays(1.0) < 1e-3
    assert expansion_kays(1.0) == 0.0
    for sigma in (0.5, 0.7, 0.85):
        assert contraction_kays(sigma) == pytest.approx(0.5 * (1 - sigma), abs=0.07)


def test_pressure_drop_of_a_core_without_ends_or_heat_is_friction_alone() -> None:
    found = pressure_drop_kays_london(
        3.0, 0.05, free_share=1.0, length_over_radius=60.0, density_in=1.2, density_out=1.2
    )
    assert found == pytest.approx(0.05 * 60 * 3.0**2 / 2.4, rel=1e-4)


def test_heating_air_takes_pressure() -> None:
    """Momentum: what leaves is faster by the ratio of densities, G² (1/ρ₂ - 1/ρ₁)."""
    given_ = {"free_share": 1.0, "length_over_radius": 0.0, "density_in": 1.2}
    found = pressure_drop_kays_london(5.0, 0.0, density_out=1.0, **given_)
    assert found == pytest.approx(5.0**2 * (1 / 1.0 - 1 / 1.2), rel=1e-3)


@settings(derandomize=True, max_examples=120, deadline=None)
@given(
    st.sampled_from(sorted(usual_cores())),
    st.lists(st.floats(0.82, 1.2), min_size=8, max_size=8),
    st.floats(0.05, 12.0),
)
def test_more_air_takes_more_pressure_and_more_heat(
    key: str, factors: list[float], flux: float
) -> None:
    row = usual_cores()[key]
    usual = core_like(row)
    names = ["fin_pitch", "fin_length", "fin_thickness", "depth", "tube_thickness"]
    if isinstance(usual, LouveredCore):
        names += ["louver_pitch", "louver_angle_deg"]
    sizes = {n: getattr(usual, n) * f for n, f in zip(names, factors, strict=False)}
    core = core_like(row, **sizes)
    found = air_side(core, np.array([flux, flux * 1.02]), 310.0, 325.0)
    assert found.drop_pa[1] > found.drop_pa[0] > 0
    assert found.conductance[1] >= found.conductance[0] > 0
    deeper = air_side(core_like(row, **{**sizes, "depth": core.depth * 1.05}), flux, 310.0, 325.0)
    assert deeper.conductance > found.conductance[0]


def test_draws_of_sizes_are_as_one_after_the_other() -> None:
    pitches = np.array([1.5, 1.8, 2.2]) * MM
    row = usual_cores()["radiator copper serpentine"]
    together = air_side(core_like(row, fin_pitch=pitches), 2.0, 300.0)
    for k, pitch in enumerate(pitches):
        alone = air_side(core_like(row, fin_pitch=float(pitch)), 2.0, 300.0)
        assert together.drop_pa[k] == pytest.approx(float(alone.drop_pa), rel=1e-12)
        assert together.conductance[k] == pytest.approx(float(alone.conductance), rel=1e-12)


def test_dimples_pass_more_heat_and_take_more_pressure() -> None:
    row = usual_cores()["radiator copper"]
    smooth, rough = core_like(row), core_like(row, heat_factor=1.3, friction_factor=1.5)
    assert isinstance(smooth, PlainCore)
    first, second = (air_side(one, 3.0, 300.0) for one in (smooth, rough))
    assert second.coefficient == pytest.approx(1.3 * float(first.coefficient), rel=1e-12)
    assert first.drop_pa < second.drop_pa < 1.5 * first.drop_pa
