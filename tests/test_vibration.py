"""Firing frequencies, Miles' equation and random profiles, against sums by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.vibration import Profile, firing_hz, first_order_hz, miles
from noseroom.tables.strength import body_vibration

BODY = Profile(body_vibration().points)


def test_how_often_engines_fire() -> None:
    """Four-stroke: every cylinder once in two turns (a fact of the trade)."""
    assert firing_hz(8, 600.0) == pytest.approx(40.0)
    assert firing_hz(6, 700.0) == pytest.approx(35.0)
    assert firing_hz(4, 900.0) == pytest.approx(30.0)
    assert first_order_hz(600.0) == pytest.approx(10.0)
    with pytest.raises(ValueError, match="cylinders"):
        firing_hz(0, 600.0)


def test_miles_equation() -> None:
    """√(π/2 · 50 Hz · 10 · 6.5 (m/s²)²/Hz) = 71.45 m/s²; form as NASA Goddard prints it (2001)."""
    assert miles(50.0, 10.0, 6.5) == pytest.approx(71.45, abs=0.01)


def test_miles_is_the_area_below_a_single_mass_response() -> None:
    """The response of a mass on a spring to white noise, summed over frequency, is Miles'."""
    natural, quality = 60.0, 10.0
    hz = np.linspace(0.0, 40_000.0, 4_000_001)
    ratio, damped = hz / natural, hz / natural / quality
    gain = (1.0 + damped**2) / ((1.0 - ratio**2) ** 2 + damped**2)
    summed = math.sqrt(float(np.trapezoid(gain, hz)))
    # The whole area is (π/2) f Q (1 + 1/Q²): Miles leaves out the damper's own share.
    assert summed == pytest.approx(miles(natural, quality, 1.0) * math.sqrt(1.01), rel=1e-3)


def test_the_body_profile_has_the_printed_rms() -> None:
    """ISO 16750-3, test IV, sprung masses of a passenger car: 27.8 m/s² (corners from memory)."""
    assert BODY.rms == pytest.approx(27.8, abs=0.1)


def test_densities_at_corners_and_between() -> None:
    """Straight on log-log paper: halfway in logarithms is the root of the product."""
    for hz, density in body_vibration().points:
        assert BODY.density(hz) == pytest.approx(density)
    middle = math.sqrt(55.0 * 180.0)
    assert BODY.density(middle) == pytest.approx(math.sqrt(6.5 * 0.25))
    assert BODY.density(1.0) == 20.0
    assert BODY.density(5000.0) == 0.14


def test_area_of_a_slope_of_minus_one() -> None:
    """∫ c/f df = c ln(f2/f1), where the power's formula has no answer."""
    one = Profile(((10.0, 10.0), (100.0, 1.0)))
    assert one.rms == pytest.approx(math.sqrt(100.0 * math.log(10.0)))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(low=st.floats(5.0, 900.0), times=st.floats(1.0, 4.0))
def test_the_worst_response_is_no_lower_than_any(low: float, times: float) -> None:
    worst = BODY.worst_response(low, times * low, 10.0)
    tried = [BODY.response(low * times ** (k / 40.0), 10.0) for k in range(41)]
    assert worst >= max(tried) * (1.0 - 1e-9)
    assert worst <= max(tried) * 1.1
