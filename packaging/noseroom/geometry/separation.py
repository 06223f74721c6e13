"""How far apart two convex pieces surely stay, over everything that is uncertain about them.

Two convex bodies are at least as far apart as their corners are along *any* one direction n:

    d >= min over corners b of n·b  -  max over corners a of n·a

so a lower bound on the gap over a whole set of poses and sizes needs no search: let n turn with one
of the bodies, let every corner move by its own linear form of the sources (readings, sizes,
assumptions), and take the worst pair of corners. Each pair's form is exact to first order, turns
included; what the second order can add (the "bend") is subtracted. The witness points alone would
not do: two parallel faces touch first at a corner that was never the closest one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

READING_DEVIATIONS = 2.0
"""k: readings count with two standard deviations, assumptions with their whole reach."""
GAP_ERROR_MM = 1e-5
"""How far the nearest-point search may be out; it only picks directions and what to look at."""
_NULL_MM = 1e-6
_PARALLEL_MM = 1e-9
_AXES = np.eye(3)


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """What the sources may do. deviations: (s,) of readings. reaches: (s,) of assumptions."""

    deviations: Floats
    reaches: Floats

    def spread(self, forms: Floats) -> Floats:
        """Half-width (...) of quantities whose derivatives by the sources are forms (..., s)."""
        scaled = forms * self.deviations
        readings = np.sqrt(np.einsum("...s,...s->...", scaled, scaled))
        assumed = np.abs(forms) @ self.reaches
        return np.asarray(READING_DEVIATIONS * readings + assumed)

    def only(self, columns: NDArray[np.intp]) -> Uncertainty:
        """The same for some of the sources."""
        return Uncertainty(self.deviations[columns], self.reaches[columns])


class Hull:
    """The convex hull of corners (n, 3) as a coal shape, built when first asked for."""

    def __init__(self, corners: Floats) -> None:
        self.corners = corners

    @cached_property
    def shape(self) -> Any:
        """A `coal.Convex`."""
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


@dataclass(frozen=True, eq=False)
class MovingPiece:
    """A placed convex piece and how it moves.

    corners: (n, 3) mm, vehicle frame. origin: (3,), of the part's frame. shift (3, s) mm and turn
    (3, s) rad: the part's rigid movement per source. swell: (n, 3, s) mm, each corner's movement by
    the part's own sizes, or None. null_shift (3, q), null_turn (3, q): what nothing fixes; s and q
    are the same for all pieces of a layout.
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
    hull: Hull | None = None

    @cached_property
    def outline(self) -> Hull:
        """The hull of the corners without the offset, shared by all copies."""
        return self.hull or Hull(self.corners - self.offset)

    def moved(self, shift: Floats) -> MovingPiece:
        """The same piece further out on its part by (3,) mm; the hull is not built again.

        Its part's frame stays where it is: what turns that swings the piece by the longer arm.
        """
        return replace(
            self, corners=self.corners + shift, offset=self.offset + shift, hull=self.outline
        )

    def only(self, columns: NDArray[np.intp]) -> MovingPiece:
        """The same piece with its movement by some of the sources."""
        return replace(
            self,
            shift=self.shift[:, columns],
            turn=self.turn[:, columns],
            swell=None if self.swell is None else self.swell[:, :, columns],
            hull=self.outline,
        )

    @cached_property
    def box(self) -> Floats:
        """(2, 3), lowest and highest corner along the vehicle axes."""
        return np.array([self.corners.min(axis=0), self.corners.max(axis=0)])

    def swelling(self, normal: Floats) -> Floats | float:
        """Movement of every corner by sizes along a direction: (n, s), or 0."""
        return 0.0 if self.swell is None else np.asarray(np.einsum("i,nis->ns", normal, self.swell))


Pieces: TypeAlias = MovingPiece | Sequence[MovingPiece]
"""One piece, or the same piece once for each of several movements: each of its points may move by
any of them or by any mixture (a belt between two pulleys)."""


@dataclass(frozen=True, eq=False)
class Bend:
    """What the first order leaves out, mm along the vehicle axes (3,) each.

    seen_from_a: how far at most a corner of either piece is from where its linear form puts it, in
    a frame that moves with a (with its first movement, where it has several), both pieces added.
    """

    seen_from_a: Floats
    seen_from_b: Floats


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


def nearest(a: MovingPiece, b: MovingPiece, shift: Floats | None = None) -> tuple[float, Floats]:
    """Gap of two pieces as adjusted (negative when overlapping), and the direction a to b.

    shift: (3,) mm, a displacement of a to try.
    """
    import coal

    here = coal.Transform3s(_AXES, a.offset if shift is None else a.offset + shift)
    there = coal.Transform3s(_AXES, b.offset)
    result = coal.DistanceResult()
    shapes = a.outline.shape, b.outline.shape
    gap = float(coal.distance(shapes[0], here, shapes[1], there, coal.DistanceRequest(), result))
    apart = np.asarray(result.getNearestPoint2()) - np.asarray(result.getNearestPoint1())
    size = float(np.sqrt(apart @ apart))
    if gap > _PARALLEL_MM and size > _PARALLEL_MM:
        return gap, apart / size
    normal = np.asarray(result.normal, dtype=float)
    size = float(np.sqrt(normal @ normal))
    return gap, normal / size if size > 0.5 else np.array([1.0, 0.0, 0.0])


def separation(
    a: Pieces,
    b: Pieces,
    uncertainty: Uncertainty,
    *,
    enough_mm: float = np.inf,
    bend: Bend | None = None,
    found: tuple[float, Floats] | None = None,
) -> Separation:
    """The best guaranteed lower bound on the gap of two pieces.

    The direction between the nearest points is tried first, held in either body's frame. Only where
    that leaves it open whether `enough_mm` remains, though as adjusted it does, the axes of both
    parts and of the vehicle are tried too: no direction can show more than the gap itself. Without
    `enough_mm` all are.

    bend: what to take off for the second order; without it, that of parts which each shift in a
    straight line and turn about their own origins. found: what `nearest` says, where it is known.
    """
    ours = (a,) if isinstance(a, MovingPiece) else tuple(a)
    theirs = (b,) if isinstance(b, MovingPiece) else tuple(b)
    nominal, normal = found or nearest(ours[0], theirs[0])
    if bend is None:
        bend = Bend(
            rigid_bend(ours[0], ours[1:], uncertainty) + rigid_bend(ours[0], theirs, uncertainty),
            rigid_bend(theirs[0], theirs[1:], uncertainty)
            + rigid_bend(theirs[0], ours, uncertainty),
        )
    best: Separation | None = None
    for direction in _directions(normal, ours, theirs):
        if best is not None and best.lower_mm >= _gap_along(ours[0], theirs[0], direction):
            continue  # no movement makes a direction show more than it does as adjusted
        for holder, off in ((ours[0], bend.seen_from_a), (theirs[0], bend.seen_from_b)):
            one = _along(ours, theirs, holder, direction, uncertainty, off)
            if best is None or one.lower_mm > best.lower_mm:
                best = one
            if best.lower_mm >= enough_mm:
                break
        assert best is not None
        if best.lower_mm >= enough_mm or (best.known and nominal < enough_mm < np.inf):
            break
    assert best is not None
    return replace(best, nominal_mm=nominal)


def _gap_along(a: MovingPiece, b: MovingPiece, direction: Floats) -> float:
    return float((b.corners @ direction).min() - (a.corners @ direction).max())


def _directions(
    normal: Floats, ours: Sequence[MovingPiece], theirs: Sequence[MovingPiece]
) -> Iterator[Floats]:
    yield normal
    a, b = ours[0], theirs[0]
    free = np.concatenate([one.null_shift for one in (*ours, *theirs)], axis=1)
    if free.size and float(np.abs(free).max()) > _NULL_MM:
        # What nothing fixes does not matter along what is square to it.
        across, size, _ = np.linalg.svd(free)
        rest = across[:, int((size > _NULL_MM).sum()) :]
        square = rest @ (rest.T @ normal)
        if float(np.sqrt(square @ square)) > _NULL_MM:
            yield square / np.sqrt(square @ square)
    between = b.corners.mean(axis=0) - a.corners.mean(axis=0)
    for axes in (_AXES, a.axes, b.axes):
        for axis in axes.T:
            yield axis if axis @ between >= 0 else -axis


def _along(
    ours: Sequence[MovingPiece],
    theirs: Sequence[MovingPiece],
    holder: MovingPiece,
    normal: Floats,
    sure: Uncertainty,
    off: Floats,
) -> Separation:
    """The bound along a direction that turns with `holder`; off: (3,) mm, the bend seen from it."""
    low, high = theirs[0].corners @ normal, ours[0].corners @ normal
    pair = np.array([ours[0].corners[int(high.argmax())], theirs[0].corners[int(low.argmin())]])
    nominal = float(low.min() - high.max())
    loose = any(one.null_shift.any() or one.null_turn.any() for one in (*ours, *theirs))
    # Where nothing is loose, nothing has to be looked at; where the holder is, all move against it.
    for one in (*ours, *theirs) if loose else ():
        null = seen_from(holder, one, normal, null=True)
        if null.size and float(np.abs(null).max()) > _NULL_MM:
            return Separation(nominal, -np.inf, np.zeros(holder.shift.shape[1]), normal, pair)
    near = [seen_from(holder, one, normal) + one.swelling(normal) for one in theirs]
    far = [seen_from(holder, one, normal) + one.swelling(normal) for one in ours]
    value, i, j, form = _worst_pair(
        np.tile(low, len(near)), np.concatenate(near), np.tile(high, len(far)),
        np.concatenate(far), sure,
    )  # fmt: skip
    pair = np.array([ours[0].corners[j % len(high)], theirs[0].corners[i % len(low)]])
    return Separation(nominal, value - float(np.abs(normal) @ off), form, normal, pair)


def seen_from(
    holder: MovingPiece, piece: MovingPiece, normal: Floats, *, null: bool = False
) -> Floats:
    """Rigid movement of a piece's corners along a direction, seen from the holder: (n, columns).

    What both share (the engine that carries them) drops out. null: by what nothing fixes instead of
    by the sources.
    """
    shift, turn = (piece.null_shift, piece.null_turn) if null else (piece.shift, piece.turn)
    if piece is holder:
        return np.zeros((len(piece.corners), shift.shape[1]))
    held = (holder.null_shift, holder.null_turn) if null else (holder.shift, holder.turn)
    away = _lever(piece.corners - piece.origin, normal) @ turn
    carried = _lever(piece.corners - holder.origin, normal) @ held[1]
    return np.asarray(normal @ (shift - held[0]) + away - carried)


def _lever(arms: Floats, normal: Floats) -> Floats:
    """Products arms × normal, (n, 3): from turns about the axes to movement along the normal."""
    x, y, z = arms.T
    u, v, w = (float(one) for one in normal)
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=-1)


def rigid_bend(holder: MovingPiece, pieces: Sequence[MovingPiece], sure: Uncertainty) -> Floats:
    """How far corners of a piece may be from their linear forms, seen from the holder: (3,) mm.

    For parts whose origins shift in a straight line and which turn by the exponential map. With h
    the holder's turn, t that of the piece against it, D from origin to origin and r to the corner,
    the second order is  ½ t×(t×r) + ½ (t×h)×r - ½ h×(h×D) - h×(shift against the holder);
    orders above it are bounded by the rest of the exponential series. A corner that moves by its
    part's sizes is carried by the turn too.
    """
    most = np.zeros(3)
    for one in pieces:
        if one is holder:
            continue
        base = one.origin - holder.origin
        h = sure.spread(holder.turn)
        t = sure.spread(one.turn - holder.turn)
        drift = sure.spread(one.shift - holder.shift - np.cross(holder.turn, base, axis=0))
        shift = sure.spread(one.shift - holder.shift)
        swell = np.zeros(3) if one.swell is None else sure.spread(one.swell).max(axis=0)
        arm = np.abs(one.corners - one.origin).max(axis=0) + swell
        second = (
            (
                crossed(t, crossed(t, arm))
                + crossed(crossed(t, h), arm)
                + crossed(h, crossed(h, base))
            )
            / 2
            + crossed(h, drift)
            + crossed(t, swell)
        )
        alone, against = float(np.sqrt(h @ h)), float(np.sqrt(t @ t))
        higher = (
            # Nothing is left of any order where both turn alike, hence the factor in front.
            against * _rest(2 * alone + against, 2) * np.sqrt(arm @ arm)
            + _rest(alone, 3) * np.sqrt(base @ base)
            + _rest(alone, 2) * np.sqrt(shift @ shift)
        )
        most = np.maximum(most, second + float(higher))
    return most


def arm_bend(holder: Floats, turn: Floats, arm: Floats, sure: Uncertainty) -> Floats:
    """How far the end of an arm (3,) mm on what turns is from its linear form: (3,) mm.

    holder, turn: (3, s) rad, turns per source. As seen from the holder; whatever turns one after
    the other make up the two.
    """
    h, t = sure.spread(holder), sure.spread(turn - holder)
    size = np.abs(arm)
    second = crossed(t, crossed(t, size)) + crossed(crossed(t, h), size)
    alone, against = float(np.sqrt(h @ h)), float(np.sqrt(t @ t))
    higher = against * _rest(2 * alone + against, 2) * float(np.sqrt(size @ size))
    return np.asarray(second + higher)


def crossed(a: Floats, b: Floats) -> Floats:
    """The most that each component of a cross product can be, by its factors' sizes: (3,)."""
    x, y, z = np.abs(a)
    u, v, w = np.abs(b)
    return np.array([y * w + z * v, z * u + x * w, x * v + y * u])


def _rest(angle: float, order: int) -> float:
    """The exponential series of an angle (rad) from its second or third power on."""
    rest = float(np.expm1(angle)) - angle - (angle**2 / 2 if order == 3 else 0.0)
    return max(rest, angle**order / (2 if order == 2 else 6))  # below that it is rounding


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
