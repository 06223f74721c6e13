"""A receiver-drier of card: crossed ribs with plates, the clamp's lug in layers, two stubs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from noseroom.parts.drier import Drier
from noseroom.workshop.card_joints import Works, joined, rect
from noseroom.workshop.card_layers import doubled
from noseroom.workshop.card_round import Ribs, Span, coaxial, levels, silhouette, stub
from noseroom.workshop.card_stock import CardError

Floats = NDArray[np.float64]

_NAMES = {0: "rib across", 1: "rib fore and aft"}


def cut_drier(works: Works, part: Drier) -> None:
    """Cut the panels of a drier."""
    t, axis = works.t, np.zeros(3)
    lug_rib = 1 if part.lug in ("aft", "ahead") else 0
    spans = [Span(0.0, part.height_mm, part.diameter_mm / 2)]
    outer = part.diameter_mm / 2 + part.clamp_thickness_mm
    has_clamp = part.clamp == "yes"
    past = part.clamp_up_mm + part.clamp_height_mm - part.height_mm
    over = (part.port_spacing_mm - part.diameter_mm) / 2
    if over > 0:
        raise CardError(f"its ports stand {over:.1f} mm outside its rim: read where they are")
    if has_clamp and past > 0:
        raise CardError(f"its clamp's band stands {past:.1f} mm past its top: read where it is")
    if has_clamp:
        spans.append(Span(part.clamp_up_mm, part.clamp_up_mm + part.clamp_height_mm, outer))
    hoses = {name: one for name, one in part.ports().items() if name != "lug"}
    for normal in (1, 0):
        outline: list[BaseGeometry] = list(silhouette(normal, 2, axis, spans))
        if normal == lug_rib and has_clamp:
            outline.append(_lug(part, normal, 0.0))
        if normal == 0:
            for port in hoses.values():
                end = Span(part.height_mm - t, float(port.point[2]), part.port_diameter_mm / 2)
                outline += silhouette(normal, 2, port.point, [end])
        works.add(_NAMES[normal], normal, -t / 2, joined(outline), (2, -1))
    # Ports stay in one piece: the rib that has them comes down on the other one.
    works.lap(_NAMES[1], _NAMES[0])
    row, said = levels(spans, t)
    works.notes += said
    ribs = Ribs("body", 2, axis, _NAMES[lug_rib], _NAMES[1 - lug_rib])
    coaxial(works, ribs, row)
    for name, port in hoses.items():
        ends = (part.height_mm, float(port.point[2]))
        stub(works, _NAMES[0], name, port.point, 2, ends, part.port_diameter_mm / 2, 1)
    if has_clamp:
        region = _lug(part, lug_rib, outer + works.card.fit_mm)
        doubled(works, _NAMES[lug_rib], "lug", "clamp's lug", part.lug_thickness_mm, region)
        reach = part.lug_thickness_mm + t
        works.drill(part.ports()["lug"].point, lug_rib, part.lug_hole_mm, (-reach, reach))


def _lug(part: Drier, normal: int, start: float) -> BaseGeometry:
    """The lug's outline, from so far out from the axis."""
    tip = part.diameter_mm / 2 + part.clamp_thickness_mm + part.lug_length_mm
    out = 0 if normal == 1 else 1
    ends = (start, tip) if part.lug in ("aft", "right") else (-tip, -start)
    heights = (part.clamp_up_mm, part.clamp_up_mm + part.clamp_height_mm)
    return rect(normal, {out: ends, 2: heights})
