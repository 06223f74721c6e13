"""One pair of bodies in many samples: in which are their surfaces nearer than a threshold?

From coarse to fine: boxes; a few measured samples that speak for many; the near faces meshed finely
and every sample that is still open measured; the kernel, where chord errors hide the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_bounds import (
    Floats,
    Indices,
    Scene,
    box_bound,
    seen_from,
)
from noseroom.geometry.draws_couple import Couple, reach
from noseroom.geometry.draws_measure import CoupleDraws
from noseroom.geometry.draws_near import Finer, Near, near_parts
from noseroom.geometry.draws_sized import Sized
from noseroom.geometry.exact import exact_distance
from noseroom.geometry.trees import NUMERIC_MM

_STAND = np.eye(4)

Numbers: TypeAlias = tuple[int, int]
USUAL: Numbers = (0, 0)
"""The two bodies at their usual sizes."""


@dataclass
class Effort:
    """How many distances of meshes were measured, and how many the kernel was asked for."""

    measured: int = 0
    exact: int = 0


class PairDraws:
    """The samples (s,) of one pair that its boxes leave open.

    least, most: (s,) mm; the clearance of the true bodies is not below the one nor above the
    other, except that a `least` at the threshold may mean "that or more".
    """

    def __init__(
        self, a: Sized, b: Sized, samples: Indices, below_mm: float, finer: Finer, effort: Effort
    ) -> None:
        # What moves is best the smaller of the two: it swings less.
        if np.ptp(a.body().mesh.box_mm, axis=0).max() > np.ptp(b.body().mesh.box_mm, axis=0).max():
            a, b = b, a
        self.sides, self.samples, self.below_mm = (a, b), samples, below_mm
        self._finer, self.effort = finer, effort
        turns, places = seen_from(a.poses_of(samples), b.poses_of(samples))
        count = len(samples)
        self._turns = np.broadcast_to(turns, (count, 3, 3))
        self._places = np.broadcast_to(places, (count, 3))
        self.least, self.most = np.zeros(count), np.full(count, np.inf)
        self.boxes_apart, self.normals = np.zeros(count), np.zeros((count, 3))
        self.reducible = np.zeros(count, dtype=bool)
        for side in (a, b):
            if side.can_build:
                self.reducible |= side.play(samples).most > 0

    @property
    def open(self) -> NDArray[np.bool_]:
        """Samples (s,) of which nothing is sure yet."""
        undecided: NDArray[np.bool_] = (self.least < self.below_mm) & (self.most >= self.below_mm)
        return undecided

    @property
    def below(self) -> NDArray[np.bool_]:
        """Samples (s,) whose clearance is below the threshold for sure."""
        sure: NDArray[np.bool_] = self.most < self.below_mm
        return sure

    def run(self) -> None:
        """Decide what can be decided."""
        everything = np.arange(len(self.samples))
        scene = self.scene(everything)
        self.boxes_apart = box_bound(self.sides[0].body(), self.sides[1].body(), scene)
        self.least = np.maximum(self.least, self.boxes_apart)
        self.look(np.flatnonzero(self.open & ~self.reducible))
        self.look(np.flatnonzero(self.open & self.reducible), each=False)

    def scene(self, chosen: Indices, numbers: Numbers = USUAL) -> Scene:
        """Some of the samples (s,), seen from two of the bodies."""
        a, b = self.sides
        samples = self.samples[chosen]
        return Scene(
            self._turns[chosen],
            self._places[chosen],
            a.play(samples, numbers[0]),
            b.play(samples, numbers[1]),
        )

    def look(self, chosen: Indices, numbers: Numbers = USUAL, *, each: bool = True) -> None:
        """Decide what two of the bodies tell about some of the samples.

        each: measures every sample that others do not decide, by the kernel where need be.
        """
        a, b = (side.body(number) for side, number in zip(self.sides, numbers, strict=True))
        for finer in (None, self._finer):
            chosen = chosen[self.open[chosen]]
            if not len(chosen):
                return
            scene = self.scene(chosen, numbers)
            near = near_parts(a, b, scene, self.below_mm, finer)
            if near is None:
                self.least[chosen] = self.below_mm
                return
            apart = self._look_at(near.couples, scene, chosen, each=each and finer is not None)
        if each:
            self._ask_kernel(near, scene, chosen, apart)

    def _look_at(
        self, couples: Sequence[Couple], scene: Scene, chosen: Indices, *, each: bool
    ) -> Floats:
        """Decide what couples tell together; the distance (s,) of the meshes where measured."""
        least, apart = np.full(len(chosen), np.inf), np.full(len(chosen), np.inf)
        for couple in couples:
            rest = np.flatnonzero(self.most[chosen] >= self.below_mm)
            if not len(rest):
                break
            # What is known of the whole bodies holds for any part of them.
            found = CoupleDraws(couple, scene.take(rest), self.below_mm, self.least[chosen[rest]])
            found.spread()
            found.touch()
            if each:
                found.measure_each()
            self.effort.measured += found.measured
            least[rest] = np.minimum(least[rest], found.least)
            apart[rest] = np.minimum(apart[rest], found.apart)
            nearer = found.most < self.most[chosen[rest]]
            nearer |= ~self.normals[chosen[rest]].any(axis=1)
            self.normals[chosen[rest[nearer]]] = found.normals[nearer]
            self.most[chosen[rest]] = np.minimum(self.most[chosen[rest]], found.most)
        # Samples that are below for sure skip the later couples: their bound from below is none.
        least[self.most[chosen] < self.below_mm] = 0.0
        self._learn(chosen, least, self.most[chosen])
        return apart

    def _learn(self, chosen: Indices, least: Floats, most: Floats) -> None:
        self.least[chosen] = np.maximum(self.least[chosen], np.minimum(least, self.below_mm))
        self.most[chosen] = np.minimum(self.most[chosen], most)

    def _ask_kernel(self, near: Near, scene: Scene, chosen: Indices, apart: Floats) -> None:
        """The exact distance, where chord errors alone may hide the answer."""
        if near.faces is None:
            return
        hidden = 2 * near.slack_mm
        least, most = self.least[chosen], self.most[chosen]
        hard = (most - hidden < self.below_mm) | (least + hidden >= self.below_mm)
        for k in np.flatnonzero(self.open[chosen] & hard & np.isfinite(apart)):
            some = scene.take(np.array([k]))
            self.effort.exact += 1
            self._learn(chosen[k : k + 1], *exact_bounds(near, some, float(apart[k])))


def exact_bounds(near: Near, scene: Scene, apart_mm: float) -> tuple[Floats, Floats]:
    """Bounds (1,) from below and above on the true distance in one sample, by the kernel.

    apart_mm: between the meshes.
    """
    if near.faces is None:
        return np.zeros(1), np.full(1, np.inf)
    (a, b), pose = near.faces, scene.pose(0)
    found = exact_distance(a, pose, b, _STAND, apart_mm)
    slack = NUMERIC_MM if found.exact else near.slack_mm
    least = found.bound_mm - scene.play_mm
    if found.points is None or found.distance_mm <= 0:
        return np.maximum(least, 0.0), found.distance_mm + slack + scene.play_mm
    on_a, on_b = found.points[None, 0], found.points[None, 1]
    if scene.play_mm[0] > 0:
        normal = (on_b - on_a)[0] / found.distance_mm
        gap = -a.reaches.along(normal @ pose[:3, :3]) - float(normal @ pose[:3, 3])
        gap -= b.reaches.along(-normal)
        least = np.maximum(least, gap - NUMERIC_MM - scene.nearer(normal))
    return np.maximum(least, 0.0), reach(scene, on_a, on_b, slack)
