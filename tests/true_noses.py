"""Random noses that are known exactly, and what a tape would read on them, as an envelope file.

Nothing here comes from the survey: poses are rotation matrices made of angles, features are
coordinates worked out from each part's documented datum, and every reading is computed with school
geometry (a point against a plane, a point against a line, a spirit level on an axis). The text that
comes out is an ordinary envelope file, so whoever reads it takes the way that a builder's file
takes.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

EVERYTHING = (
    "condenser",
    "drier",
    "fan",
    "water pump pulley",
    "alternator",
    "compressor",
    "string",
)
"""Parts that a nose may have besides core support, radiator, engine and water pump."""

_UNITS = {"mm": 1.0, "cm": 10.0, "in": 25.4, "inches": 25.4, "ft": 304.8}


def turned(pitch: float, yaw: float, roll: float) -> Vector:
    """A rotation from degrees: nose up, then nose to the right, then left side up."""
    a, b, c = (math.radians(one) for one in (pitch, yaw, roll))
    up = [[math.cos(a), 0, math.sin(a)], [0, 1, 0], [-math.sin(a), 0, math.cos(a)]]
    right = [[math.cos(b), math.sin(b), 0], [-math.sin(b), math.cos(b), 0], [0, 0, 1]]
    over = [[1, 0, 0], [0, math.cos(c), math.sin(c)], [0, -math.sin(c), math.cos(c)]]
    return np.array(right) @ np.array(up) @ np.array(over)


def xyz(*values: float) -> Vector:
    """A point or a direction."""
    return np.array(values, dtype=float)


@dataclass
class Body:
    """Where a part truly is: rotation and the datum's place, mm, in the vehicle frame."""

    turn: Vector
    datum: Vector

    def at(self, x: float, y: float = 0.0, z: float = 0.0) -> Vector:
        """A point of the part in the vehicle frame."""
        return self.datum + x * self.turn[:, 0] + y * self.turn[:, 1] + z * self.turn[:, 2]

    @property
    def aft(self) -> Vector:
        """Which way its own aft axis points."""
        return self.turn[:, 0]

    def levels(self) -> tuple[float, float, float]:
        """Pitch, yaw and roll in degrees, as a spirit level and a square against the car say."""
        aft, right = self.turn[:, 0], self.turn[:, 1]
        return (
            math.degrees(math.atan2(-aft[2], math.hypot(aft[0], aft[1]))),
            math.degrees(math.atan2(-aft[1], math.hypot(aft[0], aft[2]))),
            math.degrees(math.atan2(-right[2], math.hypot(right[0], right[1]))),
        )


def from_line(point: Vector, foot: Vector, along: Vector) -> float:
    """Distance of a point from a line."""
    return float(np.linalg.norm(np.cross(point - foot, along)) / np.linalg.norm(along))


@dataclass
class TrueNose:
    """A random nose and its readings.

    half_mm, half_deg: half-widths of readings, stated in the file. noisy: whether every reading
    and size is off by anything within its half-width. unread: what nobody measured and is left to
    the kind's assumption, drawn from within its stated range: "turns" (engine's passengers,
    radiator and condenser across), "centring" (radiator and condenser left to right). extras: parts
    besides the four that are always there.
    """

    rng: random.Random
    half_mm: float = 0.01
    half_deg: float = 0.01
    noisy: bool = False
    unread: frozenset[str] = frozenset()
    extras: Collection[str] = EVERYTHING
    sides: bool = True
    bodies: dict[str, Body] = field(default_factory=dict)
    sizes: dict[str, dict[str, float]] = field(default_factory=dict)
    places: dict[str, list[str]] = field(default_factory=dict)
    keys: dict[str, list[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._core_support()
        if "string" in self.extras:
            self._string()
        self._radiator()
        self._engine()
        self._water_pump()
        for name in EVERYTHING:
            if name in self.extras and name != "string":
                getattr(self, "_" + name.replace(" ", "_"))()

    # -- the file ------------------------------------------------------------------------------

    def text(self) -> str:
        """The envelope file."""
        facing = self.rng.random() < 0.3
        lines = ["format: 1", f"units: {self.rng.choice(['in', 'mm', 'cm', 'ft'])}"]
        body: list[str] = []
        names = [name for name in self.bodies if name != "string"]
        self.rng.shuffle(names)
        for name in names:
            body.append(f"{name}:")
            body += self.keys.get(name, [])
            body += _tree({key: self._size(mm) for key, mm in self.sizes[name].items()})
            body += self._place(name, "  ")
        if "string" in self.bodies:
            body += ["marks:", "  string:", "    is: a string across the rails"]
            body += self._place("string", "    ")
        if facing:
            lines.append("sides: as facing the grille")
            body = [_other_side(line) for line in body]
        return "\n".join([*lines, *body]) + "\n"

    def _place(self, name: str, indent: str) -> list[str]:
        said = self.places.get(name, [])
        self.rng.shuffle(said)
        return [f"{indent}place:", *(f"{indent}  - {one}" for one in said)] if said else []

    def _slip(self, half: float) -> float:
        return self.rng.uniform(-half, half) if self.noisy else 0.0

    def _length(self, mm: float) -> str:
        unit = self.rng.choice(list(_UNITS))
        scale = _UNITS[unit]
        return f"{mm / scale:.14f} {unit} ± {self.half_mm / scale:.14f} {unit}"

    def _size(self, mm: float) -> str:
        unit = self.rng.choice(["mm", "in"])
        told = (mm + self._slip(self.half_mm)) / _UNITS[unit]
        return f"{told:.13f} {unit} ± {self.half_mm / _UNITS[unit]:.13f} {unit}"

    def say(self, part: str, subject: str, mm: float, words: str, target: str) -> None:
        """A distance; words are "ahead of/aft of": which of them depends on the sign."""
        less, more = words.split("/")
        mm += self._slip(self.half_mm)
        way = more if mm >= 0 else less
        tail = ""
        if " | " in target:
            target, tail = target.split(" | ")
        sentence = f"{subject} {self._length(abs(mm))} {way} {target}{', ' if tail else ''}{tail}"
        self.add(part, sentence)

    def add(self, part: str, sentence: str) -> None:
        """A sentence as it stands."""
        self.places.setdefault(part, []).append(f'"{sentence}"')

    def say_turns(self, name: str, which: str = "pitch yaw roll") -> None:
        """What a level says of a part."""
        pitch, yaw, roll = self.bodies[name].levels()
        for turn, degrees, down, up in (
            ("pitch", pitch, "nose down", "nose up"),
            ("yaw", yaw, "turned left", "turned right"),
            ("roll", roll, "right side up", "left side up"),
        ):
            if turn in which.split():
                told = degrees + self._slip(self.half_deg)
                way = up if told >= 0 else down
                self.add(name, f"{abs(told):.14f} deg {way} ± {self.half_deg} deg")

    # -- the parts -----------------------------------------------------------------------------

    def _within(self, middle: float, reach: float) -> float:
        return self.rng.uniform(middle - reach, middle + reach)

    def _core_support(self) -> None:
        self.bodies["core support"] = Body(np.eye(3), np.zeros(3))
        self.sizes["core support"] = {
            "opening.width": self._within(690, 40),
            "opening.height": self._within(480, 25),
        }

    def _string(self) -> None:
        here = Body(
            turned(self._within(0, 2), self._within(0, 1), self._within(0, 1)),
            xyz(self._within(-120, 30), self._within(0, 15), self._within(150, 60)),
        )
        self.bodies["string"] = here
        self.say("string", "line", here.datum[0], "ahead of/aft of", "core support.face")
        self.say("string", "line", here.datum[2], "below/above", "core support.opening.bottom")
        self.say("string", "line", here.datum[1], "left of/right of", "centreline")
        self.say_turns("string")

    def _radiator(self) -> None:
        unread_turns, unread_centre = "turns" in self.unread, "centring" in self.unread
        w, h, t = self._within(560, 60), self._within(420, 25), self._within(52, 12)
        here = Body(
            turned(
                self._within(0, 10),
                self._within(0, 0.99 if unread_turns else 1.5),
                self._within(0, 1),
            ),
            xyz(self._within(30, 10), self._within(0, 12), self._within(235, 8)),
        )
        if unread_centre:
            # The assumption is on the core's middle: half its thickness behind the datum.
            middle = self._within(0, 20)
            here.datum[1] += middle - here.at(t / 2)[1]
        self.bodies["radiator"] = here
        self.sizes["radiator"] = {"core.width": w, "core.height": h, "core.thickness": t}
        tell, face = self.say, "core support.face"
        for spot, y, z in (("top", 0, h / 2), ("bottom", 0, -h / 2)):
            tell("radiator", f"core.front at {spot}", here.at(0, y, z)[0], "ahead of/aft of", face)
        # The same face again, and the other face of the same core.
        tell("radiator", "core.front", here.at(0)[0], "ahead of/aft of", face)
        tell("radiator", "core.rear at top", here.at(t, 0, h / 2)[0], "ahead of/aft of", face)
        if not unread_turns:
            for spot, y in (("left", -w / 2), ("right", w / 2)):
                tell("radiator", f"core.front at {spot}", here.at(0, y)[0], "ahead of/aft of", face)
        bottom = "core support.opening.bottom"
        for spot, y in (("left", -w / 2), ("right", w / 2)):
            tell(
                "radiator",
                f"core.bottom at {spot}",
                here.at(t / 2, y, -h / 2)[2],
                "below/above",
                bottom,
            )
        if not unread_centre:
            wide = self.sizes["core support"]["opening.width"] / 2
            left = here.at(t / 2, -w / 2)[1] + wide
            tell("radiator", "core.left", left, "out from/in from", "core support.opening.left")
            right = here.at(t / 2, w / 2)[1] - wide
            tell("radiator", "core.right", right, "left of/right of", "core support.opening.right")
        if "string" in self.bodies:
            mark = self.bodies["string"]
            gap = float((here.at(0, 0, h / 2) - mark.datum) @ mark.aft)
            tell("radiator", "core.front at top", gap, "ahead of/aft of", "string.face")
        self.add("radiator", "core.bottom at most 200 mm above core support.opening.bottom")

    def _condenser(self) -> None:
        unread_turns, unread_centre = "turns" in self.unread, "centring" in self.unread
        w, h, t = self._within(530, 30), self._within(350, 20), self._within(20, 4)
        radiator = self.bodies["radiator"]
        own = turned(self._within(0, 0.9), self._within(0, 0.9), self._within(0, 0.9))
        y = self._within(0, 10)
        here = Body(radiator.turn @ own, radiator.at(self._within(-55, 8), y, self._within(0, 10)))
        if unread_centre:
            thick = self.sizes["radiator"]["core.thickness"]
            across = here.at(t / 2)[1] - radiator.at(thick / 2)[1]
            here.datum[1] += self._within(0, 15) - across
        self.bodies["condenser"] = here
        self.sizes["condenser"] = {"core.width": w, "core.height": h, "core.thickness": t}
        spots = [("top", 0, h / 2), ("bottom", 0, -h / 2)]
        if not unread_turns:
            spots += [("left", -w / 2, 0), ("top right", w / 2, h / 2)]
        for spot, y, z in spots:
            gap = float((here.at(t, y, z) - radiator.datum) @ radiator.aft)
            self.say(
                "condenser",
                f"core.rear at {spot}",
                gap,
                "ahead of/aft of",
                "radiator.core.front",
            )
        for spot, y in (("left", -w / 2), ("right", w / 2)):
            self.say(
                "condenser",
                f"core.bottom at {spot}",
                here.at(t / 2, y, -h / 2)[2],
                "below/above",
                "core support.opening.bottom",
            )
        if not unread_centre:
            edge = here.at(t / 2, -w / 2)[1]
            self.say("condenser", "core.left", edge, "left of/right of", "centreline")

    def _drier(self) -> None:
        r, height = self._within(34, 6), self._within(220, 40)
        here = Body(
            turned(self._within(0, 2.5), self._within(0, 2), self._within(0, 2.5)),
            xyz(self._within(-95, 15), self._within(-260, 30), self._within(110, 20)),
        )
        self.bodies["drier"] = here
        self.sizes["drier"] = {"diameter": 2 * r, "height": height}
        middle = here.at(0, 0, height / 2)
        self.say("drier", "bottom", here.datum[2], "below/above", "core support.opening.bottom")
        self.say("drier", "axis", here.datum[1], "left of/right of", "centreline")
        # The flank is one radius nearer than the axis.
        ahead = -middle[0] - r
        self.say("drier", "body", ahead, "aft of/ahead of", "core support.face")
        left = -middle[1] - r
        self.say("drier", "body", left, "right of/left of", "centreline")
        self.say_turns("drier")

    def _engine(self) -> None:
        here = Body(
            turned(self._within(3, 2.9), self._within(0, 0.9), self._within(0, 0.9)),
            xyz(self._within(290, 25), self._within(0, 18), self._within(60, 25)),
        )
        self.bodies["engine"] = here
        self.sizes["engine"] = {}
        self.say(
            "engine", "front", here.datum[0], "ahead of/aft of", "core support.face | along the car"
        )
        self.say("engine", "axis", here.datum[1], "left of/right of", "centreline")
        self.say("engine", "axis", here.datum[2], "below/above", "core support.opening.bottom")
        self.say_turns("engine", "yaw roll")
        pitch = here.levels()[0] + self._slip(self.half_deg)
        word = "nose up" if pitch >= 0 else "nose down"
        self.keys["engine"] = [f"  tilt: {abs(pitch):.14f} deg {word} ± {self.half_deg} deg"]

    def _passenger(self, name: str, x: float, y: float, z: float, reach: float = 0.49) -> Body:
        """A part on the engine, nearly parallel to it."""
        engine = self.bodies["engine"]
        own = turned(*(self._within(0, reach) for _ in range(3)))
        self.bodies[name] = Body(engine.turn @ own, engine.at(x, y, z))
        if "turns" not in self.unread:
            self.say_turns(name)
        return self.bodies[name]

    def _water_pump(self) -> None:
        here = self._passenger(
            "water pump", self._within(-115, 12), self._within(0, 5), self._within(230, 15)
        )
        self.sizes["water pump"] = {"hub.diameter": self._within(76, 10)}
        radiator, sizes = self.bodies["radiator"], self.sizes["radiator"]
        rear, low = radiator.at(sizes["core.thickness"]), -sizes["core.height"] / 2
        gap = float((here.datum - rear) @ radiator.aft)
        self.say("water pump", "hub.face", gap, "ahead of/aft of", "radiator.core.rear")
        # A second chain to the same face, and a bound that holds.
        self.say("water pump", "hub.face", here.datum[0], "ahead of/aft of", "core support.face")
        self.add("water pump", "hub.face at least 5 mm aft of radiator.core.rear")
        up = here.datum[2] - radiator.at(sizes["core.thickness"] / 2, 0, low)[2]
        self.say("water pump", "axis", up, "below/above", "radiator.core.bottom")
        self.say("water pump", "axis", here.datum[1], "left of/right of", "centreline")

    def _fan(self) -> None:
        pump, radiator = self.bodies["water pump"], self.bodies["radiator"]
        tip, ahead = self._within(205, 15), self._within(35, 10)
        here = Body(pump.turn, pump.at(-self._within(3, 2.5)))
        self.bodies["fan"] = here
        self.sizes["fan"] = {"diameter": 2 * tip, "ahead": ahead}
        rear = radiator.at(self.sizes["radiator"]["core.thickness"])
        for hour in (12, 3, 6, 9, self.rng.choice((1, 2, 4, 5, 7, 8, 10, 11))):
            # Seen from the front of the car looking aft, 3 o'clock is on the car's left.
            angle = math.radians(30 * hour)
            point = here.at(-ahead, -tip * math.sin(angle), tip * math.cos(angle))
            gap = float((point - rear) @ radiator.aft)
            self.say(
                "fan",
                f"blade.front at {hour} o'clock",
                gap,
                "ahead of/aft of",
                "radiator.core.rear",
            )

    def _water_pump_pulley(self) -> None:
        pump = self.bodies["water pump"]
        here = Body(pump.turn, pump.at(self._within(20, 12)))
        self.bodies["water pump pulley"] = here
        # One V groove: as wide as its top and a land on either side; datum in the middle.
        groove, land = self._within(12.7, 2), self._within(4, 1)
        self.sizes["water pump pulley"] = {
            "diameter": self._within(155, 20),
            "groove.width": groove,
            "groove.land": land,
        }
        half = groove / 2 + land
        gap = float((here.at(-half) - pump.datum) @ pump.aft)
        self.say("water pump pulley", "front", gap, "ahead of/aft of", "water pump.hub.face")

    def _pump_pulley_front(self) -> tuple[Vector, Vector, float]:
        """Middle of the pump pulley's front edge, its axis and radius; without one, of the hub."""
        if "water pump pulley" not in self.bodies:
            pump = self.bodies["water pump"]
            return pump.datum, pump.aft, self.sizes["water pump"]["hub.diameter"] / 2
        pulley, sizes = self.bodies["water pump pulley"], self.sizes["water pump pulley"]
        half = sizes["groove.width"] / 2 + sizes["groove.land"]
        return pulley.at(-half), pulley.aft, sizes["diameter"] / 2

    def _round(self) -> str:
        return (
            "water pump pulley edge"
            if "water pump pulley" in self.bodies
            else "water pump hub.edge"
        )

    def _alternator(self) -> None:
        across, up = -self._within(230, 20), self._within(260, 30)
        here = self._passenger("alternator", self._within(-90, 10), across, up)
        width, r = self._within(22, 6), self._within(35, 5)
        self.sizes["alternator"] = {"pulley.width": width, "pulley.diameter": 2 * r}
        pump = self.bodies["water pump"]
        if "water pump pulley" in self.bodies:
            pulley = self.bodies["water pump pulley"]
            out = float((here.datum - pulley.datum) @ pulley.aft)
            self.say("alternator", "belt", out, "ahead of/aft of", "water pump pulley.belt")
        else:
            out = float((here.datum - pump.datum) @ pump.aft)
            self.say("alternator", "belt", out, "ahead of/aft of", "water pump.hub.face")
        middle, _, radius = self._pump_pulley_front()
        edge = from_line(middle, here.at(-width / 2), here.aft) - r - radius
        self._edge("alternator", "pulley edge", self._round(), edge)
        rise = here.datum[2] - pump.datum[2]
        self.say("alternator", "axis", rise, "below/above", "water pump.axis")
        if self.sides:
            self.add("alternator", "axis left of water pump.axis")

    def _compressor(self) -> None:
        here = self._passenger(
            "compressor", self._within(-150, 12), self._within(225, 20), self._within(290, 25)
        )
        r, long = self._within(62, 6), self._within(55, 8)
        self.sizes["compressor"] = {"nose.diameter": 2 * r, "nose.length": long}
        pump = self.bodies["water pump"]
        ahead = float((here.datum - pump.datum) @ pump.aft)
        self.say("compressor", "nose.front", ahead, "ahead of/aft of", "water pump.hub.face")
        middle, _, radius = self._pump_pulley_front()
        edge = from_line(middle, here.datum, here.aft) - r - radius
        self._edge("compressor", "nose edge", self._round(), edge)
        if "alternator" in self.bodies:
            other, sizes = self.bodies["alternator"], self.sizes["alternator"]
            far = from_line(other.at(-sizes["pulley.width"] / 2), here.datum, here.aft)
            edge = far - r - sizes["pulley.diameter"] / 2
            self._edge("compressor", "nose edge", "alternator.pulley edge", edge)
            if self.sides:
                self.add("compressor", "axis above water pump.axis")
                # Where the alternator stands high, both places may be above the pump.
                rise = float(here.datum[2] - pump.datum[2])
                self.add("compressor", f"axis {rise:.14f} mm ± 5 mm above water pump.axis")
        else:
            rise = here.datum[2] - pump.datum[2]
            self.say("compressor", "axis", rise, "below/above", "water pump.axis")
        if self.sides:
            self.add("compressor", "axis right of water pump.axis")

    def _edge(self, part: str, subject: str, target: str, mm: float) -> None:
        told = self._length(mm + self._slip(self.half_mm))
        self.add(part, f"{subject} to {target} {told}")


def _tree(values: Mapping[str, str]) -> list[str]:
    """Dotted keys, at most two deep, as lines of the file."""
    groups: dict[str, list[str]] = {}
    for key, value in values.items():
        first, _, last = key.partition(".")
        groups.setdefault(first, []).append(f"{last}: {value}" if last else value)
    return [
        f"  {first}: {{{', '.join(inner)}}}"
        if f"{first}." in " ".join(values)
        else f"  {first}: {inner[0]}"
        for first, inner in groups.items()
    ]


def _other_side(line: str) -> str:
    swap = {"left": "right", "right": "left"}
    return re.sub(r"\b(left|right)\b", lambda word: swap[word[0]], line)
