"""What of a part a stand-in shows: its outside, its holes and port stubs, what was only assumed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.errors import NoseroomError, UnitsError
from noseroom.layout import Layout, PlacedPart
from noseroom.parts import shapes
from noseroom.parts.base import Part, Port
from noseroom.parts.condenser import Condenser
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.fan import Fan
from noseroom.parts.spacer import Spacer
from noseroom.parts.water_pump import WaterPump
from noseroom.tables.fasteners import clearance_holes, thread_like
from noseroom.units import format_length, read_thread

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]

KINDS = ("condenser", "drier", "compressor", "fan", "electric fan")
"""Kinds of part that a stand-in may be made of; a spacer is handed over as a part of its own."""

SLEEVE_MM = 10.0
"""Wall of the sleeve that joins a fan's disc to its spider: common practice for a print."""
_SLEEVE_GRIP_MM = 12.0  # how far along the disc's bore the sleeve holds it
_WEDGES, _ARC = 12, 5  # cells round a ring, points along each cell's arc
_STUBS = ("port", "inlet", "outlet", "suction", "discharge")
_OF_NO_MATTER = (("fan", "thickness"), ("fan", "flex"), ("compressor", "nose.belt"))
_AFT = (1.0, 0.0, 0.0)


class MockUpError(NoseroomError, ValueError):
    """A stand-in that cannot be made; the text says why, by how much, and what would do."""


@dataclass(frozen=True, eq=False)
class StandIn:
    """What a stand-in shows of one part, in the part's own frame, mm.

    solids: components by name; together they are what it fills. cells: corners (n, 3) each of
    convex pieces of its inside, none of which need be exact: only for hollowing. holes: bolt holes,
    which go through. stubs: hose ports, each at the end of its stub. notes: sentences, what the
    stand-in leaves out or adds, and which sizes nobody has read.
    """

    name: str
    kind: str
    solids: Mapping[str, cq.Shape]
    cells: tuple[Floats, ...]
    holes: Mapping[str, Port] = field(default_factory=dict)
    stubs: Mapping[str, Port] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def stand_ins(
    layout: Layout, names: Sequence[str] | None = None, spacers: Mapping[str, Spacer] | None = None
) -> tuple[StandIn, ...]:
    """The stand-ins for parts of a nose, in its order, then for spacers by their names.

    names: parts; None for all that are of one of `KINDS`. Raises MockUpError for a name that is
    none of the nose's parts, or a kind of which no stand-in is made.
    """
    wanted = (
        [one.name for one in layout.parts.values() if one.kind in KINDS]
        if names is None
        else list(names)
    )
    for name in wanted:
        part = layout.parts.get(name)
        if part is None or part.kind not in KINDS:
            there = [one.name for one in layout.parts.values() if one.kind in KINDS]
            raise MockUpError(
                f"no stand-in can be made of {name!r}: "
                + ("no such part is fitted" if part is None else f"it is of kind {part.kind}")
                + f"; of this nose, {words.listed(there) or 'nothing'} can be made"
            )
    made = [of_placed(layout, one) for one in layout.parts.values() if one.name in wanted]
    return (*made, *(of_spacer(name, one) for name, one in (spacers or {}).items()))


def of_placed(layout: Layout, placed: PlacedPart) -> StandIn:
    """The stand-in for one part of a nose."""
    part, notes = placed.part, list(_assumed_sizes(layout, placed))
    if isinstance(part, Fan):
        pump = layout.parts.get(placed.carrier)
        return _of_fan(placed.name, part, pump, notes, layout.envelope.unit)
    solids = part.solids()
    shown = {name: one for name, one in solids.items() if name not in placed.ghosts}
    cells = _cells(part, tuple(shown))
    for name in part.sweeps():
        if isinstance(part, ElectricFan):  # its blades are not modelled
            shown[name] = solids[name]
            cells += _disc_cells(part)
            notes.append("The disc that the blades sweep is shown as a solid ring.")
        else:
            notes.append(f"The {name} that hoses need is not shown: keep it free.")
    if isinstance(part, Condenser) and part.headers == "round":
        shown["tube ends"] = _tube_ends(part)
    holes, stubs = _ports(part)
    return StandIn(placed.name, placed.kind, shown, cells, holes, stubs, tuple(notes))


def _disc_cells(fan: ElectricFan) -> tuple[Floats, ...]:
    """Convex cells of the space that an electric fan's blades sweep, round each of its axes."""
    found: list[Floats] = []
    swept = np.concatenate([one.corners for one in fan.pieces() if one.component == "sweep"])
    ends = (float(swept[:, 0].min()), float(swept[:, 0].max()))
    for name, one in fan.features().items():
        if name.split()[-1] == "axis":
            middle = np.asarray(one.point, dtype=float) * np.array([0.0, 1.0, 1.0])
            ring = _ring_cells(ends, fan.motor_diameter_mm / 2, fan.diameter_mm / 2)
            found += [cell + middle for cell in ring]
    return tuple(found)


def _tube_ends(condenser: Condenser) -> cq.Shape:
    """What joins a core to round headers, which it only touches along a line: its tubes do."""
    radius, mid = condenser.header_diameter_mm / 2, condenser.core_thickness_mm / 2
    # No wider than where the header's underside is at 45 degrees: it then prints without support.
    half = min(radius / math.sqrt(2.0), mid)
    edge, high = condenser.core_width_mm / 2, condenser.core_height_mm / 2
    return shapes.joined(
        [
            shapes.box(
                (mid - half, min(side * edge, side * (edge + radius)), -high),
                (mid + half, max(side * edge, side * (edge + radius)), high),
            )
            for side in (-1.0, 1.0)
        ]
    )


def of_spacer(name: str, spacer: Spacer) -> StandIn:
    """The stand-in for a spacer. Raises GeometryError where none of its sizes can be made."""
    solids = spacer.solids()
    holes, stubs = _ports(spacer)
    note = "For trying the fit with the engine off: a spacer that turns is of metal."
    return StandIn(name, "spacer", solids, (), holes, stubs, (note,))


def _cells(part: Part, components: tuple[str, ...]) -> tuple[Floats, ...]:
    return tuple(
        np.asarray(one.corners, dtype=float) for one in part.pieces() if one.component in components
    )


def _ports(part: Part) -> tuple[dict[str, Port], dict[str, Port]]:
    """Bolt holes and hose ports."""
    ports = part.ports()
    stubs = {
        name: one for name, one in ports.items() if any(word in name.split() for word in _STUBS)
    }
    return {name: one for name, one in ports.items() if name not in stubs}, stubs


def _assumed_sizes(layout: Layout, placed: PlacedPart) -> Iterator[str]:
    """Which sizes are only assumed, in the file's unit."""
    unit = layout.envelope.unit
    rooms = tuple(f"{name}." for name in (*placed.ghosts, "ports.elbow room", "places"))
    lengths = {size.key for size in placed.part.sizes().values() if size.measure == "length"}
    guessed = [
        f"{key} {_said(size.value, unit)} ± {_said(size.half_width, unit)}"
        for key, size in placed.entry.sizes.items()
        if size.knowledge == "assumed"
        and key in lengths
        and size.half_width > 0
        and (placed.kind, key) not in _OF_NO_MATTER
        and not f"{key}.".startswith(rooms)
    ]
    if guessed:
        yield (
            f"Nobody has read these sizes of the {placed.name}; the stand-in has the usual ones: "
            f"{'; '.join(guessed)}."
        )
    if not placed.entry.bought:
        yield f"The {placed.name} is not bought yet: compare its sheet with the stand-in first."


def _said(mm: float, unit: str) -> str:
    return format_length(mm, unit, denominator=32)


def _of_fan(name: str, fan: Fan, pump: PlacedPart | None, notes: list[str], unit: str) -> StandIn:
    """The disc that the blades sweep, with the hub and, if known, its holes."""
    hub, tip = fan.spider_diameter_mm / 2, fan.diameter_mm / 2
    solids = {key: one for key, one in fan.solids().items() if key != "blades"}
    clutch = fan.drive == "clutch"
    shift = fan.shaft_length_mm + fan.clutch_depth_mm if clutch else 0.0
    front = -(shift + fan.ahead_mm)
    disc = (front, front + fan.width_mm)
    spider = (-(shift + fan.spider_thickness_mm), -shift)
    start, end = _sleeve(disc, spider)
    inner = max(hub - SLEEVE_MM, hub / 2)
    sleeve = shapes.ring((start, 0.0, 0.0), _AFT, end - start, inner, hub)
    low, high = max(start, disc[0]), min(end, disc[1])
    # Its outside meets the disc's bore in one surface: a collar holds the two together.
    collar = shapes.ring((low, 0.0, 0.0), _AFT, high - low, inner, hub + SLEEVE_MM)
    solids["sleeve"] = shapes.joined([sleeve, collar])
    notes.append(
        "The space that the blades sweep is shown as a solid ring. A sleeve joins it to the hub; "
        "the fan itself has the roots of its blades there."
    )
    holes: dict[str, Port] = {}
    depth = fan.flange_mm if clutch else fan.spider_thickness_mm
    component = "clutch" if clutch else "spider"
    bored = _bores(pump, depth, unit)
    if isinstance(bored, str):
        notes.append(bored)
    else:
        holes, drills = bored
        solids[component] = shapes.joined([solids[component]], without=drills)
    cells = tuple(_ring_cells(disc, hub + SLEEVE_MM, tip))
    if clutch:
        cells += _cells(fan, ("clutch",))
    notes.append(
        "A stand-in is no fan: battery off, and the engine is never started with it in place."
    )
    return StandIn(name, "fan", solids, cells, holes, {}, tuple(notes))


def _sleeve(disc: tuple[float, float], spider: tuple[float, float]) -> tuple[float, float]:
    """Where the sleeve begins and ends along the axis, so that it holds spider and disc."""
    low, high = max(disc[0], spider[0]), min(disc[1], spider[1])
    if high - low >= min(SLEEVE_MM, spider[1] - spider[0]):
        # The spider's rim is inside the disc: as long as it grips, on the disc's side.
        return max(disc[0], low - _SLEEVE_GRIP_MM), high
    if spider[1] > disc[1]:
        return max(disc[0], disc[1] - _SLEEVE_GRIP_MM), spider[1]
    return spider[0], min(disc[1], disc[0] + _SLEEVE_GRIP_MM)


def _bores(
    pump: PlacedPart | None, depth_mm: float, unit: str
) -> tuple[dict[str, Port], list[Any]] | str:
    """The hub's bolt and pilot holes, from the mounting face ahead; else why there are none."""
    if pump is None or not isinstance(pump.part, WaterPump):
        return "No bolt holes are shown: no water pump in the file carries it."
    if depth_mm <= 0:
        return "No bolt holes are shown: nobody has read how thick its flange is."
    said = pump.entry.texts.get("bolts.thread", "")
    try:
        thread = thread_like(read_thread(said)) if said else None
    except UnitsError:
        thread = None
    hole = None if thread is None else clearance_holes().get(thread.size)
    if hole is None:
        return f"No bolt holes are shown: the thread of the {pump.name}'s bolts is not known."
    ports = {
        name: Port(one.point * np.array([0.0, 1.0, 1.0]), -one.direction, hole.normal_mm)
        for name, one in pump.part.ports().items()
        if name.startswith("bolt")
    }
    pilot = pump.part.pilot_diameter_mm
    ports["pilot"] = Port(np.zeros(3), np.array(_AFT), pilot)
    if pilot + hole.normal_mm > pump.part.bolt_circle_mm:
        return f"No bolt holes are shown: the {pump.name}'s pilot and bolt circle overlap."
    drills = [
        shapes.cylinder(
            (-depth_mm - 1.0, float(one.point[1]), float(one.point[2])),
            _AFT,
            depth_mm + 2.0,
            one.bore_mm / 2,
        )
        for one in ports.values()
    ]
    return ports, drills


def _ring_cells(ends: tuple[float, float], inner: float, outer: float) -> Iterator[Floats]:
    """Convex cells that lie in a ring about the x axis, side by side."""
    half = math.pi / _WEDGES
    for k in range(_WEDGES):
        middle = 2 * half * k + half  # none lies across an axis, along which a disc is quartered
        arc = middle + np.linspace(-half, half, _ARC)
        # On the outside points of the arc; on the inside the tangent in the cell's middle.
        radii = np.concatenate([np.full(_ARC, outer), np.full(2, inner / math.cos(half))])
        angles = np.concatenate([arc, arc[[0, -1]]])
        yield np.array(
            [
                (x, r * math.cos(a), r * math.sin(a))
                for x in ends
                for r, a in zip(radii, angles, strict=True)
            ]
        )
