"""How cold an evaporator gets: where the compressor takes what it takes up. SI."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.physics.loops import evaporating_pressure
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_parts import Compression

__all__ = ["Coil", "coil_near"]

_BESIDE, _BESIDE_K = 1e-4, 1e-3


@dataclass(frozen=True, eq=False)
class Coil:
    """The evaporator's temperature near a condensing pressure, K: a straight line over log Pa.

    The line goes on where the coil is held, so that `at` is one function there too. warm: where the
    load is more than the compressor takes even at the warmest. exact: reckon anew at each pressure,
    instead of the line.
    """

    log_pa: Floats
    kelvin: Floats
    slope: Floats
    warm: NDArray[np.bool_]
    exact: bool = False

    def at(self, log_pa: Floats, compression: Compression) -> Floats:
        """At another pressure, never beyond what the coil's temperature is held between."""
        if self.exact:
            return _agreed(compression, log_pa)
        there = self.kelvin + self.slope * (log_pa - self.log_pa)
        return np.clip(there, compression.evaporating_k, compression.warmest_k)


def _agreed(compression: Compression, log_pa: Floats) -> Floats:
    """Where compressor and load agree at pressures; the coldest where that is no number."""
    least, most = (
        np.broadcast_to(np.asarray(one, dtype=float), log_pa.shape)
        for one in (compression.evaporating_k, compression.warmest_k)
    )
    if np.all(least >= most):
        return least
    found, _, warm = evaporating_pressure(
        compression.loop, np.exp(log_pa), compression.load_at, least_k=least, most_k=most
    )
    coil = np.where(warm, most, compression.loop.fluid.saturation_temperature(found))
    return np.where(np.isfinite(coil), coil, least)


def coil_near(compression: Compression, log_pa: Floats, last: Coil, *, afresh: bool) -> Coil:
    """Where compressor and load agree near a pressure; as before where that is no number.

    afresh: look over the whole range; else one of Newton's steps from where it was last, which the
    rounds bring to its end.
    """
    least, most = (
        np.broadcast_to(np.asarray(one, dtype=float), log_pa.shape)
        for one in (compression.evaporating_k, compression.warmest_k)
    )
    if np.all(least >= most):
        return last
    loop, fluid = compression.loop, compression.loop.fluid
    kelvin = last.at(log_pa, compression)
    if afresh:
        kelvin = _agreed(compression, log_pa)
    # Backwards from the warm end, so that no trial is beyond it.
    coils = np.stack([kelvin, kelvin - _BESIDE_K, kelvin])
    logs = np.stack([log_pa, log_pa, log_pa - _BESIDE])
    spare = loop.between(fluid.saturation_pressure(coils), np.exp(logs)).cooling
    spare = spare - compression.load_at(coils)
    by_coil = (spare[0] - spare[1]) / _BESIDE_K
    by_log = (spare[0] - spare[2]) / _BESIDE
    with np.errstate(all="ignore"):
        agreed, slope = kelvin - spare[0] / by_coil, -by_log / by_coil
    known = np.isfinite(agreed) & np.isfinite(slope)
    warm = known & (agreed >= most) & (spare[0] < 0)
    return Coil(log_pa, np.where(known, agreed, kelvin), np.where(known, slope, 0.0), warm)
