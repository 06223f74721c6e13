"""The arrow that says which way is up, beside a figure's metal, with the hand's letter."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
from shapely import LineString, Polygon, box, union_all

from noseroom.report.drawing_text import text_width_mm
from noseroom.workshop.figures import Arrow, Figure, Label, is_closed, sampled

_WORDS_MM, _LETTER_MM = 3.0, 6.0
_STEM_MM, _BESIDE_MM, _AFTER_MM = 2.0, 5.4, 1.6
"""From the left to the stem, from there to the foot of the words, and what follows those."""
_LETTER_WIDE_MM, _LONG_MM = 6.0, 26.0
_CAPITALS = 0.71  # DXF's letters are so much larger: there a height is that of the capitals
_CLEAR_MM, _STEP_MM, _FAR_MM = 3.0, 3.0, 30.0
_BEND_MARK_MM = 8.0
_SCARCE = 5.0
_CROSS_MM = 12.0
"""Kept free past the ends of bends and round the middles of holes, for marks and words."""


def with_up_arrow(figure: Figure, words: str, letter: str = "") -> Figure:
    """The figure with an arrow up the paper, where it takes least room beyond the figure.

    words: what the arrow means, such as "UP (in the car)". letter: to its left, "L", "R" or "".
    """
    high = max(_LONG_MM, text_width_mm(words, _WORDS_MM / _CAPITALS)) + 1.0
    left = _LETTER_WIDE_MM if letter else 0.0
    wide = left + _STEM_MM + _BESIDE_MM + _AFTER_MM
    x, y = _free_corner(figure, wide, high)
    stem, middle = x + left + _STEM_MM, y + high / 2.0
    arrow = Arrow((stem, middle - _LONG_MM / 2.0), (stem, middle + _LONG_MM / 2.0))
    labels = [Label(words, (stem + _BESIDE_MM, middle), _WORDS_MM, 90.0)]
    if letter:
        labels.append(Label(letter, (x + left / 2.0, middle - _LETTER_MM / 2.0), _LETTER_MM))
    return replace(figure, arrows=(*figure.arrows, arrow), labels=(*figure.labels, *labels))


def _free_corner(figure: Figure, wide: float, high: float) -> tuple[float, float]:
    """The lower left corner of a free place: the one with which figure and arrow stay smallest."""
    taken = _taken(figure)
    x0, y0, x1, y1 = figure.box()
    best: tuple[tuple[float, ...], tuple[float, float]] | None = None
    columns = np.arange(x0 - _FAR_MM, x1 + _FAR_MM, _STEP_MM)
    rows = np.arange(y0 - _FAR_MM - high, y1 + _FAR_MM, _STEP_MM)
    for x, y in itertools.product(columns.tolist(), rows.tolist()):
        across, deep = max(x1, x + wide) - min(x0, x), max(y1, y + high) - min(y0, y)
        # Height is scarcer on a sheet than width, and words stand beside most figures.
        grown = (across - x1 + x0) * (y1 - y0) + _SCARCE * (deep - y1 + y0) * (x1 - x0)
        off = abs(x + wide / 2.0 - (x0 + x1) / 2.0) + abs(y + high / 2.0 - (y0 + y1) / 2.0)
        rank = (round(grown, 3), round(off, 3), -x, y)
        if best is not None and rank >= best[0]:
            continue
        if not box(x, y, x + wide, y + high).intersects(taken):
            best = rank, (x, y)
    assert best is not None  # beyond the figure everything is free
    return best[1]


def _taken(figure: Figure) -> Any:
    """What the arrow keeps clear of: metal, bend marks, holes with their crosses, lines, words."""
    found = [Polygon(sampled(one)) for one in figure.cuts if is_closed(one)]
    found += [LineString(sampled(one)) for one in figure.guides if not is_closed(one)]
    for bend in figure.bends:
        found.append(LineString([bend.start, bend.end]).buffer(_BEND_MARK_MM))
    for centre in figure.centres:
        reach = centre.diameter_mm / 2.0 + _CROSS_MM
        x, y = centre.at
        found.append(box(x - reach, y - reach, x + reach, y + reach))
    for label in figure.labels:
        x, y = label.at
        half, tall = text_width_mm(label.text, label.height_mm) / 2.0, label.height_mm
        turned = round(label.turn_deg) % 180 == 90
        sides = (
            (x - tall, y - half, x + tall, y + half)
            if turned
            else (x - half, y - tall, x + half, y + 2 * tall)
        )
        found.append(box(*sides))
    return union_all(found).buffer(_CLEAR_MM)
