"""A compressor of card: crossed ribs with plates, ears in two plates each, hose stubs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from noseroom.parts.base import Port
from noseroom.parts.compressor import Compressor
from noseroom.workshop.card_joints import Works, joined, rect
from noseroom.workshop.card_round import (
    Ribs,
    Span,
    coaxial,
    half_plates,
    levels,
    silhouette,
    stub,
)
from noseroom.workshop.card_stock import CardError

Floats = NDArray[np.float64]

_UPRIGHT, _LEVEL = "upright rib", "level rib"
_BESIDE_HOLE_MM = 1.0  # what an ear's rib stays clear of a bolt that runs along it
_ORIGIN = np.zeros(3)


@dataclass(frozen=True)
class _Ear:
    """An ear: where its faces are along the axis, which way it stands out, its bolt's hole."""

    low: float
    high: float
    rise: int
    port: Port


def cut_compressor(works: Works, part: Compressor) -> None:
    """Cut the panels of a compressor."""
    t, end = works.t, part.nose_length_mm + part.body_length_mm
    spans = [
        Span(0.0, part.nose_length_mm, part.nose_diameter_mm / 2),
        Span(part.nose_length_mm, end, part.body_diameter_mm / 2),
    ]
    ears, hoses = list(_ears(part)), [part.ports()[one] for one in ("suction", "discharge")]
    _demand_room(part)
    row, said = levels(spans, t)
    works.notes += said
    upright = [*silhouette(1, 0, _ORIGIN, spans), *(_rib_of(part, one) for one in ears)]
    level: list[BaseGeometry] = list(silhouette(2, 0, _ORIGIN, spans))
    if part.place == "rear":
        for port in hoses:
            stubs = Span(end - t, float(port.point[0]), part.port_diameter_mm / 2)
            level += silhouette(2, 0, port.point, [stubs])
    else:
        low, high, half, top = _pad(part)
        upright.append(rect(1, {0: (low, high), 2: (0.0, top - t)}))
    works.add(_UPRIGHT, 1, -t / 2, joined(upright), (0, 1))
    works.add(_LEVEL, 2, -t / 2, joined(level), (0, -1))
    works.lap(_UPRIGHT, _LEVEL)
    ribs = Ribs("body", 0, _ORIGIN, _LEVEL, _UPRIGHT)
    also, alone = _shared_plates(works, part, ears, {one.low for one in row})
    if part.place == "top":
        wall = rect(0, {1: (-half, half), 2: (0.0, top - t)})
        also[end - t] = [*also.get(end - t, []), wall]
    busy: dict[float, tuple[int, ...]] = {
        one.low: (-1, 1) for one in row if one in (row[0], row[-1]) or one.low in also
    }
    busy |= {low: (rise,) for low, rise, _ in alone}
    # Between the ends ears and pad stand in the way of what would slide on along the axis.
    row = [
        one if one in (row[0], row[-1]) else replace(one, how=0)
        for one in row
        if one.low in busy or all(abs(one.low - low) >= t for low in busy)
    ]
    coaxial(works, ribs, row, {low: joined(regions) for low, regions in also.items()})
    for number, (low, rise, region) in enumerate(alone, 1):
        disc = works.disc(0, _ORIGIN, part.body_diameter_mm / 2)
        half_plates(works, ribs, f"ear plate {number}", low, joined([disc, region]), (rise,))
    if part.place == "top":
        upper = [low for low, sides in busy.items() if 1 in sides] + [one.low for one in row]
        _pad_walls(works, part, ribs, hoses, upper)
        _pad_top(works, part)
    for name, port in zip(("suction", "discharge"), hoses, strict=True):
        axis = 0 if part.place == "rear" else 2
        begin = float(port.point[axis]) - part.port_length_mm
        host = _LEVEL if part.place == "rear" else _PORT_WALL
        ends = (begin, float(port.point[axis]))
        stub(works, host, name, port.point, axis, ends, part.port_diameter_mm / 2, 1)
    _drill_ears(works, part, ears)


def _demand_room(part: Compressor) -> None:
    """Raise CardError where ports on top and an ear above the body would be in one place."""
    room = (part.spacing_mm - part.port_diameter_mm - part.ear_width_mm) / 2
    if part.ears == "both" and part.place == "top" and room < 0:
        raise CardError(
            f"its ports on top run {-room:.1f} mm into the ear between them: read where they are"
        )


def _drill_ears(works: Works, part: Compressor, ears: list[_Ear]) -> None:
    across = part.bolts == "across"
    # A bolt across runs between an ear's plates, where it does not meet them.
    blocked = across and part.ear_thickness_mm / 2 - works.t < part.hole_mm / 2
    if blocked and ears:
        works.notes.append("the ears' bolts run into their plates: only the rib has their holes.")
    for ear in ears:
        reach = part.ear_width_mm
        along = (-reach, reach) if across else (ear.low - 0.5, ear.high + 0.5)
        works.drill(ear.port.point, 1 if across else 0, part.hole_mm, along, blocked)


def _ears(part: Compressor) -> Iterator[_Ear]:
    front, end = part.nose_length_mm, part.nose_length_mm + part.body_length_mm
    thick = part.ear_thickness_mm
    for name, port in part.ports().items():
        if name.endswith("ear"):
            low = front if "front" in name else end - thick
            yield _Ear(low, low + thick, -1 if "lower" in name else 1, port)


def _reach(part: Compressor) -> tuple[float, float]:
    """From the axis to an ear's hole, and to its end."""
    middle = part.body_diameter_mm / 2 + part.ear_out_mm
    return middle, middle + part.ear_width_mm / 2


def _rib_of(part: Compressor, ear: _Ear) -> BaseGeometry:
    """What the upright rib shows of an ear: all of it, or what is clear of a bolt along it."""
    middle, tip = _reach(part)
    out = tip if part.bolts == "across" else middle - part.hole_mm / 2 - _BESIDE_HOLE_MM
    return rect(1, {0: (ear.low, ear.high), 2: (0.0, ear.rise * out)})


def _shared_plates(
    works: Works, part: Compressor, ears: list[_Ear], lows: set[float]
) -> tuple[dict[float, list[BaseGeometry]], list[tuple[float, int, BaseGeometry]]]:
    """Both faces of each ear: by the body's plates that show them too, and those of their own."""
    t = works.t
    also: dict[float, list[BaseGeometry]] = {}
    alone: list[tuple[float, int, BaseGeometry]] = []
    _, tip = _reach(part)
    half = part.ear_width_mm / 2
    for ear in ears:
        region = rect(0, {1: (-half, half), 2: (0.0, ear.rise * tip)})
        faces = [ear.low, ear.high - t]
        if faces[1] - faces[0] < t:
            outer = 0 if ear.low == part.nose_length_mm else 1
            faces = [faces[outer]]
            works.notes.append(
                f"an ear is {part.ear_thickness_mm:.1f} mm thick: one plate of {t:g} mm shows its "
                f"outer face, the other face is {part.ear_thickness_mm - t:.1f} mm further in."
            )
        for low in faces:
            known = next((one for one in lows if abs(one - low) < 1e-6), None)
            if known is not None:
                also.setdefault(known, []).append(region)
            else:
                alone.append((low, ear.rise, region))
    return also, alone


_PORT_WALL = "pad wall, upper half"


def _pad(part: Compressor) -> tuple[float, float, float, float]:
    """The pad under top ports: its ends along the axis, half its width, its height."""
    port = part.ports()["suction"]
    end = part.nose_length_mm + part.body_length_mm
    long = 2.0 * (end - float(port.point[0]))
    half = (part.spacing_mm + long) / 2.0
    return end - long, end, half, float(port.point[2]) - part.port_length_mm


def _pad_walls(
    works: Works, part: Compressor, ribs: Ribs, hoses: list[Port], busy: list[float]
) -> None:
    """The wall that carries both ports, and the pad's front wall where there is room."""
    t = works.t
    low, _, half, top = _pad(part)
    disc = works.disc(0, _ORIGIN, part.body_diameter_mm / 2)
    wall = joined([disc, rect(0, {1: (-half, half), 2: (0.0, top - t)})])
    stubs = [
        silhouette(
            0, 2, port.point, [Span(top - t, float(port.point[2]), part.port_diameter_mm / 2)]
        )[0]
        for port in hoses
    ]
    middle = float(hoses[0].point[0]) - t / 2
    for one in busy:
        if abs(one - middle) < t:
            raise CardError(
                f"a wall for the ports and another plate would stand {abs(one - middle):.1f} mm "
                f"apart: card of {abs(one - middle):.1f} mm or less would do"
            )
    half_plates(works, ribs, "pad wall", middle, joined([wall, *stubs]), (1,))
    if middle - low >= t and all(abs(low - one) >= t for one in busy):
        half_plates(works, ribs, "pad front", low, wall, (1,))
    else:
        works.notes.append("the pad under the ports has no wall of its own in front.")


def _pad_top(works: Works, part: Compressor) -> None:
    low, high, half, top = _pad(part)
    region = rect(2, {0: (low, high), 1: (-half, half)})
    across = [name for name, one in works.panels.items() if one.normal != 2]
    works.add("pad top", 2, top - works.t, region, (2, -1))
    for name in across:
        works.through(name, "pad top")
    works.meet(_UPRIGHT, "pad top")
