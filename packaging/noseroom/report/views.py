"""The side and front views: the layout's pieces, projected, dimensioned and marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.words import listed
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.report.digest import is_moved
from noseroom.report.drawing import Centreline, Drawing, Outline, Spot
from noseroom.report.drawing_model import Kind
from noseroom.report.result import GUARANTEE
from noseroom.report.view_sizes import (
    AFT,
    PLANE,
    View,
    dimensions,
    flat_box,
    level_to,
    project,
    solid_components,
)

Floats = NDArray[np.float64]

_TOWARDS: dict[View, Floats] = {"side": np.array([0.0, -1, 0]), "front": np.array([-1.0, 0, 0])}
_MOST_SPOTS = 12
_SURROUNDINGS = (
    "grille", "bumper bar", "hood", "anti-roll bar", "steering link", "pitman arm",
    "box", "cylinder", "scan",
)  # fmt: skip
"""What stands about the nose: it never makes the scale smaller, unless an answer is open on it."""
_BROAD = ("grille", "bumper bar", "hood", "condenser", "electric fan")
_HELPERS = ("mark", "bolt hole")
_MARGIN_MM: dict[View, float] = {"side": 100.0, "front": 20.0}
"""Seen of the surroundings: from the side, what stands ahead of the stack; in front, little."""
_SLIVER_MM = 0.05
_MOVED = "engine moved: "
"""Before the text of a spot where a moved engine would be: its parts are drawn at rest."""
_AXIS_PAST_MM = 60.0


def draw(layout: Layout, findings: tuple[Finding, ...], view: View) -> Drawing:
    """One view of the whole nose with its tight spots.

    Parts whose place is not known are named in a note. What stands about the nose is cut off at a
    margin around the rest, and named where it is.
    """
    unit: Literal["in", "mm"] = "in" if layout.envelope.unit in ("in", "ft") else "mm"
    side = view == "side"
    drawn = [part for part in layout.parts.values() if part.known and part.components]
    window = _window(drawn, findings, view)
    outlines, beyond, cut = _outlines(drawn, view, window)
    spots = tuple(_spots(layout, findings, view))
    return Drawing(
        title=layout.envelope.title,
        subtitle="Side view, from the car's left" if side else "Front view, from ahead of the car",
        left_label="FRONT" if side else "CAR'S RIGHT",
        right_label="REAR" if side else "CAR'S LEFT",
        outlines=tuple(outlines),
        dimensions=dimensions(layout, view, unit),
        spots=spots,
        axes=tuple(_axes(drawn, view)),
        unit=unit,
        notes=tuple(_notes(layout, spots, beyond, cut)),
    )


def _notes(
    layout: Layout, spots: Sequence[Spot], beyond: Sequence[str], cut: Sequence[str]
) -> Iterator[str]:
    yield GUARANTEE
    yield "Gaps are level, along the car."
    if any(spot.text.startswith(_MOVED) for spot in spots):
        yield "Parts are drawn at rest; spots “engine moved” are where it would move to."
    lost = [
        part.name for part in layout.parts.values() if not part.known and part.kind not in _HELPERS
    ]
    if lost:
        yield f"Not drawn, place not known: {listed(lost)}."
    if beyond:
        yield f"Beyond this drawing: {listed(beyond)}."
    if cut:
        yield f"Cut off at its edge: {listed(cut)}."


def _window(parts: Sequence[PlacedPart], findings: Sequence[Finding], view: View) -> Floats | None:
    """What the view shows, (2, 2) mm; None for everything."""
    open_on = {name for one in findings if one.verdict is not Verdict.FITS for name in one.parts}
    boxes = [
        flat_box(part, view)
        for part in parts
        if solid_components(part) and (part.kind not in _SURROUNDINGS or part.name in open_on)
    ]
    if not boxes:
        return None
    low = np.min([box[0] for box in boxes], axis=0)
    high = np.max([box[1] for box in boxes], axis=0)
    return np.array([low - _MARGIN_MM[view], high + _MARGIN_MM[view]])


def _outlines(
    parts: Sequence[PlacedPart], view: View, window: Floats | None
) -> tuple[list[Outline], list[str], list[str]]:
    """Outlines inside the window, the names of parts beyond it, and of those cut by it."""
    from shapely import box

    frame = None if window is None else box(*window[0], *window[1])
    found: list[Outline] = []
    beyond: list[str] = []
    cut: list[str] = []
    for part in parts:
        swept = set(part.ghosts)
        for kind, names in (
            ("part", solid_components(part)),
            ("swept", [name for name in part.components if name in swept]),
        ):
            whole = silhouette(part, names, PLANE[view])
            if whole is None:
                continue
            shown = whole
            if part.kind in _SURROUNDINGS and frame is not None and not frame.covers(whole):
                shown = areas_of(whole.intersection(frame))
                if kind == "part":
                    (beyond if shown is None else cut).append(part.name)
                if shown is None:
                    continue
            corners = np.concatenate([p.corners for n in names for p in part.moving[n][0]])
            found.append(
                Outline(
                    label=part.name if kind == "part" else f"{part.name}: {names[0]}",
                    colour=part.part.about.colour,
                    polygon=shown,
                    depth=float((corners @ _TOWARDS[view]).max()),
                    kind=_kind(part, kind, view),
                )
            )
    return found, beyond, cut


def _kind(part: PlacedPart, kind: str, view: View) -> Kind:
    """How an outline is drawn: from ahead, the broad flat things would hide the whole drive."""
    if kind != "part":
        return "swept"
    return "clear" if view == "front" and part.kind in _BROAD else "part"


def silhouette(part: PlacedPart, names: Sequence[str], plane: Floats) -> Any:
    """The union of its pieces' shadows, holes kept; None where that is no area.

    plane: (2, 3), the directions of the view's right and up in the vehicle frame.
    """
    from shapely import MultiPoint, union_all

    hulls = [
        MultiPoint(piece.corners @ plane.T).convex_hull
        for name in names
        for piece in part.moving[name][0]
    ]
    whole = union_all([one for one in hulls if one.geom_type == "Polygon"])
    # Pieces that only just meet leave hairlines between them, which are no edges of the part.
    closed = whole.buffer(_SLIVER_MM, join_style="mitre").buffer(-_SLIVER_MM, join_style="mitre")
    return areas_of(closed)


def areas_of(shape: Any) -> Any:
    """The polygons of any shape as one, or None."""
    from shapely import MultiPolygon, Polygon

    if shape.geom_type == "Polygon":
        return None if shape.is_empty else shape
    kept = [one for one in getattr(shape, "geoms", ()) if isinstance(one, Polygon)]
    return MultiPolygon(kept) if kept else None


def _spots(layout: Layout, findings: Sequence[Finding], view: View) -> Iterator[Spot]:
    # What is not known has no place either: where its parts are drawn from is only a start value.
    shown = [
        one
        for one in findings
        if one.verdict not in (Verdict.FITS, Verdict.NOT_KNOWN) and one.points
    ]
    for number, finding in enumerate(shown[:_MOST_SPOTS], start=1):
        place = overlap_middle(layout, finding)
        ends = project(np.array(finding.points) if place is None else place[None], view)
        yield Spot(
            number,
            (float(ends[0, 0]), float(ends[0, 1])),
            (float(ends[1, 0]), float(ends[1, 1])) if len(ends) > 1 else None,
            f"{_MOVED}{finding.note}" if is_moved(finding) else finding.note,
            finding.verdict.value,
        )


def overlap_middle(layout: Layout, finding: Finding) -> Floats | None:
    """The middle, (3,), of where two overlapping bodies share most room; None for other findings.

    Parts stand here as at rest, so that nothing is said of an engine that has moved.

    The points of an overlap are those that its pulling apart rests on: far from where it is.
    """
    if finding.state != "at rest" or finding.pull_apart is None or len(finding.parts) != 2:
        return None
    told = str(finding.details.get("components", "")).split(" / ")
    parts = [layout.parts.get(name) for name in finding.parts]
    boxes = []
    for part, name in zip(parts, told, strict=False):
        if part is None or name not in part.moving:
            return None
        boxes.append(np.array([piece.box for piece in part.moving[name][0]]))
    if len(boxes) != 2:
        return None
    low = np.maximum(boxes[0][:, None, 0], boxes[1][None, :, 0])
    high = np.minimum(boxes[0][:, None, 1], boxes[1][None, :, 1])
    room = np.prod(np.maximum(high - low, 0.0), axis=-1)
    if not room.any():
        return None
    at = np.unravel_index(int(np.argmax(room)), room.shape)
    return np.asarray((low[at] + high[at]) / 2)


def _axes(parts: Sequence[PlacedPart], view: View) -> Iterator[Centreline]:
    if view == "front":
        boxes = [
            flat_box(part, view)
            for part in parts
            if solid_components(part) and part.kind not in _SURROUNDINGS
        ]
        if boxes:
            low = min(float(box[0, 1]) for box in boxes)
            high = max(float(box[1, 1]) for box in boxes)
            yield Centreline((0.0, low), (0.0, high), "car's centreline")
        return
    for part in parts:
        if part.kind == "water pump":
            yield _axis(part, _to_core(parts, part), "fan axis")
        elif part.kind == "engine":
            yield _axis(part, 0.0, "crank axis")


def _axis(part: PlacedPart, ahead_mm: float, label: str) -> Centreline:
    """Its axis, from `ahead_mm` and a bit ahead of its own point to a bit behind it."""
    point, direction, _ = part.touch_point("axis")
    aft = direction * np.sign(direction[0] or 1.0)
    ends = project(
        np.array([point - (ahead_mm + _AXIS_PAST_MM) * aft, point + _AXIS_PAST_MM * aft]), "side"
    )
    return Centreline(
        (float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1])), label
    )


def _to_core(parts: Sequence[PlacedPart], pump: PlacedPart) -> float:
    """How far the radiator's core is ahead of the pump's point, mm; 0 for none."""
    for radiator in (part for part in parts if part.kind == "radiator"):
        plane, normal, _ = radiator.touch_point("core.rear")
        point = np.asarray(pump.touch_point("axis")[0])
        end = level_to(point, np.asarray(plane), np.asarray(normal))
        if end is not None:
            return max(float((point - end) @ AFT), 0.0)
    return 0.0
