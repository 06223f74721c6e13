"""States of a car as the solver takes them: a hot idle, a cruise, what the file asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change
from noseroom.checks.cooling_fans import CarFan
from noseroom.physics import air, moist_air
from noseroom.physics.evaporators import coil_load
from noseroom.physics.loops import Loop
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import refrigerant
from noseroom.physics.stack_parts import Compression, StackState
from noseroom.tables.cooling import usual_states
from noseroom.tables.heat import refrigerants

__all__ = [
    "REFRIGERANT",
    "Asked",
    "asked_states",
    "engine_rpm",
    "held_state",
    "reading_state",
    "state_of",
]

_GRAVITY = 9.80665
_IDLE_RPM = 600.0
_KW, _CM3 = 1e3, 1e-6
_COLD_K, _LIFT_K = 278.15, 27.0
"""Where the compressor's work is taken for the coolant's share of it: it changes slowly."""
_USUAL_SPEED = 25.0
REFRIGERANT = "R-134a"
"""Where the file names none."""


@dataclass(frozen=True)
class Asked:
    """A state: °C, relative humidity, m, m/s, rpm (None: idle or cruise), share of a slope."""

    name: str
    outside_c: float
    humidity: float
    altitude_m: float
    speed_m_s: float
    engine_rpm: float | None
    grade: float
    meaning: str

    @property
    def stands(self) -> bool:
        """Whether the car does."""
        return self.speed_m_s == 0.0

    @property
    def pressure_pa(self) -> float:
        """Of the air."""
        return float(air.standard_pressure(self.altitude_m))


@dataclass(frozen=True, eq=False)
class CoilLoad:
    """W that an evaporator takes up by its temperature; all (n,)."""

    flow: Floats
    inlet_k: Floats
    ratio: Floats
    effectiveness: Floats
    pressure_pa: Floats

    def __call__(self, coil_k: Floats) -> Floats:
        """At a temperature, K."""
        found = coil_load(
            self.flow, self.inlet_k, self.ratio, coil_k, self.effectiveness, self.pressure_pa
        )
        return np.asarray(found)


def asked_states(car: Car) -> tuple[Asked, ...]:
    """The usual states, and those of the file; one of the same name stands in for a usual one."""
    found = {
        key: Asked(
            key,
            one.outside_c,
            one.humidity,
            one.altitude_m,
            one.speed_km_h / 3.6,
            None,
            0.0,
            one.meaning,
        )
        for key, one in usual_states().items()
    }
    hot = usual_states()["hot idle"]
    for one in car.entry.states:
        usual = found.get(one.name)
        figures = {key: figure.value for key, figure in one.figures.items()}
        found[one.name] = Asked(
            name=one.name,
            outside_c=figures.get("outside", usual.outside_c if usual else hot.outside_c),
            humidity=figures.get("humidity", usual.humidity if usual else hot.humidity),
            altitude_m=figures.get("altitude", 0.0),
            speed_m_s=figures.get("speed", usual.speed_m_s if usual else 0.0),
            engine_rpm=figures.get("engine"),
            grade=figures.get("grade", 0.0),
            meaning=usual.meaning if usual else "as the file has it",
        )
    return tuple(found.values())


def reading_state(car: Car) -> Asked | None:
    """The day on which the builder took readings: the car as it was then, at idle."""
    readings = car.entry.readings
    if "outside" not in readings:
        return None
    rpm = readings["idle"].value if "idle" in readings else None
    outside, humidity = readings["outside"].value, usual_states()["hot idle"].humidity
    return Asked("as it was read", outside, humidity, 0.0, 0.0, rpm, 0.0, "hot, hood shut")


def held_state(outside_c: float) -> Asked:
    """The hottest day on which the car idled for long without boiling."""
    humidity = usual_states()["hot idle"].humidity
    return Asked("as it held", outside_c, humidity, 0.0, 0.0, None, 0.0, "hot, hood shut")


def engine_rpm(car: Car, asked: Asked, change: Change) -> Floats:
    """(n,) of the engine in a state."""
    if asked.engine_rpm is not None:
        return np.full(car.n, asked.engine_rpm)
    if not asked.stands:
        return np.maximum(
            car.figure("engine.cruise", "cruise") * asked.speed_m_s / _USUAL_SPEED, car.idle_rpm()
        )
    if change.idle_rpm is not None and not change.today:
        return np.full(car.n, change.idle_rpm)
    idle = car.idle_rpm()
    return idle + car.prior("idle-up") if change.idle_up and not change.today else idle


def state_of(
    car: Car, asked: Asked, change: Change, fans: Sequence[CarFan], running: bool
) -> StackState:
    """A state as the solver takes it. running: whether the A/C is on."""
    n, rpm = car.n, engine_rpm(car, asked, change)
    outside = np.full(n, asked.outside_c + air.ZERO_CELSIUS)
    speed, pressure = asked.speed_m_s, asked.pressure_pa
    dynamic = air.density(outside, pressure) * speed**2 / 2.0
    at_rest = asked.stands
    loop = _loop(car, rpm) if running else None
    heat = _engine_heat(car, asked, rpm)
    compression = None
    if loop is not None:
        load = _coil(car, asked, outside)
        heat = heat + _work(car, loop, load, outside) * car.prior("work into coolant")
        compression = Compression(
            loop=loop,
            load=load,
            evaporating_k=car.prior("coldest coil"),
            warmest_k=car.prior("warmest coil"),
        )
    return StackState(
        outside_k=outside,
        outside_pa=np.full(n, pressure),
        humidity=np.full(n, asked.humidity),
        ram_pa=np.zeros(n) if at_rest else dynamic * car.prior("ram"),
        base_pa=np.zeros(n) if at_rest else -dynamic * car.prior("suction"),
        speeds={one.stack.name: one.speed(rpm) for one in fans},
        coolant_w=heat,
        bay_w=_engine_heat(car, asked, rpm) * car.prior("bay heat"),
        returned=car.prior("returned at idle") if at_rest else np.zeros(n),
        compression=compression,
    )


def _engine_heat(car: Car, asked: Asked, rpm: Floats) -> Floats:
    """W into the coolant, without what the compressor adds."""
    litres = car.figure("engine.displacement", "displacement")
    idling = car.prior("idle heat") * _KW * litres / _IDLE_RPM
    if asked.stands:
        return np.asarray(idling * rpm)
    weight = car.figure("engine.mass", "car mass") * _GRAVITY
    outside = np.full(car.n, asked.outside_c + air.ZERO_CELSIUS)
    drag = air.density(outside, asked.pressure_pa) / 2.0 * car.prior("drag area")
    force = weight * (car.prior("rolling") + asked.grade) + drag * asked.speed_m_s**2
    crank = force * asked.speed_m_s / car.prior("driveline")
    return np.maximum(crank * car.prior("coolant at load"), idling * car.idle_rpm())


def _loop(car: Car, rpm: Floats) -> Loop:
    name = car.entry.words.get("refrigerant", REFRIGERANT)
    part = car.part_of("compressor")
    ratio = car.prior("compressor ratio") if part is None else car.turns(part, "compressor ratio")
    swept = car.figure("compressor.displacement", "compressor displacement", 1e3)
    return Loop(
        fluid=refrigerant(refrigerants()[name].model),
        displacement_m3=swept * _CM3,
        speed_rpm=rpm * ratio,
        clearance=car.heat("clearance"),
        filling=car.heat("filling"),
        # What the gas brings to the condenser: what body and hose lose is as if it took less work.
        isentropic_efficiency=car.heat("isentropic efficiency") / (1.0 - car.prior("shell loss")),
        superheat_k=car.heat("superheat"),
        subcooling_k=car.heat("subcooling"),
    )


def _coil(car: Car, asked: Asked, outside: Floats) -> CoilLoad:
    """The evaporator, with the cabin's air back from the first minutes, as damp as outside."""
    pressure = np.full(car.n, asked.pressure_pa)
    ratio = moist_air.humidity_ratio(outside, asked.humidity, pressure)
    inlet = outside + car.prior("cabin return")
    # Air that has been through the coil holds no more than it can.
    ratio = np.minimum(ratio, 0.95 * moist_air.saturated_humidity_ratio(inlet, pressure))
    flow = car.heat("evaporator air") * air.density(inlet, pressure)
    return CoilLoad(flow, inlet, ratio, car.heat("evaporator effectiveness"), pressure)


def _work(car: Car, loop: Loop, load: CoilLoad, outside: Floats) -> Floats:
    """W that the compressor takes from the crank, mean over time."""
    low = loop.fluid.saturation_pressure(np.full(car.n, _COLD_K))
    high = loop.fluid.saturation_pressure(outside + _LIFT_K)
    state = loop.between(low, high)
    duty = np.minimum(1.0, load(np.full(car.n, _COLD_K)) / state.cooling)
    return np.asarray(duty * state.work / car.heat("compressor drive"))
