"""The condenser: a parallel-flow core between two upright headers, ports and mounting tabs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, Port, choice, length, share
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, vector

if TYPE_CHECKING:
    import cadquery as cq

_ROUND, _FLAT = ("headers.form", "round"), ("headers.form", "flat")
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Condenser(Part):
    """A parallel-flow condenser.

    Datum: the middle of the core's front face. Headers are as long as the core is high and stand
    with their middle on the middle of its thickness; so do the four tabs, two on either header,
    which point away from the core. Both ports sit on one header. `elbow room` is the space that
    the first fitting of each hose needs beyond its port.
    """

    about: ClassVar[About] = About(
        name="condenser",
        help="parallel-flow condenser: core, headers, ports, tabs",
        group="body",
        carried_by=("radiator", "core support", "car"),
        colour="#e0a030",
        assumed=(
            "core centred on {carrier}.core ± 15 mm",
            "core centred up and down on {carrier}.core ± 30 mm",
            "core centred in {carrier}.opening ± 15 mm",
            "core centred up and down in {carrier}.opening ± 30 mm",
            "parallel to {carrier} ± 1 deg",
        ),
        start_mm=(-45.0, 0.0, 0.0),
        touches=(("tabs", "*"),),
    )

    headers: str = choice("headers.form", "round", "flat", help="section of the headers")
    mounts: str = choice("mounts", "bolted", "rubber", help="how its tabs hang on brackets")
    side: str = choice("ports.side", "right", "left", help="header that carries the ports")
    way: str = choice("ports.way", "out", "aft", "ahead", help="where the ports point")
    core_width_mm: float = length("core.width", "between the headers", low=200, high=1000)
    core_height_mm: float = length("core.height", "bottom to top", low=150, high=800)
    core_thickness_mm: float = length("core.thickness", "front to rear face", low=8, high=60)
    header_diameter_mm: float = length(
        "headers.diameter", "outside", low=10, high=60, usual=22, reach=4, when=_ROUND
    )
    header_width_mm: float = length(
        "headers.width", "beside the core", low=8, high=60, usual=20, reach=5, when=_FLAT
    )
    header_depth_mm: float = length(
        "headers.depth", "fore and aft", low=8, high=80, usual=24, reach=6, when=_FLAT
    )
    port_diameter_mm: float = length("ports.diameter", "outside", low=6, high=30, usual=18, reach=4)
    port_length_mm: float = length(
        "ports.length", "beyond the header", low=5, high=120, usual=25, reach=10
    )
    port_from_top_mm: float = length(
        "ports.from top", "header's top to the upper axis", low=5, high=600, usual=50, reach=30
    )
    port_spacing_mm: float = length(
        "ports.spacing", "upper to lower axis", low=32, high=700, usual=200, reach=100
    )
    elbow_diameter_mm: float = length(
        "elbow room.diameter", "of a hose's first fitting", low=10, high=90, usual=35, reach=5
    )
    elbow_length_mm: float = length(
        "elbow room.length", "beyond the port's end", low=10, high=150, usual=50, reach=10
    )
    tab_width_mm: float = length(
        "tabs.width", "out from the header", low=16, high=100, usual=25, reach=9
    )
    tab_height_mm: float = length("tabs.height", "up and down", low=16, high=44, usual=25, reach=9)
    tab_thickness_mm: float = length(
        "tabs.thickness", "sheet", low=0.8, high=8, usual=2.5, reach=1.2
    )
    tab_from_end_mm: float = length(
        "tabs.from end", "header's end to the tab", low=0, high=30, usual=15, reach=15
    )
    tab_hole_mm: float = length("tabs.hole", "diameter", low=4, high=14, usual=8, reach=2)
    mass_kg: float = share(
        "mass", "kg, filled, as its brackets carry it", low=0, high=20, usual=0, source=NOT_KNOWN
    )

    def _core(self) -> tuple[Corner, Corner]:
        w, h = self.core_width_mm / 2, self.core_height_mm / 2
        return (0.0, -w, -h), (self.core_thickness_mm, w, h)

    def _header_size(self) -> tuple[Any, Any]:
        """How wide and how deep a header is."""
        if self.headers == "round":
            return self.header_diameter_mm, self.header_diameter_mm
        return self.header_width_mm, self.header_depth_mm

    def _header(self, sign: float) -> tuple[Corner, Corner]:
        """Opposite corners of the box round a header."""
        wide, deep = self._header_size()
        inner, h = sign * self.core_width_mm / 2, self.core_height_mm / 2
        ends = (inner, inner + sign * wide) if sign > 0 else (inner + sign * wide, inner)
        mid = self.core_thickness_mm / 2
        return (mid - deep / 2, ends[0], -h), (mid + deep / 2, ends[1], h)

    def _port(self, which: str) -> tuple[Corner, tuple[float, float, float], Any]:
        """Where a port begins (on the header's axis), which way it points, how long it is."""
        sign = 1.0 if self.side == "right" else -1.0
        wide, deep = self._header_size()
        down = self.port_from_top_mm + (self.port_spacing_mm if which == "lower" else 0.0)
        start = (
            self.core_thickness_mm / 2,
            sign * (self.core_width_mm / 2 + wide / 2),
            self.core_height_mm / 2 - down,
        )
        if self.way == "out":
            return start, (0.0, sign, 0.0), wide / 2 + self.port_length_mm
        towards = 1.0 if self.way == "aft" else -1.0
        return start, (towards, 0.0, 0.0), deep / 2 + self.port_length_mm

    def _port_end(self, which: str) -> tuple[Corner, tuple[float, float, float]]:
        start, way, reach = self._port(which)
        return (
            start[0] + way[0] * reach,
            start[1] + way[1] * reach,
            start[2] + way[2] * reach,
        ), way

    def _tabs(self) -> dict[str, tuple[Corner, Corner, Corner]]:
        """Opposite corners of each tab, from its header's axis out, and its hole's middle."""
        t, h, mid = self.tab_thickness_mm / 2, self.core_height_mm / 2, self.core_thickness_mm / 2
        wide, _ = self._header_size()
        foot = self.core_width_mm / 2 + wide / 2
        tip = foot + wide / 2 + self.tab_width_mm
        hole = tip - self.tab_width_mm / 2
        near, far = h - self.tab_from_end_mm, h - self.tab_from_end_mm - self.tab_height_mm
        made: dict[str, tuple[Corner, Corner, Corner]] = {}
        for end, (low, high) in (("upper", (far, near)), ("lower", (-near, -far))):
            z = (low + high) / 2
            made[f"{end} left tab"] = (
                (mid - t, -tip, low),
                (mid + t, -foot, high),
                (mid, -hole, z),
            )
            made[f"{end} right tab"] = ((mid - t, foot, low), (mid + t, tip, high), (mid, hole, z))
        return made

    def features(self) -> dict[str, Feature]:
        """Faces of core and headers, port axes and ends, tab faces and holes."""
        found = box_faces(*self._core(), "core.")
        for name, sign in (("left header", -1.0), ("right header", 1.0)):
            low, high = self._header(sign)
            found |= box_faces(low, high, f"{name}.")
            if self.headers == "round":
                middle = vector(*[(a + b) / 2 for a, b in zip(low, high, strict=True)])
                flank = cylinder(middle, self.header_diameter_mm / 2, (0, 0, 1))
                found[f"{name}.flank"] = flank
        for which in ("upper", "lower"):
            end, way = self._port_end(which)
            found[f"{which} port.axis"] = axis(vector(*end), way)
            found[f"{which} port.end"] = circle(vector(*end), self.port_diameter_mm / 2, way)
        for name, (low, high, hole) in self._tabs().items():
            found |= box_faces(low, high, f"{name}.")
            found[f"{name}.hole"] = circle(vector(*hole), self.tab_hole_mm / 2)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Boxes and prisms; the tabs' holes are filled."""
        made = [pieces.box("core", *self._core())]
        for sign in (-1.0, 1.0):
            low, high = self._header(sign)
            if self.headers == "flat":
                made.append(pieces.box("headers", low, high))
                continue
            foot = vector((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2])
            made.append(
                pieces.cylinder(
                    "headers", foot, (0, 0, 1), self.core_height_mm, self.header_diameter_mm / 2
                )
            )
        for which in ("upper", "lower"):
            start, way, reach = self._port(which)
            end, _ = self._port_end(which)
            made.append(
                pieces.cylinder("ports", vector(*start), way, reach, self.port_diameter_mm / 2)
            )
            made.append(
                pieces.cylinder(
                    "elbow room",
                    vector(*end),
                    way,
                    self.elbow_length_mm,
                    self.elbow_diameter_mm / 2,
                )
            )
        made += [pieces.box("tabs", low, high) for low, high, _ in self._tabs().values()]
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Core, headers, ports, tabs, and the room for the hoses' elbows."""
        headers, ports, rooms = [], [], []
        for sign in (-1.0, 1.0):
            low, high = self._header(sign)
            if self.headers == "flat":
                headers.append(shapes.box(low, high))
                continue
            foot = ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2])
            headers.append(
                shapes.cylinder(foot, (0, 0, 1), self.core_height_mm, self.header_diameter_mm / 2)
            )
        for which in ("upper", "lower"):
            start, way, reach = self._port(which)
            end, _ = self._port_end(which)
            ports.append(shapes.cylinder(start, way, reach, self.port_diameter_mm / 2))
            rooms.append(
                shapes.cylinder(end, way, self.elbow_length_mm, self.elbow_diameter_mm / 2)
            )
        tabs = self._tabs().values()
        drill = [
            shapes.cylinder(
                (low[0], hole[1], hole[2]), (1, 0, 0), self.tab_thickness_mm, self.tab_hole_mm / 2
            )
            for low, _, hole in tabs
        ]
        return {
            "core": shapes.box(*self._core()),
            "headers": shapes.joined(headers),
            "ports": shapes.joined(ports),
            "tabs": shapes.joined([shapes.box(low, high) for low, high, _ in tabs], without=drill),
            "elbow room": shapes.joined(rooms),
        }

    def sweeps(self) -> tuple[str, ...]:
        """The elbows' room is space to be kept free, not metal."""
        return ("elbow room",)

    def ports(self) -> dict[str, Port]:
        """Hose ends, and the tabs' holes."""
        found: dict[str, Port] = {}
        for which in ("upper", "lower"):
            end, way = self._port_end(which)
            found[f"{which} port"] = Port(np.array(end), np.array(way), self.port_diameter_mm)
        for name, (_, high, hole) in self._tabs().items():
            at = np.array([high[0], hole[1], hole[2]])
            found[name] = Port(at, np.array([1.0, 0.0, 0.0]), self.tab_hole_mm)
        return found

    def movement_bounds(self) -> dict[str, float]:
        """As the pieces move; the rim of a tab's hole, which they fill, moves half its diameter."""
        return super().movement_bounds() | {"tab_hole_mm": 0.5}
