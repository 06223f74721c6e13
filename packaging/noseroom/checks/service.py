"""Can it be serviced once it is in? Room for a hand at the cap, for wrenches, for a new belt.

A finger's room is not a wrench's. Each answer says what is in the way and may come out first, which
a builder may well live with: so these answers stand apart, and do not decide whether the nose fits.
What leads up to the place (an arm past the hood) is not looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.service_belt import VERDICTS, check_belt_change
from noseroom.checks.service_rooms import WHOLE, Room
from noseroom.checks.service_tasks import SIBLING, Task, tasks_of
from noseroom.checks.stand_ins import Meets, StandIns
from noseroom.findings import Finding, Rule, Verdict
from noseroom.geometry.separation import Bend
from noseroom.layout import Layout, PlacedPart

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

RULE = "service room"
_MOVES_AWAY = ("hood", "hood latch")
"""Kinds that are out of the way while somebody works: the hood is open."""
STAYS = ("core support", "engine", "bumper bar")
"""Kinds that nobody takes out to reach something else."""


def check_service(pairs: Pairs, rules: Rules, progress: Progress) -> tuple[Finding, ...]:
    """One finding for each thing that has to be reached."""
    layout, rule = pairs.layout, rules.named(RULE)
    asked = list(tasks_of(layout))
    found = []
    for done, one in enumerate(asked):
        progress(done, len(asked), f"room to work: {one.key}")
        found.append(_answer(pairs, rule, one))
    found += check_belt_change(pairs, rule)
    return tuple(sorted(found, key=lambda one: one.verdict.rank))


class _Rooms(StandIns):
    """Rooms beside the parts: what a part strays is worked out once for all ways of a room."""

    def bend(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Bend:
        return super().bend(a, WHOLE if isinstance(a, Room) else mine, b, theirs)


Near = list[tuple[PlacedPart, str, bool]]
Blocks = dict[tuple[str, str], Meets]
"""What is not surely out of the way, by part and component."""


def ways_blocked(pairs: Pairs, rule: Rule, asked: Task) -> Iterator[Blocks]:
    """What may be in the way of each way of a task, told to the end, the likeliest way first."""
    there = _Rooms(pairs, {asked.room.name: asked.room})
    near = _near(there, asked, rule.value_mm)
    for way in _likely_first(asked.room, near):
        glance = _glance(there, asked, way, near, rule.value_mm)
        yield _looked_at(there, asked, way, glance, rule.value_mm)


def _answer(pairs: Pairs, rule: Rule, asked: Task) -> Finding:
    rooms = {asked.room.name: asked.room, **{one.name: one for one in asked.ports}}
    there = _Rooms(pairs, rooms)
    near = _near(there, asked, rule.value_mm)
    glances: dict[str, Blocks] = {}
    told: dict[str, Blocks] = {}

    def looked_at(way: str) -> Blocks:
        if way not in told:
            told[way] = _looked_at(there, asked, way, glances[way], rule.value_mm)
        return told[way]

    for way in _likely_first(asked.room, near):
        glances[way] = _glance(there, asked, way, near, rule.value_mm)
        if _worst_of(glances[way]) <= Meets.OPEN and not looked_at(way):
            return _finding(there, rule, asked, way, {})
    best = ""
    for way in sorted(glances, key=lambda one: _badness(glances[one])):
        if best and _worst_of(glances[way]) >= _worst_of(told[best]):
            break  # at a glance it is no better than what was looked at, and so are all after it
        if not best or _badness(looked_at(way)) < _badness(told[best]):
            looked_at(way)
            best = way
    return _finding(there, rule, asked, best, told[best])


def _near(there: StandIns, asked: Task, rule_mm: float) -> Near:
    """Components that any way of the room may come near, and whether their places are fixed.

    What is not fixed and not surely out of the way is not known for any way.
    """
    room = asked.room
    found: Near = []
    for other in there.layout.parts.values():
        if other is room or other.name in asked.free or other.unplaced or not other.components:
            continue
        if other.kind in _MOVES_AWAY:
            continue
        for name in other.components:
            if other.name == asked.host.name and name in asked.skip:
                continue
            # Blades stand still, but anywhere: their sweep holds them. Elbow room is air.
            if name == "blades" or (name in other.part.sweeps() and name != "sweep"):
                continue
            loose = there.sway_mm(room, other)
            if there.box_gap_mm(room, WHOLE, other, name) - loose >= rule_mm:
                continue
            if np.isfinite(loose):
                found.append((other, name, True))
            elif there.meets(room, WHOLE, other, name, rule_mm) is not Meets.FREE:
                found.append((other, name, False))
    return found


def _likely_first(room: Room, near: Near) -> list[str]:
    """Its ways, those first whose boxes meet the fewest others'."""
    others = [piece.box for other, name, _ in near for piece in other.moving[name][0]]
    if not others:
        return list(room.ways)
    boxes = np.array(others)[None]

    def meets(way: str) -> int:
        ours = np.array([piece.box for piece in room.ways[way]])[:, None]
        apart = np.maximum(ours[:, :, 0] - boxes[:, :, 1], boxes[:, :, 0] - ours[:, :, 1])
        return int((apart.max(axis=-1) < 0).sum())

    return sorted(room.ways, key=meets)


def _glance(there: StandIns, asked: Task, way: str, near: Near, rule_mm: float) -> Blocks:
    """What may be in the way of one way at a glance; OPEN where only a closer look tells."""
    found: Blocks = {}
    for other, name, fixed in near:
        how = Meets.NOT_KNOWN
        if fixed:
            glance = there.meets_at_a_glance(asked.room, way, other, name, rule_mm)
            how = Meets.OPEN if glance is None else glance
        if how is not Meets.FREE:
            found[other.name, name] = how
    return found


def _looked_at(there: StandIns, asked: Task, way: str, glance: Blocks, rule_mm: float) -> Blocks:
    """The same, told to the end."""
    found: Blocks = {}
    for (name, component), how in glance.items():
        if how in (Meets.OPEN, Meets.MAY):
            other = there.layout.parts[name]
            how = there.meets(asked.room, way, other, component, rule_mm)
        if how is not Meets.FREE:
            found[name, component] = how
    return found


def _worst_of(blocks: Blocks) -> Meets:
    return max(blocks.values(), default=Meets.FREE)


def _badness(blocks: Blocks) -> tuple[int, int, int]:
    sure = {name for (name, _), how in blocks.items() if how is Meets.SURELY}
    return _worst_of(blocks), len(sure), len({name for name, _ in blocks})


def _finding(there: _Rooms, rule: Rule, asked: Task, way: str, blocks: Blocks) -> Finding:
    layout = there.layout
    verdict = VERDICTS[_worst_of(blocks)]
    order = sorted(blocks, key=lambda one: -blocks[one])
    parts = tuple(dict.fromkeys(name for name, _ in order))
    form = None
    if verdict is Verdict.TOO_CLOSE:
        name, component = order[0]
        other = layout.parts[name]
        gap = there.sure_gap(asked.room, way, other, component, enough_mm=rule.value_mm)
        form = None if gap.worst is None else gap.worst.form
    names = [_said(name, asked) for name in parts]
    own = {one.name for one in (asked.room, *asked.ports)} | {asked.host.name}
    return Finding(
        id=f"service: {asked.key}",
        question=asked.question,
        parts=(asked.host.name, *(name for name in parts if name not in own)),
        verdict=verdict,
        note=_note(asked, verdict, names),
        rule=rule,
        remedies=_remedies(layout, asked, verdict, [name for name in parts if name not in own]),
        rests_on=()
        if form is None
        else words.supports(form, layout.survey.sources, layout.envelope.unit),
        details={
            "task": asked.task,
            "taken": asked.how,
            "sources": "; ".join(dict.fromkeys(asked.sources)),
        },
    )


def _said(name: str, asked: Task) -> str:
    return SIBLING if any(one.name == name for one in asked.ports) else f"the {name}"


def _note(asked: Task, verdict: Verdict, names: Sequence[str]) -> str:
    listed = words.listed(names)
    stand = "stands" if len(names) == 1 else "stand"
    if verdict is Verdict.FITS:
        return f"{asked.can[:1].upper()}{asked.can[1:]}."
    if verdict is Verdict.FOULS:
        return f"{listed[:1].upper()}{listed[1:]} {stand} where {asked.goes}."
    if verdict is Verdict.NOT_KNOWN:
        return f"Whether {asked.can} is not known: nothing says how near {listed} {stand}."
    return f"It is too close to call whether {asked.can}: {listed} may be in the way."


def _remedies(
    layout: Layout, asked: Task, verdict: Verdict, names: Sequence[str]
) -> tuple[str, ...]:
    """What a builder may do: take out what comes out, or go about it another way."""
    if verdict is Verdict.FITS:
        return ()
    lost = [name for name in (asked.host.name, *names) if not layout.parts[name].known]
    if verdict is Verdict.NOT_KNOWN and lost:
        return tuple(f"measure where the {name} stands" for name in lost)
    out = [f"the {name}" for name in names if layout.parts[name].kind not in STAYS]
    said = []
    if out:
        said.append(f"take {words.listed(out)} out of the way first, or plan to")
    if len(out) < len(names) or not names:
        said.append(asked.otherwise)
    if verdict is not Verdict.FOULS:
        said.append(f"try {asked.task} before the part goes in for good")
    return tuple(said)
