"""Hoods, bars, links and engines: every combination counts, and nothing hides between poses."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from noseroom.checks.bodies import bodies_of
from noseroom.checks.motion import Motion, motions_of
from noseroom.checks.moving import check_moving
from noseroom.checks.moving_search import MovingSearch
from noseroom.checks.moving_words import may_do, said, to_measure
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.geometry.motions import STILL, Motions, Shift, Turn
from noseroom.geometry.smallest import smallest_clearance
from noseroom.layout import Layout, arrange
from noseroom.memo import Memo
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

HEAD = """
format: 1
units: mm
sides: as seated
tape: 0.01
core support:
  opening: {width: 700, height: 500}
"""
TRUE = """    - plumb ± 0.003 deg
    - level ± 0.003 deg
    - square across ± 0.003 deg
"""
HOOD = """
hood:
  length: 1200
  width: 1300
  thickness: 50
  hinge: {{end: {end}, in: 30, below: 40}}
  moves: {{open: {open} ± 0.001 deg, slam: {slam}}}
  place:
    - front 150 ahead of core support.face
    - bottom 600 above core support.opening.bottom
    - middle 0 right of centreline
"""
ENGINE = """
engine:
  moves: {{roll: {roll} deg, pitch: {pitch} deg, forward: {forward}, sideways: 0, up: {up}}}
  place:
    - front 300 aft of core support.face
    - axis 120 above core support.opening.bottom
    - axis 0 right of centreline
"""
BOX = """
{name}:
  is: box
  carried by: {on}
  depth: {size[0]}
  width: {size[1]}
  height: {size[2]}
  place:
    - middle {x}
    - middle {y}
    - middle {z}
"""
WAYS = (
    ("aft of core support.face", "ahead of core support.face"),
    ("right of centreline", "left of centreline"),
    ("above core support.opening.bottom", "below core support.opening.bottom"),
)


def box(name: str, at: tuple[float, ...], size: tuple[float, ...], on: str = "car") -> str:
    x, y, z = (f"{abs(v)} {way[int(v < 0)]}" for v, way in zip(at, WAYS, strict=True))
    return BOX.format(name=name, x=x, y=y, z=z, size=size, on=on) + TRUE


def hood(end: str = "rear", opened: float = 70.0, slam: float = 0.0) -> str:
    return HOOD.format(end=end, open=opened, slam=slam) + TRUE


def engine(roll: float = 0, pitch: float = 0, forward: float = 0, up: float = 0) -> str:
    return ENGINE.format(roll=roll, pitch=pitch, forward=forward, up=up) + TRUE


def arranged(*parts: str) -> Layout:
    return arrange(read_text(HEAD + "".join(parts), KINDS, rule_keys=clearance_rules()))


def answers(layout: Layout) -> tuple[Finding, ...]:
    say = lambda *_: None  # noqa: E731
    settled = {frozenset((a, b)) for a in layout.parts for b in layout.parts if a != b}
    return check_moving(Pairs(layout), bodies_of(layout, say), Rules(layout.envelope), settled, say)


def worst(layout: Layout, a: str, b: str) -> Finding:
    (found,) = [one for one in answers(layout) if set(one.parts) == {a, b}]
    return found


def motions(layout: Layout, name: str) -> Motions:
    """The movements of a part's mover for the independent search, straight from its definition."""
    found = [one for one in motions_of(layout) if name in one.moved]
    if not found:
        return STILL
    steps: list[Turn | Shift] = []
    for turn, shift, middle, reach in zip(
        found[0].turns, found[0].shifts, found[0].centre, found[0].reaches, strict=True
    ):
        ends = middle - reach, middle + reach
        if reach and turn.any():
            steps.append(Turn(found[0].point, turn, *ends))
        elif reach:
            steps.append(Shift(shift, *ends))
    return Motions(tuple(steps))


def independently(layout: Layout, a: str, b: str) -> float:
    """The least gap of two parts by branch and bound on their meshes, readings left out."""
    bodies = {name: body for (name, _), body in bodies_of(layout, lambda *_: None).items()}
    one, other = layout.parts[a], layout.parts[b]
    found = smallest_clearance(
        bodies[a], one.pose, motions(layout, a), bodies[b], other.pose, motions(layout, b),
        error_mm=0.1, cap_mm=2000.0,
    )  # fmt: skip
    assert found.settled
    return found.value_mm


def sure(layout: Layout, a: str, b: str) -> float:
    search = MovingSearch(Pairs(layout), motions_of(layout))
    found = search.nearest(layout.parts[a], layout.parts[b], 3.0, below_mm=1e4)
    assert found is not None
    return found.gap.lower_mm


# -- far swings ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_hoods_swing_is_no_nearer_than_is_said_and_not_much_further(seed: int) -> None:
    """Against another search, over meshes; the readings here are of 0.01 mm and 0.003 degrees."""
    rng = np.random.default_rng(seed)
    at = (rng.uniform(-350, 500), rng.uniform(-300, 300), rng.uniform(850, 1300))
    layout = arranged(
        hood(("rear", "front")[seed % 2], round(rng.uniform(20, 50), 1), 8.0),
        box("beam", tuple(round(one, 1) for one in at), (80, 200, 60)),
    )
    true = independently(layout, "hood", "beam")
    found = sure(layout, "hood", "beam")
    assert found <= true + 1e-6
    if true > 1.0:
        assert found > true - 1.5


def test_what_a_hood_passes_in_the_middle_of_its_swing_is_found() -> None:
    """Its front edge, 1170 mm from the pins, goes up and aft: at 35 degrees it is at the beam.

    Shut it is 560 mm below the beam, and at 70 degrees the edge stands well behind it.
    """
    pins = np.array([-150.0 + 1170.0, 600.0 - 40.0])
    angle = math.radians(35.0)
    edge = pins + 1170.0 * np.array([-math.cos(angle), math.sin(angle)])
    at = (round(float(edge[0]), 2), 0.0, round(float(edge[1]) + 20.0, 2))
    layout = arranged(hood(), box("beam", at, (20, 100, 20)))
    found = worst(layout, "hood", "beam")
    assert found.verdict is Verdict.FOULS
    assert 25 < found.details["moves.open"] < 45
    assert "open" in found.note
    for end in (0.0, 70.0):
        pose = motions_of(layout)[0].pose(np.array([end])) @ layout.parts["hood"].pose
        local = np.linalg.inv(pose) @ np.array([*layout.parts["beam"].pose[:3, 3], 1.0])
        outside = np.maximum(np.maximum(-local[:3], local[:3] - [1200, 650, 50]), 0)
        assert np.linalg.norm(outside[[0, 2]]) > 100


def test_a_slam_and_a_bounce_that_meet_only_together_are_found() -> None:
    """20 mm under the hood: a bounce of 9 leaves 11, a slam of 8 leaves 12; both leave 3 or less.

    The box stands under the free edge, where the slam is said.
    """
    size = (40.0, 60.0, 60.0)
    at = (-100.0, 0.0, 600.0 - 20.0 - 30.0)

    def nose(up: float, slam: float) -> Layout:
        return arranged(hood(slam=slam), engine(up=up), box("filter", at, size, "engine"))

    for up, slam in ((9.0, 0.0), (0.0, 8.0)):
        assert {one.verdict for one in answers(nose(up, slam))} == {Verdict.FITS}
    both = worst(nose(11.0, 8.0), "filter", "hood")
    assert both.verdict is Verdict.FOULS
    assert both.measured_mm is not None
    assert both.measured_mm == pytest.approx(20 - 11 - 8, abs=0.5)
    assert "engine lifts 11 mm" in both.note
    assert "hood dips 8 mm" in both.note
    assert both.details["moves.up"] == pytest.approx(11.0)
    assert both.details["moves.open"] < 0


def test_three_movements_of_two_things_agree_with_another_search() -> None:
    layout = arranged(
        hood(slam=8.0, opened=30.0),
        engine(roll=3, up=6),
        box("filter", (100, 150, 520), (120, 160, 60), "engine"),
    )
    true = independently(layout, "filter", "hood")
    found = sure(layout, "filter", "hood")
    assert true - 1.5 < found <= true + 1e-6


# -- bars, arms and links ------------------------------------------------------------------------

BAR = """
anti-roll bar:
  width: 900
  diameter: 22
  arms: {{length: 250, diameter: 30, point: aft}}
  moves: {{turn: {turn} ± 0.001 deg}}
  place:
    - axis 0 aft of core support.face
    - axis 100 below core support.opening.bottom
    - middle 0 right of centreline
"""
LINK = """
steering link:
  diameter: 30
  length: 400
  moves: {slide: 80, swing: 0}
  place:
    - axis 200 aft of core support.face
    - axis 100 below core support.opening.bottom
    - middle 0 right of centreline
"""
ARM = """
pitman arm:
  length: 150
  boss: 40
  height: 40
  points: aft
  moves: {turn: 40 ± 0.001 deg}
  place:
    - shaft 100 aft of core support.face
    - shaft 0 right of centreline
    - joint 100 below core support.opening.bottom
"""


@pytest.mark.parametrize("turn", [10.0, 20.0, 30.0])
def test_an_arm_of_a_bar_comes_up_by_the_sine_of_its_turn(turn: float) -> None:
    """The end's centre, 250 mm out, rises by 250 sin t; its upper edge by 15 (1 - cos t) less."""
    layout = arranged(BAR.format(turn=turn) + TRUE, box("tray", (250, 435, 200), (200, 60, 40)))
    t = math.radians(turn)
    top = -100.0 + 250 * math.sin(t) + 15 * math.cos(t)
    found = sure(layout, "anti-roll bar", "tray")
    assert found <= 180 - top
    # The arm is held by a prism whose corners stand 0.4 % of its radius or less outside it.
    assert found == pytest.approx(180 - top, abs=2.0)


def test_a_link_slides_to_either_lock() -> None:
    layout = arranged(LINK + TRUE, box("post", (200, 330, -100), (60, 40, 60)))
    assert sure(layout, "steering link", "post") == pytest.approx(330 - 20 - 200 - 80, abs=0.3)


def test_a_pitman_arm_goes_round_to_its_lock() -> None:
    """The joint stands 150 sin 40 deg to the side at full lock, and its boss 20 mm further."""
    layout = arranged(ARM + TRUE, box("post", (215, 200, -100), (60, 40, 60)))
    true = independently(layout, "pitman arm", "post")
    assert sure(layout, "pitman arm", "post") <= true
    assert sure(layout, "pitman arm", "post") > true - 1.5
    side = 180 - 150 * math.sin(math.radians(40)) - 20
    assert true == pytest.approx(side, abs=3.0)


def test_what_a_hood_carries_swings_with_it_and_what_moves_on_a_mover_is_not_known() -> None:
    layout = arranged(hood(), box("scoop", (200, 0, 700), (200, 200, 60), "hood"))
    (motion,) = motions_of(layout)
    assert motion.moved == {"hood", "scoop"}
    two = arranged(
        engine(up=3),
        hood().replace("hood:\n", "hood:\n  carried by: engine\n"),
    )
    (found,) = [one for one in answers(two) if one.parts == ("hood",)]
    assert found.verdict is Verdict.NOT_KNOWN


def test_a_wide_swing_that_is_uncertain_allows_for_it() -> None:
    """Pins that are only known to 20 mm leave as much open once the hood stands up."""
    beam = box("beam", (-100, 0, 1300), (80, 200, 60))
    known, loose = hood(opened=60), hood(opened=60).replace("in: 30", "in: 30 ± 20")
    assert sure(arranged(loose, beam), "hood", "beam") < sure(arranged(known, beam), "hood", "beam")


# -- what was pried ------------------------------------------------------------------------------

PRIED = """
  pried:
"""


def pried(*lines: str, said: str = "", mounts: str = "rubber") -> Layout:
    text = engine().replace(
        "  moves: {roll: 0 deg, pitch: 0 deg, forward: 0, sideways: 0, up: 0}\n",
        f"  mounts: {mounts}\n{said}" + (PRIED.lstrip("\n") if lines else "")
        + "".join(f"    - {one}\n" for one in lines),
    )  # fmt: skip
    return arranged(
        text,
        box("filter", (200, 0, 420), (80, 200, 60), "engine"),
        box("screen", (100, 0, 420), (20, 300, 100)),
    )


def test_without_prying_the_mounts_that_are_named_say_how_far_it_moves() -> None:
    """Pitch and surge both bring the filter forward; how far is a matter of the mounts."""
    found = [sure(pried(mounts=one), "filter", "screen") for one in ("soft", "rubber", "solid")]
    assert found == sorted(found)
    text = engine().replace("  moves", "  mounts: jelly\n  moves")
    with pytest.raises(Exception, match="soft"):
        arranged(text)


def test_a_point_that_came_forward_no_further_than_was_read_never_comes_further() -> None:
    """50 mm of room, of which the filter's front came 4: 46 stay, less ± and what turns bend."""
    layout = pried("filter.front 4 ± 0.5 forward")
    found = sure(layout, "filter", "screen")
    assert 50 - 4.5 - 3.0 < found <= 50 - 4.5
    assert found > sure(pried(), "filter", "screen") + 3
    toward = sure(pried("filter.front 4 ± 0.5 toward screen"), "filter", "screen")
    assert toward == pytest.approx(found, abs=1e-6)


def test_a_reading_says_nothing_of_other_points_that_it_cannot_tell_of() -> None:
    """A point at the crank does not come forward with pitch: the filter may, as far as assumed."""
    low = pried("filter.front 4 ± 0.5 forward", "engine.front 0 ± 0.1 forward")
    (motion,) = motions_of(low)
    rng = np.random.default_rng(5)
    # Every movement within the ranges and the limits is in every view.
    amounts = rng.uniform(-1, 1, (4000, 5)) * motion.reaches
    ways = np.array([one.form for one in motion.limits])
    ends = np.array([[one.low, one.high] for one in motion.limits])
    gone = amounts @ ways.T
    amounts = amounts[((gone >= ends[:, 0]) & (gone <= ends[:, 1])).all(axis=1)]
    assert len(amounts) > 20
    for view in motion.views:
        assert view.mix is not None
        mixed = amounts @ view.mix.T
        assert (np.abs(mixed - view.centre) <= view.reaches + 1e-9).all()
        for one, other in zip(amounts[:20], mixed[:20], strict=True):
            assert motion.pose(one) == pytest.approx(view.pose(other), abs=1e-9)


def test_a_point_that_came_further_than_is_assumed_widens_what_is_assumed() -> None:
    layout = pried("filter.front 25 ± 0.5 forward")
    (motion,) = motions_of(layout)
    (limit,) = motion.limits
    assert float(np.abs(limit.form) @ motion.reaches) >= 25.5
    assert 50 - 25.5 - 8.0 < sure(layout, "filter", "screen") <= 50 - 25.5
    assert "times as far" in " ".join(one.text for one in motion.sources)
    # Of the surge alone, all of it: the crank's front may have come as far.
    assert motion.reaches[2] >= min(25.5, 4 * 25.5 / 11.2 * 6.0) - 1.0


def one_motion(*lines: str, said: str = "", mounts: str = "rubber") -> Motion:
    (motion,) = motions_of(pried(*lines, said=said, mounts=mounts))
    return motion


def test_a_reading_a_little_larger_makes_the_ranges_a_little_wider() -> None:
    """From within what is assumed to beyond it: a tenth of a mm never moves a range by a degree."""
    readings = [one_motion(f"filter.front {4 + k / 10:g} ± 0.5 forward") for k in range(120)]
    reaches = np.array([one.reaches for one in readings])
    assert (np.diff(reaches, axis=0) >= -1e-12).all()
    assert reaches[-1, 2] > 1.5 * reaches[0, 2]
    # What makes all of a travel alone is 0.1 mm of surge and, 450 mm above the crank, 0.013 deg of
    # pitch for each 0.1 mm; four times that is the most, and 3.5 mm of lift come with a degree.
    steps = np.diff(reaches, axis=0).max(axis=0)
    assert (steps <= np.array([1e-12, 0.1, 0.45, 1e-12, 0.5])).all()


def test_what_hardly_moves_a_point_that_way_is_not_made_wider_for_it() -> None:
    """Neither rocking nor a shift to the side brings a point forward (geometry)."""
    assumed, far = one_motion(), one_motion("filter.front 25 ± 0.5 forward")
    assert far.reaches[[0, 3]] == pytest.approx(assumed.reaches[[0, 3]])
    assert "times" not in far.sources[0].text + far.sources[3].text
    assert (far.reaches[[1, 2]] > 1.5 * assumed.reaches[[1, 2]]).all()


@pytest.mark.parametrize("mounts", ["soft", "rubber", "firm", "solid"])
@pytest.mark.parametrize("far", [6, 12, 25, 40])
def test_what_was_read_can_be_reached_and_each_that_counts_may_make_what_is_beyond(
    mounts: str, far: float
) -> None:
    assumed = one_motion(mounts=mounts)
    found = one_motion(f"filter.front {far} ± 0.5 forward", mounts=mounts)
    (limit,) = found.limits
    total = float(np.abs(limit.form) @ assumed.reaches)
    assert float(np.abs(limit.form) @ found.reaches) >= far + 0.5 - 1e-9
    assert (found.reaches >= assumed.reaches - 1e-12).all()
    for k in (1, 2):
        more = abs(limit.form[k]) * (found.reaches[k] - assumed.reaches[k])
        alone = abs(limit.form[k]) * found.reaches[k]
        assert more >= far + 0.5 - total - 1e-9 or alone >= far + 0.5 - 1e-9


def test_a_reading_that_the_mounts_cannot_make_is_said() -> None:
    """Solid mounts leave a point a few mm (from memory): 25 mm is a slip, or others."""
    odd = one_motion("filter.front 25 ± 0.5 forward", mounts="solid")
    assert "solid mounts" in odd.beyond[0]
    assert odd.beyond[0] in may_do(odd, "mm")
    assert any("check the reading" in one for one in to_measure(odd))
    assert not one_motion("filter.front 3 ± 0.5 forward").beyond


@pytest.mark.parametrize("seed", range(3))
def test_no_pose_that_is_told_takes_a_pried_point_further_than_was_read(seed: int) -> None:
    """Turned as a rigid body, not to the first order."""
    lines = ("filter.front 9 ± 0.5 forward", "filter.front 6 ± 0.5 up", "filter.front 5 down")
    layout = pried(*lines, mounts="soft")
    (motion,) = motions_of(layout)
    point = layout.parts["filter"].touch_point("front", "")[0]
    rng = np.random.default_rng(seed)
    for _ in range(60):
        amounts = motion.nearest(rng.normal(size=5) * rng.choice([0.0, 1.0], 5, p=[0.3, 0.7]))
        assert (np.abs(amounts) <= motion.reaches + 1e-9).all()
        pose = motion.pose(amounts)
        gone = pose[:3, :3] @ point + pose[:3, 3] - point
        assert gone[0] >= -9.5 - 0.1
        assert -5.01 - 0.1 <= gone[2] <= 6.5 + 0.1


def test_pitching_about_any_point_up_to_400_mm_behind_the_front_is_held() -> None:
    """Worked with plain turns about that point, and a bounce on top."""
    (motion,) = motions_of(arranged(engine(pitch=2, up=5)))
    front = np.array([300.0, 0.0, 120.0])
    corner = front + np.array([-150.0, 100.0, 300.0])
    for behind in (0.0, 130.0, 400.0):
        for pitch in (-2.0, 2.0):
            for bounce in (-5.0, 5.0):
                turn = Rotation.from_rotvec([0.0, math.radians(pitch), 0.0]).as_matrix()
                pivot = front + np.array([behind, 0.0, 0.0])
                there = turn @ (corner - pivot) + pivot + np.array([0.0, 0.0, bounce])
                lift = bounce - math.radians(pitch) * (200.0 - behind)
                assert abs(lift) <= motion.reaches[4] + 1e-9
                found = motion.pose(np.array([0.0, pitch, 0.0, 0.0, lift]))
                assert found[:3, :3] @ corner + found[:3, 3] == pytest.approx(there, abs=0.2)


def test_only_the_ways_that_nobody_has_pried_are_asked_for() -> None:
    ways = ["forward", "aft", "up", "down", "left", "right"]
    lines = [f"filter.front 3 ± 0.5 {way}" for way in ways]
    (said,) = to_measure(one_motion(*lines[:4]))
    assert "left" in said
    assert "right" in said
    assert "battery off" in said
    assert not any(way in said for way in ("forward", "aft", "up", "down"))
    assert not any("pry" in one for one in to_measure(one_motion(*lines)))
    assert any("pry it each way" in one for one in to_measure(one_motion()))


def test_a_lift_beyond_the_bounce_is_told_as_what_the_pitch_leaves_open() -> None:
    """5 mm of bounce; 2 degrees about a point within 200 mm either way of the middle: 7 mm."""
    (motion,) = motions_of(arranged(engine(pitch=2, up=5)))
    told = said(motion, motion.reaches, "mm")
    assert "lifts 5 mm (and 7 mm more, as the point that it pitches about is not known)" in told
    assert said(motion, np.array([0, 0, 0, 0, 3.0]), "mm") == "lifts 3 mm"


def test_a_slam_reads_the_same_in_the_range_and_in_the_pose() -> None:
    """8 mm to the nearest sixteenth: 5/16 in."""
    (motion,) = motions_of(arranged(hood(slam=8.0)))
    shut = motion.centre - motion.reaches
    assert "dips 5/16 in at its free edge" in said(motion, shut, "in")
    assert "dips 5/16 in when slammed" in may_do(motion, "in")


def test_a_hinge_that_nobody_measured_is_among_what_the_answer_rests_on() -> None:
    """Pins anywhere within 60 mm leave a hood that stands open anywhere within that, or more."""
    beam = box("beam", (0, 0, 1180), (80, 200, 60))
    loose = hood(opened=60).replace(
        "  hinge: {end: rear, in: 30, below: 40}\n", "  hinge: {end: rear}\n"
    )
    assert "in: 30" not in loose
    found = worst(arranged(loose, beam), "hood", "beam")
    assert any("hood hinge.in" in one.reading and one.assumed for one in found.rests_on)
    assert any("hinge.in and hinge.below of the hood" in one for one in found.remedies)
    known = [one for one in answers(arranged(hood(opened=60), beam)) if "beam" in one.parts]
    assert not any("hinge" in one for each in known for one in each.remedies)


def test_what_the_file_says_of_a_movement_stays_beside_what_was_pried() -> None:
    said = "  moves: {forward: 2}\n"
    (motion,) = motions_of(pried("filter.front 4 ± 0.5 forward", said=said))
    assert motion.reaches[2] == pytest.approx(2.0)
    assert not motion.sources[2].assumed


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("filter.front forward", "a length"),
        ("filter.front 4", "forward, aft"),
        ("filter.front 4 sideways", "forward, aft"),
        ("filter.front at least 4 forward", "how far it came"),
        ("filter.nose 4 forward", "filter"),
        ("screen.front 4 aft", "moves with the engine"),
        ("filter.front 4 toward filter", "another part"),
        ("filter.front 900 forward", "between 0 and 150"),
        ("filter.front 4 toward the moon", "part"),
        ("filter.front 4 forward or so", "end of the sentence"),
    ],
)
def test_a_sentence_that_says_nothing_of_use_is_refused_with_its_line(
    line: str, wrong: str
) -> None:
    from noseroom.errors import EnvelopeError

    with pytest.raises(EnvelopeError) as caught:
        pried(line)
    (fault,) = caught.value.faults
    assert fault.key == "engine.pried"
    assert fault.line == (HEAD + engine()).splitlines().index("engine:") + 4
    assert wrong in f"{fault.found} {fault.expected} {fault.suggestion}"


def test_left_and_right_of_what_was_pried_are_those_of_the_file() -> None:
    ways = []
    for sides in ("as seated", "as facing the grille"):
        text = (HEAD + engine() + box("filter", (200, 50, 420), (80, 90, 60), "engine")).replace(
            "  place:\n    - front 300", "  pried: filter.front 4 left\n  place:\n    - front 300"
        )
        envelope = read_text(text.replace("as seated", sides), KINDS, rule_keys=clearance_rules())
        ways.append(envelope.parts["engine"].pried[0].direction)
    assert ways == ["left", "right"]


def test_what_was_pried_toward_something_that_nobody_has_placed_is_said_to_be_of_no_use() -> None:
    text = engine().replace("  place", "  pried: filter.front 4 toward screen\n  place", 1)
    layout = arranged(
        text,
        box("filter", (200, 0, 420), (80, 200, 60), "engine"),
        "screen:\n  is: box\n  depth: 20\n  width: 30\n  height: 40\n",
    )
    (motion,) = motions_of(layout)
    assert not motion.limits
    assert "screen" in motion.unused[0]


def test_a_movement_of_nothing_leaves_the_answer_at_rest() -> None:
    layout = arranged(engine(), box("filter", (200, 0, 420), (80, 200, 60), "engine"))
    (motion,) = motions_of(layout)
    assert motion.still
    assert dataclasses.replace(motion, moved=frozenset()).measured


@pytest.mark.parametrize("what", ["hood", "reach", "joined"])
def test_what_was_remembered_serves_only_while_nothing_of_it_has_changed(what: str) -> None:
    """One memo for two noses: the second is answered as if it had been asked alone."""
    size, at = (40.0, 60.0, 60.0), (-100.0, 0.0, 550.0)
    first = (hood(slam=2.0), engine(up=3.0), box("filter", at, size, "engine"))
    more = {
        "hood": (hood(slam=9.0), *first[1:]),
        "reach": (first[0], engine(up=16.0), first[2]),
        "joined": (*first[:2], first[2].replace("  depth", "  joined to: hood\n  depth", 1)),
    }[what]
    memo, notes = Memo(), []
    for parts, known in ((first, memo), (more, memo), (more, Memo()), (more, None)):
        layout = arranged(*parts)
        settled = {frozenset((a, b)) for a in layout.parts for b in layout.parts if a != b}
        say = lambda *_: None  # noqa: E731
        pairs, rules = Pairs(layout, memo=known), Rules(layout.envelope)
        found = check_moving(pairs, bodies_of(layout, say), rules, settled, say)
        notes.append([one.note for one in found])
    assert notes[1] == notes[2] == notes[3] != notes[0]
