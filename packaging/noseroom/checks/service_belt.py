"""Can a new belt be slipped over the fan that stands in its loop?

The belt is worked over one blade after the other at the place where there is most room, the fan
being turned by hand, and then comes out ahead of it: it needs its own thickness and a little more
between tips and shroud over the width of a blade, and ahead of the blades all round.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

from noseroom.checks import words
from noseroom.checks.pairs import Pairs
from noseroom.checks.stand_ins import Meets, StandIns
from noseroom.findings import Finding, Rule, Verdict
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.belt import Belt
from noseroom.parts.fan import Fan
from noseroom.parts.fan_blades import sector_rad
from noseroom.survey.features import vector
from noseroom.tables.service import needs

_SECTORS = 36
_FRONT, _TIP = "front", "tip "


@dataclass(frozen=True, kw_only=True)
class _Passage(Fan):
    """The room round a fan that a belt of some thickness needs: outside its tips, and ahead."""

    belt_mm: float = 0.0

    def pieces(self) -> tuple[Piece, ...]:
        """A wedge outside the tips for each sector, from the top; a ring ahead of the blades."""
        room, tip, x = self.belt_mm, self.diameter_mm / 2, self._front()
        grow = 1.0 / math.cos(math.pi / _SECTORS)
        made = []
        for k in range(_SECTORS):
            corners = []
            for turn in (math.tau * k / _SECTORS, math.tau * (k + 1) / _SECTORS):
                for radius in (tip, (tip + room) * grow):
                    y, z = -radius * math.sin(turn), radius * math.cos(turn)
                    corners += [vector(x - room, y, z), vector(x + self.width_mm + room, y, z)]
            made.append(pieces.hull(f"{_TIP}{k}", corners))
        hub = self.spider_diameter_mm / 2
        start = vector(x - room, 0.0, 0.0)
        made += pieces.ring(_FRONT, start, (1.0, 0.0, 0.0), room, hub, tip)
        return tuple(made)


VERDICTS = {
    Meets.FREE: Verdict.FITS,
    Meets.OPEN: Verdict.TOO_CLOSE,
    Meets.MAY: Verdict.TOO_CLOSE,
    Meets.NOT_KNOWN: Verdict.NOT_KNOWN,
    Meets.SURELY: Verdict.FOULS,
}


def check_belt_change(pairs: Pairs, rule: Rule) -> tuple[Finding, ...]:
    """One finding for every belt that runs on a fan's own shaft."""
    return tuple(
        _answer(pairs, rule, belt, fan)
        for belt, fan in _loops(pairs.layout)
        if not fan.unplaced and not belt.unplaced
    )


def _loops(layout: Layout) -> Iterator[tuple[PlacedPart, PlacedPart]]:
    """Belts with the fan that stands in their loop, being on the shaft of one of their pulleys."""
    for belt in layout.parts.values():
        if belt.kind != "belt":
            continue
        shafts = {layout.parts[name].carrier for name in belt.ties if name in layout.parts}
        for fan in layout.parts.values():
            if fan.kind == "fan" and fan.carrier and fan.carrier in shafts:
                yield belt, fan


def _answer(pairs: Pairs, rule: Rule, belt: PlacedPart, fan: PlacedPart) -> Finding:
    assert isinstance(belt.part, Belt)
    assert isinstance(fan.part, Fan)
    hand, layout = needs()["belt hand"], pairs.layout
    thick = _thickness(belt)
    given = {one.name: getattr(fan.part, one.name) for one in fields(fan.part)}
    passage = replace(fan, part=_Passage(**given, belt_mm=thick + hand.value))
    there = StandIns(pairs, {fan.name: passage})
    others = [
        other
        for other in layout.parts.values()
        if other.components
        and not other.unplaced
        and other.kind not in ("belt", "fan", "hood", "hood latch")
        and other.carrier != fan.carrier
        and other.name != fan.carrier
    ]
    ahead = _in_the_way(there, rule, passage, _FRONT, others)
    window = math.ceil(sector_rad(fan.part.blades) / (math.tau / _SECTORS)) + 1
    tips = _best_window(there, rule, passage, others, window)
    unit = layout.envelope.unit
    free = Meets.FREE
    ways = {name: max(ahead.get(name, free), tips.get(name, free)) for name in (*ahead, *tips)}
    verdict = VERDICTS[max(ways.values(), default=free)]
    names = [f"the {name}" for name in ways]
    room = words.at_least(thick + hand.value, unit)
    where = [
        said for said, some in (("ahead of the blades", ahead), ("past their tips", tips)) if some
    ]
    change = f"a new {belt.name} can be slipped over the {fan.name}"
    taken = (
        f"{room}, a belt's thickness and {words.at_least(hand.value, unit)} for a hand, past the "
        f"tips at one place and ahead of the blades all round"
    )
    one = len(names) == 1
    listed, places = words.listed(names), words.listed(where)
    note = {
        Verdict.FITS: f"A{change[1:]}, blade by blade.",
        Verdict.FOULS: f"A new {belt.name} does not go over the {fan.name}: {listed} "
        f"{'leaves' if one else 'leave'} too little room {places}.",
        Verdict.TOO_CLOSE: f"It is too close to call whether {change}: {listed} may leave too "
        f"little room {places}.",
        Verdict.NOT_KNOWN: f"Whether {change} is not known: nothing says how near {listed} "
        f"{'stands' if one else 'stand'}.",
    }[verdict]
    remedies = () if verdict is Verdict.FITS else (
        f"take {words.listed(names)} out first, or the {fan.name} with the belt",
    )  # fmt: skip
    return Finding(
        id=f"service: {belt.name}",
        question="can a new belt be slipped over the fan",
        parts=(belt.name, fan.name, *ways),
        verdict=verdict,
        note=note,
        rule=rule,
        remedies=remedies,
        details={
            "task": f"a new {belt.name} over the {fan.name}",
            "taken": taken,
            "sources": hand.source,
        },
    )


def _thickness(belt: PlacedPart) -> float:
    key = "height" if belt.entry.choices.get("section", "v") == "v" else "thickness"
    read = belt.entry.sizes[key]
    return read.value + read.half_width


def _best_window(
    there: StandIns, rule: Rule, passage: PlacedPart, others: Sequence[PlacedPart], count: int
) -> dict[str, Meets]:
    """What is in the way of so many sectors side by side where there is least, by part.

    From the top, where hands reach it best; the first place that is free will do.
    """
    sectors: dict[int, dict[str, Meets]] = {}

    def sector(k: int) -> dict[str, Meets]:
        if k not in sectors:
            sectors[k] = _in_the_way(there, rule, passage, f"{_TIP}{k}", others)
        return sectors[k]

    best: dict[str, Meets] | None = None
    for step in range(_SECTORS):
        start = ((step + 1) // 2) * (-1 if step % 2 else 1) - count // 2
        found: dict[str, Meets] = {}
        for k in range(start, start + count):
            for name, how in sector(k % _SECTORS).items():
                found[name] = max(found.get(name, Meets.FREE), how)
            if best is not None and _cost(found) >= _cost(best):
                break
        if best is None or _cost(found) < _cost(best):
            best = found
        if not best:
            break
    return best or {}


def _cost(found: dict[str, Meets]) -> tuple[int, int]:
    return max(found.values(), default=Meets.FREE), len(found)


def _in_the_way(
    there: StandIns, rule: Rule, passage: PlacedPart, room: str, others: Sequence[PlacedPart]
) -> dict[str, Meets]:
    """What does not surely leave a room free, by part."""
    found: dict[str, Meets] = {}
    for other in others:
        for name in other.components:
            if name not in other.part.sweeps():
                how = there.meets(passage, room, other, name, rule.value_mm)
                if how is not Meets.FREE:
                    found[other.name] = max(found.get(other.name, how), how)
    return found
