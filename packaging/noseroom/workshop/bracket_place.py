"""How a bracket lies on paper and sits in the car: which way is up, which face, where bolts go."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_job import HAT
from noseroom.checks.bracket_records import BracketDesign

Floats = NDArray[np.float64]

UP, AHEAD = "UP (in the car)", "AHEAD (in the car)"
_LEVEL = 0.5
"""A plane in which "up" has no more than this is called level: 30° off level or nearer."""
_SEEN_FROM = (("ahead", "behind"), ("the car's left", "the car's right"), ("below", "above"))
_LIES = (
    ("ahead of", "behind"),
    ("on the car's left of", "on the car's right of"),
    ("below", "above"),
)
_SIDE = re.compile(r"\bthe (left|right)\b")
_OPENING = re.compile(r"\bopening's (left|right) edge\b")


@dataclass(frozen=True)
class Upright:
    """Which way is up on a flat's paper.

    turn_rad: by how much its blank is turned for that. words: of the arrow that points up the
    paper. level: whether the flat lies level in the car, so that the arrow cannot mean up.
    """

    turn_rad: float
    words: str
    level: bool


def paper_up(normal: Floats, ways: Floats | None = None) -> tuple[Floats, str]:
    """What is up on paper that is seen along a plane's normal (3,), and the arrow's words.

    ways: (2, 3) unit, along which the plane's edges run, if it has any: the paper follows the
    edges. Returns a unit vector (3,) of the car's frame in the plane: up, or ahead where the plane
    lies level.
    """
    up, ahead = np.array([0.0, 0.0, 1.0]), np.array([-1.0, 0.0, 0.0])
    for wanted, words in ((up, UP), (ahead, AHEAD)):
        if ways is None:
            flat = wanted - float(wanted @ normal) * normal
        else:
            flat = max((s * way for way in ways for s in (1.0, -1.0)), key=lambda v: v @ wanted)
        share = float(flat @ wanted) / float(np.linalg.norm(flat)) if flat.any() else 0.0
        if share > _LEVEL:
            return np.asarray(flat / np.linalg.norm(flat)), words
    raise AssertionError("up and ahead are square to each other")  # no plane is square to both


def upright_of(design: BracketDesign, number: int) -> Upright:
    """How the flat of one piece lies on paper: as its foot on the core support is in the car.

    A second piece has no such foot: there the flat on the tab decides.
    """
    turn = design.blanks[number][1][:3, :3]
    ways = design.made.job.face.ways if number == 0 and design.form != HAT else None
    up, words = paper_up(turn[:, 2], ways)
    x, y, _ = up @ turn
    return Upright(math.pi / 2.0 - math.atan2(float(y), float(x)), words, words == AHEAD)


def car_sides(text: str) -> str:
    """A face's or an edge's name with left and right said to be the car's."""
    return _SIDE.sub(r"the car's \1", _OPENING.sub(r"opening's edge on the car's \1", text))


def edge_label(text: str) -> str:
    """An edge's name, short enough to stand by its line."""
    return _OPENING.sub(r"opening's edge, car's \1", text).removeprefix("the ")


def hand_words(hand: str) -> str:
    """Such as "L: the car's left"; "" on the centre line."""
    return f"{hand_letter(hand)}: the car's {hand}" if hand else ""


def hand_letter(hand: str) -> str:
    """What is stamped: "L", "R", or "" on the centre line."""
    return hand[:1].upper()


def seen_from(design: BracketDesign, number: int) -> str:
    """From where the flat of a piece is drawn, by the car and by what its other side lies on."""
    where = _of(_SEEN_FROM, design.blanks[number][1][:3, 2])
    if number:
        return where
    on = host_noun(design) if design.form == HAT else "core support"
    return f"{where}, the side that faces away from the {on}"


def host_noun(design: BracketDesign) -> str:
    """What the bracket holds by: "tab", "lug", or the "plate" that a fan's holes are in."""
    noun = design.site.name.split()[-1]
    return "plate" if noun == "hole" else noun


def rail_words(design: BracketDesign) -> str:
    """Such as "on the rear of the car's left side flange, behind it"."""
    face = design.made.job.face
    return f"on the {car_sides(face.name)}, {_of(_LIES, face.plane.up)} it"


def tab_words(design: BracketDesign) -> str:
    """Such as "behind the condenser's tab"."""
    way = design.made.job.side * design.site.normal
    host = design.site.host.name
    whose = f"{host}'" if host.endswith("s") else f"{host}'s"
    return f"{_of(_LIES, way)} the {whose} {host_noun(design)}"


def nut_words(design: BracketDesign, where: str) -> str:
    """Where the nut of a joint ("tab", "rail") is, as seen from what the bracket lies on."""
    face = design.made.job.face.plane.up
    way = face if where == "rail" else design.made.job.side * design.site.normal
    return _of(_LIES, -way)


def _of(words: tuple[tuple[str, str], ...], way: Floats) -> str:
    axis = int(np.argmax(np.abs(way)))
    return words[axis][int(way[axis] > 0)]
