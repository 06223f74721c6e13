"""What shakes a bracket: the engine's firing at idle, and the road by a random profile."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["Profile", "firing_hz", "first_order_hz", "miles"]

_SECONDS_PER_MINUTE = 60.0


def first_order_hz(speed_rpm: float) -> float:
    """Once a turn of the crankshaft, Hz: what is out of balance shakes at it."""
    return speed_rpm / _SECONDS_PER_MINUTE


def firing_hz(cylinders: int, speed_rpm: float) -> float:
    """How often an evenly firing four-stroke engine fires, Hz: each cylinder every second turn.

    A V8 at 600 rpm fires 40 times a second. Raises ValueError for no cylinder.
    """
    if cylinders < 1:
        raise ValueError(f"found {cylinders} cylinders; expected one at least")
    return first_order_hz(speed_rpm) * cylinders / 2.0


def miles(hz: float, quality: float, density: float) -> float:
    """R.m.s. acceleration of a single mass on a spring under white noise: √(π/2 · f · Q · W).

    density: W, of the base's acceleration, (m/s²)²/Hz; the answer is in m/s² (in g²/Hz and g as
    well). Miles' equation as NASA Goddard's finite element page has it (R. Simmons, 2001), where
    three times this is the load to design for.
    """
    return math.sqrt(math.pi / 2.0 * hz * quality * density)


@dataclass(frozen=True)
class Profile:
    """Acceleration's spectral density by corner points, straight lines on log-log paper between.

    points: (Hz, (m/s²)²/Hz), frequencies rising.
    """

    points: tuple[tuple[float, float], ...]

    def density(self, hz: float) -> float:
        """At one frequency, (m/s²)²/Hz; outside of its corners what the nearest has."""
        if hz <= self.points[0][0]:
            return self.points[0][1]
        for (low, at_low), (high, at_high) in pairwise(self.points):
            if hz <= high:
                slope = math.log(at_high / at_low) / math.log(high / low)
                return float(at_low * (hz / low) ** slope)
        return self.points[-1][1]

    @property
    def rms(self) -> float:
        """Root of the area below it, m/s²."""
        return math.sqrt(sum(_area(*pair) for pair in pairwise(self.points)))

    def response(self, hz: float, quality: float) -> float:
        """R.m.s. acceleration of what has this natural frequency, by Miles' equation, m/s²."""
        return miles(hz, quality, self.density(hz))

    def worst_response(self, low_hz: float, high_hz: float, quality: float) -> float:
        """The highest response of any natural frequency between the two, m/s².

        f W(f) is a power of f between two corners: its highest lies at one of them, or at an end.
        """
        inside: Sequence[float] = [hz for hz, _ in self.points if low_hz < hz < high_hz]
        return max(self.response(hz, quality) for hz in (low_hz, *inside, high_hz))


def _area(start: tuple[float, float], end: tuple[float, float]) -> float:
    """Below a straight line on log-log paper."""
    (low, at_low), (high, at_high) = start, end
    slope = math.log(at_high / at_low) / math.log(high / low)
    if abs(slope + 1.0) < 1e-9:
        return at_low * low * math.log(high / low)
    return (at_high * high - at_low * low) / (slope + 1.0)
