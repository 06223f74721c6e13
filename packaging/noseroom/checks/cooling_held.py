"""What the builder knows of the car as it is: it idled on a hot day and did not boil.

Of the cars that could be this one, those that would have boiled on that day are none. They are
left out before anything else is solved, so that as many are left as are asked for.
"""

from __future__ import annotations

import numpy as np

from noseroom.checks.air_faces import Faces
from noseroom.checks.belt_speed import Speeds
from noseroom.checks.cooling_batch import Case, solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, front_of
from noseroom.checks.cooling_draws import Draws
from noseroom.checks.cooling_loads import loads_of
from noseroom.checks.cooling_outcomes import Outcome
from noseroom.checks.cooling_records import HeldDay
from noseroom.checks.cooling_stack import stack_of
from noseroom.checks.cooling_states import engine_rpm, held_state, state_of
from noseroom.layout import Layout

__all__ = ["HOLDS_AT", "car_that_held"]

HOLDS_AT = "engine.holds at"
_TIMES = (4, 16)
"""So many times as many draws as are asked for are looked at, the more where few hold."""
_FEWEST = 48
"""Fewer draws that hold say that the figures do not go together; a part of those asked for, where
they are few themselves."""


def car_that_held(
    layout: Layout, faces: Faces, draws: int, seed: int, speeds: Speeds | None = None
) -> tuple[Car, HeldDay | None]:
    """A car with its draws, and what the day it held on did to them. draws: asked for."""
    plain = Car(layout, faces, Draws(draws, seed), speeds)
    day = plain.entry.figures.get(HOLDS_AT)
    if day is None or draws == 1:
        return plain, None
    share = 0.0
    for times in _TIMES:
        many = Draws(times * draws, seed)
        holds = np.flatnonzero(_holds(Car(layout, faces, many, plain.speeds), day.value))
        share = len(holds) / many.n
        if len(holds) >= draws:
            break
    enough = len(holds) >= min(_FEWEST, draws)
    held = HeldDay(day.text, day.value, share, enough, day.line)
    if not enough:
        return plain, held
    return Car(layout, faces, many.only(holds[:draws]), plain.speeds), held


def _holds(car: Car, outside_c: float) -> np.ndarray:
    """(n,) whether the car without A/C stays below boiling as it idles on a day."""
    asked = held_state(outside_c)
    today = Change(today=True)
    front = front_of(car.faces, today)
    rpm = engine_rpm(car, asked, today)
    stack, fans = stack_of(car, front, today, rpm, stands=asked.stands)
    state = state_of(car, asked, today, fans, running=False)
    ((_, answer),) = solved([Case(("", ""), stack, state, car.n)])
    outcome = Outcome(asked, answer, loads_of(car, asked, front, running=False))
    return np.asarray(outcome.coolant_k < outcome.loads.boils_k)
