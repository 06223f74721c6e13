"""Two bodies of which one distance, measured in one sample, says much of all the others.

Three bounds hold for every sample at once: no distance changes by more than the first body's box
moves; two points that are really on the bodies are carried along and stay on them; and a plane
across the line of the nearest points keeps the two apart by what is linear in the pose. Where the
hulls of the two are nearest is asked in each sample by itself, and mostly is where the two are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_hulls import hull_of, hull_points
from noseroom.geometry.draws_sized import Play, box_corners, grown_box
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_NUMBERS_AT_ONCE = 2_000_000
_SAME_MM = 1e-5
# Such a share of what chord errors hide anyway is not worth looking for.
_TOLD = 0.2


@dataclass(frozen=True, eq=False)
class Scene:
    """The samples of one pair, and how far its two bodies may be off in each.

    turns (n, 3, 3) and places (n, 3): the first body, seen from the second. play_a, play_b: of the
    two, each in its own frame.
    """

    turns: Floats
    places: Floats
    play_a: Play
    play_b: Play

    def take(self, chosen: Indices) -> Scene:
        """Some of the samples."""
        return Scene(
            self.turns[chosen],
            self.places[chosen],
            self.play_a.take(chosen),
            self.play_b.take(chosen),
        )

    @property
    def play_mm(self) -> Floats:
        """(n,) both together, in any direction."""
        both: Floats = self.play_a.most + self.play_b.most
        return both

    def nearer(self, ways: Floats) -> Floats:
        """(n,) how much nearer the two may be along directions (n, 3) or (3,) from a to b."""
        return self.play_a.along(self.from_a(ways)) + self.play_b.along(-ways)

    def farther(self, ways: Floats) -> Floats:
        """(n,) how much farther apart they may be along directions from a to b."""
        return self.play_a.along(self.from_a(-ways)) + self.play_b.along(ways)

    def shifts(self) -> tuple[Floats, Floats]:
        """Least and most, (n, 3) each, of the movement of b less that of a, in b's frame."""
        a, b = self.play_a, self.play_b
        middle = (self.turns @ (a.high + a.low)[..., None])[..., 0] / 2
        half = (np.abs(self.turns) @ (a.high - a.low)[..., None])[..., 0] / 2
        return b.low - middle - half, b.high - middle + half

    def carried_each(self, points: Floats) -> Floats:
        """One point (n, 3) of the first body for each sample, seen from the second: (n, 3)."""
        moved: Floats = (self.turns @ points[..., None])[..., 0] + self.places
        return moved

    def taken_back_each(self, points: Floats) -> Floats:
        """One point (n, 3) of the second body for each sample, seen from the first: (n, 3)."""
        return self.from_a(points - self.places)

    def pose(self, sample: int) -> Floats:
        """(4, 4) of one sample."""
        made = np.eye(4)
        made[:3, :3], made[:3, 3] = self.turns[sample], self.places[sample]
        return made

    def carried(self, points: Floats) -> Floats:
        """Points (p, 3) of the first body in every sample: (n, p, 3)."""
        moved: Floats = points @ np.swapaxes(self.turns, 1, 2) + self.places[:, None]
        return moved

    def taken_back(self, points: Floats) -> Floats:
        """Points (p, 3) of the second body seen from the first: (n, p, 3)."""
        back: Floats = (points[None] - self.places[:, None]) @ self.turns
        return back

    def travel(self, corners: Floats, sample: int) -> Floats:
        """How far at most any point between corners (8, 3) has moved since a sample, (n,) mm."""
        carried = self.carried(corners)
        way = carried - carried[sample]
        moved: Floats = np.sqrt(np.einsum("nij,nij->ni", way, way).max(axis=1))
        return moved

    def from_a(self, ways: Floats) -> Floats:
        """Directions (n, 3) or (3,) of the second's frame seen from the first: (n, 3)."""
        seen: Floats = (np.swapaxes(self.turns, 1, 2) @ ways[..., None])[..., 0]
        return seen


def seen_from(poses_a: Floats, poses_b: Floats) -> tuple[Floats, Floats]:
    """Return turns (n, 3, 3) and places (n, 3) of a seen from b; poses (n, 4, 4) or (1, 4, 4)."""
    back = np.swapaxes(poses_b[:, :3, :3], 1, 2)
    turns: Floats = back @ poses_a[:, :3, :3]
    places: Floats = (back @ (poses_a[:, :3, 3] - poses_b[:, :3, 3])[..., None])[..., 0]
    return turns, places


def box_bound(a: Body, b: Body, scene: Scene) -> Floats:
    """What the boxes of two bodies keep between them in every sample, (n,) mm, play taken off."""
    low, high = grown_box(b)
    corners = scene.carried(box_corners(grown_box(a)))
    less, more = scene.shifts()
    above = corners.min(axis=1) - high - more
    gap = np.linalg.norm(np.maximum(np.maximum(above, low - corners.max(axis=1) + less), 0), axis=1)
    bound: Floats = np.maximum(gap - NUMERIC_MM, 0.0)
    return bound


@dataclass(frozen=True, eq=False)
class Lines:
    """What the nearest points of two bodies say in n samples.

    least, most: (n,) mm, bounds on the true distance. ways: (n, 3) from a to b, 0 for unknown.
    known: (n,) whether the meshes can say no more.
    """

    least: Floats
    most: Floats
    ways: Floats
    known: NDArray[np.bool_]


@dataclass(eq=False)
class Couple:
    """Two bodies between which distances are measured."""

    a: Body
    b: Body

    def __post_init__(self) -> None:
        self.slack_mm = self.a.mesh.bound_mm + self.b.mesh.bound_mm + NUMERIC_MM
        self._box = box_corners(self.a.mesh.box_mm)

    def reaches(self, ways_a: Floats, ways_b: Floats) -> tuple[Floats, Floats]:
        """How far at most the true surfaces reach along directions (n, 3) of their own: (n,)."""
        return (
            _dot(ways_a, _furthest(ways_a, self.a)) + self.a.mesh.bound_mm,
            _dot(ways_b, _furthest(ways_b, self.b)) + self.b.mesh.bound_mm,
        )

    def learn(
        self, scene: Scene, sample: int, apart_mm: float, points: Floats
    ) -> tuple[Floats, Floats]:
        """Bounds (n,) from below and above on the true distance in every sample, from one.

        apart_mm, points (2, 3): the distance of the meshes in that sample and where it is.
        """
        travel, play = scene.travel(self._box, sample), scene.play_mm
        least = apart_mm - travel - play - self.slack_mm
        if apart_mm <= 0.0:
            return np.maximum(least, 0.0), travel + play + self.slack_mm
        own = scene.turns[sample].T @ (points[0] - scene.places[sample])
        most = reach(scene, scene.carried(own[None])[:, 0], points[1], self.slack_mm)
        normal = (points[1] - points[0]) / apart_mm
        least = np.maximum(least, self._parted_by(scene, normal))
        return np.maximum(least, 0.0), most

    def learn_each(
        self, scene: Scene, apart_mm: Floats, points: Floats, known: NDArray[np.bool_]
    ) -> tuple[Floats, Floats]:
        """The same where every sample was measured: apart_mm (n,), points (n, 2, 3).

        known: (n,) where apart_mm is the distance; elsewhere it is no less.
        """
        play = scene.play_mm
        least = apart_mm - play - self.slack_mm
        most = reach(scene, points[:, 0], points[:, 1], self.slack_mm)
        most = np.where(apart_mm > 0, most, play + self.slack_mm)
        most[~known] = np.inf
        loose = np.flatnonzero((apart_mm > 0) & (play > 0) & known)
        if len(loose):
            some = scene.take(loose)
            normals = (points[loose, 1] - points[loose, 0]) / apart_mm[loose, None]
            least[loose] = np.maximum(least[loose], self._parted_by(some, normals))
        return np.maximum(least, 0.0), most

    @cached_property
    def _hulls(self) -> tuple[Any, Any] | None:
        """The hulls of the two; None where there is none of use."""
        a = hull_of(self.a.mesh.vertices)
        b = None if a is None else hull_of(self.b.mesh.vertices)
        return None if b is None else (a, b)

    def learn_by_hulls(self, scene: Scene, below_mm: float) -> Lines | None:
        """Bounds from where the hulls of the two are nearest to each other.

        None where there are none of use. Looks for points of the bodies, to bound from above, only
        where a plane does not keep `below_mm`.
        """
        if self._hulls is None:
            return None
        ends = hull_points(*self._hulls, scene.turns, scene.places)
        lines, count = ends[:, 1] - ends[:, 0], len(ends)
        lengths = np.linalg.norm(lines, axis=1)
        apart = np.flatnonzero(lengths > 0)
        ways, least, most = np.zeros((count, 3)), np.zeros(count), np.full(count, np.inf)
        known = np.zeros(count, dtype=bool)
        ways[apart] = lines[apart] / lengths[apart, None]
        some = scene.take(apart)
        tops, bottoms = _furthest(some.from_a(ways[apart]), self.a), _furthest(-ways[apart], self.b)
        gaps = self._parted(some, ways[apart], tops, bottoms)
        least[apart] = np.maximum(gaps - self.slack_mm - some.nearer(ways[apart]), 0.0)
        below = least[apart] < below_mm
        near = apart[below]
        some = some.take(np.flatnonzero(below))
        on_a, on_b = self._real(some, ends[near], tops[below], bottoms[below])
        most[near] = reach(some, on_a, on_b, self.slack_mm)
        left = np.linalg.norm(on_b - on_a, axis=1) - gaps[below]
        known[near] = left <= _TOLD * self.slack_mm + _SAME_MM
        return Lines(least, most, ways, known)

    def _real(
        self, scene: Scene, ends: Floats, tops: Floats, bottoms: Floats
    ) -> tuple[Floats, Floats]:
        """Points (n, 3) of either body near `ends` (n, 2, 3), seen from the second.

        Most ends are corners, `tops` of a or `bottoms` of b, and so on the body already.
        """
        on_a, on_b = scene.carried_each(tops), bottoms.copy()
        corner_a = _close(on_a, ends[:, 0])
        rest = ~(corner_a | _close(on_b, ends[:, 1]))
        on_a[rest] = ends[rest, 0]
        look = corner_a | rest
        on_b[look] = _nearest_on(self.b, on_a[look])
        back = np.flatnonzero(~corner_a)
        some = scene.take(back)
        on_a[back] = some.carried_each(_nearest_on(self.a, some.taken_back_each(on_b[back])))
        return on_a, on_b

    def _parted_by(self, scene: Scene, normals: Floats) -> Floats:
        """What planes across directions (n, 3) or (3,) surely keep between the two, (n,) mm."""
        tops = _furthest(scene.from_a(normals), self.a)
        bottoms = _furthest(np.atleast_2d(-normals), self.b)
        gaps = self._parted(scene, normals, tops, bottoms)
        parted: Floats = gaps - self.slack_mm - scene.nearer(normals)
        return parted

    @staticmethod
    def _parted(scene: Scene, normals: Floats, tops: Floats, bottoms: Floats) -> Floats:
        """The same of the meshes, by the vertices of either that are foremost."""
        a = _dot(scene.from_a(normals), tops) + (scene.places * normals).sum(axis=1)
        parted: Floats = (bottoms * normals).sum(axis=1) - a
        return parted


def reach(scene: Scene, on_a: Floats, on_b: Floats, slack_mm: float) -> Floats:
    """The most (n,) that two points near the bodies, (n, 3) each, allow them to be apart."""
    line, (less, more) = on_b - on_a, scene.shifts()
    plain = np.linalg.norm(line, axis=1) + scene.play_mm
    boxed = np.linalg.norm(np.maximum(np.abs(line + less), np.abs(line + more)), axis=1)
    most: Floats = np.minimum(plain, boxed) + slack_mm
    return most


def _close(one: Floats, other: Floats) -> NDArray[np.bool_]:
    """Which points (n, 3) are as good as the same."""
    close: NDArray[np.bool_] = np.abs(one - other).max(axis=1, initial=0.0) <= _SAME_MM
    return close


def _dot(one: Floats, other: Floats) -> Floats:
    """Products (n,) of vectors (n, 3)."""
    products: Floats = np.einsum("ni,ni->n", one, other)
    return products


def _furthest(ways: Floats, body: Body) -> Floats:
    """The vertex of a mesh that is furthest along each direction of (n, 3): (n, 3)."""
    points = body.mesh.vertices
    if not len(ways):
        return np.zeros((0, 3))
    # Along none can a vertex be the furthest that falls back by more than the direction swings
    # times how far it is from the furthest one along the middle.
    middle = ways.mean(axis=0)
    swing = float(np.linalg.norm(ways - middle, axis=1).max())
    heights = points @ middle
    top = int(heights.argmax())
    off = np.linalg.norm(points - points[top], axis=1)
    kept = points[heights[top] - heights <= swing * off + NUMERIC_MM]
    step = max(1, _NUMBERS_AT_ONCE // len(kept))
    parts = [
        (ways[start : start + step] @ kept.T).argmax(axis=1) for start in range(0, len(ways), step)
    ]
    furthest: Floats = kept[np.concatenate(parts)]
    return furthest


def _nearest_on(body: Body, points: Floats) -> Floats:
    """A point (n, 3) of the mesh near each of points (n, 3), all in the body's frame.

    The tree picks the triangle, a closed form the point of it.
    """
    import coal
    from trimesh.triangles import closest_point

    tree, speck, stand = body.tree, coal.Sphere(0.0), coal.Transform3s()
    request, at = coal.DistanceRequest(), coal.Transform3s()
    picked = np.empty(len(points), dtype=np.intp)
    for k, one in enumerate(points):
        result = coal.DistanceResult()
        at.setTranslation(one)
        coal.distance(tree, stand, speck, at, request, result)
        picked[k] = result.b1
    corners = body.mesh.vertices[body.mesh.triangles[picked]]
    nearest: Floats = closest_point(corners, points)
    return nearest
