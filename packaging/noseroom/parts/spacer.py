"""The spacer between pump hub and fan, as a part to be turned: plain, or with two pilots."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.errors import GeometryError
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, count, length
from noseroom.parts.bolt_circles import bolt_ports
from noseroom.survey.features import Feature, axis, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

LEAST_LAND_MM = 2.0
"""Metal that has to be left between two cuts, and between a cut and the rim: common practice."""
LEAST_WEB_MM = 3.0
"""Metal that has to be left ahead of a recess, so that it is a floor: common practice."""

_DOUBLE = ("form", "double pilot")
_AFT = (1.0, 0.0, 0.0)
_THROUGH_MM = 1.0  # cutters start and end this far off the metal


@dataclass(frozen=True, kw_only=True)
class Spacer(Part):
    """One ring between the hub and the fan, bolted through.

    Datum: the middle of the rear face, which lies on the hub or on what is bolted to it; x forward
    is negative. Plain, its bore goes through and the hub's own pilot still centres the fan. With
    two pilots the bore is a recess that sits on the hub's pilot, and a spigot ahead of the front
    face centres the fan. The spigot is not counted in the thickness. Bolt holes stand evenly round
    the bolt circle from 12 o'clock, as those of the hub. Rims, mouths of the bore and the spigot's
    end have one chamfer; it, the bore and the bolt holes are filled in the pieces, as the pilot and
    the bolts fill them.
    """

    about: ClassVar[About] = About(
        name="spacer",
        help="ring between the pump's hub and the fan",
        group="fan",
        carried_by=("water pump", "car"),
        colour="#9fb3b5",
        freedom="on axis",
        touches=(("body", "hub"), ("body", "pilot")),
    )

    form: str = choice(
        "form", "plain", "double pilot", help="bored through, or with a recess and a spigot"
    )
    thickness_mm: float = length("thickness", "rear face to front face", low=3, high=100)
    diameter_mm: float = length("diameter", "outside", low=40, high=200)
    bore_mm: float = length("bore", "hole for the hub's pilot, diameter", low=5, high=120)
    bolt_count: int = count("bolts.count", "holes", low=2, high=12, usual=4)
    bolt_circle_mm: float = length(
        "bolts.circle", "diameter through the holes' middles", low=20, high=180
    )
    hole_mm: float = length("bolts.hole", "diameter of each hole", low=4, high=20)
    chamfer_mm: float = length(
        "chamfer", "at 45 degrees, each way", low=0.2, high=3, usual=0.8, reach=0.3
    )
    recess_mm: float = length(
        "recess", "depth of the bore", low=2, high=97, usual=15, reach=8, when=_DOUBLE
    )
    spigot_diameter_mm: float = length(
        "spigot.diameter", "outside", low=5, high=80, usual=16, reach=4, when=_DOUBLE
    )
    spigot_length_mm: float = length(
        "spigot.length", "ahead of the front face", low=2, high=30, usual=6, reach=3, when=_DOUBLE
    )

    @property
    def is_double(self) -> bool:
        """Whether it has a recess and a spigot of its own."""
        return self.form == "double pilot"

    def faults(self) -> tuple[str, ...]:
        """Why it cannot be made, a phrase each; nothing where it can."""
        return tuple(self._faults())

    def _faults(self) -> Iterator[str]:
        hole, ring = self.hole_mm, self.bolt_circle_mm
        lands = {
            "the bore and the bolt holes": (ring - hole - self.bore_mm) / 2,
            "the bolt holes and the rim": (self.diameter_mm - ring - hole) / 2,
        }
        if self.is_double:
            lands["the spigot and the bolt holes"] = (ring - hole - self.spigot_diameter_mm) / 2
        for where, land in lands.items():
            if land < self.chamfer_mm + LEAST_LAND_MM:
                yield _short(land, where, self.chamfer_mm + LEAST_LAND_MM)
        between = ring * math.sin(math.pi / self.bolt_count) - hole
        if between < LEAST_LAND_MM:
            yield _short(between, "one bolt hole and the next", LEAST_LAND_MM)
        if self.thickness_mm < 2 * self.chamfer_mm + 1.0:
            yield f"{self.thickness_mm:.1f} mm is too thin for a chamfer at either face"
        if not self.is_double:
            return
        web = self.thickness_mm - self.recess_mm
        if web < LEAST_WEB_MM:
            yield _short(web, "the recess and the front face", LEAST_WEB_MM)
        if self.recess_mm < self.chamfer_mm + 1.0:
            yield f"a recess of {self.recess_mm:.1f} mm is no deeper than its chamfer"
        if min(self.spigot_length_mm, self.spigot_diameter_mm / 2) < self.chamfer_mm + 1.0:
            yield "the spigot is no larger than its chamfer"

    def profile(self) -> list[tuple[float, float]]:
        """Half of the section along its axis without the holes: corners (x, radius), closed."""
        t, c, outside, bore = self.thickness_mm, self.chamfer_mm, self.diameter_mm / 2, self.bore_mm
        rim = [(0.0, outside - c), (-c, outside), (c - t, outside), (-t, outside - c)]
        mouth = [(-c, bore / 2), (0.0, bore / 2 + c)]
        if not self.is_double:
            return [*rim, (-t, bore / 2 + c), (c - t, bore / 2), *mouth]
        spigot, tip = self.spigot_diameter_mm / 2, -(t + self.spigot_length_mm)
        ahead = [(-t, spigot), (tip + c, spigot), (tip, spigot - c), (tip, 0.0)]
        return [*rim, *ahead, (-self.recess_mm, 0.0), (-self.recess_mm, bore / 2), *mouth]

    def _tip(self) -> Any:
        """Where it ends ahead, x."""
        return -(self.thickness_mm + (self.spigot_length_mm if self.is_double else 0.0))

    def features(self) -> dict[str, Feature]:
        """Both faces, the rim, the bore, the axis, and the spigot where there is one."""
        r, front = self.diameter_mm / 2, vector(-self.thickness_mm, 0.0, 0.0)
        origin, up, across = vector(0.0, 0.0, 0.0), vector(0.0, 0.0, r), vector(0.0, r, 0.0)
        found = {
            "axis": axis(origin, _AFT),
            "rear": face(origin, _AFT, top=up, right=across),
            "front": face(front, (-1, 0, 0), top=up, right=across),
            "edge": circle(front, r),
            "rim": cylinder(origin, r),
            "bore": circle(origin, self.bore_mm / 2),
        }
        if self.is_double:
            found["spigot.end"] = circle(vector(self._tip(), 0.0, 0.0), self.spigot_diameter_mm / 2)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """A prism round the ring, and one round the spigot."""
        front = vector(-self.thickness_mm, 0.0, 0.0)
        made = [pieces.cylinder("body", front, _AFT, self.thickness_mm, self.diameter_mm / 2)]
        if self.is_double:
            tip = vector(self._tip(), 0.0, 0.0)
            radius = self.spigot_diameter_mm / 2
            made.append(pieces.cylinder("body", tip, _AFT, self.spigot_length_mm, radius))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """The turned body with its bolt holes. Raises GeometryError where it cannot be made."""
        faults = self.faults()
        if faults:
            raise GeometryError(f"a spacer of these sizes cannot be made: {'; '.join(faults)}")
        long = self.thickness_mm + 2 * _THROUGH_MM
        drills = [
            shapes.cylinder(
                (_THROUGH_MM - long, float(port.point[1]), float(port.point[2])),
                _AFT,
                long,
                self.hole_mm / 2,
            )
            for name, port in self.ports().items()
            if name.startswith("bolt")
        ]
        return {"body": shapes.joined([shapes.turned(self.profile())], without=drills)}

    def ports(self) -> dict[str, Port]:
        """The bolt holes at the front face, clockwise from 12 o'clock seen from the front."""
        return bolt_ports(self.bolt_count, self.bolt_circle_mm, -self.thickness_mm, self.hole_mm)

    def movement_bounds(self) -> dict[str, float]:
        """As the pieces move, and as what they fill does: bore, holes, chamfers and recess."""
        cuts = {"bore_mm": 0.5, "hole_mm": 0.5, "bolt_circle_mm": 0.5, "chamfer_mm": 1.0}
        return super().movement_bounds() | cuts | ({"recess_mm": 1.0} if self.is_double else {})


def _short(found_mm: float, where: str, wanted_mm: float) -> str:
    left = f"{found_mm:.1f} mm is left" if found_mm > 0 else "nothing is left"
    return f"{left} between {where}, at least {wanted_mm:.1f} mm is needed"
