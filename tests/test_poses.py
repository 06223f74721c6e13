"""Rotations and poses: right everywhere, and analytic where the adjustment differentiates them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from noseroom.survey.poses import Pose, identity, rotation

RNG_SEED = 20


@pytest.mark.parametrize("angle", [0.0, 1e-9, 1e-3, 0.5, 2.0, np.pi])
def test_a_rotation_vector_gives_the_rotation_that_an_independent_library_gives(
    angle: float,
) -> None:
    ways = np.random.default_rng(RNG_SEED).normal(size=(20, 3))
    vectors = angle * ways / np.linalg.norm(ways, axis=1)[:, None]
    expected = Rotation.from_rotvec(vectors).as_matrix()
    np.testing.assert_allclose(rotation(vectors), expected, atol=1e-12)


def test_the_smallest_turns_are_not_lost_in_rounding() -> None:
    turned = rotation(np.array([0.0, 0.0, 1e-15]))
    assert turned[1, 0] == 1e-15
    np.testing.assert_array_equal(rotation(np.zeros(3)), np.eye(3))


def test_derivatives_by_complex_step_are_exact_even_where_nothing_turns() -> None:
    """At zero they are the generators of the rotations (textbook result)."""
    step = 1e-30
    made = rotation(1j * step * np.eye(3)).imag / step
    expected = -np.array([[[0, 0, 0], [0, 0, 1], [0, -1, 0]],
                          [[0, 0, -1], [0, 0, 0], [1, 0, 0]],
                          [[0, 1, 0], [-1, 0, 0], [0, 0, 0]]], dtype=float)  # fmt: skip
    np.testing.assert_allclose(made, expected, atol=1e-15)


def test_derivatives_by_complex_step_agree_with_differences_anywhere() -> None:
    step, small = 1e-30, 1e-6
    for vector in np.random.default_rng(RNG_SEED).normal(size=(5, 3)):
        exact = rotation(vector + 1j * step * np.eye(3)).imag / step
        for k, push in enumerate(small * np.eye(3)):
            differences = (rotation(vector + push) - rotation(vector - push)) / (2 * small)
            np.testing.assert_allclose(exact[k], differences, atol=1e-9)


def test_what_is_carried_moves_as_its_carrier_does() -> None:
    rng = np.random.default_rng(RNG_SEED)
    outer, inner = rng.normal(size=(2, 4, 3))
    shift, own = rng.normal(scale=100.0, size=(2, 4, 3))
    carrier = identity().then(rotation(outer), shift)
    carried = carrier.then(rotation(inner), own)
    for k in range(4):
        first, second = np.eye(4), np.eye(4)
        first[:3, :3], first[:3, 3] = Rotation.from_rotvec(outer[k]).as_matrix(), shift[k]
        second[:3, :3], second[:3, 3] = Rotation.from_rotvec(inner[k]).as_matrix(), own[k]
        whole = first @ second
        one = Pose(carried.turn[k], carried.shift[k])
        np.testing.assert_allclose(one.matrix, whole, atol=1e-12)
        np.testing.assert_allclose(one.points(np.ones(3)), (whole @ np.ones(4))[:3], atol=1e-12)
        np.testing.assert_allclose(one.directions(np.ones(3)), whole[:3, :3].sum(1), atol=1e-12)
