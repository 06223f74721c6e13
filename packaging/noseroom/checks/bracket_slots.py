"""How a bracket takes up what the tape could not tell: slots at its ends, washers between.

A tab's hole stands to a hole in the rail as well as it was measured, and no better. What two
deviations of the readings and the whole reach of each assumption may make of it is taken up along
three ways: slots in either foot, and packing washers or a hole that is drilled last.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.geometry.separation import Uncertainty
from noseroom.survey.solution import Source

Floats = NDArray[np.float64]

LONGEST_MM = 25.0
"""A slot that travels further is no slot to bolt by: common practice."""
MOST_PACKING_MM = 6.0
"""More than a few washers under a foot bend their bolt: common practice."""
SPRING_MM = 1.0
"""What a bracket of sheet is pulled to without a thought: common practice."""
_STEP_MM = 0.5
_SQUARE = 0.4
_TWO_SIDED = 0.3
_DRILLED_LAST = 2.0

Kind = str
_WORDS = {
    "rail slot": "a slot in the foot on the core support",
    "tab slot": "a slot in the foot on the tab",
    "packing": "a stack of washers",
    "last": "a hole that is drilled last",
    "leg slot": "a slot in a leg",
    "round": "a round hole for a grommet",
}


@dataclass(frozen=True, eq=False)
class Take:
    """One way along which a joint is taken up.

    kind: "rail slot", "tab slot", "packing", "last", "leg slot", "round". along: (3,) unit.
    spread_mm: by how much, either way. travel_mm: of the slot. form: (s,), how it follows the
    sources.
    """

    kind: Kind
    along: Floats
    spread_mm: float
    travel_mm: float
    form: Floats

    @property
    def words(self) -> str:
        """What takes it up: "a slot in the foot on the rail", ...."""
        return _WORDS[self.kind]


@dataclass(frozen=True, eq=False)
class TakeUp:
    """All three ways of one bracket. one_way: whether packing works only as the tab comes away."""

    takes: tuple[Take, ...]
    one_way: bool

    def slot(self, kind: Kind) -> Take | None:
        """The take of a kind that needs metal cut, or None."""
        return next((one for one in self.takes if one.kind == kind and one.travel_mm > 0), None)

    @property
    def packing_mm(self) -> float:
        """The most that is packed at either end."""
        return sum(one.travel_mm for one in self.takes if one.kind == "packing")

    @property
    def marked_last(self) -> bool:
        """Whether the rail's hole is marked through the bracket once that hangs on the tab."""
        return any(one.kind == "last" for one in self.takes)

    @property
    def cost(self) -> float:
        """What to choose by: the less travel the better."""
        return sum(
            one.travel_mm * (3.0 if one.kind == "packing" else 1.0)
            + (_DRILLED_LAST if one.kind == "last" else 0.0)
            for one in self.takes
        ) + (10.0 if self.one_way else 0.0)

    def fault(self) -> tuple[Take, float] | None:
        """The take that asks for more than may be had, and how much that is."""
        for one in self.takes:
            most = {"packing": MOST_PACKING_MM, "round": 0.0}.get(one.kind, LONGEST_MM)
            if one.travel_mm > most:
                return one, most
            if one.kind == "packing" and self.one_way and one.spread_mm > SPRING_MM:
                return one, SPRING_MM
        return None


def take_ups(
    apart: Floats,
    sure: Uncertainty,
    rail_up: Floats,
    tab_up: Floats,
    strip: Floats,
    play_mm: tuple[float, float],
    *,
    drilled: bool,
    round_tab: bool = False,
) -> tuple[TakeUp, ...]:
    """Ways to take up how the tab's hole comes away from the rail's, the least of each first.

    One for each way that a slot on the tab may run: a slot towards something takes room there.

    apart: (3, s) mm by the sources. rail_up, tab_up: (3,), out of rail and tab. strip: (3,), from
    the rail's hole to the tab's. play_mm: in the rail's hole and the tab's. drilled: whether the
    rail's hole is still to be drilled. round_tab: whether its hole on the tab is round, for a
    grommet.
    """
    best: dict[bytes, TakeUp] = {}
    for ways in _choices(rail_up, tab_up, strip, drilled=drilled, round_tab=round_tab):
        basis = np.array([along for _, along in ways]).T
        if abs(np.linalg.det(basis)) < _SQUARE:
            continue
        forms = np.linalg.solve(basis, apart)
        # Packed under the rail's foot it comes out along one normal, under the tab's the other way.
        one_way = (
            any(kind == "packing" for kind, _ in ways) and float(rail_up @ tab_up) < _TWO_SIDED
        )
        made = TakeUp(
            tuple(
                _take(kind, along, form, sure, play_mm)
                for (kind, along), form in zip(ways, forms, strict=True)
            ),
            one_way,
        )
        slot = made.slot("tab slot")
        key = b"" if slot is None else slot.along.tobytes()
        if key not in best or made.cost < best[key].cost:
            best[key] = made
    return tuple(sorted(best.values(), key=lambda one: one.cost))


def take_up_by_legs(
    apart: Floats, sure: Uncertainty, up: Floats, strip: Floats, play_mm: tuple[float, float]
) -> TakeUp:
    """The same of two angles with slotted legs: along the face, square to it, and across.

    up: (3,), out of the face. The others as in `take_up`.
    """
    way, _ = _in_plane(up, strip, up)
    ways = (("rail slot", way), ("leg slot", up), ("leg slot", np.cross(up, way)))
    forms = np.linalg.solve(np.array([along for _, along in ways]).T, apart)
    return TakeUp(
        tuple(
            _take(kind, along, form, sure, play_mm)
            for (kind, along), form in zip(ways, forms, strict=True)
        ),
        one_way=False,
    )


def _take(
    kind: Kind, along: Floats, form: Floats, sure: Uncertainty, play_mm: tuple[float, float]
) -> Take:
    spread = float(sure.spread(form))
    rail, tab = play_mm
    if kind == "packing":
        travel = math.ceil(spread / _STEP_MM) * _STEP_MM
    elif kind == "last":
        travel = 0.0
    else:
        left = spread - rail - tab
        travel = math.ceil(2.0 * left / _STEP_MM) * _STEP_MM if left > 0 else 0.0
    return Take(kind, along, spread, travel, form)


def _choices(
    rail_up: Floats, tab_up: Floats, strip: Floats, *, drilled: bool, round_tab: bool
) -> Iterator[tuple[tuple[Kind, Floats], ...]]:
    """Three ways each: one in the rail's plane, one in the tab's, and one that is left."""
    in_rail, in_tab = _in_plane(rail_up, strip, tab_up), _in_plane(tab_up, strip, rail_up)
    if round_tab:
        # A grommet sits in no slot: the face's hole is drilled last, or the holes just meet.
        for first, other in (in_rail, in_rail[::-1]):
            left = [("last", other)] if drilled else [("round", way) for way in in_tab]
            for kind, along in left:
                for up in (tab_up, rail_up):
                    yield ("rail slot", first), (kind, along), ("packing", up)
        return
    third = [("packing", tab_up)]
    if drilled:
        third += [("last", way) for way in in_rail]
    for first, second, (kind, along) in product(in_rail, in_tab, third):
        yield ("rail slot", first), ("tab slot", second), (kind, along)


def _in_plane(up: Floats, strip: Floats, other: Floats) -> tuple[Floats, Floats]:
    """Two unit ways in a plane: along the strip, or towards the other normal, and square to it."""
    level = np.eye(3)[int(np.argmin(np.abs(up)))]
    for way in (strip, other, level):
        along = way - (way @ up) * up
        if float(np.sqrt(along @ along)) >= _SQUARE * float(np.sqrt(way @ way)) > 0.0:
            break
    along = along / np.sqrt(along @ along)
    return along, np.cross(up, along)


def guesses(take: Take, sources: tuple[Source, ...], unit: str) -> tuple[str, ...]:
    """What to measure so that a joint is known better, the largest part of its spread first."""
    return words.retake(words.supports(take.form, sources, unit))
