"""Refrigeration cycles of a textbook, and what compressor, coil and condenser agree on."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import moist_air
from noseroom.physics.air import ZERO_CELSIUS as K
from noseroom.physics.compressors import displaced_flow, volumetric_efficiency_of_clearance
from noseroom.physics.evaporators import coil_load
from noseroom.physics.loops import Balance, Loop, LoopState, balance, need_of_condenser
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import refrigerant
from noseroom.physics.vapour_cycle import cycle, isentropic_efficiency_of

FLUID = refrigerant("R134a")


def test_the_ideal_cycle() -> None:
    """Çengel and Boles, Thermodynamics, ex. 11-1 (title from memory): 0.14 and 0.8 MPa, 0.05 kg/s.

    QL 7.18, W 1.81, QH 9.00 kW, COP 3.97.
    """
    found = cycle(FLUID, evaporating=140e3, condensing=800e3)
    assert 0.05 * found.cooling / 1e3 == pytest.approx(7.18, rel=1e-3)
    assert 0.05 * found.work / 1e3 == pytest.approx(1.81, rel=1e-3)
    assert 0.05 * found.rejected / 1e3 == pytest.approx(9.00, rel=1e-3)
    assert found.performance == pytest.approx(3.97, rel=1e-3)


def test_the_actual_cycle() -> None:
    """The same, ex. 11-2: 0.14 MPa -10 °C to 0.8 MPa 50 °C, liquid 0.72 MPa 26 °C.

    QL 7.93, W 2.02 kW, efficiency 0.939, COP 3.93.
    """
    suction, discharge = (140e3, -10 + K), (800e3, 50 + K)
    first = FLUID.superheated_enthalpy(*suction)
    second = FLUID.superheated_enthalpy(*discharge)
    liquid = FLUID.subcooled_enthalpy(720e3, 26 + K)
    assert 0.05 * (first - liquid) / 1e3 == pytest.approx(7.93, rel=2e-3)
    assert 0.05 * (second - first) / 1e3 == pytest.approx(2.02, rel=2e-3)
    assert (first - liquid) / (second - first) == pytest.approx(3.93, rel=2e-3)
    assert isentropic_efficiency_of(FLUID, suction, discharge) == pytest.approx(0.939, rel=2e-3)


def test_expansion_leaves_a_share_of_vapour() -> None:
    """Ex. 11-1 by hand: the first law over the valve keeps h; x = (h - h_f) / h_fg at 0.14 MPa."""
    found = cycle(FLUID, evaporating=140e3, condensing=800e3)
    by_hand = FLUID.liquid_enthalpy(800e3) - FLUID.liquid_enthalpy(140e3)
    assert found.quality_in == pytest.approx(float(by_hand / FLUID.latent_heat(140e3)))


def test_what_a_cylinder_draws_in() -> None:
    """1 + c - c r^(1/n): by hand 1.05 - 0.05 × 8 = 0.65 at a ratio of 8 and n = 1."""
    assert volumetric_efficiency_of_clearance(8.0, 0.05, 1.0) == pytest.approx(0.65)
    assert volumetric_efficiency_of_clearance(1.0, 0.05) == 1.0
    assert volumetric_efficiency_of_clearance(1e6, 0.05) == 0.0
    # 160 cm³ at 1500 rpm is 4 L/s; two thirds of it at 15 kg/m³ 40 g/s.
    assert displaced_flow(160e-6, 1500.0, 2 / 3, 15.0) == pytest.approx(0.040)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(150e3, 450e3), st.floats(900e3, 3.0e6), st.floats(0.5, 1.0))
def test_energy_closes_and_a_higher_head_costs_more(
    low: float, high: float, efficiency: float
) -> None:
    asked = {"superheat_k": 5.0, "subcooling_k": 4.0, "isentropic_efficiency": efficiency}
    found = cycle(FLUID, evaporating=low, condensing=np.array([high, high * 1.02]), **asked)
    np.testing.assert_allclose(found.cooling + found.work, found.rejected, rtol=1e-12)
    assert found.work[1] > found.work[0] > 0
    assert found.cooling[1] < found.cooling[0]
    # Carnot: no cycle does better between the temperatures of its two saturated states.
    cold, warm = (FLUID.saturation_temperature(one) for one in (low, high))
    assert found.performance[0] < cold / (warm - cold)


# -- the coil -------------------------------------------------------------------------------------


def test_a_dry_coil_cools_and_a_wet_one_dries() -> None:
    """By hand: 0.1 kg/s, c_p 1006 + 1860 W; and enthalpies of ASHRAE's formulas for a wet one."""
    dry = coil_load(0.1, 303.15, 0.004, 278.15, 0.8)
    assert dry == pytest.approx(0.1 * 0.8 * (1006 + 1860 * 0.004) * 25.0, rel=1e-12)
    wet = coil_load(0.1, 303.15, 0.014, 278.15, 0.8)
    full = moist_air.enthalpy(278.15, moist_air.saturated_humidity_ratio(278.15))
    assert wet == pytest.approx(0.08 * float(moist_air.enthalpy(303.15, 0.014) - full), rel=1e-12)
    assert wet > 1.3 * dry
    assert coil_load(0.1, 303.15, 0.014, 305.0, 0.8) == 0.0


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(275, 302), st.floats(0.002, 0.02))
def test_a_colder_coil_never_takes_less(coil: float, ratio: float) -> None:
    loads = coil_load(0.1, 305.0, ratio, np.array([coil, coil + 0.3]), 0.8)
    assert loads[0] >= loads[1] >= 0


# -- the loop in balance --------------------------------------------------------------------------


def _load(flow: float | Floats = 0.11, ratio: float = 0.012) -> Callable[[Floats], Floats]:
    return lambda coil: coil_load(flow, 305.0, ratio, coil, 0.75)


def _need(
    air_k: float | Floats, air_flux: float | Floats, face: float = 0.22
) -> Callable[[LoopState], Floats]:
    """A condenser of known conductance, W/(m² K) of face, so that only the loop is on trial."""
    return need_of_condenser(
        FLUID,
        face,
        air_k=air_k,
        air_capacity=np.asarray(air_flux) * 1010.0,
        conductance=(1400.0, 2300.0, 1400.0),
    )


def _loop(rpm: float | Floats = 1200.0, **given_: float | Floats) -> Loop:
    usual: dict[str, float | Floats] = {
        "displacement_m3": 160e-6,
        "clearance": 0.05,
        "filling": 0.85,
        "isentropic_efficiency": 0.62,
        "superheat_k": 6.0,
        "subcooling_k": 5.0,
    }
    return Loop(fluid=FLUID, speed_rpm=rpm, **{**usual, **given_})


def _settle(
    air_k: float | Floats = 311.0, flux: float | Floats = 2.0, rpm: float | Floats = 1200.0
) -> Balance:
    return balance(_loop(rpm), _load(), _need(air_k, flux), least_condensing_k=air_k)


def test_everything_agrees_where_a_loop_settles() -> None:
    """First law and both exchangers' own equations, asked again of the answer, to 1e-6."""
    found = _settle()
    assert found.settled
    state = found.state
    assert state.rejected == pytest.approx(float(state.cooling + state.work), rel=1e-12)
    coil = FLUID.saturation_temperature(found.evaporating)
    assert state.cooling == pytest.approx(float(_load()(coil)), rel=1e-6)
    assert _need(311.0, 2.0)(state) == pytest.approx(1.0, rel=1e-6)
    assert found.duty == 1.0


def test_head_pressure_on_a_hot_day_lies_where_gauges_show_it() -> None:
    """Common practice: R-134a at 38 °C and idle shows 12 to 20 bar and 1.5 to 3.5 bar."""
    found = _settle()
    assert 12 < found.condensing / 1e5 - 1 < 20
    assert 1.5 < found.evaporating / 1e5 - 1 < 3.5


def test_a_strong_compressor_is_switched_off_in_between() -> None:
    found = _settle(rpm=4000.0)
    assert found.settled
    assert 0.1 < found.duty < 0.9
    assert FLUID.saturation_temperature(found.evaporating) == pytest.approx(273.15, abs=0.01)


def test_a_condenser_without_air_ends_in_no_number() -> None:
    found = _settle(flux=np.array([2.0, 0.15]))
    assert found.settled.tolist() == [True, False]
    assert found.above.tolist() == [False, True]
    assert np.isnan(found.condensing[1])
    assert np.isnan(found.state.rejected[1])


def test_a_coil_that_is_too_much_for_the_compressor_is_told() -> None:
    found = balance(
        _loop(300.0, displacement_m3=40e-6),
        _load(0.3, 0.02),
        _need(311.0, 2.0),
        least_condensing_k=311.0,
        most_k=290.0,
    )
    assert found.settled
    assert found.warm
    assert FLUID.saturation_temperature(found.evaporating) == pytest.approx(290.0, abs=1e-3)
    assert found.state.cooling < _load(0.3, 0.02)(np.asarray(290.0))
    assert not _settle().warm
    # So little heat that the condenser has face to spare: just above the air, with its subcooling.
    assert found.spare
    assert FLUID.saturation_temperature(found.condensing) == pytest.approx(316.05, abs=0.01)


@settings(derandomize=True, max_examples=25, deadline=None)
@given(st.floats(290.0, 318.0), st.floats(1.2, 6.0), st.floats(700.0, 2500.0))
def test_a_hotter_day_or_less_air_never_gives_less_head_pressure(
    air_k: float, flux: float, rpm: float
) -> None:
    found = _settle(
        np.array([air_k, air_k + 1.0, air_k]), np.array([flux, flux, flux * 0.95]), np.full(3, rpm)
    )
    head = found.condensing
    if found.settled[0]:
        assert not head[1] < head[0]
        assert not head[2] < head[0]
        gained = found.state.cooling + found.state.work - found.state.rejected
        np.testing.assert_allclose(gained[found.settled], 0.0, atol=1e-6)


def test_draws_settle_as_they_do_alone() -> None:
    together = _settle(np.array([300.0, 310.0, 316.0]), np.array([1.5, 2.5, 4.0]))
    for k, (air_k, flux) in enumerate([(300.0, 1.5), (310.0, 2.5), (316.0, 4.0)]):
        alone = _settle(air_k, flux)
        assert together.condensing[k] == pytest.approx(float(alone.condensing), rel=1e-6)
