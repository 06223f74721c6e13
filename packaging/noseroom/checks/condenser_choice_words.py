"""What to buy, as findings: condenser, electric fan, hoses, refrigerant, wires.

Their cautions stand once beside all of them: `condenser_choice_all.Choices.cautions`.

They stand beside the verdict on the nose, which rests on clearances alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from noseroom.checks.charge import CAUTION, ChargeView
from noseroom.checks.condenser_choice import CondenserChoice, CondenserTrial
from noseroom.checks.condenser_choice_air import Tried
from noseroom.checks.cooling_words import degrees, per_cent, pressures, span
from noseroom.checks.currents import CircuitView, CurrentsView, WireView
from noseroom.checks.fan_choice import FanChoice, FanTrial
from noseroom.checks.line_sizes import HoseView, LineView
from noseroom.checks.words import listed
from noseroom.findings import COOLING, Finding, Verdict
from noseroom.units import format_length, inches_to_mm

__all__ = ["charge_finding", "condenser_finding", "currents_finding", "fan_finding", "line_finding"]

_NAMED = 3
_FEW_AMPS = 10.0
_OFTEN_SLOW = 0.5
_TRIED_SO = (
    "Each was tried at rest, with all other parts where they are; its hoses and brackets, and what "
    "moves with the engine, are looked at once it stands in the file."
)


def condenser_finding(found: CondenserChoice, unit: str) -> Finding:
    """Which sizes fit, and what the best of them does."""
    fitting = found.fitting
    best = [one for one in fitting if one.tried and one.tried.helps][:_NAMED]
    note = f"Of {len(found.trials)} usual sizes, {_counts([one.verdict for one in found.trials])}."
    if fitting and not best:
        note += f" None of those that fit is likely to do better than the {found.part} in the file."
        note += f" Best of them: {_sized(fitting[0], unit)}."
    note += f" With the one in the file, {_does(found.as_read, as_read=True)}. {_TRIED_SO}"
    return Finding(
        id=f"{COOLING}condenser choice",
        question="which condenser fits and does most",
        parts=(found.part,),
        verdict=_any([one.verdict for one in found.trials]),
        note=note,
        remedies=tuple(f"take a condenser of {_sized(one, unit)}" for one in best),
        details={"tried": float(len(found.trials)), "fitting": float(len(fitting))},
    )


def fan_finding(found: FanChoice) -> Finding:
    """Which fans fit, and what the best of them does."""
    fitting = found.fitting
    best = [one for one in fitting if one.tried and one.tried.helps][:_NAMED]
    note = f"Of {len(found.trials)} sizes and places that the cores are large enough for, "
    note += f"{_counts([one.verdict for one in found.trials])}."
    if fitting and not best:
        note += " None of those that fit is likely to do better than the nose as it is in the file."
        note += f" Best of them: {_fan(fitting[0])}."
    if found.left_off and any(one.where == "behind" for one in best):
        note += f" For one behind the radiator, the {listed(found.left_off)} comes off."
    return Finding(
        id=f"{COOLING}fan choice",
        question="which electric fan fits and does most",
        parts=(),
        verdict=_any([one.verdict for one in found.trials]),
        note=f"{note} {_TRIED_SO}",
        remedies=tuple(f"take {_fan(one)}" for one in best),
        details={"tried": float(len(found.trials)), "fitting": float(len(fitting))},
    )


def line_finding(found: LineView) -> Finding:
    """Which hose a line takes."""
    told = [one for one in found.told if found.told[one] > 0]
    best = _best_hose(found)
    verdict = Verdict.FITS if found.right else Verdict.TOO_CLOSE
    if not told or best is None:
        return Finding(
            id=f"{COOLING}{found.line} line",
            question="which hose is right",
            parts=(),
            verdict=Verdict.NOT_KNOWN,
            note="In no state does the loop come into balance, so that no flow is known.",
        )
    between = f"{found.least:g} to {found.most:g}" if found.least else f"up to {found.most:g}"
    states = "; ".join(
        f"{one.state}, {span(one.speed, 'm/s', digits=1)}, {span(one.drop_kpa, 'kPa', digits=1)} "
        f"lost, too fast in {per_cent(one.fast)} of the cars and slower than the guide in "
        f"{per_cent(one.slow)}"
        for one in best.states
        if found.told[one.state] > 0
    )
    right = ", ".join(f"#{one}" for one in found.right)
    length = span(found.length_m, "m", digits=1)
    note = f"Right here: {right}." if right else f"None is surely right; #{best.dash} is nearest."
    note += f" The guide asks for {between} m/s ({found.source}). In #{best.dash} over {length} "
    note += f"({'as drawn' if found.drawn else 'a usual length'}): {states}."
    if any(one.slow > _OFTEN_SLOW for one in best.states):
        note += " Slow gas costs nothing in lines as short as a car's, but lets oil gather in what "
        note += "hangs low (from memory): lay the hose without a sag."
    return Finding(
        id=f"{COOLING}{found.line} line",
        question="which hose is right",
        parts=(),
        verdict=verdict,
        note=f"{note} Usual for it is #{found.usual_dash}.",
        remedies=(f"take #{best.dash} hose, of {best.bore_mm:g} mm bore",),
        details={"dash": float(best.dash), "usual_dash": float(found.usual_dash)},
    )


def charge_finding(found: ChargeView) -> Finding:
    """How much refrigerant to buy."""
    most = sorted(found.parts, key=lambda one: -one.mass_kg.middle)[:_NAMED]
    held = listed([f"{one.part} ({span(one.mass_kg, 'kg', digits=2)})" for one in most])
    return Finding(
        id=f"{COOLING}charge",
        question="how much refrigerant to buy",
        parts=(),
        verdict=Verdict.FITS,
        note=f"By what the parts hold, {span(found.kg, 'kg', digits=2)} of {found.refrigerant}; "
        f"most of it in {held}. {CAUTION}",
        details={
            "low_kg": found.kg.low,
            "middle_kg": found.kg.middle,
            "high_kg": found.kg.high,
        },
    )


def currents_finding(found: CurrentsView) -> Finding:
    """Wires and fuses, and what is asked of the alternator."""
    open_ = [one for one in found.circuits if one.usual.gauge is None or one.most.gauge is None]
    each = " ".join(_circuit(one) for one in found.circuits)
    return Finding(
        id=f"{COOLING}wires",
        question="which wires and fuses",
        parts=(),
        verdict=Verdict.NOT_KNOWN if open_ else Verdict.FITS,
        note=f"{each} With {span(found.engine_a, 'A')} for engine and lamps, "
        f"{span(found.sum_a, 'A')} are asked for at {found.state}, and the alternator gives "
        f"{span(found.there_a, 'A')}. Gauges are those of automotive wire, which has less copper "
        f"than AWG of the same number.",
        details={"short": found.short},
    )


# -- pieces of sentences ------------------------------------------------------------------------


def _counts(each: Sequence[Verdict]) -> str:
    words = {
        Verdict.FITS: "keep every rule",
        Verdict.TOO_CLOSE: "are too close to call",
        Verdict.NOT_KNOWN: "stand against what is not known",
        Verdict.FOULS: "foul",
    }
    told = [f"{each.count(verdict)} {text}" for verdict, text in words.items() if verdict in each]
    return listed(told)


def _any(each: Sequence[Verdict]) -> Verdict:
    """One that fits is enough."""
    return max(each, key=lambda one: one.rank, default=Verdict.NOT_KNOWN)


def _sized(one: CondenserTrial, unit: str) -> str:
    size = one.name
    if unit not in ("in", "ft"):
        high, wide = (format_length(inches_to_mm(x), unit) for x in (one.height_in, one.width_in))
        size += f" ({high} by {wide})"
    assert one.tried is not None
    moved = [
        f"{format_length(abs(by), unit)} {way}"
        for by, way in ((one.up_mm, "higher" if one.up_mm > 0 else "lower"), (one.across_mm, "off"))
        if abs(by) >= 1.0
    ]
    where = f", its middle {' and '.join(moved)}," if moved else ""
    return f"{size}{where} over {per_cent(one.tried.covered)} of the radiator: {_does(one.tried)}"


def _fan(one: FanTrial) -> str:
    assert one.tried is not None
    return f"{one.name}: {_does(one.tried)}, and it takes {span(one.tried.amps, 'A')} more"


def _does(one: Tried, *, as_read: bool = False) -> str:
    """In the state in which most goes wrong."""
    worst = one.worst
    parts = []
    if not math.isnan(worst.head_bar.middle):
        parts.append(f"the head pressure stands at {pressures(worst.head_bar)}")
    parts.append(f"the coolant at {degrees(worst.coolant_c)}")
    if not as_read:
        share = span(worst.air, "%", scale=100.0)
        parts.append(f"the radiator gets {share} of the air that it gets as the file has it")
    text = f"at {worst.state} {', '.join(parts)}; all is within bounds in {per_cent(one.sound)} "
    text += "of the cars that could be this one"
    if not as_read:
        text += f", better in {per_cent(one.better)} and worse in {per_cent(one.worse)}"
    return text


def _best_hose(found: LineView) -> HoseView | None:
    """The thinnest right one, or the usual one of them; else the one that is wrong least often."""
    if found.right:
        wanted = found.usual_dash if found.usual_dash in found.right else found.right[0]
        return next(one for one in found.hoses if one.dash == wanted)

    def wrong(one: HoseView) -> float:
        shares = [x for state in one.states for x in (state.fast, state.lossy)]
        return max((x for x in shares if not math.isnan(x)), default=math.inf)

    return min(found.hoses, key=wrong, default=None)


def _circuit(one: CircuitView) -> str:
    text = f"The {one.load} takes {span(one.amps, 'A', digits=int(one.amps.high < _FEW_AMPS))}"
    if one.start_a is not None:
        text += f", and up to {one.start_a.high:.0f} A for a moment"
    wires = [one.usual] if _same(one.usual, one.most) else [one.usual, one.most]
    text += f": {'; '.join(_wire(each) for each in wires)}"
    return f"{text}{', by a relay' if one.relay else ''}."


def _same(a: WireView, b: WireView) -> bool:
    return (a.gauge, a.fuse_a) == (b.gauge, b.fuse_a)


def _wire(one: WireView) -> str:
    what = f"for {one.amps:.{int(one.amps < _FEW_AMPS)}f} A over {one.loop_m:.1f} m there and back"
    if one.gauge is None or one.fuse_a is None:
        return f"{what} none of the wires here does"
    return (
        f"{what} {one.gauge} gauge ({one.mm2:.2g} mm², {one.drop_v:.2f} V lost at 70 °C) and a "
        f"fuse of {one.fuse_a:g} A"
    )
