"""Where words go beside what they are about: near it, on no line and on no other word."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from shapely import LineString, STRtree, box

from noseroom.report.drawing_model import Point
from noseroom.report.drawing_text import BODY_MM, Box, text_box

_NEAR_MM, _STEP_MM, _FAR_MM = 1.2, 1.5, 120.0
_DIRECTIONS = 24
_FREE_MM = 0.7
"""Room between words and lines."""
_DOUBT_MM = 2.5
"""Another place has to be so much further from words without a leader than their own."""
_LEADER_MM = 1.6
"""Words no further off than this need no line to what they are about."""


@dataclass(frozen=True)
class Word:
    """Words about a place. All in sheet mm, y down.

    reach_mm: radius of what must stay clear. or_at: another place that they may stand by instead.
    """

    text: str
    at: Point
    reach_mm: float = 0.0
    size_mm: float = BODY_MM
    or_at: Point | None = None

    @property
    def places(self) -> tuple[Point, ...]:
        """All places that they may stand by."""
        return (self.at,) if self.or_at is None else (self.at, self.or_at)


@dataclass(frozen=True)
class Spot:
    """Where a word goes: start of its baseline, its box, and the line to its place (or none)."""

    word: Word
    x: float
    y: float
    box: Box
    leader: tuple[Point, Point] | None

    def shifted(self, dx: float, dy: float) -> Spot:
        """The same elsewhere on the sheet."""
        x0, y0, x1, y1 = self.box
        ends = self.leader and tuple((x + dx, y + dy) for x, y in self.leader)
        return Spot(
            self.word,
            self.x + dx,
            self.y + dy,
            Box(x0 + dx, y0 + dy, x1 + dx, y1 + dy),
            (ends[0], ends[1]) if ends else None,
        )


@dataclass
class _Taken:
    """What words keep clear of. lines: of the figure; words, leaders: those placed so far."""

    lines: Sequence[Any]
    room: Box | None
    words: list[Box]
    leaders: list[Any] = field(default_factory=list)
    places: list[tuple[Word, Point]] = field(default_factory=list)
    tree: STRtree = field(init=False)

    def __post_init__(self) -> None:
        self.tree = STRtree(self.lines)

    def free(self, where: Box, *, of_lines: bool) -> bool:
        """Whether words may stand there."""
        if self.room is not None and not where.inside(self.room):
            return False
        if any(where.overlaps(one, _FREE_MM) for one in self.words):
            return False
        if not of_lines:
            return True
        wide = box(*where).buffer(_FREE_MM, join_style="mitre")
        if any(wide.intersects(one) for one in self.leaders):
            return False
        return not len(self.tree.query(wide, predicate="intersects"))

    def doubtful(self, spot: Spot) -> bool:
        """Whether words without a leader could be about another place: it is hardly further off."""
        own = min(_gap(at, spot.word, spot.box) for at in spot.word.places)
        return any(
            other.text != spot.word.text and _gap(at, other, spot.box) < own + _DOUBT_MM
            for other, at in self.places
        )

    def crossed(self, leader: tuple[Point, Point]) -> bool:
        """Whether a line would run through words."""
        line = LineString(leader)
        return any(line.intersects(box(*one)) for one in self.words)


def find_spots(
    words: Iterable[Word],
    lines: Sequence[Any],
    taken: Iterable[Box] = (),
    room: Box | None = None,
    *,
    on_lines: bool = True,
) -> tuple[Spot, ...]:
    """A spot for each word, in their order: the nearest that keeps clear of all before it.

    lines: shapely lines. taken: boxes that are not free. room: words stay inside, if given.
    on_lines: where the room is too full, words may lie on lines, but never on words. Where there
    is no spot words go unplaced, and fewer spots than words come back.
    """
    about = _Taken(lines, room, list(taken))
    found = []
    words = tuple(words)
    about.places = [(one, at) for one in words for at in one.places]
    for word in words:
        spot = _spot(word, about, on_lines)
        if spot is None:
            continue
        found.append(spot)
        about.words.append(spot.box)
        if spot.leader:
            about.leaders.append(LineString(spot.leader))
    return tuple(found)


def _spot(word: Word, about: _Taken, on_lines: bool) -> Spot | None:
    for of_lines in (True, False) if on_lines else (True,):
        for spot in _tries(word):
            if not about.free(spot.box, of_lines=of_lines):
                continue
            if about.crossed(spot.leader) if spot.leader else about.doubtful(spot):
                continue
            return spot
    return None


def _tries(word: Word) -> Iterator[Spot]:
    """Spots round the place, nearer ones first, to the right before the left."""
    plain = text_box(word.text, 0.0, 0.0, word.size_mm)
    wide, high = plain.x1 - plain.x0, plain.y1 - plain.y0
    turns = sorted(range(_DIRECTIONS), key=lambda k: (min(k, _DIRECTIONS - k), k))
    away = word.reach_mm + _NEAR_MM
    while away < _FAR_MM:
        for (x, y), turn in product(word.places, turns):
            c = math.cos(math.tau * turn / _DIRECTIONS)
            s = math.sin(math.tau * turn / _DIRECTIONS)
            # The box's nearest point lies `away` from the place, in the direction or so.
            x0 = x + c * (away + wide / 2.0) - wide / 2.0
            y0 = y - s * (away + high / 2.0) - high / 2.0
            where = Box(x0, y0, x0 + wide, y0 + high)
            yield Spot(word, x0, y0 - plain.y0, where, _leader((x, y), word, where))
        away += _STEP_MM


def _leader(at: Point, word: Word, where: Box) -> tuple[Point, Point] | None:
    """From the rim of the place to the nearest point of the words."""
    x, y = at
    tip = _nearest(at, where)
    long = math.dist(at, tip)
    if long - word.reach_mm <= _LEADER_MM:
        return None
    share, gap = word.reach_mm / long, 0.4 / long
    return (
        (x + share * (tip[0] - x), y + share * (tip[1] - y)),
        (tip[0] - gap * (tip[0] - x), tip[1] - gap * (tip[1] - y)),
    )


def _nearest(at: Point, where: Box) -> Point:
    """The point of a box that is nearest to a place."""
    return min(max(at[0], where.x0), where.x1), min(max(at[1], where.y0), where.y1)


def _gap(at: Point, word: Word, where: Box) -> float:
    """From the rim of a place to a box."""
    return math.dist(at, _nearest(at, where)) - word.reach_mm
