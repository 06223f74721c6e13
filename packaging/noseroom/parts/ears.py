"""Ears: flat lugs with a bolt hole that stand out of a round body, above or below its axis.

Alternator and compressor are hung by them. An ear is a box from the body's axis outward, fused with
the body, so that its foot follows the body's round flank exactly. Local frame: the body's axis
is the x axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import Port
from noseroom.survey.features import Feature, axis, vector

if TYPE_CHECKING:
    import cadquery as cq


@dataclass(frozen=True, kw_only=True)
class Ear:
    """One ear. Lengths in mm: floats, complex numbers or batches, as its part's sizes are.

    front, rear: x of its faces. rise: +1 above the axis, -1 below. middle: from the axis to the
    hole's. width: side to side; it ends half its width beyond the hole. across: whether the bolt
    lies across the car, not along the axis.
    """

    front: Any
    rear: Any
    rise: int
    middle: Any
    width: Any
    hole: Any
    across: bool = False

    def _box(self) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
        half, end = self.width / 2, self.rise * (self.middle + self.width / 2)
        low, high = (0.0, end) if self.rise > 0 else (end, 0.0)
        return (self.front, -half, low), (self.rear, half, high)

    def _mouth(self) -> tuple[Any, Any, Any]:
        """Where the bolt goes in: the middle of the hole, in front or on the car's left."""
        z = self.rise * self.middle
        if self.across:
            return (self.front + self.rear) / 2, -self.width / 2, z
        return self.front, 0.0, z

    def _bore(self) -> tuple[tuple[float, float, float], Any]:
        """The hole's direction and depth."""
        if self.across:
            return (0.0, 1.0, 0.0), self.width
        return (1.0, 0.0, 0.0), self.rear - self.front

    def feature(self) -> Feature:
        """The hole's axis."""
        return axis(vector(*self._mouth()), self._bore()[0])

    def pieces(self, component: str) -> tuple[Piece, Piece]:
        """The box that contains it, and its hole: by that the hole's wall has a bound too."""
        way, deep = self._bore()
        bore = pieces.cylinder(component, vector(*self._mouth()), way, deep, self.hole / 2)
        return pieces.box(component, *self._box()), bore

    def solid(self) -> cq.Shape:
        """The box, not drilled yet."""
        return shapes.box(*self._box())

    def drill(self) -> cq.Shape:
        """What its hole takes away."""
        way, deep = self._bore()
        return shapes.cylinder(self._mouth(), way, deep, self.hole / 2)

    def port(self) -> Port:
        """The hole where its bolt goes in."""
        way, _ = self._bore()
        return Port(np.array(self._mouth(), dtype=float), -np.array(way), self.hole)
