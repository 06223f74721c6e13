"""Noses with something that moves, made from a few lines: what their tests share."""

from __future__ import annotations

from noseroom.checks.bodies import bodies_of
from noseroom.checks.motion import motions_of
from noseroom.checks.moving import check_moving
from noseroom.checks.moving_search import MovingSearch
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding
from noseroom.geometry.motions import STILL, Motions, Shift, Turn
from noseroom.geometry.smallest import smallest_clearance
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

HEAD = """
format: 1
units: mm
sides: as seated
tape: 0.01
core support:
  opening: {width: 700, height: 500}
"""
BAR = """
anti-roll bar:
  width: 900
  diameter: 22
  arms: {{length: 250, diameter: 30, point: aft}}
  moves: {{turn: {turn} ± 0.001 deg}}
  place:
    - axis 0 aft of core support.face
    - axis 100 below core support.opening.bottom
    - middle 0 right of centreline
"""

TRUE = """    - plumb ± 0.003 deg
    - level ± 0.003 deg
    - square across ± 0.003 deg
"""
HOOD = """
hood:
  length: 1200
  width: 1300
  thickness: 50
  hinge: {{end: {end}, in: 30, below: 40}}
  moves: {{open: {open} ± 0.001 deg, slam: {slam}}}
  place:
    - front 150 ahead of core support.face
    - bottom 600 above core support.opening.bottom
    - middle 0 right of centreline
"""
ENGINE = """
engine:
  moves: {{roll: {roll} deg, pitch: {pitch} deg, forward: {forward}, sideways: 0, up: {up}}}
  place:
    - front 300 aft of core support.face
    - axis 120 above core support.opening.bottom
    - axis 0 right of centreline
"""
BOX = """
{name}:
  is: box
  carried by: {on}
  depth: {size[0]}
  width: {size[1]}
  height: {size[2]}
  place:
    - middle {x}
    - middle {y}
    - middle {z}
"""
WAYS = (
    ("aft of core support.face", "ahead of core support.face"),
    ("right of centreline", "left of centreline"),
    ("above core support.opening.bottom", "below core support.opening.bottom"),
)


def box(name: str, at: tuple[float, ...], size: tuple[float, ...], on: str = "car") -> str:
    x, y, z = (f"{abs(v)} {way[int(v < 0)]}" for v, way in zip(at, WAYS, strict=True))
    return BOX.format(name=name, x=x, y=y, z=z, size=size, on=on) + TRUE


def hood(end: str = "rear", opened: float = 70.0, slam: float = 0.0) -> str:
    return HOOD.format(end=end, open=opened, slam=slam) + TRUE


def engine(roll: float = 0, pitch: float = 0, forward: float = 0, up: float = 0) -> str:
    return ENGINE.format(roll=roll, pitch=pitch, forward=forward, up=up) + TRUE


def arranged(*parts: str) -> Layout:
    return arrange(read_text(HEAD + "".join(parts), KINDS, rule_keys=clearance_rules()))


def answers(layout: Layout) -> tuple[Finding, ...]:
    say = lambda *_: None  # noqa: E731
    settled = {frozenset((a, b)) for a in layout.parts for b in layout.parts if a != b}
    return check_moving(Pairs(layout), bodies_of(layout, say), Rules(layout.envelope), settled, say)


def worst(layout: Layout, a: str, b: str) -> Finding:
    (found,) = [one for one in answers(layout) if set(one.parts) == {a, b}]
    return found


def motions(layout: Layout, name: str) -> Motions:
    """The movements of a part's mover for the independent search, straight from its definition."""
    found = [one for one in motions_of(layout) if name in one.moved]
    if not found:
        return STILL
    steps: list[Turn | Shift] = []
    for turn, shift, middle, reach in zip(
        found[0].turns, found[0].shifts, found[0].centre, found[0].reaches, strict=True
    ):
        ends = middle - reach, middle + reach
        if reach and turn.any():
            steps.append(Turn(found[0].point, turn, *ends))
        elif reach:
            steps.append(Shift(shift, *ends))
    return Motions(tuple(steps))


def independently(layout: Layout, a: str, b: str) -> float:
    """The least gap of two parts by branch and bound on their meshes, readings left out."""
    bodies = {name: body for (name, _), body in bodies_of(layout, lambda *_: None).items()}
    one, other = layout.parts[a], layout.parts[b]
    found = smallest_clearance(
        bodies[a], one.pose, motions(layout, a), bodies[b], other.pose, motions(layout, b),
        error_mm=0.1, cap_mm=2000.0,
    )  # fmt: skip
    assert found.settled
    return found.value_mm


def sure(layout: Layout, a: str, b: str) -> float:
    search = MovingSearch(Pairs(layout), motions_of(layout))
    found = search.nearest(layout.parts[a], layout.parts[b], 3.0, below_mm=1e4)
    assert found is not None
    return found.gap.lower_mm
