"""What makes room for a fan that no spacer serves, each remedy with the figure that it needs.

Each is tried on the nose with the change made, against all that the fan keeps clear of, in every
state; where something else is then too near, the figure grows, or the remedy is not offered. Never
is a spacer stacked on another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from noseroom.checks import words
from noseroom.checks.fan_window import Window
from noseroom.checks.fan_window_electric import electric_offers
from noseroom.checks.fan_window_scan import MOST_SPACER_MM, Floats
from noseroom.checks.fan_window_tried import Trial, narrower, shifted, smaller
from noseroom.checks.moves import FURTHEST_MM, Moves
from noseroom.layout import PlacedPart
from noseroom.parts.fan import Fan

LEAST_WIDTH_MM = 25.0
"""A fan that is narrower than this, front to rear, moves no air to speak of (common practice)."""

_AFT = np.array([1.0, 0.0, 0.0])
_ACROSS = tuple(np.array(way) for way in ((0, -1, 0), (0, 1, 0), (0, 0, 1), (0, 0, -1)))
_NO_SPACER_MM = 0.1
_TRIES = 4
_STEPS = 40
_LEAST_STEP_MM = 0.05


@dataclass(frozen=True, eq=False)
class Room:
    """Least and most thickness by part: behind wants at least, ahead at most, mm.

    beside: what is missing between the tips and what they pass beside, mm.
    """

    behind: dict[str, float]
    ahead: dict[str, float]
    beside: dict[str, float]

    @property
    def least_mm(self) -> float:
        """Of a spacer that clears all that is behind."""
        return max(self.behind.values(), default=0.0)

    @property
    def most_mm(self) -> float:
        """Of a spacer that stays clear of all that is ahead; below nothing: too near already."""
        return min(self.ahead.values(), default=MOST_SPACER_MM)

    @property
    def missing_mm(self) -> float:
        """Between the two."""
        return max(self.least_mm - self.most_mm, 0.0)

    def too_far_back(self) -> list[str]:
        """What is ahead and leaves too little, the nearest first."""
        tight = [name for name, most in self.ahead.items() if most < self.least_mm]
        return sorted(tight, key=lambda name: (self.ahead[name], name))

    def too_far_ahead(self) -> list[str]:
        """What is behind and leaves too little even with the thickest spacer that goes in."""
        top = max(self.most_mm, 0.0)
        tight = [name for name, least in self.behind.items() if least > top]
        return sorted(tight, key=lambda name: (-self.behind[name], name))


@dataclass(frozen=True)
class _Offer:
    """Something to do: the words, the spacer that goes with it (mm), what speaks against it."""

    said: str
    spacer_mm: float
    why: str = ""

    def text(self, unit: str, on_mm: float) -> str:
        """on_mm: the spacer that is on, in whose place the one of the offer goes."""
        spacer = ""
        if self.spacer_mm > _NO_SPACER_MM:
            spacer = f", with one spacer of {words.at_least(self.spacer_mm + on_mm, unit)}"
            spacer += " in the place of the one that is on" if on_mm else ""
        return f"{self.said}{spacer}{f', but {self.why}' if self.why else ''}"


def remedies(
    moves: Moves, window: Window, room: Room, only_swept: bool, on_mm: float = 0.0
) -> tuple[str, ...]:
    """What makes the room: what nothing speaks against first, the least effort first.

    only_swept: whether nothing is missing but to what the blades sweep. on_mm: the spacer that is
    on already, mm.
    """
    unit, fan = moves.pairs.layout.envelope.unit, window.fan
    offers = _Offers(moves, fan, room, unit)
    found: list[_Offer | None] = []
    if room.missing_mm > 0:
        found += [offers.aft(), offers.aside()]
        found += [offers.narrower()] if only_swept else []
        found += [offers.smaller(), offers.forward(), offers.engine()]
    wider = [] if room.missing_mm and not room.beside else list(_wider(room, unit))
    if wider and not room.missing_mm:
        found, wider = [*wider], []
    most = MOST_SPACER_MM - on_mm
    sound = [one for one in found if one is not None and one.spacer_mm <= most]
    made = sorted(sound, key=lambda one: one.why != "")
    said = [one.text(unit, on_mm) for one in made if not one.why]
    electric = list(electric_offers(moves.pairs, moves.rules, fan))
    said += [text for text, fits in electric if fits]
    said += [one.text(unit, on_mm) for one in made if one.why]
    said += [text for text, fits in electric if not fits]
    return (*said, *(one.text(unit, on_mm) for one in wider))


def _wider(room: Room, unit: str) -> Iterator[_Offer]:
    """More room beside the tips: on top of what else there is to do, where that is anything."""
    also = "then also make" if room.missing_mm else "make"
    for name, need in room.beside.items():
        yield _Offer(
            f"{also} {words.at_least(need, unit)} more room between the tips and the {name}, or "
            f"fit a fan that is {words.at_least(2 * need, unit)} smaller across",
            0.0 if room.missing_mm else room.least_mm,
        )


@dataclass(frozen=True, eq=False)
class _Offers:
    """Offers for one fan. Those that are tried are None where nothing of the kind helps."""

    moves: Moves
    fan: PlacedPart
    room: Room
    unit: str

    @property
    def _parts(self) -> Mapping[str, PlacedPart]:
        return self.moves.pairs.layout.parts

    def _said(self, mm: float) -> str:
        return words.at_least(mm, self.unit)

    # -- parts moved -----------------------------------------------------------------------

    def forward(self) -> _Offer | None:
        """What is ahead moved forward."""
        least = self.room.least_mm
        needs = {name: least - self.room.ahead[name] for name in self.room.too_far_back()}
        return self._moved(needs, -_AFT, least)

    def aft(self) -> _Offer | None:
        """What is behind moved aft."""
        if self.room.most_mm < 0:
            return None
        top = self.room.most_mm
        needs = {name: self.room.behind[name] - top for name in self.room.too_far_ahead()}
        return self._moved(needs, _AFT, top)

    def _moved(self, needs: dict[str, float], way: Floats, spacer_mm: float) -> _Offer | None:
        """Parts moved along one way, each as far as it needs; None where one cannot move."""
        by: dict[str, float] = {}
        for name, need in needs.items():
            mover = self.moves.mover(self._parts[name])
            if mover is None or mover.kind == "engine" or need > FURTHEST_MM:
                return None
            by[mover.name] = max(by.get(mover.name, 0.0), need)
        if not by:
            return None
        tried = self._tried(lambda more: self._moved_by(by, more, way), spacer_mm)
        if tried is None or any(far + tried > FURTHEST_MM for far in by.values()):
            return None
        by = {one: far + tried for one, far in by.items()}
        together = frozenset(by)
        why = (
            self.moves.hampered(self._parts[one], far * way, along=together)
            for one, far in by.items()
        )
        said = [f"the {one} {self._said(far)} {words.way(way)}" for one, far in by.items()]
        but = next((one for one in why if one), "")
        return _Offer(f"move {words.listed(said)}", spacer_mm, but)

    def _moved_by(self, by: Mapping[str, float], more: float, way: Floats) -> dict[str, PlacedPart]:
        """All that moves with some parts, each moved so far and some more."""
        found: dict[str, PlacedPart] = {}
        for name, far in by.items():
            for one in self.moves.with_it(self._parts[name]):
                found[one] = shifted(self._parts[one], (far + more) * way)
        return found

    def aside(self) -> _Offer | None:
        """What is behind moved out of the circle that the blades sweep, the nearest way."""
        if self.room.most_mm < 0:
            return None
        names = self.room.too_far_ahead()
        movers = {None if one is None else one.name for one in map(self._mover, names)}
        if len(movers) != 1 or None in movers:
            return None
        (name,) = (one for one in movers if one is not None)
        mover = self._parts[name]
        if mover.kind == "engine":
            return None
        others = [mm for one, mm in self.room.behind.items() if one not in names]
        spacer = max(others, default=0.0)
        found = []
        for way in _ACROSS:
            by = self._clear_after(mover, way, spacer)
            if by <= FURTHEST_MM:
                found.append((by, way, self.moves.hampered(mover, by * way)))
        if not found:
            return None
        by, way, why = min(found, key=lambda one: (one[2] != "", one[0]))
        return _Offer(f"move the {name} {self._said(by)} {words.way(way)}", spacer, why)

    def _mover(self, name: str) -> PlacedPart | None:
        return self.moves.mover(self._parts[name])

    def _clear_after(self, mover: PlacedPart, way: Floats, spacer_mm: float) -> float:
        """How far a part has to go along a way until the fan is clear; inf where that is too far.

        A gap grows by no more than the part moves: steps by what is missing skip nothing.
        """
        by = 0.0
        for _ in range(_STEPS):
            trial = self._trial(self._moved_by({mover.name: by}, 0.0, way))
            missing = trial.missing_mm(spacer_mm)
            if missing <= 0:
                return by
            by += max(missing, _LEAST_STEP_MM)
            if by > FURTHEST_MM:
                break
        return float("inf")

    def engine(self) -> _Offer | None:
        """The engine moved aft, with the fan and all that stands behind it."""
        engine, room = self.moves.mover(self.fan), self.room
        if engine is None or engine.kind != "engine" or room.missing_mm > FURTHEST_MM:
            return None
        behind = (self._parts[name] for name in room.too_far_ahead())
        if not room.too_far_back() or not all(self.moves.goes_along(one, engine) for one in behind):
            return None
        figure = f"{self._said(room.missing_mm)} {words.way(_AFT)}"
        why = self.moves.hampered(engine, room.missing_mm * _AFT)
        return _Offer(f"move the {engine.name} {figure}", room.least_mm, why)

    # -- another fan -----------------------------------------------------------------------

    def narrower(self) -> _Offer | None:
        """A fan that takes less room fore and aft; its rear edge stays where it is."""
        part, missing = self.fan.part, self.room.missing_mm
        if not isinstance(part, Fan) or part.width_mm - missing < LEAST_WIDTH_MM:
            return None

        def change(more: float) -> dict[str, PlacedPart]:
            return {self.fan.name: narrower(self.fan, part, missing + more)}

        more = self._tried(change, self.room.least_mm)
        if more is None or part.width_mm - missing - more < LEAST_WIDTH_MM:
            return None
        said = f"fit a fan that is {self._said(missing + more)} narrower"
        return _Offer(said, self.room.least_mm)

    def smaller(self) -> _Offer | None:
        """A fan that passes inside what is behind it and too near."""
        part = self.fan.part
        if not isinstance(part, Fan) or self.room.most_mm < 0:
            return None
        names = self.room.too_far_ahead()
        others = [mm for one, mm in self.room.behind.items() if one not in names]
        spacer = max(others, default=0.0)
        less = 0.0
        for _ in range(_STEPS):
            if part.diameter_mm - less < max(_least_diameter_mm(), part.spider_diameter_mm + 1.0):
                return None
            trial = self._trial({self.fan.name: smaller(self.fan, part, less)})
            missing = trial.missing_mm(spacer)
            if missing <= 0:
                across = words.length(part.diameter_mm - less, self.unit)
                inside = words.listed([f"the {one}" for one in names])
                said = f"fit a fan of {across} across at most, which passes inside {inside}"
                return _Offer(said, spacer)
            less += 2 * max(missing, _LEAST_STEP_MM)
        return None

    # -- trying ----------------------------------------------------------------------------

    def _trial(self, changed: Mapping[str, PlacedPart]) -> Trial:
        return Trial(self.moves, self.fan, changed, self.room.beside)

    def _tried(
        self, change: Callable[[float], Mapping[str, PlacedPart]], spacer_mm: float
    ) -> float | None:
        """How much more than its figure a change takes until all is clear; None where none does."""
        more = 0.0
        for _ in range(_TRIES):
            missing = self._trial(change(more)).missing_mm(spacer_mm)
            if missing <= 0:
                return more
            more += max(missing, _LEAST_STEP_MM)
        return None


def _least_diameter_mm() -> float:
    """The smallest fan that a file may have."""
    return next(one.low for one in Fan.sizes().values() if one.key == "diameter")
