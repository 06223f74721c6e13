"""Whether a bracket stands clear of everything, at a glance: as adjusted, by convex pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_placed import PlacedBracket
from noseroom.checks.rules import Rules
from noseroom.geometry.separation import MovingPiece, nearest
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.made_bracket import PLATE

Floats = NDArray[np.float64]
TOUCH_MM = 1e-4
"""Within this two pieces touch and do not overlap."""


@dataclass(frozen=True, eq=False)
class Block:
    """What stands in a bracket's way: by how much it is too near, mm."""

    part: str
    component: str
    short_mm: float


class Around:
    """All that stands in a nose, piece by piece."""

    def __init__(self, layout: Layout, rules: Rules) -> None:
        self._rules = rules
        self._pieces: list[tuple[PlacedPart, str, MovingPiece]] = []
        for part in layout.parts.values():
            if part.unplaced or not part.known:
                continue
            for component, alternatives in part.moving.items():
                if component == "blades" or component in part.part.unseen():
                    continue
                self._pieces += [(part, component, piece) for piece in alternatives[0]]
        self._boxes = np.array([piece.box for _, _, piece in self._pieces])
        self._asked: dict[tuple[str, str], float] = {}

    def block(self, made: PlacedBracket, bolted: frozenset[tuple[str, str]]) -> Block | None:
        """The worst that stands in its way; None: nothing does.

        bolted: the components that it lies on, which it may touch but not run into.
        """
        mine = made.plates[0]
        boxes = np.array([piece.box for piece in mine])
        worst: Block | None = None
        far = 0.0
        for part, component, _ in self._pieces:
            key = part.name, component
            if key not in self._asked:
                self._asked[key] = self._rules.between(made, PLATE, part, component).value_mm
            far = max(far, self._asked[key])
        apart = np.maximum(
            self._boxes[:, None, 0] - boxes[None, :, 1], boxes[None, :, 0] - self._boxes[:, None, 1]
        ).max(axis=-1)
        for index, number in np.argwhere(apart < far):
            part, component, piece = self._pieces[index]
            key = part.name, component
            asked = -TOUCH_MM if key in bolted else self._asked[key]
            if apart[index, number] >= asked:
                continue
            gap, _ = nearest(mine[number], piece)
            short = asked - gap
            if short > 1e-9 and (worst is None or short > worst.short_mm):
                worst = Block(*key, float(short))
        return worst
