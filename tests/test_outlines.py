"""Outlines of lines and arcs, against closed forms and against shapely's polygons."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from shapely.geometry import Polygon

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path, rectangle, rounded, slot, tidied


def test_a_slot_by_hand() -> None:
    """20 mm of travel, 8 mm wide: a rectangle and a disc."""
    path = slot((5.0, -3.0), 20.0, 8.0, 0.7)
    assert path.area_mm2 == pytest.approx(20 * 8 + math.pi * 16)
    assert path.length_mm == pytest.approx(40 + math.pi * 8)
    far = np.linalg.norm(path.sampled(1e-4) - [5.0, -3.0], axis=1)
    assert far.max() == pytest.approx(14.0, abs=1e-3)
    assert far.min() >= 4.0 - 1e-9


def test_round_corners_take_what_a_square_has_more_than_a_disc() -> None:
    path = rounded([(0, 0), (40, 0), (40, 30), (0, 30)], [5, 5, 5, 5])
    assert path.area_mm2 == pytest.approx(1200 - (4 - math.pi) * 25)
    assert path.length_mm == pytest.approx(140 - 8 * 5 + 2 * math.pi * 5)


def test_corners_rounder_than_their_sides_are_refused() -> None:
    with pytest.raises(GeometryError, match="rounder than its sides allow"):
        rounded([(0, 0), (40, 0), (40, 8), (0, 8)], [5, 5, 5, 5])


def shapes() -> list[Path]:
    dice = random.Random(3)
    found = [Circle((3.0, 4.0), 12.0).as_path(), slot((1.0, 2.0), 9.0, 4.0, 1.0)]
    while len(found) < 14:
        count = dice.randint(3, 7)
        turns = sorted(dice.uniform(0, math.tau) for _ in range(count))
        corners = tuple((30 * math.cos(a), 30 * math.sin(a)) for a in turns)
        path = Path(corners, tuple(dice.choice([0.0, 0.2, -0.1, 0.4]) for _ in corners))
        if Polygon(path.sampled()).is_valid:
            found.append(path)
    return found


def test_area_and_length_are_those_of_fine_polygons() -> None:
    for path in shapes():
        polygon = Polygon(path.sampled(1e-5))
        assert path.area_mm2 == pytest.approx(polygon.area, rel=1e-4)
        assert path.length_mm == pytest.approx(polygon.length, rel=1e-4)


def test_samples_are_no_further_off_the_arc_than_is_said() -> None:
    """A circle of 12 mm: corners on it, sides no deeper than the chord error below it."""
    for chord in (1.0, 0.1, 0.001):
        points = Circle((0.0, 0.0), 12.0).as_path().sampled(chord)
        middles = (points + np.roll(points, -1, axis=0)) / 2
        assert np.linalg.norm(points, axis=1) == pytest.approx(6.0)
        assert (6.0 - np.linalg.norm(middles, axis=1)).max() <= chord + 1e-12


def test_placing_mirroring_and_running_back_keep_area_and_length() -> None:
    for path in shapes():
        for other, sign in (
            (path.placed(0.8, (4.0, -7.0)), 1),
            (path.mirrored(), 1),
            (path.reversed(), -1),
        ):
            assert other.area_mm2 == pytest.approx(sign * path.area_mm2)
            assert other.length_mm == pytest.approx(path.length_mm)


def test_a_mirrored_outline_is_the_mirror_image() -> None:
    for path in shapes():
        flipped = path.sampled(1e-3) * [-1, 1]
        found = Polygon(path.mirrored().sampled(1e-3))
        assert found.symmetric_difference(Polygon(flipped)).area < 1e-6 * found.area


def test_tidying_takes_away_what_says_nothing() -> None:
    untidy = Path(((0, 0), (10, 0), (10, 0), (40, 0), (40, 30), (20, 30), (0, 30)))
    assert tidied(untidy).points == rectangle((0, 0), (40, 30)).points
    for path in shapes():
        assert tidied(path).area_mm2 == pytest.approx(path.area_mm2)
        assert len(tidied(path).points) == len(path.points)


@pytest.mark.parametrize(
    ("points", "bulges", "words"),
    [(((0, 0),), (), "two points at least"), (((0, 0), (1, 0)), (0.0,), "one bulge a point")],
)
def test_half_an_outline_is_refused(points, bulges, words) -> None:
    with pytest.raises(GeometryError, match=words):
        Path(points, bulges)
