"""What the stack does to the engine and the head pressure: records for page, pictures and files.

Every figure is a band. Hot coolant scalds and a high-pressure side bursts; the cautions that stand
beside these figures are in `Cooling.cautions`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from noseroom.physics.air import STANDARD_PRESSURE
from noseroom.tables.heat import Band

__all__ = [
    "Cooling",
    "CycleView",
    "FanView",
    "HeldDay",
    "OptionView",
    "ReadingView",
    "Room",
    "Span",
    "StateView",
    "ZoneView",
]


@dataclass(frozen=True, slots=True)
class Span:
    """5, 50 and 95 % points over all draws.

    inf: beyond any figure, such as coolant that boils over or a head pressure that runs away;
    nan: not known.
    """

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class ZoneView:
    """A zone of the radiator's face.

    outline: of its largest piece, mm in the face's plane, y right and z up from the core's middle.
    speed: m/s of the air on the face; below 0 it runs back. inlet_c: of that air. pieces: all of
    it, each the ring round it and then those round its holes. masked: covered by the condenser's
    headers alone.
    """

    name: str
    covered: bool
    drawn_by: str
    pushed_by: str
    area_m2: float
    outline: tuple[tuple[float, float], ...]
    speed: Span
    inlet_c: Span
    pieces: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = ()
    masked: bool = False


@dataclass(frozen=True, slots=True)
class FanView:
    """A fan at work.

    curve: (m³/s, Pa) of the usual figures at the state's speed and density. system: what the
    rest of the nose asks of it, likewise. flow, rise: where it works. beyond: share of the
    draws in which it works outside its curve. known: where the curve comes from. discs: what its
    blades sweep as seen square to the face: y, z and diameter of each, mm.
    """

    name: str
    driven: bool
    curve: tuple[tuple[float, float], ...]
    system: tuple[tuple[float, float], ...]
    flow: Span
    rise: Span
    beyond: float
    known: str
    discs: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class CycleView:
    """The loop with the usual figures: suction, discharge, condenser's outlet. Pa, J/kg, °C."""

    refrigerant: str
    low_pa: float
    high_pa: float
    enthalpies: tuple[float, float, float]
    temperatures_c: tuple[float, float, float]
    flow_kg_s: float
    cooling_w: float
    rejected_w: float


@dataclass(frozen=True, slots=True)
class StateView:
    """One way of the nose in one state.

    air: through the radiator over today's. into_c: air into the radiator. coolant_c: top tank.
    head_bar: gauge; None with the A/C off. boils, cut_out, short: shares of the draws in which the
    coolant boils, the pressure switch acts, the alternator gives less than is taken. duty: of the
    compressor. warm: share in which the cabin is not held. told: share of which there are figures
    of the air; in the rest the coolant boils over. unsettled: share without any answer. flows: kg/s
    by way as in `StackAnswer`, below 0 where air runs back. outside_pa: of the air, absolute.
    """

    state: str
    air: Span
    air_kg_s: Span
    into_c: Span
    recirculated: Span
    coolant_c: Span
    boils_c: Span
    boils: float
    head_bar: Span | None
    cut_out_bar: Span
    cut_out: float
    duty: Span | None
    warm: float
    amps: Span
    amps_there: Span
    short: float
    told: float
    unsettled: float
    zones: tuple[ZoneView, ...]
    fans: tuple[FanView, ...]
    cycle: CycleView | None
    flows: Mapping[str, Span] = field(default_factory=dict)
    outside_pa: float = STANDARD_PRESSURE


@dataclass(frozen=True, slots=True)
class Room:
    """What a change costs in room, mm. needs: at least; there: as adjusted, None for not known.

    text: in words.
    """

    text: str
    needs_mm: float = 0.0
    there_mm: float | None = None

    @property
    def enough(self) -> bool | None:
        """Whether there is room; None where that is not known."""
        if self.needs_mm <= 0:
            return True
        return None if self.there_mm is None else self.there_mm >= self.needs_mm


@dataclass(frozen=True, slots=True)
class OptionView:
    """One way to have the nose.

    margin: the least of what is left to boiling and to the cut-out, in any state, as a share of
    the way there from the outside; below 0 it is passed. sound: share of the draws in which
    neither is. better: in which it beats the nose as the file has it, draw by draw. amps: more
    than that nose takes.
    """

    name: str
    text: str
    states: tuple[StateView, ...]
    margin: Span
    sound: float
    better: float
    amps: Span
    room: Room
    by_file: bool = False

    def state(self, name: str) -> StateView:
        """One of its states. Raises KeyError."""
        for one in self.states:
            if one.state == name:
                return one
        raise KeyError(name)


@dataclass(frozen=True, slots=True)
class ReadingView:
    """A reading that narrows the bands.

    taken, value: as the file has it and in `unit`, "" and nan for not yet. expected: what is to be
    read, before it is.
    narrows: width of the bands with it over without, of coolant and head pressure; expected
    where it is not taken. draws: how many still speak, of all. how: to take it, safely.
    """

    key: str
    taken: str
    expected: Span
    value: float
    unit: str
    narrows_coolant: float
    narrows_head: float
    draws: float
    agrees: bool
    how: str


@dataclass(frozen=True, slots=True)
class HeldDay:
    """The hottest day on which the car, as it is, idled for long without boiling.

    text: as the file has it. outside_c: in the shade. share: of the cars that could be this one,
    how many would have held. agrees: whether they are enough to go on with; else it was left out.
    line: in the file.
    """

    text: str
    outside_c: float
    share: float
    agrees: bool
    line: int


@dataclass(frozen=True, slots=True)
class Cooling:
    """All of it.

    radiator, condenser: names of these parts, "" for none.
    today: without condenser. with_ac: as the file has it; None where it has no condenser.
    options: the best first. drivers: what most of the band comes from, with its share of the
    spread of the margin. assumed: bands that stood in for what the file does not say. remarks:
    what lies outside a correlation's range, by its name, in any way and state. held: the day that
    the builder knows of, None for none.
    """

    draws: int
    words: str
    radiator: str
    condenser: str
    today: OptionView
    with_ac: OptionView | None
    options: tuple[OptionView, ...]
    readings: tuple[ReadingView, ...]
    drivers: tuple[tuple[str, float], ...]
    assumed: Mapping[str, Band]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    line: int
    held: HeldDay | None = None

    @property
    def base(self) -> OptionView:
        """What the options are compared with."""
        return self.with_ac or self.today

    @property
    def next_reading(self) -> ReadingView | None:
        """The reading that is expected to narrow the bands most; None where all are taken."""
        waiting = [one for one in self.readings if not one.taken]
        return min(waiting, key=lambda one: one.narrows_coolant + one.narrows_head, default=None)
