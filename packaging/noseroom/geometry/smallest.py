"""The smallest clearance over all combinations of two motion sets, with a guaranteed bound.

Best-first branch and bound over boxes of amounts. From the distance at a box's middle no pose of
the box can be nearer by more than the two bodies move from there, nor by more than they move
along a direction that parts them: both bounds hold for every pose of the box, so nothing hides
between poses that were measured or at a combination that was not.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from itertools import count

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Clearance, clearance
from noseroom.geometry.kernel import Pose, moved, rigid
from noseroom.geometry.mesh import Body
from noseroom.geometry.motions import STILL, Motions
from noseroom.geometry.overlap import inside
from noseroom.geometry.trees import NUMERIC_MM, tree_distance
from noseroom.tolerances import DEFAULT, Tolerances

Floats = NDArray[np.float64]

_MOST_MEASURED = 4_000


@dataclass(frozen=True, eq=False)
class SmallestClearance:
    """The least gap of two bodies over every pose of their motion sets.

    bound_mm: no pose of the whole set has less; with `cap_mm` reached, at least the cap.
    value_mm: the gap at the pose that was found to be the worst, 0 where they touch or share
        space there; nan where no pose came within the cap.
    at_worst: how the two stand there; None beyond the cap.
    amounts_a, amounts_b: the amounts of the motions' steps there, in degrees and mm.
    pose_a, pose_b: (4, 4), the places there.
    measured: how many poses were measured.
    settled: False if the search was ended by its limit of poses; the bound holds all the same.
    """

    bound_mm: float
    value_mm: float
    at_worst: Clearance | None
    amounts_a: tuple[float, ...]
    amounts_b: tuple[float, ...]
    pose_a: Pose
    pose_b: Pose
    measured: int
    settled: bool


def smallest_clearance(
    body_a: Body,
    pose_a: Pose | None,
    motions_a: Motions,
    body_b: Body,
    pose_b: Pose | None,
    motions_b: Motions = STILL,
    *,
    cap_mm: float = np.inf,
    error_mm: float = 0.05,
    most_measured: int = _MOST_MEASURED,
    tolerances: Tolerances = DEFAULT,
) -> SmallestClearance:
    """Return the smallest clearance over all combinations of two sets of poses.

    pose_a, pose_b: where the bodies rest; the motions start from there. The bound is below the
    true least gap by no more than `error_mm` and twice the chord errors of both meshes, unless
    `most_measured` poses were not enough (`settled`).

    Raises:
        GeometryError: a pose is not rigid, or a cap or an error is no length.
    """
    if not cap_mm >= 0 or not error_mm > 0:
        raise GeometryError("a cap is a length of 0 mm or more, an error a length above 0 mm")
    search = _Search(body_a, rigid(pose_a), motions_a, body_b, rigid(pose_b), motions_b)
    slack = search.slack_mm
    least, settled = search.run(cap_mm + slack, error_mm, most_measured)
    placed_a, placed_b = search.places(search.where)
    bound, value, worst = max(0.0, least - slack), np.nan, None
    # Bodies whose surfaces never meet hold each other in every pose of the set or in none, and
    # `clearance` looks for that too.
    if search.best - slack < cap_mm or search.holds():
        worst = clearance(body_a, body_b, placed_a, placed_b, tolerances=tolerances)
        value = worst.distance_mm
        bound = min(bound, worst.bound_mm)
    return SmallestClearance(
        bound,
        value,
        worst,
        motions_a.reported(search.where[: len(motions_a.steps)]),
        motions_b.reported(search.where[len(motions_a.steps) :]),
        placed_a,
        placed_b,
        search.measured,
        settled,
    )


@dataclass(order=True)
class _Box:
    """A box of amounts: least possible distance first, then as they were made."""

    lower: float
    number: int
    centre: Floats = field(compare=False)
    half: Floats = field(compare=False)
    cut: int = field(compare=False)


class _Search:
    """One search: two bodies, where they rest, and how they move.

    best: the smallest mesh distance met, mm; where: the amounts (k,) it was met at.
    """

    def __init__(
        self, a: Body, rest_a: Pose, moves_a: Motions, b: Body, rest_b: Pose, moves_b: Motions
    ) -> None:
        self._bodies, self._moves, self._rests = (a, b), (moves_a, moves_b), (rest_a, rest_b)
        # What is convex, or along a direction, is largest at a corner of the hull.
        self._corners = moved(a.hull_corners, rest_a), moved(b.hull_corners, rest_b)
        self._split = len(moves_a.steps)
        self.slack_mm = a.mesh.bound_mm + b.mesh.bound_mm + NUMERIC_MM
        self.measured = 0
        self.best = np.inf
        centres, self._halves = zip(moves_a.box(), moves_b.box(), strict=True)
        self.where: Floats = np.concatenate(centres)

    def places(self, amounts: Floats) -> tuple[Pose, Pose]:
        """Where the two are after the amounts (k,)."""
        parts = amounts[: self._split], amounts[self._split :]
        placed = [m.pose(x, r) for m, x, r in zip(self._moves, parts, self._rests, strict=True)]
        return placed[0], placed[1]

    def run(self, cap_mm: float, error_mm: float, most: int) -> tuple[float, bool]:
        """The least mesh distance of the whole set from below, and whether it is near the best."""
        self.best = cap_mm
        made = count()
        root = self._look(self.where, np.concatenate(self._halves), 0.0, next(made))
        queue = [root]
        while queue:
            box = heapq.heappop(queue)
            if box.lower >= self.best - error_mm:
                return min(box.lower, self.best), True
            if self.measured >= most:
                return box.lower, False
            for side in (-0.5, 0.5):
                centre, half = box.centre.copy(), box.half.copy()
                centre[box.cut] += side * box.half[box.cut]
                half[box.cut] /= 2
                child = self._look(centre, half, box.lower, next(made))
                if child.lower < self.best:
                    heapq.heappush(queue, child)
        return self.best, True

    def holds(self) -> bool:
        """Whether a surface of either lies within the other at the worst pose."""
        (a, b), (pose_a, pose_b) = self._bodies, self.places(self.where)
        return bool(
            inside(moved(a.probes, pose_a), b, pose_b).any()
            or inside(moved(b.probes, pose_b), a, pose_a).any()
        )

    def _look(self, centre: Floats, half: Floats, lower: float, number: int) -> _Box:
        """Measure at the middle of a box of amounts and bound the rest of it."""
        place_a, place_b = self.places(centre)
        parts = slice(0, self._split), slice(self._split, None)
        off, shares = zip(
            *(
                moves.off(corners, centre[part], half[part])
                for moves, corners, part in zip(self._moves, self._corners, parts, strict=True)
            ),
            strict=True,
        )
        travel = float(off[0].max() + off[1].max())
        (a, b), self.measured = self._bodies, self.measured + 1
        # A distance beyond this rules the box out, however large it is.
        enough = self.best + travel + NUMERIC_MM
        apart, points = tree_distance(a.tree, place_a, b.tree, place_b, enough)
        if apart < self.best:
            self.best, self.where = apart, centre
        lower = max(lower, apart - travel - NUMERIC_MM)
        both = np.concatenate(shares)
        if lower < self.best and 0.0 < apart < enough:
            parted, along = self._parted(centre, half, points)
            if parted - NUMERIC_MM > lower:
                # What a step does across the line between them is of no matter then.
                lower, both = parted - NUMERIC_MM, along
        return _Box(lower, number, centre, half, int(both.argmax()) if len(both) else 0)

    def _parted(self, centre: Floats, half: Floats, points: Floats) -> tuple[float, Floats]:
        """The gap (mm) that stays along the line of the nearest points, and each step's share."""
        normal = points[1] - points[0]
        normal /= np.linalg.norm(normal)
        gap, shares = 0.0, []
        parts = slice(0, self._split), slice(self._split, None)
        for moves, corners, part, way in zip(
            self._moves, self._corners, parts, (normal, -normal), strict=True
        ):
            there = moved(corners, moves.pose(centre[part], np.eye(4)))
            along, share = moves.off_along(corners, centre[part], half[part], way)
            gap -= float((there @ way + along).max())
            shares.append(share)
        return gap, np.concatenate(shares)
