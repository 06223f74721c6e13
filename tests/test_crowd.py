"""Bounds on many pairs of pieces at once, against closed forms and noses that are drawn."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from noseroom.geometry.crowd import Crowd, bounds_together, bounds_towards, crowd_of
from noseroom.geometry.separation import Bend, MovingPiece, Uncertainty

Floats = NDArray[np.float64]
NO_BEND = Bend(np.zeros(3), np.zeros(3))
ALL = np.array(list(product(range(2), range(2))))
AHEAD = np.tile([1.0, 0.0, 0.0], (4, 1))


def cube(at: Floats, shift: Floats, swell: Floats | None = None) -> MovingPiece:
    """A cube of 2 mm that shifts with sources, and whose corners all swell alike: (3, s) each."""
    corners = np.array(list(product((-1.0, 1.0), repeat=3))) + at
    none = np.zeros((3, 0))
    return MovingPiece(
        corners,
        np.zeros(3),
        np.eye(3),
        shift,
        np.zeros_like(shift),
        none,
        none,
        None if swell is None else np.tile(swell, (8, 1, 1)),
    )


def two(ends: list[float], shift: Floats, swell: Floats | None = None) -> Crowd:
    return crowd_of([(cube(np.array([x, 0.0, 0.0]), shift, swell),) for x in ends])


def test_what_stretches_both_alike_counts_once() -> None:
    """Faces at x = 1 and 9, and a source that takes both 1 mm ahead: the gap of 8 mm stays."""
    still, along = np.zeros((3, 2)), np.array([[1.0, 0.0], [0.0, 0.0], [0.0, 0.0]])
    a, b = two([0.0, -5.0], still, along), two([10.0, 12.0], still, along)
    sure = Uncertainty(np.array([0.5, 0.5]), np.zeros(2))
    found = bounds_together(a, b, ALL, AHEAD, sure, NO_BEND, 100.0)
    np.testing.assert_allclose(found, [8.0, 10.0, 13.0, 15.0])
    # Each by itself may be 2 x 0.5 mm out.
    one_by_one = bounds_towards(a, b, ALL, AHEAD, sure, NO_BEND)
    np.testing.assert_allclose(one_by_one, [6.0, 8.0, 11.0, 13.0])


def test_no_more_is_shown_than_is_enough() -> None:
    still = np.zeros((3, 1))
    sure = Uncertainty(np.array([0.5]), np.zeros(1))
    a, b = two([0.0, -5.0], still), two([10.0, 12.0], still)
    found = bounds_together(a, b, ALL, AHEAD, sure, NO_BEND, 9.0)
    np.testing.assert_allclose(found, [8.0, 9.0, 9.0, 9.0])


def test_the_second_order_is_taken_off_and_what_nothing_fixes_is_not_known() -> None:
    still = np.zeros((3, 1))
    sure = Uncertainty(np.array([0.5]), np.zeros(1))
    a, b = two([0.0, -5.0], still), two([10.0, 12.0], still)
    bend = Bend(np.array([0.5, 9.0, 9.0]), np.array([0.25, 9.0, 9.0]))
    found = bounds_together(a, b, ALL, AHEAD, sure, bend, 100.0)
    np.testing.assert_allclose(found, [7.75, 9.75, 12.75, 14.75])
    none = np.zeros((3, 1))
    loose = replace(a.moves[0], null_shift=np.ones((3, 1)), null_turn=none)
    held = replace(b.moves[0], null_shift=none, null_turn=none)
    drifting, other = Crowd((loose,), a.starts), Crowd((held,), b.starts)
    found = bounds_together(drifting, other, ALL, AHEAD, sure, NO_BEND, 100.0)
    assert np.isneginf(found).all()


@pytest.mark.parametrize("seed", range(3))
def test_no_draw_brings_pieces_nearer_along_their_way_than_is_shown(seed: int) -> None:
    """Pieces that shift and swell by seven sources; the worst of 4,000 draws comes close to it."""
    rng = np.random.default_rng(seed)
    forms = [rng.normal(size=(3, 7)) for _ in range(4)]
    a, b = two([0.0, -3.0], forms[0], forms[1]), two([30.0, 34.0], forms[2], forms[3])
    sure = Uncertainty(rng.uniform(0.1, 0.4, 7), rng.uniform(0.0, 0.3, 7))
    ways = AHEAD + rng.normal(scale=0.1, size=(4, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    found = bounds_together(a, b, ALL, ways, sure, NO_BEND, 100.0)
    assert (found >= bounds_towards(a, b, ALL, ways, sure, NO_BEND) - 1e-9).all()
    balls = rng.normal(size=(4000, 7))
    drawn = 2.0 * sure.deviations * balls / np.linalg.norm(balls, axis=1)[:, None]
    drawn += sure.reaches * rng.choice([-1.0, 1.0], drawn.shape)
    apart = (forms[2] + forms[3] - forms[0] - forms[1]) @ drawn.T
    for (i, j), way, bound in zip(ALL, ways, found, strict=True):
        ours, others = a.moves[0].corners[8 * i : 8 * i + 8], b.moves[0].corners[8 * j : 8 * j + 8]
        gaps = (others @ way).min() - (ours @ way).max() + way @ apart
        assert bound <= gaps.min() + 1e-9
        assert gaps.min() - bound < 0.35 * ((others @ way).min() - (ours @ way).max() - bound)
