"""What the page's 3-D view is drawn from: meshes, groups, tight spots, as plain data.

Lengths are mm in the vehicle frame (X aft, Y to the car's right, Z up).
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.moving_room import moving_rooms
from noseroom.findings import Finding, Verdict
from noseroom.geometry.mesh import Body
from noseroom.layout import GROUPS, UNPLACED, Layout, PlacedPart
from noseroom.report import page_words
from noseroom.report.page_removal import exploded
from noseroom.report.result import Result
from noseroom.report.views import overlap_middle

Floats = NDArray[np.float64]
Bodies = Mapping[tuple[str, str], Body]
Ghost = Literal["", "swept", "unseen", "moving"]

SHELVES: Mapping[str, str] = {
    **dict(zip(GROUPS, ("On the body", "On the engine", "Fan and hub"), strict=True)),
    UNPLACED: "Place not known",
}
"""What the groups are called, in the order in which they are shown."""
_OUTER = ("grille", "bumper bar", "hood")
"""Kinds that stand before all the rest: at first they are looked through."""
_STEPS = 65535
_HERE = np.eye(4)


def scene(result: Result, layout: Layout, bodies: Bodies) -> dict[str, Any]:
    """Parts with their meshes, and for every finding where it is to be seen.

    The same input gives the same data. What stands somewhere only so that it can be drawn is
    marked as not placed.
    """
    away, rooms = exploded(layout), moving_rooms(layout, result.findings)
    parts = [
        {
            "name": part.name,
            "shelf": part.shelf,
            "placed": part.known,
            "outer": part.kind in _OUTER,
            "colour": part.part.about.colour,
            "away": _rounded(away[part.name]),
            "bodies": [
                *(
                    _mesh(bodies[part.name, name], part.pose, _ghost(part, name))
                    for name in part.components
                    if (part.name, name) in bodies
                ),
                *(_mesh(room, _HERE, "moving") for room in rooms.get(part.name, ())),
            ],
        }
        for part in layout.parts.values()
    ]
    shown = [part for part in parts if part["bodies"]]
    return {
        "unit": "in" if result.unit in ("in", "ft") else "mm",
        "datum": layout.envelope.datum,
        "parts": shown,
        "findings": _places(result, layout, {str(part["name"]) for part in shown}),
    }


def numbers(result: Result) -> dict[str, int]:
    """The number of each tight spot by its finding's id, as the drawings have it."""
    spots = (
        one
        for one in result.findings
        if one.verdict not in (Verdict.FITS, Verdict.NOT_KNOWN) and one.points
    )
    return {one.id: number for number, one in enumerate(spots, start=1)}


def _ghost(part: PlacedPart, component: str) -> Ghost:
    if component in part.part.sweeps():
        return "swept"
    return "unseen" if component in part.part.unseen() else ""


def _mesh(body: Body, pose: Floats, ghost: Ghost) -> dict[str, Any]:
    """A placed mesh: corners as sixteen-bit steps of its own box, so that no part gets coarse."""
    placed = body.mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
    low, high = placed.min(axis=0), placed.max(axis=0)
    step = np.maximum(high - low, 1e-6) / _STEPS
    ticks = np.rint((placed - low) / step).astype("<u2")
    wide = len(placed) > _STEPS
    corners = body.mesh.triangles.astype("<u4" if wide else "<u2")
    return {
        "ghost": ghost,
        "closed": body.watertight,
        "low": _rounded(low),
        "step": [float(f"{one:.9g}") for one in step],
        "corners": _packed(ticks),
        "triangles": _packed(corners),
        "wide": wide,
    }


def _packed(array: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(array).tobytes()).decode("ascii")


def _places(result: Result, layout: Layout, drawn: set[str]) -> list[dict[str, Any]]:
    """One entry a finding, in their order; those with nothing to show have no parts."""
    numbered = numbers(result)
    return [
        {
            "id": f"finding-{index}",
            "number": numbered.get(one.id, 0),
            "kind": page_words.CLASS[one.verdict],
            "word": page_words.WORD[one.verdict],
            "names": page_words.names(one),
            "figure": page_words.tag_figure(one, result.unit),
            **_place(layout, one, drawn),
        }
        for index, one in enumerate(result.findings, start=1)
    ]


def _place(layout: Layout, finding: Finding, drawn: set[str]) -> dict[str, Any]:
    """Where it is: its parts, the middle of the spot and its two ends where it has them."""
    parts = [name for name in finding.parts if name in drawn and layout.parts[name].known]
    if not showable(layout, finding, drawn):
        return {"parts": []}
    if not finding.points or finding.verdict is Verdict.NOT_KNOWN:
        return {"parts": parts}
    middle = overlap_middle(layout, finding)
    if middle is not None:
        return {"parts": parts, "at": _rounded(middle)}
    ends = np.array(finding.points)
    return {
        "parts": parts,
        "at": _rounded(ends.mean(axis=0)),
        "ends": [_rounded(end) for end in ends],
    }


def showable(layout: Layout, finding: Finding, drawn: set[str]) -> bool:
    """Whether a finding can be shown: some part of it is drawn where it is known to stand."""
    return any(name in drawn and layout.parts[name].known for name in finding.parts)


def _rounded(values: Floats) -> list[float]:
    return [round(float(one), 3) + 0.0 for one in values]
