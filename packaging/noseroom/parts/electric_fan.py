"""The electric fan: one or two sweeps in a plate with rings, motors standing out on one side."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, length
from noseroom.parts.plates import plate_round_opening
from noseroom.survey.features import Feature, axis, box_faces, circle, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_TWIN = ("number", "twin")
_AFT = (1.0, 0.0, 0.0)
Corner = tuple[Any, Any, Any]
Ends = tuple[Any, Any]


@dataclass(frozen=True, kw_only=True)
class ElectricFan(Part):
    """An electric fan behind the radiator (motor aft) or in front of it (motor ahead).

    Datum: the middle of the frame's front face, on the axis of a single fan, half way between the
    two of a twin. The frame is a plate on the side that is mounted, with a ring round each sweep
    that is as deep as the frame, and two bars across each ring that hold the motor on the far side.
    `sweep` is the space that the blades run through, set back from both faces of the frame; the
    blades themselves are not modelled.
    """

    about: ClassVar[About] = About(
        name="electric fan",
        help="electric fan, single or twin: frame, motor, swept space",
        group="body",
        carried_by=("radiator", "condenser", "car"),
        colour="#2f8f9d",
        assumed=(
            "parallel to {carrier} ± 1 deg",
            "middle centred on {carrier}.core ± 50 mm",
            "middle centred up and down on {carrier}.core ± 50 mm",
        ),
        start_mm=(60.0, 0.0, 0.0),
        touches=(("frame", "core"), ("frame", "tanks"), ("frame", "headers"), ("frame", "box")),
    )

    mounting: str = choice("mounting", "behind", "in front", help="which side of the core it is on")
    number: str = choice("number", "single", "twin", help="how many fans the frame holds")
    diameter_mm: float = length("diameter", "swept by the blades", low=150, high=600)
    depth_mm: float = length("frame.depth", "front to rear face, without motor", low=16, high=150)
    motor_depth_mm: float = length("motor.depth", "beyond the frame", low=2, high=150)
    motor_diameter_mm: float = length(
        "motor.diameter", "outside, or the hub's if larger", low=40, high=140, usual=100, reach=25
    )
    tip_gap_mm: float = length(
        "ring.gap", "blade tip to the ring", low=1, high=20, usual=4, reach=2
    )
    ring_mm: float = length("ring.thickness", "inside to outside", low=3, high=40, usual=6, reach=3)
    plate_mm: float = length(
        "plate.thickness", "at the mounting side", low=1, high=12, usual=4, reach=2
    )
    beyond_mm: float = length(
        "plate.beyond", "past the ring at its sides", low=2, high=100, usual=10, reach=8
    )
    hole_mm: float = length(
        "plate.hole", "mounting holes in the corners", low=3, high=12, usual=6, reach=1
    )
    inset_mm: float = length(
        "plate.hole inset", "hole's middle to either edge", low=8, high=20, usual=12, reach=4
    )
    set_back_mm: float = length(
        "blades.set back", "from either face of the frame", low=1, high=6, usual=4, reach=2
    )
    between_mm: float = length(
        "between", "from one ring to the other", low=1, high=200, usual=10, reach=8, when=_TWIN
    )

    def _radii(self) -> tuple[Any, Any]:
        """Inside and outside radius of a ring."""
        inner = self.diameter_mm / 2 + self.tip_gap_mm
        return inner, inner + self.ring_mm

    def _centres(self) -> tuple[Any, ...]:
        """Where each axis is across the frame."""
        if self.number == "single":
            return (0.0,)
        off = self._radii()[1] + self.between_mm / 2
        return -off, off

    def _half(self) -> tuple[Any, Any]:
        """Half width and half height of the plate."""
        outer = self._radii()[1] + self.beyond_mm
        return self._centres()[-1] + outer, outer

    def _towards(self, near: Any, far: Any) -> Ends:
        """Ends along X of what lies from `near` to `far` behind the mounting face."""
        if self.mounting == "behind":
            return near, far
        return self.depth_mm - far, self.depth_mm - near

    def _plate(self) -> tuple[Corner, Corner]:
        (a, b), (w, h) = self._towards(0.0, self.plate_mm), self._half()
        return (a, -w, -h), (b, w, h)

    def _bars(self, y: Any) -> tuple[tuple[Corner, Corner], ...]:
        """Opposite corners of the bars that hold a motor, a sixth of it wide, into the ring."""
        a, b = self._towards(self.depth_mm - self.set_back_mm, self.depth_mm)
        half, reach = self.motor_diameter_mm / 12, sum(self._radii()) / 2
        return (
            ((a, y - reach, -half), (b, y + reach, half)),
            ((a, y - half, -reach), (b, y + half, reach)),
        )

    def _sweep(self) -> Ends:
        return self.set_back_mm, self.depth_mm - self.set_back_mm

    def _motor(self) -> Ends:
        return self._towards(self.set_back_mm, self.depth_mm + self.motor_depth_mm)

    def _holes(self) -> dict[str, Corner]:
        """Mounting holes at the plate's front face, by name."""
        (low, high), inset = self._plate(), self.inset_mm
        return {
            f"{end} {side} hole": (low[0], y, z)
            for end, z in (("lower", low[2] + inset), ("upper", high[2] - inset))
            for side, y in (("left", low[1] + inset), ("right", high[1] - inset))
        }

    def features(self) -> dict[str, Feature]:
        """The frame's faces, the motor's end, the axes, the sweep's rim."""
        w, h = self._half()
        found = box_faces((0.0, -w, -h), (self.depth_mm, w, h))
        ends = self._motor()
        behind = self.mounting == "behind"
        tip, out = (ends[1], (1, 0, 0)) if behind else (ends[0], (-1, 0, 0))
        found["motor.face"] = face(vector(tip, self._centres()[-1], 0.0), out)
        names = ("",) if self.number == "single" else ("left ", "right ")
        for name, y in zip(names, self._centres(), strict=True):
            found[f"{name}axis"] = axis(vector(0.0, y, 0.0), _AFT)
            found[f"{name}motor.rim"] = circle(vector(tip, y, 0.0), self.motor_diameter_mm / 2, out)
            found[f"{name}ring"] = circle(vector(0.0, y, 0.0), self._radii()[0])
        for name, middle in self._holes().items():
            found[name] = circle(vector(*middle), self.hole_mm / 2)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Wedges that leave the rings free; boxes for the bars; prisms and rings."""
        inner, outer = self._radii()
        made: list[Piece] = []
        low, high = self._plate()
        edges = {-1: (low[1], 0.0), 0: (low[1], high[1]), 1: (0.0, high[1])}
        halves = (0,) if self.number == "single" else (-1, 1)
        (a, b), (c, d) = self._sweep(), self._motor()
        for y, half in zip(self._centres(), halves, strict=True):
            made += plate_round_opening(
                "frame", (low[0], high[0]), edges[half], (low[2], high[2]), (y, 0.0), inner
            )
            made += pieces.ring("frame", vector(0.0, y, 0.0), _AFT, self.depth_mm, inner, outer)
            made += [pieces.box("frame", *bar) for bar in self._bars(y)]
            made += pieces.ring(
                "sweep",
                vector(a, y, 0.0),
                _AFT,
                b - a,
                self.motor_diameter_mm / 2,
                self.diameter_mm / 2,
            )
            made.append(
                pieces.cylinder("motor", vector(c, y, 0.0), _AFT, d - c, self.motor_diameter_mm / 2)
            )
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Frame, motors, and the space that the blades run through."""
        inner, outer = self._radii()
        motor, tip = self.motor_diameter_mm / 2, self.diameter_mm / 2
        low, high = self._plate()
        (a, b), (c, d) = self._sweep(), self._motor()
        centres = self._centres()
        body = shapes.joined(
            [
                shapes.box(low, high),
                *[shapes.cylinder((0.0, y, 0.0), _AFT, self.depth_mm, outer) for y in centres],
            ],
            without=[
                *[shapes.cylinder((0.0, y, 0.0), _AFT, self.depth_mm, inner) for y in centres],
                *[
                    shapes.cylinder(foot, _AFT, self.plate_mm, self.hole_mm / 2)
                    for foot in self._holes().values()
                ],
            ],
        )
        bars = [shapes.box(*bar) for y in centres for bar in self._bars(y)]
        return {
            "frame": shapes.joined([body, *bars]),
            "motor": shapes.joined(
                [shapes.cylinder((c, y, 0.0), _AFT, d - c, motor) for y in centres]
            ),
            "sweep": shapes.joined(
                [shapes.cylinder((a, y, 0.0), _AFT, b - a, tip) for y in centres],
                without=[shapes.cylinder((a, y, 0.0), _AFT, b - a, motor) for y in centres],
            ),
        }

    def sweeps(self) -> tuple[str, ...]:
        """The blades' swept space."""
        return ("sweep",)

    def ports(self) -> dict[str, Port]:
        """Mounting holes, on the face that goes against what carries it."""
        behind = self.mounting == "behind"
        out = np.array([-1.0 if behind else 1.0, 0.0, 0.0])
        x = 0.0 if behind else self.depth_mm
        return {
            name: Port(np.array([x, y, z]), out, self.hole_mm)
            for name, (_, y, z) in self._holes().items()
        }

    def movement_bounds(self) -> dict[str, float]:
        """As the pieces move; mounting holes, which they fill, widen by half and shift askew."""
        return super().movement_bounds() | {"hole_mm": 0.5, "inset_mm": math.sqrt(2.0)}
