"""Sheets that `Canvas` drew as PDF pages of the same size: vectors, fonts embedded, fixed bytes.

A sheet has four kinds of element, so this walks over them itself. A general reader of SVG would
look for the font on the machine, and so print other widths, and would pass in silence over what it
does not know; here that is an error.
"""

from __future__ import annotations

import io
import math
import re
import unicodedata
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from noseroom.errors import MissingLibraryError
from noseroom.report.drawing_model import DrawingError, Point
from noseroom.report.drawing_svg import CAP_HALF, SVG_NAMESPACE
from noseroom.units import MM_PER_INCH

POINTS_PER_MM = 72.0 / MM_PER_INCH
_FONTS = {
    (False, False): "Vera",
    (True, False): "VeraBd",
    (False, True): "VeraIt",
    (True, True): "VeraBI",
}
"""By bold and italic. They come with the library, and are as wide as the sheet reckons with."""
_ARROWS = {"→": 0.0, "↑": 90.0, "←": 180.0, "↓": 270.0}
_ARROW_EM = 0.85
_SPELT = {"′": "'", "″": '"', "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_TURNED = re.compile(r"rotate\((-?[\d.]+) (-?[\d.]+) (-?[\d.]+)\)")
_STEP = re.compile(r"([MLAZ])([^A-Za-z]*)")
_NUMBERS = {"M": 2, "L": 2, "A": 7, "Z": 0}
_LARGEST_PIECE = math.pi / 4  # a cubic is off a piece of arc this long by 4 parts in a million
_LOOK = ("fill", "stroke", "stroke-width", "stroke-dasharray", "fill-opacity", "stroke-linejoin")
_SILENT = ("title", "desc")


def svg_to_pdf(sheets: Sequence[str], title: str = "") -> bytes:
    """Each sheet as a page of its own size; the same sheets give the same bytes.

    title: what a viewer's window is called, the first sheet's own if empty. Viewers are asked to
    print without scaling.

    Raises DrawingError where a sheet holds what `Canvas` does not draw, or there is none.
    """
    roots = [_root(one) for one in sheets]
    if not roots:
        raise DrawingError("there is no sheet to make a PDF from")
    canvas_of = _library()
    stream = io.BytesIO()
    canvas = canvas_of(stream, invariant=1, pageCompression=1, initialFontName=_FONTS[False, False])
    canvas.setTitle(title or _title(roots[0]))
    canvas.setCreator("noseroom")
    canvas.setAuthor("noseroom")
    canvas.setViewerPreference("PrintScaling", "None")
    for root in roots:
        width, height = _size_mm(root)
        canvas.setPageSize((width * POINTS_PER_MM, height * POINTS_PER_MM))
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        # From here on as on the sheet: mm, y downwards.
        canvas.transform(1, 0, 0, -1, 0, height)
        _draw(canvas, root)
        canvas.showPage()
    canvas.save()
    data = stream.getvalue()
    _demand_pages(data, [_size_mm(one) for one in roots])
    return data


def _library() -> Any:
    """The library's canvas, its fonts made known."""
    try:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont
        from reportlab.pdfgen.canvas import Canvas
    except ImportError as error:
        raise MissingLibraryError("PDF files need reportlab: pip install reportlab") from error
    known = set(pdfmetrics.getRegisteredFontNames())
    for name in _FONTS.values():
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    return Canvas


def _root(sheet: str) -> ET.Element:
    try:
        return ET.fromstring(sheet)
    except ET.ParseError as fault:
        raise DrawingError(f"not a drawing: {fault}") from fault


def _title(root: ET.Element) -> str:
    return root.findtext(f"{{{SVG_NAMESPACE}}}title", "")


def _size_mm(root: ET.Element) -> tuple[float, float]:
    """Width and height, where a unit of the drawing is a millimetre of the sheet."""
    sizes = [root.get(name, "") for name in ("width", "height")]
    if not all(one.endswith("mm") for one in sizes):
        raise DrawingError(f"a sheet's size is in mm; found {' and '.join(sizes) or 'none'}")
    width, height = (float(one.removesuffix("mm")) for one in sizes)
    if [float(one) for one in root.get("viewBox", "").split()] != [0.0, 0.0, width, height]:
        raise DrawingError("a sheet's unit is not the millimetre")
    return width, height


def _demand_pages(data: bytes, sizes: Sequence[tuple[float, float]]) -> None:
    """Read the pages' sizes back. Raises DrawingError where one is not its sheet's."""
    found = [
        tuple(float(one) / POINTS_PER_MM for one in box.split()[2:])
        for box in re.findall(rb"/MediaBox \[([^\]]*)\]", data)
    ]
    same = len(found) == len(sizes) and all(
        math.dist(a, b) < 0.01 for a, b in zip(found, sizes, strict=True)
    )
    if not same:
        raise DrawingError("a page of the PDF came back with another size than its sheet")


def _draw(canvas: Any, group: ET.Element) -> None:
    for element in group:
        kind = element.tag.removeprefix(f"{{{SVG_NAMESPACE}}}")
        if kind == "g":
            _draw(canvas, element)
        elif kind == "path":
            _draw_path(canvas, element)
        elif kind == "circle":
            _draw_dot(canvas, element)
        elif kind == "text":
            _draw_text(canvas, element)
        elif kind not in _SILENT:
            raise DrawingError(f"a sheet holds no {kind!r}")


def _draw_path(canvas: Any, element: ET.Element) -> None:
    strange = set(element.attrib) - {"d", "class", *_LOOK}
    if strange:
        raise DrawingError(f"a line of a sheet has no {', '.join(sorted(strange))}")
    path = canvas.beginPath()
    here = first = (0.0, 0.0)
    for step, numbers in _steps(element.get("d", "")):
        if step == "M":
            here = first = (numbers[0], numbers[1])
            path.moveTo(*here)
        elif step == "L":
            here = (numbers[0], numbers[1])
            path.lineTo(*here)
        elif step == "A":
            for piece in _arc(here, numbers):
                path.curveTo(*piece)
            here = (numbers[5], numbers[6])
        else:
            path.close()
            here = first
    _stroke(canvas, element, path)


def _steps(data: str) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Commands with their numbers; a run of numbers repeats its command."""
    if re.sub(_STEP, "", data).strip():
        raise DrawingError(f"a line of a sheet cannot be read: {data[:40]!r}")
    for step, text in _STEP.findall(data):
        numbers = tuple(float(one) for one in text.replace(",", " ").split())
        each = _NUMBERS[step]
        if (len(numbers) % each if each else len(numbers)) or (each and not numbers):
            raise DrawingError(f"a line of a sheet cannot be read: {step}{text}")
        if not each:
            yield step, ()
        for k in range(0, len(numbers), each or 1):
            yield step, numbers[k : k + each]


def _arc(start: Point, numbers: Sequence[float]) -> Iterator[tuple[float, ...]]:
    """A part of a circle as cubics, each as two handles and its end."""
    radius, other, _, large, sweep, *end = numbers
    chord = math.dist(start, end)
    if radius != other or chord == 0.0:
        raise DrawingError("an arc of a sheet is part of a circle, and no whole one")
    radius = max(radius, chord / 2.0)
    # From the chord's middle to the centre: to the chord's left or right by the two flags.
    away = math.sqrt(max(0.0, radius**2 - chord**2 / 4.0)) * (1.0 if large != sweep else -1.0)
    ux, uy = (end[0] - start[0]) / chord, (end[1] - start[1]) / chord
    cx = (start[0] + end[0]) / 2.0 - uy * away
    cy = (start[1] + end[1]) / 2.0 + ux * away
    first = math.atan2(start[1] - cy, start[0] - cx)
    turn = math.atan2(end[1] - cy, end[0] - cx) - first
    turn = turn % math.tau if sweep else -(-turn % math.tau)
    count = max(1, math.ceil(abs(turn) / _LARGEST_PIECE))
    handle = radius * 4.0 / 3.0 * math.tan(turn / count / 4.0)
    for low, high in pairwise(first + turn * k / count for k in range(count + 1)):
        x0, y0 = cx + radius * math.cos(low), cy + radius * math.sin(low)
        x1, y1 = cx + radius * math.cos(high), cy + radius * math.sin(high)
        yield (
            x0 - handle * math.sin(low),
            y0 + handle * math.cos(low),
            x1 + handle * math.sin(high),
            y1 - handle * math.cos(high),
            x1,
            y1,
        )


def _stroke(canvas: Any, element: ET.Element, path: Any) -> None:
    """Fill and line as the element has them."""
    fill, stroke = element.get("fill", "none"), element.get("stroke", "none")
    canvas.saveState()
    if fill != "none":
        canvas.setFillColor(fill)
        if "fill-opacity" in element.attrib:
            canvas.setFillAlpha(float(element.attrib["fill-opacity"]))
    if stroke != "none":
        canvas.setStrokeColor(stroke)
        canvas.setLineWidth(float(element.get("stroke-width", "1")))
        canvas.setLineJoin(1 if element.get("stroke-linejoin") == "round" else 0)
        dashes = [float(one) for one in element.get("stroke-dasharray", "").split()]
        if dashes:
            canvas.setDash(dashes)
    canvas.drawPath(path, stroke=int(stroke != "none"), fill=int(fill != "none"))
    canvas.restoreState()


def _draw_dot(canvas: Any, element: ET.Element) -> None:
    path = canvas.beginPath()
    path.circle(*(float(element.get(name, "0")) for name in ("cx", "cy", "r")))
    _stroke(canvas, element, path)


def _draw_text(canvas: Any, element: ET.Element) -> None:
    x, y = float(element.get("x", "0")), float(element.get("y", "0"))
    size = float(element.get("font-size", "0"))
    font = _FONTS[
        element.get("font-weight") == "bold",
        element.get("font-style") == "italic",
    ]
    runs = list(_runs(element.text or "", font))
    widths = [
        canvas.stringWidth(text, font, size) if turn is None else _ARROW_EM * size
        for text, turn in runs
    ]
    canvas.saveState()
    ink = element.get("fill", "#000000")
    canvas.setFillColor(ink)
    canvas.setStrokeColor(ink)
    canvas.translate(x, y)
    if "transform" in element.attrib:
        turned = _TURNED.fullmatch(element.attrib["transform"])
        if turned is None or math.dist((x, y), (float(turned[2]), float(turned[3]))) > 1e-6:
            raise DrawingError("a text of a sheet is turned about its own foot, or not at all")
        canvas.rotate(float(turned[1]))
    canvas.scale(1, -1)  # letters stand upright where y grows downwards
    at = (
        -sum(widths)
        * {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor", "start")]
    )
    for (text, turn), width in zip(runs, widths, strict=True):
        if turn is None:
            canvas.setFont(font, size)
            canvas.drawString(at, 0.0, text)
        else:
            _draw_arrow(canvas, (at + width / 2.0, CAP_HALF * size), turn, 0.36 * size)
        at += width
    canvas.restoreState()


def _runs(text: str, font: str) -> Iterator[tuple[str, float | None]]:
    """Stretches that the font can print, and the arrows between them with their direction."""
    kept = ""
    for char in text:
        if char in _ARROWS:
            if kept:
                yield kept, None
            yield char, _ARROWS[char]
            kept = ""
        else:
            spelt = _printable(char, font)
            # "5⅛" is no "51/8".
            kept += f" {spelt}" if "/" in spelt[1:] and kept[-1:].isdigit() else spelt
    if kept:
        yield kept, None


def _printable(char: str, font: str) -> str:
    """The character or what stands for it: the letter without its accent, at last "?"."""
    from reportlab.pdfbase import pdfmetrics

    glyphs = pdfmetrics.getFont(font).face.charToGlyph
    if ord(char) in glyphs:
        return char
    if char in _SPELT:
        return _SPELT[char]
    plain = "".join(
        one for one in unicodedata.normalize("NFKD", char) if not unicodedata.combining(one)
    )
    return plain if plain and all(ord(one) in glyphs for one in plain) else "?"


def _draw_arrow(canvas: Any, middle: Point, turn_deg: float, half: float) -> None:
    canvas.saveState()
    canvas.translate(*middle)
    canvas.rotate(turn_deg)
    canvas.setLineWidth(half * 0.24)
    path = canvas.beginPath()
    path.moveTo(-half, 0.0)
    path.lineTo(half, 0.0)
    path.moveTo(half * 0.4, half * 0.5)
    path.lineTo(half, 0.0)
    path.lineTo(half * 0.4, -half * 0.5)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.restoreState()
