"""How much refrigerant to buy: a range from what the parts hold, and nothing to charge by.

The makers of the components say what a system is charged with, and certified people weigh it in
after recovery and vacuum. Too much raises the head pressure, too little starves the oil.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

import numpy as np

from noseroom.checks.condenser_choice_air import Trials
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_outcomes import span_of
from noseroom.checks.cooling_records import Span
from noseroom.checks.cooling_states import REFRIGERANT
from noseroom.checks.line_sizes import fluid_of, line_length
from noseroom.parts.condenser import Condenser
from noseroom.parts.drier import Drier
from noseroom.physics import air
from noseroom.physics.charge import mass_in_volume
from noseroom.physics.ranges import Floats
from noseroom.tables.circuits import hose_sizes, line_velocities
from noseroom.tables.heat import refrigerants
from noseroom.tables.system_sizes import system_figures

__all__ = ["CAUTION", "ChargePart", "ChargeView", "charge_of"]

_LITRE, _MM = 1e-3, 1e-3
CAUTION = (
    "This is what to buy, and nothing to charge by: the component makers' figure stands above it, "
    "and it is weighed in, after recovery and vacuum. Never vent refrigerant."
)


@dataclass(frozen=True, slots=True)
class ChargePart:
    """What one part holds. measured: whether its volume follows from sizes in the file."""

    part: str
    volume_l: Span
    mass_kg: Span
    measured: bool


@dataclass(frozen=True, slots=True)
class ChargeView:
    """What to buy. kg: never narrower than a fifth of its middle either way."""

    refrigerant: str
    kg: Span
    parts: tuple[ChargePart, ...]
    caution: str


@dataclass(frozen=True, eq=False)
class _Held:
    """A volume, m³, the share of it that is liquid, and where it boils, K; all (n,)."""

    part: str
    volume: Floats
    liquid: Floats
    kelvin: Floats
    measured: bool


def charge_of(trials: Trials) -> ChargeView | None:
    """What a nose's system holds; None for one without a condenser."""
    if not trials.fitted:
        return None
    car, fluid = trials.car, fluid_of(trials.car)
    total, parts = np.zeros(car.n), []
    for one in _held(car):
        mass = mass_in_volume(fluid, one.volume, one.liquid, one.kelvin)
        total = total + mass
        parts.append(
            ChargePart(one.part, span_of(one.volume / _LITRE), span_of(mass), one.measured)
        )
    least = system_figures()["least charge spread"].usual
    found = span_of(total)
    kg = Span(
        min(found.low, (1 - least) * found.middle),
        found.middle,
        max(found.high, (1 + least) * found.middle),
    )
    name = car.entry.words.get("refrigerant", REFRIGERANT)
    return ChargeView(name, kg, tuple(parts), f"{CAUTION} {refrigerants()[name].caution}")


def _held(car: Car) -> Iterator[_Held]:
    def figure(key: str) -> Floats:
        return car.known.band(system_figures()[key])

    hot = figure("charge condensing") + air.ZERO_CELSIUS
    cold = figure("charge evaporating") + air.ZERO_CELSIUS
    full, empty = np.ones(car.n), np.zeros(car.n)
    yield _Held(
        "condenser",
        _condenser_m3(car, figure("condenser tubes"), figure("header bore")),
        figure("condenser liquid"),
        hot,
        measured=True,
    )
    drier = car.part_of("drier")
    if drier is not None and isinstance(drier.part, Drier):
        outside = pi / 4 * drier.part.diameter_mm**2 * drier.part.height_mm * _MM**3
        inside, known = outside * figure("drier inside"), True
    else:
        inside, known = figure("drier volume") * _LITRE, False
    yield _Held("drier", inside, figure("drier liquid"), hot, known)
    for line, liquid, kelvin in (
        ("liquid", full, hot),
        ("discharge", empty, hot),
        ("suction", empty, cold),
    ):
        length, drawn = line_length(car, line)
        bore = hose_sizes()[line_velocities()[line].usual_dash].bore_mm * _MM
        yield _Held(f"{line} line", pi / 4 * bore**2 * length, liquid, kelvin, drawn)
    coil = figure("evaporator volume") * _LITRE
    yield _Held("evaporator", coil, figure("evaporator liquid"), cold, measured=False)
    gas = figure("compressor volume") * _LITRE
    yield _Held("compressor", gas, empty, cold, measured=False)


def _condenser_m3(car: Car, tubes: Floats, bore: Floats) -> Floats:
    """Tubes by the face, headers by their own bore."""
    placed = car.faces.condenser
    assert placed is not None
    part = placed.part
    assert isinstance(part, Condenser)
    face = part.core_width_mm * part.core_height_mm * _MM**2
    if part.headers == "round":
        section = pi / 4 * (bore * part.header_diameter_mm) ** 2
    else:
        section = bore**2 * part.header_width_mm * part.header_depth_mm
    return np.asarray(tubes * _LITRE * face + 2 * section * part.core_height_mm * _MM**3)
