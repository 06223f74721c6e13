"""What a change of the stack costs in room: how deep it is, and how much is there as adjusted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from noseroom.checks import words
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change
from noseroom.checks.cooling_records import Room
from noseroom.findings import Finding
from noseroom.layout import PlacedPart
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.physics.ranges import Floats
from noseroom.tables.cooling import priors
from noseroom.units import format_length

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["HEADERS_MM", "Rooms"]

HEADERS_MM = 2 * 22.0
"""Both headers of a condenser across its core, common practice."""
_FAN_GAP = "fan gap"
_BETWEEN_MM = 5.0
_REACH_MM = 400.0
_STACK = ("radiator", "condenser", "core support", "shroud", "hose", "belt")


class Rooms:
    """Room before and behind a nose's stack. findings: of the fit check, for what is sure."""

    def __init__(self, car: Car, findings: Sequence[Finding]) -> None:
        self._car, self._findings = car, findings
        self._back = np.linalg.inv(car.faces.radiator.pose)
        self._unit = car.layout.envelope.unit

    def of(self, change: Change) -> Room:
        """What a change needs; what needs most room is told where several do."""
        return max(self._each(change), key=lambda one: one.needs_mm, default=Room("no room"))

    def _each(self, change: Change) -> Iterator[Room]:
        car, unit = self._car, self._unit
        deep = priors()["electric depth"].usual
        if change.puller_mm is not None:
            there = self._behind(change.puller_mm)
            yield self._room(f"{format_length(deep, unit)} behind the core", deep, there)
        if change.pusher_mm is not None:
            there = self._ahead()
            yield self._room(f"{format_length(deep, unit)} before the condenser", deep, there)
        if change.second and car.faces.condenser is not None:
            part = car.faces.condenser.part
            assert isinstance(part, Condenser)
            needs = part.core_thickness_mm + _BETWEEN_MM
            text = f"{format_length(needs, unit)} before the condenser"
            yield self._room(text, needs, self._ahead())
        if change.gap_mm is not None and change.gap_mm > car.faces.gap_mm:
            needs = change.gap_mm - car.faces.gap_mm
            text = f"the condenser {format_length(needs, unit)} further ahead"
            yield self._room(text, needs, self._ahead())
        if change.condenser_mm is not None:
            yield from self._larger(change.condenser_mm)
        if change.shroud:
            yield Room(self._shroud())

    def _larger(self, size_mm: tuple[float, float]) -> Iterator[Room]:
        """What another condenser's core takes beyond the one that is there, of the opening."""
        outline = self._car.faces.condenser_outline
        if outline is None:
            return
        low_y, low_z, high_y, high_z = outline.bounds
        have = high_y - low_y, high_z - low_z
        support = next(
            (
                one.part
                for one in self._car.layout.parts.values()
                if isinstance(one.part, CoreSupport)
            ),
            None,
        )
        grows = [
            (f"{format_length(new - old, self._unit)} more {way}", new - old, of - old)
            for way, new, old, of in zip(
                ("across", "in height"), size_mm, have, _opening(support), strict=True
            )
            if new > old
        ]
        if grows:
            told = " and ".join(text for text, _, _ in grows)
            _, needs, there = min(grows, key=lambda one: one[2] - one[1])
            yield self._room(told, needs, there if support is not None else None)

    def _room(self, text: str, needs: float, there: float | None) -> Room:
        told = "how much is there is not known"
        if there is not None:
            told = f"about {words.length(max(there, 0.0), self._unit)} is there as adjusted"
        return Room(f"{text}; {told}", needs, there)

    def _shroud(self) -> str:
        """Nothing more than a fan gap that fits."""
        text = "a ring 1 in clear of the blade tips all round"
        for one in self._findings:
            if one.id.startswith(_FAN_GAP) and one.sure_mm is not None:
                sure = words.length(one.sure_mm, self._unit)
                return f"{text}; from the fan to the core {sure} is sure"
        return text

    # -- distances --------------------------------------------------------------------------

    def _behind(self, diameter_mm: float) -> float | None:
        """From the core's rear face to the first thing behind it, the engine's fan left out."""
        import shapely

        half = diameter_mm / 2
        plate = shapely.box(-half, -half, half, half)
        depth = self._car.radiator.core_thickness_mm
        at = [x for x, _ in self._before(plate, ("fan", "electric fan")) if x > depth]
        return min(at) - depth if at else None

    def _ahead(self) -> float | None:
        """From the condenser's front face to the first thing ahead of it."""
        faces = self._car.faces
        if faces.condenser is None or faces.condenser_outline is None:
            return None
        part = faces.condenser.part
        assert isinstance(part, Condenser)
        front = -faces.gap_mm - part.core_thickness_mm
        ends = [x for _, x in self._before(faces.condenser_outline, ()) if x < front]
        return front - max(ends) if ends else None

    def _before(
        self, outline: BaseGeometry, without: Sequence[str]
    ) -> Iterator[tuple[float, float]]:
        """Where pieces that an outline meets begin and end, along the radiator's axis, mm."""
        import shapely

        for part in self._car.layout.parts.values():
            if not part.known or part.kind in _STACK or part.kind in without:
                continue
            for piece in part.pieces:
                if piece.component in part.ghosts:
                    continue
                seen = self._seen(part, np.real(piece.corners).reshape(-1, 3))
                if seen[:, 0].min() > _REACH_MM or seen[:, 0].max() < -_REACH_MM:
                    continue
                if shapely.MultiPoint(seen[:, 1:]).convex_hull.intersects(outline):
                    yield float(seen[:, 0].min()), float(seen[:, 0].max())

    def _seen(self, part: PlacedPart, local: Floats) -> Floats:
        turn = self._back @ part.pose
        return np.asarray(local @ turn[:3, :3].T + turn[:3, 3])


def _opening(support: CoreSupport | None) -> tuple[float, float]:
    """Width between a condenser's headers and height of what it has to pass, mm."""
    if support is None:
        return float("inf"), float("inf")
    return support.opening_width_mm - HEADERS_MM, support.opening_height_mm
