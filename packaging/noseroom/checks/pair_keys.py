"""What the gaps of two parts depend on, so that what was computed once serves again.

A gap depends on the two parts, on where they stand, and on how the sources move them; not on what
moves neither. Adjusting a nose again leaves what a reading does not reach as it was, but for
rounding, which `layout` takes off; so its keys stay, whatever line it is written on.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.sway import stations_of
from noseroom.fingerprints import fingerprint
from noseroom.layout import Layout, PlacedPart
from noseroom.memo import NUMBERS, Classes, Memo

Answer = TypeVar("Answer")
Columns = NDArray[np.intp]


class PairKeys:
    """Answers on pairs of parts of one layout in a memo that outlives it."""

    def __init__(self, layout: Layout, memo: Memo, salt: bytes) -> None:
        self._layout, self._memo, self._salt = layout, memo, salt
        self._sources = layout.survey.prints
        self._felt: dict[str, NDArray[np.bool_]] = {}
        self._prints: dict[str, bytes] = {}
        self._pairs: dict[tuple[str, str], tuple[Columns, bytes]] = {}

    def of(self, layout: Layout) -> PairKeys:
        """The same for another layout of the same survey."""
        return PairKeys(layout, self._memo, self._salt)

    def of_pair(self, a: PlacedPart, b: PlacedPart) -> bytes:
        """What stands for two parts and all that moves either."""
        return self._pair(a, b)[1]

    def columns(self, a: PlacedPart, b: PlacedPart) -> Columns:
        """The sources that move either of two parts."""
        return self._pair(a, b)[0]

    def outline(self, part: PlacedPart, make: Callable[[], Answer]) -> Answer:
        """What follows from one part and the sources that move it, by their places."""
        where = np.flatnonzero(self._moved_by(part))
        count = len(self._sources)
        return self._memo.get(("outline", self._print(part), where.tobytes(), count), make)

    def get(
        self,
        a: PlacedPart,
        b: PlacedPart,
        what: tuple[Hashable, ...],
        make: Callable[[], Answer],
        classes: Classes = NUMBERS,
    ) -> Answer:
        """The answer to a question on two parts, computed where it is not known.

        classes: of the records in it.
        """
        return self._memo.get((self._pair(a, b)[1], *what), make, classes)

    def _pair(self, a: PlacedPart, b: PlacedPart) -> tuple[Columns, bytes]:
        key = a.name, b.name
        if key not in self._pairs:
            columns = np.flatnonzero(self._moved_by(a) | self._moved_by(b))
            named = self._sources[columns].tobytes()
            self._pairs[key] = (
                columns,
                fingerprint(self._print(a), self._print(b), named, self._salt),
            )
        return self._pairs[key]

    def _moved_by(self, part: PlacedPart) -> NDArray[np.bool_]:
        if part.name not in self._felt:
            felt = self._layout.survey.felt(stations_of(part))
            for one in part.placements:
                for gain in one.gains:
                    felt |= (gain != 0).any(axis=0)
            self._felt[part.name] = felt
        return self._felt[part.name]

    def _print(self, part: PlacedPart) -> bytes:
        if part.name not in self._prints:
            felt = self._moved_by(part)
            self._prints[part.name] = fingerprint(
                part.part,
                stations_of(part),
                part.slack_mm,
                self._sources[felt].tobytes(),
                [
                    (
                        (one.pose, *one.nulls),
                        [gain[:, felt] for gain in one.gains],
                        list(one.size_gain),
                    )
                    for one in part.placements
                ],
            )
        return self._prints[part.name]
