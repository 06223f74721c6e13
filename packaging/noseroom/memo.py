"""Answers that are kept as long as what they were computed from stays the same."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Any, TypeVar

from noseroom.fingerprints import fingerprint

if TYPE_CHECKING:
    from noseroom.shelf import Shelf

Answer = TypeVar("Answer")
Classes = tuple[type, ...]

_KEPT_TURNS = 12
NUMBERS: Classes = ()
"""For answers that are numbers, texts, arrays, or sequences of these."""


class Memo:
    """What one process has computed, by all that went into it, and what earlier ones have.

    A key has to hold everything that its answer depends on: nothing is ever looked at again. shelf:
    where answers are kept from run to run. made: how many answers have been computed here.
    """

    def __init__(self, shelf: Shelf | None = None) -> None:
        self._kept: dict[Hashable, tuple[int, Any]] = {}
        self._turn = 0
        self._shelf = shelf
        self.made = 0

    def get(
        self, key: Hashable, make: Callable[[], Answer], lasting: Classes | None = None
    ) -> Answer:
        """The answer for a key, computed the first time.

        lasting: for one that is worth keeping on disk, the classes of the records in it.
        """
        known = self._kept.get(key)
        if known is not None:
            answer: Answer = known[1]
            if known[0] != self._turn:
                self._kept[key] = self._turn, answer
            return answer
        answer = self._made(make) if lasting is None else self._lasting(key, make, lasting)
        self._kept[key] = self._turn, answer
        return answer

    def turn(self) -> None:
        """Begin another round, and forget what the last dozen rounds did not ask for.

        What was asked for lately is kept: a builder tries a reading, and takes it back.
        """
        self._turn += 1
        oldest = self._turn - _KEPT_TURNS
        self._kept = {key: kept for key, kept in self._kept.items() if kept[0] >= oldest}

    def save(self) -> list[str]:
        """Write what is lasting to disk. Returns what went wrong there, for a person."""
        if self._shelf is None:
            return []
        self._shelf.save()
        remarks, self._shelf.remarks = self._shelf.remarks, []
        return remarks

    def __len__(self) -> int:
        return len(self._kept)

    def _made(self, make: Callable[[], Answer]) -> Answer:
        answer = make()
        self.made += 1
        return answer

    def _lasting(self, key: Hashable, make: Callable[[], Answer], classes: Classes) -> Answer:
        if self._shelf is None:
            return self._made(make)
        from noseroom.packing import pack, unpack

        name = fingerprint(key)
        raw = self._shelf.get(name)
        if raw is not None:
            try:
                found: Answer = unpack(raw, *classes)
            except ValueError:
                pass  # written by a program that meant something else by it
            else:
                return found
        answer = self._made(make)
        self._shelf.put(name, pack(answer))
        return answer
