"""A guaranteed bound on how far one triangle surface is from another.

The distance to a single triangle is convex, so over a piece it is largest in a corner. Each piece
of the first surface is therefore measured against one triangle of the second by its corners alone,
and cut where it reaches past that triangle's edge. Whichever triangle a piece is measured against,
the result is an upper bound; a well chosen one only makes it tight. Nothing is sampled.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np

from noseroom.geometry.scan_edges import Numbers, compacted, edges_of
from noseroom.geometry.scan_steps import Step, Tell, quiet
from noseroom.geometry.scan_types import Floats

_ROUNDS = 20
_HALVINGS = 12
_FEW, _MANY = 3, 8
"""How many near triangles a point is tried against."""
_SLACK = 1.1
_MOST_PIECES = 3_000_000
_AT_ONCE = 250_000
"""So many triangles are measured together: what that takes is kept for each."""
_NO_FINER_MM = 0.02
_PAST_MM = 1e-9


def one_sided_bound(
    vertices: Floats,
    triangles: Numbers,
    onto_vertices: Floats,
    onto: Numbers,
    tell: Tell = quiet,
) -> float:
    """No point of the first surface is further than this from the second, mm; at least 0.02.

    vertices, onto_vertices: (n, 3) mm; triangles, onto: (m, 3). tell: called with `Step.MEASURE`.
    """
    tell(Step.MEASURE, 0.0)
    target = _Target(onto_vertices, onto)
    # No bound is less than what is found at single points: a piece within that is done with.
    enough = _NO_FINER_MM
    for points in (vertices[compacted(triangles)[0]], vertices[triangles].mean(axis=1)):
        enough = max(enough, _at_points(target, points[:, None]))
    for first in range(0, len(triangles), _AT_ONCE):
        tell(Step.MEASURE, first / len(triangles))
        # What one lot needs, the next may have too: the bound is the most of all.
        enough = _bound_over(target, vertices[triangles[first : first + _AT_ONCE]], enough)
    return enough


def _bound_over(target: _Target, pieces: Floats, enough: float) -> float:
    """The bound over pieces (n, 3, 3), mm; not less than `enough`."""
    held: list[Floats] = []
    pieces = _no_larger(pieces, 2 * target.size_mm)
    near = target.nearest(pieces.mean(axis=1))
    for turn in range(_ROUNDS):
        level, past = target.place(pieces, near)
        reach = past.max(axis=1).max(axis=1)
        inside = reach <= _PAST_MM
        # A piece within its triangle's edges gains nothing by being cut, but may by another one.
        held.append(pieces[inside & (level > enough)])
        # The distance is at least what a corner is past a side: most are told without it.
        doubtful = ~inside & (reach <= enough) & (level <= enough)
        waiting = ~inside
        waiting[doubtful] = target.measure(pieces[doubtful], near[doubtful]) > enough
        pieces, near = pieces[waiting], near[waiting]
        if not len(pieces) or turn == _ROUNDS - 1 or 3 * len(pieces) > _MOST_PIECES:
            break
        pieces, near = target.cut(pieces, near, past[waiting])
    return _settled(target, np.concatenate([*held, pieces]), enough)


def sampled_distance(
    vertices: Floats, triangles: Numbers, onto_vertices: Floats, onto: Numbers
) -> float:
    """Largest distance of corners, sides' middles and centres from another surface, mm."""
    corners = vertices[triangles]
    sides = (corners + np.roll(corners, -1, axis=1)) / 2
    points = np.concatenate(
        [vertices[compacted(triangles)[0]], sides.reshape(-1, 3), corners.mean(axis=1)]
    )
    return _at_points(_Target(onto_vertices, onto), points[:, None])


def _at_points(target: _Target, points: Floats) -> float:
    """About the largest distance of points (n, 1, 3), mm; never below it."""
    far = target.nearly(points, _FEW)
    for count in (_MANY, 5 * _MANY):
        worst = np.argsort(-far, kind="stable")[: len(far) // (10 * count) + 1000]
        far[worst] = target.nearly(points[worst], count)
    return float(far.max())


def _settled(target: _Target, pieces: Floats, enough: float) -> float:
    """The bound over the pieces that one triangle did not decide: more of them, in more parts."""
    worst = enough
    for turn in range(_HALVINGS):
        if not len(pieces):
            break
        far = target.nearly(pieces, _MANY)
        if turn == _HALVINGS - 1 or 2 * len(pieces) > _MOST_PIECES // 4:
            return max(worst, float(far.max()))
        done = far <= _SLACK * enough
        if done.any():
            worst = max(worst, float(far[done].max()))
        pieces, _ = _halved(pieces[~done], np.zeros(int((~done).sum()), np.int64))
    return worst


class _Target:
    """The surface that is measured to.

    size_mm: how large its triangles are, as the side of a square of their mean area.
    """

    def __init__(self, vertices: Floats, triangles: Numbers) -> None:
        self.corners = a = vertices[triangles]
        self.side = np.roll(a, -1, axis=1) - a
        normal = np.cross(self.side[:, 0], self.side[:, 1])
        double = np.linalg.norm(normal, axis=1, keepdims=True)
        self.normal = np.divide(normal, double, out=np.zeros_like(normal), where=double > 0)
        self.length2 = np.maximum((self.side**2).sum(axis=2), 1e-300)
        # Outward in the triangle's plane, one for each side; and where the side is that way.
        self.out = np.cross(self.side, self.normal[:, None]) / np.sqrt(self.length2)[..., None]
        self.edge_at = (a * self.out).sum(axis=2)
        self.plane_at = (a[:, 0] * self.normal).sum(axis=1)
        self.size_mm = float(np.sqrt(double.mean() / 2))
        self._triangles = triangles
        self._seeds: Any = None
        self._owners: Numbers = np.zeros(0, np.int64)

    @cached_property
    def across(self) -> Numbers:
        """The triangle across each side (m, 3); -1 where there is none or more than one."""
        return _across(self._triangles)

    def nearest(self, points: Floats) -> Numbers:
        """A triangle that is near each point (n, 3); most often the nearest."""
        return self._few(points, 1)[:, 0]

    def nearly(self, pieces: Floats, count: int) -> Floats:
        """Distance (n,) of each piece (n, k, 3) from the best of a few near triangles, mm."""
        near = self._few(pieces.mean(axis=1), count)
        far = self.measure(pieces, near[:, 0])
        for column in range(1, near.shape[1]):
            far = np.minimum(far, self.measure(pieces, near[:, column]))
        return far

    def _few(self, points: Floats, count: int) -> Numbers:
        from scipy.spatial import cKDTree

        if self._seeds is None:
            seeds, self._owners = _spread(self.corners)
            self._seeds = cKDTree(seeds, balanced_tree=False, compact_nodes=False)
        _, found = self._seeds.query(points, k=min(count, len(self._owners)))
        few: Numbers = self._owners[found.reshape(len(points), -1)]
        return few

    def place(self, pieces: Floats, near: Numbers) -> tuple[Floats, Floats]:
        """How far (n,) each piece is off its triangle's plane, and its corners past each side.

        The latter is (n, corner, side), negative within.
        """
        past = pieces @ self.out[near].transpose(0, 2, 1) - self.edge_at[near][:, None]
        level = (pieces @ self.normal[near][..., None])[..., 0] - self.plane_at[near][:, None]
        return np.abs(level).max(axis=1), past

    def measure(self, pieces: Floats, near: Numbers) -> Floats:
        """Largest distance (n,) of each piece from its triangle, mm."""
        _, past = self.place(pieces, near)
        far = np.abs((pieces @ self.normal[near][..., None])[..., 0] - self.plane_at[near][:, None])
        flat = ~self.normal[near].any(axis=1)
        rows, corner = np.nonzero((past.max(axis=2) > 0) | flat[:, None])
        side, length2 = self.side[near[rows]], self.length2[near[rows]]
        gap = pieces[rows, corner][:, None] - self.corners[near[rows]]
        share = np.clip((gap * side).sum(axis=2) / length2, 0.0, 1.0)
        gap = gap - share[..., None] * side
        far[rows, corner] = np.sqrt((gap**2).sum(axis=2).min(axis=1))
        worst: Floats = far.max(axis=1)
        return worst

    def cut(self, pieces: Floats, near: Numbers, past: Floats) -> tuple[Floats, Numbers]:
        """Cut each piece by the plane over a side of its triangle; what is past it goes across.

        past: (n, 3, 3) as `place` gives it; the side is the one that is passed furthest.
        """
        rows = np.arange(len(pieces))
        side = past.max(axis=1).argmax(axis=1)
        height = past[rows, :, side]
        across = self.across[near, side]
        lost = across < 0
        if lost.any():
            across[lost] = self.nearest(pieces[lost].mean(axis=1))
        beyond = height > 0
        whole = beyond.all(axis=1)
        split = ~whole
        # Turn each piece so that its first corner is alone on its side of the plane.
        one = beyond.sum(axis=1) == 1
        alone = np.where(one, beyond.argmax(axis=1), (~beyond).argmax(axis=1))[split]
        order = (alone[:, None] + np.arange(3)) % 3
        rows = rows[split]
        p, h = pieces[rows[:, None], order], height[rows[:, None], order]
        drop = h[:, :1] - h[:, 1:]
        share = np.clip(h[:, :1] / np.where(drop == 0, 1.0, drop), 0.0, 1.0)
        q, r = (p[:, 0] + share[:, k, None] * (p[:, k + 1] - p[:, 0]) for k in range(2))
        tip_near = np.where(one[split], across[split], near[split])
        base_near = np.where(one[split], near[split], across[split])
        made = np.concatenate(
            [
                pieces[whole],
                np.stack([p[:, 0], q, r], axis=1),
                np.stack([q, p[:, 1], p[:, 2]], axis=1),
                np.stack([q, p[:, 2], r], axis=1),
            ]
        )
        owner = np.concatenate([across[whole], tip_near, base_near, base_near])
        # A corner on the plane leaves pieces that are an edge of another one.
        same = (made == np.roll(made, 1, axis=1)).all(axis=2).any(axis=1)
        return made[~same], owner[~same]


def _across(triangles: Numbers) -> Numbers:
    """The triangle across each side (m, 3); -1 where there is none or more than one."""
    edges = edges_of(triangles)
    order = np.argsort(edges.of_side.ravel(), kind="stable")
    first = np.concatenate([[0], np.cumsum(edges.uses)])[:-1]
    across = np.full(triangles.size, -1, np.int64)
    shared = first[edges.uses == 2]
    one, two = order[shared], order[shared + 1]
    across[one], across[two] = two // 3, one // 3
    return across.reshape(-1, 3)


def _spread(corners: Floats) -> tuple[Floats, Numbers]:
    """Points all over triangles, and the triangle of each; they only help to find a near one."""
    area = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    size = float(np.sqrt(area.sum() / max(2 * len(corners), 20_000)))
    pieces = corners
    owner = np.arange(len(corners))
    done: list[tuple[Floats, Numbers]] = []
    while len(pieces):
        big = _longest(pieces) > 2 * size
        done.append((pieces[~big].mean(axis=1), owner[~big]))
        if 2 * int(big.sum()) > _MOST_PIECES:
            done.append((pieces[big].mean(axis=1), owner[big]))
            break
        pieces, owner = _halved(pieces[big], owner[big])
    return np.concatenate([one for one, _ in done]), np.concatenate([one for _, one in done])


def _no_larger(pieces: Floats, size_mm: float) -> Floats:
    """Cut pieces until none is much longer than that, or there are too many."""
    done: list[Floats] = []
    while True:
        big = _longest(pieces) > 2 * size_mm
        done.append(pieces[~big])
        if not big.any() or 2 * int(big.sum()) > _MOST_PIECES // 4:
            return np.concatenate([*done, pieces[big]])
        pieces, _ = _halved(pieces[big], np.zeros(int(big.sum()), np.int64))


def _longest(pieces: Floats) -> Floats:
    """Longest side (n,) of each piece."""
    side = np.roll(pieces, -1, axis=1) - pieces
    longest: Floats = np.sqrt((side**2).sum(axis=2).max(axis=1))
    return longest


def _halved(pieces: Floats, owner: Numbers) -> tuple[Floats, Numbers]:
    """Cut each piece in two across its longest side."""
    rows = np.arange(len(pieces))
    side = np.linalg.norm(np.roll(pieces, -1, axis=1) - pieces, axis=2).argmax(axis=1)
    a, b, c = (pieces[rows, (side + k) % 3] for k in range(3))
    middle = (a + b) / 2
    halves = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
    return halves, np.concatenate([owner, owner])
