"""Dry air against the standard atmosphere, another library and an equation of state."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import air

K = air.ZERO_CELSIUS
KELVIN = np.array([223.15, 250.0, 275.0, 300.0, 325.0, 350.0, 375.0, 400.0, 423.15])


@pytest.mark.parametrize(
    ("altitude", "density"), [(0, 1.2250), (1000, 1.11166), (1500, 1.05810), (2000, 1.00655)]
)
def test_density_of_the_standard_day(altitude: float, density: float) -> None:
    """U.S. Standard Atmosphere 1976."""
    found = air.density(air.standard_temperature(altitude), air.standard_pressure(altitude))
    assert found == pytest.approx(density, rel=1e-4)


def test_the_standard_atmosphere_is_that_of_another_library() -> None:
    """The library fluids, which has the U.S. Standard Atmosphere 1976 in its layers."""
    from fluids import ATMOSPHERE_1976

    for altitude in (-400.0, 0.0, 700.0, 2500.0, 4900.0):
        known = ATMOSPHERE_1976(altitude)
        assert air.standard_temperature(altitude) == pytest.approx(known.T, rel=1e-7)
        assert air.standard_pressure(altitude) == pytest.approx(known.P, rel=1e-5)
        assert air.viscosity(known.T) == pytest.approx(known.mu, rel=1e-6)
        assert air.conductivity(known.T) == pytest.approx(known.k, rel=1e-6)


def test_properties_stay_as_near_to_the_reference_equations_as_is_said() -> None:
    """Lemmon and others (2000, 2004), as CoolProp has them; see `air.AIR.spread`."""
    from CoolProp.CoolProp import PropsSI

    for key, function, within in (
        ("D", air.density, 0.002),
        ("V", air.viscosity, 0.011),
        ("L", air.conductivity, 0.02),
        ("C", air.specific_heat, 0.002),
    ):
        known = [PropsSI(key, "T", t, "P", air.STANDARD_PRESSURE, "Air") for t in KELVIN]
        np.testing.assert_allclose(function(KELVIN), known, rtol=within)


def test_ram_pressure() -> None:
    """ρ v²/2 by hand: 60 mph in 1.2 kg/m³ and 100 km/h in 1.225 kg/m³."""
    assert air.ram_pressure(60 * 0.44704, 1.2) == pytest.approx(431.66, abs=0.01)
    assert air.ram_pressure(100 / 3.6, 1.225) == pytest.approx(472.61, abs=0.01)
    assert air.ram_pressure(-10.0, 1.2) == -air.ram_pressure(10.0, 1.2)


def test_a_range_is_named_when_it_is_left() -> None:
    (said,) = air.AIR.outside(temperature=[300.0, 500.0], altitude=0.0)
    assert said.share == 0.5
    assert str(said).startswith("outside the range of dry air")
    assert "temperature 500 K, tested from 223.15 to 423.15 K" in str(said)
    assert air.AIR.outside(temperature=300.0) == ()
    (nothing,) = air.AIR.outside(altitude=np.nan)
    assert nothing.share == 1.0


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(-400, 4900), st.floats(230, 420), st.floats(1.0, 60.0))
def test_higher_and_hotter_air_is_thinner(altitude: float, kelvin: float, more: float) -> None:
    here, there = air.standard_pressure([altitude, altitude + more])
    assert there < here
    assert air.density(kelvin + more, here) < air.density(kelvin, here)
    assert air.viscosity(kelvin + more) > air.viscosity(kelvin)


def test_importing_the_physics_of_air_and_heat_loads_no_property_library() -> None:
    modules = (
        "air", "moist_air", "louvers", "plain_fins", "fin_cores", "stock_cores", "exchangers",
        "tube_side", "condensers", "evaporators", "compressors", "vapour_cycle", "loops", "charge",
        "refrigerant", "fans", "fan_blades", "openings", "lines", "wires", "coolant",
    )  # fmt: skip
    code = (
        "import importlib, sys\n"
        f"for one in {modules!r}: importlib.import_module('noseroom.physics.' + one)\n"
        "heavy = {'CoolProp', 'fluids', 'ht', 'psychrolib', 'scipy', 'cadquery', 'trimesh'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
