"""A fan whose circle is told to a hundredth of a millimetre, for ends that the tips decide.

The pieces of a sweep are wedges that stand out of its circle by a tenth of a per cent. Where the
fan comes straight up to something that does not count; where its tips pass something on a slant, it
would move the end of a window by more than it is worth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import ClassVar

from noseroom.checks.fan_window_scan import View
from noseroom.checks.pairs import Pairs
from noseroom.checks.stand_ins import StandIns
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.layout import PlacedPart
from noseroom.parts.at_speed import FlexingFan
from noseroom.parts.fan import Fan
from noseroom.survey.features import vector

_SIDES = 360
_AFT = (1.0, 0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class _FineFan(Fan):
    """The same fan; its sweep in many more wedges, and no blades, which are not checked."""

    def pieces(self) -> tuple[Piece, ...]:
        """As of a fan."""
        hub, tip, front = self.spider_diameter_mm / 2, self.diameter_mm / 2, self._front()
        kept = (one for one in super().pieces() if one.component not in ("sweep", "blades"))
        start = vector(front, 0.0, 0.0)
        made = pieces.ring("sweep", start, _AFT, self.width_mm, hub, tip, sides=_SIDES)
        return (*kept, *made)


@dataclass(frozen=True, kw_only=True)
class _FineFlexingFan(FlexingFan):
    """The same at speed."""

    sides: ClassVar[int] = _SIDES


class FineViews:
    """Views of fans with fine circles, made when one is asked for.

    change: makes the pairs in which to look of those of a nose with the fine fan in it; as they are
    at rest, or over all that moves.
    """

    def __init__(self, at_rest: Pairs, change: Callable[[Pairs], Pairs] = lambda one: one) -> None:
        self._at_rest, self._change = at_rest, change
        self._made: dict[str, Pairs] = {}

    def of(self, fan: PlacedPart, other: PlacedPart) -> View:
        """A fan, by its name, against another part."""
        if fan.name not in self._made:
            stands = self._at_rest.layout.parts[fan.name]
            nose = StandIns(self._at_rest, {fan.name: replace(stands, part=_fine(stands.part))})
            self._made[fan.name] = self._change(nose)
        pairs = self._made[fan.name]
        return View(pairs, pairs.layout.parts[fan.name], pairs.layout.parts[other.name])


def _fine(part: object) -> Fan:
    kind = _FineFlexingFan if isinstance(part, FlexingFan) else _FineFan
    return kind(**{one.name: getattr(part, one.name) for one in fields(part)})  # type: ignore[arg-type]
