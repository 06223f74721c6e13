"""Belts: does each reach its pulleys, and do its pulleys stand in line?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from drive_layouts import drive_of, layout_of
from noseroom.checks.belts import check_belts
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout
from noseroom.tables.limits import limits


def checked(layout: Layout) -> tuple[Finding, Finding]:
    """What is found of the reach, and of the line."""
    reach, line = check_belts(Pairs(layout), Rules(layout.envelope))
    assert reach.id == "reach: drive belt"
    assert line.id == "line: drive belt"
    return reach, line


# -- does it reach ------------------------------------------------------------------------------


def test_a_drive_that_is_right_fits_twice() -> None:
    reach, line = checked(layout_of())
    assert (reach.verdict, line.verdict) == (Verdict.FITS, Verdict.FITS)
    assert reach.remedies == line.remedies == ()


def test_the_wrap_of_the_small_pulley_of_an_open_belt() -> None:
    """D 10, d 5, C 20: small wrap 165.6385 deg (open belt, recomputed); here twenty times as large.

    Another distance of centres by the same sum: 180 - 2 asin((D - d) / 2C).
    """
    layout = layout_of(over="crank pulley, water pump pulley", crank=200, pump=100)
    both = drive_of(layout)
    assert np.allclose(np.hypot(*(both.run()[1] - both.run()[0])[:2]), 200, atol=1e-6)
    asked = 180 - 2 * math.degrees(math.asin((200 - 100) / 2 / 200))
    assert both.wraps_deg()[1] == pytest.approx(asked, abs=1e-4)
    moved = {"crank pulley": np.array([0.0, 0.0, -200.0])}
    assert both.wraps_deg(moved)[1] == pytest.approx(165.6385, abs=1e-4)


def test_wraps_go_once_round() -> None:
    """A belt that turns nowhere but on its pulleys turns by 360 degrees in all."""
    assert sum(drive_of(layout_of()).wraps_deg()) == pytest.approx(360.0, abs=1e-6)


def test_a_pulley_inside_the_loop_is_missed_and_that_fouls() -> None:
    """Pump and crank 200 apart; a large compressor high up and far out swallows the pump."""
    reach, _ = checked(layout_of(up="95", out="40", pump=60))
    assert reach.verdict is Verdict.FOULS
    assert reach.parts == ("drive belt", "water pump pulley")
    assert "misses the water pump pulley" in reach.note
    assert reach.details["wrap_deg: water pump pulley"] == 0.0


def test_the_move_that_is_offered_brings_the_belt_onto_every_pulley() -> None:
    layout = layout_of(up="95", out="40", pump=60)
    reach, _ = checked(layout)
    assert reach.verdict is Verdict.FOULS
    remedy = reach.remedies[0]
    by = float(remedy.split(" mm")[0].split()[-1])
    ways = {
        " mm down": (0, 0, -1),
        " mm up": (0, 0, 1),
        " mm to the car's left": (0, -1, 0),
        " mm to the car's right": (0, 1, 0),
    }
    (way,) = (np.array(way) for said, way in ways.items() if said in remedy)
    assert remedy.startswith("move the compressor ")
    wraps = drive_of(layout).wraps_deg({"compressor": by * way})
    assert min(wraps) >= limits()["belt wrap"].limit_deg


def test_a_pulley_that_the_readings_may_take_off_the_belt_is_too_close_to_call() -> None:
    """The crank's and the compressor's outer tangent passes the pump's rim within the readings."""
    tangent = _up_where_the_pump_is_just_missed()
    for up, verdict in (
        (tangent - 6.0, Verdict.TOO_CLOSE),
        (tangent + 6.0, Verdict.TOO_CLOSE),
        (tangent + 60.0, Verdict.FOULS),
    ):
        reach, _ = checked(layout_of(up=f"{up:.2f} ± 20", out="50", pump=60))
        assert reach.verdict is verdict, up


def _up_where_the_pump_is_just_missed() -> float:
    """By hand: how high a compressor (radius 60, 50 out) is whose left tangent grazes the pump.

    Crank (radius 70) at z = -200, pump (radius 30) at 0. With the tangent's unit normal n, to the
    left, n.c + r is the same for every pulley that it touches.
    """

    def short(up: float) -> float:
        y, z = 50.0, up + 200.0
        lean = math.atan2(z, y) + math.acos((70.0 - 60.0) / math.hypot(y, z))
        return 70.0 - (math.sin(lean) * 200.0 + 30.0)

    low, high = -20.0, 150.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if short(middle) < 0 else (low, middle)
    return (low + high) / 2


def test_a_wrap_that_is_very_small_is_no_fit() -> None:
    limit = limits()["belt wrap"].limit_deg
    layout = next(
        one
        for one in (layout_of(up=str(up), out="60", pump=60) for up in range(70, 130, 5))
        if 5 < drive_of(one).wraps_deg()[1] < limit - 3
    )
    reach, _ = checked(layout)
    assert reach.verdict is Verdict.TOO_CLOSE
    assert "of the water pump pulley" in reach.note


def test_sure_and_possible_wraps_hold_whatever_the_readings_hide() -> None:
    """Adjusted anew with readings that are off by as much as they may, one by one."""
    given = {"up": "-20 ± 3", "out": "120 ± 3"}
    wraps = drive_of(layout_of(**given)).wraps()
    assert wraps is not None
    for up in (-22.0, -20.0, -18.0):
        for out in (118.0, 122.0):
            there = drive_of(layout_of(up=str(up), out=str(out))).wraps_deg()
            for one, angle in zip(wraps, there, strict=True):
                assert one.least_deg - 0.1 <= angle <= one.most_deg + 0.1


def test_a_pulley_without_a_place_leaves_both_answers_open() -> None:
    layout = layout_of(line="", square="")
    assert not layout.parts["compressor"].known
    _, line = checked(layout)
    assert line.verdict is Verdict.NOT_KNOWN
    assert "compressor" in line.parts


@pytest.mark.parametrize(
    ("section", "width", "pump", "small"),
    [
        # ISO 9981:1998, 3.2: PK belts want 45 mm at least.
        ("ribbed", "", 50, False),
        # SAE J636, Table 1A, as a published summary prints it: 13A (1/2 in) wants 76 mm.
        ("v", "  width: 12.7\n", 70, True),
        ("v", "  width: 12.7\n", 78, False),
        # Nobody has said which section it is.
        ("v", "", 70, False),
    ],
)
def test_a_pulley_that_is_small_for_its_belt_is_told_of(
    section: str, width: str, pump: float, small: bool
) -> None:
    reach, _ = checked(layout_of(section=section, belt=width, pump=pump, out="240"))
    assert ("is small for a" in reach.note) is small


# -- do they stand in line ----------------------------------------------------------------------


def test_a_pulley_out_of_the_belts_plane_fouls_and_is_told_how_far_to_go() -> None:
    reach, line = checked(layout_of(line="    - belt 20 ± 0.1 aft of water pump pulley.belt"))
    assert reach.verdict is Verdict.FITS
    assert line.verdict is Verdict.FOULS
    assert "compressor" in line.parts
    assert any(one.startswith("move the compressor 20 mm forward") for one in line.remedies)


@pytest.mark.parametrize(
    ("section", "per_100_mm", "verdict"),
    [
        ("v", 0.80, Verdict.FITS),
        ("v", 0.94, Verdict.FOULS),
        ("ribbed", 0.40, Verdict.FITS),
        ("ribbed", 0.47, Verdict.FOULS),
    ],
)
def test_half_a_degree_for_a_v_belt_and_a_quarter_for_ribs(
    section: str, per_100_mm: float, verdict: Verdict
) -> None:
    """0.5 deg is 0.87 mm per 100 mm (alignment table); limits: installation check-list."""
    # The shortest span decides; from pump to compressor they touch at the same radius.
    span = math.hypot(160.0, 60.0)
    off = per_100_mm * span / 100.0
    place = f"    - belt {off:.4f} ± 0.02 aft of water pump pulley.belt"
    _, line = checked(layout_of(line=place, section=section, pump=120))
    assert line.verdict is verdict, line.note


def test_a_shaft_that_is_out_of_parallel_fouls_though_its_belt_circle_is_in_line() -> None:
    square = "    - square across ± 0.05 deg\n    - 3 ± 0.05 deg nose up"
    _, line = checked(layout_of(square=square))
    assert line.verdict is Verdict.FOULS
    # The spans run at up to 3 degrees to the plane of a pulley that leans by 3.
    angle = line.details["angle_deg"]
    assert isinstance(angle, float)
    assert 0.5 < abs(angle) <= 3.05


def test_what_a_tape_cannot_tell_asks_for_a_straightedge() -> None:
    _, line = checked(layout_of(line="    - belt flush with water pump pulley.belt ± 3"))
    assert line.verdict is Verdict.TOO_CLOSE
    assert "straightedge" in line.remedies[0]


def test_a_belt_is_drawn_in_its_pulleys_plane_whichever_is_named_first() -> None:
    """A compressor's origin is its nose's front, 20 mm ahead of its belt."""
    first = layout_of(over="compressor, crank pulley, water pump pulley")
    belt, pulley = first.parts["drive belt"], first.parts["crank pulley"]
    assert belt.pose[0, 3] == pytest.approx(pulley.pose[0, 3], abs=1e-9)


def test_a_belt_counts_as_wide_as_its_pulleys_stand_apart() -> None:
    still = layout_of().parts["drive belt"].slack_mm
    out = layout_of(line="    - belt 20 aft of water pump pulley.belt").parts["drive belt"].slack_mm
    assert out - still == pytest.approx(20.0, abs=0.1)
