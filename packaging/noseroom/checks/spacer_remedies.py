"""What to do about a spacer: fit it, or measure or change what it cannot do without."""

from __future__ import annotations

from collections.abc import Iterator

from noseroom.checks import words
from noseroom.checks.fan_window_words import NEVER
from noseroom.checks.spacer_bolts import Bolting, Cut, Joint
from noseroom.checks.spacer_choice import Choice
from noseroom.checks.spacer_stack import Stack
from noseroom.checks.spacer_words import fastener, fine, size
from noseroom.tables.fasteners import spacer_limits
from noseroom.units import read_length

_MOST_OTHERS = 4


def remedies(choice: Choice) -> tuple[str, ...]:
    """What to do, each with its figure."""
    return tuple(_remedies(choice))


def _remedies(choice: Choice) -> Iterator[str]:
    stack, best = choice.stack, choice.best
    if stack.unfit:
        yield (
            f"measure the {stack.pump}'s bolt circle, pilot and hub again; if they are right, have "
            f"a hub of another size made by somebody who does this for a living"
        )
        return
    yield from (one.how for one in stack.missing)
    if best.form.faults:
        yield (
            f"measure the {stack.pump}'s pilot with a caliper (pilot: {{length: ...}}): what it "
            f"may be off decides between one pilot and two"
        )
    elif best.bolted and best.bolts is not None:
        form = ", with a pilot on both faces" if best.double_pilot else ""
        verb = "fit" if best.stock else "have turned and fit"
        yield f"{verb} one spacer of {best.label}{form}, with {fastener(best.bolts)}; {NEVER}"
        yield from _others(choice)
    elif best.bolts is not None:
        yield from _ways_out(stack, best.bolts)
    if best.growth.most_mm >= spacer_limits()["growth"].value:
        yield (
            f"feel the {stack.pump}'s bearing for play before, and now and again after; keep "
            f"spacer and fan light"
        )
        if not stack.sure_lever:
            yield (
                f"measure where the {stack.fan} balances on a rod and where the {stack.pump}'s "
                f"front bearing is (fan: {{balance: ...}}, {stack.pump}: {{bearing: ...}})"
            )
    if stack.most_rpm is None:
        yield (
            f"look up the {stack.fan}'s highest speed with its maker, and keep below it (highest "
            f"speed: ...)"
        )


def _others(choice: Choice) -> Iterator[str]:
    """What else could be taken."""
    rest = [one for one in choice.options[1:] if one.bolted and not one.stuck][:_MOST_OTHERS]
    if rest:
        said = [
            f"{one.label}{'' if one.stock else ' turned'} ({fastener(one.bolts)})"
            for one in rest
            if one.bolts is not None
        ]
        yield f"or {', or '.join(said)}"


def _ways_out(stack: Stack, made: Bolting) -> Iterator[str]:
    joint, unit = made.joint, stack.unit
    cut = "" if made.cut is None else _cut(made.cut, joint, unit)
    if cut:
        yield cut
    if made.trouble == "shallow":
        yield (
            "use another hub, or have this one fitted with larger threads or inserts by a machine "
            "shop that does pump hubs"
        )
    elif made.trouble == "binds" and not cut:
        yield "take screws that are threaded up to the head"
    elif made.trouble == "none long enough":
        need = made.grip.most_mm + joint.needed_mm + joint.thread.pitch_mm
        longer = words.at_least(need, unit)
        yield f"find bolts of at least {longer}, or make studs of the same grade"
    elif not cut:
        more = words.at_least(joint.washer.most_mm, unit)
        yield (
            f"have the thread in the hub cut deeper, or measure its depth, flange and washers with "
            f"a caliper: they are not known to better than {more} together"
        )


def _cut(cut: Cut, joint: Joint, unit: str) -> str:
    """What to cut down and to which lengths; "" where the rule has no mark between them."""
    low, high = (
        fine(mm, unit, up=up)
        for mm, up in ((cut.length.least_mm, True), (cut.length.most_mm, False))
    )
    if read_length(low, unit).value > read_length(high, unit).value:
        return ""
    to = f"down to between {low} and {high} under the head, and dress their points"
    if cut.bolt is None:
        return (
            f"take longer screws that are threaded up to the head, and cut them {to}: the plain "
            f"shank of a bolt may reach the hub's thread once it is cut"
        )
    name = f"{joint.thread.thread} × {size(cut.bolt)}"
    return f"cut bolts {name} {to}; no longer ones, whose plain shank may reach the hub's thread"
