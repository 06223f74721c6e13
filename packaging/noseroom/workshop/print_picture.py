"""How a printed stand-in goes together: its pieces drawn apart, numbered, with a list."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.split_solids import Solid, arrays, box_of
from noseroom.report.drawing_svg import CAP_HALF, FAINT, GREY, INK, Canvas, path_data
from noseroom.report.drawing_text import LINE_PITCH_MM, Box, wrap
from noseroom.units import MM_PER_INCH
from noseroom.workshop.print_pieces import PrintedPart, PrintedPiece

Floats = NDArray[np.float64]

SHEET_MM = (196.0, 262.0)
"""Inside the margins of both A4 and Letter, upright."""
_PICTURE = Box(10.0, 22.0, 186.0, 138.0)
_EYE = np.array([-0.72, -0.48, 0.5]) / np.linalg.norm([-0.72, -0.48, 0.5])
_RIGHT = np.array([-_EYE[1], _EYE[0], 0.0]) / math.hypot(_EYE[0], _EYE[1])
_VIEW = np.stack([_RIGHT, np.cross(_EYE, _RIGHT), _EYE])
_APART = 0.45  # of the way from the whole's middle to a piece's
_SHARP = math.cos(math.radians(25.0))
_FINE_SHEET_MM = 0.1
_OFF_MM = 0.05  # so that an edge is not hidden by the faces that meet in it
_STEP_SHEET_MM = 0.5
_HANDS = {"L": "left", "R": "right"}
_NUMBER_MM, _BESIDE_MM = 2.6, 7.0
_UP, _ARROW_MM, _BESIDE_ARROW_MM = "UP (in the car)", 30.0, 20.0
_MARK_MM, _SAME_MM = 14.0, 1e-6
_ROW_MM, _TEXT_MM, _COLUMNS = 4.4, 2.8, (4.0, 24.0, 40.0, 70.0, 148.0, 172.0)
_HEADINGS = ("piece", "count", "on the bed", "size on the bed, mm [in]", "plastic", "support")


def assembly_svg(part: PrintedPart) -> str:
    """The sheet of one stand-in as SVG text, the same for the same stand-in."""
    canvas = Canvas(*SHEET_MM, f"{part.name}: printed pieces", "How the pieces go together")
    canvas.group("title")
    canvas.text(f"{part.name}, printed", 4.0, 8.0, size=5.0, bold=True)
    count = len(part.pieces)
    canvas.text(
        f"{count} piece{'s' if count > 1 else ''}, seen from {part.seen_from} and above. "
        + ("Each number is cut into the face that lay on the bed." if count > 1 else "")
        + (f"{part.letter}: the car's {_HANDS[part.letter]}." if part.letter else ""),
        4.0,
        13.5,
    )
    _draw_pieces(canvas, part)
    canvas.group("list")
    below = _draw_list(canvas, part)
    canvas.group("notes")
    for note in part.notes:
        for line in wrap(note, SHEET_MM[0] - 8.0, _TEXT_MM):
            canvas.text(line, 4.0, below, size=_TEXT_MM)
            below += LINE_PITCH_MM
    return canvas.to_string()


def _draw_pieces(canvas: Canvas, part: PrintedPart) -> None:
    """Far pieces first: near ones are drawn over them."""
    low, high = box_of(part.whole)
    middle = (low + high) / 2
    moved = [
        one.translate(tuple(_APART * (box_of(one).mean(axis=0) - middle))) for one in part.outsides
    ]
    view = _VIEW if part.turn is None else _VIEW @ part.turn
    seen = [one.transform(np.column_stack([view, np.zeros(3)])) for one in moved]
    boxes = [box_of(one) for one in seen]
    ends = np.concatenate([box[:, :2] for box in boxes])
    low2, high2 = ends.min(axis=0), ends.max(axis=0)
    frame = _PICTURE if part.turn is None else _PICTURE._replace(x0=_PICTURE.x0 + _BESIDE_ARROW_MM)
    room = np.array([frame.x1 - frame.x0, frame.y1 - frame.y0])
    scale = float((room / (high2 - low2)).min())
    offset = np.array([frame.x0 + frame.x1, frame.y0 + frame.y1]) / 2

    def sheet(points: Floats) -> list[tuple[float, float]]:
        flat = (points[:, :2] - (low2 + high2) / 2) * scale * np.array([1.0, -1.0]) + offset
        return [(float(x), float(y)) for x, y in flat]

    order = sorted(range(len(seen)), key=lambda k: (round(float(boxes[k][:, 2].mean()), 3), k))
    spots: list[tuple[str, float, float, float]] = []
    for k in order:
        number = str(part.pieces[k].number)
        canvas.group("piece", f"piece {number}")
        outline = seen[k].project().simplify(_FINE_SHEET_MM / scale)
        loops = [np.asarray(loop) for loop in outline.to_polygons()]
        data = " ".join(path_data(sheet(loop), closed=True) for loop in loops)
        canvas.path(data, fill="#f3efe4", stroke=INK, width=0.3, fill_rule="evenodd")
        edges = [path_data(sheet(line)) for line in _sharp_edges(seen[k], _STEP_SHEET_MM / scale)]
        if edges:
            canvas.path(" ".join(edges), stroke=GREY, width=0.15)
        spots.append((number, *_inside(loops)))
    if part.turn is not None:
        _draw_up(canvas, part.letter)
        nearer = [(one @ view.T)[np.argmax(one @ view[2])] for _, one in part.marks]
        _draw_marks(canvas, part, sheet(np.array(nearer).reshape(-1, 3)))
    canvas.group("numbers")
    for number, x, y, radius in spots:
        at = sheet(np.array([[x, y]]))[0]
        if radius * scale < _NUMBER_MM:
            # Beside a small piece, on the side away from the whole's middle.
            off = np.asarray(at) - offset
            off = off / max(float(np.linalg.norm(off)), 1e-6) * _BESIDE_MM
            beside = at[0] + float(off[0]), at[1] + float(off[1])
            canvas.line([at, beside], stroke=INK, width=0.15)
            at = beside
        canvas.dot(*at, _NUMBER_MM, fill="#ffffff")
        canvas.text(number, at[0], at[1] + CAP_HALF * 3.4, anchor="middle", bold=True)


def _draw_up(canvas: Canvas, letter: str) -> None:
    """What is up in the car, at the picture's left: the eye's own up is the car's."""
    x, foot = _PICTURE.x0, _PICTURE.y1
    canvas.group("compass", _UP)
    canvas.line(((x, foot), (x, foot - _ARROW_MM)), width=0.5)
    canvas.arrow_head((x, foot - _ARROW_MM), (0.0, -1.0), 4.0)
    canvas.text(_UP, x + 4.6, foot - _ARROW_MM / 2.0, anchor="middle", upright=True)
    if letter:
        canvas.text(letter, x, foot - _ARROW_MM - 3.0, size=7.0, bold=True, anchor="middle")


def _draw_marks(canvas: Canvas, part: PrintedPart, spots: Sequence[tuple[float, float]]) -> None:
    """The holes' letters, as its drawing has them, each beside its hole."""
    canvas.group("marks")
    middle = np.mean(spots, axis=0) if len(spots) else np.zeros(2)
    for (letter, _), (x, y) in zip(part.marks, spots, strict=True):
        off = np.array([x, y]) - middle
        long = float(np.linalg.norm(off))
        way = off / long if long > _SAME_MM else np.array([0.0, -1.0])
        at = float(x + way[0] * _MARK_MM), float(y + way[1] * _MARK_MM)
        canvas.line([(x, y), at], stroke=INK, width=0.15)
        canvas.dot(x, y, 0.5)
        canvas.dot(*at, _NUMBER_MM, fill="#ffffff")
        canvas.text(letter, at[0], at[1] + CAP_HALF * 4.0, size=4.0, anchor="middle", bold=True)


def _inside(loops: list[Floats]) -> tuple[float, float, float]:
    """A point well inside the largest loop, and its distance from the edge."""
    from shapely import Polygon, maximum_inscribed_circle

    largest = max((Polygon(loop) for loop in loops), key=lambda one: round(one.area, 3))
    circle = maximum_inscribed_circle(largest.buffer(0.0), tolerance=1.0)
    (x, y), _ = circle.coords
    return x, y, circle.length


def _sharp_edges(seen: Solid, step_mm: float) -> Iterator[Floats]:
    """Edges (2, 3) between a face that looks at the eye and one at another angle."""
    vertices, triangles = arrays(seen)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(triangles)), 3)
    key = np.sort(ends, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    for one, other in order.reshape(-1, 2):
        i, j = normals[owner[one]], normals[owner[other]]
        if i @ j < _SHARP and (i[2] > 0.02 or j[2] > 0.02):
            yield from _seen_parts(seen, vertices[ends[one]], step_mm)


def _seen_parts(seen: Solid, edge: Floats, step_mm: float) -> Iterator[Floats]:
    """The parts (2, 3) of an edge that its own piece does not hide."""
    count = max(1, round(float(np.linalg.norm(edge[1] - edge[0])) / step_mm))
    shares = np.linspace(0.0, 1.0, count + 1)[:, None]
    points = edge[0] + shares * (edge[1] - edge[0])
    far = box_of(seen)[1, 2] + 1.0
    begun: Floats | None = None
    for start, end in pairwise(points):
        eye = (start + end) / 2
        eye[2] += _OFF_MM
        hidden = bool(seen.ray_cast(tuple(eye), (eye[0], eye[1], far)))
        if hidden and begun is not None:
            yield np.array([begun, start])
        begun = None if hidden else (start if begun is None else begun)
    if begun is not None:
        yield np.array([begun, points[-1]])


def _draw_list(canvas: Canvas, part: PrintedPart) -> float:
    """The table of pieces; returns where the next line goes."""
    y = _PICTURE.y1 + 10.0
    for at, heading in zip(_COLUMNS, _HEADINGS, strict=True):
        canvas.text(heading, at, y, size=_TEXT_MM, bold=True)
    for one in (*part.pieces, *part.pegs):
        y += _ROW_MM
        canvas.line([(4.0, y - 3.3), (SHEET_MM[0] - 4.0, y - 3.3)], stroke=FAINT, width=0.1)
        for at, text in zip(_COLUMNS, _row(one), strict=True):
            canvas.text(text, at, y, size=_TEXT_MM)
    return y + _ROW_MM + 3.0


def _row(piece: PrintedPiece) -> tuple[str, ...]:
    size = " x ".join(f"{one:.1f}" for one in piece.size_mm)
    inches = " x ".join(f"{one / MM_PER_INCH:.2f}" for one in piece.size_mm)
    return (
        str(piece.number) if piece.number else piece.name,
        str(piece.count),
        piece.way,
        f"{size} [{inches}]",
        f"{piece.count * piece.volume_mm3 / 1000:.1f} cm³",
        "yes" if piece.needs_support else "no",
    )
