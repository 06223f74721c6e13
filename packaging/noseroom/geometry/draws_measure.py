"""Two parts in many samples: how near are they, measuring as few distances as will do?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_bounds import Floats, Scene
from noseroom.geometry.draws_couple import Couple
from noseroom.geometry.trees import NUMERIC_MM, tree_distance

_GOLDEN = (5**0.5 - 1) / 2
_FEW = 24
_LITTLE = 0.02
_TRIES = 2
_MOST_ANCHORS = 40
_STAND = np.eye(4)


class CoupleDraws:
    """What is known of a couple in samples (s,) that a threshold leaves open.

    least, most: (s,) mm, of the true distance. apart: (s,) of the meshes, where it was measured
    for the sample itself and is near the threshold or below, else inf. normals: (s, 3), about
    where the nearest points look, from the first to the second; 0 where nothing is known.
    """

    def __init__(self, couple: Couple, scene: Scene, below_mm: float, least: Floats) -> None:
        count = len(least)
        self._couple, self._scene, self._below_mm = couple, scene, below_mm
        self.least, self.most = least.copy(), np.full(count, np.inf)
        self.apart, self.normals = np.full(count, np.inf), np.zeros((count, 3))
        self.measured = 0

    @property
    def _open(self) -> NDArray[np.bool_]:
        undecided: NDArray[np.bool_] = (self.least < self._below_mm) & (self.most >= self._below_mm)
        return undecided

    def _learn(self, chosen: NDArray[np.intp], least: Floats, most: Floats) -> None:
        self.least[chosen] = np.maximum(self.least[chosen], least)
        self.most[chosen] = np.minimum(self.most[chosen], most)

    def spread(self) -> None:
        """Measure a few samples that decide many others, as long as they do."""
        where, misses = np.flatnonzero(self._open), 0
        for turn in range(_MOST_ANCHORS):
            if len(where) <= _FEW or misses >= _TRIES:
                return
            # Spread over the samples, in whatever order they come.
            here = int((turn + 1) * _GOLDEN % 1.0 * len(where))
            some, couple = self._scene.take(where), self._couple
            apart, points = tree_distance(couple.a.tree, some.pose(here), couple.b.tree, _STAND)
            self.measured += 1
            least, most = couple.learn(some, here, apart, points)
            better = (least > self.least[where]) | ~self.normals[where].any(axis=1)
            if apart > 0:
                self.normals[where[better]] = (points[1] - points[0]) / apart
            self._learn(where, least, most)
            left = where[self._open[where]]
            misses += len(where) - len(left) < max(2, _LITTLE * len(where))
            where = left

    def touch(self) -> None:
        """Try the corners that are furthest towards the other."""
        where = np.flatnonzero(self._open & self.normals.any(axis=1))
        if len(where):
            some = self._scene.take(where)
            self._learn(where, *self._couple.learn_by_corners(some, self.normals[where]))

    def measure_each(self) -> None:
        """Measure every sample that is still open, up to what its threshold needs."""
        where = np.flatnonzero(self._open)
        if not len(where):
            return
        some, couple, count = self._scene.take(where), self._couple, len(where)
        caps = self._below_mm + couple.slack_mm + some.play_mm + NUMERIC_MM
        apart, points = np.empty(count), np.empty((count, 2, 3))
        for k in range(count):
            apart[k], points[k] = tree_distance(
                couple.a.tree, some.pose(k), couple.b.tree, _STAND, float(caps[k])
            )
        self.measured += count
        known = apart < caps
        self._learn(where, *couple.learn_each(some, apart, points, known))
        self.apart[where[known]] = apart[known]
        lines = points[:, 1] - points[:, 0]
        lengths = np.linalg.norm(lines, axis=1)
        here = known & (lengths > 0)
        self.normals[where[here]] = lines[here] / lengths[here, None]
