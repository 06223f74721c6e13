"""Wires: what they lose, which one to take, which fuse; and what an alternator takes for it.

Disconnect the battery before any work on wires, and put the fuse next to the battery: a wire
without one burns when it chafes through. Local codes stand above these figures.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats

__all__ = [
    "alternator_shaft_power",
    "awg_area",
    "awg_diameter",
    "copper_resistance",
    "fuse_for",
    "resistivity_of_copper",
    "voltage_drop",
    "wire_for",
]

_COPPER_20 = 1.7241e-8
"""Ω m of annealed copper at 20 °C, 100 % IACS (IEC 60028)."""
_COPPER_RISE = 0.00393
"""1/K at 20 °C, of the same (IEC 60028)."""
_INCH = 0.0254


def awg_diameter(gauge: ArrayLike) -> Floats:
    """Of a solid wire, m: 0.005 in × 92^((36 - n) / 39) (ASTM B258). 1/0 is 0, 2/0 is -1."""
    n = np.asarray(gauge, dtype=float)
    return np.asarray(0.005 * _INCH * 92.0 ** ((36.0 - n) / 39.0))


def awg_area(gauge: ArrayLike) -> Floats:
    """Of a solid wire, m² (ASTM B258). Automotive wire of the same number has less: SAE J1128."""
    return np.asarray(math.pi / 4.0 * awg_diameter(gauge) ** 2)


def resistivity_of_copper(celsius: ArrayLike = 20.0) -> Floats:
    """Ω m: 1.7241e-8 at 20 °C, and 0.393 % of that more a degree (IEC 60028)."""
    t = np.asarray(celsius, dtype=float)
    return np.asarray(_COPPER_20 * (1.0 + _COPPER_RISE * (t - 20.0)))


def copper_resistance(area_m2: ArrayLike, celsius: ArrayLike = 20.0) -> Floats:
    """Ω/m of a copper wire."""
    return np.asarray(resistivity_of_copper(celsius) / np.asarray(area_m2, dtype=float))


def voltage_drop(
    current: ArrayLike, loop_m: ArrayLike, area_m2: ArrayLike, celsius: ArrayLike = 20.0
) -> Floats:
    """V along a wire. loop_m: there and back, where the way back is a wire and not the body."""
    length = np.asarray(loop_m, dtype=float)
    return np.asarray(np.asarray(current) * length * copper_resistance(area_m2, celsius))


def wire_for(
    current: float,
    loop_m: float,
    sizes: Mapping[int, tuple[float, float]],
    *,
    most_drop_v: float,
    celsius: float,
) -> int | None:
    """The thinnest wire that carries a current and loses no more than a voltage; None for none.

    sizes: area m² and greatest current A by gauge.
    """
    fitting = [
        (area, gauge)
        for gauge, (area, amps) in sizes.items()
        if amps >= current and float(voltage_drop(current, loop_m, area, celsius)) <= most_drop_v
    ]
    return min(fitting)[1] if fitting else None


def fuse_for(
    current: float, ratings: Iterable[float], wire_amps: float, over_load: tuple[float, float]
) -> float | None:
    """The least fuse that bears a load for long and that its wire still bears; None for none.

    over_load: least and greatest rating over current, see `noseroom.tables.circuits.loads`. Only
    the least binds: ratings come in steps, so that the next one may lie above the greatest.
    """
    least = current * over_load[0]
    fitting = [one for one in sorted(ratings) if least - 1e-9 <= one <= wire_amps + 1e-9]
    return fitting[0] if fitting else None


def alternator_shaft_power(
    current: ArrayLike, efficiency: ArrayLike, volts: ArrayLike = 13.8
) -> Floats:
    """W that an alternator takes from its belt for a current. efficiency: 0 to 1."""
    watts = np.asarray(current, dtype=float) * np.asarray(volts, dtype=float)
    return np.asarray(watts / np.asarray(efficiency, dtype=float))
