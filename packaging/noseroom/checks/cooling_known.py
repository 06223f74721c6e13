"""What the builder knows of the car as it is: a day that it held on, and what was read on it.

Of the cars that could be this one, those that would have boiled on that day are none, and those
that would have shown what was read are the likelier. As many as are asked for are drawn from a
larger number by that, before anything else is solved: so each counts alike from there on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from noseroom.checks.air_faces import Faces
from noseroom.checks.belt_speed import Speeds
from noseroom.checks.cooling_batch import Solved, solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_draws import Draws
from noseroom.checks.cooling_readings import (
    Predicted,
    predicted,
    speaking,
    taken_of,
    weights_of,
)
from noseroom.checks.cooling_records import HeldDay
from noseroom.checks.cooling_states import Asked, held_state, reading_state
from noseroom.checks.cooling_way import CarWay
from noseroom.layout import Layout
from noseroom.physics.ranges import Floats

__all__ = ["HOLDS_AT", "KnownCar", "car_as_known", "picked", "shown_by"]

HOLDS_AT = "engine.holds at"
_TIMES, _MOST = (4, 16), 4096
"""So many times as many draws as are asked for are looked at, the more where few are left; not
above so many where the fewer will do."""
_FEWEST = 48
"""Fewer draws that hold say that the figures do not go together; a part of those asked for, where
they are few themselves."""


@dataclass(frozen=True, eq=False)
class KnownCar:
    """A car with draws that go with all that is known of it.

    before: with draws that go with the day alone; the same where nothing was read. held: what the
    day left, None for none. agrees: by each reading, whether such a car would show it; one that it
    would not was left out. speaking: how many draws, of those in `car`, are not like another.
    """

    car: Car
    before: Car
    held: HeldDay | None
    agrees: Mapping[str, bool]
    speaking: float


def car_as_known(
    layout: Layout, faces: Faces, draws: int, seed: int = 0, speeds: Speeds | None = None
) -> KnownCar:
    """A car with as many draws as are asked for; 1 for the usual figures, whatever is known."""
    plain = Car(layout, faces, Draws(draws, seed), speeds)
    day = plain.entry.figures.get(HOLDS_AT)
    taken = taken_of(plain.entry.readings)
    if draws == 1 or (day is None and not taken):
        return KnownCar(plain, plain, None, dict.fromkeys(taken, True), float(draws))
    for many in _rounds(draws):
        pool = _Pool(Car(layout, faces, Draws(many, seed), plain.speeds))
        holds, held = pool.holds(draws)
        weights, agrees = pool.by_readings(holds, draws)
        if speaking(weights) >= draws:
            break
    kept = picked(weights, draws)
    one = Car(layout, faces, pool.car.known.draws.only(kept), plain.speeds)
    before = one
    if any(agrees.values()):
        before = Car(layout, faces, pool.car.known.draws.only(picked(holds, draws)), plain.speeds)
    return KnownCar(one, before, held, agrees, speaking(np.bincount(kept).astype(float)))


def _rounds(draws: int) -> list[int]:
    few, many = (times * draws for times in _TIMES)
    return [few, min(many, _MOST)] if few < _MOST else [few]


def picked(weights: Floats, count: int) -> np.ndarray:
    """(count,) places, each as often as its weight has it, to within one.

    Systematic resampling: evenly spread points on the weights laid end to end. M. S. Arulampalam
    and others, IEEE Transactions on Signal Processing 50 (2002), 174-188, algorithm 2.
    """
    ends = np.cumsum(weights) / weights.sum()
    at = np.searchsorted(ends, (np.arange(count) + 0.5) / count)
    return np.minimum(at, len(weights) - 1)


class _Pool:
    """More draws than are asked for, with what they would have done."""

    def __init__(self, car: Car) -> None:
        self.car, self.way = car, CarWay.today(car)
        self.day = car.entry.figures.get(HOLDS_AT)
        self.asked: dict[str, Asked] = {}
        if self.day is not None:
            self.asked["held"] = held_state(self.day.value)
        read_at = reading_state(car)
        if read_at is not None:
            self.asked["read"] = read_at
        cases = [self.way.made(one, (key, "")).case for key, one in self.asked.items()]
        self.answers = {key: one for (key, _), one in solved(cases)}

    def holds(self, draws: int) -> tuple[Floats, HeldDay | None]:
        """(n,) 1 for what stays below boiling on the day, 0 for what does not; all where few."""
        every = np.ones(self.car.n)
        if self.day is None:
            return every, None
        outcome = self.way.outcome(self.asked["held"], self.answers["held"])
        holds = np.asarray(outcome.coolant_k < outcome.loads.boils_k)
        enough = int(holds.sum()) >= min(_FEWEST, draws)
        held = HeldDay(self.day.text, self.day.value, float(holds.mean()), enough, self.day.line)
        return holds.astype(float) if enough else every, held

    def by_readings(self, holds: Floats, draws: int) -> tuple[Floats, dict[str, bool]]:
        """(n,) weights by the day and by what was read; by each reading, whether it agrees."""
        if "read" not in self.asked:
            return holds, {}
        each = shown_by(self.way, self.asked["read"], self.answers["read"])
        return weights_of(each, self.car.entry.readings, holds, draws)


def shown_by(way: CarWay, asked: Asked, answer: Solved) -> list[Predicted]:
    """What readings on a car would show."""
    car = way.car
    sweep, tank = car.prior("grille sweep"), car.prior("top tank")
    return predicted(way.outcome(asked, answer), way.front.grille_m2, sweep, tank)
