"""All pieces of one component against all of another at once: a quick lower bound for every pair.

A fan's sweep is 72 wedges, a pulley's rim as many: most pairs need no search of their own, because
along an axis of either part they are surely far enough apart. Along one direction the bound of
`separation` falls into a part for each piece, so that one pass over all corners serves all pairs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.separation import Bend, MovingPiece, Uncertainty, seen_from

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_SAME = 1e-4
_NULL_MM = 1e-6
_MOST_TOGETHER = 20_000


@dataclass(frozen=True, eq=False)
class Crowd:
    """All pieces of a component in one: once for each movement of its part.

    moves: with the corners of all pieces, one after the other. starts: (p,), each piece's first.
    """

    moves: tuple[MovingPiece, ...]
    starts: NDArray[np.intp]

    def moved(self, shift: Floats) -> Crowd:
        """The same, displaced by (3,) mm."""
        return Crowd(tuple(one.moved(shift) for one in self.moves), self.starts)

    def joined(self) -> Crowd:
        """The same as one piece, the hull of all."""
        return Crowd(self.moves, self.starts[:1])


def crowd_of(pieces: Sequence[Sequence[MovingPiece]]) -> Crowd:
    """One crowd of pieces that move together, each given once for every movement."""
    counts = [len(piece[0].corners) for piece in pieces]
    corners = np.concatenate([piece[0].corners for piece in pieces])
    swell = None
    if any(piece[0].swell is not None for piece in pieces):
        swell = np.zeros((len(corners), *pieces[0][0].shift.shape))
        end = 0
        for piece, count in zip(pieces, counts, strict=True):
            if piece[0].swell is not None:
                swell[end : end + count] = piece[0].swell
            end += count
    moves = tuple(
        MovingPiece(
            corners,
            one.origin,
            one.axes,
            one.shift,
            one.turn,
            one.null_shift,
            one.null_turn,
            swell,
        )
        for one in pieces[0]
    )
    return Crowd(moves, np.cumsum([0, *counts[:-1]]))


def crowd_bounds(a: Crowd, b: Crowd, sure: Uncertainty, bend: Bend) -> Floats:
    """Guaranteed lower bounds on the gaps of all pairs of pieces, mm: (p, q), -inf for none."""
    best = np.full((len(a.starts), len(b.starts)), -np.inf)
    for normal in _axes(a.moves[0], b.moves[0]):
        for ahead, back in _either_side(a, b, normal, sure, bend):
            best = np.maximum(best, np.maximum(ahead, back))
    return best


def crowd_towards(a: Crowd, b: Crowd, way: Floats, sure: Uncertainty, bend: Bend) -> Floats:
    """The same along one way, (3,) unit, from a to b: (p, q) mm."""
    best = np.full((len(a.starts), len(b.starts)), -np.inf)
    for ahead, _ in _either_side(a, b, way, sure, bend):
        best = np.maximum(best, ahead)
    return best


def _either_side(
    a: Crowd, b: Crowd, normal: Floats, sure: Uncertainty, bend: Bend
) -> Iterator[tuple[Floats, Floats]]:
    """Bounds with b ahead of a along a direction, and with a ahead of b; held in either's frame."""
    for holder, off in ((a.moves[0], bend.seen_from_a), (b.moves[0], bend.seen_from_b)):
        if any(_loose(one, holder, normal) for one in (*a.moves, *b.moves)):
            continue
        low_a, high_a = _extent(a, holder, normal, sure)
        low_b, high_b = _extent(b, holder, normal, sure)
        lost = float(np.abs(normal) @ off)
        yield low_b[None, :] - high_a[:, None] - lost, low_a[:, None] - high_b[None, :] - lost


def bounds_towards(
    a: Crowd, b: Crowd, pairs: Indices, ways: Floats, sure: Uncertainty, bend: Bend
) -> Floats:
    """Guaranteed lower bounds on the gaps of some pairs, each along its own way, mm: (k,).

    pairs: (k, 2), numbers of the pieces of a and of b. ways: (k, 3), unit, from a to b.
    """
    best = np.full(len(pairs), -np.inf)
    if any(x.any() for one in (*a.moves, *b.moves) for x in (one.null_shift, one.null_turn)):
        return best
    mine, first_mine = _rows(a, pairs[:, 0])
    theirs, first_theirs = _rows(b, pairs[:, 1])
    near = ways[np.repeat(np.arange(len(pairs)), np.diff([*first_theirs, len(theirs)]))]
    far = ways[np.repeat(np.arange(len(pairs)), np.diff([*first_mine, len(mine)]))]
    for holder, off in ((a.moves[0], bend.seen_from_a), (b.moves[0], bend.seen_from_b)):
        low = _reach(b, theirs, near, holder, sure)[0]
        high = _reach(a, mine, far, holder, sure)[1]
        apart = np.minimum.reduceat(low, first_theirs) - np.maximum.reduceat(high, first_mine)
        best = np.maximum(best, apart - np.abs(ways) @ off)
    return best


def bounds_together(
    a: Crowd,
    b: Crowd,
    pairs: Indices,
    ways: Floats,
    sure: Uncertainty,
    bend: Bend,
    enough_mm: float,
) -> Floats:
    """As `bounds_towards`, but what moves a corner of either counts once: (k,) mm.

    No more than `enough_mm` is shown; -inf where there is too much to look at.
    """
    best = np.full(len(pairs), -np.inf)
    if any(x.any() for one in (*a.moves, *b.moves) for x in (one.null_shift, one.null_turn)):
        return best
    mine, first_mine = _rows(a, pairs[:, 0])
    theirs, first_theirs = _rows(b, pairs[:, 1])
    counts = [
        np.diff([*first, len(rows)]) for first, rows in ((first_mine, mine), (first_theirs, theirs))
    ]
    far, near = (np.repeat(ways, count, axis=0) for count in counts)
    each = [
        (np.arange(n) + i, np.arange(m) + j)
        for i, n, j, m in zip(first_mine, counts[0], first_theirs, counts[1], strict=True)
    ]
    ours = np.concatenate([np.repeat(x, len(y)) for x, y in each])
    others = np.concatenate([np.tile(y, len(x)) for x, y in each])
    which = np.repeat(np.arange(len(pairs)), counts[0] * counts[1])
    at_mine = np.einsum("ni,ni->n", a.moves[0].corners[mine], far)
    at_theirs = np.einsum("ni,ni->n", b.moves[0].corners[theirs], near)
    for holder, off in ((a.moves[0], bend.seen_from_a), (b.moves[0], bend.seen_from_b)):
        my_forms = [_forms(one, mine, far, holder) for one in a.moves]
        their_forms = [_forms(one, theirs, near, holder) for one in b.moves]
        high = at_mine + np.max([sure.spread(one) for one in my_forms], axis=0)
        low = at_theirs - np.max([sure.spread(one) for one in their_forms], axis=0)
        lost = np.abs(ways) @ off
        # Corners that are far enough apart one by one are so together.
        left = np.flatnonzero(low[others] - high[ours] - lost[which] < enough_mm)
        if len(left) > _MOST_TOGETHER:
            continue
        spread = np.zeros(len(left))
        for one in my_forms:
            for other in their_forms:
                spread = np.maximum(spread, sure.spread(other[others[left]] - one[ours[left]]))
        least = np.full(len(pairs), enough_mm)
        apart = at_theirs[others[left]] - at_mine[ours[left]] - spread - lost[which[left]]
        np.minimum.at(least, which[left], apart)
        best = np.maximum(best, least)
    return best


def _rows(crowd: Crowd, pieces: Indices) -> tuple[Indices, Indices]:
    """Corners of some pieces, one piece after the other, and where each begins."""
    ends = np.append(crowd.starts[1:], len(crowd.moves[0].corners))
    rows = [np.arange(crowd.starts[one], ends[one]) for one in pieces]
    return np.concatenate(rows), np.cumsum([0, *(len(one) for one in rows[:-1])])


def _reach(
    crowd: Crowd, rows: Indices, ways: Floats, holder: MovingPiece, sure: Uncertainty
) -> tuple[Floats, Floats]:
    """How far corners (n) surely reach along ways (n, 3), each along its own: least and most."""
    corners = crowd.moves[0].corners[rows]
    at = np.einsum("ni,ni->n", corners, ways)
    spread = np.zeros(len(rows))
    for one in crowd.moves:
        spread = np.maximum(spread, sure.spread(_forms(one, rows, ways, holder)))
    return at - spread, at + spread


def _forms(one: MovingPiece, rows: Indices, ways: Floats, holder: MovingPiece) -> Floats:
    """How some corners move along ways (n, 3), each along its own, as seen from holder: (n, s)."""
    corners = one.corners[rows]
    form = np.zeros((len(rows), holder.shift.shape[1]))
    if one is not holder:
        form += ways @ (one.shift - holder.shift)
        form += np.cross(corners - one.origin, ways) @ one.turn
        form -= np.cross(corners - holder.origin, ways) @ holder.turn
    if one.swell is not None:
        form += np.einsum("ni,nis->ns", ways, one.swell[rows])
    return form


def _axes(a: MovingPiece, b: MovingPiece) -> Iterator[Floats]:
    """The axes of both parts, without those that are as good as the same."""
    given: list[Floats] = []
    for axis in (*a.axes.T, *b.axes.T):
        if all(1.0 - abs(float(axis @ one)) > _SAME for one in given):
            given.append(axis)
            yield axis


def _loose(one: MovingPiece, holder: MovingPiece, normal: Floats) -> bool:
    """Whether something that nothing fixes moves it along the direction, seen from the holder."""
    if not any(x.any() for x in (one.null_shift, one.null_turn)) and not any(
        x.any() for x in (holder.null_shift, holder.null_turn)
    ):
        return False
    null = seen_from(holder, one, normal, null=True)
    return null.size > 0 and float(np.abs(null).max()) > _NULL_MM


def _extent(
    crowd: Crowd, holder: MovingPiece, normal: Floats, sure: Uncertainty
) -> tuple[Floats, Floats]:
    """How far each piece surely reaches along a direction, least and most: (p,) each."""
    at = crowd.moves[0].corners @ normal
    spread = np.max(
        [sure.spread(seen_from(holder, one, normal) + one.swelling(normal)) for one in crowd.moves],
        axis=0,
    )
    return (
        np.minimum.reduceat(at - spread, crowd.starts),
        np.maximum.reduceat(at + spread, crowd.starts),
    )
