"""Plain fins: air in narrow rectangular channels, laminar and still developing.

Older tube-and-fin cores have flat or slightly dimpled fins. What is smooth follows from theory;
what dimples and waves add is a band of `noseroom.tables.heat`, for no printed figure was found.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = [
    "MUZYCHKA_YOVANOVICH_2004",
    "apparent_friction_muzychka_yovanovich",
    "nusselt_muzychka_yovanovich",
    "nusselt_stephan_1959",
]

MUZYCHKA_YOVANOVICH_2004 = Correlation(
    name="Muzychka and Yovanovich's laminar duct",
    source="Y. S. Muzychka, M. M. Yovanovich, Laminar forced convection heat transfer in the "
    "combined entry region of non-circular ducts, J. Heat Transfer 126 (2004) 54-61, "
    "doi:10.1115/1.1643752; coefficients from memory",
    ranges=(Range("Reynolds number", 0.0, 2300.0),),
    spread="within 15 % of the exact solutions (from memory)",
    instead="the laminar formula was carried on, so this part of the answer is a guess",
)

_NUSSELT_BY_ASPECT = (7.541, -2.610, 4.970, -5.119, 2.702, -0.548)
"""Of developed flow between walls of one temperature, by powers of the aspect: 7.541 (1 - 2.610 a
+ 4.970 a² - 5.119 a³ + 2.702 a⁴ - 0.548 a⁵). R. K. Shah, A. L. London, Laminar Flow Forced
Convection in Ducts (1978), eq. 348; from memory."""


def _developed_friction(aspect: Floats) -> Floats:
    """Friction of developed flow, f Re, on the root of the area as length."""
    correction = 1.0 - 192.0 * aspect / math.pi**5 * np.tanh(math.pi / (2.0 * aspect))
    return np.asarray(12.0 / (np.sqrt(aspect) * (1.0 + aspect) * correction))


def _channel(width_m: ArrayLike, height_m: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Aspect of 0 to 1, root of the area, and hydraulic diameter of a rectangle."""
    a, b = np.asarray(width_m, dtype=float), np.asarray(height_m, dtype=float)
    return (
        np.asarray(np.minimum(a, b) / np.maximum(a, b)),
        np.asarray(np.sqrt(a * b)),
        np.asarray(2.0 * a * b / (a + b)),
    )


def apparent_friction_muzychka_yovanovich(
    re: ArrayLike, *, width_m: ArrayLike, height_m: ArrayLike, length_m: ArrayLike
) -> Floats:
    """Fanning's f of a rectangular channel over its length, with what starting the flow takes.

    re: on the hydraulic diameter. Laminar. Source: `MUZYCHKA_YOVANOVICH_2004`.
    """
    aspect, root, hydraulic = _channel(width_m, height_m)
    on_root = np.asarray(re, dtype=float) * root / hydraulic
    far = np.asarray(length_m, dtype=float) / (root * on_root)
    developed = _developed_friction(aspect)
    return np.asarray(np.sqrt((3.44 / np.sqrt(far)) ** 2 + developed**2) / on_root)


def nusselt_muzychka_yovanovich(
    re: ArrayLike,
    prandtl: ArrayLike,
    *,
    width_m: ArrayLike,
    height_m: ArrayLike,
    length_m: ArrayLike,
) -> Floats:
    """Mean Nusselt number of a rectangular channel with walls of one temperature.

    re and the answer: on the hydraulic diameter. Velocity and temperature both develop from the
    inlet on. Laminar. Source: `MUZYCHKA_YOVANOVICH_2004`, with the value for developed flow of Shah
    and London in place of its approximation, which is up to 14 % too high for rectangles.
    """
    aspect, root, hydraulic = _channel(width_m, height_m)
    pr = np.asarray(prandtl, dtype=float)
    on_root = np.asarray(re, dtype=float) * root / hydraulic
    far = np.asarray(length_m, dtype=float) / (root * on_root * pr)
    friction = _developed_friction(aspect)
    power = 2.27 + 1.65 * pr ** (1.0 / 3.0)
    inlet = 0.564 / (1.0 + (1.664 * pr ** (1.0 / 6.0)) ** 4.5) ** (2.0 / 9.0)
    starting = 2.0 * inlet / np.sqrt(far)
    first, *others = _NUSSELT_BY_ASPECT
    shape = 1.0 + sum(each * aspect ** (k + 1) for k, each in enumerate(others))
    developed = first * shape * root / hydraulic
    thermal = 1.5 * 0.409 * (friction / far) ** (1.0 / 3.0)
    both = (thermal**5 + developed**5) ** (power / 5.0)
    return np.asarray((starting**power + both) ** (1.0 / power) * hydraulic / root)


def nusselt_stephan_1959(re: ArrayLike, prandtl: ArrayLike, slenderness: ArrayLike) -> Floats:
    """Mean Nusselt number between two wide plates of one temperature, both developing.

    re: on the hydraulic diameter, twice the gap. slenderness: hydraulic diameter over length.
    Laminar, 0.1 < Pr < 1000. K. Stephan, Chem.-Ing.-Tech. 31 (1959) 773-778, as the VDI Heat Atlas
    (2013) prints it, part G, eq. 45.
    """
    graetz = np.asarray(re, dtype=float) * np.asarray(prandtl) * np.asarray(slenderness)
    pr = np.asarray(prandtl, dtype=float)
    return np.asarray(7.55 + 0.024 * graetz**1.14 / (1.0 + 0.0358 * graetz**0.64 * pr**0.17))
