"""Does it keep clear at speed? Blades that flex, and belts whose free spans swing.

Each fan and belt is replaced by the space that it may reach, and held against all that it keeps its
room to at rest. The engine moves on its mounts at the same time: the worst of both together counts.
How fast a fan may turn is for its maker to say, and nothing here guesses it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.bodies import CAP_MM, Bodies
from noseroom.checks.margins import AMPLE_MM, AT_SPEED, Margins
from noseroom.checks.movement import Motion, motions_of
from noseroom.checks.moving import gives
from noseroom.checks.moving_search import MovingSearch, Nearest
from noseroom.checks.moving_words import doing, to_measure
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.rules import Rules
from noseroom.checks.stand_ins import StandIns
from noseroom.findings import Finding, Rule, Verdict
from noseroom.fingerprints import fingerprint
from noseroom.geometry.clearance import Clearance, clearance
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.separation import MovingPiece, box_gap, nearest
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.at_speed import FlappingBelt, FlexingFan
from noseroom.parts.belt import Belt
from noseroom.parts.fan import Fan
from noseroom.tables.shares import shares

Answer = TypeVar("Answer")
Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

STATE = "at speed"
FAN_RULE, BELT_RULE = "at speed", "belt flap"


@dataclass(frozen=True, eq=False)
class _Swing:
    """What one part does at speed: the part that stands in for it, and that in words.

    how: such as "with its blade tips up to 3 mm forward". ask: what would make it surer. said:
    whether the file gives it.
    """

    part: PlacedPart
    rule: Rule
    how: str
    ask: str
    said: bool
    details: Mapping[str, float | str]


def check_at_speed(
    pairs: Pairs,
    bodies: Bodies,
    rules: Rules,
    settled: Collection[frozenset[str]],
    moving: Collection[frozenset[str]],
    progress: Progress,
    margins: Margins | None = None,
) -> tuple[Finding, ...]:
    """Findings on pairs that may meet at speed, or one for each fan and belt that meets nothing.

    settled: the pairs that are known to keep their rules at rest. moving: the pairs that do not
    when something moves. Of pairs that are open in either, what is to be said has been said.
    margins: where the verdict on each pair is noted, with how much it may change and stand.
    """
    noted = Margins() if margins is None else margins
    swings = list(_swings(pairs.layout, rules))
    if not swings:
        return ()
    still, search = _running(pairs, swings)
    found: list[Finding] = []
    for done, swing in enumerate(swings):
        progress(done, len(swings), f"{swing.part.name} at speed")
        others = list(_others(still, swing, settled, moving))
        cases = [_judged(still, search, bodies, swing, other, noted) for other in others]
        bad = [_finding(search, swing, case, foul) for case, foul in cases if case is not None]
        found += bad
        if others and not bad:
            found.append(_all_clear(search, swing, len(others)))
    return tuple(found)


def look_at_speed(
    ways: Sequence[Pairs],
    bodies: Bodies,
    rules: Rules,
    settled: Collection[frozenset[str]],
    moving: Collection[frozenset[str]],
    margins: Margins,
) -> None:
    """Note the verdicts on all pairs, without findings; what stands is not looked at.

    ways: see `Margins.look`.
    """
    swings = list(_swings(ways[-1].layout, rules))
    if not swings:
        return
    looks = [cache(partial(_running, pairs, swings)) for pairs in ways]
    still, _ = looks[0]()
    for swing in swings:
        for other in _others(still, swing, settled, moving):

            def note(
                way: Callable[[], tuple[Running, MovingSearch]],
                found: Margins,
                swing: _Swing = swing,
                other: PlacedPart = other,
            ) -> None:
                _judged(*way(), bodies, swing, other, found)

            margins.look(AT_SPEED, swing.part, other, looks, note)


def running(pairs: Pairs, rules: Rules) -> tuple[Running, MovingSearch]:
    """The nose with what its fans and belts reach at speed in their stead, still and in motion."""
    return _running(pairs, list(_swings(pairs.layout, rules)))


def _running(pairs: Pairs, swings: list[_Swing]) -> tuple[Running, MovingSearch]:
    still = Running(pairs, {one.part.name: one.part for one in swings})
    return still, MovingSearch(still, motions_of(pairs.layout))


def _others(
    still: Running,
    swing: _Swing,
    settled: Collection[frozenset[str]],
    moving: Collection[frozenset[str]],
) -> Iterator[PlacedPart]:
    """What a part that swings is held against."""
    for other in still.layout.parts.values():
        pair = frozenset((swing.part.name, other.name))
        if other.components and not other.unplaced and pair in settled and pair not in moving:
            yield other


def _judged(
    still: Running,
    search: MovingSearch,
    bodies: Bodies,
    swing: _Swing,
    other: PlacedPart,
    margins: Margins,
) -> tuple[Nearest | None, Clearance | None]:
    """Where two may come too near, None where they do not; and the solids, if they surely foul."""
    asked = swing.rule.value_mm
    sure = still.sure_mm(search, swing.part, other, asked)
    case = None if sure >= asked else _nearest(search, swing.part, other, asked)
    foul, verdict, room = None, Verdict.FITS, sure - asked
    if case is not None:
        known = case.gap.answers(asked) and not case.unseen
        verdict = Verdict.TOO_CLOSE if known else Verdict.NOT_KNOWN
        room = asked - case.gap.lower_mm
        if known and swing.said and isinstance(swing.part.part, FlexingFan):
            solids, over = _solids(still, bodies, swing, case)
            room = min(room, -over) if over <= 0 else over
            if over > 0:
                foul, verdict = solids, Verdict.FOULS
    bent = search.at_rest.bent_mm(swing.part, other)
    margins.note(AT_SPEED, swing.part, other, verdict, float(room), bent)
    return case, foul


class Running(StandIns):
    """A nose with what its fans and belts reach at speed in their stead."""

    def sure_mm(self, search: MovingSearch, a: PlacedPart, b: PlacedPart, asked_mm: float) -> float:
        """What surely stays between two parts, remembered while all else is the same."""
        search = search_for(search, b)
        return self.kept(
            search,
            a,
            b,
            ("at speed", asked_mm),
            lambda: search.surely_mm(a, b, asked_mm, ample_mm=AMPLE_MM),
        )

    def kept(
        self,
        search: MovingSearch,
        a: PlacedPart,
        b: PlacedPart,
        what: tuple[Hashable, ...],
        make: Callable[[], Answer],
    ) -> Answer:
        """An answer on two parts that rests on them, on what carries them, and on how that moves.

        search: in which b is held against a.
        """
        if self._keys is None:
            return make()
        roots = [self.layout.parts[one.root] for one in search.motions]
        key = (
            *what,
            fingerprint(
                [self._keys.of_pair(one, part) for one in roots for part in (a, b)],
                [
                    (one.root, one.kind, one.point, one.turns, one.shifts, one.centre, one.reaches)
                    for one in search.motions
                ],
                [(part.name in one.moved) for one in search.motions for part in (a, b)],
                [
                    (view.turns, view.shifts, view.centre, view.reaches)
                    for one in search.motions
                    for view in one.views
                ],
                [one.pivot_mm for one in search.motions],
                # What is meant to touch, and what gives way, is the file's to say.
                list(component_pairs(self.layout, a, b)),
                any(gives(one, b) for one in search.motions),
            ),
        )
        return self._keys.get(a, b, key, make)


def search_for(search: MovingSearch, other: PlacedPart) -> MovingSearch:
    """The search in which a part is held against what swings.

    A hose from the engine to the body gives way to its movement, but not to a fan: it is held
    against what moves as if nothing else did.
    """
    if any(gives(one, other) for one in search.motions):
        return MovingSearch(search.at_rest, ())
    return search


def _nearest(
    search: MovingSearch, mover: PlacedPart, other: PlacedPart, asked_mm: float
) -> Nearest | None:
    """The components that may come nearer than is asked, or None where all surely do not."""
    return search_for(search, other).nearest(mover, other, asked_mm)


def flex_mm(fan: PlacedPart) -> float:
    """How far a fan's tips may come forward: as the file says at most, or as is assumed."""
    read = fan.entry.sizes["flex"]
    return read.value + read.half_width


def flap(belt: PlacedPart) -> float:
    """Share of a free span that its middle may swing: as the file says at most, or assumed."""
    read = belt.entry.sizes["flap"]
    return read.value + read.half_width


def at_speed(placed: PlacedPart) -> FlexingFan | FlappingBelt | None:
    """What a fan or belt may reach at speed, as a part in its stead; None where it is neither."""
    part = placed.part
    if isinstance(part, Fan) and not placed.unplaced:
        ahead = flex_mm(placed)
        return FlexingFan.of(part, ahead, ahead * shares()["fan aft"].share)
    if isinstance(part, Belt) and part.run and part.path.spans:
        out = flap(placed)
        return FlappingBelt.of(part, out, out * shares()["belt sideways"].share)
    return None


def _swings(layout: Layout, rules: Rules) -> Iterator[_Swing]:
    unit = layout.envelope.unit
    for placed in layout.parts.values():
        part, reach = placed.part, at_speed(placed)
        if isinstance(part, Fan) and reach is not None:
            ahead, read = flex_mm(placed), placed.entry.sizes["flex"]
            far = words.at_least(ahead, unit)
            known = read.knowledge != "assumed"
            yield _Swing(
                replace(placed, part=reach),
                rules.named(FAN_RULE),
                f"with its blade tips up to {far} forward "
                f"({'as the file says' if known else f'assumed of a {part.drive} fan'})",
                f"ask the maker of the {placed.name} how far its tips come forward at the highest "
                f"speed that it is made for, and write it as flex: (line {placed.entry.line})",
                known,
                {"flex_mm": round(ahead, 3), "flex_source": read.source or "the envelope file"},
            )
        elif isinstance(part, Belt) and reach is not None:
            out, read = flap(placed), placed.entry.sizes["flap"]
            known = read.knowledge != "assumed"
            yield _Swing(
                replace(placed, part=reach),
                rules.named(BELT_RULE),
                f"with its free spans swinging by {100 * out:g} % of their length "
                f"({'as the file says' if known else 'assumed'})",
                f"watch the {placed.name} from a safe place while somebody else revs the engine, "
                f"and write how far it swings as flap: (line {placed.entry.line}), as a share of "
                f"its longest span",
                known,
                {"flap": round(out, 4), "flap_source": read.source or "the envelope file"},
            )


def _finding(search: MovingSearch, swing: _Swing, case: Nearest, foul: Clearance | None) -> Finding:
    layout = search.at_rest.layout
    unit, asked = layout.envelope.unit, swing.rule.value_mm
    name, gap = swing.part.name, case.gap
    known = gap.answers(asked) and not case.unseen
    sources = layout.survey.sources
    form = None if gap.worst is None else gap.worst.form[: len(sources)]
    # Of the pieces, where the movement takes them: what readings may take off comes on top.
    measured = max(_reached_mm(case), gap.lower_mm) if known else gap.nominal_mm
    places = _places(gap, foul) if known else None
    verdict = Verdict.NOT_KNOWN if not known else Verdict.FOULS if foul else Verdict.TOO_CLOSE
    if foul is not None:
        measured = -foul.pull_apart.distance_mm if foul.pull_apart else foul.distance_mm
    sure = min(gap.lower_mm, measured)
    return Finding(
        id=f"at speed: {name} / {case.b.name}",
        question="do they keep clear at speed",
        parts=(name, case.b.name),
        verdict=verdict,
        note=_note(search, swing, case, verdict, measured if foul else sure),
        state=STATE,
        measured_mm=measured if known else None,
        bound_mm=measured if known else None,
        spread_mm=measured - sure if known else None,
        rule=swing.rule,
        points=()
        if places is None
        else tuple((float(x), float(y), float(z)) for x, y, z in places),
        remedies=_remedies(search, swing, case, verdict, sure),
        rests_on=() if form is None else words.supports(form, sources, unit),
        details={"components": f"{case.mine} / {case.theirs}", **swing.details},
    )


def _reached_mm(case: Nearest) -> float:
    """The gap of the pieces as adjusted, where the movement takes them; below nothing: overlap."""

    def moved(part: PlacedPart, component: str) -> list[MovingPiece]:
        pose = case.pose(part) @ np.linalg.inv(part.pose)
        return [
            replace(one, corners=one.corners @ pose[:3, :3].T + pose[:3, 3], hull=None)
            for one in part.moving[component][0]
        ]

    ours, others = moved(case.a, case.mine), moved(case.b, case.theirs)
    best = np.inf
    for far, one, other in sorted(
        ((box_gap(a.box, b.box), i, j) for i, a in enumerate(ours) for j, b in enumerate(others))
    ):
        if far >= max(best, 0.0):
            break
        best = min(best, nearest(ours[one], others[other])[0])
    return float(best)


def _places(gap: SureGap, foul: Clearance | None) -> Floats | None:
    """Where the two are nearest, (2, 3) mm, with the engine where it was measured."""
    if foul is not None:
        return None if foul.points is None else np.asarray(foul.points)
    if gap.worst is None:
        return None
    near = gap.worst.points[0]
    return np.array([near, near + max(gap.nominal_mm, 0.0) * gap.worst.direction])


def _solids(still: Pairs, bodies: Bodies, swing: _Swing, case: Nearest) -> tuple[Clearance, float]:
    """The true solids with the engine at rest, and by how much they surely break the rule, mm.

    Of a fan whose flex the file says; a span's swing is a figure of experience, never a sure foul.
    """
    part, asked = swing.part, swing.rule.value_mm
    gap = still.sure_gap(part, case.mine, case.b, case.theirs, enough_mm=asked, look_mm=CAP_MM)
    body = body_from_shape(case.mine, part.part.solids()[case.mine])
    other = bodies[case.b.name, case.theirs]
    found = clearance(body, other, part.pose, case.b.pose, cap_mm=CAP_MM)
    apart = -found.pull_apart.distance_mm if found.pull_apart else found.distance_mm
    return found, float(asked - apart - gap.spread_mm)


def _moving(search: MovingSearch, case: Nearest) -> list[Motion]:
    """What moves the two against each other."""
    return [one for one in search.motions if one.root in case.amounts and _apart(one, case)]


def _apart(motion: Motion, case: Nearest) -> bool:
    return (case.a.name in motion.moved) != (case.b.name in motion.moved)


def _note(
    search: MovingSearch, swing: _Swing, case: Nearest, verdict: Verdict, nearest_mm: float
) -> str:
    unit, name, other = search.at_rest.layout.envelope.unit, swing.part.name, case.b.name
    if verdict is Verdict.NOT_KNOWN:
        return f"Whether {name} and {other} keep clear at speed is not known."
    movers = _moving(search, case) if verdict is not Verdict.FOULS else []
    while_ = f", while {doing(movers, case.amounts, unit)}" if movers else ""
    when = f"At speed, {swing.how}{while_}, the {name}"
    asked = f"{words.at_least(swing.rule.value_mm, unit)} is asked"
    if verdict is Verdict.FOULS:
        if nearest_mm <= 0:
            return f"{when} runs into the {other}; {asked}."
        return f"{when} comes within {words.length(nearest_mm, unit)} of the {other}; {asked}."
    if nearest_mm <= 0:
        return f"{when} may touch the {other}; {asked}."
    return f"{when} may come within {words.length(nearest_mm, unit)} of the {other}; {asked}."


def _remedies(
    search: MovingSearch, swing: _Swing, case: Nearest, verdict: Verdict, sure_mm: float
) -> tuple[str, ...]:
    unit = search.at_rest.layout.envelope.unit
    found = []
    if verdict is not Verdict.FOULS and not swing.said:
        found.append(swing.ask)
    for motion in _moving(search, case) if verdict is not Verdict.FOULS else ():
        if motion.kind == "engine":
            found += to_measure(motion)
    if verdict is not Verdict.NOT_KNOWN:
        more = words.at_least(swing.rule.value_mm - sure_mm, unit)
        kind = "a stiffer fan" if isinstance(swing.part.part, Fan) else "a guide or a shorter span"
        found.append(
            f"make {more} more room between {swing.part.name} and {case.b.name}, or fit {kind}"
        )
    return tuple(found)


def _all_clear(search: MovingSearch, swing: _Swing, count: int) -> Finding:
    unit, name = search.at_rest.layout.envelope.unit, swing.part.name
    motion = next((one for one in search.motions if name in one.moved and not one.still), None)
    engine = ""
    if motion is not None:
        taken = "as the file says" if motion.measured else "as is assumed"
        engine = f" and the {motion.root} moving {taken}"
    maker = " Its highest speed is for its maker to say." * isinstance(swing.part.part, Fan)
    return Finding(
        id=f"at speed: {name}",
        question="does anything meet at speed",
        parts=(name,),
        verdict=Verdict.FITS,
        note=(
            f"At speed, {swing.how}{engine}, the {name} keeps "
            f"{words.at_least(swing.rule.value_mm, unit)} clear of what it keeps its room to at "
            f"rest ({count} parts).{maker}"
        ),
        state=STATE,
        rule=swing.rule,
        details=dict(swing.details),
    )
