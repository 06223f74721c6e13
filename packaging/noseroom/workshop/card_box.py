"""A closed box of card with fingers along its edges, and ribs behind its large faces."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from noseroom.tables.card import card_mm
from noseroom.workshop.card_joints import Ends, Works, joined, rect

Floats = NDArray[np.float64]

_FACES = (("front", "rear"), ("left", "right"), ("bottom", "top"))


def closed_box(works: Works, name: str, low: Floats, high: Floats) -> None:
    """Six panels between two corners (3,), called after the name and their side.

    It is flat fore and aft: front and rear are the large faces, the rear one lies down first, and
    the front one closes it.
    """
    ends = [(float(a), float(b)) for a, b in zip(low, high, strict=True)]
    _face(works, name, ends, 0, 1)
    _ribs(works, name, ends)
    for normal in (1, 2):
        for side in (0, 1):
            _face(works, name, ends, normal, side)
    _face(works, name, ends, 0, 0)
    finger = card_mm("finger")
    for large in _FACES[0]:
        for edge in (*_FACES[1], *_FACES[2]):
            works.fingers(f"{name} {large}", f"{name} {edge}", finger)
    for side_face in _FACES[1]:
        for edge in _FACES[2]:
            works.fingers(f"{name} {side_face}", f"{name} {edge}", finger)
    for rib in [one for one in works.panels if one.startswith(f"{name} rib")]:
        for large in _FACES[0]:
            works.through(rib, f"{name} {large}")


def _face(works: Works, name: str, ends: list[Ends], normal: int, side: int) -> None:
    others = {axis: ends[axis] for axis in range(3) if axis != normal}
    at = ends[normal][1] - works.t if side else ends[normal][0]
    # The front closes the box from ahead, and the rear one lies there first: both look aft.
    way = 1 if normal == 0 else (-1 if side else 1)
    works.add(f"{name} {_FACES[normal][side]}", normal, at, rect(normal, others), (normal, way))


def _ribs(works: Works, name: str, ends: list[Ends]) -> None:
    """Upright ribs, then level ones slotted over them, with tenons into both large faces."""
    t, half = works.t, works.card.fit_mm / 2.0
    inner = (ends[0][0] + t, ends[0][1] - t)
    places = {axis: _places(*ends[axis]) for axis in (1, 2)}
    made: dict[int, list[str]] = {1: [], 2: []}
    for normal, along in ((1, 2), (2, 1)):
        marks = [ends[along][0], *places[along], ends[along][1]]
        long = (ends[along][0] + t + half, ends[along][1] - t - half)
        body = [rect(normal, {0: inner, along: long})]
        for a, b in pairwise(marks):
            reach = min(card_mm("finger"), (b - a) / 2.0) / 2.0
            tenon = ((a + b) / 2.0 - reach, (a + b) / 2.0 + reach)
            body.append(rect(normal, {0: ends[0], along: tenon}))
        for number, at in enumerate(places[normal], 1):
            own = f"{name} rib {'upright' if normal == 1 else 'level'} {number}"
            works.add(own, normal, at - t / 2.0, joined(body), (0, 1))
            made[normal].append(own)
    for level in made[2]:
        for upright in made[1]:
            works.lap(level, upright)


def _places(low: float, high: float) -> list[float]:
    """Where ribs stand between two ends."""
    count = math.ceil((high - low) / card_mm("rib")) - 1
    return [low + (high - low) * k / (count + 1) for k in range(1, count + 1)]
