"""Wires and fuses against ASTM B258, copper tables and IEC 60028."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import wires
from noseroom.tables.circuits import fuses, loads, wire_sizes
from noseroom.tables.heat import bands

GAUGES = np.array([10, 12, 14, 16, 18])
FOOT = 0.3048
SIZES = {key: (one.sae_mm2 * 1e-6, one.amps) for key, one in wire_sizes().items()}


def test_diameters() -> None:
    """ASTM B258."""
    found = wires.awg_diameter(GAUGES) * 1e3
    np.testing.assert_allclose(found, [2.588, 2.053, 1.628, 1.291, 1.024], rtol=1e-3)


def test_resistances() -> None:
    """Copper wire tables at 20 °C, Ω per 1000 ft; 10 AWG from memory."""
    found = wires.copper_resistance(wires.awg_area(GAUGES)) * 1000 * FOOT
    np.testing.assert_allclose(found, [0.9989, 1.588, 2.525, 4.016, 6.385], rtol=1e-3)


def test_rules_of_the_gauge() -> None:
    """Three gauges thinner is twice the resistance, ten gauges ten times: exactly 2.005, 10.16."""
    here = wires.copper_resistance(wires.awg_area(12.0))
    assert wires.copper_resistance(wires.awg_area(15.0)) / here == pytest.approx(2.0050, rel=1e-4)
    assert wires.copper_resistance(wires.awg_area(22.0)) / here == pytest.approx(10.16, rel=1e-3)


def test_voltage_drop() -> None:
    """20 A through 6 m of 12 AWG, there and back, at 20 °C: 0.6253 V."""
    assert wires.voltage_drop(20.0, 6.0, wires.awg_area(12)) == pytest.approx(0.6253, rel=1e-3)


def test_hot_copper_loses_a_fifth_more() -> None:
    """IEC 60028: 0.393 % a degree from 20 °C on: 1.1965 at 70 °C."""
    ratio = wires.resistivity_of_copper(70.0) / wires.resistivity_of_copper(20.0)
    assert ratio == pytest.approx(1.1965, abs=1e-4)


def test_automotive_wire_is_thinner_than_its_number() -> None:
    """SAE J1128 (areas from memory) against ASTM B258: 12 SAE is about 11 % less than 12 AWG."""
    for gauge, one in wire_sizes().items():
        assert one.sae_mm2 < float(wires.awg_area(gauge)) * 1e6
    assert wire_sizes()[12].sae_mm2 / (float(wires.awg_area(12)) * 1e6) == pytest.approx(
        0.89, abs=0.015
    )


def test_the_thinnest_wire_that_does() -> None:
    """By hand: 20 A, 6 m, 70 °C, at most 0.6 V asks for 4.13 mm² or more: 10 gauge, 4.65 mm²."""
    least = 20 * 6 * float(wires.resistivity_of_copper(70.0)) / 0.6
    assert least * 1e6 == pytest.approx(4.13, abs=0.01)
    found = wires.wire_for(20.0, 6.0, SIZES, most_drop_v=0.6, celsius=70.0)
    assert found == 10
    assert wires.wire_for(20.0, 1.0, SIZES, most_drop_v=0.6, celsius=70.0) == 14
    assert wires.wire_for(90.0, 1.0, SIZES, most_drop_v=9.0, celsius=70.0) is None


def test_the_fuse_bears_the_load_and_the_wire_bears_the_fuse() -> None:
    """SAE J1284 and J554 from memory: 1.25 to 1.35 times a load that stays on, within its wire."""
    rule = loads()["fuse over load"]
    over = (rule.low, rule.high)
    assert over == (1.25, 1.35)
    assert wires.fuse_for(15.0, fuses(), 20.0, over) == 20.0
    assert wires.fuse_for(16.0, fuses(), 20.0, over) == 20.0
    assert wires.fuse_for(17.0, fuses(), 20.0, over) is None
    assert wires.fuse_for(3.5, fuses(), 10.0, over) == 5.0


def test_every_wire_can_be_fused() -> None:
    for one in wire_sizes().values():
        assert any(rating <= one.amps for rating in fuses())


def test_what_the_alternator_takes() -> None:
    """40 A at 13.8 V through 55 %: 552 W over 0.55."""
    assert wires.alternator_shaft_power(40.0, 0.55) == pytest.approx(1003.6, abs=0.1)


def test_every_figure_is_a_band_with_a_source() -> None:
    for one in (*loads().values(), *bands().values()):
        assert one.low < one.usual < one.high
        assert one.source.startswith(("common practice", "from memory"))
        assert one.meaning


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(0.5, 60.0), st.floats(0.3, 12.0), st.floats(0.2, 1.0))
def test_a_wire_that_is_chosen_keeps_its_promises(amps: float, loop: float, most: float) -> None:
    found = wires.wire_for(amps, loop, SIZES, most_drop_v=most, celsius=85.0)
    fits = {
        gauge
        for gauge, (area, limit) in SIZES.items()
        if amps <= limit and wires.voltage_drop(amps, loop, area, 85.0) <= most
    }
    assert found == (max(fits) if fits else None)
