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
        place = POST
        while min(math.dist(place, one) for one in nose.places.values()) < 2.2 * RADIUS:
            place = rng.uniform(-300, 300), rng.uniform(0, 400)
        nose.add(name, *place)
        half = rng.choice((1.0, 1.0, 3.0, 6.0))
        for other in rng.sample(there, min(len(there), rng.choice((1, 1, 1, 2, 3)))):
            nose.edge(name, other, half)
        if rng.random() < 0.7:
            nose.tape(name, rng.choice(there), rng.choice(("right of", "above")), half)
        for way in rng.sample(("right of", "above"), rng.choice((0, 1, 1, 2))):
            nose.side(name, rng.choice(there), way)
    return nose


# -- a part that takes along what was measured from it ---------------------------------------


def hung_on_a_drum(*, turned_over: bool = False) -> FlatNose:
    """An idler hangs on a drum, and both hang on the post by tapes that say no side."""
    drum, idler = np.array([225.0, 140.0]), np.array([-25.0, 10.0])
    if turned_over:
        # Both moved so that the post lies on the other side of the line from drum to idler, as
        # far from either as it was: a triangle and its mirror image.
        along = (idler - drum) / np.linalg.norm(idler - drum)
        across = np.array([-along[1], along[0]])
        move = 2.0 * float((np.array(POST) - drum) @ across) * across
        drum, idler = drum + move, idler + move
    nose = FlatNose()
    nose.add("drum", *drum)
    nose.edge("drum", "post")
    nose.side("drum", "post", "right of")
    nose.add("idler", *idler)
    nose.edge("idler", "drum")
    nose.tape("idler", "drum", "right of")
    nose.edge("idler", "post", 5.0)
    nose.side("idler", "drum", "above")
    return nose


def test_a_part_and_what_hangs_on_it_stand_in_two_places_unless_a_side_is_said() -> None:
    nose = hung_on_a_drum()
    # The other nose reads the same to the last digit: nothing in the file tells them apart.
    assert nose.text() == hung_on_a_drum(turned_over=True).text()
    with pytest.raises(SurveyError, match=r"two places .* mm apart; add .*'above \(or") as refused:
        nose.laid_out()
    assert nose.line("flank edge to drum") in refused.value.lines
    assert set(refused.value.lines) & {
        line for line, one in enumerate(nose.text().splitlines(), 1) if "edge to post" in one
    }


@pytest.mark.parametrize("turned_over", [False, True])
def test_the_side_that_is_said_of_one_places_both(turned_over: bool) -> None:
    nose = hung_on_a_drum(turned_over=turned_over)
    nose.side("drum", "post", "above")
    layout = nose.laid_out()
    assert not layout.survey.broken_bounds
    for name, place in nose.places.items():
        assert layout.parts[name].known
        np.testing.assert_allclose(layout.parts[name].pose[1:3, 3], place, atol=1e-4)


def test_two_parts_that_only_turn_over_together_are_seen() -> None:
    """All that was read is the same left and right of the post."""
    nose = FlatNose()
    nose.add("drum", 210.0, 290.0)
    nose.add("idler", 130.0, 60.0)
    nose.edge("drum", "post")
    nose.tape("drum", "post", "above")
    nose.edge("idler", "drum")
    nose.tape("idler", "post", "above")
    nose.edge("idler", "post")
    with pytest.raises(SurveyError, match="two places"):
        nose.laid_out()
    nose.side("idler", "post", "right of")
    assert strays(nose, nose.laid_out()) == []


def test_what_slides_round_another_is_not_known_and_stands_in_no_two_places() -> None:
    """One distance leaves a circle: that is no mirror image, whatever side is said."""
    for side in ("", "right of", "above"):
        nose = FlatNose()
        nose.add("idler", 180.0, 290.0)
        nose.edge("idler", "post")
        if side:
            nose.side("idler", "post", side)
        assert not nose.laid_out().parts["idler"].known


def test_what_slides_straight_has_its_mirror_image_all_the_same() -> None:
    """Nobody read how deep in the car it stands; across it stands in two places."""
    nose = FlatNose()
    nose.add("idler", 180.0, 290.0)
    nose.said["idler"].clear()
    nose.edge("idler", "post")
    nose.tape("idler", "post", "above")
    with pytest.raises(SurveyError, match="two places"):
        nose.laid_out()


# -- noses at random -------------------------------------------------------------------------


@pytest.mark.parametrize("first", [20, 120, 220])
def test_no_made_up_nose_is_accepted_where_it_does_not_stand(first: int) -> None:
    """The true nose agrees with every reading, so that any other one has to be refused."""
    accepted = refused = 0
    for seed in range(first, first + 20):
        nose = random_nose(random.Random(seed))
        try:
            layout = nose.laid_out()
        except SurveyError:
            refused += 1
            continue
        accepted += all(layout.parts[name].known for name in nose.places)
        assert strays(nose, layout) == [], nose.text()
    assert accepted >= 1
    assert refused >= 1
