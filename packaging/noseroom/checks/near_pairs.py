"""Sure gaps in a nose that is nearly one that was checked, from what is known of that one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import BendsOfAnother
from noseroom.checks.drift import Drift
from noseroom.checks.margins import AMPLE_MM, AT_REST, SECOND_ORDER
from noseroom.checks.pairs import Pairs, SureGap
from noseroom.checks.piece_search import Close
from noseroom.checks.sway import Outline, felt_by
from noseroom.layout import PlacedPart

Floats = NDArray[np.float64]

_OF_MESHES_MM = 0.5
_HARDLY_MM = 0.05


class NearPairs(Pairs):
    """Gaps that are right but for what the second order may have changed by.

    That is taken over from the nose that was checked; `Margins` keeps back a share of it, and asks
    the exact pairs where that counts. Pieces that kept more there than they can have lost since are
    not looked at again. Nothing of it is kept for other layouts.

    exact: the pairs of the nose of today. before: of the one that was checked. drift: how far parts
    have come from there to here.
    """

    def __init__(self, exact: Pairs, before: Pairs, drift: Drift) -> None:
        super().__init__(exact.layout, bends=BendsOfAnother(exact.layout.survey, before.bends))
        self._exact, self._before, self._drift = exact, before, drift
        self._told: dict[tuple[str, str, str, str], tuple[float, SureGap]] = {}
        self._asked_mm: dict[tuple[str, str, str, str], float] = {}
        self._bends_mm: dict[tuple[str, str], float] = {}

    def bent_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """As it was in the nose that was checked."""
        key = a.name, b.name
        if key not in self._bends_mm:
            self._bends_mm[key] = super().bent_mm(a, b)
        return self._bends_mm[key]

    def ample_mm(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, asked_mm: float
    ) -> float:
        """As much as leaves no doubt of a verdict, where a full check takes all pains for that.

        Of pieces that as adjusted are no further apart than it asks for, it tries one direction.
        """
        self._asked_mm[a.name, mine, b.name, theirs] = asked_mm
        close = self._close_before(a.name, mine, b.name, theirs)
        if close is None or close.nominal_mm - self._lost_mm(a, b) < asked_mm + AMPLE_MM:
            return np.inf
        return _OF_MESHES_MM + self.doubt_mm(a, b)

    def _lost_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How much less any gap of two parts may be than it was."""
        return self._drift.mm(AT_REST, a.name, b.name, 0.0)

    def doubt_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """The share of the second order that margins keep back, and a hair."""
        return _HARDLY_MM + SECOND_ORDER * self.bent_mm(a, b)

    def _short_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """Less than the rule by as much as leaves no doubt."""
        asked = self._asked_mm.get((a.name, mine, b.name, theirs), -np.inf)
        return asked - self.doubt_mm(a, b)

    def _sure_gap(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        enough_mm: float,
        look: float,
        shift: Floats | None,
    ) -> SureGap:
        if shift is not None and shift.any():
            return super()._sure_gap(a, mine, b, theirs, enough_mm, look, shift)
        # How the two fit, and what is left of a fan's gap, is one question.
        key = a.name, mine, b.name, theirs
        known, gap = self._told.get(key, (None, None))
        if gap is None or known != look:
            gap = super()._sure_gap(a, mine, b, theirs, enough_mm, look, None)
            self._told[key] = look, gap
        return gap

    def _outline(self, part: PlacedPart) -> Outline:
        """As it was, where the part has the sizes that it had, and carried along with it."""
        if part.name not in self._outlines:
            self._outlines[part.name] = (
                self._carried(part) if self._drift.same(part.name) else self._exact._outline(part)
            )
        return self._outlines[part.name]

    def _carried(self, part: PlacedPart) -> Outline:
        before = self._before.layout.parts[part.name]
        was, then, now = self._before._outline(before), before.placements[0], part.placements[0]
        arms = (was.corners - then.pose.shift) @ then.pose.turn
        corners = arms @ now.pose.turn.T + now.pose.shift
        return Outline(was.swell, corners, was.felt | felt_by(part, ()), was.warp)

    def _piece_boxes(self, part: PlacedPart, component: str) -> Floats:
        return self._exact._piece_boxes(part, component)

    def box_gap_mm(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> float:
        """As of any pairs."""
        return self._exact.box_gap_mm(a, mine, b, theirs)

    def nominal_gap(
        self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str, shift: Floats
    ) -> float:
        """As of any pairs; where they stand, as much of it as their sure gap has told, or less."""
        if shift.any():
            return super().nominal_gap(a, mine, b, theirs, shift)
        told = self._told.get((a.name, mine, b.name, theirs))
        return -np.inf if told is None else min(told[1].nominal_mm, told[0])

    def _close_before(self, a: str, mine: str, b: str, theirs: str) -> Close | None:
        return self._before.close(a, mine, b, theirs)

    def _known_mm(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        shift: Floats | None,
    ) -> Floats | None:
        """What pieces kept, less what they may have lost: (p, q) mm."""
        if shift is not None and shift.any():
            return None
        close = self._close_before(a.name, mine, b.name, theirs)
        if close is None:
            return None
        lost = self._lost_mm(a, b)
        return close.less(lost) if np.isfinite(lost) else None
