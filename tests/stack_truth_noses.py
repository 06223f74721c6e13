"""What the builder of an invented car knows of it: a file with tape readings, counts and sheets.

The car is the judge's; the file holds what its builder can see, each length as a tape reads it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from noseroom.envelope.reader import read_text
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from stack_truth import Day, Truth, truth
from stack_truth_cars import IN, TrueCar
from stack_truth_laws import fan_law

__all__ = ["READ_DAY", "Knowing", "layout_of", "text_of"]

READ_DAY = Day(305.15, 0.4, 0.0)
"""A warm day, on which the readings are taken: on a cool one the thermostat holds the coolant."""
_CORE_AHEAD, _TANK = 30.0, 55.0


@dataclass(frozen=True)
class Knowing:
    """Which readings the builder took, and whether he knows a day on which the car held."""

    air: bool = False
    coolant: bool = False
    day: bool = True


class _Tape:
    """Readings of a seeded hand: off by a millimetre or so, to a sixteenth of an inch."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([77, seed])

    def mm(self, metres: float) -> float:
        """A length in mm."""
        step = 25.4 / 16
        return round(round((metres * 1e3 + self.rng.normal(0, 0.7)) / step) * step, 2)

    def knows(self, share: float) -> bool:
        """Whether this builder knows something that such a share of builders knows."""
        return bool(self.rng.random() < share)

    def near(self, value: float, off: float) -> float:
        """A figure as read, off by a share of it at most."""
        return float(value * (1.0 + self.rng.uniform(-off, off)))


def layout_of(car: TrueCar, knowing: Knowing = Knowing()) -> Layout:
    """The nose of a car, as adjusted."""
    return arrange(read_text(text_of(car, knowing), KINDS))


def text_of(car: TrueCar, knowing: Knowing = Knowing()) -> str:
    """Its file."""
    tape = _Tape(car.seed)
    assert car.condenser is not None
    parts = [
        "format: 1\nunits: mm\ntape: 1.6\n",
        _support(car, tape),
        _radiator(car, tape),
        _condenser(car, tape),
        f"grille: {{width: {tape.mm(car.grille_w)}, height: {tape.mm(car.grille_h)}, "
        f"place: [rear {tape.mm(car.front_depth)} ahead of core support.face]}}\n",
        _puller(car, tape) if car.fan.kind == "puller" else _driven(car, tape),
        _cooling(car, tape, knowing),
    ]
    return "\n".join(parts)


def _support(car: TrueCar, tape: _Tape) -> str:
    width = car.width + 2 * car.margin_y + (2 * _TANK * 1e-3 if car.cross else 0.0)
    height = car.height + 2 * car.margin_z - (2 * _TANK * 1e-3 if car.cross else 0.0)
    return f"core support: {{opening: {{width: {tape.mm(width)}, height: {tape.mm(height)}}}}}\n"


def _radiator(car: TrueCar, tape: _Tape) -> str:
    ways = ("left", "right") if car.cross else ("top", "bottom")
    across = "width" if car.cross else "height"
    tanks = ", ".join(f"{one}: {{{across}: {_TANK}, depth: 70}}" for one in ways)
    thick = max(tape.mm(car.radiator.depth), 13.0)
    above = car.margin_z - (_TANK * 1e-3 if car.cross else 0.0)
    return f"""radiator:
  flow: {"cross" if car.cross else "down"}
  core: {{width: {tape.mm(car.width)}, height: {tape.mm(car.height)}, thickness: {thick}}}
  tanks: {{{tanks}}}
  brackets: {{form: none}}
  cap: {{fitted: no}}
  place:
    - core.front {_CORE_AHEAD} aft of core support.face
    - core.bottom {tape.mm(above)} above core support.opening.bottom
    - core centred in core support.opening
    - plumb ± 1/10 deg
"""


def _condenser(car: TrueCar, tape: _Tape) -> str:
    (y0, y1), (z0, z1) = car.face_y, car.face_z
    assert car.condenser is not None
    wide, high, thick = map(tape.mm, (y1 - y0, z1 - z0, car.condenser.depth))
    return f"""condenser:
  core: {{width: {wide}, height: {high}, thickness: {thick}}}
  headers: {{form: flat, width: {tape.mm(car.header)}, depth: 25}}
  place:
    - core.rear {max(tape.mm(car.gap), 3.0)} ahead of radiator.core.front
    - core.bottom {tape.mm(z0 + car.height / 2)} above radiator.core.bottom
    - core.left {tape.mm(-y0)} left of centreline
    - plumb ± 1/10 deg
    - level ± 1/10 deg
    - square across ± 1/10 deg
"""


def _puller(car: TrueCar, tape: _Tape) -> str:
    fan = car.fan
    return f"""fan:
  is: electric fan
  diameter: {tape.mm(fan.diameter)}
  frame: {{depth: 60}}
  motor: {{depth: 20, diameter: {tape.mm(fan.hub)}}}
  ring: {{gap: {fan.tip_gap * 1e3:.1f}, thickness: 3}}
  plate: {{beyond: 17}}
  place:
    - front flush with radiator.core.rear
    - middle {_aside(fan.off_y, tape)} of centreline
    - middle {tape.mm(fan.off_z + car.height / 2)} above radiator.core.bottom
"""


def _aside(off: float, tape: _Tape) -> str:
    at = tape.mm(off)
    return f"{abs(at)} {'right' if at >= 0 else 'left'}"


def _driven(car: TrueCar, tape: _Tape) -> str:
    fan = car.fan
    up = tape.mm(fan.off_z + car.height / 2)
    aside = _aside(fan.off_y, tape)
    standoff = tape.mm(fan.standoff)
    text = f"""water pump:
  place:
    - hub.face {standoff + 70} aft of radiator.core.rear
    - axis {up} above radiator.core.bottom
    - axis {aside} of centreline

fan:
  drive: {"clutch" if fan.clutch else "rigid"}
  diameter: {tape.mm(fan.diameter)}
  blades: {fan.blades}
  width: {tape.mm(fan.width)}
  spider: {{diameter: {tape.mm(fan.hub)}}}
  place:
    - blade.front {standoff} aft of radiator.core.rear
"""
    if fan.kind == "open":
        return text
    # The ring ends where so much of the blades' width is in it.
    box = fan.standoff + fan.immersed * fan.width - 0.02
    round_ = fan.diameter / 2 + fan.tip_gap
    half_w, half_h = car.width / 2 - round_, car.height / 2 - round_
    sides = {
        "left": half_w + fan.off_y,
        "right": half_w - fan.off_y,
        "top": half_h - fan.off_z,
        "bottom": half_h + fan.off_z,
    }
    reach = [f"{name}: {max(tape.mm(one), 3.0)}" for name, one in sides.items()]
    return f"""{text}
shroud:
  opening: {{diameter: {tape.mm(fan.diameter + 2 * fan.tip_gap)}}}
  thickness: 1.5
  box: {{depth: {tape.mm(box)}, {", ".join(reach)}}}
  ring: {{depth: 20}}
  place:
    - front flush with radiator.core.rear ± 0.5
    - opening.axis {up} above radiator.core.bottom
    - opening.axis {aside} of centreline
    - parallel to radiator ± 1/4 deg
"""


# -- figures --------------------------------------------------------------------------------


def _cooling(car: TrueCar, tape: _Tape, knowing: Knowing) -> str:
    fins = car.radiator
    lines = ["cooling:", "  radiator:", f"    core: {fins.kind}"]
    if tape.knows(0.5):
        lines.append(f"    fins: {IN / fins.fin_pitch + tape.rng.uniform(-0.5, 0.5):.1f} ± 0.5")
    if tape.knows(0.7):
        lines.append(f"    rows: {fins.rows}")
    if tape.knows(0.5):
        lines.append(f"    glycol: {100 * car.glycol + tape.rng.uniform(-4, 4):.0f} ± 5 %")
    lines += ["  condenser:", f"    sides: {'sealed' if car.sealed else 'open'}"]
    if tape.knows(0.5):
        assert car.condenser is not None
        count = IN / car.condenser.fin_pitch + tape.rng.uniform(-0.5, 0.5)
        lines.append(f"    fins: {count:.1f} ± 0.5")
    lines += ["  engine:", f"    displacement: {car.litres:.1f} L"]
    if tape.knows(0.7):
        lines.append(f"    idle: {car.idle_rpm + tape.rng.uniform(-25, 25):.0f} ± 25 rpm")
    if knowing.day:
        # All cars that are judged hold at 38 °C; their builders have met a day that was not hotter.
        lines.append(f"    holds at: {np.random.default_rng([79, car.seed]).uniform(30, 38):.0f} C")
    if tape.knows(0.5):
        lines.append(f"    mass: {tape.near(car.mass, 0.04):.0f} ± {0.05 * car.mass:.0f} kg")
    if tape.knows(0.6):
        lines += ["  compressor:", f"    displacement: {car.swept * 1e6:.0f} cc"]
    if tape.knows(0.4):
        seen = 100 * car.grille_open + tape.rng.uniform(-8, 8)
        lines += ["  grille:", f"    open: {seen:.0f} ± 8 %"]
    lines += _sheet(car, tape)
    if knowing.air or knowing.coolant:
        lines += _readings(car, knowing)
    return "\n".join(lines) + "\n"


def _sheet(car: TrueCar, tape: _Tape) -> list[str]:
    """What a fan's sheet says, off by a few per cent: a curve of a puller, a point of another."""
    electric = car.fan.kind == "puller"
    if not tape.knows(0.6 if electric else 0.2):
        return []
    rpm = 2000.0
    # The sheet is of the fan at full voltage, in its own ring.
    whole = replace(car.fan, voltage=1.0)
    lines = ["  fans:", "    fan:"] + ([] if electric else [f"      speed: {rpm:.0f} rpm"])
    radius = np.linspace(0.52 * whole.hub, 0.49 * whole.diameter, 24)
    area = 2.0 * np.pi * radius * np.gradient(radius)
    law, _, shut = fan_law(whole, radius, rpm, 1.2)
    lines.append("      points:")
    for share in (0.0, 0.25, 0.5, 0.75) if electric else (0.5,):
        rise = share * float(shut.mean())
        flow = float(area @ law(np.full(len(radius), rise))[0]) * tape.near(1.0, 0.04)
        lines.append(f"        - {flow:.4f} m3/s at {rise:.1f} Pa")
    return lines


def read_truth(car: TrueCar, size: float) -> Truth:
    """The car on the day of its readings, before any A/C."""
    return truth(car, READ_DAY, ac=False, size=size)


def _readings(car: TrueCar, knowing: Knowing) -> list[str]:
    found = read_truth(car, 0.06)
    rng = np.random.default_rng([78, car.seed])
    sweep, tank, off = rng.uniform(-0.1, 0.1), rng.uniform(-2, 2), rng.uniform(-15, 15)
    lines = ["  readings:", "    outside: 32 C", f"    idle: {car.idle_rpm + off:.0f} rpm"]
    if knowing.air:
        speed = found.grille * (1.0 + sweep)
        lines.append(f"    grille air: {speed:.3f} ± {0.1 * speed:.3f} m/s")
    if knowing.coolant:
        # No colder than the thermostat lets it be.
        hot = max(found.coolant_k - 273.15, car.thermostat)
        lines.append(f"    coolant: {hot + tank:.1f} ± 2 C")
    return lines
