"""Windows of spacers against solids, where everything is known exactly, and against hand sums."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from noseroom.checks.fan_gap import check_fan_gaps
from noseroom.checks.fan_window import Window, window_of
from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.fan_window_states import spaced
from noseroom.checks.margins import AT_SPEED as AT_SPEED_STATE
from noseroom.checks.margins import Margins
from noseroom.checks.movement import motions_of
from noseroom.checks.moving_search import MovingSearch
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.stand_ins import StandIns
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.geometry.clearance import clearance
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.parts.at_speed import FlexingFan
from noseroom.parts.base import Part
from noseroom.parts.fan import Fan
from noseroom.parts.obstacles import Box, Cylinder
from noseroom.parts.registry import KINDS
from noseroom.survey.poses import Pose
from noseroom.tables.clearances import clearance_rules
from test_fan_gap import checked, nose_of

Floats = NDArray[np.float64]

FRONT, REAR, AT_SPEED = 14.0, 9.0, 8.0
"""The rules of these noses, mm: the last is what keeps a fan that flexes by 6 from what is near."""
END_MM = 0.2
"""How far from its rule the exact clearance may be at an end of a window; never below it."""
FLEX_MM = 6.0

BARE = f"""
format: 1
title: a fan on its pump, and two things near it
units: mm
tape: 0.01
rules: {{fan front: {FRONT}, fan rear: {REAR}, at speed: {AT_SPEED}}}
core support:
  opening: {{width: 1400, height: 900}}
water pump:
  hub: {{diameter: 60, thickness: 8}}
  snout: {{diameter: 50, length: 60}}
  pilot: {{diameter: 15, length: 10}}
  place:
    - hub.face 400 aft of core support.face
    - axis 450 above core support.opening.bottom
    - axis 0 right of centreline
    - level ± 0.0001 deg
    - plumb ± 0.0001 deg
    - square across ± 0.0001 deg
fan:
  diameter: 300
  width: 55
  ahead: 38
  thickness: 1.6
  flex: {FLEX_MM}
  spider: {{diameter: 100, thickness: 8}}
  place:
    - mount 0 ahead of water pump.hub.face
behind:
  is: cylinder
  axis: along
  diameter: 60
  length: 50
  place:
    - front 400 aft of core support.face
    - axis 450 above core support.opening.bottom
    - axis 0 right of centreline
    - level ± 0.0001 deg
    - plumb ± 0.0001 deg
    - square across ± 0.0001 deg
ahead:
  is: box
  depth: 50
  width: 60
  height: 60
  place:
    - middle 400 aft of core support.face
    - middle 450 above core support.opening.bottom
    - middle 0 right of centreline
    - level ± 0.0001 deg
    - plumb ± 0.0001 deg
    - square across ± 0.0001 deg
"""


def laid_out(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


@cache
def bare() -> Pairs:
    """The nose with every reading and size taken as exact."""
    layout = laid_out(BARE)
    sources = tuple(replace(one, deviation=0.0, reach=0.0) for one in layout.survey.sources)
    return Pairs(replace(layout, survey=replace(layout.survey, sources=sources)))


# -- random arrangements ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Arrangement:
    """A nose with a tilted fan and two things somewhere near it."""

    pairs: Pairs
    fan: PlacedPart
    things: tuple[PlacedPart, ...]

    def window(self) -> Window:
        return window_of(self.pairs, Rules(self.pairs.layout.envelope), self.fan)


def placed(part: PlacedPart, made: Part, turn: Rotation, at: Floats) -> PlacedPart:
    (one,) = part.placements
    pose = Pose(turn.as_matrix(), np.asarray(at, dtype=float))
    return replace(part, part=made, placements=(replace(one, pose=pose),))


def arrangement(number: int) -> Arrangement:
    """What is behind is on the engine, what is ahead on the body; either may be off the tips."""
    rng = np.random.default_rng(number)
    parts = bare().layout.parts
    fan = parts["fan"]
    assert isinstance(fan.part, Fan)
    across, width = ((280.0, 45.0), (330.0, 60.0), (420.0, 70.0))[number % 3]
    ahead, flex = (30.0, 44.0)[number % 2], (0.0, FLEX_MM)[number // 2 % 2]
    made = replace(fan.part, diameter_mm=across, width_mm=width, ahead_mm=ahead, flex_mm=flex)
    entry = replace(
        fan.entry, sizes={**fan.entry.sizes, "flex": replace(fan.entry.sizes["flex"], value=flex)}
    )
    turn = Rotation.from_euler("yz", rng.uniform(-1, 1, 2) * (6.0, 3.0), degrees=True)
    fan = placed(replace(fan, entry=entry), made, turn, fan.pose[:3, 3])
    things = (behind(rng, parts["behind"], fan, across), in_front(rng, parts["ahead"], fan, across))
    nose = StandIns(bare(), {one.name: one for one in (fan, *things)})
    return Arrangement(nose, fan, things)


def off_axis(rng: np.random.Generator, fan: PlacedPart, along: float, out: float) -> Floats:
    """A point so far ahead of the fan's mounting face and so far from its axis, any way."""
    clock = rng.uniform(0, 2 * np.pi)
    local = np.array([-along, out * np.cos(clock), out * np.sin(clock)])
    return fan.pose[:3, :3] @ local + fan.pose[:3, 3]


def behind(
    rng: np.random.Generator, thing: PlacedPart, fan: PlacedPart, across: float
) -> PlacedPart:
    """A drum as of a compressor, from the hub's edge to well off the tips."""
    size, long = rng.uniform(30, 110), rng.uniform(30, 90)
    made = Cylinder(lies="along", diameter_mm=size, length_mm=long)
    at = off_axis(rng, fan, rng.uniform(-40, 35), rng.uniform(60, across / 2 + size / 2 + 25))
    turn = Rotation.from_euler("yz", rng.uniform(-12, 12, 2), degrees=True)
    return placed(replace(thing, group="engine"), made, turn, at)


def in_front(
    rng: np.random.Generator, thing: PlacedPart, fan: PlacedPart, across: float
) -> PlacedPart:
    """A core that leans, or a post beside which the tips may pass."""
    if rng.uniform() < 0.5:
        made, out = Box(depth_mm=40.0, width_mm=500.0, height_mm=400.0), rng.uniform(0, 60)
    else:
        size = rng.uniform(30, 80)
        made = Box(depth_mm=size, width_mm=size, height_mm=rng.uniform(60, 200))
        out = rng.uniform(across / 4, across / 2 + size)
    at = off_axis(rng, fan, rng.uniform(90, 190), out)
    turn = Rotation.from_euler("yz", rng.uniform(-9, 9, 2), degrees=True)
    return placed(thing, made, turn, at)


@cache
def solid(part: Part, component: str) -> Body:
    return body_from_shape(component, part.solids()[component])


def exact_mm(a: Body, pose_a: Floats, b: Body, pose_b: Floats) -> float:
    found = clearance(a, b, pose_a, pose_b, cap_mm=120.0)
    if found.pull_apart is not None:
        return -found.pull_apart.distance_mm
    return found.distance_mm if math.isfinite(found.distance_mm) else found.bound_mm


def left_mm(one: Arrangement, thickness: float) -> float:
    """What the solids leave beyond the strictest of the rules, the fan on a spacer."""
    pose = one.fan.pose.copy()
    pose[:3, 3] -= thickness * pose[:3, 0]
    fan = one.fan.part
    assert isinstance(fan, Fan)
    at_speed = FlexingFan.of(fan, fan.flex_mm, fan.flex_mm / 2)
    left = []
    for thing in one.things:
        body, rule = solid(thing.part, "body"), REAR if thing.group == "engine" else FRONT
        left += [
            exact_mm(solid(fan, "sweep"), pose, body, thing.pose) - rule,
            exact_mm(solid(at_speed, "sweep"), pose, body, thing.pose) - AT_SPEED,
            exact_mm(solid(fan, "spider"), pose, body, thing.pose) - SPIDER[thing.group],
        ]
    return min(left)


SPIDER: Mapping[str, float] = {
    "engine": clearance_rules()["engine to engine"].value_mm,
    "body": clearance_rules()["engine to body"].value_mm,
}


@pytest.mark.parametrize("chunk", range(8))
def test_at_its_ends_the_solids_just_keep_their_rules_and_inside_they_keep_them(chunk: int) -> None:
    """200 arrangements, a quarter of which have no window; see the module for their rules."""
    open_windows = 0
    for number in range(25 * chunk, 25 * (chunk + 1)):
        one = arrangement(number)
        windows = one.window().intervals
        open_windows += bool(windows)
        for low, high in windows:
            for end in (low, high):
                left = left_mm(one, end)
                assert left >= -1e-3, (number, end)
                if end not in (0.0, MOST_SPACER_MM):
                    assert left <= END_MM, (number, end)
            assert left_mm(one, (low + high) / 2) >= -1e-3, number
    assert open_windows >= 8


# -- sums worked by hand, with real movement and flex ----------------------------------------------

SURGE = "  moves: {roll: 0 deg, pitch: 0 deg, forward: 12, sideways: 0, up: 0}"
SAME_MM = 0.1
BY_HAND: dict[str, Any] = {"moves": SURGE, "front": 3.0, "rear": 3.0}
SHROUD = """
shroud:
  form: ring
  opening: {diameter: 352}
  ring: {depth: 40}
  thickness: 1.5
  place:
    - ring.rear 78 ahead of water pump.hub.face
    - opening.axis 4 ± 0.01 left of water pump.axis
    - opening.axis 0 ± 0.01 above water pump.axis
    - parallel to radiator ± 0.001 deg
"""


def opened(layout: Layout) -> Window:
    return window_of(Pairs(layout), Rules(layout.envelope), layout.parts["fan"])


def test_movement_and_flex_leave_what_the_hand_sum_says_ahead() -> None:
    """152 - 12 (movement) - 3 (flex) - 38 - 19 = 80.0 (worked by hand)."""
    window = opened(nose_of(x_obj=None, speed=19.0, **BY_HAND))
    ((low, high),) = window.intervals
    assert low == 0.0
    assert high == pytest.approx(80.0, abs=SAME_MM)
    ((_, end),) = window.ends
    assert (end.part, end.state) == ("radiator", "at speed")
    # 152 - 38 - 3 at rest; 12 less when the engine moves, with 3 asked.
    assert window.by_state["at rest"][0][1] == MOST_SPACER_MM
    assert window.by_state["moving"][0][1] == pytest.approx(152 - 12 - 38 - 3, abs=SAME_MM)


def test_flex_asks_behind_for_what_the_hand_sum_says() -> None:
    """22 + 17 + 1.5 (half of the flex) + 12.7 = 53.2 (worked by hand); the engine moves both."""
    window = opened(nose_of(speed=12.7, **BY_HAND))
    assert window.intervals[0][0] == pytest.approx(53.2, abs=SAME_MM)
    assert window.intervals[0][1] == pytest.approx(152 - 15 - 38 - 12.7, abs=SAME_MM)
    assert window.ends[0][0].part == "compressor"
    assert window.ends[0][0].state == "at speed"
    assert window.by_state["at rest"][0][0] == pytest.approx(22 + 17 + 3, abs=SAME_MM)


def test_a_stock_spacer_leaves_the_gaps_of_the_hand_sum() -> None:
    """63.5 - 22 - 17 - 1.5 = 23.0 and 152 - 63.5 - 38 - 3 - 12 = 35.5 (worked by hand)."""
    window = opened(nose_of(speed=12.7, **BY_HAND))
    gaps = {one.side: one for one in window.gaps(63.5, "at speed")}
    assert gaps["rear"].part == "compressor"
    assert gaps["rear"].sure_mm == pytest.approx(23.0, abs=SAME_MM)
    assert gaps["front"].part == "radiator"
    assert gaps["front"].mm == pytest.approx(47.5, abs=SAME_MM)
    assert gaps["front"].sure_mm == pytest.approx(35.5, abs=SAME_MM)
    at_rest = {one.side: one.mm for one in window.gaps(63.5)}
    assert at_rest["rear"] == pytest.approx(24.5, abs=SAME_MM)
    assert at_rest["front"] == pytest.approx(50.5, abs=SAME_MM)
    # The middle of blades that stand 38 ahead and 17 behind.
    assert window.overhang_mm == pytest.approx((38 - 17) / 2, abs=SAME_MM)


@pytest.mark.parametrize(("thickness", "share"), [(63.5, 0.43), (76.2, 0.66), (30.0, 0.0)])
def test_the_share_of_the_blades_in_the_shroud_is_that_of_the_hand_sum(
    thickness: float, share: float
) -> None:
    """(63.5 + 38 - 78) / 55 = 43 %, (76.2 + 38 - 78) / 55 = 66 % (worked by hand)."""
    window = opened(nose_of(more=SHROUD, x_obj=None))
    stands = window.in_shroud(thickness)
    assert stands is not None
    assert stands.share == pytest.approx(share, abs=0.005)
    assert stands.share_least == pytest.approx(stands.share_most)


def test_the_tip_gap_is_least_where_the_ring_is_off() -> None:
    """Radii 176 and 150, the ring 4 to the left: 22 on the right, at 9 o'clock, and 30 at 3."""
    window = opened(nose_of(more=SHROUD, x_obj=None))
    stands = window.in_shroud(63.5)
    assert stands is not None
    assert stands.gap_mm == pytest.approx(22.0, abs=0.02)
    assert stands.gap_most_mm == pytest.approx(30.0, abs=0.02)
    assert stands.clock == "9 o'clock"
    outside = window.in_shroud(0.0)
    assert outside is not None
    assert outside.gap_mm is None


def test_a_tilted_fan_is_deeper_in_its_shroud_above_than_below() -> None:
    """Nose up by 4 degrees, the tips at 12 o'clock stand 150 sin 4 further aft than the middle."""
    window = opened(nose_of(more=SHROUD, x_obj=None, tilt=4.0))
    stands = window.in_shroud(63.5)
    assert stands is not None
    swing = 2 * 150 * math.sin(math.radians(4.0)) / (55 * math.cos(math.radians(4.0)))
    assert stands.share_most - stands.share_least == pytest.approx(swing, abs=0.005)


@pytest.mark.parametrize("state", ["at rest", "moving"])
def test_a_spacer_carries_the_fan_along_its_own_axis_however_that_leans(state: str) -> None:
    """What is tried is what a fan with the spacer fitted has, whose place leans with the pump's."""
    layout = nose_of(half=2.0, moves="  moves: {roll: 3 deg, pitch: 2 deg, forward: 4}", out=210.0)
    pairs, fan = Pairs(layout), layout.parts["fan"]
    motions = motions_of(layout) if state == "moving" else ()
    whole = MovingSearch(pairs, motions).whole
    for thickness in (20.0, 90.0):
        shift = -thickness * fan.pose[:3, 0]
        fitted = StandIns(pairs, {"fan": spaced(fan, shift)})
        nose = MovingSearch(fitted, motions).whole
        for other, component in (("radiator", "core"), ("radiator", "tanks")):
            tried = whole.sure_gap(
                whole.layout.parts["fan"], "sweep", whole.layout.parts[other], component,
                enough_mm=np.inf, look_mm=np.inf, shift=shift,
            )  # fmt: skip
            stands = nose.sure_gap(
                nose.layout.parts["fan"], "sweep", nose.layout.parts[other], component,
                enough_mm=np.inf, look_mm=np.inf,
            )  # fmt: skip
            assert tried.nominal_mm == pytest.approx(stands.nominal_mm, abs=1e-4)
            assert stands.lower_mm - 0.1 <= tried.lower_mm <= stands.lower_mm + 1e-4


# -- what a finding says of the states -------------------------------------------------------------


FORWARD: dict[str, Any] = {
    **BY_HAND,
    "ahead": "  ahead: 80",
    "x_obj": 15.0,
    "speed": 12.7,
    "rear": 1.0,
}


def test_a_fan_that_is_fine_at_rest_may_need_a_spacer_at_speed() -> None:
    """Blades from 80 to 25 ahead of the hub, the compressor 15: 10 are there, 1.5 + 12.7 asked."""
    one = checked(nose_of(**FORWARD))
    assert one.verdict is Verdict.TOO_CLOSE
    assert "keeps its room at rest, but at speed it may not keep it to compressor" in one.note
    assert one.details["spacer_at_rest_mm"] == [[0.0, pytest.approx(152 - 80 - 3, abs=SAME_MM)]]
    ((low, high),) = one.details["spacer_mm"]
    assert low == pytest.approx(1.5 + 12.7 - 10, abs=SAME_MM)
    assert high == pytest.approx(152 - 15 - 80 - 12.7, abs=SAME_MM)
    assert any("one spacer" in remedy for remedy in one.remedies)


def test_what_the_other_checks_noted_decides_without_a_spacer() -> None:
    layout = nose_of(**FORWARD)
    pairs, rules, noted = Pairs(layout), Rules(layout.envelope), Margins()
    fan, other = layout.parts["fan"], layout.parts["compressor"]
    noted.note(AT_SPEED_STATE, fan, other, Verdict.FOULS, 1.0, 0.0)
    (one,) = check_fan_gaps(pairs, rules, lambda done, of, what: None, noted)
    assert one.verdict is Verdict.FOULS
    assert "at speed it does not keep it" in one.note


# -- where no spacer helps -------------------------------------------------------------------------


def remedies(**given: Any) -> tuple[str, ...]:
    return checked(nose_of(**given)).remedies


def test_a_smaller_fan_passes_inside_what_stands_off_the_axis() -> None:
    """Its inner side is 170 - 50 = 120 off: 2 (120 - 14.2) = 211.6 across at 14.2 behind it."""
    assert not any("passes inside" in one for one in remedies(x_rad=118.0))
    (said,) = (
        one for one in remedies(x_rad=118.0, out=230.0, diameter=480.0) if "passes inside" in one
    )
    # 2 (230 - 50 - 14.2) = 331.6, less what the prisms round both stand out by.
    across = float(said.split("a fan of ")[1].split(" mm")[0])
    assert 331.6 - 1.5 <= across <= 331.6
    assert "inside the compressor" in said
    assert "spacer" not in said


def test_a_compressor_that_goes_sideways_goes_out_of_the_circle() -> None:
    """120 off the axis, radius 50: 150 + 14.2 + 50 - 120 = 94.2 to the left frees the tips."""
    (said,) = (one for one in remedies(x_rad=118.0) if "to the car's left" in one)
    assert said.startswith("move the compressor")
    assert 94.2 <= float(said.split(" mm")[0].split()[-1]) <= 94.2 + 0.6


def test_what_leaves_no_room_is_never_answered_by_stacked_spacers() -> None:
    for given in ({"x_rad": 118.0}, {"x_rad": 24.0}, {"x_rad": 24.0, "x_obj": None}):
        for one in remedies(**given):
            assert "stack" not in one
            assert one.count("one spacer of") <= 1


def test_the_least_effort_comes_first_and_an_electric_fan_in_front_last() -> None:
    said = remedies(x_rad=118.0)
    order = (
        "move the compressor",
        "narrower",
        "move the radiator",
        "move the engine",
        "last resort",
    )
    places = [next(i for i, one in enumerate(said) if what in one) for what in order]
    assert places == sorted(places)
    assert places[-1] == len(said) - 1


def test_an_electric_fan_behind_is_told_how_deep_it_may_be() -> None:
    """118 - 22 = 96 from core to compressor, less the 15 that body and engine keep: 81."""
    (said,) = (one for one in remedies(x_rad=118.0) if "electric fan behind" in one)
    deep = float(said.split("may be ")[1].split(" mm")[0])
    assert 80.0 <= deep <= 81.0
    assert "compressor" in said
    assert "from memory" in said


def test_a_compressor_inside_the_fan_is_said_with_what_frees_it() -> None:
    """Its nose stands 22 ahead of the hub, its axis inside the tips: no electric fan is needed."""
    one = checked(nose_of())
    assert one.verdict is Verdict.FOULS
    assert "compressor" in one.note
    (said,) = one.remedies
    assert said.startswith("put one spacer of")
