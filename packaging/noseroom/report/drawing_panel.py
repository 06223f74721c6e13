"""The words beside a view: tight spots, notes, the key to the signs, and the title block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from noseroom.report.drawing_model import Drawing, Spot, Verdict
from noseroom.report.drawing_svg import CAP_HALF, FAINT, GREY, INK, Canvas, balloon_reach_mm
from noseroom.report.drawing_text import BODY_MM, LINE_PITCH_MM, Box, clean, wrap

COLUMN_MM = 97.0
TITLE_MM = 25.0
_INSET_MM = 2.5
_HEADING_MM = 4.0
_MAX_LINES = 5
_SEVERITY: tuple[Verdict, ...] = ("fouls", "too close to call", "not known", "fits")
_INCH_MM = 25.4


@dataclass(frozen=True)
class Block:
    """Something that is not split over two columns. draw: called with the canvas, x and y."""

    height: float
    draw: Callable[[Canvas, float, float], None]
    heading: bool = False


@dataclass(frozen=True)
class Panel:
    """Blocks with their places (x, y from the panel's corner) and the spots that they list."""

    blocks: tuple[tuple[float, float, Block], ...]
    spots: tuple[Spot, ...]
    complete: bool

    def draw(self, canvas: Canvas, x: float, y: float) -> None:
        """Draw all blocks; (x, y) is the panel's upper left corner."""
        for dx, dy, block in self.blocks:
            block.draw(canvas, x + dx, y + dy)


def worst_first(spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
    """Spots by verdict, the one that stops the job first, then by number."""
    return tuple(sorted(spots, key=lambda s: (_SEVERITY.index(s.verdict), s.number)))


def _heading(text: str) -> Block:
    def draw(canvas: Canvas, x: float, y: float) -> None:
        canvas.group("heading")
        canvas.text(text, x, y + 5.0, size=_HEADING_MM, bold=True)
        canvas.line(
            ((x, y + 6.6), (x + COLUMN_MM - 2 * _INSET_MM, y + 6.6)), stroke=FAINT, width=0.25
        )

    return Block(8.2, draw, heading=True)


def _paragraph(text: str, name: str, indent: float = 0.0) -> Block:
    lines = wrap(text, COLUMN_MM - 2 * _INSET_MM - indent, max_lines=8)

    def draw(canvas: Canvas, x: float, y: float) -> None:
        canvas.group(name, text)
        for row, line in enumerate(lines):
            canvas.text(line, x + indent, y + LINE_PITCH_MM * row + BODY_MM)

    return Block(len(lines) * LINE_PITCH_MM + 1.0, draw)


def _spot_row(spot: Spot) -> Block:
    label = str(spot.number)
    reach = balloon_reach_mm(label, spot.verdict)
    indent = max(12.0, 2 * reach + 1.5)
    text = f"{spot.verdict.upper()}: {spot.text}"
    lines = wrap(text, COLUMN_MM - 2 * _INSET_MM - indent, max_lines=_MAX_LINES)
    height = max(len(lines) * LINE_PITCH_MM, 2 * reach) + 1.4

    def draw(canvas: Canvas, x: float, y: float) -> None:
        middle = y + (height - 1.4) / 2
        canvas.group("balloon", **_place(x + indent / 2 - 0.7, middle, reach))
        canvas.balloon(label, spot.verdict, x + indent / 2 - 0.7, middle)
        canvas.group("spot", f"{spot.number}. {text}")
        first = middle - (len(lines) - 1) * LINE_PITCH_MM / 2 + CAP_HALF * BODY_MM
        for row, line in enumerate(lines):
            canvas.text(line, x + indent, first + LINE_PITCH_MM * row)

    return Block(height, draw)


def _place(x: float, y: float, reach: float) -> dict[str, str]:
    return {"box": f"{x - reach:.3f} {y - reach:.3f} {x + reach:.3f} {y + reach:.3f}"}


def _key_rows(drawing: Drawing) -> list[Block]:
    rows = []
    for verdict in _SEVERITY:
        if any(spot.verdict == verdict for spot in drawing.spots):
            rows.append(_verdict_key(verdict))
    kinds = {outline.kind for outline in drawing.outlines}
    if "clear" in kinds:
        rows.append(_kind_key("clear", "stands ahead; seen through"))
    if "swept" in kinds:
        rows.append(_kind_key("swept", "space that a moving part claims"))
    if "ghost" in kinds:
        rows.append(_kind_key("ghost", "not fitted, shown for reference"))
    return rows


def _verdict_key(verdict: Verdict) -> Block:
    reach = balloon_reach_mm("n", verdict)

    def draw(canvas: Canvas, x: float, y: float) -> None:
        middle = y + reach
        canvas.group("balloon", **_place(x + 5.3, middle, reach))
        canvas.balloon("n", verdict, x + 5.3, middle)
        canvas.group("key")
        canvas.text(verdict, x + 12.0, middle + CAP_HALF * BODY_MM)

    return Block(2 * reach + 0.9, draw)


def _kind_key(kind: str, meaning: str) -> Block:
    def draw(canvas: Canvas, x: float, y: float) -> None:
        canvas.group("key")
        box = Box(x + 1.5, y + 0.4, x + 9.5, y + 4.4)
        fill = {"ghost": "#e6e8ea", "clear": "none"}.get(kind, "#f3f5f7")
        canvas.rectangle(box, fill=fill, stroke="none")
        canvas.line(
            ((box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1), box[:2]),
            stroke=GREY,
            width=0.3,
            **({"stroke_dasharray": "2 1"} if kind == "swept" else {}),
        )
        canvas.text(meaning, x + 12.0, y + 2.4 + CAP_HALF * BODY_MM)

    return Block(5.4, draw)


def _flow(
    blocks: list[Block], columns: int, height: float, *, tidy: bool
) -> list[tuple[float, float, Block]] | None:
    """Blocks with x and y, column by column; None if they do not fit. tidy: as `make_panel`."""
    placed: list[tuple[float, float, Block]] = []
    column, y = 0, 0.0
    for index, block in enumerate(blocks):
        after = blocks[index + 1].height if block.heading and index + 1 < len(blocks) else 0.0
        full = y + block.height + after > height
        if full and tidy and not block.heading:
            return None
        if full or (tidy and block.heading and y > 0):
            column, y = column + 1, 0.0
            if column >= columns or block.height + after > height:
                return None
        placed.append((column * COLUMN_MM + _INSET_MM, y, block))
        y += block.height
    return placed


def make_panel(drawing: Drawing, columns: int, height_mm: float, *, tidy: bool = False) -> Panel:
    """All that fits into `columns` columns of `height_mm`: the worst spots, notes, the key.

    What had to stay out is counted on the panel. An empty panel has no blocks. tidy: a column
    for every heading and all that is under it.
    """
    spots, notes = worst_first(drawing.spots), drawing.notes
    spot_rows = [_spot_row(spot) for spot in spots]
    note_rows = [_paragraph(f"• {note}", "note") for note in notes if clean(note)]
    key = _key_rows(drawing)
    n_spots, n_notes = len(spot_rows), len(note_rows)
    while True:
        blocks: list[Block] = []
        if spot_rows:
            blocks += [_heading("Tight spots, worst first"), *spot_rows[:n_spots]]
            if n_spots < len(spots):
                rest = f"and {len(spots) - n_spots} more: see findings.json"
                blocks.append(_paragraph(rest, "more-spots", 12.0))
        if note_rows:
            blocks += [_heading("Notes"), *note_rows[:n_notes]]
            if n_notes < len(note_rows):
                rest = f"and {len(note_rows) - n_notes} more notes: see the report"
                blocks.append(_paragraph(rest, "more-notes"))
        if key:
            blocks += [_heading("Key"), *key]
        placed = _flow(blocks, columns, height_mm, tidy=tidy)
        if placed is not None:
            complete = n_spots == len(spot_rows) and n_notes == len(note_rows)
            return Panel(tuple(placed), spots[:n_spots], complete)
        tall_spots = sum(row.height for row in spot_rows[:n_spots])
        tall_notes = sum(row.height for row in note_rows[:n_notes])
        if n_spots and tall_spots >= tall_notes:
            n_spots -= 1
        elif n_notes:
            n_notes -= 1
        else:
            return Panel((), (), complete=False)


def scale_text(scale: float) -> str:
    """The scale as it is written: "1:2.5"."""
    return f"1:{scale:g}"


def _bar(canvas: Canvas, x: float, y: float, piece_mm: float, pieces: int, text: str) -> None:
    for i in range(pieces):
        box = Box(x + i * piece_mm, y, x + (i + 1) * piece_mm, y + 2.0)
        canvas.rectangle(box, fill=INK if i % 2 == 0 else "#ffffff", width=0.2)
    canvas.text(text, x + pieces * piece_mm + 1.6, y + 1.0 + CAP_HALF * BODY_MM)


def _longest(steps: tuple[float, ...], unit_mm: float, room_mm: float) -> float:
    fitting = [n for n in steps if n * unit_mm <= room_mm]
    return max(fitting, default=steps[0])


def bar_lengths(scale: float, room_mm: float = 76.0) -> tuple[float, float]:
    """Real lengths of the two scale bars, inches and mm, no longer than `room_mm` on the sheet."""
    decades = [10.0**k for k in range(6)]
    inches = _longest(
        (1, 2, 4, 6, 8, 12, 24, 36, 48, *(60 * d for d in decades)), _INCH_MM / scale, room_mm
    )
    mm = _longest(tuple(m * d for d in decades for m in (10, 20, 40, 80)), 1.0 / scale, room_mm)
    return inches, mm


def draw_title_block(canvas: Canvas, drawing: Drawing, scale: float, box: Box) -> None:
    """Title, subtitle, scale with bars in both units, and how to print the sheet."""
    canvas.group("title-block")
    canvas.rectangle(box, fill="#ffffff", width=0.5)
    first, second = box.x0 + 182.0, box.x0 + 294.0
    for x in (first, second):
        canvas.line(((x, box.y0), (x, box.y1)), width=0.25)
    room = first - box.x0 - 8.0
    y = box.y0 + 6.6
    title = drawing.title if clean(drawing.title) else "Untitled"
    for line in wrap(title, room, 5.0, max_lines=2, bold=True):
        canvas.text(line, box.x0 + 4.0, y, size=5.0, bold=True)
        y += 6.0
    for line in wrap(drawing.subtitle, room, max_lines=2):
        canvas.text(line, box.x0 + 4.0, y - 0.4, fill=GREY)
        y += LINE_PITCH_MM
    inches, mm = bar_lengths(scale)
    x = first + 4.0
    _bar(canvas, x, box.y0 + 7.0, inches * _INCH_MM / scale / 4, 4, f"{inches:g} in")
    _bar(canvas, x, box.y0 + 15.5, mm / scale / 4, 4, f"{mm:g} mm")
    x = second + 4.0
    canvas.text(f"Scale {scale_text(scale)}", x, box.y0 + 6.6, size=5.0, bold=True)
    units = "inches" if drawing.unit == "in" else "millimetres"
    on_paper = inches * _INCH_MM / scale
    for row, line in enumerate(
        (
            f"Dimensions in {units}",
            "Print on A3 at 100 %, not “fit to page”",
            f"Check: inch bar = {on_paper:.1f} mm ({on_paper / _INCH_MM:.2f} in) on paper",
        )
    ):
        canvas.text(line, x, box.y0 + 12.4 + row * LINE_PITCH_MM)
