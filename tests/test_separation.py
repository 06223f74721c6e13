"""The sure gap of two convex pieces against the truth: real rotations, exact convex distances.

The truth is computed without the module under test: poses by Rodrigues' formula (scipy), distances
of hulls as a least-squares problem over convex combinations of their corners (scipy's NNLS).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.spatial.transform import Rotation

from noseroom.geometry.separation import (
    MovingPiece,
    Uncertainty,
    box_gap,
    nearest,
    rigid_bend,
    separation,
)

Floats = NDArray[np.float64]
ROUNDING_MM = 1e-9


def hull_distance(a: Floats, b: Floats) -> float:
    """Distance of two hulls, corners (n, 3) each; from above, by far less than a nanometre."""
    weight = 1e5
    matrix = np.zeros((5, len(a) + len(b)))
    matrix[:3, : len(a)], matrix[:3, len(a) :] = a.T, -b.T
    matrix[3, : len(a)] = matrix[4, len(a) :] = weight
    shares, _ = nnls(matrix, np.array([0.0, 0.0, 0.0, weight, weight]))
    first, second = shares[: len(a)], shares[len(a) :]
    return float(np.linalg.norm(a.T @ first / first.sum() - b.T @ second / second.sum()))


def moved(piece: MovingPiece, change: Floats) -> Floats:
    """Where the corners truly are when the sources change by (s,)."""
    local = piece.corners - piece.origin
    if piece.swell is not None:
        local = local + piece.swell @ change
    turn = Rotation.from_rotvec(piece.turn @ change).as_matrix()
    return np.asarray(piece.origin + piece.shift @ change + local @ turn.T)


def box(low: Sequence[float] | Floats, high: Sequence[float] | Floats) -> Floats:
    return np.array(list(itertools.product(*zip(low, high, strict=True))), dtype=float)


def random_corners(rng: np.random.Generator) -> Floats:
    """A box, a prism or a wedge, of hand size, anywhere near the origin."""
    size = rng.uniform(5, 150, 3)
    match rng.integers(3):
        case 0:
            made = box(-size, size)
        case 1:
            angle = np.linspace(0, 2 * np.pi, 9)[:-1]
            ring = np.stack([0 * angle, np.cos(angle), np.sin(angle)], axis=-1) * size
            made = np.concatenate([ring - size * (1, 0, 0), ring + size * (1, 0, 0)])
        case _:
            made = box(-size, size)[[0, 1, 2, 3, 4, 5]]
    turn = Rotation.from_rotvec(rng.normal(0, 1, 3)).as_matrix()
    return np.asarray(made @ turn.T)


def random_piece(
    rng: np.random.Generator, corners: Floats, sources: int, *, turn_rad: float
) -> MovingPiece:
    shift = rng.normal(0, 2, (3, sources)) * (rng.random((3, sources)) < 0.4)
    turn = rng.normal(0, turn_rad, (3, sources)) * (rng.random((3, sources)) < 0.4)
    swell = None
    if rng.random() < 0.5:
        swell = rng.normal(0, 1.5, (len(corners), 3, sources)) * (rng.random(sources) < 0.3)
    origin = corners.mean(axis=0) + rng.normal(0, 100, 3)
    return piece_of(corners, origin=origin, shift=shift, turn=turn, swell=swell)


def piece_of(
    corners: Floats,
    *,
    shift: Floats,
    turn: Floats | None = None,
    origin: Floats | None = None,
    swell: Floats | None = None,
    null_shift: Floats | None = None,
    null_turn: Floats | None = None,
) -> MovingPiece:
    nothing = np.zeros((3, 1))  # one movement that may be loose, and here is not
    return MovingPiece(
        corners=corners,
        origin=corners.mean(axis=0) if origin is None else origin,
        axes=np.eye(3),
        shift=shift,
        turn=np.zeros_like(shift) if turn is None else turn,
        null_shift=nothing if null_shift is None else null_shift,
        null_turn=nothing if null_turn is None else null_turn,
        swell=swell,
    )


def random_pair(
    rng: np.random.Generator, sources: int, turn_rad: float
) -> tuple[MovingPiece, MovingPiece]:
    """Two pieces that are mostly apart, a few of them just."""
    first, second = random_corners(rng), random_corners(rng)
    way = rng.normal(0, 1, 3)
    way /= np.linalg.norm(way)
    reach = (first @ way).max() - (second @ way).min() + rng.uniform(0, 60)
    return (
        random_piece(rng, first, sources, turn_rad=turn_rad),
        random_piece(rng, second + reach * way, sources, turn_rad=turn_rad),
    )


def draws(rng: np.random.Generator, reaches: Floats, count: int) -> Floats:
    """Changes (k, s) within reach: half of them at ends everywhere, half anywhere."""
    ends = rng.choice([-1.0, 1.0], (count // 2, len(reaches)))
    return np.asarray(np.concatenate([ends, rng.uniform(-1, 1, ends.shape)]) * reaches)


def only_assumed(reaches: Floats) -> Uncertainty:
    return Uncertainty(np.zeros_like(reaches), reaches)


# -- the guarantee --------------------------------------------------------------------------------


@pytest.mark.parametrize("turn_rad", [0.0, 0.005, 0.05])
@pytest.mark.parametrize("seed", range(4))
def test_no_value_of_any_assumption_brings_pieces_closer_than_the_sure_gap(
    seed: int, turn_rad: float
) -> None:
    rng = np.random.default_rng([seed, int(1000 * turn_rad)])
    for _ in range(12):
        a, b = random_pair(rng, 6, turn_rad)
        reaches = rng.uniform(0, 1.5, 6)
        found = separation(a, b, only_assumed(reaches))
        assert found.lower_mm <= found.nominal_mm + 1e-4
        for change in draws(rng, reaches, 24):
            truth = hull_distance(moved(a, change), moved(b, change))
            assert truth >= found.lower_mm - ROUNDING_MM


def test_the_worst_corner_of_the_set_is_looked_for_and_still_keeps_the_sure_gap() -> None:
    """Not random draws: the end of every range that the deciding form points at."""
    rng = np.random.default_rng(7)
    lost = []
    for _ in range(60):
        a, b = random_pair(rng, 6, 0.01)
        reaches = rng.uniform(0, 1.0, 6)
        found = separation(a, b, only_assumed(reaches))
        change = -np.sign(found.form) * reaches
        truth = hull_distance(moved(a, change), moved(b, change))
        assert truth >= found.lower_mm - ROUNDING_MM
        lost.append(truth - found.lower_mm)
    # The bound is worth having: half of the time it gives away less than 2 mm at that corner.
    assert np.median(lost) < 2.0


def test_readings_break_the_sure_gap_no_more_often_than_two_deviations_do() -> None:
    """Normal readings leave two deviations, both ways, 4.55 % of the time (handbook value)."""
    rng = np.random.default_rng(11)
    broken = count = 0
    for _ in range(40):
        a, b = random_pair(rng, 8, 0.004)
        deviations, reaches = np.zeros(8), np.zeros(8)
        deviations[:5], reaches[5:] = rng.uniform(0.2, 1.0, 5), rng.uniform(0, 1.0, 3)
        found = separation(a, b, Uncertainty(deviations, reaches))
        worst = -np.sign(found.form) * reaches
        for _ in range(50):
            change = rng.normal(0, 1, 8) * deviations + worst
            broken += hull_distance(moved(a, change), moved(b, change)) < found.lower_mm
            count += 1
    assert broken / count <= 0.0455


def test_a_piece_of_two_movements_may_mix_them_point_by_point() -> None:
    """A belt between two pulleys: every point moves by its own mixture of what the ends do."""
    rng = np.random.default_rng(5)
    for _ in range(25):
        a, b = random_pair(rng, 5, 0.01)
        other = random_piece(rng, b.corners, 5, turn_rad=0.01)
        two = [
            piece_of(b.corners, origin=one.origin, shift=one.shift, turn=one.turn)
            for one in (b, other)
        ]
        reaches = rng.uniform(0, 1.0, 5)
        found = separation(a, two, only_assumed(reaches))
        back = separation(two, a, only_assumed(reaches))
        for change in draws(rng, reaches, 16):
            share = rng.choice([0.0, 1.0, 0.5, rng.random()], len(b.corners))[:, None]
            mixed = share * moved(two[0], change) + (1 - share) * moved(two[1], change)
            truth = hull_distance(moved(a, change), mixed)
            assert truth >= max(found.lower_mm, back.lower_mm) - ROUNDING_MM


def test_either_order_of_the_pieces_is_as_sure() -> None:
    rng = np.random.default_rng(3)
    for _ in range(30):
        a, b = random_pair(rng, 4, 0.01)
        sure = only_assumed(rng.uniform(0, 1.0, 4))
        one, other = separation(a, b, sure), separation(b, a, sure)
        assert one.lower_mm == pytest.approx(other.lower_mm, abs=1e-4)


TURN = np.array([[0.0], [0.0], [1.0]])
ACROSS = np.array([[0.0], [1.0], [0.0]])


@pytest.mark.parametrize(
    ("case", "holder", "other"),
    [
        ("the piece turns", {}, {"turn": TURN}),
        ("the holder turns", {"turn": TURN}, {"turn": TURN}),
        ("the holder turns alone", {"turn": TURN}, {}),
        ("the holder turns, the piece shifts", {"turn": TURN}, {"shift": 300 * ACROSS}),
        ("the piece turns and grows", {}, {"turn": TURN, "swell": 200 * ACROSS}),
        ("they turn about different axes", {"turn": TURN[::-1]}, {"turn": TURN + TURN[::-1]}),
    ],
)
def test_the_bend_covers_what_the_linear_form_leaves_out(
    case: str, holder: dict[str, Floats], other: dict[str, Floats]
) -> None:
    """One source that moves both: where corners truly are, seen from the holder, at both ends."""
    plain = {"shift": np.zeros((3, 1)), "turn": np.zeros((3, 1))}
    swell = np.tile(other.get("swell", np.zeros((3, 1))), (8, 1, 1))
    rest = {key: value for key, value in other.items() if key != "swell"}
    for where in itertools.product((-300.0, 0.0, 200.0), repeat=3):
        a = piece_of(box((-5, -5, -5), (5, 5, 5)), **{**plain, **holder})
        corners = box((-60, -80, -100), (60, 80, 100)) + np.array(where)
        b = piece_of(
            corners,
            **{**plain, **rest},
            swell=swell,
            origin=np.array(where) + np.array([9.0, -7.0, 5.0]),
        )
        for reach in (0.02, 0.2):
            bend = rigid_bend(a, (b,), only_assumed(np.array([reach])))
            for change in (np.array([reach]), np.array([-reach])):
                back = Rotation.from_rotvec(a.turn @ change).as_matrix()
                at_home = a.origin + (moved(b, change) - a.origin - a.shift @ change) @ back
                arm, from_a = b.corners - b.origin, b.corners - a.origin
                linear = (
                    (b.shift - a.shift) @ change
                    + np.cross((b.turn @ change)[None], arm)
                    - np.cross((a.turn @ change)[None], from_a)
                    + swell @ change
                )
                stray = np.abs(at_home - b.corners - linear).max(axis=0)
                assert (stray <= bend + ROUNDING_MM).all(), case


# -- cases that can be worked by hand -------------------------------------------------------------


def facing(gap: float, **movement: Floats) -> tuple[MovingPiece, MovingPiece]:
    """Two boxes, 40 long, faces of 200 x 100 that look at each other over a gap along x."""
    still = piece_of(box((-40, -100, -50), (0, 100, 50)), shift=np.zeros((3, 1)))
    return still, piece_of(box((gap, -100, -50), (gap + 40, 100, 50)), **movement)


def test_a_shift_along_the_gap_costs_its_whole_reach() -> None:
    a, b = facing(25.0, shift=np.array([[1.0], [0.0], [0.0]]))
    found = separation(a, b, only_assumed(np.array([7.0])))
    assert found.lower_mm == pytest.approx(18.0, abs=1e-9)
    assert separation(a, b, Uncertainty(np.array([3.0]), np.zeros(1))).lower_mm == pytest.approx(
        25.0 - 2 * 3.0, abs=1e-9
    )


def test_a_shift_across_the_gap_costs_nothing() -> None:
    a, b = facing(25.0, shift=np.array([[0.0], [1.0], [1.0]]))
    assert separation(a, b, only_assumed(np.array([9.0]))).lower_mm == pytest.approx(25.0, abs=1e-9)


def test_parallel_faces_touch_first_at_a_corner_that_was_never_the_closest() -> None:
    """Yaw by t about the middle of b: its near face's edge comes 100 sin t + 20 cos t closer."""
    turn = np.array([[0.0], [0.0], [1.0]])
    a, b = facing(25.0, shift=np.zeros((3, 1)), turn=turn)
    reach = 0.03
    truth = 45.0 - 100 * np.sin(reach) - 20 * np.cos(reach)
    found = separation(a, b, only_assumed(np.array([reach])))
    assert found.lower_mm <= truth + 1e-9
    assert found.lower_mm == pytest.approx(truth, abs=0.1)


def test_what_carries_both_does_not_come_between_them() -> None:
    """Both shift and turn with one engine, about one point: their gap is untouched."""
    origin = np.array([300.0, 0.0, 200.0])
    a, b = facing(25.0, shift=np.zeros((3, 1)))
    movement = {"shift": np.array([[5.0], [3.0], [1.0]]), "turn": np.array([[0.01], [0.02], [0]])}
    both = [piece_of(one.corners, origin=origin, **movement) for one in (a, b)]
    found = separation(both[0], both[1], only_assumed(np.ones(1)))
    assert found.lower_mm == pytest.approx(25.0, abs=1e-6)


def test_opposite_sizes_of_both_add_up() -> None:
    swell = np.zeros((8, 3, 1))
    swell[:, 0] = -1.0
    a, b = facing(25.0, shift=np.zeros((3, 1)), swell=swell)
    a = piece_of(a.corners, shift=np.zeros((3, 1)), swell=-swell)
    found = separation(a, b, only_assumed(np.array([4.0])))
    assert found.lower_mm == pytest.approx(25.0 - 8.0, abs=1e-9)


# -- what nothing fixes ---------------------------------------------------------------------------


def test_a_direction_that_nothing_fixes_does_not_matter_across_the_gap() -> None:
    a, b = facing(
        25.0, shift=np.array([[1.0], [0.0], [0.0]]), null_shift=np.array([[0.0], [1], [0]])
    )
    found = separation(a, b, only_assumed(np.array([7.0])))
    assert found.known
    assert found.lower_mm == pytest.approx(18.0, abs=1e-9)


def test_a_slanted_direction_that_nothing_fixes_leaves_the_one_square_to_it() -> None:
    """One may slide along (1, 0, 1); what stands between along (1, 0, -1) is sure."""
    a = piece_of(box((-10, -10, -10), (10, 10, 10)), shift=np.zeros((3, 1)))
    slide = np.array([[1.0], [0.0], [1.0]]) / np.sqrt(2)
    b = piece_of(
        box((-10, -10, -10), (10, 10, 10)) + np.array([80.0, 0.0, -20.0]),
        shift=np.zeros((3, 1)),
        null_shift=slide,
    )
    found = separation(a, b, only_assumed(np.zeros(1)))
    assert found.known
    # Along (1, 0, -1) / √2: centres (80 + 20) / √2 apart, less 20 / √2 for each of the boxes.
    assert found.lower_mm == pytest.approx(60.0 / np.sqrt(2), abs=1e-6)


@pytest.mark.parametrize(
    "null", [{"null_shift": [[1.0], [0.0], [0.0]]}, {"null_turn": [[0.0], [0.0], [1.0]]}]
)
def test_what_nothing_fixes_across_the_gap_leaves_no_gap(
    null: dict[str, list[list[float]]],
) -> None:
    given = {key: np.array(value) for key, value in null.items()}
    given.setdefault("null_shift", np.zeros((3, 1)))
    a, b = facing(25.0, shift=np.zeros((3, 1)), **given)
    assert separation(a, b, only_assumed(np.zeros(1))).lower_mm < 0


def test_a_part_that_nothing_places_at_all_is_not_known() -> None:
    a, b = facing(25.0, shift=np.zeros((3, 1)), null_shift=np.eye(3))
    a = piece_of(a.corners, shift=np.zeros((3, 1)), null_shift=np.zeros((3, 3)))
    found = separation(a, b, only_assumed(np.zeros(1)))
    assert not found.known
    assert found.lower_mm == -np.inf


def test_what_is_loose_with_both_is_no_trouble() -> None:
    """Nobody measured where the engine stands, but both parts are bolted to it."""
    loose = {
        "null_shift": np.array([[1.0], [0.0], [0.0]]),
        "null_turn": np.array([[0.0], [0], [1.0]]),
    }
    a, b = facing(25.0, shift=np.zeros((3, 1)))
    both = [
        piece_of(one.corners, origin=np.zeros(3), shift=np.zeros((3, 1)), **loose) for one in (a, b)
    ]
    found = separation(both[0], both[1], only_assumed(np.zeros(1)))
    assert found.lower_mm == pytest.approx(25.0, abs=1e-6)


# -- the nearest points ---------------------------------------------------------------------------


def test_the_nominal_gap_is_the_distance_of_the_hulls() -> None:
    rng = np.random.default_rng(9)
    for _ in range(60):
        a, b = random_pair(rng, 1, 0.0)
        shift = rng.normal(0, 20, 3)
        truth = hull_distance(a.corners + shift, b.corners)
        gap, way = nearest(a, b, shift)
        again, _ = nearest(a.moved(shift), b)
        assert gap == pytest.approx(again, abs=1e-5)
        assert np.linalg.norm(way) == pytest.approx(1.0)
        if truth > 1e-3:
            assert gap == pytest.approx(truth, abs=1e-5)
            low = (b.corners @ way).min() - ((a.corners + shift) @ way).max()
            assert low == pytest.approx(truth, abs=1e-3)


def test_boxes_are_never_further_apart_than_what_they_hold() -> None:
    rng = np.random.default_rng(13)
    for _ in range(60):
        a, b = random_pair(rng, 1, 0.0)
        assert box_gap(a.box, b.box) <= hull_distance(a.corners, b.corners) + ROUNDING_MM
