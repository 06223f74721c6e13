"""Random brackets of sheet metal, invented, that stay what they are when folded."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import count

import numpy as np

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path, rectangle, rounded, slot
from noseroom.geometry.sheet import Bend, Blank, Flange, Hole
from noseroom.geometry.sheet_reliefs import edges_of, with_reliefs
from noseroom.geometry.sheet_solids import folded_solid


def brackets(how_many: int, seed: int = 7) -> Iterator[tuple[Blank, object]]:
    """Brackets of two to five flanges with their solids; those that run into themselves left out.

    Bends from 10° to 150° either way, many askew to each other; slots, round holes, reliefs.
    """
    made = 0
    for k in count(seed * 100_000):
        if made == how_many:
            return
        blank = random_blank(random.Random(k))
        if blank is None:
            continue
        try:
            solid = folded_solid(blank)
        except GeometryError:
            continue  # it runs into itself
        yield blank, solid
        made += 1


def random_blank(dice: random.Random) -> Blank | None:
    """One bracket; None where its parts got too small to go on."""
    thickness = dice.choice([1.0, 1.5, 2.0, 2.5, 3.0, 4.0])
    k = dice.uniform(0.3, 0.5)
    wide, high = dice.uniform(30, 90), dice.uniform(30, 70)
    lean = dice.uniform(-8, 8)
    shapes = [[(0.0, 0.0), (wide, lean), (wide + lean, high), (lean, high + lean)]]
    free = [(0, side) for side in range(4)]
    bends: list[Bend] = []
    for child in range(1, dice.randint(2, 5)):
        parent, side = free.pop(dice.randrange(len(free)))
        bend = _random_bend(dice, shapes[parent], side, thickness, k)
        if bend is None:
            return None
        bends.append(replace(bend, parent=parent, child=child))
        shapes.append(_beyond(dice, bend, thickness))
        free += [(child, one) for one in (1, 2, 3) if dice.random() < (0.8 if one == 2 else 0.3)]
        if not free:
            break
    flanges = []
    for number, corners in enumerate(shapes):
        ends = [edges_of(one, number, thickness) for one in bends]
        touched = {point for edge in ends if edge for point in edge}
        flanges.append(_flange(dice, corners, touched))
    try:
        return with_reliefs(Blank(thickness, tuple(flanges), tuple(bends)))
    except GeometryError:
        return None


def _random_bend(dice, corners, side, thickness, k) -> Bend | None:
    first, last = np.array(corners[side]), np.array(corners[(side + 1) % len(corners)])
    length = float(np.linalg.norm(last - first))
    if length < 25:
        return None
    along = (last - first) / length
    before, after = (
        dice.uniform(2.2, 3.0) * thickness if dice.random() < 0.3 else 0.0 for _ in range(2)
    )
    angle = dice.choice([90.0, dice.uniform(10, 150)]) * dice.choice([-1, 1])
    start, end = first + along * before, last - along * after
    inside = dice.uniform(0.5, 4.0) * thickness
    return Bend(0, 1, tuple(start.tolist()), tuple(end.tolist()), angle, inside, k)


def _beyond(dice, bend: Bend, thickness) -> list[tuple[float, float]]:
    """A trapezium on the far edge of a bend, often wider than the bend, its far side askew."""
    start, end = map(np.array, bend.far_edge(thickness))
    along = (end - start) / bend.length_mm
    out = np.array(bend.across)
    wider = [dice.uniform(2.2, 4.0) * thickness if dice.random() < 0.2 else 0.0 for _ in range(2)]
    first, last = start - along * wider[0], end + along * wider[1]
    reach = [dice.uniform(20, 60) for _ in range(2)]
    taper = [dice.uniform(0, 0.1) * bend.length_mm for _ in range(2)]
    far_start = first + out * reach[0] + along * taper[0]
    far_end = last + out * reach[1] - along * taper[1]
    return [tuple(p.tolist()) for p in (last, first, far_start, far_end)]


def _flange(dice, corners, touched) -> Flange:
    """Round where no bend is, with a hole or a slot or both round the middle."""
    sharp = {
        n for n, corner in enumerate(corners) if any(math.dist(corner, one) < 15 for one in touched)
    }
    radii = [0.0 if n in sharp else dice.uniform(2, 6) for n in range(len(corners))]
    outline = rounded(corners, radii) if any(radii) else Path(tuple(corners))
    middle = np.mean(corners, axis=0)
    small = min(math.dist(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    holes: list[Hole] = []
    kind = dice.choice(["none", "circle", "slot", "both"])
    if kind in ("circle", "both"):
        holes.append(Circle(tuple((middle + np.array([small / 8, 0])).tolist()), small / 9))
    if kind in ("slot", "both"):
        turn = math.pi / 2 + dice.uniform(-0.3, 0.3)
        place = tuple((middle - np.array([small / 8, 0])).tolist())
        holes.append(slot(place, small / 10, small / 10, turn))
    return Flange(outline, tuple(holes))


def strip(lengths, angles, t=2.0, r=4.0, k=0.4, width=40.0, holes=()) -> Blank:
    """Flats one after the other, away along -y. holes: (flange, hole from its own upper corner)."""
    flanges, bends, y = [], [], 0.0
    for number, length in enumerate(lengths):
        mine = tuple(hole.placed(0.0, (0.0, y)) for on, hole in holes if on == number)
        flanges.append(Flange(rectangle((0.0, y - length), (width, y)), mine))
        y -= length
        if number < len(angles):
            bends.append(Bend(number, number + 1, (0.0, y), (width, y), angles[number], r, k))
            y -= bends[-1].allowance_mm(t)
    return Blank(t, tuple(flanges), tuple(bends))
