"""Laws of openings, fans and cores in a stack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.air_network import Resistance
from noseroom.physics.fans import FanCurve
from noseroom.physics.fin_cores import air_side
from noseroom.physics.stack_laws import core_fit, law_of_fan, law_of_opening
from noseroom.physics.stack_parts import Opening
from stack_makers import IDLE_FAN, SHARP, even_core, fan, radiator

RHO = np.array([1.1])


def test_an_opening_by_torricelli() -> None:
    """Through a sharp hole goes 0.62 A √(2 ρ Δp), less what creeping air takes (1 % at 1 m/s)."""
    flow, _ = law_of_opening(Opening(0.02, SHARP), RHO).flow(np.array([50.0]))
    ideal = 0.62 * 0.02 * np.sqrt(2 * 1.1 * 50.0)
    assert ideal * 0.999 <= flow[0] <= ideal


def test_a_closed_opening_lets_next_to_nothing_through() -> None:
    flow, _ = law_of_opening(Opening(0.0, SHARP), RHO).flow(np.array([100.0]))
    assert 0 <= flow[0] < 1e-6


@given(flow=st.floats(0.05, 1.2), speed=st.floats(0.2, 2.0), density=st.floats(0.8, 1.3))
@settings(derandomize=True, max_examples=60, deadline=None)
def test_a_fan_turns_by_the_fan_laws(flow: float, speed: float, density: float) -> None:
    """Flow with speed, pressure with density and speed squared (ISO 5801), on the fan's curve."""
    law = law_of_fan(fan(), speed, np.array([density]))
    rise = float(IDLE_FAN.pressure(flow)) * density / 1.2 * speed**2
    moved, _ = law.flow(np.array([-rise]))
    there = float(IDLE_FAN.pressure(moved[0] / density / speed))
    assert there == pytest.approx(float(IDLE_FAN.pressure(flow)), rel=2e-3)


@given(
    drop=st.floats(-400.0, 400.0),
    speeds=st.tuples(st.floats(0.0, 2.0), st.floats(0.0, 2.0)),
    more=st.floats(1e-3, 50.0),
)
@settings(derandomize=True, max_examples=150, deadline=None)
def test_a_faster_fan_never_lets_less_through_nor_does_a_greater_drop(
    drop: float, speeds: tuple[float, float], more: float
) -> None:
    slow, fast = (law_of_fan(fan(), one, RHO) for one in sorted(speeds))
    at = np.array([drop])
    assert slow.flow(at)[0] <= fast.flow(at)[0] + 1e-9
    assert fast.flow(at)[0] <= fast.flow(at + more)[0]


def test_a_standing_fan_is_an_opening() -> None:
    law = law_of_fan(fan(), 0.0, RHO)
    still = law_of_opening(Opening(0.11, 2.0), RHO)
    drop = np.array([80.0])
    np.testing.assert_allclose(law.flow(drop)[0], still.flow(drop)[0], rtol=1e-9)
    np.testing.assert_allclose(law.flow(-drop)[0], still.flow(-drop)[0], rtol=1e-9)


@pytest.mark.parametrize("drop", [-230.0, -150.0, -20.0, 30.0, 200.0])
def test_slopes_of_a_fan_are_those_of_its_flow(drop: float) -> None:
    law = law_of_fan(fan(flow_scale=0.9, rise_scale=1.1), 0.9, RHO)
    ends = [law.flow(np.array([drop + step]))[0][0] for step in (-1e-4, 1e-4)]
    assert law.flow(np.array([drop]))[1][0] == pytest.approx((ends[1] - ends[0]) / 2e-4, rel=1e-4)


def test_points_that_only_rounding_tells_from_its_own_leave_a_fan_its_slopes() -> None:
    """A straight curve, 250 Pa less 147 Pa a m³/s: points of it a rounding off change nothing."""
    flows = np.nextafter(np.linspace(0.0, 1.7, 33)[5:21:5], np.inf)
    points = [(0.0, 250.0), *((float(q), 250.0 - 147.0 * float(q)) for q in flows), (1.7, 0.1)]
    law = law_of_fan(replace(fan(), curve=FanCurve.through(points, 1.0)), 1.0, np.array([1.2]))
    for flow in flows:
        with np.errstate(all="raise"):
            moved, slope = law.flow(np.array([147.0 * flow - 250.0]))
        assert moved[0] == pytest.approx(1.2 * flow, rel=1e-6)
        assert slope[0] == pytest.approx(1.2 / 147.0, rel=1e-3)


def test_beyond_the_last_point_is_said() -> None:
    law = law_of_fan(fan(), 1.0, np.array([1.2, 1.2, 1.2]))
    stalled, beyond = law.beyond(1.2 * np.array([-0.1, 0.5, 1.5]))
    assert stalled.tolist() == [True, False, False]
    assert beyond.tolist() == [False, False, True]


@pytest.mark.parametrize("flow", [0.01, 0.2, -0.2, 1.0])
def test_a_core_s_fit_has_its_drop_and_its_slope_there(flow: float) -> None:
    core = radiator().core
    area, cold, hot = np.array([[0.2]]), np.array([[311.0]]), np.array([[350.0]])

    def drop(mass: float) -> float:
        return 1.4 * float(air_side(core, abs(mass) / 0.2, 311.0, 350.0).drop_pa)

    fit = core_fit(core, 1.4, area, np.array([[flow]]), cold, hot, 101325.0)
    law = fit.laws[0]
    moved, slope = law.flow(np.array([np.sign(flow) * drop(flow)]))
    assert moved[0] == pytest.approx(flow, rel=1e-9)
    rate = (drop(1.001 * flow) - drop(0.999 * flow)) / (0.002 * abs(flow))
    assert slope[0] == pytest.approx(1 / rate, rel=0.02)
    assert isinstance(law, Resistance)


def test_an_even_core_is_a_parabola() -> None:
    """Friction that does not change makes a drop that goes with the square of the flow."""
    area, kelvin = np.array([[0.2]]), np.array([[300.0]])
    fit = core_fit(even_core(), 1.0, area, np.array([[0.3]]), kelvin, kelvin, 101325.0)
    drop = fit.side.drop_pa[0]
    assert fit.laws[0].flow(4.0 * drop)[0][0] == pytest.approx(0.6, rel=2e-3)
