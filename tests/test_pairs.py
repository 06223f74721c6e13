"""Sure gaps of whole components, how far parts stray, and the four verdicts on pairs."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from assumed_noses import as_far_as_readings_let, changes, true_nose, with_perfect_readings
from drive_nose import DRIVE
from noseroom.checks.bends import Bends
from noseroom.checks.bodies import bodies_of
from noseroom.checks.fit import FitResult, check_fit
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.checks.sway import relative_sway_mm
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.geometry.separation import separation
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

Floats = NDArray[np.float64]

NOSE = (
    """
format: 1
title: a nose with much that is only assumed
"""
    + DRIVE
    + """\
battery tray:
  is: box
  depth: 170
  width: 240
  height: 30
  place:
    - front 40 aft of radiator.core.rear
    - left 400 right of centreline
    - bottom 200 above core support.opening.bottom
"""
)


def layout_of(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


@pytest.fixture(scope="module")
def nose() -> Layout:
    return layout_of(NOSE)


def quiet(done: int, of: int, what: str) -> None:
    """Progress that nobody watches."""


def corners(part: PlacedPart) -> Floats:
    return np.concatenate([piece.corners for x in part.moving.values() for piece in x[0]])


# -- how far parts stray --------------------------------------------------------------------------


def test_no_two_points_of_two_parts_come_closer_than_their_sway_lets_them(nose: Layout) -> None:
    """Not of belts, whose run is found anew in every nose: no point of it can be followed."""
    alone = with_perfect_readings(nose)
    parts = [part for part in nose.parts.values() if part.components and part.kind != "belt"]
    bends = Bends(nose.survey)
    sway = {
        (a.name, b.name): relative_sway_mm(a, b, alone.uncertainty, bends)
        for a, b in combinations(parts, 2)
    }
    rng = np.random.default_rng(1)
    for change in changes(nose, rng, 9):
        truth, _ = true_nose(nose, as_far_as_readings_let(nose, change))
        for a, b in combinations(parts, 2):
            before, after = [
                [corners(layout.parts[part.name]) for part in (a, b)] for layout in (nose, truth)
            ]
            i, j = rng.integers(len(before[0]), size=60), rng.integers(len(before[1]), size=60)
            apart = [np.linalg.norm(one[i] - two[j], axis=1) for one, two in (before, after)]
            assert (apart[1] >= apart[0] - sway[a.name, b.name] - 1e-6).all(), (a.name, b.name)


def test_the_second_order_of_a_nose_is_never_more_than_its_bend(nose: Layout) -> None:
    """Points of one part as another sees them: the true nose against the linear forms."""
    survey = nose.survey
    bends = Bends(survey)
    tied = len(survey.adjustment.observed)
    names = [name for name, part in nose.parts.items() if part.kind != "belt" and part.components]
    largest = 0.0
    for change in changes(nose, np.random.default_rng(4), 6):
        truth, _ = true_nose(nose, as_far_as_readings_let(nose, change))
        off = np.where(survey.reaches > 0, change, 0.0)
        off[tied:] = 0.0  # sizes on which no reading depends move no part
        for holder in names:
            one, h = nose.parts[holder].placements[0], truth.parts[holder].placements[0]
            for name in names:
                other, p = nose.parts[name].placements[0], truth.parts[name].placements[0]
                points = corners(nose.parts[name])
                local = (points - other.pose.shift) @ other.pose.turn
                moved = local @ p.pose.turn.T + p.pose.shift
                seen = (moved - h.pose.shift) @ h.pose.turn @ one.pose.turn.T + one.pose.shift
                linear = (
                    (other.shift_gain - one.shift_gain) @ off
                    + np.cross((other.turn_gain @ off)[None], points - other.pose.shift)
                    - np.cross((one.turn_gain @ off)[None], points - one.pose.shift)
                )
                stray = np.abs(seen - points - linear).max(axis=0)
                most = bends.most_mm(holder, name, points)
                assert (stray <= 1.1 * most + 2e-3).all(), (holder, name)
                largest = max(largest, float(stray.max()))
    assert largest > 0.2  # this nose does bend


# -- sure gaps ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "mine", "other", "theirs"),
    [
        ("fan", "sweep", "water pump pulley", "rim"),
        ("fan", "sweep", "fan belt", "belt"),
        ("radiator", "core", "fan", "spider"),
        ("alternator", "pulley", "fan", "sweep"),
        ("crank pulley", "rim", "water pump", "hub"),
    ],
)
def test_what_is_skipped_changes_nothing(
    nose: Layout, one: str, mine: str, other: str, theirs: str
) -> None:
    """Every pair of pieces tried in full, with all sources, against the quick way, both orders."""
    pairs = Pairs(nose)
    a, b = nose.parts[one], nose.parts[other]
    quick = pairs.sure_gap(a, mine, b, theirs, enough_mm=np.inf, look_mm=np.inf)
    back = pairs.sure_gap(b, theirs, a, mine, enough_mm=np.inf, look_mm=np.inf)
    bend = pairs.bend(a, mine, b, theirs)
    ours = list(zip(*a.moving[mine], strict=True))[:: 1 if len(a.moving[mine][0]) < 9 else 6]
    others = list(zip(*b.moving[theirs], strict=True))[:: 1 if len(b.moving[theirs][0]) < 9 else 6]
    full = min(separation(x, y, nose.uncertainty, bend=bend).lower_mm for x in ours for y in others)
    # Of 72 wedges every sixth is tried: the quick way may only be below.
    assert quick.lower_mm <= full - a.slack_mm - b.slack_mm + 1e-4
    assert quick.lower_mm == pytest.approx(back.lower_mm, abs=1e-4)
    assert quick.lower_mm <= quick.nominal_mm + 1e-4
    if len(ours) < 9 and len(others) < 9:
        assert quick.lower_mm == pytest.approx(full - a.slack_mm - b.slack_mm, abs=1e-4)


def test_a_bound_that_is_said_to_be_enough_is_still_a_bound(nose: Layout) -> None:
    pairs = Pairs(nose)
    for a, b in combinations([x for x in nose.parts.values() if x.components], 2):
        for mine, theirs in component_pairs(nose, a, b):
            full = pairs.sure_gap(a, mine, b, theirs, enough_mm=30.0, look_mm=200.0)
            quick = pairs.sure_gap(a, mine, b, theirs, enough_mm=3.0)
            assert (quick.lower_mm >= 3.0) == (full.lower_mm >= 3.0), (a.name, mine, b.name, theirs)


def test_a_tried_movement_is_a_movement_of_the_first_part_alone(nose: Layout) -> None:
    """It stands out by that much more, and what turns it swings it by the longer arm."""
    pairs = Pairs(nose)
    fan, core = nose.parts["fan"], nose.parts["radiator"]
    ahead = -fan.pose[:3, 0]
    still = pairs.sure_gap(fan, "sweep", core, "core", enough_mm=np.inf, look_mm=200.0)
    moved = pairs.sure_gap(
        fan, "sweep", core, "core", enough_mm=np.inf, look_mm=200.0, shift=10 * ahead
    )
    arm = pairs.arm_mm(fan, core, 10 * ahead)
    assert 0.0 < arm < 1.0
    assert 9.5 < still.lower_mm - moved.lower_mm <= 10.0 + arm
    assert pairs.nominal_gap(fan, "sweep", core, "core", 10 * ahead) == pytest.approx(
        moved.nominal_mm, abs=1e-5
    )


# -- verdicts -------------------------------------------------------------------------------------

BOXES = """
format: 1
title: two boxes
units: mm
tape: {tape}
rules: {{body to body: {rule}}}
core support:
  opening: {{width: 700, height: 480}}
near:
  is: box
  depth: 100
  width: 200
  height: 80
  place:
    - rear 1000 aft of core support.face
    - left 300 right of centreline
    - bottom 900 above core support.opening.bottom
    - plumb ± 0.01 deg
    - level ± 0.01 deg
    - square across ± 0.01 deg
far:
  is: box
  depth: 100
  width: 200
  height: 80
  place:
    - front {at} ± {half} aft of near.rear
{more}
    - plumb ± 0.01 deg
    - level ± 0.01 deg
    - square across ± 0.01 deg
"""
BESIDE = """    - left 300 right of centreline
    - bottom 900 above core support.opening.bottom"""


def checked(
    *, at: float, half: float = 0.01, rule: float = 3.0, more: str = BESIDE, overlap: bool = False
) -> FitResult:
    text = BOXES.format(at=at, half=half, rule=rule, more=more, tape=0.01)
    if overlap:
        text = text.replace("aft of near.rear", "ahead of near.rear")
    layout = layout_of(text)
    return check_fit(Pairs(layout), bodies_of(layout, quiet), Rules(layout.envelope), quiet)


def finding(result: FitResult) -> Finding:
    (one,) = [one for one in result.findings if one.parts == ("near", "far")]
    return one


def test_a_gap_that_is_surely_wide_enough_fits() -> None:
    one = finding(checked(at=20))
    assert one.verdict is Verdict.FITS
    assert one.measured_mm == pytest.approx(20.0, abs=0.05)
    assert one.remedies == ()


def test_a_gap_that_is_surely_too_small_fouls_though_nothing_touches() -> None:
    one = finding(checked(at=1))
    assert one.verdict is Verdict.FOULS
    assert one.relation == "apart"
    assert one.measured_mm == pytest.approx(1.0, abs=1e-6)


def test_bodies_that_run_into_each_other_foul_by_what_frees_them() -> None:
    one = finding(checked(at=20, overlap=True))
    assert one.verdict is Verdict.FOULS
    assert one.pull_apart is not None
    assert one.pull_apart[1] == pytest.approx(20.0, abs=0.05)
    assert one.overlap_mm3 == pytest.approx(20.0 * 200 * 80, rel=0.01)


def test_what_the_readings_leave_open_is_too_close_to_call() -> None:
    for at in (2.0, 4.0):
        one = finding(checked(at=at, half=3))
        assert one.verdict is Verdict.TOO_CLOSE
        assert one.spread_mm == pytest.approx(2 * 3 / np.sqrt(3), abs=0.1)
        assert any("finer" in remedy for remedy in one.remedies)


def test_a_half_width_of_readings_counts_by_two_standard_deviations() -> None:
    """Rectangular: half / √3 is one (GUM 4.3.7, from memory), so 6 mm leave 3 from 9.93 on."""
    assert finding(checked(at=10.1, half=6)).verdict is Verdict.FITS
    assert finding(checked(at=9.7, half=6)).verdict is Verdict.TOO_CLOSE


def test_pairs_that_are_drawn_far_apart_are_shown_unless_they_surely_keep_their_rule() -> None:
    assert finding(checked(at=60, half=55)).verdict is Verdict.TOO_CLOSE
    assert not [one for one in checked(at=60, half=2).findings if one.parts == ("near", "far")]


@pytest.mark.parametrize(
    ("at", "overlap", "verdict"),
    [(5, False, Verdict.FITS), (0, False, Verdict.TOO_CLOSE), (5, True, Verdict.FOULS)],
)
def test_no_room_asked_is_still_no_leave_to_overlap(
    at: float, overlap: bool, verdict: Verdict
) -> None:
    assert finding(checked(at=at, rule=0.0, overlap=overlap)).verdict is verdict


def test_what_slides_freely_across_the_gap_still_fits_along_it() -> None:
    found = checked(at=20, more="")
    assert not [one for one in found.findings if one.parts == ("near", "far")]
    assert found.far_pairs == 3


def test_what_slides_freely_and_is_not_separated_is_not_known() -> None:
    one = finding(checked(at=20, more="", overlap=True))
    assert one.verdict is Verdict.NOT_KNOWN
    assert one.measured_mm is None
    assert one.spread_mm is None


def test_what_is_bolted_together_is_not_reported_and_its_neighbours_are(nose: Layout) -> None:
    fan, pump = nose.parts["fan"], nose.parts["water pump"]
    asked = set(component_pairs(nose, fan, pump))
    assert ("spider", "hub") not in asked
    assert {("sweep", "hub"), ("spider", "snout"), ("sweep", "snout")} <= asked
    assert not [pair for pair in asked if "blades" in pair]
