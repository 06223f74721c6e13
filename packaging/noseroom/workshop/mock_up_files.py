"""Stand-ins on the bench: printed ones and ones of card, each part for itself.

What cannot be made says so in a sentence, and keeps nothing else from being made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from noseroom.checks.bracket_records import Brackets
from noseroom.envelope.model import Shop
from noseroom.errors import GeometryError
from noseroom.geometry.split_to_bed import Bed
from noseroom.layout import Layout
from noseroom.parts.spacer import Spacer
from noseroom.workshop.bench import Share, sentence
from noseroom.workshop.card_picture import assembly_sheets
from noseroom.workshop.card_sheets import sheets
from noseroom.workshop.card_stand_ins import CARD_KINDS, CAUTIONS, card_stand_ins
from noseroom.workshop.card_stock import Card, CardError, CardModel
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.drawing_pdf import svg_to_pdf
from noseroom.workshop.dxf_files import write_dxf
from noseroom.workshop.mock_up_outline import KINDS, MockUpError
from noseroom.workshop.nose_files import unused
from noseroom.workshop.paper import write_counted
from noseroom.workshop.print_bracket import CAUTIONS as TRIAL_CAUTIONS
from noseroom.workshop.print_bracket import printed_brackets, trial_bolt_rows
from noseroom.workshop.print_files import much_plastic, write_printed
from noseroom.workshop.print_pieces import CAUTIONS as PRINT_CAUTIONS
from noseroom.workshop.print_pieces import USUAL_BED, PrintedPart, printed_stand_ins

Progress = Callable[[int, int, str], None]
Spacers = Mapping[str, Spacer]

PRINTED, CARD, TRIAL = "mockups/printed", "mockups/card", "mockups/trial-brackets"
_NONE = "There is no stand-in to make: no condenser, drier, compressor or fan is in the file."


def make_prints(layout: Layout, spacers: Spacers, say: Progress, fresh: Path) -> Share:
    """Write a stand-in to print of every part that one is made of, and of each spacer.

    Raises OutputError when the folder cannot be written, GeometryError when a file does not come
    back as it should.
    """
    bed = _bed(layout.envelope.shop)
    made: list[PrintedPart] = []
    refused: list[str] = []
    for names, more in _asked(layout, KINDS, spacers):
        try:
            made += printed_stand_ins(layout, names, bed, say, more)
        except (MockUpError, GeometryError) as error:
            refused.append(_refusal("to print", [*names, *more], error))
    if not made:
        return Share(refused=tuple(refused), needless=(_NONE,))
    written = write_printed(made, fresh / PRINTED)
    return Share(
        tuple(f"{PRINTED}/{one}" for one in written),
        tuple(refused),
        rows=tuple(_printed_row("stand-in to print", one) for one in made),
        remarks=PRINT_CAUTIONS,
    )


def _printed_row(what: str, one: PrintedPart) -> CutRow:
    return CutRow(
        f"{what}: {one.name}",
        "pieces to print",
        sum(piece.count for piece in (*one.pieces, *one.pegs)),
        material=f"plastic, {one.plastic_mm3 / 1000:.0f} cm³ if filled",
        note="; ".join(("its list has each piece", *much_plastic(one))),
    )


def _bed(shop: Shop) -> Bed:
    width, depth, height = shop.bed_mm or USUAL_BED
    return width, depth, height


def make_trial_brackets(found: Brackets, shop: Shop, fresh: Path) -> Share:
    """Write each bracket as a print to try the fit with.

    Errors: as `make_prints`.
    """
    made: list[PrintedPart] = []
    refused: list[str] = []
    bolts: list[CutRow] = []
    for design in found.made:
        try:
            made += printed_brackets(design, _bed(shop))
            bolts += trial_bolt_rows(design)
        except (MockUpError, GeometryError) as error:
            refused.append(_refusal("to print", [design.name], error))
    names = write_printed(made, fresh / TRIAL) if made else ()
    rows = (*(_printed_row("bracket to try the fit with", one) for one in made), *bolts)
    return Share(
        tuple(f"{TRIAL}/{one}" for one in names),
        tuple(refused),
        rows=rows,
        remarks=TRIAL_CAUTIONS[:1] if made else (),
    )


def make_cards(layout: Layout, spacers: Spacers, say: Progress, fresh: Path) -> Share:
    """Write a stand-in of card of every part that one is made of, and of each spacer.

    Errors: as `make_prints`.
    """
    shop = layout.envelope.shop
    refused: list[str] = []
    models: list[CardModel] = []
    try:
        thickness = shop.card_mm[0] if shop.card_mm else Card.thickness_mm
        width, height = shop.card_size_mm or Card.sheet_mm
        stock = Card(thickness, (width, height))
    except CardError as error:
        return Share(refused=(sentence(f"no stand-in of card: {error}"),))
    for names, more in _asked(layout, CARD_KINDS, spacers):
        first = 1 + sum(len(one.panels) for one in models)
        try:
            found = card_stand_ins(layout, names, stock, say, more, first)
            sheets([panel.figure for one in found for panel in one.panels], stock)
            models += found
        except (CardError, MockUpError, GeometryError) as error:
            refused.append(_refusal("of card", [*names, *more], error))
    if not models:
        return Share(refused=tuple(refused), needless=(_NONE,))
    cut, papers, names = _write_cards(models, stock, layout.envelope.title, fresh / CARD)
    return Share(
        tuple(f"{CARD}/{one}" for one in (*names, *papers)),
        tuple(refused),
        rows=tuple(_card_rows(models, stock, cut, papers)),
        remarks=(*CAUTIONS, _paper_note(papers)),
    )


def _paper_note(papers: Mapping[str, int]) -> str:
    """How much paper the panels take at full size, before anybody prints it all."""
    said = " or ".join(f"{count} sheets ({name})" for name, count in papers.items())
    return (
        f"Stand-ins of card on paper are {said}: print the sheets of one part by its numbers on "
        "the first sheet, or have the card cut by the DXF files, which take no paper."
    )


def _asked(
    layout: Layout, kinds: tuple[str, ...], spacers: Spacers
) -> Iterator[tuple[list[str], dict[str, Spacer]]]:
    """Each stand-in by itself: the part's name, or the spacer by its name."""
    for one in layout.parts.values():
        if one.kind in kinds:
            yield [one.name], {}
    for name, spacer in spacers.items():
        yield [], {name: spacer}


def _refusal(how: str, names: list[str], error: Exception) -> str:
    text = str(error)
    known = text.startswith("no stand-in")
    return sentence(text if known else f"no stand-in {how} for the {names[0]}: {text}")


def _write_cards(
    models: list[CardModel], stock: Card, subject: str, folder: Path
) -> tuple[int, dict[str, int], list[str]]:
    """How many sheets are cut, papers with how many sheets each has, names of the other files."""
    folder.mkdir(parents=True)
    names = []
    figures = [panel.figure for one in models for panel in one.panels]
    cut = sheets(figures, stock)
    for number, sheet in enumerate(cut, start=1):
        write_dxf(sheet, folder / f"sheet-{number}.dxf")
        names.append(f"sheet-{number}.dxf")
    used: set[str] = set()
    for one in models:
        name = f"{unused(one.name, used)}-assembly.pdf"
        (folder / name).write_bytes(svg_to_pdf(assembly_sheets(one)))
        names.append(name)
    return len(cut), write_counted(folder, figures, f"{subject}: card stand-ins"), names


def _card_rows(
    models: list[CardModel], stock: Card, cut: int, papers: Mapping[str, int]
) -> Iterator[CutRow]:
    yield CutRow(
        "stand-ins of card",
        "sheet",
        cut,
        size=f"{stock.sheet_mm[0]:g} × {stock.sheet_mm[1]:g} mm",
        material=stock.material,
        thickness_mm=stock.thickness_mm,
        note=f"cut by paper: {max(papers.values())} sheets of it at most",
    )
    for one in models:
        yield CutRow(
            f"stand-in of card: {one.name}", "panels", len(one.panels), note="on the sheets"
        )
