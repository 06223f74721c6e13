"""Air and heat of whole noses, against what the trade knows and printed figures."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from cooling_noses import FAN, KNOWN, PULLER, STACK, STRONG, nose
from noseroom.checks.cooling import cooling_of_nose
from noseroom.checks.cooling_findings import check_cooling, cooling_findings
from noseroom.checks.cooling_records import Cooling, OptionView, Span
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.circuits import loads

_DRAWS = 40


@cache
def answer(*texts: str, options: bool = False, draws: int = _DRAWS) -> Cooling:
    found = cooling_of_nose(nose(*texts), draws=draws, options=options)
    assert found is not None
    return found


def with_ac(found: Cooling) -> OptionView:
    assert found.with_ac is not None
    return found.with_ac


def option(found: Cooling, name: str) -> OptionView:
    return next(one for one in found.options if one.name == name)


def head(found: OptionView, state: str) -> Span:
    span = found.state(state).head_bar
    assert span is not None
    return span


STATES = """
  states:
    mild idle: {outside: 25 C}
    warm idle: {outside: 32 C}
"""


# -- what the trade knows -----------------------------------------------------------------------


def test_a_condenser_takes_air_from_the_radiator_and_warms_it() -> None:
    """Common practice."""
    found = answer(FAN, KNOWN)
    state, today = with_ac(found).state("hot idle"), found.today.state("hot idle")
    assert state.air.high < 1.0
    assert state.into_c.middle > today.into_c.middle
    assert state.coolant_c.middle > today.coolant_c.middle
    assert today.air == Span(1.0, 1.0, 1.0)
    assert today.head_bar is None


def test_a_hotter_day_never_has_less_head_pressure() -> None:
    found = with_ac(answer(PULLER, STRONG, STATES))
    each = [head(found, name) for name in ("mild idle", "warm idle", "hot idle")]
    for a, b in pairwise(each):
        assert (a.low, a.middle, a.high) < (b.low, b.middle, b.high)


def test_head_pressure_is_above_that_of_the_outside_air() -> None:
    """A condenser is warmer than its air: R-134a saturated at 38 °C stands at 8.6 bar gauge.

    Tillner-Roth and Baehr's equation of state, as CoolProp has it: 9.63 bar absolute.
    """
    assert head(with_ac(answer(FAN, KNOWN)), "cruise").low > 8.6


def test_ram_air_makes_a_cruise_easier_than_a_hot_idle() -> None:
    """Common practice: engines overheat in traffic first."""
    found = with_ac(answer(FAN, KNOWN))
    assert found.state("cruise").coolant_c.middle < found.state("hot idle").coolant_c.middle
    assert head(found, "cruise").middle < head(found, "hot idle").middle


def test_altitude_lowers_boiling() -> None:
    """By about 1 K for 300 m (common practice)."""
    high = "\n  states: {pass: {outside: 38 C, altitude: 2400 m}}\n"
    found = answer(FAN, KNOWN, high).today
    fall = found.state("hot idle").boils_c.middle - found.state("pass").boils_c.middle
    assert 4.0 < fall < 9.0


def test_boiling_under_a_cap_as_the_trade_prints_it() -> None:
    """One half glycol under 15 psi: 265 °F, 129.4 °C, as printed in the trade."""
    boils = answer(FAN, KNOWN).today.state("hot idle").boils_c
    assert boils.low - 0.5 <= 129.4 <= boils.high + 0.5


def test_the_cut_out_holds_the_figures_of_service_manuals() -> None:
    """Compressor off at 3036 kPa, another at 30 bar (OEM service manuals)."""
    cut_out = with_ac(answer(FAN, KNOWN)).state("hot idle").cut_out_bar
    assert cut_out.low < 30.0 < 30.36 < cut_out.high


def test_the_thermostat_holds_the_coolant_up() -> None:
    """An engine at work is no colder than its thermostat opens: 180 °F, 82.2 °C."""
    found = answer(FAN, KNOWN, STATES)
    assert found.today.state("mild idle").coolant_c.low >= 82.2 - 0.05


# -- options ------------------------------------------------------------------------------------


def test_options_are_ranked_and_say_what_they_cost() -> None:
    found = answer(FAN, KNOWN, options=True)
    names = [one.name for one in found.options]
    assert len(names) == len(set(names))
    assert {"a shroud", "seal round the radiator", "an electric puller", "an electric pusher"} <= {
        *names
    }
    assert {"a larger condenser", "a second condenser", "a lower condenser"} <= {*names}
    assert {"a wider gap", "a faster idle", "seal round the condenser"} <= {*names}
    sound = [(one.sound, one.margin.middle) for one in found.options]
    assert sound == sorted(sound, reverse=True)
    for one in found.options:
        assert one.room.text
        assert len(one.states) == 2


def test_a_larger_condenser_takes_what_it_is_larger_by() -> None:
    """By hand: 605 by 405 mm, to whole 5 mm below the radiator's 609.6 by 406.4, for 508 by 304.8.

    The opening of 711.2 by 508 mm leaves 711.2 - 44 - 508 = 159.2 mm across, headers taken off, and
    203.2 mm in height; across there is the less to spare.
    """
    room = option(answer(FAN, KNOWN, options=True), "a larger condenser").room
    assert room.needs_mm == pytest.approx(605 - 508)
    assert room.there_mm == pytest.approx(159.2)
    assert room.enough
    for text in ("3 13/16 in more across", "3 15/16 in more in height", "6 1/4 in is there"):
        assert text in room.text


def test_less_condenser_means_more_head_pressure() -> None:
    found = answer(PULLER, STRONG, options=True)
    for state in ("hot idle", "cruise"):
        less = head(option(found, "a lower condenser"), state)
        base, more = head(with_ac(found), state), head(option(found, "a larger condenser"), state)
        assert less.middle > base.middle > more.middle


def test_sealing_brings_less_air_back() -> None:
    """What is closed lets nothing back: never more recirculation."""
    found = answer(FAN, KNOWN, options=True)
    sealed = option(found, "seal round the radiator").state("hot idle").recirculated
    assert sealed.middle < with_ac(found).state("hot idle").recirculated.middle


def test_a_larger_condenser_covers_more() -> None:
    """More before the radiator, less air through it, at a hot idle."""
    found = answer(FAN, KNOWN, options=True)
    larger = option(found, "a larger condenser").state("hot idle").air
    assert larger.middle < with_ac(found).state("hot idle").air.middle


def test_an_electric_fan_takes_current() -> None:
    """Of the table's, between a 12 in and a 16 in fan."""
    more = option(answer(FAN, KNOWN, options=True), "an electric puller").amps
    assert loads()["fan 12 in"].low <= more.low
    assert more.high <= loads()["fan 16 in"].high * 1.01


def test_options_of_the_file_come_as_they_are_asked() -> None:
    asked = "  options: {both of them: {shroud: yes, radiator sides: sealed, idle: 900 rpm}}\n"
    one = option(answer(FAN, KNOWN, asked, options=True, draws=8), "both of them")
    assert one.by_file
    assert one.better > 0.5


def test_a_current_in_the_file_stands_for_the_tables() -> None:
    text = KNOWN + "  fans: {puller: {current: 10 A}}\n"
    found = answer(PULLER, text, draws=12)
    known = found.today.state("hot idle").amps
    usual = answer(PULLER, KNOWN, draws=12).today.state("hot idle").amps
    assert known.high - known.low < usual.high - usual.low


def test_points_of_a_curve_narrow_the_air() -> None:
    points = "{points: [0 cfm at 0.7 in wc, 500 cfm at 0.45 in wc, 1000 cfm at 0 in wc]}"
    text = KNOWN + f"  fans: {{puller: {points}}}\n"
    known = answer(PULLER, text).today.state("hot idle").air_kg_s
    usual = answer(PULLER, KNOWN).today.state("hot idle").air_kg_s
    assert (known.high - known.low) / known.middle < (usual.high - usual.low) / usual.middle
    fan = answer(PULLER, text).today.state("hot idle").fans[0]
    assert fan.known == "by the points of its curve"


# -- how sure it is -----------------------------------------------------------------------------


def test_every_figure_is_a_band() -> None:
    found = with_ac(answer(PULLER, STRONG))
    state = found.state("hot idle")
    for span in (state.air, state.into_c, state.coolant_c, state.boils_c, head(found, "hot idle")):
        assert span.low < span.middle < span.high


def test_the_same_nose_has_the_same_answer() -> None:
    one = cooling_of_nose(nose(FAN, KNOWN), draws=6, options=False)
    other = cooling_of_nose(nose(FAN, KNOWN), draws=6, options=False)
    assert repr(one) == repr(other)


def test_the_usual_figures_alone_are_near_the_middle_of_the_bands() -> None:
    usual, drawn = answer(FAN, KNOWN, draws=1), answer(FAN, KNOWN)
    for state in ("hot idle", "cruise"):
        one, band = with_ac(usual).state(state), with_ac(drawn).state(state)
        assert band.air.low < one.air.middle < band.air.high
        assert band.coolant_c.low < one.coolant_c.middle < band.coolant_c.high
    assert "usual figures alone" in usual.words


def test_knowing_more_of_the_car_narrows_its_bands() -> None:
    known = with_ac(answer(FAN, KNOWN)).state("cruise").boils_c
    unknown = with_ac(answer(FAN, "\ncooling: {}\n")).state("cruise").boils_c
    assert known.high - known.low < unknown.high - unknown.low


def test_what_is_outside_a_correlation_is_named() -> None:
    """Chang and Wang's j was tested from Re 100; a condenser at idle lies below."""
    assert any("Chang and Wang" in one for one in answer(FAN, KNOWN).remarks)


# -- pictures -----------------------------------------------------------------------------------


def test_a_fan_works_where_its_curve_meets_the_system() -> None:
    """With the usual figures alone: where both curves cross is where it works."""
    found = cooling_of_nose(nose(FAN, KNOWN), draws=1, options=False)
    assert found is not None
    fan = found.today.state("hot idle").fans[0]
    (flows, rises), (asked, needs) = np.transpose(fan.curve), np.transpose(fan.system)
    at = fan.flow.middle
    assert np.interp(at, asked, needs) == pytest.approx(fan.rise.middle, rel=0.05)
    assert np.interp(at, flows, rises) == pytest.approx(fan.rise.middle, rel=0.15)
    assert np.all(np.diff(needs) > 0)


def test_the_loop_gives_off_what_it_takes_in() -> None:
    """First law: work is what is given off less what is taken up; throttling keeps enthalpy."""
    cycle = with_ac(answer(FAN, KNOWN)).state("cruise").cycle
    assert cycle is not None
    suction, discharge, liquid = cycle.enthalpies
    assert cycle.cooling_w == pytest.approx(cycle.flow_kg_s * (suction - liquid))
    assert cycle.rejected_w == pytest.approx(cycle.flow_kg_s * (discharge - liquid))
    assert cycle.low_pa < cycle.high_pa


def test_zones_make_up_the_face() -> None:
    zones = with_ac(answer(FAN, KNOWN)).state("hot idle").zones
    assert sum(one.area_m2 for one in zones) == pytest.approx(24 * 16 * 0.0254**2, rel=1e-3)
    masked = [one for one in zones if "behind the headers" in one.name]
    assert sum(one.area_m2 for one in masked) == pytest.approx(2 * 12 * 0.0254**2, rel=1e-3)
    assert all(len(one.outline) > 3 for one in zones)


# -- findings -----------------------------------------------------------------------------------


def test_findings_stand_beside_the_verdict() -> None:
    found = {one.id: one for one in cooling_findings(answer(FAN, KNOWN, options=True))}
    assert {"cooling: summary", "cooling: coolant", "cooling: head pressure"} <= {*found}
    assert all(one.is_choice for one in found.values())
    summary = found["cooling: summary"]
    assert summary.note.count("never open a hot cap") == 1
    assert summary.note.count("certified people") == 1
    assert summary.remedies
    for one in found.values():
        assert all(
            math.isfinite(value) for value in one.details.values() if isinstance(value, float)
        )


def test_a_file_that_does_not_ask_gets_nothing() -> None:
    assert check_cooling(nose(FAN)) == (None, ())


def test_without_a_condenser_the_car_of_today_is_told() -> None:
    bare = STACK[: STACK.index("condenser:")] + STACK[STACK.index("grille:") :]
    layout = arrange(read_text(bare + FAN + KNOWN, KINDS))
    found, findings = check_cooling(layout, draws=8)
    assert found is not None
    assert found.with_ac is None
    assert found.options
    assert "cooling: head pressure" not in {one.id for one in findings}


def test_without_a_radiator_it_is_not_known() -> None:
    text = "format: 1\nunits: in\ngrille: {width: 30, height: 14}\ncooling: {}\n"
    found, (one,) = check_cooling(arrange(read_text(text, KINDS)))
    assert found is None
    assert one.verdict is Verdict.NOT_KNOWN
