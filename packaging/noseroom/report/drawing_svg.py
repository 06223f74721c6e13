"""A small SVG writer for sheets in millimetres: lines, texts, arrow heads and verdict shapes."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence

from noseroom.report.drawing_model import DrawingError, Point, Verdict
from noseroom.report.drawing_text import BODY_MM, Box, clean, text_box, text_width_mm

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
FONT_FAMILY = "Arial, Helvetica, 'Liberation Sans', 'DejaVu Sans', sans-serif"
INK, GREY, FAINT = "#1b1e22", "#6b7178", "#b9bec4"
CAP_HALF = 0.36
"""Half the height of capitals as part of the font size: centres a line on a height."""

VERDICT_COLOURS: dict[Verdict, tuple[str, str]] = {
    "fits": ("#ffffff", "#1f7a4d"),
    "fouls": ("#b3261e", "#b3261e"),
    "too close to call": ("#ffe3a3", "#8a5a00"),
    "not known": ("#ffffff", "#4a4f55"),
}
"""Fill and line of each verdict; the shapes differ as well, see `verdict_shape`."""


def number(value: float) -> str:
    """`value` to a thousandth, without trailing zeros and never as "-0"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def path_data(points: Iterable[Point], *, closed: bool = False) -> str:
    """SVG path data through sheet points, mm."""
    data = "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points)
    return data + " Z" if closed else data


def circle_data(x: float, y: float, radius: float) -> str:
    """SVG path data of a circle about (x, y), mm."""
    left, right, height, r = number(x - radius), number(x + radius), number(y), number(radius)
    return f"M{left} {height} A{r} {r} 0 1 1 {right} {height} A{r} {r} 0 1 1 {left} {height} Z"


def darker(colour: str, keep: float) -> str:
    """`colour` ("#rrggbb") with each channel multiplied by `keep`."""
    return "#" + "".join(f"{round(int(colour[i : i + 2], 16) * keep):02x}" for i in (1, 3, 5))


def balloon_radius_mm(label: str) -> float:
    """Radius of the round balloon that holds `label` at body size."""
    return max(3.2, text_width_mm(label) / 2 + 0.8)


def balloon_reach_mm(label: str, verdict: Verdict) -> float:
    """Half the side of the upright square that the balloon covers, line width included."""
    diamond = 1.5 if verdict == "too close to call" else 1.0
    return balloon_radius_mm(label) * diamond + 0.3


def verdict_shape(verdict: Verdict, x: float, y: float, radius: float) -> str:
    """Path data of a verdict's own shape about (x, y).

    A circle fits, a stop sign (octagon) fouls, a diamond is too close to call, and a square is
    not known: told apart without colour.
    """
    if verdict == "fits":
        return circle_data(x, y, radius)
    corners, reach, turn = {
        "fouls": (8, radius * 1.05, math.pi / 8),
        "too close to call": (4, radius * 1.5, 0.0),
        "not known": (4, radius * 1.34, math.pi / 4),
    }[verdict]
    angles = [turn + 2 * math.pi * i / corners for i in range(corners)]
    return path_data(
        [(x + reach * math.cos(a), y + reach * math.sin(a)) for a in angles], closed=True
    )


class Canvas:
    """An SVG sheet under construction, lengths in mm from its upper left corner.

    Elements go into the group that was opened last with `group`.
    """

    def __init__(self, width_mm: float, height_mm: float, title: str, description: str) -> None:
        self.root = ET.Element(
            "svg",
            {
                "xmlns": SVG_NAMESPACE,
                "width": f"{number(width_mm)}mm",
                "height": f"{number(height_mm)}mm",
                "viewBox": f"0 0 {number(width_mm)} {number(height_mm)}",
                "role": "img",
                "aria-labelledby": "sheet-title sheet-desc",
                "font-family": FONT_FAMILY,
            },
        )
        ET.SubElement(self.root, "title", {"id": "sheet-title"}).text = clean(title)
        ET.SubElement(self.root, "desc", {"id": "sheet-desc"}).text = clean(description)
        self._group = self.root
        self.rectangle(Box(0, 0, width_mm, height_mm), fill="#ffffff", stroke="none")

    def group(self, name: str, title: str = "", **data: str) -> None:
        """Open a group of class `name`; `title` is its full text for readers and tool tips."""
        attributes = {"class": name, **{f"data-{key}": value for key, value in data.items()}}
        self._group = ET.SubElement(self.root, "g", attributes)
        if title:
            ET.SubElement(self._group, "title").text = clean(title)

    def path(
        self,
        data: str,
        *,
        stroke: str = INK,
        width: float = 0.25,
        fill: str = "none",
        **more: str,
    ) -> None:
        """One path; `more` are further attributes, with "_" for "-"."""
        attributes = {"d": data, "fill": fill, "stroke": stroke}
        if stroke != "none":
            attributes |= {"stroke-width": number(width), "stroke-linejoin": "round"}
        attributes |= {key.replace("_", "-"): value for key, value in more.items()}
        ET.SubElement(self._group, "path", attributes)

    def line(
        self, points: Sequence[Point], *, stroke: str = INK, width: float = 0.18, **more: str
    ) -> None:
        """An open polyline."""
        self.path(path_data(points), stroke=stroke, width=width, **more)

    def rectangle(self, box: Box, *, fill: str, stroke: str = INK, width: float = 0.25) -> None:
        """An upright rectangle."""
        corners = [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)]
        self.path(path_data(corners, closed=True), fill=fill, stroke=stroke, width=width)

    def dot(self, x: float, y: float, radius: float, *, fill: str = INK) -> None:
        """A filled dot."""
        shape = {"cx": number(x), "cy": number(y), "r": number(radius), "fill": fill}
        ET.SubElement(self._group, "circle", shape)

    def arrow_head(self, tip: Point, towards: Point, length: float = 2.4) -> None:
        """A slim filled arrow head at `tip`, pointing along `towards` (any length but zero)."""
        norm = math.hypot(*towards)
        if norm == 0:
            return
        ux, uy = towards[0] / norm, towards[1] / norm
        bx, by, half = tip[0] - length * ux, tip[1] - length * uy, length * 0.17
        corners = [tip, (bx - half * uy, by + half * ux), (bx + half * uy, by - half * ux)]
        self.path(path_data(corners, closed=True), fill=INK, stroke="none")

    def text(
        self,
        text: str,
        x: float,
        y: float,
        *,
        size: float = BODY_MM,
        anchor: str = "start",
        upright: bool = False,
        bold: bool = False,
        italic: bool = False,
        fill: str = INK,
        halo: bool = False,
    ) -> None:
        """One line of text with its anchor on the baseline at (x, y); nothing for "".

        halo: lay white under it, so that the linework behind does not run into the letters.
        """
        text = clean(text)
        if not text:
            return
        if halo:
            box = text_box(text, x, y, size, anchor=anchor, upright=upright, bold=bold)
            # Capitals and descenders only: the room for accents is mostly empty.
            slim = box._replace(x0=box.x0 + 0.2 * size) if upright else box
            slim = slim if upright else slim._replace(y0=slim.y0 + 0.2 * size)
            data = path_data(
                [(slim.x0, slim.y0), (slim.x1, slim.y0), (slim.x1, slim.y1), (slim.x0, slim.y1)],
                closed=True,
            )
            self.path(data, fill="#ffffff", stroke="none", fill_opacity="0.88")
        attributes = {"x": number(x), "y": number(y), "font-size": number(size), "fill": fill}
        if anchor != "start":
            attributes["text-anchor"] = anchor
        if upright:
            attributes["transform"] = f"rotate(-90 {number(x)} {number(y)})"
        if bold:
            attributes["font-weight"] = "bold"
        if italic:
            attributes["font-style"] = "italic"
        ET.SubElement(self._group, "text", attributes).text = text

    def balloon(self, label: str, verdict: Verdict, x: float, y: float) -> None:
        """A numbered balloon of the verdict's shape and colour."""
        fill, line = VERDICT_COLOURS[verdict]
        dashes = {"stroke_dasharray": "1.2 0.7"} if verdict == "not known" else {}
        data = verdict_shape(verdict, x, y, balloon_radius_mm(label))
        self.path(data, fill="#ffffff", stroke="#ffffff", width=1.2)
        self.path(data, fill=fill, stroke=line, width=0.5, **dashes)
        ink = "#ffffff" if verdict == "fouls" else INK
        self.text(label, x, y + CAP_HALF * BODY_MM, anchor="middle", fill=ink)

    def to_string(self) -> str:
        """The sheet as text, the same bytes for the same calls."""
        ET.indent(self.root, " ")
        return ET.tostring(self.root, encoding="unicode") + "\n"


def text_boxes_of(svg_text: str) -> list[tuple[str, float, float, float, float]]:
    """(text, x0, y0, x1, y1), mm, for every text element of a sheet that `Canvas` wrote."""
    try:
        root = ET.fromstring(svg_text)
    except ET.ParseError as fault:
        raise DrawingError(f"not a drawing: {fault}") from fault
    found = []
    for element in root.iter(f"{{{SVG_NAMESPACE}}}text"):
        text = element.text or ""
        box = text_box(
            text,
            float(element.get("x", "0")),
            float(element.get("y", "0")),
            float(element.get("font-size", "0")),
            anchor=element.get("text-anchor", "start"),
            upright="transform" in element.attrib,
            bold=element.get("font-weight") == "bold",
        )
        found.append((text, *box))
    return found
