"""Mirror images of parts that hang on one another: refused where nobody said a side.

The noses here are flat: cylinders that lie along the car, read from edge to edge and by straight
tapes. Where each truly stands is chosen first, and every reading is worked out from there by
Pythagoras, so that the true nose agrees with all of them.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import numpy as np
import pytest

from noseroom.envelope.reader import read_text
from noseroom.errors import SurveyError
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS

POST = (50.0, 200.0)
RADIUS = 25.0
HEAD = f"""\
format: 1
units: mm
core support:
  opening: {{width: 900, height: 500}}
post:
  is: cylinder
  axis: along
  diameter: {2 * RADIUS}
  length: 50
  place:
    - front 100 aft of core support.face
    - axis {POST[0]} right of centreline
    - axis {POST[1]} above core support.opening.bottom
"""
OPPOSITE = {"right of": "left of", "above": "below"}


@dataclass
class FlatNose:
    """Where cylinders stand, (across, up) mm, and what was read of each."""

    places: dict[str, tuple[float, float]] = field(default_factory=lambda: {"post": POST})
    said: dict[str, list[str]] = field(default_factory=dict)

    def add(self, name: str, across: float, up: float) -> None:
        """One more cylinder, as deep in the car as the post."""
        self.places[name] = (across, up)
        self.said[name] = ["front flush with post.front"]

    def edge(self, name: str, other: str, half_mm: float = 1.0) -> None:
        """A tape from flank to flank."""
        apart = math.dist(self.places[name], self.places[other]) - 2 * RADIUS
        self.said[name].append(f"flank edge to {other}.flank {apart:.6f} ± {half_mm}")

    def tape(self, name: str, other: str, way: str, half_mm: float = 1.0) -> None:
        """A level or plumb tape from axis to axis. way: "right of" or "above"."""
        value = self._along(name, other, way)
        self.said[name].append(
            f"axis {abs(value):.6f} ± {half_mm} {self._word(way, value)} {other}.axis"
        )

    def side(self, name: str, other: str, way: str) -> None:
        """Only on which side it is."""
        word = self._word(way, self._along(name, other, way))
        self.said[name].append(f"axis {word} {other}.axis")

    def _along(self, name: str, other: str, way: str) -> float:
        axis = ("right of", "above").index(way)
        return self.places[name][axis] - self.places[other][axis]

    def _word(self, way: str, value: float) -> str:
        return way if value >= 0 else OPPOSITE[way]

    def text(self) -> str:
        """The envelope file."""
        return HEAD + "".join(
            f"{name}:\n  is: cylinder\n  axis: along\n  diameter: {2 * RADIUS}\n  length: 50\n"
            "  place:\n" + "".join(f"    - {one}\n" for one in said)
            for name, said in self.said.items()
        )

    def laid_out(self) -> Layout:
        """The nose as adjusted."""
        return arrange(read_text(self.text(), KINDS))

    def line(self, words: str) -> int:
        """The line of the file that has these words."""
        (found,) = (k for k, one in enumerate(self.text().splitlines(), 1) if words in one)
        return found


def strays(nose: FlatNose, layout: Layout) -> list[str]:
    """Parts that are called known and stand elsewhere than they truly do.

    Elsewhere is beyond 3 mm and beyond two standard deviations of the result.
    """
    wrong = []
    for name, (across, up) in nose.places.items():
        placement = layout.parts[name].placements[0]
        away = np.array([across, up]) - layout.parts[name].pose[1:3, 3]
        distance = float(np.linalg.norm(away))
        if not layout.parts[name].known or distance < 3.0:
            continue
        spread = np.linalg.norm(away / distance @ placement.shift_gain[1:3] * _deviations(layout))
        if distance > 2.0 * spread:
            wrong.append(f"{name} {distance:.1f} mm off, spread {spread:.1f} mm")
    return wrong


def _deviations(layout: Layout) -> np.ndarray:
    return np.array([one.deviation for one in layout.survey.sources])


def random_nose(rng: random.Random) -> FlatNose:
    """Two to four cylinders, each read from any that stand already."""
    nose = FlatNose()
    for name in ("drum", "idler", "roller", "sheave")[: rng.choice((2, 2, 3, 4))]:
        there = list(nose.places)
        nose.add(name, rng.uniform(-300, 300), rng.uniform(0, 400))
        half = rng.choice((1.0, 1.0, 3.0, 6.0))
        for other in rng.sample(there, min(len(there), rng.choice((1, 1, 1, 2, 3)))):
            nose.edge(name, other, half)
        if rng.random() < 0.7:
            nose.tape(name, rng.choice(there), rng.choice(("right of", "above")), half)
        for way in rng.sample(("right of", "above"), rng.choice((0, 1, 1, 2))):
            nose.side(name, rng.choice(there), way)
    return nose
