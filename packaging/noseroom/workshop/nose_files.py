"""Writing a nose: STEP, STL, GLB, drawings and findings, in one folder, whole or not at all."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from noseroom.errors import GeometryError
from noseroom.findings import Finding
from noseroom.geometry.exports import (
    PlacedMesh,
    check_glb,
    check_step,
    check_stl,
    stl_stays_closed,
    write_glb,
    write_step,
    write_stl,
)
from noseroom.geometry.kernel import volume_mm3
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.shapes import joined
from noseroom.report.cooling_bars import ranking_svg
from noseroom.report.cooling_fans import fan_names, fan_svg
from noseroom.report.cooling_front import front_svg, fronts_svg
from noseroom.report.cooling_loop import loop_svg
from noseroom.report.drawing import svg
from noseroom.report.drive_svg import drive_svg
from noseroom.report.drive_view import drive_view
from noseroom.report.fan_stack import fan_stacks
from noseroom.report.fan_stack_svg import fan_stack_svg
from noseroom.report.page_drawings import AIR, BELTS, STACK
from noseroom.report.page_file import check_page, page
from noseroom.report.result import Result, WrittenFile
from noseroom.report.view_sizes import View
from noseroom.report.views import draw
from noseroom.workshop.whole_folder import whole_folder

if TYPE_CHECKING:
    from noseroom.checks.cooling_records import Cooling

Bodies = Mapping[tuple[str, str], Body]
Progress = Callable[[int, int, str], None]

FINDINGS = "findings.json"
PAGE = "page.html"


def write_nose(
    result: Result,
    layout: Layout,
    bodies: Bodies,
    folder: Path,
    progress: Progress,
    cooling: Cooling | None = None,
) -> Result:
    """Write everything into `folder` and return the result with the files named.

    cooling: all of air and heat, for its pictures and the page, where the file asks for it.

    Files are made and read back in a folder beside it, which then takes its place in one move:
    what stood there before is untouched until all of the new is there.

    Raises OutputError when the folder cannot be written, GeometryError when a file that was written
    does not come back as it should.
    """
    with whole_folder(folder) as fresh:
        _write_all(result, layout, bodies, fresh, progress, cooling)
        names = sorted(p.relative_to(fresh).as_posix() for p in fresh.rglob("*") if p.is_file())
        files = tuple(WrittenFile(name, sha256(fresh / name)) for name in names)
        whole = replace(result, files=files)
        (fresh / FINDINGS).write_text(whole.to_json(), encoding="utf-8")
    return whole


def sha256(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def slug(name: str) -> str:
    """A part's name as a file name: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "part"


def _write_all(
    result: Result,
    layout: Layout,
    bodies: Bodies,
    fresh: Path,
    progress: Progress,
    cooling: Cooling | None,
) -> None:
    steps = 4 + len(layout.parts)
    progress(0, steps, "side and front views, fan stack, belts, page.html")
    views: tuple[View, ...] = ("side", "front")
    sheets: dict[str, str] = {view: svg(draw(layout, result.findings, view)) for view in views}
    sheets |= stack_sheets(layout, result.findings)
    drive = drive_view(layout, result.findings)
    if drive is not None:
        sheets[BELTS] = drive_svg(drive)
    sheets |= {} if cooling is None else air_sheets(cooling, result.title)
    for view, sheet in sheets.items():
        (fresh / f"{view}.svg").write_text(sheet, encoding="utf-8")
    (fresh / PAGE).write_text(
        page(result, layout, bodies, sheets, cooling), encoding="utf-8", newline="\n"
    )
    check_page((fresh / PAGE).read_text(encoding="utf-8"), result)
    progress(1, steps, "nose.step")
    assembly = layout.assembly()
    write_step(assembly, fresh / "nose.step")
    check_step(fresh / "nose.step", assembly)
    progress(2, steps, "nose.glb")
    scene = list(_scene(layout, bodies))
    write_glb(scene, fresh / "nose.glb")
    check_glb(fresh / "nose.glb", scene)
    (fresh / "parts").mkdir()
    used: set[str] = set()
    for done, part in enumerate(layout.parts.values()):
        progress(3 + done, steps, f"{part.name}.stl")
        for name, body in _printable(part, bodies):
            path = fresh / "parts" / f"{unused(name, used)}.stl"
            write_stl(body, path)
            check_stl(path, _volume(body), body.mesh)


def stack_sheets(layout: Layout, findings: Sequence[Finding]) -> dict[str, str]:
    """The picture of every fan stack as SVG, by its name: "fan-stack" where there is one fan."""
    stacks, used = fan_stacks(layout, findings), set[str]()
    if len(stacks) == 1:
        return {STACK: fan_stack_svg(stacks[0])}
    return {f"{STACK}-{unused(one.fan, used)}": fan_stack_svg(one) for one in stacks}


def air_sheets(found: Cooling, title: str) -> dict[str, str]:
    """The pictures of air and heat as SVG, by name: the ranking first, then why."""
    loop, used = loop_svg(found, title), set[str]()
    return {
        f"{AIR}-ranking": ranking_svg(found, title),
        f"{AIR}-front": front_svg(found, title),
        f"{AIR}-options": fronts_svg(found, title),
        **{
            f"{AIR}-{unused(f'curve {name}', used)}": fan_svg(found, title, name)
            for name in fan_names(found)
        },
        **({} if loop is None else {f"{AIR}-loop": loop}),
    }


def unused(name: str, used: set[str]) -> str:
    """A file name that no other part has taken: two names may differ in their signs alone."""
    made = slug(name)
    while made in used:
        made += "-2"
    used.add(made)
    return made


def _printable(part: PlacedPart, bodies: Bodies) -> list[tuple[str, Body]]:
    """A part as one closed body in its own frame, for printing, by the file's name.

    Where its components do not make one solid (blades that touch their spider along a line), each
    component is a body of its own: a file must never hold a surface that is not closed. An open
    scan has no file for that reason.
    """
    members = [name for name in part.components if name not in part.ghosts]
    if part.part.meshes():
        seen = [(part.name, bodies[part.name, name]) for name in members]
        return [one for one in seen if one[1].watertight and stl_stays_closed(one[1].mesh)]
    if len(members) == 1:
        return [(part.name, bodies[part.name, members[0]])]
    if members:
        solids = part.part.solids()
        try:
            body = body_from_shape(part.name, joined([solids[name] for name in members]))
        except GeometryError:
            body = None
        if body is not None and body.watertight and stl_stays_closed(body.mesh):
            return [(part.name, body)]
    return [(f"{part.name} {name}", bodies[part.name, name]) for name in members]


def _volume(body: Body) -> float:
    return body.mesh.volume_mm3 if body.shape is None else volume_mm3(body.shape)


def _scene(layout: Layout, bodies: Bodies) -> list[PlacedMesh]:
    return [
        PlacedMesh(
            ("nose", part.shelf, part.name, component),
            bodies[part.name, component].mesh,
            part.pose,
            _colour(part.part.about.colour),
        )
        for part in layout.parts.values()
        for component in part.components
        if component not in part.ghosts
    ]


def _colour(text: str) -> tuple[float, float, float, float]:
    red, green, blue = (int(text[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue, 1.0
