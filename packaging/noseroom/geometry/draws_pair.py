"""One pair of bodies in many samples: in which are their surfaces nearer than a threshold?

From coarse to fine: boxes; a few measured samples that speak for many; the hulls of what is near;
the same again of what is near cut finer; every sample that is still open measured; the kernel,
where chord errors hide the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_couple import (
    Couple,
    Floats,
    Indices,
    Scene,
    box_bound,
    reach,
    seen_from,
)
from noseroom.geometry.draws_near import Cut, near_parts
from noseroom.geometry.draws_sized import Sized
from noseroom.geometry.exact import exact_distance
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM, nearest_triangles, tree_distance

Chosen = NDArray[np.bool_]

_STAND = np.eye(4)
_GOLDEN = (5**0.5 - 1) / 2
# So few samples are sooner looked at one by one; of more, some are measured for the others' sake.
_FEW, _MOST_ANCHORS = 24, 12
_LITTLE, _TRIES = 0.02, 2
_SOUNDED, _WORTH_TOUCHING = 40, 0.1
# Meshes are cut again if that leaves no more than such a share of what they may be out by.
_WORTH_CUTTING = 0.5
# So few are sooner asked of the kernel: where finer meshes would tell, and where any would.
_FEW_HIDDEN = 24
_ASKED_AT_ONCE = 4

Numbers: TypeAlias = tuple[int, int]
USUAL: Numbers = (0, 0)
"""The two bodies at their usual sizes."""


@dataclass
class Effort:
    """How many distances of meshes were measured, and how many the kernel was asked for."""

    measured: int = 0
    exact: int = 0


class CoupleDraws:
    """What is known of a part of one body and one of another in samples (s,).

    least: (s,) mm, the true distance of the two is no less; where that is at the threshold it is
    "that or more". most: (s,) mm, the distance of the whole bodies is no more; shared with their
    other parts. own_most: of these two. normals: (s, 3), about where the
    nearest points look, from the first to the second; 0 where nothing is known.
    """

    def __init__(
        self, parts: tuple[Cut, Cut], scene: Scene, below_mm: float, least: Floats, most: Floats
    ) -> None:
        self._parts, self._couple = parts, Couple(parts[0].body, parts[1].body)
        self._scene, self._below_mm = scene, below_mm
        self.least, self.most = least.copy(), most
        # Samples for which nothing that matters was left out.
        self._held = np.ones(len(least), dtype=bool)
        # Samples of which these meshes can say no more.
        self._told = np.zeros(len(least), dtype=bool)
        self.own_most = np.full(len(least), np.inf)
        self.normals = np.zeros((len(least), 3))
        self.measured = 0

    @property
    def slack_mm(self) -> float:
        """What a distance of the meshes may be out by."""
        return self._couple.slack_mm

    @property
    def _open(self) -> Chosen:
        undecided: Chosen = (self.least < self._below_mm) & (self.most >= self._below_mm)
        return undecided & self._held

    @property
    def hidden(self) -> Chosen:
        """Samples (s,) that are open, and might not be if the meshes were finer."""
        most = np.minimum(self.most, self.own_most)
        return self._open & hides(self.least, most, self._below_mm, self.slack_mm)

    def _asked(self, chosen: Chosen | None) -> Chosen:
        """Samples (s,) that are open and of which these meshes may tell more."""
        asked: Chosen = self._open & ~self._told
        return asked if chosen is None else asked & chosen

    def _learn(self, chosen: Indices, least: Floats, most: Floats) -> None:
        self.least[chosen] = np.maximum(self.least[chosen], least)
        self.own_most[chosen] = np.minimum(self.own_most[chosen], most)
        self.most[chosen] = np.minimum(self.most[chosen], most)

    def refine(self, chosen: Chosen | None = None) -> bool:
        """Leave out what no open sample comes near to, cut the rest finer; False if of no use.

        chosen: no other samples are looked at from here on.
        """
        where = np.flatnonzero(self._open if chosen is None else self._open & chosen)
        if not len(where) or not any(part.rough for part in self._parts):
            return False
        before = self.slack_mm
        if not self._leave_out(where):
            return False
        a, b = (part.finer() for part in self._parts)
        if a is None or b is None or _slack(a, b) > _WORTH_CUTTING * before:
            return False
        self._parts, self._couple = (a, b), Couple(a.body, b.body)
        self._told[:] = False
        return True

    def _leave_out(self, where: Indices) -> bool:
        """Keep what may be near in some samples; False if that is nothing."""
        kept = self._facing(where)
        if not (kept[0].any() and kept[1].any()):
            self.least[where] = self._below_mm
            return False
        self._held[:] = False
        self._held[where] = True
        self._parts = self._parts[0].only(kept[0]), self._parts[1].only(kept[1])
        self._couple = Couple(self._parts[0].body, self._parts[1].body)
        return True

    def _facing(self, where: Indices) -> tuple[Chosen, Chosen]:
        """Which triangles of either may be nearer than the threshold in some samples.

        Along a direction, what of one body is behind the foremost of the other by the threshold
        or more is that far away from all of it.
        """
        (a, b), some, normals = self._parts, self._scene.take(where), self.normals[where]
        ways_a, ways_b = some.from_a(normals), -normals
        furthest_a, furthest_b = self._couple.reaches(ways_a, ways_b)
        place = np.einsum("ni,ni->n", some.places, normals)
        far = self._below_mm + some.nearer(normals) + NUMERIC_MM
        return a.beyond(ways_a, -furthest_b - place - far), b.beyond(
            ways_b, -furthest_a - place - far
        )

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

    def touch(self, chosen: Chosen | None = None) -> None:
        """Look where the hulls of the two are nearest."""
        where = np.flatnonzero(self._asked(chosen))
        # The first few tell whether it is worth it.
        step = max(1, len(where) // _SOUNDED)
        for some in (where[::step], np.delete(where, np.s_[::step])):
            if not len(some):
                return
            found = self._couple.learn_by_hulls(self._scene.take(some), self._below_mm)
            if found is None:
                return
            better = (found.least > self.least[some]) & found.ways.any(axis=1)
            self.normals[some[better]] = found.ways[better]
            self._learn(some, found.least, found.most)
            self._told[some] |= found.known
            if self._asked(chosen)[some].mean() > 1 - _WORTH_TOUCHING:
                return

    def measure(self, chosen: Chosen | None = None) -> None:
        """Measure samples that are still open, up to what the threshold needs; all, or some.

        No others are looked at from here on.
        """
        left = self._open if chosen is None else self._open & chosen
        where = np.flatnonzero(self._asked(chosen))
        # What is left out has to be looked for, and what is left needs trees of its own.
        if not len(where) or (len(where) > _FEW and not self._leave_out(np.flatnonzero(left))):
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
        self._told[where] = True
        lines = points[:, 1] - points[:, 0]
        lengths = np.linalg.norm(lines, axis=1)
        here = known & (lengths > 0)
        self.normals[where[here]] = lines[here] / lengths[here, None]


def _slack(a: Cut, b: Cut) -> float:
    return a.body.mesh.bound_mm + b.body.mesh.bound_mm + NUMERIC_MM


def hides(least: Floats, most: Floats, below_mm: float, slack_mm: float) -> Chosen:
    """Where bounds (n,) would tell if the meshes were the true surfaces."""
    hidden: Chosen = (most - 2 * slack_mm < below_mm) | (least + 2 * slack_mm >= below_mm)
    return hidden


def look_at(couples: Sequence[CoupleDraws], *, each: bool) -> None:
    """Decide what can be decided; each: measure every sample that others do not decide."""
    for finely in (False, True):
        for one in couples:
            if finely:
                one.refine()
            one.spread()
            one.touch()
    if not each:
        return
    for one in couples:
        one.measure()
        hidden = one.hidden
        while hidden.sum() > _FEW_HIDDEN and one.refine(hidden):
            one.touch(hidden)
            one.measure(hidden)
            hidden = one.hidden


class PairDraws:
    """The samples (s,) of one pair that its boxes leave open.

    least, most: (s,) mm; the clearance of the true bodies is not below the one nor above the
    other, except that a `least` at the threshold may mean "that or more".
    """

    def __init__(
        self, a: Sized, b: Sized, samples: Indices, below_mm: float, effort: Effort
    ) -> None:
        # What moves is best the smaller of the two: it swings less.
        if np.ptp(a.body().mesh.box_mm, axis=0).max() > np.ptp(b.body().mesh.box_mm, axis=0).max():
            a, b = b, a
        self.sides, self.samples, self.below_mm = (a, b), samples, below_mm
        self.effort = effort
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

    def scene(
        self, chosen: Indices, numbers: Numbers = USUAL, parts: tuple[Cut, Cut] | None = None
    ) -> Scene:
        """Some of the samples (s,), seen from two of the bodies, or from parts of them."""
        samples = self.samples[chosen]
        spans = (None, None) if parts is None else (parts[0].boxes, parts[1].boxes)
        plays = [
            side.play(samples, number, span)
            for side, number, span in zip(self.sides, numbers, spans, strict=True)
        ]
        return Scene(self._turns[chosen], self._places[chosen], *plays)

    def look(self, chosen: Indices, numbers: Numbers = USUAL, *, each: bool = True) -> None:
        """Decide what two of the bodies tell about some of the samples.

        each: measures every sample that others do not decide, by the kernel where need be.
        """
        chosen = chosen[self.open[chosen]]
        if not len(chosen):
            return
        a, b = (side.body(number) for side, number in zip(self.sides, numbers, strict=True))
        if each and a.faces and b.faces:
            chosen = self._ask_few(a, b, chosen, numbers)
            if not len(chosen):
                return
        scene, most = self.scene(chosen, numbers), self.most[chosen]
        near = near_parts(a, b, scene, self.below_mm)
        if near is None:
            self.least[chosen] = self.below_mm
            return
        # What is known of the whole bodies holds for any part of them.
        known = self.least[chosen]
        couples = [
            CoupleDraws(parts, self.scene(chosen, numbers, parts), self.below_mm, known, most)
            for parts in near
        ]
        look_at(couples, each=each)
        self.effort.measured += sum(one.measured for one in couples)
        self._learn(chosen, np.min([one.least for one in couples], axis=0), most)
        own = np.array([one.own_most for one in couples])
        better = (own.min(axis=0) <= most) | ~self.normals[chosen].any(axis=1)
        normals = np.array([one.normals for one in couples])[
            own.argmin(axis=0), np.arange(len(most))
        ]
        better &= normals.any(axis=1)
        self.normals[chosen[better]] = normals[better]
        if each and a.faces and b.faces:
            self._ask_kernel(a, b, scene, chosen, couples)

    def _ask_few(self, a: Body, b: Body, chosen: Indices, numbers: Numbers) -> Indices:
        """Ask the kernel of a few samples of just these sizes at once; return what is open."""
        scene = self.scene(chosen, numbers)
        fixed = np.flatnonzero(scene.play_mm <= 0)
        if len(fixed) > _ASKED_AT_ONCE:
            return chosen
        for k in fixed:
            self._ask(a, b, scene, chosen, int(k))
        return chosen[self.open[chosen]]

    def _ask(self, a: Body, b: Body, scene: Scene, chosen: Indices, k: int) -> None:
        self.effort.exact += 1
        some = scene.take(np.array([k]))
        self._learn(chosen[k : k + 1], *exact_bounds(a, b, some, self.below_mm))

    def _learn(self, chosen: Indices, least: Floats, most: Floats) -> None:
        self.least[chosen] = np.maximum(self.least[chosen], np.minimum(least, self.below_mm))
        self.most[chosen] = np.minimum(self.most[chosen], most)

    def _ask_kernel(
        self, a: Body, b: Body, scene: Scene, chosen: Indices, couples: Sequence[CoupleDraws]
    ) -> None:
        """The exact distance, where chord errors alone may hide the answer."""
        slack = max(one.slack_mm for one in couples)
        hard = hides(self.least[chosen], self.most[chosen], self.below_mm, slack)
        for k in np.flatnonzero(self.open[chosen] & hard):
            self._ask(a, b, scene, chosen, int(k))


def exact_bounds(a: Body, b: Body, scene: Scene, below_mm: float) -> tuple[Floats, Floats]:
    """Bounds (1,) from below and above on the true distance in one sample, by the kernel.

    Where nothing else may move, they go no further than to tell which side of `below_mm` it is.
    """
    pose, fixed = scene.pose(0), not scene.play_mm[0] > 0
    apart, points, triangles = nearest_triangles(a.tree, pose, b.tree, _STAND)
    limit = below_mm if fixed else None
    near = points, triangles
    found = exact_distance(a, pose, b, _STAND, apart, near, limit_mm=limit)
    slack = NUMERIC_MM if found.exact else a.mesh.bound_mm + b.mesh.bound_mm + NUMERIC_MM
    least = found.bound_mm - scene.play_mm
    if found.points is None or found.distance_mm <= 0:
        return np.maximum(least, 0.0), found.distance_mm + slack + scene.play_mm
    on_a, on_b = found.points[None, 0], found.points[None, 1]
    if not fixed:
        normal = (on_b - on_a)[0] / found.distance_mm
        gap = -a.reaches.along(normal @ pose[:3, :3]) - float(normal @ pose[:3, 3])
        gap -= b.reaches.along(-normal)
        least = np.maximum(least, gap - NUMERIC_MM - scene.nearer(normal))
    return np.maximum(least, 0.0), reach(scene, on_a, on_b, slack)
