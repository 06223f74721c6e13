"""What every part has to hold, asked of random sizes over its whole range.

A part's test hands in a hand formula for each component (`Expected`: volume and bounding box,
worked without the kernel) and calls the checks below on `draws(...)`.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from scipy.spatial import ConvexHull

from noseroom.envelope.kinds import Choice
from noseroom.geometry.kernel import is_valid, volume_mm3
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.geometry.overlap import inside
from noseroom.geometry.trees import point_distance
from noseroom.parts.base import Part, kind_of
from noseroom.tolerances import Tolerances

HERE = np.eye(4)
FINE = Tolerances(tessellation_mm=0.02, tessellation_rad=0.1)
COARSE = Tolerances(tessellation_mm=0.1, tessellation_rad=0.35)
Box = tuple[Sequence[float], Sequence[float]]


@dataclass(frozen=True)
class Expected:
    """One component by hand: volume in mm³, lowest and highest corner in mm."""

    volume_mm3: float
    low: Sequence[float]
    high: Sequence[float]


# -- sizes ---------------------------------------------------------------------------------------


def every_choice(part: type[Part]) -> list[dict[str, str]]:
    """Every combination of a part's choice words, by attribute name."""
    options = {
        one.name: one.metadata["file"].options
        for one in fields(part)
        if isinstance(one.metadata.get("file"), Choice)
    }
    return [
        dict(zip(options, words, strict=True)) for words in itertools.product(*options.values())
    ]


def random_sizes(part: type[Part], rng: np.random.Generator) -> dict[str, Any]:
    """Sizes by attribute name, each anywhere in its range; one in eight sits on a limit."""
    made: dict[str, Any] = {}
    for name, size in part.sizes().items():
        if size.measure == "count":
            made[name] = int(rng.integers(int(size.low), int(size.high) + 1))
        elif rng.random() < 0.125:
            made[name] = float(rng.choice([size.low, size.high]))
        else:
            made[name] = float(rng.uniform(size.low, size.high))
    return made


def limit_sizes(part: type[Part], which: str) -> dict[str, Any]:
    """All sizes at their "low" or "high" limit."""
    return {
        name: round(getattr(size, which)) if size.measure == "count" else getattr(size, which)
        for name, size in part.sizes().items()
    }


def draws(part: type[Part], *, seed: int, count: int = 30, **fixed: Any) -> Iterator[Part]:
    """Parts of random sizes, going round all choices (each at least once), then both limits."""
    rng = np.random.default_rng(seed)
    choices = every_choice(part)
    for k in range(max(count, len(choices))):
        made = part(**{**random_sizes(part, rng), **choices[k % len(choices)], **fixed})
        while made.at_odds():  # no such part can be; whoever writes it hears so
            made = part(**{**random_sizes(part, rng), **choices[k % len(choices)], **fixed})
        yield made
    for which, words in zip(("low", "high"), itertools.cycle(choices), strict=False):
        yield part(**{**limit_sizes(part, which), **words, **fixed})


# -- sums by hand --------------------------------------------------------------------------------


def boxes_volume(boxes: Iterable[Box], without: Iterable[Box] = ()) -> float:
    """Volume of boxes together, less others, by cutting space along all their faces, mm³."""
    solid, hollow = [*boxes], [*without]
    ends = np.array([*solid, *hollow], dtype=float)
    cuts = [np.unique(ends[:, :, k]) for k in range(3)]
    middles = np.stack(
        np.meshgrid(*[(cut[1:] + cut[:-1]) / 2 for cut in cuts], indexing="ij"), axis=-1
    )
    sizes = np.stack(np.meshgrid(*[np.diff(cut) for cut in cuts], indexing="ij"), axis=-1)

    def within(wanted: list[Box]) -> Any:
        found = np.zeros(middles.shape[:-1], dtype=bool)
        for low, high in wanted:
            found |= ((middles > np.asarray(low)) & (middles < np.asarray(high))).all(axis=-1)
        return found

    return float(sizes.prod(axis=-1)[within(solid) & ~within(hollow)].sum())


def around(boxes: Iterable[Box]) -> tuple[list[float], list[float]]:
    """Lowest and highest corner of several boxes."""
    ends = np.array([*boxes], dtype=float)
    return list(ends[:, 0].min(axis=0)), list(ends[:, 1].max(axis=0))


def of_boxes(boxes: Iterable[Box], *, less_mm3: float = 0.0) -> Expected:
    """What is expected of boxes joined, less round holes of a known volume."""
    several = [*boxes]
    return Expected(boxes_volume(several) - less_mm3, *around(several))


def of_cylinder(start: Sequence[float], along: int, length: float, radius: float) -> Expected:
    """What is expected of a cylinder along local axis 0, 1 or 2 from `start`, forwards."""
    low, high = np.array(start, dtype=float) - radius, np.array(start, dtype=float) + radius
    low[along], high[along] = start[along], start[along] + length
    return Expected(math.pi * radius**2 * length, list(low), list(high))


# -- the checks ----------------------------------------------------------------------------------


def check_kind(part: type[Part]) -> None:
    """Its declarations hang together, and make a record for the envelope file."""
    kind = kind_of(part)
    words = {one.key: one.options for one in kind.choices}
    keys = [one.key for one in (*kind.sizes, *kind.choices, *kind.texts, *kind.references)]
    assert len(keys) == len(set(keys)), "a key stands twice"
    assert kind.carried_by == () or kind.carried_by[-1] == "car"
    for key in keys:
        assert not any(other.startswith(f"{key}.") for other in keys), f"{key} is also a group"
    for size in kind.sizes:
        assert size.help, size.key
        assert size.low < size.high, size.key
        if size.usual is None:
            assert size.reach == 0.0, size.key
        else:
            assert size.low <= size.usual <= size.high, size.key
            if size.measure != "count":
                # A size whose least is nothing may be assumed as nothing, give or take.
                assert size.low <= size.usual - size.reach or size.low == 0, size.key
                assert size.usual + size.reach <= size.high, size.key
        if size.when is not None:
            assert size.when[1] in words[size.when[0]], size.key


def check_solids(made: Part, expected: Mapping[str, Expected]) -> dict[str, Any]:
    """Its solids are valid and closed, with the volumes and boxes that were worked by hand.

    Returns the solids, so that later checks need not build them again.
    """
    solids = made.solids()
    assert set(solids) == set(expected)
    for name, wanted in expected.items():
        shape = solids[name]
        assert is_valid(shape), f"{name} is not valid: {made}"
        closed = shape.Solids()
        assert closed, f"{name} is no solid: {made}"
        for face_set in closed:
            assert len(face_set.Shells()) == 1
            assert face_set.Shells()[0].wrapped.Closed(), f"{name} is open: {made}"
        assert volume_mm3(shape) == pytest_approx(wanted.volume_mm3, 1e-6), f"{name}: {made}"
        box = shape.BoundingBox()
        low, high = (box.xmin, box.ymin, box.zmin), (box.xmax, box.ymax, box.zmax)
        # The kernel's boxes of round things are its own numbers to about 1e-3 mm.
        np.testing.assert_allclose(low, wanted.low, atol=5e-3, rtol=0, err_msg=f"{name}: {made}")
        np.testing.assert_allclose(high, wanted.high, atol=5e-3, rtol=0, err_msg=f"{name}: {made}")
    return solids


def pytest_approx(value: float, relative: float) -> Any:
    """A float to compare with, relative only."""
    import pytest

    return pytest.approx(value, rel=relative, abs=1e-6)


def bodies(
    made: Part, tolerances: Tolerances = FINE, solids: Mapping[str, Any] | None = None
) -> dict[str, Body]:
    """Its components meshed; `solids` where they were built already."""
    shapes = made.solids() if solids is None else solids
    return {name: body_from_shape(name, shape, tolerances) for name, shape in shapes.items()}


def hulls_of(made: Part) -> dict[str, list[Any]]:
    """Half-space rows (m, 4) of every piece, by component: a point is inside where all are <= 0."""
    found: dict[str, list[Any]] = {}
    for piece in made.pieces():
        corners = np.asarray(piece.corners)
        assert corners.ndim == 2, "float sizes must make pieces of plain (n, 3) corners"
        found.setdefault(piece.component, []).append(ConvexHull(corners).equations)
    return found


def outside_mm(points: Any, hulls: Sequence[Any]) -> Any:
    """How far at most each point (n, 3) is outside the nearest of several convex hulls, mm."""
    rows = [(points @ hull[:, :3].T + hull[:, 3]).max(axis=1) for hull in hulls]
    return np.min(rows, axis=0)


def check_pieces_cover(made: Part, meshed: Mapping[str, Body], *, seed: int = 1) -> None:
    """Every vertex of the meshed solids, and points on its triangles, lie in the pieces."""
    rng = np.random.default_rng(seed)
    hulls = hulls_of(made)
    assert set(hulls) == set(meshed), "pieces and solids name other components"
    for name, body in meshed.items():
        mesh = body.mesh
        worst = float(outside_mm(mesh.vertices, hulls[name]).max())
        assert worst <= 1e-6, f"{name}: a vertex is {worst} mm outside its pieces: {made}"
        weights = rng.dirichlet(np.ones(3), size=len(mesh.triangles))
        points = np.einsum("ij,ijk->ik", weights, mesh.vertices[mesh.triangles])
        # A chord of a hole's rim runs through the hole, by as much as the mesh says.
        beyond = outside_mm(points, hulls[name]) - mesh.deflection_mm[mesh.face_of].max()
        assert float(beyond.max()) <= 1e-6, f"{name}: its surface leaves its pieces: {made}"


def check_pieces_tight(
    made: Part, meshed: Mapping[str, Body], *, share: float = 0.0025, filled_mm: float = 0.0
) -> None:
    """No corner of a piece stands further from the metal than a share of its component's half size.

    filled_mm: how deep corners may stand in holes that the pieces fill on purpose.
    """
    for name, body in meshed.items():
        corners = np.concatenate([one.corners for one in made.pieces() if one.component == name])
        corners = np.unique(np.round(corners, 9), axis=0)
        # Half the second largest extent: a round thing's radius, whichever way it lies.
        half = float(np.sort(np.ptp(body.mesh.vertices, axis=0))[1]) / 2
        slack = share * half + body.mesh.bound_mm + filled_mm + 1e-6
        away = corners[~inside(corners, body, HERE)]
        for corner in away:
            gap = point_distance(body.tree, HERE, corner)
            assert gap <= slack, f"{name}: a piece stands {gap} mm off the metal: {made}"


def check_follows_sizes(made: Part) -> None:
    """Features and pieces are the same for floats, batches and complex sizes, and differentiable.

    The complex step's derivative is compared with a central difference of plain floats.
    """
    names = [name for name, size in made.sizes().items() if size.measure != "count"]
    plain, step, slope = _points_of(made), 1e-30, 1e-4
    batch = dataclasses.replace(
        made,
        **{
            name: getattr(made, name) + 1j * step * (np.arange(len(names)) == k)
            for k, name in enumerate(names)
        },
    )
    batched = _points_of(batch)
    assert plain.keys() == batched.keys()
    for k, name in enumerate(names):
        value = getattr(made, name)
        more = _points_of(dataclasses.replace(made, **{name: value + slope}))
        less = _points_of(dataclasses.replace(made, **{name: value - slope}))
        for key, points in plain.items():
            state = batched[key] if batched[key].ndim == points.ndim else batched[key][k]
            np.testing.assert_allclose(state.real, points, atol=1e-9, err_msg=f"{key} by {name}")
            np.testing.assert_allclose(
                np.imag(state) / step,
                (more[key] - less[key]) / (2 * slope),
                atol=1e-5,
                err_msg=f"{key} by {name}",
            )


def _points_of(made: Part) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, feature in made.features().items():
        found[name] = np.asarray(feature.point)
        found[f"{name} radius"] = np.asarray(feature.radius)
        found |= {f"{name} {spot}": np.asarray(way) for spot, way in feature.reach.items()}
    for k, piece in enumerate(made.pieces()):
        found[f"{piece.component} piece {k}"] = np.asarray(piece.corners)
    return found


def check_faces_on_metal(
    made: Part, meshed: Mapping[str, Body], *, free: Sequence[str] = (), within_mm: float = 1e-4
) -> None:
    """Every face's reference point lies in the plane of some metal, and its normal is a unit.

    free: beginnings of feature names that are not surfaces (an opening's edges, a plane).
    """
    for name, feature in made.features().items():
        if feature.shape in ("face", "axis", "cylinder", "circle", "edge"):
            unit = float(np.linalg.norm(feature.direction))
            assert math.isclose(unit, 1.0, abs_tol=1e-12), name
        if feature.shape != "face" or name.startswith(tuple(free)):
            continue
        gap = min(
            point_distance(body.tree, HERE, feature.point) - body.mesh.bound_mm
            for body in meshed.values()
        )
        assert gap <= within_mm, f"{name} is {gap} mm from any metal: {made}"


def check_movement_bounds(made: Part, *, by_mm: float = 1.0, most: int = 300) -> None:
    """Grown by 1 mm in one size, no point of either solid is further from the other than said.

    That is what a clearance can lose or gain. Both ways, since a hole that grows leaves no new
    point off the old faces. Sizes that would leave their range are shrunk instead. most: vertices
    tried a component, each way.
    """
    old = bodies(made, COARSE)
    bounds = made.movement_bounds()
    rng = np.random.default_rng(7)
    for name, size in made.sizes().items():
        if size.measure == "count":
            continue
        value = getattr(made, name)
        step = by_mm if value + by_mm <= size.high else -by_mm
        new = bodies(dataclasses.replace(made, **{name: value + step}), COARSE)
        for component in sorted(old.keys() & new.keys()):
            before, after = old[component], new[component]
            check_axes(made, component, name, step, before, after)
            check_growths(made, component, name, step, before, after)
            for points, other in ((after.mesh.vertices, before), (before.mesh.vertices, after)):
                moved = points[_away(points, other)]
                if len(moved) > most:
                    moved = rng.choice(moved, most, replace=False)
                allowed = bounds[name] * by_mm + other.mesh.bound_mm + 1e-6
                for point in moved:
                    gap = point_distance(other.tree, HERE, point)
                    within = gap <= allowed or bool(inside(point[None], other, HERE)[0])
                    assert within, f"{component} moved {gap} mm by {name} {step}: {made}"


def check_axes(
    made: Part, component: str, name: str, step: float, before: Body, after: Body
) -> None:
    """Along no direction does a component that grew reach further than its movement says.

    Where every point moves within a box, what is furthest along a direction moves by no more than
    the box reaches, either way. Sampled over directions, the axes among them.
    """
    rng = np.random.default_rng(11)
    ways = np.concatenate([np.eye(3), -np.eye(3), rng.normal(size=(20, 3))])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    low, high = np.sort(made.axes_mm(component)[name] * step, axis=1).T
    gained = (after.mesh.vertices @ ways.T).max(axis=0) - (before.mesh.vertices @ ways.T).max(
        axis=0
    )
    most = np.maximum(low * ways, high * ways).sum(axis=1)
    least = np.minimum(low * ways, high * ways).sum(axis=1)
    slack = after.mesh.bound_mm + before.mesh.bound_mm + 1e-6
    assert (gained <= most + slack).all(), f"{component} gained {gained} by {name}: {made}"
    assert (gained >= least - slack).all(), f"{component} lost {gained} by {name}: {made}"


def check_growths(
    made: Part, component: str, name: str, step: float, before: Body, after: Body, most: int = 60
) -> None:
    """No point of a component is further from where it can have come from than its piece says.

    A corner of the mesh that grew came from somewhere in a box behind it, as large as what the
    pieces that may be there move; the old surface must pass through that box, or hold it.
    """
    import coal

    ways = [(box, np.sort(axes[name] * step, axis=1)) for box, axes in made.growths_mm(component)]
    points = after.mesh.vertices[_away(after.mesh.vertices, before)]
    # The library that tells whether boxes meet the surface is good to about 1e-6 mm.
    slack = after.mesh.bound_mm + before.mesh.bound_mm + 1e-4
    for point in np.random.default_rng(13).permutation(points)[:most]:
        here = [
            move.T
            for box, move in ways
            if (point >= box[0] + move[:, 0] - slack).all()
            and (point <= box[1] + move[:, 1] + slack).all()
        ]
        assert here, f"{component} grew out of all pieces by {name}: {made}"
        low = point - np.max(here, axis=0)[1] - slack
        high = point - np.min(here, axis=0)[0] + slack
        centre = (low + high) / 2
        came_from = coal.Box(*(high - low)), coal.Transform3s(np.eye(3), centre)
        met = coal.collide(
            before.tree,
            coal.Transform3s(),
            *came_from,
            coal.CollisionRequest(),
            coal.CollisionResult(),
        )
        within = bool(met) or bool(inside(centre[None], before, HERE)[0])
        assert within, f"{component} moved at {point} by {name}, not as its pieces say: {made}"


def _away(points: Any, body: Body) -> Any:
    """Which points (n, 3) are no vertices of the body: those have certainly not moved."""
    from scipy.spatial import cKDTree

    return cKDTree(body.mesh.vertices).query(points)[0] > 1e-9
