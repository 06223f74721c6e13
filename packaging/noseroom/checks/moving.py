"""Does it keep clear in motion? Every pair of something that moves and something that does not."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.bodies import Bodies
from noseroom.checks.margins import AMPLE_MM, MOVING, Margins
from noseroom.checks.movement import Motion, motions_of, movers
from noseroom.checks.moving_search import MovingSearch, Nearest
from noseroom.checks.moving_words import doing, hinge_to_measure, may_do, to_measure
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Rule, Verdict
from noseroom.layout import PlacedPart
from noseroom.survey.solution import Source

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

STATE = "moving"
RULE = "moving"
_NEAR_MM = 60.0
"""An engine of which nobody knows where it stands matters to what is nearer than this."""
_ENGINE_GROUPS = ("engine", "fan and hub")
_ERROR_MM = 3.0
_NEAREST_MM = 30.0
"""Of pairs that surely stay further apart than this nobody asks which come nearest."""


def check_moving(
    pairs: Pairs,
    bodies: Bodies,
    rules: Rules,
    settled: Collection[frozenset[str]],
    progress: Progress,
    margins: Margins | None = None,
) -> tuple[Finding, ...]:
    """Findings on pairs that may meet when something moves, or one that says that none may.

    settled: the pairs that are known to keep their rules at rest; of the others the answer at rest
    says what is to be said. What moves is looked at in every combination with what else moves.
    margins: where the verdict on each pair is noted, with how much it may change and stand.
    """
    rule = rules.named(RULE)
    search = MovingSearch(pairs, motions_of(pairs.layout))
    noted = Margins() if margins is None else margins
    found: list[Finding] = []
    seen: set[frozenset[str]] = set()
    for motion in search.motions:
        todo = list(_todo(search, motion, settled))
        bad: list[Finding] = []
        fine: list[_Pair] = []
        for done, (a, b) in enumerate(todo):
            progress(done, len(todo), f"{a.name} and {b.name} when the {motion.root} moves")
            if frozenset((a.name, b.name)) in seen:
                continue
            seen.add(frozenset((a.name, b.name)))
            sure, told = _judged(search, bodies, rule, a, b)
            _note_margin(noted, pairs, rule, a, b, sure, told)
            if told is None:
                fine.append(_Pair(sure, a, b))
            else:
                bad.append(_finding(search, rule, told))
        found += bad
        if fine and not bad:
            found.append(_all_clear(search, motion, rule, len(todo), fine))
    return (*found, *unclear_in_motion(pairs, rules))


def look_at_moving(
    ways: Sequence[Pairs],
    bodies: Bodies,
    rules: Rules,
    settled: Collection[frozenset[str]],
    margins: Margins,
) -> None:
    """Note the verdicts on all pairs, without findings; what stands is not looked at.

    ways: see `Margins.look`.
    """
    rule, motions = rules.named(RULE), motions_of(ways[-1].layout)
    searches = [cache(partial(MovingSearch, pairs, motions)) for pairs in ways]
    seen: set[frozenset[str]] = set()
    for motion in motions:
        for a, b in _todo(searches[0](), motion, settled):

            def note(
                way: Callable[[], MovingSearch],
                found: Margins,
                a: PlacedPart = a,
                b: PlacedPart = b,
            ) -> None:
                told = _judged(way(), bodies, rule, a, b)
                _note_margin(found, way().at_rest, rule, a, b, *told)

            if frozenset((a.name, b.name)) not in seen:
                margins.look(MOVING, a, b, searches, note)
            seen.add(frozenset((a.name, b.name)))


def unclear_in_motion(pairs: Pairs, rules: Rules) -> tuple[Finding, ...]:
    """Findings on what moves, and cannot be looked at."""
    rule = rules.named(RULE)
    return (*_astray(pairs, rule), *_on_two(pairs, rule))


def _todo(
    search: MovingSearch, motion: Motion, settled: Collection[frozenset[str]]
) -> Iterator[tuple[PlacedPart, PlacedPart]]:
    for a, b in _opposite(search, motion):
        if frozenset((a.name, b.name)) in settled:
            yield a, b


def _judged(
    search: MovingSearch, bodies: Bodies, rule: Rule, a: PlacedPart, b: PlacedPart
) -> tuple[float, _Told | None]:
    """What surely stays between two parts, and what there is to tell where that is too little."""
    sure = search.kept(a, b, ("sure", rule.value_mm), partial(_sure_mm, search, a, b, rule))
    case = None if sure >= rule.value_mm else search.nearest(a, b, rule.value_mm)
    return sure, None if case is None else _told(search, bodies, rule, case)


def _note_margin(
    margins: Margins,
    pairs: Pairs,
    rule: Rule,
    a: PlacedPart,
    b: PlacedPart,
    sure_mm: float,
    told: _Told | None,
) -> None:
    asked = rule.value_mm
    verdict, room = Verdict.FITS, sure_mm - asked
    if told is not None:
        verdict = told.verdict
        short = asked - min(told.case.gap.lower_mm, np.inf if told.bound is None else told.bound)
        sure_of = np.inf if told.measured is None else told.measured + told.readings - asked
        room = -sure_of if verdict is Verdict.FOULS else short
        if verdict is Verdict.TOO_CLOSE and told.all_said:
            room = min(room, sure_of)
    margins.note(MOVING, a, b, verdict, float(room), pairs.bent_mm(a, b))


@dataclass(frozen=True, eq=False)
class _Told:
    """What is known of two parts that may come too near, where they come nearest.

    measured, bound: of their solids there, mm; None where that tells nothing. readings: what
    readings and hinges hide of it, mm. hinges: mm of the gap for a mm of each line that something
    turns about, and the size that says where it is. all_said: whether the file says the movement.
    """

    case: Nearest
    motions: tuple[Motion, ...]
    verdict: Verdict
    measured: float | None
    bound: float | None
    readings: float
    hinges: tuple[tuple[float, Source], ...]
    points: tuple[tuple[float, float, float], ...]
    all_said: bool


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two parts that keep what is asked, and what surely stays between them at the least, mm."""

    sure_mm: float
    a: PlacedPart
    b: PlacedPart


def _sure_mm(search: MovingSearch, a: PlacedPart, b: PlacedPart, rule: Rule) -> float:
    """What surely stays between two parts, without pains beyond what is asked."""
    sure = search.quick_mm(a, b)
    if search.far(a, b) and sure < _NEAREST_MM:
        # A far swing is looked at once for both questions: it takes the most time.
        near = search.nearest(a, b, rule.value_mm, below_mm=_NEAREST_MM, error_mm=_ERROR_MM)
        sure = _NEAREST_MM if near is None else max(sure, near.gap.lower_mm)
    if sure >= rule.value_mm + search.at_rest.doubt_mm(a, b):
        return float(sure)
    closer = search.surely_mm(a, b, rule.value_mm, ample_mm=AMPLE_MM)
    return float(closer if sure < rule.value_mm else max(sure, closer))


def _astray(pairs: Pairs, rule: Rule) -> Iterator[Finding]:
    """What moves with an engine of which nothing says where it stands, and is near something."""
    layout = pairs.layout
    placed = {one.name for one in layout.parts.values() if _root_known(pairs, one)}
    parts = [one for one in layout.parts.values() if one.components and not one.unplaced]
    lost = [one for one in parts if one.group in _ENGINE_GROUPS and one.name not in placed]
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


def _root_known(pairs: Pairs, part: PlacedPart) -> bool:
    roots = movers(pairs.layout, part)
    return bool(roots) and roots[0].known


def _on_two(pairs: Pairs, rule: Rule) -> Iterator[Finding]:
    """What moves on something that moves itself."""
    for part in pairs.layout.parts.values():
        roots = movers(pairs.layout, part)
        if len(roots) < 2 or not part.components or part.unplaced:
            continue
        both = words.listed([one.name for one in roots])
        yield Finding(
            id=f"moving: {part.name}",
            question="does it keep clear when both of its carriers move",
            parts=(part.name,),
            verdict=Verdict.NOT_KNOWN,
            note=(
                f"Whether the {part.name} keeps clear when {both} move is not known: one moves on "
                f"the other, and that is not looked at."
            ),
            state=STATE,
            rule=rule,
            remedies=(f"say that the car carries the {roots[0].name}, if it does",),
        )


def _opposite(search: MovingSearch, motion: Motion) -> Iterator[tuple[PlacedPart, PlacedPart]]:
    """Pairs of a part that moves with a motion and one that does not."""
    placed = [
        part
        for part in search.at_rest.layout.parts.values()
        if part.components and not part.unplaced and len(movers(search.at_rest.layout, part)) < 2
    ]
    give = {part.name for part in placed if any(gives(one, part) for one in search.motions)}
    for a in placed:
        for b in placed:
            if (
                a.name in motion.moved
                and b.name not in motion.moved
                and not give & {a.name, b.name}
            ):
                yield a, b


def gives(motion: Motion, part: PlacedPart) -> bool:
    """Whether a part runs from what moves to what does not, as a radiator hose does."""
    ends = {name in motion.moved for name in part.ties}
    return part.kind == "hose" and len(ends) > 1


def _told(search: MovingSearch, bodies: Bodies, rule: Rule, case: Nearest) -> _Told:
    a, b, gap = case.a, case.b, case.gap
    motions = tuple(one for one in search.motions if one.root in case.amounts)
    measured = bound = None
    points: tuple[tuple[float, float, float], ...] = ()
    if not case.unseen and gap.answers(rule.value_mm):
        poses = case.pose(a), case.pose(b)
        solids = bodies.clearance(a, case.mine, b, case.theirs, poses=poses)
        measured, bound = solids.distance_mm, solids.bound_mm
        if solids.pull_apart is not None:
            measured = bound = -solids.pull_apart.distance_mm
        if solids.points is not None:
            points = tuple((float(x), float(y), float(z)) for x, y, z in solids.points)
    readings = 0.0
    if gap.worst is not None:
        readings = case.pairs.readings_mm(gap.worst, a, b)
    hinges = tuple(
        (one.pivot_slope(case.amounts[one.root]), source)
        for one in motions
        for source in one.pivot_sources
    )
    readings += sum(slope * source.reach for slope, source in hinges)
    all_said = all(one.measured for one in motions)
    verdict = Verdict.NOT_KNOWN
    if measured is not None:
        surely = all_said and measured + readings < rule.value_mm
        verdict = Verdict.FOULS if surely else Verdict.TOO_CLOSE
    return _Told(case, motions, verdict, measured, bound, readings, hinges, points, all_said)


def _finding(search: MovingSearch, rule: Rule, told: _Told) -> Finding:
    unit = search.at_rest.layout.envelope.unit
    case, motions, verdict = told.case, told.motions, told.verdict
    a, b, gap, measured, bound = case.a, case.b, case.gap, told.measured, told.bound
    names = words.listed([f"the {one.root}" for one in motions])
    moves = "moves" if len(motions) == 1 else "move"
    pair = f"{a.name} and {b.name}"
    if measured is None or bound is None:
        note = f"Whether {pair} keep clear when {names} {moves} is not known."
    else:
        surely = verdict is Verdict.FOULS
        when = f"When {doing(motions, case.amounts, unit)}, {pair}"
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
        question=f"do they keep clear when {names} {moves}",
        parts=(a.name, b.name),
        verdict=verdict,
        note=note,
        state=STATE,
        measured_mm=measured,
        bound_mm=bound,
        spread_mm=None if sure is None or bound is None else bound - sure,
        rule=rule,
        points=told.points,
        remedies=_remedies(motions, case.amounts, rule, sure, unit, pair),
        rests_on=words.supports(
            np.append(gap.worst.form, [slope for slope, _ in told.hinges]),
            (*case.pairs.layout.survey.sources, *(source for _, source in told.hinges)),
            unit,
        )
        if gap.worst is not None
        else (),
        details={
            "components": f"{case.mine} / {case.theirs}",
            **{
                one.key: float(x)
                for motion in motions
                for one, x in zip(motion.sources, case.amounts[motion.root], strict=True)
            },
        },
    )


def _remedies(
    motions: Sequence[Motion],
    amounts: Mapping[str, Floats],
    rule: Rule,
    sure_mm: float | None,
    unit: str,
    pair: str,
) -> tuple[str, ...]:
    remedies: list[str] = []
    for motion in motions:
        remedies += to_measure(motion)
        remedies += hinge_to_measure(motion, amounts[motion.root])
    if sure_mm is not None and not remedies:
        more = words.at_least(rule.value_mm - sure_mm, unit)
        firmer = any(one.kind == "engine" for one in motions)
        limit = ", or limit the movement with firmer mounts" if firmer else ""
        remedies.append(f"make {more} more room between {pair}{limit}")
    return tuple(remedies)


def _all_clear(
    search: MovingSearch, motion: Motion, rule: Rule, count: int, fine: list[_Pair]
) -> Finding:
    unit = search.at_rest.layout.envelope.unit
    if motion.kind == "engine":
        fixed = "what is fixed"
        others = words.listed([f"the {one.root}" for one in search.motions if one is not motion])
        if len(search.motions) > 1:
            fixed += (
                f", and of {others} wherever that is"
                if len(search.motions) == 2
                else (f", and of {others} wherever they are")
            )
        hoses = "; hoses between the two give way and are not looked at"
    else:
        fixed, hoses = "everything else", ""
    nearest, details = _nearest(search, motion, rule, fine)
    return Finding(
        id=f"moving: {motion.root}",
        question=f"does anything meet when the {motion.root} moves",
        parts=(motion.root,),
        verdict=Verdict.FITS,
        note=(
            f"When the {motion.root} {may_do(motion, unit)}, what fits at rest keeps "
            f"{words.at_least(rule.value_mm, unit)} clear of {fixed} ({count} pairs{hoses})."
            f"{nearest}"
        ),
        state=STATE,
        rule=rule,
        details=details,
    )


def _nearest(
    search: MovingSearch, motion: Motion, rule: Rule, fine: list[_Pair]
) -> tuple[str, dict[str, float | str | list[list[float]]]]:
    """Which two come nearest, how near, and when; nothing where that cannot be told."""
    unit = search.at_rest.layout.envelope.unit
    first: _Pair | None = None
    least = _NEAREST_MM
    for one in sorted(fine, key=lambda one: (one.sure_mm, one.a.name, one.b.name)):
        if one.sure_mm >= least:
            break
        sure = search.kept(
            one.a,
            one.b,
            ("nearest", rule.value_mm, least),
            partial(_nearer_mm, search, one, rule, least),
        )
        if sure < least:
            first, least = one, sure
    if first is None:
        return f" None of these comes nearer than {words.length(least, unit)}.", {}
    best = search.nearest(first.a, first.b, rule.value_mm, below_mm=_NEAREST_MM, error_mm=_ERROR_MM)
    if best is None or not best.gap.answers(rule.value_mm):
        return "", {}
    least = best.gap.lower_mm
    motions = [each for each in search.motions if each.root in best.amounts]
    when = doing(motions, best.amounts, unit)
    pair = f"{best.a.name} and {best.b.name}"
    return (
        f" Nearest come {pair}: {words.length(least, unit)} is sure, when {when}.",
        {"nearest": f"{best.a.name} / {best.b.name}", "nearest_sure_mm": float(least)},
    )


def _nearer_mm(search: MovingSearch, one: _Pair, rule: Rule, least: float) -> float:
    """What surely stays between two parts, or `least` where that is less."""
    found = search.nearest(one.a, one.b, rule.value_mm, below_mm=least, error_mm=_ERROR_MM)
    return least if found is None else min(least, float(found.gap.lower_mm))
