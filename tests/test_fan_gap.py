"""The window of spacer thicknesses, against sums that were worked by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from noseroom.checks.fan_gap import check_fan_gaps
from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.fan_window_search import blocked_intervals
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

END_MM = 0.2
"""How far inside the sure window an end may lie; never outside."""

Margin = Callable[[float], float]


# -- blocked intervals of margins that change by no more than their argument ----------------------


def random_margin(rng: np.random.Generator) -> Margin:
    """The least distance to a few things in the way, less the room each needs; slopes up to 1."""
    at = rng.uniform(-20, 120, rng.integers(1, 6))
    room = rng.uniform(0.01, 12, len(at))
    slope = rng.uniform(0.2, 1.0, len(at))
    waves = rng.uniform(0, 0.5)
    return lambda t: float(
        (slope * np.abs(t - at) - room).min() * (1 - waves) + waves * math.sin(t) * 0.9
    )


def test_no_blocked_point_is_ever_called_free() -> None:
    rng = np.random.default_rng(0)
    for _ in range(150):
        margin = random_margin(rng)
        found = blocked_intervals(margin, 0.0, 100.0)
        for t in np.concatenate([np.linspace(0, 100, 1501), rng.uniform(0, 100, 200)]):
            if margin(t) < 0:
                assert any(low <= t <= high for low, high in found), t


def test_ends_that_face_free_thicknesses_are_free_and_close_to_what_is_blocked() -> None:
    rng = np.random.default_rng(1)
    for _ in range(150):
        margin = random_margin(rng)
        for low, high in blocked_intervals(margin, 0.0, 100.0):
            for end, inward in ((low, 1.0), (high, -1.0)):
                if end in (0.0, 100.0):
                    continue
                assert margin(end) >= 0
                # Blocked, or less than 0.05 mm from it, within a tenth of a millimetre.
                assert margin(end + inward * 0.1) < 0.06


def test_a_margin_that_is_free_throughout_blocks_nothing_and_is_cheap() -> None:
    asked: list[float] = []

    def margin(t: float) -> float:
        asked.append(t)
        return 30.0 + 0.5 * t

    assert blocked_intervals(margin, 0.0, 100.0) == ()
    assert len(asked) < 10


def test_a_margin_that_is_nowhere_free_blocks_all() -> None:
    assert blocked_intervals(lambda t: -5.0, 0.0, 100.0) == ((0.0, 100.0),)


def test_several_windows_are_all_found() -> None:
    found = blocked_intervals(lambda t: min(abs(t - 20) - 5, abs(t - 70) - 10), 0.0, 100.0)
    assert len(found) == 2
    assert found[0] == pytest.approx((15.0, 25.0), abs=0.11)
    assert found[1] == pytest.approx((60.0, 80.0), abs=0.11)


# -- sums worked by hand ----------------------------------------------------------------------

NOSE = """
format: 1
title: fan, radiator and one thing in the sweep
units: mm
tape: 0.01
rules: {{fan front: {front}, fan rear: {rear}, engine to engine: 0, at speed: {speed}}}
core support:
  opening: {{width: 700, height: 480}}
radiator:
  core: {{width: 560, height: 420, thickness: 50}}
  tanks:
    top: {{height: 40, depth: 50}}
    bottom: {{height: 40, depth: 50}}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
    - core centred in core support.opening ± 0.01
    - level ± 0.001 deg
    - square across ± 0.001 deg
engine:
  tilt: {tilt} ± 0.001 deg nose up
{moves}
  place:
    - front 300 aft of water pump.hub.face
    - axis 230 below water pump.axis
    - axis 0 right of centreline
    - level ± 0.001 deg
    - square across ± 0.001 deg
water pump:
  hub: {{diameter: 60, thickness: 8}}
  snout: {{diameter: 50, length: 60}}
  pilot: {{diameter: 15, length: 10}}
  place:
    - hub.face {x_rad} ± {half} aft of radiator.core.rear
    - axis 210 above radiator.core.bottom
    - axis 0 right of centreline
    - parallel to engine ± 0.001 deg
fan:
  diameter: {diameter}
  width: {width}
{ahead}
  thickness: 1.6
  flex: 3
  spider: {{diameter: 100, thickness: 8}}
  place:
    - mount 0 ahead of water pump.hub.face
{obstacle}
"""
OBSTACLE = """
compressor:
  body: {{diameter: 100, length: 100}}
  nose: {{diameter: 100, length: 20, belt: 10}}
  place:
    - nose.front {x_obj} ahead of water pump.hub.face
    - axis {out} left of water pump.axis
    - axis 0 above water pump.axis
    - parallel to engine ± 0.001 deg
"""


def nose_of(
    *,
    x_rad: float = 152.0,
    x_obj: float | None = 22.0,
    out: float = 120.0,
    tilt: float = 0.0,
    half: float = 0.01,
    ahead: str = "  ahead: 38",
    more: str = "",
    moves: str = "",
    nose: str = NOSE,
    **other: Any,
) -> Layout:
    """A nose worked by hand: blade 38 ahead of and 17 behind the mounting face.

    Engine movement 12 and flex 3 (half of it behind) stand in the rules, 19 + 12 + 3 ahead and
    12.7 + 1.5 behind: the states in which they are real ask for less (test_fan_window.py).
    """
    given = {"front": 34.0, "rear": 14.2, "diameter": 300, "width": 55.0, "speed": 3.0} | other
    text = nose.format(
        x_rad=x_rad,
        tilt=tilt,
        half=half,
        ahead=ahead,
        moves=moves,
        obstacle=more if x_obj is None else OBSTACLE.format(x_obj=x_obj, out=out),
        **given,
    )
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def checked(layout: Layout) -> Finding:
    (one,) = check_fan_gaps(Pairs(layout), Rules(layout.envelope), lambda done, of, what: None)
    return one


def window(one: Finding) -> list[list[float]]:
    found = one.details["spacer_mm"]
    assert isinstance(found, list)
    return found


def assert_window(one: Finding, low: float, high: float) -> None:
    """One window, inside the one worked by hand, and by no more than the stated 0.2 mm."""
    ((found_low, found_high),) = window(one)
    # Figures in a finding are rounded to 0.01 mm; readings of ± 0.01 mm take off what they must.
    assert low - 0.01 <= found_low <= low + END_MM
    assert high - END_MM <= found_high <= high + 0.01


def test_the_window_worked_by_hand() -> None:
    """22 + 17 + 14.2 = 53.2 and 152 - 38 - 34 = 80.0 (worked by hand)."""
    one = checked(nose_of())
    assert_window(one, 53.2, 80.0)
    assert one.verdict is Verdict.FOULS
    assert any("one spacer" in remedy and "never stack" in remedy for remedy in one.remedies)


def test_a_radiator_too_near_leaves_no_window_and_says_what_is_missing() -> None:
    """x_rad 118 gives [53.2, 46.0]: empty by 7.2 mm (worked by hand)."""
    one = checked(nose_of(x_rad=118.0))
    assert window(one) == []
    assert one.verdict is Verdict.FOULS
    for what in ("compressor", "fan that is", "radiator", "engine"):
        (said,) = (each for each in one.remedies if what in each and "7." in each)
        assert 7.2 <= float(said.split(" mm")[0].split()[-1]) <= 7.2 + 2 * END_MM


def test_nothing_in_the_sweep_needs_no_spacer() -> None:
    one = checked(nose_of(x_obj=None))
    assert_window(one, 0.0, 80.0)
    assert one.verdict is Verdict.FITS


def test_what_stands_just_outside_the_tips_counts_by_its_radial_gap() -> None:
    """Of radius 50 and 220 out, it leaves 20 to tips of radius 150: more than 14.2, no spacer."""
    assert_window(checked(nose_of(out=220.0)), 0.0, 80.0)


def test_room_that_the_file_asks_for_moves_the_end_of_the_window() -> None:
    """Behind, the 3 at speed and the tips' 1.5 aft are more than the 3 that is asked at rest."""
    assert_window(checked(nose_of(rear=3.0, front=50.0)), 22 + 17 + 1.5 + 3, 152 - 38 - 50)


@pytest.mark.parametrize("pitch", [2.0, 4.0])
def test_a_tilted_axis_brings_the_tips_nearer_to_an_upright_core(pitch: float) -> None:
    """Disc of radius r, axis at an angle p to the core's normal: its near edge lacks r sin p.

    Square to the core the hub face stands 152 off; front disc at 38 + t along the axis:
    152 - (38 + t) cos p - 150 sin p = 34.
    """
    p = math.radians(pitch)
    high = (152 - 34 - 150 * math.sin(p)) / math.cos(p) - 38
    # 72 wedges are circumscribed: 150 (1 / cos(pi / 72) - 1) sin p is below 0.01 mm.
    assert_window(checked(nose_of(x_obj=None, tilt=pitch)), 0.0, high)


def test_a_reading_of_the_hub_takes_two_deviations_off_the_window() -> None:
    """± 3 mm is a deviation of 3 / √3; two of them are 3.464 mm."""
    assert_window(checked(nose_of(x_obj=None, half=3)), 0.0, 80.0 - 2 * 3 / math.sqrt(3))


def test_a_size_that_is_only_assumed_takes_its_whole_range_off() -> None:
    """Without a figure, blades stand 30 ± 15 ahead of the mounting face: 152 - 30 - 15 - 34."""
    assert_window(checked(nose_of(x_obj=None, ahead="")), 0.0, 73.0)


def test_the_gaps_at_the_clock_are_those_of_the_blades_front_edge() -> None:
    """Along the axis from rim to core: 152 / cos p - 38 -+ 150 tan p at the top and bottom."""
    one = checked(nose_of(x_obj=None, tilt=4.0))
    p = math.radians(4.0)
    middle = 152 / math.cos(p) - 38
    expected = {12: 150 * math.tan(p), 3: 0.0, 6: -150 * math.tan(p), 9: 0.0}
    for hour, more in expected.items():
        assert one.details[f"gap_{hour}_mm"] == pytest.approx(middle + more, abs=0.02)
        assert one.details[f"gap_{hour}_spread_mm"] == pytest.approx(0.02, abs=0.05)


def test_at_the_ends_of_the_window_the_worst_sure_gap_just_keeps_its_rule() -> None:
    layout = nose_of(tilt=3.0, half=1.5, ahead="  ahead: 38 ± 2")
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    fan = layout.parts["fan"]
    ((low, high),) = window(checked(layout))
    for thickness in (low, high, (low + high) / 2):
        left = np.inf
        for other in layout.parts.values():
            for mine, theirs in component_pairs(layout, fan, other) if other is not fan else ():
                rule = rules.between(fan, mine, other, theirs).value_mm
                sure = pairs.sure_gap(
                    fan,
                    mine,
                    other,
                    theirs,
                    enough_mm=rule + MOST_SPACER_MM,
                    shift=-thickness * fan.pose[:3, 0],
                )
                left = min(left, sure.lower_mm - rule)
        assert left >= -0.01  # the finding's figures are rounded to 0.01 mm
        if thickness in (low, high):
            assert left <= END_MM


def test_a_radiator_that_nobody_placed_leaves_the_question_open() -> None:
    drier = "drier:\n  diameter: 60\n  height: 200\n  place: [axis 100 aft of core support.face]"
    one = checked(nose_of(x_obj=None, more=drier))
    assert one.verdict is Verdict.NOT_KNOWN
    assert "drier" in one.note


# -- a spacer that is on already ---------------------------------------------------------------


def on_spacer(thick: float, **given: Any) -> Layout:
    """The nose worked by hand, its fan that much further out."""
    bare = "mount 0 ahead of water pump.hub.face"
    assert NOSE.count(bare) == 1
    there = NOSE.replace(bare, f"mount {thick} ahead of water pump.hub.face")
    return nose_of(nose=there, **given)


def test_with_a_spacer_on_the_whole_of_the_one_in_its_place_is_said() -> None:
    """53.2 to 80.0 from the hub, whatever is on: 54 to 79 in whole millimetres, never 34 to 59."""
    bare, on = checked(nose_of()), checked(on_spacer(20.0))
    assert_window(on, 33.2, 60.0)
    assert "a spacer of 54 mm to 79 mm" in bare.note
    assert "a spacer of 54 mm to 79 mm in the place of the one that is on would" in on.note
    (remedy,) = on.remedies
    assert remedy.startswith("put one spacer of 54 mm to 79 mm in the place of the one that is on")
    assert remedy.endswith("never stack spacers")
    assert "between hub and fan; " not in remedy


def test_what_needs_another_spacer_as_well_says_the_whole_of_it() -> None:
    """With the radiator 7.2 further forward one thickness is left from the hub, 53.2."""
    remedies = checked(on_spacer(20.0, x_rad=118.0)).remedies
    (said,) = (one for one in remedies if one.startswith("move the radiator"))
    thick, instead = said.split("one spacer of ")[1].split(" mm ")
    assert 53.2 <= float(thick) <= 53.2 + 2 * END_MM
    assert instead == "in the place of the one that is on"
    assert remedies[0].startswith("take off the spacer that is on, measure again")


def test_the_right_spacer_that_is_on_is_said_to_keep_its_room() -> None:
    one = checked(on_spacer(60.0))
    assert one.verdict is Verdict.FITS
    assert one.note == "The fan keeps its room with the 60 mm spacer that is on."
    assert one.remedies == ()


def test_a_pulleys_web_between_hub_and_fan_is_no_spacer() -> None:
    """3 mm of sheet (common practice): what is added is said."""
    one = checked(on_spacer(3.0))
    assert "spacer_on_mm" not in one.details
    assert "between hub and fan; never stack spacers" in one.remedies[0]


def test_where_hardly_a_shim_would_do_none_is_spoken_of() -> None:
    """152 - 38 - 34 = 80 are left ahead; with the radiator at 74 two of them."""
    one = checked(nose_of(x_obj=None, x_rad=74.0))
    assert_window(one, 0.0, 2.0)
    assert one.note == "The fan needs no spacer."


# -- where no spacer helps ------------------------------------------------------------------------


def test_a_fan_that_stands_in_the_core_is_said_to_stand_in_it() -> None:
    """The radiator is ahead, the compressor behind: neither is both (24 - 38 < 0: in the core)."""
    one = checked(nose_of(x_rad=24.0))
    assert one.verdict is Verdict.FOULS
    assert "stands in the radiator" in one.note
    assert "compressor behind it and radiator ahead of it" in one.note


def test_what_is_missing_is_told_though_the_fan_stands_in_the_core() -> None:
    """Behind asks for 53.2; ahead leaves 24 - 38 - 34 = -48: 101.2 are missing."""
    one = checked(nose_of(x_rad=24.0))
    said = [remedy for remedy in one.remedies if "move the radiator" in remedy]
    assert said
    for remedy in said:
        assert 101.2 <= float(remedy.split(" mm")[0].split()[-1]) <= 101.2 + 2 * END_MM


def test_with_nothing_behind_a_spacer_is_not_spoken_of() -> None:
    """24 - 38 - 34 = -48 ahead of it, and nothing behind: only the radiator or the engine."""
    one = checked(nose_of(x_rad=24.0, x_obj=None))
    assert "nearer" in one.note
    assert "behind" not in one.note
    said = [remedy for remedy in one.remedies if remedy.startswith("move the ")]
    assert {remedy.split()[2] for remedy in said} == {"radiator", "engine"}
    for remedy in said:
        assert 48.0 <= float(remedy.split(" mm")[0].split()[-1]) <= 48.0 + 2 * END_MM


def test_what_needs_a_spacer_as_well_says_how_thick() -> None:
    """With the radiator 7.2 further forward just one thickness is left: 53.2."""
    remedies = checked(nose_of(x_rad=118.0)).remedies
    (said,) = (one for one in remedies if one.startswith("move the radiator"))
    thick = float(said.split("one spacer of ")[1].removesuffix(" mm"))
    assert 53.2 <= thick <= 53.2 + 2 * END_MM


def test_no_fan_is_to_be_narrower_than_fans_are() -> None:
    """55 wide and 101.2 missing: there is no such fan."""
    assert not any("narrower" in remedy for remedy in checked(nose_of(x_rad=24.0)).remedies)
    assert any("narrower" in remedy for remedy in checked(nose_of(x_rad=118.0)).remedies)


def test_only_what_can_be_moved_by_itself_is_moved() -> None:
    pulley = """
water pump pulley:
  diameter: 290
  place:
    - front 30 ahead of water pump.hub.face
"""
    one = checked(nose_of(x_rad=118.0, x_obj=None, more=pulley))
    assert one.verdict is Verdict.FOULS
    assert "pulley behind it" in one.note
    moved = [remedy.split(" mm")[0] for remedy in one.remedies if remedy.startswith("move ")]
    assert moved
    assert not any("pulley" in remedy or "pump" in remedy for remedy in moved)


# -- what the tips pass beside ---------------------------------------------------------------------

HOOD = """
hood:
  length: 1500
  width: 700
  thickness: 40
  place:
    - front 400 ahead of core support.face
    - bottom 395 ± 0.01 above core support.opening.bottom
    - middle 0 ± 0.01 right of centreline
    - 0 ± 0.001 deg nose down
    - level ± 0.001 deg
    - square across ± 0.001 deg
"""


def test_no_spacer_makes_room_under_a_hood_and_none_is_spoken_of() -> None:
    """Tips at 25 + 210 + 150 = 385, the hood at 395: 10 of 34 that are asked, 24 are missing."""
    one = checked(nose_of(x_rad=400.0, x_obj=None, more=HOOD))
    assert one.verdict is Verdict.FOULS
    assert "no spacer changes that: the hood is beside its tips" in one.note
    assert "behind" not in one.note
    assert "ahead" not in one.note
    said, electric = one.remedies
    assert "electric fan" in electric
    assert "between the tips and the hood" in said
    figures = [float(part.split()[-1]) for part in said.split(" mm")[:-1]]
    assert 24.0 <= figures[0] <= 24.0 + 0.3
    assert 48.0 <= figures[1] <= 48.0 + 0.6


def test_a_hood_beside_the_tips_is_neither_ahead_nor_behind_where_something_else_is() -> None:
    """7.2 are missing between compressor and radiator, with a hood over them or without."""
    obstacle = OBSTACLE.format(x_obj=22.0, out=120.0)
    one = checked(nose_of(x_rad=118.0, x_obj=None, more=obstacle + HOOD))
    assert "between compressor behind it and radiator ahead of it" in one.note
    assert "beside its tips the hood leaves too little room" in one.note
    assert one.remedies[-1].startswith("then also make")
    moved = [each for each in one.remedies if each.startswith("move the radiator")]
    assert moved
    assert 7.2 <= float(moved[0].split(" mm")[0].split()[-1]) <= 7.2 + 2 * END_MM
    assert not any(each.startswith("move") and "the hood " in each for each in moved)
