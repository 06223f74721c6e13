"""The spacers that a window allows, each with its bolts, and which is the best."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from noseroom.checks.spacer_bolts import Bolting, Span, bolting
from noseroom.checks.spacer_form import Form
from noseroom.checks.spacer_stack import Stack
from noseroom.physics.bolts import cylinder_kg, moment_growth, moment_nm, off_centre_mm
from noseroom.tables.fasteners import spacer_limits
from noseroom.units import MM_PER_INCH, format_length

Interval = tuple[float, float]

LEAST_MM = 3.0
"""Thinner than this it is a shim (common practice)."""
_INCH_STEPS_MM = tuple(MM_PER_INCH / part for part in (8, 16, 32, 64))
_METRIC_STEPS_MM = (1.0, 0.5, 0.1)
_MOST_LOOKED_AT = 5
"""For how many thicknesses, the best first, the room that they leave is looked at."""
_SHARE_OF_WINDOW = 0.25
"""How far from the middle of a window, as a share of its width, a handy figure may lie."""


def _nothing(_: float) -> float | None:
    return None


@dataclass(frozen=True)
class Room:
    """What a fan has along its axis, by the thickness of a spacer, mm.

    window: thicknesses that keep every rule. ahead, behind: what stays free ahead of the blades and
    behind them. shroud: the share of the blades' width that stands in the shroud. Each is None
    where there is nothing to tell.
    """

    window: tuple[Interval, ...]
    ahead: Callable[[float], float | None] = _nothing
    behind: Callable[[float], float | None] = _nothing
    shroud: Callable[[float], float | None] = _nothing

    def spare_mm(self, thickness: float) -> float:
        """How far a thickness is inside the window; below nothing outside it."""
        return max(
            (min(thickness - low, high - thickness) for low, high in self.window),
            default=-math.inf,
        )


@dataclass(frozen=True, eq=False)
class Option:
    """One spacer. thickness_mm: counted from where the fan is bolted to the hub.

    stock: whether it can be bought so, or has to be turned. bolts: None where what is needed for
    them is missing. form: plain or with two pilots, and why it cannot be made, if so. growth: how
    many times today's the moment on the front bearing gets, with the spacer's own weight where the
    fan's mass is known. ahead_mm, behind_mm, shroud: as in `Room`.
    """

    thickness_mm: float
    label: str
    stock: bool
    spare_mm: float
    bolts: Bolting | None
    form: Form
    growth: Span
    ahead_mm: float | None = None
    behind_mm: float | None = None
    shroud: float | None = None

    @property
    def double_pilot(self) -> bool:
        """Whether too little of the hub's pilot is left, and it needs a pilot on both faces."""
        return self.form.kind == "double pilot"

    @property
    def pilot_left_mm(self) -> float:
        """Of the hub's pilot, ahead of the spacer, at least."""
        return self.form.pilot_left_mm

    @property
    def stuck(self) -> bool:
        """Whether it cannot be made, or cannot be bolted."""
        return bool(self.form.faults) or (self.bolts is not None and not self.bolted)

    @property
    def bolted(self) -> bool:
        """Whether there are bolts for it."""
        return self.bolts is not None and self.bolts.bolt is not None


@dataclass(frozen=True, eq=False)
class Choice:
    """What to take for a fan, the best first; options: never empty."""

    stack: Stack
    room: Room
    options: tuple[Option, ...]

    @property
    def best(self) -> Option:
        """The first of them."""
        return self.options[0]

    @property
    def spacer_kg(self) -> float:
        """About what the best weighs, turned from aluminium as large as the hub."""
        return _spacer_kg(self.stack, self.best.thickness_mm)

    @property
    def moments_nm(self) -> tuple[Span, Span] | None:
        """On the front bearing today and with the best; None where the fan's mass is not known.

        With the spacer's own weight, whose middle is half its thickness ahead of where the fan is
        bolted now, and so further from the bearing by hub and web.
        """
        mass, lever, rear = self.stack.mass_kg, self.stack.lever, self.stack.to_spacer
        if mass is None:
            return None
        thick = self.best.thickness_mm
        own = [moment_nm(self.spacer_kg, x + thick / 2) for x in (rear.least_mm, rear.most_mm)]
        today = [moment_nm(mass, arm) for arm in (lever.least_mm, lever.most_mm)]
        then = [moment_nm(mass, arm + thick) for arm in (lever.least_mm, lever.most_mm)]
        return Span(*today), Span(*(a + b for a, b in zip(then, own, strict=True)))

    @property
    def off_centre_mm(self) -> float | None:
        """How far off its axis the fan's middle of mass may lie, by the grade of its balance.

        None where its highest speed is not known.
        """
        if self.stack.most_rpm is None:
            return None
        return off_centre_mm(spacer_limits()["balance"].value, self.stack.most_rpm)


def choose(stack: Stack, room: Room) -> Choice | None:
    """The spacers for a fan, the best first; None where its window is empty, or too narrow.

    None too where a spacer seems to be on that the file does not name.

    What can be made and bolted comes before what cannot, what is in stock before what has to be
    turned, and then what stands furthest inside the window.
    """
    if stack.is_spaced:
        return None
    loose = spacer_limits()["thickness"].value
    usable = [(max(low + loose, LEAST_MM), high - loose) for low, high in room.window]
    usable = [(low, high) for low, high in usable if low <= high]
    options = [_option(stack, room, one.thickness_mm, stock=True) for one in stack.stock]
    options = [one for one in options if one.spare_mm >= loose]
    turned = _turned(stack, usable)
    if turned is not None and all(abs(turned - one.thickness_mm) > 1e-6 for one in options):
        options.append(_option(stack, room, turned, stock=False))
    if not options:
        return None
    options.sort(key=_rank)
    shown = [_with_room(one, room) for one in options[:_MOST_LOOKED_AT]]
    return Choice(stack, room, (*shown, *options[_MOST_LOOKED_AT:]))


def _with_room(option: Option, room: Room) -> Option:
    thick = option.thickness_mm
    return replace(
        option, ahead_mm=room.ahead(thick), behind_mm=room.behind(thick), shroud=room.shroud(thick)
    )


def _rank(option: Option) -> tuple[bool, bool, float, float]:
    return option.stuck, not option.stock, -round(option.spare_mm, 3), option.thickness_mm


def _option(stack: Stack, room: Room, thickness: float, *, stock: bool) -> Option:
    return Option(
        thickness,
        format_length(thickness, stack.unit, denominator=64),
        stock,
        room.spare_mm(thickness),
        None if stack.joint is None else bolting(stack.joint, thickness),
        stack.form(thickness),
        _growth(stack, thickness),
    )


def _spacer_kg(stack: Stack, thickness: float) -> float:
    return cylinder_kg(stack.hub_mm, thickness, spacer_limits()["spacer density"].value)


def _growth(stack: Stack, thickness: float) -> Span:
    """How many times today's moment, least and most.

    It rises or falls with either length alone, and so is at its ends where both are at theirs.
    """
    share = 0.0 if stack.mass_kg is None else _spacer_kg(stack, thickness) / stack.mass_kg
    rear, fan = stack.to_spacer, stack.balance
    found = [
        moment_growth(max(x + y, 1.0), thickness, share, x + thickness / 2)
        for x in (rear.least_mm, rear.most_mm)
        for y in (fan.least_mm, fan.most_mm)
    ]
    return Span(min(found), max(found))


def _turned(stack: Stack, window: Sequence[Interval]) -> float | None:
    """A thickness to have turned: handy, near the middle, which can be made and bolted."""
    if not window:
        return None
    low, high = max(window, key=lambda one: one[1] - one[0])
    handy = list(_handy(low, high, stack.unit))
    middle = handy[0]
    return next((one for one in handy if _can_be(stack, one)), middle)


def _can_be(stack: Stack, thickness: float) -> bool:
    """Whether it can be made and, where all is known, bolted."""
    joint = stack.joint
    bolted = joint is None or bolting(joint, thickness).bolt is not None
    return bolted and not stack.form(thickness).faults


def _handy(low: float, high: float, unit: str) -> Iterator[float]:
    """Thicknesses in a window: the roundest near its middle, then finer ones from there outward."""
    middle, width = (low + high) / 2, high - low
    steps = _INCH_STEPS_MM if unit in ("in", "ft") else _METRIC_STEPS_MM
    for step in steps:
        near = round(middle / step) * step
        if abs(near - middle) <= _SHARE_OF_WINDOW * width:
            yield near
            break
    else:
        yield middle
    for step in steps:
        marks = [k * step for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
        yield from sorted(marks, key=lambda mm: abs(mm - middle))
