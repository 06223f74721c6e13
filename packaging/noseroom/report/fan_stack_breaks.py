"""Where a picture of a fan stack is cut off, and the break line that says so.

A cut end is drawn with a thin line with a zigzag, as technical drawings end a partial view (ISO
128-2, line 01.1; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import INK, Canvas

Frame = tuple[float, float, float, float]
Cut = tuple[Point, Point]

_LEAST_MM = 1.0
_PAST_MM = 1.6
_ZIG_MM = 1.3


def cuts_of(shadows: Sequence[Any], frame: Frame) -> tuple[Cut, ...]:
    """Where the edges of a frame (u0, v0, u1, v1) cut shadows, mm; what merely ends there is left.

    shadows: shapely areas, or None.
    """
    return tuple(_cuts([one for one in shadows if one is not None], frame))


def _cuts(shadows: Sequence[Any], frame: Frame) -> Iterator[Cut]:
    from shapely import LineString, get_parts, line_merge, union_all

    u0, v0, u1, v1 = frame
    edges: tuple[tuple[Point, Point, Callable[[Frame], bool]], ...] = (
        ((u0, v0), (u0, v1), lambda box: box[0] < u0),
        ((u1, v0), (u1, v1), lambda box: box[2] > u1),
        ((u0, v0), (u1, v0), lambda box: box[1] < v0),
        ((u0, v1), (u1, v1), lambda box: box[3] > v1),
    )
    for start, end, beyond in edges:
        line = LineString([start, end])
        met = [one.intersection(line) for one in shadows if beyond(one.bounds)]
        whole = union_all([part for one in met for part in get_parts(one) if part.length > 0])
        for part in get_parts(line_merge(whole) if whole.geom_type != "LineString" else whole):
            if part.length >= _LEAST_MM:
                (a, b), (c, d) = part.coords[0], part.coords[-1]
                yield (float(a), float(b)), (float(c), float(d))


def draw_breaks(canvas: Canvas, cuts: Sequence[Cut], to_sheet: Callable[[Point], Point]) -> None:
    """A break line over each cut."""
    for start, end in cuts:
        canvas.group("break", "cut off here")
        (x0, y0), (x1, y1) = to_sheet(start), to_sheet(end)
        long = max(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5, 1e-9)
        along, across = ((x1 - x0) / long, (y1 - y0) / long), (-(y1 - y0) / long, (x1 - x0) / long)

        def at(
            by: float,
            off: float,
            start: Point = (x0, y0),
            along: Point = along,
            across: Point = across,
        ) -> Point:
            return (
                start[0] + by * along[0] + off * across[0],
                start[1] + by * along[1] + off * across[1],
            )

        # The edge of the cut is no edge of the part.
        canvas.line((at(0.0, 0.0), at(long, 0.0)), stroke="#ffffff", width=0.9)
        zig = min(_ZIG_MM, long / 4)
        middle = long / 2
        points = (
            at(-_PAST_MM, 0.0),
            at(middle - zig, 0.0),
            at(middle - zig / 2, -zig),
            at(middle + zig / 2, zig),
            at(middle + zig, 0.0),
            at(long + _PAST_MM, 0.0),
        )
        canvas.line(points, stroke=INK, width=0.2)
