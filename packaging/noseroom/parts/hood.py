"""The hood: a slab over the nose that swings about its hinges, and dips when it is slammed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Freedom, Part, angle, choice, length
from noseroom.survey.features import Feature, axis, box_faces, vector

if TYPE_CHECKING:
    import cadquery as cq

_BUFFERS = "from memory: rubber buffers and seals give 3 to 8 mm; no printed figure was found"
_OPEN = "from memory: hoods stand 45 to 75 deg open; no printed figure was found"
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Hood(Part):
    """The hood, shut, as the slab that it fills, from the lowest of its frame to the highest skin.

    Datum: the middle of the front edge's underside. Its hinges' pins lie in one line across the
    car. A crowned hood is contained with all its crown, so that under its edges there is more room
    than is said.
    """

    about: ClassVar[About] = About(
        name="hood",
        help="hood, as the slab that it fills when it is shut; swings open, and dips when slammed",
        group="body",
        carried_by=("car",),
        colour="#5b7a99",
        also=("bonnet",),
        assumed=(
            "2 deg ± 4 deg nose down",
            "level ± 1 deg",
            "square across ± 1 deg",
            "middle 0 mm ± 15 mm right of centreline",
        ),
        start_mm=(-150.0, 0.0, 560.0),
    )

    hinged: str = choice(
        "hinge.end", "rear", "front", help="at which end its hinges are: alligator or tilt"
    )
    length_mm: float = length("length", "front edge to rear edge", low=300, high=2200)
    width_mm: float = length("width", "left to right", low=300, high=2000)
    thickness_mm: float = length(
        "thickness",
        "lowest of its frame to highest of its skin, crown and all",
        low=1,
        high=400,
        usual=60,
        reach=40,
    )
    pin_in_mm: float = length(
        "hinge.in",
        "how far the pins are in from the edge at that end",
        low=-250,
        high=500,
        usual=30,
        reach=60,
    )
    pin_below_mm: float = length(
        "hinge.below",
        "how far the pins are below the underside",
        low=-300,
        high=400,
        usual=40,
        reach=60,
    )
    open_deg: float = angle(
        "moves.open", "how far it swings open", low=0, high=110, usual=75, source=_OPEN
    )
    slam_mm: float = length(
        "moves.slam",
        "how far its free edge dips below shut when it is slammed",
        low=0,
        high=40,
        usual=8,
        source=_BUFFERS,
    )

    def _box(self) -> tuple[Corner, Corner]:
        half = self.width_mm / 2
        return (0.0, -half, 0.0), (self.length_mm, half, self.thickness_mm)

    def _pin_x(self) -> Any:
        return self.length_mm - self.pin_in_mm if self.hinged == "rear" else self.pin_in_mm

    def features(self) -> dict[str, Feature]:
        """Its six faces, its middle, and the line of its hinges' pins."""
        pins = vector(self._pin_x(), 0.0, -self.pin_below_mm)
        return box_faces(*self._box()) | {"hinge": axis(pins, (0, 1, 0))}

    def pieces(self) -> tuple[Piece, ...]:
        """One box."""
        return (pieces.box("slab", *self._box()),)

    def solids(self) -> dict[str, cq.Shape]:
        """One box."""
        return {"slab": shapes.box(*self._box())}

    def moves(self) -> tuple[Freedom, ...]:
        """It swings about its pins, from open to as far below shut as a slam takes it."""
        opens = 1.0 if self.hinged == "rear" else -1.0
        free = max(self.length_mm - self.pin_in_mm, 1.0)
        return (
            Freedom(
                turns=True,
                through=vector(self._pin_x(), 0.0, -self.pin_below_mm),
                along=vector(0.0, opens, 0.0),
                back="moves.slam",
                forth="moves.open",
                either="swings {forth} open and dips {back} when slammed",
                said=("dips {} at its free edge, slammed", "stands {} open"),
                # An arc of the free edge, whose arm is no shorter than that.
                back_scale=math.degrees(1.0 / free),
            ),
        )
