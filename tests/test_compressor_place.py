"""Where a compressor may stand: against closed forms, the solids, and the nose written anew."""

from __future__ import annotations

import math
import re
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from noseroom.checks.belt_places import belt_places
from noseroom.checks.belts import check_belts
from noseroom.checks.bodies import bodies_of
from noseroom.checks.clear_places import STEP_MM, ClearPlaces, Window, neighbours
from noseroom.checks.compressor_place import Places, find_places
from noseroom.checks.compressor_stand import with_places
from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.checks.fit import check_fit
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules
from noseroom.tables.limits import limits

NOSE = """
format: 1
title: a drive with a post beside it
units: mm
tape: {tape}
core support:
  opening: {{width: 700, height: 480}}
radiator:
  core: {{width: 560, height: 420, thickness: 50}}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
engine:
  tilt: 0 ± 0.01 deg nose up
  place:
    - front 200 aft of water pump.hub.face
    - axis 200 below water pump.axis
    - axis 0 right of centreline
    - level ± 0.01 deg
    - square across ± 0.01 deg
water pump:
  place:
    - hub.face 300 aft of radiator.core.rear
    - axis 260 above radiator.core.bottom
    - axis 0 right of centreline
    - parallel to engine ± 0.01 deg
water pump pulley:
  diameter: 150
  place:
    - front flush with water pump.hub.face
crank pulley:
  diameter: 170
  place:
    - belt flush with water pump pulley.belt
compressor:
  ears: {{side: none}}
  body: {{diameter: 110, length: 150}}
  nose: {{diameter: 120, length: 40, belt: 20}}
{key}
  place:
    - belt {line}
    - axis {out:.4f} right of water pump.axis
    - axis {up} water pump.axis
    - parallel to engine ± {square} deg
{more}
drive belt:
  is: belt
  over: [{over}]
"""
POST = """post:
  is: cylinder
  diameter: 60
  length: 400
  carried by: engine
  place:
    - axis 240 right of water pump.axis
    - axis 50 below water pump.axis
    - front 100 ahead of water pump.hub.face
    - parallel to engine ± 0.01 deg
"""
IDLER = """idler:
  is: idler pulley
  diameter: 60
  place:
    - belt flush with water pump pulley.belt
    - axis 135 right of water pump.axis
    - axis 75 above water pump.axis
    - parallel to engine ± 0.01 deg
"""
ALL = "crank pulley, water pump pulley, compressor"
OUT, UP, POST_OUT, POST_UP = 160.0, -60.0, 240.0, -50.0
NOSE_R, POST_R = 60.0, 30.0


def nose(
    *,
    out: float = OUT,
    up: float = UP,
    more: str = POST,
    key: str = "",
    over: str = ALL,
    tape: float = 0.05,
    square: float = 0.01,
    line: str = "flush with water pump pulley.belt",
) -> Layout:
    height = f"{abs(up):.4f} {'above' if up > 0 else 'below'}"
    text = NOSE.format(
        out=out, up=height, more=more, key=key, over=over, tape=tape, square=square, line=line
    )
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


@cache
def usual() -> Layout:
    return nose()


@cache
def told() -> tuple[Finding, ...]:
    return findings_of(usual())


@cache
def looked() -> Places:
    return places_of(usual())


def places_of(layout: Layout, reach: tuple[float, ...] | None = None) -> Places:
    found = find_places(Pairs(layout), Rules(layout.envelope), layout.parts["compressor"], reach)
    assert found is not None
    return found


def findings_of(layout: Layout) -> tuple[Finding, ...]:
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    bodies = bodies_of(layout, lambda *_: None)
    fit = check_fit(pairs, bodies, rules, lambda *_: None)
    return with_places(pairs, rules, fit.findings)


def stand_of(layout: Layout) -> Finding | None:
    return next((one for one in findings_of(layout) if one.id == "stand: compressor"), None)


def clear_only(layout: Layout, window: Window) -> NDArray[np.bool_]:
    """Which places keep clear of the post, whatever the belt does."""
    pairs, part = Pairs(layout), layout.parts["compressor"]
    alive = np.ones(window.shape, dtype=bool)
    near = neighbours(pairs, Rules(layout.envelope), part, [layout.parts["post"]])
    ClearPlaces(pairs, part, window).keep(alive, list(near))
    return alive


def window_of(layout: Layout, reach: float = 100.0) -> Window:
    frame = layout.parts["crank pulley"].pose[:3, :3]
    return Window.round_about(frame[:, 1], frame[:, 2], (reach,) * 4)


# -- clear of what stands round it --------------------------------------------------------------


def test_a_round_nose_keeps_clear_of_a_round_post_outside_a_circle() -> None:
    """Two parallel cylinders: their gap is the distance of their axes less both radii."""
    layout = usual()
    window = window_of(layout)
    asked = 3.0
    apart = np.hypot(OUT + window.across[None, :] - POST_OUT, UP + window.along[:, None] - POST_UP)
    gap = apart - NOSE_R - POST_R
    alive = clear_only(layout, window)
    assert alive[gap >= asked + 1.5].all()  # what the readings and the facets of pieces may take
    assert not alive[gap < asked].any()
    assert 0.2 < alive.mean() < 0.9


def test_looser_readings_leave_fewer_places() -> None:
    tight, loose = usual(), nose(tape=2.0, square=0.5)
    few, many = (clear_only(one, window_of(one)) for one in (loose, tight))
    assert few.sum() < many.sum()
    assert not (few & ~many).any()


def test_the_map_is_what_every_place_says_for_itself() -> None:
    """Against the sure gap of each tenth place, one by one: none too many, hardly one too few."""
    layout = nose(tape=1.0, square=0.3)
    window = window_of(layout)
    alive = clear_only(layout, window)
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    part, post = layout.parts["compressor"], layout.parts["post"]
    alone = np.zeros(window.shape, dtype=bool)
    tried = np.zeros(window.shape, dtype=bool)
    tried.ravel()[::10] = True
    for row, column in np.argwhere(tried):
        shift = window.shifts[row, column]
        alone[row, column] = all(
            pairs.sure_gap(part, mine, post, theirs, enough_mm=asked, shift=shift).lower_mm >= asked
            for mine, theirs in component_pairs(layout, part, post)
            if (asked := rules.between(part, mine, post, theirs).value_mm) >= 0
        )
    assert not (alive & ~alone & tried).any()
    assert (alone & ~alive).sum() <= 0.005 * tried.sum()


def rod(name: str, out: int, way: str) -> str:
    """A thin rod along the engine that a belt runs into where the compressor would not."""
    text = POST.replace("post:", f"{name}:").replace("diameter: 60", "diameter: 8")
    return text.replace("240 right", f"{out} right").replace("50 below", way)


def test_a_belt_that_two_things_are_in_the_way_of_keeps_clear_of_both() -> None:
    """What is left is what each of the two leaves by itself."""
    rods = rod("rod", 120, "0 above"), rod("second rod", 130, "160 below")
    left = []
    for more in (*rods, "".join(rods)):
        found = places_of(nose(more=more))
        left.append(found.allowed)
        assert any(belt == "drive belt" and by for (belt, by), n in found.struck.items() if n)
    one, other, both = left
    np.testing.assert_array_equal(both, one & other)
    assert both.sum() < min(one.sum(), other.sum())


def test_solids_keep_their_rules_at_places_that_are_allowed() -> None:
    """The exact clearance of the solids at every tenth place that is allowed, of what is near."""
    layout, places = usual(), looked()
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    bodies = bodies_of(layout, lambda *_: None)
    part = layout.parts["compressor"]
    near = [
        (mine, other, theirs, rules.between(part, mine, other, theirs).value_mm)
        for other in (layout.parts[name] for name in ("post", "crank pulley", "water pump pulley"))
        for mine, theirs in component_pairs(layout, part, other)
        if pairs.box_gap_mm(part, mine, other, theirs) < 100.0
    ]
    for row, column in np.argwhere(places.allowed)[::10]:
        pose = part.pose.copy()
        pose[:3, 3] += places.window.shifts[row, column]
        for mine, other, theirs, asked in near:
            gap = bodies.clearance(part, mine, other, theirs, poses=(pose, other.pose))
            assert gap.distance_mm >= asked, (row, column, mine, other.name, theirs)


# -- on its belt --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "over",
    [
        ALL,
        "crank pulley, compressor",
        "compressor, water pump pulley, crank pulley",
        "crank pulley, compressor, idler, water pump pulley]\n  back on: [idler",
    ],
)
def test_wraps_at_many_places_are_those_of_each(over: str) -> None:
    layout = nose(over=over, more=IDLER)
    drive = Drive(layout, Pairs(layout).bends, layout.parts["drive belt"])
    shifts = window_of(layout).shifts[::5, ::5].reshape(-1, 3)
    found = belt_places(drive, "compressor", shifts)
    assert found is not None
    looked_at = 0
    for shift, wraps in zip(shifts, np.degrees(found.wraps), strict=True):
        alone = np.array(drive.wraps_deg({"compressor": shift}))
        forms = RunForms(drive, {"compressor": shift})
        if alone.min() <= 1.0 or not forms.whole:
            continue
        looked_at += 1
        assert np.all(wraps <= alone + 1e-6)
        spread = np.degrees(forms.wraps()[1])[np.argsort(forms.order)]
        assert wraps == pytest.approx(alone - spread, abs=0.1)  # the longer arm takes a little
    assert looked_at > 20


def test_an_open_belt_of_two_pulleys_wraps_as_textbooks_say() -> None:
    """θ = π ± 2 asin((R - r)/C), open belt drive (Shigley's Mechanical Engineering Design, 17-1).

    At places where the compressor moves straight away from the crank.
    """
    layout = nose(over="crank pulley, compressor", more="")
    drive = Drive(layout, Pairs(layout).bends, layout.parts["drive belt"])
    line = np.array([OUT, 200.0 + UP])
    away = line / math.hypot(*line)
    window = window_of(layout)
    for by in (0.0, 20.0, 60.0):
        shift = by * (away[0] * window.right + away[1] * window.up)
        found = belt_places(drive, "compressor", shift[None])
        assert found is not None
        lean = 2.0 * math.degrees(math.asin((85.0 - 60.0) / (math.hypot(*line) + by)))
        wraps = np.degrees(found.wraps[0])
        assert wraps[0] == pytest.approx(180.0 + lean, abs=0.6)
        assert wraps[1] == pytest.approx(180.0 - lean, abs=0.6)
        assert wraps[0] <= 180.0 + lean
        assert wraps[1] <= 180.0 - lean


def test_places_hold_the_wrap_on_every_pulley() -> None:
    layout, places = usual(), looked()
    drive = Drive(layout, Pairs(layout).bends, layout.parts["drive belt"])
    least = limits()["belt wrap"].limit_deg
    for row, column in np.argwhere(places.allowed)[::40]:
        wraps = drive.wraps_deg({"compressor": places.window.shifts[row, column]})
        assert min(wraps) >= least


# -- what is offered ----------------------------------------------------------------------------


def test_a_nose_written_with_the_compressor_at_a_place_fits() -> None:
    """The whole circle: the place goes into the file as readings, and the file is checked anew."""
    places = looked()
    assert len(places.best) >= 3
    for one in places.best:
        there = nose(out=OUT + one.right_mm, up=UP + one.up_mm)
        pairs, rules = Pairs(there), Rules(there.envelope)
        fit = check_fit(pairs, bodies_of(there, lambda *_: None), rules, lambda *_: None)
        for finding in (*fit.findings, *check_belts(pairs, rules)):
            if "compressor" in finding.parts or finding.id.startswith(("reach", "line")):
                assert finding.verdict is Verdict.FITS, finding.note


def test_places_are_ranked_and_well_apart() -> None:
    best = looked().best
    far = [one.far_mm for one in best]
    assert far == sorted(far)
    spots = [(one.right_mm, one.up_mm) for one in best]
    for k, one in enumerate(spots):
        for other in spots[:k]:
            assert math.dist(one, other) >= 20.0 - 2 * STEP_MM
    # By hand, straight away from the post: the belt, which stands up to 3 mm out of the pulley (1.5
    # and as much again, being assumed), is to keep 10 mm to it; the nose itself only 3.
    apart = math.hypot(OUT - POST_OUT, UP - POST_UP)
    shortest = NOSE_R + 3.0 + 10.0 + POST_R - apart
    assert shortest - 0.1 <= far[0] <= shortest + 2 * STEP_MM


def test_what_is_said_is_what_was_judged() -> None:
    finding = next(one for one in told() if one.id == "stand: compressor")
    assert finding is not None
    assert finding.verdict is Verdict.FOULS
    assert finding.parts == ("compressor",)
    best = looked().best[0]
    up = f"{abs(best.up_mm):g} mm {'up' if best.up_mm > 0 else 'down'}"
    side = f"{abs(best.right_mm):g} mm to the car's {'right' if best.right_mm > 0 else 'left'}"
    said = " and ".join(part for part, by in ((up, best.up_mm), (side, best.right_mm)) if by)
    assert finding.remedies[0].startswith(f"set the compressor {said}: ")
    assert "then surely keeps" in finding.remedies[0]
    assert "the belt surely lies on" in finding.remedies[0]
    share = 100 * int(looked().allowed.sum()) // 101**2
    assert f"at {share} % of the places that were looked at" in finding.note
    rows = finding.details["rows_mm"]
    assert isinstance(rows, list)
    counted = sum((end - start) / STEP_MM + 1 for _, start, end in rows)
    assert counted == finding.details["places"] == looked().allowed.sum()


def test_the_place_stands_in_what_fouls_it() -> None:
    found = told()
    stand = next(one for one in found if one.id == "stand: compressor")
    pair = next(one for one in found if set(one.parts) == {"compressor", "post"})
    assert stand.remedies[0] in pair.remedies
    assert not [one for one in pair.remedies if one.startswith("move the compressor")]


def test_a_compressor_that_fits_is_not_asked_about() -> None:
    assert stand_of(nose(more="")) is None


def test_a_file_can_ask_how_far_its_bracket_may_go() -> None:
    layout = nose(more="", key="  places: {left: 10, right: 60, up: 30}")
    finding = stand_of(layout)
    assert finding is not None
    assert finding.verdict is Verdict.FITS
    assert finding.remedies == ()
    assert finding.details["window_mm"] == [[-10.0, 60.0], [0.0, 30.0]]
    assert finding.details["looked_at"] == 36 * 16
    assert finding.details["rows_mm"] == [[2.0 * up, -10.0, 60.0] for up in range(16)]


WALL = """wall:
  is: box
  depth: 400
  width: 600
  height: 800
  carried by: engine
  place:
    - left 130 right of water pump.axis
    - middle 0 above water pump.axis
    - front 100 ahead of water pump.hub.face
    - parallel to engine ± 0.01 deg
"""


def test_no_place_is_said_with_what_is_in_the_way() -> None:
    layout = nose(more=WALL, key="  places: {left: 4, right: 60, up: 30, down: 30}")
    finding = stand_of(layout)
    assert finding is not None
    assert finding.verdict is Verdict.FOULS
    assert finding.details["places"] == 0
    assert "no place keeps it clear" in finding.note
    assert "the compressor meets the wall" in finding.note
    # Nobody who reads it knows of a grid: what is most in the way is said, and no count of places.
    assert ": mostly the " in finding.note
    assert not re.search(r" at \d+", finding.note)
    assert any("let its bracket go further" in one for one in finding.remedies)
    pair = next(one for one in findings_of(layout) if set(one.parts) == {"compressor", "wall"})
    assert all(", but " in one for one in pair.remedies if " left" in one or " up" in one)


FAN = """fan:
  drive: rigid
  diameter: 420
  blades: 6
  width: 50
  ahead: 20
  place:
    - blade.front at 12 o'clock 250 aft of radiator.core.rear
"""


def test_a_compressor_in_the_fan_is_told_how_far_its_plane_has_to_go() -> None:
    """The figure, put into the file with the pulleys that go along, clears the fan."""
    finding = stand_of(nose(more=FAN))
    assert finding is not None
    assert finding.verdict is Verdict.FOULS
    assert "fouls the fan" in finding.note
    said = re.match(r"set the compressor, .+ ([\d.]+) mm aft: in that plane", finding.remedies[0])
    assert said is not None
    aft = f"{float(said[1]):.1f} aft of water pump pulley.belt"
    layout = nose(more=FAN, line=aft, over="crank pulley, compressor")
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    part, fan = layout.parts["compressor"], layout.parts["fan"]
    for mine, theirs in component_pairs(layout, part, fan):
        asked = rules.between(part, mine, fan, theirs).value_mm
        gap = pairs.sure_gap(part, mine, fan, theirs, enough_mm=asked)
        assert gap.lower_mm >= asked, (mine, theirs)


BLOCK = """block:
  is: box
  depth: 60
  width: 40
  height: 40
  carried by: engine
  place:
    - left 140 left of water pump.axis
    - middle 0 above water pump.axis
    - front 30 ahead of water pump.hub.face
    - parallel to engine ± 0.01 deg
"""


def with_spacer(layout: Layout) -> Finding:
    """What is said of the compressor where a spacer of 60 to 70 mm serves the fan."""
    pairs, rules = Pairs(layout), Rules(layout.envelope)
    fit = check_fit(pairs, bodies_of(layout, lambda *_: None), rules, lambda *_: None)
    question = "does the fan need a spacer"
    windows: list[list[float]] = [[60.0, 70.0]]
    gap = Finding(
        "fan gap: fan", question, ("fan",), Verdict.FOULS, "", details={"spacer_mm": windows}
    )
    found = with_places(pairs, rules, (*fit.findings, gap))
    return next(one for one in found if one.id == "stand: compressor")


def test_another_plane_is_not_offered_where_the_fan_fouls_something_else_all_the_same() -> None:
    """The block stands 30 mm deep in the blades, wherever the compressor goes."""
    alone, both = (nose(more=FAN + more) for more in ("", BLOCK))
    (said,) = with_spacer(alone).remedies
    assert said.startswith("without a spacer for the fan: set the compressor")
    assert with_spacer(both).remedies == ()
    # Where no spacer serves, what is left is said beside the move.
    told = stand_of(both)
    assert told is not None
    assert "but the fan still lacks room to the block" in told.remedies[0]


def test_what_has_no_known_place_is_named() -> None:
    lost = """box of unknown place:
  is: box
  depth: 50
  width: 50
  height: 50
  place:
    - front 10 ahead of water pump.hub.face
"""
    finding = stand_of(nose(more=POST + lost))
    assert finding is not None
    assert "Not looked at, because nobody knows where they stand: the box of unknown place" in (
        finding.note
    )
