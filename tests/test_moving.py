"""Hoods, bars, links and engines: every combination counts, and nothing hides between poses."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from moving_noses import (
    BAR,
    TRUE,
    answers,
    arranged,
    box,
    engine,
    hood,
    independently,
    sure,
    worst,
)
from noseroom.checks.bodies import bodies_of
from noseroom.checks.motion import motions_of
from noseroom.checks.moving import check_moving
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.layout import Layout
from noseroom.memo import Memo

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
