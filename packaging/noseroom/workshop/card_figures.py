"""What is cut from card: each panel's outline at full size, with its name and letters on it.

Two panels that meet carry the same letter beside the place. Words lie wholly on the piece, clear of
its cuts and of one another; what finds no room is said beside the piece instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from noseroom.geometry.outlines import Circle, Point
from noseroom.report.drawing_text import text_width_mm
from noseroom.workshop.card_joints import Blank, Works, at_point
from noseroom.workshop.card_regions import Round, cuts_of, grown
from noseroom.workshop.card_stock import Panel
from noseroom.workshop.figures import CentreMark, Figure, Label

Floats = NDArray[np.float64]

_SEEN_FROM = ("behind", "the car's right", "above")
_CAPITALS = 0.71  # of the font size
_CLEAR_MM = 0.8
_NAME_MM = (6.0, 4.0, 3.0, 2.5)
_LETTER_MM = (4.0, 3.0, 2.2)
_NEAR_MM, _STEP_MM = 24.0, 1.5
_LARGEST_HOLE_MM = 30.0


def panels_of(works: Works, model: str, first: int = 1) -> tuple[Panel, ...]:
    """The panels of a stand-in as they are cut, in the order in which they go together.

    first: number of the first one, so that no two panels of one nose have the same.
    """
    letters: dict[str, list[tuple[str, Floats]]] = {name: [] for name in works.panels}
    seen: dict[tuple[str, str], str] = {}
    for joint in works.joints:
        pair = (joint.first, joint.second)
        known = seen.get(pair)
        seen.setdefault(pair, _letter(len(seen)))
        if known is None:
            for name in pair:
                letters[name].append((seen[pair], joint.middle))
    return tuple(
        _panel(works, model, one, order, letters[one.name])
        for order, one in enumerate(works.panels.values(), first)
    )


def _letter(index: int) -> str:
    """A, B … Z, AA, AB …, without I and O, which look like figures."""
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    text = ""
    while index >= 0:
        text = alphabet[index % len(alphabet)] + text
        index = index // len(alphabet) - 1
    return text


def _panel(
    works: Works, model: str, blank: Blank, order: int, letters: Sequence[tuple[str, Floats]]
) -> Panel:
    card, region = works.card, blank.region
    assert isinstance(region, Polygon)  # `Works.whole` has seen to it
    half = card.kerf_mm / 2.0
    rounds = [
        Round(one.centre, one.radius + by)
        for one in works.rounds[blank.normal]
        for by in ((half, -half) if half else (0.0,))
        if one.radius + by > 0.0
    ]
    cuts = cuts_of(grown(region, half), rounds)
    words, middle = _Words(region), region.centroid.coords[0]
    name, said = f"{order} {blank.name}", []
    if not words.write(name, middle, _NAME_MM, True):
        there = words.write(str(order), middle, _LETTER_MM, True)
        said.append(f"{'Too small for its name' if there else 'Too small for words'}: {name}.")
    spots = [(letter, at_point(blank.normal, spot)) for letter, spot in letters]
    lost = [letter for letter, spot in spots if not words.write(letter, spot, _LETTER_MM, False)]
    if lost:
        said.append(f"No room on it for {', '.join(lost)}.")
    way = np.zeros(3)
    way[blank.way[0]] = blank.way[1]
    figure = Figure(
        name=f"{model} {blank.name}",
        title=f"{name}, {model}",
        cuts=cuts,
        centres=tuple(_centres(cuts)),
        labels=tuple(words.made),
        notes=tuple(said),
        hand=next((one for one in ("left", "right") if one in blank.name.split()), ""),
        seen_from=_SEEN_FROM[blank.normal],
        thickness_mm=card.thickness_mm,
        material=card.material,
    )
    return Panel(
        name=blank.name,
        normal=blank.normal,
        low_mm=blank.low,
        thickness_mm=blank.thickness,
        region=region,
        slide=way,
        order=order,
        letters=tuple(spots),
        figure=figure,
    )


def _centres(cuts: Sequence[object]) -> Iterator[CentreMark]:
    for one in cuts[:-1]:
        if isinstance(one, Circle) and one.diameter_mm <= _LARGEST_HOLE_MM:
            yield CentreMark(one.centre, f"Ø {one.diameter_mm:.1f}", one.diameter_mm)


@dataclass
class _Words:
    """Words on one panel, and where there is still room for more."""

    region: Polygon
    made: list[Label] = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._inside = self.region.buffer(-_CLEAR_MM, join_style="mitre")
        shapely.prepare(self._inside)

    def write(self, text: str, near: Sequence[float], heights: Sequence[float], far: bool) -> bool:
        """Put a text as near to a point as there is room, as tall as it may be; False without."""
        for height in heights:
            long = text_width_mm(text, height / _CAPITALS)
            for turned in (False, True):
                size = (height, long) if turned else (long, height)
                spot = self._room(size, near, far)
                if spot is None:
                    continue
                x, y = spot
                at: Point = (x + height / 2.0, y) if turned else (x, y - height / 2.0)
                self.made.append(Label(text, at, height, 90.0 if turned else 0.0))
                half = np.array(size) / 2.0 + _CLEAR_MM
                self.taken.append((x - half[0], y - half[1], x + half[0], y + half[1]))
                return True
        return False

    def _room(
        self, size: tuple[float, float], near: Sequence[float], far: bool
    ) -> tuple[float, float] | None:
        """The middle of the nearest free rectangle of a size, or None."""
        if self._inside.is_empty:
            return None
        x0, y0, x1, y1 = self._inside.bounds
        if not far:
            x0, x1 = max(x0, near[0] - _NEAR_MM), min(x1, near[0] + _NEAR_MM)
            y0, y1 = max(y0, near[1] - _NEAR_MM), min(y1, near[1] + _NEAR_MM)
        if x1 - x0 < size[0] or y1 - y0 < size[1]:
            return None
        across = _marks(x0 + size[0] / 2.0, x1 - size[0] / 2.0)
        up = _marks(y0 + size[1] / 2.0, y1 - size[1] / 2.0)
        x, y = (one.ravel() for one in np.meshgrid(across, up))
        # Rounded, so that two places that are as near do not change places from run to run.
        order = np.lexsort((x, y, np.round(np.hypot(x - near[0], y - near[1]), 6)))
        x, y = x[order], y[order]
        low, high = (x - size[0] / 2.0, y - size[1] / 2.0), (x + size[0] / 2.0, y + size[1] / 2.0)
        free = np.ones(len(x), dtype=bool)
        for a, b, c, d in self.taken:
            free &= (low[0] >= c) | (high[0] <= a) | (low[1] >= d) | (high[1] <= b)
        free[free] = shapely.contains(
            self._inside, shapely.box(low[0], low[1], high[0], high[1])[free]
        )
        found = np.flatnonzero(free)
        return (float(x[found[0]]), float(y[found[0]])) if len(found) else None


def _marks(low: float, high: float) -> Floats:
    """Places from end to end, no further apart than a step, and no more than a hundred."""
    count = min(100, max(1, math.ceil((high - low) / _STEP_MM)))
    return np.linspace(low, high, count + 1)
