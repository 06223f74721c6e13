"""Finite elements for one block of bricks: how it gives, where it is stressed, how it rings.

Linear elastic bricks of 27 nodes, by scikit-fem (the extra `strength`); its elements, mapping and
quadrature, with the element matrices summed in one go. N, mm, MPa, kg.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import MissingLibraryError
from noseroom.physics.beams import KG_PER_TONNE

__all__ = ["Held", "SolidBlock", "Standing", "Surface"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_TONNE_MM3 = 1e-12
_ORDER = 4
"""Quadrature that takes 27-node bricks in full."""


@dataclass(frozen=True, eq=False)
class Held:
    """A block, clamped and loaded.

    clamped: (a, b, c), nodes that stay where they are. gripped: (a, b, c), nodes that move as one
    stiff piece. at: (3,) mm, the point on that piece where the load acts and the mass sits.
    """

    clamped: Bools
    gripped: Bools
    at: Floats


@dataclass(frozen=True, eq=False)
class Surface:
    """Stress on both faces, in the middle of each brick's.

    points: (n, m, 2, 3) mm, brick by brick, underside and upper side. mpa: (n, m, 2), von Mises,
    for 1 N in the direction that is worst there.
    """

    points: Floats
    mpa: Floats


@dataclass(frozen=True, eq=False)
class SolidBlock:
    """A block of n × m × k bricks. nodes: (2 n + 1, 2 m + 1, 2 k + 1, 3) mm, with middle nodes.

    Raises MissingLibraryError where scikit-fem is not there, ValueError for bricks that are inside
    out.
    """

    nodes: Floats
    e_mpa: float
    poisson: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        if any(size < 3 or size % 2 == 0 for size in self.nodes.shape[:3]):
            raise ValueError(f"found nodes {self.nodes.shape[:3]}; expected an odd number each way")
        volumes = self._basis.mapping.detDF(self._basis.X) * np.linalg.det(self._turn)
        if float(volumes.min()) <= 0.0:
            raise ValueError("a brick of the mesh is inside out")

    @property
    def bricks(self) -> tuple[int, int, int]:
        """Along, across, through."""
        a, b, c = (size // 2 for size in self.nodes.shape[:3])
        return a, b, c

    @cached_property
    def _mesh(self) -> Any:
        fem = _library()
        a, b, c = self.bricks
        plain = fem.MeshHex.init_tensor(*(np.arange(n + 1.0) for n in (a, b, c)))
        mesh = fem.MeshHex2.from_mesh(plain)
        steps = np.rint(2.0 * mesh.doflocs).astype(np.int64)
        return replace(mesh, doflocs=self.nodes[tuple(steps)].T.copy()), steps

    @cached_property
    def numbers(self) -> NDArray[np.int64]:
        """The library's number of each node, (a, b, c)."""
        _, steps = self._mesh
        numbers = np.empty(self.nodes.shape[:3], dtype=np.int64)
        numbers[tuple(steps)] = np.arange(steps.shape[1])
        return numbers

    @cached_property
    def _basis(self) -> Any:
        fem = _library()
        return fem.Basis(self._mesh[0], fem.ElementHex2(), intorder=_ORDER)

    @cached_property
    def stiffness(self) -> Any:
        """Sparse (3 N, 3 N), node by node, N/mm."""
        lame, shear = self._moduli
        basis = self._basis
        grad = np.array([one[0].grad for one in basis.basis])  # (27, 3, bricks, points)
        bricks, points = basis.dx.shape
        rows = grad.transpose(2, 0, 1, 3).reshape(bricks, -1, points)
        both = ((rows * basis.dx[:, None]) @ rows.swapaxes(1, 2)).reshape(bricks, 27, 3, 27, 3)
        own = np.einsum("eaibi->eab", both)
        blocks = lame * both + shear * both.transpose(0, 1, 4, 3, 2)
        blocks += shear * np.einsum("eab,ij->eaibj", own, np.eye(3))
        return self._summed(blocks.reshape(len(blocks), 81, 81))

    @cached_property
    def mass(self) -> Any:
        """Sparse (3 N, 3 N), tonnes."""
        basis = self._basis
        shapes = np.array([np.broadcast_to(one[0], basis.dx.shape) for one in basis.basis])
        density = self.density_kg_m3 * _TONNE_MM3
        own = density * np.einsum("aeq,beq,eq->eab", shapes, shapes, basis.dx, optimize=True)
        return self._summed(np.einsum("eab,ij->eaibj", own, np.eye(3)).reshape(len(own), 81, 81))

    def _summed(self, blocks: Floats) -> Any:
        from scipy.sparse import coo_matrix

        dofs = self._dofs
        rows = np.broadcast_to(dofs[:, :, None], blocks.shape)
        columns = np.broadcast_to(dofs[:, None, :], blocks.shape)
        size = 3 * self.nodes[..., 0].size
        flat = (blocks.ravel(), (rows.ravel(), columns.ravel()))
        return coo_matrix(flat, shape=(size, size)).tocsc()

    @property
    def _moduli(self) -> tuple[float, float]:
        """Lamé's first constant and the shear modulus."""
        e, nu = self.e_mpa, self.poisson
        return e * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)), e / (2.0 * (1.0 + nu))

    @cached_property
    def _dofs(self) -> NDArray[np.int64]:
        """(bricks, 81): numbers of a brick's own movements."""
        nodes = self._basis.element_dofs.T
        return np.asarray((3 * nodes[:, :, None] + np.arange(3)).reshape(len(nodes), 81))

    def stand(self, held: Held, spring: Floats | None = None) -> Standing:
        """The block as it is held. spring: (3, 3) N·mm/rad, resists the gripped piece's turning."""
        return Standing(self, self._movements(held), np.zeros((3, 3)) if spring is None else spring)

    def surface(self, moved: Floats) -> Surface:
        """The highest von Mises stress on the two faces for a unit force in the worst direction.

        moved: (3, a, b, c, 3), movements of all nodes for unit forces, by `Standing.unit_loads`.
        """
        fem = _library()
        spots = self._local(np.array([[0.5, 0.5], [0.5, 0.5], [0.0, 1.0]]))
        basis = fem.Basis(self._mesh[0], fem.ElementHex2(), quadrature=(spots, np.ones(2)))
        grad = np.array([one[0].grad for one in basis.basis])
        values = np.empty((3, self.nodes[..., 0].size, 3))
        values[:, self.numbers] = moved
        strain = np.einsum("aieq,feaj->feqij", grad, values[:, basis.element_dofs.T], optimize=True)
        strain = (strain + strain.swapaxes(-1, -2)) / 2.0
        trace = np.einsum("feqii->feq", strain)
        shear = self._moduli[1]
        off = 2.0 * shear * (strain - trace[..., None, None] / 3.0 * np.eye(3))
        # Von Mises' stress is a square of the force: its highest is an eigenvalue, as in `frames`.
        squares = 1.5 * np.einsum("feqij,geqij->eqfg", off, off)
        mises = np.sqrt(np.linalg.eigvalsh(squares)[..., -1])
        return self._by_brick(mises, basis.mapping.F(spots))

    def _movements(self, held: Held) -> Any:
        """Sparse (3 N, free + 6): how nodes follow the free ones, and the gripped piece."""
        from scipy.sparse import coo_matrix

        numbers = self.numbers
        clamped, gripped = numbers[held.clamped], numbers[held.gripped]
        apart = np.setdiff1d(numbers.ravel(), np.r_[clamped, gripped])
        free = (3 * apart[:, None] + np.arange(3)).ravel()
        rows, columns, values = [free], [np.arange(len(free))], [np.ones(len(free))]
        off = self.nodes[held.gripped] - held.at
        for axis in range(3):
            rows.append(3 * gripped + axis)
            columns.append(np.full(len(gripped), len(free) + axis))
            values.append(np.ones(len(gripped)))
            # Turned by θ it moves by θ × r.
            turned = np.cross(np.eye(3)[axis], off)
            rows.append((3 * gripped[:, None] + np.arange(3)).ravel())
            columns.append(np.full(3 * len(gripped), len(free) + 3 + axis))
            values.append(turned.ravel())
        where = (np.concatenate(rows), np.concatenate(columns))
        size = (3 * numbers.size, len(free) + 6)
        return coo_matrix((np.concatenate(values), where), shape=size).tocsc()

    @cached_property
    def _turn(self) -> Floats:
        """(3, 3): along, across and through, in a brick's own coordinates of 0 to 1."""
        _, steps = self._mesh
        its_own = _library().ElementHex2().doflocs - 0.5
        ours = steps[:, self._basis.element_dofs[:, 0]]
        ours = ours - ours.mean(axis=1, keepdims=True)
        # Bricks of a regular block are numbered alike: each axis of one is an axis of the other.
        return np.asarray(np.rint(its_own.T @ ours.T / (its_own**2).sum(axis=0) / 2.0))

    def _local(self, spots: Floats) -> Floats:
        """Places in a brick, (3, n) of 0 to 1 along, across and through, in its own coordinates."""
        return np.asarray(self._turn @ (spots - 0.5) + 0.5)

    def _by_brick(self, mises: Floats, points: Floats) -> Surface:
        """The outer bricks' faces, sorted along and across."""
        _, steps = self._mesh
        first = steps[:, self._basis.element_dofs].min(axis=1) // 2  # (3, bricks)
        a, b, c = self.bricks
        found, where = np.empty((a, b, 2)), np.empty((a, b, 2, 3))
        for side, layer in enumerate((0, c - 1)):
            outer = first[2] == layer
            i, j = first[0][outer], first[1][outer]
            found[i, j, side] = mises[outer, side]
            where[i, j, side] = points[:, outer, side].T
        return Surface(where, found)


@dataclass(frozen=True, eq=False)
class Standing:
    """A block that is held. follow: sparse (3 N, free + 6), as `SolidBlock.stand` makes it."""

    block: SolidBlock
    follow: Any
    spring: Floats

    @cached_property
    def _factor(self) -> Any:
        """The stiffness of what is free to move, factored."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.linalg import splu

        own = self.follow.T @ self.block.stiffness @ self.follow
        turns = np.arange(own.shape[0] - 3, own.shape[0])
        where = (np.repeat(turns, 3), np.tile(turns, 3))
        outside = coo_matrix((self.spring.ravel(), where), shape=own.shape)
        return splu((own + outside).tocsc())

    def unit_loads(self) -> tuple[Floats, Floats]:
        """Movements for unit forces (x, y, z) on the gripped piece.

        Of all nodes, (3, a, b, c, 3) mm/N; and of the point itself, compliance (3, 3) mm/N.
        """
        loads = np.zeros((self.follow.shape[1], 3))
        loads[-6:-3] = np.eye(3)
        found = self._factor.solve(loads)
        moved = np.asarray(self.follow @ found).T.reshape(3, -1, 3)
        return moved[:, self.block.numbers], found[-6:-3]

    def lowest_hz(self, mass_kg: float) -> float:
        """The lowest natural frequency with a point mass on the gripped piece, Hz."""
        from scipy.sparse import diags
        from scipy.sparse.linalg import LinearOperator, eigsh

        extra = np.zeros(self.follow.shape[1])
        extra[-6:-3] = mass_kg / KG_PER_TONNE
        heavy = (self.follow.T @ self.block.mass @ self.follow + diags(extra)).tocsc()
        # About 0 the stiffness itself is not asked for, only its factors and the matrix's size.
        solve = LinearOperator(heavy.shape, matvec=self._factor.solve, dtype=np.float64)
        # A start of its own keeps the answer the same from run to run.
        start = np.ones(heavy.shape[0])
        values = eigsh(
            heavy, 1, M=heavy, sigma=0.0, OPinv=solve, v0=start, return_eigenvectors=False
        )
        return math.sqrt(float(values[0])) / math.tau


def _library() -> Any:
    try:
        import skfem
    except ImportError:
        raise MissingLibraryError(
            "the check by finite elements needs scikit-fem; install noseroom with its extra "
            '"strength"'
        ) from None
    return skfem
