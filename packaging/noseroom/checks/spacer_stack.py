"""The stack of hub, spacer and fan as the file tells it, and what it leaves out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

from noseroom.checks import words
from noseroom.checks.spacer_bolts import Hole, Joint, Span
from noseroom.checks.spacer_form import Form, form_of, ring_of, unfit
from noseroom.envelope.model import Shop, SizeReading
from noseroom.errors import UnitsError
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.fan import Fan
from noseroom.parts.spacer import Spacer
from noseroom.parts.water_pump import WaterPump
from noseroom.tables.fasteners import (
    BoltLength,
    Grade,
    Stock,
    ThreadSize,
    bolt_lengths,
    grades,
    hub_materials,
    spacer_limits,
    stock_spacers,
    thread_like,
)
from noseroom.units import format_length, read_thread

THE_FILE = "the envelope file"
_USUAL_GRADE = {"in": "5", "mm": "8.8"}
"""What bolts are usually bought in (common practice)."""
_MOST_LOOSE_MM = 3.0
"""Bolts come in steps of 5 or 6 mm: what is known no better than to half of that decides none."""


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that nobody has measured. what: a noun; how: to get it, as a remedy says it."""

    what: str
    how: str


@dataclass(frozen=True, eq=False)
class Stack:
    """Hub, fan and what may come between them.

    fan, pump: their names. drive: rigid, flexible, or clutch. joint: None where something of it is
    missing. pilot: of the hub, ahead of its face. between: what lies between hub and fan besides,
    such as a pulley's web. bearing: from the pump's front bearing to the hub's face. balance: from
    the fan's mounting face to where it balances. sure_lever: whether both were measured. mass_kg,
    most_rpm: None where the file does not say. ring: a plain spacer for this hub, of any thickness;
    None where the thread of its bolts is not known. unfit: why none can be bored for this hub, ""
    where one can.
    """

    fan: str
    pump: str
    drive: str
    unit: str
    joint: Joint | None
    missing: tuple[Missing, ...]
    pilot: Span
    between: Span
    bearing: Span
    balance: Span
    sure_lever: bool
    mass_kg: float | None
    most_rpm: float | None
    hub_mm: float
    ring: Spacer | None
    unfit: str
    stock: tuple[Stock, ...]

    @property
    def to_spacer(self) -> Span:
        """From the front bearing to where a spacer's rear face lies."""
        hub, web = self.bearing, self.between
        return Span(hub.least_mm + web.least_mm, hub.most_mm + web.most_mm)

    @property
    def lever(self) -> Span:
        """From the front bearing to where the fan balances, today."""
        face, fan = self.to_spacer, self.balance
        return Span(face.least_mm + fan.least_mm, face.most_mm + fan.most_mm)

    def form(self, thickness_mm: float) -> Form:
        """Of a spacer of this thickness."""
        web = self.between
        out = Span(self.pilot.least_mm - web.most_mm, self.pilot.most_mm - web.least_mm)
        return form_of(self.ring, out, thickness_mm)

    @property
    def is_spaced(self) -> bool:
        """Whether a spacer is on that the file does not name as one: none goes on top of it."""
        return self.between.least_mm > spacer_limits()["web"].value


def stack_of(layout: Layout, fan: PlacedPart) -> Stack | None:
    """The stack of a fan; None where no water pump of the file carries it."""
    carrier = layout.parts.get(fan.carrier)
    if carrier is None or not isinstance(carrier.part, WaterPump):
        return None
    pump, blades = carrier.part, fan.part
    assert isinstance(blades, Fan)
    envelope = layout.envelope
    shop = envelope.shop
    thread, missing = _thread(carrier)
    flange, more = _flange(fan)
    missing += more
    depth = _said(carrier, "bolts.depth")
    if depth is None:
        missing.append(Missing("the depth of the hub's thread", _DEPTH.format(carrier.name)))
    material = hub_materials().get(carrier.entry.choices["hub.material"])
    if material is None:
        missing.append(Missing("what the hub is made of", _MATERIAL.format(carrier.name)))
    if carrier.entry.sizes["bolts.circle"].knowledge == "assumed":
        missing.append(Missing("its bolt circle", _CIRCLE.format(carrier.name)))
    between = _between(layout, carrier, fan)
    if between.most_mm - between.least_mm > _MOST_LOOSE_MM:
        missing.append(
            Missing(
                f"how far the {fan.name} stands ahead of the hub's face",
                _BETWEEN.format(fan.name, carrier.name),
            )
        )
    grade = None if thread is None else _grade(shop, thread)
    if thread is not None and grade is None:
        missing.append(_wrong_grade(shop, thread))
    joint = None
    if not missing and thread and depth and material and flange and grade:
        joint = Joint(
            thread,
            pump.bolt_count,
            _hole(pump.hole),
            depth,
            material,
            flange,
            grade,
            _lengths(shop, thread, envelope.unit),
            between,
        )
    bearing, balance, sure = _levers(carrier, fan)
    across = min(float(pump.hub_diameter_mm), float(blades.spider_diameter_mm))
    ring = None if thread is None else ring_of(pump, thread, across)
    return Stack(
        fan.name,
        carrier.name,
        blades.drive,
        envelope.unit,
        joint,
        tuple(missing),
        _about(carrier, "pilot.length"),
        between,
        bearing,
        balance,
        sure,
        _number(fan, "mass"),
        _number(fan, "highest speed"),
        across,
        ring,
        "" if thread is None or ring is None else "; ".join(unfit(ring, thread)),
        _stock(shop, envelope.unit),
    )


_DEPTH = (
    "run a bolt into the {}'s hub by hand, count its turns, and write turns times pitch "
    "(bolts: {{depth: ...}})"
)
_MATERIAL = (
    "say what the {}'s hub is (hub: {{material: ...}}): a file takes grey dust off cast iron and "
    "bright curls off steel; no magnet holds to aluminium"
)
_BETWEEN = (
    "measure how far the {0}'s mounting face stands ahead of the {1}'s hub, as by a pulley's web "
    "({0}: {{place: mount ... ahead of {1}.hub.face}})"
)
_CIRCLE = "measure the bolt circle of the {}'s hub (bolts: {{circle: ...}})"
_THREAD = "gauge the thread of the {}'s bolts (bolts: {{thread: ...}})"


def _thread(pump: PlacedPart) -> tuple[ThreadSize | None, list[Missing]]:
    text = pump.entry.texts.get("bolts.thread", "")
    how = _THREAD.format(pump.name)
    if not text:
        return None, [Missing("the thread of its bolts", how)]
    try:
        found = thread_like(read_thread(text))
    except UnitsError:
        found = None
    if found is None:
        what = f"figures for a thread of “{text}”, which is in no table here"
        return None, [Missing(what, f"{how} again: 1/4 to 1/2 in, or M6 to M12")]
    return found, []


def _flange(fan: PlacedPart) -> tuple[Span | None, list[Missing]]:
    """What the bolts go through on the fan's side."""
    key = "clutch.flange" if fan.entry.choices["drive"] == "clutch" else "spider.thickness"
    found = _said(fan, key)
    if found is not None:
        return found, []
    group, last = key.split(".")
    name = "clutch's flange" if group == "clutch" else "hub plates"
    how = f"measure the thickness of the {fan.name}'s {name} ({group}: {{{last}: ...}})"
    return None, [Missing(f"the thickness of the {fan.name}'s {name}", how)]


def _hole(word: str) -> Hole:
    for one in get_args(Hole):
        if one == word:
            found: Hole = one
            return found
    raise ValueError(f"found {word}; expected one of {get_args(Hole)}")


def _grade(shop: Shop, thread: ThreadSize) -> Grade | None:
    """What the bolts are of; None where the shop's grade is not one for such threads."""
    found = grades()[shop.grade or _USUAL_GRADE[thread.unit]]
    return found if found.unit == thread.unit else None


def _wrong_grade(shop: Shop, thread: ThreadSize) -> Missing:
    said = grades()[shop.grade]
    other = {"in": "inch", "mm": "metric"}[said.unit]
    known = [one.grade for one in grades().values() if one.unit == thread.unit]
    usual = _USUAL_GRADE[thread.unit]
    return Missing(
        f"a grade of bolts for {thread.thread}: {said.grade}, as the file's shop has it, is one "
        f"for {other} threads ({said.source.split(',')[0].split(':')[0]})",
        f"read the marks on the {thread.thread} bolts' heads and write one of "
        f"{words.listed(known)} (shop: {{grade: ...}}), or leave it out for {usual}",
    )


def _lengths(shop: Shop, thread: ThreadSize, unit: str) -> tuple[BoltLength, ...]:
    """What the file says there is, else what is usually sold."""
    series = bolt_lengths(thread.unit)
    if not shop.bolts_mm:
        return series
    found = []
    for mm in shop.bolts_mm:
        like = next((one for one in series if one.length_mm >= mm), series[-1])
        label, written = _written(mm, unit)
        found.append(replace(like, label=label, unit=written, length_mm=mm))
    return tuple(found)


def _stock(shop: Shop, unit: str) -> tuple[Stock, ...]:
    if not shop.spacers_mm:
        return stock_spacers()
    return tuple(Stock(*_written(mm, unit), mm, THE_FILE) for mm in shop.spacers_mm)


def _written(mm: float, unit: str) -> tuple[str, str]:
    """A length as a label and its unit."""
    unit = "in" if unit == "ft" else unit
    return format_length(mm, unit, denominator=64).removesuffix(f" {unit}"), unit


def _between(layout: Layout, pump: PlacedPart, fan: PlacedPart) -> Span:
    """What lies between the hub's face and the fan's, as the readings say."""
    face, along, shifts = pump.touch_point("hub.face")
    mount, _, more = fan.touch_point("mount")
    loose = float(layout.uncertainty.spread(along @ (more - shifts)))
    thick = float((mount - face) @ along)
    return Span(max(thick - loose, 0.0), max(thick + loose, 0.0))


def _levers(pump: PlacedPart, fan: PlacedPart) -> tuple[Span, Span, bool]:
    """Bearing to hub's face, fan's face to where it balances; whether both were measured."""
    assert isinstance(fan.part, Fan)
    assert isinstance(pump.part, WaterPump)
    bearing, balance = _said(pump, "bearing"), _said(fan, "balance")
    sure = bearing is not None and balance is not None
    if bearing is None:
        # Somewhere between the hub and the housing.
        rear = float(pump.part.hub_thickness_mm)
        bearing = Span(rear, rear + float(pump.part.snout_length_mm))
    if balance is None:
        balance = Span(*sorted(map(float, fan.part.masses_mm())))
    return bearing, balance, sure


def _reading(part: PlacedPart, key: str) -> SizeReading | None:
    found = part.entry.sizes.get(key)
    return None if found is None or found.knowledge == "assumed" else found


def _said(part: PlacedPart, key: str) -> Span | None:
    """A size with what its reading may be off; None where nobody has read it."""
    return None if _reading(part, key) is None else _about(part, key)


def _about(part: PlacedPart, key: str) -> Span:
    """A size as adjusted, with what its reading, or the range assumed, may be off.

    No less than nothing, but for where a fan balances: that may be behind its face.
    """
    read = part.entry.sizes[key]
    found = Span.about(float(part.placements[0].sizes.get(key, read.value)), read.half_width)
    if key == "balance":
        return found
    return Span(max(found.least_mm, 0.0), max(found.most_mm, 0.0))


def _number(part: PlacedPart, key: str) -> float | None:
    read = _reading(part, key)
    return None if read is None or read.value <= 0 else read.value
