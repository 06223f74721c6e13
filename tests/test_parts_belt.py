"""The belt's path against textbooks and an independent hull; its band against sums by hand."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from shapely import Polygon, union_all
from shapely.geometry import Point

import part_checks as checks
from noseroom.errors import GeometryError
from noseroom.parts.base import kind_of
from noseroom.parts.belt import Belt, Run, belt_path
from part_checks import Expected

DRIVE: Run = ((0.0, 0.0, 80.0), (10.0, 310.0, 75.0), (-215.0, 160.0, 35.0), (220.0, 130.0, 62.5))
"""Crank, pump, alternator, compressor: invented."""


def hull_by_shapely(run: Run, *, corners: int = 20_000) -> Polygon:
    """The hull of the pulleys' discs as polygons of 4 x `corners` corners, (y, z)."""
    discs = [Point(y, z).buffer(r, quad_segs=corners) for y, z, r in run]
    return union_all(discs).convex_hull


@cache
def girth_of_drive() -> float:
    return float(hull_by_shapely(DRIVE).length)


# -- the path -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "apart", "length", "within"),
    [
        # Theory-of-machines textbook, illustration 2.3 (exact; the book's sum is approximate).
        (500.0, 300.0, 5000.0, 11258.637, 5e-4),
        # Theory-of-machines worked example 20 (recomputed).
        (640.0, 480.0, 3000.0, 7761.43, 5e-3),
        # Open belt, recomputed.
        (10.0, 5.0, 20.0, 63.8749, 5e-5),
    ],
)
def test_an_open_belt_over_two_pulleys_is_as_long_as_in_the_books(
    one: float, other: float, apart: float, length: float, within: float
) -> None:
    for turn in (0.0, 0.7, 2.5, 4.0):
        place = (apart * math.cos(turn), apart * math.sin(turn))
        path = belt_path([(0.0, 0.0, one / 2), (*place, other / 2)])
        assert path.length_mm == pytest.approx(length, abs=within)


def test_the_small_pulley_of_an_open_belt_is_wrapped_as_recomputed() -> None:
    """Open belt, D 10, d 5, C 20: small wrap 165.6385 deg (recomputed)."""
    path = belt_path([(0.0, 0.0, 5.0), (20.0, 0.0, 2.5)])
    wraps = {arc.pulley: math.degrees(arc.wrap) for arc in path.arcs}
    assert wraps[1] == pytest.approx(165.6385, abs=5e-5)
    assert wraps[0] + wraps[1] == pytest.approx(360.0, abs=1e-9)


def test_lengths_agree_with_the_hull_of_polygons_for_random_drives() -> None:
    rng = np.random.default_rng(31)
    for _ in range(150):
        number = int(rng.integers(2, 8))
        run = tuple(
            (float(y), float(z), float(r))
            for y, z, r in zip(
                rng.uniform(-300, 300, number),
                rng.uniform(-300, 300, number),
                rng.uniform(22, 120, number),
                strict=True,
            )
        )
        path = belt_path(run)
        hull = hull_by_shapely(run, corners=200)
        assert path.length_mm == pytest.approx(hull.length, rel=1e-4)
        assert sum(arc.wrap for arc in path.arcs) == pytest.approx(math.tau, abs=1e-9)
        # A pulley is missed exactly when the hull of the others is no smaller without it.
        for k in range(number):
            rest = run[:k] + run[k + 1 :]
            shorter = path.length_mm - belt_path(rest).length_mm
            assert (k in path.missed) == (shorter < 1e-9)


def test_spans_touch_both_pulleys_square_to_their_radius_and_follow_each_other() -> None:
    path = belt_path(DRIVE)
    assert path.missed == ()
    for k, span in enumerate(path.spans):
        near, far = path.arcs[k], path.arcs[(k + 1) % len(path.arcs)]
        assert span.pulleys == (near.pulley, far.pulley)
        along = span.end - span.start
        for arc, end in ((near, span.start), (far, span.end)):
            radius = end - arc.centre
            assert np.linalg.norm(radius) == pytest.approx(arc.radius, abs=1e-9)
            assert float(radius @ along) == pytest.approx(0.0, abs=1e-7)
        assert math.cos(near.start + near.wrap - far.start) == pytest.approx(1.0, abs=1e-12)


def test_the_order_in_which_pulleys_are_named_does_not_matter() -> None:
    length = belt_path(DRIVE).length_mm
    for order in ((2, 0, 3, 1), (3, 2, 1, 0)):
        shuffled = [DRIVE[k] for k in order]
        assert belt_path(shuffled).length_mm == pytest.approx(length, rel=1e-12)


def test_a_pulley_inside_the_belt_is_missed_and_said_to_be() -> None:
    run = (*DRIVE, (0.0, 150.0, 40.0))
    assert belt_path(run).missed == (4,)
    assert belt_path(run).length_mm == pytest.approx(belt_path(DRIVE).length_mm, rel=1e-12)
    assert Belt(run=run).missed == (4,)


def test_a_pulley_that_a_span_just_grazes_wraps_nothing_and_is_missed() -> None:
    run = ((0.0, 0.0, 50.0), (200.0, 0.0, 50.0), (400.0, 0.0, 50.0))
    path = belt_path(run)
    assert path.missed == (1,)
    assert path.length_mm == pytest.approx(800.0 + math.pi * 100.0, rel=1e-9)


@pytest.mark.parametrize(
    ("graze", "arcs"), [(-1e-9, 1), (0.0, 1), (1e-9, 1), (1e-6, 1), (1e-3, 1), (1.0, 2)]
)
def test_a_pulley_grazed_on_one_side_still_counts_on_the_other(graze: float, arcs: int) -> None:
    run = ((0.0, 0.0, 50.0), (200.0, -30.0, 80.0 + graze), (400.0, 0.0, 50.0))
    path = belt_path(run)
    assert path.missed == ()
    assert path.length_mm == pytest.approx(hull_by_shapely(run, corners=2000).length, rel=1e-6)
    assert [arc.pulley for arc in path.arcs].count(1) == arcs
    made = Belt(run=run)
    for shape in made.solids().values():
        assert shape.isValid()
    checks.check_pieces_cover(made, checks.bodies(made, checks.COARSE))


def test_a_pulley_named_twice_counts_once() -> None:
    path = belt_path([DRIVE[0], DRIVE[1], DRIVE[0]])
    assert path.length_mm == pytest.approx(belt_path(DRIVE[:2]).length_mm, rel=1e-12)
    assert path.missed == (2,)


def test_a_pulley_that_holds_all_others_makes_one_full_turn() -> None:
    for run in ([(5.0, 3.0, 50.0)], [(5.0, 3.0, 50.0), (10.0, 0.0, 20.0), (-5.0, 0.0, 20.0)]):
        path = belt_path(run)
        assert path.spans == ()
        assert path.length_mm == pytest.approx(math.pi * 100.0, rel=1e-12)


@pytest.mark.parametrize(
    "run",
    [(), ((0.0, 0.0),), ((0.0, 0.0, 0.0),), ((0.0, float("nan"), 5.0),), ((0.0, 0.0, -5.0),)],
)
def test_a_run_that_is_none_is_refused(run: Run) -> None:
    with pytest.raises(GeometryError, match="belt"):
        belt_path(run)


# -- the band -------------------------------------------------------------------------------------


def band_by_hand(made: Belt) -> dict[str, Expected]:
    """By Steiner's formula, for the girth P of the drive's outline.

    The area between outlines at d and at e outside of it is P (e - d) + π (e² - d²).
    """
    deep = made.height_mm if made.section == "v" else made.thickness_mm
    width = made.width_mm if made.section == "v" else made.ribs * 3.56
    back = made.proud_mm
    inside = back - deep
    area = girth_of_drive() * deep + math.pi * (back**2 - inside**2)
    y, z, r = np.array(DRIVE).T
    low = (-width / 2, (y - r).min() - back, (z - r).min() - back)
    high = (width / 2, (y + r).max() + back, (z + r).max() + back)
    return {"belt": Expected(area * width, low, high)}


def test_declarations_hang_together() -> None:
    checks.check_kind(Belt)
    over, *others = kind_of(Belt).references
    assert (over.key, over.many, over.least) == ("over", True, 2)
    assert {one.among for one in others if one.among} == {"over"}


def test_without_a_run_there_is_no_belt() -> None:
    made = Belt()
    assert made.pieces() == ()
    assert made.solids() == {}
    assert made.missed == ()
    assert made.movement_bounds()["width_mm"] == 0.0


def test_the_band_is_as_large_as_by_hand_over_the_whole_range() -> None:
    for made in checks.draws(Belt, seed=32, run=DRIVE):
        checks.check_solids(made, band_by_hand(made))


def test_pieces_cover_the_band_and_stand_close_to_it() -> None:
    for made in checks.draws(Belt, seed=33, count=6, run=DRIVE):
        meshed = checks.bodies(made, checks.COARSE)
        checks.check_pieces_cover(made, meshed)
        checks.check_pieces_tight(made, meshed)
        checks.check_follows_sizes(made)


def test_no_surface_moves_further_than_its_bound_says() -> None:
    for made in checks.draws(Belt, seed=34, count=1, run=DRIVE):
        checks.check_movement_bounds(made, most=40)


def test_a_belt_that_goes_round_a_single_pulley_is_a_ring() -> None:
    made = Belt(run=((5.0, 3.0, 50.0),), width_mm=10.0, height_mm=8.0, proud_mm=1.0)
    ring = math.pi * (51.0**2 - 43.0**2) * 10.0
    expected = {"belt": Expected(ring, (-5.0, -46.0, -48.0), (5.0, 56.0, 54.0))}
    checks.check_solids(made, expected)
    checks.check_pieces_cover(made, checks.bodies(made, checks.COARSE))


def test_a_v_belt_lies_in_its_groove_and_stands_out_of_the_rim() -> None:
    """Where it lies on a pulley its back is `proud` outside the rim and its inside below it."""
    made = Belt(run=DRIVE, height_mm=9.0, proud_mm=1.5)
    points = checks.bodies(made)["belt"].mesh.vertices
    outline = hull_by_shapely(DRIVE, corners=2000).exterior
    away = np.array([Point(y, z).distance(outline) for _, y, z in points])
    assert set(np.round(away, 2)) == {1.5, 7.5}
