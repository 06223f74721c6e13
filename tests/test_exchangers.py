"""Effectiveness against printed examples, the exact series' table and another library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import exchangers
from noseroom.physics.condensers import zones_of_condenser
from noseroom.physics.refrigerant import refrigerant
from noseroom.physics.refrigerant_side import refrigerant_side
from noseroom.physics.tube_side import (
    SHAH_1979,
    condensing_coefficient_shah,
    friction_konakov,
    nusselt_dittus_boelter,
    nusselt_gnielinski,
    nusselt_in_tubes,
    overall,
)

# NTU .5 1 2 3 5, by the Nusselt and Mason series; worked out in two ways.
EXACT = {
    0.25: (0.3751, 0.5880, 0.7974, 0.8885, 0.9591),
    0.5: (0.3578, 0.5475, 0.7324, 0.8197, 0.9017),
    0.75: (0.3416, 0.5103, 0.6711, 0.7494, 0.8293),
    1.0: (0.3263, 0.4762, 0.6142, 0.6813, 0.7509),
}


@pytest.mark.parametrize("ratio", list(EXACT))
def test_crossflow_unmixed_by_its_exact_series(ratio: float) -> None:
    found = exchangers.crossflow_unmixed([0.5, 1, 2, 3, 5], ratio)
    np.testing.assert_allclose(found, EXACT[ratio], atol=6e-5)


def test_what_books_print_instead_of_the_series_is_off_by_a_per_cent() -> None:
    """An equation-solver library's help, both unmixed, example 1: UA 75, C 50 and 30 W/K: 0.7632.

    The exact series gives 0.755718.
    """
    asked = (75.0 / 30.0, 30.0 / 50.0)
    assert exchangers.crossflow_unmixed_approximate(*asked) == pytest.approx(0.7632, abs=1e-4)
    assert exchangers.crossflow_unmixed(*asked) == pytest.approx(0.755718, abs=1e-6)
    assert exchangers.effectiveness("unmixed", 75.0, 50.0, 30.0) == pytest.approx(
        0.755718, abs=1e-6
    )


def test_how_far_the_closed_form_is_off_is_what_the_module_says() -> None:
    ntu, ratio = np.meshgrid(np.linspace(0.05, 8, 120), np.linspace(0.02, 1, 50))
    off = exchangers.crossflow_unmixed_approximate(ntu, ratio)
    off = off / exchangers.crossflow_unmixed(ntu, ratio) - 1
    assert off.max() == pytest.approx(0.011, abs=0.0005)
    assert off.min() == pytest.approx(-0.038, abs=0.0005)


def test_crossflow_mixed() -> None:
    """The same help, both mixed, examples 1 and 2."""
    assert exchangers.mixed(2.5, 0.6) == pytest.approx(0.6841, abs=1e-4)
    found = exchangers.ntu_of("mixed", 0.61, 0.6)
    assert found == pytest.approx(1.478, abs=1e-3)
    assert found * 30.0 == pytest.approx(44.33, abs=0.01)


def test_crossflow_unmixed_turned_round() -> None:
    """The same help, both unmixed, example 2: 1.341 by the closed form, 1.34173 by the series."""
    found = exchangers.ntu_of("unmixed", 0.61, 0.6)
    assert found == pytest.approx(1.34173, abs=1e-5)
    assert exchangers.crossflow_unmixed_approximate(1.34095, 0.6) == pytest.approx(0.61, abs=1e-5)


def test_an_effectiveness_that_nothing_reaches_has_no_ntu() -> None:
    assert np.isnan(exchangers.ntu_of("mixed", 0.99, 0.6))
    assert np.isnan(exchangers.ntu_of("counterflow", [1.2, 0.5], 0.5)).tolist() == [True, False]


def test_a_stream_that_condenses() -> None:
    """1 - exp(-NTU), and the limit of all others as the ratio goes to nothing."""
    ntu = np.array([0.5, 1.0, 2.0])
    np.testing.assert_allclose(
        exchangers.condensing(ntu), [0.393469, 0.632121, 0.864665], atol=1e-6
    )
    for one in exchangers._FORMULAS.values():
        np.testing.assert_allclose(one(ntu, 0.0), exchangers.condensing(ntu), atol=1e-9)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (exchangers.crossflow_unmixed, "crossflow"),
        (exchangers.crossflow_unmixed_approximate, "crossflow approximate"),
        (exchangers.lesser_mixed, "crossflow, mixed Cmin"),
        (exchangers.greater_mixed, "crossflow, mixed Cmax"),
        (exchangers.counterflow, "counterflow"),
    ],
)
def test_all_arrangements_are_those_of_another_library(ours, theirs) -> None:  # type: ignore[no-untyped-def]
    """The library ht."""
    from ht import effectiveness_from_NTU

    rng = np.random.default_rng(8)
    ntu, ratio = rng.uniform(0.02, 12, 40), rng.uniform(0.01, 1, 40)
    known = [effectiveness_from_NTU(n, c, subtype=theirs) for n, c in zip(ntu, ratio, strict=True)]
    np.testing.assert_allclose(ours(ntu, ratio), known, rtol=1e-9)


def test_counterflow_of_even_streams() -> None:
    """NTU / (1 + NTU); W. M. Kays, A. L. London, Compact Heat Exchangers."""
    assert exchangers.counterflow(3.0, 1.0) == pytest.approx(0.75, abs=1e-12)
    assert exchangers.counterflow(3.0, 1.0 - 1e-7) == pytest.approx(0.75, abs=1e-6)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(0.01, 20), st.floats(0.01, 1.0))
def test_counterflow_is_best_and_all_stay_within_what_heat_allows(ntu: float, ratio: float) -> None:
    best = exchangers.counterflow(ntu, ratio)
    for name in ("unmixed", "lesser mixed", "greater mixed", "mixed"):
        one = exchangers._FORMULAS[name](ntu, ratio)
        assert 0.0 < one <= best + 1e-12 <= 1.0 + 1e-12
    more = exchangers.crossflow_unmixed(ntu * 1.05, ratio)
    assert more >= exchangers.crossflow_unmixed(ntu, ratio) - 1e-13
    assert exchangers.mixed(ntu, ratio) <= exchangers.crossflow_unmixed(ntu, ratio) + 1e-12


# -- tubes ----------------------------------------------------------------------------------------


def test_turbulent_tubes_are_those_of_another_library() -> None:
    """The library ht: V. Gnielinski (1976), Dittus and Boelter."""
    from ht import turbulent_Dittus_Boelter, turbulent_Gnielinski

    for re in (5e3, 3e4, 4e5):
        for prandtl in (0.7, 3.0, 12.0):
            known = turbulent_Gnielinski(re, prandtl, float(friction_konakov(re)))
            assert nusselt_gnielinski(re, prandtl) == pytest.approx(known)
            # Revised: with McAdams's 0.023 in place of the authors' 0.0243.
            known = turbulent_Dittus_Boelter(re, prandtl, revised=True, heating=True)
            assert nusselt_dittus_boelter(re, prandtl) == pytest.approx(known, rel=1e-9)


def test_heat_in_tubes_never_falls_with_flow() -> None:
    found = nusselt_in_tubes(np.geomspace(100, 1e5, 400), 4.0, 4.36)
    assert (np.diff(found) >= 0).all()
    assert found[0] == 4.36


def test_condensing_over_a_tube_is_the_mean_of_the_local_form() -> None:
    """M. M. Shah (1979) as the library ht has it, locally, averaged by the middle of 400 steps."""
    from ht import Shah

    given_ = {"m": 0.012, "D": 0.008, "rhol": 1102.0, "mul": 1.42e-4, "kl": 0.07, "Cpl": 1570.0}
    steps = (np.arange(400) + 0.5) / 400
    known = np.mean([Shah(x=x, P=1.318e6, Pc=4.0593e6, **given_) for x in steps])
    re = 4 * given_["m"] / (np.pi * given_["D"] * given_["mul"])
    prandtl = given_["mul"] * given_["Cpl"] / given_["kl"]
    liquid = nusselt_dittus_boelter(re, prandtl) * given_["kl"] / given_["D"]
    found = condensing_coefficient_shah(liquid, 1.318 / 4.0593)
    assert found == pytest.approx(known, rel=2e-3)
    (said,) = SHAH_1979.outside(diameter=0.002)
    assert "film condensation" in str(said)


def test_two_resistances_behind_one_another() -> None:
    assert overall(100.0, 100.0) == pytest.approx(50.0)
    assert overall(100.0, 1e12) == pytest.approx(100.0)


def test_the_inside_of_a_condenser_is_that_of_another_library() -> None:
    """The library ht at 50 °C: Gnielinski for gas and liquid, Shah's local form averaged."""
    from CoolProp.CoolProp import PropsSI
    from ht import Shah, turbulent_Gnielinski

    fluid, kelvin, diameter, flow = refrigerant("R134a"), 323.15, 0.0085, 0.04
    pressure = float(fluid.saturation_pressure(kelvin))
    passage = np.pi / 4 * diameter**2
    found = refrigerant_side(
        fluid, pressure, flow, diameter=diameter, passage_m2=passage, wetted=2.0
    )
    assert found.remarks == ()
    for quality, given_ in ((1, found.gas), (0, found.liquid)):
        eta, lam, cp = (PropsSI(k, "T", kelvin, "Q", quality, "R134a") for k in "VLC")
        re = flow / passage * diameter / eta
        nusselt = turbulent_Gnielinski(re, eta * cp / lam, float(friction_konakov(re)))
        assert given_ == pytest.approx(2.0 * nusselt * lam / diameter, rel=5e-3)
    steps = (np.arange(400) + 0.5) / 400
    rho = PropsSI("D", "T", kelvin, "Q", 0, "R134a")
    known = [
        Shah(m=flow, x=x, D=diameter, rhol=rho, mul=eta, kl=lam, Cpl=cp, P=pressure, Pc=4059280.0)
        for x in steps
    ]
    assert found.condensing == pytest.approx(2.0 * np.mean(known), rel=5e-3)
    assert found.condensing > 2 * found.liquid
    (said,) = refrigerant_side(
        fluid, pressure, flow, diameter=0.0012, passage_m2=passage, wetted=2.0
    ).remarks
    assert "film condensation" in str(said)
    assert "diameter 0.0012 m" in str(said)


# -- condenser ------------------------------------------------------------------------------------

ZONES = {
    "flow": 0.03,
    "air_k": 310.0,
    "air_capacity": 2000.0,
    "conductance": (1500.0, 2500.0, 1500.0),
    "temperatures_k": (360.0, 330.0, 322.0),
    "enthalpies": (455e3, 425e3, 285e3, 272e3),
}


def test_the_zones_of_a_condenser_follow_from_marching_along_it() -> None:
    """Refrigerant is followed in small steps against strips of air, by hand, zone by zone."""
    zones = zones_of_condenser(**ZONES)
    enthalpies = ZONES["enthalpies"]
    faces = (zones.gas_m2, zones.condensing_m2, zones.liquid_m2)
    for k, face in enumerate(faces):
        steps = 4000
        taken = 2000.0 * -np.expm1(-ZONES["conductance"][k] / 2000.0)
        lost = ZONES["flow"] * (enthalpies[k] - enthalpies[k + 1])
        start, fall = ((360.0, 30.0), (330.0, 0.0), (330.0, 8.0))[k]
        heat = 0.0
        for _ in range(steps):
            kelvin = start - fall * heat / lost
            heat += float(face) / steps * taken * (kelvin - 310.0)
        assert heat == pytest.approx(lost, rel=1e-3)
    assert zones.heat_w == pytest.approx(0.03 * (455e3 - 272e3), rel=1e-12)


def test_a_condenser_cannot_give_off_heat_to_air_that_is_warmer() -> None:
    assert np.isinf(zones_of_condenser(**{**ZONES, "air_k": 331.0}).face_m2)
    assert np.isinf(zones_of_condenser(**{**ZONES, "air_k": 325.0}).liquid_m2)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(250, 320), st.floats(200, 9000), st.floats(0.005, 0.2))
def test_warmer_or_less_air_asks_for_more_face(air_k: float, capacity: float, flow: float) -> None:
    given_ = {**ZONES, "air_k": air_k, "air_capacity": capacity, "flow": flow}
    least = zones_of_condenser(**given_).face_m2
    assert zones_of_condenser(**{**given_, "air_k": air_k + 1.0}).face_m2 > least
    assert zones_of_condenser(**{**given_, "air_capacity": capacity * 0.9}).face_m2 > least
    assert zones_of_condenser(**{**given_, "flow": flow * 1.1}).face_m2 > least
