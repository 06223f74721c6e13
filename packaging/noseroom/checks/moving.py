"""Does it keep clear when the engine moves? Every pair of something on it and something fixed."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.motion import Motion, MovingPairs, motions_of
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Rule, Verdict
from noseroom.geometry.clearance import clearance
from noseroom.geometry.mesh import Body
from noseroom.layout import PlacedPart

Floats = NDArray[np.float64]
Bodies = Mapping[tuple[str, str], Body]
Progress = Callable[[int, int, str], None]

STATE = "moving"
RULE = "moving"
_CAP_MM = 150.0
_NEAR_MM = 60.0
"""An engine of which nobody knows where it stands matters to what is nearer than this."""
_ENGINE_GROUPS = ("engine", "fan and hub")


@dataclass(frozen=True, eq=False)
class _Case:
    """Two components that may come too near. unseen: one is space that a scan did not see."""

    a: PlacedPart
    mine: str
    b: PlacedPart
    theirs: str
    gap: SureGap
    unseen: bool


def check_moving(
    pairs: Pairs,
    bodies: Bodies,
    rules: Rules,
    settled: Collection[frozenset[str]],
    progress: Progress,
) -> tuple[Finding, ...]:
    """Findings on pairs that may meet when an engine moves, or one that says that none may.

    settled: the pairs that are known to keep their rules at rest; of the others the answer at rest
    says what is to be said.
    """
    found: list[Finding] = []
    for motion in motions_of(pairs.layout):
        moving = MovingPairs(pairs, motion)
        todo = [
            pair for pair in _opposite(moving) if frozenset(one.name for one in pair) in settled
        ]
        bad: list[Finding] = []
        for done, (a, b) in enumerate(todo):
            progress(done, len(todo), f"{a.name} and {b.name} when the {motion.engine} moves")
            case = _worst(moving, a, b, rules.named(RULE).value_mm)
            if case is not None:
                bad.append(_finding(moving, bodies, rules.named(RULE), case))
        found += bad
        if todo and not bad:
            found.append(_all_clear(moving, rules.named(RULE), len(todo)))
    return (*found, *_astray(pairs, rules.named(RULE)))


def _astray(pairs: Pairs, rule: Rule) -> Iterator[Finding]:
    """What moves with an engine of which nothing says where it stands, and is near something."""
    layout = pairs.layout
    moved = {name for motion in motions_of(layout) for name in motion.moved}
    parts = [one for one in layout.parts.values() if one.components and not one.unplaced]
    lost = [one for one in parts if one.group in _ENGINE_GROUPS and one.name not in moved]
    fixed = [one for one in parts if one.group not in _ENGINE_GROUPS]
    near = [
        one.name
        for one in lost
        if any(
            pairs.box_gap_mm(one, mine, other, theirs) < _NEAR_MM
            for other in fixed
            for mine, theirs in component_pairs(layout, one, other)
        )
    ]
    if near:
        yield Finding(
            id="moving: no engine",
            question="does anything meet when the engine moves",
            parts=tuple(near),
            verdict=Verdict.NOT_KNOWN,
            note=(
                f"Whether {words.listed(near)} keep clear when the engine moves is not known: "
                f"nothing says where the engine stands that carries them."
            ),
            state=STATE,
            rule=rule,
            remedies=("measure where the crank's axis and the front of the block stand",),
        )


def _opposite(moving: MovingPairs) -> Iterator[tuple[PlacedPart, PlacedPart]]:
    """Pairs of a part that moves and one that does not."""
    placed = [
        part
        for part in moving.layout.parts.values()
        if part.components and not part.unplaced and not gives(moving.motion, part)
    ]
    for a in placed:
        for b in placed:
            if a.name in moving.motion.moved and b.name not in moving.motion.moved:
                yield a, b


def gives(motion: Motion, part: PlacedPart) -> bool:
    """Whether a part runs from what moves to what does not, as a radiator hose does."""
    ends = {name in motion.moved for name in part.ties}
    return part.kind == "hose" and len(ends) > 1


def _worst(moving: MovingPairs, a: PlacedPart, b: PlacedPart, asked_mm: float) -> _Case | None:
    """The components that may come nearest, or None where all surely keep what is asked."""
    worst: _Case | None = None
    loose = moving.sway_mm(a, b)
    for mine, theirs in component_pairs(moving.layout, a, b):
        if moving.box_gap_mm(a, mine, b, theirs) - loose >= asked_mm:
            continue
        gap = moving.sure_gap(a, mine, b, theirs, enough_mm=asked_mm)
        if gap.answers(asked_mm) and gap.lower_mm >= asked_mm:
            continue
        # What can be told comes before what cannot: it may be a sure foul.
        told = gap.answers(asked_mm), -gap.lower_mm
        if worst is None or told > (worst.gap.answers(asked_mm), -worst.gap.lower_mm):
            unseen = mine in a.part.unseen() or theirs in b.part.unseen()
            worst = _Case(a, mine, b, theirs, gap, unseen)
    return worst


def _amounts(motion: Motion, gap: SureGap) -> Floats:
    """What the engine does where the two come nearest, (5,) degrees and mm."""
    if gap.worst is None:
        return np.zeros(len(motion.reaches))
    way = np.sign(gap.worst.form[-len(motion.reaches) :])
    return np.asarray(-way * motion.reaches)


def _finding(moving: MovingPairs, bodies: Bodies, rule: Rule, case: _Case) -> Finding:
    motion, unit = moving.motion, moving.layout.envelope.unit
    a, b, gap = case.a, case.b, case.gap
    amounts = _amounts(motion, gap)
    pair = f"{a.name} and {b.name}"
    measured = bound = None
    points: tuple[tuple[float, float, float], ...] = ()
    if not case.unseen and gap.answers(rule.value_mm):
        there = motion.pose(amounts) @ a.pose
        body, other = bodies[a.name, case.mine], bodies[b.name, case.theirs]
        solids = clearance(body, other, there, b.pose, cap_mm=_CAP_MM)
        measured, bound = solids.distance_mm, solids.bound_mm
        if solids.pull_apart is not None:
            measured = bound = -solids.pull_apart.distance_mm
        if solids.points is not None:
            points = tuple((float(x), float(y), float(z)) for x, y, z in solids.points)
    readings = 0.0
    if gap.worst is not None:
        still = gap.worst.form.copy()
        still[-len(amounts) :] = 0.0
        readings = float(moving.layout.uncertainty.spread(still)) + a.slack_mm + b.slack_mm
    if measured is None or bound is None:
        verdict = Verdict.NOT_KNOWN
        note = f"Whether {pair} keep clear when the {motion.engine} moves is not known."
    else:
        surely = motion.measured and measured + readings < rule.value_mm
        verdict = Verdict.FOULS if surely else Verdict.TOO_CLOSE
        when = f"When the {motion.engine} {said(motion, amounts, unit)}, {pair}"
        asked = f"{words.at_least(rule.value_mm, unit)} is asked"
        nearest = measured if surely else min(gap.lower_mm, bound)
        if nearest <= 0:
            note = f"{when} {'touch' if surely else 'may touch'}; {asked}."
        elif surely:
            note = f"{when} are only {words.length(nearest, unit)} apart; {asked}."
        else:
            note = f"{when} may come within {words.length(nearest, unit)}; {asked}."
    sure = None if bound is None else min(gap.lower_mm, bound)
    return Finding(
        id=f"moving: {a.name} / {b.name}",
        question=f"do they keep clear when the {motion.engine} moves",
        parts=(a.name, b.name),
        verdict=verdict,
        note=note,
        state=STATE,
        measured_mm=measured,
        bound_mm=bound,
        spread_mm=None if sure is None or bound is None else bound - sure,
        rule=rule,
        points=points,
        remedies=_remedies(motion, rule, sure, unit, pair),
        rests_on=words.supports(gap.worst.form, moving.layout.survey.sources, unit)
        if gap.worst is not None
        else (),
        details={
            "components": f"{case.mine} / {case.theirs}",
            **{one.key: float(x) for one, x in zip(motion.sources, amounts, strict=True)},
        },
    )


def said(motion: Motion, amounts: Floats, unit: str) -> str:
    """What an engine does, in words: "rocks 3 deg, surges 6 mm forward"."""
    roll, pitch, aft, right, up = (float(one) for one in amounts)
    parts = [
        ("rocks", f"{abs(roll):g} deg its {'right' if roll > 0 else 'left'} side up", roll),
        ("dips" if pitch < 0 else "rises", f"{abs(pitch):g} deg at the nose", pitch),
        ("surges", f"{words.at_least(abs(aft), unit)} {'aft' if aft > 0 else 'forward'}", aft),
        (
            "shifts",
            f"{words.at_least(abs(right), unit)} to the car's {'right' if right > 0 else 'left'}",
            right,
        ),
        ("lifts" if up > 0 else "drops", words.at_least(abs(up), unit), up),
    ]
    told = [f"{verb} {how}" for verb, how, amount in parts if amount]
    return words.listed(told) if told else "moves"


def _remedies(
    motion: Motion, rule: Rule, sure_mm: float | None, unit: str, pair: str
) -> tuple[str, ...]:
    line = motion.sources[0].line
    remedies = []
    if not motion.measured:
        remedies.append(
            f"measure how far the {motion.engine} moves, cold and with the battery off: pry it "
            f"each way, and write it as moves: (line {line})"
        )
    if sure_mm is not None and motion.measured:
        more = words.at_least(rule.value_mm - sure_mm, unit)
        remedies.append(
            f"make {more} more room between {pair}, or limit the movement with firmer mounts"
        )
    return tuple(remedies)


def _all_clear(moving: MovingPairs, rule: Rule, count: int) -> Finding:
    motion, unit = moving.motion, moving.layout.envelope.unit
    how = words.listed([words.in_unit(one.text, unit) for one in motion.sources if one.reach > 0])
    taken = "as the file says" if motion.measured else "as is assumed while nobody has measured it"
    return Finding(
        id=f"moving: {motion.engine}",
        question=f"does anything meet when the {motion.engine} moves",
        parts=(motion.engine,),
        verdict=Verdict.FITS,
        note=(
            f"When the {motion.engine} {how or 'stands still'}, {taken}, what fits at rest keeps "
            f"{words.at_least(rule.value_mm, unit)} clear of what is fixed ({count} pairs; hoses "
            f"between the two give way and are not looked at)."
        ),
        state=STATE,
        rule=rule,
    )
