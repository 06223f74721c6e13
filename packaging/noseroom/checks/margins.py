"""How far a nose may change before a verdict can: what a quick answer rests on.

Of every pair a full check notes how much its gap may gain or lose before another verdict is
possible. As long as a changed reading brings the two no further than that, the verdict stands, and
nothing of the pair has to be computed again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Protocol, TypeVar

from noseroom.findings import Verdict, overall
from noseroom.layout import Layout, PlacedPart

AT_REST, MOVING, AT_SPEED, FAN_GAP = "at rest", "moving", "at speed", "fan gap"
AMPLE_MM = 4.0
"""How far beyond its rule pains are taken to show what a gap surely keeps: what is known to be left
there need not be looked at again when a reading changes by a sixteenth of an inch or two."""
SECOND_ORDER = 0.2
"""Share of the second order of what readings do that is kept back: what counts there are products
of two effects of the first, which a change as small as is taken over alters by far less."""

Way = TypeVar("Way")
Key = tuple[str, str, str]
"""The state, and the names of two parts."""


@dataclass(frozen=True, slots=True)
class Margin:
    """The verdict on two parts, and by how much their gap may change before it can be another."""

    verdict: Verdict
    room_mm: float


class Changed(Protocol):
    """How far two parts have come against each other, in a state, at most; inf: not known."""

    def mm(self, state: str, a: str, b: str, enough_mm: float) -> float:
        """In mm, what their gap or its spread may have changed by; coarser below what is enough."""


class Margins:
    """The margins of all pairs that were looked at, by state.

    before: those of another layout of nearly the same nose, and changed: how far that has come
    since; then what surely stands is taken over, and need not be looked at.
    """

    def __init__(self, before: Margins | None = None, changed: Changed | None = None) -> None:
        self._kept: dict[Key, Margin] = {}
        self._before, self._changed = before, changed
        self.taken_over = 0

    def stands(self, state: str, a: PlacedPart, b: PlacedPart) -> bool:
        """Whether the verdict on two parts is surely what it was; then it is noted."""
        if self._before is None or self._changed is None:
            return False
        key = state, a.name, b.name
        known = self._before._kept.get(key)
        if known is None:
            return False
        left = known.room_mm - self._changed.mm(*key, known.room_mm)
        if not left > 0:
            return False
        self._kept[key] = Margin(known.verdict, left)
        self.taken_over += 1
        return True

    def look(
        self,
        state: str,
        a: PlacedPart,
        b: PlacedPart,
        ways: Sequence[Way],
        note: Callable[[Way, Margins], None],
    ) -> None:
        """Note the verdict on two parts; where it stands, they are not looked at.

        ways: of looking, quick ones first: one whose verdict has no room to be another counts for
        nothing, but for the last. note: looks in one of them, and notes what it finds.
        """
        if self.stands(state, a, b):
            return
        for way in ways:
            tried = Margins()
            note(way, tried)
            found = tried._kept.get((state, a.name, b.name))
            if found is not None and (found.room_mm > 0 or way is ways[-1]):
                self._kept[state, a.name, b.name] = found
                return

    def note(
        self,
        state: str,
        a: PlacedPart,
        b: PlacedPart,
        verdict: Verdict,
        room_mm: float,
        bent_mm: float,
    ) -> None:
        """Note a verdict. bent_mm: how far readings stray the two to second order.

        Of what is noted twice the worse verdict counts, and the lesser room.
        """
        room = room_mm - SECOND_ORDER * bent_mm
        known = self._kept.get((state, a.name, b.name))
        if known is not None:
            verdict = overall([known.verdict, verdict])
            room = min(known.room_mm, room)
        self._kept[state, a.name, b.name] = Margin(verdict, room)

    def of(self, state: str) -> Iterator[tuple[tuple[str, str], Margin]]:
        """The margins of one state, by pairs of names."""
        return ((key[1:], one) for key, one in self._kept.items() if key[0] == state)

    def verdicts(self) -> Mapping[Key, Verdict]:
        """All verdicts."""
        return {key: one.verdict for key, one in self._kept.items()}

    def open_pairs(self, state: str) -> frozenset[frozenset[str]]:
        """Pairs of names that do not surely keep their rules in a state."""
        return frozenset(
            frozenset(pair) for pair, one in self.of(state) if one.verdict is not Verdict.FITS
        )

    def settled(self, layout: Layout) -> frozenset[frozenset[str]]:
        """Pairs of parts, by their names, that surely keep their rules at rest."""
        still_open = self.open_pairs(AT_REST)
        every = (frozenset(pair) for pair in combinations(layout.parts, 2))
        return frozenset(pair for pair in every if pair not in still_open)
