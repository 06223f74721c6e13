"""Parts of every kind at random sizes, each meshed twice: as the program does it, and finely.

A hose gets a run between ports that are drawn too, a belt a few pulleys, a scan a surface in a
file's bytes that goes through the whole reader. A mark has no body.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from noseroom.errors import GeometryError
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from noseroom.geometry.scan_types import Limits
from noseroom.geometry.scan_worker import scan_from
from noseroom.parts.base import Part, Port
from noseroom.parts.registry import PARTS
from noseroom.parts.runs import hose_run
from noseroom.parts.scan import UNSEEN, ScannedPart, ScanShape
from noseroom.tolerances import Tolerances
from part_checks import every_choice, random_sizes
from scan_makers import as_soup, ball, box, panel, stl, tub

Floats = Any
KINDS = tuple(PARTS)
FINE = Tolerances(tessellation_mm=0.008, tessellation_rad=0.07)
LESS_FINE = Tolerances(tessellation_mm=0.03, tessellation_rad=0.2)
_MANY = 8_000
"""Coarse triangles of a body whose finest mesh would have hundreds of thousands."""
_SCAN_TRIANGLES = 6_000


@dataclass(frozen=True, eq=False)
class Made:
    """One component: the body under test, and the judge's finer one.

    shape: None for a scan. fine: a CAD part meshed finely, or the triangles of a scan as they were
    before they were thinned out, which are its metal give or take `off_mm`.
    """

    name: str
    shape: Any
    body: Body
    fine: Body
    off_mm: float = 0.0

    @property
    def reach(self) -> float:
        """Radius about the middle of its box."""
        low, high = self.body.mesh.box_mm
        return float(np.linalg.norm(high - low) / 2)

    @property
    def middle(self) -> Any:
        """Of its box, (3,)."""
        return self.body.mesh.box_mm.mean(axis=0)


def random_part(kind: str, rng: np.random.Generator) -> Part:
    """A part of a kind, every size anywhere in its range, every choice any of its words."""
    part = PARTS[kind]
    choices = every_choice(part)
    given = {**random_sizes(part, rng), **choices[int(rng.integers(len(choices)))]}
    if kind == "hose":
        ports = [_port(rng, 0.0), _port(rng, 500.0)][: int(rng.integers(1, 3))]
        run = hose_run(ports, given["stub_mm"], np.eye(4))
        given |= {"run": run, "on_ports": len(ports)}
    if kind == "belt":
        given["run"] = _pulleys(rng)
    return part(**given)


def made_components(
    kinds: Sequence[str], rng: np.random.Generator, most: int = 3
) -> tuple[list[Made], list[str]]:
    """Up to `most` components of each kind, and what could not be made, with the reason."""
    found: list[Made] = []
    left_out: list[str] = []
    for kind in kinds:
        try:
            made = list(_scanned(rng) if kind == "scan" else _solid(kind, rng))
        except GeometryError as error:
            left_out.append(f"{kind}: {error}")
            continue
        found += [made[k] for k in rng.permutation(len(made))[:most]]
    return found, left_out


def _solid(kind: str, rng: np.random.Generator) -> Iterator[Made]:
    for name, shape in random_part(kind, rng).solids().items():
        body = body_from_shape(name, shape)
        finely = FINE if len(body.mesh.triangles) < _MANY else LESS_FINE
        yield Made(f"{kind}.{name}", shape, body, body_from_shape(name, shape, finely))


def _scanned(rng: np.random.Generator) -> Iterator[Made]:
    """What was seen of a panel, a ball, a box or a tub, and what was not."""
    columns = int(rng.integers(20, 90))
    points, triangles = [
        lambda: panel(columns, 2 * columns // 3, noise_mm=0.1, seed=int(rng.integers(1 << 30))),
        lambda: ball(float(rng.uniform(20, 150)), columns, columns // 2),
        lambda: box((0, 0, 0), tuple(rng.uniform(20, 300, 3))),
        lambda: tub(float(rng.uniform(60, 300)), float(rng.uniform(40, 200)), 12),
    ][int(rng.integers(4))]()
    soup = as_soup(points, triangles).astype("<f4")
    if rng.random() < 0.5:
        soup = np.delete(soup, np.arange(len(soup) // 3, len(soup) // 3 + 4), axis=0)
    scan = scan_from(stl(soup), "stl", 1.0, _SCAN_TRIANGLES if columns < 60 else 1_500, Limits())
    shape = ScanShape(scan, np.eye(3), {}, open_edge=bool(rng.random() < 0.5))
    part = ScannedPart(**random_sizes(ScannedPart, rng), shape=shape)
    for name, mesh in part.meshes().items():
        body = body_from_mesh(name, mesh.vertices, mesh.triangles, deflection_mm=mesh.deflection_mm)
        fine, off = body, 0.0
        if name != UNSEEN:
            corners = shape.local(soup.reshape(-1, 3))
            numbers = np.arange(len(corners)).reshape(-1, 3)
            fine = body_from_mesh(name, corners, numbers, deflection_mm=0.0)
            off = part.accuracy_mm
        yield Made(f"scan.{name}", None, body, fine, off)


def _port(rng: np.random.Generator, away_mm: float) -> Port:
    way = rng.normal(size=3)
    point = rng.normal(size=3)
    point *= away_mm * rng.uniform(0.2, 1.0) / np.linalg.norm(point)
    return Port(point, way / np.linalg.norm(way), 0.0)


def _pulleys(rng: np.random.Generator) -> tuple[tuple[float, float, float], ...]:
    """Two to five circles (y, z, r) mm that do not overlap."""
    circles: list[tuple[float, float, float]] = []
    wanted = int(rng.integers(2, 6))
    while len(circles) < wanted:
        y, z, radius = *rng.uniform(-250, 250, 2), rng.uniform(25, 100)
        if all(np.hypot(y - v, z - w) > radius + r + 5 for v, w, r in circles):
            circles.append((float(y), float(z), float(radius)))
    return tuple(circles)
