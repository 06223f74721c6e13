"""The judge's air: three layers of cells (ahead of the stack, in the gap, behind it), and the bay.

A cell of the face has a pressure in each layer that it has; air goes from layer to layer through
the cores, along a layer from cell to cell, and into or out of it at rims. So leaks lie where the
rims are, the fan draws most where its blades are fast, and what comes back from the bay warms the
cells next to where it comes in.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import spsolve

from stack_truth_cars import TrueCar

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]
Law = Callable[[Floats], tuple[Floats, Floats]]

__all__ = ["Grid", "Group", "Network", "grid_of", "opening_law"]

_SMALL_PA = 1e-2
_SAMPLES = 9
_SLIVER = 2e-3


@dataclass(frozen=True, eq=False)
class Grid:
    """Cells, row by row from the bottom. y, z: of their middles, m; dy, dz: sides.

    kind: 0 bare, 1 before the condenser's core, 2 before a header.
    """

    columns: int
    rows: int
    y: Floats
    z: Floats
    dy: Floats
    dz: Floats
    kind: Ints

    @property
    def area(self) -> Floats:
        """m² each."""
        return self.dy * self.dz

    def sides(self) -> list[tuple[Ints, Ints, Floats]]:
        """Pairs of neighbours with the length of the side between them: across, then up."""
        at = np.arange(len(self.y)).reshape(self.rows, self.columns)
        return [
            (at[:, :-1].ravel(), at[:, 1:].ravel(), self.dz.reshape(at.shape)[:, 1:].ravel()),
            (at[:-1].ravel(), at[1:].ravel(), self.dy.reshape(at.shape)[1:].ravel()),
        ]

    def edges(self) -> list[tuple[str, Ints, Floats]]:
        """Cells at the face's own four edges, with their lengths there."""
        at = np.arange(len(self.y)).reshape(self.rows, self.columns)
        return [
            ("side", at[:, 0], self.dz[at[:, 0]]),
            ("side", at[:, -1], self.dz[at[:, -1]]),
            ("end", at[0], self.dy[at[0]]),
            ("end", at[-1], self.dy[at[-1]]),
        ]

    def nearest(self, y: Floats, z: Floats) -> Ints:
        """The cell at each point, or the one nearest to a point beyond the face."""
        ends_y = np.cumsum(self.dy[: self.columns]) + self.y[0] - self.dy[0] / 2
        column_z = self.dz.reshape(self.rows, self.columns)[:, 0]
        ends_z = np.cumsum(column_z) + self.z[0] - self.dz[0] / 2
        j = np.minimum(np.searchsorted(ends_y, y), self.columns - 1)
        i = np.minimum(np.searchsorted(ends_z, z), self.rows - 1)
        return np.asarray(i * self.columns + j)

    def inside(self, test: Callable[[Floats, Floats], NDArray[np.bool_]]) -> Floats:
        """Share of each cell for which a test of (y, z) holds."""
        steps = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
        yy = self.y[:, None, None] + self.dy[:, None, None] * steps[None, :, None]
        zz = self.z[:, None, None] + self.dz[:, None, None] * steps[None, None, :]
        return np.asarray(test(yy + 0 * zz, zz + 0 * yy).mean(axis=(1, 2)))


def grid_of(car: TrueCar, size: float) -> Grid:
    """A grid with lines on the rims of condenser and plate. size: of a cell, m, about."""
    marks_y, marks_z = [-car.width / 2, car.width / 2], [-car.height / 2, car.height / 2]
    core_y, core_z = (car.face_y, car.face_z) if car.condenser else ((9, 9), (9, 9))
    wide = (core_y[0] - car.header, core_y[1] + car.header)
    if car.condenser:
        marks_y += [*core_y, *wide]
        marks_z += [*core_z]
    if car.fan.kind == "puller":
        half, fan = car.fan.plate, car.fan
        marks_y += [fan.off_y - half, fan.off_y + half]
        marks_z += [fan.off_z - half, fan.off_z + half]
    ends_y, ends_z = _lines(marks_y, car.width / 2, size), _lines(marks_z, car.height / 2, size)
    y, z = (ends_y[1:] + ends_y[:-1]) / 2, (ends_z[1:] + ends_z[:-1]) / 2
    yy, zz = np.meshgrid(y, z)
    dy, dz = np.meshgrid(np.diff(ends_y), np.diff(ends_z))
    high = (core_z[0] < zz) & (zz < core_z[1])
    core = high & (core_y[0] < yy) & (yy < core_y[1])
    header = high & ~core & (wide[0] < yy) & (yy < wide[1])
    kind = np.where(core, 1, np.where(header, 2, 0)).ravel()
    return Grid(len(y), len(z), yy.ravel(), zz.ravel(), dy.ravel(), dz.ravel(), kind)


def _lines(marks: list[float], most: float, size: float) -> Floats:
    """Marks within ±most, but for slivers, and lines evenly between."""
    kept = [-most]
    for one in sorted(marks):
        if kept[-1] + _SLIVER < one < most - _SLIVER:
            kept.append(one)
    kept.append(most)
    found = [-most]
    for low, high in pairwise(kept):
        found += list(np.linspace(low, high, max(1, round((high - low) / size)) + 1)[1:])
    return np.array(found)


def opening_law(area: Floats, loss: Any, rho: float) -> Law:
    """Square law of openings, kg/s by Pa, rounded off within a hundredth of a pascal."""
    scale = area * np.sqrt(2.0 * rho / np.asarray(loss, dtype=float))

    def law(drop: Floats) -> tuple[Floats, Floats]:
        root = drop**2 + _SMALL_PA**2
        return scale * drop * root**-0.25, scale * root**-0.25 * (1.0 - 0.5 * drop**2 / root)

    return law


@dataclass(eq=False)
class Group:
    """Ways of one kind: from nodes to nodes, kg/s by drop of pressure."""

    name: str
    start: Ints
    end: Ints
    law: Law
    cells: Ints
    flow: Floats


class Network:
    """Nodes and groups. fixed: pressures of the last nodes, Pa."""

    def __init__(self, nodes: int, fixed: Floats) -> None:
        self.nodes, self.fixed = nodes, fixed
        self.groups: dict[str, Group] = {}
        self.pressure = np.concatenate([np.zeros(nodes), fixed])

    def put(self, name: str, start: Any, end: Any, law: Law, cells: Any = None) -> None:
        """A group, or its law anew. cells: where on the face each lies."""
        start, end = np.broadcast_arrays(np.atleast_1d(start), np.atleast_1d(end))
        where = start if cells is None else np.broadcast_to(cells, start.shape)
        if len(start):
            self.groups[name] = Group(name, start, end, law, where, np.zeros(len(start)))

    def _residual(self, pressure: Floats) -> tuple[Floats, Floats]:
        gap = np.zeros(len(pressure))
        slopes = []
        for one in self.groups.values():
            one.flow, slope = one.law(pressure[one.start] - pressure[one.end])
            np.add.at(gap, one.start, -one.flow)
            np.add.at(gap, one.end, one.flow)
            slopes.append(slope)
        return gap[: self.nodes], np.concatenate(slopes)

    def solve(self, within: float = 1e-9, most: int = 200) -> int:
        """Newton with halved steps until no node loses mass; the number of steps it took."""
        a = np.concatenate([one.start for one in self.groups.values()])
        b = np.concatenate([one.end for one in self.groups.values()])
        size = len(self.pressure)
        gap, slope = self._residual(self.pressure)
        for count in range(most):
            norm = float(np.abs(gap).max())
            if norm < within:
                return count
            matrix = sparse.coo_matrix(
                (
                    np.concatenate([slope, slope, -slope, -slope]),
                    (np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a])),
                ),
                shape=(size, size),
            ).tocsc()[: self.nodes, : self.nodes]
            step = spsolve(matrix, gap)
            share, total = 1.0, float(gap @ gap)
            for _ in range(30):
                trial = self.pressure.copy()
                trial[: self.nodes] += share * step
                new, slope = self._residual(trial)
                if float(new @ new) < total * (1.0 - 0.2 * share) or share < 1e-3:
                    break
                share /= 2.0
            self.pressure, gap = trial, new
        raise ArithmeticError(f"the judge's air does not settle: {norm:.1e} kg/s are left")

    def mixed(self, capacity: float, put: Floats, known: Floats, heat: dict[str, Floats]) -> Floats:
        """K of all nodes where streams mix. put: W into nodes; known: K of the fixed nodes.

        heat: W that each way of a group puts into its air.
        """
        size = len(self.pressure)
        diagonal, right = np.zeros(size), put.copy()
        rows, columns, values = [], [], []
        for name, one in self.groups.items():
            forth = one.flow >= 0
            donor, taker = np.where(forth, one.start, one.end), np.where(forth, one.end, one.start)
            stream = np.abs(one.flow) * capacity + 1e-9
            np.add.at(diagonal, taker, stream)
            rows.append(taker), columns.append(donor), values.append(-stream)
            if name in heat:
                np.add.at(right, taker, heat[name])
        n = self.nodes
        matrix = sparse.coo_matrix(
            (
                np.concatenate([diagonal, *values]),
                (
                    np.concatenate([np.arange(size), *rows]),
                    np.concatenate([np.arange(size), *columns]),
                ),
            ),
            shape=(size, size),
        ).tocsc()
        found = spsolve(matrix[:n, :n], right[:n] - matrix[:n, n:] @ known)
        return np.concatenate([found, known])


def disc(car: TrueCar, inner: float, outer: float) -> Callable[[Floats, Floats], Any]:
    """Whether points lie between two radii of the fan's axis."""
    fan = car.fan

    def test(y: Floats, z: Floats) -> Any:
        r2 = (y - fan.off_y) ** 2 + (z - fan.off_z) ** 2
        return (inner**2 <= r2) & (r2 < outer**2)

    return test


def plate(car: TrueCar) -> Callable[[Floats, Floats], Any]:
    """Whether points lie behind a puller's plate."""
    half, fan = car.fan.plate, car.fan

    def test(y: Floats, z: Floats) -> Any:
        return (np.abs(y - fan.off_y) < half) & (np.abs(z - fan.off_z) < half)

    return test


def ring_points(car: TrueCar, count: int = 72) -> tuple[Floats, Floats, float]:
    """Points round the fan's tips, with the length of tip that each stands for."""
    turn = 2.0 * math.pi * (np.arange(count) + 0.5) / count
    r = car.fan.diameter / 2.0
    return (
        car.fan.off_y + r * np.cos(turn),
        car.fan.off_z + r * np.sin(turn),
        2.0 * math.pi * r / count,
    )
