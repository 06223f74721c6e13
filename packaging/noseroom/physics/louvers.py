"""Louvered fins between flat tubes: published correlations for heat and friction.

One function each, named for its authors. Reynolds numbers are on the louver pitch and the velocity
in the core's least free area; lengths in m, angles in degrees; f is Fanning's. All take arrays.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = [
    "CHANG_2006",
    "CHANG_WANG_1997",
    "KIM_BULLARD_2002",
    "f_chang_2000",
    "f_chang_2006",
    "f_chang_straight",
    "f_kim_bullard_2002",
    "j_chang_wang_1997",
    "j_kim_bullard_2002",
]

_GEOMETRY = (
    Range("louver angle", 8.4, 35.0, "deg"),
    Range("fin pitch", 0.51e-3, 3.33e-3, "m"),
    Range("louver pitch", 0.5e-3, 3.0e-3, "m"),
    Range("fin length", 2.84e-3, 20.0e-3, "m"),
    Range("louver length", 2.13e-3, 18.5e-3, "m"),
    Range("depth", 15.6e-3, 57.4e-3, "m"),
    Range("tube pitch", 7.51e-3, 25.0e-3, "m"),
    Range("fin thickness", 0.0254e-3, 0.16e-3, "m"),
)
"""Of the 91 cores that both correlations of Chang and others rest on; from memory."""

CHANG_WANG_1997 = Correlation(
    name="Chang and Wang's j",
    source="Y.-J. Chang, C.-C. Wang, A generalized heat transfer correlation for louver fin "
    "geometry, Int. J. Heat Mass Transfer 40 (1997) 533-544, eq. 9, "
    "doi:10.1016/0017-9310(96)00116-0; ranges of sizes from memory",
    ranges=(Range("Reynolds number", 100.0, 3000.0), *_GEOMETRY),
    spread="89 % of the data within 15 % (from memory); one measured radiator deviated much more "
    "(Thermal Science 21 (2017) 141-150, doi:10.2298/TSCI131118088K)",
)

CHANG_2006 = Correlation(
    name="Chang and others' f",
    source="Y.-J. Chang, K.-C. Hsu, Y.-T. Lin, C.-C. Wang, A generalized friction correlation for "
    "louver fin geometry, Int. J. Heat Mass Transfer 43 (2000) 2237-2243, "
    "doi:10.1016/S0017-9310(99)00289-6; amended between 130 and 230 by Y.-J. Chang, W.-J. Chang, "
    "M.-C. Li, C.-C. Wang, Int. J. Heat Mass Transfer 49 (2006) 4250-4253, the amendment and the "
    "ranges of sizes from memory",
    ranges=(Range("Reynolds number", 100.0, 3000.0), *_GEOMETRY),
    spread="83 % of the data within 15 % (from memory)",
    instead="the formula was carried on, below 50 as laminar flow, so this part is a guess",
)

KIM_BULLARD_2002 = Correlation(
    name="Kim and Bullard's j and f",
    source="M.-H. Kim, C. W. Bullard, Air-side thermal hydraulic performance of multi-louvered fin "
    "aluminum heat exchangers, Int. J. Refrigeration 25 (2002) 390-400, "
    "doi:10.1016/S0140-7007(01)00025-1; coefficients and ranges from memory",
    ranges=(
        Range("Reynolds number", 100.0, 600.0),
        Range("louver angle", 15.0, 29.0, "deg"),
        Range("fin pitch", 1.0e-3, 1.4e-3, "m"),
        Range("depth", 16.0e-3, 24.0e-3, "m"),
    ),
    spread="j within 15 %, f within 10 % (r.m.s., from memory)",
)

_LAMINAR_BELOW = 50.0
_BLEND_LOW, _BLEND_HIGH = 130.0, 230.0
_LEAST_RE = 1e-6


def _powers(*pairs: tuple[ArrayLike, float]) -> Floats:
    """The product of numbers, each to its power."""
    product = np.asarray(1.0)
    for base, power in pairs:
        product = product * np.asarray(base, dtype=float) ** power
    return np.asarray(product)


def _over(top: ArrayLike, bottom: ArrayLike) -> Floats:
    return np.asarray(np.asarray(top, dtype=float) / np.asarray(bottom, dtype=float))


_LAWS: dict[str, tuple[float, float, dict[str, float]]] = {
    "j Chang Wang": (
        -0.49,
        0.27,
        {"fin_pitch": -0.14, "fin_length": -0.29, "depth": -0.23, "louver_length": 0.68}
        | {"tube_pitch": -0.28, "fin_thickness": -0.05},
    ),
    "j Kim Bullard": (
        -0.487,
        0.257,
        {"fin_pitch": -0.13, "fin_length": -0.29, "depth": -0.235, "louver_length": 0.68}
        | {"tube_pitch": -0.279, "fin_thickness": -0.05},
    ),
    "f Kim Bullard": (
        -0.781,
        0.444,
        {"fin_pitch": -1.682, "fin_length": -1.22, "depth": 0.818, "louver_length": 1.97},
    ),
}
"""Powers of the Reynolds number, of the angle over 90 degrees, of each size over louver pitch."""


def _law(name: str, re: ArrayLike, sizes: Mapping[str, ArrayLike]) -> Floats:
    of_re, of_angle, powers = _LAWS[name]
    if missing := sorted({"angle_deg", "louver_pitch", *powers} - set(sizes)):
        raise TypeError(f"found no {', no '.join(missing)}; expected all sizes of the core")
    return _powers(
        (np.maximum(re, _LEAST_RE), of_re),
        (_over(sizes["angle_deg"], 90.0), of_angle),
        *((_over(sizes[size], sizes["louver_pitch"]), power) for size, power in powers.items()),
    )


def j_chang_wang_1997(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """Colburn's j, St Pr^(2/3), of louvered fins; tested for 100 < Re < 3000.

    sizes: angle_deg, and in m fin_pitch, louver_pitch, fin_length, depth, louver_length,
    tube_pitch, fin_thickness. Raises TypeError for one that is missing. Source: `CHANG_WANG_1997`.
    """
    return _law("j Chang Wang", re, sizes)


class _Friction:
    """The two branches of Chang and others' f for cores of given sizes."""

    def __init__(
        self,
        *,
        angle_deg: ArrayLike,
        fin_pitch: ArrayLike,
        louver_pitch: ArrayLike,
        fin_length: ArrayLike,
        depth: ArrayLike,
        louver_length: ArrayLike,
        tube_pitch: ArrayLike,
        fin_thickness: ArrayLike,
        tube_thickness: ArrayLike,
        hydraulic_diameter: ArrayLike,
    ) -> None:
        self.angle = np.asarray(angle_deg, dtype=float)
        self.per_length = _over(fin_pitch, fin_length)
        self.per_pitch = _over(fin_pitch, louver_pitch)
        self.thin = _over(fin_thickness, fin_pitch)
        self.wide = _over(hydraulic_diameter, louver_pitch)
        self.short = _over(fin_pitch, louver_length)
        self.deep = _over(depth, louver_length)
        self.tubes = _over(tube_pitch, tube_thickness)
        self.room = _over(tube_pitch, np.asarray(tube_pitch) - np.asarray(tube_thickness))

    def slow(self, re: Floats) -> Floats:
        """Friction below a Reynolds number of 150."""
        f1 = 14.39 * re ** (-0.805 * self.per_length) * np.log(1.0 + self.per_pitch) ** 3.04
        f2 = _powers(
            (np.log(self.thin**0.48 + 0.9), -1.435), (self.wide, -3.01), (np.log(0.5 * re), -3.01)
        )
        f3 = _powers((self.short, -0.308), (self.deep, -0.308), (self.angle, 0.35))
        return np.asarray(f1 * f2 * f3 * np.exp(-0.1167 * self.tubes))

    def fast(self, re: Floats) -> Floats:
        """Friction above a Reynolds number of 150."""
        f1 = 4.97 * re ** (0.6049 - 1.064 / self.angle**0.2)
        f1 = f1 * np.log(self.thin**0.5 + 0.9) ** -0.527
        f2 = (self.wide * np.log(0.3 * re)) ** -2.966 * self.short ** (-0.7931 * self.room)
        f3 = _powers(
            (self.tubes, -0.0446),
            (np.log(1.2 + self.per_pitch**-1.4), -3.553),
            (self.angle, -0.477),
        )
        return np.asarray(f1 * f2 * f3)


def f_chang_2000(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """Fanning's f of louvered fins as first published, which jumps at Re = 150.

    sizes: as for `f_chang_2006`, which is the one to use. Source: `CHANG_2006`.
    """
    friction, number = _Friction(**sizes), np.asarray(re, dtype=float)
    slow, fast = np.minimum(number, 150.0), np.maximum(number, 150.0)
    return np.where(number < 150.0, friction.slow(slow), friction.fast(fast))


def f_chang_2006(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """Fanning's f of louvered fins, with the two branches joined between Re 130 and 230.

    sizes: angle_deg, and in m fin_pitch, louver_pitch, fin_length, depth, louver_length,
    tube_pitch, fin_thickness, tube_thickness (the flat tube's lesser width) and hydraulic_diameter.
    Raises TypeError for one that is missing.

    Tested for 100 < Re < 3000. Below 50 the published form grows faster than 1/Re and is infinite
    at 2, which no flow does; there f Re is kept. Source: `CHANG_2006`.
    """
    number, slow, fast = _branches(re, sizes)
    weight = np.clip(3.6 - 0.02 * number, -1.0, 1.0)
    return np.asarray(np.sqrt(((1 + weight) * slow**2 + (1 - weight) * fast**2) / 2))


def f_chang_straight(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """As `f_chang_2006`, but the branches are joined by a straight line of log f over log Re.

    The published join bends so much for some cores that less pressure would drive more air through
    them between Re 200 and 230, which no core does. Here pressure always rises with flow, as long
    as f falls to no less than a third from 130 to 230: so it does for any core near a usual one.
    """
    number, slow, fast = _branches(re, sizes)
    share = np.log(np.clip(number, _BLEND_LOW, _BLEND_HIGH) / _BLEND_LOW)
    share = share / np.log(_BLEND_HIGH / _BLEND_LOW)
    return np.asarray(slow ** (1.0 - share) * fast**share)


def _branches(re: ArrayLike, sizes: Mapping[str, ArrayLike]) -> tuple[Floats, Floats, Floats]:
    """Reynolds number, and both branches' f, each at the nearest number that is its own."""
    friction, number = _Friction(**sizes), np.maximum(np.asarray(re, dtype=float), _LEAST_RE)
    slow = friction.slow(np.clip(number, _LAMINAR_BELOW, _BLEND_LOW))
    slow = slow * np.maximum(_LAMINAR_BELOW / number, 1.0)
    return number, np.asarray(slow), friction.fast(np.maximum(number, _BLEND_HIGH))


def j_kim_bullard_2002(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """Colburn's j of louvered fins, by other authors. Source: `KIM_BULLARD_2002`.

    sizes: as for `j_chang_wang_1997`.
    """
    return _law("j Kim Bullard", re, sizes)


def f_kim_bullard_2002(re: ArrayLike, **sizes: ArrayLike) -> Floats:
    """Fanning's f of louvered fins, by other authors. Source: `KIM_BULLARD_2002`.

    sizes: as for `j_chang_wang_1997`, without tube_pitch and fin_thickness.
    """
    return _law("f Kim Bullard", re, sizes)
