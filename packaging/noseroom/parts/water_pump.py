"""The water pump's front: hub, pilot and the snout that the hub turns on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, count, length, text
from noseroom.parts.bolt_circles import bolt_ports
from noseroom.survey.features import Feature, axis, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq


@dataclass(frozen=True, kw_only=True)
class WaterPump(Part):
    """Hub with its bolts, pilot ahead of it, snout behind it.

    Datum: the middle of the hub's front face. The pilot stands ahead of that face, the snout runs
    aft from the hub's rear face to the housing. The bolt holes are ports, evenly round the bolt
    circle from 12 o'clock, and not cut in the hub: its bolts fill them.
    """

    about: ClassVar[About] = About(
        name="water pump",
        help="hub, pilot and snout that fan and pulley sit on",
        group="engine",
        carried_by=("engine", "car"),
        colour="#72b7b2",
        assumed=("parallel to {carrier} ± 1/2 deg", "axis 0 mm ± 20 mm right of centreline"),
        start_mm=(-120.0, 0.0, 180.0),
        touches=(("snout", "block"),),
    )

    hub_diameter_mm: float = length("hub.diameter", "outside", low=30, high=200, usual=76, reach=20)
    hub_thickness_mm: float = length(
        "hub.thickness", "flange, front to rear face", low=2, high=60, usual=8, reach=4
    )
    pilot_diameter_mm: float = length(
        "pilot.diameter", "outside", low=5, high=80, usual=16, reach=4
    )
    pilot_length_mm: float = length(
        "pilot.length", "ahead of the hub's face", low=1, high=100, usual=14, reach=8
    )
    bolt_count: int = count("bolts.count", "studs or bolts in the hub", low=2, high=12, usual=4)
    bolt_circle_mm: float = length(
        "bolts.circle", "diameter through the bolts' middles", low=20, high=180, usual=50, reach=15
    )
    thread: str = text("bolts.thread", "as marked or gauged, such as 5/16-24 or M8")
    hole: str = choice(
        "bolts.hole", "blind", "through", "stud", help="what the hub has for each bolt"
    )
    depth_mm: float = length(
        "bolts.depth",
        "full thread from the hub's face: turns of a bolt run in by hand, times its pitch",
        low=0,
        high=80,
        usual=0,
        tolerance=0.8,
        source=NOT_KNOWN,
    )
    material: str = choice(
        "hub.material", "not said", "cast iron", "steel", "aluminium", help="what is tapped"
    )
    bearing_mm: float = length(
        "bearing",
        "front bearing's middle behind the hub's face",
        low=0,
        high=200,
        usual=0,
        tolerance=3,
        source=NOT_KNOWN,
    )
    snout_diameter_mm: float = length(
        "snout.diameter", "outside, behind the hub", low=20, high=200, usual=60, reach=20
    )
    snout_length_mm: float = length(
        "snout.length", "hub's rear face to the housing", low=5, high=250, usual=90, reach=40
    )

    def features(self) -> dict[str, Feature]:
        """Hub face, rear and edge, the pilot and its end, the snout, the axis."""
        r, origin = self.hub_diameter_mm / 2, vector(0.0, 0.0, 0.0)
        back = vector(self.hub_thickness_mm, 0.0, 0.0)
        tip = vector(-self.pilot_length_mm, 0.0, 0.0)
        up, across = vector(0.0, 0.0, r), vector(0.0, r, 0.0)
        return {
            "axis": axis(origin, (1, 0, 0)),
            "hub": cylinder(origin, r),
            "hub.face": face(origin, (-1, 0, 0), top=up, right=across),
            "hub.rear": face(back, (1, 0, 0), top=up, right=across),
            "hub.edge": circle(origin, r),
            "pilot": cylinder(origin, self.pilot_diameter_mm / 2),
            "pilot.end": circle(tip, self.pilot_diameter_mm / 2),
            "snout": cylinder(back, self.snout_diameter_mm / 2),
        }

    def pieces(self) -> tuple[Piece, ...]:
        """One prism each round hub, pilot and snout."""
        ahead = vector(-self.pilot_length_mm, 0.0, 0.0)
        origin, back = vector(0.0, 0.0, 0.0), vector(self.hub_thickness_mm, 0.0, 0.0)
        along = (1.0, 0.0, 0.0)
        return (
            pieces.cylinder("hub", origin, along, self.hub_thickness_mm, self.hub_diameter_mm / 2),
            pieces.cylinder(
                "pilot", ahead, along, self.pilot_length_mm, self.pilot_diameter_mm / 2
            ),
            pieces.cylinder("snout", back, along, self.snout_length_mm, self.snout_diameter_mm / 2),
        )

    def solids(self) -> dict[str, cq.Shape]:
        """Hub, pilot and snout, a cylinder each."""
        aft = (1.0, 0.0, 0.0)
        hub, pilot, snout = (
            self.hub_diameter_mm / 2,
            self.pilot_diameter_mm / 2,
            self.snout_diameter_mm / 2,
        )
        return {
            "hub": shapes.cylinder((0.0, 0.0, 0.0), aft, self.hub_thickness_mm, hub),
            "pilot": shapes.cylinder(
                (-self.pilot_length_mm, 0.0, 0.0), aft, self.pilot_length_mm, pilot
            ),
            "snout": shapes.cylinder(
                (self.hub_thickness_mm, 0.0, 0.0), aft, self.snout_length_mm, snout
            ),
        }

    def ports(self) -> dict[str, Port]:
        """The bolt holes, numbered from 12 o'clock clockwise seen from the front, and the pilot."""
        end = np.array([-self.pilot_length_mm, 0.0, 0.0])
        pilot = Port(end, np.array([-1.0, 0.0, 0.0]), self.pilot_diameter_mm)
        return bolt_ports(self.bolt_count, self.bolt_circle_mm) | {"pilot": pilot}
