"""What a stack's state comes to, for every draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.physics.loops import LoopState
from noseroom.physics.ranges import Floats, OutsideRange

__all__ = ["FanPoint", "HeadAnswer", "StackAnswer"]

Truths = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FanPoint:
    """Where a fan works. flow: m³/s; rise: Pa, below 0 where the car's motion drives it.

    stalled, beyond: (n,), whether it lies before the curve's first point, or past its last one.
    """

    flow: Floats
    rise: Floats
    stalled: Truths
    beyond: Truths


@dataclass(frozen=True, eq=False)
class HeadAnswer:
    """The refrigerant's side, while the compressor runs; nan where it does not settle.

    condensing_k: K; pressure: Pa, absolute. loop: its states, flow and heats. duty: share of the
    time that the compressor runs. evaporating_k: in the coil. warm: (n,), the load is more than the
    compressor takes even with the warmest coil, so that the cabin is not held. faces_m2: what gas,
    condensing and liquid take of the face. air_k: of the air that comes to the condenser.
    runs_away: (n,), the face is too small even at the highest pressure that the refrigerant has
    tables for: a cut-out would act.
    """

    condensing_k: Floats
    pressure: Floats
    loop: LoopState
    duty: Floats
    evaporating_k: Floats
    warm: Truths
    faces_m2: tuple[Floats, Floats, Floats]
    air_k: Floats
    runs_away: Truths


@dataclass(frozen=True, eq=False)
class StackAnswer:
    """A state of a stack; all (n,). What did not settle is nan, and `settled` says so.

    overheats: (n,), air or coolant would get hotter than 200 °C: it has boiled over before.
    flows: kg/s by way ("grille", "beside", "outlet", "fan ...", "leak ...", "rim ...",
    "condenser ...", "radiator ..."), below 0 where air runs back. pressures: Pa over the outside by
    node. nodes: K by node. velocities: m/s on the face by "condenser ..." and "radiator ...", of
    the air as it comes. radiator_kg_s, radiator_m3_s: what goes through the radiator from front to
    back. into_radiator_k: its temperature ahead of it; nan where none goes that way. recirculated:
    of the air that comes to the front, the share that comes from the bay. coolant_k: top tank.
    coolant_out_k: bottom tank. condenser_w: mean over time. mass_gap, energy_gap: what is lost,
    over the largest flow and over all heat. rounds: how many it took.
    """

    settled: Truths
    overheats: Truths
    flows: Mapping[str, Floats]
    pressures: Mapping[str, Floats]
    nodes: Mapping[str, Floats]
    velocities: Mapping[str, Floats]
    radiator_kg_s: Floats
    radiator_m3_s: Floats
    into_radiator_k: Floats
    recirculated: Floats
    coolant_k: Floats
    coolant_out_k: Floats
    condenser_w: Floats
    fans: Mapping[str, FanPoint]
    head: HeadAnswer | None
    mass_gap: Floats
    energy_gap: Floats
    remarks: tuple[OutsideRange, ...]
    rounds: int

    @property
    def why_not(self) -> tuple[str, ...]:
        """In words, why draws are not settled; empty if all are."""
        open_ = ~self.settled
        if not open_.any():
            return ()
        of = len(self.settled)
        away = self.head.runs_away if self.head is not None else np.zeros_like(open_)
        words = []
        for which, what in (
            (
                away,
                "the head pressure runs away in {}: the condenser cannot give its heat off at any "
                "pressure that there are tables for",
            ),
            (self.overheats & ~away, "the coolant boils over in {}: too little air for its heat"),
            (open_ & ~away & ~self.overheats, "flows and temperatures did not settle in {}"),
        ):
            if which.any():
                words.append(what.format(f"{int(which.sum())} of {of}"))
        return tuple(words)
