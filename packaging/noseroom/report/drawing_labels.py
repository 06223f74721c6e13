"""Labels in the two margins, with leaders that do not cross one another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import affine_transform

from noseroom.report.drawing_model import Outline, Point
from noseroom.report.drawing_text import LINE_PITCH_MM, wrap

GAP_MM = 1.4
_STEP_MM = 0.5
_MAX_LINES = 4
_ANCHOR_GAP_MM = 5.0


@dataclass(frozen=True)
class Tag:
    """A text for the margin. home: where its leader ends if it had to be one place (None: none).

    uncut: never shorten the text, as that of a dimension.
    weight: the larger, the longer it is kept when there is no room for all.
    candidates: (n, 3) float: x, y on the sheet and how well the place suits, mm (more is better).
    """

    text: str
    home: Point | None
    candidates: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    colour: str = ""
    italic: bool = False
    weight: float = 0.0
    uncut: bool = False


@dataclass(frozen=True)
class PlacedTag:
    """A tag with its lines of text, the top of its first line, and where its leader ends."""

    tag: Tag
    lines: tuple[str, ...]
    top: float
    anchor: Point | None

    @property
    def middle(self) -> float:
        """Height at which the leader leaves the text."""
        return self.top + len(self.lines) * LINE_PITCH_MM / 2


def outline_tags(outlines: Sequence[Outline], to_sheet: tuple[float, float, float]) -> list[Tag]:
    """A tag for each outline, with places on the part of it that nothing nearer covers.

    to_sheet: scale and sheet position of (u, v) = (0, 0), mm.
    """
    scale, x, y = to_sheet
    shapes = []
    for outline in outlines:
        flat = affine_transform(outline.polygon, [1 / scale, 0, 0, -1 / scale, x, y])
        shapes.append(shapely.make_valid(flat))
    tags: list[Tag | None] = [None] * len(outlines)
    cover: Any = shapely.Polygon()
    for index in sorted(range(len(outlines)), key=lambda i: (-outlines[i].depth, -i)):
        outline, shape = outlines[index], shapes[index]
        if shape.is_empty:
            tags[index] = Tag(f"{outline.label} (not in this view)", None, colour=outline.colour)
            continue
        # What is seen may come with slivers of lines; only its areas can carry a leader's dot.
        seen = shape.difference(cover).buffer(0)
        if seen.area < 1.0:  # hidden, or too thin to tell: point at the whole of it instead
            seen = shape
        if outline.kind != "swept":
            # A buffer of nothing keeps the areas and drops the lines of a degenerate outline.
            cover = shapely.union_all([cover, shape.buffer(0)])
        places = _places(seen)
        best = places[int(np.argmax(places[:, 2]))]
        tags[index] = Tag(
            outline.label,
            (float(best[0]), float(best[1])),
            places,
            outline.colour,
            weight=float(shape.area),
        )
    return [tag for tag in tags if tag is not None]


def _places(shape: Any) -> NDArray[np.float64]:
    """Points on `shape`, (n, 3): x, y, distance from its edge (at most 2 mm); at least one."""
    x0, y0, x1, y1 = shape.bounds
    grid = np.linspace(0.02, 0.98, 15)
    xs, ys = np.meshgrid(x0 + grid * (x1 - x0), y0 + grid * (y1 - y0))
    inner = shape.representative_point()
    flat = np.column_stack([np.append(xs.ravel(), inner.x), np.append(ys.ravel(), inner.y)])
    points = shapely.points(flat)
    inside = shapely.intersects(shape, points)
    inside[-1] = True
    rim = shape.boundary  # None for a mixed collection
    if shape.area == 0 or rim is None or rim.is_empty:
        edge = np.zeros(int(inside.sum()))
    else:
        edge = np.minimum(shapely.distance(rim, points[inside]), 2.0)
    return np.column_stack([flat[inside], edge])


def share_out(tags: Iterable[Tag]) -> tuple[list[Tag], list[Tag]]:
    """Left and right column: half of the tags each, by where they point."""
    pointing = sorted(
        (t for t in tags if t.home is not None), key=lambda t: (t.home or (0.0, 0.0))[0]
    )
    half = (len(pointing) + 1) // 2
    left, right = pointing[:half], pointing[half:]
    for tag in (t for t in tags if t.home is None):
        (left if len(left) <= len(right) else right).append(tag)
    return left, right


def _anchor(tag: Tag, side: int, used: list[Point]) -> Point | None:
    """The place on the part that is clear of its edge, of other anchors, and near the column."""
    if tag.home is None:
        return None
    places = tag.candidates
    if not len(places):
        return tag.home
    score = 3.0 * places[:, 2] + 0.05 * side * places[:, 0]
    if used:
        gaps = np.hypot(*(places[:, None, :2] - np.array(used)[None]).transpose(2, 0, 1))
        score = score + np.minimum(gaps.min(axis=1), _ANCHOR_GAP_MM)
    # All else being equal, stay at the height of the part's roomiest place.
    score = score - 0.02 * np.abs(places[:, 1] - tag.home[1])
    best = places[int(np.argmax(score))]
    return float(best[0]), float(best[1])


def _heights(
    wanted: Sequence[float | None],
    sizes: Sequence[float],
    room: tuple[float, float],
    barred: Sequence[tuple[float, float]],
) -> list[float] | None:
    """Tops of boxes in the given order, as near to the wanted middles as they can be.

    Exact by dynamic programming on a grid of half millimetres. barred: stretches where a leader
    should not run, at a high price. None if the boxes do not fit into `room`.
    """
    if not sizes:
        return []
    count = int((room[1] - room[0]) / _STEP_MM) + 1
    tops = room[0] + _STEP_MM * np.arange(count)
    reach: NDArray[np.float64] = np.zeros(count)
    choice: list[NDArray[np.int64]] = []
    for index, size in enumerate(sizes):
        middle = tops + (size - GAP_MM) / 2
        want = wanted[index]
        cost = np.abs(middle - want) if want is not None else 0.01 * (room[1] - middle)
        if want is not None:
            for low, high in barred:
                cost = cost + 1000.0 * ((middle > low) & (middle < high))
        cost = np.where(tops + size - GAP_MM <= room[1] + 1e-9, cost + reach, np.inf)
        best = np.minimum.accumulate(cost)
        where = np.where(cost == best, np.arange(count), 0)
        choice.append(np.maximum.accumulate(where))
        step = int(np.ceil(size / _STEP_MM - 1e-9))
        reach = np.full(count, np.inf)
        if step < count:
            reach[step:] = best[: count - step]
        last = best
    if not np.isfinite(last[-1]):
        return None
    found, at = [], count - 1
    for index in range(len(sizes) - 1, -1, -1):
        at = int(choice[index][at])
        found.append(float(tops[at]))
        if index:
            at -= int(np.ceil(sizes[index - 1] / _STEP_MM - 1e-9))
    return found[::-1]


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the segments a-b and c-d properly cross."""

    def turn(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def _texts_that_fit(
    tags: Sequence[Tag], width_mm: float, room_mm: float
) -> tuple[list[Tag], list[tuple[str, ...]]]:
    """The tags that a column holds and their lines: as few cuts and omissions as it takes."""

    def lines(tag: Tag, most: int) -> tuple[str, ...]:
        return wrap(tag.text, width_mm, max_lines=99 if tag.uncut else most)

    def need(texts: Sequence[tuple[str, ...]]) -> float:
        # Each box is rounded up to the grid that `_heights` works on.
        return sum(len(text) * LINE_PITCH_MM + GAP_MM + _STEP_MM for text in texts)

    kept = list(tags)
    texts = [lines(tag, 1) for tag in kept]
    while need(texts) > room_mm:
        last = min(range(len(kept)), key=lambda i: kept[i].weight)
        del kept[last], texts[last]
    for most in range(2, _MAX_LINES + 1):
        for index, tag in enumerate(kept):
            longer = [*texts[:index], lines(tag, most), *texts[index + 1 :]]
            if need(longer) <= room_mm:
                texts = longer
    return kept, texts


def place_column(
    tags: Sequence[Tag],
    side: int,
    width_mm: float,
    room: tuple[float, float],
    knee_x: float,
    barred: Sequence[tuple[float, float]],
    used: list[Point],
) -> tuple[tuple[PlacedTag, ...], int]:
    """Place a column of tags (side -1 left, +1 right) and count those that had no room.

    Texts are wrapped to `width_mm`, into fewer and then cut lines when they are many; the
    smallest parts go last. `used` holds the anchors so far and is added to.
    """
    kept, texts = _texts_that_fit(tags, width_mm, room[1] - room[0])
    anchors: list[Point | None] = []
    for tag in kept:
        anchors.append(_anchor(tag, side, used))
        if anchors[-1] is not None:
            used.append(anchors[-1])
    order = sorted(range(len(kept)), key=lambda i: _height_of(anchors[i], room[1]))

    def solve(order: list[int]) -> list[float]:
        tops = _heights(
            [None if (a := anchors[i]) is None else a[1] for i in order],
            [len(texts[i]) * LINE_PITCH_MM + GAP_MM for i in order],
            room,
            barred,
        )
        return tops if tops is not None else []

    placed: list[PlacedTag] = []
    for _ in range(60):
        placed = [
            PlacedTag(kept[i], texts[i], top, anchors[i])
            for i, top in zip(order, solve(order), strict=True)
        ]
        pair = _first_crossing(placed, knee_x)
        if pair is None:
            break
        i, j = pair
        order[i], order[j] = order[j], order[i]
    return tuple(placed), len(tags) - len(kept)


def _height_of(anchor: Point | None, bottom: float) -> float:
    return bottom if anchor is None else anchor[1]


def _first_crossing(placed: Sequence[PlacedTag], knee_x: float) -> tuple[int, int] | None:
    for j, second in enumerate(placed):
        for i, first in enumerate(placed[:j]):
            if (
                first.anchor is not None
                and second.anchor is not None
                and _cross(
                    (knee_x, first.middle), first.anchor, (knee_x, second.middle), second.anchor
                )
            ):
                return i, j
    return None
