"""The smallest clearance of two bodies of an assembly that move, bit by bit of their surfaces.

What is hollow or branched is in the way of every straight line that could part the two. Its bits
are not, and near a joint they do not get far: so they are searched one pair after the other, each
only for less than what is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom._plugin_bits import bits_of
from noseroom._plugin_clearances import exact_up_to
from noseroom._plugin_round import ROUND_MM, without_idle_turns
from noseroom.geometry.clearance import Clearance, Relation, clearance
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.mesh import Body, body_from_mesh
from noseroom.geometry.motions import Motions
from noseroom.geometry.smallest import SmallestClearance, smallest_clearance
from noseroom.geometry.trees import box_gaps
from noseroom.tolerances import DEFAULT

Floats = NDArray[np.float64]

_MOST_BITS = 24
_WITHIN_MM = 0.19
"""How far the bound may be below the smallest gap, with what the meshes are out by."""
_LEAST_ERROR_MM = 0.02
_MESHES_ONLY = replace(DEFAULT, exact_below_mm=0.0)


@dataclass(frozen=True, eq=False)
class Parted:
    """A body with the bits of its surface, each a body too."""

    body: Body

    @cached_property
    def bits(self) -> tuple[Body, ...]:
        """Open bodies; the body itself where it is convex."""
        bits, mesh = bits_of(self.body, _MOST_BITS), self.body.mesh
        if len(bits) == 1:
            return (self.body,)
        every = np.arange(len(mesh.triangles))
        parts = [mesh.part(np.isin(every, bit.chosen)) for bit in bits]
        return tuple(
            body_from_mesh(self.body.name, *part, deflection_mm=mesh.bound_mm) for part in parts
        )


@dataclass(frozen=True, eq=False)
class Smallest:
    """What a search found.

    bound_mm: no pose of the set has a smaller gap. at_worst: how the two stand at the worst pose
    found; None if none is within the cap. amounts: of the motions of either there, in degrees
    and mm. settled: False if a search was ended by its limit.
    """

    bound_mm: float
    at_worst: Clearance | None
    amounts: tuple[tuple[float, ...], tuple[float, ...]]
    settled: bool


def room(body: Body, rest: Pose, motions: Motions) -> Floats:
    """A box (2, 3) in the world that holds the true body in every pose."""
    centre, half = motions.box()
    corners = moved(body.hull_corners, rest)
    off = motions.off(corners, centre, half)[0][:, None] + body.mesh.bound_mm
    middle = moved(corners, motions.pose(centre, np.eye(4)))
    return np.stack([(middle - off).min(axis=0), (middle + off).max(axis=0)])


def smallest(
    a: Parted,
    rest_a: Pose,
    moves_a: Motions,
    b: Parted,
    rest_b: Pose,
    moves_b: Motions,
    *,
    cap_mm: float,
    most_measured: int,
) -> Smallest:
    """Return the smallest clearance over all combinations of two motion sets."""
    live_a, live_b = without_idle_turns(a.body, rest_a, moves_a, b.body, rest_b, moves_b)
    search = _Search((a, rest_a, live_a), (b, rest_b, live_b), cap_mm, most_measured)
    chords = 2 * (a.body.mesh.bound_mm + b.body.mesh.bound_mm)
    error = max(_LEAST_ERROR_MM, _WITHIN_MM - chords)
    bound, nearest, settled = search.run(error)
    if nearest is not None and bound <= error and nearest.value_mm > 0.0:
        # Whether they touch is worth a closer look.
        bound, nearest, settled = search.run(_LEAST_ERROR_MM)
    return search.seen(bound, nearest, settled)


class _Search:
    def __init__(
        self,
        a: tuple[Parted, Pose, Motions],
        b: tuple[Parted, Pose, Motions],
        cap_mm: float,
        most: int,
    ) -> None:
        self._a, self._b, self._cap_mm, self._most = a, b, cap_mm, most

    def run(self, error_mm: float) -> tuple[float, SmallestClearance | None, bool]:
        """One search, with an error of its own besides what the meshes are out by.

        Returns a bound for the whole set, the answer for the bits that come nearest (None beyond
        the cap), and whether all of it was searched to the end.
        """
        (part_a, rest_a, moves_a), (part_b, rest_b, moves_b) = self._a, self._b
        rooms = [
            np.array([room(bit, rest, moves) for bit in part.bits])
            for part, rest, moves in (self._a, self._b)
        ]
        gaps = box_gaps(*rooms)
        nearest: SmallestClearance | None = None
        cap, bound, settled, left = self._cap_mm + error_mm, math.inf, True, self._most
        for flat in np.argsort(gaps, axis=None, kind="stable"):
            i, j = (int(k) for k in np.unravel_index(flat, gaps.shape))
            if gaps[i, j] >= cap or cap <= 0:
                bound = min(bound, float(gaps[i, j]))
                break
            found = smallest_clearance(
                part_a.bits[i],
                rest_a,
                moves_a,
                part_b.bits[j],
                rest_b,
                moves_b,
                cap_mm=cap,
                error_mm=error_mm,
                most_measured=max(1, left),
                tolerances=_MESHES_ONLY,
            )
            left -= found.measured
            settled &= found.settled
            bound = min(bound, found.bound_mm)
            if found.value_mm < cap:
                cap, nearest = found.value_mm, found
        return bound, nearest, settled

    def seen(self, bound: float, nearest: SmallestClearance | None, settled: bool) -> Smallest:
        """The answer for the whole bodies where their bits are nearest."""
        (part_a, rest_a, moves_a), (part_b, rest_b, moves_b) = self._a, self._b
        middles = moves_a.box()[0], moves_b.box()[0]
        amounts = moves_a.reported(middles[0]), moves_b.reported(middles[1])
        places = moves_a.pose(middles[0], rest_a), moves_b.pose(middles[1], rest_b)
        if nearest is not None:
            amounts = nearest.amounts_a, nearest.amounts_b
            places = nearest.pose_a, nearest.pose_b
        # Surfaces that never meet hold each other in every pose or in none: one look is enough.
        there = clearance(
            part_a.body,
            part_b.body,
            *places,
            cap_mm=math.inf if nearest else 0.0,
            tolerances=exact_up_to(self._cap_mm),
        )
        if nearest is None and (there.relation is Relation.APART or bound <= 0):
            return Smallest(max(0.0, bound - ROUND_MM), None, amounts, settled)
        sure = min(max(0.0, bound - ROUND_MM), there.bound_mm)
        return Smallest(sure, there, amounts, settled)
