"""Shop drawings: projected outlines in, a dimensioned sheet to scale out (SVG, A3 landscape).

The sheet's width and height are in millimetres and so is its viewBox: printed at 100 % it can be
measured with a rule. Nothing here knows what the parts are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import shapely

from noseroom.report.drawing_dims import draw_line, draw_text, extension_lines
from noseroom.report.drawing_labels import PlacedTag
from noseroom.report.drawing_layout import FRAME, SHEET, Layout, callout_line, lay_out
from noseroom.report.drawing_model import (
    PALETTE,
    Centreline,
    Dimension,
    Drawing,
    DrawingError,
    Outline,
    Point,
    Spot,
)
from noseroom.report.drawing_panel import TITLE_MM, draw_title_block, scale_text
from noseroom.report.drawing_spots import draw_balloon, draw_mark, place_balloons
from noseroom.report.drawing_svg import (
    CAP_HALF,
    GREY,
    INK,
    Canvas,
    darker,
    number,
    path_data,
    text_boxes_of,
)
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, clean, wrap

__all__ = [
    "PALETTE",
    "Centreline",
    "Dimension",
    "Drawing",
    "DrawingError",
    "Outline",
    "Spot",
    "svg",
    "text_boxes",
]

_ENDS_SIZE_MM = 4.2
_AXIS_PAST_MM = 2.5  # no further: the first row of dimension texts begins there


def svg(drawing: Drawing) -> str:
    """The sheet as SVG text; the same drawing gives the same bytes.

    Raises DrawingError if the view does not go onto one sheet.
    """
    layout = lay_out(drawing)
    canvas = Canvas(SHEET.x1, SHEET.y1, drawing.title or "Untitled", _description(layout))
    canvas.root.set("data-scale", f"{layout.scale:g}")
    canvas.root.set("data-origin", " ".join(number(c) for c in layout.origin))
    canvas.group("frame")
    canvas.rectangle(FRAME, fill="none", width=0.5)
    for outline in sorted(drawing.outlines, key=lambda o: o.depth):
        draw_outline(canvas, outline, layout.to_sheet)
    for axis in drawing.axes:
        _draw_axis(canvas, layout, axis)
    canvas.group("dimension-lines")
    for line, centre in layout.dimensions:
        draw_line(canvas, line, centre)
    for dimension in layout.callouts:
        _draw_callout(canvas, layout, dimension)
    columns = (
        (layout.left, layout.edges[0], layout.knees[0]),
        (layout.right, layout.edges[1], layout.knees[1]),
    )
    canvas.group("leaders")
    for tags, edge, knee in columns:
        for tag in tags:
            draw_leader(canvas, tag, edge, knee)
    _draw_spots(canvas, layout)
    for side, (tags, edge, _) in zip((-1, 1), columns, strict=True):
        for tag in tags:
            draw_tag(canvas, tag, side, edge)
    for line, centre in layout.dimensions:
        canvas.group("dimension", line.placed.dimension.text)
        draw_text(canvas, line, centre)
    _draw_ends(canvas, layout)
    if layout.unlabelled:
        canvas.group("more-labels")
        text = f"+ {layout.unlabelled} not labelled"
        canvas.text(text, layout.view.x0 + 2.5, layout.view.y1 - 1.5)
    if layout.panel.blocks:
        box = layout.panel_box
        canvas.group("panel")
        edge_points = ((box.x0, box.y1), (box.x0, box.y0), (box.x1, box.y0))
        canvas.line(edge_points, width=0.25)
        layout.panel.draw(canvas, box.x0, box.y0 + 1.0)
    draw_title_block(canvas, drawing, layout.scale, FRAME._replace(y0=FRAME.y1 - TITLE_MM))
    return canvas.to_string()


def text_boxes(sheet: str | Drawing) -> list[tuple[str, float, float, float, float]]:
    """(text, x0, y0, x1, y1) of every text on a sheet, mm from its upper left corner.

    The boxes are upper bounds for common sans-serif fonts. `sheet` is what `svg` returned, or a
    drawing to make a sheet of. Raises DrawingError for a text that is not XML.
    """
    return text_boxes_of(svg(sheet) if isinstance(sheet, Drawing) else sheet)


def _description(layout: Layout) -> str:
    """All that the sheet says in words, for those who cannot see it, uncut."""
    drawing = layout.drawing
    said = [f"Shop drawing at {scale_text(layout.scale)} for A3 landscape."]
    if clean(drawing.subtitle):
        said.append(f"{drawing.subtitle}.")
    for name, items in (
        ("Parts", [o.label for o in drawing.outlines]),
        ("Axes", [a.label for a in drawing.axes]),
        ("Dimensions", [d.text for d in drawing.dimensions]),
        ("Tight spots", [f"{s.number}, {s.verdict}: {s.text}" for s in drawing.spots]),
        ("Notes", list(drawing.notes)),
    ):
        if items:
            said.append(f"{name}: {'; '.join(items)}.")
    return " ".join(said)


def draw_outline(canvas: Canvas, outline: Outline, to_sheet: Callable[[Point], Point]) -> None:
    """One outline by its kind. to_sheet: where a point of the view lies on the sheet."""
    rings = [[to_sheet(p) for p in ring[:-1]] for ring in outline.rings()]
    if not rings:
        return
    canvas.group(f"outline {outline.kind}", outline.label)
    data = " ".join(path_data(ring, closed=True) for ring in rings)
    if outline.kind == "ghost":
        canvas.path(
            data, stroke=GREY, width=0.25, fill="#c9cdd2", fill_opacity="0.25", fill_rule="evenodd"
        )
    elif outline.kind == "clear":
        canvas.path(data, stroke=darker(outline.colour, 0.7), width=0.45, fill="none")
    elif outline.kind == "swept":
        canvas.path(
            data,
            stroke=darker(outline.colour, 0.6),
            width=0.3,
            fill=outline.colour,
            fill_opacity="0.14",
            fill_rule="evenodd",
            stroke_dasharray="2.4 1.2",
        )
    else:
        canvas.path(
            data,
            stroke=darker(outline.colour, 0.5),
            width=0.35,
            fill=outline.colour,
            fill_opacity="0.5",
            fill_rule="evenodd",
        )


def _draw_axis(canvas: Canvas, layout: Layout, axis: Centreline) -> None:
    a, b = layout.to_sheet(axis.start), layout.to_sheet(axis.end)
    length = math.dist(a, b)
    canvas.group("axis", axis.label)
    if length < 0.01:
        canvas.dot(*a, 0.5)
        return
    dx, dy = _AXIS_PAST_MM * (b[0] - a[0]) / length, _AXIS_PAST_MM * (b[1] - a[1]) / length
    ends = ((a[0] - dx, a[1] - dy), (b[0] + dx, b[1] + dy))
    canvas.line(ends, stroke=INK, width=0.18, stroke_dasharray="6 1.2 1 1.2")


def _draw_callout(canvas: Canvas, layout: Layout, dimension: Dimension) -> None:
    a, b = callout_line(dimension, layout.scale, layout.origin)
    canvas.line((a, b), stroke="#ffffff", width=0.7)
    canvas.line((a, b), width=0.22)
    length = min(2.4, 0.4 * math.dist(a, b))
    canvas.arrow_head(a, (a[0] - b[0], a[1] - b[1]), length)
    canvas.arrow_head(b, (b[0] - a[0], b[1] - a[1]), length)


def draw_leader(canvas: Canvas, placed: PlacedTag, edge: float, knee: float) -> None:
    """The line from a label to what it names. edge, knee: x where it leaves the label and bends."""
    if placed.anchor is None:
        return
    points: Sequence[Point] = ((edge, placed.middle), (knee, placed.middle), placed.anchor)
    canvas.line(points, stroke="#ffffff", width=0.6, stroke_opacity="0.7")
    canvas.line(points, width=0.16)
    canvas.dot(*placed.anchor, 0.6)


def draw_tag(canvas: Canvas, placed: PlacedTag, side: int, edge: float) -> None:
    """A label in a margin. side: -1 left, 1 right; edge: x of the margin's inner edge."""
    canvas.group("label", placed.tag.text)
    if placed.tag.colour:
        x0 = edge - 2.8 if side < 0 else edge + 0.4
        swatch = Box(x0, placed.middle - 1.2, x0 + 2.4, placed.middle + 1.2)
        stroke = darker(placed.tag.colour, 0.5)
        canvas.rectangle(swatch, fill=placed.tag.colour, stroke=stroke, width=0.2)
    x = edge + side * 3.4
    first = placed.top + LINE_PITCH_MM / 2 + CAP_HALF * BODY_MM
    for row, line in enumerate(placed.lines):
        canvas.text(
            line,
            x,
            first + row * LINE_PITCH_MM,
            anchor="end" if side < 0 else "start",
            italic=placed.tag.italic,
        )


def _draw_spots(canvas: Canvas, layout: Layout) -> None:
    """Marks and balloons of the spots that the panel lists, in the room that is left."""
    spots = [
        (s, layout.to_sheet(s.at), layout.to_sheet(s.other if s.other is not None else s.at))
        for s in layout.panel.spots
    ]
    taken = [line.box(centre) for line, centre in layout.dimensions]
    anchors = [t.anchor for t in (*layout.left, *layout.right) if t.anchor is not None]
    taken += [Box(x - 0.8, y - 0.8, x + 0.8, y + 0.8) for x, y in anchors]
    for dimension in layout.callouts:
        taken += _arrow_boxes(*callout_line(dimension, layout.scale, layout.origin))
    rings = [
        [layout.to_sheet(p) for p in ring] for o in layout.drawing.outlines for ring in o.rings()
    ]
    for tags, edge, knee in (
        (layout.left, layout.edges[0], layout.knees[0]),
        (layout.right, layout.edges[1], layout.knees[1]),
    ):
        for tag in tags:
            if tag.anchor is not None:
                rings.append([(edge, tag.middle), (knee, tag.middle), tag.anchor])
    for line, _ in layout.dimensions:
        rings += [list(pair) for pair in extension_lines(line)]
    balloons, homeless = place_balloons(spots, layout.field, taken, shapely.MultiLineString(rings))
    canvas.group("spot-marks")
    for balloon in balloons:
        draw_mark(canvas, balloon)
    for spot in homeless:
        canvas.dot(*layout.to_sheet(spot.at), 0.8)
    for balloon in balloons:
        draw_balloon(canvas, balloon)


def _arrow_boxes(a: Point, b: Point) -> list[Box]:
    """What a balloon must leave free of a dimension in place: its arrows, all of a short one."""
    length = math.dist(a, b)
    parts = (0.0, 0.25, 0.5, 0.75, 1.0) if length < 16.0 else (0.0, 1.0)
    points = [(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])) for t in parts]
    return [Box(x - 1.2, y - 1.2, x + 1.2, y + 1.2) for x, y in points]


def _draw_ends(canvas: Canvas, layout: Layout) -> None:
    """Which way is which, at the top of the view: "← FRONT" and "REAR →"."""
    canvas.group("ends")
    y = FRAME.y0 + 5.4
    room = (layout.view.x1 - layout.view.x0) / 2 - 24.0
    for label, side in ((layout.drawing.left_label, -1), (layout.drawing.right_label, 1)):
        if not clean(label):
            continue
        edge = layout.view.x0 + 4.0 if side < 0 else layout.view.x1 - 4.0
        canvas.line(((edge, y), (edge - side * 12.0, y)), width=0.5)
        canvas.arrow_head((edge, y), (float(side), 0.0), 4.0)
        text = wrap(label, room, _ENDS_SIZE_MM, max_lines=1, bold=True)[0]
        canvas.text(
            text,
            edge - side * 14.0,
            y + CAP_HALF * _ENDS_SIZE_MM,
            size=_ENDS_SIZE_MM,
            anchor="start" if side < 0 else "end",
            bold=True,
        )
