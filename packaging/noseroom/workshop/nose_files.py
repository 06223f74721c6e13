"""Writing a nose: STEP, STL, GLB, drawings and findings, in one folder, whole or not at all."""

from __future__ import annotations

import hashlib
import re
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from noseroom.errors import GeometryError, OutputError
from noseroom.geometry.exports import (
    PlacedMesh,
    check_glb,
    check_step,
    check_stl,
    write_glb,
    write_step,
    write_stl,
)
from noseroom.geometry.mesh import Body, Mesh
from noseroom.geometry.unite import united
from noseroom.layout import Layout
from noseroom.report.drawing import svg
from noseroom.report.result import Result, WrittenFile
from noseroom.report.views import draw

Bodies = Mapping[tuple[str, str], Body]
Progress = Callable[[int, int, str], None]

FINDINGS = "findings.json"


def write_nose(
    result: Result, layout: Layout, bodies: Bodies, folder: Path, progress: Progress
) -> Result:
    """Write everything into `folder` and return the result with the files named.

    Files are made and read back in a folder beside it, which then takes its place in one move:
    what stood there before is untouched until all of the new is there.

    Raises OutputError when the folder cannot be written, GeometryError when a file that was written
    does not come back as it should.
    """
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        if folder.exists() and not folder.is_dir():
            raise OutputError(f"{folder}: there is a file where the folder should be")
        fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
    try:
        _write_all(result, layout, bodies, fresh, progress)
        names = sorted(p.relative_to(fresh).as_posix() for p in fresh.rglob("*") if p.is_file())
        files = tuple(WrittenFile(name, sha256(fresh / name)) for name in names)
        whole = replace(result, files=files)
        (fresh / FINDINGS).write_text(whole.to_json(), encoding="utf-8")
        _swap(fresh, folder)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return whole


def _swap(fresh: Path, folder: Path) -> None:
    """Put the fresh folder in the old one's place; the old one comes back if that fails."""
    fresh.chmod(0o755)
    if not folder.exists():
        fresh.rename(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    aside = old / folder.name
    folder.rename(aside)
    try:
        fresh.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def sha256(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def slug(name: str) -> str:
    """A part's name as a file name: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "part"


def _write_all(
    result: Result, layout: Layout, bodies: Bodies, fresh: Path, progress: Progress
) -> None:
    steps = 4 + len(layout.parts)
    progress(0, steps, "side and front views")
    for view in ("side", "front"):
        (fresh / f"{view}.svg").write_text(
            svg(draw(layout, result.findings, view)), encoding="utf-8"
        )
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
        swept = part.part.sweeps()
        members = [bodies[part.name, c] for c in part.components if c not in swept]
        if not members:
            continue
        name = slug(part.name)
        while name in used:
            name += "-2"
        used.add(name)
        path = fresh / "parts" / f"{name}.stl"
        whole, volume = _whole(part.name, members)
        write_stl(whole, path)
        check_stl(path, volume, whole)


def _whole(name: str, members: list[Body]) -> tuple[Mesh, float]:
    """One closed mesh of a part's components, in the part's own frame, and its volume in mm³."""
    if not all(body.watertight for body in members):
        raise GeometryError(f"{name}: a component is not closed")
    mesh = united([body.mesh for body in members])
    return mesh, mesh.volume_mm3


def _scene(layout: Layout, bodies: Bodies) -> list[PlacedMesh]:
    return [
        PlacedMesh(
            ("nose", part.group, part.name, component),
            bodies[part.name, component].mesh,
            part.pose,
            _colour(part.part.about.colour),
        )
        for part in layout.parts.values()
        for component in part.components
        if component not in part.part.sweeps()
    ]


def _colour(text: str) -> tuple[float, float, float, float]:
    red, green, blue = (int(text[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue, 1.0
