"""Refrigerants against printed tables, a maker's bulletin and the equations of state."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.errors import MissingLibraryError
from noseroom.physics.air import ZERO_CELSIUS as K
from noseroom.physics.charge import mass_in_volume
from noseroom.physics.property_tables import kept_tables
from noseroom.physics.refrigerant import Refrigerant, refrigerant
from noseroom.physics.refrigerant_tables import KNOWN, tables_of
from noseroom.tables.heat import refrigerants

FLUID = refrigerant("R134a")


def test_saturation_of_r134a() -> None:
    """Tillner-Roth and Baehr (1994)."""
    celsius = np.array([30.0, 40.0, 50.0, 60.0, 70.0])
    pressure = FLUID.saturation_pressure(celsius + K)
    known = np.array([770.20, 1016.59, 1317.91, 1681.78, 2116.83]) * 1e3
    np.testing.assert_allclose(pressure, known, rtol=5e-4)
    latent = np.array([173.10, 163.02, 151.81, 139.13, 124.37]) * 1e3
    np.testing.assert_allclose(FLUID.latent_heat(known), latent, rtol=1e-3)


def test_densities_of_r134a() -> None:
    """Tillner-Roth and Baehr (1994)."""
    liquid = FLUID.liquid_density(FLUID.saturation_pressure(np.array([20.0, 40.0, 50.0]) + K))
    np.testing.assert_allclose(liquid, [1225.33, 1146.74, 1102.31], rtol=5e-4)
    vapour = FLUID.vapour_density(FLUID.saturation_pressure(np.array([0.0, 5.0, 50.0]) + K))
    np.testing.assert_allclose(vapour, [14.428, 17.131, 66.272], rtol=5e-4)


@pytest.mark.parametrize(
    ("bar", "celsius", "latent", "volume"),
    [
        (5, 15.68, 186.0, 0.0413),
        (8, 31.35, 172.1, 0.0257),
        (10, 39.41, 164.0, 0.0204),
        (12, 46.36, 156.4, 0.01672),
    ],
)
def test_a_printed_table(bar: float, celsius: float, latent: float, volume: float) -> None:
    """Mechanical Engineers' Handbook, vol. 4 (2006), table 14; of an older equation of state."""
    pressure = bar * 1e5
    assert FLUID.saturation_temperature(pressure) - K == pytest.approx(celsius, abs=0.06)
    assert FLUID.latent_heat(pressure) / 1e3 == pytest.approx(latent, abs=0.4)
    assert 1 / FLUID.vapour_density(pressure) == pytest.approx(volume, rel=5e-3)


def test_constants_of_r134a() -> None:
    """A refrigerant maker's SI property bulletin: 102.03, -26.06 °C, 101.08 °C, 4060.3 kPa."""
    assert FLUID.molar_mass * 1e3 == pytest.approx(102.03, abs=0.01)
    assert FLUID.saturation_temperature(101325.0) - K == pytest.approx(-26.06, abs=0.02)
    assert FLUID.critical_temperature - K == pytest.approx(101.08, abs=0.03)
    assert FLUID.critical_pressure == pytest.approx(4060.3e3, rel=5e-4)


def test_superheated_vapour_of_r134a() -> None:
    """Volumes of an online superheat table at 0.14 MPa, right within 0.4 % (its h is not)."""
    enthalpy = FLUID.superheated_enthalpy(140e3, np.array([-10.0, 20.0, 50.0]) + K)
    volume = 1 / FLUID.superheated_density(140e3, enthalpy)
    np.testing.assert_allclose(volume, [0.14549, 0.16520, 0.18404], rtol=4e-3)


@pytest.mark.parametrize("name", list(KNOWN))
def test_the_tables_are_as_near_to_the_equation_of_state_as_is_said(name: str) -> None:
    """CoolProp itself at 400 states all over the range; see `Refrigerant.correlation.spread`."""
    from CoolProp import CoolProp

    fluid, known = refrigerant(name), CoolProp.AbstractState("HEOS", name)
    rng = np.random.default_rng(134)
    pressure = np.exp(rng.uniform(*np.log(fluid.range), 400))
    above, below = rng.uniform(0.1, 75.0, 400), rng.uniform(0.1, 44.0, 400)
    gas, liquid = [], []
    for p, more, less in zip(pressure, above, below, strict=True):
        known.update(CoolProp.PQ_INPUTS, p, 1.0)
        boiling = known.T()
        known.update(CoolProp.PT_INPUTS, p, boiling + more)
        gas.append((known.T(), known.hmass(), known.rhomass(), known.smass()))
        known.update(CoolProp.PT_INPUTS, p, boiling - less)
        liquid.append((known.T(), known.hmass()))
    kelvin, enthalpy, density, entropy = np.transpose(gas)
    inside = enthalpy - fluid.vapour_enthalpy(pressure) < 149e3
    asked = pressure[inside], enthalpy[inside]
    np.testing.assert_allclose(fluid.vapour_temperature(*asked), kelvin[inside], atol=0.01)
    np.testing.assert_allclose(fluid.superheated_density(*asked), density[inside], rtol=5e-4)
    np.testing.assert_allclose(fluid.superheated_entropy(*asked), entropy[inside], atol=0.1)
    np.testing.assert_allclose(fluid.superheated_enthalpy(pressure, kelvin), enthalpy, atol=40.0)
    back = fluid.isentropic_enthalpy(pressure[inside], entropy[inside])
    np.testing.assert_allclose(back, enthalpy[inside], atol=40.0)
    kelvin, enthalpy = np.transpose(liquid)
    np.testing.assert_allclose(fluid.subcooled_enthalpy(pressure, kelvin), enthalpy, atol=40.0)


@pytest.mark.parametrize("name", list(KNOWN))
def test_saturated_properties_follow_the_equation_of_state(name: str) -> None:
    """CoolProp; transport properties to half a per cent."""
    from CoolProp.CoolProp import PropsSI

    fluid = refrigerant(name)
    pressure = np.array([0.11e6, 0.35e6, 0.9e6, 1.6e6, 2.6e6])
    for phase, quality in (("liquid", 0), ("vapour", 1)):
        for what, key, within in (
            ("density", "D", 5e-4),
            ("viscosity", "V", 5e-3),
            ("conductivity", "L", 5e-3),
            ("specific_heat", "C", 5e-3),
        ):
            known = [PropsSI(key, "P", p, "Q", quality, name) for p in pressure]
            found = getattr(fluid, f"{phase}_{what}")(pressure)
            np.testing.assert_allclose(found, known, rtol=within)


def test_what_the_tables_do_not_hold_has_no_answer() -> None:
    low, high = FLUID.range
    assert np.isnan(FLUID.saturation_temperature([low * 0.99, high * 1.01, -1.0])).all()
    assert np.isnan(FLUID.saturation_pressure([100.0, 374.0])).all()
    wet = float(FLUID.vapour_enthalpy(1e6)) - 1e3
    assert np.isnan(FLUID.vapour_temperature(1e6, wet))
    assert np.isnan(FLUID.superheated_enthalpy(1e6, 300.0))
    assert np.isnan(FLUID.subcooled_enthalpy(1e6, 320.0))
    (said,) = FLUID.correlation.outside(pressure=5e6)
    assert "there is no answer" in str(said)


def test_other_refrigerants_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="found refrigerant 'R12'; expected one of R134a, R1234yf"):
        refrigerant("R12")
    for row in refrigerants().values():
        assert row.caution
        assert not row.model or row.model in KNOWN
    assert "Certified people recover it" in refrigerants()["R-12"].caution


def test_the_cut_out_lies_below_the_relief_valve_and_inside_the_tables() -> None:
    """OEM service manuals: compressor off at 3036 kPa, relief from 3103 kPa, gauge."""
    row = refrigerants()["R-134a"]
    assert row.cut_out_low_kpa is not None
    assert row.cut_out_high_kpa is not None
    assert row.cut_out_low_kpa < 3036 < row.cut_out_high_kpa
    assert row.relief_kpa == 3103
    assert FLUID.range[1] > (row.cut_out_high_kpa + 101.3) * 1e3


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(70e3, 3.0e6), st.floats(0.5, 60.0), st.sampled_from(list(KNOWN)))
def test_states_behave_as_matter_does(pressure: float, superheat: float, name: str) -> None:
    fluid = refrigerant(name)
    higher = pressure * 1.01
    assert fluid.saturation_temperature(higher) > fluid.saturation_temperature(pressure)
    assert fluid.latent_heat(higher) < fluid.latent_heat(pressure)
    kelvin = float(fluid.saturation_temperature(pressure)) + superheat
    enthalpy = fluid.superheated_enthalpy(pressure, [kelvin, kelvin + 0.5])
    assert enthalpy[1] > enthalpy[0]
    assert fluid.vapour_temperature(pressure, enthalpy[0]) == pytest.approx(kelvin, abs=0.03)
    density = fluid.superheated_density(pressure, enthalpy)
    assert density[1] < density[0] < fluid.vapour_density(pressure)
    entropy = fluid.superheated_entropy(pressure, enthalpy[0])
    assert fluid.isentropic_enthalpy(pressure, entropy) == pytest.approx(enthalpy[0], abs=20.0)


# -- charge ---------------------------------------------------------------------------------------


def test_charge_of_a_volume() -> None:
    """1.0 L, four fifths of it liquid, at 20, 40 and 50 °C: by densities of both phases."""
    found = mass_in_volume(FLUID, 1e-3, 0.8, np.array([20.0, 40.0, 50.0]) + K)
    np.testing.assert_allclose(found, [0.986, 0.927, 0.895], atol=6e-4)


# -- what is kept on disk -------------------------------------------------------------------------


def test_tables_are_kept_and_read_back_to_the_bit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NOSEROOM_CACHE", str(tmp_path))
    first, second = tables_of("R134a"), tables_of("R134a")
    monkeypatch.setenv("NOSEROOM_CACHE", "none")
    fresh = tables_of("R134a")
    for key in fresh.saturated:
        assert np.array_equal(first.saturated[key], second.saturated[key])
        assert np.array_equal(first.saturated[key], fresh.saturated[key])
    for key in fresh.aside:
        assert np.array_equal(second.aside[key], fresh.aside[key])
    assert second.numbers == fresh.numbers


def test_a_second_run_needs_no_equation_of_state(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom noseroom.physics.refrigerant import refrigerant\n"
        "print(float(refrigerant('R134a').saturation_temperature(1e6)), 'CoolProp' in sys.modules)"
    )
    ran = [
        subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            env={"NOSEROOM_CACHE": str(tmp_path), "PATH": ""},
        ).stdout.split()
        for _ in range(2)
    ]
    assert [loaded for _, loaded in ran] == ["True", "False"]
    assert ran[0][0] == ran[1][0]


def test_what_is_not_whole_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOSEROOM_CACHE", str(tmp_path))
    made = []

    def make(names: tuple[str, ...]) -> dict[str, np.ndarray]:
        made.append(names)
        return {name: np.arange(3.0) for name in names}

    kept_tables("a", ("x",), lambda: make(("x",)))
    kept_tables("a", ("x",), lambda: make(("x",)))
    assert len(made) == 1
    found = kept_tables("a", ("x", "y"), lambda: make(("x", "y")))
    assert len(made) == 2
    assert found["y"].tolist() == [0.0, 1.0, 2.0]


def test_a_missing_library_is_named_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOSEROOM_CACHE", "none")
    monkeypatch.setitem(sys.modules, "CoolProp", None)
    with pytest.raises(MissingLibraryError, match="pip install CoolProp"):
        tables_of("R134a")


def test_all_draws_at_once_are_as_one_after_the_other() -> None:
    pressure = np.array([[0.2e6, 0.4e6], [1.5e6, 9e6]])
    together = FLUID.saturation(pressure)
    assert isinstance(FLUID, Refrigerant)
    for index in np.ndindex(pressure.shape):
        alone = FLUID.saturation_temperature(float(pressure[index]))
        assert np.array_equal(together.temperature[index], alone, equal_nan=True)
