"""Roots of many equations at once, each between two bounds; what fails is data, never a number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.physics.ranges import Floats

__all__ = ["Roots", "roots_between"]

_MOST_STEPS = 80


@dataclass(frozen=True, eq=False)
class Roots:
    """Roots, one for each draw.

    x: (...), nan where there is none. found: (...), whether there is one. at_low, at_high: (...),
    what the function is at the bounds: where both have one sign there is no root between them, and
    their signs say on which side it would have to lie. steps: how many it took.
    """

    x: Floats
    found: NDArray[np.bool_]
    at_low: Floats
    at_high: Floats
    steps: int


def roots_between(
    function: Callable[[Floats], Floats], low: ArrayLike, high: ArrayLike, *, within: float = 1e-10
) -> Roots:
    """Where a function of each draw's own number is nothing, by Chandrupatla's method.

    function: (...) to (...), each element of its own. low, high: (...), or less if the function
    broadcasts them. within: of the bounds'
    distance, how near a root has to be.

    T. R. Chandrupatla, A new hybrid quadratic/bisection algorithm for finding the zero of a
    nonlinear function without using derivatives, Advances in Engineering Software 28 (1997)
    145-149, doi:10.1016/S0965-9978(96)00051-8.
    """
    ends = [np.asarray(one, dtype=float) for one in np.broadcast_arrays(low, high)]
    values = [np.asarray(function(one), dtype=float) for one in ends]
    # The function may hold draws of its own where the bounds are one number.
    b, a, fb, fa = (np.array(one) for one in np.broadcast_arrays(*ends, *values))
    at_low, at_high = fb.copy(), fa.copy()
    room = np.abs(a - b)
    with np.errstate(all="ignore"):
        bracketed = np.sign(fa) * np.sign(fb) <= 0
    c, fc, t = a.copy(), fa.copy(), np.full(a.shape, 0.5)
    best = np.where(np.abs(fa) < np.abs(fb), a, b)
    open_ = bracketed & (fa != 0) & (fb != 0)
    steps = 0
    with np.errstate(all="ignore"):
        while open_.any() and steps < _MOST_STEPS:
            steps += 1
            x = np.where(open_, a + t * (b - a), best)
            fx = np.asarray(function(x), dtype=float)
            same = np.sign(fx) == np.sign(fa)
            c, fc = np.where(same, a, b), np.where(same, fa, fb)
            b, fb = np.where(same, b, a), np.where(same, fb, fa)
            a, fa = x, fx
            nearest = np.where(np.abs(fa) < np.abs(fb), a, b)
            best = np.where(open_, nearest, best)
            width = within * room / np.maximum(np.abs(b - a), 1e-300)
            # A function that has no value somewhere between its bounds has no root there either.
            bracketed &= ~(open_ & ~np.isfinite(fx))
            open_ &= bracketed & (width < 1.0) & (fx != 0)
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            quadratic = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
            near = fa / (fb - fa) * fc / (fb - fc)
            near += (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            t = np.where(quadratic & np.isfinite(near), near, 0.5)
            t = np.clip(t, np.minimum(width / 2, 0.5), 1 - np.minimum(width / 2, 0.5))
    found = np.asarray(bracketed & ~open_)
    return Roots(np.where(found, best, np.nan), found, at_low, at_high, steps)
