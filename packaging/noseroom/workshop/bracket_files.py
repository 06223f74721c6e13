"""A bracket's files for the bench: STEP and STL folded, DXF flat, and the drawing as PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from noseroom.checks.bracket_records import BracketDesign
from noseroom.geometry.exports import check_step, check_stl, write_step, write_stl
from noseroom.geometry.kernel import load_cadquery, volume_mm3
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.sheet import Blank
from noseroom.geometry.sheet_solids import folded_solid
from noseroom.parts.made_bracket import MadeBracket
from noseroom.tolerances import Tolerances
from noseroom.workshop.bracket_drawing import bracket_drawing
from noseroom.workshop.bracket_sheets import (
    cut_rows,
    drawing_sheets,
    flat_figures,
    piece_names,
)
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.drawing_pdf import svg_to_pdf
from noseroom.workshop.drill_templates import drill_figures
from noseroom.workshop.dxf_files import write_dxf
from noseroom.workshop.figures import Figure

FOLDER = "brackets"
ENDINGS = ("step", "stl", "dxf", "pdf")
_FINE = Tolerances(tessellation_mm=0.02, tessellation_rad=0.1)


@dataclass(frozen=True)
class BracketFiles:
    """What was written, and what goes into the papers that all brackets share.

    names: below the bench's folder. figures: flats and drill templates at full size. rows: for the
    cut list. pictures: the drawings' SVG by title.
    """

    names: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    rows: tuple[CutRow, ...] = ()
    pictures: Mapping[str, str] = field(default_factory=dict)


def write_brackets(
    designs: Sequence[BracketDesign], subject: str, fresh: Path, warnings: tuple[str, ...] = ()
) -> BracketFiles:
    """Write every bracket into "brackets" in the bench's fresh folder.

    subject: the nose's title. warnings: what stands against cutting any metal yet.

    Raises OSError when the folder cannot be written; GeometryError or DrawingError where a file
    does not come back as it should.
    """
    if not designs:
        return BracketFiles()
    folder = fresh / FOLDER
    folder.mkdir()
    names: list[str] = []
    figures: list[Figure] = []
    pictures: dict[str, str] = {}
    for design in designs:
        flats = flat_figures(design)
        sheets = drawing_sheets(design, subject, warnings)
        for name, flat, (blank, words) in zip(piece_names(design), flats, sheets, strict=True):
            _write_solid(blank, name, folder)
            write_dxf(flat, folder / f"{name}.dxf")
            drawing = bracket_drawing(blank, words)
            (folder / f"{name}.pdf").write_bytes(svg_to_pdf(drawing))
            pictures |= {
                words.title if len(drawing) == 1 else f"{words.title} ({k})": one
                for k, one in enumerate(drawing, 1)
            }
            names += [f"{FOLDER}/{name}.{ending}" for ending in ENDINGS]
        figures += (*flats, *drill_figures(design))
    rows = tuple(row for design in designs for row in cut_rows(design))
    return BracketFiles(tuple(names), tuple(figures), rows, pictures)


def _write_solid(blank: Blank, name: str, folder: Path) -> None:
    """The folded piece as STEP and STL, in the flat's own frame, read back."""
    cq = load_cadquery()
    solid = folded_solid(blank)
    assembly = cq.Assembly(name=name)
    assembly.add(solid, name="bracket", color=cq.Color(MadeBracket.about.colour))
    step, stl = folder / f"{name}.step", folder / f"{name}.stl"
    write_step(assembly, step)
    check_step(step, assembly)
    body = body_from_shape(name, solid, _FINE)
    write_stl(body, stl)
    check_stl(stl, volume_mm3(solid), body.mesh)
