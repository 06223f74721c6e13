"""All pairs of a stack of 35 parts and a scan, by this program and by what one would do otherwise.

Run: python tests/benchmarks/core_stack.py [share of the exact pairs to time, 0..1]
         [0 to leave out the larger stacks]

The same pairs, cap and meshes on both sides; the time to make the meshes counts for every method
that needs them. This program starts from shapes and the scan's arrays each time, with nothing
kept from the time before; "meshes there already" leaves out the parts' meshes and their trees.
CadQuery's distance cannot measure a scan; it is asked for the other pairs. With a share below 1
every k-th pair is timed and the sum scaled up, and the line says so. Seconds are of the
processor, so that what else runs on the machine does not count.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np
from machine import machine
from stack import Thing, scan, stack

from noseroom.geometry.all_pairs import all_pairs
from noseroom.geometry.clearance import Relation
from noseroom.geometry.kernel import transformed
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from noseroom.tolerances import DEFAULT

CAP_MM = 50.0
PARTS = 35


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of the processor, and result."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def meshed(things: list[Thing]) -> list[Body]:
    """Bodies of the stack, with their trees."""
    bodies = [body_from_shape(one.name, one.shape) for one in things]
    for body in bodies:
        _ = body.tree
    return bodies


def cadquery_distances(things: list[Thing], share: float) -> tuple[float, dict[Any, float]]:
    """Seconds for all pairs, and the distances that were asked for."""
    shapes = [transformed(one.shape, one.pose) for one in things]
    pairs = list(combinations(range(len(things)), 2))
    some = pairs[:: max(1, round(1 / share))]
    seconds, found = timed(lambda: {(i, j): shapes[i].distance(shapes[j]) for i, j in some})
    return seconds * len(pairs) / len(some), found


def trimesh_distances(
    bodies: list[Body], poses: list[Any], *, cached: bool
) -> tuple[float, dict[Any, float]]:
    """Seconds, and distances of all pairs, by trimesh's collision manager.

    naive: a manager of the one, asked for the distance of the other's mesh, pair by pair; cached:
    a manager for each body, kept.
    """
    import trimesh

    meshes = [
        trimesh.Trimesh(body.mesh.vertices, body.mesh.triangles, process=False) for body in bodies
    ]
    pairs = list(combinations(range(len(bodies)), 2))
    found = {}
    start = time.process_time()
    managers = []
    for mesh, pose in zip(meshes, poses, strict=True):
        manager = trimesh.collision.CollisionManager()
        manager.add_object("one", mesh, pose)
        managers.append(manager)
    for i, j in pairs:
        if cached:
            found[i, j] = managers[i].min_distance_other(managers[j])
        else:
            found[i, j] = managers[i].min_distance_single(meshes[j], poses[j])
    return time.process_time() - start, found


def main(share: float = 0.1, scale: float = 1) -> None:
    """Print times, ratios, differences and the machine."""
    print(machine())
    things = stack(PARTS)
    poses = [one.pose for one in things]
    surface = scan()
    print(f"{PARTS} parts, {len(surface[1])} triangles of scan, cap {CAP_MM:g} mm")

    all_pairs(meshed(things[:3]), poses[:3], CAP_MM)  # libraries are loaded before the clock starts
    tessellation, bodies = timed(lambda: meshed(things))
    first, parts_only = timed(lambda: all_pairs(bodies, poses, CAP_MM))
    ours = tessellation + first
    tessellation_scan, fresh = timed(lambda: meshed(things))
    wall = body_from_mesh("scan", *surface, deflection_mm=0.3)
    everything, places = [*fresh, wall], [*poses, np.eye(4)]
    second, found = timed(lambda: all_pairs(everything, places, CAP_MM))
    ours_scan = tessellation_scan + second
    print(f"{tessellation:8.2f} s meshes of the parts with their trees")
    relations = dict.fromkeys(Relation, 0)
    for one in found.near.values():
        relations[one.relation] += 1
    print(f"{first:8.2f} s this program, parts only; {second:.2f} s with the scan, asked afresh")
    print(f"         {found.asked} pairs, {len(found.near)} within the cap: {relations}")

    exact, truth = cadquery_distances(things, share)
    print(f"{exact:8.2f} s CadQuery distance, {len(truth)} of {parts_only.asked} pairs timed")
    worst = {True: 0.0, False: 0.0}
    for pair, apart in truth.items():
        one = parts_only.near.get(pair)
        if one is not None and one.relation is Relation.APART:
            near = apart < DEFAULT.exact_below_mm
            worst[near] = max(worst[near], abs(one.distance_mm - apart))
            assert one.bound_mm <= apart + 1e-6, (pair, one, apart)
        elif one is None:
            assert apart >= CAP_MM - 1e-6, pair
    print(
        f"         largest difference {worst[True]:.1e} mm below {DEFAULT.exact_below_mm:g} mm,"
        f" {worst[False]:.1e} mm beyond; no bound above the kernel's distance"
    )
    print(f"RATIO {exact / ours:.0f} of all pairs exact to this program, meshes counted here only")
    print(f"RATIO {exact / first:.0f} the same once the meshes are there")

    cached, _ = trimesh_distances(everything, places, cached=True)
    naive, _ = trimesh_distances(everything, places, cached=False)
    print(f"{naive:8.2f} s trimesh, naive; {cached:.2f} s cached (meshes not counted)")
    print(f"RATIO {(naive + tessellation) / ours_scan:.1f} naive to this program, meshes counted")
    print(f"RATIO {naive / second:.1f} naive to this program, meshes there already")
    print(f"RATIO {(cached + tessellation) / ours_scan:.2f} cached to this program, meshes counted")
    print(f"RATIO {cached / second:.2f} cached to this program, meshes there already")

    for count in (30, 100, 300) if scale else ():
        many = stack(count)
        kept = {one.shape: body for one, body in zip(things, bodies, strict=True)}
        some = [kept.get(one.shape) or body_from_shape(one.name, one.shape) for one in many]
        for body in some:
            _ = body.tree
        again, answer = timed(lambda s=some, m=many: all_pairs(s, [o.pose for o in m], CAP_MM))
        print(f"{again:8.2f} s {count} parts, {len(answer.near)} of {answer.asked} pairs near")


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:]))
