"""A radiator's face as a picture has it: zones by their air, condenser, fans, what leaks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from noseroom.checks.cooling_records import FanView, StateView, ZoneView
from noseroom.report.cooling_plot import Point, rounded_ends, tick_text
from noseroom.report.cooling_text import band, directed
from noseroom.report.drawing_svg import GREY, INK, Canvas, circle_data, path_data
from noseroom.report.drawing_text import Box

_PALE, _DEEP = (232, 240, 247), (22, 82, 130)
_BACK_PALE, _BACK_DEEP = (250, 229, 220), (181, 64, 38)
_UNKNOWN = "#f1f2f4"
RIM_MM = 6.0
"""How wide the strip round the core is that stands for what is open beside it, at the most."""
_HATCH_MM = 2.4
_GRAMS = 1e3

_Place = Callable[[Point], Point]


def zone_text(zone: ZoneView) -> str:
    """A zone with its air, as its label has it."""
    speed, inlet = directed(zone.speed, "m/s", 1), band(zone.inlet_c, "°C")
    return f"{zone.name}: {speed}, air at {inlet}"


def leaks(state: StateView) -> list[str]:
    """What comes in and what goes round the cores, in grams of air a second."""
    found = []
    for name, flow in state.flows.items():
        what, _, which = name.partition(" ")
        if what in _WAYS:
            named, ahead = _WAYS[what]
            where = which.removeprefix("covered, ").replace("behind the headers, ", "headers, ")
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


def polygon(zone: ZoneView) -> Any:
    """A zone as a shape, mm in the face's plane."""
    import shapely

    pieces = [shapely.Polygon(rings[0], rings[1:]) for rings in zone.pieces]
    return shapely.MultiPolygon(pieces)


def mirrored(shape: Any) -> Any:
    """As seen from the front: the car's right is on the left."""
    from shapely import affinity

    return affinity.scale(shape, -1.0, 1.0, origin=(0.0, 0.0))


def _core(state: StateView) -> tuple[float, float, float, float]:
    """What all zones together reach over: the core, as headers mask at most a part of it."""
    points = [at for zone in state.zones for rings in zone.pieces for at in rings[0]]
    ys, zs = zip(*points, strict=True)
    return min(ys), min(zs), max(ys), max(zs)


def shape_of(state: StateView) -> float:
    """Height of the core over its width."""
    y0, z0, y1, z1 = _core(state)
    return (z1 - z0) / (y1 - y0)


def fastest_of(states: Sequence[StateView]) -> float:
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


def draw_zones(
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
        canvas.group("zone", zone_text(zone))
        data = " ".join(
            path_data([at(one) for one in ring], closed=True)
            for rings in zone.pieces
            for ring in rings
        )
        fill = _colour(zone.speed.middle, fastest)
        canvas.path(data, fill=fill, stroke="#ffffff", width=0.2, fill_rule="evenodd")
        if zone.speed.middle < 0:
            _hatch(canvas, polygon(zone), at, scale)
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
    wide = min(RIM_MM, 0.07 * (core.x1 - core.x0))
    outer = Box(core.x0 - wide, core.y0 - wide, core.x1 + wide, core.y1 + wide)
    past = directed(flow, "g/s", 0, _GRAMS, _WAYS["beside"][1])
    canvas.group("beside", f"open beside the radiator: {past}")
    pale = _colour(-1e-9 if back else 0.0, 1.0)
    canvas.rectangle(outer, fill=pale, stroke=GREY, width=0.15)
    canvas.rectangle(core, fill="#ffffff", stroke=INK, width=0.3)


def _hatch(canvas: Canvas, shape: Any, at: _Place, scale: float) -> None:
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


def _draw_condenser(canvas: Canvas, state: StateView, at: _Place) -> None:
    import shapely

    covered = [polygon(zone) for zone in state.zones if zone.covered and not zone.masked]
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


def _draw_discs(canvas: Canvas, state: StateView, fan: FanView, at: _Place, scale: float) -> None:
    ahead = any(zone.pushed_by == fan.name for zone in state.zones)
    canvas.group("fan", f"{fan.name}, {'ahead of the condenser' if ahead else 'behind'}")
    for *middle, diameter in fan.discs:
        data = circle_data(*at((middle[0], middle[1])), diameter / 2 / scale)
        canvas.path(data, stroke="#ffffff", width=0.9)
        dashes = {} if ahead else {"stroke_dasharray": "2 1.2"}
        canvas.path(data, width=0.4, **dashes)


def draw_scale(canvas: Canvas, fastest: float, x: float, y: float) -> None:
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
