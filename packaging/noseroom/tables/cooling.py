"""States to look at, and what nobody measures of a car's air and heat, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.heat import Band
from noseroom.tables.typed_rows import typed_rows

__all__ = ["UsualState", "priors", "usual_states"]


@dataclass(frozen=True, slots=True)
class UsualState:
    """A state that is looked at unless the file says otherwise. engine: "idle" or "cruise"."""

    key: str
    outside_c: float
    humidity: float
    altitude_m: float
    speed_km_h: float
    engine: str
    source: str
    meaning: str


@cache
def priors() -> dict[str, Band]:
    """Bands of figures that the file may give; low and high are 5 and 95 % points."""
    return {one.key: one for one in typed_rows("cooling_priors.csv", Band)}


@cache
def usual_states() -> dict[str, UsualState]:
    """All usual states by key."""
    return {one.key: one for one in typed_rows("cooling_states.csv", UsualState)}
