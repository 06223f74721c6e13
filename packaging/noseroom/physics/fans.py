"""Fans: their laws, a curve from points, and what one point says of a curve.

Flows m³/s, pressures Pa (static rise), speeds in any one unit, densities kg/m³. A spinning fan
takes fingers, and an electric one may start with the engine off: keep clear of both.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.physics.ranges import Correlation, Floats, OutsideRange, Range
from noseroom.physics.solving import Roots, roots_between

__all__ = [
    "STANDARD_DENSITY",
    "FanCurve",
    "curve_through_point",
    "fan_laws",
    "operating_point",
    "parabola_through_point",
]

STANDARD_DENSITY = 1.2
"""kg/m³ that fan curves are given at (ISO 5801, standard air)."""


def fan_laws(
    flow: ArrayLike,
    pressure: ArrayLike,
    power: ArrayLike,
    *,
    speed_ratio: ArrayLike = 1.0,
    density_ratio: ArrayLike = 1.0,
    size_ratio: ArrayLike = 1.0,
) -> tuple[Floats, Floats, Floats]:
    """Flow, pressure and power of a fan at another speed, density and size (similarity).

    Flow goes with n D³, pressure with ρ n² D², power with ρ n³ D⁵ (ISO 5801, fan laws). Exact only
    while Reynolds numbers are alike: to about a third of the speed, from memory.
    """
    n, rho, d = (np.asarray(one, dtype=float) for one in (speed_ratio, density_ratio, size_ratio))
    return (
        np.asarray(np.asarray(flow) * n * d**3),
        np.asarray(np.asarray(pressure) * rho * n**2 * d**2),
        np.asarray(np.asarray(power) * rho * n**3 * d**5),
    )


@dataclass(frozen=True, eq=False)
class FanCurve:
    """Static pressure by flow of one fan at one speed, between the first and the last point.

    flows: (k,) m³/s, rising. pressures: (k,) Pa, falling. speed: in any unit. density: of the air
    that it was measured in. source: who says so.

    A monotone cubic runs through the points (F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17
    (1980) 238-246, doi:10.1137/0717021); beyond them there is nothing, and asking gives nan.

    Raises ValueError for points that are none or do not fall: a fan's curve has a dip where it
    stalls, and no one answer there; leave out the points to the left of it.
    """

    flows: Floats
    pressures: Floats
    speed: float
    density: float = STANDARD_DENSITY
    source: str = ""

    @classmethod
    def through(
        cls,
        points: Sequence[tuple[float, float]],
        speed: float,
        density: float = STANDARD_DENSITY,
        source: str = "",
    ) -> FanCurve:
        """Through points of (flow, pressure) in any order."""
        ordered = sorted(points)
        flows, pressures = np.asarray(ordered, dtype=float).reshape(-1, 2).T
        return cls(flows, pressures, speed, density, source)

    def __post_init__(self) -> None:
        flows, pressures = self.flows, self.pressures
        if len(flows) < 2:
            raise ValueError(f"found {len(flows)} points of a fan's curve; expected two or more")
        if not (np.isfinite(flows).all() and np.isfinite(pressures).all() and flows[0] >= 0):
            raise ValueError("found a point that is no flow and pressure; expected numbers from 0")
        for k in range(1, len(flows)):
            if flows[k] <= flows[k - 1] or pressures[k] >= pressures[k - 1]:
                raise ValueError(
                    f"found {pressures[k]:g} Pa at {flows[k]:g} m³/s after {pressures[k - 1]:g} Pa "
                    f"at {flows[k - 1]:g} m³/s; expected more flow at less pressure"
                )
        if not (self.speed > 0 and self.density > 0):
            raise ValueError(
                f"found speed {self.speed:g} and density {self.density:g}; expected more than 0"
            )

    @cached_property
    def _spline(self) -> Any:
        from scipy.interpolate import PchipInterpolator

        return PchipInterpolator(self.flows, self.pressures, extrapolate=False)

    @property
    def correlation(self) -> Correlation:
        """Where the curve is known."""
        return Correlation(
            "the fan's curve",
            self.source,
            (Range("flow", float(self.flows[0]), float(self.flows[-1]), "m³/s"),),
            "as its points",
            "there is no answer",
        )

    def _ratios(self, speed: ArrayLike | None, density: ArrayLike | None) -> tuple[Floats, Floats]:
        n = np.asarray(self.speed if speed is None else speed, dtype=float) / self.speed
        return n, np.asarray(self.density if density is None else density) / self.density

    def pressure(
        self, flow: ArrayLike, speed: ArrayLike | None = None, density: ArrayLike | None = None
    ) -> Floats:
        """Pa at a flow; nan beyond the points."""
        n, rho = self._ratios(speed, density)
        with np.errstate(all="ignore"):
            at = self._spline(np.asarray(flow, dtype=float) / n)
        return np.asarray(at * rho * n**2, dtype=float)

    def ends(self, speed: ArrayLike | None = None) -> tuple[Floats, Floats]:
        """Least and greatest flow that there are points for, m³/s."""
        n, _ = self._ratios(speed, None)
        return np.asarray(self.flows[0] * n), np.asarray(self.flows[-1] * n)

    def outside(self, flow: ArrayLike, speed: ArrayLike | None = None) -> tuple[OutsideRange, ...]:
        """Whether flows lie beyond the points, brought to the curve's own speed."""
        n, _ = self._ratios(speed, None)
        return self.correlation.outside(flow=np.asarray(flow, dtype=float) / n)


def parabola_through_point(
    flow: ArrayLike, at_flow: ArrayLike, at_pressure: ArrayLike, steepness: ArrayLike
) -> Floats:
    """Pa of a fan of which one point is known: p = p₁ (1 + s (1 - (Q/Q₁)²)).

    steepness: s, by which share of it the pressure at no flow is above the known one; a band of
    `noseroom.tables.heat`, for one point says nothing of a curve's slope. Never rises with flow.
    """
    share = np.asarray(flow, dtype=float) / np.asarray(at_flow, dtype=float)
    s = np.asarray(steepness, dtype=float)
    return np.asarray(np.asarray(at_pressure) * (1.0 + s * (1.0 - share * np.abs(share))))


def curve_through_point(
    flow: float,
    pressure: float,
    speed: float,
    steepness: float,
    density: float = STANDARD_DENSITY,
    points: int = 9,
) -> FanCurve:
    """A curve through one known point, from no flow to no pressure, by `parabola_through_point`."""
    free = flow * float(np.sqrt(1.0 + 1.0 / steepness))
    flows = np.linspace(0.0, free, points)
    pressures = parabola_through_point(flows, flow, pressure, steepness)
    source = f'one point and a steepness of {steepness:g}, see the band "fan steepness"'
    return FanCurve(flows, pressures, speed, density, source)


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """Where a fan meets what resists it.

    flow: m³/s, pressure: Pa; nan where they do not meet. met: (...). remark: "" where all meet;
    else in words why not.
    """

    flow: Floats
    pressure: Floats
    met: NDArray[np.bool_]
    remark: str


def operating_point(
    fan: Callable[[Floats], Floats],
    system: Callable[[Floats], Floats],
    low: ArrayLike,
    high: ArrayLike,
) -> OperatingPoint:
    """The flow at which a fan's pressure is what the system takes.

    fan, system: (...) m³/s to (...) Pa, the one falling and the other rising. low, high: between
    which flows to look, such as `FanCurve.ends`.
    """
    found = roots_between(lambda q: np.asarray(fan(q) - system(q)), low, high)
    return OperatingPoint(found.x, np.asarray(fan(found.x)), found.found, _why(found))


def _why(found: Roots) -> str:
    if found.found.all():
        return ""
    missed = ~found.found
    of = f"{int(missed.sum())} of {missed.size}"
    if (found.at_high[missed] > 0).all():
        return f"the fan still overcomes the system at its last point in {of}: give points beyond"
    if (found.at_low[missed] < 0).all():
        return f"the system asks for more than the fan's first point in {of}: it cannot blow there"
    return f"fan and system were not brought together in {of}"
