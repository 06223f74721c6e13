"""Which condenser: sizes as they are sold, put into the nose, ranked by heat against blockage.

A larger face gives its heat off at less pressure, and takes more of the radiator's air; which of
the two counts is what the margin tells: the least of what is left to boiling and to the cut-out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from noseroom.checks.air_faces import faces_of
from noseroom.checks.condenser_choice_air import Judge, Tried
from noseroom.checks.condenser_choice_places import Stood, carried_by, core_half_mm, stood
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.physics.ranges import Floats
from noseroom.tables.system_sizes import CondenserSize, condenser_sizes
from noseroom.units import inches_to_mm

__all__ = ["CondenserChoice", "CondenserTrial", "choose_condenser"]

Progress = Callable[[int, int, str], None]

_SAME_MM = 1.0
_LEAST_SPACING_MM = 32.0
_LEAST_CORE_MM = 200.0
_LAST_PORT_MM = 20.0


@dataclass(frozen=True, slots=True)
class CondenserTrial:
    """A size, tried. across_mm, up_mm: its middle from that of the file's condenser, in its plane.

    verdict: at rest, on all pairs; by: the part that decides it, "" for none. tried: None where it
    fouls. covers_mm2: of the radiator's core, seen square to it.
    """

    height_in: float
    width_in: float
    core_mm: tuple[float, float]
    across_mm: float
    up_mm: float
    verdict: Verdict
    by: str
    covers_mm2: float
    tried: Tried | None

    @property
    def name(self) -> str:
        """As it is sold: height by width over all."""
        return f"{self.height_in:g} by {self.width_in:g} in"


@dataclass(frozen=True, slots=True)
class CondenserChoice:
    """All sizes: those that keep the rules first, the best of them before the rest.

    as_read: the file's own condenser among them.
    """

    trials: tuple[CondenserTrial, ...]
    as_read: Tried
    part: str
    line: int

    @property
    def fitting(self) -> tuple[CondenserTrial, ...]:
        """Those that keep every rule, best first."""
        return tuple(one for one in self.trials if one.verdict is Verdict.FITS)


def choose_condenser(
    pairs: Pairs,
    rules: Rules,
    judge: Judge,
    as_read: Tried,
    progress: Progress | None = None,
    sizes: Sequence[CondenserSize] | None = None,
) -> CondenserChoice | None:
    """Every size in the place of the file's condenser; None for a nose without one.

    judge: what a layout comes to, see `condenser_choice_air`. Depth, headers, tabs and ports are
    those of the file's condenser, so that only the face differs.
    """
    layout = pairs.layout
    faces = faces_of(layout)
    if faces is None or faces.condenser is None:
        return None
    part, each = faces.condenser, condenser_sizes() if sizes is None else sizes
    apart = carried_by(layout, part.name)
    found: dict[str, tuple[CondenserTrial, Layout]] = {}
    for done, size in enumerate(each):
        trial = _trial(pairs, rules, part, size, apart)
        if trial is not None:
            found[trial[0].name] = trial
        if progress is not None:
            progress(done + 1, len(each), f"condenser {size.height_in:g} by {size.width_in:g} in")
    open_ = {name: nose for name, (one, nose) in found.items() if one.verdict is not Verdict.FOULS}
    judged = judge(open_)
    trials = [replace(one, tried=judged.get(name)) for name, (one, _) in found.items()]
    return CondenserChoice(tuple(sorted(trials, key=_order)), as_read, part.name, part.entry.line)


def _order(one: CondenserTrial) -> tuple[object, ...]:
    rank = one.tried.rank if one.tried is not None else (0.0, 0.0, 0.0, 0.0)
    return -one.verdict.rank, *rank, one.height_in, one.width_in


def _trial(
    pairs: Pairs, rules: Rules, part: PlacedPart, size: CondenserSize, apart: frozenset[str]
) -> tuple[CondenserTrial, Layout] | None:
    made = _made(part, size)
    if made is None:
        return None
    places = list(_places(pairs.layout, part, made))
    found = stood(pairs, rules, (_there(part, made, shift) for shift in places), apart)
    assert found is not None
    off = _off(part, found)
    seen = faces_of(found.layout)
    assert seen is not None
    assert seen.condenser_outline is not None
    trial = CondenserTrial(
        height_in=size.height_in,
        width_in=size.width_in,
        core_mm=(made.core_height_mm, made.core_width_mm),
        across_mm=round(float(off[1]), 3) + 0.0,
        up_mm=round(float(off[2]), 3) + 0.0,
        verdict=found.verdict,
        by=found.by,
        covers_mm2=float(seen.condenser_outline.intersection(seen.radiator_outline).area),
        tried=None,
    )
    return trial, found.layout


def _made(part: PlacedPart, size: CondenserSize) -> Condenser | None:
    """The file's condenser with another face; None where that is less than there is."""
    own = part.part
    assert isinstance(own, Condenser)
    headers = own.header_diameter_mm if own.headers == "round" else own.header_width_mm
    height, width = inches_to_mm(size.height_in), inches_to_mm(size.width_in) - 2 * headers
    if min(width, height) < _LEAST_CORE_MM:
        return None
    top = min(own.port_from_top_mm, height / 4)
    lowest = height - _LAST_PORT_MM
    spacing = max(_LEAST_SPACING_MM, min(own.port_spacing_mm, lowest - top))
    return replace(
        own,
        core_width_mm=float(width),
        core_height_mm=float(height),
        port_from_top_mm=float(top),
        port_spacing_mm=float(spacing),
    )


def _places(layout: Layout, part: PlacedPart, made: Condenser) -> Iterator[Floats]:
    """Shifts (3,) in the condenser's own plane, those that cover most of the core first.

    The middle of the file's condenser, of the radiator's core and of the opening, each way; and
    the file's lower and upper edge.
    """
    own = part.part
    assert isinstance(own, Condenser)
    grown = (made.core_height_mm - own.core_height_mm) / 2
    back = np.linalg.inv(part.pose)
    across, up = [0.0], [0.0, grown, -grown]
    core = None
    for other in layout.parts.values():
        at = _middle(other)
        if at is None or not other.known:
            continue
        seen = back @ other.pose @ np.append(at, 1.0)
        across.append(float(seen[1]))
        up.append(float(seen[2]))
        if other.kind == "radiator" and core is None:
            core = seen[1:3], core_half_mm(other)
    found = [np.array([0.0, y, z]) for y, z in product(_distinct(across), _distinct(up))]

    def covers(shift: Floats) -> float:
        if core is None:
            return 0.0
        ends = [
            min(middle + half, at + size / 2) - max(middle - half, at - size / 2)
            for middle, half, at, size in zip(
                core[0], core[1], shift[1:], (made.core_width_mm, made.core_height_mm), strict=True
            )
        ]
        return float(np.prod(np.maximum(ends, 0.0)))

    far = {id(one): float(np.hypot(one[1], one[2])) for one in found}
    yield from sorted(found, key=lambda one: (-round(covers(one)), far[id(one)]))


def _middle(other: PlacedPart) -> Floats | None:
    """Of a radiator's core, or of the opening in a core support, in its own frame."""
    if other.kind == "radiator":
        return np.zeros(3)
    if isinstance(other.part, CoreSupport):
        return np.array([0.0, 0.0, other.part.opening_height_mm / 2])
    return None


def _distinct(values: Sequence[float]) -> list[float]:
    kept: list[float] = []
    for one in values:
        if all(abs(one - other) >= _SAME_MM for other in kept):
            kept.append(one)
    return kept


def _there(part: PlacedPart, made: Condenser, shift: Floats) -> PlacedPart:
    """The condenser with another face, further on in its plane; as sure as the file's own."""
    arm = part.placements[0].pose.turn @ shift
    placements = tuple(
        replace(one, pose=replace(one.pose, shift=one.pose.shift + arm)) for one in part.placements
    )
    return replace(part, part=made, placements=placements)


def _off(part: PlacedPart, found: Stood) -> Floats:
    one = part.placements[0].pose
    return np.asarray(one.turn.T @ (found.part.placements[0].pose.shift - one.shift))
