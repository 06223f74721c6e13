"""The stack's face as the air meets it: what covers the radiator, what draws on it, what is open.

Everything is seen square to the radiator's face and laid into its plane: y to the car's right, z
up, mm, from the middle of the core's front face. A nose without a condenser has the same faces but
for what is covered.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.fan_window_shroud import in_shroud
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.fan import Fan
from noseroom.parts.front_end import Grille
from noseroom.parts.radiator import Radiator
from noseroom.parts.shroud import Shroud

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

_M2 = 1e-6
_SLIVER_M2 = 1e-4
"""A zone of less than a square centimetre is no zone."""
_REACH = 0.5
"""A fan without a shroud draws on a disc that grows by this much of how far it stands off: from
memory, with a wide band wherever it is used."""


@dataclass(frozen=True)
class Zone:
    """A share of the radiator's face: whether the condenser covers it, and what draws on it.

    drawn_by: name of the fan behind it, "" for none. outline: shapely, in the face's plane, mm.
    """

    covered: bool
    drawn_by: str
    outline: BaseGeometry

    @property
    def area_m2(self) -> float:
        """Its area."""
        return float(self.outline.area) * _M2

    @property
    def name(self) -> str:
        """Such as "covered, drawn on by the fan"."""
        by = f"drawn on by the {self.drawn_by}" if self.drawn_by else "not drawn on"
        return f"{self.before}, {by}"

    @property
    def before(self) -> str:
        """What stands before it, in a word or two."""
        return "covered" if self.covered else "bare"


@dataclass(frozen=True)
class DrawingFan:
    """A fan that moves air through the stack.

    way: "behind" the radiator or "in front" of the condenser. swept_m2: of its blades, without the
    hub. shrouded: whether all that it draws comes through the core. tip_gap_mm: round its tips.
    immersed: share of its blades' width inside the shroud. standoff_mm: blades to core.
    outline: what it draws on (behind) or blows on (in front), in the face's plane. middles_mm: of
    each disc, likewise.
    """

    name: str
    way: str
    driven: bool
    diameter_mm: float
    hub_mm: float
    number: int
    shrouded: bool
    tip_gap_mm: float
    immersed: float
    standoff_mm: float
    outline: BaseGeometry
    middles_mm: tuple[tuple[float, float], ...] = ()

    @property
    def swept_m2(self) -> float:
        """What its blades sweep, hubs left out."""
        return self.number * np.pi / 4.0 * (self.diameter_mm**2 - self.hub_mm**2) * _M2


@dataclass(frozen=True)
class Faces:
    """All of the stack's faces.

    zones: of the radiator's core, which together are its face less what the condenser's headers
    mask. gap_mm: between condenser and radiator, mean. open_edge_mm: how much of the covered part's
    rim is open for air to come in behind the condenser. beside_m2: open between radiator and the
    opening that it stands in; none where there is no core support in the file. beyond_m2: of the
    condenser's face, what does not lie before the radiator's core.
    """

    radiator: PlacedPart
    condenser: PlacedPart | None
    zones: tuple[Zone, ...]
    fans: tuple[DrawingFan, ...]
    condenser_outline: BaseGeometry | None
    radiator_outline: BaseGeometry
    gap_mm: float
    open_edge_mm: float
    beside_m2: float
    beyond_m2: float
    grille_m2: float

    @property
    def radiator_m2(self) -> float:
        """The core's face."""
        return float(self.radiator_outline.area) * _M2

    @property
    def condenser_m2(self) -> float:
        """The condenser's own core, all of it."""
        return 0.0 if self.condenser_outline is None else float(self.condenser_outline.area) * _M2

    @property
    def covered_share(self) -> float:
        """How much of the radiator's face the condenser covers."""
        covered = sum(zone.area_m2 for zone in self.zones if zone.covered)
        return covered / self.radiator_m2


def faces_of(layout: Layout, *, condenser: bool = True) -> Faces | None:
    """The faces of a nose; None for one without a radiator.

    condenser: False for the car as it is without one.
    """
    radiator = _first(layout, Radiator)
    if radiator is None:
        return None
    part = radiator.part
    assert isinstance(part, Radiator)
    here = _Frame(radiator, part.core_thickness_mm)
    core = _box((-part.core_width_mm / 2, -part.core_height_mm / 2), _half(part))
    found = _first(layout, Condenser) if condenser else None
    cover, masked, gap, edge = None, None, 0.0, 0.0
    if found is not None:
        cover, headers = _condenser_outlines(here, found)
        masked = headers.intersection(core)
        gap = _gap_mm(here, found, part)
        edge = float(cover.intersection(core).length)
    face = core if masked is None else core.difference(masked)
    fans = tuple(_fans(layout, here, core))
    zones = tuple(_zones(face, cover, fans))
    beyond = 0.0 if cover is None else float(cover.difference(core).area) * _M2
    beside = _beside_m2(layout, here, radiator)
    # How large it is counts, not where.
    grilles = [one for one in layout.parts.values() if isinstance(one.part, Grille)]
    front = sum(map(_grille_mm2, grilles)) if grilles else core.area
    return Faces(
        radiator, found, zones, fans, cover, core, gap, edge, beside, beyond, float(front) * _M2
    )


class _Frame:
    """The plane of the radiator's face. depth_mm: how thick its core is."""

    def __init__(self, radiator: PlacedPart, depth_mm: float) -> None:
        self._back = np.linalg.inv(radiator.pose)
        self.depth_mm = depth_mm

    def points(self, part: PlacedPart, local: Floats) -> Floats:
        """Points (n, 3) of a part, in the radiator's frame: x aft from its core's front face."""
        turn = self._back @ part.pose
        seen: Floats = local @ turn[:3, :3].T + turn[:3, 3]
        return seen

    def outline(self, part: PlacedPart, local: Floats) -> BaseGeometry:
        """The hull of points as seen square to the face."""
        import shapely

        return shapely.MultiPoint(self.points(part, local)[:, 1:]).convex_hull


def _half(part: Radiator) -> tuple[float, float]:
    return part.core_width_mm / 2, part.core_height_mm / 2


def _box(low: tuple[float, float], high: tuple[float, float]) -> BaseGeometry:
    import shapely

    return shapely.box(*low, *high)


def _first(layout: Layout, kind: type[Any]) -> PlacedPart | None:
    """The first part of a class whose place is known."""
    found = (one for one in layout.parts.values() if isinstance(one.part, kind) and one.known)
    return next(found, None)


def _corners(part: PlacedPart, component: str) -> Floats:
    """Corners of all pieces of a component, local frame."""
    some = [
        np.real(piece.corners).reshape(-1, 3)
        for piece in part.part.pieces()
        if piece.component == component
    ]
    return np.concatenate(some)


def _condenser_outlines(here: _Frame, found: PlacedPart) -> tuple[BaseGeometry, BaseGeometry]:
    """Its core, and its two headers, as seen square to the radiator's face."""
    import shapely

    core = here.outline(found, _corners(found, "core"))
    headers = [
        here.outline(found, np.real(piece.corners).reshape(-1, 3))
        for piece in found.part.pieces()
        if piece.component == "headers"
    ]
    return core, shapely.union_all(headers).difference(core)


def _gap_mm(here: _Frame, found: PlacedPart, radiator: Radiator) -> float:
    """Mean distance from the condenser's rear face to the radiator's front face."""
    corners = _corners(found, "core")
    rear = corners[np.isclose(corners[:, 0], corners[:, 0].max())]
    return float(-here.points(found, rear)[:, 0].mean())


def _fans(layout: Layout, here: _Frame, core: BaseGeometry) -> Iterator[DrawingFan]:
    for one in layout.parts.values():
        if not one.known:
            continue
        if isinstance(one.part, Fan):
            yield _driven(layout, here, core, one, one.part)
        elif isinstance(one.part, ElectricFan):
            yield _electric(here, core, one, one.part)


def _driven(
    layout: Layout, here: _Frame, core: BaseGeometry, one: PlacedPart, fan: Fan
) -> DrawingFan:
    """An engine-driven fan; its shroud is the one whose opening its axis goes through."""
    import shapely

    centre = here.points(one, np.real(fan.features()["blade.front"].point).reshape(1, 3))[0]
    standoff = max(0.0, float(centre[0]) - here.depth_mm)
    disc = shapely.Point(centre[1], centre[2]).buffer(fan.diameter_mm / 2, quad_segs=64)
    outline, boxed, gap, immersed = disc.buffer(_REACH * standoff, quad_segs=64), False, np.inf, 0.0
    for shroud in layout.parts.values():
        if not isinstance(shroud.part, Shroud) or not shroud.known:
            continue
        opening = np.real(shroud.part.features()["opening"].point).reshape(1, 3)
        off = here.points(shroud, opening)[0] - centre
        if np.hypot(*off[1:]) > shroud.part.diameter_mm / 2:
            continue
        stands = in_shroud(one, shroud)
        boxed, immersed = shroud.part.form == "box", stands.share
        gap = np.inf if stands.gap_mm is None else stands.gap_mm
        outline = here.outline(shroud, _corners(shroud, "box")) if boxed else disc
    return DrawingFan(
        name=one.name,
        way="behind",
        driven=True,
        diameter_mm=fan.diameter_mm,
        hub_mm=fan.spider_diameter_mm,
        number=1,
        shrouded=boxed,
        tip_gap_mm=float(gap),
        immersed=immersed,
        standoff_mm=standoff,
        outline=outline.intersection(core),
        middles_mm=((float(centre[1]), float(centre[2])),),
    )


def _electric(here: _Frame, core: BaseGeometry, one: PlacedPart, fan: ElectricFan) -> DrawingFan:
    """An electric fan in its own frame: its plate covers the core as far as it goes."""
    axes = [one.point for name, one in fan.features().items() if name.endswith("axis")]
    middles = here.points(one, np.real(np.array(axes, dtype=complex)))[:, 1:]
    return DrawingFan(
        name=one.name,
        way=fan.mounting,
        driven=False,
        diameter_mm=fan.diameter_mm,
        hub_mm=fan.motor_diameter_mm,
        number=1 if fan.number == "single" else 2,
        shrouded=True,
        tip_gap_mm=fan.tip_gap_mm,
        immersed=1.0,
        standoff_mm=0.0,
        outline=here.outline(one, _corners(one, "frame")).intersection(core),
        middles_mm=tuple((float(y), float(z)) for y, z in middles),
    )


def _zones(
    face: BaseGeometry, cover: BaseGeometry | None, fans: tuple[DrawingFan, ...]
) -> Iterator[Zone]:
    """The face, split by the condenser and by the fans behind; a fan has what no fan before has."""
    covers: Mapping[bool, BaseGeometry] = (
        {False: face}
        if cover is None
        else {True: face.intersection(cover), False: face.difference(cover)}
    )
    behind = [one for one in fans if one.way == "behind"]
    for covered, part in covers.items():
        rest = part
        for one in behind:
            drawn = rest.intersection(one.outline)
            rest = rest.difference(one.outline)
            if drawn.area * _M2 > _SLIVER_M2:
                yield Zone(covered, one.name, drawn)
        if rest.area * _M2 > _SLIVER_M2:
            yield Zone(covered, "", rest)


def _beside_m2(layout: Layout, here: _Frame, radiator: PlacedPart) -> float:
    """What is open between the radiator, tanks and plates included, and the opening round it."""
    import shapely

    support = _first(layout, CoreSupport)
    if support is None:
        return 0.0
    part = support.part
    assert isinstance(part, CoreSupport)
    half = part.opening_width_mm / 2
    corners = np.array(
        [(0.0, y, z) for y in (-half, half) for z in (0.0, part.opening_height_mm)], dtype=float
    )
    opening = here.outline(support, corners)
    solid = [
        here.outline(radiator, np.real(piece.corners).reshape(-1, 3))
        for piece in radiator.part.pieces()
        if piece.component in ("core", "tanks", "brackets")
    ]
    return float(opening.difference(shapely.union_all(solid)).area) * _M2


def _grille_mm2(grille: PlacedPart) -> float:
    part = grille.part
    assert isinstance(part, Grille)
    return float(part.width_mm * part.height_mm)
