"""Threshold Monte Carlo on the stack: 12 moving parts, 24 fixed ones and a scan, sizes drawn too.

Run: python tests/benchmarks/core_draws.py [samples] [how many to judge by brute force]

Every sample has a pose for each moving part (the engine's rock and surge, and each part's own
scatter) and new sizes for some parts of either kind. Asked for each of the 300 pairs: is the
clearance below the threshold? Brute force builds the solids with the sample's sizes, meshes and
places them and asks the exact clearance: for the samples nearest to the threshold, and for some at
random. Seconds are of the processor, so that what else runs on the machine does not count.
"""

from __future__ import annotations

import dataclasses
import sys
import time
from typing import Any

import numpy as np
from machine import machine
from scipy.spatial.transform import Rotation
from stack import STACKED, Thing, scan, stack, usual_sizes

from noseroom.geometry.clearance import clearance
from noseroom.geometry.draws import Below, Drawn, Growth, below
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from noseroom.geometry.motions import Motions, Shift, Turn
from noseroom.geometry.trees import tree_distance
from noseroom.parts.registry import PARTS
from part_checks import every_choice

THRESHOLD_MM = 6.0
PARTS_COUNT = 36
SIZES = {
    "radiator.core": ("core_thickness_mm",),
    "radiator.tanks": ("top_depth_mm", "top_height_mm"),
    "drier.body": ("diameter_mm",),
    "electric fan.motor": ("motor_depth_mm", "motor_diameter_mm"),
    "water pump.hub": ("hub_thickness_mm",),
    "crank pulley.web": ("web_thickness_mm",),
    "alternator.pulley": ("pulley_width_mm",),
    "alternator.body": ("body_length_mm",),
}
DEVIATION_MM = 0.4
"""Of a size read by tape to 1/32 in: two deviations are one division."""


def made_parts(seed: int = 3) -> dict[str, Any]:
    """The parts that the stack's components come from, by kind."""
    rng = np.random.default_rng(seed)
    found = {}
    for kind in STACKED:
        part = PARTS[kind]
        for choices in every_choice(part)[:1]:
            try:
                found[kind] = part(**usual_sizes(kind, rng), **choices)
            except Exception as error:
                print(f"left out: {kind} ({type(error).__name__})")
    return found


def engine() -> Motions:
    """Roll both ways, pitch and surge, as of an engine on mounts that have kept their rubber."""
    return Motions(
        (
            Turn((0, 0, -300), (1, 0, 0), -1, 1),
            Turn((1000, 0, -300), (0, 1, 0), -0.2, 0.2),
            Shift((1, 0, 0), -2, 2),
        )
    )


def drawn_poses(body: Body, rest: Any, moves: Any, rng: np.random.Generator) -> Any:
    """(n, 4, 4): the engine's movement, and the part's own about its middle."""
    count = len(moves)
    middle = body.mesh.box_mm.mean(axis=0) + rest[:3, 3]
    own = np.tile(np.eye(4), (count, 1, 1))
    own[:, :3, :3] = Rotation.from_rotvec(rng.normal(0, np.radians(0.2), (count, 3))).as_matrix()
    own[:, :3, 3] = middle - own[:, :3, :3] @ middle + rng.normal(0, 1.0, (count, 3))
    return moves @ own @ rest


def sized(thing: Thing, body: Body, poses: Any, part: Any, rng: Any, count: int) -> Drawn:
    """The thing with some of its sizes drawn."""
    component = thing.name.rsplit(" ", 1)[0]
    names = SIZES[component]
    usual = np.array([getattr(part, name) for name in names])

    def build(sizes: Any) -> Body:
        changed = dataclasses.replace(part, **dict(zip(names, map(float, sizes), strict=True)))
        return body_from_shape(component, changed.solids()[component.split(".")[1]])

    sizes = usual + rng.normal(0, DEVIATION_MM, (count, len(names)))
    which = component.split(".")[1]
    most, axes = part.movement_bounds(), part.axes_mm(which)
    growths = [
        Growth(box, [moved[name] for name in names]) for box, moved in part.growths_mm(which)
    ]
    return Drawn(
        body,
        poses,
        sizes,
        usual,
        [most[name] for name in names],
        [axes[name] for name in names],
        build,
        growths,
    )


@dataclasses.dataclass(frozen=True)
class Case:
    """What is asked."""

    bodies: list[Drawn]
    pairs: list[tuple[int, int]]


def case(count: int, seed: int = 0) -> Case:
    """12 moving against 24 fixed and the scan."""
    things, parts = stack(PARTS_COUNT), made_parts()
    rng = np.random.default_rng(seed)
    goes = set(range(1, PARTS_COUNT, 3))
    motions = engine()
    middle, half = motions.box()
    amounts = middle + half * rng.uniform(-1, 1, (count, len(half)))
    moves = np.array([motions.pose(one, np.eye(4)) for one in amounts])
    bodies = []
    for k, thing in enumerate(things):
        body = body_from_shape(thing.name, thing.shape)
        poses = drawn_poses(body, thing.pose, moves, rng) if k in goes else thing.pose
        kind = thing.name.split(".")[0]
        if thing.name.rsplit(" ", 1)[0] in SIZES:
            bodies.append(sized(thing, body, poses, parts[kind], rng, count))
        else:
            bodies.append(Drawn(body, poses))
    bodies.append(wall(bodies, goes))
    fixed = [k for k in range(len(bodies)) if k not in goes]
    return Case(bodies, [(i, j) for i in sorted(goes) for j in fixed])


def wall(bodies: list[Drawn], goes: set[int]) -> Drawn:
    """The scan, beside the part that comes nearest to it."""
    body = body_from_mesh("scan", *scan(), deflection_mm=0.3)
    place = np.eye(4)
    place[1, 3] = -100.0
    mean = {k: np.asarray(bodies[k].poses)[0] for k in goes}
    gaps = [tree_distance(bodies[k].body.tree, mean[k], body.tree, place)[0] for k in sorted(goes)]
    place[1, 3] -= min(gaps) - THRESHOLD_MM - 1.0
    return Drawn(body, place)


def at_sample(one: Drawn, sample: int, kept: dict[Any, Body]) -> tuple[Body, Any]:
    """The body built at a sample's sizes, and its pose."""
    poses = np.asarray(one.poses)
    pose = poses if poses.ndim == 2 else poses[sample]
    if one.build is None:
        return one.body, pose
    key = id(one), sample
    if key not in kept:
        kept[key] = one.build(np.asarray(one.sizes)[sample])
    return kept[key], pose


def mesh_distances(a: Drawn, b: Drawn, count: int) -> Any:
    """(n,) at the usual sizes, corrected by how distances follow the sizes in a few samples."""
    found = np.empty(count)
    stands = [np.broadcast_to(np.asarray(one.poses), (count, 4, 4)) for one in (a, b)]
    for k in range(count):
        found[k], _ = tree_distance(
            a.body.tree, stands[0][k], b.body.tree, stands[1][k], THRESHOLD_MM + 3
        )
    off = [np.asarray(one.sizes) - np.asarray(one.usual) for one in (a, b) if one.build]
    if off:
        columns, some = np.concatenate(off, axis=1), np.flatnonzero(found < THRESHOLD_MM + 2)[:12]
        change = []
        for k in some:
            (body_a, pose_a), (body_b, pose_b) = (at_sample(one, k, {}) for one in (a, b))
            change.append(tree_distance(body_a.tree, pose_a, body_b.tree, pose_b)[0] - found[k])
        if change:
            found += columns @ np.linalg.lstsq(columns[some], np.array(change), rcond=None)[0]
    return found


def judge(asked: Case, answer: Below, count: int, judged: int) -> None:
    """Compare with brute force nearest to the threshold, and at random."""
    biting = np.flatnonzero((answer.below_count + answer.undecided_count) > 0)
    found = []
    for k in biting:
        i, j = asked.pairs[k]
        off = np.abs(mesh_distances(asked.bodies[i], asked.bodies[j], count) - THRESHOLD_MM)
        found += [(float(off[n]), int(n), int(k)) for n in np.argsort(off)[: judged // 4]]
    nearest = [(n, k) for _, n, k in sorted(found)[:judged]]
    rng = np.random.default_rng(1)
    random = [
        (int(n), int(k))
        for n, k in zip(rng.integers(0, count, judged), rng.choice(biting, judged), strict=True)
    ]
    for words, some in (("nearest to the threshold", nearest), ("at random", random)):
        wrong = open_ = 0
        margin, kept = [], {}
        start = time.process_time()
        for n, k in some:
            i, j = asked.pairs[k]
            (a, pose_a), (b, pose_b) = (at_sample(asked.bodies[x], n, kept) for x in (i, j))
            truth = clearance(a, b, pose_a, pose_b)
            margin.append(abs(truth.distance_mm - THRESHOLD_MM))
            open_ += bool(answer.undecided[n, k])
            slack = 0.3 if "scan" in (a.name, b.name) else 0.0
            if answer.undecided[n, k]:
                continue
            said_below = bool(answer.below[n, k])
            if said_below and truth.bound_mm >= THRESHOLD_MM + slack:
                wrong += 1
                print("WRONG below", a.name, b.name, n, truth.distance_mm, truth.bound_mm)
            if not said_below and truth.distance_mm < THRESHOLD_MM:
                wrong += 1
                print("WRONG not below", a.name, b.name, n, truth.distance_mm, truth.bound_mm)
        spent = time.process_time() - start
        print(
            f"{len(some)} samples {words} (off by {min(margin):.1e} to {max(margin):.3f} mm): "
            f"{wrong} wrong, {open_} undecided; {spent / len(some) * 1e3:.0f} ms each"
        )


def main(samples: float = 10_000, judged: float = 300) -> None:
    """Print times, shares, effort, and what brute force says."""
    count = int(samples)
    print(machine())
    asked = case(count)
    for one in asked.bodies:
        _ = one.body.tree
    below([Drawn(one.body, np.eye(4)) for one in asked.bodies[:2]], [(0, 1)], 1.0)  # libraries
    start = time.process_time()
    answer = below(asked.bodies, asked.pairs, THRESHOLD_MM)
    spent = time.process_time() - start
    print(
        f"{spent:8.2f} s, {count} samples of {len(asked.pairs)} pairs, sizes of {len(SIZES)} drawn"
    )
    print(
        f"         {answer.measured} distances measured, {answer.exact} exact, "
        f"{answer.built} bodies built"
    )
    for k, (i, j) in enumerate(asked.pairs):
        share, open_ = answer.below_count[k] / count, answer.undecided_count[k]
        if 0 < share < 1 or open_:
            a, b = asked.bodies[i].body.name, asked.bodies[j].body.name
            print(f"         {share:6.1%} below, {open_:5d} undecided: {a} and {b}")
    scans = [k for k, pair in enumerate(asked.pairs) if len(asked.bodies) - 1 in pair]
    of_scan, all_open = (int(one.sum()) for one in (answer.undecided[:, scans], answer.undecided))
    print(
        f"         {all_open} verdicts undecided, {of_scan} of them within the scan's own "
        f"{asked.bodies[-1].body.mesh.bound_mm:g} mm"
    )
    share = (answer.below_count + answer.undecided_count) / count
    print(f"         {int(((share > 0.05) & (share < 0.95)).sum())} pairs with 5 % to 95 % below")
    print(f"         {answer.any_below.mean():.1%} of samples have some pair below")
    judge(asked, answer, count, int(judged))


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:]))
