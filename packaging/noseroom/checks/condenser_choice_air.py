"""What air and heat come to in noses that are tried: the same draws, so that they are compared.

A nose to try is a layout: its faces are looked at anew, so that headers, plates and what stands
beside are where they would be. See `cooling` for the model and the cautions that stand beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from noseroom.checks.air_faces import Faces, faces_of
from noseroom.checks.cooling_batch import solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, front_of
from noseroom.checks.cooling_known import car_as_known
from noseroom.checks.cooling_outcomes import Outcome, margin_of, share_of, span_of
from noseroom.checks.cooling_records import Span
from noseroom.checks.cooling_states import asked_states
from noseroom.checks.cooling_way import CarWay
from noseroom.layout import Layout
from noseroom.physics import air

__all__ = ["AS_READ", "TRIAL_DRAWS", "Judge", "Trials", "Tried", "TriedState", "trials_of"]

TRIAL_DRAWS = 48
"""As many as tell sizes apart that stand in the same car: what they share cancels out."""
AS_READ = "as the file has it"
_BAR = 1e5


@dataclass(frozen=True, slots=True)
class TriedState:
    """A tried nose in one state. air: through the radiator over that of the nose as it is.

    head_bar, cut_out_bar: gauge. boils_c: where the coolant does. boils, cut_out, short: shares of
    the draws, as `cooling_records.StateView`.
    """

    state: str
    air: Span
    coolant_c: Span
    boils_c: Span
    head_bar: Span
    cut_out_bar: Span
    boils: float
    cut_out: float
    short: float


@dataclass(frozen=True, slots=True)
class Tried:
    """A tried nose. margin, sound, better, amps: as `cooling_records.OptionView`.

    worse: share of the draws in which the nose as it is does better; in the others both are alike,
    or both are past all bounds. covered: share of the radiator's face that its condenser covers.
    """

    states: tuple[TriedState, ...]
    margin: Span
    sound: float
    better: float
    worse: float
    amps: Span
    covered: float

    @property
    def worst(self) -> TriedState:
        """The state in which most goes wrong."""
        return max(self.states, key=lambda one: np.nan_to_num([one.boils, one.cut_out]).max())

    @property
    def helps(self) -> bool:
        """Whether it does better than the nose as it is more often than worse."""
        return self.better > self.worse

    @property
    def rank(self) -> tuple[float, float, float, float]:
        """Smaller is better. What helps in more of the draws than it harms in comes first."""
        return -float(self.helps), -self.sound, -self.margin.middle, -self.margin.high


Judge = Callable[[Mapping[str, Layout]], Mapping[str, Tried]]
"""From layouts by name to what they come to."""


class Trials:
    """Tries noses that differ from one in what stands before and behind its radiator.

    car: the nose as the file has it, with its draws.
    """

    def __init__(self, car: Car, base: Faces) -> None:
        self.car, self.states = car, asked_states(car)
        self.fitted = base.condenser is not None
        as_read = CarWay(car, front_of(base, Change()), Change(), self.fitted)
        cases = [as_read.made(asked, (asked.name, AS_READ)).case for asked in self.states]
        answers = dict(solved(cases))
        self.base = {
            asked.name: as_read.outcome(asked, answers[asked.name, AS_READ])
            for asked in self.states
        }
        self._base_way = as_read

    def __call__(self, layouts: Mapping[str, Layout]) -> Mapping[str, Tried]:
        """What each comes to. A layout without a radiator is left out."""
        ways = {}
        for name, layout in layouts.items():
            faces = faces_of(layout)
            if faces is not None:
                car = Car(layout, faces, self.car.known.draws, self.car.speeds)
                ways[name] = CarWay(
                    car, front_of(faces, Change()), Change(), faces.condenser is not None
                )
        cases = [
            way.made(asked, (asked.name, name)).case
            for asked in self.states
            for name, way in ways.items()
        ]
        answers = dict(solved(cases))
        return {
            name: self._tried(
                way,
                {
                    asked.name: way.outcome(asked, answers[asked.name, name])
                    for asked in self.states
                },
            )
            for name, way in ways.items()
        }

    def as_read(self) -> Tried:
        """The nose as the file has it, among those that are tried."""
        return self._tried(self._base_way, self.base)

    def _tried(self, way: CarWay, outcomes: Mapping[str, Outcome]) -> Tried:
        margin, before = (margin_of(list(one.values())) for one in (outcomes, self.base))
        known = ~np.isnan(margin)
        both = known & ~np.isnan(before)
        first = self.states[0].name
        more = outcomes[first].loads.amps - self.base[first].loads.amps
        return Tried(
            states=tuple(self._state(name, one) for name, one in outcomes.items()),
            margin=span_of(margin),
            sound=share_of(margin > 0, known),
            better=share_of(margin > before, both),
            worse=share_of(margin < before, both),
            amps=span_of(more),
            covered=way.front.covered_share,
        )

    def _state(self, name: str, one: Outcome) -> TriedState:
        loads = one.loads
        ambient = one.asked.pressure_pa
        with np.errstate(all="ignore"):
            over = one.air_kg_s / self.base[name].air_kg_s
        return TriedState(
            state=name,
            air=span_of(over),
            coolant_c=span_of(one.coolant_k, less=air.ZERO_CELSIUS),
            boils_c=span_of(loads.boils_k, less=air.ZERO_CELSIUS),
            head_bar=span_of((one.head_pa - ambient) / _BAR),
            cut_out_bar=span_of((loads.cut_out_pa - ambient) / _BAR),
            boils=share_of(one.coolant_k >= loads.boils_k, ~np.isnan(one.coolant_k)),
            cut_out=share_of(one.head_pa >= loads.cut_out_pa, one.settled),
            short=share_of(loads.amps > loads.amps_there, np.ones_like(one.settled)),
        )


def trials_of(layout: Layout, *, draws: int = TRIAL_DRAWS, seed: int = 0) -> Trials | None:
    """Trials in a nose; None for one without a radiator whose place is known.

    draws: 1 for the usual figures alone. seed: as of `cooling.cooling_of_nose`, so that the cars
    are the first of those.
    """
    faces = faces_of(layout)
    return None if faces is None else Trials(car_as_known(layout, faces, draws, seed).car, faces)
