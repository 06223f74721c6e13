"""The belt: the path round its pulleys, and the band that runs on it.

The path is the outline of the convex hull of the pulleys' circles: a belt that runs over every
pulley with its inside. Pulleys that the hull does not touch are missed, and said to be missed.
Belts that also run over a pulley with their back are not covered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.envelope.kinds import Reference
from noseroom.errors import GeometryError
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, choice, count, length, share
from noseroom.parts.pulley import RIB_PITCH_MM
from noseroom.survey.features import Feature, vector

if TYPE_CHECKING:
    import cadquery as cq

Run = tuple[tuple[float, float, float], ...]
"""(y, z, r) mm of each pulley in the belt's plane."""

_V, _RIBBED = ("section", "v"), ("section", "ribbed")

_LEAST_WRAP_RAD = 1e-4
"""A pulley wrapped by less is taken as missed: the path then passes it by less than r * 2e-9."""

_ARC_STEP_RAD = math.radians(5.0)
"""Largest angle of one piece round a pulley: as circumscribed as a prism of 72 sides."""


@dataclass(frozen=True)
class Arc:
    """Where the belt lies on a pulley.

    pulley: its number in the run. centre: (2,) mm, (y, z). start, wrap: rad, from y towards z.
    """

    pulley: int
    centre: NDArray[np.float64]
    radius: float
    start: float
    wrap: float


@dataclass(frozen=True)
class Span:
    """The free belt from one pulley to the next.

    pulleys: their numbers in the run. start, end: (2,) mm, (y, z). outward: rad, the direction
    square to the span and away from the inside of the belt.
    """

    pulleys: tuple[int, int]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    outward: float

    @property
    def length_mm(self) -> float:
        """From where it leaves one pulley to where it meets the next."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True)
class BeltPath:
    """A closed path round pulleys: span k runs from arc k to arc k + 1, from y towards z.

    missed: numbers of the pulleys in the run that the belt does not touch.
    """

    arcs: tuple[Arc, ...]
    spans: tuple[Span, ...]
    missed: tuple[int, ...]

    @property
    def length_mm(self) -> float:
        """Length along the pulleys' radii: for outside radii, the effective length."""
        bends = sum(arc.radius * arc.wrap for arc in self.arcs)
        return bends + sum(span.length_mm for span in self.spans)


def belt_path(run: ArrayLike) -> BeltPath:
    """The shortest belt that contains all pulleys of a run.

    run: (n, 3) mm, a row (y, z, r) a pulley, in any order. A pulley that contains all others gives
    a path of one full turn without spans.

    Raises:
        GeometryError: no pulley, or rows that are not three finite numbers with r > 0.
    """
    circles = np.asarray(run, dtype=float)
    if circles.ndim != 2 or circles.shape[1] != 3 or not len(circles):
        raise GeometryError("a belt's run is one row (y, z, r) a pulley")
    if not np.isfinite(circles).all() or not (circles[:, 2] > 0).all():
        raise GeometryError("a belt's pulleys have finite places and radii above nothing")
    turns = _without_grazes(circles, _winners(circles))
    arcs = tuple(
        Arc(k, circles[k, :2], float(circles[k, 2]), start, wrap)
        for (k, start), wrap in zip(turns, _wraps(turns), strict=True)
    )
    spans = tuple(
        Span(
            (near.pulley, far.pulley),
            _on(near.centre, near.radius, far.start),
            _on(far.centre, far.radius, far.start),
            far.start,
        )
        for near, far in zip(arcs, (*arcs[1:], arcs[0]), strict=True)
        if len(arcs) > 1
    )
    touched = {arc.pulley for arc in arcs}
    return BeltPath(arcs, spans, tuple(k for k in range(len(circles)) if k not in touched))


def _on(centre: NDArray[Any], radius: Any, angle: float) -> NDArray[Any]:
    """The point of a circle in a direction, (2,)."""
    return np.array([centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)])


def _levels(one: NDArray[np.float64], other: NDArray[np.float64]) -> tuple[float, ...]:
    """In which directions two circles reach equally far, rad: two, or none if one holds the other.

    A circle reaches c·u + r in a direction u, so that (c - c')·u, which is a sine, equals r' - r.
    """
    y, z, r = one - other
    apart = math.hypot(y, z)
    if apart <= abs(r):
        return ()
    lean, middle = math.asin(-r / apart), math.atan2(y, z)
    return (lean - middle) % math.tau, (math.pi - lean - middle) % math.tau


def _winners(circles: NDArray[np.float64]) -> list[tuple[int, float]]:
    """Which circle reaches furthest, and the direction from which on it does, rad, all round.

    Between two neighbouring directions in which any two circles are level the furthest one stays
    the same, so that one look in the middle decides.
    """
    levels = {
        angle
        for k, one in enumerate(circles)
        for other in circles[:k]
        for angle in _levels(one, other)
    }
    starts = sorted(levels) or [0.0]
    found: list[tuple[int, float]] = []
    for start, end in zip(starts, [*starts[1:], starts[0] + math.tau], strict=True):
        angle = (start + end) / 2.0
        reach = circles[:, :2] @ [math.cos(angle), math.sin(angle)] + circles[:, 2]
        # Ties, such as one pulley named twice, go to the first, however the sums are rounded.
        best = int(np.flatnonzero(reach >= reach.max() - 1e-9)[0])
        if not found or found[-1][0] != best:
            found.append((best, start))
    if len(found) > 1 and found[0][0] == found[-1][0]:
        del found[0]
    return found


def _wraps(turns: list[tuple[int, float]]) -> list[float]:
    """Angle from each start to the next, rad; a lone one goes all the way round."""
    starts = [start for _, start in turns]
    if len(starts) == 1:
        return [math.tau]
    return [(b - a) % math.tau for a, b in zip(starts, [*starts[1:], starts[0]], strict=True)]


def _without_grazes(
    circles: NDArray[np.float64], turns: list[tuple[int, float]]
) -> list[tuple[int, float]]:
    """The same without arcs too short to be real: their neighbours are joined by a tangent.

    Only the arc goes, not the pulley, which may be grazed by one span and well wrapped elsewhere.
    """
    turns = list(turns)
    while len(turns) > 1 and min(wraps := _wraps(turns)) < _LEAST_WRAP_RAD:
        k = int(np.argmin(wraps))
        grazed = turns[k][1]
        before, after = turns[k - 1][0], (k + 1) % len(turns)
        joint = turns[after][0]
        if before == joint and len(turns) > 2:
            turns = [turn for n, turn in enumerate(turns) if n not in (k, after)]
            continue
        if before != joint:
            # The tangent of the neighbours is the one of their two that lies where the arc lay.
            near = max(
                _levels(circles[before], circles[joint]),
                key=lambda at: math.cos(at - grazed),
                default=turns[after][1],
            )
            turns[after] = (joint, near)
        del turns[k]
    return turns


@dataclass(frozen=True, kw_only=True)
class Belt(Part):
    """A V or multi-rib belt over pulleys that are named in the file.

    Datum: x = 0 is the belt's plane; `run`, which the layout fills in, holds (y, z, r) of every
    pulley in that plane, r being the pulley's outside radius (where a belt's effective length is
    counted). The band stands out of the pulleys by `proud` and is as deep as its thickness; with
    an empty run there is none. A V belt is taken as a rectangle: conservative on its inside.
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
                "the pulleys that it runs over",
                many=True,
                kinds=("pulley", "crank pulley", "alternator", "compressor"),
                least=2,
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
    run: Run = ()

    @cached_property
    def path(self) -> BeltPath:
        """The path over the outside of the pulleys. Raises GeometryError for an empty run."""
        return belt_path(self.run)

    @property
    def missed(self) -> tuple[int, ...]:
        """Numbers, in the run, of the pulleys that the belt does not touch."""
        return self.path.missed if self.run else ()

    def _band(self) -> tuple[Any, Any, Any]:
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
        half, inside, back = self._band()
        made = []
        for span in self.path.spans:
            corners = [
                vector(x, *_on(end, offset, span.outward))
                for end in (span.start, span.end)
                for offset in (inside, back)
                for x in (-half, half)
            ]
            made.append(pieces.hull("belt", corners))
        for arc in self.path.arcs:
            steps = max(1, math.ceil(arc.wrap / _ARC_STEP_RAD))
            grow = 1.0 / math.cos(arc.wrap / steps / 2.0)
            angles = [arc.start + arc.wrap * k / steps for k in range(steps + 1)]
            for pair in pairwise(angles):
                corners = [
                    vector(x, *_on(arc.centre, radius, angle))
                    for angle in pair
                    for radius in (arc.radius + inside, (arc.radius + back) * grow)
                    for x in (-half, half)
                ]
                made.append(pieces.hull("belt", corners))
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """The band, its inside cut out."""
        if not self.run:
            return {}
        half, inside, back = self._band()
        outer, inner = (self._loop(offset) for offset in (back, inside))
        return {"belt": shapes.band(outer, inner, -half, half)}

    def _loop(self, offset: float) -> list[list[list[float]]]:
        """The path, moved outwards: for each arc its first, middle and last point, (y, z) mm."""
        return [
            [
                _on(arc.centre, arc.radius + offset, arc.start + share * arc.wrap).tolist()
                for share in (0.0, 0.5, 1.0)
            ]
            for arc in self.path.arcs
        ]
