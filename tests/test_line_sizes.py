"""Hoses of a nose's loop: velocities and drops by hand, lengths as they are drawn."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from cooling_noses import KNOWN, PULLER, STACK, STRONG, nose
from noseroom.checks.condenser_choice_air import Trials, trials_of
from noseroom.checks.condenser_choice_words import line_finding
from noseroom.checks.line_sizes import LINES, LineView, line_lengths_m, size_lines
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.circuits import line_velocities

DRIER = """
drier:
  diameter: 2 1/2
  height: 8
  place:
    - axis 4 ahead of core support.face
    - axis 12 left of centreline
    - bottom 5 above core support.opening.bottom
    - plumb ± 1/2 deg
    - level ± 1/2 deg
    - square across ± 1 deg
liquid line: {is: hose, from: condenser.lower port, to: drier.inlet, diameter: 5/8}
upper hose: {is: hose, from: radiator.upper neck, diameter: 1 3/4, stub: 3}
"""


@cache
def trials(*texts: str, draws: int = 1) -> Trials:
    found = trials_of(nose(*texts), draws=draws)
    assert found is not None
    return found


@cache
def lines(*texts: str, draws: int = 1) -> dict[str, LineView]:
    return {one.line: one for one in size_lines(trials(*texts, draws=draws))}


def test_all_three_lines_are_sized_in_every_hose() -> None:
    found = lines(PULLER, STRONG)
    assert tuple(found) == LINES
    for one in found.values():
        assert [each.dash for each in one.hoses] == [6, 8, 10, 12]
        assert {state.state for state in one.hoses[0].states} == {"hot idle", "cruise"}


def test_velocity_is_the_flow_over_density_and_bore() -> None:
    """By the equation of state itself, as CoolProp has it, for the usual figures' cruise."""
    from CoolProp.CoolProp import PropsSI

    one = trials(PULLER, STRONG)
    head = one.base["cruise"].solved.answer.head
    assert head is not None
    low, high = (float(np.ravel(p)[0]) for p in head.loop.cycle.pressures)
    suction, discharge = (float(np.ravel(h)[0]) for h in head.loop.cycle.enthalpies[:2])
    flow = float(head.loop.flow[0] * head.duty[0])
    densities = {
        "suction": PropsSI("D", "P", low, "T", head.loop.cycle.temperatures_k[0][0], "R134a"),
        "discharge": PropsSI("D", "P", high, "T", head.loop.cycle.temperatures_k[1][0], "R134a"),
        "liquid": PropsSI("D", "P", high, "Q", 0, "R134a"),
    }
    assert suction < discharge
    for line, density in densities.items():
        for hose in lines(PULLER, STRONG)[line].hoses:
            by_hand = flow / density / (math.pi / 4 * (hose.bore_mm / 1e3) ** 2)
            cruise = next(state for state in hose.states if state.state == "cruise")
            assert cruise.speed.middle == pytest.approx(by_hand, rel=2e-3)
            assert cruise.peak.middle >= cruise.speed.middle


def test_the_flow_carries_what_the_coil_takes_up() -> None:
    """Under-dash systems of one evaporator give 3 to 7 kW, which is 20 to 55 g/s (common practice).

    R-134a takes up 120 to 150 kJ/kg from a condenser at 50 °C to an evaporator at 5 °C.
    """
    for state, flow in lines(PULLER, STRONG)["liquid"].flow_g_s.items():
        assert 15 < flow.middle < 60, state


def test_a_wider_hose_is_slower_and_loses_less() -> None:
    for line in lines(PULLER, STRONG, draws=12).values():
        for state in range(2):
            each = [hose.states[state] for hose in line.hoses]
            assert sorted(each, key=lambda one: -one.speed.middle) == each
            assert sorted(each, key=lambda one: -one.drop_kpa.middle) == each
            assert sorted(each, key=lambda one: -one.fast) == each


def test_what_is_right_keeps_the_guide() -> None:
    """ASHRAE Handbook Refrigeration: 20 m/s of suction gas, 18 of discharge gas at most."""
    for line in lines(PULLER, STRONG, draws=24).values():
        assert line.most == line_velocities()[line.line].high
        for hose in line.hoses:
            for state in hose.states:
                if hose.right and line.told[state.state] >= 0.5:
                    assert state.speed.high <= line.most * 1.01
                    assert state.loss_k.high <= 2.5
    assert (
        lines(PULLER, STRONG, draws=24)["discharge"].usual_dash
        in lines(PULLER, STRONG, draws=24)["discharge"].right
    )


def test_bands_have_a_width() -> None:
    one = lines(PULLER, STRONG, draws=24)["suction"].hoses[2].states[1]
    assert one.speed.low < one.speed.middle < one.speed.high
    assert one.drop_kpa.low < one.drop_kpa.middle < one.drop_kpa.high


def test_a_drawn_hose_is_no_shorter_than_the_way_between_its_ports() -> None:
    layout = nose(DRIER)
    length, whole = line_lengths_m(layout)["liquid"]
    start, end = (
        layout.parts[part].port(port)
        for part, port in (("condenser", "lower port"), ("drier", "inlet"))
    )
    assert start is not None
    assert end is not None
    assert math.dist(start.point, end.point) / 1e3 <= length < 2.5
    assert not whole
    assert set(line_lengths_m(layout)) == {"liquid"}


def test_a_demo_with_stubs_has_no_drawn_suction_hose() -> None:
    """A stub says which way a hose leaves its port, and not how long it is."""
    path = Path(__file__).parent.parent / "vehicle_envelopes" / "light_van.yaml"
    from noseroom.pipeline import Session

    session = Session(path)
    found = line_lengths_m(session.nose(session.read(), lambda *_: None).layout)
    assert set(found) == {"liquid"}


def test_a_nose_without_a_condenser_has_no_lines() -> None:
    text = STACK[: STACK.index("condenser:")] + STACK[STACK.index("grille:") :]
    found = trials_of(arrange(read_text(text + PULLER + KNOWN, KINDS)), draws=1)
    assert found is not None
    assert size_lines(found) == ()


def test_the_finding_says_which_and_by_what_guide() -> None:
    finding = line_finding(lines(PULLER, STRONG, draws=24)["discharge"])
    assert finding.is_choice
    assert finding.verdict is Verdict.FITS
    assert "The guide asks for 10 to 18 m/s" in finding.note
    assert "without a sag" in finding.note
    assert finding.remedies == ("take #8 hose, of 10.3 mm bore",)
