"""Which scale, and where on the sheet the view, its dimensions, labels and words go."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from noseroom.report.drawing_dims import (
    DimensionLine,
    Stack,
    extension_lines,
    on_sheet,
    smallest_core_mm,
    stack,
)
from noseroom.report.drawing_labels import PlacedTag, Tag, outline_tags, place_column, share_out
from noseroom.report.drawing_model import Centreline, Dimension, Drawing, DrawingError, Point
from noseroom.report.drawing_panel import COLUMN_MM, TITLE_MM, Panel, make_panel
from noseroom.report.drawing_text import Box, text_width_mm, wrap

SHEET = Box(0.0, 0.0, 420.0, 297.0)
FRAME = Box(8.0, 8.0, 412.0, 289.0)
SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0)
_SMALLER_SCALES = (20.0, 25.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
_LABELS_MM = (46.0, 35.0, 29.0)
_SWATCH_MM, _EDGE_MM = 4.4, 2.5
_ENDS_MM = 9.0
_FOOT_MM = 6.0
_BOTTOM_PANELS_MM = (26.0, 36.0, 46.0, 56.0, 66.0)


@dataclass(frozen=True)
class Layout:
    """A settled sheet, all lengths in mm from its upper left corner.

    origin: where (u, v) = (0, 0) lies. core: the outlines' box, at least as large as the longest
    dimension texts. field: the room between the two label columns. knee_x: where the leaders of
    the left and of the right column bend. unlabelled: how many labels had no room.
    """

    drawing: Drawing
    scale: float
    origin: Point
    core: Box
    field: Box
    view: Box
    panel: Panel
    panel_box: Box
    dimensions: tuple[tuple[DimensionLine, float], ...]
    callouts: tuple[Dimension, ...]
    left: tuple[PlacedTag, ...]
    right: tuple[PlacedTag, ...]
    edges: tuple[float, float]
    knees: tuple[float, float]
    unlabelled: int

    def to_sheet(self, point: Point) -> Point:
        """Sheet position of a point of the view."""
        return sheet_position(point, self.scale, self.origin)


def sheet_position(point: Point, scale: float, origin: Point) -> Point:
    """Sheet position of a point of the view, the v axis turned downwards."""
    return origin[0] + point[0] / scale, origin[1] - point[1] / scale


@dataclass(frozen=True)
class _Fit:
    """A view at a scale, before anything is put anywhere."""

    scale: float
    core_mm: Point
    offset_mm: Point
    stacked: Stack
    column_mm: float

    @property
    def size_mm(self) -> Point:
        """Width and height of the view with its dimension lines and label columns."""
        bands = [
            self.stacked.band_mm(direction, -1) + self.stacked.band_mm(direction, 1)
            for direction in ("vertical", "horizontal")
        ]
        columns = 2 * (self.column_mm + _EDGE_MM)
        return self.core_mm[0] + bands[0] + columns, self.core_mm[1] + bands[1]


def _fit(drawing: Drawing, scale: float, label_mm: float) -> _Fit:
    u0, v0, u1, v1 = drawing.extents_mm()
    width, height = (u1 - u0) / scale, (v1 - v0) / scale
    least = smallest_core_mm(drawing)
    core = (max(width, least[0]), max(height, least[1]))
    offset = ((core[0] - width) / 2 - u0 / scale, (core[1] - height) / 2 + v1 / scale)
    stacked = stack(drawing, scale, core, offset)
    texts = [o.label for o in drawing.outlines if not o.polygon.is_empty]
    texts += [f"{o.label} (not in this view)" for o in drawing.outlines if o.polygon.is_empty]
    texts += [axis.label for axis in drawing.axes]
    texts += [dimension.text for dimension in stacked.left_over]
    lines = [line for text in texts for line in wrap(text, label_mm)]
    column = max((text_width_mm(line) for line in lines), default=0.0)
    if len(texts) > 50:  # some may be left out, and the count of those needs room as well
        column = max(column, label_mm)
    return _Fit(scale, core, offset, stacked, column + _SWATCH_MM if texts else 0.0)


def _rooms(drawing: Drawing) -> list[tuple[Box, Panel, Box]]:
    """Ways to share the sheet: (room for the view, words, room for the words), best first."""
    inner = FRAME._replace(y1=FRAME.y1 - TITLE_MM)
    ends = _ENDS_MM if drawing.left_label or drawing.right_label else 0.0
    side = make_panel(drawing, 1, inner.y1 - inner.y0 - 2.0)
    if not side.blocks:
        return [(inner._replace(y0=inner.y0 + ends), side, inner._replace(x0=inner.x1))]
    split = inner.x1 - COLUMN_MM
    rooms = [(inner._replace(x1=split, y0=inner.y0 + ends), side, inner._replace(x0=split))]
    for tidy in (True, False):
        for height in _BOTTOM_PANELS_MM:
            low = make_panel(drawing, 4, height - 2.0, tidy=tidy)
            # Never list fewer spots for the sake of a larger scale.
            if len(low.spots) >= len(side.spots) and low.complete >= side.complete:
                split = inner.y1 - height
                view = Box(inner.x0, inner.y0 + ends, inner.x1, split)
                rooms.append((view, low, inner._replace(y0=split)))
                break
    return rooms


def lay_out(drawing: Drawing) -> Layout:
    """Settle the sheet: the largest scale at which everything has room.

    Raises DrawingError if the view is larger than a sheet even at 1:1000.
    """
    rooms = _rooms(drawing)
    for scale in SCALES + _SMALLER_SCALES:
        # Rather a narrow column of labels than a smaller scale.
        fits = [_fit(drawing, scale, label_mm) for label_mm in _LABELS_MM]
        for fit, (view, panel, panel_box) in itertools.product(fits, rooms):
            if fit.size_mm[0] <= view.x1 - view.x0 and fit.size_mm[1] <= view.y1 - view.y0:
                return _settle(drawing, fit, view, panel, panel_box)
    u0, v0, u1, v1 = drawing.extents_mm()
    raise DrawingError(
        f"view {drawing.title!r}: {u1 - u0:.0f} x {v1 - v0:.0f} mm does not go onto one sheet"
    )


def _settle(drawing: Drawing, fit: _Fit, view: Box, panel: Panel, panel_box: Box) -> Layout:
    bands = {
        (direction, side): fit.stacked.band_mm(direction, side)
        for direction in ("vertical", "horizontal")
        for side in (-1, 1)
    }
    field = Box(
        view.x0 + fit.column_mm + _EDGE_MM, view.y0, view.x1 - fit.column_mm - _EDGE_MM, view.y1
    )
    spare_x = field.x1 - field.x0 - fit.core_mm[0] - bands["vertical", -1] - bands["vertical", 1]
    spare_y = view.y1 - view.y0 - fit.core_mm[1] - bands["horizontal", -1] - bands["horizontal", 1]
    x = field.x0 + spare_x / 2 + bands["vertical", -1]
    y = field.y0 + spare_y / 2 + bands["horizontal", -1]
    core = Box(x, y, x + fit.core_mm[0], y + fit.core_mm[1])
    # A thousandth is what the file says; rounding here keeps every outline true to the others.
    origin = (round(x + fit.offset_mm[0], 3), round(y + fit.offset_mm[1], 3))
    lines = on_sheet(fit.stacked, core, fit.scale, origin)

    tags = outline_tags(drawing.outlines, (fit.scale, *origin))
    tags += [_axis_tag(axis, fit.scale, origin) for axis in drawing.axes]
    for dimension in fit.stacked.left_over:
        a, b = callout_line(dimension, fit.scale, origin)
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        tags.append(Tag(dimension.text, middle, weight=1e9, uncut=True))
    left, right = share_out(tags)
    used: list[Point] = []
    room = (view.y0 + 1.0, view.y1 - _FOOT_MM)
    knees = (core.x0 - 3.0, core.x1 + 3.0)
    columns, dropped = [], 0
    for side, column in ((-1, left), (1, right)):
        barred = []
        for line in lines:
            if not line.flat and line.placed.side == side:
                box = line.box(line.middle())
                barred.append((box.y0 - 0.4, box.y1 + 0.4))
        placed, missing = place_column(
            column,
            side,
            fit.column_mm - _SWATCH_MM,
            room,
            knees[0 if side < 0 else 1],
            barred,
            used,
        )
        columns.append(placed)
        dropped += missing
    segments = _thin_lines(
        drawing, lines, columns, knees, lambda p: sheet_position(p, fit.scale, origin)
    )
    centred = tuple((line, line.best_centre(segments)) for line in lines)
    return Layout(
        drawing,
        fit.scale,
        origin,
        core,
        field,
        view,
        panel,
        panel_box,
        centred,
        fit.stacked.left_over,
        columns[0],
        columns[1],
        (field.x0 - 1.0, field.x1 + 1.0),
        knees,
        dropped,
    )


def _thin_lines(
    drawing: Drawing,
    lines: Sequence[DimensionLine],
    columns: Sequence[Sequence[PlacedTag]],
    knees: Point,
    to_sheet: Callable[[Point], Point],
) -> list[tuple[Point, Point]]:
    """Extension lines, leaders and axes: what a dimension's text should keep clear of."""
    found = [pair for line in lines for pair in extension_lines(line)]
    found += [(to_sheet(axis.start), to_sheet(axis.end)) for axis in drawing.axes]
    for column, knee, outer in zip(columns, knees, (SHEET.x0, SHEET.x1), strict=True):
        for tag in column:
            if tag.anchor is not None:
                found.append(((outer, tag.middle), (knee, tag.middle)))
                found.append(((knee, tag.middle), tag.anchor))
    return found


def callout_line(dimension: Dimension, scale: float, origin: Point) -> tuple[Point, Point]:
    """Ends on the sheet of a dimension that is drawn in place, along what it measures."""
    a, b = (sheet_position(p, scale, origin) for p in (dimension.start, dimension.end))
    if dimension.direction == "horizontal":
        return a, (b[0], a[1])
    if dimension.direction == "vertical":
        return a, (a[0], b[1])
    return a, b


def _axis_tag(axis: Centreline, scale: float, origin: Point) -> Tag:
    a = np.array(sheet_position(axis.start, scale, origin))
    b = np.array(sheet_position(axis.end, scale, origin))
    along = np.linspace(0.04, 0.96, 24)[:, None]
    # Near its ends an axis usually sticks out of what it belongs to.
    places = np.column_stack([a + along * (b - a), 1.0 + 2.0 * np.abs(along - 0.5)])
    middle = (a + b) / 2
    return Tag(axis.label, (float(middle[0]), float(middle[1])), places, italic=True, weight=1e8)
