"""Rigid poses that stay analytic: batches of rotations and translations, complex-step safe."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROTATION_SCALE_MM = 300.0
"""Rotations are carried as mm at this radius, about a radiator's half size, so that they weigh
like translations in the adjustment."""

_TERMS = 12
"""Terms of the series below; at half a turn the last one is under 1e-13."""


def rotation(vector: NDArray[Any]) -> NDArray[Any]:
    """Rotation matrices (..., 3, 3) of rotation vectors (..., 3) in rad, by the exponential map.

    The usual formula divides by the angle and takes its norm; as power series in the squared angle
    it is analytic everywhere, at zero too.
    """
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    square = x * x + y * y + z * z
    first = np.zeros_like(square)
    second = np.zeros_like(square)
    for k in reversed(range(_terms(square))):
        sign = -1.0 if k % 2 else 1.0
        first = first * square + sign / math.factorial(2 * k + 1)
        second = second * square + sign / math.factorial(2 * k + 2)
    nought = np.zeros_like(x)
    skew = np.stack(
        [
            np.stack([nought, -z, y], axis=-1),
            np.stack([z, nought, -x], axis=-1),
            np.stack([-y, x, nought], axis=-1),
        ],
        axis=-2,
    )
    return np.asarray(
        np.eye(3) + first[..., None, None] * skew + second[..., None, None] * (skew @ skew)
    )


def _terms(square: NDArray[Any]) -> int:
    """How many terms count: beyond these none is more than a part in 1e17 of the first."""
    most = float(np.abs(square.real).max(initial=0.0))
    terms, last = 1, 1.0
    while terms < _TERMS and last > 1e-17:
        last *= most / ((2 * terms) * (2 * terms + 1))
        terms += 1
    return terms


@dataclass(frozen=True)
class Pose:
    """A batch of rigid poses: turn (..., 3, 3) and shift (..., 3) mm, local to vehicle frame."""

    turn: NDArray[Any]
    shift: NDArray[Any]

    def points(self, local: NDArray[Any]) -> NDArray[Any]:
        """Points (..., 3) in the vehicle frame."""
        return np.asarray(self.directions(local) + self.shift)

    def directions(self, local: NDArray[Any]) -> NDArray[Any]:
        """Directions (..., 3) in the vehicle frame."""
        # Two or three times as quick as matmul on stacks of such small matrices.
        return np.asarray(np.einsum("...ij,...j->...i", self.turn, local))

    def then(self, turn: NDArray[Any], shift: NDArray[Any]) -> Pose:
        """The pose of something carried: its own turn and shift are in this one's frame."""
        return Pose(self.turn @ turn, self.points(shift))

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The (4, 4) matrix of a single real pose."""
        whole = np.eye(4)
        whole[:3, :3] = np.real(self.turn)
        whole[:3, 3] = np.real(self.shift)
        return whole


def identity() -> Pose:
    """The vehicle frame itself."""
    return Pose(np.eye(3), np.zeros(3))
