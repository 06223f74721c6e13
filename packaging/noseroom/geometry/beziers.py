"""Splines cut into short Bezier patches, and the ranges that their second derivatives keep to.

Between two knots a spline is a polynomial, so that it has Bezier poles over any part of a span: its
polar form at the ends of the part (Farin, Curves and Surfaces for CAGD, 5th ed., 2002, chapters 4
and 8). A polynomial lies in the hull of its Bezier poles, and so do its derivatives in the hulls of
theirs (Piegl and Tiller, The NURBS Book, 2nd ed., 1997, sections 1.3 and 3.3). The shorter the
part, the closer is the hull.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from noseroom.geometry.bends import Range, times

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

_AT_ONCE = 200_000
_ORDERS = ((2, 0), (1, 1), (0, 2))


def second_derivatives(
    nets: Floats,
    knots: tuple[Floats, Floats],
    degrees: tuple[int, int],
    turns: tuple[float, float],
    ends: tuple[Floats, Floats],
) -> Range:
    """Return the ranges of the second derivatives uu, uv and vv of spline surfaces in cells.

    Each (3, 3, f * k, l), mm: by derivative, by x, y and z, by cell in u and v, all rows of a
    surface before those of the next. nets (f, rows, columns, 4), knots to turns: as of
    `surfaces.spline_net`, the same for all. ends: (k + 1,) and (l + 1,) parameters between which
    the cells are; none of them has a knot inside.
    """
    rows = [_rows(each, knots[way], degrees[way], turns[way]) for way, each in enumerate(ends)]
    steps = [np.diff(each) for each in ends]
    size = len(steps[1]) * (degrees[0] + 1) * (degrees[1] + 1)
    parts = list(_in_rows(nets, degrees, rows, steps, max(1, _AT_ONCE // size)))
    low, high = (np.concatenate(each, axis=2) for each in zip(*parts, strict=True))
    return low, high


def _in_rows(
    nets: Floats,
    degrees: tuple[int, int],
    rows: list[tuple[Numbers, Floats]],
    steps: list[Floats],
    many: int,
) -> Iterator[Range]:
    """Ranges of some rows of cells at once."""
    p, q = degrees
    (first_u, of_u), (first_v, of_v) = rows
    windows = sliding_window_view(nets, (p + 1, q + 1), axis=(1, 2))
    weighted = bool(np.ptp(nets[..., 3]))
    net, row = np.divmod(np.arange(len(nets) * len(first_u)), len(first_u))
    for start in range(0, len(net), many):
        here = row[start : start + many]
        poles = windows[net[start : start + many, None], first_u[here, None], first_v[None, :]]
        cut = np.einsum("klxab,lqb->klxaq", poles, of_v)
        cut = np.einsum("klxaq,kpa->klpqx", cut, of_u[here])
        yield _ranges(cut, steps[0][here, None], steps[1][None, :], weighted=weighted)


def _rows(ends: Floats, knots: Floats, degree: int, turn: float) -> tuple[Numbers, Floats]:
    """First pole that counts in each cell (k,), and what makes a cell's Bezier poles of those.

    Matrices (k, p + 1, p + 1).
    """
    low, high = knots[degree], knots[-degree - 1]
    start, stop = ends[:-1], ends[1:]
    middles = (start + stop) / 2
    if turn:
        shift = low + np.mod(middles - low, turn) - middles
        start, stop, middles = start + shift, stop + shift, middles + shift
    middles = np.clip(middles, low, np.nextafter(high, low))
    start, stop = np.clip(start, low, high), np.clip(stop, low, high)
    span = np.searchsorted(knots, middles, side="right") - 1
    # The polar form with so many of its arguments at the end, the others at the start.
    count = np.arange(degree + 1)
    form = np.broadcast_to(np.eye(degree + 1), (len(start), degree + 1, degree + 1, degree + 1))
    for step in range(1, degree + 1):
        at = np.where(count[None, :] >= step, stop[:, None], start[:, None])[..., None]
        own = span[:, None] - degree + step + np.arange(degree - step + 1)
        left, right = knots[own][:, None], knots[own + degree - step + 1][:, None]
        share = ((at - left) / (right - left))[..., None]
        form = form[:, :, :-1] * (1 - share) + form[:, :, 1:] * share
    return span - degree, form[:, :, 0]


def _ranges(cut: Floats, wide_u: Floats, wide_v: Floats, *, weighted: bool) -> Range:
    """Ranges (3, 3, k, l) in cells with these Bezier poles (k, l, p + 1, q + 1, 4) and widths."""
    if not weighted:
        scale = cut[..., :1, :1, 3:]
        nets = [_derived(cut[..., :3] / scale, i, j, wide_u, wide_v) for i, j in _ORDERS]
        found = [_range(one) for one in nets]
        return np.stack([low for low, _ in found]), np.stack([high for _, high in found])
    return _quotients(cut, wide_u, wide_v)


def _quotients(cut: Floats, wide_u: Floats, wide_v: Floats) -> Range:
    """The same with weights: the rule for quotients, in intervals, from the middle of each cell."""
    weights = cut[..., 3:]
    points = cut[..., :3] / weights
    centre = points.mean(axis=(2, 3), keepdims=True)
    nets = np.concatenate([cut[..., :3] - centre * weights, weights], axis=-1)

    def parts(i: int, j: int) -> tuple[Range, Range]:
        low, high = _range(_derived(nets, i, j, wide_u, wide_v))
        return (low[:3], high[:3]), (low[3:], high[3:])

    place = _range(points - centre)
    below = _range(weights)
    (a_u, w_u), (a_v, w_v) = parts(1, 0), parts(0, 1)
    (a_uu, w_uu), (a_uv, w_uv), (a_vv, w_vv) = parts(2, 0), parts(1, 1), parts(0, 2)
    s_u = _over(_less(a_u, times(w_u, place)), below)
    s_v = _over(_less(a_v, times(w_v, place)), below)
    found = [
        _less(a_uu, _doubled(times(w_u, s_u)), times(w_uu, place)),
        _less(a_uv, times(w_u, s_v), times(w_v, s_u), times(w_uv, place)),
        _less(a_vv, _doubled(times(w_v, s_v)), times(w_vv, place)),
    ]
    over = [_over(one, below) for one in found]
    return np.stack([low for low, _ in over]), np.stack([high for _, high in over])


def _derived(poles: Floats, i: int, j: int, wide_u: Floats, wide_v: Floats) -> Floats:
    """Bezier poles (k, l, ...) of a derivative, i times by u and j times by v."""
    for axis, order, wide in ((2, i, wide_u), (3, j, wide_v)):
        for _ in range(order):
            degree = poles.shape[axis] - 1
            if degree == 0:
                return np.zeros_like(poles)
            poles = np.diff(poles, axis=axis) * (degree / wide)[..., None, None, None]
    return poles


def _range(poles: Floats) -> Range:
    """Ranges (d, k, l) of Bezier poles (k, l, p, q, d)."""
    flat = poles.reshape(*poles.shape[:2], -1, poles.shape[-1])
    return np.moveaxis(flat.min(axis=2), -1, 0), np.moveaxis(flat.max(axis=2), -1, 0)


def _doubled(one: Range) -> Range:
    return 2 * one[0], 2 * one[1]


def _less(one: Range, *others: Range) -> Range:
    low, high = one
    for less_low, less_high in others:
        low, high = low - less_high, high - less_low
    return low, high


def _over(one: Range, positive: Range) -> Range:
    ends = np.stack([a / b for a in one for b in positive])
    return ends.min(axis=0), ends.max(axis=0)
