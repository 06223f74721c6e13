"""Flat patterns as DXF R2010 in millimetres, one figure a file, read back and compared.

Layers: "cut" what is cut through, "bend" where it is bent, with angle and direction as text past
the line's end, "centres" the middles of holes, "marks" words on the piece and the arrow that says
what is up, "guides" lines to lay it by, "notes" what is said, to the right of everything: no note
runs across the metal. Only "cut" is metal to go through.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path as FilePath
from typing import Any

from noseroom.errors import GeometryError, OutputError
from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.report.drawing_text import clean, text_width_mm
from noseroom.units import MM_PER_INCH
from noseroom.workshop.figures import Figure

CUT, BEND, CENTRES, MARKS, GUIDES, NOTES = LAYERS = (
    "cut",
    "bend",
    "centres",
    "marks",
    "guides",
    "notes",
)
_COLOURS = {CUT: 7, BEND: 5, CENTRES: 1, MARKS: 3, GUIDES: 8, NOTES: 8}
_DASHED = {BEND: "DASHED", GUIDES: "DASHDOT"}
_PATTERNS = {"DASHED": [6.0, 4.0, -2.0], "DASHDOT": [9.0, 6.0, -1.4, 0.2, -1.4]}
_FONT = "plain"
_MILLIMETRES, _METRIC = 4, 1  # $INSUNITS and $MEASUREMENT
_FULL_SIZE = 1.0  # $PSVPSCALE: programs that print by it print a mm as a mm
_CROSS = 2  # $PDMODE: points are shown as upright crosses
_TEXT_MM, _PITCH_MM = 3.0, 5.0
_CAPITALS = 0.71  # a text's height is that of its capitals, which is this part of its font's size
_OFF_MM, _BESIDE_MM = 3.0, 10.0
"""From a bend's end to its words, and from all that is drawn to the notes at its right."""
_SAME_MM = 1e-6
"""What is read back may be this far off: DXF is text, and a number in it has its digits."""

Entity = tuple[str, str, tuple[float, ...], str]
"""Kind, layer, numbers and text: all that makes an entity what it is."""


def entities_of(figure: Figure) -> tuple[Entity, ...]:
    """What a figure is as entities, in the order that they are written.

    LWPOLYLINE: closed (0 or 1), then x, y, bulge a corner. CIRCLE: x, y, radius. LINE: x, y of
    both ends. POINT: x, y. TEXT: x, y of its foot's middle or left end, height, degrees.
    """
    return tuple(_entities(figure))


def dxf_bytes(figure: Figure) -> bytes:
    """The file's bytes; the same figure gives the same bytes.

    Raises GeometryError where a number of the figure is not finite.
    """
    with _without_dates():
        document = _empty()
        _fill(document.modelspace(), figure)
        # The library would declare them in the order of a set, which differs from run to run.
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        stream = io.StringIO()
        document.write(stream)
        return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def write_dxf(figure: Figure, path: FilePath) -> None:
    """Write one figure, read it back and compare; the folder has to be there.

    Raises OutputError when it cannot be written, GeometryError when it does not come back.
    """
    try:
        path.write_bytes(dxf_bytes(figure))
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror or error})") from error
    check_dxf(path, figure)


def check_dxf(path: FilePath, figure: Figure) -> None:
    """Read a file back: version, units, no fault for the library, entity by entity the figure.

    Raises GeometryError with what is amiss.
    """
    import ezdxf
    from ezdxf.lldxf.const import DXFError

    try:
        document = ezdxf.readfile(path)
        audit = document.audit()
    except (DXFError, OSError) as error:
        raise GeometryError(f"{path.name}: does not come back as DXF ({error})") from error
    if audit.errors or audit.fixes:
        said = (*audit.errors, *audit.fixes)[0].message
        raise GeometryError(f"{path.name}: the file has a fault: {said}")
    if document.dxfversion != "AC1024" or document.units != _MILLIMETRES:
        raise GeometryError(f"{path.name}: is not DXF R2010 in millimetres")
    found = [_read(one) for one in document.modelspace()]
    wanted = entities_of(figure)
    if len(found) != len(wanted):
        raise GeometryError(f"{path.name}: has {len(found)} entities; expected {len(wanted)}")
    for number, (one, other) in enumerate(zip(found, wanted, strict=True), start=1):
        if not _same(one, other):
            raise GeometryError(f"{path.name}: entity {number} came back as {one}, not {other}")


def thickness_words(figure: Figure) -> str:
    """Its sheet in both units, such as "2.50 mm [0.098 in] mild steel", as far as it is known."""
    if not figure.thickness_mm:
        return figure.material
    inches = figure.thickness_mm / MM_PER_INCH
    return f"{figure.thickness_mm:.2f} mm [{inches:.3f} in] {figure.material}".rstrip()


def _empty() -> Any:
    """A document with units, layers, line patterns and one font, and nothing drawn."""
    import ezdxf

    document = ezdxf.new("R2010", units=_MILLIMETRES)
    document.header["$MEASUREMENT"] = _METRIC
    document.header["$PDMODE"] = _CROSS
    document.header["$PDSIZE"] = 4.0
    document.header["$PSVPSCALE"] = _FULL_SIZE
    for name, pattern in _PATTERNS.items():
        document.linetypes.add(name, pattern)
    document.styles.add(_FONT, font="arial.ttf")
    for name in LAYERS:
        document.layers.add(name, color=_COLOURS[name], linetype=_DASHED.get(name, "Continuous"))
    return document


def _fill(space: Any, figure: Figure) -> None:
    for kind, layer, numbers, text in entities_of(figure):
        if not all(math.isfinite(one) for one in numbers):
            raise GeometryError(f"{figure.name}: a number of the figure is not finite")
        on = {"layer": layer}
        if kind == "LWPOLYLINE":
            corners = [numbers[k : k + 3] for k in range(1, len(numbers), 3)]
            space.add_lwpolyline(corners, format="xyb", close=bool(numbers[0]), dxfattribs=on)
        elif kind == "CIRCLE":
            space.add_circle(numbers[:2], numbers[2], dxfattribs=on)
        elif kind == "LINE":
            space.add_line(numbers[:2], numbers[2:], dxfattribs=on)
        elif kind == "POINT":
            space.add_point(numbers, dxfattribs=on)
        else:
            x, y, height, turn = numbers
            look = on | {"style": _FONT, "rotation": turn, "linetype": "Continuous"}
            words = space.add_text(text, height=height, dxfattribs=look)
            words.set_placement((x, y), align=_alignment(layer))


def _entities(figure: Figure) -> Iterator[Entity]:
    for cut in figure.cuts:
        yield _shape(cut, CUT)
    for bend in figure.bends:
        yield "LINE", BEND, (*bend.start, *bend.end), ""
        if bend.text:
            yield _past_bend(bend.start, bend.end, bend.text)
    for centre in figure.centres:
        yield "POINT", CENTRES, centre.at, ""
        if centre.letter:
            x, y = centre.at
            at = (x + centre.diameter_mm / 2.0 + _TEXT_MM, y - _TEXT_MM / 2.0)
            yield _text(MARKS, at, centre.letter)
    for guide in figure.guides:
        yield _shape(guide, GUIDES)
    for arrow in figure.arrows:
        yield from (("LINE", MARKS, (*start, *end), "") for start, end in arrow.lines())
    for label in figure.labels:
        yield _text(MARKS, label.at, label.text, label.height_mm, label.turn_deg)
    x, top = _right_of(figure) + _BESIDE_MM, figure.box()[3]
    for row, line in enumerate(_said(figure)):
        yield _text(NOTES, (x, top - _TEXT_MM - row * _PITCH_MM), line)


def _right_of(figure: Figure) -> float:
    """The right end of all that is drawn, arrows and words on the piece counted."""
    ends = [figure.box()[2]]
    ends += [x for arrow in figure.arrows for line in arrow.lines() for x, _ in line]
    for label in figure.labels:
        half = _wide_mm(label.text, label.height_mm) / 2.0
        turn = math.radians(label.turn_deg)
        ends.append(
            label.at[0] + abs(math.cos(turn)) * half + abs(math.sin(turn)) * label.height_mm
        )
    return max(ends)


def _wide_mm(text: str, height_mm: float) -> float:
    return text_width_mm(text, height_mm / _CAPITALS)


def _said(figure: Figure) -> Iterator[str]:
    yield figure.title
    if sheet := thickness_words(figure):
        yield f"Thickness and material: {sheet}"
    if figure.hand:
        yield f"{figure.hand[:1].upper()}: for the car's {figure.hand}"
    if figure.seen_from:
        yield f"Seen from {figure.seen_from}"
    yield "All sizes in mm, full size"
    yield from (centre.said for centre in figure.centres if centre.text)
    yield from figure.notes


def _shape(shape: Path | Circle, layer: str) -> Entity:
    if isinstance(shape, Circle):
        return "CIRCLE", layer, (*shape.centre, shape.diameter_mm / 2.0), ""
    bulges = shape.bulges or (0.0,) * len(shape.points)
    corners = zip(shape.points, bulges, strict=True)
    numbers = tuple(value for (x, y), bulge in corners for value in (x, y, bulge))
    return "LWPOLYLINE", layer, (float(shape.closed), *numbers), ""


def _text(
    layer: str, at: Point, text: str, height: float = _TEXT_MM, turn_deg: float = 0.0
) -> Entity:
    # "%%" begins a code in DXF's texts.
    return "TEXT", layer, (*at, height, turn_deg), clean(text).replace("%%", "% %")


def _past_bend(start: Point, end: Point, text: str) -> Entity:
    """Words past the line's upper or left end and along it, never upside down."""
    turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
    far = end
    if not -90.0 < turn <= 90.0:
        turn -= math.copysign(180.0, turn)
        far = start
    # `far` is the end that the words' own direction runs to: right, or up where they stand upright.
    along = math.radians(turn)
    off = _OFF_MM + _wide_mm(text, _TEXT_MM) / 2.0
    if abs(turn) < 45.0:
        far, off = (start if far == end else end), -off
    at = (
        far[0] + off * math.cos(along) + math.sin(along) * _TEXT_MM / 2.0,
        far[1] + off * math.sin(along) - math.cos(along) * _TEXT_MM / 2.0,
    )
    return _text(BEND, at, text, turn_deg=turn)


def _alignment(layer: str) -> Any:
    from ezdxf.enums import TextEntityAlignment

    return TextEntityAlignment.LEFT if layer == NOTES else TextEntityAlignment.BOTTOM_CENTER


@contextmanager
def _without_dates() -> Iterator[None]:
    """Within, documents get no time of making or writing, and fixed marks of identity."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _read(entity: Any) -> Entity:
    kind, dxf = entity.dxftype(), entity.dxf
    numbers: tuple[float, ...] = ()
    text = ""
    if kind == "LWPOLYLINE":
        corners = entity.get_points("xyb")
        numbers = (float(entity.closed), *(float(value) for one in corners for value in one))
    elif kind == "CIRCLE":
        numbers = (dxf.center.x, dxf.center.y, dxf.radius)
    elif kind == "LINE":
        numbers = (dxf.start.x, dxf.start.y, dxf.end.x, dxf.end.y)
    elif kind == "POINT":
        numbers = (dxf.location.x, dxf.location.y)
    elif kind == "TEXT":
        _, at, _ = entity.get_placement()
        numbers, text = (at.x, at.y, dxf.height, dxf.rotation), dxf.text
    return kind, dxf.layer, numbers, text


def _same(one: Entity, other: Entity) -> bool:
    """Kind, layer and text alike, and every number within what the file's digits leave."""
    if (one[0], one[1], one[3]) != (other[0], other[1], other[3]) or len(one[2]) != len(other[2]):
        return False
    return all(abs(a - b) <= _SAME_MM for a, b in zip(one[2], other[2], strict=True))
