"""What a bracket may join: holes in tabs and lugs, and flat faces of the core support."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_shape import Plane
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.base import Port
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.parts.drier import Drier
from noseroom.parts.electric_fan import ElectricFan

Floats = NDArray[np.float64]

RUBBER = "rubber"
_ON_FACE_MM = 3.0
"""A hole that was read no further off a face than this is in that face."""
_BOWED_MM = 1.0
_LINE_MM = 0.5


@dataclass(frozen=True, eq=False)
class TabSite:
    """A hole in a tab or lug that waits for a bracket; vehicle frame, mm.

    hand: "left", "right" or "" on the centre line, the car's. feature: of the hole, for how it
    moves. middle: (3,) of the hole in the middle of the metal. normal: (3,) unit, along the hole.
    room_mm: from the hole's middle to the nearest thing of its own part that a washer would meet.
    edge_mm: to the nearest edge. component: of the metal. must_read: keys of the sizes that decide
    metal. rubber: whether the file wants it on rubber.
    """

    host: PlacedPart
    name: str
    hand: str
    feature: str
    middle: Floats
    normal: Floats
    thickness_mm: float
    hole_mm: float
    room_mm: float
    edge_mm: float
    component: str
    must_read: tuple[str, ...]
    rubber: bool = False

    @property
    def title(self) -> str:
        """Such as "condenser upper left tab"."""
        return (
            self.name if self.name.startswith(self.host.name) else f"{self.host.name} {self.name}"
        )

    def face(self, side: int) -> Plane:
        """A face of it, 1 that which the normal leaves by, -1 the other; up is out of the metal."""
        up = side * self.normal
        return Plane(self.middle + self.thickness_mm / 2.0 * up, up)


@dataclass(frozen=True, eq=False)
class RailEdge:
    """What a hole on a face is measured from.

    axis: 0 along the face's first way, 1 along its second. at_mm: where it is along that. feature:
    of the core support, for how it moves. words: such as "the opening's left edge".
    """

    axis: int
    at_mm: float
    feature: str
    words: str


@dataclass(frozen=True, eq=False)
class RailFace:
    """A flat face of the core support that a bracket may lie on; vehicle frame, mm.

    plane: its up is out of the metal. ways: (2, 3) unit, along which it reaches from low to high,
    (2,) each, counted from the plane's point. sheet_mm: of its metal, 0 where it is a box that no
    nut can be held in. component: of the core support. feature: that it is a face of.
    """

    host: PlacedPart
    name: str
    plane: Plane
    ways: Floats
    low: Floats
    high: Floats
    sheet_mm: float
    component: str
    feature: str
    edges: tuple[RailEdge, ...]
    must_read: tuple[str, ...]

    def at(self, spot: Floats) -> Floats:
        """The point (3,) of a spot (2,) on the face."""
        return np.asarray(self.plane.point + spot @ self.ways)

    def spot(self, point: Floats) -> Floats:
        """A point (3,) as seen on the face, (2,)."""
        return np.asarray(self.ways @ (point - self.plane.point))

    def inside(self, spot: Floats, edge_mm: float) -> Floats | None:
        """The nearest spot (2,) that keeps so far from its edges; None: the face is smaller."""
        low, high = self.low + edge_mm, self.high - edge_mm
        return None if (low > high).any() else np.clip(spot, low, high)

    def to_edge_mm(self, spot: Floats) -> float:
        """From a spot to the nearest edge."""
        return float(min((spot - self.low).min(), (self.high - spot).min()))

    def moves(self, point: Floats) -> Floats:
        """How a hole moves that is drilled at a point, read from the face's edges: (3, s) mm."""
        _, _, found = self.host.touch_point(self.feature)
        up = self.plane.up
        total = np.outer(up, up) @ found
        for axis in (0, 1):
            edge = self.nearest_edge(point, axis)
            _, _, found = self.host.touch_point(edge.feature)
            total = total + np.outer(self.ways[axis], self.ways[axis]) @ found
        return np.asarray(total)

    def nearest_edge(self, point: Floats, axis: int) -> RailEdge:
        """What a hole at a point is measured from along one of the face's ways."""
        spot = self.spot(point)[axis]
        return min(
            (one for one in self.edges if one.axis == axis), key=lambda one: abs(spot - one.at_mm)
        )


@dataclass(frozen=True, eq=False)
class FreeHole:
    """A hole that is there already, in a face of the core support. spot: (2,) on that face."""

    part: PlacedPart
    face: RailFace
    point: Floats
    diameter_mm: float

    @property
    def bolt_stays(self) -> bool:
        """Whether a bolt is in it that is only loosened."""
        return str(getattr(self.part.part, "bolt", "")) == "stays in"

    def moves(self) -> Floats:
        """How it moves by the readings, (3, s) mm."""
        return self.part.touch_point("rim")[2]


def tab_sites(layout: Layout) -> Iterator[TabSite]:
    """Every hole of a condenser, drier or electric fan that something has to hold it by."""
    for part in layout.parts.values():
        if not part.unplaced and part.known:
            yield from _sites_of(part)


def _sites_of(part: PlacedPart) -> Iterator[TabSite]:
    made = part.part
    if isinstance(made, Condenser):
        for name in made.ports():
            if name.endswith("tab"):
                yield _tab(part, made, name)
    elif isinstance(made, Drier) and made.clamp == "yes":
        yield _lug(part, made)
    elif isinstance(made, ElectricFan):
        for name in made.ports():
            yield _site(
                part,
                name,
                name,
                made.plate_mm,
                made.hole_mm,
                (made.inset_mm, made.inset_mm),
                "frame",
                ("plate.thickness", "plate.hole", "plate.hole inset", "diameter"),
            )


def _tab(part: PlacedPart, made: Condenser, name: str) -> TabSite:
    edges = min(made.tab_width_mm, made.tab_height_mm) / 2.0
    return _site(
        part,
        name,
        f"{name}.hole",
        made.tab_thickness_mm,
        made.tab_hole_mm,
        (made.tab_width_mm / 2.0, edges),
        "tabs",
        (
            *("core.width", "core.height", "core.thickness"),
            *(f"tabs.{key}" for key in ("width", "height", "thickness", "from end", "hole")),
        ),
    )


def _lug(part: PlacedPart, made: Drier) -> TabSite:
    return _site(
        part,
        "lug",
        "lug.hole",
        made.lug_thickness_mm,
        made.lug_hole_mm,
        (made.lug_length_mm / 2.0, min(made.lug_length_mm, made.clamp_height_mm) / 2.0),
        "clamp",
        (
            *("diameter", "clamp.up", "clamp.height"),
            *(f"clamp.lug.{key}" for key in ("length", "thickness", "hole")),
        ),
    )


def _site(
    part: PlacedPart,
    name: str,
    feature: str,
    thickness_mm: float,
    hole_mm: float,
    rooms_mm: tuple[float, float],
    component: str,
    must_read: tuple[str, ...],
) -> TabSite:
    port = part.port(name)
    assert port is not None
    normal = np.asarray(port.direction, dtype=float)
    middle = np.asarray(port.point, dtype=float) - thickness_mm / 2.0 * normal
    return TabSite(
        host=part,
        name=name,
        hand=hand_of(middle),
        feature=feature,
        middle=middle,
        normal=normal,
        thickness_mm=float(thickness_mm),
        hole_mm=float(hole_mm),
        room_mm=float(rooms_mm[0]),
        edge_mm=float(rooms_mm[1]),
        component=component,
        must_read=must_read,
        rubber=getattr(part.part, "mounts", "") == RUBBER,
    )


def hand_of(point: Floats) -> str:
    """The car's side that a point (3,) is on; "" on its centre line."""
    if abs(point[1]) < _LINE_MM:
        return ""
    return "left" if point[1] < 0 else "right"


_X, _Y, _Z = np.eye(3)
_Face = tuple[str, Floats, Floats, tuple[int, int], tuple[float, float], tuple[float, float]]


def rail_faces(layout: Layout) -> Iterator[RailFace]:
    """Every flat face of a core support that a bracket could lie on."""
    for part in layout.parts.values():
        if isinstance(part.part, CoreSupport) and part.known and not part.unplaced:
            yield from _side_faces(part, part.part)
            yield from _rail_faces(part, part.part)


_ACROSS = ("opening.left", "the opening's left edge"), ("opening.right", "the opening's right edge")
_UPRIGHT = (
    ("opening.bottom", "the top edge of the lower rail"),
    ("opening.top", "the bottom edge of the upper rail"),
)


def _side_faces(part: PlacedPart, made: CoreSupport) -> Iterator[RailFace]:
    w, h, t = made.opening_width_mm / 2.0, made.opening_height_mm, made.thickness_mm
    out = w + made.side_width_mm
    read = ("opening.width", "sides.width", "thickness")
    for hand, low, high in (("left", -out, -w), ("right", w, out)):
        edge = _ACROSS[0] if hand == "left" else _ACROSS[1]
        for words, x, way, feature in (("front", -t, -1.0, "front"), ("rear", 0.0, 1.0, "face")):
            yield _face(
                part,
                f"{words} of the {hand} side flange",
                np.array([x, 0.0, 0.0]),
                way * _X,
                ((low, high), (0.0, h)),
                t,
                "sides",
                feature,
                ((edge, -w if hand == "left" else w),),
                read,
            )


def _rail_faces(part: PlacedPart, made: CoreSupport) -> Iterator[RailFace]:
    w, h = made.opening_width_mm / 2.0, made.opening_height_mm
    out = w + made.side_width_mm
    rails = {
        "upper rail": (made.upper_depth_mm, h, h + made.upper_height_mm),
        "lower rail": (made.lower_depth_mm, -made.lower_height_mm, 0.0),
    }
    edges = ((_ACROSS[0], -w), (_ACROSS[1], w))
    bow = part.entry.sizes["rails.upper.bow"]
    for name, (deep, low, high) in rails.items():
        read = ("opening.width", *(f"rails.{name.split()[0]}.{one}" for one in ("height", "depth")))
        bowed = name == "upper rail" and bow.value + bow.half_width > _BOWED_MM
        if not bowed:
            # Where it is bowed, nobody has said how far it stands out at any one place.
            for words, x, way in (("front", -deep, -1.0), ("rear", 0.0, 1.0)):
                yield _face(
                    part,
                    f"{words} of the {name}",
                    np.array([x, 0.0, 0.0]),
                    way * _X,
                    ((-out, out), (low, high)),
                    0.0,
                    "rails",
                    f"{name}.{words}",
                    edges,
                    read,
                )
        for words, z, way in (("bottom", low, -1.0), ("top", high, 1.0)):
            yield _level_face(part, name, words, (z, way), (-out, out), deep, edges, read)


def _face(
    part: PlacedPart,
    name: str,
    point: Floats,
    up: Floats,
    reach: tuple[tuple[float, float], tuple[float, float]],
    sheet_mm: float,
    component: str,
    feature: str,
    across: tuple[tuple[tuple[str, str], float], ...],
    read: tuple[str, ...],
) -> RailFace:
    """An upright face that looks ahead or aft. reach: across the car, and up."""
    made = part.part
    assert isinstance(made, CoreSupport)
    heights = (0.0, made.opening_height_mm)
    edges = [RailEdge(0, at, *said) for said, at in across]
    edges += [RailEdge(1, at, *said) for said, at in zip(_UPRIGHT, heights, strict=True)]
    return _placed(part, name, point, up, np.array([_Y, _Z]), reach, sheet_mm, component, feature,
                   tuple(edges), read)  # fmt: skip


def _level_face(
    part: PlacedPart,
    rail: str,
    words: str,
    height: tuple[float, float],
    across: tuple[float, float],
    deep_mm: float,
    edges: tuple[tuple[tuple[str, str], float], ...],
    read: tuple[str, ...],
) -> RailFace:
    z, way = height
    found = [RailEdge(0, at, *said) for said, at in edges]
    found += [
        RailEdge(1, -deep_mm, f"{rail}.front", f"the front edge of the {rail}"),
        RailEdge(1, 0.0, f"{rail}.rear", f"the rear edge of the {rail}"),
    ]
    point, ways = np.array([0.0, 0.0, z]), np.array([_Y, _X])
    reach = (across, (-deep_mm, 0.0))
    return _placed(part, f"{words} of the {rail}", point, way * _Z, ways, reach, 0.0, "rails",
                   f"{rail}.{words}", tuple(found), read)  # fmt: skip


def _placed(
    part: PlacedPart,
    name: str,
    point: Floats,
    up: Floats,
    ways: Floats,
    reach: tuple[tuple[float, float], tuple[float, float]],
    sheet_mm: float,
    component: str,
    feature: str,
    edges: tuple[RailEdge, ...],
    read: tuple[str, ...],
) -> RailFace:
    pose = part.pose
    turn, shift = pose[:3, :3], pose[:3, 3]
    ends = np.array(reach, dtype=float)
    return RailFace(
        host=part,
        name=name,
        plane=Plane(turn @ point + shift, turn @ up),
        ways=ways @ turn.T,
        low=ends[:, 0],
        high=ends[:, 1],
        sheet_mm=float(sheet_mm),
        component=component,
        feature=feature,
        edges=edges,
        must_read=read,
    )


def free_holes(layout: Layout, faces: list[RailFace]) -> Iterator[FreeHole]:
    """Holes that the file names, each with the face that it is in."""
    for part in layout.parts.values():
        if part.kind != "bolt hole" or part.unplaced or not part.known:
            continue
        port = part.port("hole")
        assert port is not None
        for face in faces:
            near = abs(face.plane.height_mm(port.point)) <= _ON_FACE_MM
            if (
                face.host.name == part.carrier
                and near
                and face.to_edge_mm(face.spot(port.point)) >= 0
                and float(port.direction @ face.plane.up) > 0.9
            ):
                at = face.at(face.spot(port.point))
                yield FreeHole(part, face, at, float(port.bore_mm))
                break


def taken_holes(layout: Layout) -> list[Port]:
    """Holes of core supports that the radiator is bolted by: no hole is drilled beside them."""
    found = []
    for part in layout.parts.values():
        if isinstance(part.part, CoreSupport) and part.known:
            ports = (part.port(name) for name in part.part.ports())
            found += [port for port in ports if port is not None]
    return found
