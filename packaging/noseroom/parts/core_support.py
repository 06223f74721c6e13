"""The core support: the panel between the fenders that everything in the nose hangs from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, length
from noseroom.survey.features import Feature, box_faces, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_VERTICAL = ("brace.form", "vertical")
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class CoreSupport(Part):
    """An opening between two box rails and two flat sides, with a latch brace before it if any.

    Datum: on the centre line, in the plane of the rear face (the radiator's side), at the height
    of the lower rail's top edge. Rails and sides stand ahead of the rear face. A bowed upper rail
    takes up its bow on both sides of itself, so that it is covered whichever way it goes.
    """

    about: ClassVar[About] = About(
        name="core support",
        help="panel that carries the radiator: opening, rails, side flanges, latch brace",
        group="body",
        carried_by=("car",),
        colour="#7f7f7f",
        freedom="fixed",
        also=("radiator support",),
    )

    brace: str = choice("brace.form", "none", "vertical", help="brace between the rails, in front")
    opening_width_mm: float = length("opening.width", "clear, left to right", low=250, high=1400)
    opening_height_mm: float = length("opening.height", "clear, rail to rail", low=200, high=900)
    thickness_mm: float = length(
        "thickness", "of the side flanges' sheet", low=0.6, high=6, usual=1.2, reach=0.4
    )
    side_width_mm: float = length(
        "sides.width", "flange beside the opening, each", low=10, high=300, usual=60, reach=25
    )
    upper_height_mm: float = length(
        "rails.upper.height", "above the opening", low=10, high=200, usual=50, reach=20
    )
    upper_depth_mm: float = length(
        "rails.upper.depth", "ahead of the rear face", low=8, high=200, usual=40, reach=15
    )
    lower_height_mm: float = length(
        "rails.lower.height", "below the opening", low=10, high=200, usual=60, reach=25
    )
    lower_depth_mm: float = length(
        "rails.lower.depth", "ahead of the rear face", low=8, high=200, usual=50, reach=20
    )
    bow_mm: float = length(
        "rails.upper.bow", "out of line at mid span, either way", low=0, high=25, usual=0, reach=3
    )
    brace_width_mm: float = length(
        "brace.width", "left to right", low=10, high=200, usual=60, reach=20, when=_VERTICAL
    )
    brace_depth_mm: float = length(
        "brace.depth", "fore and aft", low=2, high=150, usual=40, reach=15, when=_VERTICAL
    )
    brace_ahead_mm: float = length(
        "brace.ahead",
        "from the radiator face to the brace's rear face",
        low=0,
        high=300,
        usual=40,
        reach=20,
        when=_VERTICAL,
    )
    bolt_mm: float = length(
        "bolts.hole", "bolt holes in the flanges", low=4, high=16, usual=8, reach=1
    )

    def _rails(self, bow: Any) -> dict[str, tuple[Corner, Corner]]:
        """Opposite corners of the rails, the upper one with room for a bow either way."""
        h = self.opening_height_mm
        out = self.opening_width_mm / 2 + self.side_width_mm
        return {
            "upper rail": (
                (-self.upper_depth_mm - bow, -out, h),
                (bow, out, h + self.upper_height_mm),
            ),
            "lower rail": ((-self.lower_depth_mm, -out, -self.lower_height_mm), (0.0, out, 0.0)),
        }

    def _sides(self) -> tuple[tuple[Corner, Corner], ...]:
        w, h, t = self.opening_width_mm / 2, self.opening_height_mm, self.thickness_mm
        out = w + self.side_width_mm
        return (((-t, -out, 0.0), (0.0, -w, h)), ((-t, w, 0.0), (0.0, out, h)))

    def _brace(self) -> tuple[Corner, Corner]:
        w, rear = self.brace_width_mm / 2, -self.brace_ahead_mm
        return (
            (rear - self.brace_depth_mm, -w, -self.lower_height_mm),
            (rear, w, self.opening_height_mm + self.upper_height_mm),
        )

    def features(self) -> dict[str, Feature]:
        """The faces round the opening, its edges (facing into it), the rails and the brace."""
        w, h = self.opening_width_mm / 2, self.opening_height_mm / 2
        up, right = vector(0.0, 0.0, h), vector(0.0, w, 0.0)
        middle = vector(0.0, 0.0, h)
        found = {
            "face": face(middle, (1, 0, 0), top=up, right=right),
            "front": face(vector(-self.thickness_mm, 0.0, h), (-1, 0, 0), top=up, right=right),
            "opening": Feature(
                "point", middle, np.array([1.0, 0.0, 0.0]), reach={"top": up, "right": right}
            ),
            "opening.left": face(vector(0.0, -w, h), (0, 1, 0), top=up),
            "opening.right": face(vector(0.0, w, h), (0, -1, 0), top=up),
            "opening.bottom": face(vector(0.0, 0.0, 0.0), (0, 0, 1), right=right),
            "opening.top": face(vector(0.0, 0.0, 2 * h), (0, 0, -1), right=right),
        }
        for name, (low, high) in self._rails(0.0).items():
            found |= box_faces(low, high, f"{name}.")
        if self.brace == "vertical":
            found |= box_faces(*self._brace(), "brace.")
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Boxes."""
        made = [pieces.box("rails", *rail) for rail in self._rails(self.bow_mm).values()]
        made += [pieces.box("sides", *side) for side in self._sides()]
        if self.brace == "vertical":
            made.append(pieces.box("brace", *self._brace()))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Rails, side flanges, brace."""
        made = {
            "rails": shapes.joined(
                [shapes.box(*rail) for rail in self._rails(self.bow_mm).values()]
            ),
            "sides": shapes.joined([shapes.box(*side) for side in self._sides()]),
        }
        if self.brace == "vertical":
            made["brace"] = shapes.box(*self._brace())
        return made

    def ports(self) -> dict[str, Port]:
        """Bolt holes on the rear face, half way out on the flanges, a quarter from either end."""
        across = self.opening_width_mm / 2 + self.side_width_mm / 2
        return {
            f"{end} {side} bolt": Port(
                np.array([0.0, sign * across, share * self.opening_height_mm]),
                np.array([1.0, 0.0, 0.0]),
                self.bolt_mm,
            )
            for end, share in (("upper", 0.75), ("lower", 0.25))
            for side, sign in (("left", -1.0), ("right", 1.0))
        }
