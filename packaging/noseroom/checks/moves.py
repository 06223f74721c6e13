"""What may be moved, and what is then in the way: a remedy is tried before it is offered.

A belt, a hose on its necks, a pulley on its shaft or a fan on its hub does not move by itself; what
carries it does, with everything on it. A move is tried on the nose as adjusted: where it breaks a
rule that was kept, or makes a foul worse, it is offered with that said, or not at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.drive import Drive
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.layout import PlacedPart
from noseroom.parts.hose import ON_PORT
from noseroom.tables.limits import limits

Floats = NDArray[np.float64]

FURTHEST_MM = 150.0
"""A move by more than this is no remedy but another nose."""

_MOVABLE = (
    "hose", "drier", "bracket", "condenser", "electric fan", "shroud", "compressor", "alternator",
    "idler pulley", "hood latch", "grille", "bumper bar", "box", "cylinder", "scan", "belt", "fan",
    "pulley",
    "crank pulley", "radiator", "steering link", "anti-roll bar", "pitman arm", "hood",
    "water pump", "engine", "core support",
)  # fmt: skip
"""From what is easiest to move to what stays."""

_STAY = ("belt", "hose", "core support", "made bracket")
_RIDE = ("fan", "pulley", "crank pulley", "water pump")
_SHAPES = ("box", "cylinder", "scan")
_AXES = tuple(np.array(way) for way in np.vstack([np.eye(3), -np.eye(3)]))
_WORSE_MM = 0.1
_IN_LINE_MM = 1.0
_LEANING = 0.2
_LEAST_STEP_MM = 0.05
_MOST_STEPS = 60


@dataclass(frozen=True, eq=False)
class Move:
    """A part moved along a vehicle axis: way (3,) unit, by mm. why: what speaks against it."""

    part: PlacedPart
    way: Floats
    by_mm: float
    why: str = ""

    def said(self, unit: str) -> str:
        """As a remedy."""
        figure = f"{words.at_least(self.by_mm, unit)} {words.way(self.way)}"
        but = f", but {self.why}" if self.why else ""
        return f"move the {self.part.name} {figure}{but}"


class Moves:
    """Tries moves of parts in one layout."""

    def __init__(self, pairs: Pairs, rules: Rules) -> None:
        self.pairs, self.rules = pairs, rules
        self._tried: dict[tuple[str, tuple[float, ...], bool, frozenset[str]], str] = {}

    def mover(self, part: PlacedPart, component: str = "") -> PlacedPart | None:
        """What has to be moved so that a part moves: itself, or what carries it; None: nothing.

        component: of the part; a hose's stretch on a port moves with what the port sits on.
        """
        parts = self.pairs.layout.parts
        if part.kind == "hose" and component in ON_PORT:
            return self.mover(parts[part.ties[ON_PORT.index(component)]])
        here: PlacedPart | None = part
        while here is not None:
            if here.kind in _STAY:
                return None
            above = parts.get(here.carrier)
            bolted = here.kind in _SHAPES and above is not None and above.kind == "engine"
            if here.kind not in _RIDE and not bolted:
                return here
            here = above
        return None

    def with_it(self, part: PlacedPart) -> set[str]:
        """The part and all that it carries, by name; a belt or hose stays where it is drawn."""
        found = {part.name}
        more = True
        while more:
            more = False
            for one in self.pairs.layout.parts.values():
                if one.kind not in _STAY and one.carrier in found and one.name not in found:
                    found.add(one.name)
                    more = True
        return found

    def goes_along(self, other: PlacedPart, mover: PlacedPart) -> bool:
        """Whether a part moves too when another is moved, being carried by it or tied to it."""
        moved = self.with_it(mover)
        return other.name in moved or (bool(other.ties) and set(other.ties) <= moved)

    def hampered(
        self,
        part: PlacedPart,
        shift: Floats,
        *,
        belts: bool = True,
        along: frozenset[str] = frozenset(),
    ) -> str:
        """What speaks against moving a part by shift (3,) mm; "" for nothing.

        belts: whether a belt over it has to stay in line and on all its pulleys too. along: what is
        moved as well, and is not asked.
        """
        key = part.name, tuple(float(x) for x in np.round(shift, 1)), belts, along
        if key not in self._tried:
            why = self._belt_off(part, shift) if belts else ""
            self._tried[key] = why or self._in_the_way(part, shift, along)
        return self._tried[key]

    def _in_the_way(self, part: PlacedPart, shift: Floats, along: frozenset[str]) -> str:
        parts = self.pairs.layout.parts
        moved = self.with_it(part)
        for name in sorted(moved):
            for other in parts.values():
                # What is tied to it follows, another way than it is drawn.
                if other.name in moved | along or not set(other.ties).isdisjoint(moved):
                    continue
                if other.unplaced or not other.components or not parts[name].components:
                    continue
                if self._worse(parts[name], other, shift):
                    return f"the {other.name} is then in the way"
        return ""

    def _worse(self, part: PlacedPart, other: PlacedPart, shift: Floats) -> bool:
        far = float(np.sqrt(shift @ shift))
        for mine, theirs in component_pairs(self.pairs.layout, part, other):
            asked = self.rules.between(part, mine, other, theirs).value_mm
            if self.pairs.box_gap_mm(part, mine, other, theirs) - far >= asked:
                continue
            after = self.pairs.nominal_gap(part, mine, other, theirs, shift)
            if after >= asked:
                continue
            before = self.pairs.nominal_gap(part, mine, other, theirs, np.zeros(3))
            if after < min(before, asked) - _WORSE_MM:
                return True
        return False

    def _belt_off(self, part: PlacedPart, shift: Floats) -> str:
        layout, moved = self.pairs.layout, self.with_it(part)
        for belt in layout.parts.values():
            if belt.kind != "belt" or not set(belt.ties) & moved or set(belt.ties) <= moved:
                continue
            drive = Drive(layout, self.pairs.bends, belt)
            along = abs(float(shift @ drive.circles[0].axis))
            # A move up or sideways is made in the belt's own plane, which may lean with the engine.
            if along > max(_IN_LINE_MM, _LEANING * float(np.sqrt(shift @ shift))):
                return f"the {belt.name} then runs out of line"
            after = min(drive.wraps_deg(dict.fromkeys(moved, shift)))
            if after < min(limits()["belt wrap"].limit_deg, min(drive.wraps_deg())):
                return f"the {belt.name} then leaves a pulley"
        return ""

    def way_out(
        self,
        a: PlacedPart,
        b: PlacedPart,
        direction: Floats,
        loss_mm: float,
        components: tuple[str, str] = ("", ""),
    ) -> Move | None:
        """A move that frees two parts of each other; None where there is none worth saying.

        direction: (3,), which way b comes away from a the soonest. loss_mm: what their gap loses to
        the readings. components: of a and b, where they meet. What moves most easily is tried
        first, the nearest way before the next.
        """
        hampered: Move | None = None
        for move in self._ways_out((a, components[0]), (b, components[1]), direction, loss_mm):
            why = self.hampered(move.part, move.by_mm * move.way)
            if not why:
                return move
            hampered = hampered or Move(move.part, move.way, move.by_mm, why)
        return hampered

    def _ways_out(
        self,
        a: tuple[PlacedPart, str],
        b: tuple[PlacedPart, str],
        direction: Floats,
        loss_mm: float,
    ) -> Iterator[Move]:
        movers: dict[str, tuple[PlacedPart, PlacedPart, PlacedPart, float]] = {}
        for (part, component), (other, _), sign in ((b, a, 1.0), (a, b, -1.0)):
            mover = self.mover(part, component)
            if mover is not None and not self.goes_along(other, mover):
                movers.setdefault(mover.name, (mover, part, other, sign))
        ranked = sorted(movers.values(), key=lambda it: _MOVABLE.index(it[0].kind))
        for mover, part, other, sign in ranked:
            main = _main_axis(sign * direction)
            yield from self._moves(mover, part, other, [main], loss_mm)
            if mover.kind != "engine":
                rest = [way for way in _AXES if float(way @ main) == 0.0]
                others = list(self._moves(mover, part, other, rest, loss_mm))
                yield from sorted(others, key=lambda one: one.by_mm)[:1]

    def _moves(
        self,
        mover: PlacedPart,
        part: PlacedPart,
        other: PlacedPart,
        ways: list[Floats],
        loss_mm: float,
    ) -> Iterator[Move]:
        for way in ways:
            by = self._free_after(part, other, way, loss_mm)
            if by <= FURTHEST_MM:
                yield Move(mover, way, by)

    def _free_after(
        self, part: PlacedPart, other: PlacedPart, way: Floats, loss_mm: float
    ) -> float:
        """How far a part has to go along a way until its rules to the other are kept, mm.

        A gap grows by no more than the part moves, so that steps by what is missing skip nothing.
        """
        cases = [
            (mine, theirs, self.rules.between(part, mine, other, theirs).value_mm + loss_mm)
            for mine, theirs in component_pairs(self.pairs.layout, part, other)
        ]
        by = 0.0
        for _ in range(_MOST_STEPS):
            missing = max(
                (
                    asked - self.pairs.nominal_gap(part, mine, other, theirs, by * way)
                    for mine, theirs, asked in cases
                    if self.pairs.box_gap_mm(part, mine, other, theirs) - by < asked
                ),
                default=0.0,
            )
            if missing <= 0 or by > FURTHEST_MM:
                return by
            by += max(missing, _LEAST_STEP_MM)
        return float("inf")


def _main_axis(direction: Floats) -> Floats:
    """The vehicle axis that a direction is nearest to, (3,) unit."""
    return max(_AXES, key=lambda way: float(way @ direction))
