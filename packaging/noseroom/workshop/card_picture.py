"""How a stand-in of card goes together: its panels drawn apart, and the order in words.

Panels are drawn as seen from ahead, the car's left and above, each moved back along the way in
which it comes. A line is drawn where nothing stands between it and the eye: every panel is a plate
between two planes, so that what a line of sight passes in it can be told from where it enters and
leaves those.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import translate

from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import CAP_HALF, Canvas
from noseroom.report.drawing_text import Box, text_box, wrap
from noseroom.workshop.card_check import panel_box, size_of
from noseroom.workshop.card_joints import plane
from noseroom.workshop.card_stock import CardModel, Panel

Floats = NDArray[np.float64]

SHEET_MM = (196.0, 262.0)
"""Inside the margins of both A4 and Letter, upright."""
_PICTURE = Box(6.0, 20.0, 190.0, 154.0)
_TOGETHER = Box(106.0, 164.0, 188.0, 216.0)
_WIDE_MM = 92.0
_FIRST = (Box(4.0, 158.0, 96.0, 258.0), Box(100.0, 220.0, 192.0, 258.0))
_MORE = (Box(4.0, 18.0, 96.0, 258.0), Box(100.0, 18.0, 192.0, 258.0))
"""Where words go: columns on the first sheet and on any other."""
_EYE = np.array([-0.72, -0.48, 0.5]) / np.linalg.norm([-0.72, -0.48, 0.5])
_RIGHT = np.array([-_EYE[1], _EYE[0], 0.0]) / math.hypot(_EYE[0], _EYE[1])
_UP = np.cross(_EYE, _RIGHT)
_STEP_SHEET_MM = 0.35
_CORNER_RAD = math.radians(25.0)
_APART = 0.16
_LEAST_APART_MM = 22.0
_NUMBER_MM, _LIST_MM, _PITCH_MM = 2.6, 2.5, 3.3
KEY = (
    "In what order: number and name of the panel, the way it moves, then its joints. 'C 5' is "
    "joint C, with panel 5; both panels bear the letter at their slots. Left and right are the "
    "car's."
)
_WAYS = (("ahead", "aft"), ("to the left", "to the right"), ("down", "up"))


@dataclass(frozen=True)
class _Drawn:
    """A panel moved out of its place: its region made of fewer points, and its lower face."""

    panel: Panel
    region: Polygon
    low: float

    def solid_point(self, uv: Floats, level: Floats) -> Floats:
        """Points (n, 3) of the part's frame, from places (n, 2) on it and heights (n,)."""
        made = np.empty((len(uv), 3))
        u, v = plane(self.panel.normal)
        made[:, u], made[:, v], made[:, self.panel.normal] = uv[:, 0], uv[:, 1], level
        return made

    def hides(self, points: Floats) -> NDArray[np.bool_]:
        """Which points (n, 3) it hides from the eye."""
        n, (u, v) = self.panel.normal, plane(self.panel.normal)
        speed = _EYE[n]
        ends = np.array([self.low, self.low + self.panel.thickness_mm])
        times = (ends[:, None] - points[:, n]) / speed
        enter, leave = np.maximum(times.min(axis=0), 0.02), times.max(axis=0)
        hidden = np.zeros(len(points), dtype=bool)
        for share in (0.02, 0.5, 0.98):
            left = np.flatnonzero(~hidden & (leave > enter + 0.02))
            if not len(left):
                break
            at = points[left] + (enter + share * (leave - enter))[left, None] * _EYE
            hidden[left] = shapely.contains_xy(self.region, at[:, u], at[:, v])
        return hidden


def assembly_sheets(model: CardModel) -> tuple[str, ...]:
    """How a stand-in goes together, as SVG sheets: pictures first, what the words need after."""
    said = [KEY, *order_of(model), "", *model.notes]
    columns = _flowed([wrap(text, _WIDE_MM, _LIST_MM) or ("",) for text in said])
    sheets = [_first(model, columns[: len(_FIRST)])]
    for start in range(len(_FIRST), len(columns), len(_MORE)):
        canvas = _sheet(model, "More of the order and of the notes.")
        _draw_lines(canvas, columns[start : start + len(_MORE)], _MORE)
        sheets.append(canvas.to_string())
    return tuple(sheets)


def _flowed(texts: Sequence[tuple[str, ...]]) -> list[list[str]]:
    """Lines of each column, those of the first sheet first: no text is torn over two of them."""
    rows = [_rows(one) for one in _FIRST]
    columns: list[list[str]] = [[]]
    for lines in texts:
        room = rows[len(columns) - 1] if len(columns) <= len(rows) else _rows(_MORE[0])
        if columns[-1] and len(columns[-1]) + len(lines) > room:
            columns.append([])
        if columns[-1] or lines != ("",):
            columns[-1] += lines
    return columns


def _sheet(model: CardModel, subtitle: str) -> Canvas:
    what = f"{model.name}, of card"
    canvas = Canvas(*SHEET_MM, what, subtitle)
    canvas.group("title")
    canvas.text(what, 4.0, 8.0, size=5.0, bold=True)
    canvas.text(subtitle, 4.0, 13.5)
    return canvas


def _first(model: CardModel, columns: Sequence[Sequence[str]]) -> str:
    numbers = f"{model.panels[0].order} to {model.panels[-1].order}"
    canvas = _sheet(
        model,
        f"Panels {numbers}, in this order; in brackets where hidden. "
        "Seen from ahead, the car's left and above.",
    )
    together, apart = _apart(model, 0.0), _apart(model, 1.0)
    _draw_panels(canvas, together, _View.of(together, _TOGETHER))
    view = _View.of(apart, _PICTURE)
    _draw_panels(canvas, apart, view)
    _draw_numbers(canvas, apart, view)
    _draw_lines(canvas, columns, _FIRST)
    return canvas.to_string()


def _rows(column: Box) -> int:
    return int((column.y1 - column.y0) / _PITCH_MM)


def _draw_lines(canvas: Canvas, columns: Sequence[Sequence[str]], places: Sequence[Box]) -> None:
    canvas.group("words")
    for lines, place in zip(columns, places, strict=False):
        for row, line in enumerate(lines):
            canvas.text(line, place.x0, place.y0 + (row + 1) * _PITCH_MM, size=_LIST_MM)


def _apart(model: CardModel, share: float) -> list[_Drawn]:
    """Its panels, moved back along their ways in by a share of what sets them well apart.

    What comes in behind another panel, along the same way and over the same place, is moved back
    by one step more than that; what comes in beside it, by as many.
    """
    extent = float(np.ptp(size_of(model), axis=0).max())
    step = share * max(_LEAST_APART_MM, _APART * extent)
    done: list[tuple[Panel, int]] = []
    made = []
    for number, panel in enumerate(model.panels):
        same = [(other, one) for other, one in done if _way(other) == _way(panel)]
        over = [one for other, one in same if _over(other, panel, _way(panel)[0])]
        furthest = max((one for _, one in same), default=0)
        steps = max(1 + max(over, default=0), furthest) if number else 0
        done.append((panel, steps))
        by = -panel.slide * step * steps
        u, v = plane(panel.normal)
        moved = translate(panel.region.simplify(0.05), float(by[u]), float(by[v]))
        shapely.prepare(moved)
        made.append(_Drawn(panel, moved, panel.low_mm + float(by[panel.normal])))
    return made


def _over(one: Panel, other: Panel, axis: int) -> bool:
    """Whether two panels cover each other, seen along an axis."""
    a, b = panel_box(one), panel_box(other)
    return all(min(a[1, k], b[1, k]) > max(a[0, k], b[0, k]) for k in range(3) if k != axis)


def _way(panel: Panel) -> tuple[int, int]:
    axis = int(np.argmax(np.abs(panel.slide)))
    return axis, int(np.sign(panel.slide[axis]))


@dataclass(frozen=True)
class _View:
    """From the part's frame to the sheet: scale, and where its middle goes."""

    frame: Box
    scale: float
    middle: Floats

    @classmethod
    def of(cls, drawn: Sequence[_Drawn], frame: Box) -> _View:
        """All of it, as large as its frame on the sheet allows."""
        ends = np.concatenate([_flat(_corners(one)) for one in drawn])
        low, high = ends.min(axis=0), ends.max(axis=0)
        wide, tall = frame.x1 - frame.x0, frame.y1 - frame.y0
        scale = min(wide / (high[0] - low[0]), tall / (high[1] - low[1]))
        return cls(frame, float(scale), (low + high) / 2.0)

    def sheet(self, points: Floats) -> Floats:
        """Sheet points (n, 2), mm, of points (n, 3)."""
        flat = (_flat(points) - self.middle) * self.scale * np.array([1.0, -1.0])
        x, y = (self.frame.x0 + self.frame.x1) / 2.0, (self.frame.y0 + self.frame.y1) / 2.0
        made: Floats = flat + np.array([x, y])
        return made


def _flat(points: Floats) -> Floats:
    return np.stack([points @ _RIGHT, points @ _UP], axis=-1)


def _corners(one: _Drawn) -> Floats:
    u0, v0, u1, v1 = one.region.bounds
    uv = np.array([(u, v) for u in (u0, u1) for v in (v0, v1)])
    return np.concatenate(
        [
            one.solid_point(uv, np.full(4, level))
            for level in (one.low, one.low + one.panel.thickness_mm)
        ]
    )


def _edges(one: _Drawn) -> Iterator[Floats]:
    """Polylines (n, 3): both faces' outlines, and the edges that join their corners."""
    top = one.low + one.panel.thickness_mm
    for ring in (one.region.exterior, *one.region.interiors):
        points = np.array(ring.coords)
        for level in (one.low, top):
            yield one.solid_point(points, np.full(len(points), level))
        steps = np.diff(points, axis=0)
        angles = np.arctan2(steps[:, 1], steps[:, 0])
        turns = np.angle(np.exp(1j * (angles - np.roll(angles, 1))))
        for corner in points[:-1][np.abs(turns) > _CORNER_RAD]:
            yield one.solid_point(np.stack([corner, corner]), np.array([one.low, top]))


def _draw_panels(canvas: Canvas, drawn: Sequence[_Drawn], view: _View) -> None:
    step = _STEP_SHEET_MM / view.scale
    for one in drawn:
        canvas.group("panel", f"{one.panel.order} {one.panel.name}")
        lines = [_dense(edge, step) for edge in _edges(one)]
        hidden = _hidden(np.concatenate(lines), drawn)
        start = 0
        for line in lines:
            seen = ~hidden[start : start + len(line)]
            start += len(line)
            flat = view.sheet(line)
            for run in _runs(seen):
                canvas.line(_thinned(flat[run]), width=0.2)


def _dense(edge: Floats, step: float) -> Floats:
    pieces = []
    for a, b in pairwise(edge):
        count = max(1, math.ceil(float(np.linalg.norm(b - a)) / step))
        pieces.append(a + (b - a) * (np.arange(count) / count)[:, None])
    return np.concatenate([*pieces, edge[-1:]])


def _hidden(points: Floats, drawn: Sequence[_Drawn]) -> NDArray[np.bool_]:
    hidden = np.zeros(len(points), dtype=bool)
    flat = _flat(points)
    for one in drawn:
        box = _flat(_corners(one))
        low, high = box.min(axis=0), box.max(axis=0)
        asked = np.flatnonzero(~hidden & ((flat > low) & (flat < high)).all(axis=1))
        if len(asked):
            hidden[asked] = one.hides(points[asked])
    return hidden


def _runs(seen: NDArray[np.bool_]) -> Iterator[slice]:
    """Stretches of two points or more that are seen."""
    marks = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(int)))
    for start, stop in marks.reshape(-1, 2):
        if stop - start > 1:
            yield slice(int(start), int(stop))


def _thinned(points: Floats) -> list[Point]:
    """Without points in the middle of a straight stretch."""
    if len(points) > 2:
        before, after = points[1:-1] - points[:-2], points[2:] - points[1:-1]
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        keep = np.concatenate([[True], np.abs(cross) > 1e-6, [True]])
        points = points[keep]
    return [(float(x), float(y)) for x, y in points]


def _draw_numbers(canvas: Canvas, drawn: Sequence[_Drawn], view: _View) -> None:
    """Each panel's number where the panel is seen, with a line to it where there is no room."""
    canvas.group("numbers")
    taken: list[Box] = []
    for one in drawn:
        text = str(one.panel.order)
        spots = view.sheet(_seen_points(one, drawn))
        if not len(spots):  # hidden: the number stands before what hides it
            text, spots = f"({text})", view.sheet(_corners(one).mean(axis=0)[None])
        at, anchor = _free_spot(text, spots, taken)
        if math.dist(at, anchor) > 0.5:
            canvas.line([anchor, at], width=0.12)
            canvas.dot(*anchor, 0.35)
        box = text_box(text, *at, _NUMBER_MM, anchor="middle", bold=True)
        taken.append(box)
        canvas.text(
            text,
            at[0],
            at[1] + CAP_HALF * _NUMBER_MM,
            size=_NUMBER_MM,
            anchor="middle",
            bold=True,
            halo=True,
        )


def _seen_points(one: _Drawn, drawn: Sequence[_Drawn]) -> Floats:
    """Points (n, 3) of the face towards the eye that are seen, the one farthest inside first."""
    u0, v0, u1, v1 = one.region.bounds
    us, vs = np.meshgrid(np.linspace(u0, u1, 26)[1:-1], np.linspace(v0, v1, 26)[1:-1])
    uv = np.stack([us.ravel(), vs.ravel()], axis=-1)
    uv = uv[shapely.contains_xy(one.region, uv[:, 0], uv[:, 1])]
    normal = one.panel.normal
    level = one.low + (one.panel.thickness_mm if _EYE[normal] > 0 else 0.0)
    points = one.solid_point(uv, np.full(len(uv), level))
    seen = ~_hidden(points, drawn) if len(points) else np.zeros(0, dtype=bool)
    inside = shapely.distance(one.region.boundary, shapely.points(uv[seen]))
    return points[seen][np.lexsort((uv[seen][:, 1], uv[seen][:, 0], -np.round(inside, 6)))]


def _free_spot(text: str, spots: Floats, taken: Sequence[Box]) -> tuple[Point, Point]:
    """Where a number stands and the point that it is about."""
    first = (float(spots[0, 0]), float(spots[0, 1]))
    for x, y in spots:
        box = text_box(text, float(x), float(y), _NUMBER_MM, anchor="middle", bold=True)
        if not any(box.overlaps(one, 0.4) for one in taken):
            return (float(x), float(y)), (float(x), float(y))
    for reach in np.arange(4.0, 40.0, 2.0):
        for turn in np.arange(16) * (math.tau / 16):
            at = first[0] + reach * math.cos(turn), first[1] + reach * math.sin(turn)
            box = text_box(text, *at, _NUMBER_MM, anchor="middle", bold=True)
            if box.inside(_PICTURE) and not any(box.overlaps(one, 0.4) for one in taken):
                return at, first
    return first, first


def order_of(model: CardModel) -> tuple[str, ...]:
    """What is done with each panel, in order: a line each."""
    joints: dict[str, list[int]] = {}
    for one in model.panels:
        for letter, _ in one.letters:
            joints.setdefault(letter, []).append(one.order)
    lines = []
    for number, one in enumerate(model.panels):
        met = [
            f"{letter} {other}"
            for letter, _ in one.letters
            for other in joints[letter]
            if other < one.order
        ]
        axis, sign = _way(one)
        move = "lies first" if number == 0 else f"moves {_WAYS[axis][sign > 0]}"
        lines.append(f"{one.order} {one.name} {move}" + (f": {', '.join(met)}" if met else ""))
    return tuple(lines)
