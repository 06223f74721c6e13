"""Currents of clutch, blower and electric fans: wire, fuse, relay, and the alternator's sum.

Disconnect the battery before any work on wires. Every new wire has a fuse of its own close to the
battery: without one it burns where it chafes through. Local codes stand above these figures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from noseroom.checks.condenser_choice_air import Trials
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_loads import fan_amps
from noseroom.checks.cooling_outcomes import Outcome, share_of, span_of
from noseroom.checks.cooling_records import Span
from noseroom.physics.ranges import Floats
from noseroom.physics.wires import fuse_for, voltage_drop, wire_for
from noseroom.tables.circuits import fuses, loads, wire_sizes
from noseroom.tables.heat import Band
from noseroom.tables.system_sizes import system_figures

__all__ = ["CAUTION", "WIRE_C", "CircuitView", "CurrentsView", "WireView", "currents_of", "wired"]

WIRE_C = 70.0
"""A wire of an engine bay in summer: the usual figure of `tables.circuits.loads`."""
CAUTION = (
    "Disconnect the battery before any work on wires. Fuse every new wire close to the battery, "
    "keep wires off hot and sharp metal, and do not take more from a switch or a relay than is "
    "printed on it. An electric fan may start with the engine off. Local codes apply."
)
_M2 = 1e-6


@dataclass(frozen=True, slots=True)
class WireView:
    """A wire for a current over a length there and back, and its fuse.

    gauge, mm2: automotive wire, whose number is not AWG's; None and nan where none of the table
    does. drop_v: at 70 °C; most_drop_v: what it may be.
    """

    amps: float
    loop_m: float
    gauge: int | None
    mm2: float
    drop_v: float
    most_drop_v: float
    fuse_a: float | None


@dataclass(frozen=True, slots=True)
class CircuitView:
    """One load. amps: running; start_a: for a moment, motors only. loop_m: wire there and back.

    usual: for the middle of both, with 3 % of the voltage to lose; most: for the high end of the
    two together, with 5 %. relay: whether the load goes through one.
    """

    load: str
    amps: Span
    start_a: Span | None
    loop_m: Span
    usual: WireView
    most: WireView
    relay: bool
    source: str


@dataclass(frozen=True, slots=True)
class CurrentsView:
    """All circuits, and the alternator in the state that asks most of it.

    engine_a: ignition, gauges and lamps. sum_a, there_a: asked for, and given. short: share of the
    draws in which it falls short.
    """

    circuits: tuple[CircuitView, ...]
    state: str
    engine_a: Span
    sum_a: Span
    there_a: Span
    short: float
    caution: str


@dataclass(frozen=True, eq=False)
class _Load:
    """A load, (n,) A, its wire, (n,) m, and whether it is a motor that starts under load."""

    name: str
    amps: Floats
    loop_m: Floats
    motor: bool
    source: str


def currents_of(trials: Trials) -> CurrentsView | None:
    """The circuits of a nose's A/C; None for a nose without a condenser and electric fans."""
    car = trials.car
    each = list(_loads(trials))
    if not each:
        return None
    worst = max(trials.base.items(), key=lambda one: _short(one[1], trials))
    given = worst[1].loads
    return CurrentsView(
        circuits=tuple(_circuit(car, one) for one in each),
        state=worst[0],
        engine_a=span_of(car.prior("engine load")),
        sum_a=span_of(given.amps),
        there_a=span_of(given.amps_there),
        short=_short(worst[1], trials),
        caution=CAUTION,
    )


def _short(outcome: Outcome, trials: Trials) -> float:
    given = outcome.loads
    return share_of(given.amps > given.amps_there, np.ones(trials.car.n, dtype=bool))


def _loads(trials: Trials) -> Iterator[_Load]:
    car = trials.car
    if trials.fitted:
        for key, motor in (("compressor clutch", False), ("blower", True)):
            row = loads()[key]
            loop = _figure(car, f"{key} loop")
            yield _Load(key, car.known.band(row), loop, motor, row.source)
    for fan in car.faces.fans:
        if fan.driven:
            continue
        entry = car.fan_entry(fan.name)
        source = "the file" if entry and "current" in entry.figures else _FAN_SOURCE
        amps = fan_amps(car, fan.name, fan.diameter_mm, fan.number)
        yield _Load(fan.name, amps, _figure(car, "fan loop"), True, source)


_FAN_SOURCE = loads()["fan 12 in"].source


def _figure(car: Car, key: str) -> Floats:
    band: Band = system_figures()[key]
    return car.known.band(band)


def _circuit(car: Car, one: _Load) -> CircuitView:
    amps, loop, both = (span_of(x) for x in (one.amps, one.loop_m, one.amps * one.loop_m))
    share, volts = loads()["voltage drop"], system_figures()["system voltage"].usual
    start = one.amps * car.known.band(loads()["fan start"]) if one.motor else None
    return CircuitView(
        load=one.name,
        amps=amps,
        start_a=None if start is None else span_of(start),
        loop_m=loop,
        usual=_wire(amps.middle, loop.middle, share.usual * volts),
        # The highest current over the longest way at once is rarer than either.
        most=_wire(amps.high, both.high / amps.high, share.high * volts),
        relay=amps.high > system_figures()["relay above"].low,
        source=one.source,
    )


def _wire(amps: float, loop_m: float, most_drop_v: float) -> WireView:
    gauge, fuse = wired(amps, loop_m, most_drop_v)
    area = wire_sizes()[gauge].sae_mm2 if gauge is not None else float("nan")
    drop = float(voltage_drop(amps, loop_m, area * _M2, WIRE_C))
    return WireView(amps, loop_m, gauge, area, drop, most_drop_v, fuse)


def wired(amps: float, loop_m: float, most_drop_v: float) -> tuple[int | None, float | None]:
    """The thinnest wire for a load that also bears the load's fuse, and that fuse, A.

    A fuse guards its wire: where the least fuse that bears the load is more than a wire carries,
    the wire is taken thicker. (None, None) where no wire of the table does.
    """
    share = loads()["fuse over load"]
    sizes = {key: (one.sae_mm2 * _M2, one.amps) for key, one in wire_sizes().items()}
    while sizes:
        gauge = wire_for(amps, loop_m, sizes, most_drop_v=most_drop_v, celsius=WIRE_C)
        if gauge is None:
            break
        fuse = fuse_for(amps, fuses(), wire_sizes()[gauge].amps, (share.low, share.high))
        if fuse is not None:
            return gauge, fuse
        del sizes[gauge]
    return None, None
