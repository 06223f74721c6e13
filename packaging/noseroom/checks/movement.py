"""What moves in a nose, and how: an engine on its mounts, a hood, an anti-roll bar, steering.

Each movement is one more source beside the readings, with its whole reach: the bounds that hold
over every reading and assumption then hold over every combination of movements too, without a pose
being left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import SizeReading
from noseroom.geometry.separation import READING_DEVIATIONS
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.base import Freedom
from noseroom.survey.solution import Source

Floats = NDArray[np.float64]

_TRIES = 4
_SHRINK = 0.02
_WITHIN_MM = 0.05


@dataclass(frozen=True, eq=False)
class Limit:
    """What was pried: form @ amounts, mm, lies between low and high.

    form: (k,), how far a point comes per degree or mm of each amount, along the way that it was
    pried. low, high: with what a turn does beyond the first order; read: the two without that, as
    they hold for where the point really comes. point, way: (3,) mm and (3,), of the point at rest
    and the way, vehicle frame. both: whether it was pried that way and back. lines: of the file.
    """

    form: Floats
    low: float
    high: float
    read: tuple[float, float]
    point: Floats
    way: Floats
    both: bool
    lines: tuple[int, ...]
    text: str


@dataclass(frozen=True, eq=False)
class Motion:
    """How one part moves, and with it all that it carries.

    root: its name; kind: of that part. point: (3,) mm, vehicle frame, about which it turns. turns,
    shifts: (k, 3), the rotation vector (rad) and the shift (mm), vehicle frame, of one degree or mm
    of each of its amounts. centre, reaches: (k,), each amount lies anywhere between centre less
    reach and centre plus reach. moved: names of what moves with it. sources: one for each amount.
    freedoms: the same for words; absent where amounts are mixed (`views`). pivot_mm: how far the
    line that it turns about may be from where it is drawn on the part; pivot_sources: by which of
    its sizes, each as mm of that line. grounds: who says how far it moves, by the key of the size.
    views: other sets of amounts that hold the same movements too,
    each with fewer of them in some direction: a bound that any of them gives is sure. mix: (k, k),
    makes the amounts of a view from those of the motion. limits: what was pried; unused: what of it
    is of no use, and why; beyond: what of it is further than this is taken to move.
    """

    root: str
    kind: str
    point: Floats
    turns: Floats
    shifts: Floats
    centre: Floats
    reaches: Floats
    moved: frozenset[str]
    sources: tuple[Source, ...]
    freedoms: tuple[Freedom, ...]
    pivot_mm: float = 0.0
    pivot_sources: tuple[Source, ...] = ()
    grounds: Mapping[str, str] = field(default_factory=dict)
    views: tuple[Motion, ...] = ()
    mix: Floats | None = None
    limits: tuple[Limit, ...] = ()
    unused: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()

    @property
    def turn(self) -> Floats:
        """The largest rotation vector off the centre, (3,) rad, by its sizes along the axes."""
        return np.asarray(np.abs(self.turns.T) @ self.reaches)

    @property
    def shift(self) -> Floats:
        """The largest shift off the centre, (3,) mm, by its sizes along the vehicle axes."""
        return np.asarray(np.abs(self.shifts.T) @ self.reaches)

    @property
    def measured(self) -> bool:
        """Whether the file says every movement that counts."""
        return not any(one.assumed and one.reach > 0 for one in self.sources)

    @property
    def engine(self) -> str:
        """The name of what moves, as checks on an engine call it."""
        return self.root

    @property
    def still(self) -> bool:
        """Whether it does not move at all."""
        return not self.reaches.any()

    def pivot_slope(self, amounts: Floats) -> float:
        """Mm by which a mm of its line's place displaces what is turned by some amounts (k,)."""
        angle = float(np.linalg.norm(amounts @ self.turns))
        return 2 * float(np.sin(min(angle, np.pi) / 2))

    def turned(self) -> Floats:
        """(3, 3): how the centre of its range is turned from rest."""
        return self.pose(self.centre)[:3, :3]

    def pivot(self) -> Floats:
        """(3,) mm: about which point it turns at the centre of its range."""
        return np.asarray(self.point + self.centre @ self.shifts)

    def pose(self, amounts: Floats) -> Floats:
        """(4, 4): where the amounts (k,), degrees and mm, take what moves."""
        from scipy.spatial.transform import Rotation

        matrix = np.eye(4)
        matrix[:3, :3] = Rotation.from_rotvec(amounts @ self.turns).as_matrix()
        matrix[:3, 3] = self.point - matrix[:3, :3] @ self.point + amounts @ self.shifts
        return matrix

    def own_reach(self, number: int) -> float:
        """How far one amount goes by itself, without what a turn elsewhere adds to it."""
        turned = {
            one.forth: float(reach) for one, reach in zip(self.freedoms, self.reaches, strict=True)
        }
        more = sum(turned.get(key, 0.0) * scale for key, scale in self.freedoms[number].more)
        return float(self.reaches[number]) - more

    def nearest(self, form: Floats) -> Floats:
        """The amounts (k,) of the movement that make form @ amounts least, within all limits.

        There no point that was pried comes further than was read, the bend of the turns included.
        """
        corner = np.asarray(self.centre - np.sign(form) * self.reaches)
        if not self.limits:
            return corner
        ends = np.array([one.read for one in self.limits])
        low = np.array([[one.low] for one in self.limits])
        high = np.array([[one.high] for one in self.limits])
        found = corner
        for _ in range(_TRIES):
            bent = np.array([one.form @ found - self.came(one, found) for one in self.limits])
            found = self._least(form, np.clip(ends + bent[:, None], low, high), corner)
        whole, share = found, 1.0
        while share > 0 and not self._within(found):
            share -= _SHRINK
            found = max(share, 0.0) * whole
        return found

    def came(self, limit: Limit, amounts: Floats) -> float:
        """How far a point that was pried really comes along its way, mm."""
        there = self.pose(amounts)
        return float((there[:3, :3] @ limit.point + there[:3, 3] - limit.point) @ limit.way)

    def _within(self, amounts: Floats) -> bool:
        return all(
            one.read[0] - _WITHIN_MM <= self.came(one, amounts) <= one.read[1] + _WITHIN_MM
            for one in self.limits
        )

    def _least(self, form: Floats, ends: Floats, otherwise: Floats) -> Floats:
        """The amounts within ranges and the ends (n, 2) of the limits; otherwise, if none are."""
        from scipy.optimize import linprog

        ways = np.array([one.form for one in self.limits])
        box = np.stack([self.centre - self.reaches, self.centre + self.reaches], axis=1)
        found = linprog(
            form, np.concatenate([ways, -ways]), np.concatenate([ends[:, 1], -ends[:, 0]]),
            bounds=box, method="highs",
        )  # fmt: skip
        return np.asarray(found.x if found.status == 0 else otherwise)

    def narrowed(self, centre: Floats, reaches: Floats) -> Motion:
        """The same movement over a part of its range; its other views are of the whole."""
        sources = tuple(
            replace(one, half_width=float(reach), reach=float(reach))
            for one, reach in zip(self.sources, reaches, strict=True)
        )
        return replace(self, centre=centre, reaches=reaches, sources=sources, views=())


def motions_of(layout: Layout) -> tuple[Motion, ...]:
    """The movement of everything whose place is known, with all that moves with it."""
    from noseroom.checks.pried import with_views

    moved: dict[str, set[str]] = {}
    for part in layout.parts.values():
        roots = movers(layout, part)
        if len(roots) == 1 and roots[0].known:
            moved.setdefault(roots[0].name, set()).add(part.name)
    found = (_motion(layout.parts[root], names) for root, names in moved.items())
    return tuple(with_views(layout, one) for one in found)


def movers(layout: Layout, part: PlacedPart) -> list[PlacedPart]:
    """All that a part moves with, itself first: what moves, of it and of what carries it."""
    return [one for one in _carriers(layout, part) if one.part.moves()]


def _carriers(layout: Layout, part: PlacedPart) -> Iterator[PlacedPart]:
    seen: set[str] = set()
    here: PlacedPart | None = part
    while here is not None and here.name not in seen:
        seen.add(here.name)
        yield here
        here = layout.parts.get(here.carrier)


def _motion(root: PlacedPart, moved: set[str]) -> Motion:
    pose, freedoms = root.pose, root.part.moves()
    pivot = tuple(_pivot_sources(root, freedoms))
    ends = np.array([_ends(root, one) for one in freedoms])
    centre, reaches = ends.sum(axis=1) / 2, (ends[:, 1] - ends[:, 0]) / 2
    along = np.array([one.along for one in freedoms]) @ pose[:3, :3].T
    turns = np.array([one.turns for one in freedoms])
    pivots = [one.through for one in freedoms if one.turns] or [np.zeros(3)]
    return Motion(
        root=root.name,
        kind=root.kind,
        point=pose[:3, :3] @ pivots[0] + pose[:3, 3],
        turns=np.where(turns[:, None], np.radians(along), 0.0),
        shifts=np.where(turns[:, None], 0.0, along),
        centre=centre,
        reaches=reaches,
        moved=frozenset(moved),
        sources=tuple(
            _source(root, one, float(reach)) for one, reach in zip(freedoms, reaches, strict=True)
        ),
        freedoms=freedoms,
        pivot_mm=sum((one.reach for one in pivot), 0.0),
        pivot_sources=pivot,
        grounds={one.forth: _open(root, one).source for one in freedoms},
    )


def _open(root: PlacedPart, one: Freedom) -> SizeReading:
    """Of the sizes that say how far it goes, the one that nobody has measured, if there is one."""
    sizes = [root.entry.sizes[key] for key in (one.forth, one.back)]
    return next((each for each in sizes if each.knowledge == "assumed"), sizes[0])


def _far(root: PlacedPart, key: str) -> float:
    size = root.entry.sizes[key]
    return size.value + size.half_width


def _ends(root: PlacedPart, one: Freedom) -> tuple[float, float]:
    """How far it goes back and forth, degrees or mm."""
    more = sum(_far(root, key) * scale for key, scale in one.more)
    back, forth = _far(root, one.back), _far(root, one.forth)
    return -(back * one.back_scale + more), forth * one.forth_scale + more


def _source(root: PlacedPart, one: Freedom, reach: float) -> Source:
    sizes = root.entry.sizes
    units = {
        key: "deg" if one.turns and scale == 1.0 else "mm"
        for key, scale in ((one.back, one.back_scale), (one.forth, one.forth_scale))
    }
    far = {key: f"{_far(root, key):g} {unit}" for key, unit in units.items()}
    return Source(
        text=one.either.format(back=far[one.back], forth=far[one.forth]),
        line=_open(root, one).line,
        station=root.name,
        key=one.forth,
        value=sizes[one.forth].value,
        half_width=reach,
        deviation=0.0,
        reach=reach,
        assumed=any(sizes[key].knowledge == "assumed" for key in (one.back, one.forth)),
    )


def _pivot_sources(root: PlacedPart, freedoms: tuple[Freedom, ...]) -> Iterator[Source]:
    """By which sizes it is open where on its part the line of its turns is, and how far, mm."""
    if not any(one.turns for one in freedoms) or not np.any(freedoms[0].through):
        return
    placement = root.placements[0]
    for name, size in root.part.sizes().items():
        if size.measure != "length" or size.key not in placement.size_gain:
            continue
        read = root.entry.sizes[size.key]
        width = read.half_width
        off = replace(root.part, **{name: getattr(root.part, name) + width}).moves()
        far = float(np.linalg.norm(off[0].through - freedoms[0].through))
        if far > 0:
            yield Source(
                text=f"{root.name} {size.key}: usual" if read.knowledge == "assumed" else read.text,
                line=read.line,
                station=root.name,
                key=size.key,
                value=read.value,
                half_width=far,
                deviation=far / READING_DEVIATIONS,
                reach=far,
                assumed=read.knowledge == "assumed",
            )
