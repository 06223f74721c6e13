"""How much room a text takes on a sheet, without a font at hand.

An SVG names a font family and the viewer's machine picks the font, so the true extents are not
known when the sheet is laid out. Every estimate here is therefore an upper bound for the common
sans-serifs: a text may turn out narrower than its box, not wider.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

BODY_MM = 3.4
"""Font size of running text; capitals of a common sans-serif are 0.71 of it, so 2.4 mm high."""
LINE_PITCH_MM = 4.2
ASCENT, DESCENT = 0.95, 0.25
"""Box above and below the baseline as parts of the font size; accents on capitals are inside."""

_SAFETY = 1.06
_BOLD = 1.25
# Advance widths in thousandths of the font size: the larger of Helvetica's and DejaVu Sans'
# (the widest fallback on common systems), rounded up to the next 50.
_WIDTHS = {
    250: "′",
    300: "'IijlÌÍÎÏìíîï",
    350: " ,./:;\\|¦·‘’",
    400: "()-[]ft″",
    450: "!r¡²³¹",
    500: '"*J`§¨ª¯°´¸º–',
    550: "csz¿ç“”",
    600: "?L_kvxyýÿ•",
    650: "$0123456789FTabdeghnopqu{}¢£¤¥«µ¶»ÈÉÊËÝÞßàáâãäåèéêëðñòóôõöøùúûüþμπ",
    700: "ABEKPSVXYZÀÁÂÃÄÅÇΔ",
    750: "CNRUÑÙÚÛÜ",
    800: "&DGHOQÐÒÓÔÕÖØΩ",
    850: "#+<=>^w~¬±×÷≥≤≈≠−→←↔↑↓",
    900: "M",
    1000: "%Wm©®¼½¾Ææ—…⅛⅜⅝⅞",
    1050: "@",
}
_ADVANCE = {char: width / 1000 for width, chars in _WIDTHS.items() for char in chars}
_STAYS = re.compile(r"(?:\d+/\d+|in|mm|m/s|g/s|bar)\b|°C|%")
_OTHER, _PICTOGRAPH = 1.1, 1.4


class Box(NamedTuple):
    """An upright rectangle on the sheet, mm, y downwards: x0 <= x1, y0 <= y1."""

    x0: float
    y0: float
    x1: float
    y1: float

    def overlaps(self, other: Box, gap_mm: float = 0.0) -> bool:
        """Whether the two rectangles come closer than `gap_mm` along both axes."""
        return (
            self.x0 < other.x1 + gap_mm
            and other.x0 < self.x1 + gap_mm
            and self.y0 < other.y1 + gap_mm
            and other.y0 < self.y1 + gap_mm
        )

    def inside(self, other: Box) -> bool:
        """Whether this rectangle lies wholly within `other`."""
        return (
            other.x0 <= self.x0
            and self.x1 <= other.x1
            and other.y0 <= self.y0
            and self.y1 <= other.y1
        )


def clean(text: str) -> str:
    """`text` as one line that XML can carry: runs of white space become one space.

    Invisible format characters (a reversed writing direction, a soft hyphen) are left out, and
    what XML 1.0 forbids becomes U+FFFD.
    """
    kept = []
    for char in text:
        category = unicodedata.category(char)
        if category == "Cf":
            continue
        if category == "Cc" or char.isspace():
            kept.append(" ")
        elif category == "Cs" or ord(char) & 0xFFFE == 0xFFFE:
            kept.append("\N{REPLACEMENT CHARACTER}")
        else:
            kept.append(char)
    return " ".join("".join(kept).split())


def text_width_mm(text: str, size_mm: float = BODY_MM, *, bold: bool = False) -> float:
    """Upper bound of the width of one line of text set at `size_mm`."""
    ems = sum(_ADVANCE.get(char, _PICTOGRAPH if ord(char) >= 0x1F000 else _OTHER) for char in text)
    return ems * size_mm * _SAFETY * (_BOLD if bold else 1.0)


def text_box(
    text: str,
    x: float,
    y: float,
    size_mm: float = BODY_MM,
    *,
    anchor: str = "start",
    upright: bool = False,
    bold: bool = False,
) -> Box:
    """Box of a line whose anchor point on the baseline is (x, y).

    anchor: "start", "middle" or "end", as SVG's text-anchor. upright: turned by -90 degrees about
    the anchor point, so that it reads from the right-hand side of the sheet.
    """
    width = text_width_mm(text, size_mm, bold=bold)
    before = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
    up, down = ASCENT * size_mm, DESCENT * size_mm
    if upright:
        return Box(x - up, y + before - width, x + down, y + before)
    return Box(x - before, y - up, x - before + width, y + down)


def _words(text: str) -> list[str]:
    """Words, but a number stays with its fraction and its unit, and a ± with what follows."""
    words: list[str] = []
    for word in clean(text).split(" "):
        before = words[-1] if words else ""
        if before.endswith("±") or (before[-1:].isdigit() and _STAYS.match(word)):
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words


def wrap(
    text: str, width_mm: float, size_mm: float = BODY_MM, *, max_lines: int = 99, bold: bool = False
) -> tuple[str, ...]:
    """Lines of at most `width_mm`; words too long for a line are split.

    What does not go into `max_lines` lines is cut, and the last line then ends in an ellipsis.
    At least one line is returned, which may be empty.
    """

    def fits(line: str) -> bool:
        return text_width_mm(line, size_mm, bold=bold) <= width_mm

    lines: list[str] = []
    line = ""
    for word in _words(text):
        joined = f"{line} {word}" if line else word
        if fits(joined):
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while len(line) > 1 and not fits(line):
            cut = next((n for n in range(len(line) - 1, 1, -1) if fits(line[:n])), 1)
            cut = max((n for n in range(cut // 2, cut + 1) if line[n - 1] in "-/ "), default=cut)
            lines.append(line[:cut].rstrip())
            line = line[cut:].lstrip()
    lines.append(line)
    if len(lines) > max_lines:
        last = lines[max_lines - 1]
        while last and not fits(last + "…"):
            last = last[:-1]
        lines = [*lines[: max_lines - 1], last.rstrip() + "…"]
    return tuple(lines)
