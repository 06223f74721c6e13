"""Air and heat in plain words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from noseroom.tables.heat import refrigerants

if TYPE_CHECKING:
    from noseroom.checks.cooling_records import Cooling, OptionView, ReadingView, Span, StateView

__all__ = [
    "CARS",
    "cautions",
    "degrees",
    "in_words",
    "left",
    "odd",
    "per_cent",
    "pressures",
    "span",
]

_OFTEN, _SELDOM, _HALF = 0.95, 0.05, 0.5
_ALL = 0.995
_NAMED = 3
_BEYOND = "hotter than any figure"
CARS = "the cars that could be this one"


def cautions(refrigerant: str) -> tuple[str, ...]:
    """What stands beside temperatures and pressures, once."""
    return (
        "Hot coolant is under pressure and scalds: never open a hot cap, and keep clear of the fan "
        "and the belts. An electric fan may start with the engine off.",
        refrigerants()[refrigerant].caution,
        "These are bands for the model as measured and as it is drawn from what is usual. They "
        "rank what to do; they are no promise for a car, and no setting of a switch or a valve.",
    )


def per_cent(share: float) -> str:
    """A share as a whole number of per cent."""
    return "not known" if math.isnan(share) else f"{100 * share:.0f} %"


def left(share: float) -> str:
    """What a reading leaves of a band. More than all of it is how few draws tell it."""
    return per_cent(share) if share < _ALL else "all"


def odd(one: ReadingView) -> str:
    """Why a reading was left out."""
    if one.expected.low <= one.value <= one.expected.high:
        return f"too few of {CARS} would show just that, together with all else that was read"
    return f"such a car would show {span(one.expected, one.unit, 2 if one.unit == 'm/s' else 0)}"


def span(found: Span, unit: str = "", digits: int = 0, scale: float = 1.0, beyond: str = "") -> str:
    """A band: "95 to 112 °C (middle 103)". beyond: what stands for a figure that is none."""
    ends = (found.low, found.middle, found.high)
    low, middle, high = (_figure(one * scale, digits, beyond) for one in ends)
    if low == "not known":
        return low
    unit = f" {unit}" if unit else ""
    if low == high:
        return f"{low}{'' if low == beyond else unit}"
    if middle == beyond:
        return f"{low}{unit} at the least, in most of them {beyond}"
    if high == beyond:
        return f"{low}{unit} to {beyond} (middle {middle}{unit})"
    return f"{low} to {high}{unit} (middle {middle})"


def _figure(value: float, digits: int, beyond: str) -> str:
    if math.isnan(value):
        return "not known"
    return beyond if math.isinf(value) else f"{value:.{digits}f}"


def degrees(found: Span) -> str:
    """Coolant's band."""
    return span(found, "°C", beyond="boiling over")


def pressures(found: Span) -> str:
    """Head pressure's band."""
    return span(found, "bar", beyond="beyond all tables")


def in_words(found: Cooling, unit: str) -> str:
    """One paragraph: what happens, what to do about it, what to read next."""
    base, parts = found.base, []
    if found.draws == 1:
        parts.append("These are the usual figures alone: how far off they are is not looked at.")
    worst = min(base.states, key=lambda one: (-_trouble(one), one.state))
    if found.with_ac is not None:
        less = _ends(worst.air)
        parts.append(
            f"With the A/C on at {worst.state}, the radiator gets {less} of today's air, and the "
            f"air comes to it at {span(worst.into_c, '°C', beyond=_BEYOND)}."
        )
    parts.append(_coolant(worst))
    if worst.head_bar is not None:
        parts.append(_head(worst))
    parts.append(_alternator(worst))
    parts.append(_advice(found))
    parts.append(_held(found))
    reading = found.next_reading
    if reading is not None and not math.isnan(reading.narrows_coolant):
        least = min(reading.narrows_coolant, reading.narrows_head)
        if least < _OFTEN:
            parts.append(
                f"Much of this is not known: the {reading.key} is worth reading next, which should "
                f"leave about {left(reading.narrows_coolant)} of the coolant's band and "
                f"{left(reading.narrows_head)} of the head pressure's."
            )
    return " ".join(one for one in parts if one)


def _trouble(state: StateView) -> float:
    shares = [one for one in (state.boils, state.cut_out) if not math.isnan(one)]
    return max(shares, default=0.0)


def _ends(found: Span) -> str:
    if math.isnan(found.low):
        return "a share that is not known"
    return f"{100 * found.low:.0f} to {100 * found.high:.0f} %"


def _coolant(state: StateView) -> str:
    text = f"The coolant would stand at {degrees(state.coolant_c)}; under its cap it boils at "
    text += f"{span(state.boils_c, '°C')}"
    if math.isnan(state.boils):
        return f"{text}."
    return f"{text}, and it {_likely(state.boils, 'boils')}."


def _head(state: StateView) -> str:
    assert state.head_bar is not None
    text = f"The head pressure would stand at {pressures(state.head_bar)}; the pressure switch "
    return f"{text}{_likely(state.cut_out, 'takes the compressor off')}."


def _alternator(state: StateView) -> str:
    if math.isnan(state.short) or state.short <= _SELDOM:
        return ""
    return (
        f"The alternator is asked for {span(state.amps, 'A')} and gives "
        f"{span(state.amps_there, 'A')} there: in {per_cent(state.short)} of {CARS} the battery "
        f"makes up for the rest."
    )


def _likely(share: float, what: str) -> str:
    if math.isnan(share):
        return f"may or may not be what {what}"
    if share >= _OFTEN:
        return f"{what} in nearly all {CARS}"
    if share <= _SELDOM:
        return f"hardly ever {what}"
    return f"{what} in {per_cent(share)} of {CARS}"


def _advice(found: Cooling) -> str:
    better = [one for one in found.options if one.better > _HALF]
    if not better:
        return "None of the changes that were looked at is likely to help."
    best = better[:_NAMED]
    text = "; ".join(_option(one) for one in best)
    return f"What helps most, best first: {text}."


def _held(found: Cooling) -> str:
    """What a day that the car held on did, or would do."""
    if found.held is None:
        boils = found.today.states[0].boils
        if math.isnan(boils) or boils <= _SELDOM:
            return ""
        return (
            f"Even today, without A/C, {per_cent(boils)} of {CARS} would boil: if this one has "
            f"idled for long on a hot day and did not, say so (engine, holds at), which leaves "
            f"those out."
        )
    if not found.held.agrees:
        return ""
    return (
        f"That it has idled without boiling at {found.held.text} leaves "
        f"{per_cent(found.held.share)} of {CARS}, and these figures are theirs."
    )


def _option(one: OptionView) -> str:
    text = f"{one.name} (all is within bounds in {per_cent(one.sound)} of them"
    if one.room.enough is False:
        text += ", but there is not the room for it as the nose stands"
    return f"{text})"
