"""What of a body can matter in a set of samples: the triangles that come near, made finer.

What is left out is at least the threshold away from the other body in every one of the samples, for
sure, so that the verdict is the one of the whole bodies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_bounds import Floats, Scene, box_corners, grown_box
from noseroom.geometry.draws_couple import Couple
from noseroom.geometry.kernel import load_cadquery
from noseroom.geometry.mesh import Body, Mesh, body_from_shape
from noseroom.geometry.trees import NUMERIC_MM
from noseroom.tolerances import Tolerances

Chosen = NDArray[np.bool_]
Finer = dict[tuple[int, bytes], tuple[Body, Body]]
"""Finer bodies by the number of the body and its faces; the body is kept, so the number stays."""

_FINE_MM = 0.005
_MOST_TRIANGLES = 30_000
_WORTH_IT = 0.5
_MOST_PARTS = 6


@dataclass(frozen=True, eq=False)
class Near:
    """The near parts of two bodies.

    couples: what is measured between, each connected part of one with each of the other: a plane
    parts two of them where none parts the whole bodies. faces: all of it with the kernel's faces,
    for the exact distance; None where a body has none.
    """

    couples: tuple[Couple, ...]
    faces: tuple[Body, Body] | None

    @property
    def slack_mm(self) -> float:
        """What a distance of the meshes may be out by."""
        return max(couple.slack_mm for couple in self.couples)


def near_parts(
    a: Body, b: Body, scene: Scene, below_mm: float, finer: Finer | None = None
) -> Near | None:
    """Return what of two bodies may come within `below_mm` in any sample; None for nothing.

    finer: meshes the near faces again, to a few thousandths of a mm, and keeps them there.
    """
    reach = below_mm + float(scene.play_mm.max()) + NUMERIC_MM
    chosen_a, chosen_b = _near(a, b, scene, reach)
    if not (chosen_a.any() and chosen_b.any()):
        return None
    faced = None
    if finer is not None:
        a, b = _finer(a, chosen_a, finer), _finer(b, chosen_b, finer)
        chosen_a, chosen_b = _near(a, b, scene, reach)
        if not (chosen_a.any() and chosen_b.any()):
            return None
        faced = (a, b) if a.faces and b.faces else None
    parts_a, parts_b = _parts(a, chosen_a), _parts(b, chosen_b)
    return Near(tuple(Couple(one, other) for one in parts_a for other in parts_b), faced)


def _near(a: Body, b: Body, scene: Scene, reach: float) -> tuple[Chosen, Chosen]:
    """Which triangles of either may be within reach of the other in any sample."""
    box_a, chosen_a, chosen_b = grown_box(a), np.zeros(0, bool), np.zeros(0, bool)
    for _ in range(2):
        chosen_b = _touched(b, _span(scene.carried(box_corners(box_a))), reach)
        if not chosen_b.any():
            break
        box_b = _box_of(b, chosen_b)
        chosen_a = _touched(a, _span(scene.taken_back(box_corners(box_b))), reach)
        if not chosen_a.any():
            break
        box_a = _box_of(a, chosen_a)
    return chosen_a, chosen_b


def _span(corners: Floats) -> Floats:
    flat = corners.reshape(-1, 3)
    return np.stack([flat.min(axis=0), flat.max(axis=0)])


def _touched(body: Body, box: Floats, reach: float) -> Chosen:
    """Triangles whose true surface may come within reach of a box (2, 3) of the body's frame."""
    mesh = body.mesh
    corners = mesh.vertices[mesh.triangles]
    grow = reach + mesh.deflection_mm[mesh.face_of][:, None]
    low, high = corners.min(axis=1) - grow, corners.max(axis=1) + grow
    touched: Chosen = ((low <= box[1]) & (high >= box[0])).all(axis=1)
    return touched


def _box_of(body: Body, chosen: Chosen) -> Floats:
    mesh = body.mesh
    box = _span(mesh.vertices[mesh.triangles[chosen]])
    grow = float(mesh.deflection_mm[mesh.face_of[chosen]].max())
    return box + np.array([[-grow], [grow]])


def _parts(body: Body, chosen: Chosen) -> list[Body]:
    """A body for each connected part of some triangles, one for all if they are many."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    triangles = body.mesh.triangles[chosen]
    numbers, flat = np.unique(triangles, return_inverse=True)
    flat = flat.reshape(-1, 3)
    ends = np.concatenate([flat[:, 0], flat[:, 1]]), np.concatenate([flat[:, 1], flat[:, 2]])
    links = coo_array((np.ones(2 * len(flat)), ends), (len(numbers), len(numbers)))
    count, label = connected_components(links, directed=False)
    if not 1 < count <= _MOST_PARTS:
        return [_cut(body, chosen)]
    found = []
    for part in range(count):
        own = chosen.copy()
        own[chosen] = label[flat[:, 0]] == part
        found.append(_cut(body, own))
    return found


def _cut(body: Body, chosen: Chosen) -> Body:
    """A body of some of the triangles alone; it encloses nothing."""
    mesh = body.mesh
    vertices, triangles = mesh.part(chosen)
    bound = np.array([mesh.deflection_mm[mesh.face_of[chosen]].max()])
    zeros = np.zeros(len(triangles), np.int32)
    return Body(body.name, None, Mesh(vertices, triangles, zeros, bound), watertight=False)


def _finer(body: Body, chosen: Chosen, kept: Finer) -> Body:
    """The faces of some triangles, meshed finely; the body itself where that is of no use."""
    if not body.faces:
        return body
    faces = np.unique(body.mesh.face_of[chosen])
    key = id(body), faces.tobytes()
    if key not in kept:
        kept[key] = body, _meshed_again(body, faces)
    return kept[key][1]


def _meshed_again(body: Body, faces: NDArray[np.int32]) -> Body:
    among = np.isin(body.mesh.face_of, faces)
    bound = float(body.mesh.deflection_mm[faces].max())
    # A doubly curved face has as many more triangles as its chords are to be finer.
    fine = max(_FINE_MM, bound * int(among.sum()) / _MOST_TRIANGLES)
    if fine > _WORTH_IT * bound:
        return body
    cq = load_cadquery()
    shape = cq.Compound.makeCompound([cq.Shape.cast(body.faces[face]) for face in faces])
    return body_from_shape(body.name, shape, Tolerances(tessellation_mm=fine))
