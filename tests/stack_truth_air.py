"""The judge's network of a car in a state: which cells give air to which, and by which law."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stack_truth_cars import TrueCar
from stack_truth_grid import Grid, Network, disc, grid_of, opening_law, plate, ring_points
from stack_truth_laws import CoreTable, core_table, density, fan_law, plate_loss

Floats = NDArray[np.float64]

__all__ = ["CarAir"]

_ALONG = 4.0
"""Loss a metre of air that goes on along a layer, on its own velocity: what comes in on the way has
to be brought to speed, a velocity head or two over half a face."""
_FRICTION = 0.06
"""Darcy's factor between the walls of a layer."""
_EDGE = 1.0 / 0.68**2
_ROUGH = 1.0 / 0.62**2


class CarAir:
    """Air of a car.

    Nodes: cells ahead, in the gap (those covered), behind; near bay, bay; then the outside and what
    is below the car. ram, below: Pa. fan_rpm: of the blades. pascal: of the day.
    """

    def __init__(
        self, car: TrueCar, size: float, ram: float, below: float, fan_rpm: float, pascal: float
    ) -> None:
        self.car, self.rpm, self.pascal = car, fan_rpm, pascal
        self.grid: Grid = grid_of(car, size)
        n = len(self.grid.y)
        self.front = np.arange(n)
        self.covered = np.flatnonzero(self.grid.kind > 0)
        self.gap = np.full(n, -1)
        self.gap[self.covered] = n + np.arange(len(self.covered))
        self.rear = n + len(self.covered) + np.arange(n)
        last = int(self.rear[-1])
        self.near, self.bay, self.outside, self.under = last + 1, last + 2, last + 3, last + 4
        self.net = Network(last + 3, np.array([ram, below]))
        self.core = np.flatnonzero(self.grid.kind == 1)
        self.ahead = np.where(self.grid.kind > 0, self.gap, self.front)
        self.condenser: CoreTable | None = None
        self.radiator: CoreTable | None = None

    def laws(self, kelvin: Floats) -> None:
        """All ways anew for the temperatures of all nodes."""
        mean = lambda nodes: float(kelvin[nodes].mean())  # noqa: E731
        rho = lambda nodes: float(density(mean(nodes), self.pascal))  # noqa: E731
        outside, front = rho([self.outside]), rho(self.front)
        behind, near, bay = rho(self.rear), rho([self.near]), rho([self.bay])
        self._ahead(outside, front, near)
        if self.car.condenser is not None:
            gap = mean(self.gap[self.covered])
            self.condenser = core_table(self.car.condenser, mean(self.front), gap, self.pascal)
            self._through("condenser", self.condenser, self.front, self.gap, self.core)
            self._in_gap(float(density(gap, self.pascal)), front)
        self.radiator = core_table(
            self.car.radiator, mean(self.ahead), mean(self.rear), self.pascal
        )
        every = np.arange(len(self.grid.y))
        self._through("radiator", self.radiator, self.ahead, self.rear, every)
        self._behind(behind, near)
        car, net = self.car, self.net
        out = np.array([car.bay_out])
        net.put("bay", self.near, self.bay, opening_law(np.array([car.near_bay]), 1.3, near))
        far = opening_law(out * (1.0 - car.near_out), car.bay_loss, bay)
        net.put("out far", self.bay, self.under, far)
        close = opening_law(out * car.near_out, car.bay_loss, near)
        net.put("out near", self.near, self.under, close)

    def _through(
        self,
        name: str,
        table: CoreTable,
        start: NDArray[np.int_],
        end: NDArray[np.int_],
        cells: NDArray[np.int_],
    ) -> None:
        area = self.grid.area[cells]

        def law(drop: Floats) -> tuple[Floats, Floats]:
            flow, slope = table.flow(drop)
            return area * flow, area * slope

        self.net.put(name, start[cells], end[cells], law, cells)

    def _ahead(self, outside: float, front: float, near: float) -> None:
        """Grille, along the front, and past the radiator's edges."""
        car, grid, net = self.car, self.grid, self.net
        steps = (np.arange(60) + 0.5) / 60 - 0.5
        y, z = np.meshgrid(car.grille_w * steps, car.grille_z + car.grille_h * steps)
        share = np.bincount(grid.nearest(y.ravel(), z.ravel()), minlength=len(grid.y)) / 3600.0
        met = np.flatnonzero(share)
        loss = 1.0 + plate_loss(car.grille_open) + car.grille_turn
        area = share[met] * car.grille_w * car.grille_h
        net.put("grille", self.outside, self.front[met], opening_law(area, loss, outside), met)
        self._along("front", self.front, car.front_depth, front)
        margin = {"side": car.margin_y, "end": car.margin_z - 0.055}
        for k, (where, cells, length) in enumerate(grid.edges()):
            open_ = length * margin[where] * car.beside
            law = opening_law(open_, _ROUGH, near)
            net.put(f"beside {k}", self.front[cells], self.near, law, cells)

    def _along(
        self,
        name: str,
        layer: NDArray[np.int_],
        deep: float,
        rho: float,
        passes: Floats | None = None,
    ) -> None:
        """Along a layer from cell to cell. passes: by cell; where it differs there is a wall."""
        grid = self.grid
        for k, (a, b, side) in enumerate(grid.sides()):
            both = (layer[a] >= 0) & (layer[b] >= 0)
            far = np.hypot(grid.y[b] - grid.y[a], grid.z[b] - grid.z[a])
            loss = far * (_ALONG + _FRICTION / (2.0 * deep))
            open_ = 1.0 if passes is None else 1.0 - np.abs(passes[a] - passes[b])
            area = np.maximum(side * deep * open_, 1e-8)
            law = opening_law(area[both], loss[both], rho)
            self.net.put(f"{name} {k}", layer[a[both]], layer[b[both]], law, a[both])

    def _in_gap(self, rho: float, front: float) -> None:
        """Along the gap, and in at its rim."""
        car, grid = self.car, self.grid
        self._along("gap", self.gap, car.gap, rho)
        start, end, length = [], [], []
        for a, b, side in grid.sides():
            for here, there in ((a, b), (b, a)):
                rim = (grid.kind[here] == 0) & (grid.kind[there] > 0)
                start.append(self.front[here[rim]])
                end.append(self.gap[there[rim]])
                length.append(side[rim])
        for _, cells, side in grid.edges():
            at = grid.kind[cells] > 0
            start.append(self.front[cells[at]])
            end.append(self.gap[cells[at]])
            length.append(side[at])
        area = np.concatenate(length) * car.gap * car.rim
        law = opening_law(np.maximum(area, 1e-9), _EDGE, front)
        self.net.put("rim", np.concatenate(start), np.concatenate(end), law)

    def _behind(self, rho: float, near: float) -> None:
        """Along the space behind the radiator, the fan's ring, and what is open round it."""
        car, grid, fan = self.car, self.grid, self.car.fan
        y, z, length = ring_points(car)
        tips = np.bincount(grid.nearest(y, z), minlength=len(grid.y)) * length * fan.tip_gap
        swept = grid.area * grid.inside(disc(car, fan.hub / 2, fan.diameter / 2))
        within = grid.area * grid.inside(disc(car, 0.0, fan.diameter / 2))
        deep = fan.standoff
        if fan.kind == "shrouded":
            closed = np.ones(len(grid.y))
            deep = fan.standoff + 0.3 * fan.width
        elif fan.kind == "puller":
            closed = np.round(grid.inside(plate(car)))
            deep = 0.035
        else:
            closed, tips = within / grid.area, 0.0 * tips
        # A puller's plate has a wall round it.
        self._along("rear", self.rear, deep, rho, closed if fan.kind == "puller" else None)
        cells = np.flatnonzero(swept > 1e-7)
        radius = np.hypot(grid.y - fan.off_y, grid.z - fan.off_z)[cells]
        radius = np.clip(radius, 0.52 * fan.hub, 0.49 * fan.diameter)
        speed, _, _ = fan_law(fan, radius, self.rpm, rho)
        area = swept[cells]

        def law(drop: Floats) -> tuple[Floats, Floats]:
            flow, slope = speed(-drop)
            return rho * area * flow, -rho * area * slope

        if self.rpm > 0 or fan.kind == "puller":
            self.net.put("fan", self.rear[cells], self.near, law, cells)
        open_ = grid.area * (1.0 - closed)
        free = np.flatnonzero(open_ > 1e-6)
        window = opening_law(open_[free], 1.0 + fan.blocked, rho)
        self.net.put("window", self.rear[free], self.near, window, free)
        seams = tips + (5e-4 * grid.area if fan.kind != "open" else 0.0)
        leaks = np.flatnonzero(seams > 1e-8)
        leak = opening_law(np.asarray(seams)[leaks], 1.9, near)
        self.net.put("leak", self.near, self.rear[leaks], leak, leaks)
