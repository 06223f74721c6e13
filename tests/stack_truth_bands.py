"""Bands of the program against the judge's truth, and what a reading does to them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from noseroom.checks.cooling import cooling_of_nose
from noseroom.checks.cooling_records import Cooling, Span
from stack_truth import CRUISE, HOT_IDLE, Day, Truth, truth
from stack_truth_cars import TrueCar, true_car
from stack_truth_noses import Knowing, layout_of

__all__ = ["FIGURES", "Judged", "Narrowed", "judged", "narrowed", "sensible_cars"]

FIGURES = ("air against today", "air into the radiator", "head pressure", "coolant")
READINGS = {
    "grille air": (Knowing(), Knowing(air=True)),
    "coolant": (Knowing(), Knowing(coolant=True)),
    "a day it held": (Knowing(day=False), Knowing()),
}
"""What is known before and after, by reading."""
STATES: dict[str, Day] = {"hot idle": HOT_IDLE, "cruise": CRUISE}
_HOTTEST_K = 381.15
"""108 °C: a car that boils on a hot day without A/C is no car to fit one to."""
_OVER_C, _OVER_BAR, _OVER_INTO_C = 200.0, 40.0, 120.0
_ATMOSPHERE_PA, _BAR, _ZERO = 101325.0, 1e5, 273.15


@dataclass(frozen=True)
class Judged:
    """One figure of one car in one state.

    truth: inf for what boils over or runs away; nan for figures of the air where the coolant boils
    over, which has no steady state: such are not counted.
    """

    seed: int
    fan: str
    state: str
    figure: str
    band: Span
    truth: float

    @property
    def counts(self) -> bool:
        """Whether there is a truth to hold."""
        return self.truth == self.truth

    @property
    def holds(self) -> bool:
        """Whether the truth is in the band; a band that is not known holds nothing."""
        return self.band.low <= self.truth <= self.band.high

    @property
    def below(self) -> bool:
        """Whether the truth lies below the band."""
        return self.truth < self.band.low


@dataclass(frozen=True)
class Narrowed:
    """The width of a figure's band with a reading, and without; `judged` with it."""

    reading: str
    figure: str
    before: float
    after: float
    judged: Judged


def sensible_cars(count: int, size: float, first: int = 0) -> Iterator[tuple[TrueCar, Truth]]:
    """Cars whose coolant stays below 108 °C at a hot idle as they are, with that truth."""
    seed = first
    while count:
        car = true_car(seed)
        seed += 1
        today = truth(car, HOT_IDLE, ac=False, size=size)
        if today.settled and today.coolant_k < _HOTTEST_K:
            yield car, today
            count -= 1


def judged(
    car: TrueCar, today: Truth, draws: int, size: float, knowing: Knowing | None = None
) -> list[Judged]:
    """All figures of a car. today: its hot idle without A/C. draws: of the program."""
    found = bands_of(car, draws, knowing)
    made = []
    for state, day in STATES.items():
        before = today if day is HOT_IDLE else truth(car, day, ac=False, size=size)
        after = truth(car, day, ac=True, size=size)
        made += [
            Judged(car.seed, car.fan.kind, state, figure, band, true)
            for (figure, band), true in zip(
                _spans(found, state).items(), _truths(car, before, after), strict=True
            )
        ]
    return [one for one in made if one.counts]


def bands_of(car: TrueCar, draws: int, knowing: Knowing | None = None) -> Cooling:
    """What the program says of a car by its file."""
    found = cooling_of_nose(layout_of(car, knowing or Knowing()), draws=draws, options=False)
    assert found is not None
    return found


def narrowed(
    car: TrueCar, plain: list[Judged], draws: int, readings: Sequence[str] = tuple(READINGS)
) -> list[Narrowed]:
    """What each reading does to the bands of the hot idle. plain: all figures, with their truth."""
    made = []
    known = dict.fromkeys(one for reading in readings for one in READINGS[reading])
    found = {one: _spans(bands_of(car, draws, one), "hot idle") for one in known}
    for reading in readings:
        without, with_it = READINGS[reading]
        before, spans = found[without], found[with_it]
        for one in plain:
            if one.state == "hot idle":
                band = spans[one.figure]
                widths = (_width(one.figure, before[one.figure]), _width(one.figure, band))
                made.append(Narrowed(reading, one.figure, *widths, replace(one, band=band)))
    return made


def _spans(found: Cooling, state: str) -> dict[str, Span]:
    assert found.with_ac is not None
    fitted = found.with_ac.state(state)
    assert fitted.head_bar is not None
    bands = (fitted.air, fitted.into_c, fitted.head_bar, fitted.coolant_c)
    return dict(zip(FIGURES, bands, strict=True))


def _truths(car: TrueCar, before: Truth, after: Truth) -> tuple[float, float, float, float]:
    """In the order of `FIGURES`."""
    coolant = max(after.coolant_k - _ZERO, car.thermostat)
    told = 1.0 if coolant <= _OVER_C else float("nan")
    return (
        told * after.radiator / before.radiator,
        told * (after.into_k - _ZERO),
        float("inf") if after.away else (after.head_pa - _ATMOSPHERE_PA) / _BAR,
        float("inf") if coolant > _OVER_C else coolant,
    )


def _width(figure: str, band: Span) -> float:
    """Of a band; what is beyond any figure counts as just beyond what is reached."""
    most = {
        "head pressure": _OVER_BAR,
        "coolant": _OVER_C,
        "air into the radiator": _OVER_INTO_C,
    }.get(figure, float("inf"))
    return min(band.high, most) - min(band.low, most)
