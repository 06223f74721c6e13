"""What fans and belts need at speed: the space that flexing blades and swinging spans reach.

These are no parts of the file. Each stands in for a part of its kind, with the same sizes, the same
datum and the same component, in checks of the running engine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, ClassVar, Self

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.belt import Belt
from noseroom.parts.belt_path import Span
from noseroom.parts.fan import Fan
from noseroom.survey.features import vector

if TYPE_CHECKING:
    import cadquery as cq

_OUTERMOST = (3, 4)
"""Which corners of the section stand at the tips: they are circumscribed."""
_EARLY, _LATE = 0.25, 0.75


def _sizes_of(part: Any) -> dict[str, Any]:
    return {one.name: getattr(part, one.name) for one in fields(part)}


@dataclass(frozen=True, kw_only=True)
class FlexingFan(Fan):
    """A fan whose blades give: what they sweep, between the extremes of their flex.

    The tips come forward by up to `forward_mm` and back by up to `aft_mm`; where the blades begin
    nothing moves. A blade bends like a beam held at one end: no point of it moves further than the
    straight line from root to tip says. A blade that flattens grows outward, as its corners come
    away from its middle: at most to the corner of a tip section that lies wholly in the plane of
    rotation, hypot(R, width / 2) from the axis (plane geometry).
    """

    forward_mm: float = 0.0
    aft_mm: float = 0.0
    sides: ClassVar[int] = 72
    """Wedges round the axis."""

    @classmethod
    def of(cls, fan: Fan, forward_mm: float, aft_mm: float) -> Self:
        """The same fan at speed."""
        return cls(**_sizes_of(fan), forward_mm=forward_mm, aft_mm=aft_mm)

    def tip_mm(self) -> Any:
        """The largest radius that a corner of a blade can reach."""
        radius = self.diameter_mm / 2
        if not self.forward_mm and not self.aft_mm:
            return radius
        return (radius**2 + (self.width_mm / 2) ** 2) ** 0.5

    def _profile(self) -> tuple[tuple[Any, Any], ...]:
        """Corners (x, radius) of the sweep's section, from the root's front round by its rear."""
        root, radius, front = self.spider_diameter_mm / 2, self.diameter_mm / 2, self._front()
        rear, tip = front + self.width_mm, self.tip_mm()
        ahead, behind = front - self.forward_mm, rear + self.aft_mm
        # What grows outward is tip: it has come forward by all that the tip does.
        inner, outer = ((front, root), (rear, root)), ((behind, tip), (ahead, tip))
        return (*inner, (behind, radius), *outer, (ahead, radius))

    def pieces(self) -> tuple[Piece, ...]:
        """Wedges round the axis that hold the section turned once round."""
        around = self._profile()
        grow = 1.0 / math.cos(math.pi / self.sides)
        made = []
        for k in range(self.sides):
            corners = []
            for angle in (math.tau * k / self.sides, math.tau * (k + 1) / self.sides):
                y, z = math.cos(angle), math.sin(angle)
                for place, (x, radius) in enumerate(around):
                    out = radius * grow if place in _OUTERMOST else radius
                    corners.append(vector(x, out * y, out * z))
            made.append(pieces.hull("sweep", corners))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """The section turned once round."""
        corners = list(dict.fromkeys(self._profile()))
        return {"sweep": shapes.turned(corners)}


@dataclass(frozen=True, kw_only=True)
class FlappingBelt(Belt):
    """A belt whose free spans swing: what each of them sweeps, between its pulleys.

    The middle of a span swings out and in by `out` of its length, and sideways by `sideways` of it;
    its ends, which the pulleys hold, do not. It swings as a string does: a half-wave, which never
    stands above a quadrilateral with its corners at a quarter and three quarters of the span
    (sin(pi s) <= 4 s). Where it lies on a pulley it does not swing.
    """

    out: float = 0.0
    sideways: float = 0.0

    @classmethod
    def of(cls, belt: Belt, out: float, sideways: float) -> Self:
        """The same belt at speed."""
        return cls(**_sizes_of(belt), out=out, sideways=sideways)

    def pieces(self) -> tuple[Piece, ...]:
        """The hull of each free span's swing."""
        if not self.run:
            return ()
        return tuple(pieces.hull("belt", self._swing(span)) for span in self.path.spans)

    def _swing(self, span: Span) -> list[Any]:
        half, inside, back = self.band()
        along = (span.end - span.start) / max(span.length_mm, 1e-9)
        outward = (math.cos(span.outward), math.sin(span.outward))
        corners = []
        for share in (0.0, _EARLY, _LATE, 1.0):
            swings = span.length_mm if share in (_EARLY, _LATE) else 0.0
            y, z = span.start + share * span.length_mm * along
            for off in (inside - self.out * swings, back + self.out * swings):
                corners += [
                    vector(x, y + off * outward[0], z + off * outward[1])
                    for x in (-half - self.sideways * swings, half + self.sideways * swings)
                ]
        return corners
