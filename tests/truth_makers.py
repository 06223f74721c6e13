"""Bodies whose distances are known by a formula, and random placements of them.

Nothing here asks the code under test: a body knows the distance of a point from it in closed form,
and a pair is judged by one of two ways.

* A ball, a capsule and a ring are all points within a radius of a point, a segment and a circle.
  Their distance from anything is the least distance of that line from it, less the radius: one
  number is searched for, by a dense scan and a golden section.
* A box and a cylinder: any two points give an upper bound; the support functions along any
  direction, in closed form, a lower one. They are asked to agree.

All of it is analytic geometry, worked for these tests.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from noseroom.geometry.clearance import Clearance, Relation
from noseroom.geometry.mesh import Body, body_from_shape

Floats = Any
BOUND_WITHIN_MM = 0.2
VALUE_WITHIN_MM = 0.01
VALUE_BELOW_MM = 25.0
SURE_MM = 1e-6
"""Where the two ends of a truth are further apart than this, the judge itself is not sure."""
_SCAN = 721


def at(x: float = 0.0, y: float = 0.0, z: float = 0.0, turn: Rotation | None = None) -> Floats:
    """A pose."""
    pose = np.eye(4)
    pose[:3, 3] = x, y, z
    if turn is not None:
        pose[:3, :3] = turn.as_matrix()
    return pose


@dataclass(frozen=True)
class Truth:
    """An analytic body, centred on its frame; round ones about z.

    kind: "box", "ball", "rod", "capsule" or "ring". sizes: three lengths; radius; height and
    radius; straight height and radius; both radii (mm).
    """

    kind: str
    sizes: tuple[float, ...]

    def shape(self) -> Any:
        """The CadQuery solid."""
        import cadquery as cq

        if self.kind == "box":
            return cq.Workplane().box(*self.sizes).val()
        if self.kind == "ball":
            return cq.Workplane().sphere(*self.sizes).val()
        if self.kind == "rod":
            return cq.Workplane().cylinder(*self.sizes).val()
        if self.kind == "capsule":
            height, radius = self.sizes
            outline = (
                cq.Workplane("XZ")
                .moveTo(0, -height / 2 - radius)
                .threePointArc(
                    (radius * 0.5**0.5, -height / 2 - radius * 0.5**0.5), (radius, -height / 2)
                )
                .lineTo(radius, height / 2)
                .threePointArc(
                    (radius * 0.5**0.5, height / 2 + radius * 0.5**0.5), (0, height / 2 + radius)
                )
                .close()
            )
            return outline.revolve(360, (0, 0), (0, 1)).val()
        return cq.Solid.makeTorus(*self.sizes)

    def body(self) -> Body:
        """Meshed as the program does it."""
        return body_from_shape(self.kind, self.shape())

    @property
    def reach(self) -> float:
        """Radius of a ball about the centre that holds it."""
        if self.kind == "box":
            return float(np.linalg.norm(self.sizes) / 2)
        if self.kind == "rod":
            return float(np.hypot(self.sizes[0] / 2, self.sizes[1]))
        return self.sizes[0] / 2 + self.sizes[1] if self.kind == "capsule" else sum(self.sizes)

    def away(self, points: Floats) -> Floats:
        """Signed distance (n,) of points (n, 3) in its own frame; inside it is below 0."""
        if self.kind == "box":
            over = np.abs(points) - np.array(self.sizes) / 2
            out = np.linalg.norm(np.maximum(over, 0), axis=1)
            return out + np.minimum(over.max(axis=1), 0)
        round_about = np.hypot(points[:, 0], points[:, 1])
        if self.kind == "rod":
            height, radius = self.sizes
            over = np.c_[round_about - radius, np.abs(points[:, 2]) - height / 2]
            out = np.linalg.norm(np.maximum(over, 0), axis=1)
            return out + np.minimum(over.max(axis=1), 0)
        if self.kind == "ball":
            return np.linalg.norm(points, axis=1) - self.sizes[0]
        if self.kind == "capsule":
            above = np.maximum(np.abs(points[:, 2]) - self.sizes[0] / 2, 0)
            return np.hypot(round_about, above) - self.sizes[1]
        return np.hypot(round_about - self.sizes[0], points[:, 2]) - self.sizes[1]

    def skeleton(self) -> tuple[Callable[[Floats], Floats], float] | None:
        """The line (parameters 0..1 to points) and the radius about it; None without one."""
        if self.kind == "ball":
            return lambda t: np.zeros((len(t), 3)), self.sizes[0]
        if self.kind == "capsule":
            height, radius = self.sizes
            return lambda t: np.c_[0 * t, 0 * t, (t - 0.5) * height], radius
        if self.kind == "ring":
            large, small = self.sizes
            return (
                lambda t: np.c_[
                    large * np.cos(2 * np.pi * t), large * np.sin(2 * np.pi * t), 0 * t
                ],
                small,
            )
        return None

    def support(self, way: Floats) -> float:
        """Largest reach along a direction (3,) of its own frame; box and rod only."""
        if self.kind == "box":
            return float(np.abs(way) @ np.array(self.sizes) / 2)
        return float(abs(way[2]) * self.sizes[0] / 2 + np.hypot(*way[:2]) * self.sizes[1])

    def nearest(self, point: Floats) -> Floats:
        """The point of the full body nearest to a point (3,); box and rod only."""
        if self.kind == "box":
            half = np.array(self.sizes) / 2
            return np.clip(point, -half, half)
        height, radius = self.sizes
        here = np.array(point)
        here[:2] *= min(1.0, radius / max(np.hypot(*here[:2]), 1e-300))
        here[2] = np.clip(here[2], -height / 2, height / 2)
        return here


def true_gap(a: Truth, pose_a: Floats, b: Truth, pose_b: Floats) -> tuple[float, float]:
    """Least and most that the gap can be, mm; the least is below 0 where they overlap."""
    for one, pose, other, stand in ((a, pose_a, b, pose_b), (b, pose_b, a, pose_a)):
        line = one.skeleton()
        if line is not None:
            gap = _from_line(*line, np.linalg.inv(stand) @ pose, other)
            return gap - 1e-9, gap + 1e-9
    return _between_convex(a, b, np.linalg.inv(pose_a) @ pose_b)


def _from_line(
    line: Callable[[Floats], Floats], radius: float, relative: Floats, other: Truth
) -> float:
    def gap(t: Floats) -> Floats:
        return other.away(line(np.atleast_1d(t)) @ relative[:3, :3].T + relative[:3, 3])

    grid = np.linspace(0, 1, _SCAN)
    values = gap(grid)
    # A distance changes by no more than the way: only near the lowest grid points it can be least.
    step = float(np.linalg.norm(np.diff(line(grid), axis=0), axis=1).max())
    best = float(values.min())
    for k in np.flatnonzero(values < best + step):
        ends = grid[max(0, k - 1)], grid[min(_SCAN - 1, k + 1)]
        found = minimize_scalar(
            lambda t: float(gap(t)[0]), bounds=ends, method="bounded", options={"xatol": 1e-12}
        )
        best = min(best, float(found.fun))
    return best - radius


def _between_convex(a: Truth, b: Truth, relative: Floats) -> tuple[float, float]:
    """By projecting to and fro (upper) and by the support functions (lower)."""
    turn, place = relative[:3, :3], relative[:3, 3]
    p, low, high = np.zeros(3), -np.inf, np.inf
    momentum, last = 1.0, None
    for _ in range(4000):
        q = b.nearest(turn.T @ (p - place)) @ turn.T + place
        new = a.nearest(q)
        away = q - new
        length = float(np.linalg.norm(away))
        high = min(high, length)
        if length < 1e-9:
            return -np.inf, 0.0
        normal = away / length
        low = max(low, normal @ place - b.support(-turn.T @ normal) - a.support(normal))
        if high - low < 1e-9:
            break
        # Nesterov's step: plain projections creep where two edges are nearly parallel.
        following = (1 + np.sqrt(1 + 4 * momentum**2)) / 2
        p = new if last is None else new + (momentum - 1) / following * (new - last)
        p = a.nearest(p)
        momentum = following
        last = new
    return low, high


def random_truth(rng: np.random.Generator) -> Truth:
    """One of the five kinds, of 5 to 200 mm."""
    kind = str(rng.choice(["box", "ball", "rod", "capsule", "ring"]))
    large = float(rng.uniform(20, 120))
    sizes = {
        "box": tuple(float(x) for x in rng.uniform(5, 200, 3)),
        "ball": (float(rng.uniform(3, 80)),),
        "rod": (float(rng.uniform(5, 200)), float(rng.uniform(3, 80))),
        "capsule": (float(rng.uniform(10, 200)), float(rng.uniform(3, 50))),
        "ring": (large, float(rng.uniform(2, 0.8 * large))),
    }[kind]
    return Truth(kind, sizes)


def random_pose(rng: np.random.Generator, reach: float) -> Floats:
    """Turned anyhow (one in four square to the axes) and no further away than `reach`."""
    turn = Rotation.random(random_state=int(rng.integers(2**31)))
    if rng.random() < 0.25:
        turn = Rotation.from_euler("xyz", rng.integers(0, 4, 3) * 90, degrees=True)
    way = rng.normal(size=3)
    return at(*(way / np.linalg.norm(way) * rng.uniform(0, reach)), turn)


def faults(
    answer: Clearance,
    low: float,
    high: float,
    cap_mm: float,
    value: tuple[float, float] | None = None,
) -> list[str]:
    """What is wrong with an answer where the true gap is between low and high, mm.

    value: between which the distance has to be, where that is not the gap that is sure (a scan:
    its triangles tell the distance, and less their reach off the metal the gap).
    """
    found = []
    if high <= 1e-5:
        return ["overlap not seen"] if answer.bound_mm > 0 or (_apart(answer) and not value) else []
    if answer.bound_mm > high:
        found.append("bound over-stated")
    # Beside a scan, no more is asked of the answer than of the value.
    if low > (VALUE_WITHIN_MM if value else 1e-4) and not _apart(answer):
        found.append(f"apart, said to be {answer.relation}")
    if high < cap_mm and low - answer.bound_mm > BOUND_WITHIN_MM:
        found.append("bound more than 0.2 mm below")
    least, most = value or (low, high)
    if most < VALUE_BELOW_MM:
        off = max(least - answer.distance_mm, answer.distance_mm - most)
        if not off <= VALUE_WITHIN_MM:
            found.append("value more than 0.01 mm off")
    return found


def _apart(answer: Clearance) -> bool:
    return answer.relation is Relation.APART
