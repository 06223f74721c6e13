"""How fast a belt's run is solved: one drive of eight pulleys, one pulley in 10,201 places.

Side by side with what a user would do otherwise: the hull of discs by shapely for a belt that runs
inside only, and one drive after the other for the places of one pulley.

    .venv/bin/python tests/benchmarks/drive.py
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
from shapely import union_all
from shapely.geometry import Point

from noseroom.parts.belt_path import belt_path
from noseroom.physics.belts import belt_run

EIGHT = np.array(
    [
        (0.0, 0.0, 80.0), (120.0, 60.0, 30.0), (260.0, 40.0, 50.0), (220.0, 180.0, 62.5),
        (60.0, 310.0, 35.0), (10.0, 180.0, 45.0), (-120.0, 280.0, 40.0), (-215.0, 160.0, 35.0),
    ]
)  # fmt: skip
BACK = np.array([False, True, False, False, False, True, False, False])
MOVED, SIDE = 3, 101
QUAD_CORNERS = 64


def best_of(work: Callable[[], object], rounds: int) -> float:
    """Seconds, the least of several rounds."""
    took = math.inf
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        took = min(took, time.perf_counter() - begun)
    return took


def solve() -> None:
    """Length, wraps, and whether it can run at all."""
    run = belt_run(EIGHT, BACK)
    assert run.ok
    assert run.length > 0


def hull() -> float:
    """The same question for the pulleys inside the loop, by polygons of 256 corners."""
    discs = [Point(y, z).buffer(r, quad_segs=QUAD_CORNERS) for y, z, r in EIGHT[~BACK]]
    return float(union_all(discs).convex_hull.length)


def places() -> np.ndarray:
    """(10201, 8, 3): one pulley over 200 by 200 mm, at 2 mm."""
    steps = np.linspace(-100.0, 100.0, SIDE)
    every = np.repeat(EIGHT[None], SIDE * SIDE, axis=0)
    every[:, MOVED, :2] += np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    return every


def main() -> None:
    """Print what each took, and the ratios."""
    one = best_of(solve, 200)
    drawn = best_of(lambda: belt_path(EIGHT, BACK.tolist()), 50)
    discs = best_of(hull, 20)
    print(f"eight pulleys, two on the back: {1e3 * one:.3f} ms; with its path {1e3 * drawn:.3f} ms")
    print(
        f"hull of the six inside by shapely: {1e3 * discs:.3f} ms, {discs / one:.1f} times as much"
    )
    every = places()
    together = best_of(lambda: belt_run(every, BACK).ok, 3)
    some = every[:: len(every) // 200]
    alone = best_of(lambda: [belt_run(place, BACK).ok for place in some], 1) / len(some)
    free = belt_run(every, BACK).ok.mean()
    print(
        f"{len(every)} places of one pulley: {together:.3f} s together ({free:.0%} can run); "
        f"one by one {alone * len(every):.1f} s, {alone * len(every) / together:.0f} times as much"
    )


if __name__ == "__main__":
    main()
