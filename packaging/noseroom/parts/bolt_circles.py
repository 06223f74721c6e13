"""Bolt holes evenly round a circle, as ports."""

from __future__ import annotations

import math

import numpy as np

from noseroom.parts.base import Port


def bolt_ports(
    count: int, circle_mm: float, x_mm: float = 0.0, hole_mm: float = 0.0
) -> dict[str, Port]:
    """Holes "bolt 1" and on, from 12 o'clock clockwise seen from the front, facing ahead.

    circle_mm: diameter through their middles. x_mm: of the face that they are in, local frame.
    """
    ahead = np.array([-1.0, 0.0, 0.0])
    found = {}
    for number in range(count):
        turn = 2.0 * math.pi * number / count
        way = np.array([0.0, -math.sin(turn), math.cos(turn)])
        middle = circle_mm / 2 * way + np.array([x_mm, 0.0, 0.0])
        found[f"bolt {number + 1}"] = Port(middle, ahead, hole_mm)
    return found
