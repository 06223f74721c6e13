"""The alternator: a round body, two ears to hang it by, its own pulley in front."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Port, choice, length
from noseroom.parts.driven import Driven
from noseroom.parts.ears import Ear
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_AFT = (1.0, 0.0, 0.0)
_SHAFT = 0.4
"""Diameter of shaft and spacer between pulley and body, as a share of the pulley's."""


@dataclass(frozen=True, kw_only=True)
class Alternator(Driven):
    """An alternator or generator with its pulley on.

    Datum: the middle of its pulley's belt plane. The body begins a gap behind the pulley; both ears
    are flush with the body's front face, the pivot on one side of the axis and the adjuster on the
    other, with bolts along the axis. The pulley is a plain cylinder: its grooves are filled.
    """

    about: ClassVar[About] = About(
        name="alternator",
        help="alternator or generator with its own pulley",
        group="engine",
        carried_by=("engine", "car"),
        colour="#b279a2",
        assumed=("parallel to {carrier} ± 1/2 deg",),
        start_mm=(-50.0, -220.0, 120.0),
        also=("generator",),
    )

    pivot: str = choice("ears.pivot", "below", "above", help="side of the axis the pivot is on")
    body_diameter_mm: float = length(
        "body.diameter", "outside", low=80, high=220, usual=130, reach=20
    )
    body_length_mm: float = length(
        "body.length", "front face to rear", low=60, high=300, usual=135, reach=30
    )
    gap_mm: float = length(
        "body.gap", "pulley's rear face to body's front", low=1, high=80, usual=8, reach=6
    )
    pulley_diameter_mm: float = length(
        "pulley.diameter", "outside", low=45, high=150, usual=70, reach=12
    )
    pulley_width_mm: float = length(
        "pulley.width", "face to face", low=8, high=60, usual=22, reach=8
    )
    ear_out_mm: float = length(
        "ears.out", "body's flank to the hole's middle", low=10, high=80, usual=18, reach=7
    )
    ear_width_mm: float = length("ears.width", "side to side", low=20, high=60, usual=28, reach=6)
    ear_thickness_mm: float = length(
        "ears.thickness", "along the axis", low=5, high=50, usual=15, reach=8
    )
    hole_mm: float = length("ears.hole", "bolt hole", low=5, high=16, usual=10, reach=1.5)

    def _front(self) -> Any:
        """Where the body begins, x."""
        return self.pulley_width_mm / 2 + self.gap_mm

    def _ears(self) -> dict[str, Ear]:
        """Both ears by name."""
        down = -1 if self.pivot == "below" else 1
        return {
            name: Ear(
                front=self._front(),
                rear=self._front() + self.ear_thickness_mm,
                rise=rise,
                middle=self.body_diameter_mm / 2 + self.ear_out_mm,
                width=self.ear_width_mm,
                hole=self.hole_mm,
            )
            for name, rise in (("pivot", down), ("adjuster", -down))
        }

    def features(self) -> dict[str, Feature]:
        """Pulley (face, edge, rim, belt plane), body and its six sides, ear holes, the axis."""
        r, half, x = self.pulley_diameter_mm / 2, self.pulley_width_mm / 2, self._front()
        rb, long = self.body_diameter_mm / 2, self.body_length_mm
        origin, front = vector(0.0, 0.0, 0.0), vector(-half, 0.0, 0.0)
        up, across = vector(0.0, 0.0, r), vector(0.0, r, 0.0)
        found = {
            "axis": axis(origin, _AFT),
            "belt": circle(origin, r),
            "pulley": cylinder(origin, r),
            "pulley.front": face(front, (-1, 0, 0), top=up, right=across),
            "pulley.edge": circle(front, r),
        }
        found |= box_faces((x, -rb, -rb), (x + long, rb, rb), "body.")
        found["body"] = cylinder(vector(x + long / 2, 0.0, 0.0), rb)
        return found | {name: ear.feature() for name, ear in self._ears().items()}

    def pieces(self) -> tuple[Piece, ...]:
        """Prisms round pulley, shaft and body, a box an ear."""
        half, r = self.pulley_width_mm / 2, self.pulley_diameter_mm / 2
        front, behind = vector(-half, 0.0, 0.0), vector(half, 0.0, 0.0)
        body = vector(self._front(), 0.0, 0.0)
        return (
            pieces.cylinder("pulley", front, _AFT, self.pulley_width_mm, r),
            pieces.cylinder("pulley", behind, _AFT, self.gap_mm, _SHAFT * r),
            pieces.cylinder("body", body, _AFT, self.body_length_mm, self.body_diameter_mm / 2),
            *(piece for ear in self._ears().values() for piece in ear.pieces("body")),
        )

    def solids(self) -> dict[str, cq.Shape]:
        """Pulley with its shaft, and the body with drilled ears."""
        half, r = self.pulley_width_mm / 2, self.pulley_diameter_mm / 2
        ears = tuple(self._ears().values())
        body = shapes.cylinder(
            (self._front(), 0.0, 0.0), _AFT, self.body_length_mm, self.body_diameter_mm / 2
        )
        return {
            "pulley": shapes.joined(
                [
                    shapes.cylinder((-half, 0.0, 0.0), _AFT, self.pulley_width_mm, r),
                    shapes.cylinder((half, 0.0, 0.0), _AFT, self.gap_mm, _SHAFT * r),
                ]
            ),
            "body": shapes.joined(
                [body, *(ear.solid() for ear in ears)], without=[ear.drill() for ear in ears]
            ),
        }

    def ports(self) -> dict[str, Port]:
        """The ears' bolt holes."""
        return {name: ear.port() for name, ear in self._ears().items()}
