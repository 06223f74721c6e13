"""A part that might be bought, put into the nose: where it keeps the rules, what is in its way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.checks.stand_ins import PIECES_MM, StandIns
from noseroom.findings import Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.condenser import Condenser
from noseroom.parts.radiator import Radiator
from noseroom.physics.ranges import Floats
from noseroom.survey.solution import Placement

__all__ = ["TRIED", "Stood", "carried_by", "core_half_mm", "shifted_placement", "stood"]

TRIED = "tried part"
"""Kind of a part that no sentence places: it moves with what it is tied to."""


@dataclass(frozen=True, eq=False)
class Stood:
    """A part where it was tried. verdict: on all its pairs at rest; by: which other part decides.

    layout: the nose with it.
    """

    part: PlacedPart
    layout: Layout
    verdict: Verdict
    by: str


def core_half_mm(part: PlacedPart) -> tuple[float, float]:
    """Half the width and height of a radiator's or condenser's core."""
    own = part.part
    assert isinstance(own, (Condenser, Radiator))
    return own.core_width_mm / 2, own.core_height_mm / 2


def shifted_placement(one: Placement, name: str, local: Floats) -> Placement:
    """A placement further on by (3,) mm along its own axes, rigid with what it was of.

    Sizes of its own move it no more: it is another part.
    """
    arm = one.pose.turn @ local
    lever = arm[:, None]
    return replace(
        one,
        name=name,
        pose=replace(one.pose, shift=one.pose.shift + arm),
        shift_gain=one.shift_gain + np.cross(one.turn_gain, lever, axis=0),
        shift_null=one.shift_null + np.cross(one.turn_null, lever, axis=0),
        sizes={},
        size_gain={},
    )


def carried_by(layout: Layout, name: str) -> frozenset[str]:
    """What goes with a part or follows it: carried by it, tied to it, joined to it."""
    return frozenset(
        one.name
        for one in layout.parts.values()
        if one.carrier == name
        or name in one.ties
        or (one.kind in ("bracket", "made bracket") and name in one.entry.joined)
    )


def stood(
    pairs: Pairs,
    rules: Rules,
    tries: Iterable[PlacedPart],
    apart: frozenset[str] = frozenset(),
    seat: frozenset[tuple[str, str]] = frozenset(),
) -> Stood | None:
    """The first of several places in which a part keeps every rule at rest, else the best of them.

    apart: names of what is taken out of the nose, or goes with the part. seat: part and component
    that it is made to sit on. None for no tries.
    """
    best: Stood | None = None
    first: list[str] = []
    for part in tries:
        there = StandIns(pairs, {part.name: part})
        found = _judged(_Nose(there, rules, apart, seat), part, first)
        if best is None or found.verdict.rank > best.verdict.rank:
            best = found
        if best.verdict is Verdict.FITS:
            break
    return best


@dataclass(frozen=True, eq=False)
class _Nose:
    """A nose with the part in it, and what it is not held against."""

    there: StandIns
    rules: Rules
    apart: frozenset[str]
    seat: frozenset[tuple[str, str]]


def _judged(nose: _Nose, part: PlacedPart, first: list[str]) -> Stood:
    """One place. first: what was in the way before, which is looked at before the rest."""
    worst, by = Verdict.FITS, ""
    for other in _others(nose.there.layout, part, nose.apart, first):
        verdict = _between(nose, part, other)
        if verdict.rank < worst.rank:
            worst, by = verdict, other.name
            if other.name in first:
                first.remove(other.name)
            first.insert(0, other.name)
        if worst is Verdict.FOULS:
            break
    return Stood(part, nose.there.layout, worst, by)


def _others(
    layout: Layout, part: PlacedPart, apart: frozenset[str], first: list[str]
) -> Iterator[PlacedPart]:
    names = [*first, *(name for name in layout.parts if name not in first)]
    for name in names:
        other = layout.parts[name]
        if name != part.name and name not in apart and not other.unplaced and other.components:
            yield other


def _between(nose: _Nose, part: PlacedPart, other: PlacedPart) -> Verdict:
    """The worst of all components, by their pieces; those contain the metal, by 1 mm at most."""
    worst, there = Verdict.FITS, nose.there
    for mine, theirs in component_pairs(there.layout, part, other):
        if (other.name, theirs) in nose.seat:
            continue
        asked = nose.rules.between(part, mine, other, theirs).value_mm
        if there.box_gap_mm(part, mine, other, theirs) - there.sway_mm(part, other) >= asked:
            continue
        gap = there.sure_gap(part, mine, other, theirs, enough_mm=asked)
        if gap.answers(asked) and gap.lower_mm >= asked:
            continue
        unseen = mine in part.part.unseen() or theirs in other.part.unseen()
        if unseen or not gap.answers(asked):
            verdict = Verdict.NOT_KNOWN
        elif gap.nominal_mm + gap.spread_mm + PIECES_MM < asked:
            return Verdict.FOULS
        else:
            verdict = Verdict.TOO_CLOSE
        worst = min(worst, verdict, key=lambda one: one.rank)
    return worst
