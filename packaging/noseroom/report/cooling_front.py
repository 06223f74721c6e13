"""The pictures of the radiator's face: zones by the air that goes through them, and what leaks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from noseroom.checks.cooling_records import Cooling, FanView, StateView, ZoneView
from noseroom.report.cooling_plot import (
    EDGE_MM,
    HEAD_MM,
    KNEE_MM,
    LEFT,
    RIGHT,
    Point,
    begin,
    caution_mm,
    column_mm,
    draw_column,
    draw_lines,
    rounded_ends,
    tick_text,
)
from noseroom.report.cooling_text import Way, band, directed, ways
from noseroom.report.drawing_labels import Tag, outline_tags, share_out
from noseroom.report.drawing_model import Outline
from noseroom.report.drawing_svg import GREY, INK, Canvas, circle_data, path_data
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap

if TYPE_CHECKING:
    from collections.abc import Callable

    Place = Callable[[Point], Point]

_PALE, _DEEP = (232, 240, 247), (22, 82, 130)
_BACK_PALE, _BACK_DEEP = (250, 229, 220), (181, 64, 38)
_UNKNOWN = "#f1f2f4"
_LABELS_MM, _FACE_MM, _STATE_MM, _SCALE_MM = 68.0, 96.0, 8.0, 14.0
_RIM_MM = 6.0
_HATCH_MM = 2.4
_FEW_COLUMNS = 4
_GRAMS = 1e3
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
        self.zones = [_zone_text(one) for one in state.zones]
        self.leaks = _leaks(state)
        self.lines = [
            [line for text in half for line in wrap(text, (RIGHT - LEFT) / 2 - 4.0)]
            for half in (self.leaks[::2], self.leaks[1::2])
        ]
        self.text_mm = _LABELS_MM - KNEE_MM - 4.0
        columns = share_out(self._tags((1.0, 0.0, 0.0)))
        need = [column_mm([tag.text for tag in one], self.text_mm) for one in columns]
        self.face_mm = max(_FACE_MM * _shape(state) + 2 * _RIM_MM, *need)
        below = max(len(one) for one in self.lines) * LINE_PITCH_MM
        self.high_mm = _STATE_MM + self.face_mm + _SCALE_MM + below + 4.0

    @property
    def said(self) -> list[str]:
        """All of it in words."""
        return [*self.zones, *self.leaks]

    def _tags(self, to_sheet: tuple[float, float, float]) -> list[Tag]:
        outlines = [
            Outline(text, "#ffffff", _mirrored(_polygon(zone)))
            for text, zone in zip(self.zones, self.state.zones, strict=True)
        ]
        tags = outline_tags(outlines, to_sheet)
        return [replace(tag, colour="", uncut=True) for tag in tags]

    def draw(self, canvas: Canvas, top: float) -> None:
        """Draw it from `top` down."""
        canvas.group("state")
        canvas.text(wrap(self.state.state, 80.0, max_lines=1)[0], LEFT, top + 4.0, bold=True)
        top += _STATE_MM
        fastest = _fastest([self.state])
        middle = (LEFT + RIGHT) / 2
        room = Box(middle - _FACE_MM / 2, top, middle + _FACE_MM / 2, top + self.face_mm)
        placed = _draw_zones(canvas, self.state, room, fastest)
        ends = room.x0 - _RIM_MM - 1.0, room.x1 + _RIM_MM + 1.0
        for side, tags, end in zip((-1, 1), share_out(self._tags(placed)), ends, strict=True):
            edge = end + side * KNEE_MM
            heights = top, top + self.face_mm
            draw_column(canvas, tags, side, edge, end, self.text_mm, heights)
        _draw_scale(canvas, fastest, room.x0, top + self.face_mm + 3.0)
        canvas.group("leaks")
        for k, lines in enumerate(self.lines):
            x = LEFT + k * (RIGHT - LEFT) / 2
            draw_lines(canvas, lines, x, top + self.face_mm + _SCALE_MM + 4.0, fill=INK)


def fronts_svg(found: Cooling, title: str) -> str:
    """The face of every way in the first state, small, as SVG text, mm."""
    shown = ways(found)
    name = found.base.states[0].state
    wide = (RIGHT - LEFT) / _FEW_COLUMNS
    face = wide - 4.0 - 2 * _RIM_MM
    fastest = _fastest([one.view.state(name) for one in shown])
    texts = [wrap(_small_text(one, name), wide - 4.0) for one in shown]
    tall = 2 * _RIM_MM + max(face * _shape(one.view.state(name)) for one in shown)
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
            room = Box(x + _RIM_MM, y, x + _RIM_MM + face, y + tall)
            _draw_zones(canvas, shown[k].view.state(name), room, fastest)
            canvas.group("label")
            draw_lines(canvas, texts[k], x, y + tall + 3.0, fill=INK)
        y += high
    _draw_scale(canvas, fastest, LEFT + 2.0, y + 1.0)
    canvas.group("key")
    draw_lines(canvas, key, LEFT, low + 4.0)
    return canvas.to_string()


def _small_text(way: Way, state: str) -> str:
    seen = way.view.state(state)
    air = band(seen.air, "%", 0, 100.0)
    into = band(seen.into_c, "°C")
    return f"{way.label}: {air} of today's air, which comes at {into}"


# -- what is said ---------------------------------------------------------------------------


def _zone_text(zone: ZoneView) -> str:
    speed, inlet = directed(zone.speed, "m/s", 1), band(zone.inlet_c, "°C")
    return f"{zone.name}: {speed}, air at {inlet}"


def _leaks(state: StateView) -> list[str]:
    """What comes in and what goes round the cores, in grams of air a second."""
    found = []
    for name, flow in state.flows.items():
        what, _, which = name.partition(" ")
        if what in _WAYS:
            named, ahead = _WAYS[what]
            where = which.removeprefix("covered, ")
            found.append(f"{named.format(where)}: {directed(flow, 'g/s', 0, _GRAMS, ahead)}")
    share = band(state.recirculated, "%", 0, 100.0)
    return [*found, f"{share} of the air ahead of the cores has been in the engine bay before"]


_WAYS = {
    "grille": ("through the grille", " in"),
    "beside": ("open beside the radiator", " past it"),
    "rim": ("rim of the gap, {}", " in behind the condenser"),
    "leak": ("round the {}", " round again"),
    "outlet": ("out of the engine bay", " out"),
}
"""Ways of the air that are no core and no fan, and what runs the usual way is said to do."""


# -- the face itself ------------------------------------------------------------------------


def _polygon(zone: ZoneView) -> Any:
    """A zone as a shape, mm in the face's plane."""
    import shapely

    pieces = [shapely.Polygon(rings[0], rings[1:]) for rings in zone.pieces]
    return shapely.MultiPolygon(pieces)


def _mirrored(shape: Any) -> Any:
    """As seen from the front: the car's right is on the left."""
    from shapely import affinity

    return affinity.scale(shape, -1.0, 1.0, origin=(0.0, 0.0))


def _core(state: StateView) -> tuple[float, float, float, float]:
    """What all zones together reach over: the core, as headers mask at most a part of it."""
    points = [at for zone in state.zones for rings in zone.pieces for at in rings[0]]
    ys, zs = zip(*points, strict=True)
    return min(ys), min(zs), max(ys), max(zs)


def _shape(state: StateView) -> float:
    """Height of the core over its width."""
    y0, z0, y1, z1 = _core(state)
    return (z1 - z0) / (y1 - y0)


def _fastest(states: Sequence[StateView]) -> float:
    """A round speed that no zone's middle passes."""
    speeds = [abs(zone.speed.middle) for one in states for zone in one.zones]
    return rounded_ends([0.0, *(one for one in speeds if math.isfinite(one))])[1]


def _colour(speed: float, fastest: float) -> str:
    if not math.isfinite(speed):
        return _UNKNOWN
    pale, deep = (_PALE, _DEEP) if speed >= 0 else (_BACK_PALE, _BACK_DEEP)
    part = min(abs(speed) / fastest, 1.0)
    return "#" + "".join(
        f"{round(a + part * (b - a)):02x}" for a, b in zip(pale, deep, strict=True)
    )


def _draw_zones(
    canvas: Canvas, state: StateView, room: Box, fastest: float
) -> tuple[float, float, float]:
    """A face in the middle of a room. Gives mm of the face a mm of the sheet, and where 0, 0 is."""
    y0, z0, y1, z1 = _core(state)
    scale = (y1 - y0) / (room.x1 - room.x0)
    # From the front, the car's right is on the left.
    x = (room.x0 + room.x1) / 2 + (y0 + y1) / 2 / scale
    y = (room.y0 + room.y1) / 2 + (z0 + z1) / 2 / scale

    def at(point: Point) -> Point:
        return x - point[0] / scale, y - point[1] / scale

    _draw_strip(canvas, state, Box(*at((y1, z1)), *at((y0, z0))))
    for zone in state.zones:
        canvas.group("zone", _zone_text(zone))
        data = " ".join(
            path_data([at(one) for one in ring], closed=True)
            for rings in zone.pieces
            for ring in rings
        )
        fill = _colour(zone.speed.middle, fastest)
        canvas.path(data, fill=fill, stroke="#ffffff", width=0.2, fill_rule="evenodd")
        if zone.speed.middle < 0:
            _hatch(canvas, _polygon(zone), at, scale)
    _draw_condenser(canvas, state, at)
    for fan in state.fans:
        _draw_discs(canvas, state, fan, at, scale)
    return scale, x, y


def _draw_strip(canvas: Canvas, state: StateView, core: Box) -> None:
    """What is open beside the core, as a strip round it."""
    flow = state.flows.get("beside")
    if flow is None:
        return
    back = flow.middle < 0
    wide = min(_RIM_MM, 0.07 * (core.x1 - core.x0))
    outer = Box(core.x0 - wide, core.y0 - wide, core.x1 + wide, core.y1 + wide)
    past = directed(flow, "g/s", 0, _GRAMS, _WAYS["beside"][1])
    canvas.group("beside", f"open beside the radiator: {past}")
    pale = _colour(-1e-9 if back else 0.0, 1.0)
    canvas.rectangle(outer, fill=pale, stroke=GREY, width=0.15)
    canvas.rectangle(core, fill="#ffffff", stroke=INK, width=0.3)


def _hatch(canvas: Canvas, shape: Any, at: Place, scale: float) -> None:
    """Lines aslant over a shape: air that runs back is told without colour too."""
    import shapely

    y0, z0, y1, z1 = shape.bounds
    high, pitch = z1 - z0, _HATCH_MM * scale
    lines = [
        shapely.LineString([(y0 - high + k * pitch, z0), (y0 + k * pitch, z1)])
        for k in range(1, int((y1 - y0 + high) / pitch) + 1)
    ]
    kept = shapely.intersection(shapely.MultiLineString(lines), shape)
    for piece in getattr(kept, "geoms", [kept]):
        if piece.geom_type == "LineString" and not piece.is_empty:
            canvas.line([at(one) for one in piece.coords], stroke="#8c3a24", width=0.14)


def _draw_condenser(canvas: Canvas, state: StateView, at: Place) -> None:
    import shapely

    covered = [_polygon(zone) for zone in state.zones if zone.covered]
    if not covered:
        return
    # Zones that share an edge were rounded one by one.
    whole = (
        shapely.union_all(covered).buffer(1.0, join_style="mitre").buffer(-1.0, join_style="mitre")
    )
    canvas.group("condenser", "the condenser's core, as far as it lies before the radiator's")
    for piece in getattr(whole, "geoms", [whole]):
        data = path_data([at(one) for one in piece.exterior.coords], closed=True)
        canvas.path(data, stroke=INK, width=0.7)


def _draw_discs(canvas: Canvas, state: StateView, fan: FanView, at: Place, scale: float) -> None:
    ahead = any(zone.pushed_by == fan.name for zone in state.zones)
    canvas.group("fan", f"{fan.name}, {'ahead of the condenser' if ahead else 'behind'}")
    for *middle, diameter in fan.discs:
        data = circle_data(*at((middle[0], middle[1])), diameter / 2 / scale)
        canvas.path(data, stroke="#ffffff", width=0.9)
        dashes = {} if ahead else {"stroke_dasharray": "2 1.2"}
        canvas.path(data, width=0.4, **dashes)


def _draw_scale(canvas: Canvas, fastest: float, x: float, y: float) -> None:
    """Steps from the fastest back to the fastest on, below a face."""
    canvas.group("scale")
    steps, wide, high = 8, 5.0, 3.0
    for k in range(2 * steps):
        speed = (k - steps + 0.5) / steps * fastest
        box = Box(x + k * wide, y, x + (k + 1) * wide, y + high)
        canvas.rectangle(box, fill=_colour(speed, fastest), stroke="none")
    for part, anchor in ((0, "start"), (1, "middle"), (2, "end")):
        text = (f"{tick_text(fastest)} back", "0", f"{tick_text(fastest)} m/s")[part]
        canvas.text(text, x + part * steps * wide, y + high + 4.2, anchor=anchor, fill=GREY)
