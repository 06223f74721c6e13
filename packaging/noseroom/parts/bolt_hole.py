"""A bolt hole that is there already, in the metal of another part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from noseroom.geometry.pieces import Piece
from noseroom.parts.base import About, Part, Port, choice, length
from noseroom.survey.features import Feature, axis, circle, vector

if TYPE_CHECKING:
    import cadquery as cq

WAYS = {
    "ahead": (-1.0, 0.0, 0.0),
    "aft": (1.0, 0.0, 0.0),
    "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, kw_only=True)
class BoltHole(Part):
    """A hole that something may be bolted to. Without a body of its own.

    Datum: the hole's middle, on the face that it is seen from. That face is its carrier's.
    """

    about: ClassVar[About] = About(
        name="bolt hole",
        help="a hole that is there already and free, to bolt a bracket to",
        group="body",
        carried_by=("core support", "car"),
        colour="#4e79a7",
        assumed=("parallel to {carrier} ± 1 deg",),
    )

    faces: str = choice("faces", *WAYS, help="where one stands to see it")
    bolt: str = choice(
        "bolt",
        "none",
        "stays in",
        help="none: it is free; stays in: its bolt holds something else, and is only loosened",
    )
    diameter_mm: float = length("diameter", "of the hole", low=3, high=20)

    def features(self) -> dict[str, Feature]:
        """Its rim, which is where it sits, and its axis."""
        middle = vector(0.0, 0.0, 0.0)
        return {
            "rim": circle(middle, self.diameter_mm / 2, WAYS[self.faces]),
            "axis": axis(middle, WAYS[self.faces]),
        }

    def pieces(self) -> tuple[Piece, ...]:
        """None: a hole fouls nothing."""
        return ()

    def solids(self) -> dict[str, cq.Shape]:
        """None."""
        return {}

    def ports(self) -> dict[str, Port]:
        """The hole itself."""
        return {"hole": Port(np.zeros(3), np.array(WAYS[self.faces]), self.diameter_mm)}
