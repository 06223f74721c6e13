"""Threshold Monte Carlo: in which of many samples is a clearance below its threshold?

Poses and sizes may both be drawn. Every verdict is the one that the exact distance of the bodies,
built at the sample's sizes and put into its places, would give; but few distances are measured,
since most samples are decided by bounds from others. What neither bounds nor the exact distance
can tell is undecided, and counted as that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.draws_inside import look_inside
from noseroom.geometry.draws_pair import Effort, PairDraws
from noseroom.geometry.draws_sized import Drawn, Growth, Sized
from noseroom.geometry.draws_sizes import settle_sizes
from noseroom.geometry.trees import NUMERIC_MM
from noseroom.threads import one_thread

__all__ = ["Below", "Drawn", "Growth", "below"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class Below:
    """The verdicts of n samples and p pairs.

    below: (n, p), the clearance is below the threshold for sure (touching, overlapping and inside
        count as none at all). undecided: (n, p), it may be either. Elsewhere it is not below.
    measured: how many distances of meshes were measured. exact: how many the kernel was asked for.
    built: how many bodies were built at drawn sizes.
    """

    below: Flags
    undecided: Flags
    measured: int
    exact: int
    built: int

    @property
    def below_count(self) -> NDArray[np.intp]:
        """Samples below for sure, by pair (p,)."""
        counted: NDArray[np.intp] = self.below.sum(axis=0)
        return counted

    @property
    def undecided_count(self) -> NDArray[np.intp]:
        """Samples of which nothing is sure, by pair (p,)."""
        counted: NDArray[np.intp] = self.undecided.sum(axis=0)
        return counted

    @property
    def any_below(self) -> Flags:
        """(n,) some pair is below for sure."""
        found: Flags = np.asarray(self.below.any(axis=1))
        return found

    @property
    def any_undecided(self) -> Flags:
        """(n,) no pair is below for sure, but one may be."""
        found: Flags = np.asarray(~self.any_below & self.undecided.any(axis=1))
        return found


def below(
    bodies: Sequence[Drawn],
    pairs: Sequence[tuple[int, int]],
    threshold_mm: ArrayLike,
    *,
    progress: Progress | None = None,
) -> Below:
    """Return in which samples the clearance of each pair is below its threshold.

    pairs: (p) numbers of two bodies each. threshold_mm: one for all, or (p,). progress: told
    (pairs done, of how many, which) before each pair and at the end. The answer depends on the
    arguments alone. It is guaranteed for the bodies as given and the movements they claim.

    Raises:
        GeometryError: bodies whose samples differ in number, poses that are not rigid, sizes or
            movements that do not fit, a pair that is none, or a threshold that is no length
            above 0 mm.
    """
    sides = [Sized(one) for one in bodies]
    count = _sample_count(sides)
    limits = _thresholds(threshold_mm, len(pairs))
    for i, j in pairs:
        if not (0 <= i < len(sides) and 0 <= j < len(sides)) or i == j:
            raise GeometryError(f"a pair names two of {len(sides)} bodies, from 0: not {i} and {j}")
    used = sorted({number for pair in pairs for number in pair})
    boxes = {number: sides[number].boxes(count) for number in used}
    answer = np.zeros((count, len(pairs)), dtype=bool)
    undecided = np.zeros_like(answer)
    effort = Effort()
    for k, (i, j) in enumerate(pairs):
        if progress is not None:
            progress(k, len(pairs), f"{sides[i].name} and {sides[j].name}")
        near = np.flatnonzero(
            np.broadcast_to(_gaps(boxes[i], boxes[j], limits[k]) < limits[k], count)
        )
        if not len(near):
            continue
        pair = PairDraws(sides[i], sides[j], near, float(limits[k]), effort)
        with one_thread():
            pair.run()
            settle_sizes(pair)
            look_inside(pair, np.flatnonzero((pair.boxes_apart <= 0) & ~pair.below))
        answer[near, k], undecided[near, k] = pair.below, pair.open
    if progress is not None:
        progress(len(pairs), len(pairs), "done")
    built = sum(side.built for side in sides)
    return Below(answer, undecided, effort.measured, effort.exact, built)


def _gaps(a: Floats, b: Floats, least_mm: float) -> Floats:
    """What boxes (n, 2, 3) or (1, 2, 3) in the world keep between them: (n,) or (1,) mm.

    Those round all samples tell enough where they keep `least_mm`.
    """
    spans = [np.array([[one[:, 0].min(axis=0), one[:, 1].max(axis=0)]]) for one in (a, b)]
    apart = np.maximum(spans[0][:, 0] - spans[1][:, 1], spans[1][:, 0] - spans[0][:, 1])
    if np.linalg.norm(np.maximum(apart, 0.0)) < least_mm:
        apart = np.maximum(a[:, 0] - b[:, 1], b[:, 0] - a[:, 1])
    gaps: Floats = np.linalg.norm(np.maximum(apart, 0.0), axis=1) - NUMERIC_MM
    return gaps


def _sample_count(sides: Sequence[Sized]) -> int:
    counts = {side.count for side in sides if side.count != 1}
    if len(counts) > 1:
        raise GeometryError(f"bodies with different numbers of samples: {sorted(counts)}")
    return counts.pop() if counts else 1


def _thresholds(given: ArrayLike, count: int) -> Floats:
    limits = np.asarray(given, dtype=np.float64)
    if limits.shape not in ((), (count,)):
        raise GeometryError(f"{count} pairs need one threshold or {count}, not {limits.shape}")
    if not (np.isfinite(limits) & (limits > 0)).all():
        raise GeometryError("a threshold is a length above 0 mm")
    return np.broadcast_to(limits, (count,))
