"""Effectiveness of heat exchangers by the number of transfer units, and back.

NTU is conductance over the lesser heat capacity flow, the ratio is the lesser over the greater.

Crossflow with both streams unmixed has an exact answer, an infinite series, and a closed form that
most books print instead. The closed form is up to 1.1 % too high round NTU 2.5 (0.7632 against
0.7557 at a ratio of 0.6) and up to 3.8 % too low round NTU 0.3; what is used here is the series,
`crossflow_unmixed`.

The library `ht` has these formulas for one number at a time, where the series took 0.16 ms; a
thousand draws of a stack ask for a million of them. So here they take arrays, and the tests compare
them with ht's.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats
from noseroom.physics.solving import roots_between

__all__ = [
    "Arrangement",
    "condensing",
    "counterflow",
    "crossflow_unmixed",
    "crossflow_unmixed_approximate",
    "effectiveness",
    "greater_mixed",
    "lesser_mixed",
    "mixed",
    "ntu_of",
]

Arrangement = Literal["unmixed", "lesser mixed", "greater mixed", "mixed", "counterflow"]

_LEAST = 1e-12
_MOST_NTU = 1000.0
_MOST_NTU_OF_SERIES = 60.0
_MOST_NTU_OF_EXP = 500.0
# The terms fall off past n = NTU as a Poisson tail does.
_FEWEST_TERMS, _TAIL = 12, 8.0


def _both(ntu: ArrayLike, ratio: ArrayLike) -> tuple[Floats, Floats]:
    n, c = np.broadcast_arrays(np.asarray(ntu, dtype=float), np.asarray(ratio, dtype=float))
    return np.maximum(n, _LEAST), np.clip(c, _LEAST, 1.0)


def condensing(ntu: ArrayLike) -> Floats:
    """1 - exp(-NTU): one stream keeps its temperature, as refrigerant does that condenses."""
    return np.asarray(-np.expm1(-np.asarray(ntu, dtype=float)))


def crossflow_unmixed(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Crossflow, both streams unmixed, exact.

    Σ P(n+1, NTU) P(n+1, C NTU) / (C NTU) over n from 0, where P(n+1, x) is the chance of more than
    n events of a Poisson process that expects x. W. Nusselt (1911, 1930); as a series J. L. Mason,
    Heat transfer in cross-flow, Proc. 2nd U.S. Nat. Congress of Applied Mechanics (1955) 801-803.
    """
    n, c = _both(ntu, ratio)
    # Beyond, exp(-NTU) is no number any more; effectiveness hardly grows there.
    n = np.minimum(n, _MOST_NTU_OF_EXP)
    first, second = n, n * c
    most = float(n.max()) if n.size else 0.0
    terms = int(_FEWEST_TERMS + most + _TAIL * np.sqrt(most))
    # 1 - exp(-x) Σ x^m/m!, by taking off one term after the other.
    part_a, part_b = np.exp(-first), np.exp(-second)
    left_a, left_b = -np.expm1(-first), -np.expm1(-second)
    total = left_a * left_b
    for k in range(1, terms + 1):
        part_a, part_b = part_a * first / k, part_b * second / k
        left_a, left_b = np.maximum(left_a - part_a, 0.0), np.maximum(left_b - part_b, 0.0)
        total = total + left_a * left_b
    return np.asarray(total / second)


def crossflow_unmixed_approximate(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Crossflow, both streams unmixed, by the closed form of most books; see above how far off.

    1 - exp((exp(-C NTU^0.78) - 1) NTU^0.22 / C), as textbooks of heat transfer have it.
    """
    n, c = _both(ntu, ratio)
    return np.asarray(-np.expm1(np.expm1(-c * n**0.78) * n**0.22 / c))


def lesser_mixed(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Crossflow, the stream of the lesser capacity flow mixed and the other unmixed.

    W. M. Kays, A. L. London, Compact Heat Exchangers, table 2-2.
    """
    n, c = _both(ntu, ratio)
    return np.asarray(-np.expm1(np.expm1(-c * n) / c))


def greater_mixed(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Crossflow, the stream of the greater capacity flow mixed and the other unmixed.

    W. M. Kays, A. L. London, Compact Heat Exchangers, table 2-2.
    """
    n, c = _both(ntu, ratio)
    return np.asarray(-np.expm1(c * np.expm1(-n)) / c)


def mixed(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Crossflow, both streams mixed. W. M. Kays, A. L. London, Compact Heat Exchangers."""
    n, c = _both(ntu, ratio)
    inverse = 1.0 / -np.expm1(-n) + c / -np.expm1(-c * n) - 1.0 / n
    return np.asarray(1.0 / inverse)


def counterflow(ntu: ArrayLike, ratio: ArrayLike) -> Floats:
    """Counterflow. W. M. Kays, A. L. London, Compact Heat Exchangers."""
    n, c = _both(ntu, ratio)
    gap = 1.0 - c
    even = gap < 1e-9
    gap = np.where(even, 0.5, gap)
    fall = np.exp(-n * gap)
    return np.where(even, n / (1.0 + n), -np.expm1(-n * gap) / (1.0 - c * fall))


_FORMULAS = {
    "unmixed": crossflow_unmixed,
    "lesser mixed": lesser_mixed,
    "greater mixed": greater_mixed,
    "mixed": mixed,
    "counterflow": counterflow,
}


def effectiveness(
    arrangement: Arrangement, conductance: ArrayLike, first: ArrayLike, second: ArrayLike
) -> Floats:
    """Heat passed over the most that could be, of two streams.

    conductance: W/K. first, second: heat capacity flows, W/K, in any order. Raises KeyError for an
    arrangement that is none.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    least, most = np.minimum(a, b), np.maximum(a, b)
    return _FORMULAS[arrangement](np.asarray(conductance) / np.maximum(least, _LEAST), least / most)


def ntu_of(arrangement: Arrangement, effect: ArrayLike, ratio: ArrayLike) -> Floats:
    """The NTU that gives an effectiveness; nan where none up to 1000 does (60 unmixed).

    Two mixed streams are best at some NTU and worse beyond: the lesser of the two is given.
    """
    formula = _FORMULAS[arrangement]
    wanted, c = np.broadcast_arrays(np.asarray(effect, dtype=float), np.asarray(ratio, dtype=float))
    most = np.full(c.shape, _MOST_NTU if arrangement != "unmixed" else _MOST_NTU_OF_SERIES)
    if arrangement == "mixed":
        steps = np.geomspace(0.01, _MOST_NTU, 4000)
        reached = mixed(steps, c[..., None])
        most = steps[reached.argmax(axis=-1)]
    # In log NTU, since near an effectiveness of 1 NTU runs away.
    found = roots_between(
        lambda log: np.asarray(formula(np.exp(log), c) - wanted),
        np.full(c.shape, np.log(_LEAST)),
        np.log(most),
        within=1e-13,
    )
    return np.asarray(np.exp(found.x))
