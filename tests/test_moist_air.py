"""Moist air against psychrolib and CoolProp, two libraries with formulas of their own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import moist_air
from noseroom.physics.air import ZERO_CELSIUS as K


def test_saturation_pressure() -> None:
    """ASHRAE Handbook Fundamentals formula as psychrolib prints it, at 20 and 60 °C."""
    found = moist_air.saturation_pressure([20 + K, 60 + K])
    np.testing.assert_allclose(found, [2338.80, 19943.8], rtol=1e-5)


def test_saturation_pressure_is_that_of_the_steam_tables() -> None:
    """IAPWS-95 through CoolProp, to within the 0.1 % that `WATER_VAPOUR.spread` says."""
    from CoolProp.CoolProp import PropsSI

    kelvin = np.array([275.0, 300.0, 340.0, 373.124, 400.0, 420.0])
    known = [PropsSI("P", "T", t, "Q", 0, "Water") for t in kelvin]
    np.testing.assert_allclose(moist_air.saturation_pressure(kelvin), known, rtol=1e-3)
    np.testing.assert_allclose(moist_air.saturation_temperature(known), kelvin, atol=0.03)


@pytest.mark.parametrize(
    ("celsius", "relative", "ratio", "wet", "dew"),
    [(35, 0.4, 0.01413, 23.93, 19.39), (20, 0.5, 0.007262, 13.78, 9.27)],
)
def test_two_usual_days(
    celsius: float, relative: float, ratio: float, wet: float, dew: float
) -> None:
    """ASHRAE formulations at 101 325 Pa; CoolProp's own humid air lies 0.5 % off in W."""
    found = moist_air.humidity_ratio(celsius + K, relative)
    assert found == pytest.approx(ratio, rel=5e-4)
    assert moist_air.wet_bulb(celsius + K, found) - K == pytest.approx(wet, abs=0.01)
    assert moist_air.dew_point(found) - K == pytest.approx(dew, abs=0.01)


def test_volume_and_enthalpy() -> None:
    """ASHRAE formulations: 35 °C 40 % has v 0.8928 m³/kg; 20 °C 50 % has h 38.55 kJ/kg."""
    hot = moist_air.humidity_ratio(35 + K, 0.4)
    assert moist_air.specific_volume(35 + K, hot) == pytest.approx(0.8928, rel=1e-4)
    mild = moist_air.humidity_ratio(20 + K, 0.5)
    assert moist_air.enthalpy(20 + K, mild) == pytest.approx(38.55e3, rel=1e-4)


def test_another_equation_of_state_is_half_a_per_cent_off() -> None:
    """Herrmann, Kretzschmar and Gatley's humid air through CoolProp."""
    from CoolProp.HumidAirProp import HAPropsSI

    known = HAPropsSI("W", "T", 35 + K, "R", 0.4, "P", 101325)
    assert moist_air.humidity_ratio(35 + K, 0.4) == pytest.approx(known, rel=0.006)


def test_all_of_it_agrees_with_psychrolib() -> None:
    """psychrolib, which has ASHRAE Handbook Fundamentals (2017), at a grid of days."""
    import psychrolib as known

    known.SetUnitSystem(known.SI)
    for celsius in (2.0, 18.0, 33.0, 46.0):
        for relative in (0.12, 0.55, 0.97):
            for pressure in (101325.0, 84000.0):
                ratio = known.GetHumRatioFromRelHum(celsius, relative, pressure)
                kelvin = celsius + K
                assert moist_air.humidity_ratio(kelvin, relative, pressure) == pytest.approx(ratio)
                back = moist_air.relative_humidity(kelvin, ratio, pressure)
                assert back == pytest.approx(relative)
                assert moist_air.enthalpy(kelvin, ratio) == pytest.approx(
                    known.GetMoistAirEnthalpy(celsius, ratio), rel=1e-6
                )
                assert moist_air.specific_volume(kelvin, ratio, pressure) == pytest.approx(
                    known.GetMoistAirVolume(celsius, ratio, pressure), rel=1e-5
                )
                wet = known.GetTWetBulbFromHumRatio(celsius, ratio, pressure)
                if wet > 0.5:  # below, psychrolib has ice
                    found = moist_air.wet_bulb(kelvin, ratio, pressure) - K
                    assert found == pytest.approx(wet, abs=0.002)


def test_air_that_holds_more_than_it_can_has_no_wet_bulb() -> None:
    assert np.isnan(moist_air.wet_bulb(20 + K, 0.05))


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(2, 45), st.floats(0.1, 0.99), st.floats(70e3, 105e3))
def test_dew_point_wet_bulb_and_dry_bulb_lie_in_this_order(
    celsius: float, relative: float, pressure: float
) -> None:
    kelvin = celsius + K
    ratio = moist_air.humidity_ratio(kelvin, relative, pressure)
    dew = moist_air.dew_point(ratio, pressure)
    wet = moist_air.wet_bulb(kelvin, ratio, pressure)
    assert dew < kelvin
    assert np.isnan(wet) or dew < wet < kelvin
    assert moist_air.temperature_of(moist_air.enthalpy(kelvin, ratio), ratio) == pytest.approx(
        kelvin, abs=1e-9
    )
    wetter = moist_air.humidity_ratio(kelvin, relative * 1.005, pressure)
    assert wetter > ratio
    assert moist_air.specific_volume(kelvin, wetter, pressure) > moist_air.specific_volume(
        kelvin, ratio, pressure
    )
