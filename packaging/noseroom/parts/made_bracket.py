"""A bracket that is made for one place: bent from sheet, or of two pieces bolted to each other."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.pieces import Piece
from noseroom.geometry.sheet import Blank
from noseroom.parts.base import About, Part

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
PLATE = "plate"


@dataclass(frozen=True, kw_only=True)
class MadeBracket(Part):
    """Blanks as they stand once folded.

    Datum: its carrier's own. blanks: one, or the two of a two-piece bracket. homes: where the first
    flat of each stands in the carrier's frame, 16 figures of a (4, 4) each, row by row. moved: what
    stands for how its pieces follow what they are bolted to, as a fingerprint.
    """

    about: ClassVar[About] = About(
        name="made bracket",
        help="a bracket bent from sheet",
        group="body",
        carried_by=("core support", "car"),
        colour="#4f9a94",
        touches=((PLATE, "*"),),
    )

    blanks: tuple[Blank, ...] = ()
    homes: tuple[tuple[float, ...], ...] = ()
    moved: bytes = b""

    def pieces(self) -> tuple[Piece, ...]:
        """Convex pieces of each blank: flanges in their order, one or more each, then bends."""
        return tuple(Piece(PLATE, corners) for corners in self._hulls)

    @cached_property
    def _hulls(self) -> list[Floats]:
        from noseroom.geometry.sheet_hulls import folded_hulls

        found = []
        for blank, home in zip(self.blanks, self._homes, strict=True):
            found += [one @ home[:3, :3].T + home[:3, 3] for one in folded_hulls(blank)]
        return found

    @property
    def _homes(self) -> list[Floats]:
        return [np.array(home).reshape(4, 4) for home in self.homes]

    def solids(self) -> dict[str, cq.Shape]:
        """The folded bracket, holes and all. Raises GeometryError where it runs into itself."""
        from noseroom.geometry.kernel import transformed
        from noseroom.geometry.sheet_solids import folded_solid
        from noseroom.parts import shapes

        made = [
            transformed(folded_solid(blank), home)
            for blank, home in zip(self.blanks, self._homes, strict=True)
        ]
        return {PLATE: made[0] if len(made) == 1 else shapes.compound(made)}


def home_of(matrix: Floats) -> tuple[float, ...]:
    """A (4, 4) as `MadeBracket.homes` has it."""
    return tuple(float(one) for one in matrix.ravel())
