"""One sheet of the paper templates: its size, heading, check bars, and what is on every sheet."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

from noseroom.report.drawing_svg import GREY, INK, Canvas, number, path_data
from noseroom.report.drawing_text import Box, clean, text_width_mm, wrap
from noseroom.units import MM_PER_INCH

MARGIN_MM = 12.0
"""Blank on every side, mm: more than the printers in use leave white (common practice)."""
HEAD_MM, FOOT_MM, _GAP_MM = 11.0, 20.0, 2.0
HEADING_MM, SMALL_MM = 4.4, 3.0
BARS = ((100.0, 10.0, "100 mm"), (4.0 * MM_PER_INCH, MM_PER_INCH / 2.0, "4 in"))
"""The check bars: length and step, mm, and what is written beside them."""
ADVICE = "Print at 100 %, do not scale to fit. Measure both bars first, edge to edge."
MAP_MM = (26.0, 18.0)
"""Room for the map of the sheets in the foot, at its right."""


@dataclass(frozen=True)
class Paper:
    """A size of paper, upright, mm."""

    name: str
    width_mm: float
    height_mm: float

    def room(self) -> Box:
        """Where figures may lie, between head and foot."""
        return Box(
            MARGIN_MM,
            MARGIN_MM + HEAD_MM + _GAP_MM,
            self.width_mm - MARGIN_MM,
            self.height_mm - MARGIN_MM - FOOT_MM - _GAP_MM,
        )


A4 = Paper("A4", 210.0, 297.0)  # ISO 216
LETTER = Paper("Letter", 8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH)  # ANSI/ASME Y14.1, size A
PAPERS = (A4, LETTER)


@dataclass(frozen=True)
class Page:
    """Which sheet of how many, of what. subject: the nose's title; heading: what is on it."""

    number: int
    count: int
    subject: str
    heading: str


class Sheet(Canvas):
    """A sheet with head and foot drawn; what is on it goes into `room`."""

    def __init__(self, paper: Paper, page: Page) -> None:
        super().__init__(
            paper.width_mm,
            paper.height_mm,
            f"{page.subject}: {page.heading}",
            f"Sheet {page.number} of {page.count}, {paper.name}, full size. {ADVICE}",
        )
        self.paper = paper
        self.room = paper.room()
        self._draw_head(page)
        self._draw_foot()

    def turned_text(self, text: str, x: float, y: float, size: float, turn_deg: float) -> None:
        """One line with the middle of its foot at (x, y), turned anticlockwise."""
        look = {"x": number(x), "y": number(y), "font-size": number(size), "fill": INK}
        look["text-anchor"] = "middle"
        if turn_deg % 360.0:
            look["transform"] = f"rotate({number(-turn_deg)} {number(x)} {number(y)})"
        ET.SubElement(self._group, "text", look).text = clean(text)

    def foot_map_box(self) -> Box:
        """Where the map of the sheets goes."""
        right, bottom = self.room.x1, self.paper.height_mm - MARGIN_MM
        return Box(right - MAP_MM[0], bottom - MAP_MM[1], right, bottom)

    def _draw_head(self, page: Page) -> None:
        x0, x1 = self.room.x0, self.room.x1
        said = f"Sheet {page.number} of {page.count}"
        left = x1 - text_width_mm(said, bold=True)
        self.group("head")
        wide = left - x0 - 6.0
        long = text_width_mm(page.heading, HEADING_MM, bold=True)
        size = max(SMALL_MM, min(HEADING_MM, HEADING_MM * wide / long))
        (heading,) = wrap(page.heading, wide + 1e-6, size, max_lines=1, bold=True)
        self.text(heading, x0, MARGIN_MM + 4.4, size=size, bold=True)
        self.text(said, x1, MARGIN_MM + 4.4, anchor="end", bold=True)
        (subject,) = wrap(page.subject, x1 - x0 - 12.0, SMALL_MM, max_lines=1)
        self.text(subject, x0, MARGIN_MM + 8.8, size=SMALL_MM, fill=GREY)
        self.text(self.paper.name, x1, MARGIN_MM + 8.8, size=SMALL_MM, fill=GREY, anchor="end")
        self.line(((x0, MARGIN_MM + HEAD_MM), (x1, MARGIN_MM + HEAD_MM)), width=0.18)

    def _draw_foot(self) -> None:
        x0 = self.room.x0
        top = self.paper.height_mm - MARGIN_MM - FOOT_MM
        self.group("foot")
        self.line(((x0, top), (self.room.x1, top)), width=0.18)
        self.text(ADVICE, x0, top + 4.6, size=SMALL_MM)
        self.group("bars")
        for row, (length, step, words) in enumerate(BARS):
            y = top + 8.0 + 6.0 * row
            self._bar(Box(x0, y, x0 + length, y + 4.0), step)
            self.text(words, x0 + length + 2.0, y + 3.2)

    def _bar(self, box: Box, step: float) -> None:
        """A bar whose ink is as long as it says, edge to edge; ticks stand inside."""
        thick = 0.6
        self._ink(box._replace(y0=box.y1 - thick))
        count = round((box.x1 - box.x0) / step)
        for k in range(count + 1):
            half, at = 0.15, box.x0 + step * k
            at = min(max(at, box.x0 + half), box.x1 - half)
            high = box.y0 if k in (0, count) else box.y0 + 1.6
            self._ink(Box(at - half, high, at + half, box.y1))

    def _ink(self, box: Box) -> None:
        corners = [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)]
        self.path(path_data(corners, closed=True), fill="#000000", stroke="none")
