"""Belts over pulleys: textbooks, standards, and a string pulled tight in another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import union_all
from shapely.geometry import Point

from noseroom.physics.belts import (
    belt_run,
    capstan,
    grip,
    pitch_length,
    speed_ratio,
    wedged,
)
from noseroom.tables.belts import belt_figures, section_of, sections, series, series_of
from tight_string import string_round

SERPENTINE = (
    (0.0, 0.0, 76.0),
    (122.0, -36.0, 34.0),
    (209.0, 52.0, 62.0),
    (0.0, 163.0, 65.0),
    (-204.0, 103.0, 29.0),
    (-126.0, 12.0, 36.5),
)
"""Crank, tensioner, compressor, pump, alternator, idler: invented."""
ON_BACK = (False, True, False, False, False, True)


# -- textbooks and standards ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "apart", "crossed", "length", "within"),
    [
        # Theory-of-machines textbook, illustration 2.3: 50/30 cm, 5 m apart; open recomputed
        # exactly, crossed 3.0 cm longer.
        (500.0, 300.0, 5000.0, False, 11258.637, 5e-4),
        (500.0, 300.0, 5000.0, True, 11288.6, 0.1),
        # Theory-of-machines worked example 20: 640/480 mm, 3 m apart (recomputed exactly).
        (640.0, 480.0, 3000.0, False, 7761.43, 5e-3),
        (640.0, 480.0, 3000.0, True, 7864.13, 5e-3),
        # Open belt, recomputed.
        (10.0, 5.0, 20.0, False, 63.8749, 5e-5),
    ],
)
def test_belts_over_two_pulleys_are_as_long_as_in_the_books(
    one: float, other: float, apart: float, crossed: bool, length: float, within: float
) -> None:
    run = belt_run([[0.0, 0.0, one / 2], [apart, 0.0, other / 2]], [False, crossed])
    assert float(run.length) == pytest.approx(length, abs=within)
    assert bool(run.crossed.any()) is crossed
    assert bool(run.ok) is not crossed
    assert int(run.turning) == (0 if crossed else 1)


def test_a_crossed_belt_is_longer_by_what_the_books_say() -> None:
    """900/300 mm, 6 m apart: 45.05 mm (fluid and machine textbook companion; exact)."""
    open_, crossed = (
        float(belt_run([[0.0, 0.0, 450.0], [6000.0, 0.0, 150.0]], back).length)
        for back in ([False, False], [False, True])
    )
    assert crossed - open_ == pytest.approx(45.05, abs=5e-3)


def test_the_small_pulley_is_wrapped_as_recomputed() -> None:
    """Open belt, D 10, d 5, C 20: small wrap 165.6385 deg (recomputed)."""
    wraps = np.degrees(belt_run([[0.0, 0.0, 5.0], [20.0, 0.0, 2.5]]).wraps)
    assert wraps[1] == pytest.approx(165.6385, abs=5e-5)


def test_the_speed_ratio_counts_the_pitch_line() -> None:
    """ISO 9981:1998, 5.4: b_e 2 mm for PK; 150/60 mm by effective diameters gives 154/64."""
    out = sections()["PK"].pitch_out_mm
    assert out == 2.0
    assert speed_ratio(150.0, 60.0, out) == pytest.approx(2.40625, abs=1e-12)
    assert pitch_length(1000.0, out) - 1000.0 == pytest.approx(12.566, abs=1e-3)


def test_limits_stand_as_in_the_standards() -> None:
    """ISO 9981:1998, 3.2: 45 mm. SAE J636, Table 1A as a published summary prints it."""
    assert sections()["PK"].least_diameter_mm == 45.0
    printed = {"10A": (61, 9.7), "13A": (76, 12.7), "17A": (76, 16.8), "23A": (102, 23.1)}
    for key, (least, width) in printed.items():
        one = sections()[key]
        assert (one.least_diameter_mm, one.top_width_mm, one.groove_deg) == (least, width, 36.0)
    assert section_of("v", 12.5).key == "13A"
    assert section_of("ribbed", 0.0).key == "PK"
    for row in (*sections().values(), *series().values(), *belt_figures().values()):
        assert row.source


def test_stock_lengths_go_by_the_trades_steps() -> None:
    """Common practice: multi-rib belts in 5 mm, V belts for cars in half inches."""
    assert series_of("ribbed", "in").between(1000.0, 1012.0) == (1000.0, 1005.0, 1010.0)
    assert series_of("v", "in").between(1000.0, 1030.0) == pytest.approx((1003.3, 1016.0, 1028.7))
    assert series_of("v", "mm").between(1001.0, 1011.0) == ()
    assert series_of("v", "mm").between(10.0, 20.0) == ()


def test_what_a_belt_may_be_off_its_mark_is_counted() -> None:
    """From memory: a V belt within 3 mm and 0.3 %, a multi-rib one within 5 mm and 0.5 %."""
    v, ribbed = series_of("v", "mm"), series_of("ribbed", "mm")
    assert (v.tolerance(900.0), v.tolerance(1800.0)) == pytest.approx((3.0, 5.4))
    assert (ribbed.tolerance(900.0), ribbed.tolerance(2000.0)) == pytest.approx((5.0, 10.0))
    assert v.within(897.0, 915.4) == (900.0,)
    assert v.within(909.5, 915.5) == (912.5,)
    assert v.within(909.6, 915.5) == v.within(909.5, 915.4) == ()
    assert v.near(902.9, 909.6) == (900.0, 912.5)
    assert v.near(903.1, 909.4) == ()
    for row in (v, ribbed):
        assert "from memory" in row.source


def test_friction_round_a_pulley_is_eulers() -> None:
    """Euler: mu 0.3 over 180 deg gives 2.566332; in grooves of 40 deg 0.87714 and 15.7308."""
    assert float(capstan(0.3, math.pi)) == pytest.approx(2.566332, abs=1e-6)
    felt = float(wedged(0.3, math.radians(40.0)))
    assert felt == pytest.approx(0.87714, abs=5e-6)
    assert float(capstan(felt, math.pi)) == pytest.approx(15.7308, abs=1e-3)


def test_a_belt_on_fixed_shafts_slips_at_the_classical_load() -> None:
    """T1 + T2 = 2 T0 and T1 / T2 = e^(μθ): the pull is 2 T0 (e - 1) / (e + 1) (Euler)."""
    ratio = float(capstan(0.3, math.pi))
    most = 2 * 250.0 * (ratio - 1) / (ratio + 1)
    held = grip(250.0, [0.0, most / 2], [ratio, ratio], [400.0, 400.0], 0)
    assert held.reserves == pytest.approx([2.0, 2.0], rel=1e-12)
    assert held.tension_n == pytest.approx([250 - most / 4, 250 + most / 4])


def test_a_sprung_pulley_keeps_its_span_and_the_others_follow() -> None:
    """On the slack side T2 stays: the pull is T2 (e - 1). On the tight side it is T1 (1 - 1/e)."""
    ratio = 4.0
    pulls, spans = [0.0, 0.0, 300.0], [100.0, 200.0, 300.0]
    slack = grip(150.0, pulls, [ratio, 9.0, ratio], spans, 0, held=1)
    assert slack.reserves[0] == pytest.approx(150.0 * (ratio - 1) / 300.0)
    assert slack.tension_n == pytest.approx([150.0, 150.0, 450.0])
    tight = grip(450.0, [0.0, 300.0, 0.0], [ratio, ratio, 9.0], spans, 0, held=2)
    assert tight.reserves[0] == pytest.approx(450.0 * (1 - 1 / ratio) / 300.0)
    assert tight.reserves[2] == np.inf  # it takes nothing


def test_the_weak_pulley_may_be_the_crank() -> None:
    """Two loads on well wrapped pulleys add up on a crank that is little wrapped."""
    wraps = np.radians([70.0, 160.0, 130.0])
    ratios = capstan(wedged(0.3, math.radians(40.0)), wraps)
    reserves = grip(400.0, [0.0, 250.0, 250.0], ratios, [100.0] * 3, 0, held=0).reserves
    assert int(reserves.argmin()) == 0


# -- the run --------------------------------------------------------------------------------------


def test_a_convex_drive_is_shapelys_hull() -> None:
    rng = np.random.default_rng(61)
    seen = 0
    while seen < 40:
        number = int(rng.integers(3, 10))
        run = np.column_stack([rng.uniform(-300, 300, (number, 2)), rng.uniform(22, 90, number)])
        around = np.arctan2(*(run[:, :2] - run[:, :2].mean(axis=0)).T[::-1])
        solved = belt_run(run[np.argsort(around)])
        if not solved.ok:
            continue
        seen += 1
        hull = union_all([Point(y, z).buffer(r, quad_segs=2000) for y, z, r in run]).convex_hull
        assert float(solved.length) == pytest.approx(hull.length, rel=1e-6)
        assert float(solved.wraps.sum()) == pytest.approx(math.tau, abs=1e-9)


def random_drive(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray] | None:
    """A drive of 3 to 9 pulleys with idlers pressed onto the back of some spans, if it can be."""
    number = int(rng.integers(3, 7))
    around = np.sort(rng.uniform(0, math.tau, number))
    out = rng.uniform(150, 300, number)
    run = [
        (out[k] * math.cos(around[k]), out[k] * math.sin(around[k]), rng.uniform(25, 85))
        for k in range(number)
    ]
    plain = belt_run(run)
    if not plain.ok:
        return None
    start, end = plain.ends
    rows, back = [], []
    for k in range(number):
        rows.append(run[k])
        back.append(False)
        if len(rows) + number - k - 1 < 9 and rng.uniform() < 0.5:
            radius, deep = rng.uniform(25, 45), rng.uniform(3, 40)
            right = np.array([np.sin(plain.headings[k]), -np.cos(plain.headings[k])])
            middle = start[k] + rng.uniform(0.3, 0.7) * (end[k] - start[k])
            rows.append((*(middle + (radius - deep) * right), radius))
            back.append(True)
    return np.array(rows), np.array(back)


def test_random_drives_with_idlers_on_the_back_are_as_long_as_a_string_pulled_tight() -> None:
    rng = np.random.default_rng(62)
    seen, with_idlers, most = 0, 0, 0
    while seen < 40:
        made = random_drive(rng)
        if made is None:
            continue
        run, back = made
        solved = belt_run(run, back)
        if not solved.ok:
            continue
        seen += 1
        with_idlers += bool(back.any())
        most = max(most, len(run))
        assert float(solved.length) == pytest.approx(string_round(run, back), rel=1e-4)
        turned = solved.wraps[~back].sum() - solved.wraps[back].sum()
        assert turned == pytest.approx(math.tau, abs=1e-9)
    assert with_idlers > 20
    assert most >= 8


def test_spans_touch_their_pulleys_square_to_the_radius_on_the_right_side() -> None:
    solved = belt_run(SERPENTINE, ON_BACK)
    assert solved.ok
    start, end = solved.ends
    for k in range(len(SERPENTINE)):
        along = end[k] - start[k]
        assert math.hypot(*along) == pytest.approx(solved.spans[k], abs=1e-9)
        for point, pulley in ((start[k], k), (end[k], (k + 1) % len(SERPENTINE))):
            y, z, r = SERPENTINE[pulley]
            radius = point - (y, z)
            assert math.hypot(*radius) == pytest.approx(r, abs=1e-9)
            assert float(radius @ along) == pytest.approx(0.0, abs=1e-7)
            # The middle of a pulley inside the loop lies to the left of the belt.
            left = along[0] * -radius[1] - along[1] * -radius[0]
            assert (left > 0) is not ON_BACK[pulley]


def test_length_and_headings_follow_places_and_radii_as_they_say() -> None:
    here = belt_run(SERPENTINE, ON_BACK)
    by, (behind, ahead) = here.length_by_place(), here.headings_by_place()
    step = 1e-4
    for pulley in range(len(SERPENTINE)):
        for column in range(3):
            there = []
            for sign in (-1, 1):
                moved = np.array(SERPENTINE)
                moved[pulley, column] += sign * step
                there.append(belt_run(moved, ON_BACK))
            slope = float(there[1].length - there[0].length) / (2 * step)
            assert by[pulley, column] == pytest.approx(slope, abs=1e-6)
            turned = (there[1].headings - there[0].headings) / (2 * step)
            asked = np.zeros(len(SERPENTINE))
            asked[pulley] = behind[pulley, column]
            asked[pulley - 1] += ahead[pulley - 1, column]
            assert turned == pytest.approx(asked, abs=1e-7)


def test_many_places_at_once_are_as_one_by_one() -> None:
    rng = np.random.default_rng(63)
    places = np.repeat(np.array(SERPENTINE)[None], 60, axis=0)
    places[:, 2, :2] += rng.uniform(-80, 80, (60, 2))
    together = belt_run(places, ON_BACK)
    assert together.ok.any()
    assert not together.ok.all()
    for k, place in enumerate(places):
        alone = belt_run(place, ON_BACK)
        assert bool(together.ok[k]) is bool(alone.ok)
        if alone.ok:
            assert float(together.length[k]) == pytest.approx(float(alone.length), rel=1e-13)
            assert together.wraps[k] == pytest.approx(alone.wraps, abs=1e-12)


# -- what cannot be -------------------------------------------------------------------------------


def test_pulleys_that_overlap_are_told_with_the_depth() -> None:
    solved = belt_run([(0.0, 0.0, 50.0), (90.0, 0.0, 45.0), (0.0, 200.0, 30.0)])
    assert not solved.ok
    assert solved.overlap_mm[0, 1] == pytest.approx(5.0)
    assert solved.overlap_mm[0, 2] < 0


def test_a_pulley_on_the_back_that_overlaps_the_next_leaves_no_span() -> None:
    solved = belt_run([(0.0, 0.0, 50.0), (90.0, 0.0, 45.0), (0.0, 200.0, 30.0)], [0, 1, 0])
    assert not solved.ok
    assert solved.no_tangent.tolist() == [True, False, False]


@pytest.mark.parametrize("by", [0.5, 20.0, 60.0])
def test_a_pulley_that_the_belt_passes_is_bent_the_other_way(by: float) -> None:
    """Outside the loop by so much for the back, inside it for the ribs."""
    rims = [(0.0, 0.0, 50.0), (400.0, 0.0, 50.0), (200.0, 300.0, 50.0)]
    free = [rims[0], (200.0, -80.0 - by, 30.0), *rims[1:]]
    solved = belt_run(free, [0, 1, 0, 0])
    assert not solved.ok
    assert solved.missed.tolist() == [False, True, False, False]
    inside = [rims[0], (200.0, -20.0 + by, 30.0), *rims[1:]]
    solved = belt_run(inside)
    assert not solved.ok
    assert solved.missed.tolist() == [False, True, False, False]


def test_a_run_named_the_wrong_way_round_is_no_run() -> None:
    assert not belt_run(SERPENTINE[::-1], ON_BACK[::-1]).ok
    mixed = [SERPENTINE[k] for k in (0, 3, 2, 4)]
    assert not belt_run(mixed).ok


def test_an_idler_that_is_pressed_right_through_the_loop_stands_in_another_span() -> None:
    """The far span runs at z = 340; the idler, of radius 30, stands up to 300 and up to 360."""
    run = [(0.0, 0.0, 40.0), (300.0, 0.0, 40.0), (300.0, 300.0, 40.0), (0.0, 300.0, 40.0)]
    fits = belt_run([run[0], (150.0, 270.0, 30.0), *run[1:]], [0, 1, 0, 0, 0])
    assert fits.ok
    through = belt_run([run[0], (150.0, 330.0, 30.0), *run[1:]], [0, 1, 0, 0, 0])
    assert not through.ok
    assert through.blocked_mm[3, 1] == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("xyr", "back"),
    [([1.0, 2.0, 3.0], None), ([[0.0, 0.0, 1.0]], None), ([[0.0, 0.0], [1.0, 1.0]], None),
     ([[0.0, 0.0, 1.0], [9.0, 0.0, 1.0]], [True])],
)  # fmt: skip
def test_shapes_that_are_no_run_are_refused(xyr: list[float], back: list[bool] | None) -> None:
    with pytest.raises(ValueError, match="belt"):
        belt_run(xyr, back)
