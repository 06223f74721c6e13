"""What of the stack's face a change changes: zones, fans, gaps, as areas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from noseroom.checks.air_faces import DrawingFan, Faces, Zone

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Change", "Front", "FrontZone", "front_of", "rings_of"]

Ring = tuple[tuple[float, float], ...]

_M2 = 1e-6
_SLIVER_M2 = 1e-4
_TOUCH_MM, _LEAST_BORDER_MM = 0.05, 5.0
_SMOOTH_MM = 0.3
"""Nobody sees more of a curve in a picture."""
_TIP_GAP_MM = 25.0
"""Of a new shroud: a heavy-vehicle operator's manual, document Y53-6008 (10/06), p. 143."""
_ELECTRIC_TIP_MM, _ELECTRIC_RIM_MM = 4.0, 20.0
_ELECTRIC_HUB = 0.3
_HEADER_MM = 22.0
_INSIDE = 0.5
"""Share of the blades' width that a new shroud holds: a third to two thirds is advised, from
memory."""


@dataclass(frozen=True)
class Change:
    """One way to have the stack. What is None or False stays as the file has it.

    today: no condenser. seals: "radiator" for what is open beside it, "condenser" for the rim of
    the gap behind it. cover: share of the condenser's face that is kept, its lower part.
    condenser_mm: width and height of another core. idle_rpm: with the A/C on; idle_up: raised by
    the usual, where the file gives no figure. gap_mm: from condenser to radiator.
    """

    today: bool = False
    shroud: bool = False
    seals: frozenset[str] = frozenset()
    cover: float | None = None
    condenser_mm: tuple[float, float] | None = None
    second: bool = False
    puller_mm: float | None = None
    pusher_mm: float | None = None
    gap_mm: float | None = None
    idle_rpm: float | None = None
    idle_up: bool = False


@dataclass(frozen=True)
class FrontZone(Zone):
    """A share of the radiator's face, with the fan that blows on it, "" for none.

    masked: covered by the condenser's headers alone, so that its air comes by the gap. rim_mm: of
    its border, what is open to the front.
    """

    pushed_by: str = ""
    masked: bool = False
    rim_mm: float = 0.0

    @property
    def before(self) -> str:
        """What stands before it."""
        return "behind the headers" if self.masked else super().before

    @property
    def name(self) -> str:
        """Such as "covered, drawn on by the fan, blown on by the pusher"."""
        own = super().name
        return f"{own}, blown on by the {self.pushed_by}" if self.pushed_by else own


@dataclass(frozen=True)
class Front:
    """The stack's face after a change.

    electric: names of fans that run on current. gap_mm, edge_mm: of the gap behind the condenser.
    """

    zones: tuple[FrontZone, ...]
    fans: tuple[DrawingFan, ...]
    radiator_m2: float
    grille_m2: float
    beside_m2: float
    gap_mm: float
    edge_mm: float
    cover: BaseGeometry | None

    @property
    def condenser_m2(self) -> float:
        """Of the condenser's core, all of it."""
        return 0.0 if self.cover is None else float(self.cover.area) * _M2

    @property
    def covered_share(self) -> float:
        """How much of the radiator's face the condenser covers."""
        own = [one.area_m2 for one in self.zones if one.covered and not one.masked]
        return sum(own) / self.radiator_m2

    @cached_property
    def shared_mm(self) -> Mapping[tuple[str, str], float]:
        """Of each two covered zones that meet, by their names, how long their border is."""
        covered = [one for one in self.zones if one.covered]
        found = {}
        for one, other in combinations(covered, 2):
            border = other.outline.boundary.intersection(one.outline.buffer(_TOUCH_MM)).length
            if border > _LEAST_BORDER_MM:
                found[one.name, other.name] = float(border)
        return found


def front_of(faces: Faces, change: Change) -> Front:
    """The face of a nose with a change. faces: of the nose as the file has it, all of it."""
    import shapely

    core = faces.radiator_outline
    face = shapely.union_all([zone.outline for zone in faces.zones])
    cover = None if change.today else faces.condenser_outline
    if change.today:
        face = core
    elif cover is not None and (change.cover is not None or change.condenser_mm is not None):
        cover, face = _other_condenser(cover, core, face, change)
    gap = faces.gap_mm if change.gap_mm is None else change.gap_mm
    masked = core.difference(face)
    behind = None if cover is None else cover.intersection(core).union(masked)
    edge = 0.0 if behind is None else float(behind.length)
    fans = tuple(_fans(faces, change, cover))
    zones = tuple(_rimmed(one, behind) for one in _zones(face, masked, cover, fans))
    # A fan that no zone is left for moves nothing.
    used = {one.drawn_by for one in zones} | {one.pushed_by for one in zones}
    return Front(
        zones=zones,
        fans=tuple(one for one in fans if one.name in used),
        radiator_m2=faces.radiator_m2,
        grille_m2=faces.grille_m2,
        beside_m2=faces.beside_m2,
        gap_mm=gap,
        edge_mm=edge,
        cover=cover,
    )


def _other_condenser(
    cover: BaseGeometry, core: BaseGeometry, face: BaseGeometry, change: Change
) -> tuple[BaseGeometry, BaseGeometry]:
    """Another core in the place of the first, and what its headers leave of the face."""
    import shapely
    from shapely import affinity

    low_y, low_z, high_y, high_z = cover.bounds
    if change.condenser_mm is None:
        share = 1.0 if change.cover is None else change.cover
        kept = shapely.box(low_y - 1e3, low_z, high_y + 1e3, low_z + share * (high_z - low_z))
        # Headers are as long as the core is high.
        freed = core.difference(face).difference(kept)
        return cover.intersection(kept), face.union(freed)
    width, height = change.condenser_mm
    middle = core.centroid
    box = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    other = affinity.translate(box, middle.x, middle.y)
    wide = shapely.box(-width / 2 - _HEADER_MM, -height / 2, width / 2 + _HEADER_MM, height / 2)
    headers = affinity.translate(wide, middle.x, middle.y).difference(other)
    return other, core.difference(headers)


def _fans(faces: Faces, change: Change, cover: BaseGeometry | None) -> Iterator[DrawingFan]:
    core = faces.radiator_outline
    for one in faces.fans:
        if change.puller_mm is not None and one.way == "behind":
            continue
        if one.way == "in front" and (change.pusher_mm is not None or cover is None):
            continue
        if change.shroud and one.driven and not one.shrouded:
            one = replace(
                one, shrouded=True, tip_gap_mm=_TIP_GAP_MM, immersed=_INSIDE, outline=core
            )
        yield one
    if change.puller_mm is not None:
        yield _electric("electric puller", "behind", change.puller_mm, core, core)
    if change.pusher_mm is not None and cover is not None:
        yield _electric("electric pusher", "in front", change.pusher_mm, cover, core)


def _electric(
    name: str, way: str, diameter: float, on: BaseGeometry, core: BaseGeometry
) -> DrawingFan:
    """A fan in a plate of its own, in the middle of what it sits on."""
    import shapely

    half, middle = diameter / 2 + _ELECTRIC_TIP_MM + _ELECTRIC_RIM_MM, on.centroid
    plate = shapely.box(middle.x - half, middle.y - half, middle.x + half, middle.y + half)
    return DrawingFan(
        name=name,
        way=way,
        driven=False,
        diameter_mm=diameter,
        hub_mm=diameter * _ELECTRIC_HUB,
        number=1,
        shrouded=True,
        tip_gap_mm=_ELECTRIC_TIP_MM,
        immersed=1.0,
        standoff_mm=0.0,
        outline=plate.intersection(core),
        middles_mm=((float(middle.x), float(middle.y)),),
    )


def _rimmed(zone: FrontZone, behind: BaseGeometry | None) -> FrontZone:
    """A zone with its share of the rim. behind: all that the gap lies before."""
    if behind is None or not zone.covered:
        return zone
    edge = behind.boundary.intersection(zone.outline.buffer(_TOUCH_MM)).length
    return replace(zone, rim_mm=float(edge))


def _zones(
    face: BaseGeometry,
    masked: BaseGeometry,
    cover: BaseGeometry | None,
    fans: tuple[DrawingFan, ...],
) -> Iterator[FrontZone]:
    """The face by what covers it, what draws on it, what blows on it. masked: by headers."""
    parts = [(False, face)]
    if cover is not None:
        parts = [(True, face.intersection(cover)), (False, face.difference(cover))]
    behind = [one for one in fans if one.way == "behind"]
    ahead = [one for one in fans if one.way == "in front"]
    for covered, part in parts:
        for drawn_by, drawn in _split(part, behind):
            for pushed_by, outline in _split(drawn, ahead if covered else []):
                yield FrontZone(covered, drawn_by, outline, pushed_by)
    if cover is not None:
        for drawn_by, outline in _split(masked, behind):
            yield FrontZone(True, drawn_by, outline, masked=True)


def _split(part: BaseGeometry, fans: list[DrawingFan]) -> Iterator[tuple[str, BaseGeometry]]:
    """A part by fans; a fan has what no fan before it has."""
    for one in fans:
        own = _areal(part.intersection(one.outline))
        part = part.difference(one.outline)
        if own.area * _M2 > _SLIVER_M2:
            yield one.name, own
    if part.area * _M2 > _SLIVER_M2:
        yield "", _areal(part)


def _areal(shape: BaseGeometry) -> BaseGeometry:
    """What of a shape has an area: where two meet along a line, there is that line besides."""
    import shapely

    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def rings_of(outline: BaseGeometry) -> tuple[tuple[Ring, ...], ...]:
    """An outline for a picture, its largest piece first: of each its outside, then its holes."""
    smooth = outline.simplify(_SMOOTH_MM)
    pieces = [one for one in getattr(smooth, "geoms", [smooth]) if one.geom_type == "Polygon"]
    pieces.sort(key=lambda one: -float(one.area))
    return tuple(tuple(map(_ring, (one.exterior, *one.interiors))) for one in pieces)


def _ring(line: BaseGeometry) -> Ring:
    return tuple((float(y), float(z)) for y, z in np.asarray(line.coords))
