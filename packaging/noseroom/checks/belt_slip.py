"""Does a belt hold at full load, and where does it slip first?

Euler's formula pulley by pulley, with the wedge of grooves. Loads add up from the driver's slack
side on, in the way that the belt runs, so that the weak place is as often the crank as an
accessory. Friction is a range from memory, wraps are what the readings leave of them; what the
belt's own weight takes off at speed is not counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.belt_speed import Speeds, known, pitch_mm, section
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


@dataclass(frozen=True, eq=False)
class _Loads:
    """What each pulley takes, in the order in which the belt runs over them.

    torques: (n,) N·m. unsaid: names of accessories of which nothing is said.
    """

    torques: Floats
    unsaid: tuple[str, ...]


def check_slip(drive: Drive, speeds: Speeds) -> tuple[Finding, ...]:
    """One finding for a belt of which any accessory says what it takes."""
    loads = _loads(drive, speeds)
    if not loads.torques.any() or drive.centre_forms is None:
        return ()
    forms, number = RunForms(drive), speeds.driver(drive)
    if not forms.whole or len(forms.order) != len(drive.circles):
        return ()
    if number is None:
        return (_open(drive, loads, "nothing says which pulley drives it", "name it"),)
    return (_slip(drive, forms, loads, number),)


def _loads(drive: Drive, speeds: Speeds) -> _Loads:
    number = speeds.driver(drive)
    torques, unsaid = [], []
    for k, circle in enumerate(drive.circles):
        part = circle.part
        said = known(part, "torque") if k != number else None
        torques.append(said or 0.0)
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
    radii = np.array([pitch_mm(drive, one) for one in drive.circles]) / 1000.0
    pulls = (loads.torques / radii)[order]
    groove = math.radians(section(belt).groove_deg)
    tension = known(belt, "tension")
    place = int(np.flatnonzero(order == driver)[0])
    held = _held(drive, order)

    def reserves(friction: float, wrapped: Floats) -> Floats:
        felt = np.where(drive_sense(drive)[order] > 0, wedged(friction, groove), friction)
        ratios = capstan(felt, wrapped[way])
        return grip(tension or 1.0, pulls, ratios, spans, place, held=held).reserves

    worst = reserves(figures["friction low"].figure, wraps - off)
    best = reserves(figures["friction high"].figure, wraps + off)
    weak = int(worst.argmin())
    weakest = drive.circles[order[weak]].part
    asked = figures["slip reserve"].figure
    needed = asked / float(worst[weak]) * (tension or 1.0)
    details: dict[str, float | str | list[list[float]]] = {
        "asked_reserve": asked,
        "friction": f"{figures['friction low'].figure:g} to {figures['friction high'].figure:g}",
        "friction_source": figures["friction low"].source,
        "weakest": weakest.name,
        "tension_needed_n": round(needed, 1),
    }
    if not tension:
        return _without_tension(drive, loads, weakest, needed, details)
    details["reserve"] = round(float(worst[weak]), 3)
    details["reserve_at_best"] = round(float(best.min()), 3)
    verdict = Verdict.TOO_CLOSE
    if float(worst[weak]) >= asked and not loads.unsaid:
        verdict = Verdict.FITS
    elif float(best.min()) < 1.0:
        verdict = Verdict.FOULS
    rests_on = words.supports(
        wrap_forms[way[weak]], drive.layout.survey.sources, drive.layout.envelope.unit
    )
    return Finding(
        id=f"slip: {belt.name}",
        question=QUESTION,
        parts=(belt.name, weakest.name),
        verdict=verdict,
        note=_note(drive, loads, verdict, weakest, float(worst[weak]), float(best.min())),
        remedies=_remedies(drive, loads, weakest, verdict, needed, tension),
        rests_on=rests_on if verdict is not Verdict.FITS else (),
        details=details,
    )


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
        text = (
            f"The {belt} bears {worst:.1f} to {best:.1f} times its full load before it slips; "
            f"{says}."
        )
    return text + _unsaid(loads)


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
    needed: float,
    tension: float,
) -> tuple[str, ...]:
    if verdict is Verdict.FITS:
        return ()
    found = [f"write what the {one} takes at full load, as its torque" for one in loads.unsaid]
    if needed > tension:
        found.insert(
            0,
            f"set the {drive.belt.name} to at least {_newtons(needed)} in a free span. {_CAUTION}",
        )
        found.insert(
            1, f"or have the belt lie on more of the {weakest.name}, by an idler beside it"
        )
    return tuple(found)


def _without_tension(
    drive: Drive,
    loads: _Loads,
    weakest: PlacedPart,
    needed: float,
    details: dict[str, float | str | list[list[float]]],
) -> Finding:
    figure = _newtons(needed)
    return Finding(
        id=f"slip: {drive.belt.name}",
        question=QUESTION,
        parts=(drive.belt.name, weakest.name),
        verdict=Verdict.NOT_KNOWN,
        note=f"Whether the {drive.belt.name} holds at full load is not known: nothing says how "
        f"tight it is. It slips first on the {weakest.name}, and needs {figure} in a free span at "
        f"rest.{_unsaid(loads)}",
        remedies=(
            f"set the {drive.belt.name} to at least {figure} by a gauge, and write that as its "
            f"tension. {_CAUTION}",
        ),
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
        remedies=(f"{remedy}: a crank pulley, or one on a shaft that another belt turns",),
    )
