"""A hose along a run of points that the layout works out from the ports that it joins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.kinds import Reference
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, length
from noseroom.survey.features import Feature

if TYPE_CHECKING:
    import cadquery as cq

Point = tuple[float, float, float]

ON_PORT = ("end", "far end")
"""Components that are a hose's first stretch out of each of its ports, in the order of the ports.

As long as the hose is thick to its middle: so near the port, the part that the port sits on is
near too, and is meant to be. Further on the hose is held to its rule against that part as well.
"""

_LEAST_SHARE = 0.2


@dataclass(frozen=True, kw_only=True)
class Hose(Part):
    """A round hose with its centre line along straight legs, rounded at the bends by a ball.

    Datum: the car's own; the run's points are in vehicle axes. A hose without a run has no body.
    on_ports: how many of its ends sit on a port; the layout fills in both.
    """

    about: ClassVar[About] = About(
        name="hose",
        help="hose from one port to another, or a stub from one port",
        group="body",
        carried_by=("car",),
        colour="#303030",
        freedom="fixed",
        also=("line",),
        references=(
            Reference("from", "port that it starts at, such as radiator.upper neck", port=True),
            Reference("to", "port that it ends at; left out: only a stub", port=True),
        ),
        touches=(
            ("hose", "ports"),
            ("hose", "necks"),
            ("hose", "elbow room"),
            *((one, "*") for one in ON_PORT),
        ),
    )

    diameter_mm: float = length("diameter", "outside", low=6, high=90, usual=22, reach=5)
    stub_mm: float = length(
        "stub", "straight out of the port, without a far end", low=10, high=400, usual=80, reach=30
    )
    run: tuple[Point, ...] = ()
    on_ports: int = 0

    @cached_property
    def _stretches(self) -> dict[str, list[Point]]:
        """The run in its components: the stretch on each port, and what is between."""
        if len(self.run) < 2:
            return {}
        rest = list(self.run)
        first = float(np.real(np.asarray(self.diameter_mm)).flat[0]) / 2
        found: dict[str, list[Point]] = {}
        for name in ON_PORT[: self.on_ports]:
            found[name], rest = _cut(rest, first)
            rest.reverse()
        return {"hose": rest, **found}

    def features(self) -> dict[str, Feature]:
        """None: a hose hangs where its ports put it, and nothing is measured from it."""
        return {}

    def pieces(self) -> tuple[Piece, ...]:
        """A prism a leg, a ball a bend."""
        return tuple(
            piece
            for name, run in self._stretches.items()
            for piece in pieces.tube(name, _points(run), self.diameter_mm / 2, sides=24)
        )

    def solids(self) -> dict[str, cq.Shape]:
        """Each stretch as one solid: cylinders joined by balls."""
        return {
            name: shapes.round_run(run, self.diameter_mm / 2)
            for name, run in self._stretches.items()
        }


def _points(run: list[Point]) -> list[NDArray[np.float64]]:
    return [np.array(point, dtype=float) for point in run]


def _cut(run: list[Point], length: float) -> tuple[list[Point], list[Point]]:
    """The first stretch of a run, of that length or a third of it at most, and the rest."""
    legs = [math.dist(a, b) for a, b in pairwise(run)]
    left = min(length, sum(legs) / 3)
    for number, leg in enumerate(legs):
        if left < leg:
            # Within a leg, never on a bend, whose ball would belong to neither.
            share = min(max(left / leg, _LEAST_SHARE), 1 - _LEAST_SHARE)
            x, y, z = (a + share * (b - a) for a, b in zip(*run[number : number + 2], strict=True))
            return [*run[: number + 1], (x, y, z)], [(x, y, z), *run[number + 1 :]]
        left -= leg
    return [], run
