"""Refrigerant lines: bores, velocities, pressure drops against guides and printed formulas."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.air import ZERO_CELSIUS as K
from noseroom.physics.lines import drop_in_line, saturation_loss, velocity
from noseroom.physics.refrigerant import refrigerant
from noseroom.tables.circuits import hose_sizes, line_velocities

FLUID = refrigerant("R134a")


def test_bores_of_ac_hoses() -> None:
    """Dash-number table of hoses whose dash is the equivalent tube's outside diameter."""
    known = {6: ("3/8", "5/16", 7.9), 8: ("1/2", "13/32", 10.3), 10: ("5/8", "1/2", 12.7)}
    known[12] = ("3/4", "5/8", 15.9)
    shown = {k: (one.tube_od_in, one.bore_in, one.bore_mm) for k, one in hose_sizes().items()}
    assert shown == known


def test_a_dash_number_is_sixteenths_of_the_tube_and_not_of_the_bore() -> None:
    for dash, one in hose_sizes().items():
        assert Fraction(one.tube_od_in) == Fraction(dash, 16)
        assert Fraction(one.bore_in) < Fraction(dash, 16)
        assert one.bore_mm == pytest.approx(float(Fraction(one.bore_in)) * 25.4, abs=0.05)


def test_velocities_that_the_guide_asks_for() -> None:
    """ASHRAE Handbook Refrigeration, halocarbon chapter, table 1."""
    shown = {key: (one.low, one.high) for key, one in line_velocities().items()}
    assert shown["suction"] == (4.5, 20.0)
    assert shown["discharge"] == (10.0, 18.0)
    assert "from memory" in line_velocities()["liquid"].source
    assert {one.usual_dash for one in line_velocities().values()} <= set(hose_sizes())


def test_velocities_of_worked_cases() -> None:
    """0.05 kg/s: vapour of 5 °C; liquid of 50 °C; gas of 15 bar and 80 °C (64.07 kg/m³)."""
    gas = FLUID.vapour_density(FLUID.saturation_pressure(5 + K))
    found = velocity(0.05, gas, np.array([12.7, 15.9, 19.0]) / 1e3)
    np.testing.assert_allclose(found, [23.04, 14.70, 10.29], rtol=1e-3)
    liquid = FLUID.liquid_density(FLUID.saturation_pressure(50 + K))
    found = velocity(0.05, liquid, np.array([7.9, 10.3]) / 1e3)
    np.testing.assert_allclose(found, [0.925, 0.544], rtol=1e-3)
    hot = FLUID.superheated_density(1.5e6, FLUID.superheated_enthalpy(1.5e6, 80 + K))
    assert hot == pytest.approx(64.07, rel=1e-3)
    np.testing.assert_allclose(
        velocity(0.05, hot, np.array([10.3, 12.7]) / 1e3), [9.37, 6.16], rtol=1e-3
    )


def test_friction_is_that_of_the_printed_equations() -> None:
    """Colebrook's equation turned round by hand for rough bores, 64 / Re for slow flow."""
    for flow, rough in ((0.05, 2e-6), (0.02, 2e-5), (0.01, 1e-4)):
        found = drop_in_line(flow, 17.13, 1.1e-5, bore_m=0.0127, length_m=2.0, roughness_m=rough)
        root = 1 / math.sqrt(found.friction)
        inner = rough / 0.0127 / 3.7 + 2.51 * root / found.reynolds
        assert root == pytest.approx(-2 * math.log10(inner), rel=1e-4)
        by_hand = found.friction * 2.0 / 0.0127 * 17.13 / 2
        speed = float(velocity(flow, 17.13, 0.0127))
        assert found.total_pa == pytest.approx(by_hand * speed**2, rel=1e-12)
        assert found.bends_pa == 0.0
    slow = drop_in_line(1e-4, 1100.0, 1.4e-4, bore_m=0.0079, length_m=1.0)
    assert slow.friction == pytest.approx(64 / slow.reynolds, rel=1e-9)


def test_bends_add_what_handbooks_say() -> None:
    """A smooth right angle of four diameters: 0.15 to 0.35 velocity heads (handbooks' charts)."""
    found = drop_in_line(0.05, 17.13, 1.1e-5, bore_m=0.0159, length_m=1.0, bends=3)
    head = 17.13 / 2 * float(velocity(0.05, 17.13, 0.0159)) ** 2
    assert 0.15 < found.bends_pa / 3 / head < 0.35
    assert found.total_pa == found.straight_pa + found.bends_pa


def test_a_drop_costs_degrees_by_the_slope_of_saturation() -> None:
    """Clausius and Clapeyron: dT = T (v_g - v_f) / h_fg dp, at 5 °C."""
    kelvin = 5 + K
    pressure = float(FLUID.saturation_pressure(kelvin))
    volume = 1 / FLUID.vapour_density(pressure) - 1 / FLUID.liquid_density(pressure)
    slope = kelvin * volume / FLUID.latent_heat(pressure)
    found = saturation_loss(FLUID, pressure, 1000.0)
    assert found == pytest.approx(float(slope) * 1000.0, rel=5e-3)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(0.005, 0.08), st.sampled_from([0.0079, 0.0103, 0.0127, 0.0159]))
def test_more_flow_costs_more_and_a_wider_hose_less(flow: float, bore: float) -> None:
    def drop(m: float, d: float) -> float:
        return drop_in_line(m, 17.13, 1.1e-5, bore_m=d, length_m=1.5, bends=2).total_pa

    assert drop(flow * 1.05, bore) > drop(flow, bore) > drop(flow, bore * 1.05)
