"""Heat from coolant and refrigerant to the tubes that they run in, and conductance over all.

SI throughout. Coefficients are W/(m² K) of the tubes' inside.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = [
    "GNIELINSKI_1976",
    "SHAH_1979",
    "condensing_coefficient_shah",
    "friction_konakov",
    "nusselt_dittus_boelter",
    "nusselt_gnielinski",
    "nusselt_in_tubes",
    "overall",
]

GNIELINSKI_1976 = Correlation(
    name="Gnielinski's turbulent tube",
    source="V. Gnielinski, New equations for heat and mass transfer in turbulent pipe and channel "
    "flow, Int. Chem. Eng. 16 (1976) 359-368; between 2300 and 4000 a straight line from laminar "
    "flow, as Int. J. Heat Mass Transfer 63 (2013) 134-140, "
    "doi:10.1016/j.ijheatmasstransfer.2013.04.015",
    ranges=(Range("Reynolds number", 2300.0, 1e6), Range("Prandtl number", 0.5, 2000.0)),
    spread="within 10 to 20 % (from memory)",
    instead="laminar flow was taken",
)

SHAH_1979 = Correlation(
    name="Shah's film condensation",
    source="M. M. Shah, A general correlation for heat transfer during film condensation inside "
    "pipes, Int. J. Heat Mass Transfer 22 (1979) 547-556, doi:10.1016/0017-9310(79)90058-9; ranges "
    "from memory",
    ranges=(
        Range("reduced pressure", 0.002, 0.44),
        Range("mass flux", 11.0, 1600.0, "kg/(m² s)"),
        Range("diameter", 7.0e-3, 40.0e-3, "m"),
    ),
    spread="mean deviation 15 % of the data that it was made from (from memory)",
)

_LAMINAR_TO, _TURBULENT_FROM = 2300.0, 4000.0


def friction_konakov(re: ArrayLike) -> Floats:
    """Darcy's friction factor of smooth tubes, turbulent: (1.8 log10 Re - 1.5)^-2.

    P. K. Konakov (1946), as V. Gnielinski (2013) takes it.
    """
    return np.asarray((1.8 * np.log10(np.asarray(re, dtype=float)) - 1.5) ** -2.0)


def nusselt_gnielinski(re: ArrayLike, prandtl: ArrayLike) -> Floats:
    """Nusselt number of turbulent flow in long smooth tubes. Source: `GNIELINSKI_1976`."""
    number, pr = np.asarray(re, dtype=float), np.asarray(prandtl, dtype=float)
    part = friction_konakov(number) / 8.0
    below = 1.0 + 12.7 * np.sqrt(part) * (pr ** (2.0 / 3.0) - 1.0)
    return np.asarray(part * (number - 1000.0) * pr / below)


def nusselt_in_tubes(re: ArrayLike, prandtl: ArrayLike, laminar: ArrayLike = 3.66) -> Floats:
    """Nusselt number at any Reynolds number, never falling: laminar, a straight line, turbulent.

    laminar: 3.66 round with walls of one temperature; up to 7.54 for very flat tubes (R. K. Shah,
    A. L. London, 1978).
    """
    number = np.asarray(re, dtype=float)
    from_ = np.asarray(laminar, dtype=float)
    start = nusselt_gnielinski(_TURBULENT_FROM, prandtl)
    share = np.clip((number - _LAMINAR_TO) / (_TURBULENT_FROM - _LAMINAR_TO), 0.0, 1.0)
    turbulent = nusselt_gnielinski(np.maximum(number, _TURBULENT_FROM), prandtl)
    return np.asarray(np.where(share < 1.0, (1 - share) * from_ + share * start, turbulent))


def nusselt_dittus_boelter(re: ArrayLike, prandtl: ArrayLike) -> Floats:
    """0.023 Re^0.8 Pr^0.4, which Shah's condensation rests on."""
    return np.asarray(0.023 * np.asarray(re, dtype=float) ** 0.8 * np.asarray(prandtl) ** 0.4)


# ∫ x^0.76 (1 - x)^0.04 dx from 0 to 1.
_MEAN_OF_SHAH = math.gamma(1.76) * math.gamma(1.04) / math.gamma(2.80)


def condensing_coefficient_shah(liquid_only: ArrayLike, reduced_pressure: ArrayLike) -> Floats:
    """Mean over a tube in which all vapour condenses, from all vapour to none. Source: `SHAH_1979`.

    liquid_only: W/(m² K) if all ran as liquid, by `nusselt_dittus_boelter`. The published local
    form is integrated over quality: 0.556 + 2.04 / p_r^0.38 (Shah himself has 0.55 + 2.09).
    """
    pr = np.asarray(reduced_pressure, dtype=float)
    return np.asarray(np.asarray(liquid_only) * (1 / 1.8 + 3.8 * _MEAN_OF_SHAH / pr**0.38))


def overall(outside: ArrayLike, inside: ArrayLike) -> Floats:
    """Conductance of two resistances behind one another; the tube's own wall counts as none."""
    a, b = np.asarray(outside, dtype=float), np.asarray(inside, dtype=float)
    return np.asarray(a * b / (a + b))
