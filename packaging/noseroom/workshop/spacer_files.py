"""The spacer's files for the bench: STEP, STL and the turning drawing, whole or not at all."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

from noseroom.errors import GeometryError
from noseroom.findings import Finding
from noseroom.geometry.exports import check_step, check_stl, write_step, write_stl
from noseroom.geometry.kernel import load_cadquery, volume_mm3
from noseroom.geometry.mesh import body_from_shape
from noseroom.layout import Layout
from noseroom.parts.spacer import Spacer
from noseroom.tolerances import Tolerances
from noseroom.workshop.nose_files import unused
from noseroom.workshop.spacer_drawing import spacer_svg
from noseroom.workshop.spacer_plan import NoSpacerError, SpacerPlan, spacer_plan
from noseroom.workshop.whole_folder import whole_folder

FOLDER = "workshop"
NAMES = ("spacer.step", "spacer.stl", "spacer.svg")
_FINE = Tolerances(tessellation_mm=0.01, tessellation_rad=0.1)
"""A printed trial piece has to slide onto the hub's pilot."""


def write_spacers(layout: Layout, findings: Sequence[Finding], folder: Path) -> tuple[str, ...]:
    """Write the spacer of every fan whose gap was found open; returns the files' names.

    They go into "workshop" in the nose's own folder, into "spacer" for one fan, "spacer-" and the
    fan's name for several. What stood there before is untouched until all is there.

    Raises NoSpacerError, with a sentence for each fan, where there is nothing to make; OutputError
    when the folder cannot be written; GeometryError when a file does not come back as it should.
    """
    plans: list[SpacerPlan] = []
    reasons: list[str] = []
    gaps = [one for one in findings if one.id.startswith("fan gap: ")]
    for finding in gaps:
        try:
            plans.append(spacer_plan(layout, finding))
        except NoSpacerError as error:
            reasons.append(str(error))
    if not gaps:
        reasons = ["there is no spacer to make: no fan in the file is driven by the engine"]
    if not plans:
        raise NoSpacerError("\n".join(_sentence(one) for one in reasons))
    written: list[str] = []
    used: set[str] = set()
    with whole_folder(folder / FOLDER) as fresh:
        for plan in plans:
            name = "spacer" if len(gaps) == 1 else f"spacer-{unused(plan.fan, used)}"
            (fresh / name).mkdir()
            _write_one(plan, fresh / name)
            written += [f"{FOLDER}/{name}/{one}" for one in NAMES]
    return tuple(written)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _write_one(plan: SpacerPlan, folder: Path) -> None:
    cq = load_cadquery()
    solid = plan.spacer.solids()["body"]
    step, stl, drawing = (folder / name for name in NAMES)
    assembly = cq.Assembly(name="fan spacer")
    assembly.add(solid, name="spacer", color=cq.Color(Spacer.about.colour))
    write_step(assembly, step)
    check_step(step, assembly)
    body = body_from_shape("spacer", solid, _FINE)
    write_stl(body, stl)
    check_stl(stl, volume_mm3(solid), body.mesh)
    text = spacer_svg(plan.spacer, plan.sheet)
    drawing.write_text(text, encoding="utf-8", newline="\n")
    _check_drawing(drawing, plan)


def _check_drawing(path: Path, plan: SpacerPlan) -> None:
    """Read the drawing back: it is XML, and what it must say is in it."""
    try:
        root = ET.fromstring(path.read_text(encoding="utf-8"))
    except ET.ParseError as error:
        raise GeometryError(f"{path.name}: does not come back as a drawing ({error})") from error
    said = " ".join(root.itertext())
    if f"{plan.spacer.thickness_mm:.2f}" not in said or plan.sheet.notes[0] not in said:
        raise GeometryError(f"{path.name}: a size or a note is missing from it")
