"""Clearances of CadQuery's own objects: `Workplane.clearanceTo` and `Assembly.clearances`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Generic, TypeVar, overload

from noseroom._plugin_bodies import Bodies, Placed, assembly_bodies, shape_of
from noseroom.errors import GeometryError
from noseroom.geometry.all_pairs import Asked, all_pairs
from noseroom.geometry.clearance import Clearance, Relation, clearance
from noseroom.geometry.kernel import load_cadquery
from noseroom.geometry.pull_apart import PullApart
from noseroom.report.notebook import table_html
from noseroom.tolerances import DEFAULT, Tolerances

_RANK = {
    Relation.INSIDE: 0,
    Relation.OVERLAPPING: 0,
    Relation.UNDECIDED: 1,
    Relation.TOUCHING: 2,
    Relation.APART: 3,
}
_OVERLAPS = (Relation.INSIDE, Relation.OVERLAPPING)
_HEAD = ("relation", "a", "b", "distance", "never below", "in common", "b comes free by", "at")
_SCALE = 1000.0
# How far round a thing its nearest neighbour in an assembly is looked for, wider and wider.
_WIDER_MM = (50.0, 500.0, math.inf)
# The kernel's rounding: no reason to show 4.999 mm for a gap of 5.
_NOISE = 1e-3


@dataclass(frozen=True, eq=False)
class PairClearance(Clearance):
    """How two things stand to each other.

    relation: "apart", "touching", "overlapping", "inside" (all of one in the material of the
    other) or "undecided". distance_mm: the gap, 0 without one. bound_mm: the true gap is never
    below this. points: (2, 3) mm in the world, the nearest points, the first on a; None without.
    overlap_mm3: what the two have in common. pull_apart: a way to free b of a (`direction`, a
    unit vector, and `distance_mm`), None where they do not overlap. a, b: full names, "" for what
    has none.
    """

    a: str = ""
    b: str = ""

    def __str__(self) -> str:
        between = " / ".join(filter(None, (self.a, self.b)))
        return f"{between}: {_said(self)}" if between else _said(self)

    __repr__ = __str__

    def _where(self) -> str:
        """When it is so, in words; "" for always."""
        return ""

    def _repr_html_(self) -> str:
        return table_html(*_table([self]))


Answer = TypeVar("Answer", bound=PairClearance, covariant=True)


@dataclass(frozen=True, eq=False)
class Clearances(Sequence[Answer], Generic[Answer]):
    """The answers for an assembly, worst first.

    pairs: every pair that may be less than `cap_mm` apart. names: of all objects, in the
    assembly's order. beyond: how many pairs are not among them, because they are at least
    `cap_mm` apart for certain. still: how many are not, because only what moves was asked for
    and these two do not move against each other.
    """

    pairs: tuple[Answer, ...]
    names: tuple[str, ...]
    cap_mm: float
    beyond: int
    still: int = 0

    def __len__(self) -> int:
        return len(self.pairs)

    @overload
    def __getitem__(self, index: int) -> Answer: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Answer, ...]: ...
    def __getitem__(self, index: int | slice) -> Answer | tuple[Answer, ...]:
        return self.pairs[index]

    def of(self, *relations: str) -> tuple[Answer, ...]:
        """The answers with one of the relations named, such as "overlapping".

        Raises GeometryError for a word that is no relation.
        """
        for word in relations:
            if word not in tuple(Relation):
                raise GeometryError(f"{word!r} is no relation; there are {', '.join(Relation)}")
        return tuple(one for one in self.pairs if one.relation in relations)

    def between(self, a: str, b: str) -> Answer | None:
        """The answer for two names, in either order; None when they are not among `pairs`.

        Raises GeometryError for a name that is not in the assembly, or the same name twice.
        """
        for name in (a, b):
            if name not in self.names:
                raise GeometryError(f"no {name!r} here; there are {', '.join(self.names)}")
        if a == b:
            raise GeometryError(f"{a!r} has no clearance to itself")
        return next((one for one in self.pairs if {one.a, one.b} == {a, b}), None)

    def __str__(self) -> str:
        lines = [str(one) for one in self.pairs]
        return "\n".join([*lines, self._rest()]) if self._rest() else "\n".join(lines)

    __repr__ = __str__

    def _rest(self) -> str:
        """A sentence on what is not listed."""
        if not (self.beyond or self.still or self.pairs):
            return "a single object: there is no pair"
        far = "1 pair is" if self.beyond == 1 else f"{self.beyond} pairs are"
        still = "1 pair does" if self.still == 1 else f"{self.still} pairs do"
        said = [f"{far} {self.cap_mm:g} mm apart or more"] if self.beyond else []
        said += [f"{still} not move against each other"] if self.still else []
        return "; ".join(said)

    def __rich__(self) -> Any:
        from rich.table import Table
        from rich.text import Text

        head, rows = _table(self.pairs)
        table = Table(caption=self._rest() or None)
        for column in head:
            table.add_column(column, overflow="fold", no_wrap=column == _HEAD[0])
        for row in rows:
            table.add_row(*(Text(cell) for cell in row))
        return table

    def _repr_html_(self) -> str:
        return table_html(*_table(self.pairs), caption=self._rest())


def clearance_to(self: Any, other: Any) -> PairClearance:
    """How everything on the stack stands to something else, both as they are in the world.

    :param other: a Workplane, a Shape or an Assembly; of an assembly the answer is the worst of
        its objects, whose full name is `b`
    :return: relation, distance_mm, bound_mm, points, overlap_mm3 and pull_apart
    :raises GeometryError: either holds no solid, something besides solids, or nothing
    """
    cq = load_cadquery()
    mine = Bodies().placed("the workplane", shape_of("the workplane", self))
    if not isinstance(other, cq.Assembly):
        theirs = Bodies().placed("the other one", shape_of("the other one", other))
        always = exact_up_to(math.inf)
        found = clearance(mine.body, theirs.body, mine.pose, theirs.pose, tolerances=always)
        return named(found, "", "")
    placed = [Placed("", mine.body, mine.pose), *assembly_bodies(other)]
    for cap in _WIDER_MM:
        near = _near(placed, cap, wanted=lambda i, _: i == 0)
        if near:
            break
    return min(near, key=badness)


def assembly_clearances(self: Any, cap_mm: float = 50.0) -> Clearances[PairClearance]:
    """How every two objects of the assembly stand to each other, worst first.

    :param cap_mm: pairs that are at least this far apart for certain are counted, not listed
        (infinity lists them all)
    :return: a sequence of answers, each with relation, distance_mm, bound_mm, points and the two
        full names a and b
    :raises GeometryError: no object at all, an object that is not made of solids, a location that
        mirrors or scales, or a cap that is no length
    """
    cap = checked_cap(cap_mm)
    placed = assembly_bodies(self)
    near = tuple(sorted(_near(placed, cap), key=badness))
    every = len(placed) * (len(placed) - 1) // 2
    return Clearances(near, tuple(one.name for one in placed), cap, every - len(near))


def _near(
    placed: Sequence[Placed], cap_mm: float, wanted: Asked | None = None
) -> list[PairClearance]:
    """The answers of all pairs that may be less than a cap apart, exact up to it."""
    found = all_pairs(
        [one.body for one in placed],
        [one.pose for one in placed],
        # What touches is listed whatever the cap, and surfaces this close touch.
        max(cap_mm, 2 * DEFAULT.contact_mm),
        exact_up_to(cap_mm),
        wanted=wanted,
    )
    return [
        named(one, placed[i].name, placed[j].name)
        for (i, j), one in found.near.items()
        if one.bound_mm < cap_mm or one.relation is not Relation.APART
    ]


def exact_up_to(cap_mm: float) -> Tolerances:
    """Tolerances that have the kernel refine all gaps up to a cap."""
    return replace(DEFAULT, exact_below_mm=max(cap_mm, DEFAULT.exact_below_mm))


def checked_cap(cap_mm: Any) -> float:
    """A cap as a length, mm. Raises GeometryError."""
    try:
        cap = float(cap_mm)
    except (TypeError, ValueError):
        cap = math.nan
    if not cap >= 0:
        raise GeometryError(f"cap_mm is {cap_mm!r}; expected a length of 0 mm or more")
    return cap


def named(found: Clearance, a: str, b: str) -> PairClearance:
    """An answer with the names of the two, and nothing in it that can be changed."""
    if found.points is not None:
        found.points.flags.writeable = False
    known = {one.name: getattr(found, one.name) for one in fields(found)}
    return PairClearance(**known, a=a, b=b)


def badness(one: PairClearance) -> tuple[int, float, float, str, str]:
    """Lowest for the worst: deepest first among what overlaps, then nearest first."""
    depth = one.pull_apart.distance_mm if one.pull_apart else 0.0
    # Equal gaps differ in what the kernel rounded: names decide then, on every machine alike.
    return _RANK[one.relation], -round(depth, 6), round(one.bound_mm, 6), one.a, one.b


def _table(pairs: Sequence[PairClearance]) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and rows, without the columns in which nothing stands."""
    rows = [_cells(one) for one in pairs]
    used = [k for k in range(len(_HEAD)) if any(row[k] for row in rows)]
    return tuple(_HEAD[k] for k in used), [tuple(row[k] for k in used) for row in rows]


def _said(one: PairClearance) -> str:
    """The answer in a few words."""
    relation, _, _, distance, bound, overlap, free, where = _cells(one)
    apart = f"never below {bound}" if bound else ""
    apart = f"{distance}, {apart}" if distance else apart
    common = f"{overlap} in common" if overlap else ""
    comes = f"b comes free by {free}" if free else ""
    at = f"at {where}" if where else ""
    return ", ".join(filter(None, (relation, apart, common, comes, at)))


def _cells(one: PairClearance) -> tuple[str, ...]:
    """A row for `_HEAD`. A gap is rounded down, a move that frees is rounded up."""
    apart, overlaps = one.relation is Relation.APART, one.relation in _OVERLAPS
    known = overlaps and math.isfinite(one.overlap_mm3)
    found = apart and math.isfinite(one.distance_mm)
    return (
        str(one.relation),
        one.a,
        one.b,
        f"{math.floor(one.distance_mm * _SCALE + _NOISE) / _SCALE:.3f} mm" if found else "",
        f"{math.floor(one.bound_mm * _SCALE) / _SCALE:.3f} mm" if apart else "",
        f"{one.overlap_mm3:.4g} mm³" if known else "",
        _freeing(one.pull_apart) if one.pull_apart else "",
        one._where(),
    )


def _freeing(move: PullApart) -> str:
    way = ", ".join(f"{round(float(x), 3) + 0.0:g}" for x in move.direction)
    return f"{math.ceil(move.distance_mm * _SCALE) / _SCALE:.3f} mm along ({way})"
