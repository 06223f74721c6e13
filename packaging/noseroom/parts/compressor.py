"""The compressor: a round body behind a clutch nose, ears with bolt holes, two hose ports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Port, choice, length
from noseroom.parts.driven import Driven
from noseroom.parts.ears import Ear
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_AFT, _UP = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
_PAD_MARGIN_MM = 4.0
"""How far the pad under top ports reaches beyond them, and how high it stands over the body."""


@dataclass(frozen=True, kw_only=True)
class Compressor(Driven):
    """A belt-driven compressor with its clutch.

    Datum: the middle of the clutch nose's front face. The nose is the clutch with its pulley, a
    plain cylinder whose grooves are filled; the belt plane lies behind the datum. The body follows,
    with an ear flush with either end, below the axis or above and below. The hose ports stand side
    by side on the body's rear face, or at its rear on a pad on top; what fittings and hoses need
    before they can turn away is the box "elbow room" beyond them.
    """

    about: ClassVar[About] = About(
        name="compressor",
        help="belt-driven compressor: body, clutch nose, ears, ports",
        group="engine",
        carried_by=("engine", "car"),
        colour="#e45756",
        assumed=("parallel to {carrier} ± 1/2 deg",),
        start_mm=(-80.0, 220.0, 120.0),
    )

    ears: str = choice("ears.side", "below", "both", "none", help="where the ears stand")
    bolts: str = choice("ears.bolts", "along", "across", help="how their bolts lie")
    place: str = choice("ports.place", "rear", "top", help="where the hoses leave")
    suction: str = choice("ports.suction", "right", "left", help="side of the suction port")
    body_diameter_mm: float = length(
        "body.diameter", "outside", low=90, high=200, usual=120, reach=15
    )
    body_length_mm: float = length(
        "body.length", "behind the clutch nose", low=100, high=350, usual=160, reach=30
    )
    nose_diameter_mm: float = length(
        "nose.diameter", "clutch pulley, outside", low=60, high=220, usual=125, reach=15
    )
    nose_length_mm: float = length(
        "nose.length", "front face to the body", low=20, high=120, usual=55, reach=12
    )
    belt_mm: float = length(
        "nose.belt", "front face to the belt plane", low=3, high=110, usual=25, reach=10
    )
    ear_out_mm: float = length(
        "ears.out", "body's flank to the hole's middle", low=12, high=60, usual=18, reach=6
    )
    ear_width_mm: float = length("ears.width", "side to side", low=20, high=80, usual=32, reach=8)
    ear_thickness_mm: float = length(
        "ears.thickness", "along the axis", low=14, high=45, usual=22, reach=8
    )
    hole_mm: float = length("ears.hole", "bolt hole", low=5, high=13, usual=9, reach=1.5)
    port_diameter_mm: float = length(
        "ports.diameter", "fitting, outside", low=10, high=28, usual=24, reach=4
    )
    port_length_mm: float = length(
        "ports.length", "beyond body or pad", low=3, high=60, usual=12, reach=6
    )
    spacing_mm: float = length(
        "ports.spacing", "middle to middle", low=30, high=50, usual=38, reach=8
    )
    elbow_mm: float = length(
        "ports.elbow room", "straight room beyond a port", low=5, high=150, usual=50, reach=15
    )

    left_mm: float = length(
        "places.left",
        "how far to the left of its place its bracket may also hold it",
        low=0,
        high=400,
        usual=0,
        source=NOT_KNOWN,
    )
    right_mm: float = length(
        "places.right",
        "how far to the right",
        low=0,
        high=400,
        usual=0,
        source=NOT_KNOWN,
    )
    up_mm: float = length(
        "places.up",
        "how far up",
        low=0,
        high=400,
        usual=0,
        source=NOT_KNOWN,
    )
    down_mm: float = length(
        "places.down",
        "how far down",
        low=0,
        high=400,
        usual=0,
        source=NOT_KNOWN,
    )

    def _ears(self) -> dict[str, Ear]:
        """The ears by name."""
        if self.ears == "none":
            return {}
        front = self.nose_length_mm
        rear = front + self.body_length_mm - self.ear_thickness_mm
        sides = {"lower": -1, "upper": 1} if self.ears == "both" else {"lower": -1}
        return {
            f"{side} {end} ear": Ear(
                front=x,
                rear=x + self.ear_thickness_mm,
                rise=rise,
                middle=self.body_diameter_mm / 2 + self.ear_out_mm,
                width=self.ear_width_mm,
                hole=self.hole_mm,
                across=self.bolts == "across",
            )
            for side, rise in sides.items()
            for end, x in (("front", front), ("rear", rear))
        }

    def _pad(self) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
        """Opposite corners of the pad under top ports, from the axis up, flush with the rear."""
        rear = self.nose_length_mm + self.body_length_mm
        half = (self.spacing_mm + self.port_diameter_mm + _PAD_MARGIN_MM) / 2
        long = self.port_diameter_mm + _PAD_MARGIN_MM
        return (rear - long, -half, 0.0), (rear, half, self.body_diameter_mm / 2 + _PAD_MARGIN_MM)

    def _feet(self) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
        """Where suction and discharge port leave body or pad."""
        side = self.spacing_mm / 2 if self.suction == "right" else -self.spacing_mm / 2
        if self.place == "rear":
            x, z = self.nose_length_mm + self.body_length_mm, 0.0
        else:
            low, high = self._pad()
            x, z = (low[0] + high[0]) / 2, high[2]
        return (x, side, z), (x, -side, z)

    def _way(self) -> tuple[float, float, float]:
        """The direction in which the ports point."""
        return _AFT if self.place == "rear" else _UP

    def _elbow(self) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
        """Opposite corners of the room beyond both ports."""
        (x, _, z), _ = self._feet()
        half, across = self.port_diameter_mm / 2, (self.spacing_mm + self.port_diameter_mm) / 2
        near, far = self.port_length_mm, self.port_length_mm + self.elbow_mm
        if self.place == "rear":
            return (x + near, -across, z - half), (x + far, across, z + half)
        return (x - half, -across, z + near), (x + half, across, z + far)

    def features(self) -> dict[str, Feature]:
        """Nose (face, edge, flank, rear, belt plane), body and its six sides, ear holes, axis."""
        r, rb = self.nose_diameter_mm / 2, self.body_diameter_mm / 2
        x, end = self.nose_length_mm, self.nose_length_mm + self.body_length_mm
        origin = vector(0.0, 0.0, 0.0)
        up, across = vector(0.0, 0.0, r), vector(0.0, r, 0.0)
        found = {
            "axis": axis(origin, _AFT),
            "belt": circle(vector(self.belt_mm, 0.0, 0.0), r),
            "nose": cylinder(origin, r),
            "nose.front": face(origin, (-1, 0, 0), top=up, right=across),
            "nose.edge": circle(origin, r),
            "nose.rear": circle(vector(x, 0.0, 0.0), r),
        }
        found |= box_faces((x, -rb, -rb), (end, rb, rb), "body.")
        found["body"] = cylinder(vector((x + end) / 2, 0.0, 0.0), rb)
        return found | {name: ear.feature() for name, ear in self._ears().items()}

    def pieces(self) -> tuple[Piece, ...]:
        """Prisms round nose, body and ports, boxes for ears, pad and elbow room."""
        origin, body = vector(0.0, 0.0, 0.0), vector(self.nose_length_mm, 0.0, 0.0)
        made = [
            pieces.cylinder("nose", origin, _AFT, self.nose_length_mm, self.nose_diameter_mm / 2),
            pieces.cylinder("body", body, _AFT, self.body_length_mm, self.body_diameter_mm / 2),
            *(piece for ear in self._ears().values() for piece in ear.pieces("body")),
            pieces.box("elbow room", *self._elbow()),
        ]
        if self.place == "top":
            made.append(pieces.box("body", *self._pad()))
        made += [
            pieces.cylinder(
                "ports", vector(*foot), self._way(), self.port_length_mm, self.port_diameter_mm / 2
            )
            for foot in self._feet()
        ]
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Nose, body with pad and drilled ears, ports, the room beyond them."""
        ears = tuple(self._ears().values())
        body = [
            shapes.cylinder(
                (self.nose_length_mm, 0.0, 0.0),
                _AFT,
                self.body_length_mm,
                self.body_diameter_mm / 2,
            ),
            *(ear.solid() for ear in ears),
        ]
        if self.place == "top":
            body.append(shapes.box(*self._pad()))
        stubs = [
            shapes.cylinder(foot, self._way(), self.port_length_mm, self.port_diameter_mm / 2)
            for foot in self._feet()
        ]
        return {
            "nose": shapes.cylinder(
                (0.0, 0.0, 0.0), _AFT, self.nose_length_mm, self.nose_diameter_mm / 2
            ),
            "body": shapes.joined(body, without=[ear.drill() for ear in ears]),
            "ports": shapes.compound(stubs),
            "elbow room": shapes.box(*self._elbow()),
        }

    def sweeps(self) -> tuple[str, ...]:
        """Room that fittings and hoses need."""
        return ("elbow room",)

    def ports(self) -> dict[str, Port]:
        """The hose ports, and the ears' bolt holes."""
        way = np.array(self._way())
        found = {
            name: Port(
                np.array(foot, dtype=float) + self.port_length_mm * way, way, self.port_diameter_mm
            )
            for name, foot in zip(("suction", "discharge"), self._feet(), strict=True)
        }
        return found | {name: ear.port() for name, ear in self._ears().items()}
