"""A bracket as a space frame: straight members of thin section, held at some nodes.

Members carry tension, bending both ways, torsion and shear (Timoshenko's beam), so that the
answers are the closed forms of Castigliano's theorem for any chain of them; a frame that is held
at more than one place is solved with the same stiffnesses. Corners are stiff and as sharp as the
nodes are set. N, mm, MPa, t/mm³ for densities in N s² / mm⁴.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.physics.beams import KG_PER_TONNE, Section

__all__ = ["End", "Frame", "Member", "Peak", "hz_of", "lowest_hz", "peak_stress"]

Floats = NDArray[np.float64]
_TONNE_MM3 = 1e-12
"""kg/m³ in t/mm³."""
_OWN_PIECES = 4
"""Into how many a member is cut to count its own mass."""


@dataclass(frozen=True, slots=True)
class End:
    """The section in which a member's end is judged: less a hole, say.

    growth: how much higher its bending through the thickness peaks there, such as on the inside of
    a bend.
    """

    section: Section
    growth: float = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class Member:
    """A straight piece between two nodes. normal: (3,), through the sheet, square to the member."""

    start: int
    end: int
    normal: Floats
    section: Section
    ends: tuple[End, End]


@dataclass(frozen=True, slots=True)
class Peak:
    """Where the highest stress is: which member, which of its ends (0 or 1), for which direction.

    mpa: von Mises, for a force of newton N. direction: unit vector of the force.
    """

    mpa: float
    member: int
    end: int
    direction: tuple[float, float, float]
    newton: float


@dataclass(frozen=True, eq=False)
class Frame:
    """Nodes (n, 3) mm, members, and the nodes that are held against all six movements.

    e_mpa, g_mpa: moduli. density_kg_m3: of the metal. springs: nodes whose turning something
    outside resists, each with its (3, 3) stiffness, N·mm/rad.
    """

    nodes: Floats
    members: tuple[Member, ...]
    fixed: tuple[int, ...]
    e_mpa: float
    g_mpa: float
    density_kg_m3: float = 0.0
    springs: tuple[tuple[int, Floats], ...] = ()

    @cached_property
    def _flexibility(self) -> Floats:
        """Displacements (6 n, 6 n) of all nodes by unit loads on them; rows of held ones are 0."""
        size = 6 * len(self.nodes)
        stiff = np.zeros((size, size))
        for one in self.members:
            where = np.r_[6 * one.start : 6 * one.start + 6, 6 * one.end : 6 * one.end + 6]
            turn = _turned(self._axes(one))
            stiff[np.ix_(where, where)] += turn.T @ self._local(one) @ turn
        for node, spring in self.springs:
            turns = np.arange(6 * node + 3, 6 * node + 6)
            stiff[np.ix_(turns, turns)] += spring
        held = {6 * node + k for node in self.fixed for k in range(6)}
        free = np.array([k for k in range(size) if k not in held])
        found = np.zeros((size, size))
        # Millimetres and radians side by side: scaled to a unit diagonal it is well conditioned.
        scale = 1.0 / np.sqrt(np.diag(stiff)[free])
        core = stiff[np.ix_(free, free)] * np.outer(scale, scale)
        found[np.ix_(free, free)] = np.linalg.inv(core) * np.outer(scale, scale)
        return (found + found.T) / 2.0

    def compliance(self, node: int, arm: Sequence[float] = (0.0, 0.0, 0.0)) -> Floats:
        """(6, 6): movement of a point by unit forces and moments on it; mm/N, rad/N, rad/(N·mm).

        arm: (3,) mm from the node to the point, stiffly joined to it.
        """
        there = self._flexibility[6 * node : 6 * node + 6, 6 * node : 6 * node + 6]
        carry = _carried(arm)
        return np.asarray(carry.T @ there @ carry)

    def end_forces(
        self, member: int, node: int, arm: Sequence[float] = (0.0, 0.0, 0.0)
    ) -> tuple[Floats, Floats]:
        """What acts on either end of a member, (6, 6) each, for unit loads on a point.

        Rows: tension-wise force, force across the sheet's width, force through its thickness,
        torque, moment about the width (bends it through its thickness), moment about the thickness
        (bends it in its plane); along the member's own axes. Columns: the six unit loads.
        """
        one = self.members[member]
        loads = _carried(arm)
        column = self._flexibility[:, 6 * node : 6 * node + 6] @ loads
        both = np.vstack([column[6 * one.start : 6 * one.start + 6], column[6 * one.end :][:6]])
        forces = self._local(one) @ _turned(self._axes(one)) @ both
        return forces[:6], forces[6:]

    @cached_property
    def mass_kg(self) -> float:
        """Of all its members."""
        return sum(self._long(one) * self._line_density(one) for one in self.members) * KG_PER_TONNE

    def own_flexibility(self) -> float:
        """Σ of each little piece's mass times how far a unit force moves it, s².

        By Dunkerley's formula this is what its own mass adds to 1/ω², at most.
        """
        finer = self._finer()
        lumps = np.zeros(len(finer.nodes))
        for one in finer.members:
            half = finer._long(one) * finer._line_density(one) / 2.0
            lumps[[one.start, one.end]] += half
        return float(
            sum(
                mass * np.linalg.eigvalsh(finer.compliance(node)[:3, :3])[-1]
                for node, mass in enumerate(lumps)
            )
        )

    def scaled(self, size: float) -> Frame:
        """The same with all its lengths, but not its sections, so many times as long."""
        return replace(self, nodes=self.nodes * size)

    def _finer(self) -> Frame:
        nodes = [*self.nodes]
        members = []
        for one in self.members:
            start, end = self.nodes[one.start], self.nodes[one.end]
            before = one.start
            for k in range(1, _OWN_PIECES + 1):
                here = one.end
                if k < _OWN_PIECES:
                    here = len(nodes)
                    nodes.append(start + (end - start) * k / _OWN_PIECES)
                members.append(replace(one, start=before, end=here))
                before = here
        return replace(self, nodes=np.array(nodes), members=tuple(members))

    def _line_density(self, one: Member) -> float:
        return one.section.area_mm2 * self.density_kg_m3 * _TONNE_MM3

    def _long(self, one: Member) -> float:
        return float(np.linalg.norm(self.nodes[one.end] - self.nodes[one.start]))

    def _axes(self, one: Member) -> Floats:
        """Rows: along the member, across the sheet's width, through its thickness."""
        along = self.nodes[one.end] - self.nodes[one.start]
        along = along / np.linalg.norm(along)
        up = one.normal - along * (one.normal @ along)
        up = up / np.linalg.norm(up)
        return np.array([along, np.cross(up, along), up])

    def _local(self, one: Member) -> Floats:
        """Stiffness (12, 12) along the member's own axes (Timoshenko's beam, exact)."""
        s, long = one.section, self._long(one)
        stiff = np.zeros((12, 12))
        _couple(stiff, 0, 6, self.e_mpa * s.area_mm2 / long)
        _couple(stiff, 3, 9, self.g_mpa * s.twist_mm4 / long)
        # Moved through the thickness, it turns about the width the other way round.
        _bend(stiff, (2, 4, 8, 10), -1.0, self.e_mpa * s.flat_mm4, self.g_mpa * s.shear_mm2, long)
        _bend(stiff, (1, 5, 7, 11), 1.0, self.e_mpa * s.edge_mm4, self.g_mpa * s.shear_mm2, long)
        return stiff


def lowest_hz(
    frame: Frame,
    node: int,
    mass_kg: float,
    arm: Sequence[float] = (0.0, 0.0, 0.0),
    gyration_mm: float = 0.0,
) -> float:
    """The lowest natural frequency in any direction, from below, Hz.

    A mass on the node, or on a stiff arm from it, and the frame's own mass by Dunkerley's formula,
    1/ω² ≤ Σ m δ (Dunkerley 1894): for a plain cantilever that counts 1/4 of its mass at the tip,
    where the exact share is 0.243. gyration_mm: the mass's largest radius of gyration; by the same
    formula. Thin members' own rotary inertia is left out.
    """
    there = frame.compliance(node, arm)
    soft = float(np.linalg.eigvalsh(there[:3, :3])[-1])
    turns = float(np.linalg.eigvalsh(there[3:, 3:])[-1]) * gyration_mm**2
    return hz_of(soft + turns, mass_kg, frame.own_flexibility())


def hz_of(compliance_mm_per_n: float, mass_kg: float, own_s2: float = 0.0) -> float:
    """Frequency of a mass on a spring, Hz; own_s2: see `Frame.own_flexibility`."""
    return 1.0 / math.sqrt(compliance_mm_per_n * mass_kg / KG_PER_TONNE + own_s2) / math.tau


def peak_stress(
    frame: Frame, node: int, force_n: float, arm: Sequence[float] = (0.0, 0.0, 0.0)
) -> Peak:
    """The highest von Mises stress in any member's end, for a force in the worst direction.

    Stress is linear in the force and von Mises' a square of it: over all directions its highest is
    an eigenvalue, not a search. In a section the peaks of bending, torsion and shear are taken as
    if they were at one point, its corner: never less than what is there. Forces within a straight
    member change linearly, so that none is higher between its ends.
    """
    best = Peak(0.0, 0, 0, (0.0, 0.0, 1.0), force_n)
    for number in range(len(frame.members)):
        both = frame.end_forces(number, node, arm)
        for side, forces in enumerate(both):
            mpa, direction = _worst(forces[:, :3], frame.members[number].ends[side])
            if mpa * force_n > best.mpa * (1.0 + 1e-9):
                best = Peak(mpa * force_n, number, side, direction, force_n)
    return best


def _worst(forces: Floats, end: End) -> tuple[float, tuple[float, float, float]]:
    """Von Mises stress for a unit force in the worst direction, and that direction."""
    s = end.section
    tension, wide, thick = forces[0] / s.area_mm2, forces[1] / s.peak_mm2, forces[2] / s.peak_mm2
    twist = forces[3] / s.twist_mm3
    flat, edge = forces[4] / s.flat_mm3 * end.growth, forces[5] / s.edge_mm3
    best, found = -1.0, np.array([0.0, 0.0, 1.0])
    for a, b, c in ((1, 1, 1), (1, 1, -1), (1, -1, 1), (1, -1, -1)):
        direct = tension + a * flat + b * edge
        direct_too = tension - a * flat + b * edge
        shear = twist + c * wide
        for normal in (direct, direct_too):
            square = np.outer(normal, normal)
            square = square + 3.0 * (np.outer(shear, shear) + np.outer(thick, thick))
            values, vectors = np.linalg.eigh(square)
            if values[-1] > best:
                best, found = float(values[-1]), vectors[:, -1]
    # Either way along the line is as bad: the one that points more up, right or aft is told.
    lead = found[int(np.argmax(np.abs(found) > 1e-9))]
    x, y, z = (float(one) for one in (found if lead > 0 else -found))
    return math.sqrt(max(best, 0.0)), (x, y, z)


def _carried(arm: Sequence[float]) -> Floats:
    """(6, 6): loads on the point as loads on the node."""
    x, y, z = arm
    carry = np.eye(6)
    carry[3:, :3] = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]
    return carry


def _turned(axes: Floats) -> Floats:
    return np.asarray(np.kron(np.eye(4), axes))


def _couple(stiff: Floats, a: int, b: int, value: float) -> None:
    stiff[np.ix_((a, b), (a, b))] += value * np.array([[1.0, -1.0], [-1.0, 1.0]])


def _bend(
    stiff: Floats, at: tuple[int, ...], sign: float, bending: float, shear: float, long: float
) -> None:
    phi = 12.0 * bending / (shear * long**2)
    k = bending / (long**3 * (1.0 + phi))
    turn = sign * 6.0 * long * k
    near, far = (4.0 + phi) * long**2 * k, (2.0 - phi) * long**2 * k
    block = np.array(
        [
            [12.0 * k, turn, -12.0 * k, turn],
            [turn, near, -turn, far],
            [-12.0 * k, -turn, 12.0 * k, -turn],
            [turn, far, -turn, near],
        ]
    )
    stiff[np.ix_(at, at)] += block
