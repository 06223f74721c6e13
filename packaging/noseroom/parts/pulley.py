"""A pulley: a grooved rim and the web that it is bolted on by."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, choice, count, length
from noseroom.parts.driven import Driven
from noseroom.survey.features import Feature, axis, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_V, _RIBBED = ("section", "v"), ("section", "ribbed")
_AFT = (1.0, 0.0, 0.0)

RIB_PITCH_MM = 3.56
"""Rib pitch of a multi-rib (PK) belt: ISO 9981/9982 Table 1, SAE J1459 (from memory)."""

_RIB_ANGLE_RAD = math.radians(40.0)  # between a groove's flanks; the same sources, from memory
_RIB_DEPTH_MM = 2.9  # as cut, flat-bottomed; from memory
_RIB_LAND_MM = 0.5  # flat left between two grooves; from memory
_V_ANGLE_RAD = math.radians(36.0)  # between a V groove's flanks; from memory
_V_DEPTH = 0.9  # depth of a V groove per mm of its top width; common practice


@dataclass(frozen=True, kw_only=True)
class Pulley(Driven):
    """A V or multi-rib pulley that slides along its carrier's axis until it is measured.

    Datum: the middle of the belt plane on the axis; the rim is symmetric about that plane. Its
    width follows from the grooves: one top width each and a land between and beside them (V), or
    (ribs - 1) pitches and an edge on either side (multi-rib). The rim is hollow inside its wall,
    and closed by a flat web.
    """

    about: ClassVar[About] = About(
        name="pulley",
        help="V or multi-rib pulley on pump, crank or another shaft",
        group="engine",
        carried_by=("water pump", "alternator", "compressor", "engine", "car"),
        colour="#9d755d",
        freedom="on axis",
        assumed=(
            "middle 20 mm ± 20 mm aft of {carrier}.hub.face",
            "middle 45 mm ± 40 mm ahead of {carrier}.front",
            "middle 0 mm ± 20 mm aft of {carrier}.belt",
        ),
        touches=(("web", "hub"), ("web", "pilot")),
    )

    section: str = choice("section", "v", "ribbed", help="which belt it is cut for")
    web: str = choice("web.place", "front", "middle", "rear", help="where the web closes the rim")
    diameter_mm: float = length("diameter", "over the rim", low=50, high=400)
    grooves: int = count("grooves", "V grooves", low=1, high=4, usual=1, when=_V)
    groove_width_mm: float = length(
        "groove.width", "across the top of one V", low=6, high=17, usual=12.7, reach=3, when=_V
    )
    land_mm: float = length(
        "groove.land", "beside and between the Vs", low=1, high=10, usual=2.5, reach=1.5, when=_V
    )
    ribs: int = count(
        "ribs", "grooves of a multi-rib pulley", low=2, high=12, usual=6, when=_RIBBED
    )
    edge_mm: float = length(
        "rib.edge",
        "outermost groove's middle to the face",
        low=2,
        high=12,
        usual=3,
        reach=1,
        when=_RIBBED,
    )
    wall_mm: float = length("wall", "rim, under the grooves", low=1, high=6, usual=3, reach=1.5)
    web_thickness_mm: float = length("web.thickness", "plate", low=0.8, high=10, usual=3, reach=1.5)

    def _groove(self) -> tuple[Any, Any, Any]:
        """Top width, depth and half the bottom width of a groove, mm."""
        if self.section == "v":
            top, depth = self.groove_width_mm, _V_DEPTH * self.groove_width_mm
            slope = math.tan(_V_ANGLE_RAD / 2)
        else:
            top, depth = RIB_PITCH_MM - _RIB_LAND_MM, _RIB_DEPTH_MM
            slope = math.tan(_RIB_ANGLE_RAD / 2)
        return top, depth, top / 2 - depth * slope

    def _middles(self) -> tuple[Any, ...]:
        """Every groove's middle, x, front to rear."""
        if self.section == "v":
            number, pitch = self.grooves, self.groove_width_mm + self.land_mm
        else:
            number, pitch = self.ribs, RIB_PITCH_MM
        return tuple((k - (number - 1) / 2) * pitch for k in range(number))

    @property
    def width_mm(self) -> Any:
        """Rim width, face to face."""
        middles = self._middles()
        beside = self.groove_width_mm / 2 + self.land_mm if self.section == "v" else self.edge_mm
        return middles[-1] - middles[0] + 2 * beside

    def _inner(self) -> Any:
        """Radius inside the rim's wall."""
        return self.diameter_mm / 2 - self._groove()[1] - self.wall_mm

    def _web_front(self) -> Any:
        """Where the web begins, x."""
        width, thickness = self.width_mm, self.web_thickness_mm
        if self.web == "front":
            return -width / 2
        return -thickness / 2 if self.web == "middle" else width / 2 - thickness

    def features(self) -> dict[str, Feature]:
        """Front and rear faces with their outer edges, the rim, the belt plane, the axis."""
        r, half = self.diameter_mm / 2, self.width_mm / 2
        front, rear, middle = (vector(x, 0.0, 0.0) for x in (-half, half, 0.0))
        up, across = vector(0.0, 0.0, r), vector(0.0, r, 0.0)
        face_ = face(front, (-1, 0, 0), top=up, right=across)
        return {
            "axis": axis(middle, _AFT),
            "middle": face(middle, (-1, 0, 0), top=up, right=across),
            "belt": circle(middle, r),
            "face": face_,
            "front": face_,
            "rear": face(rear, _AFT, top=up, right=across),
            "edge": circle(front, r),
            "rear.edge": circle(rear, r),
            "rim": cylinder(middle, r),
        }

    def pieces(self) -> tuple[Piece, ...]:
        """Wedges round the rim, grooves filled, and a prism round the web."""
        front = vector(-self.width_mm / 2, 0.0, 0.0)
        web = vector(self._web_front(), 0.0, 0.0)
        inner = self._inner()
        return (
            *pieces.ring("rim", front, _AFT, self.width_mm, inner, self.diameter_mm / 2),
            pieces.cylinder("web", web, _AFT, self.web_thickness_mm, inner),
        )

    def solids(self) -> dict[str, cq.Shape]:
        """The rim, turned with its grooves, and the web."""
        r, half, inner = self.diameter_mm / 2, self.width_mm / 2, self._inner()
        top, depth, bottom = self._groove()
        profile = [(-half, inner), (-half, r)]
        for x in self._middles():
            profile += [
                (x - top / 2, r),
                (x - bottom, r - depth),
                (x + bottom, r - depth),
                (x + top / 2, r),
            ]
        profile += [(half, r), (half, inner)]
        web = shapes.cylinder((self._web_front(), 0.0, 0.0), _AFT, self.web_thickness_mm, inner)
        return {"rim": shapes.turned(profile), "web": web}


@dataclass(frozen=True, kw_only=True)
class CrankPulley(Pulley):
    """A pulley on the crank's nose: the same shape on the engine's own axis.

    Datum: as `Pulley`.
    """

    about: ClassVar[About] = replace(
        Pulley.about,
        name="crank pulley",
        help="V or multi-rib pulley on the crank's nose",
        carried_by=("engine", "car"),
        assumed=("middle 45 mm ± 40 mm ahead of {carrier}.front",),
        touches=(("web", "block"),),
    )

    torque_nm: float = 0.0  # it drives, and the engine bears it
    highest_rpm: float = 0.0
    turns: str = choice(
        "turns", "clockwise", "anticlockwise", help="which way, seen from the front of the car"
    )


@dataclass(frozen=True, kw_only=True)
class IdlerPulley(Pulley):
    """A loose pulley that only guides a belt, or that a tensioner presses against it.

    Datum: as `Pulley`. It stands where its own stud or arm holds it, on no other shaft. A flat one
    is a plain drum, for the belt's back.
    """

    about: ClassVar[About] = replace(
        Pulley.about,
        name="idler pulley",
        help="loose pulley that guides a belt or tightens it: an idler, or a tensioner's",
        carried_by=("engine", "car"),
        freedom="placed",
        assumed=(
            "parallel to {carrier} ± 1/2 deg",
            "middle 45 mm ± 40 mm ahead of {carrier}.front",
        ),
        start_mm=(-50.0, 150.0, 60.0),
        also=("tensioner pulley",),
        touches=(),
    )

    section: str = choice("section", "flat", "v", "ribbed", help="which belt it is cut for")
    face_mm: float = length(
        "width",
        "face to face",
        low=8,
        high=60,
        usual=25,
        reach=6,
        when=("section", "flat"),
    )

    def _groove(self) -> tuple[Any, Any, Any]:
        """None where it is flat."""
        return (0.0, 0.0, 0.0) if self.section == "flat" else super()._groove()

    def _middles(self) -> tuple[Any, ...]:
        """None where it is flat."""
        return () if self.section == "flat" else super()._middles()

    @property
    def width_mm(self) -> Any:
        """Rim width, face to face."""
        return self.face_mm if self.section == "flat" else super().width_mm
