"""Air and heat as findings: beside the verdict on the nose, which rests on clearances alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from noseroom.checks.cooling import DRAWS, cooling_of_nose
from noseroom.checks.cooling_records import (
    Cooling,
    HeldDay,
    OptionView,
    ReadingView,
    Span,
    StateView,
)
from noseroom.checks.cooling_words import CARS, degrees, odd, per_cent, pressures, span
from noseroom.findings import COOLING, Finding, Verdict
from noseroom.layout import Layout

__all__ = ["check_cooling", "cooling_findings"]

Progress = Callable[[int, int, str], None]
Details = dict[str, float | str | list[list[float]]]

_SURE, _HARDLY = 0.95, 0.05
_NAMED = 4
_OPEN = 0.02
"""More draws than this without any answer are told."""
_BARELY = 0.97


def check_cooling(
    layout: Layout,
    findings: Sequence[Finding] = (),
    progress: Progress | None = None,
    draws: int = DRAWS,
) -> tuple[Cooling | None, tuple[Finding, ...]]:
    """Air and heat of a nose whose file asks for it with `cooling`; nothing for one that does not.

    findings: of the fit check, for what room is sure. progress: called with (done, of, what).
    """
    if layout.envelope.cooling is None:
        return None, ()
    found = cooling_of_nose(layout, draws=draws, findings=findings, progress=progress)
    if found is None:
        return None, (_no_radiator(),)
    return found, tuple(cooling_findings(found))


def cooling_findings(found: Cooling) -> Iterator[Finding]:
    """One finding on each question, the worst state of each."""
    base = found.base
    yield _summary(found)
    yield _coolant(found, max(base.states, key=lambda one: _share(one.boils)))
    if found.with_ac is not None:
        yield _head(found, max(base.states, key=lambda one: _share(one.cut_out)))
    yield _alternator(max(base.states, key=lambda one: _share(one.short)))
    for one in found.readings:
        if one.taken and not one.agrees:
            yield _odd_reading(one)
    if found.held is not None and not found.held.agrees:
        yield _odd_day(found.held)
    open_ = [(way, one) for way in _ways(found) for one in way.states if one.unsettled > _OPEN]
    if open_:
        yield _not_settled(open_)
    if found.remarks:
        yield _outside(found)


def _ways(found: Cooling) -> tuple[OptionView, ...]:
    return tuple(one for one in (found.today, found.with_ac, *found.options) if one is not None)


def _share(value: float) -> float:
    return -1.0 if math.isnan(value) else value


def _verdict(share: float) -> Verdict:
    """share: of the draws in which it goes wrong."""
    if math.isnan(share):
        return Verdict.NOT_KNOWN
    if share <= _HARDLY:
        return Verdict.FITS
    return Verdict.FOULS if share >= _SURE else Verdict.TOO_CLOSE


def _no_radiator() -> Finding:
    return Finding(
        id=f"{COOLING}summary",
        question="what does it do to the engine and the head pressure",
        parts=(),
        verdict=Verdict.NOT_KNOWN,
        note="Air and heat are not known: the file has no radiator whose place is known.",
        remedies=("add the radiator",),
    )


def _summary(found: Cooling) -> Finding:
    better = [one for one in found.options if one.better > 0.5][:_NAMED]
    remedies = [_remedy(one) for one in better]
    reading = found.next_reading
    if reading is not None and min(reading.narrows_coolant, reading.narrows_head) < _BARELY:
        remedies.append(f"read the {reading.key}: {reading.how}")
    return Finding(
        id=f"{COOLING}summary",
        question="what does it do to the engine and the head pressure",
        parts=(),
        verdict=_verdict(1.0 - found.base.sound),
        note=" ".join((found.words, *found.cautions)),
        remedies=tuple(remedies),
        details={
            "draws": float(found.draws),
            "drivers": "; ".join(f"{name} {per_cent(share)}" for name, share in found.drivers),
        },
    )


def _remedy(one: OptionView) -> str:
    worst = max(one.states, key=lambda state: max(_share(state.boils), _share(state.cut_out)))
    text = f"{one.name}, {one.text}: coolant {degrees(worst.coolant_c)}"
    if worst.head_bar is not None:
        text += f", head pressure {pressures(worst.head_bar)}"
    amps = "no more current" if one.amps.high <= 0.0 else f"{span(one.amps, 'A')} more"
    return f"{text} at {worst.state}; it takes {one.room.text}, and {amps}"


def _against(
    key: str, question: str, part: str, note: str, share: float, bands: dict[str, Span]
) -> Finding:
    """A figure against its limit. share: of the draws in which it is passed."""
    details: Details = {"passed": share}
    for name, one in bands.items():
        details |= _ends(name, one)
    return Finding(
        id=f"{COOLING}{key}",
        question=question,
        parts=(part,) if part else (),
        verdict=_verdict(share),
        note=note,
        details={name: value for name, value in details.items() if _is_figure(value)},
    )


def _coolant(found: Cooling, state: StateView) -> Finding:
    note = (
        f"At {state.state} the coolant would stand at {degrees(state.coolant_c)}; it boils at "
        f"{degrees(state.boils_c)} under its cap. It boils in {per_cent(state.boils)} of {CARS}; "
        f"today, without A/C, in {per_cent(found.today.state(state.state).boils)}."
    )
    bands = {"coolant_c": state.coolant_c, "boils_c": state.boils_c}
    question = "does the coolant stay below boiling"
    part = found.radiator
    return _against("coolant", question, part, note, state.boils, bands)


def _head(found: Cooling, state: StateView) -> Finding:
    assert state.head_bar is not None
    note = (
        f"At {state.state} the head pressure would stand at {pressures(state.head_bar)} (gauge); "
        f"the switch takes the compressor off at {pressures(state.cut_out_bar)}. It acts in "
        f"{per_cent(state.cut_out)} of {CARS}."
    )
    bands = {"head_bar": state.head_bar, "cut_out_bar": state.cut_out_bar}
    question = "does the head pressure stay below the cut-out"
    return _against("head pressure", question, found.condenser, note, state.cut_out, bands)


def _alternator(state: StateView) -> Finding:
    note = (
        f"At {state.state} {span(state.amps, 'A')} are taken, and the alternator gives "
        f"{span(state.amps_there, 'A')}. It falls short in {per_cent(state.short)} of {CARS}. "
        f"Disconnect the battery before any work on wires, and fuse every new one at the battery."
    )
    bands = {"amps": state.amps, "amps_there": state.amps_there}
    question = "does the alternator give what is taken"
    return _against("alternator", question, "", note, state.short, bands)


def _odd_reading(one: ReadingView) -> Finding:
    return Finding(
        id=f"{COOLING}reading: {one.key}",
        question="is it what such a car shows",
        parts=(),
        verdict=Verdict.NOT_KNOWN,
        note=f"The {one.key} was read as {one.taken}, but {odd(one)}. The reading was left out.",
        remedies=(f"read it again: {one.how}",),
    )


def _odd_day(held: HeldDay) -> Finding:
    return Finding(
        id=f"{COOLING}holds at",
        question="is it what such a car does",
        parts=(),
        verdict=Verdict.NOT_KNOWN,
        note=f"The car is said to idle without boiling at {held.text} (line {held.line}), which "
        f"{per_cent(held.share)} of {CARS} would do. It was left out.",
        remedies=(
            "measure grille, core, fan and shroud again, and look at which day that was: in the "
            "shade, at idle for as long as the gauge takes to stand still",
        ),
    )


def _not_settled(open_: Sequence[tuple[OptionView, StateView]]) -> Finding:
    cases = "; ".join(
        f"{way.name} at {state.state} in {per_cent(state.unsettled)}" for way, state in open_
    )
    return Finding(
        id=f"{COOLING}not settled",
        question="did all of it settle",
        parts=(),
        verdict=Verdict.NOT_KNOWN,
        note=f"Flows and temperatures did not settle in some of the cars that could be this one: "
        f"{cases}. These are left out of the bands.",
    )


def _outside(found: Cooling) -> Finding:
    return Finding(
        id=f"{COOLING}outside a range",
        question="was all of it within what has been tested",
        parts=(),
        verdict=Verdict.NOT_KNOWN,
        note=f"Somewhere in the ways and states that were looked at: {'; '.join(found.remarks)}.",
    )


def _is_figure(value: object) -> bool:
    return isinstance(value, float) and math.isfinite(value)


def _ends(name: str, one: Span) -> Details:
    """A band as details; what is no figure is left out, since a file's figures are finite."""
    ends = {"low": one.low, "middle": one.middle, "high": one.high}
    return {f"{name}_{end}": value for end, value in ends.items() if math.isfinite(value)}
