"""The picture of the belts as a sheet: a panel for each, with its pulleys listed below it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from noseroom.report.drawing_model import Point
from noseroom.report.drawing_svg import CAP_HALF, FAINT, GREY, INK, Canvas, number, path_data
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, text_box, text_width_mm, wrap
from noseroom.report.drive_view import BeltView, DriveView, Map, Wheel
from noseroom.units import format_length

WIDTH_MM, EDGE_MM = 259.0, 3.0
PANEL_MM = 172.0
SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 20.0)
_HEAD_MM = 13.0
_MOST_COLUMNS = 3
_TITLE_SIZE_MM = 5.0
_PAD_MM, _CLEAR_MM = 4.0, 0.4
_BELT, _WRAP, _PLACE = "#1b1e22", "#b3541e", "#1f7a4d"
_Place = Callable[[Point], Point]
_CAUTION = (
    "Battery off and engine cold before hands go near belts or fan. "
    "Guaranteed for the model as measured."
)


def drive_svg(view: DriveView) -> str:
    """The sheet as SVG text, mm; the same view gives the same bytes."""
    columns = min(len(view.belts), _MOST_COLUMNS)
    rows = math.ceil(len(view.belts) / columns)
    height = 2 * EDGE_MM + _HEAD_MM + rows * PANEL_MM
    said = [_said(one, view.unit) for one in view.belts]
    canvas = Canvas(
        WIDTH_MM,
        height,
        f"{view.title}: belts from the front",
        " ".join(["The belts from the front, the car's left on the right.", *said, _CAUTION]),
    )
    frame = Box(EDGE_MM, EDGE_MM, WIDTH_MM - EDGE_MM, height - EDGE_MM)
    canvas.group("frame")
    canvas.rectangle(frame, fill="none", width=0.5)
    _draw_head(canvas, frame, view.title)
    wide = (frame.x1 - frame.x0) / columns
    for index, belt in enumerate(view.belts):
        row, column = divmod(index, columns)
        x, y = frame.x0 + column * wide, frame.y0 + _HEAD_MM + row * PANEL_MM
        _draw_panel(canvas, Box(x, y, x + wide, y + PANEL_MM), belt, view.unit)
    return canvas.to_string()


def _draw_head(canvas: Canvas, frame: Box, title: str) -> None:
    canvas.group("head")
    y = frame.y0 + 7.5
    canvas.text("← CAR'S RIGHT", frame.x0 + _PAD_MM, y, bold=True)
    canvas.text("CAR'S LEFT →", frame.x1 - _PAD_MM, y, anchor="end", bold=True)
    room = frame.x1 - frame.x0 - 90.0
    said = wrap(f"{title}: belts", room, _TITLE_SIZE_MM, max_lines=1, bold=True)
    middle = (frame.x0 + frame.x1) / 2
    canvas.text(said[0], middle, y, size=_TITLE_SIZE_MM, anchor="middle", bold=True)


def _said(belt: BeltView, unit: str) -> str:
    """One belt in words."""
    return f"The {belt.name}, {_plane(belt, unit)}: {'; '.join(_lines(belt, unit))}."


def _plane(belt: BeltView, unit: str) -> str:
    if belt.ahead_mm < 1.0:
        return f"{belt.about}, rearmost plane"
    return f"{belt.about}, {format_length(belt.ahead_mm, unit)} ahead of the rearmost"


def _lines(belt: BeltView, unit: str) -> list[str]:
    """A line for each pulley, numbered: its wrap, and how long the span to the next is."""
    found = []
    for k, wheel in enumerate(belt.wheels, start=1):
        how = f"{k}  {wheel.name}"
        if wheel.back:
            how += " (on the belt's back)"
        if not wheel.arc:
            found.append(f"{how}: missed")
            continue
        said = "wrap not known" if wheel.wrap_deg is None else f"{wheel.wrap_deg:.0f}°"
        if wheel.sure_deg is not None:
            said += f", {math.floor(wheel.sure_deg)}° sure"
        found.append(f"{how}: {said}")
    spans = [
        f"{a + 1} to {b + 1}: {format_length(long, unit)}"
        for _, _, (a, b), long in sorted(belt.spans, key=lambda one: one[2])
    ]
    return [*found, f"spans: {', '.join(spans)}"] if spans else found


def _draw_panel(canvas: Canvas, box: Box, belt: BeltView, unit: str) -> None:
    room = box.x1 - box.x0 - 2 * _PAD_MM
    legend = [line for one in _lines(belt, unit) for line in wrap(one, room)]
    if belt.places is not None:
        legend += wrap(_of_places(belt.places, unit), room)
    if box.x0 <= EDGE_MM:
        legend += wrap(_CAUTION, room)
    top = box.y0 + 2 * LINE_PITCH_MM + 2.0
    bottom = box.y1 - len(legend) * LINE_PITCH_MM - 3.0
    canvas.group("panel", _said(belt, unit))
    if box.x0 > EDGE_MM:
        canvas.line(((box.x0, box.y0), (box.x0, box.y1)), width=0.25)
    canvas.line(((box.x0, box.y0), (box.x1, box.y0)), width=0.25)
    title = wrap(belt.name, room, max_lines=1, bold=True)[0]
    canvas.text(title, box.x0 + _PAD_MM, box.y0 + 5.0, bold=True)
    plane = wrap(_plane(belt, unit), room, max_lines=1)[0]
    canvas.text(plane, box.x0 + _PAD_MM, box.y0 + 5.0 + LINE_PITCH_MM, fill=GREY)
    _draw_view(canvas, Box(box.x0 + _PAD_MM, top, box.x1 - _PAD_MM, bottom), belt)
    canvas.group("legend")
    for row, line in enumerate(legend):
        y = bottom + 4.0 + row * LINE_PITCH_MM
        canvas.text(line, box.x0 + _PAD_MM, y)


def _of_places(places: Map, unit: str) -> str:
    if not places.rows:
        return f"No place for the {places.part} was found in the dashed window."
    step = format_length(places.step_mm, unit, denominator=64)
    return (
        f"Green: where the middle of the {places.part}'s pulley may stand, at rest, on a grid of "
        f"{step}; + marks what was judged one by one."
    )


def _extents(belt: BeltView) -> tuple[float, float, float, float]:
    around = [
        (one.middle[0] + x * one.radius_mm, one.middle[1] + y * one.radius_mm)
        for one in belt.wheels
        for x, y in ((-1, -1), (1, 1))
    ]
    if belt.places is not None:
        around += belt.places.window
    us, vs = zip(*around, strict=True)
    return min(us), min(vs), max(us), max(vs)


def _draw_view(canvas: Canvas, room: Box, belt: BeltView) -> None:
    u0, v0, u1, v1 = _extents(belt)
    wide, high = room.x1 - room.x0 - 14.0, room.y1 - room.y0 - 14.0
    fit = max((u1 - u0) / wide, (v1 - v0) / high)
    scale = next((one for one in SCALES if fit <= one), math.ceil(fit))
    x = (room.x0 + room.x1) / 2 - (u0 + u1) / 2 / scale
    y = (room.y0 + room.y1) / 2 + (v0 + v1) / 2 / scale

    def at(point: Point) -> Point:
        return x + point[0] / scale, y - point[1] / scale

    for wheel in belt.wheels:
        _draw_wheel(canvas, wheel, at, scale)
    if belt.places is not None:
        _draw_places(canvas, belt.places, at)
    canvas.group("belt", belt.name)
    for start, end, _, _ in belt.spans:
        canvas.line((at(start), at(end)), stroke=_BELT, width=0.9, stroke_linecap="round")
    for wheel in belt.wheels:
        if wheel.arc:
            points = [at(point) for point in wheel.arc]
            canvas.line(points, stroke=_WRAP, width=1.3, stroke_linecap="round")
    _draw_numbers(canvas, belt, at, scale)
    canvas.group("scale")
    canvas.text(f"1:{scale:g}", room.x1, room.y1, anchor="end", fill=GREY)


def _draw_wheel(canvas: Canvas, wheel: Wheel, at: _Place, scale: float) -> None:
    canvas.group("pulley", _wheel_title(wheel))
    (x, y), radius = at(wheel.middle), wheel.radius_mm / scale
    r = number(radius)
    circle = (
        f"M{number(x - radius)} {number(y)} A{r} {r} 0 1 1 {number(x + radius)} {number(y)} "
        f"A{r} {r} 0 1 1 {number(x - radius)} {number(y)} Z"
    )
    dashes = {"stroke_dasharray": "1.6 0.9"} if wheel.back else {}
    canvas.path(circle, fill="#f1f2f4", stroke=INK if wheel.arc else GREY, width=0.3, **dashes)
    if wheel.arc:
        # The sector that the belt lies on, and where it meets and leaves the pulley.
        ends = [at(wheel.arc[0]), (x, y), at(wheel.arc[-1])]
        canvas.line(ends, stroke=GREY, width=0.18)


def _wheel_title(wheel: Wheel) -> str:
    if not wheel.arc:
        return f"{wheel.name}: the belt misses it"
    return wheel.name if wheel.wrap_deg is None else f"{wheel.name}: {wheel.wrap_deg:.0f}°"


def _draw_numbers(canvas: Canvas, belt: BeltView, at: _Place, scale: float) -> None:
    """The number of each pulley and its wrap: inside where there is room, else beside it."""
    taken: list[Box] = []
    us, vs = zip(*(one.middle for one in belt.wheels), strict=True)
    middle = at((sum(us) / len(us), sum(vs) / len(vs)))
    for k, wheel in enumerate(belt.wheels, start=1):
        text = _label(k, wheel)
        x, y = at(wheel.middle)
        radius, half = wheel.radius_mm / scale, text_width_mm(text, bold=True) / 2
        box = _label_box(text, (x, y))
        if half + 0.6 > radius or any(box.overlaps(one, _CLEAR_MM) for one in taken):
            x, y = _beside(text, (x, y), radius, middle, taken)
        taken.append(_label_box(text, (x, y)))
        base = y + CAP_HALF * BODY_MM
        canvas.group("number")
        canvas.text(text, x, base, anchor="middle", bold=True, halo=True)


def _label(k: int, wheel: Wheel) -> str:
    if not wheel.arc:
        return f"{k}: missed"
    return f"{k}" if wheel.wrap_deg is None else f"{k}: {wheel.wrap_deg:.0f}°"


def _label_box(text: str, at: Point) -> Box:
    """What a label takes that is centred on a point."""
    return text_box(text, at[0], at[1] + CAP_HALF * BODY_MM, anchor="middle", bold=True)


def _beside(text: str, centre: Point, radius: float, middle: Point, taken: Sequence[Box]) -> Point:
    """A place for a label beside a small pulley: away from the drive's middle, clear of others."""
    half = text_width_mm(text, bold=True) / 2
    out = math.atan2(centre[1] - middle[1], centre[0] - middle[0])
    found = centre
    for turn in (0.0, 0.5, -0.5, 1.0, -1.0, 1.5, -1.5, 2.2, -2.2, math.pi):
        way = math.cos(out + turn), math.sin(out + turn)
        reach = radius + 2.0 + abs(way[0]) * half + abs(way[1]) * BODY_MM / 2
        found = centre[0] + reach * way[0], centre[1] + reach * way[1]
        box = _label_box(text, found)
        if not any(box.overlaps(one, _CLEAR_MM) for one in taken):
            break
    return found


def _draw_places(canvas: Canvas, places: Map, at: _Place) -> None:
    canvas.group("places", f"where the {places.part} may stand")
    low, high = places.window
    corners = [at(one) for one in (low, (high[0], low[1]), high, (low[0], high[1]))]
    canvas.path(path_data(corners, closed=True), stroke=FAINT, width=0.25, stroke_dasharray="2 1.2")
    half = places.step_mm / 2
    strips = [
        [(u0 - half, v - half), (u1 + half, v - half), (u1 + half, v + half), (u0 - half, v + half)]
        for v, u0, u1 in places.rows
    ]
    if strips:
        data = " ".join(path_data([at(one) for one in strip], closed=True) for strip in strips)
        canvas.path(data, stroke="none", fill=_PLACE, fill_opacity="0.25")
    for place in places.best:
        x, y = at(place)
        for across, up in ((1.3, 0.0), (0.0, 1.3)):
            ends = (x - across, y - up), (x + across, y + up)
            canvas.line(ends, stroke=_PLACE, width=0.4)
