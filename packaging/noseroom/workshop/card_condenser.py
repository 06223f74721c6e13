"""A condenser of card: a box for the core, crossed ribs for headers and ports, tabs with holes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from noseroom.parts.base import Port
from noseroom.parts.condenser import Condenser
from noseroom.tables.card import card_mm
from noseroom.workshop.card_box import closed_box
from noseroom.workshop.card_joints import Works, joined, rect
from noseroom.workshop.card_layers import doubled
from noseroom.workshop.card_round import Ribs, Span, end_plate, half_plates, silhouette, stub
from noseroom.workshop.card_stock import CardError

Floats = NDArray[np.float64]

_BOX = 4.0  # thicknesses of card in the least core that is a box with tenons in its sides
_LEAST_END, _LEAST_RING = 2.0, 4.0
_TENON_MM = 30.0


@dataclass(frozen=True)
class _Header:
    """One header: which side it is on, the spine that has its silhouette, its axis and size."""

    side: int
    spine: str
    axis: Floats
    wide: float
    deep: float

    @property
    def name(self) -> str:
        """As a person in the car says."""
        return f"{'right' if self.side > 0 else 'left'} header"


def cut_condenser(works: Works, part: Condenser) -> None:
    """Cut the panels of a condenser. Raises CardError where its core is too thin for the card."""
    for name, port in _hoses(part).items():
        past = abs(float(port.point[2])) + part.port_diameter_mm / 2 - part.core_height_mm / 2
        if past > 0:
            raise CardError(
                f"its {name} stands {past:.1f} mm past the end of its header: read where it is"
            )
    wide, deep = _header_size(part)
    mid = part.core_thickness_mm / 2
    spines = _core(works, part)
    for side in (-1, 1):
        axis = np.array([mid, side * (part.core_width_mm + wide) / 2, 0.0])
        header = _Header(side, spines[side], axis, wide, deep)
        _header(works, part, header)
    for side in (-1, 1):
        for name, port in _tabs(part).items():
            if port.point[1] * side > 0:
                outline = _tab(part, port, False)
                for hose in _hoses(part).values():
                    outline = outline.difference(_beside(works, hose))
                doubled(works, spines[side], name, "tabs", part.tab_thickness_mm, outline)
    for port in _tabs(part).values():
        works.drill(port.point, 0, part.tab_hole_mm, (mid - 50.0, mid + 50.0))


def _header_size(part: Condenser) -> tuple[float, float]:
    if part.headers == "round":
        return part.header_diameter_mm, part.header_diameter_mm
    return part.header_width_mm, part.header_depth_mm


def _tabs(part: Condenser) -> dict[str, Port]:
    return {name: one for name, one in part.ports().items() if name.endswith("tab")}


def _hoses(part: Condenser) -> dict[str, Port]:
    return {name: one for name, one in part.ports().items() if name.endswith("port")}


def _tab(part: Condenser, port: Port, whole: bool) -> BaseGeometry:
    """A tab's outline from its header's axis out, or from the header's flank."""
    side = 1 if port.point[1] > 0 else -1
    tip = port.point[1] + side * part.tab_width_mm / 2
    wide, _ = _header_size(part)
    foot = side * (part.core_width_mm / 2 + (wide / 2 if whole else wide))
    half = part.tab_height_mm / 2
    return rect(0, {1: (foot, tip), 2: (port.point[2] - half, port.point[2] + half)})


def _beside(works: Works, hose: Port) -> BaseGeometry:
    """Where a port leaves no room for a layer of a tab."""
    reach = hose.bore_mm / 2 + works.card.fit_mm
    y, z = float(hose.point[1]), float(hose.point[2])
    return rect(0, {1: (min(0.0, 2.0 * y), max(0.0, 2.0 * y)), 2: (z - reach, z + reach)})


def _core(works: Works, part: Condenser) -> dict[int, str]:
    """The core, and by its side the panel that carries each header."""
    t, deep = works.t, part.core_thickness_mm
    w, h, mid = part.core_width_mm / 2, part.core_height_mm / 2, part.core_thickness_mm / 2
    outlines = {side: list(_spine(part, side)) for side in (-1, 1)}
    if deep >= _BOX * t:
        closed_box(works, "core", np.array([0.0, -w, -h]), np.array([deep, w, h]))
        for side, word in ((-1, "left"), (1, "right")):
            inner = sorted((side * (w - t), side * w))
            tenons = [
                rect(0, {1: (inner[0], inner[1]), 2: (z - reach, z + reach)})
                for z, reach in _tenons(part)
            ]
            name = f"{word} spine"
            works.add(name, 0, mid - t / 2, joined([*outlines[side], *tenons]), (1, -side))
            works.through(name, f"core {word}")
        return {-1: "left spine", 1: "right spine"}
    if deep < 3 * t - card_mm("shown"):
        raise CardError(
            f"its core is {deep:.1f} mm thick, and three layers of card are {3 * t:g} mm: "
            f"{3 * t - deep:.1f} mm too much; card of {(deep + card_mm('shown')) / 3:.1f} mm or "
            "less would do"
        )
    face = rect(0, {1: (-w, w), 2: (-h, h)})
    rear, front = max(deep - t, mid + t / 2), min(0.0, mid - 1.5 * t)
    works.add("core rear", 0, rear, face, (0, 1))
    spine = joined([face, *outlines[-1], *outlines[1]])
    works.add("spine", 0, mid - t / 2, spine, (0, 1))
    works.add("core front", 0, front, face, (0, 1))
    gap = rear - mid - t / 2
    for face_name in ("core rear", "core front"):
        works.meet("spine", face_name)
    if gap > 1e-9:
        works.notes.append(
            f"the core is three layers of {t:g} mm: put {gap:.2f} mm of paper or thin card on "
            "either side of the spine."
        )
    return {-1: "spine", 1: "spine"}


def _tenons(part: Condenser) -> Iterator[tuple[float, float]]:
    """Middle and half length of the tenons by which a spine sits in the core's side."""
    reach = min(_TENON_MM, part.core_height_mm / 5) / 2
    for share in (-0.3, 0.0, 0.3):
        yield share * part.core_height_mm, reach


def _spine(part: Condenser, side: int) -> Iterator[BaseGeometry]:
    """What the panel in the middle of a header shows: header, tabs, ports that point out."""
    wide, _ = _header_size(part)
    w, h, mid = part.core_width_mm / 2, part.core_height_mm / 2, part.core_thickness_mm / 2
    ends = sorted((side * w, side * (w + wide)))
    yield rect(0, {1: (ends[0], ends[1]), 2: (-h, h)})
    for port in _tabs(part).values():
        if port.point[1] * side > 0:
            yield _tab(part, port, True)
    for port in _hoses(part).values():
        if port.direction[1] * side > 0.5:
            foot = np.array([mid, side * (w + wide / 2), port.point[2]])
            yield _port_outline(part, port, foot, 0)


def _port_outline(part: Condenser, port: Port, foot: Floats, normal: int) -> BaseGeometry:
    axis = int(np.argmax(np.abs(port.direction)))
    low, high = sorted((float(foot[axis]), float(port.point[axis])))
    return silhouette(normal, axis, foot, [Span(low, high, part.port_diameter_mm / 2)])[0]


def _header(works: Works, part: Condenser, header: _Header) -> None:
    """The rib that crosses a header's spine, the plates at its ends and along it, its ports."""
    t, h, axis = works.t, part.core_height_mm / 2, header.axis
    reach = min(header.wide, header.deep) / 2
    depth = (axis[0] - header.deep / 2, axis[0] + header.deep / 2)
    blade = f"{header.name} rib"
    hoses = {name: port for name, port in _hoses(part).items() if port.point[1] * header.side > 0}
    outline = [rect(1, {0: depth, 2: (-h, h)})]
    for port in hoses.values():
        if abs(port.direction[0]) > 0.5:
            outline.append(_port_outline(part, port, _foot(axis, port), 1))
    if reach < t:
        raise CardError(
            f"its {header.name} is {2 * reach:.1f} mm at its narrowest, too little for ribs of "
            f"{t:g} mm that cross: card of {reach:.1f} mm or less would do"
        )
    works.add(blade, 1, float(axis[1]) - t / 2, joined(outline), (2, -1))
    works.lap(header.spine, blade)
    _plates(works, part, header, blade, hoses)
    for name, port in hoses.items():
        way = int(np.argmax(np.abs(port.direction)))
        side = 1 if port.direction[way] > 0 else -1
        host = header.spine if way == 1 else blade
        begin = float(axis[way]) + side * (t + works.card.fit_mm) / 2
        if way == 0 and part.port_diameter_mm > header.wide:
            # Wider than its header, it may only begin where it is clear of the core.
            begin = float(axis[0]) + side * max(header.deep, part.core_thickness_mm) / 2
        if (float(port.point[way]) - begin) * side < 2 * t:
            works.notes.append(f"the {name} is one layer of card: it ends too near the core.")
            continue
        low, high = sorted((begin, float(port.point[way])))
        stub(
            works, host, name, _foot(axis, port), way, (low, high), part.port_diameter_mm / 2, side
        )


def _foot(axis: Floats, port: Port) -> Floats:
    return np.array([axis[0], axis[1], port.point[2]])


def _plates(
    works: Works, part: Condenser, header: _Header, blade: str, hoses: dict[str, Port]
) -> None:
    t, h, axis = works.t, part.core_height_mm / 2, header.axis
    reach = min(header.wide, header.deep) / 2
    region: BaseGeometry = rect(
        2,
        {
            0: (axis[0] - header.deep / 2, axis[0] + header.deep / 2),
            1: (axis[1] - header.wide / 2, axis[1] + header.wide / 2),
        },
    )
    if part.headers == "round":
        region = works.disc(2, axis, header.deep / 2)
    ribs = Ribs(header.name, 2, axis, header.spine, blade)
    if reach < _LEAST_END * t:
        works.notes.append(f"the {header.name} has no end plates: it is too narrow for the card.")
        return
    if reach >= _LEAST_RING * t:
        taken = [float(port.point[2]) for port in hoses.values()]
        apart = part.port_diameter_mm / 2 + 2 * t
        count = int(2 * h / card_mm("ring"))
        for k in range(1, count + 1):
            low = -h + 2 * h * k / (count + 1)
            if all(abs(low + t / 2 - z) > apart for z in taken):
                half_plates(works, ribs, f"{header.name} ring {k}", round(low, 3), region)
    for low, side, word in ((h - t, 1, "top"), (-h, -1, "bottom")):
        end_plate(works, ribs, f"{header.name} {word}", low, region, side)
