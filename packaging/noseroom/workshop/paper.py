"""Paper templates at full size, on A4 and US Letter: packed, tiled, with a sheet on their use."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from noseroom.errors import OutputError
from noseroom.report.drawing_text import Box
from noseroom.workshop.drawing_pdf import svg_to_pdf
from noseroom.workshop.figures import Figure
from noseroom.workshop.paper_front import draw_front, front_pages
from noseroom.workshop.paper_overview import draw_overview, overview_pages
from noseroom.workshop.paper_pieces import Piece, Place, draw_piece, packed, piece_of
from noseroom.workshop.paper_sheet import PAPERS, Page, Paper, Sheet
from noseroom.workshop.paper_tiles import Tile, Tiling, draw_tile, joined_sheets, tiled


@dataclass(frozen=True)
class _Draft:
    """A sheet to be. draw: once all sheets have numbers. names: of the figures that are on it."""

    heading: str
    names: tuple[str, ...]
    draw: Callable[[Sheet, Mapping[Tile, int]], None]
    tile: Tile | None = None


def write_templates(folder: Path, figures: Sequence[Figure], subject: str) -> tuple[str, ...]:
    """Write "templates-a4.pdf" and "templates-letter.pdf"; returns their names.

    Raises OutputError when they cannot be written, DrawingError when a page is not its sheet's
    size, MissingLibraryError without reportlab.
    """
    return tuple(write_counted(folder, figures, subject))


def write_counted(folder: Path, figures: Sequence[Figure], subject: str) -> dict[str, int]:
    """The same; returns how many sheets each has. Errors: `write_templates`."""
    counts = {}
    for paper in PAPERS:
        name = f"templates-{paper.name.lower()}.pdf"
        sheets = template_sheets(figures, paper, subject)
        try:
            (folder / name).write_bytes(_pdf(sheets, subject))
        except OSError as error:
            raise OutputError(
                f"{folder / name}: cannot be written ({error.strerror or error})"
            ) from error
        counts[name] = len(sheets)
    return counts


def templates_pdf(figures: Sequence[Figure], paper: Paper, subject: str) -> bytes:
    """All figures as one PDF; the same figures give the same bytes. Errors: `write_templates`."""
    return _pdf(template_sheets(figures, paper, subject), subject)


def _pdf(sheets: Sequence[str], subject: str) -> bytes:
    return svg_to_pdf(sheets, f"{subject}: paper templates")


def template_sheets(figures: Sequence[Figure], paper: Paper, subject: str) -> tuple[str, ...]:
    """The sheets as SVG: first what is in them and how to print, then every figure at full size.

    figures: drawn in any coordinates; names have to differ. subject: the nose's title.
    """
    drafts = _drafts(figures, paper)
    sheets_of = {
        one.name: [k for k, draft in enumerate(drafts) if one.name in draft.names]
        for one in figures
    }
    in_order = sorted(figures, key=lambda one: sheets_of[one.name])
    fronts = 1
    while True:
        contents = [
            (one, joined_sheets([k + fronts + 1 for k in sheets_of[one.name]])) for one in in_order
        ]
        pages = front_pages(contents, paper.room(), fronts + len(drafts))
        if len(pages) <= fronts:
            break
        fronts = len(pages)
    count = fronts + len(drafts)
    numbers = {one.tile: k + fronts + 1 for k, one in enumerate(drafts) if one.tile}
    done = []
    for number, page in enumerate(pages, start=1):
        sheet = Sheet(paper, Page(number, count, subject, "Paper templates, full size"))
        draw_front(sheet, page)
        done.append(sheet.to_string())
    for number, draft in enumerate(drafts, start=fronts + 1):
        sheet = Sheet(paper, Page(number, count, subject, draft.heading))
        draft.draw(sheet, numbers)
        done.append(sheet.to_string())
    return tuple(done)


def _drafts(figures: Sequence[Figure], paper: Paper) -> list[_Draft]:
    """All sheets but the first ones: several small figures each, then the large ones' own."""
    room = paper.room()
    small: list[Piece] = []
    large: list[Tiling] = []
    for figure in figures:
        piece = _whole_piece(figure, room)
        if piece is None:
            large.append(tiled(figure, room))
        else:
            small.append(piece)
    drafts = [_packed_draft(places) for places in packed(small, room)]
    for tiling in large:
        drafts += _tiled_drafts(tiling, room)
    return drafts


def _whole_piece(figure: Figure, room: Box) -> Piece | None:
    """A figure that goes onto one sheet with its words, on its side where need be."""
    for one in (figure, figure.on_its_side()):
        piece = piece_of(one, room)
        wide, high = piece.size
        if wide <= room.x1 - room.x0 and high <= room.y1 - room.y0:
            return piece
    return None


def _packed_draft(places: Sequence[Place]) -> _Draft:
    heading = places[0].piece.figure.title if len(places) == 1 else f"{len(places)} templates"
    names = tuple(one.piece.figure.name for one in places)
    return _Draft(heading, names, partial(_draw_places, places))


def _tiled_drafts(tiling: Tiling, room: Box) -> Iterator[_Draft]:
    names = (tiling.figure.name,)
    about = "which sheet goes where" if len(tiling.tiles) > 1 else "notes"
    for said, with_picture in overview_pages(tiling, room):
        yield _Draft(
            f"{tiling.figure.title}: {about}",
            names,
            partial(draw_overview, tiling, said, with_picture),
        )
    for tile in tiling.tiles:
        yield _Draft(tiling.figure.title, names, partial(draw_tile, tiling, tile), tile)


def _draw_places(places: Sequence[Place], sheet: Sheet, _numbers: Mapping[Tile, int]) -> None:
    for one in places:
        draw_piece(sheet, one)
