"""A stack of parts to measure by: every kind of part there is, packed a few millimetres apart."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from noseroom.parts.registry import PARTS
from part_checks import every_choice

STACKED = (
    *("core support", "radiator", "condenser", "drier", "shroud", "electric fan", "engine"),
    *("water pump", "fan", "pulley", "crank pulley", "alternator", "compressor", "belt"),
    *("bracket", "hose", "grille", "bumper bar", "hood latch", "hood", "anti-roll bar"),
    *("steering link", "pitman arm", "box", "cylinder"),
)
"""The kinds that are stacked, in this order: new ones leave the stack as it was."""


@dataclass(frozen=True)
class Thing:
    """A shape with its place (4, 4)."""

    name: str
    shape: Any
    pose: Any


def usual_sizes(kind: str, rng: np.random.Generator) -> dict[str, Any]:
    """The usual size of everything, else one between a quarter and half of its range."""
    made: dict[str, Any] = {}
    for name, size in PARTS[kind].sizes().items():
        value = size.usual
        if value is None:
            value = size.low + (size.high - size.low) * rng.uniform(0.25, 0.5)
        made[name] = round(value) if size.measure == "count" else float(value)
    return made


def components(seed: int = 3) -> list[tuple[str, Any]]:
    """Name and shape of every component of every kind that can be built on its own."""
    rng = np.random.default_rng(seed)
    found = []
    for kind in STACKED:
        part = PARTS[kind]
        for choices in every_choice(part)[:1]:
            try:
                made = part(**usual_sizes(kind, rng), **choices)
                shapes = made.solids()
            except Exception as error:
                print(f"left out: {kind} ({type(error).__name__}: {error})"[:110])
                continue
            found += [
                (f"{kind}.{name}", shape)
                for name, shape in shapes.items()
                if name not in (*made.sweeps(), *made.unseen())
            ]
    return found


def stack(count: int = 35, seed: int = 3) -> list[Thing]:
    """`count` components one behind the other, a few mm apart; if there are fewer, once more."""
    rng = np.random.default_rng(seed)
    made, end = [*free_forms(), *components(seed)], 0.0
    things = []
    for n in range(count):
        name, shape = made[n % len(made)]
        box = shape.BoundingBox()
        low = np.array([box.xmin, (box.ymin + box.ymax) / 2, (box.zmin + box.zmax) / 2])
        place = np.array([end + rng.uniform(2, 12), *rng.uniform(-20, 20, 2)])
        pose = np.eye(4)
        pose[:3, 3] = place - low
        end = place[0] + box.xlen
        things.append(Thing(f"{name} {n}", shape, pose))
    return things


def free_forms() -> list[tuple[str, Any]]:
    """Twisted fans, ribbed pulleys, bent hoses, a belt: what the kernel finds hard."""
    import cadquery as cq

    found = []
    for size, (blades, ribs, bend) in enumerate([(6, 6, 60), (5, 4, 90)]):
        wing = cq.Workplane().rect(60 - 10 * size, 3).twistExtrude(150, 40)
        hub = cq.Workplane().cylinder(60, 40)
        fan = hub
        for k in range(blades):
            placed = wing.translate((0, 0, 30)).rotate((0, 0, 0), (1, 0, 0), 360 * k / blades)
            fan = fan.union(placed) if k else hub.rotate((0, 0, 0), (0, 1, 0), 90).union(placed)
        found.append(("twisted fan", fan.val()))
        radius = 70.0 - 15 * size
        outline = cq.Workplane("XZ").moveTo(20, 0).lineTo(radius, 0)
        for k in range(ribs):
            outline = outline.lineTo(radius - 4, 2 + 4 * k).lineTo(radius, 4 + 4 * k)
        pulley = outline.lineTo(20, 4 * ribs).close().revolve(360, (0, 0), (0, 1))
        found.append(("ribbed pulley", pulley.rotate((0, 0, 0), (0, 1, 0), 90).val()))
        # No bend is tighter than the hose is thick: a hose that crosses itself is no solid.
        path = cq.Workplane("XZ").spline([(0, 0), (25, bend), (60, 130), (85, 200)], [(0, 1)] * 2)
        found.append(("bent hose", cq.Workplane("XY").circle(19).circle(16).sweep(path).val()))
    belt = cq.Workplane("YZ").slot2D(260, 120).extrude(12).faces("<X or >X").shell(3)
    found.append(("belt", belt.val()))
    return found


def scan(triangles: int = 200_000, length_mm: float = 2500.0, seed: int = 4) -> tuple[Any, Any]:
    """Vertices and triangles of an open, bumpy wall beside the stack."""
    rng = np.random.default_rng(seed)
    n = round((triangles / 2) ** 0.5) + 1
    x, z = np.meshgrid(np.linspace(0, length_mm, n), np.linspace(-300, 300, n), indexing="ij")
    y = 480 + 15 * np.sin(x / 60) * np.cos(z / 45) + rng.normal(0, 0.3, x.shape)
    k = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    faces = np.concatenate([np.c_[k, k + 1, k + n], np.c_[k + 1, k + n + 1, k + n]])
    return np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1), faces
