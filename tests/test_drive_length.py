"""Which belts go on: length, take-up and stock sizes, by hand and over what the readings hide."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import union_all
from shapely.geometry import Point

from drive_layouts import drive_of, found_of, layout_of
from noseroom.checks.belts import check_belts
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.layout import Layout
from noseroom.physics.belts import belt_run

LENGTH = "length: drive belt"
PAIR = "crank pulley, compressor"
SLIDE = "  adjuster: {{moves: compressor, in: {ease}, out: {out}{more}}}\n"
EVEN = math.pi * 120.0
"""What two pulleys of 120 mm add to twice their distance."""


def pair_of(
    apart: float, ease: float, out: float, more: str = "", belt: str = "", section: str = "ribbed"
) -> Layout:
    """Two pulleys of 120 mm, one above the other, the upper one on a slide."""
    return layout_of(
        over=PAIR,
        crank=120,
        section=section,
        up=f"{apart - 200:.3f}",
        out="0.001",
        belt=SLIDE.format(ease=ease, out=out, more=more) + belt,
    )


def test_two_even_pulleys_take_twice_the_distance_and_one_girth() -> None:
    said = found_of(pair_of(262.0, 10.0, 20.0), LENGTH).details
    assert said["effective_length_mm"] == pytest.approx(524.0 + EVEN, abs=0.02)
    assert said["named_by"] == "effective"
    # ISO 9981:1998, 5.4: b_e is 2 mm.
    assert said["pitch_length_mm"] == pytest.approx(524.0 + EVEN + 4 * math.pi, abs=0.02)
    assert said["take_up_from_mm"] == pytest.approx(504.0 + EVEN, abs=0.02)
    assert said["take_up_to_mm"] == pytest.approx(564.0 + EVEN, abs=0.02)


def test_the_sizes_on_sale_within_the_take_up_are_listed_with_where_they_tighten() -> None:
    """524 + 120 pi is 900.99: what is off by 5 mm (from memory) stays within 881 and 941."""
    one = found_of(pair_of(262.0, 10.0, 20.0), LENGTH)
    assert one.verdict is Verdict.FITS
    stock = one.details["stock_mm"]
    assert isinstance(stock, list)
    assert [row[0] for row in stock] == [890.0 + 5.0 * k for k in range(10)]
    for size, by in stock:
        assert by == pytest.approx((size - 524.0 - EVEN) / 2.0, abs=0.05)
    assert "string" in one.note
    assert one.details["stock_maybe_mm"] == [[880.0], [885.0], [940.0], [945.0]]
    assert one.note.count("from memory") == 1


def test_a_v_belt_is_named_by_its_outside_length() -> None:
    said = found_of(
        pair_of(262.0, 10.0, 20.0, section="v", belt="  proud: 2 ± 0.1\n"), LENGTH
    ).details
    assert said["length_mm"] == pytest.approx(524.0 + EVEN + 4 * math.pi, abs=0.02)
    spread = said["length_spread_mm"]
    assert isinstance(spread, float)
    assert spread >= math.tau * 0.1


def test_no_size_within_the_take_up_fouls_and_says_how_much_further() -> None:
    """906.25 lies between 900 and 912.5; 0.3 mm either way reach neither, off by 3 mm or not."""
    given = {"section": "v", "belt": "  proud: 2 ± 0.01\n"}
    apart = (906.25 - EVEN - 4 * math.pi) / 2.0
    one = found_of(pair_of(apart, 0.3, 0.3, **given), LENGTH)
    assert one.verdict is Verdict.FOULS
    (remedy,) = one.remedies
    further = float(remedy.split(" move ")[1].split(" mm")[0])
    reached = found_of(pair_of(apart, 0.3, 0.3 + further + 0.2, **given), LENGTH)
    assert reached.verdict is Verdict.FITS
    short = found_of(pair_of(apart, 0.3, 0.3 + further - 0.5, **given), LENGTH)
    assert short.verdict is Verdict.TOO_CLOSE


def test_a_size_that_the_readings_may_put_out_of_reach_is_too_close_to_call() -> None:
    layout = layout_of(
        over=PAIR, crank=120, section="ribbed", up="62 ± 5", out="0.001",
        belt=SLIDE.format(ease=2, out=2, more=""),
    )  # fmt: skip
    one = found_of(layout, LENGTH)
    assert one.verdict is Verdict.TOO_CLOSE
    assert "string" in one.remedies[0]


@pytest.mark.parametrize(
    ("size", "verdict"),
    [(900, Verdict.FITS), (930, Verdict.FITS), (941, Verdict.TOO_CLOSE), (990, Verdict.FOULS)],
)
def test_a_belt_at_hand_is_judged_by_its_own_length(size: float, verdict: Verdict) -> None:
    """From 881 to 941 mm goes on; the belt is read to within 3 mm."""
    one = found_of(pair_of(262.0, 10.0, 20.0, belt=f"  length: {size}\n"), LENGTH)
    assert one.verdict is verdict
    assert one.note.startswith(f"The belt of {size} mm at hand")


@pytest.mark.parametrize(
    ("belt", "why"),
    [
        ("  adjuster: {moves: compressor}\n", "how far"),
        ("  adjuster: {moves: compressor, toward: down, out: 20}\n", "down"),
        ("  adjuster: {moves: water pump pulley, by: pivot, out: 9}\n", "turns about"),
    ],
)
def test_an_adjuster_of_which_too_little_is_said_is_not_known(belt: str, why: str) -> None:
    one = found_of(layout_of(belt=belt), LENGTH)
    assert one.verdict is Verdict.NOT_KNOWN
    assert why in one.note
    assert one.remedies


def test_without_an_adjuster_nothing_is_judged_but_the_length_is_told() -> None:
    layout = layout_of()
    ids = [one.id for one in check_belts(Pairs(layout), Rules(layout.envelope))]
    assert LENGTH not in ids
    length = found_of(layout, "reach: drive belt").details["effective_length_mm"]
    assert length == pytest.approx(drive_of(layout).path().length_mm, abs=0.01)


def test_a_slide_stops_where_two_pulleys_meet() -> None:
    """Two rims of 60 mm radius, 140 mm apart: 20 mm on the way to one another, not 90."""
    one = found_of(pair_of(140.0, 90.0, 20.0), LENGTH)
    assert one.details["take_up_from_mm"] == pytest.approx(240.0 + EVEN, abs=3.0)
    assert "stops after" in one.note


def through_the_middle(up: str, ease: float) -> Layout:
    """The pump's pulley, the largest, between the two others: the belt lies on it twice."""
    return layout_of(
        pump=220, crank=100, up=up, out="0", belt=SLIDE.format(ease=ease, out=20, more="")
    )


def test_a_slide_stops_at_a_pulley_that_the_belt_lies_on_twice() -> None:
    """Rims of 110 and 60 mm, 220 mm apart: 50 mm to go. The string is Shapely's hull."""
    layout = through_the_middle("220", 150)
    assert len(drive_of(layout).path().arcs) == 4
    one = found_of(layout, LENGTH)
    assert "On the slack side the compressor stops after" in one.note
    lengths = {}
    for key, up in (("from", 170.0), ("to", 240.0)):
        rims = [(0.0, -200.0, 50.0), (0.0, 0.0, 110.0), (0.0, up, 60.0)]
        circles = [Point(y, z).buffer(r, quad_segs=400) for y, z, r in rims]
        lengths[key] = union_all(circles).convex_hull.length + math.tau * 1.5
    # A step of the way is 2 mm, and the belt grows by less than 2 mm for each.
    assert lengths["from"] - 0.05 <= one.details["take_up_from_mm"] <= lengths["from"] + 4.0
    assert one.details["take_up_to_mm"] == pytest.approx(lengths["to"], abs=0.05)
    stock = one.details["stock_mm"]
    assert isinstance(stock, list)
    assert stock
    assert all(by >= -50.0 for _, by in stock)


def test_pulleys_that_overlap_where_they_stand_give_no_sizes_though_one_is_touched_twice() -> None:
    layout = through_the_middle("165", 10)
    assert len(drive_of(layout).path().arcs) == 4
    found = check_belts(Pairs(layout), Rules(layout.envelope))
    assert LENGTH not in [one.id for one in found]
    assert found_of(layout, "reach: drive belt").verdict is Verdict.FOULS


PIVOT = """\
pivot bolt:
  is: cylinder
  carried by: engine
  diameter: 10
  length: 60
  place:
    - front 40 aft of water pump pulley.belt
    - axis 160 right of water pump.axis
    - axis 200 below water pump.axis
    - parallel to engine ± 0.01 deg
"""


def test_a_pivot_turns_the_accessory_about_its_bolt() -> None:
    """By hand: the compressor stands 140 mm above the bolt, and turns to the right."""
    layout = layout_of(
        parts=PIVOT,
        belt="  adjuster: {moves: compressor, by: pivot, about: pivot bolt, in: 15, out: 30}\n",
    )
    said = found_of(layout, LENGTH).details
    pulleys = [(0.0, -200.0, 70.0), (160.0, -60.0, 60.0), (0.0, 0.0, 60.0)]
    for key, by in (("take_up_from_mm", -15.0), ("take_up_to_mm", 30.0)):
        turn = by / 140.0
        pulleys[1] = (160.0 + 140.0 * math.sin(turn), -200.0 + 140.0 * math.cos(turn), 60.0)
        outside = float(belt_run(pulleys).length) + math.tau * 1.5
        assert said[key] == pytest.approx(outside, abs=0.05)


@pytest.mark.filterwarnings("error")
def test_an_accessory_that_stands_on_its_pivot_leaves_it_open() -> None:
    layout = layout_of(
        parts=PIVOT.replace("axis 200 below", "axis 60 below"),
        belt="  adjuster: {moves: compressor, by: pivot, about: pivot bolt, in: 15, out: 30}\n",
    )
    one = found_of(layout, LENGTH)
    assert one.verdict is Verdict.NOT_KNOWN
    assert "stands on the axis" in one.note
    assert "about:" in one.remedies[0]


@pytest.mark.filterwarnings("error")
def test_a_way_that_only_tightens_ends_where_it_stands() -> None:
    said = found_of(pair_of(262.0, 0.0, 20.0), LENGTH).details
    assert said["take_up_from_mm"] == pytest.approx(524.0 + EVEN, abs=0.02)


def test_a_named_accessory_turns_about_its_own_ear() -> None:
    """A compressor's lower ears stand body / 2 + out below its axis: 55 + 18 mm, as usual."""
    layout = layout_of(belt="  adjuster: {moves: compressor, by: pivot, in: 5, out: 10}\n")
    said = found_of(layout, LENGTH).details
    turn, arm = 10.0 / 73.0, 73.0
    moved = (160.0 + arm * math.sin(turn), -60.0 - arm + arm * math.cos(turn), 60.0)
    run = belt_run([(0.0, -200.0, 70.0), moved, (0.0, 0.0, 60.0)])
    assert said["take_up_to_mm"] == pytest.approx(float(run.length) + math.tau * 1.5, abs=0.05)


def test_the_length_holds_whatever_the_readings_hide() -> None:
    """Adjusted anew with readings that are off by as much as they may; ± 3 mm pulls by up to 2."""
    drive = drive_of(layout_of(up="-60 ± 3", out="160 ± 3", section="ribbed"))
    one = found_of(
        layout_of(
            up="-60 ± 3", out="160 ± 3", section="ribbed", belt=SLIDE.format(ease=5, out=5, more="")
        ),
        LENGTH,
    )
    spread, middle = one.details["length_spread_mm"], drive.path().length_mm
    assert isinstance(spread, float)
    lengths = [
        drive_of(layout_of(up=str(up), out=str(out), section="ribbed")).path().length_mm
        for up in (-62.0, -60.0, -58.0)
        for out in (158.0, 160.0, 162.0)
    ]
    far = float(np.abs(np.array(lengths) - middle).max())
    assert far <= spread <= 4.0 * far
