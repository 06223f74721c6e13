"""Changes to a nose that are worth comparing: those of the file, and the usual ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from noseroom.checks.air_faces import Faces
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change
from noseroom.checks.cooling_records import Room
from noseroom.checks.cooling_room import HEADERS_MM, Rooms
from noseroom.envelope.cooling_records import NamedEntry
from noseroom.findings import Finding
from noseroom.parts.core_support import CoreSupport
from noseroom.units import format_length, inches_to_mm

__all__ = ["Option", "options_of"]

_PULLERS_IN = (16.0, 14.0, 12.0, 10.0)
_PUSHERS_IN = (14.0, 12.0, 10.0)
_KEPT = 0.7
_MORE_GAP_MM = 25.0
_LARGER = 1.05
_PLATE_MM = 2 * 24.0
_BOTH = frozenset({"radiator", "condenser"})


@dataclass(frozen=True)
class Option:
    """A change by its name, what is done in words, and what it costs in room."""

    name: str
    text: str
    change: Change
    room: Room
    by_file: bool = False


def options_of(car: Car, findings: Sequence[Finding] = ()) -> tuple[Option, ...]:
    """The file's first, then the usual ones that the nose does not have yet."""
    rooms = Rooms(car, findings)
    found = [*_of_file(car, rooms), *_usual(car, rooms)]
    names = [one.name for one in found]
    return tuple(one for k, one in enumerate(found) if one.name not in names[:k])


def _of_file(car: Car, rooms: Rooms) -> Iterator[Option]:
    for entry in car.entry.options:
        change = _change_of(car, entry)
        yield Option(entry.name, "as the file has it", change, rooms.of(change), by_file=True)
    fans = (one for one in car.layout.envelope.parts.values() if one.kind == "electric fan")
    for part in fans:
        size = part.sizes.get("diameter")
        if part.fitted or size is None or size.knowledge == "assumed":
            continue
        ahead = part.choices.get("mounting") == "in front"
        change = Change(pusher_mm=size.value) if ahead else Change(puller_mm=size.value)
        text = "it stands in the file, not fitted yet"
        yield Option(f"the {part.name}", text, change, rooms.of(change), by_file=True)


def _change_of(car: Car, entry: NamedEntry) -> Change:
    given = {key: one.value for key, one in entry.figures.items()}
    seals = {one for one in _BOTH if entry.words.get(f"{one} sides") == "sealed"}
    size, faces = None, car.faces
    if "condenser.width" in given or "condenser.height" in given:
        low_y, low_z, high_y, high_z = (faces.condenser_outline or faces.radiator_outline).bounds
        size = (
            given.get("condenser.width", high_y - low_y),
            given.get("condenser.height", high_z - low_z),
        )
    return Change(
        shroud=entry.words.get("shroud") == "yes",
        seals=frozenset(seals),
        cover=given.get("cover"),
        condenser_mm=size,
        second=entry.words.get("second condenser") == "yes",
        puller_mm=given.get("puller"),
        pusher_mm=given.get("pusher"),
        gap_mm=given.get("gap"),
        idle_rpm=given.get("idle"),
    )


def _usual(car: Car, rooms: Rooms) -> Iterator[Option]:
    faces, unit = car.faces, car.layout.envelope.unit
    bare = any(one.driven and not one.shrouded for one in faces.fans)
    there = {"radiator": faces.beside_m2 > 0, "condenser": faces.open_edge_mm > 0}
    open_sides = [
        what
        for what, is_there in there.items()
        if is_there and car.entry.words.get(f"{what}.sides") != "sealed"
    ]

    def option(name: str, text: str, change: Change) -> Option:
        return Option(name, text, change, rooms.of(change))

    if bare:
        text = "sheet over the whole core, with a ring round the fan"
        yield option("a shroud", text, Change(shroud=True))
    for what in open_sides:
        text = {
            "radiator": "baffles and foam between it and the opening: hot air stays behind",
            "condenser": "foam strips behind it: all of the air goes through both",
        }[what]
        yield option(f"seal round the {what}", text, Change(seals=frozenset({what})))
    if bare and open_sides:
        text = "all of that together"
        yield option("a shroud, all sealed", text, Change(shroud=True, seals=_BOTH))
    if faces.condenser is not None:
        yield from _of_condenser(car, rooms)
    width, height = car.radiator.core_width_mm, car.radiator.core_height_mm
    for inches in _PULLERS_IN:
        diameter = inches_to_mm(inches)
        if diameter + _PLATE_MM <= min(width, height) + _PLATE_MM / 2:
            text = f"{format_length(diameter, unit)}, instead of the engine's"
            yield option("an electric puller", text, Change(puller_mm=diameter))
            break
    if faces.condenser is not None:
        yield option(
            "a faster idle",
            "a solenoid lifts the idle by 150 to 250 turns with the A/C on",
            Change(idle_up=True),
        )


def _of_condenser(car: Car, rooms: Rooms) -> Iterator[Option]:
    faces, unit = car.faces, car.layout.envelope.unit
    assert faces.condenser_outline is not None
    low_y, low_z, high_y, high_z = faces.condenser_outline.bounds
    width, height = high_y - low_y, high_z - low_z

    def option(name: str, text: str, change: Change) -> Option:
        return Option(name, text, change, rooms.of(change))

    smaller = f"its lower {format_length(_KEPT * height, unit)} only"
    yield option("a lower condenser", smaller, Change(cover=_KEPT))
    larger = _largest(car, faces)
    if larger[0] * larger[1] > _LARGER * width * height:
        text = f"a core of {format_length(larger[0], unit)} by {format_length(larger[1], unit)}"
        yield option("a larger condenser", text, Change(condenser_mm=larger))
    yield option("a second condenser", "one more right before the first", Change(second=True))
    for inches in _PUSHERS_IN:
        diameter = inches_to_mm(inches)
        if diameter + _PLATE_MM <= min(width, height) + _PLATE_MM / 2:
            text = f"{format_length(diameter, unit)}, before the condenser"
            yield option("an electric pusher", text, Change(pusher_mm=diameter))
            break
    gap = faces.gap_mm + _MORE_GAP_MM
    text = f"{format_length(gap, unit)} from condenser to radiator"
    yield option("a wider gap", text, Change(gap_mm=gap))


def _largest(car: Car, faces: Faces) -> tuple[float, float]:
    """Width and height of the largest condenser before the core that passes the opening."""
    width, height = car.radiator.core_width_mm, car.radiator.core_height_mm
    for one in car.layout.parts.values():
        if isinstance(one.part, CoreSupport):
            width = min(width, one.part.opening_width_mm - HEADERS_MM)
            height = min(height, one.part.opening_height_mm)
    return float(np.floor(width / 5.0) * 5.0), float(np.floor(height / 5.0) * 5.0)
