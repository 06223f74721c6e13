"""Faster rounds: where they are about to end is told from how their last steps shrank."""

from __future__ import annotations

import numpy as np

from noseroom.physics.ranges import Floats

__all__ = ["Mixing"]

_DEPTH = 3
_LITTLE = 1e-10
_MOST_SHARE = 3.0


class Mixing:
    """Anderson's mixing of the last four rounds, for each draw on its own.

    D. G. Anderson, Iterative procedures for nonlinear integral equations, J. ACM 12 (1965) 547-560,
    doi:10.1145/321296.321305.
    """

    def __init__(self) -> None:
        self._found: list[Floats] = []
        self._steps: list[Floats] = []

    def after(self, given: Floats, found: Floats) -> Floats:
        """What to give next, (d, n), where `given` led to `found`."""
        self._found = [*self._found, found][-_DEPTH - 1 :]
        self._steps = [*self._steps, found - given][-_DEPTH - 1 :]
        if len(self._found) == 1:
            return found
        turns, moves = np.diff(self._steps, axis=0), np.diff(self._found, axis=0)
        matrix = np.einsum("adn,bdn->nab", turns, turns)
        given_side = np.einsum("adn,dn->na", turns, self._steps[-1])
        k = np.arange(len(turns))
        # A little on the diagonal, where two steps went the same way.
        matrix[:, k, k] *= 1.0 + _LITTLE
        matrix[:, k, k] += 1e-300
        shares = np.linalg.solve(matrix, given_side[..., None])[..., 0]
        fair = np.isfinite(shares).all(axis=1) & (np.abs(shares) < _MOST_SHARE).all(axis=1)
        shares = np.where(np.asarray(fair)[:, None], shares, 0.0)
        return np.asarray(found - np.einsum("na,adn->dn", shares, moves))
