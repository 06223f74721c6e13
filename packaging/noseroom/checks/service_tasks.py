"""What has to be reached once a nose is together, and the room that each task takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.service_rooms import Room, across, drum, room_on, swept_handle
from noseroom.layout import Layout, PlacedPart
from noseroom.tables.service import BoltHead, bolt_heads, head_of, needs

Floats = NDArray[np.float64]

SIBLING = "the other port"
_WAYS = 12
_UNMARKED = "M10"
"""The size that is taken where nobody says how a fan is bolted on: the largest that is usual."""
_SWINGS = "the wrench on the {} has to swing, whichever way it points"


@dataclass(frozen=True, eq=False)
class Task:
    """One thing to be done: the room it takes, what it does not mind, and how it is said.

    task: what is to be done, such as "a wrench on the fan's bolts". can: the same as a sentence.
    goes: what happens in the room. otherwise: what to do where what stays is in the way. how: what
    was taken, in words. free: names of parts that do not count. skip: components of its own part
    that do not. ports: rooms on that part that stand in the way.
    """

    key: str
    question: str
    host: PlacedPart
    room: Room
    task: str
    can: str
    goes: str
    otherwise: str
    how: str
    sources: tuple[str, ...]
    free: frozenset[str] = frozenset()
    skip: frozenset[str] = frozenset()
    ports: tuple[Room, ...] = ()


def tasks_of(layout: Layout) -> Iterator[Task]:
    """Everything that has to be reached with a hand or a wrench."""
    yield from _caps(layout)
    yield from _fittings(layout)
    yield from _fan_bolts(layout)


def _caps(layout: Layout) -> Iterator[Task]:
    unit = layout.envelope.unit
    for part in layout.parts.values():
        if part.kind != "radiator" or part.unplaced or "cap" not in part.components:
            continue
        top, up, _ = part.touch_point("cap.top")
        radius = float(part.part.features()["cap.top"].radius)
        height = float(getattr(part.part, "cap_height_mm", 0.0))
        beside, hand, lift = (needs()[key] for key in ("twist round", "hand", "cap lift"))
        body = drum(top, up, -0.7 * height, lift.value + hand.value, radius + beside.value)
        yield Task(
            key=f"{part.name} cap",
            question="can the radiator cap be opened",
            host=part,
            room=room_on(part, f"hand on the {part.name} cap", "cap.top", {"from above": (body,)}),
            task=f"a hand at the {part.name}'s cap",
            goes=f"the hand at the {part.name}'s cap goes",
            otherwise="fit a filler that stands clear of it",
            can=f"the {part.name}'s cap can be taken hold of, turned and lifted off",
            how=f"a hand round it ({words.at_least(beside.value, unit)}), and "
            f"{words.at_least(lift.value + hand.value, unit)} above it",
            sources=(beside.source, hand.source, lift.source),
            skip=frozenset(part.components),
        )


_PORTED = {"drier": ("inlet", "outlet"), "condenser": ("upper port", "lower port")}


def _fittings(layout: Layout) -> Iterator[Task]:
    for part in layout.parts.values():
        names = _PORTED.get(part.kind, ())
        if part.unplaced:
            continue
        hoses = frozenset(
            one.name
            for one in layout.parts.values()
            if one.kind == "hose" and part.name in one.ties
        )
        for name in names:
            other = next(one for one in names if one != name)
            yield _fitting(part, name, other, hoses, layout.envelope.unit)


def _fitting(part: PlacedPart, name: str, other: str, hoses: frozenset[str], unit: str) -> Task:
    flats = needs()["fitting nut"].value * 2 * _radius(part, name)
    head, depth = (needs()[key].value * flats for key in ("open head", "open depth"))
    end, out, _ = part.touch_point(f"{name}.end")
    title = f"{part.name} {name}" if name.endswith("port") else f"{part.name} {name} port"
    there, way, _ = part.touch_point(f"{other}.end")
    # The nut on the other port, across its corners.
    nut = needs()["fitting nut"].value * 2 * _radius(part, other) / math.sqrt(3.0)
    neighbour = room_on(
        part,
        f"{part.name} {other}: nut",
        f"{other}.end",
        {SIBLING: (drum(there, way, -1.0, 2 * nut, nut),)},
    )
    return Task(
        key=title,
        question="can the fitting be turned",
        host=part,
        room=room_on(
            part,
            f"wrench on the {title}",
            f"{name}.end",
            _wrench_ways(end, out, flats, head, (0.0, depth), (0.0, depth)),
        ),
        task=f"a wrench on the {title}",
        goes=_SWINGS.format(title),
        otherwise=f"tighten the fitting before the {part.name} goes in",
        can=f"a wrench can be swung on the fitting of the {title}",
        how=_wrench_said(flats, unit),
        sources=(
            needs()["fitting nut"].source,
            needs()["open head"].source,
            needs()["swing"].source,
        ),
        free=hoses,
        skip=frozenset(("ports", "elbow room")),
        ports=(neighbour,),
    )


def _radius(part: PlacedPart, port: str) -> float:
    return float(part.part.features()[f"{port}.end"].radius)


def _wrench_said(flats: float, unit: str) -> str:
    length, swing = needs()["wrench length"].value * flats, needs()["swing"].value
    across_flats = words.at_least(flats, unit)
    return (
        f"a wrench of {across_flats}, {words.at_least(length, unit)} long, over {swing:g} degrees"
    )


def _wrench_ways(
    centre: Floats,
    along: Floats,
    flats: float,
    head: float,
    head_ends: tuple[float, float],
    handle_ends: tuple[float, float],
    pivot: Callable[[float], Floats] | None = None,
) -> dict[str, list[Floats]]:
    """A wrench with its handle pointing each way round: its head, and what the handle sweeps.

    pivot: what the head sits on when the handle points a way (rad), where that follows the way.
    """
    swing = math.radians(needs()["swing"].value)
    length = needs()["wrench length"].value * flats
    ways = {}
    for k in range(_WAYS):
        turn = math.tau * k / _WAYS
        middle = centre if pivot is None else pivot(turn)
        ways[f"way {k}"] = [
            drum(middle, along, *head_ends, head / 2),
            swept_handle(middle, along, turn, swing, length, flats / 2, handle_ends),
        ]
    return ways


def _fan_bolts(layout: Layout) -> Iterator[Task]:
    """The bolts that hold a fan: each is brought round to wherever the wrench goes."""
    for fan in layout.parts.values():
        pump = layout.parts.get(fan.carrier)
        if fan.kind != "fan" or fan.unplaced or pump is None or pump.kind != "water pump":
            continue
        said = head_of(pump.entry.texts.get("bolts.thread", ""))
        head = said or bolt_heads()[_UNMARKED]
        shaft = frozenset(
            one.name
            for one in layout.parts.values()
            if one.carrier == pump.name and one.kind in ("pulley", "fan")
        )
        belts = frozenset(
            one.name
            for one in layout.parts.values()
            if one.kind == "belt" and shaft.intersection(one.ties)
        )
        ways = _behind_clutch if fan.entry.choices.get("drive") == "clutch" else _ahead_of_fan
        feature, rooms, how = ways(fan, pump, head, layout.envelope.unit)
        size = head.thread if said else f"{head.thread} at most, for want of a figure"
        yield Task(
            key=f"{fan.name} bolts",
            question="can the fan's bolts be reached",
            host=fan,
            room=room_on(fan, f"wrench on the {fan.name}'s bolts", feature, rooms),
            task=f"a wrench on the {fan.name}'s bolts",
            goes=_SWINGS.format(f"{fan.name}'s bolts"),
            otherwise=f"put the {fan.name} on before what stands there goes in",
            can=f"the {fan.name}'s bolts ({size}) can be undone, each turned to the best place",
            how=how,
            sources=(head.source, needs()["ring head"].source, needs()["swing"].source),
            free=shaft | belts | {pump.name},
        )


def _bolt_circle(pump: PlacedPart) -> float:
    """Radius of the bolt circle at its largest, mm."""
    read = pump.entry.sizes["bolts.circle"]
    return (read.value + read.half_width) / 2


def _on_circle(centre: Floats, along: Floats, radius: float) -> Callable[[float], Floats]:
    first, second = across(along)
    return lambda turn: centre + radius * (math.cos(turn) * first + math.sin(turn) * second)


Ways = tuple[str, dict[str, list[Floats]], str]


def _ahead_of_fan(fan: PlacedPart, pump: PlacedPart, head: BoltHead, unit: str) -> Ways:
    """A ring wrench ahead of the spider, its cranked handle in a hand ahead of the blades."""
    front, along, _ = fan.touch_point("spider.front")
    blades = float((fan.touch_point("blade.front", "12 o'clock")[0] - front) @ along)
    flats, grip = head.across_flats_mm, needs()["grip"].value
    ring, depth = (needs()[key].value * flats for key in ("ring head", "ring depth"))
    out = head.head_mm + max(2 * depth, needs()["bolt travel"].value)
    handle = max(blades, 0.0), max(blades, 0.0) + 2 * grip
    ways = _wrench_ways(
        front,
        along,
        flats,
        ring,
        (0.0, max(out, handle[1])),
        handle,
        _on_circle(front, along, _bolt_circle(pump)),
    )
    hand = words.at_least(2 * grip, unit)
    how = f"{_wrench_said(flats, unit)}, in a hand ahead of the blades ({hand})"
    return "spider.front", ways, how


def _behind_clutch(fan: PlacedPart, pump: PlacedPart, head: BoltHead, unit: str) -> Ways:
    """An open wrench between the clutch's flange and its body, its handle past everything."""
    face, along, _ = fan.touch_point("mount")
    flats = head.across_flats_mm
    wide, depth = (needs()[key].value * flats for key in ("open head", "open depth"))
    start = needs()["flange"].value
    ends = start, start + head.head_mm + depth
    pivot = _on_circle(face, along, _bolt_circle(pump))
    ways = _wrench_ways(face, along, flats, wide, ends, ends, pivot)
    return "mount", ways, f"{_wrench_said(flats, unit)}, between the clutch and its flange"
