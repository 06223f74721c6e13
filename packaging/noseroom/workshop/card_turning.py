"""Stand-ins of card for what turns: the disc that a fan sweeps, with its hub, and a spacer."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from noseroom.parts.base import Port
from noseroom.parts.fan import Fan
from noseroom.parts.spacer import Spacer
from noseroom.workshop.card_joints import Works, joined
from noseroom.workshop.card_layers import stacked
from noseroom.workshop.card_round import Ribs, Span, coaxial, levels, silhouette

Floats = NDArray[np.float64]

_STUDS_MM = 30.0
"""How far ahead of the face that a fan is bolted by studs and pilot have room: common practice."""


def cut_fan(works: Works, part: Fan, holes: Mapping[str, Port]) -> None:
    """Cut the panels of a fan. holes: of bolts and pilot, in the part's own frame."""
    t, axis = works.t, np.zeros(3)
    clutch = part.drive == "clutch"
    shift = part.shaft_length_mm + part.clutch_depth_mm if clutch else 0.0
    front, hub = -(shift + part.ahead_mm), part.spider_diameter_mm / 2
    spider = Span(-(shift + part.spider_thickness_mm), -shift, hub)
    swept = Span(front, front + part.width_mm, part.diameter_mm / 2)
    spans = [swept, spider]
    between = (min(spider.high, swept.high), max(spider.low, swept.low))
    if between[1] > between[0]:
        spans.append(Span(*between, hub))
        works.notes.append("between hub and blades it is as wide as the hub.")
    works.notes.append("what the blades sweep is shown as one drum, filled to the middle.")
    if clutch:
        nose = spider.low - part.nose_length_mm
        spans += [
            Span(-part.shaft_length_mm, 0.0, part.shaft_diameter_mm / 2),
            Span(-shift, -part.shaft_length_mm, part.clutch_diameter_mm / 2),
            Span(nose, spider.low, part.nose_diameter_mm / 2),
        ]
    for name, normal, way in (("upright rib", 1, 1), ("level rib", 2, -1)):
        works.add(name, normal, -t / 2, joined(silhouette(normal, 0, axis, spans)), (0, way))
    works.lap("upright rib", "level rib")
    row, said = levels(spans, t)
    works.notes += said
    coaxial(works, Ribs("fan", 0, axis, "level rib", "upright rib"), row)
    for port in holes.values():
        works.drill(port.point, 0, port.bore_mm, (-_STUDS_MM, t))


def cut_spacer(works: Works, part: Spacer) -> None:
    """Cut the rings of a spacer, rear face first."""
    axis = np.zeros(3)
    whole: BaseGeometry = works.disc(0, axis, part.diameter_mm / 2)
    bore = works.disc(0, axis, part.bore_mm / 2)
    for port in part.ports().values():
        if port.bore_mm and abs(port.point[1]) + abs(port.point[2]) > 0:
            whole = whole.difference(works.disc(0, port.point, part.hole_mm / 2))
    thick = part.thickness_mm
    stacked(works, "ring", 0, (-thick, 0.0), whole, -1)
    rings = [one for name, one in works.panels.items() if name.startswith("ring")]
    bored = [one for one in rings if not part.is_double or one.ends[1] > -part.recess_mm + 1e-6]
    for one in bored:
        one.region = one.region.difference(bore)
    if part.is_double:
        deep = -min(one.ends[0] for one in bored)
        works.notes.append(
            f"the recess is {deep:.1f} mm deep, {deep - part.recess_mm:.1f} mm more than it is to "
            "be: a layer is bored or it is not."
        )
        spigot = works.disc(0, axis, part.spigot_diameter_mm / 2)
        front = min(one.ends[0] for one in rings)
        stacked(works, "spigot", 0, (-thick - part.spigot_length_mm, front), spigot, -1)
        works.meet(
            min(rings, key=lambda one: one.low).name,
            next(n for n in works.panels if n.startswith("spigot")),
        )
    works.notes.append(f"the chamfers of {part.chamfer_mm:.1f} mm are not shown.")
    works.notes.append("line the rings up on bolts or dowels before they are glued.")
