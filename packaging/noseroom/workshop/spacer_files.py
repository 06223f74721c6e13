"""The spacer's files for the bench: STEP, STL and the turning drawing."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from noseroom.checks.bracket_words import trade_thread
from noseroom.errors import GeometryError
from noseroom.findings import Finding
from noseroom.geometry.exports import check_step, check_stl, write_step, write_stl
from noseroom.geometry.kernel import load_cadquery, volume_mm3
from noseroom.geometry.mesh import body_from_shape
from noseroom.layout import Layout
from noseroom.parts.spacer import Spacer
from noseroom.tolerances import Tolerances
from noseroom.workshop.bench import Share, sentence
from noseroom.workshop.bolt_words import NUT, bolt_size
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.drawing_pdf import svg_to_pdf
from noseroom.workshop.figures import Figure
from noseroom.workshop.nose_files import unused
from noseroom.workshop.spacer_drawing import spacer_svg
from noseroom.workshop.spacer_plan import BENCH_CAUTIONS, NoSpacerError, SpacerPlan, spacer_plan
from noseroom.workshop.spacer_template import spacer_figure
from noseroom.workshop.title_block import both

NAMES = ("spacer.step", "spacer.stl", "spacer.svg", "spacer.pdf")
_METAL = "aluminium 6061-T6 or low-carbon steel, no casting"
_NO_FAN = "There is no spacer to make: no fan in the file is driven by the engine."
_FINE = Tolerances(tessellation_mm=0.01, tessellation_rad=0.1)
"""A printed trial piece has to slide onto the hub's pilot."""


@dataclass(frozen=True)
class SpacerPlans:
    """The spacers of a nose. fans: how many fans were asked about. refused, needless: sentences."""

    plans: tuple[SpacerPlan, ...]
    fans: int
    refused: tuple[str, ...]
    needless: tuple[str, ...]

    @property
    def spacers(self) -> dict[str, Spacer]:
        """Each by a name of its own."""
        alone = self.fans == 1
        return {"spacer" if alone else f"spacer of the {one.fan}": one.spacer for one in self.plans}


def plan_spacers(layout: Layout, findings: Sequence[Finding]) -> SpacerPlans:
    """A spacer for every fan whose gap was found open; for every other a sentence says why not."""
    gaps = [one for one in findings if one.id.startswith("fan gap: ")]
    plans: list[SpacerPlan] = []
    refused: list[str] = []
    needless: list[str] = [] if gaps else [_NO_FAN]
    for finding in gaps:
        try:
            plans.append(spacer_plan(layout, finding))
        except NoSpacerError as error:
            (needless if error.needless else refused).append(sentence(str(error)))
    return SpacerPlans(tuple(plans), len(gaps), tuple(refused), tuple(needless))


def make_spacers(planned: SpacerPlans, fresh: Path) -> Share:
    """Write every spacer: into "spacer" for one fan, "spacer-" and the fan's name for several.

    Raises OSError when the folder cannot be written; GeometryError when a file does not come back
    as it should.
    """
    names: list[str] = []
    figures: list[Figure] = []
    rows: list[CutRow] = []
    used: set[str] = set()
    for plan in planned.plans:
        alone = planned.fans == 1
        name = "spacer" if alone else f"spacer-{unused(plan.fan, used)}"
        (fresh / name).mkdir()
        _write_one(plan, fresh / name)
        title = "Fan spacer" if alone else f"Fan spacer, {plan.fan}"
        figures.append(spacer_figure(plan.spacer, name, title))
        rows += _rows(plan, title)
        names += [f"{name}/{one}" for one in NAMES]
    return Share(
        tuple(names),
        planned.refused,
        tuple(figures),
        tuple(rows),
        BENCH_CAUTIONS if names else (),
        needless=planned.needless,
    )


def _rows(plan: SpacerPlan, title: str) -> Iterator[CutRow]:
    """The ring as bar to be turned, and its bolts where they are known."""
    ring = plan.spacer
    long = ring.thickness_mm + (ring.spigot_length_mm if ring.is_double else 0.0)
    bar = f"Ø {both(ring.diameter_mm)} × {both(long)}"
    yield CutRow(title, "bar", material=_METAL, size=bar, note="at least; turned to its drawing")
    if plan.bolts is None or plan.bolts.bolt is None:
        return
    joint = plan.bolts.joint
    what = "stud" if joint.hole == "stud" else "bolt"
    grade = f"{'grade' if joint.grade.unit == 'in' else 'class'} {joint.grade.grade}"
    yield CutRow(
        title, what, joint.count, size=bolt_size(joint.thread, plan.bolts.bolt), material=grade
    )
    where = "under each nut" if what == "stud" else "under each head"
    yield CutRow(title, "washer", joint.count, size=joint.washer.size, note=where)
    if what == "stud":
        note = "or a plain nut on a spring washer"
        yield CutRow(
            title, NUT, joint.count, size=trade_thread(joint.thread), material=grade, note=note
        )


def _write_one(plan: SpacerPlan, folder: Path) -> None:
    cq = load_cadquery()
    solid = plan.spacer.solids()["body"]
    step, stl, drawing, paper = (folder / name for name in NAMES)
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
    paper.write_bytes(svg_to_pdf([text]))


def _check_drawing(path: Path, plan: SpacerPlan) -> None:
    """Read the drawing back: it is XML, and what it must say is in it."""
    try:
        root = ET.fromstring(path.read_text(encoding="utf-8"))
    except ET.ParseError as error:
        raise GeometryError(f"{path.name}: does not come back as a drawing ({error})") from error
    said = " ".join(root.itertext())
    if f"{plan.spacer.thickness_mm:.2f}" not in said or plan.sheet.notes[0] not in said:
        raise GeometryError(f"{path.name}: a size or a note is missing from it")
