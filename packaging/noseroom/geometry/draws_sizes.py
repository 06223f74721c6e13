"""Sizes that are drawn: few bodies are built, and speak for every sample.

If a gap follows a size as fast as its movement allows, two bodies at the ends of the size tell it
everywhere between: the one bounds it from below, the other from above, and the two bounds meet. So
the bodies at the ends come first. Where the bounds do not meet, a body is built at the sizes of the
sample that is hardest to tell, and speaks for all whose sizes are near enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

from noseroom.geometry.draws_couple import Floats, Indices
from noseroom.geometry.draws_pair import Numbers, PairDraws
from noseroom.geometry.trees import tree_distance

_TRIES = 3
_LOOKED_AT = 7
_ACROSS = 0.1
_MOST_LEANING = 2


def settle_sizes(pair: PairDraws) -> None:
    """Decide the samples of a pair that its bodies at their usual sizes leave open."""
    left = _open(pair)
    if not len(left):
        return
    slopes = _slopes(pair, left)
    ends = [_End(pair, left, slopes, sign) for sign in (1.0, -1.0)]
    for each in (False, True):
        for end in ends:
            for numbers in end.looks():
                left = _open(pair)
                if len(left):
                    pair.look(left, numbers, each=each)
    _build_where_open(pair, ends)


def own_numbers(pair: PairDraws, one: int) -> Numbers:
    """The bodies at the sizes of a sample, built where they are new."""
    a, b = pair.sides
    sample = int(pair.samples[one])
    return a.own(sample), b.own(sample)


def _open(pair: PairDraws) -> Indices:
    return np.flatnonzero(pair.open & pair.reducible)


def _nearer(pair: PairDraws, chosen: Indices, numbers: Numbers) -> Floats:
    """What sizes may do to the distances of samples (s,), the other way round included."""
    scene, normals = pair.scene(chosen, numbers), pair.normals[chosen]
    most: Floats = np.maximum(scene.nearer(normals), scene.farther(normals))
    return np.where(normals.any(axis=1), most, scene.play_mm)


def _slopes(pair: PairDraws, left: Indices) -> tuple[Floats, Floats]:
    """How the distance follows each size of either side, mm a unit, in the middle of a few."""
    some = left[:: max(1, len(left) // _LOOKED_AT)][:_LOOKED_AT]
    usual = _distances(pair, some, (0, 0))
    found = []
    for side, sized in enumerate(pair.sides):
        count = len(sized.offset(0)) if sized.can_build else 0
        slopes = np.zeros(len(sized.offset(0)))
        for k in range(count):
            number = sized.with_ends(np.eye(count)[k])
            step = sized.offset(number)[k]
            if step > 0:
                numbers = (number, 0) if side == 0 else (0, number)
                slopes[k] = np.median(_distances(pair, some, numbers) - usual) / step
        found.append(slopes)
    return found[0], found[1]


def _distances(pair: PairDraws, chosen: Indices, numbers: Numbers) -> Floats:
    a, b = (side.body(number) for side, number in zip(pair.sides, numbers, strict=True))
    scene = pair.scene(chosen, numbers)
    pair.effort.measured += len(chosen)
    return np.array(
        [tree_distance(a.tree, scene.pose(k), b.tree, np.eye(4))[0] for k in range(len(chosen))]
    )


class _End:
    """The bodies at those ends of the sizes that bound distances best from one side.

    sign: 1 from below, -1 from above. A bound loses what the movement allows beyond what the
    distance does. A size that acts across the line between the bodies has no end that is better.
    """

    def __init__(
        self, pair: PairDraws, left: Indices, slopes: tuple[Floats, Floats], sign: float
    ) -> None:
        self._pair = pair
        normal = pair.normals[left].mean(axis=0)
        normal /= max(float(np.linalg.norm(normal)), 1e-9)
        turn = pair.scene(left[:1]).turns[0]
        self._sign, self._chosen, self._across = sign, [], []
        for sized, way, slope in zip(pair.sides, (normal @ turn, -normal), slopes, strict=True):
            more, less = sized.unit_play(1.0), sized.unit_play(-1.0)
            at_low, at_high = more.along(sign * way), less.along(sign * way)
            lost = at_low - at_high + 2 * sign * slope
            self._chosen.append(np.where(lost <= 0, -1.0, 1.0))
            most = np.maximum(more.most, less.most)
            self._across.append(np.maximum(at_low, at_high) <= _ACROSS * most)

    @property
    def slides(self) -> bool:
        """Whether the bound suffers from a size that acts across the line between the bodies."""
        return any(bool(one.any()) for one in self._across)

    def looks(self) -> list[Numbers]:
        """The bodies to look at, by what they tell of most samples.

        Across the line, a bound from below is lost where the line leans to the wrong side, so both
        ends count; one from above, the more the size is off.
        """
        if self._sign < 0:
            usual = [np.where(x, 0.0, c) for c, x in zip(self._chosen, self._across, strict=True)]
            return [self._numbers(usual)]
        split = len(self._chosen[0])
        every = np.concatenate(self._chosen)
        leaning = np.flatnonzero(np.concatenate(self._across))[:_MOST_LEANING]
        found = []
        for signs in product((1.0, -1.0), repeat=len(leaning)):
            turned = every.copy()
            turned[leaning] *= signs
            found.append(self._numbers([turned[:split], turned[split:]]))
        return list(dict.fromkeys(found))

    def with_own(self, one: int) -> Numbers:
        """The same with those sizes of a sample that act across."""
        return self._numbers(self._chosen, int(self._pair.samples[one]))

    def _numbers(self, chosen: Sequence[Floats], sample: int | None = None) -> Numbers:
        found = []
        for sized, ends, across in zip(self._pair.sides, chosen, self._across, strict=True):
            own = np.flatnonzero(across)
            can = sized.can_build and len(ends)
            found.append(sized.with_ends(ends, own, sample) if can else 0)
        return found[0], found[1]


def _build_where_open(pair: PairDraws, ends: Sequence[_End]) -> None:
    """Build bodies at the sizes of samples that stay open, the hardest to tell first."""
    done, tries = np.zeros(len(pair.samples), dtype=bool), _TRIES
    while True:
        left = _open(pair)
        left = left[~done[left]]
        if not len(left):
            return
        least, most = pair.least[left], np.minimum(pair.most[left], 2 * pair.below_mm)
        pick = int(np.abs((least + most) / 2 - pair.below_mm).argmin())
        one = left[pick : pick + 1]
        done[one] = True
        for end in ends:
            if tries > 0 and end.slides and pair.open[one]:
                pair.look(left, end.with_own(int(one[0])))
        tries -= int(pair.open[one[0]])
        if not pair.open[one]:
            continue
        numbers = own_numbers(pair, int(one[0]))
        # Where the body is nearer than half of what is open it leaves less than half of it.
        pair.look(
            left[(_nearer(pair, left, numbers) <= (most - least) / 2) | (left == one)], numbers
        )
