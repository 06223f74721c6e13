"""The belt: the band that runs on its path round the pulleys."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.envelope.kinds import NOT_KNOWN, Reference
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, choice, count, length, share
from noseroom.parts.belt_path import BeltPath, Run, belt_path, on_circle
from noseroom.parts.pulley import RIB_PITCH_MM
from noseroom.survey.features import Feature, vector

if TYPE_CHECKING:
    import cadquery as cq

__all__ = ["Belt", "BeltPath", "Run", "belt_path"]

_V, _RIBBED = ("section", "v"), ("section", "ribbed")

_PULLEYS = ("pulley", "crank pulley", "idler pulley", "alternator", "compressor")

_ARC_STEP_RAD = math.radians(5.0)
"""Largest angle of one piece round a pulley: as circumscribed as a prism of 72 sides."""


@dataclass(frozen=True, kw_only=True)
class Belt(Part):
    """A V or multi-rib belt over pulleys that are named in the file.

    Datum: x = 0 is the belt's plane; `run`, which the layout fills in, holds (y, z, r) of every
    pulley in that plane, r being the radius of the belt's effective line on it: the pulley's
    outside, and for one that the belt's back runs on (`back`) its outside and `proud`. The band
    stands out of that line by `proud` and is as deep as its thickness; with an empty run there is
    none. A V belt is taken as a rectangle: conservative on its inside.
    """

    about: ClassVar[About] = About(
        name="belt",
        help="V or multi-rib belt over the pulleys that it names",
        group="engine",
        carried_by=("engine", "car"),
        colour="#333333",
        freedom="fixed",
        references=(
            Reference(
                "over",
                "the pulleys that it runs over, in turn round the belt",
                many=True,
                kinds=_PULLEYS,
                least=2,
            ),
            Reference(
                "back on",
                "which of them it runs on with its back",
                many=True,
                kinds=_PULLEYS,
                among="over",
            ),
            Reference(
                "adjuster.moves",
                "which of them is moved to tighten it",
                kinds=_PULLEYS,
                among="over",
                completes="adjuster",
            ),
            Reference(
                "adjuster.about",
                "what that turns about where it does: a part with an axis, such as a cylinder that "
                "stands for the bolt; its own pivot ear where nothing is named",
                kinds=("cylinder", *_PULLEYS, "water pump", "engine"),
                apart="adjuster.moves",
            ),
        ),
        touches=(("belt", "rim"), ("belt", "web"), ("belt", "pulley"), ("belt", "nose")),
    )

    section: str = choice("section", "v", "ribbed", help="which belt it is")
    width_mm: float = length(
        "width", "across its back", low=6, high=25, usual=12.7, reach=3, when=_V
    )
    height_mm: float = length("height", "back to inside", low=4, high=16, usual=9, reach=2, when=_V)
    ribs: int = count("ribs", "how many", low=2, high=12, usual=6, when=_RIBBED)
    thickness_mm: float = length(
        "thickness", "back to rib tips", low=3, high=8, usual=4.8, reach=0.8, when=_RIBBED
    )
    proud_mm: float = length(
        "proud", "its back beyond the pulleys' outside", low=0, high=8, usual=1.5, reach=1.5
    )
    flap: float = share(
        "flap",
        "how far a free span's middle may swing out or in at speed, as a share of the span",
        low=0,
        high=0.25,
        usual=0.05,
        source="from memory: drives are tuned until no span swings by more than a tenth of its "
        "length from side to side; no printed figure was found",
    )
    marked_mm: float = length(
        "length",
        "of a belt that is at hand: a V's outside, effective of a multi-rib one",
        low=0,
        high=4000,
        usual=0,
        tolerance=3,
        source=NOT_KNOWN,
    )
    tension_n: float = share(
        "tension",
        "N in a free span at rest, as a gauge reads it",
        low=0,
        high=2000,
        usual=0,
        source=NOT_KNOWN,
    )
    how: str = choice(
        "adjuster.by",
        "slide",
        "pivot",
        "spring",
        help="how: it slides in a slot, turns about a pivot, or a spring holds it on an arm",
    )
    toward: str = choice(
        "adjuster.toward",
        "out",
        *("up", "down", "left", "right"),
        help="which way a slide tightens: out of the loop, or along the car",
    )
    ease_mm: float = length(
        "adjuster.in",
        "how far its pulley can come from where it stands to slacken the belt",
        low=0,
        high=200,
        usual=0,
        source=NOT_KNOWN,
    )
    take_up_mm: float = length(
        "adjuster.out",
        "how far its pulley can go from where it stands to tighten the belt",
        low=0,
        high=200,
        usual=0,
        source=NOT_KNOWN,
    )
    run: Run = ()
    back: tuple[bool, ...] = ()

    @cached_property
    def path(self) -> BeltPath:
        """The path over the outside of the pulleys. Raises GeometryError for an empty run."""
        return belt_path(self.run, self.back)

    @property
    def missed(self) -> tuple[int, ...]:
        """Numbers, in the run, of the pulleys that the belt does not touch."""
        return self.path.missed if self.run else ()

    def band(self) -> tuple[Any, Any, Any]:
        """Half its width, and how far its inside and its back lie outside the pulleys, mm."""
        if self.section == "v":
            return self.width_mm / 2, self.proud_mm - self.height_mm, self.proud_mm
        return self.ribs * RIB_PITCH_MM / 2, self.proud_mm - self.thickness_mm, self.proud_mm

    def features(self) -> dict[str, Feature]:
        """None: a belt is where its pulleys put it."""
        return {}

    def pieces(self) -> tuple[Piece, ...]:
        """A box a span, wedges round every pulley. The run's numbers are plain floats."""
        if not self.run:
            return ()
        half, inside, back = self.band()
        made = []
        for span in self.path.spans:
            corners = [
                vector(x, *on_circle(end, offset, span.outward))
                for end in (span.start, span.end)
                for offset in (inside, back)
                for x in (-half, half)
            ]
            made.append(pieces.hull("belt", corners))
        for arc in self.path.arcs:
            steps = max(1, math.ceil(arc.wrap / _ARC_STEP_RAD))
            grow = 1.0 / math.cos(arc.wrap / steps / 2.0)
            near, far = (inside, back) if arc.turn > 0 else (back, inside)
            # What lies further from the pulley's middle is bulged: its corners stand off the arc.
            bulge = arc.turn * (grow - 1.0) * (arc.radius + arc.turn * far)
            for pair in pairwise(k / steps for k in range(steps + 1)):
                corners = [
                    vector(x, *arc.on(along, outward))
                    for along in pair
                    for outward in (near, far + bulge)
                    for x in (-half, half)
                ]
                made.append(pieces.hull("belt", corners))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """The band, its inside cut out."""
        if not self.run or not self.path.arcs:
            return {}
        half, inside, back = self.band()
        outer, inner = (self._loop(offset) for offset in (back, inside))
        return {"belt": shapes.band(outer, inner, -half, half)}

    def _loop(self, offset: float) -> list[list[list[float]]]:
        """The path, moved outwards: for each arc its first, middle and last point, (y, z) mm."""
        return [
            [arc.on(along, offset).tolist() for along in (0.0, 0.5, 1.0)] for arc in self.path.arcs
        ]
