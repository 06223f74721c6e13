"""What a pry bar tells of an engine: how far it may move, no less and hardly more."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from moving_noses import (
    HEAD,
    answers,
    arranged,
    box,
    engine,
    hood,
    sure,
    worst,
)
from noseroom.checks.motion import Motion, motions_of
from noseroom.checks.moving_words import may_do, said, to_measure
from noseroom.envelope.reader import read_text
from noseroom.layout import Layout
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

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
