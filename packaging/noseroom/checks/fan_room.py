"""What is missing where no spacer helps a fan, and what would make the room.

Along the fan's axis, what stands behind it wants a spacer of some thickness at least, and what
stands ahead of it one of some thickness at most. Where the most is less than the least, the
difference is what is missing; the most may be below nothing, where the fan already stands too near
to what is ahead, or in it. What the tips pass beside, as under a hood, is neither: no thickness
makes room there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.checks import words
from noseroom.checks.fan_limits import Limit
from noseroom.checks.fan_window import Window
from noseroom.checks.fan_window_remedies import Room, remedies
from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.fan_window_search import last_free
from noseroom.checks.moves import Moves

_BACK_MM = 300.0
_COARSE_MM = 0.5
_MOST_NAMED = 3
_LOOKED_AT = 6


def no_spacer_helps(
    moves: Moves, window: Window, how: str, on_mm: float = 0.0
) -> tuple[str, tuple[str, ...]]:
    """The note and the remedies for a fan that no spacer serves.

    how: what the fan does to its room, as the note says it. on_mm: the spacer that is on already;
    only thicker ones were looked at then.
    """
    unit, fan, limits = moves.pairs.layout.envelope.unit, window.fan, window.all_limits
    room = room_of(limits)
    missing = words.at_least(room.missing_mm, unit)
    within = [limit.part for limit in limits if limit.fouls and _stands_in(limit)]
    ahead, behind = room.too_far_back(), room.too_far_ahead()
    in_it = [name for name in dict.fromkeys(within) if name in room.ahead or name in room.beside]
    if in_it:
        start = f"The {fan.name} stands in the {words.listed(in_it)}"
    else:
        close = sorted({limit.part for limit in limits if limit.today})
        start = f"The {fan.name} {how} to {_few(close)} where it stands"
    if behind and ahead:
        rest = (
            f"no spacer helps: between {_few(behind)} behind it and {_few(ahead)} ahead of it, "
            f"{missing} is missing"
        )
    elif ahead:
        one = "a thicker spacer" if on_mm else "a spacer"
        rest = f"{one} would bring it nearer: to {_few(ahead)}, {missing} is missing"
    elif behind:
        rest = f"the thickest spacer leaves it {missing} too near to {_few(behind)}"
    else:
        rest = "" if room.beside else "it would take a thicker spacer than any single one"
    if room.beside:
        rest = _beside(limits, room, rest)
    made = remedies(moves, window, room, _only_swept(limits), on_mm)
    if on_mm:
        off = f"take off the spacer that is on, measure again where the {fan.name} stands"
        made = (f"{off}, and check again: a thinner one was not looked at", *made)
    return f"{start}, and {rest}.", made


def _beside(limits: Sequence[Limit], room: Room, rest: str) -> str:
    """The rest of a note, with what the tips pass beside."""
    order = sorted(room.beside, key=lambda name: (-room.beside[name], name))
    names, one = words.listed([f"the {name}" for name in order]), len(order) == 1
    if rest:
        return f"{rest}; beside its tips {names} leave{'s' if one else ''} too little room"
    stand = f"{names} {'is' if one else 'are'} beside its tips"
    if any(limit.today and limit.part in room.beside for limit in limits):
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


def room_of(limits: Sequence[Limit]) -> Room:
    """Least and most thickness that each part leaves, and what the tips lack to others."""
    behind: dict[str, float] = {}
    ahead: dict[str, float] = {}
    beside: dict[str, float] = {}
    for limit in limits:
        if _is_beside(limit):
            beside[limit.part] = max(beside.get(limit.part, 0.0), _missing_beside(limit))
            continue
        first = limit.whole[0]
        if first[0] == 0.0 and not _is_ahead(limit):
            through = first[1] == MOST_SPACER_MM
            end = _walked(limit, MOST_SPACER_MM, 1.0) if through else first[1]
            behind[limit.part] = max(behind.get(limit.part, 0.0), end)
            starts = [interval[0] for interval in limit.whole[1:]]
        else:
            # A fan that comes out in front of what is ahead of it has gone through it.
            starts = [first[0] if first[0] > 0.0 else _walked(limit, 0.0, -1.0)]
        for start in starts[:1]:
            ahead[limit.part] = min(ahead.get(limit.part, np.inf), start)
    return Room(behind, ahead, beside)


def _only_swept(limits: Sequence[Limit]) -> bool:
    """Whether nothing is missing but to what the blades sweep."""
    return room_of([one for one in limits if one.scan.mine != "sweep"]).missing_mm == 0.0


def _is_beside(limit: Limit) -> bool:
    """Whether what blocks a fan is off its tips: no way along the axis clears it.

    It is level with the fan along the axis, and either outside the circle that the fan sweeps, or
    the way out of that circle is shorter than the way out along the axis.
    """
    start, end = limit.whole[-1]
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
        for low, high in limit.whole
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
