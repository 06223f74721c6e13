"""The radiator: a core between two tanks, necks, a filler, side brackets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, length
from noseroom.survey.features import Feature, axis, box_faces, circle, vector

if TYPE_CHECKING:
    import cadquery as cq

_DOWN, _CROSS = ("flow", "down"), ("flow", "cross")
_PLATES, _CAP = ("brackets.form", "plates"), ("cap.fitted", "yes")
_DEEP = "fore and aft"


@dataclass(frozen=True, kw_only=True)
class Radiator(Part):
    """A down-flow (tanks above and below) or cross-flow (tanks at the sides) radiator.

    Datum: the middle of the core's front face. Tanks stand with their middle on the middle of the
    core's thickness and are as long as the core. Necks point aft: on a down-flow radiator the upper
    one leaves the top tank and the lower one the bottom tank, `from end` being measured along the
    tank from its end on the neck's side; on a cross-flow one each leaves the tank on its side,
    `from end` being measured down from the top (upper) or up from the bottom (lower).
    """

    about: ClassVar[About] = About(
        name="radiator",
        help="engine radiator: core, two tanks, necks, cap and side brackets",
        group="body",
        carried_by=("core support", "car"),
        colour="#4c78a8",
        assumed=(
            "core centred in {carrier}.opening ± 20 mm",
            "core.bottom at front 10 mm ± 40 mm above {carrier}.opening.bottom",
            "plumb ± 3 deg",
            "level ± 1 deg",
            "square across ± 1 deg",
        ),
        start_mm=(20.0, 0.0, 230.0),
        touches=(("brackets", "*"),),
    )

    flow: str = choice("flow", "down", "cross", help="which way the water goes")
    upper_side: str = choice("necks.upper.side", "right", "left", help="side of the upper neck")
    lower_side: str = choice("necks.lower.side", "left", "right", help="side of the lower neck")
    filler: str = choice("cap.fitted", "yes", "no", help="whether the cap sits on the tank")
    brackets: str = choice("brackets.form", "plates", "none", help="flanges beside the core")
    core_width_mm: float = length("core.width", "finned face", low=200, high=1000)
    core_height_mm: float = length("core.height", "finned face", low=150, high=800)
    core_thickness_mm: float = length("core.thickness", "front to rear face", low=12, high=150)
    top_height_mm: float = length(
        "tanks.top.height", "above the core", low=15, high=200, usual=50, reach=15, when=_DOWN
    )
    top_depth_mm: float = length(
        "tanks.top.depth", _DEEP, low=20, high=250, usual=70, reach=15, when=_DOWN
    )
    bottom_height_mm: float = length(
        "tanks.bottom.height", "below the core", low=15, high=200, usual=50, reach=15, when=_DOWN
    )
    bottom_depth_mm: float = length(
        "tanks.bottom.depth", _DEEP, low=20, high=250, usual=65, reach=15, when=_DOWN
    )
    left_width_mm: float = length(
        "tanks.left.width", "beside the core", low=15, high=200, usual=50, reach=15, when=_CROSS
    )
    left_depth_mm: float = length(
        "tanks.left.depth", _DEEP, low=20, high=250, usual=65, reach=15, when=_CROSS
    )
    right_width_mm: float = length(
        "tanks.right.width", "beside the core", low=15, high=200, usual=50, reach=15, when=_CROSS
    )
    right_depth_mm: float = length(
        "tanks.right.depth", _DEEP, low=20, high=250, usual=65, reach=15, when=_CROSS
    )
    neck_diameter_mm: float = length(
        "necks.diameter", "outside", low=15, high=80, usual=38, reach=4
    )
    neck_length_mm: float = length(
        "necks.length", "from the tank's rear face", low=10, high=150, usual=35, reach=8
    )
    upper_from_end_mm: float = length(
        "necks.upper.from end", "to the neck's axis", low=15, high=500, usual=80, reach=50
    )
    lower_from_end_mm: float = length(
        "necks.lower.from end", "to the neck's axis", low=15, high=500, usual=80, reach=50
    )
    cap_diameter_mm: float = length(
        "cap.diameter", "outside", low=25, high=100, usual=65, reach=5, when=_CAP
    )
    cap_height_mm: float = length(
        "cap.height", "above the tank, cap on", low=10, high=100, usual=30, reach=8, when=_CAP
    )
    bracket_width_mm: float = length(
        "brackets.width", "beyond core and tanks", low=5, high=120, usual=25, reach=10, when=_PLATES
    )
    bracket_thickness_mm: float = length(
        "brackets.thickness", "sheet", low=0.8, high=8, usual=2, reach=1, when=_PLATES
    )

    def _boxes(self) -> dict[str, tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]]:
        """Opposite corners of core and tanks, by feature name."""
        w, h, t = self.core_width_mm / 2, self.core_height_mm / 2, self.core_thickness_mm

        def fore_aft(depth: Any) -> tuple[Any, Any]:
            return (t - depth) / 2, (t + depth) / 2

        made = {"core": ((0.0, -w, -h), (t, w, h))}
        if self.flow == "down":
            (a, b), (c, d) = fore_aft(self.top_depth_mm), fore_aft(self.bottom_depth_mm)
            made["top tank"] = ((a, -w, h), (b, w, h + self.top_height_mm))
            made["bottom tank"] = ((c, -w, -h - self.bottom_height_mm), (d, w, -h))
        else:
            (a, b), (c, d) = fore_aft(self.left_depth_mm), fore_aft(self.right_depth_mm)
            made["left tank"] = ((a, -w - self.left_width_mm, -h), (b, -w, h))
            made["right tank"] = ((c, w, -h), (d, w + self.right_width_mm, h))
        return made

    def _neck(self, which: str) -> tuple[Any, Any, Any]:
        """Where a neck's axis leaves its tank's rear face."""
        side = self.upper_side if which == "upper" else self.lower_side
        inset = self.upper_from_end_mm if which == "upper" else self.lower_from_end_mm
        sign = 1.0 if side == "right" else -1.0
        rise = 1.0 if which == "upper" else -1.0
        if self.flow == "down":
            low, high = self._boxes()["top tank" if which == "upper" else "bottom tank"]
            return high[0], sign * (self.core_width_mm / 2 - inset), (low[2] + high[2]) / 2
        low, high = self._boxes()[f"{side} tank"]
        return high[0], (low[1] + high[1]) / 2, rise * (self.core_height_mm / 2 - inset)

    def _cap(self) -> tuple[Any, Any, Any]:
        """Foot of the filler cap: on the top tank's middle, or on the right tank's top."""
        low, high = self._boxes()["top tank" if self.flow == "down" else "right tank"]
        return self.core_thickness_mm / 2, (low[1] + high[1]) / 2, high[2]

    def _plates(self) -> tuple[tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]], ...]:
        """Side brackets: flat plates at the core's front face, beyond core and side tanks."""
        h, t = self.core_height_mm / 2, self.bracket_thickness_mm
        left = right = self.core_width_mm / 2
        if self.flow == "cross":
            left, right = left + self.left_width_mm, right + self.right_width_mm
        out = self.bracket_width_mm
        return (((0.0, -left - out, -h), (t, -left, h)), ((0.0, right, -h), (t, right + out, h)))

    def features(self) -> dict[str, Feature]:
        """Faces of core and tanks, neck axes and ends, the cap's top."""
        found: dict[str, Feature] = {}
        for name, (low, high) in self._boxes().items():
            found |= box_faces(low, high, f"{name}.")
        for which in ("upper", "lower"):
            x, y, z = self._neck(which)
            end = vector(x + self.neck_length_mm, y, z)
            found[f"{which} neck.axis"] = axis(end, (1, 0, 0))
            found[f"{which} neck.end"] = circle(end, self.neck_diameter_mm / 2)
        if self.filler == "yes":
            x, y, z = self._cap()
            top = vector(x, y, z + self.cap_height_mm)
            found["cap.top"] = circle(top, self.cap_diameter_mm / 2, (0, 0, 1))
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Boxes, prisms round necks and cap, plates."""
        component = {"core": "core"}
        made = [
            pieces.box(component.get(name, "tanks"), low, high)
            for name, (low, high) in self._boxes().items()
        ]
        for which in ("upper", "lower"):
            start = vector(*self._neck(which))
            made.append(
                pieces.cylinder(
                    "necks", start, (1, 0, 0), self.neck_length_mm, self.neck_diameter_mm / 2
                )
            )
        if self.filler == "yes":
            start = vector(*self._cap())
            made.append(
                pieces.cylinder(
                    "cap", start, (0, 0, 1), self.cap_height_mm, self.cap_diameter_mm / 2
                )
            )
        if self.brackets == "plates":
            made += [pieces.box("brackets", low, high) for low, high in self._plates()]
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Core, tanks, necks, cap and side brackets."""
        boxes = self._boxes()
        radius = self.neck_diameter_mm / 2
        made = {
            "core": shapes.box(*boxes["core"]),
            "tanks": shapes.joined([shapes.box(*boxes[name]) for name in boxes if name != "core"]),
            "necks": shapes.joined(
                [
                    shapes.cylinder(self._neck(which), (1, 0, 0), self.neck_length_mm, radius)
                    for which in ("upper", "lower")
                ]
            ),
        }
        if self.filler == "yes":
            made["cap"] = shapes.cylinder(
                self._cap(), (0, 0, 1), self.cap_height_mm, self.cap_diameter_mm / 2
            )
        if self.brackets == "plates":
            made["brackets"] = shapes.joined([shapes.box(*plate) for plate in self._plates()])
        return made

    def ports(self) -> dict[str, Port]:
        """The necks' hose ends."""
        found = {}
        for which in ("upper", "lower"):
            x, y, z = self._neck(which)
            found[f"{which} neck"] = Port(
                np.array([x + self.neck_length_mm, y, z]),
                np.array([1.0, 0.0, 0.0]),
                self.neck_diameter_mm,
            )
        return found
