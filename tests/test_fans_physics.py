"""Fans and grilles: similarity, curves that are known, what an intersection is, what is not."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import openings
from noseroom.physics.fan_blades import BladeFigures, fan_from_geometry, pitch_angle_of
from noseroom.physics.fans import (
    FanCurve,
    curve_through_point,
    fan_laws,
    operating_point,
    parabola_through_point,
)
from noseroom.physics.solving import roots_between
from noseroom.tables.heat import bands

POINTS = [(0.0, 180.0), (0.4, 150.0), (0.8, 95.0), (1.1, 0.0)]
CURVE = FanCurve.through(POINTS, 2000.0)


def test_fan_laws() -> None:
    """Similarity: a fifth more speed gives 1.2 of flow, 1.44 of pressure, 1.728 of power."""
    assert fan_laws(1.0, 1.0, 1.0, speed_ratio=1.2) == pytest.approx((1.2, 1.44, 1.728))
    assert fan_laws(1.0, 1.0, 1.0, density_ratio=0.9) == pytest.approx((1.0, 0.9, 0.9))
    assert fan_laws(2.0, 3.0, 4.0, size_ratio=2.0) == pytest.approx((16.0, 12.0, 128.0))


def test_a_curve_goes_through_its_points_and_nowhere_else() -> None:
    flows, pressures = np.transpose(POINTS)
    np.testing.assert_allclose(CURVE.pressure(flows), pressures, atol=1e-9)
    assert np.isnan(CURVE.pressure([-0.1, 1.2])).all()
    (said,) = CURVE.outside([0.5, 1.2])
    assert "flow 1.2 m³/s, tested from 0 to 1.1 m³/s" in str(said)


def test_a_curve_at_another_speed_and_density_follows_the_laws() -> None:
    for flow, pressure in POINTS:
        (q,), (p,), _ = fan_laws([flow], [pressure], 1.0, speed_ratio=1.5, density_ratio=0.9)
        assert CURVE.pressure(q, speed=3000.0, density=1.2 * 0.9) == pytest.approx(p, abs=1e-9)
    assert CURVE.ends(1000.0) == pytest.approx((0.0, 0.55))


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(0.0, 100.0)], "two or more"),
        ([(0.0, 100.0), (0.5, 110.0)], "more flow at less pressure"),
        ([(0.2, 100.0), (0.2, 80.0)], "more flow at less pressure"),
        ([(0.0, math.nan), (0.5, 10.0)], "numbers from 0"),
        ([(-1.0, 100.0), (0.5, 10.0)], "numbers from 0"),
    ],
)
def test_points_that_are_no_curve_are_refused(points: list[tuple[float, float]], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        FanCurve.through(points, 1000.0)
    with pytest.raises(ValueError, match="more than 0"):
        FanCurve.through(POINTS, 0.0)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.02, 1.0), st.floats(1.0, 80.0)), min_size=2, max_size=7))
def test_a_curve_never_rises_between_its_points(steps: list[tuple[float, float]]) -> None:
    flows = np.cumsum([q for q, _ in steps])
    pressures = 600.0 - np.cumsum([p for _, p in steps])
    curve = FanCurve(flows, pressures, 1.0)
    found = curve.pressure(np.linspace(flows[0], flows[-1], 300))
    assert (np.diff(found) <= 1e-9).all()


def test_one_point_makes_a_curve_through_it() -> None:
    curve = curve_through_point(0.8, 95.0, 2000.0, steepness=1.0)
    assert curve.pressure(0.8) == pytest.approx(95.0, rel=0.01)
    assert curve.pressures[0] == pytest.approx(190.0)
    assert curve.pressures[-1] == pytest.approx(0.0, abs=1e-9)
    assert parabola_through_point(0.8, 0.8, 95.0, 2.5) == pytest.approx(95.0)


# -- where a fan meets a system -------------------------------------------------------------------


def test_fan_and_system_meet_where_a_parabola_says() -> None:
    """190 (1 - q²/1.28) against k q²: q² = 190 / (k + 148.4375), by hand."""
    k = np.array([50.0, 100.0, 400.0])
    met = operating_point(
        lambda q: parabola_through_point(q, 0.8, 95.0, 1.0), lambda q: k * q**2, 0.0, [2.0] * 3
    )
    assert met.met.all()
    assert met.remark == ""
    np.testing.assert_allclose(met.flow, np.sqrt(190.0 / (k + 148.4375)), rtol=1e-8)
    np.testing.assert_allclose(met.pressure, k * met.flow**2, rtol=1e-7)


def test_no_meeting_is_told_and_is_no_number() -> None:
    weak = operating_point(CURVE.pressure, lambda q: 5.0 * q**2 - 40.0, *CURVE.ends())
    assert not weak.met
    assert np.isnan(weak.flow)
    assert "give points beyond" in weak.remark
    stiff = operating_point(CURVE.pressure, lambda q: 500.0 + q, *CURVE.ends())
    assert np.isnan(stiff.flow)
    assert "cannot blow" in stiff.remark
    both = operating_point(
        CURVE.pressure, lambda q: np.array([100.0, 500.0]) * (1 + q), [0.0, 0.0], [1.1, 1.1]
    )
    assert both.met.tolist() == [True, False]
    assert "1 of 2" in both.remark


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(1.0, 5000.0), st.floats(600.0, 3000.0))
def test_more_resistance_never_gives_more_air_and_more_speed_never_less(
    k: float, speed: float
) -> None:
    def flow(resistance: float, rpm: float) -> float:
        met = operating_point(
            lambda q: CURVE.pressure(q, rpm), lambda q: resistance * q**2, *CURVE.ends(rpm)
        )
        assert met.met, met.remark
        return float(met.flow)

    here = flow(k, speed)
    assert flow(k * 1.1, speed) < here
    assert flow(k, speed * 1.1) == pytest.approx(1.1 * here, rel=1e-6)


def test_roots_are_those_of_another_solver() -> None:
    """SciPy's brentq, one at a time, on a family with flat and steep ones."""
    from scipy.optimize import brentq

    power = np.array([1.0, 3.0, 9.0, 25.0])
    found = roots_between(lambda x: x**power - 0.3, np.zeros(4), np.full(4, 2.0))
    known = [brentq(lambda x, n=n: x**n - 0.3, 0, 2, xtol=1e-14) for n in power]
    assert found.found.all()
    np.testing.assert_allclose(found.x, known, atol=1e-9)


def test_a_function_with_no_value_between_has_no_root() -> None:
    found = roots_between(
        lambda x: np.where((x > 0.4) & (x < 0.6), np.nan, x - 0.5), [0.0, 0.0], [1.0, 1.1]
    )
    assert not found.found.any()
    assert np.isnan(found.x).all()
    none = roots_between(lambda x: x + 1.0, 0.0, 1.0)
    assert not none.found
    assert none.at_low > 0


# -- a fan of which only the shape is known -------------------------------------------------------


def _figures(which: str) -> BladeFigures:
    def of(key: str) -> float:
        return float(getattr(bands()[f"fan {key}"], which))

    return BladeFigures(
        of("lift slope"),
        of("lift"),
        bands()["fan drag"].usual,
        math.radians(of("camber")),
        of("tip loss"),
        of("flow"),
    )


FAN = {
    "diameter": 0.457,
    "hub_diameter": 0.12,
    "blades": 6,
    "chord": 0.11,
    "projected_width": 0.045,
    "density": 1.2,
}


def test_a_fan_from_its_shape_lies_where_axial_fans_lie() -> None:
    """Axial fans without guide vanes, from memory; the band has to meet both, and widely.

    Shut-off at 0.2 to 0.5 of ρ u²/2 of the tip, free air at 0.15 to 0.35 of tip speed times area.
    """
    tip = math.tau * 2000 / 60 * 0.457 / 2
    area = math.pi / 4 * (0.457**2 - 0.12**2)
    shut, free = [], []
    for which in ("low", "usual", "high"):
        curve = fan_from_geometry(speed_rpm=2000.0, figures=_figures(which), **FAN)
        assert curve.remarks == ()
        shut.append(curve.pressures[0] / (0.6 * tip**2))
        free.append(np.interp(0.0, -curve.pressures, curve.flows) / (area * tip))
    assert shut[0] < 0.25 < shut[2] < 0.6
    assert 0.08 < free[0] < 0.2 < free[2] < 0.45
    assert shut[2] > 2.0 * shut[0]
    assert free[2] > 1.7 * free[0]


def test_a_fan_from_its_shape_falls_and_follows_the_laws() -> None:
    curve = fan_from_geometry(
        speed_rpm=np.array([1000.0, 1500.0]), figures=_figures("usual"), **FAN
    )
    flows, pressures = curve.flows, curve.pressures
    assert flows.shape == pressures.shape == (2, 17)
    assert (np.diff(pressures, axis=-1) < 0).all()
    assert (np.diff(flows, axis=-1) > 0).all()
    np.testing.assert_allclose(flows[1], 1.5 * flows[0], rtol=1e-12)
    np.testing.assert_allclose(pressures[1], 2.25 * pressures[0], rtol=1e-9)


def test_a_lightly_loaded_blade_gives_its_lift_as_pressure() -> None:
    """Thrust of a blade element by hand: N c ρ (u² + v²) / 2 C_L / (2 π r), at no flow."""
    figures = BladeFigures(0.5, 99.0, 0.0, 0.0, 1.0, 1.0)
    pressures = fan_from_geometry(speed_rpm=1000.0, figures=figures, **FAN).pressures
    r = 0.7 * 0.457 / 2
    u = math.tau * 1000 / 60 * r
    lift = 0.5 * math.tau * 0.045 / 0.11
    by_hand = 6 * 0.11 / (math.tau * r) * 0.6 * u**2 * lift
    assert pressures[0] == pytest.approx(by_hand, rel=0.003)


def test_a_blade_deeper_than_its_chord_is_refused() -> None:
    with pytest.raises(ValueError, match="deeper than its chord"):
        pitch_angle_of(0.05, 0.06)
    assert pitch_angle_of(0.1, 0.05) == pytest.approx(math.radians(30))
    crowded = fan_from_geometry(
        speed_rpm=1000.0, figures=_figures("usual"), **{**FAN, "blades": 12}
    )
    assert "outside the range of a fan from its shape: solidity" in str(crowded.remarks[0])


# -- grilles --------------------------------------------------------------------------------------


def test_grilles_are_near_those_of_another_author() -> None:
    """R. D. Blevins's sharp-edged screens, as the library fluids has them."""
    from fluids.filters import round_edge_screen, square_edge_screen

    for share in (0.2, 0.3, 0.4, 0.5, 0.6, 0.7):
        known = square_edge_screen(share)
        assert openings.loss_of_plate_idelchik(share) == pytest.approx(known, rel=0.13)
        known = round_edge_screen(share, 1000.0)
        assert openings.loss_of_screen_idelchik(share) == pytest.approx(known, rel=0.4)


def test_an_opening_in_a_wall() -> None:
    """Kirchhoff's slot: contraction π / (π + 2), so 2.68 on the velocity in the opening."""
    found = openings.loss_of_opening(math.pi / (math.pi + 2))
    assert found == pytest.approx(2.678, abs=0.001)
    assert openings.pressure_drop(2.0, 1.2, [3.0, -3.0]).tolist() == pytest.approx([10.8, -10.8])


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.floats(0.05, 0.94))
def test_a_closer_grille_takes_more(share: float) -> None:
    for loss in (openings.loss_of_plate_idelchik, openings.loss_of_screen_idelchik):
        assert loss(share) > loss(share + 0.01) > 0
