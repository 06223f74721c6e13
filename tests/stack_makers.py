"""Invented stacks for tests: cores whose laws are simple enough for a hand, and usual ones."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from noseroom.physics.fans import FanCurve
from noseroom.physics.fin_cores import PlainCore
from noseroom.physics.loops import Loop
from noseroom.physics.openings import loss_of_opening, loss_of_plate_idelchik
from noseroom.physics.ranges import OutsideRange
from noseroom.physics.refrigerant import refrigerant
from noseroom.physics.stack_parts import (
    Compression,
    CondenserInStack,
    CoolantSide,
    Opening,
    RadiatorInStack,
    Stack,
    StackFan,
    StackState,
    Zone,
)
from noseroom.physics.stock_cores import core_like
from noseroom.tables.heat import usual_cores

SHARP = float(loss_of_opening())
GRILLE = 1.0 + float(loss_of_plate_idelchik(0.6))
ACROSS_M, HIGH_M = 0.55, 0.43
FACE_M2 = ACROSS_M * HIGH_M
IDLE_FAN = FanCurve.through(
    [(0.0, 190.0), (0.3, 175.0), (0.6, 140.0), (0.9, 90.0), (1.2, 20.0), (1.27, 0.0)],
    speed=1600.0,
    source="invented",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class EvenCore(PlainCore):
    """A core whose coefficient and friction do not change: hand calculations follow it."""

    even_h: float = 60.0
    even_f: float = 0.03

    def coefficients(
        self, core_flux: Any, kelvin: Any
    ) -> tuple[Any, Any, Any, tuple[OutsideRange, ...]]:
        one = np.ones_like(np.asarray(core_flux * kelvin))
        return self.even_h * one, self.even_f * one, 1000.0 * one, ()


def even_core(h: float = 60.0, f: float = 0.03, **instead: Any) -> EvenCore:
    """Fins of an older radiator, but even."""
    sizes = {
        "fin_pitch": 2.1e-3,
        "fin_length": 11e-3,
        "fin_thickness": 0.07e-3,
        "depth": 57e-3,
        "tube_thickness": 2.4e-3,
        "fin_conductivity": 380.0,
    }
    return EvenCore(**{**sizes, **instead}, even_h=h, even_f=f)


def zones(covered: Any, drawn: Any, fan: str = "fan", pusher: str = "") -> Iterator[Zone]:
    """A face by what is covered and what a fan draws on, shares of it."""
    for over, part in ((True, covered), (False, 1.0 - np.asarray(covered))):
        for by, share in ((fan, drawn), ("", 1.0 - np.asarray(drawn))):
            area = np.asarray(part * np.asarray(share) * FACE_M2)
            if np.all(area > 1e-4):
                name = f"{'covered' if over else 'bare'}, {by or 'free'}"
                pushed = pusher if over else ""
                yield Zone(name=name, area_m2=area, covered=over, drawn_by=by, pushed_by=pushed)


def radiator(**instead: Any) -> RadiatorInStack:
    """An older copper radiator."""
    core = core_like(usual_cores()["radiator copper"])
    given: dict[str, Any] = {"heat_factor": 1.25, "drag_factor": 1.4, "core": core}
    side = CoolantSide.in_flat_tubes(
        core, flow_m3_s=0.6e-3, glycol=0.5, across_m=ACROSS_M, rows=3, wall_m=0.15e-3
    )
    return RadiatorInStack(**{**given, "coolant": side, **instead})


def condenser(**instead: Any) -> CondenserInStack:
    """A parallel-flow condenser."""
    given: dict[str, Any] = {
        "core": core_like(usual_cores()["condenser parallel flow"]),
        "inside": (1500.0, 4500.0, 1800.0),
    }
    return CondenserInStack(**{**given, **instead})


def fan(**instead: Any) -> StackFan:
    """A driven fan in a shroud."""
    given: dict[str, Any] = {
        "name": "fan",
        "curve": IDLE_FAN,
        "swept_m2": 0.11,
        "stopped_loss": 2.0,
        "leak": Opening(0.012, SHARP),
    }
    return StackFan(**{**given, **instead})


def stack(
    covered: Any = 0.8, drawn: Any = 0.93, beside: Any = 0.004, rim: Any = 0.01, **instead: Any
) -> Stack:
    """A whole one. covered: 0 for no condenser. beside, rim: m² of leaks."""
    given: dict[str, Any] = {
        "zones": tuple(zones(covered, drawn)),
        "radiator": radiator(),
        "condenser": condenser() if np.any(np.asarray(covered) > 0) else None,
        "grille": Opening(0.16, GRILLE),
        "outlet": Opening(0.14, SHARP),
        "beside": Opening(beside, SHARP),
        "rim": Opening(rim, SHARP),
        "fans": (fan(),),
    }
    return Stack(**{**given, **instead})


def compression(load: Any = 4500.0, rpm: Any = 1080.0, **instead: Any) -> Compression:
    """A small compressor at an idling engine."""
    loop = Loop(
        fluid=refrigerant("R134a"),
        displacement_m3=150e-6,
        speed_rpm=rpm,
        clearance=0.05,
        filling=0.85,
        isentropic_efficiency=0.62,
        superheat_k=6.0,
        subcooling_k=5.0,
    )
    return Compression(**{"loop": loop, "load": load, **instead})


def state(
    celsius: Any = 38.0, running: bool = True, speed: Any = 0.6, **instead: Any
) -> StackState:
    """A hot idle."""
    given: dict[str, Any] = {
        "outside_k": np.asarray(celsius) + 273.15,
        "humidity": 0.4,
        "coolant_w": 9000.0,
        "bay_w": 2000.0,
        "speeds": {"fan": speed},
        "compression": compression() if running else None,
    }
    return StackState(**{**given, **instead})
