"""What a state is held against: boiling, the thermostat, the cut-out, the alternator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Front
from noseroom.checks.cooling_states import REFRIGERANT, Asked
from noseroom.physics import air
from noseroom.physics.coolant import BOILING_TOO_HIGH_K, boiling_point
from noseroom.physics.ranges import Floats
from noseroom.tables.circuits import loads
from noseroom.tables.heat import Band, refrigerants
from noseroom.units import mm_to_inches

__all__ = ["Loads", "loads_of"]

_KPA = 1e3
_FANS = (("fan 12 in", 12.0), ("fan 14 in", 14.0), ("fan 16 in", 16.0))
_BOILS = Band(
    "boiling below Raoult",
    0.0,
    BOILING_TOO_HIGH_K / 2,
    BOILING_TOO_HIGH_K,
    "K",
    "common practice: printed figures of the trade against Raoult's law",
    "how far below Raoult's law coolant boils",
)


@dataclass(frozen=True, eq=False)
class Loads:
    """Limits and currents of a state; all (n,).

    amps, amps_there: what the alternator has to give, and what it can. boils_k, thermostat_k: of
    the coolant. cut_out_pa: absolute, where the pressure switch takes the compressor off.
    """

    amps: Floats
    amps_there: Floats
    boils_k: Floats
    thermostat_k: Floats
    cut_out_pa: Floats


def loads_of(car: Car, asked: Asked, front: Front, running: bool) -> Loads:
    """Limits and currents of a state, with a front and with the A/C on or off."""
    amps = car.prior("engine load")
    for one in front.fans:
        if not one.driven:
            amps = amps + fan_amps(car, one.name, one.diameter_mm, one.number)
    if running:
        amps = amps + _load(car, "compressor clutch") + _load(car, "blower")
    share = car.heat("alternator at idle") if asked.stands else np.ones(car.n)
    cap = car.figure("radiator.cap", "cap", 1.0 / _KPA) * _KPA
    glycol = car.figure("radiator.glycol", "glycol")
    row = refrigerants()[car.entry.words.get("refrigerant", REFRIGERANT)]
    assert row.cut_out_low_kpa is not None
    assert row.cut_out_high_kpa is not None
    low, high = row.cut_out_low_kpa, row.cut_out_high_kpa
    switch = Band("cut-out", low, (low + high) / 2, high, "kPa", row.source, "of the high side")
    return Loads(
        amps=np.asarray(amps),
        amps_there=car.figure("alternator.rating", "alternator rating") * share,
        boils_k=boiling_point(glycol, asked.pressure_pa + cap) - car.known.band(_BOILS),
        thermostat_k=car.figure("radiator.thermostat", "thermostat") + air.ZERO_CELSIUS,
        cut_out_pa=car.known.band(switch) * _KPA + asked.pressure_pa,
    )


def fan_amps(car: Car, name: str, diameter_mm: float, number: int) -> Floats:
    """(n,) of an electric fan's motors while they run: by the file, else by its diameter."""
    entry = car.fan_entry(name)
    if entry is not None and "current" in entry.figures:
        return car.known.given(entry.figures["current"], f"{name}.current")
    rows, size = [loads()[key] for key, _ in _FANS], mm_to_inches(diameter_mm)
    sizes = [one for _, one in _FANS]
    # Between the table's sizes by the area, beyond them likewise from the nearest.
    nearest = float(np.clip(size, sizes[0], sizes[-1]))
    scale = number * (size / nearest) ** 2
    low, usual, high = (
        scale * float(np.interp(nearest, sizes, values))
        for values in zip(*((one.low, one.usual, one.high) for one in rows), strict=True)
    )
    said = Band(f"current of {name}", low, usual, high, "A", rows[0].source, "while it runs")
    return car.known.band(said, "fan current")


def _load(car: Car, key: str) -> Floats:
    return car.known.band(loads()[key])
