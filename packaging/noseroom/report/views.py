"""The side and front views: the layout's pieces, projected and dimensioned."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.report.drawing import Centreline, Dimension, Drawing, Outline, Spot
from noseroom.units import format_length

Floats = NDArray[np.float64]
View = Literal["side", "front"]

_PLANE: dict[View, Floats] = {
    # The side view is taken from the car's left, front to the left; the front view from ahead of
    # the car, so that the car's left is on the right of the sheet.
    "side": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
    "front": np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]),
}
_TOWARDS: dict[View, Floats] = {"side": np.array([0.0, -1, 0]), "front": np.array([-1.0, 0, 0])}
_MOST_SPOTS = 12


def draw(layout: Layout, findings: tuple[Finding, ...], view: View) -> Drawing:
    """One view of the whole nose with its tight spots."""
    unit: Literal["in", "mm"] = "in" if layout.envelope.unit in ("in", "ft") else "mm"
    side = view == "side"
    return Drawing(
        title=layout.envelope.title,
        subtitle="Side view, from the car's left" if side else "Front view, from ahead of the car",
        left_label="FRONT" if side else "CAR'S RIGHT",
        right_label="REAR" if side else "CAR'S LEFT",
        outlines=tuple(_outlines(layout, view)),
        dimensions=tuple(_dimensions(layout, view, unit)),
        spots=tuple(_spots(findings, view)),
        axes=tuple(_axes(layout, view)),
        unit=unit,
        notes=(
            "Guaranteed for the model as measured, at rest.",
            "Parts whose place is not known are not drawn.",
        ),
    )


def _project(points: Floats, view: View) -> Floats:
    return np.asarray(points @ _PLANE[view].T)


def _outlines(layout: Layout, view: View) -> Iterator[Outline]:
    from shapely import MultiPoint, union_all
    from shapely.geometry import MultiPolygon, Polygon

    for part in layout.parts.values():
        if not part.known or not part.components:
            continue
        swept = set(part.part.sweeps())
        for group, kind in ((False, "part"), (True, "swept")):
            names = [name for name in part.components if (name in swept) is group]
            hulls = [
                MultiPoint(_project(piece.corners, view)).convex_hull
                for name in names
                for piece in part.moving[name][0]
            ]
            whole: Any = union_all([one for one in hulls if one.geom_type == "Polygon"])
            if whole.is_empty:
                continue
            if whole.geom_type == "GeometryCollection":
                whole = MultiPolygon([g for g in whole.geoms if isinstance(g, Polygon)])
            corners = np.concatenate([p.corners for n in names for p in part.moving[n][0]])
            yield Outline(
                label=part.name if kind == "part" else f"{part.name}: {names[0]}",
                colour=part.part.about.colour,
                polygon=whole,
                depth=float((corners @ _TOWARDS[view]).max()),
                kind="part" if kind == "part" else "swept",
            )


def _spots(findings: tuple[Finding, ...], view: View) -> Iterator[Spot]:
    shown = [one for one in findings if one.verdict is not Verdict.FITS and one.points]
    for number, finding in enumerate(shown[:_MOST_SPOTS], start=1):
        ends = _project(np.array(finding.points), view)
        yield Spot(
            number,
            (float(ends[0, 0]), float(ends[0, 1])),
            (float(ends[1, 0]), float(ends[1, 1])) if len(ends) > 1 else None,
            finding.note,
            finding.verdict.value,
        )


def _solid_components(part: PlacedPart) -> list[str]:
    return [name for name in part.components if name not in part.part.sweeps()]


def _box(part: PlacedPart, view: View) -> Floats:
    corners = np.concatenate(
        [p.corners for name in _solid_components(part) for p in part.moving[name][0]]
    )
    flat = _project(corners, view)
    return np.array([flat.min(axis=0), flat.max(axis=0)])


def _dimensions(layout: Layout, view: View, unit: str) -> Iterator[Dimension]:
    """Overall sizes of the stack and, from the side, how it sits along the car."""
    known = {
        part.name: part for part in layout.parts.values() if part.known and _solid_components(part)
    }
    stack = [p for p in known.values() if p.kind in ("condenser", "radiator", "core support")]
    if view == "front":
        for part in stack:
            (u0, v0), (u1, v1) = _box(part, view)
            yield _dimension((u0, v0), (u1, v0), unit, "horizontal")
            yield _dimension((u1, v0), (u1, v1), unit, "vertical")
        return
    along = [p for p in known.values() if p.kind in ("condenser", "radiator", "shroud", "fan")]
    boxes = sorted(((_box(p, view), p) for p in along), key=lambda it: float(it[0][0, 0]))
    for box, _ in boxes:
        yield _dimension((box[0, 0], box[0, 1]), (box[1, 0], box[0, 1]), unit, "horizontal")
    for (near, _), (far, _) in pairwise(boxes):
        if far[0, 0] > near[1, 0]:
            v = float(max(near[0, 1], far[0, 1]))
            yield _dimension((near[1, 0], v), (far[0, 0], v), unit, "horizontal")
    for part in stack:
        (_, v0), (u1, v1) = _box(part, view)
        yield _dimension((u1, v0), (u1, v1), unit, "vertical")


def _dimension(
    start: tuple[float, float],
    end: tuple[float, float],
    unit: str,
    direction: Literal["horizontal", "vertical"],
) -> Dimension:
    axis = 0 if direction == "horizontal" else 1
    text = format_length(abs(float(end[axis]) - float(start[axis])), unit)
    first = (float(start[0]), float(start[1]))
    return Dimension(first, (float(end[0]), float(end[1])), text, direction)


def _axes(layout: Layout, view: View) -> Iterator[Centreline]:
    if view == "front":
        parts = [part for part in layout.parts.values() if part.known and part.components]
        if parts:
            boxes = np.array(
                [_box(p, view) for p in parts if set(p.components) - set(p.part.sweeps())]
            )
            low, high = float(boxes[:, 0, 1].min()), float(boxes[:, 1, 1].max())
            yield Centreline((0.0, low), (0.0, high), "car's centreline")
        return
    for part in layout.parts.values():
        if part.known and part.kind in ("water pump", "engine") and "axis" in part.part.features():
            point, direction, _ = part.touch_point("axis")
            ends = _project(np.array([point - 60 * direction, point + 60 * direction]), view)
            yield Centreline(
                (float(ends[0, 0]), float(ends[0, 1])),
                (float(ends[1, 0]), float(ends[1, 1])),
                "fan axis" if part.kind == "water pump" else "crank axis",
            )
