"""Wires and fuses of an A/C: against every wire and fuse of the tables, and the trade's figures."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cooling_noses import FAN, KNOWN, PULLER, STACK, STRONG, nose
from noseroom.checks.condenser_choice_air import trials_of
from noseroom.checks.condenser_choice_words import currents_finding
from noseroom.checks.currents import CircuitView, CurrentsView, currents_of, wired
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.circuits import fuses, loads, wire_sizes

COPPER_70 = 1.7241e-8 * (1 + 0.00393 * 50)
"""Ω m at 70 °C (IEC 60028)."""


@cache
def found(*texts: str, draws: int = 48) -> CurrentsView:
    trials = trials_of(nose(*texts), draws=draws)
    assert trials is not None
    view = currents_of(trials)
    assert view is not None
    return view


def circuit(view: CurrentsView, name: str) -> CircuitView:
    return next(one for one in view.circuits if one.load == name)


# -- wire and fuse ------------------------------------------------------------------------------


def test_a_worked_wire() -> None:
    """By hand: 15 A, 4 m, 0.4 V ask for 3.09 mm²: 10 gauge, of 4.65; 18.75 A for a 20 A fuse."""
    least = 15 * 4 * COPPER_70 / 0.4 * 1e6
    assert least == pytest.approx(3.09, abs=0.01)
    assert wired(15, 4, 0.4) == (10, 20)


def test_a_wire_is_taken_thicker_for_its_fuse() -> None:
    """19 A are within 14 gauge's 20 A, but their fuse, of 25 A, is more than that wire bears."""
    assert wired(19, 0.5, 1.0) == (12, 25)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.floats(0.5, 70), st.floats(0.3, 10), st.floats(0.1, 1.0))
def test_no_thinner_wire_would_do(amps: float, loop: float, drop: float) -> None:
    """Every wire with every fuse, tried one after the other."""
    able = [
        (one.sae_mm2, gauge, fuse)
        for gauge, one in wire_sizes().items()
        for fuse in fuses()
        if one.amps >= amps
        and amps * loop * COPPER_70 / (one.sae_mm2 * 1e-6) <= drop
        and 1.25 * amps <= fuse <= one.amps
    ]
    if not able:
        assert wired(amps, loop, drop) == (None, None)
    else:
        area, gauge, _ = min(able)
        assert wired(amps, loop, drop) == (
            gauge,
            min(fuse for mm2, _, fuse in able if mm2 == area),
        )


def test_what_no_wire_carries_has_none() -> None:
    assert wired(65, 1, 1) == (None, None)


# -- circuits -----------------------------------------------------------------------------------


def test_every_load_has_a_circuit() -> None:
    view = found(PULLER, STRONG)
    assert [one.load for one in view.circuits] == ["compressor clutch", "blower", "puller"]
    engine_driven = found(FAN, KNOWN)
    assert [one.load for one in engine_driven.circuits] == ["compressor clutch", "blower"]


def test_loads_take_what_is_usual() -> None:
    """Common practice: clutch 2.5 to 4.5 A, blower 8 to 25 A, a 12 in fan 6 to 13 A."""
    view = found(PULLER, STRONG)
    for name, key in (
        ("compressor clutch", "compressor clutch"),
        ("blower", "blower"),
        ("puller", "fan 12 in"),
    ):
        row, one = loads()[key], circuit(view, name)
        assert one.amps.low == pytest.approx(row.low, rel=0.05)
        assert one.amps.middle == pytest.approx(row.usual, rel=0.05)
        assert one.amps.high == pytest.approx(row.high, rel=0.05)


def test_a_current_of_the_file_is_taken() -> None:
    view = found(PULLER, f"{KNOWN}  fans: {{puller: {{current: 21 A}}}}\n")
    one = circuit(view, "puller")
    assert one.amps.low == one.amps.high == 21.0
    assert one.source == "the file"
    assert one.usual.fuse_a == 30.0


def test_wires_bear_their_fuses_and_lose_no_more_than_they_may() -> None:
    for one in found(PULLER, STRONG).circuits:
        for wire in (one.usual, one.most):
            assert wire.gauge is not None
            assert wire.fuse_a is not None
            assert 1.25 * wire.amps <= wire.fuse_a <= wire_sizes()[wire.gauge].amps
            assert wire.drop_v <= wire.most_drop_v
            by_hand = wire.amps * wire.loop_m * COPPER_70 / (wire.mm2 * 1e-6)
            assert wire.drop_v == pytest.approx(by_hand, rel=1e-6)


def test_motors_start_hard_and_go_by_a_relay() -> None:
    """Common practice: at rest a few times the running current; a clutch goes by its switch."""
    view = found(PULLER, STRONG)
    assert circuit(view, "compressor clutch").start_a is None
    assert not circuit(view, "compressor clutch").relay
    for name in ("blower", "puller"):
        one = circuit(view, name)
        assert one.relay
        assert one.start_a is not None
        assert one.start_a.middle > 2 * one.amps.middle


def test_the_alternators_sum_is_that_of_its_loads() -> None:
    view = found(PULLER, STRONG, draws=1)
    total = view.engine_a.middle + sum(one.amps.middle for one in view.circuits)
    assert view.sum_a.middle == pytest.approx(total)
    assert view.state == "hot idle"
    assert view.there_a.middle < 60


def test_the_finding_has_wires_and_fuses() -> None:
    finding = currents_finding(found(PULLER, STRONG))
    assert finding.is_choice
    assert finding.verdict is Verdict.FITS
    for words in ("gauge", "fuse of", "by a relay", "The puller"):
        assert words in finding.note


def test_a_nose_with_nothing_electric_has_no_circuits() -> None:
    text = STACK[: STACK.index("condenser:")] + STACK[STACK.index("grille:") :]
    trials = trials_of(arrange(read_text(text + FAN + KNOWN, KINDS)), draws=1)
    assert trials is not None
    assert currents_of(trials) is None


def test_what_to_buy_has_each_caution_once() -> None:
    """Beside all of it, and of electricity, heat and pressure alike."""
    from noseroom.checks.condenser_choice_all import Choices

    text = STACK + PULLER + STRONG
    trials = trials_of(arrange(read_text(text, KINDS)), draws=1)
    assert trials is not None
    told = Choices(None, None, (), None, currents_of(trials), "R-134a", 1).cautions
    said = " ".join(told)
    for words in (
        "never open a hot cap",
        "Only certified people",
        "Disconnect the battery",
        "An electric fan may start with the engine off",
        "Local codes apply",
    ):
        assert said.count(words) == 1, words
