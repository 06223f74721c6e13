"""The engine: the crank's line and the front of the block, and if wanted the block as a box."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, angle, choice, length
from noseroom.survey.features import Feature, axis, box_faces, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_SHOWN = ("block.shown", "yes")
_MOUNTS = "from memory, for rubber mounts: 2 to 5 deg; no printed figure was found"
_NO_FIGURE = "assumed, for rubber mounts: no printed figure was found"


@dataclass(frozen=True, kw_only=True)
class Engine(Part):
    """What carries pump, pulleys, alternator and compressor: they move together.

    Datum: the crank's axis at the front face of the block or timing cover. The block is a plain box
    behind that face, symmetric about the crank's line, and is there only if the file asks for it:
    it stands for metal to keep clear of, not for a likeness.
    """

    about: ClassVar[About] = About(
        name="engine",
        help="crank line and front of the block; carries the drive",
        group="engine",
        carried_by=("car",),
        colour="#8c8c8c",
        assumed=(
            "3 deg ± 3 deg nose up",
            "level ± 1 deg",
            "square across ± 1 deg",
            "axis 0 mm ± 20 mm right of centreline",
        ),
        start_mm=(280.0, 0.0, 120.0),
    )

    shown: str = choice("block.shown", "no", "yes", help="whether the block is there as a box")
    width_mm: float = length(
        "block.width", "side to side", low=150, high=900, usual=450, reach=150, when=_SHOWN
    )
    height_mm: float = length(
        "block.height",
        "above the crank's axis",
        low=80,
        high=800,
        usual=400,
        reach=120,
        when=_SHOWN,
    )
    below_mm: float = length(
        "block.below", "below the crank's axis", low=20, high=400, usual=120, reach=60, when=_SHOWN
    )
    length_mm: float = length(
        "block.length", "front face to rear", low=150, high=1200, usual=650, reach=200, when=_SHOWN
    )

    roll_deg: float = angle(
        "moves.roll",
        "how far it rocks about its crank, either way, pried by hand or at full torque",
        low=0,
        high=20,
        usual=5,
        source=_MOUNTS,
    )
    pitch_deg: float = angle(
        "moves.pitch", "how far its nose dips or rises", low=0, high=10, usual=1, source=_NO_FIGURE
    )
    forward_mm: float = length(
        "moves.forward",
        "how far it surges, forward or aft",
        low=0,
        high=60,
        usual=6,
        source=_NO_FIGURE,
    )
    sideways_mm: float = length(
        "moves.sideways",
        "how far it shifts, either way",
        low=0,
        high=40,
        usual=3,
        source=_NO_FIGURE,
    )
    up_mm: float = length(
        "moves.up", "how far it bounces, up or down", low=0, high=40, usual=3, source=_NO_FIGURE
    )

    def _box(self) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
        half = self.width_mm / 2
        return (0.0, -half, -self.below_mm), (self.length_mm, half, self.height_mm)

    def features(self) -> dict[str, Feature]:
        """The crank's axis, the front face where the crank meets it, and the block's faces."""
        origin = vector(0.0, 0.0, 0.0)
        found = {"axis": axis(origin, (1, 0, 0)), "front": face(origin, (-1, 0, 0))}
        if self.shown == "yes":
            found |= box_faces(*self._box(), "block.")
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """The block's box, if it is shown."""
        return (pieces.box("block", *self._box()),) if self.shown == "yes" else ()

    def solids(self) -> dict[str, cq.Shape]:
        """The block's box, if it is shown."""
        return {"block": shapes.box(*self._box())} if self.shown == "yes" else {}
