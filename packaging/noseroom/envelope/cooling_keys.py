"""The keys that may stand under `cooling`, with what each means; all may be left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["FAN_KEYS", "KEYS", "OPTION_KEYS", "READING_KEYS", "STATE_KEYS", "Asked", "Words"]


@dataclass(frozen=True, slots=True)
class Asked:
    """A figure. measure: as `cooling_units`. low, high: accepted, in its base unit."""

    measure: str
    help: str
    low: float
    high: float
    example: str


@dataclass(frozen=True, slots=True)
class Words:
    """One of a few words."""

    help: str
    options: tuple[str, ...]


Key = Asked | Words

_YES = ("yes", "no")
_SIDES = ("open", "sealed")

KEYS: Mapping[str, Key] = {
    "refrigerant": Words("what the system is to hold", ("R-134a", "R-1234yf")),
    "radiator.core": Words("its fins and tubes", ("copper", "copper serpentine", "aluminium")),
    "radiator.fins": Asked("fins", "fins to an inch", 5, 30, "11"),
    "radiator.rows": Asked("count", "rows of tubes, one behind the other", 1, 6, "3"),
    "radiator.cap": Asked("pressure", "what its cap holds", 10e3, 250e3, "7 psi"),
    "radiator.glycol": Asked("share", "share of antifreeze, by volume", 0.0, 0.7, "50 %"),
    "radiator.sides": Words("what is open between it and the opening round it", _SIDES),
    "radiator.thermostat": Asked("temperature", "where it opens", 60, 105, "180 F"),
    "condenser.core": Words("its fins and tubes", ("parallel flow", "serpentine")),
    "condenser.fins": Asked("fins", "fins to an inch", 6, 30, "18"),
    "condenser.sides": Words("the gap between condenser and radiator, round its rim", _SIDES),
    "engine.displacement": Asked("displacement", "of all cylinders", 0.3, 12.0, "230 cu in"),
    "engine.idle": Asked("turns", "hot, in gear, A/C off", 300, 1500, "600 rpm"),
    "engine.cruise": Asked("turns", "in top gear at 90 km/h or 55 mph", 900, 5000, "2300 rpm"),
    "engine.holds at": Asked(
        "temperature",
        "the hottest day, in the shade, on which the car as it is idled for long without boiling",
        15,
        50,
        "34 C",
    ),
    "engine.mass": Asked("mass", "of the whole car with its load", 400, 8000, "3400 lb"),
    "compressor.displacement": Asked(
        "displacement", "of one turn, from its sheet", 0.04, 0.4, "155 cc"
    ),
    "alternator.rating": Asked("current", "what it gives at speed", 10, 300, "61 A"),
    "grille.open": Asked("share", "share of the grille that air can pass", 0.1, 1.0, "60 %"),
}

FAN_KEYS: Mapping[str, Key] = {
    "speed": Asked("turns", "of the fan, at which its points hold", 200, 8000, "2000 rpm"),
    "current": Asked("current", "while it runs", 1, 80, "12 A"),
}

READING_KEYS: Mapping[str, Key] = {
    "grille air": Asked(
        "air speed", "mean over the grille, hood shut, hot idle", 0.05, 15, "1.2 ± 0.2 m/s"
    ),
    "coolant": Asked("temperature", "in the top tank, at hot idle", 60, 135, "92 ± 2 C"),
    "outside": Asked("temperature", "in the shade, as the readings were taken", -10, 55, "24 C"),
    "idle": Asked("turns", "of the engine, as the readings were taken", 300, 2000, "650 rpm"),
}

STATE_KEYS: Mapping[str, Key] = {
    "outside": Asked("temperature", "in the shade", -10, 55, "100 F"),
    "humidity": Asked("share", "relative", 0.0, 1.0, "40 %"),
    "speed": Asked("car's speed", "of the car; left out, it stands", 0.0, 60.0, "55 mph"),
    "altitude": Asked("height", "above the sea", -400, 4500, "1500 ft"),
    "engine": Asked("turns", "of the engine", 300, 6000, "2500 rpm"),
    "grade": Asked("share", "of the road, uphill", -0.1, 0.3, "5 %"),
}

OPTION_KEYS: Mapping[str, Key] = {
    "shroud": Words("a shroud over the whole core, round the engine's fan", _YES),
    "radiator sides": Words("what is open beside the radiator", ("sealed",)),
    "condenser sides": Words("the gap behind the condenser, round its rim", ("sealed",)),
    "cover": Asked("share", "of the condenser's face, the lower part is kept", 0.3, 1.0, "70 %"),
    "condenser.width": Asked("length", "of another condenser's core", 200, 1000, "24"),
    "condenser.height": Asked("length", "of another condenser's core", 150, 800, "16"),
    "second condenser": Words("one more, right before the first", _YES),
    "puller": Asked("length", "diameter of an electric fan, not the engine's", 150, 600, "16"),
    "pusher": Asked("length", "diameter of an electric fan before the condenser", 150, 600, "12"),
    "gap": Asked("length", "from condenser to radiator", 0, 150, "1"),
    "idle": Asked("turns", "with the A/C on", 300, 2000, "800 rpm"),
}
