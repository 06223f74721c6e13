"""Every component of a layout as a meshed body, and what was measured between two of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.fingerprints import fingerprint
from noseroom.geometry.clearance import Clearance, Relation, clearance
from noseroom.geometry.kernel import load_cadquery
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from noseroom.geometry.pull_apart import PullApart
from noseroom.layout import Layout, PlacedPart
from noseroom.memo import Memo
from noseroom.parts.base import Part
from noseroom.tolerances import DEFAULT, Tolerances

Progress = Callable[[int, int, str], None]
Floats = NDArray[np.float64]

CAP_MM = 150.0
"""Solids whose boxes are further apart than this are not measured."""


class Bodies(Mapping[tuple[str, str], Body]):
    """Bodies by (part, component), each in its part's frame, mm; made when they are asked for.

    memo: where bodies and clearances are kept that hold in other layouts too.
    """

    def __init__(self, layout: Layout, memo: Memo) -> None:
        self._layout, self._memo = layout, memo
        self._prints = {name: fingerprint(one.part) for name, one in layout.parts.items()}

    def __getitem__(self, key: tuple[str, str]) -> Body:
        """Raises GeometryError where a solid comes out without a closed surface."""
        name, component = key
        return self.of(name)[component]

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return ((name, component) for name in self._layout.parts for component in self.of(name))

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def of(self, name: str) -> Mapping[str, Body]:
        """The bodies of one part, by component."""
        part = self._layout.parts[name].part
        return self._memo.get(("bodies", name, self._prints[name]), lambda: _made(name, part))

    def clearance(
        self,
        a: PlacedPart,
        mine: str,
        b: PlacedPart,
        theirs: str,
        *,
        poses: tuple[Floats, Floats] | None = None,
        cap_mm: float = CAP_MM,
        tolerances: Tolerances = DEFAULT,
    ) -> Clearance:
        """The clearance of two components where they stand, or at other poses, (4, 4) each."""
        here, there = (a.pose, b.pose) if poses is None else (np.round(one, 10) for one in poses)
        # Measured about a's own origin: parts that are moved alike stay as far apart, to the bit.
        origin = here[:3, 3]
        homes = [_about(here, origin), _about(there, origin)]
        key = (self._prints[a.name], mine, self._prints[b.name], theirs)
        found = self._memo.get(
            ("clearance", *key, homes[0].tobytes(), homes[1].tobytes(), cap_mm, tolerances),
            lambda: clearance(
                self[a.name, mine],
                self[b.name, theirs],
                *homes,
                cap_mm=cap_mm,
                tolerances=tolerances,
            ),
            (Clearance, Relation, PullApart),
        )
        return found if found.points is None else replace(found, points=found.points + origin)


def _about(pose: Floats, origin: Floats) -> Floats:
    moved = pose.copy()
    moved[:3, 3] = np.round(pose[:3, 3] - origin, 8) + 0.0
    return moved


def bodies_of(layout: Layout, progress: Progress, memo: Memo | None = None) -> Bodies:
    """All bodies of a layout. Loads the CAD kernel.

    Raises GeometryError where a component comes out without a closed surface; a scan alone may be
    open.
    """
    bodies = Bodies(layout, Memo() if memo is None else memo)
    for done, name in enumerate(layout.parts):
        progress(done, len(layout.parts), f"solid of {name}")
        bodies.of(name)
    return bodies


def _made(name: str, part: Part) -> dict[str, Body]:
    # A scan has no solids, and needs no kernel.
    if not part.meshes():
        load_cadquery()
    made: dict[str, Body] = {}
    for component, solid in part.solids().items():
        body = body_from_shape(f"{name}: {component}", solid)
        if not body.watertight:
            raise GeometryError(f"{name}: its {component} is not closed")
        made[component] = body
    for component, mesh in part.meshes().items():
        made[component] = body_from_mesh(
            f"{name}: {component}",
            mesh.vertices,
            mesh.triangles,
            deflection_mm=mesh.deflection_mm,
        )
    return made
