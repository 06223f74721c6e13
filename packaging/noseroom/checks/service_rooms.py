"""The room that a hand or a wrench needs, as convex pieces that ride on what they serve.

A room has one or more ways (a wrench may point anywhere): one that surely keeps clear will do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from noseroom.fingerprints import fingerprint
from noseroom.geometry.pieces import Piece
from noseroom.geometry.separation import MovingPiece
from noseroom.layout import PlacedPart
from noseroom.parts.base import About, Part

Floats = NDArray[np.float64]

_SIDES = 16
WHOLE = "whole"
"""All ways of a room together."""
_RIDES = "hose"
"""The kind of a room: like a hose, it moves with what it is tied to."""


@dataclass(frozen=True, kw_only=True)
class _Air(Part):
    """No sizes and no metal: a room is air. shape: what it stands for, as a fingerprint."""

    about: ClassVar[About] = About(
        name="room", help="room for a hand or a tool", group="body", carried_by=(), colour="#000000"
    )

    shape: bytes = b""

    def pieces(self) -> tuple[Piece, ...]:
        """None: what a room takes is with its ways."""
        return ()


@dataclass(frozen=True, eq=False)
class Room(PlacedPart):
    """Room for a tool. ways: convex pieces of each way that it may be held, by name."""

    ways: Mapping[str, tuple[MovingPiece, ...]] = field(default_factory=dict)

    @cached_property
    def components(self) -> tuple[str, ...]:
        """Its ways."""
        return tuple(self.ways)

    @cached_property
    def moving(self) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        """The pieces of each way, once: they move with one part."""
        every = tuple(piece for some in self.ways.values() for piece in some)
        return {WHOLE: (every,), **{name: (some,) for name, some in self.ways.items()}}


def room_on(
    host: PlacedPart, name: str, feature: str, ways: Mapping[str, Sequence[Floats]]
) -> Room:
    """A room that rides on a feature of a part.

    ways: corners (n, 3) of convex pieces in the vehicle frame, mm, as adjusted. They move with the
    part, and with the feature where the part's own sizes move it.
    """
    one = host.placements[0]
    point, _, moves = host.touch_point(feature)
    arm = (point - one.pose.shift)[:, None]
    by_size = moves - (one.shift_gain + np.cross(one.turn_gain, arm, axis=0))
    swells = bool((np.abs(by_size) > 1e-12).any())
    made = {
        way: tuple(
            MovingPiece(
                corners=corners,
                origin=one.pose.shift,
                axes=one.pose.turn,
                shift=one.shift_gain,
                turn=one.turn_gain,
                null_shift=one.shift_null,
                null_turn=one.turn_null,
                swell=np.broadcast_to(by_size, (len(corners), *by_size.shape)) if swells else None,
            )
            for corners in some
        )
        for way, some in ways.items()
    }
    return Room(
        name=name,
        kind=_RIDES,
        part=_Air(shape=fingerprint({way: list(some) for way, some in ways.items()}, by_size)),
        entry=host.entry,
        group=host.group,
        carrier=host.name,
        ties=(host.name,),
        placements=(one,),
        ways=made,
    )


def drum(centre: Floats, along: Floats, low: float, high: float, radius: float) -> Floats:
    """Corners of a prism round a cylinder: from low to high along a unit direction (3,), mm."""
    first, second = across(along)
    out = radius / math.cos(math.pi / _SIDES)
    turns = [math.tau * k / _SIDES for k in range(_SIDES)]
    ring = np.array([out * (math.cos(t) * first + math.sin(t) * second) for t in turns])
    return np.concatenate([centre + at * along + ring for at in (low, high)])


def across(along: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to a unit direction and each other, the first as upright as may be.

    Where the direction itself is upright, the first points forward.
    """
    up = np.array([0.0, 0.0, 1.0])
    if abs(float(along @ up)) > 0.9:
        up = np.array([-1.0, 0.0, 0.0])
    first = up - (up @ along) * along
    first = first / np.sqrt(first @ first)
    return first, np.cross(along, first)


def swept_handle(
    centre: Floats,
    along: Floats,
    middle_rad: float,
    swing_rad: float,
    length: float,
    half_width: float,
    ends: tuple[float, float],
) -> Floats:
    """Corners of the convex room that a wrench's handle sweeps, in a plane square to `along`.

    centre: (3,) mm, which it turns about. middle_rad: the middle of its swing, from `across`'s
    first vector to its second. ends: how far along it lies, from and to, mm. The arc of its end is
    circumscribed.
    """
    first, second = across(along)

    def way(turn: float) -> Floats:
        return np.asarray(math.cos(turn) * first + math.sin(turn) * second)

    out = length / math.cos(swing_rad / 4)
    corners = []
    for turn in (middle_rad - swing_rad / 2, middle_rad + swing_rad / 2):
        here, aside = way(turn), way(turn + math.pi / 2)
        corners += [
            centre + reach * here + side * aside
            for reach in (0.0, length)
            for side in (-half_width, half_width)
        ]
    corners += [centre + out * way(middle_rad + share * swing_rad / 4) for share in (-1.0, 1.0)]
    return np.array([one + at * along for one in corners for at in ends])
