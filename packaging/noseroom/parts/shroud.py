"""The shroud: what makes the fan draw through the whole core, as a box or as a bare ring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, choice, length
from noseroom.parts.plates import plate_round_opening
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_BOX = ("form", "box")
_AFT = (1.0, 0.0, 0.0)
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Shroud(Part):
    """A box over the core with a round opening and a ring, or the ring alone.

    Datum: the middle of its front face, the radiator's side. A box is as large as its opening and
    what is left of the sheet round it on each side, measured from the opening's edge; the opening
    need not be in the middle. The ring stands aft of the box's rear face.
    """

    about: ClassVar[About] = About(
        name="shroud",
        help="fan shroud: a box over the core with a ringed opening, or a ring",
        group="body",
        carried_by=("radiator", "car"),
        colour="#8c8c6a",
        also=("fan shroud",),
        assumed=(
            "parallel to {carrier} ± 1 deg",
            "front centred on {carrier}.core ± 15 mm",
            "front centred up and down on {carrier}.core ± 15 mm",
            "front 0 mm ± 3 mm aft of {carrier}.core.rear",
        ),
        start_mm=(50.0, 0.0, 0.0),
        touches=(("box", "core"), ("box", "tanks")),
    )

    form: str = choice("form", "box", "ring", help="a box over the core, or a ring alone")
    diameter_mm: float = length("opening.diameter", "clear", low=150, high=800)
    ring_depth_mm: float = length("ring.depth", "fore and aft", low=5, high=150, usual=40, reach=20)
    wall_mm: float = length("thickness", "of the sheet", low=0.6, high=5, usual=1.5, reach=0.9)
    depth_mm: float = length(
        "box.depth",
        "front face to the ring's foot",
        low=10,
        high=200,
        usual=60,
        reach=25,
        when=_BOX,
    )
    left_mm: float = length(
        "box.left", "sheet left of the opening", low=3, high=400, usual=40, reach=30, when=_BOX
    )
    right_mm: float = length(
        "box.right", "sheet right of the opening", low=3, high=400, usual=40, reach=30, when=_BOX
    )
    top_mm: float = length(
        "box.top", "sheet above the opening", low=3, high=400, usual=40, reach=30, when=_BOX
    )
    bottom_mm: float = length(
        "box.bottom", "sheet below the opening", low=3, high=400, usual=40, reach=30, when=_BOX
    )

    def _half(self) -> tuple[Any, Any]:
        """Half width and half height of the box."""
        return (
            (self.diameter_mm + self.left_mm + self.right_mm) / 2,
            (self.diameter_mm + self.top_mm + self.bottom_mm) / 2,
        )

    def _opening(self) -> Corner:
        """The middle of the opening at the ring's foot."""
        if self.form == "ring":
            return 0.0, 0.0, 0.0
        return self.depth_mm, (self.left_mm - self.right_mm) / 2, (self.bottom_mm - self.top_mm) / 2

    def features(self) -> dict[str, Feature]:
        """Front and rear face, the opening as circles front and rear, its axis, the box's sides."""
        x, y, z = self._opening()
        radius, deep = self.diameter_mm / 2, self.ring_depth_mm
        found = {
            "opening": circle(vector(x + deep / 2, y, z), radius),
            "opening.front": circle(vector(x, y, z), radius),
            "opening.rear": circle(vector(x + deep, y, z), radius),
            "opening.axis": axis(vector(x, y, z), _AFT),
            "ring": cylinder(vector(x + deep / 2, y, z), radius + self.wall_mm),
            "ring.rear": face(
                vector(x + deep, y, z),
                _AFT,
                top=vector(0.0, 0.0, radius),
                right=vector(0.0, radius, 0.0),
            ),
        }
        if self.form == "box":
            w, h = self._half()
            return found | box_faces((0.0, -w, -h), (self.depth_mm, w, h))
        found["front"] = face(
            vector(0.0, 0.0, 0.0),
            (-1, 0, 0),
            top=vector(0.0, 0.0, radius),
            right=vector(0.0, radius, 0.0),
        )
        return found

    def _walls(self) -> tuple[tuple[Corner, Corner], ...]:
        """Opposite corners of the box's four sides; those at left and right stand between."""
        (w, h), t, x = self._half(), self.wall_mm, self.depth_mm
        return (
            ((0.0, -w, h - t), (x, w, h)),
            ((0.0, -w, -h), (x, w, t - h)),
            ((0.0, -w, t - h), (x, t - w, h - t)),
            ((0.0, w - t, t - h), (x, w, h - t)),
        )

    def pieces(self) -> tuple[Piece, ...]:
        """Boxes for the sides; wedges that leave the opening free for plate and ring."""
        x, y, z = self._opening()
        radius = self.diameter_mm / 2
        made = pieces.ring(
            "ring", vector(x, y, z), _AFT, self.ring_depth_mm, radius, radius + self.wall_mm
        )
        if self.form == "box":
            w, h = self._half()
            made += tuple(pieces.box("box", *wall) for wall in self._walls())
            made += plate_round_opening(
                "box", (x - self.wall_mm, x), (-w, w), (-h, h), (y, z), radius
            )
        return made

    def solids(self) -> dict[str, cq.Shape]:
        """The ring, and the box with its opening."""
        x, y, z = self._opening()
        radius, t = self.diameter_mm / 2, self.wall_mm
        made = {"ring": shapes.ring((x, y, z), _AFT, self.ring_depth_mm, radius, radius + t)}
        if self.form == "box":
            w, h = self._half()
            made["box"] = shapes.joined(
                [shapes.box((0.0, -w, -h), (x, w, h))],
                without=[
                    shapes.box((0.0, t - w, t - h), (x - t, w - t, h - t)),
                    shapes.cylinder((x - t, y, z), _AFT, t, radius),
                ],
            )
        return made
