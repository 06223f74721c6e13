"""What is missing where no spacer helps a fan, and what would make the room.

Along the fan's axis, what stands behind it wants a spacer of some thickness at least, and what
stands ahead of it one of some thickness at most. Where the most is less than the least, the
difference is what is missing; the most may be below nothing, where the fan already stands too near
to what is ahead, or in it. What the tips pass beside, as under a hood, is neither: no thickness
makes room there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from noseroom.checks import words
from noseroom.checks.fan_limits import MOST_SPACER_MM, Floats, Limit, last_free
from noseroom.checks.moves import FURTHEST_MM, Moves
from noseroom.layout import PlacedPart

LEAST_WIDTH_MM = 25.0
"""A fan that is narrower than this, front to rear, moves no air to speak of (common practice)."""

_AFT = np.array([1.0, 0.0, 0.0])
_BACK_MM = 300.0
_NO_SPACER_MM = 0.1
_COARSE_MM = 0.5
_MOST_NAMED = 3
_LOOKED_AT = 6


@dataclass(frozen=True, eq=False)
class _Room:
    """Least and most thickness by part: behind wants at least, ahead at most, mm.

    beside: what is missing between the tips and what they pass beside, mm.
    """

    behind: dict[str, float]
    ahead: dict[str, float]
    beside: dict[str, float]

    @property
    def least_mm(self) -> float:
        """Of a spacer that clears all that is behind."""
        return max(self.behind.values(), default=0.0)

    @property
    def most_mm(self) -> float:
        """Of a spacer that stays clear of all that is ahead; below nothing: too near already."""
        return min(self.ahead.values(), default=MOST_SPACER_MM)

    @property
    def missing_mm(self) -> float:
        """Between the two."""
        return max(self.least_mm - self.most_mm, 0.0)

    def too_far_back(self) -> list[str]:
        """What is ahead and leaves too little, the nearest first."""
        tight = [name for name, most in self.ahead.items() if most < self.least_mm]
        return sorted(tight, key=lambda name: (self.ahead[name], name))

    def too_far_ahead(self) -> list[str]:
        """What is behind and leaves too little even with the thickest spacer that goes in."""
        top = max(self.most_mm, 0.0)
        tight = [name for name, least in self.behind.items() if least > top]
        return sorted(tight, key=lambda name: (-self.behind[name], name))


def no_spacer_helps(
    moves: Moves, fan: PlacedPart, limits: Sequence[Limit], how: str
) -> tuple[str, tuple[str, ...]]:
    """The note and the remedies for a fan that no spacer serves.

    how: what the fan does to its room, as the note says it.
    """
    unit = moves.pairs.layout.envelope.unit
    room = _room(limits)
    missing = words.at_least(room.missing_mm, unit)
    within = [limit.part for limit in limits if limit.fouls and _stands_in(limit)]
    ahead, behind = room.too_far_back(), room.too_far_ahead()
    in_it = [name for name in dict.fromkeys(within) if name in room.ahead or name in room.beside]
    if in_it:
        start = f"The {fan.name} stands in the {words.listed(in_it)}"
    else:
        close = sorted({limit.part for limit in limits if limit.blocks_today})
        start = f"The {fan.name} {how} to {_few(close)} where it stands"
    if behind and ahead:
        rest = (
            f"no spacer helps: between {_few(behind)} behind it and {_few(ahead)} ahead of it, "
            f"{missing} is missing"
        )
    elif ahead:
        rest = f"a spacer would bring it nearer: to {_few(ahead)}, {missing} is missing"
    elif behind:
        rest = f"the thickest spacer leaves it {missing} too near to {_few(behind)}"
    else:
        rest = ""
    if room.beside:
        rest = _beside(limits, room, rest)
    return f"{start}, and {rest}.", _remedies(moves, fan, limits, room)


def _beside(limits: Sequence[Limit], room: _Room, rest: str) -> str:
    """The rest of a note, with what the tips pass beside."""
    order = sorted(room.beside, key=lambda name: (-room.beside[name], name))
    names, one = words.listed([f"the {name}" for name in order]), len(order) == 1
    if rest:
        return f"{rest}; beside its tips {names} leave{'s' if one else ''} too little room"
    stand = f"{names} {'is' if one else 'are'} beside its tips"
    if any(limit.blocks_today and limit.part in room.beside for limit in limits):
        return f"no spacer changes that: {stand}"
    return f"no spacer helps: {stand}, and it then comes too near"


def _few(names: Sequence[str]) -> str:
    """The worst few, and how many more."""
    if len(names) <= _MOST_NAMED + 1:
        return words.listed(names)
    return f"{', '.join(names[:_MOST_NAMED])} and {len(names) - _MOST_NAMED} more"


def _stands_in(limit: Limit) -> bool:
    scan = limit.scan
    still = np.zeros(3)
    return scan.pairs.nominal_gap(scan.fan, scan.mine, scan.other, scan.theirs, still) < 0


def _room(limits: Sequence[Limit]) -> _Room:
    behind: dict[str, float] = {}
    ahead: dict[str, float] = {}
    beside: dict[str, float] = {}
    for limit in limits:
        if _is_beside(limit):
            beside[limit.part] = max(beside.get(limit.part, 0.0), _missing_beside(limit))
            continue
        first = limit.blocked[0]
        if first[0] == 0.0 and not _is_ahead(limit):
            through = first[1] == MOST_SPACER_MM
            end = _walked(limit, MOST_SPACER_MM, 1.0) if through else first[1]
            behind[limit.part] = max(behind.get(limit.part, 0.0), end)
            starts = [interval[0] for interval in limit.blocked[1:]]
        else:
            # A fan that comes out in front of what is ahead of it has gone through it.
            starts = [first[0] if first[0] > 0.0 else _walked(limit, 0.0, -1.0)]
        for start in starts[:1]:
            ahead[limit.part] = min(ahead.get(limit.part, np.inf), start)
    return _Room(behind, ahead, beside)


def _is_beside(limit: Limit) -> bool:
    """Whether what blocks a fan is off its tips: no way along the axis clears it.

    It is level with the fan along the axis, and either outside the circle that the fan sweeps, or
    the way out of that circle is shorter than the way out along the axis.
    """
    start, end = limit.blocked[-1]
    if end < MOST_SPACER_MM or not limit.scan.abreast():
        return False
    gap = limit.scan.tip_gap()
    if gap >= 0.0:
        return True
    if start > 0.0:
        return False
    out = -_walked(limit, 0.0, -1.0) if _is_ahead(limit) else _walked(limit, end, 1.0)
    return limit.scan.room_mm - gap < out


def _missing_beside(limit: Limit) -> float:
    """How much more room the tips need to what they pass beside, mm."""
    margins = (
        limit.scan.margin(float(at))
        for low, high in limit.blocked
        for at in np.linspace(low, high, _LOOKED_AT)
    )
    return max(limit.scan.room_mm - limit.scan.tip_gap(), -min(margins), _COARSE_MM)


def _is_ahead(limit: Limit) -> bool:
    """Whether a fan has to stay behind something, where it stands in it or too near to it.

    What is on the engine is behind it. What is on the body is ahead if its middle is ahead of the
    face that the fan is bolted to.
    """
    scan = limit.scan
    if scan.other.group != "body":
        return False
    boxes = np.array([piece.box for piece in scan.other.moving[scan.theirs][0]])
    middle = (boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2
    return float((middle - scan.fan.pose[:3, 3]) @ scan.ahead) > 0.0


def _walked(limit: Limit, start: float, way: float) -> float:
    """Where along the axis a limit that blocks every spacer is clear at last, mm."""
    here, before = start, start
    while abs(here - start) < _BACK_MM:
        margin = limit.scan.margin(here)
        if margin >= 0:
            return last_free(limit.scan.margin, here, before)
        before, here = here, here + way * max(-margin, _COARSE_MM)
    return here


@dataclass(frozen=True)
class _Offer:
    """Something to do: the words, the spacer that goes with it (mm), what speaks against it."""

    said: str
    spacer_mm: float
    why: str = ""

    def text(self, unit: str) -> str:
        thick = words.at_least(self.spacer_mm, unit)
        spacer = f", with one spacer of {thick}" if self.spacer_mm > _NO_SPACER_MM else ""
        return f"{self.said}{spacer}{f', but {self.why}' if self.why else ''}"


def _remedies(
    moves: Moves, fan: PlacedPart, limits: Sequence[Limit], room: _Room
) -> tuple[str, ...]:
    """What makes the room, what nothing speaks against first."""
    unit = moves.pairs.layout.envelope.unit
    least, top = room.least_mm, max(room.most_mm, 0.0)
    offers: list[_Offer | None] = []
    needs = {name: least - room.ahead[name] for name in room.too_far_back()}
    offers.append(_moved(moves, needs, -_AFT, unit, least))
    if room.most_mm >= 0:
        needs = {name: room.behind[name] - top for name in room.too_far_ahead()}
        offers.append(_moved(moves, needs, _AFT, unit, top))
    offers.append(_carried(moves, fan, room, unit))
    # What else than the blades has too little room is not helped by narrower ones.
    swept = _room([one for one in limits if one.scan.mine != "sweep"]).missing_mm == 0.0
    width = float(getattr(fan.part, "width_mm", 0.0))
    if swept and width - room.missing_mm >= LEAST_WIDTH_MM:
        narrower = f"fit a fan that is {words.at_least(room.missing_mm, unit)} narrower"
        offers.append(_Offer(narrower, least))
    wider = _wider(room, unit)
    if wider and not room.missing_mm:
        offers, wider = [*wider], []
    sound = [one for one in offers if one is not None and one.spacer_mm <= MOST_SPACER_MM]
    made = sorted(sound, key=lambda one: one.why != "")
    if all(one.why for one in made):
        made.append(_Offer(f"leave the {fan.name} off, and put an electric fan on the radiator", 0))
    return tuple(one.text(unit) for one in (*made, *wider))


def _wider(room: _Room, unit: str) -> list[_Offer]:
    """More room beside the tips: on top of what else there is to do, where that is anything."""
    also = "then also make" if room.missing_mm else "make"
    return [
        _Offer(
            f"{also} {words.at_least(need, unit)} more room between the tips and the {name}, or "
            f"fit a fan that is {words.at_least(2 * need, unit)} smaller across",
            0.0 if room.missing_mm else room.least_mm,
        )
        for name, need in room.beside.items()
    ]


def _moved(
    moves: Moves, needs: dict[str, float], way: Floats, unit: str, spacer_mm: float
) -> _Offer | None:
    """Parts moved along one way, each as far as it needs; None where one of them cannot move."""
    parts = moves.pairs.layout.parts
    by: dict[str, float] = {}
    for name, need in needs.items():
        mover = moves.mover(parts[name])
        if mover is None or mover.kind == "engine" or need > FURTHEST_MM:
            return None
        by[mover.name] = max(by.get(mover.name, 0.0), need)
    if not by:
        return None
    together = frozenset(by)
    why = (moves.hampered(parts[one], far * way, along=together) for one, far in by.items())
    said = [f"the {one} {words.at_least(far, unit)} {words.way(way)}" for one, far in by.items()]
    return _Offer(f"move {words.listed(said)}", spacer_mm, next((one for one in why if one), ""))


def _carried(moves: Moves, fan: PlacedPart, room: _Room, unit: str) -> _Offer | None:
    """The engine moved aft, with the fan and all that stands behind it."""
    engine = moves.mover(fan)
    if engine is None or engine.kind != "engine" or room.missing_mm > FURTHEST_MM:
        return None
    behind = (moves.pairs.layout.parts[name] for name in room.too_far_ahead())
    if not room.too_far_back() or not all(moves.goes_along(one, engine) for one in behind):
        return None
    figure = f"{words.at_least(room.missing_mm, unit)} {words.way(_AFT)}"
    why = moves.hampered(engine, room.missing_mm * _AFT)
    return _Offer(f"move the {engine.name} {figure}", room.least_mm, why)
