"""Fan blades: twisted plates of constant projected width, and their corners.

A blade is a ruled solid between a section at the spider and one at the tip, both square to the
blade's own radius. In each the plate runs slantwise from the leading plane to the trailing plane;
its angle to the plane of rotation falls from root to tip, as a propeller's does, because every
section covers the same angle seen from the front.

The eight corners hold all of it: the flanks are ruled between them, so that the blade lies within
the corners' hull, the hull within two planes, and each corner of the tip on the tip's circle.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.survey.features import vector

COVER = 0.35
"""Share of the circle that the blades cover: common practice. It shapes what is drawn, not what is
checked."""


def sector_rad(count: int) -> float:
    """The angle that one blade of so many covers, seen from the front."""
    return COVER * 2.0 * math.pi / count


def section(half_chord: Any, width: Any, thickness: Any, lead: float) -> tuple[Any, ...]:
    """Tangential places of a section's corners: two in the leading plane, two in the trailing.

    half_chord, width, thickness: mm. lead: +1 when the blade moves towards growing values, else -1:
    the leading edge goes first. The plate, square to itself, is never thinner than `thickness`.
    """
    shift = thickness * (1.0 + (2.0 * half_chord / width) ** 2) ** 0.5
    return (
        lead * half_chord,
        lead * (half_chord - shift),
        -lead * half_chord,
        -lead * (half_chord - shift),
    )


def corners(
    count: int, root: Any, tip: Any, front: Any, width: Any, thickness: Any, *, clockwise: bool
) -> NDArray[Any]:
    """Corners of every blade, (count, 2, 4, ..., 3) mm: section (root, tip), then round it.

    root: radius at which the blades begin, mm. tip: radius of the tips, mm. front: x of the leading
    plane. width: projected width, mm. The first blade points up; more follow clockwise as seen from
    the front of the car. Floats, complex numbers or batches (...).
    """
    half = sector_rad(count) / 2.0
    lead = 1.0 if clockwise else -1.0
    levels = ((root, root * math.tan(half)), (tip * math.cos(half), tip * math.sin(half)))
    made = []
    for number in range(count):
        turn = 2.0 * math.pi * number / count
        c, s = math.cos(turn), math.sin(turn)
        for height, half_chord in levels:
            ends = section(half_chord, width, thickness, lead)
            for x, along in zip((front, front, front + width, front + width), ends, strict=True):
                # Up is the blade's radius and the car's left its tangent, both turned by `turn`.
                made.append(vector(x, -(height * s + along * c), height * c - along * s))
    stacked = np.stack(np.broadcast_arrays(*made))
    return stacked.reshape(count, 2, 4, *stacked.shape[1:])
