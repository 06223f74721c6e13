"""The receiver-drier: an upright canister with two ports on its top and a clamp round it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Odds, Part, Port, choice, length, share
from noseroom.survey.features import Feature, axis, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_CLAMP = ("clamp.fitted", "yes")
_UP = (0.0, 0.0, 1.0)
# Which way the clamp's lug points, and the horizontal way that runs along its bolt.
_WAYS = {
    "aft": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    "ahead": ((-1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    "left": ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0)),
    "right": ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0)),
}
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Drier(Part):
    """A receiver-drier that stands upright.

    Datum: the middle of its bottom. The ports stand on the top, side by side across the car. The
    clamp is a band with a flat lug, through which a bolt runs level. `elbow room` is the space
    above the ports that the first fitting of each hose needs.
    """

    about: ClassVar[About] = About(
        name="drier",
        help="receiver-drier: canister, two ports on top, clamp",
        group="body",
        carried_by=("core support", "radiator", "car"),
        colour="#b07aa1",
        also=("receiver-drier", "receiver drier", "receiver"),
        assumed=("plumb ± 3 deg", "level ± 3 deg", "square across ± 3 deg"),
        start_mm=(-60.0, 300.0, 50.0),
        touches=(("clamp", "*"),),
    )

    inlet: str = choice("ports.inlet", "left", "right", help="side of the inlet")
    clamp: str = choice("clamp.fitted", "yes", "no", help="whether the clamp is on it")
    lug: str = choice(
        "clamp.points", "aft", "ahead", "left", "right", help="which way the clamp's lug points"
    )
    mounts: str = choice("mounts", "bolted", "rubber", help="how its lug hangs on brackets")
    diameter_mm: float = length("diameter", "of the canister", low=40, high=150)
    height_mm: float = length("height", "of the canister, without ports", low=100, high=400)
    port_diameter_mm: float = length("ports.diameter", "outside", low=6, high=24, usual=18, reach=3)
    port_length_mm: float = length(
        "ports.length", "above the top", low=5, high=80, usual=20, reach=10
    )
    port_spacing_mm: float = length(
        "ports.spacing", "axis to axis", low=26, high=120, usual=36, reach=8
    )
    elbow_diameter_mm: float = length(
        "elbow room.diameter", "of a hose's first fitting", low=10, high=90, usual=35, reach=5
    )
    elbow_length_mm: float = length(
        "elbow room.length", "beyond the port's end", low=10, high=150, usual=50, reach=10
    )
    clamp_up_mm: float = length(
        "clamp.up", "bottom to the band", low=0, high=300, usual=80, reach=60, when=_CLAMP
    )
    clamp_height_mm: float = length(
        "clamp.height", "of the band", low=16, high=80, usual=25, reach=8, when=_CLAMP
    )
    clamp_thickness_mm: float = length(
        "clamp.thickness", "of the band", low=0.8, high=6, usual=2, reach=1, when=_CLAMP
    )
    lug_length_mm: float = length(
        "clamp.lug.length", "beyond the band", low=16, high=80, usual=25, reach=9, when=_CLAMP
    )
    lug_thickness_mm: float = length(
        "clamp.lug.thickness", "along its bolt", low=1, high=30, usual=8, reach=5, when=_CLAMP
    )
    lug_hole_mm: float = length(
        "clamp.lug.hole", "diameter", low=4, high=14, usual=8, reach=2, when=_CLAMP
    )
    mass_kg: float = share(
        "mass", "kg, filled, as its brackets carry it", low=0, high=20, usual=0, source=NOT_KNOWN
    )

    def _ports(self) -> dict[str, Corner]:
        """The port's foot on the top, by name."""
        sign = -1.0 if self.inlet == "left" else 1.0
        half = self.port_spacing_mm / 2
        return {
            "inlet": (0.0, sign * half, self.height_mm),
            "outlet": (0.0, -sign * half, self.height_mm),
        }

    def _outer(self) -> Any:
        """Outside radius of the clamp's band."""
        return self.diameter_mm / 2 + self.clamp_thickness_mm

    def _lug_corner(self, out: Any, along: Any, z: Any) -> Corner:
        """A point of the lug: so far out from the canister's axis, so far along the bolt."""
        way, bolt = _WAYS[self.lug]
        return out * way[0] + along * bolt[0], out * way[1] + along * bolt[1], z

    def _lug_box(self, inner: Any) -> tuple[Corner, Corner]:
        """Opposite corners of the lug, begun so far out from the canister's axis."""
        half, tip = self.lug_thickness_mm / 2, self._outer() + self.lug_length_mm
        low, high = (inner, tip) if self.lug in ("aft", "right") else (-tip, -inner)
        down, up = self.clamp_up_mm, self.clamp_up_mm + self.clamp_height_mm
        if self.lug in ("aft", "ahead"):
            return (low, -half, down), (high, half, up)
        return (-half, low, down), (half, high, up)

    def _hole(self) -> Corner:
        """Where the lug's hole begins, on the face that its bolt points away from."""
        out = self._outer() + self.lug_length_mm / 2
        return self._lug_corner(
            out, -self.lug_thickness_mm / 2, self.clamp_up_mm + self.clamp_height_mm / 2
        )

    def at_odds(self) -> tuple[Odds, ...]:
        """A band that reaches above its canister holds nothing."""
        over = float(np.real(self.clamp_up_mm + self.clamp_height_mm - self.height_mm))
        if self.clamp == "no" or over <= 0.0:
            return ()
        return (
            Odds(
                ("clamp.up", "clamp.height", "height"),
                over,
                f"a band that ends {over:.1f} mm above the canister's top",
                "clamp.up and clamp.height together no more than the height",
            ),
        )

    def features(self) -> dict[str, Feature]:
        """Canister, its ends, the ports' axes and ends, the lug's end and hole."""
        radius = self.diameter_mm / 2
        found = {
            "body": cylinder(vector(0.0, 0.0, self.height_mm / 2), radius, _UP),
            "axis": axis(vector(0.0, 0.0, 0.0), _UP),
            "bottom": face(vector(0.0, 0.0, 0.0), (0, 0, -1)),
            "top": face(vector(0.0, 0.0, self.height_mm), (0, 0, 1)),
        }
        for name, (x, y, z) in self._ports().items():
            end = vector(x, y, z + self.port_length_mm)
            found[f"{name}.axis"] = axis(end, _UP)
            found[f"{name}.end"] = circle(end, self.port_diameter_mm / 2, _UP)
        if self.clamp == "yes":
            way, bolt = _WAYS[self.lug]
            middle = self.clamp_up_mm + self.clamp_height_mm / 2
            tip = self._lug_corner(self._outer() + self.lug_length_mm, 0.0, middle)
            found["lug.end"] = face(vector(*tip), way, top=vector(0, 0, self.clamp_height_mm / 2))
            found["lug.hole"] = circle(vector(*self._hole()), self.lug_hole_mm / 2, bolt)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Prisms round canister and ports, a true ring for the band, a box for the lug."""
        radius = self.diameter_mm / 2
        foot = vector(0.0, 0.0, 0.0)
        made = [pieces.cylinder("body", foot, _UP, self.height_mm, radius)]
        for x, y, z in self._ports().values():
            start, end = vector(x, y, z), vector(x, y, z + self.port_length_mm)
            made.append(
                pieces.cylinder("ports", start, _UP, self.port_length_mm, self.port_diameter_mm / 2)
            )
            made.append(
                pieces.cylinder(
                    "elbow room", end, _UP, self.elbow_length_mm, self.elbow_diameter_mm / 2
                )
            )
        if self.clamp == "yes":
            outer = self._outer()
            made += pieces.ring(
                "clamp",
                vector(0.0, 0.0, self.clamp_up_mm),
                _UP,
                self.clamp_height_mm,
                radius,
                outer,
            )
            # The lug leaves the band where the band's flank is half the lug's thickness away.
            inner = np.sqrt(outer * outer - (self.lug_thickness_mm / 2) ** 2)
            made.append(pieces.box("clamp", *self._lug_box(inner)))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Canister, ports, clamp, and the room for the hoses' elbows."""
        radius = self.diameter_mm / 2
        ports = list(self._ports().values())
        made = {
            "body": shapes.cylinder((0.0, 0.0, 0.0), _UP, self.height_mm, radius),
            "ports": shapes.joined(
                [
                    shapes.cylinder(foot, _UP, self.port_length_mm, self.port_diameter_mm / 2)
                    for foot in ports
                ]
            ),
            "elbow room": shapes.joined(
                [
                    shapes.cylinder(
                        (x, y, z + self.port_length_mm),
                        _UP,
                        self.elbow_length_mm,
                        self.elbow_diameter_mm / 2,
                    )
                    for x, y, z in ports
                ]
            ),
        }
        if self.clamp == "yes":
            start, height = (0.0, 0.0, self.clamp_up_mm), self.clamp_height_mm
            made["clamp"] = shapes.joined(
                [
                    shapes.cylinder(start, _UP, height, self._outer()),
                    shapes.box(*self._lug_box(radius / 2)),
                ],
                without=[
                    shapes.cylinder(start, _UP, height, radius),
                    shapes.cylinder(
                        self._hole(),
                        _WAYS[self.lug][1],
                        self.lug_thickness_mm,
                        self.lug_hole_mm / 2,
                    ),
                ],
            )
        return made

    def sweeps(self) -> tuple[str, ...]:
        """The elbows' room is space to be kept free, not metal."""
        return ("elbow room",)

    def ports(self) -> dict[str, Port]:
        """Inlet and outlet, and the lug's hole."""
        up = np.array(_UP)
        found = {
            name: Port(np.array([x, y, z + self.port_length_mm]), up, self.port_diameter_mm)
            for name, (x, y, z) in self._ports().items()
        }
        if self.clamp == "yes":
            bolt = -np.array(_WAYS[self.lug][1])
            found["lug"] = Port(np.array(self._hole()), bolt, self.lug_hole_mm)
        return found

    def movement_bounds(self) -> dict[str, float]:
        """As the pieces move; the rim of the lug's hole, which they fill, moves half its size."""
        return super().movement_bounds() | {"lug_hole_mm": 0.5}
