"""A mechanical fan of which only the shape is known: a curve with a band, by blade elements.

The blade at seven tenths of the radius stands for all of it. Its lift is a thin aerofoil's, less by
a share, up to a stall, and what it does to the air is a pressure over the ring that it sweeps. None
of the constants was measured on such fans, so each is a band (`noseroom.tables.heat`), and the
curve that comes of it is no better than a factor of about two in pressure. One real point of the
fan, by `fans.curve_through_point`, is worth far more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, OutsideRange, Range

__all__ = ["BLADE_ELEMENT", "BladeFigures", "ShapeCurve", "fan_from_geometry", "pitch_angle_of"]

BLADE_ELEMENT = Correlation(
    name="a fan from its shape",
    source="blade elements with a thin aerofoil's lift, as in R. A. Wallis, Axial Flow Fans and "
    "Ducts (1983); constants from memory",
    ranges=(
        Range("solidity", 0.1, 1.0),
        Range("pitch angle", 0.17, 0.79, "rad"),
        Range("hub share", 0.15, 0.5),
    ),
    spread="not known; the bands of its constants stand for it",
)

_STATION = 0.7
_STEPS = 17
_LEAST_SLOPE = 1e-3


@dataclass(frozen=True, eq=False)
class BladeFigures:
    """What nobody knows of a fan's blades, numbers or draws; bands of `noseroom.tables.heat`.

    lift_slope: share of 2π a radian. most_lift, drag: coefficients. camber_rad: the angle that
    camber adds. left: share of the pressure that tip gap, hub and struts leave. passed: share of
    the flow that goes through and does not turn back at tips and hub.
    """

    lift_slope: ArrayLike
    most_lift: ArrayLike
    drag: ArrayLike
    camber_rad: ArrayLike
    left: ArrayLike
    passed: ArrayLike


@dataclass(frozen=True, eq=False)
class ShapeCurve:
    """A fan's curve by its shape. flows, pressures: (..., 17) m³/s and Pa. remarks: what is odd."""

    flows: Floats
    pressures: Floats
    remarks: tuple[OutsideRange, ...]


def pitch_angle_of(chord: ArrayLike, projected_width: ArrayLike) -> Floats:
    """Rad between a blade and the plane that it turns in.

    chord: along the blade. projected_width: how deep the blade is along the shaft, as one measures
    a fan's depth. Raises ValueError for a blade that is deeper than it is long.
    """
    c, w = np.asarray(chord, dtype=float), np.asarray(projected_width, dtype=float)
    if not ((w > 0) & (w < c)).all():
        raise ValueError("found a blade deeper than its chord; expected its depth below its chord")
    return np.asarray(np.arcsin(w / c))


def fan_from_geometry(
    *,
    diameter: float,
    hub_diameter: float,
    blades: int,
    chord: float,
    projected_width: float,
    speed_rpm: ArrayLike,
    density: ArrayLike,
    figures: BladeFigures,
) -> ShapeCurve:
    """Flows and static pressures from none to where the blades lift nothing.

    Lengths m; chord and projected_width at seven tenths of the radius. speed_rpm, density and
    figures may be draws (...). Pressures fall strictly; where the blade is stalled they are held at
    what they are where it stalls, since a curve that bends back has no one answer. The last ones
    are below nothing: there the fan is blown through and holds the air up.
    """
    radius, hub = diameter / 2.0, hub_diameter / 2.0
    station = _STATION * radius
    area = math.pi * (radius**2 - hub**2)
    solidity = blades * chord / (math.tau * station)
    beta = pitch_angle_of(chord, projected_width)
    drawn = (
        speed_rpm, density, figures.lift_slope, figures.most_lift, figures.drag,
        figures.camber_rad, figures.left, figures.passed,
    )  # fmt: skip
    rpm, rho, slope, most, drag, camber, left, passed = (
        one[..., None] for one in np.broadcast_arrays(*(np.asarray(d, dtype=float) for d in drawn))
    )
    turning = rpm * math.tau / 60.0 * station
    # At this advance the blade lifts nothing any more.
    free = turning * np.tan(beta + camber)
    axial = free * np.linspace(0.0, 1.0, _STEPS)
    inflow = np.arctan2(axial, turning)
    lift = np.minimum(slope * math.tau * np.sin(beta + camber - inflow), most)
    head = 0.5 * rho * solidity * (turning**2 + axial**2)
    total = head * (lift * np.cos(inflow) - drag * np.sin(inflow))
    # Thrust over area is the rise of static pressure over the disc; of the air's own velocity ahead
    # of it, which the fan had to make, nothing comes back.
    static = left * total - 0.5 * rho * axial**2
    falling = np.maximum.accumulate(static[..., ::-1], axis=-1)[..., ::-1]
    tilt = _LEAST_SLOPE * rho * turning**2 * np.linspace(1.0, 0.0, _STEPS)
    remarks = BLADE_ELEMENT.outside(
        solidity=solidity, pitch_angle=beta, hub_share=hub_diameter / diameter
    )
    return ShapeCurve(np.asarray(passed * axial * area), np.asarray(falling + tilt), remarks)
