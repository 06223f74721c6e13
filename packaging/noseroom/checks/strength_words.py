"""Whether a bracket is strong enough, in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator

from noseroom.checks.bracket_strength import Engine, Load, Remedy, Strength
from noseroom.tables.fasteners import MEMORY
from noseroom.tables.sheet import SheetMaterial
from noseroom.tables.strength import body_vibration, strength_limits
from noseroom.units import format_length

_POUNDS = 2.2046226
_ENGINES = {4: "a four", 6: "a six", 8: "an eight"}
_TAB = (
    "Other brackets keep what hangs on it from turning, so that its tab holds this one's end, as "
    "far as the tab itself does not bend: that is counted. It asks for a tight bolt with washers."
)
AS_MEASURED = (
    "A sum by formula, for the model as measured: what it is bolted to counts as stiff, the bolts "
    "as tight, the metal as sound."
)
FATIGUE = (
    "Metal that is shaken cracks at less than it bears at rest, and cracks begin at welds, "
    "scratches, sharp corners and the edges of holes: break all edges, drill and do not punch, do "
    "not weld near a bend, and look at the bracket again after some weeks and every season."
)


def note(strength: Strength) -> str:
    """The answer in one or two sentences."""
    made = strength.sum
    if not made.shock.holds:
        return f"Not surely strong enough: {_stress(strength, made.shock)}. {_would_do(strength)}"
    if made.idle == "near":
        return f"Strong enough, but {_near(strength)}. {_would_do(strength)}"
    words = f"Strong enough: {_stress(strength, made.shock)}."
    return words if made.idle != "not known" else f"{words} {_idle_not_known(strength)}"


def lines(strength: Strength) -> tuple[str, ...]:
    """All figures with their sources and cautions, a line each."""
    return tuple(_lines(strength))


def _lines(strength: Strength) -> Iterator[str]:
    made, carried = strength.sum, strength.carried
    yield (
        f"It may get {_kg(carried.share_kg)} of {_kg(carried.mass_kg)} ({carried.source}): "
        f"{_share(carried.points)}."
    )
    if strength.strip.tab is not None:
        yield _TAB
    yield f"Shock ({made.shock.source}): {_stress(strength, made.shock)}."
    yield _shaker(strength)
    yield _metal(strength.strip.metal)
    yield _frequency(strength)
    if made.sway_mm is not None:
        yield (
            f"That vibration moves its end by up to {_mm(made.sway_mm)} either way, by itself; "
            "parts that hang on several brackets move less."
        )
    yield _fatigue(strength)
    for one in strength.remedies:
        yield f"What would do on its own: {_remedy(strength, one)}."
    yield AS_MEASURED


def _stress(strength: Strength, load: Load) -> str:
    least, metal = strength.strip.metal.yield_mpa, strength.strip.metal.name
    return (
        f"under {load.g:.0f} times the weight in the worst direction the highest stress is "
        f"{load.stress_mpa:.0f} MPa, {load.place}; {metal} yields at {least:.0f} MPa at the least, "
        f"{_down(load.safety)} times that, and {load.wanted:.1f} times are wanted"
    )


def _shaker(strength: Strength) -> str:
    load, vibration = strength.sum.vibration, body_vibration()
    words = (
        f"On a shaker by {vibration.source} it would see {load.g:.0f} times the weight (Miles' "
        f"equation, three standard deviations and the weight; {vibration.how}), "
        f"{load.stress_mpa:.0f} MPa {load.place}. That test packs a car's life into hours (from "
        "memory): roads are kinder"
    )
    if load.holds:
        return f"{words}, and it would stand the test."
    return f"{words}. It would not stand the test: a stiffer bracket lasts longer."


def _metal(metal: SheetMaterial) -> str:
    return f"Strength of {metal.name}: {metal.source} ({metal.how})."


def _frequency(strength: Strength) -> str:
    made, engine = strength.sum, strength.engine
    if made.hz is None:
        return (
            "Rubber lies between: how stiff it is nobody has measured, so its natural frequency is "
            "not known, and stress is taken at the worst one. "
        ) + _RUBBER
    if engine is None:
        return _idle_not_known(strength)
    if made.idle == "near":
        words = _near(strength)
        return words[0].upper() + words[1:] + "."
    side = (
        f"clear of it by a factor of {made.hz / engine.firing_hz:.1f}, "
        f"{_limit('idle above'):.1f} wanted"
        if made.idle == "above"
        else "well below it; it runs through its natural frequency as the engine starts and stops"
    )
    return (
        f"First natural frequency {made.hz:.0f} Hz at the least. {_firing(engine)}: {side} "
        f"({_source('idle above')}). At some speed on the road every bracket is met; idle is where "
        "an engine stays."
    )


_RUBBER = (
    "On rubber its first natural frequency is not known. A grommet that is soft enough keeps "
    "shaking off, one that is hard or crushed does not: the part has to move in it by hand."
)


def _firing(engine: Engine) -> str:
    return (
        f"At idle the engine fires {engine.firing_hz:.0f} times a second ({engine.cylinders} "
        f"cylinders, {engine.idle_rpm:.0f} rpm)"
    )


def _near(strength: Strength) -> str:
    made, engine = strength.sum, strength.engine
    assert made.hz is not None
    assert engine is not None
    wanted = _limit("idle above") * engine.firing_hz
    return (
        f"its first natural frequency may be as low as {made.hz:.0f} Hz. {_firing(engine)}, and "
        f"{wanted:.0f} Hz or more are wanted ({_source('idle above')}): it might ring at idle"
    )


def _idle_not_known(strength: Strength) -> str:
    hz = strength.sum.hz
    if hz is None:
        return _RUBBER
    most = hz / _limit("idle above")
    engines = [
        f"{name} up to {int(most * 12.0 / count) * 10} rpm" for count, name in _ENGINES.items()
    ]
    return (
        f"Its first natural frequency is {hz:.0f} Hz at the least. Whether that is clear of the "
        "engine's idle is not known: the file does not say how many cylinders it has and how fast "
        f"it idles. It is clear of {', of '.join(engines)}."
    )


def _down(ratio: float) -> str:
    """To hundredths, never more than it is."""
    return f"{math.floor(ratio * 100.0 + 1e-9) / 100.0:.2f}"


def _fatigue(strength: Strength) -> str:
    metal, made = strength.strip.metal, strength.sum
    hope = _limit("fatigue share") * metal.fatigue_mpa
    words = (
        f"One standard deviation of that vibration is {made.rms_mpa:.0f} MPa; a smooth test piece "
        f"of {metal.name} stands {metal.fatigue_mpa:.0f} MPa for ever, a bracket half of that or "
        f"less ({_source('fatigue share')})"
    )
    if made.rms_mpa > hope:
        words += ": more than it may be hoped to stand if the car is shaken like that for long"
    return f"{words}. {FATIGUE}"


def _would_do(strength: Strength) -> str:
    if not strength.remedies:
        return (
            "No one change that was tried would do: carry it at more points, bring the hole to the "
            "car nearer, or hold its other end as well."
        )
    return f"What would do: {', or '.join(_remedy(strength, one) for one in strength.remedies)}."


def _remedy(strength: Strength, one: Remedy) -> str:
    now, way = strength.strip.blank.thickness_mm, strength.strip.way_mm
    if one.way == "thicker":
        return f"sheet of {_mm(one.value)} and not of {_mm(now)}"
    if one.way == "wider":
        return f"wider by {_mm(one.value)} all along"
    if one.way == "shorter":
        return f"{_mm(way * (1.0 - one.value))} less of the {_mm(way)} from bolt to bolt"
    if one.way == "edges turned up":
        return f"both edges of its longest flat turned up, {_mm(one.value)} high from below"
    return f"washers of {_mm(one.value)} across"


def _share(points: int) -> str:
    if points == 1:
        return "it carries all of it"
    return f"it is one of {points} points, which share unevenly ({_source('uneven')})"


def _kg(mass: float) -> str:
    return f"{mass:.2f} kg ({mass * _POUNDS:.1f} lb)"


def _mm(length: float) -> str:
    metric, inches = format_length(length, "mm"), format_length(length, "in", denominator=32)
    return metric if inches.startswith("0 ") else f"{metric} ({inches})"


def _source(key: str) -> str:
    source = strength_limits()[key].source
    kind = source.split(":")[0]
    return f"{kind}, {MEMORY}" if MEMORY in source else kind


def _limit(key: str) -> float:
    return strength_limits()[key].value
