"""Stand-ins of card put together digitally: nothing overlaps, the size is right, all goes in.

Panels are square to the axes, so that two of them can only share a box's worth of card each way,
and a panel's way in is swept exactly: in its own plane by its outline, or along its normal.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, unary_union
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from noseroom.errors import GeometryError
from noseroom.tables.card import card_mm
from noseroom.workshop.card_joints import plane, rect
from noseroom.workshop.card_regions import pieces_of
from noseroom.workshop.card_stock import CardModel, Panel

Floats = NDArray[np.float64]

_NOTHING_MM = 1e-4
_FAR_MM = 5000.0


def check(model: CardModel) -> CardModel:
    """The same stand-in, with a note where it is larger or smaller than it is to be.

    Raises GeometryError where two panels overlap or one cannot be brought to its place.
    """
    for number, one in enumerate(model.panels):
        for other in model.panels[:number]:
            if in_the_way(one, other, 0.0):
                raise GeometryError(
                    f"the card panels {one.name!r} and {other.name!r} of the {model.name} overlap"
                )
            if in_the_way(one, other, _FAR_MM):
                raise GeometryError(
                    f"the card panel {one.name!r} of the {model.name} cannot be brought to its "
                    f"place past {other.name!r}"
                )
    off = size_of(model) - model.box_mm
    said = [
        f"Along {axis} it is {abs(off[1, k] - off[0, k]):.1f} mm "
        f"{'larger' if off[1, k] > off[0, k] else 'smaller'} than the part."
        for k, axis in enumerate(("the car", "the car's width", "its height"))
        if np.abs(off[:, k]).max() > card_mm("shown")
    ]
    return replace(model, notes=(*model.notes, *said))


def size_of(model: CardModel) -> Floats:
    """Lowest and highest corner (2, 3) of all panels together, in the part's frame, mm."""
    boxes = np.array([panel_box(one) for one in model.panels])
    return np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def panel_box(panel: Panel) -> Floats:
    """Lowest and highest corner (2, 3) of a panel, in the part's frame, mm."""
    u0, v0, u1, v1 = panel.region.bounds
    made = np.zeros((2, 3))
    u, v = plane(panel.normal)
    made[:, u], made[:, v] = (u0, u1), (v0, v1)
    made[:, panel.normal] = panel.low_mm, panel.low_mm + panel.thickness_mm
    return made


def in_the_way(moved: Panel, still: Panel, from_mm: float) -> bool:
    """Whether a panel meets another one on its way in from so far out; 0: once it is in place."""
    axis = int(np.argmax(np.abs(moved.slide)))
    sign = float(moved.slide[axis])
    out = sorted((0.0, -sign * from_mm))
    ends = [moved.low_mm, moved.low_mm + moved.thickness_mm]
    region: BaseGeometry = moved.region
    if axis == moved.normal:
        ends = [ends[0] + out[0], ends[1] + out[1]]
    elif from_mm:
        region = swept(moved.region, plane(moved.normal).index(axis), out[0], out[1])
    other = (still.low_mm, still.low_mm + still.thickness_mm)
    if still.normal == moved.normal:
        if min(ends[1], other[1]) - max(ends[0], other[0]) <= _NOTHING_MM:
            return False
        return bool(region.intersection(still.region).area > _NOTHING_MM)
    return _crossing(moved.normal, (ends[0], ends[1]), region, still)


def _crossing(normal: int, ends: tuple[float, float], region: BaseGeometry, still: Panel) -> bool:
    """Whether a plate crosses a panel that is square to it where both have card."""
    bar = 3 - normal - still.normal
    # What only touches, but for the last digits, has no card in common.
    ends = ends[0] + _NOTHING_MM, ends[1] - _NOTHING_MM
    other = (
        still.low_mm + _NOTHING_MM,
        still.low_mm + still.thickness_mm - _NOTHING_MM,
    )
    mine = region.intersection(rect(normal, {still.normal: other, bar: (-1e6, 1e6)}))
    theirs = still.region.intersection(rect(still.normal, {normal: ends, bar: (-1e6, 1e6)}))
    for a in pieces_of(mine):
        for b in pieces_of(theirs):
            i, j = plane(normal).index(bar), plane(still.normal).index(bar)
            if min(a.bounds[i + 2], b.bounds[j + 2]) - max(a.bounds[i], b.bounds[j]) > _NOTHING_MM:
                return True
    return False


def swept(region: Polygon, index: int, low: float, high: float) -> BaseGeometry:
    """What a region passes over when it moves along its x (index 0) or y (1) from low to high."""
    way = np.array([1.0, 0.0]) if index == 0 else np.array([0.0, 1.0])
    made: list[BaseGeometry] = []
    for ring in (region.exterior, *region.interiors):
        points = np.array(ring.coords)
        for a, b in pairwise(points):
            corners = [a + low * way, b + low * way, b + high * way, a + high * way]
            edge = Polygon(corners)
            if edge.area > 0.0:
                made.append(edge if edge.is_valid else edge.buffer(0))
    return unary_union([*made, _shifted(region, way * low), _shifted(region, way * high)])


def _shifted(region: Polygon, by: Floats) -> Polygon:
    return translate(region, float(by[0]), float(by[1]))
