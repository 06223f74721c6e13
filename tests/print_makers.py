"""What tests of printed pieces share: the pickup's stand-ins, and programs that judge."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import manifold3d
import numpy as np
import trimesh

from demo_noses import DEMOS, nose
from noseroom.geometry.exports import write_stl
from noseroom.geometry.mesh import Mesh
from noseroom.workshop.mock_up_outline import StandIn, stand_ins
from noseroom.workshop.print_pieces import PrintedPart, PrintedPiece, printed
from programs import told
from test_spacer_part import PLAIN

NAMES = ("condenser", "drier", "fan", "compressor", "spacer")
_NOTHING_MENDED = (
    "Degenerate facets",
    "Edges fixed",
    "Facets removed",
    "Facets added",
    "Facets reversed",
    "Backwards edges",
    "Normals fixed",
)


@cache
def outlines() -> dict[str, StandIn]:
    """The pickup's stand-ins, and one of a spacer."""
    pickup = next(one for one in DEMOS if one.stem == "farm_pickup")
    return {one.name: one for one in stand_ins(nose(pickup), spacers={"spacer": PLAIN})}


@cache
def made(name: str) -> PrintedPart:
    """One of them as it is printed on the usual bed."""
    return printed(outlines()[name])


def manifold_of(mesh: Mesh) -> Any:
    """A written mesh as a solid."""
    return manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.triangles.astype(np.uint64)))


def in_place(piece: PrintedPiece) -> Any:
    """A piece as printed, put back where it belongs in the part."""
    return manifold_of(piece.mesh).transform(piece.place[:3])


def shells(mesh: Mesh) -> tuple[list[trimesh.Trimesh], list[trimesh.Trimesh]]:
    """Outsides and hollows of a mesh, by the sign of what they enclose."""
    whole = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    groups = trimesh.graph.connected_components(whole.face_adjacency)
    # Not by `split`, which turns a hollow's triangles round.
    parts = [
        trimesh.Trimesh(mesh.vertices, mesh.triangles[group], process=False) for group in groups
    ]
    for one in parts:
        one.remove_unreferenced_vertices()
    return [one for one in parts if one.volume > 0], [one for one in parts if one.volume < 0]


def assert_nothing_to_mend(mesh: Mesh, path: Path) -> None:
    """A second reader of STL finds each triangle joined to its neighbours, and mends nothing."""
    write_stl(mesh, path)
    said = told("admesh", path)
    lines = [line for line in said.splitlines() if line.startswith(_NOTHING_MENDED)]
    assert len(lines) >= len(_NOTHING_MENDED)
    assert all(int(line.split(":")[1].split()[0]) == 0 for line in lines), said
    open_edges = next(line for line in said.splitlines() if line.startswith("Total disconnected"))
    assert open_edges.split(":")[1].split()[0] == "0"


def assert_slices(mesh: Mesh, path: Path) -> None:
    """A slicer lays it down on a bed of 220 x 220 x 250 mm, coarsely, without support."""
    write_stl(mesh, path)
    code = path.with_suffix(".gcode")
    options = {
        "bed-shape": "0x0,220x0,220x220,0x220",
        "max-print-height": "250",
        "skirts": "0",
        "nozzle-diameter": "0.8",
        "layer-height": "0.6",
        "first-layer-height": "0.6",
        "perimeters": "1",
        "fill-density": "0%",
        "top-solid-layers": "1",
        "bottom-solid-layers": "1",
        "output": str(code),
    }
    flags = [word for key, value in options.items() for word in (f"--{key}", value)]
    told("prusa-slicer", "--export-gcode", *flags, path)
    heights = [
        float(line.split("Z")[1].split()[0])
        for line in code.read_text("utf-8").splitlines()
        if line.startswith("G1 Z")
    ]
    assert max(heights) >= mesh.box_mm[1, 2] - 0.7
