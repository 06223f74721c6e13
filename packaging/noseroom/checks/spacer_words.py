"""The choice of a spacer and its bolts in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noseroom.checks import words
from noseroom.checks.spacer_bolts import Bolting, remembered
from noseroom.checks.spacer_choice import Choice, Option
from noseroom.checks.spacer_stack import THE_FILE, Stack
from noseroom.tables.fasteners import (
    BoltLength,
    ClearanceHole,
    Grade,
    HubMaterial,
    Nut,
    Sourced,
    ThreadSize,
    Washer,
    spacer_limits,
)
from noseroom.units import format_length

SIZING_AID = "A sizing aid: the torque that the maker of fan, pump or bolts gives stands above it."
_NM_PER_LBF_FT = 1.3558179


def note(choice: Choice) -> str:
    """What to take, and with which bolts."""
    stack = choice.stack
    if stack.unfit:
        return f"No spacer can be bored for the {stack.pump}'s hub: {stack.unfit}."
    if faults := choice.best.form.faults:
        return (
            f"No spacer that keeps the {stack.fan}'s room can be made. One of "
            f"{choice.best.label}: {'; '.join(faults)}."
        )
    return f"{_which(choice)} {_bolts(choice)}"


def lines(choice: Choice) -> tuple[str, ...]:
    """All that hangs on it, with its cautions, a line each."""
    return () if choice.stack.unfit or choice.best.form.faults else tuple(_lines(choice))


def _lines(choice: Choice) -> Iterator[str]:
    stack, best = choice.stack, choice.best
    made = best.bolts
    if made is not None and made.bolt is not None:
        yield from _tightening(stack, made)
    yield _pilot(stack, best)
    yield from _burden(choice)
    yield from _kind_of_fan(stack)
    if made is not None:
        rows = [f"{_about(one)} ({one.source})" for one in remembered(made.rows)]
        if rows:
            yield f"From memory, confirm before you buy: {'; '.join(rows)}."


def _which(choice: Choice) -> str:
    stack, best = choice.stack, choice.best
    if best.stock:
        source = next(one.source for one in stack.stock if one.thickness_mm == best.thickness_mm)
        kind = "from your own list" if source == THE_FILE else "as sold"
        start = f"For the {stack.fan}, a spacer of {best.label} {kind} is the best choice"
    else:
        start = f"For the {stack.fan}, have a spacer turned, {best.label} thick"
        if not any(one.stock for one in choice.options):
            start += ": none on the list is inside the window"
    left = [
        f"{words.length(mm, stack.unit)} {side}"
        for mm, side in ((best.behind_mm, "behind it"), (best.ahead_mm, "ahead of its blades"))
        if mm is not None
    ]
    rest = f"; {words.listed(left)} {'stay' if len(left) > 1 else 'stays'} free" if left else ""
    if best.shroud is not None:
        rest += f", and {100 * best.shroud:.0f} % of the blades' width stands in the shroud"
    return f"{start}{rest}."


def option(one: Option, unit: str) -> str:
    """One thickness in a line: what it is, what it leaves, and its bolts."""
    left = [
        f"{words.length(mm, unit)} {side}"
        for mm, side in ((one.behind_mm, "behind"), (one.ahead_mm, "ahead"))
        if mm is not None
    ]
    bolts = "bolts not known"
    if one.form.faults:
        bolts = "cannot be made"
    elif one.bolts is not None:
        bolts = f"no bolts: {one.bolts.trouble}" if one.bolts.bolt is None else fastener(one.bolts)
    return ", ".join((f"{one.label}{'' if one.stock else ' turned'}", *left, bolts))


def _bolts(choice: Choice) -> str:
    stack, made = choice.stack, choice.best.bolts
    if made is None:
        missing = words.listed([one.what for one in stack.missing])
        return f"Its bolts are not known, for want of {missing}."
    if made.bolt is None:
        return _no_bolts(stack, made)
    memory = ", some of it from memory: confirm" if any(remembered(made.rows)) else ""
    under = "nut and a plain washer" if made.joint.hole == "stud" else "plain washer"
    return f"It takes {fastener(made)}, each with a {under}{memory}."


def _tightening(stack: Stack, made: Bolting) -> Iterator[str]:
    joint, unit = made.joint, stack.unit
    grip, engaged = fine(made.grip.most_mm, unit), fine(made.engaged.least_mm, unit)
    yield (
        f"Grip up to {grip}; at least {engaged} in the hub's thread, where "
        f"{joint.material.material} asks for {fine(joint.needed_mm, unit, up=True)}."
    )
    if joint.hole == "stud":
        deep = made.engaged.least_mm + spacer_limits()["point"].value * joint.thread.pitch_mm
        yield f"Screw each stud {fine(deep, unit)} into the hub, no less and no more."
    if made.sticks_out_mm > 0:
        out = words.at_least(made.sticks_out_mm, unit)
        yield f"The bolts may come out up to {out} behind the hub: see that nothing is there."
    low, high = (torque(nm, unit) for nm in (made.torque_nm.least_mm, made.torque_nm.most_mm))
    sets = ""
    if made.share < 1:
        sets = (
            f" The hub's thread sets that: it carries {100 * made.share:.0f} % of what the bolt "
            f"would."
        )
    yield (
        f"Tighten each to {low} oiled, {high} dry, for {load(made.clamp_n, unit)} of clamp.{sets} "
        f"{SIZING_AID}"
    )


def fine(mm: float, unit: str, *, up: bool = False) -> str:
    """A length to 1/64 in or 0.1 mm: what is there rounded down, what is asked for up."""
    text = format_length(-mm if up else mm, unit, denominator=64, rounding="down")
    return text.removeprefix("-")


def _no_bolts(stack: Stack, made: Bolting) -> str:
    joint, unit = made.joint, stack.unit
    needed = words.at_least(joint.needed_mm, unit)
    sure = joint.depth.least_mm
    deep = words.length(sure, unit) if sure > 0 else "nothing for sure"
    thread, of = joint.thread.thread, joint.material.material
    if made.trouble == "shallow":
        return (
            f"It cannot be bolted: a {thread} thread in {of} asks for {needed}, and the hub has "
            f"{deep}, with what a bolt's point and the hole's end take off."
        )
    if made.trouble == "bottoms":
        return (
            f"It cannot be bolted as it is: each {thread} bolt that is long enough bottoms in the "
            f"hub, whose thread is {deep} deep."
        )
    if made.trouble == "binds":
        return (
            f"It cannot be bolted as it is: the plain shank of each {thread} bolt that is long "
            f"enough runs into the hub's thread."
        )
    longest = joint.lengths[-1]
    return (
        f"It cannot be bolted: the longest {thread} bolt on the list, "
        f"{size(longest)}, does not reach {needed} into the hub."
    )


def _pilot(stack: Stack, best: Option) -> str:
    if best.form.kind == "no pilot":
        return "The hub has no pilot to speak of: see what centres the fan today."
    if best.double_pilot:
        return (
            "The hub's pilot does not reach through it: take one with a pilot on both faces, so "
            "that the fan stays centred."
        )
    left = words.length(best.pilot_left_mm, stack.unit)
    return f"{left} of the hub's pilot reaches through it and still centres the fan."


def _burden(choice: Choice) -> Iterator[str]:
    """What the further fan does to the pump's bearing, and how true it has to run."""
    stack, best = choice.stack, choice.best
    growth, digits = best.growth, 2 if stack.sure_lever else 1
    least, most = f"{growth.least_mm:.{digits}f}", up_to(growth.most_mm, digits)
    times = most if float(least) >= float(most) else f"{least} to {most}"
    grown = f"It puts {times} times today's moment on the {stack.pump}'s front bearing"
    if moments := choice.moments_nm:
        today, then = moments
        grown += (
            f", at most {up_to(then.most_mm, 1)} N·m after {up_to(today.most_mm, 1)} N·m, an "
            f"aluminium spacer of {choice.spacer_kg:.1f} kg counted"
        )
    else:
        grown += f", the spacer's own weight not counted, for want of the {stack.fan}'s mass"
    if growth.most_mm < spacer_limits()["growth"].value:
        yield f"{grown}."
    else:
        yield f"{grown}: that is much, and a worn bearing lets the fan go into the core."
    true = choice.off_centre_mm
    if true is not None:
        yield (
            f"Its balance, which a balancing machine finds: at its highest speed its middle of "
            f"mass may lie {math.floor(true * 1000) / 1000:.3f} mm off the axis, no more "
            f"({spacer_limits()['balance'].source}). How true its blades run is another matter."
        )


def up_to(value: float, digits: int) -> str:
    """A figure that is said to be the most: rounded up."""
    step = 10.0**digits
    return f"{math.ceil(value * step - 1e-6) / step:.{digits}f}"


def _kind_of_fan(stack: Stack) -> Iterator[str]:
    if stack.drive == "clutch":
        yield (
            "The spacer goes behind the clutch's flange, and the fan's own bolts stay as they are. "
            "A clutch that one large nut holds on the shaft takes no spacer."
        )
    elif stack.drive == "flexible":
        yield "How far its blades flatten and lean forward at speed is allowed for in the window."


def _about(row: Sourced) -> str:
    """What a row of a table is about."""
    if isinstance(row, ThreadSize):
        return f"the limits of the {row.thread} thread"
    if isinstance(row, HubMaterial):
        return f"the strength of {row.material}"
    if isinstance(row, Grade):
        return f"the strength of {row.grade} bolts"
    if isinstance(row, Washer):
        return "how thick washers are"
    if isinstance(row, Nut):
        return "how high nuts are"
    return "the holes in the spacer" if isinstance(row, ClearanceHole) else "how long bolts are"


def size(bolt: BoltLength) -> str:
    """A bolt's length as it is sold: "3 in"."""
    return f"{bolt.label} {bolt.unit}".strip()


def fastener(made: Bolting) -> str:
    """Bolts as one asks for them: "4 bolts 5/16-24 × 3 in, grade 5"."""
    joint = made.joint
    assert made.bolt is not None
    word = "studs" if joint.hole == "stud" else "bolts"
    grade = "grade" if joint.grade.unit == "in" else "class"
    name = f"{joint.thread.thread} × {size(made.bolt)}"
    return f"{joint.count} {word} {name}, {grade} {joint.grade.grade}"


def torque(nm: float, unit: str) -> str:
    """A torque in what the file's wrenches are marked in, rounded down."""
    if unit in ("in", "ft"):
        return f"{int(nm / _NM_PER_LBF_FT)} lbf·ft ({int(nm)} N·m)"
    return f"{int(nm)} N·m"


def load(newtons: float, unit: str) -> str:
    """A force, rounded down."""
    kn = int(newtons / 100) / 10
    if unit in ("in", "ft"):
        return f"{int(newtons / 4.4482216 / 10) * 10} lbf ({kn:g} kN)"
    return f"{kn:g} kN"
