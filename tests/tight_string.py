"""A string round pulleys, pulled tight without any tangent: the shortest way from point to point.

Every pulley is a polygon of many corners. From pulley to pulley the string goes straight, between
any two corners that see each other and have both pulleys on the side where they belong; on a
pulley it goes from corner to corner,
with the clock or against it. The shortest such way is found step by step.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def string_round(run: Floats, back: NDArray[np.bool_], corners: int = 360) -> float:
    """The length of the string, mm. run: (n, 3), centres and radii, against the clock."""
    angles = math.tau * np.arange(corners) / corners
    ring = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    points = [row[:2] + row[2] * ring for row in run]
    # The corner furthest out is surely on the string: nothing reaches beyond it.
    others = run[~back]
    furthest = int(np.argmax(np.hypot(*others[:, :2].T) + others[:, 2]))
    first = int(np.flatnonzero(~back)[furthest])
    begin = int(np.argmax(np.hypot(*points[first].T)))
    cost = np.full(corners, np.inf)
    cost[begin] = 0.0
    cost = _along(cost, run[first], back[first], corners)
    order = [*range(first + 1, len(run)), *range(first + 1)]
    here = first
    for there in order:
        pulleys = [(run[k], back[k]) for k in (here, there)]
        cost = _across(cost, points[here], points[there], pulleys, corners)
        cost = _along(cost, run[there], back[there], corners)
        here = there
    return float(cost[begin])


def _across(
    cost: Floats,
    near: Floats,
    far: Floats,
    pulleys: list[tuple[Floats, bool]],
    corners: int,
) -> Floats:
    line = far[None] - near[:, None]
    long = np.hypot(line[..., 0], line[..., 1])
    total = cost[:, None] + long
    for pulley, behind in pulleys:
        to = (pulley[:2] - near)[:, None]
        left = line[..., 0] * to[..., 1] - line[..., 1] * to[..., 0] > 0
        total[left == behind] = np.inf
        share = (to * line).sum(axis=-1) / np.maximum(long, 1e-12) ** 2
        at = near[:, None] + np.clip(share, 0.0, 1.0)[..., None] * line
        apart = np.hypot(*(np.moveaxis(at, -1, 0) - pulley[:2, None, None]))
        total[apart < pulley[2] * math.cos(math.pi / corners) - 1e-9] = np.inf
    return np.asarray(total.min(axis=0))


def _along(cost: Floats, pulley: Floats, back: bool, corners: int) -> Floats:
    """Costs after going on along the polygon, by less than one turn."""
    edge = 2.0 * pulley[2] * math.sin(math.pi / corners)
    ways = cost[::-1] if back else cost
    gone = edge * np.arange(2 * corners)
    least = np.minimum.accumulate(np.concatenate([ways, ways]) - gone) + gone
    found = np.minimum(least[:corners], least[corners:])
    return np.asarray(found[::-1] if back else found)
