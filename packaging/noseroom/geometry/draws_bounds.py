"""The samples of two bodies: how each stands to the other, and how far its surface may be off.

Everything is seen from the second body of a pair, which stands still there. Sizes count with the
bound that each part gives on the movement of its surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_ENDS = np.array(list(product((0, 1), repeat=3)))


@dataclass(frozen=True, eq=False)
class Play:
    """How far the surface of a body may be from the one that is measured, for n samples.

    most: (n,) mm, any point in any direction. low, high: (n, 3) mm, along each axis of the body's
    own frame, with their sign.
    """

    most: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, off: Floats, movement: Floats, axes: Floats) -> Play:
        """Of sizes that are off by (n, k).

        movement: (k,) mm that one unit of each size moves any point by, in any direction. axes:
        (k, 3, 2) mm, from least to most along each axis if the size grows by one unit.
        """
        more, less = np.maximum(off, 0.0), np.minimum(off, 0.0)
        low = np.tensordot(more, axes[..., 0], 1) + np.tensordot(less, axes[..., 1], 1)
        high = np.tensordot(more, axes[..., 1], 1) + np.tensordot(less, axes[..., 0], 1)
        boxed = np.linalg.norm(np.maximum(-low, high), axis=1)
        return cls(np.minimum(np.abs(off) @ movement, boxed), low, high)

    def take(self, chosen: Indices) -> Play:
        """The same for some of the samples."""
        return Play(self.most[chosen], self.low[chosen], self.high[chosen])

    def along(self, ways: Floats) -> Floats:
        """The most (n,) that a point moves along unit directions (n, 3) or (3,) of its frame."""
        boxed = np.maximum(self.low * ways, self.high * ways).sum(axis=1)
        most: Floats = np.minimum(self.most, boxed)
        return most


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


def box_corners(box: Floats) -> Floats:
    """The eight corners (8, 3) of a box (2, 3)."""
    corners: Floats = box[0] + _ENDS * (box[1] - box[0])
    return corners


def grown_box(body: Body) -> Floats:
    """(2, 3) mm in the body's frame, round the true surface."""
    box: Floats = body.mesh.box_mm + np.array([[-1.0], [1.0]]) * body.mesh.bound_mm
    return box


def box_bound(a: Body, b: Body, scene: Scene) -> Floats:
    """What the boxes of two bodies keep between them in every sample, (n,) mm, play taken off."""
    low, high = grown_box(b)
    corners = scene.carried(box_corners(grown_box(a)))
    less, more = scene.shifts()
    above = corners.min(axis=1) - high - more
    gap = np.linalg.norm(np.maximum(np.maximum(above, low - corners.max(axis=1) + less), 0), axis=1)
    bound: Floats = np.maximum(gap - NUMERIC_MM, 0.0)
    return bound
