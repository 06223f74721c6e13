"""How far the spline edges of a shape are at most from their chords, many edges at once.

The second derivative of a spline is a spline, which lies in the hull of its poles, span by span
(Piegl and Tiller, The NURBS Book, 2nd ed., 1997, sections 3.1 and 3.3). Where it is nowhere larger
than m, a curve is no further than m * w² / 8 from a chord whose ends are w apart in its parameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.surfaces import curve_net

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Chords:
    """The chords of a spline without weights: poles (n, 3), knots (n + degree + 1,).

    at: (k,) rising parameters of their ends (k, 3), mm.
    """

    poles: Floats
    knots: Floats
    degree: int
    at: Floats
    ends: Floats


def chords_of(curve: Any, at: Floats, ends: Floats) -> Chords | None:
    """Return the chords of a `BRepAdaptor_Curve` that is a spline; None if it may not be smooth."""
    net, knots, degree, turn = curve_net(curve.BSpline())
    if turn or (degree < 2 and len(net) > 2) or np.ptp(net[:, 3]) or net[0, 3] != 1:
        return None
    inner = knots[degree + 1 : -degree - 1]
    if (inner[degree - 1 :] == inner[: max(0, len(inner) - degree + 1)]).any():
        # A knot that counts as often as the degree: there may be a corner.
        return None
    if at[0] > at[-1]:
        at, ends = at[::-1], ends[::-1]
    return Chords(net[:, :3], knots, degree, at, ends)


def chord_errors(some: Sequence[Chords]) -> Floats:
    """Return how far each curve is from its chords, and they from it, at most, mm: (n,)."""
    found = np.zeros(len(some))
    for degree in {one.degree for one in some}:
        numbers = [n for n, one in enumerate(some) if one.degree == degree]
        found[numbers] = _alike([some[n] for n in numbers], degree)
    return found


def _alike(some: list[Chords], degree: int) -> Floats:
    """The same for curves of one degree, their poles and knots one after the other."""
    poles = np.concatenate([one.poles for one in some])
    knots = np.concatenate([one.knots for one in some])
    counts = np.array([len(one.poles) for one in some])
    first_pole = np.cumsum(counts) - counts
    # Of each curve there are degree + 1 knots more than poles.
    shift = np.arange(len(some)) * (degree + 1)
    at = np.concatenate([one.at for one in some])
    many = np.array([len(one.at) for one in some])
    last_at = np.cumsum(many) - 1
    spans = np.concatenate([_spans(one) for one in some])
    which = np.repeat(np.arange(len(some)), many)
    where = spans + first_pole[which]
    off = _places(at, where, shift[which], poles, knots, degree)
    off -= np.concatenate([one.ends for one in some])
    missed = np.linalg.norm(off, axis=1)
    bend = _bends(poles, knots, degree, first_pole, shift, counts)
    # From the span that a chord begins in to the one that it ends in.
    start = np.delete(np.arange(len(at)), last_at)
    begin, end = where[start], where[start + 1] + 1
    most = np.maximum.reduceat(np.r_[bend, 0.0], np.stack([begin, end], axis=1).ravel())[::2]
    chord = most * (at[start + 1] - at[start]) ** 2 / 8
    furthest, furthest_end = np.zeros(len(some)), np.zeros(len(some))
    np.maximum.at(furthest, which[start], chord)
    np.maximum.at(furthest_end, which, missed)
    return furthest + furthest_end


def _spans(one: Chords) -> Numbers:
    """Numbers of the knots (k,) that the spans of the parameters begin at."""
    high = int(np.searchsorted(one.knots, one.knots[-one.degree - 1], side="left")) - 1
    spans = np.searchsorted(one.knots, one.at, side="right") - 1
    return np.clip(spans, one.degree, high)


def _places(
    at: Floats, where: Numbers, shift: Numbers, poles: Floats, knots: Floats, degree: int
) -> Floats:
    """Places (k, 3) of parameters (k,) by de Boor's algorithm."""
    points = poles[(where - degree)[:, None] + np.arange(degree + 1)]
    knot = where + shift
    for step in range(1, degree + 1):
        own = (knot - degree + step)[:, None] + np.arange(degree - step + 1)
        left, right = knots[own], knots[own + degree - step + 1]
        share = ((at[:, None] - left) / (right - left))[..., None]
        points = points[:, :-1] * (1 - share) + points[:, 1:] * share
    found: Floats = points[:, 0]
    return found


def _bends(
    poles: Floats,
    knots: Floats,
    degree: int,
    first_pole: Numbers,
    shift: Numbers,
    counts: Numbers,
) -> Floats:
    """No second derivative is larger in the span that begins at each knot; by number of pole."""
    number = np.arange(len(poles)) + np.repeat(shift, counts)

    def slopes(net: Floats, order: int) -> Floats:
        """Poles of the next derivative; between two curves they mean nothing."""
        own = number[: len(net) - 1] + order
        run = knots[own + degree - order + 1] - knots[own]
        steep = (degree - order + 1) / np.where(run > 0, run, np.inf)
        found: Floats = np.diff(net, axis=0) * steep[:, None]
        return found

    second = slopes(slopes(poles, 1), 2)
    size = np.linalg.norm(second, axis=1)
    # Those that count in the span at knot k are k - degree to k - 2.
    most = np.zeros(len(poles))
    for back in range(2, degree + 1):
        shifted = np.zeros(len(poles))
        shifted[back:] = size[: len(poles) - back]
        most = np.maximum(most, shifted)
    return most
