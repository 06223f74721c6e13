"""Which way each kind of part is taken out, and how far it stands off in the exploded view.

It is a picture of the order of things, not a way out: whether a part passes what it passes on its
way is not looked at.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]
Way = Literal["stays", "forward", "up", "out to its side", "along its shaft", "off its core"]

GAP_MM = 40.0
"""Left free between the boxes of two parts that are taken apart."""
STEP_MM = 60.0
"""At least this much further than what comes out later the same way."""
_FORWARD = np.array([-1.0, 0.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])
_LEAST_SLOPE = 1e-9


@dataclass(frozen=True, slots=True)
class Removal:
    """How a kind of part leaves the car. turn: 1 comes out first; 0 for what stays.

    Ways: "along its shaft" is forward; "off its core" is forward for a fan ahead of the radiator
    and up for one behind it.
    """

    way: Way
    turn: int = 0


REMOVALS: Mapping[str, Removal] = MappingProxyType(
    {
        "hood": Removal("up", 1),
        "bumper bar": Removal("forward", 2),
        "grille": Removal("forward", 3),
        "hood latch": Removal("up", 4),
        "drier": Removal("forward", 5),
        "condenser": Removal("forward", 6),
        "hose": Removal("up", 7),
        "electric fan": Removal("off its core", 8),
        "shroud": Removal("up", 9),
        "radiator": Removal("up", 10),
        "fan": Removal("along its shaft", 11),
        "belt": Removal("forward", 12),
        "pulley": Removal("along its shaft", 13),
        "idler pulley": Removal("along its shaft", 14),
        "crank pulley": Removal("along its shaft", 15),
        "compressor": Removal("out to its side", 16),
        "alternator": Removal("out to its side", 17),
        "bracket": Removal("out to its side", 18),
        "water pump": Removal("along its shaft", 19),
        "core support": Removal("stays"),
        "engine": Removal("stays"),
        "anti-roll bar": Removal("stays"),
        "steering link": Removal("stays"),
        "pitman arm": Removal("stays"),
        "box": Removal("stays"),
        "cylinder": Removal("stays"),
        "scan": Removal("stays"),
        "bolt hole": Removal("stays"),
        "mark": Removal("stays"),
    }
)
"""Common practice: what stands ahead comes out first, the engine and the body stay."""


def removal_of(kind: str) -> Removal:
    """How a kind leaves the car; a kind that nobody has told of stays."""
    return REMOVALS.get(kind, Removal("stays"))


def exploded(layout: Layout) -> dict[str, Floats]:
    """How far every part is moved in the exploded view, (3,) mm in the vehicle frame, by name.

    The last to come out is moved first, each as little as clears the boxes of all that stand
    already; of those that go the same way, what comes out first stands furthest. Parts whose place
    is not known stay where they are drawn.
    """
    shown = [part for part in layout.parts.values() if part.components]
    moved = {part.name: np.zeros(3) for part in layout.parts.values()}
    boxes = {part.name: _boxes(part) for part in shown}
    going = [part for part in shown if part.known and removal_of(part.kind).turn]
    standing = [boxes[part.name] for part in shown if part.known and part not in going]
    furthest: dict[tuple[float, ...], float] = {}
    # Of one kind, the foremost comes off first.
    order = sorted(
        going, key=lambda part: (-removal_of(part.kind).turn, -boxes[part.name][:, 0, 0].min())
    )
    for part in order:
        way = _way(layout, part, boxes[part.name])
        main = tuple(np.round(way))
        least = furthest.get(main, 0.0) + STEP_MM
        others = np.concatenate(standing) if standing else np.zeros((0, 2, 3))
        offset = _clear(boxes[part.name], others, way, least)
        furthest[main] = offset
        moved[part.name] = way * offset
        standing.append(boxes[part.name] + way * offset)
    return moved


def _boxes(part: PlacedPart) -> Floats:
    """Boxes of its pieces, (n, 2, 3) mm, in the vehicle frame."""
    return np.array([piece.box for name in part.components for piece in part.moving[name][0]])


def _way(layout: Layout, part: PlacedPart, boxes: Floats) -> Floats:
    way = removal_of(part.kind).way
    middle = (boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2
    if way == "up":
        return _UP
    if way == "out to its side":
        return np.array([0.0, 1.0 if middle[1] >= 0 else -1.0, 0.0])
    if way == "along its shaft":
        shaft = part.pose[:3, 0]
        return np.asarray(-shaft if shaft[0] > 0 else shaft)
    if way == "off its core":
        cores = [one.pose[0, 3] for one in layout.parts.values() if one.kind == "radiator"]
        return _UP if cores and middle[0] > cores[0] else _FORWARD
    return _FORWARD


def _clear(mine: Floats, others: Floats, way: Floats, least: float) -> float:
    """The smallest offset of at least `least` along `way` that clears all boxes by the gap."""
    offset = least
    for low, high in sorted(_blocked(mine, others, way)):
        if low < offset < high:
            offset = high
    return offset


def _blocked(mine: Floats, others: Floats, way: Floats) -> Iterator[tuple[float, float]]:
    """Offsets, (from, to) mm, at which two boxes come nearer than the gap."""
    low = others[None, :, 0] - mine[:, None, 1] - GAP_MM
    high = others[None, :, 1] - mine[:, None, 0] + GAP_MM
    start = np.full(low.shape[:2], -np.inf)
    end = np.full(low.shape[:2], np.inf)
    for axis in range(3):
        if abs(way[axis]) < _LEAST_SLOPE:
            apart = (low[..., axis] >= 0) | (high[..., axis] <= 0)
            end = np.where(apart, -np.inf, end)
            continue
        ends = np.stack([low[..., axis], high[..., axis]]) / way[axis]
        start, end = np.maximum(start, ends.min(axis=0)), np.minimum(end, ends.max(axis=0))
    hit = start < end
    yield from zip(start[hit].tolist(), end[hit].tolist(), strict=True)
