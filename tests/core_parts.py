"""Parts of random sizes, each meshed twice: as the program does it, and finely as a judge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from noseroom.geometry.kernel import transformed
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.geometry.trees import tree_distance
from noseroom.parts.registry import PARTS
from noseroom.tolerances import Tolerances
from part_checks import every_choice, random_sizes

FINE = Tolerances(tessellation_mm=0.008, tessellation_rad=0.07)
MOST_FACES = 60


@dataclass(frozen=True, eq=False)
class Made:
    """One component: its shape, the body under test, and the judge's finer one."""

    name: str
    shape: Any
    body: Body
    fine: Body

    @property
    def reach(self) -> float:
        """Radius about the middle of its box."""
        low, high = self.body.mesh.box_mm
        return float(np.linalg.norm(high - low) / 2)

    @property
    def middle(self) -> Any:
        """Of its box, (3,)."""
        return self.body.mesh.box_mm.mean(axis=0)


def made_components(kinds: list[str], rng: np.random.Generator, most: int = 3) -> list[Made]:
    """Up to `most` components of each kind, at random sizes."""
    found = []
    for kind in kinds:
        part = PARTS[kind]
        choices = every_choice(part)
        try:
            made = part(**random_sizes(part, rng), **choices[int(rng.integers(len(choices)))])
            shapes = [x for x in made.solids().items() if x[0] not in made.sweeps()]
        except Exception as error:  # a hose or a scan is nothing by itself
            print(f"left out: {kind} ({type(error).__name__})")
            continue
        for k in rng.permutation(len(shapes))[:most]:
            name, shape = shapes[k]
            body = body_from_shape(name, shape)
            if len(body.faces) <= MOST_FACES:
                fine = body_from_shape(name, shape, FINE)
                found.append(Made(f"{kind}.{name}", shape, body, fine))
    return found


def judged(a: Made, pose_a: Any, b: Made, pose_b: Any) -> tuple[float, float]:
    """Least and most that the gap of the surfaces can be, by two methods that agree.

    The fine meshes bracket it by their own chord errors; the kernel's distance of the whole
    shapes is one of two points that are there, so that it can only lower the upper end.
    """
    apart, _ = tree_distance(a.fine.tree, pose_a, b.fine.tree, pose_b)
    slack = a.fine.mesh.bound_mm + b.fine.mesh.bound_mm + 1e-7
    kernel = transformed(a.shape, pose_a).distance(transformed(b.shape, pose_b))
    assert kernel >= apart - slack, f"the judges differ: {kernel} and {apart} for {a.name}/{b.name}"
    return max(0.0, apart - slack), min(apart + slack, float(kernel))
