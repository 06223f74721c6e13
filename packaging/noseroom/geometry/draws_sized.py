"""A body in many samples: its place in each, its sizes in each, and the copies built for some."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import rigid, rigid_all
from noseroom.geometry.mesh import Body
from noseroom.geometry.trees import NUMERIC_MM

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Build = Callable[[Floats], Body]

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
class Growth:
    """How a part of a surface moves with the sizes.

    box_mm: (2, 3), in the body's own frame, what of the surface at its usual sizes is meant.
    axes_mm: (k, 3, 2), from least to most along each axis when a size grows by one unit.
    """

    box_mm: ArrayLike
    axes_mm: ArrayLike


@dataclass(frozen=True, eq=False)
class Drawn:
    """A body whose place, and maybe whose sizes, differ from sample to sample.

    body: at its usual sizes. poses: (4, 4) where it stands in every sample, or (n, 4, 4).
    sizes: (n, k), in any units; usual: (k,), those of `body`. movement_mm: (k,), how far at most
    any point of the surface moves with one unit of each size, anywhere between the sizes drawn
    (`Part.movement_bounds` gives it). axes_mm: (k, 3, 2), if known, from least to most along each
    axis of the body's own frame when a size grows by one unit; the more it says, the fewer bodies
    are built. build: makes the body at sizes (k,). Without it the body cannot be had at other
    sizes, and what its movement leaves open stays undecided. growths: if known, what `axes_mm`
    says for parts of the surface, which together are all of it; where two overlap, each point
    there follows one or the other (`Part.growths_mm` gives them).
    """

    body: Body
    poses: ArrayLike
    sizes: ArrayLike | None = None
    usual: ArrayLike | None = None
    movement_mm: ArrayLike | None = None
    axes_mm: ArrayLike | None = None
    build: Build | None = None
    growths: Sequence[Growth] = ()


class Sized:
    """A `Drawn` that was looked through, with the bodies at the sizes they were built for.

    Raises:
        GeometryError: poses that are not rigid, arrays that do not fit each other, or a movement
            that is no length.
    """

    def __init__(self, drawn: Drawn) -> None:
        self.name = drawn.body.name
        self.poses = self._checked_poses(drawn.poses)
        self._build, self._kept = drawn.build, [drawn.body]
        self.sizes, usual, self._movement, self._axes = self._checked_sizes(drawn)
        self._boxes, self._growths = self._checked_growths(drawn)
        self._kept_sizes = usual[None]
        self._numbers = {usual.tobytes(): 0}
        counts = {len(given) for given in (self.poses, self.sizes) if len(given) != 1}
        if len(counts) > 1:
            raise GeometryError(f"{self.name}: {len(self.poses)} poses but {len(self.sizes)} sizes")
        self.count = counts.pop() if counts else 1

    @property
    def built(self) -> int:
        """How many bodies were built."""
        return len(self._kept) - 1

    @property
    def can_build(self) -> bool:
        """Whether a body can be had at other sizes than the usual ones."""
        return self._build is not None

    def body(self, number: int = 0) -> Body:
        """One of the bodies; 0 is the one at the usual sizes."""
        return self._kept[number]

    def poses_of(self, samples: Indices) -> Floats:
        """(s, 4, 4), or (1, 4, 4) where it stands."""
        return self.poses if len(self.poses) == 1 else self.poses[samples]

    def offset(self, number: int) -> Floats:
        """Sizes of one of the bodies less the usual ones, (k,)."""
        less: Floats = self._kept_sizes[number] - self._kept_sizes[0]
        return less

    def play(
        self, samples: Indices, number: int = 0, spans: tuple[Floats, Floats] | None = None
    ) -> Play:
        """How far the surface may be from the one of a body, in samples (s,).

        spans: lowest and highest corners (m, 3) of boxes in the body's frame: only what is there.
        """
        off = self._sizes_of(samples) - self._kept_sizes[number]
        if spans is None or not len(self._boxes):
            return Play.of(off, self._movement, self._axes)
        axes = self._axes_in(number, *spans)
        movement = np.linalg.norm(np.abs(axes).max(axis=2), axis=1)
        return Play.of(off, np.minimum(movement, self._movement), axes)

    def _axes_in(self, number: int, low: Floats, high: Floats) -> Floats:
        """From least to most (k, 3, 2) of all growths that may have moved into some boxes."""
        gone, found = self.offset(number)[None], []
        for box, axes in zip(self._boxes, self._growths, strict=True):
            play = Play.of(gone, self._movement, axes)
            least, most = box[0] + play.low[0] - NUMERIC_MM, box[1] + play.high[0] + NUMERIC_MM
            if ((low <= most) & (high >= least)).all(axis=1).any():
                found.append(axes)
        if not found:
            return self._axes
        every = np.array(found)
        ends = np.stack([every[..., 0].min(axis=0), every[..., 1].max(axis=0)], axis=-1)
        return ends

    def own(self, sample: int) -> int:
        """The number of the body at the sizes of a sample; 0 where none can be built."""
        if self._build is None:
            return 0
        return self.at(self._sizes_of(np.array([sample]))[0])

    @property
    def ends(self) -> Floats:
        """Least and most (2, k) of each size over all samples and the usual ones."""
        every = np.concatenate([self.sizes, self._kept_sizes[:1]])
        return np.stack([every.min(axis=0), every.max(axis=0)])

    def with_ends(
        self, chosen: Floats, own: Indices | None = None, sample: int | None = None
    ) -> int:
        """The number of the body with each size at one of its ends: (k,) -1, 0 for usual, 1.

        own: the sizes that are as in a sample instead.
        """
        low, high = self.ends
        sizes = np.where(chosen < 0, low, np.where(chosen > 0, high, self._kept_sizes[0]))
        if own is not None and sample is not None:
            sizes[own] = self._sizes_of(np.array([sample]))[0, own]
        return self.at(sizes)

    def unit_play(self, sign: float) -> Play:
        """What each size (k) does alone if it is larger by 1, or -1, than that of a body."""
        return Play.of(sign * np.eye(len(self._kept_sizes[0])), self._movement, self._axes)

    def at(self, sizes: Floats) -> int:
        """The number of the body at sizes (k,), built where it is new.

        Raises:
            GeometryError: it cannot be built, or is further from the usual one than its movement
                allows.
        """
        key = sizes.tobytes()
        if self._build is not None and key not in self._numbers:
            made = self._build(sizes.copy())
            self._check_movement(made, sizes)
            self._numbers[key] = len(self._kept)
            self._kept.append(made)
            self._kept_sizes = np.concatenate([self._kept_sizes, sizes[None]])
        return self._numbers[key]

    def boxes(self, count: int) -> Floats:
        """Boxes (n, 2, 3) in the world that hold the true body in every sample."""
        corners = box_corners(grown_box(self._kept[0]))
        world = corners @ np.swapaxes(self.poses[:, :3, :3], 1, 2) + self.poses[:, None, :3, 3]
        boxes = np.stack([world.min(axis=1), world.max(axis=1)], axis=1)
        drawn = np.arange(count if len(self.sizes) > 1 else 1)
        most = self.play(drawn).most
        grown: Floats = boxes + most[:, None, None] * np.array([[-1.0], [1.0]])
        return grown

    def _sizes_of(self, samples: Indices) -> Floats:
        if len(self.sizes) == 1:
            return np.broadcast_to(self.sizes, (len(samples), self.sizes.shape[1]))
        return self.sizes[samples]

    def _check_movement(self, made: Body, sizes: Floats) -> None:
        """A body that is further off than its movement allows would make every bound wrong."""
        off = made.mesh.box_mm - self._kept[0].mesh.box_mm
        play = Play.of((sizes - self._kept_sizes[0])[None], self._movement, self._axes)
        over = float(np.maximum(play.low[0] - off, off - play.high[0]).max())
        if over > made.mesh.bound_mm + self._kept[0].mesh.bound_mm + NUMERIC_MM:
            raise GeometryError(
                f"{self.name}: built at sizes {sizes.tolist()}, its box is {over:.3g} mm further "
                "from the usual one than its movement for each size allows"
            )

    def _checked_poses(self, poses: ArrayLike) -> Floats:
        places = np.asarray(poses, dtype=np.float64)
        if places.ndim == 2:
            return rigid(places)[None]
        if places.ndim != 3 or places.shape[1:] != (4, 4) or not len(places):
            raise GeometryError(f"{self.name}: poses are (4, 4), or (n, 4, 4) with n of 1 or more")
        return rigid_all(places, f"{self.name}: ")

    def _checked_sizes(self, drawn: Drawn) -> tuple[Floats, Floats, Floats, Floats]:
        given: list[Any] = [drawn.sizes, drawn.usual, drawn.movement_mm]
        if all(one is None for one in given):
            return np.zeros((1, 0)), np.zeros(0), np.zeros(0), np.zeros((0, 3, 2))
        if any(one is None for one in given):
            raise GeometryError(
                f"{self.name}: sizes that are drawn need the usual ones and a movement for each"
            )
        sizes, usual, movement = (np.array(one, dtype=np.float64) for one in given)
        fits = sizes.ndim == 2 and len(sizes) > 0 and usual.shape == sizes.shape[1:]
        if not fits or movement.shape != usual.shape:
            raise GeometryError(f"{self.name}: sizes are (n, k), usual ones and movements (k,)")
        if not (np.isfinite(sizes).all() and np.isfinite(usual).all()):
            raise GeometryError(f"{self.name}: a size that is drawn is not finite")
        if not (np.isfinite(movement).all() and (movement >= 0).all()):
            raise GeometryError(
                f"{self.name}: a movement is a length of 0 mm or more for each unit"
            )
        axes = movement[:, None, None] * np.array([-1.0, 1.0]) * np.ones((3, 1))
        if drawn.axes_mm is not None:
            axes = np.array(drawn.axes_mm, dtype=np.float64)
        if axes.shape != (len(usual), 3, 2) or not (axes[..., 0] <= axes[..., 1]).all():
            raise GeometryError(
                f"{self.name}: movements along the axes are (k, 3, 2), from least to most"
            )
        if not np.isfinite(axes).all():
            raise GeometryError(f"{self.name}: a movement along an axis is not finite")
        return sizes, usual, movement, axes

    def _checked_growths(self, drawn: Drawn) -> tuple[Floats, Floats]:
        """Boxes (r, 2, 3) and movements (r, k, 3, 2)."""
        count, box = len(self._movement), self._kept[0].mesh.box_mm
        if not drawn.growths:
            return np.zeros((0, 2, 3)), np.zeros((0, count, 3, 2))
        boxes = [np.asarray(one.box_mm, dtype=np.float64) for one in drawn.growths]
        axes = [np.asarray(one.axes_mm, dtype=np.float64) for one in drawn.growths]
        if any(one.shape != (2, 3) or not (one[0] <= one[1]).all() for one in boxes) or any(
            one.shape != (count, 3, 2) for one in axes
        ):
            raise GeometryError(f"{self.name}: a growth has a box (2, 3) and movements (k, 3, 2)")
        if not (np.isfinite(boxes).all() and np.isfinite(axes).all()):
            raise GeometryError(f"{self.name}: a growth is not finite")
        if any((one[..., 0] > one[..., 1]).any() for one in axes):
            raise GeometryError(f"{self.name}: the movements of a growth go from least to most")
        low, high = np.min(boxes, axis=0)[0], np.max(boxes, axis=0)[1]
        if (low > box[0] + NUMERIC_MM).any() or (high < box[1] - NUMERIC_MM).any():
            raise GeometryError(f"{self.name}: the boxes of its growths leave some of it out")
        return np.array(boxes), np.array(axes)


def box_corners(box: Floats) -> Floats:
    """The eight corners (8, 3) of a box (2, 3)."""
    corners: Floats = box[0] + _ENDS * (box[1] - box[0])
    return corners


def grown_box(body: Body) -> Floats:
    """(2, 3) mm in the body's frame, round the true surface."""
    box: Floats = body.mesh.box_mm + np.array([[-1.0], [1.0]]) * body.mesh.bound_mm
    return box
