"""A piece's number, cut shallow into the face that lies on the bed."""

from __future__ import annotations

from typing import Any

import numpy as np

from noseroom.geometry.split_solids import Solid, box_solid, section, union

_STROKES = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
}
"""Strokes of each digit: a top, b and c right, d bottom, e and f left, g middle."""
_WIDE, _GAP, _STROKE = 0.55, 0.25, 0.15  # of the height
_EDGE_MM = 1.5
_LOOK_MM = 0.01
_SHARES = (1.0, 0.75, 0.5)  # of the height that is wanted, tried in order
_MORE_MM = 1.0


def cut_number(solid: Solid, number: int, height_mm: float, depth_mm: float) -> tuple[Solid, float]:
    """The solid with its number in the face at z = 0, to be read from below, and its height.

    Where there is no flat room for it, the solid as it is and 0.
    """
    room = section(solid, 2, _LOOK_MM).buffer(-_EDGE_MM)
    for share in _SHARES:
        high = share * height_mm
        place = _place(room, _width(number, high), high)
        if place is not None:
            return solid - union(_strokes(number, place, high, depth_mm)), high
    return solid, 0.0


def _width(number: int, high: float) -> float:
    count = len(str(number))
    return high * (count * _WIDE + (count - 1) * _GAP)


def _place(room: Any, wide: float, high: float) -> tuple[float, float] | None:
    """The middle of a text in the widest part of a face."""
    from shapely import box, maximum_inscribed_circle

    if room.is_empty:
        return None
    largest = max(getattr(room, "geoms", [room]), key=lambda one: round(one.area, 3))
    middle = maximum_inscribed_circle(largest, tolerance=0.5).coords[0]
    u, v = middle[0], middle[1]
    if not largest.contains(box(u - wide / 2, v - high / 2, u + wide / 2, v + high / 2)):
        return None
    return u, v


def _strokes(number: int, middle: tuple[float, float], high: float, depth: float) -> list[Solid]:
    """The strokes as boxes; seen from below, the number runs against x."""
    digit, thick = _WIDE * high, _STROKE * high
    left, top, right = 0.0, high, digit
    half = high / 2
    boxes = {
        "a": (left, top - thick, right, top),
        "b": (right - thick, half - thick / 2, right, top),
        "c": (right - thick, 0.0, right, half + thick / 2),
        "d": (left, 0.0, right, thick),
        "e": (left, 0.0, left + thick, half + thick / 2),
        "f": (left, half - thick / 2, left + thick, top),
        "g": (left, half - thick / 2, right, half + thick / 2),
    }
    made = []
    start = -_width(number, high) / 2
    for k, figure in enumerate(str(number)):
        across = start + k * (digit + _GAP * high)
        for stroke in _STROKES[figure]:
            x0, y0, x1, y1 = boxes[stroke]
            made.append(
                box_solid(
                    np.array([middle[0] - across - x1, middle[1] - high / 2 + y0, -_MORE_MM]),
                    np.array([middle[0] - across - x0, middle[1] - high / 2 + y1, depth]),
                )
            )
    return made
