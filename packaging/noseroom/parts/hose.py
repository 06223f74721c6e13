"""A hose along a run of points that the layout works out from the ports that it joins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from noseroom.envelope.kinds import Reference
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, length
from noseroom.survey.features import Feature

if TYPE_CHECKING:
    import cadquery as cq

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Hose(Part):
    """A round hose with its centre line along straight legs, rounded at the bends by a ball.

    Datum: the car's own; the run's points are in vehicle axes. A hose without a run has no body.
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
        touches=(("hose", "ports"), ("hose", "necks"), ("hose", "elbow room")),
    )

    diameter_mm: float = length("diameter", "outside", low=6, high=90, usual=22, reach=5)
    stub_mm: float = length(
        "stub", "straight out of the port, without a far end", low=10, high=400, usual=80, reach=30
    )
    run: tuple[Point, ...] = ()

    def features(self) -> dict[str, Feature]:
        """None: a hose hangs where its ports put it, and nothing is measured from it."""
        return {}

    def pieces(self) -> tuple[Piece, ...]:
        """A prism a leg, a ball a bend."""
        if len(self.run) < 2:
            return ()
        path = [np.array(point, dtype=float) for point in self.run]
        return pieces.tube("hose", path, self.diameter_mm / 2, sides=24)

    def solids(self) -> dict[str, cq.Shape]:
        """One solid: cylinders joined by balls."""
        if len(self.run) < 2:
            return {}
        return {"hose": shapes.round_run(self.run, self.diameter_mm / 2)}
