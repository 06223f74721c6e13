"""Does a belt hold at full load, and where does it slip first?

Euler's formula pulley by pulley, with the wedge of grooves. Loads add up from the driver's slack
side on, in the way that the belt runs, so that the weak place is as often the crank as an
accessory. Friction is a range from memory, wraps are what the readings leave of them, loads and
tension what their own ± leaves; what the belt's own weight takes off at speed is not counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.belt_speed import Speeds, ends, known, pitch_mm, pitch_recalled, section
from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.findings import Finding, Verdict
from noseroom.layout import PlacedPart
from noseroom.physics.belts import capstan, grip, wedged
from noseroom.tables.belts import belt_figures

Floats = NDArray[np.float64]

QUESTION = "does the belt hold at full load"
_LBF = 4.4482216152605
_CAUTION = "No tighter than the makers of belt and bearings allow; engine off and cold."
_MORE_WRAP = "have the belt lie on more of the {}, by an idler beside it"


@dataclass(frozen=True, eq=False)
class _Loads:
    """What each pulley takes, in the order in which the belt runs over them.

    torques: (n, 2) N·m, the least and the most. unsaid: names of accessories of which nothing is
    said.
    """

    torques: Floats
    unsaid: tuple[str, ...]


def check_slip(drive: Drive, speeds: Speeds) -> tuple[Finding, ...]:
    """One finding for a belt of which any accessory says what it takes."""
    loads = _loads(drive, speeds)
    if not loads.torques.any() or drive.centre_forms is None:
        return ()
    forms, number = RunForms(drive), speeds.driver(drive)
    if not forms.whole:
        return ()  # its reach says so
    if number is None:
        remedy = "name it: a crank pulley, or one on a shaft that another belt turns"
        return (_open(drive, loads, "nothing says which pulley drives it", remedy),)
    if forms.twice:
        names = words.listed([f"the {drive.circles[k].part.name}" for k in forms.twice])
        why = f"it lies on {names} in two places, and how they share the pull is open"
        remedy = "drive the two sides by belts of their own, or ask the belt's maker"
        return (_open(drive, loads, why, remedy),)
    return (_slip(drive, forms, loads, number),)


def _loads(drive: Drive, speeds: Speeds) -> _Loads:
    number = speeds.driver(drive)
    torques, unsaid = [], []
    for k, circle in enumerate(drive.circles):
        part = circle.part
        said = ends(part, "torque") if k != number else None
        torques.append(said or (0.0, 0.0))
        idles = part.kind in ("pulley", "idler pulley") and speeds.shaft(part) == part.name
        if said is None and k != number and not idles:
            unsaid.append(part.name)
    return _Loads(np.array(torques), tuple(unsaid))


def _slip(drive: Drive, forms: RunForms, loads: _Loads, driver: int) -> Finding:
    figures, belt = belt_figures(), drive.belt
    order = forms.order if _with_the_clock(drive) else forms.order[::-1]
    way = [int(np.flatnonzero(forms.order == k)[0]) for k in order]
    run = forms.run
    assert run is not None
    wraps, off, wrap_forms = forms.wraps()
    spans = run.spans if _with_the_clock(drive) else np.roll(run.spans, 1)[way]
    pulls = _pulls(drive, loads)[:, order]
    groove = math.radians(section(belt).groove_deg)
    tension = ends(belt, "tension") if known(belt, "tension") else None
    place = int(np.flatnonzero(order == driver)[0])
    held = _held(drive, order)

    def reserves(friction: float, wrapped: Floats) -> Floats:
        """(c, n): at each corner of what the loads may be, for each newton of tension."""
        felt = np.where(drive_sense(drive)[order] > 0, wedged(friction, groove), friction)
        ratios = capstan(felt, wrapped[way])
        return grip(1.0, pulls, ratios, spans, place, held=held).reserves

    # What a pulley needs is linear in the loads, so that its ends are at corners of their ranges.
    worst = reserves(figures["friction low"].figure, wraps - off).min(axis=0)
    best = reserves(figures["friction high"].figure, wraps + off).max(axis=0)
    weak = int(worst.argmin())
    weakest = drive.circles[order[weak]].part
    asked = figures["slip reserve"].figure
    needed = asked / float(worst[weak]) if worst[weak] > 0 else math.inf
    bearable = needed <= _most_tension(belt)
    details: dict[str, float | str | list[list[float]]] = {
        "asked_reserve": asked,
        "friction": f"{figures['friction low'].figure:g} to {figures['friction high'].figure:g}",
        "friction_source": figures["friction low"].source,
        "weakest": weakest.name,
    }
    if bearable:
        details["tension_needed_n"] = round(needed, 1)
    if tension is None:
        return _without_tension(drive, loads, weakest, needed if bearable else None, details)
    low, high = tension[0] * float(worst[weak]), tension[1] * float(best.min())
    details["reserve"] = round(low, 3)
    if math.isfinite(high):  # not where the loads may be nothing
        details["reserve_at_best"] = round(high, 3)
    verdict = Verdict.TOO_CLOSE
    if low >= asked and not loads.unsaid:
        verdict = Verdict.FITS
    elif high < 1.0:
        verdict = Verdict.FOULS
    rests_on = words.supports(
        wrap_forms[way[weak]], drive.layout.survey.sources, drive.layout.envelope.unit
    )
    return Finding(
        id=f"slip: {belt.name}",
        question=QUESTION,
        parts=(belt.name, weakest.name),
        verdict=verdict,
        note=_note(drive, loads, verdict, weakest, low, high),
        remedies=_remedies(
            drive, loads, weakest, verdict, needed if bearable else None, tension[0]
        ),
        rests_on=rests_on if verdict is not Verdict.FITS else (),
        details=details,
    )


def _pulls(drive: Drive, loads: _Loads) -> Floats:
    """(c, n) N: what pulleys take out of the belt, at each corner of what that may be."""
    spread = drive.layout.uncertainty.spread
    proud = drive.belt.entry.sizes["proud"].half_width
    found = []
    for (least, most), one in zip(loads.torques, drive.circles, strict=True):
        radius = pitch_mm(drive, one)
        loose = float(spread(one.radius_moves)) + (proud if one.sense < 0 else 0.0)
        low, high = least / (radius + loose), most / max(radius - loose, 1.0)
        found.append(tuple(dict.fromkeys((1000.0 * low, 1000.0 * high))))
    return np.array(list(product(*found)))


def _most_tension(belt: PlacedPart) -> float:
    """The most that a file may say of a belt's tension, N: no belt of a car bears more."""
    return next(one.high for one in belt.part.sizes().values() if one.key == "tension")


def drive_sense(drive: Drive) -> Floats:
    """(n,): -1 for pulleys on the belt's back."""
    return np.array([one.sense for one in drive.circles])


def _with_the_clock(drive: Drive) -> bool:
    """Whether the belt runs as the path is drawn: clockwise as one faces the grille."""
    for one in drive.layout.parts.values():
        if one.kind == "crank pulley":
            return one.entry.choices.get("turns", "clockwise") == "clockwise"
    return True


def _held(drive: Drive, order: NDArray[np.intp]) -> int | None:
    """The pulley of a sprung tensioner, by its place in the order; None where shafts are fixed."""
    entry = drive.belt.entry
    (name,) = entry.references.get("adjuster.moves", ("",))[:1]
    if entry.choices.get("adjuster.by") != "spring" or not name:
        return None
    return next(k for k, number in enumerate(order) if drive.circles[number].part.name == name)


def _newtons(force: float) -> str:
    return f"{math.ceil(force / 5) * 5:d} N ({math.ceil(force / _LBF):d} lbf)"


def _note(
    drive: Drive, loads: _Loads, verdict: Verdict, weakest: PlacedPart, worst: float, best: float
) -> str:
    belt = drive.belt.name
    says = f"it slips first on the {weakest.name}"
    if verdict is Verdict.FOULS:
        text = f"The {belt} slips at full load: {says}, at {best:.2f} of that load at the most."
    else:
        bears = f"{worst:.1f} to {best:.1f}" if math.isfinite(best) else f"at least {worst:.1f}"
        text = f"The {belt} bears {bears} times its full load before it slips; {says}."
    return text + _recalled(drive) + _unsaid(loads)


def _recalled(drive: Drive) -> str:
    """What of it is from memory."""
    figures, kind = belt_figures(), section(drive.belt)
    low, high = (figures[f"friction {end}"].figure for end in ("low", "high"))
    line = "and the pitch line" if pitch_recalled(kind) else "and the groove's angle"
    asked = figures["slip reserve"].figure
    return (
        f" Friction ({low:g} to {high:g}), the reserve that is asked for ({asked:g}) {line} are "
        f"from memory."
    )


def _unsaid(loads: _Loads) -> str:
    if not loads.unsaid:
        return ""
    names = words.listed([f"the {one}" for one in loads.unsaid])
    return f" What {names} takes is not counted: nothing is said of it."


def _remedies(
    drive: Drive,
    loads: _Loads,
    weakest: PlacedPart,
    verdict: Verdict,
    needed: float | None,
    tension: float,
) -> tuple[str, ...]:
    """needed: the tension that would hold, N; None where no belt bears it."""
    if verdict is Verdict.FITS:
        return ()
    found = [f"write what the {one} takes at full load, as its torque" for one in loads.unsaid]
    if needed is None:
        found.insert(0, _MORE_WRAP.format(weakest.name))
    elif needed > tension:
        found.insert(
            0,
            f"set the {drive.belt.name} to at least {_newtons(needed)} in a free span. {_CAUTION}",
        )
        found.insert(1, f"or {_MORE_WRAP.format(weakest.name)}")
    return tuple(found)


def _without_tension(
    drive: Drive,
    loads: _Loads,
    weakest: PlacedPart,
    needed: float | None,
    details: dict[str, float | str | list[list[float]]],
) -> Finding:
    if needed is None:
        says = "and no tension that a belt bears would surely hold it there"
        remedy = _MORE_WRAP.format(weakest.name)
    else:
        figure = _newtons(needed)
        says = f"and needs {figure} in a free span at rest"
        remedy = (
            f"set the {drive.belt.name} to at least {figure} by a gauge, and write that as its "
            f"tension. {_CAUTION}"
        )
    return Finding(
        id=f"slip: {drive.belt.name}",
        question=QUESTION,
        parts=(drive.belt.name, weakest.name),
        verdict=Verdict.NOT_KNOWN,
        note=f"Whether the {drive.belt.name} holds at full load is not known: nothing says how "
        f"tight it is. It slips first on the {weakest.name}, {says}."
        f"{_recalled(drive)}{_unsaid(loads)}",
        remedies=(remedy,),
        details=details,
    )


def _open(drive: Drive, loads: _Loads, why: str, remedy: str) -> Finding:
    return Finding(
        id=f"slip: {drive.belt.name}",
        question=QUESTION,
        parts=(drive.belt.name,),
        verdict=Verdict.NOT_KNOWN,
        note=f"Whether the {drive.belt.name} holds at full load is not known: {why}."
        f"{_unsaid(loads)}",
        remedies=(remedy,),
    )
