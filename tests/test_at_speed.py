"""Fans that flex and belts that swing: what they reach, and what is said of it."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest

import part_checks as checks
from noseroom.checks.at_speed import check_at_speed
from noseroom.checks.bodies import bodies_of
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.at_speed import FlappingBelt, FlexingFan
from noseroom.parts.belt import Belt
from noseroom.parts.fan import Fan
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules
from noseroom.tables.shares import shares

ASKED_MM = clearance_rules()["at speed"].value_mm

# -- the space that is reached ---------------------------------------------------------------------


def cantilever(s: float) -> float:
    """Share of a held beam's end deflection at a share of its length, loaded at its end.

    y = P x² (3 l - x) / 6 E I, of any handbook of beams.
    """
    return s**2 * (3.0 - s) / 2.0


def fan(**sizes: Any) -> Fan:
    return Fan(diameter_mm=430.0, width_mm=60.0, ahead_mm=40.0, spider_diameter_mm=140.0, **sizes)


@pytest.mark.parametrize("drive", ["rigid", "flexible", "clutch"])
def test_a_blade_that_bends_like_a_held_beam_stays_in_the_flexed_sweep(drive: str) -> None:
    rng = np.random.default_rng(5)
    made = FlexingFan.of(fan(drive=drive), 14.0, 6.0)
    hulls = checks.hulls_of(made)["sweep"]
    root, tip, front = 70.0, 215.0, made._front()
    points = []
    for _ in range(400):
        s, angle = rng.uniform(0, 1), rng.uniform(0, math.tau)
        x = front + rng.choice([0.0, 60.0]) + rng.uniform(-14.0, 6.0) * cantilever(s)
        r = root + s * (tip - root)
        points.append((x, r * math.cos(angle), r * math.sin(angle)))
    # The extremes, at the tips.
    for k in range(96):
        y, z = tip * math.cos(math.tau * k / 96), tip * math.sin(math.tau * k / 96)
        points += [(front - 14.0, y, z), (front + 60.0 + 6.0, y, z)]
    assert float(checks.outside_mm(np.array(points), hulls).max()) <= 1e-6


def test_a_blade_that_flattens_wholly_stays_in_the_flexed_sweep() -> None:
    """A tip section keeps its chord as it turns into the plane of rotation (plane geometry)."""
    made = FlexingFan.of(fan(blades=6), 12.0, 6.0)
    middle = made._front() + 30.0
    half = math.pi * 0.35 / 6  # share of the circle that blades cover: common practice
    flat = math.hypot(215.0 * math.sin(half), 30.0)
    corner = math.hypot(215.0 * math.cos(half), flat)
    assert corner == pytest.approx(made.tip_mm(), abs=1e-9)
    points = [
        (middle, corner * math.cos(turn), corner * math.sin(turn))
        for turn in np.linspace(0, math.tau, 144)
    ]
    hulls = checks.hulls_of(made)["sweep"]
    assert float(checks.outside_mm(np.array(points), hulls).max()) <= 1e-6


def test_nothing_moves_where_the_blades_begin() -> None:
    made = FlexingFan.of(fan(), 14.0, 6.0)
    hulls = checks.hulls_of(made)["sweep"]
    at_root = np.array([(made._front() - 1.0, 0.0, 71.0), (made._front() + 61.0, 0.0, 71.0)])
    assert (checks.outside_mm(at_root, hulls) > 0.5).all()


def test_pieces_cover_the_flexed_solid() -> None:
    for flex in (0.0, 3.0, 25.0):
        made = FlexingFan.of(fan(), flex, flex / 2)
        checks.check_pieces_cover(made, checks.bodies(made))
        checks.check_pieces_tight(made, checks.bodies(made))


def test_a_flexing_fan_follows_its_sizes_with_exact_derivatives() -> None:
    checks.check_follows_sizes(FlexingFan.of(fan(), 9.0, 4.0))


@pytest.mark.parametrize("section", ["v", "ribbed"])
def test_a_string_that_swings_in_a_half_wave_stays_in_the_spans_room(section: str) -> None:
    """The first mode of a string held at both ends, y = a sin(pi s): from memory, any text."""
    belt = Belt(section=section, run=((0.0, 0.0, 80.0), (300.0, 40.0, 40.0), (20.0, 260.0, 60.0)))
    made = FlappingBelt.of(belt, 0.06, 0.03)
    hulls = checks.hulls_of(made)["belt"]
    half, inside, back = made.band()
    rng = np.random.default_rng(3)
    points = []
    for span in made.path.spans:
        along = (span.end - span.start) / span.length_mm
        out = np.array([math.cos(span.outward), math.sin(span.outward)])
        for _ in range(200):
            s, wave = rng.uniform(0, 1), rng.uniform(-1, 1)
            lift = wave * 0.06 * span.length_mm * math.sin(math.pi * s)
            aside = rng.uniform(-1, 1) * 0.03 * span.length_mm * math.sin(math.pi * s)
            y, z = (
                span.start + s * span.length_mm * along + (lift + rng.choice([inside, back])) * out
            )
            points.append((aside + rng.choice([-half, half]), y, z))
    assert float(checks.outside_mm(np.array(points), hulls).max()) <= 1e-6


# -- what is said ----------------------------------------------------------------------------------

NOSE = """
format: 1
units: mm
sides: as seated
tape: 0.02
rules: {{fan front: 1, fan rear: 1, engine to body: 1, engine to engine: 1, belt: 1, moving: 0}}
core support:
  opening: {{width: 700, height: 480}}
engine:
  tilt: 0 ± 0.002 deg nose up
  moves: {{roll: 0 deg, pitch: 0 deg, forward: {forward}, sideways: 0, up: 0}}
  place:
    - front 400 aft of core support.face
    - axis 20 above core support.opening.bottom
    - axis 0 right of centreline
    - level ± 0.002 deg
    - square across ± 0.002 deg
water pump:
  hub: {{diameter: 60, thickness: 8}}
  snout: {{diameter: 50, length: 60}}
  pilot: {{diameter: 15, length: 10}}
  place:
    - hub.face 100 ahead of engine.front
    - axis 220 above engine.axis
    - axis 0 right of centreline
    - parallel to engine ± 0.002 deg
fan:
  drive: {drive}
  diameter: 400
  width: 50
  ahead: 40
  spider: {{diameter: 120, thickness: 8}}
{flex}
  place:
    - mount 0 ahead of water pump.hub.face
post:
  is: box
  depth: 40
  width: 20
  height: 20
  place:
    - rear {gap} ahead of fan.blade.front at 12 o'clock, along the car
    - middle {up} above water pump.axis
    - middle 0 right of centreline
    - plumb ± 0.002 deg
    - level ± 0.002 deg
    - square across ± 0.002 deg
"""


def arranged(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def nose(gap: float, *, up: float = 190.0, drive: str = "rigid", flex: float | None = None,
         forward: float = 0.0) -> Layout:  # fmt: skip
    said = "" if flex is None else f"  flex: {flex}"
    return arranged(NOSE.format(gap=gap, up=up, drive=drive, flex=said, forward=forward))


def answers(layout: Layout) -> dict[str, Finding]:
    say = lambda *_: None  # noqa: E731
    settled = {frozenset((a, b)) for a in layout.parts for b in layout.parts if a != b}
    found = check_at_speed(
        Pairs(layout), bodies_of(layout, say), Rules(layout.envelope), settled, (), say
    )
    return {one.id: one for one in found}


@pytest.mark.parametrize("flex", [4.0, 11.0])
def test_the_tips_come_forward_by_what_the_file_says(flex: float) -> None:
    """The box's upper edge is at the tips' radius: the gap less the flex has to be asked for."""
    short = answers(nose(flex + ASKED_MM - 0.3, flex=flex))
    assert set(short) == {"at speed: fan / post"}
    one = short["at speed: fan / post"]
    assert one.state == "at speed"
    assert one.verdict is Verdict.FOULS
    assert one.measured_mm == pytest.approx(ASKED_MM - 0.3, abs=0.1)
    assert one.bound_mm is not None
    assert one.bound_mm <= one.measured_mm
    ample = answers(nose(flex + ASKED_MM + 0.4, flex=flex))
    assert [(key, found.verdict) for key, found in ample.items()] == [
        ("at speed: fan", Verdict.FITS)
    ]


def test_half_way_out_a_blade_flexes_by_half_of_it_at_most() -> None:
    """The box ends 140 mm from the axis; blades run from 60 to 200: 80/140 of 14 mm is 8."""
    near, far = 8.0 + ASKED_MM - 0.4, 8.0 + ASKED_MM + 0.5
    # sqrt(140² - 10²) is where its upper corners are: a tenth of a millimetre less.
    assert "at speed: fan / post" in answers(nose(near, up=129.6, flex=14.0))
    assert "at speed: fan" in answers(nose(far, up=129.6, flex=14.0))


@pytest.mark.parametrize(("drive", "mm"), [("rigid", 3.0), ("flexible", 12.0), ("clutch", 6.0)])
def test_what_is_assumed_goes_by_the_kind_of_fan_and_is_never_a_sure_foul(
    drive: str, mm: float
) -> None:
    layout = nose(mm + ASKED_MM - 0.5, drive=drive)
    assert layout.parts["fan"].entry.sizes["flex"].value == mm
    one = answers(layout)["at speed: fan / post"]
    assert one.verdict is Verdict.TOO_CLOSE
    assert f"assumed of a {drive} fan" in one.note
    assert one.details["flex_mm"] == mm
    assert "from memory" in str(one.details["flex_source"])
    assert "ask the maker" in one.remedies[0]
    assert "at speed: fan" in answers(nose(mm + ASKED_MM + 0.5, drive=drive))


def test_no_speed_is_ever_guessed() -> None:
    for layout in (nose(5.0), nose(40.0), nose(9.0, flex=9.0)):
        for one in answers(layout).values():
            assert not re.search(r"\d\s*(rpm|rev|1/min|turns)", one.note + " ".join(one.remedies))
    assert "maker" in answers(nose(40.0))["at speed: fan"].note


def test_flex_and_the_engines_movement_count_together() -> None:
    """5 mm of flex and 4 mm of surge keep 3 mm at 12.5 mm, and do not at 11.5 mm."""
    assert "at speed: fan" in answers(nose(11.5, flex=5.0))
    assert "at speed: fan" in answers(nose(11.5, flex=1.0, forward=4.0))
    both = answers(nose(11.5, flex=5.0, forward=4.0))["at speed: fan / post"]
    assert both.verdict is Verdict.TOO_CLOSE
    assert both.sure_mm == pytest.approx(2.5, abs=0.2)
    assert both.measured_mm == pytest.approx(2.5, abs=0.2)
    assert "while the engine surges 4 mm forward" in both.note
    assert "at speed: fan" in answers(nose(12.5, flex=5.0, forward=4.0))


@pytest.mark.parametrize("seed", range(3))
def test_no_flexed_blade_of_a_moved_engine_comes_nearer_than_is_said(seed: int) -> None:
    """Points of bent blades, moved with the engine, against the box's corner by sums."""
    rng = np.random.default_rng(seed)
    flex, forward = rng.uniform(4, 9), rng.uniform(2, 5)
    gap = flex + forward + 1.0
    layout = nose(round(gap, 2), flex=round(flex, 2), forward=round(forward, 2))
    one = answers(layout)["at speed: fan / post"]
    assert one.sure_mm is not None
    front = float(layout.parts["fan"].touch_point("blade.front", "12 o'clock")[0][0])
    rear = float(layout.parts["post"].touch_point("rear", "")[0][0])
    nearest = min(
        front - rear - rng.uniform(0, 1) * flex * cantilever(rng.uniform(0, 1)) - surge
        for surge in np.linspace(-forward, forward, 41)
    )
    assert one.sure_mm <= nearest
    assert one.sure_mm <= front - rear - round(flex, 2) - round(forward, 2) + 1e-6


def test_rules_of_the_file_hold_and_are_named() -> None:
    text = NOSE.format(gap=10.0, up=190.0, drive="rigid", flex="", forward=0.0)
    changed = arranged(text.replace("rules: {", "rules: {at speed: 9, "))
    one = answers(changed)["at speed: fan / post"]
    assert one.rule is not None
    assert (one.rule.key, one.rule.value_mm, one.rule.line > 0) == ("at speed", 9.0, True)


def test_a_fan_of_which_nothing_was_settled_at_rest_is_not_spoken_of_again() -> None:
    layout = nose(5.0)
    say = lambda *_: None  # noqa: E731
    rules = Rules(layout.envelope)
    assert check_at_speed(Pairs(layout), bodies_of(layout, say), rules, frozenset(), (), say) == ()


# -- belts -----------------------------------------------------------------------------------------

BELT = """
format: 1
units: mm
tape: 0.02
rules: {{engine to engine: 0, belt: 1}}
core support:
  opening: {{width: 700, height: 480}}
engine:
  tilt: 0 ± 0.002 deg nose up
  moves: {{roll: 0 deg, pitch: 0 deg, forward: 0, sideways: 0, up: 0}}
  place:
    - front 400 aft of core support.face
    - axis 60 above core support.opening.bottom
    - axis 0 right of centreline
    - level ± 0.002 deg
    - square across ± 0.002 deg
water pump:
  place:
    - hub.face 80 ahead of engine.front
    - axis 320 above engine.axis
    - axis 0 right of centreline
    - parallel to engine ± 0.002 deg
water pump pulley:
  diameter: 160
  place:
    - front 0 ahead of water pump.hub.face
crank pulley:
  diameter: 160
  place:
    - belt flush with water pump pulley.belt ± 0.02
long belt:
  is: belt
  over: [crank pulley, water pump pulley]
  proud: 0 ± 0.01
  width: 12 ± 0.01
  height: 9 ± 0.01
{flap}
post:
  is: box
  carried by: engine
  depth: 60
  width: 20
  height: 10
  place:
    - middle 70 ahead of engine.front
    - middle {up} above engine.axis
    - left {out} right of engine.axis
    - parallel to engine ± 0.002 deg
"""


def belt_answers(out: float, *, up: float = 160.0, flap: str = "") -> dict[str, Finding]:
    text = BELT.format(out=out, up=up, flap=flap)
    return answers(arranged(text))


def test_a_spans_middle_swings_out_by_its_share() -> None:
    """Two pulleys alike, 320 mm apart: the span is 320 long and 80 out; 5 % of it is 16."""
    assert "at speed: long belt" in belt_answers(80 + 16 + ASKED_MM + 0.8)
    short = belt_answers(80 + 16 + ASKED_MM - 0.5)
    one = short["at speed: long belt / post"]
    assert one.verdict is Verdict.TOO_CLOSE
    assert one.sure_mm == pytest.approx(ASKED_MM - 0.5, abs=0.7)
    assert one.details["flap"] == 0.05
    assert "flap:" in one.remedies[0]


def test_a_span_does_not_swing_where_a_pulley_holds_it() -> None:
    assert "at speed: long belt" in belt_answers(80 + ASKED_MM + 6, up=8.0)
    assert "at speed: long belt / post" in belt_answers(80 + ASKED_MM + 6)


def test_how_far_a_belt_swings_can_be_said_in_the_file() -> None:
    assert "at speed: long belt / post" in belt_answers(90.0)
    assert "at speed: long belt" in belt_answers(90.0, flap="  flap: 0.01")


def test_shares_have_sources_and_none_pretends_to_be_printed() -> None:
    assert set(shares()) == {"fan aft", "belt sideways"}
    assert all(one.source.startswith("from memory") for one in shares().values())
    assert all(0 < one.share <= 1 for one in shares().values())
