"""Sizes of condensers put into a nose: against arithmetic, the fit check, and the trade."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from cooling_noses import FAN, KNOWN, PULLER, STACK, STRONG, nose
from noseroom.checks.bodies import Bodies
from noseroom.checks.condenser_choice import CondenserChoice, CondenserTrial, choose_condenser
from noseroom.checks.condenser_choice_air import Trials, Tried, TriedState, trials_of
from noseroom.checks.condenser_choice_words import condenser_finding
from noseroom.checks.cooling_records import Span
from noseroom.checks.fit import check_part
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.layout import Layout, arrange
from noseroom.memo import Memo
from noseroom.parts.registry import KINDS
from noseroom.tables.system_sizes import CondenserSize, condenser_sizes

OPENING_IN = 28.0
TABS_IN = 2.0
_MEASURED = """depth: 1}
  ports: {way: ahead, from top: 2, spacing: 6}
  tabs: {width: 1 ± 1/64, height: 1 ± 1/64, thickness: 1/8 ± 1/64}"""
_STRAIGHT = """level ± 1/10 deg
    - square across ± 1/10 deg
    - plumb ± 1/10 deg"""
SURE = (
    STACK.replace("depth: 1}", _MEASURED)
    .replace("plumb ± 1/10 deg", _STRAIGHT)
    .replace("height: 20}}", "height: 20}, sides: {width: 2}, thickness: 1/16 ± 1/64}")
)
HORN = """
horn:
  is: box
  carried by: core support
  width: 4
  height: 4
  depth: 4
  place:
    - rear 1/4 ahead of core support.face
    - middle 12 1/2 right of centreline
    - bottom 8 above core support.opening.bottom
"""


def sure_nose(*texts: str) -> Layout:
    """With tabs that were measured, and set with a level and a square."""
    return arrange(read_text("".join((SURE, *texts)), KINDS))


def size(height: float, width: float) -> CondenserSize:
    return CondenserSize(height, width, "a test")


def told(sound: float, better: float = 0.6) -> Tried:
    one = Span(1.0, 1.0, 1.0)
    state = TriedState("hot idle", one, one, one, one, one, 0.0, 0.0, 0.0)
    return Tried((state,), one, sound, better, 0.0, one, 0.5)


def by_area(layouts: Mapping[str, Layout]) -> Mapping[str, Tried]:
    """Stands in for the model: the larger the core, the sounder."""
    areas = {}
    for name, layout in layouts.items():
        part = layout.parts["condenser"].part
        areas[name] = told(part.core_width_mm * part.core_height_mm / 1e6)  # type: ignore[attr-defined]
    return areas


def choice(layout: Layout, *sizes: CondenserSize) -> CondenserChoice:
    found = choose_condenser(Pairs(layout), Rules(layout.envelope), by_area, told(0.1), sizes=sizes)
    assert found is not None
    return found


@cache
def nominal(*texts: str) -> Trials:
    found = trials_of(nose(*texts), draws=1)
    assert found is not None
    return found


def trial(found: CondenserChoice, name: str) -> CondenserTrial:
    return next(one for one in found.trials if one.name == name)


# -- the table ----------------------------------------------------------------------------------


def test_sizes_come_in_steps_and_without_a_maker() -> None:
    """Common practice: even inches, 10 to 18 high and 16 to 26 wide."""
    each = condenser_sizes()
    assert len({(one.height_in, one.width_in) for one in each}) == len(each) >= 20
    for one in each:
        assert one.height_in % 2 == one.width_in % 2 == 0
        assert 10 <= one.height_in <= 18
        assert 16 <= one.width_in <= 26
        assert "common practice" in one.source


# -- what fits ----------------------------------------------------------------------------------


def test_what_is_wider_than_the_opening_does_not_fit() -> None:
    """By hand: headers and tabs of 1 in on either side have to go between the sides."""
    layout = sure_nose(FAN)
    found = choice(layout, size(12, 22), size(12, 24), size(12, 26), size(12, 30))
    asked_in = Rules(layout.envelope).named("body to body").value_mm / 25.4
    for one in found.trials:
        if one.width_in + TABS_IN + 2 * asked_in > OPENING_IN:
            assert one.verdict is not Verdict.FITS
            assert one.by == "core support"
        elif one.width_in <= 24:
            assert one.verdict is Verdict.FITS
    assert trial(found, "12 by 30 in").verdict is Verdict.FOULS
    assert trial(found, "12 by 30 in").tried is None


@pytest.mark.parametrize(("height", "width"), [(10, 16), (14, 22), (14, 24)])
def test_a_size_that_fits_does_so_in_the_whole_fit_check(height: float, width: float) -> None:
    """Written into the file where the choice puts it, and checked as any condenser is."""
    found = choice(sure_nose(FAN), size(height, width)).trials[0]
    assert found.verdict is Verdict.FITS
    low = 2.0 + 6.0 - height / 2 + found.up_mm / 25.4
    text = SURE.replace(
        "core: {width: 20, height: 12, thickness: 3/4}",
        f"core: {{width: {width - 2}, height: {height}, thickness: 3/4}}",
    ).replace(
        "core.bottom 2 above radiator.core.bottom", f"core.bottom {low} above radiator.core.bottom"
    )
    layout = arrange(read_text(text + FAN, KINDS))
    pairs = Pairs(layout)
    findings = check_part(
        pairs, Bodies(layout, Memo()), Rules(layout.envelope), layout.parts["condenser"]
    )
    assert findings
    assert {one.verdict for one in findings} == {Verdict.FITS}


def test_what_stands_in_the_way_is_named() -> None:
    found = choice(sure_nose(FAN, HORN), size(14, 24), size(14, 16))
    wide, narrow = trial(found, "14 by 24 in"), trial(found, "14 by 16 in")
    assert (wide.verdict, wide.by) == (Verdict.FOULS, "horn")
    assert narrow.verdict is Verdict.FITS


def test_a_size_goes_where_it_covers_most_of_the_core() -> None:
    """The file's 12 in stand 2 above the core's lower edge: in its middle. 16 in cover it whole."""
    found = choice(sure_nose(FAN), size(16, 22)).trials[0]
    assert abs(found.up_mm) < 0.01
    assert found.covers_mm2 == pytest.approx(16 * 20 * 25.4**2, rel=1e-3)


def test_ports_stay_on_a_lower_condenser() -> None:
    layout = nose(FAN)
    seen: list[Layout] = []

    def judge(layouts: Mapping[str, Layout]) -> Mapping[str, Tried]:
        seen.extend(layouts.values())
        return {}

    choose_condenser(Pairs(layout), Rules(layout.envelope), judge, told(0.1), sizes=[size(10, 20)])
    part = seen[0].parts["condenser"].part
    for name in ("upper port", "lower port"):
        assert abs(part.ports()[name].point[2]) < 10 * 25.4 / 2


def test_a_nose_without_a_condenser_has_no_choice() -> None:
    text = STACK[: STACK.index("condenser:")]
    layout = arrange(read_text(text, KINDS))
    assert choose_condenser(Pairs(layout), Rules(layout.envelope), by_area, told(0.1)) is None


# -- how they are ranked ------------------------------------------------------------------------


def test_those_that_fit_come_first_and_the_soundest_before_the_rest() -> None:
    found = choice(sure_nose(FAN), size(10, 16), size(12, 30), size(14, 22), size(12, 18))
    assert [one.name for one in found.trials] == [
        "14 by 22 in",
        "12 by 18 in",
        "10 by 16 in",
        "12 by 30 in",
    ]
    assert [one.name for one in found.fitting] == [one.name for one in found.trials[:3]]


def test_a_larger_face_has_less_head_pressure_and_leaves_less_air() -> None:
    """Common practice, with the fan and all else alike."""
    trials = nominal(PULLER, STRONG)
    layout = trials.car.layout
    found = choose_condenser(
        Pairs(layout),
        Rules(layout.envelope),
        trials,
        trials.as_read(),
        sizes=[size(10, 20), size(12, 22), size(16, 24)],
    )
    assert found is not None
    states = [trial(found, name).tried for name in ("10 by 20 in", "12 by 22 in", "16 by 24 in")]
    heads = [one.states[0].head_bar.middle for one in states if one is not None]
    air = [one.states[0].air.middle for one in states if one is not None]
    assert heads[0] > heads[1] > heads[2] > 8.6
    assert air[0] > air[1] > air[2]


def test_the_files_own_size_does_as_the_file_does() -> None:
    """A 12 by 22 in condenser has the core of the file's, and stands where that stands."""
    trials = nominal(PULLER, STRONG)
    layout = trials.car.layout
    found = choose_condenser(
        Pairs(layout), Rules(layout.envelope), trials, trials.as_read(), sizes=[size(12, 22)]
    )
    assert found is not None
    one, own = found.trials[0].tried, trials.as_read()
    assert one is not None
    assert one.covered == pytest.approx(own.covered, rel=1e-9)
    assert one.states[0].head_bar.middle == pytest.approx(own.states[0].head_bar.middle, rel=1e-6)
    assert one.states[0].air.middle == pytest.approx(1.0, rel=1e-6)


def test_trials_meet_the_same_cars() -> None:
    """Paired draws: the nose against itself is neither better nor worse in any of them."""
    trials = trials_of(nose(PULLER, STRONG), draws=8)
    assert trials is not None
    same = trials({"same": trials.car.layout})["same"]
    assert same.better == same.worse == 0.0
    assert same.states == trials.as_read().states
    assert not same.helps
    assert same.amps == Span(0.0, 0.0, 0.0)


def test_the_usual_figures_alone_have_no_band() -> None:
    one = nominal(PULLER, KNOWN).as_read().states[0]
    assert one.coolant_c.low == one.coolant_c.middle == one.coolant_c.high
    assert np.isfinite(one.coolant_c.middle)


# -- in words -----------------------------------------------------------------------------------


def test_the_finding_counts_and_names() -> None:
    found = choice(sure_nose(FAN), size(10, 16), size(12, 30), size(14, 22))
    finding = condenser_finding(found, "in")
    assert finding.is_choice
    assert finding.verdict is Verdict.FITS
    assert "Of 3 usual sizes, 2 keep every rule and 1 foul." in finding.note
    # The best of them is the first remedy, and is said once.
    assert "14 by 22 in" not in finding.note
    named = [one.split(" over ")[0] for one in finding.remedies]
    assert [one[:31] for one in named] == [
        f"take a condenser of {x} in" for x in ("14 by 22", "10 by 16")
    ]


def test_what_helps_comes_before_what_harms_more_cars_than_it_helps() -> None:
    """However sound: of two shares that are told by a few draws the higher may be by chance."""
    helps, harms = told(0.15, better=0.4), replace(told(0.17, better=0.3), worse=0.5)
    assert helps.rank < harms.rank


def test_nothing_is_advised_that_does_worse() -> None:
    found = choice(sure_nose(FAN), size(10, 16))
    worse = replace(told(0.0, better=0.1), worse=0.5)
    one = replace(found.trials[0], tried=worse)
    finding = condenser_finding(replace(found, trials=(one,)), "mm")
    assert finding.remedies == ()
    assert "likely to do better" in finding.note
    assert "Best of them: 10 by 16 in" in finding.note
    assert "(254 mm by 406.4 mm)" in finding.note
