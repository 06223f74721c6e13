"""Coolant: when it boils, by what the trade prints, and a printed table of its density."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.air import ZERO_CELSIUS as K
from noseroom.physics.coolant import (
    BOILING,
    BOILING_TOO_HIGH_K,
    COOLANT,
    boiling_point,
    coolant,
)

PSI = 6894.757
ATMOSPHERE = 101325.0
# ASHRAE Handbook Fundamentals, densities of aqueous ethylene glycol as an installer's manual
# reprints them, lb/ft³ by °F; columns from 0 to 60 % of volume.
DENSITY = {
    100: (62.00, 62.93, 63.93, 64.86, 65.73, 66.55, 67.32),
    150: (61.20, 62.11, 63.06, 63.95, 64.76, 65.53, 66.25),
    200: (60.13, 61.06, 61.95, 62.79, 63.56, 64.27, 64.93),
    230: (None, 60.31, 61.18, 61.99, 62.72, 63.40, 64.03),
    250: (None, 59.77, 60.62, 61.40, 62.12, 62.78, 63.39),
}


def fahrenheit(kelvin: float) -> float:
    return (kelvin - K) * 1.8 + 32.0


def test_water_boils_where_it_does() -> None:
    """212 °F in the open; 249.7 °F under 15 psi (steam tables: 120.9 °C at 204.7 kPa)."""
    assert fahrenheit(float(boiling_point(0.0, ATMOSPHERE))) == pytest.approx(212.0, abs=0.1)
    assert boiling_point(0.0, ATMOSPHERE + 15 * PSI) - K == pytest.approx(120.9, abs=0.1)


@pytest.mark.parametrize(
    ("share", "psi", "low", "high"), [(0.5, 0, 223, 226), (0.5, 15, 265, 268), (0.7, 15, 276, 276)]
)
def test_mixtures_boil_near_what_the_trade_prints(
    share: float, psi: float, low: float, high: float
) -> None:
    """Articles of the trade: half and half 223 to 226 °F open and 265 to 268 °F under 15 psi."""
    found = fahrenheit(float(boiling_point(share, ATMOSPHERE + psi * PSI)))
    assert low - 1.0 <= found <= high + BOILING_TOO_HIGH_K * 1.8
    assert found - BOILING_TOO_HIGH_K * 1.8 <= low
    assert "lower" in BOILING.spread


@pytest.mark.parametrize("degrees", list(DENSITY))
def test_density_of_a_printed_table(degrees: float) -> None:
    """Also above 100 °C, where the tables are carried on."""
    kelvin = (degrees - 32) / 1.8 + K
    for k, known in enumerate(DENSITY[degrees]):
        if known is not None:
            found = coolant().density(k / 10, kelvin) / 16.018463
            assert found == pytest.approx(known, rel=0.0035)


def test_specific_heat_and_the_rest() -> None:
    """Half and half 0.82 Btu/(lb °F) (a car maker's service text); water of 80 °C: steam tables."""
    made = coolant()
    assert made.specific_heat(0.5, 70 + K) / 4186.8 == pytest.approx(0.82, abs=0.02)
    assert made.specific_heat(0.0, 80 + K) == pytest.approx(4197, rel=3e-3)
    assert made.conductivity(0.0, 80 + K) == pytest.approx(0.670, rel=0.01)
    assert made.viscosity(0.0, 80 + K) == pytest.approx(0.354e-3, rel=0.02)
    assert made.prandtl(0.0, 80 + K) == pytest.approx(2.22, rel=0.03)


def test_hotter_than_the_tables_is_said() -> None:
    (said,) = COOLANT.outside(glycol=0.5, temperature=390.0)
    assert "carried on along their slope" in str(said)
    near = coolant().viscosity(0.5, np.array([372.0, 374.0, 376.0, 390.0]))
    assert (np.diff(np.log(near)) < 0).all()


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(0.0, 0.68), st.floats(65e3, 300e3))
def test_more_glycol_and_more_pressure_boil_later(share: float, pressure: float) -> None:
    here = boiling_point(share, pressure)
    assert boiling_point(share + 0.02, pressure) > here
    assert boiling_point(share, pressure * 1.01) > here


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.floats(0.0, 0.58), st.floats(285.0, 390.0))
def test_glycol_makes_coolant_heavier_thicker_and_worse_at_carrying_heat(
    share: float, kelvin: float
) -> None:
    made, more = coolant(), share + 0.02
    assert made.viscosity(more, kelvin) > made.viscosity(share, kelvin)
    assert made.conductivity(more, kelvin) < made.conductivity(share, kelvin)
    assert made.density(more, kelvin) > made.density(share, kelvin)
    assert made.density(share, kelvin + 1.0) < made.density(share, kelvin)
