"""The belts from the front: where each runs, how much of each pulley it lies on, and in what plane.

Seen from the front of the car, so that its left is on the right. Each belt is drawn in its own
plane, square to the crank, to scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import Bends
from noseroom.checks.compressor_stand import PREFIX
from noseroom.checks.drive import Drive
from noseroom.findings import Finding
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.belt_path import Arc

Floats = NDArray[np.float64]
Point = tuple[float, float]

_STEP_RAD = math.radians(3.0)


@dataclass(frozen=True)
class Wheel:
    """One pulley. middle: (u, v) mm. back: whether the belt's back runs on it.

    wrap_deg: as adjusted; sure_deg: the least; None where that is not known. arc: points of the
    belt on it, none where it is missed. driver: whether it sits on the crank.
    """

    name: str
    middle: Point
    radius_mm: float
    back: bool
    wrap_deg: float | None
    sure_deg: float | None
    arc: tuple[Point, ...]
    driver: bool


@dataclass(frozen=True)
class Map:
    """Where a compressor may stand, by the middle of its pulley.

    rows: (v, u from, u to) mm, none where no place was found that surely does; step_mm: how far
    rows stand apart. window: corners. best: places that were judged one by one, the best first.
    """

    part: str
    rows: tuple[tuple[float, float, float], ...]
    step_mm: float
    window: tuple[Point, Point]
    best: tuple[Point, ...]


@dataclass(frozen=True)
class BeltView:
    """One belt in its plane, (u, v) mm: u to the car's left, v up.

    spans: from where to where, with the numbers of the wheels and the length, mm. ahead_mm: how far
    its plane stands ahead of the rearmost belt's. about: what it is, in words.
    """

    name: str
    about: str
    wheels: tuple[Wheel, ...]
    spans: tuple[tuple[Point, Point, tuple[int, int], float], ...]
    ahead_mm: float
    places: Map | None


@dataclass(frozen=True)
class DriveView:
    """All belts of a nose whose pulleys have places, the foremost first."""

    title: str
    unit: str
    belts: tuple[BeltView, ...]


def drive_view(layout: Layout, findings: Sequence[Finding]) -> DriveView | None:
    """The picture's contents; None where no belt has pulleys of known place."""
    bends = Bends(layout.survey)
    drives = [
        Drive(layout, bends, one)
        for one in layout.parts.values()
        if one.kind == "belt" and one.known and one.components
    ]
    drives = [one for one in drives if len(one.circles) > 1]
    if not drives:
        return None
    planes = [float(one.circles[0].centre[0]) for one in drives]
    order = sorted(range(len(drives)), key=lambda k: (planes[k], drives[k].belt.name))
    by_id = {one.id: one for one in findings}
    belts = tuple(_belt(drives[k], max(planes) - planes[k], by_id) for k in order)
    return DriveView(layout.envelope.title, layout.envelope.unit, belts)


def _belt(drive: Drive, ahead_mm: float, findings: dict[str, Finding]) -> BeltView:
    run, path = drive.run(), drive.path()
    told = findings.get(f"reach: {drive.belt.name}")
    wheels = []
    for k, circle in enumerate(drive.circles):
        arcs = [arc for arc in path.arcs if arc.pulley == k]
        name = circle.part.name
        wheels.append(
            Wheel(
                name,
                _seen(run[k, :2]),
                circle.metal_mm,
                drive.back[k],
                _figure(told, f"wrap_deg: {name}"),
                _figure(told, f"sure_wrap_deg: {name}"),
                tuple(point for arc in arcs for point in _along(arc)),
                circle.part.kind == "crank pulley",
            )
        )
    spans = tuple(
        (_seen(one.start), _seen(one.end), one.pulleys, one.length_mm) for one in path.spans
    )
    return BeltView(
        drive.belt.name, _about(drive.belt), tuple(wheels), spans, ahead_mm, _map(drive, findings)
    )


def _seen(point: Floats) -> Point:
    """From (y, z), y to the car's right, to the picture's (u, v)."""
    return -float(point[0]), float(point[1])


def _along(arc: Arc) -> list[Point]:
    count = max(2, math.ceil(arc.wrap / _STEP_RAD) + 1)
    return [_seen(arc.on(float(share))) for share in np.linspace(0.0, 1.0, count)]


def _figure(told: Finding | None, key: str) -> float | None:
    value = None if told is None else told.details.get(key)
    return float(value) if isinstance(value, int | float) else None


def _about(belt: PlacedPart) -> str:
    if belt.entry.choices.get("section", "v") == "ribbed":
        return f"{belt.entry.sizes['ribs'].value:g} ribs"
    return "V-belt"


def _map(drive: Drive, findings: dict[str, Finding]) -> Map | None:
    """The places of the first compressor on a belt for which they were looked for."""
    for k, circle in enumerate(drive.circles):
        told = findings.get(f"{PREFIX}{circle.part.name}")
        if told is None:
            continue
        u, v = _seen(drive.run()[k, :2])
        across, along = _list(told, "window_mm")
        # Where none of them stood up when it was judged by itself, the text says that none was
        # found: the picture then shows none either.
        rows = _list(told, "rows_mm") if _list(told, "best_mm") else []
        return Map(
            circle.part.name,
            tuple((v + up, u - end, u - start) for up, start, end in rows),
            float(str(told.details["step_mm"])),
            ((u - across[1], v + along[0]), (u - across[0], v + along[1])),
            tuple((u - right, v + up) for right, up in _list(told, "best_mm")),
        )
    return None


def _list(told: Finding, key: str) -> list[list[float]]:
    value = told.details.get(key, [])
    return value if isinstance(value, list) else []
