"""What a file says under `cooling`: units against their definitions, faults by line."""

from __future__ import annotations

import pytest

from noseroom.envelope.cooling_keys import (
    FAN_KEYS,
    KEYS,
    OPTION_KEYS,
    READING_KEYS,
    STATE_KEYS,
    Asked,
)
from noseroom.envelope.cooling_records import CoolingEntry
from noseroom.envelope.cooling_units import read_figure
from noseroom.envelope.reader import json_schema, read_text
from noseroom.envelope.values import BadValueError
from noseroom.errors import EnvelopeError
from noseroom.parts.registry import KINDS

_NOSE = """format: 1
units: in
radiator: {core: {width: 24, height: 16, thickness: 2}}
fan: {diameter: 16, carried by: car}
left puller: {is: electric fan, diameter: 12, frame: {depth: 3}, motor: {depth: 1}}
"""
_FIRST = _NOSE.count("\n") + 1


def entry(text: str) -> CoolingEntry:
    found = read_text(_NOSE + text, KINDS).cooling
    assert found is not None
    return found


def faults(text: str) -> list[tuple[int, str, str, str, str]]:
    with pytest.raises(EnvelopeError) as caught:
        read_text(_NOSE + text, KINDS)
    return [
        (one.line - _FIRST, one.key, one.found, one.expected, one.suggestion)
        for one in caught.value.faults
    ]


@pytest.mark.parametrize(
    ("measure", "text", "value"),
    [
        # NIST SP 811 (2008), appendix B: factors, to their printed digits.
        ("pressure", "7 psi", 7 * 6894.757),
        ("pressure", "0.4 in wc", 0.4 * 249.0889),
        ("pressure", "0.4 inwc", 0.4 * 249.0889),
        ("displacement", "230 cu in", 230 * 1.638706e-2),
        ("displacement", "230 cid", 230 * 1.638706e-2),
        ("displacement", "155 cc", 0.155),
        ("flow", "900 cfm", 900 * 4.719474e-4),
        ("air speed", "300 ft/min", 300 * 5.08e-3),
        ("air speed", "3 mph", 3 * 0.44704),
        ("car's speed", "90 km/h", 25.0),
        ("mass", "3400 lb", 3400 * 0.4535924),
        ("temperature", "212 F", 100.0),
        ("temperature", "32 °F", 0.0),
        ("temperature", "96 C", 96.0),
        ("share", "50 %", 0.5),
        ("current", "12", 12.0),
        ("fins", "11 an inch", 11.0),
    ],
)
def test_units(measure: str, text: str, value: float) -> None:
    assert read_figure(measure, text, -1e9, 1e9)[0] == pytest.approx(value, rel=3e-6, abs=1e-9)


def test_a_half_width_has_the_unit_of_its_figure() -> None:
    """5 °F are 25/9 K; a difference has no offset."""
    assert read_figure("temperature", "205 ± 5 F", 0, 200) == pytest.approx((96.1111, 25 / 9))
    assert read_figure("temperature", "205 F ± 5", 0, 200) == pytest.approx((96.1111, 25 / 9))
    assert read_figure("air speed", "1.2 ± 0.2 m/s", 0, 9) == pytest.approx((1.2, 0.2))


@pytest.mark.parametrize("text", ["7", "seven psi", "7 psi 9", "at least 7 psi", "7 psi ± 0"])
def test_what_is_no_pressure(text: str) -> None:
    with pytest.raises(BadValueError):
        read_figure("pressure", text, 0.0, 1e6)


def test_every_example_is_accepted_where_it_stands() -> None:
    for keys in (KEYS, FAN_KEYS, READING_KEYS, STATE_KEYS, OPTION_KEYS):
        for key, asked in keys.items():
            if isinstance(asked, Asked):
                value, _ = read_figure(asked.measure, asked.example, asked.low, asked.high)
                assert asked.low <= value <= asked.high, key


def test_all_of_it_is_read() -> None:
    found = entry(
        """
cooling:
  refrigerant: r-1234YF
  radiator: {core: aluminium, cap: 15 psi}
  fans:
    fan: {points: [1500 cfm at 0.3 in wc], speed: 2000 rpm}
    Left Puller: {points: [0 cfm at 0.8 in wc, 900 cfm at 0.1 in wc], current: 9 A}
  readings: {outside: 80 F, coolant: 92 ± 2 C}
  states: {uphill: {speed: 40 mph, grade: 6 %}}
  options: {both: {shroud: yes, idle: 850 rpm, condenser: {width: 20}}}
"""
    )
    assert found.words == {"refrigerant": "R-1234yf", "radiator.core": "aluminium"}
    assert found.figures["radiator.cap"].value == pytest.approx(15 * 6894.757)
    assert found.fans["fan"].figures["speed"].value == 2000.0
    assert [round(p) for _, p in found.fans["left puller"].points] == [199, 25]
    assert found.readings["coolant"].half_width == pytest.approx(2.0)
    assert found.states[0].figures["grade"].value == pytest.approx(0.06)
    assert found.options[0].words == {"shroud": "yes"}
    assert found.options[0].figures["condenser.width"].value == pytest.approx(508.0)


def test_a_file_that_says_nothing_asks_for_nothing() -> None:
    assert read_text(_NOSE, KINDS).cooling is None
    assert entry("cooling: {}\n").figures == {}


def test_every_fault_has_its_line() -> None:
    text = """cooling:
  radiator:
    cap: 7
    fin: 11
  grille: 3
  fans:
    fna: {}
    fan: {points: [300 cfm at 0.1 in wc, 400 cfm at 0.2 in wc]}
  readings: {coolant: 300 C}
  options: {x: {shroud: maybe}}
"""
    found = {line: (key, expected, hint) for line, key, _, expected, hint in faults(text)}
    assert sorted(found) == [2, 3, 4, 6, 7, 8, 9]
    assert "say the unit" in found[2][2]
    assert found[3][2] == 'did you mean "fins"?'
    assert found[6][2] == 'did you mean "fan"?'
    assert found[9][1] == "yes or no"
    assert "between 60 and 135 °C" in found[8][1]


def test_a_curve_has_to_fall() -> None:
    (one,) = faults(
        "cooling: {fans: {left puller: {points: [300 cfm at 0.1 in wc, 400 cfm at 0.2 in wc]}}}\n"
    )
    assert one[3] == "less pressure where there is more flow"


def test_a_driven_fans_curve_needs_its_speed() -> None:
    (one,) = faults("cooling: {fans: {fan: {points: [300 cfm at 0.1 in wc]}}}\n")
    assert one[1] == "cooling.fans.fan.speed"


def test_readings_need_the_day() -> None:
    (one,) = faults("cooling: {readings: {coolant: 92 C}}\n")
    assert one[1] == "cooling.readings.outside"


def test_an_editor_completes_the_same_keys() -> None:
    cooling = json_schema(KINDS)["properties"]["cooling"]
    for key in KEYS:
        at = cooling
        for step in key.split("."):
            at = at["properties"][step]
        assert "description" in at
    assert set(cooling["properties"]["readings"]["properties"]) == set(READING_KEYS)
