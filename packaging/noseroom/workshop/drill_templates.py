"""Paper to drill by: a hole in the core support with the edges that it is measured from."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_records import BracketDesign, RailHole
from noseroom.checks.bracket_sites import RailEdge, RailFace
from noseroom.geometry.outlines import Path, Point
from noseroom.report.drawing_text import text_width_mm
from noseroom.units import MM_PER_INCH
from noseroom.workshop.arrows import with_up_arrow
from noseroom.workshop.bracket_place import AHEAD, car_sides, edge_label, hand_letter, paper_up
from noseroom.workshop.figures import CentreMark, Figure, Label
from noseroom.workshop.nose_files import slug

Floats = NDArray[np.float64]
_PAST_MM = 15.0
_WORDS_MM, _OFF_MM = 3.0, 1.5
_APART_MM, _FAR_MM, _PAST_WORDS_MM = 9.0, 30.0, 2.0
"""From the words on an edge to the other edge and to the hole; how far off a hole is far."""
_LEVEL = "This face lies level in the car: the arrow points ahead, not up."
CAUTION = (
    "Look behind the panel first; battery off where wiring is near. Never drill a tank, a header "
    "or a core."
)


def drill_figures(design: BracketDesign) -> tuple[Figure, ...]:
    """A template for each hole that is drilled where it is drawn.

    There is none for a hole that is there already, nor for one that is marked through the bracket:
    paper would say that its place is known.
    """
    face = design.made.job.face
    wanted = [
        one
        for one in design.rail_holes
        if not one.existing and not one.marked_last and one.face == face.name
    ]
    return tuple(_figure(design, one, k, len(wanted)) for k, one in enumerate(wanted, start=1))


def _figure(design: BracketDesign, hole: RailHole, number: int, count: int) -> Figure:
    face = design.made.job.face
    ways, upward = _ways(face)
    middle = ways @ hole.point
    edges = [_edge(face, face.nearest_edge(hole.point, axis), ways, middle) for axis in (0, 1)]
    guides = [_guide(k, edges) for k in (0, 1)]
    which = f" {number} of {count}" if count > 1 else ""
    figure = Figure(
        slug(f"{design.name} drilling {number}"),
        f"To drill by{which}: {design.title}",
        centres=(
            CentreMark(
                (0.0, 0.0),
                f"drill {hole.drill} [Ø {hole.diameter_mm:.1f} mm, "
                f"{hole.diameter_mm / MM_PER_INCH:.3f} in]",
                hole.diameter_mm,
            ),
        ),
        guides=tuple(path for path, _ in guides),
        labels=tuple(label for _, label in guides),
        notes=(
            *_measures(hole),
            "Lay both chain lines on the edges that they name.",
            *([_LEVEL] if upward == AHEAD else []),
            CAUTION,
        ),
        hand=design.hand,
        seen_from=f"where you stand to drill: the {car_sides(hole.face)}",
    )
    return with_up_arrow(figure, upward, hand_letter(design.hand))


def _ways(face: RailFace) -> tuple[Floats, str]:
    """The paper's right and up (2, 3), as one looks at the face, and what its up is in the car."""
    up, words = paper_up(face.plane.up, face.ways)
    return np.array([np.cross(up, face.plane.up), up]), words


def _edge(
    face: RailFace, edge: RailEdge, ways: Floats, middle: Floats
) -> tuple[Point, Floats, str]:
    """An edge on the paper: its nearest point to the hole, its way (2,), and its name."""
    across = ways @ face.ways[edge.axis]
    at = ways @ (face.plane.point + edge.at_mm * face.ways[edge.axis]) - middle
    off = across * float(at @ across)
    return (float(off[0]), float(off[1])), np.array([-across[1], across[0]]), edge.words


def _guide(k: int, edges: list[tuple[Point, Floats, str]]) -> tuple[Path, Label]:
    """An edge's line, past the hole and past the other edge, and long enough for its words."""
    (at, way, words), (other, _, _) = edges[k], edges[1 - k]
    if tuple(way.round(6)) < (0.0, 0.0) or way.round(6)[0] < 0:
        way = -way
    text = edge_label(words)
    crossing = float(np.dot(np.subtract(other, at), way))
    long = text_width_mm(text, _WORDS_MM)
    low, high = min(0.0, crossing) - _PAST_MM, max(0.0, crossing) + _PAST_MM
    if abs(crossing) > long + 2 * _APART_MM:
        words_at = crossing / 2.0
    else:
        # Away from the hole, where nothing else is; far from it on its side, which takes less room.
        on = 1.0 if crossing >= 0.0 else -1.0
        on = -on if math.hypot(*at) > _FAR_MM else on
        words_at = crossing + on * (_APART_MM + long / 2.0)
        end = crossing + on * (_APART_MM + long + _PAST_WORDS_MM)
        low, high = min(low, end), max(high, end)
    ends = [(at[0] + way[0] * s, at[1] + way[1] * s) for s in (low, high)]
    # On the side of the line that is away from the hole.
    foot = np.array(at) + way * words_at
    left = np.array([-way[1], way[0]])
    away = float(np.dot(at, left))
    shift = _OFF_MM if away >= 0.0 else -_OFF_MM - 0.95 * _WORDS_MM
    place = foot + left * shift
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    label = Label(text, (float(place[0]), float(place[1])), _WORDS_MM, turn)
    return Path((ends[0], ends[1]), closed=False), label


def _measures(hole: RailHole) -> Iterator[str]:
    said = [
        f"{mm:.1f} mm [{mm / MM_PER_INCH:.3f} in] from {car_sides(words)}"
        for words, mm in hole.from_edges
    ]
    yield f"Middle of the hole: {' and '.join(said)}."
