"""How far apart two convex pieces surely stay, over everything that is uncertain about them.

Two convex bodies are at least as far apart as their corners are along *any* one direction n:

    d >= min over corners b of n·b  -  max over corners a of n·a

so a lower bound on the gap over a whole set of poses and sizes needs no search: fix n in the frame
of one body, let every corner move by its own linear form of the sources (readings, sizes,
assumptions), and take the worst pair of corners. Each pair's form is exact to first order, turns
included, and what the second order of a turn can add is subtracted. The witness points alone would
not do: two parallel faces touch first at a corner that was never the closest one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

READING_DEVIATIONS = 2.0
"""k: readings count with two standard deviations, assumptions with their whole reach."""
_NULL_MM = 1e-6
_PARALLEL_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """What the sources may do. deviations: (s,) of readings. reaches: (s,) of assumptions."""

    deviations: Floats
    reaches: Floats

    def spread(self, forms: Floats) -> Floats:
        """Half-width (...) of quantities whose derivatives by the sources are forms (..., s)."""
        readings = np.sqrt(((forms * self.deviations) ** 2).sum(axis=-1))
        assumed = np.abs(forms) @ self.reaches
        return np.asarray(READING_DEVIATIONS * readings + assumed)


@dataclass(frozen=True, eq=False)
class MovingPiece:
    """A placed convex piece and how it moves.

    corners: (n, 3) mm, vehicle frame. origin: (3,), of the part's frame. shift (3, s) mm and turn
    (3, s) rad: the part's rigid movement per source. swell: (n, 3, s) mm, each corner's movement by
    the part's own sizes, or None. null_shift (3, q), null_turn (3, q): what nothing fixes.
    axes: (3, 3), the part's axes as columns. offset: (3,) mm, by which a tried copy is displaced
    from the piece whose `hull` it shares.
    """

    corners: Floats
    origin: Floats
    axes: Floats
    shift: Floats
    turn: Floats
    null_shift: Floats
    null_turn: Floats
    swell: Floats | None = None
    offset: Floats = field(default_factory=lambda: np.zeros(3))
    hull: Any = None

    def moved(self, shift: Floats) -> MovingPiece:
        """The same piece displaced by (3,) mm; the hull is not built again."""
        return replace(
            self,
            corners=self.corners + shift,
            origin=self.origin + shift,
            offset=self.offset + shift,
            hull=self.shape,
        )

    @cached_property
    def shape(self) -> Any:
        """The hull as a coal convex shape, without its offset."""
        if self.hull is not None:
            return self.hull
        import coal
        from scipy.spatial import ConvexHull

        hull = ConvexHull(self.corners)
        points = coal.StdVec_Vec3s()
        for corner in self.corners:
            points.append(corner)
        triangles = coal.StdVec_Triangle()
        for simplex in hull.simplices:
            triangles.append(coal.Triangle(*(int(one) for one in simplex)))
        return coal.Convex(points, triangles)

    @cached_property
    def box(self) -> Floats:
        """(2, 3), lowest and highest corner along the vehicle axes."""
        return np.array([self.corners.min(axis=0), self.corners.max(axis=0)])

    def swelling(self, normal: Floats) -> Floats:
        """Movement of every corner by sizes along a direction: (n, s)."""
        count = self.shift.shape[1]
        if self.swell is None:
            return np.zeros((len(self.corners), count))
        return np.asarray(np.einsum("i,nis->ns", normal, self.swell))


@dataclass(frozen=True, eq=False)
class Separation:
    """What is sure about two pieces.

    nominal_mm: their gap as adjusted (negative: they overlap by that along the direction).
    lower_mm: the gap that surely remains; -inf where something that nothing fixes decides it.
    form: (s,), how the deciding pair of corners comes apart per source. direction: (3,) from a to
    b. points: (2, 3), the deciding corners.
    """

    nominal_mm: float
    lower_mm: float
    form: Floats
    direction: Floats
    points: Floats

    @property
    def known(self) -> bool:
        """Whether anything is sure."""
        return bool(np.isfinite(self.lower_mm))


def box_gap(a: Floats, b: Floats) -> float:
    """Distance between two axis-aligned boxes, (2, 3) each; 0 where they meet."""
    apart = np.maximum(np.maximum(a[0] - b[1], b[0] - a[1]), 0.0)
    return float(np.sqrt(apart @ apart))


def nearest(a: MovingPiece, b: MovingPiece) -> tuple[float, Floats]:
    """Gap of two pieces as adjusted (negative when overlapping), and the direction a to b."""
    import coal

    here = coal.Transform3s(np.eye(3), a.offset)
    there = coal.Transform3s(np.eye(3), b.offset)
    result = coal.DistanceResult()
    gap = float(coal.distance(a.shape, here, b.shape, there, coal.DistanceRequest(), result))
    apart = np.asarray(result.getNearestPoint2()) - np.asarray(result.getNearestPoint1())
    size = float(np.linalg.norm(apart))
    if gap > _PARALLEL_MM and size > _PARALLEL_MM:
        return gap, apart / size
    normal = np.asarray(result.normal, dtype=float)
    size = float(np.linalg.norm(normal))
    return gap, normal / size if size > 0.5 else np.array([1.0, 0.0, 0.0])


def separation(
    a: MovingPiece, b: MovingPiece, uncertainty: Uncertainty, *, enough_mm: float = np.inf
) -> Separation:
    """The best guaranteed lower bound on the gap of two pieces.

    The direction between the nearest points is tried first, held in either body's frame. Only where
    that leaves it open whether `enough_mm` remains, though as adjusted it does, the axes of both
    parts and of the vehicle are tried too: no direction can show more than the gap itself.
    """
    nominal, normal = nearest(a, b)
    best: Separation | None = None
    for direction in _directions(normal, a, b):
        for one in (_along, _flipped):
            found = one(a, b, direction, uncertainty)
            if best is None or found.lower_mm > best.lower_mm:
                best = found
            if best.lower_mm >= enough_mm:
                break
        if best is not None and (
            best.lower_mm >= enough_mm or (best.known and nominal < enough_mm)
        ):
            break
    assert best is not None
    return Separation(nominal, best.lower_mm, best.form, best.direction, best.points)


def _directions(normal: Floats, a: MovingPiece, b: MovingPiece) -> Iterator[Floats]:
    yield normal
    between = b.corners.mean(axis=0) - a.corners.mean(axis=0)
    for axes in (np.eye(3), a.axes, b.axes):
        for axis in axes.T:
            yield axis if axis @ between >= 0 else -axis


def _flipped(a: MovingPiece, b: MovingPiece, normal: Floats, sure: Uncertainty) -> Separation:
    """The same bound with the direction held in b's frame instead of a's."""
    one = _along(b, a, -normal, sure)
    return Separation(one.nominal_mm, one.lower_mm, one.form, -one.direction, one.points[::-1])


def _along(a: MovingPiece, b: MovingPiece, normal: Floats, sure: Uncertainty) -> Separation:
    """The bound along a direction that turns with a."""
    low, high = b.corners @ normal, a.corners @ normal
    nothing = np.zeros(a.shift.shape[1])
    arms = b.corners - a.origin
    # b's corners against a's frame; the part of a rigid movement that both share drops out.
    null = _relative(b, normal, b.null_shift, b.null_turn) - _carried(
        a, normal, a.null_shift, a.null_turn, b.corners
    )
    if null.size and float(np.abs(null).max()) > _NULL_MM:
        pair = np.array([a.corners[int(high.argmax())], b.corners[int(low.argmin())]])
        return Separation(float(low.min() - high.max()), -np.inf, nothing, normal, pair)
    theirs = (
        _relative(b, normal, b.shift, b.turn)
        - _carried(a, normal, a.shift, a.turn, b.corners)
        + b.swelling(normal)
    )
    mine = a.swelling(normal)
    turn = sure.spread(b.turn - a.turn)
    curve = 0.5 * float(turn @ turn) * float(np.sqrt((arms**2).sum(axis=1)).max())
    value, i, j, form = _worst_pair(low, theirs, high, mine, sure)
    return Separation(
        float(low.min() - high.max()),
        value - curve,
        form,
        normal,
        np.array([a.corners[j], b.corners[i]]),
    )


def _relative(piece: MovingPiece, normal: Floats, shift: Floats, turn: Floats) -> Floats:
    return _carried(piece, normal, shift, turn, piece.corners)


def _carried(
    piece: MovingPiece, normal: Floats, shift: Floats, turn: Floats, points: Floats
) -> Floats:
    """Movement along a direction of points (n, 3) carried by a piece's part: (n, columns)."""
    x, y, z = (points - piece.origin).T
    u, v, w = (float(one) for one in normal)
    lever = np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=-1)
    return np.asarray(normal @ shift + lever @ turn)


def _worst_pair(
    low: Floats, theirs: Floats, high: Floats, mine: Floats, sure: Uncertainty
) -> tuple[float, int, int, Floats]:
    """The least of low[i] - high[j] - spread(theirs[i] - mine[j]) over all corners i, j."""
    near, far = low - sure.spread(theirs), high + sure.spread(mine)
    # near - far is never above the true value of a pair, so pairs that cannot win are left out.
    hopeful = near[:, None] - far[None, :]
    i, j = np.unravel_index(int(hopeful.argmin()), hopeful.shape)
    best = float(low[i] - high[j] - sure.spread(theirs[i] - mine[j]))
    rows, columns = np.nonzero(hopeful < best)
    for start in range(0, len(rows), 4096):
        some, other = rows[start : start + 4096], columns[start : start + 4096]
        values = low[some] - high[other] - sure.spread(theirs[some] - mine[other])
        k = int(values.argmin())
        if values[k] < best:
            best, i, j = float(values[k]), some[k], other[k]
    return best, int(i), int(j), theirs[i] - mine[j]
