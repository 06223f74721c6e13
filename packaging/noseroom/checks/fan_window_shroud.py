"""A fan in its shroud: the share of the blades inside, and the gap at the tips all round.

As adjusted; what readings leave open of the tip gap is in the check of its rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from noseroom.checks.fan_window_scan import Floats
from noseroom.layout import PlacedPart
from noseroom.parts.fan import Fan
from noseroom.parts.shroud import Shroud

_ROUND = 360
_HOURS = 12


@dataclass(frozen=True)
class InShroud:
    """A fan in its shroud.

    share: of the blades' width that is ahead of the ring's rear edge, the mean round the clock;
    share_least, share_most: at any place of it. gap_mm: the least from tip to ring where a blade is
    beside the ring, gap_most_mm the most; None where none is. hour: where the least is, 12 up and 3
    at the car's left.
    """

    share: float
    share_least: float
    share_most: float
    gap_mm: float | None
    gap_most_mm: float | None
    hour: float | None

    @property
    def clock(self) -> str:
        """Where the least tip gap is: "4 o'clock"."""
        if self.hour is None:
            return ""
        return f"{int(round(self.hour) + _HOURS - 1) % _HOURS + 1} o'clock"


def in_shroud(fan: PlacedPart, shroud: PlacedPart, thickness: float = 0.0) -> InShroud:
    """How a fan stands in a shroud with a spacer of some thickness, mm; negative: further back.

    The blades run between two circles. Along the line from one to the other at one hour the
    distance from the ring's axis is convex, so that the tip is nearest to the ring at an end of
    what of the line is beside it.
    """
    blades, ring = fan.part, shroud.part
    if not isinstance(blades, Fan) or not isinstance(ring, Shroud):
        raise TypeError(f"{fan.name} is no fan, or {shroud.name} no shroud")
    front, rear = (_tips(fan, shroud, one, thickness) for one in ("blade.front", "blade.rear"))
    depth = ring.ring_depth_mm
    along = rear[:, 0] - front[:, 0]
    inside = np.clip((depth - front[:, 0]) / along, 0.0, 1.0)
    first = np.clip(-front[:, 0] / along, 0.0, 1.0)
    beside = inside > first
    gaps = np.full(_ROUND, np.inf)
    most = -np.inf
    if beside.any():
        ends = [front + (rear - front) * one[:, None] for one in (first, inside)]
        far = np.max([np.linalg.norm(one[:, 1:], axis=1) for one in ends], axis=0)
        gaps = np.where(beside, ring.diameter_mm / 2 - far, np.inf)
        most = float(gaps[beside].max())
    worst = int(gaps.argmin())
    return InShroud(
        float(inside.mean()),
        float(inside.min()),
        float(inside.max()),
        float(gaps[worst]) if beside.any() else None,
        most if beside.any() else None,
        worst * _HOURS / _ROUND if beside.any() else None,
    )


def _tips(fan: PlacedPart, shroud: PlacedPart, edge: str, thickness: float) -> Floats:
    """Points (n, 3) of the tips' circle at one edge, by the hour, in the ring's own frame.

    That has its origin in the middle of the opening's front edge, and X aft along its axis.
    """
    circle = fan.part.features()[edge]
    angles = np.radians(np.arange(_ROUND) * (360.0 / _ROUND))
    way = np.stack([np.zeros(_ROUND), -np.sin(angles), np.cos(angles)], axis=1)
    local = np.asarray(circle.point, dtype=float) + float(circle.radius) * way
    local = local - np.array([thickness, 0.0, 0.0])
    world = local @ fan.pose[:3, :3].T + fan.pose[:3, 3]
    middle = np.asarray(shroud.part.features()["opening.front"].point, dtype=float)
    return np.asarray((world - shroud.pose[:3, 3]) @ shroud.pose[:3, :3] - middle)
