"""The pictures of the air over the radiator: the nose as it is at large, and every way small."""

from __future__ import annotations

from dataclasses import replace

from noseroom.checks.cooling_records import Cooling, StateView
from noseroom.report.cooling_face import (
    RIM_MM,
    draw_scale,
    draw_zones,
    fastest_of,
    leaks,
    mirrored,
    polygon,
    shape_of,
    zone_text,
)
from noseroom.report.cooling_plot import (
    EDGE_MM,
    HEAD_MM,
    KNEE_MM,
    LEFT,
    RIGHT,
    begin,
    caution_mm,
    column_mm,
    draw_column,
    draw_lines,
)
from noseroom.report.cooling_text import Way, band, ways
from noseroom.report.drawing_labels import Tag, outline_tags, share_out
from noseroom.report.drawing_model import Outline
from noseroom.report.drawing_svg import INK, Canvas
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap

_LABELS_MM, _FACE_MM, _STATE_MM, _SCALE_MM = 68.0, 96.0, 8.0, 14.0
_FEW_COLUMNS = 4
_KEY = (
    "From the front, the car's left on the right. Blue: air goes through to the engine, the darker "
    "the faster; red and hatched: it runs back, warm, to the front. Bands run from the 5 % to the "
    "95 % point of the cars that could be this one. Thick line: the condenser's core; dashed "
    "circle: a fan behind the radiator; full circle: one ahead of the condenser. White: masked by "
    "the condenser's headers. The strip round the core stands for what is open beside it."
)


def front_svg(found: Cooling, title: str) -> str:
    """The nose as the file has it, a face for each state, as SVG text, mm.

    The same record gives the same bytes.
    """
    base = found.base
    faces = [_Face(one) for one in base.states]
    key = wrap(_KEY, RIGHT - LEFT)
    low = EDGE_MM + HEAD_MM + sum(one.high_mm for one in faces)
    height = low + len(key) * LINE_PITCH_MM + 4.0 + caution_mm()
    said = " ".join(f"{one.state.state}: {'; '.join(one.said)}." for one in faces)
    canvas = begin(title, f"air over the radiator, {base.name}", said, height)
    y = EDGE_MM + HEAD_MM
    for one in faces:
        one.draw(canvas, y)
        y += one.high_mm
    canvas.group("key")
    draw_lines(canvas, key, LEFT, low + 4.0)
    return canvas.to_string()


class _Face:
    """A face with its labels on both sides, and what leaks in lines below it."""

    def __init__(self, state: StateView) -> None:
        self.state = state
        self.zones = [zone_text(one) for one in state.zones]
        self.leaks = leaks(state)
        self.lines = [
            [line for text in half for line in wrap(text, (RIGHT - LEFT) / 2 - 4.0)]
            for half in (self.leaks[::2], self.leaks[1::2])
        ]
        self.text_mm = _LABELS_MM - KNEE_MM - 4.0
        columns = share_out(self._tags((1.0, 0.0, 0.0)))
        need = [column_mm([tag.text for tag in one], self.text_mm) for one in columns]
        self.face_mm = max(_FACE_MM * shape_of(state) + 2 * RIM_MM, *need)
        below = max(len(one) for one in self.lines) * LINE_PITCH_MM
        self.high_mm = _STATE_MM + self.face_mm + _SCALE_MM + below + 4.0

    @property
    def said(self) -> list[str]:
        """All of it in words."""
        return [*self.zones, *self.leaks]

    def _tags(self, to_sheet: tuple[float, float, float]) -> list[Tag]:
        outlines = [
            Outline(text, "#ffffff", mirrored(polygon(zone)))
            for text, zone in zip(self.zones, self.state.zones, strict=True)
        ]
        tags = outline_tags(outlines, to_sheet)
        return [replace(tag, colour="", uncut=True) for tag in tags]

    def draw(self, canvas: Canvas, top: float) -> None:
        """Draw it from `top` down."""
        canvas.group("state")
        canvas.text(wrap(self.state.state, 80.0, max_lines=1)[0], LEFT, top + 4.0, bold=True)
        top += _STATE_MM
        fastest = fastest_of([self.state])
        middle = (LEFT + RIGHT) / 2
        room = Box(middle - _FACE_MM / 2, top, middle + _FACE_MM / 2, top + self.face_mm)
        placed = draw_zones(canvas, self.state, room, fastest)
        ends = room.x0 - RIM_MM - 1.0, room.x1 + RIM_MM + 1.0
        for side, tags, end in zip((-1, 1), share_out(self._tags(placed)), ends, strict=True):
            edge = end + side * KNEE_MM
            heights = top, top + self.face_mm
            draw_column(canvas, tags, side, edge, end, self.text_mm, heights)
        draw_scale(canvas, fastest, room.x0, top + self.face_mm + 3.0)
        canvas.group("leaks")
        for k, lines in enumerate(self.lines):
            x = LEFT + k * (RIGHT - LEFT) / 2
            draw_lines(canvas, lines, x, top + self.face_mm + _SCALE_MM + 4.0, fill=INK)


def fronts_svg(found: Cooling, title: str) -> str:
    """The face of every way in the first state, small, as SVG text, mm."""
    shown = ways(found)
    name = found.base.states[0].state
    wide = (RIGHT - LEFT) / _FEW_COLUMNS
    face = wide - 4.0 - 2 * RIM_MM
    fastest = fastest_of([one.view.state(name) for one in shown])
    texts = [wrap(_small_text(one, name), wide - 4.0) for one in shown]
    tall = 2 * RIM_MM + max(face * shape_of(one.view.state(name)) for one in shown)
    key = wrap(f"{_KEY} All are at {name}.", RIGHT - LEFT)
    rows = [range(k, min(k + _FEW_COLUMNS, len(shown))) for k in range(0, len(shown), _FEW_COLUMNS)]
    highs = [tall + 3.0 + max(len(texts[k]) for k in row) * LINE_PITCH_MM + 5.0 for row in rows]
    low = EDGE_MM + HEAD_MM + sum(highs) + 12.0
    height = low + len(key) * LINE_PITCH_MM + 4.0 + caution_mm()
    said = " ".join(f"{_small_text(one, name)}." for one in shown)
    canvas = begin(title, f"air over the radiator at {name}", said, height)
    y = EDGE_MM + HEAD_MM
    for row, high in zip(rows, highs, strict=True):
        for column, k in enumerate(row):
            x = LEFT + column * wide
            canvas.group("way", shown[k].label)
            room = Box(x + RIM_MM, y, x + RIM_MM + face, y + tall)
            draw_zones(canvas, shown[k].view.state(name), room, fastest)
            canvas.group("label")
            draw_lines(canvas, texts[k], x, y + tall + 3.0, fill=INK)
        y += high
    draw_scale(canvas, fastest, LEFT + 2.0, y + 1.0)
    canvas.group("key")
    draw_lines(canvas, key, LEFT, low + 4.0)
    return canvas.to_string()


def _small_text(way: Way, state: str) -> str:
    seen = way.view.state(state)
    air = band(seen.air, "%", 0, 100.0)
    into = band(seen.into_c, "°C")
    return f"{way.label}: {air} of today's air, which comes at {into}"
