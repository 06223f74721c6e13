"""Whether a bracket stands clear of everything, at a glance: as adjusted, by convex pieces."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_job import Candidate, Job
from noseroom.checks.rules import Rules
from noseroom.geometry.separation import MovingPiece, nearest
from noseroom.geometry.sheet_hulls import folded_hulls
from noseroom.layout import Layout
from noseroom.parts.made_bracket import PLATE, MadeBracket

Floats = NDArray[np.float64]
TOUCH_MM = 1e-4
"""Within this two pieces touch and do not overlap."""
SEATS_MM = 1.0
"""What a bracket keeps to the rest of what it is bolted to, so that it seats on tab and face alone:
common practice. They move together; joined parts may touch."""
_SIDES = 16
_STILL = np.zeros((3, 0))


@dataclass(frozen=True, eq=False)
class Block:
    """What stands in a bracket's way: by how much it is too near, mm.

    asked_mm: how near it may be. way: (3,) unit, from the bracket to it.
    """

    part: str
    component: str
    short_mm: float
    asked_mm: float = 0.0
    way: Floats = field(default_factory=lambda: np.zeros(3))


class Around:
    """All that stands in a nose, piece by piece."""

    def __init__(self, layout: Layout, rules: Rules) -> None:
        self._pieces: list[tuple[str, str, MovingPiece]] = []
        self._asked: dict[tuple[str, str], float] = {}
        self._hosts: dict[str, frozenset[str]] = {}
        for part in layout.parts.values():
            if part.unplaced or not part.known:
                continue
            like = replace(part, kind=MadeBracket.about.name, part=MadeBracket(), group="body")
            for component, alternatives in part.moving.items():
                if component == "blades" or component in part.part.unseen():
                    continue
                self._asked[part.name, component] = rules.between(
                    like, PLATE, part, component
                ).value_mm
                self._pieces += [(part.name, component, piece) for piece in alternatives[0]]
            self._hosts[part.name] = frozenset(part.components) - frozenset(part.part.sweeps())
        self._boxes = np.array([piece.box for _, _, piece in self._pieces])
        self._far = max(self._asked.values(), default=0.0)

    def with_moved(self, name: str, by: Floats) -> Around:
        """The same with one part elsewhere, by (3,) mm."""
        there = copy.copy(self)
        there._pieces = [
            (part, component, piece.moved(by) if part == name else piece)
            for part, component, piece in self._pieces
        ]
        there._boxes = np.array([piece.box for _, _, piece in there._pieces])
        return there

    def block(
        self,
        mine: Sequence[MovingPiece],
        bolted: frozenset[tuple[str, str]],
        seats_mm: float = SEATS_MM,
    ) -> Block | None:
        """The worst that stands in the way of some pieces; None: nothing does.

        bolted: the components that they lie on, which they may touch but not run into. seats_mm:
        what they keep to the rest of the parts that those are of.
        """
        boxes = np.array([piece.box for piece in mine])
        others, theirs = self._boxes, self._pieces
        hosts = {part for part, _ in bolted}
        worst: Block | None = None
        apart = np.maximum(
            others[:, None, 0] - boxes[None, :, 1], boxes[None, :, 0] - others[:, None, 1]
        ).max(axis=-1)
        for index, number in np.argwhere(apart < self._far):
            part, component, piece = theirs[index]
            key = part, component
            asked = self._asked[key]
            if key in bolted:
                asked = -TOUCH_MM
            elif part in hosts and component in self._hosts[part]:
                asked = min(asked, seats_mm)
            if apart[index, number] >= asked:
                continue
            gap, way = nearest(mine[number], piece)
            short = asked - gap
            if short > 1e-9 and (worst is None or short > worst.short_mm):
                worst = Block(*key, float(short), max(asked, 0.0), way)
        return worst


def still_piece(corners: Floats) -> MovingPiece:
    """A convex piece where it stands, without what may move it. corners: (n, 3) mm."""
    return MovingPiece(corners, np.zeros(3), np.eye(3), _STILL, _STILL, _STILL, _STILL)


def pieces_of(made: Candidate) -> list[MovingPiece]:
    """A bracket's pieces as they stand."""
    return [
        still_piece(corners @ home[:3, :3].T + home[:3, 3])
        for blank, home in made.blanks
        for corners in folded_hulls(blank)
    ]


def pad(ends: Sequence[Floats], up: Floats, radius_mm: float, thickness_mm: float) -> MovingPiece:
    """A little less than the metal round a hole, or a slot's ends (3,), of a flat above its plane.

    What stands in its way stands in that of every bracket with this flat.
    """
    helper = np.eye(3)[int(np.argmin(np.abs(up)))]
    first = np.cross(up, helper)
    first /= np.sqrt(first @ first)
    second = np.cross(up, first)
    turns = math.tau * np.arange(_SIDES) / _SIDES
    rim = radius_mm * (np.cos(turns)[:, None] * first + np.sin(turns)[:, None] * second)
    round_ends = np.concatenate([rim + end for end in ends])
    return still_piece(np.concatenate([round_ends, round_ends + thickness_mm * up]))


def joins(job: Job) -> tuple[frozenset[tuple[str, str]], float]:
    """What a bracket lies on, and what it keeps to the rest of that: as `Around.block` has them.

    Rubber lets a tab come nearer by as much as its flange is thick.
    """
    rail = {(job.face.host.name, name) for name in job.face.host.components}
    if job.rubber is not None:
        return frozenset(rail), job.standoff_mm - TOUCH_MM
    return frozenset({*rail, (job.site.host.name, job.site.component)}), SEATS_MM
