"""Printed stand-ins as files: an STL a piece, a list, a picture of how they go together, notes."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from pathlib import Path

from noseroom.errors import GeometryError
from noseroom.geometry.exports import check_stl, write_stl
from noseroom.geometry.write_file import write_whole
from noseroom.tables.printing import print_materials
from noseroom.units import MM_PER_INCH
from noseroom.workshop.bench import sentence
from noseroom.workshop.nose_files import unused
from noseroom.workshop.print_picture import assembly_svg
from noseroom.workshop.print_pieces import PrintedPart, PrintedPiece

_SPOOL_G = 1000.0
"""What a spool usually holds: common practice."""
LIST, PICTURE, NOTES = "pieces.csv", "assembly.svg", "notes.txt"

AT_THE_PRINTER = (
    "Printer: the nozzle is hot enough to burn, and some plastics give off fumes: print where air "
    "moves. Eye protection and gloves when pieces are cut free, sanded or glued.",
    "Guaranteed for the model as measured: compare it with the part itself before money is spent.",
)
_HEADINGS = (
    "file",
    "piece",
    "how many",
    "on the bed",
    "size x mm",
    "size y mm",
    "size z mm",
    "size x in",
    "size y in",
    "size z in",
    "plastic each cm3",
    "support",
)


def write_printed(parts: Sequence[PrintedPart], folder: Path) -> tuple[str, ...]:
    """Write each part into a folder of its own below `folder`; returns names from there on.

    Raises OutputError when one cannot be written, GeometryError when a file does not come back.
    """
    written: list[str] = []
    used: set[str] = set()
    for part in parts:
        name = unused(part.name, used)
        (folder / name).mkdir(parents=True, exist_ok=True)
        written += [f"{name}/{one}" for one in _write_one(part, folder / name)]
    return tuple(written)


def _write_one(part: PrintedPart, folder: Path) -> Iterator[str]:
    files = list(_file_names(part))
    for name, piece in files:
        write_stl(piece.mesh, folder / name)
        check_stl(folder / name, piece.volume_mm3, piece.mesh)
        yield name
    write_whole(folder / LIST, _list(files).encode("utf-8"))
    yield LIST
    picture = assembly_svg(part)
    write_whole(folder / PICTURE, picture.encode("utf-8"))
    _check_picture(folder / PICTURE, part)
    yield PICTURE
    write_whole(folder / NOTES, ("\n".join(notes_of(part)) + "\n").encode("utf-8"))
    yield NOTES


def _file_names(part: PrintedPart) -> Iterator[tuple[str, PrintedPiece]]:
    used: set[str] = set()
    for piece in (*part.pieces, *part.pegs):
        yield f"{unused(piece.name, used)}.stl", piece


def _list(files: Sequence[tuple[str, PrintedPiece]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_HEADINGS)
    for name, piece in files:
        writer.writerow(
            (
                name,
                piece.number or "peg",
                piece.count,
                piece.way,
                *(f"{one:.1f}" for one in piece.size_mm),
                *(f"{one / MM_PER_INCH:.2f}" for one in piece.size_mm),
                f"{piece.volume_mm3 / 1000:.1f}",
                "yes" if piece.needs_support else "no",
            )
        )
    return text.getvalue()


def much_plastic(part: PrintedPart) -> Iterator[str]:
    """That it takes more plastic than is sane, where it does, and what would be saner."""
    grams = part.plastic_mm3 / 1000 * print_materials()["PLA"].density_g_cm3
    if grams > _SPOOL_G:
        yield (
            f"up to {grams / 1000:.1f} kg of plastic and days of printing: a stand-in of card is "
            "saner"
        )


def notes_of(part: PrintedPart) -> tuple[str, ...]:
    """All that has to be known of a stand-in before it is printed and held up."""
    return tuple(_notes(part))


def _notes(part: PrintedPart) -> Iterator[str]:
    yield f"{part.name}, to print full size, never scaled to fit."
    yield from part.notes
    plain = print_materials()["PLA"]
    grams = part.plastic_mm3 / 1000 * plain.density_g_cm3
    yield (
        f"About {part.plastic_mm3 / 1000:.0f} cm³ of plastic, {grams:.0f} g if it were "
        f"{plain.material}, filled; less with a thin infill."
    )
    yield from map(sentence, much_plastic(part))
    yield from part.cautions
    yield from AT_THE_PRINTER


def _check_picture(path: Path, part: PrintedPart) -> None:
    """Read the picture back: it is XML, and each piece is in it."""
    try:
        root = ET.fromstring(path.read_text(encoding="utf-8"))
    except ET.ParseError as error:
        raise GeometryError(f"{path.name}: does not come back as a drawing ({error})") from error
    drawn = sum(one.get("class") == "piece" for one in root.iter())
    if drawn != len(part.pieces):
        raise GeometryError(f"{path.name}: {len(part.pieces) - drawn} pieces are missing from it")
