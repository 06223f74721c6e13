"""Hoses of the refrigerant's loop: how fast it runs in each size, what it loses, which are right.

What counts is the flow that the load asks for: a compressor that takes more runs for a share of the
time only, and what a line costs it then it has to spare. A hose is right where refrigerant hardly
ever runs faster than the guide allows and hardly ever loses more than it may. Slower than the guide
costs little in a car's short lines; oil then gathers in what hangs low. Lines stand under pressure
also with the engine off: certified people open them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import dist

import numpy as np

from noseroom.checks.condenser_choice_air import Trials
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_outcomes import Truths, share_of, span_of
from noseroom.checks.cooling_records import Span
from noseroom.checks.cooling_states import REFRIGERANT
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.hose import Hose
from noseroom.physics.lines import drop_in_line, saturation_loss, velocity
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import Refrigerant, refrigerant
from noseroom.physics.stack_answer import HeadAnswer
from noseroom.tables.circuits import HoseSize, LineVelocity, hose_sizes, line_velocities
from noseroom.tables.heat import refrigerants
from noseroom.tables.system_sizes import system_figures

__all__ = [
    "LINES",
    "HoseView",
    "LineState",
    "LineView",
    "fluid_of",
    "line_length",
    "line_lengths_m",
    "size_lines",
]

LINES = ("suction", "discharge", "liquid")
_PORTS = {
    ("compressor", "suction"): "suction",
    ("compressor", "discharge"): "discharge",
    ("condenser", "upper port"): "discharge",
    ("condenser", "lower port"): "liquid",
    ("drier", "inlet"): "liquid",
    ("drier", "outlet"): "liquid",
}
_HARDLY = 0.05
_MM, _KPA = 1e-3, 1e3
_GRAMS = 1e3
_FEWEST_SHARE = 0.5
"""A state in which fewer of the draws than this have a loop in balance is not counted: the pressure
switch acts there first."""


@dataclass(frozen=True, slots=True)
class LineState:
    """A hose in one state. speed: m/s, mean over time; peak: while the compressor runs.

    drop_kpa; loss_k: by how much that lowers the boiling point. fast, slow: shares of the draws
    above and below the guide; lossy: in which it loses too much.
    """

    state: str
    speed: Span
    peak: Span
    drop_kpa: Span
    loss_k: Span
    fast: float
    slow: float
    lossy: float


@dataclass(frozen=True, slots=True)
class HoseView:
    """A hose size in a line. right: in all states in which most loops are in balance."""

    dash: int
    bore_mm: float
    states: tuple[LineState, ...]
    right: bool


@dataclass(frozen=True, slots=True)
class LineView:
    """A line of the loop, with every size.

    length_m: by the file's hoses where drawn is True, else a usual range. flow_g_s: by state, mean
    over time. told: by state, the share of the draws whose loop is in balance; the others' head
    pressure runs away. least, most: the guide's velocities, m/s. usual_dash: common practice.
    """

    line: str
    length_m: Span
    drawn: bool
    flow_g_s: Mapping[str, Span]
    told: Mapping[str, float]
    least: float
    most: float
    usual_dash: int
    source: str
    hoses: tuple[HoseView, ...]

    @property
    def right(self) -> tuple[int, ...]:
        """Dash numbers that are right, the thinnest first."""
        return tuple(one.dash for one in self.hoses if one.right)


def size_lines(trials: Trials) -> tuple[LineView, ...]:
    """The three lines of a nose's loop; none for a nose without a condenser."""
    if not trials.fitted:
        return ()
    fluid = fluid_of(trials.car)
    return tuple(_line(trials, fluid, line) for line in LINES)


def fluid_of(car: Car) -> Refrigerant:
    """What the system is to hold."""
    return refrigerant(refrigerants()[car.entry.words.get("refrigerant", REFRIGERANT)].model)


# -- lengths ------------------------------------------------------------------------------------


def line_lengths_m(layout: Layout) -> dict[str, tuple[float, bool]]:
    """Length of what the file draws of each line, and whether that is the whole of it.

    A stub is no length. The liquid line goes on to an evaporator that no file has.
    """
    found: dict[str, tuple[float, bool]] = {}
    for part in layout.parts.values():
        line = _line_of(layout, part)
        if line and isinstance(part.part, Hose) and part.part.on_ports == 2:
            length = sum(dist(a, b) for a, b in pairwise(part.part.run)) * _MM
            before, _ = found.get(line, (0.0, False))
            found[line] = before + length, line == "discharge"
    return found


def _line_of(layout: Layout, part: PlacedPart) -> str:
    """Which line a hose is of, by the ports that it joins; "" for none."""
    if part.kind != "hose":
        return ""
    found = set()
    for name in (name for names in part.entry.references.values() for name in names):
        host, _, port = name.partition(".")
        if host in layout.parts:
            found.add(_PORTS.get((layout.parts[host].kind, port), ""))
    return next((line for line in LINES if line in found), "")


def line_length(car: Car, line: str) -> tuple[Floats, bool]:
    """(n,) m, and whether it is as drawn: else a usual length, no less than what is drawn."""
    length, whole = line_lengths_m(car.layout).get(line, (0.0, False))
    if whole:
        return np.full(car.n, length), True
    usual = car.known.band(system_figures()[f"{line} length"])
    return np.maximum(usual, length), False


# -- what runs in it ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Inside:
    """What runs in a line; all (n,), nan where the loop is not in balance.

    flow: kg/s, mean over time; peak: while the compressor runs.
    """

    flow: Floats
    peak: Floats
    density: Floats
    viscosity: Floats
    pressure: Floats


def _inside(fluid: Refrigerant, head: HeadAnswer, line: str) -> _Inside:
    """Gas is taken with the viscosity of saturated gas, which is a little less than its own."""
    cycle, peak = head.loop.cycle, head.loop.flow
    low, high = cycle.pressures
    flow = peak * head.duty
    if line == "liquid":
        return _Inside(flow, peak, fluid.liquid_density(high), fluid.liquid_viscosity(high), high)
    which, pressure = (0, low) if line == "suction" else (1, high)
    density = fluid.superheated_density(pressure, cycle.enthalpies[which])
    return _Inside(flow, peak, density, fluid.vapour_viscosity(pressure), pressure)


def _known(one: _Inside) -> Truths:
    return np.isfinite(one.flow) & np.isfinite(one.density) & np.isfinite(one.pressure)


# -- each size ----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Run:
    """A line as it lies. length: m; bends: right angles; most_k: what it may lose; all (n,)."""

    guide: LineVelocity
    fluid: Refrigerant
    length: Floats
    bends: Floats
    most_k: Floats

    def state(self, state: str, one: _Inside, bore_m: float) -> LineState:
        """A hose of a bore in a state."""
        known = _known(one)
        speed = velocity(one.flow, one.density, bore_m)
        drop = np.full(len(speed), np.nan)
        for k in np.flatnonzero(known):
            drop[k] = drop_in_line(
                float(one.flow[k]),
                float(one.density[k]),
                float(one.viscosity[k]),
                bore_m=bore_m,
                length_m=float(self.length[k]),
                bends=round(float(self.bends[k])),
            ).total_pa
        # A drop that leaves no pressure is beyond the tables, and more than any limit.
        loss = saturation_loss(self.fluid, one.pressure, drop)
        loss = np.where(known & np.isnan(loss), np.inf, loss)
        return LineState(
            state=state,
            speed=span_of(speed),
            peak=span_of(velocity(one.peak, one.density, bore_m)),
            drop_kpa=span_of(drop / _KPA),
            loss_k=span_of(loss),
            fast=share_of(speed > self.guide.high, known),
            slow=share_of(speed < self.guide.low, known),
            lossy=share_of(loss > self.most_k, known),
        )


def _line(trials: Trials, fluid: Refrigerant, line: str) -> LineView:
    car, figures = trials.car, system_figures()
    length, whole = line_length(car, line)
    run = _Run(
        guide=line_velocities()[line],
        fluid=fluid,
        length=length,
        bends=car.known.band(figures[f"{line} bends"]),
        most_k=car.known.band(figures[f"most {line} loss"]),
    )
    inside = {name: _inside(fluid, head, line) for name, head in _heads(trials)}
    every = np.ones(car.n, dtype=bool)
    told = {name: share_of(_known(one), every) for name, one in inside.items()}
    return LineView(
        line=line,
        length_m=span_of(length),
        drawn=whole,
        flow_g_s={name: span_of(one.flow * _GRAMS) for name, one in inside.items()},
        told=told,
        least=run.guide.low,
        most=run.guide.high,
        usual_dash=run.guide.usual_dash,
        source=run.guide.source,
        hoses=tuple(_hose(run, size, inside, told) for size in hose_sizes().values()),
    )


def _hose(
    run: _Run, size: HoseSize, inside: Mapping[str, _Inside], told: Mapping[str, float]
) -> HoseView:
    states = [run.state(name, one, size.bore_mm * _MM) for name, one in inside.items()]
    right = [
        one.fast <= _HARDLY and one.lossy <= _HARDLY
        for one in states
        if told[one.state] >= _FEWEST_SHARE
    ]
    return HoseView(size.dash, size.bore_mm, tuple(states), bool(right) and all(right))


def _heads(trials: Trials) -> Iterator[tuple[str, HeadAnswer]]:
    for name, outcome in trials.base.items():
        head = outcome.solved.answer.head
        if head is not None:
            yield name, head
