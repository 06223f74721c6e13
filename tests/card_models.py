"""Stand-ins of card for tests: of the pickup's parts, of any part, and as solids of a library."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import Any

import manifold3d
import numpy as np
from manifold3d import CrossSection, Manifold
from numpy.typing import NDArray

from noseroom.envelope.reader import read
from noseroom.geometry.outlines import Circle
from noseroom.layout import Layout, arrange
from noseroom.parts.base import Part
from noseroom.parts.registry import KINDS
from noseroom.parts.spacer import Spacer
from noseroom.workshop.card_stand_ins import card_stand_in, card_stand_ins
from noseroom.workshop.card_stock import Card, CardModel, Panel
from noseroom.workshop.mock_up_outline import StandIn

Floats = NDArray[np.float64]

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
CHORD_MM = 0.02
SPACER = Spacer(
    form="double pilot",
    thickness_mm=50.8,
    diameter_mm=76.2,
    bore_mm=15.9,
    bolt_count=4,
    bolt_circle_mm=44.45,
    hole_mm=8.7,
    recess_mm=14.5,
    spigot_diameter_mm=15.9,
    spigot_length_mm=6.0,
)
NAMES = ("condenser", "drier", "fan", "compressor", "spacer")


@cache
def pickup() -> Layout:
    return arrange(read(DEMOS / "farm_pickup.yaml", KINDS))


@cache
def models() -> dict[str, CardModel]:
    made = card_stand_ins(pickup(), spacers={"spacer": SPACER})
    return {one.name: one for one in made}


def asked(part: Part) -> StandIn:
    """What a stand-in of a part shows, without a nose round it."""
    shown = {
        name: solid
        for name, solid in part.solids().items()
        if name != "blades" and (name == "sweep" or name not in part.sweeps())
    }
    return StandIn("part", part.about.name, shown, (), dict(part.ports()))


def of_part(part: Part, card: Card | None = None) -> CardModel:
    return card_stand_in(asked(part), part, card or Card())


def _rings(panel: Panel) -> list[Floats]:
    rings = []
    for cut in panel.figure.cuts:
        path = cut.as_path() if isinstance(cut, Circle) else cut
        points = path.sampled(CHORD_MM)
        area = np.sum(points[:, 0] * np.roll(points[:, 1], -1)) - np.sum(
            points[:, 1] * np.roll(points[:, 0], -1)
        )
        outer = cut is panel.figure.cuts[-1]
        rings.append(points if (area > 0) == outer else points[::-1])
    return rings


def _stood(panel: Panel, section: CrossSection, by: Floats) -> Manifold:
    solid = section.extrude(panel.thickness_mm)
    return solid.transform(panel.place[:3]).translate(by)


def solid_of(panel: Panel) -> Manifold:
    """A panel as it is cut, in its place: what its figure draws, as thick as the card."""
    return _stood(panel, CrossSection(_rings(panel)), np.zeros(3))


def way_in(panel: Panel, from_mm: float) -> Manifold:
    """All that a panel passes through on its way in, by sweeping its triangles one by one."""
    shift = -panel.slide * from_mm
    axis = int(np.argmax(np.abs(panel.slide)))
    if axis == panel.normal:
        solid = CrossSection(_rings(panel)).extrude(panel.thickness_mm + from_mm)
        base = np.minimum(shift, 0.0)
        return solid.transform(panel.place[:3]).translate(base)
    flat = panel.place[:3, :2].T @ shift
    rings = _rings(panel)
    points = np.concatenate(rings)
    hulls = [
        CrossSection.hull_points(np.concatenate([points[one], points[one] + flat]))
        for one in manifold3d.triangulate(rings)
    ]
    whole = CrossSection.batch_boolean(hulls, manifold3d.OpType.Add)
    return _stood(panel, whole, np.zeros(3))


def size_of(panels: list[Manifold]) -> Floats:
    boxes = np.array([one.bounding_box() for one in panels]).reshape(-1, 2, 3)
    return np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def box_of(part: Part) -> Floats:
    """The part's own outer size, by the kernel."""
    boxes = [one.BoundingBox() for one in asked(part).solids.values()]
    return np.array(
        [
            np.min([(b.xmin, b.ymin, b.zmin) for b in boxes], axis=0),
            np.max([(b.xmax, b.ymax, b.zmax) for b in boxes], axis=0),
        ]
    )


def round_points(count: int, radius: float) -> list[Any]:
    return [
        (radius * math.cos(math.tau * k / count), radius * math.sin(math.tau * k / count))
        for k in range(count)
    ]
