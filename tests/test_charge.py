"""Refrigerant that a nose's system holds: volumes by hand, the trade's figure, its cautions."""

from __future__ import annotations

import math
from functools import cache

import pytest

from cooling_noses import KNOWN, PULLER, STACK, STRONG, nose
from noseroom.checks.charge import ChargePart, ChargeView, charge_of
from noseroom.checks.condenser_choice_air import trials_of
from noseroom.checks.condenser_choice_words import charge_finding
from noseroom.envelope.reader import read_text
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.system_sizes import system_figures

DRIER = """
drier:
  diameter: 2 1/2
  height: {0}
  place:
    - axis 4 ahead of core support.face
    - axis 12 left of centreline
    - bottom 5 above core support.opening.bottom
    - plumb ± 1/2 deg
    - level ± 1/2 deg
    - square across ± 1 deg
"""


@cache
def held(*texts: str, draws: int = 1) -> ChargeView:
    trials = trials_of(nose(*texts), draws=draws)
    assert trials is not None
    found = charge_of(trials)
    assert found is not None
    return found


def part(found: ChargeView, name: str) -> ChargePart:
    return next(one for one in found.parts if one.part == name)


def test_a_usual_system_holds_what_such_systems_hold() -> None:
    """Common practice: a front-only retrofit system in a car holds about 0.8 kg of R-134a."""
    found = held(PULLER, STRONG, draws=48)
    assert found.kg.low < 0.8 < found.kg.high
    assert found.kg.middle == pytest.approx(0.8, rel=0.2)


def test_it_is_a_range_of_a_fifth_at_the_least() -> None:
    """Also where every figure is the usual one."""
    for draws in (1, 48):
        kg = held(PULLER, STRONG, draws=draws).kg
        assert kg.low <= 0.8 * kg.middle + 1e-12
        assert kg.high >= 1.2 * kg.middle - 1e-12


def test_the_parts_add_up() -> None:
    found = held(PULLER, STRONG)
    assert sum(one.mass_kg.middle for one in found.parts) == pytest.approx(found.kg.middle)


def test_a_condensers_volume_is_its_tubes_and_headers() -> None:
    """By hand: a core of 20 by 12 in, and two flat headers of 1 by 1 in, 12 in long."""
    figures = system_figures()
    face = 20 * 12 * 0.0254**2
    headers = 2 * (figures["header bore"].usual * 0.0254) ** 2 * 12 * 0.0254 * 1e3
    by_hand = figures["condenser tubes"].usual * face + headers
    shown = part(held(PULLER, STRONG), "condenser").volume_l
    assert shown.middle == pytest.approx(by_hand, rel=1e-6)


def test_a_driers_volume_is_that_of_its_canister() -> None:
    short, long = (part(held(DRIER.format(one), KNOWN), "drier") for one in (6, 9))
    outside = math.pi / 4 * 2.5**2 * 6 * 0.0254**3 * 1e3
    usual = system_figures()["drier inside"].usual
    assert short.volume_l.middle == pytest.approx(usual * outside, rel=1e-6)
    assert long.mass_kg.middle / short.mass_kg.middle == pytest.approx(1.5, rel=1e-6)
    assert short.measured
    assert not part(held(PULLER, STRONG), "drier").measured


def test_a_liquid_line_is_full_of_liquid() -> None:
    """1102.31 kg/m³ at 50 °C: Tillner-Roth and Baehr's equation of state, as CoolProp has it."""
    one = part(held(PULLER, STRONG), "liquid line")
    assert one.mass_kg.middle / one.volume_l.middle == pytest.approx(1.10231, rel=1e-3)
    gas = part(held(PULLER, STRONG), "suction line")
    assert gas.mass_kg.middle / gas.volume_l.middle == pytest.approx(0.017131, rel=1e-3)


def test_another_refrigerant_has_another_weight_and_caution() -> None:
    """R-1234yf is a few per cent lighter; it burns (A2L, ISO 817)."""
    other = KNOWN.replace("cooling:\n", "cooling:\n  refrigerant: R-1234yf\n")
    found, before = held(PULLER, other), held(PULLER, KNOWN)
    assert 0.8 < found.kg.middle / before.kg.middle < 0.99
    assert found.refrigerant == "R-1234yf"
    assert "flammable" in found.caution


def test_the_finding_defers_to_those_who_weigh_it_in() -> None:
    finding = charge_finding(held(PULLER, STRONG, draws=24))
    assert finding.is_choice
    for words in ("nothing to charge by", "component makers' figure", "vent"):
        assert words in finding.note


def test_a_nose_without_a_condenser_holds_nothing() -> None:
    text = STACK[: STACK.index("condenser:")] + STACK[STACK.index("grille:") :]
    trials = trials_of(arrange(read_text(text + PULLER + KNOWN, KINDS)), draws=1)
    assert trials is not None
    assert charge_of(trials) is None
