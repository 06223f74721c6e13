"""The engine: the crank's line and the front of the block, and if wanted the block as a box."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Freedom, Part, angle, choice, length, share
from noseroom.survey.features import Feature, axis, box_faces, face, vector

if TYPE_CHECKING:
    import cadquery as cq

PIVOT_BEHIND_MM = 400.0
"""How far behind the block's front an engine may pitch about, at most: assumed, for want of a
printed figure; mounts stand beside the block and under the gearbox."""
_SHOWN = ("block.shown", "yes")
_MOUNTS = (
    "from memory, for rubber mounts: 2 to 5 deg; for soft, firm and solid ones in proportion, as "
    "builders tell it; no printed figure was found"
)
_NO_FIGURE = (
    "assumed, for the mounts that are named, in the order that builders tell of; no printed figure "
    "was found"
)


def _usual_on(soft: float, firm: float, solid: float) -> tuple[tuple[str, str, float], ...]:
    """What is usual on other mounts than plain rubber."""
    return ("mounts", "soft", soft), ("mounts", "firm", firm), ("mounts", "solid", solid)


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
        travels="pried",
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

    cylinders: float = share("cylinders", "how many", low=0, high=16, usual=0, source=NOT_KNOWN)
    idle_rpm: float = share("idle", "rpm", low=0, high=2000, usual=0, source=NOT_KNOWN)
    red_line_rpm: float = share("red line", "rpm", low=0, high=12000, usual=0, source=NOT_KNOWN)
    mounts: str = choice(
        "mounts",
        "rubber",
        "soft",
        "firm",
        "solid",
        help="what it stands on: rubber; soft, such as fluid-filled or tired rubber; firm, such as "
        "polyurethane; solid metal. Says how far it moves where nobody has measured it",
    )
    roll_deg: float = angle(
        "moves.roll",
        "how far it rocks about its crank, either way, pried by hand or at full torque",
        low=0,
        high=20,
        usual=5,
        source=_MOUNTS,
        usual_for=_usual_on(8, 2.5, 0.5),
    )
    pitch_deg: float = angle(
        "moves.pitch",
        "how far its nose dips or rises",
        low=0,
        high=10,
        usual=1,
        source=_NO_FIGURE,
        usual_for=_usual_on(2, 0.5, 0.2),
    )
    forward_mm: float = length(
        "moves.forward",
        "how far it surges, forward or aft",
        low=0,
        high=60,
        usual=6,
        source=_NO_FIGURE,
        usual_for=_usual_on(12, 3, 1),
    )
    sideways_mm: float = length(
        "moves.sideways",
        "how far it shifts, either way",
        low=0,
        high=40,
        usual=3,
        source=_NO_FIGURE,
        usual_for=_usual_on(6, 1.5, 0.5),
    )
    up_mm: float = length(
        "moves.up",
        "how far it bounces, up or down",
        low=0,
        high=40,
        usual=3,
        source=_NO_FIGURE,
        usual_for=_usual_on(8, 1.5, 0.5),
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

    def moves(self) -> tuple[Freedom, ...]:
        """It rocks about its crank, pitches, and shifts each way on its mounts.

        It pitches about a point that nobody knows, somewhere behind its front: about the middle of
        where that may be, and up or down by what the rest of it adds either way.
        """
        origin = vector(PIVOT_BEHIND_MM / 2, 0.0, 0.0)
        ahead, across, up = vector(1.0, 0.0, 0.0), vector(0.0, 1.0, 0.0), vector(0.0, 0.0, 1.0)
        lifted = (("moves.pitch", math.radians(1.0) * PIVOT_BEHIND_MM / 2),)

        def one(key: str, along: Any, either: str, said: tuple[str, str], **more: Any) -> Freedom:
            return Freedom(more.pop("turns", False), origin, along, key, key, either, said, **more)

        return (
            one(
                "moves.roll",
                ahead,
                "rocks {forth} either way",
                ("rocks {} its left side up", "rocks {} its right side up"),
                turns=True,
            ),
            one(
                "moves.pitch",
                across,
                "pitches {forth} either way",
                ("dips {} at the nose", "rises {} at the nose"),
                turns=True,
            ),
            one(
                "moves.forward",
                ahead,
                "surges {forth} forward or aft",
                ("surges {} forward", "surges {} aft"),
            ),
            one(
                "moves.sideways",
                across,
                "shifts {forth} either way",
                ("shifts {} to the car's left", "shifts {} to the car's right"),
            ),
            one(
                "moves.up", up, "bounces {forth} up or down", ("drops {}", "lifts {}"), more=lifted
            ),
        )
