"""Every component of a layout as a meshed body."""

from __future__ import annotations

from collections.abc import Callable

from noseroom.errors import GeometryError
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from noseroom.layout import Layout

Progress = Callable[[int, int, str], None]


def bodies_of(layout: Layout, progress: Progress) -> dict[tuple[str, str], Body]:
    """Bodies by (part, component), each in its part's frame, mm. Loads the CAD kernel.

    Raises GeometryError where a component comes out without a closed surface; a scan alone may be
    open.
    """
    made: dict[tuple[str, str], Body] = {}
    for done, (name, part) in enumerate(layout.parts.items()):
        progress(done, len(layout.parts), f"solid of {name}")
        for component, solid in part.part.solids().items():
            body = body_from_shape(f"{name}: {component}", solid)
            if not body.watertight:
                raise GeometryError(f"{name}: its {component} is not closed")
            made[name, component] = body
        for component, mesh in part.part.meshes().items():
            made[name, component] = body_from_mesh(
                f"{name}: {component}",
                mesh.vertices,
                mesh.triangles,
                deflection_mm=mesh.deflection_mm,
            )
    return made
