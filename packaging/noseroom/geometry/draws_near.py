"""What of two bodies can matter in a set of samples, and how near the two are there.

Triangles that are at least the threshold away from the other body in every sample that is still
open are left out, for sure, so that the verdict is the one of the whole bodies. What stays is cut
finer in the surface's own parameters, until chord errors hide no more answers.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.draws_couple import Floats, Indices, Scene
from noseroom.geometry.draws_sized import box_corners, grown_box
from noseroom.geometry.mesh import Body, Mesh
from noseroom.geometry.patches import Patches, finer, first_patches
from noseroom.geometry.trees import NUMERIC_MM

Chosen = NDArray[np.bool_]

_STAND = np.eye(4)
_MOST_PARTS = 6
# Nothing is cut finer that is as good as this already, and no more than so many at once.
_SHARP_MM = 1e-4
_MOST_CUT = 2500
_NUMBERS_AT_ONCE = 2_000_000
_ROUNDING_MM = 1e-10
# A direction along which different points are hardly ever level.
_ANYWHERE = np.array([0.5377, 0.3194, 0.7802])


@dataclass(frozen=True, eq=False)
class Cut:
    """Some triangles (m) of a body, or finer ones in their place.

    whole: the body. body: what is measured, it encloses nothing. numbers: of the triangles, in
    the whole body; finer_patches: what they were cut into, if they were.
    """

    whole: Body
    body: Body
    numbers: Indices
    finer_patches: Patches | None = None

    @classmethod
    def of(cls, whole: Body, chosen: Chosen) -> Cut:
        """Some triangles of a body, as they are."""
        mesh = whole.mesh
        bound = np.array([mesh.deflection_mm[mesh.face_of[chosen]].max()])
        body = _bare(whole.name, *mesh.part(chosen), bound)
        return cls(whole, body, np.flatnonzero(chosen))

    @cached_property
    def patches(self) -> Patches | None:
        """The triangles with what they stand for; None for a body without the kernel's faces."""
        if self.finer_patches is not None or not self.whole.charts:
            return self.finer_patches
        return first_patches(self.whole, _STAND, self.numbers)

    @property
    def rough(self) -> bool:
        """Whether it could be cut finer, to some good."""
        return bool(self.whole.charts) and self.body.mesh.bound_mm > _SHARP_MM

    @cached_property
    def _spans(self) -> tuple[Floats, Floats]:
        """Corners (m, 3, 3), and how far each may be from what it stands for (m,)."""
        if self.patches is not None:
            return self.patches.corners, self.patches.error_mm
        mesh = self.body.mesh
        return mesh.vertices[mesh.triangles], np.full(len(mesh.triangles), mesh.bound_mm)

    @property
    def boxes(self) -> tuple[Floats, Floats]:
        """Lowest and highest corners (m, 3) of boxes round the true surface."""
        corners, errors = self._spans
        return corners.min(axis=1) - errors[:, None], corners.max(axis=1) + errors[:, None]

    def beyond(self, ways: Floats, least: Floats) -> Chosen:
        """Which triangles (m) may reach beyond `least` (n,) along any of directions (n, 3)."""
        corners, errors = self._spans
        # Seen from a point among them: what none can reach that lie in a cone of directions.
        middle, origin = ways.mean(axis=0), corners[0, 0]
        swing = float(np.linalg.norm(ways - middle, axis=1).max())
        off = corners - origin
        most = (off @ middle + swing * np.linalg.norm(off, axis=2)).max(axis=1) + errors
        beyond: Chosen = most > (least - ways @ origin).min() - NUMERIC_MM
        some = np.flatnonzero(beyond)
        step = max(1, _NUMBERS_AT_ONCE // (3 * max(1, len(some))))
        found = np.zeros(len(some), dtype=bool)
        for start in range(0, len(ways), step):
            those, limits = ways[start : start + step], least[start : start + step]
            left = some[~found]
            heights = (corners[left] @ those.T).max(axis=1) + errors[left, None]
            found[~found] = (heights > limits).any(axis=1)
        beyond[some] = found
        return beyond

    def only(self, kept: Chosen) -> Cut:
        """Some of the triangles (m)."""
        if kept.all():
            return self
        if self.finer_patches is not None:
            return self._with(self.finer_patches.chosen(np.flatnonzero(kept)))
        mesh = self.body.mesh
        body = _bare(self.whole.name, *mesh.part(kept), np.array([mesh.bound_mm]))
        return replace(self, body=body, numbers=self.numbers[kept])

    def finer(self) -> Cut | None:
        """The same, with every triangle cut that is not good enough yet.

        None where there is too much to cut, or the rim of a face cannot be followed.
        """
        if self.patches is None or not self.rough:
            return self
        rough = self.patches.error_mm > _SHARP_MM
        if rough.sum() > _MOST_CUT:
            return None
        if not rough.any():
            # What is known of each triangle is better than of its face.
            return self._with(self.patches)
        cut = finer(self.whole, _STAND, self.patches.chosen(np.flatnonzero(rough)))
        if cut is None:
            return None
        both = cut, self.patches.chosen(np.flatnonzero(~rough))
        joined = [[getattr(one, each.name) for one in both] for each in fields(Patches)]
        return self._with(Patches(*(np.concatenate(arrays) for arrays in joined)))

    def _with(self, patches: Patches) -> Cut:
        corners, triangles = _joined_up(patches.corners)
        bound = patches.error_mm.max(initial=0.0, keepdims=True)
        body = _bare(self.whole.name, corners, triangles, bound)
        return replace(self, body=body, finer_patches=patches)


def _joined_up(corners: Floats) -> tuple[Floats, NDArray[np.int32]]:
    """Vertices (n, 3) and triangles (k, 3) of corners (k, 3, 3), each vertex once."""
    flat = corners.reshape(-1, 3)
    _, first, numbers = np.unique(flat @ _ANYWHERE, return_index=True, return_inverse=True)
    # What rounding alone keeps apart is the same.
    if np.abs(flat[first][numbers] - flat).max(initial=0.0) > _ROUNDING_MM:
        first = numbers = np.arange(len(flat))
    return flat[first], numbers.reshape(-1, 3).astype(np.int32)


def _bare(name: str, vertices: Floats, triangles: NDArray[np.int32], bound_mm: Floats) -> Body:
    """A body of triangles alone."""
    zeros = np.zeros(len(triangles), np.int32)
    return Body(name, None, Mesh(vertices, triangles, zeros, bound_mm), watertight=False)


def near_parts(
    a: Body, b: Body, scene: Scene, below_mm: float
) -> tuple[tuple[Cut, Cut], ...] | None:
    """Return what of two bodies may come within `below_mm` in any sample; None for nothing.

    Each connected part of one with each of the other: a plane parts two of them where none parts
    the whole bodies.
    """
    reach = below_mm + float(scene.play_mm.max()) + NUMERIC_MM
    chosen_a, chosen_b = _near(a, b, scene, reach)
    if not (chosen_a.any() and chosen_b.any()):
        return None
    parts_b = _parts(b, chosen_b)
    return tuple((one, other) for one in _parts(a, chosen_a) for other in parts_b)


def _near(a: Body, b: Body, scene: Scene, reach: float) -> tuple[Chosen, Chosen]:
    """Which triangles of either may be within reach of the other in any sample, by boxes."""
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
    box: Floats = _span(mesh.vertices[mesh.triangles[chosen]])
    grow = float(mesh.deflection_mm[mesh.face_of[chosen]].max())
    box += np.array([[-grow], [grow]])
    return box


def _parts(body: Body, chosen: Chosen) -> list[Cut]:
    """Each connected part of some triangles, or all in one if they are many."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    triangles = body.mesh.triangles[chosen]
    numbers, flat = np.unique(triangles, return_inverse=True)
    flat = flat.reshape(-1, 3)
    ends = np.concatenate([flat[:, 0], flat[:, 1]]), np.concatenate([flat[:, 1], flat[:, 2]])
    links = coo_array((np.ones(2 * len(flat)), ends), (len(numbers), len(numbers)))
    count, label = connected_components(links, directed=False)
    if not 1 < count <= _MOST_PARTS:
        return [Cut.of(body, chosen)]
    found = []
    for part in range(count):
        own = chosen.copy()
        own[chosen] = label[flat[:, 0]] == part
        found.append(Cut.of(body, own))
    return found
