"""A nose with one part set elsewhere: what it keeps clear of there, and how its belts then run.

The belts over it are laid anew, as when the file is read; hoses on it are led another way in the
car, and are not asked. Readings and assumptions move it as they do where it stands, by the longer
arm.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.layout import Layout, PlacedPart, place_derived
from noseroom.survey.poses import Pose
from noseroom.survey.solution import Placement
from noseroom.tables.limits import limits

Floats = NDArray[np.float64]

_SLIGHT_DEG = 1e-6
_AMPLE_MM = 10.0
"""How far beyond its rule pains are taken to show what a gap surely keeps."""


@dataclass(frozen=True)
class Kept:
    """The room to one other part: what surely stays, and what the rule asks, mm."""

    part: str
    other: str
    sure_mm: float
    asked_mm: float

    @property
    def spare_mm(self) -> float:
        """Beyond the rule; below zero: it is not kept."""
        return self.sure_mm - self.asked_mm


@dataclass(frozen=True)
class Line:
    """How far belts run out of line beyond what they bear, deg: at most, and as adjusted."""

    most_deg: float
    adjusted_deg: float

    def no_worse_than(self, other: Line) -> bool:
        """Whether no answer on a belt's line gets worse: what fits still does for sure."""
        if other.most_deg <= 0:
            return self.most_deg <= 0
        return self.adjusted_deg <= max(0.0, other.adjusted_deg) + _SLIGHT_DEG


def moved_layout(layout: Layout, names: Collection[str], shift: Floats) -> Layout:
    """The layout with some parts moved by shift (3,) mm, and belts and hoses on them as they run.

    shift: vehicle frame. Raises GeometryError where a belt has no pulley to run on.
    """
    parts = {
        name: _shifted(part, shift) if name in names else part
        for name, part in layout.parts.items()
    }
    for name, part in layout.parts.items():
        if part.kind in ("belt", "hose") and not set(part.ties).isdisjoint(names):
            run = place_derived(part.entry, parts, layout.envelope.parts)
            if run is not None:
                parts[name] = run
    return dataclasses.replace(layout, parts=parts)


def _shifted(part: PlacedPart, shift: Floats) -> PlacedPart:
    return dataclasses.replace(
        part, placements=tuple(_shifted_one(one, shift) for one in part.placements)
    )


def _shifted_one(one: Placement, shift: Floats) -> Placement:
    arm = shift[:, None]
    return dataclasses.replace(
        one,
        pose=Pose(one.pose.turn, one.pose.shift + shift),
        shift_gain=one.shift_gain + np.cross(one.turn_gain, arm, axis=0),
        shift_null=one.shift_null + np.cross(one.turn_null, arm, axis=0),
    )


class MovedNose:
    """What is to be said of a nose with one part, and all that it carries, moved by a shift.

    names: of what moves. others: what has a place, and stays.
    """

    def __init__(
        self,
        pairs: Pairs,
        rules: Rules,
        names: Collection[str],
        shift: Floats,
        others: Collection[str],
    ) -> None:
        self.layout = moved_layout(pairs.layout, names, shift)
        # Nothing of it is kept: the next time the part stands elsewhere.
        self.pairs = Pairs(self.layout, pairs.bends)
        self.rules, self.names, self.others = rules, names, others

    @cached_property
    def drives(self) -> tuple[Drive, ...]:
        """The belts that run on what moved, and on something that did not."""
        return tuple(
            Drive(self.layout, self.pairs.bends, one)
            for one in self.layout.parts.values()
            if one.kind == "belt"
            and not set(one.ties).isdisjoint(self.names)
            and not set(one.ties) <= set(self.names)
        )

    def kept(self) -> Iterator[Kept]:
        """The room to everything that is near, of what moved and of its belts."""
        parts = self.layout.parts
        moved = [parts[name] for name in sorted(self.names)]
        moved += [one.belt for one in self.drives]
        for part in moved:
            for name in self.others:
                if name != part.name:
                    yield from self._kept(part, parts[name])

    def _kept(self, part: PlacedPart, other: PlacedPart) -> Iterator[Kept]:
        pairs = self.pairs
        for mine, theirs in component_pairs(self.layout, part, other):
            asked = self.rules.between(part, mine, other, theirs).value_mm
            boxes = pairs.box_gap_mm(part, mine, other, theirs) - pairs.sway_mm(part, other)
            if boxes < asked + _AMPLE_MM:
                enough = asked + _AMPLE_MM
                boxes = pairs.sure_gap(part, mine, other, theirs, enough_mm=enough).lower_mm
            yield Kept(part.name, other.name, float(boxes), asked)

    def wraps_deg(self) -> dict[str, float]:
        """The least that its belts surely lie on each of their pulleys; 0 where one cannot run."""
        found: dict[str, float] = {}
        for drive in self.drives:
            wraps = drive.wraps()
            whole = wraps is not None and RunForms(drive).whole
            for one in wraps or ():
                least = one.least_deg if whole else 0.0
                found[one.pulley] = min(found.get(one.pulley, math.inf), least)
        return found

    def line(self) -> Line:
        """Whether its belts run in line."""
        most, plain = -math.inf, -math.inf
        for drive in self.drives:
            bears = limits()[line_limit(drive.belt)].limit_deg
            for one in drive.leans():
                spread = one.spread_deg if one.known else math.inf
                most = max(most, abs(one.angle_deg) + spread - bears)
                plain = max(plain, abs(one.angle_deg) - bears)
        return Line(most, plain)


def line_limit(belt: PlacedPart) -> str:
    """The key of what a belt bears out of line."""
    ribbed = belt.entry.choices.get("section", "v") == "ribbed"
    return "belt line ribbed" if ribbed else "belt line v"
