"""A car with one way to have its nose: what is to be solved for it, and what the answer means."""

from __future__ import annotations

from dataclasses import dataclass

from noseroom.checks.cooling_batch import Case, Solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, Front, front_of
from noseroom.checks.cooling_fans import CarFan
from noseroom.checks.cooling_loads import loads_of
from noseroom.checks.cooling_outcomes import Outcome
from noseroom.checks.cooling_stack import stack_of
from noseroom.checks.cooling_states import Asked, engine_rpm, state_of

__all__ = ["CarWay", "Made"]


@dataclass(frozen=True, eq=False)
class Made:
    """A case with its fans."""

    case: Case
    fans: tuple[CarFan, ...]


@dataclass(frozen=True, eq=False)
class CarWay:
    """A car's draws, with a change of its nose. front: after it; running: whether the A/C is on."""

    car: Car
    front: Front
    change: Change
    running: bool

    @classmethod
    def today(cls, car: Car) -> CarWay:
        """The car as it is, without a condenser."""
        change = Change(today=True)
        return cls(car, front_of(car.faces, change), change, running=False)

    def made(self, asked: Asked, key: tuple[str, str]) -> Made:
        """What is to be solved for one of its states."""
        rpm = engine_rpm(self.car, asked, self.change)
        stack, fans = stack_of(self.car, self.front, self.change, rpm, stands=asked.stands)
        state = state_of(self.car, asked, self.change, fans, self.running)
        return Made(Case(key, stack, state, self.car.n), fans)

    def outcome(self, asked: Asked, answer: Solved) -> Outcome:
        """What its answer means."""
        return Outcome(asked, answer, loads_of(self.car, asked, self.front, self.running))
