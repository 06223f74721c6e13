"""What is dimensioned on the views: the openings, the stack, the fan and the gaps between them.

Gaps are drawn level along the car, as a builder's rule lies; what a finding measures square to a
face or along a tilted axis differs from them by the cosine of the tilt.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.layout import Layout, PlacedPart
from noseroom.report.drawing_model import Dimension
from noseroom.units import format_length

Floats = NDArray[np.float64]
View = Literal["side", "front"]

AFT = np.array([1.0, 0.0, 0.0])
_LEAST_MM = 1.0
_LEAST_SLOPE = 0.5
PLANE: dict[View, Floats] = {
    # The side view is taken from the car's left, front to the left; the front view from ahead of
    # the car, so that the car's left is on the right of the sheet.
    "side": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
    "front": np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]),
}


def project(points: Floats, view: View) -> Floats:
    """Points (..., 3) mm in the vehicle frame as (..., 2) on the view."""
    return np.asarray(points @ PLANE[view].T)


def solid_components(part: PlacedPart) -> list[str]:
    """Its components that are metal, not swept space."""
    return [name for name in part.components if name not in part.ghosts]


def flat_box(part: PlacedPart, view: View) -> Floats:
    """The box of its metal on the view, (2, 2) mm: low and high corner."""
    corners = np.concatenate(
        [piece.corners for name in solid_components(part) for piece in part.moving[name][0]]
    )
    flat = project(corners, view)
    return np.array([flat.min(axis=0), flat.max(axis=0)])


def dimensions(layout: Layout, view: View, unit: str) -> tuple[Dimension, ...]:
    """All dimensions of a view, for parts whose place is known."""
    sizes = _Sizes(layout, view, unit)
    return tuple(sizes.side() if view == "side" else sizes.front())


def level_to(point: Floats, plane: Floats, normal: Floats) -> Floats | None:
    """Where the line along the car through `point` meets a plane; None where it runs along it.

    All are (3,), mm; `normal` is a unit direction.
    """
    slope = float(AFT @ normal)
    if abs(slope) < _LEAST_SLOPE:
        return None
    return np.asarray(point + AFT * (float((plane - point) @ normal) / slope))


class _Sizes:
    """Dimensions of one layout on one view."""

    def __init__(self, layout: Layout, view: View, unit: str) -> None:
        self.view: View = view
        self.unit = unit
        self.parts = [
            part for part in layout.parts.values() if part.known and solid_components(part)
        ]

    def of(self, *kinds: str) -> list[PlacedPart]:
        return [part for part in self.parts if part.kind in kinds]

    def side(self) -> Iterator[Dimension]:
        for radiator in self.of("radiator")[:1]:
            for condenser in self.of("condenser"):
                for spot in ("top", "bottom"):
                    start = self.point(condenser, "core.rear", spot)
                    yield from self.gap(f"{condenser.name} to core", start, radiator, "core.front")
            for fan in self.of("fan"):
                for hour, where in ((12, "top"), (6, "bottom")):
                    start = self.point(fan, "blade.front", f"{hour} o'clock")
                    yield from self.gap(f"{fan.name} to core, {where}", start, radiator)
            for pump in self.of("water pump"):
                start = self.point(pump, "hub.face")
                yield from self.gap("hub to core", start, radiator)
            for fan in self.of("electric fan"):
                face, other = (
                    ("rear", "core.front") if self.ahead(fan, radiator) else ("front", "core.rear")
                )
                start = self.point(fan, face)
                yield from self.gap(f"{fan.name} to core", start, radiator, other)
        for part in self.of("radiator", "condenser"):
            yield from self.depth(f"{part.name} core", part, "core.front", "core.rear")
        for part in self.of("shroud"):
            yield from self.depth(part.name, part, "front", "rear")
        for part in self.of("electric fan"):
            yield from self.depth(f"{part.name} with motor", part, "front", "motor.face")
        for part in self.of("radiator", "condenser"):
            yield from self.overall(part, "vertical")
        yield from self.opening("height")
        yield from self.axis_height()

    def front(self) -> Iterator[Dimension]:
        yield from self.opening("width")
        yield from self.opening("height")
        for part in self.of("radiator", "condenser"):
            yield from self.overall(part, "horizontal")
            yield from self.overall(part, "vertical")
        for fan in self.of("fan"):
            start, end = (self.point(fan, "blade.front", f"{hour} o'clock") for hour in (9, 3))
            yield from self.between(f"{fan.name} diameter", start, end, "horizontal")
        for shroud in self.of("shroud"):
            if "opening" in shroud.part.features():
                start, end = (self.point(shroud, "opening", f"{hour} o'clock") for hour in (9, 3))
                yield from self.between(f"{shroud.name} opening", start, end, "horizontal")
        for pump in self.of("water pump")[:1]:
            hub = self.point(pump, "hub.face")
            yield from self.between("fan axis", hub * (1, 0, 1), hub, "horizontal")
        yield from self.axis_height()

    def point(self, part: PlacedPart, feature: str, spot: str = "") -> Floats:
        return np.asarray(part.touch_point(feature, spot)[0])

    def ahead(self, fan: PlacedPart, radiator: PlacedPart) -> bool:
        """Whether an electric fan pushes, from ahead of the core."""
        plane, normal, _ = radiator.touch_point("core.rear")
        start = self.point(fan, "front")
        end = level_to(start, np.asarray(plane), np.asarray(normal))
        return end is not None and float(start[0]) < float(end[0])

    def gap(
        self, name: str, start: Floats, other: PlacedPart, face: str = "core.rear"
    ) -> Iterator[Dimension]:
        """From a point level along the car to a face of another part."""
        plane, normal, _ = other.touch_point(face)
        end = level_to(start, np.asarray(plane), np.asarray(normal))
        if end is not None:
            yield from self.between(name, end, start, "horizontal")

    def depth(self, name: str, part: PlacedPart, face: str, other: str) -> Iterator[Dimension]:
        if face in part.part.features() and other in part.part.features():
            yield from self.gap(name, self.point(part, face), part, other)

    def overall(
        self, part: PlacedPart, direction: Literal["horizontal", "vertical"]
    ) -> Iterator[Dimension]:
        (u0, v0), (u1, v1) = flat_box(part, self.view)
        ends = ((u0, v0), (u1, v0)) if direction == "horizontal" else ((u1, v0), (u1, v1))
        yield from self.flat(part.name, *ends, direction)

    def opening(self, size: Literal["width", "height"]) -> Iterator[Dimension]:
        sides = ("left", "right") if size == "width" else ("bottom", "top")
        for part in self.of("core support"):
            start, end = (self.point(part, f"opening.{side}") for side in sides)
            direction: Literal["horizontal", "vertical"] = (
                "horizontal" if size == "width" else "vertical"
            )
            yield from self.between("opening", start, end, direction)

    def axis_height(self) -> Iterator[Dimension]:
        """How high the fan's axis is at the hub, from the opening's lower edge."""
        for support in self.of("core support")[:1]:
            for pump in self.of("water pump")[:1]:
                low = self.point(support, "opening.bottom")
                hub = self.point(pump, "hub.face")
                yield from self.between("fan axis", low, hub, "vertical")

    def between(
        self, name: str, start: Floats, end: Floats, direction: Literal["horizontal", "vertical"]
    ) -> Iterator[Dimension]:
        ends = project(np.array([start, end]), self.view)
        yield from self.flat(name, ends[0], ends[1], direction)

    def flat(
        self,
        name: str,
        start: Floats | tuple[float, float],
        end: Floats | tuple[float, float],
        direction: Literal["horizontal", "vertical"],
    ) -> Iterator[Dimension]:
        axis = 0 if direction == "horizontal" else 1
        away = abs(float(end[axis]) - float(start[axis]))
        if away < _LEAST_MM:
            return
        yield Dimension(
            (float(start[0]), float(start[1])),
            (float(end[0]), float(end[1])),
            f"{name} {format_length(away, self.unit)}",
            direction,
        )
