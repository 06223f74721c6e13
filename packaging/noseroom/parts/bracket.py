"""A bracket: a flat strap or an angle with two holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, length
from noseroom.survey.features import Feature, box_faces, circle, vector

if TYPE_CHECKING:
    import cadquery as cq

_FLAT, _ANGLE = ("form", "flat"), ("form", "angle")
_AHEAD, _UP = (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Bracket(Part):
    """A strap (flat) or an angle of one thickness, with a hole near either end.

    Datum: the middle of the first hole, on the mounting face, which faces forward. The first leg
    rises from there; on an angle the second leg leaves its upper end aft or ahead of the mounting
    face. The corner is drawn sharp: the bend's radius is left out.
    """

    about: ClassVar[About] = About(
        name="bracket",
        help="flat strap or angle with two holes",
        group="body",
        carried_by=("core support", "radiator", "engine", "car"),
        colour="#59a14f",
        assumed=("parallel to {carrier} ± 2 deg",),
        touches=(("plate", "*"),),
    )

    form: str = choice("form", "flat", "angle", help="a flat strap or an angle")
    way: str = choice("second leg.points", "aft", "ahead", help="where an angle's second leg goes")
    width_mm: float = length("width", "left to right", low=16, high=200, usual=30, reach=10)
    thickness_mm: float = length("thickness", "of the plate", low=0.8, high=10, usual=3, reach=1.5)
    hole_mm: float = length("holes.diameter", "of both", low=3, high=14, usual=8, reach=3)
    edge_mm: float = length(
        "holes.from end", "hole's middle to the end", low=8, high=60, usual=15, reach=7
    )
    apart_mm: float = length(
        "holes.apart", "hole to hole", low=20, high=600, usual=80, reach=50, when=_FLAT
    )
    first_mm: float = length(
        "first leg.length",
        "first hole to the outer corner",
        low=25,
        high=400,
        usual=45,
        reach=20,
        when=_ANGLE,
    )
    second_mm: float = length(
        "second leg.length",
        "outer corner to the second hole",
        low=25,
        high=400,
        usual=45,
        reach=20,
        when=_ANGLE,
    )

    def _legs(self) -> dict[str, tuple[Corner, Corner]]:
        """Opposite corners of each leg."""
        w, t, e = self.width_mm / 2, self.thickness_mm, self.edge_mm
        if self.form == "flat":
            return {"first leg": ((0.0, -w, -e), (t, w, self.apart_mm + e))}
        top, far = self.first_mm, self.second_mm + e
        ends = (0.0, far) if self.way == "aft" else (t - far, t)
        return {
            "first leg": ((0.0, -w, -e), (t, w, top)),
            "second leg": ((ends[0], -w, top - t), (ends[1], w, top)),
        }

    def _holes(self) -> dict[str, tuple[Corner, tuple[float, float, float]]]:
        """Middle of each hole on the face that it is named for, and that face's way out."""
        made: dict[str, tuple[Corner, tuple[float, float, float]]] = {
            "first hole": ((0.0, 0.0, 0.0), _AHEAD)
        }
        if self.form == "flat":
            made["second hole"] = ((0.0, 0.0, self.apart_mm), _AHEAD)
        else:
            far = self.second_mm
            x = far if self.way == "aft" else self.thickness_mm - far
            made["second hole"] = ((x, 0.0, self.first_mm), _UP)
        return made

    def features(self) -> dict[str, Feature]:
        """The legs' faces and the holes."""
        found: dict[str, Feature] = {}
        for name, (low, high) in self._legs().items():
            found |= box_faces(low, high, f"{name}.")
        for name, (middle, out) in self._holes().items():
            found[name] = circle(vector(*middle), self.hole_mm / 2, out)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """A box a leg; the holes are filled."""
        return tuple(pieces.box("plate", *leg) for leg in self._legs().values())

    def solids(self) -> dict[str, cq.Shape]:
        """The plate with its holes."""
        drill = [
            shapes.cylinder(
                middle, (-out[0], -out[1], -out[2]), self.thickness_mm, self.hole_mm / 2
            )
            for middle, out in self._holes().values()
        ]
        legs = [shapes.box(*leg) for leg in self._legs().values()]
        return {"plate": shapes.joined(legs, without=drill)}

    def ports(self) -> dict[str, Port]:
        """Both holes."""
        return {
            name: Port(np.array(middle), np.array(out), self.hole_mm)
            for name, (middle, out) in self._holes().items()
        }

    def movement_bounds(self) -> dict[str, float]:
        """As the pieces move; the holes' rims, which they fill, move half the holes' diameter."""
        return super().movement_bounds() | {"hole_mm": 0.5}
