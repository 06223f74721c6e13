"""Sizes of electric fans put into a nose: against arithmetic, a file with such a fan, the trade."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from cooling_noses import FAN, KNOWN, STACK
from noseroom.checks.condenser_choice_air import Trials, Tried, TriedState, trials_of
from noseroom.checks.condenser_choice_words import fan_finding
from noseroom.checks.cooling_records import Span
from noseroom.checks.fan_choice import AHEAD, BEHIND, FanChoice, FanTrial, choose_fan
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.circuits import loads
from noseroom.tables.system_sizes import FanSize, fan_sizes

NEAR = """
wall:
  is: box
  carried by: car
  width: 20
  height: 14
  depth: 1
  place:
    - front {0} aft of radiator.core.rear
    - middle 0 right of centreline
    - bottom 1 above radiator.core.bottom
    - level ± 1/10 deg
    - square across ± 1/10 deg
    - plumb ± 1/10 deg
"""


def built(*texts: str) -> Layout:
    text = STACK.replace(
        "plumb ± 1/10 deg",
        "level ± 1/10 deg\n    - square across ± 1/10 deg\n    - plumb ± 1/10 deg",
    )
    return arrange(read_text("".join((text, *texts)), KINDS))


def size(diameter: float, number: int = 1, depth: float = 70.0) -> FanSize:
    return FanSize(diameter, number, depth, 45.0, "a test")


def told() -> Tried:
    one = Span(1.0, 1.0, 1.0)
    state = TriedState("hot idle", one, one, one, one, one, 0.0, 0.0, 0.0)
    return Tried((state,), one, 0.5, 0.6, 0.1, one, 0.5)


def alike(layouts: Mapping[str, Layout]) -> Mapping[str, Tried]:
    return dict.fromkeys(layouts, told())


def choice(layout: Layout, *sizes: FanSize) -> FanChoice:
    found = choose_fan(Pairs(layout), Rules(layout.envelope), alike, told(), sizes=sizes)
    assert found is not None
    return found


def trial(found: FanChoice, where: str, diameter: float) -> FanTrial:
    return next(one for one in found.trials if (one.where, one.diameter_in) == (where, diameter))


@cache
def nominal(*texts: str) -> Trials:
    found = trials_of(built(*texts), draws=1)
    assert found is not None
    return found


def test_sizes_are_those_that_are_sold() -> None:
    """Common practice: 9 to 16 in, in single inches, singles and twins, 2 to 4 in deep."""
    each = fan_sizes()
    assert len({(one.diameter_in, one.number) for one in each}) == len(each)
    assert {one.diameter_in for one in each} >= {10, 12, 14, 16}
    for one in each:
        assert 50 <= one.depth_mm <= 100
        assert one.depth_mm - one.frame_mm >= 2
        assert one.number in (1, 2)
        assert "common practice" in one.source


def test_a_fan_larger_than_the_core_is_not_tried() -> None:
    """Ring and plate stand 18 mm out of the tips, and lap 12 mm onto tanks or headers.

    By hand: the radiator's core, 24 by 16 in, takes one of 15.5 in or two of 11.4; the condenser's,
    20 by 12, one of 11.5 or two of 9.4.
    """
    found = choice(built(), size(11), size(12), size(14), size(16), size(11, 2), size(12, 2))
    assert {(one.where, one.diameter_in, one.number) for one in found.trials} == {
        (BEHIND, 11, 1),
        (BEHIND, 12, 1),
        (BEHIND, 14, 1),
        (BEHIND, 11, 2),
        (AHEAD, 11, 1),
    }
    assert "a 16 in fan behind the radiator" in found.too_large
    assert "two 12 in fans behind the radiator" in found.too_large


@pytest.mark.parametrize(("gap_in", "verdict"), [(2.0, Verdict.FOULS), (4.0, Verdict.FITS)])
def test_a_fan_needs_its_depth(gap_in: float, verdict: Verdict) -> None:
    """70 mm, give or take 6, and the rule of 3 mm on the body: 2 in are too few, 4 in enough."""
    found = trial(choice(built(NEAR.format(gap_in)), size(12)), BEHIND, 12)
    assert found.verdict is verdict
    assert found.by == ("wall" if verdict is Verdict.FOULS else "")
    assert (found.tried is None) is (verdict is Verdict.FOULS)


def test_the_engines_fan_comes_off_for_one_behind() -> None:
    found = choice(built(FAN), size(12))
    assert found.left_off == ("fan",)
    finding = fan_finding(found)
    assert finding.is_choice
    assert "the fan comes off" in finding.note


def test_a_fan_that_would_hit_the_pump_goes_beside_it() -> None:
    """The pump's hub stands 5 1/4 in behind the core, in its middle, 3 in across.

    A motor of 100 mm passes beside it where its middle is 38 + 50 mm off, and the rule more.
    """
    slim, deep = (
        trial(choice(built(FAN), size(10, depth=one)), BEHIND, 10) for one in (60.0, 140.0)
    )
    assert slim.verdict is deep.verdict is Verdict.FITS
    assert slim.across_mm == slim.up_mm == 0.0
    assert abs(deep.across_mm) > 88


def test_it_does_as_one_that_the_file_has() -> None:
    """The same fan, once as a choice and once in the file, in a nose without the engine's."""
    own = """
bought fan:
  is: electric fan
  diameter: 12
  frame: {depth: 48 mm}
  motor: {depth: 20 mm, diameter: 100 mm}
  ring: {gap: 4 mm, thickness: 6 mm}
  plate: {beyond: 8 mm}
  place:
    - front flush with radiator.core.rear
    - middle 0 right of centreline
    - middle centred up and down on radiator.core
"""
    bare, fitted = nominal(FAN, KNOWN), nominal(FAN, own, KNOWN)
    layout = bare.car.layout
    found = choose_fan(
        Pairs(layout),
        Rules(layout.envelope),
        bare,
        bare.as_read(),
        sizes=[FanSize(12, 1, 68.0, 48.0, "")],
    )
    assert found is not None
    chosen = trial(found, BEHIND, 12).tried
    parts = {key: one for key, one in fitted.car.layout.parts.items() if key != "fan"}
    file = bare({"file": replace(fitted.car.layout, parts=parts)})["file"]
    assert chosen is not None
    for mine, theirs in zip(chosen.states, file.states, strict=True):
        assert mine.coolant_c.middle == pytest.approx(theirs.coolant_c.middle, rel=1e-3)
        assert mine.air.middle == pytest.approx(theirs.air.middle, rel=1e-3)


def test_it_takes_the_current_that_such_fans_take() -> None:
    """Common practice: one of 12 in takes 6 to 13 A."""
    trials = trials_of(built(FAN, KNOWN), draws=24)
    assert trials is not None
    layout = trials.car.layout
    found = choose_fan(
        Pairs(layout), Rules(layout.envelope), trials, trials.as_read(), sizes=[size(12)]
    )
    assert found is not None
    one, row = trial(found, BEHIND, 12).tried, loads()["fan 12 in"]
    assert one is not None
    assert row.low * 0.9 <= one.amps.low < one.amps.middle < one.amps.high <= row.high * 1.1


def test_a_larger_fan_moves_more_air_and_holds_the_head_pressure_lower() -> None:
    """Common practice, at idle."""
    trials = nominal(FAN, KNOWN)
    layout = trials.car.layout
    found = choose_fan(
        Pairs(layout), Rules(layout.envelope), trials, trials.as_read(), sizes=[size(10), size(14)]
    )
    assert found is not None
    small, large = (trial(found, BEHIND, one).tried for one in (10, 14))
    assert small is not None
    assert large is not None
    assert large.states[0].air.middle > small.states[0].air.middle
    assert large.states[0].head_bar.middle < small.states[0].head_bar.middle


def test_a_nose_without_a_radiator_has_no_choice() -> None:
    text = STACK[: STACK.index("radiator:")] + STACK[STACK.index("grille:") :]
    layout = arrange(read_text(text, KINDS))
    assert choose_fan(Pairs(layout), Rules(layout.envelope), alike, told()) is None
    assert trials_of(layout) is None
