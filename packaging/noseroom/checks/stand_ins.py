"""The same nose with other parts in it, or more; what stands as it stood is not worked out anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import IntEnum

import numpy as np

from noseroom.checks.pairs import Pairs
from noseroom.checks.sway import Outline
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import PlacedPart

PIECES_MM = 1.0
"""By more than this no piece stands out of the metal that it contains (0.21 % of a radius)."""


class Meets(IntEnum):
    """Whether two components meet, from the best news to the worst. OPEN: not looked at closely."""

    FREE = 0
    OPEN = 1
    MAY = 2
    NOT_KNOWN = 3
    SURELY = 4


class StandIns(Pairs):
    """Sure gaps in a nose in which some parts stand for others, or beside them.

    parts: by name; a name that the nose has already is replaced.
    """

    def __init__(self, at_rest: Pairs, parts: Mapping[str, PlacedPart]) -> None:
        layout = at_rest.layout
        super().__init__(replace(layout, parts={**layout.parts, **parts}), bends=at_rest.bends)
        self._at_rest, self._new = at_rest, frozenset(parts)
        if at_rest._keys is not None:
            # What the stand-ins are goes into the keys, so that they may share one memo.
            self._keys = at_rest._keys.of(self.layout)

    def _outline(self, part: PlacedPart) -> Outline:
        return super()._outline(part) if part.name in self._new else self._at_rest._outline(part)

    def meets(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, asked_mm: float) -> Meets:
        """Whether two components surely keep `asked_mm` apart, or surely run into each other."""
        quick = self.meets_at_a_glance(a, mine, b, theirs, asked_mm)
        if quick in (Meets.FREE, Meets.SURELY, Meets.NOT_KNOWN):
            return quick
        gap = self.sure_gap(a, mine, b, theirs, enough_mm=asked_mm)
        if gap.answers(asked_mm) and gap.lower_mm >= asked_mm:
            return Meets.FREE
        if not gap.answers(asked_mm) or self._unseen(a, mine, b, theirs):
            return Meets.NOT_KNOWN
        return Meets.SURELY if gap.nominal_mm + gap.spread_mm < -PIECES_MM else Meets.MAY

    def meets_at_a_glance(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, asked_mm: float
    ) -> Meets | None:
        """What the gap as adjusted says, and how far parts may stray at most; None: nothing yet.

        MAY: as adjusted they are too near, and whether surely so is still to be told.
        """
        loose = self.sway_mm(a, b)
        if self.box_gap_mm(a, mine, b, theirs) - loose >= asked_mm:
            return Meets.FREE
        if not np.isfinite(loose):
            return None
        # No point strays further than that, so neither does what the two have in common.
        nominal = self.nominal_gap(a, mine, b, theirs, np.zeros(3))
        if nominal - loose - GAP_ERROR_MM >= asked_mm:
            return Meets.FREE
        if nominal >= asked_mm:
            return None
        if self._unseen(a, mine, b, theirs):
            return Meets.NOT_KNOWN
        return Meets.SURELY if nominal + loose < -PIECES_MM else Meets.MAY

    def _unseen(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> bool:
        return mine in a.part.unseen() or theirs in b.part.unseen()
